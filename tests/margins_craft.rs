//! Margins of a craft with its law, and of the craft that its file does not quite describe.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

mod common;
#[path = "common/rig.rs"]
mod rig;

use std::path::Path;
use std::sync::OnceLock;

use nalgebra::DMatrix;
use ridewright::closed_loop::LoopCraft;
use ridewright::closed_loop::margins::craft::CraftLoop;
use ridewright::closed_loop::margins::robust::{self, Judged};
use ridewright::closed_loop::margins::winding;
use ridewright::closed_loop::uncertainty::{self, Factors};
use ridewright::control::linear::{LawSignal, LinearLaw};
use ridewright::control::{Controller, from_spec};
use ridewright::dynamics::model::CraftModel;
use ridewright::linear::assemble::assemble;
use ridewright::spec::load::{load_controller, load_craft};
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::units::{deg, kn};

/// The smaller demonstration craft at 16 kn on a short grid of sections: loops, not physics, are judged.
fn craft() -> &'static LoopCraft {
    static CRAFT: OnceLock<LoopCraft> = OnceLock::new();
    CRAFT.get_or_init(|| {
        let spec = load_craft("scenarios/craft/coastal_survey.json").unwrap();
        let physics = PhysicsSpec {
            stations_x_m: Some(vec![-14.0, -7.0, 0.0, 7.0, 14.0]),
            frequencies_rad_s: Some(vec![0.2, 0.6, 1.0, 1.8, 3.0]),
            ..PhysicsSpec::default()
        };
        let model = CraftModel::build(&spec.spec, &physics, None).unwrap();
        LoopCraft::new(&model, kn(16.0), &CourseSpec::default()).unwrap()
    })
}

/// Pitch and roll by their angles and rates to the four fins, by hand: forward up, aft down; starboard
/// against port.
fn by_hand(gain: f64) -> LinearLaw {
    let setup = &craft().setup;
    let signals = vec![
        LawSignal::Pitch,
        LawSignal::PitchRate,
        LawSignal::Roll,
        LawSignal::RollRate,
    ];
    let channels: Vec<usize> = (0..setup.surfaces.len())
        .filter(|i| setup.surfaces[*i].influence.heave_n.abs() > 0.0)
        .filter(|i| setup.surfaces[*i].group != ridewright::spec::craft::SurfaceGroup::Rudder)
        .collect();
    let d = DMatrix::from_fn(channels.len(), 4, |i, j| {
        let f = setup.surfaces[channels[i]].influence;
        let (pitch, roll) = (f.pitch_nm.signum(), f.roll_nm.signum());
        -gain * [0.5 * pitch, 1.0 * pitch, 0.3 * roll, 1.0 * roll][j]
    });
    let m = channels.len();
    LinearLaw {
        channels,
        c: DMatrix::zeros(m, 0),
        b: DMatrix::zeros(0, 4),
        d,
        signals,
        ..LinearLaw::none(setup.sample_period_s)
    }
}

/// The same law `samples` later.
fn late(law: &LinearLaw, samples: usize) -> LinearLaw {
    let mut out = law.clone();
    for _ in 0..samples {
        // u(k) = v(k-1), v the old output
        let (n, m, p) = (out.a.nrows(), out.c.nrows(), out.b.ncols());
        let mut a = DMatrix::zeros(n + m, n + m);
        a.view_mut((0, 0), (n, n)).copy_from(&out.a);
        a.view_mut((n, 0), (m, n)).copy_from(&out.c);
        let mut b = DMatrix::zeros(n + m, p);
        b.view_mut((0, 0), (n, p)).copy_from(&out.b);
        b.view_mut((n, 0), (m, p)).copy_from(&out.d);
        let mut c = DMatrix::zeros(m, n + m);
        c.view_mut((0, n), (m, m))
            .copy_from(&DMatrix::identity(m, m));
        out = LinearLaw {
            a,
            b,
            c,
            d: DMatrix::zeros(m, p),
            ..out
        };
    }
    out
}

fn scaled(law: &LinearLaw, gain: f64) -> LinearLaw {
    LinearLaw {
        c: &law.c * gain,
        d: &law.d * gain,
        ..law.clone()
    }
}

fn is_stable(law: &LinearLaw) -> bool {
    CraftLoop::new(craft(), law)
        .unwrap()
        .require_stable()
        .is_ok()
}

fn pid() -> LinearLaw {
    let file = load_controller("controllers/pid.json").unwrap();
    let mut law: Box<dyn Controller> =
        from_spec(&file.spec, Path::new("controllers"), None).unwrap();
    law.reset(&craft().setup).unwrap();
    law.linear().unwrap()
}

#[test]
fn loops_of_a_craft_agree_where_they_must() {
    for law in [by_hand(2.0), pid()] {
        let open = CraftLoop::new(craft(), &law).unwrap();
        let m = open.margins().unwrap();
        assert_eq!(m.fins.nyquist_unstable, Some(0));
        // det(I + L) is one number wherever the loop is broken
        for l in [open.at_modes(), open.at_sensors(), open.at_both()] {
            assert_eq!(winding::unstable(&l), Some(0));
        }
        // a gain, phase or delay common to all is common to all fins, demands and signals alike
        let all = |l: &ridewright::closed_loop::margins::analyse::LoopMargins| {
            let c = &l.all.classic;
            [c.gain_up, c.gain_down, c.phase_rad(), c.delay_s].map(|v| v.map(|v| v.value))
        };
        let want = all(&m.fins);
        for got in [all(&m.modes), all(&m.sensors)] {
            for (g, w) in got.into_iter().zip(want) {
                match (g, w) {
                    (Some(g), Some(w)) => assert!((g - w).abs() < 1e-6 * w, "{g} {w}"),
                    other => assert_eq!(other, (None, None)),
                }
            }
        }
        // the more may go wrong at once, the less of it
        assert!(m.both.alpha <= m.fins.disk.alpha.min(m.sensors.disk.alpha) * (1.0 + 1e-6));
        for l in [&m.fins, &m.modes, &m.sensors] {
            for one in &l.one {
                assert!(
                    l.disk.alpha <= one.disk.unwrap().alpha * (1.0 + 1e-6),
                    "{}",
                    one.name
                );
            }
        }
    }
}

/// Second method: poles of the loop with other gains, and with samples of delay.
#[test]
fn delay_margin_of_a_craft_is_exact_at_whole_samples() {
    for law in [by_hand(2.0), pid()] {
        let m = CraftLoop::new(craft(), &law).unwrap().margins().unwrap();
        let period = law.sample_period_s;
        let all = &m.fins.all.classic;
        let whole = all.delay_s.unwrap().value / period;
        assert!(whole > 1.0 && whole < 200.0, "{whole}");
        assert!(is_stable(&late(&law, whole.floor() as usize)), "{whole}");
        assert!(!is_stable(&late(&law, whole.ceil() as usize)), "{whole}");
        let up = all.gain_up.unwrap().value;
        assert!(is_stable(&scaled(&law, 0.999 * up)), "{up}");
        assert!(!is_stable(&scaled(&law, 1.001 * up)), "{up}");
        if let Some(down) = all.gain_down {
            assert!(is_stable(&scaled(&law, 1.001 * down.value)));
            assert!(!is_stable(&scaled(&law, 0.999 * down.value)));
        }
        // one fin by itself
        let one = m.fins.one[0].classic.gain_up.unwrap().value;
        for (factor, stable) in [(0.999 * one, true), (1.001 * one, false)] {
            let mut other = law.clone();
            let mut c = other.c.row_mut(0);
            c *= factor;
            let mut d = other.d.row_mut(0);
            d *= factor;
            assert_eq!(is_stable(&other), stable, "fin by {factor}");
        }
    }
}

#[test]
fn an_unstable_craft_loop_names_its_motion() {
    let wrong = scaled(&by_hand(2.0), -1.0);
    let open = CraftLoop::new(craft(), &wrong).unwrap();
    let said = open.margins().unwrap_err().to_string();
    assert!(said.contains("unstable"), "{said}");
    assert!(
        ["pitch", "roll", "heave"].iter().any(|m| said.contains(m)),
        "{said}"
    );
    let nothing = LinearLaw::none(craft().setup.sample_period_s);
    let said = CraftLoop::new(craft(), &nothing).err().unwrap().to_string();
    assert!(said.contains("no loop"), "{said}");
}

fn same_bits(a: &DMatrix<f64>, b: &DMatrix<f64>) -> bool {
    a.iter().zip(b).all(|(x, y)| x.to_bits() == y.to_bits())
}

#[test]
fn factors_of_one_change_nothing() {
    let (was, is) = (craft(), Factors::NOMINAL.apply(craft()));
    assert!(same_bits(&was.linear.a, &is.linear.a));
    assert!(same_bits(&was.linear.b_command, &is.linear.b_command));
    assert!(same_bits(&was.linear.b_waves, &is.linear.b_waves));
    let m = |c: &LoopCraft| CraftLoop::new(c, &by_hand(2.0)).unwrap().margins().unwrap();
    assert_eq!(m(was), m(&is));
}

#[test]
fn factors_do_what_they_say() {
    let was = craft();
    let a = &was.linear.a;
    // GM_T by a fifth: the slope of roll acceleration by roll falls by a fifth of the hydrostatic part
    let more = |f: Factors| f.apply(was).linear.a - a;
    let roll = more(Factors {
        roll_stiffness: 0.8,
        ..Factors::NOMINAL
    });
    let touched: Vec<usize> = (0..a.ncols())
        .filter(|j| roll.column(*j).amax() > 0.0)
        .collect();
    assert_eq!(touched, vec![3]);
    let craft_c = was.plant.mass_inverse()[(3, 3)];
    assert!(
        roll[(9, 3)] > 0.0 && craft_c > 0.0,
        "less stiff: slower back"
    );
    let pitch = more(Factors {
        pitch_stiffness: 1.2,
        ..Factors::NOMINAL
    });
    assert!(pitch[(10, 4)] < 0.0 && roll[(9, 3)].abs() < a[(9, 3)].abs());
    // fins: what the angle of a fin does, by the factor; the servo itself and rudders untouched
    let fins = Factors {
        fin_effectiveness: 1.2,
        ..Factors::NOMINAL
    }
    .apply(was);
    for (i, s) in was.plant.surfaces.iter().enumerate() {
        let column = was.linear.layout.angle(i);
        let rudder = s.group == ridewright::spec::craft::SurfaceGroup::Rudder;
        let want = if rudder { 1.0 } else { 1.2 };
        for row in [8, 9, 10] {
            let (x, y) = (a[(row, column)], fins.linear.a[(row, column)]);
            assert!(
                (y - want * x).abs() <= 1e-9 * x.abs() + 1e-15,
                "{} {x} {y}",
                s.name
            );
        }
    }
    // damping: roll decays faster, and the acceleration by roll angle stays
    let damped = more(Factors {
        damping: 1.2,
        ..Factors::NOMINAL
    });
    assert!(damped[(9, 9)] < 0.0, "{}", damped[(9, 9)]);
    assert!(damped[(9, 3)].abs() < 1e-15);
    // the drag handed over is that of the equilibrium
    let by_slope = assemble(&was.plant, &was.trim.x, Some(&was.drag_slope));
    assert!((by_slope.a - a).amax() < 1e-9 * a.amax());
}

#[test]
fn draws_fill_every_layer() {
    let all = uncertainty::draws(0.2, 16, 7);
    assert_eq!(all, uncertainty::draws(0.2, 16, 7));
    assert_ne!(all, uncertainty::draws(0.2, 16, 8));
    for i in 0..4 {
        let mut layers: Vec<i64> = all
            .iter()
            .map(|f| ((f.values()[i] - 0.8) / 0.4 * 16.0).floor() as i64)
            .collect();
        layers.sort_unstable();
        assert_eq!(layers, (0..16).collect::<Vec<i64>>());
    }
    let corners = uncertainty::corners(0.2);
    assert_eq!(corners.len(), 17);
    assert_eq!(corners[0].words(), "nominal");
    assert_eq!(
        corners[1].words(),
        "damping -20 %, fins -20 %, roll GM -20 %, pitch GM -20 %"
    );
}

#[test]
fn surveys_do_not_depend_on_threads() {
    let all = uncertainty::draws(0.2, 6, 3);
    let law = by_hand(2.0);
    let judge = |c: &LoopCraft| {
        let m = CraftLoop::new(c, &law).unwrap().margins().unwrap();
        (
            m.both.alpha.to_bits(),
            m.fins.all.classic.delay_s.map(|d| d.value.to_bits()),
        )
    };
    let on = |n: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(n)
            .build()
            .unwrap();
        pool.install(|| uncertainty::survey(craft(), &all, judge))
    };
    let one = on(1);
    assert_eq!(one, on(3));
    let mut seen = one.clone();
    seen.dedup();
    assert_eq!(seen.len(), one.len(), "each draw is another craft");
}

#[test]
fn demands_are_loops_of_their_own() {
    let m = CraftLoop::new(craft(), &by_hand(2.0))
        .unwrap()
        .margins()
        .unwrap();
    let names: Vec<&str> = m.modes.one.iter().map(|c| c.name.as_str()).collect();
    assert_eq!(
        names,
        ["heave demand", "pitch demand", "roll demand", "neither"]
    );
    // roll is alone by symmetry: its disk among the demands is that of its own loop, and the law reads
    // no heave: nothing crosses there
    assert!(m.modes.one[2].classic.gain_up.unwrap().value > 1.0);
    assert!(deg(30.0) < m.modes.one[1].classic.phase_rad().unwrap().value);
    let groups: Vec<&str> = m.fins.groups.iter().map(|c| c.name.as_str()).collect();
    assert_eq!(groups, ["forward pair", "aft pair"]);
}

#[test]
fn the_worst_of_a_survey_is_one_of_it() {
    let law = by_hand(2.0);
    let all = uncertainty::corners(0.2);
    let trials = robust::trials(craft(), &law, &all).unwrap();
    let (worst, unstable) = robust::worst(&trials);
    assert!(unstable.is_empty());
    let worst = worst.unwrap();
    for (k, (found, factors)) in worst.iter().enumerate() {
        let Judged::Stable(s) = robust::judge(&factors.apply(craft()), &law).unwrap() else {
            panic!("{} is unstable", factors.words());
        };
        assert_eq!(s.all()[k], found, "{}", factors.words());
        for t in &trials {
            if let Judged::Stable(s) = &t.judged {
                assert!(s.all()[k].value >= found.value);
            }
        }
    }
    // more fin force is more gain: the gain margin falls by that factor or nearly
    let (nominal, up) = (&trials[0], &worst[0]);
    let Judged::Stable(nominal) = &nominal.judged else {
        panic!("the nominal craft is stable");
    };
    assert!(
        (up.1.fin_effectiveness - 1.2).abs() < 1e-12,
        "{}",
        up.1.words()
    );
    assert!(up.0.value < nominal.gain_up.value && up.0.value > 0.6 * nominal.gain_up.value);
    // a law that is not enough for a craft is found out, not hidden
    let none = robust::judge(craft(), &scaled(&law, -1.0)).unwrap();
    assert!(matches!(none, Judged::Unstable(p, _) if p.re > 0.0));
}

#[test]
fn a_step_ends_at_its_static_answer() {
    use ridewright::closed_loop::margins::disturbance::{step, stiffness};
    use ridewright::frames::Dof;
    let law = by_hand(2.0);
    let push = stiffness(craft(), Dof::Roll) * deg(1.0);
    let found = step(craft(), &law, Dof::Roll, push, 120.0).unwrap();
    let end = found.motion.last().unwrap();
    // static answer of the linear model and the law: x = -A^-1 B F, law by its gain at rest
    let mut a = craft().kept_a();
    let n = a.nrows();
    let place = |state: usize| craft().kept.iter().position(|k| *k == state).unwrap();
    for (i, surface) in law.channels.iter().enumerate() {
        let b = craft().kept_rows(&craft().linear.b_command);
        for (j, state) in [4, 10, 3, 9].into_iter().enumerate() {
            let mut column = a.column_mut(place(state));
            column += b.column(*surface) * law.d[(i, j)];
        }
    }
    let mut force = nalgebra::DVector::zeros(n);
    for r in 0..6 {
        if let Some(at) = craft().kept.iter().position(|k| *k == 6 + r) {
            force[at] = -craft().plant.mass_inverse()[(r, 3)] * push;
        }
    }
    // the keeper holds the heading: no yaw in the end; what its rudders do to roll is left out
    let bound: Vec<usize> = (0..n)
        .filter(|k| ![5, 11].contains(&craft().kept[*k]))
        .collect();
    let at = bound.iter().position(|k| *k == place(3)).unwrap();
    let a = a.select_rows(&bound).select_columns(&bound);
    let want = a.lu().solve(&force.select_rows(&bound)).unwrap()[at];
    assert!(
        (end[1] - want).abs() < 0.05 * want.abs(),
        "{} {want}",
        end[1]
    );
    assert!(want > 0.0 && want < deg(1.0));
}

#[test]
fn a_step_is_what_simulation_has() {
    use ridewright::closed_loop::margins::disturbance::{short, step, stiffness};
    use ridewright::frames::Dof;
    use ridewright::sim::case::{Case, Timing};
    use ridewright::sim::{faults::resolve, run::run};
    let model = common::model(&common::linear_physics());
    let course = CourseSpec::default();
    let craft = LoopCraft::new(&model, kn(16.0), &course).unwrap();
    let mut plant = model.plant(kn(16.0), &course).unwrap();
    common::ideal_servos(&mut plant);
    let rig = rig::Rig {
        model: Box::leak(Box::new(model)),
        trim: craft.trim.clone(),
        plant: std::sync::Arc::new(plant),
        course,
        sea: ridewright::sea::realisation::Realisation::calm(),
    };
    // a full tank above O: its weight comes at once and stays, where an accelerometer cannot miss it
    let push = 0.005 * stiffness(&craft, Dof::Heave);
    let weigh = &rig.model.craft;
    let volume_m3 = push / (weigh.rho_kg_m3 * weigh.g_m_s2);
    let tank = serde_json::json!({"flooded": {"length_m": volume_m3, "breadth_m": 1, "depth_m": 1, "x_m": 0, "y_m": 0,
        "floor_height_m": weigh.spec.design_waterline_m - 0.5, "fill_frac": 1, "fills_in_s": 0}});
    for file in ["controllers/fixed.json", "controllers/pid.json"] {
        let mut law = common::law(file);
        law.reset(&craft.setup).unwrap();
        let linear = law.linear().unwrap();
        let told = step(&craft, &linear, Dof::Heave, push, 20.0).unwrap();
        let mut parts = rig.parts(25.0, &[]);
        // an accelerometer's filter takes its input as straight over a step, also where it jumps
        parts.timing = Timing::new(25.0, 0.0, 0.0125, 0.1, 0.1).unwrap();
        parts.faults = resolve(&[rig::at(5.0, tank.clone())], &weigh.spec, 1, 0).unwrap();
        let run = run(&Case::new(parts).unwrap(), &mut *common::law(file));
        // filters have settled at trim by then
        let heave = &run.record.column("heave_up").unwrap().data[50..];
        let peak = told.motion.iter().map(|m| m[0].abs()).fold(0.0, f64::max);
        let off = told
            .motion
            .iter()
            .zip(heave)
            .map(|(m, z)| heave[0] - z - m[0]);
        let worst = off.fold(0.0, |w: f64, d| w.max(d.abs()));
        assert!(worst < 0.005 * peak, "{file}: {worst} of {peak}");
        // a push that ends: superposition
        let brief = short(&told, 10);
        assert!((brief.motion[30][0] - told.motion[30][0] + told.motion[20][0]).abs() < 1e-12);
        assert!((brief.motion[9][0] - told.motion[9][0]).abs() < 1e-12);
    }
}
