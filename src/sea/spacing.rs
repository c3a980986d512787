//! Spacing of the components as the craft meets them.
//!
//! # Equation
//! ```text
//! gap = largest difference of neighbours in the sorted list of |omega_e,i| that overlaps
//!       [omega - 3 b, omega + 3 b];   fine enough when gap <= b/3
//! ```
//!
//! # Symbols
//! omega natural frequency and b half-bandwidth (damping ratio times frequency) of the narrowest
//! response, rad/s.
//!
//! # Valid when
//! Components outside the sea's own range do not count: nothing excites a response there.
//!
//! # Source
//! A lightly damped response sees the sea through a window 2 b wide; with fewer than about six
//! waves in it its variance depends on which ones. The rule of one third is this project's.
//!
//! # Checked by
//! `focus_narrows_spacing`, `advice_measures_the_largest_gap`.

use super::realisation::Realisation;

/// How close the components lie near a response.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpacingAdvice {
    /// Natural frequency asked about, rad/s.
    pub omega_e_rad_s: f64,
    /// Its half-bandwidth, rad/s.
    pub half_bandwidth_rad_s: f64,
    /// Largest difference of neighbouring encounter frequencies there, rad/s; zero when the sea
    /// has no energy there.
    pub largest_gap_rad_s: f64,
    /// Largest gap that is fine enough, rad/s: a third of the half-bandwidth.
    pub allowed_gap_rad_s: f64,
    /// Resolution of the record 2 pi / duration, rad/s: gaps below it cannot be told apart.
    pub resolution_rad_s: f64,
    /// Components that would bring the gap down to what is allowed, all else equal.
    pub components_needed: usize,
}

impl SpacingAdvice {
    /// Whether the spacing is fine enough: a third of the half-bandwidth, or what the record
    /// resolves when that is wider.
    pub fn is_fine(&self) -> bool {
        self.largest_gap_rad_s <= self.allowed_gap_rad_s.max(self.resolution_rad_s)
    }
}

impl Realisation {
    /// Spacing near the response `omega_e_rad_s` with half-bandwidth `half_bandwidth_rad_s`.
    pub fn spacing(&self, omega_e_rad_s: f64, half_bandwidth_rad_s: f64) -> SpacingAdvice {
        let mut we: Vec<f64> = self
            .components
            .iter()
            .map(|c| c.encounter_rad_s(self.speed_m_s).abs())
            .collect();
        we.sort_by(f64::total_cmp);
        let (w, b) = (omega_e_rad_s.abs(), half_bandwidth_rad_s.abs());
        let gap = we
            .windows(2)
            .filter(|c| c[1] > w - 3.0 * b && c[0] < w + 3.0 * b)
            .map(|c| c[1] - c[0])
            .fold(0.0, f64::max);
        let allowed = b / 3.0;
        let needed = if allowed > 0.0 && we.len() > 1 {
            (we.len() as f64 * (gap / allowed).max(1.0)).ceil() as usize
        } else {
            we.len()
        };
        let resolution_rad_s = if self.duration_s > 0.0 {
            std::f64::consts::TAU / self.duration_s
        } else {
            0.0
        };
        SpacingAdvice {
            omega_e_rad_s: w,
            half_bandwidth_rad_s: b,
            largest_gap_rad_s: gap,
            allowed_gap_rad_s: allowed,
            resolution_rad_s,
            components_needed: needed,
        }
    }
}
