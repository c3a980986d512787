//! Keys of a file by path, `law.pid.pitch.rate_deg_s_per_deg`: read, written, and guessed when
//! misspelt.
//!
//! # Checked by
//! `paths_reach_numbers_and_lists`, `a_slip_is_corrected`.

use serde_json::Value;

use super::hint::closest;
use crate::error::Problem;

/// Splits `law.lqr.channel_deg[2]` into its steps.
fn steps(path: &str) -> Vec<String> {
    let mut out = Vec::new();
    for part in path.split('.') {
        let mut rest = part;
        if let Some(at) = part.find('[') {
            out.push(part[..at].to_owned());
            rest = &part[at..];
            while let Some(end) = rest.find(']') {
                out.push(rest[..=end].to_owned());
                rest = &rest[end + 1..];
            }
        } else if !rest.is_empty() {
            out.push(rest.to_owned());
        }
    }
    out
}

fn index(step: &str) -> Option<usize> {
    step.strip_prefix('[')?.strip_suffix(']')?.parse().ok()
}

fn child<'a>(node: &'a mut Value, step: &str) -> Option<&'a mut Value> {
    match index(step) {
        Some(i) => node.get_mut(i),
        None => node.get_mut(step),
    }
}

/// The number at a path.
pub fn number(document: &Value, path: &str) -> Option<f64> {
    let mut node = document;
    for step in steps(path) {
        node = match index(&step) {
            Some(i) => node.get(i)?,
            None => node.get(&step)?,
        };
    }
    node.as_f64()
}

/// Writes a number at a path; false when there is no such place.
pub fn set(document: &mut Value, path: &str, value: f64) -> bool {
    let mut node = document;
    for step in steps(path) {
        match child(node, &step) {
            Some(next) => node = next,
            None => return false,
        }
    }
    if !node.is_number() {
        return false;
    }
    *node = serde_json::json!(value);
    true
}

/// Paths of all numbers of a document, in its order.
pub fn numbers(document: &Value) -> Vec<String> {
    let mut out = Vec::new();
    walk(document, String::new(), &mut out);
    out
}

fn walk(node: &Value, path: String, out: &mut Vec<String>) {
    match node {
        Value::Number(_) => out.push(path),
        Value::Object(members) => {
            for (key, member) in members {
                let dot = if path.is_empty() { "" } else { "." };
                walk(member, format!("{path}{dot}{key}"), out);
            }
        }
        Value::Array(list) => {
            for (i, member) in list.iter().enumerate() {
                walk(member, format!("{path}[{i}]"), out);
            }
        }
        _ => {}
    }
}

/// What to say of a path that leads to no number; `at` is where the path was written.
pub fn unknown(document: &Value, path: &str, at: &str) -> Problem {
    let known = numbers(document);
    let p = Problem::at(
        at,
        format!("is {path:?}, must be the path of a number in the controller file"),
    );
    let all = || known.iter().map(String::as_str);
    let tail = |p: &str| p.rsplit('.').next().unwrap_or(p).to_owned();
    // the whole path misspelt, or only its end given
    let meant = closest(path, all()).or_else(|| {
        let ends: Vec<String> = known.iter().map(|k| tail(k)).collect();
        let end = closest(&tail(path), ends.iter().map(String::as_str))?.to_owned();
        let group = path.rsplit('.').nth(1).unwrap_or("");
        let same_end = || all().filter(|k| tail(k) == end);
        let in_group = same_end().find(|k| k.rsplit('.').nth(1) == Some(group));
        in_group.or_else(|| same_end().next())
    });
    match meant {
        Some(meant) => p.hint(format!("did you mean \"{meant}\"?")),
        None => p.hint(format!("there are {}", known.join(", "))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn file() -> Value {
        json!({"name": "x", "law": {"pid": {
            "pitch": {"rate_deg_s_per_deg": 2.0, "proportional_deg_per_deg": 0.9},
            "roll": {"rate_deg_s_per_deg": 1.0},
            "list_deg": [1, [2, 3]]
        }}})
    }

    #[test]
    fn paths_reach_numbers_and_lists() {
        let mut f = file();
        assert_eq!(number(&f, "law.pid.pitch.rate_deg_s_per_deg"), Some(2.0));
        assert_eq!(number(&f, "law.pid.list_deg[1][0]"), Some(2.0));
        assert!(set(&mut f, "law.pid.list_deg[1][0]", 7.5));
        assert_eq!(number(&f, "law.pid.list_deg[1][0]"), Some(7.5));
        assert!(!set(&mut f, "name", 1.0) && !set(&mut f, "law.pid.yaw", 1.0));
        assert!(!set(&mut f, "", 1.0) && !set(&mut f, "law.pid.list_deg[9]", 1.0));
        assert_eq!(numbers(&f).len(), 6);
    }

    #[test]
    fn a_slip_is_corrected() {
        let told = |path: &str| unknown(&file(), path, "free[0].key").hint.unwrap();
        let meant = "did you mean \"law.pid.pitch.rate_deg_s_per_deg\"?";
        assert_eq!(told("law.pid.pitch.rate_deg_per_deg"), meant);
        assert_eq!(told("pitch.rate_deg_s_per_deg"), meant);
        assert_eq!(
            told("roll.rate_deg_s_per_deg"),
            "did you mean \"law.pid.roll.rate_deg_s_per_deg\"?"
        );
        assert!(told("colour").starts_with("there are law.pid.pitch"));
    }
}
