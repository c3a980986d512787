//! What a run with a fault did, before and after it.
//!
//! # Equation
//! ```text
//! before  run-in < t < t_f        after  t >= t_f        later  t >= t_f + 30 s, the ride with the fault
//! peak    max |x(t)|              RMS about the mean of the stretch
//! ```
//!
//! # Symbols
//! x roll, pitch (deg), heave (m), accelerations at the named points (m/s2); t_f time of the fault (s).
//!
//! # Valid when
//! The run goes on for some minutes after the fault. Peaks after cover a longer time than peaks before when the
//! fault is early: the row without a fault, measured alike, is the yardstick. A run that ended before its fault says
//! nothing of it: it has no stretch after.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `peaks_of_a_step`, `a_run_that_ends_before_its_fault_says_nothing_of_it`

use serde::{Deserialize, Serialize};

use super::settle::{Settling, Track};
use crate::math::stats::mean;
use crate::sim::outcome::Outcome;
use crate::sim::record::Record;
use crate::spec::failures::FailureLimitsSpec;

/// Time given to the transient before a run counts as going on with its fault, s.
pub(super) const TRANSIENT_S: f64 = 30.0;
/// Least time of a stretch of which a ride is told, s.
const LEAST_S: f64 = 20.0;

/// Largest values and RMS of a stretch of a run.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Peaks {
    /// How long it is, s.
    pub length_s: f64,
    /// Largest roll, deg.
    pub roll_deg: f64,
    /// Largest pitch, deg.
    pub pitch_deg: f64,
    /// Largest rise or sinkage, m.
    pub heave_m: f64,
    /// Largest vertical acceleration at each named point, m/s2.
    pub vertical_m_s2: Vec<(String, f64)>,
    /// Largest lateral acceleration felt at each named point, gravity's share included, m/s2.
    pub lateral_m_s2: Vec<(String, f64)>,
    /// Roll RMS about its mean, deg.
    pub roll_rms_deg: f64,
    /// Pitch RMS about its mean, deg.
    pub pitch_rms_deg: f64,
    /// Vertical acceleration RMS at each named point, m/s2.
    pub vertical_rms_m_s2: Vec<(String, f64)>,
    /// Contacts of the cross-structure that began in it.
    pub contacts: usize,
}

/// A limit passed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LimitPassed {
    /// Time from the fault, s.
    pub after_s: f64,
    /// Which limit.
    pub limit: String,
}

/// How near a stretch comes to its limits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Nearest {
    /// Largest share of a limit; above one, the limit is passed.
    pub frac: f64,
    /// Which limit.
    pub limit: String,
}

/// One seed in which nobody slows down.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunMeasure {
    /// Seed.
    pub seed: u64,
    /// Time of the fault, s from the start.
    pub fault_s: f64,
    /// How the run ended when early.
    pub ended: Option<String>,
    /// Time from the fault to that end, s; negative when it came first.
    pub ended_after_s: Option<f64>,
    /// From the end of the run-in to the fault.
    pub before: Peaks,
    /// From the fault to the end; none when the run ended before its fault.
    pub after: Option<Peaks>,
    /// From 30 s after the fault to the end; none when the run is too short for it.
    pub later: Option<Peaks>,
    /// Time to settle.
    pub settles: Settling,
    /// How near it comes to its limits after the fault; none when the run ended before.
    pub nearest: Option<Nearest>,
    /// First limit passed after the fault.
    pub limit: Option<LimitPassed>,
    /// First limit passed from 30 s after the fault on, with the fault's transient over.
    pub limit_later: Option<LimitPassed>,
}

impl RunMeasure {
    /// True when the run ended before the fault began: no failure of the fault.
    pub fn ended_before_fault(&self) -> bool {
        self.after.is_none()
    }

    /// True when the run ended early, after its fault.
    pub fn ended_after_fault(&self) -> bool {
        self.to_end_s().is_some()
    }

    /// Time from the fault to the first limit passed, s; infinite when none is.
    pub(super) fn to_limit_s(&self) -> f64 {
        self.limit.as_ref().map_or(f64::INFINITY, |l| l.after_s)
    }

    /// Time from the fault to an early end after it, s.
    pub(super) fn to_end_s(&self) -> Option<f64> {
        self.ended_after_s.filter(|_| !self.ended_before_fault())
    }
}

/// Measures a run with a fault at `fault_s`; `sound` is the same without the fault.
pub(super) fn measured(
    record: &Record,
    outcome: &Outcome,
    fault_s: f64,
    limits: &FailureLimitsSpec,
    sound: Option<&Track>,
) -> RunMeasure {
    let at = sample(record, fault_s);
    let begin = record.run_in_samples.min(at);
    let ended_after_s = outcome.ended_s().map(|t| t - fault_s);
    let is_before = ended_after_s.is_some_and(|t| t <= 0.0) || at >= record.len();
    let on = sample(record, fault_s + TRANSIENT_S);
    let settles = match sound {
        _ if is_before => Settling::not_told("the run ended before the fault"),
        _ if ended_after_s.is_some() => Settling::not_told("the run ended early"),
        None => Settling::not_told("nothing breaks"),
        Some(sound) => Settling::of(record, at, sound),
    };
    let limit = |from| {
        let passed = first_limit(record, from, fault_s, limits);
        passed.filter(|_| !is_before)
    };
    RunMeasure {
        seed: 0,
        fault_s,
        ended: ended_after_s.map(|_| outcome.to_string()),
        ended_after_s,
        before: peaks(record, begin, at),
        after: (!is_before).then(|| peaks(record, at, record.len())),
        later: stretch(record, on),
        settles,
        nearest: (!is_before).then(|| nearest(record, at, record.len(), limits)),
        limit: limit(at),
        limit_later: limit(on),
    }
}

/// The first sample at or after a time, or the number of samples.
pub(super) fn sample(record: &Record, t_s: f64) -> usize {
    ((t_s / record.interval_s).ceil().max(0.0) as usize).min(record.len())
}

/// The ride from a sample to the end; none when that is too short.
pub(super) fn stretch(record: &Record, from: usize) -> Option<Peaks> {
    let left_s = (record.len() - from) as f64 * record.interval_s;
    (left_s >= LEAST_S).then(|| peaks(record, from, record.len()))
}

/// The samples of a column, none when it is not there.
pub(super) fn column<'a>(record: &'a Record, name: &str) -> &'a [f64] {
    record.column(name).map_or(&[], |c| &c.data)
}

fn peaks(record: &Record, from: usize, to: usize) -> Peaks {
    let part = |name: &str| {
        let x = column(record, name);
        &x[from.min(x.len())..to.min(x.len())]
    };
    let peak = |name: &str| part(name).iter().fold(0.0, |m: f64, v| m.max(v.abs()));
    let points = points(record);
    let each = |what: &str, f: &dyn Fn(&str) -> f64| {
        let named = points
            .iter()
            .map(|p| (p.clone(), f(&format!("{p}.{what}"))));
        named.collect::<Vec<_>>()
    };
    let (t0, t1) = (record.time_s(from), record.time_s(to));
    let inside = |t: f64| t >= t0 && t < t1;
    Peaks {
        length_s: t1 - t0,
        roll_deg: peak("roll").to_degrees(),
        pitch_deg: peak("pitch").to_degrees(),
        heave_m: peak("heave_up"),
        vertical_m_s2: each("acc_up", &|n| peak(n)),
        lateral_m_s2: each("felt_stbd", &|n| peak(n)),
        roll_rms_deg: rms(part("roll")).to_degrees(),
        pitch_rms_deg: rms(part("pitch")).to_degrees(),
        vertical_rms_m_s2: each("acc_up", &|n| rms(part(n))),
        contacts: record.contacts.iter().filter(|c| inside(c.begin_s)).count(),
    }
}

fn points(record: &Record) -> Vec<String> {
    let names = record.columns.iter().map(|c| c.name.as_str());
    names
        .filter_map(|n| n.strip_suffix(".acc_up").map(str::to_owned))
        .collect()
}

/// RMS about the mean; zero of nothing.
fn rms(x: &[f64]) -> f64 {
    if x.is_empty() {
        return 0.0;
    }
    let level = mean(x);
    (x.iter().map(|v| (v - level).powi(2)).sum::<f64>() / x.len() as f64).sqrt()
}

/// Columns with limits, the limits in SI, and their words.
fn watched(record: &Record, limits: &FailureLimitsSpec) -> Vec<(String, f64, String)> {
    let angle = |name: &str, deg: f64| (name.to_owned(), deg.to_radians(), name.to_owned());
    let mut watched = vec![
        angle("roll", limits.roll_deg),
        angle("pitch", limits.pitch_deg),
    ];
    watched.extend(points(record).into_iter().map(|p| {
        let words = format!("vertical acceleration at {p}");
        (format!("{p}.acc_up"), limits.vertical_m_s2, words)
    }));
    watched
}

/// How near the samples `from` to `to` come to their limits.
pub(super) fn nearest(
    record: &Record,
    from: usize,
    to: usize,
    limits: &FailureLimitsSpec,
) -> Nearest {
    let none = Nearest {
        frac: 0.0,
        limit: String::new(),
    };
    let all = watched(record, limits)
        .into_iter()
        .map(|(name, most, limit)| {
            let x = column(record, &name);
            let part = &x[from.min(x.len())..to.min(x.len())];
            let peak = part.iter().fold(0.0, |m: f64, v| m.max(v.abs()));
            Nearest {
                frac: peak / most,
                limit,
            }
        });
    all.fold(none, |most, n| if n.frac > most.frac { n } else { most })
}

/// The first limit passed from sample `from` on, its time counted from the fault.
pub(super) fn first_limit(
    record: &Record,
    from: usize,
    fault_s: f64,
    limits: &FailureLimitsSpec,
) -> Option<LimitPassed> {
    let firsts = watched(record, limits)
        .into_iter()
        .filter_map(|(name, most, limit)| {
            let x = column(record, &name);
            let i = (from..x.len()).find(|i| x[*i].abs() > most)?;
            let after_s = record.time_s(i) - fault_s;
            Some(LimitPassed { after_s, limit })
        });
    firsts.min_by(|a, b| a.after_s.total_cmp(&b.after_s))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A wave of pitch of 0.01 rad, and from 100 s on a step of 0.2 that decays to 0.1.
    fn step() -> Record {
        let mut record = Record::new(0.1, 100);
        for name in [
            "roll",
            "pitch",
            "heave_up",
            "bridge.acc_up",
            "bridge.felt_stbd",
        ] {
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
            for (column, v) in [wave, wave + decay, 0.0, 2.0 * wave, 0.0]
                .iter()
                .enumerate()
            {
                record.columns[column].data.push(*v);
            }
        }
        record
    }

    #[test]
    fn peaks_of_a_step() {
        let limits = FailureLimitsSpec::default();
        let m = measured(&step(), &Outcome::Completed, 100.0, &limits, None);
        let after = m.after.as_ref().unwrap();
        assert!((m.before.pitch_deg - 0.01_f64.to_degrees()).abs() < 0.01);
        assert!(after.pitch_deg > 0.19_f64.to_degrees(), "{after:?}");
        assert!((after.vertical_m_s2[0].1 - 0.02).abs() < 1e-4);
        assert!((after.length_s - 300.0).abs() < 0.11);
        let limit = m.limit.as_ref().unwrap();
        let near = m.nearest.as_ref().unwrap();
        // the peak against 8 deg, as above
        assert!((near.frac - after.pitch_deg / 8.0).abs() < 1e-9);
        assert_eq!(
            (limit.limit.as_str(), near.limit.as_str()),
            ("pitch", "pitch")
        );
        assert!(limit.after_s < 0.2);
        // the transient over, pitch stays at 0.1 rad with 0.01 of waves: 6.3 deg, limit 8
        assert_eq!(m.limit_later, None);
        let later = m.later.as_ref().unwrap();
        assert!((later.roll_rms_deg - (0.01_f64 / 2.0_f64.sqrt()).to_degrees()).abs() < 0.01);
    }

    #[test]
    fn a_run_that_ends_before_its_fault_says_nothing_of_it() {
        let mut record = step();
        for c in &mut record.columns {
            c.data.truncate(800);
        }
        let gone = Outcome::Stopped { t_s: 80.0 };
        let limits = FailureLimitsSpec {
            pitch_deg: 0.1,
            ..FailureLimitsSpec::default()
        };
        let m = measured(&record, &gone, 100.0, &limits, None);
        assert!(m.ended_before_fault() && m.to_end_s().is_none());
        assert_eq!((m.limit.as_ref(), m.later.as_ref()), (None, None));
        assert!((m.ended_after_s.unwrap() + 20.0).abs() < 1e-9);
        assert!(m.before.pitch_deg > 0.5);
    }
}
