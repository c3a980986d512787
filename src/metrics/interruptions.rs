//! Motion-induced interruptions.
//!
//! # Equation
//! ```text
//! f_y = a_y - g sin(phi) cos(theta)      lateral force estimator, what pushes a body across the deck
//! f_n = g cos(phi) cos(theta) - a_z      what holds it on the deck
//! tipping when |f_y| > (l/h) f_n; each excursion is one interruption
//! theory (Gaussian f_y, f_n = g): N = 2 (1/2pi) sqrt(m2/m0) exp(-((l/h) g)^2/(2 m0)) per second
//! ```
//!
//! # Symbols
//! a_y, a_z acceleration of the deck point in body axes without gravity, m/s2; phi roll, theta
//! pitch; l half stance width, h height of the centre of gravity; m0, m2 moments of f_y.
//!
//! # Valid when
//! A person who stands, does not hold on and does not brace.
//!
//! # Source
//! Graham (1990), Naval Eng. J. 102(2); Graham, Baitis & Meyers (1992). l/h = 0.25 across the
//! deck, 0.17 along it (from memory).
//!
//! # Checked by
//! `published_rates`, `counts_agree_with_theory`, `heel_alone_pushes`.

use crate::math::stats::crossings::{event_rate, up_crossings_s};
use crate::math::stats::{Interval, rice};
use crate::units::G_M_S2;

/// Tipping coefficient across the deck.
pub const TIPPING_LATERAL: f64 = 0.25;
/// Tipping coefficient along the deck.
pub const TIPPING_LONGITUDINAL: f64 = 0.17;
/// Interruptions closer than this count as one clump for the interval, s: a person's recovery and
/// about three wave encounters.
const CLUMP_S: f64 = 20.0;

/// Gravity along the tilted deck, worked out once for all points, m/s2.
#[derive(Clone, Debug)]
pub struct Tilt {
    side_m_s2: Vec<f64>,
    normal_m_s2: Vec<f64>,
}

impl Tilt {
    /// From roll and pitch, rad.
    pub fn new(roll_rad: &[f64], pitch_rad: &[f64]) -> Self {
        let (side_m_s2, normal_m_s2) = roll_rad
            .iter()
            .zip(pitch_rad)
            .map(|(phi, theta)| {
                let ((sin, cos), along) = (phi.sin_cos(), theta.cos());
                (G_M_S2 * sin * along, G_M_S2 * cos * along)
            })
            .unzip();
        Tilt {
            side_m_s2,
            normal_m_s2,
        }
    }

    /// Lateral force estimator, m/s2, from the lateral acceleration in body axes without gravity (m/s2).
    pub fn lateral_force_m_s2(&self, a_y: &[f64]) -> Vec<f64> {
        a_y.iter()
            .zip(&self.side_m_s2)
            .map(|(a, g)| a - g)
            .collect()
    }

    /// Force per mass that holds a body on the deck, m/s2, g at rest; `a_z` down in body axes without
    /// gravity (m/s2).
    pub fn deck_force_m_s2(&self, a_z: &[f64]) -> Vec<f64> {
        a_z.iter()
            .zip(&self.normal_m_s2)
            .map(|(a, g)| g - a)
            .collect()
    }
}

/// Lateral force estimator of one record, see [`Tilt::lateral_force_m_s2`].
pub fn lateral_force_m_s2(a_y: &[f64], roll_rad: &[f64], pitch_rad: &[f64]) -> Vec<f64> {
    Tilt::new(roll_rad, pitch_rad).lateral_force_m_s2(a_y)
}

/// Force on the deck of one record, see [`Tilt::deck_force_m_s2`].
pub fn deck_force_m_s2(a_z: &[f64], roll_rad: &[f64], pitch_rad: &[f64]) -> Vec<f64> {
    Tilt::new(roll_rad, pitch_rad).deck_force_m_s2(a_z)
}

/// Interruptions per minute counted in a record of both forces, with the interval.
pub fn counted_per_min(
    lateral_m_s2: &[f64],
    deck_m_s2: &[f64],
    dt_s: f64,
    tipping: f64,
    level: f64,
) -> Interval {
    let over = |side: f64| -> Vec<f64> {
        let excess: Vec<f64> = lateral_m_s2
            .iter()
            .zip(deck_m_s2)
            .map(|(f, n)| side * f - tipping * n)
            .collect();
        up_crossings_s(&excess, dt_s, 0.0)
    };
    let mut times = over(1.0);
    times.extend(over(-1.0));
    times.sort_by(f64::total_cmp);
    let n = lateral_m_s2.len().min(deck_m_s2.len());
    event_rate(&times, n as f64 * dt_s, CLUMP_S, level).scale(60.0)
}

/// Interruptions per minute, both sides, from the moments of the lateral force.
pub fn expected_per_min(m0: f64, m2: f64, tipping: f64) -> f64 {
    120.0 * rice::up_crossing_rate_hz(m0, m2, tipping * G_M_S2)
}

/// The trade's word for a rate per minute.
pub fn risk(per_min: f64) -> &'static str {
    match per_min {
        x if x < 0.1 => "rare",
        x if x < 0.5 => "possible",
        x if x < 1.5 => "probable",
        x if x < 3.0 => "serious",
        x if x < 5.0 => "severe",
        _ => "extreme",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::rngs::ChaCha8Rng;
    use rand::{RngExt, SeedableRng};
    use std::f64::consts::TAU;

    #[test]
    fn published_rates() {
        // references/E mii.*
        for (m0, m2, want) in [(0.64, 1.0, 0.21804336), (1.0, 1.7, 1.23319)] {
            assert!((expected_per_min(m0, m2, 0.25) / want - 1.0).abs() < 1e-6); // printed digits
        }
        assert_eq!(risk(1.23), "probable");
    }

    #[test]
    fn counts_agree_with_theory() {
        // second method: a long Gaussian lateral force of 400 waves, counted
        let mut rng = ChaCha8Rng::seed_from_u64(4);
        let waves: Vec<(f64, f64)> = (0..400)
            .map(|i| {
                (
                    0.5 + 0.0025 * (f64::from(i) + rng.random::<f64>()),
                    TAU * rng.random::<f64>(),
                )
            })
            .collect();
        let a = (2.0 * 1.2 / 400.0f64).sqrt();
        let dt = 0.1;
        let n = 150_000;
        let f: Vec<f64> = (0..n)
            .map(|i| {
                waves
                    .iter()
                    .map(|(w, p)| a * (w * dt * f64::from(i) + p).cos())
                    .sum()
            })
            .collect();
        let m2 = waves.iter().map(|(w, _)| 0.5 * a * a * w * w).sum::<f64>();
        let got = counted_per_min(&f, &vec![G_M_S2; n as usize], dt, 0.25, 0.95);
        let want = expected_per_min(1.2, m2, 0.25);
        assert!(got.holds(want), "{got:?} {want}");
        assert!((got.value / want - 1.0).abs() < 0.2, "{got:?} {want}"); // about 250 clumped events
    }

    #[test]
    fn heel_alone_pushes() {
        let f = lateral_force_m_s2(&[0.0], &[0.3], &[0.0]);
        assert!(
            (f[0] + G_M_S2 * 0.3f64.sin()).abs() < 1e-12,
            "starboard down slides to starboard"
        );
        assert!((deck_force_m_s2(&[0.0], &[0.0], &[0.0])[0] - G_M_S2).abs() < 1e-12);
        // mirror: the count does not know port from starboard
        let x: Vec<f64> = (0..4000)
            .map(|i| 3.0 * (0.09 * f64::from(i)).sin())
            .collect();
        let y: Vec<f64> = x.iter().map(|v| -v).collect();
        let n = vec![G_M_S2; 4000];
        let (a, b) = (
            counted_per_min(&x, &n, 0.1, 0.25, 0.95),
            counted_per_min(&y, &n, 0.1, 0.25, 0.95),
        );
        assert!((a.value - b.value).abs() < 1e-12 && a.value > 10.0);
    }
}
