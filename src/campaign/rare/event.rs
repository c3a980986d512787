//! Events and the response of a run: how far it went towards one.
//!
//! # Equation
//! ```text
//! cross-structure contact   max of (depth of the underside below the water)              m
//! roll, pitch, heave        max |angle or height less that of trim|                      deg, m
//! vertical acceleration     max |earth-fixed acceleration|                               m/s2
//! loss of control           max of (rise, fall, |roll|, |pitch|, each over its limit)    1
//! ```
//! A run whose motion left the range in which the model holds has an infinite response.
//!
//! # Symbols
//! Maxima are over the samples of the judged record.
//!
//! # Valid when
//! Samples are close beside the shortest period that matters. What a craft does behind the end of the model's
//! range is not known; counting it as the event errs to the safe side.
//!
//! # Source
//! Limits of the range: [`crate::sim::bake`].
//!
//! # Checked by
//! `responses_by_hand`

use crate::error::{Error, Result};
use crate::linear::trim::Trim;
use crate::sim::checks::Limits;
use crate::sim::outcome::Outcome;
use crate::sim::record::Record;
use crate::sim::run::Run;
use crate::spec::number;
use crate::spec::rare::RareEventSpec;
use crate::units::to_deg;

/// An event on a craft at trim.
#[derive(Clone, Debug)]
pub struct Event {
    spec: RareEventSpec,
    trim_heave_up_m: f64,
    trim_pitch_rad: f64,
    limits: Limits,
}

impl Event {
    /// The event of a file for a craft that floats at `trim` and may move within `limits`.
    pub fn new(spec: &RareEventSpec, trim: &Trim, limits: Limits) -> Self {
        Event {
            spec: spec.clone(),
            trim_heave_up_m: -trim.z_m,
            trim_pitch_rad: trim.theta_rad,
            limits,
        }
    }

    /// In words: `roll beyond 20 deg`.
    pub fn words(&self) -> String {
        let at = number(self.threshold());
        match &self.spec {
            RareEventSpec::CrossStructureContact { deeper_than_m } if *deeper_than_m <= 0.0 => {
                "cross-structure contact".to_owned()
            }
            RareEventSpec::CrossStructureContact { .. } => {
                format!("cross-structure contact deeper than {at} m")
            }
            RareEventSpec::LossOfControl {} => "loss of control".to_owned(),
            _ => format!("{} beyond {at} {}", self.quantity(), self.unit()),
        }
    }

    /// What the response is.
    pub fn quantity(&self) -> String {
        match &self.spec {
            RareEventSpec::CrossStructureContact { .. } => {
                "depth of the underside below the water".to_owned()
            }
            RareEventSpec::Roll { .. } => "roll".to_owned(),
            RareEventSpec::Pitch { .. } => "pitch off trim".to_owned(),
            RareEventSpec::Heave { .. } => "heave off trim".to_owned(),
            RareEventSpec::VerticalAcceleration { point, .. } => {
                format!("vertical acceleration at {point}")
            }
            RareEventSpec::LossOfControl {} => "share of the model's range".to_owned(),
        }
    }

    /// Its unit; empty for a share.
    pub fn unit(&self) -> &'static str {
        match &self.spec {
            RareEventSpec::CrossStructureContact { .. } | RareEventSpec::Heave { .. } => "m",
            RareEventSpec::Roll { .. } | RareEventSpec::Pitch { .. } => "deg",
            RareEventSpec::VerticalAcceleration { .. } => "m/s2",
            RareEventSpec::LossOfControl {} => "",
        }
    }

    /// Response at which it happens, in its unit.
    pub fn threshold(&self) -> f64 {
        match &self.spec {
            RareEventSpec::CrossStructureContact { deeper_than_m } => *deeper_than_m,
            RareEventSpec::Roll { beyond_deg } | RareEventSpec::Pitch { beyond_deg } => *beyond_deg,
            RareEventSpec::Heave { beyond_m } => *beyond_m,
            RareEventSpec::VerticalAcceleration { beyond_m_s2, .. } => *beyond_m_s2,
            RareEventSpec::LossOfControl {} => 1.0,
        }
    }

    /// How far a run went, in the event's unit.
    ///
    /// # Errors
    /// A run that ended because of its law or was not judged: it says nothing of the craft.
    pub fn response(&self, run: &Run) -> Result<f64> {
        match &run.outcome {
            Outcome::Completed => {}
            Outcome::Diverged { .. } | Outcome::OutOfRange { .. } => return Ok(f64::INFINITY),
            ended => {
                return Err(Error::with_hint(
                    format!("a run ended by itself: {ended}"),
                    "a probability needs runs that only the craft can end; mend the law",
                ));
            }
        }
        let found = self.of_record(&run.record);
        found.filter(|r| r.is_finite()).ok_or_else(|| {
            let told = format!("a run has no {}", self.quantity());
            Error::with_hint(
                told,
                "the record is too short, or the craft has no such part",
            )
        })
    }

    fn of_record(&self, r: &Record) -> Option<f64> {
        let most = |name: &str, f: &dyn Fn(f64) -> f64| {
            let data = r.judged_of(name)?;
            data.iter().map(|v| f(*v)).max_by(f64::total_cmp)
        };
        match &self.spec {
            RareEventSpec::CrossStructureContact { .. } => most("underside.clear", &|c| -c),
            RareEventSpec::Roll { .. } => most("roll", &|v| to_deg(v.abs())),
            RareEventSpec::Pitch { .. } => {
                most("pitch", &|v| to_deg((v - self.trim_pitch_rad).abs()))
            }
            RareEventSpec::Heave { .. } => most("heave_up", &|v| (v - self.trim_heave_up_m).abs()),
            RareEventSpec::VerticalAcceleration { point, .. } => {
                most(&format!("{point}.acc_up"), &|v| v.abs())
            }
            RareEventSpec::LossOfControl {} => {
                let l = &self.limits;
                let heave = |z: f64| (z / l.heave_up_m).max(-z / l.heave_down_m);
                let shares = [
                    most("heave_up", &heave)?,
                    most("roll", &|v| v.abs() / l.roll_rad)?,
                    most("pitch", &|v| v.abs() / l.pitch_rad)?,
                ];
                shares.into_iter().max_by(f64::total_cmp)
            }
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    fn run(outcome: Outcome) -> Run {
        let mut record = Record::new(0.1, 1);
        // the first sample is run-in
        for (name, data) in [
            ("heave_up", [9.0, 0.3, -0.8]),
            ("roll", [9.0, 0.1, -0.2]),
            ("pitch", [9.0, 0.1, 0.0]),
            ("bow.acc_up", [99.0, -2.0, 1.0]),
            ("underside.clear", [-9.0, 0.4, -0.1]),
        ] {
            let c = record.add(name, "", name, 3);
            record.columns[c].data.extend(data);
        }
        Run {
            record,
            outcome,
            warnings: vec![],
            end_state: vec![],
            evaluations: 0,
        }
    }

    pub(in super::super) fn event(spec: RareEventSpec) -> Event {
        Event {
            spec,
            trim_heave_up_m: 0.1,
            trim_pitch_rad: 0.02,
            limits: Limits::new(1.0, 2.0),
        }
    }

    #[test]
    fn responses_by_hand() {
        let point = "bow".to_owned();
        let quarter = std::f64::consts::FRAC_PI_4;
        for (spec, want) in [
            (
                RareEventSpec::CrossStructureContact { deeper_than_m: 0.0 },
                0.1,
            ),
            (RareEventSpec::Roll { beyond_deg: 1.0 }, to_deg(0.2)),
            (RareEventSpec::Pitch { beyond_deg: 1.0 }, to_deg(0.08)),
            (RareEventSpec::Heave { beyond_m: 1.0 }, 0.9),
            (
                RareEventSpec::VerticalAcceleration {
                    point,
                    beyond_m_s2: 1.0,
                },
                2.0,
            ),
            (
                RareEventSpec::LossOfControl {},
                f64::max(0.4, 0.2 / quarter),
            ),
        ] {
            let e = event(spec);
            let got = e.response(&run(Outcome::Completed)).unwrap();
            assert!((got - want).abs() < 1e-12, "{}: {got} {want}", e.words());
            let gone = Outcome::Diverged {
                t_s: 1.0,
                what: "z".into(),
                state: vec![],
            };
            assert!(e.response(&run(gone)).unwrap().is_infinite());
            assert!(e.response(&run(Outcome::Stopped { t_s: 1.0 })).is_err());
        }
        let e = event(RareEventSpec::Roll { beyond_deg: 12.5 });
        assert_eq!(e.words(), "roll beyond 12.5 deg");
    }
}
