//! Algebraic Riccati equations, continuous and discrete, with a named failure.
//!
//! # Equation
//! ```text
//! care  A'X + X A - X B R^-1 B' X + Q = 0                     K = R^-1 B'X
//! dare  X = A'X A - A'X B (R + B'X B)^-1 B'X A + Q             K = (R + B'X B)^-1 B'X A
//! law   u = -K x                                              J = sum of x'Q x + u'R u
//! cross J = sum of x'Q x + 2 x'N u + u'R u:  A - B R^-1 N', Q - N R^-1 N';  K + R^-1 N'
//! kalman  P = prior covariance of x(k+1) = A x + w, y = C x + v:  dare with A', C'
//!         M = P C'(C P C' + V)^-1:  x+ = x- + M (y - C x-)
//! ```
//! Continuous: sign of the Hamiltonian by Newton's iteration with determinant scaling, the
//! Hamiltonian scaled so that Q and B R^-1 B' have the same norm. Discrete: structured doubling.
//! Both are then polished by Newton-Kleinman steps (a Lyapunov equation each) while the residual
//! is above rounding and falls.
//!
//! # Symbols
//! A (n x n), B (n x m), Q (n x n, symmetric, not negative), R (m x m, positive definite), N (n x m).
//!
//! # Valid when
//! (A, B) stabilisable, and no mode on the stability border unseen by Q; for the discrete solver
//! every mode that is not stable is seen by Q. What fails is named by its mode: eigenvalue and the
//! states that take part. States of very different size cost digits: the residual tells.
//!
//! # Source
//! Roberts 1980, Int. J. Control 32, 677-687 (sign function); Byers 1987, Linear Algebra and its
//! Applications 85, 267-279 (scaling); Chu, Fan, Lin & Wang 2004, Int. J. Control 77, 767-788
//! (doubling); Kleinman 1968, IEEE Trans. AC-13, 114-115; Hewer 1971, IEEE Trans. AC-16, 382-384.
//! Examples: Laub 1979, IEEE Trans. AC-24; Benner, Laub & Mehrmann 1995, SPC 95-22 and 95-23.
//!
//! # Checked by
//! `riccati::tests`: `published_continuous`, `published_discrete`, `published_kalman_gains`,
//! `ill_conditioned_families`, `as_good_as_scipy_on_ill_conditioned_examples`,
//! `cross_term_is_a_change_of_variables`, `margins_of_state_feedback`, `a_mode_out_of_reach_is_named`,
//! `residual_is_small_on_random_systems`

use nalgebra::{Complex, DMatrix};

use super::eigen::{self, Unreached};
use super::lyapunov;
use crate::error::{Error, Result};

/// A stabilising solution.
#[derive(Clone, Debug, PartialEq)]
pub struct Riccati {
    /// X (n x n), symmetric.
    pub x: DMatrix<f64>,
    /// K (m x n): u = -K x.
    pub gain: DMatrix<f64>,
    /// A - B K (n x n).
    pub closed: DMatrix<f64>,
    /// Norm of what is left of the equation over the sum of the norms of its terms.
    pub residual_frac: f64,
}

/// A steady observer.
#[derive(Clone, Debug, PartialEq)]
pub struct Kalman {
    /// Prior covariance P (n x n).
    pub prior: DMatrix<f64>,
    /// Gain M (n x p) of the measurement update.
    pub gain: DMatrix<f64>,
    /// A - A M C (n x n), transposed: how the error of the prior dies.
    pub closed: DMatrix<f64>,
    /// As in [`Riccati`].
    pub residual_frac: f64,
}

impl Riccati {
    /// Eigenvalues of A - B K in no particular order.
    ///
    /// # Errors
    /// Those the iteration cannot find.
    pub fn poles(&self) -> Result<Vec<Complex<f64>>> {
        spectrum(&self.closed)
    }
}

impl Kalman {
    /// Eigenvalues of the error dynamics A - A M C in no particular order.
    ///
    /// # Errors
    /// Those the iteration cannot find.
    pub fn poles(&self) -> Result<Vec<Complex<f64>>> {
        spectrum(&self.closed)
    }
}

/// Largest residual that is accepted; double precision leaves 1e-15 to 1e-10 on sane problems.
const RESIDUAL_MOST: f64 = 1e-7;
/// Residual per state that doubling leaves when only rounding is left: a Newton step betters nothing.
const ROUNDING: f64 = 2e-16;
/// Norm of the power of the closed loop at which doubling has ended: one that does not die is no solution.
const LEFT_MOST: f64 = 1e-3;
/// Distance (fraction of |A|) below which a mode counts as out of reach.
const REACH_TOL: f64 = 1e-10;

struct Words {
    equation: &'static str,
    unreached: &'static str,
    unseen: &'static str,
}

const REGULATOR: Words = Words {
    equation: "regulator",
    unreached: "is not reached by any input",
    unseen: "does not appear in the cost",
};
const OBSERVER: Words = Words {
    equation: "observer",
    unreached: "is not seen by any output",
    unseen: "is not excited by the noise",
};

/// Continuous equation; `names` are those of the states (may be empty) and serve messages only.
///
/// # Errors
/// Wrong shapes, R not positive definite, or a mode that is not stabilisable or sits on the
/// imaginary axis unseen.
pub fn care(
    a: &DMatrix<f64>,
    b: &DMatrix<f64>,
    q: &DMatrix<f64>,
    r: &DMatrix<f64>,
    names: &[&str],
) -> Result<Riccati> {
    let (n, r_inv_bt) = prepare(a, b, q, r)?;
    let g = symmetric(&(b * &r_inv_bt));
    let open = spectrum(a)?;
    let border = 1e-9 * a.norm();
    let weak: Vec<_> = open.iter().copied().filter(|e| e.re >= -border).collect();
    let axis: Vec<_> = weak.iter().copied().filter(|e| e.re <= border).collect();
    name_unreached(a, b, &weak, names, &REGULATOR, "1/s")?;
    name_unseen(a, q, &axis, names, &REGULATOR, "1/s")?;
    let x = sign_solution(a, &g, q, n).ok_or_else(|| no_solution(&REGULATOR))?;
    let equation = Equation {
        a,
        b,
        words: &REGULATOR,
        residual: &|x| {
            let xa = x * a;
            let xgx = x * &g * x;
            let left = xa.transpose() + &xa - &xgx + q;
            Some(left.norm() / (2.0 * xa.norm() + xgx.norm() + q.norm()).max(f64::MIN_POSITIVE))
        },
        better: &|x| lyapunov::continuous(&(a - &g * x), &(q + x * &g * x)),
        // the sign loses digits of small entries that the residual does not show
        enough: 0.0,
        gain: &|x| Some(&r_inv_bt * x),
    };
    let stable = |closed: &DMatrix<f64>| Ok(spectrum(closed)?.iter().all(|e| e.re < 0.0));
    equation.finish(x, &stable)
}

/// Discrete equation; arguments as in [`care`].
///
/// # Errors
/// As in [`care`], with the unit circle for the border.
pub fn dare(
    a: &DMatrix<f64>,
    b: &DMatrix<f64>,
    q: &DMatrix<f64>,
    r: &DMatrix<f64>,
    names: &[&str],
) -> Result<Riccati> {
    dare_worded(a, b, q, r, names, &REGULATOR)
}

/// Discrete equation of a cost with a cross term `cross` (N, n x m); the whole cost must not be
/// negative. X is that of the cost, the gain that of the law.
///
/// # Errors
/// As in [`dare`].
pub fn dare_cross(
    a: &DMatrix<f64>,
    b: &DMatrix<f64>,
    q: &DMatrix<f64>,
    cross: &DMatrix<f64>,
    r: &DMatrix<f64>,
    names: &[&str],
) -> Result<Riccati> {
    if cross.shape() != b.shape() || !cross.iter().all(|v| v.is_finite()) {
        return Err(Error::new(format!(
            "the cross term {:?} of the Riccati equation must be finite and of the shape {:?} of B",
            cross.shape(),
            b.shape()
        )));
    }
    let (_, r_inv_nt) = prepare(a, cross, q, r)?;
    let reduced = symmetric(&(q - cross * &r_inv_nt));
    let mut solved = dare(&(a - b * &r_inv_nt), b, &reduced, r, names)?;
    solved.gain += r_inv_nt;
    Ok(solved)
}

fn dare_worded(
    a: &DMatrix<f64>,
    b: &DMatrix<f64>,
    q: &DMatrix<f64>,
    r: &DMatrix<f64>,
    names: &[&str],
    words: &Words,
) -> Result<Riccati> {
    let (_, r_inv_bt) = prepare(a, b, q, r)?;
    if !a.iter().all(|v| v.is_finite()) {
        return Err(Error::new("a matrix of the Riccati equation is not finite"));
    }
    let g = symmetric(&(b * &r_inv_bt));
    // what fails is looked into afterwards: the doubling ends only where a stabilising solution exists
    let Some(x) = doubling(a, &g, q) else {
        name_weak(a, b, q, names, words)?;
        return Err(no_solution(words));
    };
    let gain = |x: &DMatrix<f64>| {
        let bx = b.transpose() * x;
        (r + &bx * b).cholesky().map(|c| c.solve(&(bx * a)))
    };
    let equation = Equation {
        a,
        b,
        words,
        residual: &|x| {
            let k = gain(x)?;
            let xa = x * a;
            let axa = a.transpose() * &xa;
            let drop = xa.transpose() * b * k;
            let left = &axa - &drop + q - x;
            let size = axa.norm() + drop.norm() + q.norm() + x.norm();
            Some(left.norm() / size.max(f64::MIN_POSITIVE))
        },
        better: &|x| {
            let k = gain(x)?;
            let cost = symmetric(&(q + k.transpose() * r * &k));
            lyapunov::discrete(&(a - b * &k), &cost)
        },
        enough: ROUNDING * a.nrows() as f64,
        gain: &gain,
    };
    equation.finish(x, &|_| Ok(true))
}

/// Names the mode on or outside the unit circle that is out of reach or unseen, if there is one.
fn name_weak(
    a: &DMatrix<f64>,
    b: &DMatrix<f64>,
    q: &DMatrix<f64>,
    names: &[&str],
    words: &Words,
) -> Result<()> {
    let mut weak = spectrum(a)?;
    weak.retain(|e| e.norm() >= 1.0 - 1e-9);
    name_unreached(a, b, &weak, names, words, "per sample")?;
    name_unseen(a, q, &weak, names, words, "per sample")
}

type Step<'a, T> = &'a dyn Fn(&DMatrix<f64>) -> Option<T>;

/// What the end of both solvers needs of the equation.
struct Equation<'a> {
    a: &'a DMatrix<f64>,
    b: &'a DMatrix<f64>,
    words: &'a Words,
    /// Residual of X, relative.
    residual: Step<'a, f64>,
    /// X after one Newton-Kleinman step.
    better: Step<'a, DMatrix<f64>>,
    /// Residual below which X is not polished.
    enough: f64,
    /// K of X.
    gain: Step<'a, DMatrix<f64>>,
}

impl Equation<'_> {
    /// Polishes X and judges it; `stable` says whether A - B K is.
    fn finish(
        &self,
        mut x: DMatrix<f64>,
        stable: &dyn Fn(&DMatrix<f64>) -> Result<bool>,
    ) -> Result<Riccati> {
        let failed = || no_solution(self.words);
        let mut residual_frac = (self.residual)(&x).ok_or_else(failed)?;
        for _ in 0..6 {
            if residual_frac <= self.enough {
                break;
            }
            let Some(next) = (self.better)(&x) else { break };
            match (self.residual)(&next) {
                Some(new) if new < residual_frac => (x, residual_frac) = (next, new),
                _ => break,
            }
        }
        let gain = (self.gain)(&x).ok_or_else(failed)?;
        let closed = self.a - self.b * &gain;
        accept(residual_frac, stable(&closed)?, self.words)?;
        Ok(Riccati {
            x,
            gain,
            closed,
            residual_frac,
        })
    }
}

/// Steady observer of x(k+1) = A x + w, y = C x + v with covariances `w` (n x n) and `v` (p x p).
///
/// # Errors
/// As in [`dare`]; the messages speak of outputs and noise.
pub fn kalman(
    a: &DMatrix<f64>,
    c: &DMatrix<f64>,
    w: &DMatrix<f64>,
    v: &DMatrix<f64>,
    names: &[&str],
) -> Result<Kalman> {
    let dual = dare_worded(&a.transpose(), &c.transpose(), w, v, names, &OBSERVER)?;
    let pc = &dual.x * c.transpose();
    let s = (c * &pc + v)
        .cholesky()
        .ok_or_else(|| no_solution(&OBSERVER))?;
    Ok(Kalman {
        gain: s.solve(&pc.transpose()).transpose(),
        prior: dual.x,
        closed: dual.closed,
        residual_frac: dual.residual_frac,
    })
}

fn symmetric(m: &DMatrix<f64>) -> DMatrix<f64> {
    (m + m.transpose()) * 0.5
}

fn spectrum(a: &DMatrix<f64>) -> Result<Vec<Complex<f64>>> {
    eigen::eigenvalues(a)
        .map(|e| e.iter().copied().collect())
        .ok_or_else(|| Error::new("the system matrix has no eigenvalues: an entry is not finite"))
}

/// Shapes and R; gives n and R^-1 B'.
fn prepare(
    a: &DMatrix<f64>,
    b: &DMatrix<f64>,
    q: &DMatrix<f64>,
    r: &DMatrix<f64>,
) -> Result<(usize, DMatrix<f64>)> {
    let (n, m) = (a.nrows(), b.ncols());
    let fits = a.ncols() == n && b.nrows() == n && q.shape() == (n, n) && r.shape() == (m, m);
    if n == 0 || m == 0 || !fits {
        return Err(Error::new(format!(
            "matrices A {:?}, B {:?}, Q {:?}, R {:?} do not belong together",
            a.shape(),
            b.shape(),
            q.shape(),
            r.shape()
        )));
    }
    if !b.iter().chain(q).chain(r).all(|v| v.is_finite()) {
        return Err(Error::new("a matrix of the Riccati equation is not finite"));
    }
    let chol = r.clone().cholesky().ok_or_else(|| {
        Error::with_hint(
            "the weight of the inputs is not positive definite",
            "give every surface a just acceptable angle above zero",
        )
    })?;
    Ok((n, chol.solve(&b.transpose())))
}

fn name_unreached(
    a: &DMatrix<f64>,
    b: &DMatrix<f64>,
    values: &[Complex<f64>],
    names: &[&str],
    words: &Words,
    unit: &str,
) -> Result<()> {
    let lost = eigen::unreached(a, b, values, REACH_TOL);
    tell(&lost, names, words, words.unreached, unit)
}

fn name_unseen(
    a: &DMatrix<f64>,
    q: &DMatrix<f64>,
    values: &[Complex<f64>],
    names: &[&str],
    words: &Words,
    unit: &str,
) -> Result<()> {
    let conj: Vec<_> = values.iter().map(Complex::conj).collect();
    let lost = eigen::unreached(&a.transpose(), q, &conj, REACH_TOL);
    tell(&lost, names, words, words.unseen, unit)
}

fn tell(lost: &[Unreached], names: &[&str], words: &Words, how: &str, unit: &str) -> Result<()> {
    let Some(first) = lost.first() else {
        return Ok(());
    };
    let v = first.value;
    let value = if v.im.abs() > 1e-9 * v.norm() {
        format!("{:+.3} +- {:.3}i {unit}", v.re, v.im.abs())
    } else {
        format!("{:+.3} {unit}", v.re)
    };
    Err(Error::with_hint(
        format!(
            "the {} has no stabilising solution: the mode {value} ({}) {how}",
            words.equation,
            first.states(names)
        ),
        "change the surfaces, the sensors or the weights so that this mode is acted on and seen",
    ))
}

fn no_solution(words: &Words) -> Error {
    Error::with_hint(
        format!("the {} equation did not converge", words.equation),
        "weights or units of very different size: bring the just acceptable values closer together",
    )
}

fn accept(residual: f64, stable: bool, words: &Words) -> Result<()> {
    if !stable {
        return Err(Error::new(format!(
            "the {} solution found does not stabilise",
            words.equation
        )));
    }
    if residual.is_nan() || residual > RESIDUAL_MOST {
        return Err(Error::new(format!(
            "the {} solution leaves a residual of {residual:.1e}, allowed {RESIDUAL_MOST:.0e}",
            words.equation
        )));
    }
    Ok(())
}

/// X from the sign of the Hamiltonian.
fn sign_solution(
    a: &DMatrix<f64>,
    g: &DMatrix<f64>,
    q: &DMatrix<f64>,
    n: usize,
) -> Option<DMatrix<f64>> {
    let s = (q.norm().max(f64::MIN_POSITIVE) / g.norm().max(f64::MIN_POSITIVE)).sqrt();
    let mut z = DMatrix::zeros(2 * n, 2 * n);
    z.view_mut((0, 0), (n, n)).copy_from(a);
    z.view_mut((0, n), (n, n)).copy_from(&(g * -s));
    z.view_mut((n, 0), (n, n)).copy_from(&(q * (-1.0 / s)));
    z.view_mut((n, n), (n, n)).copy_from(&-a.transpose());
    let size = 2.0 * n as f64;
    let (mut scaled, mut last) = (true, f64::INFINITY);
    for _ in 0..100 {
        let lu = z.clone().lu();
        let log_det: f64 = lu.u().diagonal().iter().map(|d| d.abs().ln()).sum();
        let inv = lu.try_inverse()?;
        let c = if scaled { (-log_det / size).exp() } else { 1.0 };
        if !c.is_finite() || c <= 0.0 {
            return None;
        }
        let next = (&z * c + inv * (1.0 / c)) * 0.5;
        let step = (&next - &z).norm() / next.norm();
        z = next;
        if step < 1e-2 {
            scaled = false; // quadratic from here
        }
        if step < 1e-14 || (step < 1e-9 && step >= last) {
            break;
        }
        last = step;
    }
    let one = DMatrix::<f64>::identity(n, n);
    let mut left = DMatrix::zeros(2 * n, n);
    left.view_mut((0, 0), (n, n))
        .copy_from(&z.view((0, n), (n, n)));
    left.view_mut((n, 0), (n, n))
        .copy_from(&(z.view((n, n), (n, n)) + &one));
    let mut right = DMatrix::zeros(2 * n, n);
    right
        .view_mut((0, 0), (n, n))
        .copy_from(&-(z.view((0, 0), (n, n)) + &one));
    right
        .view_mut((n, 0), (n, n))
        .copy_from(&-z.view((n, 0), (n, n)));
    let x = left.svd(true, true).solve(&right, 0.0).ok()?;
    x.iter().all(|v| v.is_finite()).then(|| symmetric(&x) * s)
}

/// X by structured doubling; none where no stabilising solution is reached. A ends as a power of the
/// closed loop, so that it vanishes where that is stable and only there.
fn doubling(a: &DMatrix<f64>, g: &DMatrix<f64>, q: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let n = a.nrows();
    let (mut a, mut g, mut h) = (a.clone(), g.clone(), symmetric(q));
    for _ in 0..60 {
        let w = (DMatrix::identity(n, n) + &g * &h).lu();
        let wa = w.solve(&a)?;
        let wg = w.solve(&g)?;
        let dh = a.transpose() * &h * &wa;
        g = symmetric(&(&g + &a * wg * a.transpose()));
        a = &a * wa;
        h = symmetric(&(&h + &dh));
        if !h.iter().chain(&a).all(|v| v.is_finite()) {
            return None;
        }
        // slow states without a price end later than X
        if dh.norm() <= 1e-16 * h.norm() && a.norm() < LEFT_MOST {
            return Some(h);
        }
    }
    None
}

#[cfg(test)]
mod tests;
