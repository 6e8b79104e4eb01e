//! Readings by the place they were taken at.
//!
//! In: readings in the survey's coordinates, the origin to subtract. Out: [`Mark`]s in local coordinates, one a place,
//! sorted by y and x whatever the order of the readings. Readings taken twice at one place are averaged: their mean has
//! the uncertainty u / sqrt(n), and where they disagree the user is told.

use std::collections::HashMap;

use crate::error::{Error, Result, Warning};
use crate::survey::Reading;
use crate::units::System;

/// Readings closer to each other on the plan than this were taken at one place, m.
const ONE_PLACE: f64 = 1e-3;
/// Readings at one place that differ by more than this many standard uncertainties are worth a warning.
const DIFFERENT: f64 = 3.0;
/// Positions are rounded to this, m.
const MICROMETRE: f64 = 1e-6;
/// Readings whose farthest is off their best line by less than this share of their usual distance are on one line.
const ON_A_LINE: f64 = 0.02;

/// A place with a height: one reading, or the mean of those taken there. Local coordinates.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mark {
    /// m
    pub x: f64,
    /// m
    pub y: f64,
    /// m
    pub z: f64,
    /// Standard uncertainty of `z`, m.
    pub u: f64,
    /// Index of the first of its readings in the survey.
    pub first: usize,
    /// Number of its readings.
    pub count: usize,
}

/// The name of a reading, or its number from 1.
pub(super) fn name(reading: &Reading, number: usize) -> String {
    reading.name.clone().unwrap_or_else(|| number.to_string())
}

/// The readings by place, sorted by y and x, with a warning where readings at one place disagree.
pub(super) fn marks(
    readings: &[Reading],
    u: f64,
    origin: [f64; 3],
    warnings: &mut Vec<Warning>,
) -> Vec<Mark> {
    let local =
        |value: f64, axis: usize| ((value - origin[axis]) / MICROMETRE).round() * MICROMETRE;
    let points: Vec<[f64; 3]> = readings
        .iter()
        .map(|r| [local(r.x, 0), local(r.y, 1), r.z - origin[2]])
        .collect();
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|&i, &j| {
        let ([xi, yi, zi], [xj, yj, zj]) = (points[i], points[j]);
        yi.total_cmp(&yj)
            .then(xi.total_cmp(&xj))
            .then(zi.total_cmp(&zj))
    });
    let places = places(&points, &order);
    warnings.extend(disagreement(readings, &points, &places, u));
    let mut marks: Vec<Mark> = places
        .iter()
        .map(|place| {
            let count = place.len() as f64;
            let mean = |axis: usize| place.iter().map(|&i| points[i][axis]).sum::<f64>() / count;
            Mark {
                x: mean(0),
                y: mean(1),
                z: mean(2),
                u: u / count.sqrt(),
                first: place.iter().copied().min().unwrap_or(0),
                count: place.len(),
            }
        })
        .collect();
    marks.sort_by(|a, b| a.y.total_cmp(&b.y).then(a.x.total_cmp(&b.x)));
    marks
}

/// Groups points within [`ONE_PLACE`] of the first of them in `order`.
fn places(points: &[[f64; 3]], order: &[usize]) -> Vec<Vec<usize>> {
    let mut places: Vec<Vec<usize>> = Vec::new();
    let mut nearby: HashMap<[i64; 2], Vec<usize>> = HashMap::new();
    for &point in order {
        let [x, y, _] = points[point];
        let square = [x, y].map(|value| (value / ONE_PLACE).floor() as i64);
        let taken = (-1..=1)
            .flat_map(|dx| (-1..=1).map(move |dy| [square[0] + dx, square[1] + dy]))
            .filter_map(|square| nearby.get(&square))
            .flatten()
            .copied()
            .find(|&place| {
                let [px, py, _] = points[places[place][0]];
                (px - x).hypot(py - y) <= ONE_PLACE
            });
        match taken {
            Some(place) => places[place].push(point),
            None => {
                nearby.entry(square).or_default().push(places.len());
                places.push(vec![point]);
            }
        }
    }
    places
}

/// What the user should know about readings at one place that differ.
fn disagreement(
    readings: &[Reading],
    points: &[[f64; 3]],
    places: &[Vec<usize>],
    u: f64,
) -> Option<Warning> {
    let spread = |place: &Vec<usize>| {
        let by_height = |&&i: &&usize, &&j: &&usize| points[i][2].total_cmp(&points[j][2]);
        let (low, high) = (
            place.iter().min_by(by_height)?,
            place.iter().max_by(by_height)?,
        );
        Some((points[*high][2] - points[*low][2], *low, *high))
    };
    let different: Vec<_> = places
        .iter()
        .filter_map(spread)
        .filter(|(by, _, _)| *by > DIFFERENT * u)
        .collect();
    let (by, low, high) = different.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let name = |index: usize| name(&readings[index], index + 1);
    Some(Warning(format!(
        "readings taken twice at one place differ at {}, most at {}: {} between readings {} and {}; their mean \
         is used",
        plural(different.len(), "place"),
        System::Metric.place(readings[*low].x, readings[*low].y),
        System::Metric.height(*by),
        name(*low),
        name(*high),
    )))
}

pub(super) fn plural(count: usize, noun: &str) -> String {
    format!("{count} {noun}{}", if count == 1 { "" } else { "s" })
}

/// Three places at least, and not on one line.
pub(super) fn spread_out(marks: &[Mark]) -> Result<()> {
    let count = marks.len() as f64;
    if marks.len() < 3 {
        let found = format!("readings at {}", plural(marks.len(), "place"));
        return Err(Error::floor(found, "readings at three places or more"));
    }
    let (mx, my) = (
        marks.iter().map(|mark| mark.x).sum::<f64>() / count,
        marks.iter().map(|mark| mark.y).sum::<f64>() / count,
    );
    let sum = |of: fn(f64, f64) -> f64| marks.iter().map(|m| of(m.x - mx, m.y - my)).sum::<f64>();
    let (xx, xy, yy) = (sum(|x, _| x * x), sum(|x, y| x * y), sum(|_, y| y * y));
    // The direction in which the readings spread most (principal axis of the second moments).
    let (sin, cos) = (0.5 * (2.0 * xy).atan2(xx - yy)).sin_cos();
    let (mut first, mut last, mut off) = (f64::INFINITY, f64::NEG_INFINITY, 0f64);
    for mark in marks {
        let (x, y) = (mark.x - mx, mark.y - my);
        first = first.min(x * cos + y * sin);
        last = last.max(x * cos + y * sin);
        off = off.max((y * cos - x * sin).abs());
    }
    if off < ON_A_LINE * (last - first) / (count - 1.0) {
        return Err(Error::floor(
            "readings on one line",
            "readings spread over the floor",
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places_of(points: &[[f64; 3]]) -> Vec<Vec<usize>> {
        places(points, &(0..points.len()).collect::<Vec<_>>())
    }

    #[test]
    fn one_place_is_a_millimetre_wide() {
        // The first two stand in different squares of the search; the fourth is too far from the first.
        let points = [[0.9e-3, 0.0], [1.85e-3, -1e-4], [0.5, 0.5], [2.0e-3, 0.0]];
        let points = points.map(|[x, y]| [x, y, 0.0]);
        assert_eq!(places_of(&points), [vec![0, 1], vec![2], vec![3]]);
    }

    #[test]
    fn a_narrow_floor_is_no_line() {
        let mark = |x: f64, y: f64| Mark {
            x,
            y,
            z: 0.0,
            u: 1e-3,
            first: 0,
            count: 1,
        };
        let corridor = (0..60).map(|i| mark(f64::from(i / 2) * 0.5, f64::from(i % 2) * 0.4));
        assert!(spread_out(&corridor.collect::<Vec<_>>()).is_ok());
        let line = (0..60).map(|i| mark(f64::from(i) * 0.5, f64::from(i % 2) * 0.004));
        assert!(spread_out(&line.collect::<Vec<_>>()).is_err());
    }
}
