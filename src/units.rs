//! Lengths, areas, volumes and masses: how they are typed and how they are shown.
//!
//! In: text such as `2m`, `3mm`, `1/8in`, `10ft`. Out: metres (square metres, cubic metres, kilograms), and text again.
//! Inside lowspot everything is SI; this file is the only home of 25.4, 0.3048 and 1000.
//! Sources: the inch of 25.4 mm and the foot of 0.3048 m are exact by the international yard and pound agreement of
//! 1959; the US survey foot is 1200/3937 m, exact (Federal Register 24, 5348, 1959; from memory).

use std::fmt;
use std::str::FromStr;

/// Metres in a millimetre.
pub const MILLIMETRE: f64 = 1e-3;
/// Metres in an inch.
pub const INCH: f64 = 25.4e-3;
/// Metres in a foot.
pub const FOOT: f64 = 0.3048;
/// Metres in a US survey foot.
pub const US_SURVEY_FOOT: f64 = 1200.0 / 3937.0;
/// Cubic metres in a litre.
pub const LITRE: f64 = 1e-3;

/// Cubic metres in a US gallon of 231 cubic inches, exact.
pub const US_GALLON: f64 = 3.785_411_784e-3;
/// Below so many gallons a volume is told in quarts.
const QUARTS_BELOW: f64 = 5.0;
/// Kilograms in a pound, exact.
pub const POUND: f64 = 0.453_592_37;
/// Seconds in a minute.
pub const MINUTE: f64 = 60.0;
/// Seconds in an hour.
pub const HOUR: f64 = 60.0 * MINUTE;

/// Text that is not the quantity it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotAQuantity {
    /// What stood there.
    pub found: String,
    /// What would have been understood.
    pub wanted: &'static str,
}

impl fmt::Display for NotAQuantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "found '{}', wanted {}", self.found, self.wanted)
    }
}

impl std::error::Error for NotAQuantity {}

/// A unit of length that a survey or an option may be written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LengthUnit {
    /// mm
    Millimetre,
    /// cm
    Centimetre,
    /// m
    Metre,
    /// in
    Inch,
    /// ft
    Foot,
    /// US survey foot, as land surveys of the United States use it
    UsSurveyFoot,
}

impl LengthUnit {
    /// Metres in one of this unit.
    pub fn metres(self) -> f64 {
        match self {
            Self::Millimetre => MILLIMETRE,
            Self::Centimetre => 1e-2,
            Self::Metre => 1.0,
            Self::Inch => INCH,
            Self::Foot => FOOT,
            Self::UsSurveyFoot => US_SURVEY_FOOT,
        }
    }

    /// The unit's symbol as it is typed.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Centimetre => "cm",
            Self::Metre => "m",
            Self::Inch => "in",
            Self::Foot => "ft",
            Self::UsSurveyFoot => "usft",
        }
    }

    /// Every unit, in the order in which help texts list them.
    pub const ALL: [Self; 6] = [
        Self::Millimetre,
        Self::Centimetre,
        Self::Metre,
        Self::Inch,
        Self::Foot,
        Self::UsSurveyFoot,
    ];
}

impl FromStr for LengthUnit {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> Result<Self, NotAQuantity> {
        let wanted = "a unit of length: mm, cm, m, in, ft or usft";
        Self::ALL
            .into_iter()
            .find(|unit| unit.symbol().eq_ignore_ascii_case(text.trim()))
            .ok_or_else(|| NotAQuantity {
                found: text.to_owned(),
                wanted,
            })
    }
}

/// A length in metres, typed with its unit: `2m`, `3 mm`, `1/8in`, `2 1/2in`, `10ft`, `6ft 7 1/2in`, `6'7-1/2"`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Length(f64);

impl Length {
    /// A length of `metres`.
    pub fn from_m(metres: f64) -> Self {
        Self(metres)
    }

    /// A length of `millimetres`.
    pub fn from_mm(millimetres: f64) -> Self {
        Self(millimetres * MILLIMETRE)
    }

    /// In metres.
    pub fn m(self) -> f64 {
        self.0
    }
}

impl FromStr for Length {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> Result<Self, NotAQuantity> {
        let wanted = "a length with its unit, such as 2m, 3mm, 1/8in or 10ft";
        let fail = || NotAQuantity {
            found: text.to_owned(),
            wanted,
        };
        // Feet and inches: what stands behind the feet is a length of its own.
        let text = text.replace(['"', '\u{2033}'], "in");
        let text = text.replace(['\'', '\u{2032}'], "ft");
        let text = text.trim();
        let feet = text.find(|c: char| c.is_alphabetic()).and_then(|at| {
            let (feet, inches) = text.split_at_checked(at + "ft".len())?;
            let both = feet.ends_with("ft") && inches.trim_end().ends_with("in");
            both.then_some((feet, inches))
        });
        if let Some((feet, inches)) = feet {
            // One pair only: feet behind the feet would be parsed without end.
            if inches.contains("ft") {
                return Err(fail());
            }
            let (Self(feet), Self(inches)) = (feet.parse()?, inches.parse()?);
            let below_a_foot = (0.0..FOOT * (1.0 - 1e-9)).contains(&inches);
            return below_a_foot
                .then(|| Self(feet + inches.copysign(feet)))
                .ok_or_else(fail);
        }
        let (number, unit) = split_unit(text).ok_or_else(fail)?;
        let unit: LengthUnit = unit.parse().map_err(|_| fail())?;
        Ok(Self(fractional(number).ok_or_else(fail)? * unit.metres()))
    }
}

/// An area in square metres, typed as `3m2`, `40ft2` or `40 sq ft`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Area(pub f64);

impl FromStr for Area {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> Result<Self, NotAQuantity> {
        let wanted = "an area with its unit, such as 3m2 or 40ft2";
        let fail = || NotAQuantity {
            found: text.to_owned(),
            wanted,
        };
        let text = text.trim();
        let (number, unit) = match text.strip_suffix(['2', '²']) {
            Some(side) => split_unit(side).ok_or_else(fail)?,
            None => text.split_once("sq").ok_or_else(fail)?,
        };
        let (number, unit) = (number.trim(), unit.trim());
        let unit: LengthUnit = unit.parse().map_err(|_| fail())?;
        Ok(Self(
            fractional(number).ok_or_else(fail)? * unit.metres() * unit.metres(),
        ))
    }
}

/// A volume in cubic metres, typed as `30l`, `0.5ft3` or `5gal` (US).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Volume(pub f64);

impl FromStr for Volume {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> Result<Self, NotAQuantity> {
        let units = [
            ("l", LITRE),
            ("ml", LITRE * 1e-3),
            ("m3", 1.0),
            ("ft3", FOOT * FOOT * FOOT),
            ("gal", US_GALLON),
            ("qt", US_GALLON / 4.0),
        ];
        let wanted = "a volume with its unit, such as 30l, 0.5ft3 or 5gal";
        with_unit(text, &units, wanted).map(Self)
    }
}

/// A mass in kilograms, typed as `25kg`, `500g` or `50lb`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Mass(pub f64);

impl FromStr for Mass {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> Result<Self, NotAQuantity> {
        let units = [("kg", 1.0), ("g", 1e-3), ("lb", POUND)];
        with_unit(text, &units, "a mass with its unit, such as 25kg or 50lb").map(Self)
    }
}

/// A density in kilograms per cubic metre, typed as `2.0kg/l`, `2000kg/m3` or `125lb/ft3`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Density(pub f64);

impl FromStr for Density {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> Result<Self, NotAQuantity> {
        let units = [
            ("kg/l", 1.0 / LITRE),
            ("kg/m3", 1.0),
            ("lb/ft3", POUND / (FOOT * FOOT * FOOT)),
        ];
        let wanted = "a density with its unit, such as 2.0kg/l or 2000kg/m3";
        with_unit(text, &units, wanted).map(Self)
    }
}

/// A stretch of time in seconds, typed as `20min`, `3h` or `1day`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Duration(pub f64);

impl FromStr for Duration {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> Result<Self, NotAQuantity> {
        let units = [
            ("s", 1.0),
            ("min", MINUTE),
            ("h", HOUR),
            ("day", 24.0 * HOUR),
            ("days", 24.0 * HOUR),
        ];
        let wanted = "a time with its unit, such as 20min, 3h or 1day";
        with_unit(text, &units, wanted).map(Self)
    }
}

/// A share, typed as `5%` or `0.05`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Share(pub f64);

impl FromStr for Share {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> Result<Self, NotAQuantity> {
        let fail = || NotAQuantity {
            found: text.to_owned(),
            wanted: "a share such as 5%",
        };
        let (number, per) = match text.trim().strip_suffix('%') {
            Some(number) => (number, 100.0),
            None => (text, 1.0),
        };
        Ok(Self(fractional(number).ok_or_else(fail)? / per))
    }
}

/// So much for every metre of distance, typed as `0.05mm/m`, `1mm/20m`, `1/16in/100ft` or `1:80`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Rate(pub f64);

impl FromStr for Rate {
    type Err = NotAQuantity;

    fn from_str(text: &str) -> Result<Self, NotAQuantity> {
        let read = || {
            if let Some((over, under)) = text.split_once(':') {
                let (over, under) = (decimal(over)?, decimal(under)?);
                return (under > 0.0).then(|| Self(over / under));
            }
            let (over, under) = text.rsplit_once('/')?;
            let over: Length = over.parse().ok()?;
            let distance = match under.parse::<LengthUnit>() {
                Ok(unit) => unit.metres(),
                Err(_) => under.parse::<Length>().ok()?.m(),
            };
            (distance > 0.0).then(|| Self(over.m() / distance))
        };
        read().ok_or_else(|| NotAQuantity {
            found: text.to_owned(),
            wanted: "a length in a distance, such as 0.05mm/m or 1mm/20m, or a ratio such as 1:80",
        })
    }
}

/// A number times the worth of the unit that follows it, capitals or not.
fn with_unit(text: &str, units: &[(&str, f64)], wanted: &'static str) -> Result<f64, NotAQuantity> {
    let read = || {
        let (number, unit) = split_unit(text)?;
        let (_, worth) = units
            .iter()
            .find(|(symbol, _)| symbol.eq_ignore_ascii_case(unit.trim()))?;
        Some(fractional(number)? * worth)
    };
    read().ok_or_else(|| NotAQuantity {
        found: text.to_owned(),
        wanted,
    })
}

/// Splits `2.5 mm` into `2.5` and `mm`.
fn split_unit(text: &str) -> Option<(&str, &str)> {
    let text = text.trim();
    let at = text.find(|c: char| c.is_alphabetic())?;
    Some((&text[..at], &text[at..]))
}

/// A finite number: decimal, a fraction `1/8`, or a whole number and a fraction `2 1/2`.
fn fractional(text: &str) -> Option<f64> {
    let text = text.trim();
    // `2 1/2`, or `2-1/2` as carpenters write it.
    let parted = text.rsplit_once([' ', '-']);
    let (whole, fraction) = match parted.filter(|(whole, _)| !whole.is_empty()) {
        Some((whole, fraction)) if fraction.contains('/') => (Some(whole), fraction),
        Some(_) => return None,
        None => (None, text),
    };
    let part = match fraction.split_once('/') {
        Some((over, under)) => decimal(over)? / decimal(under)?,
        None => decimal(fraction)?,
    };
    let number = match whole {
        Some(whole) => {
            let whole = decimal(whole)?;
            whole + part.copysign(whole)
        }
        None => part,
    };
    number.is_finite().then_some(number)
}

/// A plain decimal number. `inf`, `nan` and the like are no measurement.
fn decimal(text: &str) -> Option<f64> {
    let text = text.trim();
    let plain = text
        .bytes()
        .all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.'));
    plain.then(|| text.parse().ok()).flatten()
}

/// The system of units that results are shown in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum System {
    /// millimetres, metres, litres, kilograms
    #[default]
    Metric,
    /// thirty-seconds of an inch, feet and inches, litres with US gallons, pounds
    Imperial,
}

impl System {
    /// A height, gap or depth: `3.2 mm`, or the nearest 1/32 inch, below which no tape reads: thousandths, as feeler
    /// gauges have them.
    pub fn height(self, metres: f64) -> String {
        match self {
            Self::Metric => format!("{:.1} mm", no_minus_zero(metres / MILLIMETRE, 1)),
            Self::Imperial => format!("{} in", fine_inches(metres / INCH)),
        }
    }

    /// What is finer than a height is shown: `0.12 mm`, or thousandths of an inch.
    pub fn fine_height(self, metres: f64) -> String {
        match self {
            Self::Metric => format!("{:.2} mm", metres / MILLIMETRE),
            Self::Imperial => format!("{:.3} in", metres / INCH),
        }
    }

    /// A height with its sign, for what may be above or below.
    pub fn signed_height(self, metres: f64) -> String {
        let text = self.height(metres.abs());
        let nothing = text.starts_with("0.0 ") || text.starts_with("0 ");
        match (nothing, metres < 0.0) {
            (true, _) => text,
            (false, true) => format!("-{text}"),
            (false, false) => format!("+{text}"),
        }
    }

    /// A distance on the plan: `3.25 m`, or feet and inches.
    pub fn plan(self, metres: f64) -> String {
        match self {
            Self::Metric => format!("{:.2} m", no_minus_zero(metres, 2)),
            Self::Imperial => feet_and_inches(metres),
        }
    }

    /// A position on the plan: `x 3.25 y 0.50 m`.
    pub fn place(self, x: f64, y: f64) -> String {
        match self {
            Self::Metric => format!(
                "x {:.2}, y {:.2} m",
                no_minus_zero(x, 2),
                no_minus_zero(y, 2)
            ),
            Self::Imperial => format!("x {}, y {}", feet_and_inches(x), feet_and_inches(y)),
        }
    }

    /// A level or a reading as a level book has it: `101.305`, in [`Self::level_unit`].
    pub fn level(self, metres: f64) -> String {
        match self {
            Self::Metric => format!("{:.3}", no_minus_zero(metres, 3)),
            Self::Imperial => format!("{:.3}", no_minus_zero(metres / FOOT, 3)),
        }
    }

    /// The unit of [`Self::level`].
    pub fn level_unit(self) -> &'static str {
        match self {
            Self::Metric => "m",
            Self::Imperial => "ft",
        }
    }

    /// A slight slope, such as that of a line of sight: `0.050 mm/m`, or thousandths of an inch in ten feet.
    pub fn slight_slope(self, slope: f64) -> String {
        match self {
            Self::Metric => format!("{:.3} mm/m", no_minus_zero(slope / MILLIMETRE, 3)),
            Self::Imperial => {
                let inches = no_minus_zero(slope * 10.0 * FOOT / INCH, 3);
                format!("{inches:.3} in in 10 ft")
            }
        }
    }

    /// An area: `12.3 m²`, or square feet.
    pub fn area(self, square_metres: f64) -> String {
        match self {
            Self::Metric => format!("{square_metres:.1} m²"),
            Self::Imperial => format!("{:.0} ft²", square_metres / (FOOT * FOOT)),
        }
    }

    /// A volume: `12.3 l`, or US gallons (231 cubic inches, exact).
    pub fn volume(self, cubic_metres: f64) -> String {
        match self {
            Self::Metric => format!("{:.1} l", cubic_metres / LITRE),
            Self::Imperial if cubic_metres.abs() < QUARTS_BELOW * US_GALLON => {
                format!("{:.2} qt", cubic_metres / (0.25 * US_GALLON))
            }
            Self::Imperial => format!("{:.1} gal", cubic_metres / US_GALLON),
        }
    }

    /// Liquid as it is measured out: to the hundredth of a litre where a tenth is not what the sheet says, `4.25 l`, `4.0 l`.
    pub fn jug(self, cubic_metres: f64) -> String {
        match self {
            Self::Metric => {
                let hundredths = format!("{:.2}", cubic_metres / LITRE);
                format!("{} l", hundredths.strip_suffix('0').unwrap_or(&hundredths))
            }
            Self::Imperial => self.volume(cubic_metres),
        }
    }

    /// A mass: `25 kg`, or pounds (0.45359237 kg, exact).
    pub fn mass(self, kilograms: f64) -> String {
        match self {
            Self::Metric => format!("{kilograms:.1} kg"),
            Self::Imperial => format!("{:.1} lb", kilograms / POUND),
        }
    }

    /// A fall: `2.1 mm per m`, or inches in ten feet.
    pub fn slope(self, slope: f64) -> String {
        match self {
            Self::Metric => format!("{:.2} mm/m", no_minus_zero(slope / MILLIMETRE, 2)),
            Self::Imperial => format!("{} in in 10 ft", fine_inches(slope * 10.0 * FOOT / INCH)),
        }
    }
}

/// Adding zero turns the minus zero that rounding would show into zero.
fn no_minus_zero(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    (value * scale).round() / scale + 0.0
}

/// Inches as a site reads them off a tape: whole and thirty-seconds in lowest terms; thousandths below the first.
fn fine_inches(inches: f64) -> String {
    let thousandths = (inches * 1e3).round() / 1e3 + 0.0;
    if thousandths != 0.0 && inches.abs() * 32.0 < 1.0 - 1e-9 {
        return format!("{thousandths:.3}");
    }
    let count = (inches.abs() * 32.0).round() as u64;
    let sign = if inches < 0.0 && count > 0 { "-" } else { "" };
    let (whole, mut over, mut under) = (count / 32, count % 32, 32);
    while over > 0 && over % 2 == 0 {
        (over, under) = (over / 2, under / 2);
    }
    match (whole, over) {
        (_, 0) => format!("{sign}{whole}"),
        (0, _) => format!("{sign}{over}/{under}"),
        _ => format!("{sign}{whole} {over}/{under}"),
    }
}

fn feet_and_inches(metres: f64) -> String {
    let inches = (metres.abs() / INCH).round() as u64;
    let sign = if metres < 0.0 && inches > 0 { "-" } else { "" };
    format!("{sign}{} ft {} in", inches / 12, inches % 12)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_read_with_their_unit() {
        let cases = [
            ("2m", 2.0),
            ("3mm", 0.003),
            (" 3 mm ", 0.003),
            ("1/8in", 0.003175),
            ("2 1/2in", 0.0635),
            ("-2 1/2in", -0.0635),
            ("10ft", 3.048),
            ("-12.5cm", -0.125),
            ("6ft 7 1/2in", 2.0193),
            ("6 ft 7 1/2 in", 2.0193),
            ("-1ft 6in", -0.4572),
            ("1/4\"", 0.00635),
            ("6'6\"", 1.9812),
            ("6'7-1/2\"", 2.0193),
            ("1-3/8in", 0.034925),
        ];
        for (text, metres) in cases {
            let length: Length = text.parse().expect(text);
            assert!((length.m() - metres).abs() < 1e-15, "{text}");
        }
    }

    #[test]
    fn what_is_no_length_is_refused() {
        for text in [
            "2", "m", "", "2 m m", "1ft 12in", "1ft -2in", "1ft 2ft", "1ft in", "1/0in", "nanmm",
            "infm", "1e400m", "2x", "1,5m", "1/8",
        ] {
            assert!(text.parse::<Length>().is_err(), "{text}");
        }
    }

    #[test]
    fn areas_volumes_and_shares() {
        assert_eq!("3m2".parse(), Ok(Area(3.0)));
        assert_eq!("32sqft".parse::<Area>(), "32 ft²".parse());
        assert_eq!("1 1/2 sq m".parse(), Ok(Area(1.5)));
        for text in ["sqft", "3sq", "3sqft2", "3 sqm m", "sq"] {
            assert!(text.parse::<Area>().is_err(), "{text}");
        }
        assert_eq!("30l".parse(), Ok(Volume(0.03)));
        assert_eq!("5%".parse(), Ok(Share(0.05)));
        assert_eq!("1 gal".parse(), Ok(Volume(3.785411784e-3)));
        assert_eq!("50 lb".parse(), Ok(Mass(22.6796185)));
        assert_eq!("2.0 kg/l".parse(), Ok(Density(2000.0)));
        assert_eq!("1.5 h".parse(), Ok(Duration(5400.0)));
        assert!("3m".parse::<Area>().is_err());
        assert!("20 m".parse::<Duration>().is_err());
        assert!("30".parse::<Volume>().is_err());
    }

    #[test]
    fn feet_behind_feet_without_end_are_no_length() {
        let text = "1ft".repeat(100_000) + "1in";
        assert!(text.parse::<Length>().is_err());
        assert!("1ft 1ft 1in".parse::<Length>().is_err());
    }

    #[test]
    fn rates_are_a_length_in_a_distance() {
        for (text, rate) in [
            ("0.05mm/m", 5e-5),
            ("1mm/20m", 5e-5),
            ("-1.5 mm / 30 m", -5e-5),
            ("1/16in/100ft", 1.0 / 19200.0),
            ("1:80", 0.0125),
        ] {
            let Rate(found) = text.parse().expect(text);
            assert!((found - rate).abs() < 1e-18, "{text}: {found}");
        }
        for text in [
            "0.05", "1:0", "1:", "1mm", "mm/m", "1mm/0m", "1mm/-2m", "1/16in", "1mm/s",
        ] {
            assert!(text.parse::<Rate>().is_err(), "{text}");
        }
    }

    #[test]
    fn shown_lengths() {
        assert_eq!(System::Metric.height(0.00324), "3.2 mm");
        assert_eq!(System::Metric.signed_height(-0.00001), "0.0 mm");
        assert_eq!(System::Metric.jug(2.75e-3), "2.75 l");
        assert_eq!(System::Metric.jug(3.0 * 5.5e-3), "16.5 l");
        assert_eq!(System::Metric.jug(4e-3), "4.0 l");
        assert_eq!(System::Metric.signed_height(-0.0031), "-3.1 mm");
        assert_eq!(System::Imperial.height(0.003175), "1/8 in");
        assert_eq!(System::Imperial.height(0.0635), "2 1/2 in");
        assert_eq!(System::Imperial.height(INCH / 32.0), "1/32 in");
        assert_eq!(System::Imperial.height(-0.0004), "-0.016 in");
        assert_eq!(System::Imperial.height(0.000001), "0 in");
        assert_eq!(System::Imperial.plan(3.2512), "10 ft 8 in");
    }
}
