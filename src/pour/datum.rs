//! Bringing two surveys of a floor to one datum.
//!
//! In: places whose height did not change, as each survey has them: a benchmark, or floor that was not poured. Out: a
//! [`Datum`]: what is added to heights after less heights before, so that nothing laid is nothing.
//! Formulae: shift = mean of before - after over n places; u² = Σ (u_before² + u_after²) / n², or s² / n if that is more, s the
//! scatter of three or more places. A place is off if it leaves the shift by more than three times its own uncertainty, r² =
//! u_i² (1 - 2/n) + Σ u² / n². Four or more places that a plane fits, and a shift does not (χ² falls by more than 9.21, 99 %
//! of two degrees of freedom, -2 ln 0.01), say that the surveys are tilted against each other.
//! Does not take a tilt out, and no place either: it says so.

use crate::error::Warning;
use crate::reference::least_squares;
use crate::units::System;

/// A place that leaves the others by more than this many times its uncertainty is misread or was poured.
const OFF: f64 = 3.0;
/// 99 % of the sums of two squares of standard normal numbers are below this.
const TILTED: f64 = 9.21;
/// From this many places on, a plane leaves something over that tells a tilt from a misread place.
const TELLS_A_TILT: usize = 4;

/// A place whose height did not change.
#[derive(Debug, Clone, PartialEq)]
pub struct Fixed {
    /// What it is called.
    pub name: String,
    /// Plan position in the surveys' coordinates, m, where it is known.
    pub at: Option<[f64; 2]>,
    /// Height and its standard uncertainty before, m, from that survey's zero.
    pub before: [f64; 2],
    /// The same after, from that survey's zero.
    pub after: [f64; 2],
}

impl Fixed {
    fn difference(&self) -> f64 {
        self.before[0] - self.after[0]
    }

    fn variance(&self) -> f64 {
        self.before[1].powi(2) + self.after[1].powi(2)
    }
}

/// How the zeros of two surveys lie to each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Datum {
    /// Added to heights after less heights before, m.
    pub shift: f64,
    /// Its standard uncertainty, m.
    pub u: f64,
    /// What it rests on.
    pub fixed: Vec<Fixed>,
    /// What the places say against each other.
    pub warnings: Vec<Warning>,
}

impl Datum {
    /// The datum by places whose height did not change; None of none. `units` are those of its warnings.
    pub fn new(fixed: Vec<Fixed>, units: System) -> Option<Self> {
        let n = fixed.len() as f64;
        let shift =
            (!fixed.is_empty()).then(|| fixed.iter().map(Fixed::difference).sum::<f64>())? / n;
        let variance = fixed.iter().map(Fixed::variance).sum::<f64>() / (n * n);
        let mut datum = Self {
            shift,
            u: variance.sqrt(),
            fixed,
            warnings: Vec::new(),
        };
        datum.warnings = datum.contradictions(variance, units).into_iter().collect();
        if datum.fixed.len() > 2 {
            let scatter = datum.squares() / (n - 1.0);
            datum.u = datum.u.max((scatter / n).sqrt());
        }
        Some(datum)
    }

    /// What would seem to be laid at a place where nothing was, m.
    pub fn left_over(&self, fixed: &Fixed) -> f64 {
        self.shift - fixed.difference()
    }

    fn squares(&self) -> f64 {
        self.fixed
            .iter()
            .map(|fixed| self.left_over(fixed).powi(2))
            .sum()
    }

    /// Places that do not agree, `variance` being that of the shift by what is known of each.
    fn contradictions(&self, variance: f64, units: System) -> Option<Warning> {
        let n = self.fixed.len() as f64;
        let own = |fixed: &Fixed| {
            let r = (fixed.variance() * (1.0 - 2.0 / n) + variance).sqrt();
            self.left_over(fixed).abs() / r
        };
        if let Some(fall) = self.tilt() {
            return Some(Warning(format!(
                "the places not poured differ as if the surveys were tilted by {} against each other: thickness is wrong \
                 by as much for every step away from their middle; level the instrument and measure one of them again",
                units.slope(fall)
            )));
        }
        let worst = self
            .fixed
            .iter()
            .filter(|_| self.fixed.len() > 1)
            .max_by(|a, b| own(a).total_cmp(&own(b)))
            .filter(|worst| own(worst) > OFF)?;
        // The others alone: the worst has moved the shift by 1/n of what it is off.
        let off = self.left_over(worst) * n / (n - 1.0);
        Some(Warning(format!(
            "{} does not agree with the other places not poured, by {}: it was misread, moved or poured on after all; \
             check it, it moves every thickness",
            worst.name,
            units.signed_height(off)
        )))
    }

    /// How steeply the surveys are tilted against each other, m per m, where that explains what the shift does not.
    fn tilt(&self) -> Option<f64> {
        let places: Option<Vec<_>> = self
            .fixed
            .iter()
            .map(|fixed| fixed.at.map(|[x, y]| [x, y, self.left_over(fixed)]))
            .collect();
        let places = places.filter(|places| places.len() >= TELLS_A_TILT)?;
        let fit = least_squares(&places).ok()?;
        let n = places.len() as f64;
        let usual = self.fixed.iter().map(Fixed::variance).sum::<f64>() / n;
        let explained = self.squares() - n * fit.rms.powi(2);
        let rest = fit.above.max(fit.below);
        (explained > TILTED * usual && rest < OFF * usual.sqrt()).then(|| fit.plane.fall())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Heights that grew by `risen` mm on the way from one zero to the other, each known to 1 mm.
    fn fixed(risen: &[f64]) -> Vec<Fixed> {
        let corners = [[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0], [2.0, 1.5]];
        let place = |(n, (risen, at)): (usize, (&f64, [f64; 2]))| Fixed {
            name: format!("P{n}"),
            at: Some(at),
            before: [0.1 * n as f64, 1e-3],
            after: [0.1 * n as f64 + risen * 1e-3, 1e-3],
        };
        risen.iter().zip(corners).enumerate().map(place).collect()
    }

    fn datum(risen: &[f64]) -> Datum {
        Datum::new(fixed(risen), System::Metric).unwrap()
    }

    /// One place: u = √2 mm. Four that agree: √(8/16) mm.
    #[test]
    fn the_shift_is_the_mean_and_the_more_places_the_better_known() {
        let one = datum(&[12.0]);
        assert!((one.shift + 0.012).abs() < 1e-12);
        assert!((one.u - 1e-3 * 2f64.sqrt()).abs() < 1e-12);
        let four = datum(&[12.0, 12.5, 11.5, 12.0]);
        assert!((four.shift + 0.012).abs() < 1e-12);
        assert!((four.u - 1e-3 * 0.5f64.sqrt()).abs() < 1e-12);
        assert!((four.left_over(&four.fixed[1]) - 0.0005).abs() < 1e-12);
        assert_eq!(four.warnings, []);
        assert_eq!(Datum::new(Vec::new(), System::Metric), None);
    }

    /// Three places at 0, 0, 9 mm scatter by √27 mm: the shift is known to √(27/3) = 3 mm, not to √(6)/3 mm.
    #[test]
    fn a_place_that_is_off_is_named_and_doubt_grows() {
        let three = datum(&[0.0, 0.0, 9.0]);
        assert!((three.u - 3e-3).abs() < 1e-12, "{}", three.u);
        let said = &three.warnings[0].0;
        assert!(
            said.starts_with("P2 ") && said.contains("by +9.0 mm"),
            "{said}"
        );
        // The difference of two places has u = 2 mm.
        assert_eq!(datum(&[0.0, 5.9]).warnings.len(), 0);
        assert_eq!(datum(&[0.0, 6.1]).warnings.len(), 1);
    }

    #[test]
    fn a_tilt_is_told_from_a_misread_place() {
        // 3 mm/m along x.
        let tilted = datum(&[0.0, 12.0, 12.0, 0.0, 6.0]);
        let said = &tilted.warnings[0].0;
        assert!(said.contains("tilted by 3.00 mm/m"), "{said}");
        let misread = datum(&[0.0, 0.0, 0.0, 0.0, 12.0]);
        assert!(misread.warnings[0].0.starts_with("P4 "));
    }
}
