//! Checks of the checks.
