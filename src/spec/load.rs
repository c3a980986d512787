//! Reading files: bytes, syntax, keys, types, ranges, format version, then the checks of
//! [`super::validate`]. Every fault of a file is told at once, with file, line, column and key.

use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use schemars::JsonSchema;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use super::campaign::CampaignSpec;
use super::controller::ControllerSpec;
use super::craft::CraftSpec;
use super::criteria::CriteriaSpec;
use super::failures::FailuresSpec;
use super::fault::FaultSpec;
use super::rare::RareSpec;
use super::scatter::ScatterSpec;
use super::scenario::ScenarioSpec;
use super::sea::SeaSpec;
use super::source::{Source, locate};
use super::tuning::TuningSpec;
use super::{hint, schema, shape, syntax, validate};
use crate::error::{Error, Problem, Result};

/// Bytes a file may have; the largest sensible one has some tens of kilobytes.
pub const MOST_BYTES: u64 = 16 << 20;

/// Problems told of one file; more do not help anybody.
pub const MOST_PROBLEMS: usize = 100;

/// A file read, with its text kept so that later rooms can say where a value stands.
#[derive(Clone, Debug)]
pub struct Loaded<T> {
    /// What it says.
    pub spec: T,
    /// Its text and the place of every key, for [`locate`].
    pub source: Source,
}

/// A kind of file.
pub trait Document: DeserializeOwned + Serialize + JsonSchema + Clone {
    /// The word in its format, `craft` in `ridewright.craft/1`.
    const KIND: &'static str;

    /// Checks that need more than one key. `folder` is where relative paths start; without one
    /// the disk is not looked at.
    fn cross_check(&self, folder: Option<&Path>) -> Vec<Problem>;

    /// The generated JSON Schema.
    fn schema() -> &'static Value;
}

macro_rules! document {
    ($type:ty, $kind:literal, $check:path) => {
        impl Document for $type {
            const KIND: &'static str = $kind;

            fn cross_check(&self, folder: Option<&Path>) -> Vec<Problem> {
                $check(self, folder)
            }

            fn schema() -> &'static Value {
                static SCHEMA: OnceLock<Value> = OnceLock::new();
                SCHEMA.get_or_init(schema::generate::<$type>)
            }
        }
    };
}

document!(CraftSpec, "craft", validate::craft);
document!(SeaSpec, "sea", validate::sea);
document!(ControllerSpec, "controller", validate::controller);
document!(CriteriaSpec, "criteria", validate::criteria);
document!(FaultSpec, "fault", validate::fault::fault);
document!(ScatterSpec, "scatter", validate::scatter);
document!(ScenarioSpec, "scenario", validate::scenario);
document!(TuningSpec, "tuning", validate::tuning);
document!(CampaignSpec, "campaign", validate::campaign);
document!(RareSpec, "rare", validate::rare);
document!(FailuresSpec, "failures", validate::failures);

/// Any file, by its `format`.
#[derive(Clone, Debug)]
pub enum Any {
    /// A craft.
    Craft(Box<Loaded<CraftSpec>>),
    /// A sea.
    Sea(Box<Loaded<SeaSpec>>),
    /// A control law.
    Controller(Box<Loaded<ControllerSpec>>),
    /// Limits of the ride.
    Criteria(Box<Loaded<CriteriaSpec>>),
    /// A fault.
    Fault(Box<Loaded<FaultSpec>>),
    /// A scatter diagram.
    Scatter(Box<Loaded<ScatterSpec>>),
    /// A scenario.
    Scenario(Box<Loaded<ScenarioSpec>>),
    /// A tuning.
    Tuning(Box<Loaded<TuningSpec>>),
    /// A campaign.
    Campaign(Box<Loaded<CampaignSpec>>),
    /// Rare events.
    Rare(Box<Loaded<RareSpec>>),
    /// A matrix of failures.
    Failures(Box<Loaded<FailuresSpec>>),
}

/// Reads a craft file.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_craft(path: impl AsRef<Path>) -> Result<Loaded<CraftSpec>> {
    load(path.as_ref())
}

/// Reads a sea file.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_sea(path: impl AsRef<Path>) -> Result<Loaded<SeaSpec>> {
    load(path.as_ref())
}

/// Reads a controller file.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_controller(path: impl AsRef<Path>) -> Result<Loaded<ControllerSpec>> {
    load(path.as_ref())
}

/// Reads a criteria file.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_criteria(path: impl AsRef<Path>) -> Result<Loaded<CriteriaSpec>> {
    load(path.as_ref())
}

/// Reads a fault file.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_fault(path: impl AsRef<Path>) -> Result<Loaded<FaultSpec>> {
    load(path.as_ref())
}

/// Reads a scatter file.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_scatter(path: impl AsRef<Path>) -> Result<Loaded<ScatterSpec>> {
    load(path.as_ref())
}

/// Reads a scenario file, not the files it names; see [`super::validate::bundle`] for all.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_scenario(path: impl AsRef<Path>) -> Result<Loaded<ScenarioSpec>> {
    load(path.as_ref())
}

/// Reads a tuning file, not the files it names.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_tuning(path: impl AsRef<Path>) -> Result<Loaded<TuningSpec>> {
    load(path.as_ref())
}

/// Reads a campaign file, not the files it names.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_campaign(path: impl AsRef<Path>) -> Result<Loaded<CampaignSpec>> {
    load(path.as_ref())
}

/// Reads a rare-event file, not the files it names.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_rare(path: impl AsRef<Path>) -> Result<Loaded<RareSpec>> {
    load(path.as_ref())
}

/// Reads a failures file, not the files it names.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_failures(path: impl AsRef<Path>) -> Result<Loaded<FailuresSpec>> {
    load(path.as_ref())
}

/// Reads a file of whatever kind its `format` says.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load_any(path: impl AsRef<Path>) -> Result<Any> {
    let path = path.as_ref();
    parse_any(path, read(path)?, true)
}

/// [`load_any`] on bytes already read; `on_disk` says whether files it names are looked for.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn parse_any(path: &Path, bytes: Vec<u8>, on_disk: bool) -> Result<Any> {
    let (source, value) = open(path, bytes)?;
    let kind = kind_of(&value, &source)?;
    Ok(match kind {
        CraftSpec::KIND => Any::Craft(Box::new(finish(source, &value, on_disk)?)),
        SeaSpec::KIND => Any::Sea(Box::new(finish(source, &value, on_disk)?)),
        ControllerSpec::KIND => Any::Controller(Box::new(finish(source, &value, on_disk)?)),
        CriteriaSpec::KIND => Any::Criteria(Box::new(finish(source, &value, on_disk)?)),
        FaultSpec::KIND => Any::Fault(Box::new(finish(source, &value, on_disk)?)),
        ScatterSpec::KIND => Any::Scatter(Box::new(finish(source, &value, on_disk)?)),
        TuningSpec::KIND => Any::Tuning(Box::new(finish(source, &value, on_disk)?)),
        CampaignSpec::KIND => Any::Campaign(Box::new(finish(source, &value, on_disk)?)),
        RareSpec::KIND => Any::Rare(Box::new(finish(source, &value, on_disk)?)),
        FailuresSpec::KIND => Any::Failures(Box::new(finish(source, &value, on_disk)?)),
        _ => Any::Scenario(Box::new(finish(source, &value, on_disk)?)),
    })
}

/// Reads a file as the kind `T`.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn load<T: Document>(path: &Path) -> Result<Loaded<T>> {
    let (source, value) = open(path, read(path)?)?;
    finish(source, &value, true)
}

/// [`load`] on a text already read: nothing else on the disk is looked at.
///
/// # Errors
/// All problems of the file, each with its place.
pub fn parse<T: Document>(path: impl Into<PathBuf>, text: &str) -> Result<Loaded<T>> {
    let (source, value) = open(&path.into(), text.as_bytes().to_vec())?;
    finish(source, &value, false)
}

/// Everything wrong with a specification that was built in memory: ranges and cross-checks.
pub fn problems_of<T: Document>(spec: &T) -> Vec<Problem> {
    let value = match serde_json::to_value(spec) {
        Ok(value) => value,
        Err(e) => return vec![Problem::at("", format!("cannot be written as JSON: {e}"))],
    };
    let mut problems = shape::walk(&value, T::schema(), None).problems;
    add_new(&mut problems, spec.cross_check(None));
    problems
}

fn read(path: &Path) -> Result<Vec<u8>> {
    let fail = |e: &std::io::Error| {
        let mut error = Error::io("read this file", path, e);
        error.problems[0].hint = match e.kind() {
            std::io::ErrorKind::NotFound => neighbour(path),
            _ => None,
        };
        error
    };
    let file = std::fs::File::open(path).map_err(|e| fail(&e))?;
    let about = file.metadata().map_err(|e| fail(&e))?;
    if about.is_dir() {
        let p = Problem::at("", "is a folder, must be a JSON file");
        return Err(Error::from(p.hint("name a file inside it")).in_file(path));
    }
    let mut bytes = Vec::new();
    file.take(MOST_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| fail(&e))?;
    if bytes.len() as u64 > MOST_BYTES {
        let p = Problem::at(
            "",
            format!("is larger than {} MiB, must be smaller", MOST_BYTES >> 20),
        );
        let p = p.hint("is this a result instead of an input?");
        return Err(Error::from(p).in_file(path));
    }
    Ok(bytes)
}

/// The file of the same folder whose name is closest.
fn neighbour(path: &Path) -> Option<String> {
    let folder = match path.parent()? {
        p if p.as_os_str().is_empty() => Path::new("."),
        p => p,
    };
    let Ok(entries) = folder.read_dir() else {
        return Some(format!("the folder {} does not exist", folder.display()));
    };
    let names: Vec<String> = entries
        .take(1000)
        .filter_map(|e| e.ok()?.file_name().into_string().ok())
        .collect();
    let wanted = path.file_name()?.to_str()?;
    let meant = hint::closest(wanted, names.iter().map(String::as_str))?;
    Some(format!(
        "did you mean {}?",
        path.with_file_name(meant).display()
    ))
}

fn open(path: &Path, bytes: Vec<u8>) -> Result<(Source, Value)> {
    let text = syntax::decode(bytes).map_err(|p| Error::from(*p).in_file(path))?;
    let source = Source::new(path, text);
    let mut value = syntax::parse(&source).map_err(|p| Error::from(*p))?;
    if let Value::Object(object) = &mut value {
        // for editors; not ours
        object.shift_remove("$schema");
    }
    Ok((source, value))
}

/// Reads the value along the schema of `T` and checks it; all problems at once.
fn finish<T: Document>(source: Source, value: &Value, on_disk: bool) -> Result<Loaded<T>> {
    let mut problems = Vec::new();
    for path in source.duplicates() {
        let mut p = Problem::at(path, "stands here a second time").hint("keep one of the two");
        source.place_on_duplicate(&mut p, path);
        problems.push(p);
    }
    if let Some(p) = wrong_format(value, T::KIND) {
        return Err(Error::from(locate(vec![p], &source)));
    }
    let found = shape::walk(value, T::schema(), Some(&source));
    problems.extend(found.problems);
    let spec = if found.is_misshapen {
        None
    } else {
        let known = shape::without_unknown(value, T::schema());
        match serde_path_to_error::deserialize::<_, T>(&known) {
            Ok(spec) => {
                let folder = on_disk.then(|| source.folder());
                add_new(&mut problems, spec.cross_check(folder));
                Some(spec)
            }
            Err(e) => {
                problems.push(Problem::at(e.path().to_string(), e.inner().to_string()));
                None
            }
        }
    };
    match spec {
        Some(spec) if problems.is_empty() => Ok(Loaded { spec, source }),
        _ => Err(sorted(locate(problems, &source), &source)),
    }
}

/// Adds problems of keys that are not in trouble already.
fn add_new(problems: &mut Vec<Problem>, more: Vec<Problem>) {
    for p in more {
        let known = problems
            .iter()
            .any(|q| !q.place.key.is_empty() && p.place.key == q.place.key);
        if !known {
            problems.push(p);
        }
    }
}

fn sorted(mut problems: Vec<Problem>, source: &Source) -> Error {
    problems.sort_by_key(|p| (p.place.line, p.place.column));
    if problems.len() > MOST_PROBLEMS {
        let more = problems.len() - MOST_PROBLEMS;
        problems.truncate(MOST_PROBLEMS);
        let mut last = Problem::at("", format!("has {more} more problems"));
        last.place.file = Some(source.path.clone());
        problems.push(last);
    }
    Error::from(problems)
}

/// The kinds of file, in the order a user meets them.
pub const KINDS: [&str; 11] = [
    "craft",
    "sea",
    "controller",
    "criteria",
    "fault",
    "scatter",
    "scenario",
    "tuning",
    "campaign",
    "rare",
    "failures",
];

fn kind_of(value: &Value, source: &Source) -> Result<&'static str> {
    let fail = |p: Problem| Err(Error::from(locate(vec![p], source)));
    let Some(object) = value.as_object() else {
        return fail(Problem::at(
            "",
            format!("is {}, must be an object {{...}}", shape::described(value)),
        ));
    };
    let Some(format) = object.get("format").and_then(Value::as_str) else {
        let formats = KINDS.map(|k| format!("\"ridewright.{k}/1\"")).join(", ");
        let p = Problem::at(
            "format",
            format!("is missing or no text, must be one of {formats}"),
        );
        return fail(p.hint("begin the file with its format"));
    };
    let kind = format.strip_prefix("ridewright.").unwrap_or(format);
    let kind = kind.split('/').next().unwrap_or(kind);
    if let Some(kind) = KINDS.into_iter().find(|k| *k == kind) {
        return Ok(kind);
    }
    let formats = KINDS.map(|k| format!("ridewright.{k}/1"));
    let found = shape::quoted(format);
    let told = format!("is {found}, must be one of {}", formats.join(", "));
    let p = Problem::at("format", told);
    let meant = hint::closest(format, formats.iter().map(String::as_str));
    fail(match meant {
        Some(meant) => p.hint(format!("did you mean \"{meant}\"?")),
        None => p,
    })
}

/// A format of another kind or version makes all further talk pointless.
fn wrong_format(value: &Value, kind: &str) -> Option<Problem> {
    let found = value.get("format")?.as_str()?;
    let wanted = format!("ridewright.{kind}/1");
    if found == wanted {
        return None;
    }
    let p = Problem::at(
        "format",
        format!("is {}, must be {wanted:?}", shape::quoted(found)),
    );
    let (theirs, version) = found.split_once('/').unwrap_or((found, ""));
    let theirs = theirs.strip_prefix("ridewright.").unwrap_or(theirs);
    Some(if theirs == kind && !version.is_empty() {
        p.hint(
            "this program reads version 1: use the program the file was written for, or convert it",
        )
    } else if KINDS.contains(&theirs) {
        p.hint(format!(
            "this is a {theirs} file where a {kind} file is needed"
        ))
    } else {
        p
    })
}
