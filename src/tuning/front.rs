//! The front of ride against fin work: nothing on it is better in both.
//!
//! # Equation
//! ```text
//! for work levels between the least that meets the limits and that of the best ride:
//!     minimise ride  subject to  work <= level  and all limits
//! ```
//!
//! # Valid when
//! Also where the front is not convex, which sums of weights would jump over.
//!
//! # Source
//! Y. Y. Haimes, L. S. Lasdon & D. A. Wismer (1971), IEEE Transactions on Systems, Man, and
//! Cybernetics SMC-1, 296-297: one objective bounded while the other is improved.
//!
//! # Checked by
//! `a_hollow_front_is_traced`, `nothing_on_the_front_is_beaten`.

use super::score::{Judge, Score};
use super::search::{Judged, Plan, Watch, search_as};
use super::space::Space;
use super::store::Journal;
use crate::error::Result;

/// How finely to trace.
#[derive(Clone, Copy, Debug)]
pub struct FrontPlan {
    /// Points wanted.
    pub points: usize,
    /// Places to judge for each.
    pub evaluations: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// First number of the streams of draws.
    pub stream: u64,
}

/// Traces the front from what a search has judged: the best at each of `plan.points` levels of work,
/// least work first; neighbours may be the same. Empty when nothing met the limits. `seen` grows by everything that is judged on the way.
///
/// # Errors
/// When the journal cannot be written.
pub fn trace(
    space: &Space,
    judge: &dyn Judge,
    stage: &str,
    plan: FrontPlan,
    seen: &mut Vec<Judged>,
    journal: &mut Journal,
    watch: Watch<'_>,
) -> Result<Vec<Judged>> {
    let best = best_as(seen, &Score::clone).filter(|b| b.score.is_met());
    let (Some(top), true) = (best.cloned(), plan.points > 1) else {
        return Ok(Vec::new());
    };
    let mut run = |view: &(dyn Fn(&Score) -> Score + Sync),
                   k: usize,
                   start: &[f64],
                   seen: &mut Vec<Judged>|
     -> Result<Vec<f64>> {
        let one = Plan {
            stage: stage.to_owned(),
            seed: plan.seed,
            stream: plan.stream + k as u64,
            evaluations: plan.evaluations,
            start: start.to_vec(),
            global: false,
        };
        let found = search_as(space, judge, &one, view, journal, watch)?;
        seen.extend(found.all);
        Ok(found.best.values)
    };
    // least work that meets the limits
    let idle = best_as(seen, &of_work).map_or_else(|| top.values.clone(), |j| j.values.clone());
    run(&of_work, 0, &idle, seen)?;
    let low = best_as(seen, &of_work).map_or(top.score.work, |j| j.score.work);
    let last = plan.points - 1;
    let span = (top.score.work - low).max(1e-12);
    let idle = best_as(seen, &of_work).map_or(top.score.ride, |j| j.score.ride);
    let weight = 10.0 * (idle - top.score.ride).abs().max(1e-9);
    // the least work itself may leave no room to move in: a hundredth of the span above it
    let share = |i: usize| (i as f64 / last as f64).max(0.01);
    let levels: Vec<f64> = (0..=last).map(|i| low + span * share(i)).collect();
    // from level to level: what was best just above is nearly good enough
    let mut at = top.values;
    for i in (0..last).rev() {
        let level = levels[i];
        at = run(&|s| pulled(s, level, span, weight), 1 + i, &at, seen)?;
    }
    let chosen = levels
        .iter()
        .filter_map(|&level| best_as(seen, &|s| within(s, level, span)).cloned());
    Ok(chosen.collect())
}

/// The points that no other beats in both ride and work, among those that meet the limits; least
/// work first.
pub fn not_beaten(all: &[Judged]) -> Vec<Judged> {
    let mut met: Vec<&Judged> = all.iter().filter(|j| j.score.is_met()).collect();
    met.sort_by(|a, b| {
        let work = a.score.work.total_cmp(&b.score.work);
        work.then(a.score.ride.total_cmp(&b.score.ride))
    });
    let mut front: Vec<Judged> = Vec::new();
    for j in met {
        if front.last().is_none_or(|l| j.score.ride < l.score.ride) {
            front.push(j.clone());
        }
    }
    front
}

fn best_as<'a>(seen: &'a [Judged], view: &dyn Fn(&Score) -> Score) -> Option<&'a Judged> {
    seen.iter()
        .min_by(|a, b| view(&a.score).rank(&view(&b.score)))
}

fn of_work(s: &Score) -> Score {
    Score {
        ride: s.work,
        work: s.ride,
        ..s.clone()
    }
}

/// The score when work above `level` costs ride, `weight` for `span` of it: ten times what the front
/// itself pays, so that the level is kept, and both are improved on the way there.
fn pulled(s: &Score, level: f64, span: f64, weight: f64) -> Score {
    let over = ((s.work - level) / span).max(0.0);
    Score {
        ride: s.ride + weight * over,
        ..s.clone()
    }
}

/// The score when work above `level` counts as a limit that is not met, `span` above it as once.
fn within(s: &Score, level: f64, span: f64) -> Score {
    let over = ((s.work - level) / span - 1e-9).max(0.0);
    Score {
        excess: s.excess + if s.is_judged() { over } else { 0.0 },
        ..s.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tuning::search::search;
    use crate::tuning::space::Parameter;

    /// ZDT2 (Zitzler, Deb & Thiele 2000): the front is ride = 1 - work^2, hollow towards the origin.
    fn hollow(x: &[f64]) -> Score {
        let g = 1.0 + 9.0 * x[1..].iter().sum::<f64>() / (x.len() - 1) as f64;
        Score::new(g * (1.0 - (x[0] / g).powi(2)), x[0], 0.0, vec![])
    }

    #[test]
    fn a_hollow_front_is_traced() {
        let parameter = |k| Parameter {
            name: format!("x{k}"),
            low: 0.0,
            high: 1.0,
            log: false,
        };
        let space = Space::new((0..5).map(parameter).collect());
        let plan = Plan {
            stage: "all".into(),
            seed: 4,
            stream: 0,
            evaluations: 600,
            start: vec![0.5; 5],
            global: true,
        };
        let (mut journal, watch) = (Journal::in_memory(), Watch::nobody());
        let mut seen = search(&space, &hollow, &plan, &mut journal, watch)
            .unwrap()
            .all;
        let plan = FrontPlan {
            points: 6,
            evaluations: 300,
            seed: 4,
            stream: 1,
        };
        let front = trace(&space, &hollow, "all", plan, &mut seen, &mut journal, watch).unwrap();
        let front = not_beaten(&front);
        assert!(front.len() >= 5, "{front:?}");
        for j in &front {
            // 300 places in five dimensions, four of them against a wall, leave about 0.01 of the distance across the front
            let want = 1.0 - j.score.work.powi(2);
            assert!((j.score.ride - want).abs() < 0.02, "{:?}", j.score);
        }
        // the points lie along the whole of it
        let work: Vec<f64> = front.iter().map(|j| j.score.work).collect();
        assert!(work.windows(2).all(|w| w[1] - w[0] < 0.35), "{work:?}");
    }

    #[test]
    fn nothing_on_the_front_is_beaten() {
        let j = |ride, work, excess| Judged {
            values: vec![ride, work],
            score: Score::new(ride, work, excess, vec![]),
        };
        let all = [
            j(1.0, 3.0, 0.0),
            j(2.0, 2.0, 0.0),
            j(2.5, 2.0, 0.0),
            j(2.1, 2.5, 0.0),
            j(0.1, 0.1, 0.5),
            j(3.0, 1.0, 0.0),
        ];
        let front: Vec<f64> = not_beaten(&all).iter().map(|j| j.score.ride).collect();
        assert_eq!(front, [3.0, 2.0, 1.0]);
    }
}
