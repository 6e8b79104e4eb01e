//! Levelling for people: the reduced book, the ties between set-ups, the two-peg test.
//!
//! In: reductions, networks and two-peg tests. Out: lines and tables.

use super::{Page, verdict_word};
use crate::findings::LevelCheck;
use crate::flatness::verdict::Verdict;
use crate::survey::setups::Network;
use crate::survey::{ReducedRow, Reduction};
use crate::units::{MILLIMETRE, System};

/// Ties that the summary lists; the JSON has them all.
const TIES_SHOWN: usize = 40;

/// Columns as wide as their widest cell, numbers to the right, two spaces between.
fn table<const N: usize>(page: &mut Page, header: [&str; N], rows: Vec<[String; N]>) {
    let rows: Vec<[String; N]> = std::iter::once(header.map(str::to_owned))
        .chain(rows)
        .map(|row| row.map(|cell| plain(&cell)))
        .collect();
    let mut widths = [0; N];
    for row in &rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = cell.chars().count().max(*width);
        }
    }
    for row in &rows {
        let mut line = String::new();
        for (column, (cell, width)) in row.iter().zip(widths).enumerate() {
            line += &match column {
                0 => format!("{cell:<width$}"),
                _ => format!("  {cell:>width$}"),
            };
        }
        page.0 += line.trim_end();
        page.0 += "\n";
    }
}

/// Text of a file without what a terminal would obey.
fn plain(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).collect()
}

/// A level book by both methods, with its checks and how it closes.
pub(super) fn book(page: &mut Page, book: &Reduction, units: System) {
    let level = |metres| units.level(metres);
    let cell = |metres: Option<f64>| metres.map(level).unwrap_or_default();
    let closes = book.closing.is_some_and(|closing| closing.closes());
    let row = |row: &ReducedRow| {
        [
            row.point.clone(),
            cell(row.sights.back()),
            cell(row.sights.intermediate()),
            cell(row.sights.fore()),
            cell(row.collimation),
            cell(row.rise.filter(|rise| *rise >= 0.0)),
            cell(row.rise.filter(|rise| *rise < 0.0).map(f64::abs)),
            level(row.level),
            cell(closes.then_some(row.adjusted)),
        ]
    };
    page.line("book", format!("{}, in {}", book.file, units.level_unit()));
    let last = if closes { "adjusted" } else { "" };
    let header = [
        "point",
        "bs",
        "is",
        "fs",
        "collimation",
        "rise",
        "fall",
        "level",
        last,
    ];
    table(page, header, book.rows.iter().map(row).collect());
    let sums = |plus, minus| {
        let difference = level(plus - minus);
        format!("{} - {} = {difference}", level(plus), level(minus))
    };
    let of_sights = sums(book.back_sights, book.fore_sights);
    page.line("sums", format!("back - fore sights: {of_sights}"));
    let of_rises = sums(book.rises, book.falls);
    page.line("", format!("rises - falls: {of_rises}"));
    let difference = level(book.difference());
    page.line("", format!("last - first level: {difference}"));
    if let Some(closing) = book.closing {
        let done = if closes {
            "taken off in equal parts"
        } else {
            "not taken off"
        };
        let misclosure = units.signed_height(closing.misclosure);
        let allowance = units.height(closing.allowance);
        page.line(
            "closing",
            format!(
                "misclosure {misclosure} in {} set-ups, {allowance} allowed: {done}",
                book.setups
            ),
        );
    }
}

/// Set-ups and what is left over at the points that they share.
pub(super) fn setups(page: &mut Page, network: &Network, staff: bool, units: System) {
    let name = |name: &str| match name {
        "" => "without a name".to_owned(),
        name => plain(name),
    };
    let shared = network.points.iter().filter(|point| point.readings > 1);
    let tied = format!(
        "{}, tied by {} shared points",
        network.setups.len(),
        shared.count()
    );
    let what = if staff { "staff readings" } else { "heights" };
    let first = network
        .setups
        .first()
        .map_or(String::new(), |setup| name(&setup.name));
    page.line("set-ups", format!("{tied}; {what} are as from {first}"));
    for setup in &network.setups {
        let (named, height) = (name(&setup.name), units.signed_height(setup.height));
        let readings = setup.readings;
        page.line(
            "",
            format!("{named}: {readings} readings, line of sight at {height}"),
        );
    }
    let left = match network.scatter {
        Some(scatter) => format!(
            "one reading scatters by {}, redundancy {}",
            units.height(scatter),
            network.redundancy
        ),
        None => "nothing left over: no more points shared than needed".to_owned(),
    };
    page.line("", left);
    let rows: Vec<_> = network
        .shared()
        .map(|(point, setup, tie)| {
            let left = units.signed_height(tie.residual);
            [point.name.clone(), name(&setup.name), left]
        })
        .collect();
    let more = rows.len().saturating_sub(TIES_SHOWN);
    let shown = rows.into_iter().take(TIES_SHOWN).collect();
    table(page, ["shared point", "set-up", "left over"], shown);
    if more > 0 {
        page.line("", format!("and {more} more, see --json"));
    }
}

/// The summary of `level-check`.
pub fn level_check(found: &LevelCheck, units: System) -> String {
    let mut page = Page::default();
    let test = &found.test;
    let off = test.collimation.abs();
    let way = if test.collimation < 0.0 {
        "falls"
    } else {
        "rises"
    };
    let [rate, u] = [off, test.u(found.u)].map(|rate| units.slight_slope(rate));
    page.line(
        "level",
        format!("the line of sight {way} {rate} (known to {u})"),
    );
    page.line("", format!("{} in 30 m", units.height(30.0 * off)));
    for (limit, verdict) in &found.limits {
        let (title, source) = (limit.title, limit.source);
        let (word, most) = (verdict_word(*verdict), units.slight_slope(limit.rate));
        page.line(
            "limit",
            format!("{title}: {word}, at most {most} ({source})"),
        );
    }
    let unit = units.level_unit();
    for setup in &test.setups {
        let (name, difference) = (plain(&setup.name), units.level(setup.difference()));
        page.line("set-up", format!("{name}: difference {difference} {unit}"));
        for reading in &setup.readings {
            let (peg, read) = (plain(&reading.peg), units.level(reading.staff));
            let right = units.level(test.corrected(reading));
            page.line(
                "",
                format!("peg {peg}: read {read}, a level instrument reads {right} {unit}"),
            );
        }
    }
    let difference = units.level(test.true_difference);
    page.line("true", format!("difference {difference} {unit}"));
    page.line("to do", what_to_do(found));
    page.0
}

fn what_to_do(found: &LevelCheck) -> String {
    match found.decisive() {
        Verdict::Within => "nothing; keep sights about equal all the same".to_owned(),
        Verdict::Undecided | Verdict::TooSparse => {
            "test again with pegs farther apart, or read each peg several times and say --u"
                .to_owned()
        }
        Verdict::Outside => format!(
            "have it adjusted, or keep sights equal, or correct readings by their sight lengths: --collimation {:.3}mm/m",
            found.test.collimation / MILLIMETRE
        ),
    }
}
