//! Wind on the craft during a run.
//!
//! # Equation
//! `W(t) = profile(z)/U_10 * U(t)`, blowing to mu less psi in body axes; forces by [`wind_load`].
//!
//! The gust is read once a sample, the craft's own motion once a step; both are held over the step.
//!
//! # Valid when
//! Gusts are much larger than the craft (one speed over the whole windage).
//!
//! # Checked by
//! `following_wind_turns_with_the_craft`.

use crate::dynamics::state::StateLayout;
use crate::frames::Wrench;
use crate::sea::wind::{WindAreas, WindRealisation, npd_profile_m_s, wind_load};

/// The wind of one run and what it sees of the craft.
#[derive(Clone, Debug, PartialEq)]
pub struct Wind {
    /// Speed in time.
    pub realisation: WindRealisation,
    /// Windage.
    pub areas: WindAreas,
}

impl Wind {
    /// Wind speed at the windage's height, m/s.
    pub fn speed_m_s(&self, t_s: f64) -> f64 {
        let u10 = self.realisation.speed_10m_m_s;
        if u10 <= 0.0 {
            return 0.0;
        }
        let profile = npd_profile_m_s(u10, self.areas.height_m) / u10;
        profile * self.realisation.speed_m_s(t_s)
    }

    /// Force and moment about O, body axes, for a wind of `speed_m_s` and the state `x`.
    pub fn wrench(&self, speed_m_s: f64, x: &[f64]) -> Wrench {
        let psi = x[StateLayout::EULER.start + 2];
        let (sin, cos) = libm::sincos(self.realisation.mu_rad - psi);
        let (u, v) = (x[StateLayout::NU.start], x[StateLayout::NU.start + 1]);
        let [fx, fy, mk, mm, mn] = wind_load(&self.areas, speed_m_s * cos, speed_m_s * sin, u, v);
        Wrench::new(fx, fy, 0.0, mk, mm, mn)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn following_wind_turns_with_the_craft() {
        let wind = Wind {
            realisation: WindRealisation {
                speed_10m_m_s: 10.0,
                mu_rad: 0.0,
                gusts: vec![],
            },
            areas: WindAreas {
                frontal_m2: 40.0,
                lateral_m2: 100.0,
                c_x: 0.7,
                c_y: 0.9,
                lateral_x_m: 1.0,
                height_m: 10.0,
            },
        };
        let w = wind.speed_m_s(3.0);
        assert!((w - 10.0).abs() < 1e-9, "profile is one at 10 m: {w}");
        let mut x = [0.0; 12];
        assert!(wind.wrench(w, &x)[0] > 0.0 && wind.wrench(w, &x)[1].abs() < 1e-9);
        // bow a quarter turn to starboard: the same wind now pushes to port
        x[5] = std::f64::consts::FRAC_PI_2;
        let f = wind.wrench(w, &x);
        assert!(f[1] < 0.0 && f[0].abs() < 1e-9 * f[1].abs());
        // no air moves relative to a craft that runs with it
        x[5] = 0.0;
        x[6] = 10.0;
        assert!(wind.wrench(w, &x).norm() < 1e-9);
    }
}
