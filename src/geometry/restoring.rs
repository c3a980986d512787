//! Restoring beyond the linear range.
//!
//! Struts emerge, hulls broach and the cross-structure enters the water: buoyancy from the
//! immersed shape under a calm, tilted waterplane, strip by strip.
//!
//! # Equation
//! Earth's vertical in body axes `e = (-sin θ, cos θ sin φ, cos θ cos φ)`; a strip at (x, y) is cut
//! at `z_w = -(z + e1 x + e2 y) / e3`, z the depth of O below its place at rest. With V and S the
//! volume under water and its first moment,
//! ```text
//! F = -rho g V e,   M = -rho g S x e        (buoyancy)
//! F = m g e,        M = m g r_G x e         (weight)
//! ```
//! The own inertia of a strip's waterline enters through the wedge of the local heel. What the
//! strips miss against the exact hydrostatics at rest is added as a constant (V, S) and as a
//! constant stiffness, so that the equilibrium is exact and the linear limit is C.
//!
//! # Symbols
//! z `heave_m`, φ `phi_rad`, θ `theta_rad`.
//!
//! # Valid when
//! Calm water; the waves' share of buoyancy is in the wave force. Tilt below about 60 deg.
//!
//! # Source
//! Hydrostatics of strips; nothing taken from elsewhere.
//!
//! # Checked by
//! `restoring_at_rest_is_exact`, `restoring_slope_is_c`, `strips_alone_match_c`,
//! `restoring_is_conservative`, `broached_and_sunk_limits`, `box_bites`, `mirror_in_roll`

use nalgebra::{Matrix3, Vector3, Vector6};

use super::craft::Craft;
use super::hull::LowerHull;
use super::hydrostatics::{Form, form};
use super::integrate::{gauss_legendre, merged, piecewise};
use super::mass::MassProperties;
use super::restoring_tables::{CELLS, Cell, CrossBox, Grid, table};
use super::strut::Strut;
use crate::frames::Wrench;
use crate::spec::craft::CrossStructureSpec;

/// Nonlinear hydrostatics of a craft; evaluated without allocation.
#[derive(Clone, Debug)]
pub struct Restoring {
    rho_g: f64,
    strips: Vec<Strip>,
    cells: Vec<Cell>,
    grid: Grid,
    cross: CrossBox,
    /// Constant (V, Sx, Sy, Sz) that makes the equilibrium exact.
    still: [f64; 4],
    /// Constant stiffness in heave, roll, pitch that the strips miss (N/m, N, N m).
    missing: Matrix3<f64>,
    weight: Weight,
}

/// A pair of strips, starboard and port.
#[derive(Clone, Copy, Debug)]
struct Strip {
    x: f64,
    y: f64,
    width: f64,
    first: usize,
}

#[derive(Clone, Copy, Debug, Default)]
struct Weight {
    mg: f64,
    cg: Vector3<f64>,
    fs_roll: f64,
    fs_pitch: f64,
}

/// Earth's vertical (down) in body axes.
fn vertical(phi_rad: f64, theta_rad: f64) -> Vector3<f64> {
    let (sf, cf) = phi_rad.sin_cos();
    let (st, ct) = theta_rad.sin_cos();
    Vector3::new(-st, ct * sf, ct * cf)
}

impl Restoring {
    /// Builds the strips and tables of a craft.
    pub fn build(craft: &Craft) -> Restoring {
        let form = form(&craft.hull, &craft.struts);
        let mut out = Restoring::of_form(
            &craft.hull,
            &craft.struts,
            &craft.spec.cross_structure,
            craft.underside_z_m,
            &form,
            craft.rho_kg_m3 * craft.g_m_s2,
        );
        out.set_weight(&craft.mass, craft.g_m_s2);
        out
    }

    /// The same before the craft has been weighed.
    pub(super) fn of_form(
        hull: &LowerHull,
        struts: &[Strut],
        cross: &CrossStructureSpec,
        underside_z_m: f64,
        form: &Form,
        rho_g: f64,
    ) -> Restoring {
        let keel = hull
            .breakpoints()
            .iter()
            .filter_map(|x| hull.section_at(*x))
            .map(|s| s.axis_z_m + s.half_height_m)
            .fold(0.0, f64::max);
        let grid = Grid::new(underside_z_m, keel);
        let mut out = Restoring {
            rho_g,
            strips: Vec::new(),
            cells: Vec::new(),
            grid,
            cross: CrossBox {
                aft_x: cross.aft_x_m,
                fore_x: cross.fore_x_m,
                half_breadth: cross.half_breadth_m,
                underside_z: underside_z_m,
            },
            still: [0.0; 4],
            missing: Matrix3::zeros(),
            weight: Weight::default(),
        };
        for (x, width) in strip_nodes(hull, struts) {
            let first = out.cells.len();
            out.cells.extend(table(hull, struts, x, &grid));
            let y = super::contour::strut_at(struts, x).map_or(hull.centre_y_m, |s| s.centre_y_m);
            out.strips.push(Strip { x, y, width, first });
        }
        out.correct(form);
        out
    }

    fn correct(&mut self, form: &Form) {
        let found = self.immersed(0.0, &Vector3::z());
        let v = form.volume_m3;
        let exact = [v, v * form.cb_m.x, v * form.cb_m.y, v * form.cb_m.z];
        for i in 0..4 {
            self.still[i] = exact[i] - found[i];
        }
        // stiffness of waterplane and height of buoyancy, from the cells that hold z = 0
        let mut c = Matrix3::zeros();
        for s in &self.strips {
            let cell = &self.cells[s.first + self.cell_of(0.0)];
            let w = 2.0 * s.width * cell.breadth;
            c[(0, 0)] += w;
            c[(0, 2)] -= w * s.x;
            c[(2, 2)] += w * s.x * s.x;
            c[(1, 1)] += w * s.y * s.y + 2.0 * s.width * cell.own;
        }
        c[(2, 0)] = c[(0, 2)];
        let exact = Matrix3::new(
            form.a_w_m2,
            0.0,
            -form.m_x_m3,
            0.0,
            form.i_t_m4,
            0.0,
            -form.m_x_m3,
            0.0,
            form.i_xx_m4,
        );
        self.missing = (exact - c) * self.rho_g;
    }

    /// Gives the loading that [`Restoring::net`] uses.
    pub fn set_weight(&mut self, mass: &MassProperties, g_m_s2: f64) {
        self.weight = Weight {
            mg: mass.mass_kg * g_m_s2,
            cg: mass.cg_m,
            fs_roll: mass.free_surface_roll_nm,
            fs_pitch: mass.free_surface_pitch_nm,
        };
    }

    fn cell_of(&self, z: f64) -> usize {
        (((z - self.grid.top) / self.grid.step).max(0.0) as usize).min(CELLS)
    }

    /// Volume under water and its first moments about O (body axes).
    fn immersed(&self, heave: f64, e: &Vector3<f64>) -> [f64; 4] {
        let flat = 1.0 / e.z.max(0.05);
        let (d0, ex, ey) = (heave * flat, e.x * flat, e.y * flat);
        let mut sum = self.still;
        let (top, per_step) = (self.grid.top, 1.0 / self.grid.step);
        for s in &self.strips {
            let cells = &self.cells[s.first..=s.first + CELLS];
            let mid = -(d0 + ex * s.x);
            let across = ey * s.y;
            let mut pair = [[0.0; 3]; 2]; // area, wedge, ∫ z dA
            for (out, z_w) in pair.iter_mut().zip([mid - across, mid + across]) {
                let z_w = z_w.max(top);
                let t = (z_w - top) * per_step;
                let k = (t as usize).min(CELLS);
                let cell = &cells[k];
                let d = (t - k as f64) * self.grid.step;
                let area = cell.area - cell.breadth * d;
                let below = cell.below - d * (cell.area - 0.5 * cell.breadth * d);
                let wedge = ey * cell.own;
                *out = [area, wedge, below + z_w * area - 0.5 * ey * wedge];
            }
            let [stbd, port] = pair;
            let area = s.width * (stbd[0] + port[0]);
            sum[0] += area;
            sum[1] += area * s.x;
            sum[2] += s.width * ((stbd[0] - port[0]) * s.y + stbd[1] + port[1]);
            sum[3] += s.width * (stbd[2] + port[2]);
        }
        let bite = self.cross.immersed(d0 + self.cross.underside_z, ex, ey);
        for i in 0..4 {
            sum[i] += bite[i];
        }
        sum
    }

    /// Wrench of the buoyancy alone, about O in body axes: the full buoyancy, not its change. At
    /// rest it is `(0, 0, -rho g V, 0, rho g V x_B, 0)`. O lies `heave_m` below its place at rest.
    pub fn wrench(&self, heave_m: f64, phi_rad: f64, theta_rad: f64) -> Wrench {
        self.wrench_along(heave_m, phi_rad, theta_rad, &vertical(phi_rad, theta_rad))
    }

    fn wrench_along(&self, heave_m: f64, phi_rad: f64, theta_rad: f64, e: &Vector3<f64>) -> Wrench {
        let [v, sx, sy, sz] = self.immersed(heave_m, e);
        let f = e * (-self.rho_g * v);
        let m = Vector3::new(sx, sy, sz).cross(e) * -self.rho_g;
        let more = self.missing * Vector3::new(heave_m, phi_rad, theta_rad);
        Vector6::new(f.x, f.y, f.z - more.x, m.x - more.y, m.y - more.z, m.z)
    }

    /// Buoyancy, weight and free surfaces together: zero at rest, `-C eta` for small motions.
    pub fn net(&self, heave_m: f64, phi_rad: f64, theta_rad: f64) -> Wrench {
        self.net_along(heave_m, phi_rad, theta_rad, &vertical(phi_rad, theta_rad))
    }

    /// [`Restoring::net`] for a caller who knows `e`, earth's vertical in body axes at this roll and pitch.
    pub fn net_along(
        &self,
        heave_m: f64,
        phi_rad: f64,
        theta_rad: f64,
        e: &Vector3<f64>,
    ) -> Wrench {
        let w = &self.weight;
        let f = e * w.mg;
        let m = w.cg.cross(&f);
        self.wrench_along(heave_m, phi_rad, theta_rad, e)
            + Vector6::new(
                f.x,
                f.y,
                f.z,
                m.x + w.fs_roll * e.y,
                m.y - w.fs_pitch * e.x,
                m.z,
            )
    }

    /// Share of the waterplane's stiffness that the strips miss before correction (largest of
    /// heave, roll, pitch).
    pub fn strip_error(&self, c_waterplane: &nalgebra::Matrix6<f64>) -> f64 {
        (0..3)
            .map(|i| (self.missing[(i, i)] / c_waterplane[(i + 2, i + 2)]).abs())
            .fold(0.0, f64::max)
    }
}

/// Strips a side: Gauss nodes between the ends of hull and struts and the joins of their shapes,
/// three a piece of strut, two a bare piece of hull.
fn strip_nodes(hull: &LowerHull, struts: &[Strut]) -> Vec<(f64, f64)> {
    let mut breaks = vec![hull.aft_x_m, hull.fore_x_m];
    for s in struts {
        let joins = s.breakpoints();
        if joins.len() <= 5 {
            breaks.extend(joins);
        } else {
            breaks.extend([s.aft_x_m, s.fore_x_m]);
        }
    }
    let breaks = merged(breaks, 1e-6 * hull.length_m());
    let mut out = Vec::new();
    for pair in breaks.windows(2) {
        let (mid, half) = (0.5 * (pair[0] + pair[1]), 0.5 * (pair[1] - pair[0]));
        let strut = struts.iter().find(|s| mid > s.aft_x_m && mid < s.fore_x_m);
        let n = match strut {
            None => 2,
            Some(s) if s.has_round_ends() => {
                out.extend(piecewise(pair, 8));
                continue;
            }
            Some(s) if s.breakpoints().len() > 5 => 10,
            Some(_) => 3,
        };
        let (u, w) = gauss_legendre(n);
        out.extend(u.iter().zip(&w).map(|(u, w)| (mid + half * u, half * w)));
    }
    out
}
