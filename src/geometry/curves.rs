//! Heel and immersion curves for the report.
//!
//! # Equation
//! Righting arm GZ = -K_net / (rho g V) at each heel, with sinkage and trim free to balance;
//! immersion: displacement and waterplane stiffness against parallel sinkage.
//!
//! # Checked by
//! `gz_starts_with_gm`, `immersion_curve_passes_the_design_point`

use super::craft::Craft;
use super::restoring::Restoring;

/// A point of the curve of righting arms.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GzPoint {
    /// Heel, starboard down, rad.
    pub heel_rad: f64,
    /// Righting arm, m.
    pub gz_m: f64,
    /// Sinkage of O at this heel, m.
    pub sinkage_m: f64,
    /// Trim at this heel, rad.
    pub trim_rad: f64,
}

/// A point of the immersion curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ImmersionPoint {
    /// Sinkage from the design waterline, m.
    pub sinkage_m: f64,
    /// Displacement, kg.
    pub displacement_kg: f64,
    /// Centre of buoyancy forward of midships, m.
    pub lcb_m: f64,
    /// Mass that sinks the craft by one centimetre, kg/cm.
    pub kg_per_cm: f64,
}

impl Craft {
    /// Righting arms at the given heels, sinkage and trim free.
    pub fn gz_curve(&self, restoring: &Restoring, heel_rad: &[f64]) -> Vec<GzPoint> {
        let weight = self.mass.mass_kg * self.g_m_s2;
        let (mut z, mut theta) = (0.0, 0.0);
        heel_rad
            .iter()
            .map(|&phi| {
                settle(restoring, phi, &mut z, &mut theta);
                let w = restoring.net(z, phi, theta);
                GzPoint {
                    heel_rad: phi,
                    gz_m: -w[3] / weight,
                    sinkage_m: z,
                    trim_rad: theta,
                }
            })
            .collect()
    }

    /// Displacement against parallel sinkage.
    pub fn immersion_curve(&self, restoring: &Restoring, sinkage_m: &[f64]) -> Vec<ImmersionPoint> {
        const H: f64 = 0.005; // central difference over one centimetre
        sinkage_m
            .iter()
            .map(|&z| {
                let lift = |z: f64| -restoring.wrench(z, 0.0, 0.0)[2];
                let w = restoring.wrench(z, 0.0, 0.0);
                ImmersionPoint {
                    sinkage_m: z,
                    displacement_kg: lift(z) / self.g_m_s2,
                    lcb_m: -w[4] / w[2],
                    kg_per_cm: (lift(z + H) - lift(z - H)) / self.g_m_s2,
                }
            })
            .collect()
    }
}

/// Newton in heave and pitch at a given heel; keeps the last point where it fails.
fn settle(restoring: &Restoring, phi: f64, z: &mut f64, theta: &mut f64) {
    let f = |z: f64, t: f64| {
        let w = restoring.net(z, phi, t);
        (w[2], w[4])
    };
    for _ in 0..60 {
        let (h, a) = (1e-4, 1e-5);
        let (r0, r1) = f(*z, *theta);
        let (p, q) = (f(*z + h, *theta), f(*z - h, *theta));
        let (s, t) = (f(*z, *theta + a), f(*z, *theta - a));
        let (j00, j10) = ((p.0 - q.0) / (2.0 * h), (p.1 - q.1) / (2.0 * h));
        let (j01, j11) = ((s.0 - t.0) / (2.0 * a), (s.1 - t.1) / (2.0 * a));
        let det = j00 * j11 - j01 * j10;
        if det.abs() < f64::MIN_POSITIVE {
            return;
        }
        let dz = ((j11 * r0 - j01 * r1) / det).clamp(-0.3, 0.3);
        let dt = ((j00 * r1 - j10 * r0) / det).clamp(-0.05, 0.05);
        *z -= dz;
        *theta -= dt;
        if dz.abs() < 1e-10 && dt.abs() < 1e-11 {
            return;
        }
    }
}
