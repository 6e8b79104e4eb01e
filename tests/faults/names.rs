//! Input named as output, whatever name leads to it.

use std::fs::{self, File};
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::Output;

use crate::{OLD, SAMPLES, assert_refused, files, kitchen, lowspot, run, text};

const OUTLINE: &str = "x_m,y_m\n-1,-1\n9,-1\n9,9\n-1,9\n";
const CLASSES: &str = "[[class]]\nname = \"hall\"\n[[class.requirement]]\nmeasure = \"straightedge\"\n\
     length = \"8 m\"\nlimit = \"60 mm\"\n";

#[test]
fn an_input_is_never_an_output() {
    let folder = kitchen();
    let at = |name: &str| folder.path().join(name);
    fs::write(at("outline.csv"), OUTLINE).unwrap();
    fs::write(at("own.toml"), CLASSES).unwrap();
    fs::write(at("pins.csv"), "x_m,y_m\n1,1\n").unwrap();
    fs::create_dir(at("inside")).unwrap();
    symlink("survey.csv", at("soft.csv")).unwrap();
    symlink(folder.path(), at("inside/up")).unwrap();
    fs::hard_link(at("survey.csv"), at("hard.csv")).unwrap();
    let absolute = at("survey.csv").display().to_string();
    let before = files(folder.path());
    for name in [
        "survey.csv",
        "./survey.csv",
        "inside/../survey.csv",
        "inside/up/survey.csv",
        &absolute,
        "soft.csv",
        "hard.csv",
        "outline.csv",
        "own.toml",
        "compound.toml",
        "pins.csv",
    ] {
        for output in ["--map", "--pins-out", "--dxf"] {
            let args = [
                "pour",
                "survey.csv",
                "--compound",
                "compound.toml",
                "--outline",
                "outline.csv",
                "--classes",
                "own.toml",
                "--pins",
                "pins.csv",
                output,
                name,
            ];
            assert_refused(
                &run(folder.path(), &args),
                &[name, "an input named as output"],
            );
        }
    }
    for name in ["survey.csv", "soft.csv", "hard.csv"] {
        for args in [
            &["check", "soft.csv", "--map", name][..],
            &["describe", "hard.csv", "--map", name],
            &[
                "compare",
                "map.svg",
                "survey.csv",
                "--format-after",
                "grid",
                "--map",
                name,
            ],
        ] {
            let output = run(folder.path(), args);
            assert_eq!(output.status.code(), Some(2), "{args:?}");
        }
    }
    let unchanged: Vec<_> = files(folder.path()).into_iter().collect();
    assert_eq!(unchanged, before.into_iter().collect::<Vec<_>>());
}

/// `lowspot check - < survey.csv --map survey.csv`, and `lowspot check survey.csv >> survey.csv`.
#[test]
fn nor_by_way_of_standard_input_and_output() {
    let folder = kitchen();
    let survey = folder.path().join("survey.csv");
    let before = files(folder.path());
    let redirected = |args: &[&str], append: bool| -> Output {
        let mut command = lowspot(folder.path());
        command.args(args).stdin(File::open(&survey).unwrap());
        if append {
            command.stdout(File::options().append(true).open(&survey).unwrap());
        }
        command.output().unwrap()
    };
    let output = redirected(&["check", "-", "--map", "survey.csv"], false);
    assert_refused(&output, &["survey.csv", "an input named as output"]);
    for args in [
        &["check", "survey.csv", "--map", "map.svg"][..],
        &["check", "-"],
    ] {
        let output = redirected(args, true);
        assert_refused(&output, &["standard output", "an input named as output"]);
    }
    assert_eq!(files(folder.path()), before);
    assert_eq!(redirected(&["check", "-"], false).status.code(), Some(0));
}

#[test]
fn one_file_is_not_two_outputs() {
    let folder = kitchen();
    symlink("map.svg", folder.path().join("soft.svg")).unwrap();
    let before = files(folder.path());
    for (one, other) in [
        ("map.svg", "./map.svg"),
        ("new.svg", "./new.svg"),
        ("map.svg", "soft.svg"),
    ] {
        let args = [
            "pour",
            "survey.csv",
            "--compound",
            "compound.toml",
            "--map",
            one,
            "--dxf",
            other,
        ];
        assert_refused(&run(folder.path(), &args), &[other, "for two outputs"]);
    }
    let map = folder.path().join("map.svg");
    let output = lowspot(folder.path())
        .args(["check", "survey.csv", "--map", "map.svg"])
        .stdout(File::options().append(true).open(&map).unwrap())
        .output()
        .unwrap();
    assert_refused(&output, &["map.svg", "for two outputs"]);
    assert_eq!(files(folder.path()), before);
}

/// The file that a link leads to is written; the link stays.
#[test]
fn a_link_is_followed() {
    let folder = kitchen();
    let far = tempfile::tempdir().unwrap();
    let target = far.path().join("map.svg");
    fs::write(&target, OLD).unwrap();
    let link = folder.path().join("link.svg");
    symlink(&target, &link).unwrap();
    let output = run(folder.path(), &["check", "survey.csv", "--map", "link.svg"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    assert!(fs::read(&target).unwrap().starts_with(b"<svg"));
    assert_eq!(fs::read_dir(far.path()).unwrap().count(), 1);
}

/// A table of an earlier bundle that is now where the pins are is an input, although the bundle made it.
#[test]
fn a_bundle_does_not_replace_its_own_input() {
    let folder = tempfile::tempdir().unwrap();
    for entry in fs::read_dir(Path::new(SAMPLES).join("weavers-cottage")).unwrap() {
        let entry = entry.unwrap();
        if entry.file_type().unwrap().is_file() {
            fs::copy(entry.path(), folder.path().join(entry.file_name())).unwrap();
        }
    }
    let job = |survey: &str| {
        let text = format!(
            "job = \"Kitchen\"\ncompound = \"compound.toml\"\n[[floor]]\nname = \"Kitchen\"\nsurvey = \"{survey}\"\n"
        );
        fs::write(folder.path().join("alone.toml"), text).unwrap();
        run(
            folder.path(),
            &["handover", "alone.toml", "--out", "bundle"],
        )
    };
    assert_eq!(job("kitchen.csv").status.code(), Some(0));
    fs::copy(
        folder.path().join("kitchen.csv"),
        folder.path().join("bundle/kitchen-pins.csv"),
    )
    .unwrap();
    let before = files(folder.path());
    let output = job("bundle/kitchen-pins.csv");
    assert_refused(&output, &["--out", "the input kitchen-pins.csv"]);
    let job = folder.path().join("alone.toml");
    let but_for_the_job = |mut files: std::collections::BTreeMap<_, _>| {
        files.remove(&job);
        files
    };
    assert_eq!(
        but_for_the_job(files(folder.path())),
        but_for_the_job(before)
    );
}
