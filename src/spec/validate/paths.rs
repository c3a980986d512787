//! Files that a file names.

use std::path::Path;

use crate::error::Problem;
use crate::spec::hint::closest;

/// A relative file name that must lead to a file.
pub(super) fn must_exist(
    problems: &mut Vec<Problem>,
    at: String,
    name: &str,
    folder: Option<&Path>,
) {
    let Some(folder) = folder else { return };
    let path = folder.join(name);
    if path.is_file() {
        return;
    }
    let what = if path.is_dir() { "a folder" } else { "no file" };
    let p = Problem::at(at, format!("leads to {}: there is {what}", path.display()));
    let names: Vec<String> = path
        .parent()
        .map(|d| {
            if d.as_os_str().is_empty() {
                Path::new(".")
            } else {
                d
            }
        })
        .and_then(|d| d.read_dir().ok())
        .into_iter()
        .flatten()
        .take(1000)
        .filter_map(|e| e.ok()?.file_name().into_string().ok())
        .collect();
    let wanted = path.file_name().and_then(|n| n.to_str()).unwrap_or("");
    let meant = closest(wanted, names.iter().map(String::as_str));
    problems.push(match meant {
        Some(meant) => p.hint(format!(
            "did you mean \"{}\"?",
            Path::new(name).with_file_name(meant).display()
        )),
        None => p.hint("file names are taken relative to the file that holds them"),
    });
}
