//! The ride if every wave were known beforehand: what no law can beat, causal or not.
//!
//! # Equation
//! ```text
//! for each wave j by itself:  min over u_j of |z_j + Z_j u_j|^2 + a |A_j u_j|^2 + b |B_j u_j|^2
//! u_j = -(Z'WZ + a A'A + b B'B)^-1 Z'W z_j              ' conjugate transpose
//! ```
//!
//! # Symbols
//! As in [`super::point`]; A fin angles and B fin rates per command, weights in them; a and b prices.
//!
//! # Valid when
//! Always a lower bound of the causal optimum: causality, noise, and (where the encounter spectrum
//! folds) that one law must serve several waves of one frequency are all left out.
//!
//! # Source
//! Full information with preview: Boyd & Barratt 1991, Linear Controller Design, chapter 3 (limits);
//! the formula is least squares.
//!
//! # Checked by
//! `foreknowledge_never_hurts`, `one_wave_in_closed_form`, `one_row_is_the_general_case` (bound::tests)

use nalgebra::DVector;
use num_complex::Complex64;

use super::point::{Cm, Point, Sum};
use super::trade::{Answer, Choice};

/// One wave.
#[derive(Clone, Debug)]
struct Wave {
    /// Z'WZ.
    ride: Cm,
    /// A'A and B'B.
    fins: [Cm; 2],
    /// Z'Wz.
    pull: DVector<Complex64>,
    /// z'Wz.
    idle: f64,
}

/// One wave of a ride of one row, every fin with a command of its own.
#[derive(Clone, Debug)]
struct Single {
    /// w |Z_c|^2.
    reach: Vec<f64>,
    /// (A'A)_cc and (B'B)_cc.
    fins: Vec<[f64; 2]>,
    /// w |z|^2.
    idle: f64,
}

impl Single {
    /// u = -D^-1 Z' w z / (1 + Z D^-1 Z' w), D = a A'A + b B'B (Sherman & Morrison 1950).
    fn add(&self, prices: [f64; 2], out: &mut Answer) {
        let price = |f: &[f64; 2]| prices[0] * f[0] + prices[1] * f[1];
        let pairs = || self.reach.iter().zip(&self.fins);
        // t = Z D^-1 Z' w, and how it changes with each price
        let (mut t, mut by, mut twice) = (0.0, [0.0; 2], [[0.0; 2]; 2]);
        for (r, f) in pairs() {
            let d = price(f);
            if d <= 0.0 {
                continue;
            }
            t += r / d;
            for i in 0..2 {
                by[i] += r * f[i] / (d * d);
                for j in 0..2 {
                    twice[i][j] += r * f[i] * f[j] / (d * d * d);
                }
            }
        }
        let rest = 1.0 / (1.0 + t);
        out.ride += self.idle * rest * rest;
        for i in 0..2 {
            out.spent[i] += self.idle * by[i] * rest * rest;
            for j in 0..2 {
                let slope = 2.0 * by[i] * by[j] * rest - 2.0 * twice[i][j];
                out.slope[i][j] += self.idle * slope * rest * rest;
            }
        }
    }
}

/// All waves of the open craft.
#[derive(Clone, Debug)]
pub struct Foreknown {
    waves: Vec<Wave>,
    singles: Vec<Single>,
    idle: f64,
}

impl Foreknown {
    /// From the points of the open craft, the ride, and the fins' angle and rate.
    pub fn new(points: &[Point], ride: &Sum, fins: [&Sum; 2]) -> Self {
        let waves = points.iter().filter(|p| p.wave);
        let waves: Vec<Wave> = waves
            .flat_map(|p| (0..p.free.ncols()).map(move |column| wave(p, column, ride, fins)))
            .collect();
        let idle = waves.iter().map(|w| w.idle).sum();
        let alone = |m: &Cm| {
            let off = |r: usize, c: usize| r != c && m[(r, c)] != Complex64::ZERO;
            !(0..m.nrows()).any(|r| (0..m.ncols()).any(|c| off(r, c)))
        };
        let simple = ride.rows.len() == 1 && waves.iter().all(|w| w.fins.iter().all(alone));
        if !simple {
            return Foreknown {
                waves,
                singles: Vec::new(),
                idle,
            };
        }
        let diagonal = |m: &Cm, c: usize| m[(c, c)].re;
        let single = |w: &Wave| Single {
            reach: (0..w.ride.nrows()).map(|c| diagonal(&w.ride, c)).collect(),
            fins: (0..w.ride.nrows())
                .map(|c| [0, 1].map(|k| diagonal(&w.fins[k], c)))
                .collect(),
            idle: w.idle,
        };
        Foreknown {
            singles: waves.iter().map(single).collect(),
            waves: Vec::new(),
            idle,
        }
    }
}

fn wave(p: &Point, column: usize, ride: &Sum, fins: [&Sum; 2]) -> Wave {
    let (reach, back) = ride.reach(p);
    let free = ride.free_rows(p).column(column).into_owned();
    let squares = free.iter().zip(&ride.rows);
    Wave {
        ride: &back * reach,
        fins: fins.map(|f| {
            let (reach, back) = f.reach(p);
            back * reach
        }),
        idle: squares.map(|(z, (_, w))| w * z.norm_sqr()).sum(),
        pull: back * free,
    }
}

impl Choice for Foreknown {
    fn at(&self, prices: [f64; 2]) -> Option<Answer> {
        let mut out = Answer {
            prices,
            ride: 0.0,
            spent: [0.0; 2],
            slope: [[0.0; 2]; 2],
        };
        for w in &self.singles {
            w.add(prices, &mut out);
        }
        for w in &self.waves {
            let mut system = w.ride.clone();
            for (fin, price) in w.fins.iter().zip(prices) {
                system += fin * Complex64::from(price);
            }
            // fins that push against each other do nothing to the ride: let them rest
            let ridge = 1e-13 * system.trace().re;
            if ridge == 0.0 {
                out.ride += w.idle;
                continue;
            }
            for k in 0..system.nrows() {
                system[(k, k)] += ridge;
            }
            let solved = system.cholesky()?;
            let u = -solved.solve(&w.pull);
            let felt = [&w.fins[0] * &u, &w.fins[1] * &u];
            let moved = [solved.solve(&felt[0]), solved.solve(&felt[1])];
            out.ride += w.idle + 2.0 * u.dotc(&w.pull).re + u.dotc(&(&w.ride * &u)).re;
            for (i, felt) in felt.iter().enumerate() {
                out.spent[i] += u.dotc(felt).re;
                for (j, moved) in moved.iter().enumerate() {
                    out.slope[i][j] -= 2.0 * felt.dotc(moved).re;
                }
            }
        }
        Some(out)
    }

    fn idle(&self) -> f64 {
        self.idle
    }
}
