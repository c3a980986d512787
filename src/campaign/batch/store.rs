//! The store: one line a case, safe against a kill at any instant.
//!
//! Lines of [`crate::campaign::lines`], the head first. What the kernel has is safe from a kill;
//! every `SYNC_EVERY` rows are brought to the disk besides, for when the power goes. After a write that
//! failed nothing more is written, so that no row ever follows a torn one. A finished store is put in order
//! of cases, by a new file in the old one's place, so that its bytes tell nothing of threads, order or stops.
//!
//! # Checked by
//! `what_was_put_is_read_back`, `a_cut_tail_is_dropped`, `damage_in_the_middle_is_refused`,
//! `a_full_disk_loses_nothing`, `a_second_writer_is_refused`, `a_store_being_written_is_not_read`,
//! `other_inputs_are_refused`, `finished_stores_are_in_order`, `what_lacks_is_counted`, and the kills of tests/campaign.rs

use std::collections::HashSet;
use std::fs::File;
use std::io::{self, BufRead, BufReader, BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::execute::finished;
use super::grid::Shard;
use super::head::{FORMAT, Head};
use super::row::Row;
use crate::campaign::lines::{
    SYNC_EVERY, Sink, damaged, io_at, line_of, must_be_begun, open_locked, open_unwritten, read_as,
    scan,
};
use crate::error::{Error, Problem, Result};
use crate::spec::campaign::DrawsSpec;

/// A store being written.
pub struct Store {
    /// What its rows were made from.
    pub head: Head,
    path: PathBuf,
    sink: Box<dyn Sink>,
    done: Vec<bool>,
    rows: usize,
    read_back: usize,
    /// Column whose numbers are kept in memory for the stopping rule, and they by case.
    watched: Option<(usize, Vec<f64>)>,
    failed: bool,
}

/// Name of a store's file.
pub fn file_name(shard: Shard) -> String {
    if shard == Shard::WHOLE {
        "rows.jsonl".to_owned()
    } else {
        format!("rows-{}-of-{}.jsonl", shard.number, shard.of)
    }
}

impl Store {
    /// Opens the store of `head` in `folder`, or begins it. `watched`: a column whose numbers the stopping
    /// rule asks for.
    ///
    /// # Errors
    /// A file that cannot be read or written, that another run is writing, that is damaged, or that was
    /// written from other inputs or by another program.
    pub fn open(folder: &Path, head: Head, watched: Option<usize>) -> Result<Self> {
        let path = folder.join(file_name(head.shard));
        let mut file = open_locked(&path)?;
        let cases = head.grid.cases();
        let mut store = Store {
            done: vec![false; cases],
            watched: watched.map(|c| (c, vec![f64::NAN; cases])),
            head,
            rows: 0,
            read_back: 0,
            failed: false,
            path: path.clone(),
            sink: Box::new(file.try_clone().map_err(io_at("open this store", &path))?),
        };
        let text = BufReader::new(&file);
        let mut found_head = false;
        let good = {
            let store = &mut store;
            scan(text, &path, |at, json| {
                if at == 0 {
                    found_head = true;
                    let old = read_head(json)?;
                    old.must_agree(&store.head)
                } else {
                    store.note(&read_row(json)?);
                    Ok(())
                }
            })?
        };
        store.read_back = store.rows;
        let line = line_of(&store.head)?;
        if !found_head {
            must_be_begun(&file, &line, &path)?;
        }
        file.set_len(good)
            .and_then(|()| file.seek(SeekFrom::End(0)).map(|_| ()))
            .map_err(io_at("write this store", &path))?;
        if !found_head {
            store.append(&line)?;
        }
        Ok(store)
    }

    fn note(&mut self, row: &Row) {
        let Some(done) = self.done.get_mut(row.case) else {
            return;
        };
        if !*done {
            *done = true;
            self.rows += 1;
        }
        if let Some((column, values)) = &mut self.watched {
            values[row.case] = row.completed_number(*column).unwrap_or(f64::NAN);
        }
    }

    /// Whether a case is there.
    pub fn has(&self, case: usize) -> bool {
        self.done.get(case).copied().unwrap_or(false)
    }

    /// Rows that are there.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Rows that an earlier run left.
    pub fn read_back(&self) -> usize {
        self.read_back
    }

    /// The watched number of a case; NaN where there is none.
    pub fn watched(&self, case: usize) -> f64 {
        self.watched
            .as_ref()
            .and_then(|w| w.1.get(case).copied())
            .unwrap_or(f64::NAN)
    }

    /// Its file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Adds a row.
    ///
    /// # Errors
    /// When it cannot be written; nothing more is written then.
    pub fn put(&mut self, row: &Row) -> Result<()> {
        if self.has(row.case) {
            return Ok(());
        }
        let line = line_of(row)?;
        self.append(&line)?;
        self.note(row);
        if self.rows.is_multiple_of(SYNC_EVERY) {
            self.sync()?;
        }
        Ok(())
    }

    fn append(&mut self, line: &[u8]) -> Result<()> {
        let stop =
            "no space or no right to write? what is finished is kept: the same command goes on";
        if self.failed {
            let p = Problem::at("", "is not written on after a write that failed");
            return Err(Error::from(p.hint(stop)).in_file(&self.path));
        }
        self.sink.append(line).map_err(|e| {
            self.failed = true;
            let mut e = Error::io("write this store", &self.path, &e);
            e.problems[0].hint = Some(stop.to_owned());
            e
        })
    }

    /// Brings everything to the disk.
    ///
    /// # Errors
    /// When it cannot.
    pub fn sync(&mut self) -> Result<()> {
        self.sink.sync().map_err(|e| {
            self.failed = true;
            Error::io("bring this store to disk", &self.path, &e)
        })
    }

    /// Puts the rows in order of cases; the file appears in the old one's place in one piece.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn settle(mut self) -> Result<PathBuf> {
        self.sync()?;
        // the lock of the writer is our own
        let file = File::open(&self.path).map_err(io_at("read this store", &self.path))?;
        let mut book = Book::of(file, &self.path)?;
        let mut order: Vec<(usize, u64)> = book.rows.clone();
        order.sort_unstable();
        if order != book.rows {
            book.write_in_order(&self.head, &self.path)?;
        }
        Ok(self.path)
    }
}

/// A store to be read: where its rows stand.
pub struct Book {
    /// What its rows were made from.
    pub head: Head,
    /// Case and byte of each row, in the file's order.
    rows: Vec<(usize, u64)>,
    file: BufReader<File>,
    path: PathBuf,
}

impl Book {
    /// Opens a store that nobody is writing.
    ///
    /// # Errors
    /// A file that cannot be read, is being written or is damaged.
    pub fn open(path: &Path) -> Result<Self> {
        Book::of(open_unwritten(path)?, path)
    }

    fn of(file: File, path: &Path) -> Result<Self> {
        let mut head = None;
        let mut rows = Vec::new();
        scan(BufReader::new(&file), path, |byte, json| {
            if byte == 0 {
                head = Some(read_head(json)?);
            } else {
                rows.push((read_row(json)?.case, byte));
            }
            Ok(())
        })?;
        let Some(head) = head else {
            let p = Problem::at("", "is no campaign's store");
            let p = p.hint("`ridewright campaign FILE --out DIR` writes one");
            return Err(Error::from(p).in_file(path));
        };
        Ok(Book {
            head,
            rows,
            file: BufReader::new(file),
            path: path.to_owned(),
        })
    }

    /// Cases that it has, in the file's order.
    pub fn cases(&self) -> impl Iterator<Item = usize> + '_ {
        self.rows.iter().map(|r| r.0)
    }

    /// Its file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How much of the campaign, and of its own part, is there.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn standing(&mut self) -> Result<Standing> {
        let watched = self.watched()?;
        let (grid, shard) = (&self.head.grid, self.head.shard);
        let wanted = finished(grid, &|c| watched[c]);
        let of_part = |c: &&usize| grid.spot(**c).is_some_and(|s| shard.has(grid, &s));
        let there: HashSet<usize> = self.cases().collect();
        let part: Vec<&usize> = wanted.iter().filter(of_part).collect();
        Ok(Standing {
            there: part.iter().filter(|c| there.contains(**c)).count(),
            part: part.len(),
            // of other parts' places a stopping rule is told nothing here
            whole: match grid.draws {
                DrawsSpec::Fixed { .. } => Some(wanted.len()),
                DrawsSpec::Until { .. } if shard == Shard::WHOLE => Some(wanted.len()),
                DrawsSpec::Until { .. } => None,
            },
        })
    }

    /// The number that the stopping rule asks for, by case; NaN without a rule or a row.
    pub(super) fn watched(&mut self) -> Result<Vec<f64>> {
        let mut watched = vec![f64::NAN; self.head.grid.cases()];
        if let DrawsSpec::Until { quantity, .. } = &self.head.grid.draws {
            let column = self.head.columns.iter().position(|c| c == quantity);
            self.each(|row| {
                let number = column.and_then(|c| row.completed_number(c));
                if let Some(w) = watched.get_mut(row.case) {
                    *w = number.unwrap_or(f64::NAN);
                }
                Ok(())
            })?;
        }
        Ok(watched)
    }

    /// Every row in order of cases, one in memory at a time.
    ///
    /// # Errors
    /// Of `each`, or when the file cannot be read.
    pub fn each(&mut self, mut each: impl FnMut(&Row) -> Result<()>) -> Result<()> {
        let mut order = self.rows.clone();
        order.sort_unstable();
        for (_, byte) in order {
            let line = self.line(byte)?;
            each(&read_row(&line[9..])?)?;
        }
        Ok(())
    }

    fn line(&mut self, byte: u64) -> Result<Vec<u8>> {
        let mut line = Vec::new();
        let at = self.file.stream_position().ok();
        let go = if at == Some(byte) {
            Ok(byte)
        } else {
            self.file.seek(SeekFrom::Start(byte))
        };
        go.and_then(|_| self.file.read_until(b'\n', &mut line))
            .map_err(io_at("read this store", &self.path))?;
        if line.last() == Some(&b'\n') {
            line.pop();
        }
        if line.len() < 10 {
            return Err(damaged(&self.path, byte));
        }
        Ok(line)
    }

    /// Writes its rows in order under `head` to `path`, which appears in one piece.
    fn write_in_order(&mut self, head: &Head, path: &Path) -> Result<()> {
        write_ordered(head, &mut [self], path)
    }
}

/// How much of a campaign a store has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Standing {
    /// Cases that are there.
    pub there: usize,
    /// Cases of the store's own part, as far as rows tell where a stopping rule asks for more.
    pub part: usize,
    /// Cases of the whole campaign; none where a stopping rule decides in other parts.
    pub whole: Option<usize>,
}

impl Standing {
    /// Whether its own part is finished.
    pub fn is_finished(&self) -> bool {
        self.there == self.part
    }
}

/// Writes the rows of all books in order under `head`; the file appears in one piece.
///
/// # Errors
/// When a book cannot be read or the file not be written.
pub fn write_ordered(head: &Head, books: &mut [&mut Book], path: &Path) -> Result<()> {
    let mut order: Vec<(usize, usize, u64)> = Vec::new();
    for (b, book) in books.iter().enumerate() {
        order.extend(book.rows.iter().map(|(case, byte)| (*case, b, *byte)));
    }
    order.sort_unstable();
    let folder = path.parent().unwrap_or(Path::new("."));
    let fail = |e: io::Error| Error::io("write this store", path, &e);
    let mut file = tempfile::Builder::new()
        .prefix(".rw-")
        .tempfile_in(folder)
        .map_err(fail)?;
    {
        let mut out = BufWriter::new(file.as_file_mut());
        out.write_all(&line_of(head)?).map_err(fail)?;
        for (_, b, byte) in order {
            let mut line = books[b].line(byte)?;
            line.push(b'\n');
            out.write_all(&line).map_err(fail)?;
        }
        out.flush().map_err(fail)?;
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let open = std::fs::Permissions::from_mode(0o644);
        file.as_file().set_permissions(open).map_err(fail)?;
    }
    file.as_file().sync_all().map_err(fail)?;
    file.persist(path).map_err(|e| fail(e.error))?;
    Ok(())
}

fn read_row(json: &[u8]) -> Result<Row> {
    read_as(json, "a row")
}

fn read_head(json: &[u8]) -> Result<Head> {
    let value: serde_json::Value = read_as(json, "a first line")?;
    if value.get("format").and_then(|f| f.as_str()) != Some(FORMAT) {
        let p = Problem::at("", format!("is no store of the format {FORMAT}"));
        let p = p.hint("give another folder with --out");
        return Err(p.into());
    }
    read_as(json, "a first line")
}

/// The store at a path, or those in a folder, whole ones and shards, sorted by name; never none.
///
/// # Errors
/// Nothing there, a folder without stores, or one that cannot be read.
pub fn stores_at(path: &Path) -> Result<Vec<PathBuf>> {
    let name_it = "name the folder that `ridewright campaign FILE --out DIR` wrote";
    let told = |words: &str| {
        let p = Problem::at("", words).hint(name_it);
        Error::from(p).in_file(path)
    };
    if !path.exists() {
        return Err(told("there is no such folder or file"));
    }
    if !path.is_dir() {
        return Ok(vec![path.to_owned()]);
    }
    let found = stores_in(path)?;
    if found.is_empty() {
        return Err(told("holds no campaign's store (rows*.jsonl)"));
    }
    Ok(found)
}

/// Stores in a folder, whole ones and shards, sorted by name.
///
/// # Errors
/// When the folder cannot be read.
pub fn stores_in(folder: &Path) -> Result<Vec<PathBuf>> {
    let entries = std::fs::read_dir(folder).map_err(io_at("read this folder", folder))?;
    let mut found: Vec<PathBuf> = entries
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| {
            let name = p.file_name().and_then(|n| n.to_str()).unwrap_or("");
            name.starts_with("rows") && p.extension().is_some_and(|e| e == "jsonl")
        })
        .collect();
    found.sort();
    Ok(found)
}

/// Rows of a list, sorted out: which cases stand in none and which in more than one.
pub fn missing_and_double(
    wanted: impl Iterator<Item = usize>,
    found: impl Iterator<Item = usize>,
) -> (Vec<usize>, Vec<usize>) {
    let mut seen = HashSet::new();
    let mut double: Vec<usize> = found.filter(|c| !seen.insert(*c)).collect();
    double.sort_unstable();
    (wanted.filter(|c| !seen.contains(c)).collect(), double)
}

#[cfg(test)]
mod tests;
