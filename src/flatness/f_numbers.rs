//! F-numbers of ASTM E1155: FF, how flat over 24 in, and FL, how level over 10 ft. Higher is better.
//!
//! In: sample lines with a height every 12 in (or 300 mm), and the area of the test section if it is known. Out: FF and FL
//! of every line and of all together with a 90 % confidence interval, or the reason why there are none.
//!
//! Formulae, in inches, for heights h at one pitch: q_i = h_i - 2 h_(i-1) + h_(i-2), z_i = h_i - h_(i-10),
//! FF = 4.57 / (3 S_q + |mean q|), FL = 12.5 / (3 S_z + |mean z|), S with n - 1; lines combined by the mean of 1 / F²,
//! weighted by their numbers of q (of z). The standard's text was not at hand: q and z are as published on an E1155M
//! worksheet; the constants, S with n - 1, how lines combine and the least numbers are from memory.
//!
//! Confidence interval: our own, as the standard's table was not at hand either. 1 / F² is taken to scatter like a variance
//! of n / c independent values (chi-square, by the Wilson-Hilferty approximation). c tells how much neighbouring values
//! repeat each other: c = 1 + 2 sum(r_k²) over their correlations r_k (Bartlett). For q of heights that are independent of
//! each other r is -2/3 and 1/6, so c = 35/18; for z of heights that wander like a random walk r_k = 1 - k/10, so c = 6.7.
//! Simulated floors are in the tests. On lines near the least length FL reads too high where the floor wanders, as the few
//! differences of a line are nearly equal: the interval is wide then.
//!
//! At 300 mm a curvature shows as a q smaller by (300 / 304.8)², so that FF reads up to 3.2 % higher than at 12 in; FL, over
//! 3.0 m in place of 3.048 m, up to 1.6 % higher. Nothing is corrected for that, nor for the scatter of the heights,
//! which makes a floor read rougher than it is: where it matters, a note says so.

use super::sample_lines::{SampleLine, fitting};
use super::verdict::K;
use crate::units::{FOOT, INCH, System};

/// FF of a floor whose 3 S_q + |mean q| is one inch (from memory).
const FLATNESS: f64 = 4.57;
/// FL of a floor whose 3 S_z + |mean z| is one inch (from memory).
const LEVELNESS: f64 = 12.5;
/// Steps between the readings that FL compares.
const LEVEL_STEPS: usize = 10;
/// Values of q that tell as much as one independent value.
const REPEATED_Q: f64 = 35.0 / 18.0;
/// Values of z that tell as much as one independent value.
const REPEATED_Z: f64 = 6.7;
/// Least area of a test section, m²: 320 ft² (from memory).
const LEAST_SECTION: f64 = 320.0 * FOOT * FOOT;
/// An F-number above this is no measurement: the heights are in line to the last digit.
const NO_NUMBER: f64 = 1e6;
/// Share of the variance that the scatter of the heights may have before a note says so.
const BLURRED: f64 = 0.1;

/// F-numbers of one line.
#[derive(Debug, Clone, PartialEq)]
pub struct LineNumbers {
    /// Its name.
    pub name: String,
    /// Its heights.
    pub readings: usize,
    /// FF; infinite where the heights are exactly in line.
    pub ff: f64,
    /// FL; infinite where all heights 10 ft apart are equal.
    pub fl: f64,
}

/// F-numbers of a floor, with their 90 % confidence intervals. All are finite.
#[derive(Debug, Clone, PartialEq)]
pub struct FNumbers {
    /// Flatness.
    pub ff: f64,
    /// With 95 % confidence at least this.
    pub ff_low: f64,
    /// With 95 % confidence at most this.
    pub ff_high: f64,
    /// Levelness.
    pub fl: f64,
    /// With 95 % confidence at least this.
    pub fl_low: f64,
    /// With 95 % confidence at most this.
    pub fl_high: f64,
    /// Heights on all lines.
    pub readings: usize,
    /// Line by line.
    pub lines: Vec<LineNumbers>,
    /// What the user should know of them, in sentences.
    pub notes: Vec<String>,
}

impl FNumbers {
    /// The same where the plane that the heights were measured from has a `tilt` of that standard uncertainty, m per m. It moves
    /// every mean z by its rise over ten steps and S not at all, so 12.5 in / FL by no more than that (triangle
    /// inequality), which is added to its interval in quadrature. FF does not feel it.
    pub fn with_tilt(mut self, tilt: f64) -> Self {
        let size = |number: f64| LEVELNESS * INCH / number;
        let rise = K * tilt * LEVEL_STEPS as f64 * FOOT;
        let middle = size(self.fl);
        let above = middle + (size(self.fl_low) - middle).hypot(rise);
        let below = middle - (middle - size(self.fl_high)).hypot(rise);
        self.fl_low = size(above);
        self.fl_high = size(below.max(size(NO_NUMBER)));
        self
    }
}

/// The inverse of an F-number, and the number of values that it was measured from.
#[derive(Debug, Clone, Copy)]
struct Inverse {
    value: f64,
    count: usize,
}

impl Inverse {
    /// (3 S + |mean|) / `constant` of values in metres.
    fn of(values: &[f64], constant: f64) -> Self {
        let count = values.len();
        let mean = values.iter().sum::<f64>() / count as f64;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        let spread = (squares / (count as f64 - 1.0)).sqrt();
        Self {
            value: (3.0 * spread + mean.abs()) / INCH / constant,
            count,
        }
    }

    /// The root mean square of several, weighted by their counts.
    fn combined(all: &[Self]) -> Self {
        let count = all.iter().map(|one| one.count).sum();
        let squares = all.iter().map(|one| one.count as f64 * one.value.powi(2));
        Self {
            value: (squares.sum::<f64>() / count as f64).sqrt(),
            count,
        }
    }

    fn number(self) -> f64 {
        if self.value * NO_NUMBER < 1.0 {
            f64::INFINITY
        } else {
            self.value.recip()
        }
    }

    /// 90 % confidence interval of the number, where `repeated` values tell as much as one independent value.
    fn interval(self, repeated: f64) -> [f64; 2] {
        let share = 2.0 * repeated / (9.0 * self.count as f64);
        let factor = |k: f64| (1.0 - share + k * share.sqrt()).max(0.0).powf(1.5);
        [-K, K].map(|k| self.number() * factor(k))
    }
}

/// Second differences, m: positive in a trough.
pub fn curvatures(heights: &[f64]) -> Vec<f64> {
    let (middles, ends) = (heights.iter().skip(1), heights.iter().skip(2));
    let triples = heights.iter().zip(middles).zip(ends);
    triples
        .map(|((start, middle), end)| end - 2.0 * middle + start)
        .collect()
}

/// Differences over ten steps, m: positive where the line rises.
pub fn rises(heights: &[f64]) -> Vec<f64> {
    let far = heights.iter().skip(LEVEL_STEPS);
    far.zip(heights).map(|(far, near)| far - near).collect()
}

/// F-numbers of `lines`, of a test section of so many square metres if that is known. `units` are those of the sentences.
///
/// # Errors
/// The reason, where the standard's pitch, length or numbers are not met, or the floor is straight to the last digit.
pub fn measure(
    lines: &[SampleLine],
    section: Option<f64>,
    units: System,
) -> Result<FNumbers, String> {
    let (lines, left_out) = fitting(lines, units)?;
    let inverses = |values: fn(&[f64]) -> Vec<f64>, constant: f64| -> Vec<Inverse> {
        let of_line = |line: &&SampleLine| Inverse::of(&values(&line.heights), constant);
        lines.iter().map(of_line).collect()
    };
    let (flat, level) = (inverses(curvatures, FLATNESS), inverses(rises, LEVELNESS));
    let [ff, fl] = [&flat, &level].map(|of_lines| Inverse::combined(of_lines));
    enough(section, fl.count, units)?;
    if ff.number().is_infinite() || fl.number().is_infinite() {
        let reason = "the heights along the lines are in line to the last digit: an F-number would be infinite";
        return Err(reason.to_owned());
    }
    let unchecked = "whether these are enough lines for the test section was not checked: its area is not known \
                     (give --outline)";
    let unchecked = section.is_none().then(|| unchecked.to_owned());
    let of_line = |(line, (ff, fl)): (&&SampleLine, (&Inverse, &Inverse))| LineNumbers {
        name: line.name.clone(),
        readings: line.heights.len(),
        ff: ff.number(),
        fl: fl.number(),
    };
    let ([ff_low, ff_high], [fl_low, fl_high]) = (ff.interval(REPEATED_Q), fl.interval(REPEATED_Z));
    Ok(FNumbers {
        ff: ff.number(),
        ff_low,
        ff_high,
        fl: fl.number(),
        fl_low,
        fl_high,
        readings: lines.iter().map(|line| line.heights.len()).sum(),
        lines: lines
            .iter()
            .zip(flat.iter().zip(&level))
            .map(of_line)
            .collect(),
        notes: [left_out, unchecked, blurred(&lines, ff, fl, units)]
            .into_iter()
            .flatten()
            .collect(),
    })
}

/// The least area, and 2 sqrt(A) values of z up to 1600 ft², A / 30 above, A in ft² (from memory).
fn enough(section: Option<f64>, rises: usize, units: System) -> Result<(), String> {
    let Some(section) = section else {
        return Ok(());
    };
    let area = units.area(section);
    if section < LEAST_SECTION {
        let least = units.area(LEAST_SECTION);
        return Err(format!(
            "the floor has {area}, and the standard's test sections have at least {least}"
        ));
    }
    let feet = section / (FOOT * FOOT);
    let least = if feet > 1600.0 {
        feet / 30.0
    } else {
        2.0 * feet.sqrt()
    }
    .ceil();
    if (rises as f64) < least {
        return Err(format!(
            "the lines give {rises} differences of level, and the standard asks for at least {least} on {area}"
        ));
    }
    Ok(())
}

/// A sentence where the uncertainty of the heights is a good part of what was measured: q has 6 u² of it, z 2 u².
fn blurred(lines: &[&SampleLine], ff: Inverse, fl: Inverse, units: System) -> Option<String> {
    let readings: usize = lines.iter().map(|line| line.heights.len()).sum();
    let squares = lines
        .iter()
        .map(|line| line.heights.len() as f64 * line.u.powi(2));
    let u = (squares.sum::<f64>() / readings as f64).sqrt();
    let bearable = |inverse: Inverse, constant: f64, heights: f64| {
        inverse.value * constant * INCH / 3.0 * (BLURRED / heights).sqrt()
    };
    let bearable = bearable(ff, FLATNESS, 6.0).min(bearable(fl, LEVELNESS, 2.0));
    (u > bearable).then(|| {
        format!(
            "with heights known to {} the floor may be better than its F-numbers; heights known to {} would tell \
             (say --u if yours are)",
            units.fine_height(u),
            units.fine_height(bearable)
        )
    })
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    fn line(heights: impl Iterator<Item = f64>) -> SampleLine {
        SampleLine {
            name: "A".to_owned(),
            pitch: FOOT,
            ends: None,
            heights: heights.collect(),
            u: 0.0,
        }
    }

    fn rough(count: usize) -> SampleLine {
        line((0..count).map(|i| 1e-3 * ((i * i * 7) % 11) as f64))
    }

    fn of(lines: &[SampleLine]) -> Result<FNumbers, String> {
        measure(lines, None, System::Metric)
    }

    /// 12.5 in / FL and its bounds move apart by the rise of the tilt in 10 ft where the interval was nothing.
    #[test]
    fn a_tilt_widens_the_interval_of_fl_alone() {
        let exact = FNumbers {
            fl_low: 25.0,
            fl: 25.0,
            fl_high: 25.0,
            ..of(&[rough(60)]).expect("numbers")
        };
        let tilted = exact.clone().with_tilt(1e-3);
        let rise = 1.645e-3 * 10.0 * FOOT / INCH;
        assert!((12.5 / tilted.fl_low - (0.5 + rise)).abs() < 1e-9);
        assert!((12.5 / tilted.fl_high - (0.5 - rise)).abs() < 1e-9);
        assert_eq!(
            (tilted.ff_low, tilted.ff_high),
            (exact.ff_low, exact.ff_high)
        );
        assert!(exact.with_tilt(1.0).fl_high.is_finite());
    }

    /// h = A sin(2 pi i / n): q = -2 (1 - cos(2 pi / n)) h one step back, whose mean over whole waves is 0 and whose S over N
    /// of them is its amplitude times sqrt(N / (N - 1) / 2). For z over 10 steps the amplitude is 2 A |sin(10 pi / n)|.
    #[test]
    fn a_wavy_floor_in_closed_form() {
        let (amplitude, n, count) = (0.002, 16.0, 80);
        let wave = |i: usize| amplitude * (2.0 * PI * i as f64 / n).sin();
        let spread = |amplitude: f64| amplitude * (0.5 * 80.0 / 79.0f64).sqrt();
        let q = spread(2.0 * amplitude * (1.0 - (2.0 * PI / n).cos()));
        let ff = of(&[line((0..count + 2).map(wave))]).unwrap().ff;
        assert!((ff - 4.57 * 0.0254 / (3.0 * q)).abs() < 1e-9, "{ff}");
        let z = spread(2.0 * amplitude * (10.0 * PI / n).sin().abs());
        let fl = of(&[line((0..count + 10).map(wave))]).unwrap().fl;
        assert!((fl - 12.5 * 0.0254 / (3.0 * z)).abs() < 1e-9, "{fl}");
    }

    /// A tilt of 1/4 in over 10 ft without a bend: |mean z| is 1/4 in and S_z is 0, so FL = 12.5 / 0.25 = 50, and FF would be
    /// infinite. Beside a line with bends of the same number of readings it counts as 1 / F² = 0: F is sqrt 2 times the other's.
    #[test]
    fn a_plane_floor_has_no_number() {
        let tilt = |i: usize| 0.25 * INCH * i as f64 / 10.0;
        let plane = || line((0..30).map(tilt));
        assert!(of(&[plane()]).is_err_and(|reason| reason.contains("infinite")));
        let bent = line((0..30).map(|i| tilt(i) + if i % 2 == 0 { 1e-4 } else { 0.0 }));
        let both = of(&[plane(), bent]).unwrap();
        assert_eq!(both.lines[0].ff, f64::INFINITY);
        assert!((both.fl - 50.0).abs() < 1e-9, "{}", both.fl);
        assert!((both.ff / both.lines[1].ff - 2f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn what_the_standard_asks_for_is_held() {
        assert!(of(&[rough(11)]).is_err() && of(&[]).is_err());
        let both = of(&[rough(12), rough(11)]).unwrap();
        assert!(both.lines.len() == 1 && both.notes[0].starts_with("lines shorter"));
        let coarse = SampleLine {
            pitch: 0.4,
            ..rough(30)
        };
        assert!(of(&[coarse]).is_err_and(|reason| reason.contains("400.0 mm apart")));
        // 1000 ft²: 2 sqrt(1000) = 63.2, so 64 differences, which take 74 readings; 3000 ft²: 100.
        let enough = |feet: f64, readings: usize| {
            let section = Some(feet * FOOT * FOOT);
            measure(&[rough(readings)], section, System::Metric).is_ok()
        };
        assert!(enough(1000.0, 74) && !enough(1000.0, 73) && !enough(319.0, 200));
        assert!(enough(2999.99, 110) && !enough(3000.1, 110));
    }

    #[test]
    fn scatter_of_the_heights_is_told_where_it_matters() {
        let notes = |u: f64| of(&[SampleLine { u, ..rough(60) }]).unwrap().notes.len();
        assert_eq!((notes(1e-4), notes(3e-3)), (1, 2));
    }
}
