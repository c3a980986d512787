//! Field tables of the file formats as Markdown, for `scenarios/README.md`.

use std::fmt::Write;

use serde_json::Value;

use super::hint::number;
use super::load::KINDS;
use super::schema::{is_number, of};
use super::suffix::suffix_of;

/// Everything between these two lines of a document is generated.
pub const MARKS: (&str, &str) = (
    "<!-- field tables: generated, do not edit -->",
    "<!-- end of field tables -->",
);

/// The document with its field tables made anew; nothing when it lacks the marks.
pub fn renew(document: &str) -> Option<String> {
    let (head, rest) = document.split_once(MARKS.0)?;
    let (_, tail) = rest.split_once(MARKS.1)?;
    Some(format!("{head}{}\n\n{}{}{tail}", MARKS.0, all(), MARKS.1))
}

/// Tables of all kinds of file.
pub fn all() -> String {
    KINDS.iter().map(|kind| table(kind)).collect()
}

fn table(kind: &str) -> String {
    let schema = of(kind);
    let mut text = format!("### `ridewright.{kind}/1`\n\n{}\n\n", described(schema));
    text += &rows(schema);
    for (name, part) in schema["$defs"].as_object().into_iter().flatten() {
        let _ = write!(text, "#### {}\n\n{}\n\n", plain(name), described(part));
        match part.get("oneOf").and_then(Value::as_array) {
            Some(variants) => text += &kinds(variants),
            None => text += &rows(part),
        }
    }
    text
}

/// `SurfaceSpec` as "surface", `LowerHullSpec` as "lower hull".
fn plain(name: &str) -> String {
    let name = name.strip_suffix("Spec").unwrap_or(name);
    let mut out = String::new();
    for (i, c) in name.chars().enumerate() {
        if c.is_uppercase() && i > 0 {
            out.push(' ');
        }
        out.extend(c.to_lowercase());
    }
    out
}

fn described(schema: &Value) -> String {
    let text = schema.get("description").and_then(Value::as_str);
    text.unwrap_or("").replace('\n', " ").replace('|', "\\|")
}

fn rows(schema: &Value) -> String {
    let Some(members) = schema.get("properties").and_then(Value::as_object) else {
        return "No keys.\n\n".into();
    };
    let required: Vec<&str> = schema
        .get("required")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .filter_map(Value::as_str)
        .collect();
    let mut text =
        String::from("| key | type | allowed | default | meaning |\n|---|---|---|---|---|\n");
    for (key, member) in members {
        let default = match member.get("default") {
            _ if required.contains(&key.as_str()) => "required".to_owned(),
            None | Some(Value::Null) => String::new(),
            Some(v) => short(v),
        };
        let _ = writeln!(
            text,
            "| `{key}` | {} | {} | {default} | {} |",
            kind_of(member),
            allowed(key, member),
            described(member)
        );
    }
    text + "\n"
}

fn kinds(variants: &[Value]) -> String {
    let mut text = String::from("One of:\n\n");
    for v in variants {
        if let Some(word) = v.get("const").and_then(Value::as_str) {
            let _ = writeln!(text, "- `\"{word}\"`: {}", described(v));
        }
        for (kind, inner) in v["properties"].as_object().into_iter().flatten() {
            let _ = writeln!(text, "- `{{\"{kind}\": {{...}}}}`: {}", described(v));
            if inner.get("properties").is_some() {
                let _ = write!(text, "\n{}", rows(inner));
            } else if let Some(part) = inner.get("$ref").and_then(Value::as_str) {
                let _ = writeln!(
                    text,
                    "  Keys: see {}.",
                    plain(part.rsplit('/').next().unwrap_or(part))
                );
            }
        }
    }
    text + "\n"
}

fn kind_of(schema: &Value) -> String {
    if let Some(part) = schema.get("$ref").and_then(Value::as_str) {
        return plain(part.rsplit('/').next().unwrap_or(part));
    }
    if let Some(options) = schema.get("anyOf").and_then(Value::as_array) {
        return options.first().map(kind_of).unwrap_or_default();
    }
    let kind = match schema.get("type") {
        Some(Value::Array(kinds)) => kinds.first(),
        kind => kind,
    };
    match kind.and_then(Value::as_str).unwrap_or("") {
        "array" => format!("list of {}", kind_of(&schema["items"])),
        "integer" => "whole number".into(),
        "string" => "text".into(),
        "boolean" => "true, false".into(),
        other => other.into(),
    }
}

fn allowed(key: &str, schema: &Value) -> String {
    let mut told = Vec::new();
    let count = |k: &str| schema.get(k).and_then(Value::as_u64);
    match (count("minItems"), count("maxItems")) {
        (Some(a), Some(b)) if a == b => told.push(format!("{a} entries")),
        (Some(a), Some(b)) => told.push(format!("{a} to {b} entries")),
        (Some(a), None) => told.push(format!("{a} entries or more")),
        _ => {}
    }
    let leaf = schema.get("items").unwrap_or(schema);
    if is_number(leaf) {
        let get = |k: &str| leaf.get(k).and_then(Value::as_f64).map(number);
        let unit = suffix_of(key).map_or("", |s| s.unit);
        let range = match (get("exclusiveMinimum"), get("minimum"), get("maximum")) {
            (Some(a), _, Some(b)) => format!("more than {a}, up to {b}"),
            (None, Some(a), Some(b)) => format!("{a} to {b}"),
            (_, Some(a), None) => format!("{a} or more"),
            _ => String::new(),
        };
        told.push(format!("{range} {unit}").trim().to_owned());
    }
    told.retain(|t| !t.is_empty());
    told.join("; ")
}

/// A default that fits a cell; larger ones are told by the tables of their parts.
fn short(value: &Value) -> String {
    match value {
        Value::Number(n) => number(n.as_f64().unwrap_or(f64::NAN)),
        Value::String(s) if s.is_empty() => "empty".into(),
        Value::Array(a) if a.is_empty() => "none".into(),
        Value::Object(_) => "as in its table".into(),
        other => format!("`{other}`"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_document_keeps_what_stands_outside_the_marks() {
        let old = format!("head\n{}\nold\n{}\ntail\n", MARKS.0, MARKS.1);
        let new = renew(&old).expect("has marks");
        assert!(new.starts_with("head\n") && new.ends_with("\ntail\n"));
        assert!(new.contains("| `span_m` | number | more than 0, up to 50 m | required |"));
        assert_eq!(
            renew(&new).as_deref(),
            Some(new.as_str()),
            "renewing twice changes nothing"
        );
        assert_eq!(renew("no marks"), None);
    }
}
