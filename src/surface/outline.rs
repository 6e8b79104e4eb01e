//! The room on the plan: a polygon with holes for columns and fixed units.
//!
//! In: a small CSV (x, y, and a ring column where there are holes) or GeoJSON, told apart by content. Out: a polygon in
//! metres that is sound: its sides neither cross nor touch, and every hole lies in the room.
//! Does not mend: a column that stands against a wall is drawn as part of the wall line, not as a hole.

use geo::line_intersection::{LineIntersection, line_intersection};
use geo::{Area, Coord, Distance, Euclidean, Intersects, Line, LineString, Point, Polygon};

use crate::error::{Error, Place, Result};
use crate::survey::Source;

mod read;

/// A point this close to the wall line is on the floor, m: readings are taken against the wall.
const AT_THE_WALL: f64 = 1e-3;
/// More corners than this are no room but a scan; it also bounds the search for crossing sides.
const MOST_CORNERS: usize = 10_000;
/// A ring that encloses less than this encloses nothing, m² (1 cm²).
const LEAST_AREA: f64 = 1e-4;

/// The room: its wall line, and what stands in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// The polygon, with its holes, m.
    pub polygon: Polygon<f64>,
}

impl Outline {
    /// Reads an outline, in the survey's coordinates.
    ///
    /// # Errors
    /// [`Error::Read`]; [`Error::Input`] with the line for what is neither CSV nor GeoJSON, a ring of fewer than three
    /// corners or no area, sides that cross or touch, a hole outside the wall line, a number that is not finite.
    pub fn read(source: &Source) -> Result<Self> {
        sound(&source.place(), &read::rings(source)?)
    }

    /// The same room with `origin` subtracted from its coordinates, m.
    pub fn shifted(&self, [x0, y0, _]: [f64; 3]) -> Self {
        let shift = |ring: &LineString<f64>| {
            LineString::new(
                ring.coords()
                    .map(|corner| Coord {
                        x: corner.x - x0,
                        y: corner.y - y0,
                    })
                    .collect(),
            )
        };
        let holes = self.polygon.interiors().iter().map(shift).collect();
        Self {
            polygon: Polygon::new(shift(self.polygon.exterior()), holes),
        }
    }

    /// Whether a place is floor: inside the wall line and in no hole, or within a millimetre of either.
    pub fn contains(&self, x: f64, y: f64) -> bool {
        Euclidean.distance(&Point::new(x, y), &self.polygon) <= AT_THE_WALL
    }

    /// Plan area without the holes, m².
    pub fn area(&self) -> f64 {
        self.polygon.unsigned_area()
    }
}

/// A corner as the file gives it.
#[derive(Debug, Clone, Copy)]
struct Corner {
    at: Coord<f64>,
    /// The line of the file, where it is known.
    line: Option<u64>,
}

/// A closed line of corners, the last joined to the first; the wall line comes first of all rings.
type Ring = Vec<Corner>;

/// A side of a ring, and where it belongs.
struct Side {
    ring: usize,
    number: usize,
    line: Line<f64>,
    place: Option<u64>,
}

/// The outline that `rings` describe, if they describe one.
fn sound(place: &Place, rings: &[Ring]) -> Result<Outline> {
    let count: usize = rings.iter().map(Vec::len).sum();
    if count > MOST_CORNERS {
        let found = format!("more than {MOST_CORNERS} corners");
        return Err(Error::input(place.clone(), found, "the outline of a room"));
    }
    let rings: Vec<Ring> = rings.iter().map(without_repeats).collect();
    for (number, ring) in rings.iter().enumerate() {
        encloses_something(place, number, ring)?;
    }
    nothing_crosses(place, &rings)?;
    holes_are_inside(place, &rings)?;
    let mut rings = rings.iter().map(line_string);
    let wall = rings.next().ok_or_else(|| {
        Error::input(
            place.clone(),
            "no corner",
            "the corners of the room, one a line",
        )
    })?;
    Ok(Outline {
        polygon: Polygon::new(wall, rings.collect()),
    })
}

fn line_string(ring: &Ring) -> LineString<f64> {
    let mut ring: LineString<f64> = ring.iter().map(|corner| corner.at).collect();
    ring.close();
    ring
}

/// The ring without corners given twice in a row, the first again at the end among them.
fn without_repeats(ring: &Ring) -> Ring {
    let mut kept = ring.clone();
    kept.dedup_by(|next, corner| next.at == corner.at);
    while kept.len() > 1 && kept.first().map(|c| c.at) == kept.last().map(|c| c.at) {
        kept.pop();
    }
    kept
}

/// `the wall line` or `hole 2`.
fn name(ring: usize) -> String {
    match ring {
        0 => "the wall line".to_owned(),
        hole => format!("hole {hole}"),
    }
}

fn at_line(place: &Place, line: Option<u64>) -> Place {
    Place {
        line,
        ..place.clone()
    }
}

fn encloses_something(place: &Place, number: usize, ring: &Ring) -> Result<()> {
    let place = at_line(place, ring.last().and_then(|corner| corner.line));
    if ring.len() < 3 {
        let found = format!("{} with {} different corners", name(number), ring.len());
        return Err(Error::input(place, found, "at least three"));
    }
    if Polygon::new(line_string(ring), Vec::new()).unsigned_area() < LEAST_AREA {
        let found = format!("{} that encloses no area", name(number));
        let wanted = "corners in the order in which one walks past them";
        return Err(Error::input(place, found, wanted));
    }
    Ok(())
}

/// No side crosses or touches another, but for neighbours at their common corner.
fn nothing_crosses(place: &Place, rings: &[Ring]) -> Result<()> {
    let sides: Vec<Side> = rings.iter().enumerate().flat_map(sides).collect();
    for (i, a) in sides.iter().enumerate() {
        for b in sides.iter().skip(i + 1) {
            let Some(meeting) = line_intersection(a.line, b.line) else {
                continue;
            };
            let neighbours = a.ring == b.ring
                && (a.line.end == b.line.start || b.line.end == a.line.start)
                && matches!(meeting, LineIntersection::SinglePoint { .. });
            if !neighbours {
                return Err(crossing(place, a, b));
            }
        }
    }
    Ok(())
}

fn sides((ring, corners): (usize, &Ring)) -> impl Iterator<Item = Side> + '_ {
    let next = corners.iter().cycle().skip(1);
    corners
        .iter()
        .zip(next)
        .enumerate()
        .map(move |(at, (from, to))| Side {
            ring,
            number: at + 1,
            line: Line::new(from.at, to.at),
            place: from.line,
        })
}

fn crossing(place: &Place, a: &Side, b: &Side) -> Error {
    let side = |side: &Side| {
        let line = side
            .place
            .map_or(String::new(), |line| format!(" (from line {line})"));
        format!("side {} of {}{line}", side.number, name(side.ring))
    };
    let found = format!("{} meets {}", side(a), side(b));
    let wanted = if a.ring == b.ring {
        "corners in the order in which one walks past them"
    } else {
        "holes that stand free; what touches a wall is drawn as part of the wall line"
    };
    Error::input(at_line(place, b.place), found, wanted)
}

/// Every hole lies inside the wall line and in no other hole. Sides are known not to cross, so one corner decides.
fn holes_are_inside(place: &Place, rings: &[Ring]) -> Result<()> {
    let areas: Vec<Polygon<f64>> = rings
        .iter()
        .map(|ring| Polygon::new(line_string(ring), Vec::new()))
        .collect();
    for (number, hole) in rings.iter().enumerate().skip(1) {
        let Some(corner) = hole.first() else { continue };
        let inside = |ring: usize| areas.get(ring).is_some_and(|a| a.intersects(&corner.at));
        let place = at_line(place, corner.line);
        if !inside(0) {
            let found = format!("{} outside the wall line", name(number));
            return Err(Error::input(place, found, "holes inside the room"));
        }
        if let Some(other) = (1..rings.len()).find(|&ring| ring != number && inside(ring)) {
            let found = format!("{} inside {}", name(number), name(other));
            return Err(Error::input(place, found, "holes that stand apart"));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;

    fn read(text: &str) -> Result<Outline> {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(text.as_bytes()).unwrap();
        Outline::read(&Source::new(file.path().to_str().unwrap()).unwrap())
    }

    /// The error that `text` ends in, without the name of the temporary file.
    fn error(text: &str) -> String {
        let message = read(text).unwrap_err().to_string();
        message.split_once(", ").unwrap().1.to_owned()
    }

    /// 4 m by 3 m with a 1 m by 0.5 m column: 12 - 0.5 m².
    const ROOM: &str = "x_m,y_mm,ring\n0,0,wall\n4,0,wall\n4,3000,wall\n0,3000,wall\n\
                        1,1000,column\n2,1000,column\n2,1500,column\n1,1500,column\n";

    #[test]
    fn a_room_with_a_column() {
        let room = read(ROOM).unwrap();
        assert!((room.area() - 11.5).abs() < 1e-12);
        assert!(room.contains(0.5, 0.5) && room.contains(0.0, 3.0));
        assert!(!room.contains(1.5, 1.25) && !room.contains(4.1, 1.0));
        assert!(room.contains(4.0009, 1.0) && !room.contains(4.0011, 1.0));
        let shifted = room.shifted([-10.0, 5.0, 7.0]);
        assert!(shifted.contains(10.5, -4.5) && !shifted.contains(11.5, -3.75));
    }

    #[test]
    fn the_same_room_in_every_dress() {
        let dresses = [
            "\u{feff}x_m;y_m\r\n0,5;0\r\n2,5;0\r\n2,5;1,5\r\n0,5;1,5\r\n0,5;0\r\n",
            "# a store\n y_cm\tx_cm\n0\t50\n0\t250\n\n150\t250\n150\t50\n",
            "x  y\n0.5 0\n2.5 0\n2.5 1.5\n0.5 1.5\n",
            r#"{"type": "Polygon", "coordinates": [[[0.5,0],[2.5,0],[2.5,1.5],[0.5,1.5],[0.5,0]]]}"#,
            r#"{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": null, "geometry":
               {"type": "Polygon", "coordinates": [[[0.5,0],[2.5,0],[2.5,1.5],[0.5,1.5],[0.5,0]]]}}]}"#,
        ];
        for dress in dresses {
            let room = read(dress).unwrap();
            assert!((room.area() - 3.0).abs() < 1e-12, "{dress}");
            assert!(
                room.contains(0.5, 1.5) && !room.contains(0.4, 0.1),
                "{dress}"
            );
        }
    }

    #[test]
    fn ring_nought_is_the_wall_line_wherever_it_stands() {
        let room = "x,y,ring\n1,1,1\n2,1,1\n2,2,1\n0,0,0\n4,0,0\n4,3,0\n0,3,0\n";
        assert!((read(room).unwrap().area() - 11.5).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_room_is_refused_with_its_line() {
        let cases = [
            (
                "x,y\n0,0\n4,0\n",
                "line 3: found the wall line with 2 different corners",
            ),
            (
                "x,y\n0,0\n4,0\n2,0\n",
                "line 4: found the wall line that encloses no area",
            ),
            (
                "x,y\n0,0\n4,0\n0,3\n5,3\n",
                "line 5: found side 2 of the wall line",
            ),
            (
                "x,y\n0,0\n4,0\n4,3\n4,1\n0,1\n",
                "line 4: found side 2 of the wall line",
            ),
            (
                "x,y,ring\n0,0,0\n4,0,0\n0,3,0\n8,8,1\n9,8,1\n9,9,1\n",
                "line 5: found hole 1 outside the wall line",
            ),
            (
                "x,y,ring\n0,0,0\n4,0,0\n0,3,0\n0,1,1\n1,1,1\n1,2,1\n",
                "line 5: found side 3 of the wall line",
            ),
            (
                "x,y\n0,0\n4,inf\n0,3\n",
                "line 3, column y: found 'inf', wanted a number within",
            ),
            (
                "x,y\n0,0\n4,four\n0,3\n",
                "line 3, column y: found 'four', wanted a number",
            ),
            (
                "x,y\n0,0\n4\n0,3\n",
                "line 3, column y: found '', wanted a number",
            ),
            ("0,0\n4,0\n0,3\n", "line 1: found '0,0', wanted a header"),
            ("x_m,y_furlong\n0,0\n", "line 1, column y_furlong: found"),
            (
                "{\n\"type\": \"Polygon\",\n\"coordinates\": [[[0,0],[1",
                "line 3: found",
            ),
        ];
        for (text, expected) in cases {
            let error = error(text).replace("; wanted", ", wanted");
            assert!(error.starts_with(expected), "{text}\n{error}");
        }
        for text in [
            "",
            "{}",
            r#"{"type":"Point","coordinates":[0,0]}"#,
            "x,y\n",
            "\u{0}\u{1}",
        ] {
            assert!(read(text).is_err(), "{text}");
        }
    }
}
