//! The progress bar: points read, rate and time left, on a terminal, once reading has taken a second.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};

/// Reading that is over sooner needs no bar.
const PATIENCE: Duration = Duration::from_secs(1);

/// A bar on stderr; nothing where stderr is no terminal.
pub struct Progress {
    started: Instant,
    read: AtomicU64,
    bar: OnceLock<ProgressBar>,
}

impl Progress {
    /// Starts the clock.
    pub fn new() -> Self {
        Self {
            started: Instant::now(),
            read: AtomicU64::new(0),
            bar: OnceLock::new(),
        }
    }

    /// `points` more have been read, `of` so many in all.
    pub fn more(&self, points: u64, of: Option<u64>) {
        let read = self.read.fetch_add(points, Ordering::Relaxed) + points;
        if self.started.elapsed() > PATIENCE {
            self.bar.get_or_init(|| bar(of)).set_position(read);
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = self.bar.get() {
            bar.finish_and_clear();
        }
    }
}

fn bar(of: Option<u64>) -> ProgressBar {
    let (bar, template) = match of {
        Some(of) => (
            ProgressBar::new(of),
            "reading {bar:30} {percent} %, {per_sec}, {eta} left",
        ),
        None => (
            ProgressBar::no_length(),
            "reading, {human_pos} points, {per_sec}",
        ),
    };
    match ProgressStyle::with_template(template) {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}
