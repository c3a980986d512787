//! Surfaces: measured angle against the servo model's, and what is wrong when they part.
//!
//! # Equation
//! ```text
//! r = measured - model;   z = (|r| - band)/sigma into a cumulative sum ([`super::threshold`])
//! band = 3 bias + (play + dead band)/2 + tau |rate of the model|,  tau = 0.02 s
//! ```
//! After an alarm the surface is watched for the deciding time, then named by the first that holds:
//!
//! | found | named |
//! |---|---|
//! | it moved faster than its servo can | angle sensor disagrees |
//! | it stood still within noise and play | stuck |
//! | measured = a + b model within noise, b not 0 | angle sensor disagrees |
//! | it moved towards its command whenever it was off it, below the rate limit | slow |
//! | else | erratic |
//!
//! # Symbols
//! sigma: stated noise of the angle (rad); bias: its stated standard deviation (rad); tau: delays known to no better.
//!
//! # Valid when
//! Something is asked of the surface: a fin that jams where it would have stood anyway shows nothing. A lost blade has a
//! healthy servo and is not seen here. A sensor with a constant error and a servo that truly stands off look alike;
//! it is then the sensor that is named.
//!
//! # Source
//! Parity residual: Isermann 2006, Fault-Diagnosis Systems, chapter 10; the rules of isolation are our own.
//!
//! # Checked by
//! `stuck_slow_swinging_and_misread_are_told_apart`

use super::finding::Kind;
use super::threshold::Sum;
use crate::control::signal::Setup;
use crate::units::deg;

/// Delay that model and servo may differ by, s: they move alike, but a loop rounds delays to half its step.
const TIMING_S: f64 = 0.02;
/// Longest watch, samples.
const MOST: usize = 300;

/// What is wrong with a surface.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// The surface.
    Surface(Kind),
    /// The sensor of its angle.
    Sensor(Kind),
}

/// One sample of a surface.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// Measured, rad.
    pub angle_rad: f64,
    /// Expected to be measured, rad.
    pub model_rad: f64,
    /// Rate of the model, rad/s.
    pub model_rad_s: f64,
    /// Asked until now, rad.
    pub asked_rad: f64,
}

/// One surface under watch.
#[derive(Clone, Debug)]
pub struct Fin {
    sigma: f64,
    band: f64,
    play: f64,
    rate_rad_s: f64,
    period_s: f64,
    threshold: f64,
    decides_in: usize,
    sum: Sum,
    last_rad: Option<f64>,
    /// Samples since it moved faster than it can.
    leapt: u32,
    watched: Vec<Seen>,
    /// Samples watched since the alarm; none before one.
    since: Option<usize>,
}

impl Fin {
    /// Surface `i` of `setup`, named `decide_s` after its alarm.
    pub fn new(setup: &Setup, i: usize, threshold: f64, decide_s: f64) -> Self {
        let (s, e) = (&setup.surfaces[i], &setup.sensors.surface);
        let t = setup.sample_period_s;
        let decides_in = ((decide_s / t).round() as usize).clamp(4, MOST);
        Fin {
            // a sensor without noise still has numbers of finite length
            sigma: e.scatter().max(deg(0.01)),
            band: 3.0 * e.bias + 0.5 * (s.servo.backlash_rad + s.servo.dead_band_rad),
            play: s.servo.backlash_rad,
            rate_rad_s: s.rate_rad_s,
            period_s: t,
            threshold,
            decides_in,
            sum: Sum::default(),
            last_rad: None,
            leapt: u32::MAX,
            watched: Vec::with_capacity(decides_in),
            since: None,
        }
    }

    /// Begins anew.
    pub fn restart(&mut self) {
        self.sum.restart();
        self.watched.clear();
        (self.last_rad, self.leapt, self.since) = (None, u32::MAX, None);
    }

    /// One sample: a verdict and how long ago the alarm was, s.
    pub fn step(&mut self, seen: Seen) -> Option<(Verdict, f64)> {
        let most = 1.5 * self.rate_rad_s * self.period_s + 8.0 * self.sigma + self.play;
        let leaps = self
            .last_rad
            .is_some_and(|last| (seen.angle_rad - last).abs() > most);
        self.leapt = if leaps {
            0
        } else {
            self.leapt.saturating_add(1)
        };
        self.last_rad = Some(seen.angle_rad);
        let Some(since) = &mut self.since else {
            let off = (seen.angle_rad - seen.model_rad).abs();
            let band = self.band + TIMING_S * seen.model_rad_s.abs();
            if self.sum.step((off - band) / self.sigma, self.threshold) {
                self.since = Some(0);
                self.watched.clear();
            }
            return None;
        };
        *since += 1;
        self.watched.push(seen);
        if self.watched.len() < self.decides_in {
            return None;
        }
        let ago_s = *since as f64 * self.period_s;
        let verdict = self.verdict();
        self.sum.restart();
        self.since = None;
        verdict.map(|v| (v, ago_s))
    }

    /// None when it is back where it should be: a blow, not a fault.
    fn verdict(&self) -> Option<Verdict> {
        let w = &self.watched;
        let n = w.len() as f64;
        let span = |of: &dyn Fn(&Seen) -> f64| {
            let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
            for s in w {
                (low, high) = (low.min(of(s)), high.max(of(s)));
            }
            high - low
        };
        let mean = |of: &dyn Fn(&Seen) -> f64| w.iter().map(of).sum::<f64>() / n;
        let off = mean(&|s: &Seen| {
            (s.angle_rad - s.model_rad).abs() - self.band - TIMING_S * s.model_rad_s.abs()
        });
        if off < self.sigma {
            return None;
        }
        if (self.leapt as usize) < 2 * self.decides_in {
            return Some(Verdict::Sensor(Kind::Disagrees));
        }
        // noise of n samples spans 3.5 sigma (n = 15), six hardly ever
        let still = 6.0 * self.sigma + self.play;
        let half = &w[w.len() / 2..];
        let late = half
            .iter()
            .map(|s| s.angle_rad)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
                (a.min(v), b.max(v))
            });
        if late.1 - late.0 < still {
            return Some(Verdict::Surface(Kind::Stuck));
        }
        let (m, x) = (mean(&|s: &Seen| s.angle_rad), mean(&|s: &Seen| s.model_rad));
        let xx = mean(&|s: &Seen| (s.model_rad - x) * (s.model_rad - x));
        let xm = mean(&|s: &Seen| (s.model_rad - x) * (s.angle_rad - m));
        if span(&|s: &Seen| s.model_rad) > 2.0 * still && xx > 0.0 {
            let b = xm / xx;
            let left = mean(&|s: &Seen| {
                let e = s.angle_rad - m - b * (s.model_rad - x);
                e * e
            });
            let near = 3.0 * self.sigma + self.play + 0.02 * self.rate_rad_s * self.period_s;
            if left.sqrt() < near && b.abs() > 0.2 {
                return Some(Verdict::Sensor(Kind::Disagrees));
            }
        }
        Some(Verdict::Surface(if self.follows_slowly() {
            Kind::Slow
        } else {
            Kind::Erratic
        }))
    }

    /// It moves towards what is asked whenever it is well off it, never near its rate limit.
    fn follows_slowly(&self) -> bool {
        let (mut towards, mut all, mut fastest) = (0.0, 0.0, 0.0_f64);
        for p in self.watched.windows(3) {
            let moved = p[2].angle_rad - p[0].angle_rad;
            let wanted = p[0].asked_rad - p[0].angle_rad;
            fastest = fastest.max(moved.abs() / (2.0 * self.period_s));
            if wanted.abs() > self.band + 4.0 * self.sigma && moved.abs() > 3.0 * self.sigma {
                all += 1.0;
                towards += f64::from(u8::from(moved * wanted > 0.0));
            }
        }
        all > 0.0 && towards >= 0.8 * all && fastest < 0.85 * self.rate_rad_s
    }
}
