//! Modal PID: heave, pitch and roll about trim, allocated to the surfaces.
//!
//! # Equation
//! ```text
//! pitch demand  d5 =   P (theta_ref - theta) + I5 - D LP(q)          bow up positive
//! roll demand   d4 = -(P (phi_ref - phi) + I4 - D LP(p))             starboard up positive
//! heave demand  d3 = -(P (z_ref - z) - D z' - A LP(z''))             up positive (z is down)
//! angles        = trim + allocation of scale (d3, d5, d4)
//! I'  = Ki e + (reached - asked) / T_aw,   |I| <= integral limit
//! ```
//! All demands are equivalent fin angles at the reference speed (see [`super::allocate`]); `scale`
//! and the fade to neutral are in [`super::schedule`]; z and z' come from [`super::estimate`]. LP is a
//! first-order low-pass with the corner of the file; z'' of O is taken from the filtered
//! acceleration of the motion unit less the lever arm times the derivative that the low-pass of
//! the rates gives without differencing, `d/dt LP(q) = c (q - LP(q))`.
//!
//! # Anti-windup
//! `reached - asked` is the modal content of what limits take away from the command plus what the
//! measured angles lack from the previous command beyond [`LAG_BAND_RAD`] (a healthy servo's lag
//! stays below it, so that the loop is linear inside the limits). A law without integral gain has
//! no integrator at all.
//!
//! # Symbols
//! e: error = reference - measurement (rad, m); P, D, I, A: gains of [`PidSpec`].
//!
//! # Valid when
//! Small angles; the readings are valid. A missing reading silences the terms that need it and
//! freezes the integrators.
//!
//! # Source
//! Astrom & Hagglund, Advanced PID Control, ISA 2006, sections 3.5 (back-calculation) and 3.2
//! (derivative of the measurement).
//!
//! # Checked by
//! `sign_card_of_errors`, `proportional_gain_is_deg_per_deg`, `pure_p_law_never_winds_up`,
//! `negative_gain_is_only_a_sign`, `integrator_follows_the_measured_angle`, `scales_with_speed`

use nalgebra::Vector3;

use super::allocate::{Allocator, Demand};
use super::estimate::{CORNER_RAD_S, HeaveEstimator};
use super::filter::Section;
use super::schedule::SpeedSchedule;
use super::signal::{FinCommand, Measurement, Setup, Trace, vertical};
use super::{Controller, ControllerInfo};
use crate::error::{Problem, Result};
use crate::spec::controller::{AngleGains, PidSpec};
use crate::units::{deg, kn};

/// Lag of a healthy servo that the anti-windup does not take for a limit, rad (3 deg: 25 deg/s
/// for the time of a servo of 12 rad/s and its delay).
pub const LAG_BAND_RAD: f64 = 0.052;

/// The law.
#[derive(Clone, Debug)]
pub struct Pid {
    name: String,
    spec: PidSpec,
    setup: Option<Box<Setup>>,
    alloc: Allocator,
    heave: HeaveEstimator,
    speed: SpeedSchedule,
    rate_lp: [Section; 2],
    acc_lp: Section,
    pitch_integral_rad: f64,
    roll_integral_rad: f64,
    demand: Demand,
    lost: Demand,
    channels: Vec<String>,
    /// Channels of the file; empty for all.
    drive: Vec<String>,
}

impl Pid {
    /// The law from its numbers.
    ///
    /// # Errors
    /// Every number out of range.
    pub fn new(name: &str, spec: &PidSpec) -> Result<Self> {
        check(spec)?;
        Ok(Pid {
            name: name.to_owned(),
            spec: spec.clone(),
            setup: None,
            alloc: Allocator::default(),
            heave: HeaveEstimator::new(CORNER_RAD_S),
            speed: SpeedSchedule::new(
                kn(spec.reference_speed_kn),
                kn(spec.min_speed_kn),
                spec.max_speed_scale,
            ),
            rate_lp: [Section::default(); 2],
            acc_lp: Section::default(),
            pitch_integral_rad: 0.0,
            roll_integral_rad: 0.0,
            demand: Demand::default(),
            lost: Demand::default(),
            channels: Vec::new(),
            drive: Vec::new(),
        })
    }

    /// The same law driving only the surfaces called `channels`; all that lift when empty.
    #[must_use]
    pub fn driving(mut self, channels: &[String]) -> Self {
        self.drive = channels.to_vec();
        self
    }

    /// Heave demand: lifts when too deep, sinking, or accelerating down.
    fn heave_demand(&mut self, y: &Measurement, setup: &Setup, p_dot: f64, q_dot: f64) -> f64 {
        let e = self.heave.step(y);
        let g = self.spec.heave;
        let (phi, theta) = if y.valid.attitude {
            (y.phi_rad, y.theta_rad)
        } else {
            (0.0, setup.trim_pitch_rad)
        };
        let turn = Vector3::new(p_dot, q_dot, 0.0);
        let arm = vertical(&turn.cross(&setup.motion_unit_m), phi, theta);
        let acceleration = self.acc_lp.step(e.unit_acceleration_m_s2) - arm;
        let error_m = setup.trim_heave_m - e.heave_m;
        -deg(g.proportional_deg_per_m * error_m
            - g.rate_deg_s_per_m * e.heave_rate_m_s
            - g.acceleration_deg_s2_per_m * acceleration)
    }

    fn lost(&self, y: &Measurement, u: &FinCommand) -> Demand {
        let valid = &y.valid.surface;
        self.alloc.modal(|i| {
            let miss = if valid[i] {
                y.surface_rad[i] - u.fin_rad[i]
            } else {
                0.0
            };
            miss - miss.clamp(-LAG_BAND_RAD, LAG_BAND_RAD)
        })
    }
}

/// Integrator with back-calculation; `lost` in equivalent angle at the reference speed.
fn integrate(i_rad: f64, g: &AngleGains, error_rad: f64, lost_rad: f64, t_aw: f64, dt: f64) -> f64 {
    if g.integral_deg_per_deg_s.abs() <= 0.0 {
        return 0.0;
    }
    let limit = deg(g.integral_limit_deg);
    let back = (dt / t_aw).min(1.0) * lost_rad;
    (i_rad + dt * g.integral_deg_per_deg_s * error_rad + back).clamp(-limit, limit)
}

impl Controller for Pid {
    fn info(&self) -> ControllerInfo {
        ControllerInfo {
            name: self.name.clone(),
            kind: "pid",
            sample_period_s: self.setup.as_ref().map_or(0.0, |s| s.sample_period_s),
            signals: &[
                "rates",
                "attitude",
                "acceleration",
                "height",
                "speed",
                "surface",
            ],
            channels: self.channels.clone(),
        }
    }

    fn reset(&mut self, setup: &Setup) -> Result<()> {
        setup.check()?;
        let t = setup.sample_period_s;
        self.alloc = Allocator::driving(setup, self.spec.forward_share_frac, &self.drive)?;
        self.channels = self
            .alloc
            .channels()
            .iter()
            .map(|&i| setup.surfaces[i].name.clone())
            .collect();
        self.heave.reset(setup);
        self.speed.reset(setup.nominal_speed_m_s, t);
        self.rate_lp = [Section::low_pass(self.spec.filter_rad_s, t); 2];
        self.acc_lp = Section::low_pass(self.spec.filter_rad_s, t);
        self.pitch_integral_rad = 0.0;
        self.roll_integral_rad = 0.0;
        self.demand = Demand::default();
        self.lost = Demand::default();
        self.setup = Some(Box::new(setup.clone()));
        Ok(())
    }

    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        let Some(setup) = self.setup.take() else {
            return Err(super::not_reset(&self.name));
        };
        let dt = setup.sample_period_s;
        self.speed.step(y.speed_m_s, y.valid.speed);
        let (fade, scale) = (self.speed.fade(), self.speed.scale());
        let rates = if y.valid.rates {
            y.rates_rad_s
        } else {
            Vector3::zeros()
        };
        let p = self.rate_lp[0].step(rates.x);
        let q = self.rate_lp[1].step(rates.y);
        let c = self.spec.filter_rad_s;
        let d3 = self.heave_demand(y, &setup, c * (rates.x - p), c * (rates.y - q));
        let (pitch_error, roll_error) = if y.valid.attitude {
            (setup.trim_pitch_rad - y.theta_rad, -y.phi_rad)
        } else {
            (0.0, 0.0)
        };
        if fade >= 1.0 && y.valid.attitude {
            let missing = self.lost(y, u);
            let t_aw = self.spec.anti_windup_s.max(dt);
            let pitch_lost = (self.lost.pitch_rad + missing.pitch_rad) / scale;
            let roll_lost = (self.lost.roll_rad + missing.roll_rad) / scale;
            let (gp, gr) = (&self.spec.pitch, &self.spec.roll);
            self.pitch_integral_rad = integrate(
                self.pitch_integral_rad,
                gp,
                pitch_error,
                pitch_lost,
                t_aw,
                dt,
            );
            self.roll_integral_rad =
                integrate(self.roll_integral_rad, gr, roll_error, -roll_lost, t_aw, dt);
        } else if fade <= 0.0 {
            self.pitch_integral_rad = 0.0;
            self.roll_integral_rad = 0.0;
        }
        let (gp, gr) = (&self.spec.pitch, &self.spec.roll);
        self.demand = Demand {
            heave_rad: scale * d3,
            pitch_rad: scale
                * (gp.proportional_deg_per_deg * pitch_error + self.pitch_integral_rad
                    - gp.rate_deg_s_per_deg * q),
            roll_rad: -scale
                * (gr.proportional_deg_per_deg * roll_error + self.roll_integral_rad
                    - gr.rate_deg_s_per_deg * p),
        };
        let trim = |i: usize| setup.surfaces[i].trim_rad;
        self.alloc.allocate(&self.demand, trim, u);
        let got = self.alloc.modal(|i| u.fin_rad[i] - trim(i));
        let want = self.alloc.expected(&self.demand);
        self.lost = Demand {
            heave_rad: got.heave_rad - want.heave_rad,
            pitch_rad: got.pitch_rad - want.pitch_rad,
            roll_rad: got.roll_rad - want.roll_rad,
        };
        if fade < 1.0 {
            for &i in self.alloc.channels() {
                u.fin_rad[i] *= fade;
            }
        }
        let fine = u.check(&self.name, &setup, t_s);
        self.setup = Some(setup);
        fine
    }

    fn trace(&self, out: &mut Trace) {
        let e = self.heave.estimate();
        out.push("heave_estimate_m", e.heave_m);
        out.push("heave_rate_estimate_m_s", e.heave_rate_m_s);
        out.push("heave_demand_rad", self.demand.heave_rad);
        out.push("pitch_demand_rad", self.demand.pitch_rad);
        out.push("roll_demand_rad", self.demand.roll_rad);
        out.push("pitch_integral_rad", self.pitch_integral_rad);
        out.push("roll_integral_rad", self.roll_integral_rad);
        out.push("speed_scale", self.speed.scale());
    }
}

fn check(s: &PidSpec) -> Result<()> {
    let mut bad = Vec::new();
    let mut range = |key: &str, value: f64, low: f64, high: f64, unit: &str| {
        if !(value >= low && value <= high) {
            bad.push(Problem::at(
                format!("law.pid.{key}"),
                format!("is {value} {unit}, must lie between {low} and {high} {unit}"),
            ));
        }
    };
    range("reference_speed_kn", s.reference_speed_kn, 1.0, 60.0, "kn");
    range(
        "min_speed_kn",
        s.min_speed_kn,
        0.0,
        s.reference_speed_kn.max(0.0),
        "kn",
    );
    range("max_speed_scale", s.max_speed_scale, 1.0, 20.0, "");
    range("forward_share_frac", s.forward_share_frac, 0.0, 1.0, "");
    range("filter_rad_s", s.filter_rad_s, 0.1, 200.0, "rad/s");
    range("anti_windup_s", s.anti_windup_s, 0.05, 600.0, "s");
    for (mode, g) in [("pitch", &s.pitch), ("roll", &s.roll)] {
        range(
            &format!("{mode}.integral_limit_deg"),
            g.integral_limit_deg,
            0.0,
            45.0,
            "deg",
        );
        let gains = [
            ("proportional_deg_per_deg", g.proportional_deg_per_deg),
            ("rate_deg_s_per_deg", g.rate_deg_s_per_deg),
            ("integral_deg_per_deg_s", g.integral_deg_per_deg_s),
        ];
        for (key, v) in gains {
            range(&format!("{mode}.{key}"), v, -1000.0, 1000.0, "");
        }
    }
    let h = &s.heave;
    for (key, v) in [
        ("proportional_deg_per_m", h.proportional_deg_per_m),
        ("rate_deg_s_per_m", h.rate_deg_s_per_m),
        ("acceleration_deg_s2_per_m", h.acceleration_deg_s2_per_m),
    ] {
        range(&format!("heave.{key}"), v, -1000.0, 1000.0, "");
    }
    if bad.is_empty() {
        Ok(())
    } else {
        Err(bad.into())
    }
}

#[cfg(test)]
mod tests;
