//! Heave and heave rate from sensors: acceleration for the fast part, mean height for the slow.
//!
//! No sensor measures heave. The vertical acceleration of the motion unit (earth axes, gravity
//! removed with the measured attitude) is integrated twice; the mean of the height sensors pulls
//! the integral back, so that neither bias nor drift remains.
//!
//! # Equation
//! ```text
//! z' = v + l1 (z_h - z)     a   = (R f)_z + g        at the motion unit, down positive
//! v' = a - b + l2 (z_h - z) z_h = mean_i( -h_i - (R r_i)_z ) + (R r_P)_z = z_P + zeta
//! b' = -l3 (z_h - z)        l1, l2, l3 = 2 w, 2 w^2, w^3   (Butterworth, corner w)
//! heave of O = z - (R r_P)_z,   heave rate of O = v - d/dt (R r_P)_z
//! ```
//! The lever arm is taken out on the level of position and velocity, where it is exact; nothing is
//! differentiated for it. Discretised by the bilinear rule.
//!
//! # Error
//! With perfect sensors the estimate is the heave plus T(s) times the wave elevation,
//! ```text
//! T(s) = (l1 s^2 + l2 s + l3) / (s^3 + l1 s^2 + l2 s + l3)
//! |T| at omega_e/w   0.25  0.5   1     2     5     10    20
//!                    1.01  1.11  1.58  1.00  0.40  0.20  0.10   ([`elevation_gain`])
//! ```
//! Above the corner the law sees true heave; below it the height above the wave. In following seas
//! omega_e falls to 0.05 to 0.3 rad/s: with the default corner of 0.15 rad/s all of the elevation and
//! more (a peak of 1.6 at the corner) is taken for heave: the law follows the water surface there
//! instead of holding the craft level. A lower corner would move this down but let the accelerometer's
//! noise and attitude errors (g phi d_phi / w^2) in. In head seas (1.3 rad/s and more) a quarter
//! and less leaks in.
//!
//! # Symbols
//! f: specific force (m/s2); h_i: heights (m); r_P, r_i: motion unit and height sensors from O (m);
//! b: estimated bias (m/s2).
//!
//! # Valid when
//! Roll and pitch measured; encounter frequency above the corner for true heave. Without heights
//! the mean is assumed to be trim (a washout); without acceleration only the slow part is left.
//!
//! # Source
//! Complementary filter as steady-state observer: Franklin, Powell & Emami-Naeini, Feedback
//! Control of Dynamic Systems, section 7.7 (estimator pole placement); specific force: Titterton
//! & Weston, Strapdown Inertial Navigation Technology, 2nd ed. 2004, section 3.
//!
//! # Checked by
//! `follows_heave_of_a_rolling_pitching_craft`, `bias_leaves_no_error`,
//! `elevation_error_is_the_printed_one`, `lost_heights_leave_a_washout`

use nalgebra::{Matrix3, Matrix3x2, Vector2, Vector3};
use num_complex::Complex64;

use super::linear::{Diagram, LawSignal, Line};
use super::signal::{Measurement, Setup, vertical};
use crate::units::G_M_S2;

/// Default corner between height and acceleration, rad/s (a period of 42 s): a quarter of the slowest
/// heave mode of the type (0.6 rad/s). Integrating the accelerometer's noise twice leaves a random
/// heave that goes with corner^-1.5: 0.3 m at 0.05 rad/s with 0.02 m/s2 a sample, 0.05 m here.
pub const CORNER_RAD_S: f64 = 0.15;

/// The observer.
#[derive(Clone, Debug)]
pub struct HeaveEstimator {
    corner_rad_s: f64,
    ad: Matrix3<f64>,
    bd: Matrix3x2<f64>,
    x: Vector3<f64>,
    last_input: Option<Vector2<f64>>,
    unit_m: Vector3<f64>,
    sensors_m: Vec<Vector3<f64>>,
    trim_heave_m: f64,
    trim_pitch_rad: f64,
    out: HeaveEstimate,
}

/// What the observer says of O.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HeaveEstimate {
    /// Heave of O, down positive, m.
    pub heave_m: f64,
    /// Its rate in earth axes, m/s.
    pub heave_rate_m_s: f64,
    /// Vertical acceleration of the motion unit, down positive, bias removed, m/s2.
    pub unit_acceleration_m_s2: f64,
    /// Mean relative heave by the height sensors (true heave plus elevation), m.
    pub height_heave_m: f64,
}

/// The observer's answers as lines about trim.
#[derive(Clone, Debug)]
pub struct HeaveLines {
    /// Heave of O, down positive.
    pub heave: Line,
    /// Its rate.
    pub heave_rate: Line,
    /// Vertical acceleration of the motion unit, bias removed.
    pub unit_acceleration: Line,
}

impl HeaveEstimator {
    /// An observer with its corner; call [`HeaveEstimator::reset`] before use.
    pub fn new(corner_rad_s: f64) -> Self {
        HeaveEstimator {
            corner_rad_s,
            ad: Matrix3::zeros(),
            bd: Matrix3x2::zeros(),
            x: Vector3::zeros(),
            last_input: None,
            unit_m: Vector3::zeros(),
            sensors_m: Vec::new(),
            trim_heave_m: 0.0,
            trim_pitch_rad: 0.0,
            out: HeaveEstimate::default(),
        }
    }

    /// Starts at trim.
    pub fn reset(&mut self, setup: &Setup) {
        let w = self.corner_rad_s;
        let (l1, l2, l3) = (2.0 * w, 2.0 * w * w, w * w * w);
        let f = Matrix3::new(-l1, 1.0, 0.0, -l2, 0.0, -1.0, l3, 0.0, 0.0);
        let g = Matrix3x2::new(0.0, l1, 1.0, l2, 0.0, -l3);
        let h = setup.sample_period_s / 2.0;
        let one = Matrix3::identity();
        // poles of f lie left of zero, so (1 - h f) is never singular
        let inv = (one - f * h).try_inverse().unwrap_or(one);
        self.ad = inv * (one + f * h);
        self.bd = inv * g * h;
        self.unit_m = setup.motion_unit_m;
        self.sensors_m.clone_from(&setup.height_sensors_m);
        self.trim_heave_m = setup.trim_heave_m;
        self.trim_pitch_rad = setup.trim_pitch_rad;
        let lever = vertical(&self.unit_m, 0.0, self.trim_pitch_rad);
        self.x = Vector3::new(self.trim_heave_m + lever, 0.0, 0.0);
        self.last_input = None;
        self.out = HeaveEstimate {
            heave_m: self.trim_heave_m,
            ..HeaveEstimate::default()
        };
    }

    /// Starts over from these readings, without vertical motion.
    pub fn restart(&mut self, y: &Measurement) {
        let (phi, theta) = if y.valid.attitude {
            (y.phi_rad, y.theta_rad)
        } else {
            (0.0, self.trim_pitch_rad)
        };
        let slow = mean_heave(y, &self.sensors_m, phi, theta).unwrap_or(self.trim_heave_m);
        self.x = Vector3::new(slow + vertical(&self.unit_m, phi, theta), 0.0, 0.0);
        self.last_input = None;
    }

    /// One sample.
    pub fn step(&mut self, y: &Measurement) -> HeaveEstimate {
        let (phi, theta) = if y.valid.attitude {
            (y.phi_rad, y.theta_rad)
        } else {
            (0.0, self.trim_pitch_rad)
        };
        let lever = vertical(&self.unit_m, phi, theta);
        let slow = mean_heave(y, &self.sensors_m, phi, theta).unwrap_or(self.trim_heave_m);
        let a = if y.valid.acceleration {
            vertical(&y.specific_force_m_s2, phi, theta) + G_M_S2
        } else {
            self.x[2]
        };
        let now = Vector2::new(a, slow + lever);
        let before = self.last_input.replace(now).unwrap_or(now);
        self.x = self.ad * self.x + self.bd * (now + before);
        let arm_rate = if y.valid.rates {
            vertical(&y.rates_rad_s.cross(&self.unit_m), phi, theta)
        } else {
            0.0
        };
        self.out = HeaveEstimate {
            heave_m: self.x[0] - lever,
            heave_rate_m_s: self.x[1] - arm_rate,
            unit_acceleration_m_s2: a - self.x[2],
            height_heave_m: slow,
        };
        self.out
    }

    /// The observer about trim, all readings valid, its inputs before the first sample those of trim. Yaw
    /// rate is left out: it enters the lever arm by `y_P sin theta` only.
    pub fn draw(&self, d: &mut Diagram) -> HeaveLines {
        let lever = lever(&self.unit_m, self.trim_pitch_rad, d);
        let slow = d.input(LawSignal::HeightHeave) + lever.clone();
        let a = d.input(LawSignal::VerticalAcceleration);
        let inputs = [a.clone() + d.before(&a), slow.clone() + d.before(&slow)];
        let old = [d.state(), d.state(), d.state()];
        let new = [0, 1, 2].map(|i| {
            let mut x = Line::zero();
            for (j, (_, state)) in old.iter().enumerate() {
                x = x + state.clone() * self.ad[(i, j)];
            }
            for (j, input) in inputs.iter().enumerate() {
                x = x + input.clone() * self.bd[(i, j)];
            }
            x
        });
        for ((at, _), x) in old.iter().zip(&new) {
            d.set_state(*at, x.clone());
        }
        let [z, v, bias] = new;
        let (p, q) = (d.input(LawSignal::RollRate), d.input(LawSignal::PitchRate));
        let arm_rate = turned(&self.unit_m, self.trim_pitch_rad, p, q);
        HeaveLines {
            heave: z - lever,
            heave_rate: v - arm_rate,
            unit_acceleration: a - bias,
        }
    }

    /// The newest estimate.
    pub fn estimate(&self) -> HeaveEstimate {
        self.out
    }
}

/// Small change of `vertical(r, phi, theta)` about `trim_pitch_rad`.
pub fn lever(r_m: &Vector3<f64>, trim_pitch_rad: f64, d: &mut Diagram) -> Line {
    let (st, ct) = trim_pitch_rad.sin_cos();
    d.input(LawSignal::Roll) * (ct * r_m.y) - d.input(LawSignal::Pitch) * (ct * r_m.x + st * r_m.z)
}

/// `vertical(omega x r, 0, theta)` of a roll and a pitch rate (or of their derivatives).
pub fn turned(r_m: &Vector3<f64>, trim_pitch_rad: f64, roll: Line, pitch: Line) -> Line {
    let (st, ct) = trim_pitch_rad.sin_cos();
    roll * (ct * r_m.y) - pitch * (ct * r_m.x + st * r_m.z)
}

/// Heave of O by the valid height sensors (true heave plus mean elevation), m; `None` without any.
pub fn mean_heave(
    y: &Measurement,
    sensors_m: &[Vector3<f64>],
    phi_rad: f64,
    theta_rad: f64,
) -> Option<f64> {
    let (mut sum, mut n) = (0.0, 0.0);
    for ((r, h), ok) in sensors_m.iter().zip(&y.height_m).zip(&y.valid.height) {
        if *ok {
            sum += -h - vertical(r, phi_rad, theta_rad);
            n += 1.0;
        }
    }
    (n > 0.0).then(|| sum / n)
}

/// T(i omega) of the module text: the share of a wave's elevation that is taken for heave.
pub fn elevation_gain(omega_e_rad_s: f64, corner_rad_s: f64) -> Complex64 {
    let w = corner_rad_s;
    let s = Complex64::new(0.0, omega_e_rad_s);
    let slow = s * s * (2.0 * w) + s * (2.0 * w * w) + w * w * w;
    slow / (s * s * s + slow)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::testcraft;
    use crate::frames::body_to_earth;

    /// Readings of perfect sensors on a craft with heave, roll and pitch as functions of time.
    fn readings(setup: &Setup, t: f64, motion: &dyn Fn(f64) -> [f64; 3], zeta: f64) -> Measurement {
        let mut y = Measurement::at_trim(setup);
        let place = |t: f64| {
            let [z, phi, theta] = motion(t);
            z + (body_to_earth(phi, theta, 0.0) * setup.motion_unit_m).z
        };
        let d = 1e-3; // central differences of smooth motion: error of order d^2
        let [z, phi, theta] = motion(t);
        let (before, after) = (motion(t - d), motion(t + d));
        y.phi_rad = phi;
        y.theta_rad = theta;
        let phi_rate = (after[1] - before[1]) / (2.0 * d);
        let theta_rate = (after[2] - before[2]) / (2.0 * d);
        y.rates_rad_s = Vector3::new(phi_rate, theta_rate * phi.cos(), -theta_rate * phi.sin());
        let a = (place(t + d) - 2.0 * place(t) + place(t - d)) / (d * d);
        let earth = Vector3::new(0.0, 0.0, a - G_M_S2);
        y.specific_force_m_s2 = body_to_earth(phi, theta, 0.0).transpose() * earth;
        for (h, r) in y.height_m.iter_mut().zip(&setup.height_sensors_m) {
            *h = -(z + vertical(r, phi, theta)) - zeta;
        }
        y
    }

    #[test]
    fn follows_heave_of_a_rolling_pitching_craft() {
        let setup = testcraft::setup();
        let motion = |t: f64| {
            [
                0.05 + 0.5 * (0.9 * t).sin(),
                0.1 * (0.6 * t).sin(),
                0.01 + 0.06 * (0.8 * t).cos(),
            ]
        };
        let mut e = HeaveEstimator::new(CORNER_RAD_S);
        e.reset(&setup);
        let (mut worst, mut worst_rate) = (0.0_f64, 0.0_f64);
        for k in 0..8000 {
            let t = 0.1 * f64::from(k);
            let out = e.step(&readings(&setup, t, &motion, 0.0));
            if t > 700.0 {
                // a wrong start (0.45 m/s) dies with 0.075 1/s
                worst = worst.max((out.heave_m - motion(t)[0]).abs());
                worst_rate = worst_rate.max((out.heave_rate_m_s - 0.45 * (0.9 * t).cos()).abs());
            }
        }
        // bilinear rule at omega T = 0.09: (omega T)^2/12 = 7e-4 of 0.5 m, twice integrated
        assert!(worst < 1.5e-3, "{worst}");
        assert!(worst_rate < 1.5e-3, "{worst_rate}");
    }

    #[test]
    fn bias_leaves_no_error() {
        let setup = testcraft::setup();
        let mut e = HeaveEstimator::new(CORNER_RAD_S);
        e.reset(&setup);
        let mut y = Measurement::at_trim(&setup);
        y.specific_force_m_s2.z += 0.05;
        let mut last = 0.0;
        for _ in 0..12_000 {
            last = e.step(&y).heave_m;
        }
        assert!((last - setup.trim_heave_m).abs() < 1e-9, "{last}"); // 1200 s: 180 time constants, real parts half
    }

    #[test]
    fn elevation_error_is_the_printed_one() {
        for (ratio, want) in [
            (0.25, 1.01),
            (0.5, 1.11),
            (1.0, 1.58),
            (2.0, 1.00),
            (5.0, 0.40),
            (10.0, 0.20),
            (20.0, 0.10),
        ] {
            let got = elevation_gain(ratio * 0.05, 0.05).norm();
            assert!((got - want).abs() < 0.006, "{ratio}: {got}"); // printed to two decimals
        }
        // the running observer has the same gain: craft at rest, water moving at 0.4 rad/s
        let setup = testcraft::setup();
        let mut e = HeaveEstimator::new(CORNER_RAD_S);
        e.reset(&setup);
        let still = |_: f64| [0.05, 0.0, 0.01];
        let mut peak = 0.0_f64;
        for k in 0..8000 {
            let t = 0.1 * f64::from(k);
            let out = e.step(&readings(&setup, t, &still, (0.4 * t).sin()));
            if t > 700.0 {
                peak = peak.max((out.heave_m - 0.05).abs());
            }
        }
        let want = elevation_gain(0.4, CORNER_RAD_S).norm();
        assert!((peak - want).abs() < 2e-3, "{peak} {want}"); // peak seen at 0.04 rad sampling
    }

    #[test]
    fn lost_heights_leave_a_washout() {
        let setup = testcraft::setup();
        let mut e = HeaveEstimator::new(CORNER_RAD_S);
        e.reset(&setup);
        let motion = |t: f64| [0.05 + 0.5 * (1.6 * t).sin(), 0.0, 0.01];
        let mut worst = 0.0_f64;
        for k in 0..8000 {
            let t = 0.1 * f64::from(k);
            let mut y = readings(&setup, t, &motion, 0.3);
            y.valid.height.fill(false);
            let out = e.step(&y);
            if t > 700.0 {
                worst = worst.max((out.heave_m - motion(t)[0]).abs());
            }
        }
        // T at 10.7 times the corner: 18.8 % of 0.5 m
        assert!(worst < 0.1, "{worst}");
    }
}
