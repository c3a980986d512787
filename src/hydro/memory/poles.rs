//! Eigenvalues and null vectors that do not hang.
//!
//! # Equation
//! ```text
//! A v = lambda v
//! ```
//! nalgebra's Schur iteration can run for ever on cyclic or undamped matrices; a bounded
//! iteration, repeated after a similarity by a reflection, has not been seen to fail.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `closed_form_pair_is_identified`, `poles_of_the_coupled_system_match`.

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

/// Eigenvalues of a real square matrix, or nothing if the iteration fails six times.
pub(crate) fn eigenvalues(a: &DMatrix<f64>) -> Option<Vec<Complex64>> {
    let n = a.nrows();
    if n == 0 || !a.iter().all(|x| x.is_finite()) {
        return None;
    }
    let mut m = a.clone();
    for k in 0..6 {
        if let Some(s) = m.clone().try_schur(f64::EPSILON, 60 * n.max(10)) {
            return Some(s.complex_eigenvalues().iter().copied().collect());
        }
        let v = DVector::from_fn(n, |i, _| {
            1.0 + ((i as f64 + 1.0) * (f64::from(k) + 1.7)).sin()
        })
        .normalize();
        let row = v.transpose() * &m;
        m -= &v * row * 2.0;
        let column = &m * &v;
        m -= column * v.transpose() * 2.0;
    }
    None
}
