//! Unsteady lag of lift: R. T. Jones's approximations of Wagner's and Kussner's functions.
//!
//! # Equation
//! Motion (incidence at three-quarter chord, deflection), s = U t/b:
//! `phi(s) = 1 - 0.165 exp(-0.0455 s) - 0.335 exp(-0.300 s)`; in states
//! `x_i' = (U/b) beta_i (A_i alpha - x_i)`, effective incidence `alpha/2 + x_1 + x_2`.
//! Gust (orbital velocity over U as met by the leading edge):
//! `psi(s) = 1 - 0.5 exp(-0.130 s) - 0.5 exp(-s)`; `y_i' = (U/b) beta_i (alpha_g/2 - y_i)`,
//! effective incidence `y_1 + y_2`.
//! Frequency domain, k = omega b/U: `C(k) = 1/2 + sum A_i beta_i/(beta_i + i k)`,
//! `S(k) = sum beta_i/(2 (beta_i + i k))` referred to the leading edge (Sears' mid-chord value times
//! exp(-i k)).
//!
//! # Symbols
//! b semichord (half the mean aerodynamic chord), m; U speed, m/s (its magnitude is used).
//!
//! # Valid when
//! Two-dimensional functions on surfaces of low aspect ratio, whose own lag is about half as long: the lag is
//! overstated. Against the exact functions, of a unit input: C within 0.015 for k up to 10 (0.012 at k = 0.1),
//! S within 0.05 for k up to 0.5 (a ship's fins stay below 0.3) and 0.12 for k up to 10.
//! At U = 0 the states stay as they are.
//!
//! # Source
//! R. T. Jones (1940), NACA Report 681; Wagner (1925); Kussner (1936); Theodorsen (1935), NACA Report 496; Sears
//! (1941); gust constants as in Bisplinghoff, Ashley & Halfman (1955), section 5.
//!
//! # Checked by
//! `steps_meet_jones`, `frequency_response_meets_theodorsen_and_sears`, `states_follow_the_response`,
//! `nothing_moves_at_zero_speed`.

use num_complex::Complex64;

/// Share of motion lift that comes at once.
pub const AT_ONCE: f64 = 0.5;
/// Amplitude and decay per semichord of Wagner's function.
pub const WAGNER: [[f64; 2]; 2] = [[0.165, 0.0455], [0.335, 0.300]];
/// The same for Kussner's.
pub const KUSSNER: [[f64; 2]; 2] = [[0.5, 0.130], [0.5, 1.0]];

/// Time derivative of the two motion states, rad/s, at incidence `alpha_rad`.
pub fn wagner_rates(
    alpha_rad: f64,
    states_rad: [f64; 2],
    speed_m_s: f64,
    semichord_m: f64,
) -> [f64; 2] {
    rates(&WAGNER, alpha_rad, states_rad, speed_m_s, semichord_m)
}

/// Effective incidence of motion, rad.
pub fn wagner_angle_rad(alpha_rad: f64, states_rad: [f64; 2]) -> f64 {
    AT_ONCE * alpha_rad + states_rad[0] + states_rad[1]
}

/// Motion states of a steady incidence, rad.
pub fn wagner_steady(alpha_rad: f64) -> [f64; 2] {
    [WAGNER[0][0] * alpha_rad, WAGNER[1][0] * alpha_rad]
}

/// Time derivative of the two gust states, rad/s, at gust angle `alpha_rad` (orbital velocity over speed).
pub fn kussner_rates(
    alpha_rad: f64,
    states_rad: [f64; 2],
    speed_m_s: f64,
    semichord_m: f64,
) -> [f64; 2] {
    rates(&KUSSNER, alpha_rad, states_rad, speed_m_s, semichord_m)
}

/// Effective incidence of a gust, rad.
pub fn kussner_angle_rad(states_rad: [f64; 2]) -> f64 {
    states_rad[0] + states_rad[1]
}

/// Gust states of a steady gust angle, rad.
pub fn kussner_steady(alpha_rad: f64) -> [f64; 2] {
    [KUSSNER[0][0] * alpha_rad, KUSSNER[1][0] * alpha_rad]
}

/// Motion lift over quasi-steady lift at reduced frequency `k` (signed; negative k conjugates).
pub fn wagner_response(k: f64) -> Complex64 {
    AT_ONCE + response(&WAGNER, k)
}

/// Gust lift over quasi-steady lift at reduced frequency `k`, phase of the gust at the leading edge.
pub fn kussner_response(k: f64) -> Complex64 {
    response(&KUSSNER, k)
}

/// Reduced frequency `omega b/U`; infinite at zero speed.
pub fn reduced_frequency(omega_rad_s: f64, speed_m_s: f64, semichord_m: f64) -> f64 {
    omega_rad_s * semichord_m / speed_m_s.abs()
}

/// Decay rates per second of the states (Wagner's two, then Kussner's two): the diagonal of the linear model.
pub fn decay_rates_1_s(speed_m_s: f64, semichord_m: f64) -> [f64; 4] {
    let f = speed_m_s.abs() / semichord_m;
    [
        f * WAGNER[0][1],
        f * WAGNER[1][1],
        f * KUSSNER[0][1],
        f * KUSSNER[1][1],
    ]
}

fn rates(law: &[[f64; 2]; 2], alpha: f64, x: [f64; 2], speed: f64, semichord: f64) -> [f64; 2] {
    let f = speed.abs() / semichord;
    [
        f * law[0][1] * (law[0][0] * alpha - x[0]),
        f * law[1][1] * (law[1][0] * alpha - x[1]),
    ]
}

fn response(law: &[[f64; 2]; 2], k: f64) -> Complex64 {
    law.iter()
        .map(|[a, beta]| {
            if k.is_finite() {
                a * beta / Complex64::new(*beta, k)
            } else {
                Complex64::ZERO
            }
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_meet_jones() {
        // references/D wagner.s*: s, Wagner exact, Jones, Kussner approximation
        for (s, exact, jones, kussner) in [
            (1.0, 0.60061, 0.59416516, 0.37701256),
            (2.0, 0.66929, 0.66550018, 0.54680657),
            (4.0, 0.75797, 0.76155572, 0.69358191),
            (10.0, 0.87504, 0.87863742, 0.8637114),
            (20.0, 0.93665, 0.93275312, 0.96286321),
        ] {
            let (mut x, mut y) = ([0.0; 2], [0.0; 2]);
            let (n, u, b) = (20_000, 8.0, 0.9);
            let dt = s * b / u / f64::from(n);
            for _ in 0..n {
                // midpoint rule, error of order (s/n)^2
                let k = wagner_rates(1.0, x, u, b);
                let k = wagner_rates(1.0, [x[0] + 0.5 * dt * k[0], x[1] + 0.5 * dt * k[1]], u, b);
                let g = kussner_rates(1.0, y, u, b);
                let g = kussner_rates(1.0, [y[0] + 0.5 * dt * g[0], y[1] + 0.5 * dt * g[1]], u, b);
                for i in 0..2 {
                    x[i] += dt * k[i];
                    y[i] += dt * g[i];
                }
            }
            assert!((wagner_angle_rad(1.0, x) - jones).abs() < 1e-7, "{s}");
            assert!((kussner_angle_rad(y) - kussner).abs() < 1e-6, "{s}");
            assert!(
                (wagner_angle_rad(1.0, x) / exact - 1.0).abs() < 0.011,
                "{s}"
            ); // Jones' error
        }
        let x = wagner_steady(0.3);
        assert!(
            wagner_rates(0.3, x, 8.0, 0.9)
                .iter()
                .all(|r| r.abs() < 1e-15)
        );
        assert!((wagner_angle_rad(0.3, x) - 0.3).abs() < 1e-15);
        assert!((kussner_angle_rad(kussner_steady(0.3)) - 0.3).abs() < 1e-15);
    }

    #[test]
    fn frequency_response_meets_theodorsen_and_sears() {
        // references/D theod.k*: k, F, G, Re S, Im S
        let (mut worst_c, mut worst_s, mut worst_high) = (0.0_f64, 0.0_f64, 0.0_f64);
        for (k, f, g, sr, si) in [
            (0.025, 0.95433685, -0.087238621, 0.95309735, -0.086654245),
            (0.05, 0.909009, -0.13064439, 0.90517587, -0.12828869),
            (0.1, 0.8319241, -0.17230223, 0.82124125, -0.16347845),
            (0.2, 0.72757992, -0.18862421, 0.70155403, -0.15963666),
            (0.3, 0.66497113, -0.17931913, 0.62349683, -0.125616),
            (0.5, 0.59793606, -0.1507095, 0.52463278, -0.044028909),
            (0.8, 0.55414658, -0.11650241, 0.42599625, 0.06585497),
            (1.0, 0.53943487, -0.1002729, 0.36864917, 0.12594336),
            (2.0, 0.51295481, -0.057691283, 0.081573858, 0.2679745),
            (4.0, 0.50367089, -0.030496057, -0.19801874, -0.020667723),
            (10.0, 0.50061789, -0.012446622, -0.12366093, 0.024770581),
        ] {
            let c = (wagner_response(k) - Complex64::new(f, g)).norm();
            let sears = Complex64::new(sr, si) * Complex64::new(0.0, -k).exp();
            let s = (kussner_response(k) - sears).norm();
            worst_c = worst_c.max(c);
            if k <= 0.5 {
                worst_s = worst_s.max(s);
            }
            worst_high = worst_high.max(s);
        }
        // the approximations' own errors: 0.0143, 0.0473, 0.1173
        assert!(worst_c < 0.015, "{worst_c}");
        assert!(worst_s < 0.05, "{worst_s}");
        assert!(worst_high < 0.12, "{worst_high}");
    }

    #[test]
    fn states_follow_the_response() {
        // second method: i omega x = (U/b) beta (A - x), solved by hand through the rates' linearity
        let (u, b, k) = (8.0, 0.9, 0.4);
        let w = Complex64::new(0.0, k * u / b);
        let d = decay_rates_1_s(u, b);
        let gain = |f: fn(f64, [f64; 2], f64, f64) -> [f64; 2], i: usize| f(1.0, [0.0; 2], u, b)[i];
        let motion =
            AT_ONCE + gain(wagner_rates, 0) / (w + d[0]) + gain(wagner_rates, 1) / (w + d[1]);
        let gust = gain(kussner_rates, 0) / (w + d[2]) + gain(kussner_rates, 1) / (w + d[3]);
        assert!((motion - wagner_response(reduced_frequency(k * u / b, u, b))).norm() < 1e-14);
        assert!((gust - kussner_response(k)).norm() < 1e-14);
        assert!((wagner_response(-k) - wagner_response(k).conj()).norm() < 1e-15);
    }

    #[test]
    fn nothing_moves_at_zero_speed() {
        let r = wagner_rates(0.2, [0.1, 0.3], 0.0, 0.9);
        assert!(
            r.iter()
                .chain(&kussner_rates(0.2, [0.1, 0.3], 0.0, 0.9))
                .all(|x| x.abs() < 1e-300)
        );
        let still = wagner_response(reduced_frequency(1.0, 0.0, 0.9));
        assert!((still - AT_ONCE).norm() < 1e-15);
    }
}
