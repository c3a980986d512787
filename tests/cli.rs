//! The command line's promises: streams, exit status, JSON, quiet, closed pipes, fresh schemas.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

use std::fs;
use std::path::Path;
use std::process::{Output, Stdio};

use assert_cmd::Command;
use assert_cmd::cargo::CommandCargoExt;
use ridewright::spec::load::{Any, load_any, load_craft};
use ridewright::spec::{fields, schema};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

fn run(arguments: &[&str]) -> Output {
    Command::cargo_bin("ridewright")
        .unwrap()
        .current_dir(ROOT)
        .args(arguments)
        .output()
        .unwrap()
}

fn text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap()
}

#[test]
fn exit_status_is_0_met_1_not_met_2_could_not_run() {
    let good = "tests/data/spec/craft.json";
    for (arguments, status) in [
        (vec!["check", good], 0),
        (vec!["check", good, "Cargo.toml"], 1),
        (vec!["check", "no_such_file.json"], 1),
        (vec!["show", "no_such_file.json"], 2),
        (vec!["show", "Cargo.toml"], 2),
        (vec!["check"], 2),
        (vec!["no_such_verb"], 2),
        (vec!["check", "--no-such-option", good], 2),
        (vec!["schema", "no_such_kind"], 2),
        (vec!["--help"], 0),
        (vec!["--version"], 0),
        (vec!["schema", "sea"], 0),
    ] {
        let out = run(&arguments);
        let told = text(&out.stderr);
        assert_eq!(out.status.code(), Some(status), "{arguments:?}: {told}");
        assert!(
            status != 2 || out.stdout.is_empty(),
            "{arguments:?}: data on failure"
        );
    }
}

#[test]
fn one_wrong_file_does_not_stop_the_others() {
    let good = "tests/data/spec/sea.json";
    let out = run(&["check", "Cargo.toml", good]);
    assert_eq!(
        text(&out.stdout),
        format!("{good}: sea \"test sea\" is valid\n")
    );
    assert!(text(&out.stderr).contains("Cargo.toml:1:"));
}

#[test]
fn check_tells_its_findings_as_json() {
    let out = run(&["check", "--json", "tests/data/spec/sea.json", "Cargo.toml"]);
    let report: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(report["files"], 2);
    assert_eq!(report["problems"][0]["file"], "Cargo.toml");
    assert_eq!(report["problems"][0]["line"], 1);
    assert!(out.stderr.is_empty(), "with --json nothing is told twice");
    assert_eq!(out.status.code(), Some(1));
}

#[test]
fn what_is_shown_reads_back_as_the_same_file() {
    for name in [
        "craft", "sea", "pid", "lqr", "external", "criteria", "fault", "scenario",
    ] {
        let path = format!("tests/data/spec/{name}.json");
        let shown = run(&["show", &path]);
        assert!(shown.status.success(), "{}", text(&shown.stderr));
        let folder = tempfile::tempdir().unwrap();
        let sources = fs::read_dir(Path::new(ROOT).join("tests/data/spec")).unwrap();
        for source in sources.map(|e| e.unwrap().path()) {
            fs::copy(&source, folder.path().join(source.file_name().unwrap())).unwrap();
        }
        let copy = folder.path().join("shown.json");
        fs::write(&copy, &shown.stdout).unwrap();
        let again = run(&["show", copy.to_str().unwrap()]);
        assert_eq!(
            text(&again.stdout),
            text(&shown.stdout),
            "{name}: {}",
            text(&again.stderr)
        );
        let (old, new) = (load_any(Path::new(ROOT).join(&path)), load_any(&copy));
        if let (Ok(Any::Sea(old)), Ok(Any::Sea(new))) = (old, new) {
            assert_eq!(old.spec, new.spec);
        }
    }
}

#[test]
fn defaults_are_written_out() {
    let out = run(&["show", "tests/data/spec/craft.json"]);
    let shown: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(shown["water"]["density_kg_m3"], 1025.0);
    assert_eq!(shown["lower_hulls"]["stations"][1]["axis_height_m"], 1.2);
    assert_eq!(shown["surfaces"][0]["actuator"]["delay_s"], 0.04);
    assert_eq!(shown["sensors"]["height_sensors_m"][1][0], 13.0);
    let craft = load_craft(Path::new(ROOT).join("tests/data/spec/craft.json")).unwrap();
    assert!(
        craft.spec.lower_hulls.stations[1].axis_height_m.is_none(),
        "as the file has it"
    );
}

#[test]
fn no_escape_codes_reach_a_pipe() {
    for arguments in [
        vec!["check", "Cargo.toml"],
        vec!["--help"],
        vec!["check", "--bad"],
    ] {
        let out = run(&arguments);
        assert!(
            !out.stdout.contains(&0x1b) && !out.stderr.contains(&0x1b),
            "{arguments:?}"
        );
    }
}

#[test]
fn quiet_silences_talk_and_keeps_data_and_errors() {
    let loud = run(&["check", "Cargo.toml"]);
    let quiet = run(&["--quiet", "check", "Cargo.toml"]);
    assert!(text(&loud.stderr).contains("1 problem found"));
    assert!(!text(&quiet.stderr).contains("1 problem found"));
    assert!(text(&quiet.stderr).contains("is not JSON"));
    let data = run(&["check", "--quiet", "tests/data/spec/sea.json"]);
    assert!(text(&data.stdout).contains("is valid"));
}

#[test]
fn a_closed_pipe_is_no_failure() {
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let mut child = std::process::Command::cargo_bin("ridewright")
        .unwrap()
        .current_dir(ROOT)
        .args(["schema"])
        .stdout(writer)
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    assert!(child.wait().unwrap().success());
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_a_failure() {
    let full = fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let out = std::process::Command::cargo_bin("ridewright")
        .unwrap()
        .current_dir(ROOT)
        .args(["schema", "sea"])
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(2));
    assert!(text(&out.stderr).contains("cannot write to standard output"));
}

#[test]
fn schemas_and_field_tables_are_fresh() {
    let remedy = "run: cargo run -- schema --write scenarios/schema --tables scenarios/README.md";
    for (name, wanted) in schema::files() {
        let found = fs::read_to_string(Path::new(ROOT).join("scenarios/schema").join(&name));
        assert!(
            found.is_ok_and(|f| f == wanted),
            "scenarios/schema/{name} is stale; {remedy}"
        );
    }
    let readme = fs::read_to_string(Path::new(ROOT).join("scenarios/README.md")).unwrap();
    let wanted = fields::renew(&readme);
    assert!(
        wanted.is_some_and(|w| w == readme),
        "scenarios/README.md is stale; {remedy}"
    );
}

#[test]
fn schemas_are_written_where_asked() {
    let folder = tempfile::tempdir().unwrap();
    let into = folder.path().join("deep/schema");
    let out = run(&["schema", "--write", into.to_str().unwrap()]);
    assert!(out.status.success() && out.stdout.is_empty());
    for (name, wanted) in schema::files() {
        assert_eq!(fs::read_to_string(into.join(name)).unwrap(), wanted);
    }
}
