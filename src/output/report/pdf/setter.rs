//! Where everything stands on the pages.
//!
//! In: a document. Out: pages of [`Item`]s, in points from the top left corner. A heading stays with what follows; a map has a
//! page of its own, which comes after the page that it is spoken of on.

use super::Colour;
use super::letters::Letters;
use super::table;
use crate::output::report::document::{Block, Document, Drawing, Picture, Text};

/// Points in a millimetre.
const MM: f32 = 72.0 / 25.4;

/// A4, points.
pub const A4: [f32; 2] = [210.0 * MM, 297.0 * MM];

/// White left and right of the words, points.
pub const SIDE: f32 = 20.0 * MM;

/// White above the words.
const TOP: f32 = 18.0 * MM;

/// White below the words, the foot among it.
const BOTTOM: f32 = 18.0 * MM;

/// White left and right of the foot of a map, points.
const MAP_SIDE: f32 = 9.0 * MM;

/// Letters of the text, points, and from line to line.
pub const SIZE: f32 = 9.5;
/// From line to line, in sizes of the letters.
pub const LEADING: f32 = 1.35;

/// Width of the names of facts.
const FACT_NAME: f32 = 26.0 * MM;

/// Ink.
pub const INK: Colour = [17, 17, 17];
/// Ink that steps back.
pub const QUIET: Colour = [85, 85, 85];
/// Lines that only guide the eye.
pub const FAINT: Colour = [205, 205, 205];
/// The accent: the low end of the maps' scale.
pub const ACCENT: Colour = [94, 60, 153];
/// Behind what must not be overlooked.
const NOTICE: Colour = [244, 242, 248];

/// What is no higher than this is not torn apart: a third of a page, points.
pub const WHOLE: f32 = 95.0 * MM;

/// A chart is this much less high than wide.
const CHART: f32 = 0.4;

/// A page.
pub struct Paper {
    pub size: [f32; 2],
    pub margin: f32,
    pub items: Vec<Item>,
    pub foot: String,
    /// Headings of parts and how far down they stand.
    pub headings: Vec<(String, f32)>,
}

/// Something on a page.
pub enum Item {
    /// Letters, with their base line's beginning.
    Text {
        at: [f32; 2],
        size: f32,
        bold: bool,
        colour: Colour,
        text: String,
    },
    /// A filled box.
    Box {
        corner: [f32; 2],
        size: [f32; 2],
        colour: Colour,
    },
    /// A drawing.
    Drawing {
        corner: [f32; 2],
        width: f32,
        height: f32,
        svg: String,
    },
}

/// The pages as they grow.
pub struct Setter<'a> {
    pub letters: &'a Letters,
    title: &'a str,
    pages: Vec<Paper>,
    /// How far down the next thing stands.
    pub y: f32,
    /// Maps that wait for the end of the page.
    waiting: Vec<(&'a Picture, [f32; 2])>,
}

/// Sets a document.
pub fn set(document: &Document, letters: &Letters) -> Vec<Paper> {
    let mut setter = Setter {
        letters,
        title: &document.title,
        pages: Vec::new(),
        y: 0.0,
        waiting: Vec::new(),
    };
    setter.new_page();
    for (number, block) in document.blocks.iter().enumerate() {
        setter.block(block, document.blocks.get(number + 1));
    }
    setter.put_maps();
    setter.pages
}

impl<'a> Setter<'a> {
    /// How far down words may go.
    pub fn end(&self) -> f32 {
        A4[1] - BOTTOM
    }

    /// Width of the words.
    pub fn width(&self) -> f32 {
        A4[0] - 2.0 * SIDE
    }

    /// Begins a page, after the maps that wait.
    pub fn new_page(&mut self) {
        self.put_maps();
        self.pages.push(Paper {
            size: A4,
            margin: SIDE,
            items: Vec::new(),
            foot: self.title.to_owned(),
            headings: Vec::new(),
        });
        self.y = TOP;
    }

    /// Begins a page if what comes next, `height` points high, does not fit on this one.
    pub fn keep(&mut self, height: f32) {
        if self.y + height > self.end() && self.y > TOP {
            self.new_page();
        }
    }

    pub fn put(&mut self, item: Item) {
        if let Some(page) = self.pages.last_mut() {
            page.items.push(item);
        }
    }

    fn block(&mut self, block: &'a Block, next: Option<&Block>) {
        match block {
            Block::Heading(level, text) => self.heading(*level, text, next),
            Block::Paragraph(text) => self.paragraph(text),
            Block::Notice(text) => self.notice(text),
            Block::List(points) => self.list(points),
            Block::Facts(facts) => self.facts(facts),
            Block::Table(table) => table::set(self, table),
            Block::Picture(picture) => self.picture(picture),
            Block::Signatures(lines) => self.signatures(lines),
            Block::NewPage => self.new_page(),
        }
    }

    /// Writes a text into a column and returns how high it is; it has to fit on the page.
    pub fn write(
        &mut self,
        text: &Text,
        [x, y]: [f32; 2],
        width: f32,
        size: f32,
        colour: Colour,
    ) -> f32 {
        let lines = self.letters.lines(text, size, width);
        let step = size * LEADING;
        for (number, line) in lines.iter().enumerate() {
            for piece in &line.pieces {
                self.put(Item::Text {
                    at: [x + piece.along, y + number as f32 * step + size],
                    size,
                    bold: piece.bold,
                    colour,
                    text: piece.text.clone(),
                });
            }
        }
        lines.len() as f32 * step
    }

    /// How high a text is in a column.
    pub fn height(&self, text: &Text, width: f32, size: f32) -> f32 {
        self.letters.lines(text, size, width).len() as f32 * size * LEADING
    }

    /// How much of a block at least stays with its heading.
    fn beginning(&self, block: &Block) -> f32 {
        match block {
            Block::Facts(facts) => self.facts_height(facts).min(WHOLE),
            Block::Table(table) => table::beginning(self, table),
            Block::Heading(..)
            | Block::Paragraph(_)
            | Block::Notice(_)
            | Block::List(_)
            | Block::Picture(_)
            | Block::Signatures(_)
            | Block::NewPage => 70.0,
        }
    }

    fn heading(&mut self, level: u8, text: &str, next: Option<&Block>) {
        let (size, above, below) = match level {
            1 => (20.0, 0.0, 2.0),
            2 => (14.0, 16.0, 6.0),
            _ => (10.5, 11.0, 3.0),
        };
        let text = Text::led(text, "");
        let next = next.map_or(0.0, |next| self.beginning(next));
        self.keep(above + size * LEADING + below + next);
        if self.y > TOP {
            self.y += above;
        }
        if let (2, Some(page)) = (level, self.pages.last_mut()) {
            page.headings.push((text.lead.clone(), self.y));
        }
        self.y += self.write(&text, [SIDE, self.y], self.width(), size, INK);
        if level == 2 {
            let line = Item::Box {
                corner: [SIDE, self.y + 1.0],
                size: [self.width(), 1.2],
                colour: ACCENT,
            };
            self.put(line);
            self.y += 2.2;
        }
        self.y += below;
    }

    fn paragraph(&mut self, text: &Text) {
        self.keep(self.height(text, self.width(), SIZE));
        self.y += self.write(text, [SIDE, self.y], self.width(), SIZE, INK) + 4.0;
    }

    fn notice(&mut self, text: &Text) {
        let (pad, size) = (8.0, SIZE + 1.0);
        let width = self.width() - 2.0 * pad - 3.0;
        let height = self.height(text, width, size) + 2.0 * pad;
        self.keep(height + 12.0);
        self.y += 6.0;
        for (wide, colour) in [(self.width(), NOTICE), (3.0, ACCENT)] {
            let corner = [SIDE, self.y];
            self.put(Item::Box {
                corner,
                size: [wide, height],
                colour,
            });
        }
        self.write(
            text,
            [SIDE + pad + 3.0, self.y + pad - 1.0],
            width,
            size,
            INK,
        );
        self.y += height + 6.0;
    }

    fn list(&mut self, points: &[Text]) {
        let indent = 10.0;
        for point in points {
            let width = self.width() - indent;
            self.keep(self.height(point, width, SIZE));
            self.write(&"•".into(), [SIDE, self.y], indent, SIZE, ACCENT);
            self.y += self.write(point, [SIDE + indent, self.y], width, SIZE, INK) + 2.5;
        }
        self.y += 2.0;
    }

    fn facts_height(&self, facts: &[[String; 2]]) -> f32 {
        let width = self.width() - FACT_NAME;
        let heights = facts
            .iter()
            .map(|[_, fact]| self.height(&fact.as_str().into(), width, SIZE) + 3.0);
        heights.sum()
    }

    fn facts(&mut self, facts: &[[String; 2]]) {
        let all = self.facts_height(facts);
        if all <= WHOLE {
            self.keep(all);
        }
        for [name, fact] in facts {
            let width = self.width() - FACT_NAME;
            let fact = Text::from(fact.as_str());
            self.keep(self.height(&fact, width, SIZE) + 3.0);
            self.write(
                &name.as_str().into(),
                [SIDE, self.y],
                FACT_NAME,
                SIZE,
                QUIET,
            );
            self.y += self.write(&fact, [SIDE + FACT_NAME, self.y], width, SIZE, INK) + 1.5;
            self.rule(0.4);
            self.y += 1.5;
        }
        self.y += 4.0;
    }

    /// A faint line across the words.
    pub fn rule(&mut self, thick: f32) {
        let (corner, size) = ([SIDE, self.y], [self.width(), thick]);
        self.put(Item::Box {
            corner,
            size,
            colour: FAINT,
        });
    }

    fn picture(&mut self, picture: &'a Picture) {
        match &picture.drawing {
            Drawing::Map { map, .. } => {
                let size = map
                    .size
                    .map(|side| (side / crate::output::map::UNITS) as f32 * MM);
                self.waiting.push((picture, size));
            }
            Drawing::Chart(svg) => {
                let caption = Text::from(picture.caption.as_str());
                let (width, size) = (self.width(), SIZE - 1.0);
                let height = width * CHART;
                self.keep(height + self.height(&caption, width, size) + 10.0);
                let corner = [SIDE, self.y];
                self.put(Item::Drawing {
                    corner,
                    width,
                    height,
                    svg: svg.clone(),
                });
                self.y += height;
                self.y += self.write(&caption, [SIDE, self.y], width, size, QUIET) + 8.0;
            }
        }
    }

    /// A page for each map that waits, as the map lies.
    fn put_maps(&mut self) {
        for (picture, [width, height]) in std::mem::take(&mut self.waiting) {
            let [short, long] = A4;
            let size = if width > short { [long, short] } else { A4 };
            let left = ((size[0] - width) / 2.0).max(0.0);
            self.pages.push(Paper {
                size,
                margin: MAP_SIDE,
                items: vec![Item::Drawing {
                    corner: [left, 0.0],
                    width,
                    height,
                    svg: picture.drawing.svg().to_owned(),
                }],
                foot: picture.caption.clone(),
                headings: Vec::new(),
            });
        }
    }

    fn signatures(&mut self, lines: &[String]) {
        let room = 46.0;
        let gap = 10.0 * MM;
        let width = (self.width() - gap) / 2.0;
        for pair in lines.chunks(2) {
            self.keep(room + 30.0);
            self.y += room;
            let mut tallest: f32 = 0.0;
            for (number, line) in pair.iter().enumerate() {
                let x = SIDE + number as f32 * (width + gap);
                let corner = [x, self.y];
                self.put(Item::Box {
                    corner,
                    size: [width, 0.8],
                    colour: INK,
                });
                let height = self.write(
                    &line.as_str().into(),
                    [x, self.y + 3.0],
                    width,
                    SIZE - 1.0,
                    QUIET,
                );
                tallest = tallest.max(height);
            }
            self.y += tallest + 14.0;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::report::document::Table;

    /// The page on which a text stands.
    fn page_of(pages: &[Paper], wanted: &str) -> Option<usize> {
        pages.iter().position(|page| {
            page.items
                .iter()
                .any(|item| matches!(item, Item::Text { text, .. } if text == wanted))
        })
    }

    #[test]
    fn a_short_table_stays_whole_and_with_its_heading_wherever_it_falls() {
        let letters = Letters::new().expect("the fonts of the report");
        let mut table = Table::new("batches", &["batch", "#bags"]);
        for batch in ["first", "second", "third", "last"] {
            table.row([batch, "1"]);
        }
        for lines in 0..60 {
            let mut blocks = vec![Block::Paragraph("a line".into()); lines];
            blocks.push(Block::Heading(3, "mixing".to_owned()));
            blocks.push(Block::Table(table.clone()));
            let document = Document {
                title: "job".to_owned(),
                author: None,
                blocks,
                readings: Vec::new(),
            };
            let pages = set(&document, &letters);
            let page = page_of(&pages, "mixing");
            assert!(page.is_some());
            for text in ["batches", "first", "last"] {
                assert_eq!(page_of(&pages, text), page, "{text} after {lines} lines");
            }
        }
    }
}
