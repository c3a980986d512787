//! Volumes, centres, waterplane moments, metacentric heights.
//!
//! # Equation
//! ```text
//! C33 = rho g A_w         C35 = C53 = -rho g A_w x_f
//! C44 = rho g I_T + rho g V (z_G - z_B) - free surfaces = rho g V GM_T
//! C55 = rho g (I_L + A_w x_f²) + rho g V (z_G - z_B) - free surfaces     (about O)
//! ```
//! z down, so the weight's share is rho g V (z_G - z_B), negative when G lies above B. GM_L is
//! taken about the centre of floatation, as usual: GM_L = I_L / V + z_G - z_B.
//!
//! # Symbols
//! V `volume_m3`, A_w `a_w_m2`, x_f `lcf_m`, I_L `i_l_m4`, I_T `i_t_m4`, B `cb_m`.
//!
//! # Valid when
//! Upright at the design waterline; hulls wholly submerged.
//!
//! # Source
//! Elementary hydrostatics; Lewis ed. (1988), Principles of Naval Architecture vol. I, SNAME,
//! chapter II. Integration by parts between breakpoints ([`super::integrate`]).
//!
//! # Checked by
//! `twin_rect_20`, `twin_parabola_22`, `spheroid_and_cylinder_volumes`, `box_hull_volume`,
//! `restoring_matrix_is_symmetric_with_the_signs_of_frames`

use nalgebra::{Matrix6, Vector3};

use super::contour::section_at;
use super::hull::LowerHull;
use super::integrate::{merged, piecewise};
use super::mass::MassProperties;
use super::outline::{Curve, moments};
use super::strut::Strut;
use crate::frames::Dof;

/// Hydrostatics at the design waterline, about O.
#[derive(Clone, Debug, PartialEq)]
pub struct Hydrostatics {
    /// Displaced volume, m3.
    pub volume_m3: f64,
    /// Displacement, kg.
    pub displacement_kg: f64,
    /// Volume of both lower hulls, m3.
    pub hull_volume_m3: f64,
    /// Centre of buoyancy from O, m.
    pub cb_m: Vector3<f64>,
    /// Waterplane area, m2.
    pub a_w_m2: f64,
    /// Centre of floatation forward of midships, m.
    pub lcf_m: f64,
    /// Longitudinal moment of inertia of the waterplane about its own centre, m4.
    pub i_l_m4: f64,
    /// Transverse moment of inertia of the waterplane about the centre plane, m4.
    pub i_t_m4: f64,
    /// Transverse metacentric height, free surfaces included, m.
    pub gm_t_m: f64,
    /// Longitudinal metacentric height, free surfaces included, m.
    pub gm_l_m: f64,
    /// Wetted area, m2.
    pub wetted_area_m2: f64,
    /// Restoring matrix about O with the weight included (N/m, N, N m): rows are forces for unit
    /// displacement, `F = -C eta`.
    pub c: Matrix6<f64>,
}

/// What the form alone decides, before anything is weighed. Both sides together.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    /// Displaced volume, m3.
    pub volume_m3: f64,
    /// Volume of both lower hulls, m3.
    pub hull_volume_m3: f64,
    /// Centre of buoyancy, m.
    pub cb_m: Vector3<f64>,
    /// Waterplane area, m2.
    pub a_w_m2: f64,
    /// First moment of the waterplane in x, m3.
    pub m_x_m3: f64,
    /// Second moment of the waterplane about x = 0, m4.
    pub i_xx_m4: f64,
    /// Second moment about the centre plane, m4.
    pub i_t_m4: f64,
    /// Wetted area of both lower hulls, m2.
    pub hull_wetted_m2: f64,
    /// Wetted area of the struts of both sides, from the fore one aft, m2.
    pub strut_wetted_m2: Vec<f64>,
}

const NODES: usize = 32; // per piece; the closed forms come out to 1e-9

/// Integrates the form.
pub fn form(hull: &LowerHull, struts: &[Strut]) -> Form {
    let mut breaks = hull.breakpoints();
    for s in struts {
        breaks.extend(s.breakpoints());
    }
    let breaks = merged(breaks, 1e-9 * hull.length_m());
    let (mut v, mut vx, mut vz, mut hull_v, mut wet) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (x, w) in piecewise(&breaks, NODES) {
        let (Some(section), Some(h)) = (section_at(hull, struts, x), hull.section_at(x)) else {
            continue;
        };
        let m = moments(&section.chain());
        v += w * m.area_m2;
        vx += w * m.area_m2 * x;
        vz += w * m.z_m3;
        hull_v += w * h.area_m2;
        let girth: f64 = section.hull.iter().map(Curve::length_m).sum();
        let r2 = h.half_breadth_m * h.half_height_m;
        wet += w * girth * (1.0 + 0.25 * h.bh_slope_m * h.bh_slope_m / r2).sqrt();
    }
    wet += [hull.aft_x_m, hull.fore_x_m]
        .iter()
        .filter_map(|x| hull.section_at(*x))
        .map(|s| s.area_m2)
        .sum::<f64>();
    let mut out = Form {
        volume_m3: 2.0 * v,
        hull_volume_m3: 2.0 * hull_v,
        cb_m: Vector3::new(vx / v, 0.0, vz / v),
        a_w_m2: 0.0,
        m_x_m3: 0.0,
        i_xx_m4: 0.0,
        i_t_m4: 0.0,
        hull_wetted_m2: 2.0 * wet,
        strut_wetted_m2: struts.iter().map(|s| 2.0 * strut_wetted(hull, s)).collect(),
    };
    for s in struts {
        for (x, w) in piecewise(&s.breakpoints(), NODES) {
            let t = s.half_thickness(x);
            out.a_w_m2 += 4.0 * w * t;
            out.m_x_m3 += 4.0 * w * t * x;
            out.i_xx_m4 += 4.0 * w * t * x * x;
            out.i_t_m4 += 4.0 * w * t * (s.centre_y_m * s.centre_y_m + t * t / 3.0);
        }
    }
    out
}

/// Wetted area of one strut: both faces and blunt ends, along a fine polygon.
fn strut_wetted(hull: &LowerHull, strut: &Strut) -> f64 {
    const CUTS: usize = 400;
    let depth = |x: f64| {
        hull.section_at(x).map_or(0.0, |s| {
            let j = strut.junction(hull, &s);
            0.5 * (j[0][1] + j[1][1])
        })
    };
    let mid = 0.5 * (strut.fore_x_m + strut.aft_x_m);
    let mut sum = 0.0;
    let mut last: Option<(f64, f64, f64)> = None;
    for i in 0..=CUTS {
        let u = -(std::f64::consts::PI * i as f64 / CUTS as f64).cos();
        let x = mid + 0.5 * strut.length_m() * u;
        let (t, d) = (strut.half_thickness(x), depth(x));
        if let Some((x0, t0, d0)) = last {
            sum += 2.0 * (x - x0).hypot(t - t0) * 0.5 * (d + d0);
        }
        if i == 0 || i == CUTS {
            sum += 2.0 * t * d;
        }
        last = Some((x, t, d));
    }
    sum
}

impl Form {
    /// Restoring matrix about O of the waterplane alone (no weight, no height of buoyancy).
    pub fn waterplane_matrix(&self, rho_kg_m3: f64, g_m_s2: f64) -> Matrix6<f64> {
        let (heave, roll, pitch) = (Dof::Heave.i(), Dof::Roll.i(), Dof::Pitch.i());
        let mut c = Matrix6::zeros();
        c[(heave, heave)] = self.a_w_m2;
        c[(heave, pitch)] = -self.m_x_m3;
        c[(pitch, heave)] = -self.m_x_m3;
        c[(roll, roll)] = self.i_t_m4;
        c[(pitch, pitch)] = self.i_xx_m4;
        c * (rho_kg_m3 * g_m_s2)
    }

    /// Hydrostatics with a weight that balances the buoyancy (`mass.cg_m` over the centre of
    /// buoyancy, mass equal to the displacement).
    pub fn with_weight(&self, mass: &MassProperties, rho_kg_m3: f64, g_m_s2: f64) -> Hydrostatics {
        let (roll, pitch) = (Dof::Roll.i(), Dof::Pitch.i());
        let weight = rho_kg_m3 * g_m_s2 * self.volume_m3;
        let mut c = self.waterplane_matrix(rho_kg_m3, g_m_s2);
        let arm = weight * (mass.cg_m.z - self.cb_m.z);
        c[(roll, roll)] += arm - mass.free_surface_roll_nm;
        c[(pitch, pitch)] += arm - mass.free_surface_pitch_nm;
        let lcf = if self.a_w_m2 > 0.0 {
            self.m_x_m3 / self.a_w_m2
        } else {
            0.0
        };
        let off = self.a_w_m2 * lcf * lcf;
        Hydrostatics {
            volume_m3: self.volume_m3,
            displacement_kg: rho_kg_m3 * self.volume_m3,
            hull_volume_m3: self.hull_volume_m3,
            cb_m: self.cb_m,
            a_w_m2: self.a_w_m2,
            lcf_m: lcf,
            i_l_m4: self.i_xx_m4 - off,
            i_t_m4: self.i_t_m4,
            gm_t_m: c[(roll, roll)] / weight,
            gm_l_m: c[(pitch, pitch)] / weight - off / self.volume_m3,
            wetted_area_m2: self.hull_wetted_m2 + self.strut_wetted_m2.iter().sum::<f64>(),
            c,
        }
    }
}
