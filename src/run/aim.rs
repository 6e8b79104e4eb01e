//! To what surface a floor is poured.
//!
//! In: what was asked for, the compounds, the floor. Out: an [`Aim`]: the target, and what it adds, grinds and costs.

use super::pour::{Fall, Finish, PourJob, Shape};
use super::{Job, nothing_measured};
use crate::error::{Error, Result, Warning};
use crate::findings::{Added, Findings, Grinding, PourPlan};
use crate::pour::cost::{self, CostCurve, GrindRate, Weighed};
use crate::pour::thin::taken_down;
use crate::pour::{self, Compound, Target, target, within};
use crate::surface::{Kind, Surface};
use crate::units::{MILLIMETRE, System};

/// Why the costs of other heights are not told for several compounds.
const SEVERAL_COMPOUNDS: &str = "several compounds: their layers move with the datum";

/// A finish higher by less than this would be shown as none, m.
const NO_HIGHER: f64 = 0.05 * MILLIMETRE;

/// The surface to pour to.
pub(super) struct Aim {
    pub target: Target,
    /// Whether it hangs on the highest spot.
    pub on_highest: bool,
    /// The place that it falls to, local m.
    pub towards: Option<[f64; 2]>,
    /// What the least depth adds to the least fill.
    pub added: Option<Added>,
    /// Grinding, its cost still to be worked out.
    pub ground: Option<Grinding>,
    pub warnings: Vec<Warning>,
}

/// Whether what was asked for goes together.
///
/// # Errors
/// [`Error::Argument`] where it does not.
pub(super) fn fits(job: &Job, pouring: &PourJob, compounds: &[Compound]) -> Result<()> {
    let heightless = "--target level, or --target plane with --fall and --towards";
    let refused = |option: &str, wanted: &str| {
        let found = format!("{option} with this --target");
        Err(Error::argument(option, found, wanted))
    };
    match (pouring.shape, pouring.finish) {
        (Shape::Least | Shape::Plane(None), Finish::Datum(_)) => {
            return refused("--datum", heightless);
        }
        (Shape::Least, Finish::Cover(_)) => {
            return refused("--cover", "--target level or --target plane");
        }
        (Shape::Least, Finish::LeastDepth) if pouring.grind.is_some() => {
            return refused("--grind", "--target level or --target plane");
        }
        (Shape::Least, Finish::LeastDepth) if within::edges(&job.classes, 1.0).is_empty() => {
            let wanted = "a --class with a straightedge, such as --class SR2 or --class 3mm@2m";
            return Err(Error::argument("--target", "least", wanted));
        }
        (Shape::Level | Shape::Plane(_) | Shape::Least, _) => {}
    }
    let Some(rate) = &pouring.grind else {
        return Ok(());
    };
    for compound in compounds {
        bag_price(compound, rate)?;
    }
    if compounds.len() > 1 && pouring.finish == Finish::LeastDepth {
        let wanted = "one compound, or the height to finish at: --datum or --cover";
        return Err(Error::argument("--grind", "several compounds", wanted));
    }
    Ok(())
}

/// Price of a bag, in the currency of the grinding.
///
/// # Errors
/// [`Error::Argument`] where the sheet has none, or one in another currency.
fn bag_price(compound: &Compound, rate: &GrindRate) -> Result<f64> {
    let name = &compound.name;
    let currency = &rate.price.currency;
    match &compound.price {
        Some(price) if price.currency.eq_ignore_ascii_case(currency) => Ok(price.amount),
        Some(price) => Err(Error::argument(
            "--grind",
            currency,
            format!("{}, in which the sheet prices {name}", price.currency),
        )),
        None => Err(Error::argument(
            "--grind",
            format!("no price_per_bag on the sheet of {name}"),
            format!("one in {currency}, to weigh compound against grinding"),
        )),
    }
}

/// The surface to pour to.
///
/// # Errors
/// [`Error::Floor`] where nothing was measured; [`Error::Argument`] for a fall to the middle of the floor.
pub(super) fn aim(
    job: &Job,
    pouring: &PourJob,
    compounds: &[Compound],
    findings: &Findings,
) -> Result<Aim> {
    let Some(finish) = compounds.last() else {
        return Err(nothing_measured());
    };
    match pouring.shape {
        Shape::Least => least(job, pouring, compounds, finish, findings),
        Shape::Level => flat(pouring, finish, findings, [0.0; 2], None),
        Shape::Plane(Some(Fall { rate, towards })) => {
            let surface = &findings.surface;
            let [x0, y0, _] = surface.origin;
            let towards = [towards[0] - x0, towards[1] - y0];
            let slope = target::slope_towards(surface, rate, towards).ok_or_else(|| {
                let found = "the middle of the floor";
                Error::argument("--towards", found, "a place to one side of the middle")
            })?;
            flat(pouring, finish, findings, slope, Some(towards))
        }
        Shape::Plane(None) => {
            let on_plan = findings.on_plan.as_ref().ok_or_else(nothing_measured)?;
            let plane = on_plan.least_squares.plane;
            flat(pouring, finish, findings, [plane.b, plane.c], None)
        }
    }
}

/// The least fill that the classes need.
fn least(
    job: &Job,
    pouring: &PourJob,
    compounds: &[Compound],
    finish: &Compound,
    findings: &Findings,
) -> Result<Aim> {
    let surface = &findings.surface;
    let fill = |least_depth: f64| {
        within::least_fill(surface, &job.classes, least_depth).ok_or_else(nothing_measured)
    };
    let depth = finish.thinnest();
    let target = fill(depth)?;
    let added = if depth > 0.0 {
        let poured = |target: Target| {
            let pour = pour::pour(surface, target, compounds, pouring.waste, None)?;
            Ok::<_, Error>((pour.volumes.fill, pour.bags()))
        };
        let (volume, bags) = poured(target.clone())?;
        let (without, bags_without) = poured(fill(0.0)?)?;
        Some(Added {
            depth,
            volume: volume - without,
            bags: bags.saturating_sub(bags_without),
        })
    } else {
        None
    };
    Ok(Aim {
        target,
        on_highest: false,
        towards: None,
        added,
        ground: None,
        warnings: cautions(job),
    })
}

/// What the least fill does not look at, and that it leaves no margin.
fn cautions(job: &Job) -> Vec<Warning> {
    let unseen = within::unseen(&job.classes).map(|(class, rule)| {
        let rule = rule.describe(job.units);
        let name = &class.name;
        format!("the least fill looks at straightedges only, not at {name}: {rule}")
    });
    let margin = "the least fill ends at the very limit: for a margin for readings and spreading ask for less, such as \
                  --class 4mm@2m instead of 5mm@2m";
    unseen.chain([margin.to_owned()]).map(Warning).collect()
}

/// Level, or a plane of a given slope.
fn flat(
    pouring: &PourJob,
    finish: &Compound,
    findings: &Findings,
    slope: [f64; 2],
    towards: Option<[f64; 2]>,
) -> Result<Aim> {
    let surface = &findings.surface;
    let over_highest = |cover: f64| match pouring.shape {
        Shape::Plane(_) => target::plane_from_cover(surface, slope, cover),
        Shape::Level | Shape::Least => target::level_from_cover(surface, cover),
    };
    let grinding = pouring.grind.as_ref();
    let (least_depth, cover) = match grinding {
        Some(_) => (finish.thinnest(), finish.thinnest()),
        None => (0.0, finish.least_depth),
    };
    let top = over_highest(cover)?;
    let curve = grinding.map(|rate| match pouring.compounds.len() {
        1 => costs(surface, &top, finish, least_depth, pouring.waste, rate).map(Ok),
        _ => Ok(Err(SEVERAL_COMPOUNDS)),
    });
    let curve = curve.transpose()?;
    let cheapest = curve.as_ref().and_then(|curve| curve.as_ref().ok()?.best());
    let at = |datum: f64| match towards {
        Some([x, y]) => target::plane_through([x, y, datum - surface.origin[2]], slope),
        None => target::level_from_datum(surface, datum),
    };
    let target = match pouring.finish {
        Finish::Datum(reading) if findings.staff => at(-reading),
        Finish::Datum(height) => at(height),
        Finish::Cover(cover) => over_highest(cover)?,
        Finish::LeastDepth => top.lowered(cheapest.map_or(0.0, |best| best.lowered)),
    };
    Ok(Aim {
        ground: grinding.zip(curve).map(|(rate, curve)| Grinding {
            rate: rate.clone(),
            cost: 0.0,
            thin: taken_down(surface, &target, least_depth),
            top,
            curve,
        }),
        on_highest: match (pouring.finish, pouring.shape) {
            (Finish::Datum(_), _) | (_, Shape::Plane(_)) => false,
            (Finish::Cover(_) | Finish::LeastDepth, Shape::Level | Shape::Least) => true,
        },
        target,
        towards,
        added: None,
        warnings: Vec::new(),
    })
}

/// What other heights cost.
fn costs(
    surface: &Surface,
    top: &Target,
    compound: &Compound,
    least_depth: f64,
    waste: f64,
    rate: &GrindRate,
) -> Result<CostCurve> {
    Ok(cost::cheapest(&Weighed {
        surface,
        top,
        least_depth,
        compound,
        bag: bag_price(compound, rate)?,
        waste,
        rate,
    }))
}

/// Says what would cure thin places, where the compound has any.
pub(super) fn warn_of_thin_places(plan: &mut PourPlan, units: System) {
    let (Some(finish), Some(order)) = (plan.compounds.last(), plan.pour.orders.last_mut()) else {
        return;
    };
    if order.warnings.is_empty() {
        return;
    }
    let depth = units.height(finish.least_depth);
    let cure = match (&plan.pour.target, plan.findings.surface.kind) {
        (Target::Raised(_), Kind::Cells | Kind::Lines) => return,
        (Target::Raised(_), Kind::Grid | Kind::Triangulated) => {
            order.warnings.clear();
            format!(
                "{} needs at least {depth}, and has it at every reading that is filled, but it runs out between those and \
                 dry ones: cut the floor back there, or set a stop",
                finish.name
            )
        }
        (Target::Level { .. } | Target::Plane { .. }, _) => {
            let raised = plan.cover() - finish.least_depth;
            if -raised < NO_HIGHER {
                return;
            }
            let datum = plan.datum(&plan.pour.target.lowered(raised));
            let datum = datum.map_or(String::new(), |datum| {
                if plan.findings.staff {
                    format!(" (staff {})", units.height(-datum))
                } else {
                    format!(" ({})", units.height(datum))
                }
            });
            format!(
                "finished {} higher{datum} no place is thinner than {depth}; or let the high spots come down: --grind",
                units.height(-raised)
            )
        }
    };
    plan.warnings.push(Warning(cure));
}
