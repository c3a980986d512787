//! LQR and observer gains from the linear model, by Bryson's rule.
//!
//! # Equation
//! ```text
//! J = sum_k  sum_i (out_i / acceptable_i)^2 + sum_j (u_j / acceptable angle_j)^2
//! outputs: heave (m), heave rate (m/s), pitch, roll (rad), their rates (rad/s);  u about trim (rad)
//! u = -K x,  x = motion, servos, waves, past commands   ([`super::model`])
//! ```
//! Discrete regulator at the sample period with servo lag and delay in the model; discrete steady
//! observer from the waves (`observer_disturbance_m_s2`) and the noise of the outputs. A weight is
//! 1 / (just acceptable value)^2 in the unit of its output, so each term counts one when its output
//! is just acceptable (Bryson's rule); deg in the file, rad inside.
//!
//! # Valid when
//! The model is ([`super::model`]). Interpolated gains are only checked at the design speeds.
//!
//! # Source
//! Bryson & Ho, Applied Optimal Control, 1975, section 5.2 (the rule for weights); Franklin, Powell
//! & Workman, Digital Control of Dynamic Systems, 3rd ed. 1998, chapter 9.
//!
//! # Checked by
//! `design::lqr::tests`

use nalgebra::{Complex, DMatrix};

use super::model::{DesignModel, SampledModel};
use crate::control::lqr::{LqrMatrices, LqrPoint};
use crate::error::{Error, Problem, Result};
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
    check_weights(spec)?;
    let first = models
        .first()
        .ok_or_else(|| Error::new(format!("LQR design for `{name}` has no design speed")))?;
    let mut points = Vec::with_capacity(models.len());
    let mut reports = Vec::with_capacity(models.len());
    let mut states = Vec::new();
    for m in models {
        let same = m.states == first.states
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
        let at = |e: Error| told(&e, name, m.speed_m_s);
        let sampled = m.sampled().map_err(at)?;
        let (point, report) = solve(spec, m, &sampled).map_err(at)?;
        states = sampled.states;
        points.push(point);
        reports.push(report);
    }
    let matrices = LqrMatrices {
        sample_period_s: first.sample_period_s,
        states,
        outputs: first.outputs.clone(),
        channels: first.channels.iter().map(|c| c.name.clone()).collect(),
        points,
    };
    matrices.check()?;
    Ok((matrices, LqrDesignReport { points: reports }))
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

fn solve(spec: &LqrSpec, m: &DesignModel, s: &SampledModel) -> Result<(LqrPoint, LqrPointReport)> {
    let names: Vec<&str> = s.states.iter().map(String::as_str).collect();
    let q = state_weight(&spec.acceptable, m, s.states.len())?;
    let angles = acceptable_angles_deg(spec, m)?;
    let r = DMatrix::from_diagonal(&nalgebra::DVector::from_iterator(
        angles.len(),
        angles.iter().map(|angle| deg(*angle).powi(-2)),
    ));
    let reg = riccati::dare(&s.a, &s.b, &q, &r, &names)?;
    let w = &s.wave_noise * spec.observer_disturbance_m_s2.powi(2);
    let v = DMatrix::from_diagonal(&nalgebra::DVector::from_iterator(
        m.output_noise.len(),
        m.output_noise.iter().map(|n| n * n),
    ));
    let obs = riccati::kalman(&s.a, &s.c, &w, &v, &names)?;
    let report = LqrPointReport {
        speed_m_s: m.speed_m_s,
        regulator_residual: reg.residual_frac,
        observer_residual: obs.residual_frac,
        modes: reach(m),
        closed_poles: continuous(&reg.poles, m.sample_period_s),
        observer_poles: continuous(&obs.poles, m.sample_period_s),
        gains: gains(m, &reg.gain),
    };
    let point = LqrPoint {
        speed_m_s: m.speed_m_s,
        a: s.a.clone(),
        b: s.b.clone(),
        c: s.c.clone(),
        gain: reg.gain,
        observer: obs.gain,
    };
    Ok((point, report))
}

/// Just acceptable angle of each channel, deg.
fn acceptable_angles_deg(spec: &LqrSpec, m: &DesignModel) -> Result<Vec<f64>> {
    let given = &spec.channel_deg;
    if given.is_empty() {
        let of = |c: &super::model::DesignChannel| match c.group {
            SurfaceGroup::Forward => spec.acceptable.forward_deg,
            SurfaceGroup::Aft | SurfaceGroup::Rudder => spec.acceptable.aft_deg,
        };
        return Ok(m.channels.iter().map(of).collect());
    }
    if given.len() != m.channels.len() {
        let names: Vec<_> = m.channels.iter().map(|c| c.name.as_str()).collect();
        return Err(Problem::at(
            "law.lqr.channel_deg",
            format!(
                "has {} values for {} channels ({}), must have one a channel",
                given.len(),
                names.len(),
                names.join(", ")
            ),
        )
        .into());
    }
    Ok(given.clone())
}

/// Q of Bryson's rule. Heave rate is a state, or w - U theta.
fn state_weight(acc: &LqrAcceptable, m: &DesignModel, total: usize) -> Result<DMatrix<f64>> {
    let find = |name: &str| m.states.iter().position(|s| s == name);
    let need = |name: &str| {
        find(name).ok_or_else(|| Error::new(format!("the design model has no state `{name}`")))
    };
    let mut q = DMatrix::zeros(total, total);
    let mut add = |row: &[(usize, f64)], acceptable: f64| {
        for &(i, a) in row {
            for &(j, b) in row {
                q[(i, j)] += a * b / (acceptable * acceptable);
            }
        }
    };
    let pitch = need("pitch_rad")?;
    add(&[(need("heave_m")?, 1.0)], acc.heave_m);
    match find("heave_rate_m_s") {
        Some(i) => add(&[(i, 1.0)], acc.heave_rate_m_s),
        None => add(
            &[(need("w_m_s")?, 1.0), (pitch, -m.speed_m_s)],
            acc.heave_rate_m_s,
        ),
    }
    add(&[(pitch, 1.0)], deg(acc.pitch_deg));
    add(&[(need("q_rad_s")?, 1.0)], deg(acc.pitch_rate_deg_s));
    add(&[(need("roll_rad")?, 1.0)], deg(acc.roll_deg));
    add(&[(need("p_rad_s")?, 1.0)], deg(acc.roll_rate_deg_s));
    Ok(q)
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
    for (key, v) in [
        ("acceptable.heave_m", a.heave_m),
        ("acceptable.heave_rate_m_s", a.heave_rate_m_s),
        ("acceptable.pitch_deg", a.pitch_deg),
        ("acceptable.pitch_rate_deg_s", a.pitch_rate_deg_s),
        ("acceptable.roll_deg", a.roll_deg),
        ("acceptable.roll_rate_deg_s", a.roll_rate_deg_s),
        ("acceptable.forward_deg", a.forward_deg),
        ("acceptable.aft_deg", a.aft_deg),
        ("observer_disturbance_m_s2", spec.observer_disturbance_m_s2),
    ] {
        if !(v > 0.0 && v.is_finite()) {
            bad.push(
                Problem::at(
                    format!("law.lqr.{key}"),
                    format!("is {v}, must be positive"),
                )
                .hint("a large value means: hardly matters"),
            );
        }
    }
    for (i, v) in spec.channel_deg.iter().enumerate() {
        if !(*v > 0.0 && v.is_finite()) {
            bad.push(
                Problem::at(
                    format!("law.lqr.channel_deg[{i}]"),
                    format!("is {v} deg, must be positive"),
                )
                .hint("a small angle spares the surface"),
            );
        }
    }
    if bad.is_empty() {
        Ok(())
    } else {
        Err(bad.into())
    }
}

#[cfg(test)]
pub(crate) mod tests;
