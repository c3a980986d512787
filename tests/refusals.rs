//! What the disk or a store refuses: told with place and remedy, before work is spent where that can be, and nothing
//! that was there is lost.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

#[path = "common/campaigns.rs"]
mod campaigns;

use std::fs::{self, File};
use std::path::Path;
use std::process::{Command, Output};

use campaigns::{ROOT, campaign, program, told, write_campaign};
use serde_json::{Value, json};
use tempfile::TempDir;

const CRAFT: &str = "scenarios/craft/coastal_survey.json";

/// Every verb that writes into a folder, with what it asks for.
const VERBS: &[&[&str]] = &[
    &["hydrostatics", CRAFT],
    &["coefficients", CRAFT],
    &["stability", CRAFT],
    &["response", CRAFT],
    &["fins", CRAFT],
    &["signs", CRAFT],
    &["sea", "scenarios/sea/moderate.json"],
    &["run", "scenarios/demo.json"],
    &["predict", "scenarios/demo.json"],
    &["compare", "scenarios/demo.json"],
    &["bound", "scenarios/demo.json"],
    &["margins", "scenarios/demo.json"],
    &["schedule", "scenarios/demo.json"],
    &["detection", "scenarios/detection.json"],
    &[
        "operability",
        "scenarios/operability.json",
        "--scatter",
        "scenarios/scatter/outer_coast.json",
        "--criteria",
        "scenarios/criteria/survey_work.json",
    ],
    &["failures", "scenarios/failures.json"],
    &["campaign", "scenarios/campaign.json"],
    &["merge", "scenarios"],
    &["rare", "scenarios/rare.json"],
    &["tune", "scenarios/tune_pid.json"],
    &[
        "sweep",
        "scenarios/tune_pid.json",
        "--gain",
        "law.pid.pitch.rate_deg_s_per_deg=0:4:3",
    ],
];

fn verb(arguments: &[&str], out: &str) -> Output {
    let mut c = program(&["--quiet"]);
    c.current_dir(ROOT).args(arguments).args(["--out", out]);
    c.output().unwrap()
}

/// Place, remedy, no name that nobody knows, and no result that was computed in vain.
fn is_refused(out: &Output, parts: &[&str]) {
    let words = told(out);
    assert_eq!(out.status.code(), Some(2), "{words}");
    assert!(out.stdout.is_empty(), "computed before it looked: {words}");
    for part in parts.iter().chain(&["hint: "]) {
        assert!(words.contains(part), "{part}: {words}");
    }
    assert!(
        !words.contains(".rw-") && !words.contains(".picture"),
        "{words}"
    );
}

#[test]
fn every_verb_tries_its_folder_first() {
    for arguments in VERBS {
        let below_a_file = verb(arguments, "Cargo.toml/out");
        is_refused(&below_a_file, &["Cargo.toml/out: cannot make this folder"]);
    }
    // folders of the system's own take no file, not even from its owner
    for system in ["/proc", "/sys"].iter().filter(|p| Path::new(p).is_dir()) {
        for arguments in VERBS {
            let refused = verb(arguments, system);
            is_refused(
                &refused,
                &[&format!("{system}: cannot write into this folder")],
            );
        }
    }
}

/// The program where no file may grow beyond some kilobytes, as on a full disk.
#[cfg(unix)]
fn without_room(arguments: &[&str]) -> Output {
    let whole = program(arguments);
    let mut c = Command::new("sh");
    c.args(["-c", "trap '' XFSZ; ulimit -f 4; exec \"$0\" \"$@\""]);
    c.current_dir(ROOT)
        .arg(whole.get_program())
        .args(whole.get_args());
    c.output().unwrap()
}

fn words(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[cfg(unix)]
#[test]
fn a_full_disk_is_told_and_loses_nothing() {
    let dir = TempDir::new().unwrap();
    let file = write_campaign(dir.path(), |_| ());
    let at = |name: &str| dir.path().join(name);
    let whole = campaign(&file, &at("whole"), &[]);
    assert!(whole.status.success(), "{}", told(&whole));
    let before = fs::read(at("whole/rows.jsonl")).unwrap();
    let full = |arguments: &[&str], place: &str| {
        let out = without_room(arguments);
        is_refused(&out, &[place, "cannot write", "room"]);
    };
    full(&["export", words(&at("whole"))], "rows.csv");
    assert!(!at("whole/rows.csv").exists(), "half a file");
    full(
        &["merge", words(&at("whole")), "--out", words(&at("merged"))],
        "merged/rows.jsonl",
    );
    assert!(!at("merged/rows.jsonl").exists(), "half a store");
    // a campaign keeps what it has and goes on where there is room
    let out = without_room(&["campaign", words(&file), "--out", words(&at("cut"))]);
    assert_eq!(out.status.code(), Some(2), "{}", told(&out));
    assert!(
        told(&out).contains("the same command goes on"),
        "{}",
        told(&out)
    );
    assert!(campaign(&file, &at("cut"), &[]).status.success());
    assert!(fs::read(at("cut/rows.jsonl")).unwrap() == before);
    assert!(fs::read(at("whole/rows.jsonl")).unwrap() == before);
}

#[cfg(unix)]
#[test]
fn a_history_without_room_is_told_and_leaves_no_half() {
    let dir = TempDir::new().unwrap();
    // for the sea and the tables, which are then in the cache
    let small = fs::read_to_string(write_campaign(dir.path(), |_| ())).unwrap();
    let small: Value = serde_json::from_str(&small).unwrap();
    let scenario = json!({
        "format": "ridewright.scenario/1", "name": "test", "craft": small["crafts"][0]["craft"],
        "sea": "sea.json", "controllers": small["laws"], "speeds_kn": [16], "headings_deg": [180],
        "seeds": [1], "duration_s": 30, "run_in_s": 5, "physics": small["physics"]
    });
    let file = dir.path().join("scenario.json");
    fs::write(&file, scenario.to_string()).unwrap();
    let out = dir.path().join("out");
    let arguments = ["--quiet", "run", words(&file), "--out", words(&out)];
    let whole = program(&arguments).output().unwrap();
    assert!(whole.status.success(), "{}", told(&whole));
    let history = out.join("history_16kn_180deg_modal_pid.csv");
    let text = fs::read_to_string(&history).unwrap();
    assert!(text.starts_with("time (s),") && text.lines().count() > 200);
    let refused = without_room(&arguments);
    assert_eq!(refused.status.code(), Some(2), "{}", told(&refused));
    assert!(
        told(&refused).contains("hint: make room"),
        "{}",
        told(&refused)
    );
    assert_eq!(
        fs::read_to_string(&history).unwrap(),
        text,
        "what was there"
    );
}

#[test]
fn an_export_tells_what_it_lacks() {
    let dir = TempDir::new().unwrap();
    let file = write_campaign(dir.path(), |_| ());
    let at = |name: &str| dir.path().join(name);
    let export = |name: &str, more: &[&str]| {
        let mut c = program(&["--quiet", "export"]);
        c.arg(at(name)).args(more);
        c.output().unwrap()
    };
    assert!(campaign(&file, &at("whole"), &[]).status.success());
    let whole = export("whole", &[]);
    assert_eq!(whole.status.code(), Some(0), "{}", told(&whole));
    assert!(told(&whole).is_empty(), "{}", told(&whole));
    // as a stop leaves it
    let rows = at("whole/rows.jsonl");
    let text = fs::read_to_string(&rows).unwrap();
    let kept: Vec<&str> = text.lines().take(1 + 33).collect();
    fs::write(&rows, kept.join("\n") + "\n").unwrap();
    let part = export("whole", &["--json"]);
    assert_eq!(part.status.code(), Some(1), "{}", told(&part));
    for words in ["33 of 40 cases", "goes on"] {
        assert!(told(&part).contains(words), "{words}: {}", told(&part));
    }
    let json: Value = serde_json::from_slice(&part.stdout).unwrap();
    assert_eq!((&json["rows"], &json["cases"]), (&json!(33), &json!(40)));
    // while a run writes it
    let writer = File::open(&rows).unwrap();
    writer.lock().unwrap();
    is_refused(
        &export("whole", &[]),
        &["rows.jsonl: is being written by another run"],
    );
    drop(writer);
    // a part is not the whole
    let shard = campaign(&file, &at("part"), &["--shard", "1/2"]);
    assert!(shard.status.success(), "{}", told(&shard));
    let shard = export("part", &[]);
    assert_eq!(shard.status.code(), Some(1), "{}", told(&shard));
    for words in [
        "part 1/2 of a campaign only: 20 of 40 cases",
        "ridewright merge",
    ] {
        assert!(told(&shard).contains(words), "{words}: {}", told(&shard));
    }
    is_refused(
        &export("nope", &[]),
        &["nope: there is no such folder or file"],
    );
    let out = ["--out", "Cargo.toml/out"];
    is_refused(&export("whole", &out), &["cannot make this folder"]);
}
