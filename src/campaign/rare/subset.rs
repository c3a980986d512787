//! Subset simulation: small probabilities as a product of larger ones.
//!
//! # Equation
//! ```text
//! P(g >= b) = P(g >= b_1) prod_j P(g >= b_j+1 | g >= b_j),   b_j: the p0 share of level j lies above it
//! within a level: v_i = rho u_i + sqrt(1 - rho^2) w_i, w_i standard normal; v is taken when g(v) >= b_j
//! delta_j^2 = (1 - p_j)/(p_j N) (1 + gamma_j),   gamma_j = 2 sum_k (1 - k n_c/N) R_j(k)/R_j(0)
//! cov^2 = sum_j delta_j^2     (levels taken as uncorrelated)
//! ```
//!
//! # Symbols
//! g response of a run; u its inputs, independent standard normals; b threshold; N runs a level; n_c = p0 N
//! chains; R_j(k) covariance of the indicator of the next level along the chains at lag k; gamma_j what
//! correlation costs.
//!
//! # Valid when
//! Every random input is a function of the normals. The estimate has a bias of order 1/N. Chains may miss
//! a second, separate region of failure: repetitions of the whole method, from streams of their own, show it
//! as scatter only when some of them find it.
//!
//! # Source
//! Au & Beck (2001), Probabilistic Engineering Mechanics 16, 263: method and coefficient of variation.
//! Papaioannou, Betz, Zwirglmaier & Straub (2015), same journal 41, 89: conditional sampling in normal
//! space, its width adapted to an acceptance of 0.44. Quoted from memory.
//!
//! # Checked by
//! `tests` of this module: an exact Rayleigh tail, an exact normal tail in many dimensions, and a linear
//! oscillator in a Gaussian sea against brute force.

use rayon::prelude::*;
use serde::Serialize;

use crate::error::{Error, Result};
use crate::math::rng::{Purpose, Stream};
use crate::math::stats::Interval;
use crate::math::stats::sample::mean_interval;

/// Acceptance that the width of the steps aims at.
const ACCEPTANCE: f64 = 0.44;

/// How the method runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// Runs a level.
    pub per_level: usize,
    /// One in how many runs begins a chain of the next level (1/p0).
    pub one_in: usize,
    /// Levels after which it gives up.
    pub max_levels: usize,
    /// Independent repetitions of the whole.
    pub repetitions: usize,
    /// Seed of all streams.
    pub seed: u64,
}

impl Plan {
    /// Checks the numbers.
    ///
    /// # Errors
    /// Too few runs or repetitions; runs that do not divide into chains.
    pub fn check(&self) -> Result<()> {
        if self.one_in < 2 || self.per_level < 2 * self.one_in || !self.per_level.is_multiple_of(self.one_in)
        {
            return Err(Error::with_hint(
                format!(
                    "{} runs a level do not divide into chains of {}",
                    self.per_level, self.one_in
                ),
                "take a multiple of the chain length, at least twice it",
            ));
        }
        if self.repetitions < 2 || self.max_levels < 1 {
            return Err(Error::new(
                "an interval needs at least 2 repetitions and 1 level",
            ));
        }
        Ok(())
    }
}

/// One level of one repetition.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Level {
    /// Threshold that its runs exceed; none for the first level.
    pub above: Option<f64>,
    /// Share of its runs that exceed the next threshold.
    pub share: f64,
    /// Share of steps taken; 1 at the first level.
    pub accepted: f64,
    /// Coefficient of variation of the share.
    pub cov: f64,
    /// Responses of its runs, ascending.
    #[serde(skip)]
    pub responses: Vec<f64>,
}

/// One repetition.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Repetition {
    /// Levels from the first.
    pub levels: Vec<Level>,
    /// Probability of reaching the threshold; 0 when the last level has none that does.
    pub probability: f64,
    /// Coefficient of variation after Au & Beck.
    pub cov: f64,
    /// Responses computed.
    pub runs: usize,
    /// Inputs of the largest response met.
    #[serde(skip)]
    pub worst: Vec<f64>,
    /// The largest response met.
    pub worst_response: f64,
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
}

/// All repetitions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// Mean of the repetitions with Student's interval of their scatter.
    pub probability: Interval,
    /// Mean coefficient of variation of one repetition after Au & Beck.
    pub cov_one: f64,
    /// Responses computed in all.
    pub runs: usize,
    /// In order.
    pub repetitions: Vec<Repetition>,
}

/// A point of a chain.
#[derive(Clone)]
struct Point {
    u: Vec<f64>,
    g: f64,
}

/// Estimates P(response >= threshold). `response(repetition, u)` is called from many threads; the
/// result does not depend on how many.
///
/// # Errors
/// A plan that cannot be; what `response` says.
pub fn estimate<F>(
    plan: &Plan,
    dimensions: usize,
    threshold: f64,
    level: f64,
    response: F,
) -> Result<Estimate>
where
    F: Fn(usize, &[f64]) -> Result<f64> + Sync,
{
    plan.check()?;
    let repetitions = (0..plan.repetitions)
        .into_par_iter()
        .map(|k| repetition(plan, k, dimensions, threshold, &|u: &[f64]| response(k, u)))
        .collect::<Vec<_>>()
        .into_iter()
        .collect::<Result<Vec<_>>>()?;
    let p: Vec<f64> = repetitions.iter().map(|r| r.probability).collect();
    let mut probability = mean_interval(&p, level);
    probability.low = probability.low.max(0.0);
    probability.high = probability.high.min(1.0);
    Ok(Estimate {
        probability,
        cov_one: repetitions.iter().map(|r| r.cov).sum::<f64>() / p.len() as f64,
        runs: repetitions.iter().map(|r| r.runs).sum(),
        repetitions,
    })
}

/// One run of the method, from a stream of its own.
fn repetition(
    plan: &Plan,
    index: usize,
    dimensions: usize,
    threshold: f64,
    g: &dyn Fn(&[f64]) -> Result<f64>,
) -> Result<Repetition> {
    let mut rng = Stream::new(plan.seed, index as u64, Purpose::RareEvents);
    let mut points = Vec::with_capacity(plan.per_level);
    for _ in 0..plan.per_level {
        let u: Vec<f64> = (0..dimensions).map(|_| rng.normal()).collect();
        let g = g(&u)?;
        points.push(Point { u, g });
    }
    let mut out = Repetition {
        levels: Vec::new(),
        probability: 1.0,
        cov: 0.0,
        runs: plan.per_level,
        worst: Vec::new(),
        worst_response: f64::NEG_INFINITY,
    };
    let (mut above, mut accepted, mut width) = (None, 1.0, 0.6);
    loop {
        keep_worst(&mut out, &points);
        let chains = plan.per_level / plan.one_in;
        let mut sorted: Vec<f64> = points.iter().map(|p| p.g).collect();
        sorted.sort_by(f64::total_cmp);
        let at = plan.per_level - chains;
        let next = 0.5 * (sorted[at - 1] + sorted[at]);
        let last = next >= threshold || out.levels.len() + 1 == plan.max_levels;
        let next = if last { threshold } else { next };
        let hits: Vec<bool> = points.iter().map(|p| p.g >= next).collect();
        let share = hits.iter().filter(|h| **h).count() as f64 / hits.len() as f64;
        let length = if above.is_some() { plan.one_in } else { 1 };
        let cov = level_cov(&hits, length);
        out.probability *= share;
        out.cov = out.cov.hypot(cov);
        out.levels.push(Level {
            above,
            share,
            accepted,
            cov,
            responses: sorted,
        });
        if last {
            return Ok(out);
        }
        let mut seeds: Vec<Point> = points.into_iter().filter(|p| p.g >= next).collect();
        shuffle(&mut seeds, &mut rng);
        // ties at the threshold may give more: chains are as many as planned
        seeds.truncate(chains);
        let step = climb(&seeds, plan.one_in, next, &mut width, &mut rng, g)?;
        out.runs += plan.per_level - seeds.len();
        (points, accepted) = step;
        above = Some(next);
    }
}

fn keep_worst(out: &mut Repetition, points: &[Point]) {
    if let Some(p) = points.iter().max_by(|a, b| a.g.total_cmp(&b.g))
        && p.g > out.worst_response
    {
        out.worst_response = p.g;
        out.worst.clone_from(&p.u);
    }
}

/// Fisher and Yates' shuffle.
fn shuffle(points: &mut [Point], rng: &mut Stream) {
    for i in (1..points.len()).rev() {
        points.swap(i, rng.below(i as u64 + 1) as usize);
    }
}

/// Chains from the seeds, one behind the other; the width of a step is adapted between groups of
/// chains, never within one, so each chain keeps its law. Returns the points and the share taken.
fn climb(
    seeds: &[Point],
    length: usize,
    above: f64,
    width: &mut f64,
    rng: &mut Stream,
    g: &dyn Fn(&[f64]) -> Result<f64>,
) -> Result<(Vec<Point>, f64)> {
    let group = seeds.len().div_ceil(10).max(1);
    let mut points = Vec::with_capacity(seeds.len() * length);
    let (mut taken, mut tried) = (0usize, 0usize);
    for (round, part) in seeds.chunks(group).enumerate() {
        let sigma = width.min(1.0);
        let rho = (1.0 - sigma * sigma).sqrt();
        let (before, of) = (taken, tried);
        for seed in part {
            let mut here = seed.clone();
            points.push(here.clone());
            for _ in 1..length {
                let u: Vec<f64> = here
                    .u
                    .iter()
                    .map(|x| rho * x + sigma * rng.normal())
                    .collect();
                let value = g(&u)?;
                tried += 1;
                if value >= above {
                    taken += 1;
                    here = Point { u, g: value };
                }
                points.push(here.clone());
            }
        }
        let rate = (taken - before) as f64 / (tried - of).max(1) as f64;
        *width *= ((rate - ACCEPTANCE) / ((round + 1) as f64).sqrt()).exp();
        *width = width.clamp(1e-3, 1.5);
    }
    Ok((points, taken as f64 / tried.max(1) as f64))
}

/// Coefficient of variation of the share of hits in chains of one length that follow each other.
fn level_cov(hits: &[bool], length: usize) -> f64 {
    let n = hits.len() as f64;
    let p = hits.iter().filter(|h| **h).count() as f64 / n;
    if p <= 0.0 {
        return f64::INFINITY;
    }
    let variance = p * (1.0 - p);
    if variance <= 0.0 {
        return 0.0;
    }
    let chains = n / length as f64;
    let mut gamma = 0.0;
    for k in 1..length {
        let both: usize = hits
            .chunks(length)
            .map(|c| c.iter().zip(&c[k..]).filter(|(a, b)| **a && **b).count())
            .sum();
        let r = both as f64 / (n - k as f64 * chains) - p * p;
        gamma += 2.0 * (1.0 - k as f64 * chains / n) * r / variance;
    }
    ((1.0 - p) / (p * n) * (1.0 + gamma).max(0.0)).sqrt()
}

#[cfg(test)]
mod tests;
