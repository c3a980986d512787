//! What a draw changes: a Latin hypercube of uncertain numbers, and the craft that it makes of a plant.
//!
//! # Equation
//! ```text
//! value of factor j in draw i of a block of N      x = F_j^-1((pi_j(i) + u_ij)/N)
//! blocks: 0..n0, n0..2 n0, 2 n0..4 n0, ...         each a hypercube of its own; one block without looks
//! roll stiffness   K(phi) += (1 - f) dK/dphi phi   as a free surface of that size does; pitch alike
//! ```
//! Damping and fins as in [`crate::closed_loop::uncertainty`], the quadratic drag with the damping. The
//! centre of gravity carries mass matrix and weight with it.
//!
//! # Symbols
//! F_j distribution, pi_j random permutation, u uniform, f factor.
//!
//! # Valid when
//! The law, its trim angles included, is told nothing of a draw. The craft starts at its nominal trim and
//! finds its own in the run-in. Water forces stay those of the nominal waterline: a draw may sink the craft
//! by centimetres, not by decimetres; that is a loading. An interval that takes draws for independent
//! errs on the wide side under a hypercube: var(mean) <= n/(n - 1) of that of independent draws.
//!
//! # Source
//! McKay, Beckman & Conover 1979, Technometrics 21, 239-245: the hypercube. Owen 1997, Annals of Statistics
//! 25, 1541-1562: the bound of its variance.
//!
//! # Checked by
//! `every_layer_is_met_once`, `draws_follow_their_distributions`, `a_draw_of_one_changes_nothing`,
//! `stiffness_factors_do_what_they_say`

use crate::closed_loop::uncertainty::{Factors, stiffness_slope};
use crate::dynamics::plant::{Plant, RestoringModel};
use crate::geometry::mass::MassProperties;
use crate::math::rng::{Purpose, Stream};
use crate::math::stats::sample::normal_quantile;
use crate::spec::campaign::{DistributionSpec, DrawsSpec, UncertainOf, UncertainSpec};
use crate::spec::craft::{SensorErrorSpec, SensorsSpec};
use crate::spec::validate::MOST_DEVIATIONS;

/// Draws by number: block by block, so that draw 17 is the same however many follow.
#[derive(Clone, Debug, PartialEq)]
pub struct Draws {
    of: Vec<UncertainOf>,
    /// Values of draw i, in the order of `of`.
    values: Vec<Vec<f64>>,
}

/// First draw and one past the last of each block: the whole without looks, else least, then doubling.
pub fn blocks(draws: &DrawsSpec) -> Vec<std::ops::Range<usize>> {
    match draws {
        DrawsSpec::Fixed { count } => vec![0..*count],
        DrawsSpec::Until { least, most, .. } => {
            let mut all = vec![0..(*least).min(*most)];
            while let Some(last) = all.last().filter(|b| b.end < *most && b.end > 0).cloned() {
                all.push(last.end..(2 * last.end).min(*most));
            }
            all
        }
    }
}

impl Draws {
    /// All draws of a campaign.
    pub fn new(seed: u64, draws: &DrawsSpec, uncertain: &[UncertainSpec]) -> Self {
        let mut values = vec![vec![0.0; uncertain.len()]; draws.most()];
        for block in blocks(draws) {
            for (j, u) in uncertain.iter().enumerate() {
                let index = UNCERTAIN.iter().position(|o| *o == u.of).unwrap_or(0);
                // keyed by the block's start and by what it is for, whatever else is uncertain
                let case = block.start as u64;
                let mut s = Stream::with_index(seed, case, Purpose::Coefficients, index as u32);
                for (row, share) in values[block.clone()]
                    .iter_mut()
                    .zip(layers(block.len(), &mut s))
                {
                    row[j] = quantile(&u.by, share);
                }
            }
        }
        Draws {
            of: uncertain.iter().map(|u| u.of).collect(),
            values,
        }
    }

    /// What is uncertain, in order.
    pub fn of(&self) -> &[UncertainOf] {
        &self.of
    }

    /// The numbers of a draw, in that order.
    pub fn values(&self, draw: usize) -> &[f64] {
        self.values.get(draw).map_or(&[], Vec::as_slice)
    }

    /// A draw, ready to be applied.
    pub fn draw(&self, draw: usize) -> Draw {
        let mut d = Draw::default();
        for (of, v) in self.of.iter().zip(self.values(draw)) {
            *d.at(*of) = *v;
        }
        d
    }
}

/// All that may be uncertain, in the order that keys streams: never reorder, append.
const UNCERTAIN: [UncertainOf; 10] = [
    UncertainOf::Damping,
    UncertainOf::Fins,
    UncertainOf::RollStiffness,
    UncertainOf::PitchStiffness,
    UncertainOf::Mass,
    UncertainOf::WeightUpM,
    UncertainOf::WeightForwardM,
    UncertainOf::SensorNoise,
    UncertainOf::SensorBias,
    UncertainOf::SensorDelay,
];

/// One share in each of `count` equal layers, in random order.
fn layers(count: usize, stream: &mut Stream) -> Vec<f64> {
    let mut layer: Vec<usize> = (0..count).collect();
    for k in (1..count).rev() {
        layer.swap(k, stream.below(k as u64 + 1) as usize);
    }
    layer
        .into_iter()
        .map(|l| (l as f64 + stream.uniform()) / count as f64)
        .collect()
}

/// Value that a share `p` of the distribution lies below.
pub fn quantile(by: &DistributionSpec, p: f64) -> f64 {
    let z = || normal_quantile(p).clamp(-MOST_DEVIATIONS, MOST_DEVIATIONS);
    match *by {
        DistributionSpec::Normal {
            mean,
            standard_deviation,
        } => mean + standard_deviation * z(),
        DistributionSpec::Lognormal {
            median,
            log_standard_deviation,
        } => median * libm::exp(log_standard_deviation * z()),
        DistributionSpec::Uniform { low, high } => low + (high - low) * p,
        DistributionSpec::Triangular { low, mode, high } => {
            let (whole, left) = (high - low, mode - low);
            if p * whole < left {
                low + (p * whole * left).sqrt()
            } else {
                high - ((1.0 - p) * whole * (high - mode)).sqrt()
            }
        }
    }
}

/// The numbers of one draw; the default changes nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Draw {
    /// Factors on damping, fins and stiffness.
    pub factors: Factors,
    /// Factor on the mass.
    pub mass: f64,
    /// Rise of the centre of gravity, m.
    pub weight_up_m: f64,
    /// Shift of the centre of gravity forward, m.
    pub weight_forward_m: f64,
    /// Factor on sensor noise.
    pub sensor_noise: f64,
    /// Factor on the scale of sensor biases.
    pub sensor_bias: f64,
    /// Factor on sensor delays.
    pub sensor_delay: f64,
}

impl Default for Draw {
    fn default() -> Self {
        Draw {
            factors: Factors::NOMINAL,
            mass: 1.0,
            weight_up_m: 0.0,
            weight_forward_m: 0.0,
            sensor_noise: 1.0,
            sensor_bias: 1.0,
            sensor_delay: 1.0,
        }
    }
}

impl Draw {
    fn at(&mut self, of: UncertainOf) -> &mut f64 {
        match of {
            UncertainOf::Damping => &mut self.factors.damping,
            UncertainOf::Fins => &mut self.factors.fin_effectiveness,
            UncertainOf::RollStiffness => &mut self.factors.roll_stiffness,
            UncertainOf::PitchStiffness => &mut self.factors.pitch_stiffness,
            UncertainOf::Mass => &mut self.mass,
            UncertainOf::WeightUpM => &mut self.weight_up_m,
            UncertainOf::WeightForwardM => &mut self.weight_forward_m,
            UncertainOf::SensorNoise => &mut self.sensor_noise,
            UncertainOf::SensorBias => &mut self.sensor_bias,
            UncertainOf::SensorDelay => &mut self.sensor_delay,
        }
    }

    /// True when the craft is as its file says.
    pub fn spares_the_craft(&self) -> bool {
        let bare = Draw {
            sensor_noise: 1.0,
            sensor_bias: 1.0,
            sensor_delay: 1.0,
            ..*self
        };
        bare == Draw::default()
    }

    /// The craft that this draw makes of `plant`, whose nominal loading is `mass` and trim `x`.
    pub fn plant(&self, plant: &Plant, mass: &MassProperties, x: &[f64]) -> Plant {
        if self.spares_the_craft() {
            return plant.clone();
        }
        let mut out = self.factors.plant(plant);
        out.viscous.scale_drag(self.factors.damping);
        let slope = |state| stiffness_slope(plant, x, state);
        let lost_roll = (1.0 - self.factors.roll_stiffness) * -slope(3);
        let lost_pitch = (1.0 - self.factors.pitch_stiffness) * -slope(4);
        let mut mass = mass.clone();
        let weight = mass.mass_kg * plant.g_m_s2;
        mass.mass_kg *= self.mass;
        mass.inertia_cg_kg_m2 *= self.mass;
        mass.cg_m.z -= self.weight_up_m;
        mass.cg_m.x += self.weight_forward_m;
        mass.free_surface_roll_nm += lost_roll;
        mass.free_surface_pitch_nm += lost_pitch;
        out.mass = mass.matrix_about_o();
        match &mut out.restoring {
            RestoringModel::Nonlinear(r) => r.set_weight(&mass, plant.g_m_s2),
            RestoringModel::Linear(c) => {
                let risen = weight * self.weight_up_m;
                c[(3, 3)] -= lost_roll + risen;
                c[(4, 4)] -= lost_pitch + risen;
            }
        }
        out.finish()
    }

    /// The sensors of this draw.
    pub fn sensors(&self, nominal: &SensorsSpec) -> SensorsSpec {
        let mut s = nominal.clone();
        for e in [
            &mut s.rate_deg_s,
            &mut s.attitude_deg,
            &mut s.acceleration_m_s2,
            &mut s.height_m,
            &mut s.speed_kn,
            &mut s.heading_deg,
            &mut s.surface_deg,
        ] {
            *e = SensorErrorSpec {
                noise: e.noise * self.sensor_noise,
                bias: e.bias * self.sensor_bias,
                delay_s: e.delay_s * self.sensor_delay,
                ..e.clone()
            };
        }
        s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spec(of: UncertainOf, by: DistributionSpec) -> UncertainSpec {
        UncertainSpec { of, by }
    }

    const UNIFORM: DistributionSpec = DistributionSpec::Uniform {
        low: 0.0,
        high: 1.0,
    };

    #[test]
    fn every_layer_is_met_once() {
        let until = DrawsSpec::Until {
            quantity: "x".into(),
            half_width_frac: 0.1,
            least: 8,
            most: 32,
        };
        let b = blocks(&until);
        assert_eq!(b, [0..8, 8..16, 16..32]);
        let u = [
            spec(UncertainOf::Damping, UNIFORM),
            spec(UncertainOf::Fins, UNIFORM),
        ];
        let d = Draws::new(3, &until, &u);
        for block in b {
            for j in 0..2 {
                let mut met: Vec<usize> = block
                    .clone()
                    .map(|i| (d.values(i)[j] * block.len() as f64) as usize)
                    .collect();
                met.sort_unstable();
                assert!(met.iter().enumerate().all(|(k, l)| k == *l), "{met:?}");
            }
        }
        // what else is uncertain does not move a draw
        let alone = Draws::new(3, &until, &u[1..]);
        assert!((0..32).all(|i| alone.values(i)[0].to_bits() == d.values(i)[1].to_bits()));
        assert_ne!(d.values(0)[0].to_bits(), d.values(0)[1].to_bits());
    }

    #[test]
    fn draws_follow_their_distributions() {
        // mean and variance in closed form: normal, lognormal, uniform, triangular
        let laws = [
            (
                DistributionSpec::Normal {
                    mean: 1.0,
                    standard_deviation: 0.1,
                },
                1.0,
                0.01,
            ),
            (
                DistributionSpec::Lognormal {
                    median: 1.0,
                    log_standard_deviation: 0.2,
                },
                (0.02f64).exp(),
                (0.04f64.exp() - 1.0) * 0.04f64.exp(),
            ),
            (UNIFORM, 0.5, 1.0 / 12.0),
            (
                DistributionSpec::Triangular {
                    low: 0.8,
                    mode: 0.9,
                    high: 1.3,
                },
                1.0,
                (0.64 + 0.81 + 1.69 - 0.72 - 1.04 - 1.17) / 18.0,
            ),
        ];
        let count = 4000;
        for (by, mean, variance) in laws {
            let d = Draws::new(
                1,
                &DrawsSpec::Fixed { count },
                &[spec(UncertainOf::Mass, by)],
            );
            let x: Vec<f64> = (0..count).map(|i| d.values(i)[0]).collect();
            let m = x.iter().sum::<f64>() / count as f64;
            let v = x.iter().map(|x| (x - m).powi(2)).sum::<f64>() / count as f64;
            // a hypercube of 4000 layers errs by its layers only
            assert!((m - mean).abs() < 1e-3 * mean, "{by:?} {m} {mean}");
            assert!(
                (v - variance).abs() < 1e-2 * variance,
                "{by:?} {v} {variance}"
            );
        }
    }

    #[test]
    fn sensors_of_a_draw() {
        let d = Draw {
            sensor_noise: 2.0,
            sensor_delay: 0.5,
            ..Draw::default()
        };
        let (nominal, s) = (SensorsSpec::default(), d.sensors(&SensorsSpec::default()));
        assert!((s.rate_deg_s.noise - 2.0 * nominal.rate_deg_s.noise).abs() < 1e-15);
        assert!((s.height_m.delay_s - 0.5 * nominal.height_m.delay_s).abs() < 1e-15);
        assert!((s.height_m.bias - nominal.height_m.bias).abs() < 1e-15);
        assert!(d.spares_the_craft());
    }
}
