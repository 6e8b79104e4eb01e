//! The whole way from a file to the answers, on random surveys: what must not matter, what must add up, and that every
//! document holds finite numbers and validates against its schema.

use std::fmt::Write as _;
use std::fs;
use std::sync::LazyLock;

use lowspot::output::json;
use lowspot::run::{self, Finish, Job, Pins, PourJob, Shape};
use lowspot::survey::Options;
use lowspot::tolerance::parse_class;
use proptest::prelude::*;
use serde_json::Value;

/// A reading in whole units that are decimal in millimetres and in inches: place in 3.175 µm (1/8000 in), height in
/// 2.54 nm (1e-7 in). Fine enough that no two readings are equal by chance, nor four on a circle.
#[derive(Debug, Clone, Copy)]
struct Reading {
    at: [i64; 2],
    height: i64,
}

impl Reading {
    fn metres(&self) -> [f64; 3] {
        let [x, y] = self.at.map(|at| at as f64 * 3.175e-6);
        [x, y, self.height as f64 * 2.54e-9]
    }
}

type Floor = Vec<Reading>;

/// About a third to two thirds of a metre.
const PITCH: std::ops::Range<i64> = 100_000..200_000;
/// 20 mm.
const RANGE: std::ops::Range<i64> = 0..8_000_000;

/// Readings on a grid, one in twelve not taken.
fn grid() -> impl Strategy<Value = Floor> {
    (4..8_i64, 4..7_i64, PITCH, PITCH).prop_flat_map(|(nx, ny, dx, dy)| {
        let taken = prop_oneof![11 => RANGE.prop_map(Some), 1 => Just(None)];
        prop::collection::vec(taken, (nx * ny) as usize).prop_map(move |heights| {
            let reading = |(i, height): (usize, Option<i64>)| {
                let (i, height) = (i as i64, height?);
                Some(Reading {
                    at: [i % nx * dx, i / nx * dy],
                    height,
                })
            };
            heights
                .into_iter()
                .enumerate()
                .filter_map(reading)
                .collect()
        })
    })
}

/// Readings here and there, none nearer to another than a third of the pitch.
fn scattered() -> impl Strategy<Value = Floor> {
    let reading = (0..100_000_i64, 0..100_000_i64, RANGE);
    (4..7_i64, prop::collection::vec(reading, 16..32)).prop_map(|(nx, readings)| {
        let reading = |(i, (x, y, height)): (usize, (i64, i64, i64))| Reading {
            at: [i as i64 % nx * 150_000 + x, i as i64 / nx * 150_000 + y],
            height,
        };
        readings.into_iter().enumerate().map(reading).collect()
    })
}

fn floor() -> impl Strategy<Value = Floor> {
    prop_oneof![grid(), scattered()]
}

/// A list of readings, places and heights in units of so many metres.
fn list(floor: &[Reading], plan: (&str, f64), height: (&str, f64)) -> String {
    let mut text = format!("x_{0},y_{0},height_{1}\n", plan.0, height.0);
    for [x, y, z] in floor.iter().map(Reading::metres) {
        let _ = writeln!(text, "{},{},{}", x / plan.1, y / plan.1, z / height.1);
    }
    text
}

fn in_metres(floor: &[Reading]) -> String {
    list(floor, ("m", 1.0), ("m", 1.0))
}

/// A job of these files with some classes and straightedges, in a folder that goes with the guard.
fn job(texts: &[String]) -> (Job, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let file = |(number, text): (usize, &String)| {
        let path = folder.path().join(format!("{number}.txt"));
        fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let classes = ["SR2", "BS8204-LEVEL"];
    let job = Job {
        files: texts.iter().enumerate().map(file).collect(),
        options: Options::default(),
        classes: classes
            .iter()
            .filter_map(|name| parse_class(name, &[]).ok())
            .collect(),
        straightedges: vec![1.0],
        ..Job::default()
    };
    (job, folder)
}

/// What `check` answers, without the record of the files.
fn check(texts: &[String]) -> Value {
    let (job, _folder) = job(texts);
    let found = run::check(&job, &|_, _| {}).unwrap_or_else(|error| panic!("{error}"));
    without_inputs(document(&json::check(&found)))
}

fn document(value: &impl serde::Serialize) -> Value {
    serde_json::to_value(value).unwrap()
}

fn without_inputs(mut document: Value) -> Value {
    document.as_object_mut().unwrap().remove("inputs");
    document
}

/// Where two documents differ by more than their rounding, a ten-thousandth of a unit.
fn difference(one: &Value, other: &Value, at: &str) -> Option<String> {
    match (one, other) {
        (Value::Object(a), Value::Object(b)) if a.len() == b.len() => {
            a.iter().find_map(|(key, a)| {
                let at = format!("{at}.{key}");
                b.get(key)
                    .map_or(Some(at.clone()), |b| difference(a, b, &at))
            })
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            let mut pairs = a.iter().zip(b).enumerate();
            pairs.find_map(|(number, (a, b))| difference(a, b, &format!("{at}[{number}]")))
        }
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64()?, b.as_f64()?);
            let same = (a - b).abs() <= 2e-4 + 1e-6 * a.abs();
            (!same).then(|| format!("{at}: {a} {b}"))
        }
        _ => (one != other).then(|| format!("{at}: {one} {other}")),
    }
}

/// What of a document tells how flat a floor is, and not how level.
fn flatness(document: &Value) -> Value {
    let gap = |edge: &Value| {
        let of = |key: &str| edge[key].clone();
        Value::from(
            ["length_m", "worst_gap_mm", "gap_u_mm", "worst_departure_mm"]
                .map(of)
                .to_vec(),
        )
    };
    let gaps = document["straightedge"]
        .as_array()
        .unwrap()
        .iter()
        .map(gap)
        .collect();
    let squares = &document["planes"]["least_squares"];
    Value::Array(vec![
        gaps,
        document["planes"]["minimum_zone"]["width_mm"].clone(),
        squares["rms_mm"].clone(),
        squares["above_mm"].clone(),
        squares["below_mm"].clone(),
        document["surface"]["area_m2"].clone(),
    ])
}

/// Keys whose null says no more than that there is no such thing.
const NO_SUCH_THING: [&str; 4] = ["point", "from", "to", "at"];

/// Keys that are null where another is, for the same reason.
const TOGETHER: [(&str, &str); 6] = [
    ("survey", "surface"),
    ("level", "surface"),
    ("gap_u_mm", "worst_gap_mm"),
    ("noise_reach_mm", "bias_mm"),
    ("departure_u_mm", "worst_departure_mm"),
    ("currency", "price"),
];

/// A null without a sibling that says why.
fn unexplained(value: &Value, at: &str) -> Option<String> {
    match value {
        Value::Object(map) => map.iter().find_map(|(key, value)| {
            let at = format!("{at}.{key}");
            let reason = map.get(&format!("{key}_reason"));
            let with_another = TOGETHER
                .iter()
                .any(|(one, other)| one == key && map.get(*other).is_some_and(Value::is_null));
            let explained = reason.is_some_and(Value::is_string) || with_another;
            match value {
                Value::Null if explained || NO_SUCH_THING.contains(&key.as_str()) => None,
                value => unexplained(value, &at),
            }
        }),
        Value::Array(values) => values.iter().find_map(|value| unexplained(value, at)),
        Value::Null => Some(at.to_owned()),
        _ => None,
    }
}

fn schema(verb: &str) -> jsonschema::Validator {
    let path = format!(
        "{}/src/output/schema/{verb}.json",
        env!("CARGO_MANIFEST_DIR")
    );
    let schema = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
    jsonschema::validator_for(&schema).unwrap()
}

static CHECK: LazyLock<jsonschema::Validator> = LazyLock::new(|| schema("check"));
static DESCRIBE: LazyLock<jsonschema::Validator> = LazyLock::new(|| schema("describe"));
static POUR: LazyLock<jsonschema::Validator> = LazyLock::new(|| schema("pour"));

const SHEET: &str = "name = \"c\"\nbag = \"25 kg\"\nliquid_per_bag = \"5 l\"\nmixed_per_bag = \"15 l\"\nleast_depth = \"2 mm\"\n\
    greatest_depth = \"200 mm\"\nworking_time = \"30 min\"\nmixing_time = \"3 min\"\nwalk_on = \"3 h\"\n";

const WASTE: f64 = 0.07;

/// The plan of pouring a survey to a finish, left by its first corner.
fn pour(text: &str, finish: Finish) -> Result<Value, String> {
    let (job, folder) = job(&[text.to_owned()]);
    let sheet = folder.path().join("sheet.toml");
    fs::write(&sheet, SHEET).unwrap();
    let pouring = PourJob {
        compounds: vec![sheet.to_str().unwrap().to_owned()],
        shape: Shape::Level,
        finish,
        waste: WASTE,
        least_depth: None,
        grind: None,
        exits: vec![[0.0, 0.0]],
        vessel: None,
        crew: 2,
        pins: Pins::Readings { of_scan: None },
        fixed: Vec::new(),
    };
    let plan = run::pour(&job, &pouring, &|_, _| {}).map_err(|error| error.to_string())?;
    Ok(document(&json::pour(&plan)))
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

fn sum(batches: &Value, key: &str) -> f64 {
    batches
        .as_array()
        .unwrap()
        .iter()
        .map(|batch| number(&batch[key]))
        .sum()
}

/// Surveys of every kind, and heights from nothing to hundreds of metres: sense is not asked for, only finite numbers.
fn any_survey() -> impl Strategy<Value = String> {
    let size = prop_oneof![Just(0.0), Just(1.0), Just(1e-9), Just(1e4), Just(-1e5)];
    let kind = 0..5_usize;
    (floor(), size, kind, -1e4..1e4_f64).prop_map(|(floor, size, kind, far)| {
        let mut text = [
            "x_m,y_m,height_m",
            "x_m,y_m,staff_m",
            "line,station_m,height_m",
            "x_m,y_m,azimuth_deg,length_m,gap_mm",
            "",
        ][kind]
            .to_owned();
        for (number, [x, y, z]) in floor.iter().map(Reading::metres).enumerate() {
            let z = z * size;
            let _ = match kind {
                0 | 1 => writeln!(text, "\n{},{},{z}", x + far, y - far),
                2 => write!(text, "\nL{},{},{z}", number / 8, number % 8),
                3 => write!(
                    text,
                    "\n{x},{y},{},2,{}",
                    number * 7 % 180,
                    (z * 1e3).clamp(0.0, 99.0)
                ),
                // A scan: each reading a small patch of points.
                _ => {
                    for step in 0..60_i32 {
                        let (dx, dy) = (0.02 * f64::from(step % 10), 0.02 * f64::from(step / 10));
                        let _ = writeln!(
                            text,
                            "{} {} {}",
                            x + dx,
                            y + dy,
                            z + 1e-4 * f64::from(step % 3)
                        );
                    }
                    Ok(())
                }
            };
        }
        text
    })
}

/// Everything that a survey answers to, with the schema that it has to keep to.
fn answers(text: &str) -> Vec<(&'static jsonschema::Validator, Value)> {
    let (mut job, _folder) = job(&[text.to_owned()]);
    job.options.units = Some(lowspot::units::LengthUnit::Metre);
    job.classes.extend(parse_class("DIN18202-3", &[]));
    let mut answers = Vec::new();
    if let Ok(found) = run::check_any(&job, &|_, _| {}) {
        let document = match &found {
            lowspot::findings::Checked::Floor(found) => document(&json::check(found)),
            lowspot::findings::Checked::Edges(found) => document(&json::edge_book(found)),
        };
        answers.push((&*CHECK, document));
    }
    if let Ok(found) = run::describe(&job, &|_, _| {}) {
        answers.push((&*DESCRIBE, document(&json::describe(&found))));
    }
    if let Ok(plan) = pour(text, Finish::LeastDepth) {
        answers.push((&*POUR, plan));
    }
    answers
}

/// Four quarter turns, each plain and mirrored, all to places that are not negative.
fn turned(floor: &[Reading], turn: usize, mirror: bool) -> Floor {
    let far = 2_000_000;
    let place = |[x, y]: [i64; 2]| {
        let [x, y] = if mirror { [far - x, y] } else { [x, y] };
        [[x, y], [far - y, x], [far - x, far - y], [y, far - x]][turn]
    };
    floor
        .iter()
        .map(|reading| Reading {
            at: place(reading.at),
            ..*reading
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 8, failure_persistence: None, ..ProptestConfig::default() })]

    /// JSON has no other numbers than finite ones: what is not finite is written as null, and every null has its reason.
    #[test]
    fn any_finite_survey_gives_finite_answers(text in any_survey()) {
        for (_, document) in answers(&text) {
            prop_assert_eq!(unexplained(&document, ""), None);
        }
    }

    #[test]
    fn json_validates_against_its_schema_always(text in any_survey()) {
        for (schema, document) in answers(&text) {
            if let Err(error) = schema.validate(&document) {
                prop_assert!(false, "{}: {}", error.instance_path(), error);
            }
        }
    }

    #[test]
    fn tilt_and_shift_leave_flatness(floor in floor(), [b, c] in [-0.01..0.01_f64, -0.01..0.01], up in -5.0..5.0_f64) {
        let mut tilted = "x_m,y_m,height_m\n".to_owned();
        for [x, y, z] in floor.iter().map(Reading::metres) {
            let _ = writeln!(tilted, "{},{},{}", x + 3.0, y - 7.0, z + up + b * x + c * y);
        }
        let (before, after) = (check(&[in_metres(&floor)]), check(&[tilted]));
        prop_assert_eq!(difference(&flatness(&before), &flatness(&after), ""), None);
    }

    #[test]
    fn quarter_turns_and_mirror_leave_the_gaps_of_a_survey(floor in grid(), turn in 0..4_usize, mirror: bool) {
        let before = check(&[in_metres(&floor)]);
        let after = check(&[in_metres(&turned(&floor, turn, mirror))]);
        prop_assert_eq!(difference(&flatness(&before), &flatness(&after), ""), None);
    }

    #[test]
    fn unit_swaps_leave_everything(floor in floor(), plan in 0..5_usize, height in 0..5_usize) {
        let units = [("mm", 0.001), ("cm", 0.01), ("m", 1.0), ("in", 0.0254), ("ft", 0.3048)];
        let (before, after) = (check(&[in_metres(&floor)]), check(&[list(&floor, units[plan], units[height])]));
        prop_assert_eq!(difference(&before, &after, ""), None);
    }

    #[test]
    fn order_of_points_and_splitting_of_files_leave_everything(
        (floor, shuffled) in floor().prop_flat_map(|floor| (Just(floor.clone()), Just(floor).prop_shuffle())),
        cut in 1..10_usize,
    ) {
        let before = check(&[in_metres(&floor)]);
        let (one, other) = shuffled.split_at(cut);
        prop_assert_eq!(difference(&before, &check(&[in_metres(&shuffled)]), ""), None);
        prop_assert_eq!(difference(&before, &check(&[in_metres(one), in_metres(other)]), ""), None);
    }

    /// Of a scan to the last digit.
    #[test]
    fn order_of_a_scan_and_splitting_of_its_files_leave_every_digit(
        waves in [1.0..4.0_f64, 1.0..4.0_f64],
        order in Just((0..600_usize).collect::<Vec<_>>()).prop_shuffle(),
        cut in 1..599_usize,
    ) {
        let point = |&i: &usize| {
            let (x, y) = (0.03 * (i % 30) as f64, 0.03 * (i / 30) as f64);
            let z = 0.004 * (waves[0] * x).sin() * (waves[1] * y).cos();
            format!("{x:.3} {y:.3} {z:.5}\n")
        };
        let text = |order: &[usize]| order.iter().map(point).collect::<String>();
        let sorted: Vec<_> = (0..600).collect();
        let scan = |texts: &[String]| {
            let (mut job, _folder) = job(texts);
            job.options.units = Some(lowspot::units::LengthUnit::Metre);
            let found = run::check(&job, &|_, _| {}).unwrap_or_else(|error| panic!("{error}"));
            without_inputs(document(&json::check(&found)))
        };
        let before = scan(&[text(&sorted)]);
        prop_assert_eq!(&before, &scan(&[text(&order)]));
        let (one, other) = order.split_at(cut);
        prop_assert_eq!(&before, &scan(&[text(one), text(other)]));
    }

    /// Fill and bags never fall and grinding never grows while the finish rises.
    #[test]
    fn volume_is_monotone_in_the_datum(floor in floor(), datum in 0.004..0.03_f64, step in 0.0..0.01_f64) {
        let at = |datum| pour(&in_metres(&floor), Finish::Datum(datum)).unwrap_or_else(|error| panic!("{error}"));
        let (low, high) = (at(datum), at(datum + step));
        let of = |plan: &Value, part: &str, key: &str| number(&plan[part][key]);
        for (part, key) in [("volume", "fill_l"), ("volume", "filled_m2"), ("volume", "max_depth_mm"), ("order", "bags"), ("order", "liquid_l")] {
            prop_assert!(of(&high, part, key) >= of(&low, part, key) - 1e-4, "{}", key);
        }
        for key in ["grind_l", "ground_m2"] {
            prop_assert!(of(&high, "volume", key) <= of(&low, "volume", key) + 1e-4, "{}", key);
        }
    }

    /// The bags are enough for floor and waste together, and one less is not: of pieces of floor that do not hang together, each
    /// mixed on its own, one less for each.
    #[test]
    fn bags_cover_the_volume_of_any_floor(floor in floor(), cover in 0.002..0.02_f64) {
        let plan = pour(&in_metres(&floor), Finish::Cover(cover)).unwrap_or_else(|error| panic!("{error}"));
        let (bags, needed) = (number(&plan["order"]["bags"]), number(&plan["volume"]["fill_l"]) * (1.0 + WASTE));
        prop_assert!(15.0 * bags >= needed - 1e-3);
        let batches = plan["batches"].as_array().unwrap();
        let pieces = batches.iter().map(|batch| number(&batch["room"])).fold(1.0, f64::max);
        prop_assert!(15.0 * (bags - pieces) < needed + 1e-3, "{} {} {}", bags, needed, pieces);
        prop_assert!(number(&plan["order"]["bags_95"]) >= bags);
    }

    /// Batches make up the fill, its area and, to half a bag, the order.
    #[test]
    fn batches_add_up(floor in floor(), cover in 0.002..0.02_f64) {
        let plan = pour(&in_metres(&floor), Finish::Cover(cover)).unwrap_or_else(|error| panic!("{error}"));
        let (batches, volume) = (&plan["batches"], &plan["volume"]);
        let bags = number(&plan["order"]["bags"]);
        prop_assert!((sum(batches, "volume_l") - number(&volume["fill_l"])).abs() < 1e-2);
        prop_assert!((sum(batches, "area_m2") - number(&volume["filled_m2"])).abs() < 1e-2);
        let mixed = sum(batches, "bags");
        prop_assert!(mixed <= bags && mixed >= bags - 0.5, "{} {}", mixed, bags);
        prop_assert_eq!(batches.as_array().unwrap().len() as f64, number(&plan["order"]["mixes"]));
        for batch in batches.as_array().unwrap() {
            let enough = 15.0 * number(&batch["bags"]) >= number(&batch["volume_l"]) - 1e-3;
            prop_assert!(enough, "{}", batch);
        }
    }
}
