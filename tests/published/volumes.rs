//! Volumes and orders that handbooks work out by hand. Where a page prints a rounded or slipped figure, the exact one
//! is worked out in the comment.

use lowspot::pour::{Compound, Target, Volumes, order, volume};
use lowspot::surface::{HeightField, Kind, PointsByFate, Shared, Surface, Triangle};

const FT: f64 = 0.3048;
const FT3: f64 = FT * FT * FT;
const YD3: f64 = 27.0 * FT3;

fn floor(triangles: Vec<Triangle>) -> Surface {
    Surface {
        kind: Kind::Triangulated,
        origin: [0.0; 3],
        field: HeightField::unmeasured([0.0; 2], [1.0; 2], [0, 0]),
        triangles,
        rows: Vec::new(),
        pins: Vec::new(),
        spacing: 1.0,
        shared: Shared::default(),
        outline: None,
        area: 0.0,
        unmeasured: 0.0,
        points: PointsByFate::default(),
        noise: None,
        warnings: Vec::new(),
    }
}

/// A grid cell as lowspot defines it: four triangles about the centre, whose height is the mean of the corners.
fn cell([x0, y0]: [f64; 2], [dx, dy]: [f64; 2], heights: [f64; 4]) -> Vec<Triangle> {
    let [a, b, c, d] = heights;
    let ring = [
        [x0, y0, a],
        [x0 + dx, y0, b],
        [x0 + dx, y0 + dy, c],
        [x0, y0 + dy, d],
    ];
    let centre = [x0 + dx / 2.0, y0 + dy / 2.0, (a + b + c + d) / 4.0];
    (0..4)
        .map(|k| [centre, ring[k], ring[(k + 1) % 4]])
        .collect()
}

fn fill_to(triangles: Vec<Triangle>, datum: f64) -> f64 {
    volume(&floor(triangles), &Target::Level { datum }).fill
}

fn near(found: f64, wanted: f64, relative: f64) {
    assert!(
        (found / wanted - 1.0).abs() <= relative,
        "found {found}, wanted {wanted}"
    );
}

/// The grid rule V = A/4 (sum h1 + 2 sum h2 + 3 sum h3 + 4 sum h4), h1 to h4 the heights at nodes of 1 to 4 cells
/// (surveying handbooks; expertsmind.com question 91967), on an L of three cells, so that one node has three.
#[test]
fn grid_rule() {
    let h = |ix: usize, iy: usize| [[1.2, 0.7, 2.1], [0.4, 1.9, 0.3], [0.8, 1.1, 0.0]][iy][ix];
    let mut triangles = Vec::new();
    for (ix, iy) in [(0, 0), (1, 0), (0, 1)] {
        let corners = [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(i, j)| -h(ix + i, iy + j));
        triangles.extend(cell(
            [ix as f64 * 5.0, iy as f64 * 4.0],
            [5.0, 4.0],
            corners,
        ));
    }
    let ones = h(0, 0) + h(2, 0) + h(2, 1) + h(1, 2) + h(0, 2);
    let twos = h(1, 0) + h(0, 1);
    let rule = 20.0 / 4.0 * (ones + 2.0 * twos + 3.0 * h(1, 1));
    near(fill_to(triangles, 0.0), rule, 1e-14);
}

/// One cell of 50 ft, corners 87.6, 87.6, 87.6 and 88.6 ft, filled to 90 ft: 199 cubic yards (expertsmind.com question
/// 30170481). Exactly 2500 x 2.15 / 27 = 199.07.
#[test]
fn one_cell_of_fifty_feet() {
    let corners = [87.6, 87.6, 87.6, 88.6].map(|feet| feet * FT);
    let fill = fill_to(cell([0.0; 2], [50.0 * FT; 2], corners), 90.0 * FT);
    near(fill / YD3, 2500.0 * 2.15 / 27.0, 1e-12);
    assert_eq!((fill / YD3).round(), 199.0);
}

/// A cell of 2000 ft² with corners 75.4, 77.5, 74.6 and 80.5 ft: mean 77.0 (manualshive.com, pages 36 and 37). Filled to
/// 83 ft that is 2000 x 6 = 12,000 ft³ = 444.44 cubic yards.
#[test]
fn the_mean_of_four_corners() {
    let corners = [75.4, 77.5, 74.6, 80.5].map(|feet| feet * FT);
    let fill = fill_to(cell([0.0; 2], [40.0 * FT, 50.0 * FT], corners), 83.0 * FT);
    near(83.0 - fill / FT3 / 2000.0, 77.0, 1e-12);
    near(fill / YD3, 12_000.0 / 27.0, 1e-12);
}

/// A railway cutting (Vose, handbook, article 108): base 20 ft, slopes 1.5 to 1, depths 0, 5, 10, 15, 0 ft every 50 ft.
/// The book averages end areas (56,200 ft³ printed, 56,250 exactly); the prismoidal formula gives
/// 3125 + 11,875 + 24,375 + 13,125 = 52,500 ft³, which is exact for plane faces: bottom and banks.
#[test]
fn prismoid() {
    let depths = [0.0, 5.0, 10.0, 15.0, 0.0];
    let bands = [[-40.0, -10.0], [-10.0, 10.0], [10.0, 40.0]];
    let mut triangles = Vec::new();
    for (stretch, ends) in depths.windows(2).enumerate() {
        for band in bands {
            let corner = |end: usize, side: usize| {
                let y: f64 = band[side];
                let bank = (y.abs() - 10.0) / 1.5;
                let x = (stretch + end) as f64 * 50.0;
                [x, y, bank - ends[end]].map(|feet| feet * FT)
            };
            let [a, b, c, d] = [corner(0, 0), corner(1, 0), corner(1, 1), corner(0, 1)];
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    near(fill_to(triangles, 0.0) / FT3, 52_500.0, 1e-12);
}

/// A reservoir whose contours every 3 m enclose 375, 620, 945, 1365, 1880 and 2570 m²: 18,847.5 m³ by the trapezoidal
/// rule (engineeringdiscoveries.com). A trough 1 m wide whose length below each height is that area holds the same.
#[test]
fn contours() {
    let areas = [375.0, 620.0, 945.0, 1365.0, 1880.0, 2570.0];
    let mut profile = vec![[0.0, 0.0]];
    profile.extend(areas.iter().enumerate().map(|(k, &x)| [x, 3.0 * k as f64]));
    let mut triangles = Vec::new();
    for ends in profile.windows(2) {
        let [[x0, z0], [x1, z1]] = [ends[0], ends[1]];
        let ring = [[x0, 0.0, z0], [x1, 0.0, z1], [x1, 1.0, z1], [x0, 1.0, z0]];
        triangles.extend([[ring[0], ring[1], ring[2]], [ring[0], ring[2], ring[3]]]);
    }
    near(fill_to(triangles, 15.0), 18_847.5, 1e-14);
}

/// A cell halved along the diagonal a-c holds A/6 (2a + 2c + b + d); the two diagonals average to the mean of the corners.
#[test]
fn halving_a_cell() {
    let [a, b, c, d] = [0.7, 0.2, 0.9, 0.5];
    let [pa, pb] = [[0.0, 0.0, -a], [3.0, 0.0, -b]];
    let [pc, pd] = [[3.0, 2.0, -c], [0.0, 2.0, -d]];
    let along_ac = fill_to(vec![[pa, pb, pc], [pa, pc, pd]], 0.0);
    let along_bd = fill_to(vec![[pa, pb, pd], [pb, pc, pd]], 0.0);
    near(along_ac, 6.0 / 6.0 * (2.0 * a + 2.0 * c + b + d), 1e-14);
    near(
        (along_ac + along_bd) / 2.0,
        6.0 * (a + b + c + d) / 4.0,
        1e-14,
    );
}

fn sheet(yields: &str) -> String {
    format!(
        "name = \"compound\"\nbag = \"25 kg\"\nliquid_per_bag = \"5 l\"\n{yields}\nleast_depth = \"2 mm\"\n\
         greatest_depth = \"50 mm\"\nworking_time = \"20 min\"\nmixing_time = \"3 min\"\nwalk_on = \"3 h\"\n"
    )
}

/// 6 m² at 30 mm with a compound of 1.7 kg/m²/mm: 306 kg, 12.24 bags of 25 kg, so 13 (goodwin.crimea.ua).
#[test]
fn thirteen_bags() {
    let compound =
        Compound::parse(&sheet("consumption = \"1.7 kg/m2/mm\""), "sheet").expect("a sheet");
    let order = order(&Volumes::even(6.0, 0.030), &compound, 0.0).expect("an order");
    near(order.mixed / compound.mixed_per_bag * 25.0, 306.0, 1e-12);
    assert_eq!(order.bags, 13);
}

/// A bag that covers 6 m² at 2 mm covers 2.4 m² at 5 mm (common practice, no source): one bag each, and no more.
#[test]
fn area_times_depth_is_constant() {
    let compound =
        Compound::parse(&sheet("coverage = \"6 m2 at 2 mm\""), "sheet").expect("a sheet");
    for (area, depth, bags) in [
        (6.0, 0.002, 1),
        (2.4, 0.005, 1),
        (2.5, 0.005, 2),
        (24.0, 0.005, 10),
    ] {
        let order = order(&Volumes::even(area, depth), &compound, 0.0).expect("an order");
        assert_eq!(order.bags, bags, "{area} m² at {depth} m");
    }
}
