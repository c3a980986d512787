//! The bound of a craft in a sea: which signals, which fins, which law holds the craft meanwhile.
//!
//! # Equation
//! ```text
//! even = (a + b)/sqrt 2, odd = (a - b)/sqrt 2      a, b: a pair of fins or heights, port and starboard
//! ```
//!
//! # Symbols
//! As in [`super::study`].
//!
//! # Valid when
//! As in [`super`]. Pairs are found by place; whether even and odd leave each other alone, in the loop and
//! in the sea, is measured. If they do not (an oblique sea: roll foretells pitch, and drag differs from side to
//! side), every signal may move every fin.
//!
//! # Source
//! As in [`super::study`].
//!
//! # Checked by
//! `tests/bound.rs`

use nalgebra::Vector3;
use num_complex::Complex64;

use super::grid;
use super::point::{Cm, Point, Sum};
use super::study::{Bound, Law, Ride, Study};
use crate::closed_loop::at_sea::AtSea;
use crate::closed_loop::contour::{LawInLoop, SHIFT_1_S};
use crate::closed_loop::craft::LoopCraft;
use crate::closed_loop::evaluate::{self, SurfaceWork};
use crate::closed_loop::output::Output;
use crate::control::linear::{LawSignal, LinearLaw};
use crate::error::{Error, Result};
use crate::spec::craft::SurfaceGroup;

/// A ride quantity of a craft: outputs and weights of their variances.
#[derive(Clone, Debug, PartialEq)]
pub struct Quantity {
    /// Name.
    pub name: String,
    /// Outputs and weights.
    pub parts: Vec<(Output, f64)>,
}

/// What may differ from the usual.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Grids as many times finer.
    pub finer: usize,
    /// Sensors' noise taken into account.
    pub noise: bool,
    /// Weights of the quantities in one more ride, all together; empty for none.
    pub together: Vec<f64>,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            finer: 1,
            noise: true,
            together: Vec::new(),
        }
    }
}

/// Name of the ride that weighs all quantities together.
pub const TOGETHER: &str = "all together";

/// What the fins do under a law.
#[derive(Clone, Debug, PartialEq)]
pub struct FinUse {
    /// Name of the law.
    pub law: String,
    /// RMS angle about trim, root of the mean over the fins, rad; no limits.
    pub angle_rad: f64,
    /// RMS rate likewise, rad/s.
    pub rate_rad_s: f64,
    /// Largest share of time that a fin would spend on a limit of angle or rate.
    pub limit_share: f64,
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// One a quantity that the sea excites, then all together when asked for.
    pub bounds: Vec<Bound>,
    /// Laws that could be placed.
    pub laws: Vec<FinUse>,
    /// Laws whose loop is not stable here.
    pub unstable: Vec<String>,
    /// Quantities that this sea does not move.
    pub still: Vec<String>,
    /// Law that holds the craft while the best is sought; none when the craft is stable by itself.
    pub nominal: Option<String>,
    /// Whether even and odd leave each other alone, in the loop and in the sea.
    pub symmetric: bool,
}

/// Signals of the craft's own sensors that the best law may read.
pub fn own_signals(craft: &LoopCraft) -> Vec<LawSignal> {
    let mut out = vec![
        LawSignal::PitchRate,
        LawSignal::Pitch,
        LawSignal::VerticalAcceleration,
        LawSignal::RollRate,
        LawSignal::Roll,
    ];
    out.extend((0..craft.setup.height_sensors_m.len()).map(LawSignal::Height));
    out
}

/// Fins of the craft: surfaces that move and are no rudders.
pub fn fins(craft: &LoopCraft) -> Vec<usize> {
    let surfaces = craft.setup.surfaces.iter().enumerate();
    surfaces
        .filter(|(_, s)| s.group != SurfaceGroup::Rudder && s.effectiveness != 0.0)
        .map(|(i, _)| i)
        .collect()
}

/// Channels and signals to prepare a craft with, for the bound and for `laws`.
pub fn ports(craft: &LoopCraft, laws: &[LinearLaw]) -> (Vec<usize>, Vec<LawSignal>) {
    let mut channels = fins(craft);
    let mut signals = own_signals(craft);
    for law in laws {
        for c in &law.channels {
            if !channels.contains(c) {
                channels.push(*c);
            }
        }
        for s in &law.signals {
            if !signals.contains(s) {
                signals.push(*s);
            }
        }
    }
    (channels, signals)
}

/// A law at this speed.
struct Ready<'a> {
    name: &'a str,
    law: LawInLoop,
    rests: bool,
}

/// Bounds of `quantities` for a craft at sea, prepared with the [`ports`] of `laws`.
///
/// # Errors
/// An unstable craft without a law that holds it; a law that does not fit; numbers that fail.
pub fn bounds(
    sea: &AtSea,
    quantities: &[Quantity],
    laws: &[(String, LinearLaw)],
    options: &Options,
) -> Result<Found> {
    let speed = &sea.speed;
    let (outputs, mut rides) = rows(quantities);
    let finer = if options.noise {
        options.finer.max(1)
    } else {
        0
    };
    let open = grid::points(sea, &outputs, finer)?;
    let (ready, unstable) = ready(sea, laws)?;
    let nominal = nominal(sea, &ready)?;
    let placed: Vec<Law> = ready.iter().map(|r| gains(r, &open)).collect();
    let held = match nominal.map(|i| &placed[i]) {
        None => open.clone(),
        Some(law) => law.close(&open)?,
    };
    let weights = options.together.iter().copied();
    let weights: Vec<f64> = weights
        .chain(std::iter::repeat(1.0))
        .take(rides.len())
        .collect();
    let moves: Vec<bool> = rides.iter().map(|r| moved(r, &held, &rides)).collect();
    let mut still = Vec::new();
    let mut sum = Vec::new();
    let mut kept = Vec::new();
    for ((ride, weight), moves) in rides.drain(..).zip(&weights).zip(moves) {
        if !moves {
            still.push(ride.name);
            continue;
        }
        sum.push((*weight, ride.sum.free(&held), ride.sum.clone()));
        kept.push(ride);
    }
    if !options.together.is_empty() && !kept.is_empty() {
        kept.push(together(&sum));
    }
    let (signals, fins) = combinations(&speed.craft, &speed.signals, &speed.channels);
    let symmetric = separate(&held, &signals, &fins);
    let (n, m) = (outputs.len(), speed.channels.len());
    let study = Study {
        period_s: speed.craft.setup.sample_period_s,
        open: &open,
        signals,
        fins,
        across: !symmetric,
        rides: &kept,
        angle: Sum::mean(n..n + m),
        rate: Sum::mean(n + m..n + 2 * m),
        laws: &placed,
        nominal,
    };
    let (bounds, uses) = study.solve()?;
    let shares = ready.iter().map(|r| limit_share(sea, r));
    Ok(Found {
        laws: uses
            .iter()
            .zip(&ready)
            .zip(shares)
            .map(|((u, r), limit_share)| FinUse {
                law: r.name.to_owned(),
                angle_rad: u.angle_rad,
                rate_rad_s: u.rate_rad_s,
                limit_share,
            })
            .collect(),
        bounds,
        unstable,
        still,
        nominal: nominal.map(|i| ready[i].name.to_owned()),
        symmetric,
    })
}

/// Laws whose loop is stable, and the names of the others.
fn ready<'a>(
    sea: &AtSea,
    laws: &'a [(String, LinearLaw)],
) -> Result<(Vec<Ready<'a>>, Vec<String>)> {
    let (mut good, mut bad) = (Vec::new(), Vec::new());
    for (name, law) in laws {
        let ready = sea.speed.law(law)?;
        if ready.is_stable() {
            good.push(Ready {
                name,
                law: ready,
                rests: law.channels.is_empty(),
            });
        } else {
            bad.push(name.clone());
        }
    }
    Ok((good, bad))
}

/// Largest share of time on a limit, with limits and drag consistent.
fn limit_share(sea: &AtSea, r: &Ready) -> f64 {
    let found = sea.evaluate(&r.law, &evaluate::Options::default());
    let surfaces = found.map(|e| e.surfaces).unwrap_or_default();
    surfaces
        .iter()
        .map(SurfaceWork::limit_share)
        .fold(0.0, f64::max)
}

/// Variances, each over its own with fins fixed (or under the law that holds the craft), weighted.
fn together(parts: &[(f64, f64, Sum)]) -> Ride {
    let total: f64 = parts.iter().map(|p| p.0).sum();
    let mut rows = Vec::new();
    for (weight, own, sum) in parts {
        rows.extend(
            sum.rows
                .iter()
                .map(|(i, w)| (*i, w * weight / (own * total))),
        );
    }
    Ride {
        name: TOGETHER.to_owned(),
        sum: Sum { rows },
    }
}

/// Outputs wanted, each once, and rides over them.
fn rows(quantities: &[Quantity]) -> (Vec<Output>, Vec<Ride>) {
    let mut outputs: Vec<Output> = Vec::new();
    let rides = quantities
        .iter()
        .map(|q| {
            let mut rows = Vec::new();
            for (output, weight) in &q.parts {
                let at = outputs.iter().position(|o| o == output);
                let at = at.unwrap_or_else(|| {
                    outputs.push(*output);
                    outputs.len() - 1
                });
                rows.push((at, *weight));
            }
            Ride {
                name: q.name.clone(),
                sum: Sum { rows },
            }
        })
        .collect();
    (outputs, rides)
}

/// Share of the largest response per metre below which symmetry alone keeps a quantity still.
const STILL: f64 = 1e-9;

fn moved(ride: &Ride, open: &[Point], all: &[Ride]) -> bool {
    let largest = all.iter().map(|r| r.sum.free(open)).fold(0.0, f64::max);
    ride.sum.free(open) > STILL * STILL * largest
}

fn gains(ready: &Ready, open: &[Point]) -> Law {
    let (m, p) = ready.law.fast.shape();
    let mut flat = vec![Complex64::ZERO; m * p];
    let at = |q: &Point| {
        ready.law.fast.response(q.omega_rad_s, &mut flat);
        Cm::from_row_slice(m, p, &flat)
    };
    Law {
        name: ready.name.to_owned(),
        gains: (!ready.rests).then(|| open.iter().map(at).collect()),
    }
}

/// Law that holds a craft which does not stay by itself.
fn nominal(sea: &AtSea, laws: &[Ready]) -> Result<Option<usize>> {
    let speed = &sea.speed;
    let border = (SHIFT_1_S * speed.craft.setup.sample_period_s).exp();
    if speed.open_poles.iter().all(|z| z.norm() <= border) {
        return Ok(None);
    }
    let holds = |r: &Ready| !r.rests && r.law.fast.poles.iter().all(|z| z.norm() <= border);
    laws.iter().position(holds).map(Some).ok_or_else(|| {
        Error::with_hint(
            format!(
                "the craft does not stay upright and on its course by itself at {:.2} m/s, and no law given \
                 is both stable by itself and holds it: no bound without one to start from",
                speed.craft.speed_m_s
            ),
            "add a law that holds it to the scenario, or take another speed",
        )
    })
}

/// Even and odd combinations of signals (rows) and of fins (columns).
fn combinations(
    craft: &LoopCraft,
    signals: &[LawSignal],
    channels: &[usize],
) -> ([Cm; 2], [Cm; 2]) {
    let own = own_signals(craft);
    let (mut even, mut odd) = (Vec::new(), Vec::new());
    let heights = &craft.setup.height_sensors_m;
    for s in own {
        let Some(at) = signals.iter().position(|o| *o == s) else {
            continue;
        };
        match s {
            LawSignal::RollRate | LawSignal::Roll => odd.push(vec![(at, 1.0)]),
            LawSignal::Height(i) => {
                let twin = mirrored(i, heights);
                let twin = twin.and_then(|j| {
                    let place = signals.iter().position(|o| *o == LawSignal::Height(j))?;
                    Some((j, place))
                });
                pair((i, at), twin, &mut even, &mut odd);
            }
            _ => even.push(vec![(at, 1.0)]),
        }
    }
    let rows = |list: &[Vec<(usize, f64)>]| matrix(list, signals.len());
    let signal_rows = [rows(&even), rows(&odd)];
    let places: Vec<Vector3<f64>> = channels
        .iter()
        .map(|c| craft.setup.surfaces[*c].r_m)
        .collect();
    let (mut even, mut odd) = (Vec::new(), Vec::new());
    for i in 0..channels.len() {
        let twin = mirrored(i, &places).map(|j| (j, j));
        pair((i, i), twin, &mut even, &mut odd);
    }
    let columns = |list: &[Vec<(usize, f64)>]| matrix(list, channels.len()).transpose();
    (signal_rows, [columns(&even), columns(&odd)])
}

/// Puts a thing and its twin into sum and difference; alone it counts as even.
fn pair(
    (i, at): (usize, usize),
    twin: Option<(usize, usize)>,
    even: &mut Vec<Vec<(usize, f64)>>,
    odd: &mut Vec<Vec<(usize, f64)>>,
) {
    let half = std::f64::consts::FRAC_1_SQRT_2;
    match twin {
        None => even.push(vec![(at, 1.0)]),
        Some((j, other)) if i < j => {
            even.push(vec![(at, half), (other, half)]);
            odd.push(vec![(at, half), (other, -half)]);
        }
        Some(_) => {}
    }
}

fn matrix(list: &[Vec<(usize, f64)>], columns: usize) -> Cm {
    let mut out = Cm::zeros(list.len(), columns);
    for (i, row) in list.iter().enumerate() {
        for (j, v) in row {
            out[(i, *j)] = Complex64::from(*v);
        }
    }
    out
}

/// The place on the other side of the centre plane.
fn mirrored(i: usize, places: &[Vector3<f64>]) -> Option<usize> {
    let here = places[i];
    let there = Vector3::new(here.x, -here.y, here.z);
    let near = |j: &usize| *j != i && (places[*j] - there).norm() < 1e-6;
    (0..places.len()).find(near)
}

/// Share of gain or correlation that may cross between even and odd and still count as none.
const CROSSING: f64 = 1e-6;

/// Whether even fins do not reach odd signals, nor the reverse, and waves and noise do not let one foretell
/// the other.
fn separate(held: &[Point], signals: &[Cm; 2], fins: &[Cm; 2]) -> bool {
    let size = |s: &Cm, f: &Cm| -> f64 {
        let part = |p: &Point| (s * &p.loop_gain * f).norm_squared();
        held.iter().map(part).sum()
    };
    let across = size(&signals[0], &fins[1]) + size(&signals[1], &fins[0]);
    let along = size(&signals[0], &fins[0]) + size(&signals[1], &fins[1]);
    let together = |a: &Cm, b: &Cm| {
        let zero = Cm::zeros(a.nrows(), b.nrows());
        let sum = held
            .iter()
            .fold(zero, |sum, p| sum + (a * &p.seen) * (b * &p.seen).adjoint());
        sum.norm()
    };
    let own = together(&signals[0], &signals[0]) * together(&signals[1], &signals[1]);
    let mixed = together(&signals[0], &signals[1]);
    across <= CROSSING * CROSSING * along && mixed * mixed <= CROSSING * CROSSING * own
}
