//! The couplings of one input: common poles, outputs by least squares, poles by Gauss-Newton.
//!
//! For given poles the outputs follow from linear least squares under c F^-1 g = 0; what is left
//! is a residual that depends on the poles only (variable projection, Golub & Pereyra 1973, SIAM
//! J. Numer. Anal. 10), and its sum of squares is made small by Levenberg's damped steps in the
//! logarithms of decay and frequency, so that every trial is stable.
//!
//! # Equation
//! `min over (s, w) of min over c of |W (c (i omega - F(s, w))^-1 g - target)|^2`, `c F^-1 g = 0`.
//!
//! # Symbols
//! s decay, w frequency of a pair (1/s, rad/s); c output, g unit input; W the inverse aims.
//!
//! # Valid when
//! The start is within reach of a good minimum; more pairs are tried until the aims are met.
//!
//! # Source
//! Golub, G. H. & Pereyra, V. (1973), SIAM J. Numer. Anal. 10, 413-432; Levenberg, K. (1944),
//! Quart. Appl. Math. 2, 164-168.
//!
//! # Checked by
//! `closed_form_pair_is_identified`, `memory_meets_the_aims_on_the_craft`.

use nalgebra::{DMatrix, DVector};

use super::fit::{AIM_K, Target};
use super::hankel::{impulse, pole_pairs, response};

/// Steps of the pole search at most.
const STEPS: usize = 40;
/// 5 % at the aim of 2 %.
const NATURAL_SLACK: f64 = 2.5;

/// Fitted couplings of one input.
pub(crate) struct Column {
    /// Decay and frequency of each pair, 1/s and rad/s.
    pub(crate) pairs: Vec<(f64, f64)>,
    /// Output of each active mode: two numbers a pair.
    pub(crate) output: Vec<Vec<f64>>,
}

/// Weighted equations of the couplings of input `j`: same unknowns' basis, weights by row.
struct Equations<'a> {
    target: &'a Target,
    active: &'a [usize],
    input: usize,
    /// Weights by active row and equation.
    weight: Vec<Vec<f64>>,
    /// Weighted right-hand sides.
    rhs: Vec<DVector<f64>>,
}

/// Pairs are added until the errors are this share of their aims: where sway and roll excitation
/// nearly cancel, roll shows the fit's errors several times enlarged.
const ENOUGH: f64 = 0.2;

/// The couplings of input `j` with as many pairs, from `least` to `most`, as the aims need.
pub(crate) fn fit_column(
    target: &Target,
    active: &[usize],
    j: usize,
    (least, most): (usize, usize),
) -> Option<Column> {
    let mut best: Option<(Column, f64)> = None;
    for pairs in least..=most.max(least) {
        let Some((column, worst)) = fit_with(target, active, j, pairs) else {
            continue;
        };
        if best.as_ref().is_none_or(|(_, w)| worst < *w) {
            best = Some((column, worst));
        }
        if worst <= ENOUGH {
            break;
        }
    }
    best.map(|(column, _)| column)
}

/// With a given number of pairs; also the largest residual, 1 where an aim is just met.
fn fit_with(target: &Target, active: &[usize], j: usize, pairs: usize) -> Option<(Column, f64)> {
    let k: Vec<f64> = target.k.iter().map(|k| k[(j, j)]).collect();
    let start = pole_pairs(&k, target.time[1], pairs)?;
    let equations = Equations::new(target, active, j);
    let mut theta: Vec<f64> = start
        .iter()
        .flat_map(|&(s, w)| [s.ln(), w.max(1e-3 * s).ln()])
        .collect();
    let (_, mut residual) = equations.solve(&theta)?;
    let mut cost = residual.norm_squared();
    let mut damping = 1e-2;
    for _ in 0..STEPS {
        let jacobian = equations.jacobian(&theta, &residual)?;
        let normal = jacobian.tr_mul(&jacobian);
        let gradient = jacobian.tr_mul(&residual);
        let mut better = false;
        for _ in 0..6 {
            let mut m = normal.clone();
            for q in 0..theta.len() {
                m[(q, q)] += damping * normal[(q, q)].max(1e-12 * cost);
            }
            let step = m.cholesky()?.solve(&gradient);
            let longest = step.amax();
            let shrink = if longest > 0.5 { 0.5 / longest } else { 1.0 };
            let trial: Vec<f64> = theta
                .iter()
                .zip(step.iter())
                .map(|(t, s)| t - shrink * s)
                .collect();
            if let Some((_, r)) = equations
                .solve(&trial)
                .filter(|(_, r)| r.norm_squared() < cost)
            {
                let gain = 1.0 - r.norm_squared() / cost;
                cost = r.norm_squared();
                theta = trial;
                residual = r;
                damping = (damping * 0.2).max(1e-9);
                better = gain > 1e-4;
                break;
            }
            damping *= 6.0;
        }
        if !better {
            break;
        }
    }
    let (output, residual) = equations.solve(&theta)?;
    let column = Column {
        pairs: pairs_of(&theta),
        output: output.iter().map(|y| y.iter().copied().collect()).collect(),
    };
    Some((column, equations.worst(&residual)))
}

fn pairs_of(theta: &[f64]) -> Vec<(f64, f64)> {
    theta
        .chunks_exact(2)
        .map(|t| (t[0].exp(), t[1].exp()))
        .collect()
}

impl<'a> Equations<'a> {
    fn new(target: &'a Target, active: &'a [usize], j: usize) -> Self {
        let mut weight = Vec::new();
        let mut rhs = Vec::new();
        for &i in active {
            let mut w = Vec::new();
            let mut y = Vec::new();
            for n in 0..target.omega.len() {
                let (wb, wa) = target.weights(n, i, j);
                w.extend([wb, wa]);
                y.extend([
                    wb * target.b[n][(i, j)],
                    wa * (target.a[n][(i, j)] - target.a_inf[(i, j)]),
                ]);
            }
            let wk = 1.0 / (AIM_K * (target.k_peak[i] * target.k_peak[j]).sqrt());
            for k in &target.k {
                w.push(wk);
                y.push(wk * k[(i, j)]);
            }
            weight.push(w);
            rhs.push(DVector::from_vec(y));
        }
        Equations {
            target,
            active,
            input: j,
            weight,
            rhs,
        }
    }

    /// Responses of the states in the order of the equations, and at zero frequency.
    fn basis(&self, pairs: &[(f64, f64)]) -> (DMatrix<f64>, DVector<f64>) {
        let rows = self.rhs[0].len();
        let mut m = DMatrix::zeros(rows, 2 * pairs.len());
        let mut zero = DVector::zeros(2 * pairs.len());
        for (p, &pair) in pairs.iter().enumerate() {
            for (n, &w) in self.target.omega.iter().enumerate() {
                for (q, h) in response(pair, w).iter().enumerate() {
                    m[(2 * n, 2 * p + q)] = h.re;
                    m[(2 * n + 1, 2 * p + q)] = h.im / w;
                }
            }
            let base = 2 * self.target.omega.len();
            for (n, &t) in self.target.time.iter().enumerate() {
                for (q, h) in impulse(pair, t).iter().enumerate() {
                    m[(base + n, 2 * p + q)] = *h;
                }
            }
            for (q, h) in response(pair, 0.0).iter().enumerate() {
                zero[2 * p + q] = h.re;
            }
        }
        (m, zero)
    }

    /// Outputs by constrained least squares, and the residuals of all rows.
    fn solve(&self, theta: &[f64]) -> Option<(Vec<DVector<f64>>, DVector<f64>)> {
        let (basis, zero) = self.basis(&pairs_of(theta));
        // outputs orthogonal to `zero`: a reflection turns it to the first axis, which is dropped
        let reflect = reflection(&zero);
        let free = (&basis * &reflect).columns(1, zero.len() - 1).into_owned();
        let (rows, width) = free.shape();
        let mut residuals = DVector::zeros(rows * self.rhs.len());
        let mut outputs = Vec::new();
        for (i, (w, y)) in self.weight.iter().zip(&self.rhs).enumerate() {
            let mut m = free.clone();
            for mut column in m.column_iter_mut() {
                for (x, wi) in column.iter_mut().zip(w) {
                    *x *= wi;
                }
            }
            let size = DVector::from_fn(width, |q, _| m.column(q).norm().max(1e-300));
            for (q, mut column) in m.column_iter_mut().enumerate() {
                column /= size[q];
            }
            // normal equations with the tiniest ridge: poles that meet must not stop the search
            let mut normal = m.tr_mul(&m);
            for q in 0..width {
                normal[(q, q)] += 1e-13;
            }
            let factor = normal.cholesky()?;
            let mut x = factor.solve(&m.tr_mul(y));
            let mut r = y - &m * &x;
            // one refinement takes out what the squared condition number cost
            x += factor.solve(&m.tr_mul(&r));
            r = y - &m * &x;
            if !r.iter().all(|v| v.is_finite()) {
                return None;
            }
            residuals.rows_mut(i * rows, rows).copy_from(&r);
            let mut full = DVector::zeros(width + 1);
            for q in 0..width {
                full[q + 1] = x[q] / size[q];
            }
            outputs.push(&reflect * full);
        }
        Some((outputs, residuals))
    }

    /// Largest residual over its aim; damping at natural frequencies may miss its closer aim by
    /// `NATURAL_SLACK` before another pair is tried.
    fn worst(&self, residual: &DVector<f64>) -> f64 {
        let rows = self.rhs[0].len();
        let mut worst: f64 = 0.0;
        for (q, r) in residual.iter().enumerate() {
            let (row, n) = (q / rows, q % rows);
            let close = n % 2 == 0
                && n / 2 < self.target.omega.len()
                && self.target.is_natural(n / 2, self.active[row], self.input);
            worst = worst.max(r.abs() / if close { NATURAL_SLACK } else { 1.0 });
        }
        worst
    }

    /// Derivative of the residuals with the parameters by forward difference.
    fn jacobian(&self, theta: &[f64], at: &DVector<f64>) -> Option<DMatrix<f64>> {
        const H: f64 = 1e-5;
        let mut m = DMatrix::zeros(at.len(), theta.len());
        for q in 0..theta.len() {
            let mut t = theta.to_vec();
            t[q] += H;
            let (_, r) = self.solve(&t)?;
            m.set_column(q, &((r - at) / H));
        }
        Some(m)
    }
}

/// Symmetric orthogonal matrix whose first column is along `z`.
fn reflection(z: &DVector<f64>) -> DMatrix<f64> {
    let n = z.len();
    let mut v = z / z.norm().max(1e-300);
    // reflect e1 to -sign(z1) z / |z|: no cancellation
    let sign = if v[0] >= 0.0 { 1.0 } else { -1.0 };
    v[0] += sign;
    let scale = 2.0 / v.norm_squared();
    DMatrix::identity(n, n) - &v * v.transpose() * scale
}
