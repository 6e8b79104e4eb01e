//! A pour mixed and placed: every layer on its own, the lowest first.
//!
//! In: a surface, its pour, the compounds, a [`Site`]. Out: [`Mixing`]: bags of every mix and, where a way out is known,
//! the batches of every layer with their times.
//!
//! Definition 8 of the README. Not here: how the floor is divided (see `batches.rs`) and timed (see `wet_edge.rs`).

use super::Pour;
use super::batches::{Batch, Division, Supply, divide};
use super::compound::Compound;
use super::lattice;
use super::layers::Layer;
use super::mixes::{bags_per_mix, mixes};
use super::wet_edge::{Schedule, most_apart, schedule};
use crate::error::{Result, Warning};
use crate::surface::{HeightField, Surface};
use crate::units::System;

/// A way out farther than this from the floor is looked at twice, m.
const FAR_OUT: f64 = 2.0;

/// What a pour is mixed in and by whom.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// The vessel, m³.
    pub vessel: f64,
    /// People, at least one.
    pub crew: usize,
    /// Ways out, local plan m; none where they are not known.
    pub exits: Vec<[f64; 2]>,
}

/// A pour mixed.
#[derive(Debug, Clone, PartialEq)]
pub struct Mixing {
    /// Vessel, people, ways out.
    pub site: Site,
    /// The layers, the lowest first.
    pub layers: Vec<LayerMixes>,
    /// What the user should know.
    pub warnings: Vec<Warning>,
}

/// The mixes of one layer.
#[derive(Debug, Clone, PartialEq)]
pub struct LayerMixes {
    /// Which of the compounds.
    pub compound: usize,
    /// Bags of a full mix: whole ones, or half a bag.
    pub bags_per_mix: f64,
    /// Bags of every mix, in the order of mixing.
    pub bags: Vec<f64>,
    /// The number of its first mix; numbers run on through the layers.
    pub first: usize,
    /// Where the mixes go and when; None where no way out is known.
    pub placed: Option<Placed>,
}

/// The mixes of one layer on the floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Thickness of the layer on a lattice, m.
    pub lattice: HeightField,
    /// The batches.
    pub division: Division,
    /// Their times, from the start of the layer's first mixing.
    pub schedule: Schedule,
}

impl Placed {
    /// Every batch with the time when it is down, s.
    pub fn timed(&self) -> impl Iterator<Item = (&Batch, f64)> {
        let batches = self.division.batches.iter();
        batches.zip(self.schedule.down_at.iter().copied())
    }

    /// The batch at a place (local x, y, m), counted from 0: of those no farther than a cell of the lattice the nearest that
    /// has compound there.
    pub fn batch_at(&self, [x, y]: [f64; 2]) -> Option<usize> {
        let lattice = &self.lattice;
        let beside = |at: f64, count: usize| {
            let end = (at + 2.0).floor().max(0.0) as usize;
            (at - 1.0).ceil().max(0.0) as usize..end.min(count)
        };
        let columns = beside((x - lattice.x0) / lattice.dx, lattice.nx);
        let rows = beside((y - lattice.y0) / lattice.dy, lattice.ny);
        let nodes =
            rows.flat_map(|row| columns.clone().map(move |column| row * lattice.nx + column));
        let nearest = nodes
            .filter_map(|node| {
                let batch = (*self.division.batch_of.get(node)?)?;
                let [nx, ny] = lattice.position(node);
                let dry = lattice.z.get(node).is_none_or(|depth| *depth <= 0.0);
                Some((dry, (nx - x).hypot(ny - y), batch))
            })
            .min_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        nearest.map(|(_, _, batch)| batch as usize)
    }

    /// Makes the areas of the batches, which are counted in cells, add up to the exact `filled` m².
    fn share_out(&mut self, filled: f64) {
        let batches = &mut self.division.batches;
        let counted: f64 = batches.iter().map(|batch| batch.area).sum();
        for batch in batches {
            batch.area *= filled / counted;
        }
    }

    /// Widens the depths of the batches to those at the corners of the floor, which the middles of cells miss.
    fn widen(&mut self, surface: &Surface, thickness: impl Fn([f64; 3]) -> f64) {
        let cells = surface.field.measured().map(|(_, place)| place);
        let cells = cells.filter(|_| surface.triangles.is_empty());
        for place in surface.triangles.iter().flatten().copied().chain(cells) {
            let (depth, at) = (thickness(place), [place[0], place[1]]);
            if depth > 0.0
                && let Some(batch) = self.batch_at(at)
                && let Some(batch) = self.division.batches.get_mut(batch)
            {
                batch.min_depth = batch.min_depth.min(depth);
                batch.max_depth = batch.max_depth.max(depth);
            }
        }
    }
}

impl Mixing {
    /// Mixes in all.
    pub fn mixes(&self) -> usize {
        self.layers.iter().map(|layer| layer.bags.len()).sum()
    }

    /// The number of the batch of the topmost layer at a place (local x, y, m); None where there is none.
    pub fn batch_at(&self, at: [f64; 2]) -> Option<usize> {
        let layer = self.layers.last()?;
        Some(layer.first + layer.placed.as_ref()?.batch_at(at)?)
    }

    /// Raises the orders to what the mixes take.
    pub fn cover(&self, pour: &mut Pour, compounds: &[Compound]) {
        for (number, (order, compound)) in pour.orders.iter_mut().zip(compounds).enumerate() {
            let of_compound = self.layers.iter().filter(|layer| layer.compound == number);
            order.raise_to(of_compound.flat_map(|layer| &layer.bags).sum(), compound);
        }
    }
}

/// Mixes a pour, of whose compound `waste` (a share) is lost on the way.
///
/// # Errors
/// As [`bags_per_mix`] and [`divide`].
pub fn mixing(
    surface: &Surface,
    pour: &Pour,
    compounds: &[Compound],
    waste: f64,
    site: Site,
) -> Result<Mixing> {
    let mut mixing = Mixing {
        warnings: far_out(surface, &site.exits),
        site,
        layers: Vec::new(),
    };
    for layer in pour.layers.iter().rev() {
        let Some(compound) = compounds.get(layer.compound) else {
            continue;
        };
        let crew = mixing.site.crew;
        let supply = Supply {
            compound,
            bags_per_mix: bags_per_mix(compound, mixing.site.vessel)?,
            waste,
            most_apart: most_apart(compound, crew),
        };
        let placed = if mixing.site.exits.is_empty() {
            None
        } else {
            Some(placed(surface, pour, layer, &supply, &mixing.site)?)
        };
        let bags = match &placed {
            Some(placed) => placed
                .division
                .batches
                .iter()
                .map(|batch| batch.bags)
                .collect(),
            None => mixes(layer.volumes.fill / supply.bag(), supply.bags_per_mix),
        };
        mixing.layers.push(LayerMixes {
            compound: layer.compound,
            bags_per_mix: supply.bags_per_mix,
            bags,
            first: mixing.mixes() + 1,
            placed,
        });
        if supply.bags_per_mix < 1.0 {
            let warning = half_bags(compound, mixing.site.vessel);
            mixing
                .warnings
                .extend(Some(warning).filter(|new| !mixing.warnings.contains(new)));
        }
    }
    Ok(mixing)
}

fn placed(
    surface: &Surface,
    pour: &Pour,
    layer: &Layer,
    supply: &Supply,
    site: &Site,
) -> Result<Placed> {
    let thickness = |depth: f64| layer.thickness(pour.laid(depth));
    let lattice = lattice::depths(surface, &pour.target, thickness);
    let division = divide(&lattice, layer.volumes.fill, supply, &site.exits)?;
    let mut placed = Placed {
        schedule: schedule(&lattice, &division, supply.compound, site.crew),
        lattice,
        division,
    };
    placed.share_out(layer.volumes.filled_area);
    placed.widen(surface, |place| thickness(pour.target.depth_over(place)));
    Ok(placed)
}

fn half_bags(compound: &Compound, vessel: f64) -> Warning {
    Warning(format!(
        "a vessel of {} does not hold a bag of {}: mix half a bag at a time, powder and liquid weighed, or take a larger one",
        System::Metric.volume(vessel),
        compound.name
    ))
}

/// Ways out that may be a slip of the pen.
fn far_out(surface: &Surface, exits: &[[f64; 2]]) -> Vec<Warning> {
    let off = |[x, y]: [f64; 2]| {
        let places = surface.field.measured();
        let apart = places.map(|(_, [px, py, _])| (px - x).hypot(py - y));
        apart.fold(f64::INFINITY, f64::min)
    };
    let far = exits
        .iter()
        .filter(|&&exit| off(exit) > FAR_OUT + surface.spacing);
    far.map(|&exit| {
        let [x, y] = surface.survey_xy(exit);
        Warning(format!(
            "the way out at {} is {} off the floor that was measured; is it in the survey's coordinates, metres?",
            System::Metric.place(x, y),
            System::Metric.plan(off(exit))
        ))
    })
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::sheet::tests::SHEET;
    use crate::pour::volume::tests::grid;
    use crate::pour::{Target, pour};

    fn site(exits: &[[f64; 2]]) -> Site {
        Site {
            vessel: 0.02,
            crew: 1,
            exits: exits.to_vec(),
        }
    }

    /// A wedge from 0 to 30 mm over 3 m x 1 m in layers of at most 10 mm (least 2 mm): several layers of one compound, each
    /// with its own first half bag; together they take more bags than the volume.
    #[test]
    fn every_layer_is_mixed_on_its_own() {
        let floor = grid([4, 2], 1.0, |x, _| -0.01 * x);
        let compounds = [Compound::parse(SHEET, "sheet.toml").expect("a sheet")];
        let target = Target::Level { datum: 0.0 };
        let mut plan = pour(&floor, target, &compounds, 0.0, None).expect("a pour");
        // 45 l are three bags of 15 l.
        assert_eq!(plan.bags(), 3);
        for exits in [&[][..], &[[0.0, 0.5]]] {
            let mixed = mixing(&floor, &plan, &compounds, 0.0, site(exits)).expect("mixed");
            assert_eq!(mixed.layers.len(), plan.layers.len());
            let firsts: Vec<usize> = mixed.layers.iter().map(|layer| layer.first).collect();
            let mut next = 1;
            for (layer, first) in mixed.layers.iter().zip(firsts) {
                assert_eq!(first, next);
                next += layer.bags.len();
            }
            let bags: f64 = mixed.layers.iter().flat_map(|layer| &layer.bags).sum();
            let fill: f64 = plan.layers.iter().map(|layer| layer.volumes.fill).sum();
            assert!(bags * 0.015 >= fill, "{bags}");
            mixed.cover(&mut plan, &compounds);
            assert!(plan.bags() as f64 >= bags && (plan.bags() as f64) < bags + 1.0);
            let order = &plan.orders[0];
            let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} {b}");
            near(order.liquid, plan.bags() as f64 * 0.005);
            near(order.mixed + order.spare, plan.bags() as f64 * 0.015);
            let last = mixed.mixes();
            let at_the_door = mixed.batch_at([0.0, 0.5]);
            assert_eq!(at_the_door, exits.first().map(|_| last));
            assert_eq!(mixed.batch_at([9.0, 0.5]), None);
            for (layer, of) in mixed.layers.iter().zip(plan.layers.iter().rev()) {
                let Some(placed) = &layer.placed else {
                    continue;
                };
                let poured: f64 = placed.timed().map(|(batch, _)| batch.volume).sum();
                near(poured, of.volumes.fill);
                // The lattice is close to the exact volume.
                let cell = placed.lattice.dx * placed.lattice.dy;
                let sampled: f64 = placed.lattice.z.iter().filter(|z| **z > 0.0).sum();
                assert!((sampled * cell / of.volumes.fill - 1.0).abs() < 0.01);
            }
        }
        assert!(
            plan.orders[0]
                .warnings
                .iter()
                .any(|warning| warning.0.contains("mixed on its own"))
        );
    }

    /// A slope from 2 mm above the finish to 18 mm below it over 4 m: with grinding no batch is thinner than the least depth,
    /// without it the batches still reach the deepest corner. A pin on the edge of the floor lies in the batch beside it.
    #[test]
    fn batches_have_the_depths_of_the_plan() {
        let floor = grid([5, 3], 1.0, |x, _| 0.002 - 0.005 * x);
        let compounds = [Compound::parse(SHEET, "sheet.toml").expect("a sheet")];
        let compounds = compounds.map(|sheet| Compound {
            greatest_depth: 0.05,
            ..sheet
        });
        let target = Target::Level { datum: 0.0 };
        for ground in [true, false] {
            let thin = ground.then(|| crate::pour::thin::taken_down(&floor, &target, 0.003));
            let plan = pour(&floor, target.clone(), &compounds, 0.0, thin).expect("a pour");
            let at_the_door = site(&[[0.0, 0.5]]);
            let mixed = mixing(&floor, &plan, &compounds, 0.0, at_the_door).expect("mixed");
            let placed = mixed.layers[0].placed.as_ref().expect("placed");
            let batches = || placed.timed().map(|(batch, _)| batch);
            let least = batches().map(|batch| batch.min_depth).fold(1.0, f64::min);
            let greatest = batches().map(|batch| batch.max_depth).fold(0.0, f64::max);
            assert!((greatest - 0.018).abs() < 1e-12, "{greatest}");
            assert_eq!((least - 0.003).abs() < 1e-12, ground, "{least}");
            assert_eq!(plan.laid(-0.002), if ground { 0.0 } else { -0.002 });
            assert_eq!(placed.batch_at([4.0, 2.0]), Some(0));
            assert_eq!(placed.batch_at([4.2, 2.0]), None);
        }
    }

    #[test]
    fn what_is_odd_about_a_site_is_said() {
        let floor = grid([4, 4], 1.0, |_, _| -0.005);
        let compounds = [Compound::parse(SHEET, "sheet.toml").expect("a sheet")];
        let plan =
            pour(&floor, Target::Level { datum: 0.0 }, &compounds, 0.0, None).expect("a pour");
        let small = Site {
            vessel: 0.01,
            ..site(&[[300.0, 0.0]])
        };
        let found = mixing(&floor, &plan, &compounds, 0.0, small).expect("mixed");
        let [far, half] = found.warnings.as_slice() else {
            panic!("{:?}", found.warnings)
        };
        assert!(far.0.contains("297.00 m off the floor"), "{far}");
        assert!(half.0.contains("half a bag at a time"), "{half}");
        // 45 l in half bags of 7.5 l.
        assert_eq!(found.layers[0].bags, [0.5; 6]);
    }
}
