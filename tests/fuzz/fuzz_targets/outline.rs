#![no_main]

use lowspot::surface::Outline;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    if let Ok(outline) = Outline::read(&lowspot_fuzz::file(data)) {
        assert!(outline.area() > 0.0 && outline.area().is_finite());
        outline.contains(1.0, 1.0);
    }
});
