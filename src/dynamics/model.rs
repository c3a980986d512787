//! The craft ready to move: everything that does not depend on speed, and plants at a speed.

use std::f64::consts::TAU;
use std::path::Path;

use nalgebra::{Matrix6, Vector3, Vector6};

use super::actuator::Actuator;
use super::plant::{MOST_SURFACES, MeanHold, Plant, RestoringModel, Shaft};
use super::state::StateLayout;
use super::steady::SteadyForces;
use crate::error::{Error, Problem, Result};
use crate::frames::wrench_at;
use crate::geometry::craft::Craft;
use crate::geometry::restoring::Restoring;
use crate::hydro::cache;
use crate::hydro::craft_hydro::CraftHydro;
use crate::hydro::downwash::{self, DownwashLink};
use crate::hydro::memory::MemoryModel;
use crate::hydro::resistance;
use crate::hydro::surface::{Surface, build_surfaces};
use crate::hydro::viscous::ViscousModel;
use crate::hydro::wave_force::WaveForceTable;
use crate::spec::craft::{CraftSpec, ViscousSpec};
use crate::spec::scenario::{CourseSpec, PhysicsSpec};
use crate::units::kn;

/// Where the sway spring holds the craft, as a multiple of the distance of the neutral point ahead of
/// O: a craft pulled aside behind its neutral point yaws away from the pull and runs off.
const HOLD_LEAD: f64 = 1.5;
/// Damping ratio of the springs that hold mean course and speed.
const HOLD_DAMPING: f64 = 0.5;
/// Froude numbers on the lower hulls' length of the computed resistance curve: close enough for the
/// humps and hollows of the struts' waves.
fn resistance_froude() -> impl Iterator<Item = f64> {
    (1..=40).map(|i| 0.02 * f64::from(i))
}

/// A craft with its water forces, for any speed.
#[derive(Clone, Debug)]
pub struct CraftModel {
    /// Shape and weight.
    pub craft: Craft,
    /// Switches.
    pub physics: PhysicsSpec,
    /// Radiation and wave forces.
    pub hydro: CraftHydro,
    /// Lifting surfaces, empty when switched off.
    pub surfaces: Vec<Surface>,
    /// Downwash between them.
    pub links: Vec<DownwashLink>,
    /// Viscous forces.
    pub viscous: ViscousModel,
    /// Exact restoring.
    pub restoring: Restoring,
    /// Resistance, sinkage, trim moment.
    pub steady: SteadyForces,
    /// What a user should know before believing the numbers.
    pub warnings: Vec<String>,
}

impl CraftModel {
    /// Builds everything; water-force tables come from `cache` when they are there.
    ///
    /// # Errors
    /// Whatever is wrong with the craft, with key paths.
    pub fn build(spec: &CraftSpec, physics: &PhysicsSpec, cache: Option<&Path>) -> Result<Self> {
        let craft = Craft::build(spec)?;
        if spec.surfaces.len() > MOST_SURFACES {
            let message = format!(
                "has {} surfaces, at most {MOST_SURFACES} work",
                spec.surfaces.len()
            );
            return Err(Problem::at("surfaces", message).into());
        }
        let (hydro, mut warnings) = match cache {
            Some(dir) => cache::load_or_compute(&craft, physics, dir)?,
            None => (CraftHydro::compute(&craft, physics)?, Vec::new()),
        };
        let surfaces = if physics.surfaces {
            build_surfaces(spec, &|x| hull_radius_m(&craft, x), &physics.fins)?
        } else {
            Vec::new()
        };
        let links = downwash::links(&surfaces, &physics.fins);
        let mut restoring = Restoring::build(&craft);
        restoring.set_weight(&craft.mass, craft.g_m_s2);
        let viscous = ViscousModel::build(&craft, &viscous_spec(spec, physics));
        let steady = steady_forces(&craft, &mut warnings);
        Ok(CraftModel {
            craft,
            physics: physics.clone(),
            hydro,
            surfaces,
            links,
            viscous,
            restoring,
            steady,
            warnings,
        })
    }

    /// The plant at a speed (m/s).
    ///
    /// # Errors
    /// When the memory cannot be fitted at that speed.
    pub fn plant(&self, speed_m_s: f64, course: &CourseSpec) -> Result<Plant> {
        if !(speed_m_s.is_finite() && (0.0..=40.0).contains(&speed_m_s)) {
            return Err(Error::new(format!(
                "speed is {speed_m_s} m/s, must lie between 0 and 40 m/s"
            )));
        }
        let hydro = self.hydro.at_speed(speed_m_s)?;
        let waves = self.physics.wave_forces.then_some(hydro.wave_force);
        Ok(self.plant_with(hydro.memory, waves, speed_m_s, course))
    }

    /// The plant with added mass held constant and no waves: for equilibria, with `added_mass` at
    /// zero frequency, and for design models, with that of the motion to be damped.
    pub fn plant_without_memory(
        &self,
        added_mass: Matrix6<f64>,
        speed_m_s: f64,
        course: &CourseSpec,
    ) -> Plant {
        self.plant_with(MemoryModel::none(added_mass), None, speed_m_s, course)
    }

    /// Servos of the surfaces that are there.
    fn actuators(&self) -> Vec<Actuator> {
        if self.surfaces.is_empty() {
            Vec::new()
        } else {
            Actuator::all(&self.craft.spec)
        }
    }

    fn plant_with(
        &self,
        memory: MemoryModel,
        wave_force: Option<WaveForceTable>,
        speed_m_s: f64,
        course: &CourseSpec,
    ) -> Plant {
        let craft = &self.craft;
        let mass = craft.mass.matrix_about_o();
        let mut viscous = self.viscous.clone();
        viscous.set_shedding(self.hydro.shedding.clone());
        let viscous_linear = viscous.linear_matrix(speed_m_s);
        let (delays, delay_of) = delay_lines(&self.links);
        let total = mass + memory.a_inf;
        let mut plant = Plant {
            speed_m_s,
            rho_kg_m3: craft.rho_kg_m3,
            g_m_s2: craft.g_m_s2,
            mass,
            restoring: if self.physics.nonlinear_restoring {
                RestoringModel::Nonlinear(self.restoring.clone())
            } else {
                RestoringModel::Linear(craft.hydrostatics.c)
            },
            viscous,
            viscous_linear,
            quadratic_drag: self.physics.cross_flow_drag,
            actuators: self.actuators(),
            surfaces: self.surfaces.clone(),
            unsteady_lag: self.physics.fins.unsteady_lag,
            orbital_at_surfaces: self.physics.fins.orbital_velocity && self.physics.wave_forces,
            links: self.links.clone(),
            delay_of,
            delays,
            shafts: shafts(craft),
            steady: self.steady.clone(),
            hold: None,
            surge_free: self.physics.surge_coupling,
            wave_force,
            memory,
            momentum_mass: Matrix6::zeros(),
            mass_inverse: Matrix6::zeros(),
            layout: StateLayout::new(0, 0, 0, 0),
            channels: Vec::new(),
        };
        plant.hold = hold(course, &total, &plant);
        plant.finish()
    }
}

/// The craft's viscous coefficients under the switches.
fn viscous_spec(spec: &CraftSpec, physics: &PhysicsSpec) -> ViscousSpec {
    let mut v = spec.viscous.clone();
    if !physics.body_lift {
        v.body_lift = 0.0;
    }
    v
}

/// Radius that a surface's root sees: zero where there is no hull.
fn hull_radius_m(craft: &Craft, x_m: f64) -> f64 {
    craft.hull.section_at(x_m).map_or(0.0, |s| s.half_breadth_m)
}

/// Delay lines that links share: one per feeding surface and distance (to a centimetre).
fn delay_lines(links: &[DownwashLink]) -> (Vec<(usize, f64)>, Vec<usize>) {
    let mut lines: Vec<(usize, f64)> = Vec::new();
    let mut of = Vec::new();
    for link in links {
        let found = lines
            .iter()
            .position(|(from, d)| *from == link.from && (d - link.distance_m).abs() < 0.01);
        of.push(found.unwrap_or_else(|| {
            lines.push((link.from, link.distance_m));
            lines.len() - 1
        }));
    }
    (lines, of)
}

fn shafts(craft: &Craft) -> Vec<Shaft> {
    let dwl = craft.spec.design_waterline_m;
    craft
        .spec
        .propulsors
        .iter()
        .map(|p| Shaft {
            name: p.name.clone(),
            r_m: Vector3::new(p.x_m, p.y_m, dwl - p.height_m),
            max_thrust_n: p.max_thrust_n,
            time_constant_s: p.time_constant_s.max(0.1),
        })
        .collect()
}

/// Springs and dampers on surge, sway and yaw with the natural period asked for. The sway spring
/// takes hold ahead of the neutral point, as a towed model is led; what the hull damps in sway by
/// itself its damper leaves to it.
fn hold(course: &CourseSpec, total: &Matrix6<f64>, plant: &Plant) -> Option<MeanHold> {
    let CourseSpec::MeanHeld { spring_period_s } = course else {
        return None;
    };
    let w = TAU / spring_period_s;
    let lift = side_force_matrix(plant);
    let lead_m = HOLD_LEAD * neutral_point_m(plant, &lift);
    let at = Vector6::new(0.0, 1.0, 0.0, 0.0, 0.0, lead_m);
    let led = at * at.transpose();
    let damping = 2.0 * HOLD_DAMPING * w;
    let mut spring = led * (total[(1, 1)] * w * w);
    let mut damper = led * (total[(1, 1)] * damping - lift[(1, 1)]).max(0.0);
    for i in [0, 5] {
        spring[(i, i)] += total[(i, i)] * w * w;
        damper[(i, i)] += total[(i, i)] * damping;
    }
    Some(MeanHold { spring, damper })
}

/// Linear lift of hulls and surfaces in drift, F = -L nu.
fn side_force_matrix(plant: &Plant) -> Matrix6<f64> {
    plant.surfaces.iter().fold(plant.viscous_linear, |l, s| {
        let h = wrench_at(&s.r_m, &s.n);
        let per_speed = 0.5 * plant.rho_kg_m3 * s.area_m2 * s.slope_incidence;
        l + h * h.transpose() * (per_speed * plant.speed_m_s)
    })
}

/// Distance of the neutral point ahead of O, m, not negative: where a steady side force makes the
/// craft drift without yawing.
fn neutral_point_m(plant: &Plant, lift: &Matrix6<f64>) -> f64 {
    let a = plant.memory.zero_frequency_added_mass();
    let munk = plant.speed_m_s * (a[(1, 1)] - a[(0, 0)]);
    if lift[(1, 1)] > 0.0 {
        ((munk + lift[(5, 1)]) / lift[(1, 1)]).max(0.0)
    } else {
        0.0
    }
}

fn steady_forces(craft: &Craft, warnings: &mut Vec<String>) -> SteadyForces {
    let spec = &craft.spec;
    let rows = |f: &dyn Fn(&crate::spec::craft::SteadyRow) -> f64| -> Vec<(f64, f64)> {
        spec.steady.iter().map(|r| (kn(r.speed_kn), f(r))).collect()
    };
    if spec.steady.is_empty() {
        warnings.push(
            "no sinkage force and trim moment in the craft file: steady trim at speed is that of \
             fins and hull alone; tank tests give the `steady` table"
                .to_owned(),
        );
    }
    let resistance: Vec<(f64, f64)> = if spec.resistance.is_empty() {
        let unit = (craft.g_m_s2 * craft.hull.length_m()).sqrt();
        let speeds: Vec<f64> = resistance_froude().map(|f| f * unit).collect();
        resistance::resistance_curve(craft, &speeds)
            .iter()
            .map(|p| (p.speed_m_s, p.total_n()))
            .collect()
    } else {
        spec.resistance
            .iter()
            .map(|r| (kn(r.speed_kn), r.resistance_n))
            .collect()
    };
    let depth = craft.hull.section_at(0.0).map_or(0.0, |s| s.axis_z_m);
    SteadyForces::new(
        &resistance,
        &rows(&|r| r.sinkage_force_n),
        &rows(&|r| r.trim_moment_nm),
        depth,
    )
}
