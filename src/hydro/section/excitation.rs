//! Froude-Krylov and diffraction force of a section.
//!
//! # Equation
//! Incident potential i (g/ω0) e^{-k z - i k y sin μ}, pressure over density g e^{-k z - i k y sin μ}
//! per unit amplitude. Froude-Krylov: -g ∫ n_j e^{...} ds. Diffraction, by Haskind's use of
//! Green's theorem with the radiation potential of the encounter frequency (Salvesen, Tuck &
//! Faltinsen): -i ω_e ω0 ∫ φ_j (n2 sin μ - i n3) e^{-k z - i k y sin μ} ds. Both hulls.
//!
//! # Symbols
//! k = ω0²/g; μ heading the wave travels to; φ_j per unit velocity at |ω_e|, conjugate for
//! ω_e < 0. The phase e^{-i k x cos μ} of the station is the caller's.
//!
//! # Valid when
//! Deep water, slender hull (longitudinal part of the normal left to the caller).
//!
//! # Source
//! Salvesen, Tuck & Faltinsen (1970), Trans. SNAME 78, eqs. (42)-(43); Newman (1962).
//!
//! # Checked by
//! `haskind_agrees_with_pressure_integration`, `semicircle_exciting_force`,
//! `submerged_circle_exciting_force`, `overtaking_waves_conjugate`.

use num_complex::Complex64;

use crate::error::{Error, Result};
use crate::hydro::section::solve::SectionSolver;
use crate::hydro::section::system::System;
use crate::hydro::section::{PARITY, Potentials};

const PI: f64 = std::f64::consts::PI;

/// Wave force per unit length, wave amplitude and density, modes sway, heave, roll; phase is
/// the lead over the crest at the centre plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SectionWaveForce {
    /// Of the undisturbed wave's pressure.
    pub froude_krylov: [Complex64; 3],
    /// Of the disturbance by the body.
    pub diffraction: [Complex64; 3],
}

impl SectionSolver {
    /// Wave force from the potentials `pot` solved at |`omega_e`|.
    ///
    /// `omega0`: the wave's own frequency, rad/s; `omega_e`: signed encounter frequency, rad/s;
    /// `mu_rad`: heading the wave travels to; `g`: gravity, m/s2.
    pub fn wave_force(
        &self,
        pot: &Potentials,
        omega0: f64,
        omega_e: f64,
        mu_rad: f64,
        g: f64,
    ) -> SectionWaveForce {
        let k = omega0 * omega0 / g;
        let sin = mu_rad.sin();
        let zero = Complex64::new(0.0, 0.0);
        let mut out = SectionWaveForce {
            froude_krylov: [zero; 3],
            diffraction: [zero; 3],
        };
        for q in 0..self.panels.body {
            let [y, z] = self.panels.mid[q];
            let [n2, n3] = self.panels.normal[q];
            let n = self.panels.mode_normals(q);
            let l = self.panels.length[q];
            // integral of the wave over the straight panel and over its mirror image
            let along = |sin: f64| {
                let half = Complex64::new(n2, -sin * n3) * (0.5 * k * l);
                Complex64::from_polar((-k * z).exp(), -k * y * sin) * sinhc(half) * l
            };
            let (mean, port) = (along(sin), along(-sin));
            for j in 0..3 {
                out.froude_krylov[j] -= (mean + port * PARITY[j]) * (g * n[j]);
                let phi = if omega_e < 0.0 {
                    pot.phi[j][q].conj()
                } else {
                    pot.phi[j][q]
                };
                let here = mean * Complex64::new(n2 * sin, -n3);
                let there = port * Complex64::new(-n2 * sin, -n3) * PARITY[j];
                out.diffraction[j] += Complex64::new(0.0, -omega_e * omega0) * phi * (here + there);
            }
        }
        out
    }

    /// Whole wave force in beam seas by solving the diffraction problem and integrating the
    /// pressure: a second way to [`Self::wave_force`], zero speed. `to_starboard` for mu = 90
    /// degrees. Returns [twin, isolated], per unit length, amplitude and density.
    ///
    /// The potential of wave and body together obeys π φ + ∫ φ ∂G/∂n ds = 2π φ0.
    ///
    /// # Errors
    /// When the frequency is not positive or the system is singular.
    pub fn diffract(&self, omega: f64, to_starboard: bool, g: f64) -> Result<[[Complex64; 3]; 2]> {
        let k = omega * omega / g;
        if !(omega > 0.0 && k.is_finite()) {
            return Err(Error::new(format!(
                "section frequency is {omega} rad/s, must be positive"
            )));
        }
        let s = self.assemble(k);
        let singular = || Error::new(format!("section equations are singular at {omega} rad/s"));
        let side = if to_starboard { 1.0 } else { -1.0 };
        // e^{-K z - i K y side} = cos part + i side (-sin part), as in the collocation points' wave
        let parts: [Vec<f64>; 2] = [
            s.point.iter().map(|p| 2.0 * PI * p.re).collect(),
            s.point.iter().map(|p| 2.0 * PI * p.im).collect(),
        ];
        let mut out = [[Complex64::new(0.0, 0.0); 3]; 2];
        let alone = System::alone(&s).ok_or_else(singular)?;
        for (part, sign) in parts.iter().zip([1.0, -1.0]) {
            let twin = System::twin(&s, sign)
                .ok_or_else(singular)?
                .solve(part, [0.0; 2]);
            let single = alone.solve(part, [0.0; 2]);
            let factor = if sign > 0.0 {
                Complex64::new(g, 0.0)
            } else {
                Complex64::new(0.0, g * side)
            };
            for q in 0..self.panels.body {
                let n = self.panels.mode_normals(q);
                let l = self.panels.length[q];
                for j in 0..3 {
                    // the port hull sees the wave mirrored: even part the same, odd part opposite
                    let both = 1.0 + sign * PARITY[j];
                    out[0][j] -= factor * twin[q] * (both * n[j] * l);
                    out[1][j] -= factor * single[q] * (both * n[j] * l);
                }
            }
        }
        Ok(out)
    }
}

/// sinh(x)/x.
fn sinhc(x: Complex64) -> Complex64 {
    if x.norm() < 1e-2 {
        let x2 = x * x;
        return (x2 / 20.0 + 1.0) * x2 / 6.0 + 1.0;
    }
    x.sinh() / x
}
