//! A sea whose amplitudes and phases, of waves and of gusts, are a function of standard normals.
//!
//! # Equation
//! ```text
//! random amplitudes   a_i = sqrt(m_i (u_i^2 + v_i^2))       fixed   a_i = sqrt(2 m_i)
//! gusts               a_i = sqrt(m_i (u_i^2 + v_i^2))                phase_i = atan2(v_i, u_i)
//! ```
//! so that zeta = sum_i sqrt(m_i) (u_i cos(arg_i) - v_i sin(arg_i)) with random amplitudes: a linear function
//! of the normals, hence a Gaussian sea.
//!
//! # Symbols
//! m_i energy of a bin, m2, or of a gust, m2/s2; u_i, v_i independent standard normals, two a wave or gust; arg_i the phase of a wave
//! without its own.
//!
//! # Valid when
//! As [`super`]: frequencies and directions are drawn as there and then held, so a run of the program keeps
//! one set of them; records much shorter than 2 pi over the spacing of frequencies do not see which.
//!
//! # Source
//! Rice (1944); Tucker, Challenor & Carter (1984): random amplitudes are Rayleigh, which is what two
//! normals give.
//!
//! # Checked by
//! `normals_make_a_gaussian_sea`, `waves_by_normals_are_those_drawn`.

use std::path::Path;

use rand::rngs::ChaCha8Rng;

use super::{Component, Drawn, Realisation, drawn, wind};
use crate::error::Result;
use crate::spec::sea::{Amplitudes, SeaSpec};

/// A sea short of its amplitudes and phases.
#[derive(Clone, Debug, PartialEq)]
pub struct WaveGrid {
    waves: Vec<Drawn>,
    amplitudes: Amplitudes,
    gusts_m2_s2: Vec<f64>,
    /// All but the waves; gusts with their frequencies.
    sea: Realisation,
}

/// Draws frequencies and directions as [`super::realise`] does.
///
/// # Errors
/// As [`super::realise`].
pub fn wave_grid(
    spec: &SeaSpec,
    dir: &Path,
    mu_rad: f64,
    speed_m_s: f64,
    duration_s: f64,
    rng: &mut ChaCha8Rng,
) -> Result<WaveGrid> {
    let (waves, sea) = drawn(spec, dir, mu_rad, speed_m_s, duration_s, &[], rng)?;
    let gusting = sea.wind.as_ref().filter(|w| !w.gusts.is_empty());
    Ok(WaveGrid {
        waves,
        amplitudes: spec.amplitudes,
        gusts_m2_s2: gusting.map_or_else(Vec::new, |w| wind::gust_energies_m2_s2(w.speed_10m_m_s)),
        sea,
    })
}

impl WaveGrid {
    /// Normals that a sea takes: two a wave and gust, none for regular waves.
    pub fn normals(&self) -> usize {
        let waves = self.waves.iter().filter(|w| w.energy_m2.is_some());
        2 * (waves.count() + self.gusts_m2_s2.len())
    }

    /// The sea of these normals, [`WaveGrid::normals`] of them.
    pub fn sea(&self, normals: &[f64]) -> Realisation {
        let mut pairs = normals.chunks_exact(2).map(|p| (p[0], p[1]));
        let components = self.waves.iter().map(|w| {
            let Some((m, (u, v))) = w.energy_m2.and_then(|m| Some((m, pairs.next()?))) else {
                return w.component;
            };
            Component {
                amplitude_m: match self.amplitudes {
                    Amplitudes::Random => (m * (u * u + v * v)).sqrt(),
                    Amplitudes::Fixed => (2.0 * m).sqrt(),
                },
                phase_rad: libm::atan2(v, u),
                ..w.component
            }
        });
        let components = components.collect();
        let mut sea = Realisation {
            components,
            ..self.sea.clone()
        };
        let gusts = sea.wind.iter_mut().flat_map(|w| &mut w.gusts);
        for ((gust, m), (u, v)) in gusts.zip(&self.gusts_m2_s2).zip(pairs) {
            gust.amplitude_m_s = (m * (u * u + v * v)).sqrt();
            gust.phase_rad = libm::atan2(v, u);
        }
        sea
    }
}
