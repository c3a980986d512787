//! The demonstration craft are drawn.

use super::*;
use crate::hydro::surface::build_surfaces;
use crate::report::chart::tests::check;
use crate::spec::craft::CraftSpec;
use crate::spec::scenario::FinEffectsSpec;

pub(crate) fn demo(file: &str) -> (Craft, Vec<Surface>) {
    let path = format!("{}/scenarios/craft/{file}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).unwrap();
    let spec: CraftSpec = serde_json::from_str(&text).unwrap();
    let craft = Craft::build(&spec).unwrap();
    let radius = |x: f64| craft.hull.section_at(x).map_or(0.0, |s| s.half_breadth_m);
    let surfaces = build_surfaces(&spec, &radius, &FinEffectsSpec::default()).unwrap();
    (craft, surfaces)
}

fn heading(craft: &Craft) -> Heading {
    Heading::new(
        format!("{}: general arrangement", craft.spec.name),
        "Lower hulls, struts, control surfaces and centres at the design waterline",
        "Invented demonstration craft. Only what the model knows is drawn.",
    )
}

#[test]
fn demo_craft_are_drawn() {
    for file in ["coastal_survey", "offshore_survey"] {
        let (craft, surfaces) = demo(&format!("{file}.json"));
        let figure = craft_views(&craft, &surfaces, heading(&craft));
        assert_eq!(figure.panel_count(), 3);
        let mut texts = vec![
            "Profile, seen from starboard",
            "Plan, cut at the design waterline",
            "y, starboard positive (m)",
            "height above baseline (m)",
            "centre of gravity",
            "forward fin",
            "displacement",
        ];
        texts.extend(surfaces.iter().map(|s| s.name.as_str()));
        check(&figure, &format!("craft_{file}"), &texts);
    }
}

#[test]
fn a_craft_without_surfaces_is_drawn() {
    let (craft, _) = demo("coastal_survey.json");
    let figure = craft_views(&craft, &[], heading(&craft));
    let svg = figure.svg().unwrap();
    assert!(svg.contains("lower hull") && !svg.contains("aft fin"));
}
