//! Boundary-element solution at a frequency.
//!
//! # Equation
//! For P on the body π φ + ∫ φ ∂G/∂n ds + ∫_lid φ ∂G/∂n ds = ∫ n_j G ds, for P on the lid
//! -2π φ + (the same) : the lid's potential is zero and the interior problem behind irregular
//! frequencies becomes one with a rigid lid, which has no eigenfrequency. Heave of the twin is
//! even and sway and roll are odd in y, so three systems share one assembly: own, own + other,
//! own - other. The imaginary part of G is a product of functions of P and Q: it enters as a
//! change of rank one (twin) or two (one hull) on real factors, so nothing complex is factored.
//! A + B/(i ω) = -∫ φ_i n_j ds over both hulls.
//!
//! # Symbols
//! n out of the body; φ per unit velocity; K = ω²/g.
//!
//! # Valid when
//! ω > 0 (for ω_e < 0 take the conjugate potentials of |ω_e|; A and B are even in ω).
//!
//! # Source
//! Frank (1967), NSRDC 2375; Lee, Newman & Zhu (1996), Int. J. Num. Meth. Fluids 23 (lid).
//!
//! # Checked by
//! tests in `tests/`: `semicircle`, `submerged`, `strut`, `twin`, `identities`, `irregular`.

use num_complex::Complex64;

use crate::error::{Error, Result};
use crate::geometry::contour::Contour;
use crate::hydro::section::assemble::Assembly;
use crate::hydro::section::influence::Influence;
use crate::hydro::section::panels::Panels;
use crate::hydro::section::system::System;
use crate::hydro::section::{PARITY, Potentials, SectionFlow, SectionOptions};

const PI: f64 = std::f64::consts::PI;

/// A section ready to be solved at any frequency; shared freely between threads.
pub struct SectionSolver {
    pub(crate) panels: Panels,
    pub(crate) own: Influence,
    pub(crate) other: Influence,
    /// Per vertex and mode: Σ ± n_j/(dw/ds) of the body panels that meet there.
    pub(crate) across: Vec<[Complex64; 3]>,
    /// Per vertex and mode: Σ n_j L likewise.
    pub(crate) weight: Vec<[f64; 3]>,
}

impl SectionSolver {
    /// Panels the outline and computes what does not depend on frequency.
    ///
    /// # Errors
    /// When the outline is unusable; see [`Panels::new`].
    pub fn new(contour: &Contour, options: &SectionOptions) -> Result<Self> {
        let panels = Panels::new(contour, options)?;
        let v = panels.vertices.len();
        let zero = Complex64::new(0.0, 0.0);
        let (mut across, mut weight) = (vec![[zero; 3]; v], vec![[0.0; 3]; v]);
        for q in 0..panels.body {
            let [a, b] = panels.ends[q];
            let (p, r) = (panels.vertices[a], panels.vertices[b]);
            let l = panels.length[q];
            let dw = Complex64::new(r[1] - p[1], p[0] - r[0]) / l;
            let n = panels.mode_normals(q);
            for j in 0..3 {
                across[b][j] += n[j] / dw;
                across[a][j] -= n[j] / dw;
                weight[a][j] += n[j] * l;
                weight[b][j] += n[j] * l;
            }
        }
        Ok(SectionSolver {
            own: Influence::new(&panels, false),
            other: Influence::new(&panels, true),
            panels,
            across,
            weight,
        })
    }

    /// The panels used, to integrate over.
    pub fn panels(&self) -> &Panels {
        &self.panels
    }

    /// Radiation at `omega_rad_s` > 0 under gravity `g` (m/s2), both variants.
    ///
    /// # Errors
    /// When the frequency is not positive and finite, or the system is singular.
    pub fn solve(&self, omega_rad_s: f64, g: f64) -> Result<SectionFlow> {
        let k = omega_rad_s * omega_rad_s / g;
        if !(omega_rad_s > 0.0 && k.is_finite() && k > 1e-290) {
            return Err(Error::with_hint(
                format!("section frequency is {omega_rad_s} rad/s, must be positive"),
                "take the limit problems at zero and infinity, and the conjugate potentials below zero",
            ));
        }
        let s = self.assemble(k);
        let [alone, twin] = self.radiate(&s).ok_or_else(|| {
            Error::new(format!(
                "section equations are singular at {omega_rad_s} rad/s"
            ))
        })?;
        Ok(SectionFlow {
            omega_rad_s,
            twin: self.potentials(&s, omega_rad_s, twin, true),
            isolated: self.potentials(&s, omega_rad_s, alone, false),
        })
    }

    /// Potentials of the three modes, one hull alone and with its twin.
    fn radiate(&self, s: &Assembly) -> Option<[[Vec<Complex64>; 3]; 2]> {
        let source = self.sources(s);
        let alone = System::alone(s)?;
        let single = std::array::from_fn(|j| {
            // Im G = 2π (Re P Re ∫ - Im P Im ∫)
            alone.solve(
                &s.rhs[0][j],
                [2.0 * PI * source[j].re, -2.0 * PI * source[j].im],
            )
        });
        let (even, odd) = (System::twin(s, 1.0)?, System::twin(s, -1.0)?);
        let both = std::array::from_fn(|j| {
            let sign = PARITY[j];
            let rhs: Vec<f64> = s.rhs[0][j]
                .iter()
                .zip(&s.rhs[1][j])
                .map(|(a, b)| a + sign * b)
                .collect();
            if sign > 0.0 {
                even.solve(&rhs, [4.0 * PI * source[j].re, 0.0])
            } else {
                odd.solve(&rhs, [-4.0 * PI * source[j].im, 0.0])
            }
        });
        Some([single, both])
    }

    /// Σ n_j ∫ e^{-K z + i K y} ds over the body for the three modes.
    fn sources(&self, s: &Assembly) -> [Complex64; 3] {
        let mut out = [Complex64::new(0.0, 0.0); 3];
        for q in 0..self.panels.body {
            let n = self.panels.mode_normals(q);
            for j in 0..3 {
                out[j] += s.integral[q] * n[j];
            }
        }
        out
    }

    fn potentials(
        &self,
        s: &Assembly,
        omega: f64,
        full: [Vec<Complex64>; 3],
        twin: bool,
    ) -> Potentials {
        let body = self.panels.body;
        let phi = full.map(|mut x| {
            x.truncate(body);
            x
        });
        let i = Complex64::i();
        let mut a = [[0.0; 3]; 3];
        let mut radiated = [[Complex64::new(0.0, 0.0); 2]; 3];
        for (j, phi) in phi.iter().enumerate() {
            for (q, &f) in phi.iter().enumerate() {
                let n = self.panels.mode_normals(q);
                radiated[j][0] += i * (s.integral[q] * n[j] - i * f * s.step[q]);
                radiated[j][1] += i * (s.integral[q].conj() * n[j] + i * f * s.step[q].conj());
                for l in (0..3).filter(|&l| coupled(j, l)) {
                    // half of A_jl and of A_lj, equal but for the panels' error
                    let part = n[l] * self.panels.length[q] * f.re;
                    a[l][j] -= part;
                    a[j][l] -= part;
                }
            }
        }
        let b = damping(&radiated, omega, twin);
        Potentials {
            a,
            b,
            phi,
            radiated,
        }
    }

    /// Damping over density by integrating the pressure of `pot`, solved at `omega` (rad/s): a
    /// second way to `b`, which tells the panels' error.
    pub fn pressure_damping(&self, pot: &Potentials, omega: f64) -> [[f64; 3]; 3] {
        let mut b = [[0.0; 3]; 3];
        for q in 0..self.panels.body {
            let n = self.panels.mode_normals(q);
            for (j, phi) in pot.phi.iter().enumerate() {
                for l in (0..3).filter(|&l| coupled(j, l)) {
                    b[l][j] += 2.0 * omega * n[l] * self.panels.length[q] * phi[q].im;
                }
            }
        }
        b
    }
}

/// Heave does not couple with sway and roll over both hulls.
fn coupled(j: usize, l: usize) -> bool {
    PARITY[j] * PARITY[l] > 0.0
}

/// Energy radiated to both sides: B_jl = (ω/2) Σ Re(C_j conj C_l).
fn damping(radiated: &[[Complex64; 2]; 3], omega: f64, twin: bool) -> [[f64; 3]; 3] {
    let mut b = [[0.0; 3]; 3];
    for j in 0..3 {
        for l in (0..3).filter(|&l| coupled(j, l)) {
            b[j][l] = omega
                * if twin {
                    let total = |m: usize| radiated[m][0] + radiated[m][1] * PARITY[m];
                    (total(j) * total(l).conj()).re
                } else {
                    let side = |s: usize| (radiated[j][s] * radiated[l][s].conj()).re;
                    side(0) + side(1)
                };
        }
    }
    b
}
