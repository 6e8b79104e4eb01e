//! A drawing as DXF text: points, texts and flat polylines on named layers.
//!
//! In: places in the survey's metres. Out: ASCII DXF of release 12 (AC1009), which every program and total station reads, with
//! the unit stated ($INSUNITS 6, metres). Coordinates to a tenth of a millimetre. No clock, no handles, no names of machines or
//! people: the same drawing is the same bytes. Layers are listed in the order in which they were first drawn on.
//! Source: the published DXF reference of release 12, group codes 0 to 70 (from memory; read back with another program).

use std::fmt::Write as _;

/// A layer: its name, in the capital letters and digits that release 12 allows, and the number of its colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layer {
    /// Its name.
    pub name: &'static str,
    /// 1 red, 2 yellow, 3 green, 4 cyan, 5 blue, 6 magenta, 7 black or white, 8 grey.
    pub colour: u8,
}

/// A drawing.
#[derive(Debug)]
pub struct Drawing {
    layers: Vec<Layer>,
    entities: String,
    extent: [[f64; 3]; 2],
}

impl Drawing {
    /// With nothing on it.
    pub fn new() -> Self {
        Self {
            layers: Vec::new(),
            entities: String::new(),
            extent: [[f64::INFINITY; 3], [f64::NEG_INFINITY; 3]],
        }
    }

    /// Marks a place, m.
    pub fn point(&mut self, layer: Layer, at: [f64; 3]) {
        self.entity(layer, "POINT");
        self.place(at);
    }

    /// Writes a text of letters `height` m high, from its lower left corner on.
    pub fn text(&mut self, layer: Layer, at: [f64; 3], height: f64, text: &str) {
        self.entity(layer, "TEXT");
        self.place(at);
        group(&mut self.entities, 40, &metres(height));
        group(&mut self.entities, 1, &plain(text));
    }

    /// Draws a line at one elevation, m; closed if it ends where it begins.
    pub fn line(&mut self, layer: Layer, points: &[[f64; 2]], elevation: f64) {
        let closed = points.len() > 3 && points.first() == points.last();
        self.entity(layer, "POLYLINE");
        group(&mut self.entities, 66, "1");
        for (code, value) in [(10, 0.0), (20, 0.0), (30, elevation)] {
            group(&mut self.entities, code, &metres(value));
        }
        group(&mut self.entities, 70, if closed { "1" } else { "0" });
        for &[x, y] in points.iter().skip(usize::from(closed)) {
            self.entity(layer, "VERTEX");
            self.place([x, y, elevation]);
        }
        self.entity(layer, "SEQEND");
    }

    fn entity(&mut self, layer: Layer, kind: &str) {
        if !self.layers.contains(&layer) {
            self.layers.push(layer);
        }
        group(&mut self.entities, 0, kind);
        group(&mut self.entities, 8, layer.name);
    }

    fn place(&mut self, at: [f64; 3]) {
        for ((axis, code), value) in [10, 20, 30].into_iter().enumerate().zip(at) {
            group(&mut self.entities, code, &metres(value));
            let [low, high] = &mut self.extent;
            low[axis] = low[axis].min(value);
            high[axis] = high[axis].max(value);
        }
    }

    /// The file.
    pub fn finish(&self) -> Vec<u8> {
        let mut text = String::new();
        self.header(&mut text);
        self.tables(&mut text);
        section(&mut text, "ENTITIES");
        text += &self.entities;
        group(&mut text, 0, "ENDSEC");
        group(&mut text, 0, "EOF");
        text.into_bytes()
    }

    fn header(&self, text: &mut String) {
        section(text, "HEADER");
        // Points are drawn as crosses; a size below zero is in hundredths of the window.
        let settings = [
            ("$ACADVER", 1, "AC1009"),
            ("$INSUNITS", 70, "6"),
            ("$PDMODE", 70, "3"),
            ("$PDSIZE", 40, "-1.0"),
        ];
        for (name, code, value) in settings {
            group(text, 9, name);
            group(text, code, value);
        }
        for (name, corner) in ["$EXTMIN", "$EXTMAX"].into_iter().zip(self.extent) {
            group(text, 9, name);
            for (code, value) in [10, 20, 30].into_iter().zip(corner) {
                group(text, code, &metres(value));
            }
        }
        group(text, 0, "ENDSEC");
    }

    fn tables(&self, text: &mut String) {
        section(text, "TABLES");
        table(text, "LTYPE", 1);
        let line: [(u8, &str); 7] = [
            (0, "LTYPE"),
            (2, "CONTINUOUS"),
            (70, "0"),
            (3, "Solid line"),
            (72, "65"),
            (73, "0"),
            (40, "0.0"),
        ];
        for (code, value) in line {
            group(text, code, value);
        }
        group(text, 0, "ENDTAB");
        table(text, "LAYER", self.layers.len());
        for layer in &self.layers {
            let colour = layer.colour.to_string();
            let entry = [(0, "LAYER"), (2, layer.name), (70, "0"), (62, &colour)];
            for (code, value) in entry {
                group(text, code, value);
            }
            group(text, 6, "CONTINUOUS");
        }
        group(text, 0, "ENDTAB");
        group(text, 0, "ENDSEC");
    }
}

fn section(text: &mut String, name: &str) {
    group(text, 0, "SECTION");
    group(text, 2, name);
}

fn table(text: &mut String, name: &str, entries: usize) {
    group(text, 0, "TABLE");
    group(text, 2, name);
    group(text, 70, &entries.to_string());
}

/// A group: the code that says what is meant, and its value, a line each.
fn group(text: &mut String, code: u8, value: &str) {
    let _ = write!(text, "{code:3}\r\n{value}\r\n");
}

/// Metres to the tenth of a millimetre; nothing for what is no number.
fn metres(value: f64) -> String {
    // Zero is added so that a hair below nothing is nothing.
    let value = if value.is_finite() { value } else { 0.0 };
    format!("{:.4}", (value * 1e4).round() / 1e4 + 0.0)
}

/// Text without what ends a line or begins a control code; letters beyond ASCII as `\U+00E4`.
fn plain(text: &str) -> String {
    let mut plain = String::new();
    for c in text.chars().filter(|c| !c.is_control()) {
        match c {
            '^' => plain += "^ ",
            ' '..='~' => plain.push(c),
            _ => {
                let mut units = [0; 2];
                for unit in c.encode_utf16(&mut units) {
                    let _ = write!(plain, "\\U+{unit:04X}");
                }
            }
        }
    }
    plain
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    const WALL: Layer = Layer {
        name: "WALL",
        colour: 7,
    };

    /// The groups of a file.
    pub(crate) fn groups(bytes: &[u8]) -> Vec<(u8, String)> {
        let text = std::str::from_utf8(bytes).expect("text");
        assert!(text.is_ascii() && text.ends_with("\r\n"));
        let lines: Vec<&str> = text.split_terminator("\r\n").collect();
        assert_eq!(lines.len() % 2, 0);
        lines
            .chunks(2)
            .map(|pair| (pair[0].trim().parse().expect("a code"), pair[1].to_owned()))
            .collect()
    }

    #[test]
    fn what_is_drawn_is_in_the_file() {
        let mut drawing = Drawing::new();
        drawing.line(
            WALL,
            &[[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 0.0]],
            0.005,
        );
        drawing.point(WALL, [500_000.123_44, -0.00001, 7.0]);
        let groups = groups(&drawing.finish());
        let count = |kind: &str| groups.iter().filter(|(c, v)| *c == 0 && v == kind).count();
        // A closed line says its first corner once.
        assert_eq!(
            (count("VERTEX"), count("SEQEND"), count("POINT")),
            (3, 1, 1)
        );
        let point = groups
            .iter()
            .position(|(_, v)| v == "POINT")
            .expect("a point");
        let values: Vec<_> = groups[point + 1..point + 5]
            .iter()
            .map(|(_, v)| v.as_str())
            .collect();
        assert_eq!(values, ["WALL", "500000.1234", "0.0000", "7.0000"]);
        let value_of = |name: &str| {
            let at = groups.iter().position(|(_, v)| v == name).expect(name);
            groups[at + 1].1.as_str()
        };
        assert_eq!(
            (value_of("$INSUNITS"), value_of("$EXTMAX")),
            ("6", "500000.1234")
        );
        assert_eq!(groups.last(), Some(&(0, "EOF".to_owned())));
    }

    #[test]
    fn no_text_breaks_the_file() {
        assert_eq!(
            plain("a\r\n  0\nEOF^J ä 𝄞"),
            "a  0EOF^ J \\U+00E4 \\U+D834\\U+DD1E"
        );
    }
}
