//! The modal PID about trim as a sampled linear system.
//!
//! # Equation
//! That of [`super`], line by line, with the speed scale, the fade and the gains of the speed and displacement at
//! the last reset.
//!
//! # Symbols
//! As in [`super`].
//!
//! # Valid when
//! Inside all limits, all readings valid. Measured surface angles do not enter: they act through the
//! anti-windup alone, which rests while a surface follows its command within
//! [`LAG_BAND_RAD`](super::LAG_BAND_RAD). Yaw rate does not enter (see
//! [`HeaveEstimator::draw`](crate::control::estimate::HeaveEstimator::draw)).
//!
//! # Source
//! Own derivation: the code of `update` repeated with lines in the place of numbers.
//!
//! # Checked by
//! `linear_form_is_the_law_itself` (tests/controllers/linear_form.rs)

use super::Pid;
use super::integrator::Integrator;
use crate::control::estimate::turned;
use crate::control::linear::{Diagram, LawSignal, Line, LinearLaw};
use crate::error::Result;
use crate::units::deg;

/// The matrices of `law`.
pub(super) fn form(law: &Pid) -> Result<LinearLaw> {
    let Some(setup) = &law.setup else {
        return Err(crate::control::not_reset(&law.name));
    };
    let dt = setup.sample_period_s;
    let mut d = Diagram::default();
    let (p, q) = (d.input(LawSignal::RollRate), d.input(LawSignal::PitchRate));
    let (lp_p, lp_q) = (
        d.section(&law.rate_lp[0], &p),
        d.section(&law.rate_lp[1], &q),
    );
    let c = law.spec.filter_rad_s;
    let e = law.following.draw(&mut d, law.ahead.is_some());
    let (p_dot, q_dot) = ((p - lp_p.clone()) * c, (q - lp_q.clone()) * c);
    let arm = turned(&setup.motion_unit_m, setup.trim_pitch_rad, p_dot, q_dot);
    let acceleration = d.section(&law.acc_lp, &e.heave.unit_acceleration) - arm;
    let (g3, g5, g4) = (&law.spec.heave, &law.spec.pitch, &law.spec.roll);
    let errors = [
        e.heave.heave * -1.0,
        e.pitch - d.input(LawSignal::Pitch),
        d.input(LawSignal::Roll) * -1.0,
    ];
    let works = law.speed.fade() >= 1.0;
    let mut held = |i: &Integrator, error: &Line| {
        if works && i.exists() {
            i.draw(&mut d, error, dt)
        } else {
            Line::zero()
        }
    };
    let [i3, i5, i4] = [0, 1, 2].map(|k| held(&law.integral[k], &errors[k]));
    let [z, theta, phi] = errors;
    let lift = z * deg(g3.proportional_deg_per_m) + i3
        - e.heave.heave_rate * deg(g3.rate_deg_s_per_m)
        - acceleration * deg(g3.acceleration_deg_s2_per_m);
    let pitch = theta * g5.proportional_deg_per_deg + i5 - lp_q * g5.rate_deg_s_per_deg;
    let roll = phi * g4.proportional_deg_per_deg + i4 - lp_p * g4.rate_deg_s_per_deg;
    let mut demand = [lift * -1.0, pitch, roll * -1.0];
    for f in &law.filters {
        f.draw(&mut d, &mut demand);
    }
    if let (Some(a), Some(heave)) = (&law.ahead, &e.level_heave) {
        let [lift, bow_up] = a.draw(&mut d, heave);
        demand[0] = demand[0].clone() + lift;
        demand[1] = demand[1].clone() + bow_up;
    }
    let [lift, bow_up, starboard_up] = demand.map(|line| line * law.speed.scale());
    let mut out: Vec<Line> = law
        .alloc
        .gains()
        .iter()
        .map(|m| lift.clone() * m[0] + bow_up.clone() * m[1] + starboard_up.clone() * m[2])
        .collect();
    law.wakes.draw(&mut d, &mut out);
    let out: Vec<Line> = out.into_iter().map(|o| o * law.speed.fade()).collect();
    Ok(LinearLaw {
        speed_power: law.speed.power(),
        ..d.law(dt, law.alloc.channels(), &out)
    })
}
