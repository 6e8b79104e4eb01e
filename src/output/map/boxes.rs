//! Room on the paper: how wide a text is, and where a label still fits.
//!
//! In: anchors and texts, mm. Out: rectangles that overlap nothing placed before.
//! Method: every label tries a fixed list of places about its anchor and takes the first that is free; what finds none
//! is not drawn (its row in the table remains). Greedy, so that the same map always comes out the same.

use super::sheet::Point;

/// A rectangle on the paper, mm; y grows downwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    /// Left edge.
    pub left: f64,
    /// Top edge.
    pub top: f64,
    /// Right edge.
    pub right: f64,
    /// Bottom edge.
    pub bottom: f64,
}

impl Rect {
    /// A rectangle about its centre.
    pub fn centred([x, y]: Point, [width, height]: [f64; 2]) -> Self {
        Self {
            left: x - width / 2.0,
            top: y - height / 2.0,
            right: x + width / 2.0,
            bottom: y + height / 2.0,
        }
    }

    /// Whether they share more than an edge.
    pub fn overlaps(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    /// Whether it lies wholly in `outer`.
    pub fn within(&self, outer: &Self) -> bool {
        self.left >= outer.left
            && self.right <= outer.right
            && self.top >= outer.top
            && self.bottom <= outer.bottom
    }

    /// Larger by `by` on every side.
    pub fn grown(&self, by: f64) -> Self {
        Self {
            left: self.left - by,
            top: self.top - by,
            right: self.right + by,
            bottom: self.bottom + by,
        }
    }

    /// Moved sideways as far as it sticks out of `outer`.
    fn pushed_into(&self, outer: &Self) -> Self {
        let by = (outer.left - self.left).max(0.0) + (outer.right - self.right).min(0.0);
        Self {
            left: self.left + by,
            right: self.right + by,
            ..*self
        }
    }

    /// Left to right, mm.
    pub fn width(&self) -> f64 {
        self.right - self.left
    }

    /// Top to bottom, mm.
    pub fn height(&self) -> f64 {
        self.bottom - self.top
    }

    /// Its middle.
    pub fn centre(&self) -> Point {
        [
            (self.left + self.right) / 2.0,
            (self.top + self.bottom) / 2.0,
        ]
    }

    /// The point of it nearest to `to`.
    pub fn nearest(&self, [x, y]: Point) -> Point {
        [
            x.max(self.left).min(self.right),
            y.max(self.top).min(self.bottom),
        ]
    }
}

/// A label that found its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// What it says.
    pub text: String,
    /// Where.
    pub room: Rect,
    /// Height of the letters, mm.
    pub size: f64,
    /// Whether it is bold.
    pub bold: bool,
    /// The point a thin line leads to, for a label that stands off from what it names.
    pub leader: Option<Point>,
}

/// What is taken of the drawing.
#[derive(Debug)]
pub struct Taken {
    frame: Rect,
    boxes: Vec<Rect>,
    /// Labels placed so far.
    pub labels: Vec<Label>,
}

impl Taken {
    /// Nothing yet; labels must stay within `frame`.
    pub fn new(frame: Rect) -> Self {
        Self {
            frame,
            boxes: Vec::new(),
            labels: Vec::new(),
        }
    }

    /// Keeps labels off `area`.
    pub fn keep_off(&mut self, area: Rect) {
        self.boxes.push(area);
    }

    /// Keeps labels off a line.
    pub fn keep_off_line(&mut self, [from, to]: [Point; 2]) {
        let steps = ((to[0] - from[0]).hypot(to[1] - from[1]) / 1.5)
            .ceil()
            .clamp(1.0, 1000.0);
        for step in 0..=steps as usize {
            let t = step as f64 / steps;
            let at = [
                from[0] + t * (to[0] - from[0]),
                from[1] + t * (to[1] - from[1]),
            ];
            self.keep_off(Rect::centred(at, [1.5, 1.5]));
        }
    }

    /// Whether a label would fit there.
    pub fn is_free(&self, room: &Rect) -> bool {
        room.within(&self.frame) && !self.boxes.iter().any(|other| other.overlaps(room))
    }

    /// Puts a label centred on `at` if that is free. Returns whether it was.
    pub fn put(&mut self, text: &str, at: Point, [size, gap]: [f64; 2], bold: bool) -> bool {
        let room = Rect::centred(at, [text_width(text, size, bold), size]);
        self.settle(text, room, size, gap, bold, None)
    }

    /// Puts a label beside `at`, `clear` mm from it, or farther off with a line leading back. Returns whether it fitted.
    pub fn put_beside(&mut self, text: &str, at: Point, clear: f64, size: f64, bold: bool) -> bool {
        const AROUND: [Point; 8] = [
            [1.0, 0.0],
            [0.0, -1.0],
            [-1.0, 0.0],
            [0.0, 1.0],
            [1.0, -1.0],
            [-1.0, -1.0],
            [1.0, 1.0],
            [-1.0, 1.0],
        ];
        let (width, height) = (text_width(text, size, bold), size);
        [0.0, 3.0, 6.0, 10.0, 15.0, 21.0].iter().any(|&off| {
            AROUND.iter().any(|[right, down]| {
                let reach = clear + off;
                let centre = [
                    at[0] + right * (reach + width / 2.0),
                    at[1] + down * (reach + height / 2.0),
                ];
                let room =
                    Rect::centred(centre, [width, height]).pushed_into(&self.frame.grown(-0.4));
                let leader = (off > 0.0).then_some(at);
                self.settle(text, room, size, 0.3, bold, leader)
            })
        })
    }

    /// Puts a label centred on `at` if no other label is there, over whatever symbols are. Returns whether it was.
    pub fn put_over(&mut self, text: &str, at: Point, size: f64, bold: bool) -> bool {
        let room = Rect::centred(at, [text_width(text, size, bold), size]);
        let hidden = self.labels.iter().any(|label| label.room.overlaps(&room));
        if hidden || !room.within(&self.frame) {
            return false;
        }
        self.keep_off(room);
        self.labels.push(Label {
            text: text.to_owned(),
            room,
            size,
            bold,
            leader: None,
        });
        true
    }

    fn settle(
        &mut self,
        text: &str,
        room: Rect,
        size: f64,
        gap: f64,
        bold: bool,
        leader: Option<Point>,
    ) -> bool {
        if !self.is_free(&room.grown(gap)) {
            return false;
        }
        self.keep_off(room.grown(gap));
        self.labels.push(Label {
            text: text.to_owned(),
            room,
            size,
            bold,
            leader,
        });
        true
    }
}

/// Width of a text in letters `size` mm high. Widths are those of a wide sans-serif face, so that a narrower one fits
/// too: generous for most, short for none of the usual ones.
pub fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    let ems: f64 = text.chars().map(em).sum();
    ems * size * if bold { 1.12 } else { 1.0 }
}

fn em(c: char) -> f64 {
    match c {
        ' ' | '\u{a0}' | 'i' | 'j' | 'l' | '.' | ',' | ':' | ';' | '\'' | '|' | 'I' => 0.32,
        'f' | 't' | 'r' | '-' | '(' | ')' | '/' => 0.40,
        'm' | 'w' | 'M' | 'W' | '%' | '@' => 0.98,
        '+' | '\u{2212}' | '=' | '<' | '>' => 0.84,
        'A'..='Z' => 0.74,
        'a'..='z' | '0'..='9' => 0.62,
        _ if c.is_ascii() => 0.7,
        // Letters of other scripts: as wide as high.
        _ => 1.0,
    }
}

/// Breaks a text into lines no wider than `width` mm; a word wider than that is cut.
pub fn wrapped(text: &str, size: f64, width: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    // Not at no-break spaces, which keep a number with its unit.
    for word in text
        .split([' ', '\n', '\t'])
        .filter(|word| !word.is_empty())
    {
        let longer = if line.is_empty() {
            word.to_owned()
        } else {
            format!("{line} {word}")
        };
        if text_width(&longer, size, false) <= width {
            line = longer;
        } else {
            if !line.is_empty() {
                lines.push(line);
            }
            line = shortened(word, size, width);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// A text cut to `width` mm, with an ellipsis where something is missing.
pub fn shortened(text: &str, size: f64, width: f64) -> String {
    if text_width(text, size, false) <= width {
        return text.to_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        if text_width(&kept, size, false) + (em(c) + 1.0) * size > width {
            break;
        }
        kept.push(c);
    }
    kept + "…"
}
