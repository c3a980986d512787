//! Files of lines that are safe against a kill at any instant.
//!
//! ```text
//! line = CRC-32 in eight hex digits, space, JSON, line feed        first line: the head
//! ```
//! A line goes to the kernel in one write at the file's end, under an exclusive lock. Reading stops at the
//! first line that is cut or whose checksum does not fit; when nothing whole follows, it is the tail of a
//! stop and is cut off, else the file is damaged and refused.
//!
//! # Source
//! CRC-32: ISO-HDLC, crate `crc32fast`.
//!
//! # Checked by
//! Tests of [`super::batch::store`], which is such a file; `a_journal_is_read_back_and_refuses_others` for
//! that of rare events.

use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, Read, Seek, SeekFrom, Write};
use std::path::Path;

use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::error::{Error, Problem, Result};
use crate::math::hash::Hash;

/// Lines between two orders to the disk.
pub(super) const SYNC_EVERY: usize = 64;

/// Where lines go: a file, or what a test puts in its place.
pub trait Sink: Send {
    /// Puts a whole line at the end.
    ///
    /// # Errors
    /// When it cannot.
    fn append(&mut self, line: &[u8]) -> io::Result<()>;

    /// Brings everything to the disk.
    ///
    /// # Errors
    /// When it cannot.
    fn sync(&mut self) -> io::Result<()>;
}

impl Sink for File {
    fn append(&mut self, line: &[u8]) -> io::Result<()> {
        self.write_all(line)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

/// An I/O failure at `path` while `doing`.
pub(super) fn io_at<'a>(doing: &'static str, path: &'a Path) -> impl Fn(io::Error) -> Error + 'a {
    move |e| Error::io(doing, path, &e)
}

/// Opens a file to be read and written at its end, under a lock that nobody else can have.
pub(super) fn open_locked(path: &Path) -> Result<File> {
    loop {
        let file = OpenOptions::new()
            .read(true)
            .append(true)
            .create(true)
            .open(path)
            .map_err(io_at("open this store", path))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(std::fs::TryLockError::WouldBlock) => {
                let p = Problem::at("", "is being written by another run, or read");
                let p = p.hint("wait for it, or give another folder with --out");
                return Err(Error::from(p).in_file(path));
            }
            Err(std::fs::TryLockError::Error(e)) => {
                return Err(Error::io("lock this store", path, &e));
            }
        }
        // a run that has just finished may have put a new file in this one's place
        if same_file(&file, path) {
            return Ok(file);
        }
    }
}

/// Opens a file to be read, under a lock that keeps writers out while it lives.
pub(super) fn open_unwritten(path: &Path) -> Result<File> {
    let file = File::open(path).map_err(io_at("read this store", path))?;
    match file.try_lock_shared() {
        Err(std::fs::TryLockError::WouldBlock) => {
            let p = Problem::at("", "is being written by another run");
            let p = p.hint(
                "wait until it has ended; what it leaves unfinished goes on by its own command",
            );
            Err(Error::from(p).in_file(path))
        }
        // a file system without locks: nothing to be learnt there
        Ok(()) | Err(std::fs::TryLockError::Error(_)) => Ok(file),
    }
}

#[cfg(unix)]
fn same_file(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let key = |m: io::Result<std::fs::Metadata>| m.ok().map(|m| (m.dev(), m.ino()));
    key(file.metadata()) == key(std::fs::metadata(path))
}

#[cfg(not(unix))]
fn same_file(_: &File, _: &Path) -> bool {
    true
}

/// A file without a whole first line is ours only when it is the beginning of ours.
pub(super) fn must_be_begun(mut file: &File, head: &[u8], path: &Path) -> Result<()> {
    let mut begun = Vec::new();
    file.seek(SeekFrom::Start(0))
        .and_then(|_| file.take(head.len() as u64 + 1).read_to_end(&mut begun))
        .map_err(io_at("read this store", path))?;
    if head.starts_with(&begun) {
        return Ok(());
    }
    let p = Problem::at("", "is something else than the store of such a run");
    let p = p.hint("move it away, or give another folder with --out");
    Err(Error::from(p).in_file(path))
}

/// A value as a line.
pub(super) fn line_of(value: &impl Serialize) -> Result<Vec<u8>> {
    let json = serde_json::to_string(value)
        .map_err(|e| Error::new(format!("cannot write a row as JSON: {e}")))?;
    Ok(format!("{:08x} {json}\n", crc32fast::hash(json.as_bytes())).into_bytes())
}

/// Calls `each` with byte and JSON of every whole line; gives the bytes up to the first that is not.
pub(super) fn scan(
    mut text: impl BufRead,
    path: &Path,
    mut each: impl FnMut(u64, &[u8]) -> Result<()>,
) -> Result<u64> {
    let fail = io_at("read this store", path);
    let mut line = Vec::new();
    let mut at = 0_u64;
    loop {
        line.clear();
        let n = text.read_until(b'\n', &mut line).map_err(&fail)?;
        if n == 0 {
            return Ok(at);
        }
        let Some(json) = whole(&line) else {
            // the tail of a stop, unless something whole follows
            loop {
                line.clear();
                if text.read_until(b'\n', &mut line).map_err(&fail)? == 0 {
                    return Ok(at);
                }
                if whole(&line).is_some() {
                    return Err(damaged(path, at));
                }
            }
        };
        each(at, json).map_err(|e| e.in_file(path))?;
        at += n as u64;
    }
}

pub(super) fn damaged(path: &Path, byte: u64) -> Error {
    let p = Problem::at("", format!("is damaged at byte {byte}"));
    let p = p.hint("it was changed by something else; restore it, or begin anew in another folder");
    Error::from(p).in_file(path)
}

/// The JSON of a line that is whole.
fn whole(line: &[u8]) -> Option<&[u8]> {
    let line = line.strip_suffix(b"\n")?;
    let (crc, json) = (line.get(..8)?, line.get(9..)?);
    let crc = u32::from_str_radix(std::str::from_utf8(crc).ok()?, 16).ok()?;
    (line[8] == b' ' && crc32fast::hash(json) == crc).then_some(json)
}

/// A value from the JSON of a line; `what` in words.
pub(super) fn read_as<T: DeserializeOwned>(json: &[u8], what: &str) -> Result<T> {
    serde_json::from_slice(json).map_err(|e| {
        Error::from(
            Problem::at("", format!("has {what} that this program cannot read: {e}"))
                .hint("it was written by another version; give another folder with --out"),
        )
    })
}

/// Hash of a file's contents; none when it cannot be read.
pub fn hash_of_file(path: &Path) -> Option<String> {
    let mut file = File::open(path).ok()?;
    let mut hash = Hash::default();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece) {
            Ok(0) => return Some(format!("{:032x}", hash.finish())),
            Ok(n) => hash.bytes(&piece[..n]),
            Err(_) => return None,
        }
    }
}
