#![no_main]

//! The whole way from a small file of readings to every output of `check`.

use lowspot::output::{json, maps, text};
use lowspot::run::{self, Job};
use lowspot::tolerance;
use lowspot::units::System;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    let source = lowspot_fuzz::file(data);
    let job = Job {
        files: vec![source.name().to_owned()],
        classes: tolerance::parse_class("SR2", &[]).into_iter().collect(),
        ..Job::default()
    };
    if let Ok(findings) = run::check(&job, &|_, _| ()) {
        for units in [System::Metric, System::Imperial] {
            assert!(!text::check(&findings, units).is_empty());
            let _ = maps::check(&findings, units);
        }
        let _ = serde_json::to_string(&json::check(&findings));
    }
});
