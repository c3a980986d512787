//! Frequency response of a state-space model, fast at many frequencies.
//!
//! # Equation
//! ```text
//! G(z) = C (z I - A)^-1 B + D = C Q (z I - H)^-1 Q' B + D,   A = Q H Q', H upper Hessenberg
//! z = s (continuous),  z = exp(s T) (sampled)
//! ```
//! A Hessenberg system is solved in n^2 operations by elimination of its one sub-diagonal.
//!
//! # Symbols
//! s complex frequency (1/s), T sample period (s).
//!
//! # Valid when
//! z is no eigenvalue of A; there the response is refused, not infinite.
//!
//! # Source
//! Laub 1981, IEEE Trans. AC-26, 407-408: frequency response by the Hessenberg form.
//!
//! # Checked by
//! `hessenberg_response_is_the_plain_one`

use nalgebra::DMatrix;
use num_complex::Complex64;

/// A linear model of n states, m inputs, p outputs.
#[derive(Clone, Debug, PartialEq)]
pub struct StateSpace {
    /// n x n.
    pub a: DMatrix<f64>,
    /// n x m.
    pub b: DMatrix<f64>,
    /// p x n.
    pub c: DMatrix<f64>,
    /// p x m.
    pub d: DMatrix<f64>,
    /// Sample period, s; none for a continuous model.
    pub period_s: Option<f64>,
}

impl StateSpace {
    /// This model after `first`: y = self(first(u)).
    #[must_use]
    pub fn after(&self, first: &StateSpace) -> StateSpace {
        let (n1, n2) = (first.a.nrows(), self.a.nrows());
        let n = n1 + n2;
        let mut a = DMatrix::zeros(n, n);
        a.view_mut((0, 0), (n1, n1)).copy_from(&first.a);
        a.view_mut((n1, 0), (n2, n1))
            .copy_from(&(&self.b * &first.c));
        a.view_mut((n1, n1), (n2, n2)).copy_from(&self.a);
        let mut b = DMatrix::zeros(n, first.b.ncols());
        b.view_mut((0, 0), (n1, first.b.ncols()))
            .copy_from(&first.b);
        b.view_mut((n1, 0), (n2, first.b.ncols()))
            .copy_from(&(&self.b * &first.d));
        let mut c = DMatrix::zeros(self.c.nrows(), n);
        c.view_mut((0, 0), (self.c.nrows(), n1))
            .copy_from(&(&self.d * &first.c));
        c.view_mut((0, n1), (self.c.nrows(), n2)).copy_from(&self.c);
        StateSpace {
            a,
            b,
            c,
            d: &self.d * &first.d,
            period_s: first.period_s,
        }
    }

    /// State matrix of the loop closed by u = -y; none when the loop is algebraic and singular.
    pub fn closed(&self) -> Option<DMatrix<f64>> {
        let m = self.d.nrows();
        let inner = (DMatrix::identity(m, m) + &self.d).lu().solve(&self.c)?;
        Some(&self.a - &self.b * inner)
    }

    /// Prepared for responses.
    pub fn response(&self) -> Response {
        Response::new(self)
    }
}

/// A model in Hessenberg form.
#[derive(Clone, Debug)]
pub struct Response {
    h: DMatrix<f64>,
    b: DMatrix<f64>,
    c: DMatrix<Complex64>,
    d: DMatrix<f64>,
    period_s: Option<f64>,
}

impl Response {
    fn new(model: &StateSpace) -> Self {
        let n = model.a.nrows();
        let (q, h) = if n > 1 {
            model.a.clone().hessenberg().unpack()
        } else {
            (DMatrix::identity(n, n), model.a.clone())
        };
        Response {
            b: q.transpose() * &model.b,
            c: (&model.c * &q).map(Complex64::from),
            h,
            d: model.d.clone(),
            period_s: model.period_s,
        }
    }

    /// p x m response at the complex frequency `s`; none at a pole.
    pub fn at(&self, s: Complex64) -> Option<DMatrix<Complex64>> {
        let z = self.period_s.map_or(s, |t| (s * t).exp());
        let d = self.d.map(Complex64::from);
        if self.h.nrows() == 0 {
            return Some(d);
        }
        let out = &self.c * solve_hessenberg(&self.h, z, &self.b)? + d;
        let finite = |v: &Complex64| v.re.is_finite() && v.im.is_finite();
        out.iter().all(finite).then_some(out)
    }
}

/// (z I - H)^-1 B by elimination with exchange of neighbouring rows.
fn solve_hessenberg(
    h: &DMatrix<f64>,
    z: Complex64,
    b: &DMatrix<f64>,
) -> Option<DMatrix<Complex64>> {
    let n = h.nrows();
    // rows of the transposed system are contiguous
    let mut m = DMatrix::from_fn(n, n, |j, i| Complex64::from(-h[(i, j)]));
    for i in 0..n {
        m[(i, i)] += z;
    }
    let mut x = b.transpose().map(Complex64::from);
    let width = x.nrows();
    for k in 0..n - 1 {
        if m[(k, k + 1)].norm_sqr() > m[(k, k)].norm_sqr() {
            m.swap_columns(k, k + 1);
            x.swap_columns(k, k + 1);
        }
        if m[(k, k)].norm_sqr() == 0.0 {
            return None;
        }
        let f = m[(k, k + 1)] / m[(k, k)];
        if f.norm_sqr() == 0.0 {
            continue;
        }
        for j in k..n {
            let above = m[(j, k)];
            m[(j, k + 1)] -= f * above;
        }
        for r in 0..width {
            let above = x[(r, k)];
            x[(r, k + 1)] -= f * above;
        }
    }
    for k in (0..n).rev() {
        let pivot = m[(k, k)];
        if pivot.norm_sqr() == 0.0 {
            return None;
        }
        for r in 0..width {
            let mut sum = x[(r, k)];
            for j in k + 1..n {
                sum -= m[(j, k)] * x[(r, j)];
            }
            x[(r, k)] = sum / pivot;
        }
    }
    Some(x.transpose())
}
