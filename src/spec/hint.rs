//! Remedies: the key that was probably meant, the unit that was probably meant.

use serde_json::Value;

use super::suffix::{Mistaken, suffix_of};

/// The candidate closest to `word`, if it is close enough to be a slip of the fingers.
pub fn closest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word = word.to_lowercase();
    if word.chars().count() > 60 {
        return None;
    }
    candidates
        .into_iter()
        .map(|c| (edits(&word, &c.to_lowercase()), c))
        .filter(|(d, c)| *d <= (c.chars().count().max(3)) / 3)
        .min_by_key(|(d, _)| *d)
        .map(|(_, c)| c)
}

/// Insertions, deletions, replacements and swaps of neighbours between two words (Damerau 1964).
fn edits(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut rows = vec![vec![0usize; b.len() + 1]; a.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    for (j, cell) in rows[0].iter_mut().enumerate() {
        *cell = j;
    }
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let replace = rows[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut best = replace.min(rows[i - 1][j] + 1).min(rows[i][j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                best = best.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = best;
        }
    }
    rows[a.len()][b.len()]
}

/// The remedy for the unknown key `key` with `value` where `allowed` are known, and the allowed
/// key that it probably stands for.
pub(super) fn for_unknown_key<'a>(
    key: &str,
    value: &Value,
    allowed: &[&'a str],
) -> (String, Option<&'a str>) {
    if let Some((meant, told)) = other_unit(key, value, allowed) {
        return (told, Some(meant));
    }
    if let Some(meant) = closest(key, allowed.iter().copied()) {
        return (format!("did you mean `{meant}`?"), Some(meant));
    }
    if matches!(
        key,
        "comment" | "comments" | "_comment" | "description" | "//"
    ) && allowed.contains(&"note")
    {
        return ("write remarks under `note`".into(), None);
    }
    if allowed.is_empty() {
        return ("no keys are allowed here: write {}".into(), None);
    }
    (format!("keys allowed here: {}", allowed.join(", ")), None)
}

/// The same quantity spelt with another unit, or with none.
fn other_unit<'a>(key: &str, value: &Value, allowed: &[&'a str]) -> Option<(&'a str, String)> {
    for &meant in allowed {
        let Some(suffix) = suffix_of(meant) else {
            continue;
        };
        let stem = &meant[..meant.len() - suffix.ending.len()];
        let Some(rest) = key.strip_prefix(stem) else {
            continue;
        };
        if rest.is_empty() {
            let unit = if suffix.unit.is_empty() {
                "a fraction from 0 to 1"
            } else {
                suffix.unit
            };
            return Some((
                meant,
                format!("the unit is part of the key: write `{meant}`, in {unit}"),
            ));
        }
        if let Some(other) = suffix.mistaken.iter().find(|o| o.ending == rest) {
            return Some((meant, converted(meant, other, value)));
        }
    }
    None
}

fn converted(meant: &str, other: &Mistaken, value: &Value) -> String {
    let unit = suffix_of(meant).map_or("", |s| s.unit);
    match value.as_f64().map(|v| (v, other.to_ours.apply(v))) {
        Some((v, ours)) if ours.is_finite() => format!(
            "write `{meant}`: {} {} is {} {unit}",
            number(v),
            other.symbol,
            number(ours)
        )
        .trim_end()
        .to_owned(),
        _ => format!("write `{meant}`, in {unit}"),
    }
}

/// The unit in which a number out of range would make sense, told as a question.
pub(super) fn for_out_of_range(
    key: &str,
    value: f64,
    inside: impl Fn(f64) -> bool,
) -> Option<String> {
    let suffix = suffix_of(key)?;
    let other = suffix.mistaken.iter().find(|o| {
        let ours = o.to_ours.apply(value);
        ours.is_finite() && ours.abs() > 1e-9 && inside(ours)
    })?;
    let told = format!(
        "{} {} is {}",
        number(value),
        other.symbol,
        number(other.to_ours.apply(value))
    );
    let told = format!("{told} {}", suffix.unit).trim_end().to_owned();
    Some(format!("{told}: {}?", other.question))
}

/// A number as a person would write it: at most six figures, no trailing zeros.
pub fn number(value: f64) -> String {
    if value == 0.0 {
        return "0".into();
    }
    if !value.is_finite() {
        return value.to_string();
    }
    if !(1e-4..1e7).contains(&value.abs()) {
        let text = format!("{value:.5e}");
        let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        return format!("{}e{exponent}", trimmed(mantissa));
    }
    let before = value.abs().log10().floor().max(0.0) as usize;
    let places = if value.abs() < 1.0 {
        (5.0 - value.abs().log10().floor()) as usize
    } else {
        5usize.saturating_sub(before)
    };
    let text = format!("{value:.places$}");
    trimmed(&text).to_owned()
}

fn trimmed(text: &str) -> &str {
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn slips_of_the_fingers_are_recognised_and_other_words_are_not() {
        let allowed = ["span_m", "sweep_deg", "moving"];
        assert_eq!(closest("spam_m", allowed), Some("span_m"));
        assert_eq!(closest("movign", allowed), Some("moving"));
        assert_eq!(closest("colour", allowed), None);
        assert_eq!(edits("ab", "ba"), 1);
        assert_eq!(edits("", "abc"), 3);
    }

    #[test]
    fn another_unit_in_the_key_is_converted() {
        let (hint, meant) = for_unknown_key("span_mm", &json!(1500), &["span_m"]);
        assert_eq!(hint, "write `span_m`: 1500 mm is 1.5 m");
        assert_eq!(meant, Some("span_m"));
        let (hint, _) = for_unknown_key("speed_m_s", &json!(9.26), &["speed_kn"]);
        assert_eq!(hint, "write `speed_kn`: 9.26 m/s is 18 kn");
        let (hint, _) = for_unknown_key("span", &json!(1), &["span_m"]);
        assert_eq!(hint, "the unit is part of the key: write `span_m`, in m");
    }

    #[test]
    fn a_number_out_of_range_is_asked_about() {
        let told = for_out_of_range("tp_s", 0.11, |v| (1.0..40.0).contains(&v));
        assert_eq!(
            told.as_deref(),
            Some("0.11 Hz is 9.09091 s: was a frequency meant?")
        );
        assert_eq!(for_out_of_range("gamma", 99.0, |_| true), None);
    }

    #[test]
    fn numbers_read_as_written() {
        for (v, text) in [
            (0.0, "0"),
            (-2.0, "-2"),
            (0.3, "0.3"),
            (1025.0, "1025"),
            (1.1892e-6, "1.1892e-6"),
            (-1e9, "-1e9"),
            (123_456.7, "123457"),
            (0.1 + 0.2, "0.3"),
        ] {
            assert_eq!(number(v), text);
        }
        assert_eq!(number(f64::NAN), "NaN"); // never reached from a file, must not panic
    }
}
