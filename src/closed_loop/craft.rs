//! The craft in the loop: from commanded angles to the signals of a law.
//!
//! # Equation
//! ```text
//! y = S(omega) C (i omega I - A)^-1 [B_c H(omega) u + B_w a]
//! H = (1 - e^-sT)/(sT) e^(-s tau),  s = i omega            hold and delay of the command
//! S = e^(-s tau_s) / (1 + s/w_s)                           filter and delay of each sensor
//! ```
//! with the course keeper closed inside by its two inputs (helm, thrust) and three readings.
//!
//! # Symbols
//! A, B linear model about level trim; u commanded angles about trim, y signals about trim; T sample
//! period, tau delay of a command, tau_s of a sensor (s), w_s corner of its filter (rad/s).
//!
//! # Valid when
//! Below half the sampling frequency: what aliases into the baseband is left out, while the sampled model
//! ([`LoopCraft::sampled`]) has it. The difference is that of the servo's and the filters' gain at the
//! sampling frequency. Delays are those of the craft file; the simulator rounds the servo's to its steps.
//!
//! # Source
//! Franklin, Powell & Workman, Digital Control of Dynamic Systems, 3rd ed. 1998, chapters 4 and 5.
//!
//! # Checked by
//! `sampled_and_continuous_agree`, `aliases_make_the_difference` (tests of this room).

use std::sync::Arc;

use nalgebra::{DMatrix, DVector, Matrix6};
use num_complex::Complex64;

use super::keeper::{self, Keeper};
use super::reading::{self, Quantity};
use crate::control::linear::LawSignal;
use crate::control::signal::Setup;
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::dynamics::sensor::{self, Blur};
use crate::error::Result;
use crate::linear::assemble::{LinearModel, assemble};
use crate::linear::trim::{self, Trim};
use crate::sim::bake::{limits, underside};
use crate::sim::case::NamedPoint;
use crate::sim::checks::Limits;
use crate::sim::contact::UndersidePoint;
use crate::sim::setup::setup;
use crate::spec::craft::SensorsSpec;
use crate::spec::scenario::CourseSpec;
use crate::units::deg;

/// Lowest frequency at which a keeper with an integrator has a gain, rad/s.
const LEAST_OMEGA_RAD_S: f64 = 1e-7;

/// A craft about level trim at one speed, with its sensors, servos and course keeper.
#[derive(Clone, Debug)]
pub struct LoopCraft {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// What a law is told.
    pub setup: Setup,
    /// The plant.
    pub plant: Arc<Plant>,
    /// Level trim.
    pub trim: Trim,
    /// Linear model about it, drag by its slope there.
    pub linear: LinearModel,
    /// Course keeper.
    pub keeper: Keeper,
    /// Sensors.
    pub sensors: SensorsSpec,
    /// Slope of the quadratic drag in `linear`, F = -slope nu.
    pub drag_slope: Matrix6<f64>,
    /// States that act on the rest: positions and headings that nothing springs back are left out.
    pub kept: Vec<usize>,
    /// Points of the craft whose ride is asked for.
    pub points: Vec<NamedPoint>,
    /// Points of the underside.
    pub underside: Vec<UndersidePoint>,
    /// Range of motion in which the model holds.
    pub limits: Limits,
    /// Factor by which the craft's own waves raise the relative motion.
    pub own_wave_factor: f64,
    /// What each supply feeds, rad/s.
    pub supply_rad_s: Vec<f64>,
    /// Factors on what failed sensors read; 0 reads nothing new. Empty on a sound craft.
    pub reading_factors: Vec<(Quantity, f64)>,
}

impl LoopCraft {
    /// The craft at `speed_m_s`, led as `course` says.
    ///
    /// # Errors
    /// When memory or trim cannot be found at that speed.
    pub fn new(model: &CraftModel, speed_m_s: f64, course: &CourseSpec) -> Result<Self> {
        let plant = Arc::new(model.plant(speed_m_s, course)?);
        let trim = trim::level(&plant)?;
        let linear = assemble(&plant, &trim.x, None);
        let without = assemble(&plant, &trim.x, Some(&Matrix6::zeros()));
        let setup = setup(model, &plant, &trim);
        let keeper = Keeper::new(course, &plant, setup.sample_period_s);
        let craft = &model.craft;
        let sensors = craft.spec.sensors.clone();
        let supplies = craft.spec.supplies.iter();
        let slope = mass(&plant) * (&without.a - &linear.a).fixed_view::<6, 6>(6, 6);
        let kept = kept_states(&linear, &keeper);
        Ok(LoopCraft {
            speed_m_s,
            setup,
            plant,
            trim,
            linear,
            keeper,
            sensors,
            drag_slope: slope,
            kept,
            points: craft
                .points
                .iter()
                .map(|(name, r_m)| NamedPoint {
                    name: name.clone(),
                    r_m: *r_m,
                })
                .collect(),
            underside: underside(model),
            limits: limits(model),
            own_wave_factor: craft.spec.cross_structure.relative_wave_factor,
            supply_rad_s: supplies.map(|s| deg(s.total_rate_deg_s)).collect(),
            reading_factors: Vec::new(),
        })
    }

    /// Filter, delay and noise of the sensor that reads `quantity`.
    pub fn blur(&self, quantity: Quantity) -> Blur {
        sensor::blur(&self.sensors, quantity.kind())
    }

    /// Readings that make up `signal`, with their weights.
    pub fn parts(&self, signal: LawSignal) -> Vec<(f64, Quantity)> {
        let mut all = reading::parts(signal, &self.setup, self.trim.x[3], self.trim.x[4]);
        all.retain(|(_, q)| self.reading_factor(*q) != 0.0);
        all
    }

    /// Product of the factors on a reading; 1 for a sound sensor.
    pub fn reading_factor(&self, quantity: Quantity) -> f64 {
        let of = self.reading_factors.iter().filter(|f| f.0 == quantity);
        of.map(|f| f.1).product()
    }

    /// Gradient of a reading with respect to the kept states.
    pub fn reading_row(&self, quantity: Quantity) -> DVector<f64> {
        let row = quantity.row(&self.linear, &self.setup, self.plant.g_m_s2);
        let factor = self.reading_factor(quantity);
        DVector::from_iterator(self.kept.len(), self.kept.iter().map(|i| factor * row[*i]))
    }

    /// The state matrix of the kept states.
    pub fn kept_a(&self) -> DMatrix<f64> {
        self.linear
            .a
            .select_rows(&self.kept)
            .select_columns(&self.kept)
    }

    /// Rows of the kept states.
    pub fn kept_rows(&self, b: &DMatrix<f64>) -> DMatrix<f64> {
        b.select_rows(&self.kept)
    }

    /// Hold and delay of the command of a surface.
    pub fn command_hold(&self, surface: usize, omega_rad_s: f64) -> Complex64 {
        let delay = self.plant.actuators[surface].delay_s;
        hold(omega_rad_s, self.setup.sample_period_s)
            * Complex64::from_polar(1.0, -omega_rad_s * delay)
    }

    /// Signals over commanded angles: rows are `signals`, columns `surfaces` (rad). None where a pole
    /// of the craft lies there exactly.
    pub fn commands_to_signals(
        &self,
        omega_rad_s: f64,
        surfaces: &[usize],
        signals: &[LawSignal],
    ) -> Option<DMatrix<Complex64>> {
        let omega = omega_rad_s
            .abs()
            .max(LEAST_OMEGA_RAD_S)
            .copysign(omega_rad_s);
        let keeper = self.keeper.without(surfaces);
        let n = self.kept.len();
        let m = surfaces.len();
        let mut right = DMatrix::<Complex64>::zeros(n, m + 2);
        let b = self.kept_rows(&self.linear.b_command);
        for (j, surface) in surfaces.iter().enumerate() {
            let h = self.command_hold(*surface, omega);
            right.set_column(j, &b.column(*surface).map(|v| h * v));
        }
        if let Some(helm) = &keeper.helm {
            for r in &helm.rudders {
                let h = self.command_hold(*r, omega);
                let mut column = right.column_mut(m);
                column += b.column(*r).map(|v| h * v);
            }
        }
        if keeper.throttle.is_some() {
            let h = hold(omega, self.setup.sample_period_s);
            let thrust = self.kept_rows(&self.linear.b_thrust).column_sum();
            right.set_column(m + 1, &thrust.map(|v| h * v));
        }
        let mut system = self.kept_a().map(|v| Complex64::from(-v));
        for k in 0..n {
            system[(k, k)] += Complex64::new(0.0, omega);
        }
        let mut x = system.lu().solve(&right)?;
        if !keeper.is_idle() {
            let y = self.readings(omega, &keeper::READINGS) * &x;
            let gains = keeper.gains(omega);
            let k = DMatrix::from_fn(2, 3, |i, j| gains[i][j]);
            let driven = x.columns(m, 2).into_owned();
            let inner = DMatrix::identity(2, 2) - &k * y.columns(m, 2);
            let v = inner.lu().solve(&(k * y.columns(0, m)))?;
            x = x.columns(0, m) + driven * v;
        }
        let rows = self.signal_rows(omega, signals);
        let g = rows * x.columns(0, m);
        g.iter().all(|v| v.is_finite()).then_some(g)
    }

    /// Readings (sensors included) over kept states.
    pub fn readings(&self, omega_rad_s: f64, quantities: &[Quantity]) -> DMatrix<Complex64> {
        let mut c = DMatrix::zeros(quantities.len(), self.kept.len());
        for (i, q) in quantities.iter().enumerate() {
            let s = sensor::response(&self.sensors, q.kind(), omega_rad_s);
            c.set_row(i, &self.reading_row(*q).transpose().map(|v| s * v));
        }
        c
    }

    /// Signals (sensors included) over kept states.
    pub fn signal_rows(&self, omega_rad_s: f64, signals: &[LawSignal]) -> DMatrix<Complex64> {
        let mut c = DMatrix::zeros(signals.len(), self.kept.len());
        for (i, signal) in signals.iter().enumerate() {
            for (weight, q) in self.parts(*signal) {
                let s = sensor::response(&self.sensors, q.kind(), omega_rad_s) * weight;
                let mut row = c.row_mut(i);
                row += self.reading_row(q).transpose().map(|v| s * v);
            }
        }
        c
    }
}

/// Zero-order hold over `period_s`, (1 - e^-sT)/(sT).
pub fn hold(omega_rad_s: f64, period_s: f64) -> Complex64 {
    let half = 0.5 * omega_rad_s * period_s;
    let size = if half.abs() < 1e-4 {
        1.0 - half * half / 6.0
    } else {
        half.sin() / half
    };
    Complex64::from_polar(1.0, -half) * size
}

/// Mass matrix of the equations of motion; a craft without free surge has a zero row in its inverse.
fn mass(plant: &Plant) -> Matrix6<f64> {
    let mut inverse = *plant.mass_inverse();
    if !plant.surge_free {
        inverse[(0, 0)] = 1.0;
    }
    inverse.try_inverse().unwrap_or_else(Matrix6::zeros)
}

/// States left when those are taken away, again and again, that act on no other state (integrals of
/// velocity without a spring), and the speed of a craft without surge, which nothing moves.
pub(super) fn kept_states(model: &LinearModel, keeper: &Keeper) -> Vec<usize> {
    let n = model.layout.len();
    let mut kept: Vec<usize> = (0..n).collect();
    let read = |i: usize| i == 5 && keeper.helm.is_some();
    loop {
        let idle = |i: &usize| {
            let acts = kept.iter().any(|r| r != i && model.a[(*r, *i)] != 0.0);
            let moved = kept.iter().any(|c| model.a[(*i, *c)] != 0.0);
            let integral = [0, 1, 5].contains(i) && !acts && !read(*i);
            integral || (*i == 6 && !moved)
        };
        let Some(at) = kept.iter().position(idle) else {
            return kept;
        };
        kept.remove(at);
    }
}
