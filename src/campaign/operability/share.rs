//! Shares of time from limiting heights: heights within a class, headings, speeds.
//!
//! # Equation
//! ```text
//! part of a class [a, b] below H        clamp((H - a)/(b - a), 0, 1)
//! share = sum over classes of occurrence x part;  certain: H = min(limit, trusted height)
//! weight of a heading = density(mu) x half the way to its neighbours on the circle
//! ```
//!
//! # Symbols
//! H height (m), mu wave heading (deg); density linear between the headings given.
//!
//! # Valid when
//! Heights are spread evenly within their class; the period of a class is its middle.
//!
//! # Source
//! Definition.
//!
//! # Checked by
//! `parts_of_a_class`, `headings_share_the_circle` (here); `the_share_is_the_hand_sum` (tests/operability.rs).

use serde::Serialize;

use super::LimitCell;
use crate::spec::scatter::{HeadingShareSpec, ScatterSpec};

/// Share of time in which the craft can work.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Share {
    /// By the limits as found.
    pub workable: f64,
    /// What is certain: heights below the limit and trusted.
    pub least: f64,
    /// What cannot be ruled out: all but heights above a trusted limit.
    pub most: f64,
    /// Share of time in seas for which the spectral method cannot be trusted.
    pub untrusted: f64,
    /// Share of time with an unstable loop; part of the above.
    pub unstable: f64,
}

impl Share {
    fn add(&mut self, weight: f64, other: Share) {
        self.workable += weight * other.workable;
        self.least += weight * other.least;
        self.most += weight * other.most;
        self.untrusted += weight * other.untrusted;
        self.unstable += weight * other.unstable;
    }

    /// The weighted mean.
    pub fn mean(all: impl Iterator<Item = (f64, Share)>) -> Share {
        let (mut sum, mut total) = (Share::default(), 0.0);
        for (w, s) in all {
            sum.add(w, s);
            total += w;
        }
        let mut out = Share::default();
        if total > 0.0 {
            out.add(1.0 / total, sum);
        }
        out
    }
}

/// Part of a class of heights that lies below `height_m`.
pub fn part_below([low, high]: [f64; 2], height_m: f64) -> f64 {
    ((height_m - low) / (high - low)).clamp(0.0, 1.0)
}

/// The share of one class of heights in the sea state column of `cell`.
pub fn of_class(class: [f64; 2], cell: &LimitCell) -> Share {
    if cell.unstable {
        return Share {
            most: 1.0,
            untrusted: 1.0,
            unstable: 1.0,
            ..Share::default()
        };
    }
    let limit = if cell.beyond {
        f64::INFINITY
    } else {
        cell.limit_hs_m
    };
    let workable = part_below(class, limit);
    if cell.trusted {
        return Share {
            workable,
            least: workable,
            most: workable,
            ..Share::default()
        };
    }
    let least = part_below(class, cell.trusted_to_m.min(limit));
    Share {
        workable,
        least,
        most: 1.0,
        untrusted: 1.0 - least,
        unstable: 0.0,
    }
}

/// The share of one speed, heading and law over the whole diagram; `cells` by column, none where
/// a period never occurs.
pub fn of_diagram(scatter: &ScatterSpec, cells: &[Option<&LimitCell>]) -> Share {
    let mut classes = Vec::new();
    for (i, row) in scatter.occurrences.iter().enumerate() {
        let class = [scatter.hs_edges_m[i], scatter.hs_edges_m[i + 1]];
        for (n, cell) in row.iter().zip(cells) {
            if let Some(cell) = cell.filter(|_| *n > 0.0) {
                classes.push((*n, of_class(class, cell)));
            }
        }
    }
    Share::mean(classes.into_iter())
}

/// A heading of the whole circle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Sector {
    /// Heading, deg.
    pub heading_deg: f64,
    /// Its place among the headings evaluated.
    pub index: usize,
    /// Share of time.
    pub share: f64,
    /// From and to, half way to the neighbours, deg; `to` above `from`.
    pub span_deg: [f64; 2],
}

/// Headings around the circle with their shares of time; `mirrored`: those of one side stand for
/// the other too.
pub fn sectors(headings_deg: &[f64], mirrored: bool, shares: &[HeadingShareSpec]) -> Vec<Sector> {
    let mut all: Vec<(f64, usize)> = Vec::new();
    let mut put = |deg: f64, index: usize| {
        let deg = deg.rem_euclid(360.0);
        if all.iter().all(|a| (a.0 - deg).abs() > 1e-9) {
            all.push((deg, index));
        }
    };
    for (i, h) in headings_deg.iter().enumerate() {
        put(*h, i);
    }
    for (i, h) in headings_deg.iter().enumerate().filter(|_| mirrored) {
        put(360.0 - h, i);
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = all.len();
    let mut out: Vec<Sector> = (0..n)
        .map(|k| {
            let here = all[k].0;
            let before = if k == 0 {
                all[n - 1].0 - 360.0
            } else {
                all[k - 1].0
            };
            let after = if k + 1 == n {
                all[0].0 + 360.0
            } else {
                all[k + 1].0
            };
            let span = [0.5 * (before + here), 0.5 * (here + after)];
            Sector {
                heading_deg: here,
                index: all[k].1,
                share: density(here, shares) * (span[1] - span[0]),
                span_deg: span,
            }
        })
        .collect();
    let total: f64 = out.iter().map(|s| s.share).sum();
    for s in &mut out {
        s.share = if total > 0.0 {
            s.share / total
        } else {
            1.0 / n as f64
        };
    }
    out
}

/// Linear between the headings given, around the circle.
fn density(deg: f64, shares: &[HeadingShareSpec]) -> f64 {
    let mut given: Vec<(f64, f64)> = shares
        .iter()
        .map(|s| (s.heading_deg.rem_euclid(360.0), s.share))
        .collect();
    given.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (Some(first), Some(last)) = (given.first().copied(), given.last().copied()) else {
        return 1.0;
    };
    let after = given.iter().position(|g| g.0 > deg);
    let (a, b) = match after {
        Some(0) => ((last.0 - 360.0, last.1), given[0]),
        Some(k) => (given[k - 1], given[k]),
        None => (last, (first.0 + 360.0, first.1)),
    };
    a.1 + (b.1 - a.1) * (deg - a.0) / (b.0 - a.0)
}

/// Share of time of each speed; all alike without a profile.
///
/// Speeds of the profile that are not evaluated are told by the caller.
pub fn speed_shares(scatter: &ScatterSpec, speeds_kn: &[f64]) -> Vec<f64> {
    if scatter.speeds.is_empty() {
        return vec![1.0 / speeds_kn.len() as f64; speeds_kn.len()];
    }
    let of = |v: f64| {
        let found = scatter
            .speeds
            .iter()
            .find(|s| (s.speed_kn - v).abs() < 1e-9);
        found.map_or(0.0, |s| s.share)
    };
    let all: Vec<f64> = speeds_kn.iter().map(|v| of(*v)).collect();
    let total: f64 = all.iter().sum();
    all.iter().map(|s| s / total).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_of_a_class() {
        assert!(part_below([1.0, 2.0], 0.5) == 0.0);
        assert!((part_below([1.0, 2.0], 1.25) - 0.25).abs() < 1e-15);
        assert!((part_below([1.0, 2.0], f64::INFINITY) - 1.0).abs() < 1e-15);
    }

    #[test]
    fn headings_share_the_circle() {
        let all = sectors(&[180.0, 90.0, 0.0], true, &[]);
        let told: Vec<(f64, usize, f64)> = all
            .iter()
            .map(|s| (s.heading_deg, s.index, s.share))
            .collect();
        assert_eq!(
            told,
            [
                (0.0, 2, 0.25),
                (90.0, 1, 0.25),
                (180.0, 0, 0.25),
                (270.0, 1, 0.25)
            ]
        );
        // uneven steps: 0, 30, 180 and 330: widths 30, 90, 150, 90
        let all = sectors(&[0.0, 30.0, 180.0], true, &[]);
        assert!((all[2].share - 150.0 / 360.0).abs() < 1e-15);
        let share = |heading_deg, share| HeadingShareSpec { heading_deg, share };
        let half = [share(0.0, 3.0), share(180.0, 1.0)];
        let all = sectors(&[180.0, 90.0, 0.0], true, &half);
        let told: Vec<f64> = all.iter().map(|s| s.share).collect();
        assert_eq!(told, [3.0 / 8.0, 2.0 / 8.0, 1.0 / 8.0, 2.0 / 8.0]);
        let [from, to] = sectors(&[90.0], false, &[])[0].span_deg;
        assert!((from + 90.0).abs() < 1e-12 && (to - 270.0).abs() < 1e-12);
    }
}
