//! What options are parsed into.

use crate::findings::Reference;
use crate::survey::{FORMATS, Up};
use crate::units::{Length, Rate, Volume};

pub(super) fn length(text: &str) -> std::result::Result<f64, String> {
    text.parse::<Length>()
        .map(Length::m)
        .map_err(|error| error.to_string())
}

pub(super) fn positive_length(text: &str) -> std::result::Result<f64, String> {
    length(text).and_then(|metres| {
        if metres > 0.0 {
            Ok(metres)
        } else {
            Err("wanted a length above zero".to_owned())
        }
    })
}

pub(super) fn positive_volume(text: &str) -> std::result::Result<f64, String> {
    let Volume(volume) = text.parse::<Volume>().map_err(|error| error.to_string())?;
    if volume > 0.0 {
        Ok(volume)
    } else {
        Err("wanted a volume above zero".to_owned())
    }
}

pub(super) fn positive_rate(text: &str) -> std::result::Result<f64, String> {
    let Rate(rate) = text.parse::<Rate>().map_err(|error| error.to_string())?;
    if rate > 0.0 {
        Ok(rate)
    } else {
        Err("wanted a rate above zero".to_owned())
    }
}

/// A place on the plan, m: `3.2,1.4`, or with units.
pub(super) fn place(text: &str) -> std::result::Result<[f64; 2], String> {
    let coordinate = |text: &str| {
        let metres = text.trim().parse::<f64>().ok().or(length(text).ok());
        metres.filter(|metres| metres.is_finite())
    };
    let both = || {
        let (x, y) = text.split_once(',')?;
        Some([coordinate(x)?, coordinate(y)?])
    };
    both().ok_or_else(|| "wanted x and y in metres, such as 3.2,1.4".to_owned())
}

pub(super) fn format_name(text: &str) -> std::result::Result<&'static str, String> {
    let names = || FORMATS.iter().map(|format| format.name);
    names()
        .find(|name| *name == text)
        .ok_or_else(|| format!("wanted one of {}", names().collect::<Vec<_>>().join(", ")))
}

pub(super) fn up(text: &str) -> std::result::Result<Up, String> {
    one_of(&Up::ALL, text)
}

pub(super) fn reference(text: &str) -> std::result::Result<Reference, String> {
    one_of(&Reference::ALL, text)
}

pub(super) fn one_of<T: Copy>(all: &[(&str, T)], text: &str) -> std::result::Result<T, String> {
    let names = || {
        all.iter()
            .map(|(name, _)| *name)
            .collect::<Vec<_>>()
            .join(", ")
    };
    all.iter()
        .find(|(name, _)| *name == text)
        .map(|(_, value)| *value)
        .ok_or_else(|| format!("wanted one of {}", names()))
}
