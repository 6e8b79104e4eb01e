//! The legend: scale of colours and of lengths, what the lines and symbols mean, and the table of what is marked.
//!
//! In: the plan. Out: items of known height, which the layout places and `legend` draws.

use super::boxes::{shortened, wrapped};
use super::columns::COLUMN;
use super::relief::Relief;
use super::{MapPlan, Mark, Scale, SpotKind};
use crate::flatness::verdict::Verdict;
use crate::pour::fixed::Met;
use crate::surface::Kind;

/// Letters of the legend, mm.
pub const SIZE: f64 = 2.7;
/// Letters of its headings, mm.
pub const HEADING: f64 = 3.0;
/// Where the columns of the table begin; the value ends at its place.
pub const CELLS: [f64; 4] = [1.0, 9.0, 36.0, 39.0];

/// A piece of the legend.
#[derive(Debug, Clone, PartialEq)]
pub enum Item {
    /// A bold line.
    Heading(String),
    /// One line of text.
    Text(String),
    /// The colours with their values.
    ColourBar,
    /// The scale of the plan.
    ScaleBar,
    /// A line or symbol and what it means.
    Key(Symbol, &'static str),
    /// A row of the table: number, what, value, where.
    Row([String; 4]),
    /// Nothing.
    Space,
}

/// A line or symbol that the legend explains.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Symbol {
    /// A contour above zero.
    Above,
    /// A contour below zero.
    Below,
    /// The contour at zero.
    Zero,
    /// A reading.
    Reading,
    /// Floor that was not measured.
    NotMeasured,
    /// A column or fixed unit.
    Column,
    /// A high spot.
    High,
    /// A low spot.
    Low,
    /// A straightedge.
    Edge,
    /// A pin.
    Pin,
    /// A straightedge laid by hand, by what it says.
    Laid(Option<Verdict>),
    /// A sample line.
    SampleLine,
    /// The edge of a batch.
    Batch,
    /// A bay stop.
    BayStop,
    /// From batch to batch.
    Step,
    /// A way out.
    Exit,
    /// A fixed level, by whether it is met.
    Fixed(Met),
}

impl Item {
    /// Its height, mm.
    pub fn height(&self) -> f64 {
        match self {
            Self::Heading(_) => 5.4,
            Self::Text(_) => 4.0,
            Self::ColourBar => 12.0,
            Self::ScaleBar => 10.0,
            Self::Key(..) => 4.8,
            Self::Row(_) => 4.4,
            Self::Space => 3.0,
        }
    }
}

/// The legend without its table.
pub fn legend(plan: &MapPlan, relief: &Relief) -> Vec<Item> {
    let mut items: Vec<Item> = wrapped(&plan.quantity, HEADING * 1.12, COLUMN)
        .into_iter()
        .map(Item::Heading)
        .collect();
    if plan.has_heights() {
        items.push(Item::ColourBar);
        items.extend(text(&format!("{}.", relief.said(plan))));
    }
    if let Some(width) = relief.averaged {
        let width = unbroken(&plan.units.plan(width));
        items.extend(text(&format!(
            "Contours are smoothed over {width} and cross smaller gaps; the colours show the cells as measured."
        )));
    }
    items.extend([Item::Space, Item::ScaleBar]);
    items.extend(keys(plan, relief));
    items.push(Item::Space);
    for note in &plan.notes {
        items.extend(text(note));
    }
    items.extend(text("The axes are the survey's own coordinates."));
    for mark in plan
        .marks
        .iter()
        .filter(|mark| matches!(mark, Mark::Edge { .. }))
    {
        items.push(Item::Space);
        items.extend(text(&format!("{}.", edge_sentence(plan, mark))));
    }
    items
}

fn text(sentence: &str) -> impl Iterator<Item = Item> {
    wrapped(sentence, SIZE, COLUMN).into_iter().map(Item::Text)
}

fn keys(plan: &MapPlan, relief: &Relief) -> Vec<Item> {
    let marked = |wanted: fn(&Mark) -> bool| plan.marks.iter().any(wanted);
    let outline = plan.surface.outline.as_ref();
    let diverging = plan.scale != Scale::Depth;
    let rows = [
        (
            diverging && relief.has(|level| level > 0.0),
            Symbol::Above,
            "contour above the reference",
        ),
        (
            diverging && relief.has(|level| level < 0.0),
            Symbol::Below,
            "contour below the reference",
        ),
        (
            diverging && relief.has(|level| level == 0.0),
            Symbol::Zero,
            "at the reference (0)",
        ),
        (!diverging && relief.has(|_| true), Symbol::Above, "contour"),
        (
            plan.has_heights() && plan.surface.kind != Kind::Cells,
            Symbol::Reading,
            "reading",
        ),
        (
            relief.has_holes() || outline.is_some() && plan.has_heights(),
            Symbol::NotMeasured,
            "not measured",
        ),
        (
            outline.is_some_and(|outline| !outline.polygon.interiors().is_empty()),
            Symbol::Column,
            "column or fixed unit",
        ),
        (
            marked(|mark| {
                matches!(
                    mark,
                    Mark::Spot {
                        kind: SpotKind::High,
                        ..
                    }
                )
            }),
            Symbol::High,
            "high spot, numbered",
        ),
        (
            marked(|mark| {
                matches!(
                    mark,
                    Mark::Spot {
                        kind: SpotKind::Low,
                        ..
                    }
                )
            }),
            Symbol::Low,
            "low spot, numbered",
        ),
        (
            marked(|mark| matches!(mark, Mark::Edge { .. })),
            Symbol::Edge,
            "straightedge; the ring is where the gap is",
        ),
        (
            marked(|mark| matches!(mark, Mark::Pin { .. })),
            Symbol::Pin,
            "pin",
        ),
        (
            marked(|mark| matches!(mark, Mark::SampleLine { .. })),
            Symbol::SampleLine,
            "line of F-numbers, waviness",
        ),
        (
            marked(|mark| matches!(mark, Mark::Batch { .. })),
            Symbol::Batch,
            "edge of a batch, numbered",
        ),
        (
            marked(|mark| matches!(mark, Mark::BayStop { .. })),
            Symbol::BayStop,
            "bay stop between its ends",
        ),
        (
            marked(|mark| matches!(mark, Mark::Step { .. })),
            Symbol::Step,
            "from batch to batch",
        ),
        (
            marked(|mark| matches!(mark, Mark::Exit { .. })),
            Symbol::Exit,
            "way out",
        ),
        (
            marked(|mark| matches!(mark, Mark::Fixed { met: Met::Yes, .. })),
            Symbol::Fixed(Met::Yes),
            "fixed level, met",
        ),
        (
            marked(|mark| matches!(mark, Mark::Fixed { met: Met::No, .. })),
            Symbol::Fixed(Met::No),
            "fixed level, missed",
        ),
        (
            marked(|mark| {
                matches!(
                    mark,
                    Mark::Fixed {
                        met: Met::NotKnown,
                        ..
                    }
                )
            }),
            Symbol::Fixed(Met::NotKnown),
            "fixed level, not known",
        ),
    ];
    rows.into_iter()
        .filter(|(shown, ..)| *shown)
        .map(|(_, symbol, meaning)| Item::Key(symbol, meaning))
        .chain(laid_keys(plan))
        .collect()
}

/// What the edges laid by hand say, the worst first.
fn laid_keys(plan: &MapPlan) -> impl Iterator<Item = Item> {
    let kinds = [
        (Some(Verdict::Outside), "edge, gap over the limit"),
        (Some(Verdict::TooSparse), "edge"),
        (
            Some(Verdict::Undecided),
            "edge, gap too near the limit to tell",
        ),
        (Some(Verdict::Within), "edge, gap within the limit here"),
        (None, "edge, not judged"),
    ];
    let drawn = |wanted: Option<Verdict>| {
        plan.marks
            .iter()
            .any(|mark| matches!(mark, Mark::Laid { verdict, .. } if *verdict == wanted))
    };
    kinds
        .into_iter()
        .filter(move |(verdict, _)| drawn(*verdict))
        .map(|(verdict, meaning)| Item::Key(Symbol::Laid(verdict), meaning))
}

/// A verdict on an edge, in the table.
pub fn verdict_word(verdict: Option<Verdict>) -> &'static str {
    verdict.map_or("not judged", Verdict::word)
}

/// Whether a fixed level is met, in words.
pub fn met_word(met: Met) -> &'static str {
    match met {
        Met::Yes => "met",
        Met::No => "missed",
        Met::NotKnown => "not known",
    }
}

/// How far the finish is off a fixed level.
pub fn off_text(plan: &MapPlan, off: Option<f64>) -> String {
    off.map_or("not known".to_owned(), |off| {
        unbroken(&plan.units.signed_height(off))
    })
}

/// The table of what is numbered, with at most so many rows.
pub fn table(plan: &MapPlan, rows: usize) -> Vec<Item> {
    let all: Vec<Item> = plan
        .marks
        .iter()
        .flat_map(|mark| match mark {
            Mark::Spot {
                number,
                kind,
                at,
                value,
            } => vec![[
                number.to_string(),
                kind_name(*kind).to_owned(),
                unbroken(&plan.units.signed_height(*value)),
                place(plan, *at),
            ]],
            Mark::Batch {
                number,
                text,
                centre,
                ..
            } => vec![[
                number.to_string(),
                shortened(text, SIZE, CELLS[2] - CELLS[1]),
                String::new(),
                place(plan, *centre),
            ]],
            Mark::Edge { .. }
            | Mark::Pin { .. }
            | Mark::SampleLine { .. }
            | Mark::Step { .. }
            | Mark::BayStop { .. }
            | Mark::Exit { .. } => Vec::new(),
            Mark::Fixed {
                letter,
                name,
                at,
                off,
                ..
            } => vec![
                [
                    letter.to_string(),
                    shortened(name, SIZE, COLUMN - CELLS[1]),
                    String::new(),
                    String::new(),
                ],
                [
                    String::new(),
                    String::new(),
                    off_text(plan, *off),
                    place(plan, *at),
                ],
            ],
            Mark::Laid {
                name,
                at,
                gap,
                verdict,
                ..
            } => vec![[
                shortened(name, SIZE, CELLS[1] - CELLS[0]),
                verdict_word(*verdict).to_owned(),
                unbroken(&plan.units.height(*gap)),
                place(plan, *at),
            ]],
        })
        .map(Item::Row)
        .collect();
    if all.is_empty() {
        return all;
    }
    let left_out = all.len().saturating_sub(rows);
    let mut items = vec![Item::Space, Item::Heading("Marked on the map".to_owned())];
    items.extend(all.into_iter().take(rows));
    if left_out > 0 {
        items.extend(text(&format!("and {left_out} more.")));
    }
    items
}

/// A plan position in the survey's coordinates, to be kept on one line.
fn place(plan: &MapPlan, at: [f64; 2]) -> String {
    let [x, y] = plan.surface.survey_xy(at);
    unbroken(&plan.units.place(x, y))
}

/// A number with its unit, never parted at the end of a line, and with a true minus sign.
pub fn unbroken(number: &str) -> String {
    number.replace(' ', "\u{a0}").replace('-', "\u{2212}")
}

/// What a spot is called.
pub fn kind_name(kind: SpotKind) -> &'static str {
    match kind {
        SpotKind::High => "high",
        SpotKind::Low => "low",
    }
}

/// What is written at a straightedge.
pub fn gap_text(plan: &MapPlan, mark: &Mark) -> String {
    match mark {
        Mark::Edge { gap, length, .. } | Mark::Laid { gap, length, .. } => format!(
            "gap {} under {}",
            plan.units.height(*gap),
            edge_length(plan, *length)
        ),
        Mark::Spot { .. }
        | Mark::Pin { .. }
        | Mark::Batch { .. }
        | Mark::SampleLine { .. }
        | Mark::Step { .. }
        | Mark::BayStop { .. }
        | Mark::Exit { .. }
        | Mark::Fixed { .. } => String::new(),
    }
}

/// A straightedge in words.
pub fn edge_sentence(plan: &MapPlan, mark: &Mark) -> String {
    match mark {
        Mark::Edge {
            from,
            to,
            at,
            gap,
            length,
        } => format!(
            "Straightedge of {}: worst gap {} at {}, resting on {} and {}",
            edge_length(plan, *length),
            unbroken(&plan.units.height(*gap)),
            place(plan, *at),
            place(plan, *from),
            place(plan, *to)
        ),
        Mark::Spot { .. }
        | Mark::Laid { .. }
        | Mark::Pin { .. }
        | Mark::Batch { .. }
        | Mark::SampleLine { .. }
        | Mark::Step { .. }
        | Mark::BayStop { .. }
        | Mark::Exit { .. }
        | Mark::Fixed { .. } => String::new(),
    }
}

/// `2 m` rather than `2.00 m`.
fn edge_length(plan: &MapPlan, length: f64) -> String {
    let length = plan.units.plan(length);
    unbroken(&length.replace(".00 ", " ").replace(" 0 in", ""))
}
