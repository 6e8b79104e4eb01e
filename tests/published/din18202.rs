//! DIN 18202 table 3 as the ZDB screed and flooring handbook extends it (deploy.doczz.net/doc/5839552): 91 cells, of which
//! those at 0.1, 1, 4, 10 and 15 m are the standard's own and the others interpolated.

use lowspot::tolerance::din18202::{ROW_1, ROW_2, ROW_3, ROW_4};
use lowspot::tolerance::rule::tabled;

const DISTANCES: [f64; 13] = [
    0.1, 0.6, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 6.0, 8.0, 10.0, 15.0,
];

/// The columns that are the standard's own.
const OWN: [usize; 5] = [0, 2, 8, 11, 12];

/// Limits in mm, rows 1 to 7; rows 5 to 7 are of walls and only tried here.
const HANDBOOK: [[u32; 13]; 7] = [
    [10, 13, 15, 16, 17, 18, 18, 19, 20, 22, 23, 25, 30],
    [5, 7, 8, 9, 9, 10, 11, 12, 12, 13, 14, 15, 20],
    [2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 11, 12, 15],
    [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 15],
    [5, 8, 10, 11, 12, 13, 13, 14, 15, 18, 22, 25, 30],
    [3, 4, 5, 6, 7, 8, 8, 9, 10, 13, 17, 20, 25],
    [2, 2, 3, 4, 5, 6, 6, 7, 8, 10, 13, 15, 20],
];

/// (row, distance, printed, by the rule): what the handbook misprints.
const MISPRINTS: [(usize, f64, u32, u32); 2] = [(2, 3.5, 12, 11), (7, 0.6, 2, 3)];

fn limit_mm(row: &[(f64, f64)], distance: f64) -> u32 {
    (tabled(row, true, distance) * 1000.0).round() as u32
}

#[test]
fn linear_and_half_up_give_the_handbooks_cells_but_its_two_misprints() {
    let mut differing = Vec::new();
    for (row, cells) in HANDBOOK.iter().enumerate() {
        let own = OWN.map(|column| (DISTANCES[column], f64::from(cells[column]) / 1000.0));
        for (distance, &printed) in DISTANCES.iter().zip(cells) {
            let found = limit_mm(&own, *distance);
            if found != printed {
                differing.push((row + 1, *distance, printed, found));
            }
        }
    }
    assert_eq!(differing, MISPRINTS);
}

#[test]
fn the_rows_are_the_handbooks() {
    for (row, cells) in [ROW_1, ROW_2, ROW_3, ROW_4].iter().zip(&HANDBOOK) {
        assert_eq!(row.len(), OWN.len());
        for column in OWN {
            assert_eq!(limit_mm(row, DISTANCES[column]), cells[column]);
        }
        // From 15 m on the limit stays (read for row 3 on estrich-berger.de).
        assert_eq!(limit_mm(row, 40.0), cells[12]);
    }
}
