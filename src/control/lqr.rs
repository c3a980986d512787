//! State feedback with an observer; its matrices arrive as data.
//!
//! # Equation
//! ```text
//! x-   = A x + B u(k-1)                         u: command about trim, as limited
//! x    = x- + M (y - C x-)                      y: readings about trim; lost readings give no innovation
//! u    = -K x + u_trim
//! u_trim += (T / T_trim) (-K_theta theta - K_phi phi)       slow trim integrator, if T_trim > 0
//! fin  = fade (trim + u) + (1 - fade) 0
//! ```
//! A, B, C, K, M are interpolated over speed, held beyond the ends of the table. The observer knows
//! nothing of `u_trim`: that part balances a load the model does not have.
//!
//! # Outputs
//! See [`LqrOutput`]. The vertical acceleration is washed out with [`WASHOUT_RAD_S`], so that a bias of
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
//! Franklin, Powell & Workman, Digital Control of Dynamic Systems, 3rd ed. 1998, section 8.2.4
//! (current estimator); Shamma & Athans 1992, Automatica 28, 559-570 (what interpolated gains promise).
//!
//! # Checked by
//! `tests/controllers.rs`, `tests/laws_at_sea.rs`; `lqr::tests`: `observer_converges_on_its_own_model`,
//! `another_craft_is_refused`, `true_state_replaces_the_estimate`, `interpolates_between_speeds`,
//! `trim_integrator_removes_a_steady_angle`

use nalgebra::{DMatrix, DVector};

use super::estimate::mean_heave;
use super::filter::Section;
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

/// A reading the observer uses, about its value at trim.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LqrOutput {
    /// Roll rate p, rad/s.
    RollRate,
    /// Pitch rate q, rad/s.
    PitchRate,
    /// Roll, rad.
    Roll,
    /// Pitch, rad.
    Pitch,
    /// Vertical acceleration of the motion unit, earth axes, down, gravity removed, m/s2.
    VerticalAcceleration,
    /// Heave of O by the mean of the height sensors, attitude removed (heave plus elevation), m.
    HeightHeave,
    /// Angle of a surface, by channel name, rad.
    Surface(String),
}

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
}

/// Everything an LQR needs, as solved by [`crate::design::lqr`].
#[derive(Clone, Debug, PartialEq)]
pub struct LqrMatrices {
    /// Sample period of the design, s.
    pub sample_period_s: f64,
    /// Names of the N states.
    pub states: Vec<String>,
    /// The p outputs.
    pub outputs: Vec<LqrOutput>,
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
                && q.observer.shape() == (n, p);
            let all = [&q.a, &q.b, &q.c, &q.gain, &q.observer];
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
    surface_output: Vec<Option<usize>>,
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
    trim: DVector<f64>,
}

impl Lqr {
    /// The law from its numbers and matrices.
    ///
    /// # Errors
    /// Numbers out of range, matrices that do not belong together.
    pub fn new(name: &str, spec: &LqrSpec, data: LqrMatrices) -> Result<Self> {
        data.check()?;
        if !(spec.trim_time_s >= 0.0 && spec.trim_time_s.is_finite()) {
            return Err(Problem::at(
                "law.lqr.trim_time_s",
                format!("is {} s, must be 0 (none) or positive", spec.trim_time_s),
            )
            .into());
        }
        let (n, m, p) = (data.states.len(), data.channels.len(), data.outputs.len());
        Ok(Lqr {
            name: name.to_owned(),
            spec: spec.clone(),
            now: data.points[0].clone(),
            setup: None,
            channel: Vec::new(),
            surface_output: Vec::new(),
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
            trim: DVector::zeros(m),
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
        let p = &self.data.points;
        let j = p
            .iter()
            .position(|q| q.speed_m_s >= speed_m_s)
            .unwrap_or(p.len() - 1);
        let i = j.saturating_sub(1);
        let width = p[j].speed_m_s - p[i].speed_m_s;
        let t = if width > 0.0 {
            ((speed_m_s - p[i].speed_m_s) / width).clamp(0.0, 1.0)
        } else {
            1.0
        };
        let blend = |to: &mut DMatrix<f64>, a: &DMatrix<f64>, b: &DMatrix<f64>| {
            for ((v, x), y) in to.iter_mut().zip(a).zip(b) {
                *v = x + t * (y - x);
            }
        };
        let (a, b, now) = (&p[i], &p[j], &mut self.now);
        now.speed_m_s = speed_m_s;
        blend(&mut now.a, &a.a, &b.a);
        blend(&mut now.b, &a.b, &b.b);
        blend(&mut now.c, &a.c, &b.c);
        blend(&mut now.gain, &a.gain, &b.gain);
        blend(&mut now.observer, &a.observer, &b.observer);
    }

    /// Innovation into `self.y`: readings about trim less what the prior expects.
    fn innovation(&mut self, y: &Measurement, setup: &Setup) {
        let (phi, theta) = if y.valid.attitude {
            (y.phi_rad, y.theta_rad)
        } else {
            (0.0, setup.trim_pitch_rad)
        };
        let acceleration = if y.valid.acceleration {
            let a = vertical(&y.specific_force_m_s2, phi, theta) + G_M_S2;
            Some(self.washout.step(a))
        } else {
            None
        };
        let height = mean_heave(y, &setup.height_sensors_m, phi, theta);
        for i in 0..self.y.len() {
            let reading = match &self.data.outputs[i] {
                LqrOutput::RollRate => y.valid.rates.then_some(y.rates_rad_s.x),
                LqrOutput::PitchRate => y.valid.rates.then_some(y.rates_rad_s.y),
                LqrOutput::Roll => y.valid.attitude.then_some(y.phi_rad),
                LqrOutput::Pitch => y
                    .valid
                    .attitude
                    .then_some(y.theta_rad - setup.trim_pitch_rad),
                LqrOutput::VerticalAcceleration => acceleration,
                LqrOutput::HeightHeave => height.map(|h| h - setup.trim_heave_m),
                LqrOutput::Surface(_) => self.surface_output[i]
                    .filter(|&s| y.valid.surface[s])
                    .map(|s| y.surface_rad[s] - setup.surfaces[s].trim_rad),
            };
            let expected: f64 = self
                .now
                .c
                .row(i)
                .iter()
                .zip(&self.prior)
                .map(|(c, x)| c * x)
                .sum();
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

    fn integrate_trim(&mut self, setup: &Setup, u: &FinCommand) {
        if self.spec.trim_time_s <= 0.0 {
            return;
        }
        let step = setup.sample_period_s / self.spec.trim_time_s;
        for (k, &i) in self.channel.iter().enumerate() {
            let asked = u.fin_rad[i];
            if asked <= u.min_rad[i] || asked >= u.max_rad[i] {
                continue; // frozen at a limit
            }
            for (j, name) in self.data.states.iter().enumerate() {
                if name == "pitch_rad" || name == "roll_rad" {
                    self.trim[k] -= step * self.now.gain[(k, j)] * self.used[j];
                }
            }
            let most = 0.5 * (u.max_rad[i] - u.min_rad[i]);
            self.trim[k] = self.trim[k].clamp(-most, most);
        }
    }
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
        self.surface_output = self
            .data
            .outputs
            .iter()
            .map(|o| match o {
                LqrOutput::Surface(name) => find(name),
                _ => None,
            })
            .collect();
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
        self.trim.fill(0.0);
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
        let fade = self.speed.fade();
        if fade >= 1.0 {
            self.integrate_trim(&setup, u);
        }
        for (k, &i) in self.channel.iter().enumerate() {
            let trim = setup.surfaces[i].trim_rad;
            let asked = fade * (trim + self.raw[k] + self.trim[k]);
            u.fin_rad[i] = asked;
            // what the plant gets of it, about trim and without the slow part
            let limited = asked.max(u.min_rad[i]).min(u.max_rad[i]);
            self.u[k] = limited - trim - fade * self.trim[k];
        }
        let fine = truth.and_then(|()| u.check(&self.name, &setup, t_s));
        self.setup = Some(setup);
        fine
    }

    fn trace(&self, out: &mut Trace) {
        for (name, x) in self.data.states.iter().zip(self.used.iter()) {
            if let Some(k) = MOTION_STATES.iter().position(|m| m == name) {
                out.push(MOTION_STATES[k], *x);
            }
        }
    }
}

#[cfg(test)]
mod tests;
