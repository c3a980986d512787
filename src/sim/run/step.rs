//! One step of the state: servos by themselves, waves at its middle and end, the other three stages.
//!
//! # Checked by
//! `tests` of [`super`], `tests/time_vs_frequency.rs`.

use super::{Loop, Source};
use crate::math::ode::Stage;
use crate::sim::faults::Active;
use crate::sim::outcome::Outcome;

impl Loop<'_> {
    /// One step of the state.
    pub(super) fn advance(&mut self, step: u64, t_s: f64, end_s: f64) -> Result<(), Outcome> {
        self.before.copy_from_slice(&self.x);
        match self.source {
            Source::Recurrence { .. } => {
                self.servo_paths(2 * step + 1);
                self.bend_paths(t_s);
                self.fixed_step();
                Ok(())
            }
            Source::Direct { .. } if self.faults.as_ref().is_some_and(Active::bends_any) => {
                self.bend_paths(t_s);
                let middle_s = 0.5 * (t_s + end_s);
                self.reference_step_held(t_s, middle_s, t_s)?;
                self.inputs.held.arrive(2 * step + 1);
                self.reference_step_held(middle_s, end_s, t_s)
            }
            Source::Direct { .. } if self.inputs.held.in_the_middle() => {
                let middle_s = 0.5 * (t_s + end_s);
                self.reference_step(t_s, middle_s)?;
                self.inputs.held.arrive(2 * step + 1);
                self.reference_step(middle_s, end_s)
            }
            Source::Direct { .. } => self.reference_step(t_s, end_s),
        }
    }

    /// Servo angles and rates at the middle and the end of the step; commands of its middle arrive.
    fn servo_paths(&mut self, middle: u64) {
        let half_s = 0.5 * self.case.parts.timing.step_s;
        for k in 0..2 {
            if k == 1 {
                self.inputs.held.arrive(middle);
            }
            let inputs = &self.inputs;
            for (i, a) in self.craft.actuators().iter().enumerate() {
                let from = if k == 0 {
                    let l = self.craft.layout();
                    (self.x[l.angle(i)], self.x[l.rate(i)])
                } else {
                    self.servo_path[i][0]
                };
                let held = (inputs.held.command_rad[i], inputs.rate_limit_rad_s[i]);
                self.servo_path[i][k] = a.advance(&self.free_motion[i], held, from, half_s);
            }
        }
    }

    fn fixed_step(&mut self) {
        let Source::Recurrence { bank, track } = &mut self.source else {
            return;
        };
        let (craft, inputs, path) = (self.craft, &self.inputs, &self.servo_path);
        let h = self.case.parts.timing.step_s;
        let ahead = track.predict([self.x[0], self.x[1]], [self.rate[0], self.rate[1]], h);
        if let Some(march) = &mut self.march {
            bank.advance_to_end(ahead[1]);
            let input = inputs.with(bank.at_end());
            march.step(&mut self.x, &input, path, &mut self.rate);
            self.evaluations += 1;
            return;
        }
        bank.advance(ahead[0], ahead[1]);
        let servos = |x: &mut [f64], k: usize| {
            for (i, at) in path.iter().enumerate() {
                (x[craft.layout().angle(i)], x[craft.layout().rate(i)]) = at[k];
            }
        };
        self.rk4
            .step_from(h, &mut self.x, &self.rate, |stage, x, dx| {
                let waves = match stage {
                    Stage::Start => bank.at_start(),
                    Stage::Middle => {
                        servos(x, 0);
                        bank.at_middle()
                    }
                    Stage::End => {
                        servos(x, 1);
                        bank.at_end()
                    }
                };
                craft.derivative(x, &inputs.with(waves), dx);
            });
        servos(&mut self.x, 1);
        self.evaluations += 3;
    }

    fn reference_step(&mut self, t_s: f64, end_s: f64) -> Result<(), Outcome> {
        let Source::Direct { method, sums } = &mut self.source else {
            return Ok(());
        };
        let (craft, inputs) = (self.craft, &self.inputs);
        let before = method.evaluations();
        let bank = &self.case.bank;
        let done = method.advance(t_s, end_s, &mut self.x, |t, x, dx| {
            bank.direct(t, [x[0], x[1]], sums);
            craft.derivative(x, &inputs.with(sums.channels()), dx);
        });
        self.evaluations += method.evaluations() - before;
        done.map_err(|error| Outcome::IntegratorFailed {
            t_s,
            error,
            state: self.before.clone(),
        })
    }

    /// Servos that ran into their stops stay there.
    pub(super) fn meet_stops(&mut self) {
        let layout = self.craft.layout();
        for (i, a) in self.craft.actuators().iter().enumerate() {
            let (angle, rate) = (layout.angle(i), layout.rate(i));
            (self.x[angle], self.x[rate]) = a.at_stops(self.x[angle], self.x[rate]);
        }
    }
}
