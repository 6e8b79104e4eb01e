//! Real faults: disks that are full or may only be read, pipes that are closed, a program that is told to stop, input that
//! changes while it is read or is named as output. Whatever happens nothing is lost, nothing is half written, and the exit
//! code says how it ended.
#![cfg(unix)]

mod input;
mod names;
mod output;
mod stop;

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::FileTypeExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const LOWSPOT: &str = env!("CARGO_BIN_EXE_lowspot");
const SAMPLES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-surveys");
const OLD: &str = "what stood here before";

/// A folder with the kitchen's survey and compound in it, and old outputs.
fn kitchen() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in ["survey.csv", "compound.toml"] {
        let sample = Path::new(SAMPLES).join("weavers-kitchen").join(name);
        fs::copy(sample, folder.path().join(name)).unwrap();
    }
    for name in ["map.svg", "depths.csv", "pins.dxf"] {
        fs::write(folder.path().join(name), OLD).unwrap();
    }
    folder
}

const POUR: &[&str] = &["pour", "survey.csv", "--compound", "compound.toml"];

/// lowspot in a folder.
fn lowspot(folder: &Path) -> Command {
    let mut command = Command::new(LOWSPOT);
    command.current_dir(folder);
    command
}

fn run(folder: &Path, args: &[&str]) -> Output {
    lowspot(folder).args(args).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// The plain files of a folder and of those in it, hidden ones too, by name.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files(&path));
        } else if path.is_file() {
            found.insert(path.clone(), fs::read(&path).unwrap());
        }
    }
    found
}

/// That it ended with 2, printed nothing and said all of `said`.
fn assert_refused(output: &Output, said: &[&str]) {
    let message = text(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{message}");
    assert!(output.stdout.is_empty(), "{}", text(&output.stdout));
    assert_eq!(message.lines().count(), 1, "{message}");
    for said in said {
        assert!(message.contains(said), "{said}: {message}");
    }
}

/// A device that is always full: one of its own where the system lets us make it, so that no fault of ours hurts the real one.
fn full_device(folder: &Path) -> PathBuf {
    let own = folder.join("full");
    let made = Command::new("mknod")
        .arg(&own)
        .args(["c", "1", "7"])
        .output();
    let works = || fs::OpenOptions::new().write(true).open(&own).is_ok();
    if made.is_ok_and(|made| made.status.success()) && works() {
        own
    } else {
        // Left by a mknod that the system then does not let us use.
        let _ = fs::remove_file(&own);
        PathBuf::from("/dev/full")
    }
}

fn pipe(folder: &Path, name: &str) -> PathBuf {
    let path = folder.join(name);
    assert!(
        Command::new("mkfifo")
            .arg(&path)
            .status()
            .unwrap()
            .success()
    );
    assert!(fs::metadata(&path).unwrap().file_type().is_fifo());
    path
}

/// Runs a script where it may mount file systems that nobody else sees. None, and a line that says so, where the system lets
/// nobody do that.
fn with_own_mounts(folder: &Path, script: &str) -> Option<Output> {
    let mut unshare = Command::new("unshare");
    unshare.args(["--user", "--map-root-user", "--mount"]);
    let may = |command: &mut Command| command.output().is_ok_and(|done| done.status.success());
    let try_mount = "mount -t tmpfs -o size=4k none .";
    if !may(unshare.args(["sh", "-c", try_mount]).current_dir(folder)) {
        eprintln!("skipped: this system lets us mount no file system of our own");
        return None;
    }
    let output = Command::new("unshare")
        .args(["--user", "--map-root-user", "--mount", "sh", "-euc", script])
        .current_dir(folder)
        .env("LOWSPOT", LOWSPOT)
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", text(&output.stderr));
    Some(output)
}
