//! The journal of a search on disk: everything that was judged, so that nothing is judged twice.
//!
//! One JSON object a line. The first line holds a hash of everything the search depends on; a journal
//! of other inputs is refused. A search that was stopped, or killed at any instant, begins again from
//! its seed and takes from the journal what it has judged already: it comes to the same answer. A last
//! line that was cut off is dropped.
//!
//! # Checked by
//! `what_was_judged_is_read_back`, `a_cut_line_is_dropped`, `other_inputs_are_refused`.

use std::collections::HashMap;
use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::score::Score;
use crate::error::{Error, Problem, Result};

/// Name and version of the journal's own format.
const FORMAT: &str = "ridewright.tuning_journal/1";

#[derive(Serialize, Deserialize)]
struct Head {
    format: String,
    inputs: String,
}

#[derive(Serialize, Deserialize)]
struct Line {
    stage: String,
    values: Vec<f64>,
    score: Score,
}

/// Stage and bits of the values.
type Key = (String, Vec<u64>);

/// Scores by stage and values, on disk or in memory only.
#[derive(Debug, Default)]
pub struct Journal {
    known: HashMap<Key, Score>,
    file: Option<(File, PathBuf)>,
    read_back: usize,
}

impl Journal {
    /// A journal that is forgotten with the program.
    pub fn in_memory() -> Self {
        Journal::default()
    }

    /// Opens the journal at `path`, or begins it. `inputs` is the hash of everything that scores
    /// depend on.
    ///
    /// # Errors
    /// A file that cannot be read or written, that another search is writing, that is damaged, or that
    /// was written for other inputs.
    pub fn open(path: &Path, inputs: &str) -> Result<Self> {
        let fail = |doing: &'static str| move |e: std::io::Error| Error::io(doing, path, &e);
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(path)
            .map_err(fail("open this journal"))?;
        if file.try_lock().is_err() {
            let p = Problem::at("", "is being written by another search");
            let p = p.hint("wait for it, or give another folder with --out");
            return Err(Error::from(p).in_file(path));
        }
        let mut text = String::new();
        file.read_to_string(&mut text)
            .map_err(fail("read this journal"))?;
        let whole = text.rfind('\n').map_or(0, |i| i + 1);
        let mut journal = Journal::default();
        let mut lines = text[..whole].lines();
        if let Some(head) = lines.next() {
            fits(head, inputs).map_err(|e| e.in_file(path))?;
        }
        for (i, line) in lines.enumerate() {
            let Ok(line) = serde_json::from_str::<Line>(line) else {
                let p = Problem::at("", format!("line {} is damaged", i + 2));
                let p = p.hint("remove the file to begin the search anew");
                return Err(Error::from(p).in_file(path));
            };
            journal
                .known
                .insert(key(&line.stage, &line.values), line.score);
        }
        journal.read_back = journal.known.len();
        file.set_len(whole as u64)
            .and_then(|()| file.seek(SeekFrom::End(0)))
            .map_err(fail("write this journal"))?;
        if whole == 0 {
            let head = Head {
                format: FORMAT.to_owned(),
                inputs: inputs.to_owned(),
            };
            let line = serde_json::to_string(&head).unwrap_or_default();
            writeln!(file, "{line}").map_err(fail("write this journal"))?;
        }
        journal.file = Some((file, path.to_owned()));
        Ok(journal)
    }

    /// How many scores an earlier search left.
    pub fn read_back(&self) -> usize {
        self.read_back
    }

    /// The score of values that were judged before.
    pub fn get(&self, stage: &str, values: &[f64]) -> Option<&Score> {
        self.known.get(&key(stage, values))
    }

    /// Adds what was judged and brings it to disk.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn put<'a>(
        &mut self,
        stage: &str,
        judged: impl Iterator<Item = (&'a [f64], &'a Score)>,
    ) -> Result<()> {
        let mut text = String::new();
        for (values, score) in judged {
            if self.file.is_some() {
                let line = Line {
                    stage: stage.to_owned(),
                    values: values.to_vec(),
                    score: score.clone(),
                };
                let line = serde_json::to_string(&line)
                    .map_err(|e| Error::new(format!("cannot write a score as JSON: {e}")))?;
                text += &line;
                text.push('\n');
            }
            self.known.insert(key(stage, values), score.clone());
        }
        if let Some((file, path)) = &mut self.file {
            file.write_all(text.as_bytes())
                .and_then(|()| file.flush())
                .map_err(|e| Error::io("write this journal", path.clone(), &e))?;
        }
        Ok(())
    }
}

fn key(stage: &str, values: &[f64]) -> Key {
    let bits = values.iter().map(|v| v.to_bits()).collect();
    (stage.to_owned(), bits)
}

fn fits(line: &str, inputs: &str) -> Result<()> {
    let head = serde_json::from_str::<Head>(line).ok();
    match head.filter(|h| h.format == FORMAT) {
        None => Err(Problem::at("", "is no journal of this program's version")
            .hint("remove the file, or give another folder with --out")
            .into()),
        Some(h) if h.inputs != inputs => Err(Problem::at(
            "",
            "was written for other inputs: the tuning file, controller, craft, a sea or the program has changed",
        )
        .hint("remove the file to begin anew, or give another folder with --out")
        .into()),
        Some(_) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn score(ride: f64) -> Score {
        Score::new(ride, 0.1, 0.0, vec![Some(0.1 + 0.2), None])
    }

    #[test]
    fn what_was_judged_is_read_back() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("j.jsonl");
        let values = [0.1 + 0.2, 1.0 / 3.0];
        let mut j = Journal::open(&path, "a1").unwrap();
        j.put("all", [(&values[..], &score(1.5))].into_iter())
            .unwrap();
        assert!(Journal::open(&path, "a1").is_err(), "one writer at a time");
        drop(j);
        let j = Journal::open(&path, "a1").unwrap();
        assert_eq!(j.get("all", &values), Some(&score(1.5)));
        assert_eq!(j.get("other", &values), None);
        assert_eq!(j.read_back(), 1);
    }

    #[test]
    fn a_cut_line_is_dropped() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("j.jsonl");
        let mut j = Journal::open(&path, "a1").unwrap();
        j.put(
            "s",
            [(&[1.0][..], &score(1.0)), (&[2.0], &score(2.0))].into_iter(),
        )
        .unwrap();
        drop(j);
        let text = std::fs::read_to_string(&path).unwrap();
        std::fs::write(&path, &text[..text.len() - 7]).unwrap();
        let mut j = Journal::open(&path, "a1").unwrap();
        assert_eq!(j.read_back(), 1);
        j.put("s", [(&[2.0][..], &score(2.0))].into_iter()).unwrap();
        drop(j);
        assert_eq!(std::fs::read_to_string(&path).unwrap(), text);
        // damage elsewhere is no accident of a stop
        std::fs::write(&path, text.replacen("\"values\"", "\"val", 1)).unwrap();
        let told = Journal::open(&path, "a1").unwrap_err().to_string();
        assert!(told.contains("line 2 is damaged"), "{told}");
    }

    #[test]
    fn other_inputs_are_refused() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("j.jsonl");
        drop(Journal::open(&path, "a1").unwrap());
        let told = Journal::open(&path, "b2").unwrap_err().to_string();
        assert!(
            told.contains("other inputs") && told.contains("j.jsonl"),
            "{told}"
        );
        std::fs::write(&path, "something else\n").unwrap();
        assert!(Journal::open(&path, "a1").is_err());
    }
}
