//! Where the strips of strip theory stand, and their weights.
//!
//! Stations are the nodes of Gauss-Legendre rules on the pieces between the ends of hulls and
//! struts and the joins of the hull's ends: they crowd at these ends as a cosine spacing does and
//! integrate volume and waterplane to high order.
//!
//! # Checked by
//! `stations_integrate_volume_and_waterplane`, `given_stations_have_trapezoid_weights`

use super::craft::Craft;
use super::integrate::{gauss_legendre, merged};

/// Stations of the strips, aft to fore, with integration weights.
#[derive(Clone, Debug, PartialEq)]
pub struct StationSet {
    /// Forward of midships, ascending, m.
    pub x_m: Vec<f64>,
    /// `∫ f dx ≈ Σ weight f(x)`, m.
    pub weight_m: Vec<f64>,
}

impl StationSet {
    /// Stations given by a user (ascending, within the hull): trapezoid weights, the outermost
    /// panels reaching to the hull's ends, where sections vanish.
    pub fn from_list(craft: &Craft, x_m: &[f64]) -> StationSet {
        let x: Vec<f64> = merged(x_m.to_vec(), 1e-9)
            .into_iter()
            .filter(|x| *x >= craft.hull.aft_x_m && *x <= craft.hull.fore_x_m)
            .collect();
        let n = x.len();
        let weight_m = (0..n)
            .map(|i| {
                let before = if i == 0 { craft.hull.aft_x_m } else { x[i - 1] };
                let after = if i + 1 == n {
                    craft.hull.fore_x_m
                } else {
                    x[i + 1]
                };
                0.5 * (after - before)
            })
            .collect();
        StationSet { x_m: x, weight_m }
    }

    /// About `n` stations (at least 3 a piece, never fewer than `n`).
    pub fn build(craft: &Craft, n: usize) -> StationSet {
        let mut breaks = craft.hull.joins();
        for strut in &craft.struts {
            breaks.extend([strut.aft_x_m, strut.fore_x_m]);
        }
        // pieces shorter than a hundredth of the length are not worth three stations
        let length = craft.hull.length_m();
        let breaks = merged(breaks, 1e-9 * length);
        let counts = shares(&breaks, n);
        let mut set = StationSet {
            x_m: Vec::new(),
            weight_m: Vec::new(),
        };
        for (pair, count) in breaks.windows(2).zip(counts) {
            let (u, w) = gauss_legendre(count);
            let (mid, half) = (0.5 * (pair[0] + pair[1]), 0.5 * (pair[1] - pair[0]));
            set.x_m.extend(u.iter().map(|u| mid + half * u));
            set.weight_m.extend(w.iter().map(|w| half * w));
        }
        set
    }
}

/// Stations a piece: by length, with a floor, at least `n` together.
fn shares(breaks: &[f64], n: usize) -> Vec<usize> {
    const LEAST: usize = 3;
    let length = breaks[breaks.len() - 1] - breaks[0];
    let mut counts: Vec<usize> = breaks
        .windows(2)
        .map(|p| {
            let share = (p[1] - p[0]) / length;
            ((share * n as f64).round() as usize).max(if share < 0.01 { 1 } else { LEAST })
        })
        .collect();
    while counts.iter().sum::<usize>() < n {
        let sparsest = (0..counts.len())
            .max_by(|a, b| {
                let gap = |i: usize| (breaks[i + 1] - breaks[i]) / counts[i] as f64;
                gap(*a).total_cmp(&gap(*b))
            })
            .unwrap_or(0);
        counts[sparsest] += 1;
    }
    counts
}

impl Craft {
    /// A station set of at least `n` stations; see [`StationSet::build`].
    pub fn station_set(&self, n: usize) -> StationSet {
        StationSet::build(self, n)
    }
}
