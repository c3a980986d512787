//! Gauss-Legendre quadrature on the pieces between breakpoints.
//!
//! Shapes of craft are smooth between stations, strut ends and joins of ends; at strut ends of
//! elliptic form the thickness falls as a square root. Each piece is mapped by
//! `x = mid + half sin(pi u / 2)`, which turns a square root at an end into a smooth function.
//!
//! # Source
//! Press, Teukolsky, Vetterling & Flannery (2007), Numerical Recipes, 3rd ed., section 4.6: nodes
//! by Newton's iteration on the Legendre recurrence.
//!
//! # Checked by
//! `polynomials_are_exact`, `square_root_ends_are_smooth`

use std::f64::consts::FRAC_PI_2;

/// Nodes and weights on [-1, 1], ascending.
pub fn gauss_legendre(n: usize) -> (Vec<f64>, Vec<f64>) {
    let mut x = vec![0.0; n];
    let mut w = vec![0.0; n];
    for i in 0..n {
        let mut t = -(std::f64::consts::PI * (i as f64 + 0.75) / (n as f64 + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..100 {
            let (mut p, mut before) = (1.0, 0.0);
            for k in 0..n {
                let k = k as f64;
                (p, before) = (((2.0 * k + 1.0) * t * p - k * before) / (k + 1.0), p);
            }
            slope = n as f64 * (t * p - before) / (t * t - 1.0);
            let step = p / slope;
            t -= step;
            if step.abs() < 1e-15 {
                break;
            }
        }
        x[i] = t;
        w[i] = 2.0 / ((1.0 - t * t) * slope * slope);
    }
    (x, w)
}

/// Nodes and weights of an `n`-point rule on each piece between `breaks` (ascending; pieces of no
/// length are skipped), with the sine map of the module text.
pub fn piecewise(breaks: &[f64], n: usize) -> Vec<(f64, f64)> {
    let (u, w) = gauss_legendre(n);
    let mut out = Vec::with_capacity(n * breaks.len());
    for pair in breaks.windows(2) {
        let (mid, half) = (0.5 * (pair[0] + pair[1]), 0.5 * (pair[1] - pair[0]));
        if half <= 0.0 {
            continue;
        }
        for (u, w) in u.iter().zip(&w) {
            let (s, c) = (FRAC_PI_2 * u).sin_cos();
            out.push((mid + half * s, half * c * FRAC_PI_2 * w));
        }
    }
    out
}

/// Ascending values without repetitions closer than `gap`.
pub fn merged(mut values: Vec<f64>, gap: f64) -> Vec<f64> {
    values.retain(|v| v.is_finite());
    values.sort_by(f64::total_cmp);
    values.dedup_by(|a, b| (*a - *b).abs() < gap);
    values
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polynomials_are_exact() {
        let (x, w) = gauss_legendre(5);
        let sum: f64 = x.iter().zip(&w).map(|(x, w)| w * x.powi(8)).sum();
        assert!((sum - 2.0 / 9.0).abs() < 1e-14); // degree 8 < 2 n, closed form 2/9
    }

    #[test]
    fn square_root_ends_are_smooth() {
        // area of a half disc
        let sum: f64 = piecewise(&[-1.0, 1.0], 24)
            .iter()
            .map(|(x, w)| w * (1.0 - x * x).max(0.0).sqrt())
            .sum();
        assert!((sum - FRAC_PI_2).abs() < 1e-13); // rounding only
    }
}
