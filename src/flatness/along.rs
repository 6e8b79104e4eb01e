//! What was measured along sample lines, as verdicts need it: F-numbers and waviness with the interval they lie in.
//!
//! In: values of others (`f_numbers`, `waviness`). Out: an [`Estimate`] of each, or why there is none.
//! Formula: an F-number's interval narrows with the square root of the readings, so that of one line with n of N readings is
//! the overall one's raised to sqrt(N / n), as a factor. The index of waviness is a root mean square: noise cannot move it
//! by more than the root mean square of the noise (triangle inequality).

/// Why nothing was measured along sample lines.
pub const UNMEASURED: &str = "F-numbers and waviness are not measured by this version";

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
