//! Margins of a loop: gain, phase, delay, disk; on any loop, and on a craft with its law.
//!
//! Everything rests on the sensitivity S = (I + L)^-1 on a refined frequency grid ([`sweep`]). A
//! [`loops::OpenLoop`] says what L is and which poles its closed loop has; [`analyse::analyse`] gives
//! all margins of it, or refuses when the closed loop is not stable. [`craft`] makes the loops of a
//! craft at its fins, its modes and its sensors.
//!
//! # Resolution
//! Between two neighbours of the grid no entry of S moves by more than [`sweep::STEP`] (off-diagonal
//! pairs by their product, which no unit changes), or their frequencies differ by less than
//! [`sweep::FINEST_FRAC`]; every open- and closed-loop pole stands on the grid with its half-bandwidth.
//! Crossings are then found to [`crossing::CLOSE_FRAC`], peaks to 1e-6 of their height. What can
//! escape is a pair of crossings inside one cell, hence a margin that is touched by less than that step.

pub mod analyse;
pub mod craft;
pub mod crossing;
pub mod disk;
pub mod disturbance;
pub mod loops;
pub mod robust;
pub mod state_space;
pub mod structured;
pub mod sweep;
pub mod winding;
