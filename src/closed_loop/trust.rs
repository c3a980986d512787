//! When a spectral answer may be believed.
//!
//! # Equation
//! ```text
//! limits: share of time on angle or rate limit of a fin      at most 5 %
//! slow:   share of variance of heave, roll or pitch below |omega_e| = 0.1 rad/s   at most 20 %
//! contact: (1/2 pi) sqrt(m2/m0) exp(-c^2/(2 m0)) 3600        at most once an hour
//! range:   the same for heave, roll and pitch, c the way from trim to the end of the model's range
//! phase:   sum m |H|^2 (1 - exp(-(k d)^2)) / sum m |H|^2     at most 10 %, of heave, roll, pitch, vertical acceleration
//! ```
//!
//! # Symbols
//! c clearance of an underside point at trim, m0 and m2 its spectral moments (Rice); d RMS displacement of O along
//! the mean direction of the waves, faster than 0.1 rad/s: it shifts the phase at which a wave is met, and of a force
//! exp(i phase) whose phase wanders by a Gaussian k d (k wave number, 1/m) the share exp(-(k d)^2) of the variance
//! stays at the frequency at which the linear craft meets it; m, H weight of a wave and response to it.
//!
//! # Valid when
//! Gaussian motions. The bounds are those up to which this project compares the method with simulation.
//!
//! # Source
//! Rice (1944), Bell Syst. Tech. J. 23, for the rate of crossings. The phase rule is the characteristic function of a
//! Gaussian; its bound of 10 % is ours.
//!
//! # Checked by
//! `doubts_are_named`, `wander_and_range_are_doubted` (tests of this room).

use std::f64::consts::TAU;
use std::fmt;

use nalgebra::Vector3;

use super::evaluate::Evaluation;
use super::output::Output;
use super::reading::depth_row;

/// Largest share of time on a limit.
pub const LIMIT_SHARE: f64 = 0.05;
/// Encounter frequency below which motion counts as slow, rad/s.
pub const SLOW_RAD_S: f64 = 0.1;
/// Largest share of slow variance.
pub const SLOW_SHARE: f64 = 0.2;
/// Contacts an hour, or departures from the range of the model, that count as likely.
pub const CONTACTS_PER_H: f64 = 1.0;
/// Largest share of variance that the craft's own displacement along the waves may move to other frequencies.
pub const PHASE_SHARE: f64 = 0.1;

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
        /// Heave, roll, pitch, or a point's acceleration.
        motion: String,
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
    /// A motion leaves the range in which the model holds.
    Range {
        /// Heave, roll or pitch.
        motion: &'static str,
        /// Expected departures an hour.
        per_h: f64,
    },
    /// The craft surges or sways so far within each wave that it changes the wave's phase.
    WavePhase {
        /// Heave, roll, pitch or vertical acceleration.
        of: &'static str,
        /// RMS displacement along the waves, m.
        along_m: f64,
        /// Share of its variance that is met at another frequency than the linear model's.
        share: f64,
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
            Doubt::Range { motion, per_h } => write!(
                f,
                "{motion} leaves the range of the model {per_h:.1} times an hour"
            ),
            Doubt::WavePhase { of, along_m, share } => write!(
                f,
                "the craft moves {along_m:.2} m RMS along the waves: {:.0} % of the variance of {of} comes at other frequencies",
                100.0 * share
            ),
        }
    }
}

impl Doubt {
    /// The reason without its numbers, which many seas may share.
    pub fn reason(&self) -> &'static str {
        match self {
            Doubt::NotSettled => "limits and drag did not settle",
            Doubt::Limits { .. } => "fins at their limits for more than 5 % of the time",
            Doubt::Slow { .. } => "what is limited is too slow as encountered",
            Doubt::Contact { .. } => "the underside meets the water more than once an hour",
            Doubt::Range { .. } => "a motion leaves the range of the model more than once an hour",
            Doubt::WavePhase { .. } => {
                "the craft surges or sways so far that it meets the waves at another phase"
            }
        }
    }
}

impl Evaluation<'_> {
    /// Why the numbers may be off; empty: trusted. Of what the wandering phase of the waves touches, the most touched.
    pub fn doubts(&self) -> Vec<Doubt> {
        let mut out = self.doubts_by_output();
        let phase = |d: &Doubt| match d {
            Doubt::WavePhase { share, .. } => Some(*share),
            _ => None,
        };
        let most = out.iter().filter_map(phase).fold(0.0, f64::max);
        out.retain(|d| phase(d).is_none_or(|share| share >= most));
        out
    }

    /// As [`Evaluation::doubts`], with every output that the wandering phase of the waves touches.
    pub fn doubts_by_output(&self) -> Vec<Doubt> {
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
                out.push(Doubt::Slow {
                    motion: motion.to_owned(),
                    share,
                });
            }
        }
        let worst = |rates: Vec<(_, f64)>| rates.into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((point, per_h)) = worst(self.contacts_per_h()).filter(|w| w.1 > CONTACTS_PER_H)
        {
            out.push(Doubt::Contact { point, per_h });
        }
        for (motion, per_h) in self.departures_per_h() {
            if per_h > CONTACTS_PER_H {
                out.push(Doubt::Range { motion, per_h });
            }
        }
        let along_m = self.along_rms_m();
        for (of, share) in self.phase_shares(along_m) {
            if share > PHASE_SHARE {
                out.push(Doubt::WavePhase { of, along_m, share });
            }
        }
        out
    }

    /// Whether there is no doubt.
    pub fn is_trusted(&self) -> bool {
        self.doubts().is_empty()
    }

    /// Expected departures of heave, roll and pitch from the range of the model, per hour.
    pub fn departures_per_h(&self) -> [(&'static str, f64); 3] {
        let craft = &self.sea.speed.craft;
        let l = &craft.limits;
        [
            ("heave", 2, [l.heave_up_m, l.heave_down_m]),
            ("roll", 3, [l.roll_rad; 2]),
            ("pitch", 4, [l.pitch_rad; 2]),
        ]
        .map(|(motion, i, [up, down])| {
            let [m0, m2, _] = self.moments(Output::Motion(i));
            let trim = craft.trim.x[i];
            let ways = [up + trim, down - trim];
            (
                motion,
                ways.iter().map(|c| crossings_per_h(m0, m2, *c)).sum(),
            )
        })
    }

    /// RMS displacement of O along the mean direction of the waves faster than [`SLOW_RAD_S`], m.
    pub fn along_rms_m(&self) -> f64 {
        let (mut x, mut y) = (0.0, 0.0);
        for w in &self.sea.waves {
            x += w.weight_m2 * w.mu_rad.cos();
            y += w.weight_m2 * w.mu_rad.sin();
        }
        let along = Output::Along {
            heading_rad: y.atan2(x),
        };
        let fast = |o| if o < SLOW_RAD_S { 0.0 } else { 1.0 };
        self.weighted(along, fast).sqrt()
    }

    /// Share of the variance of each output that an RMS displacement along the waves (m) moves to other frequencies; of a
    /// motion that hardly exists none.
    pub fn phase_shares(&self, along_m: f64) -> [(&'static str, f64); 4] {
        let g = self.sea.speed.craft.plant.g_m_s2;
        let r_m = Vector3::zeros();
        [
            ("heave", Output::Motion(2)),
            ("roll", Output::Motion(3)),
            ("pitch", Output::Motion(4)),
            ("vertical acceleration", Output::Vertical { r_m }),
        ]
        .map(|(of, output)| {
            let (mut moved, mut all) = (0.0, 0.0);
            for (w, h) in self.sea.waves.iter().zip(self.response(output)) {
                let part = w.weight_m2 * h.norm_sqr();
                let phase = w.omega_rad_s * w.omega_rad_s / g * along_m;
                all += part;
                moved -= part * (-phase * phase).exp_m1();
            }
            (of, if all > 1e-8 { moved / all } else { 0.0 })
        })
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
                (p.name.clone(), crossings_per_h(m0, m2, depth))
            })
            .collect()
    }
}

/// Crossings of `level` away from the mean, one way, per hour, of a Gaussian process.
fn crossings_per_h(m0: f64, m2: f64, level: f64) -> f64 {
    if m0 <= 0.0 {
        return 0.0;
    }
    3600.0 * (m2 / m0).sqrt() / TAU * (-0.5 * level * level / m0).exp()
}
