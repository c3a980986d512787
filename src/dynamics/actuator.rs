//! Servos: lag, rate and angle limits, dead band, backlash, delay, shared supply.
//!
//! # Equation
//! The servo's own motion is that of [`crate::math::servo`]. Backlash: play operator,
//! `surface = clamp(previous, servo - w/2, servo + w/2)`. Supply: when the sum of |rate_cmd| of all its
//! users exceeds what it feeds, every demand is scaled alike. Between two commands a servo knows nothing
//! of the water, so [`Actuator::advance`] carries it on by itself.
//!
//! # Symbols
//! wn natural frequency, rad/s; zeta damping ratio; w backlash, full width, rad.
//!
//! # Valid when
//! The servo is stronger than the water (see the hinge torque of [`crate::hydro::surface::Surface`]).
//!
//! # Source
//! Second-order servo and rate limit: common practice; play operator: Krasnosel'skii & Pokrovskii (1989).
//!
//! # Checked by
//! `small_step_meets_closed_form`, `large_step_runs_at_the_rate_limit`, `play_follows_by_half_its_width`,
//! `water_free_servo_only_loses_energy`, `advance_is_exact_inside_and_fine_beyond_the_limits`, `supply_scales_all_alike`, `delay_of_any_length`.

use num_complex::Complex64;

use crate::math::servo::{self, ServoMotion};
use crate::spec::craft::{CraftSpec, SupplySpec, SurfaceSpec};
use crate::units::{deg, kn};

/// A servo with its limits, everything in SI.
#[derive(Clone, Debug, PartialEq)]
pub struct Actuator {
    /// Natural frequency, rad/s.
    pub natural_frequency_rad_s: f64,
    /// Damping ratio.
    pub damping_ratio: f64,
    /// Greatest rate, rad/s.
    pub max_rate_rad_s: f64,
    /// Dead band of the error, full width, rad.
    pub dead_band_rad: f64,
    /// Backlash, full width, rad.
    pub backlash_rad: f64,
    /// Delay of the command, s.
    pub delay_s: f64,
    /// Stops, rad.
    pub min_rad: f64,
    /// Stops, rad.
    pub max_rad: f64,
    /// Index of the supply in the craft's list; its own when absent.
    pub supply: Option<usize>,
    /// Speed (m/s, ascending) and greatest angle of either sign, rad.
    limit_by_speed: Vec<[f64; 2]>,
}

impl Actuator {
    /// The servo of `surface`; a supply that `supplies` does not name counts as its own.
    pub fn new(surface: &SurfaceSpec, supplies: &[SupplySpec]) -> Self {
        let a = &surface.actuator;
        let supply = a
            .supply
            .as_ref()
            .and_then(|name| supplies.iter().position(|s| s.name == *name));
        let mut limit_by_speed: Vec<[f64; 2]> = surface
            .limit_by_speed
            .iter()
            .map(|r| [kn(r.speed_kn), deg(r.limit_deg).abs()])
            .collect();
        limit_by_speed.sort_by(|a, b| a[0].total_cmp(&b[0]));
        Actuator {
            natural_frequency_rad_s: a.natural_frequency_rad_s,
            damping_ratio: a.damping_ratio,
            max_rate_rad_s: deg(a.rate_deg_s),
            dead_band_rad: deg(a.dead_band_deg),
            backlash_rad: deg(a.backlash_deg),
            delay_s: a.delay_s,
            min_rad: deg(surface.min_deg),
            max_rad: deg(surface.max_deg),
            supply,
            limit_by_speed,
        }
    }

    /// All servos of the craft, in the order of its surfaces.
    pub fn all(spec: &CraftSpec) -> Vec<Actuator> {
        spec.surfaces
            .iter()
            .map(|s| Actuator::new(s, &spec.supplies))
            .collect()
    }

    /// Least and greatest angle allowed at `speed_m_s`, rad: the stops, narrowed by the table.
    pub fn angle_range_rad(&self, speed_m_s: f64) -> (f64, f64) {
        let limit = interpolate(&self.limit_by_speed, speed_m_s);
        (self.min_rad.max(-limit), self.max_rad.min(limit))
    }

    /// Command within what is allowed at `speed_m_s`, rad.
    pub fn clamp_command(&self, command_rad: f64, speed_m_s: f64) -> f64 {
        let (lo, hi) = self.angle_range_rad(speed_m_s);
        command_rad.max(lo).min(hi.max(lo))
    }

    /// Its motion by itself.
    pub fn motion(&self) -> ServoMotion {
        ServoMotion {
            natural_frequency_rad_s: self.natural_frequency_rad_s,
            damping_ratio: self.damping_ratio,
            dead_band_rad: self.dead_band_rad,
        }
    }

    /// Rate that the position loop asks for, rad/s, within `rate_limit_rad_s`.
    pub fn rate_command(&self, command_rad: f64, angle_rad: f64, rate_limit_rad_s: f64) -> f64 {
        self.motion()
            .rate_command(command_rad, angle_rad, rate_limit_rad_s)
    }

    /// Angular acceleration, rad/s2. `rate_limit_rad_s` is [`Actuator::max_rate_rad_s`] or what the supply leaves.
    pub fn acceleration(
        &self,
        command_rad: f64,
        angle_rad: f64,
        rate_rad_s: f64,
        rate_limit_rad_s: f64,
    ) -> f64 {
        let held = (command_rad, rate_limit_rad_s);
        self.motion().acceleration(held, (angle_rad, rate_rad_s))
    }

    /// Angle and rate after `dt_s` under a command that holds, as [`ServoMotion::advance`]; `free` is
    /// [`Actuator::free_motion`] over the same time.
    pub fn advance(
        &self,
        free: &[f64; 4],
        held: (f64, f64),
        from: (f64, f64),
        dt_s: f64,
    ) -> (f64, f64) {
        self.motion().advance(free, held, from, dt_s)
    }

    /// Transition of (angle - command, rate) over `dt_s` inside the limits, row by row.
    pub fn free_motion(&self, dt_s: f64) -> [f64; 4] {
        self.motion().free_motion(dt_s)
    }

    /// Angle and rate after meeting a stop: held there, rate only away from it. To be called at the end of a step.
    pub fn at_stops(&self, angle_rad: f64, rate_rad_s: f64) -> (f64, f64) {
        servo::at_stops((self.min_rad, self.max_rad), (angle_rad, rate_rad_s))
    }

    /// Angle of the surface behind the backlash, rad, from the servo's angle and the surface's last one.
    pub fn surface_angle(&self, servo_rad: f64, previous_rad: f64) -> f64 {
        let half = 0.5 * self.backlash_rad;
        previous_rad.clamp(servo_rad - half, servo_rad + half)
    }

    /// Angle over command at `omega_rad_s` inside all limits, dead band and backlash left out, delay included.
    pub fn response(&self, omega_rad_s: f64) -> Complex64 {
        let wn = self.natural_frequency_rad_s;
        let s = Complex64::new(0.0, omega_rad_s);
        let lag = wn * wn / (s * s + 2.0 * self.damping_ratio * wn * s + wn * wn);
        lag * (-s * self.delay_s).exp()
    }
}

/// Linear between rows, constant beyond; infinite without rows.
fn interpolate(rows: &[[f64; 2]], x: f64) -> f64 {
    let after = rows.partition_point(|r| r[0] < x);
    match (after.checked_sub(1).map(|i| rows[i]), rows.get(after)) {
        (None, None) => f64::INFINITY,
        (Some(a), None) => a[1],
        (None, Some(b)) => b[1],
        (Some(a), Some(b)) => a[1] + (b[1] - a[1]) * (x - a[0]) / (b[0] - a[0]),
    }
}

/// Rate limits under shared supplies, written to `limits_rad_s`.
///
/// `demands_rad_s` are the unshared [`Actuator::rate_command`]s; `totals_rad_s` what each supply feeds.
/// A supply that suffices leaves `actuators[i].max_rate_rad_s`; otherwise each of its users gets its demand
/// scaled alike. All slices but `totals_rad_s` have one entry per actuator.
pub fn share_rates(
    actuators: &[Actuator],
    demands_rad_s: &[f64],
    totals_rad_s: &[f64],
    limits_rad_s: &mut [f64],
) {
    for ((limit, a), demand) in limits_rad_s.iter_mut().zip(actuators).zip(demands_rad_s) {
        *limit = a.max_rate_rad_s;
        let Some(s) = a.supply else { continue };
        let total = totals_rad_s.get(s).copied().unwrap_or(f64::INFINITY);
        let asked: f64 = actuators
            .iter()
            .zip(demands_rad_s)
            .filter(|(b, _)| b.supply == Some(s))
            .map(|(_, d)| d.abs())
            .sum();
        if asked > total {
            *limit = demand.abs() * (total / asked).max(0.0);
        }
    }
}

#[cfg(test)]
mod tests;
