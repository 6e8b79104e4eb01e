//! Bad files of every kind, one table: each is refused with exit code 2 and one line that names the file, the place and the
//! remedy, within ten seconds of work and a gigabyte of memory, and nothing is written.
//!
//! The invented ones are in `readings.rs`, `scans.rs` and `written.rs`; the real ones are those of the shared data that
//! `tests/formats.txt` calls an error. What was said of each invented one stands in `said.txt`, blessed like the golden files.
//! Memory and time are limited by the shell, which only Linux does for both.
#![cfg(target_os = "linux")]

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

mod readings;
mod scans;
mod written;

/// A bad file, and what must be said of it.
struct Bad {
    /// What it is called; BAD in the arguments stands for it.
    file: &'static str,
    bytes: Vec<u8>,
    args: &'static [&'static str],
    /// What follows the file's name: `, line 3, column z_mm`, or nothing where it is the whole file.
    place: &'static str,
    /// Part of what is wanted.
    remedy: &'static str,
}

fn bad(
    args: &'static [&'static str],
    file: &'static str,
    bytes: impl Into<Vec<u8>>,
    place: &'static str,
    remedy: &'static str,
) -> Bad {
    Bad {
        file,
        bytes: bytes.into(),
        args,
        place,
        remedy,
    }
}

const KITCHEN: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/sample-surveys/weavers-kitchen"
);
const SAID: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/bad_input/said.txt");
const DATA: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../shared/data");

/// Runs lowspot in `folder` with at most 1 GiB of address space and 10 seconds of work.
fn limited(folder: &Path, args: &[&str]) -> Output {
    Command::new("sh")
        .args(["-c", "ulimit -v 1048576; ulimit -t 10; exec \"$@\"", "sh"])
        .arg(env!("CARGO_BIN_EXE_lowspot"))
        .args(args)
        .current_dir(folder)
        // Each thread reserves address space, and a machine may have many.
        .env("RAYON_NUM_THREADS", "2")
        .output()
        .unwrap()
}

/// How a bad file begins.
fn begins(bytes: &[u8]) -> String {
    let shown: String = bytes
        .iter()
        .take(80)
        .flat_map(|&byte| std::ascii::escape_default(byte))
        .map(char::from)
        .collect();
    format!("\n{} bytes: {shown}", bytes.len())
}

/// What is in a folder, by name.
fn content(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut content: Vec<_> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| {
            let path = entry.unwrap().path();
            (path.display().to_string(), fs::read(path).unwrap())
        })
        .collect();
    content.sort();
    content
}

/// What is wrong with how a file was refused, if anything.
fn fault(file: &str, place: &str, remedy: &str, output: &Output) -> Option<String> {
    let message = String::from_utf8_lossy(&output.stderr);
    let start = format!("lowspot: {file}{place}: ");
    let wanted = message.split_once("; wanted ").map(|(_, wanted)| wanted);
    let refused = output.status.code() == Some(2)
        && output.stdout.is_empty()
        && message.lines().count() == 1
        && message.len() < 1000
        && message.starts_with(&start)
        && wanted.is_some_and(|wanted| wanted.contains(remedy));
    (!refused).then(|| format!("{start}... wanted {remedy}\n  {}: {message}", output.status))
}

#[test]
fn every_invented_bad_file_is_refused_and_nothing_written() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for (from, to) in [
        (format!("{KITCHEN}/survey.csv"), "survey.csv"),
        (format!("{KITCHEN}/compound.toml"), "compound.toml"),
    ] {
        fs::copy(from, folder.join(to)).unwrap();
    }
    fs::write(folder.join("map.svg"), "what stood here before").unwrap();
    let rows: Vec<Bad> = [readings::rows(), scans::rows(), written::rows()]
        .into_iter()
        .flatten()
        .collect();
    assert!(rows.len() >= 60, "{}", rows.len());
    let mut faults = Vec::new();
    let mut said = String::new();
    for row in &rows {
        fs::write(folder.join(row.file), &row.bytes).unwrap();
        let before = content(folder);
        let args: Vec<_> = row
            .args
            .iter()
            .map(|&arg| if arg == "BAD" { row.file } else { arg })
            .collect();
        let output = limited(folder, &args);
        faults.extend(fault(row.file, row.place, row.remedy, &output));
        said += &format!("{}\n$ lowspot {}\n", begins(&row.bytes), args.join(" "));
        said += &String::from_utf8_lossy(&output.stderr);
        if content(folder) != before {
            faults.push(format!("{}{}: files were changed", row.file, row.place));
        }
        fs::remove_file(folder.join(row.file)).unwrap();
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    if std::env::var_os("LOWSPOT_BLESS").is_some() {
        fs::write(SAID, &said).unwrap();
    }
    let before = fs::read_to_string(SAID).unwrap();
    for (said, before) in said.lines().zip(before.lines()) {
        assert_eq!(said, before);
    }
    assert_eq!(said.lines().count(), before.lines().count());
}

/// The files of the shared data that cannot be read, and those that hold no floor.
#[test]
fn every_bad_file_of_the_shared_data_is_refused() {
    if !Path::new(DATA).is_dir() {
        eprintln!("shared/data is not beside the repository: nothing was read");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let lines = include_str!("../formats.txt").lines();
    let rows = lines
        .filter(|line| !line.starts_with('#'))
        .filter_map(|line| {
            let (file, expected) = line.split_once(char::is_whitespace)?;
            let expected = expected.trim();
            let empty = expected.split_whitespace().nth(1) == Some("0");
            (empty || expected.starts_with("error ")).then_some((file, expected))
        });
    let (mut faults, mut count) = (Vec::new(), 0);
    for (file, expected) in rows {
        count += 1;
        let file = format!("{DATA}/{file}");
        let place = match expected.strip_prefix("error ") {
            Some(error) if error.starts_with("line") || error.starts_with("record") => {
                format!(", {}", error.split(": ").next().unwrap_or_default())
            }
            Some(_) | None => String::new(),
        };
        let output = limited(folder.path(), &["check", &file, "--map", "map.svg"]);
        faults.extend(fault(&file, &place, "", &output));
    }
    assert!(count >= 40, "{count}");
    assert!(content(folder.path()).is_empty());
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// A cell is named that would do, whatever is wrong with the one asked for.
#[test]
fn cells_that_cannot_be_used_are_refused_with_a_size_that_can() {
    let folder = tempfile::tempdir().unwrap();
    // 5 m by 5 m, 800 points per m², spread by the golden ratio: no grid.
    let scan: String = (0..20_000)
        .map(|n| {
            let at = f64::from(n);
            let (x, y) = (at / 20_000.0 * 5.0, (at * 0.618_033_988_7).fract() * 5.0);
            format!("{x:.4} {y:.4} {:.4}\n", 0.001 * (at * 0.7).sin())
        })
        .collect();
    fs::write(folder.path().join("scan.xyz"), scan).unwrap();
    for (cell, found, wanted) in [
        ("1mm", "0.0 points each", "or more for a floor without gaps"),
        (
            "40mm",
            "hold 1.3 points each",
            "62mm at least, and 123mm or more",
        ),
        ("0.1mm", "0.0001 m", "between 1mm and 5m"),
    ] {
        let args = ["check", "scan.xyz", "--format", "xyz", "--cell", cell];
        let output = limited(folder.path(), &args);
        let message = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{cell}: {message}");
        assert!(
            message.contains(found) && message.contains(wanted),
            "{cell}: {message}"
        );
    }
    let args = ["check", "scan.xyz", "--format", "xyz", "--cell", "125mm"];
    assert_eq!(limited(folder.path(), &args).status.code(), Some(0));
}
