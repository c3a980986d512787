//! Modal demands to surfaces.
//!
//! A law asks for heave, pitch and roll as *equivalent fin angles*: the angle that every lifting
//! surface would have to take, each with the sign that helps, to make that force or moment. The
//! allocator turns them into one angle per surface.
//!
//! # Equation
//! ```text
//! B(j,i)   force (heave, roll, pitch) of surface i per rad / R_j,   R_j = sum_i |own force of i|
//!          = own + cos(w x/U) (what its wake takes from surfaces x downstream), w of Sharing
//! pref     = T d,   T from B: pitch by the forward share, roll and heave by least norm
//! want     = B pref
//! minimise sum_j W_j^2 (B x - want)_j^2 + W_h^2 (r - ride)^2 + eps^2 |x - pref|^2
//! subject to  min <= x <= max,  0 <= r <= ride,  the heave row being B x - r
//! ```
//! The heave force that comes with a pitch demand of uneven share is part of `want`: it is what
//! the share means. Inside the limits x = pref exactly; at a limit the rest of the surfaces take
//! over by priority: pitch before roll before heave before ride, weights `W` a factor ten apart
//! unless the file says otherwise. Ride is the share of the heave demand that only softens
//! accelerations: it is given up first (r is what is left of it). A surface that is stuck has
//! min = max and is worked around the same way.
//!
//! # Wakes
//! Lift of a forward surface takes lift from those behind it, x/U later: 2.7 s on 22 m at 16 kn. In
//! waves of 1.2 rad/s that is half a period, and the loss of the steady state has become a gain. One
//! real matrix holds at one frequency; [`Sharing::wake_frequency_rad_s`] says which. Without it the
//! wakes are left out. [`super::pid`] can work against them at the aft surfaces instead, at all frequencies.
//! On the smaller demonstration craft at 16 kn a heave demand of least norm brings 0.4 to 1.1 of its own in
//! pitch (shares of what all surfaces make) between 0.2 and 2 rad/s without wakes in B; no real matrix does
//! better than 0.48 RMS there (tests/allocation.rs).
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
//! `ride_gives_way_before_heave`, `priority_can_be_turned_round`, `wakes_count_at_their_frequency`,
//! `stuck_surface_is_worked_around`, `bounded_solution_is_optimal`

use bounded::bounded;

use super::signal::{FinCommand, Setup, SurfaceSetup};
use crate::error::{Error, Result};
use crate::spec::controller::PrioritySpec;
use crate::spec::craft::SurfaceGroup;

mod bounded;

/// Most lifting surfaces an allocator handles.
pub const MAX_SURFACES: usize = 12;
/// Unknowns: the surfaces, and what is left of the ride demand.
const SIZE: usize = MAX_SURFACES + 1;

/// Pull towards the preferred angles; small against the least weight.
const PULL: f64 = 0.01;
/// Relative change of speed that is worth another matrix.
const SPEED_STEP: f64 = 2e-3;
/// Speed below which wakes are taken as at this speed, m/s.
const LEAST_WAKE_SPEED_M_S: f64 = 1.0;

/// Modal demand as equivalent fin angles, rad.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Demand {
    /// Lifting.
    pub heave_rad: f64,
    /// Lifting too, but the first to be given up at the limits.
    pub ride_rad: f64,
    /// Bow up.
    pub pitch_rad: f64,
    /// Starboard up.
    pub roll_rad: f64,
}

/// How demands are shared between the surfaces.
#[derive(Clone, Debug, Default)]
pub struct Sharing {
    /// Part (0 to 1) of the pitch moment that the forward group carries; the rest is the aft group's.
    pub pitch_forward: f64,
    /// The same of the heave force; least norm without pitching moment when none.
    pub heave_forward: Option<f64>,
    /// Frequency at which wakes count, rad/s; none leaves them out.
    pub wake_frequency_rad_s: Option<f64>,
    /// Share of the wakes that somebody else takes care of, 0 to 1.
    pub wake_compensated: f64,
    /// Weights at the limits.
    pub priority: PrioritySpec,
}

/// True for a surface that the allocator drives: it moves, and is no rudder.
pub fn lifts(s: &SurfaceSetup) -> bool {
    let i = &s.influence;
    s.group != SurfaceGroup::Rudder && (i.heave_n.abs() > 0.0 || i.pitch_nm.abs() > 0.0)
}

type Row = [f64; SIZE];

/// Loss by the wake of a driven surface, in rows of B.
#[derive(Clone, Copy, Debug)]
struct Loss {
    from: usize,
    row: [f64; 3],
    distance_m: f64,
}

/// Turns demands into angles about trim.
#[derive(Clone, Debug, Default)]
pub struct Allocator {
    channel: Vec<usize>,
    forward: Vec<bool>,
    sharing: Sharing,
    own: [Row; 3],
    losses: Vec<Loss>,
    speed_m_s: f64,
    b: [Row; 3],
    mix: [Row; 3],
    h: [Row; SIZE],
}

impl Allocator {
    /// An allocator for the lifting surfaces of `setup`; `forward_share` (0 to 1) of the pitch
    /// moment is carried by the forward group, the rest by the aft group.
    ///
    /// # Errors
    /// When there is no lifting surface, too many, or a share asks a group that does not exist.
    pub fn new(setup: &Setup, forward_share: f64) -> Result<Self> {
        let sharing = Sharing {
            pitch_forward: forward_share,
            ..Sharing::default()
        };
        Allocator::driving(setup, sharing, &[])
    }

    /// The same for the surfaces called `channels` only; for all that lift when empty.
    ///
    /// # Errors
    /// As [`Allocator::new`]; a channel that no lifting surface answers to.
    pub fn driving(setup: &Setup, sharing: Sharing, channels: &[String]) -> Result<Self> {
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
        let group = |i: &usize| setup.surfaces[*i].group;
        let mut a = Allocator {
            forward: channel
                .iter()
                .map(|i| group(i) == SurfaceGroup::Forward)
                .collect(),
            channel,
            sharing,
            ..Allocator::default()
        };
        a.influences(setup);
        for (share, what) in [
            (Some(a.sharing.pitch_forward), "pitch"),
            (a.sharing.heave_forward, "heave"),
        ] {
            if let Some(share) = share {
                a.check_share(share, what)?;
            }
        }
        a.speed_m_s = setup.nominal_speed_m_s;
        a.tune();
        Ok(a)
    }

    /// Own influences and wakes, in shares of what all surfaces together make.
    fn influences(&mut self, setup: &Setup) {
        let rows = |f: &super::signal::ModalInfluence| [-f.heave_n, f.pitch_nm, -f.roll_nm];
        for (k, &i) in self.channel.iter().enumerate() {
            for (row, v) in self.own.iter_mut().zip(rows(&setup.surfaces[i].influence)) {
                row[k] = v;
            }
        }
        let reach = [0, 1, 2].map(|r| self.own[r].iter().map(|v: &f64| v.abs()).sum::<f64>());
        let share = |r: usize| if reach[r] > 0.0 { 1.0 / reach[r] } else { 0.0 };
        for (r, row) in self.own.iter_mut().enumerate() {
            for v in row.iter_mut() {
                *v *= share(r);
            }
        }
        for w in &setup.wakes {
            let Some(from) = self.channel.iter().position(|i| *i == w.from) else {
                continue;
            };
            let (f, t) = (&setup.surfaces[w.from], &setup.surfaces[w.to]);
            let force = f.effectiveness * setup.influence_speed_m_s * setup.influence_speed_m_s;
            let lost = SurfaceSetup::influence_at(&t.r_m, &t.n, -w.force_ratio * force);
            let all = rows(&lost);
            self.losses.push(Loss {
                from,
                row: [0, 1, 2].map(|r| all[r] * share(r)),
                distance_m: w.distance_m,
            });
        }
    }

    fn check_share(&self, share: f64, what: &str) -> Result<()> {
        for (ahead, part) in [(true, share), (false, 1.0 - share)] {
            if part > 0.0 && !self.forward.contains(&ahead) {
                let group = if ahead { "forward" } else { "aft" };
                return Err(Error::with_hint(
                    format!(
                        "{part:.2} of the {what} demand is asked of {group} surfaces, none is driven"
                    ),
                    "set its forward share to 1 without aft surfaces, to 0 without forward ones",
                ));
            }
        }
        Ok(())
    }

    /// Takes the surfaces as they are at this speed through water; changes below a few per mille wait.
    pub fn at_speed(&mut self, speed_m_s: f64) {
        let waits = (speed_m_s - self.speed_m_s).abs() < SPEED_STEP * self.speed_m_s.abs();
        // own forces all go with U^2 and keep their shares: only wakes change the matrix
        if waits || self.losses.is_empty() || self.sharing.wake_frequency_rad_s.is_none() {
            return;
        }
        self.speed_m_s = speed_m_s;
        self.tune();
    }

    /// Matrices at the present speed.
    fn tune(&mut self) {
        self.b = self.own;
        if let Some(omega) = self.sharing.wake_frequency_rad_s {
            let u = self.speed_m_s.max(LEAST_WAKE_SPEED_M_S);
            let left = 1.0 - self.sharing.wake_compensated;
            for l in &self.losses {
                let in_phase = (omega * l.distance_m / u).cos();
                for (row, v) in self.b.iter_mut().zip(l.row) {
                    row[l.from] += left * in_phase * v;
                }
            }
        }
        self.mix[0] = match self.sharing.heave_forward {
            Some(share) => self.shared(0, share),
            None => self.least_norm([1.0, 0.0, 0.0]),
        };
        self.mix[1] = self.shared(1, self.sharing.pitch_forward);
        self.mix[2] = self.least_norm([0.0, 0.0, 1.0]);
        self.weigh();
    }

    /// The quadratic form of the bounded problem.
    fn weigh(&mut self) {
        let n = self.channel.len();
        let p = &self.sharing.priority;
        let mut rows = [[0.0; SIZE]; 4];
        for (row, b) in rows.iter_mut().zip(&self.b) {
            row[..n].copy_from_slice(&b[..n]);
        }
        rows[0][n] = -1.0;
        rows[3][n] = 1.0;
        let weight = [p.heave_weight, p.pitch_weight, p.roll_weight, p.ride_weight];
        for i in 0..=n {
            for j in 0..=n {
                let sum: f64 = rows
                    .iter()
                    .zip(weight)
                    .map(|(r, w)| w * w * r[i] * r[j])
                    .sum();
                self.h[i][j] = sum + if i == j && i < n { PULL * PULL } else { 0.0 };
            }
        }
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

    /// Modal content of angles about trim: what [`Demand`] they amount to, ride counted as heave.
    pub fn modal(&self, about_trim: impl Fn(usize) -> f64) -> Demand {
        let mut x = [0.0; SIZE];
        for (v, &i) in x.iter_mut().zip(&self.channel) {
            *v = about_trim(i);
        }
        self.content(&x)
    }

    /// What a demand amounts to as modal content when met in full: the demand itself, plus what
    /// uneven shares bring with them.
    pub fn expected(&self, d: &Demand) -> Demand {
        let mut x = self.preferred(d);
        x[self.channel.len()] = 0.0;
        self.content(&x)
    }

    fn content(&self, x: &Row) -> Demand {
        let pick = |row: &Row| row.iter().zip(x).map(|(b, v)| b * v).sum();
        Demand {
            heave_rad: pick(&self.b[0]),
            ride_rad: 0.0,
            pitch_rad: pick(&self.b[1]),
            roll_rad: pick(&self.b[2]),
        }
    }

    /// Angles for a demand about `trim_rad(i)`, within the limits of `u`; writes the driven
    /// channels of `u.fin_rad`.
    pub fn allocate(&self, d: &Demand, trim_rad: impl Fn(usize) -> f64, u: &mut FinCommand) {
        let pref = self.preferred(d);
        let n = self.channel.len();
        let (mut lo, mut hi) = ([0.0; SIZE], [0.0; SIZE]);
        let mut inside = true;
        for (k, &i) in self.channel.iter().enumerate() {
            let trim = trim_rad(i);
            lo[k] = u.min_rad[i] - trim;
            hi[k] = (u.max_rad[i] - trim).max(lo[k]);
            inside &= pref[k] >= lo[k] && pref[k] <= hi[k];
        }
        (lo[n], hi[n]) = (d.ride_rad.min(0.0), d.ride_rad.max(0.0));
        let x = if inside {
            pref
        } else {
            // minimum of (x - pref)' H (x - pref): W B pref is what is wanted
            bounded(&self.h, &pref, &lo, &hi, n + 1)
        };
        for (k, &i) in self.channel.iter().enumerate() {
            u.fin_rad[i] = trim_rad(i) + x[k];
        }
    }

    /// The nearest angles within the limits of `u` to those that stand in it: their modal content is kept as far as
    /// priority and limits allow. For laws that do not allocate by themselves.
    pub fn share_out(&self, trim_rad: impl Fn(usize) -> f64, u: &mut FinCommand) {
        let n = self.channel.len();
        let (mut pref, mut lo, mut hi) = ([0.0; SIZE], [0.0; SIZE], [0.0; SIZE]);
        for (k, &i) in self.channel.iter().enumerate() {
            let trim = trim_rad(i);
            pref[k] = u.fin_rad[i] - trim;
            lo[k] = u.min_rad[i] - trim;
            hi[k] = (u.max_rad[i] - trim).max(lo[k]);
        }
        let x = bounded(&self.h, &pref, &lo, &hi, n + 1);
        for (k, &i) in self.channel.iter().enumerate() {
            u.fin_rad[i] = trim_rad(i) + x[k];
        }
    }

    /// Angles about trim, inside the limits, of the channels driven: one row a channel, columns heave (or
    /// ride), pitch, roll demand.
    pub fn gains(&self) -> Vec<[f64; 3]> {
        (0..self.channel.len())
            .map(|k| [self.mix[0][k], self.mix[1][k], self.mix[2][k]])
            .collect()
    }

    /// Angles that meet a demand in full; the place behind them holds the ride demand.
    fn preferred(&self, d: &Demand) -> Row {
        let mut x = [0.0; SIZE];
        let n = self.channel.len();
        let lift = d.heave_rad + d.ride_rad;
        for (k, v) in x.iter_mut().enumerate().take(n) {
            *v = self.mix[0][k] * lift + self.mix[1][k] * d.pitch_rad + self.mix[2][k] * d.roll_rad;
        }
        x[n] = d.ride_rad;
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
        let mut x = [0.0; SIZE];
        for (k, v) in x.iter_mut().enumerate() {
            *v = (0..3).map(|j| self.b[j][k] * y[j]).sum();
        }
        x
    }

    /// Angles for a unit of `row`, alike within a group, `share` of it by the forward group.
    fn shared(&self, row: usize, share: f64) -> Row {
        let b = &self.b[row];
        let mut x = [0.0; SIZE];
        for (ahead, part) in [(true, share), (false, 1.0 - share)] {
            let members = || (0..self.channel.len()).filter(|&k| self.forward[k] == ahead);
            let all: f64 = members().map(|k| b[k].abs()).sum();
            if part > 0.0 && all > 0.0 {
                for k in members() {
                    x[k] = part * b[k].signum() / all;
                }
            }
        }
        x
    }
}

#[cfg(test)]
mod tests;
