//! Frequency-free parts of the influence matrices.
//!
//! # Equation
//! Along a straight panel ∫ ∂G/∂n ds is the change of the harmonic conjugate, so the logarithms
//! give angles; ∫ ln r ds is elementary. The wave part J depends on w = Z + i X, and with
//! H = J + ln w: ∫ ∂G/∂n ds = angle - Im Δ ln w + 2 Im ΔH and
//! ∫ J ds = -ΔH/(K dw/ds), so one value of H per (collocation point, vertex) serves both layers.
//! The influence of the port hull is that of the starboard hull on the mirrored point.
//!
//! # Symbols
//! rows: collocation points (panel midpoints, the lid's at the end); columns: panels or vertices.
//!
//! # Valid when
//! See `green`; the lid lies on z = 0, where ∂G/∂n = K G.
//!
//! # Source
//! Frank (1967), NSRDC 2375, appendix (integrals); Newman (1977), Marine Hydrodynamics, 6.20.
//!
//! # Checked by
//! `row_sums_are_solid_angles` and all tests of the solution.

use num_complex::Complex64;

use crate::hydro::section::panels::Panels;

/// Influence of the starboard hull's panels on its own points or on the mirrored ones.
pub(crate) struct Influence {
    /// ln w, row-major rows x vertices.
    pub(crate) ln_w: Vec<Complex64>,
    /// Angle each panel subtends, the double layer of ln r; row-major rows x panels; 0 on the lid.
    pub(crate) angle: Vec<f64>,
    /// Σ n_j ∫ ln r ds over the body, per row and mode.
    pub(crate) direct: Vec<[f64; 3]>,
    /// Σ n_j ∫ ln r1 ds over the body, per row and mode.
    pub(crate) image: Vec<[f64; 3]>,
}

impl Influence {
    pub(crate) fn new(panels: &Panels, mirrored: bool) -> Self {
        let (m, v) = (panels.len(), panels.vertices.len());
        let mut out = Influence {
            ln_w: Vec::with_capacity(m * v),
            angle: Vec::with_capacity(m * m),
            direct: Vec::with_capacity(m),
            image: Vec::with_capacity(m),
        };
        for p in 0..m {
            let [y, z] = panels.mid[p];
            let point = [if mirrored { -y } else { y }, z];
            out.add_row(panels, point, if mirrored { usize::MAX } else { p });
        }
        out
    }

    fn add_row(&mut self, panels: &Panels, p: [f64; 2], own: usize) {
        for q in &panels.vertices {
            self.ln_w
                .push(Complex64::new(p[1] + q[1], p[0] - q[0]).ln());
        }
        let (mut direct, mut image) = ([0.0; 3], [0.0; 3]);
        let above = [p[0], -p[1]];
        for q in 0..panels.len() {
            let [a, b] = panels.ends[q].map(|i| panels.vertices[i]);
            let lid = q >= panels.body;
            self.angle.push(if lid || q == own {
                0.0
            } else {
                subtended(p, a, b)
            });
            if !lid {
                let n = panels.mode_normals(q);
                let (d, i) = (log_integral(p, a, b), log_integral(above, a, b));
                for j in 0..3 {
                    direct[j] += n[j] * d;
                    image[j] += n[j] * i;
                }
            }
        }
        self.direct.push(direct);
        self.image.push(image);
    }
}

/// Angle from a to b seen from p, counter-clockwise with z drawn downward.
fn subtended(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (ay, az) = (a[0] - p[0], p[1] - a[1]);
    let (by, bz) = (b[0] - p[0], p[1] - b[1]);
    (ay * bz - az * by).atan2(ay * by + az * bz)
}

/// ∫ ln |p - q| ds over the straight panel a-b.
fn log_integral(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (ty, tz) = (b[0] - a[0], b[1] - a[1]);
    let l = ty.hypot(tz);
    let (ry, rz) = (a[0] - p[0], a[1] - p[1]);
    let s1 = (ry * ty + rz * tz) / l;
    let d = (ry * tz - rz * ty) / l;
    let s2 = s1 + l;
    let part = |s: f64| {
        let r2 = s * s + d * d;
        if r2 > 0.0 { 0.5 * s * r2.ln() - s } else { 0.0 }
    };
    let turn = if d.abs() > 0.0 {
        d * ((s2 / d).atan() - (s1 / d).atan())
    } else {
        0.0
    };
    part(s2) - part(s1) + turn
}
