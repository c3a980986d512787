//! Wave force of all strips for one wave: Froude-Krylov and diffraction momentum.
//!
//! The formulas and their source stand in [`super::wave_force`]. Here a wave is laid over the
//! panels of each different section once and its stations only add their phases.
//!
//! # Equation
//! Per straight panel the wave's integral is closed: `l exp(-k z - i k y sin mu) sinh(h)/h` with
//! `h = (k l/2)(n2 - i n3 sin mu)`. Integrals over the section's area come from the same panels by
//! Gauss: `Int exp dA = -Int exp n3 ds / k - waterplane`, likewise with z and y inside.
//!
//! # Checked by
//! `long_waves_carry_the_craft`, `volume_integrals_match_a_circle`.

use num_complex::Complex64;

use super::regularise::Regularisation;
use super::section::{PARITY, Panels};
use super::strip::Strips;

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

fn add(six: &mut [Complex64; 6], three: &[Complex64; 3], x: f64, phase: Complex64) {
    let [f2, f3, f4] = three.map(|f| f * phase);
    six[1] += f2;
    six[2] += f3;
    six[3] += f4;
    six[4] -= f3 * x;
    six[5] += f2 * x;
}

fn section_in_wave(
    section: &super::strip::SectionTable,
    wave: &Wave,
    reading: &Reading,
    g: f64,
) -> SectionWave {
    let panels = &section.panels;
    let sin = wave.mu_rad.sin();
    let k = wave.k;
    let zero = Complex64::ZERO;
    let mut out = SectionWave {
        froude_krylov: [zero; 3],
        area: zero,
        area_y: zero,
        area_z: zero,
        momentum: [zero; 3],
    };
    for q in 0..panels.body {
        let [y, z] = panels.mid[q];
        let [n2, n3] = panels.normal[q];
        let l = panels.length[q];
        let n = panels.mode_normals(q);
        let half = Complex64::new(n2, -sin * n3) * (0.5 * k * l);
        let (e, turn) = ((-k * z).exp() * l, -k * y * sin);
        let mean = Complex64::from_polar(e, turn) * sinhc(half);
        let port = Complex64::from_polar(e, -turn) * sinhc(half.conj());
        for j in 0..3 {
            out.froude_krylov[j] -= (mean + port * PARITY[j]) * (g * n[j]);
        }
        let here = mean * Complex64::new(n2 * sin, -n3);
        let there = port * Complex64::new(-n2 * sin, -n3);
        let (even, odd) = (here + there, here - there);
        for j in 0..3 {
            let phi = potential(section, reading, j, q);
            let w = if PARITY[j] > 0.0 { even } else { odd };
            out.momentum[j] -= phi * w * wave.omega_rad_s;
        }
    }
    let (a, ay, az) = area_integrals(panels, k, k * sin);
    out.area = a;
    out.area_y = ay;
    out.area_z = az;
    out
}

/// Potential of mode `j` on panel `q` at the encounter frequency.
fn potential(
    section: &super::strip::SectionTable,
    reading: &Reading,
    j: usize,
    q: usize,
) -> Complex64 {
    let s = reading.twin_share;
    let mut phi = Complex64::ZERO;
    for (m, &c) in reading.weight.iter().enumerate() {
        let flow = &section.flow[reading.from + m];
        if s > 0.0 {
            phi += flow.twin.phi[j][q] * (s * c);
        }
        if s < 1.0 {
            phi += flow.isolated.phi[j][q] * ((1.0 - s) * c);
        }
    }
    if reading.conjugate { phi.conj() } else { phi }
}

/// Integrals over both hulls' area of E = exp(-k z - i kappa y), y E and z E.
///
/// The section's own middle is taken out so that nothing cancels in long waves: with
/// E = E_c exp(-k z' - i kappa y') the exponential is expanded to second order in the section's
/// size where that is small, else integrated in horizontal slices.
fn area_integrals(panels: &Panels, k: f64, kappa: f64) -> (Complex64, Complex64, Complex64) {
    let (mut s0, mut sy, mut sz) = (Complex64::ZERO, Complex64::ZERO, Complex64::ZERO);
    // a fan of triangles from a point inside, each by a seven-point rule (exact to degree five);
    // the waterplane closes the outline as one more edge
    let body = &panels.ends[..panels.body];
    let centre = fan_centre(panels);
    let mut edge = |a: [f64; 2], b: [f64; 2]| {
        let twice =
            (a[0] - centre[0]) * (b[1] - centre[1]) - (b[0] - centre[0]) * (a[1] - centre[1]);
        for (c, w) in TRIANGLE {
            let y = c[0] * centre[0] + c[1] * a[0] + c[2] * b[0];
            let z = c[0] * centre[1] + c[1] * a[1] + c[2] * b[1];
            let size = 0.5 * twice * w * (-k * z).exp();
            let (sin, cos) = (kappa * y).sin_cos();
            // starboard and port together: 2 cos even, -2 i sin odd in y
            s0 += 2.0 * size * cos;
            sz += 2.0 * size * z * cos;
            sy += Complex64::new(0.0, -2.0 * size * y * sin);
        }
    };
    for &[a, b] in body {
        edge(panels.vertices[a], panels.vertices[b]);
    }
    let (first, last) = (body[0][0], body[body.len() - 1][1]);
    if first != last {
        edge(panels.vertices[last], panels.vertices[first]);
    }
    // the outline's sense decides the sign of the areas
    if s0.re < 0.0 && kappa.abs() < 1e-12 || signed_area(panels) < 0.0 {
        (-s0, -sy, -sz)
    } else {
        (s0, sy, sz)
    }
}

fn fan_centre(panels: &Panels) -> [f64; 2] {
    let n = panels.body as f64;
    let sum = panels.mid[..panels.body]
        .iter()
        .fold([0.0, 0.0], |s, m| [s[0] + m[0], s[1] + m[1]]);
    [sum[0] / n, sum[1] / n]
}

fn signed_area(panels: &Panels) -> f64 {
    let body = &panels.ends[..panels.body];
    let mut twice = 0.0;
    let mut cross = |a: [f64; 2], b: [f64; 2]| twice += a[0] * b[1] - b[0] * a[1];
    for &[a, b] in body {
        cross(panels.vertices[a], panels.vertices[b]);
    }
    cross(
        panels.vertices[body[body.len() - 1][1]],
        panels.vertices[body[0][0]],
    );
    twice
}

/// Barycentric points and weights of the four-point rule of degree three on a triangle
/// (Abramowitz & Stegun 25.4.62 family).
const TRIANGLE: [([f64; 3], f64); 4] = [
    ([1.0 / 3.0, 1.0 / 3.0, 1.0 / 3.0], -27.0 / 48.0),
    ([0.6, 0.2, 0.2], 25.0 / 48.0),
    ([0.2, 0.6, 0.2], 25.0 / 48.0),
    ([0.2, 0.2, 0.6], 25.0 / 48.0),
];

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
        for k in [1e-6, 0.1, 0.4] {
            let (a, _, az) = area_integrals(&panels, k, k);
            let want = 2.0 * (k * b).cos() * (-k * h).exp() * std::f64::consts::PI * r * r;
            // 0.1 %: polygon of 56 sides with the exact area, degree-three rule
            assert!((a.re - want).abs() < 1e-3 * want.abs(), "{k} {a} {want}");
            if k < 1e-3 {
                assert!((az.re - want * h).abs() < 1e-3 * want * h);
            }
        }
    }
}
