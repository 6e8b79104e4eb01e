//! The sentences that reports share, in one place.

use crate::pour::Compound;
use crate::pour::laid::Used;
use crate::surface::Surface;
use crate::survey::LaidEdge;
use crate::units::{HOUR, MILLIMETRE, MINUTE, System};

/// A local plan position in the survey's coordinates, or the line and how far along it.
pub fn place(surface: &Surface, at: [f64; 2], units: System) -> String {
    if let Some((line, station)) = surface.line_at(at) {
        return format!("{} on line {line}", units.plan(station));
    }
    let [x, y] = surface.survey_xy(at);
    units.place(x, y)
}

/// Where a straightedge could not be laid.
pub const NO_LINE: &str = "no three measured places lie in line within the length of the edge";

/// Why a class has no single length or limit.
pub const BY_DISTANCE: &str = "it goes by the distance: see the requirements";

/// Why a class of several requirements has no single length or limit.
pub const SEVERAL_REQUIREMENTS: &str = "the class has several requirements, each with its own";

/// Why a class with a limit has no length.
pub const NO_LENGTH: &str = "it is not measured over a set length";

/// Why an F-number has no millimetres.
pub const BARE_NUMBER: &str = "F-numbers have no unit: see the requirements";

/// Why nothing was measured for a class.
pub const NOTHING_MEASURED: &str = "nothing could be measured: see the reason";

/// Why a value along sample lines has no uncertainty in millimetres.
pub const HAS_AN_INTERVAL: &str = "it lies in an interval, which the reason tells";

/// Why lines by station, or a single line, have no planes, area, spots and map.
pub const NO_PLAN: &str = "the lines span no floor on the plan";

/// Why a straightedge book has no surface, level, planes, F-numbers and spots.
pub const NO_HEIGHTS: &str = "a straightedge book holds gaps and no heights";

/// Why an edge laid by hand has no bias and no departure.
pub const BY_HAND: &str = "it was laid by hand: only its gap is known";

/// Why a length has no widest gap.
pub const NOT_LAID: &str = "no edge of this length was laid";

/// What an edge of a straightedge book is called: its name there, or its number from 1.
pub fn edge_name(edge: &LaidEdge, index: usize) -> String {
    let number = || (index + 1).to_string();
    edge.name.clone().unwrap_or_else(number)
}

/// Why an F-number of a line is null.
pub const IN_LINE: &str = "the heights are in line to the last digit";

/// Why a scan has no single reading uncertainty.
pub const CELLS_HAVE_THEIR_OWN_U: &str =
    "each cell of the scan has its own, from its points' scatter";

/// Why a level book has no extent.
pub const NO_PLACES: &str = "no row of the level book has x and y";

/// Why there is nothing to say of set-ups.
pub const ONE_SETUP: &str = "readings are not from several set-ups";

/// Why a book does not say how it closes.
pub const NO_CLOSING: &str = "the level of the last point is not known";

/// Why the ties between set-ups imply no scatter.
pub const NO_REDUNDANCY: &str = "the set-ups share no more points than they need";

/// Why nothing is said of a tilt.
pub const NO_TILT: &str = "--tilt does not say; levels, falls and volumes count none";

/// Why a zone has no uncertainty.
pub const CONTACTS_IN_LINE: &str = "the places that the zone rests on lie in line";

/// Why the fill's uncertainty leaves out what lies between the readings.
pub const TOO_FEW_NEIGHBOURS: &str = "no reading has others about it to compare it with";

/// Why there is no order to be 95 % sure.
pub const NO_LAYERS_95: &str = "with that much more compound the layers do not work out";

/// Why readings have no noise.
pub const NO_NOISE: &str = "single readings show no scatter";

/// Why there are no batches.
pub const NO_EXIT: &str = "say where the way out is: --exit X,Y";

/// Why no number of people would do.
pub const NO_CREW: &str = "mixing takes as long as the compound can be worked";

/// Why no datum is proposed for fixed levels.
pub const NO_PROPOSED_DATUM: &str = "a datum is proposed for a level finish only";

/// Why it is not known how a finish meets a fixed level.
pub const NO_FINISH_THERE: &str = "the height of the finish is not known there";

/// Why it is not said where a part of the floor ends.
pub const WHOLE_FLOOR: &str = "it is the whole floor";

/// Why it is not said how far what is down is off.
pub const NO_DEPTHS: &str = "no depth was measured in what is down";

/// Why bags for an area are not known to be enough.
pub const NOT_MEASURED: &str = "nobody has measured this floor";

/// What an area and a depth cannot tell.
pub const UNMEASURED: &str = "nobody has measured this floor, and one that was not measured usually takes more than its area \
     times a depth: measure it before you order, or order with something in hand";

/// Why primer is null.
pub const NO_PRIMER: &str = "the compound sheet gives no primer coverage";

/// Why there is no one height to finish at.
pub const NO_DATUM: &str = "the least fill has no one height: see the depths";

/// Why a target has no fall.
pub const NO_FALL: &str = "only --target plane has one fall";

/// Why a target falls to no place.
pub const NO_TOWARDS: &str = "no --towards was given";

/// Why a least depth adds nothing.
pub const NOTHING_ADDED: &str = "only the least fill is raised to a least depth, and only of a compound that may not run out to nothing";

/// Why there is nothing about grinding.
pub const NO_GRINDING: &str = "nothing may be ground: no --grind was given";

/// Why the price is null.
pub const NO_PRICE: &str = "the compound sheet gives no price";

/// Why the price of several compounds is null.
pub const NO_TOTAL: &str = "not every compound sheet gives a price in the same currency";

/// Why the length of edge strip is null.
pub const NO_EDGE: &str =
    "a scan alone does not tell a wall from what stood before it: say --outline";

/// Why there is no time until it can be walked on.
pub const NOTHING_FILLED: &str = "nothing is filled";

/// Why the drying time is null.
pub const NO_DRYING: &str =
    "a compound sheet gives no drying_per_day: test the moisture before covering";

/// What goes with every drying time.
pub const TEST_MOISTURE: &str = "test the moisture before covering, do not trust the rule";

/// Dust and old adhesive: whoever takes a high spot down meets them.
pub const GRINDING: &str = "Grinding sets free silica dust: extract it at the tool and wear a fitted mask. Old tiles, backing \
     and bitumen adhesive may hold asbestos: have them tested before anybody sands, grinds or lifts them.";

/// Wet compound on skin.
const WET_CEMENT: &str = "Wet cement burns skin and eyes: wear gloves, boots and goggles, never kneel in it, wash it off at once.";

/// Powder in the air.
const POWDER: &str = "Powder is dust: mix where the air moves, pour it low, wear a mask.";

/// Heating in the floor.
const HEATING: &str = "Heating pipes and cables in the floor: off and cold before pouring, never drilled or ground into while live.";

/// Weight on a suspended floor.
pub const WEIGHT: &str = "Compound is heavy: on a timber or other suspended floor ask a structural engineer before adding the load shown.";

/// Where the tool ends.
const DEFER: &str = "Local codes, the compound's own data sheet and licensed trades come before anything said here.";

/// Cautions with a check.
pub const CHECK_CAUTIONS: &[&str] = &[GRINDING, HEATING, DEFER];

/// Cautions with a comparison.
pub const COMPARE_CAUTIONS: &[&str] = CHECK_CAUTIONS;

/// Cautions with a pour.
pub const POUR_CAUTIONS: &[&str] = &[WET_CEMENT, POWDER, GRINDING, HEATING, WEIGHT, DEFER];

/// Why thin places are not told.
pub const NO_LEAST_DEPTH: &str =
    "what depth the compound needs is not known (--compound), or it may run out to nothing";

/// Why a benchmark has no place.
pub const BENCHMARK_PLACE: &str = "a benchmark is known by its height alone";

/// Why the floor is not said to be lower than before.
pub const NOWHERE_LOWER: &str = "nowhere beyond doubt";

/// Why bags used are not a share of those expected.
pub const NOTHING_LAID: &str = "by the surveys nothing was laid";

/// Bags used against those that the floor shows: `13 bags used, 11.2 expected: 16 % more than the floor shows`.
pub fn used(used: &Used) -> String {
    let of = |bags: f64| {
        let text = format!("{bags:.1}");
        text.strip_suffix(".0").unwrap_or(&text).to_owned()
    };
    let what = if used.bags == 1.0 { "bag" } else { "bags" };
    let bags = format!("{} {what} used", of(used.bags));
    let Some(difference) = used.difference() else {
        return format!("{bags}, but by the surveys nothing was laid");
    };
    let (percent, doubt) = ((100.0 * difference).round(), used.doubt());
    let told = if percent == 0.0 {
        "what the floor shows".to_owned()
    } else {
        let way = if percent > 0.0 { "more" } else { "less" };
        format!("{:.0} % {way} than the floor shows", percent.abs())
    };
    let decided = if used.decided() {
        "by more than"
    } else {
        "within"
    };
    format!(
        "{bags}, {:.1} expected: {told}, {decided} the {doubt:.1} bags of doubt",
        used.expected
    )
}

/// What it may mean that bags used and floor do not agree; nothing where the doubt explains it.
pub fn used_otherwise(used: &Used) -> Option<&'static str> {
    used.decided().then_some(if used.bags > used.expected {
        "that may be waste, what was left in a bag, ran off or sank in, or a datum that is off"
    } else {
        "that may be a mix thinner than the sheet says, filler added, or a datum that is off"
    })
}

/// A depth to the whole millimetre, as pins are set: `7`.
pub fn whole_mm(depth: f64) -> String {
    // Zero is added so that a hair below nothing is nothing.
    format!("{:.0}", (depth / MILLIMETRE).round() + 0.0)
}

/// So much liquid: `45.0 l`, or `9 bottles (5.0 l each)`.
pub fn liquid(compound: &Compound, liquid: f64, units: System) -> String {
    match compound.bottle.zip(compound.bottles(liquid)) {
        Some((bottle, 1)) => format!("1 bottle ({})", units.jug(bottle)),
        Some((bottle, count)) => format!("{count} bottles ({} each)", units.jug(bottle)),
        None => units.jug(liquid),
    }
}

/// Why a liquid has no bottles.
pub fn no_bottles(compound: &Compound) -> Option<&'static str> {
    let reason = "the compound sheet gives no liquid_unit: it is measured out";
    compound.bottle.is_none().then_some(reason)
}

/// What the edge strip goes round.
pub fn edge(room: bool) -> &'static str {
    if room {
        "the room"
    } else {
        "the measured floor"
    }
}

/// Seconds as hours.
pub fn hours(seconds: f64) -> f64 {
    seconds / HOUR
}

/// `1 day`, `13 days`: whole ones, a day begun counts.
pub fn days(days: f64) -> String {
    // A hair above a whole day is rounding of the sums.
    let whole = (days - 1e-9).ceil().max(0.0);
    format!("{whole:.0} {}", if whole == 1.0 { "day" } else { "days" })
}

/// `1 bag`, `5 bags`.
pub fn bags(count: u64) -> String {
    format!("{count} {}", if count == 1 { "bag" } else { "bags" })
}

/// `half a bag`, `2 bags`.
pub fn part_bags(count: f64) -> String {
    if count < 1.0 {
        "half a bag".to_owned()
    } else {
        bags(count as u64)
    }
}

/// A time in seconds: `4 min`, `2.5 min`, `3 h`, `2 h 10 min`.
pub fn time(seconds: f64) -> String {
    let minutes = (10.0 * seconds / MINUTE).round() / 10.0;
    if minutes < 120.0 {
        return format!("{minutes} min");
    }
    let whole = minutes.round() as u64;
    match whole % 60 {
        0 => format!("{} h", whole / 60),
        rest => format!("{} h {rest} min", whole / 60),
    }
}

/// `one`, `one and another`, `one, another and a third`.
pub fn listed<'a>(things: impl Iterator<Item = &'a str>) -> String {
    let things: Vec<_> = things.collect();
    match things.split_last() {
        Some((last, [])) => (*last).to_owned(),
        Some((last, others)) => format!("{} and {last}", others.join(", ")),
        None => String::new(),
    }
}

/// `1 mix`, `5 mixes`.
pub fn mixes(count: usize) -> String {
    format!("{count} {}", if count == 1 { "mix" } else { "mixes" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_and_bags_as_they_are_said() {
        let said = |minutes: f64| time(minutes * MINUTE);
        assert_eq!(
            [said(4.0), said(2.5), said(119.0)],
            ["4 min", "2.5 min", "119 min"]
        );
        assert_eq!([said(180.0), said(130.0)], ["3 h", "2 h 10 min"]);
        assert_eq!(
            [part_bags(0.5), part_bags(1.0), part_bags(3.0)],
            ["half a bag", "1 bag", "3 bags"]
        );
    }

    #[test]
    fn bags_used_in_words() {
        let said = |bags, expected, expected_u| {
            used(&Used {
                bags,
                made: 0.0,
                expected,
                expected_u,
            })
        };
        assert_eq!(
            said(13.0, 11.2, 0.5),
            "13 bags used, 11.2 expected: 16 % more than the floor shows, by more than the 0.8 bags of doubt"
        );
        assert_eq!(
            said(12.5, 13.0, 1.0),
            "12.5 bags used, 13.0 expected: 4 % less than the floor shows, within the 1.6 bags of doubt"
        );
        assert_eq!(
            said(1.0, 1.0, 0.0),
            "1 bag used, 1.0 expected: what the floor shows, within the 0.0 bags of doubt"
        );
        assert_eq!(
            said(2.0, -0.1, 0.0),
            "2 bags used, but by the surveys nothing was laid"
        );
    }
}
