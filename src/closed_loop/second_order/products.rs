//! Products of inputs in the plant's derivative, over the spread that the inputs have in this sea.
//!
//! # Equation
//! ```text
//! B_ab = [F(+,+) - F(+,-) - F(-,+) + F(-,-)]/(4 e_a e_b),   B_aa = [F(+) - 2 F(0) + F(-)]/e_a^2,   e = sqrt(3) sigma
//! ```
//! With these steps the differences are the coefficients of the second Hermite polynomials by the three-point rule of
//! Gauss: of all quadratic forms the one with the least mean square error for Gaussian inputs one by one.
//!
//! # Source
//! Gauss-Hermite quadrature: Abramowitz & Stegun (1964), Handbook of Mathematical Functions, table 25.10.

use crate::closed_loop::LoopCraft;
use crate::dynamics::plant::{ChannelOffsets, Plant, PlantInput};
use crate::frames::Wrench;

/// A product of two inputs (states, then channels; the first not above the second) in a row of the derivative.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Product {
    pub(super) row: usize,
    pub(super) inputs: [usize; 2],
    pub(super) value: f64,
}

/// Share of a row's largest product below which others may be left out, one by one.
pub(super) const NEGLIGIBLE: f64 = 3e-3;

/// The derivative about trim.
pub(super) struct Bench {
    plant: Plant,
    x0: Vec<f64>,
    command: Vec<f64>,
    thrust: Vec<f64>,
    limits: Vec<f64>,
    waves: usize,
}

impl Bench {
    /// Without what has its own random-input gains: cross-flow drag, and the servos' limits and play.
    pub(super) fn new(craft: &LoopCraft) -> Self {
        let mut plant = (*craft.plant).clone();
        plant.quadratic_drag = false;
        for servo in &mut plant.actuators {
            servo.backlash_rad = 0.0;
            servo.dead_band_rad = 0.0;
        }
        Bench {
            x0: craft.trim.x.clone(),
            command: craft.trim.surface_rad.clone(),
            thrust: craft.trim.thrust_n.clone(),
            limits: vec![f64::INFINITY; plant.surfaces.len()],
            waves: plant.channels().len(),
            plant,
        }
    }

    /// Derivative with inputs moved from trim.
    pub(super) fn at(&self, moved: &[(usize, f64)]) -> Vec<f64> {
        let n = self.x0.len();
        let (mut x, mut waves) = (self.x0.clone(), vec![0.0; self.waves]);
        for (i, by) in moved {
            if *i < n {
                x[*i] += by;
            } else {
                waves[*i - n] += by;
            }
        }
        let mut dx = vec![0.0; n];
        let input = PlantInput {
            waves: &waves,
            command_rad: &self.command,
            surface_hold_rad: &self.command,
            rate_limit_rad_s: &self.limits,
            thrust_n: &self.thrust,
            wind: Wrench::zeros(),
        };
        self.plant.derivative(&x, &input, &mut dx);
        dx
    }

    /// Inputs that can be part of a product: not position along the track, not the wave's plain forces, not the
    /// drag elements' orbital velocities.
    fn active(&self, rms: &[f64]) -> Vec<usize> {
        let n = self.x0.len();
        let layout = self.plant.layout();
        let strips = ChannelOffsets::new(self.plant.surfaces.len()).strips;
        (2..n + strips)
            .filter(|i| !(n..n + 6).contains(i) && !layout.thrust.contains(i))
            .filter(|i| rms[*i] > 0.0 && rms[*i].is_finite())
            .collect()
    }
}

/// All products that matter for inputs of these RMS: not less than a share of the largest of their row.
pub(super) fn products(craft: &LoopCraft, rms: &[f64], least: f64) -> Vec<Product> {
    let bench = Bench::new(craft);
    let active = bench.active(rms);
    let step: Vec<f64> = rms.iter().map(|s| s * 3f64.sqrt()).collect();
    let still = bench.at(&[]);
    let n = still.len();
    let mut all: Vec<(Product, f64)> = Vec::new();
    let mut keep = |a: usize, b: usize, value: &dyn Fn(usize) -> f64| {
        for row in 0..n {
            let v = value(row);
            let size = (v * rms[a] * rms[b]).abs();
            if size > 0.0 {
                let inputs = [a.min(b), a.max(b)];
                all.push((
                    Product {
                        row,
                        inputs,
                        value: v,
                    },
                    size,
                ));
            }
        }
    };
    for (k, &a) in active.iter().enumerate() {
        let (up, down) = (bench.at(&[(a, step[a])]), bench.at(&[(a, -step[a])]));
        let square = step[a] * step[a];
        keep(a, a, &|r| {
            rounded(&[up[r], down[r], -still[r], -still[r]]) / square
        });
        for &b in &active[k + 1..] {
            let at = |i: f64, j: f64| bench.at(&[(a, i * step[a]), (b, j * step[b])]);
            let four = [at(1.0, 1.0), at(-1.0, -1.0), at(1.0, -1.0), at(-1.0, 1.0)];
            let area = 4.0 * step[a] * step[b];
            keep(a, b, &|r| {
                rounded(&[four[0][r], four[1][r], -four[2][r], -four[3][r]]) / area
            });
        }
    }
    let mut largest = vec![0.0_f64; n];
    for (p, size) in &all {
        largest[p.row] = largest[p.row].max(*size);
    }
    all.into_iter()
        .filter(|(p, size)| *size > least * largest[p.row])
        .map(|(p, _)| p)
        .collect()
}

/// Sum of four, or zero where it is rounding.
fn rounded(v: &[f64; 4]) -> f64 {
    let sum: f64 = v.iter().sum();
    let size = v.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
    if sum.abs() < 1e-10 * size { 0.0 } else { sum }
}
