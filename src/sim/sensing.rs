//! From the truth to what the law may see.

use super::case::Case;
use super::truth::Truth;
use crate::control::signal::{self, Measurement};

/// The sensors of a run.
#[derive(Debug, Default)]
pub(crate) struct Senses {}

impl Senses {
    pub(crate) fn new(_case: &Case) -> Self {
        Senses {}
    }

    /// Fills `y` from the truth at a sample.
    pub(crate) fn read(
        &mut self,
        case: &Case,
        truth: &Truth,
        waves: &[f64],
        angle_rad: &[f64],
        y: &mut Measurement,
    ) {
        let setup = &case.parts.setup;
        y.rates_rad_s = truth.omega_rad_s;
        y.phi_rad = truth.euler_rad.x;
        y.theta_rad = truth.euler_rad.y;
        y.specific_force_m_s2 = truth.specific_force_m_s2(&setup.motion_unit_m);
        for ((height, r_m), at) in y
            .height_m
            .iter_mut()
            .zip(&setup.height_sensors_m)
            .zip(&case.at.heights)
        {
            *height = -truth.depth_m(r_m) - waves[*at];
        }
        y.speed_m_s = truth.v_m_s.x;
        y.heading_rad = truth.euler_rad.z;
        y.surface_rad.copy_from_slice(angle_rad);
        y.truth = Some(signal::Truth {
            heave_m: truth.position_m.z,
            heave_rate_m_s: truth.position_rate_m_s.z,
            w_m_s: truth.v_m_s.z,
            phi_rad: truth.euler_rad.x,
            theta_rad: truth.euler_rad.y,
            p_rad_s: truth.omega_rad_s.x,
            q_rad_s: truth.omega_rad_s.y,
        });
    }
}
