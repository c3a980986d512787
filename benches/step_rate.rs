//! How many seconds of sea one core simulates per second, how many cases it makes a minute, and where the time goes.
//!
//! `cargo bench --bench step_rate` (`-- speed-only` leaves out the comparison with the reference integrator): the smaller
//! demonstration craft at 18 kn in a moderate bow sea of 200 components, fixed step 0.1 s, noisy sensors and the modal PID
//! at 10 Hz, everything recorded. Parts are timed by running each alone as often as the loop calls it.
#![allow(clippy::print_stdout)] // a bench reports to its caller

use std::hint::black_box;
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use ridewright::campaign::judge;
use ridewright::control::{self, Controller};
use ridewright::dynamics::model::CraftModel;
use ridewright::dynamics::plant::march::March;
use ridewright::dynamics::plant::{Plant, PlantInput};
use ridewright::frames::Wrench;
use ridewright::linear::trim;
use ridewright::math::ode::Tolerance;
use ridewright::math::rng::{Purpose, generator};
use ridewright::sea::realisation;
use ridewright::sim::bake::{Recipe, parts};
use ridewright::sim::case::{Case, Integrator, Sensing, Timing};
use ridewright::sim::run::run;
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::units::{deg, kn};

const CRAFT: &str = "scenarios/craft/coastal_survey.json";
const SEA: &str = "scenarios/sea/moderate.json";
const SPEED_KN: f64 = 18.0;
const HEADING_DEG: f64 = 150.0;
const STEP_S: f64 = 0.1;
const DURATION_S: f64 = 1800.0;
const RUN_IN_S: f64 = 200.0;

fn root(relative: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(relative)
}

fn read<T: serde::de::DeserializeOwned>(relative: &str) -> T {
    let text = std::fs::read_to_string(root(relative)).expect(relative);
    serde_json::from_str(&text).expect(relative)
}

struct Bench {
    model: CraftModel,
    speed_m_s: f64,
}

impl Bench {
    fn plant(&self) -> Plant {
        self.model
            .plant(self.speed_m_s, &CourseSpec::default())
            .expect("a plant at that speed")
    }

    fn case(&self, timing: Timing, integrator: Integrator) -> Case {
        let course = CourseSpec::default();
        let plant = self.plant();
        let trim = trim::level(&plant).expect("a trim at that speed");
        let sea = realisation::realise(
            &read(SEA),
            &root("scenarios/sea"),
            deg(HEADING_DEG),
            self.speed_m_s,
            DURATION_S + RUN_IN_S,
            &mut generator(1, 0, Purpose::Waves, 0),
        )
        .expect("a sea");
        let recipe = Recipe {
            name: "bench".into(),
            model: &self.model,
            plant: Arc::new(plant),
            trim: &trim,
            sea: &sea,
            timing,
            integrator,
            course: &course,
            sensing: Sensing::Suite {
                craft: Arc::new(self.model.craft.spec.clone()),
                errors: true,
                seed: 1,
                case: 0,
            },
        };
        Case::new(parts(&recipe)).expect("a case")
    }
}

/// Time this thread has had the processor, s; the wall clock where the system does not tell. On a busy machine the wall
/// clock measures the neighbours.
struct Clock(Instant);

impl Clock {
    fn start() -> (Self, f64) {
        let c = Clock(Instant::now());
        let t = c.now_s();
        (c, t)
    }

    fn now_s(&self) -> f64 {
        let ns = std::fs::read_to_string("/proc/thread-self/schedstat")
            .ok()
            .and_then(|s| s.split(' ').next().and_then(|n| n.parse::<f64>().ok()));
        ns.map_or_else(|| self.0.elapsed().as_secs_f64(), |n| 1e-9 * n)
    }
}

/// Processor seconds that `work` takes.
fn timed(work: impl FnOnce()) -> f64 {
    let (clock, begin) = Clock::start();
    work();
    clock.now_s() - begin
}

/// Seconds per call, best of three.
fn per_call(calls: u32, mut work: impl FnMut(u32)) -> f64 {
    let mut best = f64::INFINITY;
    for _ in 0..3 {
        best = best.min(timed(|| (0..calls).for_each(&mut work)));
    }
    best / f64::from(calls)
}

/// A modal PID of common gains: heave, pitch and roll.
fn law() -> Box<dyn Controller> {
    let spec = serde_json::json!({
        "format": "ridewright.controller/1", "name": "bench",
        "law": {"pid": {
            "reference_speed_kn": SPEED_KN,
            "heave": {"rate_deg_s_per_m": 4.0},
            "pitch": {"proportional_deg_per_deg": 1.0, "rate_deg_s_per_deg": 1.0},
            "roll": {"proportional_deg_per_deg": 0.5, "rate_deg_s_per_deg": 1.0}
        }}
    });
    let spec = serde_json::from_value(spec).expect("a controller file");
    control::from_spec(&spec, Path::new("."), None).expect("a law")
}

fn rms(s: &[f64]) -> f64 {
    let mean = s.iter().sum::<f64>() / s.len() as f64;
    (s.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / s.len() as f64).sqrt()
}

fn peak(s: &[f64]) -> f64 {
    s.iter().fold(0.0, |m: f64, v| m.max(v.abs()))
}

fn main() {
    let begin = Instant::now();
    let model = CraftModel::build(&read(CRAFT), &PhysicsSpec::default(), None).expect("a craft");
    println!("tables built in {:.2} s", begin.elapsed().as_secs_f64());
    let bench = Bench {
        model,
        speed_m_s: kn(SPEED_KN),
    };
    let timing =
        |duration_s: f64| Timing::new(duration_s, RUN_IN_S, STEP_S, 0.1, 0.1).expect("whole steps");
    let case = bench.case(timing(DURATION_S), Integrator::PredictorCorrector);
    let layout = case.parts().craft.layout();
    println!(
        "step {STEP_S} s, {} states, {} surfaces, {} components, {} channels from {} sums",
        layout.len(),
        layout.servo.len() / 2,
        case.bank().components(),
        case.bank().channels(),
        case.bank().sums_made()
    );
    let mut total = f64::INFINITY;
    let mut outcome = String::new();
    for _ in 0..3 {
        let mut law = law();
        total = total.min(timed(|| {
            outcome = black_box(run(&case, &mut *law)).outcome.to_string();
        }));
    }
    let mut l = law();
    let done = run(&case, &mut *l);
    let plant = bench.plant();
    let points: Vec<String> = case.parts().points.iter().map(|p| p.name.clone()).collect();
    let judged = per_call(3, |_| {
        black_box(judge::report(&done, &plant, &points));
    });
    let baked = per_call(3, |_| {
        black_box(bench.case(timing(DURATION_S), Integrator::PredictorCorrector));
    });
    let seconds = DURATION_S + RUN_IN_S;
    let steps = seconds / STEP_S;
    println!("outcome: {outcome}");
    println!(
        "simulated seconds per second of one core: {:.0}",
        seconds / total
    );
    println!(
        "a case of {DURATION_S} s: sea and case {:.1} ms, run {:.1} ms, judging {:.1} ms ({} points): {:.0} cases a minute and core",
        1e3 * baked,
        1e3 * total,
        1e3 * judged,
        points.len(),
        60.0 / (baked + total + judged)
    );
    split(&case, &plant, total / steps);
    if !std::env::args().any(|a| a == "speed-only") {
        accuracy(&bench, timing(300.0));
    }
}

/// Where a step's time goes.
fn split(case: &Case, plant: &Plant, step_s: f64) {
    let mut bank = case.bank().clone();
    bank.start(STEP_S, 0, [0.0; 2]);
    let waves_s = per_call(20_000, |i| {
        let d = 0.01 * f64::from(i % 100);
        bank.advance_to_end([d + 0.005, 0.0]);
        black_box(bank.at_end());
    });
    let start = &case.parts().start;
    let surfaces = plant.surfaces.len();
    let zero = vec![0.0; surfaces];
    let limits = vec![1.0; surfaces];
    let input = PlantInput {
        waves: bank.at_end(),
        command_rad: &zero,
        surface_hold_rad: &zero,
        rate_limit_rad_s: &limits,
        thrust_n: &case.parts().thrust_n,
        wind: Wrench::zeros(),
    };
    let servos = vec![[(0.0, 0.0); 2]; surfaces];
    let (mut x, mut rate) = (start.clone(), start.clone());
    let mut march = March::new(plant, STEP_S);
    assert!(march.start(&x, &input), "the step suits the craft");
    march.now(&x, &input, &mut rate);
    let craft_s = per_call(20_000, |_| {
        x.copy_from_slice(start);
        march.step(&mut x, &input, &servos, &mut rate);
        black_box(&x);
    });
    let rest = step_s - waves_s - craft_s;
    for (name, s) in [
        ("waves", waves_s),
        ("craft", craft_s),
        ("servos, sensors, law, record", rest),
        ("step", step_s),
    ] {
        println!("{name:32} {:6.2} us  {:3.0} %", 1e6 * s, 100.0 * s / step_s);
    }
    let mut dx = vec![0.0; start.len()];
    let one = per_call(20_000, |_| {
        plant.derivative(black_box(start), &input, &mut dx);
        black_box(&dx);
    });
    println!(
        "the whole derivative, as the reference takes it: {:.2} us",
        1e6 * one
    );
}

/// Fixed step against the reference: worst ratio of RMS and of maxima.
fn accuracy(bench: &Bench, timing: Timing) {
    let result = |integrator| {
        let mut law = law();
        run(&bench.case(timing, integrator), &mut *law).record
    };
    let fixed = result(Integrator::PredictorCorrector);
    let reference = result(Integrator::Reference(Tolerance::default()));
    let mut off = Vec::new();
    for c in fixed.columns.iter().filter(|c| c.unit != "s") {
        let (Some(a), Some(b)) = (fixed.judged_of(&c.name), reference.judged_of(&c.name)) else {
            continue;
        };
        let scale = rms(b);
        if scale < 1e-9 * peak(b).max(1e-9) {
            continue; // a constant
        }
        let (e_rms, e_peak) = (rms(a) / scale - 1.0, peak(a) / peak(b) - 1.0);
        off.push((100.0 * e_rms.abs(), 100.0 * e_peak.abs(), &c.name));
    }
    println!("against the reference over 300 s, {} columns:", off.len());
    off.sort_by(|a, b| b.0.total_cmp(&a.0));
    for (e, _, name) in &off[..5] {
        println!("  RMS off by {e:.4} %  {name}");
    }
    off.sort_by(|a, b| b.1.total_cmp(&a.1));
    for (_, e, name) in &off[..5] {
        println!("  maximum off by {e:.4} %  {name}");
    }
}
