//! Every file that is shipped loads, and every scenario runs.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use ridewright::campaign::compare::{Comparison, Selection, compare};
use ridewright::campaign::stage::Stage;
use ridewright::spec::controller::LawSpec;
use ridewright::spec::load::{Any, KINDS, load_any};
use ridewright::spec::validate::{Bundle, bundle};

/// Simulated time of a trial, s.
const TRIAL_S: f64 = 5.0;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All JSON files below a folder of the repository, sorted.
fn json_below(folder: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![root().join(folder)];
    while let Some(path) = open.pop() {
        if path.is_dir() {
            open.extend(fs::read_dir(&path).unwrap().map(|e| e.unwrap().path()));
        } else if path.extension().is_some_and(|e| e == "json") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// The schemas are no files that people write.
fn shipped() -> Vec<PathBuf> {
    let mut all = json_below("scenarios");
    all.extend(json_below("controllers"));
    all.retain(|p| !p.starts_with(root().join("scenarios/schema")));
    all
}

fn kind_and_note(any: &Any) -> (&'static str, &str) {
    match any {
        Any::Craft(f) => ("craft", &f.spec.note),
        Any::Sea(f) => ("sea", &f.spec.note),
        Any::Controller(f) => ("controller", &f.spec.note),
        Any::Criteria(f) => ("criteria", &f.spec.note),
        Any::Fault(f) => ("fault", &f.spec.note),
        Any::Scatter(f) => ("scatter", &f.spec.note),
        Any::Scenario(f) => ("scenario", &f.spec.note),
        Any::Tuning(f) => ("tuning", &f.spec.note),
        Any::Campaign(f) => ("campaign", &f.spec.note),
        Any::Rare(f) => ("rare", &f.spec.note),
        Any::Failures(f) => ("failures", &f.spec.note),
    }
}

#[test]
fn every_shipped_file_loads_and_says_why() {
    let mut wrong = Vec::new();
    let mut seen = Vec::new();
    for path in shipped() {
        let any = match load_any(&path) {
            Ok(any) => any,
            Err(e) => {
                wrong.push(e.to_string());
                continue;
            }
        };
        let (kind, note) = kind_and_note(&any);
        seen.push(kind);
        // a law may be anybody's; a craft, a sea and a scenario say that nothing real is meant
        let is_made_up = !["craft", "sea", "scatter", "scenario"].contains(&kind)
            || note.to_lowercase().contains("invented")
            || note == "No waves, no wind.";
        if note.len() < 10 || !is_made_up {
            wrong.push(format!(
                "{}: the note does not say why these numbers",
                path.display()
            ));
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
    for kind in KINDS {
        assert!(seen.contains(&kind), "no {kind} file is shipped");
    }
}

/// The scenario cut down to one speed, one heading, one seed and [`TRIAL_S`].
fn cut(path: &Path) -> Bundle {
    let mut bundle = bundle(path).unwrap_or_else(|e| panic!("{e}"));
    let spec = &mut bundle.scenario.spec;
    spec.duration_s = TRIAL_S;
    spec.run_in_s = 0.0;
    spec.speeds_kn.truncate(1);
    spec.headings_deg.truncate(1);
    spec.seeds.truncate(1);
    bundle
}

fn trial(bundle: &Bundle) -> Comparison {
    let cache = Path::new(env!("CARGO_TARGET_TMPDIR")).join("water");
    let stage = Stage::new(bundle, Some(&cache)).unwrap_or_else(|e| panic!("{e}"));
    compare(&stage, &Selection::default(), &|| ()).unwrap_or_else(|e| panic!("{e}"))
}

fn has_python() -> bool {
    let mut python = Command::new("python3");
    let python = python.arg("--version").stdout(Stdio::null());
    python
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|s| s.success())
}

fn check_trial(bundle: &Bundle, at: &str) {
    let found = trial(bundle);
    assert_eq!(found.runs.len(), bundle.controllers.len(), "{at}: runs");
    for run in &found.runs {
        assert!(run.completed, "{at}, {}: {}", run.law, run.outcome);
        assert!(
            (run.simulated_s - TRIAL_S).abs() < 0.2,
            "{at}, {}: ran {} s",
            run.law,
            run.simulated_s
        );
        let record = run
            .record
            .as_ref()
            .expect("the first seed keeps its record");
        let pitch = record.judged_of("pitch").expect("pitch is recorded");
        assert!(pitch.iter().all(|v| v.is_finite()), "{at}, {}", run.law);
        let moved = pitch.iter().any(|v| (v - pitch[0]).abs() > 1e-6);
        assert!(moved, "{at}, {}: nothing moves", run.law);
    }
}

#[test]
fn every_scenario_runs_with_each_law() {
    let mut skipped = Vec::new();
    let mut count = 0;
    for path in json_below("scenarios") {
        if path.parent() != Some(&root().join("scenarios")) {
            continue;
        }
        if matches!(
            load_any(&path),
            Ok(Any::Tuning(_) | Any::Campaign(_) | Any::Rare(_) | Any::Failures(_))
        ) {
            continue; // searched, not run; campaigns have their own tests
        }
        count += 1;
        let at = path.strip_prefix(root()).unwrap().display().to_string();
        let bundle = cut(&path);
        let is_outside = |law: &LawSpec| matches!(law, LawSpec::External(_));
        if bundle.controllers.iter().any(|c| is_outside(&c.spec.law)) && !has_python() {
            skipped.push(at);
            continue;
        }
        check_trial(&bundle, &at);
    }
    assert!(count >= 5, "only {count} scenarios are shipped");
    if !skipped.is_empty() {
        eprintln!("SKIPPED, python3 is missing: {}", skipped.join(", "));
    }
}
