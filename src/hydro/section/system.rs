//! Real factors with a low-rank imaginary part.
//!
//! # Equation
//! (A + i Σ u_n v_nᵀ) x = r + i Σ u_n ρ_n. With y_n = A⁻¹ u_n: x = A⁻¹ r + i Σ α_n y_n where
//! (I + i [v_m·y_n]) α = ρ - v·(A⁻¹ r). The α_n are the amplitudes of the outgoing waves.
//!
//! # Symbols
//! twin: one pair, u = cos K y e^{-K z} (even) or -sin K y e^{-K z} (odd); one hull: both.
//!
//! # Valid when
//! A, the matrix of standing waves, is regular; it is singular only at isolated frequencies, and
//! only digits proportional to the closeness are lost.
//!
//! # Source
//! Golub & Van Loan (2013), Matrix Computations, 2.1.4 (Sherman, Morrison & Woodbury).
//!
//! # Checked by
//! all tests of the solution against complex reference values.

use num_complex::Complex64;

use crate::hydro::section::assemble::Assembly;
use crate::hydro::section::real_lu::{RealLu, dot};

const PI: f64 = std::f64::consts::PI;

/// Factors of one symmetry: even, odd, or one hull alone.
pub(crate) struct System {
    lu: RealLu,
    v: Vec<Vec<f64>>,
    y: Vec<Vec<f64>>,
    inverse: [[Complex64; 2]; 2],
}

impl System {
    /// Twin problem, even (`sign` 1) or odd (-1) in y.
    pub(crate) fn twin(s: &Assembly, sign: f64) -> Option<Self> {
        let even = sign > 0.0;
        let u = s
            .point
            .iter()
            .map(|p| if even { p.re } else { p.im })
            .collect();
        let v = s
            .step
            .iter()
            .map(|q| -4.0 * PI * if even { q.im } else { q.re })
            .collect();
        Self::new(s, sign, &[u], vec![v])
    }

    /// One hull without the other.
    pub(crate) fn alone(s: &Assembly) -> Option<Self> {
        let (u1, u2): (Vec<f64>, Vec<f64>) = s.point.iter().map(|p| (p.re, p.im)).unzip();
        let (v1, v2) = s
            .step
            .iter()
            .map(|q| (-2.0 * PI * q.im, -2.0 * PI * q.re))
            .unzip();
        Self::new(s, 0.0, &[u1, u2], vec![v1, v2])
    }

    fn new(s: &Assembly, sign: f64, u: &[Vec<f64>], v: Vec<Vec<f64>>) -> Option<Self> {
        let lu = RealLu::factor(s.free.len(), s.matrix(sign))?;
        let y: Vec<Vec<f64>> = u.iter().map(|u| lu.solve(u)).collect();
        let (zero, one) = (Complex64::new(0.0, 0.0), Complex64::new(1.0, 0.0));
        let mut m = [[one, zero], [zero, one]];
        for (i, v) in v.iter().enumerate() {
            for (j, y) in y.iter().enumerate() {
                m[i][j] += Complex64::new(0.0, dot(v, y));
            }
        }
        let d = (m[0][0] * m[1][1] - m[0][1] * m[1][0]).inv();
        d.is_finite().then_some(System {
            lu,
            v,
            y,
            inverse: [[m[1][1] * d, -m[0][1] * d], [-m[1][0] * d, m[0][0] * d]],
        })
    }

    /// Solution for a real right-hand side and the wave sources ρ (twin: the first only).
    pub(crate) fn solve(&self, rhs: &[f64], rho: [f64; 2]) -> Vec<Complex64> {
        let x = self.lu.solve(rhs);
        let mut r = [0.0; 2];
        for (n, v) in self.v.iter().enumerate() {
            r[n] = rho[n] - dot(v, &x);
        }
        let i = Complex64::i();
        let alpha = self.inverse.map(|m| i * (m[0] * r[0] + m[1] * r[1]));
        let mut out: Vec<Complex64> = x.iter().map(|&x| Complex64::new(x, 0.0)).collect();
        for (y, a) in self.y.iter().zip(alpha) {
            for (o, y) in out.iter_mut().zip(y) {
                *o += a * y;
            }
        }
        out
    }
}
