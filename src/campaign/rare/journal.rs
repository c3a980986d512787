//! Responses that are there already: one line a run, safe against a kill at any instant.
//!
//! Lines of [`crate::campaign::lines`], the head first. The same file, program and instruction set give the same
//! runs, so a response is known by its place in the method; others are refused by name.
//!
//! # Checked by
//! `a_journal_is_read_back_and_refuses_others`, and the kill of tests/rare.rs

use std::collections::HashMap;
use std::fs::File;
use std::io::{BufReader, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use serde::{Deserialize, Serialize};

use super::subset::Spot;
use crate::campaign::batch::head::{Input, Target, disagreements};
use crate::campaign::lines::{
    SYNC_EVERY, Sink, io_at, line_of, must_be_begun, open_locked, read_as, scan,
};
use crate::error::{Error, Problem, Result};

/// Name and version of the journal's own format.
const FORMAT: &str = "ridewright.rare_journal/1";

/// The first line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Head {
    format: String,
    inputs: Vec<Input>,
    target: Target,
}

impl Head {
    /// Of these files and this program.
    pub fn new(inputs: Vec<Input>, target: Target) -> Self {
        Head {
            format: FORMAT.to_owned(),
            inputs,
            target,
        }
    }
}

/// Which run: of the search for an event, or, without one, a plain run whose number is the chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Place {
    event: Option<usize>,
    repetition: usize,
    level: usize,
    chain: usize,
    step: usize,
}

impl Place {
    /// A run of the search for event number `event`.
    pub fn searched(event: usize, spot: Spot) -> Self {
        Place {
            event: Some(event),
            repetition: spot.repetition,
            level: spot.level,
            chain: spot.chain,
            step: spot.step,
        }
    }

    /// Plain run number `run`.
    pub fn plain(run: usize) -> Self {
        Place {
            event: None,
            repetition: 0,
            level: 0,
            chain: run,
            step: 0,
        }
    }
}

/// A run: its place and its responses; none for one that left the model's range.
#[derive(Serialize, Deserialize)]
struct Line {
    at: Place,
    responses: Vec<Option<f64>>,
}

/// Responses that are there and a file for those to come.
pub struct Journal {
    known: HashMap<Place, Vec<f64>>,
    path: PathBuf,
    out: Mutex<Out>,
}

struct Out {
    file: File,
    lines: usize,
    failed: bool,
}

/// Name of the journal's file.
pub const FILE: &str = "rare.jsonl";

impl Journal {
    /// Opens the journal of `head` in `folder`, or begins it.
    ///
    /// # Errors
    /// A file that cannot be read or written, that another run is writing, that is damaged, or that was
    /// written from other inputs or by another program.
    pub fn open(folder: &Path, head: &Head) -> Result<Self> {
        let path = folder.join(FILE);
        let mut file = open_locked(&path)?;
        let mut known = HashMap::new();
        let mut found_head = false;
        let good = scan(BufReader::new(&file), &path, |at, json| {
            if at == 0 {
                found_head = true;
                return must_agree(json, head);
            }
            let line: Line = read_as(json, "a line")?;
            let responses = line.responses.into_iter();
            let responses = responses.map(|r| r.unwrap_or(f64::INFINITY)).collect();
            known.insert(line.at, responses);
            Ok(())
        })?;
        let first = line_of(head)?;
        if !found_head {
            must_be_begun(&file, &first, &path)?;
        }
        file.set_len(good)
            .and_then(|()| file.seek(SeekFrom::End(0)).map(|_| ()))
            .map_err(io_at("write this journal", &path))?;
        let journal = Journal {
            known,
            path,
            out: Mutex::new(Out {
                file,
                lines: 0,
                failed: false,
            }),
        };
        if !found_head {
            journal.append(&first)?;
        }
        Ok(journal)
    }

    /// Its file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Runs that an earlier start left.
    pub fn read_back(&self) -> usize {
        self.known.len()
    }

    /// The responses of the run at a place: those that are there, else those of `find`, which are kept before
    /// they are given.
    ///
    /// # Errors
    /// Of `find`; when the line cannot be written, and nothing more is written then.
    pub fn responses(
        &self,
        at: Place,
        find: impl FnOnce() -> Result<Vec<f64>>,
    ) -> Result<Vec<f64>> {
        if let Some(known) = self.known.get(&at) {
            return Ok(known.clone());
        }
        let responses = find()?;
        let told = responses.iter().map(|r| r.is_finite().then_some(*r));
        let line = Line {
            at,
            responses: told.collect(),
        };
        self.append(&line_of(&line)?)?;
        Ok(responses)
    }

    fn append(&self, line: &[u8]) -> Result<()> {
        let lost = || Error::new("a thread failed while it wrote the journal");
        let mut out = self.out.lock().map_err(|_| lost())?;
        let stop =
            "no space or no right to write? what is finished is kept: the same command goes on";
        if out.failed {
            let p = Problem::at("", "is not written on after a write that failed");
            return Err(Error::from(p.hint(stop)).in_file(&self.path));
        }
        let mut written = out.file.append(line);
        out.lines += 1;
        if written.is_ok() && out.lines.is_multiple_of(SYNC_EVERY) {
            written = out.file.sync();
        }
        written.map_err(|e| {
            out.failed = true;
            let mut e = Error::io("write this journal", &self.path, &e);
            e.problems[0].hint = Some(stop.to_owned());
            e
        })
    }
}

fn must_agree(json: &[u8], new: &Head) -> Result<()> {
    let value: serde_json::Value = read_as(json, "a first line")?;
    if value.get("format").and_then(|f| f.as_str()) != Some(FORMAT) {
        let p = Problem::at("", format!("is no journal of the format {FORMAT}"));
        return Err(p.hint("give another folder with --out").into());
    }
    let old: Head = read_as(json, "a first line")?;
    let problems = disagreements((&old.inputs, &old.target), (&new.inputs, &new.target));
    if problems.is_empty() {
        Ok(())
    } else {
        Err(problems.into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_journal_is_read_back_and_refuses_others() {
        let dir = tempfile::tempdir().unwrap();
        let input = |hash: &str| Input {
            file: "rare.json".into(),
            hash: hash.into(),
        };
        let head = Head::new(vec![input("a")], Target::here("b", "p"));
        let at = Place::plain(3);
        let values = vec![1.0 / 3.0, f64::INFINITY];
        let first = Journal::open(dir.path(), &head).unwrap();
        assert_eq!(first.responses(at, || Ok(values.clone())).unwrap(), values);
        assert!(Journal::open(dir.path(), &head).is_err(), "locked");
        drop(first);
        // the torn line of a kill
        let path = dir.path().join(FILE);
        let mut text = std::fs::read(&path).unwrap();
        text.extend(b"0badc0de {\"at\"");
        std::fs::write(&path, text).unwrap();
        let second = Journal::open(dir.path(), &head).unwrap();
        assert_eq!(second.read_back(), 1);
        let again = second
            .responses(at, || Err(Error::new("not asked")))
            .unwrap();
        assert_eq!(again, values);
        let spot = Spot {
            repetition: 0,
            level: 0,
            chain: 3,
            step: 0,
        };
        assert!(
            second
                .responses(Place::searched(0, spot), || Err(Error::new("asked")))
                .is_err()
        );
        drop(second);
        let other = Head::new(vec![input("c")], Target::here("b", "p"));
        let told = Journal::open(dir.path(), &other).err().unwrap().to_string();
        assert!(told.contains("rare.json has changed"), "{told}");
    }
}
