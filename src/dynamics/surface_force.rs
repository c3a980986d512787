//! Forces of the lifting surfaces in motion: inflow, lags, downwash, lift and drag.
//!
//! # Equation
//! ```text
//! s   = U (incidence + kappa delta) - v.n          inflow normal to the surface, m/s
//! s_e = Wagner lag of s ,  g_e = Kussner lag of the orbital velocity along n
//! s_t = s_e + g_e - U sum(eps C_L(t - x/U))        with downwash
//! alpha = s_t / U - kappa delta ,  F = n rho/2 U^2 S C_L(alpha, delta) - x rho/2 U^2 S C_D
//! ```
//!
//! # Symbols
//! U axial inflow at the surface (m/s), v its velocity (m/s), n lift direction, kappa the ratio of
//! the lift slopes of deflection and of incidence, delta deflection (rad), eps downwash angle per
//! lift coefficient of the surface upstream.
//!
//! # Valid when
//! The craft moves ahead: below [`LEAST_INFLOW_M_S`] the surface carries no lift.
//!
//! # Source
//! Lag states: R. T. Jones (1940), NACA Rep. 681. The delay exp(-s tau) is a Pade approximant with
//! numerator of order 3 and denominator of order 4, so that it has no instantaneous part.
//!
//! # Checked by
//! `delay_line_keeps_phase`, and through the plant: `linear_model_equals_central_difference`.

use nalgebra::{Vector3, Vector6};

use super::state::DELAY_ORDER;
use crate::frames::velocity_at;
use crate::hydro::surface::Surface;

/// Axial inflow below which a surface carries no lift, m/s.
pub const LEAST_INFLOW_M_S: f64 = 0.05;

/// Numerator of the delay approximant in powers of -tau s; a consequence of Pade's formula.
const DELAY_NUMERATOR: [f64; 4] = [1.0, 3.0 / 7.0, 1.0 / 14.0, 1.0 / 210.0];
/// Denominator in powers of tau s.
const DELAY_DENOMINATOR: [f64; 5] = [1.0, 4.0 / 7.0, 1.0 / 7.0, 2.0 / 105.0, 1.0 / 840.0];

/// The delay line in canonical form with time scaled by the delay: `tau z' = A z + b u`, `y = c z`.
pub(crate) fn delay_derivative(z: &[f64], u: f64, rate_1_s: f64, dz: &mut [f64]) {
    let d = &DELAY_DENOMINATOR;
    dz[0] = rate_1_s * z[1];
    dz[1] = rate_1_s * z[2];
    dz[2] = rate_1_s * z[3];
    dz[3] = rate_1_s * (u - d[0] * z[0] - d[1] * z[1] - d[2] * z[2] - d[3] * z[3]) / d[4];
}

/// Output of the delay line.
pub(crate) fn delay_output(z: &[f64]) -> f64 {
    let n = &DELAY_NUMERATOR;
    n[0] * z[0] - n[1] * z[1] + n[2] * z[2] - n[3] * z[3]
}

/// Rows of the delay line for the linear model: state matrix, input vector and output row, time
/// scaled by the delay.
pub(crate) fn delay_matrices() -> (
    [[f64; DELAY_ORDER]; DELAY_ORDER],
    [f64; DELAY_ORDER],
    [f64; DELAY_ORDER],
) {
    let mut a = [[0.0; DELAY_ORDER]; DELAY_ORDER];
    for i in 0..3 {
        a[i][i + 1] = 1.0;
    }
    for j in 0..4 {
        a[3][j] = -DELAY_DENOMINATOR[j] / DELAY_DENOMINATOR[4];
    }
    let n = &DELAY_NUMERATOR;
    (
        a,
        [0.0, 0.0, 0.0, 1.0 / DELAY_DENOMINATOR[4]],
        [n[0], -n[1], n[2], -n[3]],
    )
}

/// What a surface feels at an instant, before the downwash.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inflow {
    /// Axial inflow, m/s; zero when too slow for lift.
    pub(crate) axial_m_s: f64,
    /// Normal inflow with deflection, m/s, before the lag.
    pub(crate) normal_m_s: f64,
    /// Depth of the surface below the local water level, m.
    pub(crate) depth_m: f64,
}

/// Ratio of the lift slopes of deflection and of incidence.
pub(crate) fn kappa(s: &Surface) -> f64 {
    if s.slope_incidence > 0.0 {
        s.slope_deflection / s.slope_incidence
    } else {
        0.0
    }
}

/// Inflow at surface `s` deflected by `delta_rad`, with O moving at `nu`.
pub(crate) fn inflow(s: &Surface, nu: &Vector6<f64>, delta_rad: f64, depth_m: f64) -> Inflow {
    let v = velocity_at(nu, &s.r_m);
    let axial = if v.x > LEAST_INFLOW_M_S { v.x } else { 0.0 };
    // the axial motion does not count as normal inflow: n has no x component
    let normal = axial * (s.incidence_rad + kappa(s) * delta_rad) - v.dot(&s.n);
    Inflow {
        axial_m_s: axial,
        normal_m_s: normal,
        depth_m,
    }
}

/// Lift coefficient and drag coefficient from the lagged normal inflow; `near` is the surface's factor of depth.
pub(crate) fn coefficients(
    s: &Surface,
    flow: &Inflow,
    total_m_s: f64,
    delta_rad: f64,
    near: f64,
) -> (f64, f64) {
    if flow.axial_m_s <= 0.0 {
        return (0.0, 0.0);
    }
    let alpha = total_m_s / flow.axial_m_s - kappa(s) * delta_rad;
    let (cl, cd) = s.lift_and_drag(alpha, delta_rad);
    (cl * near, cd)
}

/// Force vector of the surface, N.
pub(crate) fn force(s: &Surface, flow: &Inflow, cl: f64, cd: f64, rho_kg_m3: f64) -> Vector3<f64> {
    let q = 0.5 * rho_kg_m3 * flow.axial_m_s * flow.axial_m_s * s.area_m2;
    s.n * (q * cl) - Vector3::x() * (q * cd)
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex64;

    #[test]
    fn delay_line_keeps_phase() {
        // against the exact exp(-i w tau): Pade (3,4) is good to 1 % up to about 3 rad of phase
        let (a, b, c) = delay_matrices();
        for wt in [0.3_f64, 1.0, 2.0, 3.0] {
            let s = Complex64::new(0.0, wt);
            // companion form: z_k = s^k z_0
            let powers: Vec<Complex64> = (0..4).map(|k| s.powi(k)).collect();
            let tail: Complex64 = (0..4).map(|j| powers[j] * a[3][j]).sum();
            let z0 = b[3] / (s.powi(4) - tail);
            let y: Complex64 = (0..4).map(|j| powers[j] * c[j]).sum::<Complex64>() * z0;
            let exact = (-s).exp();
            assert!((y - exact).norm() < 0.01, "{wt}: {y} {exact}");
        }
        let mut dz = [0.0; 4];
        delay_derivative(&[2.0, 0.0, 0.0, 0.0], 2.0, 1.0, &mut dz);
        assert!(
            dz.iter().all(|d| d.abs() < 1e-12),
            "steady state passes the input"
        );
        assert!((delay_output(&[2.0, 0.0, 0.0, 0.0]) - 2.0).abs() < 1e-12);
    }
}
