//! From a run's record to a ride report.

use crate::dynamics::plant::Plant;
use crate::metrics::effort::SurfaceSeries;
use crate::metrics::ride::{
    ClearanceSeries, MotionSeries, MotionUnit, PointSeries, RideInput, RideReport, judge,
};
use crate::sim::record::Record;
use crate::sim::run::Run;

/// Exposure of doses and sickness, s: two hours, the usual one.
pub const EXPOSURE_S: f64 = 7200.0;
/// Level of all intervals.
pub const LEVEL: f64 = 0.95;
/// Depth of the underside below the water beyond which linear wave theory no longer carries, m.
const DEEPEST_CONTACT_M: f64 = 0.5;

/// Judges the part of a run after the run-in.
pub fn report(run: &Run, plant: &Plant, points: &[String]) -> RideReport {
    let r = &run.record;
    let at = |name: &str| r.judged_of(name).unwrap_or(&[]);
    let gravity = Gravity::new(r, plant.g_m_s2);
    let accelerations: Vec<[Vec<f64>; 3]> = points.iter().map(|p| gravity.left_out(r, p)).collect();
    let (roll, pitch) = (at("roll"), at("pitch"));
    let completed = run.outcome.is_completed();
    let angle: Vec<Names> = plant.surfaces.iter().map(|s| Names::new(&s.name)).collect();
    let torque: Vec<Vec<f64>> = plant
        .surfaces
        .iter()
        .enumerate()
        .map(|(i, _)| hinge_torque(r, plant, i))
        .collect();
    judge(&RideInput {
        dt_s: r.interval_s,
        roll_rad: roll,
        pitch_rad: pitch,
        motions: motions(r),
        points: points
            .iter()
            .zip(&accelerations)
            .map(|(name, [x, y, z])| PointSeries {
                name,
                acceleration_m_s2: [x, y, z],
            })
            .collect(),
        clearances: clearances(r, &angle),
        surfaces: plant
            .surfaces
            .iter()
            .zip(&plant.actuators)
            .zip(angle.iter().zip(&torque))
            .map(|((s, servo), (n, torque))| SurfaceSeries {
                name: &s.name,
                angle_rad: at(&n.angle),
                rate_rad_s: Some(at(&n.rate)),
                angle_limit_rad: servo.angle_range_rad(plant.speed_m_s).1,
                rate_limit_rad_s: servo.max_rate_rad_s,
                hinge_torque_nm: Some(torque),
            })
            .collect(),
        exposure_s: EXPOSURE_S,
        completed,
        in_validity: completed && stayed_valid(r),
        level: LEVEL,
    })
}

/// Column names of one surface.
struct Names {
    surface: String,
    angle: String,
    rate: String,
    depth: String,
}

impl Names {
    fn new(surface: &str) -> Self {
        Names {
            surface: surface.to_owned(),
            angle: format!("{surface}.angle"),
            rate: format!("{surface}.rate"),
            depth: format!("{surface}.depth"),
        }
    }
}

fn motions(r: &Record) -> Vec<MotionSeries<'_>> {
    use MotionUnit::{Metre, Radian};
    [
        ("heave", "heave_up", Metre),
        ("pitch", "pitch", Radian),
        ("roll", "roll", Radian),
        ("sway", "sway", Metre),
        ("yaw", "yaw", Radian),
        ("surge", "surge", Metre),
    ]
    .into_iter()
    .map(|(name, column, unit)| MotionSeries {
        name,
        unit,
        values: r.judged_of(column).unwrap_or(&[]),
    })
    .collect()
}

fn clearances<'a>(r: &'a Record, surfaces: &'a [Names]) -> Vec<ClearanceSeries<'a>> {
    let mut out = Vec::new();
    if let Some(clearance_m) = r.judged_of("underside.clear") {
        out.push(ClearanceSeries {
            name: "cross-structure",
            clearance_m,
        });
    }
    for n in surfaces {
        if let Some(clearance_m) = r.judged_of(&n.depth) {
            out.push(ClearanceSeries {
                name: &n.surface,
                clearance_m,
            });
        }
    }
    out
}

/// Acceleration of a point in body axes (x forward, y starboard, z down) without gravity.
pub(super) fn body_acceleration(r: &Record, point: &str, g_m_s2: f64) -> [Vec<f64>; 3] {
    Gravity::new(r, g_m_s2).left_out(r, point)
}

/// Gravity along the tilted axes of a record, worked out once for all points.
struct Gravity {
    g_m_s2: f64,
    /// g sin theta, g cos theta sin phi, g cos theta cos phi.
    along_m_s2: Vec<[f64; 3]>,
}

impl Gravity {
    fn new(r: &Record, g_m_s2: f64) -> Self {
        let at = |name: &str| r.judged_of(name).unwrap_or(&[]);
        let tilts = at("roll").iter().zip(at("pitch"));
        let along_m_s2 = tilts.map(|(phi, theta)| {
            let (sf, cf) = phi.sin_cos();
            let (st, ct) = theta.sin_cos();
            [g_m_s2 * st, g_m_s2 * ct * sf, g_m_s2 * ct * cf]
        });
        Gravity {
            g_m_s2,
            along_m_s2: along_m_s2.collect(),
        }
    }

    /// What an accelerometer at the point feels plus gravity along the tilted axes.
    fn left_out(&self, r: &Record, point: &str) -> [Vec<f64>; 3] {
        let at = |q: &str| r.judged_of(&format!("{point}.{q}")).unwrap_or(&[]);
        let (fwd, stbd, up) = (at("felt_fwd"), at("felt_stbd"), at("felt_up"));
        let with = |felt: &[f64], f: &dyn Fn(f64, &[f64; 3]) -> f64| -> Vec<f64> {
            felt.iter()
                .zip(&self.along_m_s2)
                .map(|(a, g)| f(*a, g))
                .collect()
        };
        [
            with(fwd, &|a, g| a - g[0]),
            with(stbd, &|a, g| a + g[1]),
            with(up, &|a, g| -a - self.g_m_s2 + g[2]),
        ]
    }
}

/// Torque of the water about the stock, from angle and lift (incidence from the lift's slope).
fn hinge_torque(r: &Record, plant: &Plant, i: usize) -> Vec<f64> {
    let s = &plant.surfaces[i];
    let at = |q: &str| r.judged_of(&format!("{}.{q}", s.name)).unwrap_or(&[]);
    let (angle, lift, u) = (at("angle"), at("lift"), r.judged_of("u").unwrap_or(&[]));
    angle
        .iter()
        .zip(lift)
        .zip(u)
        .map(|((angle, lift), u)| {
            let q = 0.5 * plant.rho_kg_m3 * u * u;
            if q < 1.0 || s.slope_incidence <= 0.0 {
                return 0.0;
            }
            let cl = lift / (q * s.area_m2);
            let alpha = (cl - s.slope_deflection * angle) / s.slope_incidence;
            s.hinge_moment_nm(q, alpha, *angle)
        })
        .collect()
}

fn stayed_valid(r: &Record) -> bool {
    r.judged_contacts().all(|c| c.depth_m <= DEEPEST_CONTACT_M)
}
