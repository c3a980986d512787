//! Immersion tables of one strip, and the box above water.
//!
//! # Equation
//! With A(z_w) the area below a local waterline at body height z_w (z down), b the breadth there:
//! ```text
//! A' = -b,   P(z_w) = ∫ A dz from z_w down,   P' = -A,   ∫ z dA = P + z_w A
//! ```
//! A is tabulated and linear inside a cell, b is constant there and P quadratic, so force and
//! energy belong together exactly (for wall sides).

use super::contour::strut_at;
use super::hull::LowerHull;
use super::integrate::gauss_legendre;
use super::strut::Strut;

/// Strips of the box along its length.
const STRIPS: usize = 16;

/// Cells of a table; about 3 cm on a craft of 30 m.
pub(super) const CELLS: usize = 256;

/// One cell of an immersion table.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Cell {
    /// Area below the cell's upper edge, m2.
    pub area: f64,
    /// Breadth in the cell, m.
    pub breadth: f64,
    /// ∫ A dz below the cell's upper edge, m3.
    pub below: f64,
    /// Own second moment of the waterline, b³/12, m3.
    pub own: f64,
}

/// Heights shared by all tables of a craft.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grid {
    /// z of the first cell's upper edge, m.
    pub top: f64,
    /// Height of a cell, m.
    pub step: f64,
}

impl Grid {
    /// From the underside to the keel, with the design waterline in the middle of a cell, so that
    /// the slope there is the breadth at the waterline.
    pub(super) fn new(underside_z: f64, keel_z: f64) -> Grid {
        let step = (keel_z - underside_z) / (CELLS as f64 - 2.0);
        let above = (-underside_z / step + 0.5).ceil() - 0.5;
        Grid {
            top: -above * step,
            step,
        }
    }
}

/// Table of the section at `x`, starboard side, from the grid's top down.
pub(super) fn table(hull: &LowerHull, struts: &[Strut], x: f64, grid: &Grid) -> Vec<Cell> {
    let (u, w) = gauss_legendre(8);
    let breadth = |z: f64| breadth_at(hull, struts, x, z);
    let mut cells = vec![Cell::default(); CELLS + 1];
    for k in (0..CELLS).rev() {
        let upper = grid.top + k as f64 * grid.step;
        let mid = upper + 0.5 * grid.step;
        let cell: f64 = u
            .iter()
            .zip(&w)
            .map(|(u, w)| 0.5 * w * breadth(mid + 0.5 * grid.step * u))
            .sum();
        let area = cells[k + 1].area + cell * grid.step;
        cells[k] = Cell {
            area,
            breadth: cell,
            below: cells[k + 1].below + 0.5 * grid.step * (area + cells[k + 1].area),
            own: cell.powi(3) / 12.0,
        };
    }
    cells
}

/// Breadth of hull and strut together at the height z.
fn breadth_at(hull: &LowerHull, struts: &[Strut], x: f64, z: f64) -> f64 {
    let Some(s) = hull.section_at(x) else {
        return 0.0;
    };
    let chord = hull.half_chord(&s, z);
    let Some(strut) = strut_at(struts, x) else {
        return 2.0 * chord;
    };
    if z >= s.axis_z_m {
        return 2.0 * chord;
    }
    let t = strut.half_thickness_at(x, z);
    let (inner, outer) = (strut.offset_m - t, strut.offset_m + t);
    if chord > 0.0 {
        outer.max(chord) - inner.min(-chord)
    } else {
        2.0 * t
    }
}

/// The box above water: where it is and what of it is under water.
#[derive(Clone, Copy, Debug)]
pub(super) struct CrossBox {
    pub aft_x: f64,
    pub fore_x: f64,
    pub half_breadth: f64,
    pub underside_z: f64,
}

impl CrossBox {
    /// Volume and its first moments (V, x, y, z) below the plane `depth = d0 + ex x + ey y` of the
    /// underside (depth over cos of the tilt, that is along body z).
    pub(super) fn immersed(&self, d0: f64, ex: f64, ey: f64) -> [f64; 4] {
        let half = 0.5 * (self.fore_x - self.aft_x);
        let mid = 0.5 * (self.fore_x + self.aft_x);
        let greatest = d0 + ex * mid + ex.abs() * half + ey.abs() * self.half_breadth;
        if greatest <= 0.0 {
            return [0.0; 4];
        }
        let dx = 2.0 * half / STRIPS as f64;
        let mut sum = [0.0; 4];
        for i in 0..STRIPS {
            let x = self.aft_x + (i as f64 + 0.5) * dx;
            let (a, y, q) = wedge(d0 + ex * x, ey, self.half_breadth);
            sum[0] += dx * a;
            sum[1] += dx * a * x;
            sum[2] += dx * y;
            sum[3] += dx * (self.underside_z * a - 0.5 * q);
        }
        sum
    }
}

/// ∫ d dy, ∫ y d dy, ∫ d² dy over the wet part of [-b, b], depth d = a + s y.
fn wedge(a: f64, s: f64, b: f64) -> (f64, f64, f64) {
    let (mut lo, mut hi) = (-b, b);
    if a - s.abs() * b < 0.0 {
        if a + s.abs() * b <= 0.0 {
            return (0.0, 0.0, 0.0);
        }
        let edge = -a / s;
        if s > 0.0 { lo = edge } else { hi = edge }
    }
    let (m1, m2, m3) = (
        hi - lo,
        0.5 * (hi * hi - lo * lo),
        (hi.powi(3) - lo.powi(3)) / 3.0,
    );
    (
        a * m1 + s * m2,
        a * m2 + s * m3,
        a * a * m1 + 2.0 * a * s * m2 + s * s * m3,
    )
}
