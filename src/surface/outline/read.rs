//! The two ways an outline is written down.
//!
//! In: delimited text with a header (`x`, `y` with an optional unit, metres where none stands: `x_m,y_m,ring`), or
//! GeoJSON (Polygon, Feature, or FeatureCollection of one; plan metres). Out: rings of corners in metres, the wall line
//! first. Lines are known for text; GeoJSON names the ring and the corner instead.

use geo::Coord;
use serde_json::Value;

use super::{Corner, MOST_CORNERS, Ring};
use crate::error::{Error, Place, Result};
use crate::survey::{FARTHEST, Source, WITHIN_REACH};
use crate::units::LengthUnit;

/// A file longer than this is no outline, bytes.
const LONGEST: u64 = 4 << 20;

/// The rings of the outline in `source`, the wall line first.
pub(super) fn rings(source: &Source) -> Result<Vec<Ring>> {
    let place = source.place();
    let length = source.size()?;
    if length > LONGEST {
        let found = format!("a file of {length} bytes");
        return Err(Error::input(place, found, "the outline of a room"));
    }
    let bytes = std::fs::read(source.path()).map_err(|error| source.read_error(error))?;
    let text = std::str::from_utf8(&bytes)
        .map_err(|_| Error::input(place.clone(), "bytes that are no text", WANTED))?;
    let text = text.trim_start_matches('\u{feff}');
    if text.trim_start().starts_with('{') {
        geojson(&place, text)
    } else {
        delimited(&place, text)
    }
}

const WANTED: &str = "an outline: x,y text with a header such as x_m,y_m, or a GeoJSON polygon";

/// What a column of the text holds.
struct Columns {
    x: (usize, LengthUnit),
    y: (usize, LengthUnit),
    ring: Option<usize>,
    delimiter: Option<char>,
}

fn delimited(place: &Place, text: &str) -> Result<Vec<Ring>> {
    let mut lines = (1..)
        .zip(text.lines())
        .filter(|(_, line)| !line.trim().is_empty() && !line.starts_with('#'));
    let (number, header) = lines
        .next()
        .ok_or_else(|| Error::input(place.clone(), "an empty file", WANTED))?;
    let columns = columns(&at(place, number), header)?;
    let mut rings: Vec<(String, Ring)> = Vec::new();
    for (number, line) in lines.take(MOST_CORNERS + 1) {
        let place = at(place, number);
        let cells = cells(line, columns.delimiter);
        let corner = Corner {
            at: Coord {
                x: coordinate(&place, "x", &cells, columns.x, columns.delimiter)?,
                y: coordinate(&place, "y", &cells, columns.y, columns.delimiter)?,
            },
            line: Some(number),
        };
        let name = columns.ring.and_then(|ring| cells.get(ring).copied());
        let name = name.unwrap_or_default();
        match rings.iter_mut().find(|(ring, _)| ring == name) {
            Some((_, ring)) => ring.push(corner),
            None => rings.push((name.to_owned(), vec![corner])),
        }
    }
    if let Some(wall) = rings.iter().position(|(name, _)| name == "0") {
        rings.swap(0, wall);
    }
    Ok(rings.into_iter().map(|(_, ring)| ring).collect())
}

fn at(place: &Place, line: u64) -> Place {
    Place {
        line: Some(line),
        ..place.clone()
    }
}

/// Splits a line at the delimiter, or at runs of spaces where there is none.
fn cells(line: &str, delimiter: Option<char>) -> Vec<&str> {
    match delimiter {
        Some(delimiter) => line.split(delimiter).map(str::trim).collect(),
        None => line.split_whitespace().collect(),
    }
}

fn columns(place: &Place, header: &str) -> Result<Columns> {
    let delimiter = [';', '\t', ','].into_iter().find(|&d| header.contains(d));
    let names = cells(header, delimiter);
    let wanted = "a header with the columns x and y, such as x_m,y_m";
    let missing = || Error::input(place.clone(), format!("'{}'", header.trim()), wanted);
    let find = |wanted: &str| {
        names.iter().enumerate().find_map(|(index, name)| {
            let name = name.to_ascii_lowercase();
            let (quantity, unit) = name.split_once('_').unwrap_or((&name, "m"));
            (quantity == wanted).then(|| (index, unit.to_owned()))
        })
    };
    let length = |wanted: &str| {
        let (index, unit) = find(wanted).ok_or_else(missing)?;
        let unit = unit.parse::<LengthUnit>().map_err(|error| {
            let place = place.clone().column(format!("{wanted}_{unit}"));
            Error::input(place, format!("'{}'", error.found), error.wanted)
        })?;
        Ok((index, unit))
    };
    Ok(Columns {
        x: length("x")?,
        y: length("y")?,
        ring: find("ring").map(|(index, _)| index),
        delimiter,
    })
}

/// The number in a cell, in metres. A comma is a decimal comma where it does not part the cells.
fn coordinate(
    place: &Place,
    name: &str,
    cells: &[&str],
    (index, unit): (usize, LengthUnit),
    delimiter: Option<char>,
) -> Result<f64> {
    let cell = cells.get(index).copied().unwrap_or_default();
    let number = match delimiter {
        Some(',') => cell.parse::<f64>(),
        Some(_) | None => cell.replace(',', ".").parse::<f64>(),
    };
    let place = place.clone().column(name);
    let found = format!("'{cell}'");
    match number.map(|number| number * unit.metres()) {
        Ok(metres) if metres.abs() <= FARTHEST => Ok(metres),
        Ok(_) => Err(Error::input(place, found, WITHIN_REACH)),
        Err(_) => Err(Error::input(place, found, "a number")),
    }
}

fn geojson(place: &Place, text: &str) -> Result<Vec<Ring>> {
    let document: Value = serde_json::from_str(text).map_err(|error| {
        let place = at(place, error.line() as u64);
        Error::input(place, format!("broken JSON: {error}"), WANTED)
    })?;
    let wrong = |found: String, wanted: &str| Error::input(place.clone(), found, wanted);
    let polygon = polygon(&document).map_err(|found| wrong(found, "GeoJSON with one Polygon"))?;
    let rings = polygon
        .get("coordinates")
        .and_then(Value::as_array)
        .ok_or_else(|| wrong("a Polygon without coordinates".to_owned(), WANTED))?;
    let mut read = Vec::new();
    for (number, ring) in rings.iter().enumerate() {
        let corners = ring.as_array().map(Vec::as_slice).unwrap_or_default();
        let ring: Option<Ring> = corners.iter().map(corner).collect();
        read.push(ring.ok_or_else(|| {
            let bad = corners.iter().position(|c| corner(c).is_none());
            let bad = bad.map_or(0, |index| index + 1);
            wrong(
                format!("corner {bad} of ring {number}"),
                "two finite numbers, in plan metres",
            )
        })?);
    }
    Ok(read)
}

fn corner(value: &Value) -> Option<Corner> {
    let number = |index| {
        let number = value.get(index)?.as_f64()?;
        (number.abs() <= FARTHEST).then_some(number)
    };
    Some(Corner {
        at: Coord {
            x: number(0)?,
            y: number(1)?,
        },
        line: None,
    })
}

/// The one polygon of a GeoJSON document; else what it is.
fn polygon(value: &Value) -> std::result::Result<&Value, String> {
    let member = |name: &str| value.get(name).unwrap_or(&Value::Null);
    match member("type").as_str() {
        Some("Polygon") => Ok(value),
        Some("Feature") => match member("geometry") {
            Value::Object(_) => polygon(member("geometry")),
            _ => Err("a Feature without a geometry".to_owned()),
        },
        Some("FeatureCollection") => match member("features").as_array().map(Vec::as_slice) {
            Some([feature]) => polygon(feature),
            Some(features) => Err(format!("{} features", features.len())),
            None => Err("a FeatureCollection without features".to_owned()),
        },
        Some(other) => Err(format!("a {other}")),
        None => Err("JSON without a type".to_owned()),
    }
}
