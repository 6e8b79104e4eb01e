//! The straightedge against closed forms and a published set of profile lines.

use lowspot::flatness::straightedge::{Straightedge, lay};
use lowspot::surface::HeightField;

use super::test_pad;

/// A strip of three rows whose height depends on x alone: nodes every `step` m, heights in m.
fn strip(step: f64, columns: usize, height: impl Fn(f64) -> f64) -> HeightField {
    let mut field = HeightField::unmeasured([0.0, 0.0], [step, 10.0], [columns, 3]);
    for node in 0..field.z.len() {
        field.z[node] = height(field.position(node)[0]);
        field.u[node] = 0.001;
    }
    field
}

fn gap(laid: &Straightedge) -> f64 {
    laid.worst.expect("three nodes in line").gap
}

#[test]
fn a_tilted_plane_leaves_no_gap_at_any_tilt() {
    let mut field = HeightField::unmeasured([0.0, 0.0], [0.1, 0.1], [30, 30]);
    for tilt in [0.0, 0.001, 0.05, 1.0] {
        for node in 0..field.z.len() {
            let [x, y] = field.position(node);
            field.z[node] = tilt * (x - 0.7 * y);
        }
        let laid = lay(&field, 2.0);
        assert!(gap(&laid) < 1e-12 && laid.departure().is_some_and(|width| width < 1e-12));
    }
}

/// z = A cos(2 pi x / w). An edge of L <= w spans a trough evenly: its ends stand at A cos(pi (1 - L / w)), which is
/// -A cos(pi L / w), over the trough at -A: gap A (1 - cos(pi L / w)). From L = w on it lies on two crests: 2 A.
#[test]
fn ripple() {
    let (amplitude, wave) = (0.004, 1.6);
    let field = strip(0.01, 801, |x| {
        amplitude * (2.0 * std::f64::consts::PI * x / wave).cos()
    });
    for length in [0.4, 0.8, 1.2, 1.6] {
        let wanted = amplitude * (1.0 - (std::f64::consts::PI * length / wave).cos());
        assert!(
            (gap(&lay(&field, length)) - wanted).abs() < 1e-12,
            "{length}"
        );
    }
    for length in [1.6, 2.0, 3.0] {
        assert!(
            (gap(&lay(&field, length)) - 2.0 * amplitude).abs() < 1e-12,
            "{length}"
        );
    }
}

/// A hollow z = x^2 / (2 R), of radius R at its bottom: the chord of length L lies L^2 / (8 R) over the middle.
/// Upside down it is a crown: no gap between contacts, and the same departure.
#[test]
fn hollow_and_crown() {
    let radius = 60.0;
    for length in [1.0, 2.0, 3.0] {
        let wanted = length * length / (8.0 * radius);
        let hollow = lay(
            &strip(0.05, 161, |x| (x - 4.0).powi(2) / (2.0 * radius)),
            length,
        );
        assert!((gap(&hollow) - wanted).abs() < 1e-12);
        let crown = lay(
            &strip(0.05, 161, |x| -(x - 4.0).powi(2) / (2.0 * radius)),
            length,
        );
        assert_eq!(gap(&crown), 0.0);
        assert!(
            crown
                .departure()
                .is_some_and(|width| (width - wanted).abs() < 1e-12)
        );
    }
}

/// A step of height h between two cells of size c: the edge rests on the last high cell and, L on, on the low side;
/// over the first low cell the chord has come down by h c / L.
#[test]
fn step() {
    let (height, cell) = (0.006, 0.025);
    let field = strip(cell, 400, |x| if x < 5.0 { height } else { 0.0 });
    for length in [1.0, 2.0, 4.0] {
        assert!((gap(&lay(&field, length)) - height * (1.0 - cell / length)).abs() < 1e-12);
    }
}

/// Lines of the test pad: beside each its widest gap under a 3.0 m straightedge in contact (mm) and its minimum-zone
/// straightness (mm), both computed from the heights with exact arithmetic, not published.
#[test]
fn profile_lines_of_a_test_pad() {
    let wanted = [
        (1.5240, 12942.0 / 1625.0),
        (1.9924, 26469.0 / 7000.0),
        (1.7484, 51887.0 / 13000.0),
        (1.7961, 38537.0 / 13000.0),
        (1.5381, 48259.0 / 13000.0),
    ];
    for (line, (heights, (widest_gap, straightness))) in
        test_pad::HEIGHTS.into_iter().zip(wanted).enumerate()
    {
        let field = strip(0.3, heights.len(), |x| {
            heights[(x / 0.3).round() as usize] / 1000.0
        });
        assert!(
            (gap(&lay(&field, 3.0)) * 1000.0 - widest_gap).abs() < 5e-5,
            "line {line}"
        );
        let whole = lay(&field, 0.3 * heights.len() as f64);
        let width = whole.departure().expect("a line") * 1000.0;
        assert!(
            (width - straightness).abs() < 1e-9,
            "line {line}: {width} {straightness}"
        );
    }
}

/// u_gap = u sqrt(1 + 1/4 + 1/4) = 1.2247 u where C lies midway and the three heights are equally uncertain
/// (propagation of independent uncertainties, JCGM 100).
#[test]
fn uncertainty_of_a_gap_midway() {
    let field = strip(0.5, 3, |x| if x == 0.5 { -0.005 } else { 0.0 });
    let contact = lay(&field, 1.0).worst.expect("three nodes");
    assert!((contact.u - 0.001 * 1.5f64.sqrt()).abs() < 1e-15);
    assert_eq!((contact.a % 3, contact.c % 3, contact.b % 3), (0, 1, 2));
}
