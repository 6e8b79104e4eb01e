use std::fs;

use super::*;
use crate::run::{Fall, Finish, Pins, Shape};

const COTTAGE: &str = r#"job = "Weaver's cottage"
client = "A. Weaver"
date = "25 November"
remarks = ["old screed", "dry"]
class = "SR2"
compound = ["fill.toml", "finish.toml"]
waste = "4 %"
vessel = "30 l"
crew = 2
tilt = "0.05 mm/m"
cover = "3 mm"

[[floor]]
name = "Kitchen"
survey = "kitchen.csv"
after = ["after.csv"]
outline = "outline.csv"
exit = ["3.9 m", "0.2 m"]
class = ["SR1", "3mm@2m"]
datum = "1250 mm"
bags_used = [4, 8.5]
pins = "1 m"
[floor.benchmark]
before = "1262 mm"
after = "1250 mm"
[[floor.fixed]]
name = "door to the hall"
at = [["0 m", "1.2 m"], ["0 m", "2.0 m"]]
level = "1250 mm"
allowance = "2 mm"
[[floor.fixed]]
name = "drain"
at = ["1 m", "50 cm"]
level = "1255 mm"
below = "8 mm"
allowance = "0 mm"

[[floor]]
name = "Hall"
survey = ["one.csv", "../two.csv"]
fall = { rate = "1:80", towards = ["3 m", "4 m"] }
pins = "places.csv"
"#;

fn parse(text: &str) -> Result<JobFile> {
    JobFile::parse(text, "jobs/job.toml", Path::new("jobs"))
}

fn error(from: &str, to: &str) -> String {
    assert!(COTTAGE.contains(from), "{from}");
    let text = COTTAGE.replacen(from, to, 1);
    parse(&text).expect_err(&text).to_string()
}

#[test]
fn a_job_is_read_with_all_that_it_says() {
    let job = parse(COTTAGE).expect("a good job");
    assert_eq!(
        (job.heading.title.as_str(), job.heading.client.as_deref()),
        ("Weaver's cottage", Some("A. Weaver"))
    );
    assert_eq!(
        (job.heading.date.as_deref(), job.heading.by.as_deref()),
        (Some("25 November"), None)
    );
    assert_eq!(job.heading.remarks, ["old screed", "dry"]);
    let [kitchen, _] = &job.floors[..] else {
        panic!("two floors")
    };
    assert_eq!(
        kitchen.place.to_string(),
        "jobs/job.toml, line 14, column 8"
    );
    assert_eq!(kitchen.survey, ["jobs/kitchen.csv"]);
    assert_eq!(kitchen.after, ["jobs/after.csv"]);
    assert_eq!(kitchen.outline.as_deref(), Some("jobs/outline.csv"));
    assert_eq!(kitchen.bags_used, [4.0, 8.5]);
    let mark = Benchmark {
        before: 1.262,
        after: 1.25,
    };
    assert_eq!(kitchen.benchmark, Some(mark));
    let settings = &kitchen.settings;
    assert_eq!((settings.exit, settings.crew), (Some([3.9, 0.2]), Some(2)));
    assert_eq!(settings.pins, Some(Pins::Grid(1.0)));
    assert_eq!((settings.waste, settings.vessel), (Some(0.04), Some(0.03)));
    let [door, drain] = &kitchen.fixed[..] else {
        panic!("two fixed levels")
    };
    assert_eq!(door.places, [[0.0, 1.2], [0.0, 2.0]]);
    assert_eq!((door.level, door.below, door.allowance), (1.25, 0.0, 0.002));
    assert_eq!((&drain.places[..], drain.below), (&[[1.0, 0.5]][..], 0.008));
    assert_eq!(job.files().count(), 1 + 3 + 2 + 2 + 2 + 1);
}

#[test]
fn a_floor_has_from_the_job_what_it_does_not_say() {
    let job = parse(COTTAGE).expect("a good job");
    let names = |floor: &Floor| -> Vec<String> {
        let classes = floor.settings.classes.iter();
        classes.map(|class| class.name.clone()).collect()
    };
    let [kitchen, hall] = &job.floors[..] else {
        panic!("two floors")
    };
    assert_eq!(
        (names(kitchen), names(hall)),
        (
            vec!["SR1".to_owned(), "3mm@2m".to_owned()],
            vec!["SR2".to_owned()]
        )
    );
    assert_eq!(kitchen.settings.finish, Some(Finish::Datum(1.25)));
    assert_eq!(hall.settings.finish, Some(Finish::Cover(0.003)));
    assert_eq!(
        hall.settings.compounds,
        ["jobs/fill.toml", "jobs/finish.toml"]
    );
    assert!((hall.settings.tilt.expect("given") - 5e-5).abs() < 1e-18);
    assert_eq!(hall.survey, ["jobs/one.csv", "jobs/../two.csv"]);
    assert_eq!(
        hall.settings.pins,
        Some(Pins::File("jobs/places.csv".to_owned()))
    );
    let fall = Fall {
        rate: 0.0125,
        towards: [3.0, 4.0],
    };
    assert_eq!(hall.settings.target, Some(Shape::Plane(Some(fall))));
}

/// What was right, what stands there instead, the line, and what the error says of it.
const WRONG: &[(&str, &str, u32, &str)] = &[
    ("\"A. Weaver\"", "\"A. Weaver", 2, "found"),
    (
        "client",
        "clinet",
        2,
        "`clinet`; wanted a key of these: job, client, address",
    ),
    (
        "\"25 November\"",
        "2026-11-25",
        3,
        "found 2026-11-25; wanted text in quotes",
    ),
    ("\"SR2\"", "\"SR9\"", 5, "'SR9'"),
    ("\"SR2\"", "[]", 5, "an empty list"),
    ("\"4 %\"", "\"100 %\"", 7, "below 100 %"),
    ("\"30 l\"", "\"30\"", 8, "a volume"),
    ("crew = 2", "crew = 2.5", 9, "whole number"),
    (
        "crew = 2",
        "crew = \"two\"",
        9,
        "found \"two\"; wanted a number",
    ),
    ("\"0.05 mm/m\"", "\"0.05 mm\"", 10, "a length in a distance"),
    ("\"3 mm\"", "\"3\"", 11, "a length"),
    ("\"3 mm\"", "\"3 mm\"\ndatum = \"1 mm\"", 11, "not both"),
    (
        "\"3 mm\"",
        "\"3 mm\"\ntarget = \"flat\"",
        12,
        "one of level, plane, least",
    ),
    ("\"3 mm\"", "\"3 mm\"\nformat = \"pdf\"", 12, "one of las"),
    (
        "\"3 mm\"",
        "\"3 mm\"\ngrind = \"yes\"",
        12,
        "a price for an area",
    ),
    (
        "\"3 mm\"",
        "\"3 mm\"\nclasses = \"no-such.toml\"",
        0,
        "jobs/no-such.toml: cannot be read",
    ),
    ("name = \"Kitchen\"", "", 13, "no `name`"),
    ("\"Kitchen\"", "\"...\"", 14, "letters or digits"),
    ("survey = \"kitchen.csv\"", "", 13, "no `survey`"),
    ("\"kitchen.csv\"", "\"-\"", 15, "the name of a file"),
    ("[\"3.9 m\", \"0.2 m\"]", "[\"3.9 m\"]", 18, "x and y"),
    ("[\"3.9 m\", \"0.2 m\"]", "\"3.9 m\"", 18, "x and y"),
    (
        "[\"3.9 m\", \"0.2 m\"]",
        "[\"3.9 m\", 0.2]",
        18,
        "found 0.2; wanted text",
    ),
    (
        "[\"3.9 m\", \"0.2 m\"]",
        "[\"3.9\", \"0.2\"]",
        18,
        "'3.9'; wanted a length",
    ),
    ("[4, 8.5]", "9", 21, "numbers of bags: 1; wanted 2"),
    ("[4, 8.5]", "[4, -1]", 21, "found -1"),
    ("\"1 m\"", "\"0 m\"", 22, "more than zero"),
    (
        "[floor.benchmark]\nbefore = \"1262 mm\"",
        "[floor.benchmark]",
        23,
        "no `before`",
    ),
    (
        "after = \"1250 mm\"",
        "after = \"1250 mm\"\nlater = 1",
        26,
        "`later`; wanted a key of these: before, after",
    ),
    (
        "[\"0 m\", \"1.2 m\"], ",
        "[\"0 m\", \"1.2 m\", \"0 m\"], ",
        28,
        "x and y",
    ),
    ("\"2 mm\"", "\"-2 mm\"", 30, "nothing below zero"),
    ("allowance = \"2 mm\"", "", 26, "no `allowance`"),
    ("level = \"1250 mm\"", "level = 1250", 29, "text in quotes"),
    ("\"Hall\"", "\"kitchen\"", 39, "no other floor"),
    ("1:80", "1:0", 41, "a fall such as"),
    ("1:80", "-5 mm/m", 41, "below zero"),
    (
        "fall = {",
        "target = \"least\"\nfall = {",
        42,
        "target = \"plane\"",
    ),
    (", towards = [\"3 m\", \"4 m\"]", "", 41, "no `towards`"),
    (
        "fall = {",
        "height = \"1 m\"\nfall = {",
        41,
        "`height`; wanted a key of these: name, survey",
    ),
];

#[test]
fn what_is_wrong_is_named_with_its_line() {
    for &(from, to, line, says) in WRONG {
        let message = error(from, to);
        let place = match line {
            0 => String::new(),
            line => format!("jobs/job.toml, line {line}, column "),
        };
        assert!(
            message.starts_with(&place) && message.contains(says),
            "{to}: {message}"
        );
    }
}

#[test]
fn a_job_has_a_floor_and_not_more_than_a_hundred() {
    let none = parse("job = \"x\"\n").expect_err("no floor").to_string();
    assert!(
        none.contains("0 floors") && none.contains("[[floor]]"),
        "{none}"
    );
    let floors = |count: u32| {
        let floor = |number| format!("[[floor]]\nname = \"{number}\"\nsurvey = \"s.csv\"\n");
        "job = \"x\"\n".to_owned() + &(0..count).map(floor).collect::<String>()
    };
    assert_eq!(parse(&floors(100)).expect("a hundred").floors.len(), 100);
    assert!(parse(&floors(101)).is_err());
    assert!(parse("floor = 3\njob = \"x\"\n").is_err());
}

#[test]
fn classes_of_the_users_own_are_found_from_the_job_files_folder() {
    let folder = tempfile::tempdir().expect("a folder");
    let classes = "[[class]]\nname = \"hall\"\n[[class.requirement]]\nmeasure = \"straightedge\"\nlength = \"2 m\"\nlimit = \"3 mm\"\n";
    fs::write(folder.path().join("own.toml"), classes).expect("written");
    let text = "job = \"x\"\nclasses = \"own.toml\"\n[[floor]]\nname = \"a\"\nsurvey = \"s.csv\"\nclass = \"hall\"\n";
    let file = folder.path().join("job.toml");
    fs::write(&file, format!("\u{feff}{text}")).expect("written");
    let source = Source::new(file.to_str().expect("text")).expect("there");
    let job = JobFile::read(&source).expect("a good job");
    assert_eq!(job.floors[0].settings.classes[0].name, "hall");
    assert!(job.files().any(|file| file.ends_with("own.toml")));
}
