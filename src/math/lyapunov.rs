//! Lyapunov equations, continuous and discrete, and the covariance of a system driven by white noise.
//!
//! # Equation
//! ```text
//! continuous  A'P + P A + Q = 0          discrete  A'P A - P + Q = 0
//! covariance  A P + P A' + W = 0
//! ```
//! Complex Schur form A = U T U^H, then column by column a triangular solve (Bartels-Stewart), and
//! one step of refinement on the residual.
//!
//! # Symbols
//! A, P, Q (n x n), Q symmetric; W: two-sided intensity of white noise, per Hz (2 pi S0 for a
//! two-sided density S0 per rad/s).
//!
//! # Valid when
//! No two eigenvalues sum to zero (continuous) or multiply to one (discrete); always so when A is
//! stable. `None` otherwise.
//!
//! # Source
//! Bartels & Stewart 1972, Communications of the ACM 15, 820-826; Kitagawa 1977, Int. J. Control
//! 25, 745-753 (discrete).
//!
//! # Checked by
//! `published_values`, `random_vibration_of_an_oscillator`, `discrete_scalar_and_residual`,
//! `residuals_are_small_on_random_matrices`, `unstable_pairs_are_refused`

use nalgebra::{Complex, DMatrix};

use super::eigen::mirror;

type Cm = DMatrix<Complex<f64>>;

/// U, T of A = U T U^H with upper triangular T.
fn schur(a: &DMatrix<f64>) -> Option<(Cm, Cm)> {
    let n = a.nrows();
    if n == 0 || n != a.ncols() || !a.iter().all(|x| x.is_finite()) {
        return None;
    }
    let mut m = a.map(|x| Complex::new(x, 0.0));
    let mut q = Cm::identity(n, n);
    for attempt in 0..6 {
        // a little slack each time: clusters of equal eigenvalues may never meet the last bit
        let eps = f64::EPSILON * f64::from(1 << attempt);
        if let Some(s) = m.clone().try_schur(eps, 60 * n.max(10)) {
            let (u, t) = s.unpack();
            return Some((q * u, t));
        }
        let v = mirror(n, attempt);
        let h = DMatrix::identity(n, n) - &v * v.transpose() * 2.0;
        let h = h.map(|x| Complex::new(x, 0.0));
        m = &h * m * &h;
        q *= h;
    }
    None
}

/// Solves with one triangular system per column; `discrete` picks the equation.
fn solve(u: &Cm, t: &Cm, q: &DMatrix<f64>, discrete: bool) -> Option<DMatrix<f64>> {
    let n = t.nrows();
    let c = u.adjoint() * q.map(|x| Complex::new(x, 0.0)) * u;
    let th = t.adjoint();
    let mut y = Cm::zeros(n, n);
    let size = t.norm().max(f64::MIN_POSITIVE);
    let floor = size * f64::EPSILON * if discrete { size.max(1.0) } else { 1.0 };
    for j in 0..n {
        let mut done = nalgebra::DVector::<Complex<f64>>::zeros(n);
        for k in 0..j {
            done += y.column(k) * t[(k, j)];
        }
        let rhs = if discrete {
            -(c.column(j) + &th * done)
        } else {
            -(c.column(j) + done)
        };
        // lower triangular: forward substitution
        let tjj = t[(j, j)];
        for i in 0..n {
            let mut s = rhs[i];
            for k in 0..i {
                let l = if discrete {
                    th[(i, k)] * tjj
                } else {
                    th[(i, k)]
                };
                s -= l * y[(k, j)];
            }
            let d = if discrete {
                th[(i, i)] * tjj - 1.0
            } else {
                th[(i, i)] + tjj
            };
            if d.norm() <= floor {
                return None;
            }
            y[(i, j)] = s / d;
        }
    }
    let p = (u * y * u.adjoint()).map(|x| x.re);
    p.iter()
        .all(|x| x.is_finite())
        .then(|| (&p + p.transpose()) * 0.5)
}

fn refined(a: &DMatrix<f64>, q: &DMatrix<f64>, discrete: bool) -> Option<DMatrix<f64>> {
    let (u, t) = schur(a)?;
    let mut p = solve(&u, &t, q, discrete)?;
    let r = if discrete {
        a.transpose() * &p * a - &p + q
    } else {
        let pa = &p * a;
        pa.transpose() + pa + q
    };
    p += solve(&u, &t, &r, discrete)?;
    Some(p)
}

/// P of A'P + P A = -Q.
pub fn continuous(a: &DMatrix<f64>, q: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    refined(a, q, false)
}

/// P of A'P A - P = -Q.
pub fn discrete(a: &DMatrix<f64>, q: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    refined(a, q, true)
}

/// Covariance of x' = A x + noise of intensity `w`.
pub fn covariance(a: &DMatrix<f64>, w: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    continuous(&a.transpose(), w)
}

/// Covariance of x(k+1) = A x(k) + noise of covariance `w`.
pub fn covariance_discrete(a: &DMatrix<f64>, w: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    discrete(&a.transpose(), w)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TOL_REL: f64 = 1e-12; // rounding, well-conditioned

    #[test]
    fn published_values() {
        // references/F_control.json lyap.S (Ogata, Modern Control Engineering)
        let a = DMatrix::from_row_slice(2, 2, &[0.0, 1.0, -2.0, -3.0]);
        let p = continuous(&a, &DMatrix::identity(2, 2)).unwrap();
        let want = DMatrix::from_row_slice(2, 2, &[1.25, 0.25, 0.25, 0.25]);
        assert!((p - want).norm() < TOL_REL);
        // h2.S: wn = 2, zeta = 0.3; H2 norm = sqrt(C P C') with unit white noise
        let a = DMatrix::from_row_slice(2, 2, &[0.0, 1.0, -4.0, -1.2]);
        let b = DMatrix::from_row_slice(2, 1, &[0.0, 4.0]);
        let p = covariance(&a, &(&b * b.transpose())).unwrap();
        assert!((p[(0, 0)].sqrt() - 1.2909944).abs() < 5e-8); // printed digits
    }

    #[test]
    fn random_vibration_of_an_oscillator() {
        // references/F_control.json lyapcov.S: wn = 1.2, zeta = 0.15, S0 = 0.5
        let (wn, zeta, s0) = (1.2, 0.15, 0.5);
        let a = DMatrix::from_row_slice(2, 2, &[0.0, 1.0, -wn * wn, -2.0 * zeta * wn]);
        let mut w = DMatrix::zeros(2, 2);
        w[(1, 1)] = 2.0 * std::f64::consts::PI * s0;
        let p = covariance(&a, &w).unwrap();
        assert!((p[(0, 0)] - 3.0300855).abs() < 5e-8); // printed digits
        assert!((p[(1, 1)] - 4.3633231).abs() < 5e-8);
        assert!(p[(0, 1)].abs() < TOL_REL);
    }

    #[test]
    fn discrete_scalar_and_residual() {
        let one = |v: f64| DMatrix::from_element(1, 1, v);
        let p = discrete(&one(0.9), &one(1.0)).unwrap();
        assert!((p[0] - 1.0 / 0.19).abs() < 1e-11);
    }

    #[test]
    fn residuals_are_small_on_random_matrices() {
        for n in [3_usize, 8, 20, 30] {
            let a = DMatrix::from_fn(n, n, |i, j| {
                ((7 * i * i + 3 * j + 1) as f64).sin() / n as f64
            }) - DMatrix::identity(n, n) * 0.4;
            let q = DMatrix::from_fn(n, n, |i, j| ((i * j + i + j) as f64).cos());
            let p = continuous(&a, &q).unwrap();
            let r = a.transpose() * &p + &p * &a + &q;
            assert!(
                r.norm() < 1e-12 * (1.0 + p.norm()) * n as f64,
                "{n}: {}",
                r.norm()
            );
            let p = discrete(&(&a * 0.7), &q).unwrap();
            let r = a.transpose() * &p * &a * 0.49 - &p + &q;
            assert!(
                r.norm() < 1e-12 * (1.0 + p.norm()) * n as f64,
                "{n}: {}",
                r.norm()
            );
        }
    }

    #[test]
    fn unstable_pairs_are_refused() {
        let a = DMatrix::from_row_slice(2, 2, &[1.0, 0.0, 0.0, -1.0]); // 1 + (-1) = 0
        assert!(continuous(&a, &DMatrix::identity(2, 2)).is_none());
        let a = DMatrix::from_row_slice(2, 2, &[2.0, 0.0, 0.0, 0.5]); // 2 * 0.5 = 1
        assert!(discrete(&a, &DMatrix::identity(2, 2)).is_none());
        assert!(
            continuous(
                &DMatrix::from_element(2, 2, f64::NAN),
                &DMatrix::identity(2, 2)
            )
            .is_none()
        );
    }
}
