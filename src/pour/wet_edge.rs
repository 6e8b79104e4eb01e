//! When each batch is down, how old the wet edge is that it joins, and where to stop the pour instead.
//!
//! In: a pour divided into batches, the compound's times, the number of people. Out: minutes, joints, bay stops.
//!
//! One mix keeps one person busy for twice the mixing time: mixing it, and then carrying, pouring and spreading it, which
//! is taken to last as long (an assumption, no source). People share this work evenly, and nobody rests. An edge ages from the end of mixing.
//! What may be joined is what is still within the working time when its neighbour comes down.

use std::collections::BTreeMap;

use super::batches::Division;
use super::compound::Compound;
use crate::surface::HeightField;

/// Where two batches meet.
#[derive(Debug, Clone, PartialEq)]
pub struct Joint {
    /// The batch poured first, counted from 0.
    pub earlier: usize,
    /// The batch poured against it.
    pub later: usize,
    /// Age of the first when the second comes down, s.
    pub age: f64,
    /// Ends of the joint, local m: between them a bay stop would be set.
    pub ends: [[f64; 2]; 2],
}

/// A pour in time.
#[derive(Debug, Clone, PartialEq)]
pub struct Schedule {
    /// When each batch is to be down, s from the start of the first mixing.
    pub down_at: Vec<f64>,
    /// Every place where two batches meet, in the order of pouring.
    pub joints: Vec<Joint>,
    /// Those of the joints, by their place in the list, that are too old to be joined wet: a bay stop belongs there.
    pub bay_stops: Vec<usize>,
    /// The least number of people who could join every batch wet; None where no number could.
    pub crew_needed: Option<usize>,
}

/// Between two batches that meet `crew` people (at least one) may pour so many and still join them wet.
pub fn most_apart(compound: &Compound, crew: usize) -> f64 {
    ((compound.working_time - compound.mixing_time) / pace(compound, crew)).floor()
}

/// From one batch that is down to the next, s.
fn pace(compound: &Compound, crew: usize) -> f64 {
    2.0 * compound.mixing_time / crew.max(1) as f64
}

/// Times a pour by `crew` people (at least one).
pub fn schedule(
    depths: &HeightField,
    division: &Division,
    compound: &Compound,
    crew: usize,
) -> Schedule {
    let mixing = compound.mixing_time;
    let pace = pace(compound, crew);
    let joints: Vec<Joint> = meetings(depths, division)
        .into_iter()
        .map(|((later, earlier), places)| Joint {
            earlier,
            later,
            age: (later - earlier) as f64 * pace + mixing,
            ends: ends(&places),
        })
        .collect();
    let too_old = |joint: &Joint| joint.age > compound.working_time;
    let widest = joints.iter().map(|joint| joint.later - joint.earlier).max();
    let spare = compound.working_time - mixing;
    let needed = (2.0 * mixing * widest.unwrap_or(0) as f64 / spare)
        .ceil()
        .max(1.0);
    Schedule {
        down_at: (0..division.batches.len())
            .map(|n| 2.0 * mixing + n as f64 * pace)
            .collect(),
        bay_stops: (0..joints.len())
            .filter(|&at| too_old(&joints[at]))
            .collect(),
        crew_needed: (spare > 0.0).then_some(needed as usize),
        joints,
    }
}

/// For every two batches (later, earlier) that meet under compound, the middles of the cells' sides between them.
fn meetings(depths: &HeightField, division: &Division) -> BTreeMap<(usize, usize), Vec<[f64; 2]>> {
    let mut meetings: BTreeMap<_, Vec<_>> = BTreeMap::new();
    let wet = |node: usize| division.batch_of[node].filter(|_| depths.z[node] > 0.0);
    for node in 0..depths.z.len() {
        let right = (node % depths.nx + 1 < depths.nx).then_some((node + 1, [0.5, 0.0]));
        let above = (node / depths.nx + 1 < depths.ny).then_some((node + depths.nx, [0.0, 0.5]));
        for (next, [dx, dy]) in right.into_iter().chain(above) {
            if let (Some(a), Some(b)) = (wet(node), wet(next))
                && a != b
            {
                let [x, y] = depths.position(node);
                let side = [x + dx * depths.dx, y + dy * depths.dy];
                let pair = (a.max(b) as usize, a.min(b) as usize);
                meetings.entry(pair).or_default().push(side);
            }
        }
    }
    meetings
}

/// The two places that lie farthest apart: the one farthest from the first, and the one farthest from that.
fn ends(places: &[[f64; 2]]) -> [[f64; 2]; 2] {
    let farthest = |[x, y]: [f64; 2]| {
        let apart = |place: &&[f64; 2]| (place[0] - x).hypot(place[1] - y);
        let farthest = places.iter().max_by(|a, b| apart(a).total_cmp(&apart(b)));
        farthest.copied().unwrap_or([x, y])
    };
    let one = farthest(places.first().copied().unwrap_or_default());
    [one, farthest(one)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::batches::{Supply, divide};
    use crate::pour::sheet::tests::SHEET;

    /// A corridor 1 m wide and 12 m long at 10 mm: 120 l, of which a bag of 15 l does 1.5 m. The way out is at x = 0.
    fn corridor(crew: usize, working_time: &str) -> Schedule {
        let mut depths = HeightField::unmeasured([0.05; 2], [0.1; 2], [120, 10]);
        depths.z.fill(0.01);
        let text = SHEET.replace("20 min", working_time);
        let compound = Compound::parse(&text, "sheet").expect("a sheet");
        let supply = Supply {
            compound: &compound,
            bags_per_mix: 1.0,
            waste: 0.0,
            most_apart: most_apart(&compound, crew),
        };
        let division = divide(&depths, 0.12, &supply, &[[-9.0, 0.5]]).expect("divided");
        schedule(&depths, &division, &compound, crew)
    }

    /// Mixing takes 3 min: two people bring down a mix every 3 min, the first after 6. Each edge is 3 + 3 min old.
    #[test]
    fn a_corridor_by_two_people() {
        let schedule = corridor(2, "20 min");
        assert_eq!(schedule.down_at.len(), 8);
        assert_eq!(schedule.down_at[..3], [360.0, 540.0, 720.0]);
        let edges: Vec<_> = schedule
            .joints
            .iter()
            .map(|j| (j.later, j.earlier, j.age))
            .collect();
        assert_eq!(edges, (1..8).map(|n| (n, n - 1, 360.0)).collect::<Vec<_>>());
        assert_eq!(
            (schedule.bay_stops, schedule.crew_needed),
            (vec![], Some(1))
        );
        let [a, b] = schedule.joints[0].ends;
        assert!(
            (a[0] - 10.5).abs() < 0.15 && (a[1] - b[1]).abs() > 0.85,
            "{a:?} {b:?}"
        );
    }

    /// One person brings a mix down every 6 min: an edge is 9 min old. With 8 min to work it, stop or take a second.
    #[test]
    fn a_bay_stop_or_one_person_more() {
        let alone = corridor(1, "8 min");
        assert_eq!(alone.bay_stops, [0, 1, 2, 3, 4, 5, 6]);
        assert_eq!(alone.crew_needed, Some(2));
        assert!(corridor(2, "8 min").bay_stops.is_empty());
        assert_eq!(corridor(9, "3 min").crew_needed, None);
    }
}
