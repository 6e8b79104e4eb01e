//! What a report holds, before it is set as HTML or PDF.
//!
//! A [`Document`] is a row of [`Block`]s. What they say is decided in `content`; how they look, in `html` and `pdf`.

use crate::output::map::Framed;

/// A report.
#[derive(Debug, Clone, PartialEq)]
pub struct Document {
    /// What it is called.
    pub title: String,
    /// Who made it, if that is known.
    pub author: Option<String>,
    /// What it holds, in order.
    pub blocks: Vec<Block>,
    /// What read-outs show, each for one or several maps.
    pub readings: Vec<ReadOut>,
}

/// A piece of a report.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// A heading: 1 of the report, 2 of a part, 3 within a part.
    Heading(u8, String),
    /// A paragraph.
    Paragraph(Text),
    /// What must not be overlooked.
    Notice(Text),
    /// Points.
    List(Vec<Text>),
    /// Names with what belongs to them.
    Facts(Vec<[String; 2]>),
    /// A table.
    Table(Table),
    /// A drawing.
    Picture(Picture),
    /// Lines to sign on, each with what stands under it.
    Signatures(Vec<String>),
    /// On paper, what follows begins a page.
    NewPage,
}

/// A text, in bold at its beginning.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Text {
    /// In bold; may be empty.
    pub lead: String,
    /// What follows; may be empty.
    pub text: String,
}

impl Text {
    /// With its beginning in bold.
    pub fn led(lead: impl Into<String>, text: impl Into<String>) -> Self {
        let (lead, text) = (lead.into(), text.into());
        Self { lead, text }
    }
}

impl From<String> for Text {
    fn from(text: String) -> Self {
        Self::led("", text)
    }
}

impl From<&str> for Text {
    fn from(text: &str) -> Self {
        Self::led("", text)
    }
}

/// A table; the first cell of a row names it.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows, a cell for each column.
    pub rows: Vec<Vec<Text>>,
}

/// A column of a table.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Its heading.
    pub head: &'static str,
    /// Whether it holds figures, which end at one line.
    pub figures: bool,
}

impl Table {
    /// A table without rows. Of the headings those that begin with `#` are of figures.
    pub fn new(caption: impl Into<String>, heads: &[&'static str]) -> Self {
        let column = |head: &&'static str| Column {
            head: head.trim_start_matches('#'),
            figures: head.starts_with('#'),
        };
        Self {
            caption: caption.into(),
            columns: heads.iter().map(column).collect(),
            rows: Vec::new(),
        }
    }

    /// Adds a row.
    pub fn row<T: Into<Text>>(&mut self, cells: impl IntoIterator<Item = T>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }
}

/// A drawing with what is said of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// The drawing, and where on it the plan lies if it is a map.
    pub drawing: Drawing,
    /// What stands under it.
    pub caption: String,
}

/// A drawing.
#[derive(Debug, Clone, PartialEq)]
pub enum Drawing {
    /// A map, which has a page of its own on paper.
    Map {
        /// The map.
        map: Framed,
        /// Which of the document's read-outs it has.
        reading: usize,
    },
    /// A chart, which stands in the text.
    Chart(String),
}

impl Drawing {
    /// The SVG.
    pub fn svg(&self) -> &str {
        match self {
            Self::Map { map, .. } => &map.svg,
            Self::Chart(svg) => svg,
        }
    }
}

/// What can be read off a map at any place: quantities on one lattice.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadOut {
    /// Survey coordinates of the first node, m.
    pub low: [f64; 2],
    /// From node to node, m.
    pub step: [f64; 2],
    /// Nodes along x.
    pub columns: usize,
    /// The quantities.
    pub quantities: Vec<Quantity>,
    /// Places named on the plan: survey coordinates, m, and what to say there.
    pub places: Vec<([f64; 2], String)>,
}

/// A quantity of a read-out.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    /// What it is.
    pub name: &'static str,
    /// A value a node, m, rows of equal y from the lowest; NaN where there is none.
    pub values: Vec<f64>,
}
