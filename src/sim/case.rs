//! One fully resolved case.
