//! Body lift, trailing-edge lift, cross-flow drag.

/// One strip of one lower hull (or strut) for viscous forces.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DragStrip {
    /// Centre of the strip from O, m.
    pub r_m: [f64; 3],
    /// Length times breadth that vertical cross-flow sees, m2 (0 for a strut).
    pub horizontal_area_m2: f64,
    /// Length times height that lateral cross-flow sees, m2.
    pub lateral_area_m2: f64,
    /// Drag coefficient for both.
    pub drag: f64,
    /// Body-lift coefficient a0 times breadth times length, m2 (vertical).
    pub lift_area_m2: f64,
}

/// A trailing edge (or hull end) at which lateral momentum is shed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SheddingEdge {
    /// Position from O, m (z at the centre of the shed momentum).
    pub r_m: [f64; 3],
    /// Added mass in sway per length shed there, kg/m (times speed squared times drift angle is the side force).
    pub a22_kg_m: f64,
}
