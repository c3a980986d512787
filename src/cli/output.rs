//! Where results go: whole files, the folder of `--out`, the words around a result.

use std::io::Write;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::args::OutputArgs;
use super::shell::Shell;
use crate::error::{Error, Result, remedy};

/// What every craft verb's JSON begins with.
#[derive(Clone, Debug, Serialize)]
pub struct Head {
    /// The craft's name.
    pub craft: String,
    /// Axes and signs in one line.
    pub axes: &'static str,
    /// What the user should know before believing the numbers.
    pub warnings: Vec<String>,
    /// The general caution.
    pub caution: &'static str,
}

/// The line about axes that tables and JSON carry.
pub const AXES: &str = "x forward, y starboard, z down from the design waterline amidships; roll \
starboard down, pitch bow up, yaw bow to starboard; heights and heave up only where the name says so";

impl Head {
    /// For a craft of this name.
    pub fn new(craft: &str, warnings: &[String]) -> Self {
        Head {
            craft: craft.to_owned(),
            axes: AXES,
            warnings: warnings.to_vec(),
            caution: crate::caution::CAUTION,
        }
    }
}

/// Writes a file whole or not at all.
///
/// # Errors
/// When it cannot be written.
pub fn replace(path: &Path, text: &str) -> Result<()> {
    let fail = |e: std::io::Error| Error::io("write this file", path, &e);
    replace_with(path, |mut file| {
        file.write_all(text.as_bytes()).map_err(fail)?;
        file.flush().map_err(fail)
    })
}

/// Writes a file by `write`, whole or not at all, without holding it in memory.
///
/// # Errors
/// Of `write`, or when the file cannot be put in its place.
pub fn replace_with(
    path: &Path,
    write: impl FnOnce(std::io::BufWriter<std::fs::File>) -> Result<()>,
) -> Result<()> {
    let fail = |e: &std::io::Error| Error::io("write this file", path, e);
    let folder = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    let file = beside(folder).map_err(|e| fail(&e))?;
    let handle = file.as_file().try_clone().map_err(|e| fail(&e))?;
    write(std::io::BufWriter::new(handle)).map_err(|e| e.in_file(path))?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let open = std::fs::Permissions::from_mode(0o644);
        file.as_file().set_permissions(open).map_err(|e| fail(&e))?;
    }
    file.persist(path).map_err(|e| fail(&e.error))?;
    Ok(())
}

/// A file in `folder` that goes by itself unless it is put in some place.
fn beside(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    tempfile::Builder::new().prefix(".rw-").tempfile_in(folder)
}

/// The folder of `--out`, made and tried before anything is computed; none when it is not asked for.
///
/// # Errors
/// When it cannot be made or written into.
pub fn folder(output: &OutputArgs) -> Result<Option<PathBuf>> {
    let Some(dir) = &output.out else {
        return Ok(None);
    };
    let told = |doing: &str, e: &std::io::Error| {
        let mut told = Error::io(doing, dir, e);
        let usual = "give a folder that this user may write into with --out";
        told.problems[0].hint = Some(match e.kind() {
            std::io::ErrorKind::NotFound => usual.to_owned(), // a folder of the system's own
            kind => remedy(kind).unwrap_or(usual).to_owned(),
        });
        told
    };
    std::fs::create_dir_all(dir).map_err(|e| told("make this folder", &e))?;
    // a file that is there for an instant: rights alone do not tell whether the disk takes one
    beside(dir)
        .and_then(tempfile::NamedTempFile::close)
        .map_err(|e| told("write into this folder", &e))?;
    Ok(Some(dir.clone()))
}

/// Writes a result as `<stem>.json` into a folder, in one piece; returns the file.
///
/// # Errors
/// When the file cannot be written.
pub fn write_json(dir: &Path, stem: &str, result: &impl Serialize) -> Result<PathBuf> {
    let text = serde_json::to_string_pretty(result)
        .map_err(|e| Error::new(format!("cannot write the result as JSON: {e}")))?;
    let file = dir.join(format!("{stem}.json"));
    replace(&file, &(text + "\n"))?;
    Ok(file)
}

/// Tells a result: `tables` unless JSON is asked for, the same numbers as JSON into the folder of
/// `--out`, and the caution.
///
/// # Errors
/// When standard output or the file cannot be written.
pub fn tell<T: Serialize>(
    shell: &mut Shell,
    output: &OutputArgs,
    verb: &str,
    result: &T,
    tables: impl FnOnce() -> String,
) -> Result<()> {
    if output.json {
        shell.json(result)?;
    } else {
        shell.data(&tables())?;
    }
    if let Some(dir) = &output.out {
        let file = write_json(dir, verb, result)?;
        shell.talk(&format!("wrote {}", file.display()));
    }
    shell.caution();
    Ok(())
}
