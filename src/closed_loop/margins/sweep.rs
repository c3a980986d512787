//! The sensitivity on a frequency grid that refines itself.
//!
//! # Equation
//! ```text
//! S = (I + L)^-1;  step between neighbours: max_ij |dS_ij dS_ji|^(1/2)
//! ```
//! which no change of units alters; a cell is halved until its step is small. Poles p stand on the grid
//! at |Im p| and |Im p| +- {1/2, 1, 3} |Re p|, so that no resonance is stepped over.
//!
//! # Symbols
//! omega (rad/s), S m x m.
//!
//! # Valid when
//! The closed loop is stable: S is bounded on the axis.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `a_needle_is_not_stepped_over`

use nalgebra::DMatrix;
use num_complex::Complex64;

use super::loops::OpenLoop;

/// Largest step of S between neighbours.
pub const STEP: f64 = 0.05;
/// Cells are not halved below this share of their frequency.
pub const FINEST_FRAC: f64 = 1e-8;
/// Points of the first grid a decade.
const A_DECADE: f64 = 24.0;
/// Most points; a grid that would need more is left coarse and says so.
const MOST: usize = 6000;

/// S on a grid.
#[derive(Clone, Debug, Default)]
pub struct Sweep {
    /// Ascending, rad/s.
    pub omega_rad_s: Vec<f64>,
    /// S at each.
    pub s: Vec<DMatrix<Complex64>>,
    /// Largest step between neighbours.
    pub largest_step: f64,
}

/// Sensitivity of `open` over its frequency range.
pub fn sweep(open: &OpenLoop<'_>) -> Sweep {
    let at = |w: f64| open.sensitivity(Complex64::new(0.0, w));
    let first = first_grid(open);
    let mut known: Vec<(f64, DMatrix<Complex64>)> = first
        .into_iter()
        .filter_map(|w| at(w).map(|s| (w, s)))
        .collect();
    loop {
        let mut next = Vec::with_capacity(2 * known.len());
        let before = known.len();
        for pair in known.windows(2) {
            next.push(pair[0].clone());
            let (a, b) = (pair[0].0, pair[1].0);
            if before < MOST && b - a > FINEST_FRAC * b && step(&pair[0].1, &pair[1].1) > STEP {
                let middle = (a * b).sqrt();
                next.extend(at(middle).map(|s| (middle, s)));
            }
        }
        next.extend(known.last().cloned());
        let grown = next.len() > before;
        known = next;
        if !grown {
            break;
        }
    }
    let largest = known.windows(2).map(|p| step(&p[0].1, &p[1].1));
    let largest_step = largest.fold(0.0, f64::max);
    let (omega_rad_s, s) = known.into_iter().unzip();
    Sweep {
        omega_rad_s,
        s,
        largest_step,
    }
}

/// Distance of two sensitivities that no scaling of channels changes.
pub fn step(a: &DMatrix<Complex64>, b: &DMatrix<Complex64>) -> f64 {
    let d = a - b;
    let m = d.nrows();
    let mut most: f64 = 0.0;
    for i in 0..m {
        for j in i..m {
            most = most.max((d[(i, j)] * d[(j, i)]).norm());
        }
    }
    most.sqrt()
}

fn first_grid(open: &OpenLoop<'_>) -> Vec<f64> {
    let (low, high) = (open.low_rad_s, open.high_rad_s);
    let count = ((high / low).log10() * A_DECADE).ceil().max(2.0) as usize;
    let mut all: Vec<f64> = (0..=count)
        .map(|i| low * (high / low).powf(i as f64 / count as f64))
        .collect();
    all[count] = high;
    for p in open.closed_poles.iter().chain(&open.open_poles) {
        for k in [-3.0, -1.0, -0.5, 0.0, 0.5, 1.0, 3.0] {
            let w = p.im.abs() + k * p.re.abs();
            if w > low && w < high {
                all.push(w);
            }
        }
    }
    all.sort_by(f64::total_cmp);
    all.dedup_by(|b, a| *b - *a < 1e-7 * *b);
    all
}
