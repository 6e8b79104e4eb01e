//! Outputs that cannot be written.

use std::fs::{self, File};
use std::io::Read;
use std::os::unix::fs::{FileTypeExt, PermissionsExt, symlink};
use std::process::{Command, Stdio};

use crate::{
    LOWSPOT, OLD, POUR, assert_refused, files, full_device, kitchen, lowspot, pipe, run, text,
    with_own_mounts,
};

/// The device is named by a link, written to and refuses; it stays a device, and the other outputs stay as they were.
#[test]
fn a_full_device_as_output() {
    let folder = kitchen();
    let device = full_device(folder.path());
    symlink(&device, folder.path().join("link.svg")).unwrap();
    let before = files(folder.path());
    let outputs = ["--map", "link.svg", "--pins-out", "depths.csv"];
    let output = run(folder.path(), &[POUR, &outputs].concat());
    assert_refused(&output, &["link.svg", "cannot be written", "space"]);
    assert!(fs::metadata(&device).unwrap().file_type().is_char_device());
    assert_eq!(files(folder.path()), before);
}

#[test]
fn standard_output_that_is_full_leaves_the_files_as_they_were() {
    let folder = kitchen();
    fs::write(folder.path().join("job.toml"), JOB).unwrap();
    let before = files(folder.path());
    for args in [
        &["check", "survey.csv", "--json", "--map", "map.svg"][..],
        &["check", "survey.csv", "--map", "new.svg"],
        &["handover", "job.toml", "--out", "bundle"],
        &["classes"],
        &["--help"],
        &["check", "--help"],
        &["--version"],
    ] {
        let full = File::options().write(true).open("/dev/full").unwrap();
        let output = lowspot(folder.path())
            .args(args)
            .stdout(full)
            .output()
            .unwrap();
        assert_refused(&output, &["standard output: cannot be written"]);
        assert_eq!(files(folder.path()), before, "{args:?}");
        assert!(!folder.path().join("bundle").exists());
    }
}

const JOB: &str = "job = \"Kitchen\"\ncompound = \"compound.toml\"\n[[floor]]\nname = \"Kitchen\"\nsurvey = \"survey.csv\"\n";

/// Nobody hears the message, but the exit code tells.
#[test]
fn a_message_that_cannot_be_written_is_no_panic() {
    let folder = kitchen();
    for args in [&["check", "none.csv"][..], &["check"], &["nonsense"]] {
        let full = File::options().write(true).open("/dev/full").unwrap();
        let status = lowspot(folder.path()).args(args).stderr(full).status();
        assert_eq!(status.unwrap().code(), Some(2), "{args:?}");
    }
}

/// On a disk with room for less than a map: the old map is whole, and nothing is left over.
#[test]
fn a_full_disk() {
    let folder = kitchen();
    fs::write(folder.path().join("job.toml"), JOB).unwrap();
    fs::create_dir(folder.path().join("small")).unwrap();
    let script = "mount -t tmpfs -o size=16k none small
        cp map.svg small
        say() { echo \"$? $(cat small/map.svg) $(ls -A small)\"; cat error; }
        \"$LOWSPOT\" check survey.csv --map small/map.svg > out 2> error || say
        \"$LOWSPOT\" check survey.csv --map small/new.svg > out 2> error || say
        \"$LOWSPOT\" handover job.toml --out small/bundle > out 2> error || say
        test ! -s out";
    let Some(output) = with_own_mounts(folder.path(), script) else {
        return;
    };
    let said = text(&output.stdout);
    let lines: Vec<_> = said.lines().collect();
    assert_eq!(lines.len(), 6, "{said}");
    for (pair, name) in lines.chunks(2).zip(["map.svg", "new.svg", "bundle"]) {
        assert_eq!(pair[0], format!("2 {OLD} map.svg"));
        let message = pair[1];
        assert!(
            message.contains(&format!("lowspot: small/{name}")),
            "{message}"
        );
        assert!(
            message.contains("cannot be written") && message.contains("space"),
            "{message}"
        );
    }
}

/// The same where files may be no longer than a few kilobytes, which needs no right to mount anything.
#[test]
fn a_file_that_may_not_be_so_long() {
    let folder = kitchen();
    let before = files(folder.path());
    let script = "trap '' XFSZ; ulimit -f 8; exec \"$0\" check survey.csv --map map.svg";
    let output = Command::new("sh")
        .args(["-c", script, LOWSPOT])
        .current_dir(folder.path())
        .output()
        .unwrap();
    assert_refused(&output, &["map.svg: cannot be written"]);
    assert_eq!(files(folder.path()), before);
}

#[test]
fn a_disk_that_may_only_be_read() {
    let folder = kitchen();
    fs::create_dir(folder.path().join("small")).unwrap();
    let script = "mount -t tmpfs none small
        cp map.svg small
        mount -o remount,ro small
        for name in map new; do
            \"$LOWSPOT\" check survey.csv --map small/$name.svg > out 2> error || echo \"$? $(cat error)\"
        done
        test ! -s out
        cat small/map.svg; ls -A small";
    let Some(output) = with_own_mounts(folder.path(), script) else {
        return;
    };
    let said = text(&output.stdout);
    assert!(
        said.contains("2 lowspot: small/map.svg: cannot be written"),
        "{said}"
    );
    assert!(
        said.contains("2 lowspot: small/new.svg: cannot be written"),
        "{said}"
    );
    assert!(said.ends_with(&format!("{OLD}map.svg\n")), "{said}");
}

/// Where a folder ought to be: nothing, a file, a folder itself; and an old file that may only be read.
#[test]
fn places_that_cannot_be_written_to() {
    let folder = kitchen();
    fs::create_dir(folder.path().join("taken")).unwrap();
    let locked = folder.path().join("pins.dxf");
    fs::set_permissions(&locked, fs::Permissions::from_mode(0o444)).unwrap();
    let before = files(folder.path());
    for place in ["none/map.svg", "survey.csv/map.svg", "taken", "pins.dxf"] {
        let outputs = ["--map", place, "--pins-out", "depths.csv"];
        let output = run(folder.path(), &[POUR, &outputs].concat());
        assert_refused(&output, &["cannot be written"]);
        assert_eq!(files(folder.path()), before, "{place}");
    }
}

/// A file over which another is mounted cannot be replaced, which shows only when the first outputs are in their places.
#[test]
fn of_several_outputs_all_are_put_in_their_places_or_none() {
    let folder = kitchen();
    fs::write(folder.path().join("other"), "mounted").unwrap();
    let script = "mount --bind other pins.dxf
        for map in map new; do
            \"$LOWSPOT\" pour survey.csv --compound compound.toml --map $map.svg --pins-out depths.csv --dxf pins.dxf \
                > out 2> error || echo \"$? $(cat error)\"
        done
        cat pins.dxf; rm out error";
    let before = files(folder.path());
    let Some(output) = with_own_mounts(folder.path(), script) else {
        return;
    };
    let said = text(&output.stdout);
    let refusals = said
        .matches("2 lowspot: pins.dxf: cannot be written")
        .count();
    assert_eq!(refusals, 2, "{said}");
    assert!(said.ends_with("mounted"), "{said}");
    assert_eq!(files(folder.path()), before);
}

#[test]
fn a_reader_that_has_gone_away_is_no_error() {
    let folder = kitchen();
    for (args, code) in [
        (&["classes", "--json"][..], 0),
        (
            &[
                "check",
                "survey.csv",
                "--json",
                "--class",
                "SR2",
                "--map",
                "map.svg",
            ],
            1,
        ),
        (&["pour", "--help"], 0),
    ] {
        let mut child = lowspot(folder.path())
            .args(args)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut first = [0];
        let mut reader = child.stdout.take().unwrap();
        reader.read_exact(&mut first).unwrap();
        drop(reader);
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(code), "{args:?}");
        assert!(output.stderr.is_empty(), "{}", text(&output.stderr));
    }
    assert!(files(folder.path())[&folder.path().join("map.svg")].starts_with(b"<svg"));
}

/// What is no file is written to as it is: a pipe gets the map, and stays a pipe.
#[test]
fn a_pipe_as_output() {
    let folder = kitchen();
    let path = pipe(folder.path(), "map.pipe");
    let mut child = lowspot(folder.path())
        .args(["check", "survey.csv", "--map", "map.pipe"])
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let map = fs::read_to_string(&path).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert!(map.starts_with("<svg") && map.trim_end().ends_with("</svg>"));
    assert!(fs::metadata(&path).unwrap().file_type().is_fifo());
}

/// A new file is like any other, and one that replaces an old file may be read by the same people.
#[test]
fn an_old_file_keeps_its_rights() {
    let folder = kitchen();
    let mode = |name: &str| {
        fs::metadata(folder.path().join(name))
            .unwrap()
            .permissions()
            .mode()
            & 0o777
    };
    let map = folder.path().join("map.svg");
    fs::set_permissions(&map, fs::Permissions::from_mode(0o600)).unwrap();
    let outputs = ["--map", "map.svg", "--pins-out", "new.csv"];
    assert_eq!(
        run(folder.path(), &[POUR, &outputs].concat()).status.code(),
        Some(0)
    );
    assert_eq!(mode("map.svg"), 0o600);
    fs::write(folder.path().join("usual"), "").unwrap();
    assert_eq!(mode("new.csv"), mode("usual"));
}
