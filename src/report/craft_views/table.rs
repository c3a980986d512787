//! Particulars beside the views.

use super::parts::group_name;
use crate::geometry::craft::Craft;
use crate::hydro::surface::Surface;
use crate::spec::craft::SurfaceGroup;

/// Names and values.
pub(super) fn particulars(craft: &Craft, surfaces: &[Surface]) -> Vec<(String, String)> {
    let (h, m) = (&craft.hydrostatics, &craft.mass);
    let mut rows: Vec<(String, String)> = Vec::new();
    let mut row = |name: &str, value: String| rows.push((name.to_owned(), value));
    row("displacement", format!("{:.1} t", m.mass_kg / 1000.0));
    row("beam", format!("{:.1} m", 2.0 * beam(craft)));
    row("draught", format!("{:.2} m", craft.spec.design_waterline_m));
    row(
        "lower hull, length",
        format!("{:.1} m", craft.hull.length_m()),
    );
    row(
        "hull spacing",
        format!("{:.1} m", 2.0 * craft.hull.centre_y_m),
    );
    for s in &craft.struts {
        let size = format!("{:.1} m by {:.2} m", s.length_m(), s.thickness_m);
        row(&s.name, size);
    }
    row("waterplane area", format!("{:.1} m²", h.a_w_m2));
    row("GM transverse", format!("{:.2} m", h.gm_t_m));
    row("GM longitudinal", format!("{:.2} m", h.gm_l_m));
    row("LCG, forward", signed(m.cg_m.x));
    row("LCB, forward", signed(h.cb_m.x));
    row("LCF, forward", signed(h.lcf_m));
    row(
        "KG",
        format!("{:.2} m", craft.spec.design_waterline_m - m.cg_m.z),
    );
    for group in [
        SurfaceGroup::Forward,
        SurfaceGroup::Aft,
        SurfaceGroup::Rudder,
    ] {
        let all: Vec<_> = surfaces.iter().filter(|s| s.group == group).collect();
        if let Some(first) = all.first() {
            let size = format!("{} of {:.2} m²", all.len(), first.area_m2);
            row(&format!("{}s", group_name(group)), size);
        }
    }
    rows
}

/// Greatest half breadth, m.
fn beam(craft: &Craft) -> f64 {
    let breadths = craft.hull.breakpoints().into_iter();
    let widest = breadths
        .filter_map(|x| craft.hull.section_at(x))
        .map(|s| s.half_breadth_m)
        .fold(0.0, f64::max);
    let hull = craft.hull.centre_y_m + widest;
    craft.spec.cross_structure.half_breadth_m.max(hull)
}

fn signed(v: f64) -> String {
    format!("{v:.2} m").replace('-', "−")
}
