//! Two-dimensional potential flow about a twin section in deep water.
//!
//! # Equation
//! Radiation by Green's identity on the wetted outline with the free-surface Green function of
//! [`green`], and the wave force of the same section; see [`solve`] and [`excitation`].
//!
//! # Symbols
//! y to starboard, z down, modes sway (+y), heave (+z), roll about O (n4 = y n3 - z n2); time
//! factor exp(+i ω t); forces and coefficients per unit length over the water's density, both
//! hulls together: F = -(A η'' + B η').
//!
//! # Valid when
//! Ideal fluid, small motions, no forward speed in the section problem, two mirror-image hulls.
//!
//! # Source
//! Frank (1967), NSRDC 2375; Lee, Newman & Zhu (1996) for the waterplane lid.
//!
//! # Checked by
//! the tests in `tests/`, against the multipole and boundary-integral values of reference list B.

mod assemble;
pub mod excitation;
pub mod green;
mod influence;
pub mod limits;
pub mod panels;
mod real_lu;
pub mod solve;
mod system;
#[cfg(test)]
mod tests;

use num_complex::Complex64;

pub use excitation::SectionWaveForce;
pub use limits::{SectionLimit, ZeroFrequency};
pub use panels::Panels;
pub use solve::SectionSolver;

/// How a section is cut and solved.
#[derive(Clone, Debug, PartialEq)]
pub struct SectionOptions {
    /// Panels per hull on the wetted outline (the lid's come on top).
    pub panels: usize,
    /// Removes irregular frequencies by a lid on the strut's waterplane.
    pub lid: bool,
    /// Grading of panels towards the ends of each piece, 0 even, 1 cosine.
    pub grading: f64,
}

impl Default for SectionOptions {
    fn default() -> Self {
        SectionOptions {
            panels: 96,
            lid: true,
            grading: 0.3,
        }
    }
}

/// Radiation of both variants of a section at one frequency.
#[derive(Clone, Debug, PartialEq)]
pub struct SectionFlow {
    /// Frequency, rad/s, positive.
    pub omega_rad_s: f64,
    /// The two hulls with their interaction.
    pub twin: Potentials,
    /// The two hulls moving as one craft, each as if alone in the water.
    pub isolated: Potentials,
}

/// Radiation potentials per unit velocity and what follows from them.
#[derive(Clone, Debug, PartialEq)]
pub struct Potentials {
    /// Added mass over density, modes sway, heave, roll: m2, m3, m4; both hulls together.
    pub a: [[f64; 3]; 3],
    /// Damping over density, likewise per second; from the radiated energy, hence positive
    /// semidefinite; see also [`SectionSolver::pressure_damping`].
    pub b: [[f64; 3]; 3],
    /// Potential per unit velocity of each mode on the starboard hull's body panels; to port it
    /// is the same in heave and opposite in sway and roll.
    pub phi: [Vec<Complex64>; 3],
    /// Amplitude the starboard hull sends to +y and to -y: φ -> C exp(-K z - i K |y|).
    pub radiated: [[Complex64; 2]; 3],
}

/// Parity of the port hull's potential in sway, heave, roll.
pub const PARITY: [f64; 3] = [-1.0, 1.0, -1.0];
