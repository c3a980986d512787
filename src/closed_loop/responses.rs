//! Outputs of an evaluation wave by wave: spectra, variances, moments.
//!
//! # Equation
//! ```text
//! variance = sum_i w_i |H_i|^2 + noise,   m_n = sum_i w_i |omega_e,i|^n |H_i|^2 + noise
//! ```
//!
//! # Symbols
//! H_i output per unit amplitude of wave i, w_i its weight (m2), omega_e encounter frequency.
//!
//! # Valid when
//! As [`super::evaluate`].
//!
//! # Source
//! St Denis & Pierson (1953), Trans. SNAME 61.
//!
//! # Checked by
//! `without_a_law_it_is_the_linear_response`, `with_a_law_it_is_the_sampled_system` (tests of this room).

use num_complex::Complex64;

use super::evaluate::Evaluation;
use super::output::{Output, OutputRow};
use crate::linear::resolvent::RIGID;

/// An output of an evaluation, wave by wave.
pub struct Responses<'a> {
    evaluation: &'a Evaluation<'a>,
    row: OutputRow,
    channel: Option<usize>,
}

impl Evaluation<'_> {
    /// Waves, then sources of noise: the entries of every sum.
    pub fn waves(&self) -> usize {
        self.rigid.len()
    }

    /// Encounter frequency (signed) and weight of wave `i`.
    pub fn wave(&self, i: usize) -> (f64, f64) {
        let t = &self.sea.transfers[i];
        (t.omega, t.weight)
    }

    /// Command of channel `j` in wave `i` per unit amplitude, through the limits.
    pub fn command(&self, i: usize, j: usize) -> Complex64 {
        self.commands[i * self.sea.speed.channels.len() + j]
    }

    /// Access to an output wave by wave.
    pub fn responses(&self, output: Output) -> Responses<'_> {
        let row = output.row(&self.sea.speed.craft);
        let channel = row
            .surface
            .and_then(|(s, _)| self.sea.speed.channels.iter().position(|c| *c == s));
        Responses {
            evaluation: self,
            row,
            channel,
        }
    }

    /// Sum over all waves and noise of `factor(|omega_e|) |H|^2 weight`: with one, the variance; with
    /// omega^2, that of the rate; with a squared frequency weighting, that of the weighted output.
    pub fn weighted(&self, output: Output, factor: impl Fn(f64) -> f64) -> f64 {
        let r = self.responses(output);
        let mut sum = 0.0;
        r.each(|omega, weight, value| sum += weight * factor(omega) * value.norm_sqr());
        sum
    }

    /// Variance of an output.
    pub fn variance(&self, output: Output) -> f64 {
        if let Output::Angle(s) | Output::AngleRate(s) = output
            && let Some(w) = self.surfaces.iter().find(|w| w.surface == s)
        {
            return match output {
                Output::Angle(_) => w.angle_rms_rad.powi(2),
                _ => w.rate_rms_rad_s.powi(2),
            };
        }
        self.weighted(output, |_| 1.0)
    }

    /// Root mean square of an output.
    pub fn rms(&self, output: Output) -> f64 {
        self.variance(output).sqrt()
    }

    /// Moments 0, 2 and 4 of an output over the encounter frequency.
    pub fn moments(&self, output: Output) -> [f64; 3] {
        let r = self.responses(output);
        let mut m = [0.0; 3];
        r.each(|omega, weight, value| {
            let s = weight * value.norm_sqr();
            let w2 = omega * omega;
            m[0] += s;
            m[1] += s * w2;
            m[2] += s * w2 * w2;
        });
        m
    }

    /// Share of the variance of an output below `omega_rad_s` of encounter frequency.
    pub fn slow_share(&self, output: Output, omega_rad_s: f64) -> f64 {
        let (mut slow, mut all) = (0.0, 0.0);
        self.responses(output).each(|omega, weight, value| {
            let s = weight * value.norm_sqr();
            all += s;
            if omega < omega_rad_s {
                slow += s;
            }
        });
        if all > 0.0 { slow / all } else { 0.0 }
    }
}

impl Responses<'_> {
    /// Response in wave `i` per unit amplitude: what of it is met at the wave's own frequency.
    pub fn at(&self, i: usize) -> Complex64 {
        let e = self.evaluation;
        match e.second.lines.get(i) {
            Some(line) if !self.row.has_wave() => {
                let omega = e.sea.transfers[i].omega;
                self.linear(i) * line.kept + self.apart(omega, &line.rigid, &line.u)
            }
            _ => self.linear(i),
        }
    }

    fn linear(&self, i: usize) -> Complex64 {
        let e = self.evaluation;
        let t = &e.sea.transfers[i];
        let s = Complex64::new(0.0, t.omega);
        if let Some((surface, rate)) = self.row.surface {
            let angle = match self.channel {
                Some(j) => e.command(i, j) * e.sea.speed.angle_over_command(surface, t.omega),
                None => self.rudder(surface, t.omega, &e.rigid[i]),
            };
            if rate { angle * s } else { angle }
        } else {
            let w = &e.sea.waves[i];
            let g = e.sea.speed.craft.plant.g_m_s2;
            self.row
                .value(&e.rigid[i], s, Some([w.omega_rad_s, w.mu_rad, g]))
        }
    }

    /// Angle of a rudder under the course keeper.
    fn rudder(&self, surface: usize, omega: f64, x: &[Complex64; RIGID]) -> Complex64 {
        let speed = &self.evaluation.sea.speed;
        let steers = (speed.keeper.helm.as_ref()).is_some_and(|h| h.rudders.contains(&surface));
        if steers {
            speed.helm(omega, x) * speed.angle_over_command(surface, omega)
        } else {
            Complex64::ZERO
        }
    }

    /// Value of rigid states and commands at a frequency without a wave of its own.
    fn apart(&self, omega: f64, rigid: &[Complex64; RIGID], u: &[Complex64]) -> Complex64 {
        let s = Complex64::new(0.0, omega);
        let Some((surface, rate)) = self.row.surface else {
            return self.row.value(rigid, s, None);
        };
        let angle = match self.channel {
            Some(j) => u[j] * self.evaluation.sea.speed.angle_over_command(surface, omega),
            None => self.rudder(surface, omega, rigid),
        };
        if rate { angle * s } else { angle }
    }

    /// Calls `f` with |omega_e|, weight and response for every wave, every source of noise and every part of
    /// second order.
    pub fn each(&self, mut f: impl FnMut(f64, f64, Complex64)) {
        let e = self.evaluation;
        for (i, t) in e.sea.transfers.iter().enumerate() {
            f(t.omega.abs(), t.weight, self.at(i));
        }
        if e.options.noise {
            for n in &e.law.noise {
                f(
                    n.omega_rad_s,
                    n.weight,
                    self.apart(n.omega_rad_s, &n.rigid, &n.u),
                );
            }
        }
        for part in &e.second.entries {
            let value = if self.row.has_wave() {
                Complex64::ZERO
            } else {
                self.row.turned(&part.turning) + self.apart(part.omega_rad_s, &part.rigid, &part.u)
            };
            f(part.omega_rad_s, 1.0, value);
        }
    }
}
