//! Gain, phase and delay margins of a cut: where loci of its eigenvalues cross minus one.
//!
//! # Equation
//! ```text
//! cut of channels g, the others closed:  l = (S_gg)^-1 - I,  eigenvalue s of S_gg: lambda = 1/s - 1
//! common gain k:    1 + k lambda = 0    where Im s = 0 and lambda < 0:   k = -1/lambda
//! common phase phi: lambda exp(-i phi) = -1  where |lambda| = 1, that is Re s = 1/2: phi = arg(-lambda)
//! common delay tau: phi + 2 pi n = omega tau, the least positive
//! ```
//! One channel is a cut of one; all channels together are the cut of all.
//!
//! # Symbols
//! S sensitivity, k factor on the gain, phi lag (rad), tau delay (s).
//!
//! # Valid when
//! The closed loop is stable. Of a sampled loop tau is exact at whole sample periods and a smooth
//! interpolation between (the delay would lie on the far side of the hold).
//!
//! # Source
//! Franklin, Powell & Emami-Naeini, Feedback Control of Dynamic Systems, 6th ed. 2010, section 6.4
//! (margins of one loop); MacFarlane & Postlethwaite 1977, Int. J. Control 25, 81-127 (loci).
//!
//! # Checked by
//! `textbook_margins`, `python_control_margins`, `delay_margin_is_the_edge_of_the_delayed_loop`

use nalgebra::DMatrix;
use num_complex::Complex64;
use serde::Serialize;

use super::loops::OpenLoop;
use super::sweep::Sweep;
use crate::closed_loop::margins::structured::eigenvalues;

/// Frequencies of crossings are found to this share of themselves.
pub const CLOSE_FRAC: f64 = 1e-10;
/// Factors outside this and its inverse count as none.
const LARGEST_FACTOR: f64 = 1e4;
/// At the ends of the axis a response is real: imaginary parts below this share count as none.
const REAL_FRAC: f64 = 1e-3;
/// What counts as frequency zero, as a share of the lowest of the grid: zero itself may be a pole.
const AT_REST_FRAC: f64 = 1e-4;

/// A frequency with the value found there.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct At {
    /// rad/s.
    pub omega_rad_s: f64,
    /// Factor, rad or s.
    pub value: f64,
}

/// Margins of a cut. None: no crossing, without limit.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Classic {
    /// Least factor above one on the gain that brings the loop to its edge.
    pub gain_up: Option<At>,
    /// Greatest factor below one; none: the gain may fall to nothing.
    pub gain_down: Option<At>,
    /// Least lag, rad.
    pub phase_lag_rad: Option<At>,
    /// Least lead, rad.
    pub phase_lead_rad: Option<At>,
    /// Least delay, s.
    pub delay_s: Option<At>,
    /// All factors at which a locus crosses the negative real axis.
    pub factors: Vec<At>,
    /// All frequencies where a locus has gain one, with the lag (rad, -pi to pi) to minus one.
    pub phases_rad: Vec<At>,
}

impl Classic {
    /// Least of lag and lead, rad.
    pub fn phase_rad(&self) -> Option<At> {
        [self.phase_lag_rad, self.phase_lead_rad]
            .into_iter()
            .flatten()
            .min_by(|a, b| a.value.total_cmp(&b.value))
    }
}

/// Least of several, by `value`.
fn least(all: impl Iterator<Item = At>) -> Option<At> {
    all.min_by(|a, b| a.value.total_cmp(&b.value))
}

/// Margins of the channels `cut` taken together, the others closed.
pub fn classic(open: &OpenLoop<'_>, sweep: &Sweep, cut: &[usize]) -> Classic {
    let loci = Loci::new(open, sweep, cut);
    let factors = loci.factors();
    let phases_rad = loci.phases();
    let mut out = Classic {
        gain_up: least(factors.iter().copied().filter(|f| f.value > 1.0)),
        gain_down: factors
            .iter()
            .copied()
            .filter(|f| f.value < 1.0)
            .max_by(|a, b| a.value.total_cmp(&b.value)),
        ..Classic::default()
    };
    let of = |f: &dyn Fn(&At) -> f64| {
        least(phases_rad.iter().map(|p| At {
            omega_rad_s: p.omega_rad_s,
            value: f(p),
        }))
    };
    let turn = std::f64::consts::TAU;
    out.phase_lag_rad = least(phases_rad.iter().copied().filter(|p| p.value >= 0.0));
    out.phase_lead_rad = least(phases_rad.iter().filter(|p| p.value < 0.0).map(|p| At {
        value: -p.value,
        ..*p
    }));
    out.delay_s = of(&|p| p.value.rem_euclid(turn) / p.omega_rad_s);
    out.factors = factors;
    out.phases_rad = phases_rad;
    out
}

/// Eigenvalues of S over the grid, one locus a row, followed by nearness.
struct Loci<'a> {
    open: &'a OpenLoop<'a>,
    cut: &'a [usize],
    omega_rad_s: &'a [f64],
    s: Vec<Vec<Complex64>>,
}

impl<'a> Loci<'a> {
    fn new(open: &'a OpenLoop<'a>, sweep: &'a Sweep, cut: &'a [usize]) -> Self {
        let mut s: Vec<Vec<Complex64>> = Vec::with_capacity(sweep.s.len());
        for m in &sweep.s {
            let found = eigenvalues(&block(m, cut));
            let next = match s.last() {
                Some(last) => in_order_of(last, found),
                None => found,
            };
            s.push(next);
        }
        Loci {
            open,
            cut,
            omega_rad_s: &sweep.omega_rad_s,
            s,
        }
    }

    fn factors(&self) -> Vec<At> {
        let mut out = Vec::new();
        for (w, s) in self.crossings(|s| s.im) {
            out.extend(factor(w, s));
        }
        // where a real system is real: the ends of the axis
        let mut ends = vec![(0.0, AT_REST_FRAC * self.open.low_rad_s)];
        if self.open.period_s.is_some() {
            ends.push((self.open.high_rad_s, self.open.high_rad_s));
        }
        for (told, omega) in ends {
            let Some(s) = self.open.sensitivity(Complex64::new(0.0, omega)) else {
                continue;
            };
            for s in eigenvalues(&block(&s, self.cut)) {
                if s.im.abs() <= REAL_FRAC * s.norm() {
                    out.extend(factor(told, s));
                }
            }
        }
        out.sort_by(|a, b| a.omega_rad_s.total_cmp(&b.omega_rad_s));
        out
    }

    fn phases(&self) -> Vec<At> {
        let mut out: Vec<At> = self
            .crossings(|s| s.re - 0.5)
            .into_iter()
            .map(|(omega_rad_s, s)| At {
                omega_rad_s,
                value: (1.0 - s.inv()).arg(),
            })
            .collect();
        out.sort_by(|a, b| a.omega_rad_s.total_cmp(&b.omega_rad_s));
        out
    }

    /// Frequencies and loci where `f` changes its sign.
    fn crossings(&self, f: impl Fn(Complex64) -> f64) -> Vec<(f64, Complex64)> {
        let mut out = Vec::new();
        for k in 1..self.s.len() {
            for (a, b) in self.s[k - 1].iter().zip(&self.s[k]) {
                let (fa, fb) = (f(*a), f(*b));
                // loci at rest on s = 1 (no gain) tremble about the axis
                let still = (a - 1.0).norm() < 1e-7 && (b - 1.0).norm() < 1e-7;
                if fa * fb < 0.0 && !still {
                    let ends = [(self.omega_rad_s[k - 1], *a), (self.omega_rad_s[k], *b)];
                    out.push(self.refine(ends, &f));
                }
            }
        }
        out
    }

    /// Regula falsi with halved ends (Illinois) along one locus.
    fn refine(
        &self,
        ends: [(f64, Complex64); 2],
        f: &impl Fn(Complex64) -> f64,
    ) -> (f64, Complex64) {
        let [mut a, mut b] = ends;
        let (mut fa, mut fb) = (f(a.1), f(b.1));
        for _ in 0..60 {
            if (b.0 - a.0).abs() <= CLOSE_FRAC * b.0 {
                break;
            }
            let share = (fa / (fa - fb)).clamp(0.001, 0.999);
            let w = a.0 + share * (b.0 - a.0);
            let guess = a.1 + (b.1 - a.1) * share;
            let Some(s) = self.locus_at(w, guess) else {
                break;
            };
            let fs = f(s);
            if fs.abs() < 1e-13 {
                return (w, s);
            }
            if fs * fb < 0.0 {
                (a, fa) = (b, fb);
            } else {
                fa *= 0.5;
            }
            (b, fb) = ((w, s), fs);
        }
        b
    }

    fn locus_at(&self, omega: f64, guess: Complex64) -> Option<Complex64> {
        let s = self.open.sensitivity(Complex64::new(0.0, omega))?;
        eigenvalues(&block(&s, self.cut))
            .into_iter()
            .min_by(|a, b| (a - guess).norm().total_cmp(&(b - guess).norm()))
    }
}

fn factor(omega_rad_s: f64, s: Complex64) -> Option<At> {
    let lambda = 1.0 / s.re - 1.0;
    let value = -1.0 / lambda;
    let told = value > 1.0 / LARGEST_FACTOR && value < LARGEST_FACTOR;
    (lambda < 0.0 && told).then_some(At { omega_rad_s, value })
}

/// Rows and columns `cut` of a matrix.
pub fn block(m: &DMatrix<Complex64>, cut: &[usize]) -> DMatrix<Complex64> {
    DMatrix::from_fn(cut.len(), cut.len(), |i, j| m[(cut[i], cut[j])])
}

/// `found` in the order of their nearest neighbours in `last`, closest pairs first.
fn in_order_of(last: &[Complex64], mut found: Vec<Complex64>) -> Vec<Complex64> {
    let m = last.len();
    if m < 2 {
        return found;
    }
    let mut out = vec![Complex64::ZERO; m];
    let mut free: Vec<usize> = (0..m).collect();
    while !found.is_empty() {
        let mut best = (f64::INFINITY, 0, 0);
        for (i, slot) in free.iter().enumerate() {
            for (j, v) in found.iter().enumerate() {
                let d = (last[*slot] - v).norm_sqr();
                if d < best.0 {
                    best = (d, i, j);
                }
            }
        }
        out[free.swap_remove(best.1)] = found.swap_remove(best.2);
    }
    out
}
