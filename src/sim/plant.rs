//! The plant as the loop sees it.

use std::sync::Arc;

use num_complex::Complex64;

use super::craft::Craft;
use crate::dynamics::actuator::Actuator;
use crate::dynamics::damage::Damage;
use crate::dynamics::plant::march::March;
use crate::dynamics::plant::{Plant, PlantInput, WaveChannel};
use crate::dynamics::state::StateLayout;

impl Craft for Plant {
    fn speed_m_s(&self) -> f64 {
        self.speed_m_s
    }

    fn g_m_s2(&self) -> f64 {
        self.g_m_s2
    }

    fn layout(&self) -> &StateLayout {
        Plant::layout(self)
    }

    fn surface_names(&self) -> Vec<String> {
        self.surfaces.iter().map(|s| s.name.clone()).collect()
    }

    fn actuators(&self) -> &[Actuator] {
        &self.actuators
    }

    fn shaft_names(&self) -> Vec<String> {
        self.shafts.iter().map(|s| s.name.clone()).collect()
    }

    fn channels(&self) -> &[WaveChannel] {
        Plant::channels(self)
    }

    fn channel_amplitudes(&self, omega_rad_s: f64, mu_rad: f64, out: &mut [Complex64]) {
        Plant::channel_amplitudes(self, omega_rad_s, mu_rad, out);
    }

    fn derivative(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        Plant::derivative(self, x, input, dx);
    }

    fn march(&self, step_s: f64) -> Option<March<'_>> {
        Some(March::new(self, step_s))
    }

    fn command_rows(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        Plant::command_rows(self, x, input, dx);
    }

    fn surface_angle_rad(&self, surface: usize, x: &[f64], hold_rad: f64) -> f64 {
        Plant::surface_angle_rad(self, surface, x, hold_rad)
    }

    fn damaged(&self, damage: &Damage) -> Option<Arc<dyn Craft>> {
        Some(Arc::new(Plant::damaged(self, damage)))
    }

    fn trailed_rad(
        &self,
        surface: usize,
        x: &[f64],
        input: &PlantInput,
        angle_rad: f64,
        dt_s: f64,
    ) -> f64 {
        Plant::trailed_rad(self, surface, x, input, angle_rad, dt_s)
    }

    fn lift_n(&self, x: &[f64], input: &PlantInput, out: &mut [f64]) {
        Plant::lift_n(self, x, input, out);
    }
}
