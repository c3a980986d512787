//! Subset simulation on cases whose answer is known.

use super::*;
use crate::math::stats::sample::{clopper_pearson, normal_cdf};

const PLAN: Plan = Plan {
    per_level: 300,
    one_in: 10,
    max_levels: 10,
    repetitions: 10,
    seed: 4,
};

/// Least number of hits in `n` that a 95 % interval has but for one case in a thousand: normal
/// approximation of the binomial, 3.09 standard deviations.
fn least_hits(n: f64) -> f64 {
    0.95 * n - 3.09 * (n * 0.95 * 0.05).sqrt()
}

/// One wave: its amplitude is Rayleigh, P(a >= b) = exp(-b^2/2) exactly. Bias and coverage over
/// independent estimates.
#[test]
fn rayleigh_tail_is_met_and_covered() {
    let (truth, trials) = (1e-4f64, 100);
    let b = (-2.0 * truth.ln()).sqrt();
    let mut found = Vec::new();
    let mut covered = 0;
    let mut stated = 0.0;
    for seed in 0..trials {
        let plan = Plan { seed, ..PLAN };
        let e = estimate(&plan, 2, b, 0.95, |_, u| Ok(u[0].hypot(u[1]))).unwrap();
        covered += u32::from(e.probability.holds(truth));
        stated += e.cov_one / trials as f64;
        found.extend(e.repetitions.iter().map(|r| r.probability));
    }
    let i = mean_interval(&found, 0.999);
    let sd = crate::math::stats::sample::standard_deviation(&found);
    println!(
        "mean {i:?}, scatter {:.3} stated {stated:.3}, covered {covered}",
        sd / i.value
    );
    // the bias is of order 1/N: a hundredth of the scatter of one repetition is allowed for it
    assert!(i.low < truth * 1.02 && i.high > truth * 0.98, "{i:?}");
    assert!(f64::from(covered) >= least_hits(trials as f64), "{covered}");
    // levels are taken as uncorrelated: Au & Beck find 0.8 to 1.2 of the true scatter
    assert!((0.7..1.3).contains(&(stated * i.value / sd)), "{stated}");
}

/// A sum of fifty normals is one normal: the number of inputs does not matter.
#[test]
fn normal_tail_in_fifty_dimensions() {
    let b = 3.5;
    let truth = normal_cdf(-b);
    let e = estimate(&PLAN, 50, b, 0.999, |_, u| {
        Ok(u.iter().sum::<f64>() / 50f64.sqrt())
    })
    .unwrap();
    println!("{:?} against {truth}", e.probability);
    assert!(e.probability.holds(truth), "{:?}", e.probability);
    let x = 2.0;
    let at: Vec<f64> = e.repetitions.iter().map(|r| r.exceedance(x)).collect();
    assert!(mean_interval(&at, 0.999).holds(normal_cdf(-x)), "{at:?}");
}

/// Largest response of a lightly damped oscillator in a Gaussian sea within ten periods, against
/// 100,000 independent records.
#[test]
fn oscillator_in_a_sea_agrees_with_brute_force() {
    let waves: Vec<(f64, f64)> = (0..12)
        .map(|i| {
            let w = 0.6 + 0.07 * f64::from(i) + 0.003 * f64::from(i * i);
            (w, 0.3 / (1.0 - w * w).hypot(0.2 * w))
        })
        .collect();
    let largest = |u: &[f64]| {
        let mut turn: Vec<_> = waves
            .iter()
            .zip(u.chunks(2))
            .map(|((w, h), p)| {
                let step = num_complex::Complex64::from_polar(1.0, 0.5 * w);
                (num_complex::Complex64::new(p[0], p[1]) * *h, step)
            })
            .collect();
        let mut top = f64::NEG_INFINITY;
        for _ in 0..126 {
            let mut x = 0.0;
            for (z, step) in &mut turn {
                x += z.re;
                *z *= *step;
            }
            top = top.max(x);
        }
        top
    };
    let (n, b) = (100_000u64, 11.0);
    let mut rng = Stream::new(9, 0, Purpose::Other);
    let mut hits = 0;
    for _ in 0..n {
        let u: Vec<f64> = (0..24).map(|_| rng.normal()).collect();
        hits += u64::from(largest(&u) >= b);
    }
    let brute = clopper_pearson(hits, n, 0.99);
    let e = estimate(&PLAN, 24, b, 0.99, |_, u| Ok(largest(u))).unwrap();
    println!(
        "brute {brute:?}, subset {:?}, {} runs",
        e.probability, e.runs
    );
    assert!(hits > 30, "{hits}");
    assert!(e.probability.low < brute.high && e.probability.high > brute.low);
}

#[test]
fn same_for_any_number_of_threads() {
    let run = |threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| estimate(&PLAN, 2, 4.0, 0.95, |_, u| Ok(u[0].hypot(u[1]))).unwrap())
    };
    assert_eq!(run(1), run(3));
}

#[test]
fn a_plan_that_cannot_be_is_refused() {
    for plan in [
        Plan {
            per_level: 15,
            ..PLAN
        },
        Plan {
            repetitions: 1,
            ..PLAN
        },
    ] {
        assert!(estimate(&plan, 1, 1.0, 0.95, |_, u| Ok(u[0])).is_err());
    }
}
