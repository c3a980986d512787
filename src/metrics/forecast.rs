//! Ride metrics of linear responses to a sea: the spectral forms of [`super::ride`].
//!
//! # Equation
//! ```text
//! RMS^2 = sum_k w_k |X_k|^2;  rates by omega_k, weighted accelerations by |W(omega_k/2pi)|
//! significant = 2.0022 RMS (mean of the highest third of Rayleigh amplitudes)
//! largest = RMS sqrt(2 ln N), N = exposure/period;  period = 2 pi sqrt(m0/m2)
//! interruptions: up-crossings of g l/h by  f_y + (l/h) a_z  and by  -f_y + (l/h) a_z
//! contacts: [`super::outcrossing`]
//! at a limit: two-sided Gaussian tail of the angle, of the rate;  travel = sqrt(2/pi) RMS rate
//! work = E max(-Q rate, 0) of the correlated Gaussian pair
//! ```
//!
//! # Symbols
//! [`ForecastInput`] in SI, complex responses per metre of wave amplitude; [`RideForecast`] in the
//! units of its field names. Fields called as in [`super::ride::RideReport`] are the same quantity.
//!
//! # Valid when
//! Gaussian: linear responses. Without a spectral form, so in records only: the mean of a motion (a
//! linear response has none but trim's), largest and smallest value apart, intervals, the count of one
//! record. Angles are those before limits where limits are met: shares of time at limits are those of
//! what the law asks for, and the largest deflection is cut at the limit.
//!
//! # Source
//! Rooms named above; St Denis & Pierson (1953); Longuet-Higgins (1952) for the highest third;
//! Rice (1944-45).
//!
//! # Checked by
//! `a_narrow_sea_by_hand`, `a_long_record_is_judged_alike`, `work_of_a_correlated_pair`.

use std::f64::consts::{FRAC_2_PI, PI, TAU};

use num_complex::Complex64;
use serde::Serialize;

use super::interruptions::{self, TIPPING_LATERAL};
use super::outcrossing::{ClearPoint, outcrossings};
use super::ride::{MotionUnit, VELOCITY_FROM_HZ};
use super::sickness;
use super::slices::Slices;
use super::weighting::Weighting;
use super::{effort, sickness::LOWEST_HZ};
use crate::math::stats::rice::{mean_of_highest, most_probable_extreme, up_crossing_rate_hz};
use crate::math::stats::sample::normal_cdf;
use crate::units::G_M_S2;

#[cfg(test)]
mod tests;

/// One motion.
#[derive(Clone, Copy, Debug)]
pub struct MotionResponse<'a> {
    /// Name.
    pub name: &'a str,
    /// Unit.
    pub unit: MotionUnit,
    /// Response, m/m or rad/m.
    pub response: &'a [Complex64],
}

/// Accelerations of one point.
#[derive(Clone, Copy, Debug)]
pub struct PointResponse<'a> {
    /// Name of the point of interest.
    pub name: &'a str,
    /// Acceleration in body axes (x forward, y to starboard, z down) without gravity, m/s2 per m.
    pub acceleration: [&'a [Complex64]; 3],
}

/// Something that should stay clear of the water, or under it.
#[derive(Clone, Debug)]
pub struct ClearanceResponse<'a> {
    /// What touches, `cross-structure`, or comes out, `forward fin port`.
    pub name: &'a str,
    /// Its points.
    pub points: Vec<ClearPoint<'a>>,
}

/// One surface.
#[derive(Clone, Copy, Debug)]
pub struct SurfaceResponse<'a> {
    /// Name.
    pub name: &'a str,
    /// Mean deflection, rad.
    pub mean_rad: f64,
    /// Deflection about the mean, rad/m.
    pub angle: &'a [Complex64],
    /// Least and greatest deflection, rad.
    pub range_rad: [f64; 2],
    /// Greatest rate, rad/s.
    pub rate_limit_rad_s: f64,
    /// RMS of the deflection that is asked for, rad; that of `angle` when absent.
    pub asked_rms_rad: Option<f64>,
    /// RMS of the rate that is asked for, rad/s; that of `angle` when absent.
    pub asked_rate_rms_rad_s: Option<f64>,
    /// Mean torque of the water about the stock in the sense of the deflection (N m) and its
    /// response, N m/m.
    pub hinge_torque: Option<(f64, &'a [Complex64])>,
}

/// Everything to be judged.
#[derive(Clone, Debug)]
pub struct ForecastInput<'a> {
    /// The sea as met.
    pub sea: Slices<'a>,
    /// Roll, rad/m, for the forces on deck.
    pub roll: &'a [Complex64],
    /// Motions to report.
    pub motions: Vec<MotionResponse<'a>>,
    /// Points to report.
    pub points: Vec<PointResponse<'a>>,
    /// Contacts and emergences to count.
    pub clearances: Vec<ClearanceResponse<'a>>,
    /// Surfaces to report.
    pub surfaces: Vec<SurfaceResponse<'a>>,
    /// Exposure for doses, sickness and extremes, s.
    pub exposure_s: f64,
}

/// Motion of one degree of freedom.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MotionForecast {
    /// Name.
    pub name: String,
    /// `m` or `deg`.
    pub unit: &'static str,
    /// RMS about the mean.
    pub rms: f64,
    /// Significant amplitude.
    pub significant: f64,
    /// Largest distance from the mean in the exposure, most probable.
    pub max_amplitude: f64,
    /// RMS of the rate of change, unit per second.
    pub rate_rms: f64,
    /// Mean zero-crossing period, s; none for a motion at rest.
    pub period_s: Option<f64>,
    /// Share of the variance slower than a minute as encountered.
    pub slow_frac: f64,
}

/// Ride at one point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PointForecast {
    /// Name.
    pub name: String,
    /// Vertical acceleration (body z, without gravity), RMS.
    pub vertical_rms_m_s2: f64,
    /// Its significant amplitude.
    pub vertical_significant_m_s2: f64,
    /// Its largest size in the exposure, most probable.
    pub vertical_max_m_s2: f64,
    /// Vertical velocity above 0.02 Hz, RMS.
    pub vertical_velocity_rms_m_s: f64,
    /// Lateral acceleration as felt on deck (gravity's share in roll included), RMS.
    pub lateral_rms_m_s2: f64,
    /// Longitudinal acceleration without gravity, RMS.
    pub longitudinal_rms_m_s2: f64,
    /// Vertical acceleration weighted with Wk.
    pub weighted_vertical_m_s2: f64,
    /// Lateral acceleration as felt, weighted with Wd.
    pub weighted_lateral_m_s2: f64,
    /// Vertical acceleration weighted with Wf.
    pub weighted_sickness_m_s2: f64,
    /// Motion sickness dose value over the exposure.
    pub msdv_m_s1_5: f64,
    /// People who may vomit, ISO 2631-1, over the exposure.
    pub vomiting_percent: f64,
    /// O'Hanlon-McCauley 1974, two hours.
    pub msi_1974_percent: f64,
    /// McCauley 1976 over the exposure.
    pub msi_1976_percent: f64,
    /// Mean frequency sqrt(m4/m2)/2 pi of the vertical motion.
    pub mean_frequency_hz: f64,
    /// Motion-induced interruptions, the deck's vertical acceleration included.
    pub mii_per_min: f64,
    /// The same from the moments of the lateral force alone (Graham).
    pub mii_theory_per_min: f64,
    /// Share of the vertical acceleration's variance slower than a minute as encountered.
    pub slow_frac: f64,
}

/// Contacts or emergences of one thing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct EventForecast {
    /// Name.
    pub name: String,
    /// Rate per hour.
    pub rate_per_h: f64,
    /// Share of the time in contact.
    pub time_frac: f64,
    /// Smallest clearance in the exposure, most probable, m, negative in contact.
    pub least_clearance_m: f64,
    /// Largest depth of a contact in the exposure, most probable, m; zero without one.
    pub deepest_m: f64,
}

/// What a surface does.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SurfaceForecast {
    /// Name.
    pub name: String,
    /// Mean deflection, deg.
    pub mean_deg: f64,
    /// RMS of the deflection about its mean, deg.
    pub rms_deg: f64,
    /// RMS rate, deg/s.
    pub rate_rms_deg_s: f64,
    /// Largest deflection in the exposure, most probable, deg.
    pub max_deg: f64,
    /// Share of the time at the angle limit.
    pub at_angle_limit_frac: f64,
    /// Share of the time at the rate limit.
    pub at_rate_limit_frac: f64,
    /// Sum of all strokes, deg per hour.
    pub travel_deg_per_h: f64,
    /// Work given to the water, kJ per hour; none without torque.
    pub work_kj_per_h: Option<f64>,
    /// Work of a constant-pressure supply sized for the largest torque, kJ per hour.
    pub supply_work_kj_per_h: Option<f64>,
    /// Largest torque in the exposure, most probable, N m.
    pub max_torque_nm: Option<f64>,
}

/// Everything about the ride in one sea.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RideForecast {
    /// Exposure for doses, sickness and extremes, s.
    pub exposure_s: f64,
    /// Motions.
    pub motions: Vec<MotionForecast>,
    /// Points.
    pub points: Vec<PointForecast>,
    /// Contacts and emergences.
    pub events: Vec<EventForecast>,
    /// Surfaces.
    pub surfaces: Vec<SurfaceForecast>,
}

/// Judges linear responses.
pub fn forecast(input: &ForecastInput<'_>) -> RideForecast {
    let (sea, exposure_s) = (&input.sea, input.exposure_s);
    RideForecast {
        exposure_s,
        motions: input
            .motions
            .iter()
            .map(|m| motion(sea, m, exposure_s))
            .collect(),
        points: input.points.iter().map(|p| point(p, input)).collect(),
        events: input
            .clearances
            .iter()
            .map(|c| event(sea, c, exposure_s))
            .collect(),
        surfaces: input
            .surfaces
            .iter()
            .map(|s| surface(sea, s, exposure_s))
            .collect(),
    }
}

/// Most probable largest amplitude in the exposure, in standard deviations.
fn extreme(m0: f64, m2: f64, exposure_s: f64) -> f64 {
    if m0 <= 0.0 || m2 <= 0.0 {
        return 0.0;
    }
    most_probable_extreme(((m2 / m0).sqrt() / TAU * exposure_s).max(1.0))
}

fn motion(sea: &Slices<'_>, m: &MotionResponse<'_>, exposure_s: f64) -> MotionForecast {
    let (unit, f) = match m.unit {
        MotionUnit::Metre => ("m", 1.0),
        MotionUnit::Radian => ("deg", 1f64.to_degrees()),
    };
    let (m0, m2) = (sea.variance(m.response), sea.moment(m.response, 2));
    let rms = m0.sqrt() * f;
    MotionForecast {
        name: m.name.to_owned(),
        unit,
        rms,
        significant: mean_of_highest(3.0) * rms,
        max_amplitude: extreme(m0, m2, exposure_s) * rms,
        rate_rms: m2.sqrt() * f,
        period_s: (m2 > 0.0).then(|| TAU * (m0 / m2).sqrt()),
        slow_frac: sea.slow_frac(m.response),
    }
}

fn point(p: &PointResponse<'_>, input: &ForecastInput<'_>) -> PointForecast {
    let (sea, exposure) = (&input.sea, input.exposure_s);
    let [a_x, a_y, a_z] = p.acceleration;
    let felt: Vec<Complex64> = a_y
        .iter()
        .zip(input.roll)
        .map(|(a, r)| a - r * G_M_S2)
        .collect();
    let weighted =
        |w: Weighting, x: &[Complex64]| sea.filtered(x, |o| w.response(o / TAU).norm_sqr()).sqrt();
    // one over omega squared above a frequency: velocity from acceleration
    let velocity = |from_hz: f64| {
        sea.filtered(a_z, |o| {
            if o < TAU * from_hz {
                0.0
            } else {
                (o * o).recip()
            }
        })
    };
    let (m0, m2) = (sea.variance(a_z), sea.moment(a_z, 2));
    let vertical = m0.sqrt();
    let above = sea.filtered(a_z, |o| f64::from(u8::from(o >= TAU * LOWEST_HZ)));
    let slower = velocity(LOWEST_HZ);
    let w_e = if slower > 0.0 {
        (above / slower).sqrt()
    } else {
        0.0
    };
    let f_hz = w_e / TAU;
    let sick = weighted(Weighting::Wf, a_z);
    let dose = sickness::msdv_m_s1_5(sick, exposure);
    PointForecast {
        name: p.name.to_owned(),
        vertical_rms_m_s2: vertical,
        vertical_significant_m_s2: mean_of_highest(3.0) * vertical,
        vertical_max_m_s2: extreme(m0, m2, exposure) * vertical,
        vertical_velocity_rms_m_s: velocity(VELOCITY_FROM_HZ).sqrt(),
        lateral_rms_m_s2: sea.rms(&felt),
        longitudinal_rms_m_s2: sea.rms(a_x),
        weighted_vertical_m_s2: weighted(Weighting::Wk, a_z),
        weighted_lateral_m_s2: weighted(Weighting::Wd, &felt),
        weighted_sickness_m_s2: sick,
        msdv_m_s1_5: dose,
        vomiting_percent: sickness::vomiting_percent(dose),
        msi_1974_percent: sickness::msi_1974_percent(vertical, w_e),
        msi_1976_percent: sickness::msi_1976_percent(vertical, f_hz, exposure),
        mean_frequency_hz: f_hz,
        mii_per_min: interruptions_per_min(sea, &felt, a_z),
        mii_theory_per_min: interruptions::expected_per_min(
            sea.variance(&felt),
            sea.moment(&felt, 2),
            TIPPING_LATERAL,
        ),
        slow_frac: sea.slow_frac(a_z),
    }
}

/// Both sides: |f_y| > (l/h)(g - a_z) to first order.
fn interruptions_per_min(sea: &Slices<'_>, felt: &[Complex64], a_z: &[Complex64]) -> f64 {
    let side = |sign: f64| {
        let tips: Vec<Complex64> = felt
            .iter()
            .zip(a_z)
            .map(|(f, a)| f * sign + a * TIPPING_LATERAL)
            .collect();
        up_crossing_rate_hz(
            sea.variance(&tips),
            sea.moment(&tips, 2),
            TIPPING_LATERAL * G_M_S2,
        )
    };
    60.0 * (side(1.0) + side(-1.0))
}

fn event(sea: &Slices<'_>, c: &ClearanceResponse<'_>, exposure_s: f64) -> EventForecast {
    let o = outcrossings(sea, &c.points, exposure_s);
    EventForecast {
        name: c.name.to_owned(),
        rate_per_h: 3600.0 * o.rate_hz,
        time_frac: o.time_frac,
        least_clearance_m: o.least_m,
        deepest_m: (-o.least_m).max(0.0),
    }
}

fn surface(sea: &Slices<'_>, s: &SurfaceResponse<'_>, exposure_s: f64) -> SurfaceForecast {
    let (m0, m2) = (sea.variance(s.angle), sea.moment(s.angle, 2));
    let (rms, rate) = (m0.sqrt(), m2.sqrt());
    let asked = s.asked_rms_rad.unwrap_or(rms);
    let asked_rate = s.asked_rate_rms_rad_s.unwrap_or(rate);
    // share of a Gaussian of standard deviation sd beyond a distance from its mean
    let beyond = |distance: f64, sd: f64| {
        if sd > 0.0 {
            normal_cdf(-distance / sd)
        } else {
            f64::from(u8::from(distance < 0.0))
        }
    };
    let [low, high] = s.range_rad;
    let near = effort::AT_ANGLE_RAD;
    let travel_rad_s = FRAC_2_PI.sqrt() * rate;
    let largest = s.mean_rad.abs() + extreme(m0, m2, exposure_s) * rms;
    let per_hour = 3600.0 / 1e3;
    let torque = s.hinge_torque.map(|(mean, q)| {
        let (q0, q2) = (sea.variance(q), sea.moment(q, 2));
        let rho = if q0 > 0.0 && m2 > 0.0 {
            -sea.covariance_with_rate(q, s.angle) / (q0 * m2).sqrt()
        } else {
            0.0
        };
        let work = positive_product(-mean, q0.sqrt(), rate, rho);
        (work, mean.abs() + extreme(q0, q2, exposure_s) * q0.sqrt())
    });
    SurfaceForecast {
        name: s.name.to_owned(),
        mean_deg: s.mean_rad.to_degrees(),
        rms_deg: rms.to_degrees(),
        rate_rms_deg_s: rate.to_degrees(),
        max_deg: largest.min(high.abs().max(low.abs())).to_degrees(),
        at_angle_limit_frac: beyond(high - near - s.mean_rad, asked)
            + beyond(s.mean_rad - low - near, asked),
        at_rate_limit_frac: 2.0 * beyond(effort::AT_RATE_FRAC * s.rate_limit_rad_s, asked_rate),
        travel_deg_per_h: (travel_rad_s * 3600.0).to_degrees(),
        work_kj_per_h: torque.map(|t| t.0 * per_hour),
        supply_work_kj_per_h: torque.map(|t| t.1 * travel_rad_s * per_hour),
        max_torque_nm: torque.map(|t| t.1),
    }
}

/// E max(x y, 0) of Gaussian x (mean, standard deviation) and y (mean zero) with correlation `rho`.
fn positive_product(mean_x: f64, sd_x: f64, sd_y: f64, rho: f64) -> f64 {
    const STEPS: i32 = 400;
    const REACH: f64 = 8.0;
    let rho = rho.clamp(-1.0, 1.0);
    let left = sd_y * (1.0 - rho * rho).sqrt();
    let h = 2.0 * REACH / f64::from(STEPS);
    let mut sum = 0.0;
    for k in 0..=STEPS {
        let z = -REACH + h * f64::from(k);
        let x = mean_x + sd_x * z;
        let m = (sd_y * rho * z).copysign(sd_y * rho * z * x);
        // E max(n, 0) of a Gaussian n of mean m
        let part = if left > 0.0 {
            let b = m / left;
            m * normal_cdf(b) + left * (-0.5 * b * b).exp() / TAU.sqrt()
        } else {
            m.max(0.0)
        };
        sum += x.abs() * part * (-0.5 * z * z).exp();
    }
    sum * h / (2.0 * PI).sqrt()
}
