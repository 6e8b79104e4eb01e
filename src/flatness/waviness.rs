//! Waviness of ASTM E1486: how far a floor departs from the middles of chords of 2 to 10 ft. Lower is better.
//!
//! In: sample lines with a height every foot (or 300 mm). Out: for every line the root mean square departure for each chord and
//! its waviness index, and the index of the surface; or the reason why there is none.
//!
//! Formulae, for heights h one foot apart and k = 1 to 5 (chords of 2 k feet): d_k,i = h_(i+k) - (h_i + h_(i+2k)) / 2;
//! LAD_k = rms of d_k,i; of a line sqrt(sum n_k LAD_k² / sum n_k), n_k the number of chords; of the surface the root mean
//! square of its lines, weighted by their lengths. That departures are taken at the middle of the chord, that humps and hollows
//! weigh the same and that averages are root mean squares is read in a catalogue's excerpt of the standard; the formulae
//! themselves are from memory.

use super::sample_lines::{SampleLine, fitting};
use crate::units::System;

/// Chords of 2, 4, 6, 8 and 10 ft.
pub const CHORDS: usize = 5;

/// Waviness of one line.
#[derive(Debug, Clone, PartialEq)]
pub struct LineWaviness {
    /// Its name.
    pub name: String,
    /// Its heights.
    pub readings: usize,
    /// Departure from chords of 2, 4, 6, 8 and 10 ft, m, root mean square.
    pub departures: [f64; CHORDS],
    /// Its waviness index, m.
    pub index: f64,
}

/// Waviness of a floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Waviness {
    /// Its waviness index, m.
    pub index: f64,
    /// Line by line.
    pub lines: Vec<LineWaviness>,
}

/// Waviness along `lines`. `units` are those of the reason.
///
/// # Errors
/// The reason, where no line is at the standard's pitch and long enough.
pub fn measure(lines: &[SampleLine], units: System) -> Result<Waviness, String> {
    let (lines, _) = fitting(lines, units)?;
    let of_lines: Vec<_> = lines.iter().map(|line| of_line(line)).collect();
    let (mut squares, mut total) = (0.0, 0.0);
    for (line, wavy) in lines.iter().zip(&of_lines) {
        let length = line.pitch * (line.heights.len() - 1) as f64;
        squares += length * wavy.index.powi(2);
        total += length;
    }
    Ok(Waviness {
        index: (squares / total).sqrt(),
        lines: of_lines,
    })
}

fn of_line(line: &SampleLine) -> LineWaviness {
    let (mut sum, mut chords) = (0.0, 0);
    let departures = std::array::from_fn(|chord| {
        let squares: Vec<f64> = departures(&line.heights, chord + 1)
            .map(|departure| departure.powi(2))
            .collect();
        let of_chord: f64 = squares.iter().sum();
        sum += of_chord;
        chords += squares.len();
        (of_chord / squares.len() as f64).sqrt()
    });
    LineWaviness {
        name: line.name.clone(),
        readings: line.heights.len(),
        departures,
        index: (sum / chords as f64).sqrt(),
    }
}

/// Height over the middle of every chord of 2 `k` steps, m.
fn departures(heights: &[f64], k: usize) -> impl Iterator<Item = f64> + '_ {
    let (middles, ends) = (heights.iter().skip(k), heights.iter().skip(2 * k));
    heights
        .iter()
        .zip(middles)
        .zip(ends)
        .map(|((start, middle), end)| middle - (start + end) / 2.0)
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;
    use crate::units::FOOT;

    fn line(count: usize, height: impl Fn(f64) -> f64) -> SampleLine {
        SampleLine {
            name: "A".to_owned(),
            pitch: FOOT,
            ends: None,
            heights: (0..count).map(|i| height(i as f64)).collect(),
            u: 0.0,
        }
    }

    /// A ripple A cos(2 pi i / n): over a chord of 2k steps the middle stands (1 - cos(2 pi k / n)) times its own height off
    /// it, and the root mean square of a cosine over whole waves is A / sqrt 2. 48 + 2k readings have 48 chords, four waves.
    #[test]
    fn a_ripple_in_closed_form() {
        let (amplitude, n) = (0.003, 12.0);
        for k in 1..=CHORDS {
            let wave = |i: f64| amplitude * (2.0 * PI * i / n).cos();
            let floor = measure(&[line(48 + 2 * k, wave)], System::Metric).unwrap();
            let wanted = amplitude / 2f64.sqrt() * (1.0 - (2.0 * PI * k as f64 / n).cos());
            assert!(
                (floor.lines[0].departures[k - 1] - wanted).abs() < 1e-15,
                "{k}"
            );
        }
    }

    /// A hollow z = c i² stands c k² under the middle of every chord of 2k steps: of n readings there are n - 2k chords, so the
    /// index is c sqrt(sum (n - 2k) k⁴ / sum (n - 2k)). A tilt changes nothing. Lines are weighted by their lengths.
    #[test]
    fn a_hollow_in_closed_form_and_the_surface_of_two_lines() {
        let hollow = |c: f64| move |i: f64| c * i * i + 0.02 * i + 3.0;
        let index = |c: f64, n: f64| {
            let sum = |power: i32| {
                let chords = (1..=CHORDS).map(|k| k as f64);
                chords.map(|k| (n - 2.0 * k) * k.powi(power)).sum::<f64>()
            };
            c * (sum(4) / sum(0)).sqrt()
        };
        let lines = [line(20, hollow(1e-4)), line(31, hollow(-2e-4))];
        let floor = measure(&lines, System::Metric).unwrap();
        let [a, b] = [index(1e-4, 20.0), index(2e-4, 31.0)];
        assert!((floor.lines[0].index - a).abs() < 1e-12);
        assert!((floor.lines[1].index - b).abs() < 1e-12);
        let wanted = ((19.0 * a * a + 30.0 * b * b) / 49.0).sqrt();
        assert!((floor.index - wanted).abs() < 1e-12);
        assert!(measure(&[], System::Metric).is_err());
    }
}
