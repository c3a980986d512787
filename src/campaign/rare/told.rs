//! A study told: probabilities with intervals, what they cost, curves, and the plain runs beside them.
//!
//! # Equation
//! ```text
//! rate a hour         -ln(1 - p) 3600/T
//! ratio of cost       n/(runs of the search),  n plain runs of the same coefficient of variation
//! its interval        s^2 of r repetitions is within (r - 1) s^2/chi2 of r - 1 degrees of freedom
//! plain runs          k of n reach the threshold: Clopper and Pearson's interval
//! ```
//!
//! # Symbols
//! p probability that a record of length T (s) has the event; s standard deviation of the repetitions.
//!
//! # Valid when
//! The rate: records of that length are independent of each other.
//!
//! # Source
//! [`super::subset`], [`crate::math::stats::sample`].
//!
//! # Checked by
//! `numbers_of_a_known_tail`

use serde::Serialize;

use super::event::Event;
use super::study::{Found, Study};
use super::subset::{Estimate, Repetition};
use crate::math::stats::{Interval, LEVEL, mean, quantile, sample};

/// Points of a curve.
const CURVE_POINTS: usize = 60;
/// Hits of plain runs below which a point of their curve is not told.
const LEAST_HITS: u64 = 2;

/// One level over the repetitions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LevelTold {
    /// Response that its runs reach; none for the first level.
    pub above: Option<f64>,
    /// Mean share of its runs that reach the next one's, at the last level the threshold.
    pub share_frac: f64,
    /// Mean share of steps taken.
    pub accepted_frac: f64,
}

/// Plain runs beside the search.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlainTold {
    /// Runs.
    pub runs: usize,
    /// Runs with the event.
    pub hits: u64,
    /// Share of them.
    pub probability: Interval,
    /// Whether the two intervals have a part in common.
    pub agrees: bool,
    /// Response, share of runs that reach it, low, high.
    pub curve: Vec<[f64; 4]>,
}

/// One event.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct EventTold {
    /// In words.
    pub event: String,
    /// What the response is.
    pub quantity: String,
    /// Its unit.
    pub unit: &'static str,
    /// Response at which the event happens.
    pub threshold: f64,
    /// Probability in one record.
    pub probability: Interval,
    /// Events an hour that it stands for.
    pub rate_per_h: Interval,
    /// Repetitions that met the event.
    pub repetitions_with_it: usize,
    /// Runs of the search, its pilot's too.
    pub runs: usize,
    /// Simulated time of the search, s.
    pub simulated_s: f64,
    /// Coefficient of variation of the probability, from the repetitions.
    pub cov_frac: Option<f64>,
    /// The same from within the chains, levels taken as uncorrelated.
    pub cov_from_within_frac: Option<f64>,
    /// Plain runs that would tell it as well.
    pub equal_plain_runs: Option<f64>,
    /// These over the runs of the search.
    pub cost_ratio: Option<Interval>,
    /// Share of the runs with the event that left the model's range.
    pub left_range_frac: f64,
    /// Levels.
    pub levels: Vec<LevelTold>,
    /// Response, probability that a record reaches it, low, high.
    pub curve: Vec<[f64; 4]>,
    /// Plain runs, where there are some.
    pub plain: Option<PlainTold>,
    /// Each repetition.
    pub repetitions: Vec<Repetition>,
}

/// A study told.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Told {
    /// Its name.
    pub name: String,
    /// Craft.
    pub craft: String,
    /// Law.
    pub law: String,
    /// Sea.
    pub sea: String,
    /// What breaks.
    pub fault: Option<String>,
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Length of a record, s.
    pub duration_s: f64,
    /// Run-in before it, s.
    pub run_in_s: f64,
    /// Seed.
    pub seed: u64,
    /// Level of every interval.
    pub level_frac: f64,
    /// Events.
    pub events: Vec<EventTold>,
    /// The general caution.
    pub caution: &'static str,
}

/// Tells what a study found.
pub fn tell(study: &Study, found: &Found) -> Told {
    let s = &study.spec;
    let events = study.events.iter().zip(&found.estimates).enumerate();
    Told {
        name: s.name.clone(),
        craft: study.stage.model.craft.spec.name.clone(),
        law: study.stage.laws[0].spec.name.clone(),
        sea: study.stage.sea.name.clone(),
        fault: study.stage.fault.as_ref().map(|f| f.name.clone()),
        speed_kn: s.speed_kn,
        heading_deg: s.heading_deg,
        duration_s: s.duration_s,
        run_in_s: s.run_in_s,
        seed: s.seed,
        level_frac: LEVEL,
        events: events
            .map(|(k, (e, estimate))| {
                let plain = found.plain.get(k).filter(|x| !x.is_empty());
                let times = (s.duration_s, study.run_s());
                one(e, estimate, plain.map(Vec::as_slice), times)
            })
            .collect(),
        caution: crate::caution::CAUTION,
    }
}

/// One event; `times` are the lengths of a record and of a whole run, s.
fn one(event: &Event, e: &Estimate, plain: Option<&[f64]>, times: (f64, f64)) -> EventTold {
    let threshold = event.threshold();
    let at = abscissae(e, threshold);
    let curve = |p: &dyn Fn(f64) -> Interval| {
        let point = |x: &f64| {
            let i = p(*x);
            [*x, i.value, i.low, i.high]
        };
        at.iter().map(point).collect::<Vec<_>>()
    };
    let within: Vec<f64> = e.repetitions.iter().filter_map(|r| r.cov).collect();
    let equal = e.equal_plain_runs();
    let last = e.repetitions.iter().filter_map(|r| r.levels.last());
    let (hits, gone) = last.fold((0, 0), |(hits, gone), l| {
        let above = |x: f64| l.responses.len() - l.responses.partition_point(|r| *r < x);
        (hits + above(threshold), gone + above(f64::INFINITY))
    });
    EventTold {
        event: event.words(),
        quantity: event.quantity(),
        unit: event.unit(),
        threshold,
        probability: e.probability,
        rate_per_h: e.probability.map(|p| -(-p).ln_1p() * 3600.0 / times.0),
        repetitions_with_it: within.len(),
        runs: e.runs,
        simulated_s: e.runs as f64 * times.1,
        cov_frac: e.cov,
        cov_from_within_frac: (!within.is_empty())
            .then(|| mean(&within) / (e.repetitions.len() as f64).sqrt()),
        equal_plain_runs: equal,
        cost_ratio: equal.map(|n| {
            let dof = e.repetitions.len() as f64 - 1.0;
            let end = |p: f64| sample::chi2_quantile(p, dof) / dof;
            Interval {
                value: 1.0,
                low: end(0.5 - 0.5 * LEVEL),
                high: end(0.5 + 0.5 * LEVEL),
            }
            .scale(n / e.runs as f64)
        }),
        left_range_frac: gone as f64 / hits.max(1) as f64,
        levels: levels(e),
        curve: curve(&|x| e.exceedance(x, LEVEL)),
        plain: plain.map(|x| {
            let share = |at: f64| {
                let hits = x.iter().filter(|v| **v >= at).count() as u64;
                (hits, sample::clopper_pearson(hits, x.len() as u64, LEVEL))
            };
            let (hits, probability) = share(threshold);
            let mut curve = curve(&|at| share(at).1);
            curve.retain(|[at, ..]| share(*at).0 >= LEAST_HITS);
            PlainTold {
                runs: x.len(),
                hits,
                probability,
                agrees: probability.low <= e.probability.high
                    && probability.high >= e.probability.low,
                curve,
            }
        }),
        repetitions: e.repetitions.clone(),
    }
}

fn levels(e: &Estimate) -> Vec<LevelTold> {
    (0..e.pilot.levels.len())
        .map(|k| {
            let here: Vec<_> = e
                .repetitions
                .iter()
                .filter_map(|r| r.levels.get(k))
                .collect();
            let of = |f: &dyn Fn(&super::subset::Level) -> f64| {
                mean(&here.iter().map(|l| f(l)).collect::<Vec<_>>())
            };
            LevelTold {
                above: e.pilot.levels[k].above,
                share_frac: of(&|l| l.share),
                accepted_frac: of(&|l| l.accepted),
            }
        })
        .collect()
}

/// Responses at which curves are told: from the median of the first level up to the threshold or, where all
/// repetitions go on beyond it, to their least largest response.
fn abscissae(e: &Estimate, threshold: f64) -> Vec<f64> {
    let first: Vec<f64> = e.pilot.levels[0].responses.clone();
    let low = quantile(&first, 0.5);
    let common = e.repetitions.iter().map(Repetition::furthest_response);
    let common = common.fold(f64::INFINITY, f64::min);
    let high = if common.is_finite() {
        common.max(threshold)
    } else {
        threshold
    };
    let step = (high - low) / (CURVE_POINTS - 1) as f64;
    let mut at: Vec<f64> = (0..CURVE_POINTS).map(|k| low + step * k as f64).collect();
    at.push(threshold);
    at.retain(|x| x.is_finite());
    at.sort_by(f64::total_cmp);
    at.dedup();
    at
}

#[cfg(test)]
mod tests {
    use super::super::event::tests::event;
    use super::super::subset::{Plan, estimate};
    use super::*;
    use crate::math::rng::{Purpose, Stream};
    use crate::spec::rare::RareEventSpec;

    /// Rayleigh: P(g >= x) = exp(-x^2/2), here 1.2e-4 at the event, and 4,000 plain runs.
    #[test]
    fn numbers_of_a_known_tail() {
        let tail = |x: f64| (-0.5 * x * x).exp();
        let event = event(RareEventSpec::Roll { beyond_deg: 4.25 });
        let plan = Plan {
            runs_per_level: 500,
            one_in: 10,
            levels: 8,
            repetitions: 10,
            seed: 2,
            stream: 0,
        };
        let g = |u: &[f64]| u[0].hypot(u[1]);
        let e = estimate(&plan, 2, 4.25, LEVEL, |_, s| Ok(g(&s.normals))).unwrap();
        let mut rng = Stream::new(7, 0, Purpose::Other);
        let plain: Vec<f64> = (0..4000)
            .map(|_| g(&[rng.normal(), rng.normal()]))
            .collect();
        let told = one(&event, &e, Some(&plain), (60.0, 90.0));
        assert!(told.probability.holds(tail(4.25)), "{:?}", told.probability);
        let rate = -(-told.probability.value).ln_1p() * 60.0;
        assert!((told.rate_per_h.value - rate).abs() < 1e-12);
        assert!((told.simulated_s - 90.0 * e.runs as f64).abs() < 1e-6);
        assert_eq!(
            (told.repetitions_with_it, told.levels.len()),
            (10, e.pilot.levels.len())
        );
        let at_event = told
            .curve
            .iter()
            .find(|c| (c[0] - 4.25).abs() < 1e-12)
            .unwrap();
        assert!((at_event[1] - told.probability.value).abs() < 1e-15);
        let held = told
            .curve
            .iter()
            .filter(|[x, _, low, high]| (*low..=*high).contains(&tail(*x)));
        assert!(
            held.count() * 10 >= told.curve.len() * 9,
            "{:?}",
            told.curve
        );
        let p = told.plain.unwrap();
        assert!(p.agrees && p.curve.iter().all(|c| c[1] * 4000.0 > 1.5));
        // 1/(p cov^2) plain runs, and its interval holds it
        let ratio = told.cost_ratio.unwrap();
        assert!(ratio.holds(ratio.value) && ratio.value > 5.0, "{ratio:?}");
        assert!(told.left_range_frac <= 0.0);
    }
}
