//! The compound sheet: a small TOML file with what the data sheet says, quantities as text with their units.
//!
//! In: the file. Out: a [`Compound`], or an error with the line of the figure that is wrong. A key that is not known is
//! an error, so that a misspelt one is not passed over.
//!
//! ```toml
//! name = "Fast levelling compound"
//! bag = "25 kg"
//! liquid = "part B"               # optional: what it is mixed with, water if not said
//! liquid_per_bag = "5 l"
//! liquid_unit = "5 l"             # optional: it comes in bottles of this size
//! liquid_density = "1.02 kg/l"    # optional
//! coverage = "6 m2 at 2 mm"       # and/or mixed_per_bag = "12 l", consumption = "1.7 kg/m2/mm"
//! mixed_density = "2.0 kg/l"      # optional, as are the keys below marked so
//! least_depth = "2 mm"
//! greatest_depth = "10 mm"
//! feather_edge = true             # optional
//! working_time = "20 min"
//! mixing_time = "3 min"
//! walk_on = "3 h"
//! drying_per_day = "1 mm to 40 mm, then 0.5 mm"   # optional; or "1 mm"
//! primer_coverage = "8 m2/l"      # optional
//! price_per_bag = "28.50 EUR"     # optional
//! ```

use std::str::FromStr;

use serde::Deserialize;
use toml::Spanned;

use super::compound::{Compound, Drying, Figures, Price, settle};
use crate::error::{Error, Place, Result, Warning};
use crate::survey::Source;
use crate::units::{
    Area, Density, Duration, LITRE, Length, MILLIMETRE, Mass, NotAQuantity, Volume,
};
use crate::written::{self, Text, Written};

/// Density of a liquid whose density the sheet does not give, kg/m³: that of water.
const WATER: &str = "1.0 kg/l";

/// The sheet as it is written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Sheet {
    name: String,
    bag: Text,
    liquid: Option<String>,
    liquid_per_bag: Text,
    liquid_unit: Option<Text>,
    liquid_density: Option<Text>,
    mixed_per_bag: Option<Text>,
    coverage: Option<Text>,
    consumption: Option<Text>,
    mixed_density: Option<Text>,
    hardened_density: Option<Text>,
    least_depth: Text,
    greatest_depth: Text,
    #[serde(default)]
    feather_edge: bool,
    working_time: Text,
    mixing_time: Text,
    walk_on: Text,
    drying_per_day: Option<Text>,
    primer_coverage: Option<Text>,
    price_per_bag: Option<Text>,
}

impl Compound {
    /// Reads a compound sheet.
    ///
    /// # Errors
    /// [`Error::Read`]; [`Error::Input`] as [`Compound::parse`].
    pub fn read(source: &Source) -> Result<Self> {
        let wanted = "a compound sheet in TOML, such as name = \"...\", bag = \"25 kg\"";
        Self::parse(&written::text(source, wanted)?, source.name())
    }

    /// Reads a compound sheet from `text`; `file` is its name in errors.
    ///
    /// # Errors
    /// [`Error::Input`] with line and column: no TOML, a key unknown or missing, a value that is not the quantity it
    /// should be or not above zero, a least depth above the greatest, figures that contradict each other.
    pub fn parse(text: &str, file: &str) -> Result<Self> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let written = Written { text, file };
        let sheet = written.parse("the keys of a compound sheet, as the README lists them")?;
        Reader(written).compound(sheet)
    }
}

/// Turns what is written into a compound.
struct Reader<'a>(Written<'a>);

impl Reader<'_> {
    fn compound(&self, sheet: Sheet) -> Result<Compound> {
        let bag = self.0.positive(&sheet.bag, |Mass(kg)| kg)?;
        let liquid_per_bag = self
            .0
            .not_negative(&sheet.liquid_per_bag, |Volume(m3)| m3)?;
        let water = Spanned::new(0..0, WATER.to_owned());
        let density = |Density(density)| density;
        let liquid_density = self
            .0
            .positive(sheet.liquid_density.as_ref().unwrap_or(&water), density)?;
        let figures = Figures {
            bag,
            liquid_mass: liquid_per_bag * liquid_density,
            mixed_volume: self.optional(&sheet.mixed_per_bag, |Volume(m3)| m3)?,
            coverage: self.optional(&sheet.coverage, |Coverage(m3)| m3)?,
            consumption: self.optional(&sheet.consumption, |Consumption(density)| density)?,
            mixed_density: self.optional(&sheet.mixed_density, density)?,
            hardened_density: self.optional(&sheet.hardened_density, density)?,
        };
        let settled = settle(&figures).map_err(|found| {
            let wanted = "figures of one compound: mixed_per_bag, coverage or consumption that fits bag and liquid";
            Error::input(Place::file(self.0.file), found, wanted)
        })?;
        let least_depth = self.0.not_negative(&sheet.least_depth, Length::m)?;
        let greatest_depth = self.0.positive(&sheet.greatest_depth, Length::m)?;
        if least_depth > greatest_depth {
            let wanted = format!("a depth of at most {}", sheet.greatest_depth.get_ref());
            return Err(self.0.wrong(&sheet.least_depth, wanted));
        }
        let [working_time, mixing_time, walk_on] = self.times(&sheet)?;
        Ok(Compound {
            name: sheet.name,
            bag,
            liquid: sheet.liquid.unwrap_or_else(|| "water".to_owned()),
            liquid_per_bag,
            liquid_density,
            bottle: self.optional(&sheet.liquid_unit, |Volume(m3)| m3)?,
            mixed_per_bag: settled.mixed_per_bag,
            mixed_density: settled.mixed_density,
            hardened_density: settled.hardened_density,
            least_depth,
            greatest_depth,
            feather_edge: sheet.feather_edge,
            working_time,
            mixing_time,
            walk_on,
            drying: self.drying(&sheet.drying_per_day)?,
            primer_coverage: self.optional(&sheet.primer_coverage, |PerLitre(area)| area)?,
            price: sheet
                .price_per_bag
                .map(|price| self.price(&price))
                .transpose()?,
            warnings: self.named(settled.warnings),
        })
    }

    /// A quantity above zero, if it is there.
    fn optional<Q>(&self, value: &Option<Text>, si: impl Fn(Q) -> f64) -> Result<Option<f64>>
    where
        Q: FromStr<Err = NotAQuantity>,
    {
        value
            .as_ref()
            .map(|value| self.0.positive(value, si))
            .transpose()
    }

    /// Working time, mixing time and the time until it can be walked on, s.
    fn times(&self, sheet: &Sheet) -> Result<[f64; 3]> {
        let seconds = |value: &Text| self.0.positive(value, |Duration(seconds)| seconds);
        let working_time = seconds(&sheet.working_time)?;
        let mixing_time = seconds(&sheet.mixing_time)?;
        let walk_on = seconds(&sheet.walk_on)?;
        let worked = sheet.working_time.get_ref();
        if mixing_time > working_time {
            let wanted = format!("no more than the working time of {worked}");
            return Err(self.0.wrong(&sheet.mixing_time, wanted));
        }
        if walk_on < working_time {
            let wanted = format!("no less than the working time of {worked}");
            return Err(self.0.wrong(&sheet.walk_on, wanted));
        }
        Ok([working_time, mixing_time, walk_on])
    }

    /// `1 mm`, or `1 mm to 40 mm, then 0.5 mm`.
    fn drying(&self, value: &Option<Text>) -> Result<Option<Drying>> {
        let Some(value) = value else { return Ok(None) };
        let depth = |text: &str| {
            let depth = text.trim().parse::<Length>().ok()?.m();
            (depth > 0.0).then_some(depth)
        };
        let read = || match value.get_ref().split_once(" to ") {
            None => Some(Drying {
                per_day: depth(value.get_ref())?,
                deeper: [f64::INFINITY; 2],
            }),
            Some((per_day, deeper)) => {
                let (from, then) = deeper.split_once(", then ")?;
                Some(Drying {
                    per_day: depth(per_day)?,
                    deeper: [depth(from)?, depth(then)?],
                })
            }
        };
        let wanted = "a depth a day, such as 1 mm, or 1 mm to 40 mm, then 0.5 mm";
        read().map(Some).ok_or_else(|| self.0.wrong(value, wanted))
    }

    fn price(&self, value: &Text) -> Result<Price> {
        let price: std::result::Result<_, NotAQuantity> = value.get_ref().parse();
        price.map_err(|error| self.0.wrong(value, error.wanted))
    }

    fn named(&self, warnings: Vec<Warning>) -> Vec<Warning> {
        warnings
            .into_iter()
            .map(|Warning(text)| Warning(format!("{}: {text}", self.0.file)))
            .collect()
    }
}

/// Area times depth of one bag, m³, written `6 m2 at 2 mm`.
struct Coverage(f64);

impl FromStr for Coverage {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> std::result::Result<Self, NotAQuantity> {
        let read = || {
            let (area, depth) = text.split_once(" at ")?;
            let (Area(area), depth) = (area.parse().ok()?, depth.parse::<Length>().ok()?);
            Some(Self(area * depth.m()))
        };
        read().ok_or_else(|| NotAQuantity {
            found: text.to_owned(),
            wanted: "an area at a depth, such as 6 m2 at 2 mm",
        })
    }
}

/// Powder in a cubic metre in place, kg/m³, written `1.7 kg/m2/mm`.
struct Consumption(f64);

impl FromStr for Consumption {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> std::result::Result<Self, NotAQuantity> {
        let mass = text.trim().strip_suffix("/m2/mm").map(str::parse);
        match mass {
            Some(Ok(Mass(kg))) => Ok(Self(kg / MILLIMETRE)),
            Some(Err(_)) | None => Err(NotAQuantity {
                found: text.to_owned(),
                wanted: "powder for an area and depth, such as 1.7 kg/m2/mm",
            }),
        }
    }
}

/// Area per cubic metre of liquid, m²/m³, written `8 m2/l`.
struct PerLitre(f64);

impl FromStr for PerLitre {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> std::result::Result<Self, NotAQuantity> {
        match text.trim().strip_suffix("/l").map(str::parse) {
            Some(Ok(Area(area))) => Ok(Self(area / LITRE)),
            Some(Err(_)) | None => Err(NotAQuantity {
                found: text.to_owned(),
                wanted: "the area that a litre covers, such as 8 m2/l",
            }),
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    pub(crate) const SHEET: &str = r#"name = "Fast levelling compound"
bag = "25 kg"
liquid_per_bag = "5 l"
mixed_per_bag = "15 l"
mixed_density = "2.0 kg/l"
hardened_density = "1.9 kg/l"
least_depth = "2 mm"
greatest_depth = "10 mm"
working_time = "20 min"
mixing_time = "3 min"
walk_on = "3 h"
drying_per_day = "1 mm"
primer_coverage = "8 m2/l"
price_per_bag = "28.50 EUR"
"#;

    fn error(text: &str) -> String {
        Compound::parse(text, "sheet.toml")
            .expect_err(text)
            .to_string()
    }

    #[test]
    fn a_sheet_is_read_into_si() {
        let compound =
            Compound::parse(&format!("\u{feff}{SHEET}"), "sheet.toml").expect("a good sheet");
        assert_eq!(compound.bag, 25.0);
        assert!((compound.liquid_per_bag - 0.005).abs() < 1e-15);
        assert!((compound.mixed_per_bag - 0.015).abs() < 1e-15);
        assert_eq!(compound.hardened_density, 1900.0);
        assert_eq!(compound.working_time, 1200.0);
        assert_eq!(compound.walk_on, 10800.0);
        assert_eq!(compound.drying_days(0.005), Some(5.0));
        assert_eq!(compound.primer_coverage, Some(8000.0));
        let price = compound.price.expect("a price");
        assert_eq!((price.amount, price.currency.as_str()), (28.5, "EUR"));
        assert_eq!(
            (compound.liquid.as_str(), compound.feather_edge),
            ("water", false)
        );
        assert_eq!(compound.warnings, []);
    }

    /// 5 l of a second part at 1.1 kg/l weigh 5.5 kg: 30.5 kg with the powder, in 15 l.
    #[test]
    fn a_second_part_comes_in_bottles_and_has_its_own_weight() {
        let bottles =
            "liquid = \"part B\"\nliquid_unit = \"2.5 l\"\nliquid_density = \"1.1 kg/l\"\n";
        let text = SHEET.replace("mixed_density = \"2.0 kg/l\"\n", "");
        let text = text.replace("hardened_density = \"1.9 kg/l\"\n", bottles);
        let compound = Compound::parse(&text, "sheet.toml").expect("a good sheet");
        assert_eq!(
            (compound.liquid.as_str(), compound.bottle),
            ("part B", Some(0.0025))
        );
        assert!((compound.mixed_density - 30.5 / 0.015).abs() < 1e-9);
        assert!(error(&text.replace("\"2.5 l\"", "\"0 l\"")).contains("more than zero"));
    }

    #[test]
    fn drying_may_slow_down_where_it_is_deep() {
        let days = |rule: &str, depth: f64| {
            let text = SHEET.replace(
                "drying_per_day = \"1 mm\"",
                &format!("drying_per_day = \"{rule}\""),
            );
            let compound = Compound::parse(&text, "sheet.toml").expect(rule);
            compound.drying_days(depth).expect("a rule")
        };
        let near = |found: f64, wanted: f64| assert!((found - wanted).abs() < 1e-9, "{found}");
        near(days("2 mm", 0.05), 25.0);
        near(days("1 mm to 40 mm, then 0.5 mm", 0.03), 30.0);
        near(days("1 mm to 40 mm, then 0.5 mm", 0.05), 60.0);
        for wrong in ["1", "0 mm", "1 mm to 40 mm", "1 mm to 40 mm, then 0 mm"] {
            let text = SHEET.replace(
                "drying_per_day = \"1 mm\"",
                &format!("drying_per_day = \"{wrong}\""),
            );
            assert!(error(&text).contains("line 12"), "{wrong}");
        }
    }

    /// 6 m² at 2 mm and 2.4 m² at 5 mm are both 12 l (common practice, no source); 25 kg at 25/12 kg/m²/mm too.
    #[test]
    fn the_three_ways_to_state_a_yield_agree() {
        for stated in [
            "coverage = \"6 m2 at 2 mm\"",
            "coverage = \"2.4 m2 at 5 mm\"",
            "consumption = \"2.0833333333333333 kg/m2/mm\"",
            "mixed_per_bag = \"12 l\"",
        ] {
            let text = SHEET
                .replace("mixed_per_bag = \"15 l\"", stated)
                .replace("2.0 kg/l", "2.5 kg/l")
                .replace("1.9 kg/l", "2.4 kg/l");
            let compound = Compound::parse(&text, "sheet.toml").expect(stated);
            assert!((compound.mixed_per_bag - 0.012).abs() < 1e-15, "{stated}");
        }
    }

    #[test]
    fn a_wrong_line_is_named() {
        let unknown = error(&SHEET.replace("greatest_depth", "greatest_dept"));
        assert!(
            unknown.starts_with("sheet.toml, line 8, column 1: "),
            "{unknown}"
        );
        assert!(unknown.contains("greatest_dept"), "{unknown}");
        let unit = error(&SHEET.replace("\"10 mm\"", "\"10\""));
        assert!(
            unit.starts_with("sheet.toml, line 8, column 18: found '10'; wanted a length"),
            "{unit}"
        );
        let syntax = error(&SHEET.replace("\"25 kg\"", "25 kg"));
        assert!(syntax.starts_with("sheet.toml, line 2"), "{syntax}");
        assert!(!syntax.contains('\n'), "{syntax:?}");
        let missing = error(&SHEET.replace("bag = \"25 kg\"\n", ""));
        assert!(missing.contains("missing field `bag`"), "{missing}");
    }

    #[test]
    fn what_no_sheet_can_say_is_refused() {
        for (from, to) in [
            ("\"2 mm\"", "\"12 mm\""),
            ("\"2 mm\"", "\"-2 mm\""),
            ("\"25 kg\"", "\"0 kg\""),
            ("\"20 min\"", "\"0 min\""),
            ("\"3 min\"", "\"21 min\""),
            ("\"3 h\"", "\"19 min\""),
            ("\"28.50 EUR\"", "\"28.50\""),
            ("\"28.50 EUR\"", "\"28.5.0 EUR\""),
            ("\"15 l\"", "\"150 l\""),
            ("mixed_per_bag = \"15 l\"\n", ""),
        ] {
            assert!(
                Compound::parse(&SHEET.replace(from, to), "sheet.toml").is_err(),
                "{to}"
            );
        }
        let deep = error(&SHEET.replace("\"2 mm\"", "\"12 mm\""));
        assert!(
            deep.contains("line 7") && deep.contains("at most 10 mm"),
            "{deep}"
        );
    }

    #[test]
    fn a_warning_names_the_file() {
        let text = SHEET
            .replace("2.0 kg/l", "1.8 kg/l")
            .replace("1.9 kg/l", "1.75 kg/l");
        let compound = Compound::parse(&text, "sheet.toml").expect("a warning only");
        assert!(
            compound.warnings[0]
                .0
                .starts_with("sheet.toml: density when mixed: 1.800 kg/l")
        );
    }
}
