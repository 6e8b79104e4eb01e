//! The tolerance classes that floors are judged by: data, each figure with its source.
//!
//! In: a name (`SR2`) or `GAP@LENGTH` (`3mm@2m`). Out: a [`Class`]: how it is measured, and the limit.
//! A standard is one file beside this one and one line in [`STANDARDS`]; `lowspot classes`, `--class`, the verdicts and
//! the README's table all read that list.
//! Not here: whether a floor meets a class (see `flatness::verdict`). No standard's text was at hand in whole: figures
//! come from public excerpts, and those that come from memory say so wherever they are shown.

use crate::units::Length;

pub mod bs8204;

/// How a floor is measured for a class.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// A straightedge of this length (m) resting on the floor: the gap beneath it, between its contacts.
    Straightedge {
        /// Length of the edge, m.
        length: f64,
    },
}

impl Rule {
    /// How a person is told to measure it.
    pub fn describe(self) -> String {
        match self {
            Self::Straightedge { length } => {
                format!(
                    "widest gap under a {length} m straightedge, between its contacts with the floor"
                )
            }
        }
    }
}

/// Whether whoever entered a figure saw it in a source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seen {
    /// Read in the source named.
    Read,
    /// Known from memory: check against your copy.
    FromMemory,
    /// Not a published figure: the user's own.
    Own,
}

impl Seen {
    /// What is put beside the figure, if anything.
    pub fn remark(self) -> &'static str {
        match self {
            Self::Read | Self::Own => "",
            Self::FromMemory => "from memory: check against your copy",
        }
    }
}

/// One class of one standard.
#[derive(Debug, Clone, PartialEq)]
pub struct Class {
    /// What `--class` takes.
    pub name: String,
    /// What it is for.
    pub title: String,
    /// The standard and its edition.
    pub standard: String,
    /// How it is measured.
    pub rule: Rule,
    /// The largest value allowed, m.
    pub limit: f64,
    /// Where the figure was found.
    pub source: String,
    /// Whether it was seen there.
    pub seen: Seen,
}

impl Class {
    /// Whether a word (lower case) stands in anything that is shown of the class.
    pub fn mentions(&self, word: &str) -> bool {
        [
            &self.name,
            &self.title,
            &self.standard,
            &self.source,
            &self.rule.describe(),
        ]
        .iter()
        .any(|text| text.to_lowercase().contains(word))
    }
}

/// A row of a standard's table.
pub struct Row {
    /// What `--class` takes.
    pub name: &'static str,
    /// What it is for.
    pub title: &'static str,
    /// How it is measured.
    pub rule: Rule,
    /// The largest value allowed, m.
    pub limit: f64,
    /// Where the figure was found.
    pub source: &'static str,
    /// Whether it was seen there.
    pub seen: Seen,
}

/// A published standard: pure data.
pub struct Standard {
    /// Its number and edition.
    pub name: &'static str,
    /// Its classes.
    pub rows: &'static [Row],
}

/// Every standard lowspot knows.
pub const STANDARDS: &[Standard] = &[bs8204::STANDARD];

/// All classes, in the order of the table.
pub fn classes() -> impl Iterator<Item = Class> {
    STANDARDS.iter().flat_map(|standard| {
        standard.rows.iter().map(|row| Class {
            name: row.name.to_owned(),
            title: row.title.to_owned(),
            standard: standard.name.to_owned(),
            rule: row.rule,
            limit: row.limit,
            source: row.source.to_owned(),
            seen: row.seen,
        })
    })
}

/// The class that `text` names: one of the table, or a gap and a length such as `3mm@2m`.
///
/// # Errors
/// A sentence that says what would have been understood.
pub fn parse_class(text: &str) -> Result<Class, String> {
    if let Some((gap, length)) = text.split_once('@') {
        return own_class(text, gap, length);
    }
    classes()
        .find(|class| class.name.eq_ignore_ascii_case(text.trim()))
        .ok_or_else(|| {
            let names: Vec<_> = classes().map(|class| class.name).collect();
            format!(
                "a class of `lowspot classes` ({}) or GAP@LENGTH such as 3mm@2m",
                names.join(", ")
            )
        })
}

fn own_class(text: &str, gap: &str, length: &str) -> Result<Class, String> {
    let parse = |part: &str| {
        part.parse::<Length>()
            .map(Length::m)
            .map_err(|error| error.to_string())
    };
    let (limit, length) = (parse(gap)?, parse(length)?);
    if limit <= 0.0 || length <= 0.0 || limit >= length {
        return Err("a gap above zero under a longer straightedge, such as 3mm@2m".to_owned());
    }
    Ok(Class {
        name: text.trim().to_owned(),
        title: "as asked for".to_owned(),
        standard: "your own limit".to_owned(),
        rule: Rule::Straightedge { length },
        limit,
        source: "the command line".to_owned(),
        seen: Seen::Own,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_are_found_by_name_in_any_case() {
        assert_eq!(parse_class("sr1").map(|class| class.limit), Ok(0.003));
        assert!(parse_class("SR9").is_err_and(|wanted| wanted.contains("SR1")));
    }

    #[test]
    fn own_limits_carry_both_units() {
        let class = parse_class("1/8in@10ft").expect("a gap and a length");
        assert_eq!(
            class.rule,
            Rule::Straightedge {
                length: 10.0 * 0.3048
            }
        );
        assert!((class.limit - 0.003175).abs() < 1e-15);
        for text in [
            "3@2m",
            "3mm@2",
            "0mm@2m",
            "-3mm@2m",
            "3m@2m",
            "@",
            "3mm@2m@1m",
        ] {
            assert!(parse_class(text).is_err(), "{text}");
        }
    }

    #[test]
    fn names_are_unique() {
        let mut names: Vec<_> = classes().map(|class| class.name.to_lowercase()).collect();
        names.sort();
        let all = names.len();
        names.dedup();
        assert_eq!(names.len(), all);
    }
}
