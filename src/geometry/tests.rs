//! Promises of the room: closed forms, balance, restoring, the demonstration craft.

mod demo;
mod form;
mod loading;
mod restoring;

use super::craft::Craft;
use crate::spec::craft::CraftSpec;

/// The small demonstration craft's file.
pub(crate) const COASTAL: &str = include_str!("../../scenarios/craft/coastal_survey.json");
/// The large one's.
pub(crate) const OFFSHORE: &str = include_str!("../../scenarios/craft/offshore_survey.json");

pub(crate) fn spec_of(text: &str) -> CraftSpec {
    serde_json::from_str(text).unwrap()
}

pub(crate) fn coastal() -> Craft {
    Craft::build(&spec_of(COASTAL)).unwrap()
}

/// The coastal craft's file with its form replaced, and surfaces and points taken off.
pub(crate) fn plain(json_hull: &str, json_struts: &str, waterline_m: f64) -> CraftSpec {
    let mut spec = spec_of(COASTAL);
    spec.lower_hulls = serde_json::from_str(json_hull).unwrap();
    spec.struts = serde_json::from_str(json_struts).unwrap();
    spec.design_waterline_m = waterline_m;
    spec.cross_structure.underside_height_m = waterline_m + 2.5;
    spec.cross_structure.half_breadth_m = 12.0;
    spec.surfaces.clear();
    spec.points.clear();
    spec
}

/// The craft enlarged by `k`: every length by k, masses by k³; surfaces and points left out.
pub(crate) fn scaled(spec: &CraftSpec, k: f64) -> CraftSpec {
    use crate::spec::craft::{EndSpec, MassSpec, WaterplaneShape};
    let mut s = spec.clone();
    s.surfaces.clear();
    s.points.clear();
    s.design_waterline_m *= k;
    let h = &mut s.lower_hulls;
    h.lateral_position_m *= k;
    for st in &mut h.stations {
        st.x_m *= k;
        st.half_breadth_m *= k;
        st.half_height_m = st.half_height_m.map(|v| v * k);
        st.axis_height_m = st.axis_height_m.map(|v| v * k);
    }
    for end in [&mut h.fore_end, &mut h.aft_end] {
        match end {
            EndSpec::AsGiven => {}
            EndSpec::Ellipsoid { length_m }
            | EndSpec::Paraboloid { length_m }
            | EndSpec::Parabola { length_m } => *length_m *= k,
        }
    }
    for strut in &mut s.struts {
        strut.fore_x_m *= k;
        strut.aft_x_m *= k;
        strut.thickness_m *= k;
        if let WaterplaneShape::ParabolicEnds {
            fore_length_m,
            aft_length_m,
        } = &mut strut.waterplane
        {
            *fore_length_m *= k;
            *aft_length_m *= k;
        }
    }
    let c = &mut s.cross_structure;
    c.underside_height_m *= k;
    c.fore_x_m *= k;
    c.aft_x_m *= k;
    c.half_breadth_m *= k;
    if let MassSpec::Total {
        vcg_m,
        k_xx_m,
        k_yy_m,
        k_zz_m,
        ..
    } = &mut s.mass
    {
        for v in [vcg_m, k_xx_m, k_yy_m, k_zz_m] {
            *v *= k;
        }
    }
    s
}
