//! Walks a JSON value along the schema of its type and tells everything that does not fit:
//! unknown, missing and double keys, wrong types, kinds that do not exist, numbers out of range.
//!
//! The derive of serde stops at the first fault; this walk does not.

use serde_json::{Map, Value};

use super::hint;
use super::source::{Source, item, join};
use super::suffix::unit_after;
use crate::error::Problem;

/// What a walk found.
#[derive(Debug, Default)]
pub(super) struct Findings {
    /// In the order of the schema's keys.
    pub problems: Vec<Problem>,
    /// True when the value cannot be read into the type, not even without its unknown keys.
    pub is_misshapen: bool,
}

/// The value without the keys that its schema does not know, so that the rest can be checked.
pub(super) fn without_unknown(value: &Value, schema: &Value) -> Value {
    let walker = Walker {
        defs: schema.get("$defs").unwrap_or(&Value::Null),
        source: None,
        found: Findings::default(),
    };
    walker.pruned(value, schema)
}

/// Compares `value` with `schema` (the root of a generated JSON Schema).
pub(super) fn walk(value: &Value, schema: &Value, source: Option<&Source>) -> Findings {
    let mut walker = Walker {
        defs: schema.get("$defs").unwrap_or(&Value::Null),
        source,
        found: Findings::default(),
    };
    walker.value(value, schema, "", "");
    walker.found
}

struct Walker<'a> {
    defs: &'a Value,
    source: Option<&'a Source>,
    found: Findings,
}

impl<'a> Walker<'a> {
    fn misshapen(&mut self, problem: Problem) {
        self.found.is_misshapen = true;
        self.found.problems.push(problem);
    }

    fn pruned(&self, value: &Value, schema: &'a Value) -> Value {
        let (schema, _) = self.settle(schema);
        let variants = schema.get("oneOf").and_then(Value::as_array);
        let member = |key: &str| match variants {
            Some(variants) => variants.iter().find_map(|v| v["properties"].get(key)),
            None => schema
                .get("properties")
                .and_then(|p| p.get(key))
                .or_else(|| schema.get("additionalProperties").filter(|a| a.is_object())),
        };
        match value {
            Value::Object(object) => object
                .iter()
                .filter_map(|(key, v)| Some((key.clone(), self.pruned(v, member(key)?))))
                .collect::<Map<_, _>>()
                .into(),
            Value::Array(list) => match schema.get("items") {
                Some(items) => list.iter().map(|v| self.pruned(v, items)).collect(),
                None => value.clone(),
            },
            _ => value.clone(),
        }
    }

    /// The schema that counts for a value: references followed, "or null" settled.
    fn settle(&self, mut schema: &'a Value) -> (&'a Value, bool) {
        let mut nullable = false;
        loop {
            if let Some(name) = schema.get("$ref").and_then(Value::as_str) {
                let name = name.rsplit('/').next().unwrap_or(name);
                schema = &self.defs[name];
            } else if let Some(options) = schema.get("anyOf").and_then(Value::as_array) {
                let is_null = |o: &Value| o.get("type").and_then(Value::as_str) == Some("null");
                nullable |= options.iter().any(is_null);
                match options.iter().find(|o| !is_null(o)) {
                    Some(option) => schema = option,
                    None => return (schema, nullable),
                }
            } else {
                return (schema, nullable);
            }
        }
    }

    /// `key` is the nearest key above the value: it tells the unit.
    fn value(&mut self, value: &Value, schema: &'a Value, path: &str, key: &str) {
        let (schema, mut nullable) = self.settle(schema);
        let kind = match schema.get("type") {
            Some(Value::Array(kinds)) => {
                nullable |= kinds.iter().any(|k| k == "null");
                kinds.iter().find(|k| *k != "null")
            }
            kind => kind,
        };
        if nullable && value.is_null() {
            return;
        }
        if let Some(variants) = schema.get("oneOf").and_then(Value::as_array) {
            return self.variant(value, variants, path);
        }
        if let Some(words) = schema.get("enum").and_then(Value::as_array) {
            return self.word(value, words, path);
        }
        match (kind.and_then(Value::as_str), value) {
            (Some("object"), Value::Object(object)) => self.object(object, schema, path),
            (Some("array"), Value::Array(list)) => self.list(list, schema, path, key),
            (Some("number" | "integer"), Value::Number(_)) => {
                self.number(value, schema, path, key);
            }
            (Some("string"), Value::String(text)) => self.text(text, schema, path),
            (Some("boolean"), Value::Bool(_)) | (None, _) => {}
            (Some(wanted), _) => self.misshapen(wrong_type(value, wanted, path, key)),
        }
    }

    fn object(&mut self, object: &Map<String, Value>, schema: &'a Value, path: &str) {
        if let Some(any) = schema.get("additionalProperties").filter(|s| s.is_object()) {
            for (key, value) in object {
                self.value(value, any, &join(path, key), key);
            }
            return;
        }
        let members = schema.get("properties").and_then(Value::as_object);
        let Some(members) = members else {
            for (key, value) in object {
                let at = join(path, key);
                let told = hint::for_unknown_key(key, value, &[]).0;
                let problem = Problem::at(at, "is not a known key").hint(told);
                self.found.problems.push(problem);
            }
            return;
        };
        let mut misspelt = Vec::new();
        for (key, value) in object {
            match members.get(key) {
                Some(member) => self.value(value, member, &join(path, key), key),
                None => misspelt.extend(self.unknown(key, value, members, object, path)),
            }
        }
        let required = schema.get("required").and_then(Value::as_array);
        for key in required.into_iter().flatten().filter_map(Value::as_str) {
            if object.contains_key(key) {
                continue;
            }
            self.found.is_misshapen = true;
            if !misspelt.contains(&key) {
                self.missing(key, &members[key], path);
            }
        }
    }

    /// Tells an unknown key; returns the key it probably stands for.
    fn unknown(
        &mut self,
        key: &str,
        value: &Value,
        members: &'a Map<String, Value>,
        object: &Map<String, Value>,
        path: &str,
    ) -> Option<&'a str> {
        let names = members.keys().map(String::as_str);
        let allowed: Vec<&str> = names.filter(|k| !k.starts_with('$')).collect();
        let free: Vec<&str> = allowed
            .iter()
            .copied()
            .filter(|k| !object.contains_key(*k))
            .collect();
        let (mut told, meant) = hint::for_unknown_key(key, value, &free);
        if meant.is_none() && !free.is_empty() {
            told = hint::for_unknown_key(key, value, &allowed).0;
        }
        let at = join(path, key);
        let mut problem = Problem::at(at.clone(), "is not a known key").hint(told);
        if let Some(source) = self.source {
            source.place_on_key(&mut problem, &at);
        }
        self.found.problems.push(problem);
        meant
    }

    fn missing(&mut self, key: &str, member: &Value, path: &str) {
        let about = description(member)
            .or_else(|| description(self.settle_loose(member)))
            .unwrap_or_default();
        let mut problem = Problem::at(join(path, key), "is missing");
        if !about.is_empty() {
            problem = problem.hint(format!("add `{key}`: {about}"));
        }
        self.misshapen(problem);
    }

    fn settle_loose(&self, schema: &Value) -> &'a Value {
        schema
            .get("$ref")
            .and_then(Value::as_str)
            .map_or(&Value::Null, |name| {
                &self.defs[name.rsplit('/').next().unwrap_or(name)]
            })
    }

    fn list(&mut self, list: &[Value], schema: &'a Value, path: &str, key: &str) {
        let count = |k: &str| schema.get(k).and_then(Value::as_u64);
        let (least, most) = (count("minItems"), count("maxItems"));
        let n = list.len() as u64;
        if least.is_some_and(|l| n < l) || most.is_some_and(|m| n > m) {
            let allowed = match (least, most) {
                (Some(l), Some(m)) if l == m => format!("exactly {l}"),
                (Some(l), Some(m)) => format!("{l} to {m}"),
                (Some(l), None) => format!("at least {l}"),
                (_, Some(m)) => format!("at most {m}"),
                (None, None) => String::new(),
            };
            self.misshapen(Problem::at(
                path,
                format!(
                    "has {}, must have {allowed}",
                    counted(list.len(), "entry", "entries")
                ),
            ));
        }
        if let Some(items) = schema.get("items") {
            for (i, value) in list.iter().enumerate() {
                self.value(value, items, &item(path, i), key);
            }
        }
    }

    fn number(&mut self, value: &Value, schema: &Value, path: &str, key: &str) {
        let v = value.as_f64().unwrap_or(f64::NAN);
        let whole = schema.get("type").is_some_and(|t| t == "integer");
        if whole && !value.is_u64() {
            let mut p = Problem::at(
                path,
                format!("is {value}, must be a whole number from 0 up"),
            );
            if v.fract() == 0.0 && (0.0..1e15).contains(&v) {
                p = p.hint(format!("write {v:.0}, without a decimal point"));
            }
            return self.misshapen(p);
        }
        let range = Range::of(schema);
        if !range.contains(v) {
            let unit = unit_after(key);
            let mut p = Problem::at(
                path,
                format!("is {}{unit}, must {}", hint::number(v), range.told(&unit)),
            );
            p.hint = hint::for_out_of_range(key, v, |x| range.contains(x));
            self.found.problems.push(p);
        }
    }

    fn text(&mut self, text: &str, schema: &Value, path: &str) {
        let is_name = schema.get("minLength").is_some();
        if is_name && text.trim().is_empty() {
            self.found
                .problems
                .push(Problem::at(path, "is empty, must have at least one letter"));
        }
        let moves_the_cursor = |c: char| c.is_control() && (is_name || !matches!(c, '\n' | '\t'));
        if text.chars().any(moves_the_cursor) {
            self.found.problems.push(
                Problem::at(
                    path,
                    format!("is {}, must not have control characters", quoted(text)),
                )
                .hint("it goes into tables and onto screens: leave out what cannot be seen"),
            );
        }
    }

    fn word(&mut self, value: &Value, words: &[Value], path: &str) {
        let names: Vec<&str> = words.iter().filter_map(Value::as_str).collect();
        match value.as_str() {
            Some(word) if names.contains(&word) => {}
            _ => self.misshapen(no_such_kind(value, &names, path)),
        }
    }

    /// An externally tagged enum: `"circle"` or `{"rounded_box": {...}}`.
    fn variant(&mut self, value: &Value, variants: &'a [Value], path: &str) {
        let mut words = Vec::new();
        let mut objects: Vec<(&str, &'a Value)> = Vec::new();
        for v in variants {
            let members = v.get("properties").and_then(Value::as_object);
            words.extend(v.get("const").and_then(Value::as_str));
            words.extend(
                v.get("enum")
                    .and_then(Value::as_array)
                    .into_iter()
                    .flatten()
                    .filter_map(Value::as_str),
            );
            objects.extend(members.into_iter().flatten().map(|(k, s)| (k.as_str(), s)));
        }
        let names: Vec<&str> = words
            .iter()
            .copied()
            .chain(objects.iter().map(|o| o.0))
            .collect();
        match value {
            Value::String(word) if words.contains(&word.as_str()) => {}
            Value::String(word) if objects.iter().any(|o| o.0 == word) => {
                let p = Problem::at(path, format!("is the word {word:?}, must be an object"));
                self.misshapen(p.hint(format!("write {{\"{word}\": {{...}}}}")));
            }
            Value::Object(object) if object.len() == 1 => {
                let Some((kind, inner)) = object.iter().next() else {
                    return;
                };
                if let Some((_, schema)) = objects.iter().find(|o| o.0 == kind) {
                    self.value(inner, schema, &join(path, kind), kind);
                } else if words.contains(&kind.as_str()) {
                    let p = Problem::at(path, format!("is an object, must be the word \"{kind}\""));
                    self.misshapen(p.hint(format!("write \"{kind}\" without braces")));
                } else {
                    self.misshapen(no_such_kind(&Value::String(kind.clone()), &names, path));
                }
            }
            Value::Object(object) => self.misshapen(not_one_kind(object, &names, path)),
            _ => self.misshapen(no_such_kind(value, &names, path)),
        }
    }
}

/// The range that a schema allows for a number.
struct Range {
    low: Option<f64>,
    above: Option<f64>,
    high: Option<f64>,
}

impl Range {
    fn of(schema: &Value) -> Self {
        let get = |k: &str| schema.get(k).and_then(Value::as_f64);
        Range {
            low: get("minimum"),
            above: get("exclusiveMinimum"),
            high: get("maximum"),
        }
    }

    fn contains(&self, v: f64) -> bool {
        v.is_finite()
            && self.low.is_none_or(|l| v >= l)
            && self.above.is_none_or(|a| v > a)
            && self.high.is_none_or(|h| v <= h)
    }

    fn told(&self, unit: &str) -> String {
        let n = |v: f64| format!("{}{unit}", hint::number(v));
        match (self.above, self.low, self.high) {
            (Some(a), _, Some(h)) => format!("be more than {} and at most {}", n(a), n(h)),
            (Some(a), _, None) => format!("be more than {}", n(a)),
            (None, Some(l), Some(h)) => format!("lie between {} and {}", n(l), n(h)),
            (None, Some(l), None) => format!("be at least {}", n(l)),
            (None, None, Some(h)) => format!("be at most {}", n(h)),
            (None, None, None) => "be a finite number".into(),
        }
    }
}

fn description(schema: &Value) -> Option<String> {
    let text = schema.get("description")?.as_str()?;
    let text = text.trim().trim_end_matches('.');
    let mut letters = text.chars();
    let first = letters.next()?;
    // an acronym or a name keeps its capital
    let second = text.chars().nth(1).is_some_and(char::is_uppercase);
    Some(if second {
        text.to_owned()
    } else {
        format!("{}{}", first.to_lowercase(), letters.as_str())
    })
}

fn wrong_type(value: &Value, wanted: &str, path: &str, key: &str) -> Problem {
    let unit = unit_after(key);
    let wanted = match wanted {
        "object" => "an object {...}".to_owned(),
        "array" => "a list [...]".to_owned(),
        "number" if !unit.is_empty() => format!("a number in{unit}"),
        "number" => "a number".to_owned(),
        "integer" => "a whole number".to_owned(),
        "string" => "text in double quotes".to_owned(),
        "boolean" => "true or false".to_owned(),
        other => other.to_owned(),
    };
    let problem = Problem::at(path, format!("is {}, must be {wanted}", described(value)));
    match value {
        Value::String(text) if wanted.contains("number") => {
            let start = text.split_whitespace().next().unwrap_or("");
            match start.parse::<f64>() {
                Ok(v) if v.is_finite() => {
                    let told = if unit.is_empty() {
                        format!("write {start}, without quotes")
                    } else {
                        format!(
                            "write {start}, without quotes; the unit ({}) is in the key",
                            unit.trim()
                        )
                    };
                    problem.hint(told)
                }
                _ => problem,
            }
        }
        Value::String(text) if matches!(text.as_str(), "true" | "false") => {
            problem.hint(format!("write {text}, without quotes"))
        }
        Value::Null => problem.hint("leave the key out, or give it a value"),
        _ => problem,
    }
}

fn no_such_kind(value: &Value, names: &[&str], path: &str) -> Problem {
    let found = match value {
        Value::String(_) => described(value),
        _ => format!("{}, not a kind", described(value)),
    };
    let problem = Problem::at(
        path,
        format!("is {found}, must be one of: {}", names.join(", ")),
    );
    match value
        .as_str()
        .and_then(|w| hint::closest(w, names.iter().copied()))
    {
        Some(meant) => problem.hint(format!("did you mean \"{meant}\"?")),
        None => problem,
    }
}

fn not_one_kind(object: &Map<String, Value>, names: &[&str], path: &str) -> Problem {
    let problem = Problem::at(
        path,
        format!(
            "has {}, must have exactly one, the kind: {}",
            counted(object.len(), "key", "keys"),
            names.join(", ")
        ),
    );
    let tagged = ["kind", "type"]
        .iter()
        .find_map(|t| object.get(*t).and_then(Value::as_str))
        .filter(|kind| names.contains(kind));
    match tagged {
        Some(kind) => problem.hint(format!(
            "the kind is the key: write {{\"{kind}\": {{...}}}}"
        )),
        None => problem,
    }
}

/// A value in words, short.
pub(super) fn described(value: &Value) -> String {
    match value {
        Value::Null => "null".into(),
        Value::Bool(b) => format!("{b}"),
        Value::Number(n) => format!(
            "the number {}",
            hint::number(n.as_f64().unwrap_or(f64::NAN))
        ),
        Value::String(text) => quoted(text),
        Value::Array(list) => format!("a list of {}", list.len()),
        Value::Object(object) => format!("an object of {}", counted(object.len(), "key", "keys")),
    }
}

/// A text in quotes, escaped and cut to a length that fits a line.
pub(super) fn quoted(text: &str) -> String {
    let short: String = text.chars().take(40).collect();
    let dots = if short.len() < text.len() { "..." } else { "" };
    format!("{short:?}{dots}")
}

/// "1 key", "3 keys".
pub(super) fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}
