//! Bode's sensitivity integral: what a loop gains at some frequencies it pays at others.
//!
//! # Equation
//! ```text
//! continuous, L falls faster than 1/s   int_0^inf ln|S| d omega = pi sum Re p
//! sampled at T                          int_0^(pi/T) ln|S| d omega
//!                                         = (pi/T)(sum ln|p_d| - ln|det(I + L(inf))|) = pi sum Re p - ..
//! several loops at once                 the same with |det S|
//! water bed                             max ln|S| >= (pi sum Re p + W ln(1/eps)) / (V - W)
//! ```
//!
//! # Symbols
//! S = (I + L)^-1 sensitivity; p unstable poles of the open loop, craft and law (1/s); p_d = exp(p T)
//! the same sampled; L(inf) what passes from a sample to the same sample, 0 when there is any delay;
//! |S| <= eps up to W rad/s, |S| = 1 above V rad/s.
//!
//! # Where it bites
//! For a stable craft and law the integral is zero: as much area of ln|S| lies above 0 dB as below.
//! Waves carry their energy in a band of a few tenths of a rad/s, and the area that a law digs there has
//! to come up beside it. In the continuous text-book case it may be spread thinly over all
//! frequencies up to infinity; in a craft it may not: the sampled law has nothing above pi/T, and fins,
//! servos and delays leave L below 1 long before, so that the area comes up between the wave band and
//! the crossover. This is the amplification seen just above and just below the frequencies of a
//! tuned ride law, and in following seas, where the encounter spectrum is a narrow peak near zero,
//! it is what the swell of the next band meets.
//!
//! Above the divergence speed (a real pitch pole p > 0: the Munk moment wins over the hydrostatic
//! stiffness and the fixed fins) the integral is positive, pi p: the bed is raised before any wave is
//! fought. With the crossover bounded to V by servo and delay, |S| = eps over the wave band W costs a
//! peak of at least exp((pi p + W ln(1/eps))/(V - W)). Example: p = 0.3 1/s, V = 3 rad/s, W = 1 rad/s,
//! eps = 0.5: the peak is at least exp((0.94 + 0.69)/2) = 2.3, a vector margin 1/2.3 = 0.44 at best; a
//! craft whose p reaches 1 1/s pays 6.8 and is not worth steering by that loop. The way out is not
//! a cleverer law but hardware: larger fixed aft area (smaller p), faster servos and fresher sensors
//! (larger V). Several fins and sensors move the area between directions, the sum over them stays.
//!
//! The least reachable RMS of [`super`] obeys the integral without stating it: Q is stable and causal,
//! and that is all that the integral says.
//!
//! # Valid when
//! The closed loop is stable, L is rational or with delay and has no pole on the border but simple
//! integrators (their spikes of ln|S| are integrable).
//!
//! # Source
//! Bode 1945, Network Analysis and Feedback Amplifier Design; Freudenberg & Looze 1985, IEEE Trans.
//! AC-30, 555-565 (unstable poles); Sung & Hara 1988, Int. J. Control 48, 2429-2439 (sampled); Stein
//! 2003, IEEE Control Systems Magazine 23(4), 12-25 (available bandwidth); Seron, Braslavsky & Goodwin
//! 1997, Fundamental Limitations in Filtering and Control, chapter 3.
//!
//! # Checked by
//! `stable_pitch_loop_pays_back_all`, `unstable_pitch_loop_pays_for_its_pole`,
//! `direct_path_changes_the_sampled_integral`

use num_complex::Complex64;

/// Integral of ln|S| from 0 to pi/T, rad/s, of `log_sensitivity(omega)`.
///
/// Double exponential rule on pieces whose ends are `breaks_rad_s`: frequencies where ln|S| goes to
/// infinity (integrators, zero frequency) belong to them.
pub fn sampled_integral(
    log_sensitivity: impl Fn(f64) -> f64,
    period_s: f64,
    breaks_rad_s: &[f64],
) -> f64 {
    let most = std::f64::consts::PI / period_s;
    let mut ends = vec![0.0, most];
    ends.extend(breaks_rad_s.iter().filter(|w| **w > 0.0 && **w < most));
    ends.sort_by(f64::total_cmp);
    ends.windows(2)
        .map(|e| piece(&log_sensitivity, e[0], e[1]))
        .sum()
}

/// Half range and step of the rule's own variable.
const REACH: f64 = 3.2;
const STEPS: i32 = 80;

fn piece(f: &impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    let (half, h) = (0.5 * (to - from), REACH / f64::from(STEPS));
    let mut sum = 0.0;
    for i in -STEPS..=STEPS {
        let t = f64::from(i) * h;
        let inner = std::f64::consts::FRAC_PI_2 * t.sinh();
        // distance from the nearer end, without cancellation
        let near = half * (-inner.abs()).exp() / inner.cosh();
        let x = if inner < 0.0 { from + near } else { to - near };
        let weight = std::f64::consts::FRAC_PI_2 * t.cosh() / inner.cosh().powi(2);
        let value = f(x);
        if value.is_finite() {
            sum += weight * value;
        }
    }
    sum * half * h
}

/// What the integral must be: `open_poles` in 1/s (ln(z)/T), `direct` = |det(I + L)| at infinity.
pub fn theory(open_poles: &[Complex64], direct: f64, period_s: f64) -> f64 {
    let growing: f64 = open_poles.iter().map(|p| p.re.max(0.0)).sum();
    std::f64::consts::PI * (growing - direct.ln() / period_s)
}

/// Least peak of |S| when |S| <= `eps` up to `low_rad_s` and 1 above `high_rad_s`.
pub fn least_peak(growing_1_s: f64, eps: f64, low_rad_s: f64, high_rad_s: f64) -> f64 {
    let area = std::f64::consts::PI * growing_1_s - low_rad_s * eps.ln();
    (area / (high_rad_s - low_rad_s)).exp()
}

#[cfg(test)]
mod tests {
    use nalgebra::DMatrix;

    use super::*;
    use crate::control::linear::{LawSignal, LinearLaw};
    use crate::math::zoh;

    const PERIOD_S: f64 = 0.1;
    /// Rule and rounding; the integrals are of order 1 rad/s.
    const TOL_RAD_S: f64 = 1e-6;

    /// Pitch under a fin with `stiffness` (1/s2, negative: diverges), sampled; command at z (now) to
    /// pitch at z, `late` extra periods of delay.
    fn pitch(stiffness: f64, late: i32) -> (impl Fn(f64) -> Complex64, Vec<Complex64>) {
        let a = DMatrix::from_row_slice(2, 2, &[0.0, 1.0, -stiffness, -1.2]);
        let b = DMatrix::from_row_slice(2, 1, &[0.0, 0.8]);
        let s = zoh::discretise(&a, &b, PERIOD_S);
        let plant = LinearLaw {
            sample_period_s: PERIOD_S,
            signals: vec![LawSignal::Pitch],
            channels: vec![0],
            a: s.ad.clone(),
            b: s.bd,
            c: DMatrix::from_row_slice(1, 2, &[1.0, 0.0]),
            d: DMatrix::zeros(1, 1),
            speed_power: 0.0,
        };
        let root = Complex64::from(0.36 - stiffness).sqrt();
        let poles = vec![-0.6 + root, -0.6 - root];
        let response = move |w: f64| {
            let z = Complex64::from_polar(1.0, w * PERIOD_S);
            plant.response(w).unwrap()[(0, 0)] * z.powi(-late)
        };
        (response, poles)
    }

    fn measured(l: impl Fn(f64) -> Complex64) -> f64 {
        sampled_integral(|w| -(1.0 + l(w)).norm().ln(), PERIOD_S, &[0.2, 1.0, 4.0])
    }

    #[test]
    fn stable_pitch_loop_pays_back_all() {
        let (g, poles) = pitch(0.8, 1);
        let got = measured(|w| 2.0 * g(w));
        assert!(theory(&poles, 1.0, PERIOD_S).abs() < 1e-15);
        assert!(got.abs() < TOL_RAD_S, "{got}");
    }

    #[test]
    fn unstable_pitch_loop_pays_for_its_pole() {
        // 0.36 + 0.45: poles at 0.3 and -1.5 1/s; gain 1.5 to 2 holds it with two periods of delay
        let (g, poles) = pitch(-0.45, 2);
        assert!((poles[0].re - 0.3).abs() < 1e-12);
        let want = theory(&poles, 1.0, PERIOD_S);
        assert!((want - std::f64::consts::PI * 0.3).abs() < 1e-12);
        let got = measured(|w| 2.0 * g(w));
        assert!((got - want).abs() < TOL_RAD_S, "{got} {want}");
        // with an integrator in the law: a pole on the border adds nothing
        let with_integral = |w: f64| {
            let z = Complex64::from_polar(1.0, w * PERIOD_S);
            g(w) * (2.0 + 0.01 / (z - 1.0))
        };
        let got = measured(with_integral);
        assert!((got - want).abs() < TOL_RAD_S, "{got} {want}");
    }

    #[test]
    fn direct_path_changes_the_sampled_integral() {
        // a law that acts on pitch acceleration of the same sample: L(inf) = 0.5
        let l = |w: f64| {
            let z = Complex64::from_polar(1.0, w * PERIOD_S);
            0.5 * (z - 1.0) / (z - 0.9)
        };
        let want = theory(&[], 1.5, PERIOD_S);
        let got = measured(l);
        assert!((got - want).abs() < TOL_RAD_S, "{got} {want}");
    }

    #[test]
    fn the_text_has_the_right_peaks() {
        assert!((least_peak(0.3, 0.5, 1.0, 3.0) - 2.3).abs() < 0.05);
        assert!((least_peak(1.0, 0.5, 1.0, 3.0) - 6.8).abs() < 0.05);
    }
}
