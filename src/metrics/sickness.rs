//! Motion sickness: MSDV and MSI.
//!
//! # Equation
//! ```text
//! MSDVz = a_wf sqrt(T)  (= sqrt(int a_wf^2 dt)),   who may vomit % = Km MSDVz, Km = 1/3
//! 1974  MSI = 100 Phi((log10(|a|/g) - m)/0.4),  m = -0.819 + 2.32 (log10 w_e)^2,
//!       |a| = sqrt(2/pi) rms,  w_e = sqrt(m4/m2)                 two hours
//! 1976  MSI = 100 Phi(za) Phi(zt),  za = 2.128 lg a - 9.277 lg f - 5.809 lg^2 f - 1.851,
//!       zt = 1.134 za + 1.989 lg t - 2.904
//! ```
//!
//! # Symbols
//! a_wf RMS of the Wf-weighted vertical acceleration, m/s2; T exposure, s; |a| mean absolute
//! vertical acceleration; m4, m2 variances of vertical acceleration and velocity; a RMS in g;
//! f = w_e/2pi in Hz; t exposure, min; Phi standard normal distribution.
//!
//! # Valid when
//! Unadapted mixed adults, vertical motion, 0.05 to 0.7 Hz; 20 min to 6 h. Predictions are for
//! design: people differ by far more than the interval of the motion.
//!
//! # Source
//! ISO 2631-1:1997 clause 9 and annex D. O'Hanlon & McCauley (1974), Aerospace Medicine 45(4), in the form of
//! Lloyd (1989), Seakeeping. McCauley, Royal, Wylie, O'Hanlon & Mackie (1976). Constants of both
//! MSI formulas from memory of the sources (references/E).
//!
//! # Checked by
//! `published_dose`, `published_msi_1974`, `published_msi_1976`, `most_sensitive_near_a_sixth_hertz`.

use std::f64::consts::{FRAC_2_PI, TAU};

use crate::math::spectral;
use crate::math::stats::sample::normal_cdf;
use crate::units::G_M_S2;

/// Share of an unadapted mixed population per m/s^1.5, in per cent.
const KM: f64 = 1.0 / 3.0;
/// Motion slower than this is left out of the mean frequency, Hz.
pub const LOWEST_HZ: f64 = 0.02;

/// Motion sickness dose value, m/s^1.5, of a weighted RMS (m/s2) over an exposure (s).
pub fn msdv_m_s1_5(weighted_rms_m_s2: f64, exposure_s: f64) -> f64 {
    weighted_rms_m_s2 * exposure_s.sqrt()
}

/// People who may vomit, per cent, of a dose, m/s^1.5.
pub fn vomiting_percent(msdv_m_s1_5: f64) -> f64 {
    (KM * msdv_m_s1_5).min(100.0)
}

/// Vibration dose value, m/s^1.75, of a weighted record: (int a^4 dt)^(1/4).
pub fn vdv_m_s1_75(weighted: &[f64], dt_s: f64) -> f64 {
    (weighted.iter().map(|a| a.powi(4)).sum::<f64>() * dt_s).powf(0.25)
}

/// Motion sickness incidence, per cent, after two hours (1974) of a Gaussian vertical acceleration
/// with the given RMS (m/s2) and mean frequency (rad/s).
pub fn msi_1974_percent(rms_m_s2: f64, w_e_rad_s: f64) -> f64 {
    msi_1974_of_mean_absolute(FRAC_2_PI.sqrt() * rms_m_s2, w_e_rad_s)
}

fn msi_1974_of_mean_absolute(a_m_s2: f64, w_e_rad_s: f64) -> f64 {
    if !(a_m_s2 > 0.0 && w_e_rad_s > 0.0) {
        return 0.0;
    }
    let mu = -0.819 + 2.32 * w_e_rad_s.log10().powi(2);
    100.0 * normal_cdf(((a_m_s2 / G_M_S2).log10() - mu) / 0.4)
}

/// Motion sickness incidence, per cent, after `exposure_s` (1976).
pub fn msi_1976_percent(rms_m_s2: f64, f_hz: f64, exposure_s: f64) -> f64 {
    if !(rms_m_s2 > 0.0 && f_hz > 0.0 && exposure_s > 0.0) {
        return 0.0;
    }
    let (za, zt) = z_1976(rms_m_s2 / G_M_S2, f_hz, exposure_s / 60.0);
    100.0 * normal_cdf(za) * normal_cdf(zt)
}

fn z_1976(a_g: f64, f_hz: f64, t_min: f64) -> (f64, f64) {
    let l = f_hz.log10();
    let za = 2.128 * a_g.log10() - 9.277 * l - 5.809 * l * l - 1.851;
    (za, 1.134 * za + 1.989 * t_min.log10() - 2.904)
}

/// Mean frequency sqrt(m4/m2) of a vertical acceleration record, rad/s: acceleration over velocity
/// variance, motion below 0.02 Hz left out. Zero for a record at rest.
pub fn mean_frequency_rad_s(acceleration_m_s2: &[f64], dt_s: f64) -> f64 {
    if acceleration_m_s2.len() < 2 {
        return 0.0;
    }
    mean_frequency_of(&spectral::periodogram(acceleration_m_s2, dt_s))
}

/// The same from the record's raw periodogram.
pub(super) fn mean_frequency_of(s: &spectral::Density) -> f64 {
    let first = ((TAU * LOWEST_HZ / s.step_rad_s).ceil() as usize).max(1);
    let (mut m4, mut m2) = (0.0, 0.0);
    for k in first..s.s.len() {
        m4 += s.s[k];
        m2 += s.s[k] / s.omega_rad_s(k).powi(2);
    }
    if m2 > 0.0 { (m4 / m2).sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metrics::weighting::Weighting;

    const TOL_PRINTED: f64 = 1e-6; // references give eight digits

    fn close(got: f64, want: f64) {
        assert!((got / want - 1.0).abs() < TOL_PRINTED, "{got} {want}");
    }

    #[test]
    fn published_dose() {
        // references/E msdv.S: rms 0.5 at 0.2 Hz for 7200 s
        let aw = 0.5 * Weighting::Wf.factor(0.2);
        close(aw, 0.4960048);
        close(msdv_m_s1_5(aw, 7200.0), 42.087403);
        close(vomiting_percent(msdv_m_s1_5(aw, 7200.0)), 14.029134);
        // vdv of a sine of amplitude 1 for T: (3/8 T)^(1/4)
        let x: Vec<f64> = (0..10_000)
            .map(|i| (TAU * f64::from(i) / 100.0).sin())
            .collect();
        close(vdv_m_s1_75(&x, 0.1), (0.375 * 1000.0f64).powf(0.25));
    }

    #[test]
    fn published_msi_1974() {
        for (a, w, want) in [
            (0.5, 1.05, 7.6127785),
            (1.0, 1.05, 24.855795),
            (1.0, 1.6, 17.928657),
            (2.0, 1.2, 51.586589),
            (0.7, 0.7, 11.451637),
        ] {
            // the reference rounds sqrt(2/pi) to 0.7979
            close(msi_1974_of_mean_absolute(0.7979 * a, w), want);
            assert!((msi_1974_percent(a, w) / want - 1.0).abs() < 1e-4);
        }
        // msi74.rms: the same formula fed with the rms
        close(
            msi_1974_of_mean_absolute(0.1 * G_M_S2, TAU * 0.167),
            32.454289,
        );
        assert!(msi_1974_percent(0.0, 1.0).abs() < 1e-15);
    }

    #[test]
    fn published_msi_1976() {
        for (a, f, t, [za, zt, msi]) in [
            (0.1, 0.167, 120.0, [-0.2777624, 0.91650894, 32.040703]),
            (0.2, 0.2, 120.0, [0.30789694, 1.5806466, 58.553998]),
            (0.2, 0.25, 60.0, [0.14127793, 0.79295201, 43.720741]),
            (0.05, 0.167, 240.0, [-0.91835423, 0.78882646, 14.0666]),
            (0.333, 0.25, 120.0, [0.61244743, 1.9260069, 71.01346]),
        ] {
            let z = z_1976(a, f, t);
            close(z.0, za);
            close(z.1, zt);
            close(msi_1976_percent(a * G_M_S2, f, t * 60.0), msi);
        }
    }

    #[test]
    fn most_sensitive_near_a_sixth_hertz() {
        let at = |f: f64| msi_1976_percent(1.0, f, 7200.0);
        assert!(at(0.159) > at(0.15) && at(0.159) > at(0.17));
    }

    #[test]
    fn mean_frequency_of_a_sine() {
        let x: Vec<f64> = (0..20_000)
            .map(|i| 3.0 + (1.1 * 0.1 * f64::from(i)).sin())
            .collect();
        assert!((mean_frequency_rad_s(&x, 0.1) - 1.1).abs() < 0.01); // leakage of part periods
        assert!(mean_frequency_rad_s(&[1.0; 50], 0.1).abs() < 1e-9);
    }
}
