//! From bytes to a JSON value: everything that keeps a file from being JSON at all.

use serde_json::Value;

use super::source::Source;
use crate::error::Problem;

/// Bytes to text. The problem has no place beyond the line.
pub(super) fn decode(bytes: Vec<u8>) -> Result<String, Box<Problem>> {
    let utf16 = bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]);
    let text = match String::from_utf8(bytes) {
        Ok(text) => text,
        Err(e) => {
            let at = e.utf8_error().valid_up_to();
            let bytes = e.as_bytes();
            let line = 1 + bytes[..at].split(|b| *b == b'\n').count() - 1;
            let mut p = Problem::at(
                "",
                format!("is not UTF-8 text: byte {:#04x} on line {line}", bytes[at]),
            );
            p.place.line = Some(line);
            let what = if utf16 { "it looks like UTF-16: " } else { "" };
            return Err(Box::new(p.hint(format!("{what}save the file as UTF-8"))));
        }
    };
    if text.starts_with('\u{feff}') {
        let p = Problem::at("", "begins with a byte-order mark, must begin with {");
        return Err(Box::new(
            p.hint("save the file as UTF-8 without a byte-order mark"),
        ));
    }
    if text.trim().is_empty() {
        let p = Problem::at("", "is empty, must hold a JSON object");
        return Err(Box::new(
            p.hint("begin with {\"format\": \"ridewright.craft/1\", ...}"),
        ));
    }
    Ok(text)
}

/// Text to a value, or where it stops being JSON and what to do about it.
pub(super) fn parse(source: &Source) -> Result<Value, Box<Problem>> {
    serde_json::from_str(&source.text).map_err(|e| {
        let at = source.byte_at(e.line(), e.column());
        let told = e.to_string();
        let told = told.rsplit_once(" at line ").map_or(told.as_str(), |t| t.0);
        let mut p = Problem::at("", format!("is not JSON: {told}"));
        if e.is_eof() {
            p.message = "is not JSON: it ends before its last bracket or quote is closed".into();
        }
        p.hint = remedy(source, &e, at, told);
        let end = source.text.len();
        source.place(&mut p, at.min(end)..(at + 1).min(end));
        Box::new(p)
    })
}

fn remedy(source: &Source, e: &serde_json::Error, at: usize, told: &str) -> Option<String> {
    if e.is_eof() {
        let (line, bracket) = innermost_open(source)?;
        return Some(format!("the {bracket} of line {line} is not closed"));
    }
    let bytes = source.text.as_bytes();
    let here = bytes.get(at).copied().unwrap_or(b' ');
    let before = at.checked_sub(1).and_then(|i| bytes.get(i)).copied();
    let near = |c: u8| here == c || before == Some(c);
    let told = match told {
        "trailing comma" => "remove the comma before the closing bracket",
        "trailing characters" => "one file holds one object: remove what follows its last bracket",
        "number out of range" => "numbers reach to about 1.8e308",
        "recursion limit exceeded" => "no file of ours is nested deeper than a few levels",
        _ if near(b'/') || near(b'#') => "JSON has no comments: write remarks under `note`",
        _ if near(b'\'') => "use double quotes",
        _ if near(b'N') || near(b'I') => "JSON has no NaN and no Infinity: give a finite number",
        _ if near(b'.') || near(b'+') => {
            "write numbers as 0.5 or -3: digits on both sides of the point, no plus sign"
        }
        "key must be a string" => "put keys into double quotes",
        "invalid number" => "write numbers as 0.5, -3 or 1.2e-6",
        "expected `,` or `}`" => "a comma is missing before this, or a bracket is closed too early",
        "expected `,` or `]`" => {
            "a comma is missing before this, or write the decimal point as a point"
        }
        "expected `:`" => "write \"key\": value",
        "control character (\\u0000-\\u001F) found while parsing a string" => {
            "close the quote on the same line; write a line break inside a text as \\n"
        }
        _ => return None,
    };
    Some(told.to_owned())
}

/// Line and kind of the last bracket or quote that is still open at the end.
fn innermost_open(source: &Source) -> Option<(usize, &'static str)> {
    let mut open = Vec::new();
    let mut quote = None;
    let mut escaped = false;
    for (i, b) in source.text.bytes().enumerate() {
        if quote.is_some() {
            match b {
                _ if escaped => escaped = false,
                b'\\' => escaped = true,
                b'"' => quote = None,
                _ => {}
            }
            continue;
        }
        match b {
            b'"' => quote = Some(i),
            b'{' => open.push((i, "{")),
            b'[' => open.push((i, "[")),
            b'}' | b']' => drop(open.pop()),
            _ => {}
        }
    }
    let (at, what) = quote.map(|i| (i, "quote")).or_else(|| open.pop())?;
    Some((source.line_column(at).0, what))
}
