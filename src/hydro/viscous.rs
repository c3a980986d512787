//! Body lift, trailing-edge lift, cross-flow drag.
//!
//! # Equation
//! On a strip of a lower hull with horizontal breadth B, height H and length dx, moving at the
//! velocity (v, w) through water whose orbital velocity there is (v0, w0):
//! ```text
//! dZ = -1/2 rho a0 U B dx (w - w0) - 1/2 rho C_D B dx |w - w0| (w - w0)
//! dY = -1/2 rho C_D H dx |v - v0| (v - v0)
//! ```
//! the strut's drag likewise with its own depth and coefficient, and at each strut's trailing edge
//! `Y = -f U a22(x_TE) (v - v0)`. Each part acts along one direction d at one point r, so with
//! the row `j = (d, r x d)` the linear part is `F = -Σ c j jᵀ nu_rel`: symmetric, never negative.
//! Equivalent linear coefficient of |s| s: `8/(3 pi) W` for a harmonic of amplitude W, `sqrt(8/pi) σ` for a
//! Gaussian of standard deviation σ.
//!
//! # Symbols
//! a0 `body_lift`, C_D `hull_drag` or `strut_drag`, f `trailing_lift_factor`, U speed, m/s.
//!
//! # Valid when
//! Small drift and attack angles; vertical and lateral drag are taken one by one (as the cited
//! paper does), not by the resultant cross-flow. Orbital velocities at the craft-fixed mean point,
//! no stretching. The coefficients are orders of magnitude.
//!
//! # Source
//! Thwaites ed. (1960), Incompressible Aerodynamics (lift of bodies); Lee & Curphey (1977), SNAME
//! Transactions 85, form of both terms, constants from memory; slender-body lift of low-aspect
//! surfaces after Jones (1946), NACA Rep. 835.
//!
//! # Checked by
//! `linear_matrix_is_symmetric_and_dissipates`, `lift_by_hand`, `wave_force_is_the_relative_motion`,
//! `drag_scales_with_the_square`, `equivalent_linearisation`, `gaussian_by_second_method`

use nalgebra::{Matrix6, Vector3, Vector6};
use num_complex::Complex64;

use crate::error::{Error, Result};
use crate::frames::Wrench;
use crate::geometry::craft::Craft;
use crate::geometry::integrate::gauss_legendre;
use crate::spec::craft::ViscousSpec;

/// One strip of one lower hull (or strut) for viscous forces.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DragStrip {
    /// Centre of the strip from O, m.
    pub r_m: [f64; 3],
    /// Length times breadth that vertical cross-flow sees, m2 (0 for a strut).
    pub horizontal_area_m2: f64,
    /// Length times height that lateral cross-flow sees, m2.
    pub lateral_area_m2: f64,
    /// Drag coefficient for both.
    pub drag: f64,
    /// Body-lift coefficient a0 times breadth times length, m2 (vertical).
    pub lift_area_m2: f64,
}

/// A trailing edge (or hull end) at which lateral momentum is shed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SheddingEdge {
    /// Position from O, m (z at the centre of the shed momentum).
    pub r_m: [f64; 3],
    /// Added mass in sway per length shed there, kg/m (times speed squared times drift angle is the side force).
    pub a22_kg_m: f64,
}

/// One direction at one point: what a strip or an edge does along y or z.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Element {
    /// Point from O, m.
    pub r_m: Vector3<f64>,
    /// Unit direction, y or z.
    pub along: Vector3<f64>,
    /// Row j: the velocity along the direction is `j · nu`, the wrench of a unit force is `j`.
    pub row: Vector6<f64>,
    /// Quadratic drag, 1/2 rho C_D area, N s2/m2.
    pub drag_n_s2_m2: f64,
    /// Linear lift per speed, N s2/m2: force = -lift U v.
    pub lift_n_s2_m2: f64,
}

/// Viscous forces of a craft. Build once; evaluated without allocation.
#[derive(Clone, Debug)]
pub struct ViscousModel {
    /// Strips of hulls and struts, starboard first at each x.
    pub strips: Vec<DragStrip>,
    /// Trailing edges, starboard then port for each strut from the fore one aft.
    pub edges: Vec<SheddingEdge>,
    elements: Vec<Element>,
    /// Elements with drag come first; `drag_wrench` looks at these only.
    drag_elements: usize,
    g_m_s2: f64,
    trailing_factor: f64,
}

/// Strips a lower hull.
const HULL_STRIPS: usize = 7;
/// Strips a strut.
const STRUT_STRIPS: usize = 3;

impl ViscousModel {
    /// Strips at Gauss nodes of hulls and struts. Trailing edges shed nothing until
    /// [`ViscousModel::set_shedding`] tells what the sectional flow found.
    pub fn build(craft: &Craft, coefficients: &ViscousSpec) -> ViscousModel {
        let mut strips = hull_strips(craft, coefficients);
        strips.extend(strut_strips(craft, coefficients));
        let half_rho = 0.5 * craft.rho_kg_m3;
        let mut elements = Vec::with_capacity(2 * strips.len());
        for s in &strips {
            let r = Vector3::from(s.r_m);
            if s.horizontal_area_m2 > 0.0 {
                elements.push(element(
                    r,
                    Vector3::z(),
                    half_rho * s.drag * s.horizontal_area_m2,
                    half_rho * s.lift_area_m2,
                ));
            }
            let drag = half_rho * s.drag * s.lateral_area_m2;
            elements.push(element(r, Vector3::y(), drag, 0.0));
        }
        let mut edges = Vec::new();
        for strut in &craft.struts {
            // z of the middle of strut and hull together until the flow is known
            let keel = craft
                .hull
                .section_at(strut.aft_x_m)
                .map_or(0.0, |s| s.axis_z_m + s.half_height_m);
            for y in [strut.centre_y_m, -strut.centre_y_m] {
                edges.push(SheddingEdge {
                    r_m: [strut.aft_x_m, y, 0.5 * keel],
                    a22_kg_m: 0.0,
                });
            }
        }
        ViscousModel {
            drag_elements: elements.len(),
            elements,
            strips,
            edges,
            g_m_s2: craft.g_m_s2,
            trailing_factor: coefficients.trailing_lift_factor,
        }
    }

    /// x of the sections whose sway added mass [`ViscousModel::set_shedding`] asks for, in the
    /// order of the edges, m.
    pub fn edge_x_m(&self) -> Vec<f64> {
        self.edges.iter().map(|e| e.r_m[0]).collect()
    }

    /// The edges with the given sway added mass per length, kg/m, in the order of `edges`.
    ///
    /// # Errors
    /// When the count differs from the edges'.
    pub fn shedding(&self, a22_kg_m: &[f64]) -> Result<Vec<SheddingEdge>> {
        if a22_kg_m.len() != self.edges.len() {
            return Err(Error::new(format!(
                "{} shed added masses given for {} trailing edges",
                a22_kg_m.len(),
                self.edges.len()
            )));
        }
        Ok(self
            .edges
            .iter()
            .zip(a22_kg_m)
            .map(|(e, a)| SheddingEdge { a22_kg_m: *a, ..*e })
            .collect())
    }

    /// Takes the edges over (from [`ViscousModel::shedding`], heights of the shed momentum put
    /// right where the caller knows better).
    pub fn set_shedding(&mut self, edges: Vec<SheddingEdge>) {
        self.elements.truncate(self.drag_elements);
        for e in &edges {
            let lift = self.trailing_factor * e.a22_kg_m;
            self.elements
                .push(element(Vector3::from(e.r_m), Vector3::y(), 0.0, lift));
        }
        self.edges = edges;
    }

    /// The quadratic drag of all strips times a factor.
    pub fn scale_drag(&mut self, factor: f64) {
        for e in &mut self.elements[..self.drag_elements] {
            e.drag_n_s2_m2 *= factor;
        }
    }

    /// All elements; those with drag first.
    pub fn elements(&self) -> &[Element] {
        &self.elements
    }

    /// Elements with drag, in the order of `orbital` in [`ViscousModel::drag_wrench`]: the wave
    /// channels the simulator has to feed.
    pub fn drag_elements(&self) -> &[Element] {
        &self.elements[..self.drag_elements]
    }

    /// Linear part at speed U: `F = -L nu_rel`, about O.
    pub fn linear_matrix(&self, speed_m_s: f64) -> Matrix6<f64> {
        let mut l = Matrix6::zeros();
        for e in &self.elements {
            l += e.row * e.row.transpose() * (e.lift_n_s2_m2 * speed_m_s);
        }
        l
    }

    /// Orbital velocity along an element per unit amplitude, crest at O, m/s.
    fn orbital(&self, e: &Element, omega0_rad_s: f64, mu_rad: f64) -> Complex64 {
        let k = omega0_rad_s * omega0_rad_s / self.g_m_s2;
        let (s, c) = mu_rad.sin_cos();
        let phase = -k * (e.r_m.x * c + e.r_m.y * s);
        let size = omega0_rad_s * (-k * e.r_m.z).exp();
        let unit = Complex64::from_polar(size, phase);
        unit * Complex64::new(e.along.x * c + e.along.y * s, -e.along.z)
    }

    /// Wave force of the linear part per unit amplitude at speed U, time factor
    /// exp(+i omega_e t), crest at O.
    pub fn wave_force(&self, omega0_rad_s: f64, mu_rad: f64, speed_m_s: f64) -> [Complex64; 6] {
        let mut f = [Complex64::ZERO; 6];
        for e in &self.elements {
            let pull = self.orbital(e, omega0_rad_s, mu_rad) * (e.lift_n_s2_m2 * speed_m_s);
            for (f, j) in f.iter_mut().zip(e.row.iter()) {
                *f += pull * *j;
            }
        }
        f
    }

    /// Orbital velocities along the drag elements per unit amplitude, for the linearisation.
    pub fn drag_orbital(&self, omega0_rad_s: f64, mu_rad: f64) -> Vec<Complex64> {
        self.drag_elements()
            .iter()
            .map(|e| self.orbital(e, omega0_rad_s, mu_rad))
            .collect()
    }

    /// Quadratic drag, about O: `nu` relative to still water, `orbital` the water's velocity along
    /// each drag element (m/s; an empty slice is still water).
    pub fn drag_wrench(&self, nu: &Vector6<f64>, orbital: &[f64]) -> Wrench {
        let mut f = Wrench::zeros();
        for (i, e) in self.drag_elements().iter().enumerate() {
            let s = e.row.dot(nu) - orbital.get(i).copied().unwrap_or(0.0);
            f -= e.row * (e.drag_n_s2_m2 * s.abs() * s);
        }
        f
    }

    /// Equivalent linear matrix of the drag, `F = -D nu_rel`, from the equivalent speed of each
    /// drag element (see [`harmonic_speed`], [`gaussian_speed`]).
    pub fn drag_matrix(&self, equivalent_m_s: &[f64]) -> Matrix6<f64> {
        let mut d = Matrix6::zeros();
        for (e, s) in self.drag_elements().iter().zip(equivalent_m_s) {
            d += e.row * e.row.transpose() * (e.drag_n_s2_m2 * s);
        }
        d
    }

    /// Wave force that belongs to [`ViscousModel::drag_matrix`], per unit amplitude.
    pub fn drag_wave_force(
        &self,
        omega0_rad_s: f64,
        mu_rad: f64,
        equivalent_m_s: &[f64],
    ) -> [Complex64; 6] {
        let mut f = [Complex64::ZERO; 6];
        for (e, s) in self.drag_elements().iter().zip(equivalent_m_s) {
            let pull = self.orbital(e, omega0_rad_s, mu_rad) * (e.drag_n_s2_m2 * s);
            for (f, j) in f.iter_mut().zip(e.row.iter()) {
                *f += pull * *j;
            }
        }
        f
    }
}

/// Equivalent speed of |s| s for a harmonic relative velocity of amplitude W: 8 W / (3 pi).
pub fn harmonic_speed(amplitude_m_s: f64) -> f64 {
    8.0 / (3.0 * std::f64::consts::PI) * amplitude_m_s
}

/// Equivalent speed of |s| s for a Gaussian relative velocity of standard deviation σ: sqrt(8/pi) σ.
pub fn gaussian_speed(rms_m_s: f64) -> f64 {
    (8.0 / std::f64::consts::PI).sqrt() * rms_m_s
}

fn element(r: Vector3<f64>, along: Vector3<f64>, drag: f64, lift: f64) -> Element {
    let m = r.cross(&along);
    Element {
        r_m: r,
        along,
        row: Vector6::new(along.x, along.y, along.z, m.x, m.y, m.z),
        drag_n_s2_m2: drag,
        lift_n_s2_m2: lift,
    }
}

fn hull_strips(craft: &Craft, c: &ViscousSpec) -> Vec<DragStrip> {
    let hull = &craft.hull;
    let (u, w) = gauss_legendre(HULL_STRIPS);
    let (mid, half) = (0.5 * (hull.fore_x_m + hull.aft_x_m), 0.5 * hull.length_m());
    let mut out = Vec::with_capacity(2 * HULL_STRIPS);
    for (u, w) in u.iter().zip(&w) {
        let x = mid + half * u;
        let Some(s) = hull.section_at(x) else {
            continue;
        };
        let breadth = 2.0 * s.half_breadth_m * w * half;
        for y in [hull.centre_y_m, -hull.centre_y_m] {
            out.push(DragStrip {
                r_m: [x, y, s.axis_z_m],
                horizontal_area_m2: breadth,
                lateral_area_m2: 2.0 * s.half_height_m * w * half,
                drag: c.hull_drag,
                lift_area_m2: c.body_lift * breadth,
            });
        }
    }
    out
}

fn strut_strips(craft: &Craft, c: &ViscousSpec) -> Vec<DragStrip> {
    let (u, w) = gauss_legendre(STRUT_STRIPS);
    let mut out = Vec::new();
    for strut in &craft.struts {
        let (mid, half) = (
            0.5 * (strut.fore_x_m + strut.aft_x_m),
            0.5 * strut.length_m(),
        );
        for (u, w) in u.iter().zip(&w) {
            let x = mid + half * u;
            let Some(s) = craft.hull.section_at(x) else {
                continue;
            };
            let depth = craft.hull.top_z(&s, strut.offset_m);
            for y in [strut.centre_y_m, -strut.centre_y_m] {
                out.push(DragStrip {
                    r_m: [x, y, 0.5 * depth],
                    horizontal_area_m2: 0.0,
                    lateral_area_m2: depth * w * half,
                    drag: c.strut_drag,
                    lift_area_m2: 0.0,
                });
            }
        }
    }
    out
}

#[cfg(test)]
#[path = "viscous_tests.rs"]
mod tests;
