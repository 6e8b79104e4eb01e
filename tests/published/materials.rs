//! Weights and drying times that others work out.

use lowspot::pour::{Compound, Target, pour};
use lowspot::surface::{HeightField, Kind, PointsByFate, Shared, Surface};

/// 1 m² of level floor at zero.
fn square_metre() -> Surface {
    let corners = [
        [0.0, 0.0, 0.0],
        [1.0, 0.0, 0.0],
        [1.0, 1.0, 0.0],
        [0.0, 1.0, 0.0],
    ];
    let [a, b, c, d] = corners;
    Surface {
        kind: Kind::Triangulated,
        origin: [0.0; 3],
        field: HeightField::unmeasured([0.0; 2], [1.0; 2], [0, 0]),
        triangles: vec![[a, b, c], [a, c, d]],
        rows: Vec::new(),
        pins: Vec::new(),
        spacing: 1.0,
        outline: None,
        area: 1.0,
        unmeasured: 0.0,
        points: PointsByFate::default(),
        shared: Shared::default(),
        noise: None,
        warnings: Vec::new(),
    }
}

/// Powder that becomes as many litres as `volume` says, with hardly any liquid.
fn compound(volume: &str, density: &str, drying: &str) -> Compound {
    let sheet = format!(
        "name = \"screed\"\nbag = \"25 kg\"\nliquid_per_bag = \"3 l\"\nmixed_per_bag = \"{volume}\"\n\
         hardened_density = \"{density}\"\nleast_depth = \"2 mm\"\ngreatest_depth = \"150 mm\"\n\
         working_time = \"20 min\"\nmixing_time = \"3 min\"\nwalk_on = \"3 h\"\ndrying_per_day = \"{drying}\"\n"
    );
    Compound::parse(&sheet, "sheet").expect("a sheet")
}

fn near(found: f64, wanted: f64) {
    assert!(
        (found - wanted).abs() < 1e-9,
        "found {found}, wanted {wanted}"
    );
}

/// Liquid screed, 1 mm a day to 40 mm and half a millimetre beyond: 75 mm take 110 days (screedscientist.com). Sand and cement,
/// 1 mm a day to 50 mm: 75 mm take 100 days; 75 to 100 says allaboutscreeds.com. At 1 mm a day 50 mm take about two
/// months (floorscreedingcontractors.co.uk): 50 days.
#[test]
fn drying_days_of_screeds() {
    for (drying, depth, days) in [
        ("1 mm to 40 mm, then 0.5 mm", 0.075, 110.0),
        ("1 mm to 50 mm, then 0.5 mm", 0.075, 100.0),
        ("1 mm to 50 mm, then 0.5 mm", 0.050, 50.0),
    ] {
        let compound = compound("14 l", "1.9 kg/l", drying);
        let pour = pour(
            &square_metre(),
            Target::Level { datum: depth },
            &[compound],
            0.0,
        );
        let materials = pour.expect("a pour").materials;
        near(materials.drying_days.expect("the sheet gives a rule"), days);
    }
}

/// In place, 1 mm of compound weighs as many kg/m² as its density has kg/l: 10 mm add 17 to 20 kg/m² for hardened compound of
/// 1.7 to 2.0 kg/l (identity; the range of densities is common practice, no source).
#[test]
fn ten_millimetres_add_seventeen_to_twenty_kilograms() {
    for (volume, density, load) in [("15 l", "1.7 kg/l", 17.0), ("14 l", "2.0 kg/l", 20.0)] {
        let compound = compound(volume, density, "1 mm");
        let pour = pour(
            &square_metre(),
            Target::Level { datum: 0.010 },
            &[compound],
            0.0,
        );
        let found = pour.expect("a pour");
        near(found.load.mean, load);
        near(found.load.greatest, load);
        near(found.materials.edge_strip.expect("four sides"), 4.0);
    }
}
