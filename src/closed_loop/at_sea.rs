//! A craft at one speed in one sea from one heading, prepared for many laws.
//!
//! # Equation
//! ```text
//! f = sum_e j_e c_e q_e o_e - D(q) nu       quadratic drag as a force, q_e = E 2|s_e|, s_e = j_e nu - o_e
//! (1 + G_nf D) nu = nu_w + G_nf pull + G_nu u + G_nf f'
//! ```
//! The drag that the craft meets with its fins at trim is found once by iteration and put into the
//! transfers; laws only change it by f'. With it the slope of the steady forces over the speeds that surge passes
//! through, in place of the one at the mean speed: force (E F'(U + u) - F'(U)) u, as with fins at trim.
//!
//! # Symbols
//! j_e row, c_e drag (N s2/m2), o_e orbital velocity at a drag element, q_e its equivalent speed (m/s);
//! G_nf velocities over forces, f' further force.
//!
//! # Valid when
//! Relative velocities are nearly Gaussian; vertical and lateral drag one by one, as in the simulator.
//!
//! # Source
//! Statistical linearisation: Roberts & Spanos (1990), Random Vibration and Statistical Linearization, chapter 3;
//! waves and motion together after Lee & Curphey (1977).
//!
//! # Checked by
//! `drag_of_an_oscillator_meets_simulation`, `higher_waves_are_those_of_a_higher_sea` (tests/operability.rs), `the_drag_solves_its_own_equation` (tests of this room).

use std::path::Path;
use std::sync::Arc;

use nalgebra::{Matrix6, Vector6};
use num_complex::Complex64;
use rayon::prelude::*;

use super::at_speed::{AtSpeed, at_least};
use super::dense;
use super::encounter::{Fineness, WeightedWave, waves};
use super::limits::drag_speed;
use super::pass::{Block, blocks};
use crate::error::{Error, Result};
use crate::spec::sea::SeaSpec;

/// Iterations of the drag with fins at trim, and the change that ends them, relative.
const ITERATIONS: usize = 60;
const CLOSE_ENOUGH: f64 = 1e-6;

/// How drag is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum DragModel {
    /// Stochastically linearised in this sea.
    #[default]
    Gaussian,
    /// By its slope at trim, as the linear model has it.
    Slope,
    /// Left out.
    None,
}

/// A craft in a sea.
#[derive(Debug)]
pub struct AtSea {
    /// At its speed.
    pub speed: Arc<AtSpeed>,
    /// The waves met.
    pub waves: Vec<WeightedWave>,
    /// How drag is taken.
    pub drag_model: DragModel,
    /// Drag put into the transfers, F = -drag nu.
    pub drag: Matrix6<f64>,
    /// Equivalent speeds of the drag elements that belong to it, m/s.
    pub equivalent_m_s: Vec<f64>,
    /// Slope of the steady forces over speed beyond that at the mean speed, fins at trim, N s/m.
    pub steady_slope: Vector6<f64>,
    /// Whether the drag with fins at trim settled.
    pub drag_settled: bool,
    pub(crate) elements: Elements,
    pub(crate) transfers: Vec<Transfer>,
    pub(crate) servo: Vec<Servo>,
    /// The same, waves abreast.
    pub(crate) blocks: Vec<Block>,
}

/// Transfers of one wave, rows over M commands and six forces.
#[derive(Clone, Debug)]
pub(crate) struct Transfer {
    pub(crate) omega: f64,
    pub(crate) weight: f64,
    pub(crate) nu_w: [Complex64; 6],
    pub(crate) y_w: Vec<Complex64>,
    pub(crate) signals: Vec<Complex64>,
    pub(crate) velocities: Vec<Complex64>,
    /// Orbital velocity at each drag element, real parts, then imaginary.
    pub(crate) orbital: Vec<f64>,
}

/// A servo at one wave, per channel.
#[derive(Clone, Debug)]
pub(crate) struct Servo {
    /// Power of angle and rate of a sampled command.
    pub(crate) power: Vec<[f64; 2]>,
    /// Power of the staircase's own steps, 1 - |hold|^2.
    pub(crate) steps: f64,
}

/// Drag elements laid out for the inner loop.
#[derive(Clone, Debug)]
pub(crate) struct Elements {
    pub(crate) count: usize,
    /// Rows j_e, one list a velocity.
    pub(crate) rows: [Vec<f64>; 6],
    pub(crate) drag: Vec<f64>,
    /// Mean relative velocity at trim, m/s.
    pub(crate) mean: Vec<f64>,
}

impl AtSpeed {
    /// This craft in `sea` whose first system travels to `mu_rad`; `dir` is where measured spectra lie.
    ///
    /// # Errors
    /// A sea out of range; a wave at which the craft has no response.
    pub fn at_sea(
        self: &Arc<Self>,
        sea: &SeaSpec,
        dir: &Path,
        mu_rad: f64,
        fineness: &Fineness,
        drag: DragModel,
    ) -> Result<AtSea> {
        let speed = self.craft.speed_m_s;
        let list = waves(sea, dir, mu_rad, speed, &self.narrow, fineness)?;
        AtSea::new(Arc::clone(self), list, drag)
    }
}

impl AtSea {
    /// From waves and their weights.
    ///
    /// # Errors
    /// A wave at which the craft has no response.
    pub fn new(
        speed: Arc<AtSpeed>,
        waves: Vec<WeightedWave>,
        drag_model: DragModel,
    ) -> Result<Self> {
        let elements = Elements::new(&speed);
        let found: Option<Vec<(Transfer, Servo)>> = waves
            .par_iter()
            .map(|w| Some((transfer(&speed, w)?, servo(&speed, w))))
            .collect();
        let (transfers, servo): (Vec<_>, Vec<_>) = found
            .ok_or_else(|| {
                Error::with_hint(
                    format!(
                        "the craft has no response to a wave at {:.2} m/s",
                        speed.craft.speed_m_s
                    ),
                    "an undamped mode lies exactly there: another speed or heading would do",
                )
            })?
            .into_iter()
            .unzip();
        let mut sea = AtSea {
            equivalent_m_s: vec![0.0; elements.count],
            drag: Matrix6::zeros(),
            steady_slope: Vector6::zeros(),
            drag_settled: true,
            speed,
            waves,
            drag_model,
            elements,
            transfers,
            servo,
            blocks: Vec::new(),
        };
        sea.take_drag();
        Ok(sea)
    }

    /// The same waves, each `factor` times as high, with the drag that `drag_model` gives them.
    /// Transfers are taken over: a search over heights pays for them once.
    ///
    /// # Errors
    /// When drag is in the transfers of this one already: start from [`DragModel::None`].
    pub fn times(&self, factor: f64, drag_model: DragModel) -> Result<AtSea> {
        if self.drag_model != DragModel::None {
            return Err(Error::new(
                "waves can only be made higher before drag is put into the transfers",
            ));
        }
        let square = factor * factor;
        let mut sea = AtSea {
            speed: Arc::clone(&self.speed),
            waves: self.waves.clone(),
            drag_model,
            drag: Matrix6::zeros(),
            steady_slope: Vector6::zeros(),
            equivalent_m_s: vec![0.0; self.elements.count],
            drag_settled: true,
            elements: self.elements.clone(),
            transfers: self.transfers.clone(),
            servo: self.servo.clone(),
            blocks: Vec::new(),
        };
        for w in &mut sea.waves {
            w.weight_m2 *= square;
        }
        for t in &mut sea.transfers {
            t.weight *= square;
        }
        sea.take_drag();
        Ok(sea)
    }

    /// Puts the drag into the transfers as the model of it asks, and those abreast.
    fn take_drag(&mut self) {
        let drags = self.speed.craft.plant.quadratic_drag && self.elements.count > 0;
        match self.drag_model {
            DragModel::Gaussian => self.settle(),
            DragModel::Slope if drags => {
                self.drag = self.speed.craft.drag_slope;
                self.bake(false);
            }
            _ => {}
        }
        self.blocks = blocks(&self.transfers, &self.servo, self.speed.channels.len());
    }

    /// Finds the drag with fins at trim and puts it into the transfers.
    fn settle(&mut self) {
        let count = self.elements.count;
        let mut speeds = vec![0.0; count];
        self.drag_settled = false;
        let mut variance = vec![0.0; count];
        let mut spread = 0.0;
        for step in 0..ITERATIONS {
            let d = self.drag_of(&speeds);
            variance.fill(0.0);
            let mut surging = 0.0;
            for t in &self.transfers {
                let nu = self.still(t, &d, &speeds);
                surging += t.weight * nu[0].norm_sqr();
                self.elements
                    .add_square(&nu, &t.orbital, t.weight, &mut variance);
            }
            let plant = &self.speed.craft.plant;
            let mean = self.speed.craft.trim.x[6];
            let steady = plant.steady.slope_over(mean, surging.sqrt());
            self.steady_slope = steady - plant.steady.slope(mean);
            // an equivalent speed of surge beside those of the elements
            let (mut change, mut largest) = ((surging.sqrt() - spread).abs(), surging.sqrt());
            largest = largest.max(f64::MIN_POSITIVE);
            spread = surging.sqrt();
            for (e, s) in speeds.iter_mut().enumerate() {
                if !plant.quadratic_drag {
                    break;
                }
                let found = drag_speed(self.elements.mean[e], variance[e].sqrt());
                change = change.max((found - *s).abs());
                largest = largest.max(found);
                // more drag makes less motion: a plain iteration swings about its goal
                *s = if step == 0 {
                    found
                } else {
                    0.4 * *s + 0.6 * found
                };
            }
            if step > 0 && change < CLOSE_ENOUGH * largest {
                self.drag_settled = true;
                break;
            }
        }
        self.drag = self.drag_of(&speeds);
        self.equivalent_m_s = speeds;
        self.bake(true);
    }

    pub(crate) fn drag_of(&self, speeds: &[f64]) -> Matrix6<f64> {
        let mut drag = self.speed.craft.plant.viscous.drag_matrix(speeds);
        let surge = drag.column(0) - self.steady_slope;
        drag.set_column(0, &surge);
        drag
    }

    /// Velocities with fins at trim under the drag `d`.
    fn still(&self, t: &Transfer, d: &Matrix6<f64>, speeds: &[f64]) -> [Complex64; 6] {
        let mut right = self.drag_right(t, speeds, 1);
        let mut a = self.drag_left(t, d);
        if dense::solve(&mut a, &mut right, 6, 1) {
            std::array::from_fn(|i| right[i])
        } else {
            [Complex64::ZERO; 6]
        }
    }

    /// 1 + G_nf D.
    fn drag_left(&self, t: &Transfer, d: &Matrix6<f64>) -> Vec<Complex64> {
        let (m, q) = (self.speed.channels.len(), self.speed.inputs());
        let mut a = vec![Complex64::ZERO; 36];
        for i in 0..6 {
            let g = &t.velocities[i * q + m..][..6];
            for j in 0..6 {
                let sum: Complex64 = (0..6).map(|k| g[k] * d[(k, j)]).sum();
                a[i * 6 + j] = sum;
            }
            a[i * 6 + i] += 1.0;
        }
        a
    }

    /// nu_w + G_nf pull in the first of `columns` columns.
    fn drag_right(&self, t: &Transfer, speeds: &[f64], columns: usize) -> Vec<Complex64> {
        let (m, q) = (self.speed.channels.len(), self.speed.inputs());
        let pull = self.elements.pull(speeds, &t.orbital);
        let mut right = vec![Complex64::ZERO; 6 * columns];
        for i in 0..6 {
            let g = &t.velocities[i * q + m..][..6];
            let by_pull: Complex64 = g.iter().zip(&pull).map(|(g, p)| g * p).sum();
            right[i * columns] = t.nu_w[i] + by_pull;
        }
        right
    }

    /// Puts the drag into all transfers.
    fn bake(&mut self, with_waves: bool) {
        let (p, q) = (self.speed.signals.len(), self.speed.inputs());
        let m = self.speed.channels.len();
        let d = self.drag;
        let still = vec![0.0; self.elements.count];
        let speeds: &[f64] = if with_waves {
            &self.equivalent_m_s
        } else {
            &still
        };
        let mut baked = self.transfers.clone();
        for (t, new) in self.transfers.iter().zip(&mut baked) {
            let columns = 1 + q;
            let mut right = self.drag_right(t, speeds, columns);
            for i in 0..6 {
                right[i * columns + 1..][..q].copy_from_slice(&t.velocities[i * q..][..q]);
            }
            let mut a = self.drag_left(t, &d);
            if !dense::solve(&mut a, &mut right, 6, columns) {
                continue;
            }
            for i in 0..6 {
                new.nu_w[i] = right[i * columns];
                new.velocities[i * q..][..q].copy_from_slice(&right[i * columns + 1..][..q]);
            }
            // the force itself reaches the signals too
            let pull = self.elements.pull(speeds, &t.orbital);
            for c in 0..columns {
                let force: [Complex64; 6] = std::array::from_fn(|i| {
                    let back: Complex64 = (0..6).map(|k| right[k * columns + c] * d[(i, k)]).sum();
                    if c == 0 { pull[i] - back } else { -back }
                });
                for s in 0..p {
                    let g = &t.signals[s * q + m..][..6];
                    let add: Complex64 = g.iter().zip(&force).map(|(g, f)| g * f).sum();
                    if c == 0 {
                        new.y_w[s] += add;
                    } else {
                        new.signals[s * q + c - 1] += add;
                    }
                }
            }
        }
        self.transfers = baked;
    }
}

fn transfer(speed: &AtSpeed, w: &WeightedWave) -> Option<Transfer> {
    let omega = at_least(w.omega_e_rad_s);
    let node = speed.node(omega, Some([w.omega_rad_s, w.mu_rad]))?;
    let (nu_w, y_w) = node.wave?;
    let plant = &speed.craft.plant;
    let mut orbital = plant.viscous.drag_orbital(w.omega_rad_s, w.mu_rad);
    if plant.wave_force.is_none() {
        orbital.fill(Complex64::ZERO);
    }
    let parts = orbital
        .iter()
        .map(|o| o.re)
        .chain(orbital.iter().map(|o| o.im));
    Some(Transfer {
        omega,
        weight: w.weight_m2,
        nu_w,
        y_w,
        signals: node.signals,
        velocities: node.velocities,
        orbital: parts.collect(),
    })
}

fn servo(speed: &AtSpeed, w: &WeightedWave) -> Servo {
    let omega = at_least(w.omega_e_rad_s);
    let held = super::craft::hold(omega, speed.craft.setup.sample_period_s);
    Servo {
        power: speed
            .channels
            .iter()
            .map(|c| speed.servo_power(*c, omega))
            .collect(),
        steps: 1.0 - held.norm_sqr(),
    }
}

impl Elements {
    fn new(speed: &AtSpeed) -> Self {
        let craft = &speed.craft;
        let list = craft.plant.viscous.drag_elements();
        let nu0 = Vector6::from_column_slice(&craft.trim.x[6..12]);
        Elements {
            count: list.len(),
            rows: std::array::from_fn(|i| list.iter().map(|e| e.row[i]).collect()),
            drag: list.iter().map(|e| e.drag_n_s2_m2).collect(),
            mean: list.iter().map(|e| e.row.dot(&nu0)).collect(),
        }
    }

    /// Force of the water's own motion, sum of j c q o.
    pub(crate) fn pull(&self, speeds: &[f64], orbital: &[f64]) -> [Complex64; 6] {
        let (re, im) = orbital.split_at(self.count);
        std::array::from_fn(|i| {
            let mut sum = Complex64::ZERO;
            for e in 0..self.count {
                let k = self.rows[i][e] * self.drag[e] * speeds[e];
                sum += Complex64::new(k * re[e], k * im[e]);
            }
            sum
        })
    }

    /// Adds weight |j nu - o|^2 of every element.
    pub(crate) fn add_square(
        &self,
        nu: &[Complex64; 6],
        orbital: &[f64],
        weight: f64,
        out: &mut [f64],
    ) {
        let n = self.count;
        let (re, im) = orbital.split_at(n);
        let r: [&[f64]; 6] = std::array::from_fn(|i| &self.rows[i][..n]);
        for (e, v) in out[..n].iter_mut().enumerate() {
            let (mut a, mut b) = (-re[e], -im[e]);
            for i in 0..6 {
                a += r[i][e] * nu[i].re;
                b += r[i][e] * nu[i].im;
            }
            *v += weight * (a * a + b * b);
        }
    }
}
