//! The keys of a job file that may stand for the whole job, for one floor, or for both.
//!
//! In: a table. Out: [`Settings`]; what a floor does not say, it has from the job.

use std::path::Path;

use super::Settings;
use crate::error::{Error, Result};
use crate::findings::Reference;
use crate::pour::cost::GrindRate;
use crate::run::{Fall, Finish, Pins, Shape};
use crate::survey::{FORMATS, Source, Up};
use crate::tolerance::{self, Class};
use crate::units::{Length, LengthUnit, NotAQuantity, Rate, Share, Volume};
use crate::written::{Table, Text, Written};

/// More hands than this are no crew.
const MOST_HANDS: f64 = 100.0;

/// A fall as steep as this is a wall, m per m.
const STEEPEST: f64 = 1.0;

/// What an error says a place on the plan should be.
pub(super) const A_PLACE: &str =
    "x and y on the plan with their units, such as [\"3.9 m\", \"0.2 m\"]";

impl Settings {
    /// Takes the settings out of a table. `folder` is the job file's; `own` are classes that the user has already.
    pub(super) fn read(table: &mut Table, folder: &Path, own: &[Class]) -> Result<Self> {
        let written = table.written();
        let own_classes = own_classes(table, folder)?;
        let own = own_classes.as_ref().map_or(own, |(_, classes)| classes);
        let class = |name: &Text| {
            tolerance::parse_class(name.get_ref(), own)
                .map_err(|wanted| written.wrong(name, wanted))
        };
        let edge = |edge: &Text| written.positive(edge, Length::m);
        let units = LengthUnit::ALL.map(|unit| (unit.symbol(), unit));
        let formats: Vec<_> = FORMATS.iter().map(|one| (one.name, one.name)).collect();
        let rate = |Rate(rate)| rate;
        Ok(Self {
            classes: table
                .texts("class")?
                .iter()
                .map(class)
                .collect::<Result<_>>()?,
            straightedges: table
                .texts("straightedge")?
                .iter()
                .map(edge)
                .collect::<Result<_>>()?,
            reference: table.one_of("reference", &Reference::ALL)?,
            u: table.positive("u", Length::m)?,
            tilt: table.positive("tilt", rate)?,
            units: table.one_of("units", &units)?,
            format: table.one_of("format", &formats)?,
            up: table.one_of("up", &Up::ALL)?,
            cell: table.positive("cell", Length::m)?,
            collimation: table.quantity("collimation", rate)?,
            compounds: files(table, "compound", folder)?,
            target: target(table)?,
            finish: finish(table)?,
            least_depth: table.positive("least_depth", Length::m)?,
            grind: grind(table)?,
            waste: waste(table)?,
            exit: exit(table)?,
            vessel: table.positive("vessel", |Volume(volume)| volume)?,
            crew: crew(table)?,
            pins: pins(table, folder)?,
            own_classes,
        })
    }

    /// These, and where they say nothing what is said `of_job`.
    pub(super) fn or(self, of_job: &Self) -> Self {
        fn first<T: Clone>(own: Vec<T>, other: &[T]) -> Vec<T> {
            if own.is_empty() { other.to_vec() } else { own }
        }
        Self {
            classes: first(self.classes, &of_job.classes),
            own_classes: self.own_classes.or_else(|| of_job.own_classes.clone()),
            straightedges: first(self.straightedges, &of_job.straightedges),
            reference: self.reference.or(of_job.reference),
            u: self.u.or(of_job.u),
            tilt: self.tilt.or(of_job.tilt),
            units: self.units.or(of_job.units),
            format: self.format.or(of_job.format),
            up: self.up.or(of_job.up),
            cell: self.cell.or(of_job.cell),
            collimation: self.collimation.or(of_job.collimation),
            compounds: first(self.compounds, &of_job.compounds),
            target: self.target.or(of_job.target),
            finish: self.finish.or(of_job.finish),
            least_depth: self.least_depth.or(of_job.least_depth),
            grind: self.grind.or_else(|| of_job.grind.clone()),
            waste: self.waste.or(of_job.waste),
            exit: self.exit.or(of_job.exit),
            vessel: self.vessel.or(of_job.vessel),
            crew: self.crew.or(of_job.crew),
            pins: self.pins.or_else(|| of_job.pins.clone()),
        }
    }
}

fn own_classes(table: &mut Table, folder: &Path) -> Result<Option<(String, Vec<Class>)>> {
    let file = file(table, "classes", folder)?;
    file.map(|file| {
        let classes = tolerance::own::read(&Source::new(&file)?)?;
        Ok((file, classes))
    })
    .transpose()
}

fn target(table: &mut Table) -> Result<Option<Shape>> {
    let kinds = [
        ("level", Shape::Level),
        ("plane", Shape::Plane(None)),
        ("least", Shape::Least),
    ];
    let target = table.one_of("target", &kinds)?;
    let Some(mut fall) = table.table("fall")? else {
        return Ok(target);
    };
    match target {
        Some(Shape::Plane(_)) | None => {}
        Some(Shape::Level | Shape::Least) => {
            let found = "a fall for a target that has none";
            return Err(Error::input(fall.place(), found, "target = \"plane\""));
        }
    }
    let rate = fall.required("rate")?;
    let towards = corner(&mut fall, "towards")?;
    let rate = slope(fall.written(), &rate)?;
    fall.done()?;
    Ok(Some(Shape::Plane(Some(Fall { rate, towards }))))
}

/// `1:80`, or a length in a distance.
fn slope(written: Written, rate: &Text) -> Result<f64> {
    let ratio = rate.get_ref().split_once(':');
    let slope =
        match ratio.map(|(one, many)| (one.trim().parse::<f64>(), many.trim().parse::<f64>())) {
            Some((Ok(one), Ok(many))) => one / many,
            Some(_) => f64::NAN,
            None => written.positive(rate, |Rate(rate)| rate)?,
        };
    if slope > 0.0 && slope < STEEPEST {
        Ok(slope)
    } else {
        Err(written.wrong(rate, "a fall such as 1:80 or 12.5 mm/m, below 1:1"))
    }
}

fn finish(table: &mut Table) -> Result<Option<Finish>> {
    let datum = table.quantity("datum", Length::m)?;
    let cover = table.text("cover")?;
    match (datum, cover) {
        (Some(_), Some(cover)) => Err(table
            .written()
            .wrong(&cover, "`datum` or `cover`, not both")),
        (Some(datum), None) => Ok(Some(Finish::Datum(datum))),
        (None, Some(cover)) => {
            let cover = table.written().quantity(&cover, Length::m)?;
            Ok(Some(Finish::Cover(cover)))
        }
        (None, None) => Ok(None),
    }
}

fn grind(table: &mut Table) -> Result<Option<GrindRate>> {
    let Some(text) = table.text("grind")? else {
        return Ok(None);
    };
    let rate: std::result::Result<GrindRate, NotAQuantity> = text.get_ref().parse();
    let wrong = |error: NotAQuantity| table.written().wrong(&text, error.wanted);
    rate.map(Some).map_err(wrong)
}

fn waste(table: &mut Table) -> Result<Option<f64>> {
    let Some(text) = table.text("waste")? else {
        return Ok(None);
    };
    match table.written().not_negative(&text, |Share(share)| share)? {
        share if share < 1.0 => Ok(Some(share)),
        _ => Err(table.written().wrong(&text, "0 % up to below 100 %")),
    }
}

fn crew(table: &mut Table) -> Result<Option<u32>> {
    let hands = table.numbers("crew")?;
    match &hands[..] {
        [] => Ok(None),
        [hands]
            if hands.get_ref().fract() == 0.0 && (1.0..=MOST_HANDS).contains(hands.get_ref()) =>
        {
            Ok(Some(*hands.get_ref() as u32))
        }
        [first, ..] => {
            let found = format!("{}", first.get_ref());
            let wanted = format!("one whole number of hands, 1 to {MOST_HANDS:.0}");
            Err(Error::input(
                table.written().place(&first.span()),
                found,
                wanted,
            ))
        }
    }
}

fn exit(table: &mut Table) -> Result<Option<[f64; 2]>> {
    let pairs = table.pairs("exit", A_PLACE)?;
    match &pairs[..] {
        [] => Ok(None),
        [pair] => corner_of(table.written(), pair).map(Some),
        [_, [second, _], ..] => Err(table.written().wrong(second, "one way out")),
    }
}

fn pins(table: &mut Table, folder: &Path) -> Result<Option<Pins>> {
    let Some(text) = table.text("pins")? else {
        return Ok(None);
    };
    let written = table.written();
    Ok(Some(match text.get_ref().parse::<Length>() {
        Ok(_) => Pins::Grid(written.positive(&text, Length::m)?),
        Err(_) => Pins::File(path(written, &text, folder)?),
    }))
}

/// One place that must be there.
fn corner(table: &mut Table, key: &'static str) -> Result<[f64; 2]> {
    match &table.pairs(key, A_PLACE)?[..] {
        [pair] => corner_of(table.written(), pair),
        [] => Err(table.missing(key)),
        [_, [second, _], ..] => Err(table.written().wrong(second, A_PLACE)),
    }
}

/// A place on the plan, m.
pub(super) fn corner_of(written: Written, [x, y]: &[Text; 2]) -> Result<[f64; 2]> {
    Ok([
        written.quantity(x, Length::m)?,
        written.quantity(y, Length::m)?,
    ])
}

/// Files, as they are opened.
pub(super) fn files(table: &mut Table, key: &'static str, folder: &Path) -> Result<Vec<String>> {
    let names = table.texts(key)?;
    names
        .iter()
        .map(|name| path(table.written(), name, folder))
        .collect()
}

/// One file, as it is opened.
pub(super) fn file(table: &mut Table, key: &'static str, folder: &Path) -> Result<Option<String>> {
    let name = table.text(key)?;
    name.map(|name| path(table.written(), &name, folder))
        .transpose()
}

fn path(written: Written, name: &Text, folder: &Path) -> Result<String> {
    match name.get_ref().as_str() {
        "" | "-" => Err(written.wrong(name, "the name of a file, from the job file's folder")),
        name => Ok(folder.join(name).to_string_lossy().into_owned()),
    }
}
