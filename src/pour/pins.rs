//! Where pins are set, and how deep the compound lies at each.
//!
//! In: a surface and its target, and where pins are wanted: at the readings, on a grid, or at places of one's own. Out: the
//! [`Pin`]s, in the order of the survey, along the rows of the grid, or in the order of the places.
//!
//! A grid stands on whole multiples of its pitch in the survey's own coordinates, so that a position can be found with
//! a tape and checked by eye. Its pins stand clear of the edge of the measured floor, where neither a wall nor what was
//! not measured is in the way.

use super::Target;
use super::at::heights_at;
use crate::error::{Error, Result, Warning};
use crate::surface::Surface;
use crate::survey::places::NamedPlace;
use crate::units::System;

/// Pins on a grid have this much measured floor about them, m: a tripod pin's foot, and room to write beside it.
const CLEAR: f64 = 0.1;

/// Nobody sets more pins than this: the pitch is a slip.
pub const MOST: usize = 20_000;

/// Pins off the floor that a warning names before it only counts the rest.
const NAMED: usize = 5;

/// A place where the depth of compound is set out.
#[derive(Debug, Clone, PartialEq)]
pub struct Pin {
    /// The name of the reading or the place; of a grid letters for the column, the number of the row: `B3`.
    pub name: String,
    /// Local x, y and height of the floor, m.
    pub position: [f64; 3],
    /// Compound over the floor, m, once it is ground; negative where the floor is too high and is not ground.
    pub depth: f64,
    /// What is ground off the floor before, m.
    pub grind: f64,
    /// The batch that it lies in, from 1; None where the pour is not divided, or no batch passes it.
    pub batch: Option<usize>,
}

impl Pin {
    fn new(name: String, position: [f64; 3], target: &Target) -> Self {
        Self {
            name,
            position,
            depth: target.depth_over(position),
            grind: 0.0,
            batch: None,
        }
    }

    /// Height to finish at, local, m.
    pub fn finish(&self) -> f64 {
        self.position[2] - self.grind + self.depth
    }
}

/// Puts pins in the order in which their batches are poured; those of no batch come last.
pub fn in_order_of_pouring(pins: &mut [Pin]) {
    pins.sort_by_key(|pin| pin.batch.unwrap_or(usize::MAX));
}

/// A pin at every reading; none for a scan.
pub fn at_readings(surface: &Surface, target: &Target) -> Vec<Pin> {
    let pins = surface.pins.iter();
    pins.map(|pin| Pin::new(pin.name.clone(), pin.position, target))
        .collect()
}

/// Pins on a grid of `pitch` m.
///
/// # Errors
/// [`Error::Argument`] for more pins than anybody sets, and where no place of the grid lies on the floor.
pub fn on_grid(surface: &Surface, target: &Target, pitch: f64) -> Result<Vec<Pin>> {
    let wrong = |wanted: String| {
        let found = format!("a grid of {}", System::Metric.plan(pitch));
        Error::argument("--pins", found, wanted)
    };
    let [columns, rows] = [0, 1].map(|axis| multiples(surface, axis, pitch));
    let count = columns.count * rows.count;
    if count.is_nan() || count > MOST as f64 {
        return Err(wrong(format!("a wider one: at most {MOST} pins")));
    }
    let mut nodes = Vec::new();
    for row in 0..rows.count as usize {
        for column in 0..columns.count as usize {
            nodes.push(([column, row], [columns.at(column), rows.at(row)]));
        }
    }
    let places: Vec<[f64; 2]> = nodes.iter().map(|&(_, at)| at).collect();
    let clear = clear_of_the_edge(surface, &places);
    let mut standing: Vec<_> = nodes.iter().zip(clear).collect();
    standing.retain(|(_, z)| z.is_finite());
    let first = |axis: usize| standing.iter().map(|((node, _), _)| node[axis]).min();
    let (Some(left), Some(lowest)) = (first(0), first(1)) else {
        let clear = System::Metric.plan(CLEAR);
        return Err(wrong(format!(
            "a closer one: none of its places lies on measured floor, {clear} clear of the edge"
        )));
    };
    Ok(standing
        .into_iter()
        .map(|(([column, row], [x, y]), z)| {
            let name = format!("{}{}", letters(column - left), row - lowest + 1);
            Pin::new(name, [*x, *y, z], target)
        })
        .collect())
}

/// A pin at each of `places`, with a warning of those that lie off the measured floor.
///
/// # Errors
/// [`Error::Floor`] where all of them do.
pub fn at_places(
    surface: &Surface,
    target: &Target,
    places: &[NamedPlace],
) -> Result<(Vec<Pin>, Option<Warning>)> {
    let local: Vec<[f64; 2]> = places
        .iter()
        .map(|place| {
            [
                place.at[0] - surface.origin[0],
                place.at[1] - surface.origin[1],
            ]
        })
        .collect();
    let (mut pins, mut off) = (Vec::new(), Vec::new());
    let heights = heights_at(surface, &local);
    for ((place, [x, y]), z) in places.iter().zip(local).zip(heights) {
        if z.is_finite() {
            pins.push(Pin::new(place.name.clone(), [x, y, z], target));
        } else {
            off.push(place.name.as_str());
        }
    }
    if pins.is_empty() {
        let wanted = "pins in the survey's own coordinates, on floor that was measured";
        return Err(Error::floor("no floor at any of the pins", wanted));
    }
    Ok((pins, left_out(&off)))
}

fn left_out(off: &[&str]) -> Option<Warning> {
    let named = off.get(..NAMED.min(off.len()))?.join(", ");
    let more = match off.len().saturating_sub(NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let text = format!("pins off the measured floor, left out: {named}{more}");
    (!off.is_empty()).then_some(Warning(text))
}

/// Places along an axis.
struct Multiples {
    /// Local, m.
    first: f64,
    pitch: f64,
    /// A whole number, not yet known to be small.
    count: f64,
}

impl Multiples {
    fn at(&self, number: usize) -> f64 {
        self.first + number as f64 * self.pitch
    }
}

/// The multiples of `pitch` of a survey coordinate that lie within the floor.
fn multiples(surface: &Surface, axis: usize, pitch: f64) -> Multiples {
    let along = |range: [f64; 2], at: f64| [range[0].min(at), range[1].max(at)];
    let nothing = [f64::INFINITY, f64::NEG_INFINITY];
    let corners = surface
        .triangles
        .iter()
        .flatten()
        .map(|corner| corner[axis]);
    let nodes = surface.field.measured().map(|(_, position)| position[axis]);
    let [low, high] = corners.chain(nodes).fold(nothing, along);
    let origin = surface.origin[axis];
    let (first, last) = (
        ((low + origin) / pitch).ceil(),
        ((high + origin) / pitch).floor(),
    );
    Multiples {
        first: first * pitch - origin,
        pitch,
        count: (last - first + 1.0).max(0.0),
    }
}

/// Height of the floor at `places`, m; NaN where there is not measured floor all about.
fn clear_of_the_edge(surface: &Surface, places: &[[f64; 2]]) -> Vec<f64> {
    let mut heights = heights_at(surface, places);
    let slanting = CLEAR * std::f64::consts::FRAC_1_SQRT_2;
    let about = [
        [CLEAR, 0.0],
        [0.0, CLEAR],
        [slanting, slanting],
        [slanting, -slanting],
    ];
    for [dx, dy] in about.into_iter().flat_map(|[x, y]| [[x, y], [-x, -y]]) {
        let moved: Vec<_> = places.iter().map(|[x, y]| [x + dx, y + dy]).collect();
        for (height, beside) in heights.iter_mut().zip(heights_at(surface, &moved)) {
            if beside.is_nan() {
                *height = f64::NAN;
            }
        }
    }
    heights
}

/// A, B, ... Z, AA, AB, ...
fn letters(mut number: usize) -> String {
    let mut name = Vec::new();
    loop {
        name.push(char::from(b'A' + (number % 26) as u8));
        match (number / 26).checked_sub(1) {
            Some(more) => number = more,
            None => return name.iter().rev().collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::volume::tests::grid;

    const LEVEL: Target = Target::Level { datum: 0.01 };

    /// 3 m x 2 m from (100.4, 50.4): whole metres at x 101, 102, 103 and y 51, 52.
    fn hall() -> Surface {
        let mut floor = grid([7, 5], 0.5, |x, _| 0.001 * x);
        floor.origin = [100.4, 50.4, 7.0];
        floor
    }

    #[test]
    fn a_grid_stands_on_whole_pitches_of_the_survey() {
        let pins = on_grid(&hall(), &LEVEL, 1.0).expect("six pins");
        let names: Vec<_> = pins.iter().map(|pin| pin.name.as_str()).collect();
        assert_eq!(names, ["A1", "B1", "C1", "A2", "B2", "C2"]);
        let [x, y, z] = pins[4].position;
        assert!((x - 1.6).abs() < 1e-12 && (y - 1.6).abs() < 1e-12);
        assert!((z - 0.0016).abs() < 1e-12);
        assert!((pins[4].depth - 0.0084).abs() < 1e-12);
        assert!((pins[4].finish() - 0.01).abs() < 1e-12);
    }

    #[test]
    fn no_pin_near_an_edge_or_a_hole() {
        let mut floor = hall();
        floor.origin = [0.0; 3];
        // The floor from 0 to 3 and 0 to 2: only the inner whole metres are clear of its edge.
        let found = |floor: &Surface| -> Vec<[f64; 2]> {
            let pins = on_grid(floor, &LEVEL, 1.0).expect("pins");
            pins.iter()
                .map(|pin| [pin.position[0], pin.position[1]])
                .collect()
        };
        assert_eq!(found(&floor), [[1.0, 1.0], [2.0, 1.0]]);
        floor
            .triangles
            .retain(|triangle| triangle.iter().all(|corner| corner[0] <= 2.0));
        assert_eq!(found(&floor), [[1.0, 1.0]]);
        // Cells of 0.5 m about the nodes reach a quarter metre farther; one of them was not measured.
        let mut scan = hall();
        scan.triangles.clear();
        scan.field.z[2 * 7 + 2] = f64::NAN;
        scan.origin = [0.0; 3];
        assert_eq!(found(&scan).len(), 4 * 3 - 1);
    }

    #[test]
    fn a_pitch_that_fits_no_floor_is_refused() {
        for (pitch, wanted) in [
            (10.0, "a closer one"),
            (0.01, "a wider one"),
            (1e-300, "a wider one"),
        ] {
            let error = on_grid(&hall(), &LEVEL, pitch)
                .expect_err("no grid")
                .to_string();
            assert!(error.contains(wanted), "{error}");
        }
    }

    #[test]
    fn places_of_ones_own_off_the_floor_are_named() {
        let place = |name: &str, at| NamedPlace {
            name: name.to_owned(),
            at,
        };
        let places = [
            place("door", [100.4, 50.4]),
            place("outside", [100.0, 50.0]),
        ];
        let (pins, warning) = at_places(&hall(), &LEVEL, &places).expect("one pin");
        assert_eq!((pins.len(), pins[0].name.as_str()), (1, "door"));
        assert!((pins[0].depth - 0.01).abs() < 1e-12);
        assert!(
            warning
                .expect("one is off")
                .0
                .ends_with("left out: outside")
        );
        assert!(at_places(&hall(), &LEVEL, &places[1..]).is_err());
        assert_eq!(
            at_places(&hall(), &LEVEL, &places[..1]).expect("one pin").1,
            None
        );
    }

    #[test]
    fn the_order_of_pouring_keeps_the_survey_within_a_batch() {
        let mut pins = at_readings(&hall(), &LEVEL)[..4].to_vec();
        for (pin, batch) in pins.iter_mut().zip([None, Some(2), Some(1), Some(2)]) {
            pin.batch = batch;
        }
        in_order_of_pouring(&mut pins);
        let names: Vec<_> = pins.iter().map(|pin| pin.name.as_str()).collect();
        assert_eq!(names, ["3", "2", "4", "1"]);
    }

    #[test]
    fn columns_are_lettered_as_in_a_spreadsheet() {
        let names = [0, 25, 26, 51, 52, 701, 702].map(letters);
        assert_eq!(names, ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]);
    }
}
