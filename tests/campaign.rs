//! Campaigns keep what they promise: killed at any instant they lose nothing, shards and threads do not
//! show, a case alone is the case in the campaign, wrong stores are refused, other programs read the rows.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

#[path = "common/campaigns.rs"]
mod campaigns;
mod common;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use campaigns::{ROOT, cache, campaign, program, told, write_campaign};
use common::*;
use ridewright::campaign::batch::columns;
use ridewright::campaign::batch::draw::Draw;
use ridewright::campaign::batch::rig::Rig;
use ridewright::closed_loop::uncertainty::Factors;
use ridewright::linear::assemble::assemble;
use ridewright::math::rng::{Purpose, Stream};
use ridewright::spec::scenario::PhysicsSpec;
use ridewright::spec::validate::campaign_bundle;
use serde_json::{Value, json};
use tempfile::TempDir;

/// Kills that the store must survive.
const KILLS: usize = 24;

fn results(dir: &Path) -> [Vec<u8>; 2] {
    ["rows.jsonl", "summary.json"].map(|f| fs::read(dir.join(f)).unwrap())
}

fn rows(dir: &Path) -> Vec<Value> {
    let text = fs::read_to_string(dir.join("rows.jsonl")).unwrap();
    let json = |l: &str| serde_json::from_str(&l[9..]).unwrap();
    text.lines().skip(1).map(json).collect()
}

/// Waits for the end, or kills: `wait` after the start, or after the first new row when `rows` are there
/// already; true when it had to be killed.
fn killed_after(mut child: Child, wait: Duration, rows: Option<(&Path, usize)>) -> bool {
    if let Some((dir, before)) = rows {
        let ended = |c: &mut Child| c.try_wait().unwrap().is_some();
        while stored(dir) <= before && !ended(&mut child) {
            std::thread::sleep(Duration::from_millis(1));
        }
    }
    std::thread::sleep(wait);
    let alive = child.try_wait().unwrap().is_none();
    if alive {
        child.kill().unwrap(); // SIGKILL
    }
    child.wait().unwrap();
    alive
}

#[test]
fn killed_at_any_instant_it_goes_on_and_loses_nothing() {
    let dir = TempDir::new().unwrap();
    let file = write_campaign(dir.path(), |c| c["draws"]["fixed"]["count"] = json!(80));
    let whole = dir.path().join("whole");
    // the tables are in the cache after this, so that kills meet what follows
    let first = campaign(&file, &whole, &[]);
    assert!(first.status.success(), "{}", told(&first));
    let begin = std::time::Instant::now();
    fs::remove_dir_all(&whole).unwrap();
    assert!(campaign(&file, &whole, &[]).status.success());
    let usual = begin.elapsed();
    let want = results(&whole);
    let broken = dir.path().join("broken");
    let mut random = Stream::new(20, 0, Purpose::Other);
    let (mut kills, mut with_rows, mut finished) = (0, 0, 0);
    while kills < KILLS {
        let start = || {
            let mut c = program(&["--quiet", "campaign"]);
            c.arg(&file).arg("--out").arg(&broken);
            c.stdout(Stdio::null()).stderr(Stdio::null());
            c.spawn().unwrap()
        };
        let before = stored(&broken);
        // every third kill anywhere, from the first instant on; the others while rows are written
        let (wait, rows) = if kills % 3 == 0 {
            (usual.mul_f64(random.uniform()), None)
        } else {
            let some = Duration::from_secs_f64(0.2 * random.uniform().powi(2));
            (some, Some((broken.as_path(), before)))
        };
        if killed_after(start(), wait, rows) {
            kills += 1;
            let after = stored(&broken);
            assert!(
                after >= before,
                "{before} rows before, {after} after a kill"
            );
            with_rows += usize::from(after > before);
        } else {
            finished += 1;
            assert!(results(&broken) == want, "after {kills} kills");
            fs::remove_dir_all(&broken).unwrap();
        }
    }
    let last = campaign(&file, &broken, &[]);
    assert!(last.status.success(), "{}", told(&last));
    assert!(results(&broken) == want, "after {kills} kills");
    assert!(
        with_rows >= KILLS / 4,
        "{with_rows} kills met rows being written"
    );
    eprintln!(
        "{kills} kills, {with_rows} while rows were written, {finished} campaigns finished between"
    );
}

/// Whole rows in a store that nobody is writing.
fn stored(dir: &Path) -> usize {
    let text = fs::read_to_string(dir.join("rows.jsonl")).unwrap_or_default();
    text.matches('\n').count().saturating_sub(1)
}

#[test]
fn shards_threads_and_single_cases_give_the_same() {
    let dir = TempDir::new().unwrap();
    let file = write_campaign(dir.path(), |_| ());
    let at = |name: &str| dir.path().join(name);
    assert!(
        campaign(&file, &at("one"), &["--threads", "1"])
            .status
            .success()
    );
    assert!(
        campaign(&file, &at("two"), &["--threads", "3"])
            .status
            .success()
    );
    let want = results(&at("one"));
    assert!(want == results(&at("two")), "threads");
    let parts: Vec<PathBuf> = (1..=3).map(|k| at(&format!("part{k}"))).collect();
    for (k, part) in parts.iter().enumerate() {
        let shard = format!("{}/3", k + 1);
        let out = campaign(&file, part, &["--shard", &shard]);
        assert!(out.status.success(), "{}", told(&out));
    }
    let merge = |parts: &[&PathBuf]| {
        let mut c = program(&["--quiet", "merge"]);
        c.args(parts).arg("--out").arg(at("merged"));
        c.output().unwrap()
    };
    let out = merge(&[&parts[2], &parts[0]]);
    assert_eq!(out.status.code(), Some(2));
    assert!(
        told(&out).contains("shard 2/3 is missing"),
        "{}",
        told(&out)
    );
    let out = merge(&[&parts[2], &parts[0], &parts[1], &parts[0]]);
    assert!(
        told(&out).contains("shard 1/3 is there twice"),
        "{}",
        told(&out)
    );
    let out = merge(&[&parts[2], &parts[0], &parts[1]]);
    assert!(out.status.success(), "{}", told(&out));
    assert!(want == results(&at("merged")), "shards");
    // case 17 by itself
    let out = campaign(&file, &at("case"), &["--case", "17", "--json"]);
    let alone: Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(alone["row"], rows(&at("one"))[17]);
    let history = fs::read_to_string(at("case").join("history_17.csv")).unwrap();
    assert!(history.starts_with("time (s),") && history.lines().count() > 40);
    // another thread count may finish what one began; the shard's own store is left alone
    assert!(
        campaign(&file, &at("one"), &["--threads", "2"])
            .status
            .success()
    );
    assert!(want == results(&at("one")));
}

#[test]
fn a_store_that_is_not_ours_is_refused_and_kept() {
    let dir = TempDir::new().unwrap();
    let file = write_campaign(dir.path(), |c| c["draws"]["fixed"]["count"] = json!(2));
    let out = dir.path().join("out");
    assert!(campaign(&file, &out, &[]).status.success());
    let before = results(&out);
    let sea = dir.path().join("sea.json");
    let text = fs::read_to_string(&sea).unwrap();
    fs::write(&sea, text.replace("1.2", "1.3")).unwrap();
    let refused = campaign(&file, &out, &[]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        told(&refused).contains("sea.json has changed"),
        "{}",
        told(&refused)
    );
    assert!(results(&out) == before, "nothing lost");
    fs::write(&sea, text).unwrap();
    assert!(campaign(&file, &out, &[]).status.success());
    // a store that is no file
    fs::create_dir_all(dir.path().join("odd/rows.jsonl")).unwrap();
    let refused = campaign(&file, &dir.path().join("odd"), &[]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        told(&refused).contains("cannot open this store"),
        "{}",
        told(&refused)
    );
    // a folder that cannot be one
    let refused = campaign(&file, &sea.join("x"), &[]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        told(&refused).contains("cannot make this folder"),
        "{}",
        told(&refused)
    );
    let refused = campaign(&file, &out, &["--case", "99"]);
    assert!(told(&refused).contains("from 0 to 7"), "{}", told(&refused));
}

#[test]
fn ended_runs_are_rows_and_places_have_faults() {
    let dir = TempDir::new().unwrap();
    let file = write_campaign(dir.path(), |c| {
        c["draws"]["fixed"]["count"] = json!(2);
        c["faults"] = json!([format!("{ROOT}/scenarios/fault/hard_over.json")]);
        c["seas"] = json!(["sea.json", "storm.json"]);
        c["headings_deg"] = json!([180]);
        c["duration_s"] = json!(40);
    });
    let sea = fs::read_to_string(dir.path().join("sea.json")).unwrap();
    let storm = sea.replace("1.2", "9").replace("test sea", "storm");
    fs::write(dir.path().join("storm.json"), storm.replace("7.0", "9.0")).unwrap();
    let out = dir.path().join("out");
    let run = campaign(&file, &out, &["--json"]);
    assert_eq!(run.status.code(), Some(1), "ended runs: {}", told(&run));
    let all = rows(&out);
    assert_eq!(all.len(), 2 * 4 * 2);
    let ended = all.iter().filter(|r| r["outcome"] == "out_of_range");
    assert!(ended.count() > 0, "nothing ends in a storm");
    assert!(all.iter().any(|r| r["outcome"] == "completed"));
    let summary: Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!(summary["cases"], 16);
    assert_eq!(summary["places"][0]["fault"], "no fault");
    let ended = &summary["places"][2]["laws"][0]["ended"][0];
    assert!(
        ended["said"]
            .as_str()
            .unwrap()
            .contains("left the valid range")
    );
    for name in ["differences.png", "summary.json"] {
        assert!(out.join(name).is_file(), "{name}");
    }
}

#[test]
fn laws_meet_the_same_seas_and_draws() {
    let dir = TempDir::new().unwrap();
    let file = write_campaign(dir.path(), |_| ());
    let bundle = campaign_bundle(&file).unwrap();
    let rig = Rig::new(&bundle, Some(&cache())).unwrap();
    let case = |draw, place, law| {
        let spot = rig.grid.spot(rig.grid.case(draw, place, law)).unwrap();
        rig.case(&spot).unwrap()
    };
    let (a, b, other) = (case(3, 0, 0), case(3, 0, 1), case(4, 0, 0));
    assert!(a.parts().components == b.parts().components);
    assert!(a.parts().components != other.parts().components);
    // another heading: the same waves from elsewhere
    let turned = case(3, 1, 0);
    let pairs = a.parts().components.iter().zip(&turned.parts().components);
    assert!(pairs.into_iter().all(|(x, y)| {
        x.phase_rad.to_bits() == y.phase_rad.to_bits()
            && x.omega_rad_s.to_bits() == y.omega_rad_s.to_bits()
    }));
    // what the law is told does not know the draw
    assert_eq!(
        a.parts().setup.trim_pitch_rad.to_bits(),
        other.parts().setup.trim_pitch_rad.to_bits()
    );
}

#[test]
fn a_draw_of_one_changes_nothing() {
    let model = model(&PhysicsSpec::default());
    let (plant, trim) = held_plant(&model, 16.0);
    let same = |d: &Draw| {
        let p = d.plant(&plant, &model.craft.mass, &trim.x);
        assemble(&p, &trim.x, None).a == assemble(&plant, &trim.x, None).a
    };
    assert!(same(&Draw::default()));
    // through all changes, by factors too near to one to matter
    let hair = Draw {
        mass: 1.0 + f64::EPSILON,
        ..Draw::default()
    };
    let p = hair.plant(&plant, &model.craft.mass, &trim.x);
    let off = assemble(&p, &trim.x, None).a - assemble(&plant, &trim.x, None).a;
    assert!(off.iter().all(|v| v.abs() < 1e-9), "{}", off.amax());
}

#[test]
fn names_and_numbers_belong_together() {
    let model = model(&PhysicsSpec::default());
    let (plant, trim) = held_plant(&model, 16.0);
    let plant = std::sync::Arc::new(plant);
    let sea = irregular(1.0, 7.0, 2.5, 1, 20);
    let timing = ridewright::sim::case::Timing::new(40.0, 5.0, 0.1, 0.1, 0.1).unwrap();
    let p = parts(&model, &plant, &trim, &sea, &mean_held(), timing);
    let case = ridewright::sim::case::Case::new(p).unwrap();
    let run = ridewright::sim::run::run(&case, &mut *law("controllers/pid.json"));
    let points: Vec<String> = model.craft.points.iter().map(|p| p.0.clone()).collect();
    let ride = ridewright::campaign::judge::report(&run, &plant, &points);
    let (names, numbers) = (columns::names(&model), columns::numbers(&model, &ride));
    assert_eq!(names.len(), numbers.len());
    let of = |name: &str| numbers[names.iter().position(|n| n == name).unwrap()];
    let same = |name: &str, v: f64| assert_eq!(of(name).to_bits(), v.to_bits(), "{name}");
    let motion = |name: &str| &ride.motions.iter().find(|m| m.name == name).unwrap().stats;
    same("heave.rms_m", motion("heave").rms.value);
    same("roll.max_deg", motion("roll").max_amplitude);
    for p in &ride.points {
        same(
            &format!("{}.vertical_rms_m_s2", p.name),
            p.vertical_rms_m_s2.value,
        );
        same(
            &format!("{}.mean_frequency_hz", p.name),
            p.mean_frequency_hz,
        );
        same(&format!("{}.msi_percent", p.name), p.msi_1976_percent.value);
    }
    for s in &ride.surfaces {
        same(&format!("{}.rms_deg", s.name), s.rms_deg.value);
        same(
            &format!("{}.at_rate_limit_frac", s.name),
            s.at_rate_limit_frac,
        );
    }
    assert!(of("fins.largest_rms_deg") > 0.0 && of("fins.work_kj_per_h") > 0.0);
    let clear = ride
        .events
        .iter()
        .find(|e| e.name == "cross-structure")
        .unwrap();
    same(
        "cross_structure.least_clearance_m",
        clear.stats.least_clearance_m,
    );
}

#[test]
fn classes_of_a_scatter_diagram_are_seas() {
    let dir = TempDir::new().unwrap();
    let diagram = json!({
        "format": "ridewright.scatter/1", "name": "test area", "source": "invented",
        "period_edges_s": [4, 6, 8], "hs_edges_m": [0, 1, 2], "occurrences": [[3, 1], [0, 2]]
    });
    fs::write(dir.path().join("scatter.json"), diagram.to_string()).unwrap();
    let file = write_campaign(dir.path(), |c| {
        c["seas"] = json!([]);
        c["scatter"] = json!("scatter.json");
        c["draws"]["fixed"]["count"] = json!(1);
    });
    let rig = Rig::new(&campaign_bundle(&file).unwrap(), Some(&cache())).unwrap();
    let seas = &rig.grid.seas;
    assert_eq!(seas.len(), 3, "the class that never occurs is left out");
    assert!(seas[2].contains("Hs 1.50 m, Tp 7.0 s"), "{}", seas[2]);
    assert_eq!(rig.grid.cases(), 2 * 3 * 2);
    let neither = write_campaign(dir.path(), |c| c["seas"] = json!([]));
    let wrong = campaign_bundle(&neither).unwrap_err().to_string();
    assert!(wrong.contains("there is no scatter diagram"), "{wrong}");
}

#[test]
fn a_column_that_is_not_there_is_told() {
    let dir = TempDir::new().unwrap();
    let file = write_campaign(dir.path(), |c| {
        c["report"] = json!(["heave.rms"]);
        c["draws"] = json!({"until": {"quantity": "pitch", "half_width_frac": 0.1, "most": 32}});
    });
    let out = campaign(&file, &dir.path().join("out"), &[]);
    assert_eq!(out.status.code(), Some(2));
    let words = told(&out);
    for part in [
        "report[0]",
        "did you mean \"heave.rms_m\"?",
        "draws.until.quantity",
    ] {
        assert!(words.contains(part), "{part}: {words}");
    }
}

/// Factors in the simulator's plant against the linear model's own factors.
#[test]
fn stiffness_factors_do_what_they_say() {
    let model = model(&PhysicsSpec::default());
    let (plant, trim) = held_plant(&model, 16.0);
    let mass = &model.craft.mass;
    let a = |p: &ridewright::dynamics::plant::Plant| assemble(p, &trim.x, None).a;
    let nominal = a(&plant);
    let draw = Draw {
        factors: Factors {
            roll_stiffness: 0.8,
            pitch_stiffness: 1.3,
            ..Factors::NOMINAL
        },
        ..Draw::default()
    };
    let changed = a(&draw.plant(&plant, mass, &trim.x));
    // hydrostatic stiffness, N m/rad, by differences of the restoring moment
    let righting = |p: &ridewright::dynamics::plant::Plant, state: usize| {
        let calm = vec![0.0; p.channels().len()];
        let moment = |d: f64| {
            let mut x = trim.x.clone();
            x[state] += d;
            derivative(p, &x, &calm, &trim.surface_rad, &trim.thrust_n)
        };
        let (up, down) = (moment(1e-3), moment(-1e-3));
        (up[6 + state] - down[6 + state]) / 2e-3
    };
    for (state, factor) in [(3, 0.8), (4, 1.3)] {
        let by_linear = changed[(6 + state, state)] - nominal[(6 + state, state)];
        let by_plant =
            righting(&draw.plant(&plant, mass, &trim.x), state) - righting(&plant, state);
        // second order of the difference over 1 mrad, and the step of the linear model
        assert!(
            (by_plant / by_linear - 1.0).abs() < 0.02,
            "{state}: {by_plant} {by_linear}"
        );
        // less stiffness rights less: the change has the sign of 1 - factor
        assert!(by_plant * (1.0 - factor) > 0.0, "{state}: {by_plant}");
    }
    // a centre of gravity that rises by d takes m g d of stiffness, roll and pitch alike
    let up = Draw {
        weight_up_m: 0.1,
        ..Draw::default()
    };
    let risen = up.plant(&plant, mass, &trim.x);
    let ridewright::dynamics::plant::RestoringModel::Nonlinear(r) = &risen.restoring else {
        panic!("the exact restoring");
    };
    let ridewright::dynamics::plant::RestoringModel::Nonlinear(r0) = &plant.restoring else {
        panic!("the exact restoring");
    };
    let slope = |r: &ridewright::geometry::restoring::Restoring| {
        (r.net(0.0, 1e-3, 0.0)[3] - r.net(0.0, -1e-3, 0.0)[3]) / 2e-3
    };
    let want = 0.1 * mass.mass_kg * plant.g_m_s2;
    assert!(((slope(r) - slope(r0)) / want - 1.0).abs() < 1e-3);
    assert!(
        (risen.mass[(3, 3)] / plant.mass[(3, 3)] - 1.0).abs() > 1e-6,
        "inertia follows"
    );
}

/// pandas reads what is exported: types, numbers to the bit, empty cells.
#[test]
fn pandas_reads_the_export() {
    let dir = TempDir::new().unwrap();
    let file = write_campaign(dir.path(), |c| c["draws"]["fixed"]["count"] = json!(3));
    let out = dir.path().join("out");
    assert!(campaign(&file, &out, &[]).status.success());
    let mut c = program(&["--quiet", "export"]);
    let exported = c.arg(&out).output().unwrap();
    assert!(exported.status.success(), "{}", told(&exported));
    let text = fs::read_to_string(out.join("rows.csv")).unwrap();
    assert_eq!(text.lines().count(), 13, "a head and twelve rows");
    assert!(text.starts_with("case,draw,seed,craft,loading,speed_kn,"));
    assert!(out.join("rows.parquet").is_file());
    let history = campaign(&file, &out, &["--case", "5"]);
    assert!(history.status.success(), "{}", told(&history));
    let has = |m: &str| {
        let mut c = Command::new("python3");
        let c = c
            .args(["-c", m])
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        c.status().is_ok_and(|s| s.success())
    };
    if !has("import pandas, pyarrow") {
        eprintln!("SKIPPED: python3 has no pandas with pyarrow");
        return;
    }
    let script = r#"
import sys, json, pandas as pd
folder = sys.argv[1]
p = pd.read_parquet(folder + "/rows.parquet")
c = pd.read_csv(folder + "/rows.csv", float_precision="round_trip")
assert list(p.columns) == list(c.columns), "columns"
assert len(p) == 12 and p["case"].dtype == "int64" and p["heave.rms_m"].dtype == "float64"
assert p["ended_s"].isna().all(), "empty cells"
assert p["in_validity"].dtype == "bool" and p["in_validity"].all()
rows = [json.loads(l[9:]) for l in open(folder + "/rows.jsonl")][1:]
head = json.loads(open(folder + "/rows.jsonl").readline()[9:])
k = head["columns"].index("heave.rms_m")
for i, r in enumerate(rows):
    assert p["heave.rms_m"][i] == r["numbers"][k] == c["heave.rms_m"][i], "to the bit"
    assert p["drawn.damping_factor"][i] == r["drawn"][0]
assert set(p["law"]) == set(head["grid"]["laws"])
h = pd.read_parquet(folder + "/history_5.parquet")
assert len(h) == 51 and "pitch (rad)" in h.columns, list(h.columns)[:5]
"#;
    let python = Command::new("python3")
        .args(["-c", script])
        .arg(&out)
        .output()
        .unwrap();
    assert!(python.status.success(), "{}", told(&python));
}
