//! The heights written along the contours: what makes the map readable without colours.
//!
//! In: contours on paper. Out: labels, each on its line, clear of marks, of each other and, where that can be, of other
//! contours.

use super::boxes::{Rect, Taken, text_width};
use super::relief::PaperLine;
use super::sheet::Point;
use super::{MapPlan, short_height};

/// Letters along contours, mm.
const SIZE: f64 = 2.7;
/// Shorter contours have no label, unless no longer one has that height, mm.
const SHORTEST_LABELLED: f64 = 10.0;
/// One label for so much line, mm.
const LABEL_EVERY: f64 = 110.0;

/// Writes the heights along the contours, where nothing else is; by choice where no other contour runs either.
pub fn label(lines: &[PaperLine], ink: &Ink, plan: &MapPlan, taken: &mut Taken) {
    let mut last = None;
    for (index, line) in lines.iter().enumerate() {
        let first_of_level = last != Some(line.level);
        last = Some(line.level);
        if line.length < SHORTEST_LABELLED && !first_of_level {
            continue;
        }
        let text = short_height(plan, line.level);
        let size = [text_width(&text, SIZE, false), SIZE];
        let wanted = (line.length / LABEL_EVERY).round().clamp(1.0, 6.0) as usize;
        let places = places(&line.points, line.length);
        for part in 0..wanted {
            let middle = line.length * (part as f64 + 0.5) / wanted as f64;
            let reach = line.length / wanted as f64 / 2.0;
            let mut near: Vec<_> = places
                .iter()
                .map(|(along, at)| ((along - middle).abs(), *at))
                .filter(|(off, _)| *off <= reach)
                .collect();
            near.sort_by(|a, b| a.0.total_cmp(&b.0));
            let clear = |at: &Point| ink.only(Rect::centred(*at, size), number(index));
            let by_choice = near.iter().filter(|(_, at)| clear(at));
            let or_else = near.iter().filter(|_| first_of_level && part == 0);
            let mut tried = by_choice.chain(or_else);
            tried.any(|(_, at)| taken.put(&text, *at, [SIZE, 0.8], false));
        }
    }
}

/// Points about 2 mm apart along a line, each with its distance from the start.
fn places(points: &[Point], length: f64) -> Vec<(f64, Point)> {
    let mut places = Vec::with_capacity((length / 2.0) as usize + 1);
    let (mut along, mut next) = (0.0, 0.0);
    for pair in points.windows(2) {
        let [a, b] = pair else { continue };
        let piece = (b[0] - a[0]).hypot(b[1] - a[1]);
        while next <= along + piece && piece > 0.0 {
            let t = (next - along) / piece;
            places.push((next, [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]));
            next += 2.0;
        }
        along += piece;
    }
    places
}

/// Which contour runs through each square millimetre of an A4 page.
pub struct Ink(Vec<u32>);

/// Side of the page it covers, mm.
const SIDE: usize = 300;
/// More than one contour.
const SEVERAL: u32 = u32::MAX;

impl Ink {
    /// Drawn with these contours.
    pub fn of(lines: &[PaperLine]) -> Self {
        let mut ink = vec![0; SIDE * SIDE];
        for (index, line) in lines.iter().enumerate() {
            let own = number(index);
            for pair in line.points.windows(2) {
                let [a, b] = pair else { continue };
                let steps = ((b[0] - a[0]).hypot(b[1] - a[1]) * 2.0)
                    .ceil()
                    .clamp(1.0, 2000.0);
                for step in 0..=steps as usize {
                    let t = step as f64 / steps;
                    let at = [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
                    if let Some(cell) = ink.get_mut(Self::cell(at)) {
                        *cell = if *cell == 0 || *cell == own {
                            own
                        } else {
                            SEVERAL
                        };
                    }
                }
            }
        }
        Self(ink)
    }

    fn cell([x, y]: Point) -> usize {
        let place = |mm: f64| (mm.max(0.0) as usize).min(SIDE - 1);
        place(y) * SIDE + place(x)
    }

    /// Whether no contour runs through the room.
    pub fn none(&self, room: Rect) -> bool {
        self.only(room, 0)
    }

    /// Whether none but `own` does.
    fn only(&self, room: Rect, own: u32) -> bool {
        let columns = room.left.floor() as i64..=room.right.floor() as i64;
        columns.into_iter().all(|x| {
            let mut rows = room.top.floor() as i64..=room.bottom.floor() as i64;
            rows.all(|y| {
                let cell = Self::cell([x as f64, y as f64]);
                self.0.get(cell).is_none_or(|ink| *ink == 0 || *ink == own)
            })
        })
    }
}

/// The number of a contour in [`Ink`], where 0 is none.
fn number(index: usize) -> u32 {
    index as u32 + 1
}
