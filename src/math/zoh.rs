//! Sampling of linear systems: zero-order hold with fractional delay, and sampled noise.
//!
//! # Equation
//! ```text
//! x' = A x + B u            exp([A B; 0 0] T) = [Ad Bd; 0 I]
//! u arrives tau late        x(k+1) = Ad x + B1 u(k-1) + B0 u(k),   0 <= tau <= T
//!                           B0 = int_0^(T-tau) e^(As) ds B,  B1 = Bd - B0
//! noise of intensity W      Qd = int_0^T e^(As) W e^(A's) ds  (Van Loan)
//! ```
//!
//! # Symbols
//! A (n x n), B (n x m); T sample period (s); tau delay (s); W two-sided intensity per Hz.
//!
//! # Valid when
//! The input is held between samples; |A| T moderate (the exponential scales and squares).
//!
//! # Source
//! Van Loan 1978, IEEE Trans. AC-23, 395-404; Franklin, Powell & Workman, Digital Control of
//! Dynamic Systems, 3rd ed. 1998, section 4.3 (delay); Higham 2005, SIAM J. Matrix Anal. 26,
//! 1179-1193 (the exponential, of the matrix crate).
//!
//! # Checked by
//! `published_lag_and_oscillator`, `late_input_splits_the_hold`, `sampled_noise_of_an_integrator`

use nalgebra::DMatrix;

/// A sampled pair: x(k+1) = ad x(k) + bd u(k).
#[derive(Clone, Debug, PartialEq)]
pub struct Sampled {
    /// n x n.
    pub ad: DMatrix<f64>,
    /// n x m.
    pub bd: DMatrix<f64>,
}

/// Matrix exponential of a square matrix.
pub fn expm(a: &DMatrix<f64>) -> DMatrix<f64> {
    a.exp()
}

/// Zero-order hold over `period_s`.
pub fn discretise(a: &DMatrix<f64>, b: &DMatrix<f64>, period_s: f64) -> Sampled {
    let (n, m) = (a.nrows(), b.ncols());
    let mut big = DMatrix::zeros(n + m, n + m);
    big.view_mut((0, 0), (n, n)).copy_from(&(a * period_s));
    big.view_mut((0, n), (n, m)).copy_from(&(b * period_s));
    let e = expm(&big);
    Sampled {
        ad: e.view((0, 0), (n, n)).into_owned(),
        bd: e.view((0, n), (n, m)).into_owned(),
    }
}

/// Zero-order hold of an input that arrives `late_s` (0 to `period_s`) late: the sampled pair for
/// the newest input, and the share of the one before.
pub fn discretise_late(
    a: &DMatrix<f64>,
    b: &DMatrix<f64>,
    period_s: f64,
    late_s: f64,
) -> (Sampled, DMatrix<f64>) {
    let whole = discretise(a, b, period_s);
    let new = discretise(a, b, (period_s - late_s).max(0.0));
    let before = &whole.bd - &new.bd;
    (
        Sampled {
            ad: whole.ad,
            bd: new.bd,
        },
        before,
    )
}

/// Covariance that white noise of intensity `w` (n x n) adds over one period.
pub fn noise(a: &DMatrix<f64>, w: &DMatrix<f64>, period_s: f64) -> DMatrix<f64> {
    let n = a.nrows();
    let mut big = DMatrix::zeros(2 * n, 2 * n);
    big.view_mut((0, 0), (n, n)).copy_from(&(a * -period_s));
    big.view_mut((0, n), (n, n)).copy_from(&(w * period_s));
    big.view_mut((n, n), (n, n))
        .copy_from(&(a.transpose() * period_s));
    let e = expm(&big);
    let ad = e.view((n, n), (n, n)).transpose();
    let q = ad * e.view((0, n), (n, n));
    (&q + q.transpose()) * 0.5
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_lag_and_oscillator() {
        // references/F_control.json c2d.lag.S (rel 1e-9, eight digits printed)
        let one = |v: f64| DMatrix::from_element(1, 1, v);
        let lag = discretise(&one(-2.0), &one(2.0), 0.1);
        assert!((lag.ad[0] - 0.81873075).abs() < 5e-9);
        assert!((lag.bd[0] - 0.18126925).abs() < 5e-9);
        // c2d.osc.S: wn = 3, zeta = 0.2, T = 0.05
        let a = DMatrix::from_row_slice(2, 2, &[0.0, 1.0, -9.0, -1.2]);
        let b = DMatrix::from_row_slice(2, 1, &[0.0, 1.0]);
        let s = discretise(&a, &b, 0.05);
        for (got, want) in [
            (s.ad[(0, 0)], 0.98899224),
            (s.ad[(0, 1)], 0.048347785),
            (s.ad[(1, 0)], -0.43513007),
            (s.ad[(1, 1)], 0.9309749),
            (s.bd[0], 0.0012230839),
            (s.bd[1], 0.048347785),
        ] {
            assert!((got - want).abs() < 6e-9, "{got} {want}"); // half of the last printed digit
        }
    }

    #[test]
    fn late_input_splits_the_hold() {
        // double integrator, closed form: B0 = [(T-tau)^2/2, T-tau]
        let a = DMatrix::from_row_slice(2, 2, &[0.0, 1.0, 0.0, 0.0]);
        let b = DMatrix::from_row_slice(2, 1, &[0.0, 1.0]);
        let (s, before) = discretise_late(&a, &b, 0.1, 0.04);
        assert!((s.bd[0] - 0.0018).abs() < 1e-15 && (s.bd[1] - 0.06).abs() < 1e-15);
        assert!((before[0] - (0.005 - 0.0018)).abs() < 1e-15 && (before[1] - 0.04).abs() < 1e-15);
        let (s, before) = discretise_late(&a, &b, 0.1, 0.1);
        assert!(s.bd.norm() < 1e-15 && (before[1] - 0.1).abs() < 1e-15);
    }

    #[test]
    fn sampled_noise_of_an_integrator() {
        let a = DMatrix::from_row_slice(2, 2, &[0.0, 1.0, 0.0, 0.0]);
        let w = DMatrix::from_row_slice(2, 2, &[0.0, 0.0, 0.0, 1.0]);
        let q = noise(&a, &w, 0.5);
        // T^3/3, T^2/2, T
        assert!((q[(0, 0)] - 0.125 / 3.0).abs() < 1e-14);
        assert!((q[(0, 1)] - 0.125).abs() < 1e-14);
        assert!((q[(1, 1)] - 0.5).abs() < 1e-14);
    }
}
