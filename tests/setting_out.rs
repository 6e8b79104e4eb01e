//! What is set out from: pins as a table and a drawing, and what has to be on site. As the program is called.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use lowspot::output::setting_out;
use lowspot::pour::pins::in_order_of_pouring;
use lowspot::run::{self, Finish, Job, Pins, PourJob, Shape};

const SAMPLES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-surveys");

/// Runs `lowspot pour` in a folder, on a survey and its compound.
fn pour(folder: &Path, survey: &str, more: &[&str]) -> Output {
    let sample = Path::new(SAMPLES).join(survey);
    let compound = sample.with_file_name("compound.toml");
    Command::new(env!("CARGO_BIN_EXE_lowspot"))
        .arg("pour")
        .arg(sample)
        .arg("--compound")
        .arg(compound)
        .args(more)
        .current_dir(folder)
        .output()
        .unwrap()
}

fn done(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    assert!(output.status.success(), "{}", text(&output.stderr));
    text(&output.stdout)
}

/// The rows of a table of pins, without the header.
fn rows(path: &Path) -> Vec<Vec<String>> {
    let mut table = csv::Reader::from_path(path).unwrap();
    let header: Vec<_> = table.headers().unwrap().iter().map(str::to_owned).collect();
    let wanted = ["point", "x_m", "y_m", "floor_mm", "finish_mm", "depth_mm"];
    assert_eq!(header, wanted);
    let rows = table.records().map(|row| row.unwrap());
    rows.map(|row| row.iter().map(str::to_owned).collect())
        .collect()
}

fn number(cell: &str) -> f64 {
    cell.parse().unwrap()
}

/// The points of a drawing: x, y, z, m. A point is the groups 0 POINT, 8 layer, 10, 20, 30.
fn points(path: &Path) -> Vec<[f64; 3]> {
    let text = fs::read_to_string(path).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let groups: Vec<_> = lines
        .chunks(2)
        .map(|pair| (pair[0].trim(), pair[1]))
        .collect();
    let starts = (0..groups.len()).filter(|&at| groups[at] == ("0", "POINT"));
    starts
        .map(|at| {
            assert_eq!(groups[at + 1], ("8", "PINS"));
            let codes = [2, 3, 4].map(|k| groups[at + k].0);
            assert_eq!(codes, ["10", "20", "30"]);
            [2, 3, 4].map(|k| number(groups[at + k].1))
        })
        .collect()
}

#[test]
fn pins_stand_at_the_readings_unless_somebody_says_where() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let kitchen = "weavers-kitchen/survey.csv";
    let outputs = ["--pins-out", "pins.csv", "--dxf", "pins.dxf", "--json"];
    let document = done(&pour(folder.path(), kitchen, &outputs));
    let document: serde_json::Value = serde_json::from_str(&document).unwrap();
    let table = rows(&path("pins.csv"));
    assert_eq!(table.len(), 61);
    let in_json = document["pins"].as_array().unwrap();
    assert_eq!(in_json.len(), 61);
    for ((row, json), [x, y, z]) in table.iter().zip(in_json).zip(points(&path("pins.dxf"))) {
        assert_eq!(json["name"].as_str().unwrap(), row[0]);
        // To the millimetre in the table, to the tenth elsewhere.
        let depth = json["depth_mm"].as_f64().unwrap();
        assert!(
            (number(&row[5]) - depth).abs() <= 0.51 && !row[5].contains('.'),
            "{row:?}"
        );
        assert!(
            (number(&row[4]) - number(&row[3]) - depth).abs() < 0.11,
            "{row:?}"
        );
        let drawn = [
            x - number(&row[1]),
            y - number(&row[2]),
            z - number(&row[4]) / 1e3,
        ];
        assert!(
            drawn.iter().all(|off| off.abs() < 1.1e-4),
            "{row:?} {drawn:?}"
        );
    }
}

#[test]
fn a_grid_stands_on_whole_metres_and_takes_own_points_back() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let scan = "loom-workshop/scan.laz";
    let run = |args: &[&str]| done(&pour(folder.path(), scan, args));
    run(&["--pins-out", "usual.csv", "--dxf", "usual.dxf"]);
    run(&[
        "--pins",
        "1m",
        "--pins-out",
        "metre.csv",
        "--map",
        "metre.svg",
    ]);
    let table = rows(&path("metre.csv"));
    assert_eq!(table, rows(&path("usual.csv")), "a scan has a grid of 1 m");
    assert!(table.len() > 10 && table[0][0] == "A1");
    for row in &table {
        let whole = |cell: &String| cell.ends_with(".000");
        assert!(row[1..3].iter().all(whole), "{row:?}");
    }
    let map = fs::read(path("metre.svg")).unwrap();
    let without = Path::new(SAMPLES).join("loom-workshop/expected/depths.svg");
    assert_ne!(map, fs::read(without).unwrap(), "the map shows the pins");
    // The pins of one run are a list of points for the next; the same drawing is the same bytes.
    run(&[
        "--pins",
        "metre.csv",
        "--pins-out",
        "again.csv",
        "--dxf",
        "again.dxf",
    ]);
    assert_eq!(table, rows(&path("again.csv")));
    let drawing = |name: &str| fs::read(path(name)).unwrap();
    assert_eq!(drawing("usual.dxf"), drawing("again.dxf"));
    assert_eq!(points(&path("again.dxf")).len(), table.len());
}

#[test]
fn what_cannot_be_set_out_is_said_and_nothing_written() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(
        folder.path().join("far.csv"),
        "x_m,y_m,point\n0.6,0.6,door\n90,90,far\n",
    )
    .unwrap();
    fs::write(folder.path().join("farther.csv"), "x_m,y_m\n90,90\n").unwrap();
    let run = |args: &[&str]| pour(folder.path(), "weavers-kitchen/survey.csv", args);
    let printed = done(&run(&["--pins", "far.csv", "--pins-out", "pins.csv"]));
    assert!(printed.contains("left out: far"), "{printed}");
    assert_eq!(rows(&folder.path().join("pins.csv")).len(), 1);
    for (args, wanted) in [
        (
            ["--pins", "farther.csv", "--dxf", "no.dxf"],
            "no floor at any of the pins",
        ),
        (
            ["--pins", "20m", "--dxf", "no.dxf"],
            "--pins: found a grid of 20.00 m",
        ),
        (["--pins", "1mm", "--dxf", "no.dxf"], "at most 20000 pins"),
        (
            ["--pins", "none.csv", "--dxf", "no.dxf"],
            "none.csv: cannot be read",
        ),
        (
            ["--pins", "far.csv", "--dxf", "far.csv"],
            "an input named as output",
        ),
    ] {
        let output = run(&args);
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(error.contains(wanted), "{error}");
        assert!(!folder.path().join("no.dxf").exists());
    }
}

/// Where a pour is divided, the table names each pin's batch; a pin that none passes has no number.
#[test]
fn the_batch_stands_beside_the_depth() {
    let studio = Path::new(SAMPLES).join("corner-studio");
    let file = |name: &str| studio.join(name).to_str().unwrap().to_owned();
    let job = Job {
        files: vec![file("survey.csv")],
        ..Job::default()
    };
    let pouring = PourJob {
        compounds: vec![file("compound.toml")],
        shape: Shape::Level,
        finish: Finish::LeastDepth,
        waste: 0.05,
        least_depth: None,
        grind: None,
        pins: Pins::Grid(2.0),
    };
    let mut plan = run::pour(&job, &pouring, &|_, _| {}).unwrap();
    let count = plan.pins.len();
    assert!(count > 3);
    plan.pins[count - 1].batch = Some(1);
    plan.pins[0].batch = Some(2);
    in_order_of_pouring(&mut plan.pins);
    let table = String::from_utf8(setting_out::pins(&plan).unwrap()).unwrap();
    let batches: Vec<_> = table
        .lines()
        .map(|row| row.rsplit(',').next().unwrap())
        .collect();
    assert_eq!(batches[..4], ["batch", "1", "2", ""]);
}

/// The sheet of two parts: 20 kg of powder and a bottle of 5 l at 1.02 kg/l to a bag.
#[test]
fn a_second_part_is_ordered_by_the_bottle() {
    let folder = tempfile::tempdir().unwrap();
    let studio = Path::new(SAMPLES).join("corner-studio");
    let run = |more: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_lowspot"))
            .args(["pour", "survey.csv", "--outline", "outline.csv"])
            .args(["--compound", "two-part.toml"])
            .args(more)
            .arg("--pins-out")
            .arg(folder.path().join("pins.csv"))
            .current_dir(&studio)
            .output()
            .unwrap();
        done(&output)
    };
    let document: serde_json::Value = serde_json::from_str(&run(&["--json"])).unwrap();
    assert_eq!(
        document["warnings"].as_array().unwrap().len(),
        0,
        "{document:#}"
    );
    let order = &document["order"]["compounds"][0];
    let bags = order["bags"].as_u64().unwrap();
    assert_eq!(order["bottles"].as_u64(), Some(bags));
    let materials = &document["materials"];
    let carried = materials["carry_kg"].as_f64().unwrap();
    assert!((carried - bags as f64 * 25.1).abs() < 0.06, "{carried}");
    // An L of 6.4 m x 5.2 m has the walls of the whole rectangle; the column adds four sides of 0.4 m.
    let strip = materials["edge_strip_m"].as_f64().unwrap();
    assert!((strip - (2.0 * (6.4 + 5.2) + 1.6)).abs() < 0.06, "{strip}");
    let summary = run(&[]);
    for wanted in [
        "bottles (5.0 l each) of part B",
        "edge strip round the room",
        "walk on",
        "test the moisture",
    ] {
        assert!(summary.contains(wanted), "{summary}");
    }
}
