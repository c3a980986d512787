//! A file's text with the place of every key in it.
//!
//! Paths of keys are written `surfaces[2].span_m`. A key that is no plain word is written
//! `["such a one"]`, with control characters escaped, so that a path is always one safe line.

use std::collections::HashMap;
use std::ops::Range;
use std::path::{Path, PathBuf};

use jsonc_parser::ast;
use jsonc_parser::common::Ranged;
use jsonc_parser::{CollectOptions, ParseOptions, parse_to_ast};

use crate::error::Problem;

/// Where a node stands in the text, in bytes.
#[derive(Clone, Debug)]
struct Node {
    key: Option<Range<usize>>,
    value: Range<usize>,
    is_leaf: bool,
}

/// A file as read.
#[derive(Clone, Debug)]
pub struct Source {
    /// The file as named by the user.
    pub path: PathBuf,
    /// Its text.
    pub text: String,
    nodes: HashMap<String, Node>,
    duplicates: Vec<(String, Range<usize>)>,
    line_starts: Vec<usize>,
}

impl Source {
    /// Indexes a text. A text that is no JSON gives an index without keys.
    pub fn new(path: impl Into<PathBuf>, text: impl Into<String>) -> Self {
        let text = text.into();
        let mut line_starts = vec![0];
        line_starts.extend(text.match_indices('\n').map(|(i, _)| i + 1));
        let mut source = Source {
            path: path.into(),
            text: String::new(),
            nodes: HashMap::new(),
            duplicates: Vec::new(),
            line_starts,
        };
        if let Ok(parsed) = parse_to_ast(&text, &CollectOptions::default(), &strict())
            && let Some(root) = &parsed.value
        {
            source.enter("", None, root);
        }
        source.text = text;
        source
    }

    /// The folder that relative paths inside the file start from.
    pub fn folder(&self) -> &Path {
        self.path.parent().unwrap_or(Path::new(""))
    }

    /// Paths of keys that occur a second time in their object.
    pub fn duplicates(&self) -> impl Iterator<Item = &str> {
        self.duplicates.iter().map(|(path, _)| path.as_str())
    }

    fn enter(&mut self, path: &str, key: Option<Range<usize>>, value: &ast::Value) {
        let node = Node {
            key,
            value: value.start()..value.end(),
            is_leaf: !matches!(value, ast::Value::Object(_) | ast::Value::Array(_)),
        };
        self.nodes.insert(path.to_owned(), node);
        match value {
            ast::Value::Object(object) => {
                let mut seen = std::collections::HashSet::new();
                for property in &object.properties {
                    let child = join(path, property.name.as_str());
                    let key = property.name.start()..property.name.end();
                    if !seen.insert(property.name.as_str()) {
                        self.duplicates.push((child.clone(), key.clone()));
                    }
                    self.enter(&child, Some(key), &property.value);
                }
            }
            ast::Value::Array(array) => {
                for (i, element) in array.elements.iter().enumerate() {
                    self.enter(&item(path, i), None, element);
                }
            }
            _ => {}
        }
    }

    /// Line and column (characters, both from 1) of a byte of the text.
    pub fn line_column(&self, byte: usize) -> (usize, usize) {
        let mut byte = byte.min(self.text.len());
        while !self.text.is_char_boundary(byte) {
            byte -= 1;
        }
        let line = self.line_starts.partition_point(|&s| s <= byte).max(1);
        let start = self.line_starts[line - 1];
        (line, self.text[start..byte].chars().count() + 1)
    }

    /// Byte of the text at a line and a byte column, both from 1.
    pub(super) fn byte_at(&self, line: usize, byte_column: usize) -> usize {
        let start = self
            .line_starts
            .get(line.saturating_sub(1))
            .copied()
            .unwrap_or(self.text.len());
        (start + byte_column.saturating_sub(1)).min(self.text.len())
    }

    /// Sets file, line, column and width of a problem to a range of bytes.
    pub(super) fn place(&self, problem: &mut Problem, range: Range<usize>) {
        let (line, column) = self.line_column(range.start);
        let shown = self.text.get(range).unwrap_or("");
        let width = shown.lines().next().map_or(0, |l| l.chars().count());
        problem.place.file.get_or_insert_with(|| self.path.clone());
        problem.place.line = Some(line);
        problem.place.column = Some(column);
        problem.place.width = Some(width.max(1));
    }

    /// Places a problem on the name of the key at `path`, where there is one.
    pub(super) fn place_on_key(&self, problem: &mut Problem, path: &str) {
        match self.nodes.get(path).and_then(|n| n.key.clone()) {
            Some(key) => self.place(problem, key),
            None => self.place_on_value(problem, path),
        }
    }

    /// Places a problem on the second of two equal keys.
    pub(super) fn place_on_duplicate(&self, problem: &mut Problem, path: &str) {
        if let Some((_, key)) = self.duplicates.iter().find(|(p, _)| p == path) {
            self.place(problem, key.clone());
        }
    }

    /// Places a problem on the value at `path`; on what holds it where the path does not exist.
    pub(super) fn place_on_value(&self, problem: &mut Problem, path: &str) {
        let mut at = path;
        loop {
            if let Some(node) = self.nodes.get(at) {
                let exact = at.len() == path.len();
                let range = match (&node.key, node.is_leaf && exact) {
                    (_, true) => node.value.clone(),
                    (Some(key), false) => key.clone(),
                    (None, false) => node.value.start..node.value.start + 1,
                };
                return self.place(problem, range);
            }
            if at.is_empty() {
                problem.place.file.get_or_insert_with(|| self.path.clone());
                return;
            }
            at = parent(at);
        }
    }
}

/// Fills file, line and column of problems that name a key of `source` and have no line yet.
/// Problems that already name another file are left alone.
pub fn locate(mut problems: Vec<Problem>, source: &Source) -> Vec<Problem> {
    for p in &mut problems {
        let foreign = p.place.file.as_ref().is_some_and(|f| *f != source.path);
        if !foreign && p.place.line.is_none() {
            let key = p.place.key.clone();
            source.place_on_value(p, &key);
        }
    }
    problems
}

/// Characters of a key that a path shows; no key of ours is that long.
const LONGEST_KEY: usize = 80;

/// Path of the member `key` of the object at `path`.
pub fn join(path: &str, key: &str) -> String {
    let cut = key.char_indices().nth(LONGEST_KEY).map(|(i, _)| i);
    let key = &key[..cut.unwrap_or(key.len())];
    let plain = !key.is_empty()
        && key
            .chars()
            .all(|c| c.is_alphanumeric() || c == '_' || c == '-');
    match (plain, path.is_empty()) {
        (true, true) => key.to_owned(),
        (true, false) => format!("{path}.{key}"),
        (false, _) => format!("{path}[{key:?}]"),
    }
}

/// Path of element `index` of the list at `path`.
pub fn item(path: &str, index: usize) -> String {
    format!("{path}[{index}]")
}

/// Path of what holds the node at `path`; empty for the document.
fn parent(path: &str) -> &str {
    let cut = path.rfind(['.', '[']).unwrap_or(0);
    &path[..cut]
}

/// JSON as the standard has it, none of the parser's liberties.
fn strict() -> ParseOptions {
    ParseOptions {
        allow_comments: false,
        allow_loose_object_property_names: false,
        allow_trailing_commas: false,
        allow_missing_commas: false,
        allow_single_quoted_strings: false,
        allow_hexadecimal_numbers: false,
        allow_unary_plus_numbers: false,
        allow_bare_decimal_point_numbers: false,
        allow_non_finite_numbers: false,
        allow_extended_string_escapes: false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "{\n  \"a\": [1, {\"bé\": 2.5}],\n  \"a.b\": null\n}\n";

    fn found(path: &str) -> (usize, usize, usize) {
        let source = Source::new("x.json", TEXT);
        let p = locate(vec![Problem::at(path, "")], &source).remove(0).place;
        (
            p.line.unwrap_or(0),
            p.column.unwrap_or(0),
            p.width.unwrap_or(0),
        )
    }

    #[test]
    fn keys_are_found_by_their_path() {
        assert_eq!(found("a[0]"), (2, 9, 1));
        assert_eq!(found("a[1].bé"), (2, 19, 3), "columns count characters");
        assert_eq!(found("[\"a.b\"]"), (3, 10, 4));
        assert_eq!(found("a"), (2, 3, 3), "the key of a list, not all of it");
    }

    #[test]
    fn a_missing_key_is_told_at_what_should_hold_it() {
        assert_eq!(found("a[1].gone"), (2, 12, 1));
        assert_eq!(found("gone.too"), (1, 1, 1));
    }

    #[test]
    fn problems_of_other_files_are_left_alone() {
        let source = Source::new("x.json", TEXT);
        let mut p = Problem::at("a", "");
        p.place.file = Some("y.json".into());
        assert_eq!(locate(vec![p.clone()], &source), vec![p]);
    }

    #[test]
    fn second_keys_are_listed() {
        let source = Source::new("x.json", "{\"a\": 1, \"b\": {\"c\": 1, \"c\": 2}}");
        assert_eq!(source.duplicates().collect::<Vec<_>>(), ["b.c"]);
    }
}
