//! Sensors that fail: what becomes of a reading on its way to the law.
//!
//! # Equation
//! ```text
//! y = s y(t - d) + b + r (t - t_k) + n        s product of scales, d sum of delays, b, r sums of bias and drift
//! lost sample: the last good reading, or zero;  frozen: the last reading before it froze
//! ```
//!
//! # Symbols
//! t_k start of the drift; n white, variances add. Accelerations count from rest and upright, as files do.
//!
//! # Valid when
//! The failure lies behind filter and sampling: what a filter would smooth of a spike stays sharp.
//!
//! # Source
//! Kinds of failure: common practice, no source.
//!
//! # Checked by
//! `every_sensor_failure_does_what_it_says`, `dropped_samples_come_by_chance_and_are_flagged`

use std::collections::VecDeque;

use super::{Breakage, Fault, SensorFailure, Signal};
use crate::control::signal::Measurement;
use crate::math::rng::Stream;
use crate::spec::fault::LostReadingSpec;

/// A failure of one signal.
#[derive(Debug)]
struct Failure {
    fault: usize,
    what: SensorFailure,
    random: Stream,
    acts: bool,
    /// When it began, s.
    since_s: f64,
}

/// One signal with all that may befall it.
#[derive(Debug)]
pub(super) struct Chain {
    signal: Signal,
    failures: Vec<Failure>,
    /// Readings of the sensor itself, the newest last; as many as the longest delay needs.
    past: VecDeque<f64>,
    last: Option<f64>,
    flagged: bool,
}

/// A chain for every signal that a fault of the list befalls.
pub(super) fn chains(faults: &[Fault], sample_s: f64) -> Vec<Chain> {
    let mut out: Vec<Chain> = Vec::new();
    for (fault, f) in faults.iter().enumerate() {
        let Breakage::Sensor(signals, what) = &f.breakage else {
            continue;
        };
        for (k, signal) in signals.iter().enumerate() {
            let failure = Failure {
                fault,
                what: *what,
                random: f.stream(1 + k as u32),
                acts: false,
                since_s: 0.0,
            };
            match out.iter_mut().find(|c| c.signal == *signal) {
                Some(chain) => chain.failures.push(failure),
                None => out.push(Chain {
                    signal: *signal,
                    failures: vec![failure],
                    past: VecDeque::new(),
                    last: None,
                    flagged: false,
                }),
            }
        }
    }
    for chain in &mut out {
        let late = chain.failures.iter().map(|f| f.samples_late(sample_s));
        let most: usize = late.sum();
        chain.past = VecDeque::with_capacity(most + 1);
    }
    out
}

impl Failure {
    fn samples_late(&self, sample_s: f64) -> usize {
        match self.what {
            SensorFailure::Late(delay_s) => (delay_s / sample_s).round() as usize,
            _ => 0,
        }
    }
}

impl Chain {
    /// A fault of the list starts or ends.
    pub(super) fn edge(&mut self, fault: usize, starts: bool, t_s: f64) {
        for f in self.failures.iter_mut().filter(|f| f.fault == fault) {
            (f.acts, f.since_s) = (starts, t_s);
        }
    }

    /// Lifts the flag of the sample before; before any chain flags anew, for signals share flags.
    pub(super) fn lift_flag(&mut self, y: &mut Measurement) {
        if std::mem::take(&mut self.flagged) {
            self.signal.flag(y, true);
        }
    }

    /// Takes the reading of the sensor and puts what the law reads in its place.
    pub(super) fn pass(&mut self, t_s: f64, sample_s: f64, g_m_s2: f64, y: &mut Measurement) {
        let raw = self.signal.read(y, g_m_s2);
        if self.past.len() == self.past.capacity() {
            self.past.pop_front();
        }
        self.past.push_back(raw);
        if !self.failures.iter().any(|f| f.acts) {
            self.last = Some(raw);
            return;
        }
        let reading = self.bent(t_s, sample_s);
        let mut failures = self.failures.iter();
        let frozen = failures.any(|f| f.acts && f.what == SensorFailure::Frozen);
        let last = self.last.unwrap_or(reading);
        let shown = match self.lost() {
            Some((reads, is_flagged)) => {
                self.flagged = is_flagged;
                match reads {
                    LostReadingSpec::Last => last,
                    LostReadingSpec::Zero => 0.0,
                }
            }
            None if frozen => last,
            None => {
                self.last = Some(reading);
                reading
            }
        };
        self.last.get_or_insert(last); // frozen from the first sample on
        self.signal.write(y, g_m_s2, shown);
        if self.flagged {
            self.signal.flag(y, false);
        }
    }

    /// The reading with delay, scale, bias, drift and noise.
    fn bent(&mut self, t_s: f64, sample_s: f64) -> f64 {
        let acting = || self.failures.iter().filter(|f| f.acts);
        let late: usize = acting().map(|f| f.samples_late(sample_s)).sum();
        let newest = self.past.len() - 1;
        let mut v = self.past[newest.saturating_sub(late)];
        for f in acting() {
            if let SensorFailure::Scaled(s) = f.what {
                v *= s;
            }
        }
        for f in self.failures.iter_mut().filter(|f| f.acts) {
            v += match f.what {
                SensorFailure::Bias(b) => b,
                SensorFailure::Drift(r) => r * (t_s - f.since_s),
                SensorFailure::Noisy(sigma) => sigma * f.random.normal(),
                _ => 0.0,
            };
        }
        v
    }

    /// What a lost sample reads and whether the law is told; nothing when the sample came through.
    fn lost(&mut self) -> Option<(LostReadingSpec, bool)> {
        let mut out = None;
        for f in self.failures.iter_mut().filter(|f| f.acts) {
            if let SensorFailure::DroppedOut {
                lost_frac,
                reads,
                is_flagged,
            } = f.what
                && f.random.uniform() < lost_frac
            {
                out = Some((reads, is_flagged));
            }
        }
        out
    }
}

impl Signal {
    fn read(self, y: &Measurement, g_m_s2: f64) -> f64 {
        match self {
            Signal::Rate(i) => y.rates_rad_s[i],
            Signal::Roll => y.phi_rad,
            Signal::Pitch => y.theta_rad,
            Signal::Acceleration(2) => y.specific_force_m_s2.z + g_m_s2,
            Signal::Acceleration(i) => y.specific_force_m_s2[i],
            Signal::Speed => y.speed_m_s,
            Signal::Heading => y.heading_rad,
            Signal::Height(i) => y.height_m[i],
            Signal::Surface(i) => y.surface_rad[i],
        }
    }

    fn write(self, y: &mut Measurement, g_m_s2: f64, v: f64) {
        match self {
            Signal::Rate(i) => y.rates_rad_s[i] = v,
            Signal::Roll => y.phi_rad = v,
            Signal::Pitch => y.theta_rad = v,
            // the law counts from free fall
            Signal::Acceleration(2) => y.specific_force_m_s2.z = v - g_m_s2,
            Signal::Acceleration(i) => y.specific_force_m_s2[i] = v,
            Signal::Speed => y.speed_m_s = v,
            Signal::Heading => y.heading_rad = v,
            Signal::Height(i) => y.height_m[i] = v,
            Signal::Surface(i) => y.surface_rad[i] = v,
        }
    }

    fn flag(self, y: &mut Measurement, is_valid: bool) {
        let v = &mut y.valid;
        match self {
            Signal::Rate(_) => v.rates = is_valid,
            Signal::Roll | Signal::Pitch => v.attitude = is_valid,
            Signal::Acceleration(_) => v.acceleration = is_valid,
            Signal::Speed => v.speed = is_valid,
            Signal::Heading => v.heading = is_valid,
            Signal::Height(i) => v.height[i] = is_valid,
            Signal::Surface(i) => v.surface[i] = is_valid,
        }
    }
}
