//! What went wrong, where, what is allowed, and what to do.
//!
//! An [`Error`] holds one or more [`Problem`]s, so that a file's faults are all told at once.
//! The command line turns them into text with the file's own lines under a caret.

use std::fmt;
use std::path::PathBuf;

/// Result of everything that can fail in the library.
pub type Result<T> = std::result::Result<T, Error>;

/// Where in which file a problem sits.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// The file, when one is involved.
    pub file: Option<PathBuf>,
    /// Path of keys inside the document, `surfaces[2].span_m`; empty for the whole.
    pub key: String,
    /// Line, from 1, when known.
    pub line: Option<usize>,
    /// Column in characters, from 1, when known.
    pub column: Option<usize>,
    /// Characters from the column on that the problem is about, when known.
    pub width: Option<usize>,
}

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Where.
    pub place: Place,
    /// What was found and what is allowed, one line, lower case, no full stop.
    pub message: String,
    /// What to do about it.
    pub hint: Option<String>,
}

impl Problem {
    /// A problem at the key `key` of the document at hand.
    pub fn at(key: impl Into<String>, message: impl Into<String>) -> Self {
        Problem {
            place: Place {
                key: key.into(),
                ..Place::default()
            },
            message: visible(message.into()),
            hint: None,
        }
    }

    /// The same with a remedy.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(visible(hint.into()));
        self
    }
}

/// The same with control characters written out: a name from a file moves nobody's cursor.
fn visible(text: String) -> String {
    if !text.contains(char::is_control) {
        return text;
    }
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_control() {
            out.extend(c.escape_debug());
        } else {
            out.push(c);
        }
    }
    out
}

/// Why an operation did not happen: all the reasons known.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct Error {
    /// At least one.
    pub problems: Vec<Problem>,
}

impl Error {
    /// One problem without a file.
    pub fn new(message: impl Into<String>) -> Self {
        Problem::at("", message).into()
    }

    /// One problem without a file, with a remedy.
    pub fn with_hint(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Problem::at("", message).hint(hint).into()
    }

    /// An I/O failure: what was being done, to which file, the system's reason, and what to do about it where
    /// the reason tells.
    pub fn io(doing: &str, file: impl Into<PathBuf>, cause: &std::io::Error) -> Self {
        let told = cause.to_string();
        // a file that is written beside its place first has a name that nobody knows
        let told = told.split(" at path \"").next().unwrap_or_default();
        let mut p = Problem::at("", format!("cannot {doing}: {told}"));
        p.place.file = Some(file.into());
        p.hint = remedy(cause.kind()).map(str::to_owned);
        p.into()
    }

    /// The same problems, each told to sit in `file` unless it names one already.
    #[must_use]
    pub fn in_file(mut self, file: impl Into<PathBuf>) -> Self {
        let file = file.into();
        for p in &mut self.problems {
            p.place.file.get_or_insert_with(|| file.clone());
        }
        self
    }
}

/// What to do when the system refuses a file for this reason; none where nothing general helps.
pub fn remedy(kind: std::io::ErrorKind) -> Option<&'static str> {
    use std::io::ErrorKind as K;
    Some(match kind {
        K::NotFound => "is the path right? nothing stands there",
        K::PermissionDenied | K::ReadOnlyFilesystem => {
            "this user has no right to it: change its rights, or give another place (--out)"
        }
        K::NotADirectory | K::AlreadyExists => {
            "a part of the path is a file, no folder: give another place (--out)"
        }
        K::IsADirectory => "it is a folder: name a file, or move the folder away",
        K::StorageFull | K::QuotaExceeded | K::FileTooLarge => {
            "there is no room: make some, then give the same command again; what was there is kept"
        }
        _ => return None,
    })
}

impl From<Problem> for Error {
    fn from(p: Problem) -> Self {
        Error { problems: vec![p] }
    }
}

impl From<Vec<Problem>> for Error {
    fn from(problems: Vec<Problem>) -> Self {
        Error { problems }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(file) = &self.file {
            write!(f, "{}", file.display())?;
            if let Some(line) = self.line {
                write!(f, ":{line}")?;
                if let Some(column) = self.column {
                    write!(f, ":{column}")?;
                }
            }
            write!(f, ": ")?;
        }
        if !self.key.is_empty() {
            write!(f, "`{}` ", self.key)?;
        }
        Ok(())
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.place, self.message)?;
        if let Some(hint) = &self.hint {
            write!(f, "\n\nhint: {hint}")?;
        }
        Ok(())
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, p) in self.problems.iter().enumerate() {
            if i > 0 {
                write!(f, "\n\n")?;
            }
            write!(f, "{p}")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_of_the_system_has_a_remedy_and_no_name_that_nobody_knows() {
        let told =
            |cause: std::io::Error| Error::io("write this file", "rows.csv", &cause).to_string();
        let full = told(std::io::ErrorKind::StorageFull.into());
        assert!(
            full.starts_with("rows.csv: cannot write this file: ") && full.contains("make some")
        );
        let hidden = "Permission denied (os error 13) at path \"/x/.rw-a1b2\"";
        let denied = std::io::Error::new(std::io::ErrorKind::PermissionDenied, hidden);
        let denied = told(denied);
        assert!(
            denied.contains("(os error 13)\n\nhint: this user"),
            "{denied}"
        );
        assert!(!denied.contains(".rw-"), "{denied}");
    }

    #[test]
    fn reads_where_what_and_remedy() {
        let e = Error::from(
            Problem::at("spectrum.tp_s", "is 0.9 s, must lie between 2 s and 25 s")
                .hint("0.9 s is 1.11 Hz: was a frequency meant?"),
        )
        .in_file("sea.json");
        assert_eq!(
            e.to_string(),
            "sea.json: `spectrum.tp_s` is 0.9 s, must lie between 2 s and 25 s\n\nhint: 0.9 s is 1.11 Hz: was a frequency meant?"
        );
    }
}
