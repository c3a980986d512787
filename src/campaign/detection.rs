//! How soon a monitor finds faults, how often it cries wolf, and what recovery buys.
//!
//! # Equation
//! ```text
//! healthy   N findings in H hours:  N/H with the exact Poisson interval; the first finding of a run counts, and
//!           the run is watched until it (a finding changes what follows)
//! faulty    the first finding at or after the fault's start counts: right when it names the target, wrong when not;
//!           one before is a false alarm and ends the run's say; none is a miss
//! time      from the fault to the finding, of right ones; quantiles with the misses as longer than the run, the
//!           interval of the median from ranks
//! recovery  peak and RMS of roll, pitch and heave about trim from the fault to the end, with less without,
//!           paired on the same sea, sensors and instant; mean and Student interval
//! ```
//!
//! # Symbols
//! N count; H hours watched.
//!
//! # Valid when
//! Runs are independent: one seed each. A run that ends before its time is counted, and left out of the pairs.
//!
//! # Source
//! Garwood 1936, Fiducial limits for the Poisson distribution, Biometrika 28, 437-442; Wilson 1927 for shares; ranks:
//! [`crate::math::stats::order`].
//!
//! # Checked by
//! `first_finding_decides`, tests/monitor.rs

use rayon::prelude::*;
use serde::Serialize;

use super::in_order;
use super::stage::{LawPlan, SpeedStage, Stage};
use crate::control::monitor::finding::{Finding, Target};
use crate::error::{Error, Result};
use crate::math::stats::order::quantile_interval;
use crate::math::stats::sample::{paired_difference, poisson_rate, wilson};
use crate::math::stats::{Interval, quantile};
use crate::sim::faults;
use crate::sim::record::Record;
use crate::sim::run::run;
use crate::spec::craft::SurfaceGroup;
use crate::spec::fault::{
    BreakageSpec, FaultEventSpec, SensorFailureSpec, SensorNameSpec, StartSpec, StopSpec,
    SurfaceFailureSpec,
};

/// Confidence of intervals.
const LEVEL: f64 = 0.95;
/// Judged time of a healthy run, s: long against the five minutes over which a monitor learns.
const HEALTHY_RUN_S: f64 = 1800.0;
/// Seeds of further rounds of healthy runs are the scenario's plus a multiple of this.
const ROUND: u64 = 1_000_003;
/// Motions that are compared.
const MOTIONS: [&str; 3] = ["heave_up", "roll", "pitch"];

/// Healthy running of one law.
#[derive(Clone, Debug, Serialize)]
pub struct Healthy {
    /// Law.
    pub law: String,
    /// Time watched, h.
    pub hours: f64,
    /// False alarms an hour that the thresholds are set for.
    pub set_for_per_h: f64,
    /// Runs with a finding.
    pub false_alarms: usize,
    /// An hour, with its interval.
    pub per_h: Interval,
    /// What was found, and in which case.
    pub found: Vec<(String, Finding)>,
}

/// One fault under one law, all speeds, headings and seeds.
#[derive(Clone, Debug, Serialize)]
pub struct Faulty {
    /// Law.
    pub law: String,
    /// Fault in words.
    pub fault: String,
    /// Runs.
    pub runs: usize,
    /// Runs with a false alarm before the fault.
    pub false_before: usize,
    /// Share of the others in which nothing was found.
    pub missed: Interval,
    /// Share in which something else was named.
    pub wrong: Interval,
    /// Each time from fault to a right finding, s.
    pub times_s: Vec<f64>,
    /// Half of all are found by then, s.
    pub time_50_s: By,
    /// Nine tenths of all are found by then, s.
    pub time_90_s: By,
    /// Runs that ended before their time, recovering and not.
    pub ended_early: [usize; 2],
    /// Recovery less no recovery: motion, peak and RMS, m or rad.
    pub recovery: Vec<Gain>,
}

/// A quantile of the time to a right finding, s; none where so many are not found within the run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct By {
    /// Estimate.
    pub value: Option<f64>,
    /// Lower limit.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
}

/// What recovery buys in one motion, about trim.
#[derive(Clone, Debug, Serialize)]
pub struct Gain {
    /// Motion.
    pub motion: &'static str,
    /// `m` or `rad`.
    pub unit: &'static str,
    /// Mean peak without recovery.
    pub peak_without: f64,
    /// Peak with less without.
    pub peak: Option<Interval>,
    /// Mean RMS without recovery.
    pub rms_without: f64,
    /// RMS with less without.
    pub rms: Option<Interval>,
}

/// Everything.
#[derive(Clone, Debug, Serialize)]
pub struct Detection {
    /// Craft.
    pub craft: String,
    /// Sea.
    pub sea: String,
    /// Healthy running, law by law.
    pub healthy: Vec<Healthy>,
    /// Faults, law by law.
    pub faulty: Vec<Faulty>,
}

/// Single faults of a craft that are tried when none are given: of one forward and one aft surface, and of
/// each kind of sensor. Sizes are invented: such as a watch officer would have to be told of.
pub fn single_faults(stage: &Stage) -> Vec<BreakageSpec> {
    let mut all = Vec::new();
    for group in [SurfaceGroup::Forward, SurfaceGroup::Aft] {
        let mut spec = stage.model.craft.spec.surfaces.iter();
        let Some(s) = spec.find(|s| s.group == group) else {
            continue;
        };
        for failure in [
            SurfaceFailureSpec::Jammed {},
            SurfaceFailureSpec::HardOver {
                stop: StopSpec::Max,
            },
            SurfaceFailureSpec::Slow { rate_frac: 0.1 },
            SurfaceFailureSpec::Trailing {},
            SurfaceFailureSpec::Oscillating {
                amplitude_deg: 5.0,
                frequency_hz: 0.3,
            },
            SurfaceFailureSpec::Lost {},
        ] {
            all.push(BreakageSpec::Surface {
                name: s.name.clone(),
                failure,
            });
        }
        let name = SensorNameSpec::SurfaceAngle {
            surface: s.name.clone(),
        };
        let failure = SensorFailureSpec::Bias { bias: 3.0 };
        all.push(BreakageSpec::Sensor { name, failure });
    }
    let height = SensorNameSpec::Height { height_sensor: 0 };
    for (name, failure) in [
        (SensorNameSpec::Roll, SensorFailureSpec::Frozen {}),
        (SensorNameSpec::Roll, SensorFailureSpec::Bias { bias: 3.0 }),
        (SensorNameSpec::Pitch, SensorFailureSpec::Reversed {}),
        (
            SensorNameSpec::Pitch,
            SensorFailureSpec::Drift { drift_per_min: 2.0 },
        ),
        (
            SensorNameSpec::PitchRate,
            SensorFailureSpec::Bias { bias: 1.0 },
        ),
        (SensorNameSpec::RollRate, SensorFailureSpec::Frozen {}),
        (
            SensorNameSpec::RollRate,
            SensorFailureSpec::Scaled { scale: 0.3 },
        ),
        (
            SensorNameSpec::AccelerationZ,
            SensorFailureSpec::Bias { bias: 0.5 },
        ),
        (height.clone(), SensorFailureSpec::Frozen {}),
        (height.clone(), SensorFailureSpec::Bias { bias: 0.5 }),
        (height, SensorFailureSpec::Noisy { noise: 0.3 }),
        (
            SensorNameSpec::Speed,
            SensorFailureSpec::Bias { bias: -4.0 },
        ),
    ] {
        all.push(BreakageSpec::Sensor { name, failure });
    }
    all
}

/// One case with a law that recovers or not.
struct Job<'a> {
    law: usize,
    speed: &'a SpeedStage,
    heading_deg: f64,
    seed: u64,
}

fn jobs(stage: &Stage) -> Vec<Job<'_>> {
    let mut all = Vec::new();
    for (law, plan) in stage.laws.iter().enumerate() {
        if plan.spec.monitor.is_none() {
            continue;
        }
        for speed in &stage.speeds {
            for &heading_deg in &stage.scenario.headings_deg {
                for &seed in &stage.scenario.seeds {
                    all.push(Job {
                        law,
                        speed,
                        heading_deg,
                        seed,
                    });
                }
            }
        }
    }
    all
}

/// Rounds of healthy runs that make `hours` for each law.
fn rounds(stage: &Stage, jobs: usize, hours: f64) -> u64 {
    let each_s = (HEALTHY_RUN_S + stage.scenario.run_in_s) * jobs.max(1) as f64;
    (hours * 3600.0 / each_s).ceil().clamp(1.0, 1e5) as u64
}

/// How many runs [`detect`] will make.
pub fn count(stage: &Stage, faults: &[BreakageSpec], healthy_h: f64) -> usize {
    let jobs = jobs(stage);
    let watched = stage.laws.iter().filter(|l| l.spec.monitor.is_some());
    let each = jobs.len() / watched.count().max(1);
    jobs.len() * (rounds(stage, each, healthy_h) as usize + 2 * faults.len())
}

/// Runs everything: at least `healthy_h` hours of healthy running for each law, and every fault with and without
/// recovery. `done` is called after every run, from any thread.
///
/// # Errors
/// No law with a monitor; faults that do not fit the craft; a case that cannot be set up.
pub fn detect(
    stage: &mut Stage,
    faults: &[BreakageSpec],
    healthy_h: f64,
    done: &(dyn Fn() + Sync),
) -> Result<Detection> {
    let usual_s = std::mem::replace(&mut stage.scenario.duration_s, HEALTHY_RUN_S);
    let healthy = all_healthy(stage, healthy_h, done);
    stage.scenario.duration_s = usual_s;
    let mut found = Detection {
        craft: stage.model.craft.spec.name.clone(),
        sea: stage.sea.name.clone(),
        healthy: healthy?,
        faulty: Vec::new(),
    };
    let jobs = jobs(stage);
    for (law, plan) in stage.laws.iter().enumerate() {
        let mine: Vec<&Job> = jobs.iter().filter(|j| j.law == law).collect();
        for fault in faults.iter().filter(|_| !mine.is_empty()) {
            found
                .faulty
                .push(faulty(stage, &plan.spec.name, &mine, fault, done)?);
        }
    }
    Ok(found)
}

fn all_healthy(stage: &Stage, hours: f64, done: &(dyn Fn() + Sync)) -> Result<Vec<Healthy>> {
    let jobs = jobs(stage);
    if jobs.is_empty() {
        return Err(Error::with_hint(
            "no law of the scenario has a monitor",
            "give its file a `monitor` block: \"monitor\": {}",
        ));
    }
    let mut all = Vec::new();
    for (law, plan) in stage.laws.iter().enumerate() {
        let mine: Vec<&Job> = jobs.iter().filter(|j| j.law == law).collect();
        if !mine.is_empty() {
            let rounds = rounds(stage, mine.len(), hours);
            all.push(healthy(stage, plan, &mine, rounds, done)?);
        }
    }
    Ok(all)
}

fn healthy(
    stage: &Stage,
    plan: &LawPlan,
    jobs: &[&Job],
    rounds: u64,
    done: &(dyn Fn() + Sync),
) -> Result<Healthy> {
    let again: Vec<(u64, &Job)> = (0..rounds)
        .flat_map(|r| jobs.iter().map(move |j| (r, *j)))
        .collect();
    let runs = in_order(again.par_iter().map(|(round, j)| {
        let seed = j.seed.wrapping_add(round * ROUND);
        let case = stage.case_with_faults(j.speed, j.heading_deg, seed, &[])?;
        let mut law = stage.laws[j.law].make()?;
        let result = run(&case, law.as_mut());
        done();
        let first = result.record.findings.first().cloned();
        let end_s = result.record.len() as f64 * result.record.interval_s;
        Ok((case.parts().name.clone(), end_s, first))
    }))?;
    let seconds: f64 = runs
        .iter()
        .map(|(_, end_s, first)| first.as_ref().map_or(*end_s, |f| f.t_s))
        .sum();
    let found: Vec<_> = runs
        .into_iter()
        .filter_map(|(name, _, first)| first.map(|f| (name, f)))
        .collect();
    let hours = seconds / 3600.0;
    let monitor = plan.spec.monitor.as_ref();
    Ok(Healthy {
        law: plan.spec.name.clone(),
        set_for_per_h: monitor.map_or(0.0, |m| m.false_alarms_per_h),
        hours,
        false_alarms: found.len(),
        per_h: poisson_rate(found.len() as f64, hours, LEVEL),
        found,
    })
}

/// One run after a fault.
#[derive(Clone, Debug)]
struct After {
    from_s: f64,
    findings: Vec<Finding>,
    completed: bool,
    /// Peak and RMS of each of [`MOTIONS`].
    motions: [[f64; 2]; 3],
}

fn faulty(
    stage: &Stage,
    law: &str,
    jobs: &[&Job],
    fault: &BreakageSpec,
    done: &(dyn Fn() + Sync),
) -> Result<Faulty> {
    let s = &stage.scenario;
    let latest_s = s.run_in_s + 0.1 * s.duration_s;
    let events = [FaultEventSpec {
        start: StartSpec::WithinS([s.run_in_s, latest_s]),
        lasts_s: None,
        fault: fault.clone(),
    }];
    let words = faults::resolve(&events, &stage.model.craft.spec, 0, 0)?
        .first()
        .map_or_else(String::new, |f| f.words.clone());
    let pairs = in_order(jobs.par_iter().map(|j| {
        Ok([
            after(stage, j, &events, true, done)?,
            after(stage, j, &events, false, done)?,
        ])
    }))?;
    let target = target_of(fault);
    let says: Vec<Say> = pairs.iter().map(|p| say(&p[0], target.as_ref())).collect();
    let count = |of: fn(&Say) -> bool| says.iter().filter(|s| of(s)).count();
    let times_s: Vec<f64> = says
        .iter()
        .filter_map(|s| match s {
            Say::Right(t) => Some(*t),
            _ => None,
        })
        .collect();
    let before = count(|s| matches!(s, Say::Before));
    let judged = says.len() - before;
    let share = |k: usize| wilson(k as u64, judged as u64, LEVEL);
    Ok(Faulty {
        law: law.to_owned(),
        fault: words,
        runs: pairs.len(),
        false_before: before,
        missed: share(count(|s| matches!(s, Say::Nothing))),
        wrong: share(count(|s| matches!(s, Say::Wrong))),
        time_50_s: by_then(&times_s, judged, 0.5),
        time_90_s: by_then(&times_s, judged, 0.9),
        times_s,
        ended_early: [0, 1].map(|k| pairs.iter().filter(|p| !p[k].completed).count()),
        recovery: gains(&pairs),
    })
}

fn after(
    stage: &Stage,
    j: &Job,
    events: &[FaultEventSpec],
    recovers: bool,
    done: &(dyn Fn() + Sync),
) -> Result<After> {
    let case = stage.case_with_faults(j.speed, j.heading_deg, j.seed, events)?;
    let mut plan = stage.laws[j.law].clone();
    if let Some(m) = &mut plan.spec.monitor {
        m.recovers = recovers;
    }
    let mut law = plan.make()?;
    let result = run(&case, law.as_mut());
    done();
    let from_s = case.parts().faults.first().map_or(0.0, |f| f.from_s);
    let setup = &case.parts().setup;
    let trim = [-setup.trim_heave_m, 0.0, setup.trim_pitch_rad];
    Ok(After {
        from_s,
        motions: [0, 1, 2].map(|m| peak_and_rms(&result.record, (MOTIONS[m], trim[m]), from_s)),
        findings: result.record.findings,
        completed: result.outcome.is_completed(),
    })
}

/// Greatest distance from trim and RMS about it, from `from_s` on.
fn peak_and_rms(record: &Record, (motion, trim): (&str, f64), from_s: f64) -> [f64; 2] {
    let from = ((from_s / record.interval_s).ceil() as usize).min(record.len());
    let Some(column) = record.column(motion) else {
        return [f64::NAN; 2];
    };
    let x: Vec<f64> = column.data[from..].iter().map(|v| v - trim).collect();
    let peak = x.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
    [peak, crate::math::stats::rms_about_zero(&x)]
}

fn gains(pairs: &[[After; 2]]) -> Vec<Gain> {
    let whole: Vec<_> = pairs
        .iter()
        .filter(|p| p[0].completed && p[1].completed)
        .collect();
    let of = |k: usize, m: usize, q: usize| -> Vec<f64> {
        whole.iter().map(|p| p[k].motions[m][q]).collect()
    };
    let one = |(m, motion): (usize, &'static str)| Gain {
        motion,
        unit: if motion == "heave_up" { "m" } else { "rad" },
        peak_without: crate::math::stats::mean(&of(1, m, 0)),
        peak: paired_difference(&of(0, m, 0), &of(1, m, 0), LEVEL),
        rms_without: crate::math::stats::mean(&of(1, m, 1)),
        rms: paired_difference(&of(0, m, 1), &of(1, m, 1), LEVEL),
    };
    MOTIONS.into_iter().enumerate().map(one).collect()
}

/// What a monitor must name; none for faults that have no target of its kind.
fn target_of(fault: &BreakageSpec) -> Option<Target> {
    match fault {
        BreakageSpec::Surface { name, .. } => Some(Target::Surface(name.clone())),
        BreakageSpec::Sensor { name, .. } => Some(Target::Sensor(name.clone())),
        _ => None,
    }
}

/// What the monitor's first word amounts to.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Say {
    Before,
    Nothing,
    Wrong,
    Right(f64),
}

fn say(a: &After, target: Option<&Target>) -> Say {
    match a.findings.first() {
        None => Say::Nothing,
        Some(f) if f.t_s < a.from_s => Say::Before,
        Some(f) if target.is_none_or(|t| *t == f.target) => Say::Right(f.t_s - a.from_s),
        Some(_) => Say::Wrong,
    }
}

/// Quantile of the times of all that were judged, what was not found being later than all.
fn by_then(times_s: &[f64], judged: usize, share: f64) -> By {
    let mut all = times_s.to_vec();
    all.resize(judged, f64::INFINITY);
    let ends = quantile_interval(&all, share, LEVEL);
    let end = |t: f64| t.is_finite().then_some(t);
    let found = times_s.len() as f64 / judged.max(1) as f64;
    By {
        value: (found >= share && found > 0.0).then(|| quantile(times_s, share / found)),
        low: end(ends.low),
        high: end(ends.high),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::monitor::finding::Kind;

    #[test]
    fn first_finding_decides() {
        let finding = |t_s: f64, name: &str| Finding {
            t_s,
            alarm_s: t_s,
            target: Target::Surface(name.into()),
            kind: Kind::Stuck,
        };
        let run = |findings: Vec<Finding>| After {
            from_s: 10.0,
            findings,
            completed: true,
            motions: [[0.0; 2]; 3],
        };
        let aft = Target::Surface("aft".into());
        let said = |f: Vec<Finding>| say(&run(f), Some(&aft));
        assert_eq!(said(vec![]), Say::Nothing);
        assert_eq!(
            said(vec![finding(9.0, "aft"), finding(11.0, "aft")]),
            Say::Before
        );
        assert_eq!(
            said(vec![finding(12.0, "fore"), finding(12.0, "aft")]),
            Say::Wrong
        );
        assert_eq!(said(vec![finding(12.5, "aft")]), Say::Right(2.5));
        // three of four found: the median of all four is two thirds of the way through the three
        let median = by_then(&[1.0, 2.0, 4.0], 4, 0.5).value.unwrap();
        assert!((median - 8.0 / 3.0).abs() < 1e-12); // 2 + (4/3 - 1) (4 - 2)
        assert_eq!(by_then(&[1.0, 2.0, 4.0], 4, 0.9).value, None);
        // seven of eight: 95 % from the first to the eighth (the sign test: 2/256 outside), which was not found
        let times: Vec<f64> = (1..8).map(f64::from).collect();
        let by = by_then(&times, 8, 0.5);
        assert_eq!((by.low, by.high), (Some(1.0), None));
    }
}
