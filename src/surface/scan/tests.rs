//! Rooms made up with known truth, and the real scans.

use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use super::*;
use crate::survey::{Content, LeftOut, Options, PointReader, Source, recognise};

/// Points held in memory, handed out in batches.
struct Held {
    points: Vec<[f64; 3]>,
    next: usize,
}

impl PointReader for Held {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        batch.clear();
        let end = (self.next + 5000).min(self.points.len());
        self.points[self.next..end]
            .iter()
            .for_each(|&point| batch.push(point));
        let more = self.next < end;
        self.next = end;
        Ok(more)
    }

    fn announced(&self) -> Option<u64> {
        Some(self.points.len() as u64)
    }

    fn left_out(&self) -> LeftOut {
        LeftOut::default()
    }
}

fn measure(
    files: &[Vec<[f64; 3]>],
    settings: &ScanSettings,
    outline: Option<&Outline>,
) -> Result<Surface> {
    let open = || {
        let held = |points: &Vec<[f64; 3]>| {
            Box::new(Held {
                points: points.clone(),
                next: 0,
            }) as Box<dyn PointReader>
        };
        Ok(files.iter().map(held).collect())
    };
    from_scan(&open, settings, outline, &|_| {})
}

/// A room of 6 x 4 m in the making.
struct Room {
    random: ChaCha8Rng,
    noise: Normal<f64>,
    points: Vec<[f64; 3]>,
}

impl Room {
    fn new(noise: f64) -> Self {
        Self {
            random: ChaCha8Rng::seed_from_u64(1),
            noise: Normal::new(0.0, noise).unwrap(),
            points: Vec::new(),
        }
    }

    /// `count` points on a piece of surface over [x0, x1] x [y0, y1], each at `z`, with noise in height.
    fn piece(
        mut self,
        count: usize,
        [x0, x1]: [f64; 2],
        [y0, y1]: [f64; 2],
        z: impl Fn(f64, f64) -> f64,
    ) -> Self {
        for _ in 0..count {
            let x = self.random.random_range(x0..=x1);
            let y = self.random.random_range(y0..=y1);
            let z = z(x, y) + self.noise.sample(&mut self.random);
            self.points.push([x, y, z]);
        }
        self
    }

    /// `count` points anywhere in a block.
    fn block(mut self, count: usize, x: [f64; 2], y: [f64; 2], z: [f64; 2]) -> Self {
        for _ in 0..count {
            let mut within = |[low, high]: [f64; 2]| self.random.random_range(low..=high);
            let point = [within(x), within(y), within(z)];
            self.points.push(point);
        }
        self
    }

    /// Ceiling and walls.
    fn shell(self) -> Self {
        self.piece(150_000, [0.0, 6.0], [0.0, 4.0], |_, _| 2.6)
            .block(40_000, [0.0, 6.0], [0.0, 0.0], [0.0, 2.6])
            .block(40_000, [0.0, 6.0], [4.0, 4.0], [0.0, 2.6])
            .block(30_000, [0.0, 0.0], [0.0, 4.0], [0.0, 2.6])
            .block(30_000, [6.0, 6.0], [0.0, 4.0], [0.0, 2.6])
    }

    /// A box of 1.0 x 0.6 m, 0.5 m high, without floor under it; a table at 0.74 m on four legs, with floor under it.
    fn furnished(mut self) -> Self {
        self.points
            .retain(|&[x, y, _]| !is_in_box(x, y) && !is_in_leg(x, y));
        let mut room = self
            .piece(20_000, BOX[0], BOX[1], |_, _| 0.5)
            .block(4_000, BOX[0], [BOX[1][0]; 2], [0.0, 0.5])
            .block(4_000, BOX[0], [BOX[1][1]; 2], [0.0, 0.5])
            .block(3_000, [BOX[0][0]; 2], BOX[1], [0.0, 0.5])
            .block(3_000, [BOX[0][1]; 2], BOX[1], [0.0, 0.5])
            .piece(60_000, [3.4, 5.0], [1.0, 1.8], |_, _| 0.74);
        for [x, y] in LEGS {
            room = room.block(1500, [x, x + LEG], [y, y], [0.0, 0.72]).block(
                1500,
                [x, x],
                [y, y + LEG],
                [0.0, 0.72],
            );
        }
        room
    }
}

const BOX: [[f64; 2]; 2] = [[1.0, 2.0], [2.0, 2.6]];
const LEG: f64 = 0.06;
const LEGS: [[f64; 2]; 4] = [[3.42, 1.02], [4.9, 1.02], [3.42, 1.7], [4.9, 1.7]];

fn is_in_box(x: f64, y: f64) -> bool {
    (BOX[0][0]..BOX[0][1]).contains(&x) && (BOX[1][0]..BOX[1][1]).contains(&y)
}

fn is_in_leg(x: f64, y: f64) -> bool {
    LEGS.iter()
        .any(|&[lx, ly]| (lx..lx + LEG).contains(&x) && (ly..ly + LEG).contains(&y))
}

fn wavy(x: f64, y: f64) -> f64 {
    0.025 * (2.1 * x).sin() * (1.7 * y).cos() + x / 40.0
}

/// Share of cells that agree with the truth within three standard errors, and the worst disagreement in m.
fn agreement(surface: &Surface, truth: impl Fn(f64, f64) -> f64) -> (f64, f64) {
    let mut within = 0;
    let (mut all, mut worst) = (0, 0.0f64);
    for (at, [x, y, z]) in surface.field.measured() {
        let [x, y] = surface.survey_xy([x, y]);
        let error = surface.survey_z(z) - truth(x, y);
        all += 1;
        within += usize::from(error.abs() <= 3.0 * surface.field.u[at]);
        worst = worst.max(error.abs());
    }
    (within as f64 / all as f64, worst)
}

fn room_with_furniture() -> Vec<[f64; 3]> {
    Room::new(0.003)
        .piece(200_000, [0.0, 6.0], [0.0, 4.0], wavy)
        .furnished()
        .shell()
        .block(6_000, [0.0, 6.0], [0.0, 4.0], [-1.5, -0.1])
        .points
}

#[test]
fn a_furnished_room_with_a_wavy_sloping_floor() {
    let surface = measure(&[room_with_furniture()], &ScanSettings::default(), None).unwrap();
    let (within, worst) = agreement(&surface, wavy);
    assert!(within > 0.99, "{within}");
    assert!(worst < 0.012, "{worst}");
    let noise = surface.noise.unwrap();
    assert!((noise - 0.003).abs() < 0.0002, "{noise}");
    let standing = surface.field.measured().filter(|(_, [x, y, _])| {
        let [x, y] = surface.survey_xy([*x, *y]);
        is_in_box(x, y) || is_in_leg(x, y)
    });
    assert_eq!(standing.count(), 0);
    // 24 m² less the box.
    assert!((22.0..23.5).contains(&surface.area), "{}", surface.area);
}

/// NaN is equal to NaN here.
fn same(one: &Surface, other: &Surface) -> bool {
    let bits = |values: &[f64]| {
        values
            .iter()
            .map(|value| value.to_bits())
            .collect::<Vec<_>>()
    };
    bits(&one.field.z) == bits(&other.field.z)
        && bits(&one.field.u) == bits(&other.field.u)
        && one.origin == other.origin
        && one.points == other.points
        && one.noise == other.noise
}

#[test]
fn the_order_of_points_and_files_makes_no_difference() {
    let points = room_with_furniture();
    let settings = ScanSettings::default();
    let whole = measure(std::slice::from_ref(&points), &settings, None).unwrap();
    let mut shuffled = points;
    shuffled.shuffle(&mut ChaCha8Rng::seed_from_u64(2));
    let (one, other) = shuffled.split_at(123_456);
    let parts = measure(&[other.to_vec(), one.to_vec(), Vec::new()], &settings, None).unwrap();
    assert!(same(&whole, &parts));
}

#[test]
fn noise_from_1_to_5_mm() {
    for noise in [0.001, 0.005] {
        let room = Room::new(noise)
            .piece(150_000, [0.0, 6.0], [0.0, 4.0], wavy)
            .furnished()
            .shell();
        let surface = measure(&[room.points], &ScanSettings::default(), None).unwrap();
        let (within, worst) = agreement(&surface, wavy);
        assert!(
            within > 0.99 && worst < 5.0 * noise,
            "noise {noise}: {within} {worst}"
        );
        assert!(
            (surface.noise.unwrap() / noise - 1.0).abs() < 0.1,
            "{:?}",
            surface.noise
        );
    }
}

#[test]
fn an_exact_floor_is_found_exactly() {
    let room = Room::new(0.0).piece(100_000, [0.0, 6.0], [0.0, 4.0], |x, y| {
        0.3 + x / 40.0 - y / 100.0
    });
    let surface = measure(&[room.points], &ScanSettings::default(), None).unwrap();
    let (_, worst) = agreement(&surface, |x, y| 0.3 + x / 40.0 - y / 100.0);
    assert!(worst < 2e-5, "{worst}");
}

#[test]
fn georeferenced_coordinates_keep_their_digits() {
    let far = |[x, y, z]: [f64; 3]| [x + 4_512_345.6, y + 5_412_345.6, z + 312.0];
    let room = Room::new(0.002).piece(100_000, [0.0, 6.0], [0.0, 4.0], wavy);
    let points = room.points.into_iter().map(far).collect();
    let surface = measure(&[points], &ScanSettings::default(), None).unwrap();
    let (within, _) = agreement(&surface, |x, y| {
        312.0 + wavy(x - 4_512_345.6, y - 5_412_345.6)
    });
    assert!(within > 0.99, "{within}");
    assert_eq!(surface.origin[2], 312.0);
}

#[test]
fn two_storeys_are_the_users_choice() {
    let storey = |low: f64| {
        Room::new(0.003)
            .piece(60_000, [0.0, 6.0], [0.0, 4.0], move |_, _| low)
            .piece(90_000, [0.0, 6.0], [0.0, 4.0], move |_, _| low + 2.5)
            .block(30_000, [0.0, 6.0], [0.0, 0.0], [low, low + 2.5])
            .points
    };
    let files = [storey(0.0), storey(2.8)];
    let error = measure(&files, &ScanSettings::default(), None)
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("2 floors")
            && error.contains("0.000 m (24.")
            && error.contains("2.800 m (24."),
        "{error}"
    );
    let upper = ScanSettings {
        floor: Some(2.75),
        ..ScanSettings::default()
    };
    let surface = measure(&files, &upper, None).unwrap();
    assert!(agreement(&surface, |_, _| 2.8).0 > 0.99);
    let nowhere = ScanSettings {
        floor: Some(1.2),
        ..ScanSettings::default()
    };
    let error = measure(&files, &nowhere, None).unwrap_err().to_string();
    assert!(error.starts_with("--floor: found 1.200 m"), "{error}");
}

#[test]
fn what_is_no_floor_is_refused() {
    let wall = Room::new(0.002)
        .block(50_000, [0.0, 6.0], [0.0, 0.004], [0.0, 2.6])
        .points;
    let flat = Room::new(0.0)
        .piece(60_000, [0.0, 6.0], [0.0, 4.0], |_, _| 0.5)
        .points;
    assert!(
        agreement(
            &measure(&[flat], &ScanSettings::default(), None).unwrap(),
            |_, _| 0.5
        )
        .1 < 1e-6
    );
    let error = measure(&[wall], &ScanSettings::default(), None)
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("no floor") && error.contains("--up y"),
        "{error}"
    );
    for slope in [0.12, 0.2, 0.5, 1.0] {
        for across in [0.0, 0.3, 1.0] {
            let tilted = Room::new(0.002)
                .piece(60_000, [0.0, 6.0], [0.0, 4.0], |x, y| {
                    slope * (x + across * y)
                })
                .points;
            let result = measure(&[tilted], &ScanSettings::default(), None);
            let error = match result {
                Ok(surface) => format!("{} m2 of floor", surface.area),
                Err(error) => error.to_string(),
            };
            assert!(error.contains("no floor"), "{slope} {across}: {error}");
        }
    }
    let cloud = Room::new(0.0)
        .block(50_000, [0.0, 6.0], [0.0, 4.0], [0.0, 2.6])
        .points;
    assert!(measure(&[cloud], &ScanSettings::default(), None).is_err());
    assert!(measure(&[Vec::new()], &ScanSettings::default(), None).is_err());
    let odd = vec![vec![
        [f64::NAN, 0.0, 0.0],
        [f64::INFINITY, 0.0, 1.0],
        [1e300, -1e300, 0.0],
    ]];
    assert!(measure(&odd, &ScanSettings::default(), None).is_err());
}

#[test]
fn a_wrong_unit_is_noticed() {
    let points = || {
        Room::new(0.002)
            .piece(100_000, [0.0, 6.0], [0.0, 4.0], wavy)
            .shell()
            .points
            .into_iter()
    };
    for factor in [1e3, 1e-3] {
        let scaled = points()
            .map(|point| point.map(|value| value * factor))
            .collect();
        let error = measure(&[scaled], &ScanSettings::default(), None)
            .unwrap_err()
            .to_string();
        assert!(error.contains("--units"), "{factor}: {error}");
    }
}

#[test]
fn low_things_leave_holes() {
    let mut room = Room::new(0.003).piece(200_000, [0.0, 6.0], [0.0, 4.0], wavy);
    let board = |x: f64, y: f64| 1.0 < x && x < 2.2 && 1.0 < y && y < 1.8;
    room.points.retain(|&[x, y, _]| !board(x, y));
    let room = room.piece(8_000, [1.0, 2.2], [1.0, 1.8], |x, y| wavy(x, y) + 0.04);
    let surface = measure(&[room.shell().points], &ScanSettings::default(), None).unwrap();
    let on_board = surface.field.measured().filter(|(_, [x, y, _])| {
        let [x, y] = surface.survey_xy([*x, *y]);
        board(x, y)
    });
    assert_eq!(on_board.count(), 0);
    assert!(agreement(&surface, wavy).0 > 0.99);
}

#[test]
fn an_outline_clips() {
    let square = geo::Rect::new((1.0, 1.0), (3.0, 2.0)).to_polygon();
    let room = Room::new(0.002)
        .piece(200_000, [0.0, 6.0], [0.0, 4.0], wavy)
        .shell();
    let count = room.points.len() as u64;
    let surface = measure(
        &[room.points],
        &ScanSettings::default(),
        Some(&Outline { polygon: square }),
    )
    .unwrap();
    assert!((surface.area + surface.unmeasured - 2.0).abs() < 1e-9);
    assert!(surface.unmeasured < 0.1, "{}", surface.unmeasured);
    assert_eq!(surface.points.used + surface.points.rejected(), count);
    assert!(surface.points.outside > 200_000);
}

#[test]
fn a_gridded_export_is_taken_as_it_is() {
    let height = |x: f64, y: f64| 0.5 * (2.0 * x.hypot(y)).cos();
    let nodes = (0..60)
        .flat_map(|iy| (0..60).map(move |ix| [0.05 + 0.1 * f64::from(ix), 0.1 * f64::from(iy)]));
    let points: Vec<_> = nodes.map(|[x, y]| [x, y, height(x, y)]).collect();
    let surface = measure(&[points], &ScanSettings::default(), None).unwrap();
    assert!((surface.spacing - 0.1).abs() < 1e-12);
    assert_eq!(surface.points.used, 3600);
    assert_eq!(surface.unmeasured, 0.0);
    assert!(agreement(&surface, height).1 < 2e-7);
    assert!(
        surface
            .warnings
            .iter()
            .any(|warning| warning.0.contains("range over"))
    );
}

/// A file of the real data, or None where that folder is not.
fn measure_file(name: &str) -> Option<Result<Surface>> {
    let path = format!("{}/../shared/data/{name}", env!("CARGO_MANIFEST_DIR"));
    let source = Source::new(&path).ok()?;
    let open =
        || match (recognise(&source, &Options::default())?.open)(&source, &Options::default())? {
            Content::Points(points) => Ok(vec![points]),
            Content::Readings(_) | Content::Lines(_) | Content::Edges(_) => {
                unreachable!("a file of points")
            }
        };
    Some(from_scan(&open, &ScanSettings::default(), None, &|_| {}))
}

/// The plane through the cells, each weighted by 1 / u², without those more than 15 mm off it: height at the origin in m, and
/// fall in degrees.
fn consensus(surface: &Surface) -> (f64, f64) {
    let cells: Vec<_> = surface
        .field
        .measured()
        .map(|(at, [x, y, z])| {
            let [x, y] = surface.survey_xy([x, y]);
            ([x, y, surface.survey_z(z)], surface.field.u[at].powi(-2))
        })
        .collect();
    let mut plane = nalgebra::Vector3::zeros();
    let mut reach = f64::INFINITY;
    for _ in 0..20 {
        let (mut normal, mut right) = (nalgebra::Matrix3::zeros(), nalgebra::Vector3::zeros());
        for ([x, y, z], weight) in &cells {
            let row = nalgebra::Vector3::new(1.0, *x, *y);
            if (z - plane.dot(&row)).abs() <= reach {
                normal += row * row.transpose() * *weight;
                right += row * (z * weight);
            }
        }
        plane = normal.lu().solve(&right).unwrap();
        reach = 0.015;
    }
    (plane[0], plane[1].hypot(plane[2]).atan().to_degrees())
}

/// A real corridor: the floor at -0.242 m is 4.6 % of the points (README of the data).
#[test]
fn the_floor_of_a_real_corridor() {
    let Some(surface) = measure_file("derived/libpointmatcher_cloud_0.xyz") else {
        return;
    };
    let surface = surface.unwrap();
    let (height, _) = consensus(&surface);
    assert!((height + 0.242).abs() < 0.005, "{height}");
    assert_eq!(surface.points.used + surface.points.rejected(), 36_674);
}

/// A real room: the floor at -1.272 m, falling about 1.2 degrees, under a ceiling with twice its points (README of the data;
/// its figures are of the points within 15 mm of a plane).
#[test]
fn the_floor_of_a_real_room() {
    let Some(surface) = measure_file("pcd/pcl-data/room_scan1.pcd") else {
        return;
    };
    let surface = surface.unwrap();
    let (height, fall) = consensus(&surface);
    assert!((height + 1.272).abs() < 0.005, "{height}");
    assert!((fall - 1.2).abs() < 0.1, "{fall}");
    let noise = surface.noise.unwrap();
    assert!((noise - 0.003).abs() < 0.001, "{noise}");
}

/// A surface of steep ripples, exported on a grid of 100 mm in six formats: the same answer from each.
#[test]
fn one_surface_in_six_formats() {
    let names = [
        "ripple.las",
        "ripple.laz",
        "ripple_bin.ply",
        "ripple_ascii.ply",
        "ripple.pts",
        "ripple.ptx",
    ];
    let surfaces: Vec<_> = names
        .iter()
        .filter_map(|name| measure_file(&format!("cross-format/ripple/{name}")))
        .map(|surface| surface.unwrap())
        .collect();
    for surface in &surfaces {
        assert!((surface.spacing - 0.1).abs() < 1e-9, "{}", surface.spacing);
        assert_eq!(surface.points.used, 10_201);
        assert_eq!(
            surface.field.nx * surface.field.ny,
            surfaces[0].field.nx * surfaces[0].field.ny
        );
        for (one, other) in surface.field.z.iter().zip(&surfaces[0].field.z) {
            assert!(
                one == other || (one - other).abs() < 1e-4 || one.is_nan() && other.is_nan(),
                "{one} {other}"
            );
        }
    }
}

#[test]
fn a_floor_of_three_in_a_hundred_points_above_the_mirror_image_of_its_ceiling() {
    let room = Room::new(0.002)
        .piece(60_000, [0.0, 6.0], [0.0, 4.0], wavy)
        .piece(1_800_000, [0.0, 6.0], [0.0, 4.0], |_, _| 2.6)
        .piece(10_000, [0.0, 6.0], [0.0, 4.0], |_, _| -2.6)
        .block(60_000, [0.0, 6.0], [0.0, 0.0], [-2.6, 2.6])
        .block(40_000, [0.0, 6.0], [0.0, 4.0], [-2.0, 4.0]);
    let surface = measure(&[room.points], &ScanSettings::default(), None).unwrap();
    let (within, worst) = agreement(&surface, wavy);
    assert!(within > 0.98 && worst < 0.01, "{within} {worst}");
}

#[test]
fn a_step_of_12_mm_is_measured_on_both_sides() {
    let step = |x: f64, _: f64| if x < 3.0 { 0.0 } else { 0.012 };
    let room = Room::new(0.001).piece(800_000, [0.0, 6.0], [0.0, 4.0], step);
    let settings = ScanSettings {
        u: 0.002,
        ..ScanSettings::default()
    };
    let surface = measure(&[room.shell().points], &settings, None).unwrap();
    assert_eq!(surface.spacing, 0.025);
    let beside =
        |(_, [x, y, _]): &(usize, [f64; 3])| (surface.survey_xy([*x, *y])[0] - 3.0).abs() > 0.02;
    let wrong = surface
        .field
        .measured()
        .filter(beside)
        .filter(|(_, [x, y, z])| {
            let [x, y] = surface.survey_xy([*x, *y]);
            (surface.survey_z(*z) - step(x, y)).abs() > 0.0015
        });
    let wrong: Vec<_> = wrong
        .map(|(at, point)| {
            (
                surface.survey_xy([point[0], point[1]]),
                point[2],
                surface.field.u[at],
            )
        })
        .collect();
    assert!(wrong.is_empty(), "{wrong:?}");
    assert!(surface.unmeasured < 0.01, "{}", surface.unmeasured);
    assert!(
        surface
            .field
            .u
            .iter()
            .filter(|u| u.is_finite())
            .all(|&u| u > 0.002)
    );
}
