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
use crate::campaign::batch::head::Target;
use crate::campaign::lines::{
    hash_of_file, io_at, line_of, must_be_begun, open_locked, read_as, scan,
};
use crate::error::{Error, Problem, Result};
use crate::math::hash::Hash;
use crate::spec::controller::LawSpec;
use crate::spec::validate::FailuresBundle;

/// Name of the file while a matrix runs.
pub const FILE: &str = "failures.part.jsonl";
/// Name and version of its format.
const FORMAT: &str = "ridewright.failures_part/1";

#[derive(Serialize, Deserialize, PartialEq)]
struct Head {
    format: String,
    made_from: String,
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

/// Hash of all that rows depend on: files, seeds, programs of laws, this program.
pub fn made_from(bundle: &FailuresBundle, seeds: &[u64], target: &Target) -> String {
    let mut hash = Hash::default();
    let mut add = |text: &str| {
        hash.bytes(text.as_bytes());
        hash.bytes(&[0]);
    };
    let s = &bundle.scenario;
    add(&bundle.failures.source.text);
    add(&s.scenario.source.text);
    add(&s.craft.source.text);
    add(&s.sea.source.text);
    for law in &s.controllers {
        add(&law.source.text);
        if let LawSpec::External(program) = &law.spec.law {
            let files = program.command.iter().map(|w| law.source.folder().join(w));
            for of_file in files.filter_map(|f| hash_of_file(&f)) {
                add(&of_file);
            }
        }
    }
    add(&format!("{seeds:?}"));
    add(&target.binary);
    add(&target.instructions);
    format!("{:032x}", hash.finish())
}

impl Journal {
    /// Opens the rows of an earlier run in `folder`, or begins anew.
    ///
    /// # Errors
    /// A file that cannot be read or written, that another run is writing, or that holds rows of other inputs.
    pub fn open(folder: &Path, made_from: &str) -> Result<Self> {
        let path = folder.join(FILE);
        let mut file = open_locked(&path)?;
        let head = Head {
            format: FORMAT.to_owned(),
            made_from: made_from.to_owned(),
        };
        let (mut rows, mut is_begun) = (HashMap::new(), false);
        let good = scan(BufReader::new(&file), &path, |_, json| {
            if is_begun {
                let line: Line = read_as(json, "a row")?;
                rows.insert(line.row, line.found);
            } else if serde_json::from_slice::<Head>(json).ok().as_ref() == Some(&head) {
                is_begun = true;
            } else {
                let told = "holds rows of other inputs or of another build of the program";
                let hint = "delete it to begin anew, or give another folder with --out";
                return Err(Problem::at("", told).hint(hint).into());
            }
            Ok(())
        })?;
        let first = line_of(&head)?;
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
        let j = Journal::open(dir.path(), "a").unwrap();
        j.put("one", &found()).unwrap();
        j.put("two", &found()).unwrap();
        drop(j);
        let path = dir.path().join(FILE);
        let text = std::fs::read(&path).unwrap();
        std::fs::write(&path, &text[..text.len() - 7]).unwrap();
        let j = Journal::open(dir.path(), "a").unwrap();
        assert_eq!(j.read_back(), 1);
        assert_eq!(j.found("one"), Some(&found()), "to the bit");
        j.put("two", &found()).unwrap();
        drop(j);
        assert_eq!(std::fs::read(&path).unwrap(), text);
        Journal::open(dir.path(), "a").unwrap().finish().unwrap();
        assert!(!path.exists());
    }

    #[test]
    fn rows_of_other_inputs_are_refused() {
        let dir = tempfile::tempdir().unwrap();
        drop(Journal::open(dir.path(), "a").unwrap());
        let told = Journal::open(dir.path(), "b").err().unwrap().to_string();
        assert!(
            told.contains("other inputs") && told.contains(FILE),
            "{told}"
        );
    }
}
