//! The built craft: everything in O-axes (x forward, y starboard, z down from the design
//! waterline), SI.
//!
//! # Checked by
//! `demo_craft_are_credible`, `all_problems_at_once`, `fins_must_sit_on_the_hull`

use nalgebra::Vector3;

use super::balance;
use super::contour::{Contour, contour_at};
use super::hull::{LowerHull, in_range};
use super::hydrostatics::{Hydrostatics, form};
use super::mass::{Loading, MassProperties};
use super::restoring::Restoring;
use super::strut::Strut;
use crate::error::{Error, Problem, Result};
use crate::spec::craft::CraftSpec;

/// The craft's shape and weight. Built once from a [`CraftSpec`] by [`Craft::build`].
#[derive(Clone, Debug)]
pub struct Craft {
    /// What the file said; rooms above take their own part of it.
    pub spec: CraftSpec,
    /// Water density, kg/m3.
    pub rho_kg_m3: f64,
    /// Gravity, m/s2.
    pub g_m_s2: f64,
    /// Starboard lower hull; the port one mirrors it.
    pub hull: LowerHull,
    /// Starboard struts, fore to aft.
    pub struts: Vec<Strut>,
    /// Mass properties of the loading.
    pub mass: MassProperties,
    /// Hydrostatics at the design waterline.
    pub hydrostatics: Hydrostatics,
    /// z of the cross-structure's underside (negative: above water), m.
    pub underside_z_m: f64,
    /// Named points, m from O.
    pub points: Vec<(String, Vector3<f64>)>,
}

impl Craft {
    /// Builds the craft, or says everything that is wrong with its geometry and weight at once.
    ///
    /// # Errors
    /// Problems with key paths of the craft file; weight and stability are judged only once the
    /// form is sound.
    pub fn build(spec: &CraftSpec) -> Result<Craft> {
        let mut problems = Vec::new();
        check_whole(spec, &mut problems);
        let waterline = spec.design_waterline_m;
        let hull = LowerHull::build(&spec.lower_hulls, waterline, &mut problems);
        let mut struts = Vec::new();
        if let Some(hull) = &hull {
            for (i, s) in spec.struts.iter().enumerate() {
                struts.extend(Strut::build(s, i, hull, &mut problems));
            }
            super::craft_checks::struts(&struts, spec, &mut problems);
            super::craft_checks::surfaces(spec, hull, &struts, &mut problems);
        }
        let hull = match hull {
            Some(hull) if problems.is_empty() => hull,
            _ => return Err(problems.into()),
        };
        let (rho, g) = (spec.water.density_kg_m3, spec.water.gravity_m_s2);
        let form = form(&hull, &struts);
        let load = Loading {
            form: &form,
            rho_kg_m3: rho,
            g_m_s2: g,
            waterline_m: waterline,
        };
        let mass = MassProperties::build(&spec.mass, &load, &mut problems)
            .ok_or_else(|| Error::from(problems.clone()))?;
        let underside_z_m = waterline - spec.cross_structure.underside_height_m;
        let mut restoring = Restoring::of_form(
            &hull,
            &struts,
            &spec.cross_structure,
            underside_z_m,
            &form,
            rho * g,
        );
        let mass = balance::check(
            &spec.mass,
            mass,
            &form,
            &mut restoring,
            rho,
            g,
            &mut problems,
        );
        if !problems.is_empty() {
            return Err(problems.into());
        }
        let hydrostatics = form.with_weight(&mass, rho, g);
        let points = spec
            .points
            .iter()
            .map(|p| {
                let r = Vector3::new(p.x_m, p.y_m, waterline - p.height_m);
                (p.name.clone(), r)
            })
            .collect();
        Ok(Craft {
            spec: spec.clone(),
            rho_kg_m3: rho,
            g_m_s2: g,
            hull,
            struts,
            mass,
            hydrostatics,
            underside_z_m,
            points,
        })
    }

    /// The contour of the starboard section at `x_m`; none beyond the hull's ends.
    pub fn contour_at(&self, x_m: f64) -> Option<Contour> {
        contour_at(&self.hull, &self.struts, x_m)
    }

    /// z (down from the design waterline) of a height above the baseline, m.
    pub fn z_of_height(&self, height_m: f64) -> f64 {
        self.spec.design_waterline_m - height_m
    }

    /// Position from O of (x, y, height above the baseline), m.
    pub fn from_o(&self, x_m: f64, y_m: f64, height_m: f64) -> Vector3<f64> {
        Vector3::new(x_m, y_m, self.z_of_height(height_m))
    }
}

fn check_whole(spec: &CraftSpec, problems: &mut Vec<Problem>) {
    let w = &spec.water;
    in_range(
        problems,
        "water.density_kg_m3",
        w.density_kg_m3,
        500.0,
        2000.0,
    );
    in_range(problems, "water.gravity_m_s2", w.gravity_m_s2, 1.0, 30.0);
    in_range(
        problems,
        "water.kinematic_viscosity_m2_s",
        w.kinematic_viscosity_m2_s,
        1e-8,
        1e-4,
    );
    in_range(
        problems,
        "design_waterline_m",
        spec.design_waterline_m,
        1e-3,
        1e2,
    );
    if spec.struts.is_empty() || spec.struts.len() > 2 {
        problems.push(Problem::at(
            "struts",
            format!(
                "has {} struts a side, must have one or two",
                spec.struts.len()
            ),
        ));
    }
    let c = &spec.cross_structure;
    let at = |name: &str| format!("cross_structure.{name}");
    in_range(problems, &at("fore_x_m"), c.fore_x_m, -1e3, 1e3);
    in_range(problems, &at("aft_x_m"), c.aft_x_m, -1e3, 1e3);
    in_range(problems, &at("half_breadth_m"), c.half_breadth_m, 1e-2, 1e3);
    in_range(
        problems,
        &at("relative_wave_factor"),
        c.relative_wave_factor,
        0.1,
        5.0,
    );
    if c.fore_x_m <= c.aft_x_m {
        problems.push(Problem::at(
            at("fore_x_m"),
            format!(
                "is {} m, must lie forward of aft_x_m {} m",
                c.fore_x_m, c.aft_x_m
            ),
        ));
    }
    let wl = spec.design_waterline_m;
    if !(c.underside_height_m > wl && c.underside_height_m < wl + 100.0) {
        problems.push(
            Problem::at(
                at("underside_height_m"),
                format!(
                    "is {} m above the baseline, must lie above the design waterline {wl} m",
                    c.underside_height_m
                ),
            )
            .hint("the box that joins the hulls stays clear of calm water"),
        );
    }
}
