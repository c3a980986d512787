//! The servos as the monitor knows them, run on the commands that were issued.
//!
//! # Equation
//! The motion of [`crate::math::servo`], which the simulated craft has too, in steps of a twentieth of a sample: delay of
//! the command, rates shared by the supply, stops, play behind the servo; then filter and delay of the angle's sensor.
//! What a healthy angle differs by is its sensor's noise and bias, and delays that are no multiple of the step.
//!
//! # Symbols
//! As there.
//!
//! # Valid when
//! The servos are healthy: this is what they should do. Commands hold between samples.
//!
//! # Source
//! Second-order servo and rate limit: common practice; model-based residual: Isermann 2006, Fault-Diagnosis Systems,
//! Springer, chapter 10 (parity with an output model).
//!
//! # Checked by
//! `model_meets_the_closed_form`, `healthy_simulated_servos_stay_in_the_band`

use crate::control::signal::Setup;
use crate::math::servo::{ServoMotion, at_stops};

/// Steps of the model in a sample.
const STEPS: usize = 20;

/// Values waiting for their time, one a step.
#[derive(Clone, Debug)]
struct Line {
    waiting: Vec<f64>,
    at: usize,
}

impl Line {
    fn new(delay_s: f64, dt_s: f64) -> Self {
        let steps = (delay_s / dt_s).round().clamp(0.0, 1e5) as usize;
        Line {
            waiting: vec![0.0; steps + 1],
            at: 0,
        }
    }

    /// Takes one in, gives the one whose time has come: at once without delay.
    fn pass(&mut self, value: f64) -> f64 {
        let n = self.waiting.len();
        self.waiting[self.at] = value;
        self.at = (self.at + 1) % n;
        self.waiting[self.at]
    }
}

/// One servo.
#[derive(Clone, Debug)]
struct Servo {
    motion: ServoMotion,
    /// Its transition over a step.
    free: [f64; 4],
    half_play_rad: f64,
    rate_limit_rad_s: f64,
    stops_rad: (f64, f64),
    supply: Option<usize>,
    commands: Line,
    readings: Line,
    /// Corner times step of the sensor's filter, and what a step leaves of it.
    filter: [f64; 2],
    command_rad: f64,
    angle_rad: f64,
    rate_rad_s: f64,
    surface_rad: f64,
    filtered_rad: f64,
    seen_rad: f64,
}

impl Servo {
    fn stand(&mut self, angle_rad: f64) {
        self.commands.waiting.fill(angle_rad);
        self.readings.waiting.fill(angle_rad);
        (self.angle_rad, self.surface_rad, self.filtered_rad) = (angle_rad, angle_rad, angle_rad);
        (self.rate_rad_s, self.seen_rad, self.command_rad) = (0.0, angle_rad, angle_rad);
    }

    /// Takes a command in; the rate it asks for now, rad/s.
    fn ask(&mut self, command_rad: f64) -> f64 {
        self.command_rad = self.commands.pass(command_rad);
        self.motion
            .rate_command(self.command_rad, self.angle_rad, self.rate_limit_rad_s)
    }

    fn move_on(&mut self, limit_rad_s: f64, dt_s: f64) {
        let held = (self.command_rad, limit_rad_s);
        let from = (self.angle_rad, self.rate_rad_s);
        let to = self.motion.advance(&self.free, held, from, dt_s);
        (self.angle_rad, self.rate_rad_s) = at_stops(self.stops_rad, to);
        let before = self.surface_rad;
        self.surface_rad = before.clamp(
            self.angle_rad - self.half_play_rad,
            self.angle_rad + self.half_play_rad,
        );
        let [x, left] = self.filter;
        self.filtered_rad = if x.is_finite() {
            // exact for an angle that is linear over the step, as in the craft's own sensor
            let slope = (self.surface_rad - before) / x;
            self.surface_rad - slope + (self.filtered_rad - before + slope) * left
        } else {
            self.surface_rad
        };
        self.seen_rad = self.readings.pass(self.filtered_rad);
    }
}

/// All servos of the craft.
#[derive(Clone, Debug, Default)]
pub struct Servos {
    each: Vec<Servo>,
    supplies_rad_s: Vec<f64>,
    asked_rad_s: Vec<f64>,
    wants_rad_s: Vec<f64>,
    dt_s: f64,
}

impl Servos {
    /// The servos of `setup`, standing at trim.
    pub fn new(setup: &Setup) -> Self {
        let dt_s = setup.sample_period_s / STEPS as f64;
        let sensor = &setup.sensors.surface;
        let servos = setup.surfaces.iter().map(|s| {
            let v = &s.servo;
            let motion = ServoMotion {
                natural_frequency_rad_s: v.natural_frequency_rad_s,
                damping_ratio: v.damping_ratio,
                dead_band_rad: v.dead_band_rad,
            };
            let x = sensor.corner_rad_s * dt_s;
            let mut servo = Servo {
                free: motion.free_motion(dt_s),
                motion,
                half_play_rad: 0.5 * v.backlash_rad,
                rate_limit_rad_s: s.rate_rad_s,
                stops_rad: (s.min_rad, s.max_rad),
                supply: v.supply,
                commands: Line::new(v.delay_s, dt_s),
                readings: Line::new(sensor.delay_s, dt_s),
                filter: [x, (-x).exp()],
                command_rad: 0.0,
                angle_rad: 0.0,
                rate_rad_s: 0.0,
                surface_rad: 0.0,
                filtered_rad: 0.0,
                seen_rad: 0.0,
            };
            servo.stand(s.trim_rad);
            servo
        });
        Servos {
            each: servos.collect(),
            asked_rad_s: vec![0.0; setup.supplies_rad_s.len()],
            wants_rad_s: vec![0.0; setup.surfaces.len()],
            supplies_rad_s: setup.supplies_rad_s.clone(),
            dt_s,
        }
    }

    /// Puts a servo at rest at this angle.
    pub fn stand(&mut self, i: usize, angle_rad: f64) {
        self.each[i].stand(angle_rad);
    }

    /// One sample under commands that held throughout it. A surface that `moves` denies asks nothing of its supply.
    pub fn advance(&mut self, command_rad: &[f64], moves: impl Fn(usize) -> bool) {
        for _ in 0..STEPS {
            self.asked_rad_s.fill(0.0);
            for (i, (s, c)) in self.each.iter_mut().zip(command_rad).enumerate() {
                self.wants_rad_s[i] = s.ask(*c);
                if let Some(asked) = s.supply.and_then(|k| self.asked_rad_s.get_mut(k))
                    && moves(i)
                {
                    *asked += self.wants_rad_s[i].abs();
                }
            }
            for (s, wants) in self.each.iter_mut().zip(&self.wants_rad_s) {
                let short = s.supply.and_then(|k| {
                    let (asked, there) = (*self.asked_rad_s.get(k)?, self.supplies_rad_s[k]);
                    (asked > there).then(|| wants.abs() * (there / asked).max(0.0))
                });
                s.move_on(short.unwrap_or(s.rate_limit_rad_s), self.dt_s);
            }
        }
    }

    /// What the angle's sensor should read, rad.
    pub fn reading_rad(&self, i: usize) -> f64 {
        self.each[i].seen_rad
    }

    /// Rate of the modelled servo, rad/s.
    pub fn rate_rad_s(&self, i: usize) -> f64 {
        self.each[i].rate_rad_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::testcraft;

    #[test]
    fn model_meets_the_closed_form() {
        let mut setup = testcraft::setup();
        setup.sensors.surface.corner_rad_s = f64::INFINITY;
        setup.sensors.surface.delay_s = 0.0;
        for s in &mut setup.surfaces {
            (s.servo.dead_band_rad, s.servo.backlash_rad) = (0.0, 0.0);
            (s.servo.delay_s, s.trim_rad) = (0.0, 0.0);
            s.rate_rad_s = 10.0;
        }
        let mut model = Servos::new(&setup);
        let v = setup.surfaces[0].servo;
        let (w, z) = (v.natural_frequency_rad_s, v.damping_ratio);
        let wd = w * (1.0 - z * z).sqrt();
        let command = [0.1; 6];
        let mut worst = 0.0_f64;
        for k in 1..=12 {
            model.advance(&command, |_| true);
            let t = 0.1 * f64::from(k);
            let decay = (-z * w * t).exp() * ((wd * t).cos() + z * w / wd * (wd * t).sin());
            // a step of a second-order servo: Franklin, Powell & Emami-Naeini, section 3.3
            worst = worst.max((model.reading_rad(0) - 0.1 * (1.0 - decay)).abs());
        }
        // exact inside the limits: rounding only
        assert!(worst < 1e-12, "{worst}");
    }
}
