//! The loop's hooks for faults: what starts and ends at a step, what supplies feed, and surfaces that a fault holds.
//!
//! # Checked by
//! `tests` of [`crate::sim::faults`], `tests/faults.rs`.

use super::{Loop, Source};
use crate::dynamics::actuator::{Actuator, share_rates};
use crate::math::ode::Reference;
use crate::sim::case::Integrator;
use crate::sim::faults::{Active, Bend, Holder};
use crate::sim::orders::Happening;
use crate::sim::outcome::Outcome;

impl<'a> Loop<'a> {
    /// Makes due starts and ends act, before the rates of the step are formed.
    pub(super) fn break_down(&mut self, step: u64, t_s: f64) {
        let Some(mut faults) = self.faults.take() else {
            return;
        };
        let mut any = false;
        while let Some((_, words)) = faults.next_edge(step, t_s) {
            any = true;
            self.happenings.push(Happening { t_s, words });
        }
        if let Some(craft) = faults.next_craft(step) {
            any = true;
            self.craft = craft;
            // the march knows the plant it was made for; on another one it begins anew
            if self.case.parts.integrator == Integrator::PredictorCorrector {
                self.march = craft.march(self.case.parts.timing.step_s);
                self.march_begins = true;
            }
        }
        if any {
            faults.cut_thrust(false, &mut self.inputs.thrust_n);
            self.take_hold(&mut faults, t_s);
            self.stale = true;
        }
        self.faults = Some(faults);
    }

    /// Surfaces that come into the hold of a fault: the servo stands where the surface stands.
    fn take_hold(&mut self, faults: &mut Active<'a>, t_s: f64) {
        let layout = self.craft.layout();
        for i in 0..self.inputs.angle_rad.len() {
            let hold = self.inputs.angle_rad[i];
            let angle_rad = self.craft.surface_angle_rad(i, &self.x, hold);
            if faults.hold(i, angle_rad, t_s) {
                self.x[layout.angle(i)] = angle_rad;
                self.x[layout.rate(i)] = 0.0;
            }
        }
    }

    /// Rate limits of the step, shared supplies considered.
    pub(super) fn share_supplies(&mut self) {
        let healthy = &self.case.parts.supply_rad_s;
        if healthy.is_empty() && self.faults.is_none() {
            return;
        }
        let (actuators, layout) = (self.craft.actuators(), self.craft.layout());
        let commands = self.inputs.held.command_rad.iter();
        for (i, (a, command)) in actuators.iter().zip(commands).enumerate() {
            let angle = self.x[layout.angle(i)];
            let held = self.faults.as_ref();
            let held = held.and_then(|f| f.demand_rad_s(i, a, angle));
            let own = || a.rate_command(*command, angle, a.max_rate_rad_s);
            self.demand_rad_s[i] = held.unwrap_or_else(own);
        }
        let limits = &mut self.inputs.rate_limit_rad_s;
        match &mut self.faults {
            None => share_rates(actuators, &self.demand_rad_s, healthy, limits),
            Some(f) => {
                share_rates(
                    actuators,
                    &self.demand_rad_s,
                    f.supply_rad_s(healthy),
                    limits,
                );
                f.limit_rates(actuators, limits);
            }
        }
    }

    /// A surface that a fault moves has no backlash: the servo's angle is its own.
    pub(super) fn no_backlash_when_held(&mut self) {
        let Some(faults) = &self.faults else { return };
        let layout = self.craft.layout();
        for (i, bend) in faults.bends().iter().enumerate() {
            if bend.is_some() {
                self.inputs.angle_rad[i] = self.x[layout.angle(i)];
            }
        }
    }

    /// Overwrites the servo paths of surfaces that a fault holds.
    pub(super) fn bend_paths(&mut self, t_s: f64) {
        let Some(faults) = &self.faults else { return };
        let half_s = 0.5 * self.case.parts.timing.step_s;
        let layout = self.craft.layout();
        for (i, bend) in faults.bends().iter().enumerate() {
            let Some(bend) = bend else { continue };
            let limit = self.inputs.rate_limit_rad_s[i];
            let mut angle = self.x[layout.angle(i)];
            for k in 0..2 {
                let after_s = half_s * (k + 1) as f64;
                let next = match bend.holder {
                    Holder::Water => {
                        let input = self.inputs.with(self.source.now());
                        self.craft.trailed_rad(i, &self.x, &input, angle, half_s)
                    }
                    _ => bent_rad(
                        bend,
                        &self.craft.actuators()[i],
                        (angle, limit * half_s),
                        t_s + after_s,
                    ),
                };
                let rate = (next - angle) / half_s;
                self.servo_path[i][k] = (next, rate);
                angle = next;
            }
        }
    }

    /// [`Loop::reference_step`] with held surfaces on their paths, straight between its instants.
    pub(super) fn reference_step_held(
        &mut self,
        t_s: f64,
        end_s: f64,
        step_start_s: f64,
    ) -> Result<(), Outcome> {
        let Source::Direct { method, sums } = &mut self.source else {
            return Ok(());
        };
        let (craft, inputs, layout) = (self.craft, &self.inputs, self.craft.layout());
        let (bank, half_s) = (&self.case.bank, 0.5 * self.case.parts.timing.step_s);
        let bends = match &self.faults {
            Some(faults) => faults.bends(),
            None => &[],
        };
        let held = || bends.iter().enumerate().filter(|b| b.1.is_some());
        let (path, before) = (&self.servo_path, &self.before);
        let at = |i: usize, t: f64| {
            let start = before[layout.angle(i)];
            let [(middle, _), (end, _)] = path[i];
            let s = (t - step_start_s) / half_s;
            if s <= 1.0 {
                start + s * (middle - start)
            } else {
                middle + (s - 1.0) * (end - middle)
            }
        };
        let scratch = &mut self.scratch;
        let evaluations = method.evaluations();
        let done = Reference::advance(method, t_s, end_s, &mut self.x, |t, x, dx| {
            scratch.copy_from_slice(x);
            for (i, _) in held() {
                scratch[layout.angle(i)] = at(i, t);
            }
            bank.direct(t, [x[0], x[1]], sums);
            craft.derivative(scratch, &inputs.with(sums.channels()), dx);
            for (i, _) in held() {
                (dx[layout.angle(i)], dx[layout.rate(i)]) = (0.0, 0.0);
            }
        });
        for (i, _) in held() {
            self.x[layout.angle(i)] = at(i, end_s);
            self.x[layout.rate(i)] = path[i][1].1;
        }
        self.evaluations += method.evaluations() - evaluations;
        done.map_err(|error| Outcome::IntegratorFailed {
            t_s,
            error,
            state: self.before.clone(),
        })
    }
}

/// Angle at `t_s` of a surface that is held but not by the water, at most `reach_rad` from where it is.
fn bent_rad(bend: &Bend, a: &Actuator, (angle, reach_rad): (f64, f64), t_s: f64) -> f64 {
    let to = match bend.holder {
        Holder::Jam | Holder::Water => return angle,
        Holder::Run(to) => to,
        Holder::Swing(amplitude, omega) => {
            let swung = amplitude * libm::sin(omega * (t_s - bend.since_s));
            (bend.from_rad + swung).clamp(a.min_rad, a.max_rad)
        }
    };
    if (to - angle).abs() <= reach_rad {
        return to;
    }
    angle + reach_rad.copysign(to - angle)
}
