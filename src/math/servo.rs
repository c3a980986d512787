//! Motion of a second-order servo by itself, under a command that holds.
//!
//! # Equation
//! Cascade form: a position loop commands a rate, a rate loop an acceleration,
//! `rate_cmd = clamp((wn/(2 zeta)) dead(cmd - angle), +-limit)`, `angle'' = 2 zeta wn (rate_cmd - angle')`;
//! inside its limits `angle'' = wn^2 (cmd - angle) - 2 zeta wn angle'`. Dead band: the error less half the width.
//!
//! # Symbols
//! wn natural frequency, rad/s; zeta damping ratio.
//!
//! # Valid when
//! The servo is stronger than what it moves. It stands on the ground floor because the simulated craft and the monitor
//! of a law, which must not know the craft's dynamics, need the same servo to the last bit.
//!
//! # Source
//! Second-order servo and rate limit: common practice.
//!
//! # Checked by
//! `small_step_meets_closed_form`, `large_step_runs_at_the_rate_limit`, `water_free_servo_only_loses_energy`,
//! `advance_is_exact_inside_and_fine_beyond_the_limits`, `model_meets_the_closed_form`

use nalgebra::Matrix2;

/// What a servo's motion depends on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ServoMotion {
    /// Natural frequency, rad/s.
    pub natural_frequency_rad_s: f64,
    /// Damping ratio.
    pub damping_ratio: f64,
    /// Dead band of the error, full width, rad.
    pub dead_band_rad: f64,
}

/// On one branch a servo is linear.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Branch {
    /// Goes for the command, short of it by half the dead band on the side it comes from, rad.
    Follows(f64),
    /// Takes on a rate, rad/s: the limit, or none within the dead band.
    Runs(f64),
}

impl ServoMotion {
    /// Rate that the position loop asks for, rad/s, within `rate_limit_rad_s`.
    pub fn rate_command(&self, command_rad: f64, angle_rad: f64, rate_limit_rad_s: f64) -> f64 {
        let error = command_rad - angle_rad;
        let half = 0.5 * self.dead_band_rad;
        let felt = error - error.clamp(-half, half);
        let rate = felt * self.natural_frequency_rad_s / (2.0 * self.damping_ratio);
        rate.clamp(-rate_limit_rad_s, rate_limit_rad_s)
    }

    /// Angular acceleration, rad/s2, from command (rad) with rate limit (rad/s), and angle (rad) with rate (rad/s).
    pub fn acceleration(
        &self,
        (command_rad, rate_limit_rad_s): (f64, f64),
        (angle_rad, rate_rad_s): (f64, f64),
    ) -> f64 {
        let wanted = self.rate_command(command_rad, angle_rad, rate_limit_rad_s);
        2.0 * self.damping_ratio * self.natural_frequency_rad_s * (wanted - rate_rad_s)
    }

    /// Angle and rate after `dt_s` under a command that holds; `free` is [`ServoMotion::free_motion`] over the same
    /// time. Exact as long as the servo stays on one branch: following, at its rate limit, or within the dead band.
    /// Where it changes over, by Runge-Kutta steps of a quarter radian of the servo.
    pub fn advance(
        &self,
        free: &[f64; 4],
        (command_rad, rate_limit_rad_s): (f64, f64),
        (angle_rad, rate_rad_s): (f64, f64),
        dt_s: f64,
    ) -> (f64, f64) {
        let branch = |a: f64| self.branch(command_rad - a, rate_limit_rad_s);
        let on = branch(angle_rad);
        let next = match on {
            Branch::Follows(short_rad) => {
                let aim = command_rad - short_rad;
                let e = angle_rad - aim;
                (
                    aim + free[0] * e + free[1] * rate_rad_s,
                    free[2] * e + free[3] * rate_rad_s,
                )
            }
            Branch::Runs(wanted) => {
                // what the rate loop leaves: exp(-2 zeta wn dt), the determinant of the transition
                let left = free[0] * free[3] - free[1] * free[2];
                let off = rate_rad_s - wanted;
                let pace = 2.0 * self.damping_ratio * self.natural_frequency_rad_s;
                (
                    angle_rad + wanted * dt_s + off * (1.0 - left) / pace,
                    wanted + off * left,
                )
            }
        };
        if branch(next.0) == on {
            return next;
        }
        let n = (4.0 * self.natural_frequency_rad_s * dt_s).ceil().max(1.0);
        let h = dt_s / n;
        let rate_of = |a: f64, r: f64| self.acceleration((command_rad, rate_limit_rad_s), (a, r));
        let (mut a, mut r) = (angle_rad, rate_rad_s);
        for _ in 0..n as usize {
            let (a1, r1) = (r, rate_of(a, r));
            let (a2, r2) = (
                r + 0.5 * h * r1,
                rate_of(a + 0.5 * h * a1, r + 0.5 * h * r1),
            );
            let (a3, r3) = (
                r + 0.5 * h * r2,
                rate_of(a + 0.5 * h * a2, r + 0.5 * h * r2),
            );
            let (a4, r4) = (r + h * r3, rate_of(a + h * a3, r + h * r3));
            a += h / 6.0 * (a1 + 2.0 * (a2 + a3) + a4);
            r += h / 6.0 * (r1 + 2.0 * (r2 + r3) + r4);
        }
        (a, r)
    }

    /// How the servo answers to an error, rad.
    fn branch(&self, error_rad: f64, rate_limit_rad_s: f64) -> Branch {
        let half = 0.5 * self.dead_band_rad;
        let short = error_rad.clamp(-half, half);
        let felt = error_rad - short;
        let asked = felt * self.natural_frequency_rad_s / (2.0 * self.damping_ratio);
        if half > 0.0 && error_rad.abs() <= half {
            Branch::Runs(0.0)
        } else if asked.abs() > rate_limit_rad_s {
            Branch::Runs(rate_limit_rad_s.copysign(asked))
        } else {
            Branch::Follows(short)
        }
    }

    /// Transition of (angle - command, rate) over `dt_s` inside the limits, row by row.
    pub fn free_motion(&self, dt_s: f64) -> [f64; 4] {
        let (w, z) = (self.natural_frequency_rad_s, self.damping_ratio);
        let m = Matrix2::new(0.0, 1.0, -w * w, -2.0 * z * w) * dt_s;
        let e = m.exp();
        [e[(0, 0)], e[(0, 1)], e[(1, 0)], e[(1, 1)]]
    }
}

/// Angle and rate after meeting a stop of `(min_rad, max_rad)`: held there, rate only away from it.
pub fn at_stops((min_rad, max_rad): (f64, f64), (angle_rad, rate_rad_s): (f64, f64)) -> (f64, f64) {
    if angle_rad > max_rad {
        (max_rad, rate_rad_s.min(0.0))
    } else if angle_rad < min_rad {
        (min_rad, rate_rad_s.max(0.0))
    } else {
        (angle_rad, rate_rad_s)
    }
}
