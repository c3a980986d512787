//! Still-water resistance: friction line and thin-ship waves of struts and lower hulls.
//!
//! # Equation
//! ```text
//! R_F = 1/2 rho U² S [ (1 + k) C_F + C_A ],  C_F = 0.075 / (log10 Re - 2)²
//! R_W = (4 rho g² / (pi U²)) ∫_1^∞ |H|² λ² / sqrt(λ² - 1) 4 cos²(k b λ sqrt(λ² - 1)) dλ,  k = g/U²
//! H   = ∫∫ ∂y/∂x e^(-k λ² z) e^(i k λ x) dx dz       strut, half thickness y(x, z)
//!     + ∫ (1/2) dA/dx e^(-k λ² z_a) e^(i k λ x) dx    lower hull, area A, axis depth z_a
//! ```
//! for one side; the factor 4 cos² is that of two sides b from the centre plane. λ = cosh u
//! removes the root. The x integrals are exact for arcs of parabolas (Filon's way); blunt ends
//! count as jumps. Where a step in u cannot follow the interference it is averaged.
//!
//! # Symbols
//! S wetted area, Re on the length of hull or strut, 1 + k `form_factor`, C_A `roughness_allowance`.
//!
//! # Valid when
//! Thin struts, slender deep hulls, steady speed in calm deep water, no sinkage and trim; a
//! hull's own image in its section is left out. Below Fn 0.08 on the hull's length waves are taken as zero.
//! Fins and rudders bring their own drag.
//!
//! # Source
//! ITTC (1957), 8th conference, friction line; Michell (1898), Philosophical Magazine 45, and the
//! slender line of sources for the hulls; interference of two thin ships in the same theory.
//!
//! # Checked by
//! `friction_line`, `wigley_hull`, `wigley_twins`, `thin_hull_is_a_line_of_sources`,
//! `resistance_scales_by_froude`

use std::f64::consts::PI;

use num_complex::Complex64;

use crate::geometry::craft::Craft;
use crate::geometry::hull::LowerHull;
use crate::geometry::hydrostatics::form;
use crate::geometry::integrate::merged;
use crate::geometry::strut::Strut;

/// Resistance at one speed, N.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResistancePoint {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Friction, form and allowance of the lower hulls.
    pub hull_friction_n: f64,
    /// The same of the struts.
    pub strut_friction_n: f64,
    /// Waves.
    pub wave_n: f64,
}

impl ResistancePoint {
    /// All together, N.
    pub fn total_n(&self) -> f64 {
        self.hull_friction_n + self.strut_friction_n + self.wave_n
    }
}

/// ITTC-1957 friction coefficient; Reynolds numbers below 1e4 count as 1e4.
pub fn friction_coefficient(reynolds: f64) -> f64 {
    0.075 / (reynolds.max(1e4).log10() - 2.0).powi(2)
}

/// Resistance of the bare craft (hulls and struts) at the given speeds, m/s.
pub fn resistance_curve(craft: &Craft, speeds_m_s: &[f64]) -> Vec<ResistancePoint> {
    let form = form(&craft.hull, &craft.struts);
    let sheets = Sheets::of_craft(craft);
    let v = &craft.spec.viscous;
    let nu = craft.spec.water.kinematic_viscosity_m2_s;
    speeds_m_s
        .iter()
        .map(|&speed| {
            let u = speed.abs();
            let pressure = 0.5 * craft.rho_kg_m3 * u * u;
            let friction = |area: f64, length: f64| {
                let c_f = friction_coefficient(u * length / nu);
                pressure * area * (v.form_factor * c_f + v.roughness_allowance)
            };
            let struts = craft.struts.iter().zip(&form.strut_wetted_m2);
            ResistancePoint {
                speed_m_s: u,
                hull_friction_n: friction(form.hull_wetted_m2, craft.hull.length_m()),
                strut_friction_n: struts.map(|(s, area)| friction(*area, s.length_m())).sum(),
                wave_n: sheets.wave_resistance(craft.rho_kg_m3, craft.g_m_s2, u),
            }
        })
        .collect()
}

/// How a column of sources at one x weighs with depth.
#[derive(Clone, Copy, Debug)]
enum Column {
    /// From the surface to `depth`, thickness (1 - taper z) there.
    Strut { depth: f64, taper: f64 },
    /// A line at depth z.
    Line { z: f64 },
    /// Wigley's parabola to `depth` (checks).
    #[cfg(test)]
    Parabola { depth: f64 },
}

impl Column {
    /// ∫ f(z) e^(-kappa z) dz
    fn weight(&self, kappa: f64) -> f64 {
        match *self {
            Column::Line { z } => (-kappa * z).exp(),
            Column::Strut { depth, taper } => {
                let e = (-kappa * depth).exp();
                let plain = (1.0 - e) / kappa;
                // ∫ z e^(-kappa z) dz
                let first = (plain - depth * e) / kappa;
                plain - taper * first
            }
            #[cfg(test)]
            Column::Parabola { depth } => {
                let (t, e) = (depth, (-kappa * depth).exp());
                let plain = (1.0 - e) / kappa;
                let second =
                    (2.0 - e * ((kappa * t).powi(2) + 2.0 * kappa * t + 2.0)) / kappa.powi(3);
                plain - second / (t * t)
            }
        }
    }
}

/// Source sheets of one side.
struct Sheets {
    /// Per sheet: nodes x, half thickness (or half area), column.
    columns: Vec<Vec<(f64, f64, Column)>>,
    half_spacing: Option<f64>,
    length: f64,
}

/// Parabolic arcs a sheet's piece.
const ARCS: usize = 24;

/// Nodes of a sheet: the ends and the middles of arcs that crowd at the ends of each piece.
fn nodes(breaks: &[f64]) -> Vec<f64> {
    let mut x = vec![breaks[0]];
    for pair in breaks.windows(2) {
        let (mid, half) = (0.5 * (pair[0] + pair[1]), 0.5 * (pair[1] - pair[0]));
        for i in 1..=ARCS {
            let end = mid - half * (PI * i as f64 / ARCS as f64).cos();
            let start = x[x.len() - 1];
            x.extend([0.5 * (start + end), end]);
        }
    }
    x
}

/// ∫ (slope + bend s) e^(iqs) ds over an arc of half length h, from its middle.
fn arc_integral(slope: f64, bend: f64, h: f64, q: f64) -> Complex64 {
    let t = q * h;
    let (sin, cos) = t.sin_cos();
    let (even, odd) = if t.abs() < 0.05 {
        (1.0 - t * t / 6.0, t / 3.0 - t.powi(3) / 30.0)
    } else {
        (sin / t, (sin - t * cos) / (t * t))
    };
    Complex64::new(2.0 * h * slope * even, 2.0 * h * h * bend * odd)
}

impl Sheets {
    fn of_craft(craft: &Craft) -> Sheets {
        let mut columns = vec![hull_sheet(&craft.hull)];
        columns.extend(craft.struts.iter().map(|s| strut_sheet(&craft.hull, s)));
        Sheets {
            columns,
            half_spacing: Some(craft.hull.centre_y_m),
            length: craft.hull.length_m(),
        }
    }

    /// H of one side at wave number q = k λ along x, kappa = k λ² in depth.
    fn amplitude(&self, q: f64, kappa: f64) -> Complex64 {
        let mut sum = Complex64::ZERO;
        for sheet in self.columns.iter().filter(|s| !s.is_empty()) {
            let value = |i: usize| sheet[i].1 * sheet[i].2.weight(kappa);
            let last = sheet.len() - 1;
            let mut start = value(0);
            sum += Complex64::cis(q * sheet[0].0) * start; // jump of a blunt aft end
            for i in (0..last).step_by(2) {
                let (middle, end) = (value(i + 1), value(i + 2));
                let h = 0.5 * (sheet[i + 2].0 - sheet[i].0);
                let slope = (end - start) / (2.0 * h);
                let bend = (start - 2.0 * middle + end) / (h * h);
                sum += Complex64::cis(q * sheet[i + 1].0) * arc_integral(slope, bend, h, q);
                start = end;
            }
            sum -= Complex64::cis(q * sheet[last].0) * start; // and of a blunt fore end
        }
        sum
    }

    fn wave_resistance(&self, rho: f64, g: f64, speed: f64) -> f64 {
        const LEAST_FROUDE: f64 = 0.08;
        if speed < LEAST_FROUDE * (g * self.length).sqrt() {
            return 0.0;
        }
        let k = g / (speed * speed);
        // three Gauss points a block; blocks follow the phase k L cosh u of bow and stern waves
        let (node, weight) = (0.6f64.sqrt(), [5.0 / 9.0, 8.0 / 9.0, 5.0 / 9.0]);
        let (mut u, mut sum, mut quiet) = (0.0_f64, 0.0, 0);
        while u < 6.0 && quiet < 12 {
            let step = (1.2 / (k * self.length * (u + 0.05).sinh())).min(0.06);
            let mut block = 0.0;
            for (s, w) in [-node, 0.0, node].iter().zip(weight) {
                let v = u + 0.5 * step * (1.0 + s);
                let lambda = v.cosh();
                let h = self.amplitude(k * lambda, k * lambda * lambda).norm_sqr();
                let twins = self.half_spacing.map_or(1.0, |b| {
                    let phase = 2.0 * k * b * lambda * v.sinh();
                    let turn = 2.0 * k * b * (2.0 * v).cosh() * step / 3.0;
                    let mean = if turn > 1.0 {
                        (turn / 2.0).sin() / (turn / 2.0)
                    } else {
                        1.0
                    };
                    2.0 * (1.0 + mean * phase.cos())
                });
                block += 0.5 * step * w * h * lambda * lambda * twins;
            }
            sum += block;
            quiet = if block < 1e-6 * sum * step / 0.06 {
                quiet + 1
            } else {
                0
            };
            u += step;
        }
        4.0 * rho * g * g / (PI * speed * speed) * sum
    }
}

fn hull_sheet(hull: &LowerHull) -> Vec<(f64, f64, Column)> {
    nodes(&hull.breakpoints())
        .into_iter()
        .filter_map(|x| hull.section_at(x.clamp(hull.aft_x_m, hull.fore_x_m)))
        .map(|s| (s.x_m, 0.5 * s.area_m2, Column::Line { z: s.axis_z_m }))
        .collect()
}

fn strut_sheet(hull: &LowerHull, strut: &Strut) -> Vec<(f64, f64, Column)> {
    let mut breaks = strut.breakpoints();
    let inside = |x: &f64| *x > strut.aft_x_m && *x < strut.fore_x_m;
    breaks.extend(hull.breakpoints().into_iter().filter(inside));
    nodes(&merged(breaks, 1e-6))
        .into_iter()
        .map(|x| x.clamp(strut.aft_x_m, strut.fore_x_m))
        .filter_map(|x| hull.section_at(x).map(|s| (x, s)))
        .map(|(x, s)| {
            let depth = hull.top_z(&s, strut.offset_m);
            let column = Column::Strut {
                depth,
                taper: strut.taper_1_m,
            };
            (x, strut.half_thickness(x), column)
        })
        .collect()
}

#[cfg(test)]
#[path = "resistance_tests.rs"]
mod tests;
