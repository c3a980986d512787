//! Shards put together: the same bytes as one run.
//!
//! # Checked by
//! `shards_give_the_same_bytes`, `a_missing_or_double_shard_is_named`, `mixed_shards_are_refused`

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::execute::finished;
use super::grid::Shard;
use super::head::Head;
use super::store::{Book, file_name, write_ordered};
use crate::error::{Error, Problem, Result};

/// Puts the shards at `paths` together into `folder`; gives the file written.
///
/// # Errors
/// Shards that do not belong together, that are missing, there twice, or not finished; each by name.
pub fn merge(paths: &[PathBuf], folder: &Path) -> Result<PathBuf> {
    let mut books = paths
        .iter()
        .map(|p| Book::open(p))
        .collect::<Result<Vec<_>>>()?;
    let Some(first) = books.first() else {
        return Err(Error::with_hint(
            "there is no store to put together",
            "name the folders that `ridewright campaign --shard k/n --out DIR` wrote",
        ));
    };
    let head = Head {
        shard: Shard::WHOLE,
        ..first.head.clone()
    };
    for b in &books[1..] {
        head.must_agree(&b.head).map_err(|e| e.in_file(b.path()))?;
    }
    all_there(&books)?;
    complete(&mut books, &head)?;
    let path = folder.join(file_name(Shard::WHOLE));
    let mut refs: Vec<&mut Book> = books.iter_mut().collect();
    write_ordered(&head, &mut refs, &path)?;
    Ok(path)
}

/// Every shard once, of the same number of parts.
fn all_there(books: &[Book]) -> Result<()> {
    let of = books[0].head.shard.of;
    let mut problems = Vec::new();
    let mut seen: BTreeMap<usize, &Path> = BTreeMap::new();
    for b in books {
        let s = b.head.shard;
        if s.of != of {
            let told = format!(
                "is shard {s}, but {} is one of {of} parts",
                books[0].path().display()
            );
            let mut p = Problem::at("", told).hint("put parts of one division together");
            p.place.file = Some(b.path().to_owned());
            problems.push(p);
        } else if let Some(other) = seen.insert(s.number, b.path()) {
            let told = format!("shard {s} is there twice, also as {}", other.display());
            let mut p = Problem::at("", told).hint("name each shard once");
            p.place.file = Some(b.path().to_owned());
            problems.push(p);
        }
    }
    let missing = (1..=of).filter(|k| !seen.contains_key(k));
    for number in missing {
        let shard = Shard { number, of };
        problems.push(
            Problem::at("", format!("shard {shard} is missing")).hint(format!(
                "run it: ridewright campaign FILE --shard {shard} --out DIR"
            )),
        );
    }
    if problems.is_empty() {
        Ok(())
    } else {
        Err(Error::from(problems))
    }
}

/// Every case that the campaign asks for is there once.
fn complete(books: &mut [Book], head: &Head) -> Result<()> {
    let grid = &head.grid;
    let mut watched = vec![f64::NAN; grid.cases()];
    for b in books.iter_mut() {
        let own = b.watched()?;
        for (all, own) in watched.iter_mut().zip(own).filter(|(_, o)| !o.is_nan()) {
            *all = own;
        }
    }
    let wanted = finished(grid, &|c| watched[c]);
    let mut problems = Vec::new();
    for b in books.iter() {
        let shard = b.head.shard;
        let mine = wanted
            .iter()
            .filter(|c| grid.spot(**c).is_some_and(|s| shard.has(grid, &s)));
        let there: std::collections::HashSet<usize> = b.cases().collect();
        let (total, lacking) = mine.fold((0, 0), |(t, l), c| {
            (t + 1, l + usize::from(!there.contains(c)))
        });
        if lacking > 0 {
            let told = format!(
                "shard {shard} is not finished: {} of {total} cases",
                total - lacking
            );
            let mut p = Problem::at("", told).hint("run it again: it goes on where it stopped");
            p.place.file = Some(b.path().to_owned());
            problems.push(p);
        }
        let foreign = |c: &usize| !grid.spot(*c).is_some_and(|s| shard.has(grid, &s));
        if let Some(c) = b.cases().find(foreign) {
            let mut p = Problem::at(
                "",
                format!("shard {shard} has case {c}, which is not its own"),
            );
            p.place.file = Some(b.path().to_owned());
            problems.push(p.hint("run the shard again in an empty folder"));
        }
    }
    if problems.is_empty() {
        Ok(())
    } else {
        Err(Error::from(problems))
    }
}
