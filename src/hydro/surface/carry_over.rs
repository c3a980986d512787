//! Carry-over of lift between a surface and the hull it stands on.
//!
//! # Equation
//! With `t = r/s`, r body radius, s distance of the tip from the body's axis, slender-body theory gives
//! the lift of the panels on the body (`K_W`) and of the body beside the panels (`K_B`), over that
//! of the two panels joined without body: `K_W + K_B = (1 + t)^2` when body and panels share the
//! incidence; `k_W`, `k_B = K_W - k_W` when the panels alone are deflected.
//!
//! # Symbols
//! A surface on one side only: its panel keeps `K_W`, `k_W`; the body part, per panel area, is halved.
//!
//! # Valid when
//! Body a circular cylinder, long behind the surface. The strut above the hull and the hull's taper
//! are neglected.
//!
//! # Source
//! Pitts, Nielsen & Kaattari (1957), NACA Report 1307, equations for K_W(B), K_B(W), k_W(B), k_B(W).
//!
//! # Checked by
//! `limits_of_small_and_large_body`, `incidence_factor_meets_the_potential_jump`,
//! `deflection_factor_meets_fourier_sum`.

use std::f64::consts::PI;

/// Factors on a panel's own lift, per panel area.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CarryOver {
    /// Panel, common incidence.
    pub panel_incidence: f64,
    /// Body, common incidence.
    pub body_incidence: f64,
    /// Panel, panel deflected.
    pub panel_deflection: f64,
    /// Body, panel deflected.
    pub body_deflection: f64,
}

impl CarryOver {
    /// No body, or the effect switched off.
    pub const NONE: CarryOver = CarryOver {
        panel_incidence: 1.0,
        body_incidence: 0.0,
        panel_deflection: 1.0,
        body_deflection: 0.0,
    };

    /// Factors for a panel of exposed span `span_m` on a body of radius `radius_m`; `paired` when
    /// an equal panel stands on the other side of the same body.
    pub fn new(radius_m: f64, span_m: f64, paired: bool) -> Self {
        if radius_m <= 1e-6 * span_m {
            return CarryOver::NONE;
        }
        let t = radius_m / (radius_m + span_m);
        let body_share = if paired { 1.0 } else { 0.5 };
        let panel_incidence = panel_incidence(t);
        let panel_deflection = panel_deflection(t);
        CarryOver {
            panel_incidence,
            body_incidence: body_share * ((1.0 + t).powi(2) - panel_incidence),
            panel_deflection,
            body_deflection: body_share * (panel_incidence - panel_deflection),
        }
    }

    /// Panel and body together, common incidence.
    pub fn incidence(&self) -> f64 {
        self.panel_incidence + self.body_incidence
    }

    /// Panel and body together, panel deflected.
    pub fn deflection(&self) -> f64 {
        self.panel_deflection + self.body_deflection
    }
}

/// K_W(B) at t = r/s.
fn panel_incidence(t: f64) -> f64 {
    let u = 1.0 / t - t;
    let f = (1.0 + t.powi(4)) * (0.5 * (0.5 * u).atan() + PI / 4.0) - t * t * (u + 2.0 * t.atan());
    2.0 / PI * f / (1.0 - t).powi(2)
}

/// k_W(B) at t = r/s.
fn panel_deflection(t: f64) -> f64 {
    let z = 1.0 / t;
    let z1 = z - 1.0;
    let zz = z * z + 1.0;
    let a = ((z * z - 1.0) / zz).asin();
    let f = PI * PI / 4.0 * ((z + 1.0) / z).powi(2) + PI * (zz / (z * z1)).powi(2) * a
        - 2.0 * PI * (z + 1.0) / (z * z1)
        + (zz / (z * z1)).powi(2) * a * a
        - 4.0 * (z + 1.0) / (z * z1) * a
        + 8.0 / (z1 * z1) * (zz / (2.0 * z)).ln();
    f / (PI * PI)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_of_small_and_large_body() {
        // Report 1307, figure 1: K_W from 1 to 2, K_B from 0 to 2, k_W 1 at both ends with a
        // shallow dip to about 0.94, k_B from 0 to 1
        let small = CarryOver::new(0.001, 1.0, true);
        assert!((small.panel_incidence - 1.0).abs() < 0.002, "{small:?}");
        assert!(small.body_incidence < 0.002, "{small:?}");
        let wide = CarryOver::new(100.0, 1.0, true);
        assert!((wide.panel_incidence - 2.0).abs() < 0.03, "{wide:?}");
        assert!((wide.body_incidence - 2.0).abs() < 0.03, "{wide:?}");
        assert!((wide.panel_deflection - 1.0).abs() < 0.02, "{wide:?}");
        assert!((wide.body_deflection - 1.0).abs() < 0.03, "{wide:?}");
        let mut dip = 1.0_f64;
        for i in 1..100 {
            let t = f64::from(i) / 100.0;
            dip = dip.min(panel_deflection(t));
            let one = CarryOver::new(t, 1.0 - t, false);
            let two = CarryOver::new(t, 1.0 - t, true);
            assert!((2.0 * one.body_incidence - two.body_incidence).abs() < 1e-12);
            assert!((two.incidence() - (1.0 + t).powi(2)).abs() < 1e-12);
        }
        assert!((dip - 0.94).abs() < 0.01, "{dip}");
    }

    /// Second method for K_W = k_W + k_B (reverse-flow theorem): the jump of potential of wing and body at
    /// unit incidence, `2 sqrt((s + r^2/s)^2 - (y + r^2/y)^2)`, integrated over the panels.
    #[test]
    fn incidence_factor_meets_the_potential_jump() {
        for t in [0.1_f64, 0.3, 0.5, 0.7] {
            let (r, s) = (t, 1.0_f64);
            let n = 20_000;
            let mut jump = 0.0;
            for i in 0..n {
                // y = s - (s - r) x^2 removes the root at the tip
                let x = (f64::from(i) + 0.5) / f64::from(n);
                let y = s - (s - r) * x * x;
                let g = ((s + r * r / s).powi(2) - (y + r * r / y).powi(2))
                    .max(0.0)
                    .sqrt();
                jump += g * 2.0 * (s - r) * x / f64::from(n);
            }
            // two panels without body, joined: the same integral for r = 0, semispan s - r
            let alone = PI / 4.0 * (s - r).powi(2);
            let got = jump / alone;
            // integration error of the midpoint rule is far below 1e-5 here
            assert!((got / panel_incidence(t) - 1.0).abs() < 1e-5, "{t} {got}");
            let c = CarryOver::new(r, s - r, true);
            assert!((c.deflection() / got - 1.0).abs() < 1e-5);
        }
    }

    /// Second method for k_W: panels alone deflected. `eta = y + r^2/y = S cos th` maps wing and body to a slit;
    /// with `I_n` the integral of sin(n th) over one panel's y the panels carry
    /// `sum over odd n of 16 I_n^2/(pi^2 n)` of `(s - r)^2`.
    #[test]
    fn deflection_factor_meets_fourier_sum() {
        for t in [0.1_f64, 0.3, 0.5, 0.7] {
            let (r, s) = (t, 1.0_f64);
            let m = 4000;
            let angles: Vec<[f64; 2]> = (0..m)
                .map(|i| {
                    // cosine spacing towards both ends, where th runs like a square root
                    let x = (f64::from(i) + 0.5) / f64::from(m) * PI;
                    let y = 0.5 * (s + r) - 0.5 * (s - r) * x.cos();
                    let eta = (y + r * r / y) / (s + r * r / s);
                    let weight = 0.5 * (s - r) * x.sin() * PI / f64::from(m);
                    [eta.min(1.0).acos(), weight]
                })
                .collect();
            let (mut sum, mut half) = (0.0, 0.0);
            for n in (1..800).step_by(2) {
                if n == 401 {
                    half = sum;
                }
                let n = f64::from(n);
                let i_n: f64 = angles.iter().map(|[th, w]| w * (n * th).sin()).sum();
                sum += 16.0 * i_n * i_n / (PI * PI * n);
            }
            // terms fall like n^-2 (the map turns at the root), so the rest halves with twice the terms
            let got = (2.0 * sum - half) / (s - r).powi(2);
            // what the extrapolation leaves: 4e-5 at t = 0.7
            assert!((got / panel_deflection(t) - 1.0).abs() < 1e-4, "{t} {got}");
        }
    }
}
