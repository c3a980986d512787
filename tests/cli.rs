//! The command line's promises: streams, exit status, JSON, quiet, closed pipes, fresh schemas.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

use std::fs;
use std::path::Path;
use std::process::{Output, Stdio};

use assert_cmd::Command;
use assert_cmd::cargo::CommandCargoExt;
use ridewright::cli::cmd_fins;
use ridewright::geometry::craft::Craft;
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
    assert_eq!(shown["surfaces"][0]["actuator"]["delay_s"], 0.05);
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

const CRAFT: &str = "scenarios/craft/coastal_survey.json";

/// A verb with a cache of the test's own, so that nothing outside the build folder is touched.
fn craft_verb(arguments: &[&str]) -> Output {
    let cache = Path::new(env!("CARGO_TARGET_TMPDIR")).join("cache");
    let mut all = arguments.to_vec();
    all.extend(["--cache", cache.to_str().unwrap()]);
    run(&all)
}

fn json(out: &Output) -> serde_json::Value {
    assert!(out.status.success(), "{}", text(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap()
}

#[test]
fn craft_verbs_print_tables_of_100_columns_and_the_caution() {
    for arguments in [
        vec!["hydrostatics", CRAFT],
        vec!["coefficients", CRAFT, "--speed-kn", "16", "--strip-theory"],
        vec!["stability", CRAFT, "--speed-kn", "0,16"],
        vec!["response", CRAFT, "--heading-deg", "180,90,45"],
        vec!["fins", CRAFT],
        vec![
            "sea",
            "scenarios/sea/swell_and_wind_sea.json",
            "--craft",
            CRAFT,
        ],
    ] {
        let out = craft_verb(&arguments);
        assert!(out.status.success(), "{arguments:?}: {}", text(&out.stderr));
        let told = text(&out.stdout);
        assert!(told.contains('┌'), "{arguments:?}: {told}");
        for line in told.lines() {
            let is_row = line.starts_with(['┌', '│', '╞', '└']);
            assert!(
                !is_row || line.chars().count() <= 100,
                "{arguments:?}: {line}"
            );
        }
        assert!(
            text(&out.stderr).contains("Predictions are for design"),
            "{arguments:?}"
        );
        assert!(
            !told.contains("NaN") && !told.contains("inf "),
            "{arguments:?}"
        );
    }
}

#[test]
fn stability_tells_what_the_craft_must_meet() {
    let told = json(&craft_verb(&["stability", CRAFT, "--json"]));
    let bare = told["divergence_bare_kn"].as_f64().unwrap();
    assert!(
        bare < 16.0,
        "the bare hull diverges below design speed: {bare}"
    );
    let at = |kn: f64| {
        let rows = told["speeds"].as_array().unwrap();
        rows.iter().find(|r| r["speed_kn"] == kn).unwrap().clone()
    };
    let share = at(16.0)["stiffness"]["net_over_hydrostatic"]
        .as_f64()
        .unwrap();
    assert!(share >= 0.5, "net pitch stiffness at design speed: {share}");
    assert!(at(0.0)["trim"]["forward_deg"].as_f64().unwrap().abs() < 1e-9);
    assert!(
        at(16.0)["trim"]["range_left"][0]["up_to_limit_deg"]
            .as_f64()
            .unwrap()
            > 0.0
    );
    let named: Vec<_> = at(0.0)["poles"].as_array().unwrap().clone();
    for motion in ["heave", "pitch", "roll"] {
        assert!(
            named.iter().any(|p| p["motion"] == motion),
            "{motion}: {named:?}"
        );
    }
    assert!(told["zero_frequency"][0]["a33_kg"].as_f64().unwrap() > 0.0);
}

#[test]
fn long_waves_carry_the_craft_through_the_door_too() {
    let told = json(&craft_verb(&[
        "response",
        CRAFT,
        "--speed-kn",
        "0",
        "--heading-deg",
        "180",
        "--json",
    ]));
    let case = &told["cases"][0];
    let number = |v: &serde_json::Value| v.as_f64().unwrap();
    let omega = number(&case["omega_rad_s"][0]);
    let slope_deg = (omega * omega / 9.80665).to_degrees();
    let curve = |name: &str| {
        let all = case["curves"].as_array().unwrap();
        all.iter().find(|c| c["name"] == name).unwrap().clone()
    };
    let heave = curve("heave up");
    // the lowest wave is some 2 km long: heave follows to a few per cent, crest up with crest
    assert!(
        (number(&heave["amplitude"][0]) - 1.0).abs() < 0.05,
        "{}",
        heave["amplitude"][0]
    );
    assert!(number(&heave["phase_deg"][0]).abs() < 5.0);
    // in head seas the bow rises a quarter period before the crest
    let pitch = curve("pitch");
    let share = number(&pitch["amplitude"][0]) / slope_deg;
    assert!((share - 1.0).abs() < 0.25, "{share}");
    assert!(
        (number(&pitch["phase_deg"][0]) - 90.0).abs() < 10.0,
        "{}",
        pitch["phase_deg"][0]
    );
}

#[test]
fn pictures_and_numbers_are_written_where_asked() {
    let folder = tempfile::tempdir().unwrap();
    let into = folder.path().join("deep");
    let out = craft_verb(&["hydrostatics", CRAFT, "--out", into.to_str().unwrap()]);
    assert!(out.status.success(), "{}", text(&out.stderr));
    for name in [
        "hydrostatics.json",
        "hydrostatics.png",
        "hydrostatics.svg",
        "craft.png",
    ] {
        assert!(into.join(name).is_file(), "{name}");
    }
    let sea = "scenarios/sea/slight.json";
    let out = craft_verb(&["sea", sea, "--out", into.to_str().unwrap(), "--json"]);
    let told = json(&out);
    let realised = told["moments"][1]["realised"].as_f64().unwrap();
    let target = told["moments"][1]["target"].as_f64().unwrap();
    let error = told["moments"][1]["sampling_error"].as_f64().unwrap();
    assert!(
        (realised - target).abs() < 4.0 * error,
        "{realised} {target} {error}"
    );
    let record = fs::read_to_string(into.join("sea_record.csv")).unwrap();
    assert!(record.starts_with("t_s,elevation_up_m\n0,"));
    assert_eq!(
        record.lines().count(),
        7202,
        "1800 s in steps of 0.25 s and the head"
    );
}

#[test]
fn a_craft_without_design_speed_asks_for_one() {
    let out = craft_verb(&["response", "tests/data/spec/craft.json"]);
    assert_eq!(out.status.code(), Some(2));
    assert!(
        text(&out.stderr).contains("--speed-kn"),
        "{}",
        text(&out.stderr)
    );
}

#[test]
fn the_table_of_fin_effects_is_fresh_and_leaves_none_out() {
    let craft = load_craft(Path::new(ROOT).join(CRAFT)).unwrap().spec;
    let speed_kn = craft.design_speed_kn.unwrap();
    let craft = Craft::build(&craft).unwrap();
    let guide = fs::read_to_string(Path::new(ROOT).join("DEVELOPERS.md")).unwrap();
    let wanted = cmd_fins::renewed(&guide, &craft, speed_kn).unwrap();
    assert!(
        wanted.is_some_and(|w| w == guide),
        "DEVELOPERS.md is stale; run: cargo run -- fins {CRAFT} --markdown DEVELOPERS.md"
    );
    let told = json(&craft_verb(&["fins", CRAFT, "--json"]));
    let effects = told["speeds"][0]["effects"].as_array().unwrap().clone();
    assert_eq!(effects.len(), 8, "all on, and seven effects");
    for e in &effects[1..] {
        for key in ["stiffness_share", "aft_force_share"] {
            assert!(e[key].as_f64().unwrap().abs() > 1e-5, "{key} of {e}");
        }
    }
}

#[test]
fn a_schedule_is_judged_in_other_loadings() {
    let dir = tempfile::tempdir().unwrap();
    let own = format!("{ROOT}/scenarios/craft/coastal_survey.json");
    let mut craft: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(&own).unwrap()).unwrap();
    craft["name"] = "stores on deck".into();
    craft["mass"]["total"]["vcg_m"] = 4.6.into();
    let high = dir.path().join("high.json");
    fs::write(&high, craft.to_string()).unwrap();
    let scenario = serde_json::json!({
        "format": "ridewright.scenario/1", "name": "loadings", "craft": own,
        "sea": format!("{ROOT}/scenarios/sea/slight.json"),
        "controllers": [format!("{ROOT}/controllers/pid.json")],
        "speeds_kn": [14, 16], "headings_deg": [180], "seeds": [1], "duration_s": 60, "run_in_s": 20
    });
    let file = dir.path().join("scenario.json");
    fs::write(&file, scenario.to_string()).unwrap();
    let (file, high) = (file.to_str().unwrap(), high.to_str().unwrap());
    let told = json(&run(&[
        "schedule",
        file,
        "--frozen-only",
        "--step-kn",
        "2",
        "--loading",
        &own,
        "--loading",
        high,
        "--json",
    ]));
    let law = &told["laws"][0];
    let [same, other] = [&law["loadings"][0], &law["loadings"][1]];
    assert_eq!(
        same["worst"], law["worst"],
        "the same craft has the same margins"
    );
    assert_eq!(other["loading"], "stores on deck");
    assert_ne!(other["worst"], law["worst"]);
    assert_eq!(other["frozen"].as_array().unwrap().len(), 2);
}

/// The law of `controllers/pid.json` under another name with its gains times `factor`.
fn pid_times(name: &str, factor: f64) -> serde_json::Value {
    let text = fs::read_to_string(format!("{ROOT}/controllers/pid.json")).unwrap();
    let mut law: serde_json::Value = serde_json::from_str(&text).unwrap();
    law["name"] = name.into();
    for row in law["law"]["pid"]["schedule"].as_array_mut().unwrap() {
        for gain in row.as_object_mut().unwrap().values_mut() {
            let Some(gains) = gain.as_object_mut() else {
                continue;
            };
            for (_, g) in gains.iter_mut().filter(|(key, _)| !key.contains("limit")) {
                *g = (g.as_f64().unwrap() * factor).into();
            }
        }
    }
    law
}

#[test]
fn a_law_with_loadings_is_told_the_other_loading() {
    let dir = tempfile::tempdir().unwrap();
    let own = format!("{ROOT}/scenarios/craft/coastal_survey.json");
    let mut craft: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(&own).unwrap()).unwrap();
    craft["name"] = "deep".into();
    craft["design_waterline_m"] = 4.0.into();
    let write = |name: &str, file: &serde_json::Value| {
        let path = dir.path().join(name);
        fs::write(&path, file.to_string()).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let deep = write("deep.json", &craft);
    let weight_t = |craft: &str| {
        let told = json(&run(&["hydrostatics", craft, "--json"]));
        let all = told["quantities"].as_array().unwrap();
        let mass = all.iter().find(|q| q["key"] == "mass_t").unwrap();
        mass["value"].as_f64().unwrap()
    };
    let (own_t, deep_t) = (weight_t(&own), weight_t(&deep));
    let (light, heavy) = (pid_times("light", 1.0), pid_times("heavy", 0.7));
    let mut loaded = light.clone();
    loaded["name"] = "loaded".into();
    let pid = &mut loaded["law"]["pid"];
    pid["schedule"] = serde_json::json!([]);
    // two rows about each loading, so that rounding of a weight does not matter
    let rows = [(own_t, &light), (deep_t, &heavy)].map(|(t, law)| {
        let rows = &law["law"]["pid"]["schedule"];
        [t - 1.0, t + 1.0].map(|t| serde_json::json!({"displacement_t": t, "schedule": rows}))
    });
    pid["loadings"] = rows.as_flattened().into();
    let laws = [light, heavy, loaded].map(|l| write(l["name"].as_str().unwrap(), &l));
    let scenario = serde_json::json!({
        "format": "ridewright.scenario/1", "name": "loadings", "craft": own,
        "sea": format!("{ROOT}/scenarios/sea/slight.json"), "controllers": laws,
        "speeds_kn": [14, 16], "headings_deg": [180], "seeds": [1], "duration_s": 60, "run_in_s": 20
    });
    let file = write("scenario.json", &scenario);
    let told = json(&run(&[
        "schedule",
        &file,
        "--frozen-only",
        "--step-kn",
        "2",
        "--loading",
        &deep,
        "--json",
    ]));
    let [light, heavy, loaded] = [0, 1, 2].map(|k| told["laws"][k].clone());
    let there = |law: &serde_json::Value| law["loadings"][0]["frozen"].clone();
    assert_eq!(
        loaded["frozen"], light["frozen"],
        "the craft of the scenario"
    );
    assert_eq!(
        there(&loaded),
        there(&heavy),
        "told the displacement of the other"
    );
    assert_ne!(there(&light), there(&heavy));
    let told_t = &loaded["loadings"][0]["told_t"];
    assert!((told_t.as_f64().unwrap() - deep_t).abs() < 0.01);
    assert!(light["loadings"][0]["told_t"].is_null());
    let told = json(&run(&[
        "margins",
        &file,
        "--nominal-only",
        "--speed-kn",
        "14",
        "--loading",
        &deep,
        "--json",
    ]));
    let cases = told["cases"].as_array().unwrap();
    let of = |law: &str, loading: &str| {
        let found = cases
            .iter()
            .find(|c| c["law"] == law && c["loading"] == loading);
        found.unwrap()["summary"].clone()
    };
    let own = cases[0]["loading"].as_str().unwrap();
    assert_eq!(of("loaded", own), of("light", own));
    assert_eq!(of("loaded", "deep"), of("heavy", "deep"));
    assert_ne!(of("light", "deep"), of("heavy", "deep"));
}
