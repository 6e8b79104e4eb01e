//! The program as it is called: exit codes, what goes to which stream, what is and is not written.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const KITCHEN: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/sample-surveys/weavers-kitchen"
);

/// Runs lowspot in a folder.
fn lowspot(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lowspot"))
        .args(args)
        .current_dir(folder)
        .output()
        .unwrap()
}

/// A folder with one file in it.
fn folder_with(name: &str, content: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, content).unwrap();
    (folder, path)
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn exit_codes_tell_met_from_not_met_from_not_done() {
    let kitchen = Path::new(KITCHEN);
    let code = |args: &[&str]| lowspot(kitchen, args).status.code();
    assert_eq!(code(&["check", "survey.csv"]), Some(0));
    assert_eq!(code(&["check", "survey.csv", "--class", "SR2"]), Some(1));
    assert_eq!(
        code(&["check", "survey.csv", "--class", "60mm@8m", "--u", "0.5mm"]),
        Some(0)
    );
    assert_eq!(code(&["check", "survey.csv", "--class", "SR9"]), Some(2));
    assert_eq!(code(&["check", "no-such-file.csv"]), Some(2));
    assert_eq!(code(&["check"]), Some(2));
    assert_eq!(code(&["measure", "survey.csv"]), Some(2));
    assert_eq!(code(&["classes", "no-such-class"]), Some(2));
}

#[test]
fn an_error_is_one_line_with_file_place_found_and_wanted() {
    let (folder, _) = folder_with("bad.csv", "x_m,y_m,staff_mm\n0,0,1204\n0.5,0,12o4\n");
    let output = lowspot(folder.path(), &["check", "bad.csv"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty());
    let message = text(&output.stderr);
    assert_eq!(message.lines().count(), 1, "{message}");
    for part in ["bad.csv", "line 3", "staff_mm", "12o4", "wanted"] {
        assert!(message.contains(part), "{message}");
    }
}

#[test]
fn nothing_is_written_when_it_is_not_done() {
    let (folder, map) = folder_with("map.svg", "what stood here before");
    let survey = format!("{KITCHEN}/survey.csv");
    let compound = folder.path().join("compound.toml");
    fs::write(&compound, "name = 3\n").unwrap();
    let args = [
        "pour",
        &survey,
        "--compound",
        "compound.toml",
        "--map",
        "map.svg",
    ];
    assert_eq!(lowspot(folder.path(), &args).status.code(), Some(2));
    let nowhere = ["check", &survey, "--map", "no-such-folder/map.svg"];
    let output = lowspot(folder.path(), &nowhere);
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty());
    assert_eq!(fs::read_to_string(map).unwrap(), "what stood here before");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
}

#[test]
fn an_input_is_never_written_over() {
    let (folder, survey) = folder_with("survey.csv", "x_m,y_m,z_mm\n0,0,1\n1,0,2\n0,1,3\n1,1,4\n");
    let before = fs::read(&survey).unwrap();
    let output = lowspot(
        folder.path(),
        &["check", "survey.csv", "--map", "./survey.csv"],
    );
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(fs::read(&survey).unwrap(), before);
}

#[test]
fn colour_only_on_a_terminal() {
    let output = lowspot(
        Path::new(KITCHEN),
        &["check", "survey.csv", "--class", "SR2"],
    );
    assert!(!output.stdout.contains(&0x1b));
    assert!(
        text(&output.stdout).starts_with("SR2"),
        "the verdict comes first"
    );
}

#[test]
fn standard_input_is_read_like_a_file() {
    let from_file = lowspot(Path::new(KITCHEN), &["check", "survey.csv", "--json"]);
    let piped = Command::new(env!("CARGO_BIN_EXE_lowspot"))
        .args(["check", "-", "--json"])
        .stdin(fs::File::open(format!("{KITCHEN}/survey.csv")).unwrap())
        .output()
        .unwrap();
    assert_eq!(
        text(&from_file.stdout).replace("survey.csv", "standard input"),
        text(&piped.stdout)
    );
}

#[test]
fn several_files_are_one_floor() {
    let list = |rows: &str| format!("x_m,y_m,z_mm\n{rows}");
    let (folder, _) = folder_with(
        "whole.csv",
        &list("0,0,0\n1,0,1\n2,0,0\n0,1,4\n1,1,2\n2,1,3\n"),
    );
    fs::write(folder.path().join("one.csv"), list("0,0,0\n1,0,1\n2,0,0\n")).unwrap();
    fs::write(folder.path().join("two.csv"), list("0,1,4\n1,1,2\n2,1,3\n")).unwrap();
    let found = |args: &[&str]| {
        let document: serde_json::Value =
            serde_json::from_slice(&lowspot(folder.path(), args).stdout).unwrap();
        (
            document["surface"].clone(),
            document["level"].clone(),
            document["planes"].clone(),
            document["straightedge"].clone(),
        )
    };
    assert_eq!(
        found(&["check", "whole.csv", "--json"]),
        found(&["check", "one.csv", "two.csv", "--json"])
    );
}

const HALL: &str = "[[class]]\nname = \"hall\"\n[[class.requirement]]\nmeasure = \"straightedge\"\n\
     length = \"8 m\"\nlimit = \"60 mm\"\n";

#[test]
fn own_classes_judge_and_are_listed() {
    let (folder, _) = folder_with("own.toml", HALL);
    let survey = format!("{KITCHEN}/survey.csv");
    let check = |classes: &[&str]| {
        let args = [
            &["check", &survey, "--u", "0.5mm", "--class", "hall"],
            classes,
        ]
        .concat();
        lowspot(folder.path(), &args)
    };
    let judged = check(&["--classes", "own.toml"]);
    assert_eq!(judged.status.code(), Some(0));
    assert!(text(&judged.stdout).starts_with("hall      WITHIN"));
    assert_eq!(check(&[]).status.code(), Some(2));
    let listed = lowspot(folder.path(), &["classes", "hall", "--classes", "own.toml"]);
    assert!(text(&listed.stdout).contains("at most 60.0 mm under 8.00 m"));

    fs::write(folder.path().join("own.toml"), HALL.replace("60 mm", "60")).unwrap();
    let wrong = check(&["--classes", "own.toml"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(text(&wrong.stderr).contains("own.toml, line 6, column 9: found '60'"));
}

#[test]
fn inches_and_feet_throughout() {
    let kitchen = Path::new(KITCHEN);
    let args = ["classes", "a108-small", "--imperial"];
    let table = text(&lowspot(kitchen, &args).stdout);
    assert!(table.contains("1/16 in under 1 ft 0 in"), "{table}");
    assert!(!table.contains(" m "), "{table}");
    let args = [
        "check",
        "survey.csv",
        "--class",
        "1/4in@6ft 6in",
        "--imperial",
    ];
    let summary = text(&lowspot(kitchen, &args).stdout);
    assert!(
        summary.contains("at most 1/4 in under 6 ft 6 in"),
        "{summary}"
    );
    assert!(!summary.contains(" mm "), "{summary}");
}

/// Every class can be asked for of a real survey, and none of them stops the program.
#[test]
fn every_class_gives_a_verdict() {
    let kitchen = Path::new(KITCHEN);
    let listed = lowspot(kitchen, &["classes", "--json"]);
    let listed: serde_json::Value = serde_json::from_slice(&listed.stdout).unwrap();
    for class in listed.as_array().unwrap() {
        let name = class["class"].as_str().unwrap();
        let output = lowspot(kitchen, &["check", "survey.csv", "--json", "--class", name]);
        assert!(matches!(output.status.code(), Some(0 | 1)), "{name}");
        let document: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        let judged = &document["classes"][0];
        assert!(!judged["reason"].as_str().unwrap().is_empty(), "{name}");
        let parts = judged["requirements"].as_array().unwrap();
        assert_eq!(
            parts.len(),
            class["requirements"].as_array().unwrap().len(),
            "{name}"
        );
        for part in parts.iter().chain([judged]) {
            for key in ["length_m", "limit_mm", "measured_mm", "u_mm"] {
                let reason = part.get(format!("{key}_reason")).is_some();
                assert_eq!(part[key].is_null(), reason, "{name}: {key}");
            }
        }
    }
}

#[test]
fn classes_are_filtered_by_words_and_show_their_source() {
    let remembered = lowspot(Path::new(KITCHEN), &["classes", "memory", "5385"]);
    assert!(text(&remembered.stdout).contains("from memory: check against your copy"));
    let output = lowspot(Path::new(KITCHEN), &["classes", "8204", "sr2"]);
    let table = text(&output.stdout);
    assert!(
        table.contains("SR2") && !table.contains("SR1") && table.contains("Concrete Society"),
        "{table}"
    );
}

/// Three lines of twenty readings every 0.3048 m, `height` in mm by line and number.
fn profile(columns: &str, height: impl Fn(usize, usize) -> f64) -> String {
    let mut text = format!("line,{columns},height_mm\n");
    for (line, step) in (0..3).flat_map(|line| (0..20).map(move |step| (line, step))) {
        let station = step as f64 * 0.3048;
        let place = match columns {
            "station_m" => format!("{station:.4}"),
            _ => format!("{station:.4},{:.1}", 1.3 * line as f64),
        };
        text += &format!("L{line},{place},{}\n", height(line, step));
    }
    text
}

fn rough(line: usize, step: usize) -> f64 {
    ((line * 5 + step * step * 7) % 11) as f64
}

fn json(folder: &Path, args: &[&str]) -> serde_json::Value {
    serde_json::from_slice(&lowspot(folder, args).stdout).expect("a document")
}

/// Checks a document against the schema of its verb.
fn assert_valid(verb: &str, document: &serde_json::Value) {
    let schema = format!(
        "{}/src/output/schema/{verb}.json",
        env!("CARGO_MANIFEST_DIR")
    );
    let schema = serde_json::from_str(&fs::read_to_string(schema).unwrap()).unwrap();
    if let Err(error) = jsonschema::validate(&schema, document) {
        panic!("{verb}: {error}");
    }
}

#[test]
fn lines_by_station_give_f_numbers_and_say_why_there_is_no_plan() {
    let (folder, _) = folder_with("lines.csv", &profile("station_m", rough));
    let check = json(folder.path(), &["check", "lines.csv", "--json"]);
    assert_valid("check", &check);
    assert!(check["f_numbers"]["ff"].as_f64().is_some_and(|ff| ff > 1.0));
    assert!(check["waviness"]["index_mm"].is_number());
    let edge = &check["straightedge"][0];
    assert!(edge["worst_gap_mm"].is_number() && edge["at"]["station_m"].is_number());
    assert_eq!(edge["at"]["line"], edge["from"]["line"]);
    for key in ["planes", "spots", "reference"] {
        assert!(check[key].is_null(), "{key}");
        assert!(check[format!("{key}_reason")].is_string(), "{key}");
    }
    assert!(check["surface"]["area_m2"].is_null());
    let describe = json(folder.path(), &["describe", "lines.csv", "--json"]);
    assert_valid("describe", &describe);
    assert!(describe["extent"].is_null() && describe["surface_reason"].is_string());
    for verb in ["check", "describe"] {
        let output = lowspot(folder.path(), &[verb, "lines.csv", "--map", "map.svg"]);
        assert_eq!(output.status.code(), Some(2));
        assert!(!folder.path().join("map.svg").exists());
    }
}

const EDGES: &str =
    "point,x_m,y_m,azimuth_deg,length_m,gap_mm\nA,1,1,0,2,9\nB,2,2,90,2,1\n,3,3,90,3,20\n";

#[test]
fn a_straightedge_book_is_outside_or_too_sparse_and_never_poured() {
    let (folder, path) = folder_with("book.csv", EDGES);
    let code = |args: &[&str]| lowspot(folder.path(), args).status.code();
    let class = ["check", "book.csv", "--class", "SR2"];
    assert_eq!(code(&class[..2]), Some(0));
    assert_eq!(code(&class), Some(1));
    let check = json(folder.path(), &[&class[..], &["--json"]].concat());
    assert_valid("check", &check);
    assert_eq!(check["survey"]["kind"], "straightedge book");
    assert_eq!(check["classes"][0]["verdict"], "outside");
    let edges = &check["edges"];
    let verdict = |number: usize| edges[number]["verdicts"][0]["verdict"].as_str();
    assert_eq!(
        [0, 1, 2].map(verdict),
        [Some("outside"), Some("within"), None]
    );
    assert!(edges[2]["verdicts"][0]["verdict_reason"].is_string());
    assert_eq!(
        (&edges[0]["point"], &edges[0]["from"]["y_m"]),
        (&"A".into(), &0.0.into())
    );
    assert_eq!(check["straightedge"][1]["worst_gap_mm"], 20.0);
    for key in [
        "surface",
        "level",
        "planes",
        "spots",
        "f_numbers",
        "waviness",
        "reference",
    ] {
        let reason = check[format!("{key}_reason")].is_string();
        assert!(check[key].is_null() && reason, "{key}");
    }
    let describe = json(folder.path(), &["describe", "book.csv", "--json"]);
    assert_valid("describe", &describe);
    assert_eq!(describe["edges"].as_array().map(Vec::len), Some(3));

    let compound = format!("{KITCHEN}/compound.toml");
    let pour = ["pour", "book.csv", "--compound", &compound];
    let refused = lowspot(folder.path(), &pour);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("a straightedge book: gaps, and no heights"));

    fs::write(path, EDGES.replace("2,9", "2,1")).unwrap();
    let within = json(folder.path(), &[&class[..], &["--json"]].concat());
    assert_eq!(within["classes"][0]["verdict"], "too sparse");
    assert_eq!(code(&class), Some(1));
    let list = "x_m,y_m,height_mm\n0,0,1\n1,0,2\n0,1,3\n";
    fs::write(folder.path().join("list.csv"), list).unwrap();
    assert_eq!(code(&["check", "book.csv", "list.csv"]), Some(2));
}

/// Every class can be asked for of a book, and none is met by it.
#[test]
fn a_straightedge_book_meets_no_class_of_a_whole_floor() {
    let (folder, _) = folder_with("book.csv", &EDGES.replace("2,9", "2,0"));
    let listed = json(folder.path(), &["classes", "--json"]);
    let names: Vec<_> = listed.as_array().unwrap().iter().collect();
    let mut args = vec!["check", "book.csv", "--json"];
    for class in &names {
        args.extend(["--class", class["class"].as_str().unwrap()]);
    }
    let check = json(folder.path(), &args);
    assert_valid("check", &check);
    let judged = check["classes"].as_array().unwrap();
    assert_eq!(judged.len(), names.len());
    for class in judged {
        assert_ne!(class["verdict"], "within", "{}", class["class"]);
        assert!(
            class["reason"]
                .as_str()
                .is_some_and(|reason| !reason.is_empty())
        );
    }
}

#[test]
fn edges_laid_by_hand_are_drawn_with_their_gaps() {
    let (folder, _) = folder_with("book.csv", EDGES);
    let map = || fs::read_to_string(folder.path().join("map.svg")).unwrap();
    let args = ["check", "book.csv", "--class", "SR2", "--map", "map.svg"];
    lowspot(folder.path(), &args);
    for part in [
        "A: 9.0 mm",
        "3: 20.0 mm",
        "edge, gap over the limit",
        "edge, not judged",
    ] {
        assert!(map().lines().any(|line| line.trim() == part), "{part}");
    }
    let describe = lowspot(folder.path(), &["describe", "book.csv", "--map", "map.svg"]);
    assert_eq!(describe.status.code(), Some(0));
    assert!(map().contains("A: 9.0 mm") && !map().contains("over the limit"));
}

#[test]
fn lines_on_the_plan_are_shown_on_the_map() {
    let (folder, _) = folder_with("lines.csv", &profile("x_m,y_m", rough));
    let map = || fs::read_to_string(folder.path().join("map.svg")).unwrap();
    let shown = "line of F-numbers, waviness";
    let args = ["check", "lines.csv", "--map", "map.svg", "--json"];
    let check = json(folder.path(), &args);
    assert!(check["planes"].is_object() && check["f_numbers"]["lines"][2]["line"] == "L2");
    assert!(map().lines().any(|line| line.trim() == "L0") && map().contains(shown));
    // The same room is too small for a test section, once its area is known.
    let room = "x_m,y_m\n-0.6,-0.6\n6.4,-0.6\n6.4,3.2\n-0.6,3.2\n";
    fs::write(folder.path().join("room.csv"), room).unwrap();
    let args = [&args[..], &["--outline", "room.csv"]].concat();
    let check = json(folder.path(), &args);
    assert_valid("check", &check);
    assert!(check["f_numbers"].is_null() && check["f_numbers_reason"].is_string());
    assert!(
        check["waviness"].is_object() && map().contains(shown),
        "waviness has no least area"
    );
}

#[test]
fn a_line_without_a_bend_has_no_f_number_and_no_infinite_one() {
    let one_is_straight = |line: usize, step: usize| match line {
        0 => 2.0 * step as f64,
        _ => rough(line, step),
    };
    let (folder, path) = folder_with("lines.csv", &profile("station_m", one_is_straight));
    let check = json(folder.path(), &["check", "lines.csv", "--json"]);
    assert_valid("check", &check);
    let line = &check["f_numbers"]["lines"][0];
    assert!(line["ff"].is_null() && line["ff_reason"].is_string() && line["fl"].is_number());
    assert!(check["f_numbers"]["ff"].is_number());
    fs::write(path, profile("station_m", |_, step| step as f64)).unwrap();
    let check = json(folder.path(), &["check", "lines.csv", "--json"]);
    assert!(check["f_numbers"].is_null() && check["f_numbers_reason"].is_string());
}

#[test]
fn files_of_lines_go_together_and_with_nothing_else() {
    let (folder, path) = folder_with("lines.csv", &profile("station_m", rough));
    let other = profile("station_m", rough).replace('L', "M");
    fs::write(path.with_file_name("more.csv"), other).unwrap();
    let both = json(folder.path(), &["check", "lines.csv", "more.csv", "--json"]);
    assert_eq!(both["f_numbers"]["lines"].as_array().map(Vec::len), Some(6));
    let list = "x_m,y_m,height_mm\n0,0,1\n1,0,2\n0,1,3\n";
    fs::write(path.with_file_name("list.csv"), list).unwrap();
    for other in ["lines.csv", "list.csv"] {
        let output = lowspot(folder.path(), &["check", "lines.csv", other]);
        assert_eq!(output.status.code(), Some(2), "{other}");
    }
}

#[test]
fn set_ups_of_two_files_are_brought_to_one_horizon() {
    let list = |rows: &str| format!("point,setup,x,y,staff_mm\n{rows}");
    let (folder, _) = folder_with(
        "one.csv",
        &list("A,I,0,0,1200\nB,I,1,0,1203\nC,I,0,1,1201\n"),
    );
    let two = list("B,II,1,0,1303\nC,II,0,1,1301\nD,II,1,1,1299\n");
    fs::write(folder.path().join("two.csv"), two).unwrap();
    let output = lowspot(folder.path(), &["describe", "one.csv", "two.csv", "--json"]);
    let found: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(found["setups"]["setups"][1]["height_mm"], 100.0);
    assert_eq!(found["setups"]["redundancy"], 1);
    assert_eq!(found["level"]["highest"]["z_mm"], -1199.0);
    assert_eq!(found["survey"]["points_used"], 4);
    let untied = list("E,III,5,5,1303\n");
    fs::write(folder.path().join("three.csv"), untied).unwrap();
    let output = lowspot(folder.path(), &["check", "one.csv", "three.csv"]);
    assert_eq!(output.status.code(), Some(2));
    let message = text(&output.stderr);
    assert!(message.contains("set-up III"), "{message}");
}

#[test]
fn level_check_fails_only_a_limit_that_was_asked_for() {
    let pegs = "setup,peg,reading_m,distance_m\nI,A,1.476,20\nI,B,1.432,20\nII,A,1.556,50\nII,B,1.472,10\n";
    let (folder, _) = folder_with("pegs.csv", pegs);
    let run = |more: &[&str]| {
        lowspot(
            folder.path(),
            &[&["level-check", "pegs.csv"], more].concat(),
        )
    };
    let output = run(&[]);
    assert_eq!(output.status.code(), Some(0));
    let summary = text(&output.stdout);
    assert!(summary.contains("rises 1.000 mm/m"), "{summary}");
    assert_eq!(run(&["--limit", "2mm/m"]).status.code(), Some(0));
    assert_eq!(run(&["--limit", "1mm/20m"]).status.code(), Some(1));
    assert_eq!(run(&["--limit", "1mm"]).status.code(), Some(2));
    let grid = format!("{KITCHEN}/survey.csv");
    let output = lowspot(folder.path(), &["check", &grid, "--collimation", "-1mm/m"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("no sight lengths"));
}

/// The rough lines of the tests above: a class a tenth of their FF is met, super flat is missed, and the number that decided
/// is the one that is measured.
#[test]
fn classes_of_f_numbers_are_judged_by_the_lines() {
    let (folder, _) = folder_with("lines.csv", &profile("station_m", rough));
    let check = |class: &str| {
        let args = [
            "check",
            "lines.csv",
            "--json",
            "--classes",
            "own.toml",
            "--class",
            class,
        ];
        let output = lowspot(folder.path(), &args);
        serde_json::from_slice::<serde_json::Value>(&output.stdout).unwrap()
    };
    let class = |least: f64| {
        let text = format!(
            "[[class]]\nname = \"own\"\n[[class.requirement]]\nmeasure = \"ff\"\nleast = {least:.3}\n"
        );
        fs::write(folder.path().join("own.toml"), text).unwrap();
    };
    class(1.0);
    let missed = check("ACI117-F60");
    let ff = missed["f_numbers"]["ff"].as_f64().unwrap();
    let judged = &missed["classes"][0];
    assert_eq!(judged["verdict"], "outside", "{judged}");
    let parts = judged["requirements"].as_array().unwrap();
    assert!(
        parts
            .iter()
            .any(|part| part["number"]["measured"].as_f64() == Some(ff))
    );
    for (least, verdict) in [
        (ff / 10.0, "within"),
        (ff, "undecided"),
        (ff * 10.0, "outside"),
    ] {
        class(least);
        let judged = &check("own")["classes"][0];
        assert_eq!(judged["verdict"], verdict, "{judged}");
    }
}

/// 67 l of the kitchen's compound at 15.6 l a bag: 4.3 bags, in the usual bucket two at a time.
#[test]
fn a_pour_is_divided_into_mixes_and_batches() {
    let pour = |more: &[&str]| {
        let args = ["pour", "survey.csv", "--compound", "compound.toml"];
        lowspot(Path::new(KITCHEN), &[&args[..], more].concat())
    };
    let json = |more: &[&str]| -> serde_json::Value {
        let output = pour(&[&["--json"], more].concat());
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
        serde_json::from_slice(&output.stdout).unwrap()
    };
    let without = json(&[]);
    assert_eq!(without["order"]["mixes"], 3);
    assert!(without["batches"].is_null());
    assert_eq!(
        without["batches_reason"],
        "say where the way out is: --exit X,Y"
    );
    let with = json(&["--exit", "-0.2,0.6"]);
    let batches = with["batches"].as_array().unwrap();
    assert_eq!(with["order"]["mixes"], batches.len());
    let sum = |key: &str| -> f64 {
        batches
            .iter()
            .map(|batch| batch[key].as_f64().unwrap())
            .sum()
    };
    assert!((sum("volume_l") - with["volume"]["fill_l"].as_f64().unwrap()).abs() < 0.001);
    assert!(sum("bags") <= with["order"]["bags"].as_f64().unwrap());
    assert!((sum("liquid_l") - 5.5 * sum("bags")).abs() < 1e-9);
    assert_eq!(batches[0]["bags"], 0.5);
    // One alone: 2 min to mix, 2 min to pour, in turn; two people bring one down every 2 min.
    let minutes = |crew: &str| -> Vec<f64> {
        let plan = json(&["--exit", "0,0.6", "--crew", crew]);
        let batches = plan["batches"].as_array().unwrap();
        let at = batches
            .iter()
            .map(|batch| batch["at_minute"].as_f64().unwrap());
        at.collect()
    };
    assert_eq!(minutes("1"), [4.0, 8.0, 12.0]);
    assert_eq!(minutes("2"), [4.0, 6.0, 8.0]);
    let summary = text(&pour(&["--exit", "0,0.6"]).stdout);
    assert!(
        summary.contains("batch 1   half a bag, 2.75 l of water"),
        "{summary}"
    );
    for wrong in [
        ["--exit", "0"],
        ["--exit", "0,inf"],
        ["--vessel", "30"],
        ["--vessel", "5l"],
        ["--crew", "0"],
    ] {
        assert_eq!(pour(&wrong).status.code(), Some(2), "{wrong:?}");
    }
}

/// One alone brings a mix down every 4 min, and an edge is 6 min old; the compound can be worked for 5 min here.
#[test]
fn a_joint_too_old_is_a_bay_stop_or_one_person_more() {
    let sheet = fs::read_to_string(format!("{KITCHEN}/compound.toml")).unwrap();
    let quick = sheet.replace("\"25 min\"", "\"5 min\"");
    let (folder, _) = folder_with("quick.toml", &quick);
    let survey = format!("{KITCHEN}/survey.csv");
    let pour = |crew: &str| {
        let args = [
            "pour",
            &survey,
            "--compound",
            "quick.toml",
            "--exit",
            "0,0.6",
        ];
        let output = lowspot(folder.path(), &[&args[..], &["--crew", crew]].concat());
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
        text(&output.stdout)
    };
    let alone = pour("1");
    assert!(
        alone.contains("bay stop  between batch 1 and 2, from x "),
        "{alone}"
    );
    assert!(alone.contains("no bay stop with 2 people"), "{alone}");
    let two = pour("2");
    assert!(!two.contains("bay stop"), "{two}");
    assert!(two.contains("wet edge  4 min old at most"), "{two}");
}

const COTTAGE: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/sample-surveys/weavers-cottage"
);

#[test]
fn a_job_takes_the_place_of_survey_and_settings() {
    let cottage = Path::new(COTTAGE);
    let both = ["pour", "--job", "job.toml", "kitchen.csv"];
    let more = ["pour", "--job", "job.toml", "--datum", "1240mm"];
    for args in [
        &both[..],
        &more,
        &["pour", "kitchen.csv"],
        &["pour"],
        &["check", "--job", "job.toml"],
    ] {
        assert_eq!(lowspot(cottage, args).status.code(), Some(2), "{args:?}");
    }
}

#[test]
fn a_jobs_files_lie_beside_it_and_are_never_written_over() {
    let folder = tempfile::tempdir().unwrap();
    for file in [
        "job.toml",
        "kitchen.csv",
        "parlour.csv",
        "outline.csv",
        "compound.toml",
    ] {
        fs::copy(Path::new(COTTAGE).join(file), folder.path().join(file)).unwrap();
    }
    let from = tempfile::tempdir().unwrap();
    let job = folder.path().join("job.toml");
    let run = |more: &[&str]| {
        let args = [&["pour", "--job", job.to_str().unwrap()], more].concat();
        lowspot(from.path(), &args).status.code()
    };
    assert_eq!(
        run(&["--map", "map.svg", "--pins-out", "depths.csv"]),
        Some(1)
    );
    for file in [
        "map-kitchen.svg",
        "map-parlour.svg",
        "depths-kitchen.csv",
        "depths-parlour.csv",
    ] {
        assert!(from.path().join(file).exists(), "{file}");
    }
    let text = fs::read_to_string(&job).unwrap();
    fs::rename(
        folder.path().join("kitchen.csv"),
        folder.path().join("s-kitchen.csv"),
    )
    .unwrap();
    fs::write(&job, text.replace("\"kitchen.csv\"", "\"s-kitchen.csv\"")).unwrap();
    let over = folder.path().join("s.csv");
    assert_eq!(run(&["--pins-out", over.to_str().unwrap()]), Some(2));
}

#[test]
fn what_is_wrong_with_a_floor_is_said_with_its_line() {
    let two = "x_m,y_m,z_mm\n0,0,1\n1,0,2\n";
    let (folder, _) = folder_with("survey.csv", two);
    let compound = Path::new(COTTAGE).join("compound.toml");
    fs::copy(compound, folder.path().join("compound.toml")).unwrap();
    let floor = "job = \"x\"\n[[floor]]\nname = \"loft\"\nsurvey = \"survey.csv\"\n";
    let told = |text: &str| {
        fs::write(folder.path().join("job.toml"), text).unwrap();
        let output = lowspot(folder.path(), &["pour", "--job", "job.toml"]);
        assert_eq!(output.status.code(), Some(2));
        String::from_utf8(output.stderr).unwrap()
    };
    let none = told(floor);
    assert!(
        none.contains("job.toml, line 3") && none.contains("no compound for floor loft"),
        "{none}"
    );
    let few = told(&format!("{floor}compound = \"compound.toml\"\n"));
    assert!(
        few.contains("job.toml, line 3") && few.contains("readings at 2 places, for floor loft"),
        "{few}"
    );
}

/// A floor of readings 0.5 m apart over 3 m by 2 m whose heights are `z` mm; a point P stands beside it.
fn floor(z: impl Fn(usize) -> f64, point: f64) -> String {
    let mut text = "point,x_m,y_m,z_mm\n".to_owned();
    for n in 0..35 {
        let (x, y) = ((n % 7) as f64 * 0.5, (n / 7) as f64 * 0.5);
        text += &format!("{n},{x},{y},{}\n", z(n));
    }
    text + &format!("P,-0.5,0,{point}\n")
}

#[test]
fn what_was_laid_is_told_by_a_point_that_was_not_poured() {
    let (folder, _) = folder_with("before.csv", &floor(|n| (n % 3) as f64, 100.0));
    let after = floor(|n| (n % 3) as f64 + 256.0, 350.0);
    fs::write(folder.path().join("after.csv"), after).unwrap();
    let run = |args: &[&str]| {
        let both = ["compare", "before.csv", "after.csv", "--json"];
        let output = lowspot(folder.path(), &[&both[..], args].concat());
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        serde_json::from_slice::<serde_json::Value>(&output.stdout).unwrap()
    };
    let close = |found: &serde_json::Value, wanted: f64| {
        let found = found.as_f64().unwrap();
        assert!((found - wanted).abs() < 1e-3, "{found} {wanted}");
    };
    // The zero lies 250 mm lower after, so 6 mm were laid; over 6 m² they are 36 l.
    let found = run(&["--not-poured", "P", "--u", "1mm", "--u-after", "2mm"]);
    close(&found["laid"]["mean_mm"], 6.0);
    close(&found["laid"]["volume_l"], 36.0);
    close(&found["datum"]["shift_mm"], -250.0);
    close(&found["laid"]["min_mm"], 6.0);
    // u of the shift √(1 + 4), of the mean √(5 / 36 + 5), P among the readings, at a place √(5 + 5).
    close(&found["datum"]["u_mm"], 5f64.sqrt());
    close(&found["laid"]["mean_u_mm"], (5.0 / 36.0 + 5.0f64).sqrt());
    close(&found["laid"]["least"]["u_mm"], 10f64.sqrt());
    let benchmark = ["--benchmark-before", "-1m", "--benchmark-after", "-750mm"];
    close(&run(&benchmark)["laid"]["mean_mm"], 6.0);

    let refused = run(&[]);
    assert!(refused["laid"].is_null() && refused["datum"].is_null());
    let reason = refused["laid_reason"].as_str().unwrap();
    assert!(reason.contains("--not-poured"), "{reason}");
    assert!(refused["after"]["straightedge"][0]["worst_gap_mm"].is_number());
}

#[test]
fn a_comparison_that_cannot_be_made_says_why() {
    let kitchen = Path::new(KITCHEN);
    let both = ["compare", "survey.csv", "after.csv"];
    let cases: [(&[&str], &str); 6] = [
        (
            &["--not-poured", "9,9"],
            "where the survey before has no height",
        ),
        (
            &["--not-poured", "door"],
            "the survey before has no point of",
        ),
        (&["--map", "laid.svg"], "no thickness to draw"),
        (&["--bags-used", "5"], "--compound"),
        (&["--benchmark-after", "1m"], "--benchmark-before"),
        (&["third.csv"], "2 values required"),
    ];
    for (args, said) in cases {
        let output = lowspot(kitchen, &[&both[..], args].concat());
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(output.stdout.is_empty() && !kitchen.join("laid.svg").exists());
        let message = text(&output.stderr);
        assert!(message.contains(said), "{args:?}: {message}");
    }
}

/// The laser's tilt is counted in range, fall and fill, in no gap and no width; the parts of the fill's doubt add up.
#[test]
fn a_tilt_counts_in_levels_and_cancels_in_gaps() {
    let document = |args: &[&str]| {
        let output = lowspot(Path::new(KITCHEN), args);
        serde_json::from_slice::<serde_json::Value>(&output.stdout).unwrap()
    };
    let check = ["check", "survey.csv", "--json", "--class", "SR2"];
    let tilted = [&check[..], &["--tilt", "0.5mm/m"]].concat();
    let (level, tilted) = (document(&check), document(&tilted));
    for key in ["straightedge", "classes", "waviness", "f_numbers"] {
        assert_eq!(level[key], tilted[key], "{key}");
    }
    assert_eq!(tilted["survey"]["tilt_u_mm_per_m"], 0.5);
    let number = |value: &serde_json::Value| value.as_f64().unwrap();
    // From (1, 1.4) to (2.6, 1.4), both known to 1 mm.
    let range_u = number(&tilted["level"]["range_u_mm"]);
    assert!((range_u - (2.0 + 0.8_f64.powi(2)).sqrt()).abs() < 1e-3);
    let [before, after] = [&level, &tilted].map(|document| &document["planes"]);
    let fall = |planes: &serde_json::Value| number(&planes["least_squares"]["u"]["fall_mm_per_m"]);
    assert!((fall(after) - fall(before).hypot(0.5)).abs() < 1e-3);
    let width = |planes: &serde_json::Value| number(&planes["minimum_zone"]["u"]["width_mm"]);
    assert_eq!(width(after), width(before));

    let plan = poured(&["--tilt", "0.5mm/m"]);
    let from = &plan["volume"]["fill_u_from"];
    let [heights, tilt, sampling] =
        ["heights_l", "tilt_l", "sampling_l"].map(|part| number(&from[part]));
    let fill_u = number(&plan["volume"]["fill_u_l"]);
    assert!(tilt > 0.0 && (heights.hypot(tilt).hypot(sampling) - fill_u).abs() < 1e-3);
    let order = &plan["order"];
    assert!(number(&order["bags_95"]) >= number(&order["bags"]));

    let wrong = lowspot(
        Path::new(KITCHEN),
        &["check", "survey.csv", "--tilt", "-1mm/m"],
    );
    assert_eq!(wrong.status.code(), Some(2));
}

/// Runs `pour` on the kitchen and reads its JSON.
fn poured(args: &[&str]) -> serde_json::Value {
    let pour = [
        "pour",
        "survey.csv",
        "--compound",
        "compound.toml",
        "--json",
    ];
    let output = lowspot(Path::new(KITCHEN), &[&pour, args].concat());
    assert_ne!(output.status.code(), Some(2), "{}", text(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn the_least_fill_takes_fewer_bags_for_the_same_class() {
    let level = poured(&["--class", "SR2"]);
    let least = poured(&["--class", "SR2", "--target", "least"]);
    assert_eq!(level["order"]["bags"], 5);
    assert_eq!(least["order"]["bags"], 1);
    assert_eq!(least["target"]["mode"], "least");
    assert!(
        least["target"]["datum_mm"].is_null() && least["target"]["datum_mm_reason"].is_string()
    );
    for plan in [&level, &least] {
        assert_eq!(plan["planned"][0]["met"], true);
        assert!(plan["grinding"].is_null() && plan["cost_curve_reason"].is_string());
    }
    // Wherever something is filled, the sheet's 3 mm lie there.
    for pin in least["pins"].as_array().unwrap() {
        let depth = pin["depth_mm"].as_f64().unwrap();
        assert!(depth == 0.0 || depth >= 3.0, "{depth}");
    }
    let added = least["target"]["added"]["fill_l"].as_f64().unwrap();
    let thinner = poured(&[
        "--class",
        "SR2",
        "--target",
        "least",
        "--least-depth",
        "1mm",
    ]);
    assert!(added > thinner["target"]["added"]["fill_l"].as_f64().unwrap());
}

#[test]
fn a_plane_falls_to_the_drain_at_its_datum() {
    let fall = ["--target", "plane", "--fall", "1:80", "--towards", "0,0"];
    let plan = poured(&[&fall[..], &["--datum", "1250mm"]].concat());
    assert_eq!(plan["target"]["datum_mm"], -1250.0);
    assert_eq!(plan["target"]["fall_mm_per_m"], 12.5);
    let plan = poured(&[&fall[..], &["--cover", "4mm"]].concat());
    assert_eq!(plan["target"]["cover_mm"], 4.0);
    let own = poured(&["--target", "plane"]);
    assert_eq!(own["volume"]["min_depth_mm"], 3.0);
}

#[test]
fn grinding_is_weighed_against_compound() {
    let plan = poured(&["--grind", "25 EUR/m2"]);
    let curve = plan["cost_curve"].as_array().unwrap();
    let cheapest: Vec<_> = curve.iter().filter(|at| at["cheapest"] == true).collect();
    assert_eq!(cheapest.len(), 1);
    assert_eq!(cheapest[0]["cost"], plan["grinding"]["total"]);
    assert_eq!(cheapest[0]["datum_mm"], plan["target"]["datum_mm"]);
    let cost = |at: &serde_json::Value| at["cost"].as_f64().unwrap();
    assert!(curve.iter().all(|at| cost(at) >= cost(cheapest[0])));
    assert!(plan["volume"]["min_depth_mm"].as_f64().unwrap() >= 3.0);
    let placed = poured(&["--grind", "25 EUR/m2", "--exit", "0,0.6"]);
    let of = |value: &serde_json::Value, key: &str| value[key].as_f64().unwrap();
    for batch in placed["batches"].as_array().unwrap() {
        assert!(of(batch, "min_depth_mm") > 2.999, "{batch}");
    }
    let mut ground = 0;
    for pin in placed["pins"].as_array().unwrap() {
        let (depth, grind) = (of(pin, "depth_mm"), of(pin, "grind_mm"));
        assert!(depth == 0.0 || depth > 2.999, "{pin}");
        assert!((of(pin, "finish_mm") - of(pin, "floor_mm") - depth + grind).abs() < 1e-6);
        // Two readings stand alone: no floor hangs on them, and no batch.
        let alone = pin["name"] == "60" || pin["name"] == "61";
        assert_eq!(pin["batch"].is_null(), depth == 0.0 || alone, "{pin}");
        ground += u32::from(grind > 0.0);
    }
    assert!(ground > 0);
    let asked = poured(&["--grind", "25 EUR/m2", "--cover", "1mm"]);
    assert!(cost(cheapest[0]) < asked["grinding"]["total"].as_f64().unwrap());
}

#[test]
fn targets_that_do_not_go_together_are_refused() {
    for (args, named) in [
        (&["--target", "least"][..], "--class"),
        (&["--target", "least", "--class", "BS8204-LEVEL"], "--class"),
        (
            &["--target", "least", "--class", "SR2", "--datum", "1m"],
            "--datum",
        ),
        (
            &["--target", "least", "--class", "SR2", "--cover", "3mm"],
            "--cover",
        ),
        (
            &["--target", "least", "--class", "SR2", "--grind", "4 EUR/l"],
            "--grind",
        ),
        (&["--target", "plane", "--datum", "1m"], "--towards"),
        (&["--target", "plane", "--fall", "1:80"], "--towards"),
        (&["--fall", "1:80", "--towards", "0,0"], "--target plane"),
        (&["--grind", "4 GBP/l"], "EUR"),
        (&["--grind", "4 EUR"], "4 EUR/l"),
        (&["--least-depth", "40mm"], "30.0 mm"),
    ] {
        let pour = ["pour", "survey.csv", "--compound", "compound.toml"];
        let output = lowspot(Path::new(KITCHEN), &[&pour, args].concat());
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(
            text(&output.stderr).contains(named),
            "{}",
            text(&output.stderr)
        );
    }
}

/// What was printed without its line breaks.
fn words(bytes: &[u8]) -> String {
    let text = text(bytes);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A wedge falling 30 mm over 3 m x 1 m, and a compound of 15 l a bag, at least 2 mm deep.
fn wedge() -> tempfile::TempDir {
    let mut survey = "x_m,y_m,height_mm\n".to_owned();
    for (x, y) in (0..4).flat_map(|x| [(x, 0), (x, 1)]) {
        survey += &format!("{x},{y},{}\n", 10 * x - 30);
    }
    let (folder, _) = folder_with("survey.csv", &survey);
    let sheet = "name = \"Test compound\"\nbag = \"25 kg\"\nliquid_per_bag = \"5 l\"\nmixed_per_bag = \"15 l\"\n\
         least_depth = \"2 mm\"\ngreatest_depth = \"40 mm\"\nworking_time = \"20 min\"\nmixing_time = \"3 min\"\n\
         walk_on = \"3 h\"\ndrying_per_day = \"1 mm\"\n";
    fs::write(folder.path().join("sheet.toml"), sheet).unwrap();
    folder
}

/// One bag of 15 l fills the wedge to √(2 · 0.01 · 0.015) m = 17.32 mm over its low end, 12.68 mm below its high end.
#[test]
fn bags_reach_a_level_that_says_whether_they_are_enough() {
    let folder = wedge();
    fn ask<'a>(more: &[&'a str]) -> Vec<&'a str> {
        let pour = ["pour", "survey.csv", "--compound", "sheet.toml"];
        [&pour[..], &["--waste", "0%"], more].concat()
    }
    let document = json(
        folder.path(),
        &ask(&["--bags", "1", "--exit", "3,0.5", "--json"]),
    );
    assert_valid("pour", &document);
    let reach = &document["reach"];
    let near = |value: &serde_json::Value, wanted: f64| {
        assert!((value.as_f64().unwrap() - wanted).abs() < 0.01, "{reach}");
    };
    near(&reach["datum_mm"], -12.68);
    near(&reach["over_highest_mm"], -12.68);
    near(&reach["proud_m2"], 1.268);
    // To cover it by 2 mm takes 51 l.
    assert_eq!(
        (&reach["bags_for_least_depth"], &reach["bags_missing"]),
        (&4.into(), &3.into())
    );
    // From the deep end: 32 t - 5 t² = 15 l at t = 0.51 m.
    assert!((reach["part"]["beyond_m"].as_f64().unwrap() - 2.49).abs() < 0.15);

    let planned = &json(folder.path(), &ask(&["--json"]))["order"]["bags"];
    assert_eq!(planned, 4);
    let enough = lowspot(folder.path(), &ask(&["--bags", "4", "--class", "9mm@2m"]));
    let shown = text(&enough.stdout);
    assert!(
        shown.contains("enough    yes") && shown.contains("all of it"),
        "{shown}"
    );
    let short = lowspot(folder.path(), &ask(&["--bags", "3"]));
    let shown = words(&short.stdout);
    assert!(shown.contains("takes 1 bag more (4 in all)"), "{shown}");
    // What stands proud of two bags' level shows under a straightedge, and so in the exit code.
    let proud = lowspot(
        folder.path(),
        &ask(&["--bags", "2", "--class", "0.1mm@2m", "--u", "0.01mm"]),
    );
    assert_eq!(proud.status.code(), Some(1));
    assert!(words(&proud.stdout).contains("0.1mm@2m: would be OUTSIDE"));
    for (more, part) in [
        (&["--bags", "0"][..], "1..=1000000"),
        (&["--bags", "2.5"], "--bags"),
        (&["--bags", "2", "--map", "m.svg"], "--map"),
        (
            &["--bags", "2", "--compound", "sheet.toml"],
            "one --compound",
        ),
        (&["--bags", "2", "--exit", "1"], "wanted x and y"),
    ] {
        let output = lowspot(folder.path(), &ask(more));
        assert_eq!(output.status.code(), Some(2), "{more:?}");
        assert!(text(&output.stderr).contains(part), "{more:?}");
    }
}

/// 32 ft² at 1/4 in are 18.9 l, with 5 % waste 19.8 l: 2 bags of 15 l.
#[test]
fn an_area_and_a_depth_need_no_survey() {
    let folder = wedge();
    let ask = |more: &[&str]| {
        let area = ["pour", "--compound", "sheet.toml"];
        lowspot(folder.path(), &[&area, more].concat())
    };
    let document = json(
        folder.path(),
        &[
            "pour",
            "--compound",
            "sheet.toml",
            "--area",
            "32sqft",
            "--depth",
            "1/4in",
            "--vessel",
            "20l",
            "--json",
        ],
    );
    assert_valid("pour-area", &document);
    assert_eq!(document["order"]["bags"], 2);
    assert_eq!(document["order"]["mixes"], 2);
    assert!((document["fill_l"].as_f64().unwrap() - 18.878).abs() < 0.001);
    let shown = text(&ask(&["--area", "3m2", "--depth", "5mm"]).stdout);
    assert!(shown.contains("buy       2 bags"), "{shown}");
    assert!(shown.contains("nobody has measured this floor"), "{shown}");
    for part in [
        "mix       Test compound",
        "carry     60.0 kg",
        "drying    about 5 days",
        "test the moisture",
    ] {
        assert!(shown.contains(part), "{part}: {shown}");
    }
    let layers = text(&ask(&["--area", "3m2", "--depth", "50mm"]).stdout);
    for part in ["mix       layer 1, Test", "mix       layer 2, Test"] {
        assert!(layers.contains(part), "{layers}");
    }
    for (more, part) in [
        (&["--area", "3m2"][..], "--depth <DEPTH>"),
        (&["--depth", "5mm"], "--area <AREA>"),
        (&["--area", "3m", "--depth", "5mm"], "3m2"),
        (&["--area", "0m2", "--depth", "5mm"], "--area"),
        (&["--area", "3m2", "--depth", "0mm"], "--depth"),
        (&["--area", "3m2", "--depth", "5mm", "survey.csv"], "SURVEY"),
        (
            &["--area", "3m2", "--depth", "5mm", "--class", "SR2"],
            "--class",
        ),
        (
            &["--area", "3m2", "--depth", "5mm", "--vessel", "1l"],
            "--vessel",
        ),
        (&[], "SURVEY"),
    ] {
        let output = ask(more);
        assert_eq!(output.status.code(), Some(2), "{more:?}");
        assert!(output.stdout.is_empty());
        assert!(
            text(&output.stderr).contains(part),
            "{more:?}: {}",
            text(&output.stderr)
        );
    }
}

/// A level floor of 12 m x 1 m under 10 mm: 120 l, in 8 mixes of a bag of 15 l. Three are down, 4.5 m² of 12.
#[test]
fn the_rest_of_a_pour_follows_from_what_is_down() {
    let folder = wedge();
    let mut survey = "x_m,y_m,height_mm\n".to_owned();
    for (x, y) in (0..=12).flat_map(|x| [(x, 0), (x, 1)]) {
        survey += &format!("{x},{y},0\n");
    }
    fs::write(folder.path().join("survey.csv"), survey).unwrap();
    let ask = |poured: &str, more: &[&str]| {
        fs::write(folder.path().join("poured.csv"), poured).unwrap();
        let pour = [
            "pour",
            "survey.csv",
            "--compound",
            "sheet.toml",
            "--waste",
            "0%",
        ];
        let plan = ["--cover", "10mm", "--vessel", "20l", "--exit", "0,0.5"];
        let poured = ["--poured", "poured.csv"];
        lowspot(folder.path(), &[&pour[..], &plan, &poured, more].concat())
    };
    let document = |poured: &str| -> serde_json::Value {
        let output = ask(poured, &["--json"]);
        let document = serde_json::from_slice(&output.stdout)
            .unwrap_or_else(|_| panic!("{}", text(&output.stderr)));
        assert_valid("pour", &document);
        document
    };
    let numbers = |batches: &serde_json::Value, key: &str| -> Vec<f64> {
        let batches = batches.as_array().unwrap().iter();
        batches.map(|batch| batch[key].as_f64().unwrap()).collect()
    };

    // As planned: the batches that are left are those of the plan, and start now.
    let planned = document("batch\n1\n2\n3\n");
    let rest = &planned["rest"];
    assert_eq!(
        (&rest["enough"], &rest["drop_mm"]),
        (&true.into(), &0.0.into())
    );
    assert_eq!(numbers(&rest["batches"], "n"), [4.0, 5.0, 6.0, 7.0, 8.0]);
    let all = &planned["batches"];
    assert_eq!(
        numbers(&rest["batches"], "volume_l"),
        numbers(all, "volume_l")[3..]
    );
    assert_eq!(
        numbers(&rest["batches"], "at_minute"),
        numbers(all, "at_minute")[..5]
    );

    // 1 mm thicker over 4.5 m² is 0.3 bags, and 0.6 mm over the other 7.5 m².
    let thicker = document("batch,x,y,depth_mm\n1,11.5,0.5,11\n2,,,\n3,,,\n");
    let rest = &thicker["rest"];
    let near = |key: &str, wanted: f64| {
        let found = rest[key].as_f64().unwrap();
        assert!((found - wanted).abs() < 0.05, "{key}: {found}");
    };
    near("bags_used", 3.3);
    near("drop_mm", 0.6);
    near("step_mm", 1.6);
    assert_eq!(rest["bags_missing"], 1);
    assert!((numbers(&rest["batches"], "volume_l").iter().sum::<f64>() - 70.5).abs() < 0.3);

    // Counted: 4 bags in place of 3. The step is 2 mm, which a class of 1 mm forbids.
    let counted = "batch,bags\n1,1\n2,1\n3,2\n";
    let over = ask(counted, &["--class", "1mm@2m"]);
    assert_eq!(over.status.code(), Some(1));
    let shown = words(&over.stdout);
    assert!(
        shown.contains("no: 1 bag more, or the rest comes out 2.0 mm lower"),
        "{shown}"
    );
    assert!(shown.contains("more than the 1.0 mm of 1mm@2m"), "{shown}");
    assert_eq!(ask(counted, &["--bags", "9"]).status.code(), Some(0));
    assert!(words(&ask(counted, &["--bags", "9"]).stdout).contains("enough yes"));
    assert!(words(&ask(counted, &["--bags", "4"]).stdout).contains("nothing is left"));

    let thin = words(&ask("batch,bags\n1,1\n2,1\n3,5\n", &[]).stdout);
    assert!(
        thin.contains("Test compound needs at least 2.0 mm"),
        "{thin}"
    );

    let dry = words(&ask("batch,point,depth_mm\n1,1,10\n", &[]).stdout);
    assert!(
        dry.contains("left out, it does not lie in a batch that is"),
        "{dry}"
    );
    for (poured, part) in [
        ("batch\n1\n3\n", "batch 2 lies behind wet floor"),
        ("batch\n2\n", "batch 1 lies behind wet floor"),
        ("batch,x,y,depth_mm\n1,11.5,0.5,170\n", "a slip of the pen?"),
        // 6 mm over 1.5 m².
        (
            "batch,bags,x,y,depth_mm\n1,1,11.5,0.5,4\n",
            "of batch 1 do not agree by some 9.0 l",
        ),
    ] {
        let shown = words(&ask(poured, &[]).stdout);
        assert!(shown.contains(part), "{poured}: {shown}");
        let as_planned = shown.contains("pour the rest as planned");
        assert!(!(part.contains("wet floor") && as_planned), "{shown}");
    }
    let agree = words(&ask("batch,bags,x,y,depth_mm\n1,1,11.5,0.5,9\n", &[]).stdout);
    assert!(!agree.contains("do not agree"), "{agree}");
    let all = words(&ask("batch\n1\n2\n3\n4\n5\n6\n7\n8\n", &[]).stdout);
    assert!(all.contains("the rest takes 0.0 l"), "{all}");
    for (poured, more, part) in [
        ("batch\n9\n", &[][..], "wanted 1 to 8"),
        (
            "batch,bags\n1,9\n",
            &[],
            "--poured: found 9 bags used, where the plan orders 8",
        ),
        ("batch\n1\n1\n", &[], "every batch once"),
        (
            "batch,point,depth_mm\n1,Z,10\n",
            &[],
            "a point of the survey",
        ),
        (
            "batch,bags\n1,3\n",
            &["--bags", "2"],
            "2 on site, and 3 used",
        ),
        ("batch\n1\n", &["--cover", "60mm"], "in one layer"),
        ("batch\n1\n", &["--map", "m.svg"], "--map"),
    ] {
        let plan_of_its_own = more.contains(&"--cover");
        let output = if plan_of_its_own {
            fs::write(folder.path().join("poured.csv"), poured).unwrap();
            let args = [
                "pour",
                "survey.csv",
                "--compound",
                "sheet.toml",
                "--exit",
                "0,0.5",
            ];
            lowspot(
                folder.path(),
                &[&args[..], &["--poured", "poured.csv"], more].concat(),
            )
        } else {
            ask(poured, more)
        };
        assert_eq!(output.status.code(), Some(2), "{poured}");
        assert!(
            text(&output.stderr).contains(part),
            "{}",
            text(&output.stderr)
        );
    }
    let no_exit = lowspot(
        folder.path(),
        &[
            "pour",
            "survey.csv",
            "--compound",
            "sheet.toml",
            "--poured",
            "poured.csv",
        ],
    );
    assert!(text(&no_exit.stderr).contains("--exit"));
}
