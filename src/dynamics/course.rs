//! Course and speed hold.
//!
//! # Equation
//! ```text
//! rudder:  delta = delta_trim + P e_f + D r ,   T_f e_f' = e - e_f ,   e = psi - course
//! thrust:  T = T_trim + 2 m/T_s (U - u) + m/T_s^2 integral(U - u) dt
//! ```
//!
//! # Symbols
//! e heading error (rad), e_f the same behind the wave filter of time constant T_f (s), r yaw rate
//! (rad/s), P (rad/rad), D (rad s/rad); u measured speed, U the one asked for (m/s), m mass with
//! added mass in surge (kg), T_s time constant of the speed hold (s).
//!
//! A bow to starboard of the course gives a positive rudder: trailing edge to port, force to
//! starboard at the stern, bow back to port (sign card: stern rudder positive, yaw negative). The
//! speed hold places a double pole at -1/T_s on the bare mass; resistance's own slope adds damping.
//! `T_trim` and `delta_trim` are those of the trim at U, so that a craft at trim stays there.
//!
//! # Valid when
//! T_s is several times the longest encounter period; else the shafts work against each wave.
//!
//! # Source
//! T. I. Fossen (2011), Handbook of Marine Craft Hydrodynamics and Motion Control, Wiley, sections
//! 11.2 (wave filtering) and 12.2 (PD heading autopilot). Pole placement: own derivation.
//!
//! # Checked by
//! `bow_to_starboard_asks_positive_rudder`, `wave_filter_passes_the_mean`,
//! `speed_settles_without_offset`, `integrator_does_not_wind_up`, `heading_error_wraps`,
//! `orders_turn_hold_and_release`.

use std::f64::consts::{PI, TAU};

/// Keeps the heading by the rudders.
#[derive(Clone, Debug, PartialEq)]
pub struct HeadingHold {
    course_rad: f64,
    proportional: f64,
    derivative_s: f64,
    keep: f64,
    rudders: Vec<Rudder>,
    filtered_rad: f64,
    held_rad: Option<f64>,
}

/// A rudder of the heading hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rudder {
    /// Index among the surfaces.
    pub surface: usize,
    /// Angle at trim, rad.
    pub trim_rad: f64,
    /// Least angle, rad.
    pub min_rad: f64,
    /// Greatest angle, rad.
    pub max_rad: f64,
}

/// Gains of the heading hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeadingGains {
    /// Rudder angle per heading error, rad/rad.
    pub proportional: f64,
    /// Rudder angle per yaw rate, s.
    pub derivative_s: f64,
    /// Time constant of the wave filter, s; 0 for none.
    pub wave_filter_s: f64,
}

impl HeadingHold {
    /// For a course (rad) and calls every `period_s`.
    pub fn new(course_rad: f64, gains: &HeadingGains, period_s: f64, rudders: Vec<Rudder>) -> Self {
        let keep = if gains.wave_filter_s > 0.0 {
            libm::exp(-period_s / gains.wave_filter_s)
        } else {
            0.0
        };
        HeadingHold {
            course_rad,
            proportional: gains.proportional,
            derivative_s: gains.derivative_s,
            keep,
            rudders,
            filtered_rad: 0.0,
            held_rad: None,
        }
    }

    /// Forgets the past: the craft is on course.
    pub fn reset(&mut self) {
        self.filtered_rad = 0.0;
    }

    /// Another course, `change_rad` to starboard of the present one; of the heading when the rudders were
    /// held. They keep the course from now on.
    pub fn turn_by(&mut self, change_rad: f64, heading_rad: f64) {
        self.release(heading_rad);
        self.course_rad += change_rad;
    }

    /// The rudders stay at this angle off trim, rad, whatever the heading does.
    pub fn hold(&mut self, angle_rad: f64) {
        self.held_rad = Some(angle_rad);
    }

    /// Rudders that were held keep the heading of the moment from now on.
    pub fn release(&mut self, heading_rad: f64) {
        if self.held_rad.take().is_some() {
            self.course_rad = heading_rad;
            self.filtered_rad = 0.0;
        }
    }

    /// The course kept, rad.
    pub fn course_rad(&self) -> f64 {
        self.course_rad
    }

    /// Angle off trim at which the rudders are held, rad; none when they keep the course.
    pub fn held_rad(&self) -> Option<f64> {
        self.held_rad
    }

    /// Writes the held angle of each rudder into `command_rad`, over whatever stands there.
    pub fn insist(&self, command_rad: &mut [f64]) {
        if let Some(angle) = self.held_rad {
            for r in &self.rudders {
                command_rad[r.surface] = (r.trim_rad + angle).clamp(r.min_rad, r.max_rad);
            }
        }
    }

    /// Writes the angle of each rudder into `command_rad`, from measured heading and yaw rate.
    pub fn update(&mut self, heading_rad: f64, yaw_rate_rad_s: f64, command_rad: &mut [f64]) {
        let error = wrap(heading_rad - self.course_rad);
        self.filtered_rad = error + self.keep * (self.filtered_rad - error);
        let helm = self.proportional * self.filtered_rad + self.derivative_s * yaw_rate_rad_s;
        for r in &self.rudders {
            command_rad[r.surface] = (r.trim_rad + helm).clamp(r.min_rad, r.max_rad);
        }
        self.insist(command_rad);
    }

    /// The rudders it moves.
    pub fn rudders(&self) -> &[Rudder] {
        &self.rudders
    }
}

/// The angle's equal in (-pi, pi].
fn wrap(angle_rad: f64) -> f64 {
    let a = angle_rad.rem_euclid(TAU);
    if a > PI { a - TAU } else { a }
}

/// Thrust a propeller can give astern, as a fraction of ahead. Common practice, no source.
pub const ASTERN_FRAC: f64 = 0.5;

/// Keeps the speed by thrust.
#[derive(Clone, Debug, PartialEq)]
pub struct SpeedHold {
    speed_m_s: f64,
    proportional: f64,
    integral: f64,
    period_s: f64,
    trim_n: Vec<f64>,
    max_n: Vec<f64>,
    error_m: f64,
}

impl SpeedHold {
    /// For a speed (m/s), a mass with added mass (kg), a time constant and calls every `period_s`;
    /// per propulsor the thrust at trim (the resistance at that speed, shared) and the greatest one.
    pub fn new(
        speed_m_s: f64,
        mass_kg: f64,
        time_constant_s: f64,
        period_s: f64,
        trim_n: Vec<f64>,
        max_n: Vec<f64>,
    ) -> Self {
        SpeedHold {
            speed_m_s,
            proportional: 2.0 * mass_kg / time_constant_s,
            integral: mass_kg / (time_constant_s * time_constant_s),
            period_s,
            trim_n,
            max_n,
            error_m: 0.0,
        }
    }

    /// Forgets the past.
    pub fn reset(&mut self) {
        self.error_m = 0.0;
    }

    /// Another speed to keep, m/s.
    pub fn order(&mut self, speed_m_s: f64) {
        self.speed_m_s = speed_m_s;
    }

    /// The speed kept, m/s.
    pub fn speed_m_s(&self) -> f64 {
        self.speed_m_s
    }

    /// Thrust at trim per propulsor, N.
    pub fn trim_n(&self) -> &[f64] {
        &self.trim_n
    }

    /// Writes the thrust asked of each propulsor, N, from the measured speed.
    pub fn update(&mut self, speed_m_s: f64, thrust_n: &mut [f64]) {
        let shafts = self.trim_n.len() as f64;
        let error = self.speed_m_s - speed_m_s;
        let next = self.error_m + error * self.period_s;
        let share = (self.proportional * error + self.integral * next) / shafts;
        let mut free = false;
        for ((t, trim), max) in thrust_n.iter_mut().zip(&self.trim_n).zip(&self.max_n) {
            let asked = trim + share;
            *t = asked.clamp(-ASTERN_FRAC * max, *max);
            // integrate while any shaft can follow, or when the error leads back
            free |= (asked - *t).abs() < f64::EPSILON * max || (asked - *t) * error < 0.0;
        }
        if free {
            self.error_m = next;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hold(filter_s: f64) -> HeadingHold {
        let rudder = Rudder {
            surface: 1,
            trim_rad: 0.01,
            min_rad: -0.5,
            max_rad: 0.5,
        };
        let gains = HeadingGains {
            proportional: 1.0,
            derivative_s: 4.0,
            wave_filter_s: filter_s,
        };
        HeadingHold::new(0.2, &gains, 0.1, vec![rudder])
    }

    #[test]
    fn bow_to_starboard_asks_positive_rudder() {
        let mut u = [7.0, 0.0];
        let mut h = hold(0.0);
        h.update(0.3, 0.0, &mut u);
        assert!((u[1] - 0.11).abs() < 1e-12); // trim 0.01 + 1.0 * 0.1
        h.update(0.2, 0.02, &mut u);
        assert!((u[1] - 0.09).abs() < 1e-12); // trim 0.01 + 4 * 0.02
        h.update(1.5, 0.0, &mut u);
        assert!((u[1] - 0.5).abs() < 1e-12, "limit");
        assert!((u[0] - 7.0).abs() < 1e-12, "others are left alone");
    }

    #[test]
    fn wave_filter_passes_the_mean() {
        let mut h = hold(6.0);
        let mut u = [0.0; 2];
        let (mut low, mut high) = (f64::MAX, f64::MIN);
        for k in 0..3000 {
            let t = f64::from(k) * 0.1;
            // mean 0.05 rad and a yawing of the same size at 1 rad/s, whose rate is not fed
            h.update(0.25 + 0.05 * t.sin(), 0.0, &mut u);
            if k > 1000 {
                low = low.min(u[1]);
                high = high.max(u[1]);
            }
        }
        // first-order filter: gain 1/sqrt(1 + 36) at 1 rad/s, sampled at 0.1 s
        assert!((0.5 * (low + high) - 0.06).abs() < 2e-4, "{low} {high}");
        let gain = 0.5 * (high - low) / 0.05;
        assert!((gain * 37.0_f64.sqrt() - 1.0).abs() < 0.02, "{gain}"); // 0.1 s sampling
    }

    #[test]
    fn orders_turn_hold_and_release() {
        let mut u = [0.0; 2];
        let mut h = hold(0.0);
        h.turn_by(0.1, 9.0);
        h.update(0.2, 0.0, &mut u);
        assert!((u[1] + 0.09).abs() < 1e-12, "bow to port of the new course");
        h.hold(0.2);
        for heading in [0.3, 0.9] {
            h.update(heading, 0.05, &mut u);
            assert!((u[1] - 0.21).abs() < 1e-12, "trim and the held angle");
        }
        u[1] = 0.4;
        h.insist(&mut u);
        assert!((u[1] - 0.21).abs() < 1e-12, "over another's command");
        h.release(1.0);
        h.update(1.0, 0.0, &mut u);
        assert!((u[1] - 0.01).abs() < 1e-12 && (h.course_rad() - 1.0).abs() < 1e-15);
        h.release(2.0);
        assert!((h.course_rad() - 1.0).abs() < 1e-15, "nothing was held");
        h.hold(0.2);
        h.turn_by(-0.1, 1.4);
        assert!((h.course_rad() - 1.3).abs() < 1e-15 && h.held_rad().is_none());
        let mut s = SpeedHold::new(8.0, 2.5e5, 20.0, 0.1, vec![2e4; 2], vec![1e6; 2]);
        s.order(7.0);
        let mut t = [0.0; 2];
        s.update(7.0, &mut t);
        assert!((t[0] - 2e4).abs() < 1e-9 && (s.speed_m_s() - 7.0).abs() < 1e-15);
    }

    #[test]
    fn heading_error_wraps() {
        let mut h = hold(0.0);
        let mut u = [0.0; 2];
        h.update(0.3 + TAU, 0.0, &mut u);
        assert!((u[1] - 0.11).abs() < 1e-12);
        assert!((wrap(-3.5) - (TAU - 3.5)).abs() < 1e-12);
    }

    /// A mass with linear drag that differs from the feed-forward.
    fn settle(max_n: f64, seconds: f64) -> (f64, f64) {
        let mut s = SpeedHold::new(8.0, 2.5e5, 20.0, 0.1, vec![2e4; 2], vec![max_n; 2]);
        let mut t = [0.0; 2];
        let (mut u, mut most) = (6.0_f64, 0.0_f64);
        for _ in 0..(seconds / 0.1) as u32 {
            s.update(u, &mut t);
            u += 0.1 * (t[0] + t[1] - 6e3 * u) / 2.5e5;
            most = most.max(u);
        }
        (u, most)
    }

    #[test]
    fn speed_settles_without_offset() {
        let (u, most) = settle(1e6, 600.0);
        // the slow pole is at -0.0253 1/s (drag widens the double one): e^-15 of the start remains
        assert!((u - 8.0).abs() < 1e-6, "{u}");
        // critically damped on the mass: the integral of a start error overshoots by e^-2 of it
        assert!(most < 8.0 + 2.0 * 0.2, "{most}");
    }

    #[test]
    fn integrator_does_not_wind_up() {
        // shafts that just suffice: saturated for a long time, then no large overshoot
        let (u, most) = settle(2.6e4, 600.0);
        assert!((u - 8.0).abs() < 1e-3 && most < 8.3, "{u} {most}");
    }
}
