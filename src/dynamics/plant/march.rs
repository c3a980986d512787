//! The plant's own fixed step: an Adams predictor and corrector with one evaluation of the forces, what is linear exactly.
//!
//! # Equation
//! ```text
//! y = (track, attitude, velocities),  y' = f(y, linear parts, servos, waves, t) + wind
//! predictor  y_e     = y_n + h (23 f_n - 16 f_(n-1) + 5 f_(n-2))/12 + G(delta)
//! corrector  y_(n+1) = y_n + h (9 f_e + 19 f_n - 5 f_(n-1) + f_(n-2))/24 + G(delta),   f_e = f(y_e)
//!            f_(n+1) = f_e + J (y_(n+1) - y_e)
//! G = h/6 M^-1 sum_i (4 gap_m + gap_e) dF/ddelta_i
//! ```
//! Memory, lift lags, delay lines and thrust are linear given the motion and are carried over the step exactly, their
//! inputs parabolas in time (`blocks`, `linear`): the fast lags of a short chord, which a Runge-Kutta step of the same length
//! gets wrong, need no shorter step.
//!
//! The corrector is Simpson's rule with its middle from the cubic through the four instants. A servo answers a command
//! within a step, and no cubic through the steps' ends tells how; but its path is known. `gap` is how far the surface stands off
//! that cubic (the predictor's: off its own parabola) at the middle and at the end of the step, and G gives back what the
//! rule misses of its force.
//!
//! The first steps after rates were formed anew (start, failure) use as much of the past as there is: Euler and the
//! trapezoidal rule, then two instants and three.
//!
//! # Symbols
//! h step (s); f_n rates at the start; delta surface angles, rad; M mass; J = df/dy, found once by differences at the start of
//! the run: an approximate J does for the small correction.
//!
//! # Valid when
//! h times the largest eigenvalue of J stays below [`STABLE`]; [`March::start`] says whether it does. Rates that jump
//! at an instant (a failure) are to be formed anew with [`March::now`] before the next step; wind may jump with every step.
//!
//! # Source
//! E. Hairer, S. P. Noersett, G. Wanner (1993), Solving Ordinary Differential Equations I, section III.1: explicit Adams formula
//! of order three, implicit one of order four. What is carried exactly: M. Hochbruck, A. Ostermann (2010), Acta Numerica 19,
//! 209, section 2. The gap of the servos and the correction by J are this project's own.
//!
//! # Checked by
//! `one_evaluation_meets_fine_steps`, `errors_fall_with_the_square_of_the_step`, `start_refuses_long_steps`,
//! `tests/integrators.rs` and `benches/step_rate.rs` against the reference integrator.

#![allow(clippy::needless_range_loop)] // one index runs over several arrays
#![allow(clippy::inline_always)] // parts of a step, compiled anew for wide vectors

mod blocks;
mod linear;
mod order;
#[cfg(test)]
mod tests;

use std::sync::Arc;

use nalgebra::{SMatrix, Vector3, Vector6};

use self::blocks::{DELAY, LAG, Weights, delay_weights, lag_weights};
use self::linear::{Instant, Linear};
use self::order::{ORDERS, Order, past_sum, sum};
use super::{ChannelOffsets, Plant, PlantInput};
use crate::dynamics::rigid_body::momentum_cross;
use crate::dynamics::state::StateLayout;
use crate::dynamics::surface_force as lift;
use crate::frames::{Wrench, body_to_earth, euler_rates, wrench_at};
use crate::math::lanes::{self, Aligned, DRAG_ROWS, Path};

/// Weight that a plant was not made with: water in a compartment, cargo that shifted.
pub trait AddedWeight: std::fmt::Debug + Sync {
    /// Its wrench about O; `down` is earth's vertical in body axes.
    fn wrench(&self, down: &Vector3<f64>) -> Wrench;
}

/// Rates and states that are integrated: position, attitude, velocities.
pub const MOVING: usize = 12;

/// Largest step times rate. The method is stable up to 0.53 on the negative real axis and 0.69 on the imaginary one when J holds
/// half the truth, up to 1.9 and 1.1 when it holds all of it (found by iterating the test equation); motion damps more than
/// rest does, where J is found.
pub const STABLE: f64 = 0.5;

type Rates = [f64; MOVING];

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
    weight: Option<&'a dyn AddedWeight>,
    surfaces: Vec<SurfaceMarch>,
    /// Surfaces from bow to stern: what flows off one meets the next.
    downstream: Vec<usize>,
    lines: Vec<Line>,
    /// Thrust left of its difference to the command after a step.
    thrust_left: Vec<f64>,
    jacobian: SMatrix<f64, MOVING, MOVING>,
    /// Rates now, a step ago and two, without the wind's share.
    past: [Rates; 3],
    /// How many of those before now there are.
    known: usize,
    trial: Vec<f64>,
}

/// What a surface meets and does at an instant: normal inflow and orbital velocity (m/s), axial inflow times lift
/// coefficient (m/s), angle (rad).
type Signals = [f64; 4];
const NORMAL: usize = 0;
const ORBITAL: usize = 1;
const SHED: usize = 2;
const ANGLE: usize = 3;

/// A surface on its way.
#[derive(Clone, Debug)]
struct SurfaceMarch {
    weights: Weights<LAG>,
    /// Of this step.
    lag: [f64; LAG],
    /// Wrench of a unit of lift.
    arm: Wrench,
    kappa: f64,
    /// Now, a step ago and two.
    past: [Signals; 3],
    /// At the instant last evaluated.
    here: Signals,
    /// Angle at the middle of this step, rad.
    middle_rad: f64,
    /// That less the cubic's.
    gap_rad: f64,
    /// At the instant last evaluated: axial inflow (m/s), lift along n (N), and what a deflection gives at once (N/rad, m/s a rad).
    axial_m_s: f64,
    lift_n: f64,
    lift_n_rad: f64,
    shed_m_s_rad: f64,
}

/// A delay line on its way.
#[derive(Clone, Debug)]
struct Line {
    weights: Weights<DELAY>,
    now: [f64; DELAY],
    from: usize,
}

/// A step as work for wide vectors.
struct Step<'s, 'a, 'i>(
    &'s mut March<'a>,
    &'s mut [f64],
    &'s PlantInput<'i>,
    &'s ServoPath,
    &'s mut [f64],
);

impl lanes::Work for Step<'_, '_, '_> {
    type Out = ();

    #[inline(always)]
    fn run(self) {
        let Step(march, x, input, servos, rate) = self;
        march.whole_step(x, input, servos, rate);
    }
}

/// Which instant is evaluated.
#[derive(Clone, Copy, PartialEq)]
enum At {
    /// A whole state.
    Now,
    /// The end of the step: lags and delay lines are carried there on the way.
    End,
}

impl<'a> March<'a> {
    /// For steps of `step_s`.
    pub fn new(plant: &'a Plant, step_s: f64) -> Self {
        let path = Path::best();
        let surfaces = plant.surfaces.iter().map(|s| SurfaceMarch {
            weights: Weights::new(),
            lag: [0.0; LAG],
            arm: wrench_at(&s.r_m, &s.n),
            kappa: lift::kappa(s),
            past: [[0.0; 4]; 3],
            here: [0.0; 4],
            middle_rad: 0.0,
            gap_rad: 0.0,
            axial_m_s: 0.0,
            lift_n: 0.0,
            lift_n_rad: 0.0,
            shed_m_s_rad: 0.0,
        });
        let lines = plant.delays.iter().map(|(from, _)| Line {
            weights: Weights::new(),
            now: [0.0; DELAY],
            from: *from,
        });
        let mut downstream: Vec<usize> = (0..plant.surfaces.len()).collect();
        let x_m = |i: &usize| plant.surfaces[*i].r_m.x;
        downstream.sort_by(|i, j| x_m(j).total_cmp(&x_m(i)));
        let shafts = plant.shafts.iter();
        March {
            plant,
            step_s,
            path,
            linear: Linear::new(plant, step_s, path),
            drag: DragLanes::new(plant),
            weight: None,
            surfaces: surfaces.collect(),
            downstream,
            lines: lines.collect(),
            thrust_left: shafts
                .map(|s| libm::exp(-step_s / s.time_constant_s))
                .collect(),
            jacobian: SMatrix::zeros(),
            past: [[0.0; MOVING]; 3],
            known: 0,
            trial: vec![0.0; plant.layout.len()],
        }
    }

    /// The same with more weight on board.
    #[must_use]
    pub fn laden(mut self, weight: &'a dyn AddedWeight) -> Self {
        self.weight = Some(weight);
        self
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
        let poles = self.jacobian.complex_eigenvalues();
        let fastest = poles.iter().map(|p| p.norm()).fold(0.0, f64::max);
        fastest * self.step_s <= STABLE
    }

    /// Forms the rates at `x` anew, forgets the past, and writes them to the first places of `rate`.
    pub fn now(&mut self, x: &[f64], input: &PlantInput, rate: &mut [f64]) {
        self.past[0] = self.here(x, input);
        self.known = 0;
        for s in &mut self.surfaces {
            s.past[0] = s.here;
        }
        self.rates(&input.wind, rate);
    }

    /// Writes the rates now, in a wind that may be another than that of the step before, to the first places of `rate`.
    pub fn rates(&self, wind: &Wrench, rate: &mut [f64]) {
        rate[..MOVING].copy_from_slice(&self.past[0]);
        let pushed = self.plant.mass_inverse * wind;
        for (r, p) in rate[StateLayout::NU].iter_mut().zip(pushed.iter()) {
            *r += p;
        }
    }

    /// One step of `x`, from the rates that the step before or [`March::now`] left; writes the rates at its end to the first
    /// places of `rate`. The waves of `input` are those at the end, all else stays over the step.
    pub fn step(
        &mut self,
        x: &mut [f64],
        input: &PlantInput,
        servos: &ServoPath,
        rate: &mut [f64],
    ) {
        lanes::wide(self.path, Step(self, x, input, servos, rate));
    }

    #[inline(always)]
    fn whole_step(
        &mut self,
        x: &mut [f64],
        input: &PlantInput,
        servos: &ServoPath,
        rate: &mut [f64],
    ) {
        let (h, order) = (self.step_s, &ORDERS[self.known]);
        let wind = self.plant.mass_inverse * input.wind;
        self.weigh(x);
        let free = self.linear.free(&x[self.plant.layout.memory.clone()]);
        let (nu, mut slope) = (velocities(x), [0.0; 6]);
        for (i, s) in slope.iter_mut().enumerate() {
            *s = self.past[0][6 + i] + wind[i];
        }
        self.trial.copy_from_slice(x);
        self.known_ahead(x, input.thrust_n, servos);
        let pushed = wind + self.ahead_of_the_parabola(order, input.surface_hold_rad);
        for i in 0..MOVING {
            self.trial[i] += h * past_sum(&order.predict, self.past_of(i));
        }
        for i in 0..6 {
            self.trial[6 + i] += h * pushed[i];
        }
        let lin = self
            .linear
            .end(&free, [&nu, &slope, &velocities(&self.trial)]);
        let f_e = self.evaluate(At::End, order, x, &lin, input);
        let pushed = wind + self.off_the_cubic();
        let f_end = self.correct(x, order, &f_e, &pushed);
        self.carry(x, [&nu, &slope, &velocities(x)]);
        self.past = [f_end, self.past[0], self.past[1]];
        self.known = (self.known + 1).min(ORDERS.len() - 1);
        self.rates(&input.wind, rate);
    }

    /// Lift of each surface at the instant of the rates, N.
    pub fn lift_n(&self, out: &mut [f64]) {
        for (out, s) in out.iter_mut().zip(&self.surfaces) {
            *out = s.lift_n;
        }
    }

    /// Rate `i` now, a step ago and two.
    #[inline(always)]
    fn past_of(&self, i: usize) -> [f64; 3] {
        [self.past[0][i], self.past[1][i], self.past[2][i]]
    }

    /// Weights of lags and delay lines at the speeds of the middle, as the rates at the start have them.
    #[inline(always)]
    fn weigh(&mut self, x: &[f64]) {
        let (h, a) = (self.step_s, &self.past[0][StateLayout::NU]);
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

    /// States of the trial that the motion does not decide: servos and thrust at the end of the step.
    #[inline(always)]
    fn known_ahead(&mut self, x: &[f64], thrust_n: &[f64], servos: &ServoPath) {
        let l = &self.plant.layout;
        for (i, [middle, end]) in servos.iter().enumerate() {
            (self.trial[l.angle(i)], self.trial[l.rate(i)]) = *end;
            // behind the backlash, which `ahead_of_the_parabola` takes off
            self.surfaces[i].middle_rad = middle.0;
        }
        let commands = thrust_n.iter().zip(&self.thrust_left);
        for (i, (command, left)) in l.thrust.clone().zip(commands) {
            self.trial[i] = command + (x[i] - command) * left;
        }
    }

    /// Accelerations from surfaces that do not stand where their past alone would have them, mean over the step.
    #[inline(always)]
    fn ahead_of_the_parabola(&mut self, order: &Order, hold_rad: &[f64]) -> Vector6<f64> {
        let mut f = Wrench::zeros();
        for (i, m) in self.surfaces.iter_mut().enumerate() {
            let (servo, hold) = (&self.plant.actuators[i], hold_rad[i]);
            m.middle_rad = servo.surface_angle(m.middle_rad, hold);
            let end_rad = servo.surface_angle(self.trial[self.plant.layout.angle(i)], hold);
            let angle = m.past_of(ANGLE);
            let middle = m.middle_rad - past_sum(&order.ahead_middle, angle);
            let end = end_rad - past_sum(&order.ahead_end, angle);
            // the middle as the cubic through the end has it
            let known = past_sum(&[order.middle[1], order.middle[2], order.middle[3]], angle);
            m.gap_rad = m.middle_rad - known - order.middle[0] * end_rad;
            f += m.arm * (m.lift_n_rad * (4.0 * middle + end) / 6.0);
        }
        self.plant.mass_inverse * f
    }

    /// Accelerations from surfaces that stand off the cubic at the middle of the step, mean over the step.
    #[inline(always)]
    fn off_the_cubic(&self) -> Vector6<f64> {
        let force = |m: &SurfaceMarch| m.arm * (m.lift_n_rad * m.gap_rad * (4.0 / 6.0));
        let all = self.surfaces.iter().map(force);
        self.plant.mass_inverse * all.fold(Wrench::zeros(), |f, w| f + w)
    }

    /// The corrector; returns the rates at the corrected end.
    #[inline(always)]
    fn correct(&self, x: &mut [f64], order: &Order, f_e: &Rates, pushed: &Vector6<f64>) -> Rates {
        let h = self.step_s;
        let mut off = [0.0; MOVING];
        for (i, off) in off.iter_mut().enumerate() {
            x[i] += h * sum(&order.correct, f_e[i], self.past_of(i));
            if i >= 6 {
                x[i] += h * pushed[i - 6];
            }
            *off = x[i] - self.trial[i];
        }
        let mut end = *f_e;
        for (column, off) in self.jacobian.column_iter().zip(off) {
            for (f, c) in end.iter_mut().zip(column.iter()) {
                *f += c * off;
            }
        }
        end
    }

    /// The rest of the state at the end of the step.
    #[inline(always)]
    fn carry(&mut self, x: &mut [f64], nu: [&[f64]; 3]) {
        let l = &self.plant.layout;
        self.linear.carry(&mut x[l.memory.clone()], nu);
        x[l.memory.end..].copy_from_slice(&self.trial[l.memory.end..]);
        for s in &mut self.surfaces {
            s.past = [s.here, s.past[0], s.past[1]];
        }
    }

    /// Rates at a whole state.
    fn here(&mut self, x: &[f64], input: &PlantInput) -> Rates {
        self.trial.copy_from_slice(x);
        let lin = Instant::of(self.plant, x, &Vector6::from(velocities(x)));
        self.evaluate(At::Now, &ORDERS[0], x, &lin, input)
    }

    /// Rates of the trial, wind left out, at an instant of a step that began at `x`.
    fn evaluate(
        &mut self,
        at: At,
        order: &Order,
        x: &[f64],
        lin: &Instant,
        input: &PlantInput,
    ) -> Rates {
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
        for i in &self.downstream {
            let m = &mut self.surfaces[*i];
            f += m.pull(*i, (plant, at, order), x, &mut trial, (&nu, &down, input));
            if at == At::End {
                let q = m.shed_over_the_step(order);
                for (j, line) in self.lines.iter().enumerate().filter(|l| l.1.from == *i) {
                    let d = plant.layout.delay(j);
                    blocks::carry_delay(&line.now, &x[d..d + 4], q, &mut trial[d..d + 4]);
                }
            }
        }
        f += plant.thrust_wrench(&trial);
        if let Some(w) = self.weight {
            f += w.wrench(&down);
        }
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

fn velocities(x: &[f64]) -> [f64; 6] {
    std::array::from_fn(|i| x[StateLayout::NU.start + i])
}

impl SurfaceMarch {
    /// Signal `k` now, a step ago and two.
    #[inline(always)]
    fn past_of(&self, k: usize) -> [f64; 3] {
        [self.past[0][k], self.past[1][k], self.past[2][k]]
    }

    /// Wrench at an instant; at the end of a step its lags are carried there first.
    fn pull(
        &mut self,
        i: usize,
        (plant, at, order): (&Plant, At, &Order),
        x: &[f64],
        trial: &mut [f64],
        (nu, down, input): (&Vector6<f64>, &Vector3<f64>, &PlantInput),
    ) -> Wrench {
        let met = plant.meet(i, trial, nu, down, input);
        self.axial_m_s = met.flow.axial_m_s;
        self.here = [met.flow.normal_m_s, met.orbital_m_s, 0.0, met.angle_rad];
        if at == At::End && plant.unsteady_lag {
            let k = plant.layout.lag(i);
            self.lags(order, &x[k..k + 4], &mut trial[k..k + 4]);
        }
        let pull = plant.surface_pull(i, trial, &met);
        self.here[SHED] = pull.shed_m_s;
        self.lift_n = pull.lift_n;
        self.lift_n_rad = pull.lift_n_rad;
        self.shed_m_s_rad = pull.shed_m_s_rad;
        pull.wrench
    }

    /// Parabola over the step of signal `k`, with what the servo does between beside the cubic, per rad of it.
    fn over_the_step(&self, order: &Order, k: usize, per_rad: f64) -> [f64; 3] {
        let middle = sum(&order.middle, self.here[k], self.past_of(k));
        blocks::through_step([
            self.past[0][k],
            middle + per_rad * self.gap_rad,
            self.here[k],
        ])
    }

    fn shed_over_the_step(&self, order: &Order) -> [f64; 3] {
        self.over_the_step(order, SHED, self.shed_m_s_rad)
    }

    /// Lag states at the end of the step, from those at the start.
    fn lags(&self, order: &Order, from: &[f64], to: &mut [f64]) {
        let normal = self.over_the_step(order, NORMAL, self.axial_m_s * self.kappa);
        let orbital = self.over_the_step(order, ORBITAL, 0.0);
        let part = |at: usize| &self.lag[4 * at..4 * at + 4];
        for (i, to) in to.iter_mut().enumerate() {
            let q = if i < 2 { normal } else { orbital }; // two of the motion, two of the gust
            let sum = part(0)[i] * from[i] + part(1)[i] * q[0];
            *to = sum + part(2)[i] * q[1] + part(3)[i] * q[2];
        }
    }
}

/// Strips of quadratic drag as lanes.
#[derive(Clone, Debug)]
struct DragLanes {
    rows: Arc<Aligned<f64>>,
    drag: Arc<Aligned<f64>>,
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
            rows: Arc::new(Aligned::new(rows.into_iter())),
            drag: Arc::new(Aligned::new(drag.into_iter())),
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
