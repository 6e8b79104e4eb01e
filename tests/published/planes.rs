//! Planes against certified and published figures.
//!
//! READ: seen in the source named. COMPUTED: exact arithmetic on figures that were read, nobody's published answer.

use crate::test_pad::HEIGHTS;
use lowspot::reference::{fit, least_squares, minimum_zone};

/// How many leading digits agree: NIST's "log relative error"; for a wanted zero, of the absolute error.
fn digits(found: f64, wanted: f64) -> f64 {
    let size = if wanted == 0.0 { 1.0 } else { wanted.abs() };
    -((found - wanted).abs() / size).max(1e-16).log10()
}

/// A data set of the NIST Statistical Reference Datasets, linear regression.
struct Nist {
    coefficients: Vec<f64>,
    residual_sd: f64,
    /// A row of data: the response, then the predictors.
    rows: Vec<Vec<f64>>,
}

impl Nist {
    /// Reads a file as NIST writes it: its head says on which lines the certified values and the data stand. None where
    /// the files are not at hand.
    fn read(name: &str) -> Option<Self> {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../shared/data/grid/nist-strd");
        let text = std::fs::read_to_string(format!("{folder}/{name}.dat")).ok()?;
        let lines: Vec<&str> = text.lines().collect();
        let range = |title: &str| {
            let line = lines
                .iter()
                .find(|line| line.contains(title) && line.contains("lines"));
            let numbers: Vec<usize> = line
                .expect(title)
                .split(|c: char| !c.is_ascii_digit())
                .filter_map(|number| number.parse().ok())
                .collect();
            &lines[numbers[numbers.len() - 2] - 1..numbers[numbers.len() - 1]]
        };
        let numbers = |line: &str| -> Vec<f64> {
            line.split_whitespace()
                .filter_map(|word| word.parse().ok())
                .collect()
        };
        let certified = range("Certified Values");
        let parameter = |line: &&&str| line.trim_start().starts_with('B');
        let sd = certified
            .iter()
            .find(|line| line.trim_start().starts_with("Standard Deviation  "));
        Some(Self {
            coefficients: certified
                .iter()
                .filter(parameter)
                .map(|line| numbers(line)[0])
                .collect(),
            residual_sd: numbers(sd.expect("a residual standard deviation"))[0],
            rows: range("Data  ").iter().map(|line| numbers(line)).collect(),
        })
    }

    /// Fits a polynomial in the predictor, or where there are several, all of them; with an intercept unless the model
    /// has fewer coefficients than that. Returns the fewest digits of a coefficient, and those of the residual's.
    fn agreement(&self) -> (f64, f64) {
        let z: Vec<f64> = self.rows.iter().map(|row| row[0]).collect();
        let predictors = self.rows[0].len() - 1;
        let intercept = self.coefficients.len() > 1;
        let columns: Vec<Vec<f64>> = (1..=self.coefficients.len() - usize::from(intercept))
            .map(|k| {
                let term = |row: &Vec<f64>| {
                    if predictors > 1 {
                        row[k]
                    } else {
                        row[1].powi(k as i32)
                    }
                };
                self.rows.iter().map(term).collect()
            })
            .collect();
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let found = fit(&columns, &z, intercept).expect("a fit");
        assert_eq!(found.coefficients.len(), self.coefficients.len());
        let fewest = found
            .coefficients
            .iter()
            .zip(&self.coefficients)
            .map(|(&found, &wanted)| digits(found, wanted))
            .fold(f64::INFINITY, f64::min);
        (fewest, digits(found.residual_sd, self.residual_sd))
    }
}

/// NIST StRD linear regression (itl.nist.gov/div898/strd; READ from the files, which say on which lines the certified
/// values stand). Digits wanted of (coefficients, residual standard deviation), of 15 certified; each is a digit or so below what
/// was reached, as another processor may round otherwise. Sums of rounded terms cost one or two digits of sixteen, an
/// intercept that is a small difference more. Columns of condition 10^k cost up to k: the powers of x up to 5 in
/// Wampler, whose residuals besides are 0 (1, 2) or, in 3 to 5, up to 2.4e7 on coefficients of 1, so that digits of the
/// residuals are lost to the coefficients; and up to 10 in Filip, where x has ten digits, its powers are
/// rounded before the fit begins, and double precision leaves seven. Of a certified 0 the digits are those after the point, of
/// data up to 4 million.
#[test]
fn nist_linear_regression() {
    let cases = [
        ("Norris", 11.0, 12.0),
        ("Pontius", 11.0, 11.0),
        ("NoInt1", 13.0, 13.0),
        ("NoInt2", 13.0, 13.0),
        ("Longley", 12.0, 13.0),
        ("Wampler1", 8.0, 8.0),
        ("Wampler2", 11.5, 13.0),
        ("Wampler3", 8.0, 12.5),
        ("Wampler4", 6.5, 13.0),
        ("Wampler5", 4.5, 13.0),
        ("Filip", 6.5, 7.5),
    ];
    for (name, coefficients, residual) in cases {
        let Some(set) = Nist::read(name) else {
            continue;
        };
        let found = set.agreement();
        println!("{name}: {found:.1?}");
        assert!(
            found.0 >= coefficients && found.1 >= residual,
            "{name}: {found:?}"
        );
    }
}

/// The x of Norris, NIST StRD, calibration of ozone monitors (READ).
const NORRIS_X: [f64; 36] = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5,
    666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2,
    999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
];

/// The y of Norris (READ).
const NORRIS_Y: [f64; 36] = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1,
    668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0,
    998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
];

/// Certified values of Norris (READ): coefficients, residual standard deviation, residual sum of squares.
const NORRIS: ([f64; 2], f64, f64) = (
    [-0.262323073774029, 1.00211681802045],
    0.884796396144373,
    26.6173985294224,
);

#[test]
fn norris() {
    let (coefficients, residual_sd, _) = NORRIS;
    let found = fit(&[&NORRIS_X], &NORRIS_Y, true).expect("a fit");
    for (found, wanted) in found.coefficients.iter().zip(coefficients) {
        assert!(digits(*found, wanted) > 12.0);
    }
    assert!(digits(found.residual_sd, residual_sd) > 13.0);
}

/// A line measured twice, at y = -1 and y = 1: its plane has the slope of the line and none across.
fn twice(line: impl Iterator<Item = [f64; 2]> + Clone) -> Vec<[f64; 3]> {
    let at = |y: f64| line.clone().map(move |[x, z]| [x, y, z]);
    at(-1.0).chain(at(1.0)).collect()
}

/// Norris as a plane: each point twice, so the mean square of the residuals is NIST's sum of squares over its 36 points.
#[test]
fn norris_as_a_plane() {
    let ([intercept, slope], _, sum_of_squares) = NORRIS;
    let line = NORRIS_X.into_iter().zip(NORRIS_Y).map(|(x, y)| [x, y]);
    let found = least_squares(&twice(line)).expect("a plane");
    assert!(digits(found.plane.a, intercept) > 12.0);
    assert!(digits(found.plane.b, slope) > 13.0);
    assert!(found.plane.c.abs() < 1e-12);
    assert!(digits(found.rms, (sum_of_squares / 36.0_f64).sqrt()) > 13.0);
}

/// Heights of a surface plate along eight lines, 1e-5 inch (READ, github.com/ballen4705/Moody-Method, from J. C. Moody, The Tool
/// Engineer, October 1955, pp 15-21, with B. Allen's corrections of 2019): from, to in plan units, heights evenly between.
const MOODY: [([f64; 2], [f64; 2], &[f64]); 8] = [
    (
        [0.0, 10.0],
        [16.0, 0.0],
        &[
            6.206, 8.921, 10.666, 10.472, 10.666, 11.442, 12.411, 13.187, 12.993, 13.769, 13.187,
            12.993, 13.187, 13.575, 13.187, 12.217, 10.472, 10.860, 10.472, 9.308, 6.206,
        ],
    ),
    (
        [16.0, 10.0],
        [0.0, 0.0],
        &[
            2.909, 6.322, 7.408, 8.494, 9.192, 10.472, 12.140, 12.450, 12.760, 13.846, 13.187,
            12.334, 11.674, 11.015, 10.937, 9.696, 8.455, 7.214, 7.136, 6.089, 2.909,
        ],
    ),
    (
        [16.0, 10.0],
        [0.0, 10.0],
        &[
            2.909, 5.527, 6.593, 9.211, 11.442, 13.478, 14.932, 14.641, 15.320, 14.641, 13.575,
            12.702, 11.636, 10.181, 8.921, 8.630, 6.206,
        ],
    ),
    (
        [16.0, 0.0],
        [0.0, 0.0],
        &[
            6.206, 9.745, 10.569, 12.557, 14.350, 15.369, 16.775, 17.793, 17.841, 16.726, 14.641,
            12.557, 10.084, 7.612, 5.333, 4.218, 2.909,
        ],
    ),
    (
        [16.0, 10.0],
        [16.0, 0.0],
        &[
            2.909, 3.685, 1.745, 0.582, 0.000, 0.582, 0.776, 1.551, 3.297, 5.430, 6.206,
        ],
    ),
    (
        [0.0, 10.0],
        [0.0, 0.0],
        &[
            6.206, 7.408, 5.895, 4.189, 2.870, 2.133, 0.427, 1.435, 2.637, 3.840, 2.909,
        ],
    ),
    (
        [16.0, 5.0],
        [0.0, 5.0],
        &[
            1.939, 3.006, 5.430, 7.272, 9.890, 11.539, 12.217, 12.896, 13.187, 13.478, 11.829,
            11.151, 9.502, 7.272, 6.400, 4.945, 3.491,
        ],
    ),
    (
        [8.0, 10.0],
        [8.0, 0.0],
        &[
            15.320, 15.126, 14.544, 13.769, 13.381, 13.187, 13.575, 15.126, 16.484, 17.259, 17.841,
        ],
    ),
];

/// The distinct points of the first `lines` lines of Moody's plate.
fn moody(lines: usize) -> Vec<[f64; 3]> {
    let mut points: Vec<[f64; 3]> = Vec::new();
    for (from, to, heights) in &MOODY[..lines] {
        for (i, &z) in heights.iter().enumerate() {
            let t = i as f64 / (heights.len() - 1) as f64;
            let point = [
                from[0] + t * (to[0] - from[0]),
                from[1] + t * (to[1] - from[1]),
                z,
            ];
            if !points.contains(&point) {
                points.push(point);
            }
        }
    }
    points
}

/// COMPUTED least squares. The figures come from heights with more decimals than the three READ here: a single height
/// differs by up to 5e-4, and what is an average of all of them by 1e-4 at most.
#[test]
fn moody_plate_least_squares() {
    let six = moody(6);
    assert_eq!(six.len(), 89);
    let found = least_squares(&six).expect("a plane");
    assert!((found.plane.a - 9.397025).abs() < 1e-4);
    assert!((found.plane.b - 0.00754862).abs() < 1e-5);
    assert!((found.plane.c + 0.0354629).abs() < 1e-5);
    assert!((found.above - 8.3837).abs() < 5e-4);
    assert!((found.below - 9.3050).abs() < 5e-4);
    assert!((found.rms - 4.55179).abs() < 1e-4);
    let eight = moody(8);
    assert_eq!(eight.len(), 113);
    let found = least_squares(&eight).expect("a plane");
    assert!((found.above + found.below - 17.5373).abs() < 1e-3);
    assert!((found.rms - 4.54483).abs() < 1e-4);
}

/// COMPUTED minimum zone of the READ heights, with its proof: the highs (8, 0) 17.841 and (8, 10) 15.320 have their mean,
/// 16.5805, at (8, 5); so have the lows (0, 4) 0.427 and (16, 6) 0.000 theirs, 0.2135. Any two parallel planes that hold
/// the four are therefore 16.367 apart or more, and those that rest on them hold all other points. (From heights with more
/// decimals it is 16.3673, and the plane as below: it may differ by what the third decimal of four contacts allows.)
#[test]
fn moody_plate_minimum_zone() {
    for lines in [6, 8] {
        let points = moody(lines);
        let found = minimum_zone(&points).expect("a zone");
        assert!((found.width - 16.367).abs() < 1e-12, "{}", found.width);
        let places = |contacts: &[usize]| {
            let mut places: Vec<[f64; 2]> = contacts
                .iter()
                .map(|&i| [points[i][0], points[i][1]])
                .collect();
            places.sort_by(|a, b| a.partial_cmp(b).expect("numbers"));
            places
        };
        assert_eq!(places(&found.above), [[8.0, 0.0], [8.0, 10.0]]);
        assert_eq!(places(&found.below), [[0.0, 4.0], [16.0, 6.0]]);
        assert!((found.plane.a - 9.61865).abs() < 1e-3);
        assert!((found.plane.b - 0.00485).abs() < 1e-4);
        assert!((found.plane.c + 0.25210).abs() < 1e-4);
    }
}

/// Minimum-zone straightness of each line of the test pad, mm, as a fraction (COMPUTED in exact arithmetic).
const PAD_STRAIGHTNESS: [[f64; 2]; 5] = [
    [12942.0, 1625.0],
    [26469.0, 7000.0],
    [51887.0, 13000.0],
    [38537.0, 13000.0],
    [48259.0, 13000.0],
];

/// COMPUTED least-squares slope, mm/m, peak to valley and rms, mm, of the same lines, to the digits of the table.
const PAD_LEAST_SQUARES: [[f64; 3]; 5] = [
    [-0.10963, 8.5226, 2.5612],
    [-0.18419, 3.9098, 1.1665],
    [-0.55790, 4.5222, 1.1255],
    [0.13152, 3.1414, 0.9395],
    [1.19319, 4.2028, 1.0333],
];

#[test]
fn straightness_of_a_line_as_a_zone() {
    let wanted = PAD_STRAIGHTNESS.into_iter().zip(PAD_LEAST_SQUARES);
    for (heights, ([over, under], [slope, range, rms])) in HEIGHTS.into_iter().zip(wanted) {
        let line = heights
            .iter()
            .enumerate()
            .map(|(i, z)| [0.3 * i as f64, z / 1000.0]);
        let points = twice(line);
        let zone = minimum_zone(&points).expect("a zone");
        assert!(
            (zone.width - over / under / 1000.0).abs() < 1e-14,
            "{}",
            zone.width
        );
        let plane = least_squares(&points).expect("a plane");
        assert!((1000.0 * plane.plane.b - slope).abs() < 1e-5);
        assert!((1000.0 * (plane.above + plane.below) - range).abs() < 1e-4);
        assert!((1000.0 * plane.rms - rms).abs() < 1e-4);
    }
}
