//! The search: draws over the whole box, evolution with restarts, then a pattern search.
//!
//! ```text
//! start + hypercube -> evolution about the best; when it has come to rest, again with twice as many
//! points from the best draw not yet visited -> pattern search about the best of all
//! ```
//! Every batch is judged on all threads and ranked in its own order, so the same seed gives the same
//! answer on any number of threads. The budget counts places asked for, whether the journal knew them
//! or not, so a search that was resumed ends where it would have ended.
//!
//! # Checked by
//! `published_constrained_minima`, `threads_do_not_matter`, `resumed_is_the_same`,
//! `stops_when_told` (tests/tuning.rs), `many_valleys_are_searched`.

use std::cmp::Ordering;

use rayon::prelude::*;
use serde::Serialize;

use super::cma::{Cma, usual_population};
use super::compass::Compass;
use super::score::{Judge, Score};
use super::space::{Space, hypercube};
use super::store::Journal;
use crate::error::Result;
use crate::math::rng::{Purpose, Stream};

/// First step of the evolution after draws over the whole box, as a share of it.
const WIDE: f64 = 0.25;
/// First step of a search about a place that is known to be good.
const NARROW: f64 = 0.08;
/// First step of the pattern search.
const FINE: f64 = 0.02;

/// Who watches a search from outside.
#[derive(Clone, Copy)]
pub struct Watch<'a> {
    /// True when it should end with what it has.
    pub stop: &'a (dyn Fn() -> bool + Sync),
    /// Told how many places were judged.
    pub step: &'a (dyn Fn(usize) + Sync),
}

impl Watch<'_> {
    /// Nobody.
    pub fn nobody() -> Watch<'static> {
        Watch {
            stop: &|| false,
            step: &|_| {},
        }
    }
}

/// What to search.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Name of the stage: scores of one stage may be compared with each other.
    pub stage: String,
    /// Seed.
    pub seed: u64,
    /// Number of the stream of draws under the seed.
    pub stream: u64,
    /// Places to judge at most.
    pub evaluations: usize,
    /// Values to begin with.
    pub start: Vec<f64>,
    /// Draw over the whole box first; else stay about the start.
    pub global: bool,
}

/// Values and what was said of them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Judged {
    /// Values in the order of the space.
    pub values: Vec<f64>,
    /// Their score.
    pub score: Score,
}

/// Why a search ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ended {
    /// All places were judged.
    Evaluations,
    /// Nothing better within the digits that files show.
    Converged,
    /// It was told to.
    Stopped,
}

/// What a search found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The best.
    pub best: Judged,
    /// The start.
    pub start: Judged,
    /// Places asked for.
    pub evaluations: usize,
    /// Why it ended.
    pub ended: Ended,
    /// Everything that was judged, in order.
    pub all: Vec<Judged>,
}

/// How scores are ranked: the score itself, or another made from it.
pub type View<'a> = &'a (dyn Fn(&Score) -> Score + Sync);

/// Searches; see the head of this file.
///
/// # Errors
/// When the journal cannot be written.
pub fn search(
    space: &Space,
    judge: &dyn Judge,
    plan: &Plan,
    journal: &mut Journal,
    watch: Watch<'_>,
) -> Result<Found> {
    search_as(space, judge, plan, &Score::clone, journal, watch)
}

/// [`search`] with scores ranked as `view` sees them.
///
/// # Errors
/// When the journal cannot be written.
pub fn search_as(
    space: &Space,
    judge: &dyn Judge,
    plan: &Plan,
    view: View<'_>,
    journal: &mut Journal,
    watch: Watch<'_>,
) -> Result<Found> {
    let mut b = Bench {
        space,
        judge,
        plan,
        view,
        journal,
        watch,
        places: Vec::new(),
        all: Vec::new(),
        rng: Stream::new(plan.seed, plan.stream, Purpose::Tuner),
    };
    let ended = b.whole()?;
    let best = b.best();
    Ok(Found {
        best: b.all[best].clone(),
        start: b.all[0].clone(),
        evaluations: b.all.len(),
        ended,
        all: b.all,
    })
}

struct Bench<'a> {
    space: &'a Space,
    judge: &'a dyn Judge,
    plan: &'a Plan,
    view: View<'a>,
    journal: &'a mut Journal,
    watch: Watch<'a>,
    /// Places of `all` in the unit cube.
    places: Vec<Vec<f64>>,
    all: Vec<Judged>,
    rng: Stream,
}

impl Bench<'_> {
    fn whole(&mut self) -> Result<Ended> {
        let n = self.space.len();
        self.judge(
            vec![self.space.place(&self.plan.start)],
            Some(&self.plan.start),
        )?;
        if n == 0 {
            return Ok(Ended::Converged);
        }
        let total = self.plan.evaluations;
        if self.plan.global {
            let draws = (10 * n).min(total / 4).max(1);
            let places = hypercube(draws, n, &mut self.rng);
            self.judge(places, None)?;
        }
        let polish = (total / 5).min(40 * n);
        let axes = self.evolve(total.saturating_sub(polish))?;
        if (self.watch.stop)() {
            return Ok(Ended::Stopped);
        }
        self.polish(axes, total)
    }

    /// Evolution, again and again, until `until` places were judged; principal directions of the run
    /// that found the best.
    fn evolve(&mut self, until: usize) -> Result<Vec<Vec<f64>>> {
        let n = self.space.len();
        let mut population = usual_population(n);
        let mut axes: Vec<Vec<f64>> = Vec::new();
        let mut begun: Vec<usize> = Vec::new();
        let draws = self.all.len();
        let (mut leader, mut centre) = (self.best(), self.best());
        let mut sigma = if self.plan.global { WIDE } else { NARROW };
        while self.all.len() + population <= until && !(self.watch.stop)() {
            begun.push(centre);
            let mut cma = Cma::new(&self.places[centre], sigma, population);
            self.one_run(&mut cma, until)?;
            let best = self.best();
            if axes.is_empty() || best != leader {
                axes = cma.directions();
                leader = best;
            }
            population *= 2;
            // anew from the best draw that is not where an earlier run began
            sigma = WIDE;
            let fresh = (0..draws).filter(|k| !begun.contains(k));
            if let Some(next) = fresh.min_by(|a, b| self.order(*a, *b)) {
                centre = next;
            } else {
                (centre, sigma) = (best, NARROW);
            }
        }
        Ok(axes)
    }

    /// One run of the evolution until it rests, sleeps or the budget ends.
    fn one_run(&mut self, cma: &mut Cma, until: usize) -> Result<()> {
        let n = self.space.len();
        let patience = 10 + 30 * n / cma.population;
        let (mut leader, mut since) = (None::<usize>, 0);
        while self.all.len() + cma.population <= until && !cma.is_done() && since < patience {
            if (self.watch.stop)() {
                break;
            }
            let places = cma.ask(&mut self.rng);
            let first = self.all.len();
            self.judge(places, None)?;
            let mut order: Vec<usize> = (0..cma.population).collect();
            order.sort_by(|a, b| self.order(first + a, first + b));
            cma.tell(&order);
            let best = first + order[0];
            if leader.is_none_or(|l| self.order(best, l) == Ordering::Less) {
                (leader, since) = (Some(best), 0);
            } else {
                since += 1;
            }
        }
        Ok(())
    }

    fn polish(&mut self, axes: Vec<Vec<f64>>, until: usize) -> Result<Ended> {
        let n = self.space.len();
        let axes = if axes.is_empty() {
            let unit = |k| (0..n).map(|i| f64::from(u8::from(i == k))).collect();
            (0..n).map(unit).collect()
        } else {
            axes
        };
        let mut best = self.best();
        let mut compass = Compass::new(&self.places[best], FINE, axes);
        while !compass.is_done() {
            let places = compass.ask();
            if self.all.len() + places.len() > until {
                return Ok(Ended::Evaluations);
            }
            if (self.watch.stop)() {
                return Ok(Ended::Stopped);
            }
            self.judge(places, None)?;
            let now = self.best();
            if now == best {
                compass.tell(None);
            } else {
                best = now;
                compass.tell(Some(&self.places[best].clone()));
            }
        }
        Ok(Ended::Converged)
    }

    /// Judges places on all threads, or takes them from the journal.
    fn judge(&mut self, places: Vec<Vec<f64>>, exact: Option<&[f64]>) -> Result<()> {
        let values: Vec<Vec<f64>> = match exact {
            Some(v) => vec![v.to_vec()],
            None => places.iter().map(|p| self.space.values(p)).collect(),
        };
        let stage = &self.plan.stage;
        let (journal, judge) = (&*self.journal, self.judge);
        let scores: Vec<(Score, bool)> = values
            .par_iter()
            .map(|v| match journal.get(stage, v) {
                Some(known) => (known.clone(), false),
                None => (judge.judge(v), true),
            })
            .collect();
        let fresh = values.iter().zip(&scores).filter(|(_, s)| s.1);
        self.journal
            .put(stage, fresh.map(|(v, s)| (v.as_slice(), &s.0)))?;
        (self.watch.step)(values.len());
        let both = values.into_iter().zip(scores);
        self.all
            .extend(both.map(|(values, (score, _))| Judged { values, score }));
        self.places.extend(places);
        Ok(())
    }

    fn order(&self, a: usize, b: usize) -> Ordering {
        let seen = |k: usize| (self.view)(&self.all[k].score);
        seen(a).rank(&seen(b)).then(a.cmp(&b))
    }

    fn best(&self) -> usize {
        let all = 0..self.all.len();
        all.min_by(|a, b| self.order(*a, *b)).unwrap_or(0)
    }
}
