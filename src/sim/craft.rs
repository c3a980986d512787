//! What the loop needs of a craft.
//!
//! The loop is written against [`Craft`], so that a toy with a known solution can stand in for the
//! plant in tests.

use std::sync::Arc;

use num_complex::Complex64;

use crate::dynamics::actuator::Actuator;
use crate::dynamics::damage::Damage;
use crate::dynamics::plant::march::March;
use crate::dynamics::plant::{PlantInput, WaveChannel};
use crate::dynamics::state::StateLayout;

/// A craft in motion at one nominal speed, as the loop sees it.
pub trait Craft: Send + Sync {
    /// Nominal speed, m/s.
    fn speed_m_s(&self) -> f64;

    /// Gravity, m/s2.
    fn g_m_s2(&self) -> f64;

    /// Order of the state vector.
    fn layout(&self) -> &StateLayout;

    /// Names of the surfaces, in the order of their states.
    fn surface_names(&self) -> Vec<String>;

    /// Servos, one per surface.
    fn actuators(&self) -> &[Actuator];

    /// Names of the propulsors, in the order of their states.
    fn shaft_names(&self) -> Vec<String>;

    /// Wave signals that [`Craft::derivative`] reads, in order.
    fn channels(&self) -> &[WaveChannel];

    /// Complex amplitude of each channel for a wave of unit amplitude, phase zero for a crest at O.
    fn channel_amplitudes(&self, omega_rad_s: f64, mu_rad: f64, out: &mut [Complex64]);

    /// The derivative of the state, without allocation.
    fn derivative(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]);

    /// Its predictor and corrector for steps of `step_s`, if it has one.
    fn march(&self, step_s: f64) -> Option<March<'_>> {
        let _ = step_s;
        None
    }

    /// Writes anew those rows of the derivative that depend on the commands (servo accelerations,
    /// thrust rates), the rest of `dx` being that of the same state and waves. Accelerations of the
    /// craft must not depend on the commands of the same instant.
    fn command_rows(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]);

    /// Surface angle behind the backlash, rad, from the state and the angle before.
    fn surface_angle_rad(&self, surface: usize, x: &[f64], hold_rad: f64) -> f64;

    /// The same craft broken, with the same layout and channels; none when it cannot be.
    fn damaged(&self, damage: &Damage) -> Option<Arc<dyn Craft>> {
        let _ = damage;
        None
    }

    /// Deflection of a surface after `dt_s` of trailing freely, rad, from `angle_rad`, in the flow of `x`.
    fn trailed_rad(
        &self,
        surface: usize,
        x: &[f64],
        input: &PlantInput,
        angle_rad: f64,
        dt_s: f64,
    ) -> f64 {
        let _ = (surface, x, input, dt_s);
        angle_rad
    }

    /// Lift of each surface along its own direction, N.
    fn lift_n(&self, x: &[f64], input: &PlantInput, out: &mut [f64]);
}
