//! A straightedge book as JSON: the same document as for a floor, with the edges, and reasons for what takes heights.
//!
//! In: what was found in a book. Out: the document of `check`, and the type of the key `edges`.

use schemars::JsonSchema;
use serde::Serialize;

use super::classes::JudgedClass;
use super::{Check, Edge, Place, Rejected, Survey, inputs, mm, rounded};
use crate::findings::{EdgeFindings, READING_U};
use crate::flatness::by_hand::{Book, OfLength};
use crate::flatness::verdict::Judged;
use crate::output::words;

/// An edge as it lay, its ends, and the gap that the wedge found at `x_m`, `y_m`.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct LaidEdge {
    /// Its place in the book, from 1.
    number: usize,
    /// The name that the book gives it, if it does.
    #[serde(skip_serializing_if = "Option::is_none")]
    point: Option<String>,
    x_m: f64,
    y_m: f64,
    from: Place,
    to: Place,
    /// Clockwise from the y axis.
    azimuth_deg: f64,
    length_m: f64,
    gap_mm: f64,
    /// One for every requirement of every class asked for.
    verdicts: Vec<EdgeVerdict>,
}

/// What an edge says about a requirement of a class.
#[derive(Debug, Serialize, JsonSchema)]
struct EdgeVerdict {
    class: String,
    measured_as: String,
    /// "within" (at this place), "outside" or "undecided"; null where it says nothing.
    verdict: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    verdict_reason: Option<&'static str>,
}

/// The document of `check` for a straightedge book.
pub fn edge_book(found: &EdgeFindings) -> Check {
    let no_heights = Some(words::NO_HEIGHTS);
    let place = |number| plan(Book::place(&found.edges, number));
    Check {
        lowspot: env!("CARGO_PKG_VERSION"),
        inputs: inputs(&found.inputs),
        survey: survey(found),
        surface: None,
        surface_reason: no_heights,
        level: None,
        level_reason: no_heights,
        planes: None,
        planes_reason: no_heights,
        straightedge: found
            .of_length
            .iter()
            .map(|one| of_length(found, one))
            .collect(),
        edges: Some(edges(found)),
        f_numbers: None,
        f_numbers_reason: Some(words::NO_HEIGHTS.to_owned()),
        waviness: None,
        waviness_reason: Some(words::NO_HEIGHTS.to_owned()),
        classes: found
            .judged
            .iter()
            .map(|judged| JudgedClass::new(judged, &place))
            .collect(),
        reference: None,
        reference_reason: no_heights,
        spots: None,
        spots_reason: no_heights,
        warnings: found.warnings.iter().map(ToString::to_string).collect(),
        cautions: words::CHECK_CAUTIONS.to_vec(),
    }
}

fn plan([x, y]: [f64; 2]) -> Place {
    Place::Plan {
        x_m: rounded(x),
        y_m: rounded(y),
    }
}

pub(super) fn survey(found: &EdgeFindings) -> Survey {
    Survey {
        kind: "straightedge book",
        points_used: found.edges.len() as u64,
        points_rejected: found.outside,
        reading_u_mm: Some(mm(found.given_u.unwrap_or(READING_U))),
        reading_u_mm_reason: None,
        tilt_u_mm_per_m: None,
        tilt_u_mm_per_m_reason: Some(words::BY_HAND),
        rejected: Rejected {
            outside: found.outside,
            ..Rejected::default()
        },
        noise_mm: None,
        noise_mm_reason: Some(words::NO_NOISE),
    }
}

/// The edges, with their verdicts.
pub(super) fn edges(found: &EdgeFindings) -> Vec<LaidEdge> {
    let book = found.book();
    let edge = |(index, edge): (usize, &crate::survey::LaidEdge)| {
        let verdicts = found.judged.iter().flat_map(|judged| {
            Judged::requirements(judged).map(|one| {
                let rule = &one.requirement.rule;
                let verdict = book.verdict(rule, edge);
                EdgeVerdict {
                    class: judged.class.name.clone(),
                    measured_as: rule.describe(crate::units::System::Metric),
                    verdict: verdict.ok().map(|verdict| verdict.word()),
                    verdict_reason: verdict.err().map(|silent| silent.reason()),
                }
            })
        });
        let [from, to] = edge.ends().map(plan);
        let [x_m, y_m] = edge.at.map(rounded);
        LaidEdge {
            number: index + 1,
            point: edge.name.clone(),
            x_m,
            y_m,
            from,
            to,
            azimuth_deg: rounded(edge.azimuth),
            length_m: rounded(edge.length),
            gap_mm: mm(edge.gap),
            verdicts: verdicts.collect(),
        }
    };
    found.edges.iter().enumerate().map(edge).collect()
}

/// The widest gap under one length of edge; `from` and `to` are the ends of the edge.
fn of_length(found: &EdgeFindings, one: &OfLength) -> Edge {
    let book = found.book();
    let widest = one.widest.and_then(|number| found.edges.get(number));
    let ends = widest.map(|edge| edge.ends().map(plan));
    let [from, to] = ends.map_or([None, None], |ends| ends.map(Some));
    Edge {
        length_m: rounded(one.length),
        worst_gap_mm: widest.map(|edge| mm(edge.gap)),
        gap_u_mm: widest.map(|_| mm(book.u)),
        bias_mm: None,
        bias_mm_reason: Some(words::BY_HAND),
        noise_reach_mm: widest.map(|_| mm(book.reach())),
        from,
        to,
        at: widest.map(|edge| plan(edge.at)),
        worst_departure_mm: None,
        departure_u_mm: None,
        worst_departure_mm_reason: Some(words::BY_HAND),
        worst_gap_mm_reason: widest.is_none().then_some(words::NOT_LAID),
    }
}
