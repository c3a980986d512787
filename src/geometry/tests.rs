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
