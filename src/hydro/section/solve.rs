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
use crate::hydro::section::green::table;
use crate::hydro::section::influence::Influence;
use crate::hydro::section::panels::Panels;
use crate::hydro::section::real_lu::{RealLu, dot};
use crate::hydro::section::{PARITY, Potentials, SectionFlow, SectionOptions};

const PI: f64 = std::f64::consts::PI;
/// Below this K x (shortest panel) ΔH/K would cancel and the trapezoidal rule is used.
const TINY: f64 = 1e-5;

/// A section ready to be solved at any frequency; shared freely between threads.
pub struct SectionSolver {
    pub(crate) panels: Panels,
    pub(crate) own: Influence,
    pub(crate) other: Influence,
    /// Per vertex and mode: Σ ± n_j/(dw/ds) of the body panels that meet there.
    across: Vec<[Complex64; 3]>,
    /// Per vertex and mode: Σ n_j L likewise.
    weight: Vec<[f64; 3]>,
}

/// Real system and rank-one or rank-two imaginary part of all problems at one frequency.
struct Assembly {
    own: Vec<f64>,
    other: Vec<f64>,
    own_rhs: [Vec<f64>; 3],
    other_rhs: [Vec<f64>; 3],
    /// e^{-K z - i K y} at the collocation points.
    point: Vec<Complex64>,
    /// Change of e^{-K z + i K y} over each panel.
    step: Vec<Complex64>,
    /// Integral of e^{-K z + i K y} over each body panel.
    integral: Vec<Complex64>,
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
        let singular = || {
            Error::new(format!(
                "section equations are singular at {omega_rad_s} rad/s"
            ))
        };
        let alone = self
            .solve_alone(&s, &s.own_rhs, &self.sources(&s))
            .ok_or_else(singular)?;
        let twin = self.solve_twin(&s).ok_or_else(singular)?;
        Ok(SectionFlow {
            omega_rad_s,
            twin: self.potentials(&s, omega_rad_s, twin),
            isolated: self.potentials(&s, omega_rad_s, alone),
        })
    }

    fn assemble(&self, k: f64) -> Assembly {
        let (m, v, body) = (
            self.panels.len(),
            self.panels.vertices.len(),
            self.panels.body,
        );
        let wave = |y: f64, z: f64, s: f64| Complex64::from_polar((-k * z).exp(), s * k * y);
        let point: Vec<_> = self
            .panels
            .mid
            .iter()
            .map(|p| wave(p[0], p[1], -1.0))
            .collect();
        let vertex: Vec<_> = self
            .panels
            .vertices
            .iter()
            .map(|p| wave(p[0], p[1], 1.0))
            .collect();
        let step: Vec<_> = (0..m).map(|q| vertex[(q + 1) % v] - vertex[q]).collect();
        let integral = (0..body)
            .map(|q| self.wave_integral(q, k, point[q].conj(), step[q]))
            .collect();
        let shortest = self.panels.length.iter().copied().fold(f64::MAX, f64::min);
        let tiny = k * shortest < TINY;
        let coefficient: Vec<[Complex64; 3]> = if tiny {
            self.weight
                .iter()
                .map(|w| w.map(|x| Complex64::new(-x, 0.0)))
                .collect()
        } else {
            self.across
                .iter()
                .map(|c| c.map(|x| x * (2.0 / k)))
                .collect()
        };
        let task = Task {
            k,
            tiny,
            vertex: &vertex,
            coefficient: &coefficient,
        };
        let (own, own_rhs) = self.layers(&self.own, &task, 1.0, &point);
        let (other, other_rhs) = self.layers(&self.other, &task, -1.0, &point);
        Assembly {
            own,
            other,
            own_rhs,
            other_rhs,
            point,
            step,
            integral,
        }
    }

    /// ∫ e^{-K z + i K y} ds over panel `q`, its midpoint value and end difference given.
    fn wave_integral(&self, q: usize, k: f64, mid: Complex64, step: Complex64) -> Complex64 {
        let [n2, n3] = self.panels.normal[q];
        let slope = Complex64::new(n2, n3) * k; // K (-dz + i dy)/ds
        let l = self.panels.length[q];
        let x = slope * (0.5 * l);
        if x.norm() < 1e-3 {
            mid * l * (x * x / 6.0 + 1.0)
        } else {
            step / slope
        }
    }

    /// Real double layer without the free term, and right-hand sides of the three modes.
    fn layers(
        &self,
        f: &Influence,
        t: &Task,
        side: f64,
        point: &[Complex64],
    ) -> (Vec<f64>, [Vec<f64>; 3]) {
        let (m, v, body) = (
            self.panels.len(),
            self.panels.vertices.len(),
            self.panels.body,
        );
        let table = table();
        let ln_k = t.k.ln();
        let mut matrix = vec![0.0; m * m];
        let mut rhs = [vec![0.0; m], vec![0.0; m], vec![0.0; m]];
        let mut conjugate = vec![0.0; v];
        for p in 0..m {
            let [y, z] = self.panels.mid[p];
            let at = if side < 0.0 {
                point[p].conj()
            } else {
                point[p]
            };
            let ln_w = &f.ln_w[p * v..(p + 1) * v];
            let mut sum = [0.0; 3];
            for i in 0..v {
                let q = self.panels.vertices[i];
                let u = Complex64::new(t.k * (z + q[1]), t.k * (side * y - q[0]));
                let h = table.regular_part(u, ln_w[i], ln_k, at * t.vertex[i]);
                conjugate[i] = h.im;
                for j in 0..3 {
                    let c = t.coefficient[i][j];
                    sum[j] += h.re * c.re - h.im * c.im;
                }
            }
            let row = &mut matrix[p * m..(p + 1) * m];
            let angle = &f.angle[p * m..(p + 1) * m];
            for q in 0..m {
                let e = (q + 1) % v;
                let mut d = angle[q] + 2.0 * (conjugate[e] - conjugate[q]);
                if q < body {
                    d -= ln_w[e].im - ln_w[q].im;
                }
                row[q] = d;
            }
            for j in 0..3 {
                let images = if t.tiny { 1.0 } else { -1.0 };
                rhs[j][p] = f.direct[p][j] + images * f.image[p][j] + sum[j];
            }
        }
        (matrix, rhs)
    }

    /// Free term of row `p`.
    fn free_term(&self, p: usize) -> f64 {
        if p < self.panels.body { PI } else { -2.0 * PI }
    }

    fn factor(&self, s: &Assembly, sign: f64) -> Option<RealLu> {
        let m = self.panels.len();
        let mut a = s.own.clone();
        if sign != 0.0 {
            for (x, y) in a.iter_mut().zip(&s.other) {
                *x += sign * y;
            }
        }
        for p in 0..m {
            a[p * m + p] += self.free_term(p);
        }
        RealLu::factor(m, a)
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

    /// One hull: x = x0 + i (α y1 + β y2) with the imaginary part of rank two.
    fn solve_alone(
        &self,
        s: &Assembly,
        rhs: &[Vec<f64>],
        source: &[Complex64],
    ) -> Option<[Vec<Complex64>; 3]> {
        let lu = self.factor(s, 0.0)?;
        let (u1, u2): (Vec<f64>, Vec<f64>) = s.point.iter().map(|p| (p.re, p.im)).unzip();
        // Im G: 2π (Re P Re ∫ - Im P Im ∫), its normal derivative -2π (Re P Im Q + Im P Re Q)
        let v1: Vec<f64> = s.step.iter().map(|q| -2.0 * PI * q.im).collect();
        let v2: Vec<f64> = s.step.iter().map(|q| -2.0 * PI * q.re).collect();
        let (y1, y2) = (lu.solve(&u1), lu.solve(&u2));
        let i = Complex64::i();
        let m11 = 1.0 + i * dot(&v1, &y1);
        let m12 = i * dot(&v1, &y2);
        let m21 = i * dot(&v2, &y1);
        let m22 = 1.0 + i * dot(&v2, &y2);
        let det = m11 * m22 - m12 * m21;
        let mut out = [Vec::new(), Vec::new(), Vec::new()];
        for j in 0..rhs.len().min(3) {
            let x0 = lu.solve(&rhs[j]);
            let r1 = 2.0 * PI * source[j].re - dot(&v1, &x0);
            let r2 = -2.0 * PI * source[j].im - dot(&v2, &x0);
            let alpha = (m22 * r1 - m12 * r2) / det;
            let beta = (m11 * r2 - m21 * r1) / det;
            out[j] = (0..x0.len())
                .map(|n| x0[n] + i * (alpha * y1[n] + beta * y2[n]))
                .collect();
        }
        det.is_finite().then_some(out)
    }

    /// Both hulls: even for heave, odd for sway and roll, imaginary part of rank one.
    fn solve_twin(&self, s: &Assembly) -> Option<[Vec<Complex64>; 3]> {
        let source = self.sources(s);
        let mut out = [Vec::new(), Vec::new(), Vec::new()];
        for (sign, modes) in [(1.0, &[1_usize][..]), (-1.0, &[0, 2][..])] {
            let lu = self.factor(s, sign)?;
            let even = sign > 0.0;
            let u: Vec<f64> = s
                .point
                .iter()
                .map(|p| if even { p.re } else { p.im })
                .collect();
            let v: Vec<f64> = s
                .step
                .iter()
                .map(|q| -4.0 * PI * if even { q.im } else { q.re })
                .collect();
            let y = lu.solve(&u);
            let i = Complex64::i();
            let det = 1.0 + i * dot(&v, &y);
            for &j in modes {
                let rhs: Vec<f64> = s.own_rhs[j]
                    .iter()
                    .zip(&s.other_rhs[j])
                    .map(|(a, b)| a + sign * b)
                    .collect();
                let x0 = lu.solve(&rhs);
                let r = 4.0 * PI * if even { source[j].re } else { -source[j].im };
                let alpha = (r - dot(&v, &x0)) / det;
                out[j] = x0.iter().zip(&y).map(|(x, y)| x + i * alpha * y).collect();
            }
            if !det.is_finite() {
                return None;
            }
        }
        Some(out)
    }

    fn potentials(&self, s: &Assembly, omega: f64, full: [Vec<Complex64>; 3]) -> Potentials {
        let body = self.panels.body;
        let phi = full.map(|mut x| {
            x.truncate(body);
            x
        });
        let (mut a, mut b) = ([[0.0; 3]; 3], [[0.0; 3]; 3]);
        let mut radiated = [[Complex64::new(0.0, 0.0); 2]; 3];
        let i = Complex64::i();
        for q in 0..body {
            let n = self.panels.mode_normals(q);
            for j in 0..3 {
                let f = phi[j][q];
                radiated[j][0] += i * (s.integral[q] * n[j] - i * f * s.step[q]);
                radiated[j][1] += i * (s.integral[q].conj() * n[j] + i * f * s.step[q].conj());
                for l in 0..3 {
                    if PARITY[j] * PARITY[l] > 0.0 {
                        let both = 2.0 * n[l] * self.panels.length[q];
                        a[l][j] -= both * f.re;
                        b[l][j] += both * omega * f.im;
                    }
                }
            }
        }
        Potentials {
            a,
            b,
            phi,
            radiated,
        }
    }
}

/// What all rows need at one frequency.
struct Task<'a> {
    k: f64,
    tiny: bool,
    vertex: &'a [Complex64],
    coefficient: &'a [[Complex64; 3]],
}
