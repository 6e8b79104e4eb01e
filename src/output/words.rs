//! The sentences that reports share, in one place.

use crate::surface::Surface;
use crate::units::System;

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

/// Why readings have no noise.
pub const NO_NOISE: &str = "single readings show no scatter";

/// Why there are no mixes and batches.
pub const NO_MIXES: &str = "the order is not divided into mixes by this version";

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

/// Dust and old adhesive: whoever takes a high spot down meets them.
const GRINDING: &str = "Grinding sets free silica dust: extract it at the tool and wear a fitted mask. Old tiles, backing \
     and bitumen adhesive may hold asbestos: have them tested before anybody sands, grinds or lifts them.";

/// Wet compound on skin.
const WET_CEMENT: &str = "Wet cement burns skin and eyes: wear gloves, boots and goggles, never kneel in it, wash it off at once.";

/// Powder in the air.
const POWDER: &str = "Powder is dust: mix where the air moves, pour it low, wear a mask.";

/// Heating in the floor.
const HEATING: &str = "Heating pipes and cables in the floor: off and cold before pouring, never drilled or ground into while live.";

/// Weight on a suspended floor.
const WEIGHT: &str = "Compound is heavy: on a timber or other suspended floor ask a structural engineer before adding the load shown.";

/// Where the tool ends.
const DEFER: &str = "Local codes, the compound's own data sheet and licensed trades come before anything said here.";

/// Cautions with a check.
pub const CHECK_CAUTIONS: &[&str] = &[GRINDING, HEATING, DEFER];

/// Cautions with a pour.
pub const POUR_CAUTIONS: &[&str] = &[WET_CEMENT, POWDER, GRINDING, HEATING, WEIGHT, DEFER];

/// `1 bag`, `5 bags`.
pub fn bags(count: u64) -> String {
    format!("{count} {}", if count == 1 { "bag" } else { "bags" })
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
