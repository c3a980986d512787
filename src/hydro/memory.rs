//! Retardation functions as small state-space models.

use nalgebra::{DMatrix, Matrix6};

pub(crate) mod poles;

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
