//! Profile lines without a place on the plan, laid out so that a straightedge can be laid along each of them.
//!
//! In: lines of one pitch. Out: a [`Surface`] of kind `Lines`: a row of nodes a line, x the distance from its first
//! reading. It has no area and no planes: how the lines lie to each other is not known.

use super::{HeightField, Kind, PointsByFate, Shared, Surface};
use crate::error::{Error, Result};
use crate::survey::ProfileLine;
use crate::units::System;

/// Distance of the rows, m: farther than any floor is wide.
const APART: f64 = 1e4;
/// Pitches that differ by no more than this share are the same.
const ONE_PITCH: f64 = 0.01;
/// The lattice has at most this many nodes.
const MOST_NODES: usize = 10_000_000;

/// The surface of `lines` whose heights have the standard uncertainty `u`, m.
///
/// # Errors
/// [`Error::Floor`] for no line, lines of different pitch, or lines so many and so unequal that they fit no lattice.
pub fn from_lines(lines: &[ProfileLine], u: f64) -> Result<Surface> {
    let pitch = lines.first().map(|line| line.pitch);
    let pitch = pitch.ok_or_else(|| Error::floor("no line", "at least one profile line"))?;
    let other = |line: &&ProfileLine| (line.pitch / pitch - 1.0).abs() > ONE_PITCH;
    if let Some(line) = lines.iter().find(other) {
        let [one, two] = [pitch, line.pitch].map(|pitch| System::Metric.height(pitch));
        let found = format!("lines read every {one} and every {two}");
        return Err(Error::floor(found, "lines of one pitch"));
    }
    let longest = lines.iter().map(|line| line.heights.len()).max();
    let nx = longest.unwrap_or_default();
    if nx.saturating_mul(lines.len()) > MOST_NODES {
        let found = format!("{} lines, the longest of {nx} readings", lines.len());
        let wanted = "fewer lines, or lines of about one length";
        return Err(Error::floor(found, wanted));
    }
    let mut field = HeightField::unmeasured([0.0, 0.0], [pitch, APART], [nx, lines.len()]);
    for (row, line) in lines.iter().enumerate() {
        let nodes = row * nx..row * nx + line.heights.len();
        field.z[nodes.clone()].copy_from_slice(&line.heights);
        field.u[nodes].fill(u);
    }
    Ok(Surface {
        kind: Kind::Lines,
        origin: [0.0; 3],
        points: PointsByFate {
            used: field.measured().count() as u64,
            ..PointsByFate::default()
        },
        field,
        triangles: Vec::new(),
        rows: lines
            .iter()
            .map(|line| (line.name.clone(), line.start))
            .collect(),
        pins: Vec::new(),
        spacing: pitch,
        shared: Shared::default(),
        outline: None,
        area: 0.0,
        unmeasured: 0.0,
        noise: None,
        warnings: Vec::new(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(name: &str, pitch: f64, heights: &[f64]) -> ProfileLine {
        ProfileLine {
            name: name.to_owned(),
            pitch,
            start: 2.0,
            places: None,
            heights: heights.to_vec(),
        }
    }

    #[test]
    fn every_line_has_a_row_of_its_own() {
        let lines = [line("A", 0.3, &[1.0, 2.0, 3.0]), line("B", 0.3, &[4.0; 5])];
        let surface = from_lines(&lines, 1e-3).unwrap();
        let field = &surface.field;
        assert_eq!((field.nx, field.ny, surface.points.used), (5, 2, 8));
        let (name, station) = surface.line_at(field.position(7)).unwrap();
        assert!(name == "B" && (station - 2.6).abs() < 1e-12);
    }

    #[test]
    fn lines_that_fit_no_lattice_are_refused() {
        let short = |n: usize| line(&n.to_string(), 0.3, &[0.0; 3]);
        let pitches = [short(1), line("B", 0.3048, &[0.0; 3])];
        let mut unequal: Vec<_> = (0..4000).map(short).collect();
        unequal.push(line("long", 0.3, &[0.0; 4000]));
        for lines in [&pitches[..], &unequal, &[]] {
            assert!(from_lines(lines, 1e-3).is_err());
        }
    }
}
