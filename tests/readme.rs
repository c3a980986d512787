//! What the README tells a reader to type is understood, and what it names is there.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

use std::fs;
use std::path::Path;

use clap::{CommandFactory, Parser};
use ridewright::cli::args::Args;

/// Lines that a reader sees without scrolling.
const FIRST_SCREEN: usize = 30;

const RUN: &str = "cargo run --release -- ";
const TEST: &str = "cargo test --release";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(relative: &str) -> String {
    fs::read_to_string(root().join(relative)).unwrap_or_else(|e| panic!("{relative}: {e}"))
}

/// Lines of the blocks a reader may paste into a shell, with their number; a line that ends with a
/// backslash goes on in the next.
fn shell_lines(text: &str) -> Vec<(usize, String)> {
    let mut lines: Vec<(usize, String)> = Vec::new();
    let mut is_inside = false;
    let mut goes_on = false;
    for (i, line) in text.lines().enumerate() {
        if let Some(language) = line.trim_start().strip_prefix("```") {
            is_inside =
                !is_inside && ["sh", "shell", "bash", "console", "text"].contains(&language);
            continue;
        }
        if !is_inside {
            continue;
        }
        let line = line.trim().trim_start_matches("$ ");
        let part = line.trim_end_matches('\\').trim();
        match lines.last_mut().filter(|_| goes_on) {
            Some((_, last)) => *last = format!("{last} {part}"),
            None => lines.push((i + 1, part.to_owned())),
        }
        goes_on = line.ends_with('\\');
    }
    lines
}

/// Commands for the program itself: what stands behind `cargo run ... --`.
fn commands(text: &str) -> Vec<(usize, Vec<String>)> {
    shell_lines(text)
        .into_iter()
        .filter(|(_, l)| l.starts_with("cargo run "))
        .filter_map(|(n, l)| {
            let (_, ours) = l.split_once(" -- ")?;
            Some((n, ours.split_whitespace().map(str::to_owned).collect()))
        })
        .collect()
}

/// What is wrong with a command: the parser's answer, files that do not exist.
fn faults(words: &[String]) -> Vec<String> {
    let mut wrong = Vec::new();
    let all = std::iter::once("ridewright").chain(words.iter().map(String::as_str));
    if let Err(e) = Args::try_parse_from(all) {
        wrong.push(e.to_string());
    }
    let after_out = |i: usize| i > 0 && words[i - 1] == "--out";
    for (i, word) in words.iter().enumerate() {
        let ending = Path::new(word).extension().and_then(|e| e.to_str());
        let is_file = matches!(ending, Some("json" | "md"));
        if is_file && !after_out(i) && !root().join(word).is_file() {
            wrong.push(format!("there is no {word}"));
        }
    }
    wrong
}

#[test]
fn every_command_is_understood() {
    let mut wrong = Vec::new();
    let mut count = 0;
    for guide in [
        "README.md",
        "DEVELOPERS.md",
        "scenarios/README.md",
        "controllers/README.md",
    ] {
        for (line, words) in commands(&read(guide)) {
            count += usize::from(guide == "README.md");
            let faults = faults(&words);
            wrong.extend(faults.iter().map(|f| format!("{guide}:{line}: {f}")));
        }
    }
    assert!(
        count > 0,
        "README.md has no line `{RUN}...` in a shell block"
    );
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn wrong_commands_would_be_seen() {
    let text = "```sh\ncargo run --release -- compare \\\n  scenarios/none.json --uot x\n```\n\
                ```json\ncargo run --release -- show\n```";
    let found = commands(text);
    assert_eq!(found.len(), 1, "one shell block, one command");
    assert_eq!(found[0].1.len(), 4, "the second line belongs to it");
    assert_eq!(faults(&found[0].1).len(), 2, "an option and a file");
}

#[test]
fn the_two_commands_stand_on_the_first_screen() {
    let text = read("README.md");
    let lines = shell_lines(&text);
    let first = |what: &str| lines.iter().find(|(_, l)| l.starts_with(what));
    let (job, _) = first(RUN).expect("the main job's command");
    let (tests, _) = first(TEST).expect("the command of the tests");
    assert!(job < tests, "the job first, then the tests");
    assert!(
        *tests <= FIRST_SCREEN,
        "line {tests} is below the first screen"
    );
}

#[test]
fn the_checks_run_what_the_readme_says() {
    let checks = read(".ci/run");
    let lines = shell_lines(&read("README.md"));
    for what in [RUN, TEST] {
        let (_, line) = lines.iter().find(|(_, l)| l.starts_with(what)).expect(what);
        assert!(checks.contains(line), ".ci/run lacks `{line}`");
    }
}

#[test]
fn every_verb_is_told_of_and_every_link_leads_somewhere() {
    let text = read("README.md");
    let mut wrong = Vec::new();
    for verb in Args::command().get_subcommands() {
        let name = verb.get_name();
        if !text.contains(&format!("`{name}")) {
            wrong.push(format!("the verb `{name}` is not told of"));
        }
    }
    let links = text.split("](").skip(1).filter_map(|l| l.split(')').next());
    for link in links.filter(|l| !l.contains("://") && !l.starts_with('#')) {
        if !root().join(link).exists() {
            wrong.push(format!("the link to {link} leads nowhere"));
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}
