//! A store told: every law at every place over its draws, and beside the baseline on the same draws.
//!
//! # Equation
//! ```text
//! mean          over the draws whose run completed, interval as in [`super::means`]
//! quantiles     by ranks, no distribution assumed
//! difference    mean of (law - baseline) over the draws that both completed
//! change        100 (exp(mean ln(law/baseline)) - 1) %, over the same draws, where all are positive
//! ended         share of runs that did not complete (Clopper-Pearson)
//! ```
//!
//! # Symbols
//! n draws, s standard deviation over them, t Student's quantile at the level told.
//!
//! # Valid when
//! Draws are independent but for the hypercube, which narrows. A mean is over draws of the record's own
//! number: the mean of RMS values, the mean of largest values. Runs that ended early have no part in means
//! and differences, which then lean to the mild draws; how many ended stands beside every number.
//!
//! # Source
//! [`crate::math::stats::sample`], [`crate::math::stats::order`]; pairs: Law & Kelton, Simulation Modeling and
//! Analysis, ch. 11.
//!
//! # Checked by
//! `numbers_by_hand`, `pairs_need_both_runs`

use std::collections::BTreeMap;

use serde::Serialize;

use super::extremes::{Bootstraps, Extreme, columns_beside};
use super::head::Head;
use super::means::mean_of;
use super::row::Ending;
use super::stop;
use super::store::Book;
use crate::error::Result;
use crate::math::stats::{Interval, order, sample};
use crate::metrics::compare::paired_change_percent;
use crate::spec::scenario::Integrator;

/// Points of an exceedance curve at most.
const CURVE_POINTS: usize = 100;

/// A law beside the baseline.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// Draws that both completed.
    pub pairs: usize,
    /// Law less baseline, in the column's unit.
    pub mean: Interval,
    /// The same in per cent of the baseline; none where a number is not positive.
    pub change_percent: Option<Interval>,
    /// Share of pairs in which the law has less.
    pub less_frac: Interval,
}

/// Limits of a change that lie farther apart than this factor tell nothing.
const MOST_FACTOR: f64 = 100.0;

impl Difference {
    /// The change in per cent where draws are enough to tell it.
    pub fn change_told(&self) -> Option<Interval> {
        let factor = |percent: f64| 1.0 + 0.01 * percent;
        self.change_percent.filter(|c| {
            let (low, high) = (factor(c.low), factor(c.high));
            low > 0.0 && high.is_finite() && high / low <= MOST_FACTOR
        })
    }
}

/// One number of a law at a place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Number {
    /// Column of the rows.
    pub column: String,
    /// Draws in it.
    pub draws: usize,
    /// Mean over draws; none without any.
    pub mean: Option<Interval>,
    /// Median over draws; an end without a number is unbounded.
    pub median: Option<Interval>,
    /// Value that one draw in ten exceeds.
    pub exceeded_by_tenth: Option<Interval>,
    /// Largest of all draws.
    pub largest: Option<f64>,
    /// Beside the baseline; none for the baseline itself.
    pub difference: Option<Difference>,
    /// Share of draws above a value: value, share, low and high for all values together.
    pub exceedance: Vec<[f64; 4]>,
}

/// How many runs ended in one way.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ended {
    /// The way.
    pub outcome: Ending,
    /// Runs.
    pub runs: usize,
    /// The first of them.
    pub first_case: usize,
    /// What it said.
    pub said: String,
}

/// A law at a place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LawNumbers {
    /// Law.
    pub law: String,
    /// Draws.
    pub draws: usize,
    /// Runs that completed.
    pub completed: usize,
    /// Share that did not.
    pub ended_frac: Interval,
    /// How they ended.
    pub ended: Vec<Ended>,
    /// Runs that left the range in which the model holds.
    pub outside_validity: usize,
    /// Numbers.
    pub numbers: Vec<Number>,
    /// Largest values, of the columns of them among the numbers.
    pub extremes: Vec<Extreme>,
}

/// One craft and loading, speed, heading and sea.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Place {
    /// Craft.
    pub craft: String,
    /// Loading.
    pub loading: String,
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Sea.
    pub sea: String,
    /// What breaks.
    pub fault: String,
    /// The same in words.
    pub words: String,
    /// Laws, the baseline first.
    pub laws: Vec<LawNumbers>,
}

/// A campaign told.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Summary {
    /// Its name.
    pub campaign: String,
    /// Its seed.
    pub seed: u64,
    /// What the runs were asked to go by.
    pub integrator: Integrator,
    /// Rows.
    pub cases: usize,
    /// Rows of runs that completed.
    pub completed: usize,
    /// Level of every interval, share; sharper than 0.95 where the stopping rule takes looks.
    pub level_frac: f64,
    /// Columns told of.
    pub columns: Vec<String>,
    /// Places.
    pub places: Vec<Place>,
    /// Kinds of warning: words of the first and how many rows have it.
    pub warnings: Vec<(String, usize)>,
    /// The general caution.
    pub caution: &'static str,
}

/// What is gathered of one law at one place: a number per draw and column, NaN for none.
#[derive(Clone, Debug, Default)]
struct Gathered {
    draws: usize,
    completed: usize,
    outside: usize,
    ended: BTreeMap<Ending, Ended>,
    columns: Vec<Vec<f64>>,
}

/// Tells a store. Memory: eight bytes per case and column told of.
///
/// # Errors
/// When the store cannot be read.
pub fn summarise(book: &mut Book) -> Result<Summary> {
    let head = book.head.clone();
    let beside = columns_beside(&head.report, &head.columns);
    let names: Vec<&String> = head.report.iter().chain(&beside).collect();
    let columns: Vec<usize> = names
        .iter()
        .filter_map(|r| head.columns.iter().position(|c| c == *r))
        .collect();
    let mut cells = vec![Gathered::default(); head.grid.cells()];
    let (mut cases, mut completed) = (0, 0);
    let mut warnings: Vec<(String, usize)> = Vec::new();
    book.each(|row| {
        let Some(spot) = head.grid.spot(row.case) else {
            return Ok(());
        };
        cases += 1;
        completed += usize::from(row.outcome == Ending::Completed);
        for w in &row.warnings {
            match warnings.iter_mut().find(|k| kind(&k.0) == kind(w)) {
                Some(k) => k.1 += 1,
                None => warnings.push((w.clone(), 1)),
            }
        }
        let cell = &mut cells[spot.place * head.grid.laws.len() + spot.law];
        cell.take(row, &columns);
        Ok(())
    })?;
    let level = stop::level(&head.grid.draws);
    let mut bootstraps = Bootstraps::default();
    Ok(Summary {
        campaign: head.campaign.clone(),
        seed: head.seed,
        integrator: head.integrator,
        cases,
        completed,
        level_frac: level,
        columns: head.report.clone(),
        places: (0..head.grid.places())
            .map(|p| {
                let mut place = place(&head, p, &cells, level);
                let here = &cells[p * head.grid.laws.len()..];
                for (law, g) in place.laws.iter_mut().zip(here) {
                    law.extremes = extremes(&mut bootstraps, &head.report, &names, g, level);
                }
                place
            })
            .collect(),
        warnings,
        caution: crate::caution::CAUTION,
    })
}

/// Largest values of a law at a place.
fn extremes(
    bootstraps: &mut Bootstraps,
    report: &[String],
    names: &[&String],
    g: &Gathered,
    level: f64,
) -> Vec<Extreme> {
    let numbers = |name: &str| {
        let k = names.iter().position(|n| *n == name)?;
        let all = g.columns.get(k)?.iter().copied();
        Some(all.filter(|v| v.is_finite()).collect::<Vec<f64>>())
    };
    let of = |column: &String| {
        let found = numbers(column)?;
        bootstraps.extreme(column, &found, &numbers, level)
    };
    report.iter().filter_map(of).collect()
}

/// Warnings of one kind differ in their numbers only.
fn kind(text: &str) -> String {
    let words = text.chars().filter(|c| !c.is_ascii_digit() && *c != '.');
    words.take(24).collect()
}

impl Gathered {
    fn take(&mut self, row: &super::row::Row, columns: &[usize]) {
        self.draws += 1;
        self.columns.resize(columns.len(), Vec::new());
        if row.outcome == Ending::Completed {
            self.completed += 1;
            self.outside += usize::from(!row.in_validity);
        } else {
            let e = self.ended.entry(row.outcome).or_insert_with(|| Ended {
                outcome: row.outcome,
                runs: 0,
                first_case: row.case,
                said: row.said.clone().unwrap_or_default(),
            });
            e.runs += 1;
        }
        // rows come in order of draws, so the same place in each list is the same draw
        for (list, column) in self.columns.iter_mut().zip(columns) {
            list.push(row.completed_number(*column).unwrap_or(f64::NAN));
        }
    }
}

fn place(head: &Head, place: usize, cells: &[Gathered], level: f64) -> Place {
    let grid = &head.grid;
    let laws = grid.laws.len();
    let here = &cells[place * laws..(place + 1) * laws];
    let spot = grid.spot(grid.case(0, place, 0));
    let (vessel, speed, heading, sea, fault) = spot.map_or((0, 0, 0, 0, 0), |s| {
        (s.vessel, s.speed, s.heading, s.sea, s.fault)
    });
    let one = |(law, g): (usize, &Gathered)| LawNumbers {
        law: grid.laws[law].clone(),
        draws: g.draws,
        completed: g.completed,
        ended_frac: sample::clopper_pearson((g.draws - g.completed) as u64, g.draws as u64, level),
        ended: g.ended.values().cloned().collect(),
        outside_validity: g.outside,
        numbers: head
            .report
            .iter()
            .enumerate()
            .filter_map(|(k, column)| {
                let own = g.columns.get(k)?;
                let base = here[0].columns.get(k).filter(|_| law > 0);
                let base = base.map(Vec::as_slice);
                Some(number(column, own, base, head.record_s, level))
            })
            .collect(),
        extremes: Vec::new(),
    };
    Place {
        craft: grid.vessels[vessel].craft.clone(),
        loading: grid.vessels[vessel].loading.clone(),
        speed_kn: grid.speeds_kn[speed],
        heading_deg: grid.headings_deg[heading],
        sea: grid.seas[sea].clone(),
        fault: grid.faults[fault].clone(),
        words: grid.place_words(place),
        laws: here.iter().enumerate().map(one).collect(),
    }
}

fn number(column: &str, own: &[f64], base: Option<&[f64]>, record_s: f64, level: f64) -> Number {
    let x: Vec<f64> = own.iter().copied().filter(|v| v.is_finite()).collect();
    let some = |i: Interval| (!x.is_empty()).then_some(i);
    let mut exceedance = order::exceedance(&x, level);
    if exceedance.len() > CURVE_POINTS {
        let (n, last) = (exceedance.len(), CURVE_POINTS - 1);
        exceedance = (0..=last).map(|k| exceedance[k * (n - 1) / last]).collect();
    }
    Number {
        column: column.to_owned(),
        draws: x.len(),
        mean: some(mean_of(column, &x, record_s, level)),
        median: some(order::quantile_interval(&x, 0.5, level)),
        exceeded_by_tenth: some(order::quantile_interval(&x, 0.9, level)),
        largest: x.iter().copied().max_by(f64::total_cmp),
        difference: base.and_then(|b| difference(own, b, level)),
        exceedance,
    }
}

/// A baseline that is zero but for rounding (fins held) has no percentage.
fn is_something(base: &[f64], own: &[f64]) -> bool {
    const ROUNDING: f64 = 1e-9;
    let size = |x: &[f64]| x.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    size(base) > ROUNDING * size(own)
}

/// A law beside the baseline, draw by draw.
fn difference(own: &[f64], base: &[f64], level: f64) -> Option<Difference> {
    let pairs = own.iter().zip(base);
    let (x, b): (Vec<f64>, Vec<f64>) = pairs
        .filter(|(x, b)| x.is_finite() && b.is_finite())
        .map(|(x, b)| (*x, *b))
        .unzip();
    let less = x.iter().zip(&b).filter(|(x, b)| x < b).count();
    Some(Difference {
        pairs: x.len(),
        mean: sample::paired_difference(&x, &b, level)?,
        change_percent: is_something(&b, &x)
            .then(|| paired_change_percent(&b, &x, level))
            .flatten(),
        less_frac: sample::clopper_pearson(less as u64, x.len() as u64, level),
    })
}

#[cfg(test)]
mod tests {
    use super::super::head::tests::head;
    use super::super::row::Row;
    use super::super::store::Store;
    use super::*;

    #[test]
    fn numbers_by_hand() {
        let dir = tempfile::tempdir().unwrap();
        let mut s = Store::open(dir.path(), head(3), None).unwrap();
        for case in 0..72 {
            let spot = s.head.grid.spot(case).unwrap();
            let base = 1.0 + spot.draw as f64; // 1, 2, 3
            let ended = spot.place == 2 && spot.draw == 1 && spot.law == 1;
            s.put(&Row {
                case,
                outcome: if ended {
                    Ending::Diverged
                } else {
                    Ending::Completed
                },
                said: ended.then(|| "gone".to_owned()),
                ended_s: None,
                in_validity: true,
                warnings: vec!["record of 12.5 s".into()],
                drawn: vec![],
                numbers: vec![Some(if spot.law == 0 { base } else { 0.8 * base }), None],
            })
            .unwrap();
        }
        let path = s.settle().unwrap();
        let told = summarise(&mut Book::open(&path).unwrap()).unwrap();
        assert_eq!(
            (told.cases, told.completed, told.places.len()),
            (72, 71, 12)
        );
        assert_eq!(told.warnings, [("record of 12.5 s".to_owned(), 72)]);
        let n = &told.places[0].laws[1].numbers[0];
        let mean = n.mean.unwrap();
        // 0.8, 1.6, 2.4: mean 1.6, sd 0.8, t_2 = 4.3027 at 95 %
        assert!((mean.value - 1.6).abs() < 1e-12);
        let factor = (4.302_652_7 * 0.8 / (1.6 * 3f64.sqrt())).exp();
        assert!((mean.high / 1.6 - factor).abs() < 1e-5 && mean.low > 0.0);
        let d = n.difference.as_ref().unwrap();
        assert!((d.mean.value + 0.4).abs() < 1e-12 && d.pairs == 3);
        let change = d.change_percent.unwrap();
        assert!((change.value + 20.0).abs() < 1e-9 && (change.high - change.low).abs() < 1e-9);
        assert!((d.less_frac.value - 1.0).abs() < 1e-12);
        assert!((n.largest.unwrap() - 2.4).abs() < 1e-12);
        assert!(told.places[0].laws[0].numbers[0].difference.is_none());
        assert_eq!(n.exceedance.len(), 3);
    }

    #[test]
    fn pairs_need_both_runs() {
        let d = difference(&[1.0, f64::NAN, 3.0], &[2.0, 2.0, f64::NAN], 0.95).unwrap();
        assert_eq!(d.pairs, 1);
        assert!((d.mean.value + 1.0).abs() < 1e-12 && d.mean.high.is_infinite());
        assert!(difference(&[f64::NAN], &[1.0], 0.95).is_none());
        assert!(d.change_told().is_none(), "one pair has no limits");
        let few = difference(&[1e-9, 3.0], &[2.0, 2.0], 0.95).unwrap();
        assert!(few.change_percent.is_some() && few.change_told().is_none());
        let told = difference(&[1.0, 1.1, 0.9], &[2.0, 2.1, 1.9], 0.95).unwrap();
        assert!(told.change_told().unwrap().high < 0.0);
        let zero = difference(&[0.0, 1.0], &[1.0, 1.0], 0.95).unwrap();
        assert!(zero.change_percent.is_none(), "no logarithm of zero");
        let held = difference(&[3.0, 4.0], &[1e-12, 2e-12], 0.95).unwrap();
        assert!(held.change_percent.is_none(), "a baseline of rounding");
    }
}
