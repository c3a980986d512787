//! Mass, centre of gravity, inertia, tanks.
//!
//! # Equation
//! ```text
//! I_G = Σ [ m (k² on the diagonal) + m (d·d 1 - d dᵀ) ],  d from G to the group's centre
//! free surface of a rectangular tank: rho_t g b³ l / 12 in roll, rho_t g l³ b / 12 in pitch
//! ```
//! A full or empty tank has no free surface.
//!
//! # Checked by
//! `groups_add_up`, `tanks_take_stiffness`, `mass_defaults_to_balance`

use nalgebra::{Matrix3, Matrix6, Vector3};

use super::hull::in_range;
use super::hydrostatics::Form;
use crate::error::Problem;
use crate::frames::skew;
use crate::spec::craft::{MassSpec, TankSpec, WeightSpec};

/// Mass properties of a loading, about O where not said otherwise.
#[derive(Clone, Debug, PartialEq)]
pub struct MassProperties {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Centre of gravity from O, m.
    pub cg_m: Vector3<f64>,
    /// Inertia about the centre of gravity, kg m2 (symmetric; products with the minus sign inside).
    pub inertia_cg_kg_m2: Matrix3<f64>,
    /// Loss of roll stiffness by free surfaces, sum of rho g i_T, N m/rad.
    pub free_surface_roll_nm: f64,
    /// Loss of pitch stiffness by free surfaces, sum of rho g i_L, N m/rad.
    pub free_surface_pitch_nm: f64,
}

impl MassProperties {
    /// Rigid-body mass matrix about O: `[m I, -m S(c); m S(c), I_o]`.
    pub fn matrix_about_o(&self) -> Matrix6<f64> {
        let s = skew(&self.cg_m);
        let inertia_o = self.inertia_cg_kg_m2 - s * s * self.mass_kg;
        let mut m = Matrix6::zeros();
        m.fixed_view_mut::<3, 3>(0, 0)
            .copy_from(&(Matrix3::identity() * self.mass_kg));
        m.fixed_view_mut::<3, 3>(0, 3)
            .copy_from(&(-s * self.mass_kg));
        m.fixed_view_mut::<3, 3>(3, 0)
            .copy_from(&(s * self.mass_kg));
        m.fixed_view_mut::<3, 3>(3, 3).copy_from(&inertia_o);
        m
    }
}

/// What a weight must balance.
#[derive(Clone, Copy, Debug)]
pub struct Loading<'a> {
    /// The craft's form.
    pub form: &'a Form,
    /// Water density, kg/m3.
    pub rho_kg_m3: f64,
    /// Gravity, m/s2.
    pub g_m_s2: f64,
    /// Design waterline above the baseline, m.
    pub waterline_m: f64,
}

impl MassProperties {
    /// Adds up the file's weights; totals left out are those that balance. Problems are pushed.
    pub fn build(
        spec: &MassSpec,
        load: &Loading<'_>,
        problems: &mut Vec<Problem>,
    ) -> Option<MassProperties> {
        let before = problems.len();
        let out = match spec {
            MassSpec::Total {
                mass_kg,
                lcg_m,
                tcg_m,
                vcg_m,
                k_xx_m,
                k_yy_m,
                k_zz_m,
            } => {
                let displacement = load.rho_kg_m3 * load.form.volume_m3;
                let mass = mass_kg.unwrap_or(displacement);
                let lcg = lcg_m.unwrap_or(load.form.cb_m.x);
                let k = [*k_xx_m, *k_yy_m, *k_zz_m];
                let at = |name: &str| format!("mass.total.{name}");
                in_range(problems, &at("mass_kg"), mass, 1.0, 1e9);
                in_range(problems, &at("lcg_m"), lcg, -1e3, 1e3);
                in_range(problems, &at("tcg_m"), *tcg_m, -1e3, 1e3);
                in_range(problems, &at("vcg_m"), *vcg_m, -1e2, 1e2);
                for (name, k) in ["k_xx_m", "k_yy_m", "k_zz_m"].into_iter().zip(k) {
                    in_range(problems, &at(name), k, 1e-2, 1e3);
                }
                MassProperties {
                    mass_kg: mass,
                    cg_m: Vector3::new(lcg, *tcg_m, load.waterline_m - vcg_m),
                    inertia_cg_kg_m2: Matrix3::from_diagonal(&Vector3::from(
                        k.map(|k| mass * k * k),
                    )),
                    free_surface_roll_nm: 0.0,
                    free_surface_pitch_nm: 0.0,
                }
            }
            MassSpec::Groups { weights, tanks } => {
                check_groups(weights, tanks, problems);
                add_up(weights, tanks, load)
            }
        };
        (problems.len() == before).then_some(out)
    }
}

fn check_groups(weights: &[WeightSpec], tanks: &[TankSpec], problems: &mut Vec<Problem>) {
    if weights.is_empty() {
        problems.push(
            Problem::at(
                "mass.groups.weights",
                "is empty, needs at least the light ship",
            )
            .hint("or give `total` instead of `groups`"),
        );
    }
    for (i, w) in weights.iter().enumerate() {
        let at = |name: &str| format!("mass.groups.weights[{i}].{name}");
        in_range(problems, &at("mass_kg"), w.mass_kg, 0.0, 1e9);
        in_range(problems, &at("x_m"), w.x_m, -1e3, 1e3);
        in_range(problems, &at("y_m"), w.y_m, -1e3, 1e3);
        in_range(problems, &at("height_m"), w.height_m, -1e2, 1e2);
        for (axis, k) in w.gyration_m.iter().enumerate() {
            in_range(problems, &at(&format!("gyration_m[{axis}]")), *k, 0.0, 1e3);
        }
    }
    for (i, t) in tanks.iter().enumerate() {
        let at = |name: &str| format!("mass.groups.tanks[{i}].{name}");
        in_range(problems, &at("density_kg_m3"), t.density_kg_m3, 1.0, 2e4);
        for (name, v) in [
            ("length_m", t.length_m),
            ("breadth_m", t.breadth_m),
            ("depth_m", t.depth_m),
        ] {
            in_range(problems, &at(name), v, 1e-3, 1e2);
        }
        in_range(problems, &at("fill_frac"), t.fill_frac, 0.0, 1.0);
        in_range(problems, &at("x_m"), t.x_m, -1e3, 1e3);
        in_range(problems, &at("y_m"), t.y_m, -1e3, 1e3);
        in_range(problems, &at("floor_height_m"), t.floor_height_m, -1e2, 1e2);
    }
}

/// One lump: mass, centre (x, y, height), squares of the own radii of gyration.
type Lump = (f64, Vector3<f64>, [f64; 3]);

fn add_up(weights: &[WeightSpec], tanks: &[TankSpec], load: &Loading<'_>) -> MassProperties {
    let mut lumps: Vec<Lump> = weights
        .iter()
        .map(|w| {
            (
                w.mass_kg,
                Vector3::new(w.x_m, w.y_m, load.waterline_m - w.height_m),
                w.gyration_m.map(|k| k * k),
            )
        })
        .collect();
    let (mut fs_roll, mut fs_pitch) = (0.0, 0.0);
    for t in tanks {
        let h = t.depth_m * t.fill_frac;
        let mass = t.density_kg_m3 * t.length_m * t.breadth_m * h;
        let (l2, b2, h2) = (t.length_m.powi(2), t.breadth_m.powi(2), h * h);
        let z = load.waterline_m - t.floor_height_m - 0.5 * h;
        lumps.push((
            mass,
            Vector3::new(t.x_m, t.y_m, z),
            [(b2 + h2) / 12.0, (l2 + h2) / 12.0, (l2 + b2) / 12.0],
        ));
        if t.fill_frac > 0.0 && t.fill_frac < 1.0 {
            let area = t.density_kg_m3 * load.g_m_s2 * t.length_m * t.breadth_m / 12.0;
            fs_roll += area * b2;
            fs_pitch += area * l2;
        }
    }
    let mass: f64 = lumps.iter().map(|l| l.0).sum();
    let cg = lumps.iter().map(|l| l.1 * l.0).sum::<Vector3<f64>>() / mass.max(f64::MIN_POSITIVE);
    let mut inertia = Matrix3::zeros();
    for (m, r, k2) in &lumps {
        let d = r - cg;
        inertia += (Matrix3::identity() * d.dot(&d) - d * d.transpose()
            + Matrix3::from_diagonal(&Vector3::from(*k2)))
            * *m;
    }
    MassProperties {
        mass_kg: mass,
        cg_m: cg,
        inertia_cg_kg_m2: inertia,
        free_surface_roll_nm: fs_roll,
        free_surface_pitch_nm: fs_pitch,
    }
}
