//! Zero, scale and stops of each fin between a law and the servos.
//!
//! # Equation
//! ```text
//! command = clamp(zero + scale angle, stop_min, stop_max)        to the servo the channel is wired to
//! angle   = (reading - zero) / scale                             of the same servo
//! ```
//! Limits go the same way back, so that the law knows its range in angles of the fin; the law inside
//! never sees a servo's number.
//!
//! # Symbols
//! angle of the fin (rad, lift up positive), command and reading of its servo (rad).
//!
//! # Valid when
//! A linkage without much curvature: servo angle proportional to fin angle.
//!
//! # Source
//! Own definition.
//!
//! # Checked by
//! `command_and_reading_are_inverse`, `stops_bound_the_command_and_the_law_knows`,
//! `crossed_channels_cross_both_ways`, `linear_form_carries_the_scale`, `no_entry_changes_no_bit`

use nalgebra::DMatrix;

use super::linear::{LawSignal, LinearLaw};
use super::modes::Order;
use super::signal::{FinCommand, Measurement, SetPoint, Setup, Trace};
use super::{Controller, ControllerInfo};
use crate::error::{Error, Problem, Result};
use crate::spec::controller::CalibrationSpec;
use crate::units::deg;

/// Scales closer to zero than this are refused: a servo that hardly moves its fin.
pub const LEAST_SCALE: f64 = 0.05;

/// One surface.
#[derive(Clone, Copy, Debug)]
struct Channel {
    /// Index of the servo it is wired to.
    servo: usize,
    zero_rad: f64,
    scale: f64,
    min_rad: f64,
    max_rad: f64,
}

impl Channel {
    fn command(&self, angle_rad: f64) -> f64 {
        let c = self.zero_rad + self.scale * angle_rad;
        // not `clamp`: a command that is not a number must stay one
        if c > self.max_rad {
            self.max_rad
        } else if c < self.min_rad {
            self.min_rad
        } else {
            c
        }
    }

    fn angle(&self, reading_rad: f64) -> f64 {
        (reading_rad - self.zero_rad) / self.scale
    }

    /// Range of the angle when the servo may be told `min` to `max`.
    fn range(&self, min_rad: f64, max_rad: f64) -> (f64, f64) {
        let a = self.angle(min_rad.max(self.min_rad));
        let b = self.angle(max_rad.min(self.max_rad));
        (a.min(b), a.max(b))
    }
}

/// A law behind its calibration.
pub struct Calibrated {
    inner: Box<dyn Controller>,
    spec: Vec<CalibrationSpec>,
    channels: Vec<Channel>,
    seen: Option<(Box<Measurement>, FinCommand)>,
}

impl Calibrated {
    /// `inner` with the calibration of its file.
    ///
    /// # Errors
    /// A scale of nothing; stops that cross.
    pub fn new(inner: Box<dyn Controller>, spec: &[CalibrationSpec]) -> Result<Self> {
        let mut bad = Vec::new();
        for (k, c) in spec.iter().enumerate() {
            let at = |key: &str| format!("calibration[{k}].{key}");
            if !(c.scale.is_finite() && c.scale.abs() >= LEAST_SCALE) {
                let told = format!("is {}, must be {LEAST_SCALE} or more either way", c.scale);
                bad.push(Problem::at(at("scale"), told));
            }
            let (low, high) = stops(c);
            if low >= high {
                let told = "is not above `stop_min_deg`, must be";
                bad.push(Problem::at(at("stop_max_deg"), told));
            }
        }
        if bad.is_empty() {
            Ok(Calibrated {
                inner,
                spec: spec.to_vec(),
                channels: Vec::new(),
                seen: None,
            })
        } else {
            Err(bad.into())
        }
    }

    fn wire(&mut self, setup: &Setup) -> Result<()> {
        self.channels = (0..setup.surfaces.len())
            .map(|servo| Channel {
                servo,
                zero_rad: 0.0,
                scale: 1.0,
                min_rad: f64::NEG_INFINITY,
                max_rad: f64::INFINITY,
            })
            .collect();
        for (k, c) in self.spec.iter().enumerate() {
            let find = |key: &str, name: &str| {
                setup.channel(name).ok_or_else(|| {
                    let have: Vec<&str> = setup.surfaces.iter().map(|s| &*s.name).collect();
                    let at = format!("calibration[{k}].{key}");
                    let told = format!("is `{name}`, no surface is called so");
                    Error::from(
                        Problem::at(at, told).hint(format!("there are {}", have.join(", "))),
                    )
                })
            };
            let i = find("surface", &c.surface)?;
            let (min_rad, max_rad) = stops(c);
            self.channels[i] = Channel {
                servo: match &c.wired_to {
                    Some(name) => find("wired_to", name)?,
                    None => i,
                },
                zero_rad: deg(c.zero_deg),
                scale: c.scale,
                min_rad,
                max_rad,
            };
        }
        let mut used = vec![false; self.channels.len()];
        for c in &self.channels {
            if std::mem::replace(&mut used[c.servo], true) {
                let name = &setup.surfaces[c.servo].name;
                return Err(Problem::at(
                    "calibration",
                    format!("wires two channels to the servo of `{name}`"),
                )
                .hint("cross both: each names the other under `wired_to`")
                .into());
            }
        }
        Ok(())
    }
}

fn stops(c: &CalibrationSpec) -> (f64, f64) {
    (
        c.stop_min_deg.map_or(f64::NEG_INFINITY, deg),
        c.stop_max_deg.map_or(f64::INFINITY, deg),
    )
}

impl Controller for Calibrated {
    fn info(&self) -> ControllerInfo {
        self.inner.info()
    }

    fn reset(&mut self, setup: &Setup) -> Result<()> {
        self.wire(setup)?;
        let mut told = setup.clone();
        for (s, c) in told.surfaces.iter_mut().zip(&self.channels) {
            let servo = &setup.surfaces[c.servo];
            (s.min_rad, s.max_rad) = c.range(servo.min_rad, servo.max_rad);
            s.rate_rad_s = servo.rate_rad_s / c.scale.abs();
        }
        self.seen = Some((
            Box::new(Measurement::at_trim(&told)),
            FinCommand::at_trim(&told),
        ));
        self.inner.reset(&told)
    }

    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        let Some((mut seen, mut angles)) = self.seen.take() else {
            return Err(super::not_reset(&self.inner.info().name));
        };
        seen.copy_from(y);
        self.read(y, u, &mut seen, &mut angles);
        let done = self.inner.update(t_s, &seen, &mut angles);
        if done.is_ok() {
            for (c, angle) in self.channels.iter().zip(&angles.fin_rad) {
                u.fin_rad[c.servo] = c.command(*angle);
            }
        }
        self.seen = Some((seen, angles));
        done
    }

    fn linear(&self) -> Result<LinearLaw> {
        let law = self.inner.linear()?;
        let column = |s: &LawSignal| match s {
            LawSignal::Surface(i) => 1.0 / self.channels[*i].scale,
            _ => 1.0,
        };
        let columns: Vec<f64> = law.signals.iter().map(column).collect();
        let rows: Vec<f64> = law
            .channels
            .iter()
            .map(|&i| self.channels[i].scale)
            .collect();
        let scaled = |m: &DMatrix<f64>, rows: &[f64], columns: &[f64]| {
            let factor = |i: usize, j: usize| {
                rows.get(i).copied().unwrap_or(1.0) * columns.get(j).copied().unwrap_or(1.0)
            };
            DMatrix::from_fn(m.nrows(), m.ncols(), |i, j| m[(i, j)] * factor(i, j))
        };
        let wired = |s: &LawSignal| match s {
            LawSignal::Surface(i) => LawSignal::Surface(self.channels[*i].servo),
            other => *other,
        };
        Ok(LinearLaw {
            sample_period_s: law.sample_period_s,
            signals: law.signals.iter().map(wired).collect(),
            channels: law
                .channels
                .iter()
                .map(|&i| self.channels[i].servo)
                .collect(),
            b: scaled(&law.b, &[], &columns),
            c: scaled(&law.c, &rows, &[]),
            d: scaled(&law.d, &rows, &columns),
            speed_power: law.speed_power,
            a: law.a,
        })
    }

    fn engage(&mut self, y: &Measurement, u: &FinCommand) -> Result<()> {
        let Some((mut seen, mut angles)) = self.seen.take() else {
            return Err(super::not_reset(&self.inner.info().name));
        };
        seen.copy_from(y);
        self.read(y, u, &mut seen, &mut angles);
        let done = self.inner.engage(&seen, &angles);
        self.seen = Some((seen, angles));
        done
    }

    fn set_point(&mut self, s: SetPoint) -> Result<()> {
        self.inner.set_point(s)
    }

    fn set_displacement(&mut self, displacement_kg: f64) -> Result<()> {
        self.inner.set_displacement(displacement_kg)
    }

    fn order(&mut self, order: &Order) -> Result<()> {
        self.inner.order(order)
    }

    fn notice(&mut self) -> Option<String> {
        self.inner.notice()
    }

    fn trace(&self, out: &mut Trace) {
        self.inner.trace(out);
    }
}

impl Calibrated {
    /// Servo readings, commands and limits as angles of the fins.
    fn read(
        &self,
        y: &Measurement,
        u: &FinCommand,
        seen: &mut Measurement,
        angles: &mut FinCommand,
    ) {
        for (i, c) in self.channels.iter().enumerate() {
            seen.surface_rad[i] = c.angle(y.surface_rad[c.servo]);
            seen.valid.surface[i] = y.valid.surface[c.servo];
            angles.fin_rad[i] = c.angle(u.fin_rad[c.servo]);
            (angles.min_rad[i], angles.max_rad[i]) =
                c.range(u.min_rad[c.servo], u.max_rad[c.servo]);
        }
    }
}

#[cfg(test)]
mod tests;
