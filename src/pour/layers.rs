//! The layers of a pour: which compound lies how thick where.
//!
//! In: a surface, its target, compounds (the deepest fill first, the finish last). Out: the [`Layer`]s, the topmost first.
//!
//! One layer does where the depth is within what the finish allows. Where it is deeper, a layer below fills up to so much
//! below the target that the finish goes over it at one depth: its least over another compound; over the same compound as
//! much as leaves the lower layer its own least depth where it starts. If that is too deep for one layer of the compound
//! below, a further one lies under it in the same way, the first compound as often as it takes. Depths that are too deep for
//! the one layer and too shallow for both are refused only where the floor has them.
//! The volume of a layer follows exactly from those of the target lowered: with V(d) and A(d) the volume and area of what is
//! deeper than d, a layer where the depth is over d, less e, holds V(d) + (d - e) A(d).

use super::compound::Compound;
use super::target::Target;
use super::volume::{Volumes, volume};
use crate::error::{Error, Result};
use crate::surface::Surface;
use crate::units::System;

/// More layers than this are no floor but a slip in a unit.
const MOST_LAYERS: usize = 30;

/// A depth may be over what one layer allows by this share: rounding.
const SAME: f64 = 1e-9;

/// One layer of a pour.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    /// Which of the compounds.
    pub compound: usize,
    /// Only where the whole depth is over this, m.
    pub over: f64,
    /// What lies above it there, m.
    pub under: f64,
    /// Its thickness where another layer lies below it, m: from `deep` on.
    pub on_another: f64,
    /// The whole depth over which another layer lies below it, m; infinite for the lowest.
    pub deep: f64,
    /// What it holds.
    pub volumes: Volumes,
}

impl Layer {
    /// Its thickness where the whole depth is `depth`, m.
    pub fn thickness(&self, depth: f64) -> f64 {
        if depth <= self.over {
            0.0
        } else if depth > self.deep {
            self.on_another
        } else {
            depth - self.under
        }
    }
}

/// The layers of a pour, the topmost first. None where nothing is filled.
///
/// # Errors
/// [`Error::Floor`] where a lower layer would be thinner than its sheet allows, or for more layers than make sense.
pub fn layers(surface: &Surface, target: &Target, compounds: &[Compound]) -> Result<Vec<Layer>> {
    let from = |depth: f64| volume(surface, &target.lowered(depth));
    let refused = |refusal: Refusal| {
        let place = nearest_to(surface, target, refusal.depth);
        let place = place.map_or(String::new(), |[x, y]| {
            format!(", as near {}", System::Metric.place(x, y))
        });
        Error::floor(refusal.found + &place, refusal.wanted)
    };
    layers_of(from, compounds, refused)
}

/// The place of the survey, m, where the depth is nearest to `depth` (m).
fn nearest_to(surface: &Surface, target: &Target, depth: f64) -> Option<[f64; 2]> {
    let off = |place| (target.depth_over(place) - depth).abs();
    let nodes = surface.field.measured().map(|(_, place)| place);
    let pins = surface.pins.iter().map(|pin| pin.position);
    let [x, y, _] = nodes
        .chain(pins)
        .min_by(|&a, &b| off(a).total_cmp(&off(b)))?;
    Some(surface.survey_xy([x, y]))
}

/// Why there are no layers.
pub(super) struct Refusal {
    /// The depth that is in the way, m.
    pub depth: f64,
    pub found: String,
    pub wanted: String,
}

/// The layers of a pour of which `from` tells what of it is deeper than a depth (m), as if the target were lowered by that.
///
/// # Errors
/// What `refused` makes of the reasons of [`layers()`].
pub(super) fn layers_of(
    from: impl Fn(f64) -> Volumes,
    compounds: &[Compound],
    refused: impl Fn(Refusal) -> Error,
) -> Result<Vec<Layer>> {
    let deepest = from(0.0).max_depth;
    let mut layers = Vec::new();
    let (mut over, mut under) = (0.0, 0.0);
    while deepest > over {
        let compound = compounds.len().saturating_sub(layers.len() + 1);
        let Some(sheet) = compounds.get(compound) else {
            break;
        };
        let deep = under + sheet.greatest_depth;
        let last = deepest <= deep * (1.0 + SAME);
        let on_another = match compounds.get(compound.saturating_sub(1)) {
            Some(below) if !last => {
                if let Some(gap) = gap(&from, under, sheet, below) {
                    return Err(refused(gap));
                }
                let least = sheet.least_depth;
                if compound == 0 {
                    least.max(sheet.greatest_depth - below.least_depth)
                } else {
                    least
                }
            }
            Some(_) | None => sheet.least_depth,
        };
        layers.push(Layer {
            compound,
            over,
            under,
            on_another,
            deep: if last { f64::INFINITY } else { deep },
            volumes: Volumes::even(0.0, 0.0),
        });
        if last {
            break;
        }
        if layers.len() == MOST_LAYERS {
            return Err(refused(Refusal {
                depth: deepest,
                found: format!("a depth of {}", System::Metric.height(deepest)),
                wanted: format!(
                    "at most {MOST_LAYERS} layers; look at the units of the heights and at the target"
                ),
            }));
        }
        (over, under) = (deep, under + on_another);
    }
    for layer in &mut layers {
        layer.volumes = contents(&from, layer, deepest);
    }
    Ok(layers)
}

/// The floor that is too deep for a layer of `above`, under which lies another from then on, and too shallow for that to start
/// at the least depth of `below`; `under` is what lies above both, m.
fn gap(
    from: impl Fn(f64) -> Volumes,
    under: f64,
    above: &Compound,
    below: &Compound,
) -> Option<Refusal> {
    let [low, high] = [
        under + above.greatest_depth,
        under + above.least_depth + below.least_depth,
    ];
    if high <= low * (1.0 + SAME) {
        return None;
    }
    let whole = from(low * (1.0 + SAME));
    let area = whole.filled_area - from(high * (1.0 - SAME)).filled_area;
    let shown = |depth| System::Metric.height(depth);
    (area > SAME * whole.filled_area).then(|| Refusal {
        depth: 0.5 * (low + high),
        found: format!(
            "{} that is over {} and under {} deep",
            System::Metric.area(area),
            shown(low),
            shown(high)
        ),
        wanted: format!(
            "none: too deep for a layer of {}, too shallow for its {} over the {} that {} needs; take another depth or \
             compound",
            above.name,
            shown(above.least_depth),
            shown(below.least_depth),
            below.name
        ),
    })
}

/// What one layer holds.
fn contents(from: impl Fn(f64) -> Volumes, layer: &Layer, deepest: f64) -> Volumes {
    let whole = from(layer.over);
    let all = whole.fill + (layer.over - layer.under) * whole.filled_area;
    let shallow = whole.min_depth + layer.over - layer.under;
    let (fill, min_depth, max_depth) = if layer.deep.is_finite() {
        let deeper = from(layer.deep);
        let below = layer.deep - layer.under - layer.on_another;
        let alone = whole.filled_area - deeper.filled_area > SAME * whole.filled_area;
        let [least, greatest] = if alone {
            [shallow.min(layer.on_another), layer.deep - layer.under]
        } else {
            [layer.on_another; 2]
        };
        (
            all - deeper.fill - below * deeper.filled_area,
            least,
            greatest,
        )
    } else {
        (all, shallow, deepest - layer.under)
    };
    Volumes {
        fill,
        grind: if layer.over > 0.0 { 0.0 } else { whole.grind },
        filled_area: whole.filled_area,
        ground_area: if layer.over > 0.0 {
            0.0
        } else {
            whole.ground_area
        },
        mean_depth: if whole.filled_area > 0.0 {
            fill / whole.filled_area
        } else {
            0.0
        },
        min_depth,
        max_depth,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::sheet::tests::SHEET;
    use crate::pour::volume::tests::grid;

    /// Least 2 mm, greatest 10 mm.
    fn finish() -> Compound {
        Compound::parse(SHEET, "sheet.toml").expect("a good sheet")
    }

    /// A wedge from 0 to 30 mm over 3 m x 1 m. The finish: a triangle up to 10 mm at 1 m, then 2 mm over 2 m. Below it
    /// from 8 mm at 1 m to 28 mm at 3 m, of a deep fill that allows 50 mm.
    #[test]
    fn a_deep_end_is_filled_from_below() {
        let floor = grid([4, 2], 1.0, |x, _| -0.01 * x);
        let deep = Compound {
            greatest_depth: 0.05,
            least_depth: 0.005,
            ..finish()
        };
        let target = Target::Level { datum: 0.0 };
        let found = layers(&floor, &target, &[deep, finish()]).expect("two layers");
        let [top, below] = found.as_slice() else {
            panic!("{found:?}")
        };
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} {b}");
        near(top.volumes.fill, 0.005 + 2.0 * 0.002);
        near(below.volumes.fill, 2.0 * 0.018);
        near(below.volumes.filled_area, 2.0);
        near(below.volumes.max_depth, 0.028);
        near(below.volumes.min_depth, 0.008);
        near(top.volumes.max_depth, 0.01);
        near(top.thickness(0.009), 0.009);
        near(top.thickness(0.011), 0.002);
        near(below.thickness(0.009), 0.0);
        near(below.thickness(0.011), 0.009);
        assert_eq!((top.compound, below.compound), (1, 0));
        // Thickness by thickness the layers make up the whole.
        let whole = volume(&floor, &target).fill;
        near(top.volumes.fill + below.volumes.fill, whole);
    }

    /// 30 mm in layers of at most 10 mm, at least 2 mm: three of 8 mm over one of 6 mm.
    #[test]
    fn one_compound_in_several_layers() {
        let floor = grid([2, 2], 1.0, |_, _| -0.03);
        let target = Target::Level { datum: 0.0 };
        let found = layers(&floor, &target, &[finish()]).expect("layers");
        let depths: Vec<f64> = found.iter().map(|layer| layer.volumes.fill).collect();
        assert_eq!(depths.len(), 4, "{depths:?}");
        for (depth, wanted) in depths.iter().zip([0.008, 0.008, 0.008, 0.006]) {
            assert!((depth - wanted).abs() < 1e-12, "{depths:?}");
        }
        let shallow = layers(&floor, &target.lowered(0.025), &[finish()]).expect("one layer");
        assert_eq!(shallow.len(), 1);
        let none = layers(&floor, &target.lowered(0.04), &[finish()]).expect("none");
        assert_eq!(none, []);
    }

    /// The finish 2 to 10 mm, the fill from 20 mm: nothing from 10 to 22 mm deep can be poured, anything else can. Of a wedge
    /// of 10 mm a metre, 1 m wide, that is 1.2 m².
    #[test]
    fn only_a_depth_that_the_floor_has_is_refused() {
        let deep = Compound {
            greatest_depth: 0.05,
            least_depth: 0.02,
            ..finish()
        };
        let sheets = [deep, finish()];
        let even = grid([2, 2], 1.0, |_, _| 0.0);
        for (depth, fits) in [(0.010, true), (0.011, false), (0.021, false), (0.022, true)] {
            let found = layers(&even, &Target::Level { datum: depth }, &sheets);
            assert_eq!(found.is_ok(), fits, "{depth}: {found:?}");
        }
        let found = layers(&even, &Target::Level { datum: 0.03 }, &sheets).expect("layers");
        let depths: Vec<_> = found.iter().map(|layer| layer.volumes.max_depth).collect();
        assert!((depths[0] - 0.002).abs() < 1e-12 && (depths[1] - 0.028).abs() < 1e-12);
        let wedge = grid([4, 2], 1.0, |x, _| -0.01 * x);
        let error = layers(&wedge, &Target::Level { datum: 0.0 }, &sheets).expect_err("a gap");
        let error = error.to_string();
        for part in ["1.2 m²", "over 10.0 mm and under 22.0 mm", "x 2.00"] {
            assert!(error.contains(part), "{error}");
        }
    }

    /// 35 mm and more in layers of at most 10 mm: the topmost is 8 mm everywhere, never 10 mm.
    #[test]
    fn a_layer_over_another_everywhere_has_one_depth() {
        let floor = grid([4, 2], 1.0, |x, _| -0.035 - 0.001 * x);
        let found = layers(&floor, &Target::Level { datum: 0.0 }, &[finish()]).expect("layers");
        let top = found[0].volumes;
        assert!((top.min_depth - 0.008).abs() < 1e-12, "{top:?}");
        assert!((top.max_depth - 0.008).abs() < 1e-12, "{top:?}");
    }
}
