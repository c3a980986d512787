//! Water forces.

pub mod cache;
pub mod craft_hydro;
pub mod curve;
pub mod downwash;
pub mod memory;
#[cfg(test)]
pub(crate) mod mock;
pub mod munk;
pub mod radiation;
pub mod regularise;
pub mod resistance;
pub mod section;
pub mod stations;
pub mod strip;
pub mod strip_waves;
pub mod surface;
pub mod unsteady;
pub mod viscous;
pub mod wave_force;
