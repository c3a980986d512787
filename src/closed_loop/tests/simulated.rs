//! Spectral evaluation against simulation: the whole craft in a regular wave under a law, a servo at its
//! rate limit, an oscillator with quadratic drag.

use std::f64::consts::TAU;
use std::sync::Arc;

use nalgebra::{DVector, Matrix3};
use num_complex::Complex64;

use super::spectral::{at_speed, damper};
use super::*;
use crate::closed_loop::at_sea::{AtSea, DragModel};
use crate::closed_loop::encounter::WeightedWave;
use crate::closed_loop::evaluate::Options;
use crate::closed_loop::limits::{drag_speed, rate_gain};
use crate::closed_loop::output::Output;
use crate::control::estimate::mean_heave;
use crate::control::signal::{FinCommand, Measurement, Setup, vertical};
use crate::control::{Controller, ControllerInfo};
use crate::error::Result;
use crate::frames::encounter_rad_s;
use crate::sea::realisation::{Component, Realisation};
use crate::sim::bake::{Recipe, parts};
use crate::sim::case::{Case, Integrator, Sensing, Timing};
use crate::sim::run::run;
use crate::units::G_M_S2;

/// A linear law as a controller.
pub(crate) struct Recursion {
    pub(crate) law: LinearLaw,
    pub(crate) x: DVector<f64>,
    pub(crate) setup: Option<Setup>,
}

impl Recursion {
    fn signals(&self, y: &Measurement, setup: &Setup) -> DVector<f64> {
        let one = |s: &LawSignal| match s {
            LawSignal::RollRate => y.rates_rad_s.x,
            LawSignal::PitchRate => y.rates_rad_s.y,
            LawSignal::Roll => y.phi_rad,
            LawSignal::Pitch => y.theta_rad,
            LawSignal::VerticalAcceleration => {
                vertical(&y.specific_force_m_s2, y.phi_rad, y.theta_rad) + G_M_S2
            }
            LawSignal::HeightHeave => {
                mean_heave(y, &setup.height_sensors_m, y.phi_rad, y.theta_rad).unwrap()
            }
            LawSignal::Height(i) => y.height_m[*i],
            LawSignal::Surface(i) => y.surface_rad[*i],
        };
        DVector::from_iterator(self.law.signals.len(), self.law.signals.iter().map(one))
    }
}

impl Controller for Recursion {
    fn info(&self) -> ControllerInfo {
        ControllerInfo::default()
    }

    fn reset(&mut self, setup: &Setup) -> Result<()> {
        self.setup = Some(setup.clone());
        Ok(())
    }

    fn update(&mut self, _t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        let setup = self.setup.clone().unwrap();
        let rest = self.signals(&Measurement::at_trim(&setup), &setup);
        let y = self.signals(y, &setup) - rest;
        let out = &self.law.c * &self.x + &self.law.d * &y;
        self.x = &self.law.a * &self.x + &self.law.b * &y;
        for (channel, angle) in self.law.channels.iter().zip(out.iter()) {
            u.fin_rad[*channel] = setup.surfaces[*channel].trim_rad + angle;
        }
        Ok(())
    }
}

/// Complex amplitude at `omega` by least squares with constant and drift left out of the fit's way.
fn harmonic(x: &[f64], step_s: f64, omega: f64) -> Complex64 {
    let mut n = Matrix3::zeros();
    let mut r = nalgebra::Vector3::zeros();
    for (i, v) in x.iter().enumerate() {
        let (s, c) = (omega * i as f64 * step_s).sin_cos();
        let row = nalgebra::Vector3::new(1.0, c, s);
        n += row * row.transpose();
        r += row * *v;
    }
    let fit = n.lu().solve(&r).unwrap();
    Complex64::new(fit[1], -fit[2])
}

fn is_surge(name: &str) -> bool {
    name == "surge"
}

/// Every signal fed to some fin, so that each one's sign and size shows.
fn all_signals(period_s: f64) -> LinearLaw {
    let mut law = damper(period_s, 0.4);
    let gains = [0.05, 0.05, 0.0, 0.0, 0.01, 0.02, 0.01, 0.1];
    for i in 0..4 {
        for (j, g) in gains.iter().enumerate() {
            let roll = if i % 2 == 0 { 1.0 } else { -1.0 };
            law.d[(i, j)] += g * if j == 0 { roll } else { 1.0 };
        }
    }
    law
}

#[test]
fn with_a_law_it_is_the_sampled_system() {
    for (course, omega, mu) in [
        (held(), 0.7, 2.6),
        (CourseSpec::default(), 0.9, 2.2),
        (CourseSpec::default(), 1.3, 0.5),
    ] {
        let speed = at_speed(&course);
        let craft = &speed.craft;
        let law = all_signals(craft.setup.sample_period_s);
        let prepared = speed.law(&law).unwrap();
        assert!(prepared.is_stable());
        let omega_e = encounter_rad_s(omega, craft.speed_m_s, mu, craft.plant.g_m_s2);
        let wave = WeightedWave {
            omega_rad_s: omega,
            mu_rad: mu,
            omega_e_rad_s: omega_e,
            weight_m2: 0.5,
        };
        let sea = AtSea::new(Arc::clone(&speed), vec![wave], DragModel::Slope).unwrap();
        let e = sea.evaluate(&prepared, &Options::linear()).unwrap();
        // small: second-order forces fall with the square
        let amplitude = 5e-4;
        let waves = Realisation {
            components: vec![Component {
                omega_rad_s: omega,
                mu_rad: mu,
                amplitude_m: amplitude,
                phase_rad: 0.0,
            }],
            ..Realisation::calm()
        };
        let step = 0.05;
        let run_in = 500.0;
        let judged = (8.0 * TAU / omega_e.abs() / step / 2.0).ceil() * 2.0 * step;
        let recipe = Recipe {
            name: "proof".into(),
            model: model(),
            plant: Arc::clone(&craft.plant),
            trim: &craft.trim,
            sea: &waves,
            timing: Timing::new(judged, run_in, step, craft.setup.sample_period_s, step).unwrap(),
            integrator: Integrator::FixedStep,
            course: &course,
            sensing: Sensing::Suite {
                craft: Arc::new(model().craft.spec.clone()),
                errors: false,
                seed: 1,
                case: 0,
            },
        };
        let mut recursion = Recursion {
            x: DVector::zeros(law.a.nrows()),
            law,
            setup: None,
        };
        let out = run(&Case::new(parts(&recipe)).unwrap(), &mut recursion);
        assert!(out.outcome.is_completed());
        let turn = Complex64::from_polar(1.0, -omega_e * run_in);
        let names = ["surge", "sway", "heave_up", "roll", "pitch", "yaw"];
        let check = |name: &str, sign: f64, output: Output| {
            let column = out.record.judged_of(name).unwrap();
            let got = harmonic(column, step, omega_e) * turn * (sign / amplitude);
            let want = e.responses(output).at(0);
            let off = (got - want).norm() / want.norm();
            println!("{name}: {got:.4} against {want:.4}, {:.2} %", 100.0 * off);
            // aliasing is a part in a thousand; surge of following seas rings for minutes after the start
            let tol = if is_surge(name) { 0.02 } else { 0.005 };
            assert!(off < tol || want.norm() < 1e-3, "{name}: {got} {want}");
        };
        for (i, name) in names.iter().enumerate() {
            let sign = if i == 2 { -1.0 } else { 1.0 };
            check(name, sign, Output::Motion(i));
        }
        for i in [0, 1, 2, 3, 4] {
            let name = format!("{}.angle", craft.setup.surfaces[i].name);
            check(&name, 1.0, Output::Angle(i));
        }
        let p = &craft.points[0];
        let felt = |axis| Output::Felt { r_m: p.r_m, axis };
        check(&format!("{}.felt_fwd", p.name), 1.0, felt(0));
        check(&format!("{}.felt_stbd", p.name), 1.0, felt(1));
        check(&format!("{}.felt_up", p.name), -1.0, felt(2));
        let up = Output::Vertical { r_m: p.r_m };
        check(&format!("{}.acc_up", p.name), -1.0, up);
        let clear = Output::Clearance {
            r_m: p.r_m,
            wave_factor: craft.own_wave_factor,
        };
        check(&format!("{}.clear", p.name), 1.0, clear);
    }
}

/// Sines of equal steps in frequency with golden-ratio phases: nearly Gaussian.
fn gaussian(t: f64, rms: f64, lo: f64, hi: f64) -> f64 {
    let n = 60;
    let amplitude = rms * (2.0 / f64::from(n)).sqrt();
    (0..n)
        .map(|k| {
            let f = (f64::from(k) * 0.754_877_666_2).fract();
            let w = lo + (hi - lo) * (f64::from(k) + f) / f64::from(n);
            let phase = TAU * (f64::from(k * k) * 0.618_033_988_7).fract();
            amplitude * (w * t + phase).cos()
        })
        .sum()
}

#[test]
fn limits_meet_simulation() {
    // a servo asked for a little more than its rate: angle by the describing function
    let servo = model().plant(8.0, &held()).unwrap().actuators[0].clone();
    let (wn, twice) = (servo.natural_frequency_rad_s, 2.0 * servo.damping_ratio);
    let (lo, hi, h) = (0.6, 2.2, 0.005);
    for rms in [0.1, 0.12, 0.14, 0.16, 0.2] {
        let (mut angle, mut rate, mut t) = (0.0, 0.0, 0.0);
        let (mut sum, mut limited, mut n) = (0.0, 0.0, 0.0);
        for k in 0..600_000 {
            let command = gaussian(t, rms, lo, hi);
            let a = servo.acceleration(command, angle, rate, servo.max_rate_rad_s);
            rate += h * a;
            angle += h * rate;
            t += h;
            if k > 20_000 {
                sum += angle * angle;
                let asked = (command - angle) * wn / twice;
                limited += f64::from(u8::from(asked.abs() > servo.max_rate_rad_s));
                n += 1.0;
            }
        }
        let mut kappa = 1.0;
        let (mut sigma_e, mut got) = (0.0_f64, 0.0_f64);
        for _ in 0..200 {
            (sigma_e, got) = (0.0, 0.0);
            for k in 0..200 {
                let w = lo + (hi - lo) * (f64::from(k) + 0.5) / 200.0;
                let s = Complex64::new(0.0, w);
                let f = kappa * wn * wn / (s * s + twice * wn * s + kappa * wn * wn);
                sigma_e += rms * rms / 200.0 * ((1.0 - f) * wn / twice).norm_sqr();
                got += rms * rms / 200.0 * f.norm_sqr();
            }
            kappa = 0.5 * (kappa + rate_gain(servo.max_rate_rad_s, sigma_e.sqrt()));
        }
        let want = (sum / n).sqrt();
        let share = 1.0 - rate_gain(servo.max_rate_rad_s, sigma_e.sqrt());
        println!(
            "asked {rms} rad: angle {:.4} against {want:.4}, share {share:.3} against {:.3}",
            got.sqrt(),
            limited / n
        );
        // below 5 % of the time on the limit the method is trusted; beyond, its angle is too large and its
        // share too, as the error behind a limit is no Gaussian any more
        if share < 0.05 {
            assert!(
                (got.sqrt() / want - 1.0).abs() < 0.02,
                "{} {want}",
                got.sqrt()
            );
        }
        assert!(share > limited / n - 0.005, "the share is on the safe side");
    }
}

#[test]
fn drag_of_an_oscillator_meets_simulation() {
    // x'' + 0.02 x' + c |s| s + x = f(t),  s = x' - v(t): force and water motion of one sea
    let (lo, hi, h, c) = (0.5, 1.6, 0.02, 0.5);
    for rms in [0.2, 0.8] {
        let force = |t: f64| gaussian(t, rms, lo, hi);
        let water = |t: f64| 0.5 * gaussian(t + 0.4, rms, lo, hi);
        let (mut x, mut v) = (0.0, 0.0);
        let (mut sum, mut n) = (0.0, 0.0);
        let rate = |t: f64, x: f64, v: f64| {
            let s: f64 = v - water(t);
            force(t) - x - 0.02 * v - c * s.abs() * s
        };
        for k in 0..150_000 {
            let t = f64::from(k) * h;
            // midpoint rule
            let (xm, vm) = (x + 0.5 * h * v, v + 0.5 * h * rate(t, x, v));
            let a = rate(t + 0.5 * h, xm, vm);
            x += h * vm;
            v += h * a;
            if k > 5000 {
                sum += x * x;
                n += 1.0;
            }
        }
        let (mut q, mut got) = (rms, 0.0);
        for _ in 0..200 {
            let (mut relative, mut square) = (0.0, 0.0);
            let many = 400;
            for k in 0..many {
                let w = lo + (hi - lo) * (f64::from(k) + 0.5) / f64::from(many);
                let s = Complex64::new(0.0, w);
                let orbital = 0.5 * (s * 0.4).exp();
                let motion = (1.0 + c * q * orbital) / (s * s + s * (0.02 + c * q) + 1.0);
                let weight = rms * rms / f64::from(many);
                relative += weight * (s * motion - orbital).norm_sqr();
                square += weight * motion.norm_sqr();
            }
            q = 0.5 * (q + drag_speed(0.0, relative.sqrt()));
            got = square;
        }
        let want: f64 = sum / n;
        println!("rms {rms}: {:.4} against {:.4}", got.sqrt(), want.sqrt());
        // linearisation of quadratic drag: 3 to 5 % below simulation in the literature; scatter 2 %
        assert!((got.sqrt() / want.sqrt() - 1.0).abs() < 0.06);
    }
}
