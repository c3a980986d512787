//! Cross-section contours for the sectional flow.

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
