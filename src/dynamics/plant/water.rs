//! Motion of the water in a wave at a place of the craft.
//!
//! # Checked by
//! `waves_at_the_surfaces_are_those_of_the_sea`.

use nalgebra::Vector3;
use num_complex::Complex64;

/// Orbital velocity along `along` at `r_m` per unit amplitude, phase zero for a crest at O.
pub fn orbital(
    omega_rad_s: f64,
    mu_rad: f64,
    g_m_s2: f64,
    r_m: &Vector3<f64>,
    along: &Vector3<f64>,
) -> Complex64 {
    let k = omega_rad_s * omega_rad_s / g_m_s2;
    let (s, c) = mu_rad.sin_cos();
    let e = elevation(omega_rad_s, mu_rad, g_m_s2, r_m.x, r_m.y) * (-k * r_m.z.max(0.0)).exp();
    let horizontal = c * along.x + s * along.y;
    e * omega_rad_s * Complex64::new(horizontal, -along.z)
}

/// Wave elevation at (x, y) per unit amplitude, phase zero for a crest at O.
pub fn elevation(omega_rad_s: f64, mu_rad: f64, g_m_s2: f64, x_m: f64, y_m: f64) -> Complex64 {
    let k = omega_rad_s * omega_rad_s / g_m_s2;
    Complex64::from_polar(1.0, -k * (x_m * mu_rad.cos() + y_m * mu_rad.sin()))
}
