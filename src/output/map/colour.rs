//! What colour a value has.
//!
//! In: a value and the end of the scale, m. Out: red, green, blue.
//! Above or below a reference: purple below, near white at zero, orange above: a pair that people with any of the usual
//! colour deficiencies tell apart (ColorBrewer's PuOr). Depths: white to blue. Only the light part of either is used, so
//! that black letters can be read on all of it. In grey print both ends are dark: there the contours carry the sign.

use super::Scale;
use super::contours;
use super::sheet::Colour;
use crate::units::System;

/// Number of steps in the palette: odd, so that zero has one of its own.
pub const STEPS: usize = 65;
/// How far towards the dark ends of the diverging scale colours go (of 0.5).
const DIVERGING_REACH: f64 = 0.26;
/// How far towards the dark end of the sequential scale.
const DEPTH_REACH: f64 = 0.6;
/// The share of values that the colours tell apart; the few beyond take the end colour, so that one stray cell does
/// not wash out the map.
const COVERED: f64 = 0.999;

/// The ends of the colour scale, m: symmetric about zero for deviations, from zero for depths.
pub fn ends(scale: Scale, values: &[f64], units: System) -> [f64; 2] {
    let given = match scale {
        Scale::Diverging { limit } => limit,
        Scale::Depth => None,
    };
    let limit = given.unwrap_or_else(|| {
        let mut sizes: Vec<f64> = values
            .iter()
            .filter(|value| value.is_finite())
            .map(|value| match scale {
                Scale::Diverging { .. } => value.abs(),
                Scale::Depth => value.max(0.0),
            })
            .collect();
        sizes.sort_by(f64::total_cmp);
        let last = sizes.len().saturating_sub(1) as f64;
        let covered = sizes.get((last * COVERED).ceil() as usize).copied();
        let step = contours::interval(2.0 * covered.unwrap_or(0.0), 8, units);
        step * (covered.unwrap_or(0.0) / step).ceil().max(1.0)
    });
    match scale {
        Scale::Diverging { .. } => [-limit, limit],
        Scale::Depth => [0.0, limit],
    }
}

/// Which step of the palette a value takes.
pub fn step(value: f64, [low, high]: [f64; 2]) -> usize {
    let share = ((value - low) / (high - low)).clamp(0.0, 1.0);
    (share * (STEPS - 1) as f64 + 0.5) as usize
}

/// The palette, from the low end to the high.
pub fn palette(scale: Scale) -> Vec<Colour> {
    (0..STEPS)
        .map(|step| {
            let share = step as f64 / (STEPS - 1) as f64;
            let colour = match scale {
                Scale::Diverging { .. } => colorous::PURPLE_ORANGE
                    .eval_continuous(0.5 + (share - 0.5) * 2.0 * DIVERGING_REACH),
                Scale::Depth => colorous::BLUES.eval_continuous(share * DEPTH_REACH),
            };
            [colour.r, colour.g, colour.b]
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance of WCAG 2 (formula from memory).
    fn luminance(colour: Colour) -> f64 {
        let linear = |c: u8| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * linear(colour[0]) + 0.7152 * linear(colour[1]) + 0.0722 * linear(colour[2])
    }

    #[test]
    fn black_letters_read_on_every_colour() {
        // WCAG asks 4.5 : 1 for text; black has luminance 0.
        for scale in [Scale::Diverging { limit: None }, Scale::Depth] {
            for colour in palette(scale) {
                assert!((luminance(colour) + 0.05) / 0.05 > 4.5, "{colour:?}");
            }
        }
    }

    #[test]
    fn zero_is_in_the_middle_and_the_lightest() {
        let ends = ends(
            Scale::Diverging { limit: None },
            &[-0.001, 0.0072, f64::NAN],
            System::Metric,
        );
        assert_eq!(ends[0], -ends[1]);
        assert!((ends[1] - 0.008).abs() < 1e-12, "{ends:?}");
        assert_eq!(step(0.0, ends), STEPS / 2);
        let light: Vec<f64> = palette(Scale::Diverging { limit: None })
            .into_iter()
            .map(luminance)
            .collect();
        // The palette is a smooth curve through its colours: its top may be a step or two beside.
        let top = light.iter().copied().fold(0.0, f64::max);
        assert!(light[STEPS / 2] > 0.98 * top);
        assert!(light[0] < 0.5 * top && light[STEPS - 1] < 0.5 * top);
    }

    #[test]
    fn low_is_purple_and_high_is_orange() {
        let palette = palette(Scale::Diverging { limit: None });
        let (low, high) = (palette[0], palette[STEPS - 1]);
        assert!(low[2] > low[1] && low[2] > low[0], "{low:?}");
        assert!(high[0] > high[1] && high[1] > high[2], "{high:?}");
    }
}
