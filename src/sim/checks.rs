//! In-range checks and warnings.
