//! From a craft at trim, a sea and a way to run to the [`Parts`] of a case.
//!
//! Limits of motion: O may rise until the tops of the lower hulls reach the calm surface and sink
//! until the cross-structure is [`UNDER_FRAC`] times its clearance down; there the first-order
//! wave force about the mean position has lost its meaning. The log measures the speed along the keel,
//! so the speed hold keeps the one that trim has.
//!
//! # Checked by
//! `tests/physics_limits.rs`, `tests/time_vs_frequency.rs`.

use std::sync::Arc;

use nalgebra::Vector3;

use super::case::{Integrator, NamedPoint, Parts, Sensing, Timing};
use super::checks::Limits;
use super::contact::UndersidePoint;
use super::setup::setup;
use super::wind::Wind;
use crate::dynamics::course::{HeadingGains, HeadingHold, Rudder, SpeedHold};
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::linear::trim::Trim;
use crate::sea::realisation::Realisation;
use crate::sea::wind::WindAreas;
use crate::spec::craft::SurfaceGroup;
use crate::spec::scenario::CourseSpec;
use crate::units::deg;

/// Sinkage that ends a run, as a multiple of the cross-structure's clearance. Common practice, no
/// source: beyond it the box carries the craft and the model has no slamming.
pub const UNDER_FRAC: f64 = 1.5;

/// What a case is made of.
#[derive(Clone)]
pub struct Recipe<'a> {
    /// Name, for tables and messages.
    pub name: String,
    /// The craft.
    pub model: &'a CraftModel,
    /// At its speed.
    pub plant: Arc<Plant>,
    /// At trim.
    pub trim: &'a Trim,
    /// The sea relative to the mean course.
    pub sea: &'a Realisation,
    /// Steps.
    pub timing: Timing,
    /// Integrator.
    pub integrator: Integrator,
    /// How heading and speed are kept.
    pub course: &'a CourseSpec,
    /// What the law sees.
    pub sensing: Sensing,
}

/// The parts of a case.
pub fn parts(r: &Recipe) -> Parts {
    let (craft, plant) = (&r.model.craft, &r.plant);
    let c = &craft.spec.cross_structure;
    let (heading, speed) = holds(r);
    let supplies = &craft.spec.supplies;
    Parts {
        name: r.name.clone(),
        craft: Arc::clone(plant) as Arc<dyn super::craft::Craft>,
        components: r.sea.components.clone(),
        wind: wind(r),
        setup: setup(r.model, plant, r.trim),
        timing: r.timing,
        integrator: r.integrator,
        start: r.trim.x.clone(),
        supply_rad_s: supplies.iter().map(|s| deg(s.total_rate_deg_s)).collect(),
        sensing: r.sensing.clone(),
        heading,
        speed,
        thrust_n: r.trim.thrust_n.clone(),
        points: craft
            .points
            .iter()
            .map(|(name, r_m)| NamedPoint {
                name: name.clone(),
                r_m: *r_m,
            })
            .collect(),
        underside: underside(r.model),
        own_wave_factor: c.relative_wave_factor,
        limits: limits(r.model),
        orders: Vec::new(),
        faults: Vec::new(),
    }
}

/// Range of motion in which the model holds.
pub fn limits(model: &CraftModel) -> Limits {
    let craft = &model.craft;
    let middle = 0.5 * (craft.hull.aft_x_m + craft.hull.fore_x_m);
    let top = craft
        .hull
        .section_at(middle)
        .map_or(0.0, |s| s.axis_z_m - s.half_height_m);
    Limits::new(top.max(0.1), UNDER_FRAC * (-craft.underside_z_m).max(0.1))
}

/// Nine points of the underside: fore, middle and aft, each to port, on the centre and to starboard.
pub fn underside(model: &CraftModel) -> Vec<UndersidePoint> {
    let c = &model.craft.spec.cross_structure;
    let mut points = Vec::with_capacity(9);
    for (place, x) in [
        ("fore", c.fore_x_m),
        ("middle", 0.5 * (c.fore_x_m + c.aft_x_m)),
        ("aft", c.aft_x_m),
    ] {
        for (side, y) in [("port", -1.0), ("centre", 0.0), ("starboard", 1.0)] {
            points.push(UndersidePoint {
                name: format!("{place} {side}"),
                r_m: Vector3::new(x, y * c.half_breadth_m, model.craft.underside_z_m),
            });
        }
    }
    points
}

fn holds(r: &Recipe) -> (Option<HeadingHold>, Option<SpeedHold>) {
    let CourseSpec::Kept {
        heading_deg_per_deg,
        heading_deg_s_per_deg,
        wave_filter_s,
        speed_hold_s,
    } = r.course
    else {
        return (None, None);
    };
    let (plant, period_s) = (&r.plant, r.timing.sample_s());
    let gains = HeadingGains {
        proportional: *heading_deg_per_deg,
        derivative_s: *heading_deg_s_per_deg,
        wave_filter_s: *wave_filter_s,
    };
    let surfaces = plant.surfaces.iter().zip(&r.trim.surface_rad).enumerate();
    let rudders = surfaces
        .filter(|(_, (s, _))| s.group == SurfaceGroup::Rudder && s.max_rad > s.min_rad)
        .map(|(surface, (s, trim_rad))| Rudder {
            surface,
            trim_rad: *trim_rad,
            min_rad: s.min_rad,
            max_rad: s.max_rad,
        })
        .collect();
    let heading = HeadingHold::new(0.0, &gains, period_s, rudders);
    let speed = (!plant.shafts.is_empty()).then(|| {
        SpeedHold::new(
            r.trim.x[crate::dynamics::state::StateLayout::NU.start],
            plant.mass[(0, 0)] + plant.memory.a_inf[(0, 0)],
            *speed_hold_s,
            period_s,
            r.trim.thrust_n.clone(),
            plant.shafts.iter().map(|s| s.max_thrust_n).collect(),
        )
    });
    (Some(heading), speed)
}

fn wind(r: &Recipe) -> Option<Wind> {
    let craft = &r.model.craft;
    let (realisation, w) = (r.sea.wind.clone()?, craft.spec.windage.as_ref()?);
    Some(Wind {
        realisation,
        areas: WindAreas {
            frontal_m2: w.frontal_area_m2,
            lateral_m2: w.lateral_area_m2,
            c_x: w.longitudinal_coefficient,
            c_y: w.lateral_coefficient,
            lateral_x_m: w.centre_x_m,
            height_m: -craft.z_of_height(w.centre_height_m),
        },
    })
}
