//! Pitch stiffness, divergence speed, poles against speed.
//!
//! # Equation
//! ```text
//! K(U) = - d(Z, M) / d(z, theta)   led straight ahead, lags and memory settled
//! divergence: det K = 0, where a real pole of heave and pitch passes through zero
//! net pitch stiffness: K22 ; with heave free: K22 - K21 K12 / K11
//! ```
//!
//! # Symbols
//! Z heave force (N, down), M pitch moment about O (N m, bow up), z sinkage (m), theta pitch (rad).
//!
//! # Valid when
//! Small attitudes about the level craft. Oscillatory instability does not show in K: the poles
//! tell.
//!
//! # Source
//! Static stability as a zero eigenvalue: Lee & Curphey (1977), SNAME Trans. 85; closed form without
//! fins: references C, `pitchcrit.S` (Munk 1924, NACA Rep. 184).
//!
//! # Checked by
//! tests/stability.rs.

use nalgebra::Matrix2;

use super::assemble::assemble;
use super::modes::{Pole, poles};
use super::trim::{self, Trim};
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::error::Result;
use crate::spec::scenario::CourseSpec;
use crate::units::{kn, to_kn};

/// Fastest speed searched for divergence, kn.
const FASTEST_KN: f64 = 40.0;
/// Step of the search, kn.
const SEARCH_STEP_KN: f64 = 2.0;

/// Pitch stiffness and where it comes from, N m/rad.
#[derive(Clone, Copy, Debug)]
pub struct PitchStiffness {
    /// Hydrostatic part.
    pub hydrostatic: f64,
    /// Part of the surfaces, downwash included.
    pub surfaces: f64,
    /// Part of the hull in motion: the Munk moment and body lift (negative: destabilising).
    pub hull: f64,
    /// Sum: heave held.
    pub net: f64,
    /// Heave free.
    pub net_heave_free: f64,
}

/// One speed.
#[derive(Clone, Debug)]
pub struct SpeedRow {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Trim, `None` where there is no equilibrium.
    pub trim: Option<Trim>,
    /// Poles, slowest first.
    pub poles: Vec<Pole>,
    /// Pitch stiffness.
    pub stiffness: PitchStiffness,
}

/// Stability against speed.
#[derive(Clone, Debug)]
pub struct Stability {
    /// One row a speed.
    pub rows: Vec<SpeedRow>,
    /// Divergence speed with surfaces, kn; `None`: none up to 40 kn.
    pub divergence_kn: Option<f64>,
    /// Divergence speed with surfaces removed, kn.
    pub divergence_bare_kn: Option<f64>,
    /// Zero-frequency heave added mass used at the last speed, kg.
    pub zero_frequency_a33_kg: f64,
}

/// Heave-pitch stiffness matrix about level attitude with the pairs at given angles (rad).
pub fn stiffness_matrix(plant: &Plant, forward_rad: f64, aft_rad: f64) -> Matrix2<f64> {
    let (hz, ht) = (0.02, 0.002); // a few cells of the immersion tables, far from their ends
    let at = |z, t| trim::static_force(plant, z, t, forward_rad, aft_rad).unwrap_or([f64::NAN; 2]);
    let (zp, zm, tp, tm) = (at(hz, 0.0), at(-hz, 0.0), at(0.0, ht), at(0.0, -ht));
    Matrix2::from_fn(|i, j| {
        if j == 0 {
            -(zp[i] - zm[i]) / (2.0 * hz)
        } else {
            -(tp[i] - tm[i]) / (2.0 * ht)
        }
    })
}

/// Table of stability over speeds (kn).
///
/// # Errors
/// When a plant cannot be built or its poles cannot be found.
pub fn against_speed(model: &CraftModel, speeds_kn: &[f64]) -> Result<Stability> {
    let bare = without_surfaces(model);
    let mut rows = Vec::new();
    let mut zero_frequency_a33_kg = 0.0;
    for &speed_kn in speeds_kn {
        let plant = led(model, speed_kn)?;
        zero_frequency_a33_kg = plant.memory.zero_frequency_added_mass()[(2, 2)];
        rows.push(speed_row(
            &plant,
            &still_led(&bare, speed_kn),
            speed_kn,
            model,
        )?);
    }
    Ok(Stability {
        rows,
        divergence_kn: divergence_kn(model)?,
        divergence_bare_kn: divergence_kn(&bare)?,
        zero_frequency_a33_kg,
    })
}

/// The same craft with every surface removed.
pub fn without_surfaces(model: &CraftModel) -> CraftModel {
    let mut bare = model.clone();
    bare.surfaces.clear();
    bare.links.clear();
    bare
}

fn led(model: &CraftModel, speed_kn: f64) -> Result<Plant> {
    model.plant(kn(speed_kn), &CourseSpec::default())
}

/// The same with the added mass of zero frequency: all that an equilibrium needs.
fn still_led(model: &CraftModel, speed_kn: f64) -> Plant {
    let (radiation, _) = model.hydro.radiation_at(kn(speed_kn));
    model.plant_without_memory(radiation.a_zero, kn(speed_kn), &CourseSpec::default())
}

fn speed_row(plant: &Plant, bare: &Plant, speed_kn: f64, model: &CraftModel) -> Result<SpeedRow> {
    let trim = trim::level(plant).ok();
    let (fore, aft) = trim
        .as_ref()
        .map_or((0.0, 0.0), |t| (t.forward_rad, t.aft_rad));
    let k = stiffness_matrix(plant, fore, aft);
    let without = stiffness_matrix(bare, 0.0, 0.0)[(1, 1)];
    let hydrostatic = model.craft.hydrostatics.c[(4, 4)];
    let poles = match &trim {
        Some(t) => poles(&assemble(plant, &t.x, None))?,
        None => Vec::new(),
    };
    Ok(SpeedRow {
        speed_kn,
        trim,
        poles,
        stiffness: PitchStiffness {
            hydrostatic,
            surfaces: k[(1, 1)] - without,
            hull: without - hydrostatic,
            net: k[(1, 1)],
            net_heave_free: k[(1, 1)] - k[(1, 0)] * k[(0, 1)] / k[(0, 0)],
        },
    })
}

/// Lowest speed at which heave and pitch diverge, by bisection on the determinant of the
/// stiffness (a zero eigenvalue of the linear model).
///
/// # Errors
/// When a plant cannot be built.
pub fn divergence_kn(model: &CraftModel) -> Result<Option<f64>> {
    let determinant = |speed_kn: f64| -> Result<f64> {
        let plant = still_led(model, speed_kn);
        let k = stiffness_matrix(&plant, 0.0, 0.0);
        Ok(k[(0, 0)] * k[(1, 1)] - k[(0, 1)] * k[(1, 0)])
    };
    let mut below = 0.0;
    while below < FASTEST_KN {
        let above = below + SEARCH_STEP_KN;
        if determinant(above)? < 0.0 {
            return bisect(&determinant, below, above).map(Some);
        }
        below = above;
    }
    Ok(None)
}

fn bisect(f: &dyn Fn(f64) -> Result<f64>, mut below: f64, mut above: f64) -> Result<f64> {
    while above - below > 0.02 {
        let middle = 0.5 * (below + above);
        if f(middle)? < 0.0 {
            above = middle;
        } else {
            below = middle;
        }
    }
    Ok(to_kn(kn(0.5 * (below + above))))
}
