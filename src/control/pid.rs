//! Modal PID: heave, pitch and roll about trim, allocated to the surfaces.
//!
//! # Equation
//! ```text
//! pitch demand  d5 =   P (theta_ref - theta) + I5 - D LP(q)          bow up positive
//! roll demand   d4 = -(P (phi_ref - phi) + I4 - D LP(p))             starboard up positive
//! heave demand  d3 = -(P (z_ref - z) + I3 - D z')                    up positive (z is down)
//! ride demand   dr =   A LP(z'')                                     up positive, given up first
//! angles        = trim + allocation of scale (F3 d3, F3 dr, F5 d5, F4 d4 + feed-forward)
//! I'  = Ki e + (reached - asked) / T_aw,   |I| <= integral limit     ([`integrator`])
//! ```
//! All demands are equivalent fin angles at the reference speed (see [`super::allocate`]); `scale`
//! and the fade to neutral are in [`super::schedule`], gains over speed and displacement in
//! [`super::gain_schedule`]; z, z' and the pitch to hold come from
//! `following` (platforming or contouring), set-points from `reference`, F are the filters of the
//! file (`demand`), aft surfaces may work against the wakes that reach them (`wakes`), feed-forward is `ahead`. LP is a first-order low-pass with the corner of the
//! file; z'' of O is taken from the filtered acceleration of the motion unit less the lever arm times
//! the derivative that the low-pass of the rates gives without differencing, `d/dt LP(q) = c (q - LP(q))`.
//!
//! # Anti-windup
//! `reached - asked` is the modal content of what limits take away from the command plus what the
//! measured angles lack from the previous command beyond [`LAG_BAND_RAD`] (a healthy servo's lag
//! stays below it, so that the loop is linear inside the limits). A law without integral gain has
//! no integrator at all. Integrators rest in turns (yaw rate through a low-pass of
//! [`TURN_CORNER_RAD_S`]), below the working speed, and while they would ask for more of what is missing.
//!
//! # Engagement
//! [`Controller::engage`] loads the integrators with what the surfaces hold, as far as their limits go; the
//! next command equals the last one of whoever had the surfaces, and the difference dies away with
//! [`ENGAGE_S`]. A gap in time between two calls restarts estimators and filters from the readings.
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
//! `negative_gain_is_only_a_sign`, `integrator_follows_the_measured_angle`, `scales_with_speed`,
//! `engagement_does_not_jump`; `linear_form_is_the_law_itself` (tests/controllers/linear_form.rs)

use nalgebra::Vector3;

use super::allocate::{Allocator, Demand, MAX_SURFACES, Sharing};
use super::filter::Section;
use super::gain_schedule::{Displacement, GainSchedule};
use super::linear::LinearLaw;
use super::schedule::SpeedSchedule;
use super::signal::{FinCommand, Measurement, SetPoint, Setup, Trace, vertical};
use super::{Controller, ControllerInfo};
use crate::error::Result;
use crate::spec::controller::PidSpec;
use crate::units::{deg, kn};
use ahead::Ahead;
use demand::DemandFilter;
use following::{Followed, Following};
use integrator::Integrator;
use reference::Reference;
use wakes::Wakes;

mod ahead;
mod check;
mod demand;
mod following;
mod integrator;
mod linear;
mod reference;
#[cfg(test)]
mod tests;
mod wakes;

/// Lag of a healthy servo that the anti-windup does not take for a limit, rad (3 deg: 25 deg/s
/// for the time of a servo of 12 rad/s and its delay).
pub const LAG_BAND_RAD: f64 = 0.052;
/// Corner of the low-pass on the yaw rate that tells a turn from yawing in waves, rad/s.
pub const TURN_CORNER_RAD_S: f64 = 0.1;
/// Time constant with which the difference at engagement dies away, s.
pub const ENGAGE_S: f64 = 5.0;
/// Interval between calls, in sample periods, from which the law starts over.
const GAP_PERIODS: f64 = 1.5;

/// The law.
#[derive(Clone, Debug)]
pub struct Pid {
    name: String,
    spec: PidSpec,
    gains: GainSchedule,
    displacement: Displacement,
    setup: Option<Box<Setup>>,
    alloc: Allocator,
    following: Following,
    reference: Reference,
    speed: SpeedSchedule,
    rate_lp: [Section; 2],
    acc_lp: Section,
    turn_lp: Section,
    /// Yaw rate without yawing in waves.
    turn_rad_s: f64,
    /// Of heave, pitch, roll.
    integral: [Integrator; 3],
    filters: Vec<DemandFilter>,
    ahead: Option<Ahead>,
    wakes: Wakes,
    demand: Demand,
    lost: Demand,
    /// Commands of before less commands of the law, dying away, in the order of the channels.
    offset_rad: [f64; MAX_SURFACES],
    engaging: bool,
    last_s: Option<f64>,
    channels: Vec<String>,
    /// Channels of the file; empty for all.
    drive: Vec<String>,
}

/// What a sample says, attitude and rates made good where they are missing.
struct Sensed {
    phi_rad: f64,
    theta_rad: f64,
    /// Filtered roll and pitch rate.
    rates_rad_s: [f64; 2],
    /// Their derivatives.
    turning_rad_s2: [f64; 2],
}

impl Pid {
    /// The law from its numbers.
    ///
    /// # Errors
    /// Every number out of range.
    pub fn new(name: &str, spec: &PidSpec) -> Result<Self> {
        check::check(spec)?;
        Ok(Pid {
            name: name.to_owned(),
            spec: spec.clone(),
            gains: GainSchedule::of(spec)?,
            displacement: Displacement::default(),
            setup: None,
            alloc: Allocator::default(),
            following: Following::new(&spec.following, spec.heave_estimator_corner_rad_s),
            reference: Reference::default(),
            speed: SpeedSchedule::new(
                kn(spec.reference_speed_kn),
                kn(spec.min_speed_kn),
                spec.max_speed_scale,
            ),
            rate_lp: [Section::default(); 2],
            acc_lp: Section::default(),
            turn_lp: Section::default(),
            turn_rad_s: 0.0,
            integral: [Integrator::default(); 3],
            filters: Vec::new(),
            ahead: None,
            wakes: Wakes::default(),
            demand: Demand::default(),
            lost: Demand::default(),
            offset_rad: [0.0; MAX_SURFACES],
            engaging: false,
            last_s: None,
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

    fn sharing(&self) -> Sharing {
        Sharing {
            pitch_forward: self.spec.forward_share_frac,
            heave_forward: self.spec.heave_forward_share_frac,
            wake_frequency_rad_s: self.spec.wake_frequency_rad_s,
            wake_compensated: self.spec.wake_compensation_frac,
            priority: self.spec.priority,
        }
    }

    /// Everything that has a memory, prepared for `setup`.
    fn prepare(&mut self, setup: &Setup) -> Result<()> {
        let t = setup.sample_period_s;
        self.alloc = Allocator::driving(setup, self.sharing(), &self.drive)?;
        let driven = || self.alloc.channels().iter().map(|&i| &setup.surfaces[i]);
        self.channels = driven().map(|s| s.name.clone()).collect();
        let foremost_m = driven().map(|s| s.r_m.x).fold(f64::NEG_INFINITY, f64::max);
        self.filters = demand::filters(&self.spec.filters, t)?;
        self.ahead = match &self.spec.feed_forward {
            Some(spec) => Some(Ahead::new(spec, setup, foremost_m)?),
            None => None,
        };
        self.wakes = Wakes::new(
            setup,
            self.alloc.channels(),
            self.spec.wake_compensation_frac,
        );
        self.following.reset(setup);
        self.reference = Reference::new(&self.spec.set_point, t);
        self.speed.reset(setup.nominal_speed_m_s, t);
        self.rate_lp = [Section::low_pass(self.spec.filter_rad_s, t); 2];
        self.acc_lp = Section::low_pass(self.spec.filter_rad_s, t);
        self.turn_lp = Section::low_pass(TURN_CORNER_RAD_S, t);
        self.turn_rad_s = 0.0;
        self.displacement = Displacement::new(setup.displacement_kg, t);
        self.follow_schedule();
        self.integral = self
            .integrals()
            .map(|(gain, limit)| Integrator::new(gain, limit));
        Ok(())
    }

    /// Gains and limits of the integrators of heave, pitch, roll, SI.
    fn integrals(&self) -> [(f64, f64); 3] {
        let (h, p, r) = (&self.spec.heave, &self.spec.pitch, &self.spec.roll);
        [
            (deg(h.integral_deg_per_m_s), deg(h.integral_limit_deg)),
            (p.integral_deg_per_deg_s, deg(p.integral_limit_deg)),
            (r.integral_deg_per_deg_s, deg(r.integral_limit_deg)),
        ]
    }

    /// Takes the gains of the present speed and displacement, when the file schedules them.
    fn follow_schedule(&mut self) {
        let (speed_m_s, displacement_kg) = (self.speed.mean_m_s(), self.displacement.used_kg());
        let Some(g) = self.gains.at(speed_m_s, displacement_kg) else {
            return;
        };
        (self.spec.heave, self.spec.pitch, self.spec.roll) = (g.heave, g.pitch, g.roll);
        let numbers = self.integrals();
        for (i, (gain, limit_rad)) in self.integral.iter_mut().zip(numbers) {
            i.regain(gain, limit_rad);
        }
    }

    /// Starts over from these readings; integrators keep what they hold.
    fn restart(&mut self, y: &Measurement) {
        self.following.restart(y);
        if y.valid.rates {
            for (lp, rate) in self.rate_lp.iter_mut().zip(y.rates_rad_s.iter()) {
                lp.settle(*rate);
            }
            self.turn_lp.settle(y.rates_rad_s.z);
        }
        self.acc_lp.settle(0.0);
        if let Some(a) = &mut self.ahead {
            a.restart();
        }
        self.wakes.restart();
        self.lost = Demand::default();
        self.offset_rad = [0.0; MAX_SURFACES];
    }

    fn sense(&mut self, y: &Measurement, setup: &Setup) -> Sensed {
        let rates = if y.valid.rates {
            y.rates_rad_s
        } else {
            Vector3::zeros()
        };
        let p = self.rate_lp[0].step(rates.x);
        let q = self.rate_lp[1].step(rates.y);
        self.turn_rad_s = self.turn_lp.step(rates.z);
        let c = self.spec.filter_rad_s;
        let (phi_rad, theta_rad) = if y.valid.attitude {
            (y.phi_rad, y.theta_rad)
        } else {
            (0.0, setup.trim_pitch_rad)
        };
        Sensed {
            phi_rad,
            theta_rad,
            rates_rad_s: [p, q],
            turning_rad_s2: [c * (rates.x - p), c * (rates.y - q)],
        }
    }

    /// Vertical acceleration of O, down positive, m/s2.
    fn acceleration(&mut self, e: &Followed, s: &Sensed, setup: &Setup) -> f64 {
        let [p_dot, q_dot] = s.turning_rad_s2;
        let turn = Vector3::new(p_dot, q_dot, 0.0);
        let arm = vertical(&turn.cross(&setup.motion_unit_m), s.phi_rad, s.theta_rad);
        self.acc_lp.step(e.heave.unit_acceleration_m_s2) - arm
    }

    /// Carries the integrators on. `errors`: heave (down positive), pitch, roll, reference less reading.
    fn integrate(&mut self, errors: [f64; 3], y: &Measurement, u: &FinCommand, dt: f64) {
        let fade = self.speed.fade();
        if fade <= 0.0 {
            self.integral.iter_mut().for_each(|i| i.preload(0.0));
        }
        if fade < 1.0 || !y.valid.attitude {
            return;
        }
        let turns = self.turn_rad_s.abs() > deg(self.spec.integrator_max_turn_deg_s);
        let stuck = self.stuck(y, u);
        let scale = self.speed.scale();
        let back = dt / self.spec.anti_windup_s.max(dt);
        // demands of heave and roll are minus the law's own terms
        let missing = [
            -(self.lost.heave_rad + stuck.heave_rad) / scale,
            (self.lost.pitch_rad + stuck.pitch_rad) / scale,
            -(self.lost.roll_rad + stuck.roll_rad) / scale,
        ];
        let heights = y.valid.height.iter().any(|v| *v);
        for (k, i) in self.integral.iter_mut().enumerate() {
            let rests = turns || (k == 0 && !heights);
            i.step(errors[k], missing[k], back, dt, rests);
        }
    }

    /// Modal content of what measured angles lack from the previous command.
    fn stuck(&self, y: &Measurement, u: &FinCommand) -> Demand {
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

    /// Demands at the reference speed.
    fn demands(&mut self, y: &Measurement, u: &FinCommand, setup: &Setup, fresh: bool) -> Demand {
        let s = self.sense(y, setup);
        let e = self.following.step(y);
        let to = self.reference.step();
        let heave_error = setup.trim_heave_m + to.heave_m - e.heave.heave_m;
        let (pitch_error, roll_error) = if y.valid.attitude {
            (
                setup.trim_pitch_rad + to.pitch_rad + e.pitch_rad - s.theta_rad,
                to.roll_rad - s.phi_rad,
            )
        } else {
            (0.0, 0.0)
        };
        let acceleration = self.acceleration(&e, &s, setup);
        let errors = [heave_error, pitch_error, roll_error];
        self.integrate(errors, y, u, setup.sample_period_s);
        let [i3, i5, i4] = self.integral.map(|i| i.value_rad());
        let (g3, g5, g4) = (&self.spec.heave, &self.spec.pitch, &self.spec.roll);
        let [p, q] = s.rates_rad_s;
        let mut d = Demand {
            heave_rad: -(deg(g3.proportional_deg_per_m) * heave_error + i3
                - deg(g3.rate_deg_s_per_m) * e.heave.heave_rate_m_s),
            ride_rad: deg(g3.acceleration_deg_s2_per_m) * acceleration,
            pitch_rad: g5.proportional_deg_per_deg * pitch_error + i5 - g5.rate_deg_s_per_deg * q,
            roll_rad: -(g4.proportional_deg_per_deg * roll_error + i4 - g4.rate_deg_s_per_deg * p),
        };
        for f in &mut self.filters {
            if fresh {
                f.settle(&d);
            }
            f.step(&mut d);
        }
        if let Some(a) = &mut self.ahead {
            let [lift, bow_up] = a.step(y, e.level_heave_m);
            d.ride_rad += lift;
            d.pitch_rad += bow_up;
        }
        d
    }

    /// Demands to angles, and what limits took from them.
    fn write(&mut self, d: Demand, setup: &Setup, u: &mut FinCommand) {
        let scale = self.speed.scale();
        self.demand = Demand {
            heave_rad: scale * d.heave_rad,
            ride_rad: scale * d.ride_rad,
            pitch_rad: scale * d.pitch_rad,
            roll_rad: scale * d.roll_rad,
        };
        let trim = |i: usize| setup.surfaces[i].trim_rad;
        let mut before = [0.0; MAX_SURFACES];
        for (b, &i) in before.iter_mut().zip(self.alloc.channels()) {
            *b = u.fin_rad[i];
        }
        self.alloc.allocate(&self.demand, trim, u);
        let got = self.alloc.modal(|i| u.fin_rad[i] - trim(i));
        let want = self.alloc.expected(&self.demand);
        self.lost = Demand {
            heave_rad: got.heave_rad - want.heave_rad,
            ride_rad: 0.0,
            pitch_rad: got.pitch_rad - want.pitch_rad,
            roll_rad: got.roll_rad - want.roll_rad,
        };
        self.wakes.add(self.alloc.channels(), trim, u);
        let fade = self.speed.fade();
        if fade < 1.0 {
            for &i in self.alloc.channels() {
                u.fin_rad[i] *= fade;
            }
        }
        self.hand_over(&before, setup.sample_period_s, u);
    }

    /// Adds what is left of the difference at engagement.
    fn hand_over(&mut self, before: &[f64; MAX_SURFACES], dt: f64, u: &mut FinCommand) {
        let keep = (-dt / ENGAGE_S).exp();
        for (k, &i) in self.alloc.channels().iter().enumerate() {
            let o = &mut self.offset_rad[k];
            *o = if self.engaging {
                before[k] - u.fin_rad[i]
            } else {
                *o * keep
            };
            if o.abs() > 0.0 {
                // limits may have crossed in a failure; the lower one then counts
                let most = u.max_rad[i].max(u.min_rad[i]);
                u.fin_rad[i] = (u.fin_rad[i] + *o).clamp(u.min_rad[i], most);
            }
        }
        self.engaging = false;
    }
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
        self.prepare(setup)?;
        self.demand = Demand::default();
        self.lost = Demand::default();
        self.offset_rad = [0.0; MAX_SURFACES];
        self.engaging = false;
        self.last_s = None;
        self.setup = Some(Box::new(setup.clone()));
        Ok(())
    }

    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        let Some(setup) = self.setup.take() else {
            return Err(super::not_reset(&self.name));
        };
        let gap_s = GAP_PERIODS * setup.sample_period_s;
        let fresh = self.last_s.is_some_and(|last| t_s - last > gap_s);
        self.last_s = Some(t_s);
        if fresh {
            self.restart(y);
        }
        self.speed.step(y.speed_m_s, y.valid.speed);
        self.alloc.at_speed(self.speed.mean_m_s());
        self.displacement.step();
        self.follow_schedule();
        self.wakes.at_speed(self.speed.mean_m_s());
        let d = self.demands(y, u, &setup, fresh);
        self.write(d, &setup, u);
        let fine = u.check(&self.name, &setup, t_s);
        self.setup = Some(setup);
        fine
    }

    fn engage(&mut self, y: &Measurement, u: &FinCommand) -> Result<()> {
        let Some(setup) = &self.setup else {
            return Err(super::not_reset(&self.name));
        };
        self.speed.reset(
            if y.valid.speed && y.speed_m_s.is_finite() {
                y.speed_m_s
            } else {
                self.speed.speed_m_s()
            },
            setup.sample_period_s,
        );
        let held = self
            .alloc
            .modal(|i| u.fin_rad[i] - setup.surfaces[i].trim_rad);
        let scale = self.speed.scale();
        let parts = [-held.heave_rad, held.pitch_rad, -held.roll_rad];
        for (i, part) in self.integral.iter_mut().zip(parts) {
            i.preload(part / scale);
        }
        self.lost = Demand::default();
        self.engaging = true;
        Ok(())
    }

    fn set_point(&mut self, goal: SetPoint) -> Result<()> {
        self.reference.aim(goal);
        Ok(())
    }

    /// Without `loadings` in the file there is nothing to follow, and nothing changes.
    fn set_displacement(&mut self, displacement_kg: f64) -> Result<()> {
        self.displacement.tell(displacement_kg)
    }

    fn linear(&self) -> Result<LinearLaw> {
        linear::form(self)
    }

    fn trace(&self, out: &mut Trace) {
        let e = self.following.heave();
        out.push("heave_estimate_m", e.heave_m);
        out.push("heave_rate_estimate_m_s", e.heave_rate_m_s);
        out.push(
            "heave_demand_rad",
            self.demand.heave_rad + self.demand.ride_rad,
        );
        out.push("pitch_demand_rad", self.demand.pitch_rad);
        out.push("roll_demand_rad", self.demand.roll_rad);
        out.push("pitch_integral_rad", self.integral[1].value_rad());
        out.push("roll_integral_rad", self.integral[2].value_rad());
        out.push("speed_scale", self.speed.scale());
        out.push("heave_integral_rad", self.integral[0].value_rad());
        let (rms, weight) = self.following.state();
        out.push("relative_rms_m", rms);
        out.push("contouring_frac", weight);
        if self.gains.has_loadings() {
            out.push("gains_displacement_kg", self.displacement.used_kg());
        }
    }
}
