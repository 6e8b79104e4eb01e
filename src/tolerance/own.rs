//! The user's own classes: a small TOML file, quantities as text with their units.
//!
//! In: the file. Out: classes, or an error with line and column. A key that is not known, or that the way of measuring does
//! not take, is an error, so that a misspelt one is not passed over.
//!
//! ```toml
//! [[class]]
//! name = "hall"                                   # what --class takes
//! for = "sports hall"                             # optional, as is the line below
//! standard = "contract, clause 4"
//!
//! [[class.requirement]]
//! measure = "straightedge"
//! length = "2 m"
//! limit = "3 mm"
//!
//! [[class.requirement]]
//! measure = "by-distance"
//! limits = ["2 mm at 0.1 m", "4 mm at 1 m", "10 mm at 4 m"]
//! whole_mm = true                                 # rounded, half up; without it not at all
//! ```

use std::borrow::Cow;

use serde::Deserialize;
use toml::Spanned;

use super::{Allowed, Class, Part, Requirement, Rule, Seen, classes};
use crate::error::{Error, Result};
use crate::survey::Source;
use crate::units::Length;
use crate::written::{self, Text, Written};

/// Distances of a tabled limit: more would only cost time.
const MOST_DISTANCES: usize = 100;

/// The widest limit that is one, m: beyond it a figure has the wrong unit.
const WIDEST: f64 = 1.0;

/// The ways of measuring as they are written, with the keys that each takes.
pub const MEASURES: [(&str, &str); 14] = [
    ("straightedge", "length, limit"),
    ("by-distance", "limits, whole_mm"),
    ("end-shims", "length, limit"),
    ("grid", "length, limit"),
    ("level", "limit or limits, from, to"),
    ("band", "limit, datum"),
    ("step", "length, limit"),
    ("differences", "length, limit"),
    ("second-differences", "length, limit"),
    ("ff", "least"),
    ("fl", "least"),
    ("ff-local", "least"),
    ("fl-local", "least"),
    ("waviness", "limit"),
];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    class: Vec<OwnClass>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OwnClass {
    name: Text,
    #[serde(rename = "for")]
    title: Option<String>,
    standard: Option<String>,
    requirement: Vec<Demand>,
}

/// A requirement as it is written; which keys belong depends on the first.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Demand {
    measure: Text,
    length: Option<Text>,
    limit: Option<Text>,
    limits: Option<Vec<Text>>,
    whole_mm: Option<Spanned<bool>>,
    from: Option<Text>,
    to: Option<Text>,
    datum: Option<Text>,
    least: Option<Spanned<f64>>,
}

/// Reads a file of classes.
///
/// # Errors
/// [`Error::Read`]; [`Error::Input`] as [`parse`].
pub fn read(source: &Source) -> Result<Vec<Class>> {
    let wanted = "classes in TOML, such as [[class]], name = \"hall\"";
    parse(&written::text(source, wanted)?, source.name())
}

/// Reads classes from `text`; `file` is its name in errors and as their source.
///
/// # Errors
/// [`Error::Input`] with line and column: no TOML, a key unknown, missing or out of place, a value that is not the
/// quantity it should be, a name that is taken.
pub fn parse(text: &str, file: &str) -> Result<Vec<Class>> {
    let reader = Reader(Written { text, file });
    let written: File = reader
        .0
        .parse("classes with the keys that the README lists")?;
    let mut own: Vec<Class> = Vec::new();
    for class in written.class {
        let taken = |other: &Class| other.name.eq_ignore_ascii_case(class.name.get_ref());
        if class.name.get_ref().trim().is_empty() || class.name.get_ref().contains('@') {
            return Err(reader.0.wrong(&class.name, "a name without @"));
        }
        if own.iter().any(taken) || classes().any(|other| taken(&other)) {
            return Err(reader
                .0
                .wrong(&class.name, "a name that no other class has"));
        }
        if class.requirement.is_empty() {
            return Err(reader
                .0
                .wrong(&class.name, "a [[class.requirement]] under the class"));
        }
        own.push(reader.class(class)?);
    }
    Ok(own)
}

/// Turns what is written into classes.
struct Reader<'a>(Written<'a>);

impl Reader<'_> {
    fn class(&self, written: OwnClass) -> Result<Class> {
        let requirement = |demand| {
            Ok(Requirement {
                rule: self.rule(demand)?,
                source: Cow::Owned(self.0.file.to_owned()),
                seen: Seen::Own,
            })
        };
        Ok(Class {
            name: written.name.into_inner(),
            title: written.title.unwrap_or_else(|| "your own class".to_owned()),
            standard: written.standard.unwrap_or_else(|| self.0.file.to_owned()),
            requirements: written
                .requirement
                .into_iter()
                .map(requirement)
                .collect::<Result<_>>()?,
        })
    }

    /// The rule of a requirement; keys are taken out of it, so that what is left over does not belong.
    fn rule(&self, mut demand: Demand) -> Result<Rule> {
        let measure = demand.measure.clone();
        let rule = match measure.get_ref().as_str() {
            "straightedge" => {
                let (length, limit) = self.length_and_limit(&mut demand)?;
                Rule::Straightedge { length, limit }
            }
            "end-shims" => {
                let (length, limit) = self.length_and_limit(&mut demand)?;
                Rule::EndShims { length, limit }
            }
            "grid" => {
                let (pitch, limit) = self.length_and_limit(&mut demand)?;
                Rule::GridMethod { pitch, limit }
            }
            "step" => {
                let (within, limit) = self.length_and_limit(&mut demand)?;
                Rule::Step { within, limit }
            }
            "differences" => {
                let (apart, limit) = self.length_and_limit(&mut demand)?;
                Rule::Differences { apart, limit }
            }
            "second-differences" => {
                let (apart, limit) = self.length_and_limit(&mut demand)?;
                Rule::SecondDifferences { apart, limit }
            }
            "by-distance" => Rule::ByDistance {
                row: self.limits(&measure, demand.limits.take())?.into(),
                whole_mm: demand.whole_mm.take().is_some_and(Spanned::into_inner),
            },
            "level" => self.level(&mut demand)?,
            "band" => Rule::Band {
                datum: self.optional(demand.datum.take())?,
                limit: self.limit(&measure, demand.limit.take())?,
            },
            "ff" => self.flatness(&mut demand, Part::Overall)?,
            "ff-local" => self.flatness(&mut demand, Part::Local)?,
            "fl" => self.levelness(&mut demand, Part::Overall)?,
            "fl-local" => self.levelness(&mut demand, Part::Local)?,
            "waviness" => Rule::Waviness {
                limit: self.limit(&measure, demand.limit.take())?,
            },
            _ => {
                let names: Vec<_> = MEASURES.iter().map(|(name, _)| *name).collect();
                return Err(self
                    .0
                    .wrong(&measure, format!("one of {}", names.join(", "))));
            }
        };
        self.nothing_left(&demand)?;
        Ok(rule)
    }

    fn level(&self, demand: &mut Demand) -> Result<Rule> {
        let measure = demand.measure.clone();
        let allowed = match demand.limits.take() {
            Some(limits) => Allowed::Steps(self.limits(&measure, Some(limits))?.into()),
            None => Allowed::Fixed(self.limit(&measure, demand.limit.take())?),
        };
        let from = self.optional(demand.from.take())?.unwrap_or(0.0);
        let Some(to) = demand.to.take() else {
            let to = f64::INFINITY;
            return Ok(Rule::Level { from, to, allowed });
        };
        match self.length(&to)? {
            far if far > from && from >= 0.0 => Ok(Rule::Level {
                from,
                to: far,
                allowed,
            }),
            _ => Err(self.0.wrong(
                &to,
                "a longer distance than `from`, which is not below zero",
            )),
        }
    }

    fn flatness(&self, demand: &mut Demand, part: Part) -> Result<Rule> {
        let least = self.least(demand)?;
        Ok(Rule::FlatnessNumber { part, least })
    }

    fn levelness(&self, demand: &mut Demand, part: Part) -> Result<Rule> {
        let least = self.least(demand)?;
        Ok(Rule::LevelnessNumber { part, least })
    }

    fn least(&self, demand: &mut Demand) -> Result<f64> {
        let least = self.there(&demand.measure, demand.least.take(), "least")?;
        match *least.get_ref() {
            value if value.is_finite() && value > 0.0 => Ok(value),
            value => Err(Error::input(
                self.0.place(&least.span()),
                format!("'{value}'"),
                "a number above zero",
            )),
        }
    }

    fn length_and_limit(&self, demand: &mut Demand) -> Result<(f64, f64)> {
        let length = self.there(&demand.measure, demand.length.take(), "length")?;
        let metres = self.length(&length)?;
        if metres <= 0.0 {
            return Err(self.0.wrong(&length, "more than zero"));
        }
        let limit = self.limit(&demand.measure, demand.limit.take())?;
        Ok((metres, limit))
    }

    fn limit(&self, measure: &Text, limit: Option<Text>) -> Result<f64> {
        let limit = self.there(measure, limit, "limit")?;
        match self.length(&limit)? {
            metres if metres > 0.0 && metres < WIDEST => Ok(metres),
            _ => Err(self.0.wrong(&limit, "a limit above zero and below a metre")),
        }
    }

    /// Limits such as `4 mm at 1 m`, both rising.
    fn limits(&self, measure: &Text, limits: Option<Vec<Text>>) -> Result<Vec<(f64, f64)>> {
        let limits = self.there(measure, limits, "limits")?;
        if limits.is_empty() || limits.len() > MOST_DISTANCES {
            let found = format!("{} limits", limits.len());
            let wanted = format!("1 to {MOST_DISTANCES}");
            return Err(Error::input(self.0.place(&measure.span()), found, wanted));
        }
        let mut table: Vec<(f64, f64)> = Vec::new();
        for pair in &limits {
            let wanted = "a limit at a distance, such as 4 mm at 1 m";
            let read = pair
                .get_ref()
                .split_once(" at ")
                .and_then(|(limit, distance)| {
                    let metres = |text: &str| text.parse::<Length>().map(Length::m).ok();
                    Some((metres(distance)?, metres(limit)?))
                });
            let (distance, limit) = read.ok_or_else(|| self.0.wrong(pair, wanted))?;
            let rising = table
                .last()
                .is_none_or(|&(before, least)| distance > before && limit >= least);
            if !(rising && distance > 0.0 && limit > 0.0 && limit < WIDEST) {
                let wanted =
                    "distances that rise, and limits above zero, below a metre, that do not fall";
                return Err(self.0.wrong(pair, wanted));
            }
            table.push((distance, limit));
        }
        Ok(table)
    }

    fn length(&self, value: &Text) -> Result<f64> {
        self.0.quantity(value, Length::m)
    }

    fn optional(&self, value: Option<Text>) -> Result<Option<f64>> {
        value.map(|value| self.length(&value)).transpose()
    }

    fn there<T>(&self, measure: &Text, value: Option<T>, key: &str) -> Result<T> {
        value.ok_or_else(|| {
            let found = format!("no `{key}`");
            Error::input(self.0.place(&measure.span()), found, self.keys(measure))
        })
    }

    /// What a way of measuring takes.
    fn keys(&self, measure: &Text) -> String {
        let takes = MEASURES.iter().find(|(name, _)| name == measure.get_ref());
        let takes = takes.map_or("other keys", |(_, keys)| keys);
        format!("with {}: {takes}", measure.get_ref())
    }

    fn nothing_left(&self, demand: &Demand) -> Result<()> {
        let start = |value: &Option<Text>| value.as_ref().map(Spanned::span);
        let limits = demand.limits.as_ref().and_then(|all| all.first());
        let left = [
            ("length", start(&demand.length)),
            ("limit", start(&demand.limit)),
            ("limits", limits.map(Spanned::span)),
            ("whole_mm", demand.whole_mm.as_ref().map(Spanned::span)),
            ("from", start(&demand.from)),
            ("to", start(&demand.to)),
            ("datum", start(&demand.datum)),
            ("least", demand.least.as_ref().map(Spanned::span)),
        ];
        match left.into_iter().find_map(|(key, at)| Some((key, at?))) {
            Some((key, at)) => Err(Error::input(
                self.0.place(&at),
                format!("`{key}`"),
                self.keys(&demand.measure),
            )),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HALL: &str = r#"[[class]]
name = "hall"
standard = "contract, clause 4"

[[class.requirement]]
measure = "straightedge"
length = "10 ft"
limit = "1/8 in"

[[class.requirement]]
measure = "by-distance"
limits = ["2 mm at 0.1 m", "4 mm at 1 m"]
whole_mm = true
"#;

    fn error(text: &str) -> String {
        parse(text, "own.toml").expect_err(text).to_string()
    }

    #[test]
    fn a_class_is_read_with_all_that_it_demands() {
        let own = parse(HALL, "own.toml").expect("a class");
        let class = &own[0];
        assert_eq!(
            (class.name.as_str(), class.standard.as_str()),
            ("hall", "contract, clause 4")
        );
        assert_eq!(class.requirements.len(), 2);
        let Rule::Straightedge { length, limit } = class.requirements[0].rule else {
            panic!("{class:?}")
        };
        assert!((length - 3.048).abs() < 1e-12 && (limit - 0.003175).abs() < 1e-12);
        let table = vec![(0.1, 0.002), (1.0, 0.004)].into();
        assert_eq!(
            class.requirements[1].rule,
            Rule::ByDistance {
                row: table,
                whole_mm: true
            }
        );
        assert_eq!(super::super::parse_class("HALL", &own).as_ref(), Ok(class));
    }

    /// Every way of measuring can be written, with the keys that its line of [`MEASURES`] lists.
    #[test]
    fn every_way_of_measuring_can_be_written() {
        for (measure, keys) in MEASURES {
            let mut text = format!(
                "[[class]]\nname = \"x\"\n[[class.requirement]]\nmeasure = \"{measure}\"\n"
            );
            for key in keys.split(", ") {
                text += match key {
                    "length" => "length = \"1 m\"\n",
                    "limit" => "limit = \"3 mm\"\n",
                    "limit or limits" | "limits" => "limits = [\"3 mm at 1 m\"]\n",
                    "whole_mm" => "whole_mm = true\n",
                    "from" => "from = \"1 m\"\n",
                    "to" => "to = \"5 m\"\n",
                    "datum" => "datum = \"-2 mm\"\n",
                    "least" => "least = 25.0\n",
                    other => panic!("{other}"),
                };
            }
            assert!(parse(&text, "own.toml").is_ok(), "{text}");
        }
    }

    #[test]
    fn what_is_wrong_is_named_with_line_and_column() {
        let unit = error(&HALL.replace("1/8 in", "1/8"));
        assert!(
            unit.starts_with("own.toml, line 8, column 9: found '1/8'"),
            "{unit}"
        );
        let key = error(&HALL.replace("whole_mm = true", "least = 3.0"));
        assert!(
            key.starts_with("own.toml, line 13") && key.contains("by-distance: limits"),
            "{key}"
        );
        let missing = error(&HALL.replace("limit = \"1/8 in\"\n", ""));
        assert!(
            missing.contains("line 6") && missing.contains("no `limit`"),
            "{missing}"
        );
        let unknown = error(&HALL.replace("whole_mm", "whole_mn"));
        assert!(
            unknown.contains("line 13") && unknown.contains("whole_mn"),
            "{unknown}"
        );
        for (from, to) in [
            ("\"hall\"", "\"SR1\""),
            ("\"hall\"", "\"3mm@2m\""),
            ("straightedge", "laser"),
            ("10 ft", "-10 ft"),
            ("4 mm at 1 m", "1 mm at 1 m"),
            ("4 mm at 1 m", "4 mm at 0.1 m"),
            ("4 mm at 1 m", "4 mm"),
            ("4 mm at 1 m", "4 m at 1 m"),
        ] {
            assert!(parse(&HALL.replace(from, to), "own.toml").is_err(), "{to}");
        }
        assert!(parse("[[class]]\nname = \"x\"\nrequirement = []\n", "own.toml").is_err());
    }
}
