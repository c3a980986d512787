//! A craft in a sea as points of the bound: waves, then the noise of its sensors.
//!
//! # Equation
//! ```text
//! wave i     seen = y_w sqrt(w),  outputs = z_w sqrt(w)        w share of the elevation's variance
//! noise      seen = W sigma sqrt(d omega T/pi), 0 < omega < pi/T    white, one source a reading
//! angle row  |angle|^2 = power |u|^2                           images of the held command included
//! (I + G_nf D) G_nu' = G_nu,  G_yu' = G_yu - G_yf D G_nu'      drag D put into the noise's points too
//! ```
//!
//! # Symbols
//! W signals over readings, sigma noise of a sample, T sample period; rows of the outputs: those asked
//! for, then the angle of every fin, then its rate.
//!
//! # Valid when
//! As [`crate::closed_loop::at_sea`]: drag as with fins at trim, limits left out. Waves and noise are cut finely
//! enough that responses with the memory of the basis cannot tell the sum from the integral; doubling
//! both shows it.
//!
//! # Source
//! [`crate::closed_loop::at_sea`], [`crate::closed_loop::contour`].
//!
//! # Checked by
//! `laws_are_those_of_the_spectral_method`, `twice_the_grid_changes_little` (tests/bound.rs)

use nalgebra::DMatrix;
use num_complex::Complex64;
use rayon::prelude::*;

use super::point::{Cm, Point};
use crate::closed_loop::at_sea::AtSea;
use crate::closed_loop::at_speed::AtSpeed;
use crate::closed_loop::encounter::Fineness;
use crate::closed_loop::output::{Output, OutputRow};
use crate::error::{Error, Result};
use crate::spec::sea::SeaSpec;

/// Frequencies of the noise, and the lowest, rad/s.
const NOISE: usize = 240;
const SLOWEST_RAD_S: f64 = 0.01;

/// Cut of `sea` that the bound asks for, times `finer`. Directions of a spread sea fill each other's
/// gaps.
pub fn fineness(sea: &SeaSpec, finer: usize) -> Fineness {
    let spread = sea.systems.iter().any(|s| s.spreading.is_some());
    Fineness {
        frequencies: if spread { 120 } else { 300 } * finer,
        ..Fineness::default()
    }
}

/// The points of `sea` with the outputs `outputs`; noise `finer` times as dense as usual, none when 0.
///
/// # Errors
/// When the craft has no response somewhere.
pub fn points(sea: &AtSea, outputs: &[Output], finer: usize) -> Result<Vec<Point>> {
    let rows: Vec<OutputRow> = outputs.iter().map(|o| o.row(&sea.speed.craft)).collect();
    let mut out: Vec<Point> = (0..sea.transfers.len())
        .into_par_iter()
        .map(|i| wave(sea, &rows, i))
        .collect();
    let noise: Option<Vec<Point>> = frequencies(&sea.speed, finer)
        .into_par_iter()
        .map(|(omega, width)| noise(sea, &rows, omega, width))
        .collect();
    out.extend(noise.ok_or_else(|| Error::new("the craft has no response to its fins somewhere"))?);
    Ok(out)
}

/// Outputs per command from velocities per command (6 x m), fins' angles and rates below.
fn reach(speed: &AtSpeed, rows: &[OutputRow], omega: f64, velocities: &Cm) -> Cm {
    let (n, m) = (rows.len(), speed.channels.len());
    let s = Complex64::new(0.0, omega);
    let mut out = Cm::zeros(n + 2 * m, m);
    for j in 0..m {
        let x = speed.kinematics.rigid(velocities.column(j).as_slice(), s);
        for (i, row) in rows.iter().enumerate() {
            out[(i, j)] = row.value(&x, s, None);
        }
        let power = speed.servo_power(speed.channels[j], omega);
        out[(n + j, j)] = Complex64::from(power[0].sqrt());
        out[(n + m + j, j)] = Complex64::from(power[1].sqrt());
    }
    out
}

fn wave(sea: &AtSea, rows: &[OutputRow], i: usize) -> Point {
    let (t, w) = (&sea.transfers[i], &sea.waves[i]);
    let speed = &sea.speed;
    let (m, p, q) = (speed.channels.len(), speed.signals.len(), speed.inputs());
    let root = t.weight.sqrt();
    let s = Complex64::new(0.0, t.omega);
    let x = speed.kinematics.rigid(&t.nu_w, s);
    let g = speed.craft.plant.g_m_s2;
    let mut free = Cm::zeros(rows.len() + 2 * m, 1);
    for (k, row) in rows.iter().enumerate() {
        free[(k, 0)] = row.value(&x, s, Some([w.omega_rad_s, w.mu_rad, g])) * root;
    }
    let velocities = Cm::from_fn(6, m, |r, c| t.velocities[r * q + c]);
    Point {
        omega_rad_s: t.omega,
        seen: Cm::from_fn(p, 1, |r, _| t.y_w[r] * root),
        free,
        loop_gain: Cm::from_fn(p, m, |r, c| t.signals[r * q + c]),
        reach: reach(speed, rows, t.omega, &velocities),
        wave: true,
    }
}

fn noise(sea: &AtSea, rows: &[OutputRow], omega: f64, width: f64) -> Option<Point> {
    let speed = &sea.speed;
    let (m, p, q) = (speed.channels.len(), speed.signals.len(), speed.inputs());
    let node = speed.node(omega, None)?;
    let velocities = DMatrix::from_row_slice(6, q, &node.velocities);
    let signals = DMatrix::from_row_slice(p, q, &node.signals);
    let drag = DMatrix::from_fn(6, 6, |r, c| Complex64::from(sea.drag[(r, c)]));
    let left = Cm::identity(6, 6) + velocities.columns(m, 6) * &drag;
    let moved = left.lu().solve(&velocities.columns(0, m).into_owned())?;
    let loop_gain = signals.columns(0, m) - signals.columns(m, 6) * (&drag * &moved);
    let craft = &speed.craft;
    let root = (width * craft.setup.sample_period_s / std::f64::consts::PI).sqrt();
    let sources = speed.quantities.iter().enumerate();
    let sigma: Vec<(usize, f64)> = sources
        .map(|(k, q)| (k, craft.blur(*q).noise * root))
        .filter(|(_, v)| *v > 0.0)
        .collect();
    let seen = |r: usize, c: usize| speed.weights[(r, sigma[c].0)] * sigma[c].1;
    Some(Point {
        omega_rad_s: omega,
        seen: Cm::from_fn(p, sigma.len(), |r, c| Complex64::from(seen(r, c))),
        free: Cm::zeros(rows.len() + 2 * m, sigma.len()),
        reach: reach(speed, rows, omega, &moved),
        loop_gain,
        wave: false,
    })
}

/// Frequencies and their widths, up to half the sampling frequency, closer at narrow modes.
fn frequencies(speed: &AtSpeed, finer: usize) -> Vec<(f64, f64)> {
    if finer == 0 {
        return Vec::new();
    }
    let top = std::f64::consts::PI / speed.craft.setup.sample_period_s;
    let n = NOISE * finer;
    let ratio = top / SLOWEST_RAD_S;
    let mut all: Vec<f64> = (0..n)
        .map(|i| SLOWEST_RAD_S * ratio.powf((i as f64 + 0.5) / n as f64))
        .collect();
    for mode in &speed.narrow {
        let (at, half) = (mode.omega_e_rad_s, mode.half_bandwidth_rad_s);
        let steps = 4 * finer;
        all.extend((0..=2 * steps).map(|k| at + half * (k as f64 / finer as f64 - 4.0)));
    }
    all.retain(|w| (SLOWEST_RAD_S..top).contains(w));
    all.sort_by(f64::total_cmp);
    all.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    (0..all.len())
        .map(|i| {
            let below = if i == 0 {
                0.0
            } else {
                0.5 * (all[i - 1] + all[i])
            };
            let above = all.get(i + 1).map_or(top, |next| 0.5 * (all[i] + next));
            (all[i], above - below)
        })
        .collect()
}
