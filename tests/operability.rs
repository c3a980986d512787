//! Limiting heights are where the criterion is, shares are sums, wrong diagrams are refused.

use std::path::Path;

use ridewright::campaign::operability::probe::{Method, probe};
use ridewright::campaign::operability::search::{Probed, TOLERANCE};
use ridewright::campaign::operability::share::of_diagram;
use ridewright::campaign::operability::{
    LimitCell, Operability, Question, operability, peak_period_s, simulated, unit_sea,
};
use ridewright::campaign::prediction::LawAtSpeed;
use ridewright::campaign::stage::Stage;
use ridewright::closed_loop::{DragModel, Fineness, Options, Output};
use ridewright::spec::criteria::{CriteriaSpec, LimitSpec};
use ridewright::spec::load::parse;
use ridewright::spec::scatter::{FormSpec, PeriodSpec, ScatterSpec};
use ridewright::spec::validate::bundle;
use ridewright::units::deg;
use serde_json::json;

/// The demonstration craft at one speed, with the given laws (0 fixed, 1 PID, 2 LQG) and headings.
fn stage(laws: &[usize], headings_deg: &[f64]) -> Stage {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut bundle =
        bundle(root.join("scenarios/operability.json")).expect("the scenario is right");
    let spec = &mut bundle.scenario.spec;
    spec.speeds_kn = vec![16.0];
    spec.headings_deg = headings_deg.to_vec();
    spec.seeds = vec![1, 2];
    spec.duration_s = 900.0;
    spec.run_in_s = 120.0;
    let all = std::mem::take(&mut bundle.controllers);
    bundle.controllers = laws.iter().map(|i| all[*i].clone()).collect();
    let cache = Path::new(env!("CARGO_TARGET_TMPDIR")).join("water");
    Stage::new(&bundle, Some(&cache)).expect("the craft builds")
}

/// Two periods, heights to 12 m so that every limit lies inside.
fn scatter() -> ScatterSpec {
    serde_json::from_value(json!({
        "format": "ridewright.scatter/1", "name": "test area", "source": "invented",
        "period_edges_s": [6, 7, 9], "hs_edges_m": [0, 1, 2, 12],
        "occurrences": [[10, 20], [8, 4], [1, 2]]
    }))
    .expect("a scatter diagram")
}

fn set(criteria: &serde_json::Value) -> CriteriaSpec {
    serde_json::from_value(json!({
        "format": "ridewright.criteria/1", "name": "test set", "source": "invented",
        "criteria": criteria
    }))
    .expect("a set")
}

fn survey() -> CriteriaSpec {
    let path = "scenarios/criteria/survey_work.json";
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
    let text = std::fs::read_to_string(path).expect("it is shipped");
    serde_json::from_str(&text).expect("a set")
}

/// One pass: no limits of servos, no drag, no noise.
fn linear() -> Method {
    Method {
        options: Options {
            noise: false,
            ..Options::linear()
        },
        drag: DragModel::None,
        fineness: Fineness::default(),
    }
}

fn find(stage: &Stage, question: &Question<'_>) -> Operability {
    operability(stage, question, &|| ()).expect("limits are found")
}

#[test]
fn a_linear_craft_has_criterion_over_rms() {
    let stage = stage(&[0, 1], &[180.0, 60.0]);
    let (scatter, set) = (
        scatter(),
        set(
            &json!([{"limit": {"vertical_rms_g": 0.1}, "at": "bridge"}, {"limit": {"pitch_rms_deg": 1.5}}]),
        ),
    );
    let question = Question {
        scatter: &scatter,
        set: &set,
        method: linear(),
    };
    let found = find(&stage, &question);
    assert_eq!(found.cells.len(), 2 * 2 * 2);
    for cell in &found.cells {
        let plan = stage.laws.iter().find(|l| l.spec.name == cell.law);
        let law = LawAtSpeed::new(&stage, &stage.speeds[0], plan.expect("a law")).expect("ready");
        let unit = unit_sea(&stage, &law, cell.heading_deg, &question, cell.tp_s).expect("a sea");
        let e = unit.evaluate(&law.law, &linear().options).expect("stable");
        let bridge = stage.model.craft.points.iter().find(|p| p.0 == "bridge");
        let r_m = bridge.expect("the craft has a bridge").1;
        let a = e.rms(Output::Acceleration { r_m, axis: 2 });
        let pitch = e.rms(Output::Motion(4)).to_degrees();
        let by_hand = (0.1 * 9.80665 / a).min(1.5 / pitch);
        // two probes find the limit of a line; further ones look for the height up to which it is trusted
        assert!(
            !cell.beyond && (cell.probes == 2 || !cell.trusted),
            "{cell:?}"
        );
        assert!(
            (cell.limit_hs_m / by_hand - 1.0).abs() < 1e-12,
            "{cell:?} {by_hand}"
        );
    }
}

#[test]
fn the_limit_is_where_the_criterion_is() {
    let stage = stage(&[0, 1, 2], &[180.0, 90.0, 30.0]);
    let (scatter, set) = (scatter(), survey());
    let question = Question {
        scatter: &scatter,
        set: &set,
        method: Method::default(),
    };
    let found = find(&stage, &question);
    let mut inside = 0;
    for cell in found.cells.iter().filter(|c| !c.beyond && !c.unstable) {
        inside += 1;
        let stop = cell.stop.as_ref().expect("something limits");
        assert!(
            (stop.value / stop.limit - 1.0).abs() <= TOLERANCE,
            "{cell:?}"
        );
        let plan = stage.laws.iter().find(|l| l.spec.name == cell.law);
        let law = LawAtSpeed::new(&stage, &stage.speeds[0], plan.expect("a law")).expect("ready");
        let unit = unit_sea(&stage, &law, cell.heading_deg, &question, cell.tp_s).expect("a sea");
        let points = &stage.model.craft.points;
        let at = |h: f64| {
            probe(&unit, &law.law, points, &question, h)
                .expect("a ride")
                .ratio()
        };
        assert!(
            at(0.97 * cell.limit_hs_m) < 1.0 && at(1.03 * cell.limit_hs_m) > 1.0,
            "{cell:?}"
        );
    }
    assert!(inside > 12, "{inside} limits inside the diagram");
    // fins that may move do not make the craft worse in head seas
    let of = |law: usize| {
        found
            .cell(16.0, 180.0, &found.laws[law], 0)
            .expect("a cell")
            .limit_hs_m
    };
    assert!(
        of(1) > of(0) && of(2) > of(0),
        "{} {} {}",
        of(0),
        of(1),
        of(2)
    );
}

#[test]
fn higher_waves_are_those_of_a_higher_sea() {
    let stage = stage(&[1], &[120.0]);
    let (scatter, set) = (scatter(), survey());
    let question = Question {
        scatter: &scatter,
        set: &set,
        method: Method::default(),
    };
    let law = LawAtSpeed::new(&stage, &stage.speeds[0], &stage.laws[0]).expect("ready");
    let unit = unit_sea(&stage, &law, 120.0, &question, 7.0).expect("a sea");
    let grown = unit
        .times(2.5, DragModel::Gaussian)
        .expect("no drag in it yet");
    let direct = law
        .speed
        .at_sea(
            &scatter.sea(2.5, 7.0),
            Path::new("."),
            deg(120.0),
            &Fineness::default(),
            DragModel::Gaussian,
        )
        .expect("a sea");
    for output in [Output::Motion(2), Output::Motion(3), Output::Motion(4)] {
        let rms = |sea: &ridewright::closed_loop::AtSea| {
            let e = sea.evaluate(&law.law, &Options::default()).expect("stable");
            e.rms(output)
        };
        // weights by two ways of rounding, and an iteration that ends at 1e-6
        assert!((rms(&grown) / rms(&direct) - 1.0).abs() < 1e-9);
    }
    assert!(
        grown.times(1.0, DragModel::Gaussian).is_err(),
        "drag would count twice"
    );
}

fn cell(limit_hs_m: f64) -> LimitCell {
    LimitCell {
        speed_kn: 16.0,
        heading_deg: 180.0,
        law: "by hand".into(),
        column: 0,
        period_s: 6.5,
        tp_s: 6.5,
        unstable: false,
        limit_hs_m,
        beyond: false,
        stop: None,
        trusted: true,
        trusted_to_m: limit_hs_m,
        doubts: Vec::new(),
        at_limits_frac: 0.0,
        probes: 0,
    }
}

#[test]
fn the_share_is_the_hand_sum() {
    let scatter = scatter(); // rows 0-1, 1-2, 2-12 m: [10, 20], [8, 4], [1, 2], 45 in all
    let (a, b) = (cell(1.5), cell(4.5));
    let share = of_diagram(&scatter, &[Some(&a), Some(&b)]);
    let by_hand = (10.0 + 0.5 * 8.0 + 20.0 + 4.0 + 0.25 * 2.0) / 45.0;
    assert!((share.workable - by_hand).abs() < 1e-15, "{share:?}");
    assert!((share.least - by_hand).abs() < 1e-15 && (share.most - by_hand).abs() < 1e-15);
    // the second limit not trusted beyond 1.5 m: all above is open
    let mut b = cell(4.5);
    (b.trusted, b.trusted_to_m) = (false, 1.5);
    let share = of_diagram(&scatter, &[Some(&a), Some(&b)]);
    assert!((share.workable - by_hand).abs() < 1e-15);
    assert!((share.least - (14.0 + 20.0 + 0.5 * 4.0) / 45.0).abs() < 1e-15);
    assert!((share.most - (14.0 + 26.0) / 45.0).abs() < 1e-15);
    assert!((share.untrusted - 4.0 / 45.0).abs() < 1e-15);
    let mut b = cell(0.0);
    b.unstable = true;
    let share = of_diagram(&scatter, &[Some(&a), Some(&b)]);
    assert!(
        (share.unstable - 26.0 / 45.0).abs() < 1e-15 && (share.most - 40.0 / 45.0).abs() < 1e-15
    );
    // and the whole thing on the craft: one limit, one speed, one heading
    let stage = stage(&[0], &[180.0]);
    let set = set(&json!([{"limit": {"pitch_rms_deg": 1.0}}]));
    let question = Question {
        scatter: &scatter,
        set: &set,
        method: linear(),
    };
    let found = find(&stage, &question);
    let law = &found.laws[0];
    let part = |low: f64, high: f64, limit: f64| ((limit - low) / (high - low)).clamp(0.0, 1.0);
    let l = [0, 1].map(|k| found.cell(16.0, 180.0, law, k).expect("a cell").limit_hs_m);
    let sum = 10.0 * part(0.0, 1.0, l[0])
        + 8.0 * part(1.0, 2.0, l[0])
        + part(2.0, 12.0, l[0])
        + 20.0 * part(0.0, 1.0, l[1])
        + 4.0 * part(1.0, 2.0, l[1])
        + 2.0 * part(2.0, 12.0, l[1]);
    let told = found.overall(law).expect("a share").share.workable;
    assert!((told - sum / 45.0).abs() < 1e-14, "{told} {}", sum / 45.0);
    let lost: f64 = found
        .overall(law)
        .expect("a share")
        .stops
        .iter()
        .map(|s| s.1)
        .sum();
    assert!(
        (told + lost - 1.0).abs() < 1e-14,
        "what stops work is the rest"
    );
}

#[test]
fn both_sides_are_alike() {
    let stage = stage(&[0, 1, 2], &[45.0, 315.0, 120.0, 240.0]);
    let (scatter, set) = (scatter(), survey());
    let question = Question {
        scatter: &scatter,
        set: &set,
        method: Method::default(),
    };
    let found = find(&stage, &question);
    assert!(!found.mirrored);
    for (a, b) in [(45.0, 315.0), (120.0, 240.0)] {
        for law in &found.laws {
            for column in 0..2 {
                let of = |h: f64| found.cell(16.0, h, law, column).expect("a cell");
                let (p, q) = (of(a), of(b));
                assert!(
                    (p.limit_hs_m / q.limit_hs_m - 1.0).abs() < 1e-6,
                    "{p:?} {q:?}"
                );
                assert_eq!((p.trusted, p.beyond), (q.trusted, q.beyond));
            }
        }
    }
}

#[test]
fn threads_change_nothing() {
    let stage = stage(&[0, 1], &[180.0, 100.0, 20.0]);
    let (scatter, set) = (scatter(), survey());
    let question = Question {
        scatter: &scatter,
        set: &set,
        method: Method::default(),
    };
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        let found = pool.expect("threads").install(|| find(&stage, &question));
        serde_json::to_string(&found).expect("JSON")
    };
    let one = on(1);
    assert!(one.len() > 1000);
    assert_eq!(one, on(2));
    assert_eq!(one, on(7));
}

/// references/A_waves: `bret.ratios`, evaluated from the formula, eight digits printed.
#[test]
fn peak_periods_follow_from_mean_ones() {
    let mut scatter = scatter();
    scatter.period = PeriodSpec::ZeroCrossing;
    let ratio = peak_period_s(&scatter, 1).expect("a period") / 8.0;
    assert!((ratio / 1.407_715_8 - 1.0).abs() < 1e-7, "{ratio}");
    // `jonswap.Hs3.25.Tp9.7.g3.3`: moments by quadrature to infinity, stated good to 1e-5
    scatter.form = FormSpec::Jonswap { gamma: 3.3 };
    let ratio = 8.0 / peak_period_s(&scatter, 1).expect("a period");
    assert!((ratio / 0.777_399_21 - 1.0).abs() < 1e-5, "{ratio}");
}

#[test]
fn wrong_diagrams_are_refused_at_their_key() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/spec/scatter.json");
    let good = std::fs::read_to_string(file).expect("a sample");
    parse::<ScatterSpec>("x.json", &good).expect("the sample is right");
    for (from, to, key, words) in [
        ("[5, 10]", "[5, -10]", "occurrences[1][1]", "-10"),
        ("[5, 10]", "[5]", "occurrences[1]", "one for each of the 2"),
        (
            "[0, 1, 2, 3]",
            "[0, 1, 2]",
            "occurrences",
            "one for each of the 2",
        ),
        (
            "[3, 5, 7]",
            "[3, 7, 5]",
            "period_edges_s[2]",
            "must be greater",
        ),
        (
            "[0, 1, 2, 3]",
            "[0, 2, 2, 3]",
            "hs_edges_m[2]",
            "must be greater",
        ),
        (
            "\"heading_deg\": 0",
            "\"heading_deg\": 180",
            "headings[1].heading_deg",
            "a second time",
        ),
        (
            "\"speed_kn\": 16",
            "\"speed_kn\": 12",
            "speeds[1].speed_kn",
            "a second time",
        ),
        (
            "\"share\": 0.7",
            "\"share\": -0.7",
            "speeds[0].share",
            "must",
        ),
        (
            "\"gamma\": 2.5",
            "\"gamma\": 0.5",
            "form.jonswap.gamma",
            "must",
        ),
    ] {
        assert!(good.contains(from), "{from}");
        let e = parse::<ScatterSpec>("x.json", &good.replacen(from, to, 1)).expect_err(to);
        let p = e.problems.iter().find(|p| p.place.key == key);
        let p = p.unwrap_or_else(|| panic!("{to}: {e}"));
        assert!(p.message.contains(words), "{to}: {}", p.message);
    }
    let none = good
        .replace("[10, 20]", "[0, 0]")
        .replace("[5, 10]", "[0, 0]");
    let none = none.replace("[0, 2.5]", "[0, 0]");
    let e = parse::<ScatterSpec>("x.json", &none).expect_err("nothing occurs");
    assert!(
        e.problems
            .iter()
            .any(|p| p.place.key == "occurrences" && p.message.contains("sums to 0"))
    );
}

#[test]
fn a_limit_without_its_number_is_told() {
    let stage = stage(&[0], &[180.0]);
    let (scatter, set) = (
        scatter(),
        set(&json!([{"limit": {"vertical_rms_g": 0.1}, "at": "crow's nest"}])),
    );
    let question = Question {
        scatter: &scatter,
        set: &set,
        method: Method::default(),
    };
    let e = operability(&stage, &question, &|| ()).expect_err("there is no such point");
    assert!(e.to_string().contains("crow's nest"), "{e}");
    let mut slow = scatter.clone();
    slow.speeds = serde_json::from_value(json!([{"speed_kn": 4, "share": 1}])).expect("a profile");
    let question = Question {
        scatter: &slow,
        ..question
    };
    let e = operability(&stage, &question, &|| ()).expect_err("a speed that is not run");
    assert!(e.to_string().contains("none of the scenario's"), "{e}");
}

#[test]
fn near_its_limit_the_simulator_agrees() {
    let mut stage = stage(&[1], &[180.0]);
    let (scatter, mut set) = (scatter(), survey());
    // two records of 15 min know nothing of a contact an hour
    set.criteria
        .retain(|c| !matches!(c.limit, LimitSpec::EventsPerH(_)));
    let question = Question {
        scatter: &scatter,
        set: &set,
        method: Method::default(),
    };
    let found = find(&stage, &question);
    let own = stage.sea.clone();
    let check = simulated::check(&mut stage, &question, &found, 4, 3, &|| ()).expect("they run");
    assert_eq!(stage.sea, own, "the stage's sea is put back");
    assert_eq!(check.draws.len(), 4);
    for d in &check.draws {
        let s = d.simulated.expect("records");
        assert!(
            (1.0 / 1.21..1.21).contains(&(d.hs_m / d.limit_hs_m)),
            "{d:?}"
        );
        if d.trusted && d.decided {
            assert_eq!(d.spectral_met, d.simulated_met, "{d:?}");
        }
        // two records of 15 min know an RMS to some tenths; 0.25 is beyond their intervals
        assert!((d.spectral / s.value - 1.0).abs() < 0.25, "{d:?}");
    }
    // the same draws again are the same numbers
    let again = simulated::check(&mut stage, &question, &found, 4, 3, &|| ()).expect("they run");
    assert_eq!(check, again);
}
