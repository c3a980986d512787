//! Which surfaces a law drives.
//!
//! A controller file may list `channels`: the law then moves those surfaces only, the others keep
//! the command they have on entry, which is their trim angle. The PID allocates among them and the LQR
//! is solved for them; [`Restricted`] keeps every law to its list, programs of others included.
//!
//! # Checked by
//! `others_stay_where_they_are`, `unknown_channels_are_told`

use super::linear::LinearLaw;
use super::signal::{FinCommand, Measurement, SetPoint, Setup, SurfaceSetup, Trace};
use super::{Controller, ControllerInfo};
use crate::error::{Problem, Result};

/// Indices of the surfaces called `channels`, in that order; all that `fit` when it is empty.
///
/// # Errors
/// One problem for each channel that no fitting surface answers to.
pub fn driven(
    setup: &Setup,
    channels: &[String],
    fit: impl Fn(&SurfaceSetup) -> bool,
) -> Result<Vec<usize>> {
    let all: Vec<usize> = (0..setup.surfaces.len())
        .filter(|&i| fit(&setup.surfaces[i]))
        .collect();
    if channels.is_empty() {
        return Ok(all);
    }
    let mut bad = Vec::new();
    let mut found = Vec::with_capacity(channels.len());
    for (k, name) in channels.iter().enumerate() {
        match all.iter().find(|&&i| setup.surfaces[i].name == *name) {
            Some(&i) => found.push(i),
            None => bad.push(unknown(k, name, setup, &all)),
        }
    }
    if bad.is_empty() {
        Ok(found)
    } else {
        Err(bad.into())
    }
}

fn unknown(k: usize, name: &str, setup: &Setup, all: &[usize]) -> Problem {
    let have: Vec<_> = all.iter().map(|&i| &*setup.surfaces[i].name).collect();
    Problem::at(
        format!("channels[{k}]"),
        format!("is `{name}`, no surface that this law can drive is called so"),
    )
    .hint(format!("the craft has {}", have.join(", ")))
}

/// A law that may drive some surfaces only.
pub struct Restricted {
    inner: Box<dyn Controller>,
    channels: Vec<String>,
    others: Vec<usize>,
    before: Vec<f64>,
}

impl Restricted {
    /// `inner` kept to the surfaces called `channels`.
    pub fn new(inner: Box<dyn Controller>, channels: &[String]) -> Self {
        Restricted {
            inner,
            channels: channels.to_vec(),
            others: Vec::new(),
            before: Vec::new(),
        }
    }
}

impl Controller for Restricted {
    fn info(&self) -> ControllerInfo {
        ControllerInfo {
            channels: self.channels.clone(),
            ..self.inner.info()
        }
    }

    fn reset(&mut self, setup: &Setup) -> Result<()> {
        let own = driven(setup, &self.channels, |_| true)?;
        self.others = (0..setup.surfaces.len())
            .filter(|i| !own.contains(i))
            .collect();
        self.before = vec![0.0; self.others.len()];
        self.inner.reset(setup)
    }

    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        for (b, &i) in self.before.iter_mut().zip(&self.others) {
            *b = u.fin_rad[i];
        }
        let done = self.inner.update(t_s, y, u);
        for (b, &i) in self.before.iter().zip(&self.others) {
            u.fin_rad[i] = *b;
        }
        done
    }

    fn engage(&mut self, y: &Measurement, u: &FinCommand) -> Result<()> {
        self.inner.engage(y, u)
    }

    fn set_point(&mut self, goal: SetPoint) -> Result<()> {
        self.inner.set_point(goal)
    }

    fn set_displacement(&mut self, displacement_kg: f64) -> Result<()> {
        self.inner.set_displacement(displacement_kg)
    }

    fn linear(&self) -> Result<LinearLaw> {
        let law = self.inner.linear()?;
        let kept: Vec<usize> = (0..law.channels.len())
            .filter(|k| !self.others.contains(&law.channels[*k]))
            .collect();
        Ok(LinearLaw {
            channels: kept.iter().map(|k| law.channels[*k]).collect(),
            c: law.c.select_rows(&kept),
            d: law.d.select_rows(&kept),
            ..law
        })
    }

    fn trace(&self, out: &mut Trace) {
        self.inner.trace(out);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::{FORMAT, from_spec, testcraft};
    use crate::spec::controller::{AngleGains, ControllerSpec, LawSpec, PidSpec};

    fn pid(channels: &[&str], share: f64) -> ControllerSpec {
        let gains = AngleGains {
            proportional_deg_per_deg: 1.0,
            ..AngleGains::default()
        };
        ControllerSpec {
            format: FORMAT.into(),
            name: "aft only".into(),
            note: String::new(),
            channels: channels.iter().map(|c| (*c).to_owned()).collect(),
            provenance: None,
            law: LawSpec::Pid(PidSpec {
                pitch: gains,
                roll: gains,
                forward_share_frac: share,
                ..testcraft::pid()
            }),
            modes: None,
            monitor: None,
            calibration: Vec::new(),
        }
    }

    #[test]
    fn others_stay_where_they_are() {
        let setup = testcraft::setup();
        let spec = pid(&["aft_s", "aft_p"], 0.0);
        let mut law = from_spec(&spec, std::path::Path::new(""), None).unwrap();
        law.reset(&setup).unwrap();
        assert_eq!(law.info().channels, ["aft_s", "aft_p"]);
        let mut y = Measurement::at_trim(&setup);
        y.theta_rad += 0.02;
        let mut u = FinCommand::at_trim(&setup);
        law.update(0.0, &y, &mut u).unwrap();
        for (i, s) in setup.surfaces.iter().enumerate() {
            let moved = u.fin_rad[i] - s.trim_rad;
            if s.name.starts_with("aft") {
                // bow up: aft lifts by the demand over the aft share of the pitch moment
                assert!(moved > 0.015, "{} {moved}", s.name);
            } else {
                assert!(moved.abs() < f64::EPSILON, "{} {moved}", s.name);
            }
        }
    }

    #[test]
    fn unknown_channels_are_told() {
        let setup = testcraft::setup();
        for name in ["aft", "rudder_p"] {
            let spec = pid(&["aft_s", name], 0.0);
            let mut law = from_spec(&spec, std::path::Path::new(""), None).unwrap();
            let e = law.reset(&setup).unwrap_err().to_string();
            assert!(
                e.contains("channels[1]") && e.contains(name) && e.contains("aft_p"),
                "{e}"
            );
        }
        let spec = pid(&["aft_s"], 0.5);
        let mut law = from_spec(&spec, std::path::Path::new(""), None).unwrap();
        let e = law.reset(&setup).unwrap_err().to_string();
        assert!(e.contains("none is driven"), "{e}");
    }
}
