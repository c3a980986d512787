//! Criteria and whether they are met.
//!
//! # Equation
//! ```text
//! met when value <= limit;  margin = 1 - value/limit;  decided when the interval does not hold the limit
//! ```
//!
//! # Symbols
//! value the estimate of a quantity, limit its largest allowed value.
//!
//! # Valid when
//! Criteria sets are conventions: they compare designs, they are no clearance to put people to sea.
//!
//! # Source
//! The criteria file names it, set by set.
//!
//! # Checked by
//! `limits_are_judged_with_margin`, `a_limit_without_its_quantity_is_told`,
//! `shipped_sets_load_and_name_their_source`.

use serde::Serialize;

use super::pool::{CaseNumbers, Entry, Quantity};
use super::sickness;
use crate::error::{Problem, Result};
use crate::math::stats::Interval;
use crate::spec::criteria::{CriteriaSpec, CriterionSpec, LimitSpec};
use crate::units::G_M_S2;

/// One criterion judged at one place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// Place of its criterion in the set.
    #[serde(skip)]
    pub criterion: usize,
    /// What is limited, in words, with the unit.
    pub what: String,
    /// Point, motion or thing.
    pub of: String,
    /// Value in the unit of the limit.
    pub value: Interval,
    /// Largest allowed value.
    pub limit: f64,
    /// 1 - value/limit: negative when not met.
    pub margin_frac: f64,
    /// The estimate meets the limit.
    pub met: bool,
    /// The interval lies wholly on one side of the limit.
    pub decided: bool,
}

/// Judgement of a case by a set.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Judgement {
    /// Name of the set.
    pub set: String,
    /// Source of the set.
    pub source: String,
    /// Whether every limit is met, the run completed and stayed in validity; false when a limit
    /// could not be judged.
    pub met: bool,
    /// One verdict per limit and place.
    pub verdicts: Vec<Verdict>,
    /// Limits for which the record holds no number, in words.
    pub not_judged: Vec<String>,
}

/// Quantity, name and factor from the record's unit to the limit's.
struct Rule {
    what: &'static str,
    quantity: Quantity,
    /// The motion it is about.
    motion: Option<&'static str>,
    factor: f64,
    limit: f64,
}

fn rule(limit: &LimitSpec) -> Rule {
    let r = |what, quantity, motion, factor, limit| Rule {
        what,
        quantity,
        motion,
        factor,
        limit,
    };
    match *limit {
        LimitSpec::VerticalRmsG(v) => r(
            "vertical acceleration RMS, g",
            Quantity::VerticalRms,
            None,
            1.0 / G_M_S2,
            v,
        ),
        LimitSpec::LateralRmsG(v) => r(
            "lateral acceleration RMS, g",
            Quantity::LateralRms,
            None,
            1.0 / G_M_S2,
            v,
        ),
        LimitSpec::VerticalVelocityRmsMS(v) => r(
            "vertical velocity RMS, m/s",
            Quantity::VerticalVelocityRms,
            None,
            1.0,
            v,
        ),
        LimitSpec::RollRmsDeg(v) => r("roll RMS, deg", Quantity::MotionRms, Some("roll"), 1.0, v),
        LimitSpec::PitchRmsDeg(v) => {
            r("pitch RMS, deg", Quantity::MotionRms, Some("pitch"), 1.0, v)
        }
        LimitSpec::WeightedVerticalRmsMS2(v) => r(
            "weighted vertical acceleration, m/s2",
            Quantity::WeightedVertical,
            None,
            1.0,
            v,
        ),
        LimitSpec::MotionSickness { msi_percent, .. } => r(
            "motion sickness incidence, %",
            Quantity::VerticalRms,
            None,
            1.0,
            msi_percent,
        ),
        LimitSpec::MotionSicknessDose { msdv_m_s1_5, .. } => r(
            "motion sickness dose, m/s1.5",
            Quantity::Msdv,
            None,
            1.0,
            msdv_m_s1_5,
        ),
        LimitSpec::MiiPerMin(v) => r("interruptions, 1/min", Quantity::Mii, None, 1.0, v),
        LimitSpec::EventsPerH(v) => r("events, 1/h", Quantity::EventRate, None, 1.0, v),
    }
}

/// Ranges of a criteria file.
///
/// # Errors
/// Every limit that is not positive and finite, a wrong format, an empty set.
pub fn check(spec: &CriteriaSpec) -> Result<()> {
    let mut bad = Vec::new();
    if spec.format != "ridewright.criteria/1" {
        bad.push(Problem::at(
            "format",
            format!("is `{}`, must be `ridewright.criteria/1`", spec.format),
        ));
    }
    if spec.criteria.is_empty() {
        bad.push(Problem::at(
            "criteria",
            "is empty, must hold at least one limit",
        ));
    }
    for (i, c) in spec.criteria.iter().enumerate() {
        let mut numbers = vec![rule(&c.limit).limit];
        if let LimitSpec::MotionSickness { exposure_h, .. }
        | LimitSpec::MotionSicknessDose { exposure_h, .. } = c.limit
        {
            numbers.push(exposure_h);
        }
        if let Some(x) = numbers.iter().find(|x| !(x.is_finite() && **x > 0.0)) {
            bad.push(Problem::at(
                format!("criteria[{i}].limit"),
                format!("holds {x}, must be above 0"),
            ));
        }
    }
    if bad.is_empty() {
        Ok(())
    } else {
        Err(bad.into())
    }
}

/// Judges a case; `exposure_s` is the exposure that the case's dose was computed for.
pub fn judge(set: &CriteriaSpec, case: &CaseNumbers, exposure_s: f64) -> Judgement {
    let mut verdicts = Vec::new();
    let mut not_judged = Vec::new();
    for (criterion, c) in set.criteria.iter().enumerate() {
        let rule = rule(&c.limit);
        let places: Vec<&Entry> = case
            .entries
            .iter()
            .filter(|e| e.quantity == rule.quantity)
            .filter(|e| {
                rule.motion
                    .or(c.at.as_deref())
                    .is_none_or(|name| e.of == name)
            })
            .collect();
        if places.is_empty() {
            let at =
                c.at.as_deref()
                    .map_or(String::new(), |a| format!(" at {a}"));
            not_judged.push(format!("{}{at}", rule.what));
        }
        for e in places {
            verdicts.push(verdict((criterion, c), &rule, e, case, exposure_s));
        }
    }
    Judgement {
        set: set.name.clone(),
        source: set.source.clone(),
        met: case.completed
            && case.in_validity
            && not_judged.is_empty()
            && verdicts.iter().all(|v| v.met),
        verdicts,
        not_judged,
    }
}

fn verdict(
    (criterion, c): (usize, &CriterionSpec),
    rule: &Rule,
    e: &Entry,
    case: &CaseNumbers,
    exposure_s: f64,
) -> Verdict {
    let value = match c.limit {
        LimitSpec::MotionSickness { exposure_h, .. } => {
            let f_hz = case
                .get(Quantity::MeanFrequency, &e.of)
                .map_or(0.0, |f| f.value);
            e.value
                .map(|a| sickness::msi_1976_percent(a, f_hz, 3600.0 * exposure_h))
        }
        LimitSpec::MotionSicknessDose { exposure_h, .. } => {
            e.value.scale((3600.0 * exposure_h / exposure_s).sqrt())
        }
        _ => e.value.scale(rule.factor),
    };
    Verdict {
        criterion,
        what: match c.limit {
            LimitSpec::MotionSickness { exposure_h, .. }
            | LimitSpec::MotionSicknessDose { exposure_h, .. } => {
                format!("{} in {exposure_h} h", rule.what)
            }
            _ => rule.what.to_owned(),
        },
        of: e.of.clone(),
        value,
        limit: rule.limit,
        margin_frac: 1.0 - value.value / rule.limit,
        met: value.value <= rule.limit,
        decided: value.high <= rule.limit || value.low > rule.limit,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn case() -> CaseNumbers {
        let e = |quantity, of: &str, value: f64| Entry {
            quantity,
            of: of.into(),
            unit: "",
            value: Interval {
                value,
                low: 0.9 * value,
                high: 1.1 * value,
            },
        };
        CaseNumbers {
            records: 1,
            completed: true,
            in_validity: true,
            entries: vec![
                e(Quantity::MotionRms, "roll", 3.8),
                e(Quantity::MotionRms, "heave", 99.0),
                e(Quantity::VerticalRms, "bridge", 0.1 * G_M_S2),
                e(Quantity::VerticalRms, "mess", 0.25 * G_M_S2),
                e(Quantity::MeanFrequency, "bridge", 0.167),
                e(Quantity::Msdv, "bridge", 30.0),
            ],
        }
    }

    fn set(limits: &[(LimitSpec, Option<&str>)]) -> CriteriaSpec {
        CriteriaSpec {
            format: "ridewright.criteria/1".into(),
            name: "test".into(),
            note: String::new(),
            source: "by hand".into(),
            criteria: limits
                .iter()
                .map(|(limit, at)| CriterionSpec {
                    limit: *limit,
                    at: at.map(String::from),
                    source: None,
                })
                .collect(),
        }
    }

    #[test]
    fn limits_are_judged_with_margin() {
        let j = judge(
            &set(&[
                (LimitSpec::RollRmsDeg(4.0), None),
                (LimitSpec::VerticalRmsG(0.2), None),
                (
                    LimitSpec::MotionSickness {
                        msi_percent: 40.0,
                        exposure_h: 2.0,
                    },
                    Some("bridge"),
                ),
                (
                    LimitSpec::MotionSicknessDose {
                        msdv_m_s1_5: 70.0,
                        exposure_h: 8.0,
                    },
                    Some("bridge"),
                ),
            ]),
            &case(),
            7200.0,
        );
        assert_eq!(
            j.verdicts.len(),
            5,
            "the acceleration limit holds at both points"
        );
        let [roll, bridge, mess, msi, dose] = &j.verdicts[..] else {
            panic!("five")
        };
        assert!(roll.met && !roll.decided && (roll.margin_frac - 0.05).abs() < 1e-12);
        assert!(bridge.met && bridge.decided && !mess.met && mess.decided);
        // references/E msi76.a0.1.f0.167.t120
        assert!((msi.value.value - 32.040703).abs() < 1e-5 && msi.met);
        assert!(
            (dose.value.value - 60.0).abs() < 1e-9,
            "twice the dose in four times the time"
        );
        assert!(!j.met);
        let mut ended = case();
        ended.completed = false;
        assert!(!judge(&set(&[(LimitSpec::RollRmsDeg(4.0), None)]), &ended, 7200.0).met);
    }

    #[test]
    fn a_limit_without_its_quantity_is_told() {
        let j = judge(
            &set(&[(LimitSpec::EventsPerH(20.0), Some("propeller"))]),
            &case(),
            7200.0,
        );
        assert!(!j.met);
        assert_eq!(j.not_judged, ["events, 1/h at propeller"]);
        let e = check(&set(&[(LimitSpec::MiiPerMin(-1.0), None)])).unwrap_err();
        assert_eq!(e.problems[0].place.key, "criteria[0].limit");
    }

    #[test]
    fn shipped_sets_load_and_name_their_source() {
        let dir = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/criteria");
        let mut count = 0;
        for f in std::fs::read_dir(dir).unwrap() {
            let text = std::fs::read_to_string(f.unwrap().path()).unwrap();
            let c: CriteriaSpec = serde_json::from_str(&text).unwrap();
            check(&c).unwrap();
            assert!(!c.source.is_empty() && !c.note.is_empty());
            let again: CriteriaSpec =
                serde_json::from_str(&serde_json::to_string(&c).unwrap()).unwrap();
            assert_eq!(c, again);
            count += 1;
        }
        assert!(count >= 4);
    }
}
