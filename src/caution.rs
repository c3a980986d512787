//! The caution that accompanies every result that could be taken for clearance.

/// Printed or drawn wherever results could be taken for clearance to put people to sea.
pub const CAUTION: &str = "Predictions are for design. Validate with model tests and trials; \
local codes, class rules and licensed naval architects decide.";

/// Printed in everything that tells people to work near moving surfaces.
pub const FIN_CAUTION: &str = "A fin in motion can maim: keep clear of it and lock it out before \
anybody goes near.";
