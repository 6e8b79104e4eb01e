use geo::{LineString, Polygon};
use quick_xml::Reader;
use quick_xml::events::Event;

use super::boxes::Rect;
use super::*;
use crate::surface::{HeightField, Kind, Outline, PointsByFate, Shared};

/// A floor of `size` nodes `step` apart that is `height` high, NaN where not measured.
fn surface(kind: Kind, step: f64, size: [usize; 2], height: impl Fn(f64, f64) -> f64) -> Surface {
    let mut field = HeightField::unmeasured([step / 2.0; 2], [step; 2], size);
    for index in 0..field.z.len() {
        let [x, y] = field.position(index);
        field.z[index] = height(x, y);
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
        area: 0.0,
        unmeasured: 0.0,
        points: PointsByFate::default(),
        noise: None,
        warnings: Vec::new(),
    }
}

fn outline(rings: &[&[[f64; 2]]]) -> Option<Outline> {
    let mut rings = rings.iter().map(|ring| LineString::from(ring.to_vec()));
    let wall = rings.next().expect("a wall");
    Some(Outline {
        polygon: Polygon::new(wall, rings.collect()),
    })
}

/// Hollows and crowns of some millimetres, metres apart.
fn waves(x: f64, y: f64) -> f64 {
    0.004 * (x * 1.3).sin() * (y * 1.1 + 0.5).cos() + 0.002 * (0.6 * x - 0.8 * y + 1.0).sin()
}

/// Noise of +-1 mm that is the same on every run, from the place alone.
fn noise(x: f64, y: f64) -> f64 {
    let seed = ((x * 1000.0) as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ ((y * 1000.0) as u64);
    let mixed = (seed ^ (seed >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    ((mixed >> 33) as f64 / (1u64 << 31) as f64 - 0.5) * 0.002
}

fn spot(number: usize, kind: SpotKind, at: [f64; 2]) -> Mark {
    Mark::Spot {
        number,
        kind,
        at,
        value: waves(at[0], at[1]),
    }
}

fn plan(surface: &Surface, marks: Vec<Mark>) -> MapPlan<'_> {
    MapPlan {
        title: "Flat 3, living room & <hall>".to_owned(),
        subtitle: "Outside DIN 18202 table 3 row 3: worst gap 4.2 mm under 2 m, limit 4 mm \
                   (uncertainty 0.4 mm)"
            .to_owned(),
        quantity: "Height above or below the best level plane".to_owned(),
        surface,
        values: &surface.field.z,
        scale: Scale::Diverging { limit: None },
        marks,
        units: System::Metric,
        notes: vec!["Readings with a standard uncertainty of 1.0 mm.".to_owned()],
    }
}

fn edge(length: f64, from: [f64; 2], to: [f64; 2], t: f64) -> Mark {
    let at = [
        from[0] + t * (to[0] - from[0]),
        from[1] + t * (to[1] - from[1]),
    ];
    Mark::Edge {
        length,
        from,
        to,
        at,
        gap: 0.0042,
    }
}

/// 3.2 x 2.4 m of readings 0.4 m apart.
fn small_room() -> (Surface, Vec<Mark>) {
    let mut room = surface(Kind::Grid, 0.4, [8, 6], waves);
    room.outline = outline(&[&[[0.0, 0.0], [3.2, 0.0], [3.2, 2.4], [0.0, 2.4]]]);
    let marks = vec![
        spot(1, SpotKind::High, [1.0, 0.2]),
        spot(2, SpotKind::Low, [3.0, 1.0]),
        spot(3, SpotKind::High, [2.6, 2.2]),
        edge(2.0, [1.0, 0.6], [2.6, 1.4], 0.5),
    ];
    (room, marks)
}

/// 8 x 6 m, L-shaped, with a column, of 25 mm cells; furniture in a corner.
fn l_shaped_room() -> (Surface, Vec<Mark>) {
    let inside = |x: f64, y: f64| {
        let column = (1.8..2.2).contains(&x) && (2.8..3.2).contains(&y);
        let cupboard = (6.5..7.3).contains(&x) && (0.3..0.9).contains(&y);
        !column && !cupboard && (x < 4.0 || y < 3.5)
    };
    let height = move |x, y| {
        if inside(x, y) {
            waves(x, y) + noise(x, y)
        } else {
            f64::NAN
        }
    };
    let mut room = surface(Kind::Cells, 0.025, [320, 240], height);
    room.outline = outline(&[
        &[
            [0.0, 0.0],
            [8.0, 0.0],
            [8.0, 3.5],
            [4.0, 3.5],
            [4.0, 6.0],
            [0.0, 6.0],
        ],
        &[[1.8, 2.8], [2.2, 2.8], [2.2, 3.2], [1.8, 3.2]],
    ]);
    let marks = vec![
        spot(1, SpotKind::High, [1.2, 5.3]),
        spot(2, SpotKind::High, [1.35, 5.2]),
        spot(3, SpotKind::Low, [3.6, 5.2]),
        spot(4, SpotKind::Low, [1.1, 2.3]),
        spot(5, SpotKind::High, [6.0, 0.1]),
        edge(2.0, [0.4, 1.5], [2.0, 2.7], 0.4),
        edge(4.0, [3.5, 0.4], [7.2, 1.9], 0.6),
    ];
    (room, marks)
}

/// A corridor of 20 x 1.5 m.
fn corridor() -> (Surface, Vec<Mark>) {
    let corridor = surface(Kind::Grid, 0.5, [40, 3], waves);
    let marks = vec![
        spot(1, SpotKind::High, [1.25, 0.75]),
        spot(2, SpotKind::Low, [3.25, 0.75]),
        spot(3, SpotKind::High, [11.25, 1.25]),
        edge(3.0, [7.25, 0.25], [10.25, 0.75], 0.5),
    ];
    (corridor, marks)
}

/// A hall of 60 x 40 m in 25 mm cells with noise and holes, far from its survey's zero.
fn hall() -> (Surface, Vec<Mark>) {
    let height = |x: f64, y: f64| {
        let pallet = (x % 12.0) < 1.2 && (y % 9.0) < 0.8;
        if pallet {
            f64::NAN
        } else {
            2.0 * waves(x / 6.0, y / 6.0) + noise(x, y)
        }
    };
    let mut hall = surface(Kind::Cells, 0.025, [2400, 1600], height);
    hall.origin = [652_300.25, 5_812_100.5, 37.0];
    let marks = (0..24)
        .map(|n| {
            let at = [3.0 + 11.0 * (n % 6) as f64, 5.0 + 9.0 * (n / 6) as f64];
            spot(
                n + 1,
                if n % 3 == 0 {
                    SpotKind::Low
                } else {
                    SpotKind::High
                },
                at,
            )
        })
        .chain([edge(4.0, [30.0, 20.0], [33.7, 21.5], 0.5)])
        .collect();
    (hall, marks)
}

/// A pour: depths, batches, pins.
fn pour() -> (Surface, Vec<Mark>) {
    let (room, _) = small_room();
    let mut marks: Vec<Mark> = (0..4)
        .map(|n| {
            let x = 0.8 * n as f64;
            Mark::Batch {
                number: n + 1,
                outline: vec![[x, 0.0], [x + 0.8, 0.0], [x + 0.8, 2.4], [x, 2.4]],
                centre: [x + 0.4, 1.2],
                text: "2 bags, 29 l".to_owned(),
            }
        })
        .collect();
    marks.extend((0..3).map(|n| {
        let x = 0.4 + 0.8 * n as f64;
        Mark::Step {
            from: [x, 1.2],
            to: [x + 0.8, 1.2],
        }
    }));
    marks.push(Mark::BayStop {
        ends: [[1.6, 0.0], [1.6, 2.4]],
    });
    marks.push(Mark::Exit { at: [3.2, 1.2] });
    marks.push(Mark::Fixed {
        letter: 'A',
        name: "sill of the door to the long corridor".to_owned(),
        met: Met::No,
        places: vec![[3.2, 0.4], [3.2, 0.9]],
        at: [3.2, 0.9],
        off: Some(-0.0123),
    });
    for n in 0..12 {
        let at = [0.3 + 0.8 * (n % 4) as f64, 0.3 + 0.9 * (n / 4) as f64];
        marks.push(Mark::Pin {
            at,
            text: format!("{:.1} mm", 8.0 - 1000.0 * waves(at[0], at[1])),
        });
    }
    (room, marks)
}

fn every_map(check: impl Fn(&MapPlan)) {
    for (surface, marks) in [small_room(), l_shaped_room(), corridor(), hall()] {
        check(&plan(&surface, marks));
    }
    let (surface, marks) = small_room();
    check(&MapPlan {
        units: System::Imperial,
        ..plan(&surface, marks)
    });
    let (surface, marks) = pour();
    let depths: Vec<f64> = surface.field.z.iter().map(|z| 0.008 - z).collect();
    check(&MapPlan {
        values: &depths,
        scale: Scale::Depth,
        ..plan(&surface, marks)
    });
    let line = surface_of_one_line();
    check(&plan(&line, Vec::new()));
}

fn surface_of_one_line() -> Surface {
    surface(Kind::Grid, 0.3, [1, 20], waves)
}

/// The text of every `<text>`, `<title>` and `<desc>`; fails where the XML is not well formed.
fn texts_in(svg: &str) -> Vec<String> {
    let mut reader = Reader::from_str(svg);
    let mut texts = Vec::new();
    let mut text = String::new();
    loop {
        match reader.read_event().expect("well-formed XML") {
            Event::Eof => return texts,
            Event::Start(_) => text.clear(),
            Event::Text(part) => text += &part,
            Event::GeneralRef(name) => {
                text += match &*name {
                    "amp" => "&",
                    "lt" => "<",
                    "gt" => ">",
                    "apos" => "'",
                    other => panic!("unexpected entity {other}"),
                }
            }
            Event::End(_) => texts.push(std::mem::take(&mut text).trim().to_owned()),
            _ => {}
        }
    }
}

#[test]
fn no_two_texts_overlap_and_all_are_on_the_page() {
    every_map(|plan| {
        let (svg, _, texts) = drawn(plan).expect("draws");
        let view_box = svg.split("viewBox=\"0 0 ").nth(1).expect("a viewBox");
        let size: Vec<f64> = view_box
            .split(['"', ' '])
            .take(2)
            .map(|side| side.parse::<f64>().expect("a number") / sheet::UNITS)
            .collect();
        let page = Rect {
            left: 0.0,
            top: 0.0,
            right: size[0],
            bottom: size[1],
        };
        for (index, (text, room)) in texts.iter().enumerate() {
            assert!(room.within(&page), "'{text}' is off the page: {room:?}");
            for (other, taken) in &texts[index + 1..] {
                assert!(!room.overlaps(taken), "'{text}' overlaps '{other}'");
            }
        }
    });
}

#[test]
fn every_map_is_small_and_well_formed_and_says_what_it_shows() {
    every_map(|plan| {
        let svg = svg(plan).expect("draws");
        assert!(svg.len() < 1_000_000, "{} bytes", svg.len());
        let texts = texts_in(&svg);
        for wanted in [
            plan.title.as_str(),
            plan.quantity.as_str(),
            height_unit(plan.units),
        ] {
            assert!(
                texts.iter().any(|text| text == wanted),
                "'{wanted}' is missing"
            );
        }
        for mark in &plan.marks {
            let wanted = match mark {
                Mark::Spot { number, .. } | Mark::Batch { number, .. } => number.to_string(),
                Mark::Edge { gap, .. } | Mark::Laid { gap, .. } => plan.units.height(*gap),
                Mark::Pin { text, .. } => text.clone(),
                Mark::SampleLine { name, .. } => name.clone(),
                Mark::Exit { .. } => "way out".to_owned(),
                Mark::Fixed { letter, .. } => letter.to_string(),
                Mark::Step { .. } | Mark::BayStop { .. } => continue,
            };
            let found = texts.iter().any(|text| text.contains(&wanted));
            assert!(found, "'{wanted}' is missing");
        }
    });
}

#[test]
fn contours_carry_their_heights() {
    let (surface, marks) = small_room();
    let texts = texts_in(&svg(&plan(&surface, marks)).expect("draws"));
    // The readings run from -4.1 to +4.9 mm: every whole millimetre between has a contour, and a label.
    for wanted in [
        "\u{2212}4",
        "\u{2212}3",
        "\u{2212}2",
        "\u{2212}1",
        "0",
        "+1",
        "+2",
        "+3",
        "+4",
    ] {
        assert!(
            texts.iter().any(|text| text == wanted),
            "no contour says {wanted}"
        );
    }
}

#[test]
fn a_scan_of_a_million_cells_stays_small() {
    let scan = surface(Kind::Cells, 0.01, [1000, 1000], |x, y| {
        waves(x, y) + noise(x, y)
    });
    let svg = svg(&plan(&scan, Vec::new())).expect("draws");
    assert!(svg.len() < 1_000_000, "{} bytes", svg.len());
}

#[test]
fn the_same_plan_gives_the_same_bytes() {
    let (surface, marks) = l_shaped_room();
    let plan = plan(&surface, marks);
    assert_eq!(svg(&plan).expect("draws"), svg(&plan).expect("draws"));
}

#[test]
fn what_cannot_be_drawn_is_an_error_and_odd_input_no_panic() {
    let empty = surface(Kind::Cells, 0.1, [5, 5], |_, _| f64::NAN);
    assert!(svg(&plan(&empty, Vec::new())).is_err());
    let room = surface(Kind::Grid, 0.5, [4, 4], waves);
    assert!(
        svg(&MapPlan {
            values: &[0.0],
            ..plan(&room, Vec::new())
        })
        .is_err()
    );

    let flat = surface(Kind::Cells, 0.5, [2, 2], |_, _| 0.0);
    let nowhere = spot(1, SpotKind::High, [f64::NAN; 2]);
    let odd = MapPlan {
        title: "\u{1}<![CDATA[".to_owned() + &"long ".repeat(500),
        scale: Scale::Diverging { limit: Some(0.0) },
        ..plan(&flat, vec![nowhere])
    };
    texts_in(&svg(&odd).expect("draws"));
    let single = surface(Kind::Triangulated, 0.5, [1, 1], waves);
    texts_in(&svg(&plan(&single, Vec::new())).expect("draws"));
}

#[test]
fn a_pour_that_fills_nothing_is_drawn() {
    let floor = surface(Kind::Cells, 0.5, [6, 8], waves);
    let nothing = vec![f64::NAN; floor.field.z.len()];
    let pour = MapPlan {
        values: &nothing,
        scale: Scale::Depth,
        ..plan(&floor, Vec::new())
    };
    texts_in(&svg(&pour).expect("draws"));
}

#[test]
fn maps_on_one_scale_have_the_same_numbers() {
    for height in [1.0, 0.1] {
        let floor = surface(Kind::Grid, 0.5, [10, 8], |x, y| height * waves(x, y));
        let scale = Scale::Diverging { limit: Some(0.008) };
        let map = MapPlan {
            scale,
            ..plan(&floor, Vec::new())
        };
        let texts = texts_in(&svg(&map).expect("draws"));
        for wanted in ["\u{2212}8", "\u{2212}6", "+6", "+8"] {
            assert!(
                texts.iter().any(|text| text == wanted),
                "heights times {height}: no {wanted}"
            );
        }
    }
}
