//! Letters and lines: how wide a text is, and where it breaks.
//!
//! In: texts, sizes and widths in points. Out: lines of pieces, each in one weight. Widths are the sums of the letters' own;
//! pairs that stand closer make a line a little shorter than it was reckoned, never longer.

use krilla::text::Font;
use ttf_parser::Face;

use crate::output::report::document::Text;

/// What is not torn from the figure before it.
const UNITS: [&str; 15] = [
    "mm", "m", "m²", "l", "%", "kg", "kg/m²", "mm/m", "in", "ft²", "gal", "lb", "lb/ft²", "min",
    "h",
];

/// The plain letters.
pub const REGULAR: &[u8] = include_bytes!("../font/Roboto-Regular.ttf");
/// The bold ones.
pub const BOLD: &[u8] = include_bytes!("../font/Roboto-Bold.ttf");

/// A weight of the letters.
struct Weight {
    font: Font,
    face: Face<'static>,
}

/// The letters of the report.
pub struct Letters {
    regular: Weight,
    bold: Weight,
}

/// A piece of a line: how far from its beginning, whether bold, and the text.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    pub along: f32,
    pub bold: bool,
    pub text: String,
}

/// A line of text, and how wide it is.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Line {
    pub pieces: Vec<Piece>,
    pub width: f32,
}

impl Letters {
    /// None if the fonts cannot be read.
    pub fn new() -> Option<Self> {
        let weight = |bytes: &'static [u8]| {
            let font = Font::new(bytes.into(), 0)?;
            let face = Face::parse(bytes, 0).ok()?;
            Some(Weight { font, face })
        };
        Some(Self {
            regular: weight(REGULAR)?,
            bold: weight(BOLD)?,
        })
    }

    fn weight(&self, bold: bool) -> &Weight {
        if bold { &self.bold } else { &self.regular }
    }

    /// The font of a weight.
    pub fn font(&self, bold: bool) -> Font {
        self.weight(bold).font.clone()
    }

    /// How wide a text is in one line.
    pub fn width(&self, text: &str, size: f32, bold: bool) -> f32 {
        let face = &self.weight(bold).face;
        let advance = |letter: char| {
            let glyph = face.glyph_index(letter).unwrap_or_default();
            f32::from(face.glyph_hor_advance(glyph).unwrap_or_default())
        };
        text.chars().map(advance).sum::<f32>() * size / f32::from(face.units_per_em())
    }

    /// How wide a text is in one line with its beginning in bold.
    pub fn whole_width(&self, text: &Text, size: f32) -> f32 {
        self.words(text)
            .map(|(word, bold)| self.width(word, size, bold) + self.width(" ", size, bold))
            .sum()
    }

    /// How wide its widest word is.
    pub fn widest_word(&self, text: &Text, size: f32) -> f32 {
        self.words(text)
            .map(|(word, bold)| self.width(word, size, bold))
            .fold(0.0, f32::max)
    }

    fn words<'t>(&self, text: &'t Text) -> impl Iterator<Item = (&'t str, bool)> + use<'t> {
        let of = |part: &'t str, bold| {
            held_together(part)
                .into_iter()
                .map(move |word| (word, bold))
        };
        of(&text.lead, true).chain(of(&text.text, false))
    }

    /// Breaks a text into lines that are no wider than `width`; at least one.
    pub fn lines(&self, text: &Text, size: f32, width: f32) -> Vec<Line> {
        let mut lines = vec![Line::default()];
        for (word, bold) in self.words(text) {
            for part in self.fitting(word, size, bold, width) {
                let wide = self.width(part, size, bold);
                let gap = self.width(" ", size, bold);
                let full = lines
                    .last()
                    .is_some_and(|line| line.width > 0.0 && line.width + gap + wide > width);
                if full {
                    lines.push(Line::default());
                }
                if let Some(line) = lines.last_mut() {
                    line.add(part, bold, gap, wide);
                }
            }
        }
        lines
    }

    /// A word in parts that fit: itself, or what its length allows at a time.
    fn fitting<'t>(&self, word: &'t str, size: f32, bold: bool, width: f32) -> Vec<&'t str> {
        let mut parts = Vec::new();
        let mut rest = word;
        while self.width(rest, size, bold) > width {
            let mut wide = 0.0;
            let first = rest.chars().next().map_or(0, char::len_utf8);
            let fits = rest.char_indices().find_map(|(at, letter)| {
                wide += self.width(letter.encode_utf8(&mut [0; 4]), size, bold);
                (wide > width).then_some(at)
            });
            let cut = fits.unwrap_or(rest.len()).max(first);
            let (part, other) = rest.split_at(cut);
            parts.push(part);
            rest = other;
        }
        if !rest.is_empty() {
            parts.push(rest);
        }
        parts
    }
}

/// The words of a text, a figure with its unit and a coordinate with its letter as one.
fn held_together(text: &str) -> Vec<&str> {
    let figure = |word: &str| word.chars().any(|letter| letter.is_ascii_digit());
    let mut words = Vec::new();
    let mut start = 0;
    let spaces = text.match_indices(' ').map(|(at, _)| at);
    for at in spaces.chain([text.len()]) {
        let word = text.get(start..at).unwrap_or_default().trim();
        let next = text
            .get(at..)
            .unwrap_or_default()
            .split_whitespace()
            .next()
            .unwrap_or_default();
        let last = word.split_whitespace().next_back().unwrap_or_default();
        let unit = UNITS.contains(&next.trim_end_matches(['.', ',', ';', ':', ')']));
        let held = (figure(last) && unit) || (matches!(last, "x" | "y") && figure(next));
        if !held {
            if !word.is_empty() {
                words.push(word);
            }
            start = at;
        }
    }
    words
}

impl Line {
    fn add(&mut self, word: &str, bold: bool, gap: f32, wide: f32) {
        match self.pieces.last_mut() {
            Some(piece) if piece.bold == bold => {
                piece.text.push(' ');
                piece.text.push_str(word);
                self.width += gap + wide;
            }
            last => {
                let gap = if last.is_some() { gap } else { 0.0 };
                self.pieces.push(Piece {
                    along: self.width + gap,
                    bold,
                    text: word.to_owned(),
                });
                self.width += gap + wide;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_wider_than_its_column_and_no_word_is_lost() {
        let letters = Letters::new().expect("the fonts of the report");
        let text = Text::led(
            "SR2 OUTSIDE.",
            "6.3 mm is over 5.0 mm by more than 1.2 mm of doubt 0123456789abcdef0123456789abcdef",
        );
        for width in [20.0, 55.0, 140.0, 1000.0] {
            let lines = letters.lines(&text, 9.0, width);
            for line in &lines {
                assert!(line.width <= width + 0.01, "{width}: {line:?}");
            }
            let all: String = lines
                .iter()
                .flat_map(|line| &line.pieces)
                .map(|piece| piece.text.replace(' ', ""))
                .collect();
            assert_eq!(all, format!("{}{}", text.lead, text.text).replace(' ', ""));
        }
        assert_eq!(letters.lines(&text, 9.0, 1000.0).len(), 1);
        assert_eq!(letters.lines(&Text::default(), 9.0, 100.0).len(), 1);
    }

    #[test]
    fn a_figure_keeps_its_unit() {
        let words = held_together("gap 3.7 mm under 2.00 m, at x 4.20, y 1.00 m (15 %) in it");
        let wanted = [
            "gap", "3.7 mm", "under", "2.00 m,", "at", "x 4.20,", "y 1.00 m", "(15 %)", "in", "it",
        ];
        assert_eq!(words, wanted);
    }

    /// Advances of the font itself: a figure is 1150 units wide, in either weight 2048 to the em: tables stay in line.
    #[test]
    fn figures_are_all_equally_wide() {
        let letters = Letters::new().expect("the fonts of the report");
        for bold in [false, true] {
            let one = letters.width("1", 2048.0, bold);
            for figure in "0123456789".chars() {
                assert_eq!(letters.width(&figure.to_string(), 2048.0, bold), one);
            }
        }
    }
}
