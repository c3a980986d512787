//! Products against the plant, pairs against simulation, orders of magnitude.

use std::f64::consts::TAU;
use std::sync::Arc;

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::first::FirstOrder;
use super::pairs::Pairs;
use super::products::{Bench, products};
use crate::closed_loop::tests::simulated::Recursion;
use crate::closed_loop::tests::spectral::damper;
use crate::closed_loop::tests::{FINS, SIGNALS, craft, held, model};
use crate::closed_loop::{AtSea, AtSpeed, DragModel, LoopCraft, Options, Output, WeightedWave};
use crate::frames::encounter_rad_s;
use crate::sea::realisation::{Component, Realisation};
use crate::sim::bake::{Recipe, parts};
use crate::sim::case::{Case, Integrator, Sensing, Timing};
use crate::sim::run::run;

/// The demonstration craft without cross-flow drag, which the simulator would add to the second order.
fn without_drag() -> LoopCraft {
    let mut c = craft(&held());
    let mut plant = (*c.plant).clone();
    plant.quadratic_drag = false;
    c.plant = Arc::new(plant);
    c
}

fn waves(craft: &LoopCraft, amplitude_m: f64) -> Vec<WeightedWave> {
    [(0.65, 0.5), (0.95, 0.2)]
        .map(|(omega, mu)| WeightedWave {
            omega_rad_s: omega,
            mu_rad: mu,
            omega_e_rad_s: encounter_rad_s(omega, craft.speed_m_s, mu, craft.plant.g_m_s2),
            weight_m2: 0.5 * amplitude_m * amplitude_m,
        })
        .to_vec()
}

#[test]
fn products_are_those_of_the_plant() {
    let craft = without_drag();
    let bench = Bench::new(&craft);
    let still = bench.at(&[]);
    let n = still.len();
    let inputs = n + craft.plant.channels().len();
    // small, so that the Hermite coefficients are the second derivatives
    let rms: Vec<f64> = (0..inputs)
        .map(|i| if i < n { 3e-3 } else { 1e-2 })
        .collect();
    let all = products(&craft, &rms, 1e-6);
    assert!(all.len() > 100, "{}", all.len());
    for seed in 0..4_u32 {
        let z: Vec<f64> = (0..inputs)
            .map(|i| rms[i] * (f64::from(seed + 1) * (i as f64 * 1.7 + 0.3)).sin())
            .collect();
        // only what products may be made of: forces of waves and positions are linear
        let moved: Vec<(usize, f64)> = (2..inputs)
            .filter(|i| !(n..n + 12).contains(i))
            .map(|i| (i, z[i]))
            .collect();
        let back: Vec<(usize, f64)> = moved.iter().map(|(i, v)| (*i, -v)).collect();
        let (up, down) = (bench.at(&moved), bench.at(&back));
        let mut by_products = vec![0.0; n];
        let value = |i: usize| if (n..n + 12).contains(&i) { 0.0 } else { z[i] };
        for p in &all {
            let [a, b] = p.inputs;
            let twice = if a == b { 1.0 } else { 2.0 };
            by_products[p.row] += twice * p.value * value(a) * value(b);
        }
        for row in 6..12 {
            let want = up[row] + down[row] - 2.0 * still[row];
            let off = (by_products[row] - want).abs();
            let size = all
                .iter()
                .filter(|p| p.row == row)
                .map(|p| (p.value * value(p.inputs[0]) * value(p.inputs[1])).abs())
                .fold(0.0, f64::max);
            println!(
                "{seed} row {row}: {:.3e} against {want:.3e}",
                by_products[row]
            );
            // fourth differences
            assert!(
                off < 0.02 * size,
                "{seed}, row {row}: {off:.2e} of {size:.2e}"
            );
        }
    }
}

/// Motions at the sum of two waves' frequencies: twice simulated, the second time with both waves reversed, so that
/// half the sum of both records holds the even orders alone.
#[test]
fn two_waves_make_what_simulation_has() {
    let c = without_drag();
    let amplitude = 0.05;
    let list = waves(&c, amplitude);
    let speed = Arc::new(AtSpeed::new(Arc::new(c), &FINS, &SIGNALS).unwrap());
    let craft = &speed.craft;
    let law = damper(craft.setup.sample_period_s, 0.4);
    let prepared = speed.law(&law).unwrap();
    let sea = AtSea::new(Arc::clone(&speed), list.clone(), DragModel::None).unwrap();
    let e = sea.evaluate(&prepared, &Options::linear()).unwrap();
    let first = FirstOrder::of(&e).unwrap();
    let all = products(craft, &first.rms, 1e-6);
    let pairs = Pairs::new(&e, &first, &all);

    let omega = list[0].omega_e_rad_s + list[1].omega_e_rad_s;
    let (step, run_in) = (0.05, 900.0);
    let judged = (24.0 * TAU / omega.abs() / step / 2.0).ceil() * 2.0 * step;
    let record = |phase_rad: f64| {
        let waves = Realisation {
            components: (list.iter())
                .map(|w| Component {
                    omega_rad_s: w.omega_rad_s,
                    mu_rad: w.mu_rad,
                    amplitude_m: amplitude,
                    phase_rad,
                })
                .collect(),
            ..Realisation::calm()
        };
        let recipe = Recipe {
            name: "two waves".into(),
            model: model(),
            plant: Arc::clone(&craft.plant),
            trim: &craft.trim,
            sea: &waves,
            timing: Timing::new(judged, run_in, step, craft.setup.sample_period_s, step).unwrap(),
            integrator: Integrator::FixedStep,
            course: &held(),
            sensing: Sensing::Suite {
                craft: Arc::new(model().craft.spec.clone()),
                errors: false,
                seed: 1,
                case: 0,
            },
        };
        let mut recursion = Recursion {
            x: DVector::zeros(law.a.nrows()),
            law: law.clone(),
            setup: None,
        };
        let out = run(&Case::new(parts(&recipe)).unwrap(), &mut recursion);
        assert!(out.outcome.is_completed());
        out.record
    };
    let (plain, reversed) = (record(0.0), record(std::f64::consts::PI));
    let turn = Complex64::from_polar(1.0, -omega * run_in);
    let want = pairs.response_of(0, 1, true).unwrap();
    for (name, sign, i) in [("heave_up", -1.0, 2), ("roll", 1.0, 3), ("pitch", 1.0, 4)] {
        let at = |r: &crate::sim::record::Record| r.judged_of(name).unwrap().to_vec();
        let even: Vec<f64> = (at(&plain).iter().zip(&at(&reversed)))
            .map(|(a, b)| 0.5 * (a + b))
            .collect();
        let w = [list[0].omega_e_rad_s, list[1].omega_e_rad_s];
        let lines = [omega, w[0] - w[1], 2.0 * w[0], 2.0 * w[1]];
        let got = first_line(&even, step, &lines) * turn * (sign / (amplitude * amplitude));
        let off = (got - 0.5 * want[i]).norm() / (0.5 * want[i].norm());
        println!(
            "{name}: {got:.5} against {:.5}, {:.2} %",
            0.5 * want[i],
            100.0 * off
        );
        assert!(off < 0.01, "{name}: {off}"); // a part in three hundred: fourth order, sampling
    }
}

/// Complex amplitude at the first of `lines` by least squares with the others and a constant.
fn first_line(x: &[f64], step_s: f64, lines: &[f64]) -> Complex64 {
    let n = 1 + 2 * lines.len();
    let (mut square, mut right) = (DMatrix::zeros(n, n), DVector::zeros(n));
    for (k, v) in x.iter().enumerate() {
        let t = k as f64 * step_s;
        let parts = lines.iter().flat_map(|w| [(w * t).cos(), (w * t).sin()]);
        let row = DVector::from_iterator(n, parts.chain([1.0]));
        square += &row * row.transpose();
        right += row * *v;
    }
    let fit = square.lu().solve(&right).unwrap();
    Complex64::new(fit[0], -fit[1])
}

/// Half as high: a quarter of the share that second order has in a variance.
#[test]
fn second_order_goes_with_the_square() {
    let speed = Arc::new(AtSpeed::new(Arc::new(without_drag()), &FINS, &SIGNALS).unwrap());
    let law = speed
        .law(&damper(speed.craft.setup.sample_period_s, 0.4))
        .unwrap();
    let share = |amplitude: f64| {
        let list = waves(&speed.craft, amplitude);
        let sea = AtSea::new(Arc::clone(&speed), list, DragModel::None).unwrap();
        let linear = sea.evaluate(&law, &Options::linear()).unwrap();
        let alone = linear.variance(Output::Motion(4));
        let whole = linear.with_second_order().unwrap();
        let parts = &whole.second.entries;
        assert!(!parts.is_empty());
        let second: f64 = parts.iter().map(|p| p.rigid[4].norm_sqr()).sum();
        second / alone
    };
    let (low, high) = (share(0.01), share(0.02));
    assert!(
        (high / low / 4.0 - 1.0).abs() < 0.05,
        "{low:.3e} {high:.3e}"
    ); // fourth order
}
