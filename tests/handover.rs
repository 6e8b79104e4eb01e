//! The bundle of a job: whole or not at all, the same bytes every time, and what it says of its inputs is so.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use lowspot::survey::Source;

const COTTAGE: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/sample-surveys/weavers-cottage"
);

fn command(job: &Path, out: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lowspot"));
    command.arg("handover").arg(job).arg("--out").arg(out);
    command
}

fn handover(job: &Path, out: &Path) -> Output {
    command(job, out).output().unwrap()
}

/// A folder's files by name; nothing if there is no such folder.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = fs::read_dir(folder).into_iter().flatten();
    entries
        .map(|entry| {
            let entry = entry.unwrap();
            let name = entry.file_name().into_string().unwrap();
            (name, fs::read(entry.path()).unwrap())
        })
        .collect()
}

/// A copy of the cottage's inputs.
fn copy(to: &Path) -> PathBuf {
    for entry in fs::read_dir(COTTAGE).unwrap() {
        let entry = entry.unwrap();
        if entry.file_type().unwrap().is_file() {
            fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
        }
    }
    to.join("job.toml")
}

/// A job of the kitchen's survey alone, and a class that the floor meets or does not.
fn kitchen_alone(folder: &Path, class: &str) -> PathBuf {
    copy(folder);
    let job = folder.join("alone.toml");
    let text = format!(
        "job = \"Kitchen alone\"\nclass = \"{class}\"\ncompound = \"compound.toml\"\n[[floor]]\nname = \"Kitchen\"\nsurvey = \"kitchen.csv\"\n"
    );
    fs::write(&job, text).unwrap();
    job
}

#[test]
fn the_same_job_gives_the_same_bytes_wherever_it_lies() {
    let scratch = tempfile::tempdir().unwrap();
    let moved = scratch.path().join("elsewhere");
    fs::create_dir(&moved).unwrap();
    let jobs = [Path::new(COTTAGE).join("job.toml"), copy(&moved)];
    let [first, second] = [0, 1].map(|number| {
        let out = scratch.path().join(format!("out{number}"));
        let output = handover(&jobs[number], &out);
        assert_eq!(output.status.code(), Some(1), "{output:?}");
        files(&out)
    });
    assert!(first.len() > 10);
    for (name, bytes) in &first {
        assert!(second.get(name) == Some(bytes), "{name} differs");
    }
    assert_eq!(first.len(), second.len());
}

#[test]
fn every_input_is_listed_with_its_hash_and_every_file_of_the_bundle_by_name() {
    let scratch = tempfile::tempdir().unwrap();
    let job = copy(scratch.path());
    let out = scratch.path().join("out");
    handover(&job, &out);
    let bundle = files(&out);
    let result: serde_json::Value = serde_json::from_slice(&bundle["handover.json"]).unwrap();
    let listed: Vec<&str> = result["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|name| name.as_str().unwrap())
        .collect();
    assert_eq!(
        listed,
        bundle.keys().map(String::as_str).collect::<Vec<_>>()
    );

    let text = String::from_utf8(bundle["inputs.sha256"].clone()).unwrap();
    let page = String::from_utf8(bundle["report.html"].clone()).unwrap();
    let mut names = Vec::new();
    for line in text.lines() {
        let (hash, name) = line.split_once("  ").unwrap();
        let path = scratch.path().join(name);
        assert_eq!(
            Source::new(path.to_str().unwrap())
                .unwrap()
                .sha256()
                .unwrap(),
            hash,
            "{name}"
        );
        assert!(page.contains(hash) && page.contains(name), "{name}");
        names.push(name);
    }
    let wanted = [
        "compound.toml",
        "job.toml",
        "kitchen-after.csv",
        "kitchen.csv",
        "outline.csv",
        "parlour-after.csv",
        "parlour.csv",
    ];
    assert_eq!(names, wanted);
}

#[test]
fn killed_at_any_moment_the_bundle_is_the_old_one_or_the_new_one() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    let jobs = ["SR1", "SR3"].map(|class| {
        let folder = scratch.path().join(class);
        fs::create_dir(&folder).unwrap();
        kitchen_alone(&folder, class)
    });
    let began = Instant::now();
    let whole = [0, 1].map(|number| {
        let output = handover(&jobs[number], &out);
        assert_ne!(output.status.code(), Some(2), "{output:?}");
        files(&out)
    });
    assert!(whole[0] != whole[1]);
    let usual = began.elapsed() / 2;
    let rounds = 24;
    for round in 0..rounds {
        let mut child = command(&jobs[round % 2], &out)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // The moments go through the whole run and past its end.
        sleep(usual * round as u32 * 5 / (rounds as u32 * 4) + Duration::from_millis(1));
        let _ = child.kill();
        child.wait().unwrap();
        let found = files(&out);
        assert!(whole.contains(&found), "round {round}: {:?}", found.keys());
    }
}

#[test]
fn what_is_not_a_bundle_is_left_alone() {
    let scratch = tempfile::tempdir().unwrap();
    let job = copy(scratch.path());
    let before = files(scratch.path());
    let output = handover(&job, scratch.path());
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(
        said.contains("--out") && said.contains("which holds"),
        "{said}"
    );
    assert_eq!(files(scratch.path()), before);
}

#[test]
fn a_job_that_cannot_be_done_leaves_the_old_bundle() {
    let scratch = tempfile::tempdir().unwrap();
    let job = copy(scratch.path());
    let out = scratch.path().join("out");
    handover(&job, &out);
    let before = files(&out);
    fs::write(scratch.path().join("parlour-after.csv"), "x_m,y_m\n1,2\n").unwrap();
    let output = handover(&job, &out);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(String::from_utf8_lossy(&output.stderr).contains("parlour-after.csv"));
    assert!(output.stdout.is_empty());
    assert_eq!(files(&out), before);
}

#[test]
fn a_floor_that_was_not_surveyed_after_its_pour_is_not_said_to_be_done() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    for (class, code) in [("SR1", 1), ("50mm@2m", 1)] {
        let output = handover(&kitchen_alone(scratch.path(), class), &out);
        assert_eq!(output.status.code(), Some(code), "{class}: {output:?}");
    }
    let bundle = files(&out);
    assert!(bundle.contains_key("kitchen-before.svg") && !bundle.contains_key("kitchen-after.svg"));
    let page = String::from_utf8(bundle["report.html"].clone()).unwrap();
    assert!(page.contains("was not surveyed after the pour"));
    assert!(page.contains("before its pour"));
}

/// The kitchen's outline reaches beyond its readings: a verdict on what was read is none on the rest.
#[test]
fn a_floor_that_was_not_measured_whole_is_not_said_to_be_met_whole() {
    let scratch = tempfile::tempdir().unwrap();
    let job = kitchen_alone(scratch.path(), "50mm@4m");
    let out = scratch.path().join("out");
    let said = |more: &str| {
        let text = fs::read_to_string(&job).unwrap();
        fs::write(&job, text + more).unwrap();
        assert_eq!(handover(&job, &out).status.code(), Some(0));
        fs::read_to_string(out.join("report.html")).unwrap()
    };
    let beyond = "Nothing is known about what was not: 1.6 m² of Kitchen.";
    assert!(!said("").contains(beyond));
    assert!(said("outline = \"outline.csv\"\n").contains(beyond));
}

/// A name from a file is text, not markup.
#[test]
fn names_stay_text() {
    let scratch = tempfile::tempdir().unwrap();
    let job = kitchen_alone(scratch.path(), "SR2");
    let text = fs::read_to_string(&job).unwrap();
    fs::write(
        &job,
        text.replace(
            "Kitchen alone",
            "<script>alert(1)</script> & \u{201c}co\u{201d}",
        ),
    )
    .unwrap();
    let out = scratch.path().join("out");
    handover(&job, &out);
    let page = fs::read_to_string(out.join("report.html")).unwrap();
    assert!(
        !page.contains("<script>alert")
            && page.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp;")
    );
    for outside in ["http:", "https:", "src=", "@import"] {
        let all = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!all.contains(outside), "{outside}");
    }
}
