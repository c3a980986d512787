//! All ride metrics of one record.
//!
//! # Equation
//! Those of [`super::weighting`], [`super::sickness`], [`super::interruptions`], [`super::motion`]
//! and [`super::effort`]; every statistic with its interval.
//!
//! # Symbols
//! [`RideInput`] in SI, [`RideReport`] in the units of its field names; heave and heights as the
//! caller gives them (body z is down: a caller that prints heave up says so).
//!
//! # Valid when
//! The run-in has been removed. A run that ended early or left the model's validity is reported as
//! such and keeps its absolute values; [`super::compare`] gives no percentage then.
//!
//! # Source
//! See the rooms above.
//!
//! # Checked by
//! `a_sinusoidal_ride_by_hand`, `mirrored_ride_has_the_same_numbers`, `the_report_is_plain_json`.

use num_complex::Complex64;
use serde::Serialize;

use super::effort::{SurfaceEffort, SurfaceSeries, surface_effort};
use super::interruptions::Tilt;
use super::motion::{
    AmplitudeStats, EventStats, MotionStats, contacts, motion_stats, motion_stats_and_power,
};
use super::weighting::{CUT_FRAC, PAD_S, Weighting};
use super::{interruptions, sickness};
use crate::math::spectral::{self, Padded};
use crate::math::stats::Interval;
use crate::math::stats::record::{record_stats_pair, rms_interval_pair};

#[cfg(test)]
mod tests;

/// Slowest motion counted in vertical velocity, Hz.
pub(super) const VELOCITY_FROM_HZ: f64 = 0.02;

/// Unit of a motion series.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MotionUnit {
    /// Metres, reported in m.
    Metre,
    /// Radians, reported in deg.
    Radian,
}

/// One motion: surge, sway, heave, roll, pitch, yaw.
#[derive(Clone, Copy, Debug)]
pub struct MotionSeries<'a> {
    /// Name.
    pub name: &'a str,
    /// Unit.
    pub unit: MotionUnit,
    /// Values, m or rad.
    pub values: &'a [f64],
}

/// Accelerations of one point.
#[derive(Clone, Copy, Debug)]
pub struct PointSeries<'a> {
    /// Name of the point of interest.
    pub name: &'a str,
    /// Acceleration in body axes (x forward, y to starboard, z down) without gravity, m/s2.
    pub acceleration_m_s2: [&'a [f64]; 3],
}

/// A height that should stay positive.
#[derive(Clone, Copy, Debug)]
pub struct ClearanceSeries<'a> {
    /// What touches, `cross-structure`, or comes out, `forward fin port`.
    pub name: &'a str,
    /// Clearance, m: height of the underside above the water, depth of a fin or propeller below it.
    pub clearance_m: &'a [f64],
}

/// One record to be judged.
#[derive(Clone, Debug)]
pub struct RideInput<'a> {
    /// Sample interval, s.
    pub dt_s: f64,
    /// Roll, rad, for the forces on deck.
    pub roll_rad: &'a [f64],
    /// Pitch, rad.
    pub pitch_rad: &'a [f64],
    /// Motions to report.
    pub motions: Vec<MotionSeries<'a>>,
    /// Points to report.
    pub points: Vec<PointSeries<'a>>,
    /// Contacts and emergences to count.
    pub clearances: Vec<ClearanceSeries<'a>>,
    /// Surfaces to report.
    pub surfaces: Vec<SurfaceSeries<'a>>,
    /// Exposure for doses and sickness, s; two hours is usual.
    pub exposure_s: f64,
    /// The run reached its end.
    pub completed: bool,
    /// The run stayed where the model holds.
    pub in_validity: bool,
    /// Level of the intervals.
    pub level: f64,
}

/// Motion of one degree of freedom.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MotionReport {
    /// Name.
    pub name: String,
    /// `m` or `deg`.
    pub unit: &'static str,
    /// Statistics in that unit.
    #[serde(flatten)]
    pub stats: MotionStats,
}

/// Ride at one point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PointReport {
    /// Name.
    pub name: String,
    /// Vertical acceleration (body z, without gravity), RMS about the mean.
    pub vertical_rms_m_s2: Interval,
    /// Its significant amplitude.
    pub vertical_significant_m_s2: Interval,
    /// Its largest size.
    pub vertical_max_m_s2: f64,
    /// What theory makes of its amplitudes, m/s2.
    pub vertical_amplitudes: AmplitudeStats,
    /// Vertical velocity above 0.02 Hz, RMS.
    pub vertical_velocity_rms_m_s: Interval,
    /// Lateral acceleration as felt on deck (gravity's share in roll included), RMS about the mean.
    pub lateral_rms_m_s2: Interval,
    /// Longitudinal acceleration without gravity, RMS.
    pub longitudinal_rms_m_s2: Interval,
    /// Vertical acceleration weighted with Wk.
    pub weighted_vertical_m_s2: Interval,
    /// Lateral acceleration as felt, weighted with Wd.
    pub weighted_lateral_m_s2: Interval,
    /// Vertical acceleration weighted with Wf.
    pub weighted_sickness_m_s2: Interval,
    /// Motion sickness dose value over the exposure.
    pub msdv_m_s1_5: Interval,
    /// People who may vomit, ISO 2631-1, over the exposure.
    pub vomiting_percent: Interval,
    /// O'Hanlon-McCauley 1974, two hours.
    pub msi_1974_percent: Interval,
    /// McCauley 1976 over the exposure.
    pub msi_1976_percent: Interval,
    /// Mean frequency sqrt(m4/m2)/2 pi of the vertical motion.
    pub mean_frequency_hz: f64,
    /// Motion-induced interruptions counted.
    pub mii_per_min: Interval,
    /// The same from the moments of the lateral force (Graham).
    pub mii_theory_per_min: f64,
}

/// Contacts or emergences of one thing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct EventReport {
    /// Name.
    pub name: String,
    /// Statistics.
    #[serde(flatten)]
    pub stats: EventStats,
}

/// Everything about one record.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RideReport {
    /// Length of the record, s.
    pub length_s: f64,
    /// Level of the intervals, share.
    pub level_frac: f64,
    /// Exposure for doses and sickness, s.
    pub exposure_s: f64,
    /// The run reached its end.
    pub completed: bool,
    /// The run stayed where the model holds.
    pub in_validity: bool,
    /// Weighted accelerations hold nothing above this frequency, Hz.
    pub weighting_cut_hz: f64,
    /// Motions.
    pub motions: Vec<MotionReport>,
    /// Points.
    pub points: Vec<PointReport>,
    /// Contacts and emergences.
    pub events: Vec<EventReport>,
    /// Surfaces.
    pub surfaces: Vec<SurfaceEffort>,
}

/// Judges a record.
pub fn judge(input: &RideInput<'_>) -> RideReport {
    let (dt, level) = (input.dt_s, input.level);
    let tilt = Tilt::new(input.roll_rad, input.pitch_rad);
    RideReport {
        length_s: input.roll_rad.len() as f64 * dt,
        level_frac: level,
        exposure_s: input.exposure_s,
        completed: input.completed,
        in_validity: input.in_validity,
        weighting_cut_hz: CUT_FRAC / dt,
        motions: input
            .motions
            .iter()
            .map(|m| motion_report(m, dt, level))
            .collect(),
        points: input
            .points
            .iter()
            .map(|p| point_report(p, input, &tilt))
            .collect(),
        events: input
            .clearances
            .iter()
            .map(|c| EventReport {
                name: c.name.to_owned(),
                stats: contacts(c.clearance_m, dt, level),
            })
            .collect(),
        surfaces: input
            .surfaces
            .iter()
            .map(|s| surface_effort(s, dt, level))
            .collect(),
    }
}

fn motion_report(m: &MotionSeries<'_>, dt_s: f64, level: f64) -> MotionReport {
    let stats = motion_stats(m.values, dt_s, level);
    let (unit, f) = match m.unit {
        MotionUnit::Metre => ("m", 1.0),
        MotionUnit::Radian => ("deg", 1f64.to_degrees()),
    };
    MotionReport {
        name: m.name.to_owned(),
        unit,
        stats: MotionStats {
            mean: stats.mean.scale(f),
            rms: stats.rms.scale(f),
            significant: stats.significant.scale(f),
            max_amplitude: stats.max_amplitude * f,
            max: stats.max * f,
            min: stats.min * f,
            rate_rms: stats.rate_rms.scale(f),
            period_s: stats.period_s,
            amplitudes: stats.amplitudes.scale(f),
        },
    }
}

fn point_report(p: &PointSeries<'_>, input: &RideInput<'_>, tilt: &Tilt) -> PointReport {
    let (dt, level, exposure) = (input.dt_s, input.level, input.exposure_s);
    let [a_x, a_y, a_z] = p.acceleration_m_s2;
    let (vertical, power) = motion_stats_and_power(a_z, dt, level);
    let w_e = if a_z.len() < 2 {
        0.0
    } else {
        sickness::mean_frequency_of(&spectral::periodogram_of(&power, a_z.len(), dt))
    };
    let f_hz = w_e / std::f64::consts::TAU;
    let padded = Padded::new(a_z, dt, PAD_S);
    let weighted = |w: Weighting| w.apply_to(&padded);
    let [weighted_vertical, sick] =
        rms_interval_pair(&weighted(Weighting::Wk), &weighted(Weighting::Wf), level);
    let [velocity, longitudinal] = rms_interval_pair(&velocity(&padded), a_x, level);
    let felt = tilt.lateral_force_m_s2(a_y);
    let deck = tilt.deck_force_m_s2(a_z);
    let [(lateral, power), (weighted_lateral, _)] =
        record_stats_pair(&felt, &Weighting::Wd.apply(&felt, dt), level);
    let spectrum = spectral::periodogram_of(&power, felt.len(), dt);
    let dose = sick.map(|a| sickness::msdv_m_s1_5(a, exposure));
    let tipping = interruptions::TIPPING_LATERAL;
    PointReport {
        name: p.name.to_owned(),
        vertical_rms_m_s2: vertical.rms,
        vertical_significant_m_s2: vertical.significant,
        vertical_max_m_s2: vertical.max.abs().max(vertical.min.abs()),
        vertical_amplitudes: vertical.amplitudes,
        vertical_velocity_rms_m_s: velocity,
        lateral_rms_m_s2: lateral.rms,
        longitudinal_rms_m_s2: longitudinal,
        weighted_vertical_m_s2: weighted_vertical,
        weighted_lateral_m_s2: weighted_lateral.rms,
        weighted_sickness_m_s2: sick,
        msdv_m_s1_5: dose,
        vomiting_percent: dose.map(sickness::vomiting_percent),
        msi_1974_percent: vertical.rms.map(|a| sickness::msi_1974_percent(a, w_e)),
        msi_1976_percent: vertical
            .rms
            .map(|a| sickness::msi_1976_percent(a, f_hz, exposure)),
        mean_frequency_hz: f_hz,
        mii_per_min: interruptions::counted_per_min(&felt, &deck, dt, tipping, level),
        mii_theory_per_min: interruptions::expected_per_min(
            spectrum.moment(0),
            spectrum.moment(2),
            tipping,
        ),
    }
}

/// Velocity from acceleration above [`VELOCITY_FROM_HZ`].
fn velocity(acceleration: &Padded) -> Vec<f64> {
    acceleration.filtered(|f| {
        if f < VELOCITY_FROM_HZ {
            Complex64::ZERO
        } else {
            Complex64::new(0.0, std::f64::consts::TAU * f).inv()
        }
    })
}
