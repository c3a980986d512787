//! The loop: one case, one law, one thread, no input or output.
//!
//! # Order within a step
//! 1. faults that start or end, commands that are due come into force, the backlash takes up, wind is read;
//! 2. the rate k1 at t, and with it the accelerations, which commands of the same instant cannot change;
//! 3. at a sample: truth, sensors, orders that are due, course and speed hold, law, new commands; the rows of k1 that
//!    depend on commands are written anew;
//! 4. at a record interval: one sample of every column;
//! 5. contacts, saturation, observers;
//! 6. servos at t + h/2 and t + h (they know nothing of the water), waves there, the step itself (the plant's predictor and
//!    corrector, which leaves the rate at t + h for 2, or the other three stages of Runge-Kutta), the checks.
//!
//! Time is the step's index times h. What changes abruptly lies on the edges of steps, but for commands to servos.
//!
//! # Checked by
//! `tests` of this module (toy craft with known solution), `tests/physics_limits.rs`,
//! `tests/time_vs_frequency.rs`, `tests/determinism.rs`.

use super::case::{Case, Integrator};
use super::checks::{self, Warning};
use super::columns::{Sample, Writer};
use super::contact::ContactWatch;
use super::craft::Craft;
use super::faults::Active;
use super::held::Held;
use super::observer::{Observer, View};
use super::orders::{Action, Happening};
use super::outcome::Outcome;
use super::record::Record;
use super::sensing;
use super::truth::Truth;
use super::waves::{Direct, Track, WaveBank};
use crate::control::Controller;
use crate::control::modes::Order;
use crate::control::monitor::finding::Finding;
use crate::control::signal::{FinCommand, Measurement, Trace};
use crate::dynamics::course::{HeadingHold, SpeedHold};
use crate::dynamics::plant::PlantInput;
use crate::dynamics::plant::march::March;
use crate::dynamics::state::StateLayout;
use crate::error::Error;
use crate::frames::Wrench;
use crate::math::ode::{Reference, Rk4};

/// A surface counts as at its angle limit within this much of it, rad (a tenth of a degree).
const AT_LIMIT_RAD: f64 = 0.1 * std::f64::consts::PI / 180.0;
/// A servo counts as at its rate limit above this share of it.
const AT_RATE_FRAC: f64 = 0.98;

/// What a run gives back.
#[derive(Clone, Debug)]
pub struct Run {
    /// The samples, also of a run that ended early.
    pub record: Record,
    /// How it ended.
    pub outcome: Outcome,
    /// What may spoil the result.
    pub warnings: Vec<Warning>,
    /// The state at the end.
    pub end_state: Vec<f64>,
    /// Evaluations of the derivative.
    pub evaluations: u64,
}

/// Runs a case under a law.
pub fn run(case: &Case, law: &mut dyn Controller) -> Run {
    run_observed(case, law, &mut [])
}

/// Runs a case under a law, watched.
pub fn run_observed(
    case: &Case,
    law: &mut dyn Controller,
    observers: &mut [&mut dyn Observer],
) -> Run {
    let mut l = Loop::new(case);
    let outcome = match law.reset(&case.parts.setup) {
        Ok(()) => l.go(law, observers),
        Err(error) => Outcome::ControllerFailed { t_s: 0.0, error },
    };
    l.finish(outcome)
}

/// Inputs of the plant that hold over a step.
struct Inputs {
    held: Held,
    angle_rad: Vec<f64>,
    rate_limit_rad_s: Vec<f64>,
    thrust_n: Vec<f64>,
    wind: Wrench,
}

impl Inputs {
    fn with<'a>(&'a self, waves: &'a [f64]) -> PlantInput<'a> {
        PlantInput {
            waves,
            command_rad: &self.held.command_rad,
            surface_hold_rad: &self.angle_rad,
            rate_limit_rad_s: &self.rate_limit_rad_s,
            thrust_n: &self.thrust_n,
            wind: self.wind,
        }
    }
}

/// Where the wave sums come from.
#[allow(clippy::large_enum_variant)] // one of it per run
enum Source {
    Recurrence { bank: WaveBank, track: Track },
    Direct { method: Reference, sums: Direct },
}

impl Source {
    /// Wave sums at the start of the step.
    fn now(&self) -> &[f64] {
        match self {
            Source::Recurrence { bank, .. } => bank.at_end(),
            Source::Direct { sums, .. } => sums.channels(),
        }
    }
}

struct Loop<'a> {
    case: &'a Case,
    craft: &'a dyn Craft,
    source: Source,
    /// The craft's predictor and corrector; Runge-Kutta without it.
    march: Option<March<'a>>,
    /// The rates must be formed anew: something has jumped since the march left them.
    stale: bool,
    rk4: Rk4,
    x: Vec<f64>,
    before: Vec<f64>,
    rate: Vec<f64>,
    /// At the start of the step.
    truth: Truth,
    inputs: Inputs,
    heading: Option<HeadingHold>,
    speed: Option<SpeedHold>,
    senses: sensing::Senses,
    y: Measurement,
    u: FinCommand,
    trace: Trace,
    writer: Option<Writer>,
    lift_n: Vec<f64>,
    demand_rad_s: Vec<f64>,
    /// Transition of each servo over half a step.
    free_motion: Vec<[f64; 4]>,
    /// Angle and rate of each servo at the middle and the end of the step.
    servo_path: Vec<[(f64, f64); 2]>,
    contacts: ContactWatch,
    gust_m_s: f64,
    at_limit: Vec<u64>,
    judged_steps: u64,
    evaluations: u64,
    next_order: usize,
    /// Faults of the case; none when nothing breaks within the run.
    faults: Option<Active<'a>>,
    /// The march is that of another craft since the last step.
    march_begins: bool,
    /// State with held surfaces in place, for the reference integrator.
    scratch: Vec<f64>,
    happenings: Vec<Happening>,
    findings: Vec<Finding>,
    most_yaw_rad: f64,
    /// The case did not go by the integrator that it asks for.
    other_way: Option<Warning>,
}

impl<'a> Loop<'a> {
    fn new(case: &'a Case) -> Self {
        let p = &case.parts;
        let craft: &dyn Craft = &*p.craft;
        let (x, surfaces) = (p.start.clone(), p.setup.surfaces.len());
        let source = match p.integrator {
            Integrator::FixedStep | Integrator::PredictorCorrector => {
                let mut bank = case.bank.clone();
                bank.start(p.timing.step_s, 0, [x[0], x[1]]);
                Source::Recurrence {
                    bank,
                    track: Track::default(),
                }
            }
            Integrator::Reference(tolerance) => Source::Direct {
                method: Reference::new(tolerance),
                sums: Direct::default(),
            },
        };
        let march = match p.integrator {
            Integrator::PredictorCorrector => craft.march(p.timing.step_s),
            Integrator::FixedStep | Integrator::Reference(_) => None,
        };
        let half_s = 0.5 * p.timing.step_s;
        let u = FinCommand::at_trim(&p.setup);
        let angle_rad = (0..surfaces).map(|i| x[craft.layout().angle(i)]).collect();
        let faults = Active::new(case);
        let late = faults.as_ref().map_or(0, Active::most_late_halves);
        let told = faults.as_ref().map_or(0, Active::most_happenings);
        Loop {
            case,
            craft,
            source,
            march,
            stale: true,
            rk4: Rk4::new(x.len()),
            before: x.clone(),
            truth: Truth::new(0.0, &x, &vec![0.0; x.len()], craft.g_m_s2()),
            rate: vec![0.0; x.len()],
            inputs: Inputs {
                held: Held::new(
                    u.fin_rad.clone(),
                    case.delay_halves.clone(),
                    2 * p.timing.sample_every,
                )
                .with_room(late, 2 * p.timing.sample_every),
                angle_rad,
                rate_limit_rad_s: craft.actuators().iter().map(|a| a.max_rate_rad_s).collect(),
                thrust_n: p.thrust_n.clone(),
                wind: Wrench::zeros(),
            },
            heading: p.heading.clone(),
            speed: p.speed.clone(),
            senses: sensing::Senses::new(case),
            y: Measurement::at_trim(&p.setup),
            u,
            trace: Trace::default(),
            writer: None,
            lift_n: vec![0.0; surfaces],
            demand_rad_s: vec![0.0; surfaces],
            free_motion: craft
                .actuators()
                .iter()
                .map(|a| a.free_motion(half_s))
                .collect(),
            servo_path: vec![[(0.0, 0.0); 2]; surfaces],
            contacts: ContactWatch::new(p.underside.len()),
            gust_m_s: 0.0,
            at_limit: vec![0; surfaces],
            judged_steps: 0,
            evaluations: 0,
            next_order: 0,
            happenings: Vec::with_capacity(p.orders.len() + told),
            findings: Vec::new(),
            faults,
            march_begins: false,
            scratch: x.clone(),
            most_yaw_rad: 0.0,
            other_way: None,
            x,
        }
    }

    fn go(&mut self, law: &mut dyn Controller, observers: &mut [&mut dyn Observer]) -> Outcome {
        let timing = self.case.parts.timing;
        if let Some(h) = &mut self.heading {
            h.reset();
        }
        if let Some(s) = &mut self.speed {
            s.reset();
        }
        for step in 0..=timing.steps {
            let t_s = timing.at_s(step);
            let sample = step.is_multiple_of(timing.sample_every);
            self.begin(step, t_s, sample);
            if !sample {
                self.between_samples();
            } else if let Err(error) = self.sample(step, t_s, law) {
                return Outcome::ControllerFailed { t_s, error };
            }
            if step.is_multiple_of(timing.record_every) {
                self.record(law);
            }
            self.watch(step, t_s);
            if self.observed(step, observers) {
                return Outcome::Stopped { t_s };
            }
            if step == timing.steps {
                break;
            }
            let end_s = timing.at_s(step + 1);
            if let Err(outcome) = self.advance(step, t_s, end_s) {
                return outcome;
            }
            self.meet_stops();
            let p = &self.case.parts;
            let verdict = p
                .limits
                .verdict(end_s, &self.x, &self.before, self.craft.layout());
            if let Some(outcome) = verdict {
                return outcome;
            }
        }
        Outcome::Completed
    }

    /// Due commands, backlash, wind, and the rate at `t_s`.
    fn begin(&mut self, step: u64, t_s: f64, sample: bool) {
        if self.faults.is_some() {
            self.break_down(step, t_s);
        }
        self.inputs.held.arrive(2 * step);
        for (i, angle) in self.inputs.angle_rad.iter_mut().enumerate() {
            *angle = self.craft.surface_angle_rad(i, &self.x, *angle);
        }
        self.no_backlash_when_held();
        if !sample {
            self.share_supplies(); // at a sample once the new commands are there
        }
        if let Some(wind) = &self.case.parts.wind {
            if sample {
                self.gust_m_s = wind.speed_m_s(t_s);
            }
            self.inputs.wind = wind.wrench(self.gust_m_s, &self.x);
        }
        if let Source::Direct { sums, .. } = &mut self.source {
            self.case.bank.direct(t_s, [self.x[0], self.x[1]], sums);
        }
        self.rate_now(step);
        self.truth = Truth::new(t_s, &self.x, &self.rate, self.craft.g_m_s2());
    }

    /// The rate at the start of the step, unless the march has left it.
    fn rate_now(&mut self, step: u64) {
        let begins = std::mem::take(&mut self.march_begins) || step == 0;
        if begins && self.march.is_none() {
            self.told_of(step, "the craft has no predictor and corrector");
        }
        let input = self.inputs.with(self.source.now());
        if begins
            && let Some(march) = &mut self.march
            && !march.start(&self.x, &input)
        {
            self.march = None;
            self.told_of(step, "the step is too long for the craft's fastest motion");
        }
        let input = self.inputs.with(self.source.now());
        match &mut self.march {
            Some(march) if !self.stale => {
                // the last step left them, in the wind of that step
                if self.case.parts.wind.is_some() {
                    march.rates(&input.wind, &mut self.rate);
                }
                return;
            }
            Some(march) => march.now(&self.x, &input, &mut self.rate),
            None => self.craft.derivative(&self.x, &input, &mut self.rate),
        }
        self.stale = false;
        self.evaluations += 1;
    }

    /// Remembers why the case does not go by the integrator that it asks for.
    fn told_of(&mut self, step: u64, cause: &'static str) {
        let p = &self.case.parts;
        if p.integrator == Integrator::PredictorCorrector && self.other_way.is_none() {
            self.other_way = Some(Warning::OtherIntegrator {
                from_s: p.timing.at_s(step),
                cause,
            });
        }
    }

    /// Sensors, course and speed hold, law, and its commands on their way.
    fn sample(&mut self, step: u64, t_s: f64, law: &mut dyn Controller) -> Result<(), Error> {
        let truth = self.truth;
        let exposure = sensing::Exposure {
            truth: &truth,
            waves: self.source.now(),
            angle_rad: &self.inputs.angle_rad,
            thrust_n: &self.x[self.craft.layout().thrust.clone()],
        };
        self.senses.read(self.case, &exposure, &mut self.y);
        if let Some(f) = &mut self.faults {
            f.sense(t_s, &mut self.y);
        }
        self.obey(t_s, law)?;
        let (y, u) = (&self.y, &mut self.u);
        let actuators = self.craft.actuators();
        for ((a, min), max) in actuators.iter().zip(&mut u.min_rad).zip(&mut u.max_rad) {
            (*min, *max) = a.angle_range_rad(y.speed_m_s);
        }
        if let Some(h) = &mut self.heading {
            h.update(y.heading_rad, y.rates_rad_s.z, &mut u.fin_rad);
        }
        if let Some(s) = &mut self.speed {
            s.update(y.speed_m_s, &mut self.inputs.thrust_n);
            if let Some(f) = &mut self.faults {
                f.cut_thrust(true, &mut self.inputs.thrust_n);
            }
        }
        let setup = &self.case.parts.setup;
        if self.faults.as_mut().is_none_or(|f| f.law_runs(setup, u)) {
            law.update(t_s, y, u)?;
        }
        if !u.fin_rad.iter().all(|v| v.is_finite()) {
            u.check(&law.info().name, &self.case.parts.setup, t_s)?;
        }
        if let Some(h) = &self.heading {
            h.insist(&mut u.fin_rad); // a hand on the helm wins over a law that steers
        }
        if let Some(words) = law.notice() {
            self.happenings.push(Happening { t_s, words });
        }
        while let Some(finding) = law.finding() {
            self.findings.push(finding);
        }
        for (a, angle) in actuators.iter().zip(&mut u.fin_rad) {
            *angle = a.clamp_command(*angle, y.speed_m_s);
        }
        let late = self.faults.as_ref().map_or(0, Active::late_halves);
        self.inputs.held.issue(2 * step + late, &self.u.fin_rad);
        self.inputs.held.arrive(2 * step);
        self.share_supplies();
        let waves = self.source.now();
        self.craft
            .command_rows(&self.x, &self.inputs.with(waves), &mut self.rate);
        Ok(())
    }

    /// Passes on the orders that are due.
    fn obey(&mut self, t_s: f64, law: &mut dyn Controller) -> Result<(), Error> {
        let case = self.case;
        // times are decimal, steps are not quite
        let early_s = 1e-6 * case.parts.timing.step_s;
        while let Some(e) = case.parts.orders.get(self.next_order) {
            if e.at_s > t_s + early_s {
                break;
            }
            self.next_order += 1;
            self.happenings.push(Happening {
                t_s,
                words: e.words.clone(),
            });
            let heading_rad = self.y.heading_rad;
            match (e.action, &mut self.heading, &mut self.speed) {
                (Action::Law(order), ..) => law.order(&order)?,
                (Action::Speed(u), _, Some(s)) => {
                    s.order(u);
                    law.order(&Order::Speed(u))?;
                }
                (Action::Course(change_rad), Some(h), _) => h.turn_by(change_rad, heading_rad),
                (Action::Rudder(angle_rad), Some(h), _) => h.hold(angle_rad),
                (Action::Release, h, _) => {
                    if let Some(h) = h {
                        h.release(heading_rad);
                    }
                    law.order(&Order::Release(None))?;
                }
                _ => {
                    return Err(Error::with_hint(
                        format!("nobody on board can obey `{}`", e.words),
                        "let rudders and thrust keep the course: \"course\": {\"kept\": {}}",
                    ));
                }
            }
        }
        Ok(())
    }

    /// Speed, course and rudder ordered.
    fn ordered(&self) -> [f64; 3] {
        let (h, s) = (self.heading.as_ref(), self.speed.as_ref());
        [
            s.map_or(0.0, SpeedHold::speed_m_s),
            h.map_or(0.0, HeadingHold::course_rad),
            h.and_then(HeadingHold::held_rad).unwrap_or(0.0),
        ]
    }

    /// Filters and delays of the sensors between samples.
    fn between_samples(&mut self) {
        if self.senses.have_memory() {
            let truth = self.truth;
            let exposure = sensing::Exposure {
                truth: &truth,
                waves: self.source.now(),
                angle_rad: &self.inputs.angle_rad,
                thrust_n: &self.x[self.craft.layout().thrust.clone()],
            };
            self.senses.advance(self.case, &exposure);
        }
    }

    fn record(&mut self, law: &dyn Controller) {
        let truth = self.truth;
        self.trace.clear();
        law.trace(&mut self.trace);
        let mut writer = match self.writer.take() {
            Some(w) => w,
            None => Writer::new(self.case, &self.trace),
        };
        let mut lift_n = std::mem::take(&mut self.lift_n);
        let waves = self.source.now();
        match &self.march {
            Some(march) => march.lift_n(&mut lift_n),
            None => self
                .craft
                .lift_n(&self.x, &self.inputs.with(waves), &mut lift_n),
        }
        writer.write(
            self.case,
            &Sample {
                truth: &truth,
                x: &self.x,
                waves,
                angle_rad: &self.inputs.angle_rad,
                command_rad: &self.inputs.held.command_rad,
                lift_n: &lift_n,
                trace: &self.trace,
                ordered: self.ordered(),
            },
        );
        self.lift_n = lift_n;
        self.writer = Some(writer);
    }

    /// Contacts and saturation.
    fn watch(&mut self, step: u64, t_s: f64) {
        let p = &self.case.parts;
        let in_run_in = step < p.timing.run_in_steps;
        let turns = !p.orders.is_empty() || self.faults.is_some();
        if turns && !p.components.is_empty() {
            let yaw_rad = self.x[StateLayout::EULER.start + 2];
            self.most_yaw_rad = self.most_yaw_rad.max(yaw_rad.abs());
        }
        if !p.underside.is_empty() {
            let truth = self.truth;
            let waves = self.source.now();
            for (i, (q, at)) in p.underside.iter().zip(&self.case.at.underside).enumerate() {
                let depth = truth.depth_m(&q.r_m) + p.own_wave_factor * waves[*at];
                self.contacts.see(i, depth, t_s, in_run_in);
            }
        }
        if in_run_in {
            return;
        }
        self.judged_steps += 1;
        let layout = self.craft.layout();
        let (min, max) = (&self.u.min_rad, &self.u.max_rad);
        for (i, n) in self.at_limit.iter_mut().enumerate() {
            let (angle, rate) = (self.x[layout.angle(i)], self.x[layout.rate(i)]);
            let at_angle = angle <= min[i] + AT_LIMIT_RAD || angle >= max[i] - AT_LIMIT_RAD;
            let limit = self.inputs.rate_limit_rad_s[i]; // zero without supply: no servo to be at it
            let at_rate = limit > 0.0 && rate.abs() >= AT_RATE_FRAC * limit;
            *n += u64::from(max[i] > min[i] && (at_angle || at_rate));
        }
    }

    fn observed(&self, step: u64, observers: &mut [&mut dyn Observer]) -> bool {
        let mut stop = false;
        for o in observers {
            if step.is_multiple_of(o.every_n().max(1)) {
                let truth = self.truth;
                let view = View {
                    step,
                    steps: self.case.parts.timing.steps,
                    truth: &truth,
                    state: &self.x,
                    command_rad: &self.inputs.held.command_rad,
                };
                stop |= o.see(&view).is_break();
            }
        }
        stop
    }

    fn finish(self, outcome: Outcome) -> Run {
        let p = &self.case.parts;
        let mut record = match self.writer {
            Some(w) => w.finish(),
            None => Record::default(),
        };
        let judged = self.judged_steps.max(1) as f64;
        record.contacts = self.contacts.events;
        record.happenings = self.happenings;
        record.findings = self.findings;
        record.saturation_frac = self.at_limit.iter().map(|n| *n as f64 / judged).collect();
        let mut warnings = self.case.warnings.clone();
        let names = p.craft.surface_names();
        if self.most_yaw_rad > checks::OFF_HEADING_RAD {
            warnings.push(Warning::OffHeading {
                yaw_rad: self.most_yaw_rad,
            });
        }
        warnings.extend(self.other_way);
        warnings.extend(checks::saturation(&names, &record.saturation_frac));
        Run {
            record,
            outcome,
            warnings,
            end_state: self.x,
            evaluations: self.evaluations,
        }
    }
}

mod broken;
mod step;
#[cfg(test)]
mod tests;
