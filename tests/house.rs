//! Rules of the house that a machine keeps. Each failure names the file and what to do.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

use std::fs;
use std::path::{Path, PathBuf};

mod house {
    pub(crate) mod text;
}
use house::text::{blank, functions, tests_of};

const LONGEST_FILE: usize = 600;

/// Floors, lowest first. A room uses rooms of lower floors; rooms of the ground use each other.
const FLOORS: &[&[&str]] = &[
    &["caution", "error", "units", "frames", "math"],
    &["spec"],
    &["geometry", "sea"],
    &["hydro"],
    &["dynamics"],
    &["linear"],
    &["control"],
    &["design"],
    &["sim"],
    &["metrics"],
    &["closed_loop"],
    &["campaign"],
    &["tuning"],
    &["report"],
    &["cli"],
];

/// Arrows that point down a floor and are forbidden all the same.
const NEVER: &[(&str, &str, &str)] = &[
    (
        "control",
        "dynamics",
        "a law knows measurements and its own numbers",
    ),
    (
        "control",
        "hydro",
        "a law knows measurements and its own numbers",
    ),
    (
        "control",
        "sea",
        "a law knows measurements and its own numbers",
    ),
    ("control", "linear", "only `design` sees both sides"),
    (
        "metrics",
        "control",
        "metrics judge records, whoever made them",
    ),
    (
        "metrics",
        "dynamics",
        "metrics judge records, whoever made them",
    ),
];

/// Files of physics rooms that hold no physics, and why.
const PLUMBING: &[(&str, &str)] = &[(
    "src/hydro/cache.rs",
    "reads and writes tables that others compute",
)];

/// Doors to the disk, threads and the clock.
const DOORS: &[(&str, &[&str], &[&str])] = &[
    (
        "the disk",
        &["std::fs", "File::open", "File::create"],
        &[
            "src/spec/load.rs",
            "src/hydro/cache.rs",
            "src/sea/spectrum.rs",
            "src/report/",
            "src/cli/",
            "src/control/external.rs",
            "src/tuning/store.rs",
            "src/campaign/batch/store.rs",
            "src/campaign/lines.rs",
            "src/campaign/rare/journal.rs",
            "src/campaign/failures/journal.rs",
        ],
    ),
    (
        "threads",
        &["rayon", "std::thread", "thread::spawn"],
        &[
            "src/hydro/",
            "src/closed_loop/",
            "src/campaign/",
            "src/tuning/",
            "src/cli/",
            "src/control/external.rs",
        ],
    ),
    (
        "the wall clock",
        &["Instant::now", "SystemTime"],
        &["src/cli/", "src/control/external.rs"],
    ),
    ("the environment", &["std::env"], &["src/cli/"]),
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All files below `folder` with one of the endings, sorted, relative to the repository.
fn files(folder: &str, endings: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![root().join(folder)];
    while let Some(path) = open.pop() {
        if path.is_dir() {
            let entries = fs::read_dir(&path).unwrap();
            open.extend(entries.map(|e| e.unwrap().path()));
        } else if endings
            .iter()
            .any(|e| path.extension().is_some_and(|x| x == *e))
        {
            found.push(path.strip_prefix(root()).unwrap().to_owned());
        }
    }
    found.sort();
    found
}

fn read(path: &Path) -> String {
    fs::read_to_string(root().join(path)).unwrap()
}

fn rust_files() -> Vec<PathBuf> {
    ["src", "tests", "benches"]
        .iter()
        .filter(|d| root().join(d).is_dir())
        .flat_map(|d| files(d, &["rs"]))
        .collect()
}

/// `src/hydro/section/green.rs` is in the room `hydro`.
fn room(path: &Path) -> Option<String> {
    let inside = path.strip_prefix("src").ok()?;
    let first = inside.iter().next()?.to_str()?;
    Some(first.trim_end_matches(".rs").to_owned())
}

fn is_test_file(path: &Path) -> bool {
    let name = path.file_stem().and_then(|n| n.to_str()).unwrap_or("");
    name.contains("test") || path.iter().any(|part| part == "tests")
}

/// The code of a file without comments, texts and its tests.
fn code_of(path: &Path) -> String {
    let code = blank(&read(path));
    match code.find("#[cfg(test)]\nmod tests {") {
        Some(at) => code[..at].to_owned(),
        None => code,
    }
}

fn tell(wrong: &[String]) {
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn no_file_is_too_long() {
    let wrong: Vec<_> = rust_files()
        .iter()
        .map(|p| (p, read(p).lines().count()))
        .filter(|(_, n)| *n > LONGEST_FILE)
        .map(|(p, n)| {
            format!(
                "{}: {n} lines, at most {LONGEST_FILE}: split it",
                p.display()
            )
        })
        .collect();
    tell(&wrong);
}

#[test]
fn every_file_begins_with_what_it_is_for() {
    let wrong: Vec<_> = rust_files()
        .iter()
        .filter(|p| {
            let text = read(p);
            let first = text.lines().next().unwrap_or("");
            !(first.starts_with("//! ") && first.len() > 8)
        })
        .map(|p| format!("{}: begin it with `//! ` and a title", p.display()))
        .collect();
    tell(&wrong);
}

#[test]
fn rooms_use_lower_floors_only() {
    let floor = |room: &str| FLOORS.iter().position(|f| f.contains(&room));
    let mut wrong = Vec::new();
    for path in files("src", &["rs"]) {
        let Some(here) = room(&path).filter(|r| r != "lib" && r != "main") else {
            continue;
        };
        let Some(mine) = floor(&here) else {
            wrong.push(format!(
                "{}: room `{here}` stands on no floor",
                path.display()
            ));
            continue;
        };
        if is_test_file(&path) {
            continue;
        }
        let code = code_of(&path);
        for (at, _) in code.match_indices("crate::") {
            let rest = &code[at + "crate::".len()..];
            let names = if let Some(list) = rest.strip_prefix('{') {
                list.split('}').next().unwrap_or("")
            } else {
                rest
            };
            let end = |c: char| !(c.is_alphanumeric() || c == '_');
            let heads: Vec<&str> = if rest.starts_with('{') {
                names
                    .split(',')
                    .map(|n| n.trim().split(end).next().unwrap_or(""))
                    .collect()
            } else {
                vec![names.split(end).next().unwrap_or("")]
            };
            for there in heads {
                let Some(theirs) = floor(there) else { continue };
                let never = NEVER.iter().find(|n| n.0 == here && n.1 == there);
                if let Some((_, _, why)) = never {
                    wrong.push(format!("{}: {here} -> {there}: {why}", path.display()));
                } else if there != here && theirs >= mine && !(theirs == 0 && mine == 0) {
                    wrong.push(format!(
                        "{}: {here} (floor {mine}) uses {there} (floor {theirs})",
                        path.display()
                    ));
                }
            }
        }
    }
    tell(&wrong);
}

#[test]
fn disk_threads_and_clock_have_few_doors() {
    let mut wrong = Vec::new();
    for path in files("src", &["rs"]) {
        let code = code_of(&path);
        let name = path.to_str().unwrap();
        for (what, marks, doors) in DOORS {
            let is_door = doors.iter().any(|d| name.starts_with(d));
            let used = marks.iter().find(|m| code.contains(**m));
            if let Some(mark) = used.filter(|_| !is_door && !is_test_file(&path)) {
                wrong.push(format!("{name}: `{mark}`, but {what} is not for this room"));
            }
        }
    }
    tell(&wrong);
}

#[test]
fn physics_says_its_equation_source_and_check() {
    let everything: String = rust_files().iter().map(|p| blank(&read(p))).collect();
    let mut wrong = Vec::new();
    for folder in ["src/hydro", "src/sea", "src/linear", "src/metrics"] {
        for path in files(folder, &["rs"]) {
            let name = path.to_str().unwrap();
            let is_plate = name.ends_with("/mod.rs") || is_test_file(&path);
            let is_plumbing = PLUMBING.iter().any(|p| p.0 == name);
            if is_plate || is_plumbing || !code_of(&path).contains("fn ") {
                continue;
            }
            let text = read(&path);
            let doc: Vec<&str> = text
                .lines()
                .map_while(|l| l.strip_prefix("//!"))
                .map(str::trim)
                .collect();
            for heading in ["# Equation", "# Source", "# Checked by"] {
                if !doc.contains(&heading) {
                    wrong.push(format!("{name}: the module text lacks `{heading}`"));
                }
            }
            for test in checked_by(&doc) {
                if !everything.contains(&format!("fn {test}(")) {
                    wrong.push(format!(
                        "{name}: `# Checked by` names `{test}`, which is no test"
                    ));
                }
            }
        }
    }
    tell(&wrong);
}

/// Test names in backticks below `# Checked by`; paths of files are left out.
fn checked_by(doc: &[&str]) -> Vec<String> {
    let lines = doc.iter().skip_while(|l| **l != "# Checked by").skip(1);
    let text: Vec<&str> = lines
        .take_while(|l| !l.starts_with("# "))
        .copied()
        .collect();
    let text = text.join(" ");
    let quoted = text.split('`').skip(1).step_by(2);
    quoted
        .map(|q| {
            q.rsplit("::")
                .next()
                .unwrap_or(q)
                .trim_end_matches("()")
                .to_owned()
        })
        .filter(|q| q.contains('_') && q.chars().all(|c| c.is_ascii_alphanumeric() || c == '_'))
        .filter(|q| !q.starts_with("test_data"))
        .collect()
}

#[test]
fn every_test_asserts_something() {
    let mut wrong = Vec::new();
    let mut count = 0;
    for path in rust_files() {
        let code = blank(&read(&path));
        // helpers that a folder of tests shares stand in its mod.rs
        let shared = path.with_file_name("mod.rs");
        let shared = if is_test_file(&path) && root().join(&shared).is_file() {
            blank(&read(&shared))
        } else {
            String::new()
        };
        let helpers = functions(&code).into_iter().chain(functions(&shared));
        let asserting: Vec<String> = helpers
            .filter(|(_, body)| body.contains("assert"))
            .flat_map(|(name, _)| [format!("{name}("), format!("{name}::<")])
            .collect();
        for (name, attributes, body) in tests_of(&code) {
            count += 1;
            let direct = ["assert", "expect_err", "unwrap_err", "panic!"];
            let asserts = direct.iter().any(|a| body.contains(a))
                || attributes.contains("should_panic")
                || attributes.contains("ignore") // a report that somebody asks for, no check
                || asserting.iter().any(|a| body.contains(a.as_str()));
            if !asserts {
                wrong.push(format!(
                    "{}: test `{name}` cannot fail on a wrong result",
                    path.display()
                ));
            }
        }
    }
    assert!(count > 20, "the search for tests found only {count}");
    tell(&wrong);
}

#[test]
fn paths_named_in_the_guides_exist() {
    let guides = [
        "README.md",
        "DEVELOPERS.md",
        "scenarios/README.md",
        "controllers/README.md",
    ];
    let mut wrong = Vec::new();
    let mut read_some = false;
    for guide in guides.iter().filter(|g| root().join(g).is_file()) {
        read_some = true;
        let text = read(Path::new(guide));
        let end = |c: char| c.is_whitespace() || "`()[]\"',;:<>".contains(c);
        for word in text.split(end) {
            let word = word.trim_end_matches(['.', '/']);
            let is_ours = ["src/", "tests/", "benches/", "controllers/", "scenarios/"]
                .iter()
                .any(|d| word.starts_with(d));
            let is_pattern = word.contains(['*', '{', '}', '|'])
                || word.contains("NAME")
                || word.contains("...");
            if is_ours && !is_pattern && !root().join(word).exists() {
                wrong.push(format!("{guide}: `{word}` does not exist"));
            }
        }
    }
    assert!(read_some, "there is no guide at all");
    tell(&wrong);
}

#[test]
fn no_file_names_a_place_of_one_machine() {
    // put together here so that this file does not name them
    let places = ["/wo", "/ro", "/ho", "/tm"]
        .iter()
        .zip(["rk/", "ot/", "me/", "p/"]);
    let places: Vec<String> = places.map(|(a, b)| format!("{a}{b}")).collect();
    let endings = ["rs", "md", "json", "toml", "py"];
    let mut all: Vec<PathBuf> = rust_files();
    for folder in ["scenarios", "controllers"] {
        if root().join(folder).is_dir() {
            all.extend(files(folder, &endings));
        }
    }
    all.extend(["README.md", "Cargo.toml"].map(PathBuf::from));
    let mut wrong = Vec::new();
    for path in all {
        let text = read(&path);
        for place in &places {
            for (at, _) in text.match_indices(place.as_str()) {
                let before = text[..at].chars().next_back().unwrap_or(' ');
                if !(before.is_alphanumeric() || "._-*~/".contains(before)) {
                    wrong.push(format!("{}: names {place}", path.display()));
                }
            }
        }
    }
    tell(&wrong);
}

mod command_line {
    use std::any::TypeId;

    use clap::{Args as _, Command, CommandFactory};
    use ridewright::cli::args;

    /// All verbs: those registered, and those whose options are declared for later.
    fn verbs() -> Vec<Command> {
        let mut all: Vec<Command> = args::Args::command().get_subcommands().cloned().collect();
        let mut declare = |name: &'static str, augment: fn(Command) -> Command| {
            if all.iter().all(|c| c.get_name() != name) {
                all.push(augment(Command::new(name).about("declared")));
            }
        };
        declare("hydrostatics", args::HydrostaticsOptions::augment_args);
        declare("coefficients", args::CoefficientsOptions::augment_args);
        declare("stability", args::StabilityOptions::augment_args);
        declare("response", args::ResponseOptions::augment_args);
        declare("fins", args::FinsOptions::augment_args);
        declare("sea", args::SeaOptions::augment_args);
        all
    }

    #[test]
    fn every_option_has_help_and_every_number_a_unit() {
        let units = [
            "knots", "degrees", "seconds", "metres", "hertz", "rad/s", "count", "no unit",
            "percent", "decibels", "hours",
        ];
        let numbers = [
            TypeId::of::<f64>(),
            TypeId::of::<u64>(),
            TypeId::of::<u32>(),
            TypeId::of::<u16>(),
            TypeId::of::<usize>(),
            TypeId::of::<i64>(),
        ];
        let mut wrong = Vec::new();
        for verb in verbs() {
            for arg in verb.get_arguments().filter(|a| a.get_id() != "help") {
                let at = format!("{} {}", verb.get_name(), arg.get_id());
                let help = arg.get_help().map(ToString::to_string).unwrap_or_default();
                if help.len() < 8 {
                    wrong.push(format!("{at}: no help"));
                }
                let kind = arg.get_value_parser().type_id();
                let is_number = numbers.iter().any(|n| kind == *n);
                if is_number && !units.iter().any(|u| help.contains(u)) {
                    wrong.push(format!("{at}: a number without a unit in its help"));
                }
            }
        }
        assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
    }

    #[test]
    fn every_verb_has_an_example_and_speaks_json() {
        let mut wrong = Vec::new();
        for verb in verbs() {
            let after = verb
                .get_after_help()
                .map(ToString::to_string)
                .unwrap_or_default();
            let example = format!("ridewright {}", verb.get_name());
            if !after.contains("Example: ") || !after.contains(&example) {
                wrong.push(format!("{}: no example in its help", verb.get_name()));
            }
            if verb.get_about().is_none() {
                wrong.push(format!("{}: says not what it is for", verb.get_name()));
            }
            if verb.get_arguments().all(|a| a.get_id() != "json") {
                wrong.push(format!("{}: no --json", verb.get_name()));
            }
        }
        assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
    }

    #[test]
    fn the_definition_of_the_command_line_is_consistent() {
        args::Args::command().debug_assert();
    }
}
