#![no_main]

use lowspot::pour::compound::Price;
use lowspot::pour::cost::GrindRate;
use lowspot::units::{
    Area, Density, Duration, Length, LengthUnit, Mass, Rate, Share, System, Volume,
};

libfuzzer_sys::fuzz_target!(|text: &str| {
    let quantities = [
        text.parse::<Length>().map(Length::m).ok(),
        text.parse::<Area>().map(|Area(it)| it).ok(),
        text.parse::<Volume>().map(|Volume(it)| it).ok(),
        text.parse::<Mass>().map(|Mass(it)| it).ok(),
        text.parse::<Density>().map(|Density(it)| it).ok(),
        text.parse::<Duration>().map(|Duration(it)| it).ok(),
        text.parse::<Share>().map(|Share(it)| it).ok(),
        text.parse::<Rate>().map(|Rate(it)| it).ok(),
    ];
    for quantity in quantities.into_iter().flatten() {
        assert!(quantity.is_finite());
        for system in [System::Metric, System::Imperial] {
            system.height(quantity);
            system.plan(quantity);
        }
    }
    let _ = (text.parse::<LengthUnit>(), text.parse::<Price>(), text.parse::<GrindRate>());
});
