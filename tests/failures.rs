//! Promises of the failure matrix, on the smaller demonstration craft.
#![allow(clippy::unwrap_used)] // tests

mod common;

use std::path::Path;
use std::sync::{Mutex, OnceLock};

use ridewright::campaign::batch::head::Target;
use ridewright::campaign::batch::inputs;
use ridewright::campaign::failures::journal::{FILE, Head};
use ridewright::campaign::failures::{
    Descent, Journal, Looks, Matrix, Row, Severity, in_seas, matrix, troubles,
};
use ridewright::campaign::stage::Stage;
use ridewright::closed_loop::LoopCraft;
use ridewright::closed_loop::faulted::{Left, LinearFault, verdict};
use ridewright::closed_loop::poles::poles;
use ridewright::closed_loop::schedule::frozen::at_held_speed;
use ridewright::control::from_spec;
use ridewright::control::linear::LinearLaw;
use ridewright::spec::craft::SurfaceGroup;
use ridewright::spec::failures::FailuresSpec;
use ridewright::spec::load::load_controller;
use ridewright::spec::validate::{FailuresBundle, failures_bundle};
use ridewright::units::kn;

/// A small matrix: one flap hard over, and both aft flaps lost.
const FAILURES: &str = r#"{
  "format": "ridewright.failures/1", "name": "small", "scenario": "scenario.json",
  "breaks_within_s": [30, 35], "sensors": [], "surfaces": [], "supplies": [],
  "least_speed_kn": 12, "speed_step_kn": 2, "limits": { "disk_margin": 0.6 },
  "together": [
    { "name": "aft port hard over", "faults": [
      { "surface": { "name": "aft port", "failure": { "hard_over": { "stop": "max" } } } } ] },
    { "name": "both aft lost", "faults": [
      { "surface": { "name": "aft port", "failure": { "lost": {} } } },
      { "surface": { "name": "aft starboard", "failure": { "lost": {} } } } ] }
  ]
}"#;

/// The files of the small matrix in a folder of their own.
fn files() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let at = |p: &str| root.join(p).display().to_string().replace('\\', "/");
    let scenario = serde_json::json!({
        "format": "ridewright.scenario/1", "name": "small",
        "craft": at("scenarios/craft/coastal_survey.json"),
        "sea": at("scenarios/sea/moderate_1m25.json"),
        "controllers": [at("controllers/fixed.json"), at("controllers/pid.json")],
        "speeds_kn": [16], "headings_deg": [150], "seeds": [1],
        "duration_s": 140, "run_in_s": 20,
        "physics": {
            "stations_x_m": [-14, -7, 0, 7, 14],
            "frequencies_rad_s": [0.2, 0.6, 1.0, 1.8, 3.0]
        }
    });
    std::fs::write(dir.path().join("scenario.json"), scenario.to_string()).unwrap();
    std::fs::write(dir.path().join("failures.json"), FAILURES).unwrap();
    dir
}

fn stage() -> &'static (Stage, FailuresSpec) {
    static STAGE: OnceLock<(Stage, FailuresSpec)> = OnceLock::new();
    STAGE.get_or_init(|| {
        let dir = files();
        let b = failures_bundle(dir.path().join("failures.json")).unwrap();
        (Stage::new(&b.scenario, None).unwrap(), b.failures.spec)
    })
}

/// Made once for each speed.
fn craft(speed_kn: f64) -> LoopCraft {
    static MADE: Mutex<Vec<(f64, LoopCraft)>> = Mutex::new(Vec::new());
    let mut made = MADE.lock().unwrap();
    let is_it = |m: &&(f64, LoopCraft)| m.0.total_cmp(&speed_kn).is_eq();
    if let Some(found) = made.iter().find(is_it) {
        return found.1.clone();
    }
    let s = &stage().0;
    let new = LoopCraft::new(&s.model, kn(speed_kn), &s.scenario.course).unwrap();
    made.push((speed_kn, new.clone()));
    new
}

fn pid(craft: &LoopCraft) -> LinearLaw {
    let file = load_controller("controllers/pid.json").unwrap();
    let mut law = from_spec(&file.spec, Path::new("controllers"), None).unwrap();
    law.reset(&craft.setup).unwrap();
    law.linear().unwrap()
}

fn group(craft: &LoopCraft, which: SurfaceGroup, left: Left) -> LinearFault {
    let surfaces = craft.plant.surfaces.iter().enumerate();
    LinearFault {
        surfaces: surfaces
            .filter(|(_, s)| s.group == which)
            .map(|(i, _)| (i, left))
            .collect(),
        ..LinearFault::default()
    }
}

/// A jam told to the craft alone and a jam told to the law alone are one loop; the motions' matrix is untouched.
#[test]
fn a_jam_leaves_the_craft_and_takes_the_command() {
    let sound = craft(16.0);
    let law = pid(&sound);
    let jam = group(&sound, SurfaceGroup::Forward, Left::Held);
    let jammed = jam.craft(&sound);
    assert_eq!(jammed.linear.a, sound.linear.a);
    // least stable first; filters and delays of the command that moves nothing differ in number
    let by_craft = poles(&jammed, &law).unwrap();
    let by_law = poles(&sound, &jam.law(&law)).unwrap();
    for (a, b) in by_craft.iter().zip(&by_law).take(6) {
        assert!((a - b).norm() < 1e-6 * (1.0 + b.norm()), "{a} {b}");
    }
    let shifted = (poles(&sound, &law).unwrap()[2] - by_law[2]).norm();
    assert!(
        shifted > 1e-6,
        "the forward pair did nothing in the sound loop"
    );
}

/// Speeds up to which divergence is looked for, kn.
const LOOKED_KN: f64 = 40.0;

/// Least speed at which a pole of the craft with fins fixed and these aft surfaces lost grows, to a quarter of a knot;
/// infinite where there is none.
fn divergence_kn(lost: &[&str]) -> f64 {
    let none = LinearLaw::none(craft(16.0).setup.sample_period_s);
    let grows = |u: f64| {
        let sound = craft(u);
        let surfaces = sound.plant.surfaces.iter().enumerate();
        let fault = LinearFault {
            surfaces: surfaces
                .filter(|(_, s)| lost.contains(&s.name.as_str()))
                .map(|(i, _)| (i, Left::Nothing))
                .collect(),
            ..LinearFault::default()
        };
        assert_eq!(fault.surfaces.len(), lost.len());
        let told = verdict(&fault.craft(&sound), &none).unwrap();
        // what diverges does so without swinging
        assert!(told.growing_1_s.is_none_or(|p| p[1].abs() < 1e-9));
        !told.is_stable
    };
    let steps = (0..).map(|k| 8.0 + 2.0 * f64::from(k));
    let Some(mut high) = steps.take_while(|u| *u <= LOOKED_KN).find(|u| grows(*u)) else {
        return f64::INFINITY;
    };
    let mut low = high - 2.0;
    while high - low > 0.25 {
        let middle = 0.5 * (low + high);
        if grows(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

/// Losing aft fins takes their stabilising lift: the divergence speed by the poles falls, with one of the pair already.
#[test]
fn a_lost_aft_fin_lowers_the_divergence_speed_and_a_pair_more() {
    let pair = divergence_kn(&["aft port", "aft starboard"]);
    let port = divergence_kn(&["aft port"]);
    let starboard = divergence_kn(&["aft starboard"]);
    let sound = divergence_kn(&[]);
    let all =
        format!("sound {sound} kn, port lost {port}, starboard lost {starboard}, both lost {pair}");
    // a mirror image diverges at the same speed
    assert!((port - starboard).abs() < 1e-9, "{all}");
    assert!(sound > port + 1.0 && port > pair + 1.0, "{all}");
    assert!((12.0..16.0).contains(&pair), "{all}");
}

/// Second method: the heave and pitch rows of the broken craft's linear model are the central differences of the
/// nonlinear plant without the pair.
#[test]
fn the_broken_linear_model_is_the_broken_plants_derivative() {
    let sound = craft(16.4); // off the rows of the resistance table
    let fault = group(&sound, SurfaceGroup::Aft, Left::Nothing);
    let broken = fault.craft(&sound);
    let plant = &broken.plant;
    let trim = &sound.trim;
    let waves = vec![0.0; plant.channels().len()];
    for row in [8, 10] {
        let scale = broken.linear.a.row(row).amax();
        for column in [4, 8, 10] {
            let h = if column == 4 { 2e-3 } else { 1e-4 };
            let at = |sign: f64| {
                let mut x = trim.x.clone();
                x[column] += sign * h;
                common::derivative(plant, &x, &waves, &trim.surface_rad, &trim.thrust_n)[row]
            };
            let numeric = (at(1.0) - at(-1.0)) / (2.0 * h);
            let told = broken.linear.a[(row, column)];
            // restoring is differenced over its table cells by the model itself, drag is quadratic
            assert!(
                (numeric - told).abs() < 2e-3 * scale,
                "{row} {column}: {numeric} {told}"
            );
        }
        let lost = (broken.linear.a[(row, 8)] - sound.linear.a[(row, 8)]).abs();
        assert!(lost > 0.02 * scale, "the pair did nothing in row {row}");
    }
}

#[test]
fn a_dead_sensor_is_a_zero_column_of_the_law() {
    let sound = craft(14.0);
    let law = pid(&sound);
    let rate = ridewright::closed_loop::reading::Quantity::Rate(1);
    let fault = LinearFault {
        readings: vec![(rate, 0.0)],
        ..LinearFault::default()
    };
    let mut deaf = law.clone();
    let k = law
        .signals
        .iter()
        .position(|s| *s == ridewright::control::linear::LawSignal::PitchRate)
        .unwrap();
    deaf.b.column_mut(k).fill(0.0);
    deaf.d.column_mut(k).fill(0.0);
    let by_sensor = poles(&fault.craft(&sound), &law).unwrap();
    let by_law = poles(&sound, &deaf).unwrap();
    for (a, b) in by_sensor.iter().zip(&by_law).take(6) {
        assert!((a - b).norm() < 1e-6 * (1.0 + b.norm()), "{a} {b}");
    }
}

/// Speeds of the searches below, kn.
const GRID_KN: [f64; 4] = [16.0, 14.0, 12.0, 10.0];

fn descent<'a>(
    crafts: &'a [LoopCraft],
    laws: &'a [LinearLaw],
    fault: &'a LinearFault,
) -> Descent<'a> {
    let (stage, spec) = stage();
    Descent {
        stage,
        heading_deg: 150.0,
        crafts,
        laws: Some(laws),
        fault,
        limits: &spec.limits,
        here: None,
        known: None,
    }
}

/// Fins fixed and no aft pair: the search ends below the speed at which the craft turns over.
#[test]
fn the_speed_to_come_down_to_holds_and_the_next_does_not() {
    let crafts = GRID_KN.map(craft);
    let fault = group(&crafts[0], SurfaceGroup::Aft, Left::Nothing);
    let laws: Vec<LinearLaw> = crafts
        .iter()
        .map(|c| LinearLaw::none(c.setup.sample_period_s))
        .collect();
    let descent = descent(&crafts, &laws, &fault);
    let mut tried = Vec::new();
    let found = descent
        .search(&mut |k| {
            tried.push(k);
            Ok(None)
        })
        .unwrap();
    // second method: where a real pole crosses zero the determinant of the craft's matrix changes its sign; the heading,
    // which nothing but the rudders springs back, is left out
    let sign = |k: usize| {
        let mut craft = at_held_speed(&fault.craft(&crafts[k]));
        craft.kept.retain(|i| *i != 5);
        craft.kept_a().determinant().signum()
    };
    let slow = sign(crafts.len() - 1);
    let k = (0..crafts.len())
        .find(|k| (sign(*k) - slow).abs() < 0.5)
        .unwrap();
    assert!(k > 0, "the craft without its aft pair must slow down");
    assert!(
        (found.speed_kn.unwrap() - GRID_KN[k]).abs() < 1e-9,
        "{found:?}"
    );
    assert_eq!(
        tried,
        [k],
        "a speed that the poles rule out is not simulated"
    );
    assert!(found.fails.unwrap().starts_with("unstable: pole"));
    assert_eq!(found.fails_above, descent.failing(k - 1).unwrap());
}

/// The PID's forward flaps hold the craft that diverges with fins fixed.
#[test]
fn a_law_can_hold_what_fixed_fins_cannot() {
    let crafts = [craft(16.0)];
    let fault = group(&crafts[0], SurfaceGroup::Aft, Left::Nothing);
    let fixed = [LinearLaw::none(crafts[0].setup.sample_period_s)];
    let law = [pid(&crafts[0])];
    let by_fixed = descent(&crafts, &fixed, &fault).linear(0).unwrap().unwrap();
    let by_law = descent(&crafts, &law, &fault);
    let told = by_law.linear(0).unwrap().unwrap();
    assert!(!by_fixed.is_stable && told.is_stable);
    // by its margin it is told apart from the sound loop
    let none = LinearFault::default();
    let sound = descent(&crafts, &law, &none).linear(0).unwrap().unwrap();
    assert!(told.disk.unwrap() < sound.disk.unwrap());
}

#[test]
fn a_trial_that_fails_sends_the_search_further_down() {
    let crafts = [16.0, 14.0, 12.0].map(craft);
    let laws: Vec<LinearLaw> = crafts.iter().map(pid).collect();
    let none = LinearFault::default();
    let descent = descent(&crafts, &laws, &none);
    let told = |k: usize| Ok((k < 2).then(|| format!("no at {k}")));
    let found = descent.search(&mut { told }).unwrap();
    assert!((found.speed_kn.unwrap() - 12.0).abs() < 1e-9, "{found:?}");
    assert_eq!(found.fails.as_deref(), Some("no at 0"));
    assert_eq!(found.fails_above.as_deref(), Some("no at 1"));
    let found = descent
        .search(&mut |k| Ok(Some(format!("no at {k}"))))
        .unwrap();
    assert_eq!(
        (found.speed_kn, found.fails_above),
        (None, Some("no at 2".to_owned()))
    );
}

/// A look after one seed, another after two.
fn looks() -> Looks {
    Looks::new(&stage().0.scenario.seeds, 1, Some(2))
}

fn head() -> Head {
    Head::new(Vec::new(), Target::here("program", "processor"), looks())
}

/// The small matrix on some threads, with what a journal in `folder` has.
fn on_threads(count: usize, folder: &Path) -> Matrix {
    let (stage, spec) = stage();
    let journal = Journal::open(folder, &head()).unwrap();
    let pool = rayon::ThreadPoolBuilder::new().num_threads(count).build();
    pool.unwrap()
        .install(|| {
            matrix(
                std::slice::from_ref(stage),
                spec,
                &looks(),
                Some(&journal),
                &|| {},
            )
        })
        .unwrap()
}

/// The small matrix on one thread, and the lines that its journal had at the end.
fn small() -> &'static (Matrix, String) {
    static SMALL: OnceLock<(Matrix, String)> = OnceLock::new();
    SMALL.get_or_init(|| {
        let dir = tempfile::tempdir().unwrap();
        let found = on_threads(1, dir.path());
        (
            found,
            std::fs::read_to_string(dir.path().join(FILE)).unwrap(),
        )
    })
}

fn row(fault: &str, law: &str) -> &'static Row {
    let rows = small().0.rows.iter();
    let mut of = rows.filter(|r| r.fault == fault && r.law == law);
    of.next().unwrap()
}

/// On one thread, and on three with half of the rows from a run that was stopped: the same to the byte.
#[test]
fn rows_do_not_depend_on_threads_or_stops() {
    let (one, lines) = small();
    let dir = tempfile::tempdir().unwrap();
    let kept: Vec<&str> = lines.split_inclusive('\n').take(3).collect();
    std::fs::write(dir.path().join(FILE), kept.concat() + "torn").unwrap();
    let journal = Journal::open(dir.path(), &head()).unwrap();
    assert_eq!(journal.read_back(), 2, "the head, and two rows");
    drop(journal);
    let three = on_threads(3, dir.path());
    let text = |m: &Matrix| serde_json::to_string(m).unwrap();
    assert_eq!(text(one), text(&three));
    // two faults and the sound craft, two laws
    assert_eq!(one.rows.len(), 6);
    let severities: Vec<Severity> = one.rows.iter().map(|r| r.severity).collect();
    assert!(
        severities.windows(2).all(|w| w[0] >= w[1]),
        "{severities:?}"
    );
}

/// Every kind of failure of every surface, sensor and supply stands in the list of a file that names none.
#[test]
fn a_file_that_names_nothing_tries_every_single_fault() {
    let (stage, spec) = stage();
    let text = r#"{ "format": "ridewright.failures/1", "name": "all", "scenario": "scenario.json",
        "breaks_within_s": [30, 35] }"#;
    let all: FailuresSpec = serde_json::from_str(text).unwrap();
    let names: Vec<String> = troubles(&all, stage).into_iter().map(|t| t.name).collect();
    for name in [
        "aft port jams",
        "aft port jams at 10 deg",
        "aft port jams at -10 deg",
        "aft port hard over, greatest angle",
        "aft port hard over, least angle",
        "aft port trails",
        "aft port slow, 25 % of its rate",
        "aft port oscillates 5 deg, 0.5 Hz",
        "aft port backlash 2 deg",
        "aft port lost",
        "roll sensor biased 3 deg",
        "roll sensor drifts 1 deg/min",
        "roll sensor frozen",
        "roll sensor drops out",
        "roll sensor noise 1 deg",
        "roll sensor scaled by 0.5",
        "roll sensor 0.5 s late",
        "roll sensor sign swapped",
        "angle sensor of aft port biased 5 deg",
        "motion unit sign swapped",
        "port hydraulics lost",
        "port hydraulics at 30 %",
        "all hydraulics lost",
        "all hydraulics at 30 %",
    ] {
        assert!(names.iter().any(|n| n == name), "{name} is not tried");
    }
    // six surfaces in ten ways; ten sensors of the motion unit, log and compass, two heights, six angles in eight, the
    // unit in five; two supplies and both in two; none
    assert_eq!(names.len(), 60 + 18 * 8 + 5 + 6 + 1);
    assert_eq!(
        troubles(spec, stage).len(),
        3,
        "lists that are empty try nothing"
    );
}

/// The same faults in a second sea are rows of their own, and a spectrum that a sea refers to belongs to the inputs.
#[test]
fn seas_are_rows_and_inputs() {
    let dir = files();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let own = std::fs::read_to_string(root.join("scenarios/sea/moderate_1m25.json")).unwrap();
    std::fs::write(dir.path().join("own.json"), own).unwrap();
    let measured = r#"{ "format": "ridewright.sea/1", "name": "measured", "note": "invented",
        "systems": [ { "spectrum": { "measured": { "file": "waves.csv" } } } ] }"#;
    std::fs::write(dir.path().join("measured.json"), measured).unwrap();
    let waves = |s2: f64| {
        let text = format!("omega_rad_s,s_m2_s\n0.5,0\n0.8,{s2}\n1.2,0.05\n2.0,0\n");
        std::fs::write(dir.path().join("waves.csv"), text).unwrap();
    };
    waves(0.2);
    let text = FAILURES.replacen(
        "\"breaks_within_s\"",
        "\"seas\": [\"own.json\", \"measured.json\"], \"breaks_within_s\"",
        1,
    );
    std::fs::write(dir.path().join("failures.json"), text).unwrap();
    let bundle = failures_bundle(dir.path().join("failures.json")).unwrap();
    let names: Vec<&str> = bundle.seas.iter().map(|s| s.spec.name.as_str()).collect();
    assert_eq!(names[1], "measured");
    let (stage, spec) = stage();
    let stages = in_seas(stage, &bundle.seas);
    let found = matrix(&stages, spec, &Looks::new(&[1], 1, None), None, &|| {}).unwrap();
    assert_eq!(found.rows.len(), 12);
    let one = |sea: &str| {
        let mut of = found
            .rows
            .iter()
            .filter(|r| r.sea == sea && r.law == "modal PID");
        of.find(|r| r.fault == "both aft lost").unwrap().clone()
    };
    let (first, second) = (one(names[0]), one("measured"));
    assert_eq!(first.linear, second.linear, "poles know no sea");
    assert_ne!(first.spread.roll_after_deg, second.spread.roll_after_deg);
    // rows of the first sea are those of the scenario alone
    let alone = row("both aft lost", "modal PID");
    assert_eq!(alone.runs[0], first.runs[0]);

    let head = |bundle: &FailuresBundle| {
        let home = bundle.failures.source.folder();
        let laws = &bundle.scenario.controllers;
        let inputs = inputs::inputs(home, &bundle.sources(), &bundle.seas, laws);
        Head::new(inputs, Target::here("program", "processor"), looks())
    };
    drop(Journal::open(dir.path(), &head(&bundle)).unwrap());
    waves(0.3);
    let refused = Journal::open(dir.path(), &head(&bundle))
        .err()
        .unwrap()
        .to_string();
    assert!(refused.contains("waves.csv has changed"), "{refused}");
}

/// The PID without aft flaps misses the margin that the file asks for, and slows down to have it: no sooner than the
/// throttles can in calm water by Newton's second law, to the quarter of a knot that counts as reached.
#[test]
fn slowing_down_is_simulated() {
    let lost = row("both aft lost", "modal PID");
    let sound = row("nothing breaks", "modal PID");
    assert_eq!(
        (sound.severity, lost.severity),
        (Severity::None, Severity::SlowDown),
        "{}",
        lost.because
    );
    assert_eq!(lost.come_down.linear_only, None);
    assert!(
        lost.come_down
            .fails
            .as_ref()
            .unwrap()
            .starts_with("disk margin")
    );
    let slow = &lost.slow_down.as_ref().unwrap().runs[0];
    let (slowed, calm) = (slow.slowed_after_s.unwrap(), lost.slowed_in_calm_s.unwrap());
    assert!(
        calm > reaction_s() && slowed > calm - 2.0,
        "{slowed} s, {calm} s at best"
    );
    assert!(slow.there.as_ref().unwrap().length_s >= 20.0 && slow.limit_there.is_none());
    // with fins fixed she pitches beyond the limit long before: too late
    let fixed = row("both aft lost", "fins fixed");
    assert_eq!(fixed.severity, Severity::LimitPassed, "{}", fixed.because);
    assert!(fixed.limit.as_ref().unwrap().after_s < reaction_s() + 5.0);
}

fn reaction_s() -> f64 {
    stage().1.reaction_s
}

#[test]
fn a_tiny_matrix_through_the_command_line() {
    let dir = files();
    let out = dir.path().join("out");
    let run = std::process::Command::new(env!("CARGO_BIN_EXE_ridewright"))
        .args(["--no-cache", "failures"])
        .arg(dir.path().join("failures.json"))
        .args(["--only", "modal PID", "--seeds", "1", "--json", "--out"])
        .arg(&out)
        .output()
        .unwrap();
    let err = String::from_utf8_lossy(&run.stderr);
    assert!(matches!(run.status.code(), Some(0 | 1)), "{err}");
    let told: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!(told["matrix"]["rows"].as_array().unwrap().len(), 3);
    for name in ["failures.json", "failures.png", "failures.svg"] {
        assert!(out.join(name).is_file(), "{name}");
    }
    assert!(
        !out.join("failures.part.jsonl").exists(),
        "only while it runs"
    );
}

#[test]
fn a_wrong_file_names_its_key() {
    let dir = files();
    let text = FAILURES.replacen("\"aft port\"", "\"aft prot\"", 1);
    std::fs::write(dir.path().join("failures.json"), text).unwrap();
    let told = failures_bundle(dir.path().join("failures.json"))
        .unwrap_err()
        .to_string();
    assert!(
        told.contains("together[0].faults[0].surface.name"),
        "{told}"
    );
    let text = FAILURES.replacen(
        "\"least_speed_kn\"",
        "\"until_decided\": { \"most\": 0 }, \"seas\": [\"no.json\"], \"least_speed_kn\"",
        1,
    );
    std::fs::write(dir.path().join("failures.json"), text).unwrap();
    let told = failures_bundle(dir.path().join("failures.json"))
        .unwrap_err()
        .to_string();
    assert!(told.contains("until_decided.most"), "{told}");
    let text = FAILURES.replacen("[30, 35]", "[5, 6]", 1);
    std::fs::write(dir.path().join("failures.json"), text).unwrap();
    let told = failures_bundle(dir.path().join("failures.json"))
        .unwrap_err()
        .to_string();
    assert!(
        told.contains("breaks_within_s") && told.contains("run-in"),
        "{told}"
    );
}
