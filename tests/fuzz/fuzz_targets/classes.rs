#![no_main]

libfuzzer_sys::fuzz_target!(|text: &str| {
    let _ = lowspot::tolerance::own::parse(text, "classes.toml");
});
