//! A surface that trails: driven by the water alone, braked by the water alone.
//!
//! # Equation
//! ```text
//! D delta' = M(q, alpha, delta)          M hinge moment of [`Surface::hinge_moment_nm`]
//! D = pi rho U b^3 (1/2 - a) s            plate of semichord b turning about a
//! ```
//! Over an interval with the flow frozen by exponential steps of the local slope, which are stable for any
//! length; a stop holds what runs into it.
//!
//! # Symbols
//! q dynamic pressure (Pa), alpha incidence without deflection (rad), delta deflection (rad); b semichord of
//! the moving part (m), a its axis aft of its half chord in semichords (-1/2 at the quarter chord), s span (m).
//!
//! # Valid when
//! The moving part's own inertia is small against D/dt: motion slower than some b/U. A flap counts as a plate
//! of its own, hinged at its leading edge. D decides how quickly a surface floats, not where. An
//! all-movable surface whose stock lies behind the centre of pressure has no balance at small angle: it swings away
//! until the lift's centre has moved aft far enough, or to its stop.
//!
//! # Source
//! Theodorsen (1935), NACA Report 496: the damping of a plate's rotation that does not depend on circulation,
//! `pi rho b^3 U (1/2 - a)` per span.
//!
//! # Checked by
//! `floats_where_the_hinge_moment_is_zero`, `an_overbalanced_fin_swings_away`, `tests/faults.rs`

use std::f64::consts::PI;

use super::{Moving, Surface};

/// Dynamic pressure below which nothing moves a surface, Pa.
const STILL_PA: f64 = 1.0;
/// Exponential steps of one interval.
const STEPS: u32 = 4;
/// Change of angle that gives the slope of the hinge moment, rad.
const PROBE_RAD: f64 = 1e-5;
/// Least lever of the damping, in semichords: a stock far aft.
const LEAST_LEVER: f64 = 0.1;

impl Surface {
    /// Torque of the water per turning rate of the moving part, N m s, at dynamic pressure `q_pa`; it brakes.
    pub fn hinge_damping_nms(&self, q_pa: f64) -> f64 {
        let rho = self.aero.rho_kg_m3;
        let u = (2.0 * q_pa / rho).max(0.0).sqrt();
        let (semichord, lever, span) = match &self.aero.moving {
            Moving::Fixed => return f64::INFINITY,
            Moving::All => {
                let b = 0.5 * self.mac_m;
                let lever = 0.5 - self.aero.lever_half_m / b;
                (b, lever.max(LEAST_LEVER), self.span_m)
            }
            Moving::Flap {
                thin, span_frac, ..
            } => (
                0.5 * thin.chord_frac * self.mac_m,
                1.5,
                self.span_m * span_frac,
            ),
        };
        PI * rho * u * semichord.powi(3) * lever * span
    }

    /// Deflection after `dt_s` of trailing in a flow that stays, rad, from `delta_rad`.
    pub fn trailed_rad(&self, q_pa: f64, alpha_rad: f64, delta_rad: f64, dt_s: f64) -> f64 {
        let brake = self.hinge_damping_nms(q_pa);
        if q_pa < STILL_PA || !brake.is_finite() {
            return delta_rad;
        }
        let h = dt_s / f64::from(STEPS);
        let moment = |delta: f64| self.hinge_moment_nm(q_pa, alpha_rad, delta);
        let mut delta = delta_rad;
        for _ in 0..STEPS {
            let m = moment(delta);
            let slope = (moment(delta + PROBE_RAD) - m) / PROBE_RAD;
            // a slope that drives away is followed for one time constant at most
            let z = (-slope / brake * h).max(-1.0);
            let share = if z.abs() < 1e-6 {
                1.0 - 0.5 * z
            } else {
                (1.0 - libm::exp(-z)) / z
            };
            delta = (delta + m / brake * h * share).clamp(self.min_rad, self.max_rad);
        }
        delta
    }
}
