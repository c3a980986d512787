//! What is linear in the velocities: the radiated waves' memory over a step, momentum, linear drag.
//!
//! # Equation
//! ```text
//! x' = F x + g nu,   [mu; pi] = [c; d] x,   F of 2 by 2 blocks [-s -w; w -s], so z = x_a + i x_b, z' = (-s + i w) z + ...
//! nu(t) a parabola through nu and nu' at the start and nu at the end
//! [mu; pi](h) = [c; d] e^(F h) x(0) + K (the three vectors)
//! ```
//! Twenty-four numbers describe an instant: mu, the whole momentum, the momentum of the fast motions alone, and the
//! linear drag. The end is described with a predicted velocity there; the states are carried on with the corrected one.
//!
//! # Symbols
//! As in [`crate::hydro::memory`].
//!
//! # Valid when
//! Nothing is assumed but the parabola: its error leaves the forces with the fourth power of frequency times step.
//!
//! # Source
//! M. Hochbruck, A. Ostermann (2010), Acta Numerica 19, 209, section 2.
//!
//! # Checked by
//! `instants_meet_the_plant`, `one_evaluation_meets_fine_steps` (tests of the march).

use std::sync::Arc;

use nalgebra::{Matrix6, Vector6};
use num_complex::Complex64;

use super::blocks::moments;
use crate::dynamics::plant::Plant;
use crate::hydro::memory::MemoryModel;
use crate::math::lanes::{self, Aligned, Path};

/// Numbers of an instant.
const LANES: usize = 24;
/// Those that the memory's states decide: mu and pi.
const MEMORY: usize = 12;
/// Velocities that matter: three vectors.
const INPUTS: usize = 18;

/// Maps of a step.
#[derive(Clone, Debug)]
pub(super) struct Linear {
    path: Path,
    /// Per state, what it alone leaves of [mu; pi] at the end.
    free: Arc<Aligned<f64>>,
    /// Per entry of the three vectors, the numbers of the end.
    end: Arc<Aligned<f64>>,
    /// Transition of each pair over the step.
    turn: Vec<[f64; 2]>,
    /// Per driving velocity: first state, and for the three vectors the weights of the states driven.
    drive: Vec<Drive>,
}

/// [mu; pi] at the end as far as the states at the start decide them.
pub(super) type Free = [f64; MEMORY];

#[derive(Clone, Debug)]
struct Drive {
    velocity: usize,
    first: usize,
    weights: [Vec<f64>; 3],
}

/// An instant: mu, P, P of the fast motions, linear drag.
#[derive(Clone, Copy, Debug)]
pub(super) struct Instant {
    pub(super) force: Vector6<f64>,
    pub(super) momentum: Vector6<f64>,
    pub(super) fast_momentum: Vector6<f64>,
    pub(super) drag: Vector6<f64>,
}

impl Instant {
    fn new(own: &[f64; LANES], memory: &[f64]) -> Self {
        let six = |v: &[f64]| Vector6::from_column_slice(v);
        let pi = six(&memory[6..12]);
        Instant {
            force: six(&own[..6]) + six(&memory[..6]),
            momentum: six(&own[6..12]) + pi,
            fast_momentum: six(&own[12..18]) + pi,
            drag: six(&own[18..]),
        }
    }

    /// From the states themselves.
    pub(super) fn of(plant: &Plant, x: &[f64], nu: &Vector6<f64>) -> Self {
        let states = &x[plant.layout.memory.clone()];
        let pi = plant.memory.momentum(states);
        let mut across = *nu;
        across[0] = 0.0;
        let mut fast = across;
        fast[5] = 0.0;
        Instant {
            force: plant.memory.force(states),
            momentum: plant.momentum_mass * nu + pi,
            fast_momentum: plant.memory.a_inf * fast + pi,
            drag: plant.viscous_linear * across,
        }
    }
}

/// Parabola in time as coefficients of 1, t, t^2, for value and slope at the start and the value at the end.
type Basis = [[f64; 3]; 3];

fn basis(h: f64) -> Basis {
    let b = 1.0 / (h * h);
    [[1.0, 0.0, -b], [0.0, 1.0, -1.0 / h], [0.0, 0.0, b]]
}

impl Linear {
    pub(super) fn new(plant: &Plant, step_s: f64, path: Path) -> Self {
        let m = &plant.memory;
        let n = m.state_count();
        let mut free = vec![0.0; n * MEMORY];
        for (s, row) in free.chunks_exact_mut(MEMORY).enumerate() {
            let z = (pole(m, s / 2) * step_s).exp() * unit(s);
            outputs(m, s / 2, z, row);
        }
        let turn = (0..n / 2).map(|p| (pole(m, p) * step_s).exp());
        Linear {
            path,
            free: Arc::new(Aligned::new(free.into_iter())),
            end: Arc::new(Aligned::new(map(plant, &basis(step_s), step_s).into_iter())),
            turn: turn.map(|z| [z.re, z.im]).collect(),
            drive: drives(m, &basis(step_s), step_s),
        }
    }

    /// Memory outputs at the end as far as the states at the start decide them.
    pub(super) fn free(&self, states: &[f64]) -> Free {
        let mut out = [0.0; MEMORY];
        lanes::combine(self.path, &self.free, states, &mut out);
        out
    }

    /// The end, from velocity and its rate at the start and velocity there.
    pub(super) fn end(&self, free: &Free, nu: [&[f64; 6]; 3]) -> Instant {
        let mut x = [0.0; INPUTS];
        for (x, nu) in x.chunks_exact_mut(6).zip(nu) {
            x.copy_from_slice(nu);
        }
        let mut own = [0.0; LANES];
        lanes::combine(self.path, &self.end, &x, &mut own);
        Instant::new(&own, free)
    }

    /// Carries the memory's states on over the step.
    #[allow(clippy::inline_always)] // compiled anew with the march's wide vectors
    #[inline(always)]
    pub(super) fn carry(&self, states: &mut [f64], nu: [&[f64]; 3]) {
        for (x, [re, im]) in states.chunks_exact_mut(2).zip(&self.turn) {
            (x[0], x[1]) = (re * x[0] - im * x[1], im * x[0] + re * x[1]);
        }
        for d in &self.drive {
            let [a, b, c] = nu.map(|nu| nu[d.velocity]);
            let [wa, wb, wc] = &d.weights;
            let weights = wa.iter().zip(wb).zip(wc);
            for (x, ((wa, wb), wc)) in states[d.first..].iter_mut().zip(weights) {
                *x += wa * a + wb * b + wc * c;
            }
        }
    }
}

fn pole(m: &MemoryModel, pair: usize) -> Complex64 {
    Complex64::new(-m.decay[pair], m.frequency[pair])
}

fn unit(state: usize) -> Complex64 {
    if state.is_multiple_of(2) {
        Complex64::ONE
    } else {
        Complex64::I
    }
}

/// Adds the outputs of a pair in state `z` to [mu; pi].
fn outputs(m: &MemoryModel, pair: usize, z: Complex64, out: &mut [f64]) {
    for i in 0..6 {
        let of = |m: &nalgebra::DMatrix<f64>| m[(i, 2 * pair)] * z.re + m[(i, 2 * pair + 1)] * z.im;
        out[i] += of(&m.c);
        out[6 + i] += of(&m.d);
    }
}

/// What a pair, at rest at the start, has become at the end of the span when velocity `j` follows each basis function.
fn driven(m: &MemoryModel, pair: usize, j: usize, basis: &Basis, span: f64) -> [Complex64; 3] {
    let gain = Complex64::new(m.g[(2 * pair, j)], m.g[(2 * pair + 1, j)]);
    let i = moments(pole(m, pair), span);
    basis.map(|b| gain * (b[0] * i[0] + b[1] * i[1] + b[2] * i[2]))
}

/// Table of the end: memory driven within the span, and what follows from the velocity there (the last of the three).
fn map(plant: &Plant, basis: &Basis, span: f64) -> Vec<f64> {
    let m = &plant.memory;
    let mut table = vec![0.0; INPUTS * LANES];
    for j in 1..6 {
        for pair in 0..m.decay.len() {
            for (k, z) in driven(m, pair, j, basis, span).into_iter().enumerate() {
                let row = &mut table[(6 * k + j) * LANES..][..12];
                outputs(m, pair, z, row);
            }
        }
    }
    // the momentum of the fast motions holds the memory's too, as the whole one does
    for row in table.chunks_exact_mut(LANES) {
        row.copy_within(6..12, 12);
    }
    let mut own = |first: usize, matrix: &Matrix6<f64>, velocities: std::ops::Range<usize>| {
        for j in velocities {
            for i in 0..6 {
                table[(12 + j) * LANES + first + i] += matrix[(i, j)];
            }
        }
    };
    own(6, &plant.momentum_mass, 0..6);
    own(12, &m.a_inf, 1..5);
    own(18, &plant.viscous_linear, 1..6);
    table
}

fn drives(m: &MemoryModel, basis: &Basis, span: f64) -> Vec<Drive> {
    let n = m.state_count();
    let mut out = Vec::new();
    for velocity in 1..6 {
        let felt = |s: &usize| m.g[(*s, velocity)].abs() > 0.0;
        let (Some(first), Some(last)) = ((0..n).find(felt), (0..n).rev().find(felt)) else {
            continue;
        };
        let (first, last) = (first - first % 2, last + 1 - last % 2);
        let mut weights = [const { Vec::new() }; 3];
        for pair in first / 2..=last / 2 {
            let z = driven(m, pair, velocity, basis, span);
            for (w, z) in weights.iter_mut().zip(z) {
                w.extend([z.re, z.im]);
            }
        }
        out.push(Drive {
            velocity,
            first,
            weights,
        });
    }
    out
}
