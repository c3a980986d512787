//! Outlines of hulls, struts, box, surfaces and propellers in the three views.

use nalgebra::Vector3;

use super::outline;
use crate::geometry::craft::Craft;
use crate::geometry::strut::Strut;
use crate::hydro::surface::Surface;
use crate::report::chart::{Colour, Dash, Hatch, Look, Marker, Note, Panel, Shape};
use crate::spec::craft::{MovingPart, SurfaceGroup};

/// Height of the box drawn above its underside; the upper works are no part of the model.
const BOX_SHOWN: f64 = 0.6;
const HULL: Colour = Colour(60, 70, 85);

/// A craft seen with the eyes of a draughtsman.
pub(super) struct Drawn<'a> {
    pub(super) craft: &'a Craft,
    surfaces: &'a [Surface],
}

/// What the views must hold, m.
pub(super) struct Ranges {
    pub(super) x: [f64; 2],
    /// Half width of the plan.
    pub(super) y: f64,
    pub(super) height: [f64; 2],
}

impl<'a> Drawn<'a> {
    pub(super) fn of(craft: &'a Craft, surfaces: &'a [Surface]) -> Self {
        Drawn { craft, surfaces }
    }

    /// Height above the baseline of a z (down from the waterline).
    pub(super) fn height(&self, z_m: f64) -> f64 {
        self.craft.spec.design_waterline_m - z_m
    }

    pub(super) fn ranges(&self) -> Ranges {
        let (c, hull) = (&self.craft.spec.cross_structure, &self.craft.hull);
        let mut low = hull.aft_x_m.min(c.aft_x_m);
        let mut high = hull.fore_x_m.max(c.fore_x_m);
        for p in &self.craft.spec.propulsors {
            low = low.min(p.x_m);
            high = high.max(p.x_m);
        }
        let more = 0.04 * (high - low);
        let beam = c
            .half_breadth_m
            .max(hull.centre_y_m + self.hull_half_breadth());
        let points = self.craft.points.iter().map(|(_, r)| self.height(r.z));
        let box_top = self.height(self.craft.underside_z_m) + BOX_SHOWN + 1.0;
        let top = points.fold(box_top, |t, h| t.max(h + 1.0));
        let lowest = self
            .surfaces
            .iter()
            .map(|s| self.height(s.quarter_chord_m(1.0).z))
            .fold(self.keel_height(), f64::min);
        Ranges {
            x: [low - more, high + more],
            y: 1.3 * beam,
            height: [lowest - 0.13 * (top - lowest), top],
        }
    }

    pub(super) fn keel_height(&self) -> f64 {
        let depths = self.stations().into_iter().filter_map(|x| {
            let s = self.craft.hull.section_at(x)?;
            Some(self.height(s.axis_z_m + s.half_height_m))
        });
        depths.fold(self.height(0.0), f64::min)
    }

    pub(super) fn hull_half_breadth(&self) -> f64 {
        let all = self.stations().into_iter();
        all.filter_map(|x| self.craft.hull.section_at(x))
            .map(|s| s.half_breadth_m)
            .fold(0.0, f64::max)
    }

    /// The station nearest midships where hull and strut are both there.
    pub(super) fn section_x(&self) -> f64 {
        let there = |x: f64| {
            let full = |s: &Strut| s.half_thickness(x) > 0.45 * s.thickness_m;
            let strut = self.craft.struts.iter().any(full);
            let hull = self.craft.hull.section_at(x);
            strut && hull.is_some_and(|s| s.half_breadth_m > 0.8 * self.hull_half_breadth())
        };
        let steps = (0..60).map(|i| f64::from(i) * 0.01 * self.craft.hull.length_m());
        steps
            .flat_map(|x| [x, -x])
            .find(|x| there(*x))
            .unwrap_or(0.0)
    }

    /// x of the hull, crowded at its ends and at joins.
    fn stations(&self) -> Vec<f64> {
        crowded(&self.craft.hull.breakpoints())
    }

    /// Upper and lower line of the hull: `of` gives both at a section.
    fn hull_ring(&self, of: impl Fn(f64, f64, f64) -> [f64; 2]) -> Vec<[f64; 2]> {
        let all: Vec<(f64, [f64; 2])> = self
            .stations()
            .into_iter()
            .filter_map(|x| {
                let s = self.craft.hull.section_at(x)?;
                Some((x, of(s.axis_z_m, s.half_breadth_m, s.half_height_m)))
            })
            .collect();
        let one = all.iter().map(|(x, v)| [*x, v[0]]);
        let other = all.iter().rev().map(|(x, v)| [*x, v[1]]);
        one.chain(other).collect()
    }

    pub(super) fn hull_profile(&self) -> Shape {
        let ring = self.hull_ring(|z, _, h| [self.height(z - h), self.height(z + h)]);
        outline(Look::plain(HULL), ring)
            .fill(0.13)
            .name("lower hull")
    }

    pub(super) fn hull_plans(&self) -> [Shape; 2] {
        let y = self.craft.hull.centre_y_m;
        [-y, y].map(|y| {
            let ring = self.hull_ring(|_, b, _| [y - b, y + b]);
            outline(Look::plain(HULL), ring)
                .fill(0.13)
                .name("lower hull")
        })
    }

    pub(super) fn strut_plans(&self) -> Vec<Shape> {
        let all = self.craft.struts.iter();
        all.flat_map(|s| [-1.0, 1.0].map(|side| strut_plan(s, side)))
            .collect()
    }

    pub(super) fn strut_profiles(&self) -> Vec<Shape> {
        let c = self.craft;
        c.struts
            .iter()
            .map(|s| {
                let xs = crowded(&[s.aft_x_m, s.fore_x_m]);
                let foot = xs.iter().map(|x| {
                    let z = c
                        .hull
                        .section_at(*x)
                        .map_or(0.0, |h| c.hull.top_z(&h, s.offset_m));
                    [*x, self.height(z)]
                });
                let top = self.height(c.underside_z_m);
                let ring = foot.chain([[s.fore_x_m, top], [s.aft_x_m, top]]).collect();
                outline(Look::plain(HULL), ring).fill(0.06)
            })
            .collect()
    }

    /// Submerged outlines of both sides with the struts up to the box.
    pub(super) fn section_outlines(&self, x: f64) -> Vec<Shape> {
        let c = self.craft;
        let Some(contour) = c.contour_at(x) else {
            return Vec::new();
        };
        let mut ring: Vec<[f64; 2]> = contour
            .pieces
            .iter()
            .flatten()
            .map(|p| [p[0], self.height(p[1])])
            .collect();
        if let Some(s) = c.struts.iter().find(|s| s.half_thickness(x) > 0.0) {
            let t = s.half_thickness_at(x, c.underside_z_m);
            let top = self.height(c.underside_z_m);
            ring.push([s.centre_y_m + t, top]);
            ring.push([s.centre_y_m - t, top]);
        }
        let port = ring.iter().map(|p| [-p[0], p[1]]).collect();
        [ring, port]
            .map(|r| outline(Look::plain(HULL), r).fill(0.13))
            .into()
    }

    fn box_look() -> Look {
        Look::plain(Colour::GREY).dash(Dash::Dashed)
    }

    pub(super) fn box_plan(&self, p: &mut Panel) {
        let c = &self.craft.spec.cross_structure;
        let (b, a, f) = (c.half_breadth_m, c.aft_x_m, c.fore_x_m);
        let ring = vec![[a, -b], [f, -b], [f, b], [a, b]];
        p.add(
            outline(Self::box_look(), ring)
                .width(1.0)
                .name("cross-structure"),
        );
    }

    fn box_end(&self, p: &mut Panel, from: f64, to: f64) {
        let low = self.height(self.craft.underside_z_m);
        let high = low + BOX_SHOWN;
        let ring = vec![[from, low], [to, low], [to, high], [from, high]];
        let mut body = Shape::closed(Look::plain(Colour::GREY), ring).fill(0.16);
        body.width_px = 0.0;
        p.add(body);
        let three = vec![[from, high], [from, low], [to, low], [to, high]];
        p.add(Shape::open(Look::plain(HULL), three).width(1.3));
        let top = vec![[from, high], [to, high]];
        p.add(Shape::open(Self::box_look(), top).width(0.8));
    }

    pub(super) fn box_profile(&self, p: &mut Panel) {
        let c = &self.craft.spec.cross_structure;
        self.box_end(p, c.aft_x_m, c.fore_x_m);
    }

    pub(super) fn box_section(&self, p: &mut Panel) {
        let b = self.craft.spec.cross_structure.half_breadth_m;
        self.box_end(p, -b, b);
    }

    pub(super) fn surfaces_plan(&self, p: &mut Panel) {
        for s in self.surfaces {
            let ring = corners(s).map(|v| [v.x, v.y]);
            if s.span_direction.z.abs() > 0.7 {
                // seen on edge; hidden by the hull when it hangs below
                let below = s.span_direction.z > 0.0;
                let dash = if below { Dash::Dashed } else { Dash::Solid };
                let line = vec![ring[0], ring[3]];
                p.add(Shape::open(look_of(s.group).dash(dash), line).width(2.6));
                p.add(key(s.group));
                continue;
            }
            p.add(filled(s, ring.into()));
            self.hinge(p, s, |v| [v.x, v.y]);
        }
    }

    pub(super) fn surfaces_profile(&self, p: &mut Panel) {
        for s in self.surfaces.iter().filter(|s| s.root_m.y >= 0.0) {
            let behind = s.span_direction.y < -0.1 && s.root_m.y > 0.0;
            let ring = corners(s).map(|v| [v.x, self.height(v.z)]);
            if s.span_direction.z.abs() > 0.5 {
                p.add(filled(s, ring.into()));
                continue;
            }
            // a level fin is seen on edge: a lens of its thickness
            let z = self.height(s.root_m.z);
            let (fore, aft) = (ring[0][0], ring[3][0]);
            let t = 0.5 * self.thickness(s) * s.root_chord_m;
            let dash = if behind { Dash::Dashed } else { Dash::Solid };
            let lens = lens(aft, fore, z, t);
            p.add(
                outline(look_of(s.group).dash(dash), lens)
                    .fill(0.35)
                    .width(1.4),
            );
            let name = group_name(s.group);
            let at = [0.5 * (fore + aft), self.keel_height().min(z - t)];
            let note = Note::new(at, name).lean(-0.5, 0.0).shift(0.0, 1.0);
            p.add(note.size(10.0).colour(ink(s.group)));
        }
    }

    pub(super) fn surfaces_section(&self, p: &mut Panel) {
        // looking forward, the aft surfaces are nearest
        let mut order: Vec<&Surface> = self.surfaces.iter().collect();
        order.sort_by(|a, b| b.root_m.x.total_cmp(&a.root_m.x));
        let nearest = order.last().map_or(0.0, |s| s.root_m.x);
        for s in order.iter().rev() {
            let (a, b) = (s.quarter_chord_m(0.0), s.quarter_chord_m(1.0));
            let side = s.span_direction.cross(&Vector3::x());
            let half = |t: f64| side * (0.5 * self.thickness(s) * s.chord_at_m(t));
            let ring = [a + half(0.0), b + half(1.0), b - half(1.0), a - half(0.0)];
            let ring = ring.map(|v| [v.y, self.height(v.z)]);
            // those further away show through as dashed outlines
            let near = s.root_m.x < nearest + 0.1 * self.craft.hull.length_m();
            if near {
                p.add(filled(s, ring.into()));
            } else {
                let look = look_of(s.group).dash(Dash::Dashed);
                p.add(outline(look, ring.into()).width(1.4));
            }
        }
    }

    fn spec_of(&self, s: &Surface) -> Option<&crate::spec::craft::SurfaceSpec> {
        self.craft.spec.surfaces.iter().find(|x| x.name == s.name)
    }

    fn thickness(&self, s: &Surface) -> f64 {
        self.spec_of(s).map_or(0.15, |x| x.thickness_frac)
    }

    fn hinge(&self, p: &mut Panel, s: &Surface, to: impl Fn(&Vector3<f64>) -> [f64; 2]) {
        let Some(MovingPart::Flap { chord_frac, .. }) = self.spec_of(s).map(|x| x.moving) else {
            return;
        };
        let at = |t: f64| {
            let back = (0.75 - chord_frac) * s.chord_at_m(t);
            to(&(s.quarter_chord_m(t) - Vector3::x() * back))
        };
        p.add(Shape::open(look_of(s.group), vec![at(0.0), at(1.0)]).width(1.2));
    }

    /// Names of the surfaces, beyond their tips or outboard of the hulls.
    pub(super) fn names_plan(&self, p: &mut Panel, r: &Ranges) {
        for s in self.surfaces {
            let [a, b, c, d] = corners(s);
            let middle = 0.25 * (a + b + c + d);
            let side = if s.root_m.y < 0.0 { -1.0 } else { 1.0 };
            let note = if s.span_direction.z.abs() > 0.7 {
                let y = side * 0.92 * r.y;
                let line = vec![[middle.x, s.root_m.y], [middle.x, y - side * 0.05 * r.y]];
                p.add(Shape::open(Look::plain(ink(s.group)), line).width(0.7));
                Note::new([r.x[0], y], s.name.as_str()).shift(6.0, 0.0)
            } else {
                let down = if s.span_direction.y > 0.0 { 0.0 } else { -1.0 };
                let tip = 0.5 * (b + c);
                Note::new([tip.x, tip.y], s.name.as_str())
                    .lean(-0.5, down)
                    .shift(0.0, if down < 0.0 { -3.0 } else { 3.0 })
            };
            p.add(note.size(10.0).colour(ink(s.group)).on_paper());
        }
    }

    pub(super) fn propulsors_plan(&self, p: &mut Panel) {
        for q in &self.craft.spec.propulsors {
            let r = 0.5 * q.diameter_m;
            let (a, b) = ([q.x_m, q.y_m - r], [q.x_m, q.y_m + r]);
            p.add(blade(vec![a, b]));
        }
    }

    pub(super) fn propulsors_profile(&self, p: &mut Panel) {
        for q in &self.craft.spec.propulsors {
            let r = 0.5 * q.diameter_m;
            p.add(blade(vec![
                [q.x_m, q.height_m - r],
                [q.x_m, q.height_m + r],
            ]));
        }
    }

    pub(super) fn propulsors_section(&self, p: &mut Panel) {
        for q in &self.craft.spec.propulsors {
            let ring = (0..60).map(|i| {
                let a = f64::from(i) / 60.0 * std::f64::consts::TAU;
                let r = 0.5 * q.diameter_m;
                [q.y_m + r * a.cos(), q.height_m + r * a.sin()]
            });
            let look = Look::plain(Colour::BLACK).dash(Dash::Dotted);
            p.add(Shape::closed(look, ring.collect()).width(1.0));
        }
    }
}

fn blade(line: Vec<[f64; 2]>) -> Shape {
    Shape::open(Look::plain(Colour::BLACK), line)
        .width(2.6)
        .name("propeller")
}

/// Points crowded towards every break, where outlines turn fastest.
fn crowded(breaks: &[f64]) -> Vec<f64> {
    let mut all = Vec::new();
    for pair in breaks.windows(2) {
        let n = 40;
        for i in 0..=n {
            let s = 0.5 * (1.0 - (std::f64::consts::PI * f64::from(i) / f64::from(n)).cos());
            all.push(pair[0] + s * (pair[1] - pair[0]));
        }
    }
    all
}

fn strut_plan(s: &Strut, side: f64) -> Shape {
    let xs = crowded(&s.breakpoints());
    let edge = |sign: f64| {
        xs.iter()
            .map(move |x| [*x, side * s.centre_y_m + sign * s.half_thickness(*x)])
    };
    let ring: Vec<[f64; 2]> = edge(1.0).chain(edge(-1.0).rev()).collect();
    outline(Look::plain(HULL), ring)
        .fill(0.75)
        .name("strut at the waterline")
}

/// Leading edge at root and tip, trailing edge at tip and root.
fn corners(s: &Surface) -> [Vector3<f64>; 4] {
    let edge = |t: f64, back: f64| s.quarter_chord_m(t) + Vector3::x() * (back * s.chord_at_m(t));
    [
        edge(0.0, 0.25),
        edge(1.0, 0.25),
        edge(1.0, -0.75),
        edge(0.0, -0.75),
    ]
}

/// A pointed oval.
fn lens(aft: f64, fore: f64, z: f64, t: f64) -> Vec<[f64; 2]> {
    let at = |i: i32, sign: f64| {
        let s = f64::from(i) / 16.0;
        [aft + s * (fore - aft), z + sign * t * 4.0 * s * (1.0 - s)]
    };
    (0..=16)
        .map(|i| at(i, 1.0))
        .chain((0..=16).rev().map(|i| at(i, -1.0)))
        .collect()
}

fn ink(group: SurfaceGroup) -> Colour {
    look_of(group).colour
}

fn look_of(group: SurfaceGroup) -> Look {
    match group {
        SurfaceGroup::Forward => Look::plain(Colour::BLUE).hatch(Hatch::Rising),
        SurfaceGroup::Aft => Look::plain(Colour::VERMILLION).hatch(Hatch::Falling),
        SurfaceGroup::Rudder => Look::plain(Colour::GREEN).hatch(Hatch::Level),
    }
    .marker(Marker::None)
}

pub(super) fn group_name(group: SurfaceGroup) -> &'static str {
    match group {
        SurfaceGroup::Forward => "forward fin",
        SurfaceGroup::Aft => "aft fin",
        SurfaceGroup::Rudder => "rudder",
    }
}

fn filled(s: &Surface, ring: Vec<[f64; 2]>) -> Shape {
    outline(look_of(s.group), ring)
        .fill(0.9)
        .name(group_name(s.group))
}

/// Nothing to see, but a name in the legend.
fn key(group: SurfaceGroup) -> Shape {
    outline(look_of(group), Vec::new())
        .fill(0.9)
        .name(group_name(group))
}
