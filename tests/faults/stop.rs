//! Told to stop while writing: the old files are whole, and what was half written is gone.

use std::fs;
use std::io::Write;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use crate::{POUR, files, kitchen, lowspot, pipe, run};

fn stop(child: &Child, signal: &str) {
    let sent = Command::new("kill")
        .args([signal, &child.id().to_string()])
        .status();
    assert!(sent.unwrap().success());
}

/// Waits until lowspot has put something beside its place.
fn wait_for(child: &mut Child, folder: &Path, wanted: impl Fn(&Path) -> bool) -> PathBuf {
    let patience = Instant::now() + Duration::from_secs(120);
    loop {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            if name.starts_with(".lowspot-") && wanted(&path) {
                return path;
            }
        }
        assert!(child.try_wait().unwrap().is_none(), "it ended too early");
        assert!(Instant::now() < patience, "it never wrote");
        thread::sleep(Duration::from_millis(2));
    }
}

/// The last output is a pipe that nobody reads, so it stops for as long as we like with the first two on disk.
#[test]
fn stopped_with_files_beside_their_places() {
    for (signal, number) in [("-TERM", 15), ("-INT", 2)] {
        let folder = kitchen();
        pipe(folder.path(), "map.pipe");
        let before = files(folder.path());
        let outputs = [
            "--map",
            "map.pipe",
            "--pins-out",
            "depths.csv",
            "--dxf",
            "pins.dxf",
        ];
        let mut child = lowspot(folder.path())
            .args(POUR)
            .args(outputs)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        wait_for(&mut child, folder.path(), |_| true);
        stop(&child, signal);
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.signal(), Some(number));
        assert!(output.stdout.is_empty());
        assert_eq!(files(folder.path()), before);
    }
}

/// Standard output is a pipe that is full and that nobody reads, so it stops with the bundle whole beside its place.
#[test]
fn stopped_with_a_bundle_beside_its_place() {
    let folder = kitchen();
    let job = "job = \"Kitchen\"\ncompound = \"compound.toml\"\n[[floor]]\nname = \"Kitchen\"\nsurvey = \"survey.csv\"\n";
    fs::write(folder.path().join("job.toml"), job).unwrap();
    let args = ["handover", "job.toml", "--out", "bundle"];
    assert_eq!(run(folder.path(), &args).status.code(), Some(0));
    let before = files(folder.path());
    let (reader, mut writer) = std::io::pipe().unwrap();
    let own_end = writer.try_clone().unwrap();
    let written = Arc::new(AtomicUsize::new(0));
    let filled = Arc::clone(&written);
    // Ends when nobody is left to read.
    let filler = thread::spawn(move || {
        while writer.write_all(&[b' '; 1024]).is_ok() {
            filled.fetch_add(1, Ordering::Relaxed);
        }
    });
    let mut before_a_while = 0;
    while written.load(Ordering::Relaxed) == 0 || written.load(Ordering::Relaxed) != before_a_while
    {
        before_a_while = written.load(Ordering::Relaxed);
        thread::sleep(Duration::from_millis(200));
    }
    let mut child = lowspot(folder.path())
        .args(args)
        .stdout(own_end)
        .spawn()
        .unwrap();
    let bundle = wait_for(&mut child, folder.path(), |bundle| {
        bundle.join("report.pdf").exists()
    });
    stop(&child, "-TERM");
    assert_eq!(child.wait().unwrap().signal(), Some(15));
    assert!(!bundle.exists());
    assert_eq!(files(folder.path()), before);
    drop(reader);
    filler.join().unwrap();
}

/// At moments all through a run and past its end.
#[test]
fn stopped_at_any_moment_a_map_is_the_old_one_or_the_new_one() {
    let folder = kitchen();
    let args = ["check", "survey.csv", "--map", "map.svg"];
    let old = files(folder.path());
    let began = Instant::now();
    assert_eq!(run(folder.path(), &args).status.code(), Some(0));
    let usual = began.elapsed();
    let new = files(folder.path());
    let rounds = 16;
    for round in 0..rounds {
        for (path, bytes) in &old {
            fs::write(path, bytes).unwrap();
        }
        let mut child = lowspot(folder.path())
            .args(args)
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        thread::sleep(usual * round * 5 / (rounds * 4));
        stop(&child, "-TERM");
        let status = child.wait().unwrap();
        assert!(
            status.signal() == Some(15) || status.code() == Some(0),
            "{status}"
        );
        let found = files(folder.path());
        assert!(found == old || found == new, "round {round}");
        assert!(status.code() != Some(0) || found == new, "round {round}");
    }
}
