//! Checks of a tuning file by itself; the paths of `free` are checked against the controller file.

use std::path::Path;

use super::{distinct, number, paths, unique};
use crate::error::Problem;
use crate::spec::tuning::{ScaleSpec, TuningSpec};

pub(crate) fn tuning(spec: &TuningSpec, folder: Option<&Path>) -> Vec<Problem> {
    let mut problems = Vec::new();
    let p = &mut problems;
    paths::must_exist(p, "craft".into(), &spec.craft, folder);
    paths::must_exist(p, "controller".into(), &spec.controller, folder);
    for (i, loading) in spec.loadings.iter().enumerate() {
        let at = format!("loadings[{i}]");
        if *loading == spec.craft {
            let problem = Problem::at(at, format!("is {loading:?}, which `craft` names already"));
            p.push(problem.hint("list the other loadings only: `craft` is searched besides"));
        } else {
            paths::must_exist(p, at, loading, folder);
        }
    }
    unique(p, "loadings", "", spec.loadings.iter().map(String::as_str));
    for (i, case) in spec.cases.iter().enumerate() {
        paths::must_exist(p, format!("cases[{i}].sea"), &case.sea, folder);
        distinct(p, &format!("cases[{i}].speeds_kn"), &case.speeds_kn, "kn");
        let at = format!("cases[{i}].headings_deg");
        distinct(p, &at, &case.headings_deg, "deg");
    }
    for (i, free) in spec.free.iter().enumerate() {
        if free.low >= free.high {
            let told = format!(
                "is {}, must be greater than `low` ({})",
                number(free.high),
                number(free.low)
            );
            p.push(Problem::at(format!("free[{i}].high"), told));
        }
        if free.scale == ScaleSpec::Log && free.low <= 0.0 {
            let told = format!(
                "is {}, must be more than 0 on a log scale",
                number(free.low)
            );
            let problem = Problem::at(format!("free[{i}].low"), told);
            p.push(problem.hint(
                "a thousandth of `high` leaves three decades; or write \"scale\": \"linear\"",
            ));
        }
        if let Some(first) = spec.free[..i].iter().position(|f| f.key == free.key) {
            let told = format!("is {:?}, which free[{first}] has already", free.key);
            let problem = Problem::at(format!("free[{i}].key"), told);
            p.push(problem.hint("each number once"));
        }
    }
    for (i, seed) in spec.confirm.iter().flat_map(|c| c.seeds.iter().enumerate()) {
        if spec.confirm.iter().any(|c| c.seeds[..i].contains(seed)) {
            let problem = Problem::at(
                format!("confirm.seeds[{i}]"),
                format!("is {seed} a second time"),
            );
            p.push(problem.hint("equal seeds give equal records, which narrows no interval"));
        }
    }
    problems
}

#[cfg(test)]
mod tests {
    use crate::spec::load::parse;
    use crate::spec::tuning::TuningSpec;

    #[test]
    fn ranges_and_twins_are_told() {
        let text = r#"{
            "format": "ridewright.tuning/1", "name": "x", "craft": "c.json", "controller": "l.json",
            "cases": [{"sea": "s.json", "speeds_kn": [10, 10], "headings_deg": [180]}],
            "objective": {"terms": [{"of": {"heave": {"acceptable_m": 0.2}}}]},
            "free": [
                {"key": "a", "low": 2, "high": 1},
                {"key": "a", "low": 0, "high": 1, "scale": "log"}
            ],
            "confirm": {"seeds": [3, 3]}
        }"#;
        let told = parse::<TuningSpec>("t.json", text).unwrap_err().to_string();
        for words in [
            "must be greater than `low` (2)",
            "more than 0 on a log scale",
            "free[0] has already",
            "10 kn a second time",
            "is 3 a second time",
        ] {
            assert!(told.contains(words), "{words}: {told}");
        }
    }

    #[test]
    fn a_slip_in_a_ride_number_is_told() {
        let text = r#"{
            "format": "ridewright.tuning/1", "name": "x", "craft": "c.json", "controller": "l.json",
            "cases": [{"sea": "s.json", "speeds_kn": [10], "headings_deg": [180]}],
            "objective": {"terms": [{"of": {"heave": {"acceptable": 0.2}}}]},
            "free": [{"key": "a", "low": 1, "high": 2}]
        }"#;
        let told = parse::<TuningSpec>("t.json", text).unwrap_err().to_string();
        assert!(told.contains("acceptable_m"), "{told}");
    }
}
