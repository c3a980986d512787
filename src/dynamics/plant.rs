//! Sum of all forces: the derivative of the state.

use nalgebra::Vector3;

use crate::frames::Wrench;

/// One real-valued signal of the waves that the plant needs at every instant. The simulator turns
/// each into a complex amplitude per wave component and hands over the sums.
#[derive(Clone, Debug, PartialEq)]
pub enum WaveChannel {
    /// First-order wave force (linear viscous part included) in a mode, N or N m.
    Force(usize),
    /// Its derivative with respect to heading mu, per rad, for a craft that yaws off its course.
    ForceSlope(usize),
    /// Orbital velocity at a point of the craft (from O), m/s, along a unit direction (body axes, y to
    /// starboard, z down).
    Orbital {
        /// Where, m from O.
        r_m: Vector3<f64>,
        /// Along what.
        along: Vector3<f64>,
    },
    /// Wave elevation above a point, up positive, m.
    Elevation {
        /// Forward of O, m.
        x_m: f64,
        /// To starboard, m.
        y_m: f64,
    },
}

/// What acts on the plant from outside at an instant.
#[derive(Clone, Copy, Debug)]
pub struct PlantInput<'a> {
    /// Channel sums, in the order of the plant's channels.
    pub waves: &'a [f64],
    /// Commanded angle per surface, rad, held over the step.
    pub command_rad: &'a [f64],
    /// Surface angle at the start of the step, rad: the memory of the backlash.
    pub surface_hold_rad: &'a [f64],
    /// Rate limit per surface, rad/s: the servo's own, or less when a supply is short.
    pub rate_limit_rad_s: &'a [f64],
    /// Commanded thrust per propulsor, N.
    pub thrust_n: &'a [f64],
    /// Wind force and moment, body axes.
    pub wind: Wrench,
}
