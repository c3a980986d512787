//! Solutions at zero and infinite frequency.
