use super::*;
use crate::pour::datum::Fixed;
use crate::surface::from_readings;
use crate::survey::Reading;

/// The floor before, m.
fn old(x: f64, y: f64) -> f64 {
    1e-3 * (4.0 * (1.1 * x).sin() + 3.0 * (0.9 * y + x).cos() + 2.0 * x)
}

/// What is laid on it, m: 5 mm at the origin, 1 mm more a metre along x, 0.5 mm less along y.
fn poured(x: f64, y: f64) -> f64 {
    1e-3 * (5.0 + x - 0.5 * y)
}

fn new(x: f64, y: f64) -> f64 {
    old(x, y) + poured(x, y)
}

fn readings(at: impl IntoIterator<Item = [f64; 2]>, z: impl Fn(f64, f64) -> f64) -> Surface {
    let reading = |[x, y]: [f64; 2]| Reading {
        name: Some(format!("{x:.2}/{y:.2}")),
        x,
        y,
        z: z(x, y),
        setup: None,
    };
    let readings: Vec<_> = at.into_iter().map(reading).collect();
    from_readings(&readings, 1e-3, None).unwrap()
}

/// Every `pitch` m over 6 m by 4 m.
fn grid(pitch: f64) -> impl Iterator<Item = [f64; 2]> {
    let [nx, ny] = [6.0, 4.0].map(|length| (length / pitch).round() as usize + 1);
    (0..nx * ny).map(move |i| [(i % nx) as f64 * pitch, (i / nx) as f64 * pitch])
}

fn scattered() -> impl Iterator<Item = [f64; 2]> {
    grid(0.25).enumerate().map(|(i, [x, y])| {
        let off = |k: usize| ((i * k) % 101) as f64 / 1000.0 - 0.05;
        [x + off(7919), y + off(104_729)]
    })
}

/// Cells of a scan over 0 to 6 m by 0 to 4 m, each known to 0.2 mm.
fn scan(cell: f64, z: impl Fn(f64, f64) -> f64) -> Surface {
    let mut floor = readings(grid(2.0), |_, _| 0.0);
    let [nx, ny] = [6.0, 4.0].map(|length| (length / cell) as usize);
    let mut field = HeightField::unmeasured([0.5 * cell; 2], [cell; 2], [nx, ny]);
    for node in 0..nx * ny {
        let [x, y] = field.position(node);
        (field.z[node], field.u[node]) = (z(x, y), 0.2e-3);
    }
    (floor.kind, floor.spacing, floor.area) = (Kind::Cells, cell, 24.0);
    floor.pins.clear();
    floor.triangles.clear();
    floor.field = field;
    floor
}

fn side(surface: &Surface) -> Side<'_> {
    Side {
        surface,
        cut: false,
        common_u: 0.0,
    }
}

/// A benchmark whose heights differ by `shift`, each known to `u`.
fn datum(shift: f64, u: f64) -> Datum {
    let fixed = Fixed {
        name: "benchmark".to_owned(),
        at: None,
        before: [shift, u],
        after: [0.0, u],
    };
    Datum::new(vec![fixed], System::Metric).unwrap()
}

fn between(before: &Surface, after: &Surface) -> Laid {
    let sides = [before, after].map(side);
    laid(sides, datum(0.0, 0.0), None, Some(3e-3), System::Metric).unwrap()
}

/// Over 6 m by 4 m the mean of 5 + x - y/2 is 5 + 3 - 1 = 7 mm: 168 l.
#[test]
fn what_was_added_is_found_on_the_same_grid_to_rounding() {
    let laid = between(&readings(grid(0.5), old), &readings(grid(0.5), new));
    assert_eq!(laid.surface.kind, Kind::Grid);
    assert!((laid.surface.area - 24.0).abs() < 1e-9);
    assert!((laid.volume - 0.168).abs() < 1e-12, "{}", laid.volume);
    assert!((laid.mean - 0.007).abs() < 1e-12);
    assert!((laid.least.value - 0.003).abs() < 1e-12);
    assert_eq!(laid.surface.field.position(laid.least.node), [0.0, 4.0]);
    assert!((laid.greatest.value - 0.011).abs() < 1e-12);
    for pin in &laid.surface.pins {
        let [x, y, t] = pin.position;
        assert!((t - poured(x, y)).abs() < 1e-12, "{}", pin.name);
    }
    assert_eq!(laid.surface.pins.len(), 13 * 9);
}

/// Between readings both floors are straight: what is laid is off by the difference of two chords, at most about the larger
/// sagitta, h² / 8 of the curvature, 1.1² · 4 + 3 · 1.8 mm/m²: 0.32 mm at 0.5 m, 0.26 mm at 0.45 m, which scattered readings
/// are apart at most. A cell is flat, and a neighbour's half-width away 10 mm/m of slope are 0.5 mm.
#[test]
fn what_was_added_is_found_on_other_places_and_kinds() {
    let floors = [
        (readings(grid(0.5), old), readings(grid(0.4), new), 0.32e-3),
        (
            readings(grid(0.25), old),
            readings(scattered(), new),
            0.26e-3,
        ),
        (readings(grid(0.25), old), scan(0.05, new), 0.3e-3),
        (scan(0.1, old), readings(scattered(), new), 0.6e-3),
        (scan(0.1, old), scan(0.05, new), 0.6e-3),
    ];
    for (before, after, off) in floors {
        let laid = between(&before, &after);
        let kinds = (before.kind, after.kind);
        assert_eq!(laid.surface.kind, Kind::Cells, "{kinds:?}");
        for (_, [x, y, t]) in laid.surface.field.measured() {
            let off_here = (t - poured(x, y)).abs();
            assert!(off_here < off, "{kinds:?} {x} {y}: {off_here}");
        }
        let area = laid.surface.area;
        assert!((22.5..24.01).contains(&area), "{kinds:?} {area}");
        assert!(
            (laid.mean - 7e-3).abs() < 0.05e-3,
            "{kinds:?} {}",
            laid.mean
        );
    }
}

#[test]
fn two_scans_on_the_same_cells_are_taken_cell_by_cell() {
    let laid = between(&scan(0.1, old), &scan(0.1, new));
    assert!((laid.volume - 0.168).abs() < 1e-9, "{}", laid.volume);
    assert!((laid.least.value - poured(0.05, 3.95)).abs() < 1e-12);
    assert_eq!(laid.surface.field.measured().count(), 2400);
}

/// 13 x 9 readings known to 1 mm before and after, a benchmark known to 0.5 mm in each: at a node u² = 1 + 1 + 0.5, of the mean
/// 2/117 + 0.5.
#[test]
fn uncertainty_in_closed_form() {
    let floors = [old, new].map(|z| readings(grid(0.5), z));
    let [before, after] = [&floors[0], &floors[1]].map(side);
    let found = |before, after| {
        let datum = datum(0.0, 0.5e-3);
        laid([before, after], datum, None, None, System::Metric).unwrap()
    };
    let of_readings = found(before, after);
    assert!((of_readings.least.u - 2.5f64.sqrt() * 1e-3).abs() < 1e-12);
    let mean = (2.0 / 117.0 + 0.5f64).sqrt() * 1e-3;
    assert!((of_readings.mean_u - mean).abs() < 1e-12);
    assert!((of_readings.volume_u - 24.0 * mean).abs() < 1e-12);
    // 2400 cells known to 0.2 mm, of which 0.1 mm is the same in all: 0.01 + 0.03 / 2400 in place of 1 / 117.
    let cells = scan(0.1, new);
    let scanned = Side {
        common_u: 0.1e-3,
        ..side(&cells)
    };
    let mean = (1.0 / 117.0 + 0.01 + 0.03 / 2400.0 + 0.5f64).sqrt() * 1e-3;
    assert!((found(before, scanned).mean_u - mean).abs() < 1e-9);
}

#[test]
fn the_datum_moves_everything_and_origins_do_not_matter() {
    let before = readings(grid(0.5), old);
    let far = readings(grid(0.5).map(|[x, y]| [x + 3e5, y + 5e6]), |x, y| {
        2000.0 + old(x - 3e5, y - 5e6)
    });
    let lifted = |x: f64, y: f64| new(x, y) + 1.25;
    let after = readings(grid(0.5), lifted);
    let far_after = readings(grid(0.4).map(|[x, y]| [x + 3e5, y + 5e6]), |x, y| {
        lifted(x - 3e5, y - 5e6)
    });
    for (before, after, shift) in [(&before, &after, -1.25), (&far, &far_after, 1998.75)] {
        let sides = [before, after].map(side);
        let laid = laid(sides, datum(shift, 0.0), None, None, System::Metric).unwrap();
        assert!((laid.mean - 7e-3).abs() < 0.05e-3, "{}", laid.mean);
        assert!(laid.lower.is_none());
    }
}

#[test]
fn thin_places_and_what_is_not_decidable() {
    let flat = |x: f64, _: f64| if x < 1.2 { 1e-3 } else { 9e-3 };
    let before = readings(grid(0.5), |_, _| 0.0);
    let after = readings(grid(0.5), flat);
    // Each node known to √2 mm: 1 mm is less than 3 mm, but 2 mm are not beyond 1.645 √2 mm of doubt.
    let undecided = between(&before, &after).thin.unwrap();
    assert_eq!(undecided.verdict, Verdict::Undecided);
    // Columns at 0, 0.5 and 1 m stand for 0.25 + 0.5 + 0.5 m of 4 m.
    assert!((undecided.area - 5.0).abs() < 1e-9, "{}", undecided.area);
    assert!((undecided.doubtful - 5.0).abs() < 1e-9);
    assert_eq!(undecided.places.len(), 1);
    assert!((undecided.places[0].extreme + 2e-3).abs() < 1e-12);

    let sure = |z: &dyn Fn(f64, f64) -> f64, depth| {
        let [mut before, mut after] = [&|_: f64, _: f64| 0.0, z].map(|z| readings(grid(0.5), z));
        before.field.u.fill(0.1e-3);
        after.field.u.fill(0.1e-3);
        let sides = [&before, &after].map(side);
        laid(sides, datum(0.0, 0.0), None, Some(depth), System::Metric).unwrap()
    };
    let thin = sure(&flat, 3e-3).thin.unwrap();
    assert_eq!((thin.verdict, thin.doubtful), (Verdict::Outside, 0.0));
    let enough = sure(&flat, 0.5e-3).thin.unwrap();
    assert_eq!((enough.verdict, enough.area), (Verdict::Within, 0.0));
    assert_eq!(enough.places, []);
    assert!(!sure(&flat, 3e-3).lowered());
    // 4 mm lower everywhere, each place known to √2 mm: beyond k = 3.8 of them (n = 117) nowhere, but on average.
    let sunk = readings(grid(0.5), |_, _| -4e-3);
    let sunk = between(&before, &sunk);
    assert!(sunk.lower.is_none() && sunk.lowered());
    let ground = sure(&|x, _| if x < 0.1 { -4e-3 } else { 4e-3 }, 1e-3);
    assert!(ground.lowered());
    let lower = ground.lower.unwrap();
    assert!((lower.area - 1.0).abs() < 1e-9 && (lower.worst.value + 4e-3).abs() < 1e-12);
}

#[test]
fn an_outline_cuts_what_is_compared() {
    let corners = [(1.0, 1.0), (3.0, 1.0), (3.0, 2.5), (1.0, 2.5)];
    let outline = Outline {
        polygon: geo::Polygon::new(geo::LineString::from(corners.to_vec()), Vec::new()),
    };
    let floors = [old, new].map(|z| readings(grid(0.5), z));
    let sides = [&floors[0], &floors[1]].map(|surface| Side {
        cut: true,
        ..side(surface)
    });
    let laid = laid(sides, datum(0.0, 0.0), Some(&outline), None, System::Metric).unwrap();
    assert!(
        (laid.surface.area - 3.0).abs() < 1e-9,
        "{}",
        laid.surface.area
    );
    // The middle of 1 to 3 and 1 to 2.5 m: 5 + 2 - 0.875 mm. Thickness is a plane at the readings, so it is exact.
    assert!((laid.mean - 6.125e-3).abs() < 1e-9, "{}", laid.mean);
    assert_eq!(laid.surface.pins.len(), 5 * 4);
}

#[test]
fn surveys_that_do_not_meet_say_where_they_are() {
    let before = readings(grid(0.5), old);
    let after = readings(grid(0.5).map(|[x, y]| [x + 10.0, y]), |_, _| 0.0);
    let lines = Surface {
        kind: Kind::Lines,
        ..before.clone()
    };
    for other in [&after, &lines] {
        let sides = [&before, other].map(side);
        let reason = laid(sides, datum(0.0, 0.0), None, None, System::Metric).unwrap_err();
        assert!(reason.contains("no measured floor in common"), "{reason}");
    }
    let sides = [&before, &after].map(side);
    let reason = laid(sides, datum(0.0, 0.0), None, None, System::Metric).unwrap_err();
    assert!(reason.contains("x 0.00 m to 6.00 m") && reason.contains("x 10.00 m to 16.00 m"));
}

/// 168 l at 15 l a bag are 11.2 bags; 13 are 16 % more.
#[test]
fn bags_against_what_the_floor_shows() {
    let laid = between(&readings(grid(0.5), old), &readings(grid(0.5), new));
    let sheet = crate::pour::sheet::tests::SHEET;
    let compound = Compound::parse(sheet, "sheet.toml").unwrap();
    let used = Used::new(13.0, &laid, &compound);
    assert!((used.expected - 11.2).abs() < 1e-9);
    assert!((used.made - 0.195).abs() < 1e-12);
    assert!((used.difference().unwrap() - (13.0 / 11.2 - 1.0)).abs() < 1e-12);
    let nothing = Laid {
        volume: -1e-3,
        ..laid
    };
    assert_eq!(Used::new(13.0, &nothing, &compound).difference(), None);
}
