//! Equations of motion.

pub mod actuator;
pub mod course;
pub mod damage;
pub mod model;
pub mod plant;
pub mod rigid_body;
pub mod sensor;
pub mod state;
pub mod steady;
pub mod surface_force;
