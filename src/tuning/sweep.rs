//! One or two gains over a grid: every law judged in full.
//!
//! # Checked by
//! `gains_are_read_from_the_command_line`, `grid_is_row_by_row`.

use rayon::prelude::*;
use serde_json::Value;

use super::layout::everywhere;
use super::score::Score;
use super::tune::JudgeLaw;
use crate::error::{Error, Problem, Result};
use crate::spec::key_path;

/// Laws that a sweep may judge.
const MOST: usize = 40_000;

/// A gain over its range.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct GainAxis {
    /// Path of the key in the controller file.
    pub key: String,
    /// Its values, ascending.
    pub values: Vec<f64>,
    /// The file's own value.
    pub base: f64,
}

impl GainAxis {
    /// From `law.pid.pitch.rate_deg_s_per_deg=0:4:21` (from, to, how many; `:log` behind it for even
    /// steps of the logarithm) and the controller's document.
    ///
    /// # Errors
    /// A text of another form, a key that does not exist, a range that is none.
    pub fn parse(text: &str, document: &Value) -> Result<Self> {
        let form = || {
            Error::with_hint(
                format!("--gain {text}: must be KEY=FROM:TO:COUNT"),
                "for example --gain law.pid.pitch.rate_deg_s_per_deg=0:4:21",
            )
        };
        let (key, range) = text.split_once('=').ok_or_else(form)?;
        let parts: Vec<&str> = range.split(':').collect();
        let is_log = match parts.get(3) {
            None => false,
            Some(&"log") => true,
            Some(_) => return Err(form()),
        };
        let ([low, high, count] | [low, high, count, _]) = parts[..] else {
            return Err(form());
        };
        let number = |t: &str| t.trim().parse::<f64>().ok().filter(|v| v.is_finite());
        let (Some(low), Some(high)) = (number(low), number(high)) else {
            return Err(form());
        };
        let count: usize = count.trim().parse().map_err(|_| form())?;
        let Some(base) = key_path::number(document, key).filter(|_| key.starts_with("law.")) else {
            let law = serde_json::json!({ "law": document["law"] });
            return Err(key_path::unknown(&law, key, "--gain").into());
        };
        let wrong = |told: String| Err(Problem::at(format!("--gain {key}"), told).into());
        if !(2..=401).contains(&count) {
            return wrong(format!("has {count} values, must have 2 to 401"));
        }
        if low >= high {
            return wrong(format!("runs from {low} to {high}, must ascend"));
        }
        if is_log && low <= 0.0 {
            return wrong(format!("begins at {low}, must begin above 0 with :log"));
        }
        let share = |i: usize| i as f64 / (count - 1) as f64;
        let value = |i: usize| {
            if is_log {
                low * (high / low).powf(share(i))
            } else {
                low + (high - low) * share(i)
            }
        };
        Ok(GainAxis {
            key: key.to_owned(),
            values: (0..count).map(value).collect(),
            base,
        })
    }

    /// Last part of the key, without its unit, with the group before it: `pitch rate`.
    pub fn words(&self) -> (String, String) {
        let mut parts = self.key.rsplit('.');
        let last = parts.next().unwrap_or(&self.key);
        let group = parts.next().unwrap_or("");
        let unit = crate::spec::suffix::suffix_of(last);
        let bare = unit.map_or(last, |u| last.strip_suffix(u.ending).unwrap_or(last));
        let skip = ["pid", "lqr", "law", "acceptable"].contains(&group);
        let name = if skip {
            bare.replace('_', " ")
        } else {
            format!("{group} {}", bare.replace('_', " "))
        };
        (name, unit.map_or_else(String::new, |u| u.unit.to_owned()))
    }
}

/// Scores of all laws, row by row: the first gain runs fastest.
///
/// # Errors
/// A grid that is too large.
pub fn sweep(
    axes: &[GainAxis],
    document: &Value,
    speeds: &[usize],
    judge: JudgeLaw<'_>,
    done: &(dyn Fn() + Sync),
) -> Result<Vec<Score>> {
    let count: usize = axes.iter().map(|a| a.values.len()).product();
    if count > MOST {
        return Err(Error::with_hint(
            format!("the grid has {count} points, must have at most {MOST}"),
            "201 by 199 is the finest: ask for fewer values",
        ));
    }
    let paths: Vec<Vec<String>> = axes.iter().map(|a| everywhere(document, &a.key)).collect();
    Ok((0..count)
        .into_par_iter()
        .map(|k| {
            let mut law = document.clone();
            let mut rest = k;
            for (axis, paths) in axes.iter().zip(&paths) {
                let value = axis.values[rest % axis.values.len()];
                rest /= axis.values.len();
                for path in paths {
                    key_path::set(&mut law, path, value);
                }
            }
            let score = judge(&law, speeds);
            done();
            score
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn document() -> Value {
        json!({"law": {"pid": {"pitch": {"rate_deg_s_per_deg": 2.0}, "filter_rad_s": 8.0}}})
    }

    #[test]
    fn gains_are_read_from_the_command_line() {
        let a = GainAxis::parse("law.pid.pitch.rate_deg_s_per_deg=0:4:5", &document()).unwrap();
        assert_eq!(a.values, [0.0, 1.0, 2.0, 3.0, 4.0]);
        assert!((a.base - 2.0).abs() < 1e-15);
        assert_eq!(a.words(), ("pitch rate".into(), "deg s/deg".into()));
        let b = GainAxis::parse("law.pid.filter_rad_s=1:100:3:log", &document()).unwrap();
        assert!((b.values[1] - 10.0).abs() < 1e-12);
        assert_eq!(b.words(), ("filter".into(), "rad/s".into()));
        for (text, words) in [
            ("law.pid.filter_rad_s", "KEY=FROM:TO:COUNT"),
            ("law.pid.filter_rad_s=1:2", "KEY=FROM:TO:COUNT"),
            ("law.pid.filter_rad_s=2:1:5", "must ascend"),
            ("law.pid.filter_rad_s=0:1:5:log", "above 0"),
            ("law.pid.filter_rad_s=1:2:1", "2 to 401"),
            (
                "law.pid.filter_rad=1:2:5",
                "did you mean \"law.pid.filter_rad_s\"",
            ),
        ] {
            let told = GainAxis::parse(text, &document()).unwrap_err().to_string();
            assert!(told.contains(words), "{text}: {told}");
        }
    }

    #[test]
    fn grid_is_row_by_row() {
        let d = document();
        let axes = [
            GainAxis::parse("law.pid.filter_rad_s=1:3:3", &d).unwrap(),
            GainAxis::parse("law.pid.pitch.rate_deg_s_per_deg=10:20:2", &d).unwrap(),
        ];
        let judge = |law: &Value, _: &[usize]| {
            let n = |p: &str| key_path::number(law, p).unwrap();
            let sum = n("law.pid.filter_rad_s") + n("law.pid.pitch.rate_deg_s_per_deg");
            Score::new(sum, 0.0, 0.0, vec![])
        };
        let rides: Vec<f64> = sweep(&axes, &d, &[0], &judge, &|| {})
            .unwrap()
            .iter()
            .map(|s| s.ride)
            .collect();
        assert_eq!(rides, [11.0, 12.0, 13.0, 21.0, 22.0, 23.0]);
    }
}
