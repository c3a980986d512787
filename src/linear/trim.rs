//! Equilibrium at speed: the fin angles that keep the craft level, or the attitude it takes.
//!
//! # Equation
//! ```text
//! nu' = 0 with waves, rates and lateral motions zero; unknown: thrust and two of
//! (forward angle, aft angle) or (z, theta)
//! ```
//!
//! # Symbols
//! z depth of O below its design position (m), theta pitch (rad), angles of the forward and the
//! aft pair (rad).
//!
//! # Valid when
//! The craft is symmetric about its centre plane. The equilibrium need not be stable.
//!
//! # Source
//! Common practice, no source: level trim by both pairs as far as a stated share of their range
//! allows, attitude for the rest.
//!
//! # Checked by
//! `tests/physics_limits.rs` (a trimmed craft stays where it is).

use nalgebra::{Matrix3, Vector3, Vector6};

use crate::dynamics::plant::{Plant, PlantInput};
use crate::dynamics::state::{DELAY_ORDER, StateLayout};
use crate::dynamics::surface_force as lift;
use crate::error::{Error, Result};
use crate::frames::{Wrench, body_to_earth};
use crate::hydro::unsteady;
use crate::spec::craft::SurfaceGroup;

/// Share of a surface's range that level trim may use before attitude gives way.
pub const TRIM_SHARE: f64 = 0.5;
/// Below this speed the surfaces stay at neutral in trim, m/s (2 kn).
pub const LEAST_TRIM_SPEED_M_S: f64 = 1.03;

const NEWTON_STEPS: usize = 60;
/// Acceleration left over, m/s2 and rad/s2: far below anything a 600 s run could show.
const RESIDUAL: f64 = 1e-13;

/// An equilibrium.
#[derive(Clone, Debug)]
pub struct Trim {
    /// Whole state, lags and memory settled.
    pub x: Vec<f64>,
    /// Depth of O below its design position, m.
    pub z_m: f64,
    /// Pitch, rad.
    pub theta_rad: f64,
    /// Angle of every surface, rad.
    pub surface_rad: Vec<f64>,
    /// Thrust of every propulsor, N.
    pub thrust_n: Vec<f64>,
    /// Angles of the forward and aft pairs, rad.
    pub forward_rad: f64,
    /// Angle of the aft pair, rad.
    pub aft_rad: f64,
    /// True where a pair is at its share of range and attitude gave way.
    pub limited: bool,
    /// Range left beyond the trim angle, for each surface: towards minimum and maximum, rad.
    pub range_left_rad: Vec<(f64, f64)>,
}

/// Where a trim is sought.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Unknowns {
    z_m: f64,
    theta_rad: f64,
    forward_rad: f64,
    aft_rad: f64,
    thrust_n: f64,
}

/// Level trim by the forward and aft pairs, within [`TRIM_SHARE`] of their ranges.
///
/// # Errors
/// When no equilibrium is found.
pub fn level(plant: &Plant) -> Result<Trim> {
    let has = |g| plant.surfaces.iter().any(|s| s.group == g);
    let both = has(SurfaceGroup::Forward) && has(SurfaceGroup::Aft);
    if !both || plant.speed_m_s < LEAST_TRIM_SPEED_M_S {
        return with_angles(plant, 0.0, 0.0);
    }
    let start = Unknowns {
        z_m: 0.0,
        theta_rad: 0.0,
        forward_rad: 0.0,
        aft_rad: 0.0,
        thrust_n: 0.0,
    };
    let solved = newton(plant, start, |u, d| {
        u.thrust_n += d[0];
        u.forward_rad += d[1];
        u.aft_rad += d[2];
    });
    let (fore, aft) = (
        share(plant, SurfaceGroup::Forward),
        share(plant, SurfaceGroup::Aft),
    );
    match solved {
        Some(u) if within(u.forward_rad, fore) && within(u.aft_rad, aft) => {
            Ok(finish(plant, u, false))
        }
        Some(u) => {
            let f = u.forward_rad.clamp(fore.0, fore.1);
            let a = u.aft_rad.clamp(aft.0, aft.1);
            let mut trim = with_angles(plant, f, a)?;
            trim.limited = true;
            Ok(trim)
        }
        None => with_angles(plant, 0.0, 0.0),
    }
}

/// Attitude with the pairs at given angles, rad.
///
/// # Errors
/// When no equilibrium is found within a sinkage of a few metres and a pitch of some degrees.
pub fn with_angles(plant: &Plant, forward_rad: f64, aft_rad: f64) -> Result<Trim> {
    let start = Unknowns {
        z_m: 0.0,
        theta_rad: 0.0,
        forward_rad,
        aft_rad,
        thrust_n: 0.0,
    };
    let solved = newton(plant, start, |u, d| {
        u.thrust_n += d[0];
        u.z_m += d[1].clamp(-0.2, 0.2);
        u.theta_rad += d[2].clamp(-0.02, 0.02);
    });
    match solved {
        Some(u) if u.z_m.abs() < 5.0 && u.theta_rad.abs() < 0.35 => Ok(finish(plant, u, false)),
        _ => Err(Error::with_hint(
            format!(
                "no equilibrium found at {:.1} kn",
                crate::units::to_kn(plant.speed_m_s)
            ),
            "the trim moment may exceed what hull and surfaces can balance: see `stability`",
        )),
    }
}

fn within(angle: f64, range: (f64, f64)) -> bool {
    angle >= range.0 && angle <= range.1
}

fn share(plant: &Plant, group: SurfaceGroup) -> (f64, f64) {
    plant.surfaces.iter().filter(|s| s.group == group).fold(
        (f64::NEG_INFINITY, f64::INFINITY),
        |(lo, hi), s| {
            (
                lo.max(TRIM_SHARE * s.min_rad),
                hi.min(TRIM_SHARE * s.max_rad),
            )
        },
    )
}

fn surface_angles(plant: &Plant, u: &Unknowns) -> Vec<f64> {
    plant
        .surfaces
        .iter()
        .map(|s| match s.group {
            SurfaceGroup::Forward => u.forward_rad,
            SurfaceGroup::Aft => u.aft_rad,
            SurfaceGroup::Rudder => 0.0,
        })
        .collect()
}

/// Surge, heave and pitch acceleration at the unknowns.
fn residual(plant: &Plant, u: &Unknowns) -> Vector3<f64> {
    let x = settled_state(plant, u);
    let angles = surface_angles(plant, u);
    let dx = derivative(plant, &x, &angles, u.thrust_n);
    Vector3::new(dx[6], dx[8], dx[10])
}

/// Heave force (N, down) and pitch moment (N m, bow up) that remain when the craft is led
/// straight ahead at sinkage `z_m` and pitch `theta_rad`, lags, memory and downwash settled.
pub fn static_force(
    plant: &Plant,
    z_m: f64,
    theta_rad: f64,
    forward_rad: f64,
    aft_rad: f64,
) -> Option<[f64; 2]> {
    let u = Unknowns {
        z_m,
        theta_rad,
        forward_rad,
        aft_rad,
        thrust_n: 0.0,
    };
    let x = settled_state(plant, &u);
    let dx = derivative(plant, &x, &surface_angles(plant, &u), 0.0);
    // accelerations times the mass matrix give the forces back; surge plays no part at rest in it
    let total = plant.mass_inverse().try_inverse()?;
    let f = total * Vector6::from_column_slice(&dx[StateLayout::NU]);
    Some([f[2], f[4]])
}

/// The derivative in calm water with everything commanded where it is.
pub fn derivative(plant: &Plant, x: &[f64], angles_rad: &[f64], thrust_n: f64) -> Vec<f64> {
    let waves = vec![0.0; plant.channels().len()];
    let limits: Vec<f64> = plant.actuators.iter().map(|a| a.max_rate_rad_s).collect();
    let thrust = vec![thrust_n; plant.shafts.len()];
    let mut dx = vec![0.0; x.len()];
    plant.derivative(
        x,
        &PlantInput {
            waves: &waves,
            command_rad: angles_rad,
            surface_hold_rad: angles_rad,
            rate_limit_rad_s: &limits,
            thrust_n: &thrust,
            wind: Wrench::zeros(),
        },
        &mut dx,
    );
    dx
}

fn newton(
    plant: &Plant,
    start: Unknowns,
    step: impl Fn(&mut Unknowns, [f64; 3]),
) -> Option<Unknowns> {
    let thrust_unit = plant.mass[(0, 0)] * 0.1; // N: 0.1 m/s2
    let scale = [thrust_unit, 1.0, 1.0];
    let small = 1e-6;
    let surge = plant.surge_free && !plant.shafts.is_empty();
    let mut u = start;
    for _ in 0..NEWTON_STEPS {
        let r = residual(plant, &u);
        if r.iter()
            .skip(usize::from(!surge))
            .all(|v| v.abs() < RESIDUAL)
        {
            return Some(u);
        }
        let mut jacobian = Matrix3::zeros();
        for j in 0..3 {
            let probe = |sign: f64| {
                let mut d = [0.0; 3];
                d[j] = sign * small * scale[j];
                let mut moved = u;
                step(&mut moved, d);
                residual(plant, &moved)
            };
            jacobian.set_column(j, &((probe(1.0) - probe(-1.0)) / (2.0 * small)));
        }
        let mut r = r;
        if !surge {
            jacobian.set_row(0, &nalgebra::RowVector3::new(1.0, 0.0, 0.0));
            r[0] = 0.0;
        }
        let d = jacobian.lu().solve(&r)?;
        if !d.iter().all(|v| v.is_finite()) {
            return None;
        }
        let before = r.norm();
        step(
            &mut u,
            [-d[0] * scale[0], -d[1] * scale[1], -d[2] * scale[2]],
        );
        let mut after = residual(plant, &u);
        if !surge {
            after[0] = 0.0;
        }
        if before < 1e-10 && after.norm() >= before {
            return Some(u); // rounding is all that is left
        }
    }
    (residual(plant, &u).norm() < 1e-9).then_some(u)
}

/// The whole state at rest relative to the mean course, lags and memory settled.
fn settled_state(plant: &Plant, u: &Unknowns) -> Vec<f64> {
    let l = plant.layout();
    let mut x = vec![0.0; l.len()];
    x[2] = u.z_m;
    x[4] = u.theta_rad;
    let (s, c) = u.theta_rad.sin_cos();
    x[6] = plant.speed_m_s * c;
    x[8] = plant.speed_m_s * s;
    let nu = Vector6::from_column_slice(&x[StateLayout::NU]);
    let mut disturbed = nu;
    disturbed[0] -= plant.speed_m_s;
    if !l.memory.is_empty() {
        let steady = plant.memory.steady_state(&disturbed);
        x[l.memory.clone()].copy_from_slice(&steady);
    }
    let angles = surface_angles(plant, u);
    for (i, angle) in angles.iter().enumerate() {
        x[l.angle(i)] = *angle;
    }
    for t in &mut x[l.thrust.clone()] {
        *t = u.thrust_n;
    }
    settle_surfaces(plant, &nu, &angles, &mut x);
    x
}

/// Lags and downwash in the steady state; two passes carry the downwash from forward to aft.
fn settle_surfaces(plant: &Plant, nu: &Vector6<f64>, angles: &[f64], x: &mut [f64]) {
    let l = plant.layout();
    let down = body_to_earth(x[3], x[4], 0.0).row(2).transpose();
    let mut shed = vec![0.0; plant.surfaces.len()];
    for _ in 0..2 {
        for (i, s) in plant.surfaces.iter().enumerate() {
            let depth = plant.surface_depth_m(i, x[2], &down, 0.0);
            let flow = lift::inflow(s, nu, angles[i], depth);
            if plant.unsteady_lag {
                let steady = unsteady::wagner_steady(flow.normal_m_s);
                x[l.lag(i)..l.lag(i) + 2].copy_from_slice(&steady);
            }
            let lost: f64 = plant
                .links
                .iter()
                .zip(&plant.delay_of)
                .filter(|(link, _)| link.to == i)
                .map(|(link, line)| {
                    let d = l.delay(*line);
                    link.angle_per_lift_coefficient * lift::delay_output(&x[d..d + DELAY_ORDER])
                })
                .sum();
            let (cl, _) = lift::coefficients(
                s,
                &flow,
                flow.normal_m_s - lost,
                angles[i],
                s.depth_factor(flow.depth_m),
            );
            shed[i] = cl * flow.axial_m_s;
        }
        for (j, (from, _)) in plant.delays.iter().enumerate() {
            x[l.delay(j)] = shed[*from];
        }
    }
}

fn finish(plant: &Plant, u: Unknowns, limited: bool) -> Trim {
    let surface_rad = surface_angles(plant, &u);
    let range_left_rad = plant
        .surfaces
        .iter()
        .zip(&surface_rad)
        .map(|(s, a)| (a - s.min_rad, s.max_rad - a))
        .collect();
    Trim {
        x: settled_state(plant, &u),
        z_m: u.z_m,
        theta_rad: u.theta_rad,
        surface_rad,
        thrust_n: vec![u.thrust_n; plant.shafts.len()],
        forward_rad: u.forward_rad,
        aft_rad: u.aft_rad,
        limited,
        range_left_rad,
    }
}
