//! The height of least total cost: compound against grinding.
//!
//! In: a surface, a flat target that grinds nothing, a compound with its price, what grinding costs. Out: a [`CostCurve`]: what
//! every height costs between grinding everything and grinding nothing, and the cheapest.
//!
//! Cost = price × whole bags + rate × what is ground, with what is taken down for the least depth d in both (see
//! [`super::thin`]): fill = d A + V(d), which never grows as the target sinks. Bags fall in steps while grinding rises, so the
//! cheapest height is the highest one of some number of bags.
//! Between two heights no cost is below the bags of the lower one and the grinding of the higher one. Where that is no less
//! than the cheapest found, nothing in between needs looking at; elsewhere the stretch is halved, down to 0.1 nanometres. So the
//! cheapest is found without trying every number of bags. By the litre with a least depth, grinding may fall as the target
//! sinks; there the bound takes each of its parts at its least.
//! A height at which some flat patch lies exactly in the target, neither filled nor ground, is not searched for: nobody pours so
//! exactly.
//! Not here: several compounds, whose layers move as the target sinks.

use std::str::FromStr;

use super::compound::{Compound, Price};
use super::order::whole_up;
use super::target::Target;
use super::thin;
use super::volume::volume;
use crate::surface::Surface;
use crate::units::{Area, NotAQuantity, Volume};

/// Heights of the curve that lie evenly.
const STEPS: u32 = 100;

/// Heights nearer than this are one, m.
const FINEST: f64 = 1e-10;

/// Costs within this share are one.
const SAME: f64 = 1e-9;

/// What grinding is charged by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Per {
    /// Plan area, m².
    Area,
    /// What comes off, m³.
    Volume,
}

/// What grinding costs, typed as `25 EUR/m2` or `4 EUR/l`.
#[derive(Debug, Clone, PartialEq)]
pub struct GrindRate {
    /// For one m² or m³.
    pub price: Price,
    /// Which of them.
    pub per: Per,
}

impl FromStr for GrindRate {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> Result<Self, NotAQuantity> {
        let read = || {
            let (price, unit) = text.rsplit_once('/')?;
            let price: Price = price.trim().parse().ok()?;
            let one = format!("1 {}", unit.trim());
            let (worth, per) = match (one.parse::<Area>(), one.parse::<Volume>()) {
                (Ok(Area(worth)), _) => (worth, Per::Area),
                (Err(_), Ok(Volume(worth))) => (worth, Per::Volume),
                (Err(_), Err(_)) => return None,
            };
            Some(Self {
                price: Price {
                    amount: price.amount / worth,
                    ..price
                },
                per,
            })
        };
        read().ok_or_else(|| NotAQuantity {
            found: text.to_owned(),
            wanted: "a price for an area or a volume, such as 25 EUR/m2 or 4 EUR/l",
        })
    }
}

impl GrindRate {
    /// What it costs to grind off `volume` m³ over `area` m².
    pub fn cost(&self, volume: f64, area: f64) -> f64 {
        self.price.amount
            * match self.per {
                Per::Area => area,
                Per::Volume => volume,
            }
    }
}

/// What is weighed.
#[derive(Debug, Clone, Copy)]
pub struct Weighed<'a> {
    /// The floor.
    pub surface: &'a Surface,
    /// The highest target, level or a plane, with the least depth over the spot that stands highest over it: nothing is ground.
    pub top: &'a Target,
    /// The least depth of the compound, m.
    pub least_depth: f64,
    /// The compound.
    pub compound: &'a Compound,
    /// Price of a bag, in the currency of `rate`.
    pub bag: f64,
    /// Share of the compound that is lost.
    pub waste: f64,
    /// What grinding costs.
    pub rate: &'a GrindRate,
}

/// What one height costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CostPoint {
    /// How far below the highest target, m.
    pub lowered: f64,
    /// Whole bags.
    pub bags: u64,
    /// Ground off, m³.
    pub ground: f64,
    /// Plan area ground, m².
    pub ground_area: f64,
    /// Of bags and grinding.
    pub cost: f64,
}

/// What heights cost.
#[derive(Debug, Clone, PartialEq)]
pub struct CostCurve {
    /// The highest first.
    pub points: Vec<CostPoint>,
    /// Which of them is the cheapest.
    pub cheapest: usize,
}

impl CostCurve {
    /// The cheapest point.
    pub fn best(&self) -> Option<&CostPoint> {
        self.points.get(self.cheapest)
    }
}

/// A height that was looked at, with the parts that bounds are made from.
#[derive(Debug, Clone, Copy)]
struct Looked {
    point: CostPoint,
    fill: f64,
    filled_area: f64,
    deeper: f64,
    grind: f64,
}

impl Weighed<'_> {
    /// What the target costs when lowered by so many metres.
    pub fn at(&self, lowered: f64) -> CostPoint {
        self.look(lowered).point
    }

    fn look(&self, lowered: f64) -> Looked {
        let target = self.top.lowered(lowered);
        let [whole, deeper] = thin::whole_and_deeper(self.surface, &target, self.least_depth);
        let thin = thin::between(&whole, &deeper, self.least_depth);
        let (ground, ground_area) = (whole.grind + thin.volume, whole.ground_area + thin.area);
        let bags = self.bags(whole.fill + thin.volume);
        Looked {
            point: CostPoint {
                lowered,
                bags: bags as u64,
                ground,
                ground_area,
                cost: self.bag * bags + self.rate.cost(ground, ground_area),
            },
            fill: whole.fill,
            filled_area: whole.filled_area,
            deeper: deeper.fill,
            grind: whole.grind,
        }
    }

    fn bags(&self, fill: f64) -> f64 {
        whole_up(fill * (1.0 + self.waste) / self.compound.mixed_per_bag)
    }

    /// What no height between two costs less than.
    fn bound(&self, [upper, lower]: [&Looked; 2]) -> f64 {
        let d = thin::held(self.least_depth);
        let bags = self.bags(d * lower.filled_area + lower.deeper);
        let ground = match self.rate.per {
            Per::Area => upper.point.ground_area,
            Per::Volume => {
                let thin = d * lower.filled_area - upper.fill + lower.deeper;
                upper.grind + thin.max(0.0)
            }
        };
        self.bag * bags + self.rate.price.amount * ground
    }
}

/// What heights cost from that of `weighed` down to where everything is ground off, and the cheapest of all, to
/// 0.1 nanometres.
pub fn cheapest(weighed: &Weighed) -> CostCurve {
    let deepest = volume(weighed.surface, weighed.top).max_depth;
    // The last is just below the lowest place: none of the floor lies exactly in the target there.
    let steps: Vec<Looked> = (0..STEPS)
        .map(|step| deepest * f64::from(step) / f64::from(STEPS))
        .chain([deepest, deepest + FINEST])
        .map(|lowered| weighed.look(lowered))
        .collect();
    let mut best = steps.iter().map(|looked| looked.point).reduce(cheaper);
    let mut open: Vec<(f64, [Looked; 2])> = steps
        .windows(2)
        .map(|pair| (weighed.bound([&pair[0], &pair[1]]), [pair[0], pair[1]]))
        .collect();
    // The last is looked at first: the one that promises most.
    open.sort_by(|(a, _), (b, _)| b.total_cmp(a));
    while let Some((bound, [upper, lower])) = open.pop() {
        let width = lower.point.lowered - upper.point.lowered;
        let hopeless = best.is_some_and(|best| bound >= best.cost * (1.0 - SAME));
        if hopeless || width < FINEST {
            continue;
        }
        let middle = weighed.look(upper.point.lowered + 0.5 * width);
        best = best.into_iter().chain([middle.point]).reduce(cheaper);
        let mut halves = [[upper, middle], [middle, lower]]
            .map(|[upper, lower]| (weighed.bound([&upper, &lower]), [upper, lower]));
        if halves[0].0 < halves[1].0 {
            halves.reverse();
        }
        open.extend(halves);
    }
    curve(steps.iter().map(|looked| looked.point), best)
}

/// The cheaper of two heights; of equals the higher one, which grinds less.
fn cheaper(a: CostPoint, b: CostPoint) -> CostPoint {
    let order = a.cost.total_cmp(&b.cost);
    if order.then(a.lowered.total_cmp(&b.lowered)).is_le() {
        a
    } else {
        b
    }
}

/// The even steps and the cheapest height, the highest first.
fn curve(steps: impl Iterator<Item = CostPoint>, best: Option<CostPoint>) -> CostCurve {
    let mut points: Vec<CostPoint> = steps.chain(best).collect();
    points.sort_by(|a, b| a.lowered.total_cmp(&b.lowered));
    points.dedup_by(|a, b| a.lowered == b.lowered);
    let is_best = |point: &CostPoint| best.is_some_and(|best| best.lowered == point.lowered);
    CostCurve {
        cheapest: points.iter().position(is_best).unwrap_or_default(),
        points,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pour::sheet::tests::SHEET;
    use crate::pour::volume::tests::grid;

    fn rate(text: &str) -> GrindRate {
        text.parse().expect(text)
    }

    #[test]
    fn rates_are_read_into_si() {
        assert_eq!(rate("25 EUR/m2").per, Per::Area);
        let litre = rate("£4/l");
        assert_eq!(
            (litre.per, litre.price.currency.as_str()),
            (Per::Volume, "£")
        );
        assert!((litre.price.amount - 4000.0).abs() < 1e-9);
        assert!((rate("2 USD/ft2").price.amount - 2.0 / 0.092_903_04).abs() < 1e-9);
        for wrong in ["25 EUR", "25/m2", "EUR/m2", "25 EUR/kg", "-3 EUR/m2"] {
            assert!(wrong.parse::<GrindRate>().is_err(), "{wrong}");
        }
    }

    /// A flat floor of 19 m² and a crest of 1 m² that stands 10 mm over it, as cells: covering the floor up to the crest takes
    /// 190 l, grinding the crest costs 25. Feathered: level with the floor, nothing to buy.
    #[test]
    fn one_crest_is_cheaper_ground() {
        let mut floor = grid([20, 10], 0.3162, |x, _| if x < 0.1 { 0.01 } else { 0.0 });
        floor.triangles.clear();
        let compound = Compound::parse(SHEET, "sheet").expect("a sheet");
        let rate = rate("25 EUR/m2");
        let top = Target::Level { datum: 0.01 };
        let weighed = Weighed {
            surface: &floor,
            top: &top,
            least_depth: 0.0,
            compound: &compound,
            bag: 28.5,
            waste: 0.05,
            rate: &rate,
        };
        let found = cheapest(&weighed);
        let best = found.best().expect("a curve");
        // 1 m² of crest for 25, and no compound at all: 0.01 m below the top.
        assert!(
            (best.lowered - 0.01).abs() < 1e-7 && best.bags == 0,
            "{best:?}"
        );
        assert!((best.cost - 25.0 * best.ground_area).abs() < 1e-9);
        let dear = GrindRate {
            price: Price {
                amount: 1e6,
                ..rate.price.clone()
            },
            ..rate
        };
        let found = cheapest(&Weighed {
            rate: &dear,
            ..weighed
        });
        assert_eq!(found.best().map(|best| best.lowered), Some(0.0));
    }
}
