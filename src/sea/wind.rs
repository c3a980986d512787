//! Mean wind profile, gusts and wind force.
//!
//! # Equation
//! ```text
//! power law      U(z) = U10 (z/10)^0.12
//! NPD profile    U(z) = U10 (1 + C ln(z/10)),  C = 0.0573 sqrt(1 + 0.15 U10)
//! NPD gusts      S(f) = 320 (U10/10)^2 (z/10)^0.45 / (1 + f~^n)^(5/(3 n)),  n = 0.468,
//!                f~ = 172 f (z/10)^(2/3) (U10/10)^-0.75
//! Davenport      f S = kappa U10^2 4 x^2/(1 + x^2)^(4/3),  x = 1200 f/U10
//! Harris         f S = kappa U10^2 4 x/(2 + x^2)^(5/6),    x = 1800 f/U10
//! force          X = rho_a/2 c_x A_x V V_x,  Y = rho_a/2 c_y A_y V V_y,  V = |wind - craft|
//! ```
//!
//! # Symbols
//! z height above water, m; f frequency, Hz; S one-sided density, m2/s2 per Hz; kappa surface drag
//! coefficient (0.003 for rough seas); A projected areas, m2.
//!
//! # Valid when
//! NPD: 1/600 to 0.5 Hz, one-hour mean. Gusts are uniform over the craft and do not drift past it.
//! The force coefficients are orders of magnitude (0.6 to 1.1 for ordinary superstructures).
//!
//! # Source
//! Davenport (1961), Q. J. Roy. Met. Soc. 87; Harris (1971); NPD/Froya spectrum: ISO 19901-1
//! annex A, API RP 2MET (constants checked against references/H only).
//!
//! # Checked by
//! `published_gust_spectra`, `published_profiles`, `gusts_have_the_variance_of_their_band`,
//! `wind_pushes_where_it_blows_to`.

use std::f64::consts::TAU;

use rand::RngExt;
use rand::rngs::ChaCha8Rng;

use crate::error::{Problem, Result};
use crate::spec::sea::WindSpec;
use crate::units::{RHO_AIR_KG_M3, deg};

/// Band of the realised gusts, Hz: where the NPD spectrum holds.
pub const GUST_BAND_HZ: (f64, f64) = (1.0 / 600.0, 0.5);
/// Components of the realised gusts.
const GUSTS: usize = 80;

/// Mean wind by the power law at height `z_m`, m/s.
pub fn power_law_m_s(u10_m_s: f64, z_m: f64) -> f64 {
    u10_m_s * (z_m / 10.0).powf(0.12)
}

/// Mean wind by the NPD profile at height `z_m`, m/s.
pub fn npd_profile_m_s(u10_m_s: f64, z_m: f64) -> f64 {
    u10_m_s * (1.0 + 0.0573 * (1.0 + 0.15 * u10_m_s).sqrt() * (z_m / 10.0).ln())
}

/// NPD gust density, m2/s2 per Hz.
pub fn npd_density(f_hz: f64, u10_m_s: f64, z_m: f64) -> f64 {
    const N: f64 = 0.468;
    let x = 172.0 * f_hz * (z_m / 10.0).powf(2.0 / 3.0) * (u10_m_s / 10.0).powf(-0.75);
    320.0 * (u10_m_s / 10.0).powi(2) * (z_m / 10.0).powf(0.45)
        / (1.0 + x.powf(N)).powf(5.0 / (3.0 * N))
}

/// Davenport gust density, m2/s2 per Hz; `kappa` surface drag coefficient.
pub fn davenport_density(f_hz: f64, u10_m_s: f64, kappa: f64) -> f64 {
    let x = 1200.0 * f_hz / u10_m_s;
    4.0 * kappa * u10_m_s * u10_m_s * x * x / (1.0 + x * x).powf(4.0 / 3.0) / f_hz
}

/// Harris gust density, m2/s2 per Hz; `kappa` surface drag coefficient.
pub fn harris_density(f_hz: f64, u10_m_s: f64, kappa: f64) -> f64 {
    let x = 1800.0 * f_hz / u10_m_s;
    4.0 * kappa * u10_m_s * u10_m_s * x / (2.0 + x * x).powf(5.0 / 6.0) / f_hz
}

/// One component of the gusts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gust {
    /// Frequency, rad/s.
    pub omega_rad_s: f64,
    /// Amplitude, m/s.
    pub amplitude_m_s: f64,
    /// Phase, rad.
    pub phase_rad: f64,
}

/// Wind of one run.
#[derive(Clone, Debug, PartialEq)]
pub struct WindRealisation {
    /// Mean speed at 10 m, m/s.
    pub speed_10m_m_s: f64,
    /// Where it blows to relative to the mean course, rad.
    pub mu_rad: f64,
    /// Gusts along the mean, at 10 m; empty when off.
    pub gusts: Vec<Gust>,
}

impl WindRealisation {
    /// Wind speed at 10 m at a time, m/s, not below zero.
    pub fn speed_m_s(&self, t_s: f64) -> f64 {
        let gust: f64 = self
            .gusts
            .iter()
            .map(|g| g.amplitude_m_s * (g.omega_rad_s * t_s + g.phase_rad).cos())
            .sum();
        (self.speed_10m_m_s + gust).max(0.0)
    }
}

/// Draws the wind of one run; `mu_rad` is where the waves travel to.
///
/// # Errors
/// Speed outside 0 to 60 m/s.
pub fn realise(spec: &WindSpec, mu_rad: f64, rng: &mut ChaCha8Rng) -> Result<WindRealisation> {
    let u = spec.speed_10m_m_s;
    if !(0.0..=60.0).contains(&u) {
        return Err(Problem::at(
            "wind.speed_10m_m_s",
            format!("is {u} m/s, must lie between 0 and 60 m/s"),
        )
        .hint("one knot is 0.514 m/s")
        .into());
    }
    let gusts = if spec.gusts && u > 0.0 {
        draw(u, rng)
    } else {
        Vec::new()
    };
    Ok(WindRealisation {
        speed_10m_m_s: u,
        mu_rad: mu_rad + deg(spec.offset_deg),
        gusts,
    })
}

/// Energy of every gust that a wind of this speed has, m2/s2.
pub(super) fn gust_energies_m2_s2(u10_m_s: f64) -> Vec<f64> {
    (0..GUSTS).map(|i| gust_energy_m2_s2(i, u10_m_s)).collect()
}

/// Ends of the band of gust `i`, Hz.
fn gust_band_hz(i: usize) -> (f64, f64) {
    let (lo, hi) = GUST_BAND_HZ;
    let edge = |i: usize| lo * (hi / lo).powf(i as f64 / GUSTS as f64);
    (edge(i), edge(i + 1))
}

/// Energy of gust `i`: Simpson over its band in the frequency itself.
fn gust_energy_m2_s2(i: usize, u10_m_s: f64) -> f64 {
    let (a, b) = gust_band_hz(i);
    let s = |x: f64| npd_density(x, u10_m_s, 10.0);
    (b - a) / 6.0 * (s(a) + 4.0 * s(0.5 * (a + b)) + s(b))
}

fn draw(u10_m_s: f64, rng: &mut ChaCha8Rng) -> Vec<Gust> {
    (0..GUSTS)
        .map(|i| {
            let (a, b) = gust_band_hz(i);
            let (u_f, u_a, u_p): (f64, f64, f64) = (rng.random(), rng.random(), rng.random());
            let f = a * (b / a).powf(u_f);
            let energy = gust_energy_m2_s2(i, u10_m_s);
            Gust {
                omega_rad_s: TAU * f,
                amplitude_m_s: (-2.0 * energy * (1.0 - u_a).ln()).sqrt(),
                phase_rad: TAU * u_p,
            }
        })
        .collect()
}

/// What the wind sees of a craft.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindAreas {
    /// Projected area from ahead, m2.
    pub frontal_m2: f64,
    /// Projected area from the side, m2.
    pub lateral_m2: f64,
    /// Force coefficient along x.
    pub c_x: f64,
    /// Force coefficient along y.
    pub c_y: f64,
    /// x of the lateral area's centre, m from O, forward positive.
    pub lateral_x_m: f64,
    /// Height of both areas' centre above the water, m.
    pub height_m: f64,
}

/// Wind force and moment about O in body axes: X, Y (N), roll K, pitch M, yaw N (N m), when the
/// wind at the areas' height blows with velocity (`wind_x`, `wind_y`) and the craft moves with
/// (`u`, `v`), all m/s in body axes.
pub fn wind_load(areas: &WindAreas, wind_x: f64, wind_y: f64, u: f64, v: f64) -> [f64; 5] {
    let (vx, vy) = (wind_x - u, wind_y - v);
    let q = 0.5 * RHO_AIR_KG_M3 * vx.hypot(vy);
    let x = q * areas.c_x * areas.frontal_m2 * vx;
    let y = q * areas.c_y * areas.lateral_m2 * vy;
    let z = -areas.height_m; // z down
    [x, y, -z * y, z * x, areas.lateral_x_m * y]
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    const TOL_PRINTED: f64 = 1e-5; // asked by the references

    #[test]
    fn published_gust_spectra() {
        // references/H wind.U10, wind.U20 at 0.005, 0.02, 0.1 Hz, kappa 0.003
        for (u, dav, har, npd) in [
            (
                10.0,
                [57.340551, 27.038223, 2.2684005],
                [91.312833, 22.664393, 1.738224],
                [30.670965, 8.3602939, 1.2118901],
            ),
            (
                20.0,
                [77.02146, 105.20926, 14.015484],
                [223.72807, 108.65282, 10.870562],
                [181.52021, 56.832131, 9.446547],
            ),
        ] {
            for (i, f) in [0.005, 0.02, 0.1].into_iter().enumerate() {
                for (got, want) in [
                    (davenport_density(f, u, 0.003), dav[i]),
                    (harris_density(f, u, 0.003), har[i]),
                    (npd_density(f, u, 10.0), npd[i]),
                ] {
                    assert!((got / want - 1.0).abs() < TOL_PRINTED, "{got} {want}");
                }
            }
            // dav_var: 6 kappa U^2, integrated in the logarithm of the frequency
            let h = 1e-3_f64;
            let var: f64 = (-20_000..12_000)
                .map(|i| {
                    let f = (h * f64::from(i)).exp();
                    davenport_density(f, u, 0.003) * f * h
                })
                .sum();
            let tail = 1.5e-4; // the x^(-2/3) tail above e^12 Hz
            assert!((var / (6.0 * 0.003 * u * u) - 1.0).abs() < tail, "{var}");
        }
    }

    #[test]
    fn published_profiles() {
        // references/H wind.profile, U10 = 15
        for (z, want) in [(5.0, 13.802815), (20.0, 16.301023), (30.0, 17.113775)] {
            assert!((power_law_m_s(15.0, z) / want - 1.0).abs() < TOL_PRINTED);
        }
        for (z, want) in [(20.0, 16.074022), (30.0, 16.702284)] {
            assert!((npd_profile_m_s(15.0, z) / want - 1.0).abs() < TOL_PRINTED);
        }
    }

    #[test]
    fn gusts_have_the_variance_of_their_band() {
        let spec = WindSpec {
            speed_10m_m_s: 12.0,
            offset_deg: 20.0,
            gusts: true,
        };
        let n = 400;
        let mean: f64 = (0..n)
            .map(|seed| {
                let w = realise(&spec, 1.0, &mut ChaCha8Rng::seed_from_u64(seed)).unwrap();
                assert!((w.mu_rad - 1.0 - 20f64.to_radians()).abs() < 1e-12);
                w.gusts
                    .iter()
                    .map(|g| 0.5 * g.amplitude_m_s.powi(2))
                    .sum::<f64>()
            })
            .sum::<f64>()
            / n as f64;
        let (lo, hi) = GUST_BAND_HZ;
        let m = 20_000;
        let want: f64 = (0..m)
            .map(|i| {
                let f = lo + (f64::from(i) + 0.5) * (hi - lo) / f64::from(m);
                npd_density(f, 12.0, 10.0) * (hi - lo) / f64::from(m)
            })
            .sum();
        // one record's variance scatters by about 20 %; 400 records by 1 %, three of those
        assert!((mean / want - 1.0).abs() < 0.03, "{mean} {want}");
    }

    #[test]
    fn wind_pushes_where_it_blows_to() {
        let a = WindAreas {
            frontal_m2: 60.0,
            lateral_m2: 100.0,
            c_x: 0.7,
            c_y: 0.9,
            lateral_x_m: 2.0,
            height_m: 5.0,
        };
        let [x, y, k, m, n] = wind_load(&a, 0.0, 10.0, 0.0, 0.0);
        assert!(x.abs() < 1e-12 && m.abs() < 1e-9);
        assert!((y - 0.5 * 1.225 * 0.9 * 100.0 * 100.0).abs() < 1e-9);
        assert!(k > 0.0, "starboard side goes down");
        assert!(n > 0.0, "bow goes to starboard, centre forward");
        let [x, ..] = wind_load(&a, 0.0, 0.0, 8.0, 0.0);
        assert!(x < 0.0, "own speed gives a head wind");
        let [_, yp, kp, _, np] = wind_load(&a, 0.0, -10.0, 0.0, 0.0);
        assert!(
            (yp + y).abs() < 1e-9 && (kp + k).abs() < 1e-9 && (np + n).abs() < 1e-9,
            "mirror"
        );
    }
}
