//! Fill, grind and bags on random floors of readings.

use lowspot::pour::{Compound, Target, Volumes, layers, order, volume};
use lowspot::surface::{HeightField, Kind, PointsByFate, Shared, Surface, Triangle};
use proptest::prelude::*;

const NX: usize = 5;
const NY: usize = 4;

/// A grid of readings at 0.5 m x 0.4 m, each cell four triangles about its centre.
pub fn floor(heights: &[f64]) -> Surface {
    let mut field = HeightField::unmeasured([1.0, -2.0], [0.5, 0.4], [NX, NY]);
    field.z.copy_from_slice(heights);
    let corner = |ix: usize, iy: usize| {
        let [x, y] = field.position(iy * NX + ix);
        [x, y, heights[iy * NX + ix]]
    };
    let mut triangles = Vec::new();
    for (ix, iy) in (0..NY - 1).flat_map(|iy| (0..NX - 1).map(move |ix| (ix, iy))) {
        let ring = [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(i, j)| corner(ix + i, iy + j));
        let centre = [0, 1, 2].map(|axis| ring.iter().map(|c| c[axis]).sum::<f64>() / 4.0);
        triangles.extend((0..4).map(|k| [centre, ring[k], ring[(k + 1) % 4]]));
    }
    Surface {
        kind: Kind::Grid,
        origin: [0.0; 3],
        triangles,
        rows: Vec::new(),
        pins: Vec::new(),
        spacing: 0.5,
        shared: Shared::default(),
        outline: None,
        area: (NX - 1) as f64 * 0.5 * (NY - 1) as f64 * 0.4,
        unmeasured: 0.0,
        points: PointsByFate::default(),
        noise: None,
        warnings: Vec::new(),
        field,
    }
}

/// Sums `of` the depth over a triangle at the centres of `n`² small ones: the midpoint rule, exact where `of` is linear.
pub fn by_small_triangles(t: &Triangle, target: &Target, n: usize, of: impl Fn(f64) -> f64) -> f64 {
    let [a, b, c] = *t;
    let area = 0.5 * ((b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])).abs();
    let at = |u: f64, v: f64| {
        let point = [0, 1, 2].map(|k| a[k] + u * (b[k] - a[k]) + v * (c[k] - a[k]));
        of(target.depth_over(point))
    };
    let mut sum = 0.0;
    for (i, j) in (0..n).flat_map(|i| (0..n - i).map(move |j| (i as f64, j as f64))) {
        let m = n as f64;
        sum += at((i + 1.0 / 3.0) / m, (j + 1.0 / 3.0) / m);
        if i + j + 2.0 <= m {
            sum += at((i + 2.0 / 3.0) / m, (j + 2.0 / 3.0) / m);
        }
    }
    sum * area / (n * n) as f64
}

pub fn heights() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(-0.01..0.01, NX * NY)
}

fn target() -> impl Strategy<Value = Target> {
    prop_oneof![
        (-0.012..0.012).prop_map(|datum| Target::Level { datum }),
        (-0.01..0.01, -0.01..0.01, -0.01..0.01).prop_map(|(height, slope_x, slope_y)| {
            Target::Plane {
                height,
                slope_x,
                slope_y,
            }
        }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// The midpoint rule errs only in small triangles that the zero line cuts: at most 2n of n², each by less than its
    /// range of depth, so by a share below 2 / n² of area times range.
    #[test]
    fn fill_is_the_integral(heights in heights(), target in target()) {
        let floor = floor(&heights);
        let n = 40;
        let sum = |side: f64| -> f64 {
            let small = |t| by_small_triangles(t, &target, n, |depth| (side * depth).max(0.0));
            floor.triangles.iter().map(small).sum()
        };
        let volumes = volume(&floor, &target);
        let tolerance = 2.0 / (n * n) as f64 * floor.area * 0.03;
        prop_assert!((volumes.fill - sum(1.0)).abs() < tolerance);
        prop_assert!((volumes.grind - sum(-1.0)).abs() < tolerance);
    }

    #[test]
    fn fill_less_grind_is_the_plain_integral(heights in heights(), target in target()) {
        let floor = floor(&heights);
        let volumes = volume(&floor, &target);
        let plain: f64 = floor.triangles.iter().map(|t| by_small_triangles(t, &target, 1, |d| d)).sum();
        prop_assert!((volumes.fill - volumes.grind - plain).abs() < 1e-15);
        prop_assert!((volumes.filled_area + volumes.ground_area - floor.area).abs() < 1e-12);
        prop_assert!(volumes.min_depth >= 0.0 && volumes.min_depth <= volumes.mean_depth);
        prop_assert!(volumes.mean_depth <= volumes.max_depth);
    }

    #[test]
    fn a_higher_datum_takes_no_less(heights in heights(), datum in -0.012..0.012, step in 0.0..0.002) {
        let floor = floor(&heights);
        let low = volume(&floor, &Target::Level { datum });
        let high = volume(&floor, &Target::Level { datum: datum + step });
        // A difference of two sums near 0.1 m³ is rounded at 1e-17 m³, however small the step.
        let rounding = 1e-15;
        prop_assert!(high.fill >= low.fill - rounding && high.grind <= low.grind + rounding);
        prop_assert!(high.filled_area >= low.filled_area - 1e-12);
        prop_assert!((high.fill - low.fill) <= step * floor.area + rounding);
    }

    /// Where every cell is wholly filled the volume is the handbook's: each cell its area times the mean of its corners.
    #[test]
    fn filled_throughout_it_is_the_grid_method(heights in heights(), datum in 0.011..0.05) {
        let depth = |ix: usize, iy: usize| datum - heights[iy * NX + ix];
        let mut grid_method = 0.0;
        for (ix, iy) in (0..NY - 1).flat_map(|iy| (0..NX - 1).map(move |ix| (ix, iy))) {
            let corners = depth(ix, iy) + depth(ix + 1, iy) + depth(ix, iy + 1) + depth(ix + 1, iy + 1);
            grid_method += 0.5 * 0.4 / 4.0 * corners;
        }
        let volumes = volume(&floor(&heights), &Target::Level { datum });
        prop_assert!((volumes.fill / grid_method - 1.0).abs() < 1e-9);
        prop_assert_eq!(volumes.grind, 0.0);
    }

    #[test]
    fn bags_cover_the_volume_and_one_less_does_not(area in 0.1..500.0, depth in 0.0001..0.05, waste in 0.0..0.3) {
        let sheet = "name = \"c\"\nbag = \"25 kg\"\nliquid_per_bag = \"6 l\"\nmixed_per_bag = \"16 l\"\nleast_depth = \"2 mm\"\n\
            greatest_depth = \"10 mm\"\nworking_time = \"20 min\"\nmixing_time = \"3 min\"\nwalk_on = \"3 h\"\n";
        let compound = Compound::parse(sheet, "sheet").expect("a sheet");
        let volumes = Volumes::even(area, depth);
        let order = order(&volumes, &compound, waste).expect("an order");
        let needed = volumes.fill * (1.0 + waste);
        prop_assert!(order.bags as f64 * 0.016 >= needed * (1.0 - 1e-9));
        prop_assert!((order.bags as f64 - 1.0) * 0.016 < needed);
    }

    /// Layer upon layer they make up the depth everywhere and the volume in all, and none is thicker than it may be.
    #[test]
    fn layers_make_up_the_depth(heights in heights(), datum in -0.01..0.1, deep in 0.015..0.04) {
        let sheet = |least: &str, greatest: f64| {
            let text = format!("name = \"c\"\nbag = \"25 kg\"\nliquid_per_bag = \"6 l\"\nmixed_per_bag = \"16 l\"\nleast_depth = \"{least}\"\n\
                greatest_depth = \"{} mm\"\nworking_time = \"20 min\"\nmixing_time = \"3 min\"\nwalk_on = \"3 h\"\n", greatest * 1e3);
            Compound::parse(&text, "sheet").expect("a sheet")
        };
        let compounds = [sheet("5 mm", deep), sheet("2 mm", 0.01)];
        let (floor, target) = (floor(&heights), Target::Level { datum });
        let layers = layers(&floor, &target, &compounds).expect("layers");
        let whole = volume(&floor, &target);
        let sum: f64 = layers.iter().map(|layer| layer.volumes.fill).sum();
        prop_assert!((sum - whole.fill).abs() <= 1e-12 + 1e-9 * whole.fill, "{sum} {}", whole.fill);
        for layer in &layers {
            let most = compounds[layer.compound].greatest_depth;
            prop_assert!(layer.volumes.max_depth <= most * (1.0 + 1e-6));
            prop_assert!(layer.volumes.mean_depth <= most * (1.0 + 1e-6));
        }
        for z in heights {
            let depth = (datum - z).max(0.0);
            let thickness: f64 = layers.iter().map(|layer| layer.thickness(depth)).sum();
            prop_assert!((thickness - depth).abs() < 1e-12, "{thickness} {depth}");
        }
    }
}
