//! Struts: waterplanes, flare, volumes.

/// One strut of the starboard side.
#[derive(Clone, Debug)]
pub struct Strut {}
