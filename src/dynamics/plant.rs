//! Sum of all forces: the derivative of the state.

use nalgebra::Vector3;

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
