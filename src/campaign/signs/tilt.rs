//! What a law asks when the craft seems tilted.
//!
//! # Equation
//! ```text
//! F_j = sum_i B_ji (servo_i(tilted) - servo_i(level)),   mean over the last half of the time
//! ```
//! Starboard down asks for a negative rolling moment, bow up for a negative pitching moment, too deep for
//! a negative (upward) force along z.
//!
//! # Symbols
//! B force (N) or moment (N m) per rad of a surface about O; servo the angle it was told, rad.
//!
//! # Valid when
//! Fins turn as their servos are told; the law feeds back what is tilted. A law that does not asks for
//! nothing, which is told and is no fault.
//!
//! # Source
//! Sign card of [`crate::frames`].
//!
//! # Checked by
//! `healthy_craft_passes`, `law_that_pushes_the_wrong_way_is_told`

use serde::Serialize;

use super::fresh;
use crate::campaign::stage::LawPlan;
use crate::control::allocate::lifts;
use crate::control::signal::{FinCommand, Measurement, Setup, SurfaceSetup, Truth, vertical};
use crate::error::Result;
use crate::units::{G_M_S2, deg, to_deg};

/// How long the craft seems tilted, s; the second half counts.
const FOR_S: f64 = 20.0;
/// Tilts: roll and pitch, rad, and depth, m.
const ROLL_RAD: f64 = 2.0 * std::f64::consts::PI / 180.0;
const PITCH_RAD: f64 = std::f64::consts::PI / 180.0;
const DEEP_M: f64 = 0.2;
/// Share of what all fins could give below which a law asks for nothing.
const NOTHING: f64 = 1e-3;
/// Angle of a fin below which it does nothing, deg.
const STILL_DEG: f64 = 0.02;

/// A tilt and what the law makes of it.
#[derive(Clone, Debug, Serialize)]
pub struct Tilt {
    /// In words.
    pub tilt: String,
    /// Unit of `asked`: kN or kN m.
    pub unit: &'static str,
    /// Force down or moment that the law asks for; negative leads back.
    pub asked: f64,
    /// Share of what all fins give at 10 deg.
    pub share: f64,
    /// Each fin's part.
    pub fins: Vec<TiltedFin>,
}

/// What one fin is told.
#[derive(Clone, Debug, Serialize)]
pub struct TiltedFin {
    /// Surface.
    pub surface: String,
    /// Change of its angle, deg.
    pub angle_deg: f64,
    /// Its part leads back; none when it hardly moves.
    pub leads_back: Option<bool>,
}

impl Tilt {
    /// The law asks for nothing.
    pub fn asks_nothing(&self) -> bool {
        self.share.abs() < NOTHING
    }

    /// The law would tilt the craft farther.
    pub fn pushes_wrong_way(&self) -> bool {
        !self.asks_nothing() && self.asked > 0.0
    }
}

/// What a surface gives per rad, N or N m.
type Influence = fn(&SurfaceSetup) -> f64;

/// All tilts.
pub(super) fn all(plan: &LawPlan, setup: &Setup) -> Result<Vec<Tilt>> {
    let level = told(plan, setup, [0.0; 3])?;
    let tilts: [(&str, [f64; 3], Influence, &'static str); 3] = [
        (
            "starboard down",
            [ROLL_RAD, 0.0, 0.0],
            |s| s.influence.roll_nm,
            "kN m",
        ),
        (
            "bow up",
            [0.0, PITCH_RAD, 0.0],
            |s| s.influence.pitch_nm,
            "kN m",
        ),
        (
            "too deep",
            [0.0, 0.0, DEEP_M],
            |s| s.influence.heave_n,
            "kN",
        ),
    ];
    let mut out = Vec::with_capacity(3);
    for (words, by, influence, unit) in tilts {
        let tilted = told(plan, setup, by)?;
        let (mut asked, mut most) = (0.0, 0.0);
        let mut fins = Vec::new();
        for (i, s) in setup.surfaces.iter().enumerate().filter(|(_, s)| lifts(s)) {
            let change = tilted[i] - level[i];
            asked += influence(s) * change;
            most += influence(s).abs() * deg(10.0);
            let angle_deg = to_deg(change);
            fins.push(TiltedFin {
                surface: s.name.clone(),
                angle_deg,
                leads_back: (angle_deg.abs() > STILL_DEG).then(|| influence(s) * change < 0.0),
            });
        }
        let size = match by {
            [roll, pitch, deep] if deep <= 0.0 => format!("{} deg", to_deg(roll + pitch).round()),
            [_, _, deep] => format!("{deep} m"),
        };
        out.push(Tilt {
            tilt: format!("{size} {words}"),
            unit,
            asked: asked / 1e3,
            share: asked / f64::max(most, 1e-9),
            fins,
        });
    }
    Ok(out)
}

/// What each servo is told, mean over the second half, when the craft seems to lie off trim by roll,
/// pitch and depth. Servos follow at once.
fn told(plan: &LawPlan, setup: &Setup, by: [f64; 3]) -> Result<Vec<f64>> {
    let mut law = fresh(plan, setup)?;
    let mut u = FinCommand::at_trim(setup);
    let mut y = readings(setup, by);
    let samples = (FOR_S / setup.sample_period_s).round() as u32;
    let mut sum = vec![0.0; u.fin_rad.len()];
    let mut count = 0.0;
    for k in 0..samples {
        y.surface_rad.clone_from(&u.fin_rad);
        law.update(f64::from(k) * setup.sample_period_s, &y, &mut u)?;
        for (i, angle) in u.fin_rad.iter_mut().enumerate() {
            *angle = angle.max(u.min_rad[i]).min(u.max_rad[i]);
        }
        if 2 * k >= samples {
            count += 1.0;
            sum.iter_mut().zip(&u.fin_rad).for_each(|(s, a)| *s += a);
        }
    }
    Ok(sum.into_iter().map(|s| s / f64::max(count, 1.0)).collect())
}

fn readings(setup: &Setup, [roll, pitch, deep]: [f64; 3]) -> Measurement {
    let mut y = Measurement::at_trim(setup);
    let (phi, theta) = (roll, setup.trim_pitch_rad + pitch);
    let heave = setup.trim_heave_m + deep;
    (y.phi_rad, y.theta_rad) = (phi, theta);
    let (sf, cf) = phi.sin_cos();
    let (st, ct) = theta.sin_cos();
    y.specific_force_m_s2 = nalgebra::Vector3::new(st, -ct * sf, -ct * cf) * G_M_S2;
    for (h, r) in y.height_m.iter_mut().zip(&setup.height_sensors_m) {
        *h = -(heave + vertical(r, phi, theta));
    }
    y.truth = Some(Truth {
        heave_m: heave,
        w_m_s: setup.nominal_speed_m_s * theta.tan(),
        phi_rad: phi,
        theta_rad: theta,
        ..Truth::default()
    });
    y
}
