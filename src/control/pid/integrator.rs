//! The slow trim integrator of a mode.
//!
//! # Equation
//! ```text
//! I' = Ki e + (reached - asked) / T_aw,   |I| <= limit
//! Ki e rests: while it would ask for more of what is already missing; below the working speed; in turns
//! ```
//!
//! # Symbols
//! I: equivalent fin angle at the reference speed (rad); e: error (rad or m); Ki: integral gain, SI;
//! T_aw: anti-windup time (s).
//!
//! # Valid when
//! Errors are slow against the sample period.
//!
//! # Source
//! Astrom & Hagglund, Advanced PID Control, ISA 2006, section 3.5 (back-calculation, conditional
//! integration).
//!
//! # Checked by
//! `integrator_follows_the_measured_angle`, `integrators_rest_in_turns_and_on_limits`,
//! `engagement_does_not_jump`

use crate::control::linear::{Diagram, Line};

/// Missing content below which nothing counts as saturated, rad: far above rounding, far below use.
const MISSING_RAD: f64 = 1e-6;

/// An integrator with its bound.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Integrator {
    gain: f64,
    limit_rad: f64,
    value_rad: f64,
}

impl Integrator {
    /// From a gain in SI and the greatest angle it may hold.
    pub(super) fn new(gain: f64, limit_rad: f64) -> Self {
        Integrator {
            gain,
            limit_rad,
            value_rad: 0.0,
        }
    }

    /// Goes on with another gain and limit; what it holds stays.
    pub(super) fn regain(&mut self, gain: f64, limit_rad: f64) {
        (self.gain, self.limit_rad) = (gain, limit_rad);
    }

    /// The angle held, rad.
    pub(super) fn value_rad(&self) -> f64 {
        self.value_rad
    }

    /// True for a mode with an integral gain.
    pub(super) fn exists(&self) -> bool {
        self.gain.abs() > 0.0
    }

    /// Holds `angle_rad`, or as much of it as it may.
    pub(super) fn preload(&mut self, angle_rad: f64) {
        if self.exists() {
            self.value_rad = angle_rad.clamp(-self.limit_rad, self.limit_rad);
        }
    }

    /// One sample: `missing_rad` is what was reached less what was asked, `back` = T / T_aw.
    pub(super) fn step(&mut self, error: f64, missing_rad: f64, back: f64, dt: f64, rests: bool) {
        if !self.exists() {
            return;
        }
        let more = dt * self.gain * error;
        let full = missing_rad.abs() > MISSING_RAD && more * missing_rad < 0.0;
        let own = if rests || full { 0.0 } else { more };
        self.value_rad =
            (self.value_rad + own + back * missing_rad).clamp(-self.limit_rad, self.limit_rad);
    }

    /// The same within limits, as a line.
    pub(super) fn draw(&self, d: &mut Diagram, error: &Line, dt: f64) -> Line {
        let (at, old) = d.state();
        let new = old + error.clone() * (dt * self.gain);
        d.set_state(at, new.clone());
        new
    }
}
