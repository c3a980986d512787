//! Lower hulls: sections, areas, volumes.

/// The starboard lower hull, with sections at any x.
#[derive(Clone, Debug)]
pub struct LowerHull {}
