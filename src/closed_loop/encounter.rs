//! The waves of a sea as the spectral method takes them: frequencies, directions, weights.
//!
//! # Equation
//! ```text
//! variance = sum_i w_i |H(omega_0i, mu_i)|^2,   w = S(omega_0) D(theta) d omega_0 d theta
//! nodes: equal steps of half the share of energy and half the logarithm of frequency;
//!        halved while  |d omega_e| > 0.7 sqrt(b^2 + (d/2)^2)  for a narrow mode (omega_r, b), d = ||omega_e| - omega_r|
//! directions: middles of equal shares of energy;   weights: trapezoids, scaled to the sea's height
//! ```
//! Integrated over wave frequency: following seas fold many waves onto one encounter frequency, and
//! each keeps its own weight.
//!
//! # Symbols
//! S one-sided spectrum, D spreading; omega_e signed encounter frequency, b half-bandwidth (rad/s).
//!
//! # Valid when
//! Resonances are those of the craft itself; a law that makes a narrower one must be checked with
//! more frequencies. The tail of the spectrum is cut as in simulation and its energy spread.
//!
//! # Source
//! St Denis & Pierson (1953), Trans. SNAME 61. The rule of halving is this project's: a trapezoidal sum over a
//! resonance of half-bandwidth b errs by about 2 exp(-2 pi b/h) for a step h.
//!
//! # Checked by
//! `weights_keep_the_height`, `four_times_the_grid_changes_little` (tests of this room).

use std::path::Path;

use crate::error::{Problem, Result};
use crate::frames;
use crate::sea::realisation::Focus;
use crate::sea::spectrum::Spectrum;
use crate::sea::spreading::Spreading;
use crate::spec::sea::{SeaSpec, WaveSystemSpec};
use crate::units::{G_M_S2, deg};

/// How finely a sea is cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fineness {
    /// Frequencies of one direction before narrow modes ask for more.
    pub frequencies: usize,
    /// Directions of a spread system.
    pub directions: usize,
    /// Step at a narrow mode over its half-bandwidth; infinite for none.
    pub narrow_step: f64,
}

impl Default for Fineness {
    fn default() -> Self {
        Fineness {
            frequencies: 120,
            directions: 15,
            narrow_step: 0.7,
        }
    }
}

/// One wave with its weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WeightedWave {
    /// Wave frequency, rad/s.
    pub omega_rad_s: f64,
    /// Where it travels to relative to the course, rad.
    pub mu_rad: f64,
    /// Encounter frequency, signed, rad/s.
    pub omega_e_rad_s: f64,
    /// Share of the elevation's variance, m2.
    pub weight_m2: f64,
}

/// The waves of `spec` whose first system travels to `mu_rad`, met at `speed_m_s`.
///
/// # Errors
/// Numbers out of range, keyed as in the sea file.
pub fn waves(
    spec: &SeaSpec,
    dir: &Path,
    mu_rad: f64,
    speed_m_s: f64,
    narrow: &[Focus],
    fineness: &Fineness,
) -> Result<Vec<WeightedWave>> {
    let mut out = Vec::new();
    for (i, system) in spec.systems.iter().enumerate() {
        let of = |e: crate::error::Error| {
            let keyed = e.problems.into_iter().map(|mut p| {
                p.place.key = format!("systems[{i}].{}", p.place.key);
                p
            });
            crate::error::Error {
                problems: keyed.collect(),
            }
        };
        out.extend(system_waves(system, dir, mu_rad, speed_m_s, narrow, fineness).map_err(of)?);
    }
    Ok(out)
}

fn system_waves(
    system: &WaveSystemSpec,
    dir: &Path,
    mu_rad: f64,
    speed_m_s: f64,
    narrow: &[Focus],
    fineness: &Fineness,
) -> Result<Vec<WeightedWave>> {
    let spectrum = Spectrum::of(&system.spectrum, dir)?;
    let mean = mu_rad + deg(system.offset_deg);
    let directions = match system.spreading {
        None => vec![mean],
        Some(s) => {
            let spreading = Spreading::of(s)?;
            let n = fineness.directions.max(1);
            (0..n)
                .map(|k| mean + spreading.quantile_rad((k as f64 + 0.5) / n as f64))
                .collect()
        }
    };
    let share = 1.0 / directions.len() as f64;
    let wave = |omega: f64, mu: f64, weight_m2: f64| WeightedWave {
        omega_rad_s: omega,
        mu_rad: mu,
        omega_e_rad_s: frames::encounter_rad_s(omega, speed_m_s, mu, G_M_S2),
        weight_m2,
    };
    let mut out = Vec::new();
    for mu in directions {
        if let Spectrum::Line {
            omega_rad_s,
            amplitude_m,
        } = spectrum
        {
            out.push(wave(omega_rad_s, mu, share * 0.5 * amplitude_m.powi(2)));
            continue;
        }
        let a_s = speed_m_s * mu.cos() / G_M_S2;
        let nodes = nodes(&spectrum, a_s, narrow, fineness)?;
        let weights = trapezoids(&nodes, &spectrum);
        let total: f64 = weights.iter().sum();
        let scale = share * spectrum.moment(0) / total;
        out.extend(
            nodes
                .iter()
                .zip(&weights)
                .map(|(w, m)| wave(*w, mu, scale * m)),
        );
    }
    Ok(out)
}

/// Cells of the table by which nodes are placed.
const CELLS: usize = 2000;
/// Most nodes of a direction, as a multiple of those asked for.
const MOST_TIMES: usize = 8;

fn nodes(spectrum: &Spectrum, a_s: f64, narrow: &[Focus], fineness: &Fineness) -> Result<Vec<f64>> {
    let (lo, hi) = spectrum.range_rad_s();
    if !(lo > 0.0 && hi > lo && hi.is_finite()) {
        return Err(Problem::at("spectrum", "has no energy at any frequency").into());
    }
    let ratio = (hi / lo).ln();
    let at = |x: f64| lo * (ratio * x).exp();
    let mut energy = vec![0.0];
    let mut sum = 0.0;
    for i in 0..CELLS {
        let middle = at((i as f64 + 0.5) / CELLS as f64);
        sum += spectrum.density(middle) * middle;
        energy.push(sum);
    }
    if sum <= 0.0 {
        return Err(Problem::at("spectrum", "has no energy at any frequency").into());
    }
    let mixed: Vec<f64> = energy
        .iter()
        .enumerate()
        .map(|(i, e)| 0.5 * e / sum + 0.5 * i as f64 / CELLS as f64)
        .collect();
    let n = fineness.frequencies.max(8);
    let mut out = Vec::with_capacity(2 * n);
    let mut cell = 0;
    for k in 0..n {
        let wanted = k as f64 / (n - 1) as f64;
        while cell + 2 < mixed.len() && mixed[cell + 1] < wanted {
            cell += 1;
        }
        let step = (mixed[cell + 1] - mixed[cell]).max(f64::MIN_POSITIVE);
        let f = ((wanted - mixed[cell]) / step).clamp(0.0, 1.0);
        out.push(at((cell as f64 + f) / CELLS as f64));
    }
    out.dedup();
    Ok(halved(&out, a_s, narrow, fineness, MOST_TIMES * n))
}

/// Halves intervals that are too wide for the narrow modes they touch.
fn halved(
    coarse: &[f64],
    a_s: f64,
    narrow: &[Focus],
    fineness: &Fineness,
    most: usize,
) -> Vec<f64> {
    let mut out = vec![coarse[0]];
    let mut open: Vec<f64> = coarse[1..].iter().rev().copied().collect();
    let mut left = most.saturating_sub(coarse.len());
    while let Some(&next) = open.last() {
        let last = out[out.len() - 1];
        if left > 0 && next - last > 1e-4 * last && too_wide(last, next, a_s, narrow, fineness) {
            open.push(0.5 * (last + next));
            left -= 1;
        } else {
            out.push(next);
            open.pop();
        }
    }
    out
}

fn too_wide(a: f64, b: f64, a_s: f64, narrow: &[Focus], fineness: &Fineness) -> bool {
    let met = |w: f64| w - a_s * w * w;
    let (x, y) = (met(a), met(b));
    // encounter frequency turns inside at 1/(2 a)
    let turn = 0.5 / a_s;
    let (mut lo, mut hi) = (x.min(y), x.max(y));
    if a_s > 0.0 && (a..b).contains(&turn) {
        hi = hi.max(met(turn));
        lo = lo.min(met(turn));
    }
    let gap = hi - lo;
    narrow.iter().any(|f| {
        let w = f.omega_e_rad_s.abs();
        // the mode answers at either sign
        let off = [w, -w].map(|r| (lo - r).max(r - hi).max(0.0));
        let d = off[0].min(off[1]);
        let allowed = (f.half_bandwidth_rad_s.powi(2) + 0.25 * d * d).sqrt();
        gap > fineness.narrow_step * allowed
    })
}

fn trapezoids(nodes: &[f64], spectrum: &Spectrum) -> Vec<f64> {
    let n = nodes.len();
    (0..n)
        .map(|i| {
            let below = nodes[i.saturating_sub(1)];
            let above = nodes[(i + 1).min(n - 1)];
            0.5 * (above - below) * spectrum.density(nodes[i])
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_keep_the_height() {
        let system = |s: &str| -> WaveSystemSpec { serde_json::from_str(s).unwrap() };
        let narrow = [Focus {
            omega_e_rad_s: 0.6,
            half_bandwidth_rad_s: 0.02,
        }];
        for text in [
            r#"{"spectrum":{"bretschneider":{"hs_m":2.0,"tp_s":7.0}}}"#,
            r#"{"spectrum":{"jonswap":{"hs_m":2.0,"tp_s":9.0}},"spreading":{"cos2s":{"s":5.0}}}"#,
            r#"{"spectrum":{"regular":{"amplitude_m":0.7071067811865476,"period_s":9.0}}}"#,
        ] {
            for mu in [0.0, 1.0, std::f64::consts::PI] {
                let w = system_waves(
                    &system(text),
                    Path::new("."),
                    mu,
                    8.0,
                    &narrow,
                    &Fineness::default(),
                )
                .unwrap();
                let m0: f64 = w.iter().map(|w| w.weight_m2).sum();
                assert!((m0 - 0.25).abs() < 1e-12, "{m0}");
                println!("{mu}: {} waves", w.len());
            }
        }
    }

    #[test]
    fn steps_are_small_where_a_mode_is_narrow() {
        let narrow = [Focus {
            omega_e_rad_s: 0.2,
            half_bandwidth_rad_s: 0.01,
        }];
        let a_s = 0.9;
        let fine = Fineness::default();
        let nodes = nodes(&Spectrum::bretschneider(2.0, 7.0), a_s, &narrow, &fine).unwrap();
        for pair in nodes.windows(2) {
            let met = |w: f64| w - a_s * w * w;
            let (x, y) = (met(pair[0]), met(pair[1]));
            for sign in [-1.0, 1.0] {
                let near = (x - sign * 0.2).abs().min((y - sign * 0.2).abs());
                if near < 0.01 {
                    assert!((x - y).abs() < 0.0101, "{x} {y}"); // 0.7 sqrt(b^2 + d^2/4) at d = b
                }
            }
        }
    }
}
