//! LQR and observer gains from the linear model, by Bryson's rule.
//!
//! # Equation
//! ```text
//! J = sum_k  sum_i (out_i / acceptable_i)^2 + sum_j (u_j / acceptable angle_j)^2
//!                                           + sum_j ((u_j(k) - u_j(k-1)) / (T acceptable rate_j))^2
//! outputs: heave (m), heave rate (m/s), pitch, roll (rad), their rates (rad/s); at points of the craft
//!          vertical velocity and acceleration, lateral acceleration;  u about trim (rad)
//! u = -K x - L q,  x = motion, servos, waves, past commands   ([`super::model`])
//! q' = q + T (roll, pitch),  cost (q / (trim time * just acceptable angle))^2
//! ```
//! Discrete regulator at the sample period with servo lag and delay in the model; discrete steady
//! observer from the waves and the noise of the outputs. A weight is 1 / (just acceptable value)^2 in
//! the unit of its output, so each term counts one when its output is just acceptable (Bryson's rule);
//! deg in the file, rad inside. Accelerations hang on surface angles and waves, which are states, so
//! they enter Q; the price of a command's change couples command and state and is the cross term.
//!
//! # Valid when
//! The model is ([`super::model`]). Interpolated gains are checked by [`super::between`].
//!
//! # Source
//! Bryson & Ho, Applied Optimal Control, 1975, section 5.2 (the rule for weights); Franklin, Powell
//! & Workman, Digital Control of Dynamic Systems, 3rd ed. 1998, chapter 9.
//!
//! # Checked by
//! `design::lqr::tests`

use nalgebra::{Complex, DMatrix, DVector};

use super::model::{DesignChannel, DesignModel, RideRow, SampledModel};
use crate::control::lqr::{INTEGRATED, LqrMatrices, LqrPoint};
use crate::error::{Error, Problem, Result};
use crate::math::riccati::{Kalman, Riccati};
use crate::math::{eigen, riccati};
use crate::spec::controller::{LqrAcceptable, LqrSpec};
use crate::spec::craft::SurfaceGroup;
use crate::units::{deg, to_kn};

/// How well a mode of the bare craft is reached and seen.
#[derive(Clone, Debug, PartialEq)]
pub struct ModeReach {
    /// Eigenvalue of the craft with its surfaces at trim, 1/s.
    pub value: Complex<f64>,
    /// The states that take part most.
    pub states: String,
    /// Distance to the nearest model in which no surface moves this mode, fraction of |A|; 0 is lost.
    pub reached_frac: f64,
    /// Distance to the nearest model in which no sensor sees it.
    pub seen_frac: f64,
}

/// One gain in the units of the trade.
#[derive(Clone, Debug, PartialEq)]
pub struct GainEntry {
    /// Surface.
    pub channel: String,
    /// State.
    pub state: String,
    /// Surface angle (deg) per `per` of the state: the entry of -K, so u = value x.
    pub value: f64,
    /// Unit of the state as people read it: `m`, `m/s`, `deg`, `deg/s`.
    pub per: &'static str,
}

/// What was found at one speed.
#[derive(Clone, Debug, PartialEq)]
pub struct LqrPointReport {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Residual of the regulator equation, relative.
    pub regulator_residual: f64,
    /// Residual of the observer equation, relative.
    pub observer_residual: f64,
    /// Modes of the craft with surfaces at trim.
    pub modes: Vec<ModeReach>,
    /// Closed-loop poles of the regulator as continuous equivalents ln(z)/T, 1/s, least stable first;
    /// those faster than a sample (delay) are left out.
    pub closed_poles: Vec<Complex<f64>>,
    /// Poles of the observer's error, likewise.
    pub observer_poles: Vec<Complex<f64>>,
    /// Gains on the motion (deg per m, m/s, deg, deg/s).
    pub gains: Vec<GainEntry>,
}

/// What was found at all design speeds.
#[derive(Clone, Debug, PartialEq)]
pub struct LqrDesignReport {
    /// Ascending speed.
    pub points: Vec<LqrPointReport>,
}

/// Solves the law `name` on one model per design speed (ascending).
///
/// # Errors
/// Weights out of range, models that do not belong together, or a mode that cannot be stabilised or
/// seen: named with law and speed.
pub fn design(
    name: &str,
    spec: &LqrSpec,
    models: &[DesignModel],
) -> Result<(LqrMatrices, LqrDesignReport)> {
    LqrPlants::new(name, models.to_vec())?.solve(spec)
}

/// The design models of a law, sampled once: weights can be changed and solved again at little cost.
#[derive(Clone, Debug)]
pub struct LqrPlants {
    name: String,
    plants: Vec<LqrPlant>,
}

#[derive(Clone, Debug)]
struct LqrPlant {
    model: DesignModel,
    sampled: SampledModel,
    modes: Vec<ModeReach>,
}

impl LqrPlants {
    /// For the law `name`, one model per design speed (ascending).
    ///
    /// # Errors
    /// No model, or models that do not belong together.
    pub fn new(name: &str, models: Vec<DesignModel>) -> Result<Self> {
        let Some(first) = models.first().cloned() else {
            return Err(Error::new(format!(
                "LQR design for `{name}` has no design speed"
            )));
        };
        let mut plants = Vec::with_capacity(models.len());
        for m in models {
            let same = m.states == first.states
                && m.waves.states == first.waves.states
                && m.channels == first.channels
                && m.outputs == first.outputs
                && (m.sample_period_s - first.sample_period_s).abs() < 1e-12
                && (m.delay_s - first.delay_s).abs() < 1e-12;
            if !same {
                return Err(Error::new(format!(
                    "LQR design for `{name}`: the models at {:.1} kn and {:.1} kn have other states, channels, outputs or timing",
                    to_kn(first.speed_m_s),
                    to_kn(m.speed_m_s)
                )));
            }
            plants.push(LqrPlant {
                sampled: m.sampled().map_err(|e| told(&e, name, m.speed_m_s))?,
                modes: reach(&m),
                model: m,
            });
        }
        Ok(LqrPlants {
            name: name.to_owned(),
            plants,
        })
    }

    /// Gains for the weights of `spec`; its design speeds, sea and channels are those of the models.
    ///
    /// # Errors
    /// Weights out of range, a point the craft does not have, a mode that cannot be stabilised or seen:
    /// named with law and speed.
    pub fn solve(&self, spec: &LqrSpec) -> Result<(LqrMatrices, LqrDesignReport)> {
        check_weights(spec)?;
        let mut points = Vec::with_capacity(self.plants.len());
        let mut reports = Vec::with_capacity(self.plants.len());
        for p in &self.plants {
            let (point, report) =
                solve(spec, p).map_err(|e| told(&e, &self.name, p.model.speed_m_s))?;
            points.push(point);
            reports.push(report);
        }
        let first = &self.plants[0];
        let channels = &first.model.channels;
        let matrices = LqrMatrices {
            sample_period_s: first.model.sample_period_s,
            states: first.sampled.states.clone(),
            outputs: first.model.outputs.clone(),
            channels: channels.iter().map(|c| c.name.clone()).collect(),
            points,
        };
        matrices.check()?;
        Ok((matrices, LqrDesignReport { points: reports }))
    }
}

fn told(e: &Error, name: &str, speed_m_s: f64) -> Error {
    let mut e = e.clone();
    for p in &mut e.problems {
        p.message = format!(
            "LQR design for `{name}` at {:.1} kn: {}",
            to_kn(speed_m_s),
            p.message
        );
    }
    e
}

fn solve(spec: &LqrSpec, plant: &LqrPlant) -> Result<(LqrPoint, LqrPointReport)> {
    let (m, s) = (&plant.model, &plant.sampled);
    let names: Vec<&str> = s.states.iter().map(String::as_str).collect();
    let n = names.len();
    let reg = regulator(spec, m, s, &names)?;
    let obs = observer(spec, m, s, &names)?;
    let gain = reg.gain.columns(0, n).into_owned();
    let report = LqrPointReport {
        speed_m_s: m.speed_m_s,
        regulator_residual: reg.residual_frac,
        observer_residual: obs.residual_frac,
        modes: plant.modes.clone(),
        closed_poles: continuous(&reg.poles()?, m.sample_period_s),
        observer_poles: continuous(&obs.poles()?, m.sample_period_s),
        gains: gains(m, &gain),
    };
    let point = LqrPoint {
        speed_m_s: m.speed_m_s,
        a: s.a.clone(),
        b: s.b.clone(),
        c: s.c.clone(),
        gain,
        observer: obs.gain,
        integral: reg.gain.columns(n, reg.gain.ncols() - n).into_owned(),
    };
    Ok((point, report))
}

/// The observer for the waves and the noise of the outputs.
fn observer(spec: &LqrSpec, m: &DesignModel, s: &SampledModel, names: &[&str]) -> Result<Kalman> {
    let level = m.wave_level_m_s2.unwrap_or(spec.observer_disturbance_m_s2);
    let noise = m.output_noise.iter().map(|n| n * n);
    let v = DMatrix::from_diagonal(&DVector::from_iterator(m.output_noise.len(), noise));
    riccati::kalman(&s.a, &s.c, &(&s.wave_noise * level.powi(2)), &v, names)
}

/// Sum of weighted squares x'Q x + 2 x'N u + u'R u.
struct Cost {
    q: DMatrix<f64>,
    cross: DMatrix<f64>,
    r: DMatrix<f64>,
}

impl Cost {
    /// Adds (row x / acceptable)^2.
    fn add(&mut self, row: &DVector<f64>, acceptable: f64) {
        self.q.ger(acceptable.powi(-2), row, row, 1.0);
    }

    /// Adds (state / acceptable)^2.
    fn state(&mut self, i: usize, acceptable: f64) {
        self.q[(i, i)] += acceptable.powi(-2);
    }
}

/// Gains on the states and, behind them, on the integrals of [`INTEGRATED`], if any.
fn regulator(spec: &LqrSpec, m: &DesignModel, s: &SampledModel, names: &[&str]) -> Result<Riccati> {
    let (n, channels) = (names.len(), m.channels.len());
    let integrals = if spec.trim_time_s > 0.0 {
        INTEGRATED.len()
    } else {
        0
    };
    let all = n + integrals;
    let mut cost = Cost {
        q: DMatrix::zeros(all, all),
        cross: DMatrix::zeros(all, channels),
        r: DMatrix::zeros(channels, channels),
    };
    motion_cost(&mut cost, &spec.acceptable, m)?;
    ride_cost(&mut cost, &spec.acceptable, m, s)?;
    command_cost(&mut cost, spec, m, s.last_command)?;
    let mut a = s.a.clone().resize(all, all, 0.0);
    let b = s.b.clone().resize_vertically(all, 0.0);
    let mut named = names.to_vec();
    let acc = &spec.acceptable;
    // q' = q + T angle, just acceptable where the angle has stood for the trim time
    let of = [
        ("roll_rad", acc.roll_deg, "integral_of_roll_rad_s"),
        ("pitch_rad", acc.pitch_deg, "integral_of_pitch_rad_s"),
    ];
    for (j, (state, angle_deg, name)) in of.into_iter().enumerate().take(integrals) {
        a[(n + j, n + j)] = 1.0;
        a[(n + j, position(m, state)?)] = m.sample_period_s;
        cost.state(n + j, deg(angle_deg) * spec.trim_time_s);
        named.push(name);
    }
    riccati::dare_cross(&a, &b, &cost.q, &cost.cross, &cost.r, &named)
}

fn position(m: &DesignModel, state: &str) -> Result<usize> {
    let found = m.states.iter().position(|s| s == state);
    found.ok_or_else(|| Error::new(format!("the design model has no state `{state}`")))
}

/// Heave, roll, pitch and their rates; heave rate is a state, or w - U theta.
fn motion_cost(cost: &mut Cost, acc: &LqrAcceptable, m: &DesignModel) -> Result<()> {
    let pitch = position(m, "pitch_rad")?;
    if let Ok(i) = position(m, "heave_rate_m_s") {
        cost.state(i, acc.heave_rate_m_s);
    } else {
        let mut row = DVector::zeros(cost.q.nrows());
        row[position(m, "w_m_s")?] = 1.0;
        row[pitch] = -m.speed_m_s;
        cost.add(&row, acc.heave_rate_m_s);
    }
    cost.state(position(m, "heave_m")?, acc.heave_m);
    cost.state(pitch, deg(acc.pitch_deg));
    cost.state(position(m, "q_rad_s")?, deg(acc.pitch_rate_deg_s));
    cost.state(position(m, "roll_rad")?, deg(acc.roll_deg));
    cost.state(position(m, "p_rad_s")?, deg(acc.roll_rate_deg_s));
    Ok(())
}

/// Ride at the points.
fn ride_cost(
    cost: &mut Cost,
    acc: &LqrAcceptable,
    m: &DesignModel,
    s: &SampledModel,
) -> Result<()> {
    for (k, p) in acc.points.iter().enumerate() {
        let Some(i) = m.points.iter().position(|have| have.name == p.point) else {
            let have: Vec<_> = m.points.iter().map(|p| p.name.as_str()).collect();
            return Err(Problem::at(
                format!("law.lqr.acceptable.points[{k}].point"),
                format!("is `{}`, the craft has no such point", p.point),
            )
            .hint(format!("the craft has {}", have.join(", ")))
            .into());
        };
        for (row, acceptable) in [
            (RideRow::VerticalVelocity, p.vertical_velocity_m_s),
            (RideRow::VerticalAcceleration, p.vertical_acceleration_m_s2),
            (RideRow::LateralAcceleration, p.lateral_acceleration_m_s2),
        ] {
            if let Some(acceptable) = acceptable {
                let row = s.ride[i].row(row as usize).transpose();
                cost.add(&row.resize_vertically(cost.q.nrows(), 0.0), acceptable);
            }
        }
    }
    Ok(())
}

/// Angles and rates of the commands; `last` is the first state that holds the command before.
fn command_cost(cost: &mut Cost, spec: &LqrSpec, m: &DesignModel, last: usize) -> Result<()> {
    let acc = &spec.acceptable;
    let angle = |c: &DesignChannel| match c.group {
        SurfaceGroup::Forward => acc.forward_deg,
        SurfaceGroup::Aft | SurfaceGroup::Rudder => acc.aft_deg,
    };
    let rate = |c: &DesignChannel| match c.group {
        SurfaceGroup::Forward => acc.forward_rate_deg_s,
        SurfaceGroup::Aft | SurfaceGroup::Rudder => acc.aft_rate_deg_s,
    };
    let angles = per_channel("channel_deg", &spec.channel_deg, m)?;
    let rates = per_channel("channel_rate_deg_s", &spec.channel_rate_deg_s, m)?;
    for (j, c) in m.channels.iter().enumerate() {
        let angle_deg = angles.map_or_else(|| angle(c), |v| v[j]);
        cost.r[(j, j)] += deg(angle_deg).powi(-2);
        if let Some(rate_deg_s) = rates.map_or_else(|| rate(c), |v| Some(v[j])) {
            let weight = (deg(rate_deg_s) * m.sample_period_s).powi(-2);
            cost.r[(j, j)] += weight;
            cost.q[(last + j, last + j)] += weight;
            cost.cross[(last + j, j)] -= weight;
        }
    }
    Ok(())
}

/// A list of the file with one value a channel; none when it is empty.
fn per_channel<'a>(key: &str, given: &'a [f64], m: &DesignModel) -> Result<Option<&'a [f64]>> {
    if given.is_empty() || given.len() == m.channels.len() {
        return Ok((!given.is_empty()).then_some(given));
    }
    let names: Vec<_> = m.channels.iter().map(|c| c.name.as_str()).collect();
    Err(Problem::at(
        format!("law.lqr.{key}"),
        format!(
            "has {} values for {} channels ({}), must have one a channel",
            given.len(),
            names.len(),
            names.join(", ")
        ),
    )
    .into())
}

fn reach(m: &DesignModel) -> Vec<ModeReach> {
    let Some(modes) = eigen::modes(&m.a) else {
        return Vec::new();
    };
    let names: Vec<&str> = m.states.iter().map(String::as_str).collect();
    let at = m.a.transpose();
    let ct = m.c.transpose();
    modes
        .iter()
        .map(|mode| {
            let one = [mode.value];
            let here = eigen::unreached(&m.a, &m.b, &one, f64::INFINITY);
            let seen = eigen::unreached(&at, &ct, &[mode.value.conj()], f64::INFINITY);
            let plain = eigen::Unreached {
                value: mode.value,
                participation: mode.participation(),
                distance: 0.0,
            };
            ModeReach {
                value: mode.value,
                states: plain.states(&names),
                reached_frac: here.first().map_or(0.0, |u| u.distance),
                seen_frac: seen.first().map_or(0.0, |u| u.distance),
            }
        })
        .collect()
}

fn continuous(poles: &[Complex<f64>], period_s: f64) -> Vec<Complex<f64>> {
    let mut out: Vec<_> = poles
        .iter()
        .filter(|z| z.norm() > 1e-3)
        .map(|z| z.ln() / period_s)
        .collect();
    eigen::sort_continuous(&mut out);
    out
}

fn gains(m: &DesignModel, k: &DMatrix<f64>) -> Vec<GainEntry> {
    let mut out = Vec::new();
    for (i, c) in m.channels.iter().enumerate() {
        for (j, state) in m.states.iter().enumerate() {
            let (per, factor) = match state.as_str() {
                s if s.ends_with("_rad") => ("deg", 1.0),
                s if s.ends_with("_rad_s") => ("deg/s", 1.0),
                s if s.ends_with("_m_s") => ("m/s", 1.0_f64.to_degrees()),
                s if s.ends_with("_m") => ("m", 1.0_f64.to_degrees()),
                _ => continue,
            };
            out.push(GainEntry {
                channel: c.name.clone(),
                state: state.clone(),
                value: -k[(i, j)] * factor,
                per,
            });
        }
    }
    out
}

fn check_weights(spec: &LqrSpec) -> Result<()> {
    let a = &spec.acceptable;
    let mut bad = Vec::new();
    let mut need = |key: String, v: f64, hint: &str| {
        if !(v > 0.0 && v.is_finite()) {
            bad.push(
                Problem::at(
                    format!("law.lqr.{key}"),
                    format!("is {v}, must be positive"),
                )
                .hint(hint),
            );
        }
    };
    let little = "a large value means: hardly matters";
    for (key, v) in [
        ("acceptable.heave_m", Some(a.heave_m)),
        ("acceptable.heave_rate_m_s", Some(a.heave_rate_m_s)),
        ("acceptable.pitch_deg", Some(a.pitch_deg)),
        ("acceptable.pitch_rate_deg_s", Some(a.pitch_rate_deg_s)),
        ("acceptable.roll_deg", Some(a.roll_deg)),
        ("acceptable.roll_rate_deg_s", Some(a.roll_rate_deg_s)),
        ("acceptable.forward_deg", Some(a.forward_deg)),
        ("acceptable.aft_deg", Some(a.aft_deg)),
        ("acceptable.forward_rate_deg_s", a.forward_rate_deg_s),
        ("acceptable.aft_rate_deg_s", a.aft_rate_deg_s),
        (
            "observer_disturbance_m_s2",
            Some(spec.observer_disturbance_m_s2),
        ),
    ] {
        if let Some(v) = v {
            need(key.to_owned(), v, little);
        }
    }
    for (i, p) in a.points.iter().enumerate() {
        for (key, v) in [
            ("vertical_acceleration_m_s2", p.vertical_acceleration_m_s2),
            ("vertical_velocity_m_s", p.vertical_velocity_m_s),
            ("lateral_acceleration_m_s2", p.lateral_acceleration_m_s2),
        ] {
            if let Some(v) = v {
                need(format!("acceptable.points[{i}].{key}"), v, little);
            }
        }
    }
    let spare = "a small value spares the surface";
    for (i, v) in spec.channel_deg.iter().enumerate() {
        need(format!("channel_deg[{i}]"), *v, spare);
    }
    for (i, v) in spec.channel_rate_deg_s.iter().enumerate() {
        need(format!("channel_rate_deg_s[{i}]"), *v, spare);
    }
    if !(spec.trim_time_s >= 0.0 && spec.trim_time_s.is_finite()) {
        bad.push(Problem::at(
            "law.lqr.trim_time_s",
            format!("is {} s, must be 0 (none) or positive", spec.trim_time_s),
        ));
    }
    if bad.is_empty() {
        Ok(())
    } else {
        Err(bad.into())
    }
}

#[cfg(test)]
pub(crate) mod tests;
