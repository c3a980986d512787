//! Criteria sets laid against every cell of a comparison.

use serde::Serialize;

use super::compare::Cell;
use super::judge::EXPOSURE_S;
use crate::metrics::criteria::{Judgement, judge};
use crate::spec::criteria::CriteriaSpec;

/// One set judged on one law at one speed and heading.
#[derive(Clone, Debug, Serialize)]
pub struct JudgedCell {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Law.
    pub law: String,
    /// The judgement; none when no run of the cell could be judged.
    pub judgement: Option<Judgement>,
}

impl JudgedCell {
    /// True when every limit of the set is met.
    pub fn met(&self) -> bool {
        self.judgement.as_ref().is_some_and(|j| j.met)
    }
}

/// Judges every cell by every set, set by set.
pub fn judge_all(cells: &[Cell], sets: &[CriteriaSpec]) -> Vec<JudgedCell> {
    sets.iter()
        .flat_map(|set| {
            cells.iter().map(move |c| JudgedCell {
                speed_kn: c.speed_kn,
                heading_deg: c.heading_deg,
                law: c.law.clone(),
                judgement: c.numbers.as_ref().map(|n| judge(set, n, EXPOSURE_S)),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::stats::Interval;
    use crate::metrics::pool::{CaseNumbers, Entry, Quantity};

    fn cell(law: &str, roll_deg: f64, in_validity: bool) -> Cell {
        Cell {
            speed_kn: 16.0,
            heading_deg: 0.0,
            law: law.to_owned(),
            completed: true,
            endings: Vec::new(),
            numbers: Some(CaseNumbers {
                records: 1,
                completed: true,
                in_validity,
                entries: vec![Entry {
                    quantity: Quantity::MotionRms,
                    of: "roll".to_owned(),
                    unit: "deg",
                    value: Interval::exact(roll_deg),
                }],
            }),
            changes: Vec::new(),
        }
    }

    #[test]
    fn a_cell_meets_a_set_only_within_limit_and_validity() {
        let set: CriteriaSpec = serde_json::from_str(
            r#"{"format": "ridewright.criteria/1", "name": "roll only", "source": "invented",
                "criteria": [{"limit": {"roll_rms_deg": 1.5}}]}"#,
        )
        .unwrap();
        let cells = [
            cell("a", 1.0, true),
            cell("b", 2.0, true),
            cell("c", 1.0, false),
        ];
        let judged = judge_all(&cells, &[set]);
        let met: Vec<bool> = judged.iter().map(JudgedCell::met).collect();
        assert_eq!(met, [true, false, false]);
    }
}
