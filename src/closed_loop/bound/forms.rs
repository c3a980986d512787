//! Variances as quadratic forms of the coefficients of the free part of the law.
//!
//! # Equation
//! ```text
//! v = Q y,  Q = sum_k Q_k phi_k(z)                   Q_k real, m x p
//! z = z_w + Z Q y_w                                  y_w, Z: nominal loop closed
//! sum_j |W^(1/2) z|^2 = x'H x + 2 f'x + c            x: all entries of all Q_k
//! H[(k c s),(l d t)] = Re sum conj(phi_k) phi_l (Z^H W Z)_cd conj((y_w y_w^H)_st)
//! f[(k c s)] = Re sum conj(phi_k) (Z^H W z_w y_w^H)_cs
//! minimum of form 0 + prices on forms 1, 2:  x = -(H0 + a H1 + b H2)^-1 (f0 + a f1 + b f2)
//! d form_i / d price_j = -2 g_i' M^-1 g_j            g_i = H_i x + f_i
//! ```
//!
//! # Symbols
//! As in [`super::point`]; W weights of the outputs.
//!
//! # Valid when
//! The nominal loop is stable. Every such Q makes a stable loop, and every stable loop comes from such
//! a Q as far as the functions reach, so the minimum falls to the least of all laws with their number.
//!
//! # Source
//! Youla, Jabr & Bongiorno 1976, IEEE Trans. AC-21, 319-338; Boyd & Barratt 1991, Linear Controller
//! Design: Limits of Performance, chapters 7 and 15.
//!
//! # Checked by
//! `forms_are_the_loop_itself`, `equals_the_riccati_optimum` (bound::tests)

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::basis::Basis;
use super::point::{Cm, Point, Sum};
use super::trade::{Answer, Choice};

/// x'H x + 2 f'x + c.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    h: DMatrix<f64>,
    f: DVector<f64>,
    c: f64,
}

impl Form {
    /// Value at `x`.
    pub fn at(&self, x: &DVector<f64>) -> f64 {
        let half = &self.h * x + &self.f;
        half.dot(x) + self.f.dot(x) + self.c
    }
}

/// Which signal may act on which command: (command, signal).
pub type Entries = [(usize, usize)];

/// All signals on all commands.
pub fn all_entries(commands: usize, signals: usize) -> Vec<(usize, usize)> {
    (0..commands)
        .flat_map(|c| (0..signals).map(move |s| (c, s)))
        .collect()
}

/// The form of `sum` on `points` with the functions of `basis` in each of `entries`.
pub fn form(points: &[Point], basis: &Basis, entries: &Entries, sum: &Sum) -> Form {
    let responses = points.iter().map(|p| basis.response(p.omega_rad_s));
    let phi: Vec<Vec<Complex64>> = responses.collect();
    let (count, block) = (phi.first().map_or(0, Vec::len), entries.len());
    let n = count * block;
    let mut out = Form {
        h: DMatrix::zeros(n, n),
        f: DVector::zeros(n),
        c: 0.0,
    };
    for (point, phi) in points.iter().zip(&phi) {
        out.c += sum.free_at(point);
        let (pair, first) = products(point, entries, sum);
        for k in 0..count {
            for (i, v) in first.iter().enumerate() {
                out.f[k * block + i] += phi[k].re * v.re + phi[k].im * v.im;
            }
            for l in k..count {
                let w = phi[k].conj() * phi[l];
                for j in 0..block {
                    let column = &mut out.h.column_mut(l * block + j);
                    let target = &mut column.as_mut_slice()[k * block..(k + 1) * block];
                    let source = &pair.as_slice()[j * block..(j + 1) * block];
                    for (t, s) in target.iter_mut().zip(source) {
                        *t += w.re * s.re - w.im * s.im;
                    }
                }
            }
        }
    }
    for l in 0..n {
        for k in 0..l {
            out.h[(l, k)] = out.h[(k, l)];
        }
    }
    out
}

/// (Z^H W Z) times conj(y y^H) and Z^H W z y^H, both by entry.
fn products(point: &Point, entries: &Entries, sum: &Sum) -> (Cm, Vec<Complex64>) {
    let (reach, back) = sum.reach(point);
    let gram = &back * reach;
    let first = back * sum.free_rows(point) * point.seen.adjoint();
    let seen = &point.seen * point.seen.adjoint();
    let pair = Cm::from_fn(entries.len(), entries.len(), |r, c| {
        let ((a, s), (b, t)) = (entries[r], entries[c]);
        gram[(a, b)] * seen[(s, t)].conj()
    });
    let first = entries.iter().map(|e| first[*e]).collect();
    (pair, first)
}

impl Form {
    /// Value with all coefficients zero.
    pub fn idle(&self) -> f64 {
        self.c
    }

    /// The form of the first `n` coefficients, the others zero.
    #[must_use]
    pub fn first(&self, n: usize) -> Form {
        Form {
            h: self.h.view((0, 0), (n, n)).into_owned(),
            f: self.f.rows(0, n).into_owned(),
            c: self.c,
        }
    }
}

/// The best causal law: `ride` is least, `angle` and `rate` have prices.
#[derive(Clone, Copy, Debug)]
pub struct Causal<'a> {
    /// Form of the ride.
    pub ride: &'a Form,
    /// Form of the fins' angle.
    pub angle: &'a Form,
    /// Form of the fins' rate.
    pub rate: &'a Form,
}

/// Share of each diagonal entry that is added: rounding of the sums must not make a form negative.
const RIDGE: f64 = 1e-10;

impl Choice for Causal<'_> {
    fn at(&self, prices: [f64; 2]) -> Option<Answer> {
        let Causal { ride, angle, rate } = self;
        let mut system = &ride.h + &angle.h * prices[0] + &rate.h * prices[1];
        let right = &ride.f + &angle.f * prices[0] + &rate.f * prices[1];
        let least = RIDGE * RIDGE * system.trace();
        for k in 0..system.nrows() {
            system[(k, k)] += RIDGE * system[(k, k)] + least;
        }
        let solved = system.cholesky()?;
        let x = -solved.solve(&right);
        let slopes = [angle, rate].map(|f| &f.h * &x + &f.f);
        let moved = [solved.solve(&slopes[0]), solved.solve(&slopes[1])];
        Some(Answer {
            prices,
            ride: ride.at(&x),
            spent: [angle.at(&x), rate.at(&x)],
            slope: std::array::from_fn(|i| {
                std::array::from_fn(|j| -2.0 * slopes[i].dot(&moved[j]))
            }),
        })
    }

    fn idle(&self) -> f64 {
        self.ride.c
    }
}
