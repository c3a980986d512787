//! Ride metrics of an evaluation: what the judgement of a record gives, without the record.
//!
//! # Equation
//! Those of [`mod@crate::metrics::forecast`], with the evaluation's waves and its sources of noise as slices.
//!
//! # Symbols
//! Heave up positive, as in records; clearance of an underside point with the factor of the craft's own
//! waves, of a surface its depth below the undisturbed water.
//!
//! # Valid when
//! As [`super::evaluate`]; whether to believe it says [`super::trust`]. Shares of time at limits and
//! the RMS of angles come from the limits' own iteration.
//!
//! # Source
//! None of its own.
//!
//! # Checked by
//! `the_forecast_is_that_of_the_evaluation`, `forecast_and_record_side_by_side` (tests/agreement.rs).

use nalgebra::Vector3;
use num_complex::Complex64;

use super::evaluate::{Evaluation, SurfaceWork};
use super::output::Output;
use super::reading::depth_row;
use super::torque::torques;
use crate::metrics::forecast::{
    ClearanceResponse, ForecastInput, MotionResponse, PointResponse, RideForecast, SurfaceForecast,
    SurfaceResponse, forecast,
};
use crate::metrics::outcrossing::ClearPoint;
use crate::metrics::ride::MotionUnit;
use crate::metrics::slices::Slices;

/// Motions in the order of a record's report: name, index, sign, unit.
const MOTIONS: [(&str, usize, f64, MotionUnit); 6] = [
    ("heave", 2, -1.0, MotionUnit::Metre),
    ("pitch", 4, 1.0, MotionUnit::Radian),
    ("roll", 3, 1.0, MotionUnit::Radian),
    ("sway", 1, 1.0, MotionUnit::Metre),
    ("yaw", 5, 1.0, MotionUnit::Radian),
    ("surge", 0, 1.0, MotionUnit::Metre),
];

impl Evaluation<'_> {
    /// Weights (m2) and signed encounter frequencies (rad/s) of all waves, then of all noise.
    pub fn slices(&self) -> (Vec<f64>, Vec<f64>) {
        let (mut weight, mut omega) = (Vec::new(), Vec::new());
        let waves = self.waves();
        let mut i = 0;
        self.responses(Output::Velocity(0)).each(|o, w, _| {
            weight.push(w);
            // the sign is the waves' own: noise has none
            omega.push(if i < waves { self.wave(i).0 } else { o });
            i += 1;
        });
        (weight, omega)
    }

    /// Response of an output to every slice of [`Evaluation::slices`].
    pub fn response(&self, output: Output) -> Vec<Complex64> {
        let mut out = Vec::new();
        self.responses(output).each(|_, _, v| out.push(v));
        out
    }

    /// Spectral density of an output over the size of the encounter frequency, unit^2 s/rad, at
    /// `omega_rad_s`: every slice spread as a triangle of half width `width_rad_s`, folded at zero.
    pub fn density(&self, output: Output, omega_rad_s: &[f64], width_rad_s: f64) -> Vec<f64> {
        let mut out = vec![0.0; omega_rad_s.len()];
        let triangle = |d: f64| (1.0 - d.abs() / width_rad_s).max(0.0) / width_rad_s;
        self.responses(output).each(|o, w, v| {
            let part = w * v.norm_sqr();
            for (sum, at) in out.iter_mut().zip(omega_rad_s) {
                *sum += part * (triangle(at - o) + triangle(at + o));
            }
        });
        out
    }

    /// Everything about the ride at the named points (m from O), over an exposure (s).
    pub fn ride(&self, points: &[(String, Vector3<f64>)], exposure_s: f64) -> RideForecast {
        let (weight_m2, omega_e_rad_s) = self.slices();
        let craft = &self.sea.speed.craft;
        let motions: Vec<Vec<Complex64>> = MOTIONS
            .iter()
            .map(|m| {
                self.response(Output::Motion(m.1))
                    .iter()
                    .map(|v| v * m.2)
                    .collect()
            })
            .collect();
        let accelerations: Vec<[Vec<Complex64>; 3]> = points
            .iter()
            .map(|(_, r_m)| {
                [0, 1, 2].map(|axis| self.response(Output::Acceleration { r_m: *r_m, axis }))
            })
            .collect();
        let clear = self.clearances();
        let angles: Vec<Vec<Complex64>> = (0..craft.setup.surfaces.len())
            .map(|i| self.response(Output::Angle(i)))
            .collect();
        let torque = torques(self, &omega_e_rad_s);
        let input = ForecastInput {
            sea: Slices {
                weight_m2: &weight_m2,
                omega_e_rad_s: &omega_e_rad_s,
            },
            roll: &motions[2],
            motions: MOTIONS
                .iter()
                .zip(&motions)
                .map(|(m, response)| MotionResponse {
                    name: m.0,
                    unit: m.3,
                    response,
                })
                .collect(),
            points: points
                .iter()
                .zip(&accelerations)
                .map(|((name, _), [x, y, z])| PointResponse {
                    name,
                    acceleration: [x, y, z],
                })
                .collect(),
            clearances: clear.iter().map(Clear::response).collect(),
            surfaces: (0..angles.len())
                .map(|i| self.surface(i, &angles[i], &torque[i]))
                .collect(),
            exposure_s,
        };
        let mut out = forecast(&input);
        for w in &self.surfaces {
            settle(&mut out.surfaces[w.surface], w);
        }
        out
    }

    fn surface<'a>(
        &'a self,
        i: usize,
        angle: &'a [Complex64],
        torque: &'a (f64, Vec<Complex64>),
    ) -> SurfaceResponse<'a> {
        let craft = &self.sea.speed.craft;
        let servo = &craft.plant.actuators[i];
        let (low, high) = servo.angle_range_rad(craft.speed_m_s);
        let work = self.surfaces.iter().find(|w| w.surface == i);
        SurfaceResponse {
            name: &craft.setup.surfaces[i].name,
            mean_rad: craft.trim.surface_rad[i],
            angle,
            range_rad: [low, high],
            rate_limit_rad_s: servo.max_rate_rad_s,
            asked_rms_rad: work.map(|w| w.asked_rms_rad),
            asked_rate_rms_rad_s: None,
            hinge_torque: Some((torque.0, &torque.1)),
        }
    }

    /// Cross-structure, then every surface: mean clearance and response of each point.
    fn clearances(&self) -> Vec<Clear> {
        let craft = &self.sea.speed.craft;
        let depth = |r_m: &Vector3<f64>| {
            let slopes = depth_row(&craft.linear, r_m);
            r_m.z + (2..5).map(|i| slopes[i] * craft.trim.x[i]).sum::<f64>()
        };
        let of = |r_m: &Vector3<f64>, wave_factor: f64, sign: f64| {
            let r = self.response(Output::Clearance {
                r_m: *r_m,
                wave_factor,
            });
            (-sign * depth(r_m), r.iter().map(|v| v * sign).collect())
        };
        let mut out = vec![Clear {
            name: "cross-structure".to_owned(),
            points: craft
                .underside
                .iter()
                .map(|p| of(&p.r_m, craft.own_wave_factor, 1.0))
                .collect(),
        }];
        for s in &craft.setup.surfaces {
            out.push(Clear {
                name: s.name.clone(),
                points: vec![of(&s.r_m, 1.0, -1.0)],
            });
        }
        out
    }
}

/// What must stay clear of the water or under it.
struct Clear {
    name: String,
    points: Vec<(f64, Vec<Complex64>)>,
}

impl Clear {
    fn response(&self) -> ClearanceResponse<'_> {
        ClearanceResponse {
            name: &self.name,
            points: self
                .points
                .iter()
                .map(|(mean_m, clearance)| ClearPoint {
                    mean_m: *mean_m,
                    clearance,
                })
                .collect(),
        }
    }
}

/// Puts in what the limits' own iteration knows better: steps of the held command, noise, limits.
fn settle(s: &mut SurfaceForecast, w: &SurfaceWork) {
    let rate_deg_s = w.rate_rms_rad_s.to_degrees();
    if s.rate_rms_deg_s > 0.0 {
        s.travel_deg_per_h *= rate_deg_s / s.rate_rms_deg_s;
    }
    s.rms_deg = w.angle_rms_rad.to_degrees();
    s.rate_rms_deg_s = rate_deg_s;
    s.at_rate_limit_frac = w.rate_limit_share;
}
