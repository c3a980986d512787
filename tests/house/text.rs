//! Reading Rust text without a parser: comments and literals blanked, functions cut out.

/// The code with comments, texts and characters replaced by blanks; line breaks stay.
pub(crate) fn blank(code: &str) -> String {
    let c: Vec<char> = code.chars().collect();
    let mut out = String::with_capacity(code.len());
    let mut i = 0;
    while i < c.len() {
        let rest = |s: &str| s.chars().enumerate().all(|(k, x)| c.get(i + k) == Some(&x));
        let end = if rest("//") {
            (i..c.len()).find(|k| c[*k] == '\n').unwrap_or(c.len())
        } else if rest("/*") {
            let close = |k: &usize| c[*k] == '*' && c.get(k + 1) == Some(&'/');
            (i + 2..c.len()).find(close).map_or(c.len(), |k| k + 2)
        } else if c[i] == 'r' && !is_word(i.checked_sub(1).map(|k| c[k])) {
            raw_end(&c, i).unwrap_or(i)
        } else if c[i] == '"' {
            closing(&c, i, '"')
        } else if c[i] == '\'' && is_char(&c, i) {
            closing(&c, i, '\'')
        } else {
            i
        };
        if end > i {
            out.extend(
                c[i..end]
                    .iter()
                    .map(|x| if *x == '\n' { '\n' } else { ' ' }),
            );
            i = end;
        } else {
            out.push(c[i]);
            i += 1;
        }
    }
    out
}

fn is_word(c: Option<char>) -> bool {
    c.is_some_and(|c| c.is_alphanumeric() || c == '_')
}

/// A character literal, not a lifetime.
fn is_char(c: &[char], i: usize) -> bool {
    c.get(i + 1) == Some(&'\\') || c.get(i + 2) == Some(&'\'')
}

fn closing(c: &[char], open: usize, quote: char) -> usize {
    let mut k = open + 1;
    while k < c.len() && c[k] != quote {
        k += if c[k] == '\\' { 2 } else { 1 };
    }
    (k + 1).min(c.len())
}

/// End of a raw text `r"..."` or `r#"..."#` that begins at `i`.
fn raw_end(c: &[char], i: usize) -> Option<usize> {
    let hashes = c[i + 1..].iter().take_while(|x| **x == '#').count();
    (c.get(i + 1 + hashes) == Some(&'"')).then_some(())?;
    let start = i + 2 + hashes;
    let closes = |k: &usize| {
        c[*k] == '"'
            && c[k + 1..]
                .iter()
                .take(hashes)
                .filter(|x| **x == '#')
                .count()
                == hashes
    };
    Some(
        (start..c.len())
            .find(closes)
            .map_or(c.len(), |k| k + 1 + hashes),
    )
}

/// Name and body of every function of blanked code.
pub(crate) fn functions(code: &str) -> Vec<(String, String)> {
    code.match_indices("fn ")
        .filter(|(at, _)| !is_word(code[..*at].chars().next_back()))
        .filter_map(|(at, _)| function_at(code, at))
        .collect()
}

fn function_at(code: &str, at: usize) -> Option<(String, String)> {
    let name: String = code[at + 3..]
        .chars()
        .take_while(|c| is_word(Some(*c)))
        .collect();
    let open = at + code[at..].find('{')?;
    let mut depth = 0_usize;
    for (k, c) in code[open..].char_indices() {
        match c {
            '{' => depth += 1,
            '}' => {
                depth -= 1;
                if depth == 0 {
                    return (!name.is_empty()).then(|| (name, code[open..=open + k].to_owned()));
                }
            }
            _ => {}
        }
    }
    None
}

/// Name, attributes and body of every `#[test]` of blanked code.
pub(crate) fn tests_of(code: &str) -> Vec<(String, String, String)> {
    code.match_indices("#[test]")
        .filter_map(|(at, _)| {
            let fn_at = at + code[at..].find("fn ")?;
            let (name, body) = function_at(code, fn_at)?;
            Some((name, code[at..fn_at].to_owned(), body))
        })
        .collect()
}

#[test]
fn blanking_keeps_code_and_drops_texts() {
    let code = "let a = \"fn {\"; // fn\nlet b = '{'; let c: &'static str = r#\"}\"#;";
    let blanked = blank(code);
    assert!(!blanked.contains('{') && !blanked.contains('}') && !blanked.contains("fn"));
    assert!(blanked.contains("let c: &'static str ="));
    assert_eq!(blanked.lines().count(), 2);
}

#[test]
fn functions_are_cut_at_their_braces() {
    let found = functions("fn a() { if x { y } } fn b_c(z: u8) {}");
    assert_eq!(found[0].1, "{ if x { y } }");
    assert_eq!(found[1].0, "b_c");
}
