//! What a law is told of the craft before a run.

use crate::control::signal::{SensorSetup, ServoSetup, Setup, SurfaceSetup, Wake};
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::dynamics::sensor::height_sensors_m;
use crate::linear::trim::Trim;
use crate::units::deg;

/// Speed below which influences are stated for this speed instead, m/s: laws divide by it.
const LEAST_INFLUENCE_SPEED_M_S: f64 = 1.0;

/// Setup for `plant` at `trim`. Influences are those of each surface alone; what its wake takes from others
/// stands in [`Setup::wakes`], because it comes later and no steady number holds in waves.
pub fn setup(model: &CraftModel, plant: &Plant, trim: &Trim) -> Setup {
    let spec = &model.craft.spec;
    let u = plant.speed_m_s.max(LEAST_INFLUENCE_SPEED_M_S);
    let total = plant.mass + plant.memory.a_inf;
    let surfaces = plant
        .surfaces
        .iter()
        .zip(&plant.actuators)
        .zip(&trim.surface_rad)
        .map(|((s, servo), trim_rad)| {
            let effectiveness = 0.5 * plant.rho_kg_m3 * s.area_m2 * s.slope_deflection;
            SurfaceSetup {
                name: s.name.clone(),
                group: s.group,
                r_m: s.r_m,
                n: s.n,
                effectiveness,
                influence: SurfaceSetup::influence_at(&s.r_m, &s.n, effectiveness * u * u),
                trim_rad: *trim_rad,
                min_rad: s.min_rad,
                max_rad: s.max_rad,
                rate_rad_s: servo.max_rate_rad_s,
                servo: ServoSetup {
                    natural_frequency_rad_s: servo.natural_frequency_rad_s,
                    damping_ratio: servo.damping_ratio,
                    dead_band_rad: servo.dead_band_rad,
                    backlash_rad: servo.backlash_rad,
                    delay_s: servo.delay_s,
                    supply: servo.supply,
                },
            }
        })
        .collect();
    let wakes = plant.links.iter().map(|link| {
        let (from, to) = (&plant.surfaces[link.from], &plant.surfaces[link.to]);
        Wake {
            from: link.from,
            to: link.to,
            force_ratio: link.angle_per_lift_coefficient * to.area_m2 * to.slope_incidence
                / from.area_m2,
            distance_m: link.distance_m,
        }
    });
    let wakes = wakes.collect();
    let from_o = |p: &[f64; 3]| model.craft.from_o(p[0], p[1], p[2]);
    Setup {
        surfaces,
        wakes,
        sample_period_s: spec.sensors.sample_period_s,
        motion_unit_m: from_o(&spec.sensors.motion_unit_m),
        height_sensors_m: height_sensors_m(spec),
        nominal_speed_m_s: plant.speed_m_s,
        influence_speed_m_s: u,
        trim_heave_m: trim.z_m,
        trim_pitch_rad: trim.theta_rad,
        displacement_kg: model.craft.mass.mass_kg,
        heave_mass_kg: total[(2, 2)],
        roll_inertia_kg_m2: total[(3, 3)],
        pitch_inertia_kg_m2: total[(4, 4)],
        supplies_rad_s: spec
            .supplies
            .iter()
            .map(|s| deg(s.total_rate_deg_s))
            .collect(),
        sensors: SensorSetup::from(&spec.sensors),
    }
}
