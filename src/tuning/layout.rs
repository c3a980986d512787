//! From a tuning file to stages of search: which numbers of the controller file move, at which speeds.
//!
//! ```text
//! stage 0      all free numbers, one value for all speeds, judged over all cases
//! stage 1..n   numbers that may change with speed, one stage a speed, judged over its cases
//! ```
//! A file that has a schedule already is begun with as it is: its stage 0 moves only what does not change with speed,
//! because one value for all speeds would undo the schedule.
//!
//! A case at one speed sees only that speed's row of the schedule, so stages of different speeds
//! cannot disturb each other: the best of all is the best of each. Numbers without a schedule are
//! settled in stage 0.
//!
//! # Checked by
//! `stages_write_where_they_should`, `a_gain_has_a_place_in_every_row`.

use serde_json::Value;

use super::space::{Parameter, Space};
use crate::control::gain_schedule::{GainSchedule, Gains};
use crate::error::{Error, Result};
use crate::spec::controller::{ControllerSpec, LawSpec, PidSpec, ScheduleRow, gain_in_row};
use crate::spec::key_path;
use crate::spec::tuning::{ScaleSpec, TuningSpec};
use crate::units::kn;

/// One stage of the search.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// `all speeds` or `12 kn`.
    pub name: String,
    /// Indices into [`Layout::speeds_kn`] of the speeds that are judged.
    pub speeds: Vec<usize>,
    /// The parameters.
    pub space: Space,
    /// Where each parameter is written.
    pub paths: Vec<Vec<String>>,
}

/// All stages, and the controller file as a document.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Speeds of all cases, kn, ascending.
    pub speeds_kn: Vec<f64>,
    /// The controller to begin with; with rows of a schedule when numbers change with speed.
    pub document: Value,
    /// All free numbers in the file's order.
    pub free: Vec<Parameter>,
    /// All speeds together; without parameters where all that is free is in the file's schedule.
    pub common: Stage,
    /// Each speed by itself; empty when nothing changes with speed.
    pub each: Vec<Stage>,
}

impl Layout {
    /// The stages of a tuning.
    ///
    /// # Errors
    /// A controller that cannot be written as JSON.
    pub fn new(tuning: &TuningSpec, law: &ControllerSpec) -> Result<Self> {
        let mut speeds_kn: Vec<f64> = tuning
            .cases
            .iter()
            .flat_map(|c| c.speeds_kn.clone())
            .collect();
        speeds_kn.sort_by(f64::total_cmp);
        speeds_kn.dedup();
        let mut document = serde_json::to_value(law)
            .map_err(|e| Error::new(format!("the controller cannot be written as JSON: {e}")))?;
        let scheduled = tuning.free.iter().any(|f| f.per_speed);
        let has_schedule = matches!(&law.law, LawSpec::Pid(p) if !p.schedule.is_empty());
        if scheduled {
            add_schedule(&mut document, &speeds_kn)?;
        }
        let all = || tuning.free.iter();
        let parameter = |f: &crate::spec::tuning::FreeSpec| Parameter {
            name: f.key.clone(),
            low: f.low,
            high: f.high,
            log: f.scale == ScaleSpec::Log,
        };
        let together = || all().filter(|f| !(has_schedule && f.per_speed));
        let each_rows = if scheduled { speeds_kn.len() } else { 0 };
        let common = Stage {
            name: "all speeds".to_owned(),
            speeds: (0..speeds_kn.len()).collect(),
            space: Space::new(together().map(parameter).collect()),
            paths: together().map(|f| everywhere(&document, &f.key)).collect(),
        };
        let each = (0..each_rows).map(|k| {
            let free = || all().filter(|f| f.per_speed);
            Stage {
                name: format!("{} kn", crate::spec::number(speeds_kn[k])),
                speeds: vec![k],
                space: Space::new(free().map(parameter).collect()),
                paths: free()
                    .filter_map(|f| Some(vec![in_row(&f.key, k)?]))
                    .collect(),
            }
        });
        Ok(Layout {
            free: all().map(parameter).collect(),
            each: each.collect(),
            speeds_kn,
            document,
            common,
        })
    }
}

impl Stage {
    /// Values of the stage's parameters in a document.
    pub fn values(&self, document: &Value) -> Vec<f64> {
        let first = |paths: &Vec<String>| {
            let found = paths.first().and_then(|p| key_path::number(document, p));
            found.unwrap_or(f64::NAN)
        };
        self.paths.iter().map(first).collect()
    }

    /// The document with values in their places.
    pub fn write(&self, document: &Value, values: &[f64]) -> Value {
        let mut out = document.clone();
        for (paths, value) in self.paths.iter().zip(values) {
            for path in paths {
                key_path::set(&mut out, path, *value);
            }
        }
        out
    }
}

/// Rows with the gains of the file at each speed, in place of rows that are there.
fn add_schedule(document: &mut Value, speeds_kn: &[f64]) -> Result<()> {
    let Some(pid) = document.pointer_mut("/law/pid") else {
        return Ok(());
    };
    let wrong = |e: serde_json::Error| Error::new(format!("the schedule cannot be read back: {e}"));
    let spec: PidSpec = serde_json::from_value(pid.clone()).map_err(wrong)?;
    let known = GainSchedule::new(&spec.schedule)?;
    let row = |speed_kn: &f64| {
        let g = known.at(kn(*speed_kn), 0.0).unwrap_or(Gains {
            heave: spec.heave,
            pitch: spec.pitch,
            roll: spec.roll,
        });
        ScheduleRow {
            speed_kn: *speed_kn,
            heave: g.heave,
            pitch: g.pitch,
            roll: g.roll,
        }
    };
    let rows: Vec<ScheduleRow> = speeds_kn.iter().map(row).collect();
    pid["schedule"] = serde_json::to_value(rows).map_err(wrong)?;
    Ok(())
}

/// The row's place of a gain that has one.
fn in_row(key: &str, row: usize) -> Option<String> {
    let rest = gain_in_row(key)?;
    Some(format!("law.pid.schedule[{row}].{rest}"))
}

/// All places of a number: its own, and those in the rows of the document's schedule or of its loadings.
pub fn everywhere(document: &Value, key: &str) -> Vec<String> {
    let length = |pointer: &str| {
        let list = document.pointer(pointer).and_then(Value::as_array);
        list.map_or(0, Vec::len)
    };
    let mut out = vec![key.to_owned()];
    let Some(rest) = gain_in_row(key) else {
        return out;
    };
    out.extend((0..length("/law/pid/schedule")).filter_map(|k| in_row(key, k)));
    for i in 0..length("/law/pid/loadings") {
        let rows = length(&format!("/law/pid/loadings/{i}/schedule"));
        let place = |k| format!("law.pid.loadings[{i}].schedule[{k}].{rest}");
        out.extend((0..rows).map(place));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gain_has_a_place_in_every_row() {
        let document = serde_json::json!({"law": {"pid": {
            "schedule": [{}, {}],
            "loadings": [{"schedule": [{}]}, {"schedule": [{}, {}]}]
        }}});
        let places = everywhere(&document, "law.pid.roll.rate_deg_s_per_deg");
        let under = |row: &str| format!("law.pid.{row}roll.rate_deg_s_per_deg");
        let want = [
            "",
            "schedule[0].",
            "schedule[1].",
            "loadings[0].schedule[0].",
            "loadings[1].schedule[0].",
            "loadings[1].schedule[1].",
        ];
        assert_eq!(places, want.map(under));
        let alone = everywhere(&document, "law.pid.filter_rad_s");
        assert_eq!(alone, ["law.pid.filter_rad_s"]);
    }
}
