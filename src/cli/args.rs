//! Verbs and options. Every option says what it is, in which unit, and has an example where the
//! spelling is not obvious; `tests/house.rs` sees to it.

use std::path::PathBuf;

use clap::{Parser, Subcommand};

use super::{
    cmd_bound, cmd_campaign, cmd_check, cmd_compare, cmd_export, cmd_failures, cmd_margins,
    cmd_merge, cmd_operability, cmd_predict, cmd_run, cmd_schedule, cmd_schema, cmd_show,
    cmd_signs, cmd_sweep, cmd_tune,
};
use crate::error::{Error, Result};

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
    /// Where tables of water forces are kept between runs.
    #[command(flatten)]
    pub cache: CacheArgs,
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
    /// Run all laws of a scenario and put them beside its first: numbers and pictures.
    Compare(cmd_compare::Options),
    /// Thousands of cases over a grid and random draws: on all cores, resumed after any stop.
    Campaign(cmd_campaign::Options),
    /// Every single fault of a craft and chosen pairs, each law: how severe, and the speed to come down to.
    Failures(cmd_failures::Options),
    /// The parts of a campaign, run apart, put together.
    Merge(cmd_merge::Options),
    /// A campaign's rows as CSV and Parquet, for other programs.
    Export(cmd_export::Options),
    /// Stability margins of laws on a craft: gain, phase, delay, disk; nominal and at their worst.
    Margins(cmd_margins::Options),
    /// A law over its range of speeds: frozen on a grid, ramped through, in a steady turn.
    Schedule(cmd_schedule::Options),
    /// The ride of a scenario by the spectral method, in milliseconds; how far simulation agrees.
    Predict(cmd_predict::Options),
    /// Limiting wave heights around the craft, and the share of an area's time in which each law can work.
    Operability(cmd_operability::Options),
    /// Run cases of a scenario and keep their time histories.
    Run(cmd_run::Options),
    /// The least ride that any causal linear law could reach, and how far each law is from it.
    Bound(cmd_bound::Options),
    /// Search gains for a better ride within limits, and confirm them by simulation.
    Tune(cmd_tune::Options),
    /// Ride and margins over one or two gains: curves or contours.
    Sweep(cmd_sweep::Options),
    /// Print or write the JSON Schemas of the file formats.
    Schema(cmd_schema::Options),
    /// Volumes, centres, metacentric heights, natural periods, curves of heel and immersion.
    Hydrostatics(HydrostaticsOptions),
    /// Added mass, damping and wave force against frequency; how well the memory fits.
    Coefficients(CoefficientsOptions),
    /// Trim, fin range left, poles and pitch stiffness against speed; divergence speeds.
    Stability(StabilityOptions),
    /// Transfer functions from waves to motions and named points, fins fixed at trim.
    Response(ResponseOptions),
    /// Each fin's force and hinge moment, downwash, and what each fin effect is worth.
    Fins(FinsOptions),
    /// Move each fin alone and tilt the craft: do fins and law turn the right way?
    Signs(cmd_signs::Options),
    /// Spectrum, moments and one record of a sea.
    Sea(SeaOptions),
}

/// Where tables of water forces are kept between runs.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct CacheArgs {
    /// Folder in which tables of water forces are kept; ridewright in the user's cache folder when
    /// absent ($XDG_CACHE_HOME, else $HOME/.cache), e.g. --cache out/cache.
    #[arg(long, global = true, value_name = "DIR")]
    pub cache: Option<PathBuf>,
    /// Keep no tables and read none: compute them anew.
    #[arg(long, global = true, conflicts_with = "cache")]
    pub no_cache: bool,
}

impl CacheArgs {
    /// The folder to use; none when caching is off or the user has no cache folder.
    pub fn folder(&self) -> Option<PathBuf> {
        if self.no_cache {
            return None;
        }
        let from = |key: &str| std::env::var_os(key).map(PathBuf::from);
        let usable = |p: &PathBuf| p.is_absolute();
        self.cache.clone().or_else(|| {
            from("XDG_CACHE_HOME")
                .filter(usable)
                .or_else(|| from("HOME").filter(usable).map(|h| h.join(".cache")))
                .map(|base| base.join("ridewright"))
        })
    }
}

/// The craft a verb is about.
#[derive(Clone, Debug, clap::Args)]
pub struct CraftArg {
    /// Craft file (`ridewright.craft/1`).
    #[arg(value_name = "CRAFT.json")]
    pub craft: PathBuf,
    /// Scenario file whose physics switches to use, e.g. --switches scenarios/NAME.json; all effects
    /// on when absent.
    #[arg(long, value_name = "SCENARIO.json")]
    pub switches: Option<PathBuf>,
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

/// Margins that a law must have; absent: not asked.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct RequiredMargins {
    /// Least gain margin, up and down, in decibels, e.g. 6.
    #[arg(long, value_name = "DB")]
    pub require_gm_db: Option<f64>,
    /// Least phase margin in degrees, e.g. 30.
    #[arg(long, value_name = "DEG")]
    pub require_pm_deg: Option<f64>,
    /// Least delay margin in seconds, e.g. 0.1.
    #[arg(long, value_name = "S")]
    pub require_delay_s: Option<f64>,
    /// Least disk margin of all fins at once (no unit), e.g. 0.5.
    #[arg(long, value_name = "ALPHA")]
    pub require_disk: Option<f64>,
    /// Least damping ratio of the craft's motions in closed loop (no unit), e.g. 0.1.
    #[arg(long, value_name = "RATIO")]
    pub require_damping: Option<f64>,
}

impl RequiredMargins {
    /// Gain (dB), phase (deg), delay (s), disk, damping.
    pub(super) fn required(&self) -> [Option<f64>; 5] {
        [
            self.require_gm_db,
            self.require_pm_deg,
            self.require_delay_s,
            self.require_disk,
            self.require_damping,
        ]
    }
}

/// Speeds to work at.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct SpeedArgs {
    /// Speeds in knots, separated by commas, e.g. --speed-kn 0,12,18.
    #[arg(long, value_name = "KN", value_delimiter = ',', value_parser = speed_kn)]
    pub speed_kn: Vec<f64>,
}

impl SpeedArgs {
    /// The speeds asked for; the design speed of the craft when none is.
    ///
    /// # Errors
    /// When there is neither.
    pub fn or_design(&self, design_kn: Option<f64>) -> Result<Vec<f64>> {
        match (self.speed_kn.is_empty(), design_kn) {
            (false, _) => Ok(self.speed_kn.clone()),
            (true, Some(v)) => Ok(vec![v]),
            (true, None) => Err(Error::with_hint(
                "no speed is given and the craft file has no `design_speed_kn`",
                "say --speed-kn KN",
            )),
        }
    }
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
    /// Also give the speed-dependent coefficients of strip theory in seakeeping axes.
    #[arg(long)]
    pub strip_theory: bool,
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
    /// List every pole, those of servos, lags and memory too.
    #[arg(long)]
    pub all: bool,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// `response`: transfer functions from waves to motions and to named points.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright response scenarios/craft/NAME.json --speed-kn 18 --heading-deg 180,0\n\
                  Fins are fixed at their trim angles, mean course and speed are held."
)]
pub struct ResponseOptions {
    /// The craft.
    #[command(flatten)]
    pub craft: CraftArg,
    /// Speeds.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Headings.
    #[command(flatten)]
    pub heading: HeadingArgs,
    /// Wave amplitude in metres at which quadratic drag is linearised; 0 leaves it out.
    #[arg(long, value_name = "M", default_value_t = 0.5, value_parser = amplitude_m)]
    pub amplitude_m: f64,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// `fins`: each fin's force, and what each fin effect gives and takes.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright fins scenarios/craft/NAME.json --speed-kn 18\n\
                  Example: ridewright fins scenarios/craft/NAME.json --markdown DEVELOPERS.md"
)]
pub struct FinsOptions {
    /// The craft.
    #[command(flatten)]
    pub craft: CraftArg,
    /// Speeds.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Markdown file whose table of fin effects to make anew, e.g. --markdown DEVELOPERS.md.
    #[arg(long, value_name = "FILE.md")]
    pub markdown: Option<PathBuf>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// `sea`: spectrum, moments and one record of a sea.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright sea scenarios/sea/NAME.json --duration-s 1800 --seed 1\n\
                  Example: ridewright sea scenarios/sea/NAME.json --craft scenarios/craft/NAME.json \
                  --speed-kn 18 --heading-deg 180"
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
    /// Craft file: is the component spacing fine enough for its narrowest response?
    #[arg(long, value_name = "CRAFT.json")]
    pub craft: Option<PathBuf>,
    /// Speeds of the craft.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Headings of the sea.
    #[command(flatten)]
    pub heading: HeadingArgs,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// A number or what is wrong with it.
type Parsed = std::result::Result<f64, String>;

/// A number within a range, or what is wrong with it.
fn within(text: &str, low: f64, high: f64, unit: &str) -> Parsed {
    match text.trim().parse::<f64>() {
        Ok(v) if (low..=high).contains(&v) => Ok(v),
        Ok(v) => Err(format!(
            "is {v} {unit}, must lie between {low} {unit} and {high} {unit}"
        )),
        Err(_) => Err(format!("is no number; give {unit} without a unit sign")),
    }
}

pub(super) fn speed_kn(text: &str) -> Parsed {
    within(text, 0.0, 80.0, "kn")
}

pub(super) fn step_deg(text: &str) -> Parsed {
    within(text, 0.5, 10.0, "deg")
}

fn heading_deg(text: &str) -> Parsed {
    within(text, 0.0, 360.0, "deg")
}

fn amplitude_m(text: &str) -> Parsed {
    within(text, 0.0, 10.0, "m")
}

pub(super) fn seconds(text: &str) -> Parsed {
    within(text, 1.0, 1e6, "s")
}
