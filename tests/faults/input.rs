//! Input that changes while it is read, and input that can be read only once.

use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::Path;
use std::process::{Output, Stdio};
use std::thread;

use crate::{OLD, assert_refused, files, kitchen, lowspot, pipe, run, text, with_own_mounts};

/// A room that everything lies in.
const ROOM: &str = "x_m,y_m\n-100,-100\n100,-100\n100,100\n-100,100\n";

/// Runs lowspot with `--outline` from a pipe, which it opens when it knows what the survey is and has read none of a scan's
/// points, or all of a list's readings; makes the change then, and lets it go on.
fn while_reading(folder: &Path, args: &[&str], change: impl FnOnce() + Send) -> Output {
    let outline = pipe(folder, "outline.csv");
    thread::scope(|scope| {
        let child = lowspot(folder)
            .args(args)
            .args(["--outline", "outline.csv"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let writer = scope.spawn(|| {
            let mut opened = OpenOptions::new().write(true).open(&outline).unwrap();
            change();
            // A program that has ended reads no outline.
            let _ = opened.write_all(ROOM.as_bytes());
        });
        let output = child.wait_with_output().unwrap();
        // Lets the writer go where lowspot has never opened its end.
        let _both = OpenOptions::new().read(true).write(true).open(&outline);
        writer.join().unwrap();
        fs::remove_file(&outline).unwrap();
        output
    })
}

/// Points every 20 mm over 3 m x 2 m, heights of a few millimetres.
fn scan() -> String {
    let mut text = String::new();
    for (ix, iy) in (0..150).flat_map(|ix| (0..100).map(move |iy| (ix, iy))) {
        let z = 0.001 * f64::from((ix * 7 + iy * 3) % 5);
        text += &format!(
            "{:.3} {:.3} {z:.4}\n",
            0.02 * f64::from(ix),
            0.02 * f64::from(iy)
        );
    }
    text
}

const READINGS: &str = "x_m,y_m,height_mm\n0,0,1\n1,0,2\n0,1,3\n1,1,4\n";

type Change = fn(&Path);

const CHANGES: [(&str, Change); 4] = [
    ("appended to", |path| {
        let mut file = OpenOptions::new().append(true).open(path).unwrap();
        file.write_all(b"1.5 1.5 0.002\n").unwrap();
    }),
    ("cut off", |path| {
        let file = OpenOptions::new().write(true).open(path).unwrap();
        file.set_len(file.metadata().unwrap().len() / 2 - 3)
            .unwrap();
    }),
    ("emptied", |path| drop(File::create(path).unwrap())),
    ("replaced", |path| {
        let new = path.with_extension("new");
        fs::copy(path, &new).unwrap();
        fs::rename(new, path).unwrap();
    }),
];

#[test]
fn a_file_that_changes_while_it_is_read_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let survey = folder.path().join("survey.txt");
    fs::write(folder.path().join("map.svg"), OLD).unwrap();
    for content in [scan(), READINGS.to_owned()] {
        for (what, change) in CHANGES {
            fs::write(&survey, &content).unwrap();
            let args = ["check", "survey.txt", "--units", "m", "--map", "map.svg"];
            let output = while_reading(folder.path(), &args, || change(&survey));
            eprintln!("{what}");
            assert_refused(&output, &["survey.txt: found", "changed while it was read"]);
            let map = fs::read_to_string(folder.path().join("map.svg")).unwrap();
            assert_eq!(map, OLD, "{what}");
        }
        fs::write(&survey, &content).unwrap();
        let gone = while_reading(
            folder.path(),
            &["check", "survey.txt", "--units", "m"],
            || {
                fs::remove_file(&survey).unwrap();
            },
        );
        assert_refused(&gone, &["survey.txt: cannot be read"]);
        fs::write(&survey, &content).unwrap();
        let left_alone = while_reading(
            folder.path(),
            &["check", "survey.txt", "--units", "m"],
            || {},
        );
        assert_eq!(
            left_alone.status.code(),
            Some(0),
            "{}",
            text(&left_alone.stderr)
        );
    }
}

/// `lowspot check <(zcat survey.csv.gz)`: what can be read only once is read once.
#[test]
fn a_pipe_is_read_like_a_file() {
    let folder = kitchen();
    let survey = fs::read(folder.path().join("survey.csv")).unwrap();
    let path = pipe(folder.path(), "piped.csv");
    let writer = thread::spawn(move || fs::write(path, survey).unwrap());
    let piped = run(folder.path(), &["check", "piped.csv"]);
    writer.join().unwrap();
    let whole = run(folder.path(), &["check", "survey.csv"]);
    assert_eq!(text(&piped.stdout), text(&whole.stdout));
    assert_eq!(piped.status.code(), Some(0), "{}", text(&piped.stderr));
}

#[test]
fn no_room_to_put_standard_input_aside() {
    let folder = kitchen();
    fs::write(folder.path().join("scan.txt"), scan()).unwrap();
    fs::create_dir(folder.path().join("small")).unwrap();
    let script = "mount -t tmpfs -o size=16k none small
        TMPDIR=$PWD/small \"$LOWSPOT\" check - --map map.svg < scan.txt > out 2> error || echo \"$? $(cat error)\"
        test ! -s out; rm out error; ls -A small";
    let before = files(folder.path());
    let Some(output) = with_own_mounts(folder.path(), script) else {
        return;
    };
    let said = text(&output.stdout);
    assert!(said.starts_with("2 lowspot: /"), "{said}");
    assert!(said.contains("small: cannot be written"), "{said}");
    assert_eq!(said.lines().count(), 1, "{said}");
    assert_eq!(files(folder.path()), before);
}
