//! A monitor around a law: finds surfaces and sensors that fail, tells, and works around them.
//!
//! # Order of wrapping
//! `law < channels < modes < calibration < monitor`: outermost, in servos' angles, because only there the
//! commands that really go out and the angles that really come back stand beside each other. Orders of a
//! human pass through it first, so that it knows what a hand holds and lets go of it.
//!
//! # Equation
//! ```text
//! alarms       one of n tests, each with a rate of F/n ([`threshold`]), F `false_alarms_per_h`
//! failed fin   commanded to stay at an angle a, reached in `fade_s`:  asked + s (a - asked),  s: 0 -> 1
//!              a: its measured angle, averaged over 2 s;  a slow fin is told and stays under its law: put to trim
//!              it was worth nothing (`ridewright detection`)
//! the others   what the law asks of them, plus what carries the steady load of s (a - trim) ([`counter`])
//! lost rate    derivative of the angle, low-pass 6 rad/s;   lost angle  rates, levelled by gravity, 0.1 rad/s
//! noisy height  told, still used: the mean of all with its noise is better than without it, measured likewise
//! lost angle of a fin   the servo model's;  lost log  the last speed that was good;  lost height  the others
//! ```
//! The law sees true angles and limits less that load, so that its anti-windup knows what it has.
//! Too little left (`least_surfaces`, or neither rate nor angle of roll or pitch): every surface goes to trim. A speed to
//! come down to is told when a row of `advice` holds.
//!
//! # Who wins
//! A human: a fin by hand, and every mode but engaged, get the full ranges at once. Findings last until a human
//! orders a mode; then everything is trusted again and the tests begin anew.
//!
//! # Symbols
//! As in `counter` and `threshold`.
//!
//! # Valid when
//! Faults come one after the other. What cannot be seen: a fault that asks for nothing else than the craft would do,
//! a blade that is gone, small slow drifts. See `ridewright detection` for shares and times.
//!
//! # Source
//! Isermann 2006, Fault-Diagnosis Systems, Springer; Blanke, Kinnaert, Lunze & Staroswiecki 2016, Diagnosis and
//! Fault-Tolerant Control, 3rd ed., Springer, chapter 8; thresholds as in [`threshold`].
//!
//! # Checked by
//! `healthy_readings_pass_untouched`, `stuck_fin_is_found_and_worked_around`, `hand_and_mode_win_over_the_monitor`,
//! `lost_attitude_is_made_from_rates`, tests/monitor.rs

use std::collections::VecDeque;

use super::allocate::lifts;
use super::linear::LinearLaw;
use super::modes::{Mode, Order};
use super::signal::{FinCommand, Measurement, SetPoint, Setup, Trace};
use super::{Controller, ControllerInfo};
use crate::error::Result;
use crate::spec::controller::MonitorSpec;
use crate::spec::craft::SurfaceGroup;
use crate::spec::fault::SensorNameSpec;

mod counter;
pub mod cross;
pub mod finding;
pub mod fins;
pub mod servo;
pub mod signals;
mod substitutes;
pub mod threshold;

use counter::{Counter, Part};
use cross::Cross;
use finding::{Finding, Kind, Target};
use fins::{Fin, Seen, Verdict};
use servo::Servos;
use signals::{Place, Signal};
use substitutes::Substitutes;

/// Time over which the angle of a failed fin is averaged, s.
const MEAN_S: f64 = 2.0;
/// Interval between calls, in sample periods, from which the tests begin anew.
const GAP_PERIODS: f64 = 1.5;

/// A fin that is no longer relied upon.
#[derive(Clone, Copy, Debug)]
struct Loss {
    /// Angle it stands at, rad.
    at_rad: f64,
    /// It follows what is measured.
    follows: bool,
    /// It is worked around; a slow surface is not.
    acts: bool,
    /// How far it is let go of, 0 to 1.
    share: f64,
}

/// What the monitor has made of the craft, after [`Controller::reset`].
#[derive(Clone, Debug)]
struct State {
    setup: Setup,
    servos: Servos,
    fins: Vec<Fin>,
    signals: Vec<Signal>,
    cross: Cross,
    losses: Vec<Option<Loss>>,
    by_hand: Vec<bool>,
    /// Commands of the last sample as they were on its entry: what the helm had asked.
    before_rad: Vec<f64>,
    substitutes: Substitutes,
    seen: Measurement,
    /// Limits of the moment, to be given back.
    limits: FinCommand,
    counter: Counter,
    engaged: bool,
    neutral: bool,
    last_s: Option<f64>,
    advised_kn: f64,
}

/// A law under a monitor.
pub struct Monitored {
    inner: Box<dyn Controller>,
    spec: MonitorSpec,
    state: Option<Box<State>>,
    findings: VecDeque<Finding>,
    notices: VecDeque<String>,
}

impl Monitored {
    /// `inner` with the monitor of its file.
    pub fn new(inner: Box<dyn Controller>, spec: &MonitorSpec) -> Self {
        Monitored {
            inner,
            spec: spec.clone(),
            state: None,
            findings: VecDeque::new(),
            notices: VecDeque::new(),
        }
    }

    fn begin(&self, setup: &Setup) -> State {
        let places = Place::all(setup);
        let tests = setup.surfaces.len() + places.len() + Cross::tests(setup);
        let per_s = self.spec.false_alarms_per_h / 3600.0 / tests as f64;
        let threshold = threshold::sum_threshold(1.0 / (per_s * setup.sample_period_s));
        let fin = |i| Fin::new(setup, i, threshold, self.spec.decide_s);
        State {
            servos: Servos::new(setup),
            fins: (0..setup.surfaces.len()).map(fin).collect(),
            signals: places
                .iter()
                .map(|p| Signal::new(*p, setup, per_s))
                .collect(),
            cross: Cross::new(setup, per_s),
            losses: vec![None; setup.surfaces.len()],
            by_hand: vec![false; setup.surfaces.len()],
            before_rad: setup.surfaces.iter().map(|s| s.trim_rad).collect(),
            substitutes: Substitutes::new(setup),
            seen: Measurement::at_trim(setup),
            limits: FinCommand::at_trim(setup),
            counter: Counter::new(setup),
            engaged: true,
            neutral: false,
            last_s: None,
            advised_kn: f64::INFINITY,
            setup: setup.clone(),
        }
    }

    fn tell(&mut self, t_s: f64, ago_s: f64, target: Target, kind: Kind) {
        let words = format!("monitor: {} {}", target.words(), kind.words());
        self.notices.push_back(words);
        self.findings.push_back(Finding {
            t_s,
            alarm_s: t_s - ago_s,
            target,
            kind,
        });
    }

    /// All tests on one sample.
    fn watch(&mut self, s: &mut State, t_s: f64, y: &Measurement, u: &FinCommand) {
        for k in 0..s.signals.len() {
            if let Some((kind, ago_s)) = s.signals[k].step(y) {
                let target = Target::Sensor(s.sensor(s.signals[k].place));
                self.tell(t_s, ago_s, target, kind);
                if let Place::Surface(i) = s.signals[k].place {
                    s.fins[i].restart();
                }
            }
        }
        let signals = &s.signals;
        let good = |p: Place| signals.iter().any(|q| q.place == p && q.found.is_none());
        if let Some(place) = s.cross.step(y, good) {
            s.distrust(place, Kind::Disagrees);
            self.tell(t_s, 0.0, Target::Sensor(s.sensor(place)), Kind::Disagrees);
        }
        self.watch_fins(s, t_s, y, u);
        self.judge(s);
    }

    fn watch_fins(&mut self, s: &mut State, t_s: f64, y: &Measurement, u: &FinCommand) {
        for (i, before) in s.before_rad.iter_mut().enumerate() {
            // the helm has already written what it asks from now on
            if s.setup.surfaces[i].group != SurfaceGroup::Rudder {
                *before = u.fin_rad[i];
            }
        }
        let losses = &s.losses;
        s.servos.advance(&s.before_rad, |i| losses[i].is_none());
        for i in 0..s.fins.len() {
            let sensor = s.signals.iter().find(|q| q.place == Place::Surface(i));
            let trusted = sensor.is_some_and(|q| q.found.is_none());
            if s.losses[i].is_some() || !trusted || !y.valid.surface[i] {
                continue;
            }
            let seen = Seen {
                angle_rad: y.surface_rad[i],
                model_rad: s.servos.reading_rad(i),
                model_rad_s: s.servos.rate_rad_s(i),
                asked_rad: s.before_rad[i],
            };
            match s.fins[i].step(seen) {
                None => {}
                Some((Verdict::Sensor(kind), ago_s)) => {
                    s.distrust(Place::Surface(i), kind);
                    let target = Target::Sensor(s.sensor(Place::Surface(i)));
                    self.tell(t_s, ago_s, target, kind);
                }
                Some((Verdict::Surface(kind), ago_s)) => {
                    s.losses[i] = Some(Loss {
                        at_rad: y.surface_rad[i],
                        follows: true,
                        acts: kind != Kind::Slow,
                        share: 0.0,
                    });
                    let target = Target::Surface(s.setup.surfaces[i].name.clone());
                    self.tell(t_s, ago_s, target, kind);
                }
            }
        }
        s.before_rad.copy_from_slice(&u.fin_rad);
    }

    /// Neutral and advice.
    fn judge(&mut self, s: &mut State) {
        let count = |group: Option<SurfaceGroup>, lost: bool| {
            let all = s.setup.surfaces.iter().zip(&s.losses);
            all.filter(|(f, l)| {
                lifts(f) && l.is_some() == lost && group.is_none_or(|g| g == f.group)
            })
            .count() as u32
        };
        let blind = (0..2).any(|i| !s.trusts(Place::Rate(i)) && !s.trusts(Place::Attitude(i)));
        let few = count(None, false) < self.spec.least_surfaces && count(None, true) > 0;
        if (blind || few) && !s.neutral {
            s.neutral = true;
            if self.spec.recovers {
                self.notices
                    .push_back("monitor: too little left, surfaces to trim".into());
            }
        }
        let forward = count(Some(SurfaceGroup::Forward), true);
        let aft = count(Some(SurfaceGroup::Aft), true);
        let rows = self.spec.advice.iter();
        let to = rows
            .filter(|a| forward + aft > 0 && forward >= a.forward_lost && aft >= a.aft_lost)
            .map(|a| a.slow_to_kn)
            .fold(f64::INFINITY, f64::min);
        if to < s.advised_kn {
            s.advised_kn = to;
            self.notices.push_back(format!("monitor: slow to {to} kn"));
        }
    }
}

impl State {
    fn sensor(&self, place: Place) -> SensorNameSpec {
        match place {
            Place::Rate(0) => SensorNameSpec::RollRate,
            Place::Rate(1) => SensorNameSpec::PitchRate,
            Place::Rate(_) => SensorNameSpec::YawRate,
            Place::Attitude(0) => SensorNameSpec::Roll,
            Place::Attitude(_) => SensorNameSpec::Pitch,
            Place::Acceleration(0) => SensorNameSpec::AccelerationX,
            Place::Acceleration(1) => SensorNameSpec::AccelerationY,
            Place::Acceleration(_) => SensorNameSpec::AccelerationZ,
            Place::Height(i) => SensorNameSpec::Height {
                height_sensor: i as u32,
            },
            Place::Speed => SensorNameSpec::Speed,
            Place::Heading => SensorNameSpec::Heading,
            Place::Surface(i) => SensorNameSpec::SurfaceAngle {
                surface: self.setup.surfaces[i].name.clone(),
            },
        }
    }

    fn trusts(&self, place: Place) -> bool {
        let mut all = self.signals.iter();
        all.any(|q| q.place == place && q.found.is_none())
    }

    fn distrust(&mut self, place: Place, kind: Kind) {
        for q in self.signals.iter_mut().filter(|q| q.place == place) {
            q.found = Some(kind);
        }
    }

    /// After a gap or an order: tests begin anew, servos stand where they are measured.
    fn restart(&mut self, y: &Measurement) {
        self.signals.iter_mut().for_each(Signal::restart);
        self.cross.restart();
        for i in 0..self.fins.len() {
            self.fins[i].restart();
            if y.valid.surface[i] {
                self.servos.stand(i, y.surface_rad[i]);
            }
        }
    }

    fn forget(&mut self) {
        self.losses.fill(None);
        self.by_hand.fill(false);
        self.signals.iter_mut().for_each(|q| q.found = None);
        (self.neutral, self.advised_kn) = (false, f64::INFINITY);
        self.last_s = None;
    }

    /// Keeps account of what is lost; true when something is and the monitor may act on it.
    fn account(&mut self, y: &Measurement, fade_s: f64) -> bool {
        let t = self.setup.sample_period_s;
        let mut any = false;
        for (i, loss) in self.losses.iter_mut().enumerate() {
            let surface = &self.setup.surfaces[i];
            if !lifts(surface) {
                continue;
            }
            if self.neutral && loss.is_none_or(|l| !l.acts) {
                *loss = Some(Loss {
                    at_rad: surface.trim_rad,
                    follows: false,
                    acts: true,
                    share: 0.0,
                });
            }
            let Some(l) = loss.as_mut().filter(|l| l.acts) else {
                continue;
            };
            if l.follows && y.valid.surface[i] {
                l.at_rad += (t / MEAN_S).min(1.0) * (y.surface_rad[i] - l.at_rad);
            }
            l.share = (l.share + t / fade_s).min(1.0);
            any = true;
        }
        any && self.engaged
    }

    /// The load of what is lost on the others, within the limits of `u`.
    fn balance(&mut self, u: &FinCommand) {
        let (setup, losses, by_hand) = (&self.setup, &self.losses, &self.by_hand);
        let part = |i: usize| match &losses[i] {
            _ if by_hand[i] => Part::Elsewhere,
            None => Part::Carries,
            Some(l) if !l.acts => Part::Elsewhere,
            Some(l) => Part::Stands(l.share * (l.at_rad - setup.surfaces[i].trim_rad)),
        };
        self.counter.balance(setup, part, u);
    }

    /// Leaves the law the limits of `u` less the load that the others carry.
    fn shift(&self, u: &mut FinCommand) {
        for (i, c) in self.counter.angle_rad.iter().enumerate() {
            u.min_rad[i] -= c;
            u.max_rad[i] -= c;
        }
    }
}

impl Controller for Monitored {
    fn info(&self) -> ControllerInfo {
        self.inner.info()
    }

    fn reset(&mut self, setup: &Setup) -> Result<()> {
        self.inner.reset(setup)?;
        setup.check()?;
        self.state = Some(Box::new(self.begin(setup)));
        self.findings.clear();
        self.notices.clear();
        Ok(())
    }

    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        let Some(mut s) = self.state.take() else {
            return Err(super::not_reset(&self.inner.info().name));
        };
        let gap = GAP_PERIODS * s.setup.sample_period_s;
        if s.last_s.is_none_or(|last| t_s - last > gap) {
            s.restart(y);
        }
        s.last_s = Some(t_s);
        self.watch(&mut s, t_s, y, u);
        let done = if self.spec.recovers {
            self.recover(&mut s, t_s, y, u)
        } else {
            self.inner.update(t_s, y, u)
        };
        self.state = Some(s);
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

    /// That of the healthy law.
    fn linear(&self) -> Result<LinearLaw> {
        self.inner.linear()
    }

    fn order(&mut self, order: &Order) -> Result<()> {
        self.inner.order(order)?;
        let Some(s) = &mut self.state else {
            return Ok(());
        };
        match *order {
            Order::Mode(to) => {
                s.forget();
                s.engaged = to == Mode::Engaged;
            }
            Order::Fin { surface, .. } => s.by_hand[surface] = true,
            Order::Release(None) => s.by_hand.fill(false),
            Order::Release(Some(surface)) => s.by_hand[surface] = false,
            Order::SetPoint(_) | Order::Speed(_) | Order::Displacement(_) => {}
        }
        Ok(())
    }

    fn notice(&mut self) -> Option<String> {
        self.notices.pop_front().or_else(|| self.inner.notice())
    }

    fn finding(&mut self) -> Option<Finding> {
        self.findings.pop_front()
    }

    fn trace(&self, out: &mut Trace) {
        if let Some(s) = &self.state {
            let lost = s.losses.iter().filter(|l| l.is_some()).count();
            let doubted = s.signals.iter().filter(|q| q.found.is_some()).count();
            out.push("surfaces_lost", lost as f64);
            out.push("sensors_doubted", doubted as f64);
        }
        self.inner.trace(out);
    }
}

impl Monitored {
    /// The law on readings and ranges made good.
    fn recover(
        &mut self,
        s: &mut State,
        t_s: f64,
        y: &Measurement,
        u: &mut FinCommand,
    ) -> Result<()> {
        s.seen.copy_from(y);
        let signals = &s.signals;
        let usable = |q: &Signal| match q.found {
            None => true,
            Some(kind) => kind == Kind::Noisy && matches!(q.place, Place::Height(_)),
        };
        let good = |p: Place| signals.iter().any(|q| q.place == p && usable(q));
        let servos = &s.servos;
        s.substitutes
            .apply(&mut s.seen, good, |i| servos.reading_rad(i));
        if !s.account(y, self.spec.fade_s) {
            return self.inner.update(t_s, &s.seen, u);
        }
        s.balance(u);
        s.limits.min_rad.copy_from_slice(&u.min_rad);
        s.limits.max_rad.copy_from_slice(&u.max_rad);
        s.shift(u);
        let done = self.inner.update(t_s, &s.seen, u);
        u.min_rad.copy_from_slice(&s.limits.min_rad);
        u.max_rad.copy_from_slice(&s.limits.max_rad);
        for i in (0..u.fin_rad.len()).filter(|&i| !s.by_hand[i]) {
            u.fin_rad[i] += match &s.losses[i] {
                None => s.counter.angle_rad[i],
                Some(l) => l.share * (l.at_rad - u.fin_rad[i]),
            };
        }
        done
    }
}

#[cfg(test)]
mod tests;
