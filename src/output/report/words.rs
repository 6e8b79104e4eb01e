//! What reports say that does not depend on the floor, in one place.

/// Under the title.
pub const KIND: &str = "Handover report";

/// The three questions of the first page.
pub const QUESTIONS: [&str; 3] = ["What was asked", "What was found", "What was done"];

/// When every class is met.
pub const ALL_MET: &str = "Every floor is shown to meet every class that was asked for.";

/// Beside that, where some of a floor was not measured.
pub const AS_FAR_AS_MEASURED: &str =
    "That holds for what was measured. Nothing is known about what was not:";

/// When no class was asked for.
pub const NO_CLASS: &str =
    "No class was asked for, so nothing is said about whether the floors are flat enough.";

/// Before the list of what is not met.
pub const NOT_MET: &str = "Not shown to meet what was asked:";

/// What the words of the verdicts mean.
pub const VERDICTS: &str = "WITHIN: shown to meet the class, with the doubt of the measurement counted. OUTSIDE: shown to \
     miss it. UNDECIDED: too near the limit for the doubt of the measurement. TOO SPARSE: nothing over the limit was found, \
     but the readings are too far apart to rule it out. Neither of the last two says that the floor is good enough.";

/// Where no survey after the pour was given.
pub const NOT_SURVEYED_AFTER: &str = "was not surveyed after the pour. This report holds the plan for it, and nothing here shows how it is now.";

/// Where nothing brings the surveys together.
pub const NO_BENCHMARK: &str =
    "nothing brings the zeros of the two surveys together: no mark was read in both";

/// Where the floor lies lower than before.
pub const LOWERED: &str = "The survey after the pour lies lower than the one before, beyond doubt. The zeros of the surveys \
     do not belong together, the floor was ground, or something was misread: trust no thickness until that is cleared up.";

/// Beside a figure from memory.
pub const FROM_MEMORY: &str = "* a figure from memory: check it against your copy of the standard";

/// Why there is no length of the strip along the walls.
pub const NO_EDGE: &str = "not known: a scan alone does not tell a wall from what stood before it";

/// What this kind of survey never measures.
pub const NEVER_MEASURED: [&str; 3] = [
    "Moisture, strength, bond, cracks and what lies under the surface were not looked at.",
    "Heights hold for the day of the survey: compound shrinks and floors move.",
    "A straightedge was laid by calculation on the measured heights, not by hand on the floor.",
];

/// Under the list of files.
pub const INPUTS: &str = "The same files give the same report, byte for byte. A file has not changed if its SHA-256 is still this.";

/// Over the lines to sign.
pub const SIGNING: &str = "Signed for what was handed over, as this report states it.";

/// The font and its licence.
pub const FONT: &str = "The PDF is set in Roboto, which comes under the Apache License 2.0.";

/// Under a map on paper it would be read off at its contours; on a screen at any place.
pub const HOVER: &str = "Point at the map, or tap it, to read it off.";

/// More pins than this would be pages of figures.
pub const PINS_SHOWN: usize = 120;
