//! Control laws: they see sensors and write commands.
//!
//! A law implements [`Controller`]; [`from_spec`] builds one from its file. A law never sees the
//! true state, the sea or the plant: only [`signal::Measurement`], and what [`signal::Setup`] told
//! it before the run. It writes [`signal::FinCommand`]; the servo, not the law, delays and clips.
//!
//! # Signs
//! State feedback: u = -K (x - x_ref). PID: error = reference - measurement. Positive deflections
//! lift, so a bow that is down asks the forward pair for positive and the aft pair for negative
//! angles; a starboard side that is down asks starboard for positive, port for negative; a craft
//! that is too deep asks all for positive.
//!
//! # Example
//! The smallest law: starboard against port by the roll rate.
//! ```
//! use ridewright::control::signal::{FinCommand, Measurement, Setup};
//! use ridewright::control::{Controller, ControllerInfo};
//! use ridewright::error::Result;
//!
//! struct RollDamper { side: Vec<f64> }
//! impl Controller for RollDamper {
//!     fn info(&self) -> ControllerInfo {
//!         ControllerInfo { name: "roll damper".into(), ..ControllerInfo::default() }
//!     }
//!     fn reset(&mut self, setup: &Setup) -> Result<()> {
//!         self.side = setup.surfaces.iter().map(|s| -s.influence.roll_nm.signum()).collect();
//!         Ok(())
//!     }
//!     fn update(&mut self, _t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
//!         for (fin, side) in u.fin_rad.iter_mut().zip(&self.side) {
//!             *fin = side * 2.0 * y.rates_rad_s.x; // rad per rad/s
//!         }
//!         Ok(())
//!     }
//! }
//! ```

use std::path::Path;

use crate::error::{Error, Problem, Result};
use crate::spec::controller::{ControllerSpec, LawSpec};

pub mod allocate;
pub mod calibration;
pub mod estimate;
pub mod external;
pub mod filter;
pub mod fixed;
pub mod gain_schedule;
pub mod linear;
pub mod lqr;
pub mod modes;
pub mod monitor;
pub mod pid;
pub mod restrict;
pub mod schedule;
pub mod signal;
#[cfg(test)]
pub(crate) mod testcraft;

use signal::{FinCommand, Measurement, SetPoint, Setup, Trace};

/// The format word of controller files.
pub const FORMAT: &str = "ridewright.controller/1";

/// What a law says of itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ControllerInfo {
    /// Name printed on tables.
    pub name: String,
    /// Kind of law: `fixed`, `pid`, `lqr`, `external`.
    pub kind: &'static str,
    /// Sample period it was reset for, s; 0 before the first reset.
    pub sample_period_s: f64,
    /// Sensor groups it reads: `rates`, `attitude`, `acceleration`, `height`, `speed`, `surface`, `truth`.
    pub signals: &'static [&'static str],
    /// Channels it drives; others keep the angle they have on entry.
    pub channels: Vec<String>,
}

/// A control law.
///
/// `update` is the only hot call: once per sample period, no allocation in the built-in laws.
pub trait Controller: Send {
    /// Name, period, signals wanted and channels driven.
    fn info(&self) -> ControllerInfo;

    /// Forget everything and prepare for a run; called before every run.
    ///
    /// # Errors
    /// When the law does not fit the setup (channels, sample period).
    fn reset(&mut self, setup: &Setup) -> Result<()>;

    /// New commands from new measurements at time `t_s`. `u` holds the previous command and the
    /// limits of the moment, `y` the angles really reached.
    ///
    /// # Errors
    /// When the law cannot go on (an outside process died, a number is not finite).
    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()>;

    /// The law takes over from somebody else at this instant; `update` of the same readings comes next.
    /// `u` holds the angles commanded until now: a law that can makes its first commands meet them.
    ///
    /// # Errors
    /// A law that was not reset.
    fn engage(&mut self, _y: &Measurement, _u: &FinCommand) -> Result<()> {
        Ok(())
    }

    /// Another set-point to hold from now on.
    ///
    /// # Errors
    /// A law that takes none.
    fn set_point(&mut self, _goal: SetPoint) -> Result<()> {
        Err(Error::with_hint(
            format!("`{}` holds trim and takes no set-point", self.info().name),
            "a modal PID takes set-points of height, pitch and roll",
        ))
    }

    /// The craft weighs another displacement from now on, kg: fuel was burnt, tanks were filled. A law whose
    /// gains go with the loading follows without a jump.
    ///
    /// # Errors
    /// A law that is made for one loading.
    fn set_displacement(&mut self, _displacement_kg: f64) -> Result<()> {
        Err(Error::with_hint(
            format!(
                "`{}` is made for the loading it begins with and follows no other",
                self.info().name
            ),
            "a modal PID with `loadings` follows; or run the law on the craft file of the other loading",
        ))
    }

    /// The law about trim at the speed and displacement of the last reset, inside all limits and engaged: what it does
    /// to small signals, exactly.
    ///
    /// # Errors
    /// A law that has no linear form (an outside program), or that was not reset.
    fn linear(&self) -> Result<linear::LinearLaw> {
        Err(Error::with_hint(
            format!("`{}` has no linear form", self.info().name),
            "judge it by simulation: `ridewright compare`",
        ))
    }

    /// What a human orders; only a law with modes ([`modes::Supervised`]) takes all of it.
    ///
    /// # Errors
    /// An order that the law does not know.
    fn order(&mut self, order: &modes::Order) -> Result<()> {
        match *order {
            modes::Order::SetPoint(s) => self.set_point(s),
            modes::Order::Displacement(kg) => self.set_displacement(kg),
            modes::Order::Speed(_) | modes::Order::Release(None) => Ok(()),
            _ => Err(Error::with_hint(
                format!("`{}` has no modes", self.info().name),
                "give its file a `modes` block: \"modes\": {}",
            )),
        }
    }

    /// What a human should be told since the last call: a trip, a lock.
    fn notice(&mut self) -> Option<String> {
        None
    }

    /// What a monitor found since the last call, oldest first; to be asked until there is none.
    fn finding(&mut self) -> Option<monitor::finding::Finding> {
        None
    }

    /// Inner signals for the report.
    fn trace(&self, _out: &mut Trace) {}
}

fn not_reset(law: &str) -> Error {
    Error::new(format!(
        "`{law}` was asked for an answer before it was reset"
    ))
}

/// The law of a controller file. `folder` is where the file lies (an external program is looked
/// for there); `matrices` come from [`crate::design::lqr`] and are needed by an LQR only. A law whose
/// file lists `channels` drives those only: see [`restrict`]; `modes` put a supervisor around it, `calibration` stands between both
/// and the servos, a `monitor` watches from outside of all.
///
/// # Errors
/// Every number of the file that is out of range; an LQR without matrices.
pub fn from_spec(
    spec: &ControllerSpec,
    folder: &Path,
    matrices: Option<lqr::LqrMatrices>,
) -> Result<Box<dyn Controller>> {
    if spec.format != FORMAT {
        return Err(Problem::at(
            "format",
            format!("is `{}`, must be `{FORMAT}`", spec.format),
        )
        .into());
    }
    let law: Box<dyn Controller> = match &spec.law {
        LawSpec::Fixed {} => Box::new(fixed::Fixed::new(&spec.name)),
        LawSpec::Pid(p) => Box::new(pid::Pid::new(&spec.name, p)?.driving(&spec.channels)),
        LawSpec::Lqr(l) => {
            let m = matrices.ok_or_else(|| {
                Error::with_hint(
                    format!("`{}` is an LQR and was given no gains", spec.name),
                    "solve them first from the linear model of the craft",
                )
            })?;
            Box::new(lqr::Lqr::new(&spec.name, l, m)?)
        }
        LawSpec::External(e) => Box::new(external::External::new(&spec.name, e, folder)?),
    };
    let mut law = if spec.channels.is_empty() {
        law
    } else {
        Box::new(restrict::Restricted::new(law, &spec.channels))
    };
    if let Some(modes) = &spec.modes {
        law = Box::new(modes::Supervised::new(law, modes));
    }
    if !spec.calibration.is_empty() {
        law = Box::new(calibration::Calibrated::new(law, &spec.calibration)?);
    }
    if let Some(monitor) = &spec.monitor {
        law = Box::new(monitor::Monitored::new(law, monitor));
    }
    Ok(law)
}
