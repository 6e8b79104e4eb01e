//! A level book reduced: by height of collimation and by rise and fall, checked, and closed.
//!
//! In: the rows of a book, a back sight first, a fore sight last, the two sights of a change point on one row; known
//! levels of the first and the last point if there are any. Out: a [`Reduction`].
//!
//! Height of collimation: level of a point + back sight on it = collimation; collimation - any later sight = level there.
//! Rise and fall: each reading is taken from the one before it of the same set-up. Checks of the trade: back sights less
//! fore sights = last level less first = rises less falls; the last covers intermediate sights too.
//! Misclosure: the level found for the last point less the one known for it. It may be 5 mm times the root of the number
//! of set-ups (the form for ordinary building work; from memory), and is then taken off in equal parts, one a set-up.

/// The misclosure allowed after one set-up, m.
const ALLOWED: f64 = 0.005;

/// What was read at a point, m, downwards from the line of sight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sights {
    /// The first point: a back sight.
    Back(f64),
    /// A point on the way: an intermediate sight.
    Intermediate(f64),
    /// A change point: a fore sight, and from the next set-up a back sight.
    Change {
        /// From the set-up before.
        fore: f64,
        /// From the set-up after.
        back: f64,
    },
    /// The last point: a fore sight.
    Fore(f64),
}

impl Sights {
    /// The back sight, if there is one, m.
    pub fn back(self) -> Option<f64> {
        match self {
            Self::Back(back) | Self::Change { back, .. } => Some(back),
            Self::Intermediate(_) | Self::Fore(_) => None,
        }
    }

    /// The intermediate sight, if it is one, m.
    pub fn intermediate(self) -> Option<f64> {
        match self {
            Self::Intermediate(sight) => Some(sight),
            Self::Back(_) | Self::Change { .. } | Self::Fore(_) => None,
        }
    }

    /// The fore sight, if there is one, m.
    pub fn fore(self) -> Option<f64> {
        match self {
            Self::Change { fore, .. } | Self::Fore(fore) => Some(fore),
            Self::Back(_) | Self::Intermediate(_) => None,
        }
    }
}

/// A row of a reduced book.
#[derive(Debug, Clone, PartialEq)]
pub struct ReducedRow {
    /// The name of the point; empty where the book gives none.
    pub point: String,
    /// What was read.
    pub sights: Sights,
    /// Height of the line of sight that starts with the back sight, m.
    pub collimation: Option<f64>,
    /// How far the point lies above the one before it, m; negative for a fall. None for the first.
    pub rise: Option<f64>,
    /// Level of the point as it follows from the readings, m.
    pub level: f64,
    /// The same with its part of the misclosure taken off, where the book closes, m.
    pub adjusted: f64,
}

/// How a book closes on a known level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Closing {
    /// The known level of the last point, m.
    pub known: f64,
    /// The level found for it less the known one, m.
    pub misclosure: f64,
    /// The largest misclosure allowed, m.
    pub allowance: f64,
}

impl Closing {
    /// Whether the misclosure is one that may be distributed.
    pub fn closes(&self) -> bool {
        self.misclosure.abs() <= self.allowance
    }
}

/// A reduced level book.
#[derive(Debug, Clone, PartialEq)]
pub struct Reduction {
    /// The file as the user named it.
    pub file: String,
    /// In the order of the book.
    pub rows: Vec<ReducedRow>,
    /// Sum of the back sights, m.
    pub back_sights: f64,
    /// Sum of the fore sights, m.
    pub fore_sights: f64,
    /// Sum of the rises, m.
    pub rises: f64,
    /// Sum of the falls, m.
    pub falls: f64,
    /// Number of set-ups.
    pub setups: usize,
    /// Whether a level was known to start from; if not, the first point is zero.
    pub datum: bool,
    /// How it closes, where the level of the last point is known.
    pub closing: Option<Closing>,
}

impl Reduction {
    /// Last level less first, m.
    pub fn difference(&self) -> f64 {
        match (self.rows.first(), self.rows.last()) {
            (Some(first), Some(last)) => last.level - first.level,
            (None, _) | (_, None) => 0.0,
        }
    }
}

/// Reduces `rows` (name of the point, sights) of the book in `file`.
///
/// `first` and `last` are the known levels of the first and the last point, m. With the last alone, levels are reckoned
/// back from it; with neither, the first point is zero. A book that ends on the point it began with closes on it.
pub fn reduce(
    file: &str,
    rows: &[(String, Sights)],
    first: Option<f64>,
    last: Option<f64>,
) -> Reduction {
    let sum = |sight: fn(Sights) -> Option<f64>| rows.iter().filter_map(|row| sight(row.1)).sum();
    let (back_sights, fore_sights): (f64, f64) = (sum(Sights::back), sum(Sights::fore));
    let setups = rows.iter().filter_map(|row| row.1.back()).count();
    let circuit = match rows {
        [(from, _), .., (to, _)] => !from.is_empty() && from == to,
        _ => false,
    };
    let first = first.or(last.filter(|_| circuit));
    let start = match (first, last) {
        (Some(first), _) => first,
        (None, Some(last)) => last - (back_sights - fore_sights),
        (None, None) => 0.0,
    };
    let mut reduced = by_collimation(rows, start);
    let (rises, falls) = by_rise_and_fall(&mut reduced);
    let known = match (first, last) {
        (Some(_), Some(last)) => Some(last),
        (None, Some(_)) => None,
        (_, None) => circuit.then_some(start),
    };
    let found = reduced.last().map(|row| row.level);
    let closing = known.zip(found).map(|(known, found)| Closing {
        known,
        misclosure: found - known,
        allowance: ALLOWED * (setups as f64).sqrt(),
    });
    if let Some(closing) = closing.filter(Closing::closes) {
        distribute(&mut reduced, closing.misclosure / setups as f64);
    }
    Reduction {
        file: file.to_owned(),
        rows: reduced,
        back_sights,
        fore_sights,
        rises,
        falls,
        setups,
        datum: first.or(last).is_some(),
        closing,
    }
}

fn by_collimation(rows: &[(String, Sights)], start: f64) -> Vec<ReducedRow> {
    let mut line_of_sight = start;
    let reduced = |(point, sights): &(String, Sights)| {
        let level = match *sights {
            Sights::Back(_) => start,
            Sights::Intermediate(sight) | Sights::Fore(sight) => line_of_sight - sight,
            Sights::Change { fore, .. } => line_of_sight - fore,
        };
        let collimation = sights.back().map(|back| level + back);
        line_of_sight = collimation.unwrap_or(line_of_sight);
        ReducedRow {
            point: point.clone(),
            sights: *sights,
            collimation,
            rise: None,
            level,
            adjusted: level,
        }
    };
    rows.iter().map(reduced).collect()
}

/// Fills in the rises, from the readings alone; returns their sum and that of the falls.
fn by_rise_and_fall(rows: &mut [ReducedRow]) -> (f64, f64) {
    let (mut before, mut rises, mut falls) = (None, 0.0, 0.0);
    for row in rows {
        let ends = row.sights.intermediate().or(row.sights.fore());
        row.rise = before
            .zip(ends)
            .map(|(before, end): (f64, f64)| before - end);
        match row.rise {
            Some(rise) if rise < 0.0 => falls -= rise,
            Some(rise) => rises += rise,
            None => {}
        }
        before = row.sights.back().or(ends);
    }
    (rises, falls)
}

/// Takes `share` off every line of sight for itself and each one before it.
fn distribute(rows: &mut [ReducedRow], share: f64) {
    let mut setup = 0.0;
    for row in rows {
        row.adjusted = row.level - share * setup;
        if row.collimation.is_some() {
            setup += 1.0;
        }
    }
}
