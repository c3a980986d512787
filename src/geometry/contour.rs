//! Cross-section contours for the sectional flow.
//!
//! The outline is exact (lines and arcs of ellipses, [`super::outline`]); the contour holds dense
//! points of it, and its exact area. Where a strut stands, the section is the union of the hull's
//! section and the strut from the waterline to the hull's upper surface.
//!
//! # Checked by
//! `contour_runs_inboard_keel_outboard`, `contour_area_is_exact`

use super::hull::LowerHull;
use super::outline::{Curve, moments, smooth_pieces};
use super::strut::Strut;

/// The submerged contour of the starboard hull (with its strut, where there is one) at one x.
#[derive(Clone, Debug, PartialEq)]
pub struct Contour {
    /// Forward of midships, m.
    pub x_m: f64,
    /// Exact outline as a chain of smooth pieces, each a list of dense points (y, z), m, from the
    /// inboard waterline point down, round the keel and up to the outboard waterline point; for a
    /// fully submerged section a closed chain starting at the top, going inboard first. Pieces
    /// meet at corners (waterline, strut-hull junction).
    pub pieces: Vec<Vec<[f64; 2]>>,
    /// True when the section meets the surface.
    pub surface_piercing: bool,
    /// Exact sectional area (one hull), m2; polygons are scaled to it.
    pub area_m2: f64,
    /// Half breadth of the lower hull at this x (0 if none), m.
    pub half_breadth_m: f64,
    /// Half height of the lower hull, m.
    pub half_height_m: f64,
    /// z of the lower hull's axis, m.
    pub axis_z_m: f64,
    /// y of the hull's centre plane, m.
    pub centre_y_m: f64,
    /// Half thickness of the strut at the waterline (0 if none), m.
    pub strut_half_thickness_m: f64,
}

/// An exact section: chains of curves of the strut's faces and of the hull.
#[derive(Clone, Debug)]
pub struct Section {
    /// Inboard face, waterline to junction (empty without a strut).
    pub inboard: Option<Curve>,
    /// The hull, from the inboard junction round the keel to the outboard one.
    pub hull: Vec<Curve>,
    /// Outboard face, junction to waterline.
    pub outboard: Option<Curve>,
}

impl Section {
    /// All curves in order.
    pub fn chain(&self) -> Vec<Curve> {
        let mut all = Vec::with_capacity(self.hull.len() + 2);
        all.extend(self.inboard);
        all.extend(self.hull.iter().copied());
        all.extend(self.outboard);
        all
    }
}

/// The strut that stands at `x_m`, if any has thickness there.
pub fn strut_at(struts: &[Strut], x_m: f64) -> Option<&Strut> {
    struts.iter().find(|s| s.half_thickness(x_m) > 0.0)
}

/// The exact section at `x_m`; none where the hull has no breadth.
pub fn section_at(hull: &LowerHull, struts: &[Strut], x_m: f64) -> Option<Section> {
    let s = hull.section_at(x_m)?;
    if s.half_breadth_m <= 0.0 || s.half_height_m <= 0.0 {
        return None;
    }
    let Some(strut) = strut_at(struts, x_m) else {
        return Some(Section {
            inboard: None,
            hull: hull.outline(&s, 0.0, 0.0),
            outboard: None,
        });
    };
    let t = strut.half_thickness(x_m);
    let [inner, outer] = strut.junction(hull, &s);
    let y = hull.centre_y_m;
    Some(Section {
        inboard: Some(Curve::Line {
            from: [strut.centre_y_m - t, 0.0],
            to: [y + inner[0], inner[1]],
        }),
        hull: hull.outline(&s, inner[0], outer[0]),
        outboard: Some(Curve::Line {
            from: [y + outer[0], outer[1]],
            to: [strut.centre_y_m + t, 0.0],
        }),
    })
}

/// The contour at `x_m`; none beyond the hull's ends and at points of no breadth.
pub fn contour_at(hull: &LowerHull, struts: &[Strut], x_m: f64) -> Option<Contour> {
    let section = section_at(hull, struts, x_m)?;
    let s = hull.section_at(x_m)?;
    let chain = section.chain();
    Some(Contour {
        x_m,
        pieces: smooth_pieces(&chain),
        surface_piercing: section.inboard.is_some(),
        area_m2: moments(&chain).area_m2,
        half_breadth_m: s.half_breadth_m,
        half_height_m: s.half_height_m,
        axis_z_m: s.axis_z_m,
        centre_y_m: hull.centre_y_m,
        strut_half_thickness_m: strut_at(struts, x_m).map_or(0.0, |t| t.half_thickness(x_m)),
    })
}
