//! Response of a large sampled system at many frequencies.
//!
//! # Equation
//! ```text
//! A = Q H Q',   c (z - A)^-1 b = (c Q) (z - H)^-1 (Q' b)      H upper Hessenberg
//! ```
//!
//! # Symbols
//! z complex frequency of the sampled system.
//!
//! # Valid when
//! z is no eigenvalue.
//!
//! # Source
//! Laub (1981), IEEE Trans. AC-26, 407: efficient multivariable frequency response.
//!
//! # Checked by
//! `sampled_and_continuous_agree` through [`super::at_speed`].

use nalgebra::DMatrix;
use num_complex::Complex64;

/// c (z - A)^-1 b prepared for many z.
#[derive(Clone, Debug)]
pub(crate) struct HessenbergResponse {
    h: DMatrix<f64>,
    b: DMatrix<f64>,
    c: DMatrix<f64>,
}

impl HessenbergResponse {
    pub(crate) fn new(a: &DMatrix<f64>, b: &DMatrix<f64>, c: &DMatrix<f64>) -> Self {
        if a.nrows() < 2 {
            return HessenbergResponse {
                h: a.clone(),
                b: b.clone(),
                c: c.clone(),
            };
        }
        let (q, h) = a.clone().hessenberg().unpack();
        HessenbergResponse {
            b: q.transpose() * b,
            c: c * &q,
            h,
        }
    }

    /// Rows of c by columns of b, row by row; none at an eigenvalue.
    pub(crate) fn at(&self, z: Complex64) -> Option<Vec<Complex64>> {
        let (n, m) = (self.h.nrows(), self.b.ncols());
        if m == 0 {
            return Some(Vec::new()); // a law that moves nothing
        }
        // row-wise working copy: elimination runs along rows
        let mut t: Vec<Complex64> = Vec::with_capacity(n * n);
        for i in 0..n {
            for j in 0..n {
                let one = if i == j { z } else { Complex64::ZERO };
                t.push(one - self.h[(i, j)]);
            }
        }
        let mut x: Vec<Complex64> = (0..n)
            .flat_map(|i| (0..m).map(move |j| (i, j)))
            .map(|(i, j)| Complex64::from(self.b[(i, j)]))
            .collect();
        for k in 0..n.saturating_sub(1) {
            if t[(k + 1) * n + k].norm_sqr() > t[k * n + k].norm_sqr() {
                let (above, below) = t.split_at_mut((k + 1) * n);
                above[k * n + k..].swap_with_slice(&mut below[k..n]);
                let (above, below) = x.split_at_mut((k + 1) * m);
                above[k * m..].swap_with_slice(&mut below[..m]);
            }
            if t[k * n + k].norm_sqr() == 0.0 {
                return None;
            }
            let f = t[(k + 1) * n + k] / t[k * n + k];
            let (above, below) = t.split_at_mut((k + 1) * n);
            for (low, high) in below[k..n].iter_mut().zip(&above[k * n + k..]) {
                *low -= f * high;
            }
            let (above, below) = x.split_at_mut((k + 1) * m);
            for (low, high) in below[..m].iter_mut().zip(&above[k * m..]) {
                *low -= f * high;
            }
        }
        for k in (0..n).rev() {
            let (above, below) = x.split_at_mut((k + 1) * m);
            let row = &mut above[k * m..];
            for (j, known) in (k + 1..n).zip(below.chunks_exact(m)) {
                let v = t[k * n + j];
                for (r, y) in row.iter_mut().zip(known) {
                    *r -= v * y;
                }
            }
            let scale = t[k * n + k].inv();
            if !scale.is_finite() {
                return None;
            }
            for r in row {
                *r *= scale;
            }
        }
        let mut out = vec![Complex64::ZERO; self.c.nrows() * m];
        for i in 0..self.c.nrows() {
            for (k, y) in x.chunks_exact(m).enumerate() {
                let c = self.c[(i, k)];
                for (o, y) in out[i * m..][..m].iter_mut().zip(y) {
                    *o += y * c;
                }
            }
        }
        Some(out)
    }
}
