//! Runs with a fault, measured before and after it.
//!
//! # Equation
//! ```text
//! peak before  max |x(t)|, run-in < t < t_f         peak after  max |x(t)|, t >= t_f
//! settled      last t at which the mean of x over 10 s lies off its mean over the last third by more than
//!              it ever does within the last third
//! ```
//!
//! # Symbols
//! x roll, pitch (deg), vertical acceleration (m/s2); t_f time of the fault (s).
//!
//! # Valid when
//! The run goes on for some minutes after the fault. Peaks after cover a longer time than peaks before when the
//! fault is early: the row without a fault, measured alike, is the yardstick.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `peaks_and_settling_of_a_step`

use serde::Serialize;

use super::LEVEL;
use crate::campaign::stage::{LawPlan, SpeedStage, Stage};
use crate::error::Result;
use crate::math::rng::{Purpose, Stream};
use crate::math::stats::Interval;
use crate::math::stats::sample::mean_interval;
use crate::sim::record::Record;
use crate::sim::run::run;
use crate::spec::failures::{FailureLimitsSpec, FailuresSpec};
use crate::spec::fault::{BreakageSpec, FaultEventSpec, StartSpec};
use crate::spec::orders::{ActionSpec, OrderSpec};
use crate::spec::validate::SPEED_FRAC;
use crate::units::kn;

/// Window of the running mean that tells when a run has settled, s.
const MEAN_S: f64 = 10.0;
/// Speed this near to the one ordered counts as reached, kn.
const REACHED_KN: f64 = 0.25;

/// Largest values and RMS of a stretch of a run.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Peaks {
    /// Largest roll, deg.
    pub roll_deg: f64,
    /// Largest pitch, deg.
    pub pitch_deg: f64,
    /// Largest rise or sinkage, m.
    pub heave_m: f64,
    /// Largest vertical acceleration at each named point, m/s2.
    pub vertical_m_s2: Vec<(String, f64)>,
    /// Roll RMS about its mean, deg.
    pub roll_rms_deg: f64,
    /// Pitch RMS about its mean, deg.
    pub pitch_rms_deg: f64,
    /// Vertical acceleration RMS at each named point, m/s2.
    pub vertical_rms_m_s2: Vec<(String, f64)>,
    /// Contacts of the cross-structure.
    pub contacts: usize,
}

/// One seed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RunMeasure {
    /// Seed.
    pub seed: u64,
    /// Time of the fault, s from the start.
    pub fault_s: f64,
    /// How the run ended when early.
    pub ended: Option<String>,
    /// Time from the fault to that end, s.
    pub ended_after_s: Option<f64>,
    /// From the end of the run-in to the fault.
    pub before: Peaks,
    /// From the fault to the end.
    pub after: Peaks,
    /// Time from the fault until roll and pitch stay about their later means, s; none when the run ended early.
    pub settles_after_s: Option<f64>,
    /// Time from the fault to the first limit passed, s.
    pub limit_after_s: Option<f64>,
    /// That limit.
    pub limit: Option<String>,
    /// Time from the fault to the speed ordered, s; of runs with such an order.
    pub slowed_after_s: Option<f64>,
}

impl RunMeasure {
    pub(super) fn to_limit_s(&self) -> f64 {
        self.limit_after_s.unwrap_or(f64::INFINITY)
    }
}

/// Means over seeds with their intervals.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Spread {
    /// Largest roll before, deg.
    pub roll_before_deg: Interval,
    /// Largest roll after, deg.
    pub roll_after_deg: Interval,
    /// Largest pitch before, deg.
    pub pitch_before_deg: Interval,
    /// Largest pitch after, deg.
    pub pitch_after_deg: Interval,
    /// Largest vertical acceleration at any point before, m/s2.
    pub vertical_before_m_s2: Interval,
    /// Largest vertical acceleration at any point after, m/s2.
    pub vertical_after_m_s2: Interval,
    /// Roll RMS after, deg.
    pub roll_rms_deg: Interval,
    /// Pitch RMS after, deg.
    pub pitch_rms_deg: Interval,
    /// Vertical acceleration RMS after at the first named point, m/s2.
    pub vertical_rms_m_s2: Interval,
    /// Contacts after, a run.
    pub contacts: Interval,
    /// Time to settle, s, of the runs that did.
    pub settles_after_s: Interval,
}

impl Spread {
    /// Of the runs of a row.
    pub fn of(runs: &[RunMeasure]) -> Self {
        let over = |f: &dyn Fn(&RunMeasure) -> f64| {
            let x: Vec<f64> = runs.iter().map(f).filter(|v| v.is_finite()).collect();
            mean_interval(&x, LEVEL)
        };
        Spread {
            roll_before_deg: over(&|r| r.before.roll_deg),
            roll_after_deg: over(&|r| r.after.roll_deg),
            pitch_before_deg: over(&|r| r.before.pitch_deg),
            pitch_after_deg: over(&|r| r.after.pitch_deg),
            vertical_before_m_s2: over(&|r| greatest(&r.before.vertical_m_s2)),
            vertical_after_m_s2: over(&|r| greatest(&r.after.vertical_m_s2)),
            roll_rms_deg: over(&|r| r.after.roll_rms_deg),
            pitch_rms_deg: over(&|r| r.after.pitch_rms_deg),
            vertical_rms_m_s2: over(&|r| first(&r.after.vertical_rms_m_s2)),
            contacts: over(&|r| r.after.contacts as f64),
            settles_after_s: over(&|r| r.settles_after_s.unwrap_or(f64::NAN)),
        }
    }
}

fn greatest(all: &[(String, f64)]) -> f64 {
    all.iter().map(|v| v.1).fold(0.0, f64::max)
}

fn first(all: &[(String, f64)]) -> f64 {
    all.first().map_or(f64::NAN, |v| v.1)
}

/// Runs in which the order to slow down is given.
pub(super) struct Slowing {
    /// Mean time from the fault to the speed ordered, s, when every seed reached it.
    pub(super) slowed_after_s: Option<f64>,
    /// Seeds that pass a limit or end before they have slowed down.
    pub(super) passed: u64,
}

/// The runs of one row.
pub(super) struct Runs<'a> {
    pub(super) stage: &'a Stage,
    pub(super) speed: &'a SpeedStage,
    pub(super) spec: &'a FailuresSpec,
    pub(super) heading_deg: f64,
    pub(super) faults: &'a [BreakageSpec],
}

impl Runs<'_> {
    /// Every seed, nobody slowing down.
    pub(super) fn free(&self, plan: &LawPlan) -> Result<Vec<RunMeasure>> {
        let seeds = self.stage.scenario.seeds.iter();
        seeds.map(|s| self.one(plan, *s, None)).collect()
    }

    /// Every seed with the order to slow down to a speed; none where that is further than a run's tables reach.
    pub(super) fn slowing(&self, plan: &LawPlan, to_kn: f64) -> Result<Option<Slowing>> {
        if to_kn < (1.0 - SPEED_FRAC) * self.speed.speed_kn {
            return Ok(None);
        }
        let seeds = self.stage.scenario.seeds.iter();
        let runs = seeds
            .map(|s| self.one(plan, *s, Some(to_kn)))
            .collect::<Result<Vec<_>>>()?;
        let times: Option<Vec<f64>> = runs.iter().map(|r| r.slowed_after_s).collect();
        let lost = |r: &&RunMeasure| {
            let slowed = r.slowed_after_s.unwrap_or(f64::INFINITY);
            r.to_limit_s() <= slowed || r.ended.is_some()
        };
        Ok(Some(Slowing {
            slowed_after_s: times.map(|t| crate::math::stats::mean(&t)),
            passed: runs.iter().filter(lost).count() as u64,
        }))
    }

    fn one(&self, plan: &LawPlan, seed: u64, to_kn: Option<f64>) -> Result<RunMeasure> {
        // the draw of the first event of a fault file, alike for all faults and laws of a seed
        let [first, last] = self.spec.breaks_within_s;
        let fault_s = Stream::with_index(seed, 0, Purpose::Failures, 0).uniform_in(first, last);
        let events: Vec<FaultEventSpec> = self
            .faults
            .iter()
            .map(|f| FaultEventSpec {
                start: StartSpec::AtS(fault_s),
                lasts_s: None,
                fault: f.clone(),
            })
            .collect();
        let mut orders = self.stage.scenario.orders.clone();
        if let Some(v) = to_kn {
            orders.push(OrderSpec {
                at_s: fault_s + self.spec.reaction_s,
                order: ActionSpec::SpeedKn(v),
            });
        }
        let case = self
            .stage
            .case_ordered(self.speed, self.heading_deg, seed, &events, &orders)?;
        let mut law = plan.make()?;
        let result = run(&case, law.as_mut());
        let mut out = measured(&result.record, fault_s, &self.spec.limits);
        out.seed = seed;
        if !result.outcome.is_completed() {
            out.ended = Some(result.outcome.to_string());
            out.ended_after_s = result.outcome.ended_s().map(|t| t - fault_s);
            out.settles_after_s = None;
        }
        out.slowed_after_s = to_kn.and_then(|v| reached(&result.record, fault_s, v));
        Ok(out)
    }
}

fn column<'a>(record: &'a Record, name: &str) -> &'a [f64] {
    record.column(name).map_or(&[], |c| &c.data)
}

fn reached(record: &Record, fault_s: f64, to_kn: f64) -> Option<f64> {
    let u = column(record, "u");
    let slow = |i: &usize| record.time_s(*i) >= fault_s && u[*i] <= kn(to_kn + REACHED_KN);
    (0..u.len()).find(slow).map(|i| record.time_s(i) - fault_s)
}

/// Measures a record with a fault at `fault_s`; seed and ending are the caller's.
pub(super) fn measured(record: &Record, fault_s: f64, limits: &FailureLimitsSpec) -> RunMeasure {
    let at = ((fault_s / record.interval_s).ceil() as usize).min(record.len());
    let begin = record.run_in_samples.min(at);
    let (limit_after_s, limit) = first_limit(record, at, fault_s, limits).unzip();
    RunMeasure {
        seed: 0,
        fault_s,
        ended: None,
        ended_after_s: None,
        before: peaks(record, begin, at),
        after: peaks(record, at, record.len()),
        settles_after_s: settled(record, at),
        limit_after_s,
        limit,
        slowed_after_s: None,
    }
}

fn peaks(record: &Record, from: usize, to: usize) -> Peaks {
    let part = |name: &str| {
        let x = column(record, name);
        &x[from.min(x.len())..to.min(x.len())]
    };
    let peak = |name: &str| part(name).iter().fold(0.0, |m: f64, v| m.max(v.abs()));
    let points = points(record);
    let each = |f: &dyn Fn(&str) -> f64| {
        let named = points
            .iter()
            .map(|p| (p.clone(), f(&format!("{p}.acc_up"))));
        named.collect::<Vec<_>>()
    };
    let (t0, t1) = (record.time_s(from), record.time_s(to));
    let inside = |t: f64| t >= t0 && t < t1;
    Peaks {
        roll_deg: peak("roll").to_degrees(),
        pitch_deg: peak("pitch").to_degrees(),
        heave_m: peak("heave_up"),
        vertical_m_s2: each(&|n| peak(n)),
        roll_rms_deg: rms(part("roll")).to_degrees(),
        pitch_rms_deg: rms(part("pitch")).to_degrees(),
        vertical_rms_m_s2: each(&|n| rms(part(n))),
        contacts: record.contacts.iter().filter(|c| inside(c.begin_s)).count(),
    }
}

fn points(record: &Record) -> Vec<String> {
    let names = record.columns.iter().map(|c| c.name.as_str());
    names
        .filter_map(|n| n.strip_suffix(".acc_up").map(str::to_owned))
        .collect()
}

fn rms(x: &[f64]) -> f64 {
    if x.is_empty() {
        return f64::NAN;
    }
    let mean = crate::math::stats::mean(x);
    (x.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / x.len() as f64).sqrt()
}

/// Time from the fault to the first limit passed, and its words.
fn first_limit(
    record: &Record,
    at: usize,
    fault_s: f64,
    limits: &FailureLimitsSpec,
) -> Option<(f64, String)> {
    let mut watched = vec![
        (
            "roll".to_owned(),
            limits.roll_deg.to_radians(),
            "roll".to_owned(),
        ),
        (
            "pitch".to_owned(),
            limits.pitch_deg.to_radians(),
            "pitch".to_owned(),
        ),
    ];
    watched.extend(points(record).into_iter().map(|p| {
        (
            format!("{p}.acc_up"),
            limits.vertical_m_s2,
            format!("acceleration at {p}"),
        )
    }));
    let firsts = watched.into_iter().filter_map(|(name, most, words)| {
        let x = column(record, &name);
        let i = (at..x.len()).find(|i| x[*i].abs() > most)?;
        Some((record.time_s(i) - fault_s, words))
    });
    firsts.min_by(|a, b| a.0.total_cmp(&b.0))
}

/// Time from sample `at` until the running means of roll and pitch stay as near to their mean over the last third
/// as they do within it, s.
fn settled(record: &Record, at: usize) -> Option<f64> {
    let of = |name: &str| {
        settled_at(
            &column(record, name)[at.min(record.len())..],
            record.interval_s,
        )
    };
    Some(of("roll")?.max(of("pitch")?))
}

fn settled_at(x: &[f64], interval_s: f64) -> Option<f64> {
    let width = ((MEAN_S / interval_s).round() as usize).max(1);
    if x.len() < 6 * width {
        return None;
    }
    let mut sum: f64 = x[..width].iter().sum();
    let mut means = vec![sum / width as f64];
    for i in width..x.len() {
        sum += x[i] - x[i - width];
        means.push(sum / width as f64);
    }
    let last = &means[means.len() * 2 / 3..];
    let centre = crate::math::stats::mean(last);
    let band = last.iter().fold(0.0, |m: f64, v| m.max((v - centre).abs()));
    let off = means.iter().rposition(|v| (v - centre).abs() > band);
    // the window's first sample stands for it: from there on the mean is settled
    Some(off.map_or(0.0, |i| (i + 1) as f64 * interval_s))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A step of pitch at 100 s that decays to a new mean with a time constant of 10 s.
    #[test]
    fn peaks_and_settling_of_a_step() {
        let mut record = Record::new(0.1, 100);
        for name in ["roll", "pitch", "heave_up", "bridge.acc_up"] {
            record.add(name, "rad", name, 4000);
        }
        for i in 0..4000 {
            let t = 0.1 * f64::from(i);
            let wave = 0.01 * (t * 0.8).sin();
            let decay = if t < 100.0 {
                0.0
            } else {
                0.1 + 0.1 * (-(t - 100.0) / 10.0).exp()
            };
            for (column, v) in [(0, wave), (1, wave + decay), (2, 0.0), (3, 0.0)] {
                record.columns[column].data.push(v);
            }
        }
        let limits = FailureLimitsSpec::default();
        let m = measured(&record, 100.0, &limits);
        assert!((m.before.pitch_deg - 0.01_f64.to_degrees()).abs() < 0.01);
        assert!(
            m.after.pitch_deg > 0.19_f64.to_degrees(),
            "{}",
            m.after.pitch_deg
        );
        assert_eq!(m.limit.as_deref(), Some("pitch"));
        assert!(m.limit_after_s.unwrap() < 0.2);
        // the running mean over 10 s of a wave of 7.9 s wobbles by 0.0021; the decay, 0.17 at once in the mean, is
        // that small after 10 ln(0.063 / 0.002) = 34 s and never seen again
        let s = m.settles_after_s.unwrap();
        assert!((20.0..50.0).contains(&s), "{s}");
    }
}
