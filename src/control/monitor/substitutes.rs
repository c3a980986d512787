//! What stands in for a sensor that is no longer trusted.
//!
//! # Equation
//! ```text
//! rate    c (angle - lp),  lp' = c (angle - lp),  c = 6 rad/s          yaw rate from the heading
//! angle   a' = rates + w (angle of gravity - a),  w = 0.1 rad/s         begins at the last trusted angle
//! speed   the mean of trusted readings over 5 s, held
//! f_x, f_y  gravity's share at the measured attitude;  f_z  none: the group is not valid
//! ```
//!
//! # Symbols
//! As in [`super::cross`].
//!
//! # Valid when
//! One of each pair is trusted; without either the group is told to be not valid.
//!
//! # Source
//! Complementary filter: Franklin, Powell & Emami-Naeini, Feedback Control of Dynamic Systems, section 7.7.
//!
//! # Checked by
//! `lost_attitude_is_made_from_rates`

use super::cross::{by_gravity, turning};
use super::signals::Place;
use crate::control::filter::Section;
use crate::control::signal::{Measurement, Setup};
use crate::units::G_M_S2;

/// Corner of derivatives, rad/s.
const SLOPE_RAD_S: f64 = 6.0;
/// Corner with which gravity levels an integrated angle, rad/s.
const LEVEL_RAD_S: f64 = 0.1;
/// Time over which the trusted speed is averaged, s.
const SPEED_S: f64 = 5.0;

/// All of them.
#[derive(Clone, Debug)]
pub(super) struct Substitutes {
    slope: [Section; 3],
    last: [f64; 3],
    fresh: bool,
    angle: [f64; 2],
    speed_m_s: f64,
    period_s: f64,
}

impl Substitutes {
    pub(super) fn new(setup: &Setup) -> Self {
        Substitutes {
            slope: [Section::low_pass(SLOPE_RAD_S, setup.sample_period_s); 3],
            last: [0.0; 3],
            fresh: true,
            angle: [0.0, setup.trim_pitch_rad],
            speed_m_s: setup.nominal_speed_m_s,
            period_s: setup.sample_period_s,
        }
    }

    /// Makes good in `y` what `good` denies; trusted readings stay bit for bit.
    pub(super) fn apply(
        &mut self,
        y: &mut Measurement,
        good: impl Fn(Place) -> bool,
        model_rad: impl Fn(usize) -> f64,
    ) {
        let t = self.period_s;
        self.speed(y, good(Place::Speed), t);
        self.attitude(y, &good, t);
        self.rates(y, &good);
        let (st, _) = y.theta_rad.sin_cos();
        if !good(Place::Acceleration(0)) {
            y.specific_force_m_s2.x = G_M_S2 * st;
        }
        if !good(Place::Acceleration(1)) {
            y.specific_force_m_s2.y = -G_M_S2 * y.theta_rad.cos() * y.phi_rad.sin();
        }
        y.valid.acceleration &= good(Place::Acceleration(2));
        for (i, ok) in y.valid.height.iter_mut().enumerate() {
            *ok &= good(Place::Height(i));
        }
        for i in 0..y.surface_rad.len() {
            if !good(Place::Surface(i)) {
                y.surface_rad[i] = model_rad(i);
                y.valid.surface[i] = true;
            }
        }
    }

    fn speed(&mut self, y: &mut Measurement, good: bool, t: f64) {
        if !good {
            y.speed_m_s = self.speed_m_s;
            y.valid.speed = true;
        } else if y.valid.speed {
            self.speed_m_s += (t / SPEED_S).min(1.0) * (y.speed_m_s - self.speed_m_s);
        }
    }

    fn attitude(&mut self, y: &mut Measurement, good: &impl Fn(Place) -> bool, t: f64) {
        let lost = [0, 1].map(|i| !good(Place::Attitude(i)));
        if !(lost[0] || lost[1]) {
            if y.valid.attitude {
                self.angle = [y.phi_rad, y.theta_rad];
            }
            return;
        }
        let rates = (0..2).all(|i| good(Place::Rate(i))) && y.valid.rates;
        if lost[0] {
            y.phi_rad = self.angle[0];
        }
        if lost[1] {
            y.theta_rad = self.angle[1];
        }
        let turns = if rates { turning(y) } else { [0.0; 2] };
        let usable = y.valid.acceleration && good(Place::Acceleration(2));
        let tilt = if usable { by_gravity(y) } else { self.angle };
        for i in 0..2 {
            let measured = if i == 0 { y.phi_rad } else { y.theta_rad };
            self.angle[i] = if lost[i] {
                self.angle[i] + t * (turns[i] + LEVEL_RAD_S * (tilt[i] - self.angle[i]))
            } else {
                measured
            };
        }
        y.valid.attitude = rates;
    }

    fn rates(&mut self, y: &mut Measurement, good: &impl Fn(Place) -> bool) {
        let angle = [y.phi_rad, y.theta_rad, y.heading_rad];
        for (i, a) in angle.iter().enumerate() {
            if self.fresh {
                self.slope[i].settle(*a);
            }
            // the low-pass trails by its rate over the corner
            let behind = self.slope[i].step(*a);
            self.last[i] = SLOPE_RAD_S * (a - behind);
        }
        self.fresh = false;
        let lost = [0, 1, 2].map(|i| !good(Place::Rate(i)));
        if !lost.contains(&true) {
            return;
        }
        for i in (0..3).filter(|&i| lost[i]) {
            y.rates_rad_s[i] = self.last[i];
        }
        let blind = (0..2).any(|i| lost[i] && !good(Place::Attitude(i)));
        y.valid.rates = y.valid.attitude && !blind;
    }
}
