//! Dead band and backlash of a servo as gains for Gaussian signals.
//!
//! # Equation
//! ```text
//! dead band, then rate limit:  kappa = erf((R + d)/(sqrt2 s)) - erf(d/(sqrt2 s))
//! play of amplitude A, half gap h, u = 1 - 2h/A (A > h, else it stands still):
//!   N(A) = [pi/2 + asin u + u sqrt(1 - u^2)]/pi - i (1 - u^2)/pi
//! narrow band:  N = int A^2 N(A) p(A) dA / int A^2 p(A) dA,   p Rayleigh
//! ```
//!
//! # Symbols
//! s deviation of the rate that the position loop would ask without a dead band, d half the dead band in
//! that rate, R rate limit (rad/s); h half the backlash, A amplitude of the servo (rad).
//!
//! # Valid when
//! Angles are nearly Gaussian and of one main frequency; for a wide band the lag of the play comes out a
//! little too large. A lag turns its sign with that of the encounter frequency.
//!
//! # Source
//! Gelb & Vander Velde (1968), Multiple-Input Describing Functions, chapter 2 and appendix B (dead zone,
//! limiter, backlash).
//!
//! # Checked by
//! `play_of_a_sine_by_area`, `narrow_play_meets_a_record`, `dead_band_is_erfc`.

use std::f64::consts::{FRAC_1_SQRT_2, FRAC_PI_2, PI};
use std::sync::OnceLock;

use libm::erf;

/// Half gap over deviation up to which the gain of play is tabulated, and the cells of the table.
const REACH: f64 = 4.0;
const CELLS: usize = 400;

/// Gain of a dead band of half width `dead` before a limit at `limit`, all in rate.
pub fn slew_gain(limit: f64, dead: f64, sigma: f64) -> f64 {
    if sigma <= 0.0 {
        return if dead > 0.0 { 0.0 } else { 1.0 };
    }
    let f = |x: f64| erf(x * FRAC_1_SQRT_2 / sigma);
    f(limit + dead) - f(dead)
}

/// In-phase and lagging part of the play's gain for a sine; `x` half gap over amplitude.
pub fn play_of_sine(x: f64) -> [f64; 2] {
    if x >= 1.0 {
        return [0.0, 0.0];
    }
    let u = 1.0 - 2.0 * x;
    let root = (1.0 - u * u).max(0.0).sqrt();
    [(FRAC_PI_2 + u.asin() + u * root) / PI, (1.0 - u * u) / PI]
}

/// The same for a narrow band of deviation `sigma` and a half gap `half_gap`.
pub fn play_gain(half_gap: f64, sigma: f64) -> [f64; 2] {
    if half_gap <= 0.0 {
        return [1.0, 0.0];
    }
    let x = half_gap / sigma.max(1e-12);
    if x >= REACH {
        return [0.0, 0.0];
    }
    let at = x / REACH * CELLS as f64;
    let i = (at.floor() as usize).min(CELLS - 1);
    let f = at - i as f64;
    let t = table();
    [0, 1].map(|k| t[i][k] + f * (t[i + 1][k] - t[i][k]))
}

fn table() -> &'static [[f64; 2]] {
    static TABLE: OnceLock<Vec<[f64; 2]>> = OnceLock::new();
    TABLE.get_or_init(|| {
        (0..=CELLS)
            .map(|i| narrow(REACH * i as f64 / CELLS as f64))
            .collect()
    })
}

/// Mean over Rayleigh amplitudes, weighted with their power; midpoints in amplitude.
fn narrow(x: f64) -> [f64; 2] {
    const STEPS: i32 = 800;
    const TOP: f64 = 8.0;
    let h = TOP / f64::from(STEPS);
    let mut sum = [0.0; 2];
    for k in 0..STEPS {
        let a = h * (f64::from(k) + 0.5);
        let n = play_of_sine(x / a);
        let weight = 0.5 * a.powi(3) * (-0.5 * a * a).exp() * h;
        sum[0] += weight * n[0];
        sum[1] += weight * n[1];
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, generator};
    use rand::RngExt;
    use std::f64::consts::TAU;

    fn play(hold: &mut f64, servo: f64, half: f64) -> f64 {
        *hold = hold.clamp(servo - half, servo + half);
        *hold
    }

    #[test]
    fn play_of_a_sine_by_area() {
        // published: full gap b, A = b (x = 1/2): in phase 1/2, lag 1/pi
        let n = play_of_sine(0.5);
        assert!((n[0] - 0.5).abs() < 1e-12 && (n[1] - 1.0 / PI).abs() < 1e-12);
        // second method: Fourier coefficients of the loop itself
        for x in [0.05, 0.3, 0.7] {
            let (mut hold, steps) = (0.0, 20_000);
            let (mut p, mut q) = (0.0, 0.0);
            for i in 0..3 * steps {
                let t = TAU * f64::from(i) / f64::from(steps);
                let y = play(&mut hold, t.sin(), x);
                if i >= 2 * steps {
                    p += 2.0 * y * t.sin() / f64::from(steps);
                    q -= 2.0 * y * t.cos() / f64::from(steps);
                }
            }
            let n = play_of_sine(x);
            assert!(
                (n[0] - p).abs() < 1e-3 && (n[1] - q).abs() < 1e-3,
                "{x}: {n:?} {p} {q}"
            );
        }
    }

    #[test]
    fn narrow_play_meets_a_record() {
        let mut rng = generator(3, 0, Purpose::Waves, 0);
        let lines: Vec<(f64, f64)> = (0..60)
            .map(|k| {
                (
                    1.0 + 0.006 * f64::from(k) + 0.006 * rng.random::<f64>(),
                    TAU * rng.random::<f64>(),
                )
            })
            .collect();
        let a = (2.0 / 60.0f64).sqrt();
        for half in [0.05, 0.3, 1.0] {
            let mut hold = 0.0;
            let (mut p, mut q, mut all) = (0.0, 0.0, 0.0);
            for i in 0..200_000 {
                let t = 0.05 * f64::from(i);
                let (mut x, mut shifted) = (0.0, 0.0);
                for (w, phase) in &lines {
                    let (s, c) = (w * t + phase).sin_cos();
                    x += a * c;
                    shifted += a * s; // lags a quarter period
                }
                let y = play(&mut hold, x, half);
                p += y * x;
                q += y * shifted;
                all += x * x;
            }
            let n = play_gain(half, 1.0);
            // 1,800 cycles of a band a third wide
            assert!((n[0] - p / all).abs() < 0.02, "{half}: {n:?} {}", p / all);
            assert!((n[1] - q / all).abs() < 0.02, "{half}: {n:?} {}", q / all);
        }
        assert!((play_gain(0.0, 1.0)[0] - 1.0).abs() < 1e-15);
        assert!(play_gain(5.0, 1.0)[0].abs() < 1e-15);
    }

    #[test]
    fn dead_band_is_erfc() {
        assert!((slew_gain(f64::INFINITY, 1.0, 1.0) - libm::erfc(FRAC_1_SQRT_2)).abs() < 1e-12);
        assert!((slew_gain(1.0, 0.0, 1.0) - erf(FRAC_1_SQRT_2)).abs() < 1e-12);
    }
}
