//! Aft surfaces work against the wakes of those ahead of them.
//!
//! # Equation
//! ```text
//! angle_j += frac rho_ij (e_i/e_j) x_i(t - d/U)      for every wake from i to j
//! ```
//! so that the lift lost at j is made up by j itself, at every frequency. The delay is an all-pass
//! ([`Section::delay`](crate::control::filter::Section::delay)) at the mean speed.
//!
//! # Symbols
//! x_i: commanded angle of i about trim (rad); e: effectiveness (N s2/m2); rho_ij, d: force ratio and distance of
//! [`crate::control::signal::Wake`]; frac: `wake_compensation_frac`.
//!
//! # Valid when
//! Surface i follows its command. What the limits leave of surface j is used last: the demands come first.
//!
//! # Source
//! Own derivation from [`crate::control::signal::Wake`].
//!
//! # Checked by
//! `heave_demand_leaks_into_pitch_by_wakes` (tests/allocation.rs), `linear_form_is_the_law_itself`
//! (tests/controllers/linear_form.rs)

use crate::control::filter::Section;
use crate::control::linear::{Diagram, Line};
use crate::control::signal::{FinCommand, Setup};

/// Relative change of speed that is worth other delays.
const SPEED_STEP: f64 = 2e-3;
/// Speed below which delays are those of this speed, m/s.
const LEAST_SPEED_M_S: f64 = 1.0;

/// Delay of one surface's command.
#[derive(Clone, Copy, Debug)]
struct Delay {
    from: usize,
    distance_m: f64,
    sections: [Section; 2],
}

/// Angle of a surface per delayed angle.
#[derive(Clone, Copy, Debug)]
struct Link {
    delay: usize,
    to: usize,
    gain: f64,
}

/// All wakes between driven surfaces, by place in the list of channels.
#[derive(Clone, Debug, Default)]
pub(super) struct Wakes {
    delays: Vec<Delay>,
    links: Vec<Link>,
    period_s: f64,
    speed_m_s: f64,
}

impl Wakes {
    /// Nothing when `frac` is zero.
    pub(super) fn new(setup: &Setup, channels: &[usize], frac: f64) -> Self {
        let mut w = Wakes {
            period_s: setup.sample_period_s,
            speed_m_s: setup.nominal_speed_m_s,
            ..Wakes::default()
        };
        let place = |i: usize| channels.iter().position(|c| *c == i);
        for wake in &setup.wakes {
            let (Some(from), Some(to)) = (place(wake.from), place(wake.to)) else {
                continue;
            };
            let effect = |i: usize| setup.surfaces[i].effectiveness;
            if frac <= 0.0 || effect(wake.to) <= 0.0 {
                continue;
            }
            let delay = w.delay(from, wake.distance_m);
            w.links.push(Link {
                delay,
                to,
                gain: frac * wake.force_ratio * effect(wake.from) / effect(wake.to),
            });
        }
        w
    }

    /// The delay of a surface over a distance, shared by the wakes that have both alike.
    fn delay(&mut self, from: usize, distance_m: f64) -> usize {
        let alike = |d: &Delay| {
            d.from == from && (d.distance_m - distance_m).abs() < SPEED_STEP * distance_m
        };
        if let Some(found) = self.delays.iter().position(alike) {
            return found;
        }
        self.delays.push(Delay {
            from,
            distance_m,
            sections: self.sections(distance_m),
        });
        self.delays.len() - 1
    }

    fn sections(&self, distance_m: f64) -> [Section; 2] {
        let u = self.speed_m_s.max(LEAST_SPEED_M_S);
        Section::delay(distance_m / u, self.period_s)
    }

    /// Delays at this speed; changes below a few per mille wait.
    pub(super) fn at_speed(&mut self, speed_m_s: f64) {
        if (speed_m_s - self.speed_m_s).abs() < SPEED_STEP * self.speed_m_s.abs() {
            return;
        }
        self.speed_m_s = speed_m_s;
        for k in 0..self.delays.len() {
            let fresh = self.sections(self.delays[k].distance_m);
            for (s, f) in self.delays[k].sections.iter_mut().zip(&fresh) {
                s.retune(f);
            }
        }
    }

    /// Forgets what is on its way.
    pub(super) fn restart(&mut self) {
        for s in self.delays.iter_mut().flat_map(|d| &mut d.sections) {
            s.settle(0.0);
        }
    }

    /// Adds to the commands, within their limits.
    pub(super) fn add(
        &mut self,
        channels: &[usize],
        trim_rad: impl Fn(usize) -> f64,
        u: &mut FinCommand,
    ) {
        for k in 0..self.delays.len() {
            let d = &mut self.delays[k];
            let i = channels[d.from];
            let first = d.sections[0].step(u.fin_rad[i] - trim_rad(i));
            let late = d.sections[1].step(first);
            for link in self.links.iter().filter(|l| l.delay == k) {
                let j = channels[link.to];
                // limits may have crossed in a failure; the lower one then counts
                let most = u.max_rad[j].max(u.min_rad[j]);
                u.fin_rad[j] = (u.fin_rad[j] + link.gain * late).clamp(u.min_rad[j], most);
            }
        }
    }

    /// The same as lines.
    pub(super) fn draw(&self, d: &mut Diagram, out: &mut [Line]) {
        for (k, delay) in self.delays.iter().enumerate() {
            let first = d.section(&delay.sections[0], &out[delay.from]);
            let late = d.section(&delay.sections[1], &first);
            for link in self.links.iter().filter(|l| l.delay == k) {
                out[link.to] = out[link.to].clone() + late.clone() * link.gain;
            }
        }
    }
}
