//! What is written beside a survey: compound sheets, jobs, classes, outlines.

use super::{Bad, bad};

const SHEET: &[&str] = &[
    "pour",
    "survey.csv",
    "--compound",
    "BAD",
    "--map",
    "map.svg",
];
const JOB: &[&str] = &["pour", "--job", "BAD", "--map", "map.svg"];
const CLASSES: &[&str] = &[
    "check",
    "survey.csv",
    "--classes",
    "BAD",
    "--class",
    "hall",
    "--map",
    "map.svg",
];
const OUTLINE: &[&str] = &[
    "check",
    "survey.csv",
    "--outline",
    "BAD",
    "--map",
    "map.svg",
];

pub fn rows() -> Vec<Bad> {
    [sheets(), jobs(), classes(), outlines()]
        .into_iter()
        .flatten()
        .collect()
}

fn sheets() -> Vec<Bad> {
    let good = include_str!("../../sample-surveys/weavers-kitchen/compound.toml");
    let sheet = |text: String, place, remedy| bad(SHEET, "bad.toml", text, place, remedy);
    let with = |from: &str, to: &str, place, remedy| {
        assert!(good.contains(from), "{from}");
        sheet(good.replace(from, to), place, remedy)
    };
    vec![
        sheet(String::new(), ", line 1, column 1", "compound sheet"),
        sheet("name = ".to_owned(), ", line 1, column 8", "compound sheet"),
        bad(
            SHEET,
            "bad.toml",
            *b"name = \"\xff\"",
            "",
            "a compound sheet in TOML",
        ),
        sheet(
            good.to_owned() + good,
            ", line 18, column 1",
            "compound sheet",
        ),
        sheet(
            "colour = \"red\"\n".to_owned() + good,
            ", line 1, column 1",
            "compound sheet",
        ),
        sheet(
            format!("a = {}", "[".repeat(100_000)),
            ", line 1, column 85",
            "compound sheet",
        ),
        sheet(
            format!("a{} = 1", ".a".repeat(100_000)),
            "",
            "compound sheet",
        ),
        sheet("#".repeat(2_000_000), "", "a compound sheet in TOML"),
        with("\"25 kg\"", "25", ", line 3, column 7", "compound sheet"),
        with(
            "\"25 kg\"",
            "\"25\"",
            ", line 3, column 7",
            "a mass with its unit",
        ),
        with(
            "\"25 kg\"",
            "\"-25 kg\"",
            ", line 3, column 7",
            "nothing below zero",
        ),
        with(
            "\"25 kg\"",
            "\"0 kg\"",
            ", line 3, column 7",
            "more than zero",
        ),
        with(
            "\"25 kg\"",
            "\"\"\"\\u001b[2J\n\n25 kg\"\"\"",
            ", line 3, column 7",
            "plain text",
        ),
        with("\"3 mm\"", "\"40 mm\"", ", line 8, column 15", ""),
        with(
            "\"3 mm\"",
            &format!("\"{}1in\"", "1ft".repeat(100_000)),
            ", line 8, column 15",
            "a length with its unit",
        ),
        with(
            "\"31.00 EUR\"",
            "\"31\"",
            ", line 16, column 17",
            "a price with its currency",
        ),
    ]
}

fn jobs() -> Vec<Bad> {
    let job = |text: &str, place, remedy| bad(JOB, "bad.toml", text, place, remedy);
    let floor = "[[floor]]\nname = \"a\"\nsurvey = \"survey.csv\"\ncompound = \"compound.toml\"\n";
    let with = |key: &str, place, remedy| {
        bad(
            JOB,
            "bad.toml",
            format!("job = \"a\"\n{key}\n{floor}"),
            place,
            remedy,
        )
    };
    vec![
        job("", ", line 1, column 1", "job = ..."),
        job("job = \"a\"\n", ", line 1, column 1", "[[floor]]"),
        job(
            "job = \"a\"\n[[floor]]\nname = \"a\"\n",
            ", line 2, column 1",
            "survey = ...",
        ),
        job(
            &format!("job = \"a\"\n{}", floor.repeat(101)),
            ", line 1, column 1",
            "1 to 100",
        ),
        job(
            &format!("job = \"a\"\n{}", floor.repeat(2)),
            ", line 7, column 8",
            "a name that no other floor has",
        ),
        with("colour = \"red\"", ", line 2, column 1", "a key of these"),
        with(
            "waste = \"lots\"",
            ", line 2, column 9",
            "a share such as 5%",
        ),
        with("crew = 1000000", ", line 2, column 8", "1 to 100"),
        with("crew = -1", ", line 2, column 8", "zero or more"),
        with("class = \"SR99\"", ", line 2, column 9", ""),
    ]
}

fn classes() -> Vec<Bad> {
    let classes = |requirement: &str, place, remedy| {
        let text = format!(
            "[[class]]\nname = \"hall\"\nstandard = \"x\"\n[[class.requirement]]\n{requirement}"
        );
        bad(CLASSES, "bad.toml", text, place, remedy)
    };
    vec![
        bad(
            CLASSES,
            "bad.toml",
            "",
            ", line 1, column 1",
            "the keys that the README lists",
        ),
        classes(
            "measure = \"eye\"\n",
            ", line 5, column 11",
            "one of straightedge",
        ),
        classes(
            "measure = \"straightedge\"\nlength = \"2 m\"\nlimit = \"0 mm\"\n",
            ", line 7, column 9",
            "above zero",
        ),
        classes(
            "measure = \"by-distance\"\nlimits = [\"4 mm at 1 m\", \"2 mm at 2 m\"]\n",
            ", line 6, column 26",
            "do not fall",
        ),
    ]
}

fn outlines() -> Vec<Bad> {
    let outline = |text: &str, place, remedy| bad(OUTLINE, "bad.csv", text, place, remedy);
    let many: String = (0..20_000)
        .map(|n| format!("{n},{}\n", n * n % 97))
        .collect();
    vec![
        outline("", "", "an outline"),
        outline("hello", ", line 1", "a header with the columns x and y"),
        outline("{\"type\":", ", line 1", "a GeoJSON polygon"),
        outline(
            &format!("{{\"type\":{}", "[".repeat(200_000)),
            ", line 1",
            "a GeoJSON polygon",
        ),
        outline(
            "{\"type\":\"Point\",\"coordinates\":[0,0]}",
            "",
            "one Polygon",
        ),
        outline("x_m,y_m\n0,0\n4,0\n", ", line 3", "at least three"),
        outline(
            "x_m,y_m\n0,0\n4,4\n4,0\n0,3\n",
            ", line 4",
            "in which one walks past them",
        ),
        outline(
            "x_m,y_m\nnan,0\n4,0\n4,4\n",
            ", line 2, column x",
            "within 10,000 km",
        ),
        outline(
            "x_m,y_m\n0,0\n1e9,0\n0,1\n",
            ", line 3, column x",
            "within 10,000 km",
        ),
        outline(&format!("x_m,y_m\n{many}"), "", "the outline of a room"),
        outline(&"#".repeat(5_000_000), "", "the outline of a room"),
    ]
}
