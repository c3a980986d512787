//! In-range checks and warnings.
//!
//! A closed list of warnings, each with its cause and the next thing to do. The checks of motion run
//! after every step; the others judge a case before it runs or a record after.
//!
//! # Source
//! Component spacing: at most a third of the narrowest half-bandwidth, common practice (a resonance
//! then sees several components). Stability interval of the classical Runge-Kutta method, 2.785
//! on the negative real axis: E. Hairer, G. Wanner (1996), Solving Ordinary Differential
//! Equations II, section IV.2.
//!
//! # Checked by
//! `each_warning_has_its_cause`, `quiet_when_all_is_well`.

use std::f64::consts::TAU;
use std::fmt;

use super::faults::Fault;
use super::outcome::{Excursion, Outcome};
use crate::dynamics::state::StateLayout;
use crate::units::to_deg;

/// Share of time at the limits above which a surface is reported.
pub const SATURATION_FRAC: f64 = 0.2;
/// Fastest pole times step above which the step is reported: beyond 1 a fourth-order step loses
/// more than 1 % of the motion's phase, and 2.785 is the end of stability.
pub const POLE_STEP: f64 = 1.0;
/// Yaw up to which wave forces, linear in the heading about the nominal one, are trusted, rad: at
/// 20 deg the neglected second order is some 6 % of the force.
pub const OFF_HEADING_RAD: f64 = 20.0 * std::f64::consts::PI / 180.0;
/// Periods of encounter that a record should hold, for its RMS to scatter by some 5 %.
pub const LEAST_PERIODS: f64 = 100.0;

/// The range in which the model holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Rise of O at which the struts' lower ends emerge, m, positive.
    pub heave_up_m: f64,
    /// Sinkage of O at which the cross-structure is deeply under, m, positive.
    pub heave_down_m: f64,
    /// Roll either way, rad.
    pub roll_rad: f64,
    /// Pitch either way, rad.
    pub pitch_rad: f64,
}

/// Whether all numbers are finite, told without a way out in the middle, so that several are looked at together: one
/// added to an exponent of all ones carries over into the sign.
fn all_finite(x: &[f64]) -> bool {
    const LEAST: u64 = 1 << (f64::MANTISSA_DIGITS - 1);
    let exponent = f64::INFINITY.to_bits();
    let carried = x
        .iter()
        .fold(0, |all, v| all | ((v.to_bits() & exponent) + LEAST));
    carried >> 63 == 0
}

impl Limits {
    /// 45 deg in roll and pitch, and the given strut range.
    pub fn new(heave_up_m: f64, heave_down_m: f64) -> Self {
        Limits {
            heave_up_m,
            heave_down_m,
            roll_rad: std::f64::consts::FRAC_PI_4,
            pitch_rad: std::f64::consts::FRAC_PI_4,
        }
    }

    /// None while the state is inside; else what left, its value and limit.
    pub fn excursion(&self, x: &[f64]) -> Option<(Excursion, f64, f64)> {
        let z = x[StateLayout::POSITION.start + 2];
        let (phi, theta) = (x[StateLayout::EULER.start], x[StateLayout::EULER.start + 1]);
        if -z > self.heave_up_m {
            Some((Excursion::HeaveUp, -z, self.heave_up_m))
        } else if z > self.heave_down_m {
            Some((Excursion::HeaveDown, z, self.heave_down_m))
        } else if phi.abs() > self.roll_rad {
            Some((Excursion::Roll, phi, self.roll_rad))
        } else if theta.abs() > self.pitch_rad {
            Some((Excursion::Pitch, theta, self.pitch_rad))
        } else {
            None
        }
    }

    /// The outcome that ends the run at `t_s`, if `x` asks for one. `before` is the last state.
    pub(crate) fn verdict(
        &self,
        t_s: f64,
        x: &[f64],
        before: &[f64],
        layout: &StateLayout,
    ) -> Option<Outcome> {
        if !all_finite(x)
            && let Some(i) = x.iter().position(|v| !v.is_finite())
        {
            return Some(Outcome::Diverged {
                t_s,
                what: layout.names().swap_remove(i),
                state: before.to_vec(),
            });
        }
        let (what, value, limit) = self.excursion(x)?;
        Some(Outcome::OutOfRange {
            t_s,
            what,
            value,
            limit,
            state: x.to_vec(),
        })
    }
}

/// Something that may spoil the result. The text says cause and remedy.
#[derive(Clone, Debug, PartialEq)]
pub enum Warning {
    /// Wave components lie too far apart for a narrow response.
    ComponentsTooCoarse {
        /// Natural frequency of the response, rad/s.
        omega_rad_s: f64,
        /// Widest gap of the encounter frequencies around it, rad/s.
        spacing_rad_s: f64,
        /// A third of its half-bandwidth, rad/s.
        allowed_rad_s: f64,
    },
    /// The wave record repeats itself within the run.
    Repeats {
        /// After this time, s.
        period_s: f64,
        /// Duration of the run, s.
        duration_s: f64,
    },
    /// The step is long for the fastest pole.
    StepTooLong {
        /// Step, s.
        step_s: f64,
        /// Modulus of the fastest pole, rad/s.
        fastest_rad_s: f64,
    },
    /// The record holds few periods of encounter.
    RecordShort {
        /// Judged time, s.
        judged_s: f64,
        /// Mean period of encounter, s.
        period_s: f64,
    },
    /// A surface spent much of its time at its limits.
    Saturated {
        /// Its name.
        surface: String,
        /// Share of time, 0 to 1.
        share: f64,
    },
    /// Orders turned the craft far off the heading for which wave forces were tabulated.
    OffHeading {
        /// Greatest yaw in waves, rad.
        yaw_rad: f64,
    },
    /// A delay was rounded to whole steps.
    DelayRounded {
        /// Surface.
        surface: String,
        /// Asked, s.
        asked_s: f64,
        /// Taken, s.
        taken_s: f64,
    },
    /// A case that asks for predictor and corrector went by Runge-Kutta.
    OtherIntegrator {
        /// From when on, s.
        from_s: f64,
        /// Why.
        cause: &'static str,
    },
    /// A fault starts after the end of the run.
    FaultTooLate {
        /// It, in words.
        fault: String,
        /// Its start, s.
        at_s: f64,
        /// End of the run, s.
        end_s: f64,
    },
}

/// Faults that never act because the run ends before.
pub(crate) fn late_faults(faults: &[Fault], end_s: f64) -> Vec<Warning> {
    let late = faults.iter().filter(|f| f.from_s > end_s);
    late.map(|f| Warning::FaultTooLate {
        fault: f.words.clone(),
        at_s: f.from_s,
        end_s,
    })
    .collect()
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Warning::ComponentsTooCoarse {
                omega_rad_s,
                spacing_rad_s,
                allowed_rad_s,
            } => write!(
                f,
                "wave components lie up to {spacing_rad_s:.4} rad/s apart in encounter near the response at {omega_rad_s:.3} rad/s, a third of its half-bandwidth is {allowed_rad_s:.4} rad/s: raise `components` in the sea file"
            ),
            Warning::Repeats {
                period_s,
                duration_s,
            } => write!(
                f,
                "the waves repeat after {period_s:.0} s within a run of {duration_s:.0} s: use unevenly spaced frequencies"
            ),
            Warning::StepTooLong {
                step_s,
                fastest_rad_s,
            } => write!(
                f,
                "step {step_s} s is long for the fastest pole of {fastest_rad_s:.1} rad/s (product {:.2}, at most {POLE_STEP} advised): use {:.3} s or less",
                step_s * fastest_rad_s,
                POLE_STEP / fastest_rad_s
            ),
            Warning::RecordShort { judged_s, period_s } => write!(
                f,
                "{judged_s:.0} s hold {:.0} periods of encounter of {period_s:.1} s, {LEAST_PERIODS:.0} advised: lengthen the record or add seeds",
                judged_s / period_s
            ),
            Warning::Saturated { surface, share } => write!(
                f,
                "`{surface}` was at its angle or rate limit for {:.0} % of the time: lower the gains or enlarge the surface",
                100.0 * share
            ),
            Warning::OffHeading { yaw_rad } => write!(
                f,
                "the craft turned {:.0} deg off its nominal heading in waves, wave forces follow the heading within {:.0} deg: make smaller turns, or turn in calm water",
                to_deg(*yaw_rad),
                to_deg(OFF_HEADING_RAD)
            ),
            Warning::DelayRounded {
                surface,
                asked_s,
                taken_s,
            } => write!(
                f,
                "delay of `{surface}` taken as {taken_s} s (asked {asked_s} s), whole steps: choose a step that divides it"
            ),
            Warning::OtherIntegrator { from_s, cause } => write!(
                f,
                "from t = {from_s:.1} s on the run went by fixed-step Runge-Kutta, {cause}: shorten `step_s`, or ask for \"integrator\": \"fixed_step\""
            ),
            Warning::FaultTooLate { fault, at_s, end_s } => write!(
                f,
                "the fault `{fault}` starts at {at_s:.1} s, the run ends at {end_s:.1} s: times count from the start of the run, run-in included"
            ),
        }
    }
}

/// A narrow response of the craft.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Narrowest {
    /// Natural frequency, rad/s.
    pub omega_rad_s: f64,
    /// Half-bandwidth (damping ratio times natural frequency), rad/s.
    pub half_bandwidth_rad_s: f64,
}

/// Are the encounter frequencies dense enough for a response? Looked at within two half-bandwidths.
pub fn component_spacing(omega_e_rad_s: &[f64], response: &Narrowest) -> Option<Warning> {
    let mut w: Vec<f64> = omega_e_rad_s.iter().map(|v| v.abs()).collect();
    w.sort_by(f64::total_cmp);
    let (low, high) = (
        response.omega_rad_s - 2.0 * response.half_bandwidth_rad_s,
        response.omega_rad_s + 2.0 * response.half_bandwidth_rad_s,
    );
    // gaps that touch the band; a band outside the sea's range is not excited
    let spacing = w
        .windows(2)
        .filter(|p| p[1] > low && p[0] < high)
        .map(|p| p[1] - p[0])
        .fold(0.0, f64::max);
    let allowed = response.half_bandwidth_rad_s / 3.0;
    (spacing > allowed).then_some(Warning::ComponentsTooCoarse {
        omega_rad_s: response.omega_rad_s,
        spacing_rad_s: spacing,
        allowed_rad_s: allowed,
    })
}

/// Do the waves repeat within the run? They do when all differences of the encounter frequencies
/// are multiples of one.
pub fn repetition(omega_e_rad_s: &[f64], duration_s: f64) -> Option<Warning> {
    let mut w = omega_e_rad_s.to_vec();
    w.sort_by(f64::total_cmp);
    let step = w
        .windows(2)
        .map(|p| p[1] - p[0])
        .filter(|d| *d > 1e-9) // equal frequencies of several directions
        .fold(f64::INFINITY, f64::min);
    if !step.is_finite() {
        return None; // regular wave, or calm
    }
    let period_s = TAU / step;
    // off the grid by a fiftieth of a turn within the run: no repetition
    let on_grid = w.iter().all(|v| {
        let turns = (v - w[0]) / step;
        (turns - turns.round()).abs() < 0.02
    });
    (on_grid && w.len() > 2 && period_s < duration_s).then_some(Warning::Repeats {
        period_s,
        duration_s,
    })
}

/// Is the step short enough for the fastest pole (modulus, rad/s)?
pub fn step_length(step_s: f64, fastest_rad_s: f64) -> Option<Warning> {
    (step_s * fastest_rad_s > POLE_STEP).then_some(Warning::StepTooLong {
        step_s,
        fastest_rad_s,
    })
}

/// Does the judged record hold enough periods of encounter?
pub fn record_length(judged_s: f64, period_s: f64) -> Option<Warning> {
    (judged_s < LEAST_PERIODS * period_s).then_some(Warning::RecordShort { judged_s, period_s })
}

/// Surfaces that were at their limits for more than [`SATURATION_FRAC`] of the time.
pub fn saturation(names: &[String], share: &[f64]) -> Vec<Warning> {
    let over = names
        .iter()
        .zip(share)
        .filter(|(_, s)| **s > SATURATION_FRAC);
    over.map(|(n, s)| Warning::Saturated {
        surface: n.clone(),
        share: *s,
    })
    .collect()
}

/// One line for the limits in force, for reports.
impl fmt::Display for Limits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "heave {:.2} m up, {:.2} m down, roll {:.0} deg, pitch {:.0} deg",
            self.heave_up_m,
            self.heave_down_m,
            to_deg(self.roll_rad),
            to_deg(self.pitch_rad)
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_number_that_is_none_is_found() {
        let mut x = [0.0, -1e300, f64::MAX, f64::MIN_POSITIVE, -0.0, 3.0, 1e-310];
        assert!(all_finite(&x) && all_finite(&[]));
        for bad in [f64::NAN, -f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            for i in 0..x.len() {
                let was = std::mem::replace(&mut x[i], bad);
                assert!(!all_finite(&x), "{bad} at {i}");
                x[i] = was;
            }
        }
    }

    #[test]
    fn each_warning_has_its_cause() {
        let even: Vec<f64> = (0..50).map(|i| 0.5 + 0.02 * f64::from(i)).collect();
        let narrow = Narrowest {
            omega_rad_s: 0.8,
            half_bandwidth_rad_s: 0.01,
        };
        let found = [
            component_spacing(&even, &narrow),
            repetition(&even, 1800.0),
            step_length(0.1, 30.0),
            record_length(300.0, 8.0),
        ];
        for w in &found {
            let text = w.as_ref().unwrap().to_string();
            assert!(text.contains(": "), "cause and remedy: {text}");
        }
        assert!(
            matches!(found[1], Some(Warning::Repeats { period_s, .. }) if (period_s - TAU / 0.02).abs() < 1e-6)
        );
        let names = ["a".to_owned(), "b".to_owned()];
        assert_eq!(saturation(&names, &[0.1, 0.3]).len(), 1);
    }

    #[test]
    fn quiet_when_all_is_well() {
        // irrational spacing, dense
        let uneven: Vec<f64> = (0..400)
            .map(|i| 0.3 + 0.005 * f64::from(i) + 0.002 * (f64::from(i * i)).sin())
            .collect();
        let wide = Narrowest {
            omega_rad_s: 0.8,
            half_bandwidth_rad_s: 0.05,
        };
        assert_eq!(component_spacing(&uneven, &wide), None);
        assert_eq!(repetition(&uneven, 1800.0), None);
        assert_eq!(repetition(&[0.8], 1800.0), None);
        assert_eq!(step_length(0.05, 12.0), None);
        assert_eq!(record_length(1800.0, 8.0), None);
        // a response outside the sea's range
        let outside = Narrowest {
            omega_rad_s: 9.0,
            half_bandwidth_rad_s: 1e-4,
        };
        assert_eq!(component_spacing(&uneven, &outside), None);
    }

    #[test]
    fn limits_name_what_left() {
        let l = Limits::new(1.5, 2.0);
        let mut x = vec![0.0; 12];
        assert!(l.excursion(&x).is_none());
        x[2] = -1.6;
        assert!(matches!(l.excursion(&x), Some((Excursion::HeaveUp, ..))));
        x[2] = 2.1;
        assert!(matches!(l.excursion(&x), Some((Excursion::HeaveDown, ..))));
        x[2] = 0.0;
        x[4] = -0.8;
        assert!(matches!(l.excursion(&x), Some((Excursion::Pitch, ..))));
        x[5] = f64::NAN;
        let layout = StateLayout::new(0, 0, 0, 0);
        let v = l.verdict(1.0, &x, &[0.5; 12], &layout);
        assert!(matches!(v, Some(Outcome::Diverged { what, .. }) if what == "psi"));
        assert!(l.to_string().contains("45 deg"));
    }
}
