//! Small linear systems carried over a step exactly while their input is a parabola in time.
//!
//! # Equation
//! ```text
//! x' = f (A x + b s),   s(t) = q0 + q1 r + q2 r^2/2,   r = t/span
//! x(span) = E x(0) + B0 q0 + B1 q1 + B2 q2,   all of them functions of f span
//! I_m = int_0^T e^(l (T - t)) t^m dt = (m I_(m-1) - T^m)/l = sum_k l^k T^(m+k+1) m!/(m+k+1)!
//! ```
//! E and B are formed at three rates f that lie 5 % apart and interpolated between them; when f leaves that range they
//! are formed anew.
//!
//! # Symbols
//! f rate, 1/s (speed over semichord of a lift lag, speed over distance of a delay line); l eigenvalue, 1/s.
//!
//! # Valid when
//! f changes little within a step. The interpolation errs by less than 1e-5 of the weights at a rate times span of 2.
//!
//! # Source
//! Exponential integrators: M. Hochbruck, A. Ostermann (2010), Acta Numerica 19, 209, section 2; block exponential: C. F.
//! Van Loan (1978), IEEE Trans. AC-23, 395.
//!
//! # Checked by
//! `moments_meet_their_series`, `a_lag_follows_a_parabola`, `a_delay_line_follows_fine_steps`.

#![allow(clippy::inline_always)] // compiled anew with the march's wide vectors

use nalgebra::SMatrix;
use num_complex::Complex64;

use crate::dynamics::surface_force::delay_matrices;
use crate::hydro::unsteady::{KUSSNER, WAGNER};

/// Relative width of the range of rates to either side.
const RANGE: f64 = 0.05;

/// Weights as a parabola in the rate.
#[derive(Clone, Debug)]
pub(super) struct Weights<const N: usize> {
    base_1_s: f64,
    terms: [[f64; N]; 3],
}

impl<const N: usize> Weights<N> {
    pub(super) fn new() -> Self {
        Weights {
            base_1_s: f64::NAN,
            terms: [[0.0; N]; 3],
        }
    }

    /// Writes the weights at `rate_1_s` to `out`; `exactly` forms them.
    #[inline(always)]
    pub(super) fn at(
        &mut self,
        rate_1_s: f64,
        exactly: impl Fn(f64) -> [f64; N],
        out: &mut [f64; N],
    ) {
        let mut d = rate_1_s / self.base_1_s - 1.0;
        if d.is_nan() || d.abs() > RANGE {
            self.form(rate_1_s, exactly);
            d = 0.0;
        }
        let [a, b, c] = &self.terms;
        for i in 0..N {
            out[i] = a[i] + d * (b[i] + d * c[i]);
        }
    }

    #[cold]
    fn form(&mut self, rate_1_s: f64, exactly: impl Fn(f64) -> [f64; N]) {
        let [low, mid, high] = [1.0 - RANGE, 1.0, 1.0 + RANGE].map(|s| exactly(s * rate_1_s));
        self.base_1_s = rate_1_s;
        self.terms[0] = mid;
        for i in 0..N {
            self.terms[1][i] = (high[i] - low[i]) / (2.0 * RANGE);
            self.terms[2][i] = (high[i] - 2.0 * mid[i] + low[i]) / (2.0 * RANGE * RANGE);
        }
    }
}

/// `int_0^T e^(l (T - t)) t^m dt` for m = 0, 1, 2.
pub(super) fn moments(l: Complex64, span_s: f64) -> [Complex64; 3] {
    let z = l * span_s;
    let unit: [Complex64; 3] = if z.norm() < 1.0 {
        // twenty terms of |z|^k k! leave 1e-19
        std::array::from_fn(|m| {
            let mut term = Complex64::from(1.0 / (m as f64 + 1.0));
            let mut sum = term;
            for k in 1..20 {
                term *= z / (m + k + 1) as f64;
                sum += term;
            }
            sum
        })
    } else {
        let i0 = (z.exp() - 1.0) / z;
        let i1 = (i0 - 1.0) / z;
        [i0, i1, (2.0 * i1 - 1.0) / z]
    };
    let [a, b, c] = unit;
    [
        a * span_s,
        b * span_s * span_s,
        c * span_s * span_s * span_s,
    ]
}

/// Numbers of the four lift lags of a surface: for each, decay and three weights of a step.
pub(super) const LAG: usize = 4 * 4;

/// Their weights at `rate_1_s` (speed over semichord), four times four states.
pub(super) fn lag_weights(rate_1_s: f64, step_s: f64) -> [f64; LAG] {
    let mut out = [0.0; LAG];
    for (k, [share, decay]) in WAGNER.iter().chain(&KUSSNER).enumerate() {
        let l = -rate_1_s * decay;
        let gain = -l * share;
        let i = moments(Complex64::from(l), step_s).map(|v| v.re);
        out[k] = libm::exp(l * step_s);
        out[4 + k] = gain * i[0];
        out[8 + k] = gain * i[1] / step_s;
        out[12 + k] = gain * 0.5 * i[2] / (step_s * step_s);
    }
    out
}

/// Numbers of a delay line: transition and three weights of a step.
pub(super) const DELAY: usize = 16 + 3 * 4;

/// Its weights at `rate_1_s` (speed over distance); matrices column by column.
pub(super) fn delay_weights(rate_1_s: f64, step_s: f64) -> [f64; DELAY] {
    let e = delay_exponential(rate_1_s * step_s);
    std::array::from_fn(|k| e[(k % 4, k / 4)])
}

/// Exponential of the line with its input's parabola as three more states.
fn delay_exponential(rate_span: f64) -> SMatrix<f64, 7, 7> {
    let (a, b, _) = delay_matrices();
    let mut m = SMatrix::<f64, 7, 7>::zeros();
    // states scaled by powers of the line's own frequency (about 5 over the delay), or the exponential would lose digits
    let scale = [1.0, 5.0, 25.0, 125.0];
    for i in 0..4 {
        for j in 0..4 {
            m[(i, j)] = rate_span * a[i][j] * scale[j] / scale[i];
        }
        m[(i, 4)] = rate_span * b[i] / scale[i];
    }
    m[(4, 5)] = 1.0;
    m[(5, 6)] = 1.0;
    let mut e = m.exp();
    for i in 0..4 {
        for j in 0..7 {
            let from = if j < 4 { scale[j] } else { 1.0 };
            e[(i, j)] *= scale[i] / from;
        }
    }
    e
}

/// A delay line `z` carried on over a step, its input a parabola `q`.
pub(super) fn carry_delay(w: &[f64; DELAY], z: &[f64], q: [f64; 3], out: &mut [f64]) {
    let columns = w.chunks_exact(4).zip(z.iter().chain(&q));
    let mut sum = [0.0; 4];
    for (column, x) in columns {
        for (s, c) in sum.iter_mut().zip(column) {
            *s += c * x;
        }
    }
    out[..4].copy_from_slice(&sum);
}

/// Parabola `q0 + q1 r + q2 r^2/2` through values at r = 0, 1/2, 1.
pub(super) fn through_step([now, middle, end]: [f64; 3]) -> [f64; 3] {
    [
        now,
        4.0 * middle - 3.0 * now - end,
        4.0 * (now - 2.0 * middle + end),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dynamics::surface_force::delay_derivative;
    use crate::hydro::unsteady;
    use crate::math::ode::Rk4;

    #[test]
    fn moments_meet_their_series() {
        // both branches near their border, against Simpson's rule in 2000 panels
        for l in [
            Complex64::new(-4.9, 0.3),
            Complex64::new(-5.1, -1.0),
            Complex64::new(-0.01, 4.0),
        ] {
            let got = moments(l, 0.2);
            for (m, got) in got.iter().enumerate() {
                let f = |t: f64| (l * (0.2 - t)).exp() * [1.0, t, t * t][m];
                let d = 0.2 / 2000.0;
                let sum: Complex64 = (0..1000)
                    .map(|i| {
                        let t = 2.0 * d * f64::from(i);
                        (f(t) + 4.0 * f(t + d) + f(t + 2.0 * d)) * (d / 3.0)
                    })
                    .sum();
                assert!((got - sum).norm() < 1e-13, "{l} {m}: {got} {sum}");
            }
        }
    }

    #[test]
    fn a_lag_follows_a_parabola() {
        let (u, b, h) = (9.0, 0.5, 0.1);
        let s = |t: f64| 0.3 + 2.0 * t - 15.0 * t * t;
        let x0 = [0.02, -0.1, 0.05, 0.4];
        let mut rk4 = Rk4::new(5);
        let mut x = [0.02, -0.1, 0.05, 0.4, 0.0];
        for _ in 0..1000 {
            rk4.step(h / 1000.0, &mut x, |_, x, dx| {
                dx[..2].copy_from_slice(&unsteady::wagner_rates(s(x[4]), [x[0], x[1]], u, b));
                dx[2..4].copy_from_slice(&unsteady::kussner_rates(s(x[4]), [x[2], x[3]], u, b));
                dx[4] = 1.0;
            });
        }
        // interpolated 3 % off the rate at which the weights were formed
        let mut w = Weights::<LAG>::new();
        let exactly = |f| lag_weights(f, h);
        let mut near = [0.0; LAG];
        w.at(0.97 * u / b, exactly, &mut near);
        w.at(u / b, exactly, &mut near);
        for (w, tol) in [(lag_weights(u / b, h), 1e-12), (near, 1e-5)] {
            let q = through_step([s(0.0), s(0.5 * h), s(h)]);
            for k in 0..4 {
                let got = w[k] * x0[k] + w[4 + k] * q[0] + w[8 + k] * q[1] + w[12 + k] * q[2];
                assert!((got - x[k]).abs() < tol, "{k}: {got} {}", x[k]);
            }
        }
    }

    #[test]
    fn a_delay_line_follows_fine_steps() {
        let (rate, h) = (3.0, 0.1);
        let s = |t: f64| 0.3 + 2.0 * t - 15.0 * t * t;
        let z0 = [0.2, -0.5, 1.0, 3.0];
        let mut rk4 = Rk4::new(5);
        let mut z = [0.2, -0.5, 1.0, 3.0, 0.0];
        for _ in 0..400 {
            rk4.step(h / 400.0, &mut z, |_, z, dz| {
                delay_derivative(&z[..4], s(z[4]), rate, &mut dz[..4]);
                dz[4] = 1.0;
            });
        }
        let mut got = [0.0; 4];
        let w = delay_weights(rate, h);
        carry_delay(&w, &z0, through_step([s(0.0), s(0.5 * h), s(h)]), &mut got);
        for k in 0..4 {
            assert!(
                (got[k] - z[k]).abs() < 1e-9 * (1.0 + z[k].abs()),
                "{got:?} {z:?}"
            );
        }
    }
}
