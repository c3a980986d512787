//! The tuner keeps its promises on functions whose answers are published, before any craft is near.

use std::sync::atomic::{AtomicUsize, Ordering};

use ridewright::tuning::Score;
use ridewright::tuning::search::{Ended, Found, Plan, Watch, search};
use ridewright::tuning::space::{Parameter, Space};
use ridewright::tuning::store::Journal;

fn cube(n: usize, low: f64, high: f64) -> Space {
    let parameter = |k| Parameter {
        name: format!("x{k}"),
        low,
        high,
        log: false,
    };
    Space {
        digits: Some(7),
        ..Space::new((0..n).map(parameter).collect())
    }
}

fn plan(seed: u64, evaluations: usize, start: Vec<f64>) -> Plan {
    Plan {
        stage: "all".into(),
        seed,
        stream: 0,
        evaluations,
        start,
        global: true,
    }
}

/// Sum of misses of constraints g >= 0.
fn score(f: f64, g: &[f64]) -> Score {
    let excess = g.iter().map(|g| (-g).max(0.0)).sum();
    Score::new(f, 0.0, excess, vec![])
}

/// Hock & Schittkowski (1981), problem 100.
fn hs100(x: &[f64]) -> Score {
    let f = (x[0] - 10.0).powi(2)
        + 5.0 * (x[1] - 12.0).powi(2)
        + x[2].powi(4)
        + 3.0 * (x[3] - 11.0).powi(2)
        + 10.0 * x[4].powi(6)
        + 7.0 * x[5].powi(2)
        + x[6].powi(4)
        - 4.0 * x[5] * x[6]
        - 10.0 * x[5]
        - 8.0 * x[6];
    let g = [
        127.0 - 2.0 * x[0].powi(2) - 3.0 * x[1].powi(4) - x[2] - 4.0 * x[3].powi(2) - 5.0 * x[4],
        282.0 - 7.0 * x[0] - 3.0 * x[1] - 10.0 * x[2].powi(2) - x[3] + x[4],
        196.0 - 23.0 * x[0] - x[1].powi(2) - 6.0 * x[5].powi(2) + 8.0 * x[6],
        -4.0 * x[0].powi(2) - x[1].powi(2) + 3.0 * x[0] * x[1] - 2.0 * x[2].powi(2) - 5.0 * x[5]
            + 11.0 * x[6],
    ];
    score(f, &g)
}

/// Michalewicz & Schoenauer (1996), Evolutionary Computation 4, 1-32, problem G6: a thin sickle of
/// points that meet both constraints.
fn g6(x: &[f64]) -> Score {
    let f = (x[0] - 10.0).powi(3) + (x[1] - 20.0).powi(3);
    let g = [
        (x[0] - 5.0).powi(2) + (x[1] - 5.0).powi(2) - 100.0,
        82.81 - (x[0] - 6.0).powi(2) - (x[1] - 5.0).powi(2),
    ];
    score(f, &g)
}

#[test]
fn published_constrained_minima() {
    // formulation and minimum from memory; the published minimiser must give the published value
    let at = [
        2.330_499,
        1.951_372,
        -0.477_541_4,
        4.365_726,
        -0.624_487_0,
        1.038_131,
        1.594_227,
    ];
    assert!((hs100(&at).ride - 680.630_057_3).abs() < 1e-4);
    assert!(hs100(&at).excess < 1e-4);
    for seed in [1, 2, 3] {
        let found = run(
            &cube(7, -10.0, 10.0),
            &hs100,
            &plan(seed, 6000, vec![0.0; 7]),
        );
        let best = &found.best.score;
        // a hundredth of a per cent in 6000 places: curved constraints are followed, not landed on
        let miss = best.ride / 680.630_057_3 - 1.0;
        assert!(best.is_met() && (-1e-9..1e-4).contains(&miss), "{best:?}");
    }
    let space = Space {
        parameters: [("a", 13.0), ("b", 0.0)]
            .map(|(name, low)| Parameter {
                name: name.into(),
                low,
                high: 100.0,
                log: false,
            })
            .to_vec(),
        digits: Some(9),
    };
    let found = run(&space, &g6, &plan(1, 3000, vec![50.0, 50.0]));
    // -6961.81388; the sickle is 0.1 wide where its tip holds the minimum
    let miss = 1.0 - found.best.score.ride / -6_961.813_88;
    assert!(found.best.score.is_met() && miss < 1e-3, "{:?}", found.best);
}

fn run(space: &Space, f: &(impl Fn(&[f64]) -> Score + Sync), plan: &Plan) -> Found {
    search(space, f, plan, &mut Journal::in_memory(), Watch::nobody()).expect("memory never fails")
}

#[test]
fn many_valleys_are_searched() {
    // Rastrigin (1974) in three dimensions: valleys at every whole number, the deepest at 0
    let f = |x: &[f64]| {
        let terms = x
            .iter()
            .map(|v| v * v - 10.0 * (std::f64::consts::TAU * v).cos() + 10.0);
        Score::new(terms.sum(), 0.0, 0.0, vec![])
    };
    let won = (1..=5).filter(|&seed| {
        let found = run(&cube(3, -4.3, 5.7), &f, &plan(seed, 4000, vec![4.0; 3]));
        found.best.score.ride < 1e-3
    });
    assert!(won.count() >= 4, "one seed in five may end in a neighbour");
}

#[test]
fn threads_do_not_matter() {
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        pool.expect("threads start")
            .install(|| run(&cube(7, -10.0, 10.0), &hs100, &plan(5, 800, vec![1.0; 7])))
    };
    let (one, three) = (on(1), on(3));
    assert_eq!(one, three);
    let other = run(&cube(7, -10.0, 10.0), &hs100, &plan(6, 800, vec![1.0; 7]));
    assert_ne!(one.best, other.best, "another seed is another search");
}

#[test]
fn resumed_is_the_same() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = dir.path().join("journal.jsonl");
    let space = cube(7, -10.0, 10.0);
    let plan = plan(5, 700, vec![1.0; 7]);
    let whole = run(&space, &hs100, &plan);
    let asked = AtomicUsize::new(0);
    let counting = |x: &[f64]| {
        asked.fetch_add(1, Ordering::Relaxed);
        hs100(x)
    };
    let stop = || asked.load(Ordering::Relaxed) > 300;
    let watch = Watch {
        stop: &stop,
        step: &|_| {},
    };
    let mut journal = Journal::open(&path, "x").expect("a new journal");
    let part = search(&space, &counting, &plan, &mut journal, watch).expect("it stops");
    assert_eq!(part.ended, Ended::Stopped);
    drop(journal);
    let before = asked.load(Ordering::Relaxed);
    let mut journal = Journal::open(&path, "x").expect("the same journal");
    let resumed = search(&space, &counting, &plan, &mut journal, Watch::nobody());
    assert_eq!(resumed.expect("it goes on"), whole);
    let all = asked.load(Ordering::Relaxed);
    assert!(
        all <= 700 && before > 300,
        "{before} and then {all}: nothing is judged twice"
    );
}

#[test]
fn stops_when_told() {
    let watch = Watch {
        stop: &|| true,
        step: &|_| {},
    };
    let plan = plan(1, 5000, vec![1.0; 7]);
    let mut journal = Journal::in_memory();
    let found = search(&cube(7, -10.0, 10.0), &hs100, &plan, &mut journal, watch);
    let found = found.expect("memory never fails");
    assert_eq!(found.ended, Ended::Stopped);
    // the start and the first draws, no more
    assert!(found.evaluations <= 71, "{}", found.evaluations);
}
