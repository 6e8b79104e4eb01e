//! The floor as it will be, and which classes it will meet: on paper.
//!
//! In: a surface, its target, classes. Out: the surface with the compound on it; what every class measures there.
//! Heights are taken as they were measured and the compound as poured exactly, so nothing here is uncertain: the verdict
//! on the real floor takes a survey after the pour.

use super::target::Target;
use crate::flatness::along::Along;
use crate::flatness::measure::{Measurement, values};
use crate::surface::{HeightField, Pin, Surface};
use crate::tolerance::{Class, Requirement};

/// Over its limit by this little, a gap is at the limit, m.
const AT_THE_LIMIT: f64 = 2e-6;

/// A class and what the finished floor will measure.
#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    /// What the class is called.
    pub class: String,
    /// Each requirement.
    pub requirements: Vec<PlannedRequirement>,
}

/// A requirement and what the finished floor will measure.
#[derive(Debug, Clone, PartialEq)]
pub struct PlannedRequirement {
    /// The requirement.
    pub requirement: Requirement,
    /// What will be found: of several measurements the one that takes most of its limit.
    pub measurement: Measurement,
}

impl Planned {
    /// Whether the class will be met; None where something of it cannot be measured and nothing else is missed.
    pub fn met(&self) -> Option<bool> {
        let met = || self.requirements.iter().map(PlannedRequirement::met);
        if met().any(|one| one == Some(false)) {
            return Some(false);
        }
        met().all(|one| one.is_some()).then_some(true)
    }
}

impl PlannedRequirement {
    /// Whether it will be met; None where it cannot be measured.
    pub fn met(&self) -> Option<bool> {
        let limit = self.measurement.limit;
        let value = self.measurement.found?.value;
        Some(match self.requirement.rule.least() {
            Some(_) => value >= limit,
            None => value <= limit + AT_THE_LIMIT,
        })
    }

    /// Whether the survey lacks what would show a floor within.
    pub fn too_sparse(&self) -> bool {
        self.measurement.needed.is_some()
    }

    /// The share of its limit that is taken; less than any where nothing was found.
    fn share(&self) -> f64 {
        let limit = self.measurement.limit;
        let found = self.measurement.found;
        found.map_or(f64::NEG_INFINITY, |found| {
            match self.requirement.rule.least() {
                Some(_) => limit / found.value,
                None => found.value / limit,
            }
        })
    }
}

/// The floor with the compound on it, and with what stands above the target `ground` off or left proud.
pub fn finished(surface: &Surface, target: &Target, ground: bool) -> Surface {
    let finished = |[x, y, z]: [f64; 3]| {
        let depth = target.depth_over([x, y, z]);
        if depth > 0.0 || (ground && depth < 0.0) {
            [x, y, z + depth]
        } else {
            [x, y, z]
        }
    };
    let field = &surface.field;
    let z = (0..field.z.len()).map(|node| {
        let [x, y] = field.position(node);
        finished([x, y, field.z[node]])[2]
    });
    let pin = |pin: &Pin| Pin {
        position: finished(pin.position),
        ..pin.clone()
    };
    Surface {
        field: HeightField {
            z: z.collect(),
            ..field.clone()
        },
        triangles: surface
            .triangles
            .iter()
            .map(|triangle| triangle.map(finished))
            .collect(),
        pins: surface.pins.iter().map(pin).collect(),
        ..surface.clone()
    }
}

/// What `classes` will measure on a finished floor; `along` its sample lines.
pub fn planned(classes: &[Class], finished: &Surface, along: &Along) -> Vec<Planned> {
    let requirement = |requirement: &Requirement| {
        values(&requirement.rule, &[], along, finished)
            .into_iter()
            .map(|measurement| PlannedRequirement {
                requirement: requirement.clone(),
                measurement,
            })
            .reduce(|a, b| if b.share() > a.share() { b } else { a })
    };
    classes
        .iter()
        .map(|class| Planned {
            class: class.name.clone(),
            requirements: class.requirements.iter().filter_map(requirement).collect(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::volume::tests::grid;
    use crate::tolerance::parse_class;

    fn nothing_along() -> Along {
        let none = || Err("no lines".to_owned());
        Along {
            ff: none(),
            ff_local: none(),
            fl: none(),
            fl_local: none(),
            waviness: none(),
        }
    }

    /// Two ridges of 6 mm a metre apart: finished level 4 mm up they stand 2 mm proud; ground off, nothing does.
    #[test]
    fn what_stands_proud_leaves_a_gap_unless_it_is_ground() {
        let ridges = |x: f64, _| {
            if (x * 10.0).round() % 10.0 == 0.0 {
                0.006
            } else {
                0.0
            }
        };
        let floor = grid([21, 3], 0.1, ridges);
        let target = Target::Level { datum: 0.004 };
        let classes = ["1.9mm@2m", "2mm@2m", "FM1"].map(|name| parse_class(name, &[]).expect(name));
        let met = |ground| -> Vec<_> {
            let finished = finished(&floor, &target, ground);
            let planned = planned(&classes, &finished, &nothing_along());
            planned.iter().map(Planned::met).collect()
        };
        assert_eq!(met(false)[..2], [Some(false), Some(true)]);
        assert_eq!(met(true)[..2], [Some(true), Some(true)]);
        let f_numbers = parse_class("ACI117-F35", &[]).expect("a class");
        let finished = finished(&floor, &target, true);
        let planned = planned(&[f_numbers], &finished, &nothing_along());
        assert_eq!(planned[0].met(), None, "no lines, no F-numbers");
    }
}
