//! Promises of every control law: files load, signs hold, reset forgets, outside laws fail cleanly.

#![allow(clippy::unwrap_used)] // a test that cannot go on stops

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};
use ridewright::control::external::External;
use ridewright::control::signal::{FinCommand, Measurement, Setup, SurfaceSetup, vertical};
use ridewright::control::{Controller, from_spec};
use ridewright::design::model::{DesignChannel, DesignModel, ModalPlant};
use ridewright::error::Result;
use ridewright::frames::body_to_earth;
use ridewright::spec::controller::{ControllerSpec, ExternalSpec, LawSpec};
use ridewright::spec::craft::SurfaceGroup;
use ridewright::units::{G_M_S2, kn};

#[path = "controllers/linear_form.rs"]
mod linear_form;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("controllers")
}

fn load(name: &str) -> ControllerSpec {
    let text = std::fs::read_to_string(folder().join(name)).unwrap();
    serde_json::from_str(&text).unwrap()
}

/// Two forward fins, two aft flaps, one rudder; force 400 kN/rad each at 9 m/s.
fn setup() -> Setup {
    let fin = |name: &str, group, x: f64, y: f64, n: Vector3<f64>| {
        let r_m = Vector3::new(x, y, 2.0);
        SurfaceSetup {
            name: name.into(),
            group,
            r_m,
            n,
            effectiveness: 400e3 / 81.0,
            influence: SurfaceSetup::influence_at(&r_m, &n, 400e3),
            trim_rad: 0.02,
            min_rad: -0.35,
            max_rad: 0.35,
            rate_rad_s: 0.4,
            servo: ridewright::control::signal::ServoSetup::default(),
        }
    };
    let up = Vector3::new(0.0, 0.0, -1.0);
    Setup {
        surfaces: vec![
            fin("fwd_p", SurfaceGroup::Forward, 8.0, -4.0, up),
            fin("fwd_s", SurfaceGroup::Forward, 8.0, 4.0, up),
            fin("aft_p", SurfaceGroup::Aft, -10.0, -4.0, up),
            fin("aft_s", SurfaceGroup::Aft, -10.0, 4.0, up),
            fin("rudder", SurfaceGroup::Rudder, -13.0, 0.0, Vector3::y()),
        ],
        wakes: Vec::new(),
        sample_period_s: 0.1,
        motion_unit_m: Vector3::new(0.0, 0.0, -3.0),
        height_sensors_m: vec![Vector3::new(0.0, 0.0, -3.0)],
        nominal_speed_m_s: 9.0,
        influence_speed_m_s: 9.0,
        trim_heave_m: 0.0,
        trim_pitch_rad: 0.01,
        displacement_kg: 250e3,
        heave_mass_kg: 475e3,
        roll_inertia_kg_m2: 9e6,
        pitch_inertia_kg_m2: 26e6,
        supplies_rad_s: Vec::new(),
        sensors: ridewright::control::signal::SensorSetup::default(),
    }
}

/// Visible note and `None` where there is no Python.
fn python(test: &str) -> Option<()> {
    let found = std::process::Command::new("python3")
        .arg("--version")
        .output();
    if found.is_ok_and(|o| o.status.success()) {
        return Some(());
    }
    // straight to standard error: the test harness hides what a passing test prints
    let _ = writeln!(
        std::io::stderr(),
        "SKIPPED {test}: no python3 on this machine"
    );
    None
}

fn laws(test: &str) -> Vec<Box<dyn Controller>> {
    let mut files = vec!["fixed.json", "pid.json"];
    if python(test).is_some() {
        files.push("external_python.json");
    }
    files
        .into_iter()
        .map(|f| from_spec(&load(f), &folder(), None).unwrap())
        .collect()
}

/// Twenty samples of a craft that sinks, pitches and rolls.
fn conversation(law: &mut dyn Controller, setup: &Setup) -> Result<Vec<Vec<f64>>> {
    law.reset(setup)?;
    let mut u = FinCommand::at_trim(setup);
    let mut out = Vec::new();
    for k in 0..20 {
        let t = 0.1 * f64::from(k);
        let mut y = Measurement::at_trim(setup);
        y.theta_rad += 0.02 * t.sin();
        y.phi_rad = 0.03 * t;
        y.rates_rad_s = Vector3::new(0.03, 0.02 * t.cos(), 0.0);
        y.specific_force_m_s2.z += 0.2 * t.cos();
        y.surface_rad.clone_from(&u.fin_rad);
        law.update(t, &y, &mut u)?;
        out.push(u.fin_rad.clone());
    }
    Ok(out)
}

#[test]
fn shipped_files_load_and_round_trip() {
    for f in [
        "fixed.json",
        "pid.json",
        "lqr.json",
        "lqr_perfect_state.json",
        "external_python.json",
    ] {
        let spec = load(f);
        let text = serde_json::to_string(&spec).unwrap();
        assert_eq!(
            serde_json::from_str::<ControllerSpec>(&text).unwrap(),
            spec,
            "{f}"
        );
        assert!(!spec.note.is_empty(), "{f} says why");
    }
    let e = from_spec(&load("lqr.json"), &folder(), None)
        .err()
        .unwrap()
        .to_string();
    assert!(e.contains("LQG") && e.contains("no gains"), "{e}");
    let mut other = load("fixed.json");
    other.format = "ridewright.controller/9".into();
    assert!(
        from_spec(&other, &folder(), None)
            .err()
            .unwrap()
            .to_string()
            .contains("/9")
    );
}

#[test]
fn reset_forgets_and_runs_repeat() {
    let setup = setup();
    for mut law in laws("reset_forgets_and_runs_repeat") {
        let first = conversation(law.as_mut(), &setup).unwrap();
        let again = conversation(law.as_mut(), &setup).unwrap();
        assert_eq!(first, again, "{}", law.info().name);
    }
}

#[test]
fn rudders_and_limits_are_left_alone() {
    let setup = setup();
    for mut law in laws("rudders_and_limits_are_left_alone") {
        for fins in conversation(law.as_mut(), &setup).unwrap() {
            assert!((fins[4] - 0.02).abs() < f64::EPSILON, "{}", law.info().name);
            assert!(fins.iter().all(|a| a.abs() <= 0.35 + 1e-12));
        }
    }
}

#[test]
fn before_reset_there_is_no_command() {
    let setup = setup();
    let mut u = FinCommand::at_trim(&setup);
    let y = Measurement::at_trim(&setup);
    let mut pid = from_spec(&load("pid.json"), &folder(), None).unwrap();
    let e = pid.update(0.0, &y, &mut u).unwrap_err().to_string();
    assert!(e.contains("before it was reset"), "{e}");
}

#[test]
fn sinking_craft_is_lifted_by_every_law_that_acts_on_heave() {
    let setup = setup();
    for mut law in laws("sinking_craft_is_lifted").into_iter().skip(1) {
        law.reset(&setup).unwrap();
        let mut u = FinCommand::at_trim(&setup);
        let mut y = Measurement::at_trim(&setup);
        y.specific_force_m_s2.z += 0.5;
        for k in 0..10 {
            law.update(0.1 * f64::from(k), &y, &mut u).unwrap();
        }
        assert!(
            u.fin_rad[..4].iter().all(|a| *a > 0.03),
            "{} {:?}",
            law.info().name,
            u.fin_rad
        );
    }
}

/// The recorded conversation: what was sent, what the example answered.
#[test]
fn external_example_conforms_to_the_transcript() {
    if python("external_example_conforms_to_the_transcript").is_none() {
        return;
    }
    let text = std::fs::read_to_string(folder().join("conformance/heave_damper.jsonl")).unwrap();
    let mut child = std::process::Command::new("python3")
        .arg("external/python_heave_damper/heave_damper.py")
        .current_dir(folder())
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    let mut output = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut answers = 0;
    for line in text.lines() {
        let entry: serde_json::Value = serde_json::from_str(line).unwrap();
        let message = &entry["message"];
        if entry["from"] == "ridewright" {
            writeln!(input, "{message}").unwrap();
        } else {
            let got: serde_json::Value =
                serde_json::from_str(&output.next().unwrap().unwrap()).unwrap();
            assert_eq!(got["type"], message["type"]);
            if message["type"] == "command" {
                assert_eq!(got["data"]["step"], message["data"]["step"]);
                let pairs = message["data"]["fin_rad"].as_array().unwrap().iter();
                for (want, have) in pairs.zip(got["data"]["fin_rad"].as_array().unwrap()) {
                    match (want.as_f64(), have.as_f64()) {
                        // sines of another platform may differ in the last bit
                        (Some(a), Some(b)) => assert!((a - b).abs() < 1e-12),
                        (a, b) => assert_eq!(a, b),
                    }
                }
            }
            answers += 1;
        }
    }
    assert_eq!(
        answers,
        1 + 2 * 6,
        "hello, then twice ready and five commands"
    );
    assert!(child.wait().unwrap().success(), "ends by itself after bye");
}

fn shell(script: &str, within_s: f64) -> External {
    let spec = ExternalSpec {
        command: vec!["sh".into(), "-c".into(), script.into()],
        reply_within_s: within_s,
        parameters: BTreeMap::new(),
    };
    External::new("shell law", &spec, &folder()).unwrap()
}

const HELLO: &str =
    r#"read l; echo '{"type":"hello","data":{"protocol":"ridewright.control/1"}}'; "#;
const READY: &str = r#"read l; echo '{"type":"ready","data":{}}'; "#;

/// First failure of a shell law in a conversation, and how long it took.
fn failure(tail: &str) -> (String, Duration) {
    let start = Instant::now();
    let mut law = shell(&format!("{HELLO}{READY}{tail}"), 0.3);
    let e = conversation(&mut law, &setup()).unwrap_err().to_string();
    (e, start.elapsed())
}

#[test]
fn external_hung_law_times_out() {
    let (e, took) = failure("exec sleep 30");
    assert!(
        e.contains("gave no `command` within 0.3 s") && e.contains("t = 0.00 s"),
        "{e}"
    );
    assert!(took < Duration::from_secs(5), "{took:?}");
}

#[test]
fn external_slow_law_times_out_though_it_would_answer() {
    let (e, _) = failure(
        r#"read l; sleep 1; echo '{"type":"command","data":{"step":0,"fin_rad":[0,0,0,0,0]}}'"#,
    );
    assert!(e.contains("within 0.3 s"), "{e}");
}

#[test]
fn external_dead_law_is_told_with_status_and_last_words() {
    let (e, _) = failure("read l; echo 'division by zero in line 7' >&2; exit 3");
    assert!(
        e.contains("ended or closed its output") && e.contains("exit status: 3"),
        "{e}"
    );
    assert!(e.contains("division by zero in line 7"), "{e}");
}

#[test]
fn external_garbage_is_shown() {
    for (tail, want) in [
        (
            "read l; echo 'Traceback: oops'; exec sleep 9",
            "no JSON: `Traceback: oops",
        ),
        (
            "read l; echo '{\"type\":\"ready\"}'; exec sleep 9",
            "must answer with `command`",
        ),
        (
            "read l; echo '[1,2]'; exec sleep 9",
            "must answer with `command`",
        ),
        (
            "read l; echo '{\"type\":\"error\",\"data\":{\"message\":\"no heave\"}}'; exec sleep 9",
            "gave up: no heave",
        ),
        ("read l; printf '\\377\\376\\n'; exec sleep 9", "not UTF-8"),
    ] {
        let (e, _) = failure(tail);
        assert!(e.contains(want), "{tail}: {e}");
    }
}

#[test]
fn external_wrong_commands_are_refused_and_leave_the_old_one() {
    for (data, want) in [
        (r#"{"step":0,"fin_rad":[0,0]}"#, "2 angles, the craft has 5"),
        (
            r#"{"step":7,"fin_rad":[0,0,0,0,0]}"#,
            "answered step 7, was asked step 0",
        ),
        (r#"{"step":0,"fin_rad":[0,1e999,0,0,0]}"#, "no JSON"),
        (r#"{"step":0,"fin_rad":[0,NaN,0,0,0]}"#, "no JSON"),
        (
            r#"{"step":0,"fin_rad":[0.3,"up",0,0,0]}"#,
            "asked \"up\" of `fwd_s`",
        ),
        (r#"{"step":0}"#, "without a list"),
    ] {
        let script = format!(
            "{HELLO}{READY}read l; echo '{{\"type\":\"command\",\"data\":{data}}}'; exec sleep 9"
        );
        let mut law = shell(&script, 1.0);
        let setup = setup();
        law.reset(&setup).unwrap();
        let mut u = FinCommand::at_trim(&setup);
        let e = law
            .update(0.0, &Measurement::at_trim(&setup), &mut u)
            .unwrap_err()
            .to_string();
        assert!(e.contains(want), "{data}: {e}");
        assert_eq!(u, FinCommand::at_trim(&setup), "{data}");
    }
}

#[test]
fn external_endless_line_is_cut() {
    let (e, took) = failure("read l; head -c 3000000 /dev/zero | tr '\\0' x; exec sleep 9");
    assert!(e.contains("more than 1048576 bytes"), "{e}");
    assert!(took < Duration::from_secs(5));
}

#[test]
fn external_law_restarts_after_a_failure() {
    let mut law = shell(&format!("{HELLO}{READY}exit 0"), 1.0);
    for _ in 0..2 {
        let e = conversation(&mut law, &setup()).unwrap_err().to_string();
        assert!(e.contains("shell law"), "{e}");
    }
}

#[test]
fn external_missing_program_and_foreign_protocol_are_told() {
    let spec = |command: &[&str]| ExternalSpec {
        command: command.iter().map(|s| (*s).to_owned()).collect(),
        reply_within_s: 1.0,
        parameters: BTreeMap::new(),
    };
    let mut law = External::new("none", &spec(&["no_such_program_here"]), &folder()).unwrap();
    let e = law.reset(&setup()).unwrap_err().to_string();
    assert!(
        e.contains("cannot start `no_such_program_here`") && e.contains("hint"),
        "{e}"
    );
    assert!(External::new("none", &spec(&[]), &folder()).is_err());
    let mut old = shell(
        r#"read l; echo '{"type":"hello","data":{"protocol":"other/2"}}'; exec sleep 9"#,
        1.0,
    );
    let e = old.reset(&setup()).unwrap_err().to_string();
    assert!(e.contains("speaks `other/2`"), "{e}");
}

#[test]
fn external_process_is_gone_after_drop() {
    let mark = std::env::temp_dir().join(format!("ridewright_law_{}", std::process::id()));
    let script = format!(
        "{HELLO}{READY}echo $$ > '{}'; exec sleep 30",
        mark.display()
    );
    {
        let mut law = shell(&script, 1.0);
        law.reset(&setup()).unwrap();
        let until = Instant::now() + Duration::from_secs(2);
        while !mark.exists() && Instant::now() < until {
            std::thread::sleep(Duration::from_millis(5));
        }
    }
    let pid = std::fs::read_to_string(&mark).unwrap();
    std::fs::remove_file(&mark).unwrap();
    let alive = std::process::Command::new("sh")
        .args(["-c", &format!("kill -0 {} 2>/dev/null", pid.trim())])
        .status()
        .unwrap();
    assert!(!alive.success(), "process {pid} still runs");
}

/// Heave, roll and pitch of a 250 t craft of textbook numbers with the fins of [`setup`] at speed
/// `u`; without a law it diverges in pitch.
fn textbook(u: f64) -> DesignModel {
    let setup = setup();
    let fins = &setup.surfaces[..4];
    let u2 = u * u;
    let mut p = ModalPlant {
        speed_m_s: u,
        mass: Matrix3::from_diagonal(&Vector3::new(475e3, 9e6, 26.7e6)),
        damping: Matrix3::from_diagonal(&Vector3::new(20e3, 0.5e6, 1e6)),
        stiffness: Matrix3::from_diagonal(&Vector3::new(480e3, 3.7e6, 14.7e6 - u2 * 225e3)),
        fins: DMatrix::zeros(3, 4),
        motion_unit_m: setup.motion_unit_m,
        roll_lever_m: 5.0,
        pitch_lever_m: 8.0,
    };
    for (j, s) in fins.iter().enumerate() {
        let (l, x, y) = (s.effectiveness * u2, s.r_m.x, s.r_m.y);
        let force = Vector3::new(-l, -l * y, l * x);
        p.fins.set_column(j, &force);
        // incidence theta + (z' - x q + y p) / U
        p.damping -= force * Vector3::new(1.0, y, -x).transpose() / u;
        p.stiffness -= force * Vector3::new(0.0, 0.0, 1.0).transpose();
    }
    let channels = fins
        .iter()
        .map(|s| DesignChannel {
            name: s.name.clone(),
            group: s.group,
            lag_s: 0.13,
        })
        .collect();
    p.model(channels, 0.1, 0.1, 0.3).unwrap()
}

/// Runs a law on the sampled craft from an upset in calm water; heave, roll, pitch at the end.
fn upset(law: &mut dyn Controller, u_m_s: f64, upset: [f64; 3], steps: u32) -> [f64; 3] {
    let model = textbook(u_m_s).sampled().unwrap();
    let mut setup = setup();
    (setup.nominal_speed_m_s, setup.trim_pitch_rad) = (u_m_s, 0.0);
    law.reset(&setup).unwrap();
    let mut x = DVector::zeros(model.states.len());
    x.rows_mut(0, 3).copy_from_slice(&upset);
    let mut u = FinCommand::at_trim(&setup);
    for k in 0..steps {
        let out = &model.c * &x;
        let mut y = Measurement::at_trim(&setup);
        y.rates_rad_s = Vector3::new(out[0], out[1], 0.0);
        (y.phi_rad, y.theta_rad) = (out[2], out[3]);
        y.specific_force_m_s2 = body_to_earth(out[2], out[3], 0.0).transpose()
            * Vector3::new(0.0, 0.0, out[4] - G_M_S2);
        y.height_m[0] = -(out[5] + vertical(&setup.height_sensors_m[0], out[2], out[3]));
        let servo = model
            .states
            .iter()
            .position(|s| s.starts_with("servo"))
            .unwrap();
        for i in 0..4 {
            y.surface_rad[i] = x[servo + i] + setup.surfaces[i].trim_rad;
        }
        law.update(0.1 * f64::from(k), &y, &mut u).unwrap();
        let about_trim = DVector::from_fn(4, |i, _| u.fin_rad[i].clamp(-0.35, 0.35) - 0.02);
        x = &model.a * &x + &model.b * about_trim;
        assert!(x.amax() < 100.0, "{} diverged at step {k}", law.info().name);
    }
    [x[0], x[1], x[2]]
}

#[test]
fn shipped_gains_hold_a_textbook_craft_that_diverges_without() {
    let upset_by = [0.2, 0.05, 0.04];
    let spec = load("lqr.json");
    let LawSpec::Lqr(numbers) = &spec.law else {
        panic!("lqr.json is an LQR")
    };
    let models: Vec<_> = numbers
        .design_speeds_kn
        .iter()
        .map(|u| textbook(kn(*u)))
        .collect();
    let (matrices, report) = ridewright::design::lqr::design(&spec.name, numbers, &models).unwrap();
    assert!(
        report
            .points
            .iter()
            .all(|p| p.regulator_residual < 1e-11 && p.observer_residual < 1e-11)
    );
    let bare = &report.points.last().unwrap().modes[0];
    assert!(
        bare.value.re > 0.05 && bare.states.contains("pitch"),
        "diverges without: {bare:?}"
    );
    let pid = from_spec(&load("pid.json"), &folder(), None).unwrap();
    let lqr = from_spec(&spec, &folder(), Some(matrices)).unwrap();
    // the PID's proportional gain is worth 6 MN m/rad: enough up to about 19 kn for this craft, whose fins
    // leave it at -7 MN m/rad at 20 kn; the LQR is solved for each speed
    let (slow, all) = ([12.0, 16.0, 17.0, 18.0], [12.0, 16.0, 17.0, 20.0]);
    for (mut law, speeds_kn) in [(pid, slow), (lqr, all)] {
        for speed_kn in speeds_kn {
            let end = upset(law.as_mut(), kn(speed_kn), upset_by, 1200);
            let kept: Vec<f64> = end
                .iter()
                .zip(upset_by)
                .map(|(e, s)| (e / s).abs())
                .collect();
            // a twentieth of the upset after two minutes; heave by its slow estimate
            assert!(
                kept.iter().all(|k| *k < 0.05),
                "{} {speed_kn} kn: {kept:?}",
                law.info().name
            );
        }
    }
}

/// A law behind servos that turn the other way, twice as far, off their zero, or on each other's wires,
/// drives the fins as it does without, and is linear as its own form says.
#[test]
fn a_calibration_changes_nothing_for_the_fins() {
    let setup = setup();
    for file in ["fixed.json", "pid.json"] {
        let plain = load(file);
        let mut calibrated = serde_json::to_value(&plain).unwrap();
        calibrated["modes"] = serde_json::json!({});
        calibrated["calibration"] = serde_json::json!([
            {"surface": "fwd_p", "scale": -1.0, "zero_deg": 1.5},
            {"surface": "fwd_s", "scale": 2.0},
            {"surface": "aft_p", "wired_to": "aft_s"},
            {"surface": "aft_s", "wired_to": "aft_p", "scale": -0.5}
        ]);
        // servo of each fin, its scale and zero in rad
        let map = [
            (0, -1.0, 1.5_f64.to_radians()),
            (1, 2.0, 0.0),
            (3, 1.0, 0.0),
            (2, -0.5, 0.0),
        ];
        let calibrated: ControllerSpec = serde_json::from_value(calibrated).unwrap();
        let mut a = from_spec(&plain, &folder(), None).unwrap();
        let mut b = from_spec(&calibrated, &folder(), None).unwrap();
        a.reset(&setup).unwrap();
        // wider stops, so that no servo meets one before its fin does
        let mut wide = setup.clone();
        for s in &mut wide.surfaces {
            (s.min_rad, s.max_rad) = (-1.0, 1.0);
        }
        b.reset(&wide).unwrap();
        let mut u = FinCommand::at_trim(&setup);
        let mut v = FinCommand::at_trim(&wide);
        for (fin, (servo, scale, zero)) in map.iter().enumerate() {
            v.fin_rad[*servo] = zero + scale * setup.surfaces[fin].trim_rad;
        }
        for k in 0..200 {
            let t = 0.1 * f64::from(k);
            let mut y = Measurement::at_trim(&setup);
            y.theta_rad += 0.01 * t.sin();
            y.phi_rad = 0.02 * (0.7 * t).sin();
            y.rates_rad_s = Vector3::new(0.01, 0.01 * t.cos(), 0.0);
            let mut z = y.clone();
            y.surface_rad.clone_from(&u.fin_rad);
            z.surface_rad.clone_from(&v.fin_rad);
            a.update(t, &y, &mut u).unwrap();
            b.update(t, &z, &mut v).unwrap();
            for (fin, (servo, scale, zero)) in map.iter().enumerate() {
                let want = zero + scale * u.fin_rad[fin];
                // a zero added and taken off again rounds at 1e-17 of a radian, fed back 200 times
                assert!((v.fin_rad[*servo] - want).abs() < 1e-12, "{file} {k} {fin}");
            }
        }
    }
}
