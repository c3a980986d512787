//! Lift, drag and stall of low-aspect-ratio surfaces.
//!
//! # Equation
//! Slope: `a = 1.8 pi A / (cos L sqrt(A^2/cos^4 L + 4) + 1.8)` per rad;
//! lift: `CL = a alpha + (C_Dc/A) alpha |alpha|`;
//! drag: `CD = Cd0 + CL^2/(0.9 pi A)`, `Cd0 = 0.0065`;
//! centre of pressure of the linear part, aft of the leading edge in mean aerodynamic chords:
//! `1/2 - (1.11 sqrt(A^2+4) + 2)/(4 (A+2))`; the cross-flow part acts at half chord.
//! Past stall the lift turns smoothly (quintic step, quasi-steady, no hysteresis) into that of
//! a separated plate, `C_N cos alpha`, `C_N = 1.15 (4 + pi) sin alpha/(4 + pi |sin alpha|)`.
//!
//! # Symbols
//! A effective aspect ratio (twice the geometric one when the root is sealed by the hull), L
//! sweep of the quarter chord, C_Dc cross-flow drag coefficient: 0.1 + 1.6 taper for square tips,
//! 0.1 + 0.7 taper for faired ones.
//!
//! # Valid when
//! A up to about 4, sweep up to 30 deg, Reynolds number above 1e6. The stall angle (25 deg at A = 2,
//! 20 deg at A = 3, linear, 12 to 32 deg) is indicative.
//!
//! # Source
//! Whicker & Fehlner (1958), DTMB Report 933, constants as in Lewis ed. (1989), Principles of
//! Naval Architecture III, chapter 9, from memory. Separated plate: Kirchhoff (1869), Rayleigh (1876); 1.15 across
//! the flow: Hoerner (1965) chapter 3, plates of aspect ratio near one, from memory.
//!
//! # Checked by
//! `slopes_meet_published_formula`, `lift_and_drag_meet_published_formula`,
//! `slope_lies_between_wing_theory_limits`.

use std::f64::consts::PI;

use crate::spec::craft::TipForm;

/// Drag coefficient at no lift.
pub const PROFILE_DRAG: f64 = 0.0065;
/// Normal force coefficient of a fully separated plate across the flow.
const SEPARATED_NORMAL_FORCE: f64 = 1.15;
/// Stall begins this far before the nominal stall angle, rad (3 deg).
const STALL_LEAD_RAD: f64 = 0.052_36;
/// and is complete this far after it, rad (9 deg).
const STALL_TAIL_RAD: f64 = 0.157_08;

/// Lift slope per rad of a surface of effective aspect ratio `aspect`, quarter chord swept by
/// `sweep_rad`.
pub fn whicker_fehlner_slope(aspect: f64, sweep_rad: f64) -> f64 {
    let c = sweep_rad.cos();
    1.8 * PI * aspect / (c * (aspect * aspect / c.powi(4) + 4.0).sqrt() + 1.8)
}

/// Cross-flow drag coefficient of a surface of taper ratio `taper` (tip over root chord).
pub fn cross_flow_drag(taper: f64, tip: TipForm) -> f64 {
    match tip {
        TipForm::Square => 0.1 + 1.6 * taper,
        TipForm::Faired => 0.1 + 0.7 * taper,
    }
}

/// Drag coefficient at lift coefficient `cl`, attached flow.
pub fn whicker_fehlner_drag(cl: f64, aspect: f64) -> f64 {
    PROFILE_DRAG + cl * cl / (0.9 * PI * aspect)
}

/// Centre of pressure of the linear lift, fraction of the mean aerodynamic chord aft of its
/// leading edge.
pub fn centre_of_pressure_frac(aspect: f64) -> f64 {
    0.5 - (1.11 * (aspect * aspect + 4.0).sqrt() + 2.0) / (4.0 * (aspect + 2.0))
}

/// Nominal stall angle, rad.
pub fn stall_angle_rad(aspect: f64) -> f64 {
    (25.0 - 5.0 * (aspect - 2.0)).clamp(12.0, 32.0).to_radians()
}

/// Share of separated flow, 0 to 1, at local angle `alpha_rad`; exactly zero before stall.
pub fn separated_share(alpha_rad: f64, stall_rad: f64) -> f64 {
    let t = (alpha_rad.abs() - (stall_rad - STALL_LEAD_RAD)) / (STALL_LEAD_RAD + STALL_TAIL_RAD);
    smooth_step(t)
}

/// Lift coefficient of separated flow.
pub fn separated_lift(alpha_rad: f64) -> f64 {
    separated_normal_force(alpha_rad.sin()) * alpha_rad.cos()
}

/// Drag coefficient of separated flow.
pub fn separated_drag(alpha_rad: f64) -> f64 {
    let s = alpha_rad.sin();
    separated_normal_force(s) * s
}

/// Kirchhoff's plate, scaled to the finite plate across the flow.
fn separated_normal_force(sine: f64) -> f64 {
    SEPARATED_NORMAL_FORCE * (4.0 + PI) * sine / (4.0 + PI * sine.abs())
}

/// 0 below 0, 1 above 1, twice differentiable between (6 t^5 - 15 t^4 + 10 t^3).
pub(crate) fn smooth_step(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * t * (10.0 + t * (6.0 * t - 15.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    const TOL_PRINTED: f64 = 1e-7; // the references print eight digits

    #[test]
    fn slopes_meet_published_formula() {
        // references/D_control_surfaces.json wf.A1.L0, wf.A2.L0, wf.A3.L0, wf.A2.L11, wf.A3.L20
        for (a, sweep_deg, want) in [
            (1.0, 0.0_f64, 1.4010831),
            (2.0, 0.0, 2.4435371),
            (3.0, 0.0, 3.1383664),
            (2.0, 11.0, 2.4430238),
            (3.0, 20.0, 3.0818728),
        ] {
            let got = whicker_fehlner_slope(a, sweep_deg.to_radians());
            assert!((got / want - 1.0).abs() < TOL_PRINTED, "{a} {got}");
        }
    }

    #[test]
    fn lift_and_drag_meet_published_formula() {
        // wf.CL.A2.a10, wf.CL.A3.a15
        for (a, taper, alpha_deg, cl, cd) in [
            (2.0, 0.5, 10.0_f64, 0.44018547, 0.040764865),
            (3.0, 0.45, 15.0, 0.84035637, 0.08975558),
        ] {
            let alpha = alpha_deg.to_radians();
            let got = whicker_fehlner_slope(a, 0.0) * alpha
                + cross_flow_drag(taper, TipForm::Square) / a * alpha * alpha.abs();
            assert!((got / cl - 1.0).abs() < TOL_PRINTED, "{got}");
            assert!((whicker_fehlner_drag(got, a) / cd - 1.0).abs() < TOL_PRINTED);
        }
    }

    #[test]
    fn slope_lies_between_wing_theory_limits() {
        // wing.A1, wing.A2, wing.A4: never above Jones' slender wing, within 9 % of Helmbold
        // (the measured surfaces of Whicker & Fehlner lie below thin-wing theory)
        for (a, helmbold, jones) in [
            (1.0, 1.4832588, PI / 2.0),
            (2.0, 2.6025806, PI),
            (4.0, 3.8832221, 2.0 * PI),
        ] {
            let got = whicker_fehlner_slope(a, 0.0);
            assert!(
                got < jones && (got / helmbold - 1.0).abs() < 0.09,
                "{a} {got}"
            );
        }
        // slender limit of the formula itself: 0.947 of Jones
        let slender = whicker_fehlner_slope(1e-6, 0.0) / (PI / 2.0 * 1e-6);
        assert!((slender - 3.6 / 3.8).abs() < 1e-6, "{slender}");
    }

    #[test]
    fn stall_starts_at_nothing_and_ends_separated() {
        let stall = stall_angle_rad(2.0);
        assert!((stall.to_degrees() - 25.0).abs() < 1e-9);
        assert!(separated_share(21.9_f64.to_radians(), stall).abs() < 1e-15);
        assert!((separated_share(34.1_f64.to_radians(), stall) - 1.0).abs() < 1e-15);
        assert!((separated_share(-0.5, stall) - separated_share(0.5, stall)).abs() < 1e-15);
    }
}
