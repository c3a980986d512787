//! The craft in plan, profile and section, like a general-arrangement sketch.
//!
//! Plan: seen from above, bow to the right, starboard below; the waterplane of the struts is cut.
//! Profile: seen from starboard. Section: at the fullest station near midships, looking forward.
//! Dashed lines are hidden or above the cut.
//!
//! # Checked by
//! `demo_craft_are_drawn`, `a_craft_without_surfaces_is_drawn`

mod parts;
mod table;
#[cfg(test)]
pub(crate) mod tests;

use self::parts::{Drawn, Ranges};
use super::chart::{
    Axis, Cell, Colour, Dash, Dimension, Figure, Heading, Layer, Look, Marker, Note, Panel, Points,
    Row, Shape,
};
use crate::geometry::craft::Craft;
use crate::hydro::surface::Surface;

/// Share of the width that plan and profile take.
const LEFT: f64 = 0.66;
const HEIGHT_LABEL: &str = "height above baseline";

/// Three views of a craft and its particulars.
pub fn craft_views(craft: &Craft, surfaces: &[Surface], heading: Heading) -> Figure {
    let drawn = Drawn::of(craft, surfaces);
    let ranges = drawn.ranges();
    let mut figure = Figure::new(heading, Vec::new());
    // px per metre, so that rows are as high as they need to be
    let room = (figure.width_px - 46.0) * LEFT - 62.0;
    let scale = room / (ranges.x[1] - ranges.x[0]);
    let row = |metres: f64, left: Panel, right: Cell| Row {
        height_px: metres * scale + 74.0,
        cells: vec![(LEFT, Cell::Panel(Box::new(left))), (1.0 - LEFT, right)],
    };
    let section = Cell::Panel(Box::new(section(&drawn, &ranges)));
    let words = Cell::Words {
        heading: "Particulars".to_owned(),
        lines: table::particulars(craft, surfaces),
    };
    figure.rows = vec![
        row(
            ranges.height[1] - ranges.height[0],
            profile(&drawn, &ranges),
            section,
        ),
        row(2.0 * ranges.y, plan(&drawn, &ranges), words),
    ];
    figure
}

fn x_axis(ranges: &Ranges) -> Axis {
    Axis::new("x forward of midships", "m").range(ranges.x[0], ranges.x[1])
}

fn profile(d: &Drawn<'_>, r: &Ranges) -> Panel {
    let y = Axis::new(HEIGHT_LABEL, "m").range(r.height[0], r.height[1]);
    let mut p = Panel::new("Profile, seen from starboard", x_axis(r), y);
    p.equal = true;
    d.box_profile(&mut p);
    p.add(waterline(d, r.x));
    for strut in d.strut_profiles() {
        p.add(strut);
    }
    p.add(d.hull_profile());
    d.surfaces_profile(&mut p);
    d.propulsors_profile(&mut p);
    let c = d.craft;
    let low = d.keel_height() + 0.72 * (r.height[0] - d.keel_height());
    p.add(Dimension::new(
        [c.hull.aft_x_m, low],
        [c.hull.fore_x_m, low],
        format!("lower hull {:.1} m", c.hull.length_m()),
    ));
    for s in &c.struts {
        let z = d.height(0.75 * c.underside_z_m);
        let label = format!("{} {:.1} m", s.name, s.length_m());
        p.add(Dimension::new([s.aft_x_m, z], [s.fore_x_m, z], label));
    }
    centres(&mut p, d, |v| [v.x, d.height(v.z)]);
    floatation(&mut p, [c.hydrostatics.lcf_m, d.height(0.0)]);
    points(&mut p, d, &|v| [v.x, d.height(v.z)], true);
    p
}

fn plan(d: &Drawn<'_>, r: &Ranges) -> Panel {
    let y = Axis::new("y, starboard positive", "m").range(r.y, -r.y);
    let mut p = Panel::new("Plan, cut at the design waterline", x_axis(r), y);
    p.equal = true;
    d.box_plan(&mut p);
    for hull in d.hull_plans() {
        p.add(hull);
    }
    d.surfaces_plan(&mut p);
    for strut in d.strut_plans() {
        p.add(strut);
    }
    d.propulsors_plan(&mut p);
    let c = d.craft;
    let x = 0.5 * (c.hull.fore_x_m + c.hull.aft_x_m) - 0.2 * c.hull.length_m();
    let spacing = format!("hull spacing {:.1} m", 2.0 * c.hull.centre_y_m);
    let y = c.hull.centre_y_m;
    p.add(Dimension::new([x, -y], [x, y], spacing).label_at(0.26));
    centres_plan(&mut p, d);
    points(&mut p, d, &|v| [v.x, v.y], false);
    d.names_plan(&mut p, r);
    p
}

fn section(d: &Drawn<'_>, r: &Ranges) -> Panel {
    let c = d.craft;
    let x = d.section_x();
    let half = 1.12 * c.spec.cross_structure.half_breadth_m;
    let half = half.max(c.hull.centre_y_m + 1.3 * d.hull_half_breadth());
    let mut p = Panel::new(
        format!("Section at x = {x:.1} m, from aft"),
        Axis::new("y, starboard positive", "m").range(-half, half),
        Axis::new(HEIGHT_LABEL, "m").range(r.height[0], r.height[1]),
    );
    p.equal = true;
    d.box_section(&mut p);
    p.add(waterline(d, [-4.0 * half, 4.0 * half]));
    for s in d.section_outlines(x) {
        p.add(s);
    }
    d.surfaces_section(&mut p);
    d.propulsors_section(&mut p);
    heights(&mut p, d);
    centres(&mut p, d, |v| [v.y, d.height(v.z)]);
    let h = &c.hydrostatics;
    let metacentre = d.height(c.mass.cg_m.z) + h.gm_t_m;
    p.add(mark(
        "transverse metacentre",
        Marker::Triangle,
        [0.0, metacentre],
    ));
    p.add(
        Note::new([0.0, metacentre], "M")
            .shift(-19.0, 0.0)
            .on_paper(),
    );
    p
}

/// Draught and clearance.
fn heights(p: &mut Panel, d: &Drawn<'_>) {
    let c = d.craft;
    let at = 0.18 * c.hull.centre_y_m;
    let (keel, water, box_) = (d.keel_height(), d.height(0.0), d.height(c.underside_z_m));
    let words = |h: f64| format!("{h:.2} m");
    p.add(Dimension::new([at, keel], [at, water], words(water - keel)));
    p.add(Dimension::new([at, water], [at, box_], words(box_ - water)));
}

fn waterline(d: &Drawn<'_>, across: [f64; 2]) -> Shape {
    let look = Look::plain(Colour::BLUE).dash(Dash::DashDot);
    let h = d.height(0.0);
    Shape::open(look, vec![[across[0], h], [across[1], h]]).name("design waterline")
}

fn mark(name: &str, marker: Marker, at: [f64; 2]) -> Points {
    let look = Look::plain(Colour::BLACK).marker(marker);
    let mut p = Points::new(name, look, vec![at]);
    p.size_px = 10.0;
    p
}

fn centres(p: &mut Panel, d: &Drawn<'_>, to: impl Fn(&nalgebra::Vector3<f64>) -> [f64; 2]) {
    let (g, b) = (to(&d.craft.mass.cg_m), to(&d.craft.hydrostatics.cb_m));
    p.add(mark("centre of buoyancy", Marker::Target, b));
    p.add(mark("centre of gravity", Marker::Quartered, g));
    let apart = (g[1] - b[1]).abs() > 0.3 || (g[0] - b[0]).abs() > 1.0;
    if apart {
        p.add(Note::new(b, "B").shift(-19.0, 0.0));
        p.add(Note::new(g, "G").shift(-19.0, 0.0));
    } else {
        p.add(Note::new(g, "G, B").shift(-36.0, 0.0));
    }
}

/// Seen from above the centres nearly coincide: one mark, all names.
fn centres_plan(p: &mut Panel, d: &Drawn<'_>) {
    let (g, h) = (d.craft.mass.cg_m, &d.craft.hydrostatics);
    p.add(mark("centre of gravity", Marker::Quartered, [g.x, g.y]));
    let with_f = (h.lcf_m - g.x).abs() < 0.02 * d.craft.hull.length_m();
    if !with_f {
        floatation(p, [h.lcf_m, 0.0]);
    }
    let words = if with_f { "G, B, F" } else { "G, B" };
    p.add(
        Note::new([g.x, g.y], words)
            .lean(-1.0, -0.5)
            .shift(-9.0, 0.0),
    );
}

fn floatation(p: &mut Panel, at: [f64; 2]) {
    p.add(mark("centre of floatation", Marker::Diamond, at));
    p.add(Note::new(at, "F").shift(9.0, 8.0));
}

fn points(
    p: &mut Panel,
    d: &Drawn<'_>,
    to: &dyn Fn(&nalgebra::Vector3<f64>) -> [f64; 2],
    named: bool,
) {
    let all: Vec<[f64; 2]> = d.craft.points.iter().map(|(_, r)| to(r)).collect();
    if all.is_empty() {
        return;
    }
    let look = Look::plain(Colour::PURPLE.mixed(Colour::BLACK, 0.25)).marker(Marker::Plus);
    for ((name, _), at) in d.craft.points.iter().zip(&all) {
        let n = Note::new(*at, name.as_str())
            .shift(7.0, 0.0)
            .size(10.0)
            .yielding();
        if named {
            p.add(n.colour(look.colour));
        }
    }
    p.add(Layer::Points(Points::new("point judged", look, all)));
}

/// A closed shape of the hull's look.
fn outline(look: Look, points: Vec<[f64; 2]>) -> Shape {
    Shape::closed(look, points).width(1.3)
}
