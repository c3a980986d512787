//! Deep-water free-surface Green function in two dimensions.
//!
//! # Equation
//! G(P, Q) = ln r - ln r1 - 2 Re J(K w) + 2 i π e^{-K Z} cos K X, with ∇²G = 2π δ, time factor
//! exp(+i ω t), G -> 2 i π e^{-K Z - i K |X|} far away and
//! J(u) = PV∫_0^∞ e^{-s u}/(s - 1) ds = -e^{-u} Ei(u).
//! J is -e^{-u}(γ + ln u) - L(u) with L entire: L is read from Taylor series about the centres of
//! unit squares (its derivatives follow from L' = -L + (1 - e^{-u})/u), far out J is its
//! asymptotic series; e^{-u} is a product of factors of P and Q and ln w belongs to the
//! geometry, so neither is computed per pair.
//!
//! # Symbols
//! K = ω²/g; X = y_P - y_Q, Z = z_P + z_Q (down); w = Z + i X; r, r1 the distances to Q and to
//! its image above the surface.
//!
//! # Valid when
//! Both points on or below the surface, Z >= 0, w != 0.
//!
//! # Source
//! Wehausen & Laitone (1960), Surface Waves, section 13 (eq. 13.28); Frank (1967), NSRDC 2375.
//!
//! # Checked by
//! `green_function_agrees_with_quadrature`, `table_agrees_with_the_accurate_function`,
//! `green_function_meets_the_surface_condition`, `green_function_radiates_outward`.

use std::sync::OnceLock;

use num_complex::Complex64;

use crate::math::expint::{EULER_GAMMA, entire_part, standing};

const PI: f64 = std::f64::consts::PI;
/// Terms of each Taylor series; the half diagonal of a square is 0.71 and 0.71^15/15! = 4e-15.
const TERMS: usize = 14;
/// Squares per side; beyond |u| = SIDE the asymptotic series holds to 1e-11.
const SIDE: usize = 32;
/// Terms of the asymptotic series.
const FAR_TERMS: usize = 18;

/// Taylor series of L on unit squares of the quadrant Re u >= 0, Im u >= 0.
pub(crate) struct Table {
    re: Vec<[f64; TERMS]>,
    im: Vec<[f64; TERMS]>,
}

/// The one table of the process, made at first use (a millisecond or two).
pub(crate) fn table() -> &'static Table {
    static TABLE: OnceLock<Table> = OnceLock::new();
    TABLE.get_or_init(Table::new)
}

impl Table {
    fn new() -> Self {
        let mut t = Table {
            re: Vec::with_capacity(SIDE * SIDE),
            im: Vec::with_capacity(SIDE * SIDE),
        };
        for i in 0..SIDE {
            for j in 0..SIDE {
                let c = taylor(Complex64::new(i as f64 + 0.5, j as f64 + 0.5));
                t.re.push(c.map(|z| z.re));
                t.im.push(c.map(|z| z.im));
            }
        }
        t
    }

    /// H = J(u) + ln w from u = K w, ln w, ln K and e^{-u}.
    #[inline]
    pub(crate) fn regular_part(
        &self,
        u: Complex64,
        ln_w: Complex64,
        ln_k: f64,
        decay: Complex64,
    ) -> Complex64 {
        let y = u.im.abs();
        if u.re * u.re + y * y < (SIDE * SIDE) as f64 {
            let (i, j) = (u.re as usize, y as usize);
            let k = i * SIDE + j;
            let (dx, dy) = (u.re - i as f64 - 0.5, y - j as f64 - 0.5);
            let (cr, ci) = (&self.re[k], &self.im[k]);
            let (mut pr, mut pi) = (cr[TERMS - 1], ci[TERMS - 1]);
            for n in (0..TERMS - 1).rev() {
                let r = pr * dx - pi * dy + cr[n];
                pi = pr * dy + pi * dx + ci[n];
                pr = r;
            }
            let l = Complex64::new(pr, if u.im < 0.0 { -pi } else { pi });
            ln_w - decay * (ln_w + (EULER_GAMMA + ln_k)) - l
        } else {
            far(u, decay) + ln_w
        }
    }
}

/// J(u) far from 0.
fn far(u: Complex64, decay: Complex64) -> Complex64 {
    let inv = u.inv();
    let mut sum = Complex64::new(1.0, 0.0);
    for k in (1..FAR_TERMS).rev() {
        sum = inv * sum * k as f64 + 1.0;
    }
    Complex64::new(0.0, -PI.copysign(u.im)) * decay - sum * inv
}

fn taylor(u: Complex64) -> [Complex64; TERMS] {
    let mut c = [Complex64::new(0.0, 0.0); TERMS];
    let e = (-u).exp();
    let mut psi = (Complex64::new(1.0, 0.0) - e) / u;
    let mut sign_over_factorial = 1.0;
    c[0] = entire_part(u);
    for n in 0..TERMS - 1 {
        c[n + 1] = (psi - c[n]) / (n + 1) as f64;
        sign_over_factorial /= -((n + 1) as f64);
        psi = (-e * sign_over_factorial - psi) / u;
    }
    c
}

/// The Green function between (y, z) of P and Q at wave number `k` (1/m), accurately.
///
/// Infinite where P and Q coincide.
pub fn green(p: [f64; 2], q: [f64; 2], k: f64) -> Complex64 {
    let (x, z) = (p[0] - q[0], p[1] + q[1]);
    let r = x.hypot(p[1] - q[1]);
    let r1 = x.hypot(z);
    let j = standing(Complex64::new(k * z, k * x));
    let wave = 2.0 * PI * (-k * z).exp() * (k * x).cos();
    Complex64::new(r.ln() - r1.ln() - 2.0 * j.re, wave)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ∫_0^∞ e^{-kZ} cos kX/(k-K) dk by composite Simpson, pole subtracted, times -2, and logs.
    fn by_quadrature(p: [f64; 2], q: [f64; 2], k0: f64) -> f64 {
        let (x, z) = (p[0] - q[0], p[1] + q[1]);
        let f = |k: f64| (-k * z).exp() * (k * x).cos();
        let fk = f(k0);
        let slope = -z * fk - (-k0 * z).exp() * x * (k0 * x).sin();
        let near = |k: f64| {
            if (k - k0).abs() < 1e-7 {
                slope
            } else {
                (f(k) - fk) / (k - k0)
            }
        };
        let simpson = |a: f64, b: f64, n: u32, g: &dyn Fn(f64) -> f64| {
            let h = (b - a) / f64::from(n);
            (0..=n)
                .map(|i| {
                    let w = if i == 0 || i == n {
                        1.0
                    } else if i % 2 == 1 {
                        4.0
                    } else {
                        2.0
                    };
                    w * g(a + h * f64::from(i))
                })
                .sum::<f64>()
                * h
                / 3.0
        };
        let i = simpson(0.0, 2.0 * k0, 4001 * 2, &near)
            + simpson(2.0 * k0, 2.0 * k0 + 36.0 / z, 400_000, &|k| f(k) / (k - k0));
        x.hypot(p[1] - q[1]).ln() - x.hypot(z).ln() - 2.0 * i
    }

    #[test]
    fn green_function_agrees_with_quadrature() {
        for &(p, q, k) in &[
            ([0.3, 0.5], [0.3, 1.2], 0.8), // on the same vertical wall
            ([0.3, 0.5], [0.1, 0.9], 2.0),
            ([5.0, 1.5], [-5.0, 2.0], 1.3),
            ([-2.0, 0.4], [1.0, 0.6], 0.05),
        ] {
            let (got, want) = (green(p, q, k).re, by_quadrature(p, q, k));
            // 1e-11 of the quadrature's own differences near its subtracted pole
            assert!((got - want).abs() < 1e-11, "{got} {want} {}", got - want);
        }
    }

    #[test]
    fn green_function_meets_the_surface_condition() {
        // Richardson-extrapolated slope from below: G_z + K G = 0 on z = 0 (z down)
        let (q, k, h) = ([0.2, 0.7], 1.7, 1e-3);
        for y in [-3.0, 0.2, 0.21, 4.0] {
            let g = |z: f64| green([y, z], q, k);
            let slope = (g(0.0) * -25.0 + g(h) * 48.0 - g(2.0 * h) * 36.0 + g(3.0 * h) * 16.0
                - g(4.0 * h) * 3.0)
                / (12.0 * h);
            assert!(
                (slope + g(0.0) * k).norm() < 1e-9,
                "at {y}: {}",
                slope + g(0.0) * k
            );
        }
    }

    #[test]
    fn green_function_radiates_outward() {
        let k = 1.1;
        for x in [300.0, -300.0_f64] {
            let g = green([x, 0.0], [0.0, 0.5], k);
            let want = Complex64::new(0.0, 2.0 * PI)
                * (-0.5 * k).exp()
                * Complex64::new(0.0, -k * x.abs()).exp();
            assert!((g - want).norm() < 1e-4, "{g} {want}");
        }
    }

    #[test]
    fn table_agrees_with_the_accurate_function() {
        let t = table();
        let mut worst = 0.0_f64;
        for i in 0..80 {
            for j in -160..160 {
                let w = Complex64::new(0.013 + 0.5 * f64::from(i), 0.25 * f64::from(j) + 0.011);
                for k in [1e-3, 0.7, 3.0] {
                    let u = w * k;
                    let got = t.regular_part(u, w.ln(), f64::ln(k), (-u).exp());
                    worst = worst.max((got - w.ln() - standing(u)).norm());
                }
            }
        }
        assert!(worst < 2e-12, "worst error {worst:e}");
    }
}
