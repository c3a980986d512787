//! When a spectral answer may be believed.
//!
//! # Equation
//! ```text
//! limits: share of time on angle or rate limit of a fin      at most 5 %
//! slow:   share of variance of heave, roll or pitch below |omega_e| = 0.1 rad/s   at most 20 %
//! contact: (1/2 pi) sqrt(m2/m0) exp(-c^2/(2 m0)) 3600        at most once an hour
//! ```
//!
//! # Symbols
//! c clearance of an underside point at trim, m0 and m2 its spectral moments (Rice).
//!
//! # Valid when
//! Gaussian motions. The bounds are those up to which this project compares the method with simulation.
//!
//! # Source
//! Rice (1944), Bell Syst. Tech. J. 23, for the rate of crossings.
//!
//! # Checked by
//! `doubts_are_named` (tests of this room).

use std::f64::consts::TAU;
use std::fmt;

use super::evaluate::Evaluation;
use super::output::Output;
use super::reading::depth_row;

/// Largest share of time on a limit.
pub const LIMIT_SHARE: f64 = 0.05;
/// Encounter frequency below which motion counts as slow, rad/s.
pub const SLOW_RAD_S: f64 = 0.1;
/// Largest share of slow variance.
pub const SLOW_SHARE: f64 = 0.2;
/// Contacts an hour that count as likely.
pub const CONTACTS_PER_H: f64 = 1.0;

/// A reason not to believe the numbers.
#[derive(Clone, Debug, PartialEq)]
pub enum Doubt {
    /// Limits and drag did not settle.
    NotSettled,
    /// A surface is on its limits for too much of the time.
    Limits {
        /// Its name.
        surface: String,
        /// Share of time on the angle limit.
        angle_share: f64,
        /// Share of time on the rate limit.
        rate_share: f64,
    },
    /// Much of a motion is too slow to be Gaussian in any run.
    Slow {
        /// Heave, roll or pitch.
        motion: &'static str,
        /// Share of its variance.
        share: f64,
    },
    /// The cross-structure meets the water.
    Contact {
        /// Which point of the underside.
        point: String,
        /// Expected contacts an hour.
        per_h: f64,
    },
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Doubt::NotSettled => write!(f, "limits and drag did not settle"),
            Doubt::Limits {
                surface,
                angle_share,
                rate_share,
            } => write!(
                f,
                "`{surface}` is on its angle limit {:.1} % and on its rate limit {:.1} % of the time",
                100.0 * angle_share,
                100.0 * rate_share
            ),
            Doubt::Slow { motion, share } => write!(
                f,
                "{:.0} % of the variance of {motion} is slower than {SLOW_RAD_S} rad/s",
                100.0 * share
            ),
            Doubt::Contact { point, per_h } => write!(
                f,
                "the underside at `{point}` meets the water {per_h:.1} times an hour"
            ),
        }
    }
}

impl Evaluation<'_> {
    /// Why the numbers may be off; empty: trusted.
    pub fn doubts(&self) -> Vec<Doubt> {
        let craft = &self.sea.speed.craft;
        let mut out = Vec::new();
        if !self.converged || !self.sea.drag_settled {
            out.push(Doubt::NotSettled);
        }
        for w in &self.surfaces {
            if w.limit_share() > LIMIT_SHARE {
                out.push(Doubt::Limits {
                    surface: craft.setup.surfaces[w.surface].name.clone(),
                    angle_share: w.angle_limit_share,
                    rate_share: w.rate_limit_share,
                });
            }
        }
        for (motion, i) in [("heave", 2), ("roll", 3), ("pitch", 4)] {
            let share = self.slow_share(Output::Motion(i), SLOW_RAD_S);
            // a motion that hardly exists is no reason
            if share > SLOW_SHARE && self.rms(Output::Motion(i)) > 1e-4 {
                out.push(Doubt::Slow { motion, share });
            }
        }
        let worst = self
            .contacts_per_h()
            .into_iter()
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((point, per_h)) = worst.filter(|w| w.1 > CONTACTS_PER_H) {
            out.push(Doubt::Contact { point, per_h });
        }
        out
    }

    /// Whether there is no doubt.
    pub fn is_trusted(&self) -> bool {
        self.doubts().is_empty()
    }

    /// Expected contacts of every underside point, per hour.
    pub fn contacts_per_h(&self) -> Vec<(String, f64)> {
        let craft = &self.sea.speed.craft;
        craft
            .underside
            .iter()
            .map(|p| {
                let [m0, m2, _] = self.moments(Output::Clearance {
                    r_m: p.r_m,
                    wave_factor: craft.own_wave_factor,
                });
                // the depth at trim is exact in heave, linear in the small trim angles
                let slopes = depth_row(&craft.linear, &p.r_m);
                let depth = p.r_m.z + (2..5).map(|i| slopes[i] * craft.trim.x[i]).sum::<f64>();
                let rate = if m0 > 0.0 {
                    (m2 / m0).sqrt() / TAU * (-0.5 * depth * depth / m0).exp()
                } else {
                    0.0
                };
                (p.name.clone(), 3600.0 * rate)
            })
            .collect()
    }
}
