//! Margins against textbooks, closed forms, python-control and simulation.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

use std::f64::consts::PI;

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use ridewright::closed_loop::margins::analyse::{Group, LoopMargins, analyse};
use ridewright::closed_loop::margins::crossing::At;
use ridewright::closed_loop::margins::disk::balanced_sensitivity;
use ridewright::closed_loop::margins::loops::OpenLoop;
use ridewright::closed_loop::margins::state_space::StateSpace;
use ridewright::closed_loop::margins::structured::{lower, upper};
use ridewright::closed_loop::margins::{sweep, winding};
use ridewright::units::to_deg;
use serde_json::Value;

/// Eight digits are printed in the references.
const PRINTED: f64 = 1e-7;
/// python-control finds crossings by roots of polynomials, or by a grid and refinement.
const OTHER_TOOL: f64 = 1e-6;
/// The structured value of SLICOT is minimised to about the root of its own precision.
const OTHER_BOUND: f64 = 1e-4;

fn near(got: f64, want: f64, frac: f64, what: &str) {
    let error = (got - want).abs() / want.abs().max(1e-3);
    assert!(error <= frac, "{what}: {got}, must be {want} ({error:e})");
}

/// Controllable form of num/den, den monic, highest power first.
fn transfer(num: &[f64], den: &[f64]) -> StateSpace {
    let n = den.len() - 1;
    let mut a = DMatrix::zeros(n, n);
    for i in 0..n {
        a[(0, i)] = -den[i + 1];
        if i > 0 {
            a[(i, i - 1)] = 1.0;
        }
    }
    let mut b = DMatrix::zeros(n, 1);
    b[0] = 1.0;
    let mut c = DMatrix::zeros(1, n);
    for (i, v) in num.iter().rev().enumerate() {
        c[n - 1 - i] = *v;
    }
    StateSpace {
        a,
        b,
        c,
        d: DMatrix::zeros(1, 1),
        period_s: None,
    }
}

fn one(model: &StateSpace) -> LoopMargins {
    let open = OpenLoop::of(model, &["u"], [1e-3, 1e3]).unwrap();
    analyse(&open, &[]).unwrap()
}

/// K/(s(s+1)(s+5))
fn third_order(k: f64) -> StateSpace {
    transfer(&[k], &[1.0, 6.0, 5.0, 0.0])
}

fn value(at: Option<At>) -> f64 {
    at.unwrap().value
}

#[test]
fn textbook_margins() {
    // references/F_control.json margin.K10, margin.ss
    let m = one(&third_order(10.0)).one[0].classic.clone();
    near(value(m.gain_up), 3.0, PRINTED, "gain");
    near(m.gain_up.unwrap().omega_rad_s, 2.236068, PRINTED, "w_pc");
    near(to_deg(value(m.phase_lag_rad)), 25.389823, PRINTED, "phase");
    near(
        m.phase_lag_rad.unwrap().omega_rad_s,
        1.2270639,
        PRINTED,
        "w_gc",
    );
    assert!(m.gain_down.is_none(), "{m:?}");
    let m = one(&transfer(&[4.0], &[1.0, 2.0, 0.0])).one[0]
        .classic
        .clone();
    near(to_deg(value(m.phase_lag_rad)), 51.827292, PRINTED, "phase");
    near(
        m.phase_lag_rad.unwrap().omega_rad_s,
        1.5723028,
        PRINTED,
        "w_gc",
    );
    assert!(m.gain_up.is_none() && m.gain_down.is_none(), "{m:?}");
    // routh.K: s^3 + 6 s^2 + 5 s + K is stable up to K = 30
    for (k, factor) in [(1.0, 30.0), (29.9, 30.0 / 29.9)] {
        let m = one(&third_order(k));
        near(value(m.one[0].classic.gain_up), factor, 1e-8, "edge of K");
    }
}

#[test]
fn an_unstable_loop_has_no_margins_and_says_which_pole() {
    // margin.K100 states negative margins of an unstable loop: here they are refused
    let open = OpenLoop::of(&third_order(100.0), &["u"], [1e-3, 1e3]).unwrap();
    let said = analyse(&open, &[]).unwrap_err().to_string();
    let pole = open.closed_poles.iter().find(|p| p.re > 0.0).unwrap();
    assert!(said.contains("unstable"), "{said}");
    assert!(said.contains(&format!("{:.4}", pole.re)), "{said}");
    assert!(said.contains("period"), "{said}");
    // the edge itself has poles on the axis: neither grows nor has margins above nothing
    let edge = OpenLoop::of(&third_order(30.1), &["u"], [1e-3, 1e3]).unwrap();
    assert!(analyse(&edge, &[]).is_err());
}

#[test]
fn turns_count_the_unstable_poles() {
    // routh.1: s^4+2s^3+3s^2+4s+5 has two roots right of the axis; as a closed loop of L = rest/s^4
    let l = transfer(&[2.0, 3.0, 4.0, 5.0], &[1.0, 0.0, 0.0, 0.0, 0.0]);
    let open = OpenLoop::of(&l, &["u"], [1e-3, 1e4]).unwrap();
    assert_eq!(winding::unstable(&open), Some(2));
    assert_eq!(open.closed_poles.iter().filter(|p| p.re > 0.0).count(), 2);
    // margin.K100: unstable by two; an unstable plant that its loop makes stable: one turn
    let k100 = OpenLoop::of(&third_order(100.0), &["u"], [1e-3, 1e4]).unwrap();
    assert_eq!(winding::turns(&k100), Some(-2));
    let plant = transfer(&[30.0], &[1.0, 9.0, -10.0]);
    let open = OpenLoop::of(&plant, &["u"], [1e-3, 1e5]).unwrap();
    assert_eq!(open.open_unstable, 1);
    assert_eq!(winding::turns(&open), Some(1));
    assert_eq!(winding::unstable(&open), Some(0));
}

#[test]
fn state_feedback_has_its_guarantees() {
    // lqrmargin.*: |1 + L| >= 1, so gain from 1/2 to infinity, phase 60 deg, Ms at most 1
    for (gain, phase_deg, w_gc) in [
        ([1.0, 3.0_f64.sqrt()], 72.375609, 1.817354),
        ([1.0, 2.0], 76.345415, 2.058171),
    ] {
        let m = one(&transfer(&[gain[1], gain[0]], &[1.0, 0.0, 0.0]));
        let c = &m.one[0].classic;
        near(to_deg(value(c.phase_lag_rad)), phase_deg, 1e-6, "phase");
        near(c.phase_lag_rad.unwrap().omega_rad_s, w_gc, 1e-6, "w_gc");
        assert!(c.gain_up.is_none());
        assert!(c.gain_down.is_none_or(|g| g.value <= 0.5));
        assert!(m.ms.value <= 1.0 + 1e-6, "Ms {}", m.ms.value);
        // |S| <= 1 puts S - 1/2 inside a circle of 3/2, and the disk margin at 2/3 at least
        assert!(m.disk.alpha >= 2.0 / 3.0);
    }
    // an unstable scalar plant with the least gain that its Riccati equation gives: x' = x + u, r to
    // infinity, k = 2: the guarantee 1/2 is met exactly, and 60 deg exactly: L = 2/(s-1)
    let mut l = transfer(&[2.0], &[1.0, -1.0]);
    let m = one(&l);
    near(
        value(m.one[0].classic.gain_down),
        0.5,
        1e-5,
        "half the gain",
    );
    near(
        to_deg(value(m.one[0].classic.phase_lag_rad)),
        60.0,
        1e-9,
        "60 deg",
    );
    // two such plants in loops that do not know of each other: the same, one and all
    l.a = DMatrix::identity(2, 2);
    l.b = DMatrix::identity(2, 2);
    l.c = DMatrix::identity(2, 2) * 2.0;
    l.d = DMatrix::zeros(2, 2);
    let open = OpenLoop::of(&l, &["a", "b"], [1e-3, 1e3]).unwrap();
    let m = analyse(&open, &[]).unwrap();
    near(value(m.all.classic.gain_down), 0.5, 1e-5, "half of both");
    near(
        m.disk.alpha,
        m.one[0].disk.unwrap().alpha,
        1e-6,
        "disk of both",
    );
}

fn reference() -> Value {
    serde_json::from_str(include_str!("data/python_control_margins/values.json")).unwrap()
}

fn matrix(v: &Value) -> DMatrix<f64> {
    let rows: Vec<Vec<f64>> = serde_json::from_value(v.clone()).unwrap();
    DMatrix::from_fn(rows.len(), rows.first().map_or(0, Vec::len), |i, j| {
        rows[i][j]
    })
}

fn model(v: &Value) -> StateSpace {
    let d = matrix(&v["d"]);
    let a = matrix(&v["a"]);
    StateSpace {
        a,
        b: matrix(&v["b"]),
        c: matrix(&v["c"]),
        d,
        period_s: v["period_s"].as_f64(),
    }
}

fn pairs(v: &Value) -> Vec<[f64; 2]> {
    serde_json::from_value(v.clone()).unwrap()
}

#[test]
fn python_control_margins() {
    let data = reference();
    let all = data["one"].as_array().unwrap();
    assert!(all.len() >= 6);
    for case in all {
        let name = case["name"].as_str().unwrap();
        let m = one(&model(&case["l"]));
        let c = &m.one[0].classic;
        let factors = pairs(&case["factors"]);
        let l = model(&case["l"]);
        let mut mine = c.factors.clone();
        if let Some(period) = l.period_s {
            // the other tool leaves out z = -1, where a sampled loop is real: checked by itself
            let end = mine.pop_if(|f| f.omega_rad_s >= PI / period);
            let at = l.response().at(Complex64::new(0.0, PI / period)).unwrap()[(0, 0)];
            assert!(at.im.abs() < 1e-12, "{name}: {at}");
            match end {
                Some(end) => near(end.value, -1.0 / at.re, 1e-9, name),
                None => assert!(at.re > 0.0, "{name}: {at}"),
            }
        }
        assert_eq!(mine.len(), factors.len(), "{name}: {mine:?}");
        for (got, want) in mine.iter().zip(&factors) {
            // crossings at rest are found at the low end of the grid
            let tol = if want[0] > 0.0 { OTHER_TOOL } else { 1e-5 };
            near(got.value, want[1], tol, &format!("{name}, factor"));
            near(got.omega_rad_s, want[0], 1e-4, &format!("{name}, w_pc"));
        }
        let phases = pairs(&case["phases_deg"]);
        assert_eq!(
            c.phases_rad.len(),
            phases.len(),
            "{name}: {:?}",
            c.phases_rad
        );
        for (got, want) in c.phases_rad.iter().zip(&phases) {
            near(
                to_deg(got.value),
                want[1],
                OTHER_TOOL,
                &format!("{name}, phase"),
            );
            near(
                got.omega_rad_s,
                want[0],
                OTHER_TOOL,
                &format!("{name}, w_gc"),
            );
        }
        let delay = case["delay_s"].as_f64().unwrap();
        near(
            value(c.delay_s),
            delay,
            OTHER_TOOL,
            &format!("{name}, delay"),
        );
        let distance = pairs(&Value::Array(vec![case["stability_margin"].clone()]))[0];
        near(
            1.0 / m.ms.value,
            distance[1],
            OTHER_TOOL,
            &format!("{name}, 1/Ms"),
        );
        if let Some(mt) = case["mt"].as_f64() {
            near(m.mt.value, mt, 1e-5, &format!("{name}, Mt"));
        }
    }
}

#[test]
fn python_control_disk_margins() {
    let data = reference();
    let all = data["all"].as_array().unwrap();
    assert!(all.len() >= 8);
    for case in all {
        let name = case["name"].as_str().unwrap();
        let l = model(&case["l"]);
        let channels = vec!["u"; l.d.nrows()];
        let range: Vec<f64> = serde_json::from_value(case["range_rad_s"].clone()).unwrap();
        let open = OpenLoop::of(&l, &channels, [range[0], range[1]]).unwrap();
        let m = analyse(&open, &[]).unwrap();
        let alpha = case["alpha"].as_f64().unwrap();
        near(m.disk.alpha, alpha, OTHER_BOUND, &format!("{name}, alpha"));
        // the other tool's words for the same disk
        let grid = case["alpha_grid"].as_f64().unwrap();
        if (grid - alpha).abs() < 1e-5 * alpha {
            let db = 20.0 * m.disk.gain[1].log10();
            near(db, case["gain_db_grid"].as_f64().unwrap(), 2e-4, name);
            let phase = case["phase_deg_grid"].as_f64().unwrap();
            near(to_deg(m.disk.phase_rad), phase, 2e-4, name);
        }
        // edges found by eigenvalues alone
        for (got, key) in [
            (m.all.classic.gain_up, "gain_up"),
            (m.all.classic.gain_down, "gain_down"),
            (m.all.classic.phase_lag_rad, "lag_deg"),
        ] {
            let got = got.map(|g| {
                if key == "lag_deg" {
                    to_deg(g.value)
                } else {
                    g.value
                }
            });
            match case[key].as_f64() {
                Some(want) => near(got.unwrap(), want, 1e-6, &format!("{name}, {key}")),
                // their search ends at forty
                None => assert!(
                    got.is_none_or(|g| key == "gain_up" && g > 40.0),
                    "{name}, {key}: {got:?}"
                ),
            }
        }
        assert_eq!(m.nyquist_unstable, Some(0), "{name}");
    }
}

#[test]
fn bounds_of_the_structured_value_meet() {
    for case in reference()["matrices"].as_array().unwrap() {
        let m = matrix(&case["re"]).zip_map(&matrix(&case["im"]), Complex64::new);
        let want = case["upper"].as_f64().unwrap();
        let (up, (low, q)) = (upper(&m), lower(&m));
        near(up, want, OTHER_BOUND, &format!("{} scalars", m.nrows()));
        assert!(low <= up * (1.0 + 1e-9), "{low} above {up}");
        if m.nrows() <= 3 {
            near(low, up, 1e-3, "equal up to three scalars");
        }
        // the lower bound's own perturbation is on the edge
        let n = m.nrows();
        let delta = DMatrix::from_diagonal(&(q / Complex64::from(low)));
        let det = (DMatrix::identity(n, n) - delta * m).determinant();
        assert!(det.norm() < 1e-8, "determinant {det}");
    }
}

/// Factors made of the worst perturbation bring det(I + F L) to zero; nothing smaller does.
#[test]
fn the_worst_disk_perturbation_is_the_edge() {
    let data = reference();
    let case = &data["all"].as_array().unwrap()[4];
    let open = OpenLoop::of(&model(&case["l"]), &["a", "b", "c", "d"], [0.01, 1e3]).unwrap();
    let disk = analyse(&open, &[]).unwrap().disk;
    let at = Complex64::new(0.0, disk.omega_rad_s);
    let m = balanced_sensitivity(&open.sensitivity(at).unwrap());
    let (known, q) = lower(&m);
    near(disk.alpha_reached, 1.0 / known, 1e-9, "told");
    assert!(disk.alpha <= disk.alpha_reached * (1.0 + 1e-9));
    assert!(disk.alpha_reached < 1.05 * disk.alpha, "{disk:?}");
    let loop_of = |size: f64| {
        let f = q.map(|v| {
            let delta = v * size;
            (1.0 + 0.5 * delta) / (1.0 - 0.5 * delta)
        });
        let l = (open.gain)(at).unwrap();
        (DMatrix::identity(4, 4) + DMatrix::from_diagonal(&f) * l)
            .determinant()
            .norm()
    };
    let scale = loop_of(0.0);
    assert!(loop_of(disk.alpha_reached) < 1e-6 * scale);
    assert!(loop_of(0.9 * disk.alpha) > 1e-3 * scale);
}

/// x' = a x + b u(t - tau), u = -c x: the delayed loop by small steps.
fn delayed_growth(l: &StateSpace, tau_s: f64, end_s: f64) -> f64 {
    let steps = (tau_s / 2e-3).ceil();
    let h = tau_s / steps;
    let lag = steps as usize;
    let mut past = vec![0.0; lag + 1];
    let mut x = DVector::zeros(l.a.nrows());
    x[0] = 1.0;
    let (mut early, mut late): (f64, f64) = (0.0, 0.0);
    let count = (end_s / h) as usize;
    for k in 0..count {
        let u = |i: usize| -past[i];
        let (u0, u1) = (u((k + 1) % (lag + 1)), u((k + 2) % (lag + 1)));
        let f = |x: &DVector<f64>, u: f64| &l.a * x + &l.b * u;
        let middle = 0.5 * (u0 + u1);
        past[k % (lag + 1)] = (&l.c * &x)[0];
        let k1 = f(&x, u0);
        let k2 = f(&(&x + &k1 * (0.5 * h)), middle);
        let k3 = f(&(&x + &k2 * (0.5 * h)), middle);
        let k4 = f(&(&x + &k3 * h), u1);
        x += (k1 + (k2 + k3) * 2.0 + k4) * (h / 6.0);
        let size = x.norm();
        if (0.4..0.5).contains(&(k as f64 / count as f64)) {
            early = early.max(size);
        } else if k as f64 > 0.9 * count as f64 {
            late = late.max(size);
        }
    }
    late / early
}

#[test]
fn delay_margin_is_the_edge_of_the_delayed_loop() {
    for l in [
        third_order(10.0),
        transfer(&[4.0], &[1.0, 2.0, 0.0]),
        transfer(&[30.0], &[1.0, 9.0, -10.0]),
    ] {
        let tau = value(one(&l).one[0].classic.delay_s);
        let below = delayed_growth(&l, 0.98 * tau, 120.0);
        let above = delayed_growth(&l, 1.02 * tau, 120.0);
        assert!(below < 0.95, "decays below the margin: {below}");
        assert!(above > 1.05, "grows above the margin: {above}");
    }
}

/// A sampled loop with n more samples of delay is stable up to the margin and not beyond.
#[test]
fn delay_margin_of_a_sampled_loop_is_exact_at_whole_samples() {
    let data = reference();
    for case in data["one"].as_array().unwrap().iter().skip(4) {
        let l = model(&case["l"]);
        let period = l.period_s.unwrap();
        let whole = value(one(&l).one[0].classic.delay_s) / period;
        for samples in 0..=(whole as usize + 2) {
            let mut late = l.clone();
            for _ in 0..samples {
                let shift = StateSpace {
                    a: DMatrix::zeros(1, 1),
                    b: DMatrix::identity(1, 1),
                    c: DMatrix::identity(1, 1),
                    d: DMatrix::zeros(1, 1),
                    period_s: late.period_s,
                };
                late = late.after(&shift);
            }
            let open = OpenLoop::of(&late, &["u"], [1e-3, 1.0]).unwrap();
            let stable = open.require_stable().is_ok();
            assert_eq!(stable, (samples as f64) < whole, "{samples} of {whole}");
        }
    }
}

#[test]
fn a_needle_is_not_stepped_over() {
    // a resonance of damping 1e-6 within three decades: L of 0.4/(2 zeta) = 2e5 at its top
    let zeta = 1e-6;
    let l = transfer(&[8e-7, 0.0], &[1.0, 2.0 * zeta * 3.0, 9.0]);
    let open = OpenLoop::of(&l, &["u"], [0.01, 100.0]).unwrap();
    let grid = sweep::sweep(&open);
    // S dips to zeta/(zeta + 4e-7/3) at 3 rad/s
    let least = grid
        .s
        .iter()
        .map(|s| s[(0, 0)].norm())
        .fold(f64::MAX, f64::min);
    near(least, 6e-6 / (6e-6 + 8e-7), 1e-6, "bottom of the needle");
    assert!(grid.largest_step <= sweep::STEP, "{}", grid.largest_step);
    assert!(grid.s.len() < 1000);
}

#[test]
fn hessenberg_response_is_the_plain_one() {
    let a = DMatrix::from_fn(9, 9, |i, j| ((3 * i + 5 * j) as f64).sin());
    let model = StateSpace {
        b: DMatrix::from_fn(9, 2, |i, j| ((i + 4 * j) as f64).cos()),
        c: DMatrix::from_fn(3, 9, |i, j| ((2 * i + j) as f64).cos()),
        d: DMatrix::from_element(3, 2, 0.3),
        a,
        period_s: Some(0.2),
    };
    let fast = model.response();
    for w in [0.0, 0.7, 9.0, PI / 0.2] {
        let z = Complex64::from_polar(1.0, 0.2 * w);
        let mut m = model.a.map(|v| Complex64::from(-v));
        for i in 0..9 {
            m[(i, i)] += z;
        }
        let plain = model.c.map(Complex64::from)
            * m.lu().solve(&model.b.map(Complex64::from)).unwrap()
            + model.d.map(Complex64::from);
        let got = fast.at(Complex64::new(0.0, w)).unwrap();
        assert!((got - plain).norm() < 1e-11, "{w}");
    }
}

#[test]
fn a_group_is_what_its_channels_are_together() {
    // two loops of a diagonal plant: a group of one is that one, of both is all
    let data = reference();
    let case = &data["all"].as_array().unwrap()[4];
    let open = OpenLoop::of(&model(&case["l"]), &["a", "b", "c", "d"], [0.01, 1e3]).unwrap();
    let group = |channels: &[usize]| Group {
        name: "group".into(),
        channels: channels.to_vec(),
    };
    let m = analyse(&open, &[group(&[2]), group(&[0, 1, 2, 3])]).unwrap();
    assert_eq!(m.groups[0].classic, m.one[2].classic);
    assert_eq!(m.groups[1].classic, m.all.classic);
    assert_eq!(m.cuts().count(), 7);
}
