//! Reading a job file.
//!
//! In: TOML. Out: a [`JobFile`], or an error with the line of what is wrong. A key that is not known is an error.

use std::path::Path;

use super::settings::{A_PLACE, corner_of, file, files};
use super::{Benchmark, Floor, JobFile, Settings, short_name};
use crate::error::{Error, Result};
use crate::findings::house::Heading;
use crate::pour::FixedLevel;
use crate::survey::Source;
use crate::units::Length;
use crate::written::{self, Table, Text, Written};

/// More floors than this are no job but a city.
const MOST_FLOORS: usize = 100;

/// More fixed levels than this no floor has.
const MOST_FIXED: usize = 100;

/// More corners than this no edge has.
const MOST_CORNERS: usize = 20;

impl JobFile {
    /// Reads a job file.
    ///
    /// # Errors
    /// [`Error::Read`]; [`Error::Input`] as [`JobFile::parse`].
    pub fn read(source: &Source) -> Result<Self> {
        let text = written::text(source, "a job in TOML, such as job = \"...\", [[floor]]")?;
        let folder = Path::new(source.name()).parent();
        Self::parse(&text, source.name(), folder.unwrap_or(Path::new("")))
    }

    /// Reads a job from `text`; `file` is its name in errors, `folder` is where the names of files start from.
    ///
    /// # Errors
    /// [`Error::Input`] with line and column: no TOML, a key unknown or missing, a value that is not what it should be, a
    /// floor without a name of its own, no floor or more than a hundred. Whatever keeps the user's own classes from
    /// being read; no other file is opened.
    pub fn parse(text: &str, file: &str, folder: &Path) -> Result<Self> {
        let written = Written { text, file };
        let mut table = written.table()?;
        let heading = heading(&mut table)?;
        let of_job = Settings::read(&mut table, folder, &[])?;
        let tables = table.tables("floor")?;
        if tables.is_empty() || tables.len() > MOST_FLOORS {
            let found = format!("{} floors", tables.len());
            let wanted = format!("1 to {MOST_FLOORS}, each below a line [[floor]]");
            return Err(Error::input(table.place(), found, wanted));
        }
        table.done()?;
        let mut floors: Vec<Floor> = Vec::new();
        for table in tables {
            let floor = floor(table, folder, &of_job, &floors)?;
            floors.push(floor);
        }
        Ok(Self {
            file: file.to_owned(),
            heading,
            floors,
        })
    }
}

fn heading(table: &mut Table) -> Result<Heading> {
    let title = table.required("job")?.into_inner();
    let mut plain = |key| Ok(table.text(key)?.map(Text::into_inner));
    Ok(Heading {
        title,
        client: plain("client")?,
        address: plain("address")?,
        by: plain("by")?,
        date: plain("date")?,
        remarks: table
            .texts("remarks")?
            .into_iter()
            .map(Text::into_inner)
            .collect(),
    })
}

/// A floor; `others` come before it.
fn floor(mut table: Table, folder: &Path, of_job: &Settings, others: &[Floor]) -> Result<Floor> {
    let written = table.written();
    let name = table.required("name")?;
    let short = short_name(name.get_ref());
    if short.is_empty() {
        return Err(written.wrong(&name, "a name with letters or digits"));
    }
    if others.iter().any(|other| other.short_name() == short) {
        let wanted = "a name that no other floor has, small letters and capitals alike";
        return Err(written.wrong(&name, wanted));
    }
    let survey = files(&mut table, "survey", folder)?;
    if survey.is_empty() {
        return Err(table.missing("survey"));
    }
    let own = of_job.own_classes.as_ref().map_or(&[][..], |(_, own)| own);
    let floor = Floor {
        place: written.place(&name.span()),
        name: name.into_inner(),
        survey,
        after: files(&mut table, "after", folder)?,
        outline: file(&mut table, "outline", folder)?,
        floor_height: table.quantity("floor_height", Length::m)?,
        benchmark: benchmark(&mut table)?,
        fixed: fixed_levels(&mut table)?,
        settings: Settings::read(&mut table, folder, own)?.or(of_job),
        bags_used: Vec::new(),
    };
    let bags_used = bags_used(&mut table, floor.settings.compounds.len())?;
    table.done()?;
    Ok(Floor { bags_used, ..floor })
}

/// One number for each of the compounds.
fn bags_used(table: &mut Table, compounds: usize) -> Result<Vec<f64>> {
    let bags = table.numbers("bags_used")?;
    match bags.first() {
        Some(first) if bags.len() != compounds => {
            let found = format!("numbers of bags: {}", bags.len());
            let wanted = format!("{compounds}, one for each compound sheet");
            let place = table.written().place(&first.span());
            Err(Error::input(place, found, wanted))
        }
        Some(_) | None => Ok(bags.into_iter().map(|bags| bags.into_inner()).collect()),
    }
}

fn benchmark(table: &mut Table) -> Result<Option<Benchmark>> {
    let Some(mut mark) = table.table("benchmark")? else {
        return Ok(None);
    };
    let mut height = |key| {
        let text = mark.required(key)?;
        mark.written().quantity(&text, Length::m)
    };
    let (before, after) = (height("before")?, height("after")?);
    mark.done()?;
    Ok(Some(Benchmark { before, after }))
}

fn fixed_levels(table: &mut Table) -> Result<Vec<FixedLevel>> {
    let tables = table.tables("fixed")?;
    match tables.get(MOST_FIXED) {
        Some(one_more) => {
            let found = format!("{} fixed levels", tables.len());
            let wanted = format!("at most {MOST_FIXED} for a floor");
            Err(Error::input(one_more.place(), found, wanted))
        }
        None => tables.into_iter().map(fixed_level).collect(),
    }
}

fn fixed_level(mut table: Table) -> Result<FixedLevel> {
    let written = table.written();
    let name = table.required("name")?;
    let pairs = table.pairs("at", A_PLACE)?;
    match (pairs.first(), pairs.get(MOST_CORNERS)) {
        (None, _) => return Err(table.missing("at")),
        (_, Some([x, _])) => {
            return Err(written.wrong(x, format!("at most {MOST_CORNERS} corners of an edge")));
        }
        (Some(_), None) => {}
    }
    let (level, allowance) = (table.required("level")?, table.required("allowance")?);
    let fixed = FixedLevel {
        name: name.into_inner(),
        places: pairs
            .iter()
            .map(|pair| corner_of(written, pair))
            .collect::<Result<_>>()?,
        level: written.quantity(&level, Length::m)?,
        below: table.quantity("below", Length::m)?.unwrap_or(0.0),
        allowance: written.not_negative(&allowance, Length::m)?,
    };
    table.done()?;
    Ok(fixed)
}

#[cfg(test)]
mod tests;
