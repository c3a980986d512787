//! The curve of least ride over fin activity, and how far each law is from it.
//!
//! # Equation
//! ```text
//! curve(a) = least RMS with fin RMS angle <= a, any rate
//! law:  ride, a, r by closing it   bound(a, r)   distance = ride / bound - 1
//! ```
//! Of a few sets of poles the best is taken; then the number of functions grows until the bound at the
//! activity of the busiest law falls by less than 1 %.
//! Where even and odd leave each other alone, in the loop and in the sea, even signals need move even
//! combinations of fins only, odd ones odd ones; otherwise every signal may move every fin.
//!
//! # Symbols
//! As in [`super`]; even: pitch, its rate, vertical acceleration, heights on the centre plane, sums of
//! a pair of fins; odd: roll, its rate, differences.
//!
//! # Valid when
//! As in [`super`]. The nominal law, when there is one, must itself be stable or have simple
//! integrators: then every stabilising law is reached, or approached as closely as wished.
//!
//! # Source
//! Boyd & Barratt 1991, Linear Controller Design, chapters 10 and 15.
//!
//! # Checked by
//! `study_of_a_small_craft` (bound::tests), `tests/bound.rs`

use rayon::prelude::*;

use super::basis::{Basis, Section};
use super::foreknown::Foreknown;
use super::forms::{self, Causal, Form};
use super::point::{Cm, Point, Sum};
use super::trade::{self, Choice};
use crate::error::{Error, Result};

/// Numbers of functions that are tried, each with all before it.
const COUNTS: [usize; 6] = [4, 8, 12, 18, 24, 32];
/// With so many the sets of poles are tried out.
const TRIAL: usize = 12;
/// The bound counts as settled when the last step lowers the RMS by less than this share of itself,
/// or by less than [`NOTHING`] of the ride with nothing done.
pub const SETTLED: f64 = 0.01;
/// See [`SETTLED`]: a law that leaves a hundredth of the motion need not be known to a hundredth.
pub const NOTHING: f64 = 0.001;
/// Points of the curve.
const CURVE: usize = 13;
/// The curve reaches this many times beyond the busiest law.
const BEYOND: f64 = 1.6;

/// A ride quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Ride {
    /// `heave`, `bridge, vertical acceleration`.
    pub name: String,
    /// Variances that make it up.
    pub sum: Sum,
}

/// A law to place: its gains at every point, by all signals and commands.
#[derive(Clone, Debug, PartialEq)]
pub struct Law {
    /// Name.
    pub name: String,
    /// m x p at every point; none when the law moves nothing.
    pub gains: Option<Vec<Cm>>,
}

/// What is asked.
#[derive(Clone, Debug)]
pub struct Study<'a> {
    /// Sample period, s.
    pub period_s: f64,
    /// The open craft.
    pub open: &'a [Point],
    /// Signals that the best law may read: even and odd combinations, rows over all signals.
    pub signals: [Cm; 2],
    /// Combinations of fins that it may move, even and odd: columns over all commands.
    pub fins: [Cm; 2],
    /// Odd signals may move even combinations, and the reverse.
    pub across: bool,
    /// Rides.
    pub rides: &'a [Ride],
    /// Fin angle, mean over the fins.
    pub angle: Sum,
    /// Fin rate, mean over the fins.
    pub rate: Sum,
    /// Laws.
    pub laws: &'a [Law],
    /// Law that stabilises the craft; none when it is stable by itself.
    pub nominal: Option<usize>,
}

/// One point of the curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Fin RMS angle, rad.
    pub angle_rad: f64,
    /// Fin RMS rate, rad/s.
    pub rate_rad_s: f64,
    /// Least RMS of the ride.
    pub least: f64,
    /// The same if every wave were known beforehand.
    pub foreknown: f64,
}

/// A law beside the bound at its own fin activity.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// Name.
    pub name: String,
    /// RMS of the ride with it.
    pub ride: f64,
    /// Its own fin activity and the bound there.
    pub place: Place,
    /// ride / bound - 1.
    pub distance: f64,
}

/// The bound of one ride.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// Name of the ride.
    pub name: String,
    /// RMS with fins fixed; none where the craft needs a law.
    pub fixed: Option<f64>,
    /// The curve, rising activity.
    pub curve: Vec<Place>,
    /// Laws.
    pub laws: Vec<Placed>,
    /// Functions and least RMS at the fin RMS angle of the busiest law.
    pub steps: Vec<(usize, f64)>,
    /// RMS with nothing done: fins fixed, or the law that holds the craft alone.
    pub idle: f64,
}

impl Bound {
    /// Share by which the last step lowered the bound.
    pub fn last_step(&self) -> f64 {
        match self.steps.as_slice() {
            [.., a, b] => 1.0 - b.1 / a.1,
            _ => 1.0,
        }
    }

    /// Whether more functions would change little.
    pub fn settled(&self) -> bool {
        let last = self.steps.last().map_or(f64::NAN, |s| s.1);
        let step = self.last_step();
        step < SETTLED || step * last < NOTHING * self.idle
    }
}

/// What a law comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct Use {
    /// RMS of every ride.
    pub rides: Vec<f64>,
    /// Fin RMS angle, rad.
    pub angle_rad: f64,
    /// Fin RMS rate, rad/s.
    pub rate_rad_s: f64,
}

impl Law {
    /// `open` with this law closed.
    ///
    /// # Errors
    /// When the loop is singular.
    pub fn close(&self, open: &[Point]) -> Result<Vec<Point>> {
        let Some(gains) = &self.gains else {
            return Ok(open.to_vec());
        };
        let fail = || Error::new(format!("the loop with `{}` is singular", self.name));
        let pairs = open.iter().zip(gains);
        pairs.map(|(p, c)| p.close(c).ok_or_else(fail)).collect()
    }
}

/// Points as the law sought meets them, and which signal may act on which command.
type Reduced = (Vec<Point>, Vec<(usize, usize)>);

impl Study<'_> {
    fn used(&self, points: &[Point]) -> Use {
        Use {
            rides: self
                .rides
                .iter()
                .map(|r| r.sum.free(points).sqrt())
                .collect(),
            angle_rad: self.angle.free(points).sqrt(),
            rate_rad_s: self.rate.free(points).sqrt(),
        }
    }

    /// Nominal loop closed, signals and commands as combinations; which may act on which.
    fn reduced(&self) -> Result<Reduced> {
        let closed = match self.nominal {
            Some(i) => self.laws[i].close(self.open)?,
            None => self.open.to_vec(),
        };
        let signals = stack(&self.signals);
        let fins = stack(&[self.fins[0].transpose(), self.fins[1].transpose()]).transpose();
        let points = closed
            .into_iter()
            .map(|p| Point {
                seen: &signals * &p.seen,
                loop_gain: &signals * &p.loop_gain * &fins,
                reach: &p.reach * &fins,
                ..p
            })
            .collect();
        let (even_s, even_c) = (self.signals[0].nrows(), self.fins[0].ncols());
        let mut entries = forms::all_entries(fins.ncols(), signals.nrows());
        entries.retain(|(c, s)| self.across || (*c < even_c) == (*s < even_s));
        Ok((points, entries))
    }

    /// Sets of poles to choose from, about the encounters that carry the ride.
    fn sections(&self, ride: &Sum) -> [Vec<Section>; 3] {
        let mut shares: Vec<(f64, f64)> = self
            .open
            .iter()
            .map(|p| (p.omega_rad_s.abs(), ride.free_at(p)))
            .collect();
        shares.sort_by(|a, b| a.0.total_cmp(&b.0));
        let total: f64 = shares.iter().map(|s| s.1).sum();
        let at = |part: f64| {
            let mut sum = 0.0;
            let found = shares.iter().find(|s| {
                sum += s.1;
                sum >= part * total
            });
            found.map_or(1.0, |s| s.0.max(0.01))
        };
        let [low, middle, high] = [0.1, 0.5, 0.9].map(at);
        let most = 0.8 * std::f64::consts::PI / self.period_s;
        let set = |list: &[(f64, f64)]| {
            let of = |(omega, damping): &(f64, f64)| Section {
                omega_rad_s: omega.min(most),
                damping: *damping,
            };
            list.iter().map(of).collect()
        };
        let m = middle;
        [
            set(&[
                (m, 0.35),
                (0.4 * m, 0.8),
                (2.5 * m, 0.8),
                (1.5 * m, 0.4),
                (0.7 * m, 0.35),
                (8.0 * m, 1.0),
            ]),
            set(&[
                (m, 0.3),
                (low, 0.4),
                (high, 0.4),
                (3.0 * high, 0.9),
                (0.3 * low, 1.0),
            ]),
            set(&[(high, 0.8), (0.6 * low, 1.0), (4.0 * high, 0.9), (m, 0.5)]),
        ]
    }

    /// The bounds, one a ride, and what each law uses.
    ///
    /// # Errors
    /// When a loop is singular, or the numbers fail.
    pub fn solve(&self) -> Result<(Vec<Bound>, Vec<Use>)> {
        let (points, entries) = self.reduced()?;
        let uses = self
            .laws
            .iter()
            .map(|law| Ok(self.used(&law.close(self.open)?)))
            .collect::<Result<Vec<_>>>()?;
        // each ride by itself: the same bits for any number of threads
        let bounds = (0..self.rides.len())
            .into_par_iter()
            .map(|i| self.one(i, &points, &entries, &uses))
            .collect::<Result<_>>()?;
        Ok((bounds, uses))
    }

    /// Forms of ride, angle and rate with `count` functions.
    fn forms(
        &self,
        ride: &Sum,
        points: &[Point],
        entries: &[(usize, usize)],
        sections: &[Section],
        count: usize,
    ) -> [Form; 3] {
        let basis = Basis::new(self.period_s, sections, count);
        [ride, &self.angle, &self.rate].map(|sum| forms::form(points, &basis, entries, sum))
    }

    fn one(
        &self,
        i: usize,
        points: &[Point],
        all: &[(usize, usize)],
        uses: &[Use],
    ) -> Result<Bound> {
        let ride = &self.rides[i];
        let entries = felt(&ride.sum, points, all);
        let block = entries.len();
        let known = Foreknown::new(self.open, &ride.sum, [&self.angle, &self.rate]);
        let busiest = uses.iter().map(|u| u.angle_rad).fold(0.0, f64::max);
        let most = if busiest > 0.0 { busiest } else { DEFAULT_RAD };
        let mut best: Option<(f64, Vec<Section>)> = None;
        for set in self.sections(&ride.sum) {
            let trial = self.forms(&ride.sum, points, &entries, &set, TRIAL);
            let found = trade::within(&of(&trial), most * most, None, None)?.ride;
            if best.as_ref().is_none_or(|b| found < b.0) {
                best = Some((found, set));
            }
        }
        let sections = best.map_or_else(Vec::new, |b| b.1);
        let full = self.forms(
            &ride.sum,
            points,
            &entries,
            &sections,
            COUNTS[COUNTS.len() - 1],
        );
        let idle = full[0].idle().sqrt();
        let mut bound = Bound {
            name: ride.name.clone(),
            fixed: self.nominal.is_none().then_some(idle),
            curve: Vec::new(),
            laws: Vec::new(),
            steps: Vec::new(),
            idle,
        };
        let mut kept = None;
        let mut start = None;
        for count in COUNTS {
            let few = full.each_ref().map(|f| f.first(count * block));
            let answer = trade::within(&of(&few), most * most, None, start)?;
            start = Some(answer.prices);
            bound.steps.push((count, answer.ride.sqrt()));
            kept = Some(few);
            if bound.steps.len() > 1 && bound.settled() {
                break;
            }
        }
        let kept = kept.unwrap_or(full);
        let best = of(&kept);
        bound.curve = curve(&best, &known, BEYOND * most);
        bound.laws = self
            .laws
            .iter()
            .zip(uses)
            .map(|(law, u)| placed(law, u, i, &best, &known))
            .collect::<Result<_>>()?;
        Ok(bound)
    }
}

/// Entries whose command reaches the ride: the others would only cost.
fn felt(ride: &Sum, points: &[Point], all: &[(usize, usize)]) -> Vec<(usize, usize)> {
    let commands = points.first().map_or(0, |p| p.reach.ncols());
    let mut reach = vec![0.0; commands];
    for p in points {
        let rows = ride.reach(p).0;
        for (c, sum) in reach.iter_mut().enumerate() {
            *sum += rows.column(c).norm_squared();
        }
    }
    let largest = reach.iter().copied().fold(0.0, f64::max);
    let kept = |e: &&(usize, usize)| reach[e.0] > UNFELT * UNFELT * largest;
    all.iter().filter(kept).copied().collect()
}

/// Share of the largest reach below which a combination of fins does nothing to a ride.
const UNFELT: f64 = 1e-9;

/// Activity up to `most`, closer together where the curve is steep.
fn curve(best: &Causal, known: &Foreknown, most: f64) -> Vec<Place> {
    let mut out: Vec<Place> = Vec::new();
    let mut start = [None; 2];
    for k in 0..CURVE {
        let angle = most * ((k as f64 + 0.4) / (CURVE as f64 - 0.6)).powf(1.5);
        let Ok(place) = place(best, known, angle, None, &mut start) else {
            continue;
        };
        // beyond what helps, more activity is not used
        if out
            .last()
            .is_none_or(|p| place.angle_rad > p.angle_rad * (1.0 + 1e-4))
        {
            out.push(place);
        }
    }
    out
}

/// Largest activity of the curve when no law moves a fin, rad: 5 deg.
const DEFAULT_RAD: f64 = 5.0 * std::f64::consts::PI / 180.0;

fn of(forms: &[Form; 3]) -> Causal<'_> {
    let [ride, angle, rate] = forms;
    Causal { ride, angle, rate }
}

fn place(
    best: &Causal,
    known: &Foreknown,
    angle: f64,
    rate: Option<f64>,
    start: &mut [Option<[f64; 2]>; 2],
) -> Result<Place> {
    let (square, rate) = (angle * angle, rate.map(|r| r * r));
    let least = trade::within(best, square, rate, start[0])?;
    let known = trade::within(known, square, rate, start[1])?;
    *start = [Some(least.prices), Some(known.prices)];
    Ok(Place {
        angle_rad: least.spent[0].sqrt(),
        rate_rad_s: least.spent[1].sqrt(),
        least: least.ride.sqrt(),
        foreknown: known.ride.sqrt(),
    })
}

fn placed(law: &Law, u: &Use, i: usize, best: &Causal, known: &Foreknown) -> Result<Placed> {
    let ride = u.rides[i];
    let at = if u.angle_rad > 0.0 && u.rate_rad_s > 0.0 {
        place(best, known, u.angle_rad, Some(u.rate_rad_s), &mut [None; 2])?
    } else {
        Place {
            angle_rad: 0.0,
            rate_rad_s: 0.0,
            least: best.idle().sqrt(),
            foreknown: known.idle().sqrt(),
        }
    };
    Ok(Placed {
        name: law.name.clone(),
        ride,
        // the law's own activity, of which the bound may use less
        place: Place {
            angle_rad: u.angle_rad,
            rate_rad_s: u.rate_rad_s,
            ..at
        },
        distance: ride / at.least - 1.0,
    })
}

/// Rows of both, one above the other.
fn stack(parts: &[Cm; 2]) -> Cm {
    let (a, b) = (parts[0].nrows(), parts[1].nrows());
    let columns = parts[0].ncols().max(parts[1].ncols());
    let mut out = Cm::zeros(a + b, columns);
    out.rows_mut(0, a).copy_from(&parts[0]);
    out.rows_mut(a, b).copy_from(&parts[1]);
    out
}
