//! Rooms made up with known truth, and the real scans.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use super::*;

/// Points held in memory, handed out in batches.
struct Held {
    points: Vec<[f64; 3]>,
    next: usize,
}

impl PointReader for Held {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        batch.clear();
        let end = (self.next + 5000).min(self.points.len());
        self.points[self.next..end].iter().for_each(|&point| batch.push(point));
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

fn measure(files: &[Vec<[f64; 3]>], settings: &ScanSettings, outline: Option<&Outline>) -> Result<Surface> {
    let open = || {
        let held = |points: &Vec<[f64; 3]>| Box::new(Held { points: points.clone(), next: 0 }) as Box<dyn PointReader>;
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
    fn piece(mut self, count: usize, [x0, x1]: [f64; 2], [y0, y1]: [f64; 2], z: impl Fn(f64, f64) -> f64) -> Self {
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
        self.points.retain(|&[x, y, _]| !is_in_box(x, y) && !is_in_leg(x, y));
        let mut room = self
            .piece(20_000, BOX[0], BOX[1], |_, _| 0.5)
            .block(4_000, BOX[0], [BOX[1][0]; 2], [0.0, 0.5])
            .block(4_000, BOX[0], [BOX[1][1]; 2], [0.0, 0.5])
            .block(3_000, [BOX[0][0]; 2], BOX[1], [0.0, 0.5])
            .block(3_000, [BOX[0][1]; 2], BOX[1], [0.0, 0.5])
            .piece(60_000, [3.4, 5.0], [1.0, 1.8], |_, _| 0.74);
        for [x, y] in LEGS {
            room = room.block(1500, [x, x + LEG], [y, y], [0.0, 0.72]).block(1500, [x, x], [y, y + LEG], [0.0, 0.72]);
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
    LEGS.iter().any(|&[lx, ly]| (lx..lx + LEG).contains(&x) && (ly..ly + LEG).contains(&y))
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
    println!("{:?} {:?} area {} unmeasured {} noise {:?} {:?}", surface.spacing, surface.points, surface.area, surface.unmeasured, surface.noise, surface.warnings);
    let (within, worst) = agreement(&surface, wavy);
    println!("{within} {worst}");
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

fn read(path: &str) -> Option<Vec<[f64; 3]>> {
    let text = std::fs::read_to_string(path).ok()?;
    let point = |line: &str| {
        let mut numbers = line.split_whitespace().filter_map(|word| word.parse().ok());
        Some([numbers.next()?, numbers.next()?, numbers.next()?])
    };
    Some(text.lines().filter_map(point).collect())
}

#[test]
fn explore() {
    for path in std::env::var("EXPLORE").unwrap_or_default().split(' ').filter(|path| !path.is_empty()) {
        let settings = ScanSettings::default();
        match measure(&[read(path).unwrap()], &settings, None) {
            Ok(surface) => {
                let points: Vec<_> = surface.field.measured().map(|(_, point)| point).collect();
                let plane = super::super::sheets::Plane::through(&points);
                println!("{path}: cell {} z {:.4} tilt {:.3} deg, area {:.2} unmeasured {:.2}, noise {:?}, {:?} {:?}", surface.spacing, surface.survey_z(plane.level), plane.steepness().atan().to_degrees(), surface.area, surface.unmeasured, surface.noise, surface.points, surface.warnings);
            }
            Err(error) => println!("{path}: {error}"),
        }
    }
}
