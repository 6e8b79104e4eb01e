//! Lines over invented floors.

use geo::{LineString, Polygon};

use super::*;
use crate::surface::{Outline, PointsByFate, Shared};

fn height([x, y]: [f64; 2]) -> f64 {
    1e-3 * (x - 0.5 * y)
}

/// A floor of `size` metres with a node every `step` metres, turned by nothing.
fn surface(kind: Kind, size: [f64; 2], step: f64, measured: impl Fn([f64; 2]) -> bool) -> Surface {
    let count = size.map(|length| (length / step).round() as usize + 1);
    let mut field = HeightField::unmeasured([0.0, 0.0], [step, step], count);
    for node in 0..field.z.len() {
        let at = field.position(node);
        if measured(at) {
            (field.z[node], field.u[node]) = (height(at), 1e-3);
        }
    }
    Surface {
        kind,
        origin: [0.0; 3],
        field,
        triangles: Vec::new(),
        rows: Vec::new(),
        pins: Vec::new(),
        spacing: step,
        shared: Shared::default(),
        outline: None,
        area: size[0] * size[1],
        unmeasured: 0.0,
        points: PointsByFate::default(),
        noise: None,
        warnings: Vec::new(),
    }
}

fn length(line: &SampleLine) -> f64 {
    let [[ax, ay], [bx, by]] = line.ends.unwrap();
    (bx - ax).hypot(by - ay)
}

/// Distance of a place from the straight line through the ends of `line`, m.
fn off(line: &SampleLine, [x, y]: [f64; 2]) -> f64 {
    let [[ax, ay], [bx, by]] = line.ends.unwrap();
    ((bx - ax) * (y - ay) - (by - ay) * (x - ax)).abs() / length(line)
}

fn holds(lines: &[SampleLine], edge: impl Fn([f64; 2]) -> f64) {
    for line in lines {
        let ends = line.ends.unwrap();
        assert!(ends.iter().all(|&end| edge(end) > 0.6 - 1e-5), "{ends:?}");
        assert!(length(line) > 3.3 - 1e-5 && line.heights.len() >= 12);
        assert!((length(line) - line.pitch * (line.heights.len() - 1) as f64).abs() < 1e-9);
        // On a plane the heights between the cells are exact.
        let steps = (line.heights.len() - 1) as f64;
        for (step, z) in line.heights.iter().enumerate() {
            let share = step as f64 / steps;
            let at = [0, 1].map(|axis| ends[0][axis] + share * (ends[1][axis] - ends[0][axis]));
            assert!((z - height(at)).abs() < 1e-12);
        }
        let parallel = lines
            .iter()
            .filter(|other| other.name[..1] == line.name[..1]);
        for other in parallel.filter(|other| other.name != line.name) {
            assert!(off(line, other.ends.unwrap()[0]) > 1.2 - 1e-5);
        }
    }
    assert!(
        ["A1", "B1"]
            .iter()
            .all(|name| lines.iter().any(|line| line.name == *name))
    );
}

/// 10 m by 8 m: lines 8.8 m and 6.8 m long, six (6.8 / 1.2 = 5.7) and eight (8.8 / 1.2 = 7.3) of them.
#[test]
fn a_wide_room_has_lines_along_its_sides() {
    let room = surface(Kind::Cells, [10.0, 8.0], 0.05, |_| true);
    let lines = lay(&room, System::Metric).unwrap();
    holds(&lines, |[x, y]| x.min(10.0 - x).min(y).min(8.0 - y));
    assert_eq!(lines.len(), 6 + 8);
    assert!(lines.iter().all(|line| length(line) > 6.4));
}

#[test]
fn a_narrow_room_has_slanting_lines_and_none_corner_to_corner() {
    for size in [[12.0, 6.0], [7.0, 7.0]] {
        let room = surface(Kind::Cells, size, 0.05, |_| true);
        let lines = lay(&room, System::Metric).unwrap();
        holds(&lines, |[x, y]| x.min(size[0] - x).min(y).min(size[1] - y));
        for line in &lines {
            let [[ax, ay], [bx, by]] = line.ends.unwrap();
            assert!(((bx - ax).abs() - (by - ay).abs()).abs() < 1e-9);
            let corners = [[0.0, 0.0], [size[0], 0.0], [0.0, size[1]], size];
            assert!(
                corners
                    .iter()
                    .filter(|&&corner| off(line, corner) < 0.5)
                    .count()
                    < 2
            );
        }
    }
}

#[test]
fn a_hole_breaks_lines_and_an_outline_keeps_them_clear() {
    let hole = |[x, y]: [f64; 2]| (x - 5.0).abs() < 0.2 && (y - 4.0).abs() < 2.0;
    let mut room = surface(Kind::Cells, [10.0, 8.0], 0.05, |at| !hole(at));
    let lines = lay(&room, System::Metric).unwrap();
    assert!(
        lines.len() > 14
            && lines
                .iter()
                .all(|line| line.heights.iter().all(|z| z.is_finite()))
    );

    let ring = |x: [f64; 2], y: [f64; 2]| {
        LineString::from(vec![(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])])
    };
    let column = ring([4.8, 5.2], [3.8, 4.2]);
    room = surface(Kind::Cells, [10.0, 8.0], 0.05, |_| true);
    room.outline = Some(Outline {
        polygon: Polygon::new(ring([1.0, 9.0], [0.0, 8.0]), vec![column]),
    });
    let lines = lay(&room, System::Metric).unwrap();
    for line in &lines {
        let [[ax, ay], [bx, by]] = line.ends.unwrap();
        for share in (0..line.heights.len()).map(|i| i as f64 / (line.heights.len() - 1) as f64) {
            let (x, y) = (ax + share * (bx - ax), ay + share * (by - ay));
            assert!(x > 1.6 - 1e-5 && x < 8.4 + 1e-5 && y > 0.6 - 1e-5 && y < 7.4 + 1e-5);
            let (dx, dy) = ((x - 5.0f64).abs() - 0.2, (y - 4.0f64).abs() - 0.2);
            assert!(dx.max(0.0).hypot(dy.max(0.0)) > 0.6 - 1e-5);
        }
    }
}

#[test]
fn a_grid_is_read_at_its_nodes_if_its_pitch_fits() {
    let grid = surface(Kind::Grid, [9.0, 8.1], 0.3, |_| true);
    let lines = lay(&grid, System::Metric).unwrap();
    holds(&lines, |[x, y]| x.min(9.0 - x).min(y).min(8.1 - y));
    // Rows at 0.6, 1.8, ... 6.6 m (7.8 m is in the strip) and columns at 0.6, 1.8, ... 7.8 m.
    assert_eq!(lines.len(), 6 + 7);
    let reason =
        |kind, size, step| lay(&surface(kind, size, step, |_| true), System::Metric).unwrap_err();
    assert!(reason(Kind::Grid, [8.0, 8.0], 0.4).contains("400.0 mm apart"));
    assert!(reason(Kind::Grid, [9.0, 6.0], 0.3).contains("45 degrees"));
    assert!(reason(Kind::Cells, [9.0, 3.0], 0.1).contains("no line of 3.30 m fits"));
    assert!(reason(Kind::Cells, [9.0, 9.0], 0.5).contains("too coarse"));
    assert!(reason(Kind::Triangulated, [9.0, 9.0], 0.3).contains("scattered"));
}
