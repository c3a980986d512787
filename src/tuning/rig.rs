//! A craft at one speed made ready to judge law after law: margins, poles and rides at little cost.
//!
//! # Equation
//! ```text
//! S(z) = (I - C(z) G(z))^-1 on a grid of frequencies;  G of the craft is kept, C of the law is new
//! ```
//!
//! # Symbols
//! G from commands to signals of the sampled craft, C the law, z = exp(i omega T).
//!
//! # Valid when
//! Between the kept frequencies G runs linearly: margins come out within about 2 % of those of
//! [`crate::closed_loop::margins`], which refines its grid for every law; what is found by search is
//! judged again by that.
//!
//! # Source
//! As [`crate::closed_loop::margins`].
//!
//! # Checked by
//! `quick_margins_are_the_margins` (tests/tuning_craft.rs)

use std::sync::Arc;

use nalgebra::DMatrix;
use num_complex::Complex64;

use super::objective::Watch;
use crate::closed_loop::margins::crossing::classic;
use crate::closed_loop::margins::disk;
use crate::closed_loop::margins::loops::OpenLoop;
use crate::closed_loop::margins::sweep::Sweep;
use crate::closed_loop::poles::{closed, motion};
use crate::closed_loop::sampled::SampledCraft;
use crate::closed_loop::{AtSea, AtSpeed, LawInLoop, LoopCraft};
use crate::control::linear::{LawSignal, LinearLaw};
use crate::error::{Error, Result};
use crate::math::eigen;
use crate::units::to_deg;

/// Lowest frequency of the grid, rad/s.
const LOW_RAD_S: f64 = 1e-3;
/// Points of the grid a decade.
const A_DECADE: f64 = 24.0;
/// Poles slower than this are at rest, 1/s.
const NEUTRAL_1_S: f64 = 1e-6;
/// Oscillations whose damping is told, rad/s: slower ones belong to helm and throttle, faster ones to servos
/// and lags.
const MOTIONS_RAD_S: [f64; 2] = [0.1, 6.0];

/// A craft at one speed with its seas.
pub struct Rig {
    /// The craft.
    pub craft: Arc<LoopCraft>,
    /// Prepared for the law's channels and signals.
    pub at: Arc<AtSpeed>,
    /// Its seas, each with its place in the list of cases.
    pub seas: Vec<(usize, AtSea)>,
    sampled: SampledCraft,
    omega_rad_s: Vec<f64>,
    /// Signals over commands at each frequency.
    gains: Vec<DMatrix<Complex64>>,
}

impl Rig {
    /// Prepares `craft` for laws that command `channels` from `signals`.
    ///
    /// # Errors
    /// When the sampled model or its poles cannot be found.
    pub fn new(craft: Arc<LoopCraft>, channels: &[usize], signals: &[LawSignal]) -> Result<Self> {
        let sampled = craft.sampled(channels, signals)?;
        let at = Arc::new(AtSpeed::new(Arc::clone(&craft), channels, signals)?);
        let period_s = craft.setup.sample_period_s;
        let all = grid(&at, period_s);
        let (mut omega_rad_s, mut gains) = (Vec::new(), Vec::new());
        for omega in all {
            let z = Complex64::from_polar(1.0, omega * period_s);
            if let Some(g) = at.sampled.at(z) {
                omega_rad_s.push(omega);
                gains.push(DMatrix::from_row_slice(signals.len(), channels.len(), &g));
            }
        }
        Ok(Rig {
            craft,
            at,
            seas: Vec::new(),
            sampled,
            omega_rad_s,
            gains,
        })
    }

    /// Largest growth rate of the closed loop's poles, 1/s, and least damping ratio of oscillations of the craft's
    /// motions; poles at rest (of a course that nothing keeps) are left out.
    ///
    /// # Errors
    /// When the poles cannot be found.
    pub fn growth_and_damping(&self, law: &LinearLaw) -> Result<(f64, Option<f64>)> {
        let a = closed(&self.sampled, law);
        let all = eigen::eigenvalues(&a)
            .ok_or_else(|| Error::new("the poles of the closed loop could not be found"))?;
        let period_s = self.craft.setup.sample_period_s;
        let pole = |z: &Complex64| z.ln() / period_s;
        let moving = all
            .iter()
            .filter(|z| z.norm() > 1e-12 && pole(z).norm() > NEUTRAL_1_S);
        let growth = moving.clone().map(|z| pole(z).re).fold(f64::MIN, f64::max);
        let ratio = |z: &Complex64| -pole(z).re / pole(z).norm();
        let mut swinging: Vec<Complex64> = moving
            .filter(|z| (MOTIONS_RAD_S[0]..MOTIONS_RAD_S[1]).contains(&pole(z).im))
            .copied()
            .collect();
        swinging.sort_by(|a, b| ratio(a).total_cmp(&ratio(b)));
        let motion = |z: &&Complex64| motion(&a, &self.craft.kept, **z).is_some();
        Ok((growth, swinging.iter().find(motion).map(ratio)))
    }

    /// Gain, phase, delay and disk margins at all fins together, written into `out` in the order of
    /// [`super::objective::WATCHES`]. The loop must be stable.
    pub fn margins(&self, law: &LawInLoop, out: &mut [Option<f64>]) {
        let (m, p) = law.fast.shape();
        if m == 0 || p == 0 {
            return;
        }
        let period_s = self.craft.setup.sample_period_s;
        let minus_cg = |omega: f64, g: &DMatrix<Complex64>| {
            let mut c = vec![Complex64::ZERO; m * p];
            law.fast.response(omega, &mut c);
            -(DMatrix::from_row_slice(m, p, &c) * g)
        };
        let high = std::f64::consts::PI / period_s;
        let open = OpenLoop {
            channels: vec![String::new(); m],
            gain: Box::new(|s: Complex64| {
                let omega = s.im;
                Some(minus_cg(omega, &self.gain_at(omega)))
            }),
            open_unstable: 0,
            open_poles: Vec::new(),
            closed_poles: Vec::new(),
            low_rad_s: LOW_RAD_S,
            high_rad_s: high,
            period_s: Some(period_s),
        };
        let mut sweep = Sweep::default();
        for (omega, g) in self.omega_rad_s.iter().zip(&self.gains) {
            let l = minus_cg(*omega, g);
            if let Some(s) = (DMatrix::identity(m, m) + l).try_inverse() {
                sweep.omega_rad_s.push(*omega);
                sweep.s.push(s);
            }
        }
        if sweep.s.len() < 3 {
            return;
        }
        let all: Vec<usize> = (0..m).collect();
        let found = classic(&open, &sweep, &all);
        let db = |v: f64| 20.0 * v.log10();
        // no crossing at all: the margin is as large as a table can hold
        let or = |v: Option<f64>, most: f64| Some(v.unwrap_or(most).min(most));
        out[Watch::GainIncrease as usize] = or(found.gain_up.map(|a| db(a.value)), 100.0);
        out[Watch::GainDecrease as usize] = or(found.gain_down.map(|a| -db(a.value)), 100.0);
        out[Watch::Phase as usize] = or(found.phase_rad().map(|a| to_deg(a.value)), 180.0);
        out[Watch::Delay as usize] = or(found.delay_s.map(|a| a.value), 100.0);
        out[Watch::Disk as usize] = Some(disk::of_all(&open, &sweep).alpha);
    }

    /// Signals over commands between the kept frequencies.
    fn gain_at(&self, omega: f64) -> DMatrix<Complex64> {
        let w = &self.omega_rad_s;
        let k = w.partition_point(|v| *v < omega).clamp(1, w.len() - 1);
        let t = ((omega - w[k - 1]) / (w[k] - w[k - 1])).clamp(0.0, 1.0);
        let (a, b) = (&self.gains[k - 1], &self.gains[k]);
        a * Complex64::from(1.0 - t) + b * Complex64::from(t)
    }
}

/// Frequencies evenly in the logarithm, closer at lightly damped modes of the craft.
fn grid(at: &AtSpeed, period_s: f64) -> Vec<f64> {
    let high = std::f64::consts::PI / period_s;
    let count = ((high / LOW_RAD_S).log10() * A_DECADE).ceil() as usize;
    let mut all: Vec<f64> = (0..=count)
        .map(|i| LOW_RAD_S * (high / LOW_RAD_S).powf(i as f64 / count as f64))
        .collect();
    for z in at.open_poles.iter().filter(|z| z.norm() > 0.3) {
        let p = z.ln() / period_s;
        if p.im < LOW_RAD_S || p.re.abs() > 0.5 * p.norm() {
            continue;
        }
        let b = p.re.abs().max(1e-3);
        all.extend([-3.0, -1.0, -0.4, 0.0, 0.4, 1.0, 3.0].map(|k| p.im + k * b));
    }
    all.retain(|w| (LOW_RAD_S..=high).contains(w));
    all.sort_by(f64::total_cmp);
    all.dedup_by(|b, a| *b - *a < 1e-5 * *b);
    all
}
