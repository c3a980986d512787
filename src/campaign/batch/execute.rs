//! Runs what is not yet in the store, on all cores.
//!
//! A block of draws at a time: within a block cases run in any order on any thread, and rows are dropped
//! once they are stored; between blocks the stopping rule looks at the rows in the order of draws. A row
//! that cannot be written stops all.
//!
//! # Checked by
//! tests/campaign.rs: threads, stops and shards give the same bytes

use std::sync::Mutex;

use rayon::prelude::*;

use super::grid::{Grid, Spot};
use super::rig::Rig;
use super::row::{Ending, Row};
use super::stop::Rule;
use super::store::Store;
use crate::error::{Error, Result};

/// What a run through tells while it goes on.
pub trait Watcher: Sync {
    /// So many cases are wanted at least, so many of them are there.
    fn begin(&self, wanted: usize, there: usize);

    /// A case is done.
    fn done(&self, ending: Ending);
}

/// Nobody watches.
impl Watcher for () {
    fn begin(&self, _: usize, _: usize) {}

    fn done(&self, _: Ending) {}
}

/// What makes rows: a rig, or what a test puts in its place.
pub trait Maker: Sync {
    /// The row of a case.
    fn row(&self, spot: &Spot) -> Row;
}

impl Maker for Rig {
    fn row(&self, spot: &Spot) -> Row {
        Rig::row(self, spot)
    }
}

/// Runs everything that lacks; the store comes back complete.
///
/// # Errors
/// When a row cannot be stored.
pub fn execute(maker: &dyn Maker, store: Store, watcher: &dyn Watcher) -> Result<Store> {
    let grid = store.head.grid.clone();
    let store = Mutex::new(store);
    for block in grid.blocks() {
        let (wanted, lacking) = {
            let s = lock(&store)?;
            let wanted = wanted_of(&grid, &s, block);
            let lacking: Vec<usize> = wanted.iter().copied().filter(|c| !s.has(*c)).collect();
            (wanted.len(), lacking)
        };
        watcher.begin(wanted, wanted - lacking.len());
        // one by one in turn, so that a stop leaves few gaps and late cases do not wait for one thread
        lacking
            .par_iter()
            .with_max_len(1)
            .try_for_each(|&case| -> Result<()> {
                let Some(spot) = grid.spot(case) else {
                    return Ok(());
                };
                let row = maker.row(&spot);
                lock(&store)?.put(&row)?;
                watcher.done(row.outcome);
                Ok(())
            })?;
    }
    let mut store = store
        .into_inner()
        .map_err(|_| Error::new("a thread failed while it wrote the store"))?;
    store.sync()?;
    Ok(store)
}

fn lock(store: &Mutex<Store>) -> Result<std::sync::MutexGuard<'_, Store>> {
    store
        .lock()
        .map_err(|_| Error::new("a thread failed while it wrote the store"))
}

/// Cases of a block that the store's shard has and the stopping rule still asks for.
fn wanted_of(grid: &Grid, store: &Store, block: std::ops::Range<usize>) -> Vec<usize> {
    let open: Vec<bool> = (0..grid.places())
        .map(|place| is_open(grid, place, block.start, &|c| store.watched(c)))
        .collect();
    let mut out = Vec::new();
    for draw in block {
        for place in (0..grid.places()).filter(|p| open[*p]) {
            for law in 0..grid.laws.len() {
                let case = grid.case(draw, place, law);
                if grid
                    .spot(case)
                    .is_some_and(|s| store.head.shard.has(grid, &s))
                {
                    out.push(case);
                }
            }
        }
    }
    out
}

/// Whether a place goes on behind its first `drawn` draws.
pub fn is_open(grid: &Grid, place: usize, drawn: usize, number: &dyn Fn(usize) -> f64) -> bool {
    let Some(rule) = Rule::of(&grid.draws) else {
        return true;
    };
    let looks: Vec<usize> = grid.blocks().iter().map(|b| b.end).collect();
    // done at any earlier look is done
    looks.iter().take_while(|n| **n <= drawn).all(|n| {
        (0..grid.laws.len()).any(|law| {
            let x: Vec<f64> = (0..*n).map(|d| number(grid.case(d, place, law))).collect();
            !rule.is_met(&x)
        })
    })
}

/// Cases that a finished store of this grid has, whatever shard wrote which.
pub fn finished(grid: &Grid, number: &dyn Fn(usize) -> f64) -> Vec<usize> {
    let mut out = Vec::new();
    for block in grid.blocks() {
        let open: Vec<bool> = (0..grid.places())
            .map(|place| is_open(grid, place, block.start, number))
            .collect();
        for draw in block {
            for place in (0..grid.places()).filter(|p| open[*p]) {
                out.extend((0..grid.laws.len()).map(|law| grid.case(draw, place, law)));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests;
