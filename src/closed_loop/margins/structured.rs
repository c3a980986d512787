//! Structured singular value of a complex matrix with independent complex scalars, by its bounds.
//!
//! # Equation
//! ```text
//! mu(M) = 1 / min { max |delta_i| : det(I - diag(delta) M) = 0 }
//! max over |q_i| = 1 of rho(diag(q) M)  <=  mu  <=  min over x of sigma_max(e^X M e^-X)
//! ```
//! The upper bound is convex in x; it is minimised by quasi-Newton steps on the smooth bound
//! (1/2p) log sum sigma_i^2p with p rising, and what is returned is sigma_max itself, so it is a bound
//! whatever the search did. For up to three scalars it equals mu.
//!
//! # Symbols
//! delta complex perturbations, x real scalings, rho spectral radius.
//!
//! # Valid when
//! Perturbations are complex (gain and phase together); real ones alone allow more.
//!
//! # Source
//! Doyle 1982, IEE Proc. D 129, 242-250 (mu, equality up to three blocks); Osborne 1960, J. ACM 7,
//! 338-345 (start); Sezginer & Overton 1990, IEEE Trans. AC-35, 1117-1118 (convexity); Packard, Fan &
//! Doyle 1988, 27th IEEE CDC (power iteration of the lower bound).
//!
//! # Checked by
//! `bounds_of_the_structured_value_meet`, `python_control_disk_margins`

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

/// Gain of a step, relative, that ends the search for a scaling.
const ENOUGH: f64 = 1e-9;

/// Eigenvalues of a complex matrix.
pub fn eigenvalues(m: &DMatrix<Complex64>) -> Vec<Complex64> {
    match m.nrows() {
        0 => Vec::new(),
        1 => vec![m[(0, 0)]],
        2 => {
            let half = 0.5 * (m[(0, 0)] + m[(1, 1)]);
            let off = 0.5 * (m[(0, 0)] - m[(1, 1)]);
            let root = (off * off + m[(0, 1)] * m[(1, 0)]).sqrt();
            vec![half + root, half - root]
        }
        n => (0..6)
            .find_map(|k| {
                let eps = f64::EPSILON * f64::from(1_u32 << (2 * k));
                nalgebra::Schur::try_new(m.clone(), eps, 100 * n)
            })
            .map_or_else(
                || vec![Complex64::new(f64::NAN, f64::NAN); n],
                |s| s.unpack().1.diagonal().iter().copied().collect(),
            ),
    }
}

/// Largest singular value.
pub fn sigma_max(m: &DMatrix<Complex64>) -> f64 {
    if m.nrows() == 1 && m.ncols() == 1 {
        return m[(0, 0)].norm();
    }
    m.singular_values().max()
}

/// e^X M e^-X.
fn scaled(m: &DMatrix<Complex64>, x: &DVector<f64>) -> DMatrix<Complex64> {
    DMatrix::from_fn(m.nrows(), m.ncols(), |i, j| m[(i, j)] * (x[i] - x[j]).exp())
}

/// Scalings that make rows and columns alike, and the bound they give: quick and not far off.
pub fn balanced(m: &DMatrix<Complex64>) -> (f64, DVector<f64>) {
    let n = m.nrows();
    let mut x: DVector<f64> = DVector::zeros(n);
    for _ in 0..12 {
        let mut moved: f64 = 0.0;
        for k in 0..n {
            let (mut row, mut column) = (0.0_f64, 0.0_f64);
            for j in (0..n).filter(|j| *j != k) {
                row += m[(k, j)].norm_sqr() * (2.0 * (x[k] - x[j])).exp();
                column += m[(j, k)].norm_sqr() * (2.0 * (x[j] - x[k])).exp();
            }
            if row > 0.0 && column > 0.0 {
                let by = (0.25 * (column / row).ln()).clamp(-20.0, 20.0);
                x[k] += by;
                moved = moved.max(by.abs());
            }
        }
        if moved < 1e-3 {
            break;
        }
    }
    (sigma_max(&scaled(m, &x)), x)
}

/// Upper bound by the best scaling.
pub fn upper(m: &DMatrix<Complex64>) -> f64 {
    upper_from(
        m,
        balanced(m).1,
        &[2.0, 8.0, 32.0, 128.0, 512.0, 2048.0, 8192.0],
    )
    .0
}

/// Upper bound by the best scaling, from the one of a neighbour, and the scaling.
pub fn upper_near(m: &DMatrix<Complex64>, x: &DVector<f64>) -> (f64, DVector<f64>) {
    upper_from(m, x.clone(), &[512.0, 8192.0])
}

/// Upper bound and scaling by powers that rise.
pub fn upper_from(
    m: &DMatrix<Complex64>,
    start: DVector<f64>,
    powers: &[f64],
) -> (f64, DVector<f64>) {
    if m.nrows() == 1 {
        return (m[(0, 0)].norm(), start);
    }
    let mut best = (sigma_max(&scaled(m, &start)), start.clone());
    let mut x = start;
    for p in powers {
        x = descend(m, x, *p);
        let found = sigma_max(&scaled(m, &x));
        if found < best.0 {
            best = (found, x.clone());
        }
    }
    best
}

/// The smooth bound and its gradient.
fn smooth(m: &DMatrix<Complex64>, x: &DVector<f64>, p: f64) -> Option<(f64, DVector<f64>)> {
    let svd = scaled(m, x).svd(true, true);
    let (u, vt, sigma) = (svd.u?, svd.v_t?, svd.singular_values);
    let top = sigma.max();
    if !(top > 0.0 && top.is_finite()) {
        return None;
    }
    let weight = sigma.map(|s| (s / top).powf(2.0 * p));
    let all = weight.sum();
    let gradient = DVector::from_fn(x.len(), |k, _| {
        (0..sigma.len())
            .map(|i| weight[i] * (u[(k, i)].norm_sqr() - vt[(i, k)].norm_sqr()))
            .sum::<f64>()
            / all
    });
    Some((top.ln() + all.ln() / (2.0 * p), gradient))
}

/// BFGS with halved steps from `x`.
fn descend(m: &DMatrix<Complex64>, mut x: DVector<f64>, p: f64) -> DVector<f64> {
    let n = x.len();
    let mut h = DMatrix::identity(n, n) * 0.5;
    let Some((mut f, mut g)) = smooth(m, &x, p) else {
        return x;
    };
    for _ in 0..40 {
        if g.amax() < 1e-9 {
            break;
        }
        let mut step = -(&h * &g);
        if step.dot(&g) >= 0.0 {
            h = DMatrix::identity(n, n) * 0.5;
            step = -(&h * &g);
        }
        step *= 1.0_f64.min(2.0 / step.amax());
        let mut found = None;
        for _ in 0..25 {
            let y = &x + &step;
            if let Some((fy, gy)) = smooth(m, &y, p)
                && fy <= f + 1e-4 * step.dot(&g)
            {
                found = Some((y, fy, gy));
                break;
            }
            step *= 0.5;
        }
        let Some((y, fy, gy)) = found else { break };
        let (s, d) = (&y - &x, &gy - &g);
        let curve = s.dot(&d);
        if curve > 1e-14 {
            let rho = 1.0 / curve;
            let left = DMatrix::identity(n, n) - &s * d.transpose() * rho;
            h = &left * &h * left.transpose() + &s * s.transpose() * rho;
        }
        let gain = f - fy;
        (x, f, g) = (y, fy, gy);
        if gain < ENOUGH {
            break;
        }
    }
    x
}

/// Lower bound, and the perturbations of unit modulus that reach it: det(I - diag(q)/mu M) = 0.
pub fn lower(m: &DMatrix<Complex64>) -> (f64, DVector<Complex64>) {
    let n = m.nrows();
    let mut best = (0.0, DVector::from_element(n, Complex64::ONE));
    for start in 0..6 {
        let mut b = DVector::from_fn(n, |i, _| {
            Complex64::from_polar(1.0, 2.4 * (i * start) as f64 + 0.3 * i as f64)
        });
        let mut w = b.clone();
        for _ in 0..60 {
            let a = unit(&(m * &b));
            let z = DVector::from_fn(n, |i, _| phase(a[i]) * w[i].norm());
            w = unit(&(m.adjoint() * z));
            b = DVector::from_fn(n, |i, _| phase(w[i]) * a[i].norm());
            // q turns the phase of a into that of b
            let q = DVector::from_fn(n, |i, _| phase(b[i]) * phase(a[i]).conj());
            let turned = DMatrix::from_fn(n, n, |i, j| q[i] * m[(i, j)]);
            let top = eigenvalues(&turned)
                .into_iter()
                .max_by(|a, b| a.norm().total_cmp(&b.norm()));
            if let Some(top) = top.filter(|t| t.norm() > best.0 * (1.0 + 1e-12)) {
                let back = phase(top).conj();
                best = (top.norm(), q.map(|v| v * back));
            }
        }
    }
    best
}

fn unit(v: &DVector<Complex64>) -> DVector<Complex64> {
    v / Complex64::from(v.norm().max(f64::MIN_POSITIVE))
}

fn phase(v: Complex64) -> Complex64 {
    let r = v.norm();
    if r > 0.0 { v / r } else { Complex64::ONE }
}
