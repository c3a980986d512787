//! Does the weight balance the buoyancy, and if not, how would the craft float?
//!
//! # Equation
//! Sinkage, heel and trim solve `net(z, φ, θ) = 0` in heave, roll and pitch, with the nonlinear
//! restoring, by damped Newton steps with a difference Jacobian.
//!
//! # Valid when
//! Weights within the figures' rounding of balance (10 mm of sinkage, 0.1 deg of trim or heel) are
//! taken as balanced: mass and the centre's x and y become those of the buoyancy, so that the
//! equilibrium is exact.
//!
//! # Checked by
//! `wrong_mass_says_how_it_would_float`, `rounded_mass_is_taken_as_balanced`, `negative_gm_is_refused`

use nalgebra::{Matrix3, Vector3};

use super::hydrostatics::{Form, Hydrostatics};
use super::mass::MassProperties;
use super::restoring::Restoring;
use crate::error::Problem;
use crate::spec::craft::MassSpec;

/// Sinkage that counts as rounding, m.
pub const SINKAGE_TOL_M: f64 = 0.010;
/// Trim or heel that counts as rounding, deg.
pub const TILT_TOL_DEG: f64 = 0.1;

/// A state of rest in calm water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Floating {
    /// Depth of O below its place at the design waterline, m.
    pub sinkage_m: f64,
    /// Heel, starboard down, rad.
    pub heel_rad: f64,
    /// Trim, bow up, rad.
    pub trim_rad: f64,
}

/// Solves for the state of rest under the restoring's own weight; none when it sinks, capsizes or
/// the iteration fails.
pub fn float(restoring: &Restoring) -> Option<Floating> {
    let residual = |q: &Vector3<f64>| {
        let w = restoring.net(q.x, q.y, q.z);
        Vector3::new(w[2], w[3], w[4])
    };
    let steps = Vector3::new(1e-4, 1e-5, 1e-5);
    let limits = Vector3::new(0.3, 0.1, 0.05); // m, rad, rad a step
    let mut q = Vector3::zeros();
    for _ in 0..200 {
        let r = residual(&q);
        let mut jacobian = Matrix3::zeros();
        for j in 0..3 {
            let mut ahead = q;
            ahead[j] += steps[j];
            let mut behind = q;
            behind[j] -= steps[j];
            jacobian.set_column(
                j,
                &((residual(&ahead) - residual(&behind)) / (2.0 * steps[j])),
            );
        }
        let step = jacobian.lu().solve(&r)?;
        let scale = (0..3)
            .map(|i| step[i].abs() / limits[i])
            .fold(1.0_f64, f64::max);
        q -= step / scale;
        let far = q.x.abs() > 50.0 || q.y.abs() > 1.0 || q.z.abs() > 1.0;
        if !q.iter().all(|v| v.is_finite()) || far {
            return None;
        }
        if scale <= 1.0 && step.x.abs() < 1e-9 && step.y.abs() < 1e-10 && step.z.abs() < 1e-10 {
            let stable = (0..3).all(|i| jacobian[(i, i)] < 0.0);
            return stable.then_some(Floating {
                sinkage_m: q.x,
                heel_rad: q.y,
                trim_rad: q.z,
            });
        }
    }
    None
}

/// How far a weight lies from balance in the linear sense: sinkage m, heel rad, trim rad.
fn linear_tilt(form: &Form, mass: &MassProperties, h: &Hydrostatics, rho: f64) -> [f64; 3] {
    let dm = mass.mass_kg - rho * form.volume_m3;
    let sinkage = dm / (rho * form.a_w_m2);
    let trim_arm = mass.mass_kg * (mass.cg_m.x - form.cb_m.x) + dm * (form.cb_m.x - h.lcf_m);
    let weight = rho * form.volume_m3;
    [
        sinkage,
        mass.mass_kg * mass.cg_m.y / (weight * h.gm_t_m),
        -trim_arm / (weight * h.gm_l_m),
    ]
}

/// Checks stability and balance. Returns the mass to go on with: the given one, or, within
/// rounding, the balanced one.
pub(super) fn check(
    spec: &MassSpec,
    mut mass: MassProperties,
    form: &Form,
    restoring: &mut Restoring,
    rho: f64,
    g: f64,
    problems: &mut Vec<Problem>,
) -> MassProperties {
    let (key_mass, key_lcg, key_tcg, key_vcg) = keys(spec);
    let displacement = rho * form.volume_m3;
    let h = form.with_weight(&mass, rho, g);
    let mut upright = true;
    for (name, gm) in [("transverse", h.gm_t_m), ("longitudinal", h.gm_l_m)] {
        if gm <= 0.0 || !gm.is_finite() {
            upright = false;
            problems.push(
                Problem::at(
                    key_vcg,
                    format!("leaves a {name} metacentric height of {gm:.3} m, must be positive"),
                )
                .hint(format!(
                    "lower the centre of gravity by more than {:.2} m, or give the struts more waterplane or spacing",
                    -gm
                )),
            );
        }
    }
    if !upright {
        return mass;
    }
    let [sinkage, heel, trim] = linear_tilt(form, &mass, &h, rho);
    let tilt = TILT_TOL_DEG.to_radians();
    if sinkage.abs() <= SINKAGE_TOL_M && heel.abs() <= tilt && trim.abs() <= tilt {
        let scale = displacement / mass.mass_kg;
        mass.inertia_cg_kg_m2 *= scale;
        mass.mass_kg = displacement;
        mass.cg_m.x = form.cb_m.x;
        mass.cg_m.y = 0.0;
        return mass;
    }
    restoring.set_weight(&mass, g);
    let floats = match float(restoring) {
        Some(f) => format!("it would float {}", told(&f)),
        None => "it would not float upright".to_owned(),
    };
    let (dx, dy) = (mass.cg_m.x - form.cb_m.x, mass.cg_m.y);
    if sinkage.abs() > SINKAGE_TOL_M {
        problems.push(
            Problem::at(
                key_mass,
                format!(
                    "is {:.0} kg, but the craft displaces {displacement:.0} kg at the design waterline; {floats}",
                    mass.mass_kg
                ),
            )
            .hint(balance_hint(spec, "mass_kg", displacement, displacement - mass.mass_kg, "kg")),
        );
    }
    if dx.abs() * mass.mass_kg > tilt * displacement * h.gm_l_m {
        problems.push(
            Problem::at(
                key_lcg,
                format!(
                    "puts the centre of gravity at x = {:.3} m, but the centre of buoyancy is at {:.3} m; {floats}",
                    mass.cg_m.x, form.cb_m.x
                ),
            )
            .hint(balance_hint(spec, "lcg_m", form.cb_m.x, -dx * mass.mass_kg, "kg m")),
        );
    }
    if dy.abs() * mass.mass_kg > tilt * displacement * h.gm_t_m {
        problems.push(
            Problem::at(
                key_tcg,
                format!("puts the centre of gravity {dy:.3} m off the centre plane; {floats}"),
            )
            .hint(balance_hint(spec, "tcg_m", 0.0, -dy * mass.mass_kg, "kg m")),
        );
    }
    mass
}

fn keys(spec: &MassSpec) -> (&'static str, &'static str, &'static str, &'static str) {
    match spec {
        MassSpec::Total { .. } => (
            "mass.total.mass_kg",
            "mass.total.lcg_m",
            "mass.total.tcg_m",
            "mass.total.vcg_m",
        ),
        MassSpec::Groups { .. } => (
            "mass.groups.weights",
            "mass.groups.weights",
            "mass.groups.weights",
            "mass.groups.weights",
        ),
    }
}

fn balance_hint(spec: &MassSpec, name: &str, value: f64, lacking: f64, unit: &str) -> String {
    match spec {
        MassSpec::Total { .. } if name == "mass_kg" => {
            format!("give {value:.0}, or leave `{name}` out to take the value that balances")
        }
        MassSpec::Total { .. } if name == "lcg_m" => {
            format!("give {value:.4}, or leave `{name}` out to take the value that balances")
        }
        MassSpec::Total { .. } => format!("give {value}"),
        MassSpec::Groups { .. } => {
            format!("the groups lack {lacking:.0} {unit} (negative: have too much) to balance")
        }
    }
}

fn told(f: &Floating) -> String {
    let (trim, heel) = (f.trim_rad.to_degrees(), f.heel_rad.to_degrees());
    let heeled = if heel.abs() > 0.005 {
        let side = if heel >= 0.0 { "starboard" } else { "port" };
        format!(", heeled {:.2} deg to {side}", heel.abs())
    } else {
        String::new()
    };
    format!(
        "{:.3} m {} than designed, trimmed {:.2} deg bow {}{heeled}",
        f.sinkage_m.abs(),
        if f.sinkage_m >= 0.0 {
            "deeper"
        } else {
            "higher"
        },
        trim.abs(),
        if trim >= 0.0 { "up" } else { "down" },
    )
}
