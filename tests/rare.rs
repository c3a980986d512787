//! Rare events of a craft: the search agrees with plain runs, and a kill, threads and a second start do not show.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use assert_cmd::cargo::CommandCargoExt;
use ridewright::campaign::rare::journal::{Head, Journal};
use ridewright::campaign::rare::study::Study;
use ridewright::campaign::rare::told::{Told, tell};
use ridewright::spec::validate::rare_bundle;
use serde_json::{Value, json};
use tempfile::TempDir;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

fn cache() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("water")
}

/// A small quick study in `dir`: records of some seconds, coarse tables.
fn write_rare(dir: &Path, change: impl FnOnce(&mut Value)) -> PathBuf {
    let sea = json!({
        "format": "ridewright.sea/1", "name": "test sea", "components": 24,
        "systems": [{"spectrum": {"bretschneider": {"hs_m": 2.0, "tp_s": 7.0}}}]
    });
    fs::write(dir.join("sea.json"), sea.to_string()).unwrap();
    let from = |name: &str| format!("{ROOT}/{name}");
    let mut rare = json!({
        "format": "ridewright.rare/1", "name": "test of rare events",
        "craft": from("scenarios/craft/coastal_survey.json"),
        "sea": "sea.json", "law": from("controllers/pid.json"),
        "speed_kn": 16, "heading_deg": 180,
        "events": [{"heave": {"beyond_m": 0.38}}],
        "search": {"runs_per_level": 100, "levels": 4, "repetitions": 6},
        "duration_s": 15, "run_in_s": 5, "step_s": 0.1,
        "physics": {
            "memory": false,
            "frequencies_rad_s": [0.1, 0.3, 0.5, 0.7, 0.9, 1.2, 1.6, 2.2, 3.0],
            "stations_x_m": [-12, -8, -4, 0, 4, 8, 12]
        }
    });
    change(&mut rare);
    let path = dir.join("rare.json");
    fs::write(&path, rare.to_string()).unwrap();
    path
}

/// A flap that runs hard over within the first seconds.
fn write_hard_over(dir: &Path) {
    let fault = json!({
        "format": "ridewright.fault/1", "name": "hard over",
        "events": [{
            "start": {"within_s": [4, 8]},
            "fault": {"surface": {"name": "aft starboard", "failure": {"hard_over": {"stop": "max"}}}}
        }]
    });
    fs::write(dir.join("fault.json"), fault.to_string()).unwrap();
}

/// The whole study without the program around it.
fn found(file: &Path, dir: &Path) -> Told {
    let bundle = rare_bundle(file).unwrap();
    let study = Study::new(&bundle, Some(&cache())).unwrap();
    let target = ridewright::campaign::batch::head::Target::here("test", "test");
    let journal = Journal::open(dir, &Head::new(vec![], target)).unwrap();
    let found = study.work(&journal, &|| ()).unwrap();
    tell(&study, &found)
}

fn rare(file: &Path, out: &Path, more: &[&str]) -> Command {
    let mut c = Command::cargo_bin("ridewright").unwrap();
    c.args(["--quiet", "rare"]).arg(file).arg("--out").arg(out);
    c.arg("--cache").arg(cache()).args(more);
    c
}

fn told(out: &Output) -> String {
    String::from_utf8_lossy(&out.stderr).into_owned()
}

/// About one record in a hundred: 1,500 plain runs count it, the search finds it; both intervals meet. And the
/// whole curve: at every response that plain runs tell of, the intervals meet too, but for chance (a sixteenth).
#[test]
fn search_and_plain_runs_agree_on_a_craft() {
    let dir = TempDir::new().unwrap();
    let file = write_rare(dir.path(), |r| r["plain_runs"] = json!(1500));
    let t = found(&file, dir.path());
    let e = &t.events[0];
    let plain = e.plain.as_ref().unwrap();
    let words = format!(
        "{:?} {:?} of {}",
        e.probability, plain.probability, plain.runs
    );
    eprintln!("{words}, {} runs, ratio {:?}", e.runs, e.cost_ratio);
    assert_eq!(e.repetitions_with_it, 6, "{words}");
    assert!((2..60).contains(&plain.hits), "{words}");
    assert!(plain.agrees, "{words}");
    let apart = plain.curve.iter().filter(|[x, _, low, high]| {
        let at = e.curve.iter().find(|c| c[0].total_cmp(x).is_eq());
        at.is_none_or(|c| c[2] > *high || c[3] < *low)
    });
    assert!(16 * apart.count() <= plain.curve.len(), "{:?}", plain.curve);
    // a response less rare is more likely, everywhere
    assert!(e.curve.windows(2).all(|w| w[0][1] >= w[1][1]));
}

/// Loss of control after a flap runs hard over at a random instant, about one record in seventy: counted by plain runs,
/// found by the search, and both intervals meet.
#[test]
fn search_and_plain_runs_agree_on_a_fault() {
    let dir = TempDir::new().unwrap();
    let file = write_rare(dir.path(), |r| {
        r["plain_runs"] = json!(2500);
        r["fault"] = json!("fault.json");
        r["events"] = json!([{"loss_of_control": {}}]);
    });
    write_hard_over(dir.path());
    let sea = fs::read_to_string(dir.path().join("sea.json")).unwrap();
    let wild = sea.replace("\"hs_m\":2.0", "\"hs_m\":7.0");
    assert_ne!(sea, wild);
    fs::write(dir.path().join("sea.json"), wild).unwrap();
    let e = found(&file, dir.path()).events.remove(0);
    let plain = e.plain.as_ref().unwrap();
    let words = format!(
        "{:?}, {:?} of {}",
        e.probability, plain.probability, plain.runs
    );
    eprintln!("{words}, {} runs", e.runs);
    assert_eq!(e.repetitions_with_it, 6, "{words}");
    assert!((10..100).contains(&plain.hits), "{words}");
    assert!(plain.agrees, "{words}");
}

#[test]
fn a_kill_threads_and_a_second_start_do_not_show() {
    let dir = TempDir::new().unwrap();
    let file = write_rare(dir.path(), |r| {
        r["plain_runs"] = json!(60);
        r["search"] = json!({"runs_per_level": 40, "levels": 3, "repetitions": 4});
        r["fault"] = json!("fault.json");
        r["events"] = json!([{"roll": {"beyond_deg": 6.5}}, {"loss_of_control": {}}]);
    });
    write_hard_over(dir.path());
    let (whole, cut) = (dir.path().join("whole"), dir.path().join("cut"));
    let begin = Instant::now();
    let first = rare(&file, &whole, &["--threads", "1"]).output().unwrap();
    let took = begin.elapsed();
    assert!(
        matches!(first.status.code(), Some(0 | 1)),
        "{}",
        told(&first)
    );
    let result = |d: &Path| fs::read(d.join("rare.json")).unwrap();
    let mut kills = 0;
    for share in [0.3, 0.5, 0.7] {
        let mut child = rare(&file, &cut, &["--threads", "2"]).spawn().unwrap();
        let until = Instant::now() + took.mul_f64(share).min(Duration::from_secs(20));
        while Instant::now() < until && child.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_millis(5));
        }
        kills += u32::from(child.try_wait().unwrap().is_none());
        child.kill().ok(); // SIGKILL
        child.wait().unwrap();
    }
    let last = rare(&file, &cut, &["--threads", "2"]).output().unwrap();
    assert_eq!(last.status.code(), first.status.code(), "{}", told(&last));
    assert!(kills > 0, "no kill met a run");
    assert_eq!(result(&cut), result(&whole));
    // a second start finds everything there: not one line more
    let lines = |d: &Path| {
        fs::read_to_string(d.join("rare.jsonl"))
            .unwrap()
            .lines()
            .count()
    };
    let before = lines(&cut);
    assert_eq!(before, lines(&whole));
    rare(&file, &cut, &[]).output().unwrap();
    assert_eq!(lines(&cut), before);
    // other inputs are refused by name
    let text = fs::read_to_string(&file).unwrap();
    fs::write(&file, text + " ").unwrap();
    let refused = rare(&file, &cut, &[]).output().unwrap();
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        told(&refused).contains("rare.json has changed"),
        "{}",
        told(&refused)
    );
}

#[test]
fn what_cannot_be_searched_is_refused_at_its_key() {
    let dir = TempDir::new().unwrap();
    let file = write_rare(dir.path(), |r| {
        r["events"] = json!([{"vertical_acceleration": {"point": "brige", "beyond_m_s2": 3}}]);
        r["sea"] = json!(format!("{ROOT}/scenarios/sea/regular.json"));
    });
    let told = rare_bundle(&file).unwrap_err().to_string();
    for words in ["did you mean \"bridge\"?", "in which no wave is random"] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let out = rare(&file, &dir.path().join("out"), &[]).output().unwrap();
    assert_eq!(out.status.code(), Some(2));
}
