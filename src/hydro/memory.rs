//! Retardation functions as small state-space models.
//!
//! # Equation
//! ```text
//! mu(t) = Int_0^t K(t - s) nu(s) ds  ~  c x        x' = F x + g nu
//! pi(t) = Int mu dt                  =  d x        d = c F^-1,  c F^-1 g = 0
//! B(w) + i w (A(w) - A_inf)          =  c (i w - F)^-1 g
//! ```
//! F is block diagonal with 2 by 2 blocks [-s, -w; w, -s]. The condition c F^-1 g = 0 makes damping
//! vanish at zero frequency and pi' = mu exact, so that one set of states gives the force memory
//! and the momentum memory of Kirchhoff's equations.
//!
//! # Symbols
//! nu body velocities of O less the mean forward speed; mu force memory (N, N m); pi momentum memory.
//!
//! # Valid when
//! Within the fit's errors, which [`FitReport`] states by coupling.
//!
//! # Source
//! Cummins, W. E. (1962), "The impulse response function and ship motions", Schiffstechnik 9;
//! Ogilvie (1964); Kung, S. (1978), "A new identification and model reduction algorithm via
//! singular value decomposition", 12th Asilomar Conf.: poles from the Hankel
//! matrix to start from; outputs and poles then by least squares in frequency and time together.
//!
//! # Checked by
//! `closed_form_pair_is_identified`, `poles_of_the_coupled_system_match`, `mock_craft_meets_the_targets`,
//! `momentum_rate_is_the_force`.

use nalgebra::{DMatrix, Matrix6, Vector6};
use num_complex::Complex64;

pub(crate) mod column;
pub(crate) mod fit;
pub(crate) mod hankel;
#[cfg(test)]
mod tests;

pub use fit::{CouplingError, FitOptions, FitReport};

/// Memory of the radiated waves in modal form.
///
/// States are pairs: `x_a' = -s x_a - w x_b + (g nu)_a`, `x_b' = w x_a - s x_b + (g nu)_b`, with
/// decay `s > 0` and frequency `w >= 0` (rad/s); a real pole uses a pair with w = 0 or half of it.
/// `nu` are the body velocities of O less the mean forward speed. The momentum-rate (force)
/// memory is `mu = c x` and the momentum memory `pi = d x` with `d = c F^-1`; `c F^-1 g = 0`, so
/// that damping vanishes at zero frequency and `pi' = mu` exactly.
#[derive(Clone, Debug, PartialEq)]
pub struct MemoryModel {
    /// Infinite-frequency added mass about O.
    pub a_inf: Matrix6<f64>,
    /// Decay of each pair, 1/s.
    pub decay: Vec<f64>,
    /// Frequency of each pair, rad/s.
    pub frequency: Vec<f64>,
    /// Input matrix, 2 n by 6.
    pub g: DMatrix<f64>,
    /// Force output, 6 by 2 n.
    pub c: DMatrix<f64>,
    /// Momentum output, 6 by 2 n.
    pub d: DMatrix<f64>,
}

impl MemoryModel {
    /// No memory: infinite-frequency added mass only.
    pub fn none(a_inf: Matrix6<f64>) -> Self {
        MemoryModel {
            a_inf,
            decay: Vec::new(),
            frequency: Vec::new(),
            g: DMatrix::zeros(0, 6),
            c: DMatrix::zeros(6, 0),
            d: DMatrix::zeros(6, 0),
        }
    }

    /// Number of states, 2 per pair.
    pub fn state_count(&self) -> usize {
        2 * self.decay.len()
    }

    /// `dx = F x + g nu`; no allocation. `x` and `dx` hold [`Self::state_count`] numbers.
    pub fn derivative(&self, nu: &Vector6<f64>, x: &[f64], dx: &mut [f64]) {
        let n = self.state_count();
        let (x, dx) = (&x[..n], &mut dx[..n]);
        for (p, (&s, &w)) in self.decay.iter().zip(&self.frequency).enumerate() {
            dx[2 * p] = -s * x[2 * p] - w * x[2 * p + 1];
            dx[2 * p + 1] = w * x[2 * p] - s * x[2 * p + 1];
        }
        // column by column: nalgebra stores columns, and surge's is empty
        let g = self.g.as_slice();
        for (j, &v) in nu.iter().enumerate().skip(1) {
            for (d, &gij) in dx.iter_mut().zip(&g[j * n..(j + 1) * n]) {
                *d += gij * v;
            }
        }
    }

    /// Force memory `mu = c x`.
    pub fn force(&self, x: &[f64]) -> Vector6<f64> {
        output(&self.c, x)
    }

    /// Momentum memory `pi = d x`.
    pub fn momentum(&self, x: &[f64]) -> Vector6<f64> {
        output(&self.d, x)
    }

    /// `c (i w - F)^-1 g = B(w) + i w (A(w) - A_inf)` of the fit.
    pub fn transfer(&self, omega_rad_s: f64) -> Matrix6<Complex64> {
        let mut sum = Matrix6::zeros();
        for p in 0..self.decay.len() {
            // inverse of [l, w; -w, l] with l = i omega + s
            let l = Complex64::new(self.decay[p], omega_rad_s);
            let w = self.frequency[p];
            let det = l * l + w * w;
            let (a, b) = (2 * p, 2 * p + 1);
            for j in 1..6 {
                let (ga, gb) = (self.g[(a, j)], self.g[(b, j)]);
                if ga == 0.0 && gb == 0.0 {
                    continue;
                }
                let xa = (l * ga - w * gb) / det;
                let xb = (l * gb + w * ga) / det;
                for i in 0..6 {
                    sum[(i, j)] += xa * self.c[(i, a)] + xb * self.c[(i, b)];
                }
            }
        }
        sum
    }

    /// Added mass and damping of the fit.
    pub fn coefficients(&self, omega_rad_s: f64) -> (Matrix6<f64>, Matrix6<f64>) {
        if omega_rad_s.abs() < 1e-9 {
            return (self.zero_frequency_added_mass(), Matrix6::zeros());
        }
        let k = self.transfer(omega_rad_s);
        (self.a_inf + k.map(|z| z.im / omega_rad_s), k.map(|z| z.re))
    }

    /// Retardation function of the fit at time `t_s`.
    pub fn retardation(&self, t_s: f64) -> Matrix6<f64> {
        let mut sum = Matrix6::zeros();
        for p in 0..self.decay.len() {
            let e = (-self.decay[p] * t_s).exp();
            let (sin, cos) = (self.frequency[p] * t_s).sin_cos();
            let (a, b) = (2 * p, 2 * p + 1);
            for j in 0..6 {
                let (ga, gb) = (self.g[(a, j)], self.g[(b, j)]);
                let xa = e * (cos * ga - sin * gb);
                let xb = e * (sin * ga + cos * gb);
                for i in 0..6 {
                    sum[(i, j)] += self.c[(i, a)] * xa + self.c[(i, b)] * xb;
                }
            }
        }
        sum
    }

    /// Added mass at zero frequency: `A_inf + L(0)` with `pi = L nu`.
    pub fn zero_frequency_added_mass(&self) -> Matrix6<f64> {
        let mut a = self.a_inf;
        for j in 0..6 {
            let mut nu = Vector6::zeros();
            nu[j] = 1.0;
            let x = self.steady_state(&nu);
            a.set_column(j, &(a.column(j) + self.momentum(&x)));
        }
        a
    }

    /// States that stay when `nu` stays: `-F^-1 g nu`.
    pub fn steady_state(&self, nu: &Vector6<f64>) -> Vec<f64> {
        let n = self.state_count();
        let mut x = vec![0.0; n];
        for p in 0..self.decay.len() {
            let (s, w) = (self.decay[p], self.frequency[p]);
            let (mut ra, mut rb) = (0.0, 0.0);
            for j in 0..6 {
                ra += self.g[(2 * p, j)] * nu[j];
                rb += self.g[(2 * p + 1, j)] * nu[j];
            }
            let det = s * s + w * w;
            x[2 * p] = (s * ra - w * rb) / det;
            x[2 * p + 1] = (w * ra + s * rb) / det;
        }
        x
    }

    /// Sets `d = c F^-1`.
    pub(crate) fn set_momentum_output(&mut self) {
        self.d = DMatrix::zeros(6, self.state_count());
        for p in 0..self.decay.len() {
            let (s, w) = (self.decay[p], self.frequency[p]);
            let det = s * s + w * w;
            // F^-1 = [-s, w; -w, -s] / det
            for i in 0..6 {
                let (ca, cb) = (self.c[(i, 2 * p)], self.c[(i, 2 * p + 1)]);
                self.d[(i, 2 * p)] = (-s * ca - w * cb) / det;
                self.d[(i, 2 * p + 1)] = (w * ca - s * cb) / det;
            }
        }
    }
}

fn output(m: &DMatrix<f64>, x: &[f64]) -> Vector6<f64> {
    let mut y = Vector6::zeros();
    for (column, &xi) in m.as_slice().chunks_exact(6).zip(x) {
        for (yi, mi) in y.iter_mut().zip(column) {
            *yi += mi * xi;
        }
    }
    y
}
