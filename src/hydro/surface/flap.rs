//! Plain trailing-edge flap: effectiveness, loss with angle, hinge moment.
//!
//! # Equation
//! With E the flap's share of the chord and `th = arccos(2E - 1)`:
//! effectiveness `tau = 1 - (th - sin th)/pi` (lift of a rad of flap over that of a rad of incidence).
//! Hinge moment per unit span over `rho U^2 cf^2 / 2`, positive trailing edge down:
//! `CH = -T12/(2 E^2) (alpha_2d) + CH_delta delta`,
//! `CH_delta = -[T5 - T4 T10 + T12 T10]/(2 pi E^2)`.
//!
//! Viscous loss: `tau_eff delta = eta tau delta / (1 + (delta/d)^4)^(1/4)`, eta = 0.85, d = 20.5 deg:
//! 0.84 at 10 deg, 0.72 at 20 deg, 0.55 at 30 deg of the thin-aerofoil value. It never reverses.
//!
//! # Symbols
//! T4, T5, T10, T12 Theodorsen's constants for a hinge at `c = 1 - 2E` semichords behind mid-chord.
//!
//! # Valid when
//! Sealed gap, thin section; E from 0.05 to 0.6.
//!
//! # Source
//! Glauert (1927), ARC R&M 1095; Theodorsen (1935), NACA Report 496. Loss: common practice (0.7 to 0.9
//! of thin-aerofoil theory; its growth with angle after the curves in Hoerner & Borst (1975)), from memory.
//!
//! # Checked by
//! `thin_aerofoil_values`, `loss_is_monotone_and_in_the_practical_range`.

use std::f64::consts::PI;

/// Viscous share of the thin-aerofoil effectiveness at small angle.
pub const VISCOUS_EFFECTIVENESS: f64 = 0.85;
/// Deflection at which the loss has set in, rad (20.5 deg).
const LOSS_ANGLE_RAD: f64 = 0.357_8;

/// Thin-aerofoil constants of a plain flap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThinFlap {
    /// Flap chord over chord.
    pub chord_frac: f64,
    /// Lift of a rad of flap over that of a rad of incidence.
    pub tau: f64,
    /// Pitching moment about the quarter chord per rad.
    pub moment_quarter_per_rad: f64,
    /// Hinge moment coefficient per rad of (two-dimensional) incidence.
    pub hinge_per_incidence: f64,
    /// Hinge moment coefficient per rad of deflection at constant incidence.
    pub hinge_per_deflection: f64,
}

impl ThinFlap {
    /// Constants for a flap of `chord_frac` of the chord (between 0 and 1, exclusive).
    pub fn new(chord_frac: f64) -> Self {
        let e = chord_frac;
        let th = (2.0 * e - 1.0).acos();
        let c = 1.0 - 2.0 * e;
        let root = (1.0 - c * c).sqrt();
        let ac = c.acos();
        let t4 = c * root - ac;
        let t5 = -(1.0 - c * c) - ac * ac + 2.0 * c * root * ac;
        let t10 = root + ac;
        let t12 = root * (2.0 + c) - ac * (2.0 * c + 1.0);
        ThinFlap {
            chord_frac: e,
            tau: 1.0 - (th - th.sin()) / PI,
            moment_quarter_per_rad: -0.5 * th.sin() * (1.0 - th.cos()),
            hinge_per_incidence: -t12 / (2.0 * e * e),
            hinge_per_deflection: -(t5 - t4 * t10 + t12 * t10) / (2.0 * PI * e * e),
        }
    }
}

/// Deflection that a flap without growing loss would need for the same lift, rad.
pub fn effective_deflection_rad(delta_rad: f64) -> f64 {
    let u = delta_rad / LOSS_ANGLE_RAD;
    let u2 = u * u;
    delta_rad / (1.0 + u2 * u2).sqrt().sqrt()
}

/// Share of the lift that a flap over the inner `span_frac` of the span works on: that share of an
/// elliptic load (reverse-flow theorem).
pub fn span_share(span_frac: f64) -> f64 {
    let f = span_frac.clamp(0.0, 1.0);
    2.0 / PI * (f * (1.0 - f * f).sqrt() + f.asin())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thin_aerofoil_values() {
        // references/D flap.E0.1 .. flap.E0.5: tau, Cm, CH_alpha, CH_delta
        const TOL: f64 = 1e-6; // six printed digits of the pressure integration
        for (e, tau, cm, ha, hd) in [
            (0.1, 0.3958187, -0.54, -0.34485586, -0.88423),
            (0.2, 0.54981514, -0.64, -0.4993815, -0.922877),
            (0.25, 0.60899778, -0.64951905, -0.56534726, -0.943608),
            (0.3, 0.66074595, -0.6415606, -0.62740705, -0.965403),
            (0.4, 0.7477845, -0.58787754, -0.74480377, -1.01266),
            (0.5, 0.81830989, -0.5, -0.85840735, -1.06582),
        ] {
            let f = ThinFlap::new(e);
            assert!((f.tau / tau - 1.0).abs() < TOL, "{e} {f:?}");
            assert!(
                (f.moment_quarter_per_rad / cm - 1.0).abs() < TOL,
                "{e} {f:?}"
            );
            assert!((f.hinge_per_incidence / ha - 1.0).abs() < TOL, "{e} {f:?}");
            assert!(
                (f.hinge_per_deflection / hd - 1.0).abs() < 6.0 * TOL,
                "{e} {f:?}"
            );
        }
    }

    #[test]
    fn loss_is_monotone_and_in_the_practical_range() {
        let mut last = 0.0;
        for i in 1..=45 {
            let d = f64::from(i).to_radians();
            let eff = effective_deflection_rad(d);
            assert!(eff > last, "{i}");
            last = eff;
            if i <= 20 {
                let total = VISCOUS_EFFECTIVENESS * eff / d; // reference range 0.7 to 0.9
                assert!((0.7..0.9).contains(&total), "{i} {total}");
            }
        }
        assert!((effective_deflection_rad(1e-4) / 1e-4 - 1.0).abs() < 1e-12);
        assert!((span_share(1.0) - 1.0).abs() < 1e-15 && span_share(0.0).abs() < 1e-15);
    }
}
