//! The servos as the monitor knows them, run on the commands that were issued.
//!
//! # Equation
//! As [`crate::dynamics::actuator`] states it, in steps of a twentieth of a sample: rate asked
//! `(wn/(2 zeta)) dead(command - angle)`, shared by the supply, within the limit; acceleration
//! `2 zeta wn (rate asked - rate)`; play behind it; then filter and delay of the angle's sensor.
//!
//! # Symbols
//! As there. The model is written anew because laws stand below the craft's dynamics, and a monitor has to be
//! able to run on a craft.
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

/// Steps of the model in a sample.
const STEPS: usize = 20;

/// One servo.
#[derive(Clone, Debug)]
struct Servo {
    loop_gain: f64,
    damping_rad_s: f64,
    half_dead_rad: f64,
    half_play_rad: f64,
    rate_rad_s: f64,
    min_rad: f64,
    max_rad: f64,
    supply: Option<usize>,
    /// Commands waiting, newest last, one a step.
    waiting: Vec<f64>,
    /// Filtered angles waiting.
    sensed: Vec<f64>,
    at: (usize, usize),
    filter_share: f64,
    angle: f64,
    rate: f64,
    surface: f64,
    filtered: f64,
    wants: f64,
    seen: f64,
}

impl Servo {
    fn stand(&mut self, angle_rad: f64) {
        self.waiting.fill(angle_rad);
        self.sensed.fill(angle_rad);
        (self.angle, self.surface, self.filtered) = (angle_rad, angle_rad, angle_rad);
        (self.rate, self.seen) = (0.0, angle_rad);
    }

    fn ask(&mut self, command_rad: f64) {
        let at = self.at.0;
        let now = std::mem::replace(&mut self.waiting[at], command_rad);
        self.at.0 = (at + 1) % self.waiting.len();
        let error = now - self.angle;
        let felt = error - error.clamp(-self.half_dead_rad, self.half_dead_rad);
        self.wants = (self.loop_gain * felt).clamp(-self.rate_rad_s, self.rate_rad_s);
    }

    fn move_on(&mut self, share: f64, dt_s: f64) {
        // exact for a rate that is asked throughout the step
        let keep = (-self.damping_rad_s * dt_s).exp();
        let to = share * self.wants;
        let next = to + (self.rate - to) * keep;
        self.angle += to * dt_s + (self.rate - to) * (1.0 - keep) / self.damping_rad_s;
        self.rate = next;
        if self.angle > self.max_rad || self.angle < self.min_rad {
            self.angle = self.angle.clamp(self.min_rad, self.max_rad);
            self.rate = 0.0;
        }
        let (a, b) = (
            self.angle - self.half_play_rad,
            self.angle + self.half_play_rad,
        );
        self.surface = self.surface.clamp(a, b);
        self.filtered += self.filter_share * (self.surface - self.filtered);
        let at = self.at.1;
        self.seen = std::mem::replace(&mut self.sensed[at], self.filtered);
        self.at.1 = (at + 1) % self.sensed.len();
    }
}

/// All servos of the craft.
#[derive(Clone, Debug, Default)]
pub struct Servos {
    each: Vec<Servo>,
    supplies_rad_s: Vec<f64>,
    asked_rad_s: Vec<f64>,
    dt_s: f64,
}

impl Servos {
    /// The servos of `setup`, standing at trim.
    pub fn new(setup: &Setup) -> Self {
        let dt_s = setup.sample_period_s / STEPS as f64;
        let whole = |delay_s: f64| (delay_s / dt_s).round().clamp(0.0, 1e5) as usize + 1;
        let sensor = &setup.sensors.surface;
        let servos = setup.surfaces.iter().map(|s| {
            let v = &s.servo;
            let mut servo = Servo {
                loop_gain: v.natural_frequency_rad_s / (2.0 * v.damping_ratio),
                damping_rad_s: 2.0 * v.damping_ratio * v.natural_frequency_rad_s,
                half_dead_rad: 0.5 * v.dead_band_rad,
                half_play_rad: 0.5 * v.backlash_rad,
                rate_rad_s: s.rate_rad_s,
                min_rad: s.min_rad,
                max_rad: s.max_rad,
                supply: v.supply,
                waiting: vec![0.0; whole(v.delay_s)],
                sensed: vec![0.0; whole(sensor.delay_s)],
                at: (0, 0),
                filter_share: 1.0 - (-sensor.corner_rad_s * dt_s).exp(),
                angle: 0.0,
                rate: 0.0,
                surface: 0.0,
                filtered: 0.0,
                wants: 0.0,
                seen: 0.0,
            };
            servo.stand(s.trim_rad);
            servo
        });
        Servos {
            each: servos.collect(),
            asked_rad_s: vec![0.0; setup.supplies_rad_s.len()],
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
                s.ask(*c);
                if let Some(asked) = s.supply.and_then(|k| self.asked_rad_s.get_mut(k))
                    && moves(i)
                {
                    *asked += s.wants.abs();
                }
            }
            for s in &mut self.each {
                let share = s.supply.map_or(1.0, |k| {
                    let (asked, there) = (self.asked_rad_s[k], self.supplies_rad_s[k]);
                    if asked > there { there / asked } else { 1.0 }
                });
                s.move_on(share, self.dt_s);
            }
        }
    }

    /// What the angle's sensor should read, rad.
    pub fn reading_rad(&self, i: usize) -> f64 {
        self.each[i].seen
    }

    /// Rate of the modelled servo, rad/s.
    pub fn rate_rad_s(&self, i: usize) -> f64 {
        self.each[i].rate
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
        // the angle is held for w dt = 0.06 rad of the servo: of order half of it where it is fastest
        assert!(worst < 0.003, "{worst}");
    }
}
