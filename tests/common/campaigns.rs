//! A small quick campaign and the program that runs it.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use assert_cmd::cargo::CommandCargoExt;
use serde_json::{Value, json};

pub const ROOT: &str = env!("CARGO_MANIFEST_DIR");

pub fn cache() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("water")
}

/// A small quick campaign in `dir`: runs of some seconds of sea.
pub fn write_campaign(dir: &Path, change: impl FnOnce(&mut Value)) -> PathBuf {
    let sea = json!({
        "format": "ridewright.sea/1", "name": "test sea", "components": 24,
        "systems": [{"spectrum": {"bretschneider": {"hs_m": 1.2, "tp_s": 7.0}}}]
    });
    fs::write(dir.join("sea.json"), sea.to_string()).unwrap();
    let from = |name: &str| format!("{ROOT}/{name}");
    let mut campaign = json!({
        "format": "ridewright.campaign/1", "name": "test campaign",
        "crafts": [{"craft": from("scenarios/craft/coastal_survey.json")}],
        "speeds_kn": [16], "headings_deg": [180, 45], "seas": ["sea.json"],
        "laws": [from("controllers/fixed.json"), from("controllers/pid.json")],
        "draws": {"fixed": {"count": 10}},
        "uncertain": [
            {"of": "damping", "by": {"normal": {"mean": 1, "standard_deviation": 0.1}}},
            {"of": "weight_up_m", "by": {"uniform": {"low": -0.05, "high": 0.05}}},
            {"of": "sensor_noise", "by": {"uniform": {"low": 0.5, "high": 2}}}
        ],
        "duration_s": 4, "run_in_s": 1, "step_s": 0.1,
        // coarse tables: these tests start the program many times
        "physics": {
            "memory": false,
            "frequencies_rad_s": [0.1, 0.3, 0.5, 0.7, 0.9, 1.2, 1.6, 2.2, 3.0],
            "stations_x_m": [-12, -8, -4, 0, 4, 8, 12]
        }
    });
    change(&mut campaign);
    let path = dir.join("campaign.json");
    fs::write(&path, campaign.to_string()).unwrap();
    path
}

pub fn program(arguments: &[&str]) -> Command {
    let mut c = Command::cargo_bin("ridewright").unwrap();
    c.args(arguments).arg("--cache").arg(cache());
    c
}

pub fn campaign(file: &Path, out: &Path, more: &[&str]) -> Output {
    let mut c = program(&["--quiet", "campaign"]);
    c.arg(file).arg("--out").arg(out).args(more);
    c.output().unwrap()
}

pub fn told(out: &Output) -> String {
    String::from_utf8_lossy(&out.stderr).into_owned()
}
