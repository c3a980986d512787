//! Products of two motions, and of a motion with a wave: what the linear method leaves out.
//!
//! # Equation
//! ```text
//! x' = A x + B_w c + 1/2 B(z, z) + phase,     z = [x; c],  c channels of the waves
//! phase of wave i:   c_i exp(-i k_i d_i),     d_i = x cos mu_i + y sin mu_i
//! forces of the pair (i, j) at omega_i + omega_j:  B(Z_i, Z_j) - i k_i D_i(Z_j) W_i - i k_j D_j(Z_i) W_j
//!                           at omega_i - omega_j:  the same with conj(Z_j), conj(W_j), and + i k_j
//! mean square of its response:  1/2 w_i w_j |T(omega_i +- omega_j) force|^2
//! forces at omega_i again:  sum_j w_j/2 [B(Z_ij+, conj Z_j) + B(Z_ij-, Z_j) and their phases] - w_j k_j^2 D_j(Z_i) Re[W_j conj D_j(Z_j)]
//! share of wave i that keeps its own frequency:    exp(-k_i^2 E d_i^2); the rest is where the first sidebands are
//! ```
//!
//! # Symbols
//! Z first-order response of states and channels per unit amplitude, W = B_w C the wave's forcing, D_i(Z) displacement of
//! O along wave i; w weight (m2), k wave number (1/m); T closed loop with the gains that limits, play and drag have
//! in this sea. B comes from the plant's own derivative ([`products`]).
//!
//! # Valid when
//! Second order is a correction: k d below one, products smaller than what they are products of. Displacement faster
//! than 0.1 rad/s counts for the phase; slower, it moves a wave's frequency too little to matter. Of third order, what a
//! pair's response makes with one of its waves is in, and the square of the phase; products of three first-order motions
//! are not, but for the slope of the steady forces ([`super::at_sea`]). What the law does with the speed it reads
//! is in where it says so ([`super::LawInLoop::speed_power`]). Waves with an output of their own (clearances) are
//! left at first order: crest and craft shift together there.
//!
//! # Source
//! Second-order (quadratic Volterra) response to a Gaussian sea: Naess (1985), J. Ship Res. 29(4), from memory; statistical
//! quadratisation: Spanos & Donley (1991), J. Eng. Mech. 117(6), from memory.
//!
//! # Checked by
//! `products_are_those_of_the_plant`, `two_waves_make_what_simulation_has`, `second_order_goes_with_the_square` (here),
//! `surge_in_following_seas` (tests/agreement.rs).

use num_complex::Complex64;

use super::evaluate::Evaluation;
use super::output::Output;
use super::trust::SLOW_RAD_S;
use crate::error::Result;
use crate::linear::resolvent::RIGID;

mod first;
mod pairs;
mod paths;
mod products;

use first::FirstOrder;
use pairs::Pairs;
use products::{NEGLIGIBLE, products};

/// One independent part of the response of second order at one frequency, mean square as it stands.
#[derive(Clone, Debug)]
pub(crate) struct SecondEntry {
    pub(crate) omega_rad_s: f64,
    pub(crate) rigid: [Complex64; RIGID],
    pub(crate) u: Vec<Complex64>,
    /// omega x velocity, the products in an acceleration, body axes.
    pub(crate) turning: [Complex64; 3],
}

/// What waves do to one another on a wave's own frequency, per unit amplitude.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    /// Factor on the linear response.
    pub(crate) kept: f64,
    /// What comes back from products of second order with first.
    pub(crate) rigid: [Complex64; RIGID],
    pub(crate) u: Vec<Complex64>,
}

/// What of a ride is not linear in the waves.
#[derive(Clone, Debug, Default)]
pub(crate) struct SecondOrder {
    /// Of each wave; empty for a ride that is taken as linear.
    pub(crate) lines: Vec<Line>,
    pub(crate) entries: Vec<SecondEntry>,
}

impl Evaluation<'_> {
    /// The same ride with what is of second order in the waves, and what of third falls back on them.
    ///
    /// # Errors
    /// When the closed loop has no response at a frequency.
    pub fn with_second_order(mut self) -> Result<Self> {
        let found = SecondOrder::of(&self)?;
        let outputs: Vec<Output> = (self.surfaces.iter())
            .flat_map(|w| [Output::Angle(w.surface), Output::AngleRate(w.surface)])
            .collect();
        let of =
            |e: &Self| -> Vec<f64> { outputs.iter().map(|o| e.weighted(*o, |_| 1.0)).collect() };
        let before = of(&self);
        self.second = found;
        let after = of(&self);
        let added: Vec<f64> = after.iter().zip(&before).map(|(a, b)| a - b).collect();
        for (w, add) in self.surfaces.iter_mut().zip(added.chunks_exact(2)) {
            w.angle_rms_rad = (w.angle_rms_rad.powi(2) + add[0]).max(0.0).sqrt();
            w.rate_rms_rad_s = (w.rate_rms_rad_s.powi(2) + add[1]).max(0.0).sqrt();
        }
        Ok(self)
    }
}

impl SecondOrder {
    fn of(e: &Evaluation<'_>) -> Result<Self> {
        let first = FirstOrder::of(e)?;
        let products = products(&e.sea.speed.craft, &first.rms, NEGLIGIBLE);
        let pairs = Pairs::new(e, &first, &products);
        let (bins, third) = pairs.sum();
        let entries = bins
            .into_iter()
            .enumerate()
            .filter_map(|(b, gram)| Some(pairs.parts(b, gram?)))
            .flatten();
        Ok(SecondOrder {
            entries: entries.collect(),
            lines: pairs.lines(&third)?,
        })
    }
}

/// Whether a displacement at this frequency of encounter counts for the phase.
fn shifts_phase(omega_rad_s: f64) -> bool {
    omega_rad_s.abs() >= SLOW_RAD_S
}

#[cfg(test)]
mod tests;
