//! Nearness of the free surface, emergence, cavitation.
//!
//! # Equation
//! At high Froude number the surface acts as a line of constant pressure (potential zero): the image
//! has the same circulation (biplane). Two-dimensional lift ratio `f(h/c)` fitted to the full
//! thin-aerofoil solution with that image; three-dimensional slope of a wing of slope a:
//! `1/a_h = 1/a + (1/f - 1)/(2 pi) + sigma/(pi A)`,
//! `sigma(G) = 2 int_0^inf J1(k)^2/k exp(-2 k G/b) dk`, G = 2h, elliptic loads.
//! Emergence multiplies by the immersed share of the area, rounded off over a tenth of a chord.
//! Cavitation or ventilation is flagged when `sigma_v = (p_atm + rho g h - p_v)/(rho U^2/2)` is below
//! `-Cp_min = (1 + 1.6 t/c + cl)^2 - 1`, cl the greatest section lift, 4/pi of the panel's mean.
//!
//! # Valid when
//! U/sqrt(g h) above about 1.5 (below, the image fades and turns into its opposite; at those
//! speeds fins give little force anyway).
//!
//! # Source
//! Image and lift ratio: thin-aerofoil integral equation (references fs2d). sigma: Prandtl (1923),
//! NACA Report 116, by Munk's theorem, here in Fourier form. Cp_min: velocities of symmetrical
//! four-digit sections superposed, Abbott & von Doenhoff (1959), read from memory.
//!
//! # Checked by
//! `lift_ratio_meets_thin_aerofoil_solution`, `biplane_factor_meets_prandtl`, `cavitation_numbers`.

use std::f64::consts::PI;

use super::lift::smooth_step;
use crate::units::{P_ATM_PA, P_VAPOUR_PA};

/// Rows of the depth table.
const ROWS: usize = 57;
/// Strips of the panel for emergence.
const STRIPS: usize = 16;
/// Step of depth over chord between rows.
const STEP: f64 = 0.125;

/// Two-dimensional lift at depth over chord `h_over_c` over lift in unbounded water, high Froude number.
pub fn biplane_lift_ratio(h_over_c: f64) -> f64 {
    let x = h_over_c.max(0.0);
    let y = x * (6.5 + 15.0 * x); // fit, within 1e-3 of the solved plate from h/c = 0.1 up
    1.0 - 1.0 / (16.0 * x * x + 2.0 + y / (1.0 + y))
}

/// Interference factor sigma of two equal elliptically loaded wings, gap over span.
pub fn biplane_interference(gap_over_span: f64) -> f64 {
    // Simpson's rule; the integrand falls as exp(-2 k G/b)/k^2
    let decay = 2.0 * gap_over_span;
    let end = (30.0 / decay.max(1e-9)).min(400.0);
    let n = ((end * 8.0) as usize).max(200).next_multiple_of(2);
    let h = end / n as f64;
    let f = |k: f64| {
        if k <= 0.0 {
            return 0.0;
        }
        let j = libm::j1(k);
        j * j / k * (-decay * k).exp()
    };
    let mut sum = f(0.0) + f(end);
    for i in 1..n {
        sum += f(i as f64 * h) * if i % 2 == 1 { 4.0 } else { 2.0 };
    }
    2.0 * sum * h / 3.0
}

/// Lift against depth for one surface, tabulated.
#[derive(Clone, Debug, PartialEq)]
pub struct DepthTable {
    /// Lift ratio to unbounded water at depth over chord i/8.
    ratio: [f64; ROWS],
}

impl DepthTable {
    /// For a surface of unbounded slope `slope` (per rad), effective aspect ratio `aspect`, span over
    /// mean chord `span_over_chord` (with the image in the hull where the root is sealed).
    pub fn new(slope: f64, aspect: f64, span_over_chord: f64) -> Self {
        let mut ratio = [1.0; ROWS];
        for (i, r) in ratio.iter_mut().enumerate() {
            let x = i as f64 * STEP;
            let two_d = (1.0 / biplane_lift_ratio(x) - 1.0) / (2.0 * PI);
            let trailing = biplane_interference(2.0 * x / span_over_chord) / (PI * aspect);
            *r = 1.0 / (1.0 + slope * (two_d + trailing));
        }
        DepthTable { ratio }
    }

    /// Lift ratio to unbounded water at depth over chord `x`; continuous slope.
    pub fn ratio(&self, x: f64) -> f64 {
        let last = (ROWS - 1) as f64 * STEP;
        if x >= last {
            return 1.0 - (1.0 - self.ratio[ROWS - 1]) * (last / x).powi(2);
        }
        let s = (x / STEP).max(0.0);
        let i = (s as usize).min(ROWS - 2);
        let t = s - i as f64;
        let (a, b) = (self.ratio[i], self.ratio[i + 1]);
        let (da, db) = (self.tangent(i), self.tangent(i + 1));
        let (t2, t3) = (t * t, t * t * t);
        a * (2.0 * t3 - 3.0 * t2 + 1.0)
            + da * (t3 - 2.0 * t2 + t)
            + b * (3.0 * t2 - 2.0 * t3)
            + db * (t3 - t2)
    }

    fn tangent(&self, i: usize) -> f64 {
        if i == 0 {
            return 0.0; // flat towards emergence
        }
        if i == ROWS - 1 {
            return self.ratio[i] - self.ratio[i - 1];
        }
        0.5 * (self.ratio[i + 1] - self.ratio[i - 1])
    }
}

/// Immersed share of a panel whose root lies `root_depth_m` and tip `tip_depth_m` below the
/// surface, area weighted, rounded over a tenth of the mean chord either way.
pub fn immersed_share(root_depth_m: f64, tip_depth_m: f64, chord_m: f64, taper: f64) -> f64 {
    let soft = 0.1 * chord_m;
    if root_depth_m.min(tip_depth_m) >= soft {
        return 1.0;
    }
    let (mut wet, mut all) = (0.0, 0.0);
    for i in 0..STRIPS {
        let t = (i as f64 + 0.5) / STRIPS as f64;
        let chord = 1.0 + (taper - 1.0) * t;
        let depth = root_depth_m + (tip_depth_m - root_depth_m) * t;
        wet += chord * smooth_step(0.5 * (depth + soft) / soft);
        all += chord;
    }
    wet / all
}

/// Cavitation number at `depth_m` and `speed_m_s`.
pub fn cavitation_number(speed_m_s: f64, depth_m: f64, rho_kg_m3: f64, g_m_s2: f64) -> f64 {
    (P_ATM_PA + rho_kg_m3 * g_m_s2 * depth_m - P_VAPOUR_PA)
        / (0.5 * rho_kg_m3 * speed_m_s * speed_m_s).max(1e-9)
}

/// Suction peak -Cp_min of a section of thickness ratio `thickness` at section lift `cl`.
pub fn suction_peak(thickness: f64, cl: f64) -> f64 {
    (1.0 + 1.6 * thickness + cl.abs()).powi(2) - 1.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lift_ratio_meets_thin_aerofoil_solution() {
        // references/D fs2d.h0.25 .. fs2d.h2, suggested tolerance 1e-3
        for (x, want) in [
            (0.25, 0.73092),
            (0.5, 0.85452),
            (1.0, 0.94725),
            (2.0, 0.98507),
        ] {
            let got = biplane_lift_ratio(x);
            assert!((got / want - 1.0).abs() < 1e-3, "{x} {got}");
        }
        assert!((biplane_lift_ratio(0.0) - 0.5).abs() < 1e-15); // closed form, h -> 0
    }

    /// Second method: lumped vortices at the quarter points and conditions at the three-quarter
    /// points of panels, image of equal circulation above.
    #[test]
    fn lift_ratio_meets_own_lumped_vortices() {
        let n = 60;
        for x in [0.1, 0.15, 0.35, 0.7, 1.5] {
            let a = nalgebra::DMatrix::from_fn(n, n, |i, j| {
                let dx = (i as f64 + 0.75 - j as f64 - 0.25) / n as f64;
                let g = 2.0 * x;
                (1.0 / dx + dx / (dx * dx + g * g)) / (2.0 * PI)
            });
            let b = nalgebra::DVector::from_element(n, 1.0);
            let gamma = a.lu().solve(&b).unwrap();
            let got = gamma.sum() / PI; // 2 pi alpha times c/2
            // the suggested tolerance of fs2d; the vortices' own error is below 2e-4 at n = 60
            assert!(
                (biplane_lift_ratio(x) / got - 1.0).abs() < 1.2e-3,
                "{x} {got}"
            );
        }
    }

    #[test]
    fn biplane_factor_meets_prandtl() {
        // references/D biplane.G0.1, biplane.G0.2: Prandtl's own approximation, good to about a per
        // cent of the exact elliptic value
        for (g, want) in [(0.1, 0.6554386), (0.2, 0.48356546)] {
            let got = biplane_interference(g);
            assert!((got / want - 1.0).abs() < 0.01, "{g} {got}");
        }
        assert!((biplane_interference(1e-4) - 1.0).abs() < 0.01);
        // far: two dipoles, b^2/(8 G^2)
        assert!((biplane_interference(10.0) / (1.0 / 800.0) - 1.0).abs() < 0.01);
    }

    #[test]
    fn depth_table_runs_between_half_and_one() {
        let t = DepthTable::new(2.44, 2.0, 2.0);
        let mut last = 0.0;
        for i in 0..400 {
            let r = t.ratio(0.02 * f64::from(i));
            assert!(r >= last - 1e-12 && r < 1.0, "{i} {r}");
            last = r;
        }
        let (a, b) = (t.ratio(7.0 - 1e-9), t.ratio(7.0 + 1e-9));
        assert!((a - b).abs() < 1e-8);
    }

    #[test]
    fn cavitation_numbers() {
        // references/D cav.U10.h2, cav.U15.h2.5, cav.U20.h2
        for (u, h, want) in [
            (10.0, 2.0, 2.3361684),
            (15.0, 2.5, 1.0818822),
            (20.0, 2.0, 0.58404211),
        ] {
            let got = cavitation_number(u, h, 1025.0, 9.80665);
            assert!((got / want - 1.0).abs() < 1e-7, "{got}");
        }
        // Abbott & von Doenhoff, 12 per cent section at no lift: (v/V)^2 = 1.411
        assert!((suction_peak(0.12, 0.0) - 0.411).abs() < 0.03);
    }

    #[test]
    fn emergence_goes_from_all_to_nothing() {
        assert!((immersed_share(2.0, 2.5, 1.0, 0.6) - 1.0).abs() < 1e-15);
        assert!(immersed_share(-1.0, -0.5, 1.0, 0.6).abs() < 1e-15);
        // vertical rectangular fin half out; sixteen midpoints are symmetric about its middle
        assert!((immersed_share(-1.0, 1.0, 1.0, 1.0) - 0.5).abs() < 1e-12);
    }
}
