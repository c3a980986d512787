//! Powers of two real records by one transform.
//!
//! # Equation
//! ```text
//! Z = DFT(a + i b),   A_k = (Z_k + conj Z_(n-k))/2,   B_k = (Z_k - conj Z_(n-k))/2i
//! ```
//! A real transform of odd length costs as much as a complex one, and records of whole minutes have odd lengths (both ends
//! count). Each record is scaled to its own size first, or the small one would drown in the rounding of the large one.
//!
//! # Source
//! Press et al. (2007), Numerical Recipes, 3rd ed., section 12.3.
//!
//! # Checked by
//! `pairs_meet_single_transforms`.

use std::cell::RefCell;

use num_complex::Complex64;
use rustfft::FftPlanner;

thread_local! {
    static PLANNER: RefCell<FftPlanner<f64>> = RefCell::new(FftPlanner::new());
}

/// |X_k|^2 for k = 0 to n/2 of two records of one length.
pub(crate) fn powers(a: &[f64], b: &[f64]) -> [Vec<f64>; 2] {
    let n = a.len();
    if n.is_multiple_of(2) || b.len() != n {
        let one = |x: &[f64]| super::forward(x).iter().map(Complex64::norm_sqr).collect();
        return [one(a), one(b)];
    }
    let size = |x: &[f64]| x.iter().fold(0.0, |m: f64, v| m.max(v.abs()));
    let scale = [a, b].map(|x| match size(x) {
        s if s > 0.0 && s.is_finite() => s,
        _ => 1.0,
    });
    let (sa, sb) = (1.0 / scale[0], 1.0 / scale[1]);
    let mut z: Vec<Complex64> = a
        .iter()
        .zip(b)
        .map(|(a, b)| Complex64::new(a * sa, b * sb))
        .collect();
    PLANNER
        .with(|p| p.borrow_mut().plan_fft_forward(n))
        .process(&mut z);
    let squares = scale.map(|s| 0.25 * s * s);
    let mut out = [const { Vec::new() }; 2];
    for k in 0..=n / 2 {
        let (p, q) = (z[k], z[(n - k) % n].conj());
        out[0].push(squares[0] * (p + q).norm_sqr());
        out[1].push(squares[1] * (p - q).norm_sqr());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, Stream};
    use crate::math::spectral::forward;

    #[test]
    fn pairs_meet_single_transforms() {
        let mut s = Stream::new(5, 0, Purpose::Other);
        for n in [1001_usize, 1000, 37] {
            // sizes apart by 1e7: metres beside radians of a small fin
            let a: Vec<f64> = (0..n).map(|_| 1e4 * s.normal()).collect();
            let b: Vec<f64> = (0..n).map(|_| 1e-3 * s.normal()).collect();
            for (got, x) in powers(&a, &b).iter().zip([&a, &b]) {
                let want: Vec<f64> = forward(x).iter().map(Complex64::norm_sqr).collect();
                let top = want.iter().copied().fold(0.0, f64::max);
                assert_eq!(got.len(), want.len());
                for (g, w) in got.iter().zip(&want) {
                    assert!((g - w).abs() < 1e-13 * top, "{n}: {g} {w}");
                }
            }
        }
        assert!(powers(&[0.0; 5], &[1.0; 5])[0].iter().all(|p| *p <= 0.0));
    }
}
