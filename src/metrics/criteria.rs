//! Criteria and whether they are met.
