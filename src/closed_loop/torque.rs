//! Torque of the water about the stock of every surface, for the work of its servo.
//!
//! # Equation
//! ```text
//! n = (incidence + kappa delta) U - h nu        w = W n + K o - sum e^(-i omega x/U) eps w_from C_La
//! alpha = w/U - kappa delta                     Q = Q(alpha0, delta0) + Q_alpha alpha + Q_delta delta
//! ```
//!
//! # Symbols
//! n normal inflow by motion, o by the waves, w behind the lags (m/s); W, K Wagner's and Kussner's
//! functions; h row of the surface's normal, nu body velocities; eps downwash angle per lift coefficient
//! of a surface x ahead, C_La its lift slope; kappa deflection over incidence; Q torque in the sense of
//! delta (N m).
//!
//! # Valid when
//! Small angles; the change of lift with depth is left out.
//!
//! # Source
//! Linear form of [`crate::dynamics::surface_force`] and of [`crate::hydro::surface::Surface::hinge_moment_nm`].
//!
//! # Checked by
//! `forecast_and_record_side_by_side` (tests/agreement.rs).

use nalgebra::Vector6;
use num_complex::Complex64;

use super::evaluate::Evaluation;
use super::output::Output;
use crate::dynamics::plant::{Plant, orbital};
use crate::dynamics::surface_force as lift;
use crate::frames::wrench_at;
use crate::hydro::unsteady::{kussner_response, reduced_frequency, wagner_response};

/// Step of the derivatives of the torque, rad: its curve is smooth over degrees.
const STEP_RAD: f64 = 1e-3;

/// Mean torque (N m) and its response to every slice, surface by surface.
pub(super) fn torques(e: &Evaluation<'_>, omega: &[f64]) -> Vec<(f64, Vec<Complex64>)> {
    let craft = &e.sea.speed.craft;
    let plant = &craft.plant;
    let nu: Vec<Vec<Complex64>> = (0..6).map(|j| e.response(Output::Velocity(j))).collect();
    let angle: Vec<Vec<Complex64>> = (0..plant.surfaces.len())
        .map(|i| e.response(Output::Angle(i)))
        .collect();
    let u = craft.trim.x[6];
    let mean = means(plant, &craft.trim.x, &craft.trim.surface_rad);
    let mut inflow: Vec<Vec<Complex64>> = (0..plant.surfaces.len())
        .map(|i| behind_lags(e, i, omega, &nu, &angle[i]))
        .collect();
    for link in &plant.links {
        let from = &plant.surfaces[link.from];
        let gain = link.angle_per_lift_coefficient * from.slope_incidence;
        let shed = inflow[link.from].clone();
        for ((w, s), o) in inflow[link.to].iter_mut().zip(shed).zip(omega) {
            *w -= s * gain * Complex64::cis(-o * link.distance_m / u);
        }
    }
    plant
        .surfaces
        .iter()
        .enumerate()
        .map(|(i, s)| {
            let q_pa = 0.5 * plant.rho_kg_m3 * u * u;
            let (alpha, delta) = (mean[i], craft.trim.surface_rad[i]);
            let at = |a: f64, d: f64| s.hinge_moment_nm(q_pa, alpha + a, delta + d);
            let h = STEP_RAD;
            let by_alpha = (at(h, 0.0) - at(-h, 0.0)) / (2.0 * h);
            let by_delta = (at(0.0, h) - at(0.0, -h)) / (2.0 * h) - by_alpha * lift::kappa(s);
            let response = inflow[i].iter().zip(&angle[i]);
            let response = response.map(|(w, d)| w * (by_alpha / u) + d * by_delta);
            (at(0.0, 0.0), response.collect())
        })
        .collect()
}

/// Incidence of every surface at trim, rad.
fn means(plant: &Plant, x: &[f64], angles_rad: &[f64]) -> Vec<f64> {
    let u = x[6];
    let mut inflow: Vec<f64> = plant
        .surfaces
        .iter()
        .zip(angles_rad)
        .map(|(s, d)| {
            let h = wrench_at(&s.r_m, &s.n);
            let across: f64 = (1..6).map(|j| h[j] * x[6 + j]).sum();
            (s.incidence_rad + lift::kappa(s) * d) * u - across
        })
        .collect();
    for link in &plant.links {
        let gain = link.angle_per_lift_coefficient * plant.surfaces[link.from].slope_incidence;
        inflow[link.to] -= gain * inflow[link.from];
    }
    plant
        .surfaces
        .iter()
        .zip(angles_rad)
        .zip(&inflow)
        .map(|((s, d), w)| w / u - lift::kappa(s) * d)
        .collect()
}

/// Normal inflow of a surface behind the unsteady lags, without downwash.
fn behind_lags(
    e: &Evaluation<'_>,
    i: usize,
    omega: &[f64],
    nu: &[Vec<Complex64>],
    angle: &[Complex64],
) -> Vec<Complex64> {
    let craft = &e.sea.speed.craft;
    let plant = &craft.plant;
    let (s, u) = (&plant.surfaces[i], craft.trim.x[6]);
    let h: Vector6<f64> = wrench_at(&s.r_m, &s.n);
    let turned = lift::kappa(s) * u;
    omega
        .iter()
        .enumerate()
        .map(|(k, o)| {
            let across: Complex64 = (0..6).map(|j| nu[j][k] * h[j]).sum();
            let motion = angle[k] * turned - across;
            let water = match e.sea.waves.get(k) {
                Some(w) if plant.orbital_at_surfaces => {
                    orbital(w.omega_rad_s, w.mu_rad, plant.g_m_s2, &s.r_m, &s.n)
                }
                _ => Complex64::ZERO,
            };
            if !plant.unsteady_lag {
                return motion + water;
            }
            let reduced = reduced_frequency(*o, u, 0.5 * s.mac_m);
            motion * wagner_response(reduced) + water * kussner_response(reduced)
        })
        .collect()
}
