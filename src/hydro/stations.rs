//! Where the hulls are cut, and with what weight each cut counts.
//!
//! # Equation
//! `Int f dx = Sum w_i f(x_i)` with Gauss-Legendre points on every piece between breaks of the
//! form (hull stations and ends, strut ends and joins): exact for areas and waterplanes that are
//! polynomials there, whatever the number of points. A user's own stations get trapezoidal weights with zero at the
//! hull's ends. All weights are positive, so that an integral of positive semidefinite sectional
//! matrices is one.
//!
//! # Valid when
//! Pointed ends: what the sections do beyond the hull's ends is nothing.
//!
//! # Source
//! Abramowitz, M. & Stegun, I. (1964), Handbook of Mathematical Functions, 25.4.29.
//!
//! # Checked by
//! `weights_integrate_the_form_and_equal_sections_are_cut_once`.

use crate::error::{Error, Problem, Result};
use crate::geometry::contour::Contour;
use crate::geometry::craft::Craft;
use crate::geometry::integrate::{gauss_legendre, merged};

/// Points on the longest piece and least number on each.
const POINTS_LONG: f64 = 26.0;
const POINTS_LEAST: usize = 3;

/// Stations along the lower hulls.
#[derive(Clone, Debug, PartialEq)]
pub struct Stations {
    /// x from O, m, ascending.
    pub x_m: Vec<f64>,
    /// Weight of each in an integral over x, m.
    pub weight_m: Vec<f64>,
    /// Which of `contours` each has.
    pub section: Vec<usize>,
    /// The different sections.
    pub contours: Vec<Contour>,
}

impl Stations {
    /// The program's own stations.
    ///
    /// # Errors
    /// When the craft has no section anywhere.
    pub fn of_craft(craft: &Craft) -> Result<Self> {
        let hull = &craft.hull;
        let length = hull.length_m();
        let mut breaks = hull.breakpoints();
        for s in &craft.struts {
            breaks.extend(s.breakpoints());
        }
        breaks.retain(|x| (hull.aft_x_m..=hull.fore_x_m).contains(x));
        let breaks = merged(breaks, 1e-6 * length);
        let mut cuts = Vec::new();
        for pair in breaks.windows(2) {
            let share = (pair[1] - pair[0]) / length;
            let n = ((POINTS_LONG * share).ceil() as usize).max(POINTS_LEAST);
            let (mid, half) = (0.5 * (pair[0] + pair[1]), 0.5 * (pair[1] - pair[0]));
            let (u, w) = gauss_legendre(n);
            cuts.extend(u.iter().zip(&w).map(|(u, w)| (mid + half * u, half * w)));
        }
        Self::from_cuts(craft, &cuts)
    }

    /// The user's own stations (x from midships, m, any order).
    ///
    /// # Errors
    /// When fewer than three lie within the hull.
    pub fn of_user(craft: &Craft, x_m: &[f64]) -> Result<Self> {
        let hull = &craft.hull;
        let mut x = merged(x_m.to_vec(), 1e-9 * hull.length_m());
        x.retain(|x| (hull.aft_x_m..=hull.fore_x_m).contains(x));
        if x.len() < 3 {
            return Err(Problem::at(
                "physics.stations_x_m",
                format!(
                    "has {} stations within the hull ({} m to {} m), must have at least 3",
                    x.len(),
                    hull.aft_x_m,
                    hull.fore_x_m
                ),
            )
            .hint("leave it out to take the program's own stations")
            .into());
        }
        let n = x.len();
        let cuts: Vec<(f64, f64)> = (0..n)
            .map(|i| {
                let aft = if i == 0 { hull.aft_x_m } else { x[i - 1] };
                let fore = if i + 1 == n { hull.fore_x_m } else { x[i + 1] };
                (x[i], 0.5 * (fore - aft))
            })
            .collect();
        Self::from_cuts(craft, &cuts)
    }

    fn from_cuts(craft: &Craft, cuts: &[(f64, f64)]) -> Result<Self> {
        let mut s = Stations {
            x_m: Vec::new(),
            weight_m: Vec::new(),
            section: Vec::new(),
            contours: Vec::new(),
        };
        for &(x, w) in cuts {
            let Some(contour) = craft.contour_at(x) else {
                continue;
            };
            s.push(x, w, contour);
        }
        if s.x_m.is_empty() {
            return Err(Error::new("the lower hulls have no section anywhere"));
        }
        Ok(s)
    }

    /// Adds a cut; equal outlines share one entry.
    pub fn push(&mut self, x_m: f64, weight_m: f64, contour: Contour) {
        let found = self.contours.iter().position(|c| equal(c, &contour));
        let at = found.unwrap_or_else(|| {
            self.contours.push(contour);
            self.contours.len() - 1
        });
        self.x_m.push(x_m);
        self.weight_m.push(weight_m);
        self.section.push(at);
    }

    /// Number of stations.
    pub fn len(&self) -> usize {
        self.x_m.len()
    }

    /// True when there is none.
    pub fn is_empty(&self) -> bool {
        self.x_m.is_empty()
    }
}

/// Same outline to rounding.
fn equal(a: &Contour, b: &Contour) -> bool {
    let tol = 1e-9 * (a.half_breadth_m + a.half_height_m + a.axis_z_m.abs());
    let near = |x: f64, y: f64| (x - y).abs() <= tol;
    near(a.half_breadth_m, b.half_breadth_m)
        && near(a.half_height_m, b.half_height_m)
        && near(a.axis_z_m, b.axis_z_m)
        && near(a.strut_half_thickness_m, b.strut_half_thickness_m)
        && a.pieces.len() == b.pieces.len()
        && a.pieces.iter().zip(&b.pieces).all(|(p, q)| {
            p.len() == q.len()
                && p.iter()
                    .zip(q)
                    .all(|(u, v)| near(u[0], v[0]) && near(u[1], v[1]))
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_integrate_the_form_and_equal_sections_are_cut_once() {
        for name in ["coastal_survey", "offshore_survey"] {
            let craft = crate::hydro::craft_hydro::tests::craft(name);
            let s = Stations::of_craft(&craft).expect("stations");
            assert!(s.len() >= 30, "issue 2 section 3 asks 30");
            assert!(
                s.contours.len() < s.len(),
                "the parallel middle is one section"
            );
            let h = &craft.hydrostatics;
            let sum = |f: &dyn Fn(&Contour, f64) -> f64| -> f64 {
                (0..s.len())
                    .map(|i| 2.0 * s.weight_m[i] * f(&s.contours[s.section[i]], s.x_m[i]))
                    .sum()
            };
            let width = |c: &Contour| 2.0 * c.strut_half_thickness_m;
            // waterplane: polynomials, exact to rounding; volume: the junction of strut and hull is none
            assert!((sum(&|c, _| width(c)) / h.a_w_m2 - 1.0).abs() < 1e-9);
            assert!((sum(&|c, _| c.area_m2) / h.volume_m3 - 1.0).abs() < 1e-5);
            let second = h.i_l_m4 + h.a_w_m2 * h.lcf_m * h.lcf_m;
            assert!((sum(&|c, x| width(c) * x * x) / second - 1.0).abs() < 1e-9);
        }
    }
}
