//! Where things go on the page.
//!
//! In: the plan's extent and how high the legend's items are. Out: the page's size, the [`View`] from plan to paper, and a
//! place for every item.
//! Four pages are tried: A4 lying or standing, the legend beside the map or under it. The one that shows the floor
//! largest wins, lying and beside being preferred where the gain is small. Then the page is cut to what is on it.

use super::boxes::{Rect, text_width, wrapped};
use super::columns::{COLUMN, Columns, GAP, beside_map, columns_in};
use super::panel::Item;
use super::sheet::{self, Anchor, Pen, Point};
use super::{MapPlan, Mark, axes};
use crate::error::{Error, Result};
use crate::surface::{Kind, Surface};

/// A4, mm.
const A4: [f64; 2] = [297.0, 210.0];
/// White round the page, mm.
const MARGIN: f64 = 9.0;
/// Room for the numbers of the x axis below the map, for the name of the y axis above it, and right of it, mm.
const AXIS: [f64; 3] = [11.0, 6.0, 5.0];
/// The most of a page's height that a legend under the map may take.
const LEGEND_SHARE: f64 = 0.42;
/// How much larger the floor must come out on a page that is less liked.
const GAIN: f64 = 1.12;
/// Letters of the title and of the line below it, mm.
const HEADER: [f64; 2] = [5.0, 3.4];
/// The most lines of each.
const HEADER_LINES: [usize; 2] = [2, 4];
/// A floor much longer than wide is drawn in a frame of at least this proportion.
const NARROWEST: f64 = 1.0 / 25.0;

/// From local plan metres to millimetres on paper.
#[derive(Debug, Clone, Copy)]
pub struct View {
    /// Local plan metres of the lower left corner of `paper`.
    pub low: [f64; 2],
    /// The map's frame.
    pub paper: Rect,
    /// Millimetres on paper for a metre of floor.
    pub scale: f64,
}

impl View {
    /// A local plan position on paper.
    pub fn to(&self, [x, y]: [f64; 2]) -> Point {
        [
            self.paper.left + (x - self.low[0]) * self.scale,
            self.paper.bottom - (y - self.low[1]) * self.scale,
        ]
    }

    /// The same for programs that draw on the map: an element without content. Its `data-plan` holds survey x and y (m) of the
    /// frame's lower left corner, the SVG units in a metre, and the frame's left, top, right and bottom in SVG units.
    pub fn element(&self, surface: &Surface) -> String {
        let [x, y] = surface.survey_xy(self.low);
        let paper = self.paper;
        let [left, top, right, bottom] =
            [paper.left, paper.top, paper.right, paper.bottom].map(sheet::units);
        let scale = self.scale * sheet::UNITS;
        format!("<g data-plan=\"{x:.4} {y:.4} {scale:.4} {left} {top} {right} {bottom}\"/>\n")
    }
}

/// A page: how large, what goes where.
#[derive(Debug)]
pub struct Page {
    /// Width and height, mm.
    pub size: [f64; 2],
    /// The map.
    pub view: View,
    /// The legend's items with their top left corners.
    pub items: Vec<(Item, Point)>,
}

/// What the map has to show of the plan: lowest and highest corner with a little air, local m.
///
/// # Errors
/// [`Error::Floor`] if nothing was measured.
pub fn extent(plan: &MapPlan) -> Result<[[f64; 2]; 2]> {
    let field = &plan.surface.field;
    let half = match plan.surface.kind {
        Kind::Cells => [field.dx / 2.0, field.dy / 2.0],
        Kind::Grid | Kind::Triangulated | Kind::Lines => [0.0, 0.0],
    };
    let mut low = [f64::INFINITY; 2];
    let mut high = [f64::NEG_INFINITY; 2];
    let mut include = |[x, y]: [f64; 2], half: [f64; 2]| {
        low = [low[0].min(x - half[0]), low[1].min(y - half[1])];
        high = [high[0].max(x + half[0]), high[1].max(y + half[1])];
    };
    // A pour that fills nothing has a floor all the same.
    let drawn = plan.values.iter().any(|value| value.is_finite());
    let shown: &[f64] = if drawn || !plan.has_heights() {
        plan.values
    } else {
        &field.z
    };
    let nodes = shown.iter().enumerate();
    for (index, _) in nodes.filter(|(_, height)| height.is_finite()) {
        include(field.position(index), half);
    }
    if let Some(outline) = &plan.surface.outline {
        for corner in outline.polygon.exterior().coords() {
            include([corner.x, corner.y], [0.0, 0.0]);
        }
    }
    for mark in &plan.marks {
        match mark {
            Mark::Spot { at, .. } | Mark::Pin { at, .. } | Mark::Exit { at } => {
                include(*at, [0.0, 0.0]);
            }
            Mark::Edge { from, to, .. } => {
                include(*from, [0.0, 0.0]);
                include(*to, [0.0, 0.0]);
            }
            Mark::SampleLine { ends, .. } | Mark::Laid { ends, .. } | Mark::BayStop { ends } => {
                ends.iter().for_each(|&at| include(at, [0.0, 0.0]));
            }
            Mark::Batch { outline, .. } => {
                outline.iter().for_each(|&at| include(at, [0.0, 0.0]));
            }
            Mark::Fixed { places, .. } => {
                places.iter().for_each(|&at| include(at, [0.0, 0.0]));
            }
            Mark::Step { .. } => {}
        }
    }
    let longer = (high[0] - low[0]).max(high[1] - low[1]);
    let nothing = plan.has_heights() && shown.iter().all(|height| height.is_nan());
    if !longer.is_finite() || nothing {
        return Err(Error::floor(
            "nothing measured to draw",
            "at least one height",
        ));
    }
    let longer = if longer > 0.0 { longer } else { 1.0 };
    let air = |axis: usize| {
        let lacking = longer * NARROWEST - (high[axis] - low[axis]);
        0.02 * longer + lacking.max(0.0) / 2.0
    };
    let air = [air(0), air(1)];
    Ok([
        [low[0] - air[0], low[1] - air[1]],
        [high[0] + air[0], high[1] + air[1]],
    ])
}

/// The room's outline on paper: the wall line first, then what stands in it. Empty if there is none.
pub fn outline_rings(plan: &MapPlan, view: &View) -> Vec<Vec<Point>> {
    let Some(outline) = &plan.surface.outline else {
        return Vec::new();
    };
    std::iter::once(outline.polygon.exterior())
        .chain(outline.polygon.interiors())
        .map(|ring| ring.coords().map(|c| view.to([c.x, c.y])).collect())
        .collect()
}

/// A4 one way or the other, with the legend beside the map or under it.
#[derive(Debug, Clone, Copy)]
struct Form {
    paper: [f64; 2],
    beside: bool,
}

/// In the order of preference.
const FORMS: [Form; 4] = [
    Form {
        paper: A4,
        beside: true,
    },
    Form {
        paper: A4,
        beside: false,
    },
    Form {
        paper: [A4[1], A4[0]],
        beside: false,
    },
    Form {
        paper: [A4[1], A4[0]],
        beside: true,
    },
];

impl Page {
    /// Finds the page for the map and its `legend`, to which the table of what is marked comes.
    pub fn new(plan: &MapPlan, extent: [[f64; 2]; 2], legend: &[Item]) -> Self {
        let [first, others @ ..] = FORMS;
        let of_form = |form| Self::of_form(plan, form, extent, legend);
        others
            .into_iter()
            .map(of_form)
            .fold(of_form(first), |best, page| {
                if page.view.scale > best.view.scale * GAIN {
                    page
                } else {
                    best
                }
            })
    }

    fn of_form(plan: &MapPlan, form: Form, [low, high]: [[f64; 2]; 2], legend: &[Item]) -> Self {
        let room = [form.paper[0] - 2.0 * MARGIN, form.paper[1] - 2.0 * MARGIN];
        let left = axes::width_of_y(plan, low[1], high[1]);
        let [below, above, right] = AXIS;
        let beside = if form.beside { COLUMN + GAP } else { 0.0 };
        let under = (!form.beside).then(|| {
            Columns::fitting(
                plan,
                legend,
                columns_in(room[0]),
                form.paper[1] * LEGEND_SHARE,
            )
        });
        let under_height = under.as_ref().map_or(0.0, |under| under.height + GAP);
        let (wide, tall) = (high[0] - low[0], high[1] - low[1]);
        let tallest = room[1] - header_height(plan, room[0]) - below - above - under_height;
        let scale = ((room[0] - left - right - beside) / wide).min(tallest / tall);
        let map = [wide * scale, tall * scale];

        let width = if form.beside {
            left + map[0] + right + beside
        } else {
            room[0]
        };
        let top = MARGIN + header_height(plan, width);
        let x = MARGIN + left + (width - left - map[0] - right - beside) / 2.0;
        let paper = Rect {
            left: x,
            top: top + above,
            right: x + map[0],
            bottom: top + above + map[1],
        };
        let map_bottom = paper.bottom + below;
        let (items, bottom) = match under {
            Some(under) => {
                let corner = [MARGIN, map_bottom + GAP / 2.0];
                (under.placed(corner), corner[1] + under.height)
            }
            None => {
                let column = [MARGIN + width - COLUMN, top];
                let foot = Rect {
                    left: MARGIN,
                    top: map_bottom,
                    right: column[0] - GAP,
                    bottom: form.paper[1] - MARGIN,
                };
                beside_map(plan, legend, column, foot)
            }
        };
        Self {
            size: [width + 2.0 * MARGIN, bottom.max(map_bottom) + MARGIN],
            view: View { low, paper, scale },
            items,
        }
    }

    /// Title and verdict.
    pub fn header(&self, plan: &MapPlan, pen: &mut Pen) -> Result<()> {
        let mut top = MARGIN;
        for (line, size) in header_lines(plan, self.size[0] - 2.0 * MARGIN) {
            let bold = size == HEADER[0];
            pen.text(&line, [MARGIN, top + size / 2.0], size, Anchor::Left, bold)?;
            top += size * 1.4;
        }
        Ok(())
    }
}

fn header_lines(plan: &MapPlan, width: f64) -> Vec<(String, f64)> {
    [&plan.title, &plan.subtitle]
        .into_iter()
        .zip(HEADER.into_iter().zip(HEADER_LINES))
        .flat_map(|(text, (size, most))| {
            // Bold letters are wider than the plain ones that are measured.
            let width = width * if size == HEADER[0] { 0.88 } else { 1.0 };
            wrapped(text, size, width)
                .into_iter()
                .take(most)
                .map(move |line| (line, size))
        })
        .collect()
}

fn header_height(plan: &MapPlan, width: f64) -> f64 {
    let lines = header_lines(plan, width);
    lines.iter().map(|(_, size)| size * 1.4).sum::<f64>() + 3.0
}

/// How wide the widest of some texts is, mm.
pub fn widest<'t>(texts: impl Iterator<Item = &'t String>, size: f64) -> f64 {
    texts
        .map(|text| text_width(text, size, false))
        .fold(0.0, f64::max)
}
