//! Maps within the page: names of their own, places that say what they are, and the numbers behind the colours.

use std::fmt::Write as _;

use crate::output::map::Framed;
use crate::output::report::document::{Quantity, ReadOut};
use crate::units::{FOOT, INCH, MILLIMETRE, System};

/// Values are kept in whole steps of this, m.
const STEP: f64 = 1e-4;

/// How near a place one has to point, as a share of the map's longer side.
const NEAR: f64 = 0.006;

/// The drawing with ids that no other on the page has.
pub fn with_own_names(svg: &str, number: usize) -> String {
    let mut own = svg.to_owned();
    let ids: Vec<&str> = svg
        .split(" id=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect();
    for id in ids {
        let name = format!("{id}-{number}");
        own = own
            .replace(&format!(" id=\"{id}\""), &format!(" id=\"{name}\""))
            .replace(&format!("url(#{id})"), &format!("url(#{name})"));
    }
    let labels = "aria-labelledby=\"map-title map-desc\"";
    let named = format!("aria-labelledby=\"map-title-{number} map-desc-{number}\"");
    own.replace(labels, &named)
}

/// The map with its named places as spots that tell what they are when pointed at.
pub fn with_places(
    map: &Framed,
    places: &[([f64; 2], String)],
    number: usize,
    units: System,
) -> String {
    let svg = with_own_names(&map.svg, number);
    let [width, height] = map.size;
    let [left, top, right, bottom] = map.frame;
    let radius = NEAR * width.max(height);
    let mut spots = String::new();
    for ([x, y], said) in places {
        let across = (x - map.low[0]) / (map.high[0] - map.low[0]);
        let up = (y - map.low[1]) / (map.high[1] - map.low[1]);
        if !(0.0..=1.0).contains(&across) || !(0.0..=1.0).contains(&up) {
            continue;
        }
        let cx = width * (left + across * (right - left));
        let cy = height * (bottom + up * (top - bottom));
        let said = format!("{said} at {}", units.place(*x, *y));
        let said = maud::html! { (said) }.into_string();
        // Writing to a string cannot fail.
        let _ = write!(
            spots,
            "<circle cx=\"{cx:.0}\" cy=\"{cy:.0}\" r=\"{radius:.0}\"><title>{said}</title></circle>"
        );
    }
    let end = format!("<g fill=\"#000\" fill-opacity=\"0\">{spots}</g></svg>");
    svg.trim_end()
        .strip_suffix("</svg>")
        .map_or_else(String::new, |svg| format!("{svg}{end}"))
}

/// What the script reads maps off by, as JSON that may stand in a script element.
pub fn data(reading: &ReadOut, units: System) -> String {
    let (plan, plan_name, height, height_name, digits) = match units {
        System::Metric => (1.0, "m", MILLIMETRE, "mm", 1),
        System::Imperial => (FOOT, "ft", INCH, "in", 2),
    };
    let quantities: Vec<_> = reading.quantities.iter().map(quantity).collect();
    let data = serde_json::json!({
        "low": reading.low,
        "step": reading.step,
        "columns": reading.columns,
        "plan": { "unit": plan, "name": plan_name },
        "height": { "unit": height / STEP, "name": height_name, "digits": digits },
        "quantities": quantities,
    });
    data.to_string().replace('<', "\\u003c")
}

fn quantity(quantity: &Quantity) -> serde_json::Value {
    let whole = |value: &f64| value.is_finite().then(|| (value / STEP).round() as i64);
    let values: Vec<_> = quantity.values.iter().map(whole).collect();
    serde_json::json!({ "name": quantity.name, "values": values })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_drawings_share_no_id() {
        let svg = "<svg aria-labelledby=\"map-title map-desc\"><title id=\"map-title\"/><g clip-path=\"url(#room)\"/>\
                   <clipPath id=\"room\"/></svg>";
        let own = with_own_names(svg, 7);
        assert_eq!(own.matches("room-7").count(), 2);
        assert!(own.contains("aria-labelledby=\"map-title-7 map-desc-7\""));
        assert!(!own.contains("\"room\"") && !own.contains("(#room)"));
    }

    #[test]
    fn data_closes_no_script() {
        let reading = ReadOut {
            low: [1.0, 2.0],
            step: [0.5, 0.5],
            columns: 2,
            quantities: vec![Quantity {
                name: "</script>",
                values: vec![0.0012, f64::NAN],
            }],
            places: Vec::new(),
        };
        let data = data(&reading, System::Metric);
        assert!(!data.contains('<'), "{data}");
        assert!(data.contains("[12,null]"), "{data}");
    }
}
