//! Faults in a run: what a fault file says, resolved against a craft, and its application in the loop.
//!
//! [`resolve`] turns the events of a file ([`crate::spec::fault`], where it stands what wins when two act at once)
//! into [`Fault`]s with indices, SI numbers and drawn starts. A case keeps them beside its orders; baking it makes the
//! schedule: at which steps something starts or ends, and which craft (surfaces lost, backlash grown, loads
//! on board) is under way from then on. The loop asks those under way at the places where faults act; a case without
//! faults has none, and nothing is asked.
//!
//! # Equation
//! ```text
//! start of event k   t_k = a + (b - a) r,   r uniform, drawn for (seed, case, failures, k)
//! in force           from the first step at or after t_k to the first at or after t_k + lasts
//! ```
//! A surface that a fault holds leaves its servo: jammed, angle'= 0; jammed at an angle and hard over, angle' =
//! +-limit until there; oscillating, towards `centre + A sin(2 pi f (t - t_k))` within the limit;
//! trailing, see [`crate::hydro::surface`]. When such a fault begins the servo is taken to stand where the
//! surface stands, so that backlash does not make a jam rattle.
//!
//! # Symbols
//! limit: rate limit (rad/s), slow servos and short supplies considered.
//!
//! # Valid when
//! Servos fail stiff: a servo without supply is locked by its valves. Weights and water act at once where they are.
//!
//! # Source
//! Kinds of failure: common practice, no source.
//!
//! # Checked by
//! `tests` of this module, `tests/faults.rs`, `tests/faults_physics.rs`

mod active;
mod readings;
mod schedule;
#[cfg(test)]
mod tests;
mod weights;
mod words;

use nalgebra::Vector3;

use crate::error::{Error, Result};
use crate::math::rng::{Purpose, Stream};
use crate::spec::craft::CraftSpec;
use crate::spec::fault::{
    BreakageSpec, ControllerFailureSpec, FaultEventSpec, FloodedSpec, LostReadingSpec, OutputsSpec,
    PlaceSpec, SensorFailureSpec, SensorNameSpec, StartSpec, StopSpec, SurfaceFailureSpec,
};
use crate::spec::validate::fault as checks;
use crate::units::{KNOT_M_S, deg};

pub(crate) use active::{Active, Bend};
pub(crate) use schedule::Schedule;
pub use weights::{Load, Water};

/// A fault of one run.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// When it starts, s from the start of the run.
    pub from_s: f64,
    /// When it ends, s; infinite when it lasts.
    pub until_s: f64,
    /// What breaks.
    pub breakage: Breakage,
    /// In words, for the record.
    pub words: String,
    /// Key of its random draws: seed, case, place in the list.
    key: (u64, u64, u32),
}

/// What breaks.
#[derive(Clone, Debug, PartialEq)]
pub enum Breakage {
    /// Something holds the surface instead of its servo.
    Held(usize, Holder),
    /// The servo's rate is a share of its greatest.
    Slow(usize, f64),
    /// The backlash is this wide, rad.
    Slack(usize, f64),
    /// The surface is gone.
    Lost(usize),
    /// A share of the flow is left in one supply, or for every servo.
    Supply(Option<usize>, f64),
    /// Signals of the sensors fail.
    Sensor(Vec<Signal>, SensorFailure),
    /// A share of the samples is missed by the law.
    Skips(f64),
    /// The outputs come late, s.
    Late(f64),
    /// The law stands still.
    Stopped(OutputsSpec),
    /// A share of the thrust asked is left on a shaft.
    Shaft(usize, f64),
    /// A weight moved, or water came in.
    Loaded {
        /// At the end.
        load: Load,
        /// Time to get there, evenly, s.
        within_s: f64,
    },
}

/// What holds a surface instead of its servo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Holder {
    /// Nothing moves it.
    Jam,
    /// It runs to this angle, rad.
    Run(f64),
    /// The water.
    Water,
    /// It swings: amplitude (rad) and circular frequency (rad/s).
    Swing(f64, f64),
}

/// One signal of the sensors.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Signal {
    /// Body rate about x, y, z.
    Rate(usize),
    /// Roll.
    Roll,
    /// Pitch.
    Pitch,
    /// Acceleration along x, y, z.
    Acceleration(usize),
    /// Speed.
    Speed,
    /// Heading.
    Heading,
    /// A height above water.
    Height(usize),
    /// Angle of a surface.
    Surface(usize),
}

/// How a sensor fails, in SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SensorFailure {
    /// Constant error.
    Bias(f64),
    /// Error that grows, per second.
    Drift(f64),
    /// The last reading again and again.
    Frozen,
    /// Samples lost.
    DroppedOut {
        /// Share of them.
        lost_frac: f64,
        /// What a lost one reads.
        reads: LostReadingSpec,
        /// The law is told.
        is_flagged: bool,
    },
    /// Noise, standard deviation.
    Noisy(f64),
    /// Factor.
    Scaled(f64),
    /// Delay, s.
    Late(f64),
}

impl Fault {
    /// A stream of random numbers of this fault alone; `part` tells its draws apart.
    fn stream(&self, part: u32) -> Stream {
        let (seed, case, place) = self.key;
        Stream::with_index(seed, case, Purpose::Failures, place + (part << 16))
    }
}

/// The faults of a run on `craft`; `seed` and `case` key what is drawn.
///
/// # Errors
/// Events that do not fit each other or the craft, at `events[k]`.
pub fn resolve(
    events: &[FaultEventSpec],
    craft: &CraftSpec,
    seed: u64,
    case: u64,
) -> Result<Vec<Fault>> {
    let mut problems = checks::alone(events);
    problems.extend(checks::with_craft(events, craft));
    if !problems.is_empty() {
        return Err(Error { problems });
    }
    let mut out = Vec::with_capacity(events.len());
    for (k, e) in events.iter().enumerate() {
        let key = (seed, case, k as u32);
        let from_s = match e.start {
            StartSpec::AtS(t) => t,
            StartSpec::WithinS([first, last]) => {
                let (seed, case, place) = key;
                Stream::with_index(seed, case, Purpose::Failures, place).uniform_in(first, last)
            }
        };
        out.push(Fault {
            from_s,
            until_s: from_s + e.lasts_s.unwrap_or(f64::INFINITY),
            breakage: breakage(&e.fault, craft)?,
            words: words::of(&e.fault),
            key,
        });
    }
    Ok(out)
}

fn breakage(fault: &BreakageSpec, craft: &CraftSpec) -> Result<Breakage> {
    Ok(match fault {
        BreakageSpec::Surface { name, failure } => {
            let i = find(name, craft.surfaces.iter().map(|s| &s.name))?;
            of_surface(i, *failure, craft)
        }
        BreakageSpec::Supply { name, left_frac } => {
            let names = || craft.supplies.iter().map(|s| &s.name);
            let which = name.as_ref().map(|n| find(n, names())).transpose()?;
            Breakage::Supply(which, *left_frac)
        }
        BreakageSpec::Sensor { name, failure } => {
            let signals = signals(name, craft)?;
            let unit = unit(signals[0]);
            Breakage::Sensor(signals, sensor_failure(failure, unit))
        }
        BreakageSpec::Controller(ControllerFailureSpec::Skips { lost_frac }) => {
            Breakage::Skips(*lost_frac)
        }
        BreakageSpec::Controller(ControllerFailureSpec::Late { delay_s }) => {
            Breakage::Late(*delay_s)
        }
        BreakageSpec::Controller(ControllerFailureSpec::Stopped { outputs }) => {
            Breakage::Stopped(*outputs)
        }
        BreakageSpec::Shaft { name, left_frac } => Breakage::Shaft(
            find(name, craft.propulsors.iter().map(|p| &p.name))?,
            *left_frac,
        ),
        BreakageSpec::WeightShift { mass_kg, from, to } => Breakage::Loaded {
            load: Load::Shift {
                weight_n: mass_kg * craft.water.gravity_m_s2,
                by_m: from_o(to, craft) - from_o(from, craft),
            },
            within_s: 0.0,
        },
        BreakageSpec::Flooded(f) => Breakage::Loaded {
            load: Load::Water(water(f, craft)),
            within_s: f.fills_in_s,
        },
    })
}

fn find<'a>(name: &str, mut among: impl Iterator<Item = &'a String>) -> Result<usize> {
    among
        .position(|n| n == name)
        .ok_or_else(|| Error::new(format!("the craft has no `{name}`")))
}

fn of_surface(i: usize, failure: SurfaceFailureSpec, craft: &CraftSpec) -> Breakage {
    let s = &craft.surfaces[i];
    match failure {
        SurfaceFailureSpec::Jammed {} => Breakage::Held(i, Holder::Jam),
        SurfaceFailureSpec::JammedAt { angle_deg } => {
            Breakage::Held(i, Holder::Run(deg(angle_deg)))
        }
        SurfaceFailureSpec::HardOver { stop } => {
            let angle_deg = match stop {
                StopSpec::Min => s.min_deg,
                StopSpec::Max => s.max_deg,
            };
            Breakage::Held(i, Holder::Run(deg(angle_deg)))
        }
        SurfaceFailureSpec::Trailing {} => Breakage::Held(i, Holder::Water),
        SurfaceFailureSpec::Slow { rate_frac } => Breakage::Slow(i, rate_frac),
        SurfaceFailureSpec::Oscillating {
            amplitude_deg,
            frequency_hz,
        } => {
            let omega = std::f64::consts::TAU * frequency_hz;
            Breakage::Held(i, Holder::Swing(deg(amplitude_deg), omega))
        }
        SurfaceFailureSpec::Backlash { backlash_deg } => Breakage::Slack(i, deg(backlash_deg)),
        SurfaceFailureSpec::Lost {} => Breakage::Lost(i),
    }
}

fn signals(name: &SensorNameSpec, craft: &CraftSpec) -> Result<Vec<Signal>> {
    let one = |s| Ok(vec![s]);
    match name {
        SensorNameSpec::RollRate => one(Signal::Rate(0)),
        SensorNameSpec::PitchRate => one(Signal::Rate(1)),
        SensorNameSpec::YawRate => one(Signal::Rate(2)),
        SensorNameSpec::Roll => one(Signal::Roll),
        SensorNameSpec::Pitch => one(Signal::Pitch),
        SensorNameSpec::AccelerationX => one(Signal::Acceleration(0)),
        SensorNameSpec::AccelerationY => one(Signal::Acceleration(1)),
        SensorNameSpec::AccelerationZ => one(Signal::Acceleration(2)),
        SensorNameSpec::Speed => one(Signal::Speed),
        SensorNameSpec::Heading => one(Signal::Heading),
        SensorNameSpec::MotionUnit => Ok((0..3)
            .map(Signal::Rate)
            .chain([Signal::Roll, Signal::Pitch])
            .chain((0..3).map(Signal::Acceleration))
            .collect()),
        SensorNameSpec::Height { height_sensor } => one(Signal::Height(*height_sensor as usize)),
        SensorNameSpec::SurfaceAngle { surface } => {
            let i = find(surface, craft.surfaces.iter().map(|s| &s.name))?;
            one(Signal::Surface(i))
        }
    }
}

/// SI value of one unit in which files give a signal.
fn unit(signal: Signal) -> f64 {
    match signal {
        Signal::Acceleration(_) | Signal::Height(_) => 1.0,
        Signal::Speed => KNOT_M_S,
        _ => deg(1.0),
    }
}

fn sensor_failure(f: &SensorFailureSpec, unit: f64) -> SensorFailure {
    match *f {
        SensorFailureSpec::Bias { bias } => SensorFailure::Bias(bias * unit),
        SensorFailureSpec::Drift { drift_per_min } => {
            SensorFailure::Drift(drift_per_min * unit / 60.0)
        }
        SensorFailureSpec::Frozen {} => SensorFailure::Frozen,
        SensorFailureSpec::DroppedOut {
            lost_frac,
            reads,
            is_flagged,
        } => SensorFailure::DroppedOut {
            lost_frac,
            reads,
            is_flagged,
        },
        SensorFailureSpec::Noisy { noise } => SensorFailure::Noisy(noise * unit),
        SensorFailureSpec::Scaled { scale } => SensorFailure::Scaled(scale),
        SensorFailureSpec::Late { delay_s } => SensorFailure::Late(delay_s),
        SensorFailureSpec::Reversed {} => SensorFailure::Scaled(-1.0),
    }
}

fn from_o(p: &PlaceSpec, craft: &CraftSpec) -> Vector3<f64> {
    Vector3::new(p.x_m, p.y_m, craft.design_waterline_m - p.height_m)
}

fn water(f: &FloodedSpec, craft: &CraftSpec) -> Water {
    let floor = PlaceSpec {
        x_m: f.x_m,
        y_m: f.y_m,
        height_m: f.floor_height_m,
    };
    Water {
        weight_n_m3: craft.water.density_kg_m3 * craft.water.gravity_m_s2 * f.permeability_frac,
        size_m: [f.length_m, f.breadth_m, f.depth_m],
        floor_m: from_o(&floor, craft),
        fill_frac: f.fill_frac,
    }
}
