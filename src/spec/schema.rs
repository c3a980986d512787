//! JSON Schemas from the file types, for editors and for the loader's own walk.
//!
//! Numbers whose field states no range get that of their unit suffix, so that every number of
//! every file has one.

use schemars::JsonSchema;
use serde_json::{Value, json};

use super::load::{Document, KINDS};
use super::suffix::suffix_of;
use super::{
    campaign, controller, craft, criteria, failures, fault, rare, scatter, scenario, sea, tuning,
};

/// The schema of a type, with ranges by unit and the format fixed.
pub fn generate<T: Document + JsonSchema>() -> Value {
    let mut schema = schemars::schema_for!(T).to_value();
    let format = format!("ridewright.{}/1", T::KIND);
    if let Some(root) = schema.as_object_mut() {
        root.insert("title".into(), json!(format));
    }
    schema["properties"]["format"]["const"] = json!(format);
    let editor = json!({
        "description": "Where an editor finds this schema; not read by the program.",
        "type": "string"
    });
    schema["properties"]["$schema"] = editor;
    fill_ranges(&mut schema);
    schema
}

/// File name and text of every schema.
pub fn files() -> Vec<(String, String)> {
    KINDS
        .iter()
        .map(|kind| {
            let text = serde_json::to_string_pretty(of(kind)).unwrap_or_default();
            (format!("{kind}.schema.json"), text + "\n")
        })
        .collect()
}

/// The schema of a kind of file; null for an unknown kind.
pub fn of(kind: &str) -> &'static Value {
    match kind {
        "craft" => craft::CraftSpec::schema(),
        "sea" => sea::SeaSpec::schema(),
        "controller" => controller::ControllerSpec::schema(),
        "criteria" => criteria::CriteriaSpec::schema(),
        "fault" => fault::FaultSpec::schema(),
        "scatter" => scatter::ScatterSpec::schema(),
        "scenario" => scenario::ScenarioSpec::schema(),
        "tuning" => tuning::TuningSpec::schema(),
        "failures" => failures::FailuresSpec::schema(),
        "campaign" => campaign::CampaignSpec::schema(),
        "rare" => rare::RareSpec::schema(),
        _ => &Value::Null,
    }
}

fn fill_ranges(node: &mut Value) {
    match node {
        Value::Object(object) => {
            if let Some(Value::Object(members)) = object.get_mut("properties") {
                for (key, member) in members {
                    if let Some(suffix) = suffix_of(key) {
                        bound(member, suffix.range);
                    }
                }
            }
            object.values_mut().for_each(fill_ranges);
        }
        Value::Array(list) => list.iter_mut().for_each(fill_ranges),
        _ => {}
    }
}

fn bound(schema: &mut Value, (low, high): (f64, f64)) {
    if is_number(schema) {
        if schema.get("minimum").is_none() && schema.get("exclusiveMinimum").is_none() {
            schema["minimum"] = json!(low);
        }
        if schema.get("maximum").is_none() {
            schema["maximum"] = json!(high);
        }
    } else if let Some(items) = schema.get_mut("items") {
        bound(items, (low, high));
    }
}

/// True for a schema of a number, whole or not, or null beside it.
pub(super) fn is_number(schema: &Value) -> bool {
    let numeric = |t: &Value| t == "number" || t == "integer";
    match schema.get("type") {
        Some(Value::Array(kinds)) => kinds.iter().any(numeric),
        Some(kind) => numeric(kind),
        None => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::suffix::DIMENSIONLESS;

    fn visit(node: &Value, told: &mut dyn FnMut(&str, &Value)) {
        if let Some(members) = node.get("properties").and_then(Value::as_object) {
            members.iter().for_each(|(key, member)| told(key, member));
        }
        match node {
            Value::Object(object) => object.values().for_each(|v| visit(v, told)),
            Value::Array(list) => list.iter().for_each(|v| visit(v, told)),
            _ => {}
        }
    }

    fn leaf(schema: &Value) -> &Value {
        schema.get("items").map_or(schema, leaf)
    }

    #[test]
    fn every_numeric_key_has_a_unit_or_is_known_to_have_none() {
        let mut count = 0;
        for kind in KINDS {
            visit(of(kind), &mut |key, member| {
                if is_number(leaf(member)) {
                    count += 1;
                    let known =
                        suffix_of(key).is_some() || DIMENSIONLESS.iter().any(|(k, _)| *k == key);
                    assert!(known, "{kind}: `{key}` has no unit suffix");
                }
            });
        }
        assert!(count > 100, "the walk found only {count} numeric keys");
    }

    #[test]
    fn every_number_has_a_range_and_every_key_a_description() {
        for kind in KINDS {
            visit(of(kind), &mut |key, member| {
                let n = leaf(member);
                let free = ["seeds", "parameters"].contains(&key);
                if is_number(n) && !free {
                    let low = n.get("minimum").or(n.get("exclusiveMinimum"));
                    assert!(low.is_some() && n.get("maximum").is_some(), "{kind}: {key}");
                }
            });
        }
        let unit = &of("craft")["$defs"]["SurfaceSpec"]["properties"]["span_m"];
        assert_eq!(unit["exclusiveMinimum"], json!(0.0));
        assert_eq!(unit["maximum"], json!(50.0));
    }

    #[test]
    fn defaults_lie_inside_their_ranges() {
        for kind in KINDS {
            visit(of(kind), &mut |key, member| {
                if let Some(v) = member.get("default").and_then(Value::as_f64) {
                    let get = |k: &str| member.get(k).and_then(Value::as_f64);
                    assert!(get("minimum").is_none_or(|l| v >= l), "{kind}: {key}");
                    assert!(get("maximum").is_none_or(|h| v <= h), "{kind}: {key}");
                }
            });
        }
    }
}
