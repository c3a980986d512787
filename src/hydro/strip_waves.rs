//! Wave force of all strips for one wave: Froude-Krylov and diffraction momentum.
//!
//! The formulas and their source stand in [`super::wave_force`]. Here a wave is laid over the
//! panels of each different section once and its stations only add their phases.
//!
//! # Equation
//! Per straight panel the wave's integral is closed: `l exp(-k z - i k y sin mu) sinh(h)/h` with
//! `h = (k l/2)(n2 - i n3 sin mu)`; the mirror panel has the conjugate. Integrals over the
//! section's area are taken in horizontal slices whose widths are the polygon's.
//!
//! # Symbols
//! k wave number (1/m), mu heading, n2 n3 normal out of the body, l panel length (m).
//!
//! # Valid when
//! As [`super::wave_force`].
//!
//! # Source
//! Salvesen, Tuck & Faltinsen (1970), SNAME Trans. 78.
//!
//! # Checked by
//! `long_waves_carry_the_craft`, `volume_integrals_match_a_circle`.

use nalgebra::Matrix6;
use num_complex::Complex64;

use super::regularise::Regularisation;
use super::section::{PARITY, Panels};
use super::strip::{SectionTable, Strips};
use crate::geometry::integrate::{merged, piecewise};

/// A regular wave as the strips see it.
#[derive(Clone, Copy, Debug)]
pub struct Wave {
    /// Frequency omega_0, rad/s.
    pub omega_rad_s: f64,
    /// Signed encounter frequency, rad/s.
    pub omega_e_rad_s: f64,
    /// Wave number, 1/m.
    pub k: f64,
    /// Heading, rad.
    pub mu_rad: f64,
}

/// Sums over the strips for a wave of unit amplitude (SI, about O).
#[derive(Clone, Copy, Debug, Default)]
pub struct StripWave {
    /// Froude-Krylov force and moment, longitudinal part included.
    pub froude_krylov: [Complex64; 6],
    /// What of it is the longitudinal part's.
    pub longitudinal: [Complex64; 6],
    /// Momentum of the diffracted flow (surge has none).
    pub momentum: [Complex64; 6],
    /// Heave and pitch momentum of a unit heave mass spread as the sections' waterline sources
    /// are, strength by breadth, driven as the wave drives a source: by the Froude-Krylov force.
    pub source: [Complex64; 2],
}

/// One section's part, per unit length and over density, without the station's phase.
struct SectionWave {
    froude_krylov: [Complex64; 3],
    /// Area integrals of the wave, of y and of z times it, both hulls.
    area: Complex64,
    area_y: Complex64,
    area_z: Complex64,
    momentum: [Complex64; 3],
}

/// Nodes, weights and twin share with which tables are read at an encounter frequency.
pub struct Reading {
    /// First of four nodes.
    pub from: usize,
    /// Weights of the four.
    pub weight: [f64; 4],
    /// Share of the twin's potentials.
    pub twin_share: f64,
    /// True when potentials must be conjugated.
    pub conjugate: bool,
}

impl Reading {
    /// At a signed encounter frequency; held at the ends of the grid.
    pub fn new(grid: &[f64], omega_e: f64, speed_m_s: f64, rule: &Regularisation) -> Self {
        let last = grid.len() - 1;
        let w = omega_e.abs().clamp(grid[0], grid[last]);
        let i = grid.partition_point(|&x| x <= w).clamp(1, last) - 1;
        let (from, weight) = super::radiation::lagrange(grid, i, w);
        Reading {
            from,
            weight,
            twin_share: rule.twin_share(omega_e, speed_m_s),
            conjugate: omega_e < 0.0,
        }
    }
}

impl Strips {
    /// All strips in a wave.
    pub fn in_wave(&self, wave: &Wave, reading: &Reading) -> StripWave {
        let parts: Vec<SectionWave> = self
            .sections
            .iter()
            .map(|s| section_in_wave(s, wave, reading, self.g_m_s2))
            .collect();
        let mut out = StripWave::default();
        let breadths = self.breadth_square_m3();
        let drive = Complex64::new(0.0, wave.omega_rad_s / self.g_m_s2);
        let slope = Complex64::new(0.0, self.g_m_s2 * wave.k * wave.mu_rad.cos());
        for (i, &s) in self.stations.section.iter().enumerate() {
            let x = self.stations.x_m[i];
            let phase = Complex64::from_polar(
                self.rho_kg_m3 * self.stations.weight_m[i],
                -wave.k * x * wave.mu_rad.cos(),
            );
            let p = &parts[s];
            add(&mut out.froude_krylov, &p.froude_krylov, x, phase);
            add(&mut out.momentum, &p.momentum, x, phase);
            let breadth = self.breadth_m(s);
            if breadth > 0.0 {
                let turn = phase / self.rho_kg_m3;
                let f = p.froude_krylov[1] * turn * drive * (breadth / breadths);
                out.source[0] += f;
                out.source[1] -= f * x;
            }
            // -dp/dx = i k cos mu rho g exp(...) on the volume, with its levers
            let force = slope * phase;
            out.longitudinal[0] += force * p.area;
            out.longitudinal[4] += force * p.area_z;
            out.longitudinal[5] -= force * p.area_y;
        }
        for (f, l) in out.froude_krylov.iter_mut().zip(out.longitudinal) {
            *f += l;
        }
        out
    }
}

impl Strips {
    /// Waterline breadth of both hulls at a section, m.
    fn breadth_m(&self, section: usize) -> f64 {
        4.0 * self.stations.contours[section].strut_half_thickness_m
    }

    /// Integral of its square over x, m3.
    fn breadth_square_m3(&self) -> f64 {
        let st = &self.stations;
        let terms = st.section.iter().zip(&st.weight_m);
        terms.map(|(&s, w)| w * self.breadth_m(s).powi(2)).sum()
    }

    /// Mass matrix of the unit heave mass of [`StripWave::source`] (zero without struts).
    pub fn source_matrix(&self) -> Matrix6<f64> {
        let whole = self.breadth_square_m3();
        let mut m = Matrix6::zeros();
        for (i, &s) in self.stations.section.iter().enumerate() {
            let b = self.breadth_m(s);
            if b > 0.0 {
                let share = self.stations.weight_m[i] * b * b / whole;
                let x = self.stations.x_m[i];
                m[(2, 2)] += share;
                m[(2, 4)] -= share * x;
                m[(4, 2)] -= share * x;
                m[(4, 4)] += share * x * x;
            }
        }
        m
    }
}

fn add(six: &mut [Complex64; 6], three: &[Complex64; 3], x: f64, phase: Complex64) {
    let [f2, f3, f4] = three.map(|f| f * phase);
    six[1] += f2;
    six[2] += f3;
    six[3] += f4;
    six[4] -= f3 * x;
    six[5] += f2 * x;
}

fn section_in_wave(section: &SectionTable, wave: &Wave, reading: &Reading, g: f64) -> SectionWave {
    let panels = &section.panels;
    let sin = wave.mu_rad.sin();
    let k = wave.k;
    let mut froude_krylov = [Complex64::ZERO; 3];
    // the wave's inflow on the panels of both hulls, even and odd in y
    let mut even = Vec::with_capacity(panels.body);
    let mut odd = Vec::with_capacity(panels.body);
    for q in 0..panels.body {
        let [y, z] = panels.mid[q];
        let [n2, n3] = panels.normal[q];
        let l = panels.length[q];
        let n = panels.mode_normals(q);
        let half = Complex64::new(n2, -sin * n3) * (0.5 * k * l);
        let mean = Complex64::from_polar((-k * z).exp() * l, -k * y * sin) * sinhc(half);
        // the mirror panel sees the conjugate
        let port = mean.conj();
        for j in 0..3 {
            froude_krylov[j] -= (mean + port * PARITY[j]) * (g * n[j]);
        }
        let here = mean * Complex64::new(n2 * sin, -n3);
        let there = port * Complex64::new(-n2 * sin, -n3);
        even.push(here + there);
        odd.push(here - there);
    }
    let momentum = std::array::from_fn(|j| {
        let inflow = if PARITY[j] > 0.0 { &even } else { &odd };
        -on_potentials(section, reading, j, inflow) * wave.omega_rad_s
    });
    let (area, area_y, area_z) = section.slices.integrals(k, k * sin);
    SectionWave {
        froude_krylov,
        area,
        area_y,
        area_z,
        momentum,
    }
}

/// Sum of the potentials of mode `j` at the encounter frequency times `inflow`.
fn on_potentials(
    section: &SectionTable,
    reading: &Reading,
    j: usize,
    inflow: &[Complex64],
) -> Complex64 {
    let dot = |phi: &[Complex64]| -> Complex64 {
        if reading.conjugate {
            phi.iter().zip(inflow).map(|(p, w)| p.conj() * w).sum()
        } else {
            phi.iter().zip(inflow).map(|(p, w)| p * w).sum()
        }
    };
    let s = reading.twin_share;
    let mut sum = Complex64::ZERO;
    for (m, &c) in reading.weight.iter().enumerate() {
        let flow = &section.flow[reading.from + m];
        if s > 0.0 {
            sum += dot(&flow.twin.phi[j]) * (s * c);
        }
        if s < 1.0 {
            sum += dot(&flow.isolated.phi[j]) * ((1.0 - s) * c);
        }
    }
    sum
}

/// The starboard section as horizontal slices, for integrals over its area.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Slices {
    /// Level z, half width, middle y (m) and height (m) of each.
    rows: Vec<[f64; 4]>,
}

impl Slices {
    /// Points of the rule on each part of the section's height.
    const POINTS: usize = 6;

    /// Of the polygon of `panels`; heights are scaled so that area and first moment are exact.
    pub fn new(panels: &Panels, axis_z_m: f64, half_height_m: f64) -> Self {
        let edges: Vec<[[f64; 2]; 2]> = panels.ends[..panels.body]
            .iter()
            .map(|e| [panels.vertices[e[0]], panels.vertices[e[1]]])
            .collect();
        let (mut top, mut bottom) = (f64::INFINITY, f64::NEG_INFINITY);
        for p in edges.iter().flatten() {
            top = top.min(p[1]);
            bottom = bottom.max(p[1]);
        }
        let breaks = merged(
            vec![
                top,
                (axis_z_m - half_height_m).max(top),
                axis_z_m.clamp(top, bottom),
                bottom,
            ],
            1e-6 * (bottom - top),
        );
        let mut rows = Vec::new();
        for (z, dz) in piecewise(&breaks, Self::POINTS) {
            let (mut lo, mut hi) = (f64::INFINITY, f64::NEG_INFINITY);
            for [a, b] in &edges {
                if (a[1] - z) * (b[1] - z) <= 0.0 && (a[1] - b[1]).abs() > 0.0 {
                    let y = a[0] + (b[0] - a[0]) * (z - a[1]) / (b[1] - a[1]);
                    lo = lo.min(y);
                    hi = hi.max(y);
                }
            }
            if hi > lo {
                rows.push([z, 0.5 * (hi - lo), 0.5 * (hi + lo), dz]);
            }
        }
        let mut out = Slices { rows };
        out.scale(moments(&edges));
        out
    }

    /// Scales the heights by c0 + c1 z so that area and first moment become those given.
    fn scale(&mut self, [area, first]: [f64; 2]) {
        let m = |p: i32| -> f64 {
            self.rows
                .iter()
                .map(|r| 2.0 * r[1] * r[3] * r[0].powi(p))
                .sum()
        };
        let (m0, m1, m2) = (m(0), m(1), m(2));
        let det = m0 * m2 - m1 * m1;
        if det.abs() > 0.0 {
            let (c0, c1) = (
                (area * m2 - first * m1) / det,
                (first * m0 - area * m1) / det,
            );
            for r in &mut self.rows {
                r[3] *= c0 + c1 * r[0];
            }
        }
    }

    /// Integrals over both hulls' area of E = exp(-k z - i kappa y), y E and z E.
    pub fn integrals(&self, k: f64, kappa: f64) -> (Complex64, Complex64, Complex64) {
        let (mut s0, mut sy, mut sz) = (0.0, 0.0, 0.0);
        for &[z, half, y, dz] in &self.rows {
            let e = 2.0 * half * dz * (-k * z).exp();
            let (sin, cos) = (kappa * y).sin_cos();
            let x = kappa * half;
            let sinc = if x.abs() < 1e-3 {
                1.0 - x * x / 6.0
            } else {
                x.sin() / x
            };
            // starboard and port together: 2 cos even, -2 i sin odd in y
            s0 += 2.0 * e * cos * sinc;
            sz += 2.0 * e * z * cos * sinc;
            sy -= 2.0 * e * y * sin * sinc;
        }
        (s0.into(), Complex64::new(0.0, sy), sz.into())
    }
}

/// Area and first moment in z of the polygon closed along the waterplane.
fn moments(edges: &[[[f64; 2]; 2]]) -> [f64; 2] {
    let mut out = [0.0; 2];
    let mut add = |a: [f64; 2], b: [f64; 2]| {
        let cross = a[0] * b[1] - b[0] * a[1];
        out[0] += 0.5 * cross;
        out[1] += cross * (a[1] + b[1]) / 6.0;
    };
    for [a, b] in edges {
        add(*a, *b);
    }
    add(edges[edges.len() - 1][1], edges[0][0]);
    if out[0] < 0.0 {
        [-out[0], -out[1]]
    } else {
        out
    }
}

/// sinh(x)/x; by series where panels are short against the wave.
fn sinhc(x: Complex64) -> Complex64 {
    let x2 = x * x;
    if x2.norm_sqr() < 0.01 {
        return (((x2 / 72.0 + 1.0) * x2 / 42.0 + 1.0) * x2 / 20.0 + 1.0) * x2 / 6.0 + 1.0;
    }
    x.sinh() / x
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::contour::Contour;
    use crate::hydro::section::SectionOptions;

    #[test]
    fn volume_integrals_match_a_circle() {
        // circle of radius r: Int exp(-k z - i kappa y) = exp(centre) 2 pi r I1(m r)/m with
        // m^2 = k^2 - kappa^2; at kappa = k the wave runs across and m = 0: exp(centre) pi r^2
        let (r, h, b) = (1.1, 2.4, 6.0);
        let hull: Vec<[f64; 2]> = (0..=360)
            .map(|i| {
                let t = std::f64::consts::TAU * f64::from(i) / 360.0;
                [b - r * t.sin(), h - r * t.cos()]
            })
            .collect();
        let contour = Contour {
            x_m: 0.0,
            pieces: vec![hull],
            surface_piercing: false,
            area_m2: std::f64::consts::PI * r * r,
            half_breadth_m: r,
            half_height_m: r,
            axis_z_m: h,
            centre_y_m: b,
            strut_half_thickness_m: 0.0,
        };
        let panels = Panels::new(&contour, &SectionOptions::default()).expect("panels");
        let slices = Slices::new(&panels, h, r);
        for k in [1e-6, 0.1, 0.4] {
            let (a, _, az) = slices.integrals(k, k);
            let want = 2.0 * (k * b).cos() * (-k * h).exp() * std::f64::consts::PI * r * r;
            // 0.1 %: polygon of 56 sides with the exact area
            assert!((a.re - want).abs() < 1e-3 * want.abs(), "{k} {a} {want}");
            if k < 1e-3 {
                assert!((az.re - want * h).abs() < 1e-3 * want * h);
            }
        }
    }
}
