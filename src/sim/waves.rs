//! Wave channels by phasor recurrence.
//!
//! # Equation
//! ```text
//! s_j(t) = Re sum_i a_i X_ij e^(i phi_i)
//! phi_i(t) = omega_e,i t - k_i (cos mu_i dx(t) + sin mu_i dy(t)) + eps_i
//! ```
//! `dx, dy` is where the craft is less where its nominal track U t along the mean course would
//! have it, so that phi is the phase at the craft's actual position.
//!
//! # Symbols
//! a_i amplitude (m), X_ij channel j per metre of component i at the nominal track, omega_e,i
//! signed encounter frequency at nominal speed (rad/s), k_i wave number (rad/m), mu_i relative to
//! the mean course, eps_i phase at the start (rad), h step (s).
//!
//! [`WaveBank::advance_to_end`] is for integrators that need no middle: it sums in single precision, and mixes channels that are
//! combinations of fewer sums from those (`reduce`).
//!
//! Within a run the phasors advance by half steps: one fixed rotation for the nominal track and a
//! small one for the change of deviation. Every [`EXACT_EVERY`] steps, and after a jump, they
//! are formed anew from the step's index. Because the deviation at the middle and the end of a
//! step is needed before the step is made, [`Track`] predicts it from the last two positions and
//! velocities, with an error of the order h^4; the phasors themselves never lag, the next step turns
//! them from where they were predicted to be.
//!
//! # Valid when
//! Deep water, first order; encounter along the straight mean course.
//!
//! # Source
//! M. St. Denis and W. J. Pierson (1953), SNAME Transactions 61, 280: superposition of encountered
//! components. E. Hairer, S. P. Noersett, G. Wanner (1993), Solving Ordinary Differential
//! Equations I, section III.1: extrapolation formulas (the predictor is the cubic Hermite one).
//!
//! # Checked by
//! `recurrence_equals_direct_sum`, `a_shifted_craft_meets_the_wave_where_it_is`,
//! `overtaken_waves_turn_the_other_way`, `predictor_is_of_fourth_order`, `paths_give_equal_runs`.

use std::sync::Arc;

use num_complex::Complex64;

use crate::frames::encounter_rad_s;
use crate::math::lanes::{self, Aligned, BLOCK, COMPONENTS, Path, Phasors, ShortPhasors, Turn};
use crate::sea::realisation::Component;

/// Steps between two exact evaluations of the phasors: 512 rotations lose about 1e-13.
pub const EXACT_EVERY: u64 = 256;

/// Sums all wave channels of a case, at the two new instants of every step.
#[derive(Clone, Debug)]
pub struct WaveBank {
    channels: usize,
    /// Amplitudes in blocks of channels, see [`lanes::sums_exact`].
    table: Arc<Aligned<f64>>,
    quick: Option<Arc<Quick>>,
    omega_e_rad_s: Vec<f64>,
    phase_rad: Vec<f64>,
    kx: Vec<f64>,
    ky: Vec<f64>,
    k_max: f64,
    path: Path,
    step_s: f64,
    step: u64,
    deviation_m: [f64; 2],
    /// Over half a step and a whole one.
    rotation: [Phasors; 2],
    now: Phasors,
    middle: Phasors,
    short: ShortPhasors,
    /// Sums from which the channels are mixed, and the same rounded.
    few: Vec<f64>,
    few_short: ShortPhasors,
    sums: [Vec<f64>; 3],
}

/// Amplitudes in single precision; they never change, so that all runs of a case share them.
#[derive(Debug)]
struct Quick {
    /// Blocks of channels, or of sums that `mix` makes channels of, whole groups of components.
    short: Aligned<f32>,
    /// Sums in `short`.
    sums: usize,
    /// From pairs of sums (one of the first half, one of the second) to channels, laid out as `short` is; empty when the sums
    /// are the channels.
    mix: Aligned<f32>,
}

impl Quick {
    /// From the channels' rows: real parts of all `n` components, then imaginary ones.
    fn new(rows: &[f64], channels: usize, n: usize) -> Self {
        let even = n.next_multiple_of(COMPONENTS);
        let table = |rows: &[f64], count: usize| {
            let at = |j: usize, i: usize| {
                let row = &rows[j * 2 * n..(j + 1) * 2 * n];
                if i < n {
                    [row[i], row[n + i]]
                } else {
                    [0.0; 2]
                }
            };
            short(&blocks(count, even, at))
        };
        let Some(r) = reduce::reduce(rows, 2 * n) else {
            return Quick {
                short: table(rows, channels),
                sums: channels,
                mix: Aligned::default(),
            };
        };
        let pairs = r.rank.next_multiple_of(BLOCK) / 2;
        // re of a pair times its first number less im times minus its second
        let mix = |j: usize, i: usize| {
            let c = |k: usize| r.mix[j].get(k).copied().unwrap_or(0.0);
            [c(i), -c(pairs + i)]
        };
        Quick {
            short: table(&r.basis, r.rank),
            sums: r.rank,
            mix: short(&blocks(channels, pairs, mix)),
        }
    }
}

/// Numbers `at(j, i)` (two of each) of rows j and columns i in blocks of rows, as [`lanes::sums`] wants them.
fn blocks(rows: usize, columns: usize, at: impl Fn(usize, usize) -> [f64; 2]) -> Vec<f64> {
    let mut table = vec![0.0; rows.div_ceil(BLOCK) * columns * 2 * BLOCK];
    for j in 0..rows {
        for i in 0..columns {
            let [a, b] = at(j, i);
            let place = ((j / BLOCK) * columns + i) * 2 * BLOCK + j % BLOCK;
            (table[place], table[place + BLOCK]) = (a, b);
        }
    }
    table
}

fn short(table: &[f64]) -> Aligned<f32> {
    Aligned::new(table.iter().map(|v| *v as f32))
}

impl WaveBank {
    /// A bank for a nominal speed. `per_metre` holds X_ij, component by component: for each
    /// component its `channels` values per metre of amplitude.
    ///
    /// # Panics
    /// When `per_metre` does not hold `components.len() * channels` numbers.
    pub fn new(
        components: &[Component],
        channels: usize,
        per_metre: &[Complex64],
        speed_m_s: f64,
        g_m_s2: f64,
    ) -> Self {
        assert_eq!(per_metre.len(), components.len() * channels);
        let n = components.len();
        let k = |c: &Component| c.omega_rad_s * c.omega_rad_s / g_m_s2;
        let table = blocks(channels, n, |j, i| {
            let x = per_metre[i * channels + j] * components[i].amplitude_m;
            [x.re, x.im]
        });
        let zero = Phasors {
            re: vec![0.0; n],
            im: vec![0.0; n],
        };
        let sums = vec![0.0; channels.div_ceil(BLOCK) * BLOCK];
        WaveBank {
            channels,
            few: Vec::new(),
            table: Arc::new(Aligned::new(table.into_iter())),
            quick: None,
            omega_e_rad_s: components
                .iter()
                .map(|c| encounter_rad_s(c.omega_rad_s, speed_m_s, c.mu_rad, g_m_s2))
                .collect(),
            phase_rad: components.iter().map(|c| c.phase_rad).collect(),
            kx: components.iter().map(|c| k(c) * c.mu_rad.cos()).collect(),
            ky: components.iter().map(|c| k(c) * c.mu_rad.sin()).collect(),
            k_max: components.iter().map(k).fold(0.0, f64::max),
            path: Path::best(),
            step_s: 0.0,
            step: 0,
            deviation_m: [0.0; 2],
            rotation: [zero.clone(), zero.clone()],
            now: zero.clone(),
            middle: zero,
            short: ShortPhasors::default(),
            few_short: ShortPhasors::default(),
            sums: [sums.clone(), sums.clone(), sums],
        }
    }

    /// Calm water for `channels` channels.
    pub fn calm(channels: usize) -> Self {
        WaveBank::new(&[], channels, &[], 0.0, 1.0)
    }

    /// Makes ready for [`Self::advance_to_end`].
    #[must_use]
    pub fn quick(mut self) -> Self {
        let (n, channels) = (self.components(), self.channels);
        let mut rows = vec![0.0; channels * 2 * n];
        for j in 0..channels {
            for i in 0..n {
                let place = ((j / BLOCK) * n + i) * 2 * BLOCK + j % BLOCK;
                rows[j * 2 * n + i] = self.table[place];
                rows[j * 2 * n + n + i] = self.table[place + BLOCK];
            }
        }
        let quick = Quick::new(&rows, channels, n);
        if !quick.mix.is_empty() {
            self.few = vec![0.0; quick.sums.next_multiple_of(BLOCK)];
        }
        self.quick = Some(Arc::new(quick));
        self
    }

    /// Takes the given instructions instead of the widest there are (tests).
    #[must_use]
    pub fn with_path(mut self, path: Path) -> Self {
        self.path = path;
        self
    }

    /// Number of channels.
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// Number of sums over all components that [`Self::advance_to_end`] makes the channels from.
    pub fn sums_made(&self) -> usize {
        self.quick.as_ref().map_or(self.channels, |q| q.sums)
    }

    /// Number of components.
    pub fn components(&self) -> usize {
        self.phase_rad.len()
    }

    /// Encounter frequencies at nominal speed, rad/s, signed.
    pub fn omega_e_rad_s(&self) -> &[f64] {
        &self.omega_e_rad_s
    }

    /// Begins a run: step length, first step's index and deviation from the nominal track (m,
    /// along and across).
    pub fn start(&mut self, step_s: f64, step: u64, deviation_m: [f64; 2]) {
        self.step_s = step_s;
        self.step = step;
        self.deviation_m = deviation_m;
        for (i, w) in self.omega_e_rad_s.iter().enumerate() {
            for (r, span_s) in self.rotation.iter_mut().zip([0.5 * step_s, step_s]) {
                (r.im[i], r.re[i]) = libm::sincos(span_s * w);
            }
        }
        let t = step as f64 * step_s;
        let mut q = std::mem::take(&mut self.now);
        exact(self.phases(t, deviation_m), &mut q);
        self.now = q;
        self.middle.clone_from(&self.now);
        self.sum_up();
        let [a, _, c] = &mut self.sums;
        a.copy_from_slice(c);
    }

    /// Moves on by one step: afterwards [`Self::at_start`] holds what [`Self::at_end`] held, and the
    /// other two hold the middle and the end of the new step, for the predicted deviations
    /// from the nominal track there.
    pub fn advance(&mut self, middle_m: [f64; 2], end_m: [f64; 2]) {
        self.sums.swap(0, 2);
        self.step += 1;
        let first = sub(middle_m, self.deviation_m);
        let second = sub(end_m, middle_m);
        if self.exact_is_due(first) || self.exact_is_due(second) {
            let t = self.step as f64 * self.step_s;
            let mut q = std::mem::take(&mut self.middle);
            exact(self.phases(t - 0.5 * self.step_s, middle_m), &mut q);
            self.middle = q;
            let mut q = std::mem::take(&mut self.now);
            exact(self.phases(t, end_m), &mut q);
            self.now = q;
        } else {
            let mut by = Turn {
                rotation: &self.rotation[0],
                kx: &self.kx,
                ky: &self.ky,
                shift_m: first,
            };
            lanes::advance(self.path, &by, &self.now, &mut self.middle);
            by.shift_m = second;
            lanes::advance(self.path, &by, &self.middle, &mut self.now);
        }
        self.deviation_m = end_m;
        self.sum_up();
    }

    /// Moves on by one step as [`Self::advance`] does, without the middle: [`Self::at_middle`] tells nothing afterwards.
    /// Channels come out to five parts in 10^4 of their RMS at each instant, their RMS to a part in 10^6.
    ///
    /// # Panics
    /// Before [`Self::quick`].
    pub fn advance_to_end(&mut self, end_m: [f64; 2]) {
        self.sums.swap(0, 2);
        self.step += 1;
        let shift_m = sub(end_m, self.deviation_m);
        if self.exact_is_due(shift_m) {
            let t = self.step as f64 * self.step_s;
            let mut q = std::mem::take(&mut self.now);
            exact(self.phases(t, end_m), &mut q);
            self.now = q;
        } else {
            let by = Turn {
                rotation: &self.rotation[1],
                kx: &self.kx,
                ky: &self.ky,
                shift_m,
            };
            lanes::advance(self.path, &by, &self.now, &mut self.middle);
            std::mem::swap(&mut self.now, &mut self.middle);
        }
        self.deviation_m = end_m;
        let Some(quick) = &self.quick else {
            panic!("a bank that was not made ready for single precision");
        };
        self.short.round(self.path, &self.now);
        let end = &mut self.sums[2];
        if quick.mix.is_empty() {
            lanes::sums(self.path, &quick.short, &self.short, end);
            return;
        }
        lanes::sums(self.path, &quick.short, &self.short, &mut self.few);
        self.few_short.round_halves(self.path, &self.few);
        lanes::sums(self.path, &quick.mix, &self.few_short, end);
    }

    /// At this step, or after such a shift, phasors are formed anew.
    fn exact_is_due(&self, shift_m: [f64; 2]) -> bool {
        let far = self.k_max * shift_m[0].hypot(shift_m[1]);
        // written so that a deviation that is not a number takes the exact way too
        let small = far <= lanes::ROTATION_MAX_RAD;
        self.step.is_multiple_of(EXACT_EVERY) || !small
    }

    /// Sums at the middle and the end.
    fn sum_up(&mut self) {
        let [_, b, c] = &mut self.sums;
        let q = [&self.middle, &self.now];
        lanes::sums_exact(self.path, &self.table, q, [b, c]);
    }

    /// Channels at the start of the step.
    pub fn at_start(&self) -> &[f64] {
        &self.sums[0][..self.channels]
    }

    /// Channels at the middle of the step.
    pub fn at_middle(&self) -> &[f64] {
        &self.sums[1][..self.channels]
    }

    /// Channels at the end of the step.
    pub fn at_end(&self) -> &[f64] {
        &self.sums[2][..self.channels]
    }

    /// Channels at any time and deviation, by direct evaluation (the reference path). The bank's
    /// own progress is not touched; `scratch` is reused.
    pub fn direct(&self, t_s: f64, deviation_m: [f64; 2], scratch: &mut Direct) {
        scratch.resize(self.components(), self.sums[0].len(), self.channels);
        exact(self.phases(t_s, deviation_m), &mut scratch.q);
        let [a, b] = &mut scratch.sums;
        lanes::sums_exact(self.path, &self.table, [&scratch.q, &scratch.q], [a, b]);
    }

    fn phases(&self, t_s: f64, d: [f64; 2]) -> impl Iterator<Item = f64> {
        let waves = self.omega_e_rad_s.iter().zip(&self.phase_rad);
        waves
            .zip(self.kx.iter().zip(&self.ky))
            .map(move |((w, e), (kx, ky))| w * t_s - (kx * d[0] + ky * d[1]) + e)
    }
}

/// Channel sums by direct evaluation.
#[derive(Clone, Debug, Default)]
pub struct Direct {
    q: Phasors,
    sums: [Vec<f64>; 2],
    channels: usize,
}

impl Direct {
    /// The channels last evaluated.
    pub fn channels(&self) -> &[f64] {
        &self.sums[0][..self.channels]
    }

    fn resize(&mut self, components: usize, padded: usize, channels: usize) {
        self.channels = channels;
        self.q.re.resize(components, 0.0);
        self.q.im.resize(components, 0.0);
        for s in &mut self.sums {
            s.resize(padded, 0.0);
        }
    }
}

fn exact(phases: impl Iterator<Item = f64>, q: &mut Phasors) {
    for ((phase, re), im) in phases.zip(&mut q.re).zip(&mut q.im) {
        (*im, *re) = libm::sincos(phase);
    }
}

fn sub(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] - b[0], a[1] - b[1]]
}

/// Predicts the deviation from the nominal track half a step and a whole step ahead.
#[derive(Clone, Debug, Default)]
pub struct Track {
    last: Option<([f64; 2], [f64; 2])>,
}

impl Track {
    /// Forgets the past.
    pub fn reset(&mut self) {
        self.last = None;
    }

    /// From the deviation (m) and its rate (m/s) now: the deviations at the middle and the end of
    /// the step that follows. Without a past, along the rate.
    pub fn predict(&mut self, at_m: [f64; 2], rate_m_s: [f64; 2], h_s: f64) -> [[f64; 2]; 2] {
        let mut ahead = [[0.0; 2]; 2];
        for c in 0..2 {
            let (x, v) = (at_m[c], rate_m_s[c]);
            [ahead[0][c], ahead[1][c]] = match self.last {
                // the cubic through both positions and rates, taken at 1.5 and 2
                Some((x0, v0)) => [
                    x0[c] + h_s * (0.375 * v0[c] + 1.125 * v),
                    5.0 * x0[c] - 4.0 * x + h_s * (2.0 * v0[c] + 4.0 * v),
                ],
                None => [x + 0.5 * h_s * v, x + h_s * v],
            };
        }
        self.last = Some((at_m, rate_m_s));
        ahead
    }
}

mod reduce;
#[cfg(test)]
mod tests;
