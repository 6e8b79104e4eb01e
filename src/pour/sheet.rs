//! The compound sheet: a small TOML file with what the data sheet says, quantities as text with their units.
//!
//! In: the file. Out: a [`Compound`], or an error with the line of the figure that is wrong. A key that is not known is
//! an error, so that a misspelt one is not passed over.
//!
//! ```toml
//! name = "Fast levelling compound"
//! bag = "25 kg"
//! liquid_per_bag = "5 l"
//! coverage = "6 m2 at 2 mm"       # and/or mixed_per_bag = "12 l", consumption = "1.7 kg/m2/mm"
//! mixed_density = "2.0 kg/l"      # optional, as are the keys below marked so
//! least_depth = "2 mm"
//! greatest_depth = "10 mm"
//! feather_edge = true             # optional
//! working_time = "20 min"
//! mixing_time = "3 min"
//! walk_on = "3 h"
//! price_per_bag = "28.50 EUR"     # optional
//! ```

use std::ops::Range;
use std::str::FromStr;

use serde::Deserialize;
use toml::Spanned;

use super::compound::{Compound, Figures, Price, settle};
use crate::error::{Error, Place, Result, Warning};
use crate::survey::Source;
use crate::units::{
    Area, Density, Duration, LITRE, Length, MILLIMETRE, Mass, NotAQuantity, Volume,
};

/// No sheet is longer than this.
const LONGEST: u64 = 1 << 20;

/// Density of a liquid whose density the sheet does not give, kg/m³: that of water.
const WATER: &str = "1.0 kg/l";

/// The sheet as it is written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Sheet {
    name: String,
    bag: Spanned<String>,
    liquid: Option<String>,
    liquid_per_bag: Spanned<String>,
    liquid_density: Option<Spanned<String>>,
    mixed_per_bag: Option<Spanned<String>>,
    coverage: Option<Spanned<String>>,
    consumption: Option<Spanned<String>>,
    mixed_density: Option<Spanned<String>>,
    hardened_density: Option<Spanned<String>>,
    least_depth: Spanned<String>,
    greatest_depth: Spanned<String>,
    #[serde(default)]
    feather_edge: bool,
    working_time: Spanned<String>,
    mixing_time: Spanned<String>,
    walk_on: Spanned<String>,
    drying_per_day: Option<Spanned<String>>,
    primer_coverage: Option<Spanned<String>>,
    price_per_bag: Option<Spanned<String>>,
}

impl Compound {
    /// Reads a compound sheet.
    ///
    /// # Errors
    /// [`Error::Read`]; [`Error::Input`] as [`Compound::parse`].
    pub fn read(source: &Source) -> Result<Self> {
        let wanted = "a compound sheet in TOML, such as name = \"...\", bag = \"25 kg\"";
        Self::parse(&source.text(LONGEST, wanted)?, source.name())
    }

    /// Reads a compound sheet from `text`; `file` is its name in errors.
    ///
    /// # Errors
    /// [`Error::Input`] with line and column: no TOML, a key unknown or missing, a value that is not the quantity it
    /// should be or not above zero, a least depth above the greatest, figures that contradict each other.
    pub fn parse(text: &str, file: &str) -> Result<Self> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let reader = Reader { text, file };
        let sheet: Sheet = toml::from_str(text).map_err(|error| reader.not_a_sheet(&error))?;
        reader.compound(sheet)
    }
}

/// Turns places in the text into lines, and text into quantities.
struct Reader<'a> {
    text: &'a str,
    file: &'a str,
}

impl Reader<'_> {
    fn compound(&self, sheet: Sheet) -> Result<Compound> {
        let bag = self.positive(&sheet.bag, |Mass(kg)| kg)?;
        let liquid_per_bag = self.quantity(&sheet.liquid_per_bag, |Volume(m3)| m3)?;
        let water = Spanned::new(0..0, WATER.to_owned());
        let liquid_density = sheet.liquid_density.as_ref().unwrap_or(&water);
        let density = |Density(density)| density;
        let figures = Figures {
            bag,
            liquid_mass: liquid_per_bag * self.positive(liquid_density, density)?,
            mixed_volume: self.optional(&sheet.mixed_per_bag, |Volume(m3)| m3)?,
            coverage: self.optional(&sheet.coverage, |Coverage(m3)| m3)?,
            consumption: self.optional(&sheet.consumption, |Consumption(density)| density)?,
            mixed_density: self.optional(&sheet.mixed_density, density)?,
            hardened_density: self.optional(&sheet.hardened_density, density)?,
        };
        let settled = settle(&figures).map_err(|found| {
            let wanted = "figures of one compound: mixed_per_bag, coverage or consumption that fits bag and liquid";
            Error::input(Place::file(self.file), found, wanted)
        })?;
        let least_depth = self.quantity(&sheet.least_depth, Length::m)?;
        let greatest_depth = self.positive(&sheet.greatest_depth, Length::m)?;
        if least_depth > greatest_depth {
            let wanted = format!("a depth of at most {}", sheet.greatest_depth.get_ref());
            return Err(self.wrong(&sheet.least_depth, wanted));
        }
        let seconds = |Duration(seconds)| seconds;
        Ok(Compound {
            name: sheet.name,
            bag,
            liquid: sheet.liquid.unwrap_or_else(|| "water".to_owned()),
            liquid_per_bag,
            mixed_per_bag: settled.mixed_per_bag,
            mixed_density: settled.mixed_density,
            hardened_density: settled.hardened_density,
            least_depth,
            greatest_depth,
            feather_edge: sheet.feather_edge,
            working_time: self.positive(&sheet.working_time, seconds)?,
            mixing_time: self.positive(&sheet.mixing_time, seconds)?,
            walk_on: self.positive(&sheet.walk_on, seconds)?,
            drying_per_day: self.optional(&sheet.drying_per_day, Length::m)?,
            primer_coverage: self.optional(&sheet.primer_coverage, |PerLitre(area)| area)?,
            price: sheet
                .price_per_bag
                .map(|price| self.price(&price))
                .transpose()?,
            warnings: self.named(settled.warnings),
        })
    }

    /// A quantity of zero or more.
    fn quantity<Q>(&self, value: &Spanned<String>, si: impl Fn(Q) -> f64) -> Result<f64>
    where
        Q: FromStr<Err = NotAQuantity>,
    {
        let quantity = value
            .get_ref()
            .parse()
            .map_err(|error: NotAQuantity| self.wrong(value, error.wanted))?;
        let si = si(quantity);
        if si.is_finite() && si >= 0.0 {
            Ok(si)
        } else {
            Err(self.wrong(value, "nothing below zero"))
        }
    }

    /// A quantity above zero.
    fn positive<Q>(&self, value: &Spanned<String>, si: impl Fn(Q) -> f64) -> Result<f64>
    where
        Q: FromStr<Err = NotAQuantity>,
    {
        match self.quantity(value, si)? {
            si if si > 0.0 => Ok(si),
            _ => Err(self.wrong(value, "more than zero")),
        }
    }

    /// A quantity above zero, if it is there.
    fn optional<Q>(
        &self,
        value: &Option<Spanned<String>>,
        si: impl Fn(Q) -> f64,
    ) -> Result<Option<f64>>
    where
        Q: FromStr<Err = NotAQuantity>,
    {
        value
            .as_ref()
            .map(|value| self.positive(value, si))
            .transpose()
    }

    fn price(&self, value: &Spanned<String>) -> Result<Price> {
        let price: std::result::Result<_, NotAQuantity> = value.get_ref().parse();
        price.map_err(|error| self.wrong(value, error.wanted))
    }

    fn wrong(&self, value: &Spanned<String>, wanted: impl Into<String>) -> Error {
        let found = format!("'{}'", value.get_ref());
        Error::input(self.place(value.span()), found, wanted)
    }

    fn not_a_sheet(&self, error: &toml::de::Error) -> Error {
        let place = match error.span() {
            Some(span) => self.place(span),
            None => Place::file(self.file),
        };
        let found = error.message().replace('\n', ", ");
        Error::input(
            place,
            found,
            "the keys of a compound sheet, as the README lists them",
        )
    }

    fn place(&self, span: Range<usize>) -> Place {
        Place::in_text(self.file, self.text, span.start)
    }

    fn named(&self, warnings: Vec<Warning>) -> Vec<Warning> {
        warnings
            .into_iter()
            .map(|Warning(text)| Warning(format!("{}: {text}", self.file)))
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
