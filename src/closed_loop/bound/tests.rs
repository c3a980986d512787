//! Checks of the bound on small plants: against Riccati, closed forms, and the loop itself.

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::basis::{Basis, Section};
use super::foreknown::Foreknown;
use super::forms::{self, Causal, Form};
use super::point::{Cm, Point, Sum};
use super::study::{Law, Ride, SETTLED, Study};
use super::trade::{self, Answer, Choice};
use crate::math::{riccati, zoh};

const PERIOD_S: f64 = 0.2;
const STEPS: usize = 1500;

/// A craft of one mode under a shaped sea: states (position, rate, sea 1, sea 2).
struct Small {
    ad: DMatrix<f64>,
    bd: DMatrix<f64>,
    /// Covariance of the noise that drives it over one period.
    w: DMatrix<f64>,
    c: DMatrix<f64>,
    /// Standard deviation of the noise of each of the two sensors.
    noise: f64,
}

fn small(stiffness: f64) -> Small {
    let mut a = DMatrix::zeros(4, 4);
    a[(0, 1)] = 1.0;
    (a[(1, 0)], a[(1, 1)], a[(1, 2)]) = (-stiffness, -0.25, 1.0);
    a[(2, 3)] = 1.0;
    (a[(3, 2)], a[(3, 3)]) = (-0.7 * 0.7, -2.0 * 0.2 * 0.7); // sea: peak at 0.7 rad/s
    let b = DMatrix::from_row_slice(4, 1, &[0.0, 0.6, 0.0, 0.0]);
    let mut w = DMatrix::zeros(4, 4);
    w[(3, 3)] = 0.3;
    let s = zoh::discretise(&a, &b, PERIOD_S);
    let mut w = zoh::noise(&a, &w, PERIOD_S);
    // sampled noise of a chain of integrators has hardly any share in the first states
    for k in 0..4 {
        w[(k, k)] += 1e-9;
    }
    let mut c = DMatrix::zeros(2, 4);
    (c[(0, 0)], c[(1, 1)]) = (1.0, 1.0);
    Small {
        ad: s.ad,
        bd: s.bd,
        w,
        c,
        noise: 0.05,
    }
}

impl Small {
    /// Outputs: position, command, its rate; sources: four noises of the state, two of the sensors.
    fn points(&self) -> Vec<Point> {
        let root = self.w.clone().cholesky().unwrap().l();
        (0..STEPS)
            .map(|i| {
                // midpoints round the circle: exact for rational functions but for their aliases
                let theta = std::f64::consts::PI * (i as f64 + 0.5) / STEPS as f64;
                let z = Complex64::from_polar(1.0, theta);
                let mut system = self.ad.map(|v| Complex64::from(-v));
                for k in 0..4 {
                    system[(k, k)] += z;
                }
                let inner = system.lu();
                let scale = (1.0 / STEPS as f64).sqrt();
                let x = inner
                    .solve(&root.map(|v| Complex64::from(v * scale)))
                    .unwrap();
                let per_command = inner.solve(&self.bd.map(Complex64::from)).unwrap();
                let c = self.c.map(Complex64::from);
                let mut seen = Cm::zeros(2, 6);
                seen.view_mut((0, 0), (2, 4)).copy_from(&(&c * &x));
                seen[(0, 4)] = Complex64::from(self.noise * scale);
                seen[(1, 5)] = Complex64::from(self.noise * scale);
                let mut free = Cm::zeros(3, 6);
                free.view_mut((0, 0), (1, 4)).copy_from(&x.row(0));
                let omega_rad_s = theta / PERIOD_S;
                let rate = Complex64::new(0.0, omega_rad_s);
                let reach = Cm::from_row_slice(3, 1, &[per_command[(0, 0)], Complex64::ONE, rate]);
                Point {
                    omega_rad_s,
                    seen,
                    free,
                    loop_gain: c * per_command,
                    reach,
                    wave: true,
                }
            })
            .collect()
    }

    /// Least position variance + price x command variance of any law that uses the newest sample.
    fn lqg(&self, price: f64) -> f64 {
        let mut q = DMatrix::zeros(4, 4);
        q[(0, 0)] = 1.0;
        let r = DMatrix::from_element(1, 1, price);
        let regulator = riccati::dare(&self.ad, &self.bd, &q, &r, &[]).unwrap();
        let v = DMatrix::identity(2, 2) * (self.noise * self.noise);
        let observer = riccati::kalman(&self.ad, &self.c, &self.w, &v, &[]).unwrap();
        let (p, s, k) = (&observer.prior, &regulator.x, &regulator.gain);
        let after = p - &observer.gain * &self.c * p;
        // Astrom 1970, Introduction to Stochastic Control Theory, chapter 8
        let weight = r + self.bd.transpose() * s * &self.bd;
        (s * &self.w).trace() + (k.transpose() * weight * k * after).trace()
    }
}

fn position() -> Sum {
    Sum {
        rows: vec![(0, 1.0)],
    }
}

fn command() -> Sum {
    Sum {
        rows: vec![(1, 1.0)],
    }
}

fn command_rate() -> Sum {
    Sum {
        rows: vec![(2, 1.0)],
    }
}

/// Forms of position, command and its rate.
struct Best([Form; 3]);

impl Choice for Best {
    fn at(&self, prices: [f64; 2]) -> Option<Answer> {
        let [ride, angle, rate] = &self.0;
        Causal { ride, angle, rate }.at(prices)
    }
    fn idle(&self) -> f64 {
        let [ride, angle, rate] = &self.0;
        Causal { ride, angle, rate }.idle()
    }
}

fn causal(points: &[Point], count: usize) -> Best {
    let section = |omega_rad_s, damping| Section {
        omega_rad_s,
        damping,
    };
    let sections = [section(0.7, 0.3), section(0.5, 1.0), section(2.0, 0.8)];
    let basis = Basis::new(PERIOD_S, &sections, count);
    let sums = [position(), command(), command_rate()];
    let entries = forms::all_entries(1, 2);
    Best(sums.map(|s| forms::form(points, &basis, &entries, &s)))
}

/// Points closed by u = -(k1, k2) y.
fn closed(points: &[Point], gains: [f64; 2]) -> Vec<Point> {
    let law = Cm::from_row_slice(1, 2, &gains.map(|v| Complex64::from(-v)));
    points.iter().map(|p| p.close(&law).unwrap()).collect()
}

#[test]
fn second_order_h2_norm() {
    // references/F_control.json h2.S: wn = 2, zeta = 0.3, printed to eight digits
    let (wn, zeta) = (2.0, 0.3);
    // omega = wn tan(x): the whole axis on a finite one
    let n = 20_000;
    let points: Vec<_> = (0..n)
        .map(|i| {
            let x = std::f64::consts::FRAC_PI_2 * (f64::from(i) + 0.5) / f64::from(n);
            let omega_rad_s = wn * x.tan();
            let step = std::f64::consts::FRAC_PI_2 / f64::from(n) * wn / x.cos().powi(2);
            let s = Complex64::new(0.0, omega_rad_s);
            let h = wn * wn / (s * s + 2.0 * zeta * wn * s + wn * wn);
            Point {
                omega_rad_s,
                seen: Cm::zeros(0, 1),
                free: Cm::from_element(1, 1, h * (step / std::f64::consts::PI).sqrt()),
                loop_gain: Cm::zeros(0, 0),
                reach: Cm::zeros(1, 0),
                wave: true,
            }
        })
        .collect();
    let got = position().free(&points).sqrt();
    assert!((got - 1.2909944).abs() < 5e-8, "{got}"); // half of the last printed digit
}

#[test]
fn equals_the_riccati_optimum() {
    let plant = small(0.9);
    let points = plant.points();
    let best = causal(&points, 24);
    for price in [0.01, 0.1, 1.0] {
        let answer = best.at([price, 0.0]).unwrap();
        let got = answer.ride + price * answer.spent[0];
        let want = plant.lqg(price);
        // never below the optimum but for rounding, and 24 functions come within 0.05 %
        assert!(
            got > want * (1.0 - 1e-6) && got < want * 1.0005,
            "{price}: {got} {want}"
        );
    }
}

#[test]
fn equals_the_riccati_optimum_of_an_unstable_craft() {
    // stiffness below zero: a real pole at +0.29 1/s, held by a nominal law
    let plant = small(-0.16);
    let points = plant.points();
    for gains in [[1.0, 1.5], [2.5, 1.0]] {
        let best = causal(&closed(&points, gains), 24);
        for price in [0.01, 0.1, 1.0] {
            let answer = best.at([price, 0.0]).unwrap();
            let got = answer.ride + price * answer.spent[0];
            let want = plant.lqg(price);
            assert!(
                got > want * (1.0 - 1e-6) && got < want * 1.0005,
                "{price}: {got} {want}"
            );
        }
    }
}

#[test]
fn more_functions_lower_it_and_the_nominal_law_does_not_matter() {
    let points = small(0.9).points();
    let at = |points: &[Point], count| {
        trade::within(&causal(points, count), 0.2, None, None)
            .unwrap()
            .ride
    };
    let rides: Vec<f64> = [2, 4, 8, 16, 24, 32]
        .iter()
        .map(|n| at(&points, *n))
        .collect();
    assert!(
        rides.windows(2).all(|r| r[1] <= r[0] * (1.0 + 1e-6)),
        "{rides:?}"
    );
    assert!(rides[5] > 0.9999 * rides[4]);
    let other = at(&closed(&points, [0.3, 0.8]), 32);
    assert!(
        (other / rides[5] - 1.0).abs() < 1e-3,
        "{other} {}",
        rides[5]
    );
}

#[test]
fn limits_are_met_and_no_more() {
    let points = small(0.9).points();
    let best = causal(&points, 16);
    let idle = best.idle();
    assert!((idle - position().free(&points)).abs() < 1e-12 * idle);
    let mut before = idle;
    for angle in [1e-6, 0.01, 0.05, 0.2, 0.5] {
        let wide = trade::within(&best, angle, None, None).unwrap();
        assert!((wide.spent[0] / angle - 1.0).abs() < 2e-5);
        assert!(wide.ride < before);
        before = wide.ride;
        // half of the rate it would use: both limits hold, the ride is worse
        let rate = 0.5 * wide.spent[1];
        let held = trade::within(&best, angle, Some(rate), None).unwrap();
        assert!((held.spent[1] / rate - 1.0).abs() < 2e-5);
        assert!(held.spent[0] <= angle * (1.0 + 2e-5));
        assert!(held.ride > wide.ride);
    }
    // next to no activity: fins fixed
    assert!(trade::within(&best, 1e-12, None, None).unwrap().ride > idle * (1.0 - 1e-4));
}

#[test]
fn no_law_of_two_gains_beats_it() {
    let points = small(0.9).points();
    let best = causal(&points, 24);
    for gains in [[0.0, 0.3], [0.0, 1.0], [0.5, 1.5], [-0.3, 0.8]] {
        let closed = closed(&points, gains);
        let [ride, angle, rate] = [position(), command(), command_rate()].map(|s| s.free(&closed));
        let bound = trade::within(&best, angle, Some(rate), None).unwrap().ride;
        assert!(ride > bound, "{gains:?}: {ride} {bound}");
    }
}

#[test]
fn foreknowledge_never_hurts() {
    let points = small(0.9).points();
    let (known, best) = (
        Foreknown::new(&points, &position(), [&command(), &command_rate()]),
        causal(&points, 16),
    );
    for angle in [0.01, 0.1, 0.3] {
        let low = trade::within(&known, angle, None, None).unwrap();
        let high = trade::within(&best, angle, None, None).unwrap();
        assert!(low.ride < high.ride);
        let rate = 0.6 * low.spent[1];
        let held = trade::within(&known, angle, Some(rate), None).unwrap();
        assert!(held.ride > low.ride && held.spent[1] < rate * (1.0 + 2e-5));
    }
}

#[test]
fn one_wave_in_closed_form() {
    // z = 1 + 0.5 u, |u|^2 at most 0.25: u = -0.5, z = 0.75
    let one = |v: f64| Cm::from_element(1, 1, Complex64::from(v));
    let points = [Point {
        omega_rad_s: 0.5,
        seen: one(1.0),
        free: Cm::from_row_slice(3, 1, &[1.0, 0.0, 0.0].map(Complex64::from)),
        loop_gain: one(0.0),
        reach: Cm::from_row_slice(3, 1, &[0.5, 1.0, 0.5].map(Complex64::from)),
        wave: true,
    }];
    let known = Foreknown::new(&points, &position(), [&command(), &command_rate()]);
    let got = trade::within(&known, 0.25, None, None).unwrap();
    assert!((got.ride - 0.75 * 0.75).abs() < 1e-5, "{got:?}"); // the limit is met to 1e-5
}

#[test]
fn one_row_is_the_general_case() {
    let points = small(0.9).points();
    let fins = [&command(), &command_rate()];
    let one = Foreknown::new(&points, &position(), fins);
    // the same ride in two halves takes the long way
    let halves = Sum {
        rows: vec![(0, 0.5), (0, 0.5)],
    };
    let two = Foreknown::new(&points, &halves, fins);
    for prices in [[0.3, 0.0], [0.0, 2.0], [0.4, 0.7]] {
        let (a, b) = (one.at(prices).unwrap(), two.at(prices).unwrap());
        let near = |x: f64, y: f64| assert!((x - y).abs() < 1e-9 * y.abs(), "{a:?} {b:?}"); // rounding, ridge
        near(a.ride, b.ride);
        for i in 0..2 {
            near(a.spent[i], b.spent[i]);
            (0..2).for_each(|j| near(a.slope[i][j], b.slope[i][j]));
        }
    }
}

#[test]
fn forms_are_the_loop_itself() {
    // v = 0.4 phi_1 of the first signal - 0.2 phi_4 of the second
    let points = closed(&small(0.9).points(), [0.2, 0.5]);
    let basis = Basis::new(
        PERIOD_S,
        &[Section {
            omega_rad_s: 1.0,
            damping: 0.5,
        }],
        4,
    );
    let mut x = DVector::zeros(8);
    (x[0], x[7]) = (0.4, -0.2);
    for sum in [position(), command(), command_rate()] {
        let form = forms::form(&points, &basis, &forms::all_entries(1, 2), &sum);
        let moved: Vec<Point> = points
            .iter()
            .map(|p| {
                let phi = basis.response(p.omega_rad_s);
                let q = Cm::from_row_slice(1, 2, &[phi[0] * 0.4, phi[3] * -0.2]);
                let mut p = p.clone();
                p.free += &p.reach * q * &p.seen;
                p
            })
            .collect();
        let want = sum.free(&moved);
        assert!((form.at(&x) / want - 1.0).abs() < 1e-12);
    }
}

#[test]
fn closing_in_two_steps_is_closing_once() {
    let points = small(0.9).points();
    let once = closed(&points, [0.5, 1.2]);
    let twice = closed(&closed(&points, [0.2, 0.5]), [0.3, 0.7]);
    for (a, b) in once.iter().zip(&twice).step_by(97) {
        assert!((&a.seen - &b.seen).norm() < 1e-10 * a.seen.norm());
        assert!((&a.free - &b.free).norm() < 1e-10 * a.free.norm());
        assert!((&a.reach - &b.reach).norm() < 1e-10 * a.reach.norm());
    }
}

#[test]
fn study_of_a_small_craft() {
    let open = small(0.9).points();
    let law = |name: &str, gains: [f64; 2]| Law {
        name: name.into(),
        gains: Some(vec![
            Cm::from_row_slice(
                1,
                2,
                &gains.map(|v| Complex64::from(-v))
            );
            open.len()
        ]),
    };
    let laws = [
        Law {
            name: "fixed".into(),
            gains: None,
        },
        law("rate", [0.0, 0.6]),
        law("both", [0.5, 1.5]),
    ];
    let rides = [Ride {
        name: "position".into(),
        sum: position(),
    }];
    let none = Cm::zeros(0, 2);
    let mut study = Study {
        period_s: PERIOD_S,
        open: &open,
        signals: [Cm::identity(2, 2), none],
        fins: [Cm::identity(1, 1), Cm::zeros(1, 0)],
        across: false,
        rides: &rides,
        angle: command(),
        rate: command_rate(),
        laws: &laws,
        nominal: None,
    };
    let found = &study.solve().unwrap().0[0];
    let fixed = found.fixed.unwrap();
    assert!(found.last_step() < SETTLED, "{:?}", found.steps);
    assert!((found.laws[0].ride / fixed - 1.0).abs() < 1e-12);
    assert!(found.laws[0].distance.abs() < 1e-9);
    assert!(
        found.laws[1..].iter().all(|l| l.distance > 0.0),
        "{found:?}"
    );
    for two in found.curve.windows(2) {
        assert!(two[0].least > two[1].least && two[0].angle_rad < two[1].angle_rad);
    }
    for p in &found.curve {
        assert!(p.foreknown < p.least && p.least < fixed);
    }
    // about another nominal law, which moves the fin by itself: the same curve
    study.nominal = Some(1);
    let other = &study.solve().unwrap().0[0];
    let (a, b) = (found.curve.last().unwrap(), other.curve.last().unwrap());
    assert!((a.least / b.least - 1.0).abs() < 0.005, "{a:?} {b:?}"); // both settled to 1 %
}
