//! Spectral evaluation: against the dense linear model, poles, covariances, finer grids.

use std::f64::consts::PI;
use std::path::Path;
use std::sync::Arc;

use nalgebra::{DMatrix, Vector3};
use num_complex::Complex64;

use super::*;
use crate::closed_loop::at_sea::{AtSea, DragModel};
use crate::closed_loop::at_speed::AtSpeed;
use crate::closed_loop::contour::SHIFT_1_S;
use crate::closed_loop::encounter::{Fineness, WeightedWave};
use crate::closed_loop::evaluate::Options;
use crate::closed_loop::output::Output;
use crate::closed_loop::poles::closed;
use crate::closed_loop::trust::Doubt;
use crate::dynamics::steady::SteadyForces;
use crate::frames::encounter_rad_s;
use crate::linear::response::realised;
use crate::math::lyapunov;
use crate::spec::sea::SeaSpec;

pub(crate) fn at_speed(course: &CourseSpec) -> Arc<AtSpeed> {
    Arc::new(AtSpeed::new(Arc::new(craft(course)), &FINS, &SIGNALS).unwrap())
}

fn wave(omega: f64, mu: f64, speed: f64) -> WeightedWave {
    WeightedWave {
        omega_rad_s: omega,
        mu_rad: mu,
        omega_e_rad_s: encounter_rad_s(omega, speed, mu, 9.80665),
        weight_m2: 0.5,
    }
}

fn sea(text: &str) -> SeaSpec {
    let text = format!(r#"{{"format":"ridewright.sea/1","name":"test sea","systems":[{text}]}}"#);
    serde_json::from_str(&text).unwrap()
}

fn long_crested(hs_m: f64, tp_s: f64) -> SeaSpec {
    sea(&format!(
        r#"{{"spectrum":{{"bretschneider":{{"hs_m":{hs_m},"tp_s":{tp_s}}}}}}}"#
    ))
}

/// A law that damps roll and pitch by proportion: aft and forward fins, filtered by one state each.
pub(crate) fn damper(period_s: f64, gain: f64) -> LinearLaw {
    let n = 2;
    LinearLaw {
        sample_period_s: period_s,
        signals: SIGNALS.to_vec(),
        channels: FINS.to_vec(),
        a: DMatrix::identity(n, n) * 0.8,
        b: DMatrix::from_fn(n, 8, |i, j| if i == j { 0.2 } else { 0.0 }),
        c: DMatrix::from_row_slice(4, 2, &[0.5, -1.0, -0.5, -1.0, 0.5, 1.0, -0.5, 1.0]) * gain,
        d: DMatrix::from_fn(4, 8, |i, j| match j {
            2 => gain * 0.5 * if i % 2 == 0 { 1.0 } else { -1.0 },
            3 => gain * 0.5 * if i < 2 { -1.0 } else { 1.0 },
            _ => 0.0,
        }),
        speed_power: 0.0,
    }
}

#[test]
fn prepared_craft_is_the_plain_one() {
    for course in [held(), CourseSpec::default()] {
        let speed = at_speed(&course);
        let u = speed.craft.speed_m_s;
        let waves = [(0.4, 2.6), (0.9, PI), (1.4, 0.3), (0.7, 0.0)];
        let list = waves.iter().map(|(w, m)| wave(*w, *m, u)).collect();
        let sea = AtSea::new(Arc::clone(&speed), list, DragModel::Slope).unwrap();
        for t in &sea.transfers {
            let want = speed
                .craft
                .commands_to_signals(t.omega, &FINS, &SIGNALS)
                .unwrap();
            let got = DMatrix::from_fn(8, 4, |i, j| t.signals[i * 10 + j]);
            let off = apart(&got, &want);
            assert!(off < 1e-9, "{}: {off}", t.omega); // rounding of two eliminations
        }
    }
}

#[test]
fn without_a_law_it_is_the_linear_response() {
    let speed = at_speed(&held());
    let craft = &speed.craft;
    let u = craft.speed_m_s;
    let law = speed
        .law(&LinearLaw::none(craft.setup.sample_period_s))
        .unwrap();
    for (omega, mu) in [(0.5, 2.0), (1.1, PI), (0.8, 0.4), (1.9, 0.0)] {
        let w = wave(omega, mu, u);
        let sea = AtSea::new(Arc::clone(&speed), vec![w], DragModel::Slope).unwrap();
        let e = sea.evaluate(&law, &Options::linear()).unwrap();
        let want = realised(&craft.linear, &craft.plant, omega, mu).unwrap();
        for i in 0..6 {
            let got = e.responses(Output::Motion(i)).at(0);
            let off = (got - want.motion()[i]).norm() / want.motion()[i].norm().max(1e-6);
            assert!(off < 1e-6, "motion {i}: {off}"); // rounding; sway of following seas is next to nothing
        }
        let r_m = Vector3::new(9.0, 3.0, -5.0);
        let got = e.responses(Output::Vertical { r_m }).at(0);
        let plain = want.vertical_acceleration(&r_m);
        // the plain formula takes the craft for level: a trim of half a degree turns the lever
        assert!((got - plain).norm() < 0.02 * plain.norm(), "{got} {plain}");
        let variance = e.variance(Output::Motion(2));
        let motion = want.motion()[2].norm_sqr() * 0.5;
        assert!((variance / motion - 1.0).abs() < 1e-8);
    }
}

#[test]
fn winding_counts_what_poles_find() {
    let mut seen = [0usize; 4];
    for course in [held(), CourseSpec::default()] {
        let speed = at_speed(&course);
        let period = speed.craft.setup.sample_period_s;
        let mut laws = Vec::new();
        for gain in [-6.0, -2.0, -0.5, 0.0, 0.3, 0.8, 2.0, 4.0, 8.0, 20.0] {
            laws.push(damper(period, gain));
            let mut integral = damper(period, 0.3);
            integral.a[(0, 0)] = 1.0;
            integral.c *= gain * 0.02;
            laws.push(integral);
            let mut growing = damper(period, gain);
            growing.a[(1, 1)] = 1.05;
            laws.push(growing);
        }
        for law in &laws {
            let prepared = speed.law(law).unwrap();
            let found = poles(&speed.craft, law).unwrap();
            let want = found.iter().filter(|p| p.re > SHIFT_1_S).count();
            assert_eq!(prepared.unstable, want, "{:?}", &found[..3]);
            seen[want.min(3)] += 1;
        }
    }
    println!("laws with 0, 1, 2, more growing poles: {seen:?}");
    assert!(seen[0] > 3 && seen[1] + seen[2] + seen[3] > 3);
}

#[test]
fn noise_meets_the_covariance() {
    let speed = at_speed(&held());
    let craft = &speed.craft;
    let law = damper(craft.setup.sample_period_s, 0.6);
    let prepared = speed.law(&law).unwrap();
    assert!(prepared.is_stable());
    // exact: x+ = A x + [B D_l; B_l] y_n, u = [D_l C, C_l] x + D_l y_n
    let sampled = craft.sampled(&FINS, &SIGNALS).unwrap();
    let a = closed(&sampled, &law);
    let (n, l) = (sampled.a.nrows(), 2);
    let sources = speed.quantities.len();
    let mut w = speed.weights.clone();
    for (k, q) in speed.quantities.iter().enumerate() {
        let sigma = craft.blur(*q).noise;
        w.column_mut(k).scale_mut(sigma);
    }
    assert!(w.norm() > 0.0, "{sources} sources");
    let mut b = DMatrix::zeros(n + l, sources);
    b.rows_mut(0, n).copy_from(&(&sampled.b * &law.d * &w));
    b.rows_mut(n, l).copy_from(&(&law.b * &w));
    let p = lyapunov::covariance_discrete(&a, &(&b * b.transpose())).unwrap();
    let mut c = DMatrix::zeros(4, n + l);
    c.columns_mut(0, n).copy_from(&(&law.d * &sampled.c));
    c.columns_mut(n, l).copy_from(&law.c);
    let d = &law.d * &w;
    let u = &c * p * c.transpose() + &d * d.transpose();
    for j in 0..4 {
        let got = prepared.noise_sums[j].command;
        println!("channel {j}: {:.4e} against {:.4e}", got, u[(j, j)]);
        // trapezoids on a grid of a hundred frequencies
        assert!((got / u[(j, j)] - 1.0).abs() < 0.01, "{got} {}", u[(j, j)]);
    }
}

#[test]
fn four_times_the_grid_changes_little() {
    let speed = at_speed(&CourseSpec::default());
    let law = speed
        .law(&damper(speed.craft.setup.sample_period_s, 0.6))
        .unwrap();
    let outputs = [
        Output::Motion(2),
        Output::Motion(3),
        Output::Motion(4),
        Output::Vertical {
            r_m: Vector3::new(9.0, 0.0, -5.0),
        },
        Output::Angle(0),
    ];
    let sea = long_crested(1.5, 6.5);
    let mut worst = 0.0_f64;
    // head, bow, beam, quartering, following
    for mu in [PI, 2.4, 1.6, 0.8, 0.0] {
        let rms = |fine: &Fineness| -> (usize, Vec<f64>) {
            let at = speed
                .at_sea(&sea, Path::new("."), mu, fine, DragModel::Gaussian)
                .unwrap();
            let e = at.evaluate(&law, &Options::default()).unwrap();
            assert!(e.converged, "{}", e.iterations);
            (e.waves(), outputs.iter().map(|o| e.rms(*o)).collect())
        };
        let plain = Fineness::default();
        let (n, a) = rms(&plain);
        let (many, b) = rms(&Fineness {
            frequencies: 4 * plain.frequencies,
            narrow_step: 0.25 * plain.narrow_step,
            ..plain
        });
        println!("mu {mu:.1}: {n} and {many} waves, {a:.5?} {b:.5?}");
        for (x, y) in a.iter().zip(&b) {
            if *y > 1e-6 {
                worst = worst.max((x / y - 1.0).abs());
            }
        }
    }
    // asked: the grid adds nothing to a comparison at 3 %
    assert!(worst < 0.002, "{worst}");
}

#[test]
fn doubts_are_named() {
    let speed = at_speed(&CourseSpec::default());
    let law = speed
        .law(&damper(speed.craft.setup.sample_period_s, 0.8))
        .unwrap();
    let at = |hs: f64, tp: f64, mu: f64| {
        speed
            .at_sea(
                &long_crested(hs, tp),
                Path::new("."),
                mu,
                &Fineness::default(),
                DragModel::Gaussian,
            )
            .unwrap()
    };
    let calm = at(0.3, 5.0, PI);
    let e = calm.evaluate(&law, &Options::default()).unwrap();
    assert!(e.is_trusted(), "{:?}", e.doubts());
    let wild = at(25.0, 9.0, 2.4);
    let e = wild.evaluate(&law, &Options::default()).unwrap();
    let doubts = e.doubts();
    for d in &doubts {
        println!("{d}");
    }
    assert!(doubts.iter().any(|d| matches!(d, Doubt::Limits { .. })));
    assert!(doubts.iter().any(|d| matches!(d, Doubt::Contact { .. })));
    let growing = damper(speed.craft.setup.sample_period_s, -20.0);
    let law = speed.law(&growing).unwrap();
    assert!(!law.is_stable() && calm.evaluate(&law, &Options::default()).is_err());
}

#[test]
fn wander_and_range_are_doubted() {
    let speed = at_speed(&CourseSpec::default());
    let law = speed
        .law(&damper(speed.craft.setup.sample_period_s, 0.8))
        .unwrap();
    let with = |hs: f64, tp: f64, mu: f64, drag: DragModel| {
        let sea = long_crested(hs, tp);
        let fine = Fineness::default();
        speed.at_sea(&sea, Path::new("."), mu, &fine, drag).unwrap()
    };
    let at = |hs: f64, tp: f64, mu: f64| with(hs, tp, mu, DragModel::Gaussian);
    // head seas hardly move a slender craft along: k d is small; following ones of the same height carry it with them
    let most = |e: &crate::closed_loop::Evaluation<'_>, along_m: f64| {
        let shares = e.phase_shares(along_m);
        shares.iter().fold(0.0, |a: f64, s| a.max(s.1))
    };
    let moved = |mu: f64| {
        let sea = at(1.0, 6.0, mu);
        let e = sea.evaluate(&law, &Options::default()).unwrap();
        (e.along_rms_m(), most(&e, e.along_rms_m()))
    };
    let (head, following) = (moved(PI), moved(0.0));
    assert!(head.0 < 0.1 * following.0 && head.1 < 0.1 * following.1);
    // displacement goes with the height where drag is linear; a wave at k d = 1 keeps 1/e
    let along = |hs: f64| {
        let sea = with(hs, 6.0, 0.0, DragModel::Slope);
        sea.evaluate(&law, &Options::linear())
            .unwrap()
            .along_rms_m()
    };
    assert!((along(1.0) / along(0.5) - 2.0).abs() < 1e-6);
    let u = speed.craft.speed_m_s;
    let one = AtSea::new(Arc::clone(&speed), vec![wave(1.0, PI, u)], DragModel::None).unwrap();
    let one = one.evaluate(&law, &Options::linear()).unwrap();
    let share = most(&one, speed.craft.plant.g_m_s2);
    assert!((share - (1.0 - (-1.0f64).exp())).abs() < 1e-9, "{share}");
    // departures are Rice's: none in a low sea, many in an absurd one
    let wild = at(25.0, 9.0, 2.4);
    let wild = wild.evaluate(&law, &Options::default()).unwrap();
    assert!(
        wild.doubts()
            .iter()
            .any(|d| matches!(d, Doubt::Range { .. }))
    );
    let calm = at(0.3, 5.0, PI);
    let calm = calm.evaluate(&law, &Options::default()).unwrap();
    assert!(calm.departures_per_h().iter().all(|d| d.1 < 1e-3));
}

#[test]
fn the_drag_solves_its_own_equation() {
    // a pass under drag from scratch gives back the equivalent speeds that were put in; steady forces go with
    // speed squared here, so that their slope is the same over any spread of speeds
    let mut c = craft(&held());
    let mut plant = (*c.plant).clone();
    plant.steady = SteadyForces::new(&[(8.0, 1.0)], &[(8.0, 1.0)], &[(8.0, 1.0)], 0.0);
    c.plant = Arc::new(plant);
    let speed = Arc::new(AtSpeed::new(Arc::new(c), &FINS, &SIGNALS).unwrap());
    let at = speed
        .at_sea(
            &long_crested(2.0, 7.0),
            Path::new("."),
            2.0,
            &Fineness::default(),
            DragModel::Gaussian,
        )
        .unwrap();
    assert!(at.drag_settled && at.equivalent_m_s.iter().all(|s| *s > 0.0));
    let law = speed
        .law(&LinearLaw::none(speed.craft.setup.sample_period_s))
        .unwrap();
    let e = at.evaluate(&law, &Options::default()).unwrap();
    assert!(e.converged && e.iterations == 1, "{}", e.iterations);
    // the law's way to the same drag: start without it, let the iteration find it
    let mut bare = speed
        .at_sea(
            &long_crested(2.0, 7.0),
            Path::new("."),
            2.0,
            &Fineness::default(),
            DragModel::None,
        )
        .unwrap();
    bare.drag_model = DragModel::Gaussian;
    bare.equivalent_m_s.fill(1e-9);
    let found = bare
        .evaluate(
            &law,
            &Options {
                tolerance: 1e-8,
                iterations: 200,
                ..Options::default()
            },
        )
        .unwrap();
    assert!(found.converged);
    for i in 0..6 {
        let (a, b) = (e.rms(Output::Motion(i)), found.rms(Output::Motion(i)));
        assert!((a / b - 1.0).abs() < 1e-4, "{i}: {a} {b}"); // tolerances of both iterations
    }
    let roll = Output::Motion(3);
    let none = Complex64::ZERO;
    assert!(e.responses(roll).at(5) != none);
}
