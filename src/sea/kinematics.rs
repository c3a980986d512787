//! Elevation and orbital motion under a wave component (Airy).
//!
//! # Equation
//! ```text
//! E   = a exp(i (omega_e t - k (x cos mu + y sin mu) + phase)) exp(-k z)
//! zeta (up) = Re E at z = 0          p = rho g E            (without the hydrostatic part)
//! u_x = omega cos mu E               u_y = omega sin mu E   u_z (down) = -i omega E
//! du/dt = i omega u                  (local acceleration, axes at rest)
//! ```
//! Functions give complex amplitudes at t = 0: the value at t is Re{amplitude exp(i omega_e t)}.
//!
//! # Symbols
//! x, y, z (`x_m`, `y_m`, `z_m`) point in axes moving with the mean speed, z down from the mean
//! surface; k `wave_number_rad_m`; omega wave frequency, omega_e encounter frequency, rad/s.
//!
//! # Valid when
//! Small waves in deep water. Stretching rule, the same for hulls and fins: kinematics are taken at
//! the craft-fixed mean position (the craft rides with the wave); above the mean surface (z < 0)
//! the value of the surface is kept.
//!
//! # Source
//! Airy (1845); Newman (1977), Marine Hydrodynamics, sec. 6.1-6.3.
//!
//! # Checked by
//! `published_dispersion`, `velocity_is_the_gradient_of_a_potential`,
//! `crest_moves_with_the_wave_and_meets_port_first`, `pressure_balances_the_elevation`.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::realisation::Component;
use crate::units::G_M_S2;

/// Complex amplitudes of one component at one point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Orbital {
    /// Elevation above the point's (x, y), m, up.
    pub elevation_m: Complex64,
    /// Velocity x forward, y to starboard, z down, m/s.
    pub velocity_m_s: [Complex64; 3],
    /// Local acceleration in axes at rest, m/s2.
    pub acceleration_m_s2: [Complex64; 3],
    /// Dynamic pressure, Pa.
    pub pressure_pa: Complex64,
}

/// Kinematics of a component at (x, y, z), water of density `rho_kg_m3`.
pub fn orbital(c: &Component, x_m: f64, y_m: f64, z_m: f64, rho_kg_m3: f64) -> Orbital {
    let k = c.wave_number_rad_m();
    let w = c.omega_rad_s;
    let (sin_mu, cos_mu) = c.mu_rad.sin_cos();
    let phase = c.phase_rad - k * (x_m * cos_mu + y_m * sin_mu);
    let elevation_m = Complex64::from_polar(c.amplitude_m, phase);
    let e = elevation_m * (-k * z_m.max(0.0)).exp();
    let i = Complex64::I;
    let velocity_m_s = [e * (w * cos_mu), e * (w * sin_mu), -i * w * e];
    Orbital {
        elevation_m,
        velocity_m_s,
        acceleration_m_s2: velocity_m_s.map(|u| i * w * u),
        pressure_pa: e * (rho_kg_m3 * G_M_S2),
    }
}

/// Wave number (rad/m) of a frequency; `depth_m` infinite for deep water.
pub fn wave_number_rad_m(omega_rad_s: f64, depth_m: f64) -> f64 {
    let deep = omega_rad_s * omega_rad_s / G_M_S2;
    if !depth_m.is_finite() || deep * depth_m > 30.0 {
        return deep;
    }
    // Newton on k tanh(k h) = omega^2/g from the shallow or deep limit, whichever is larger
    let mut k = deep.max(omega_rad_s / (G_M_S2 * depth_m).sqrt());
    for _ in 0..30 {
        let t = (k * depth_m).tanh();
        let f = k * t - deep;
        let df = t + k * depth_m * (1.0 - t * t);
        let step = f / df;
        k -= step;
        if step.abs() < 1e-14 * k {
            break;
        }
    }
    k
}

/// Phase and group speed (m/s) of a frequency; `depth_m` infinite for deep water.
pub fn speeds_m_s(omega_rad_s: f64, depth_m: f64) -> (f64, f64) {
    let k = wave_number_rad_m(omega_rad_s, depth_m);
    let c = omega_rad_s / k;
    let kh = 2.0 * k * depth_m;
    let ratio = if kh < 60.0 { kh / kh.sinh() } else { 0.0 };
    (c, 0.5 * c * (1.0 + ratio))
}

/// Wave length (m) of a frequency; `depth_m` infinite for deep water.
pub fn wavelength_m(omega_rad_s: f64, depth_m: f64) -> f64 {
    TAU / wave_number_rad_m(omega_rad_s, depth_m)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::RHO_SEA_KG_M3;
    use std::f64::consts::FRAC_PI_2;

    const WAVE: Component = Component {
        omega_rad_s: 0.9,
        mu_rad: 0.6,
        amplitude_m: 0.7,
        phase_rad: 0.4,
    };

    #[test]
    fn published_dispersion() {
        // references/A_waves.json disp.*: T, h, k, wavelength, c, cg
        for [t, h, k, l, c, cg] in [
            [
                8.0,
                f64::INFINITY,
                0.062901223,
                99.889717,
                12.486215,
                6.2431073,
            ],
            [8.0, 20.0, 0.070780535, 88.769961, 11.096245, 7.4062582],
            [10.0, 10.0, 0.068032372, 92.355817, 9.2355817, 8.0679843],
            [5.0, 5.0, 0.20734901, 30.302461, 6.0604922, 4.6358061],
            [12.0, 50.0, 0.030682857, 204.77836, 17.064864, 10.972484],
        ] {
            let w = TAU / t;
            let (c_got, cg_got) = speeds_m_s(w, h);
            for (got, want) in [
                (wave_number_rad_m(w, h), k),
                (wavelength_m(w, h), l),
                (c_got, c),
                (cg_got, cg),
            ] {
                assert!((got / want - 1.0).abs() < 1e-6, "{got} {want}"); // asked by the references
            }
        }
    }

    #[test]
    fn velocity_is_the_gradient_of_a_potential() {
        // second method: phi = i g/omega E with p = -rho dphi/dt in axes at rest
        let phi = |x: f64, y: f64, z: f64| {
            let p = orbital(&WAVE, x, y, z, RHO_SEA_KG_M3).pressure_pa;
            -p / (Complex64::I * WAVE.omega_rad_s * RHO_SEA_KG_M3)
        };
        let (x, y, z, h) = (3.0, -2.0, 4.0, 1e-4);
        let o = orbital(&WAVE, x, y, z, RHO_SEA_KG_M3);
        let g = [
            (phi(x + h, y, z) - phi(x - h, y, z)) / (2.0 * h),
            (phi(x, y + h, z) - phi(x, y - h, z)) / (2.0 * h),
            (phi(x, y, z + h) - phi(x, y, z - h)) / (2.0 * h),
        ];
        for (a, b) in g.iter().zip(&o.velocity_m_s) {
            assert!((a - b).norm() < 1e-8, "{a} {b}"); // central difference, h = 1e-4 m
        }
        // the surface moves with the water: d zeta/dt = -u_z at z = 0
        let s = orbital(&WAVE, x, y, 0.0, RHO_SEA_KG_M3);
        let rate = Complex64::I * WAVE.omega_rad_s * s.elevation_m;
        assert!((rate + s.velocity_m_s[2]).norm() < 1e-12);
    }

    #[test]
    fn crest_moves_with_the_wave_and_meets_port_first() {
        let c = Component {
            mu_rad: FRAC_PI_2,
            phase_rad: 0.0,
            ..WAVE
        };
        let o = orbital(&c, 0.0, 0.0, 0.0, RHO_SEA_KG_M3);
        assert!(
            o.velocity_m_s[1].re > 0.0,
            "under the crest water moves with the wave"
        );
        let port = orbital(&c, 0.0, -5.0, 0.0, RHO_SEA_KG_M3).elevation_m.arg();
        assert!(port > 0.0, "port leads");
        // time domain and complex amplitude agree
        let t = 2.7;
        let (x, y, u) = (4.0, -3.0, 6.0);
        let z = orbital(&WAVE, x, y, 0.0, RHO_SEA_KG_M3).elevation_m;
        let turn = Complex64::cis(WAVE.encounter_rad_s(u) * t);
        assert!(((z * turn).re - WAVE.elevation_m(t, x, y, u)).abs() < 1e-12);
    }

    #[test]
    fn pressure_balances_the_elevation() {
        let o = orbital(&WAVE, 1.0, 1.0, 0.0, 1000.0);
        assert!((o.pressure_pa / (1000.0 * G_M_S2) - o.elevation_m).norm() < 1e-12);
        let above = orbital(&WAVE, 1.0, 1.0, -2.0, 1000.0);
        assert_eq!(above, o, "stretching: the surface's value above it");
        let deep = orbital(&WAVE, 1.0, 1.0, 300.0, 1000.0);
        assert!(deep.velocity_m_s[0].norm() < 1e-9, "limit");
    }
}
