//! The outputs for every sample survey, held against `sample-surveys/<name>/expected`; the JSON against its schemas; the
//! README against both. `LOWSPOT_BLESS=1` writes what is found in place of what was expected.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use lowspot::output::json;
use lowspot::tolerance;
use lowspot::units::System;
use schemars::schema_for;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// A sample and what is asked of it.
struct Sample {
    name: &'static str,
    survey: &'static [&'static str],
    /// What is asked of a pour besides: the way out.
    pour: &'static [&'static str],
    class: &'static str,
    exit_code: i32,
    /// Whether it holds heights, so that it can be poured.
    pours: bool,
}

const SAMPLES: &[Sample] = &[
    Sample {
        name: "weavers-kitchen",
        survey: &["survey.csv"],
        pour: &["--exit", "0,0.6"],
        class: "SR2",
        exit_code: 1,
        pours: true,
    },
    Sample {
        name: "corner-studio",
        survey: &["survey.csv", "--outline", "outline.csv"],
        pour: &["--exit", "6.4,0.8"],
        class: "SR2",
        exit_code: 1,
        pours: true,
    },
    Sample {
        name: "loom-workshop",
        survey: &["scan.laz"],
        pour: &["--exit", "0,0.9"],
        class: "SR2",
        exit_code: 1,
        pours: true,
    },
    Sample {
        name: "twin-peg-hall",
        survey: &["survey.csv", "--u", "0.5mm"],
        pour: &["--exit", "12,4", "--crew", "2"],
        class: "SR2",
        exit_code: 0,
        pours: true,
    },
    Sample {
        name: "bobbin-loft",
        survey: &["survey.csv", "--outline", "outline.csv", "--u", "0.5mm"],
        pour: &[],
        class: "SR2",
        exit_code: 1,
        pours: false,
    },
];

/// A job of several floors, and the short names of these.
struct House {
    name: &'static str,
    floors: &'static [&'static str],
    exit_code: i32,
}

const HOUSES: &[House] = &[House {
    name: "weavers-cottage",
    floors: &["kitchen", "parlour"],
    exit_code: 1,
}];

fn blessing() -> bool {
    std::env::var_os("LOWSPOT_BLESS").is_some()
}

/// Holds `found` against the file at `path`, or writes it there.
fn golden(path: &Path, found: &[u8]) {
    if blessing() {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, found).unwrap();
    }
    let expected = fs::read(path).unwrap_or_default();
    let inside = path.strip_prefix(ROOT).unwrap().display();
    if expected != found {
        let text = String::from_utf8_lossy(found);
        let old = String::from_utf8_lossy(&expected);
        let line = text.lines().zip(old.lines()).position(|(a, b)| a != b);
        let show = |text: &str| {
            line.and_then(|line| text.lines().nth(line))
                .unwrap_or_default()
                .chars()
                .take(300)
                .collect::<String>()
        };
        panic!(
            "{inside} differs at line {:?}:\nfound    {}\nexpected {}",
            line.map(|line| line + 1),
            show(&text),
            show(&old)
        );
    }
}

/// Runs lowspot in the sample's folder; returns what it printed.
fn run(sample: &Sample, verb: &str, more: &[&str]) -> Vec<u8> {
    let output = Command::new(env!("CARGO_BIN_EXE_lowspot"))
        .arg(verb)
        .args(sample.survey)
        .args(more)
        .current_dir(folder(sample))
        .output()
        .unwrap();
    let expected = if more.contains(&"--class") {
        sample.exit_code
    } else {
        0
    };
    assert_eq!(
        output.status.code(),
        Some(expected),
        "{verb} {}: {}",
        sample.name,
        String::from_utf8_lossy(&output.stderr)
    );
    output.stdout
}

fn folder(sample: &Sample) -> PathBuf {
    Path::new(ROOT).join("sample-surveys").join(sample.name)
}

#[test]
fn every_sample_folder_is_tried() {
    let mut folders: Vec<_> = fs::read_dir(Path::new(ROOT).join("sample-surveys"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    folders.sort();
    let mut tried: Vec<_> = SAMPLES.iter().map(|sample| sample.name).collect();
    tried.extend(HOUSES.iter().map(|house| house.name));
    tried.sort();
    assert_eq!(folders, tried);
}

#[test]
fn outputs_of_every_sample() {
    for sample in SAMPLES {
        let expected = folder(sample).join("expected");
        let scratch = tempfile::tempdir().unwrap();
        let path = |name: &str| scratch.path().join(name).to_str().unwrap().to_owned();
        let class = ["--class", sample.class];
        golden(
            &expected.join("check.txt"),
            &run(
                sample,
                "check",
                &[&class[..], &["--map", &path("map.svg")]].concat(),
            ),
        );
        golden(
            &expected.join("check.json"),
            &run(sample, "check", &[&class[..], &["--json"]].concat()),
        );
        golden(
            &expected.join("map.svg"),
            &fs::read(path("map.svg")).unwrap(),
        );
        golden(
            &expected.join("describe.txt"),
            &run(sample, "describe", &[]),
        );
        if !sample.pours {
            continue;
        }
        let compound = ["--compound", "compound.toml"];
        run(
            sample,
            "pour",
            &[&compound[..], &["--map", &path("depths.svg")]].concat(),
        );
        golden(
            &expected.join("depths.svg"),
            &fs::read(path("depths.svg")).unwrap(),
        );
        let batches = [&compound[..], sample.pour].concat();
        let map = path("pour.svg");
        golden(
            &expected.join("pour.txt"),
            &run(sample, "pour", &[&batches[..], &["--map", &map]].concat()),
        );
        golden(&expected.join("pour.svg"), &fs::read(map).unwrap());
        let [pins, dxf] = ["pins.csv", "pins.dxf"].map(&path);
        let setting_out = ["--pins-out", &pins, "--dxf", &dxf];
        run(sample, "pour", &[&batches[..], &setting_out].concat());
        golden(&expected.join("pins.csv"), &fs::read(pins).unwrap());
        golden(&expected.join("pins.dxf"), &fs::read(dxf).unwrap());
        golden(
            &expected.join("pour.json"),
            &run(sample, "pour", &[&batches[..], &["--json"]].concat()),
        );
    }
}

/// The table of verdicts: what is printed up to the first empty line.
#[test]
fn one_scan_by_eight_standards() {
    let classes = [
        "SR2",
        "DIN18202-3",
        "DTU13.3",
        "TV189-2",
        "AS1884",
        "FM3",
        "F710",
        "A108-LARGE",
    ];
    let workshop = SAMPLES
        .iter()
        .find(|sample| sample.name == "loom-workshop")
        .unwrap();
    let args: Vec<_> = classes
        .iter()
        .flat_map(|class| ["--class", class])
        .collect();
    let printed = String::from_utf8(run(workshop, "check", &args)).unwrap();
    let (table, _) = printed.split_once("\n\n").unwrap();
    golden(
        &folder(workshop).join("expected/eight-standards.txt"),
        format!("{table}\n").as_bytes(),
    );
}

/// Runs `pour --job` in the house's folder; returns what it printed.
fn run_job(house: &House, more: &[&str]) -> Vec<u8> {
    let output = Command::new(env!("CARGO_BIN_EXE_lowspot"))
        .args(["pour", "--job", "job.toml"])
        .args(more)
        .current_dir(Path::new(ROOT).join("sample-surveys").join(house.name))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(house.exit_code), "{output:?}");
    output.stdout
}

/// The whole bundle of every house, its PDF among it; and no file in `expected` that is not made any more.
#[test]
fn bundles_of_every_house() {
    for house in HOUSES {
        let folder = Path::new(ROOT).join("sample-surveys").join(house.name);
        let scratch = tempfile::tempdir().unwrap();
        for entry in fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap()) {
            if entry.file_type().unwrap().is_file() {
                fs::copy(entry.path(), scratch.path().join(entry.file_name())).unwrap();
            }
        }
        let output = Command::new(env!("CARGO_BIN_EXE_lowspot"))
            .args(["handover", "job.toml", "--out", "handover"])
            .current_dir(scratch.path())
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(house.exit_code), "{output:?}");
        let expected = folder.join("expected");
        golden(&expected.join("handover.txt"), &output.stdout);
        let names = |folder: &Path| -> Vec<_> {
            let entries = fs::read_dir(folder).into_iter().flatten();
            let mut names: Vec<_> = entries.map(|entry| entry.unwrap().file_name()).collect();
            names.sort();
            names
        };
        let made = scratch.path().join("handover");
        let kept = expected.join("handover");
        if blessing() {
            let _ = fs::remove_dir_all(&kept);
        }
        for name in names(&made) {
            golden(&kept.join(&name), &fs::read(made.join(&name)).unwrap());
        }
        assert_eq!(names(&kept), names(&made));
    }
}

#[test]
fn outputs_of_every_house() {
    for house in HOUSES {
        let expected = Path::new(ROOT)
            .join("sample-surveys")
            .join(house.name)
            .join("expected");
        let scratch = tempfile::tempdir().unwrap();
        let [map, pins, dxf] = ["depths.svg", "pins.csv", "pins.dxf"]
            .map(|name| scratch.path().join(name).to_str().unwrap().to_owned());
        let files = ["--map", &map, "--pins-out", &pins, "--dxf", &dxf];
        golden(&expected.join("pour.txt"), &run_job(house, &files));
        golden(&expected.join("pour.json"), &run_job(house, &["--json"]));
        for floor in house.floors {
            for (name, kind) in [("depths", "svg"), ("pins", "csv"), ("pins", "dxf")] {
                let name = format!("{name}-{floor}.{kind}");
                let found = fs::read(scratch.path().join(&name)).unwrap();
                golden(&expected.join(&name), &found);
            }
        }
    }
}

/// The kitchen before and after its pour, but for how the output is wanted.
const POURED: &[&str] = &[
    "compare",
    "survey.csv",
    "after.csv",
    "--class",
    "SR2",
    "--u",
    "0.5mm",
    "--benchmark-before",
    "1187mm",
    "--benchmark-after",
    "1187mm",
    "--compound",
    "compound.toml",
    "--bags-used",
    "5",
];

/// Runs lowspot in the kitchen's folder; a floor after its pour that is read too far apart for SR2 ends with 1.
fn in_the_kitchen(args: &[&str], more: &[&str]) -> Vec<u8> {
    let output = Command::new(env!("CARGO_BIN_EXE_lowspot"))
        .args(args)
        .args(more)
        .current_dir(Path::new(ROOT).join("sample-surveys/weavers-kitchen"))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    output.stdout
}

#[test]
fn the_kitchen_before_and_after_its_pour() {
    let expected = Path::new(ROOT).join("sample-surveys/weavers-kitchen/expected");
    let scratch = tempfile::tempdir().unwrap();
    let map = scratch.path().join("laid.svg");
    let with_map = ["--map", map.to_str().unwrap()];
    golden(
        &expected.join("compare.txt"),
        &in_the_kitchen(POURED, &with_map),
    );
    golden(&expected.join("laid.svg"), &fs::read(&map).unwrap());
    golden(
        &expected.join("compare.json"),
        &in_the_kitchen(POURED, &["--json"]),
    );
}

/// Questions asked on site of the first sample, what they are called, and how lowspot is asked.
const QUESTIONS: &[(&str, &[&str])] = &[
    ("bags", &["survey.csv", "--bags", "2", "--exit", "0,0"]),
    (
        "poured",
        &[
            "survey.csv",
            "--exit",
            "-0.2,0.6",
            "--vessel",
            "20l",
            "--poured",
            "poured.csv",
        ],
    ),
    (
        "area",
        &["--area", "3m2", "--depth", "5mm", "--vessel", "40l"],
    ),
];

/// Asks one of them.
fn ask(question: &[&str], more: &[&str]) -> Vec<u8> {
    let sample = Sample {
        survey: &[],
        ..SAMPLES[0]
    };
    let compound = ["--compound", "compound.toml"];
    run(&sample, "pour", &[question, &compound, more].concat())
}

#[test]
fn questions_on_site() {
    for (name, question) in QUESTIONS {
        let expected = folder(&SAMPLES[0]).join("expected");
        golden(&expected.join(format!("{name}.txt")), &ask(question, &[]));
    }
}

#[test]
fn a_map_is_under_a_megabyte() {
    for sample in SAMPLES {
        let maps = ["map.svg", "depths.svg", "pour.svg"];
        for map in &maps[..if sample.pours { 3 } else { 1 }] {
            let size = fs::metadata(folder(sample).join("expected").join(map))
                .unwrap()
                .len();
            assert!(size < 1_000_000, "{} {map}: {size}", sample.name);
        }
    }
}

#[test]
fn schemas_are_those_of_the_types() {
    let schemas = [
        ("check", schema_for!(json::Check)),
        ("pour", schema_for!(json::Pour)),
        ("pour-job", schema_for!(json::House)),
        ("pour-area", schema_for!(json::PourArea)),
        ("handover", schema_for!(json::Handover)),
        ("describe", schema_for!(json::Describe)),
        ("compare", schema_for!(json::Compare)),
        ("classes", schema_for!(Vec<json::KnownClass>)),
        ("level-check", schema_for!(json::LevelCheck)),
    ];
    for (name, schema) in schemas {
        let text = serde_json::to_string_pretty(&schema).unwrap() + "\n";
        golden(
            &Path::new(ROOT).join(format!("src/output/schema/{name}.json")),
            text.as_bytes(),
        );
    }
}

/// Documents of a two-peg test and of set-ups that are tied to a level book.
fn of_levelling() -> [(&'static str, Vec<u8>); 3] {
    let folder = tempfile::tempdir().unwrap();
    let files = [
        (
            "pegs.csv",
            "setup,peg,reading_m,distance_m\nI,A,1.476,20\nI,B,1.432,20\nII,A,1.556,50\nII,B,1.472,10\n",
        ),
        (
            "book.csv",
            "point,bs_m,is_m,fs_m,x,y,rl_m\nA,1.751,,,0,0,10\nB,,1.740,,1,0,\nC,0.300,,0.310,0,1,\nD,,,0.290,1,1,11.453\n",
        ),
        (
            "list.csv",
            "point,setup,x,y,z_mm\nA,I,0,0,1\nB,I,1,0,2\nB,II,1,0,22\nC,II,0,1,23\n",
        ),
    ];
    for (name, text) in files {
        fs::write(folder.path().join(name), text).unwrap();
    }
    let run = |args: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_lowspot"))
            .args(args)
            .arg("--json")
            .current_dir(folder.path())
            .output()
            .unwrap();
        assert!(output.status.success(), "{output:?}");
        output.stdout
    };
    [
        ("level-check", run(&["level-check", "pegs.csv"])),
        ("describe", run(&["describe", "book.csv"])),
        ("describe", run(&["describe", "list.csv"])),
    ]
}

#[test]
fn documents_validate_against_their_schemas() {
    let classes = Command::new(env!("CARGO_BIN_EXE_lowspot"))
        .args(["classes", "--json"])
        .output()
        .unwrap()
        .stdout;
    let of_sample = |sample: &Sample| {
        let compound = ["--json", "--compound", "compound.toml"];
        let pours = || {
            let batches = [&compound[..], sample.pour].concat();
            [
                ("pour", run(sample, "pour", &compound)),
                ("pour", run(sample, "pour", &batches)),
            ]
        };
        let class = ["--json", "--class", sample.class];
        let of_any = [
            ("check", run(sample, "check", &class)),
            ("describe", run(sample, "describe", &["--json"])),
        ];
        of_any
            .into_iter()
            .chain(sample.pours.then(pours).into_iter().flatten())
    };
    let documents: Vec<_> = SAMPLES
        .iter()
        .flat_map(of_sample)
        .chain([
            ("classes", classes),
            ("compare", in_the_kitchen(POURED, &["--json"])),
            ("compare", in_the_kitchen(&POURED[..5], &["--json"])),
        ])
        .chain(
            HOUSES
                .iter()
                .map(|house| ("pour-job", run_job(house, &["--json"]))),
        )
        .chain([
            ("pour", ask(QUESTIONS[0].1, &["--json"])),
            ("pour", ask(QUESTIONS[1].1, &["--json"])),
            ("pour-area", ask(QUESTIONS[2].1, &["--json"])),
        ])
        .chain(HOUSES.iter().map(|house| {
            let folder = Path::new(ROOT).join("sample-surveys").join(house.name);
            (
                "handover",
                fs::read(folder.join("expected/handover/handover.json")).unwrap(),
            )
        }))
        .chain(of_levelling())
        .collect();
    for (name, document) in documents {
        let schema =
            fs::read(Path::new(ROOT).join(format!("src/output/schema/{name}.json"))).unwrap();
        let schema: serde_json::Value = serde_json::from_slice(&schema).unwrap();
        let document: serde_json::Value = serde_json::from_slice(&document).unwrap();
        if let Err(error) = jsonschema::validate(&schema, &document) {
            panic!("{name}: {error}");
        }
    }
}

/// The README's table of classes, from the standards.
fn table_of_classes() -> String {
    let mut table = "| class | of | what it is for | allowed | measured as | figure from |\n\
         |---|---|---|---|---|---|\n"
        .to_owned();
    for class in tolerance::classes() {
        for requirement in &class.requirements {
            let rule = &requirement.rule;
            let remark = match requirement.seen.remark() {
                "" => String::new(),
                remark => format!(" (**{remark}**)"),
            };
            table += &format!(
                "| `{}` | {} | {} | {} | {} | {}{remark} |\n",
                class.name,
                class.standard,
                class.title,
                rule.allowance(System::Metric),
                rule.describe(System::Metric),
                requirement.source,
            );
        }
    }
    table
}

/// Every block of the README between `<!-- begin FILE -->` and `<!-- end -->` is that file; `classes` is the table of
/// classes.
#[test]
fn the_readme_shows_what_lowspot_prints() {
    let path = Path::new(ROOT).join("README.md");
    let readme = fs::read_to_string(&path).unwrap();
    let mut shown = String::new();
    let mut blocks = 0;
    let mut rest = readme.as_str();
    while let Some((before, after)) = rest.split_once("<!-- begin ") {
        let (file, after) = after.split_once(" -->").unwrap();
        let (_, after) = after.split_once("<!-- end -->").unwrap();
        let content = if file == "classes" {
            table_of_classes()
        } else {
            let content = fs::read_to_string(Path::new(ROOT).join(file)).unwrap();
            format!("```text\n{content}```\n")
        };
        shown += &format!("{before}<!-- begin {file} -->\n{content}<!-- end -->");
        rest = after;
        blocks += 1;
    }
    shown += rest;
    assert!(blocks > 0);
    golden(&path, shown.as_bytes());
}
