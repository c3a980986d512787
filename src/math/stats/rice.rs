//! Crossings, maxima and extremes of Gaussian records, from spectral moments.
//!
//! # Equation
//! ```text
//! nu(u) = (1/2pi) sqrt(m2/m0) exp(-u^2/2m0)           up-crossings of u per second
//! P(none in T) = exp(-nu T)                           eps^2 = 1 - m2^2/(m0 m4)
//! maxima per second (1/2pi) sqrt(m4/m2), share negative (1 - sqrt(1 - eps^2))/2
//! clumping      nu [1 - exp(-sqrt(2pi) q^1.2 b)] / [1 - exp(-b^2/2)],  b = u/sqrt(m0),
//!               q^2 = 1 - m1^2/(m0 m2)
//! Rayleigh      mean of the highest 1/n: sqrt(2 ln n) + n sqrt(pi/2) erfc(sqrt(ln n)), in sqrt(m0)
//!               extreme of N: mode sqrt(2 ln N), with risk r sqrt(2 ln(N/r))
//! var(m0) over T = (2 pi/T) int S^2 d omega
//! ```
//!
//! # Symbols
//! m_n spectral moments, unit^2 (rad/s)^n; u level; T time, s; q spectral bandwidth.
//!
//! # Valid when
//! Gaussian, stationary; Rayleigh amplitudes: narrow band.
//!
//! # Source
//! Rice (1944-45), Bell Syst. Tech. J. 23-24; Vanmarcke (1975), J. Appl. Mech. 42; Ochi (1973),
//! J. Ship Res. 17.
//!
//! # Checked by
//! `published_rates`, `published_rayleigh`, `published_clumping`, `published_sampling_error`.

use std::f64::consts::{FRAC_PI_2, TAU};

/// Up-crossings of `u` per second.
pub fn up_crossing_rate_hz(m0: f64, m2: f64, u: f64) -> f64 {
    if m0 <= 0.0 || m2 <= 0.0 {
        return 0.0;
    }
    (m2 / m0).sqrt() / TAU * (-u * u / (2.0 * m0)).exp()
}

/// Probability of at least one event of rate `rate_hz` in `time_s`.
pub fn probability_of_any(rate_hz: f64, time_s: f64) -> f64 {
    -(-rate_hz * time_s).exp_m1()
}

/// Spectral width eps, 0 narrow to 1 wide.
pub fn spectral_width(m0: f64, m2: f64, m4: f64) -> f64 {
    (1.0 - m2 * m2 / (m0 * m4)).max(0.0).sqrt()
}

/// Maxima per second.
pub fn maxima_rate_hz(m2: f64, m4: f64) -> f64 {
    (m4 / m2).sqrt() / TAU
}

/// Share of maxima that lie below the mean.
pub fn negative_maxima_frac(eps: f64) -> f64 {
    0.5 * (1.0 - (1.0 - eps * eps).sqrt())
}

/// Bandwidth q of Vanmarcke.
pub fn bandwidth(m0: f64, m1: f64, m2: f64) -> f64 {
    (1.0 - m1 * m1 / (m0 * m2)).max(0.0).sqrt()
}

/// Factor on the up-crossing rate for crossings that come in clumps; `b` = u/sqrt(m0) above zero.
pub fn clumping_factor(q: f64, b: f64) -> f64 {
    (1.0 - (-TAU.sqrt() * q.powf(1.2) * b).exp()) / (1.0 - (-0.5 * b * b).exp())
}

/// Mean of the highest 1/n of Rayleigh amplitudes, in sqrt(m0).
pub fn mean_of_highest(n: f64) -> f64 {
    let l = n.ln();
    (2.0 * l).sqrt() + n * FRAC_PI_2.sqrt() * libm::erfc(l.sqrt())
}

/// Most probable extreme of N Rayleigh amplitudes, in sqrt(m0).
pub fn most_probable_extreme(n: f64) -> f64 {
    (2.0 * n.ln()).sqrt()
}

/// Value that the extreme of N Rayleigh amplitudes exceeds with probability `risk`, in sqrt(m0).
pub fn extreme_at_risk(n: f64, risk: f64) -> f64 {
    (2.0 * (n / risk).ln()).sqrt()
}

/// Coefficient of variation of m0 over a record: `s2` = int S^2 d omega, time in s.
pub fn m0_scatter(m0: f64, s2: f64, time_s: f64) -> f64 {
    (TAU / time_s * s2).sqrt() / m0
}

#[cfg(test)]
mod tests {
    use super::*;

    const TOL_PRINTED: f64 = 1e-6; // references give eight digits

    fn close(got: f64, want: f64) {
        assert!((got / want - 1.0).abs() < TOL_PRINTED, "{got} {want}");
    }

    #[test]
    fn published_rates() {
        // references/I rice.*: m0 m2 m4 u, nu0 nu eps nu_max neg
        for ([m0, m2, m4, u], [nu0, nu, eps, numax, neg]) in [
            (
                [0.5, 0.4, 0.6, 1.8],
                [0.14235251, 0.0055750787, 0.68313005, 0.1949242, 0.13485163],
            ),
            (
                [1.2, 0.9, 1.4, 3.0],
                [0.13783222, 0.0032415032, 0.71962292, 0.19850109, 0.15281746],
            ),
        ] {
            close(up_crossing_rate_hz(m0, m2, 0.0), nu0);
            close(up_crossing_rate_hz(m0, m2, u), nu);
            close(spectral_width(m0, m2, m4), eps);
            close(maxima_rate_hz(m2, m4), numax);
            close(negative_maxima_frac(spectral_width(m0, m2, m4)), neg);
        }
        assert!((probability_of_any(0.0055750787, 3600.0) - 1.0).abs() < 1e-8);
        assert!(up_crossing_rate_hz(0.0, 0.0, 1.0).abs() < 1e-15);
    }

    #[test]
    fn published_clumping() {
        let q = bandwidth(1.0, 0.95, 0.96); // vanmarcke.S
        close(q, 0.24473625);
        close(clumping_factor(q, 2.0), 0.69832857);
    }

    #[test]
    fn published_rayleigh() {
        // references/A rayleigh.*
        for (n, want) in [
            (1.0, 1.2533141),
            (3.0, 2.0021515),
            (10.0, 2.5454685),
            (100.0, 3.3364667),
        ] {
            close(mean_of_highest(n), want);
        }
        for (n, mode, design) in [
            (100.0, 3.0348543, 4.2919321),
            (1000.0, 3.7169222, 4.7985259),
            (1e4, 4.2919321, 5.2565218),
        ] {
            close(most_probable_extreme(n), mode);
            close(extreme_at_risk(n, 0.01), design);
        }
    }

    #[test]
    fn published_sampling_error() {
        // varerr.S: oscillator wn 1, zeta 0.1 in white noise, T 1800; S = |H|^2 scaled to m0 = 1
        let h = 1e-3;
        let s = |w: f64| 1.0 / ((1.0 - w * w).powi(2) + 0.04 * w * w);
        let sum = |p: i32| -> f64 {
            (0..60_000)
                .map(|i| s(h * (f64::from(i) + 0.5)).powi(p) * h)
                .sum()
        };
        let got = m0_scatter(sum(1), sum(2), 1800.0);
        assert!((got / 0.076011721 - 1.0).abs() < 1e-4, "{got}"); // cut at 60 rad/s
    }
}
