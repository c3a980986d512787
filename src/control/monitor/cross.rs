//! Signals against each other: rates with attitude, attitude with gravity, heights among themselves.
//!
//! # Equation
//! ```text
//! rates      phi' = p + tan(theta) (q sin phi + r cos phi),   theta' = q cos phi - r sin phi
//!            s_k = e^(-cT) (s_(k-1) + angle_k - angle_(k-1) - T (rate_k + rate_(k-1))/2),   c = 0.2 rad/s
//!            bounded part 3 bias/c + (difference of delays) |rate|
//! gravity    angle - angle of the specific force, second-order low-pass at 0.05 rad/s
//!            phi_f = -(f_y - U r)/g,   theta_f = f_x/g
//! vertical   (R f)_z + g through the same low-pass: no craft accelerates upwards for long
//! heights    z_i = -h_i - (R r_i)_z, low-pass as above, each against the mean of the others (one alone: trim)
//! ```
//! The first has white noise only and a fixed sigma; in the others the sea leaves a scatter that is learnt over
//! five minutes ([`super::threshold::Level`]).
//!
//! # Symbols
//! As in [`crate::control::signal`]; U speed (m/s), r yaw rate (rad/s), T sample period (s).
//!
//! # Valid when
//! Rolls and pitches below a quarter turn. Which of a pair is wrong is told by a jump ([`super::signals`]); without one
//! a constant difference of rates is laid to the rate sensor, anything else to the attitude. A slow drift of attitude
//! and a bias of the accelerometer look alike: the attitude is named.
//!
//! # Source
//! Kinematics: Fossen 2011, Handbook of Marine Craft Hydrodynamics and Motion Control, section 2.2; complementary
//! pairs: Titterton & Weston 2004, Strapdown Inertial Navigation Technology, chapter 3; the choice of who is wrong is our own.
//!
//! # Checked by
//! `rate_bias_and_attitude_are_told_apart`, `healthy_readings_pass_untouched`

use super::signals::Place;
use super::threshold::{Level, level};
use crate::control::filter::Section;
use crate::control::signal::{Measurement, Setup, vertical};
use crate::units::G_M_S2;

/// Corner of the pair of rate and attitude, rad/s.
const PAIR_RAD_S: f64 = 0.2;
/// Corner of the slow comparisons, rad/s.
const SLOW_RAD_S: f64 = 0.05;
/// Time over which their scatter is learnt, and before they are armed, s.
const LEARNS_S: f64 = 300.0;
/// Time for which a slow comparison must be off, s.
const PERSISTS_S: f64 = 10.0;
/// Time over which a pair is watched after its alarm, s.
const WATCH_S: f64 = 3.0;

/// Rate of roll and pitch angle by the rates, rad/s.
pub fn turning(y: &Measurement) -> [f64; 2] {
    let (sf, cf) = y.phi_rad.sin_cos();
    let r = &y.rates_rad_s;
    [
        r.x + y.theta_rad.tan() * (r.y * sf + r.z * cf),
        r.y * cf - r.z * sf,
    ]
}

/// Roll and pitch by the direction of gravity, rad.
pub fn by_gravity(y: &Measurement) -> [f64; 2] {
    let f = &y.specific_force_m_s2;
    let side = f.y - y.speed_m_s * y.rates_rad_s.z;
    [
        (-side / G_M_S2).clamp(-1.0, 1.0).asin(),
        (f.x / G_M_S2).clamp(-1.0, 1.0).asin(),
    ]
}

/// Rate against attitude on one axis.
#[derive(Clone, Debug)]
struct Pair {
    sum: f64,
    last: Option<(f64, f64)>,
    level: Level,
    keep: f64,
    period_s: f64,
    band: f64,
    timing_s: f64,
    /// Samples since the alarm, sum and sum of squares of the difference of rates, of rates.
    watch: Option<[f64; 4]>,
}

impl Pair {
    fn new(setup: &Setup, per_s: f64) -> Self {
        let (a, r) = (&setup.sensors.attitude, &setup.sensors.rate);
        let t = setup.sample_period_s;
        let lag = |e: &crate::control::signal::SensorError| e.delay_s + 1.0 / e.corner_rad_s;
        // noise of the sum: that of the angle, and the integrated one of the rate
        let floor = a
            .scatter()
            .hypot(r.scatter() * (t / (2.0 * PAIR_RAD_S)).sqrt());
        let k = level(std::f64::consts::PI / t, per_s);
        Pair {
            sum: 0.0,
            last: None,
            level: Level::new(k, floor.max(1e-5), None, 3, 20),
            keep: (-PAIR_RAD_S * t).exp(),
            period_s: t,
            band: 3.0 * r.bias / PAIR_RAD_S,
            timing_s: (lag(a) - lag(r)).abs() + 0.1 * t,
            watch: None,
        }
    }

    fn restart(&mut self) {
        (self.sum, self.last, self.watch) = (0.0, None, None);
    }

    /// True: the rate is wrong; false: the attitude.
    fn step(&mut self, angle: f64, rate: f64) -> Option<bool> {
        let t = self.period_s;
        let (angle0, rate0) = self.last.replace((angle, rate))?;
        let differs = (angle - angle0) / t - 0.5 * (rate + rate0);
        self.sum = self.keep * (self.sum + t * differs);
        let band = self.band + self.timing_s * rate.abs();
        let alarm = self.level.step(self.sum, band);
        let Some([n, d, dd, rr]) = &mut self.watch else {
            if alarm {
                self.watch = Some([0.0; 4]);
            }
            return None;
        };
        *n += 1.0;
        *d += differs;
        *dd += differs * differs;
        *rr += rate * rate;
        if *n * t < WATCH_S {
            return None;
        }
        let mean = *d / *n;
        let left = (*dd / *n - mean * mean).max(0.0);
        // differences of attitude noise over a sample are large; only what is beyond counts
        let noise = 2.0 * (self.level.sigma() / t) * (self.level.sigma() / t);
        let constant = (left - noise).max(0.0) < 0.1 * *rr / *n || mean * mean > left;
        self.watch = None;
        Some(constant)
    }
}

/// A slow comparison.
#[derive(Clone, Debug)]
struct Slow {
    lp: Section,
    level: Level,
    value: f64,
}

impl Slow {
    fn new(floor: f64, setup: &Setup, per_s: f64) -> Self {
        let samples = |s: f64| (s / setup.sample_period_s).round() as u32;
        Slow {
            lp: Section::low_pass_2(SLOW_RAD_S, 0.7, setup.sample_period_s),
            level: Level::new(
                level(SLOW_RAD_S, per_s),
                floor,
                Some(LEARNS_S / setup.sample_period_s),
                samples(PERSISTS_S),
                samples(LEARNS_S),
            ),
            value: 0.0,
        }
    }

    fn step(&mut self, x: f64) -> bool {
        self.value = self.lp.step(x);
        self.level.step(self.value, 0.0)
    }
}

/// All comparisons.
#[derive(Clone, Debug)]
pub struct Cross {
    pairs: [Pair; 2],
    gravity: [Slow; 2],
    up: Slow,
    heights: Vec<Slow>,
    places_m: Vec<nalgebra::Vector3<f64>>,
    trim_heave_m: f64,
}

impl Cross {
    /// Number of tests, for the share each has of the false alarms.
    pub fn tests(setup: &Setup) -> usize {
        5 + setup.height_sensors_m.len()
    }

    /// Comparisons of `setup`, each alarming falsely `per_s` times a second.
    pub fn new(setup: &Setup, per_s: f64) -> Self {
        let s = &setup.sensors;
        // the floor lets three stated biases stand by themselves within a level of five sigma
        let tilt = s.attitude.bias.hypot(s.acceleration.bias / G_M_S2);
        Cross {
            pairs: [(); 2].map(|()| Pair::new(setup, per_s)),
            gravity: [(); 2].map(|()| Slow::new(tilt.max(2e-3), setup, per_s)),
            up: Slow::new(s.acceleration.bias.max(0.01), setup, per_s),
            heights: setup
                .height_sensors_m
                .iter()
                .map(|_| Slow::new((1.5 * s.height.bias).max(0.02), setup, per_s))
                .collect(),
            places_m: setup.height_sensors_m.clone(),
            trim_heave_m: setup.trim_heave_m,
        }
    }

    /// After a gap.
    pub fn restart(&mut self) {
        self.pairs.iter_mut().for_each(Pair::restart);
    }

    /// One sample; `good` tells which signals are still trusted. At most one finding a sample.
    pub fn step(&mut self, y: &Measurement, good: impl Fn(Place) -> bool) -> Option<Place> {
        let mut found = None;
        let rates = (0..3).all(|i| good(Place::Rate(i))) && y.valid.rates;
        let level = (0..2).all(|i| good(Place::Attitude(i))) && y.valid.attitude;
        if rates && level {
            let turns = turning(y);
            for (i, pair) in self.pairs.iter_mut().enumerate() {
                let angle = if i == 0 { y.phi_rad } else { y.theta_rad };
                if let Some(rate) = pair.step(angle, turns[i]) {
                    found = Some(if rate {
                        Place::Rate(i)
                    } else {
                        Place::Attitude(i)
                    });
                }
            }
        } else {
            self.restart();
        }
        if !level {
            return found;
        }
        if y.valid.acceleration && good(Place::Acceleration(2)) {
            if rates && good(Place::Speed) && good(Place::Acceleration(0)) {
                let tilt = by_gravity(y);
                let at = [y.phi_rad, y.theta_rad];
                for (i, slow) in self.gravity.iter_mut().enumerate() {
                    if slow.step(at[i] - tilt[i]) {
                        found = found.or(Some(Place::Attitude(i)));
                    }
                }
            }
            let up = vertical(&y.specific_force_m_s2, y.phi_rad, y.theta_rad) + G_M_S2;
            if self.up.step(up) {
                found = found.or(Some(Place::Acceleration(2)));
            }
        }
        found.or_else(|| self.compare_heights(y, good))
    }

    fn compare_heights(&mut self, y: &Measurement, good: impl Fn(Place) -> bool) -> Option<Place> {
        let n = self.places_m.len();
        let usable = |i: usize| y.valid.height[i] && good(Place::Height(i));
        let heave = |i: usize| -y.height_m[i] - vertical(&self.places_m[i], y.phi_rad, y.theta_rad);
        let (mut sum, mut count) = (0.0, 0.0);
        for i in (0..n).filter(|&i| usable(i)) {
            sum += heave(i);
            count += 1.0;
        }
        let mut worst: Option<(f64, usize)> = None;
        let mut alarm = false;
        for i in (0..n).filter(|&i| usable(i)) {
            let others = if count > 1.0 {
                (sum - heave(i)) / (count - 1.0)
            } else {
                self.trim_heave_m
            };
            let own = heave(i);
            alarm |= self.heights[i].step(own - others);
            let far = if count > 2.0 {
                self.heights[i].value.abs()
            } else {
                (own - self.trim_heave_m).abs()
            };
            if worst.is_none_or(|w| far > w.0) {
                worst = Some((far, i));
            }
        }
        worst.filter(|_| alarm).map(|w| Place::Height(w.1))
    }
}
