//! From damping and added mass to a [`MemoryModel`], and how well it went.
//!
//! # Equation
//! Each velocity drives pole pairs of its own (common to all its couplings), found by
//! [`super::column`] on samples of B, A and K of [`crate::hydro::curve`], weighted by the inverse
//! of the errors aimed at.
//!
//! # Symbols
//! As in [`super`].
//!
//! # Valid when
//! The report says so: it holds the errors of every coupling on the samples.
//!
//! # Source
//! Cummins (1962); Ogilvie (1964); the aims are the job's acceptance.
//!
//! # Checked by
//! `mock_craft_meets_the_targets`, `memory_meets_the_aims_on_the_craft`.

use nalgebra::{DMatrix, Matrix6};
use rayon::prelude::*;

use super::MemoryModel;
use super::column::{Column, fit_column};
use crate::error::{Error, Result};
use crate::hydro::curve::DampingCurve;
use crate::hydro::regularise::scaled_smallest_eigenvalue;

/// Inputs (and outputs) that the strips couple: heave-pitch and sway-roll-yaw.
const GROUPS: [&[usize]; 2] = [&[2, 4], &[1, 3, 5]];
/// Aim of the fit, as shares: retardation function of its peak; damping of itself and of its
/// largest value; added mass of itself. (The job's acceptance; the weights are their inverses.)
pub(crate) const AIM_K: f64 = 0.003;
const AIM_B: f64 = 0.10;
const AIM_B_FLOOR: f64 = 0.002;
const AIM_A: f64 = 0.02;
/// Aim for damping at natural frequencies, of itself and of the largest.
const AIM_B_NATURAL: f64 = 0.02;
const AIM_B_NATURAL_FLOOR: f64 = 0.0001;

/// How to fit.
#[derive(Clone, Debug, PartialEq)]
pub struct FitOptions {
    /// Least and greatest number of pole pairs for each of heave and pitch (two states a pair).
    pub pairs_vertical: (usize, usize),
    /// The same for each of sway, roll and yaw.
    pub pairs_lateral: (usize, usize),
    /// Natural frequencies at which the damping must survive, rad/s.
    pub natural_rad_s: Vec<f64>,
    /// Range in which A and B are judged, rad/s.
    pub window_rad_s: (f64, f64),
}

impl Default for FitOptions {
    fn default() -> Self {
        FitOptions {
            pairs_vertical: (3, 8),
            pairs_lateral: (3, 10),
            natural_rad_s: Vec::new(),
            window_rad_s: (0.05, 4.0),
        }
    }
}

/// Errors of one coupling.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CouplingError {
    /// Row and column, as mode indices.
    pub mode: (usize, usize),
    /// Largest error of the retardation function over sqrt(K_jj(0) K_kk(0)).
    pub retardation: f64,
    /// Largest error of damping over max(10 % of it, 0.2 % of sqrt of the largest diagonals): passes up to 1.
    pub damping: f64,
    /// Largest error of added mass over sqrt(A_jj A_kk) in the window.
    pub added_mass: f64,
    /// Largest error of damping at the natural frequencies over itself (diagonals; 0 without any).
    pub natural_damping: f64,
}

/// How well the fit went.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct FitReport {
    /// States of the heave-pitch and of the sway-roll-yaw model.
    pub order: [usize; 2],
    /// Errors by coupling (both triangles).
    pub couplings: Vec<CouplingError>,
    /// Smallest eigenvalue of the fitted damping scaled to unit diagonal, over the window.
    pub smallest_eigenvalue: f64,
}

impl FitReport {
    /// Couplings that miss the aims, in words.
    pub fn misses(&self) -> Vec<String> {
        let name = |m: usize| crate::frames::Dof::ALL[m].name();
        let mut out = Vec::new();
        for c in &self.couplings {
            let (i, j) = (name(c.mode.0), name(c.mode.1));
            if c.retardation > AIM_K {
                out.push(format!(
                    "memory {i}-{j}: retardation function off by {:.2} % of its peak (aim 0.3 %)",
                    100.0 * c.retardation
                ));
            }
            if c.damping > 1.0 {
                out.push(format!(
                    "memory {i}-{j}: damping off by {:.1} times the aim (10 %, or 0.2 % of the largest)",
                    c.damping
                ));
            }
            if c.added_mass > AIM_A {
                out.push(format!(
                    "memory {i}-{j}: added mass off by {:.1} % (aim 2 %)",
                    100.0 * c.added_mass
                ));
            }
        }
        out
    }
}

/// Samples of the target that fit and report share.
pub(crate) struct Target {
    pub(crate) omega: Vec<f64>,
    pub(crate) a: Vec<Matrix6<f64>>,
    pub(crate) b: Vec<Matrix6<f64>>,
    pub(crate) time: Vec<f64>,
    pub(crate) k: Vec<Matrix6<f64>>,
    pub(crate) a_inf: Matrix6<f64>,
    pub(crate) k_peak: [f64; 6],
    b_max: [f64; 6],
    natural: Vec<bool>,
    window: (f64, f64),
}

impl MemoryModel {
    /// The model of `curve` with `a_inf`.
    ///
    /// # Errors
    /// When an eigenvalue or least-squares problem has no finite solution.
    pub fn fit(
        curve: &DampingCurve,
        a_inf: &Matrix6<f64>,
        options: &FitOptions,
    ) -> Result<(Self, FitReport)> {
        let target = Target::new(curve, a_inf, options);
        let mut model = MemoryModel::none(*a_inf);
        let mut report = FitReport::default();
        let pairs = [options.pairs_vertical, options.pairs_lateral];
        for (group, (&pairs, modes)) in pairs.iter().zip(GROUPS).enumerate() {
            let active: Vec<usize> = modes
                .iter()
                .copied()
                .filter(|&j| target.k_peak[j] > 0.0)
                .collect();
            if pairs.1 == 0 {
                continue;
            }
            let columns: Vec<Option<Column>> = active
                .par_iter()
                .map(|&j| fit_column(&target, &active, j, pairs))
                .collect();
            for (column, &j) in columns.into_iter().zip(&active) {
                let column = column.ok_or_else(|| {
                    Error::with_hint(
                        "no state-space model of the radiated waves' memory was found",
                        "switch `physics.memory` off, or give a frequency list without gaps",
                    )
                })?;
                report.order[group] += 2 * column.pairs.len();
                append(&mut model, &column, &active, j);
            }
        }
        model.set_momentum_output();
        target.judge(&model, &mut report);
        Ok((model, report))
    }
}

impl Target {
    fn new(curve: &DampingCurve, a_inf: &Matrix6<f64>, options: &FitOptions) -> Self {
        let mut omega = Vec::new();
        for w in curve.nodes().windows(2) {
            omega.push(0.5 * (w[0] + w[1]));
            omega.push(w[1]);
        }
        omega.extend(options.natural_rad_s.iter().copied().filter(|&w| w > 0.0));
        omega.sort_by(f64::total_cmp);
        let b: Vec<_> = omega.iter().map(|&w| curve.at(w)).collect();
        let a = omega.iter().map(|&w| a_inf + curve.added_mass(w)).collect();
        let dt = 1.2 / curve.last_rad_s();
        let all: Vec<f64> = (0..400).map(|i| dt * f64::from(i)).collect();
        let k = curve.retardation(&all);
        let k_peak = std::array::from_fn(|j| k[0][(j, j)].max(0.0));
        let alive = |m: &Matrix6<f64>| {
            (1..6).any(|j| k_peak[j] > 0.0 && m[(j, j)].abs() > 1e-3 * k_peak[j])
        };
        let last = k.iter().rposition(alive).unwrap_or(0);
        let keep = (2 * (last / 2) + 2).clamp(80, 400);
        Target {
            b_max: std::array::from_fn(|j| b.iter().map(|m| m[(j, j)]).fold(0.0, f64::max)),
            natural: omega
                .iter()
                .map(|w| {
                    options
                        .natural_rad_s
                        .iter()
                        .any(|n| (w - n).abs() < 1e-9 * n)
                })
                .collect(),
            omega,
            a,
            b,
            time: all[..keep].to_vec(),
            k: k[..keep].to_vec(),
            a_inf: *a_inf,
            k_peak,
            window: options.window_rad_s,
        }
    }

    /// True where the damping of a mode with a natural frequency must be kept closely.
    pub(crate) fn is_natural(&self, n: usize, i: usize, j: usize) -> bool {
        self.natural[n] && i == j && (2..5).contains(&j)
    }

    fn inside(&self, w: f64) -> bool {
        (self.window.0..=self.window.1).contains(&w)
    }

    fn scale_a(&self, n: usize, i: usize, j: usize) -> f64 {
        (self.a[n][(i, i)].abs() * self.a[n][(j, j)].abs())
            .sqrt()
            .max(1e-300)
    }

    fn aim_b(&self, n: usize, i: usize, j: usize, share: f64, floor: f64) -> f64 {
        let top = (self.b_max[i] * self.b_max[j]).sqrt().max(1e-300);
        (share * self.b[n][(i, j)].abs()).max(floor * top)
    }

    /// Weights of the damping and the added-mass equation at sample `n`.
    pub(crate) fn weights(&self, n: usize, i: usize, j: usize) -> (f64, f64) {
        let b = if self.is_natural(n, i, j) {
            self.aim_b(n, i, j, AIM_B_NATURAL, AIM_B_NATURAL_FLOOR)
        } else {
            self.aim_b(n, i, j, AIM_B, AIM_B_FLOOR)
        };
        let inside = if self.inside(self.omega[n]) { 1.0 } else { 0.2 };
        (1.0 / b, inside / (AIM_A * self.scale_a(n, i, j)))
    }

    fn judge(&self, model: &MemoryModel, report: &mut FitReport) {
        let fitted: Vec<_> = self.omega.iter().map(|&w| model.coefficients(w)).collect();
        let k: Vec<_> = self.time.iter().map(|&t| model.retardation(t)).collect();
        report.smallest_eigenvalue = f64::INFINITY;
        for (n, _) in self
            .omega
            .iter()
            .enumerate()
            .filter(|(_, w)| self.inside(**w))
        {
            let e = scaled_smallest_eigenvalue(&fitted[n].1, &self.b_max, AIM_B_FLOOR);
            report.smallest_eigenvalue = report.smallest_eigenvalue.min(e);
        }
        for (i, j) in GROUPS
            .iter()
            .flat_map(|g| g.iter().flat_map(|&i| g.iter().map(move |&j| (i, j))))
        {
            if self.k_peak[i] <= 0.0 || self.k_peak[j] <= 0.0 {
                continue;
            }
            let mut e = CouplingError {
                mode: (i, j),
                retardation: 0.0,
                damping: 0.0,
                added_mass: 0.0,
                natural_damping: 0.0,
            };
            let peak = (self.k_peak[i] * self.k_peak[j]).sqrt();
            for (want, got) in self.k.iter().zip(&k) {
                e.retardation = e.retardation.max((want[(i, j)] - got[(i, j)]).abs() / peak);
            }
            for (n, &w) in self.omega.iter().enumerate() {
                let db = (fitted[n].1[(i, j)] - self.b[n][(i, j)]).abs();
                e.damping = e.damping.max(db / self.aim_b(n, i, j, AIM_B, AIM_B_FLOOR));
                if self.inside(w) {
                    let da = (fitted[n].0[(i, j)] - self.a[n][(i, j)]).abs();
                    e.added_mass = e.added_mass.max(da / self.scale_a(n, i, j));
                }
                if self.is_natural(n, i, j) {
                    e.natural_damping = e.natural_damping.max(db / self.b[n][(i, j)].abs());
                }
            }
            report.couplings.push(e);
        }
    }
}

/// Adds a column's pairs to the model: all driven by mode `j` alone.
fn append(model: &mut MemoryModel, column: &Column, active: &[usize], j: usize) {
    let old = model.state_count();
    let new = old + 2 * column.pairs.len();
    let mut g = DMatrix::zeros(new, 6);
    let mut c = DMatrix::zeros(6, new);
    g.view_mut((0, 0), (old, 6)).copy_from(&model.g);
    c.view_mut((0, 0), (6, old)).copy_from(&model.c);
    // unit states: the input is scaled so that state and velocity are of one size
    for (p, &(s, w)) in column.pairs.iter().enumerate() {
        model.decay.push(s);
        model.frequency.push(w);
        let at = old + 2 * p;
        let gain = s.hypot(w);
        g[(at, j)] = gain;
        for (row, &i) in active.iter().enumerate() {
            c[(i, at)] = column.output[row][2 * p] / gain;
            c[(i, at + 1)] = column.output[row][2 * p + 1] / gain;
        }
    }
    model.g = g;
    model.c = c;
}
