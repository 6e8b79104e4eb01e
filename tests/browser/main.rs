//! The report and the local page in a real Chromium: `cargo test --features browser --test browser`.
//!
//! Needs node, the packages of `package.json` (`npm install` here) and Chromium, in `/usr/bin/chromium` or where `CHROMIUM`
//! says. What each script holds stands at its top.

use std::path::Path;
use std::process::Command;

fn run(script: &str) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser");
    let status = Command::new("node")
        .arg(script)
        .current_dir(folder)
        .env("LOWSPOT", env!("CARGO_BIN_EXE_lowspot"))
        .status()
        .expect("node");
    assert!(status.success(), "{script}: {status}");
}

#[test]
fn the_report() {
    run("report.js");
}

#[test]
fn the_page() {
    run("page.js");
}
