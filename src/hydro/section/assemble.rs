//! Influence matrices and right-hand sides at a frequency.
//!
//! # Equation
//! See `influence` for the panel integrals; here the wave part H = J + ln w is evaluated once
//! per (collocation point, vertex) and joined to the frequency-free parts.
//!
//! # Symbols
//! rows: body midpoints, then the lid's; columns likewise. K = ω²/g.
//!
//! # Valid when
//! K > 0; for K x (shortest panel) below 1e-5 the difference quotient ΔH/K would cancel and the
//! trapezoidal rule on H takes its place.
//!
//! # Source
//! As `influence` and `solve`.
//!
//! # Checked by
//! all tests of the solution; `solution_runs_into_both_limits` for the small-K branch.

use num_complex::Complex64;

use crate::hydro::section::green::table;
use crate::hydro::section::influence::Influence;
use crate::hydro::section::solve::SectionSolver;

const PI: f64 = std::f64::consts::PI;
/// Below this K x (shortest panel) ΔH/K would cancel and the trapezoidal rule is used.
const TINY: f64 = 1e-5;

/// Real system and low-rank imaginary part of all problems at one frequency.
pub(crate) struct Assembly {
    own: Vec<f64>,
    other: Vec<f64>,
    /// Right-hand sides of the three modes from the own hull and from the other.
    pub(crate) rhs: [[Vec<f64>; 3]; 2],
    /// Free terms of the rows.
    pub(crate) free: Vec<f64>,
    /// e^{-K z - i K y} at the collocation points.
    pub(crate) point: Vec<Complex64>,
    /// Change of e^{-K z + i K y} over each panel.
    pub(crate) step: Vec<Complex64>,
    /// Integral of e^{-K z + i K y} over each body panel.
    pub(crate) integral: Vec<Complex64>,
}

impl Assembly {
    /// own + sign x other, free terms on the diagonal.
    pub(crate) fn matrix(&self, sign: f64) -> Vec<f64> {
        let mut a = self.own.clone();
        if sign.abs() > 0.0 {
            for (x, y) in a.iter_mut().zip(&self.other) {
                *x += sign * y;
            }
        }
        let m = self.free.len();
        for (p, f) in self.free.iter().enumerate() {
            a[p * (m + 1)] += f;
        }
        a
    }
}

impl SectionSolver {
    /// All matrices at wave number `k`.
    pub(crate) fn assemble(&self, k: f64) -> Assembly {
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
        let free = (0..m)
            .map(|p| if p < body { PI } else { -2.0 * PI })
            .collect();
        Assembly {
            own,
            other,
            rhs: [own_rhs, other_rhs],
            free,
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
                for (s, c) in sum.iter_mut().zip(&t.coefficient[i]) {
                    *s += h.re * c.re - h.im * c.im;
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
}

/// What all rows need at one frequency.
struct Task<'a> {
    k: f64,
    tiny: bool,
    vertex: &'a [Complex64],
    coefficient: &'a [[Complex64; 3]],
}
