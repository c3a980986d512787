//! One fully resolved case.
//!
//! A [`Case`] holds all that a run needs except the law, resolved to numbers: nothing is looked up,
//! solved or read while it runs. [`Case::new`] bakes it from [`Parts`]: every wave channel becomes a
//! complex amplitude per component, periods become whole numbers of steps.
//!
//! # Equation
//! ```text
//! Force      X_j(omega, mu) of the craft's tables       ForceSlope  dX_j/dmu
//! Orbital    omega (cos mu n_x + sin mu n_y - i n_z) e^(-k z) e^(-i k (x cos mu + y sin mu))
//! Elevation  e^(-i k (x cos mu + y sin mu))
//! ```
//!
//! # Checked by
//! `periods_must_fit`, `elevations_are_shared`, and the tests of [`super::run`].

use std::sync::Arc;

use nalgebra::Vector3;
use num_complex::Complex64;

use super::checks::{self, Limits, Warning};
use super::contact::UndersidePoint;
use super::craft::Craft;
use super::faults::{Fault, Schedule};
use super::orders::Event;
use super::waves::WaveBank;
use super::wind::Wind;
use crate::control::signal::Setup;
use crate::dynamics::course::{HeadingHold, SpeedHold};
use crate::dynamics::plant::WaveChannel;
use crate::error::{Error, Problem, Result};
use crate::math::ode::Tolerance;
use crate::sea::realisation::Component;
use crate::spec::craft::CraftSpec;

/// A point whose motion is recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedPoint {
    /// Name: the subject of its columns.
    pub name: String,
    /// Place from O, m.
    pub r_m: Vector3<f64>,
}

/// How the state advances.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub enum Integrator {
    /// Fourth-order Runge-Kutta with fixed step.
    #[default]
    FixedStep,
    /// The craft's own predictor and corrector ([`crate::dynamics::plant::march`]) with fixed step, waves summed in single
    /// precision: for many seas. What is exact to rounding by the others (mirror images, scaled craft) is so to some 1e-6,
    /// or 1e-3 in long-crested seas. A craft that has none, or whose motion is too fast for the step, goes by Runge-Kutta
    /// and is warned of.
    PredictorCorrector,
    /// Dormand-Prince 5(4), restarted at every step's edge (samples, arriving commands and the memory
    /// of the backlash all lie on it), waves by direct evaluation.
    Reference(Tolerance),
}

/// Whole numbers of steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timing {
    /// Step, s.
    pub step_s: f64,
    /// Steps of the run, run-in included.
    pub steps: u64,
    /// Steps of the run-in.
    pub run_in_steps: u64,
    /// Steps between samples.
    pub sample_every: u64,
    /// Steps between records.
    pub record_every: u64,
}

impl Timing {
    /// From seconds: judged duration, run-in before it, step, sample period and record interval.
    ///
    /// # Errors
    /// Each period that is no whole number of steps, and each number out of range.
    pub fn new(
        duration_s: f64,
        run_in_s: f64,
        step_s: f64,
        sample_s: f64,
        record_s: f64,
    ) -> Result<Self> {
        if !(step_s > 0.0 && step_s.is_finite()) {
            return Err(Problem::at("step_s", format!("is {step_s} s, must be positive")).into());
        }
        let mut problems = Vec::new();
        let mut whole = |key: &str, value: f64, least: f64| {
            let n = (value / step_s).round();
            let off = (value / step_s - n).abs();
            // 1e-6 of a step: decimal periods divided by decimal steps
            if !value.is_finite() || n < least || off > 1e-6 || n > 1e12 {
                problems.push(
                    Problem::at(
                        key,
                        format!("is {value} s, must be a whole number of steps of {step_s} s"),
                    )
                    .hint(format!("{} s would do", n.max(least.max(1.0)) * step_s)),
                );
            }
            n.max(0.0) as u64
        };
        let timing = Timing {
            step_s,
            steps: whole("duration_s", duration_s, 1.0) + whole("run_in_s", run_in_s, 0.0),
            run_in_steps: whole("run_in_s", run_in_s, 0.0),
            sample_every: whole("sample_period_s", sample_s, 1.0),
            record_every: whole("record_s", record_s, 1.0),
        };
        problems.dedup();
        if problems.is_empty() {
            Ok(timing)
        } else {
            Err(problems.into())
        }
    }

    /// Time at the start of a step, s.
    pub fn at_s(&self, step: u64) -> f64 {
        step as f64 * self.step_s
    }

    /// Sample period, s.
    pub fn sample_s(&self) -> f64 {
        self.sample_every as f64 * self.step_s
    }
}

/// What the law sees the craft through.
#[derive(Clone, Debug)]
pub enum Sensing {
    /// The truth itself, at once: for tests of the physics.
    Perfect,
    /// The craft's sensors.
    Suite {
        /// Their description.
        craft: Arc<CraftSpec>,
        /// Noise, bias and quantisation on; filters and delays are always on.
        errors: bool,
        /// The campaign's seed.
        seed: u64,
        /// The case's number: biases and noise are drawn for (seed, case).
        case: u64,
    },
}

/// Everything a case is baked from.
pub struct Parts {
    /// Name, for tables and messages.
    pub name: String,
    /// The craft at its nominal speed.
    pub craft: Arc<dyn Craft>,
    /// The sea.
    pub components: Vec<Component>,
    /// Wind, if any.
    pub wind: Option<Wind>,
    /// What the law is told; its sample period must be that of `timing`.
    pub setup: Setup,
    /// Steps.
    pub timing: Timing,
    /// Integrator.
    pub integrator: Integrator,
    /// State at the start, trim as a rule.
    pub start: Vec<f64>,
    /// Sum of the absolute servo rates that each hydraulic supply feeds, rad/s.
    pub supply_rad_s: Vec<f64>,
    /// What the law sees.
    pub sensing: Sensing,
    /// Rudders keep the course; none when springs do.
    pub heading: Option<HeadingHold>,
    /// Shafts keep the speed; none when springs do.
    pub speed: Option<SpeedHold>,
    /// Thrust at the start per propulsor, N.
    pub thrust_n: Vec<f64>,
    /// Points whose motion is recorded.
    pub points: Vec<NamedPoint>,
    /// Points of the underside.
    pub underside: Vec<UndersidePoint>,
    /// Factor on the elevation in relative height (the craft's own waves); 1 for the undisturbed sea.
    pub own_wave_factor: f64,
    /// The range in which the model holds.
    pub limits: Limits,
    /// What humans order, in order of time.
    pub orders: Vec<Event>,
    /// What breaks, in any order.
    pub faults: Vec<Fault>,
}

/// One fully resolved case.
pub struct Case {
    pub(crate) parts: Parts,
    pub(crate) bank: WaveBank,
    pub(crate) at: ElevationIndex,
    pub(crate) delay_halves: Vec<u64>,
    pub(crate) schedule: Option<Schedule>,
    /// What was found while baking.
    pub warnings: Vec<Warning>,
}

/// Where the elevation above each place sits among the channels.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct ElevationIndex {
    pub(crate) origin: usize,
    pub(crate) points: Vec<usize>,
    pub(crate) heights: Vec<usize>,
    pub(crate) underside: Vec<usize>,
    pub(crate) surfaces: Vec<usize>,
}

impl Case {
    /// Bakes a case.
    ///
    /// # Errors
    /// When parts do not belong together: lengths, sample periods, numbers that are not finite.
    pub fn new(parts: Parts) -> Result<Self> {
        check(&parts)?;
        let mut channels = parts.craft.channels().to_vec();
        let own = channels.len();
        let at = index(&parts, &mut channels);
        let bank = bank(&parts, &channels, own);
        let bank = suited(bank, parts.integrator);
        let half = 0.5 * parts.timing.step_s;
        let mut warnings = Vec::new();
        let actuators = parts.craft.actuators();
        let mut delay_halves = Vec::with_capacity(actuators.len());
        for (a, s) in actuators.iter().zip(&parts.setup.surfaces) {
            let n = (a.delay_s / half).round();
            if (n * half - a.delay_s).abs() > 1e-6 * half {
                warnings.push(Warning::DelayRounded {
                    surface: s.name.clone(),
                    asked_s: a.delay_s,
                    taken_s: n * half,
                });
            }
            delay_halves.push(n as u64);
        }
        let schedule = Schedule::new(&parts.faults, &parts.craft, &parts.timing)?;
        warnings.extend(checks::late_faults(
            &parts.faults,
            parts.timing.at_s(parts.timing.steps),
        ));
        Ok(Case {
            parts,
            bank,
            at,
            delay_halves,
            schedule,
            warnings,
        })
    }

    /// What it was baked from.
    pub fn parts(&self) -> &Parts {
        &self.parts
    }

    /// The wave bank at its start.
    pub fn bank(&self) -> &WaveBank {
        &self.bank
    }

    /// The same case with another integrator (comparison with the reference).
    #[must_use]
    pub fn with_integrator(mut self, integrator: Integrator) -> Self {
        self.parts.integrator = integrator;
        self.bank = suited(self.bank, integrator);
        self
    }
}

/// The bank with what the integrator needs of it.
fn suited(bank: WaveBank, integrator: Integrator) -> WaveBank {
    match integrator {
        Integrator::PredictorCorrector => bank.quick(),
        Integrator::FixedStep | Integrator::Reference(_) => bank,
    }
}

fn check(p: &Parts) -> Result<()> {
    let layout = p.craft.layout();
    let surfaces = layout.servo.len() / 2;
    let mut problems = Vec::new();
    let mut lengths = |what: &str, found: usize, wanted: usize| {
        if found != wanted {
            problems.push(Problem::at(
                what,
                format!("has {found} entries, must have {wanted}"),
            ));
        }
    };
    lengths("start", p.start.len(), layout.len());
    lengths("actuators", p.craft.actuators().len(), surfaces);
    lengths("setup.surfaces", p.setup.surfaces.len(), surfaces);
    lengths("thrust", p.thrust_n.len(), layout.thrust.len());
    let (told, taken) = (p.setup.sample_period_s, p.timing.sample_s());
    if (told - taken).abs() > 1e-9 * taken {
        problems.push(Problem::at(
            "sample_period_s",
            format!("is {told} s for the law and {taken} s for the run, must be one"),
        ));
    }
    let finite = p.start.iter().chain(&p.thrust_n).all(|v| v.is_finite())
        && p.components.iter().all(|c| {
            c.omega_rad_s > 0.0
                && [c.omega_rad_s, c.mu_rad, c.amplitude_m, c.phase_rad]
                    .iter()
                    .all(|v| v.is_finite())
        });
    if !finite {
        problems.push(Problem::at(
            p.name.clone(),
            "start, thrust or a wave component is not finite, or a frequency not positive",
        ));
    }
    if problems.is_empty() {
        Ok(())
    } else {
        Err(Error { problems })
    }
}

/// Finds or appends the elevation channels that sensors, points and contacts need.
fn index(p: &Parts, channels: &mut Vec<WaveChannel>) -> ElevationIndex {
    let mut above = |r: &Vector3<f64>| {
        let wanted = WaveChannel::Elevation { x_m: r.x, y_m: r.y };
        channels
            .iter()
            .position(|c| *c == wanted)
            .unwrap_or_else(|| {
                channels.push(wanted);
                channels.len() - 1
            })
    };
    ElevationIndex {
        origin: above(&Vector3::zeros()),
        points: p.points.iter().map(|q| above(&q.r_m)).collect(),
        heights: p.setup.height_sensors_m.iter().map(&mut above).collect(),
        underside: p.underside.iter().map(|q| above(&q.r_m)).collect(),
        surfaces: p.setup.surfaces.iter().map(|s| above(&s.r_m)).collect(),
    }
}

/// Amplitudes of all channels: the craft's own first, then the appended elevations.
fn bank(p: &Parts, channels: &[WaveChannel], own: usize) -> WaveBank {
    let g = p.craft.g_m_s2();
    let mut amplitudes = vec![Complex64::ZERO; p.components.len() * channels.len()];
    for (c, row) in p
        .components
        .iter()
        .zip(amplitudes.chunks_mut(channels.len()))
    {
        p.craft
            .channel_amplitudes(c.omega_rad_s, c.mu_rad, &mut row[..own]);
        let k = c.omega_rad_s * c.omega_rad_s / g;
        let (sin, cos) = libm::sincos(c.mu_rad);
        for (channel, x) in channels.iter().zip(row).skip(own) {
            if let WaveChannel::Elevation { x_m, y_m } = channel {
                let (s, c) = libm::sincos(-k * (x_m * cos + y_m * sin));
                *x = Complex64::new(c, s);
            }
        }
    }
    WaveBank::new(
        &p.components,
        channels.len(),
        &amplitudes,
        p.craft.speed_m_s(),
        g,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn periods_must_fit() {
        let t = Timing::new(600.0, 60.0, 0.05, 0.1, 0.2).unwrap();
        assert_eq!(
            (t.steps, t.run_in_steps, t.sample_every, t.record_every),
            (13_200, 1200, 2, 4)
        );
        let e = Timing::new(600.0, 60.0, 0.05, 0.12, 0.07).unwrap_err();
        assert_eq!(e.problems.len(), 2);
        assert!(e.to_string().contains("0.1 s would do"), "{e}");
        assert!(Timing::new(600.0, 0.0, 0.0, 0.1, 0.1).is_err());
        assert!(Timing::new(f64::NAN, 0.0, 0.05, 0.1, 0.1).is_err());
        assert!(Timing::new(-5.0, -1.0, 0.05, 0.1, 0.1).is_err());
    }
}
