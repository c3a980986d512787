//! Errors and warnings as text: what, the file's own line with a caret, what to do.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};

use crate::error::{Error, Place, Problem};

/// Lines longer than this are not shown: nobody finds the caret in them.
const LONGEST_LINE: usize = 400;

/// Bytes of a file that are read to show its lines.
const MOST_BYTES: u64 = 16 << 20;

/// All problems of an error, a blank line between them.
pub fn error(error: &Error, styled: bool) -> String {
    let mut files = HashMap::new();
    let told: Vec<String> = error
        .problems
        .iter()
        .map(|p| problem(p, &mut files, styled))
        .collect();
    told.join("\n\n")
}

/// A warning with its remedy.
pub fn warning(text: &str, hint: Option<&str>, styled: bool) -> String {
    let title = renderer(styled).render(&[Group::with_title(Level::WARNING.primary_title(text))]);
    with_hint(title, hint)
}

fn problem(p: &Problem, files: &mut HashMap<PathBuf, Option<String>>, styled: bool) -> String {
    let line = shown_line(&p.place, files);
    let title = if line.is_some() {
        let key = Place {
            key: p.place.key.clone(),
            ..Place::default()
        };
        format!("{key}{}", p.message)
    } else {
        format!("{}{}", p.place, p.message)
    };
    let title = Level::ERROR.primary_title(title);
    let report = match &line {
        Some(shown) => title.element(
            Snippet::source(shown.text.as_str())
                .path(shown.path.as_str())
                .line_start(shown.number)
                .fold(false)
                .annotation(AnnotationKind::Primary.span(shown.span.clone())),
        ),
        None => Group::with_title(title),
    };
    with_hint(renderer(styled).render(&[report]), p.hint.as_deref())
}

fn with_hint(text: String, hint: Option<&str>) -> String {
    match hint {
        Some(hint) => format!("{}\n\nhint: {hint}", text.trim_end()),
        None => text,
    }
}

fn renderer(styled: bool) -> Renderer {
    if styled {
        Renderer::styled().decor_style(DecorStyle::Ascii)
    } else {
        Renderer::plain().decor_style(DecorStyle::Ascii)
    }
}

struct Shown {
    text: String,
    path: String,
    number: usize,
    span: std::ops::Range<usize>,
}

/// The line a problem stands on, if the file can still be read and the line is fit to be shown.
fn shown_line(place: &Place, files: &mut HashMap<PathBuf, Option<String>>) -> Option<Shown> {
    let path = place.file.as_ref()?;
    let (number, column) = (place.line?, place.column?);
    let text = files.entry(path.clone()).or_insert_with(|| read(path));
    let line = text.as_deref()?.lines().nth(number.checked_sub(1)?)?;
    if line.len() > LONGEST_LINE {
        return None;
    }
    let byte = |chars: usize| {
        line.char_indices()
            .nth(chars)
            .map_or(line.len(), |(i, _)| i)
    };
    let start = byte(column.checked_sub(1)?);
    let end = byte(column - 1 + place.width.unwrap_or(1));
    Some(Shown {
        text: line.to_owned(),
        path: path.display().to_string(),
        number,
        span: start..end.max(start),
    })
}

fn read(path: &Path) -> Option<String> {
    let about = std::fs::metadata(path).ok()?;
    (about.is_file() && about.len() <= MOST_BYTES)
        .then(|| std::fs::read_to_string(path).ok())
        .flatten()
}
