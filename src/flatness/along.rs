//! What was measured along sample lines, as verdicts need it: F-numbers and waviness with the interval they lie in.
//!
//! In: values of others (`f_numbers`, `waviness`). Out: an [`Estimate`] of each, or why there is none.
//! Formula: an F-number's interval narrows with the square root of the readings, so that of one line with n of N readings is
//! the overall one's raised to sqrt(N / n), as a factor. The index of waviness is a root mean square: noise cannot move it
//! by more than the root mean square of the noise (triangle inequality).

use super::f_numbers::FNumbers;
use super::sample_lines::SampleLine;
use super::waviness::Waviness;

/// A value and the 90 % interval it lies in: each bound alone is one-sided 95 %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The value: an F-number, or an index of waviness, m.
    pub value: f64,
    /// Where it lies at the least.
    pub low: f64,
    /// Where it lies at the most.
    pub high: f64,
    /// How many readings it comes from.
    pub readings: usize,
}

impl Estimate {
    /// The lowest of single lines' numbers, as (readings, value), with its wider interval; of no lines the overall one.
    pub fn lowest(self, lines: impl IntoIterator<Item = (usize, f64)>) -> Self {
        let lowest = lines.into_iter().min_by(|a, b| a.1.total_cmp(&b.1));
        let Some((readings, value)) = lowest else {
            return self;
        };
        let wider = (self.readings as f64 / readings.max(1) as f64).sqrt();
        let bound = |bound: f64| value * (bound / self.value).powf(wider);
        Self {
            value,
            low: bound(self.low),
            high: bound(self.high),
            readings,
        }
    }

    /// A root mean square of values that noise moves by at most `doubt`, root mean square.
    pub fn root_mean_square(value: f64, doubt: f64, readings: usize) -> Self {
        Self {
            value,
            low: (value - doubt).max(0.0),
            high: value + doubt,
            readings,
        }
    }
}

/// What was measured along the lines of one floor; each the reason where it could not be.
#[derive(Debug, Clone, PartialEq)]
pub struct Along {
    /// FF of all lines.
    pub ff: Result<Estimate, String>,
    /// FF of the lowest line.
    pub ff_local: Result<Estimate, String>,
    /// FL of all lines.
    pub fl: Result<Estimate, String>,
    /// FL of the lowest line.
    pub fl_local: Result<Estimate, String>,
    /// The index of waviness, m.
    pub waviness: Result<Estimate, String>,
}

impl Along {
    /// What was measured along `lines`. A departure from the middle of a chord takes sqrt(1.5) of one height's uncertainty.
    pub fn of(
        f_numbers: &Result<FNumbers, String>,
        waviness: &Result<Waviness, String>,
        lines: &[SampleLine],
    ) -> Self {
        let number =
            |of: fn(&FNumbers) -> Estimate| f_numbers.as_ref().map(of).map_err(Clone::clone);
        let readings = lines.iter().map(|line| line.heights.len()).sum();
        let squares = lines
            .iter()
            .map(|line| line.u * line.u * line.heights.len() as f64);
        let u = (squares.sum::<f64>() / readings as f64).sqrt();
        Self {
            ff: number(flat),
            ff_local: number(|found| {
                let lines = found.lines.iter().map(|line| (line.readings, line.ff));
                flat(found).lowest(lines)
            }),
            fl: number(level),
            fl_local: number(|found| {
                let lines = found.lines.iter().map(|line| (line.readings, line.fl));
                level(found).lowest(lines)
            }),
            waviness: match waviness {
                Ok(found) => Ok(Estimate::root_mean_square(
                    found.index,
                    1.5_f64.sqrt() * u,
                    readings,
                )),
                Err(reason) => Err(reason.clone()),
            },
        }
    }

    /// Nothing, for this reason.
    pub fn nothing(reason: &str) -> Self {
        let nothing = || Err(reason.to_owned());
        Self {
            ff: nothing(),
            ff_local: nothing(),
            fl: nothing(),
            fl_local: nothing(),
            waviness: nothing(),
        }
    }
}

fn flat(found: &FNumbers) -> Estimate {
    Estimate {
        value: found.ff,
        low: found.ff_low,
        high: found.ff_high,
        readings: found.readings,
    }
}

fn level(found: &FNumbers) -> Estimate {
    Estimate {
        value: found.fl,
        low: found.fl_low,
        high: found.fl_high,
        readings: found.readings,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OVERALL: Estimate = Estimate {
        value: 30.0,
        low: 27.0,
        high: 33.0,
        readings: 100,
    };

    /// A quarter of the readings: factors 0.9 and 1.1 become their squares.
    #[test]
    fn fewer_readings_tell_less() {
        let lowest = OVERALL.lowest([(25, 20.0), (75, 40.0)]);
        assert_eq!((lowest.value, lowest.readings), (20.0, 25));
        assert!((lowest.low - 20.0 * 0.81).abs() < 1e-12, "{lowest:?}");
        assert!((lowest.high - 20.0 * 1.21).abs() < 1e-12, "{lowest:?}");
        assert_eq!(OVERALL.lowest([]), OVERALL);
    }

    #[test]
    fn noise_moves_a_root_mean_square_by_no_more_than_itself() {
        let waviness = Estimate::root_mean_square(0.002, 0.003, 40);
        assert_eq!((waviness.low, waviness.high), (0.0, 0.005));
    }
}
