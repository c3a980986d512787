//! Wave components from a spectrum and a random stream.
//!
//! # Equation
//! ```text
//! zeta = sum_i a_i cos(omega_e,i t - k_i (x cos mu_i + y sin mu_i) + phase_i)
//! bins: edges at equal steps of G(omega) = share of energy, of log frequency and of focus, mixed
//! omega_i drawn inside its bin with density S;  a_i^2 = 2 m_i (fixed) or -2 m_i ln u (random)
//! m_i = energy of the bin;  mu_i = mean + D^-1(golden-ratio sequence, random start)
//! ```
//! So every moment is met in the mean: E[sum omega_i^n a_i^2/2] is the spectrum's moment over the
//! realised range; m0 is exact with fixed amplitudes. With random amplitudes the realised
//! moment scatters with variance sum_i m_i^2 omega_i^2n.
//!
//! # Symbols
//! [`Component`]. u uniform in (0, 1).
//!
//! # Valid when
//! Linear waves in deep water. The frequencies are irrational multiples of each other, so the
//! record does not repeat. The tail ([`super::spectrum::TAIL_FRAC`] of the energy) is cut and its
//! energy spread over the rest, so the height is kept.
//!
//! # Source
//! Rice (1944), Bell Syst. Tech. J. 23; random amplitudes: Tucker, Challenor & Carter (1984),
//! Applied Ocean Research 6(2): fixed amplitudes understate the scatter between records.
//!
//! # Checked by
//! `ensemble_moments_meet_the_spectrum`, `fixed_amplitudes_keep_m0`, `records_do_not_repeat`,
//! `spreading_keeps_energy_and_a1`, `mirrored_heading_mirrors_the_sea`, `focus_narrows_spacing`.

use std::f64::consts::TAU;
use std::path::Path;

use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};

use super::encounter;
use super::spectrum::Spectrum;
use super::spreading::Spreading;
use super::wind::{self, WindRealisation};
use crate::error::{Problem, Result};
use crate::frames;
use crate::spec::sea::{Amplitudes, SeaSpec, SpectrumSpec, WaveSystemSpec};
use crate::units::{G_M_S2, deg};

mod bins;
pub mod by_normals;
#[cfg(test)]
mod tests;

/// One long-crested regular wave of a realised sea.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// Wave frequency in still water, rad/s.
    pub omega_rad_s: f64,
    /// Where it travels to relative to the mean course, rad.
    pub mu_rad: f64,
    /// Amplitude, m.
    pub amplitude_m: f64,
    /// Lead over the crest at O at t = 0, rad.
    pub phase_rad: f64,
}

impl Component {
    /// Wave number omega^2/g, rad/m.
    pub fn wave_number_rad_m(&self) -> f64 {
        self.omega_rad_s * self.omega_rad_s / G_M_S2
    }

    /// Encounter frequency at a speed, rad/s, signed.
    pub fn encounter_rad_s(&self, speed_m_s: f64) -> f64 {
        frames::encounter_rad_s(self.omega_rad_s, speed_m_s, self.mu_rad, G_M_S2)
    }

    /// Elevation (m, up) at (x, y) in axes moving with the mean speed.
    pub fn elevation_m(&self, t_s: f64, x_m: f64, y_m: f64, speed_m_s: f64) -> f64 {
        let along = x_m * self.mu_rad.cos() + y_m * self.mu_rad.sin();
        let arg = self.encounter_rad_s(speed_m_s) * t_s - self.wave_number_rad_m() * along;
        self.amplitude_m * (arg + self.phase_rad).cos()
    }
}

/// A realised sea: waves, wind and current for one run.
#[derive(Clone, Debug, PartialEq)]
pub struct Realisation {
    /// Wave components of all systems.
    pub components: Vec<Component>,
    /// Mean direction of the first system, where it travels to, rad.
    pub mu_rad: f64,
    /// Speed for which encounter frequencies are asked, m/s.
    pub speed_m_s: f64,
    /// Length of run the sea was made for, s.
    pub duration_s: f64,
    /// Wind, when the sea has it.
    pub wind: Option<WindRealisation>,
    /// Current speed, m/s.
    pub current_m_s: f64,
    /// Where the current flows to relative to the mean course, rad.
    pub current_mu_rad: f64,
}

/// A narrow response near which components shall lie closer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Focus {
    /// Natural frequency as encountered, rad/s.
    pub omega_e_rad_s: f64,
    /// Half-bandwidth (damping ratio times frequency), rad/s.
    pub half_bandwidth_rad_s: f64,
}

impl Realisation {
    /// Calm water without wind.
    pub fn calm() -> Realisation {
        Realisation {
            components: Vec::new(),
            mu_rad: 0.0,
            speed_m_s: 0.0,
            duration_s: 0.0,
            wind: None,
            current_m_s: 0.0,
            current_mu_rad: 0.0,
        }
    }

    /// Elevation (m, up) at (x, y) in axes moving with the mean speed.
    pub fn elevation_m(&self, t_s: f64, x_m: f64, y_m: f64) -> f64 {
        self.components
            .iter()
            .map(|c| c.elevation_m(t_s, x_m, y_m, self.speed_m_s))
            .sum()
    }

    /// Moment sum of omega^n a^2/2 of the components, m2 (rad/s)^n, by wave frequency.
    pub fn moment(&self, n: i32) -> f64 {
        self.components
            .iter()
            .map(|c| 0.5 * c.amplitude_m * c.amplitude_m * c.omega_rad_s.powi(n))
            .sum()
    }
}

/// Draws a sea. `dir` is where measured spectra are looked for, `mu_rad` where the first system
/// travels to, `duration_s` the whole run with its run-in.
///
/// The waves depend on the stream and the file alone, not on speed, heading or duration: laws,
/// speeds and headings are compared in the same sea.
///
/// # Errors
/// Numbers out of range and unreadable spectra, all at once, keyed as in the sea file.
pub fn realise(
    spec: &SeaSpec,
    dir: &Path,
    mu_rad: f64,
    speed_m_s: f64,
    duration_s: f64,
    rng: &mut ChaCha8Rng,
) -> Result<Realisation> {
    realise_focused(spec, dir, mu_rad, speed_m_s, duration_s, &[], rng)
}

/// [`realise`] with components drawn together near narrow responses: a third of them go there.
///
/// The bins then depend on speed, heading and focus: use one focus for all laws compared.
///
/// # Errors
/// As [`realise`].
pub fn realise_focused(
    spec: &SeaSpec,
    dir: &Path,
    mu_rad: f64,
    speed_m_s: f64,
    duration_s: f64,
    focus: &[Focus],
    rng: &mut ChaCha8Rng,
) -> Result<Realisation> {
    let (waves, mut sea) = drawn(spec, dir, mu_rad, speed_m_s, duration_s, focus, rng)?;
    sea.components = waves.into_iter().map(|w| w.component).collect();
    Ok(sea)
}

/// A wave as it was drawn, with the energy (m2) that its amplitude was drawn for; none for a regular wave,
/// which is as the file says.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Drawn {
    component: Component,
    energy_m2: Option<f64>,
}

/// The waves of a sea, and all else of it.
fn drawn(
    spec: &SeaSpec,
    dir: &Path,
    mu_rad: f64,
    speed_m_s: f64,
    duration_s: f64,
    focus: &[Focus],
    rng: &mut ChaCha8Rng,
) -> Result<(Vec<Drawn>, Realisation)> {
    let mut problems = Vec::new();
    let mut waves = Vec::new();
    if !spec.systems.is_empty() && !(2..=20_000).contains(&spec.components) {
        problems.push(Problem::at(
            "components",
            format!("is {}, must lie between 2 and 20000", spec.components),
        ));
    }
    let mut wind_rng = ChaCha8Rng::from_rng(rng);
    for (i, system) in spec.systems.iter().enumerate() {
        // a stream of its own: one system's length leaves the others alone
        let mut own = ChaCha8Rng::from_rng(rng);
        let mean = mu_rad + deg(system.offset_deg);
        let a_s = speed_m_s * mean.cos() / G_M_S2;
        match draw(spec, system, dir, mean, &waves_of(focus, a_s), &mut own) {
            Ok(w) => waves.extend(w),
            Err(e) => problems.extend(e.problems.into_iter().map(|mut p| {
                if p.place.file.is_none() {
                    p.place.key = format!("systems[{i}].{}", p.place.key);
                }
                p
            })),
        }
    }
    let wind = match spec
        .wind
        .as_ref()
        .map(|w| wind::realise(w, mu_rad, &mut wind_rng))
    {
        Some(Ok(w)) => Some(w),
        Some(Err(e)) => {
            problems.extend(e.problems);
            None
        }
        None => None,
    };
    if !problems.is_empty() {
        return Err(problems.into());
    }
    let sea = Realisation {
        components: Vec::new(),
        mu_rad,
        speed_m_s,
        duration_s,
        wind,
        current_m_s: spec.current_m_s,
        current_mu_rad: mu_rad + deg(spec.current_offset_deg),
    };
    Ok((waves, sea))
}

/// Wave frequency and width (rad/s) of every wave that meets a focus.
fn waves_of(focus: &[Focus], a_s: f64) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    for f in focus {
        for w in encounter::wave_frequencies_rad_s(f.omega_e_rad_s, a_s) {
            let slope = encounter::jacobian(w, a_s).max(0.05);
            out.push((w, (2.0 * f.half_bandwidth_rad_s / slope).max(1e-5)));
        }
    }
    out
}

fn draw(
    spec: &SeaSpec,
    system: &WaveSystemSpec,
    dir: &Path,
    mean_rad: f64,
    focus: &[(f64, f64)],
    rng: &mut ChaCha8Rng,
) -> Result<Vec<Drawn>> {
    let spectrum = Spectrum::of(&system.spectrum, dir)?;
    let spreading = system.spreading.map(Spreading::of).transpose()?;
    if let SpectrumSpec::Regular {
        amplitude_m,
        phase_deg,
        ..
    } = system.spectrum
    {
        return Ok(vec![Drawn {
            component: Component {
                omega_rad_s: spectrum.peak_rad_s(),
                mu_rad: mean_rad,
                amplitude_m,
                phase_rad: deg(phase_deg),
            },
            energy_m2: None,
        }]);
    }
    let bins = bins::Bins::new(&spectrum, spec.components, focus);
    let start: f64 = rng.random();
    Ok((0..spec.components)
        .map(|i| {
            // always the same number of draws, so that options leave the rest of the sea alone
            let (u_omega, u_amplitude, u_phase, u_jitter): (f64, f64, f64, f64) =
                (rng.random(), rng.random(), rng.random(), rng.random());
            let m = bins.energy_m2(i);
            let amplitude_m = match spec.amplitudes {
                Amplitudes::Random => (-2.0 * m * (1.0 - u_amplitude).ln()).sqrt(),
                Amplitudes::Fixed => (2.0 * m).sqrt(),
            };
            let off = spreading.as_ref().map_or(0.0, |s| {
                s.quantile_rad(golden(start, i, u_jitter / spec.components as f64))
            });
            Drawn {
                component: Component {
                    omega_rad_s: bins.frequency_rad_s(i, u_omega),
                    mu_rad: mean_rad + off,
                    amplitude_m,
                    phase_rad: TAU * u_phase,
                },
                energy_m2: Some(m),
            }
        })
        .collect())
}

/// Point i of the golden-ratio sequence: neighbours in frequency get well separated directions.
fn golden(start: f64, i: usize, jitter: f64) -> f64 {
    const RATIO: f64 = 0.618_033_988_749_894_9; // (sqrt 5 - 1)/2
    (start + jitter + RATIO * i as f64)
        .fract()
        .clamp(1e-9, 1.0 - 1e-9)
}
