//! Restoring beyond the linear range.
