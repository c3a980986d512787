//! Rows that are finished, kept while a matrix runs, so that a stop loses none of them.
//!
//! Lines of [`crate::campaign::lines`]; the first says what the rows were made from, and rows of other inputs or of
//! another program are refused. What is kept of a row is what was run and searched; intervals, severity and order are
//! made of it anew. The sound craft's rows are run again: what settles is judged against them.
//!
//! # Checked by
//! `rows_do_not_depend_on_threads_or_stops` (tests/failures.rs), `a_cut_line_is_dropped`, `rows_of_other_inputs_are_refused`

use std::collections::HashMap;
use std::fs::File;
use std::io::{BufReader, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use serde::{Deserialize, Serialize};

use super::Found;
use super::looks::Looks;
use crate::campaign::batch::head::{Input, Target, disagreements};
use crate::campaign::lines::{io_at, line_of, must_be_begun, open_locked, read_as, scan};
use crate::error::{Error, Problem, Result};

/// Name of the file while a matrix runs.
pub const FILE: &str = "failures.part.jsonl";
/// Name and version of its format.
const FORMAT: &str = "ridewright.failures_part/2";

/// What rows were made from: every file by contents, the seeds, the program.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Head {
    format: String,
    inputs: Vec<Input>,
    target: Target,
    looks: Looks,
}

impl Head {
    /// Of these files, this program and these seeds.
    pub fn new(inputs: Vec<Input>, target: Target, looks: Looks) -> Self {
        Head {
            format: FORMAT.to_owned(),
            inputs,
            target,
            looks,
        }
    }
}

/// Rows under another head are refused, each reason by name.
fn must_agree(json: &[u8], new: &Head) -> Result<()> {
    let old: Head = read_as(json, "a head")?;
    let (a, b) = (
        (&old.inputs[..], &old.target),
        (&new.inputs[..], &new.target),
    );
    let mut problems = disagreements(a, b);
    if problems.is_empty() && old.looks != new.looks {
        let told = format!(
            "was written for looks after {}, not {}",
            old.looks.words(),
            new.looks.words()
        );
        let hint = "give --seeds as before, or another folder with --out";
        problems.push(Problem::at("", told).hint(hint));
    }
    if problems.is_empty() {
        Ok(())
    } else {
        Err(Error::from(problems))
    }
}

#[derive(Serialize, Deserialize)]
struct Line {
    row: String,
    found: Found,
}

/// The rows of a matrix that is under way.
pub struct Journal {
    path: PathBuf,
    file: Mutex<File>,
    rows: HashMap<String, Found>,
}

impl Journal {
    /// Opens the rows of an earlier run in `folder`, or begins anew.
    ///
    /// # Errors
    /// A file that cannot be read or written, that another run is writing, or that holds rows of other inputs.
    pub fn open(folder: &Path, head: &Head) -> Result<Self> {
        let path = folder.join(FILE);
        let mut file = open_locked(&path)?;
        let (mut rows, mut is_begun) = (HashMap::new(), false);
        let good = scan(BufReader::new(&file), &path, |_, json| {
            if is_begun {
                let line: Line = read_as(json, "a row")?;
                rows.insert(line.row, line.found);
            } else {
                must_agree(json, head)?;
                is_begun = true;
            }
            Ok(())
        })?;
        let first = line_of(head)?;
        if !is_begun {
            must_be_begun(&file, &first, &path)?;
        }
        file.set_len(good)
            .and_then(|()| file.seek(SeekFrom::End(0)))
            .and_then(|_| file.write_all(if is_begun { &[] } else { &first }))
            .map_err(io_at("write these rows", &path))?;
        Ok(Journal {
            file: Mutex::new(file),
            path,
            rows,
        })
    }

    /// Rows that an earlier run left.
    pub fn read_back(&self) -> usize {
        self.rows.len()
    }

    /// What an earlier run found for a row.
    pub(super) fn found(&self, row: &str) -> Option<&Found> {
        self.rows.get(row)
    }

    /// Keeps a row.
    pub(super) fn put(&self, row: &str, found: &Found) -> Result<()> {
        let line = line_of(&Line {
            row: row.to_owned(),
            found: found.clone(),
        })?;
        let mut file = self
            .file
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        file.write_all(&line).map_err(|e| {
            let mut e = Error::io("write these rows", &self.path, &e);
            let hint =
                "no space or no right to write? what is finished is kept: the same command goes on";
            e.problems[0].hint = Some(hint.to_owned());
            e
        })
    }

    /// Takes the file away: the matrix is written as a whole.
    ///
    /// # Errors
    /// When it cannot.
    pub fn finish(self) -> Result<()> {
        std::fs::remove_file(&self.path).map_err(|e| Error::io("remove", &self.path, &e))
    }
}

#[cfg(test)]
mod tests {
    use super::super::descent::ComeDown;
    use super::*;

    fn found() -> Found {
        Found {
            linear: None,
            linear_leaves_out: vec!["backlash".to_owned()],
            come_down: ComeDown {
                speed_kn: Some(0.1 + 0.2),
                fails: None,
                fails_above: None,
                linear_only: None,
            },
            slowed_in_calm_s: Some(1.0 / 3.0),
            runs: Vec::new(),
            slow_runs: Vec::new(),
        }
    }

    #[test]
    fn a_cut_line_is_dropped() {
        let dir = tempfile::tempdir().unwrap();
        let j = Journal::open(dir.path(), &head("a")).unwrap();
        j.put("one", &found()).unwrap();
        j.put("two", &found()).unwrap();
        drop(j);
        let path = dir.path().join(FILE);
        let text = std::fs::read(&path).unwrap();
        std::fs::write(&path, &text[..text.len() - 7]).unwrap();
        let j = Journal::open(dir.path(), &head("a")).unwrap();
        assert_eq!(j.read_back(), 1);
        assert_eq!(j.found("one"), Some(&found()), "to the bit");
        j.put("two", &found()).unwrap();
        drop(j);
        assert_eq!(std::fs::read(&path).unwrap(), text);
        Journal::open(dir.path(), &head("a"))
            .unwrap()
            .finish()
            .unwrap();
        assert!(!path.exists());
    }

    #[test]
    fn rows_of_other_inputs_are_refused() {
        let dir = tempfile::tempdir().unwrap();
        drop(Journal::open(dir.path(), &head("a")).unwrap());
        let told = |h: &Head| Journal::open(dir.path(), h).err().unwrap().to_string();
        let other = told(&head("b"));
        assert!(
            other.contains("waves.csv has changed") && other.contains(FILE),
            "{other}"
        );
        let mut more = head("a");
        more.looks = Looks::new(&[1, 2], 4, None);
        let other = told(&more);
        assert!(
            other.contains("not 4 seeds from seed 1 on") && other.contains("--seeds"),
            "{other}"
        );
    }

    fn head(hash: &str) -> Head {
        let input = Input {
            file: "waves.csv".to_owned(),
            hash: hash.to_owned(),
        };
        let looks = Looks::new(&[1, 2], 2, None);
        Head::new(vec![input], Target::here("b", "p"), looks)
    }
}
