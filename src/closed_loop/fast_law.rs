//! The response of a law at many frequencies, in its own modes.
//!
//! # Equation
//! ```text
//! C(z) = sum_k c_k b_k' / (z - lambda_k) + D       A = V diag(lambda) V^-1
//! C(z) = C Q (z - T)^-1 Q^H B + D                  where the modes are too close to each other
//! ```
//! A complex pair counts once, with real numerators.
//!
//! # Symbols
//! As in [`crate::control::linear`]; T complex Schur form, Q its unitary basis.
//!
//! # Valid when
//! Everywhere; the modal form is used only where it repeats the Schur form at trial frequencies.
//!
//! # Source
//! Golub & Van Loan, Matrix Computations, 4th ed. 2013, sections 7.4 and 7.6.
//!
//! # Checked by
//! `equals_the_plain_response`.

use nalgebra::DMatrix;
use nalgebra::linalg::Schur;
use num_complex::Complex64;

use crate::control::linear::{LawSignal, LinearLaw};
use crate::math::lanes::{ABREAST, Complexes, Reals, one_by_one};

/// Agreement of the modal form with the Schur form that lets it be used, relative.
const MODAL_TRUST: f64 = 1e-9;
/// Sweeps of the Schur iteration; none needs more in practice.
const SWEEPS: usize = 10_000;

/// A law prepared for many frequencies; rows and columns may be spread over wider lists.
#[derive(Clone, Debug)]
pub struct FastLaw {
    period_s: f64,
    rows: usize,
    columns: usize,
    d: Vec<f64>,
    form: Form,
    /// Poles of the law, z.
    pub poles: Vec<Complex64>,
}

#[derive(Clone, Debug)]
enum Form {
    /// lambda, and per mode the real numerators n0 + n1 z over (z - lambda)(z - conj lambda), or n0 over
    /// (z - lambda) for a real one.
    Modal {
        pairs: Vec<Complex64>,
        n0: Vec<f64>,
        n1: Vec<f64>,
        reals: Vec<f64>,
        n: Vec<f64>,
    },
    /// T, C Q and Q^H B.
    Schur {
        t: DMatrix<Complex64>,
        c: DMatrix<Complex64>,
        b: DMatrix<Complex64>,
    },
}

impl FastLaw {
    /// `law` with its channels and signals placed where `channels` and `signals` have them. None when
    /// one of them is missing there, or the eigenvalues are not found.
    pub fn new(law: &LinearLaw, channels: &[usize], signals: &[LawSignal]) -> Option<Self> {
        let row_of: Vec<usize> = places(&law.channels, channels)?;
        let column_of: Vec<usize> = places(&law.signals, signals)?;
        let (rows, columns) = (channels.len(), signals.len());
        let n = law.a.nrows();
        let mut b = DMatrix::zeros(n, columns);
        for (j, at) in column_of.iter().enumerate() {
            if n > 0 {
                b.set_column(*at, &law.b.column(j));
            }
        }
        let mut c = DMatrix::zeros(rows, n);
        let mut d = vec![0.0; rows * columns];
        for (i, at) in row_of.iter().enumerate() {
            if n > 0 {
                c.set_row(*at, &law.c.row(i));
            }
            for (j, column) in column_of.iter().enumerate() {
                d[at * columns + column] = law.d[(i, j)];
            }
        }
        let (form, poles) = form(&law.a, &b, &c)?;
        Some(FastLaw {
            period_s: law.sample_period_s,
            rows,
            columns,
            d,
            form,
            poles,
        })
    }

    /// Channels and signals.
    pub fn shape(&self) -> (usize, usize) {
        (self.rows, self.columns)
    }

    /// Whether the modal form is in use.
    pub fn is_modal(&self) -> bool {
        matches!(self.form, Form::Modal { .. })
    }

    /// Gains at `omega_rad_s`, row by row into `out`.
    pub fn response(&self, omega_rad_s: f64, out: &mut [Complex64]) {
        self.at(Complex64::from_polar(1.0, omega_rad_s * self.period_s), out);
    }

    /// Gains at `z`.
    pub fn at(&self, z: Complex64, out: &mut [Complex64]) {
        for (o, d) in out.iter_mut().zip(&self.d) {
            *o = Complex64::from(*d);
        }
        match &self.form {
            Form::Modal {
                pairs,
                n0,
                n1,
                reals,
                n,
            } => {
                let size = self.d.len();
                for (k, l) in pairs.iter().enumerate() {
                    let under = ((z - l) * (z - l.conj())).inv();
                    let over = under * z;
                    let (n0, n1) = (&n0[k * size..][..size], &n1[k * size..][..size]);
                    for ((o, a), b) in out.iter_mut().zip(n0).zip(n1) {
                        o.re += under.re * a + over.re * b;
                        o.im += under.im * a + over.im * b;
                    }
                }
                for (k, l) in reals.iter().enumerate() {
                    let under = (z - l).inv();
                    for (o, a) in out.iter_mut().zip(&n[k * size..][..size]) {
                        o.re += under.re * a;
                        o.im += under.im * a;
                    }
                }
            }
            Form::Schur { t, c, b } => schur_at(z, t, c, b, out),
        }
    }

    /// Gains at frequencies abreast, row by row into `out`.
    #[allow(clippy::inline_always)] // compiled anew for wide vectors
    #[inline(always)]
    pub(crate) fn response_abreast(&self, omega_rad_s: &Reals, out: &mut [Complexes]) {
        let z_at = |l: usize| Complex64::from_polar(1.0, omega_rad_s[l] * self.period_s);
        if let Form::Modal {
            pairs,
            n0,
            n1,
            reals,
            n,
        } = &self.form
        {
            let z = Complexes::of(z_at);
            let size = self.d.len();
            let less = |l: Complex64| Complexes::of(|_| -l).plus(1.0, &z);
            for (o, d) in out.iter_mut().zip(&self.d) {
                *o = Complexes::of(|_| Complex64::from(*d));
            }
            for (k, l) in pairs.iter().enumerate() {
                let under = less(*l).times(&less(l.conj())).inverse();
                let over = under.times(&z);
                let (n0, n1) = (&n0[k * size..][..size], &n1[k * size..][..size]);
                for ((o, a), b) in out.iter_mut().zip(n0).zip(n1) {
                    one_by_one();
                    *o = o.plus(*a, &under).plus(*b, &over);
                }
            }
            for (k, l) in reals.iter().enumerate() {
                let under = less(Complex64::from(*l)).inverse();
                for (o, a) in out.iter_mut().zip(&n[k * size..][..size]) {
                    one_by_one();
                    *o = o.plus(*a, &under);
                }
            }
            return;
        }
        let mut one = vec![Complex64::ZERO; out.len()];
        for l in 0..ABREAST {
            self.at(z_at(l), &mut one);
            for (o, v) in out.iter_mut().zip(&one) {
                (o.re[l], o.im[l]) = (v.re, v.im);
            }
        }
    }
}

fn places<T: PartialEq>(of: &[T], among: &[T]) -> Option<Vec<usize>> {
    of.iter()
        .map(|x| among.iter().position(|y| y == x))
        .collect()
}

fn schur_at(
    z: Complex64,
    t: &DMatrix<Complex64>,
    c: &DMatrix<Complex64>,
    b: &DMatrix<Complex64>,
    out: &mut [Complex64],
) {
    let n = t.nrows();
    let columns = b.ncols();
    let mut row = vec![Complex64::ZERO; n];
    for i in 0..c.nrows() {
        // row (z - T) = c_i, forwards as T is upper triangular
        for j in 0..n {
            let mut v = c[(i, j)];
            for k in 0..j {
                v += row[k] * t[(k, j)];
            }
            row[j] = v / (z - t[(j, j)]);
        }
        for j in 0..columns {
            for k in 0..n {
                out[i * columns + j] += row[k] * b[(k, j)];
            }
        }
    }
}

fn form(a: &DMatrix<f64>, b: &DMatrix<f64>, c: &DMatrix<f64>) -> Option<(Form, Vec<Complex64>)> {
    let n = a.nrows();
    if n == 0 {
        let none = Form::Modal {
            pairs: Vec::new(),
            n0: Vec::new(),
            n1: Vec::new(),
            reals: Vec::new(),
            n: Vec::new(),
        };
        return Some((none, Vec::new()));
    }
    let (q, t) = Schur::try_new(a.map(Complex64::from), f64::EPSILON, SWEEPS)?.unpack();
    let poles: Vec<Complex64> = (0..n).map(|k| t[(k, k)]).collect();
    let schur_c = c.map(Complex64::from) * &q;
    let schur_b = q.adjoint() * b.map(Complex64::from);
    let modal = modal(&t, &schur_c, &schur_b);
    let schur = Form::Schur {
        t,
        c: schur_c,
        b: schur_b,
    };
    let chosen = match modal {
        Some(m) if agree(&m, &schur, c.nrows() * b.ncols(), c.nrows(), b.ncols()) => m,
        _ => schur,
    };
    Some((chosen, poles))
}

fn agree(a: &Form, b: &Form, size: usize, rows: usize, columns: usize) -> bool {
    let law = |form: &Form| FastLaw {
        period_s: 1.0,
        rows,
        columns,
        d: vec![0.0; size],
        form: form.clone(),
        poles: Vec::new(),
    };
    let (a, b) = (law(a), law(b));
    let mut x = vec![Complex64::ZERO; size];
    let mut y = x.clone();
    [0.003, 0.07, 0.3, 1.0, 2.7].iter().all(|w| {
        a.response(*w, &mut x);
        b.response(*w, &mut y);
        let largest = y.iter().fold(f64::MIN_POSITIVE, |s, v| s.max(v.norm()));
        x.iter()
            .zip(&y)
            .all(|(x, y)| (x - y).norm() <= MODAL_TRUST * largest)
    })
}

/// Modes of a triangular matrix; none where two eigenvalues fall together.
fn modal(t: &DMatrix<Complex64>, c: &DMatrix<Complex64>, b: &DMatrix<Complex64>) -> Option<Form> {
    let n = t.nrows();
    let mut right = DMatrix::<Complex64>::identity(n, n);
    for k in 0..n {
        for i in (0..k).rev() {
            let mut v = Complex64::ZERO;
            for j in i + 1..=k {
                v += t[(i, j)] * right[(j, k)];
            }
            right[(i, k)] = v / (t[(k, k)] - t[(i, i)]);
        }
    }
    if !right.iter().all(|v| v.is_finite()) {
        return None;
    }
    let left = right.solve_upper_triangular(b)?;
    let seen = c * &right;
    let (mut pairs, mut n0, mut n1) = (Vec::new(), Vec::new(), Vec::new());
    let (mut reals, mut num) = (Vec::new(), Vec::new());
    for k in 0..n {
        let l = t[(k, k)];
        let residue = |f: &mut dyn FnMut(Complex64)| {
            for i in 0..c.nrows() {
                for j in 0..b.ncols() {
                    f(seen[(i, k)] * left[(k, j)]);
                }
            }
        };
        if l.im.abs() <= 1e-13 * (1.0 + l.norm()) {
            reals.push(l.re);
            residue(&mut |r| num.push(r.re));
        } else if l.im > 0.0 {
            // r/(z - l) + conj: (2 Re r z - 2 Re(r conj l)) / ((z - l)(z - conj l))
            pairs.push(l);
            residue(&mut |r| {
                n0.push(-2.0 * (r * l.conj()).re);
                n1.push(2.0 * r.re);
            });
        }
    }
    Some(Form::Modal {
        pairs,
        n0,
        n1,
        reals,
        n: num,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::closed_loop::tests::sample_law;

    const SIGNALS: [LawSignal; 3] = [LawSignal::Roll, LawSignal::Pitch, LawSignal::RollRate];

    fn compare(law: &LinearLaw, fast: &FastLaw) -> f64 {
        let mut worst = 0.0_f64;
        for omega in [-2.0, 0.01, 0.7, 9.0] {
            let want = law.response(omega).unwrap();
            let mut got = vec![Complex64::ZERO; fast.rows * fast.columns];
            fast.response(omega, &mut got);
            let mut abreast = vec![Complexes::default(); got.len()];
            fast.response_abreast(&[omega; ABREAST], &mut abreast);
            for (one, all) in got.iter().zip(&abreast) {
                let off = (one - all.lane(ABREAST - 1)).norm();
                worst = worst.max(off / want.norm());
            }
            for i in 0..want.nrows() {
                for j in 0..want.ncols() {
                    let off = (got[i * fast.columns + j] - want[(i, j)]).norm();
                    worst = worst.max(off / want.norm());
                }
            }
        }
        worst
    }

    #[test]
    fn equals_the_plain_response() {
        for n in [1, 9, 40] {
            let law = sample_law(0.1, n, &[0, 2], &SIGNALS);
            let fast = FastLaw::new(&law, &[0, 2], &SIGNALS).unwrap();
            assert!(fast.is_modal(), "{n}");
            assert!(compare(&law, &fast) < 1e-10, "{n}"); // rounding of the modes
        }
        // three equal poles in a chain: no modes
        let mut law = sample_law(0.1, 3, &[0, 2], &SIGNALS);
        law.a = DMatrix::from_row_slice(3, 3, &[0.9, 1.0, 0.0, 0.0, 0.9, 1.0, 0.0, 0.0, 0.9]);
        let fast = FastLaw::new(&law, &[0, 2], &SIGNALS).unwrap();
        assert!(!fast.is_modal());
        assert!(compare(&law, &fast) < 1e-10);
    }

    #[test]
    fn channels_and_signals_find_their_places() {
        let law = sample_law(0.1, 4, &[2], &SIGNALS[1..]);
        let fast = FastLaw::new(&law, &[0, 2], &SIGNALS).unwrap();
        let mut got = vec![Complex64::ZERO; 6];
        fast.response(0.5, &mut got);
        let want = law.response(0.5).unwrap();
        assert!(got[..4].iter().all(|v| v.norm() == 0.0));
        assert!((got[4] - want[(0, 0)]).norm() < 1e-12 && (got[5] - want[(0, 1)]).norm() < 1e-12);
        assert!(FastLaw::new(&law, &[0], &SIGNALS).is_none());
    }
}
