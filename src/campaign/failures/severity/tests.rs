//! Words and order, on rows made by hand.

use super::super::descent::ComeDown;
use super::super::measure::{LimitPassed, Nearest};
use super::super::row::{Found, Spot};
use super::super::settle::Settling;
use super::super::spread::SlowDown;
use super::super::trial::SlowRun;
use super::*;

fn ride(roll_rms_deg: f64) -> Peaks {
    Peaks {
        // long enough that no contact seen is none to fear
        length_s: 600.0,
        roll_rms_deg,
        pitch_rms_deg: 1.0,
        vertical_rms_m_s2: vec![("bridge".to_owned(), 0.5)],
        ..Peaks::default()
    }
}

fn run(roll_rms_deg: f64) -> RunMeasure {
    RunMeasure {
        seed: 1,
        fault_s: 100.0,
        ended: None,
        ended_after_s: None,
        before: ride(1.0),
        after: Some(ride(roll_rms_deg)),
        later: Some(ride(roll_rms_deg)),
        settles: Settling::default(),
        nearest: Some(near(0.3)),
        limit: None,
        limit_later: None,
    }
}

fn near(frac: f64) -> Nearest {
    let limit = "roll".to_owned();
    Nearest { frac, limit }
}

fn ended(after_s: f64) -> RunMeasure {
    RunMeasure {
        ended: Some("motion left the valid range".to_owned()),
        ended_after_s: Some(after_s),
        after: (after_s > 0.0).then(|| ride(2.0)),
        later: None,
        ..run(2.0)
    }
}

fn passed(after_s: f64) -> LimitPassed {
    LimitPassed {
        after_s,
        limit: "roll".to_owned(),
    }
}

fn slow(slowed_after_s: f64, limit: Option<LimitPassed>) -> SlowRun {
    SlowRun {
        seed: 1,
        ended: None,
        ended_after_s: None,
        slowed_after_s: Some(slowed_after_s),
        limit,
        nearest: Some(near(0.3)),
        there: Some(ride(1.0)),
        limit_there: None,
    }
}

/// A row of these runs that holds at its speed.
fn row(runs: Vec<RunMeasure>) -> Row {
    let found = Found {
        linear: None,
        linear_leaves_out: Vec::new(),
        come_down: ComeDown {
            speed_kn: Some(16.0),
            fails: None,
            fails_above: None,
            linear_only: None,
        },
        slowed_in_calm_s: None,
        runs,
        slow_runs: Vec::new(),
    };
    let spot = Spot {
        law: "law".to_owned(),
        sea: "sea".to_owned(),
        speed_kn: 16.0,
        heading_deg: 90.0,
    };
    Row::of("fault", &spot, found, 0.95)
}

/// The same that must come down to 10 kn.
fn down_to(speed_kn: Option<f64>, runs: Vec<RunMeasure>, slow: Vec<SlowRun>) -> Row {
    let mut out = row(runs);
    out.come_down.speed_kn = speed_kn;
    out.come_down.fails = Some("disk margin 0.10".to_owned());
    out.slow_down = (!slow.is_empty()).then(|| SlowDown::of(slow, 0.95));
    out
}

fn whole(r: Row) -> Row {
    let sound = row(vec![run(1.0); r.runs.len().max(2)]);
    let mut rows = vec![sound, r];
    settle(&mut rows, &FailureLimitsSpec::default(), 0.95);
    rows.remove(1)
}

fn judged(r: Row) -> Severity {
    whole(r).severity
}

#[test]
fn words_follow_from_the_row() {
    let two = |r: RunMeasure| vec![run(1.0), r];
    assert_eq!(judged(row(two(run(1.0)))), Severity::None);
    assert_eq!(judged(row(two(run(2.0)))), Severity::RideWorse);
    // what ends before the fault is no failure of it
    assert_eq!(judged(row(two(ended(-5.0)))), Severity::None);
    assert_eq!(judged(row(vec![ended(-5.0)])), Severity::NotJudged);
    assert_eq!(judged(row(two(ended(5.0)))), Severity::ControlLost);
    let limit = RunMeasure {
        limit: Some(passed(20.0)),
        ..run(1.0)
    };
    assert_eq!(judged(row(two(limit.clone()))), Severity::LimitPassed);
    let to = |slow| judged(down_to(Some(10.0), two(limit.clone()), slow));
    assert_eq!(to(vec![slow(40.0, None)]), Severity::SlowDown);
    assert_eq!(to(vec![slow(40.0, Some(passed(50.0)))]), Severity::SlowDown);
    let late = vec![slow(40.0, None), slow(40.0, Some(passed(30.0)))];
    assert_eq!(to(late), Severity::LimitPassed);
    assert_eq!(
        judged(down_to(None, two(run(1.0)), vec![])),
        Severity::NoSpeedHolds
    );
    assert_eq!(
        judged(down_to(None, two(limit), vec![])),
        Severity::LimitPassed
    );
}

#[test]
fn the_worst_comes_first() {
    let soon = |t: f64| RunMeasure {
        limit: Some(passed(t)),
        ..run(1.0)
    };
    let mut rows = vec![
        row(vec![run(1.0), run(1.0)]),
        row(vec![run(1.0), soon(9.0)]),
        row(vec![run(1.0), soon(4.0)]),
        row(vec![run(1.0), ended(3.0)]),
        row(vec![run(2.0), run(2.0)]),
    ];
    settle(&mut rows, &FailureLimitsSpec::default(), 0.95);
    rank(&mut rows, 1.0);
    let found: Vec<Severity> = rows.iter().map(|r| r.severity).collect();
    let (lost, passed) = (Severity::ControlLost, Severity::LimitPassed);
    assert_eq!(
        found,
        [lost, passed, passed, Severity::RideWorse, Severity::None]
    );
    let times: Vec<Option<f64>> = rows
        .iter()
        .map(|r| r.limit.as_ref().map(|l| l.after_s))
        .collect();
    assert_eq!(times[1..3], [Some(4.0), Some(9.0)]);
}

#[test]
fn the_ride_is_worse_by_the_greatest_ratio() {
    // roll by hand: root of (9 + 16) / (1 + 4) of the two seeds
    let ratio = worse(&[run(3.0), run(4.0)], &[run(1.0), run(2.0)], 0.95).unwrap();
    assert!((ratio.value - 5.0_f64.sqrt()).abs() < 1e-12, "{ratio:?}");
    assert!(ratio.low < ratio.value && ratio.value < ratio.high);
    // a seed without its pair is left out
    let ratio = worse(&[run(3.0), ended(5.0)], &[run(1.0), run(2.0)], 0.95).unwrap();
    assert!((ratio.value - 3.0).abs() < 1e-12, "{ratio:?}");
    assert_eq!(worse(&[ended(5.0)], &[run(1.0)], 0.95), None);
}

#[test]
fn an_interval_across_a_limit_is_undecided() {
    let classes = |r: &Row| (r.severity, r.at_least, r.at_most);
    let of = |roll: [f64; 4]| whole(row(roll.map(run).to_vec()));
    // the share stated is a tenth
    let (none, worse) = (Severity::None, Severity::RideWorse);
    assert_eq!(classes(&of([1.0; 4])), (none, none, none));
    assert_eq!(classes(&of([1.5, 1.6, 1.5, 1.6])), (worse, worse, worse));
    let open = of([1.0, 1.4, 0.9, 1.3]);
    assert_eq!(classes(&open), (worse, none, worse));
    assert_eq!(open.class(), "undecided: none to ride worse");
    assert!(open.open.contains("worse from +10 %"), "{}", open.open);
    // roll RMS about its limit of 4 deg: it may have to slow down
    let rough = of([3.6, 4.3, 3.4, 4.2]);
    assert_eq!(classes(&rough), (worse, worse, Severity::SlowDown));
    // a limit that no seed passes, but the next may
    let near_by = |share: [f64; 4]| {
        let of = |s| RunMeasure {
            nearest: Some(near(s)),
            ..run(1.0)
        };
        whole(row(share.map(of).to_vec()))
    };
    assert_eq!(near_by([0.4, 0.5, 0.45, 0.4]).at_most, none);
    let next = near_by([0.8, 0.95, 0.7, 0.9]);
    assert_eq!(classes(&next), (none, none, Severity::LimitPassed));
    // one seed decides nothing but what it shows
    assert!(!whole(row(vec![run(1.5)])).is_decided());
    assert!(whole(row(vec![ended(5.0)])).is_decided());
}

#[test]
fn what_overlaps_shares_a_rank() {
    let of = |roll: [f64; 4]| row(roll.map(run).to_vec());
    let mut rows = vec![
        of([1.0; 4]),
        of([2.0, 2.1, 2.0, 2.1]),
        of([2.1, 2.0, 2.1, 2.0]),
        of([9.0, 9.1, 9.0, 9.1]),
    ];
    let mild = FailureLimitsSpec {
        roll_rms_deg: 30.0,
        ..FailureLimitsSpec::default()
    };
    settle(&mut rows, &mild, 0.95);
    rank(&mut rows, 1.0);
    let ranks: Vec<[usize; 2]> = rows.iter().map(|r| r.rank).collect();
    assert_eq!(ranks, [[1, 1], [2, 3], [2, 3], [4, 4]]);
}
