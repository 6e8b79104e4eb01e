//! The ways of measuring a class, each against its definition tried out on small random floors with holes.

use lowspot::flatness::along::Along;
use lowspot::flatness::differences::{Order, percentile};
use lowspot::flatness::levels;
use lowspot::flatness::measure::{Doubt, Measurement, Place, measure};
use lowspot::flatness::straightedge::DIRECTIONS;
use lowspot::flatness::supports::{Between, OFF_LENGTH, worst};
use lowspot::surface::{HeightField, Kind, Level, PointsByFate, Shared, Surface};
use lowspot::tolerance::rule::tabled;
use lowspot::tolerance::{Allowed, Rule, din18202};
use proptest::prelude::*;

/// Heights in whole half millimetres, some not measured, every node known to 1 mm.
fn floors() -> impl Strategy<Value = HeightField> {
    (2..12_usize, 2..10_usize, 0.1..0.7_f64, 0.1..0.7_f64)
        .prop_flat_map(|(nx, ny, dx, dy)| {
            let node = prop_oneof![9 => (0..60_i32).prop_map(Some), 1 => Just(None)];
            (Just((nx, ny, dx, dy)), prop::collection::vec(node, nx * ny))
        })
        .prop_map(|((nx, ny, dx, dy), heights)| {
            let mut field = HeightField::unmeasured([0.0, 0.0], [dx, dy], [nx, ny]);
            for (node, height) in heights.into_iter().enumerate() {
                field.z[node] = height.map_or(f64::NAN, |height| f64::from(height) * 0.0005);
                field.u[node] = 0.001;
            }
            field
        })
}

/// The nodes of a lattice line from `a` on in a direction, to the edge of the floor.
fn line(field: &HeightField, a: usize, (p, q): (usize, isize)) -> Vec<usize> {
    let (nx, ny) = (field.nx as isize, field.ny as isize);
    let (x, y) = (a as isize % nx, a as isize / nx);
    (0..)
        .map(|k| (x + k * p as isize, y + k * q))
        .take_while(|(x, y)| (0..nx).contains(x) && (0..ny).contains(y))
        .map(|(x, y)| (y * nx + x) as usize)
        .collect()
}

/// Every pair A, B of nodes in line with the nodes from A to B, and the distance.
fn every_pair(field: &HeightField) -> Vec<(Vec<usize>, f64)> {
    let mut pairs = Vec::new();
    for direction in DIRECTIONS {
        for a in 0..field.z.len() {
            let nodes = line(field, a, direction);
            for end in 1..nodes.len() {
                let ([ax, ay], [bx, by]) = (field.position(a), field.position(nodes[end]));
                pairs.push((nodes[..=end].to_vec(), (bx - ax).hypot(by - ay)));
            }
        }
    }
    pairs
}

/// Height of the line from the first to the last of `nodes` over the node at `at`, m.
fn over(field: &HeightField, nodes: &[usize], at: usize) -> f64 {
    let (za, zb) = (field.z[nodes[0]], field.z[nodes[nodes.len() - 1]]);
    let w = at as f64 / (nodes.len() - 1) as f64;
    za + w * (zb - za) - field.z[nodes[at]]
}

fn largest(values: impl Iterator<Item = f64>) -> Option<f64> {
    values.reduce(f64::max)
}

/// Whether steps of one size fit a length: the number of steps nearest to it misses it by no more than 2 %.
fn fits(distance: f64, length: f64) -> bool {
    (distance - length).abs() <= OFF_LENGTH * length
}

fn surface(field: &HeightField) -> Surface {
    Surface {
        kind: Kind::Cells,
        origin: [0.0; 3],
        spacing: field.spacing(),
        field: field.clone(),
        triangles: Vec::new(),
        rows: Vec::new(),
        pins: Vec::new(),
        shared: Shared::default(),
        outline: None,
        area: 1.0,
        unmeasured: 0.0,
        points: PointsByFate::default(),
        noise: None,
        warnings: Vec::new(),
    }
}

fn unmeasured() -> Along {
    Along::nothing("no sample lines")
}

fn near(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() < 1e-9,
        (None, None) => true,
        _ => false,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn end_shims_are_every_line_of_the_length(field in floors(), length in 0.2..3.0_f64) {
        let all_measured = |nodes: &[usize]| nodes.iter().all(|&node| field.z[node].is_finite());
        // Where two numbers of steps fit, the nearer one counts: none does with so few steps and 2 %.
        let wanted = largest(
            every_pair(&field)
                .iter()
                .filter(|(nodes, distance)| {
                    nodes.len() > 2 && fits(*distance, length) && all_measured(nodes)
                })
                .flat_map(|(nodes, _)| {
                    (1..nodes.len() - 1).map(|at| over(&field, nodes, at).abs())
                }),
        );
        let found = worst(&field, length, Between::Everywhere);
        prop_assert!(near(found.map(|contact| contact.gap), wanted), "{found:?} {wanted:?}");
    }

    /// In a square of three by three nodes and more, a node and its two neighbours at the pitch; u of one height times
    /// sqrt(1 + 1/4 + 1/4).
    #[test]
    fn the_grid_method_is_every_node_against_its_neighbours(field in floors(), pitch in 0.1..1.5_f64) {
        let wanted = largest(
            every_pair(&field)
                .iter()
                .filter(|(nodes, distance)| {
                    nodes.len() % 2 == 1 && fits(*distance, 2.0 * pitch)
                })
                .map(|(nodes, _)| over(&field, nodes, nodes.len() / 2).abs())
                .filter(|deviation| deviation.is_finite()),
        );
        let found = worst(&field, 2.0 * pitch, Between::Middle);
        prop_assert!(near(found.map(|contact| contact.gap), wanted), "{found:?} {wanted:?}");
        if let Some(contact) = found {
            prop_assert!((contact.u - 1.5_f64.sqrt() * 0.001).abs() < 1e-12);
        }
    }

    #[test]
    fn levels_are_every_pair(field in floors(), from in 0.0..1.0_f64, reach in 0.5..5.0_f64, kind in 0..4_usize) {
        let steps: &[(f64, f64)] = &[(0.5, 0.003), (1.0, 0.006), (3.0, 0.008), (f64::INFINITY, 0.012)];
        let allowed = [
            Allowed::Fixed(0.020),
            Allowed::Linear(0.005, 0.001),
            Allowed::CubeRoot(0.010),
            Allowed::Steps(steps.into()),
        ][kind].clone();
        let to = from + reach;
        let wanted = largest(
            every_pair(&field)
                .iter()
                .filter(|(_, distance)| *distance >= from && *distance <= to)
                .map(|(nodes, distance)| {
                    let difference = field.z[nodes[0]] - field.z[nodes[nodes.len() - 1]];
                    difference.abs() / allowed.at(*distance)
                })
                .filter(|share| share.is_finite()),
        );
        let found = levels::worst(&field, from, to, &allowed);
        prop_assert!(near(found.map(|worst| worst.height / worst.limit), wanted), "{found:?} {wanted:?}");
    }

    /// The laths of the lengths at which the limit steps find what every pair of contacts, each held to its own limit,
    /// does.
    #[test]
    fn by_distance_is_every_lath_held_to_its_own_limit(field in floors(), row in 0..4_usize) {
        let row = [din18202::ROW_1, din18202::ROW_2, din18202::ROW_3, din18202::ROW_4][row];
        let all_measured = |nodes: &[usize]| nodes.iter().all(|&node| field.z[node].is_finite());
        let wanted = largest(
            every_pair(&field)
                .iter()
                .filter(|(nodes, _)| nodes.len() > 2 && all_measured(nodes))
                .flat_map(|(nodes, distance)| {
                    let limit = tabled(row, true, *distance);
                    let field = &field;
                    (1..nodes.len() - 1).map(move |at| over(field, nodes, at).max(0.0) / limit)
                }),
        );
        let measured = measure(&Rule::by_distance(row), &[], &unmeasured(), &surface(&field));
        let shares = measured
            .iter()
            .filter_map(|one| Some(one.found?.value / one.limit));
        prop_assert!(near(largest(shares), wanted), "{wanted:?}");
    }

    #[test]
    fn a_band_is_the_farthest_from_the_mean(field in floors()) {
        let surface = surface(&field);
        let heights = surface.heights();
        prop_assume!(!heights.is_empty());
        let level = Level::of(&heights).expect("heights");
        let wanted = (level.highest[2] - level.mean).max(level.mean - level.lowest[2]);
        let measured = measure(&Rule::Band { datum: None, limit: 0.015 }, &[], &unmeasured(), &surface);
        let found = measured[0].found.expect("a node");
        prop_assert!((found.value - wanted).abs() < 1e-12);
        let Place::Node(node) = found.place else { panic!("one place") };
        prop_assert!((field.z[node] - level.mean).abs() - wanted < 1e-12);
    }

    /// The difference that 95 % do not exceed: of all that fit, along the axes, at least 95 % are no larger and fewer than
    /// 95 % are smaller.
    #[test]
    fn ninety_five_in_a_hundred_differences_are_no_larger(field in floors(), apart in 0.1..2.0_f64, second in any::<bool>()) {
        let (order, spans) = if second { (Order::Second, 2) } else { (Order::First, 1) };
        let mut sizes = Vec::new();
        for direction in [(1, 0), (0, 1)] {
            let spacing = if direction.0 == 1 { field.dx } else { field.dy };
            let steps = (apart / spacing).round() as usize;
            if steps == 0 || !fits(steps as f64 * spacing, apart) {
                continue;
            }
            for a in 0..field.z.len() {
                let nodes = line(&field, a, direction);
                let Some(last) = nodes.get(spans * steps) else { continue };
                let size = match order {
                    Order::First => field.z[*last] - field.z[a],
                    Order::Second => field.z[a] - 2.0 * field.z[nodes[steps]] + field.z[*last],
                };
                sizes.extend(Some(size.abs()).filter(|size| size.is_finite()));
            }
        }
        let found = percentile(&field, apart, order);
        prop_assert_eq!(found.map_or(0, |found| found.count), sizes.len());
        if let Some(found) = found {
            let share = |count: usize| count as f64 / sizes.len() as f64;
            let within = |slack: f64| share(sizes.iter().filter(|size| **size <= found.value + slack).count());
            prop_assert!(within(1e-12) >= 0.95 && within(-1e-12) < 0.95, "{found:?}");
            let one_height = if second { 6.0_f64.sqrt() } else { 2.0_f64.sqrt() };
            prop_assert!((found.u - one_height * 0.001).abs() < 1e-12);
        }
    }

    /// A step is the largest difference of two places no farther apart than its length.
    #[test]
    fn steps_are_every_pair_of_neighbours(field in floors(), within in 0.1..1.5_f64) {
        let wanted = largest(
            every_pair(&field)
                .iter()
                .filter(|(_, distance)| *distance <= within)
                .map(|(nodes, _)| (field.z[nodes[0]] - field.z[nodes[nodes.len() - 1]]).abs())
                .filter(|difference| difference.is_finite()),
        );
        let measured = measure(&Rule::Step { within, limit: 0.001 }, &[], &unmeasured(), &surface(&field));
        prop_assert!(near(measured[0].found.map(|found| found.value), wanted));
        // Two cells apart in reach, or a step across one cell would show only by half.
        prop_assert_eq!(measured[0].needed.is_some(), wanted.is_none() || 2.0 * field.spacing() > within);
    }
}

/// A floor of 13 x 9 places 0.5 m apart, each known to 0.5 mm.
fn known(height: impl Fn(f64, f64) -> f64) -> HeightField {
    let mut field = HeightField::unmeasured([0.0, 0.0], [0.5, 0.5], [13, 9]);
    for node in 0..field.z.len() {
        let [x, y] = field.position(node);
        (field.z[node], field.u[node]) = (height(x, y), 5e-4);
    }
    field
}

fn with_tilt(field: &HeightField, tilt: f64) -> Surface {
    let mut surface = surface(field);
    surface.shared.tilt = tilt;
    surface
}

/// Standard uncertainties of what was measured.
fn us(measured: &[Measurement]) -> Vec<f64> {
    let u = |one: &Measurement| one.found.and_then(|found| found.u());
    measured.iter().filter_map(u).collect()
}

/// What rests on a chord is the same to the bit whatever the tilt of the laser; the gap itself stays when the floor is
/// tilted.
#[test]
fn a_tilt_counts_in_no_gap() {
    let field = known(|x, y| 0.004 * (1.7 * x).sin() * (1.3 * y).cos());
    let rules = [
        Rule::Straightedge {
            length: 2.0,
            limit: 0.003,
        },
        Rule::by_distance(&[(0.1, 0.002), (1.0, 0.004), (4.0, 0.010)]),
        Rule::EndShims {
            length: 2.0,
            limit: 0.003,
        },
        Rule::GridMethod {
            pitch: 1.0,
            limit: 0.003,
        },
        Rule::SecondDifferences {
            apart: 0.5,
            limit: 0.002,
        },
    ];
    let mut tilted = field.clone();
    for node in 0..tilted.z.len() {
        let [x, y] = tilted.position(node);
        tilted.z[node] += 0.003 * x - 0.005 * y;
    }
    for rule in rules {
        let of = |surface: &Surface| measure(&rule, &[], &unmeasured(), surface);
        let level = of(&with_tilt(&field, 0.0));
        assert_eq!(level, of(&with_tilt(&field, 1e-3)), "{rule:?}");
        for (one, other) in level.iter().zip(of(&with_tilt(&tilted, 1e-3))) {
            let value = |one: &Measurement| one.found.map(|found| found.value);
            assert!(near(value(one), value(&other)), "{rule:?}");
        }
    }
}

/// A step of 6 mm to the right of the middle; from end to end 6 m along and 4 m up. The tilt turns heights about the middle.
#[test]
fn a_tilt_counts_in_levels_bands_and_steps() {
    let field = known(|x, _| if x > 3.1 { 0.006 } else { 0.0 });
    let tilted = with_tilt(&field, 3e-4);
    let of = |rule: &Rule| measure(rule, &[], &unmeasured(), &tilted);
    let near = |found: &[f64], wanted: &[f64]| {
        assert_eq!(found.len(), wanted.len(), "{found:?}");
        for (found, wanted) in found.iter().zip(wanted) {
            assert!((found / wanted - 1.0).abs() < 1e-9, "{found} {wanted}");
        }
    };
    let level = Rule::Level {
        from: 0.0,
        to: f64::INFINITY,
        allowed: Allowed::Fixed(0.02),
    };
    let over = |distance: f64| (2.0 * 25e-8_f64 + (3e-4 * distance).powi(2)).sqrt();
    // The nearest pair with the largest difference, and the farthest one in line, from (0, 0) to (6, 4) or nearly: 12 and 8
    // steps are 3 : 2.
    near(&us(&of(&level)), &[over(0.5), over(6_f64.hypot(4.0))]);
    // 13 columns: 7 at 0, 6 at 6 mm, so those are the farthest from the mean; first at (3.5, 0), in the corners the doubt
    // is largest.
    let band = Rule::Band {
        datum: None,
        limit: 0.01,
    };
    let off = |x: f64, y: f64| (25e-8_f64 + (3e-4_f64 * x.hypot(y)).powi(2)).sqrt();
    near(&us(&of(&band)), &[off(0.5, 2.0), off(3.0, 2.0)]);
    let step = Rule::Step {
        within: 0.5,
        limit: 0.002,
    };
    near(&us(&of(&step)), &[over(0.5)]);
    // Outside only if it is over the limit by more than the tilt in either direction reaches.
    let found = of(&band)[1].found.expect("measured");
    let Doubt::Heights { tilt, u, reach, .. } = found.doubt else {
        panic!("{found:?}");
    };
    let wanted = found.value
        - reach
            .max(1.645 * u)
            .hypot((-2.0 * 0.05_f64.ln()).sqrt() * tilt);
    assert!((found.bounds()[0] - wanted).abs() < 1e-7);
}
