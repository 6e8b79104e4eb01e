//! The tolerance classes that floors are judged by: data, each figure with its source.
//!
//! In: a name (`SR2`), `GAP@LENGTH` (`3mm@2m`), or a file of the user's own classes (see [`own`]). Out: a [`Class`]: how
//! it is measured, and the limit.
//! A standard is one file beside this one and one line in [`STANDARDS`]; `lowspot classes`, `--class`, the verdicts and
//! the README's table all read that list.
//! Not here: whether a floor meets a class (see `flatness::verdict`). No standard's text was at hand in whole: figures
//! come from public excerpts, and those that come from memory say so wherever they are shown.

use std::borrow::Cow;

use crate::units::{Length, System};

mod allowed;
pub mod australia;
pub mod belgium;
pub mod bs8204;
pub mod coverings;
pub mod din18202;
pub mod france;
pub mod nhbc;
pub mod own;
pub mod rule;
pub mod sweden;
pub mod tr34;
pub mod united_states;

pub use allowed::Allowed;
pub use rule::{Part, Rule};

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

/// One thing that a class demands.
#[derive(Debug, Clone, PartialEq)]
pub struct Requirement {
    /// How it is measured and what is allowed.
    pub rule: Rule,
    /// Where the figure was found.
    pub source: Cow<'static, str>,
    /// Whether it was seen there.
    pub seen: Seen,
}

impl Requirement {
    /// A figure read in `source`.
    pub const fn read(rule: Rule, source: &'static str) -> Self {
        Self {
            rule,
            source: Cow::Borrowed(source),
            seen: Seen::Read,
        }
    }

    /// A figure that nobody looked up; `whose` says what it is thought to stand in.
    pub const fn from_memory(rule: Rule, whose: &'static str) -> Self {
        Self {
            rule,
            source: Cow::Borrowed(whose),
            seen: Seen::FromMemory,
        }
    }
}

/// One class of one standard: a floor is within if it meets every requirement.
#[derive(Debug, Clone, PartialEq)]
pub struct Class {
    /// What `--class` takes.
    pub name: String,
    /// What it is for.
    pub title: String,
    /// The standard and its edition.
    pub standard: String,
    /// What it demands: at least one thing.
    pub requirements: Vec<Requirement>,
}

impl Class {
    /// Whether a word (lower case) stands in anything that is shown of the class.
    pub fn mentions(&self, word: &str) -> bool {
        let shown = [&self.name, &self.title, &self.standard];
        shown.iter().any(|text| text.to_lowercase().contains(word))
            || self.requirements.iter().any(|requirement| {
                let rule = requirement.rule.describe(System::Metric);
                let remark = requirement.seen.remark();
                [requirement.source.as_ref(), &rule, remark]
                    .iter()
                    .any(|text| text.to_lowercase().contains(word))
            })
    }

    /// Where its figures were found, each source once.
    pub fn sources(&self) -> String {
        let mut sources: Vec<_> = self
            .requirements
            .iter()
            .map(|one| one.source.as_ref())
            .collect();
        sources.dedup();
        sources.join("; ")
    }

    /// What is put beside its figures, if anything: a single figure from memory is enough.
    pub fn remark(&self) -> &'static str {
        self.requirements
            .iter()
            .map(|one| one.seen.remark())
            .find(|remark| !remark.is_empty())
            .unwrap_or_default()
    }

    /// What it allows over the longest length that it judges flatness by, m; a tabled limit at `usual` metres. None for
    /// a class of levels alone.
    pub fn flatness_limit(&self, usual: f64) -> Option<f64> {
        self.requirements
            .iter()
            .filter_map(|one| one.rule.flatness(usual))
            .max_by(|(a, _), (b, _)| a.total_cmp(b))
            .map(|(_, limit)| limit)
    }
}

/// A row of a standard's table.
pub struct Row {
    /// What `--class` takes.
    pub name: &'static str,
    /// What it is for.
    pub title: &'static str,
    /// What it demands.
    pub requirements: &'static [Requirement],
}

/// A published standard: pure data.
pub struct Standard {
    /// Its number and edition.
    pub name: &'static str,
    /// Its classes.
    pub rows: &'static [Row],
}

/// Every standard lowspot knows.
pub const STANDARDS: &[Standard] = &[
    bs8204::STANDARD,
    bs8204::TILING,
    tr34::STANDARD,
    nhbc::STANDARD,
    din18202::TABLE_3,
    din18202::TABLE_2,
    france::DTU_13_3,
    france::DTU_26_2,
    france::DTU_52_1,
    france::DTU_52_2,
    belgium::STANDARD,
    sweden::STANDARD,
    united_states::ACI_117,
    united_states::ACI_117_F,
    united_states::ASTM_F710,
    united_states::ANSI_A108,
    australia::AS_1884,
    australia::AS_3958,
    united_states::NAHB,
    coverings::WOOD,
    coverings::MAPLE,
    coverings::PARQUET,
];

/// All classes, in the order of the table.
pub fn classes() -> impl Iterator<Item = Class> {
    STANDARDS.iter().flat_map(|standard| {
        standard.rows.iter().map(|row| Class {
            name: row.name.to_owned(),
            title: row.title.to_owned(),
            standard: standard.name.to_owned(),
            requirements: row.requirements.to_vec(),
        })
    })
}

/// The class that `text` names: one of the user's `own`, one of the table, or a gap and a length such as `3mm@2m`.
///
/// # Errors
/// A sentence that says what would have been understood.
pub fn parse_class(text: &str, own: &[Class]) -> Result<Class, String> {
    if let Some((gap, length)) = text.split_once('@') {
        return own_class(text, gap, length);
    }
    own.iter()
        .cloned()
        .chain(classes())
        .find(|class| class.name.eq_ignore_ascii_case(text.trim()))
        .ok_or_else(|| {
            "a class of `lowspot classes`, such as SR1 or DIN18202-3, one of --classes, or GAP@LENGTH such as 3mm@2m"
                .to_owned()
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
        requirements: vec![Requirement {
            rule: Rule::Straightedge { length, limit },
            source: Cow::Borrowed("the command line"),
            seen: Seen::Own,
        }],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_are_found_by_name_in_any_case() {
        let limit = parse_class("sr1", &[]).map(|class| class.flatness_limit(2.0));
        assert_eq!(limit, Ok(Some(0.003)));
        assert!(parse_class("SR9", &[]).is_err_and(|wanted| wanted.contains("SR1")));
    }

    #[test]
    fn own_limits_carry_both_units() {
        let class = parse_class("1/8in@10ft", &[]).expect("a gap and a length");
        assert_eq!(class.requirements[0].rule.length(), Some(10.0 * 0.3048));
        let limit = class.flatness_limit(2.0).expect("a gap");
        assert!((limit - 0.003175).abs() < 1e-15);
        for text in [
            "3@2m",
            "3mm@2",
            "0mm@2m",
            "-3mm@2m",
            "3m@2m",
            "@",
            "3mm@2m@1m",
        ] {
            assert!(parse_class(text, &[]).is_err(), "{text}");
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

    #[test]
    fn every_class_is_complete_and_shows_what_comes_from_memory() {
        for class in classes() {
            assert!(!class.requirements.is_empty(), "{}", class.name);
            for requirement in &class.requirements {
                assert!(!requirement.source.is_empty(), "{}", class.name);
                assert_ne!(requirement.seen, Seen::Own, "{}", class.name);
            }
        }
        let remark = |name| parse_class(name, &[]).map(|class| class.remark());
        assert_eq!(remark("ACI117-FLAT"), Ok(Seen::FromMemory.remark()));
        assert_eq!(remark("SR1"), Ok(""));
    }

    #[test]
    fn the_spots_of_a_class_are_judged_by_its_longest_edge() {
        let limit = |name| parse_class(name, &[]).map(|class| class.flatness_limit(2.0));
        // 1/4 in in 10 ft and 1/16 in in 1 ft.
        assert_eq!(limit("A108-SMALL"), Ok(Some(0.25 * 0.0254)));
        // 6 mm at 2 m.
        assert_eq!(limit("DIN18202-3"), Ok(Some(0.006)));
        assert_eq!(limit("DIN18202-LEVEL"), Ok(None));
    }
}
