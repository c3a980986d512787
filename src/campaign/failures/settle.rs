//! Time to settle after a fault: against the sound craft in the same waves.
//!
//! # Equation
//! ```text
//! d(t) = x_fault(t) - x_sound(t)                   same waves, same sensors: zero until the fault
//! m(t) = mean of d over t - W/2 ... t + W/2        what is left of the waves is taken out
//! m_f  = mean of m over the last third after the fault,  s its RMS about m_f there,  D rise of its straight line there
//! w    = RMS about its mean of the like mean of x_sound, over the whole run
//! base = max(0.05 max |m - m_f|, felt)             5 % of the largest change, m = 0 before the fault among them
//! settled = last t at which |m - m_f| > max(base, 4 s, 4 sqrt(2) w), from the fault      not below what waves leave
//! ```
//! Once the craft surges otherwise, both meet the waves at other times, and the difference has the waves of both: hence
//! sqrt(2) w; s is more where the fault makes the ride worse. Four, because groups of waves pass three times the RMS
//! once in thirty half periods or so (Rayleigh: exp(-4.5) each), four times hardly ever (exp(-8)). A motion that the
//! fault moves less than that settles at once. A motion with D > base and D > 2.8 s has not settled, nor has one that leaves its band within the last third: it
//! is told as such, never as a number. (A straight drift has D = sqrt(12) s = 3.46 s; of six independent means without
//! drift D exceeds 2.8 s one time in twenty.)
//!
//! # Symbols
//! x roll, pitch (rad), heave (m); W = 10 s; felt 0.05 deg or 0.02 m.
//!
//! # Valid when
//! The sound craft completes the same run. What a fault does to the waves' own part of the motion is no matter of
//! settling (it lasts); the ride after the fault tells of it. Steps are smeared by W, so times below W are of that size.
//!
//! # Source
//! Settling within 5 % of the change: common practice of control engineering (Ogata, Modern Control Engineering, 5th
//! ed. 2010, section 5-3, takes 2 % or 5 %). The difference of paired runs and the numbers of the
//! bands are our definition.
//!
//! # Checked by
//! `a_step_settles_when_theory_says`, `waves_alone_settle_at_once`, `groups_of_waves_are_no_transient`,
//! `a_drift_never_settles`,
//! `the_longest_of_the_motions_counts`

use serde::{Deserialize, Serialize};

use crate::math::stats::mean;
use crate::sim::record::Record;

/// Window of the running mean, s.
const MEAN_S: f64 = 10.0;
/// Share of the largest change within which a motion has settled.
const BAND_FRAC: f64 = 0.05;
/// Scatters within which a motion has settled.
const SCATTERS: f64 = 4.0;
/// Scatters beyond which the rise of a straight line is a drift.
const DRIFT_SCATTERS: f64 = 2.8;
/// Angle below which nobody asks, rad (0.05 deg).
const FELT_RAD: f64 = 0.05 * std::f64::consts::PI / 180.0;
/// Heave below which nobody asks, m.
const FELT_M: f64 = 0.02;
/// Windows that the record must hold after the fault.
const LEAST_WINDOWS: usize = 6;

const ON_ITS_WAY: &str = "still on its way when the run ends";

/// Motions watched: column, words, what is felt.
const WATCHED: [(&str, &str, f64); 3] = [
    ("roll", "roll", FELT_RAD),
    ("pitch", "pitch", FELT_RAD),
    ("heave_up", "heave", FELT_M),
];

/// The motions of a sound run.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Track {
    /// One column for each motion watched.
    motions: Vec<Vec<f64>>,
    /// The run was completed.
    is_whole: bool,
}

impl Track {
    pub(super) fn of(record: &Record, is_whole: bool) -> Self {
        let take =
            |w: &(&str, &str, f64)| record.column(w.0).map_or(Vec::new(), |c| c.data.clone());
        Track {
            motions: WATCHED.iter().map(take).collect(),
            is_whole,
        }
    }
}

/// When a run settled.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Settling {
    /// Time from the fault until roll, pitch and heave stay about their later means, s.
    pub after_s: Option<f64>,
    /// The motion that took longest, or did not settle.
    pub motion: Option<String>,
    /// Why there is no time.
    pub not_told: Option<String>,
}

impl Settling {
    pub(super) fn not_told(why: &str) -> Self {
        Settling {
            not_told: Some(why.to_owned()),
            ..Settling::default()
        }
    }

    /// Of a completed run whose fault starts at sample `at`.
    pub(super) fn of(record: &Record, at: usize, sound: &Track) -> Self {
        if !sound.is_whole {
            return Settling::not_told("the sound craft's run in the same waves ended early");
        }
        let mut out = Settling {
            after_s: Some(0.0),
            ..Settling::default()
        };
        for (k, (name, words, felt)) in WATCHED.iter().enumerate() {
            let x = record.column(name).map_or(&[][..], |c| &c.data);
            let d: Vec<f64> = x
                .iter()
                .zip(&sound.motions[k])
                .map(|(a, b)| a - b)
                .collect();
            let left = waves_left(
                &sound.motions[k][record.run_in_samples.min(at)..],
                record.interval_s,
            );
            match settled(&d, at, record.interval_s, *felt, left) {
                Ok(t) if out.after_s.is_some_and(|longest| t > longest) => {
                    out.after_s = Some(t);
                    out.motion = Some((*words).to_owned());
                }
                Ok(_) => {}
                Err(why) => {
                    return Settling {
                        after_s: None,
                        motion: Some((*words).to_owned()),
                        not_told: Some(why.to_owned()),
                    };
                }
            }
        }
        out
    }
}

/// Samples in half a window.
fn half_window(interval_s: f64) -> usize {
    ((0.5 * MEAN_S / interval_s).round() as usize).max(1)
}

/// What waves leave in the difference of the running means of two runs that meet them at other times.
fn waves_left(sound: &[f64], interval_s: f64) -> f64 {
    let half = half_window(interval_s);
    if sound.len() <= 2 * half {
        return 0.0;
    }
    2.0_f64.sqrt() * rise_and_scatter(&running_mean(sound, half)).1
}

/// Time from sample `at` after which the running mean of `d` stays in its band, s.
fn settled(
    d: &[f64],
    at: usize,
    interval_s: f64,
    felt: f64,
    left: f64,
) -> Result<f64, &'static str> {
    let half = half_window(interval_s);
    let after = d.len().saturating_sub(at);
    if at < half || after < LEAST_WINDOWS * 2 * half {
        return Err("the run is too short before or after the fault to tell");
    }
    let m = running_mean(&d[at - half..], half);
    let tail = m.len() - m.len() / 3;
    let end = mean(&m[tail..]);
    // before the fault the difference is zero
    let most = m.iter().fold(end.abs(), |a: f64, v| a.max((v - end).abs()));
    let base = felt.max(BAND_FRAC * most);
    let (rise, scatter) = rise_and_scatter(&m[tail..]);
    if rise > base && rise > DRIFT_SCATTERS * scatter {
        return Err(ON_ITS_WAY);
    }
    let band = base.max(SCATTERS * scatter.max(left));
    match m.iter().rposition(|v| (v - end).abs() > band) {
        None => Ok(0.0),
        Some(i) if i + 1 < tail => Ok((i + 1) as f64 * interval_s),
        Some(_) => Err(ON_ITS_WAY),
    }
}

/// Means over `2 half + 1` samples about each sample that has as many on both sides.
fn running_mean(x: &[f64], half: usize) -> Vec<f64> {
    let width = 2 * half + 1;
    let mut sum: f64 = x[..width].iter().sum();
    let mut out = vec![sum / width as f64];
    for i in width..x.len() {
        sum += x[i] - x[i - width];
        out.push(sum / width as f64);
    }
    out
}

/// Rise of the straight line through `x` by least squares from end to end, without sign, and RMS about the mean.
fn rise_and_scatter(x: &[f64]) -> (f64, f64) {
    let (n, level) = (x.len() as f64, mean(x));
    let from = |i: usize| i as f64 - 0.5 * (n - 1.0);
    let all = x.iter().enumerate();
    let (up, across, square) = all.fold((0.0, 0.0, 0.0), |(u, a, s), (i, v)| {
        let off = v - level;
        (u + from(i) * off, a + from(i).powi(2), s + off * off)
    });
    let slope = if across > 0.0 { up / across } else { 0.0 };
    ((slope * (n - 1.0)).abs(), (square / n).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Samples of 0.1 s, fault at 100 s, 400 s in all.
    fn samples(of: impl Fn(f64) -> f64) -> Vec<f64> {
        (0..4000).map(|i| of(0.1 * f64::from(i))).collect()
    }

    /// A step of 0.1 that overshoots to 0.2 and decays with 10 s. The centred mean decays as
    /// 0.1 (e^0.5 - e^-0.5) exp(-t/10) and is within 5 % of the step after 10 ln(20 x 1.042) = 30.4 s.
    #[test]
    fn a_step_settles_when_theory_says() {
        let step = |t: f64| {
            if t < 100.0 {
                0.0
            } else {
                0.1 + 0.1 * (-(t - 100.0) / 10.0).exp()
            }
        };
        let t = settled(&samples(step), 1000, 0.1, FELT_RAD, 0.0).unwrap();
        assert!((t - 30.4).abs() < 0.3, "{t}");
        // a wave of 7.9 s that the pair does not share: sin(4)/4 = 0.19 of 0.02 are left, 0.0038; the band is four of its
        // RMS, 0.0107; the step comes into that, give or take what is left, between 19.7 and 27.1 s
        let rough = |t: f64| step(t) + 0.02 * (0.8 * t).sin();
        let t = settled(&samples(rough), 1000, 0.1, FELT_RAD, 0.0).unwrap();
        assert!((19.7..27.1).contains(&t), "{t}");
    }

    #[test]
    fn waves_alone_settle_at_once() {
        let d = samples(|t| {
            if t < 100.0 {
                0.0
            } else {
                0.01 * (0.9 * t).sin()
            }
        });
        assert!(settled(&d, 1000, 0.1, FELT_RAD, 0.0).unwrap() < MEAN_S);
        assert!(settled(&samples(|_| 0.0), 1000, 0.1, FELT_RAD, 0.0).unwrap() < 1e-9);
    }

    /// Waves in groups that the two runs meet at other times: nothing to time, however the groups fall.
    #[test]
    fn groups_of_waves_are_no_transient() {
        for k in 0..20 {
            let phase = 0.7 * f64::from(k);
            let sea = |t: f64| {
                let parts = [
                    (0.52, 1.0),
                    (0.61, 1.2),
                    (0.66, 0.9),
                    (0.73, 1.1),
                    (0.84, 0.6),
                ];
                let waves = parts
                    .iter()
                    .map(|(w, a): &(f64, f64)| a * (w * t + 5.0 * w * w).sin());
                0.02 * waves.sum::<f64>()
            };
            let sound = samples(|t| sea(t + phase));
            let late = |t: f64| {
                if t < 100.0 {
                    0.0
                } else {
                    sea(t + 40.0 + phase) - sea(t + phase)
                }
            };
            let left = waves_left(&sound, 0.1);
            let t = settled(&samples(late), 1000, 0.1, FELT_RAD, left).unwrap();
            assert!(t < 2.0 * MEAN_S, "{k}: {t}");
        }
    }

    #[test]
    fn a_drift_never_settles() {
        let drift = samples(|t| 1e-3 * (t - 100.0).max(0.0));
        assert!(settled(&drift, 1000, 0.1, FELT_RAD, 0.0).is_err());
        let slow = samples(|t| {
            if t < 100.0 {
                0.0
            } else {
                0.1 * (-(t - 100.0) / 150.0).exp()
            }
        });
        assert!(settled(&slow, 1000, 0.1, FELT_RAD, 0.0).is_err());
        // and too short a record tells nothing
        assert!(settled(&drift[..1300], 1000, 0.1, FELT_RAD, 0.0).is_err());
    }

    #[test]
    fn the_longest_of_the_motions_counts() {
        let record = |decay_s: f64| {
            let mut r = Record::new(0.1, 100);
            for (name, share) in [("roll", 0.0), ("pitch", 1.0), ("heave_up", 0.0)] {
                let c = r.add(name, "rad", name, 4000);
                let at = |t: f64| {
                    if t < 100.0 {
                        0.0
                    } else {
                        (-(t - 100.0) / decay_s).exp()
                    }
                };
                r.columns[c].data = samples(|t| 0.03 * (0.8 * t).sin() + share * at(t));
            }
            r
        };
        let sound = Track::of(&record(1e-3), true);
        let s = Settling::of(&record(10.0), 1000, &sound);
        assert_eq!(s.motion.as_deref(), Some("pitch"));
        // the mean goes up to 1 - 1/e and back: within 5 % of that after 10 ln(1.042 / 0.0316) = 35.0 s
        assert!((s.after_s.unwrap() - 35.0).abs() < 0.3, "{s:?}");
        let broken = Track::of(&record(1e-3), false);
        assert!(
            Settling::of(&record(10.0), 1000, &broken)
                .not_told
                .is_some()
        );
    }
}
