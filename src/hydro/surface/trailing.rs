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
//! `a_trailing_surface_floats_without_hinge_moment` (tests/faults_physics.rs), `trailing_meets_fine_steps`

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
    /// Takes the blade off: no lift, no drag, no wake from now on.
    pub(crate) fn take_off(&mut self) {
        (self.area_m2, self.slope_incidence, self.slope_deflection) = (0.0, 0.0, 0.0);
        self.aero.nonlinear = false;
    }

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

#[cfg(test)]
mod tests {
    use crate::hydro::surface::tests::{all_off, demo_surfaces};
    use crate::spec::scenario::FinEffectsSpec;

    #[test]
    fn trailing_meets_fine_steps() {
        let (dt_s, n) = (0.05, 20_000);
        for effects in [FinEffectsSpec::default(), all_off()] {
            for s in demo_surfaces(&effects) {
                let q = 0.5 * s.aero.rho_kg_m3 * 64.0;
                for (alpha, from) in [(0.05, 0.0), (-0.02, 0.15), (0.0, -0.2)] {
                    let mut fine = from;
                    for _ in 0..n {
                        let m = s.hinge_moment_nm(q, alpha, fine);
                        let next = fine + m / s.hinge_damping_nms(q) * dt_s / f64::from(n);
                        fine = next.clamp(s.min_rad, s.max_rad);
                    }
                    let got = s.trailed_rad(q, alpha, from, dt_s);
                    // exponential steps of frozen slope: second order in the quarter of the interval
                    let way = (fine - from).abs();
                    assert!(
                        (got - fine).abs() < 0.03 * way + 1e-6,
                        "{}: {got} {fine}",
                        s.name
                    );
                }
                assert!(
                    (s.trailed_rad(0.0, 0.1, 0.05, 1.0) - 0.05).abs() < 1e-15,
                    "at rest"
                );
            }
        }
    }
}
