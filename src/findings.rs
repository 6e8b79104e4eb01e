//! The finished result of one floor: everything that a report, a map or a JSON document is made from.
//!
//! In: what the stages found. Out: [`Findings`] and [`PourPlan`], in SI and unrounded; rounding is the outputs' business.

mod fixed;
pub mod handover;
pub mod house;

pub use fixed::{FixedLevels, Proposed};

use crate::error::Warning;
use crate::flatness::by_hand::{Book, OfLength};
use crate::flatness::f_numbers::FNumbers;
use crate::flatness::instrument::InstrumentLimit;
use crate::flatness::sample_lines::SampleLine;
use crate::flatness::spots::Spot;
use crate::flatness::straightedge::Straightedge;
use crate::flatness::verdict::{Judged, Verdict};
use crate::flatness::waviness::Waviness;
use crate::pour::after::Planned;
use crate::pour::batches::Batch;
use crate::pour::cost::{CostCurve, GrindRate};
use crate::pour::even::EvenPour;
use crate::pour::laid::Used;
use crate::pour::reach::Reach;
use crate::pour::replan::Replan;
use crate::pour::{Compound, Doubt, Laid, Mixing, Order, Pin, Pour, Target, Thin};
use crate::reference::{LeastSquares, MinimumZone, Plane, SlopesU};
use crate::surface::{Level, Outline, Surface, height_at};
use crate::survey::setups::Network;
use crate::survey::two_peg::TwoPeg;
use crate::survey::{Input, LaidEdge, Reduction};

/// Standard uncertainty of one reading where the user does not say, m: a staff read to the millimetre (definitions 5).
pub const READING_U: f64 = 0.001;

/// The straightedge that is laid where neither a class nor a length is asked for, m.
pub const USUAL_EDGE: f64 = 2.0;

/// Which plane deviations are measured from.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Reference {
    /// The least-squares plane: how flat.
    #[default]
    Plane,
    /// The middle of the minimum zone: how flat, judged by the extremes.
    Zone,
    /// The mean level: how level.
    Level,
}

impl Reference {
    /// All of them with the words they are typed as.
    pub const ALL: [(&'static str, Self); 3] = [
        ("plane", Self::Plane),
        ("zone", Self::Zone),
        ("level", Self::Level),
    ];

    /// What a map calls it.
    pub fn title(self) -> &'static str {
        match self {
            Self::Plane => "the floor's best plane",
            Self::Zone => "the middle of the narrowest zone",
            Self::Level => "the floor's mean level",
        }
    }
}

/// What was found in a survey.
#[derive(Debug, Clone)]
pub enum Checked {
    /// Of a floor whose heights were measured.
    Floor(Box<Findings>),
    /// Of edges laid by hand.
    Edges(EdgeFindings),
}

impl Checked {
    /// Whether every class asked for is met.
    pub fn all_met(&self) -> bool {
        match self {
            Self::Floor(findings) => findings.all_met(),
            Self::Edges(found) => all_met(&found.judged),
        }
    }
}

/// What was found in a straightedge book: gaps, and no heights. Plan positions are the survey's own.
#[derive(Debug, Clone)]
pub struct EdgeFindings {
    /// The files.
    pub inputs: Vec<Input>,
    /// `--u`: the standard uncertainty of one gap, m, if the user gave it.
    pub given_u: Option<f64>,
    /// The edges whose wedge went in on the floor.
    pub edges: Vec<LaidEdge>,
    /// How many others the outline leaves out.
    pub outside: u64,
    /// The room, if the user gave it.
    pub outline: Option<Outline>,
    /// Plan area of the room, or without an outline of the ground that the edges span, m².
    pub area: f64,
    /// Widest gaps by the length of the edge.
    pub of_length: Vec<OfLength>,
    /// Classes asked for, in the order asked.
    pub judged: Vec<Judged>,
    /// What the user should know.
    pub warnings: Vec<Warning>,
}

impl EdgeFindings {
    /// The book as it is judged.
    pub fn book(&self) -> Book<'_> {
        Book {
            edges: &self.edges,
            u: self.given_u.unwrap_or(READING_U),
            area: self.area,
        }
    }

    /// The verdict on an edge: the worst of those on the classes that it says something about.
    pub fn verdict(&self, edge: &LaidEdge) -> Option<Verdict> {
        let requirements = self.judged.iter().flat_map(Judged::requirements);
        let book = self.book();
        requirements
            .filter_map(|one| book.verdict(&one.requirement.rule, edge).ok())
            .max()
    }
}

fn all_met(judged: &[Judged]) -> bool {
    judged
        .iter()
        .all(|judged| judged.verdict() == Verdict::Within)
}

/// What was found of one floor.
#[derive(Debug, Clone)]
pub struct Findings {
    /// The files.
    pub inputs: Vec<Input>,
    /// Whether heights were read off a staff, so that zero is the line of sight.
    pub staff: bool,
    /// `--u`: the standard uncertainty of one height, m, if the user gave it.
    pub given_u: Option<f64>,
    /// The measured floor.
    pub surface: Surface,
    /// How level it is.
    pub level: Level,
    /// Standard uncertainty of the range of its heights, m.
    pub range_u: f64,
    /// What takes a plan; None of lines that have no place on one.
    pub on_plan: Option<OnPlan>,
    /// Straightedges by length, the shortest first.
    pub straightedges: Vec<Straightedge>,
    /// Classes asked for, in the order asked.
    pub judged: Vec<Judged>,
    /// The lines that F-numbers and waviness were measured along; none where they could not be.
    pub sample_lines: Vec<SampleLine>,
    /// F-numbers, or why there are none.
    pub f_numbers: std::result::Result<FNumbers, String>,
    /// Waviness, or why there is none.
    pub waviness: std::result::Result<Waviness, String>,
    /// What the user should know.
    pub warnings: Vec<Warning>,
}

/// What was found of a floor whose readings have places on the plan.
#[derive(Debug, Clone)]
pub struct OnPlan {
    /// Its least-squares plane.
    pub least_squares: LeastSquares,
    /// How well its slopes are known.
    pub least_squares_u: SlopesU,
    /// Its minimum zone.
    pub minimum_zone: MinimumZone,
    /// How well its slopes and its width (m) are known; None where its contacts lie in line.
    pub minimum_zone_u: Option<(SlopesU, f64)>,
    /// Which plane `deviations` and `spots` are measured from.
    pub reference: Reference,
    /// That plane.
    pub reference_plane: Plane,
    /// Height of every node above it, m.
    pub deviations: Vec<f64>,
    /// High and low spots.
    pub spots: Vec<Spot>,
}

impl Findings {
    /// Whether every class asked for is met.
    pub fn all_met(&self) -> bool {
        all_met(&self.judged)
    }
}

/// A floor with the compound that it takes.
#[derive(Debug, Clone)]
pub struct PourPlan {
    /// The floor as it is.
    pub findings: Findings,
    /// The compounds: the deepest fill first, the finish last.
    pub compounds: Vec<Compound>,
    /// Volumes, layers and orders.
    pub pour: Pour,
    /// Mixes and, where a way out is known, batches.
    pub mixing: Mixing,
    /// How well the fill is known.
    pub doubt: Doubt,
    /// The fixed levels and how the finish meets them.
    pub fixed: Option<FixedLevels>,
    /// Bags of each compound that are enough in 95 % of cases; None where the layers do not work out with that much more.
    pub bags_95: Option<Vec<u64>>,
    /// Where the depth is set out: in the order of pouring where that is divided, else of the survey.
    pub pins: Vec<Pin>,
    /// Depth of compound over every node, m; negative where the floor is too high, NaN where nothing was measured.
    pub depths: Vec<f64>,
    /// The place that the finish falls to, local m, if it has one.
    pub towards: Option<[f64; 2]>,
    /// What the compound's least depth adds to the least fill; None where it adds nothing.
    pub added: Option<Added>,
    /// Grinding, where the floor may be ground.
    pub grinding: Option<Grinding>,
    /// What the classes will measure on the finished floor.
    pub planned: Vec<Planned>,
    /// What the user should know about the target.
    pub warnings: Vec<Warning>,
}

/// What a least depth adds to the least fill.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Added {
    /// The least depth, m.
    pub depth: f64,
    /// Compound, m³.
    pub volume: f64,
    /// Bags.
    pub bags: u64,
}

/// What may be ground, and what it costs.
#[derive(Debug, Clone)]
pub struct Grinding {
    /// What it costs for an area or a volume.
    pub rate: GrindRate,
    /// What it costs for this floor.
    pub cost: f64,
    /// What is taken down so that nothing is thinner than the least depth: part of the pour's volumes.
    pub thin: Thin,
    /// The highest target that is weighed: nothing is ground.
    pub top: Target,
    /// What it costs and what lower ones cost, or why that was not looked at.
    pub curve: std::result::Result<CostCurve, &'static str>,
}

impl PourPlan {
    /// Depth over the highest place, or that which stands highest over a plane, m: negative where the target lies below it.
    pub fn cover(&self) -> f64 {
        let target = &self.pour.target;
        match target {
            Target::Level { .. } | Target::Raised(_) => {
                target.depth_over(self.findings.level.highest)
            }
            Target::Plane { .. } => {
                let heights = self.findings.surface.heights();
                let depths = heights.into_iter().map(|height| target.depth_over(height));
                depths.fold(f64::INFINITY, f64::min)
            }
        }
    }

    /// The height of a target, m above the survey's zero: at the place that it falls to, or else over the local origin.
    /// None where it has no one height.
    pub fn datum(&self, target: &Target) -> Option<f64> {
        let [x, y] = self.towards.unwrap_or_default();
        match target {
            Target::Level { .. } | Target::Plane { .. } => {
                let height = target.depth_over([x, y, 0.0]);
                Some(self.findings.surface.survey_z(height))
            }
            Target::Raised(_) => None,
        }
    }

    /// Whether floor is ground off before the pour.
    pub fn is_ground(&self) -> bool {
        self.grinding.is_some() && self.pour.volumes.grind > 0.0
    }

    /// Price of compound and grinding together.
    pub fn total_cost(&self) -> Option<f64> {
        let bags = self
            .orders()
            .map(|(_, order)| Some(order.price.as_ref()?.amount));
        Some(bags.sum::<Option<f64>>()? + self.grinding.as_ref()?.cost)
    }

    /// The compounds that are needed, each with its order and the bags that are enough in 95 % of cases, where that is known.
    pub fn orders_95(&self) -> impl Iterator<Item = (&Compound, &Order, Option<u64>)> {
        let numbered = self.compounds.iter().zip(&self.pour.orders).enumerate();
        numbered
            .filter(|(_, (_, order))| order.bags > 0)
            .map(|(number, (compound, order))| {
                let bags = self.bags_95.as_ref().and_then(|bags| bags.get(number));
                (compound, order, bags.copied())
            })
    }

    /// Depth over a place on the plan, m, in the survey's coordinates; None off the measured floor.
    pub fn depth_at(&self, [x, y]: [f64; 2]) -> Option<f64> {
        let surface = &self.findings.surface;
        let at = [x - surface.origin[0], y - surface.origin[1]];
        let [z, _] = height_at(surface, at)?;
        let depth = self.pour.target.depth_over([at[0], at[1], z]);
        depth.is_finite().then_some(depth)
    }

    /// The compounds that are needed, each with its order.
    pub fn orders(&self) -> impl Iterator<Item = (&Compound, &Order)> {
        let orders = self.compounds.iter().zip(&self.pour.orders);
        orders.filter(|(_, order)| order.bags > 0)
    }

    /// What the user should know about the floor, the compound and the order.
    pub fn warnings(&self) -> impl Iterator<Item = &Warning> {
        self.findings
            .warnings
            .iter()
            .chain(self.compounds.iter().flat_map(|sheet| &sheet.warnings))
            .chain(self.pour.orders.iter().flat_map(|order| &order.warnings))
            .chain(&self.mixing.warnings)
            .chain(&self.warnings)
    }
}

/// A floor before and after the pour.
#[derive(Debug, Clone)]
pub struct Comparison {
    /// The floor before.
    pub before: Findings,
    /// The floor after.
    pub after: Findings,
    /// The compound, if its sheet was given.
    pub compound: Option<Compound>,
    /// What was laid, or why that cannot be told.
    pub laid: std::result::Result<Laid, String>,
    /// The bags used against what was laid, or why there is nothing to say of them.
    pub used: std::result::Result<Used, String>,
}

impl Comparison {
    /// What the user should know of either survey, the compound and the datum.
    pub fn warnings(&self) -> Vec<Warning> {
        let of = |findings: &Findings, when: &str| {
            let said = findings.warnings.iter();
            said.map(|warning| Warning(format!("{when}: {warning}")))
                .collect::<Vec<_>>()
        };
        let compound = self.compound.iter().flat_map(|sheet| &sheet.warnings);
        let datum = self.laid.iter().flat_map(|laid| &laid.datum.warnings);
        let shared = compound.chain(datum).cloned();
        let surveys = of(&self.before, "before").into_iter();
        surveys
            .chain(of(&self.after, "after"))
            .chain(shared)
            .collect()
    }
}

/// What so many bags do for a floor.
#[derive(Debug, Clone)]
pub struct Reached {
    /// The plan for the level asked for.
    pub plan: PourPlan,
    /// How far the bags reach.
    pub reach: Reach,
    /// The classes asked for, judged of the floor filled to the level reached.
    pub judged: Vec<Judged>,
}

impl Reached {
    /// Whether the floor would meet every class asked for.
    pub fn all_met(&self) -> bool {
        let verdicts = self.judged.iter().map(Judged::verdict);
        verdicts
            .into_iter()
            .all(|verdict| verdict == Verdict::Within)
    }
}

/// The rest of a pour, some of which is down.
#[derive(Debug, Clone)]
pub struct Rest {
    /// The plan.
    pub plan: PourPlan,
    /// Bags on site before the first mix.
    pub bags: u64,
    /// What is down, what is left, and whether it is enough.
    pub replan: Replan,
    /// Whether every batch still to come can be walked to over floor not poured yet.
    pub way_is_free: bool,
    /// The batches still to come.
    pub next: Vec<NextBatch>,
    /// The classes asked for that allow less than the step between what is down and the rest.
    pub step_over: Vec<StepOver>,
    /// What of the file could not be used.
    pub warnings: Vec<Warning>,
}

/// A batch still to come.
#[derive(Debug, Clone)]
pub struct NextBatch {
    /// Its number.
    pub number: usize,
    /// The batch.
    pub batch: Batch,
    /// When it is down, s from the next mixing on.
    pub down_at: f64,
}

/// A class that allows less than a step.
#[derive(Debug, Clone, PartialEq)]
pub struct StepOver {
    /// The class.
    pub class: String,
    /// What it allows, m.
    pub limit: f64,
}

/// What one depth over an area takes, with no survey.
#[derive(Debug, Clone)]
pub struct AreaPlan {
    /// The compounds: the deepest fill first, the finish last.
    pub compounds: Vec<Compound>,
    /// Layers, orders, load.
    pub pour: EvenPour,
}

impl AreaPlan {
    /// The compounds that are needed, each with its order.
    pub fn orders(&self) -> impl Iterator<Item = (&Compound, &Order)> {
        let orders = self.compounds.iter().zip(&self.pour.orders);
        orders.filter(|(_, order)| order.bags > 0)
    }

    /// Mixes in all.
    pub fn mixes(&self) -> usize {
        self.pour.mixes.iter().map(|layer| layer.bags.len()).sum()
    }

    /// What the user should know about the compounds and the orders.
    pub fn warnings(&self) -> impl Iterator<Item = &Warning> {
        let of_sheets = self.compounds.iter().flat_map(|sheet| &sheet.warnings);
        of_sheets.chain(self.pour.orders.iter().flat_map(|order| &order.warnings))
    }
}

/// What is in the files of a survey.
#[derive(Debug, Clone)]
pub struct Description {
    /// The files.
    pub inputs: Vec<Input>,
    /// Whether they hold scanned points.
    pub scan: bool,
    /// Whether heights were read off a staff.
    pub staff: bool,
    /// Level books, reduced.
    pub books: Vec<Reduction>,
    /// What a straightedge book holds, if it is one.
    pub edges: Option<EdgeFindings>,
    /// How several set-ups were brought to one horizon, if there are several.
    pub network: Option<Network>,
    /// Least and greatest x, y and z of everything in them, m, survey coordinates. None for level books,
    /// profile lines without a place, and straightedge books.
    pub extent: Option<[[f64; 2]; 3]>,
    /// The floor, or why there is none.
    pub floor: std::result::Result<Floor, String>,
    /// What looks wrong, or what the user should know.
    pub warnings: Vec<Warning>,
}

/// What a two-peg test says of an instrument.
#[derive(Debug, Clone)]
pub struct LevelCheck {
    /// The file.
    pub input: Input,
    /// The test.
    pub test: TwoPeg,
    /// Standard uncertainty of one reading, m.
    pub u: f64,
    /// Whether the user asked for a limit of their own: then it stands first in `limits`.
    pub asked: bool,
    /// Limits, and whether the instrument keeps them.
    pub limits: Vec<(InstrumentLimit, Verdict)>,
}

impl LevelCheck {
    /// What the test says of the limit asked for, or else of the widest of those stated.
    pub fn decisive(&self) -> Verdict {
        let decisive = if self.asked {
            self.limits.first()
        } else {
            self.limits.last()
        };
        decisive.map_or(Verdict::Undecided, |(_, verdict)| *verdict)
    }

    /// Whether the limit asked for, if any, is kept.
    pub fn met(&self) -> bool {
        !self.asked || self.decisive() == Verdict::Within
    }
}

/// The floor found in a survey that is being described.
#[derive(Debug, Clone)]
pub struct Floor {
    /// Its surface.
    pub surface: Surface,
    /// Its level.
    pub level: Level,
    /// Standard uncertainty of the range of its heights, m.
    pub range_u: f64,
    /// Its best plane.
    pub plane: Plane,
    /// Height of every node above that plane, m.
    pub deviations: Vec<f64>,
}
