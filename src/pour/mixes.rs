//! Mixes: how many bags go into one vessel, and into each mix of a pour.
//!
//! In: a compound, a vessel, the bags that are needed, parts of bags included. Out: bags of every mix, in the order of mixing.
//!
//! Bags go in whole. What is left over beside full mixes is the first mix, in the far corner, where a mix that is a little
//! different is seen least and the bucket is tried. Half a bag is mixed only where that is all that is left over (the
//! other half stays dry, in reserve), or where the vessel holds no more.
//!
//! Definition 8 of the README. The headroom is practice, no source.

use super::compound::Compound;
use super::order::{SAME, whole_up};
use crate::error::{Error, Result};
use crate::units::System;

/// The vessel where none is named, m³: a large mixing bucket.
pub const USUAL_VESSEL: f64 = 0.04;

/// Share of the vessel that stays free, so that a mixer does not throw the mix over the rim.
pub const HEADROOM: f64 = 0.2;

/// The least part of a bag that can be told by eye.
pub const HALF: f64 = 0.5;

/// Bags that go into one vessel of `vessel` m³: whole ones, or half a bag.
///
/// # Errors
/// [`Error::Argument`] where it cannot hold half a bag.
pub fn bags_per_mix(compound: &Compound, vessel: f64) -> Result<f64> {
    let bags = vessel * (1.0 - HEADROOM) / compound.mixed_per_bag * (1.0 + SAME);
    if bags >= 1.0 {
        return Ok(bags.floor());
    }
    if bags >= HALF {
        return Ok(HALF);
    }
    let litres = |volume| System::Metric.volume(volume);
    Err(Error::argument(
        "--vessel",
        litres(vessel),
        format!(
            "at least {}: half a bag of {} makes {}, and a fifth of the vessel stays free",
            litres(HALF * compound.mixed_per_bag / (1.0 - HEADROOM)),
            compound.name,
            litres(HALF * compound.mixed_per_bag)
        ),
    ))
}

/// Bags of each mix where `needed` bags go on the floor, the odd one first.
pub fn mixes(needed: f64, bags_per_mix: f64) -> Vec<f64> {
    if bags_per_mix < 1.0 {
        return vec![bags_per_mix; whole_up(needed / bags_per_mix) as usize];
    }
    let full = (needed / bags_per_mix * (1.0 + SAME)).floor();
    let over = needed - full * bags_per_mix;
    let odd = if over <= SAME * needed {
        None
    } else if over <= HALF + SAME * needed {
        Some(HALF)
    } else {
        Some(whole_up(over))
    };
    let full = std::iter::repeat_n(bags_per_mix, full as usize);
    odd.into_iter().chain(full).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::sheet::tests::SHEET;

    #[test]
    fn the_odd_mix_comes_first() {
        assert_eq!(mixes(5.2, 2.0), [2.0, 2.0, 2.0]);
        assert_eq!(mixes(4.8, 2.0), [1.0, 2.0, 2.0]);
        assert_eq!(mixes(4.5, 2.0), [0.5, 2.0, 2.0]);
        assert_eq!(mixes(1.5 + 1e-15, 1.0), [0.5, 1.0]);
        assert_eq!(mixes(4.0, 2.0), [2.0, 2.0]);
        assert_eq!(mixes(3.0, 1.0), [1.0; 3]);
        assert_eq!(mixes(2.3, 1.0), [0.5, 1.0, 1.0]);
        assert_eq!(mixes(7.6, 3.0), [2.0, 3.0, 3.0]);
        assert_eq!(mixes(0.1, 3.0), [0.5]);
        assert_eq!(mixes(1.2, 0.5), [0.5; 3]);
        assert_eq!(mixes(0.0, 2.0), [0.0; 0]);
        // What rounding of the sums leaves above a whole number is no mix.
        assert_eq!(mixes(4.0 + 1e-12, 2.0), [2.0, 2.0]);
    }

    /// Mixes hold what is needed, and never more bags than are bought.
    #[test]
    fn mixes_never_outnumber_the_bags() {
        for tenths in 0..200 {
            let needed = 0.1 * f64::from(tenths);
            for bags_per_mix in [0.5, 1.0, 2.0, 3.0, 5.0] {
                let mixes = mixes(needed, bags_per_mix);
                let bags: f64 = mixes.iter().sum();
                assert!(bags >= needed * (1.0 - 1e-8) && bags <= whole_up(needed));
                assert!(mixes.iter().all(|&mix| mix <= bags_per_mix));
            }
        }
    }

    /// A bag makes 15 l.
    #[test]
    fn a_vessel_holds_whole_bags_or_half_a_bag() {
        let compound = Compound::parse(SHEET, "sheet").expect("a sheet");
        let bags = |litres: f64| bags_per_mix(&compound, 0.001 * litres);
        assert_eq!(bags(40.0).expect("two"), 2.0);
        assert_eq!(bags(18.75).expect("just"), 1.0);
        assert_eq!(bags(18.0).expect("half"), 0.5);
        let error = bags(9.0).expect_err("7.5 l and headroom").to_string();
        assert!(error.contains("at least 9.4 l"), "{error}");
    }
}
