//! Poles of a sampled impulse response (Kung 1978): where the fit starts from.
//!
//! # Equation
//! `H_ij = K((i + j) dt) = U S V^T`, `Phi = pinv(U S^1/2 without last row) (the same without first)`,
//! poles `ln(eigenvalues of Phi)/dt`.
//!
//! # Symbols
//! K retardation function, dt sample interval (s).
//!
//! # Valid when
//! dt resolves the highest frequency in K, and the samples reach until K has died away.
//!
//! # Source
//! Kung, S. (1978), 12th Asilomar Conf. Circuits, Systems and Computers, 705-714.
//!
//! # Checked by
//! `closed_form_pair_is_identified`.

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use crate::math::eigen::eigenvalues;

/// `pairs` pole pairs (decay, frequency) of the impulse response `k` sampled every `dt_s`.
///
/// Real poles are joined to pairs; missing ones are spread over the band. Nothing when the
/// response is zero or an eigenproblem fails.
pub(crate) fn pole_pairs(k: &[f64], dt_s: f64, pairs: usize) -> Option<Vec<(f64, f64)>> {
    let n = k.len() / 2;
    let hankel = DMatrix::from_fn(n, n, |i, j| k[i + j]);
    let (u, s) = leading(&hankel, 2 * pairs)?;
    let order = s.iter().take_while(|&&x| x > 1e-10 * s[0]).count();
    if order == 0 {
        return None;
    }
    let observe = DMatrix::from_fn(n, order, |i, j| u[(i, j)] * s[j].sqrt());
    let up = observe.rows(0, n - 1);
    let down = observe.rows(1, n - 1);
    let phi = (up.tr_mul(&up)).cholesky()?.solve(&up.tr_mul(&down));
    let mut complex = Vec::new();
    let mut real = Vec::new();
    for z in eigenvalues(&phi)?.iter() {
        let pole = z.ln() / dt_s;
        let decay = pole.re.abs().max(0.05 * pole.im.abs()).max(1e-6 / dt_s);
        if z.im > 1e-9 {
            complex.push((decay, pole.im));
        } else if z.im.abs() <= 1e-9 && z.re > 0.0 {
            real.push(decay);
        }
    }
    real.sort_by(f64::total_cmp);
    for two in real.chunks(2) {
        let (lo, hi) = (two[0], two[two.len() - 1]);
        complex.push(((lo * hi).sqrt(), 0.3 * hi));
    }
    complex.sort_by(|a, b| a.1.total_cmp(&b.1));
    complex.truncate(pairs);
    let top = complex.last().map_or(1.0 / dt_s, |p| p.1);
    while complex.len() < pairs {
        let w = top * (complex.len() as f64 + 0.5) / pairs as f64;
        complex.push((0.4 * w, w));
    }
    Some(complex)
}

/// Leading left singular vectors of a symmetric matrix by subspace iteration from a fixed start.
fn leading(h: &DMatrix<f64>, order: usize) -> Option<(DMatrix<f64>, DVector<f64>)> {
    let n = h.ncols();
    let width = (order + 8).min(n);
    // a fixed, well-spread start: fractional parts of multiples of the golden ratio
    let start = DMatrix::from_fn(n, width, |i, j| {
        ((i * width + j + 1) as f64 * 0.618_033_988_749_894_9).fract() - 0.5
    });
    let mut q = (h * start).qr().q();
    for _ in 0..4 {
        q = (h * q).qr().q();
    }
    let svd = q.tr_mul(h).try_svd(true, false, f64::EPSILON, 10_000)?;
    let r = order.min(svd.singular_values.len());
    let u = q * svd.u?;
    Some((
        u.columns(0, r).into_owned(),
        svd.singular_values.rows(0, r).into_owned(),
    ))
}

/// Responses at i omega of the two states of a pair driven by a unit input to the first.
pub(crate) fn response(pair: (f64, f64), omega: f64) -> [Complex64; 2] {
    let (s, w) = pair;
    let l = Complex64::new(s, omega);
    let det = l * l + w * w;
    [l / det, Complex64::from(w) / det]
}

/// Their impulse responses.
pub(crate) fn impulse(pair: (f64, f64), t: f64) -> [f64; 2] {
    let e = (-pair.0 * t).exp();
    let (sin, cos) = (pair.1 * t).sin_cos();
    [e * cos, e * sin]
}
