//! Judges a straightedge book: gaps that a wedge found under edges laid by hand.
//!
//! In: edges and their gaps, the standard uncertainty of a gap, classes. Out: a verdict for every edge, and one for every
//! requirement of every class.
//!
//! What a gap proves. An edge of length l rests on contacts no more than l apart, so its gap is one of those that the
//! rule looks for under every edge of l or longer: over their limit, the floor is outside. Under a longer edge the
//! contacts may be farther apart than the rule's edge reaches: that says nothing. By distance, the limit grows with the
//! distance of the contacts, which is not in the book: over the limit at l is outside, within the tightest limit of the
//! table is within, and what lies between is undecided. On end shims, between readings, or along sample lines other things
//! are measured than a book holds.
//!
//! "Within" is said of the place where an edge of the rule's own length lay, never of the floor: no number of
//! places shows what lies between them, and no standard that lowspot knows says how many are enough (BS 8204-1 leaves it
//! to the parties). A floor is outside, or else the book is too sparse.
//!
//! Doubt: k u as in [`super::verdict`] towards the limit from below. The widest of n gaps is more likely too wide, so
//! that above the limit it is the quantile of the largest of n: noise alone makes n places outside in one book in twenty.

use geo::{Area, ConvexHull, MultiPoint, Point};

use super::measure::{Doubt, Found, K, Measurement, Needed, Place, SPARSE};
use super::verdict::{Judged, Verdict, judge_each};
use crate::survey::LaidEdge;
use crate::tolerance::{Class, Rule, rule};
use crate::units::System;

/// Lengths that differ by no more than this share are the same: edges are cut and written down no closer.
const SAME: f64 = 0.005;

/// One case in twenty.
const CHANCE: f64 = 0.05;

/// A straightedge book, to be judged.
#[derive(Debug, Clone, Copy)]
pub struct Book<'a> {
    /// Its edges.
    pub edges: &'a [LaidEdge],
    /// Standard uncertainty of a gap, m.
    pub u: f64,
    /// Plan area that the edges stand for, m².
    pub area: f64,
}

/// Why an edge says nothing about a requirement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Silent {
    /// It is longer than the rule's.
    Longer,
    /// It is shorter, and its gap is not over the limit.
    Shorter,
    /// The rule measures something else.
    OtherWay,
}

impl Silent {
    /// In words.
    pub fn reason(self) -> &'static str {
        match self {
            Self::Longer => "a gap under a longer edge says nothing of a shorter one",
            Self::Shorter => "a gap under a shorter edge counts only where it is over the limit",
            Self::OtherWay => "it is not measured with a wedge under an edge in contact",
        }
    }
}

/// What edges of one length found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OfLength {
    /// The length, m.
    pub length: f64,
    /// How many were laid.
    pub count: usize,
    /// Which of the book's edges has the widest gap; None where none of this length was laid.
    pub widest: Option<usize>,
}

/// What a rule allows under an edge, m.
struct Limits {
    /// Up to this the place is within; None where an edge like this cannot show it.
    within: Option<f64>,
    /// Over this the floor is outside.
    outside: f64,
}

impl Limits {
    fn of(rule: &Rule, length: f64) -> Result<Self, Silent> {
        match rule {
            &Rule::Straightedge {
                length: asked,
                limit,
            } => {
                let same = same(length, asked);
                if length > asked && !same {
                    return Err(Silent::Longer);
                }
                Ok(Self {
                    within: same.then_some(limit),
                    outside: limit,
                })
            }
            Rule::ByDistance { row, whole_mm } => Ok(Self {
                within: Some(rule::tabled(row, *whole_mm, 0.0)),
                outside: rule::tabled(row, *whole_mm, length),
            }),
            Rule::EndShims { .. }
            | Rule::GridMethod { .. }
            | Rule::Level { .. }
            | Rule::Band { .. }
            | Rule::Step { .. }
            | Rule::Differences { .. }
            | Rule::SecondDifferences { .. }
            | Rule::FlatnessNumber { .. }
            | Rule::LevelnessNumber { .. }
            | Rule::Waviness { .. } => Err(Silent::OtherWay),
        }
    }
}

fn same(length: f64, other: f64) -> bool {
    (length - other).abs() <= SAME * other
}

/// Plan area of the ground that edges span, m².
pub fn spanned(edges: &[LaidEdge]) -> f64 {
    let ends = edges.iter().flat_map(LaidEdge::ends).map(Point::from);
    ends.collect::<MultiPoint>().convex_hull().unsigned_area()
}

impl Book<'_> {
    /// How far noise alone takes the widest of the gaps over its true value in one book in twenty, m.
    pub fn reach(&self) -> f64 {
        let each = 1.0 - (1.0 - CHANCE).powf(1.0 / self.edges.len().max(1) as f64);
        self.u * quantile(each).max(K)
    }

    /// What an edge says about a requirement: of the place where it lay, or [`Verdict::Outside`] of the whole floor.
    ///
    /// # Errors
    /// Why it says nothing.
    pub fn verdict(&self, rule: &Rule, edge: &LaidEdge) -> Result<Verdict, Silent> {
        let limits = Limits::of(rule, edge.length)?;
        if edge.gap - self.reach() > limits.outside {
            return Ok(Verdict::Outside);
        }
        let within = limits.within.ok_or(Silent::Shorter)?;
        Ok(if edge.gap + K * self.u <= within {
            Verdict::Within
        } else {
            Verdict::Undecided
        })
    }

    /// Judges every class. Places in the measurements count the ends of each edge and its wedge: see [`Self::place`].
    pub fn judge_all(&self, classes: &[Class], units: System) -> Vec<Judged> {
        judge_each(classes, units, |rule| self.measure(rule, units))
    }

    /// The plan position that a measurement of [`Self::judge_all`] numbers, m, survey coordinates: three for each edge, its
    /// ends and where the wedge went in.
    pub fn place(edges: &[LaidEdge], number: usize) -> [f64; 2] {
        edges.get(number / 3).map_or([f64::NAN; 2], |edge| {
            let [from, to] = edge.ends();
            match number % 3 {
                0 => from,
                1 => to,
                _ => edge.at,
            }
        })
    }

    /// Widest gaps by the length of the edge, the shortest first; those `asked` for and not laid, m, among them.
    pub fn by_length(&self, asked: &[f64]) -> Vec<OfLength> {
        let laid = self.edges.iter().map(|edge| edge.length);
        let mut lengths: Vec<f64> = laid.chain(asked.iter().copied()).collect();
        lengths.sort_by(f64::total_cmp);
        lengths.dedup_by(|longer, length| same(*longer, *length));
        let of_length = |length: f64| {
            let edges = self.edges.iter().enumerate();
            let laid = || edges.clone().filter(|(_, edge)| same(edge.length, length));
            OfLength {
                length,
                count: laid().count(),
                widest: laid()
                    .reduce(|a, b| if b.1.gap > a.1.gap { b } else { a })
                    .map(|(number, _)| number),
            }
        };
        lengths.into_iter().map(of_length).collect()
    }

    /// One measurement for every edge that may prove the floor outside, all lacking the same.
    fn measure(&self, rule: &Rule, units: System) -> Vec<Measurement> {
        let needed = Some(Needed::Places(self.needed(rule, units)));
        let mut measured = Vec::new();
        for (number, edge) in self.edges.iter().enumerate() {
            if let Ok(Limits { outside, .. }) = Limits::of(rule, edge.length) {
                let doubt = Doubt::Heights {
                    u: self.u,
                    one: self.u,
                    tilt: 0.0,
                    reach: self.reach(),
                };
                let [a, b, c] = [0, 1, 2].map(|place| 3 * number + place);
                measured.push(Measurement {
                    limit: outside,
                    length: Some(edge.length),
                    found: Some(Found {
                        value: edge.gap,
                        doubt,
                        place: Place::Chord { a, b, c },
                    }),
                    needed: needed.clone(),
                });
            }
        }
        if measured.is_empty() {
            let limit = match rule {
                Rule::Level { from, allowed, .. } => Some(allowed.at(*from)),
                other => other.limit().or(other.least()),
            };
            measured.push(Measurement {
                limit: limit.unwrap_or_default(),
                length: rule.length(),
                found: None,
                needed,
            });
        }
        measured
    }

    /// What the book lacks to show a floor within, and what it shows instead.
    fn needed(&self, rule: &Rule, units: System) -> String {
        let verdicts: Vec<_> = self
            .edges
            .iter()
            .map(|edge| self.verdict(rule, edge))
            .collect();
        let count = |wanted| verdicts.iter().filter(|found| **found == wanted).count();
        let [longer, shorter] = [Silent::Longer, Silent::Shorter].map(|why| count(Err(why)));
        let laid = verdicts.len() - longer - shorter;
        let length = rule.length().map(|length| units.plan(length));
        let mut parts = Vec::new();
        match (rule.edge(), laid) {
            _ if count(Err(Silent::OtherWay)) > 0 => {
                return format!(
                    "a straightedge book does not show it ({}); a survey of heights would",
                    rule.describe(units)
                );
            }
            (Some(_), 0) => parts.push(format!(
                "no edge of {} was laid",
                length.unwrap_or_default()
            )),
            _ => {
                let density = units.area(self.area / laid as f64);
                let undecided = count(Ok(Verdict::Undecided));
                parts.push(format!(
                    "of {laid} places, one to {density}, {} are within",
                    count(Ok(Verdict::Within))
                ));
                if undecided > 0 {
                    parts.push(format!("{undecided} undecided"));
                }
            }
        }
        for (number, silent) in [(shorter, "shorter"), (longer, "longer")] {
            if number > 0 {
                parts.push(format!("{number} under a {silent} edge do not count"));
            }
        }
        let heights = rule
            .edge()
            .map_or("heights close enough".to_owned(), |length| {
                format!("heights every {}", units.plan(length * SPARSE))
            });
        format!("{}; {heights} would decide it", parts.join(", "))
    }
}

/// What a normal value exceeds with this chance, at most a half: rational approximation 26.2.23 of Abramowitz and Stegun
/// (from memory), off by less than 0.00045.
fn quantile(chance: f64) -> f64 {
    let t = (-2.0 * chance.ln()).sqrt();
    let above = 2.515_517 + t * (0.802_853 + t * 0.010_328);
    let below = 1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308));
    t - above / below
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tolerance::parse_class;

    fn edge(length: f64, gap_mm: f64) -> LaidEdge {
        LaidEdge {
            name: None,
            at: [1.0, 2.0],
            azimuth: 90.0,
            length,
            along: 0.5,
            gap: gap_mm * 1e-3,
        }
    }

    fn book(edges: &[LaidEdge]) -> Book<'_> {
        Book {
            edges,
            u: 0.5e-3,
            area: 12.0,
        }
    }

    fn judged(class: &str, edges: &[LaidEdge]) -> Judged {
        let class = parse_class(class, &[]).expect(class);
        book(edges).judge_all(&[class], System::Metric).remove(0)
    }

    /// Values of any table of the normal distribution.
    #[test]
    fn quantiles_are_those_of_the_tables() {
        for (chance, tabled) in [(0.05, 1.6449), (0.01, 2.3263), (0.001, 3.0902)] {
            assert!((quantile(chance) - tabled).abs() < 5e-4, "{chance}");
        }
        // The largest of 20: each stays below z with 0.95^(1/20) = 0.99744, z = 2.80.
        let edges = vec![edge(2.0, 1.0); 20];
        assert!((book(&edges).reach() - 2.80 * 0.5e-3).abs() < 5e-6);
    }

    /// 5 mm, u 0.5 mm, one edge: within up to 5 - 1.645 * 0.5 = 4.1775 mm, outside from 5.8225 mm on (closed form).
    #[test]
    fn an_edge_is_judged_with_guard_bands() {
        let rule = Rule::Straightedge {
            length: 2.0,
            limit: 0.005,
        };
        let verdict = |gap| {
            let edges = [edge(2.0, gap)];
            book(&edges).verdict(&rule, &edges[0])
        };
        assert_eq!(verdict(4.177), Ok(Verdict::Within));
        assert_eq!(verdict(4.178), Ok(Verdict::Undecided));
        assert_eq!(verdict(5.822), Ok(Verdict::Undecided));
        assert_eq!(verdict(5.824), Ok(Verdict::Outside));
    }

    #[test]
    fn other_lengths_prove_what_they_can() {
        let rule = Rule::Straightedge {
            length: 2.0,
            limit: 0.005,
        };
        let verdict = |length, gap| {
            let edges = [edge(length, gap)];
            book(&edges).verdict(&rule, &edges[0])
        };
        assert_eq!(verdict(1.0, 0.0), Err(Silent::Shorter));
        assert_eq!(verdict(1.0, 6.0), Ok(Verdict::Outside));
        assert_eq!(verdict(3.0, 0.0), Err(Silent::Longer));
        assert_eq!(verdict(3.0, 60.0), Err(Silent::Longer));
        // 6 ft 7 in is 2.0066 m: a 2 m edge.
        assert_eq!(verdict(2.0066, 1.0), Ok(Verdict::Within));

        let outside = judged("SR2", &[edge(1.0, 6.5), edge(2.0, 1.0), edge(3.0, 9.0)]);
        assert_eq!(outside.verdict(), Verdict::Outside);
        assert!(outside.worst.reason.starts_with("6.5 mm is over 5.0 mm"));
        let longer = judged("SR2", &[edge(3.0, 60.0)]);
        assert_eq!(longer.verdict(), Verdict::TooSparse);
        assert_eq!(
            longer.worst.reason,
            "no edge of 2.00 m was laid, 1 under a longer edge do not count; heights every 0.25 m would decide it"
        );
    }

    #[test]
    fn places_within_never_make_a_floor_within() {
        let mut edges = vec![edge(2.0, 1.0); 11];
        edges.extend([edge(2.0, 4.5), edge(1.0, 4.8)]);
        let judged = judged("SR2", &edges);
        assert_eq!(judged.verdict(), Verdict::TooSparse);
        assert_eq!(
            judged.worst.reason,
            "4.8 mm is the widest gap found, but the readings could miss a wider one; of 12 places, one to 1.0 m², \
             11 are within, 1 undecided, 1 under a shorter edge do not count; heights every 0.25 m would decide it"
        );
        assert_eq!(Book::place(&edges, 3 * 12 + 2), [1.0, 2.0]);
        let [from, to] = [0, 1].map(|end| Book::place(&edges, end));
        assert!((from[0] - 0.5).abs() < 1e-12 && (to[0] - 2.5).abs() < 1e-12);
    }

    /// DIN 18202, table 3, row 3: 2 mm at 0.1 m, 4 mm at 1 m, 10 mm at 4 m; at 2 m between them 6 mm.
    #[test]
    fn by_distance_the_length_bounds_the_distance() {
        let class = parse_class("DIN18202-3", &[]).expect("a class");
        let rule = &class.requirements[0].rule;
        let verdict = |gap| {
            let edges = [edge(2.0, gap)];
            book(&edges).verdict(rule, &edges[0])
        };
        assert_eq!(verdict(1.1), Ok(Verdict::Within));
        assert_eq!(verdict(5.0), Ok(Verdict::Undecided));
        assert_eq!(verdict(6.8), Ok(Verdict::Undecided));
        assert_eq!(verdict(6.9), Ok(Verdict::Outside));
    }

    #[test]
    fn what_a_wedge_does_not_measure_is_not_judged() {
        for class in ["NHBC", "FM1", "ACI117-F20", "DIN18202-3-GRID"] {
            let judged = judged(class, &[edge(2.0, 60.0)]);
            assert_eq!(judged.verdict(), Verdict::TooSparse, "{class}");
            let reason = &judged.worst.reason;
            assert!(reason.starts_with("a straightedge book does not show it"));
            assert!(judged.worst.measurement.found.is_none());
        }
    }

    #[test]
    fn widest_gaps_by_length() {
        let edges = [edge(2.0, 1.0), edge(3.0, 4.0), edge(2.005, 3.0)];
        let found = book(&edges).by_length(&[1.0, 2.0]);
        let seen: Vec<_> = found
            .iter()
            .map(|one| (one.length, one.count, one.widest))
            .collect();
        assert_eq!(seen, [(1.0, 0, None), (2.0, 2, Some(2)), (3.0, 1, Some(1))]);
        assert_eq!(spanned(&edges), 0.0, "they lie in line");
        // Two edges of 2 m side by side, 1 m apart.
        let mut beside = edge(2.0, 0.0);
        beside.at = [1.0, 3.0];
        assert!((spanned(&[edge(2.0, 0.0), beside]) - 2.0).abs() < 1e-9);
    }
}
