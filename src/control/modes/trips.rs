//! What makes an engaged law let go.
//!
//! # Equation
//! ```text
//! m(k+1) = m(k) + clamp(sent - m, +-rate T)       where a healthy servo would be, its lag apart
//! trip   when |roll|, |pitch - trim|, |p|, |q| or |angle - m| stay beyond their limits for their times
//! ```
//!
//! # Symbols
//! m angle of the model (rad), rate greatest rate of the servo (rad/s), T sample period (s).
//!
//! # Valid when
//! The allowed miss covers the lag and delay of a healthy servo: rate times (2 zeta / w_n + delay).
//!
//! # Source
//! Command-response comparison: common practice; no source.
//!
//! # Checked by
//! `each_cause_trips_after_its_time`, `healthy_servo_does_not_trip`

use super::super::signal::{Measurement, Setup};
use super::speed::SpeedSignal;
use crate::spec::controller::TripsSpec;
use crate::units::{deg, to_deg};

/// Why a law let go.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cause {
    /// Roll, rad.
    Roll(f64),
    /// Pitch off trim, rad.
    Pitch(f64),
    /// Roll or pitch rate, rad/s.
    Rate(f64),
    /// A fin, by its index, misses its angle by so much, rad.
    Servo(usize, f64),
    /// A group of readings is invalid.
    Sensor(&'static str),
    /// The speed signal is lost.
    Speed,
}

impl Cause {
    /// Number in the record: 0 is none.
    pub fn code(self) -> f64 {
        match self {
            Cause::Roll(_) => 1.0,
            Cause::Pitch(_) => 2.0,
            Cause::Rate(_) => 3.0,
            Cause::Servo(..) => 4.0,
            Cause::Sensor(_) => 5.0,
            Cause::Speed => 6.0,
        }
    }

    /// In words; `names` are those of the surfaces.
    pub fn words(self, names: &[String]) -> String {
        match self {
            Cause::Roll(v) => format!("roll {:.1} deg", to_deg(v)),
            Cause::Pitch(v) => format!("pitch {:.1} deg off trim", to_deg(v)),
            Cause::Rate(v) => format!("rate {:.1} deg/s", to_deg(v)),
            Cause::Servo(i, v) => format!("{} misses its angle by {:.1} deg", names[i], to_deg(v)),
            Cause::Sensor(group) => format!("no valid {group}"),
            Cause::Speed => "speed signal lost".into(),
        }
    }
}

/// Watches.
#[derive(Clone, Debug)]
pub struct Trips {
    spec: TripsSpec,
    period_s: f64,
    trim_pitch_rad: f64,
    channels: Vec<usize>,
    rate_rad_s: Vec<f64>,
    signals: &'static [&'static str],
    model_rad: Vec<f64>,
    miss_s: Vec<f64>,
    motion_s: [f64; 3],
    sensor_s: f64,
    speed_s: f64,
}

impl Trips {
    /// From the file.
    pub fn new(spec: &TripsSpec) -> Self {
        Trips {
            spec: spec.clone(),
            period_s: 0.0,
            trim_pitch_rad: 0.0,
            channels: Vec::new(),
            rate_rad_s: Vec::new(),
            signals: &[],
            model_rad: Vec::new(),
            miss_s: Vec::new(),
            motion_s: [0.0; 3],
            sensor_s: 0.0,
            speed_s: 0.0,
        }
    }

    /// Prepares for a run; `channels` are the fins of the law, `signals` the groups it reads.
    pub fn reset(&mut self, setup: &Setup, channels: &[usize], signals: &'static [&'static str]) {
        self.period_s = setup.sample_period_s;
        self.trim_pitch_rad = setup.trim_pitch_rad;
        self.channels = channels.to_vec();
        self.rate_rad_s = setup.surfaces.iter().map(|s| s.rate_rad_s).collect();
        self.signals = signals;
        self.model_rad = setup.surfaces.iter().map(|s| s.trim_rad).collect();
        self.miss_s = vec![0.0; setup.surfaces.len()];
        self.forget();
    }

    /// All times run anew.
    pub fn forget(&mut self) {
        self.miss_s.fill(0.0);
        self.motion_s = [0.0; 3];
        self.sensor_s = 0.0;
        self.speed_s = 0.0;
    }

    /// One sample; `sent_rad` are the commands of the last one.
    pub fn step(&mut self, y: &Measurement, sent_rad: &[f64], speed: SpeedSignal) -> Option<Cause> {
        let servo = self.servo(y, sent_rad);
        let motion = self.motion(y);
        let sensor = self.sensor(y);
        let limit = self.spec.speed_for_s;
        let lost = past(
            &mut self.speed_s,
            speed == SpeedSignal::Lost,
            self.period_s,
            limit,
        );
        motion.or(servo).or(sensor).or(lost.then_some(Cause::Speed))
    }

    fn motion(&mut self, y: &Measurement) -> Option<Cause> {
        let (roll, pitch) = if y.valid.attitude {
            (y.phi_rad, y.theta_rad - self.trim_pitch_rad)
        } else {
            (0.0, 0.0)
        };
        let (p, q) = (y.rates_rad_s.x, y.rates_rad_s.y);
        let rate = match (y.valid.rates, p.abs() > q.abs()) {
            (false, _) => 0.0,
            (true, true) => p,
            (true, false) => q,
        };
        let s = &self.spec;
        let all = [
            (roll, s.roll_deg, Cause::Roll(roll)),
            (pitch, s.pitch_deg, Cause::Pitch(pitch)),
            (rate, s.rate_deg_s, Cause::Rate(rate)),
        ];
        let mut found = None;
        for ((value, limit, cause), since) in all.into_iter().zip(&mut self.motion_s) {
            let beyond = limit.is_some_and(|l| value.abs() > deg(l));
            let after = Some(s.motion_for_s);
            if past(since, beyond, self.period_s, after) {
                found = found.or(Some(cause));
            }
        }
        found
    }

    fn servo(&mut self, y: &Measurement, sent_rad: &[f64]) -> Option<Cause> {
        let mut found = None;
        for &i in &self.channels {
            let most = self.rate_rad_s[i] * self.period_s;
            let m = &mut self.model_rad[i];
            *m += (sent_rad[i] - *m).clamp(-most, most);
            let miss = y.surface_rad[i] - *m;
            let beyond =
                y.valid.surface[i] && self.spec.servo_deg.is_some_and(|l| miss.abs() > deg(l));
            let after = Some(self.spec.servo_for_s);
            if past(&mut self.miss_s[i], beyond, self.period_s, after) {
                found = found.or(Some(Cause::Servo(i, miss)));
            }
        }
        found
    }

    fn sensor(&mut self, y: &Measurement) -> Option<Cause> {
        let v = &y.valid;
        let dead = |group: &str| match group {
            "rates" => !v.rates,
            "attitude" => !v.attitude,
            "acceleration" => !v.acceleration,
            "height" => !v.height.is_empty() && v.height.iter().all(|h| !h),
            "surface" => self.channels.iter().any(|&i| !v.surface[i]),
            _ => false,
        };
        let group = self.signals.iter().find(|g| dead(g)).copied();
        let limit = self.spec.sensor_for_s;
        let tripped = past(&mut self.sensor_s, group.is_some(), self.period_s, limit);
        group.filter(|_| tripped).map(Cause::Sensor)
    }
}

/// Counts the time for which something holds; true when it has held longer than allowed.
fn past(since_s: &mut f64, holds: bool, period_s: f64, allowed_s: Option<f64>) -> bool {
    *since_s = if holds { *since_s + period_s } else { 0.0 };
    // half a sample: sums of decimal periods are not exact
    allowed_s.is_some_and(|a| holds && *since_s > a + 0.5 * period_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::testcraft;

    /// What goes wrong with the readings.
    type Spoil = fn(&mut Measurement);

    const SIGNALS: &[&str] = &["rates", "attitude", "acceleration", "height", "surface"];

    fn spec() -> TripsSpec {
        TripsSpec {
            roll_deg: Some(15.0),
            pitch_deg: Some(8.0),
            rate_deg_s: Some(12.0),
            servo_deg: Some(6.0),
            sensor_for_s: Some(1.0),
            speed_for_s: Some(3.0),
            ..TripsSpec::default()
        }
    }

    fn trips(setup: &Setup) -> Trips {
        let mut t = Trips::new(&spec());
        t.reset(setup, &[0, 1, 2, 3], SIGNALS);
        t
    }

    #[test]
    fn each_cause_trips_after_its_time() {
        let setup = testcraft::setup();
        let cases: [(Spoil, f64, &str); 7] = [
            (|y| y.phi_rad = -0.3, 0.5, "roll -17.2 deg"),
            (|y| y.theta_rad += 0.15, 0.5, "pitch 8.6 deg off trim"),
            (|y| y.rates_rad_s.y = 0.25, 0.5, "rate 14.3 deg/s"),
            (
                |y| y.surface_rad[2] -= 0.12,
                2.0,
                "aft_p misses its angle by -6.9 deg",
            ),
            (|y| y.valid.attitude = false, 1.0, "no valid attitude"),
            (|y| y.valid.height.fill(false), 1.0, "no valid height"),
            (|y| y.valid.surface[1] = false, 1.0, "no valid surface"),
        ];
        let names: Vec<String> = setup.surfaces.iter().map(|s| s.name.clone()).collect();
        for (spoil, after_s, words) in cases {
            let mut t = trips(&setup);
            let good = Measurement::at_trim(&setup);
            let sent: Vec<f64> = setup.surfaces.iter().map(|s| s.trim_rad).collect();
            assert_eq!(t.step(&good, &sent, SpeedSignal::Held), None);
            let mut bad = good.clone();
            spoil(&mut bad);
            let found = (1..100).find_map(|k| {
                t.step(&bad, &sent, SpeedSignal::Good)
                    .map(|c| (0.1 * f64::from(k), c.words(&names)))
            });
            let (at, told) = found.unwrap();
            assert_eq!(told, words);
            assert!((at - after_s - 0.1).abs() < 1e-9, "{words} after {at} s");
            // a good sample in between starts the time anew
            t.forget();
            for k in 0..100 {
                let y = if k % 5 == 0 { &good } else { &bad };
                assert_eq!(t.step(y, &sent, SpeedSignal::Good), None, "{words}");
            }
        }
        let mut t = trips(&setup);
        let sent: Vec<f64> = setup.surfaces.iter().map(|s| s.trim_rad).collect();
        let y = Measurement::at_trim(&setup);
        let after = (0..100).find(|_| t.step(&y, &sent, SpeedSignal::Lost).is_some());
        assert_eq!(after, Some(30));
    }

    #[test]
    fn healthy_servo_does_not_trip() {
        let setup = testcraft::setup();
        let mut t = trips(&setup);
        let mut y = Measurement::at_trim(&setup);
        let mut sent: Vec<f64> = setup.surfaces.iter().map(|s| s.trim_rad).collect();
        let mut past = std::collections::VecDeque::from(vec![sent.clone(); 2]);
        // stop to stop at the servo's greatest rate, lag 0.12 s and delay 0.1 s
        for k in 0..2000 {
            let full = if (k / 25) % 2 == 0 { 0.35 } else { -0.35 };
            sent[..4].fill(full);
            past.push_back(sent.clone());
            let due = past.pop_front().unwrap();
            for (angle, due) in y.surface_rad.iter_mut().zip(&due).take(4) {
                *angle += 0.1 * ((due - *angle) / 0.12).clamp(-0.44, 0.44);
            }
            assert_eq!(t.step(&y, &sent, SpeedSignal::Good), None, "{k}");
        }
    }
}
