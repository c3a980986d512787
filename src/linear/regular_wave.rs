//! Response to a regular wave of finite amplitude: quadratic drag linearised by its harmonic.
//!
//! # Equation
//! ```text
//! |s| s  ->  8/(3 pi) S s   for s of amplitude S at each drag element, s = j nu - orbital velocity
//! (i omega_e I - A + B D) X = B_w a + B F_D,   D = sum c_e 8/(3 pi) S_e j j',  B = rows of M^-1
//! ```
//! solved for one frequency at a time by iteration on S; A holds no drag.
//!
//! # Symbols
//! X complex amplitude of the state per unit wave amplitude, D equivalent damping (N s/m), F_D its
//! wave force per unit amplitude, c_e drag of an element (N s2/m2), j its row.
//!
//! # Valid when
//! The motion is nearly harmonic and small but for the drag; cross-flow of the equilibrium itself
//! (trim by pitch) is left out.
//!
//! # Source
//! First harmonic of a quadratic damping: common practice, the describing function of Gelb & Vander
//! Velde (1968).
//!
//! # Checked by
//! `drag_falls_away_with_the_amplitude`, `the_answer_solves_its_own_equation`.

use nalgebra::{DMatrix, DVector, Matrix6, Vector6};
use num_complex::Complex64;

use super::assemble::{LinearModel, assemble};
use super::response::{WaveResponse, forcing, shifted};
use crate::dynamics::plant::Plant;
use crate::frames::encounter_rad_s;
use crate::hydro::viscous::harmonic_speed;

/// Iterations at most; the fixed point is a contraction once under-relaxed.
const ITERATIONS: usize = 60;
/// Change of the equivalent speeds that ends the iteration, relative.
const CLOSE_ENOUGH: f64 = 1e-5;

/// The linear model to give to [`response`]: without any drag in it.
pub fn model_without_drag(plant: &Plant, x0: &[f64]) -> LinearModel {
    assemble(plant, x0, Some(&Matrix6::zeros()))
}

/// Response per unit amplitude to a wave of amplitude `amplitude_m`, by a model of
/// [`model_without_drag`]. None where the system is singular.
pub fn response(
    model: &LinearModel,
    plant: &Plant,
    omega_rad_s: f64,
    mu_rad: f64,
    amplitude_m: f64,
) -> Option<WaveResponse> {
    let omega_e_rad_s = encounter_rad_s(omega_rad_s, plant.speed_m_s, mu_rad, plant.g_m_s2);
    let n = model.a.nrows();
    let mut right = DMatrix::zeros(n, 7);
    let inverse = plant.mass_inverse().map(Complex64::from);
    right.view_mut((6, 0), (6, 6)).copy_from(&inverse);
    right.set_column(6, &forcing(model, plant, omega_rad_s, mu_rad));
    let solved = shifted(&model.a, omega_e_rad_s).lu().solve(&right)?;
    let free: DVector<Complex64> = solved.column(6).into_owned();
    let by_force = solved.columns(0, 6).into_owned();
    let state = if plant.quadratic_drag && amplitude_m > 0.0 {
        let force = drag_force(plant, &free, &by_force, omega_rad_s, mu_rad, amplitude_m)?;
        &free + &by_force * force
    } else {
        free
    };
    let finite = |v: &Complex64| v.re.is_finite() && v.im.is_finite();
    state.iter().all(finite).then_some(WaveResponse {
        omega_rad_s,
        omega_e_rad_s,
        state,
    })
}

/// Complex amplitude of the drag's wrench per unit wave amplitude, by iteration.
fn drag_force(
    plant: &Plant,
    free: &DVector<Complex64>,
    by_force: &DMatrix<Complex64>,
    omega_rad_s: f64,
    mu_rad: f64,
    amplitude_m: f64,
) -> Option<Vector6<Complex64>> {
    let elements = plant.viscous.drag_elements();
    let mut orbital = plant.viscous.drag_orbital(omega_rad_s, mu_rad);
    if plant.wave_force.is_none() {
        orbital.fill(Complex64::ZERO);
    }
    let nu_free = Vector6::from_fn(|i, _| free[6 + i]);
    let nu_by_force = Matrix6::from_fn(|i, j| by_force[(6 + i, j)]);
    let mut nu = nu_free;
    let mut speeds = vec![0.0; elements.len()];
    for step in 0..ITERATIONS {
        let mut change: f64 = 0.0;
        let mut largest: f64 = f64::MIN_POSITIVE;
        for ((s, e), o) in speeds.iter_mut().zip(elements).zip(&orbital) {
            let found = harmonic_speed(amplitude_m * relative(e.row, &nu, *o).norm());
            change = change.max((found - *s).abs());
            largest = largest.max(found);
            // halfway between old and new: the plain iteration swings about its goal
            *s = if step == 0 { found } else { 0.5 * (*s + found) };
        }
        let mut pull = Vector6::zeros();
        for ((s, e), o) in speeds.iter().zip(elements).zip(&orbital) {
            pull += e.row.map(Complex64::from) * (o * (e.drag_n_s2_m2 * s));
        }
        let d = plant.viscous.drag_matrix(&speeds).map(Complex64::from);
        // nu = nu_free + G (pull - D nu)
        let system = Matrix6::identity() + nu_by_force * d;
        nu = system.lu().solve(&(nu_free + nu_by_force * pull))?;
        if step > 0 && change < CLOSE_ENOUGH * largest {
            return Some(pull - d * nu);
        }
    }
    None
}

/// Velocity of an element relative to the water, complex amplitude.
fn relative(row: Vector6<f64>, nu: &Vector6<Complex64>, orbital: Complex64) -> Complex64 {
    let own: Complex64 = row.iter().zip(nu.iter()).map(|(j, v)| *v * *j).sum();
    own - orbital
}
