//! Modal demands to surfaces.
//!
//! A law asks for heave, pitch and roll as *equivalent fin angles*: the angle that every lifting
//! surface would have to take, each with the sign that helps, to make that force or moment. The
//! allocator turns them into one angle per surface.
//!
//! # Equation
//! ```text
//! B(j,i)   force (heave, roll, pitch) of surface i per rad / R_j,   R_j = sum_i |force of i|
//! pref     = T d,   T from B: pitch by the forward share, roll and heave by least norm
//! want     = B pref
//! minimise sum_j W_j^2 (B x - want)_j^2 + eps^2 |x - pref|^2   subject to  min <= x <= max
//! ```
//! The heave force that comes with a pitch demand of uneven share is part of `want`: it is what
//! the share means. Inside the limits x = pref exactly; at a limit the rest of the surfaces take
//! over by the priority pitch > roll > heave (`W` a factor ten apart). A surface that is stuck has
//! min = max and is worked around the same way.
//!
//! # Signs
//! Heave demand positive lifts (all positive); pitch positive raises the bow (forward positive,
//! aft negative); roll positive raises starboard (starboard positive, port negative).
//!
//! # Valid when
//! Force is proportional to angle; at most [`MAX_SURFACES`] lifting surfaces.
//!
//! # Source
//! Bounded weighted least squares by active set: Harkegard 2002, Efficient active set algorithms
//! for solving constrained least squares problems in aircraft control allocation, 41st IEEE CDC,
//! section III; conditions of optimality: Lawson & Hanson 1974, Solving Least Squares Problems, ch. 23.
//!
//! # Checked by
//! `sign_card`, `inside_limits_every_demand_is_met`, `pitch_comes_first_at_the_limits`,
//! `stuck_surface_is_worked_around`, `bounded_solution_is_optimal`

use super::signal::{FinCommand, Setup, SurfaceSetup};
use crate::error::{Error, Result};
use crate::spec::craft::SurfaceGroup;

/// Most lifting surfaces an allocator handles.
pub const MAX_SURFACES: usize = 12;

/// Weights in the order of the rows: heave, pitch, roll.
const WEIGHT: [f64; 3] = [1.0, 100.0, 10.0];
/// Pull towards the preferred angles; small against the least weight.
const PULL: f64 = 0.01;

/// Modal demand as equivalent fin angles, rad.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Demand {
    /// Lifting.
    pub heave_rad: f64,
    /// Bow up.
    pub pitch_rad: f64,
    /// Starboard up.
    pub roll_rad: f64,
}

/// True for a surface that the allocator drives: it moves, and is no rudder.
pub fn lifts(s: &SurfaceSetup) -> bool {
    let i = &s.influence;
    s.group != SurfaceGroup::Rudder && (i.heave_n.abs() > 0.0 || i.pitch_nm.abs() > 0.0)
}

type Row = [f64; MAX_SURFACES];

/// Turns demands into angles about trim.
#[derive(Clone, Debug, Default)]
pub struct Allocator {
    channel: Vec<usize>,
    b: [Row; 3],
    mix: [Row; 3],
    h: [Row; MAX_SURFACES],
}

impl Allocator {
    /// An allocator for the lifting surfaces of `setup`; `forward_share` (0 to 1) of the pitch
    /// moment is carried by the forward group, the rest by the aft group.
    ///
    /// # Errors
    /// When there is no lifting surface, too many, or a share asks a group that does not exist.
    pub fn new(setup: &Setup, forward_share: f64) -> Result<Self> {
        Allocator::driving(setup, forward_share, &[])
    }

    /// The same for the surfaces called `channels` only; for all that lift when empty.
    ///
    /// # Errors
    /// As [`Allocator::new`]; a channel that no lifting surface answers to.
    pub fn driving(setup: &Setup, forward_share: f64, channels: &[String]) -> Result<Self> {
        let channel = super::restrict::driven(setup, channels, lifts)?;
        let n = channel.len();
        if n == 0 {
            return Err(Error::with_hint(
                "the craft has no lifting surface that moves",
                "give a forward or aft surface an `all_movable` or `flap` part",
            ));
        }
        if n > MAX_SURFACES {
            return Err(Error::new(format!(
                "the craft has {n} lifting surfaces, the allocator takes at most {MAX_SURFACES}"
            )));
        }
        let mut a = Allocator {
            channel,
            ..Allocator::default()
        };
        for (k, &i) in a.channel.iter().enumerate() {
            let f = &setup.surfaces[i].influence;
            a.b[0][k] = -f.heave_n;
            a.b[1][k] = f.pitch_nm;
            a.b[2][k] = -f.roll_nm;
        }
        for row in &mut a.b {
            let all: f64 = row.iter().map(|v| v.abs()).sum();
            if all > 0.0 {
                for v in row.iter_mut() {
                    *v /= all;
                }
            }
        }
        a.mix[0] = a.least_norm([1.0, 0.0, 0.0]);
        a.mix[2] = a.least_norm([0.0, 0.0, 1.0]);
        a.mix[1] = a.pitch_mix(setup, forward_share)?;
        for i in 0..n {
            for j in 0..n {
                let sum: f64 = (0..3)
                    .map(|r| WEIGHT[r] * WEIGHT[r] * a.b[r][i] * a.b[r][j])
                    .sum();
                a.h[i][j] = sum + if i == j { PULL * PULL } else { 0.0 };
            }
        }
        Ok(a)
    }

    /// Number of surfaces driven.
    pub fn len(&self) -> usize {
        self.channel.len()
    }

    /// True when no surface is driven.
    pub fn is_empty(&self) -> bool {
        self.channel.is_empty()
    }

    /// Channels driven, as indices into [`Setup::surfaces`].
    pub fn channels(&self) -> &[usize] {
        &self.channel
    }

    /// Modal content of angles about trim: what [`Demand`] they amount to.
    pub fn modal(&self, about_trim: impl Fn(usize) -> f64) -> Demand {
        let mut d = [0.0; 3];
        for (k, &i) in self.channel.iter().enumerate() {
            let x = about_trim(i);
            for (dj, row) in d.iter_mut().zip(&self.b) {
                *dj += row[k] * x;
            }
        }
        Demand {
            heave_rad: d[0],
            pitch_rad: d[1],
            roll_rad: d[2],
        }
    }

    /// What a demand amounts to as modal content when met in full: the demand itself, plus the
    /// heave that an uneven pitch share brings.
    pub fn expected(&self, d: &Demand) -> Demand {
        let x = self.preferred(d);
        let pick = |row: &Row| row.iter().zip(&x).map(|(b, v)| b * v).sum();
        Demand {
            heave_rad: pick(&self.b[0]),
            pitch_rad: pick(&self.b[1]),
            roll_rad: pick(&self.b[2]),
        }
    }

    /// Angles for a demand about `trim_rad(i)`, within the limits of `u`; writes the driven
    /// channels of `u.fin_rad`.
    pub fn allocate(&self, d: &Demand, trim_rad: impl Fn(usize) -> f64, u: &mut FinCommand) {
        let pref = self.preferred(d);
        let n = self.channel.len();
        let (mut lo, mut hi) = ([0.0; MAX_SURFACES], [0.0; MAX_SURFACES]);
        let mut inside = true;
        for (k, &i) in self.channel.iter().enumerate() {
            let trim = trim_rad(i);
            lo[k] = u.min_rad[i] - trim;
            hi[k] = (u.max_rad[i] - trim).max(lo[k]);
            inside &= pref[k] >= lo[k] && pref[k] <= hi[k];
        }
        let x = if inside {
            pref
        } else {
            // minimum of (x - pref)' H (x - pref): W B pref is what is wanted
            bounded(&self.h, &pref, &lo, &hi, n)
        };
        for (k, &i) in self.channel.iter().enumerate() {
            u.fin_rad[i] = trim_rad(i) + x[k];
        }
    }

    fn preferred(&self, d: &Demand) -> Row {
        let mut x = [0.0; MAX_SURFACES];
        for (k, v) in x.iter_mut().enumerate().take(self.channel.len()) {
            *v = self.mix[0][k] * d.heave_rad
                + self.mix[1][k] * d.pitch_rad
                + self.mix[2][k] * d.roll_rad;
        }
        x
    }

    /// Least-norm angles that make the modal content `want`, the best possible where the surfaces
    /// cannot make it (damped normal equations; damping 1e-8 of the diagonal).
    fn least_norm(&self, want: [f64; 3]) -> Row {
        let mut g = nalgebra::Matrix3::<f64>::zeros();
        for i in 0..3 {
            for j in 0..3 {
                g[(i, j)] = (0..MAX_SURFACES).map(|k| self.b[i][k] * self.b[j][k]).sum();
            }
        }
        let damp = 1e-8 * g.trace();
        for i in 0..3 {
            g[(i, i)] += damp;
        }
        let y = g.cholesky().map_or(nalgebra::Vector3::zeros(), |c| {
            c.solve(&nalgebra::Vector3::from(want))
        });
        let mut x = [0.0; MAX_SURFACES];
        for (k, v) in x.iter_mut().enumerate() {
            *v = (0..3).map(|j| self.b[j][k] * y[j]).sum();
        }
        x
    }

    fn pitch_mix(&self, setup: &Setup, share: f64) -> Result<Row> {
        let group = |k: usize| setup.surfaces[self.channel[k]].group;
        let sum = |g: SurfaceGroup| -> f64 {
            (0..self.channel.len())
                .filter(|&k| group(k) == g)
                .map(|k| self.b[1][k].abs())
                .sum()
        };
        let mut x = [0.0; MAX_SURFACES];
        for (g, part) in [
            (SurfaceGroup::Forward, share),
            (SurfaceGroup::Aft, 1.0 - share),
        ] {
            let all = sum(g);
            if part > 0.0 && all <= 0.0 {
                return Err(Error::with_hint(
                    format!(
                        "{part:.2} of the pitch demand is asked of {g:?} surfaces, none is driven"
                    ),
                    "set `forward_share_frac` to 1 without aft surfaces, 0 without forward ones",
                ));
            }
            for k in (0..self.channel.len()).filter(|&k| group(k) == g) {
                x[k] = part * self.b[1][k].signum() / all;
            }
        }
        Ok(x)
    }
}

/// Minimises (x - pref)' H (x - pref) over lo <= x <= hi by active sets; H positive definite.
fn bounded(h: &[Row; MAX_SURFACES], pref: &Row, lo: &Row, hi: &Row, n: usize) -> Row {
    let mut x = [0.0; MAX_SURFACES];
    // -1 at the lower limit, 1 at the upper, 0 free
    let mut at = [0_i8; MAX_SURFACES];
    for k in 0..n {
        x[k] = pref[k].clamp(lo[k], hi[k]);
        at[k] = if pref[k] < lo[k] {
            -1
        } else {
            i8::from(pref[k] > hi[k])
        };
    }
    for _ in 0..4 * n + 8 {
        let goal = free_minimum(h, pref, &x, &at, n);
        // go as far as the first limit allows
        let (mut step, mut hit) = (1.0, None);
        for k in (0..n).filter(|&k| at[k] == 0) {
            let d = goal[k] - x[k];
            let room = if d > 0.0 { hi[k] - x[k] } else { lo[k] - x[k] };
            if d.abs() > 0.0 && room / d < step {
                step = (room / d).max(0.0);
                hit = Some((k, if d > 0.0 { 1 } else { -1 }));
            }
        }
        for k in (0..n).filter(|&k| at[k] == 0) {
            x[k] += step * (goal[k] - x[k]);
        }
        if let Some((k, side)) = hit {
            at[k] = side;
            x[k] = if side > 0 { hi[k] } else { lo[k] };
            continue;
        }
        // release the limit with the strongest pull inwards
        let (mut worst, mut which) = (1e-12, None);
        for k in (0..n).filter(|&k| at[k] != 0 && hi[k] > lo[k]) {
            let slope: f64 = (0..n).map(|j| h[k][j] * (x[j] - pref[j])).sum();
            let inward = f64::from(at[k]) * slope;
            if inward > worst {
                worst = inward;
                which = Some(k);
            }
        }
        match which {
            Some(k) => at[k] = 0,
            None => break,
        }
    }
    x
}

/// Minimum over the free surfaces with the others held.
fn free_minimum(h: &[Row; MAX_SURFACES], pref: &Row, x: &Row, at: &[i8], n: usize) -> Row {
    let mut index = [0; MAX_SURFACES];
    let mut m = 0;
    for k in (0..n).filter(|&k| at[k] == 0) {
        index[m] = k;
        m += 1;
    }
    let mut l = [[0.0; MAX_SURFACES]; MAX_SURFACES];
    let mut y = [0.0; MAX_SURFACES];
    // Cholesky of the free block, forward substitution on the way
    for i in 0..m {
        let fixed: f64 = (0..n)
            .filter(|&j| at[j] != 0)
            .map(|j| h[index[i]][j] * (x[j] - pref[j]))
            .sum();
        y[i] = -fixed;
        for j in 0..=i {
            let done: f64 = l[i][..j].iter().zip(&l[j]).map(|(a, b)| a * b).sum();
            let s = h[index[i]][index[j]] - done;
            l[i][j] = if i == j {
                s.max(1e-30).sqrt()
            } else {
                s / l[j][j]
            };
        }
        for j in 0..i {
            y[i] -= l[i][j] * y[j];
        }
        y[i] /= l[i][i];
    }
    let mut goal = *x;
    for i in (0..m).rev() {
        for j in i + 1..m {
            y[i] -= l[j][i] * y[j];
        }
        y[i] /= l[i][i];
        goal[index[i]] = pref[index[i]] + y[i];
    }
    goal
}

#[cfg(test)]
mod tests;
