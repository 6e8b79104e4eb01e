//! Writes the surveys of `sample-surveys/`: `cargo run --example make-samples [FOLDER]`.
//!
//! Everything is seeded, so a second run writes the same bytes; `tests/samples.rs` holds the committed files to that.

mod samples;

use std::path::PathBuf;

fn main() -> std::io::Result<()> {
    let folder = std::env::args_os().nth(1).map_or_else(
        || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/sample-surveys")),
        PathBuf::from,
    );
    for (name, bytes) in samples::files() {
        let path = folder.join(name);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent)?;
        }
        std::fs::write(&path, &bytes)?;
        println!("{} ({} bytes)", path.display(), bytes.len());
    }
    Ok(())
}
