//! Work of the surfaces.
//!
//! # Equation
//! ```text
//! travel per hour = sum |d_i+1 - d_i| 3600/T       at the angle limit: |d| >= limit - 0.1 deg
//! at the rate limit: |rate| >= 0.98 limit          work = int max(-Q rate, 0) dt
//! ```
//!
//! # Symbols
//! d deflection, rad; rate its rate, rad/s; Q torque of the water on the surface about the stock
//! in the sense of d, N m; T length, s.
//!
//! # Valid when
//! The work is mechanical, at the stock, and none is won back when water drives the surface; a
//! constant-pressure supply needs the maximum torque times the travel, which is given beside it.
//!
//! # Source
//! Merritt (1967), Hydraulic Control Systems, for the supply at constant pressure.
//!
//! # Checked by
//! `a_square_stroke_by_hand`, `work_counts_what_the_servo_gives`.

use serde::Serialize;

use super::motion::rate_of;
use crate::math::stats::{self, Interval, record};

/// How near the angle limit counts as at it, rad.
pub(super) const AT_ANGLE_RAD: f64 = 0.1 * std::f64::consts::PI / 180.0;
/// Share of the rate limit that counts as at it.
pub(super) const AT_RATE_FRAC: f64 = 0.98;

/// Series of one surface.
#[derive(Clone, Copy, Debug)]
pub struct SurfaceSeries<'a> {
    /// Name.
    pub name: &'a str,
    /// Deflection, rad.
    pub angle_rad: &'a [f64],
    /// Its rate, rad/s; differences of the deflection when absent.
    pub rate_rad_s: Option<&'a [f64]>,
    /// Largest deflection, rad.
    pub angle_limit_rad: f64,
    /// Largest rate, rad/s.
    pub rate_limit_rad_s: f64,
    /// Torque of the water about the stock in the sense of the deflection, N m.
    pub hinge_torque_nm: Option<&'a [f64]>,
}

/// What a surface did.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SurfaceEffort {
    /// Name.
    pub name: String,
    /// Mean deflection, deg.
    pub mean_deg: Interval,
    /// RMS of the deflection about its mean, deg.
    pub rms_deg: Interval,
    /// RMS rate, deg/s.
    pub rate_rms_deg_s: Interval,
    /// Largest deflection, deg.
    pub max_deg: f64,
    /// Share of the time at the angle limit.
    pub at_angle_limit_frac: f64,
    /// Share of the time at the rate limit.
    pub at_rate_limit_frac: f64,
    /// Sum of all strokes, deg per hour.
    pub travel_deg_per_h: f64,
    /// Work given to the water, kJ per hour; none without torque.
    pub work_kj_per_h: Option<f64>,
    /// Work of a constant-pressure supply sized for the largest torque, kJ per hour.
    pub supply_work_kj_per_h: Option<f64>,
    /// Largest torque, N m.
    pub max_torque_nm: Option<f64>,
}

/// Effort of one surface sampled every `dt_s`.
pub fn surface_effort(s: &SurfaceSeries<'_>, dt_s: f64, level: f64) -> SurfaceEffort {
    let own;
    let rate = if let Some(rate) = s.rate_rad_s {
        rate
    } else {
        own = rate_of(s.angle_rad, dt_s);
        &own
    };
    let [(r, _), (of_rate, _)] = record::record_stats_pair(s.angle_rad, rate, level);
    let n = s.angle_rad.len().max(1) as f64;
    let per_hour = 3600.0 / (n * dt_s);
    let share = |count: usize| count as f64 / n;
    let travel_rad: f64 = s.angle_rad.windows(2).map(|c| (c[1] - c[0]).abs()).sum();
    let work = s.hinge_torque_nm.map(|q| {
        q.iter()
            .zip(rate)
            .map(|(q, r)| (-q * r).max(0.0))
            .sum::<f64>()
            * dt_s
            * per_hour
            / 1e3
    });
    let top = s
        .hinge_torque_nm
        .map(|q| q.iter().fold(0.0, |a: f64, v| a.max(v.abs())));
    SurfaceEffort {
        name: s.name.to_owned(),
        mean_deg: r.mean.map(f64::to_degrees),
        rms_deg: r.rms.map(f64::to_degrees),
        rate_rms_deg_s: rate_rms(rate, of_rate.rms).map(f64::to_degrees),
        max_deg: s
            .angle_rad
            .iter()
            .fold(0.0, |a: f64, v| a.max(v.abs()))
            .to_degrees(),
        at_angle_limit_frac: share(
            s.angle_rad
                .iter()
                .filter(|d| d.abs() >= s.angle_limit_rad - AT_ANGLE_RAD)
                .count(),
        ),
        at_rate_limit_frac: share(
            rate.iter()
                .filter(|r| r.abs() >= AT_RATE_FRAC * s.rate_limit_rad_s)
                .count(),
        ),
        travel_deg_per_h: travel_rad.to_degrees() * per_hour,
        work_kj_per_h: work,
        supply_work_kj_per_h: top.map(|q| q * travel_rad * per_hour / 1e3),
        max_torque_nm: top,
    }
}

fn rate_rms(rate: &[f64], found: Interval) -> Interval {
    if rate.is_empty() {
        return Interval::exact(stats::rms(rate));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_stroke_by_hand() {
        // triangle between -10 and 10 deg, 10 deg/s, period 4 s: 20 deg a stroke, 36000 deg/h
        let dt = 0.1;
        let angle: Vec<f64> = (0..36_000)
            .map(|i| {
                let t = (dt * f64::from(i)) % 4.0;
                let d = if t < 2.0 {
                    -10.0 + 10.0 * t
                } else {
                    30.0 - 10.0 * t
                };
                d.to_radians()
            })
            .collect();
        let s = SurfaceSeries {
            name: "fin",
            angle_rad: &angle,
            rate_rad_s: None,
            angle_limit_rad: 10f64.to_radians(),
            rate_limit_rad_s: 10f64.to_radians(),
            hinge_torque_nm: None,
        };
        let e = surface_effort(&s, dt, 0.95);
        assert!((e.travel_deg_per_h / 36_000.0 - 1.0).abs() < 1e-3); // last stroke cut
        // 40 samples a period: 2 (1 + 4 + ... + 81) 2 + 2 100 over 40
        assert!((e.rms_deg.value / 33.5f64.sqrt() - 1.0).abs() < 1e-9);
        assert!(
            (e.at_angle_limit_frac - 0.05).abs() < 1e-3,
            "{}",
            e.at_angle_limit_frac
        ); // 2 samples of 40
        assert!(e.at_rate_limit_frac > 0.94, "all but the turning points");
        assert!(e.work_kj_per_h.is_none() && (e.max_deg - 10.0).abs() < 1e-9);
    }

    #[test]
    fn work_counts_what_the_servo_gives() {
        // spring-like water torque Q = -k d: given while |d| grows, not won back
        let (dt, k, a, w) = (0.01, 2000.0, 0.2, 1.0);
        let n = 62_832; // one hundred periods
        let angle: Vec<f64> = (0..n).map(|i| a * (w * dt * f64::from(i)).sin()).collect();
        let torque: Vec<f64> = angle.iter().map(|d| -k * d).collect();
        let s = SurfaceSeries {
            name: "fin",
            angle_rad: &angle,
            rate_rad_s: None,
            angle_limit_rad: 1.0,
            rate_limit_rad_s: 1.0,
            hinge_torque_nm: Some(&torque),
        };
        let e = surface_effort(&s, dt, 0.95);
        // two strokes of k a^2/2 each period
        let want = k * a * a * 3600.0 / (std::f64::consts::TAU) / 1e3;
        assert!((e.work_kj_per_h.unwrap() / want - 1.0).abs() < 1e-3);
        assert!((e.supply_work_kj_per_h.unwrap() / (4.0 * want) - 1.0).abs() < 1e-3); // k a times 4 a a period
    }
}
