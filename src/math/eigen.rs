//! Eigenvalues and eigenvectors of real matrices, sorted, and the test that says whether a mode is
//! reached by inputs or seen by outputs.
//!
//! # Equation
//! ```text
//! A v = lambda v,   w^H A = lambda w^H
//! reached by B: the least singular value of [A - lambda I, B] is not zero   (Popov-Belevitch-Hautus)
//! participation of state i: |w_i v_i| / sum
//! ```
//! Spectral radius by squaring: ln rho = lim (ln |A^2N| - ln |A^N|) / N, which delays (eigenvalues at zero
//! in long chains) do not disturb.
//!
//! The Schur iteration of the matrix crate can run for ever on some matrices (a cyclic permutation
//! of four). The matrix is balanced first (units as far apart as N and rad), the iteration is given a cap
//! and, when it hits it, a Householder similarity that keeps the eigenvalues and breaks the cycle.
//!
//! # Valid when
//! Finite entries. Of a repeated eigenvalue every vector found lies in its eigenspace, but the
//! set may not span it; use [`unreached`] for questions about whole eigenspaces.
//!
//! # Source
//! Golub & Van Loan, Matrix Computations, 4th ed. 2013, sections 7.5 (QR iteration, balancing), 7.6.1
//! (inverse iteration); Hautus 1969, Indagationes Mathematicae 31, 443-448 (rank test);
//! Perez-Arriaga, Verghese & Schweppe 1982, IEEE Trans. PAS-101 (participation).
//!
//! # Checked by
//! `cyclic_permutation_does_not_hang`, `vectors_satisfy_their_equation`,
//! `spectral_radius_of_delays_and_pairs`, `order_is_least_stable_first`, `unreached_mode_is_found_and_named`

use nalgebra::{Complex, DMatrix, DVector};

/// Eigenvalues in no particular order; `None` for an empty or non-finite matrix, or when the
/// iteration fails six times (not seen).
pub fn eigenvalues(a: &DMatrix<f64>) -> Option<DVector<Complex<f64>>> {
    let n = a.nrows();
    if n == 0 || n != a.ncols() || !a.iter().all(|x| x.is_finite()) {
        return None;
    }
    let mut m = a.clone();
    nalgebra::linalg::balancing::balance_parlett_reinsch(&mut m);
    // a cluster at zero leaves the iteration nothing to compare with: later attempts work on A + shift
    let size = m.amax();
    for attempt in 0..6_u32 {
        let shift = if attempt == 0 { 0.0 } else { 0.3 * size };
        let moved = &m + DMatrix::identity(n, n) * shift;
        // more slack each time: beside large entries, clusters never meet the last bit
        let eps = f64::EPSILON * 8.0_f64.powi(attempt.cast_signed());
        if let Some(s) = moved.try_schur(eps, 40 * n.max(10)) {
            return Some(s.complex_eigenvalues().map(|v| v - shift));
        }
        let v = mirror(n, attempt);
        let vtm = v.transpose() * &m;
        m -= &v * vtm * 2.0;
        let mv = &m * &v;
        m -= mv * v.transpose() * 2.0;
    }
    None
}

/// Squarings of [`log_spectral_radius`]: the bounded swing of the norm of a power, some ln 1e3, is spread
/// over 2^18 of them.
const SQUARINGS: u32 = 18;

/// Natural logarithm of the largest modulus of an eigenvalue, to about 1e-5 absolute; minus infinity for
/// a nilpotent matrix, NaN for one that is not finite.
pub fn log_spectral_radius(a: &DMatrix<f64>) -> f64 {
    let mut power = a.clone();
    let (mut log, mut gain) = (0.0, 0.0); // ln |A^N|, and what N more add
    for k in 0..=SQUARINGS {
        let size = power.norm();
        if size == 0.0 || size.is_nan() {
            return size.ln();
        }
        power /= size;
        gain = log + size.ln();
        log += gain;
        if k < SQUARINGS {
            power = &power * &power;
        }
    }
    gain / 2.0_f64.powi(SQUARINGS.cast_signed() - 1)
}

/// Unit vector of the k-th Householder similarity.
pub(crate) fn mirror(n: usize, attempt: u32) -> DVector<f64> {
    DVector::from_fn(n, |i, _| {
        1.0 + ((i as f64 + 1.0) * (f64::from(attempt) + 1.7)).sin()
    })
    .normalize()
}

/// Puts eigenvalues in order: largest real part (least stable) first, then the slower, then the
/// one with negative imaginary part.
pub fn sort_continuous(values: &mut [Complex<f64>]) {
    values.sort_by(|a, b| compare(a.re, b.re, a, b));
}

/// The same for sampled systems: largest modulus first.
pub fn sort_discrete(values: &mut [Complex<f64>]) {
    values.sort_by(|a, b| compare(a.norm(), b.norm(), a, b));
}

/// Keys that differ by rounding only count as equal, so that pairs stay together.
fn compare(ka: f64, kb: f64, a: &Complex<f64>, b: &Complex<f64>) -> std::cmp::Ordering {
    let size = a.norm().max(b.norm()).max(f64::MIN_POSITIVE);
    let near = |x: f64, y: f64| (x - y).abs() <= 1e-9 * size;
    if !near(ka, kb) {
        return kb.total_cmp(&ka);
    }
    if !near(a.im.abs(), b.im.abs()) {
        return a.im.abs().total_cmp(&b.im.abs());
    }
    a.im.total_cmp(&b.im)
}

/// An eigenvalue with its vectors, both of unit length.
#[derive(Clone, Debug, PartialEq)]
pub struct Mode {
    /// Eigenvalue, rad/s (continuous) or per sample.
    pub value: Complex<f64>,
    /// Right vector: the shape of the motion.
    pub right: DVector<Complex<f64>>,
    /// Left vector: what excites it, w^H A = lambda w^H.
    pub left: DVector<Complex<f64>>,
}

impl Mode {
    /// Participation of each state, sums to one; the moduli of the left vector where both vectors
    /// are orthogonal (defective eigenvalue).
    pub fn participation(&self) -> Vec<f64> {
        participation(&self.left, &self.right)
    }
}

fn participation(left: &DVector<Complex<f64>>, right: &DVector<Complex<f64>>) -> Vec<f64> {
    let raw: Vec<f64> = left
        .iter()
        .zip(right)
        .map(|(w, v)| (w * v).norm())
        .collect();
    let sum: f64 = raw.iter().sum();
    if sum > 1e-9 {
        return raw.iter().map(|p| p / sum).collect();
    }
    let sum: f64 = left.iter().map(|w| w.norm()).sum();
    left.iter().map(|w| w.norm() / sum).collect()
}

/// All modes, least stable first. `None` as for [`eigenvalues`].
pub fn modes(a: &DMatrix<f64>) -> Option<Vec<Mode>> {
    let mut values: Vec<_> = eigenvalues(a)?.iter().copied().collect();
    sort_continuous(&mut values);
    values
        .into_iter()
        .map(|value| {
            Some(Mode {
                value,
                right: vector(a, value)?,
                left: vector(&a.transpose(), value.conj())?,
            })
        })
        .collect()
}

/// Right vector of the eigenvalue nearest to `value` by inverse iteration.
pub fn vector(a: &DMatrix<f64>, value: Complex<f64>) -> Option<DVector<Complex<f64>>> {
    let n = a.nrows();
    let size = a.norm().max(value.norm()).max(f64::MIN_POSITIVE);
    let shifted = |s: Complex<f64>| {
        let mut m = a.map(|x| Complex::new(x, 0.0));
        for i in 0..n {
            m[(i, i)] -= s;
        }
        m.lu()
    };
    // a hair beside the eigenvalue: the factors exist, three steps converge to rounding
    for k in 1..=4 {
        let off = size * f64::EPSILON * 10_f64.powi(k);
        let lu = shifted(value + Complex::new(off, off / 3.0));
        let mut v = DVector::from_fn(n, |i, _| Complex::new(1.0 + 0.1 * (i as f64).sin(), 0.0));
        let mut good = true;
        for _ in 0..3 {
            match lu.solve(&v) {
                Some(x) if x.iter().all(|c| c.re.is_finite() && c.im.is_finite()) => {
                    v = &x / Complex::new(x.norm(), 0.0);
                }
                _ => {
                    good = false;
                    break;
                }
            }
        }
        if good {
            return Some(v);
        }
    }
    None
}

/// A mode that no input reaches (or, with transposed matrices, no output sees).
#[derive(Clone, Debug, PartialEq)]
pub struct Unreached {
    /// Its eigenvalue.
    pub value: Complex<f64>,
    /// Participation of each state.
    pub participation: Vec<f64>,
    /// Least singular value of [A - lambda I, B], scaled to the size of A.
    pub distance: f64,
}

impl Unreached {
    /// The one to three states that take part most, by name (`x1`... without names).
    pub fn states(&self, names: &[&str]) -> String {
        let mut order: Vec<usize> = (0..self.participation.len()).collect();
        order.sort_by(|&i, &j| self.participation[j].total_cmp(&self.participation[i]));
        let most = self.participation[order[0]];
        let chosen: Vec<String> = order
            .into_iter()
            .take(3)
            .filter(|&i| self.participation[i] > 0.2 * most)
            .map(|i| {
                names
                    .get(i)
                    .map_or_else(|| format!("x{}", i + 1), |s| (*s).to_owned())
            })
            .collect();
        chosen.join(", ")
    }
}

/// Modes among `values` that `b` does not reach: distance below `tol_frac` of the size of A.
pub fn unreached(
    a: &DMatrix<f64>,
    b: &DMatrix<f64>,
    values: &[Complex<f64>],
    tol_frac: f64,
) -> Vec<Unreached> {
    let n = a.nrows();
    let size = a.norm().max(f64::MIN_POSITIVE);
    let b_scale = size / b.norm().max(f64::MIN_POSITIVE);
    values
        .iter()
        .filter_map(|&value| {
            let m = DMatrix::from_fn(n, n + b.ncols(), |i, j| {
                let x = if j < n {
                    a[(i, j)]
                } else {
                    b[(i, j - n)] * b_scale
                };
                let s = if i == j {
                    value
                } else {
                    Complex::new(0.0, 0.0)
                };
                Complex::new(x, 0.0) - s
            });
            let svd = m.svd(true, false);
            let u = svd.u?;
            let k = svd.singular_values.imin();
            let distance = svd.singular_values[k] / size;
            (distance < tol_frac).then(|| {
                let left = u.column(k).into_owned();
                let right = vector(a, value).unwrap_or_else(|| left.clone());
                Unreached {
                    value,
                    participation: participation(&left, &right),
                    distance,
                }
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const TOL_ROUND: f64 = 1e-10; // rounding of well-conditioned eigenproblems of order one

    #[test]
    fn cyclic_permutation_does_not_hang() {
        for n in 3..=12 {
            let a = DMatrix::from_fn(n, n, |i, j| f64::from(u8::from((i + 1) % n == j)));
            let e = eigenvalues(&a).unwrap();
            for v in e.iter() {
                assert!((v.norm() - 1.0).abs() < TOL_ROUND); // roots of unity
                assert!((v.powu(n as u32) - 1.0).norm() < 1e-8);
            }
        }
        assert!(eigenvalues(&DMatrix::from_element(2, 2, f64::NAN)).is_none());
        assert!(eigenvalues(&DMatrix::zeros(0, 0)).is_none());
    }

    #[test]
    fn spectral_radius_of_delays_and_pairs() {
        // a damped pair behind a chain of delays
        let mut a = DMatrix::zeros(12, 12);
        for i in 0..9 {
            a[(i, i + 1)] = 1.0;
        }
        let (r, w) = (0.997_f64, 0.05_f64);
        let turn = [r * w.cos(), -r * w.sin(), r * w.sin(), r * w.cos()];
        a.view_mut((10, 10), (2, 2))
            .copy_from(&DMatrix::from_row_slice(2, 2, &turn));
        a[(9, 10)] = 300.0;
        assert!((log_spectral_radius(&a) - r.ln()).abs() < 1e-9);
        assert!(log_spectral_radius(&(a.view((0, 0), (10, 10)) * 1.0)) < -1e300);
        assert!((log_spectral_radius(&(&a * 1.01)) - (1.01 * r).ln()).abs() < 1e-9);
        assert!(log_spectral_radius(&DMatrix::from_element(2, 2, f64::NAN)).is_nan());
    }

    #[test]
    fn vectors_satisfy_their_equation() {
        let a = DMatrix::from_fn(7, 7, |i, j| {
            ((3 * i + 5 * j) as f64).sin() - f64::from(u8::from(i == j))
        });
        let ac = a.map(|x| Complex::new(x, 0.0));
        for m in modes(&a).unwrap() {
            assert!((&ac * &m.right - &m.right * m.value).norm() < TOL_ROUND);
            assert!((m.left.adjoint() * &ac - m.left.adjoint() * m.value).norm() < TOL_ROUND);
            assert!((m.participation().iter().sum::<f64>() - 1.0).abs() < TOL_ROUND);
        }
    }

    #[test]
    fn order_is_least_stable_first() {
        let mut v = [
            Complex::new(-1.0, 2.0),
            Complex::new(-0.1, 0.0),
            Complex::new(-1.0 - 1e-12, -2.0),
            Complex::new(0.3, 0.0),
        ];
        sort_continuous(&mut v);
        assert!(v[0].re > 0.2 && v[1].re > -0.2 && v[2].im < 0.0 && v[3].im > 0.0);
        let mut d = [Complex::new(0.2, 0.0), Complex::new(-0.9, 0.0)];
        sort_discrete(&mut d);
        assert!(d[0].re < 0.0);
    }

    #[test]
    fn unreached_mode_is_found_and_named() {
        // two decoupled oscillators, the force acts on the first
        let a = DMatrix::from_row_slice(
            4,
            4,
            &[
                0., 1., 0., 0., -1., -0.1, 0., 0., 0., 0., 0., 1., 0., 0., -4., 0.2,
            ],
        );
        let b = DMatrix::from_row_slice(4, 1, &[0., 1., 0., 0.]);
        let e: Vec<_> = eigenvalues(&a).unwrap().iter().copied().collect();
        let lost = unreached(&a, &b, &e, 1e-9);
        assert_eq!(lost.len(), 2);
        assert!((lost[0].value.re - 0.1).abs() < TOL_ROUND);
        let s = lost[0].states(&["heave", "w", "pitch", "q"]);
        assert!(s.contains("pitch") && !s.contains("heave"), "{s}");
    }
}
