//! Frequency bins of a realised sea.
//!
//! # Equation
//! ```text
//! G = w_e F(omega) + w_l ln(omega/lo)/ln(hi/lo) + w_f C(omega),   G(edge_k) = k/N
//! ```
//! F is the cumulative share of the energy, C that of Cauchy densities about the focus.
//!
//! # Symbols
//! lo, hi realised range, rad/s; N components; w weights that add up to one.
//!
//! # Valid when
//! The spectrum has no lines narrower than the grid of [`CELLS`] cells.
//!
//! # Source
//! Own. Half by energy keeps the peak dense, half by logarithm keeps the tail, which decides
//! accelerations, from being lumped into a few waves.
//!
//! # Checked by
//! Tests of the parent.

use crate::sea::spectrum::Spectrum;

/// Cells of the tabulated distribution.
const CELLS: usize = 4096;
/// Share of the components placed by energy when nothing is in focus.
const BY_ENERGY: f64 = 0.5;
/// Share placed about the focus when there is one.
const BY_FOCUS: f64 = 1.0 / 3.0;

pub(super) struct Bins {
    omega: Vec<f64>,
    /// Cumulative energy share at `omega`.
    energy: Vec<f64>,
    /// Energy shares at the edges, N + 1 of them.
    edges: Vec<f64>,
    m0: f64,
}

impl Bins {
    pub(super) fn new(s: &Spectrum, n: usize, focus: &[(f64, f64)]) -> Bins {
        let (lo, hi) = s.range_rad_s();
        let step = (hi / lo).ln() / CELLS as f64;
        let omega: Vec<f64> = (0..=CELLS).map(|i| lo * (step * i as f64).exp()).collect();
        let energy = cumulative(&omega, |w| s.density(w));
        let focus: Vec<_> = focus.iter().filter(|f| f.0 > lo && f.0 < hi).collect();
        let about = cumulative(&omega, |w| {
            focus
                .iter()
                .map(|&&(w0, width)| width / ((w - w0).powi(2) + width * width))
                .sum()
        });
        let by_focus = if focus.is_empty() { 0.0 } else { BY_FOCUS };
        let mixed: Vec<f64> = (0..=CELLS)
            .map(|i| {
                let log = i as f64 / CELLS as f64;
                by_focus * about[i]
                    + (1.0 - by_focus) * (BY_ENERGY * energy[i] + (1.0 - BY_ENERGY) * log)
            })
            .collect();
        let edges = (0..=n)
            .map(|k| table(&mixed, &energy, k as f64 / n as f64))
            .collect();
        Bins {
            omega,
            energy,
            edges,
            m0: s.moment(0),
        }
    }

    /// Energy of a bin, m2; the energy cut off above the range is shared out.
    pub(super) fn energy_m2(&self, i: usize) -> f64 {
        self.m0 * (self.edges[i + 1] - self.edges[i])
    }

    /// Frequency inside a bin, rad/s, drawn with the spectrum's density by the uniform `u`.
    pub(super) fn frequency_rad_s(&self, i: usize, u: f64) -> f64 {
        let share = self.edges[i] + u * (self.edges[i + 1] - self.edges[i]);
        table(&self.energy, &self.omega, share)
    }
}

/// Cumulative integral by the trapezoidal rule, scaled to end at one.
fn cumulative(omega: &[f64], f: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut out = Vec::with_capacity(omega.len());
    let mut sum = 0.0;
    let mut last = f(omega[0]);
    out.push(0.0);
    for c in omega.windows(2) {
        let next = f(c[1]);
        sum += 0.5 * (last + next) * (c[1] - c[0]);
        last = next;
        out.push(sum);
    }
    if sum > 0.0 {
        for x in &mut out {
            *x /= sum;
        }
    }
    out
}

/// Linear look-up of y where x (not descending) passes `at`.
fn table(x: &[f64], y: &[f64], at: f64) -> f64 {
    let i = x.partition_point(|&v| v < at).clamp(1, x.len() - 1);
    let d = x[i] - x[i - 1];
    let f = if d > 0.0 {
        ((at - x[i - 1]) / d).clamp(0.0, 1.0)
    } else {
        0.0
    };
    y[i - 1] + f * (y[i] - y[i - 1])
}
