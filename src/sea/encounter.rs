//! Encounter frequency and back: up to three waves share one encounter frequency.
//!
//! # Equation
//! ```text
//! omega_e = omega - a omega^2,   a = U cos(mu) / g        (signed; deep water)
//! a > 0, 0 < |omega_e| < 1/(4a):
//!   omega_1,2 = (1 -+ sqrt(1 - 4 a |omega_e|)) / (2a),  omega_3 = (1 + sqrt(1 + 4 a |omega_e|)) / (2a)
//! a < 0: omega = (-1 + sqrt(1 + 4 |a| omega_e)) / (2|a|)
//! S_e(|omega_e|) = sum_i S(omega_i) / |1 - 2 a omega_i|
//! ```
//! Beyond omega = 1/a the craft overtakes the waves and omega_e is negative.
//!
//! # Symbols
//! omega wave frequency, omega_e encounter frequency, rad/s; U speed, m/s; mu where waves travel to.
//!
//! # Valid when
//! Deep water, steady speed and course.
//!
//! # Source
//! St Denis & Pierson (1953), Trans. SNAME 61; Lloyd (1989), Seakeeping, ch. 7.
//!
//! # Checked by
//! `published_triple_values`, `the_encountered_spectrum_keeps_the_variance`.

use super::spectrum::Spectrum;

/// Wave frequencies (rad/s) whose encounter frequency has the size `omega_e_rad_s` (not
/// negative), ascending, none to three; `a_s` = U cos(mu) / g in s.
pub fn wave_frequencies_rad_s(omega_e_rad_s: f64, a_s: f64) -> Vec<f64> {
    let we = omega_e_rad_s.abs();
    let b = 4.0 * a_s * we;
    if b.abs() < 1e-12 {
        // standing still, or beam seas; 1/a is the overtaken wave of zero encounter frequency
        return if a_s > 1e-12 {
            vec![we, 1.0 / a_s]
        } else {
            vec![we]
        };
    }
    if a_s < 0.0 {
        // (-1 + sqrt(1 + x)) / (2|a|) without cancellation
        return vec![2.0 * we / (1.0 + (1.0 - b).sqrt())];
    }
    let mut out = Vec::with_capacity(3);
    if b <= 1.0 {
        let root = (1.0 - b).sqrt();
        out.push(2.0 * we / (1.0 + root));
        out.push((1.0 + root) / (2.0 * a_s));
    }
    out.push((1.0 + (1.0 + b).sqrt()) / (2.0 * a_s));
    out
}

/// |d omega_e / d omega| = |1 - 2 a omega|.
pub fn jacobian(omega_rad_s: f64, a_s: f64) -> f64 {
    (1.0 - 2.0 * a_s * omega_rad_s).abs()
}

/// Density of the long-crested sea over the size of the encounter frequency, m2 s/rad.
///
/// Infinite at the caustic omega_e = 1/(4a) of following seas, where it can be integrated.
pub fn encountered_density(s: &Spectrum, omega_e_rad_s: f64, a_s: f64) -> f64 {
    wave_frequencies_rad_s(omega_e_rad_s, a_s)
        .iter()
        .map(|&w| s.density(w) / jacobian(w, a_s))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::G_M_S2;

    const TOL_PRINTED: f64 = 1e-6; // asked by the references

    #[test]
    fn published_triple_values() {
        // references/A_waves.json enc.U10.2889.*
        let u = 10.2889;
        for (mu_deg, we, roots, jac) in [
            (
                0.0_f64,
                0.2,
                vec![0.28554636, 0.66758274, 1.1228923],
                vec![0.40082334, 0.40082334, 1.3562229],
            ),
            (
                45.0,
                0.25,
                vec![0.33155272, 1.0163754, 1.5634637],
                vec![0.50805577, 0.50805577, 1.3198028],
            ),
            (180.0, 1.5, vec![0.81060577], vec![2.7009359]),
        ] {
            let a = u * mu_deg.to_radians().cos() / G_M_S2;
            let got = wave_frequencies_rad_s(we, a);
            assert_eq!(got.len(), roots.len());
            for ((g, w), j) in got.iter().zip(&roots).zip(&jac) {
                assert!((g / w - 1.0).abs() < TOL_PRINTED, "{g} {w}");
                assert!((jacobian(*g, a) / j - 1.0).abs() < TOL_PRINTED);
                let signed = crate::frames::encounter_rad_s(*g, u, mu_deg.to_radians(), G_M_S2);
                assert!((signed.abs() - we).abs() < 1e-12, "round trip");
            }
        }
        // above the largest encounter frequency only the overtaken wave is left
        let a = u / G_M_S2;
        assert!((0.25 / a - 0.23828228).abs() < 1e-7);
        assert_eq!(wave_frequencies_rad_s(0.24, a).len(), 1);
    }

    #[test]
    fn the_encountered_spectrum_keeps_the_variance() {
        let s = Spectrum::bretschneider(2.0, 7.0);
        for a in [-0.9, 0.0, 0.3, 0.9] {
            // integrate piecewise in t with omega_e = edge -+ t^2, which removes the caustic
            let edge = if a > 0.0 { 0.25 / a } else { 1.0 };
            let piece = |sign: f64, t_max: f64| {
                let n = 40_000;
                (0..n)
                    .map(|i| {
                        let t = (f64::from(i) + 0.5) * t_max / f64::from(n);
                        encountered_density(&s, edge + sign * t * t, a) * 2.0 * t
                    })
                    .sum::<f64>()
                    * t_max
                    / f64::from(n)
            };
            let m0 = piece(-1.0, edge.sqrt()) + piece(1.0, 20.0);
            let tol = 2e-4; // midpoint rule; waves beyond omega_e = 400 rad/s left out
            assert!((m0 / s.moment(0) - 1.0).abs() < tol, "{a} {m0}");
        }
    }
}
