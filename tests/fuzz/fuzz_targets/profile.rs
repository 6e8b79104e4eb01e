#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| lowspot_fuzz::survey("profile", data));
