//! Subset simulation: a small probability as a product of larger ones.
//!
//! # Equation
//! ```text
//! P(g >= b) = P(g >= b_1) prod_j P(g >= b_j+1 | g >= b_j)
//! step in a level   v = sqrt(1 - w^2) u + w z,  z standard normal;  taken when g(v) >= b_j
//! pilot             b_j: one in 1/p0 runs of the level before reaches it;  between groups of chains
//!                   ln l <- ln l + (share taken - 0.44)/sqrt(group),  w = min(l, 1)
//! repetitions       levels and widths of the pilot, held;  p = product of the shares of hits
//! one repetition    delta_j^2 = (1 - p_j)/(p_j N) (1 + gamma_j),  gamma_j = 2 sum_k (1 - k/L) R_j(k)/R_j(0)
//! told              mean p of r repetitions,  p exp(-+ t_(r-1) s/(p sqrt r))
//! equal in cost     n = (1 - p)/(p c^2) plain runs have the same coefficient of variation c = s/(p sqrt r)
//! ```
//!
//! # Symbols
//! g response of a run; u its inputs, independent standard normals; b threshold; N runs a level; L = 1/p0
//! length of a chain; R_j(k) covariance of the next level's indicator along the chains at lag k; gamma_j
//! what correlation costs; r repetitions of the whole from streams of their own, s the standard deviation
//! of their probabilities, t Student's quantile.
//!
//! # Valid when
//! Every random input is a function of the normals and of the key that goes with them (see [`Sample`]).
//! Because levels and widths of the repetitions are fixed beforehand, and every hit is as likely as any
//! other to begin a chain, the mean of a repetition is the probability itself; levels chosen by the same
//! runs that are counted would bias it upwards by order 1/N (a tenth, with 300 runs a level). Chains may miss a
//! second, separate region of failure; repetitions show it as scatter only when some of them find it. The
//! interval rests on the repetitions alone, so it holds correlation of chains and of levels whatever they
//! are; it is the delta method's on the logarithm of the mean, because probabilities of repetitions lean to
//! the right.
//!
//! # Source
//! Au & Beck (2001), Probabilistic Engineering Mechanics 16, 263-277: method and delta_j. Papaioannou, Betz,
//! Zwirglmaier & Straub (2015), the same 41, 89-103: conditional sampling in normal space and its adaptation
//! to an acceptance of 0.44. Fixed levels without bias: Del Moral (2004), Feynman-Kac Formulae, ch. 7
//! (unnormalised measures). Quoted from memory.
//!
//! # Checked by
//! tests/rare_method.rs

use rayon::prelude::*;
use serde::Serialize;

use crate::error::{Error, Result};
use crate::math::rng::{Purpose, Stream};
use crate::math::stats::{Interval, mean, sample};

/// Acceptance that the width of the steps aims at.
const ACCEPTANCE: f64 = 0.44;
/// Width of the first steps.
const FIRST_WIDTH: f64 = 0.6;
/// Groups of chains of a level between which the width is adapted.
const GROUPS: usize = 10;

/// How the method runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Plan {
    /// Runs a level.
    pub runs_per_level: usize,
    /// One in how many runs begins a chain of the next level (1/p0).
    pub one_in: usize,
    /// Levels after which it gives up.
    pub levels: usize,
    /// Independent repetitions of the whole.
    pub repetitions: usize,
    /// Seed of all streams.
    pub seed: u64,
    /// Number of the streams under that seed: one per event.
    pub stream: u16,
}

/// What is random in one run.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    /// Standard normals: what a step changes a little.
    pub normals: Vec<f64>,
    /// Key of all further random streams of the run: what a step keeps or draws anew, half and half.
    pub key: u64,
}

/// Which run of the method.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Spot {
    /// 0 the pilot, then the repetitions.
    pub repetition: usize,
    /// Level, the first without condition.
    pub level: usize,
    /// Chain, in the first level the run.
    pub chain: usize,
    /// Step in the chain.
    pub step: usize,
}

/// One level of one repetition.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Level {
    /// Threshold that its runs reach; none for the first level.
    pub above: Option<f64>,
    /// Share of its runs that reach the next threshold.
    pub share: f64,
    /// Share of steps taken; 1 at the first level.
    pub accepted: f64,
    /// Width of the steps, of the pilot at the end of its level.
    pub width: f64,
    /// Coefficient of variation of the share, correlation of chains included.
    pub share_cov: f64,
    /// Responses of its runs, ascending.
    #[serde(skip)]
    pub responses: Vec<f64>,
}

/// One repetition.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Repetition {
    /// Levels from the first.
    pub levels: Vec<Level>,
    /// Probability of reaching the threshold; 0 when no run of the last level does.
    pub probability: f64,
    /// Its coefficient of variation from within, levels taken as uncorrelated; none without a hit.
    pub cov: Option<f64>,
    /// Responses computed.
    pub runs: usize,
    /// What was random in the run that went furthest.
    #[serde(skip)]
    pub furthest: Sample,
}

/// All repetitions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// Probability with the interval of the repetitions' scatter.
    pub probability: Interval,
    /// Coefficient of variation of it, from that scatter; none when no repetition reached the threshold.
    pub cov: Option<f64>,
    /// Responses computed in all, the pilot's too.
    pub runs: usize,
    /// The run of the method that fixed levels and widths; it has no part in the probability.
    pub pilot: Repetition,
    /// In order.
    pub repetitions: Vec<Repetition>,
}

impl Plan {
    /// Checks the numbers.
    ///
    /// # Errors
    /// Too few runs, levels or repetitions; runs that do not divide into chains.
    pub fn check(&self) -> Result<()> {
        let n = self.runs_per_level;
        if self.one_in < 2 || n < 2 * self.one_in || !n.is_multiple_of(self.one_in) {
            return Err(Error::with_hint(
                format!(
                    "{n} runs a level do not divide into chains of {}",
                    self.one_in
                ),
                "take a multiple of the chain's length, at least twice it",
            ));
        }
        if self.repetitions < 2 || self.levels < 1 {
            return Err(Error::with_hint(
                format!(
                    "{} levels and {} repetitions give no interval",
                    self.levels, self.repetitions
                ),
                "take at least 1 level and 2 repetitions",
            ));
        }
        Ok(())
    }

    /// Runs when every repetition needs every level.
    pub fn most_runs(&self) -> usize {
        let later = self.runs_per_level - self.runs_per_level / self.one_in;
        (1 + self.repetitions) * (self.runs_per_level + (self.levels - 1) * later)
    }

    fn stream(&self, spot: Spot) -> Stream {
        let case =
            u64::from(self.stream) << 48 | (spot.repetition as u64) << 16 | spot.level as u64;
        Stream::with_index(self.seed, case, Purpose::RareEvents, spot.chain as u32)
    }
}

impl Repetition {
    /// Probability that the response reaches `x`, from the deepest level that begins below it.
    pub fn exceedance(&self, x: f64) -> f64 {
        let mut before = 1.0;
        let mut found = 0.0;
        for l in &self.levels {
            if l.above.is_some_and(|b| x < b) {
                break;
            }
            let over = l.responses.len() - l.responses.partition_point(|r| *r < x);
            found = before * over as f64 / l.responses.len() as f64;
            before *= l.share;
        }
        found
    }

    /// The largest response met.
    pub fn furthest_response(&self) -> f64 {
        let last = self.levels.iter().filter_map(|l| l.responses.last());
        last.copied().fold(f64::NEG_INFINITY, f64::max)
    }

    /// Probability that the deepest level's own threshold is reached.
    fn surely_reached(&self) -> f64 {
        let all = self.levels.len().saturating_sub(1);
        self.levels[..all].iter().map(|l| l.share).product()
    }
}

impl Estimate {
    /// Probability that the response reaches `x`, with its interval.
    pub fn exceedance(&self, x: f64, level: f64) -> Interval {
        let p: Vec<f64> = self.repetitions.iter().map(|r| r.exceedance(x)).collect();
        of_repetitions(&p, level).0
    }

    /// Plain runs that would tell the probability with the same coefficient of variation.
    pub fn equal_plain_runs(&self) -> Option<f64> {
        let p = self.probability.value;
        self.cov
            .filter(|c| *c > 0.0)
            .map(|c| (1.0 - p) / (p * c * c))
    }
}

/// Mean of the repetitions' probabilities with its interval, and its coefficient of variation.
fn of_repetitions(p: &[f64], level: f64) -> (Interval, Option<f64>) {
    let value = mean(p);
    if value <= 0.0 {
        return (Interval::exact(0.0), None);
    }
    let n = p.len() as f64;
    let cov = sample::standard_deviation(p) / (value * n.sqrt());
    let factor = (sample::t_quantile(0.5 + 0.5 * level, n - 1.0) * cov).exp();
    let interval = Interval {
        value,
        low: value / factor,
        high: (value * factor).min(1.0),
    };
    (interval, Some(cov))
}

/// Estimates P(response >= threshold). `response` is called from many threads; the result does not depend
/// on how many. When no repetition reaches the threshold, the probability is zero and its upper limit that
/// of the deepest level that all of them did reach.
///
/// # Errors
/// A plan that cannot be; what `response` says.
pub fn estimate<F>(
    plan: &Plan,
    normals: usize,
    threshold: f64,
    level: f64,
    response: F,
) -> Result<Estimate>
where
    F: Fn(Spot, &Sample) -> Result<f64> + Sync,
{
    plan.check()?;
    let climb = |number: usize, rungs: Option<&[Rung]>| {
        let climb = Climb {
            plan,
            number,
            normals,
            threshold,
            g: &response,
        };
        climb.go(rungs)
    };
    let pilot = climb(0, None)?;
    let rungs: Vec<Rung> = pilot.levels[1..].iter().filter_map(Rung::of).collect();
    let repetitions = (1..=plan.repetitions)
        .into_par_iter()
        .map(|k| climb(k, Some(&rungs)))
        .collect::<Result<Vec<_>>>()?;
    let p: Vec<f64> = repetitions.iter().map(|r| r.probability).collect();
    let (mut probability, cov) = of_repetitions(&p, level);
    if cov.is_none() {
        let reached = repetitions.iter().map(Repetition::surely_reached);
        probability.high = reached.fold(0.0, f64::max);
    }
    Ok(Estimate {
        probability,
        cov,
        runs: pilot.runs + repetitions.iter().map(|r| r.runs).sum::<usize>(),
        pilot,
        repetitions,
    })
}

/// A level behind the first, as the pilot found it.
#[derive(Clone, Copy, Debug)]
struct Rung {
    above: f64,
    width: f64,
}

impl Rung {
    fn of(level: &Level) -> Option<Self> {
        level.above.map(|above| Rung {
            above,
            width: level.width,
        })
    }
}

/// A run with its response.
#[derive(Clone)]
struct Point {
    at: Sample,
    g: f64,
}

/// The pilot or a repetition on its way.
struct Climb<'a> {
    plan: &'a Plan,
    number: usize,
    normals: usize,
    threshold: f64,
    g: &'a (dyn Fn(Spot, &Sample) -> Result<f64> + Sync),
}

/// Points of a level with how they came about.
struct Found {
    points: Vec<Point>,
    accepted: f64,
    width: f64,
}

impl Climb<'_> {
    /// Up the rungs, or, without them, up levels that are chosen on the way.
    fn go(&self, rungs: Option<&[Rung]>) -> Result<Repetition> {
        let n = self.plan.runs_per_level;
        let mut found = self.first()?;
        let mut furthest = found.points[0].clone();
        let mut levels: Vec<Level> = Vec::new();
        let (mut above, mut runs) = (None, n);
        loop {
            for p in &found.points {
                if p.g > furthest.g {
                    furthest.clone_from(p);
                }
            }
            let mut responses: Vec<f64> = found.points.iter().map(|p| p.g).collect();
            responses.sort_by(f64::total_cmp);
            let next = self.next(rungs, levels.len(), &responses);
            let target = next.map_or(self.threshold, |r| r.above);
            let hits: Vec<bool> = found.points.iter().map(|p| p.g >= target).collect();
            let length = if above.is_some() { self.plan.one_in } else { 1 };
            let share = hits.iter().filter(|h| **h).count() as f64 / n as f64;
            levels.push(Level {
                above,
                share,
                accepted: found.accepted,
                width: found.width,
                share_cov: share_cov(&hits, length),
                responses,
            });
            let Some(rung) = next.filter(|_| share > 0.0) else {
                break;
            };
            let seeds = self.seeds(found.points, rung.above, levels.len());
            runs += n - seeds.len();
            found = self.chains(&seeds, rung, levels.len(), rungs.is_none())?;
            above = Some(rung.above);
        }
        let reached = rungs.is_none_or(|r| levels.len() == r.len() + 1);
        let product: f64 = levels.iter().map(|l| l.share).product();
        let probability = if reached { product } else { 0.0 };
        let cov = levels
            .iter()
            .map(|l| l.share_cov.powi(2))
            .sum::<f64>()
            .sqrt();
        Ok(Repetition {
            levels,
            probability,
            cov: (probability > 0.0).then_some(cov),
            runs,
            furthest: furthest.at,
        })
    }

    /// The level behind the one that is number `level`; none when the threshold itself is next.
    fn next(&self, rungs: Option<&[Rung]>, level: usize, responses: &[f64]) -> Option<Rung> {
        if let Some(rungs) = rungs {
            return rungs.get(level).copied();
        }
        let n = self.plan.runs_per_level;
        let at = n - n / self.plan.one_in;
        let above = 0.5 * (responses[at - 1] + responses[at]);
        let is_last = above >= self.threshold || level + 1 == self.plan.levels;
        (!is_last).then_some(Rung {
            above,
            width: FIRST_WIDTH,
        })
    }

    fn spot(&self, level: usize, chain: usize) -> Spot {
        Spot {
            repetition: self.number,
            level,
            chain,
            step: 0,
        }
    }

    /// The first level: independent runs.
    fn first(&self) -> Result<Found> {
        let points = (0..self.plan.runs_per_level)
            .into_par_iter()
            .map(|chain| {
                let spot = self.spot(0, chain);
                let mut rng = self.plan.stream(spot);
                let at = Sample {
                    normals: (0..self.normals).map(|_| rng.normal()).collect(),
                    key: rng.bits(),
                };
                let g = (self.g)(spot, &at)?;
                Ok(Point { at, g })
            })
            .collect::<Result<_>>()?;
        Ok(Found {
            points,
            accepted: 1.0,
            width: 1.0,
        })
    }

    /// Points that begin the chains of a level, in random order, each hit as likely as any other: where hits
    /// are more than chains some are left out, where they are fewer some begin one chain more.
    fn seeds(&self, points: Vec<Point>, above: f64, level: usize) -> Vec<Point> {
        let mut rng = self.plan.stream(self.spot(level, u32::MAX as usize));
        let mut hits: Vec<Point> = points.into_iter().filter(|p| p.g >= above).collect();
        for i in (1..hits.len()).rev() {
            hits.swap(i, rng.below(i as u64 + 1) as usize);
        }
        let chains = self.plan.runs_per_level / self.plan.one_in;
        hits.iter().cycle().take(chains).cloned().collect()
    }

    /// Chains from the seeds, one behind the other. When it adapts, the width changes between groups of chains,
    /// never within one, so that each chain keeps its law.
    fn chains(&self, seeds: &[Point], rung: Rung, level: usize, adapts: bool) -> Result<Found> {
        let group = if adapts {
            seeds.len().div_ceil(GROUPS)
        } else {
            seeds.len()
        };
        let steps = self.plan.one_in - 1;
        let mut points = Vec::with_capacity(seeds.len() * self.plan.one_in);
        let (mut taken, mut width) = (0, rung.width);
        for (round, part) in seeds.chunks(group).enumerate() {
            let step = Rung {
                width: width.min(1.0),
                ..rung
            };
            let found: Vec<(Vec<Point>, usize)> = part
                .par_iter()
                .enumerate()
                .map(|(k, seed)| self.chain(seed, step, self.spot(level, round * group + k)))
                .collect::<Result<_>>()?;
            let here: usize = found.iter().map(|f| f.1).sum();
            points.extend(found.into_iter().flat_map(|f| f.0));
            taken += here;
            if adapts {
                let rate = here as f64 / (part.len() * steps) as f64;
                width *= ((rate - ACCEPTANCE) / (round as f64 + 1.0).sqrt()).exp();
                width = width.clamp(1e-3, 1.5);
            }
        }
        Ok(Found {
            points,
            accepted: taken as f64 / (seeds.len() * steps) as f64,
            width: width.min(1.0),
        })
    }

    /// One chain from its seed, and how many of its steps were taken.
    fn chain(&self, seed: &Point, rung: Rung, spot: Spot) -> Result<(Vec<Point>, usize)> {
        let mut rng = self.plan.stream(spot);
        let (w, c) = (rung.width, (1.0 - rung.width * rung.width).sqrt());
        let mut points = vec![seed.clone()];
        let mut taken = 0;
        for step in 1..self.plan.one_in {
            let here = &points[step - 1];
            let normals = here.at.normals.iter().map(|u| c * u + w * rng.normal());
            let normals = normals.collect();
            // both draws always, so that a stream does not depend on what they say
            let (keeps, fresh) = (rng.uniform() < 0.5, rng.bits());
            let key = if keeps { here.at.key } else { fresh };
            let at = Sample { normals, key };
            let g = (self.g)(Spot { step, ..spot }, &at)?;
            if g >= rung.above {
                taken += 1;
                points.push(Point { at, g });
            } else {
                points.push(here.clone());
            }
        }
        Ok((points, taken))
    }
}

/// Coefficient of variation of the share of hits in chains of one length that follow each other.
fn share_cov(hits: &[bool], length: usize) -> f64 {
    let n = hits.len() as f64;
    let p = hits.iter().filter(|h| **h).count() as f64 / n;
    let variance = p * (1.0 - p);
    if variance <= 0.0 {
        return 0.0;
    }
    let mut gamma = 0.0;
    for k in 1..length {
        let pairs = |c: &[bool]| c.iter().zip(&c[k..]).filter(|(a, b)| **a && **b).count();
        let both: usize = hits.chunks(length).map(pairs).sum();
        let left = 1.0 - k as f64 / length as f64;
        gamma += 2.0 * left * (both as f64 / (n * left) - p * p) / variance;
    }
    ((1.0 - p) / (p * n) * (1.0 + gamma).max(0.0)).sqrt()
}
