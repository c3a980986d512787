//! Verbs and options. Every option says what it is, in which unit, and has an example where the
//! spelling is not obvious; `tests/house.rs` sees to it.

use std::path::PathBuf;

use clap::{Parser, Subcommand};

use super::{cmd_check, cmd_schema, cmd_show};

/// Motion control of small-waterplane-area twin-hull craft, from a craft file to a judged ride.
#[derive(Clone, Debug, Parser)]
#[command(
    name = "ridewright",
    version,
    max_term_width = 100,
    after_help = "Exit status: 0 all met; 1 ran, but a limit, case or file failed; 2 could not run.\n\
                  Results go to standard output, everything else to standard error."
)]
pub struct Args {
    /// Print results and errors only: no progress, no remarks.
    #[arg(long, short, global = true)]
    pub quiet: bool,
    /// What to do.
    #[command(subcommand)]
    pub verb: Verb,
}

/// What to do.
#[derive(Clone, Debug, Subcommand)]
pub enum Verb {
    /// Validate files of any kind; all faults of all files at once.
    Check(cmd_check::Options),
    /// Print a file with every default written out.
    Show(cmd_show::Options),
    /// Print or write the JSON Schemas of the file formats.
    Schema(cmd_schema::Options),
}

/// The craft a verb is about.
#[derive(Clone, Debug, clap::Args)]
pub struct CraftArg {
    /// Craft file (`ridewright.craft/1`).
    #[arg(value_name = "CRAFT.json")]
    pub craft: PathBuf,
}

/// How results are told.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct OutputArgs {
    /// Print the result as JSON instead of tables.
    #[arg(long)]
    pub json: bool,
    /// Folder to write pictures and data into; made if it does not exist, e.g. --out out/stability.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

/// Speeds to work at.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct SpeedArgs {
    /// Speeds in knots, separated by commas, e.g. --speed-kn 0,12,18.
    #[arg(long, value_name = "KN", value_delimiter = ',', value_parser = speed_kn)]
    pub speed_kn: Vec<f64>,
}

/// Wave headings to work at.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct HeadingArgs {
    /// Wave headings in degrees, where the waves travel to relative to the bow: 180 head seas, 0
    /// following, 90 from port; separated by commas, e.g. --heading-deg 180,135,90.
    #[arg(long, value_name = "DEG", value_delimiter = ',', value_parser = heading_deg)]
    pub heading_deg: Vec<f64>,
}

/// `hydrostatics`: volumes, centres, metacentric heights, curves of heel and immersion.
#[derive(Clone, Debug, clap::Args)]
#[command(after_help = "Example: ridewright hydrostatics scenarios/craft/NAME.json --out out")]
pub struct HydrostaticsOptions {
    /// The craft.
    #[command(flatten)]
    pub craft: CraftArg,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// `coefficients`: added mass, damping and exciting force against frequency.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright coefficients scenarios/craft/NAME.json --speed-kn 0,18 --out out"
)]
pub struct CoefficientsOptions {
    /// The craft.
    #[command(flatten)]
    pub craft: CraftArg,
    /// Speeds.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Headings of the exciting force.
    #[command(flatten)]
    pub heading: HeadingArgs,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// `stability`: trim, fin range left, poles, divergence speed.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright stability scenarios/craft/NAME.json --speed-kn 6,12,18 --out out"
)]
pub struct StabilityOptions {
    /// The craft.
    #[command(flatten)]
    pub craft: CraftArg,
    /// Speeds.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// `response`: transfer functions from waves to motions and to named points.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright response scenarios/craft/NAME.json --controller controllers/fixed.json \
                  --speed-kn 18 --heading-deg 180"
)]
pub struct ResponseOptions {
    /// The craft.
    #[command(flatten)]
    pub craft: CraftArg,
    /// Controller file; fins fixed at trim when absent, e.g. --controller controllers/fixed.json.
    #[arg(long, value_name = "LAW.json")]
    pub controller: Option<PathBuf>,
    /// Speeds.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Headings.
    #[command(flatten)]
    pub heading: HeadingArgs,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// `fins`: each fin's force, and what each fin effect gives and takes.
#[derive(Clone, Debug, clap::Args)]
#[command(after_help = "Example: ridewright fins scenarios/craft/NAME.json --speed-kn 18")]
pub struct FinsOptions {
    /// The craft.
    #[command(flatten)]
    pub craft: CraftArg,
    /// Speeds.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// `sea`: spectrum, moments and one record of a sea.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright sea scenarios/sea/NAME.json --duration-s 1800 --seed 1"
)]
pub struct SeaOptions {
    /// Sea file (`ridewright.sea/1`).
    #[arg(value_name = "SEA.json")]
    pub sea: PathBuf,
    /// Length of the record in seconds.
    #[arg(long, value_name = "S", default_value_t = 1800.0, value_parser = seconds)]
    pub duration_s: f64,
    /// Seed of the record, a whole number (no unit).
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    pub seed: u64,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// `run`: one controller of a scenario, time histories kept.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright run scenarios/NAME.json --speed-kn 18 --heading-deg 180 --out out"
)]
pub struct RunOptions {
    /// Scenario file (`ridewright.scenario/1`).
    #[arg(value_name = "SCENARIO.json")]
    pub scenario: PathBuf,
    /// Only the controller of this name, e.g. --only pid.
    #[arg(long, value_name = "NAME")]
    pub only: Option<String>,
    /// Only these speeds of the scenario.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Only these headings of the scenario.
    #[command(flatten)]
    pub heading: HeadingArgs,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// `compare`: all controllers of a scenario against its first, numbers and pictures.
#[derive(Clone, Debug, clap::Args)]
#[command(after_help = "Example: ridewright compare scenarios/NAME.json --out out")]
pub struct CompareOptions {
    /// Scenario file (`ridewright.scenario/1`).
    #[arg(value_name = "SCENARIO.json")]
    pub scenario: PathBuf,
    /// Threads to run cases on, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// A number within a range, or what is wrong with it.
fn within(text: &str, low: f64, high: f64, unit: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if (low..=high).contains(&v) => Ok(v),
        Ok(v) => Err(format!(
            "is {v} {unit}, must lie between {low} {unit} and {high} {unit}"
        )),
        Err(_) => Err(format!("is no number; give {unit} without a unit sign")),
    }
}

fn speed_kn(text: &str) -> Result<f64, String> {
    within(text, 0.0, 80.0, "kn")
}

fn heading_deg(text: &str) -> Result<f64, String> {
    within(text, 0.0, 360.0, "deg")
}

fn seconds(text: &str) -> Result<f64, String> {
    within(text, 1.0, 1e6, "s")
}
