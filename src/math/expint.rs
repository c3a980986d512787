//! Exponential integral of complex argument, in scaled forms that never overflow.
//!
//! # Equation
//! E1(z) = ∫_z^∞ e^{-t}/t dt, cut along the negative real axis, and
//! Ei(u) = γ + ln u + Σ u^n/(n n!), whose only cut is the negative real axis of u.
//! The free-surface Green function needs J(u) = -e^{-u} Ei(u) for Re u >= 0: there J is analytic
//! and real on the real axis, so vertical walls (real u) are ordinary points. With E1 the same
//! quantity is e^{-u}(E1(-u) ± iπ), and every real u sits on the cut of E1.
//!
//! # Symbols
//! z, u: dimensionless complex numbers; γ: Euler's constant.
//!
//! # Valid when
//! `e1_scaled`: any finite z != 0. `standing`: Re u >= 0, u != 0. `entire_part`: Re u >= 0.
//!
//! # Source
//! Abramowitz & Stegun (1964), Handbook of Mathematical Functions, 5.1.1, 5.1.11, 5.1.22, 5.1.51;
//! continued fraction by the modified Lentz method (Thompson & Barnett 1986).
//!
//! # Checked by
//! `e1_agrees_with_quadrature`, `standing_agrees_with_principal_value_quadrature`,
//! `standing_is_smooth_across_the_real_axis`, `e1_is_finite_and_signed_on_the_cut`.

use num_complex::Complex64;

/// Euler's constant.
pub const EULER_GAMMA: f64 = 0.577_215_664_901_532_9;

const PI: f64 = std::f64::consts::PI;
/// Beyond this modulus the smallest term of the asymptotic series is below 1e-19.
const FAR: f64 = 45.0;

/// Σ_{n>=1} u^n/(n n!) = Ei(u) - γ - ln u.
fn power_sum(u: Complex64) -> Complex64 {
    let mut term = Complex64::new(1.0, 0.0);
    let mut sum = Complex64::new(0.0, 0.0);
    for n in 1..400_u32 {
        let n = f64::from(n);
        term *= u / n;
        let add = term / n;
        sum += add;
        if add.norm() <= 1e-17 * sum.norm() && n > u.norm() {
            break;
        }
    }
    sum
}

/// Σ_k (-1)^k k!/z^{k+1}, cut at its smallest term.
fn asymptotic(z: Complex64) -> Complex64 {
    let inv = z.inv();
    let mut term = inv;
    let mut sum = inv;
    for k in 1..60_u32 {
        let next = -term * inv * f64::from(k);
        if next.norm() >= term.norm() {
            break;
        }
        term = next;
        sum += term;
        if term.norm() <= 1e-17 * sum.norm() {
            break;
        }
    }
    sum
}

/// e^z E1(z) by the continued fraction 1/(z+1-1/(z+3-4/(z+5-...))).
fn fraction(z: Complex64) -> Complex64 {
    let one = Complex64::new(1.0, 0.0);
    let mut b = z + 1.0;
    let mut c = Complex64::new(1e300, 0.0);
    let mut d = one / b;
    let mut h = d;
    for i in 1..2000_u32 {
        let a = -f64::from(i) * f64::from(i);
        b += 2.0;
        d = one / (d * a + b);
        c = b + Complex64::new(a, 0.0) / c;
        let step = c * d;
        h *= step;
        if (step - one).norm() < 1e-16 {
            break;
        }
    }
    h
}

/// True where the power series of Ei loses the fewest digits.
fn series_is_best(z: Complex64) -> bool {
    z.norm() <= 3.0 || (z.re < 0.0 && z.im.abs() < 2.4 * (-z.re).sqrt().max(1.0) && z.norm() < FAR)
}

/// e^z E1(z), principal branch; the value on the cut follows the sign of the zero of `z.im`
/// (+0 is the upper side). Infinite at z = 0.
pub fn e1_scaled(z: Complex64) -> Complex64 {
    if series_is_best(z) {
        // E1(z) = -γ - ln z - Σ (-z)^n/(n n!)
        return z.exp() * (-EULER_GAMMA - z.ln() - power_sum(-z));
    }
    if z.norm() < FAR {
        return fraction(z);
    }
    let mut value = asymptotic(z);
    if z.re < 0.0 {
        // the series is the mean of both sides of the cut; beyond it the other exponential counts
        let near_cut = z.im.abs() < 2.0 * (-z.re).sqrt();
        if near_cut {
            let side = if z.im.is_sign_negative() { 1.0 } else { -1.0 };
            value += Complex64::new(0.0, side * PI) * z.exp();
        }
    }
    value
}

/// E1(z); overflows to infinity for Re z < -700.
pub fn e1(z: Complex64) -> Complex64 {
    (-z).exp() * e1_scaled(z)
}

/// J(u) = -e^{-u} Ei(u) = PV∫_0^∞ e^{-su}/(s-1) ds for Re u >= 0: the standing-wave part of the
/// free-surface Green function. Analytic in the half plane but for the logarithm at 0.
pub fn standing(u: Complex64) -> Complex64 {
    if series_is_best(-u) {
        return -(-u).exp() * (EULER_GAMMA + u.ln() + power_sum(u));
    }
    // here u is off the real axis, or so far out that e^{-u} does not count beside 1/u
    let scaled = if u.norm() < FAR {
        fraction(-u)
    } else {
        asymptotic(-u)
    };
    if u.norm() >= FAR && u.im.abs() < 2.4 * u.re.sqrt() {
        return scaled;
    }
    scaled - Complex64::new(0.0, PI.copysign(u.im)) * (-u).exp()
}

/// The entire function L(u) = -J(u) - e^{-u}(γ + ln u) = e^{-u} Σ u^n/(n n!).
pub fn entire_part(u: Complex64) -> Complex64 {
    if series_is_best(-u) {
        return (-u).exp() * power_sum(u);
    }
    -standing(u) - (-u).exp() * (EULER_GAMMA + u.ln())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 16-point Gauss-Legendre on [a, b], composite over `n` equal parts.
    fn gauss(a: f64, b: f64, n: u32, f: &dyn Fn(f64) -> Complex64) -> Complex64 {
        const X: [f64; 8] = [
            0.095_012_509_837_637_44,
            0.281_603_550_779_258_9,
            0.458_016_777_657_227_4,
            0.617_876_244_402_643_7,
            0.755_404_408_355_003,
            0.865_631_202_387_831_7,
            0.944_575_023_073_232_6,
            0.989_400_934_991_649_9,
        ];
        const W: [f64; 8] = [
            0.189_450_610_455_068_5,
            0.182_603_415_044_923_6,
            0.169_156_519_395_002_54,
            0.149_595_988_816_576_73,
            0.124_628_971_255_533_87,
            0.095_158_511_682_492_78,
            0.062_253_523_938_647_89,
            0.027_152_459_411_754_095,
        ];
        let h = (b - a) / f64::from(n);
        let mut sum = Complex64::new(0.0, 0.0);
        for i in 0..n {
            let m = a + h * (f64::from(i) + 0.5);
            for (x, w) in X.iter().zip(W) {
                sum += (f(m + 0.5 * h * x) + f(m - 0.5 * h * x)) * (0.5 * h * w);
            }
        }
        sum
    }

    /// e^z E1(z) = ∫_0^∞ e^{-s}/(z+s) ds along a ray s = r e^{iβ} turned away from the pole.
    fn e1_by_quadrature(z: Complex64) -> Complex64 {
        let beta = if z.im >= 0.0 { 0.9_f64 } else { -0.9 };
        let ray = Complex64::from_polar(1.0, if z.re < 0.0 { beta } else { 0.0 });
        gauss(0.0, 80.0, 1600, &|r| {
            let s = ray * r;
            (-s).exp() / (z + s) * ray
        })
    }

    #[test]
    fn e1_agrees_with_quadrature() {
        let mut worst = 0.0_f64;
        for &radius in &[0.3, 1.0, 2.9, 3.1, 7.0, 15.0, 30.0, 44.0, 46.0, 120.0] {
            for i in 0..24 {
                let z = Complex64::from_polar(radius, PI * (f64::from(i) - 11.5) / 12.0 * 0.999);
                let want = e1_by_quadrature(z);
                worst = worst.max((e1_scaled(z) - want).norm() / want.norm());
            }
        }
        assert!(worst < 1e-12, "worst relative error {worst:e}");
    }

    /// J by its own integral, the pole subtracted over a symmetric interval.
    #[test]
    fn standing_agrees_with_principal_value_quadrature() {
        let mut worst = 0.0_f64;
        for &re in &[0.05, 0.5, 2.0, 6.0, 12.0] {
            for &im in &[0.0, -0.0, 1e-9, 0.2, -1.0, 3.0, -9.0] {
                let u = Complex64::new(re, im);
                let at_pole = (-u).exp();
                let near = gauss(0.0, 2.0, 64, &|s| {
                    let d = s - 1.0;
                    (at_pole * ((-u * d).exp() - 1.0)) / d
                });
                let far = gauss(2.0, 2.0 + 40.0 / re, 6000, &|s| (-u * s).exp() / (s - 1.0));
                let want = near + far;
                worst = worst.max((standing(u) - want).norm() / want.norm());
            }
        }
        assert!(worst < 1e-12, "worst relative error {worst:e}");
    }

    #[test]
    fn standing_is_smooth_across_the_real_axis() {
        for &re in &[0.1, 2.0, 10.0, 44.9, 45.1, 300.0, 2000.0] {
            let up = standing(Complex64::new(re, 1e-14));
            let down = standing(Complex64::new(re, -1e-14));
            assert!((up - down).norm() < 1e-12 * up.norm().max(1e-3), "at {re}");
            assert!(standing(Complex64::new(re, 0.0)).im.abs() < 1e-30);
        }
        // J' = -J - 1/u everywhere, also where the methods change over
        for &(re, im) in &[
            (0.0, 3.0),
            (2.0, 3.7),
            (9.0, 7.2),
            (40.0, 20.6),
            (0.0, 45.0),
            (1.0, 60.0),
        ] {
            let u = Complex64::new(re, im);
            let h = 1e-4;
            let slope = (standing(u + h) - standing(u - h)) / (2.0 * h);
            if re > 0.0 {
                assert!((slope + standing(u) + u.inv()).norm() < 1e-8, "at {u}");
            }
        }
    }

    #[test]
    fn e1_is_finite_and_signed_on_the_cut() {
        for &x in &[0.5, 2.0, 20.0, 50.0, 800.0] {
            let up = e1_scaled(Complex64::new(-x, 0.0));
            let down = e1_scaled(Complex64::new(-x, -0.0));
            assert!(up.is_finite() && down.is_finite());
            assert!((up.re - down.re).abs() < 1e-12 * up.re.abs());
            assert!((up.im + PI * (-x).exp()).abs() < 1e-12 * (-x).exp().max(1e-300));
            assert!((down.im - PI * (-x).exp()).abs() < 1e-12 * (-x).exp().max(1e-300));
        }
    }
}
