#![no_main]

use lowspot::pour::compound::Compound;

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Ok(sheet) = Compound::parse(text, "compound.toml") {
        assert!(sheet.thinnest().is_finite());
    }
});
