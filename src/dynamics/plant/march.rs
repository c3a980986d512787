//! The plant's own fixed step: what is linear exactly, the rest by a predictor and a corrector.
//!
//! # Equation
//! ```text
//! y = (track, attitude, velocities),  y' = f(y, linear parts, servos, waves, t)
//! y_m  = y_n + h/24 (23 f_n - 16 f_(n-1/2) + 5 f_(n-1)),             f_m = f(y_m)
//! y_e  = y_n + h (7/6 f_m - 1/3 f_n + 1/6 f_(n-1/2)),                 f_e = f(y_e)
//! y_(n+1) = y_n + h/6 (f_n + 4 f_m + f_e),   f_(n+1) = f_e + J (y_(n+1) - y_e)
//! ```
//! Two evaluations a step. Memory, lift lags, delay lines and thrust are linear given the motion and are carried over
//! the step exactly, their inputs parabolas through start, middle and end (`blocks`, `linear`): the fast lags of a
//! short chord, which a Runge-Kutta step of the same length gets wrong, need no shorter step. The first step finds its
//! middle by two tries.
//!
//! # Symbols
//! h step (s); f_n rates at the start, n - 1/2 the middle of the step before; J = df/dy, found once by differences at the
//! start of the run: an approximate J does for the small correction.
//!
//! # Valid when
//! h times the largest eigenvalue of J stays below [`STABLE`]; [`March::start`] says whether it does. Rates that jump
//! at an instant (a failure, a gust) are to be formed anew with [`March::now`] before the next step.
//!
//! # Source
//! E. Hairer, S. P. Noersett, G. Wanner (1993), Solving Ordinary Differential Equations I, section III.1 (explicit and
//! implicit Adams formulas; the weights here are those of the interpolating parabolas on half steps) and II.1 (Simpson).
//!
//! # Checked by
//! `two_evaluations_meet_fine_steps`, `start_refuses_long_steps`, `tests/physics_balance.rs`,
//! `tests/time_vs_frequency.rs`, `benches/step_rate.rs` against the reference integrator.

#![allow(clippy::needless_range_loop)] // one index runs over several arrays

mod blocks;
mod linear;
#[cfg(test)]
mod tests;

use nalgebra::{SMatrix, Vector3, Vector6};

use self::blocks::{DELAY, LAG, Weights, delay_weights, lag_weights};
use self::linear::{Instant, Linear};
use super::{ChannelOffsets, Plant, PlantInput};
use crate::dynamics::rigid_body::momentum_cross;
use crate::dynamics::state::StateLayout;
use crate::dynamics::surface_force as lift;
use crate::frames::{Wrench, body_to_earth, euler_rates};
use crate::math::lanes::{self, DRAG_ROWS, Path};

/// Rates and states that are integrated: position, attitude, velocities.
pub const MOVING: usize = 12;

/// Largest step times rate. The method without the correction by J is stable up to 0.60 on the negative axis and 0.86 on the
/// imaginary one, with an exact J up to 1.06 and 1.22 (found by iterating the test equation); this leaves a factor for motion that
/// damps more than rest does.
pub const STABLE: f64 = 0.6;

type Rates = [f64; MOVING];

/// Instants of a step.
const NOW: usize = 0;
const MIDDLE: usize = 1;
const END: usize = 2;
/// Half a step before now, of what surfaces shed.
const BEFORE: usize = 3;

/// Servo angle and rate of each surface at the middle and the end of a step.
pub type ServoPath = [[(f64, f64); 2]];

/// A plant on its way, step by step.
#[derive(Clone, Debug)]
pub struct March<'a> {
    plant: &'a Plant,
    step_s: f64,
    path: Path,
    linear: Linear,
    drag: DragLanes,
    surfaces: Vec<SurfaceMarch>,
    lines: Vec<Line>,
    /// Thrust left of its difference to the command after half a step and a whole one.
    thrust_left: Vec<[f64; 2]>,
    jacobian: SMatrix<f64, MOVING, MOVING>,
    /// Rates now, half a step ago, a step ago.
    past: [Rates; 3],
    has_past: bool,
    trial: Vec<f64>,
}

/// A surface on its way.
#[derive(Clone, Debug)]
struct SurfaceMarch {
    weights: Weights<LAG>,
    /// Of this step.
    lag: [f64; LAG],
    /// Normal inflow and orbital velocity at the three instants, m/s.
    met: [[f64; 2]; 3],
    /// Axial inflow times lift coefficient at the three instants and before, m/s.
    shed: [f64; 4],
    /// Axial inflow at the instant last evaluated, m/s.
    axial_m_s: f64,
    /// Lift along its n there, N.
    lift_n: f64,
}

/// A delay line on its way.
#[derive(Clone, Debug)]
struct Line {
    weights: Weights<DELAY>,
    now: [f64; DELAY],
}

impl<'a> March<'a> {
    /// For steps of `step_s`.
    pub fn new(plant: &'a Plant, step_s: f64) -> Self {
        let path = Path::best();
        let left = |t: f64| [libm::exp(-0.5 * step_s / t), libm::exp(-step_s / t)];
        let surface = SurfaceMarch {
            weights: Weights::new(),
            lag: [0.0; LAG],
            met: [[0.0; 2]; 3],
            shed: [0.0; 4],
            axial_m_s: 0.0,
            lift_n: 0.0,
        };
        let line = Line {
            weights: Weights::new(),
            now: [0.0; DELAY],
        };
        let shafts = plant.shafts.iter();
        March {
            plant,
            step_s,
            path,
            linear: Linear::new(plant, step_s, path),
            drag: DragLanes::new(plant),
            surfaces: vec![surface; plant.surfaces.len()],
            lines: vec![line; plant.delays.len()],
            thrust_left: shafts.map(|s| left(s.time_constant_s)).collect(),
            jacobian: SMatrix::zeros(),
            past: [[0.0; MOVING]; 3],
            has_past: false,
            trial: vec![0.0; plant.layout.len()],
        }
    }

    /// Begins at state `x`: finds J there. False when the step is too long for the method.
    pub fn start(&mut self, x: &[f64], input: &PlantInput) -> bool {
        let mut y = x.to_vec();
        for j in 0..MOVING {
            // small beside what the craft does in waves, large beside rounding
            let d = if (3..6).contains(&j) || j > 8 {
                1e-5
            } else {
                1e-4
            };
            let mut side = |d: f64| {
                y[j] = x[j] + d;
                self.here(&y, input)
            };
            let (up, down) = (side(d), side(-d));
            y[j] = x[j];
            for i in 0..MOVING {
                self.jacobian[(i, j)] = (up[i] - down[i]) / (2.0 * d);
            }
        }
        self.has_past = false;
        let poles = self.jacobian.complex_eigenvalues();
        let fastest = poles.iter().map(|p| p.norm()).fold(0.0, f64::max);
        fastest * self.step_s <= STABLE
    }

    /// Forms the rates at `x` anew and writes them to the first places of `rate`.
    pub fn now(&mut self, x: &[f64], input: &PlantInput, rate: &mut [f64]) {
        self.past[NOW] = self.here(x, input);
        rate[..MOVING].copy_from_slice(&self.past[NOW]);
    }

    /// One step of `x`, from the rates that the step before or [`March::now`] left; writes the rates at its end to the first
    /// places of `rate`. `waves` are the channels at the middle and the end; `input` holds all else. Returns the evaluations made.
    pub fn step(
        &mut self,
        x: &mut [f64],
        input: &PlantInput,
        waves: [&[f64]; 2],
        servos: &ServoPath,
        rate: &mut [f64],
    ) -> u64 {
        let h = self.step_s;
        let inputs = waves.map(|waves| PlantInput { waves, ..*input });
        self.weigh(x);
        let free = self.linear.free(&x[self.plant.layout.memory.clone()]);
        let (nu, now) = (velocities(x), self.past[NOW]);
        self.trial.copy_from_slice(x);
        self.known_ahead(MIDDLE, x, input.thrust_n, servos);
        let mut evaluations = 2;
        if self.has_past {
            let [f, m, b] = self.past;
            self.try_at(x, |i| h / 24.0 * (23.0 * f[i] - 16.0 * m[i] + 5.0 * b[i]));
        } else {
            self.try_at(x, |i| 0.5 * h * now[i]);
            let f = self.middle(x, &free, &nu, &inputs[0]);
            self.try_at(x, |i| 0.25 * h * (now[i] + f[i]));
            self.past[MIDDLE] = now;
            evaluations = 3;
        }
        let before = self.past[MIDDLE];
        let f_m = self.middle(x, &free, &nu, &inputs[0]);
        let nu_m = velocities(&self.trial);
        self.known_ahead(END, x, input.thrust_n, servos);
        self.try_at(x, |i| h / 6.0 * (7.0 * f_m[i] - 2.0 * now[i] + before[i]));
        let nu_e = velocities(&self.trial);
        let lin = self.linear.end(&free, [&nu, &nu_m, &nu_e]);
        let f_e = self.evaluate(END, x, &lin, &inputs[1]);
        let f_end = self.correct(x, [&now, &f_m, &f_e]);
        // the middle as the three rates have it
        let mut nu_m = nu;
        for i in 0..6 {
            nu_m[i] += h / 24.0 * (5.0 * now[6 + i] + 8.0 * f_m[6 + i] - f_e[6 + i]);
        }
        self.carry(x, [&nu, &nu_m, &velocities(x)]);
        self.past = [f_end, f_m, now];
        self.has_past = true;
        rate[..MOVING].copy_from_slice(&f_end);
        evaluations
    }

    /// Lift of each surface at the instant of the rates, N.
    pub fn lift_n(&self, out: &mut [f64]) {
        for (out, s) in out.iter_mut().zip(&self.surfaces) {
            *out = s.lift_n;
        }
    }

    /// Weights of lags and delay lines at the speeds of the middle, as the rates at the start have them.
    fn weigh(&mut self, x: &[f64]) {
        let (h, a) = (self.step_s, &self.past[NOW][StateLayout::NU]);
        for (m, s) in self.surfaces.iter_mut().zip(&self.plant.surfaces) {
            let gain = 0.5 * h * (a[0] + a[4] * s.r_m.z - a[5] * s.r_m.y);
            let axial = if m.axial_m_s > 0.0 {
                (m.axial_m_s + gain).max(0.0)
            } else {
                0.0
            };
            let rate = axial / (0.5 * s.mac_m);
            m.weights.at(rate, |f| lag_weights(f, h), &mut m.lag);
        }
        let u = x[StateLayout::NU.start] + 0.5 * h * a[0];
        for (line, (_, distance_m)) in self.lines.iter_mut().zip(&self.plant.delays) {
            let rate = u.max(lift::LEAST_INFLOW_M_S) / distance_m;
            line.weights
                .at(rate, |f| delay_weights(f, h), &mut line.now);
        }
    }

    /// Moving part of the trial: that of `x` and a change.
    fn try_at(&mut self, x: &[f64], change: impl Fn(usize) -> f64) {
        for (i, y) in self.trial[..MOVING].iter_mut().enumerate() {
            *y = x[i] + change(i);
        }
    }

    /// States of the trial that the motion at the instant does not decide: servos, thrust, delay lines.
    fn known_ahead(&mut self, k: usize, x: &[f64], thrust_n: &[f64], servos: &ServoPath) {
        let l = &self.plant.layout;
        for (i, at) in servos.iter().enumerate() {
            (self.trial[l.angle(i)], self.trial[l.rate(i)]) = at[k - 1];
        }
        let commands = thrust_n.iter().zip(&self.thrust_left);
        for (i, (command, left)) in l.thrust.clone().zip(commands) {
            self.trial[i] = command + (x[i] - command) * left[k - 1];
        }
        for (j, (line, (from, _))) in self.lines.iter().zip(&self.plant.delays).enumerate() {
            let d = l.delay(j);
            let (z, out) = (&x[d..d + 4], &mut self.trial[d..d + 4]);
            let [now, middle, _, before] = self.surfaces[*from].shed;
            if k == MIDDLE {
                blocks::delay_half(&line.now, z, before, now, out);
            } else {
                let q = blocks::through_past([before, now, middle]);
                blocks::delay_whole(&line.now, z, q, out);
            }
        }
    }

    fn middle(&mut self, x: &[f64], free: &Free, nu: &[f64; 6], input: &PlantInput) -> Rates {
        let lin = {
            let rate = &self.past[NOW][StateLayout::NU];
            let here = &self.trial[StateLayout::NU];
            self.linear.middle(free, [nu, rate, here])
        };
        self.evaluate(MIDDLE, x, &lin, input)
    }

    /// Simpson's rule; returns the rates at the corrected end.
    fn correct(&self, x: &mut [f64], f: [&Rates; 3]) -> Rates {
        let sixth = self.step_s / 6.0;
        let mut off = [0.0; MOVING];
        for (i, off) in off.iter_mut().enumerate() {
            x[i] += sixth * (f[0][i] + 4.0 * f[1][i] + f[2][i]);
            *off = x[i] - self.trial[i];
        }
        let mut end = *f[2];
        for (column, off) in self.jacobian.column_iter().zip(off) {
            for (f, c) in end.iter_mut().zip(column.iter()) {
                *f += c * off;
            }
        }
        end
    }

    /// The rest of the state at the end of the step.
    fn carry(&mut self, x: &mut [f64], nu: [&[f64]; 3]) {
        let l = &self.plant.layout;
        self.linear.carry(&mut x[l.memory.clone()], nu);
        let rest = l.memory.end..l.delay.start;
        x[rest.clone()].copy_from_slice(&self.trial[rest]);
        x[l.thrust.clone()].copy_from_slice(&self.trial[l.thrust.clone()]);
        for (j, (line, (from, _))) in self.lines.iter().zip(&self.plant.delays).enumerate() {
            let d = l.delay(j);
            let [now, middle, end, _] = self.surfaces[*from].shed;
            let z: [f64; 4] = std::array::from_fn(|k| x[d + k]);
            let q = blocks::through_step([now, middle, end]);
            blocks::delay_whole(&line.now, &z, q, &mut x[d..d + 4]);
        }
        for s in &mut self.surfaces {
            s.met[NOW] = s.met[END];
            s.shed = [s.shed[END], 0.0, 0.0, s.shed[MIDDLE]];
        }
    }

    /// Rates at a whole state.
    fn here(&mut self, x: &[f64], input: &PlantInput) -> Rates {
        self.trial.copy_from_slice(x);
        let lin = Instant::of(self.plant, x, &Vector6::from(velocities(x)));
        let rates = self.evaluate(NOW, x, &lin, input);
        if !self.has_past {
            for s in &mut self.surfaces {
                s.shed[BEFORE] = s.shed[NOW];
            }
        }
        rates
    }

    /// Rates of the trial at instant `k` of a step that began at `x`. Fills its lags.
    fn evaluate(&mut self, k: usize, x: &[f64], lin: &Instant, input: &PlantInput) -> Rates {
        let plant = self.plant;
        let mut trial = std::mem::take(&mut self.trial);
        let nu = Vector6::from(velocities(&trial));
        let (z_m, phi, theta, psi) = (trial[2], trial[3], trial[4], trial[5]);
        let earth = body_to_earth(phi, theta, psi);
        let down = earth.row(2).transpose();
        let mut f = -momentum_cross(&nu, &lin.momentum) - lin.force;
        if plant.wave_force.is_some() {
            let fast = Vector6::new(0.0, nu[1], nu[2], nu[3], nu[4], 0.0);
            f += momentum_cross(&fast, &lin.fast_momentum);
        }
        if plant.speed_m_s > 0.0 {
            f -= lin.drag * (nu[0] / plant.speed_m_s);
        }
        f += plant.restoring_along(z_m, phi, theta, &down);
        f += plant.steady_wrench(&trial, &nu);
        f += Plant::wave_wrench(psi, input.waves);
        if plant.quadratic_drag {
            f += self.drag.wrench(self.path, plant, &nu, input.waves);
        }
        for (i, m) in self.surfaces.iter_mut().enumerate() {
            let met = plant.meet(i, &trial, &nu, &down, input);
            m.met[k] = [met.flow.normal_m_s, met.orbital_m_s];
            if plant.unsteady_lag {
                m.lags(
                    k,
                    &x[plant.layout.lag(i)..][..4],
                    &mut trial[plant.layout.lag(i)..][..4],
                );
            }
            m.axial_m_s = met.flow.axial_m_s;
            let pull = plant.surface_pull(i, &trial, &met);
            (m.shed[k], m.lift_n) = (pull.shed_m_s, pull.lift_n);
            f += pull.wrench;
        }
        f += plant.thrust_wrench(&trial);
        f += input.wind;
        self.trial = trial;
        let v = earth * Vector3::new(nu[0], nu[1], nu[2]);
        let turn = euler_rates(&earth, &Vector3::new(nu[3], nu[4], nu[5]));
        let a = plant.mass_inverse * f;
        let mut rates = [0.0; MOVING];
        rates[..3].copy_from_slice(&[v.x - plant.speed_m_s, v.y, v.z]);
        rates[3..6].copy_from_slice(turn.as_slice());
        rates[6..].copy_from_slice(a.as_slice());
        rates
    }
}

type Free = [f64; linear::LANES];

fn velocities(x: &[f64]) -> [f64; 6] {
    std::array::from_fn(|i| x[StateLayout::NU.start + i])
}

impl SurfaceMarch {
    /// Lag states at instant `k`, from those at the start.
    fn lags(&self, k: usize, from: &[f64], to: &mut [f64]) {
        let part = |at: usize| &self.lag[4 * at..4 * at + 4];
        if k == NOW {
            return;
        }
        let [now, middle, end] = self.met;
        for (i, to) in to.iter_mut().enumerate() {
            let source = i / 2; // two of the motion, two of the gust
            let s = [now[source], middle[source], end[source]];
            *to = if k == MIDDLE {
                part(0)[i] * from[i] + part(1)[i] * s[0] + part(2)[i] * (s[1] - s[0])
            } else {
                let q = blocks::through_step(s);
                let sum = part(3)[i] * from[i] + part(4)[i] * q[0];
                sum + part(5)[i] * q[1] + part(6)[i] * q[2]
            };
        }
    }
}

/// Strips of quadratic drag as lanes.
#[derive(Clone, Debug)]
struct DragLanes {
    rows: Vec<f64>,
    drag: Vec<f64>,
    orbital: Vec<f64>,
    count: usize,
}

impl DragLanes {
    fn new(plant: &Plant) -> Self {
        let elements = plant.viscous.drag_elements();
        let count = elements.len();
        let room = count.next_multiple_of(8);
        let mut rows = vec![0.0; DRAG_ROWS * room];
        let mut drag = vec![0.0; room];
        for (i, e) in elements.iter().enumerate() {
            drag[i] = e.drag_n_s2_m2;
            for k in 0..DRAG_ROWS {
                rows[k * room + i] = e.row[k + 1];
            }
        }
        DragLanes {
            rows,
            drag,
            orbital: vec![0.0; room],
            count,
        }
    }

    fn wrench(&mut self, path: Path, plant: &Plant, nu: &Vector6<f64>, waves: &[f64]) -> Wrench {
        let first = ChannelOffsets::new(plant.surfaces.len()).strips;
        self.orbital[..self.count].copy_from_slice(&waves[first..first + self.count]);
        let v = [nu[1], nu[2], nu[3], nu[4], nu[5]];
        let f = lanes::drag(path, &self.rows, &self.drag, &self.orbital, &v);
        Wrench::new(0.0, f[0], f[1], f[2], f[3], f[4])
    }
}
