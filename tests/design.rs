//! The design model stands for the craft it was made from.

#![allow(clippy::unwrap_used)] // a test that cannot go on stops

mod common;

use common::{model, read};
use nalgebra::{Complex, DMatrix};
use ridewright::design::model::{DesignModel, SampledModel};
use ridewright::design::{self, craft, law};
use ridewright::dynamics::model::CraftModel;
use ridewright::linear::assemble::assemble;
use ridewright::linear::{stability, trim};
use ridewright::math::{eigen, lyapunov};
use ridewright::spec::controller::{ControllerSpec, LawSpec, LqrAcceptablePoint, LqrSea, LqrSpec};
use ridewright::spec::craft::SurfaceGroup;
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::units::kn;

fn poles(a: &DMatrix<f64>) -> Vec<Complex<f64>> {
    eigen::eigenvalues(a).unwrap().iter().copied().collect()
}

fn nearest(poles: &[Complex<f64>], to: Complex<f64>) -> Complex<f64> {
    let off = |p: &&Complex<f64>| (*p - to).norm();
    let by = |a: &&Complex<f64>, b: &&Complex<f64>| off(a).total_cmp(&off(b));
    *poles.iter().min_by(by).unwrap()
}

/// The whole linear model (memory, surge, servos) with the course keeper's rudder closed about it.
fn whole(model: &CraftModel, speed_kn: f64) -> ridewright::linear::assemble::LinearModel {
    let course = CourseSpec::default();
    let plant = model.plant(kn(speed_kn), &course).unwrap();
    let level = trim::level(&plant).unwrap();
    let mut linear = assemble(&plant, &level.x, None);
    let CourseSpec::Kept {
        heading_deg_per_deg,
        heading_deg_s_per_deg,
        ..
    } = course
    else {
        panic!("the course is kept by default")
    };
    for (i, s) in plant.surfaces.iter().enumerate() {
        if s.group == SurfaceGroup::Rudder {
            let by = linear.b_command.column(i).into_owned();
            let mut psi = linear.a.column_mut(5);
            psi += &by * heading_deg_per_deg;
            let mut r = linear.a.column_mut(11);
            r += by * heading_deg_s_per_deg;
        }
    }
    linear
}

fn craft_model(file: &str) -> CraftModel {
    CraftModel::build(&read(file), &PhysicsSpec::default(), None).unwrap()
}

/// Roll, heave and pitch poles of the whole linear model are found among those of the design model, for
/// both demonstration craft; what the design model was without sway and yaw is printed beside.
#[test]
fn design_poles_are_those_of_the_craft() {
    // surge and the memory's change of added mass and damping with frequency are left out; roll besides
    // lacks heading and the rudders' servos
    let (tolerance, roll_tolerance) = (0.05, 0.03);
    for file in ["coastal_survey", "offshore_survey"] {
        let model = craft_model(&format!("scenarios/craft/{file}.json"));
        for speed_kn in [8.0, 12.0, 16.0] {
            let whole = ridewright::linear::modes::poles(&whole(&model, speed_kn)).unwrap();
            let design = craft::at_speed(&model, kn(speed_kn), &[]).unwrap();
            let reduced = poles(&design.a);
            // sway and yaw held still, radiation of heave for all: what the model was
            let heave = design.omega_rad_s[0];
            let old = craft::at_frequency(&model, kn(speed_kn), [heave; 2], &[]).unwrap();
            let still: Vec<usize> = (0..old.a.nrows()).filter(|i| ![6, 7].contains(i)).collect();
            let before = poles(&old.a.select_rows(&still).select_columns(&still));
            let mut seen = (0, 0);
            for p in whole
                .iter()
                .filter(|p| p.value.im > 0.2 && p.value.im < 2.0)
            {
                let Some(motion) = p.motion else { continue };
                if ["sway", "yaw", "surge"].contains(&motion.name()) {
                    continue; // of use to roll only
                }
                let roll = motion.name() == "roll";
                if !roll && seen.0 == 1 {
                    continue; // the faster vertical pole is as much memory's as the craft's
                }
                let (found, was) = (nearest(&reduced, p.value), nearest(&before, p.value));
                let off = (found - p.value).norm() / p.value.norm();
                let damping = |q: Complex<f64>| q.re / p.value.re - 1.0;
                println!(
                    "{file} {speed_kn} kn {}: {:.4}, off {off:.4} (damping {:+.3}); before {:.4} (damping {:+.3})",
                    motion.name(),
                    p.value,
                    damping(found),
                    (was - p.value).norm() / p.value.norm(),
                    damping(was),
                );
                let most = if roll { roll_tolerance } else { tolerance };
                assert!(off < most, "{file} {speed_kn} kn {}: {off}", motion.name());
                if roll {
                    seen.1 += 1;
                } else {
                    seen.0 += 1;
                }
            }
            assert!(seen.0 >= 1 && seen.1 >= 1, "{file} {speed_kn} kn {seen:?}");
        }
    }
}

/// Largest of the design model's real poles, 1/s.
fn growth(model: &CraftModel, speed_kn: f64, omega: [f64; 2]) -> f64 {
    let a = craft::at_frequency(model, kn(speed_kn), omega, &[])
        .unwrap()
        .a;
    let real = poles(&a).into_iter().filter(|p| p.im.abs() < 1e-9);
    real.map(|p| p.re).fold(f64::NEG_INFINITY, f64::max)
}

#[test]
fn design_model_diverges_where_the_craft_does() {
    let model = model(&PhysicsSpec::default());
    let craft = stability::divergence_kn(&model).unwrap().unwrap();
    let design = |omega: [f64; 2]| {
        let (mut below, mut above) = (16.0, 40.0);
        while above - below > 0.05 {
            let middle = 0.5 * (below + above);
            if growth(&model, middle, omega) > 0.0 {
                above = middle;
            } else {
                below = middle;
            }
        }
        0.5 * (below + above)
    };
    let omega = craft::at_speed(&model, kn(16.0), &[]).unwrap().omega_rad_s;
    let (slow, heave) = (design([0.0; 2]), design(omega));
    println!(
        "divergence: craft {craft:.2} kn, design model {slow:.2} kn, at {omega:.2?} rad/s {heave:.2} kn"
    );
    // the craft's is sought level with fins at neutral, the design model's about its trim
    assert!((slow / craft - 1.0).abs() < 0.05, "{slow}");
}

#[test]
fn channels_and_their_angles_are_honoured() {
    let model = model(&PhysicsSpec::default());
    let mut spec: ControllerSpec = read("scenarios/start/lqg.json");
    spec.channels = vec!["aft starboard".into(), "aft port".into()];
    let LawSpec::Lqr(lqr) = &mut spec.law else {
        panic!("lqg.json is an LQR")
    };
    lqr.design_speeds_kn = vec![16.0];
    lqr.channel_deg = vec![2.0, 20.0];
    let here = std::path::Path::new("");
    let (made, report) = law(&spec, here, &model).unwrap();
    assert_eq!(made.info().channels, spec.channels);
    let point = &report.unwrap().points[0];
    let gain = |channel: &str| {
        let of =
            |g: &&ridewright::design::lqr::GainEntry| g.channel == channel && g.state == "q_rad_s";
        point.gains.iter().find(of).unwrap().value.abs()
    };
    // the dear channel works less
    assert!(gain("aft port") > 4.0 * gain("aft starboard"));
    let LawSpec::Lqr(lqr) = &mut spec.law else {
        panic!("lqg.json is an LQR")
    };
    lqr.channel_deg.pop();
    let e = law(&spec, here, &model).err().unwrap().to_string();
    assert!(
        e.contains("channel_deg") && e.contains("1 values for 2"),
        "{e}"
    );
    spec.channels[0] = "aft middle".into();
    let e = law(&spec, here, &model).err().unwrap().to_string();
    assert!(
        e.contains("aft middle") && e.contains("16.0 kn") && e.contains("forward port"),
        "{e}"
    );
}

/// Frozen check of interpolated gains, and how long a design takes.
#[test]
fn interpolated_gains_hold_between_design_speeds() {
    let model = model(&PhysicsSpec::default());
    let spec: ControllerSpec = read("scenarios/start/lqg.json");
    let start = std::time::Instant::now();
    let plants = design::prepare(&spec, &model).unwrap().unwrap();
    let prepared = start.elapsed();
    let LawSpec::Lqr(numbers) = &spec.law else {
        panic!("lqg.json is an LQR")
    };
    let start = std::time::Instant::now();
    let (matrices, report) = plants.solve(numbers).unwrap();
    let solved = start.elapsed();
    let start = std::time::Instant::now();
    design::between::check("lqr", &matrices, &model, &[]).unwrap();
    println!(
        "{} speeds, {} states: prepared {prepared:.2?}, solved {solved:.2?}, checked {:.2?}",
        matrices.points.len(),
        matrices.states.len(),
        start.elapsed()
    );
    for p in &report.points {
        println!(
            "{:.1} m/s residuals {:.1e} {:.1e}, slowest {:.3} {:.3}",
            p.speed_m_s,
            p.regulator_residual,
            p.observer_residual,
            p.closed_poles[0],
            p.observer_poles[0]
        );
    }
    // gains turned round at 20 kn throw the craft about below it: told with the speed and the remedy
    let mut wrong = matrices.clone();
    wrong.points.last_mut().unwrap().gain *= -3.0;
    let e = design::between::check("turned", &wrong, &model, &[])
        .unwrap_err()
        .to_string();
    println!("{e}");
    assert!(
        e.contains("turned")
            && e.contains("at 17.0 kn")
            && e.contains("between 16.0 kn and 20.0 kn"),
        "{e}"
    );
}

fn lqr_of(spec: &mut ControllerSpec) -> &mut LqrSpec {
    let LawSpec::Lqr(numbers) = &mut spec.law else {
        panic!("lqg.json is an LQR")
    };
    numbers
}

/// RMS of the craft's motion under the regulator with its state known, in the waves of the model:
/// vertical acceleration and velocity and felt lateral acceleration at the first point, then angle and
/// change per sample of the first command.
fn expected_rms(model: &CraftModel, spec: &ControllerSpec) -> [f64; 5] {
    let LawSpec::Lqr(numbers) = &spec.law else {
        panic!("lqg.json is an LQR")
    };
    let speed = kn(numbers.design_speeds_kn[0]);
    let craft = craft::at_speed(model, speed, &[]).unwrap();
    let around = craft::Surroundings::default();
    let design = craft.design_model(model, &around, numbers.sea.as_ref());
    let s = design.sampled().unwrap();
    let (data, _) = design::lqr::design("rms", numbers, &[design]).unwrap();
    let p = &data.points[0];
    let closed = &p.a - &p.b * &p.gain;
    let x = lyapunov::covariance_discrete(&closed, &s.wave_noise).unwrap();
    let rms = |row: &DMatrix<f64>| (row * &x * row.transpose())[(0, 0)].sqrt();
    let ride = |i: usize| rms(&s.ride[0].rows(i, 1).into_owned());
    let command = -p.gain.rows(0, 1).into_owned();
    let mut change = command.clone();
    change[s.last_command] -= 1.0;
    [ride(1), ride(0), ride(2), rms(&command), rms(&change)]
}

#[test]
fn weights_do_what_they_say() {
    let model = model(&PhysicsSpec::default());
    let mut spec: ControllerSpec = read("scenarios/start/lqg.json");
    let numbers = lqr_of(&mut spec);
    numbers.design_speeds_kn = vec![16.0];
    numbers.trim_time_s = 0.0;
    let plain = expected_rms(&model, &spec);
    let with = |vertical, velocity, lateral, rate| {
        let mut spec = spec.clone();
        let acceptable = &mut lqr_of(&mut spec).acceptable;
        acceptable.points = vec![LqrAcceptablePoint {
            point: "bridge".into(),
            vertical_acceleration_m_s2: vertical,
            vertical_velocity_m_s: velocity,
            lateral_acceleration_m_s2: lateral,
        }];
        acceptable.forward_rate_deg_s = rate;
        acceptable.aft_rate_deg_s = rate;
        expected_rms(&model, &spec)
    };
    let none = with(None, None, None, None);
    let (acc, vel, lat) = (
        with(Some(0.05), None, None, None),
        with(None, Some(0.05), None, None),
        with(None, None, Some(0.02), None),
    );
    let slow = with(None, None, None, Some(1.0));
    println!(
        "plain {plain:.4?}\nacceleration {acc:.4?}\nvelocity {vel:.4?}\nlateral {lat:.4?}\nrate {slow:.4?}"
    );
    for (a, b) in plain.iter().zip(none) {
        assert!(
            (a / b - 1.0).abs() < 1e-9,
            "a point without weights changes nothing"
        );
    }
    assert!(acc[0] < 0.95 * plain[0], "{acc:?} {plain:?}");
    assert!(vel[1] < 0.95 * plain[1], "{vel:?} {plain:?}");
    assert!(lat[2] < 0.99 * plain[2], "{lat:?} {plain:?}");
    assert!(slow[4] < 0.7 * plain[4], "{slow:?} {plain:?}");
    let mut spec = spec.clone();
    lqr_of(&mut spec).acceptable.points = vec![LqrAcceptablePoint {
        point: "crow's nest".into(),
        vertical_acceleration_m_s2: Some(1.0),
        vertical_velocity_m_s: None,
        lateral_acceleration_m_s2: None,
    }];
    let e = design::solve(&spec, &model).unwrap_err().to_string();
    assert!(
        e.contains("crow's nest") && e.contains("bridge") && e.contains("points[0]"),
        "{e}"
    );
}

/// The wave model carries the variance of the forces it was made from, and the observer's error in it
/// is told.
#[test]
fn expected_sea_has_the_variance_of_the_forces() {
    let model = model(&PhysicsSpec::default());
    let craft = craft::at_speed(&model, kn(16.0), &[]).unwrap();
    let around = craft::Surroundings::default();
    let (height, peak) = (1.25, 7.0);
    println!(
        "heading, heave, pitch acceleration m/s2; error of heave m, heave rate m/s, pitch deg; with the constants"
    );
    for from in [0.0, 60.0, 120.0] {
        let sea = LqrSea {
            significant_height_m: height,
            peak_period_s: peak,
            heading_from_deg: from,
            heading_to_deg: from + 60.0,
        };
        let design = craft.design_model(&model, &around, Some(&sea));
        let p = lyapunov::covariance(&design.waves.a, &design.waves.noise).unwrap();
        let d = &design.waves.c * p * design.waves.c.transpose();
        // elevation at one place; a mean over sensors a wave length apart is less
        assert!(d[(5, 5)].sqrt() < 1.001 * height / 4.0 && d[(5, 5)].sqrt() > 0.5 * height / 4.0);
        let spec: ControllerSpec = read("scenarios/start/lqg.json");
        let LawSpec::Lqr(numbers) = &spec.law else {
            panic!("lqg.json is an LQR")
        };
        let error = |made_for: &DesignModel| {
            // the observer made for one sea, in the sea of `design`
            let (data, _) =
                design::lqr::design("o", numbers, std::slice::from_ref(made_for)).unwrap();
            let q = &data.points[0];
            let (truth, made) = (design.sampled().unwrap(), made_for.sampled().unwrap());
            let own = |s: &SampledModel| -> Vec<usize> {
                (0..s.states.len())
                    .filter(|&i| {
                        !s.states[i].starts_with("past") && !s.states[i].starts_with("servo")
                    })
                    .collect()
            };
            let (t, o) = (own(&truth), own(&made));
            let at = truth.a.select_rows(&t).select_columns(&t);
            let ct = truth.c.select_columns(&t);
            let (ao, co) = (
                made.a.select_rows(&o).select_columns(&o),
                made.c.select_columns(&o),
            );
            let mo = q.observer.select_rows(&o);
            let keep = DMatrix::identity(o.len(), o.len()) - &mo * co;
            let (n, k) = (t.len(), o.len());
            // x' = A x + w;  posterior' = keep Ao posterior + Mo (C x' + v)
            let mut big = DMatrix::zeros(n + k, n + k);
            big.view_mut((0, 0), (n, n)).copy_from(&at);
            big.view_mut((n, 0), (k, n)).copy_from(&(&mo * &ct * &at));
            big.view_mut((n, n), (k, k)).copy_from(&(&keep * ao));
            let noise = truth.wave_noise.select_rows(&t).select_columns(&t);
            let mut drive = DMatrix::zeros(n + k, n);
            drive.view_mut((0, 0), (n, n)).fill_with_identity();
            drive.view_mut((n, 0), (k, n)).copy_from(&(&mo * &ct));
            let v = DMatrix::from_diagonal(&nalgebra::DVector::from_iterator(
                design.output_noise.len(),
                design.output_noise.iter().map(|s| s * s),
            ));
            let mut w = &drive * noise * drive.transpose();
            let own_noise = &mo * v * mo.transpose();
            let mut corner = w.view_mut((n, n), (k, k));
            corner += own_noise;
            let p = lyapunov::covariance_discrete(&big, &w).unwrap();
            [0, 3, 2].map(|i| {
                (p[(i, i)] + p[(n + i, n + i)] - 2.0 * p[(i, n + i)])
                    .max(0.0)
                    .sqrt()
            })
        };
        let constants = craft.design_model(&model, &around, None);
        let (with, without) = (error(&design), error(&constants));
        println!(
            "{from:.0} to {:.0} deg: {:.3} {:.3}; {:.3} {:.3} {:.2}; {:.3} {:.3} {:.2}",
            from + 60.0,
            d[(0, 0)].sqrt(),
            d[(2, 2)].sqrt(),
            with[0],
            with[1],
            with[2].to_degrees(),
            without[0],
            without[1],
            without[2].to_degrees()
        );
        // in the sea it is made for, with nothing else unknown, an observer is the best there is
        assert!(with[0] < 1.001 * without[0] && with[1] < 1.001 * without[1]);
    }
}

#[test]
fn a_craft_without_fins_is_refused_without_aft_fins_held() {
    let mut craft = common::small_spec();
    craft.surfaces.retain(|s| s.group == SurfaceGroup::Rudder);
    let bare = CraftModel::build(&craft, &PhysicsSpec::default(), None).unwrap();
    let mut spec: ControllerSpec = read("scenarios/start/lqg.json");
    let e = design::solve(&spec, &bare).unwrap_err().to_string();
    assert!(e.contains("no surface makes heave, roll or pitch"), "{e}");
    // the forward pair alone reaches heave, pitch and roll
    lqr_of(&mut spec).design_speeds_kn = vec![16.0];
    let mut craft = common::small_spec();
    craft.surfaces.retain(|s| s.group != SurfaceGroup::Aft);
    let forward = CraftModel::build(&craft, &PhysicsSpec::default(), None).unwrap();
    let (_, report) = design::solve(&spec, &forward).unwrap().unwrap();
    let worst = &report.points[0].closed_poles[0];
    println!("forward fins only: slowest pole {worst:.3}");
    assert!(worst.re < 0.0);
}
