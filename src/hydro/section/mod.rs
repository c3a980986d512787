//! Two-dimensional potential flow about a twin section.

pub mod excitation;
pub mod green;
pub mod limits;
pub mod panels;
pub mod solve;
