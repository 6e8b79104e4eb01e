//! A loom workshop of 7 x 5 m, scanned from two set-ups: rays are cast at the floor, the walls and what stands there.
//!
//! In: nothing. Out: a LAZ file (LAS 1.2, point format 0). Each ray of an even angular grid meets the nearest thing in
//! its way, so that shadows and the thinning out with distance come about by themselves. Close to the scanner the scan
//! is thinned as an export does it. Not here: mixed edges, colours, intensities.

use std::io::Cursor;

use las::{
    Builder, LazParallelism, Point, Transform, Vector, Writer, WriterOptions, point::Format,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use super::{File, MM, bump, ripple};

/// Seed of the rays' thinning, noise and reflections.
pub const SEED: u64 = 70_050;
/// The room, m: x 0 to 7, y 0 to 5.
pub const ROOM: [f64; 2] = [7.0, 5.0];
/// Height of the ceiling over the floor, m.
const CEILING: f64 = 2.6;
/// Usual height of the floor, m: the scanner's own height is zero.
pub const FLOOR: f64 = -1.512;
/// Standard deviation of each coordinate of a point, m.
pub const NOISE: f64 = 2.0 * MM;
/// Plan positions of the two set-ups, m.
const SETUPS: [[f64; 2]; 2] = [[2.1, 2.6], [5.0, 1.7]];
/// Angle between neighbouring rays, degrees.
const STEP: f64 = 0.12;
/// Lowest ray (the tripod is in the way of steeper ones) and highest, degrees above the horizon.
const ELEVATION: [f64; 2] = [-65.0, -5.0];
/// What is higher over the floor was cut off, m.
const CROP: f64 = 1.0;
/// Nearer than this, m, points are thinned by the square of the distance.
const FULL_DENSITY: f64 = 5.0;
/// Share of the points kept on walls.
const ON_WALLS: f64 = 0.12;
/// Share of the most grazing rays that the floor mirrors: they show the wall, upside down below the floor.
const MIRRORED: f64 = 0.02;

/// A box: lowest and highest corner, m, heights over [`FLOOR`].
type Thing = [[f64; 3]; 2];

/// Where the crate stood: nobody has seen the floor under it.
pub const CRATE: Thing = [[5.3, 3.3, -0.1], [6.3, 4.1, 0.4]];
/// The bench: top, and four legs.
const BENCH: [Thing; 5] = [
    [[0.9, 3.4, 0.76], [2.5, 4.1, 0.80]],
    [[0.95, 3.45, -0.1], [1.03, 3.53, 0.76]],
    [[2.37, 3.45, -0.1], [2.45, 3.53, 0.76]],
    [[0.95, 3.97, -0.1], [1.03, 4.05, 0.76]],
    [[2.37, 3.97, -0.1], [2.45, 4.05, 0.76]],
];
/// Somebody who walked in during the second set-up: two legs and a coat.
const PERSON: [Thing; 3] = [
    [[3.50, 3.80, -0.1], [3.62, 3.98, 0.80]],
    [[3.72, 3.80, -0.1], [3.84, 3.98, 0.80]],
    [[3.45, 3.75, 0.80], [3.89, 4.03, 1.75]],
];

/// The floor, m: waves of 8 mm in all, and a hollow 9 mm deep where a loom stood.
pub fn truth(x: f64, y: f64) -> f64 {
    FLOOR
        + ripple(2.5 * MM, 4.3, x + 0.4 * y, 0.8)
        + ripple(1.5 * MM, 3.1, y - 0.2 * x, 1.9)
        + bump(-9.0 * MM, 0.6, [3.4, 1.2], [x, y])
}

/// `scan.laz`.
pub fn files() -> Vec<File> {
    vec![(
        "loom-workshop/scan.laz",
        encode(&scan()).expect("writing to memory"),
    )]
}

/// The points of both set-ups as they were met, x, y, z in m, with the number of the set-up.
fn scan() -> Vec<([f64; 3], u16)> {
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let noise = Normal::new(0.0, NOISE).expect("a fixed standard deviation");
    let things = [&BENCH[..], &[CRATE], &PERSON].concat();
    let visible = [things.len() - PERSON.len(), things.len()];
    let mut points = Vec::new();
    for (number, (setup, visible)) in (1..).zip(SETUPS.into_iter().zip(visible)) {
        let from = [setup[0], setup[1], -FLOOR];
        for azimuth in angles(0.0, 360.0) {
            for elevation in angles(ELEVATION[0], ELEVATION[1]) {
                let ray = [
                    azimuth.cos() * elevation.cos(),
                    azimuth.sin() * elevation.cos(),
                    elevation.sin(),
                ];
                if let Some(point) = cast(from, ray, &things[..visible], &mut rng) {
                    points.push((point.map(|v| v + noise.sample(&mut rng)), number));
                }
            }
        }
    }
    points
}

/// Angles from `low` to below `high` degrees, in radians.
fn angles(low: f64, high: f64) -> impl Iterator<Item = f64> {
    let count = ((high - low) / STEP).round() as usize;
    (0..count).map(move |index| (low + index as f64 * STEP).to_radians())
}

/// Where a ray ends, or None if nothing is kept of it. `from` is over the floor, the point in the scan's coordinates.
fn cast(from: [f64; 3], ray: [f64; 3], things: &[Thing], rng: &mut ChaCha8Rng) -> Option<[f64; 3]> {
    let at = |distance: f64| [0, 1, 2].map(|axis| from[axis] + distance * ray[axis]);
    let flat = -from[2] / ray[2];
    let wall = crossing(
        from,
        ray,
        &[[0.0, 0.0, -CEILING], [ROOM[0], ROOM[1], CEILING]],
    )
    .map_or(flat, |[_, out]| out);
    let thing = things
        .iter()
        .filter_map(|thing| crossing(from, ray, thing).map(|[into, _]| into))
        .fold(f64::INFINITY, f64::min);
    let mirrored = rng.random_bool(MIRRORED * (1.0 + ray[2]).powi(4));
    let (distance, share) = if thing < wall.min(flat) {
        (thing, 1.0)
    } else if flat < wall && !mirrored {
        (flat, 1.0)
    } else {
        (wall, if flat < wall { 1.0 } else { ON_WALLS })
    };
    let kept = rng.random_bool(share * (distance / FULL_DENSITY).powi(2).min(1.0));
    let [x, y, z] = at(distance);
    if !kept || z > CROP {
        return None;
    }
    let on_floor = distance == flat;
    Some([x, y, if on_floor { truth(x, y) } else { FLOOR + z }])
}

/// Distances along a ray at which it enters and leaves a box, by its slabs. None if it misses it.
fn crossing(from: [f64; 3], ray: [f64; 3], [low, high]: &Thing) -> Option<[f64; 2]> {
    let [mut into, mut out] = [0.0_f64, f64::INFINITY];
    for axis in 0..3 {
        let [a, b] = [low[axis], high[axis]].map(|face| (face - from[axis]) / ray[axis]);
        into = into.max(a.min(b));
        out = out.min(a.max(b));
    }
    (into < out).then_some([into, out])
}

/// LAS 1.2, point format 0, compressed; millimetres in plan, half millimetres in height; no date.
fn encode(points: &[([f64; 3], u16)]) -> las::Result<Vec<u8>> {
    let plan = Transform {
        scale: MM,
        offset: 0.0,
    };
    let mut builder = Builder::from((1, 2));
    builder.generating_software = "lowspot sample".to_owned();
    builder.point_format = Format::new(0)?;
    builder.point_format.is_compressed = true;
    builder.transforms = Vector {
        x: plan,
        y: plan,
        z: Transform {
            scale: 0.5 * MM,
            offset: 0.0,
        },
    };
    let options = WriterOptions::default().with_laz_parallelism(LazParallelism::No);
    let mut writer =
        Writer::with_options(Cursor::new(Vec::new()), builder.into_header()?, options)?;
    for &([x, y, z], setup) in points {
        writer.write_point(Point {
            x,
            y,
            z,
            return_number: 1,
            number_of_returns: 1,
            point_source_id: setup,
            ..Point::default()
        })?;
    }
    writer.close()?;
    Ok(writer.into_inner()?.into_inner())
}
