//! The JSON document of `compare`.
//!
//! In: a comparison. Out: both surveys as `check` has them, the datum, what was laid, the bags used.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Check, check, litres, mm, on_plan, rounded};
use crate::error::Warning;
use crate::findings::Comparison;
use crate::output::words;
use crate::pour::datum::{Datum, Fixed};
use crate::pour::laid::{Laid, Lower, Thickness, Thin, Used};

/// How the zeros of the surveys were brought together.
#[derive(Debug, Serialize, JsonSchema)]
struct DatumFacts {
    /// Added to heights after less heights before.
    shift_mm: f64,
    u_mm: f64,
    fixed: Vec<FixedPlace>,
}

/// A benchmark, or a place where nothing was poured.
#[derive(Debug, Serialize, JsonSchema)]
struct FixedPlace {
    name: String,
    /// Null for a benchmark.
    x_m: Option<f64>,
    y_m: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    x_m_reason: Option<&'static str>,
    /// Height from that survey's zero.
    before_mm: f64,
    after_mm: f64,
    /// What would seem to be laid there, though nothing was.
    left_over_mm: f64,
}

/// Thickness at a place.
#[derive(Debug, Serialize, JsonSchema)]
struct Place {
    x_m: f64,
    y_m: f64,
    thickness_mm: f64,
    u_mm: f64,
}

impl Place {
    fn new(laid: &Laid, at: &Thickness) -> Self {
        let [x_m, y_m] = on_plan(&laid.surface, laid.surface.field.position(at.node));
        Self {
            x_m,
            y_m,
            thickness_mm: mm(at.value),
            u_mm: mm(at.u),
        }
    }
}

/// Compound thinner than its least depth.
#[derive(Debug, Serialize, JsonSchema)]
struct ThinFacts {
    least_depth_mm: f64,
    area_m2: f64,
    share_percent: f64,
    /// Floor where thickness is too near the least depth for the doubt of the surveys.
    doubtful_m2: f64,
    /// "within": nowhere too thin; "outside": somewhere, beyond doubt; "undecided"
    verdict: &'static str,
    places: Vec<ThinPlace>,
}

/// A patch that is too thin: where it is thinnest.
#[derive(Debug, Serialize, JsonSchema)]
struct ThinPlace {
    x_m: f64,
    y_m: f64,
    thickness_mm: f64,
    area_m2: f64,
}

/// Floor that lies lower after than before, beyond doubt.
#[derive(Debug, Serialize, JsonSchema)]
struct LowerFacts {
    area_m2: f64,
    worst: Place,
}

/// Thickness at a reading.
#[derive(Debug, Serialize, JsonSchema)]
struct PinThickness {
    name: String,
    x_m: f64,
    y_m: f64,
    thickness_mm: f64,
}

/// What was laid.
#[derive(Debug, Serialize, JsonSchema)]
struct LaidFacts {
    /// "shared readings": at the readings, which are at the same places; "squares": at the middles of small squares
    lattice: &'static str,
    spacing_mm: f64,
    area_m2: f64,
    volume_l: f64,
    volume_u_l: f64,
    mean_mm: f64,
    mean_u_mm: f64,
    min_mm: f64,
    max_mm: f64,
    least: Place,
    greatest: Place,
    /// Floor with less than the least depth on it; null where no least depth is known.
    thin_m2: Option<f64>,
    thin: Option<ThinFacts>,
    #[serde(skip_serializing_if = "Option::is_none")]
    thin_reason: Option<&'static str>,
    /// Where the floor lies lower after than before, beyond doubt; null where it does not.
    lower: Option<LowerFacts>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lower_reason: Option<&'static str>,
    /// At the readings of the survey before, or after where that was scanned; none of a survey of more than a thousand.
    pins: Vec<PinThickness>,
}

/// Material used against material found.
#[derive(Debug, Serialize, JsonSchema)]
struct UsedFacts {
    bags: f64,
    /// What the bags used make by the compound's sheet.
    made_l: f64,
    /// What the floor shows.
    expected_l: f64,
    expected_bags: f64,
    expected_bags_u: f64,
    /// Bags used more than expected; null where nothing was laid.
    difference_percent: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    difference_percent_reason: Option<&'static str>,
    words: String,
}

/// What `lowspot compare --json` prints.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Compare {
    /// Version of lowspot.
    lowspot: &'static str,
    before: Check,
    after: Check,
    /// Null where thickness cannot be told.
    datum: Option<DatumFacts>,
    laid: Option<LaidFacts>,
    #[serde(skip_serializing_if = "Option::is_none")]
    laid_reason: Option<String>,
    used: Option<UsedFacts>,
    #[serde(skip_serializing_if = "Option::is_none")]
    used_reason: Option<String>,
    warnings: Vec<String>,
    cautions: Vec<&'static str>,
}

/// The document of `compare`.
pub fn compare(found: &Comparison) -> Compare {
    let laid = found.laid.as_ref();
    Compare {
        lowspot: env!("CARGO_PKG_VERSION"),
        before: check(&found.before),
        after: check(&found.after),
        datum: laid.ok().map(|laid| datum(&laid.datum)),
        laid: laid.ok().map(self::laid),
        laid_reason: laid.err().cloned(),
        used: found.used.as_ref().ok().map(|used| self::used(used, found)),
        used_reason: found.used.as_ref().err().cloned(),
        warnings: found.warnings().iter().map(Warning::to_string).collect(),
        cautions: words::COMPARE_CAUTIONS.to_vec(),
    }
}

fn datum(datum: &Datum) -> DatumFacts {
    let place = |fixed: &Fixed| FixedPlace {
        name: fixed.name.clone(),
        x_m: fixed.at.map(|[x, _]| rounded(x)),
        y_m: fixed.at.map(|[_, y]| rounded(y)),
        x_m_reason: fixed.at.is_none().then_some(words::BENCHMARK_PLACE),
        before_mm: mm(fixed.before[0]),
        after_mm: mm(fixed.after[0]),
        left_over_mm: mm(datum.left_over(fixed)),
    };
    DatumFacts {
        shift_mm: mm(datum.shift),
        u_mm: mm(datum.u),
        fixed: datum.fixed.iter().map(place).collect(),
    }
}

fn laid(laid: &Laid) -> LaidFacts {
    let surface = &laid.surface;
    let place = |at: &Thickness| Place::new(laid, at);
    let pins = surface.pins.iter().map(|pin| {
        let [x, y, thickness] = pin.position;
        let [x_m, y_m] = on_plan(surface, [x, y]);
        PinThickness {
            name: pin.name.clone(),
            x_m,
            y_m,
            thickness_mm: mm(thickness),
        }
    });
    LaidFacts {
        lattice: if laid.shares_readings() {
            "shared readings"
        } else {
            "squares"
        },
        spacing_mm: mm(surface.spacing),
        area_m2: rounded(surface.area),
        volume_l: litres(laid.volume),
        volume_u_l: litres(laid.volume_u),
        mean_mm: mm(laid.mean),
        mean_u_mm: mm(laid.mean_u),
        min_mm: mm(laid.least.value),
        max_mm: mm(laid.greatest.value),
        least: place(&laid.least),
        greatest: place(&laid.greatest),
        thin_m2: laid.thin.as_ref().map(|thin| rounded(thin.area)),
        thin: laid.thin.as_ref().map(|thin| self::thin(laid, thin)),
        thin_reason: laid.thin.is_none().then_some(words::NO_LEAST_DEPTH),
        lower: laid.lower.as_ref().map(|Lower { area, worst }| LowerFacts {
            area_m2: rounded(*area),
            worst: place(worst),
        }),
        lower_reason: laid.lower.is_none().then_some(words::NOWHERE_LOWER),
        pins: pins.collect(),
    }
}

fn thin(laid: &Laid, thin: &Thin) -> ThinFacts {
    let surface = &laid.surface;
    let place = |spot: &crate::flatness::spots::Spot| {
        let [x_m, y_m] = on_plan(surface, surface.field.position(spot.node));
        ThinPlace {
            x_m,
            y_m,
            thickness_mm: mm(thin.least_depth + spot.extreme),
            area_m2: rounded(spot.area),
        }
    };
    ThinFacts {
        least_depth_mm: mm(thin.least_depth),
        area_m2: rounded(thin.area),
        share_percent: rounded(100.0 * thin.area / surface.area),
        doubtful_m2: rounded(thin.doubtful),
        verdict: thin.verdict.word(),
        places: thin.places.iter().map(place).collect(),
    }
}

fn used(used: &Used, found: &Comparison) -> UsedFacts {
    let difference = used.difference();
    let laid = found.laid.as_ref().map_or(0.0, |laid| laid.volume);
    UsedFacts {
        bags: rounded(used.bags),
        made_l: litres(used.made),
        expected_l: litres(laid),
        expected_bags: rounded(used.expected),
        expected_bags_u: rounded(used.expected_u),
        difference_percent: difference.map(|share| rounded(100.0 * share)),
        difference_percent_reason: difference.is_none().then_some(words::NOTHING_LAID),
        words: words::used(used),
    }
}
