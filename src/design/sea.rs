//! The waves that an observer expects: a small linear model of their forces on the craft.
//!
//! # Equation
//! ```text
//! one source     s1' = w s2,   s2' = -w s1 - 2 z w s2 + n        s1, s2 of unit variance: n of intensity 4 z w
//! disturbance    d = sigma (r s1 + sqrt(1 - r^2) s2)             r^2 the slow share: it has a steady part
//! of a sea       w = mean |omega_e|,  z = spread of |omega_e| / w,  sigma^2 = sum S |F|^2
//! ```
//! Each disturbance is one source with the variance, the centre and the width that the wave forces of the
//! craft's tables give it at the encounter frequencies of the sea, over all headings of its range.
//!
//! # Why independent
//! Sources that keep the phase between heave, pitch and elevation of each third of the headings were tried
//! and do worse in simulation: they trust a phase that a short-crested sea and a fitted band do not keep.
//! Left of heave, pitch, bridge acceleration against fins fixed, 22 m craft at 16 kn, Hs 1.25 m, one seed
//! of 300 s, the weights of `lqr.json`, which were chosen without a sea
//! (`what_the_observer_is_told_of_the_sea`, tests/laws_at_sea.rs; the third column by a model now gone):
//!
//! | heading | no sea | within 20 deg, in phase | within 20 deg | all headings |
//! |---|---|---|---|---|
//! | 180 | 0.64 0.74 0.73 | 0.78 0.85 0.89 | 0.70 0.79 0.81 | 0.67 0.85 0.76 |
//! | 135 | 0.63 0.74 0.68 | 0.85 0.87 0.82 | 0.68 0.76 0.75 | 0.65 0.85 0.70 |
//! | 90 | 0.59 0.30 0.52 | 0.62 0.61 0.63 | 0.59 0.44 0.54 | 0.62 0.31 0.54 |
//! | 45 | 0.59 0.25 0.62 | 0.70 0.46 1.17 | 0.56 0.13 0.69 | 0.60 0.22 0.66 |
//! | 0 | 0.54 0.28 0.48 | 0.58 0.40 1.03 | 0.45 0.10 0.43 | 0.49 0.21 0.45 |
//!
//! So a sea pays in following seas and costs in head seas, where the forces are smaller than the constants
//! say and the observer then leans on a model that is wrong by more; its height and the weights want to
//! be tuned together.
//!
//! # Error in following seas
//! Of the observer on its own model at 16 kn, Hs 1.25 m, Tp 7 s, headings 0 to 60 deg: 0.10 m in heave,
//! 0.033 m/s in its rate (0.11 m and 0.037 m/s without a sea); 120 to 180 deg: 0.05 m, 0.026 m/s
//! (`expected_sea_has_the_variance_of_the_forces`).
//!
//! # Symbols
//! d: heave, roll, pitch, sway, yaw acceleration of the waves (m/s2; angles times a radius of gyration)
//! and the mean elevation at the height sensors (m); F the same per metre of wave, orbital flow at the
//! surfaces included; S energy of the sea per step of frequency (m2); w, z centre (rad/s, encounter)
//! and damping ratio; n white noise.
//!
//! # Valid when
//! A second-order band stands for the encounter spectrum: its skirts are wider than a sea's. In
//! following seas the spectrum folds at g/(4 U) and reaches zero frequency: one band is a poor picture of
//! it, and slow heave and slow elevation are taken for each other.
//!
//! # Source
//! Shaping filters of a sea: Fossen 2011, Handbook of Marine Craft Hydrodynamics and Motion Control,
//! section 8.2.
//!
//! # Checked by
//! `design::sea::tests`; `tests/design.rs`: `expected_sea_has_the_variance_of_the_forces`

use nalgebra::{DMatrix, Vector6};
use num_complex::Complex64;

use super::craft::CraftAtSpeed;
use crate::dynamics::model::CraftModel;
use crate::dynamics::sensor::height_sensors_m;
use crate::frames::{encounter_rad_s, wrench_at};
use crate::hydro::unsteady::KUSSNER;
use crate::sea::spectrum::{GammaPart, Spectrum};
use crate::spec::controller::LqrSea;
use crate::units::deg;

/// A linear model of disturbances: s' = a s + white noise of intensity `noise`, d = c s.
#[derive(Clone, Debug, PartialEq)]
pub struct WaveModel {
    /// Two states a source.
    pub a: DMatrix<f64>,
    /// Intensity, diagonal.
    pub noise: DMatrix<f64>,
    /// Disturbances by states.
    pub c: DMatrix<f64>,
    /// Names of the states.
    pub states: Vec<String>,
}

/// One source of a [`WaveModel`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WaveSource {
    /// Centre, rad/s (encounter).
    pub centre_rad_s: f64,
    /// Damping ratio: how broad it is.
    pub damping: f64,
    /// Share of its variance that is slow, 0 to 1.
    pub slow_frac: f64,
    /// Standard deviation of its disturbance.
    pub sigma: f64,
}

impl WaveModel {
    /// The model of independent sources, one for each disturbance.
    pub fn new(sources: &[WaveSource]) -> Self {
        let k = sources.len();
        let mut m = WaveModel {
            a: DMatrix::zeros(2 * k, 2 * k),
            noise: DMatrix::zeros(2 * k, 2 * k),
            c: DMatrix::zeros(k, 2 * k),
            states: Vec::with_capacity(2 * k),
        };
        for (i, s) in sources.iter().enumerate() {
            let (w, z, at) = (s.centre_rad_s, s.damping, 2 * i);
            m.a[(at, at + 1)] = w;
            m.a[(at + 1, at)] = -w;
            m.a[(at + 1, at + 1)] = -2.0 * z * w;
            m.noise[(at + 1, at + 1)] = 4.0 * z * w;
            m.c[(i, at)] = s.sigma * s.slow_frac.sqrt();
            m.c[(i, at + 1)] = s.sigma * (1.0 - s.slow_frac).sqrt();
            m.states
                .extend([format!("wave_{}_slow", i + 1), format!("wave_{}", i + 1)]);
        }
        m
    }

    /// One source of unit variance for each of `k` disturbances.
    pub fn broad(k: usize, centre_rad_s: f64, damping: f64, slow_frac: f64) -> Self {
        let source = WaveSource {
            centre_rad_s,
            damping,
            slow_frac,
            sigma: 1.0,
        };
        WaveModel::new(&vec![source; k])
    }
}

/// Disturbances of a sea, in this order.
pub const SEA_DISTURBANCES: usize = 6;
/// Headings of the range, frequencies of the sea.
const HEADINGS: usize = 12;
const FREQUENCIES: usize = 48;
/// Bounds of the damping ratio of a source: narrower is trusted too much, broader is no band.
const DAMPING: (f64, f64) = (0.15, 0.9);
/// Share of each source that has a steady part: what following seas and wind do.
const SLOW_FRAC: f64 = 0.5;
/// Slowest centre of a source, rad/s: slower is a steady load to the law.
const SLOWEST_RAD_S: f64 = 0.1;

/// The waves of `sea` on a craft at its speed, [`SEA_DISTURBANCES`] of them.
pub fn of_sea(craft: &CraftAtSpeed, model: &CraftModel, sea: &LqrSea) -> Vec<WaveSource> {
    let (from, to) = (sea.heading_from_deg, sea.heading_to_deg);
    let forces = Forces::new(craft, model);
    let peak = std::f64::consts::TAU / sea.peak_period_s;
    let spectrum = GammaPart::of_peak(sea.significant_height_m, peak, 1.0);
    let (low, high) = Spectrum::Gamma(vec![spectrum]).range_rad_s();
    let step = (high / low).ln() / FREQUENCIES as f64;
    let mut sums = [Sum::default(); SEA_DISTURBANCES];
    for h in 0..HEADINGS {
        let mu = deg(from + (to - from) * (h as f64 + 0.5) / HEADINGS as f64);
        for i in 0..FREQUENCIES {
            let omega = low * ((i as f64 + 0.5) * step).exp();
            let energy = spectrum.density(omega) * omega * step / HEADINGS as f64;
            let (omega_e, f) = forces.per_metre(mu, omega);
            for (sum, f) in sums.iter_mut().zip(f) {
                sum.add(energy * f.norm_sqr(), omega_e.abs());
            }
        }
    }
    sums.iter().map(Sum::source).collect()
}

/// Moments of a disturbance over the size of the encounter frequency.
#[derive(Clone, Copy, Default)]
struct Sum {
    energy: f64,
    first: f64,
    second: f64,
}

impl Sum {
    fn add(&mut self, energy: f64, omega_rad_s: f64) {
        self.energy += energy;
        self.first += energy * omega_rad_s;
        self.second += energy * omega_rad_s * omega_rad_s;
    }

    fn source(&self) -> WaveSource {
        let whole = self.energy.max(f64::MIN_POSITIVE);
        let mean = self.first / whole;
        let spread = (self.second / whole - mean * mean).max(0.0).sqrt();
        let centre_rad_s = mean.max(SLOWEST_RAD_S);
        WaveSource {
            centre_rad_s,
            damping: (spread / centre_rad_s).clamp(DAMPING.0, DAMPING.1),
            slow_frac: SLOW_FRAC,
            sigma: self.energy.sqrt(),
        }
    }
}

/// Wave accelerations of a craft at a speed.
struct Forces<'a> {
    craft: &'a CraftAtSpeed,
    model: &'a CraftModel,
    radiation: crate::hydro::radiation::RadiationTable,
    sensors: Vec<nalgebra::Vector3<f64>>,
}

impl<'a> Forces<'a> {
    fn new(craft: &'a CraftAtSpeed, model: &'a CraftModel) -> Self {
        Forces {
            craft,
            model,
            radiation: model.hydro.radiation_at(craft.speed_m_s).0,
            sensors: height_sensors_m(&model.craft.spec),
        }
    }

    /// Encounter frequency, and the disturbances per metre of a wave with its crest at O.
    fn per_metre(&self, mu: f64, omega: f64) -> (f64, [Complex64; SEA_DISTURBANCES]) {
        let u = self.craft.speed_m_s;
        let g = self.model.craft.g_m_s2;
        let omega_e = encounter_rad_s(omega, u, mu, g);
        let mut force = Vector6::from_row_slice(&[Complex64::ZERO; 6]);
        if self.model.physics.wave_forces {
            let hull = self.model.hydro.wave_force(&self.radiation, u, mu, omega);
            force.copy_from_slice(&hull);
            if self.model.physics.fins.orbital_velocity {
                force += self.on_surfaces(mu, omega, omega_e);
            }
        }
        let acceleration = self.craft.acceleration(&force);
        let k = omega * omega / g;
        let (sin, cos) = mu.sin_cos();
        let mut elevation = Complex64::ZERO;
        for s in &self.sensors {
            elevation += Complex64::from_polar(1.0, -k * (s.x * cos + s.y * sin));
        }
        // the height is heave plus elevation, heave down: h = z + zeta
        elevation /= self.sensors.len().max(1) as f64;
        let [heave, roll, pitch, sway, yaw] = acceleration;
        (omega_e, [heave, roll, pitch, sway, yaw, elevation])
    }

    /// Force of the orbital flow on the surfaces, behind Kussner's lag.
    fn on_surfaces(&self, mu: f64, omega: f64, omega_e: f64) -> Vector6<Complex64> {
        let (u, g) = (self.craft.speed_m_s, self.model.craft.g_m_s2);
        let k = omega * omega / g;
        let (sin, cos) = mu.sin_cos();
        let mut out = Vector6::from_element(Complex64::ZERO);
        for s in &self.model.surfaces {
            let r = &s.r_m;
            let phase = Complex64::from_polar(
                omega * (-k * r.z.max(0.0)).exp(),
                -k * (r.x * cos + r.y * sin),
            );
            // orbital velocity: forward and to starboard with the crest, down a quarter later
            let across = phase * (s.n.x * cos + s.n.y * sin) + phase * Complex64::new(0.0, -s.n.z);
            let rate = u.max(0.1) / (0.5 * s.mac_m);
            let lag: Complex64 = KUSSNER
                .iter()
                .map(|[a, b]| Complex64::from(a * b * rate) / Complex64::new(b * rate, omega_e))
                .sum();
            let per_speed = 0.5 * self.model.craft.rho_kg_m3 * s.area_m2 * s.slope_incidence * u;
            let lift = across * lag * per_speed;
            out += wrench_at(r, &s.n).map(Complex64::from) * lift;
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::lyapunov;

    #[test]
    fn sources_have_their_variance() {
        for slow_frac in [0.0, 0.3, 1.0] {
            let source = WaveSource {
                centre_rad_s: 0.8,
                damping: 0.2,
                slow_frac,
                sigma: 0.5,
            };
            let m = WaveModel::new(&[
                source,
                WaveSource {
                    sigma: 2.0,
                    ..source
                },
            ]);
            let p = lyapunov::covariance(&m.a, &m.noise).unwrap();
            let d = &m.c * p * m.c.transpose();
            // unit variance of both states, no covariance: rounding only
            assert!((d[(0, 0)] - 0.25).abs() < 1e-12 && (d[(1, 1)] - 4.0).abs() < 1e-12);
            assert!(d[(0, 1)].abs() < 1e-12);
        }
    }

    #[test]
    fn slow_share_has_a_steady_part() {
        for (slow, steady) in [(0.0, false), (0.5, true)] {
            let m = WaveModel::broad(1, 1.0, 0.7, slow);
            let gain = &m.c * m.a.clone().lu().solve(&m.noise.column(1)).unwrap();
            assert_eq!(gain[0].abs() > 0.1, steady, "{gain}");
        }
    }
}
