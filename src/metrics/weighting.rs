//! ISO 2631-1 frequency weightings.
//!
//! # Equation
//! ```text
//! H = Hh Hl Ht Hs,  p = i 2 pi f,  w_i = 2 pi f_i,  Q1 = Q2 = 1/sqrt 2
//! Hh = p^2/(p^2 + p w1/Q1 + w1^2)             Hl = w2^2/(p^2 + p w2/Q2 + w2^2)
//! Ht = (1 + p/w3)/(1 + p/(Q4 w4) + (p/w4)^2)
//! Hs = (1 + p/(Q5 w5) + (p/w5)^2)/(1 + p/(Q6 w6) + (p/w6)^2) (w5/w6)^2
//! ```
//! A record is weighted in the frequency domain with H itself, so there is no bilinear warping:
//! the response is that of the standard up to 0.4 of the sample rate. **Cut:** everything above
//! 0.4 of the sample rate is set to zero (a 10 Hz record holds nothing above 4 Hz of the 80 Hz band
//! of the standard), and the mean is removed.
//!
//! # Symbols
//! f frequency, Hz; f_i, Q_i parameters of the weighting.
//!
//! # Valid when
//! Wk vertical, Wd horizontal, Wc seat back, We rotation: 0.5 to 80 Hz; Wf motion sickness:
//! 0.1 to 0.5 Hz.
//!
//! # Source
//! ISO 2631-1:1997, annex A; parameters as in ISO 8041.
//!
//! # Checked by
//! `published_factors`, `nominal_table_of_the_standard`, `records_are_weighted_within_tolerance`,
//! `transients_stay_short`.

use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

use num_complex::Complex64;

use crate::math::spectral::{self, Padded};

/// Highest weighted frequency as a share of the sample rate.
pub const CUT_FRAC: f64 = 0.4;
/// Continued ends, s: twenty periods of the slowest corner would be 250 s; the filter has forgotten
/// its start to 1e-4 after this.
pub const PAD_S: f64 = 60.0;
/// Responses kept per thread.
const MOST_KNOWN: usize = 16;

type Known = HashMap<(Weighting, usize, u64), Rc<Vec<Complex64>>>;

thread_local! {
    // a response costs more than the transform it is multiplied with, and records come in few lengths
    static RESPONSES: RefCell<Known> = RefCell::new(HashMap::new());
}

/// A weighting of ISO 2631-1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Weighting {
    /// Vertical, health and comfort.
    Wk,
    /// Horizontal.
    Wd,
    /// Vertical, motion sickness.
    Wf,
    /// Seat back, fore and aft.
    Wc,
    /// Rotation.
    We,
}

/// Step of second order.
struct Step {
    f5: f64,
    q5: f64,
    f6: f64,
    q6: f64,
}

struct Parameters {
    f1: f64,
    f2: f64,
    /// Infinite when the numerator of the transition is absent.
    f3: f64,
    f4: f64,
    q4: f64,
    step: Option<Step>,
}

impl Weighting {
    fn parameters(self) -> Parameters {
        let body = |f34: f64| Parameters {
            f1: 0.4,
            f2: 100.0,
            f3: f34,
            f4: f34,
            q4: 0.63,
            step: None,
        };
        match self {
            Weighting::Wk => Parameters {
                step: Some(Step {
                    f5: 2.37,
                    q5: 0.91,
                    f6: 3.35,
                    q6: 0.91,
                }),
                ..body(12.5)
            },
            Weighting::Wd => body(2.0),
            Weighting::We => body(1.0),
            Weighting::Wc => body(8.0),
            Weighting::Wf => Parameters {
                f1: 0.08,
                f2: 0.63,
                f3: f64::INFINITY,
                f4: 0.25,
                q4: 0.86,
                step: Some(Step {
                    f5: 0.0625,
                    q5: 0.80,
                    f6: 0.10,
                    q6: 0.80,
                }),
            },
        }
    }

    /// Complex response at a frequency, Hz.
    pub fn response(self, f_hz: f64) -> Complex64 {
        let c = self.parameters();
        // p/w_i = i f/f_i
        let at = |fi: f64| Complex64::new(0.0, f_hz / fi);
        let one = Complex64::ONE;
        let pole = |fi: f64, q: f64| one + at(fi) / q + at(fi) * at(fi);
        let q12 = std::f64::consts::FRAC_1_SQRT_2;
        let band = at(c.f1) * at(c.f1) / pole(c.f1, q12) / pole(c.f2, q12);
        let transition = (one + at(c.f3)) / pole(c.f4, c.q4);
        let step = c.step.map_or(one, |s| {
            pole(s.f5, s.q5) / pole(s.f6, s.q6) * (s.f5 / s.f6).powi(2)
        });
        band * transition * step
    }

    /// Weighting factor at a frequency, Hz.
    pub fn factor(self, f_hz: f64) -> f64 {
        self.response(f_hz).norm()
    }

    /// The record weighted.
    pub fn apply(self, x: &[f64], dt_s: f64) -> Vec<f64> {
        self.apply_to(&Padded::new(x, dt_s, PAD_S))
    }

    /// The same when the record is to be weighted more than once: continued over [`PAD_S`].
    pub fn apply_to(self, record: &Padded) -> Vec<f64> {
        let (total, dt_s) = (record.total(), record.dt_s());
        let key = (self, total, dt_s.to_bits());
        let response = RESPONSES.with(|known| {
            let mut known = known.borrow_mut();
            if known.len() > MOST_KNOWN {
                known.clear();
            }
            let cut = CUT_FRAC / dt_s;
            let formed = || {
                spectral::responses(total, dt_s, |f| {
                    if f > cut {
                        Complex64::ZERO
                    } else {
                        self.response(f)
                    }
                })
            };
            Rc::clone(known.entry(key).or_insert_with(|| Rc::new(formed())))
        });
        record.filtered_by(&response)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn published_factors() {
        // references/E iso.W*.n*: third-octave number, factor x 1000, phase deg
        const TOL_PRINTED: f64 = 1e-6;
        for (w, rows) in [
            (
                Weighting::Wk,
                vec![
                    (-7, 120.68861, 137.66526),
                    (-5, 264.39583, 109.94943),
                    (-3, 418.80607, 74.539286),
                    (0, 482.47335, 40.060721),
                    (3, 530.75303, 36.453384),
                    (5, 807.10224, 32.733897),
                    (6, 964.78389, 20.346306),
                    (7, 1039.2195, 6.3088579),
                    (8, 1054.3587, -6.8408619),
                    (9, 1037.3527, -19.729733),
                    (10, 988.40563, -33.303011),
                    (12, 774.28219, -61.840475),
                    (15, 403.11454, -98.350412),
                    (19, 133.8742, -155.20371),
                ],
            ),
            (
                Weighting::Wd,
                vec![
                    (-5, 532.96761, 102.83551),
                    (-3, 854.03343, 62.8351),
                    (-1, 991.3608, 27.857653),
                    (0, 1011.0168, 13.092687),
                    (2, 970.74391, -15.54591),
                    (3, 891.28935, -30.057273),
                    (5, 639.77202, -55.436733),
                    (8, 322.61954, -78.343036),
                    (10, 201.70562, -87.898338),
                ],
            ),
            (
                Weighting::Wf,
                vec![
                    (-13, 157.46872, 134.80905),
                    (-11, 453.71122, 99.525986),
                    (-10, 695.09087, 68.361513),
                    (-9, 900.01303, 32.062099),
                    (-8, 1004.0984, -5.5959828),
                    (-7, 992.79269, -44.607075),
                    (-6, 850.14678, -85.429337),
                    (-5, 614.90713, -125.48026),
                    (-4, 388.37132, -162.11814),
                    (-3, 222.50462, 164.35052),
                ],
            ),
        ] {
            for (n, x1000, phase) in rows {
                let h = w.response(10f64.powf(f64::from(n) / 10.0));
                assert!(
                    (h.norm() * 1000.0 / x1000 - 1.0).abs() < TOL_PRINTED,
                    "{w:?} {n}"
                );
                assert!((h.arg().to_degrees() - phase).abs() < 1e-4, "{w:?} {n}");
            }
        }
        // iso8041.ref at 100 rad/s
        for (w, want) in [
            (Weighting::Wk, 0.77183638),
            (Weighting::Wd, 0.12608355),
            (Weighting::We, 0.062872585),
            (Weighting::Wc, 0.51446773),
        ] {
            // 15.915 Hz, as printed
            assert!((w.factor(15.915) / want - 1.0).abs() < 5e-4, "{w:?}");
        }
    }

    #[test]
    fn nominal_table_of_the_standard() {
        // references/E iso.pub: published one-third-octave factors, whole units of 0.001
        for (w, f, x1000) in [
            (Weighting::Wk, 1.0, 482.0),
            (Weighting::Wk, 5.0, 1039.0),
            (Weighting::Wk, 6.3, 1054.0),
            (Weighting::Wk, 10.0, 988.0),
            (Weighting::Wf, 0.1, 695.0),
            (Weighting::Wf, 0.16, 1006.0),
            (Weighting::Wf, 0.2, 992.0),
            (Weighting::Wf, 0.25, 854.0),
            (Weighting::Wd, 0.5, 853.0),
            (Weighting::Wd, 1.0, 1011.0),
            (Weighting::Wd, 2.0, 890.0),
        ] {
            let got: f64 = w.factor(f) * 1000.0;
            assert!((got - x1000).abs() <= 1.0, "{w:?} {f} {got}"); // rounded to whole units
        }
    }

    #[test]
    fn records_are_weighted_within_tolerance() {
        // ISO 8041 allows 1 dB inside the band; the issue asks for it from 0.02 Hz to 0.4 of the
        // sample rate. Ours: 0.5 % of the factor, or 1e-3 of full scale where almost nothing passes.
        let (dt, n) = (0.1, 18_000);
        for w in [
            Weighting::Wk,
            Weighting::Wd,
            Weighting::Wf,
            Weighting::Wc,
            Weighting::We,
        ] {
            for f in [0.02, 0.05, 0.1, 0.17, 0.3, 0.63, 1.0, 2.0, 3.15, 3.99] {
                let x: Vec<f64> = (0..n)
                    .map(|i| (TAU * f * dt * f64::from(i) + 0.7).sin())
                    .collect();
                let y = w.apply(&x, dt);
                let rms = crate::math::stats::rms_about_zero(&y) * 2f64.sqrt();
                let want = w.factor(f);
                assert!(
                    (rms - want).abs() < 5e-3 * want + 1e-3,
                    "{w:?} {f}: {rms} {want}"
                );
            }
            let x: Vec<f64> = (0..n)
                .map(|i| (TAU * 4.5 * dt * f64::from(i)).sin())
                .collect();
            let left = crate::math::stats::rms(&w.apply(&x, dt));
            assert!(left < 2e-3, "cut above 4 Hz: {w:?} {left}");
        }
    }

    #[test]
    fn transients_stay_short() {
        // the ends of a sine are weighted like its middle
        let (dt, f) = (0.1, 0.15);
        let x: Vec<f64> = (0..6000)
            .map(|i| (TAU * f * dt * f64::from(i)).sin())
            .collect();
        let y = Weighting::Wf.apply(&x, dt);
        let want = Weighting::Wf.factor(f) / 2f64.sqrt();
        let head = crate::math::stats::rms_about_zero(&y[..200]);
        assert!((head / want - 1.0).abs() < 0.05, "{head} {want}"); // first three periods
    }
}
