//! State feedback with an observer; its matrices arrive as data.
//!
//! # Equation
//! ```text
//! x-   = A x + B u(k-1)                         u: command about trim, as limited
//! x    = x- + M (y - C x-)                      y: readings about trim; lost readings give no innovation
//! asked = -K x - L q
//! q   += T (phi, theta)                         integrals of the readings, if the design has them
//! fin  = fade (trim + asked), within the limits;   u = fin - trim
//! ```
//! A, B, C, K, L, M are interpolated over speed, held beyond the ends of the table. The law limits its
//! command itself, so that the observer knows what the servos were told. An integral stands still
//! while most of what it asks for would go to surfaces that are at a limit, and while the law fades.
//!
//! # Outputs
//! Any [`LawSignal`]. The vertical acceleration is washed out with [`WASHOUT_RAD_S`], so that a bias of
//! the accelerometer does not tilt the estimate.
//!
//! # True state
//! With `perfect_state` the feedback takes the motion in [`super::signal::Truth`] for the states that
//! bear the names of [`MOTION_STATES`]; servo, lag, delay and wave states stay those of the observer, which
//! runs on by its sensors, undisturbed. For comparison only: no craft has such a sensor.
//!
//! # Valid when
//! Small motions about trim; the sample period is the one of the design.
//!
//! # Source
//! Franklin, Powell & Workman, Digital Control of Dynamic Systems, 3rd ed. 1998, sections 8.2.4
//! (current estimator) and 8.4.2 (integral control); Shamma & Athans 1992, Automatica 28, 559-570
//! (what interpolated gains promise).
//!
//! # Checked by
//! `tests/controllers.rs`, `tests/laws_at_sea.rs`; `lqr::tests`: `observer_converges_on_its_own_model`,
//! `another_craft_is_refused`, `true_state_replaces_the_estimate`, `interpolates_between_speeds`,
//! `integral_removes_a_steady_angle`, `integral_stands_still_at_the_limits`,
//! `linear_form_is_the_law_itself`

use nalgebra::{DMatrix, DVector};

use super::estimate::mean_heave;
use super::filter::Section;
use super::linear::{LawSignal, LinearLaw};
use super::schedule::SpeedSchedule;
use super::signal::{FinCommand, Measurement, Setup, Trace, vertical};
use super::{Controller, ControllerInfo};
use crate::error::{Error, Problem, Result};
use crate::spec::controller::LqrSpec;
use crate::units::{G_M_S2, kn, to_kn};

/// Corner of the washout on the measured vertical acceleration, rad/s.
pub const WASHOUT_RAD_S: f64 = 0.05;
/// Corner of the filter on the speed that picks the gains, rad/s.
const SPEED_CORNER_RAD_S: f64 = 0.2;

/// Share of what an integral asks for that may be lost at limits before it stands still.
const LOST_MOST: f64 = 0.5;

/// Names of states that [`super::signal::Truth`] can replace, all about trim: heave of O (down),
/// its rate in earth axes, body velocity w, roll, pitch and their rates.
pub const MOTION_STATES: [&str; 7] = [
    "heave_m",
    "heave_rate_m_s",
    "w_m_s",
    "roll_rad",
    "pitch_rad",
    "p_rad_s",
    "q_rad_s",
];

/// Sampled model and gains at one speed. N states, m channels, p outputs.
#[derive(Clone, Debug, PartialEq)]
pub struct LqrPoint {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// N x N.
    pub a: DMatrix<f64>,
    /// N x m.
    pub b: DMatrix<f64>,
    /// p x N.
    pub c: DMatrix<f64>,
    /// K, m x N, rad per unit of state.
    pub gain: DMatrix<f64>,
    /// M, N x p.
    pub observer: DMatrix<f64>,
    /// L, m x 2 (roll, pitch), rad per rad s; no columns for a law without integral action.
    pub integral: DMatrix<f64>,
}

impl LqrPoint {
    /// This point becomes the one a fraction `t` of the way from `a` to `b`.
    fn blend(&mut self, a: &LqrPoint, b: &LqrPoint, t: f64) {
        self.speed_m_s = a.speed_m_s + t * (b.speed_m_s - a.speed_m_s);
        for (to, a, b) in [
            (&mut self.a, &a.a, &b.a),
            (&mut self.b, &a.b, &b.b),
            (&mut self.c, &a.c, &b.c),
            (&mut self.gain, &a.gain, &b.gain),
            (&mut self.observer, &a.observer, &b.observer),
            (&mut self.integral, &a.integral, &b.integral),
        ] {
            for ((v, x), y) in to.iter_mut().zip(a).zip(b) {
                *v = x + t * (y - x);
            }
        }
    }
}

/// The angles that are integrated, in the order of the columns of [`LqrPoint::integral`].
pub const INTEGRATED: [LawSignal; 2] = [LawSignal::Roll, LawSignal::Pitch];

/// Everything an LQR needs, as solved by [`crate::design::lqr`].
#[derive(Clone, Debug, PartialEq)]
pub struct LqrMatrices {
    /// Sample period of the design, s.
    pub sample_period_s: f64,
    /// Names of the N states.
    pub states: Vec<String>,
    /// The p outputs.
    pub outputs: Vec<LawSignal>,
    /// The m channels.
    pub channels: Vec<String>,
    /// One per design speed, ascending, all of the same shape.
    pub points: Vec<LqrPoint>,
}

impl LqrMatrices {
    /// Shapes, order of speeds, finite numbers.
    ///
    /// # Errors
    /// The first fault of each point.
    pub fn check(&self) -> Result<()> {
        let (n, m, p) = (self.states.len(), self.channels.len(), self.outputs.len());
        let mut bad = Vec::new();
        if self.points.is_empty() || n == 0 || m == 0 {
            bad.push(Problem::at("", "the LQR has no points, states or channels"));
        }
        for (i, q) in self.points.iter().enumerate() {
            let fits = q.a.shape() == (n, n)
                && q.b.shape() == (n, m)
                && q.c.shape() == (p, n)
                && q.gain.shape() == (m, n)
                && q.observer.shape() == (n, p)
                && (q.integral.shape() == (m, 0) || q.integral.shape() == (m, INTEGRATED.len()))
                && q.integral.shape() == self.points[0].integral.shape();
            let all = [&q.a, &q.b, &q.c, &q.gain, &q.observer, &q.integral];
            if !fits || all.iter().any(|x| x.iter().any(|v| !v.is_finite())) {
                bad.push(Problem::at(
                    "",
                    format!(
                        "gains at {:.1} kn have a wrong shape or a non-finite number",
                        to_kn(q.speed_m_s)
                    ),
                ));
            }
            if i > 0 && q.speed_m_s <= self.points[i - 1].speed_m_s {
                bad.push(Problem::at("law.lqr.design_speeds_kn", "must ascend"));
            }
        }
        if bad.is_empty() {
            Ok(())
        } else {
            Err(bad.into())
        }
    }

    /// Model and gains at a speed: between the design speeds on the straight line, held beyond them.
    pub fn at(&self, speed_m_s: f64) -> LqrPoint {
        let mut point = self.points[0].clone();
        self.blend_into(&mut point, speed_m_s);
        point
    }

    /// The law about trim at a speed, its channels left out: see [`Lqr::linear`](Controller::linear).
    pub fn linear_at(&self, speed_m_s: f64) -> LinearLaw {
        let washout = Section::washout(WASHOUT_RAD_S, self.sample_period_s);
        linear_form(self, &self.at(speed_m_s), &washout)
    }

    fn blend_into(&self, point: &mut LqrPoint, speed_m_s: f64) {
        let p = &self.points;
        let above = p.iter().position(|q| q.speed_m_s >= speed_m_s);
        let j = above.unwrap_or(p.len() - 1);
        let i = j.saturating_sub(1);
        let width = p[j].speed_m_s - p[i].speed_m_s;
        let t = if width > 0.0 {
            ((speed_m_s - p[i].speed_m_s) / width).clamp(0.0, 1.0)
        } else {
            1.0
        };
        point.blend(&p[i], &p[j], t);
    }
}

/// The law.
#[derive(Clone, Debug)]
pub struct Lqr {
    name: String,
    spec: LqrSpec,
    data: LqrMatrices,
    now: LqrPoint,
    setup: Option<Box<Setup>>,
    channel: Vec<usize>,
    speed: SpeedSchedule,
    speed_lp: Section,
    at_speed_m_s: f64,
    washout: Section,
    /// The observer's state.
    x: DVector<f64>,
    /// The state fed back: the observer's, or the truth where it is known.
    used: DVector<f64>,
    prior: DVector<f64>,
    y: DVector<f64>,
    u: DVector<f64>,
    raw: DVector<f64>,
    /// What each channel was asked beyond its limit, rad, signed.
    over: DVector<f64>,
    /// Integrals of [`INTEGRATED`], rad s; empty without.
    integral: DVector<f64>,
}

impl Lqr {
    /// The law from its numbers and matrices.
    ///
    /// # Errors
    /// Numbers out of range, matrices that do not belong together.
    pub fn new(name: &str, spec: &LqrSpec, data: LqrMatrices) -> Result<Self> {
        data.check()?;
        let (n, m, p) = (data.states.len(), data.channels.len(), data.outputs.len());
        Ok(Lqr {
            name: name.to_owned(),
            spec: spec.clone(),
            now: data.points[0].clone(),
            setup: None,
            channel: Vec::new(),
            speed: SpeedSchedule::new(1.0, kn(spec.min_speed_kn), 1.0),
            speed_lp: Section::default(),
            at_speed_m_s: f64::NAN,
            washout: Section::default(),
            x: DVector::zeros(n),
            used: DVector::zeros(n),
            prior: DVector::zeros(n),
            y: DVector::zeros(p),
            u: DVector::zeros(m),
            raw: DVector::zeros(m),
            over: DVector::zeros(m),
            integral: DVector::zeros(data.points[0].integral.ncols()),
            data,
        })
    }

    /// State fed back, about trim, in the order of [`LqrMatrices::states`].
    pub fn state(&self) -> &[f64] {
        self.used.as_slice()
    }

    fn schedule(&mut self, speed_m_s: f64) {
        if (speed_m_s - self.at_speed_m_s).abs() < 0.02 {
            return;
        }
        self.at_speed_m_s = speed_m_s;
        self.data.blend_into(&mut self.now, speed_m_s);
    }

    /// Innovation into `self.y`: readings about trim less what the prior expects.
    fn innovation(&mut self, y: &Measurement, setup: &Setup) {
        let (phi, theta) = if y.valid.attitude {
            (y.phi_rad, y.theta_rad)
        } else {
            (0.0, setup.trim_pitch_rad)
        };
        let acceleration = y.valid.acceleration.then(|| {
            let a = vertical(&y.specific_force_m_s2, phi, theta) + G_M_S2;
            self.washout.step(a)
        });
        let height = mean_heave(y, &setup.height_sensors_m, phi, theta);
        for i in 0..self.y.len() {
            let reading = match self.data.outputs[i] {
                LawSignal::VerticalAcceleration => acceleration,
                LawSignal::HeightHeave => height.map(|h| h - setup.trim_heave_m),
                other => plain_reading(other, y, setup),
            };
            let row = self.now.c.row(i);
            let expected: f64 = row.iter().zip(&self.prior).map(|(c, x)| c * x).sum();
            self.y[i] = reading.map_or(0.0, |r| r - expected);
        }
    }

    fn take_truth(&mut self, y: &Measurement, setup: &Setup) -> Result<()> {
        let Some(t) = y.truth else {
            return Err(Error::with_hint(
                format!("`{}` wants the true state, none is given", self.name),
                "set `perfect_state` to false: true states exist in simulations only",
            ));
        };
        let w_trim = self.speed.speed_m_s() * setup.trim_pitch_rad;
        for (x, name) in self.used.iter_mut().zip(&self.data.states) {
            match name.as_str() {
                "heave_m" => *x = t.heave_m - setup.trim_heave_m,
                "heave_rate_m_s" => *x = t.heave_rate_m_s,
                "w_m_s" => *x = t.w_m_s - w_trim,
                "roll_rad" => *x = t.phi_rad,
                "pitch_rad" => *x = t.theta_rad - setup.trim_pitch_rad,
                "p_rad_s" => *x = t.p_rad_s,
                "q_rad_s" => *x = t.q_rad_s,
                _ => {}
            }
        }
        Ok(())
    }

    /// Integrals one sample on.
    fn integrate(&mut self, y: &Measurement, setup: &Setup) {
        let integrals = self.integral.len();
        for (j, signal) in INTEGRATED.into_iter().enumerate().take(integrals) {
            let Some(angle) = plain_reading(signal, y, setup) else {
                continue;
            };
            let step = setup.sample_period_s * angle;
            let (mut asked, mut lost) = (0.0, 0.0);
            for (k, over) in self.over.iter().enumerate() {
                let push = -self.now.integral[(k, j)] * step;
                asked += push.abs();
                if push * over > 0.0 {
                    lost += push.abs();
                }
            }
            if lost <= LOST_MOST * asked {
                self.integral[j] += step;
            }
        }
    }
}

/// A reading about trim that needs no filter; none when it may not be used.
fn plain_reading(signal: LawSignal, y: &Measurement, setup: &Setup) -> Option<f64> {
    let (ok, value) = match signal {
        LawSignal::RollRate => (y.valid.rates, y.rates_rad_s.x),
        LawSignal::PitchRate => (y.valid.rates, y.rates_rad_s.y),
        LawSignal::Roll => (y.valid.attitude, y.phi_rad),
        LawSignal::Pitch => (y.valid.attitude, y.theta_rad - setup.trim_pitch_rad),
        LawSignal::Height(i) => {
            let rest = -(setup.trim_heave_m
                + vertical(&setup.height_sensors_m[i], 0.0, setup.trim_pitch_rad));
            (y.valid.height[i], y.height_m[i] - rest)
        }
        LawSignal::Surface(i) => (
            y.valid.surface[i],
            y.surface_rad[i] - setup.surfaces[i].trim_rad,
        ),
        LawSignal::VerticalAcceleration | LawSignal::HeightHeave => (false, 0.0),
    };
    ok.then_some(value)
}

impl Controller for Lqr {
    fn info(&self) -> ControllerInfo {
        ControllerInfo {
            name: self.name.clone(),
            kind: "lqr",
            sample_period_s: self.data.sample_period_s,
            signals: if self.spec.perfect_state {
                &[
                    "rates",
                    "attitude",
                    "acceleration",
                    "height",
                    "speed",
                    "surface",
                    "truth",
                ]
            } else {
                &[
                    "rates",
                    "attitude",
                    "acceleration",
                    "height",
                    "speed",
                    "surface",
                ]
            },
            channels: self.data.channels.clone(),
        }
    }

    fn reset(&mut self, setup: &Setup) -> Result<()> {
        setup.check()?;
        let mut bad = Vec::new();
        let t = setup.sample_period_s;
        if (t - self.data.sample_period_s).abs() > 1e-9 * t {
            bad.push(
                Problem::at(
                    "law.lqr",
                    format!(
                        "gains are for a sample period of {} s, the sensors give {t} s",
                        self.data.sample_period_s
                    ),
                )
                .hint("solve the gains again for this craft file"),
            );
        }
        let mut find = |name: &String| {
            let found = setup.channel(name);
            if found.is_none() {
                let have: Vec<_> = setup.surfaces.iter().map(|s| s.name.as_str()).collect();
                bad.push(Problem::at(
                    "law.lqr",
                    format!(
                        "drives `{name}`, which no surface answers to; the craft has {}",
                        have.join(", ")
                    ),
                ));
            }
            found
        };
        self.channel = self.data.channels.iter().filter_map(&mut find).collect();
        for o in &self.data.outputs {
            let there = match *o {
                LawSignal::Surface(i) => i < setup.surfaces.len(),
                LawSignal::Height(i) => i < setup.height_sensors_m.len(),
                _ => true,
            };
            if !there {
                bad.push(Problem::at(
                    "law.lqr",
                    format!("reads {o:?}, which the craft does not have"),
                ));
            }
        }
        if !bad.is_empty() {
            return Err(bad.into());
        }
        self.speed.reset(setup.nominal_speed_m_s, t);
        self.speed_lp = Section::low_pass(SPEED_CORNER_RAD_S, t);
        self.speed_lp.settle(setup.nominal_speed_m_s);
        self.washout = Section::washout(WASHOUT_RAD_S, t);
        self.at_speed_m_s = f64::NAN;
        self.x.fill(0.0);
        self.used.fill(0.0);
        self.u.fill(0.0);
        self.over.fill(0.0);
        self.integral.fill(0.0);
        self.setup = Some(Box::new(setup.clone()));
        Ok(())
    }

    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        let Some(setup) = self.setup.take() else {
            return Err(super::not_reset(&self.name));
        };
        self.speed.step(y.speed_m_s, y.valid.speed);
        let slow_speed = self.speed_lp.step(self.speed.speed_m_s());
        self.schedule(slow_speed);
        // prior, then the readings
        self.prior.gemv(1.0, &self.now.a, &self.x, 0.0);
        self.prior.gemv(1.0, &self.now.b, &self.u, 1.0);
        self.x.copy_from(&self.prior);
        self.innovation(y, &setup);
        self.x.gemv(1.0, &self.now.observer, &self.y, 1.0);
        self.used.copy_from(&self.x);
        let truth = if self.spec.perfect_state {
            self.take_truth(y, &setup)
        } else {
            Ok(())
        };
        self.raw.gemv(-1.0, &self.now.gain, &self.used, 0.0);
        self.raw.gemv(-1.0, &self.now.integral, &self.integral, 1.0);
        let fade = self.speed.fade();
        for (k, &i) in self.channel.iter().enumerate() {
            let trim = setup.surfaces[i].trim_rad;
            let asked = fade * (trim + self.raw[k]);
            let limited = asked.max(u.min_rad[i]).min(u.max_rad[i]);
            u.fin_rad[i] = limited;
            self.over[k] = asked - limited;
            self.u[k] = limited - trim;
        }
        if fade >= 1.0 {
            self.integrate(y, &setup);
        }
        let fine = truth.and_then(|()| u.check(&self.name, &setup, t_s));
        self.setup = Some(setup);
        fine
    }

    /// States: prior of the observer, the washout, the integrals.
    fn linear(&self) -> Result<LinearLaw> {
        let Some(setup) = &self.setup else {
            return Err(super::not_reset(&self.name));
        };
        if self.spec.perfect_state {
            return Err(Error::with_hint(
                format!("`{}` reads the true state, which is no signal", self.name),
                "set `perfect_state` to false",
            ));
        }
        let mut law = self.data.linear_at(setup.nominal_speed_m_s);
        law.channels.clone_from(&self.channel);
        Ok(law)
    }

    fn trace(&self, out: &mut Trace) {
        for (name, x) in self.data.states.iter().zip(self.used.iter()) {
            if let Some(k) = MOTION_STATES.iter().position(|m| m == name) {
                out.push(MOTION_STATES[k], *x);
            }
        }
    }
}

/// The law as a recursion, channels left open:
/// ```text
/// x-' = (A - B K)(x- + M (W y + e w - C x-)) - B L q       W y: washed-out acceleration, its newest part
/// w'  = -a w + (b1 - a b0) y_a,   q' = q + T (phi, theta)
/// ```
fn linear_form(data: &LqrMatrices, point: &LqrPoint, washout: &Section) -> LinearLaw {
    let period_s = data.sample_period_s;
    let (n, m) = (data.states.len(), data.channels.len());
    let mut signals = data.outputs.clone();
    let integrals = point.integral.ncols();
    for s in INTEGRATED.into_iter().take(integrals) {
        if !signals.contains(&s) {
            signals.push(s);
        }
    }
    let p = signals.len();
    let mut law = LinearLaw {
        signals,
        a: DMatrix::zeros(n + 1 + integrals, n + 1 + integrals),
        b: DMatrix::zeros(n + 1 + integrals, p),
        c: DMatrix::zeros(m, n + 1 + integrals),
        d: DMatrix::zeros(m, p),
        ..LinearLaw::none(period_s)
    };
    // posterior = seen x- + M (W y + e w)
    let seen = DMatrix::identity(n, n) - &point.observer * &point.c;
    let mut fed = DMatrix::zeros(n, p);
    let mut from_washout = DMatrix::zeros(n, 1);
    for (i, output) in data.outputs.iter().enumerate() {
        let column = point.observer.column(i);
        if *output == LawSignal::VerticalAcceleration {
            fed.set_column(i, &(column * washout.b[0]));
            from_washout += column;
            law.b[(n, i)] = washout.b[1] - washout.a[0] * washout.b[0];
        } else {
            fed.set_column(i, &column);
        }
    }
    law.a[(n, n)] = -washout.a[0];
    let closed = &point.a - &point.b * &point.gain;
    let hold = &point.b * &point.integral * -1.0;
    law.a.view_mut((0, 0), (n, n)).copy_from(&(&closed * &seen));
    law.a
        .view_mut((0, n), (n, 1))
        .copy_from(&(&closed * &from_washout));
    law.a.view_mut((0, n + 1), (n, integrals)).copy_from(&hold);
    law.b.view_mut((0, 0), (n, p)).copy_from(&(&closed * &fed));
    let gain = -&point.gain;
    law.c.view_mut((0, 0), (m, n)).copy_from(&(&gain * seen));
    law.c
        .view_mut((0, n), (m, 1))
        .copy_from(&(&gain * from_washout));
    law.c
        .view_mut((0, n + 1), (m, integrals))
        .copy_from(&(&point.integral * -1.0));
    law.d.copy_from(&(gain * fed));
    for (j, signal) in INTEGRATED.into_iter().enumerate().take(integrals) {
        law.a[(n + 1 + j, n + 1 + j)] = 1.0;
        let of = law.signals.iter().position(|s| *s == signal);
        if let Some(i) = of {
            law.b[(n + 1 + j, i)] = period_s;
        }
    }
    law
}

#[cfg(test)]
mod tests;
