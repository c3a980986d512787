//! Every signal by itself: frozen, jumping, noisy, dropped out, out of range.
//!
//! # Equation
//! ```text
//! frozen     equal to the sample before, n times:  p^n < rate T,  p = min(1, q/(2 sqrt(pi) sigma)), n >= 5
//! d4         y_k - 4 y_(k-1) + 6 y_(k-2) - 4 y_(k-3) + y_(k-4):   variance 70 sigma^2 of white noise,
//!            amplitude (omega T)^4 of a motion
//! excess     |d4| > j sqrt(70) sigma,   j = 9 (rates and accelerations 36: blows are real);  then
//!            v = mean of d4^2/(70 sigma^2), before it and over 12 samples after the five that it reaches:
//! jumps        v < n on both sides: one innovation, then a level as consistent as before
//! noisy        else: the variance has risen;  also when v > n^2 over 5 s,  n = 4 (16)
//! dropped    invalid for half of 2 s
//! range      no number, or beyond what a craft does: angles 1.2 rad, rates 2 rad/s, forces 5 g, heights 30 m
//! ```
//! Two statistics, for a change of mean and for a change of variance: without the second, noise of six sigma makes
//! its first excess within samples and passes for a jump. n is half way, in decibels, between the stated variance and
//! the n^2 that is called noisy; 12 values of d4 have the information of 4.6 independent ones (variance of a mean of
//! squares, correlations 56, 28, 8, 1 of 70), so six-fold noise passes for a jump once in 40.
//! A jump of J makes d4 up to 6 J: a step of 14 sigma is seen. Nine sigma of Gaussian noise come once in 1e18
//! samples, the mean of 50 squares reaches sixteen times its mean as rarely: neither sets the rate of
//! false alarms, real motion does, which is measured. Angles of surfaces are jumpy by nature and are left to
//! [`super::fins`].
//!
//! # Symbols
//! sigma stated noise with quantisation q, T sample period, omega frequency of motion.
//!
//! # Valid when
//! omega T below 0.4 (4 rad/s at 0.1 s); stated noise is not nothing: without noise only the last two tests work.
//!
//! # Source
//! Higher differences as a test of noise: Hildebrand 1956, Introduction to Numerical Analysis, section 4.10
//! (binomial sum of squares 70); changes of mean and of variance told apart by two statistics: Willsky & Jones 1976,
//! IEEE Trans. Automatic Control 21, 108-112; Basseville & Nikiforov 1993, Detection of Abrupt Changes, Prentice
//! Hall, chapters 2 and 4; limits of range: common practice, no source.
//!
//! # Checked by
//! `frozen_is_seen_and_calm_is_not`, `jump_and_noise_are_told_apart`

use super::finding::Kind;
use crate::control::signal::{Measurement, SensorError, SensorSetup, Setup};
use crate::units::G_M_S2;

/// Place of a signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// p, q, r.
    Rate(usize),
    /// Roll, pitch.
    Attitude(usize),
    /// Along x, y, z.
    Acceleration(usize),
    /// A height sensor.
    Height(usize),
    /// Speed.
    Speed,
    /// Heading.
    Heading,
    /// Angle of a surface.
    Surface(usize),
}

impl Place {
    /// All signals of a craft.
    pub fn all(setup: &Setup) -> Vec<Place> {
        let three = 0..3;
        let mut all: Vec<Place> = three.clone().map(Place::Rate).collect();
        all.extend((0..2).map(Place::Attitude));
        all.extend(three.map(Place::Acceleration));
        all.extend((0..setup.height_sensors_m.len()).map(Place::Height));
        all.extend([Place::Speed, Place::Heading]);
        all.extend((0..setup.surfaces.len()).map(Place::Surface));
        all
    }

    /// The reading, and whether it may be used.
    pub fn read(self, y: &Measurement) -> (f64, bool) {
        let v = &y.valid;
        match self {
            Place::Rate(i) => (y.rates_rad_s[i], v.rates),
            Place::Attitude(0) => (y.phi_rad, v.attitude),
            Place::Attitude(_) => (y.theta_rad, v.attitude),
            Place::Acceleration(i) => (y.specific_force_m_s2[i], v.acceleration),
            Place::Height(i) => (y.height_m[i], v.height[i]),
            Place::Speed => (y.speed_m_s, v.speed),
            Place::Heading => (y.heading_rad, v.heading),
            Place::Surface(i) => (y.surface_rad[i], v.surface[i]),
        }
    }

    fn error(self, s: &SensorSetup) -> SensorError {
        match self {
            Place::Rate(_) => s.rate,
            Place::Attitude(_) => s.attitude,
            Place::Acceleration(_) => s.acceleration,
            Place::Height(_) => s.height,
            Place::Speed => s.speed,
            Place::Heading => s.heading,
            Place::Surface(_) => s.surface,
        }
    }

    /// Greatest magnitude that can be.
    fn most(self) -> f64 {
        match self {
            Place::Rate(_) | Place::Surface(_) => 2.0,
            Place::Attitude(_) => 1.2,
            Place::Acceleration(_) => 5.0 * G_M_S2,
            Place::Height(_) | Place::Speed => 30.0,
            Place::Heading => f64::INFINITY,
        }
    }

    /// Sigma that a jump must exceed, and a lasting scatter; blows of the sea are real.
    fn sigmas(self) -> (f64, f64) {
        match self {
            Place::Rate(_) | Place::Acceleration(_) => (36.0, 16.0),
            Place::Surface(_) => (f64::INFINITY, f64::INFINITY),
            _ => (9.0, 4.0),
        }
    }
}

/// Samples before differences are trusted.
const WARM: u32 = 20;
/// Time over which the variance is averaged, s.
const VARIANCE_S: f64 = 5.0;
/// Samples of d4 that a single bad reading bends.
const REACH: u32 = 5;
/// Samples behind these that tell a jump from noise.
const DECIDES: u32 = 12;

/// An excess under examination.
#[derive(Clone, Copy, Debug)]
struct Excess {
    /// Samples since.
    since: u32,
    /// Sum of squares behind its reach.
    squares: f64,
}

/// One signal under watch.
#[derive(Clone, Debug)]
pub struct Signal {
    /// Which.
    pub place: Place,
    /// What was found, until a human resets it.
    pub found: Option<Kind>,
    scatter: f64,
    most: f64,
    jump: f64,
    noisy: f64,
    frozen_after: u32,
    past: [f64; 4],
    same: u32,
    /// Mean size of a change, of late.
    alive: f64,
    squares: f64,
    /// Samples in `squares`.
    counted: u32,
    excess: Option<Excess>,
    lost: f64,
    age: u32,
    period_s: f64,
}

impl Signal {
    /// A signal whose frozen test alarms falsely `per_s` times a second.
    pub fn new(place: Place, setup: &Setup, per_s: f64) -> Self {
        let e = place.error(&setup.sensors);
        let (jump, noisy) = place.sigmas();
        let same = e.step / (2.0 * std::f64::consts::PI.sqrt() * e.noise.max(1e-12));
        let n = (per_s * setup.sample_period_s).ln() / same.clamp(1e-12, 0.95).ln();
        Signal {
            place,
            found: None,
            scatter: e.scatter(),
            most: place.most(),
            jump,
            noisy,
            frozen_after: n.ceil().clamp(5.0, 1e4) as u32,
            past: [0.0; 4],
            same: 0,
            alive: 0.0,
            squares: 0.0,
            counted: 0,
            excess: None,
            lost: 0.0,
            age: 0,
            period_s: setup.sample_period_s,
        }
    }

    /// Forgets the past but not the finding: after a gap.
    pub fn restart(&mut self) {
        (self.age, self.same) = (0, 0);
        (self.squares, self.counted, self.excess) = (0.0, 0, None);
    }

    /// One sample; a new finding, if any, and how long ago its first sign was, s.
    pub fn step(&mut self, y: &Measurement) -> Option<(Kind, f64)> {
        let since = self.excess.map_or(0, |e| e.since + 1);
        let ago_s = f64::from(since) * self.period_s;
        self.look(y).map(|kind| (kind, ago_s))
    }

    fn look(&mut self, y: &Measurement) -> Option<Kind> {
        let (value, valid) = self.place.read(y);
        let t = self.period_s;
        self.lost += (t / 2.0).min(1.0) * (f64::from(u8::from(!valid)) - self.lost);
        if self.found.is_some() {
            return None;
        }
        if self.lost > 0.39 {
            // a first-order mean over 2 s passes this one second into a full drop-out
            return Some(self.find(Kind::DroppedOut));
        }
        if !valid {
            self.restart();
            return None;
        }
        if value.is_nan() || value.abs() > self.most {
            return Some(self.find(Kind::OutOfRange));
        }
        let kind = self.judge(value);
        self.past.rotate_right(1);
        self.past[0] = value;
        self.age = self.age.saturating_add(1);
        kind.map(|k| self.find(k))
    }

    fn find(&mut self, kind: Kind) -> Kind {
        self.found = Some(kind);
        kind
    }

    fn judge(&mut self, value: f64) -> Option<Kind> {
        if self.age == 0 || self.scatter <= 0.0 {
            return None;
        }
        let change = (value - self.past[0]).abs();
        self.same = if change > 0.0 { 0 } else { self.same + 1 };
        if self.same >= self.frozen_after && self.alive > 0.3 * self.scatter {
            return Some(Kind::Frozen);
        }
        if self.same == 0 || self.age < WARM {
            self.alive += 0.05 * (change - self.alive);
        }
        if self.age < WARM {
            return None;
        }
        let [a, b, c, d] = self.past;
        let d4 = (value - 4.0 * a + 6.0 * b - 4.0 * c + d) / 70f64.sqrt() / self.scatter;
        self.weigh(d4)
    }

    /// Jump, noise, or neither, by what the fourth difference says.
    fn weigh(&mut self, d4: f64) -> Option<Kind> {
        let share = self.period_s / VARIANCE_S;
        if let Some(e) = &mut self.excess {
            e.since += 1;
            if e.since >= REACH {
                e.squares += d4 * d4;
            }
            if e.since + 1 < REACH + DECIDES {
                return None;
            }
            let calm = e.squares < f64::from(DECIDES) * self.noisy;
            return Some(if calm { Kind::Jumps } else { Kind::Noisy });
        }
        if d4.abs() > self.jump {
            // the running mean began at zero
            let filled = 1.0 - (1.0 - share).powf(f64::from(self.counted));
            if self.squares > filled * self.noisy {
                return Some(Kind::Noisy);
            }
            self.excess = Some(Excess {
                since: 0,
                squares: 0.0,
            });
            return None;
        }
        self.squares += share * (d4 * d4 - self.squares);
        self.counted = self.counted.saturating_add(1);
        (self.squares > self.noisy * self.noisy).then_some(Kind::Noisy)
    }
}

#[cfg(test)]
mod tests {
    use rand_distr::{Distribution, StandardNormal};

    use super::*;
    use crate::control::testcraft;
    use crate::math::rng::{Purpose, generator};

    /// What is found in roll that swings by 4 deg and is bent by `bend`, and when.
    fn found(noise: f64, bend: impl Fn(usize, f64, f64) -> f64) -> Option<(usize, Kind)> {
        first_sign(noise, bend).map(|(k, _, kind)| (k, kind))
    }

    /// The same with the sample of the first sign.
    fn first_sign(
        noise: f64,
        bend: impl Fn(usize, f64, f64) -> f64,
    ) -> Option<(usize, usize, Kind)> {
        let setup = testcraft::setup();
        let mut s = Signal::new(Place::Attitude(0), &setup, 1e-9);
        let mut y = Measurement::at_trim(&setup);
        let mut rng = generator(3, 0, Purpose::Sensors, 0);
        let mut last = 0.0;
        (0..3000).find_map(|k| {
            let n: f64 = StandardNormal.sample(&mut rng);
            let sigma = noise * setup.sensors.attitude.noise;
            let good = 0.07 * (0.09 * k as f64).sin() + sigma * n;
            y.phi_rad = bend(k, good, last);
            last = y.phi_rad;
            let ago = |s: f64| (s / setup.sample_period_s).round() as usize;
            s.step(&y).map(|(kind, ago_s)| (k, k - ago(ago_s), kind))
        })
    }

    #[test]
    fn frozen_is_seen_and_calm_is_not() {
        assert_eq!(found(1.0, |_, good, _| good), None);
        assert_eq!(found(0.0, |_, _, _| 0.01), None); // no noise at all: a calm craft, not a frozen sensor
        let stops = |k: usize, good: f64, last: f64| if k < 1000 { good } else { last };
        assert_eq!(found(1.0, stops), Some((1004, Kind::Frozen)));
    }

    #[test]
    fn jump_and_noise_are_told_apart() {
        let bias = |k: usize, good: f64, _: f64| good + if k < 1000 { 0.0 } else { 0.035 };
        let (k, sign, kind) = first_sign(1.0, bias).unwrap();
        assert!((1000..1004).contains(&sign) && kind == Kind::Jumps, "{k}");
        // a jump and the beginning of noise look alike at first: both are watched for as long
        assert!(k < sign + 20, "{k}");
        let louder = |k: usize, good: f64, _: f64| {
            let truth = 0.07 * (0.09 * k as f64).sin();
            truth + if k < 1000 { 1.0 } else { 8.0 } * (good - truth)
        };
        let (k, sign, kind) = first_sign(1.0, louder).unwrap();
        assert!((1000..1030).contains(&sign), "{sign}");
        assert!(k < sign + 20 && kind == Kind::Noisy, "{k} {kind:?}");
        let (k, kind) = found(6.0, |_, good, _| good).unwrap();
        assert!(k < 60 && kind == Kind::Noisy, "{k} {kind:?}");
    }
}
