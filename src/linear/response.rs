//! Transfer functions from waves to motions.
//!
//! # Equation
//! ```text
//! (i omega_e I - A) X = B_w a(omega_0, mu)          realised: memory as fitted states
//! the same with the memory states replaced by A(omega_e), B(omega_e) of the tables
//! ```
//!
//! # Symbols
//! X complex amplitude of the state per unit wave amplitude, time factor exp(+i omega_e t), phase
//! as lead over the crest at O; a the channel amplitudes of the plant.
//!
//! # Valid when
//! The linear model is: small motions about a stable equilibrium.
//!
//! # Source
//! Definition of the frequency response; Cummins (1962) for the link of memory and tables.
//!
//! # Checked by
//! `tests/time_vs_frequency.rs`, `long_waves_carry_the_craft` (tests/physics_limits.rs).

use nalgebra::{DMatrix, DVector, Matrix6, Vector3};
use num_complex::Complex64;

use super::assemble::LinearModel;
use crate::dynamics::plant::Plant;
use crate::dynamics::rigid_body::momentum_cross_by_momentum;
use crate::dynamics::state::StateLayout;
use crate::frames::encounter_rad_s;

/// Response of the whole state to a wave of unit amplitude.
#[derive(Clone, Debug)]
pub struct WaveResponse {
    /// Wave frequency, rad/s.
    pub omega_rad_s: f64,
    /// Signed encounter frequency, rad/s.
    pub omega_e_rad_s: f64,
    /// Complex amplitude of every state.
    pub state: DVector<Complex64>,
}

impl WaveResponse {
    /// Motion of O: surge, sway, heave (m/m) and roll, pitch, yaw (rad/m).
    pub fn motion(&self) -> [Complex64; 6] {
        std::array::from_fn(|i| self.state[i])
    }

    /// Earth-fixed displacement of the craft's point `r_m` along x, y, z (down), m/m.
    pub fn displacement(&self, r_m: &Vector3<f64>) -> [Complex64; 3] {
        let m = self.motion();
        [
            m[0] + m[4] * r_m.z - m[5] * r_m.y,
            m[1] + m[5] * r_m.x - m[3] * r_m.z,
            m[2] + m[3] * r_m.y - m[4] * r_m.x,
        ]
    }

    /// Earth-fixed vertical acceleration (down positive) of a point, m/s2 per m.
    pub fn vertical_acceleration(&self, r_m: &Vector3<f64>) -> Complex64 {
        self.displacement(r_m)[2] * (-self.omega_e_rad_s * self.omega_e_rad_s)
    }
}

/// Response by the realised linear model.
///
/// Returns `None` where the matrix is singular (an undamped mode met exactly).
pub fn realised(
    model: &LinearModel,
    plant: &Plant,
    omega_rad_s: f64,
    mu_rad: f64,
) -> Option<WaveResponse> {
    let omega_e = encounter_rad_s(omega_rad_s, plant.speed_m_s, mu_rad, plant.g_m_s2);
    let system = shifted(&model.a, omega_e);
    let forcing = forcing(model, plant, omega_rad_s, mu_rad);
    solve(system, &forcing, omega_rad_s, omega_e)
}

/// Response with the memory taken from tables: `added_mass` and `damping` at |omega_e|.
pub fn tabulated(
    model: &LinearModel,
    plant: &Plant,
    omega_rad_s: f64,
    mu_rad: f64,
    added_mass: &Matrix6<f64>,
    damping: &Matrix6<f64>,
) -> Option<WaveResponse> {
    let omega_e = encounter_rad_s(omega_rad_s, plant.speed_m_s, mu_rad, plant.g_m_s2);
    let mut a = model.a.clone();
    let m = model.layout.memory.clone();
    // cut the memory off: its states then stay at zero
    a.columns_mut(m.start, m.len()).fill(0.0);
    let mut system = shifted(&a, omega_e);
    let i = Complex64::i();
    let nu0 = nalgebra::Vector6::from_column_slice(&model.x0[StateLayout::NU]);
    let cross = momentum_cross_by_momentum(&nu0);
    // momentum of the memory per velocity: A - A_inf + B / (i omega); its rate is the force
    let momentum = Matrix6::from_fn(|r, c| {
        Complex64::from(added_mass[(r, c)] - plant.memory.a_inf[(r, c)])
            + damping[(r, c)] / (i * omega_e)
    });
    let rate = Matrix6::from_fn(|r, c| {
        Complex64::from(cross[(r, c)]) + if r == c { i * omega_e } else { Complex64::ZERO }
    });
    let force = rate * momentum;
    let inverse = plant.mass_inverse().map(Complex64::from);
    let acceleration = inverse * force;
    for r in 0..6 {
        for c in 0..6 {
            system[(6 + r, 6 + c)] += acceleration[(r, c)];
        }
    }
    let forcing = forcing(model, plant, omega_rad_s, mu_rad);
    solve(system, &forcing, omega_rad_s, omega_e)
}

pub(super) fn shifted(a: &DMatrix<f64>, omega_e: f64) -> DMatrix<Complex64> {
    let mut s = a.map(|v| Complex64::new(-v, 0.0));
    for k in 0..s.nrows() {
        s[(k, k)] += Complex64::new(0.0, omega_e);
    }
    s
}

pub(super) fn forcing(
    model: &LinearModel,
    plant: &Plant,
    omega: f64,
    mu: f64,
) -> DVector<Complex64> {
    let mut amplitudes = vec![Complex64::ZERO; plant.channels().len()];
    plant.channel_amplitudes(omega, mu, &mut amplitudes);
    model.b_waves.map(Complex64::from) * DVector::from_vec(amplitudes)
}

fn solve(
    system: DMatrix<Complex64>,
    forcing: &DVector<Complex64>,
    omega_rad_s: f64,
    omega_e_rad_s: f64,
) -> Option<WaveResponse> {
    let state = system.lu().solve(forcing)?;
    state
        .iter()
        .all(|v| v.re.is_finite() && v.im.is_finite())
        .then_some(WaveResponse {
            omega_rad_s,
            omega_e_rad_s,
            state,
        })
}
