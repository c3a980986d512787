//! Set-points that move no faster than the craft likes.
//!
//! # Equation
//! ```text
//! r(k+1) = r(k) + clamp(goal - r(k), -rate T, rate T)
//! ```
//!
//! # Symbols
//! r: reference about trim (heave down positive, m; pitch, roll, rad); T: sample period (s).
//!
//! # Valid when
//! The goal is finite.
//!
//! # Source
//! A rate limiter; no other source is needed.
//!
//! # Checked by
//! `set_points_are_taken_up_slowly`

use crate::control::signal::SetPoint;
use crate::spec::controller::SetPointSpec;
use crate::units::deg;

/// A set-point on its way to a goal.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Reference {
    goal: SetPoint,
    now: SetPoint,
    heave_step_m: f64,
    angle_step_rad: f64,
}

impl Reference {
    /// Starts at trim, on the way to the set-point of the file.
    pub(super) fn new(spec: &SetPointSpec, period_s: f64) -> Self {
        Reference {
            goal: SetPoint {
                heave_m: -spec.height_m,
                pitch_rad: deg(spec.pitch_deg),
                roll_rad: deg(spec.roll_deg),
            },
            now: SetPoint::default(),
            heave_step_m: spec.height_rate_m_s * period_s,
            angle_step_rad: deg(spec.angle_rate_deg_s) * period_s,
        }
    }

    /// Another goal.
    pub(super) fn aim(&mut self, goal: SetPoint) {
        self.goal = goal;
    }

    /// One sample on.
    pub(super) fn step(&mut self) -> SetPoint {
        let (g, n) = (&self.goal, &mut self.now);
        n.heave_m += (g.heave_m - n.heave_m).clamp(-self.heave_step_m, self.heave_step_m);
        for (now, goal) in [
            (&mut n.pitch_rad, g.pitch_rad),
            (&mut n.roll_rad, g.roll_rad),
        ] {
            *now += (goal - *now).clamp(-self.angle_step_rad, self.angle_step_rad);
        }
        self.now
    }
}
