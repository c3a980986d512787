//! Balances and invariances: energy, mirror image, scale, torque-free rotation, frames.

#![allow(clippy::unwrap_used)] // a failed step is a failed test

mod common;

use std::sync::{Arc, OnceLock};

use common::*;
use nalgebra::{Matrix6, Vector3, Vector6};
use ridewright::control::{Controller, from_spec};
use ridewright::dynamics::model::CraftModel;
use ridewright::dynamics::plant::Plant;
use ridewright::dynamics::rigid_body::momentum_cross;
use ridewright::dynamics::state::StateLayout;
use ridewright::dynamics::steady::SteadyForces;
use ridewright::frames::{body_to_earth, euler_rates};
use ridewright::geometry::integrate::gauss_legendre;
use ridewright::geometry::mass::MassProperties;
use ridewright::linear::trim;
use ridewright::math::ode::Rk4;
use ridewright::sim::case::{Case, Timing};
use ridewright::sim::run::{Run, run};
use ridewright::spec::controller::{ControllerSpec, HeaveGains, LawSpec};
use ridewright::spec::craft::{CraftSpec, EndSpec, MassSpec, MovingPart, WaterplaneShape};
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::units::{deg, kn};

// ---------------------------------------------------------------- torque-free rotation

/// Body rates after `t_s` of a free body with principal inertias `inertia`.
fn free_rates(inertia: [f64; 3], w0: [f64; 3], t_s: f64) -> Vector6<f64> {
    let body = MassProperties {
        mass_kg: 1.0,
        cg_m: Vector3::zeros(),
        inertia_cg_kg_m2: nalgebra::Matrix3::from_diagonal(&Vector3::from(inertia)),
        free_surface_roll_nm: 0.0,
        free_surface_pitch_nm: 0.0,
    };
    let m = body.matrix_about_o();
    let inverse = m.try_inverse().unwrap();
    let mut x = [0.0, 0.0, 0.0, w0[0], w0[1], w0[2]];
    let mut rk = Rk4::new(6);
    let steps = 20_000;
    for _ in 0..steps {
        rk.step(t_s / f64::from(steps), &mut x, |_, x, dx| {
            let nu = Vector6::from_column_slice(x);
            dx.copy_from_slice((-inverse * momentum_cross(&nu, &(m * nu))).as_slice());
        });
    }
    Vector6::from_column_slice(&x)
}

/// Source: references G, `top.S` (Goldstein) and `asym.S.*` (Landau & Lifshitz, sec. 37: elliptic
/// functions). Tolerance: the printed digits.
#[test]
fn torque_free_rotation_meets_the_analytic_solution() {
    let top = free_rates([2.0, 2.0, 3.0], [0.4, 0.0, 5.0], 2.0);
    for (found, want) in [(top[3], 0.11346487), (top[4], -0.38356971), (top[5], 5.0)] {
        assert!((found - want).abs() < 5e-9, "{found} {want}");
    }
    for (w0, t, want) in [
        (
            [0.01, 1.0, 0.01],
            20.0,
            [-0.005813837, -1.0000331, 0.008827999],
        ),
        (
            [1.0, 0.5, 0.4],
            5.0,
            [1.1179899, -0.0099325887, -0.49325495],
        ),
    ] {
        let w = free_rates([1.0, 2.0, 3.0], w0, t);
        for i in 0..3 {
            // eight printed digits; the unstable axis multiplies rounding by e^11
            assert!(
                (w[3 + i] - want[i]).abs() < 6e-8,
                "{} {}",
                w[3 + i],
                want[i]
            );
        }
    }
}

// ---------------------------------------------------------------- energy

/// No fins, no drag, no resistance, at rest: nothing but inertia, exact restoring and (or not) memory.
fn undamped(memory: bool, waves: bool) -> Plant {
    let mut physics = linear_physics();
    physics.wave_forces = waves;
    physics.surfaces = false;
    physics.nonlinear_restoring = true;
    physics.memory = memory;
    let model = model(&physics);
    let mut plant = model.plant(0.0, &mean_held()).unwrap();
    plant.hold = None;
    plant.steady = SteadyForces::new(&[], &[], &[], 0.0);
    plant.finish()
}

/// Work of the restoring from rest to (z, phi, theta) along a straight path, J.
fn potential(plant: &Plant, q: [f64; 3]) -> f64 {
    let (nodes, weights) = gauss_legendre(24);
    let mut work = 0.0;
    for (u, w) in nodes.iter().zip(&weights) {
        let s = 0.5 * (1.0 + u);
        let (z, phi, theta) = (s * q[0], s * q[1], s * q[2]);
        let mut x = vec![0.0; plant.layout().len()];
        (x[2], x[3], x[4]) = (z, phi, theta);
        // forces back from accelerations at rest; the memory is empty
        let calm = vec![0.0; plant.channels().len()];
        let dx = derivative(plant, &x, &calm, &[], &vec![0.0; plant.shafts.len()]);
        let f = plant.mass_inverse().try_inverse().unwrap()
            * Vector6::from_column_slice(&dx[StateLayout::NU]);
        // body velocities while the path is run through at unit rate
        let v = body_to_earth(phi, theta, 0.0).transpose() * Vector3::new(0.0, 0.0, q[0]);
        // Euler rates (q1, q2, 0) need body rates with psi' = 0
        let to_euler = nalgebra::Matrix3::from_columns(&[
            euler_rates(&body_to_earth(phi, theta, 0.0), &Vector3::x()),
            euler_rates(&body_to_earth(phi, theta, 0.0), &Vector3::y()),
            euler_rates(&body_to_earth(phi, theta, 0.0), &Vector3::z()),
        ]);
        let rates = to_euler.try_inverse().unwrap() * Vector3::new(q[1], q[2], 0.0);
        let nu = Vector6::new(v.x, v.y, v.z, rates.x, rates.y, rates.z);
        work += 0.5 * w * f.dot(&nu);
    }
    -work
}

fn kinetic(plant: &Plant, x: &[f64]) -> f64 {
    let nu = Vector6::from_column_slice(&x[StateLayout::NU]);
    let m: Matrix6<f64> = plant.mass + plant.memory.a_inf;
    0.5 * nu.dot(&(m * nu))
}

/// Energy at every `every` steps of a free run from a displacement.
fn energies(plant: &Plant, start: [f64; 3], step_s: f64, duration_s: f64) -> Vec<f64> {
    let mut x = vec![0.0; plant.layout().len()];
    x[2..5].copy_from_slice(&start);
    let mut rk = Rk4::new(x.len());
    let calm = vec![0.0; plant.channels().len()];
    let thrust = vec![0.0; plant.shafts.len()];
    let n = (duration_s / step_s).round() as usize;
    let every = (1.0 / step_s).round() as usize;
    let mut out = Vec::new();
    for k in 0..=n {
        if k % every == 0 {
            out.push(kinetic(plant, &x) + potential(plant, [x[2], x[3], x[4]]));
        }
        rk.step(step_s, &mut x, |_, x, dx| {
            dx.copy_from_slice(&derivative(plant, x, &calm, &[], &thrust));
        });
    }
    out
}

fn drift(e: &[f64]) -> f64 {
    e.iter().map(|v| (v / e[0] - 1.0).abs()).fold(0.0, f64::max)
}

/// Kinetic energy of craft and water plus the work of the exact restoring stays what it was, but for
/// the error of the method: of fifth order over a fixed time (the fourth-order error of a step is in
/// phase, not in amplitude).
///
/// From 0.5 m of heave, 4.6 deg of roll, 2.3 deg of pitch, over 120 s.
#[test]
fn energy_is_conserved_without_memory() {
    let plant = undamped(false, false);
    let found = [0.2, 0.1, 0.05].map(|h| drift(&energies(&plant, [0.5, 0.08, 0.04], h, 120.0)));
    let order = [found[0] / found[1], found[1] / found[2]].map(f64::log2);
    println!(
        "energy off by {:.1e} at 0.05 s, orders {order:.2?}",
        found[2]
    );
    assert!(order.iter().all(|o| *o > 4.5), "{order:?}");
    assert!(found[2] < 1e-6);
    // with wave forces the plant leaves out the cross terms of second order among wave-frequency motions;
    // in this large free motion they are worth a thousandth of the energy
    let in_waves = drift(&energies(
        &undamped(false, true),
        [0.5, 0.08, 0.04],
        0.1,
        120.0,
    ));
    assert!((1e-5..2e-3).contains(&in_waves), "{in_waves}");
}

/// With memory the water only takes: the energy of the craft never exceeds what it started with.
#[test]
fn memory_takes_energy() {
    let plant = undamped(true, true);
    for start in [
        [0.2, 0.0, 0.0],
        [0.0, 0.02, 0.0],
        [0.0, 0.0, 0.02],
        [0.2, 0.02, -0.02],
    ] {
        let e = energies(&plant, start, 0.05, 300.0);
        let most = e.iter().skip(1).map(|v| v / e[0]).fold(0.0, f64::max);
        let left = e.last().unwrap() / e[0];
        println!("{start:?}: at most {most:.4} of the start, {left:.3} left after 300 s");
        assert!(most <= 1.0 && left < 0.9);
    }
}

// ---------------------------------------------------------------- mirror

fn full() -> &'static CraftModel {
    static MODEL: OnceLock<CraftModel> = OnceLock::new();
    MODEL.get_or_init(|| model(&PhysicsSpec::default()))
}

fn oblique(mu_deg: f64, roll: f64) -> Run {
    let course = CourseSpec::default();
    let plant = Arc::new(full().plant(kn(14.0), &course).unwrap());
    let trim = trim::level(&plant).unwrap();
    let sea = irregular(1.0, 7.0, deg(mu_deg), 3, 60);
    let timing = Timing::new(120.0, 0.0, 0.05, 0.1, 0.1).unwrap();
    let mut p = parts(full(), &plant, &trim, &sea, &course, timing);
    p.start[3] += roll;
    p.start[7] -= 0.3 * roll;
    run(&Case::new(p).unwrap(), &mut *law("controllers/pid.json"))
}

/// Mirrored sea, mirrored start: sway, roll and yaw change sign, the rest stays.
///
/// Tolerance: rounding, multiplied over 120 s by a stable craft under the PID.
#[test]
fn port_mirrors_starboard() {
    let (a, b) = (oblique(130.0, 0.03), oblique(-130.0, -0.03));
    let mut worst = (0.0_f64, "");
    for (c, sign) in [
        ("surge", 1.0),
        ("sway", -1.0),
        ("heave_up", 1.0),
        ("roll", -1.0),
        ("pitch", 1.0),
        ("yaw", -1.0),
        ("u", 1.0),
        ("v", -1.0),
        ("w", 1.0),
        ("p", -1.0),
        ("q", 1.0),
        ("r", -1.0),
    ] {
        let (x, y) = (judged(&a, c), judged(&b, c));
        let size = x.iter().map(|v| v.abs()).fold(0.0, f64::max);
        let off = x
            .iter()
            .zip(y)
            .map(|(x, y)| (x - sign * y).abs())
            .fold(0.0, f64::max)
            / size;
        if off > worst.0 {
            worst = (off, c);
        }
    }
    println!(
        "largest difference {:.1e} of the largest {}",
        worst.0, worst.1
    );
    assert!(worst.0 < 1e-10, "{worst:?}");
}

// ---------------------------------------------------------------- Froude scale

/// The craft `l` times as long, with the same friction coefficients (viscosity times l^1.5).
fn scaled(spec: &CraftSpec, l: f64) -> CraftSpec {
    let mut s = spec.clone();
    let t = l.sqrt();
    let m = |x: &mut f64| *x *= l;
    s.water.kinematic_viscosity_m2_s *= l * t;
    m(&mut s.design_waterline_m);
    m(&mut s.lower_hulls.lateral_position_m);
    for st in &mut s.lower_hulls.stations {
        m(&mut st.x_m);
        m(&mut st.half_breadth_m);
        st.half_height_m.iter_mut().for_each(m);
        st.axis_height_m.iter_mut().for_each(m);
    }
    for end in [&mut s.lower_hulls.fore_end, &mut s.lower_hulls.aft_end] {
        match end {
            EndSpec::AsGiven => {}
            EndSpec::Ellipsoid { length_m }
            | EndSpec::Paraboloid { length_m }
            | EndSpec::Parabola { length_m } => m(length_m),
        }
    }
    for st in &mut s.struts {
        m(&mut st.fore_x_m);
        m(&mut st.aft_x_m);
        m(&mut st.thickness_m);
        m(&mut st.offset_outboard_m);
        match &mut st.waterplane {
            WaterplaneShape::ParabolicEnds {
                fore_length_m,
                aft_length_m,
            } => {
                m(fore_length_m);
                m(aft_length_m);
            }
            other => panic!("not in the demonstration craft: {other:?}"),
        }
    }
    let c = &mut s.cross_structure;
    for x in [
        &mut c.underside_height_m,
        &mut c.fore_x_m,
        &mut c.aft_x_m,
        &mut c.half_breadth_m,
    ] {
        m(x);
    }
    match &mut s.mass {
        MassSpec::Total {
            mass_kg,
            lcg_m,
            tcg_m,
            vcg_m,
            k_xx_m,
            k_yy_m,
            k_zz_m,
        } => {
            if let Some(v) = mass_kg {
                *v *= l.powi(3);
            }
            lcg_m.iter_mut().for_each(m);
            for x in [tcg_m, vcg_m, k_xx_m, k_yy_m, k_zz_m] {
                m(x);
            }
        }
        MassSpec::Groups { .. } => panic!("not in the demonstration craft"),
    }
    for f in &mut s.surfaces {
        for x in [
            &mut f.stock_x_m,
            &mut f.root_y_m,
            &mut f.root_height_m,
            &mut f.span_m,
            &mut f.root_chord_m,
            &mut f.tip_chord_m,
        ] {
            m(x);
        }
        f.body_radius_m.iter_mut().for_each(m);
        f.limit_by_speed.iter_mut().for_each(|r| r.speed_kn *= t);
        f.actuator.natural_frequency_rad_s /= t;
        f.actuator.rate_deg_s /= t;
        f.actuator.delay_s *= t;
        assert!(!matches!(f.moving, MovingPart::Fixed {}));
    }
    s.supplies.iter_mut().for_each(|s| s.total_rate_deg_s /= t);
    let n = &mut s.sensors;
    n.sample_period_s *= t;
    n.motion_unit_m.iter_mut().for_each(m);
    n.height_sensors_m.iter_mut().flatten().for_each(m);
    for p in &mut s.propulsors {
        for x in [&mut p.x_m, &mut p.y_m, &mut p.height_m, &mut p.diameter_m] {
            m(x);
        }
        p.max_thrust_n *= l.powi(3);
        p.time_constant_s *= t;
    }
    for r in &mut s.steady {
        r.speed_kn *= t;
        r.sinkage_force_n *= l.powi(3);
        r.trim_moment_nm *= l.powi(4);
    }
    for r in &mut s.resistance {
        r.speed_kn *= t;
        r.resistance_n *= l.powi(3);
    }
    if let Some(w) = &mut s.windage {
        w.frontal_area_m2 *= l * l;
        w.lateral_area_m2 *= l * l;
        m(&mut w.centre_x_m);
        m(&mut w.centre_height_m);
    }
    for p in &mut s.points {
        m(&mut p.x_m);
        m(&mut p.y_m);
        m(&mut p.height_m);
    }
    s
}

/// The modal PID without its heave part (the estimator's corner is not of the file), `l` times as long.
fn scaled_pid(l: f64) -> Box<dyn Controller> {
    let mut spec: ControllerSpec = read("scenarios/start/pid.json");
    let LawSpec::Pid(p) = &mut spec.law else {
        panic!("the file holds a PID");
    };
    let t = l.sqrt();
    p.reference_speed_kn *= t;
    p.min_speed_kn *= t;
    p.heave = HeaveGains::default();
    for g in [&mut p.pitch, &mut p.roll] {
        g.rate_deg_s_per_deg *= t;
        g.integral_deg_per_deg_s /= t;
    }
    p.filter_rad_s /= t;
    p.anti_windup_s *= t;
    from_spec(&spec, std::path::Path::new("."), None).unwrap()
}

fn run_at_scale(l: f64) -> Run {
    let t = l.sqrt();
    let spec = scaled(&small_spec(), l);
    let model = CraftModel::build(&spec, &PhysicsSpec::default(), None).unwrap();
    let course = CourseSpec::Kept {
        heading_deg_per_deg: 1.0,
        heading_deg_s_per_deg: 4.0 * t,
        wave_filter_s: 6.0 * t,
        speed_hold_s: 60.0 * t,
    };
    let plant = Arc::new(model.plant(kn(14.0) * t, &course).unwrap());
    let trim = trim::level(&plant).unwrap();
    let mut sea = irregular(1.0, 7.0, deg(130.0), 3, 60);
    for c in &mut sea.components {
        c.omega_rad_s /= t;
        c.amplitude_m *= l;
    }
    let timing = Timing::new(120.0 * t, 0.0, 0.05 * t, 0.1 * t, 0.1 * t).unwrap();
    let p = parts(&model, &plant, &trim, &sea, &course, timing);
    run(&Case::new(p).unwrap(), &mut *scaled_pid(l))
}

/// A craft 2.25 times as long, its controller, servos and sea with it, moves to scale; lengths by l,
/// times by sqrt(l), friction coefficients held by the viscosity.
///
/// Source: common practice (Froude's law). Tolerance of the job: 1e-6 of each RMS.
#[test]
fn a_scaled_craft_moves_to_scale() {
    let l: f64 = 2.25;
    let t = l.sqrt();
    let (a, b) = (run_at_scale(1.0), run_at_scale(l));
    assert!(a.outcome.is_completed() && b.outcome.is_completed());
    let mut worst = 0.0_f64;
    for (c, factor) in [
        ("wave", l),
        ("surge", l),
        ("sway", l),
        ("heave_up", l),
        ("roll", 1.0),
        ("pitch", 1.0),
        ("yaw", 1.0),
        ("u", t),
        ("q", 1.0 / t),
        ("bridge.acc_up", 1.0),
    ] {
        let (x, y) = (judged(&a, c), judged(&b, c));
        let size = rms(x);
        let off = x
            .iter()
            .zip(y)
            .map(|(x, y)| (x - y / factor).abs())
            .fold(0.0, f64::max)
            / size;
        worst = worst.max(off);
        assert!(off < 1e-6, "{c}: {off:e}");
    }
    println!("largest difference {worst:.1e} of an RMS");
}
