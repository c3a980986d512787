//! The design model of a craft: heave, roll, pitch, sway and yaw, from its linear model.
//!
//! # Equation
//! ```text
//! x = heave, roll, pitch, their rates, sway velocity, yaw rate, lift lags, downwash lines
//! x' = A x + B delta        rows and columns of the linear model about trim, added mass A(w0)
//! z' = w - U theta          replaces the body velocity w
//! waves: P = B nu / (i w0),  F = -i w0 P,  pitch moment + U P_3,  yaw moment - U P_2     at w0
//! rudder: D r               yaw damping of the course keeper
//! ```
//! Sway and yaw are states because roll swings about an axis that they find: with their velocities
//! held at zero the struts' lift damps roll too much. Heading and place are left out, they are slow;
//! so is surge, which follows by its inertia. Servos and delays are in [`super::model`]. Radiation is
//! that of `w0`: the natural frequency in heave for the vertical plane, in roll for the lateral one.
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
//! Small motions about trim near w0 (the course keeper's heading loop works far below). Cross-flow drag counts by
//! its slope at trim, which is next to nothing: real damping is larger.
//!
//! # Source
//! Own derivation from [`crate::linear::assemble`]; speed terms of the damping: Salvesen, Tuck &
//! Faltinsen 1970, SNAME Trans. 78, table of coefficients (B35, A35, A53, B55).
//!
//! # Checked by
//! `tests/design.rs`: `design_poles_are_those_of_the_craft`, `design_model_diverges_where_the_craft_does`

use nalgebra::{DMatrix, Matrix5, Matrix6, SMatrix, SVector, Vector3, Vector6};
use num_complex::Complex64;

use super::model::{
    DOUBT, DesignChannel, DesignModel, ELEVATION_TIME_S, LATERAL_STATES, STANDARD_OUTPUTS,
    STANDARD_STATES, ride_point, standard_outputs,
};
use super::sea::{self, SEA_DISTURBANCES, WaveModel};
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::dynamics::sensor::height_sensors_m;
use crate::dynamics::state::{DELAY_ORDER, StateLayout};
use crate::error::{Error, Result};
use crate::linear::assemble::{LinearModel, assemble};
use crate::linear::trim::{self, Trim};
use crate::spec::controller::LqrSea;
use crate::spec::craft::{SensorErrorSpec, SurfaceGroup};
use crate::spec::scenario::CourseSpec;
use crate::units::deg;

/// Heave, roll, pitch, sway, yaw among the six modes, in the order of their velocities among the states.
const MODES: [usize; 5] = [2, 3, 4, 1, 5];
/// Which of the six modes lie in the lateral plane.
const LATERAL: [bool; 6] = [false, true, false, true, false, true];
/// First velocity among the states.
const VELOCITY: usize = 3;
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
    /// Accelerations of heave, roll, pitch, sway, yaw per force in each of the six modes.
    pub mobility: SMatrix<f64, 5, 6>,
    /// Radii of gyration that turn angular accelerations of heave, roll, pitch, sway, yaw into m/s2 (one
    /// for heave and sway), m.
    pub radius_m: [f64; 5],
    /// Equilibrium.
    pub trim: Trim,
    /// Frequencies at which added mass and damping of the vertical and the lateral plane were taken, rad/s.
    pub omega_rad_s: [f64; 2],
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
    let rigid = model.craft.mass.matrix_about_o();
    let omega = [2, 3].map(|j: usize| {
        let stiffness = model.craft.hydrostatics.c[(j, j)].max(0.0);
        let mut omega = 0.7;
        for _ in 0..3 {
            let heavy = rigid[(j, j)] + radiation.at(omega).0[(j, j)];
            omega = (stiffness / heavy).sqrt().max(LEAST_RAD_S);
        }
        omega
    });
    at_frequency(model, speed_m_s, omega, channels)
}

/// The same with added mass and damping of given frequencies of the vertical and the lateral plane,
/// rad/s; 0 for what is slow: divergence.
///
/// # Errors
/// As [`at_speed`].
pub fn at_frequency(
    model: &CraftModel,
    speed_m_s: f64,
    omega_rad_s: [f64; 2],
    channels: &[String],
) -> Result<CraftAtSpeed> {
    let course = CourseSpec::default();
    let radiation = model.hydro.radiation_at(speed_m_s).0;
    let plant_of = |a| model.plant_without_memory(a, speed_m_s, &course);
    let trim = trim::level(&plant_of(radiation.a_zero))?;
    let [vertical, lateral] = omega_rad_s.map(|w| radiation.at(w));
    let mixed = |v: &Matrix6<f64>, l: &Matrix6<f64>| {
        Matrix6::from_fn(|i, j| {
            if LATERAL[i] && LATERAL[j] {
                l[(i, j)]
            } else {
                v[(i, j)]
            }
        })
    };
    let plant = plant_of(mixed(&vertical.0, &lateral.0));
    let linear = assemble(&plant, &trim.x, None);
    let driven = driven(&plant, &linear, channels)?;
    let damping = mixed(&vertical.1, &lateral.1);
    let (a, b, states) = reduced(&plant, &linear, &damping, omega_rad_s, &driven, &course)?;
    let inverse = plant.mass_inverse();
    let mass = |j: usize| 1.0 / inverse[(j, j)];
    let radius = |j: usize| (mass(j) / mass(2)).sqrt();
    Ok(CraftAtSpeed {
        speed_m_s,
        a,
        b,
        states,
        channels: driven.iter().map(|&i| channel(&plant, i)).collect(),
        mobility: SMatrix::from_fn(|i, j| inverse[(MODES[i], j)]),
        radius_m: [1.0, radius(3), radius(4), 1.0, radius(5)],
        command_delay_s: driven
            .iter()
            .map(|&i| plant.actuators[i].delay_s)
            .fold(0.0, f64::max),
        trim,
        omega_rad_s,
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
        plant.surfaces[i].group != SurfaceGroup::Rudder && MODES[..3].iter().any(force)
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

fn inverse_mass(plant: &Plant) -> Matrix5<f64> {
    Matrix5::from_fn(|i, j| plant.mass_inverse()[(MODES[i], MODES[j])])
}

/// Roots of the delay approximant lie about this far out, in units of 1/delay: its states scaled
/// by powers of it are of one size.
const LINE_SCALE: f64 = 5.0;

/// The states that stay: index in the linear model, name, scale.
fn kept(plant: &Plant, layout: &StateLayout) -> Vec<(usize, String, f64)> {
    let nu = StateLayout::NU.start;
    let names = STANDARD_STATES.into_iter().chain(LATERAL_STATES);
    let mut kept: Vec<_> = [2, 3, 4]
        .into_iter()
        .chain(MODES.map(|j| nu + j))
        .zip(names)
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
    omega_rad_s: [f64; 2],
    driven: &[usize],
    course: &CourseSpec,
) -> Result<(DMatrix<f64>, DMatrix<f64>, Vec<String>)> {
    let kept = kept(plant, &linear.layout);
    let index: Vec<usize> = kept.iter().map(|k| k.0).collect();
    let mut whole = settled(linear, &index, plant)?;
    damp_yaw(&mut whole, plant, linear, course);
    let n = index.len();
    let mut a = DMatrix::from_fn(n, n, |i, j| whole[(index[i], index[j])]);
    let b = DMatrix::from_fn(n, driven.len(), |i, j| {
        whole[(index[i], linear.layout.angle(driven[j]))]
    });
    make_waves(&mut a, plant, damping, omega_rad_s);
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

/// The course keeper's rudder against the yaw rate; its servo and the heading are left out.
fn damp_yaw(whole: &mut DMatrix<f64>, plant: &Plant, linear: &LinearModel, course: &CourseSpec) {
    let CourseSpec::Kept {
        heading_deg_s_per_deg,
        ..
    } = course
    else {
        return;
    };
    let yaw = StateLayout::NU.start + 5;
    for (i, s) in plant.surfaces.iter().enumerate() {
        if s.group == SurfaceGroup::Rudder {
            let by_angle = whole.column(linear.layout.angle(i)) * *heading_deg_s_per_deg;
            let mut column = whole.column_mut(yaw);
            column += by_angle;
        }
    }
}

/// Adds the damping of the waves made to the rows of the velocities: F = -B nu, the pitch moment U P_3
/// and the yaw moment -U P_2. With positions for velocities over i w0 where they are states,
/// `P_3 = B33 (z + U theta/(i w0)) + B35 theta`, `P_2 = B24 phi + (B22 v + B26 r)/(i w0)`, and a
/// velocity over i w0 is minus its derivative over w0^2; the derivative of q is left to its own rate.
fn make_waves(
    a: &mut DMatrix<f64>,
    plant: &Plant,
    damping: &Matrix6<f64>,
    [vertical, lateral]: [f64; 2],
) {
    let u = plant.speed_m_s;
    let waves = Matrix5::from_fn(|i, j| damping[(MODES[i], MODES[j])]);
    let inverse = inverse_mass(plant);
    let mut by_velocity = -waves;
    let mut by_position = SMatrix::<f64, 5, 3>::zeros();
    if vertical > 0.0 {
        by_velocity[(2, 2)] -= u * u * waves[(0, 0)] / (vertical * vertical);
        by_position[(2, 0)] = waves[(0, 0)] * u;
        by_position[(2, 2)] = waves[(0, 2)] * u;
    }
    by_position[(4, 1)] = -waves[(3, 1)] * u;
    let mut more = DMatrix::zeros(5, a.ncols());
    more.columns_mut(0, 3).copy_from(&(inverse * by_position));
    more.columns_mut(VELOCITY, 5)
        .copy_from(&(inverse * by_velocity));
    if lateral > 0.0 {
        let late = a.row(6) * waves[(3, 3)] + a.row(7) * waves[(3, 4)];
        let moment = late * (u / (lateral * lateral));
        more += inverse.column(4) * moment;
    }
    let mut rows = a.rows_mut(VELOCITY, 5);
    rows += more;
}

/// What the observer should allow for beside the craft's own motion where no sea is given.
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
    /// Accelerations of heave, roll, pitch, sway, yaw by a force in the six modes, angles times their
    /// radii, m/s2.
    pub fn acceleration(&self, force: &Vector6<Complex64>) -> [Complex64; 5] {
        let a: SVector<Complex64, 5> = self.mobility.map(Complex64::from) * force;
        std::array::from_fn(|i| a[i] * self.radius_m[i])
    }

    /// The design model with the craft's own sensors and servos, in waves as `around` or those of a sea.
    pub fn design_model(
        &self,
        model: &CraftModel,
        around: &Surroundings,
        sea: Option<&LqrSea>,
    ) -> DesignModel {
        let sensors = &model.craft.spec.sensors;
        let unit = |p: &[f64; 3]| -> Vector3<f64> { model.craft.from_o(p[0], p[1], p[2]) };
        let mut spread = DMatrix::zeros(self.states.len(), SEA_DISTURBANCES);
        for (i, radius) in self.radius_m.iter().enumerate() {
            spread[(VELOCITY + i, i)] = 1.0 / radius;
        }
        let (waves, wave_level_m_s2, doubt) = if let Some(sea) = sea {
            let sources = sea::of_sea(self, model, sea);
            let doubt = spread.columns(0, 5) * (DOUBT * sources[0].sigma);
            (WaveModel::new(&sources), Some(1.0), doubt)
        } else {
            let waves = WaveModel::broad(
                3,
                around.wave_rad_s,
                around.wave_damping,
                around.wave_slow_frac,
            );
            // no bands for sway and yaw: all of their waves are white
            let mut doubt = spread.columns(0, 5).into_owned();
            doubt.columns_mut(0, 3).scale_mut(DOUBT);
            (waves, None, doubt)
        };
        let e = spread.columns(0, waves.c.nrows()).into_owned();
        let [c, d, mut f] = standard_outputs(&self.a, &self.b, &e, &unit(&sensors.motion_unit_m));
        if sea.is_some() {
            f[(5, SEA_DISTURBANCES - 1)] = 1.0; // the height is heave plus elevation
        }
        let points = model.craft.spec.points.iter().map(|p| {
            let r = unit(&[p.x_m, p.y_m, p.height_m]);
            ride_point(&p.name, &r, self.speed_m_s, [&self.a, &self.b, &e])
        });
        DesignModel {
            speed_m_s: self.speed_m_s,
            points: points.collect(),
            a: self.a.clone(),
            b: self.b.clone(),
            e,
            doubt,
            c,
            d,
            f,
            states: self.states.clone(),
            channels: self.channels.clone(),
            outputs: STANDARD_OUTPUTS.to_vec(),
            output_noise: output_noise(
                model,
                if sea.is_some() {
                    0.0
                } else {
                    around.elevation_m
                },
            ),
            waves,
            wave_level_m_s2,
            sample_period_s: sensors.sample_period_s,
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
/// `elevation_m` is the elevation that no wave model explains.
fn output_noise(model: &CraftModel, elevation_m: f64) -> Vec<f64> {
    let s = &model.craft.spec.sensors;
    let own = |e: &SensorErrorSpec, unit: f64| {
        unit * (e.noise * e.noise + e.step * e.step / 12.0 + e.bias * e.bias).sqrt()
    };
    let rate = own(&s.rate_deg_s, deg(1.0)).max(0.001);
    let angle = own(&s.attitude_deg, deg(1.0)).max(0.002);
    let acceleration = own(&s.acceleration_m_s2, 1.0).max(0.06);
    // the elevation lasts: one sample of it counts for less
    let sensors = height_sensors_m(&model.craft.spec).len().max(1) as f64;
    let white = elevation_m * (2.0 * ELEVATION_TIME_S / s.sample_period_s).sqrt();
    let height = white
        .hypot(own(&s.height_m, 1.0) / sensors.sqrt())
        .max(0.03);
    vec![rate, rate, angle, angle, acceleration, height]
}
