#![no_main]

use std::path::Path;

use lowspot::job::JobFile;
use lowspot::units::System;

libfuzzer_sys::fuzz_target!(|text: &str| {
    // Files that a job names are opened, and those of this machine are no business of the fuzzer.
    if text.contains("classes") {
        return;
    }
    if let Ok(job) = JobFile::parse(text, "job.toml", Path::new("")) {
        assert!(job.files().count() > 0);
        for floor in &job.floors {
            floor.job(System::Metric);
            let _ = floor.pour_job();
        }
    }
});
