//! Comparison with the baseline (fins fixed at their trim angle).
//!
//! # Equation
//! ```text
//! change % = 100 (value/baseline - 1), only when both runs completed and stayed in validity
//! with common seeds: t interval of ln(value/baseline) over the seeds
//! ```
//!
//! # Symbols
//! value, baseline: the same quantity of the two laws.
//!
//! # Valid when
//! Otherwise the absolute values stand alone and the reason is given.
//!
//! # Source
//! Common random numbers: Law & Kelton, Simulation Modeling and Analysis, ch. 11.
//!
//! # Checked by
//! `no_percentage_outside_validity`, `paired_seeds_narrow_the_change`.

use serde::Serialize;

use super::pool::{CaseNumbers, Entry};
use crate::math::stats::{Interval, sample};

/// Why no percentage is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum NoPercentage {
    /// The baseline's run ended before its time.
    BaselineEnded,
    /// This run ended before its time.
    RunEnded,
    /// The baseline left the model's validity.
    BaselineOutsideValidity,
    /// This run left the model's validity.
    RunOutsideValidity,
    /// The baseline is zero.
    BaselineZero,
}

impl NoPercentage {
    /// In words for a table.
    pub fn words(self) -> &'static str {
        match self {
            NoPercentage::BaselineEnded => "baseline run ended",
            NoPercentage::RunEnded => "run ended",
            NoPercentage::BaselineOutsideValidity => "baseline outside validity",
            NoPercentage::RunOutsideValidity => "outside validity",
            NoPercentage::BaselineZero => "baseline is zero",
        }
    }
}

/// One number beside the baseline's.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Change {
    /// The number.
    #[serde(flatten)]
    pub entry: Entry,
    /// The baseline's.
    pub baseline: Option<Interval>,
    /// Change, per cent, negative is less motion.
    pub change_percent: Option<f64>,
    /// Why there is no percentage.
    pub no_percentage: Option<NoPercentage>,
}

/// What forbids percentages between two cases.
pub fn obstacle(baseline: &CaseNumbers, case: &CaseNumbers) -> Option<NoPercentage> {
    if !baseline.completed {
        Some(NoPercentage::BaselineEnded)
    } else if !case.completed {
        Some(NoPercentage::RunEnded)
    } else if !baseline.in_validity {
        Some(NoPercentage::BaselineOutsideValidity)
    } else if !case.in_validity {
        Some(NoPercentage::RunOutsideValidity)
    } else {
        None
    }
}

/// Every number of `case` beside the baseline's.
pub fn against(baseline: &CaseNumbers, case: &CaseNumbers) -> Vec<Change> {
    let obstacle = obstacle(baseline, case);
    case.entries
        .iter()
        .map(|e| {
            let base = baseline.get(e.quantity, &e.of);
            let percent = base.and_then(|b| percent(b.value, e.value.value));
            let no_percentage = obstacle.or_else(|| {
                (base.is_some() && percent.is_none()).then_some(NoPercentage::BaselineZero)
            });
            Change {
                entry: e.clone(),
                baseline: base,
                change_percent: if obstacle.is_none() { percent } else { None },
                no_percentage,
            }
        })
        .collect()
}

fn percent(baseline: f64, value: f64) -> Option<f64> {
    let p = 100.0 * (value / baseline - 1.0);
    (baseline > 0.0 && p.is_finite()).then_some(p)
}

/// Change in per cent over seeds that both laws met, with its interval; `None` when the lists
/// differ in length, are empty or hold numbers that are not positive.
pub fn paired_change_percent(baseline: &[f64], value: &[f64], level: f64) -> Option<Interval> {
    if baseline.iter().chain(value).any(|x| *x <= 0.0) {
        return None;
    }
    let logs = |x: &[f64]| x.iter().map(|v| v.ln()).collect::<Vec<f64>>();
    sample::paired_difference(&logs(value), &logs(baseline), level)
        .map(|i| i.map(|d| 100.0 * d.exp_m1()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metrics::pool::Quantity;

    fn case(value: f64, completed: bool, in_validity: bool) -> CaseNumbers {
        CaseNumbers {
            records: 1,
            completed,
            in_validity,
            entries: vec![Entry {
                quantity: Quantity::VerticalRms,
                of: "bridge".into(),
                unit: "m/s2",
                value: Interval::exact(value),
            }],
        }
    }

    #[test]
    fn no_percentage_outside_validity() {
        let base = case(2.0, true, true);
        let c = &against(&base, &case(1.5, true, true))[0];
        assert!((c.change_percent.unwrap() + 25.0).abs() < 1e-12 && c.no_percentage.is_none());
        for (b, v, why) in [
            (
                case(2.0, false, true),
                case(1.0, true, true),
                NoPercentage::BaselineEnded,
            ),
            (
                case(2.0, true, true),
                case(1.0, false, true),
                NoPercentage::RunEnded,
            ),
            (
                case(2.0, true, false),
                case(1.0, true, true),
                NoPercentage::BaselineOutsideValidity,
            ),
            (
                case(2.0, true, true),
                case(1.0, true, false),
                NoPercentage::RunOutsideValidity,
            ),
            (
                case(0.0, true, true),
                case(1.0, true, true),
                NoPercentage::BaselineZero,
            ),
        ] {
            let c = &against(&b, &v)[0];
            assert!(c.change_percent.is_none() && c.no_percentage == Some(why));
            assert!(
                (c.entry.value.value - 1.0).abs() < 1e-15,
                "absolute value stays"
            );
        }
    }

    #[test]
    fn paired_seeds_narrow_the_change() {
        let base = [1.0, 2.0, 1.5, 1.2];
        let half: Vec<f64> = base.iter().map(|x| 0.5 * x).collect();
        let i = paired_change_percent(&base, &half, 0.95).unwrap();
        assert!(
            (i.value + 50.0).abs() < 1e-9 && (i.high - i.low) < 1e-6,
            "{i:?}"
        );
        assert!(paired_change_percent(&base, &[0.0; 4], 0.95).is_none());
    }
}
