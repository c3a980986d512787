//! The ride under a law without simulation: variances and spectra, limits and drag consistent.
//!
//! # Equation
//! ```text
//! v = K ([y_w; nu_w] + G v) + [0; pull'],   v = [u; f'],   K = [phi C, 0; 0, -dD]
//! nu = nu_w + G_nu v,   variance of an output = sum_i w_i |H_i|^2 + noise
//! phi_j = N_j P_j F(kappa_j)/F(1),   F(kappa) = kappa wn^2 / (s^2 + 2 zeta wn s + kappa wn^2)
//! ```
//! N, kappa (dead band and rate limit), the play P of [`super::play`] and the equivalent speeds of the drag follow from the variances of the unclipped command, of
//! the rate asked and of the relative velocities; repeated until they stand still.
//!
//! # Symbols
//! C law, G transfers of [`super::at_sea`]; F servo under a rate limit; dD drag beyond that with fins at trim.
//!
//! # Valid when
//! See [`super::trust`]. An unstable loop has no variance and is refused.
//!
//! # Source
//! Gelb & Vander Velde (1968), Multiple-Input Describing Functions, chapter 2; St Denis & Pierson (1953).
//!
//! # Checked by
//! `without_a_law_it_is_the_linear_response`, `with_a_law_it_is_the_sampled_system`,
//! `limits_meet_simulation`, `four_times_the_grid_changes_little` (tests of this room).

use num_complex::Complex64;

use super::at_sea::{AtSea, DragModel};
use super::contour::LawInLoop;
use super::limits::{clip_gain, clip_mean, drag_speed, shared_limit};
use super::pass::{Gains, Run, ServoLimits, Sums};
use super::play::{play_gain, slew_gain};
use super::second_order::SecondOrder;
use super::settle::Mixer;
use crate::error::{Error, Result};
use crate::linear::resolvent::RIGID;

/// What is taken into account.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Angle and rate limits.
    pub limits: bool,
    /// Drag changed by the law (off: as with fins at trim).
    pub drag: bool,
    /// Noise of the sensors.
    pub noise: bool,
    /// Change of gains and equivalent speeds that ends the iteration, relative.
    pub tolerance: f64,
    /// Iterations at most.
    pub iterations: usize,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            limits: true,
            drag: true,
            noise: true,
            tolerance: 1e-3,
            iterations: 40,
        }
    }
}

impl Options {
    /// One linear pass: no limits, drag as with fins at trim.
    pub fn linear() -> Self {
        Options {
            limits: false,
            drag: false,
            ..Options::default()
        }
    }
}

/// What a surface does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SurfaceWork {
    /// Index among the surfaces.
    pub surface: usize,
    /// Angle about trim, RMS, rad.
    pub angle_rms_rad: f64,
    /// Rate, RMS, rad/s.
    pub rate_rms_rad_s: f64,
    /// Command before any limit, RMS, rad.
    pub asked_rms_rad: f64,
    /// Mean that unequal limits on both sides add, rad; not fed back.
    pub clipped_mean_rad: f64,
    /// Share of time the command lies beyond an angle limit.
    pub angle_limit_share: f64,
    /// Share of time the servo asks for more than its rate.
    pub rate_limit_share: f64,
}

impl SurfaceWork {
    /// Share of time on either limit, as if they came independently.
    pub fn limit_share(&self) -> f64 {
        1.0 - (1.0 - self.angle_limit_share) * (1.0 - self.rate_limit_share)
    }
}

/// The ride of one craft in one sea under one law.
#[derive(Debug)]
pub struct Evaluation<'a> {
    /// Craft and sea.
    pub sea: &'a AtSea,
    /// The law.
    pub law: &'a LawInLoop,
    /// What was taken into account.
    pub options: Options,
    /// Passes made.
    pub iterations: usize,
    /// Whether limits and drag stand still.
    pub converged: bool,
    /// Work of every channel.
    pub surfaces: Vec<SurfaceWork>,
    /// Rigid states per unit amplitude of every wave.
    pub(crate) rigid: Vec<[Complex64; RIGID]>,
    /// Commands (through the limits, before hold and servo) per unit amplitude, channel by channel.
    pub(crate) commands: Vec<Complex64>,
    /// What is of second order, where asked for.
    pub(crate) second: SecondOrder,
    /// Gains of limits and play, speeds of drag that the ride settled on.
    pub(crate) gains: Gains,
    servos: Vec<ServoLimits>,
}

/// Least gain of a limit: less would leave a loop with nothing to iterate on.
const LEAST_GAIN: f64 = 1e-3;

impl Gains {
    /// All in one row.
    fn flat(&self) -> Vec<f64> {
        let play = self.play.iter().flatten();
        let gains = self.clip.iter().chain(&self.rate).chain(play);
        gains.chain(&self.speeds).copied().collect()
    }

    /// Reads a row back, within what gains and speeds can be.
    fn take(&mut self, row: &[f64]) {
        let (clip, rest) = row.split_at(self.clip.len());
        let (rate, rest) = rest.split_at(self.rate.len());
        let (play, speeds) = rest.split_at(2 * self.play.len());
        let bounded = |to: &mut [f64], from: &[f64]| {
            for (t, f) in to.iter_mut().zip(from) {
                *t = f.clamp(LEAST_GAIN, 1.0);
            }
        };
        bounded(&mut self.clip, clip);
        bounded(&mut self.rate, rate);
        for (t, f) in self.play.iter_mut().zip(play.chunks_exact(2)) {
            *t = [f[0].clamp(LEAST_GAIN, 1.0), f[1]];
        }
        for (t, f) in self.speeds.iter_mut().zip(speeds) {
            *t = f.max(0.0);
        }
    }
}

impl AtSea {
    /// The ride under `law`.
    ///
    /// # Errors
    /// An unstable loop: it has no variance.
    pub fn evaluate<'a>(&'a self, law: &'a LawInLoop, options: &Options) -> Result<Evaluation<'a>> {
        if !law.is_stable() {
            return Err(Error::with_hint(
                format!(
                    "the loop has {} growing poles at {:.2} m/s, so no RMS exists",
                    law.unstable, self.speed.craft.speed_m_s
                ),
                "other gains, or another speed: see `margins`",
            ));
        }
        let drags = self.equivalent_m_s.iter().any(|s| *s > 0.0);
        let forces = options.drag && self.drag_model == DragModel::Gaussian && drags;
        let mut run = Run::new(self, law, options.limits, forces);
        let m = self.speed.channels.len();
        let noise = noise_variances(law, options, &run.servos);
        let mut gains = Gains {
            clip: vec![1.0; m],
            rate: vec![1.0; m],
            play: vec![[1.0, 0.0]; m],
            speeds: self.equivalent_m_s.clone(),
        };
        let mut sums = run.no_sums();
        let mut mixer = Mixer::default();
        let (mut iterations, mut converged) = (0, false);
        let still = !options.limits && !forces;
        while iterations < options.iterations.max(1) {
            run.pass(&gains, &mut sums, iterations > 0);
            for (j, n) in noise.iter().enumerate() {
                sums.asked[j] += n.asked;
                sums.rate_asked[j] += n.rate_asked;
            }
            iterations += 1;
            converged = still || run.update(&sums, &mut gains, &mut mixer) < options.tolerance;
            if converged {
                break;
            }
        }
        let commands = run.commands();
        let surfaces = run.work(&sums, &noise, &gains, &commands);
        let k = &self.speed.kinematics;
        let waves = run.velocities().zip(&self.transfers);
        let rigid = waves.map(|(nu, t)| k.rigid(&nu, Complex64::new(0.0, t.omega)));
        Ok(Evaluation {
            sea: self,
            law,
            options: *options,
            iterations,
            converged,
            surfaces,
            rigid: rigid.collect(),
            commands,
            second: SecondOrder::default(),
            gains,
            servos: run.servos,
        })
    }
}

impl Evaluation<'_> {
    /// Share of channel `j`'s command that limits and play let through at a signed frequency.
    pub(crate) fn through(&self, j: usize, omega: f64) -> Complex64 {
        let [with, behind] = self.gains.play[j];
        self.servos[j].slowed(omega, self.gains.rate[j])
            * self.gains.clip[j]
            * Complex64::new(with, -behind * omega.signum())
    }
}

/// What noise adds to a channel.
#[derive(Clone, Copy, Default)]
struct Noise {
    asked: f64,
    rate_asked: f64,
    angle: f64,
    rate: f64,
}

fn noise_variances(law: &LawInLoop, options: &Options, servos: &[ServoLimits]) -> Vec<Noise> {
    let mut out = vec![Noise::default(); servos.len()];
    if !options.noise {
        return out;
    }
    for (j, (n, servo)) in out.iter_mut().zip(servos).enumerate() {
        let sums = &law.noise_sums[j];
        let scale = (servo.natural / servo.twice_damping).powi(2);
        n.asked = sums.command;
        n.angle = sums.angle;
        n.rate = sums.rate;
        n.rate_asked = scale * sums.lag;
    }
    out
}

impl Run<'_> {
    /// New gains from the variances; the largest change they ask for.
    fn update(&self, sums: &Sums, gains: &mut Gains, mixer: &mut Mixer) -> f64 {
        let found = self.found(sums, gains);
        let largest = found.speeds.iter().chain(&gains.speeds);
        let largest = largest.fold(f64::MIN_POSITIVE, |a, b| a.max(*b));
        let (mut now, next) = (gains.flat(), found.flat());
        let limits = now.len() - gains.speeds.len();
        let change = now.iter().zip(&next).enumerate();
        let change = change.fold(0.0_f64, |most, (i, (a, b))| {
            let size = if i < limits { 1.0 } else { largest };
            most.max((a - b).abs() / size)
        });
        mixer.step(&mut now, &next);
        gains.take(&now);
        change
    }

    /// The gains that the variances lead to.
    fn found(&self, sums: &Sums, gains: &Gains) -> Gains {
        let mut out = gains.clone();
        if self.limits {
            let limits = self.rate_limits(sums);
            for (j, s) in self.servos.iter().enumerate() {
                let asked = sums.asked[j].sqrt();
                out.clip[j] = clip_gain(s.lo, s.hi, asked);
                out.rate[j] = slew_gain(limits[j], s.dead, sums.rate_asked[j].sqrt());
                out.play[j] = play_gain(s.half_gap, out.clip[j] * asked);
            }
        }
        if self.forces {
            for (e, s) in out.speeds.iter_mut().enumerate() {
                *s = drag_speed(self.sea.elements.mean[e], sums.relative[e].sqrt());
            }
        }
        out
    }

    /// Rate limit of each channel, shared supplies considered.
    fn rate_limits(&self, sums: &Sums) -> Vec<f64> {
        let totals = &self.sea.speed.craft.supply_rad_s;
        self.servos
            .iter()
            .zip(&sums.rate_asked)
            .map(|(s, asked)| {
                let Some(k) = s.supply else { return s.rate };
                let users = self.servos.iter().zip(&sums.rate_asked);
                let sum: f64 = users
                    .filter(|(o, _)| o.supply == Some(k))
                    .map(|(_, v)| v.sqrt())
                    .sum();
                let total = totals.get(k).copied().unwrap_or(f64::INFINITY);
                shared_limit(s.rate, total, asked.sqrt(), sum)
            })
            .collect()
    }

    fn work(
        &self,
        sums: &Sums,
        noise: &[Noise],
        gains: &Gains,
        commands: &[Complex64],
    ) -> Vec<SurfaceWork> {
        let sea = self.sea;
        let m = self.servos.len();
        let limits = self.rate_limits(sums);
        (0..m)
            .map(|j| {
                let (mut angle, mut rate) = (0.0, 0.0);
                for (i, (t, servo)) in sea.transfers.iter().zip(&sea.servo).enumerate() {
                    let square = commands[i * m + j].norm_sqr() * t.weight;
                    angle += square * servo.power[j][0];
                    rate += square * servo.power[j][1];
                }
                let s = &self.servos[j];
                let asked = sums.asked[j].sqrt();
                let rate_asked = sums.rate_asked[j].sqrt();
                let limited = self.limits;
                let slew = if limited {
                    slew_gain(limits[j] + s.dead, 0.0, rate_asked)
                } else {
                    1.0
                };
                // noise meets the same limits
                let through = (gains.clip[j] * slew * gains.play[j][0]).powi(2);
                SurfaceWork {
                    surface: sea.speed.channels[j],
                    angle_rms_rad: (angle + through * noise[j].angle).sqrt(),
                    rate_rms_rad_s: (rate + through * noise[j].rate).sqrt(),
                    asked_rms_rad: asked,
                    clipped_mean_rad: if limited {
                        clip_mean(s.lo, s.hi, asked)
                    } else {
                        0.0
                    },
                    angle_limit_share: if limited {
                        1.0 - clip_gain(s.lo, s.hi, asked)
                    } else {
                        0.0
                    },
                    rate_limit_share: 1.0 - slew,
                }
            })
            .collect()
    }
}
