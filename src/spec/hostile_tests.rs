//! No input makes the reader panic: arbitrary bytes, and valid files with bytes and values changed.

use std::path::Path;

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use serde_json::{Value, json};

use super::load::{Any, parse_any};
use super::resolve;
use crate::cli::render;
use crate::error::Error;

const FILES: [&str; 15] = [
    include_str!("../../tests/data/spec/craft.json"),
    include_str!("../../tests/data/spec/sea.json"),
    include_str!("../../tests/data/spec/pid.json"),
    include_str!("../../tests/data/spec/lqr.json"),
    include_str!("../../tests/data/spec/external.json"),
    include_str!("../../tests/data/spec/criteria.json"),
    include_str!("../../tests/data/spec/fault.json"),
    include_str!("../../tests/data/spec/scatter.json"),
    include_str!("../../tests/data/spec/scenario.json"),
    include_str!("../../controllers/pid_monitored.json"),
    include_str!("../../controllers/lqr.json"),
    include_str!("../../scenarios/tune_pid.json"),
    include_str!("../../scenarios/campaign.json"),
    include_str!("../../scenarios/rare_fault.json"),
    include_str!("../../scenarios/failures.json"),
];

fn read(bytes: Vec<u8>) -> Result<Any, Error> {
    parse_any(Path::new("x.json"), bytes, false)
}

/// Whatever comes, it is a file, or an error that says where and fits on lines.
fn is_told_well(bytes: Vec<u8>) -> Result<(), TestCaseError> {
    match read(bytes) {
        Ok(Any::Craft(craft)) => {
            let text = serde_json::to_vec(&resolve::craft(&craft.spec)).unwrap_or_default();
            prop_assert!(read(text).is_ok(), "what was shown cannot be read again");
        }
        Ok(_) => {}
        Err(e) => {
            prop_assert!(!e.problems.is_empty());
            for p in &e.problems {
                prop_assert!(p.place.file.is_some());
                prop_assert!(!p.message.contains(['\n', '\u{1b}']), "{:?}", p.message);
                prop_assert!(p.message.len() < 1000, "{:?}", p.message);
            }
            prop_assert!(!render::error(&e, false).is_empty());
        }
    }
    Ok(())
}

/// All places in a value, as JSON pointers.
fn places(value: &Value, at: &str, all: &mut Vec<String>) {
    all.push(at.to_owned());
    match value {
        Value::Object(o) => o
            .iter()
            .for_each(|(k, v)| places(v, &format!("{at}/{k}"), all)),
        Value::Array(a) => {
            for (i, v) in a.iter().enumerate() {
                places(v, &format!("{at}/{i}"), all);
            }
        }
        _ => {}
    }
}

fn odd_value() -> impl Strategy<Value = Value> {
    prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<f64>().prop_map(|v| json!(v)),
        (-100.0..100.0).prop_map(|v: f64| json!(v)),
        any::<i64>().prop_map(Value::from),
        any::<u64>().prop_map(Value::from),
        ".*".prop_map(Value::from),
        Just(json!([])),
        Just(json!({})),
        Just(json!([[[1]], {"a": null}])),
        Just(json!(1e308)),
        Just(json!(-0.0)),
        Just(json!(0)),
    ]
}

proptest! {
    // the same files on every machine; `PROPTEST_RNG_SEED` and `PROPTEST_CASES` try others
    #![proptest_config(ProptestConfig { cases: 400, rng_seed: RngSeed::Fixed(1), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn arbitrary_bytes_are_refused_cleanly(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        is_told_well(bytes)?;
    }

    #[test]
    fn arbitrary_json_is_refused_cleanly(text in r#"[\[\]{}",:0-9a-z\\ .eE+-]{0,80}"#) {
        is_told_well(text.into_bytes())?;
    }

    #[test]
    fn files_with_changed_bytes(
        file in 0..FILES.len(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..3_u8), 1..4),
    ) {
        let mut bytes = FILES[file].as_bytes().to_vec();
        for (at, byte, how) in changes {
            let i = at.index(bytes.len());
            match how {
                0 => bytes[i] = byte,
                1 => drop(bytes.remove(i)),
                _ => bytes.insert(i, byte),
            }
        }
        is_told_well(bytes)?;
    }

    #[test]
    fn files_with_changed_values(
        file in 0..FILES.len(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), odd_value()), 1..4),
    ) {
        let mut value: Value = serde_json::from_str(FILES[file]).unwrap_or_default();
        for (at, odd) in changes {
            let mut all = Vec::new();
            places(&value, "", &mut all);
            if let Some(slot) = value.pointer_mut(&all[at.index(all.len())]) {
                *slot = odd;
            }
        }
        is_told_well(value.to_string().into_bytes())?;
    }

    #[test]
    fn files_cut_short(file in 0..FILES.len(), at in any::<prop::sample::Index>()) {
        let bytes = FILES[file].as_bytes();
        let kept = at.index(bytes.len());
        is_told_well(bytes[..kept].to_vec())?;
        let is_whole = kept >= FILES[file].trim_end().len();
        prop_assert_eq!(read(bytes[..kept].to_vec()).is_ok(), is_whole);
    }
}

/// An end of negative length turns the hull's ends round: nothing is clamped between them.
#[test]
fn a_hull_that_ends_before_it_starts_is_refused() {
    let mut craft: Value = serde_json::from_str(FILES[0]).unwrap();
    craft["lower_hulls"]["fore_end"] = json!({"ellipsoid": {"length_m": -87.6}});
    let e = read(craft.to_string().into_bytes()).expect_err("is no length");
    assert!(e.to_string().contains("fore_end"), "{e}");
}

/// A name that would move the reader's cursor is refused, and told in letters.
#[test]
fn control_characters_in_a_name_are_refused() {
    let mut craft: Value = serde_json::from_str(FILES[0]).unwrap();
    craft["supplies"][0]["name"] = json!("\u{1b}[2J");
    let e = read(craft.to_string().into_bytes()).expect_err("is no name");
    assert!(
        e.to_string().contains("must not have control characters"),
        "{e}"
    );
    assert!(!e.to_string().contains('\u{1b}'), "{e:?}");
    assert!(e.to_string().contains("there are \\u{1b}[2J"), "{e}");
}

#[test]
fn deep_nesting_is_refused_without_overflow() {
    for (open, close) in [("[", "]"), ("{\"a\":", "}")] {
        let text = open.repeat(100_000) + "1" + &close.repeat(100_000);
        let e = read(text.into_bytes()).expect_err("is too deep");
        assert!(e.to_string().contains("recursion limit"), "{e}");
    }
}

#[test]
fn a_valid_file_with_one_more_key_anywhere_is_refused() {
    for file in FILES {
        let whole: Value = serde_json::from_str(file).unwrap();
        let mut all = Vec::new();
        places(&whole, "", &mut all);
        for at in all {
            let mut value = whole.clone();
            let is_free = at.ends_with("/parameters");
            let Some(object) = value.pointer_mut(&at).and_then(Value::as_object_mut) else {
                continue;
            };
            object.insert("zzz_extra".into(), json!(1.0));
            let read = read(value.to_string().into_bytes());
            assert_eq!(read.is_ok(), is_free, "an extra key at {at} of\n{file}");
        }
    }
}
