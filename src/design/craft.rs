//! The design model of a craft: heave, roll and pitch in seakeeping axes, from its linear model.
//!
//! # Equation
//! ```text
//! x = heave, roll, pitch, their rates, lift lags, downwash lines
//! x' = A x + B delta        rows and columns of the linear model about trim, added mass A(w0)
//! z' = w - U theta          replaces the body velocity w
//! waves: P = B nu / (i w0),  F = -i w0 P,  pitch moment + U P_3     at w0
//! ```
//! Surge, sway and yaw follow by their inertia: their velocities count as zero, their accelerations
//! stay in the mass matrix. Servos and delays are in [`super::model`]; radiation is that of `w0`, the
//! natural frequency in heave.
//!
//! The lag of lift and the time the downwash takes to the aft surfaces (2.7 s on 22 m at 16 kn, a
//! third of a heave period) are kept as states: with both at once the damping in heave and pitch
//! comes out twice too high.
//!
//! # Symbols
//! delta surface angles (rad); U speed (m/s); A, B added mass and damping of the tables; P momentum
//! of the waves the craft makes; w0 (rad/s).
//!
//! # Valid when
//! Small motions about trim near w0 (the course keeper works far below). Cross-flow drag counts by
//! its slope at trim, which is next to nothing: real damping is larger.
//!
//! # Source
//! Own derivation from [`crate::linear::assemble`]; speed terms of the damping: Salvesen, Tuck &
//! Faltinsen 1970, SNAME Trans. 78, table of coefficients (B35, A35, A53, B55).
//!
//! # Checked by
//! `tests/design.rs`: `design_poles_are_those_of_the_craft`, `design_model_diverges_where_the_craft_does`

use nalgebra::{DMatrix, Matrix3, Matrix6, Vector3};

use super::model::{
    DesignChannel, DesignModel, ELEVATION_TIME_S, STANDARD_OUTPUTS, STANDARD_STATES,
    standard_outputs,
};
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::dynamics::sensor::height_sensors_m;
use crate::dynamics::state::{DELAY_ORDER, StateLayout};
use crate::error::{Error, Result};
use crate::linear::assemble::{LinearModel, assemble};
use crate::linear::trim::{self, Trim};
use crate::spec::craft::{SensorErrorSpec, SurfaceGroup};
use crate::spec::scenario::CourseSpec;
use crate::units::deg;

/// Heave, roll, pitch among the six modes.
const MODES: [usize; 3] = [2, 3, 4];
/// Slowest frequency at which the added mass is taken, rad/s.
const LEAST_RAD_S: f64 = 0.1;

/// A craft at one speed as the design sees it.
#[derive(Clone, Debug)]
pub struct CraftAtSpeed {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// State matrix: [`STANDARD_STATES`] first, then lags and lines.
    pub a: DMatrix<f64>,
    /// Columns per rad of each channel's surface.
    pub b: DMatrix<f64>,
    /// Names of the states.
    pub states: Vec<String>,
    /// The surfaces of the columns of `b`.
    pub channels: Vec<DesignChannel>,
    /// Mass with added mass of heave, roll, pitch, the other modes following.
    pub mass: Matrix3<f64>,
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
    let plant_of = |a| model.plant_without_memory(a, speed_m_s, &CourseSpec::default());
    let trim = trim::level(&plant_of(radiation.a_zero))?;
    let stiffness = model.craft.hydrostatics.c[(2, 2)];
    let mut omega = 0.7;
    for _ in 0..3 {
        let heavy = model.craft.mass.mass_kg + radiation.at(omega).0[(2, 2)];
        omega = (stiffness / heavy).sqrt().max(LEAST_RAD_S);
    }
    let (a, b) = radiation.at(omega);
    let plant = plant_of(a);
    let linear = assemble(&plant, &trim.x, None);
    let driven = driven(&plant, &linear, channels)?;
    let (a, b, states) = reduced(&plant, &linear, &b, omega, &driven)?;
    Ok(CraftAtSpeed {
        speed_m_s,
        a,
        b,
        states,
        channels: driven.iter().map(|&i| channel(&plant, i)).collect(),
        mass: inverse_mass(&plant)
            .try_inverse()
            .ok_or_else(|| Error::new("the mass matrix of the craft cannot be inverted"))?,
        command_delay_s: driven
            .iter()
            .map(|&i| plant.actuators[i].delay_s)
            .fold(0.0, f64::max),
        trim,
        omega_rad_s: omega,
    })
}

fn channel(plant: &Plant, i: usize) -> DesignChannel {
    let servo = &plant.actuators[i];
    DesignChannel {
        name: plant.surfaces[i].name.clone(),
        group: plant.surfaces[i].group,
        lag_s: 2.0 * servo.damping_ratio / servo.natural_frequency_rad_s,
    }
}

/// Which surfaces the law drives: indices among the plant's.
fn driven(plant: &Plant, linear: &LinearModel, channels: &[String]) -> Result<Vec<usize>> {
    let lifts = |i: usize| {
        let angle = linear.a.column(linear.layout.angle(i));
        let force = |k: &usize| angle[StateLayout::NU.start + k].abs() > 0.0;
        plant.surfaces[i].group != SurfaceGroup::Rudder && MODES.iter().any(force)
    };
    let all: Vec<usize> = (0..plant.surfaces.len()).filter(|&i| lifts(i)).collect();
    if all.is_empty() {
        return Err(Error::with_hint(
            "no surface makes heave, roll or pitch at this speed",
            "a law needs a forward or aft surface with an `all_movable` or `flap` part, and way on",
        ));
    }
    if channels.is_empty() {
        return Ok(all);
    }
    let name = |i: &usize| plant.surfaces[*i].name.as_str();
    channels
        .iter()
        .map(|wanted| {
            let found = all.iter().find(|i| name(i) == wanted);
            found.copied().ok_or_else(|| {
                let have: Vec<_> = all.iter().map(name).collect();
                Error::with_hint(
                    format!("no surface that lifts and moves is called `{wanted}`"),
                    format!("the craft has {}", have.join(", ")),
                )
            })
        })
        .collect()
}

fn inverse_mass(plant: &Plant) -> Matrix3<f64> {
    Matrix3::from_fn(|i, j| plant.mass_inverse()[(MODES[i], MODES[j])])
}

/// Roots of the delay approximant lie about this far out, in units of 1/delay: its states scaled
/// by powers of it are of one size.
const LINE_SCALE: f64 = 5.0;

/// The states that stay: index in the linear model, name, scale.
fn kept(plant: &Plant, layout: &StateLayout) -> Vec<(usize, String, f64)> {
    let nu = StateLayout::NU.start;
    let mut kept: Vec<_> = [2, 3, 4, nu + 2, nu + 3, nu + 4]
        .into_iter()
        .zip(STANDARD_STATES)
        .map(|(i, name)| (i, name.to_owned(), 1.0))
        .collect();
    let lifts = |i: usize| plant.surfaces[i].group != SurfaceGroup::Rudder;
    let surfaces = plant.surfaces.iter().enumerate();
    for (i, s) in surfaces.filter(|(i, _)| plant.unsteady_lag && lifts(*i)) {
        for k in 0..2 {
            let name = format!("lift_lag_{}_{}", k + 1, s.name);
            kept.push((layout.lag(i) + k, name, 1.0));
        }
    }
    for (j, (from, _)) in plant.delays.iter().enumerate() {
        let mut ends = plant.links.iter().zip(&plant.delay_of);
        if ends.any(|(link, line)| *line == j && lifts(link.to)) {
            let mut scale = 1.0;
            for k in 0..DELAY_ORDER {
                let name = format!(
                    "downwash_{}_{}_{}",
                    j + 1,
                    k + 1,
                    plant.surfaces[*from].name
                );
                kept.push((layout.delay(j) + k, name, scale));
                scale /= LINE_SCALE;
            }
        }
    }
    kept
}

/// A with the lags and lines that are not kept (those of the rudders) settled.
fn settled(linear: &LinearModel, kept: &[usize], plant: &Plant) -> Result<DMatrix<f64>> {
    let l = &linear.layout;
    let lags = (0..plant.surfaces.len()).flat_map(|i| [l.lag(i), l.lag(i) + 1]);
    let gone: Vec<usize> = lags
        .filter(|_| plant.unsteady_lag)
        .chain(l.delay.clone())
        .filter(|i| !kept.contains(i))
        .collect();
    if gone.is_empty() {
        return Ok(linear.a.clone());
    }
    let a = &linear.a;
    let inner = a.select_rows(&gone).select_columns(&gone);
    let mut drive = a.select_rows(&gone);
    for &i in &gone {
        drive.column_mut(i).fill(0.0);
    }
    let follow = inner
        .lu()
        .solve(&-drive)
        .ok_or_else(|| Error::new("lags and downwash lines of the rudders cannot be settled"))?;
    Ok(a + a.select_columns(&gone) * follow)
}

/// A, B and names of the states.
fn reduced(
    plant: &Plant,
    linear: &LinearModel,
    damping: &Matrix6<f64>,
    omega: f64,
    driven: &[usize],
) -> Result<(DMatrix<f64>, DMatrix<f64>, Vec<String>)> {
    let kept = kept(plant, &linear.layout);
    let index: Vec<usize> = kept.iter().map(|k| k.0).collect();
    let whole = settled(linear, &index, plant)?;
    let n = index.len();
    let mut a = DMatrix::from_fn(n, n, |i, j| whole[(index[i], index[j])]);
    let b = DMatrix::from_fn(n, driven.len(), |i, j| {
        whole[(index[i], linear.layout.angle(driven[j]))]
    });
    make_waves(&mut a, plant, damping, omega);
    // w to z' by the kinematics of the trimmed craft, lines to one size
    let mut to = DMatrix::identity(n, n);
    to.row_mut(3).copy_from(&a.row(0));
    for (i, k) in kept.iter().enumerate() {
        to.row_mut(i).scale_mut(k.2);
    }
    let back = to
        .clone()
        .try_inverse()
        .ok_or_else(|| Error::new("the trimmed craft stands on end"))?;
    let names = kept.into_iter().map(|k| k.1).collect();
    Ok((&to * a * back, to * b, names))
}

/// Adds the damping of the waves made to the rows of w, p, q: F = -B nu, and the pitch moment U P_3 with
/// `P_3 = B33 (z + U theta/(i w0)) + B34 phi + B35 theta`, `theta/(i w0) = -q / w0^2`.
fn make_waves(a: &mut DMatrix<f64>, plant: &Plant, damping: &Matrix6<f64>, omega: f64) {
    let u = plant.speed_m_s;
    let waves = Matrix3::from_fn(|i, j| damping[(MODES[i], MODES[j])]);
    let inverse = inverse_mass(plant);
    let mut by_velocity = -waves;
    by_velocity[(2, 2)] -= u * u * waves[(0, 0)] / (omega * omega);
    let mut by_position = Matrix3::zeros();
    by_position.set_row(2, &(waves.row(0) * u));
    let (by_position, by_velocity) = (inverse * by_position, inverse * by_velocity);
    for i in 0..3 {
        for j in 0..3 {
            a[(3 + i, j)] += by_position[(i, j)];
            a[(3 + i, 3 + j)] += by_velocity[(i, j)];
        }
    }
}

/// What the observer should allow for beside the craft's own motion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Surroundings {
    /// Centre of the wave disturbance, rad/s (encounter).
    pub wave_rad_s: f64,
    /// Its damping ratio: how broad it is.
    pub wave_damping: f64,
    /// Share of it that is slow: what following seas do.
    pub wave_slow_frac: f64,
    /// Standard deviation of the mean elevation at the height sensors, m.
    pub elevation_m: f64,
}

impl Default for Surroundings {
    /// Seas of some 1.25 m and 5 to 10 s met on all headings.
    fn default() -> Self {
        Surroundings {
            wave_rad_s: 1.0,
            wave_damping: 0.7,
            wave_slow_frac: 0.5,
            elevation_m: 0.3,
        }
    }
}

impl CraftAtSpeed {
    /// The design model with the craft's own sensors and servos.
    pub fn design_model(&self, model: &CraftModel, around: &Surroundings) -> DesignModel {
        let sensors = &model.craft.spec.sensors;
        let period = sensors.sample_period_s;
        let radius = |j: usize| (self.mass[(j, j)] / self.mass[(0, 0)]).sqrt();
        let mut e = DMatrix::zeros(self.states.len(), 3);
        e[(3, 0)] = 1.0;
        e[(4, 1)] = 1.0 / radius(1);
        e[(5, 2)] = 1.0 / radius(2);
        let unit = sensors.motion_unit_m;
        let unit: Vector3<f64> = model.craft.from_o(unit[0], unit[1], unit[2]);
        let [c, d, f] = standard_outputs(&self.a, &self.b, &e, &unit);
        DesignModel {
            speed_m_s: self.speed_m_s,
            a: self.a.clone(),
            b: self.b.clone(),
            e,
            c,
            d,
            f,
            states: self.states.clone(),
            channels: self.channels.clone(),
            outputs: STANDARD_OUTPUTS.to_vec(),
            output_noise: output_noise(model, around),
            wave_rad_s: around.wave_rad_s,
            wave_damping: around.wave_damping,
            wave_slow_frac: around.wave_slow_frac,
            sample_period_s: period,
            delay_s: self.command_delay_s + sensor_lag_s(&sensors.rate_deg_s),
        }
    }
}

/// Delay and filter of a sensor taken as one delay, s.
fn sensor_lag_s(e: &SensorErrorSpec) -> f64 {
    let corner = std::f64::consts::TAU * e.filter_hz;
    e.delay_s + if corner > 0.0 { 1.0 / corner } else { 0.0 }
}

/// Standard deviation of one sample of each of [`STANDARD_OUTPUTS`]: the sensor's own, but no less
/// than what the model leaves out ([`super::model::ModalPlant`] takes the same floor).
fn output_noise(model: &CraftModel, around: &Surroundings) -> Vec<f64> {
    let s = &model.craft.spec.sensors;
    let own = |e: &SensorErrorSpec, unit: f64| {
        unit * (e.noise * e.noise + e.step * e.step / 12.0 + e.bias * e.bias).sqrt()
    };
    let rate = own(&s.rate_deg_s, deg(1.0)).max(0.001);
    let angle = own(&s.attitude_deg, deg(1.0)).max(0.002);
    let acceleration = own(&s.acceleration_m_s2, 1.0).max(0.06);
    // the elevation lasts: one sample of it counts for less
    let sensors = height_sensors_m(&model.craft.spec).len().max(1) as f64;
    let white = around.elevation_m * (2.0 * ELEVATION_TIME_S / s.sample_period_s).sqrt();
    let height = white
        .hypot(own(&s.height_m, 1.0) / sensors.sqrt())
        .max(0.03);
    vec![rate, rate, angle, angle, acceleration, height]
}
