//! The design model of a craft: heave, roll and pitch in seakeeping axes, from its linear model.
//!
//! # Equation
//! ```text
//! nu_k' = A_k x            rows heave, roll, pitch of the linear model about trim, added mass A(w0)
//! M = (rows and columns k of (M + A)^-1)^-1          surge, sway and yaw follow by their inertia
//! w = z' + U theta         M (z'', p', q') = M nu_k' - M (U q, 0, 0) - damping of the waves
//! waves: P = B nu / (i w0),  F = -i w0 P,  moment + U P_3     at w0
//! ```
//! Downwash acts at once: delay lines are settled. Servos are in
//! [`super::model`], radiation is that of `w0`, the natural frequency in heave at that speed.
//!
//! # Symbols
//! k heave, roll, pitch; U speed (m/s); A, B added mass and damping of the tables; P momentum of the
//! waves the craft makes; w0 (rad/s).
//!
//! # Valid when
//! Small motions about trim near w0, surge, sway and yaw free on their inertia (the course keeper
//! works far below). Cross-flow drag counts by its slope at trim, which is next to nothing: real
//! damping is larger.
//!
//! # Source
//! Own derivation from [`crate::linear::assemble`]; speed terms of the damping: Salvesen, Tuck &
//! Faltinsen 1970, SNAME Trans. 78, table of coefficients (B35, A35, A53, B55).
//!
//! # Checked by
//! `tests/design.rs`: `reduced_poles_are_those_of_the_craft`, `divergence_is_that_of_the_craft`

use nalgebra::{DMatrix, Matrix3, Matrix6};

use super::model::{DesignChannel, DesignModel, ModalPlant};
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::dynamics::sensor::height_sensors_m;
use crate::dynamics::state::StateLayout;
use crate::error::{Error, Result};
use crate::linear::assemble::{LinearModel, assemble};
use crate::linear::trim::{self, Trim};
use crate::spec::craft::{SensorErrorSpec, SurfaceGroup};
use crate::spec::scenario::CourseSpec;
use crate::units::{deg, to_kn};

/// Rows and columns of heave, roll, pitch among the six modes.
const MODES: [usize; 3] = [2, 3, 4];
/// Slowest wave-making frequency at which the added mass is taken, rad/s.
const LEAST_RAD_S: f64 = 0.1;

/// A craft at one speed as the design sees it.
#[derive(Clone, Debug)]
pub struct CraftAtSpeed {
    /// Heave, roll, pitch.
    pub modal: ModalPlant,
    /// The surfaces of the columns of [`ModalPlant::fins`].
    pub channels: Vec<DesignChannel>,
    /// Equilibrium.
    pub trim: Trim,
    /// Frequency at which added mass and damping were taken, rad/s.
    pub omega_rad_s: f64,
    /// Time from a command to the servo, s.
    pub command_delay_s: f64,
}

/// The craft at a speed, about its trim. `channels` names the surfaces a law may drive, all that
/// lift and move when empty.
///
/// # Errors
/// Where there is no equilibrium, or a channel that no moving surface answers to.
pub fn at_speed(model: &CraftModel, speed_m_s: f64, channels: &[String]) -> Result<CraftAtSpeed> {
    let radiation = model.hydro.radiation_at(speed_m_s).0;
    let still = |a| {
        let mut plant = model.plant_without_memory(a, speed_m_s, &CourseSpec::default());
        plant.unsteady_lag = false;
        plant.finish()
    };
    let trim = trim::level(&still(radiation.a_zero))?;
    // heave stiffness over mass, once more with the added mass found there
    let stiffness = model.craft.hydrostatics.c[(2, 2)];
    let mut omega = 0.7;
    for _ in 0..3 {
        let heavy = model.craft.mass.mass_kg + radiation.at(omega).0[(2, 2)];
        omega = (stiffness / heavy).sqrt().max(LEAST_RAD_S);
    }
    let (a, b) = radiation.at(omega);
    let plant = still(a);
    let linear = assemble(&plant, &trim.x, None);
    let driven = driven(&plant, &linear, channels)?;
    Ok(CraftAtSpeed {
        modal: modal(model, &plant, &linear, &b, omega, &driven)?,
        channels: driven
            .iter()
            .map(|&i| {
                let servo = &plant.actuators[i];
                DesignChannel {
                    name: plant.surfaces[i].name.clone(),
                    group: plant.surfaces[i].group,
                    lag_s: 2.0 * servo.damping_ratio / servo.natural_frequency_rad_s,
                }
            })
            .collect(),
        command_delay_s: driven
            .iter()
            .map(|&i| plant.actuators[i].delay_s)
            .fold(0.0, f64::max),
        trim,
        omega_rad_s: omega,
    })
}

/// Which surfaces the law drives: indices among the plant's.
fn driven(plant: &Plant, linear: &LinearModel, channels: &[String]) -> Result<Vec<usize>> {
    let lifts = |i: usize| {
        let angle = linear.a.column(linear.layout.angle(i));
        plant.surfaces[i].group != SurfaceGroup::Rudder
            && MODES
                .iter()
                .any(|k| angle[StateLayout::NU.start + k].abs() > 0.0)
    };
    let all: Vec<usize> = (0..plant.surfaces.len()).filter(|&i| lifts(i)).collect();
    let found = if channels.is_empty() {
        all
    } else {
        let mut found = Vec::with_capacity(channels.len());
        for name in channels {
            let i = all.iter().find(|&&i| plant.surfaces[i].name == *name);
            found.push(*i.ok_or_else(|| {
                let have: Vec<_> = all
                    .iter()
                    .map(|&i| plant.surfaces[i].name.as_str())
                    .collect();
                Error::with_hint(
                    format!("no surface that lifts and moves is called `{name}`"),
                    format!("the craft has {}", have.join(", ")),
                )
            })?);
        }
        found
    };
    if found.is_empty() {
        return Err(Error::with_hint(
            "the craft has no lifting surface that moves",
            "give a forward or aft surface an `all_movable` or `flap` part",
        ));
    }
    Ok(found)
}

/// Reduction to heave, roll and pitch.
fn modal(
    model: &CraftModel,
    plant: &Plant,
    linear: &LinearModel,
    damping: &Matrix6<f64>,
    omega: f64,
    driven: &[usize],
) -> Result<ModalPlant> {
    let u = linear.speed_m_s;
    let nu = StateLayout::NU.start;
    let settled = settle_delays(linear)?;
    let pick = |row: usize, column: usize| settled[(nu + MODES[row], column)];
    let inverse = Matrix3::from_fn(|i, j| plant.mass_inverse()[(MODES[i], MODES[j])]);
    let mass = inverse.try_inverse().ok_or_else(|| {
        Error::new(format!(
            "mass matrix of the craft at {:.1} kn cannot be inverted",
            to_kn(u)
        ))
    })?;
    let by_position = mass * Matrix3::from_fn(|i, j| pick(i, MODES[j]));
    let by_velocity = mass * Matrix3::from_fn(|i, j| pick(i, nu + MODES[j]));
    let waves = Matrix3::from_fn(|i, j| damping[(MODES[i], MODES[j])]);
    // force of the waves made, with velocity w = z' + U theta and momentum w/(i w0), as stiffness
    // and damping
    let moment_arm = |p: &Matrix3<f64>| {
        let mut m = Matrix3::zeros();
        m.set_row(2, &(p.row(0) * u));
        m
    };
    let heave = by_velocity.column(0).into_owned();
    let pitch_by_w = |m: &Matrix3<f64>| {
        let mut out = Matrix3::zeros();
        out.set_column(2, &(m.column(0) * u));
        out
    };
    let mut d = -by_velocity + waves;
    let mut c = -by_position;
    let mut extra = d.column_mut(2);
    extra += mass.column(0) * u;
    let mut incidence = c.column_mut(2);
    incidence -= heave * u;
    c += pitch_by_w(&waves);
    // P = B nu/(i w0): position part B (z, phi, theta), and B U theta / (i w0) = -B U theta'/w0^2
    c -= moment_arm(&waves);
    d += moment_arm(&pitch_by_w(&waves)) / (omega * omega);
    let mut fins = DMatrix::zeros(3, driven.len());
    for (j, &s) in driven.iter().enumerate() {
        let angle = linear.layout.angle(s);
        let row = nalgebra::Vector3::from_fn(|i, _| pick(i, angle));
        fins.set_column(j, &(mass * row));
    }
    let unit = &model.craft.spec.sensors.motion_unit_m;
    Ok(ModalPlant {
        speed_m_s: u,
        mass,
        damping: d,
        stiffness: c,
        fins,
        motion_unit_m: model.craft.from_o(unit[0], unit[1], unit[2]),
        roll_lever_m: radius(&mass, 1),
        pitch_lever_m: radius(&mass, 2),
    })
}

/// Radius of gyration with added mass, m.
fn radius(mass: &Matrix3<f64>, j: usize) -> f64 {
    (mass[(j, j)] / mass[(0, 0)]).sqrt()
}

/// State matrix with the delay lines of the downwash settled at once.
fn settle_delays(linear: &LinearModel) -> Result<DMatrix<f64>> {
    let range = linear.layout.delay.clone();
    let (n, m) = (linear.a.nrows(), range.len());
    if m == 0 {
        return Ok(linear.a.clone());
    }
    let inner = linear
        .a
        .view((range.start, range.start), (m, m))
        .into_owned();
    let mut drive = linear.a.rows(range.start, m).into_owned();
    drive.columns_mut(range.start, m).fill(0.0);
    let lines = inner
        .lu()
        .solve(&(-drive))
        .ok_or_else(|| Error::new("downwash lines of the design model cannot be settled"))?;
    let mut out = &linear.a + linear.a.columns(range.start, m) * lines;
    out.view_mut((0, range.start), (n, m)).fill(0.0);
    Ok(out)
}

/// What the observer should allow for beside the craft's own motion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Surroundings {
    /// Centre of the wave disturbance, rad/s (encounter).
    pub wave_rad_s: f64,
    /// Its damping ratio: how broad it is.
    pub wave_damping: f64,
    /// Standard deviation of the mean elevation at the height sensors, m.
    pub elevation_m: f64,
}

impl Default for Surroundings {
    /// Seas of some 1.25 m and 5 to 10 s met on all headings.
    fn default() -> Self {
        Surroundings {
            wave_rad_s: 1.0,
            wave_damping: 0.7,
            elevation_m: 0.3,
        }
    }
}

impl CraftAtSpeed {
    /// The design model with the craft's own sensors and servos.
    ///
    /// # Errors
    /// A mass matrix that cannot be inverted.
    pub fn design_model(&self, model: &CraftModel, around: &Surroundings) -> Result<DesignModel> {
        let sensors = &model.craft.spec.sensors;
        let lag = |e: &SensorErrorSpec| {
            let filter = std::f64::consts::TAU * e.filter_hz;
            e.delay_s + if filter > 0.0 { 1.0 / filter } else { 0.0 }
        };
        let late = [&sensors.rate_deg_s, &sensors.acceleration_m_s2]
            .map(lag)
            .iter()
            .sum::<f64>()
            / 2.0;
        let period = sensors.sample_period_s;
        let mut out = self.modal.model(
            self.channels.clone(),
            period,
            self.command_delay_s + late,
            around.elevation_m,
        )?;
        out.wave_rad_s = around.wave_rad_s;
        out.wave_damping = around.wave_damping;
        // one sample of noise and step; the square sum of the two
        let noise = |e: &SensorErrorSpec, unit: f64| {
            unit * (e.noise * e.noise + e.step * e.step / 12.0 + e.bias * e.bias).sqrt()
        };
        let heights = height_sensors_m(&model.craft.spec).len().max(1) as f64;
        let own = [
            noise(&sensors.rate_deg_s, deg(1.0)),
            noise(&sensors.rate_deg_s, deg(1.0)),
            noise(&sensors.attitude_deg, deg(1.0)),
            noise(&sensors.attitude_deg, deg(1.0)),
            noise(&sensors.acceleration_m_s2, 1.0),
            noise(&sensors.height_m, 1.0) / heights.sqrt(),
        ];
        // never better than a good unit tripled for what the model does not know
        for (n, own) in out.output_noise.iter_mut().zip(own) {
            *n = n.max(own);
        }
        Ok(out)
    }
}
