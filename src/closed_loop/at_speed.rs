//! Craft, sensors and servos at one speed, prepared for many frequencies and many laws.
//!
//! # Equation
//! ```text
//! inputs  commands u (held, delayed, through the servo), body forces f, the wave
//! outputs signals y (sensors included), body velocities nu
//! [y; nu] = [y_w; nu_w] a + [G_yu G_yf; G_nu G_nf] [u; f]       keeper closed inside
//! ```
//! from the reduced resolvent ([`crate::linear::resolvent`]); everything else the craft does follows
//! from nu ([`super::output`]).
//!
//! # Symbols
//! a wave amplitude; u rad about trim, f N and N m about O.
//!
//! # Valid when
//! As [`super::craft`]: baseband only. Quadratic drag is left out here: it enters as a force.
//!
//! # Source
//! Definition of the frequency response.
//!
//! # Checked by
//! `prepared_craft_is_the_plain_one` (tests of this room).

use std::sync::Arc;

use nalgebra::{DMatrix, Matrix6};
use num_complex::Complex64;

use super::contour::{self, GridNode};
use super::craft::{LoopCraft, hold};
use super::hessenberg::HessenbergResponse;
use super::keeper::{self, Keeper};
use super::output::Kinematics;
use super::reading::{Quantity, depth_row};
use crate::control::linear::LawSignal;
use crate::dynamics::plant::elevation;
use crate::dynamics::sensor;
use crate::error::{Error, Result};
use crate::linear::resolvent::{RIGID, Reduced, Resolvent, Rigid};
use crate::math::eigen;
use crate::sea::realisation::Focus;

/// Least size of the frequency, rad/s: a wave that stands still to the craft moves it by a finite drift.
pub(crate) const LEAST_OMEGA_RAD_S: f64 = 1e-5;
/// Modes that count as narrow: damping ratio below, frequency range in rad/s.
const NARROW: f64 = 0.5;
const NARROW_RANGE_RAD_S: (f64, f64) = (0.05, 4.0);

/// A craft at one speed with the channels and signals that laws may use.
#[derive(Debug)]
pub struct AtSpeed {
    /// The craft.
    pub craft: Arc<LoopCraft>,
    /// Surfaces commanded.
    pub channels: Vec<usize>,
    /// Signals read.
    pub signals: Vec<LawSignal>,
    /// Keeper, less what the channels take from it.
    pub keeper: Keeper,
    /// Lightly damped modes of the craft itself.
    pub narrow: Vec<Focus>,
    /// Poles of the sampled craft (keeper closed, no law), z.
    pub open_poles: Vec<Complex64>,
    pub(crate) kinematics: Kinematics,
    pub(crate) quantities: Vec<Quantity>,
    /// Signals over readings.
    pub(crate) weights: DMatrix<f64>,
    pub(crate) sampled: HessenbergResponse,
    pub(crate) grid: Vec<GridNode>,
    resolvent: Resolvent,
    rows: Vec<ReadingRow>,
    keeper_rows: Vec<ReadingRow>,
    waves: Vec<(usize, usize, f64)>,
}

/// A reading over the rigid states.
#[derive(Clone, Debug)]
struct ReadingRow {
    quantity: Quantity,
    plain: [f64; RIGID],
    rate: [f64; RIGID],
}

/// Transfers at one frequency.
#[derive(Clone, Debug)]
pub(crate) struct Node {
    /// Signals over commands and forces, row by row.
    pub(crate) signals: Vec<Complex64>,
    /// Velocities over commands and forces, row by row.
    pub(crate) velocities: Vec<Complex64>,
    /// Signals and velocities in the wave.
    pub(crate) wave: Option<([Complex64; 6], Vec<Complex64>)>,
}

/// Response to one input.
pub(crate) struct OpenPath {
    pub(crate) rigid: [Complex64; RIGID],
    pub(crate) signals: Vec<Complex64>,
}

/// Responses at one frequency with the law open.
pub(crate) struct OpenPaths {
    /// To commands, then to the six forces.
    pub(crate) driven: Vec<OpenPath>,
    /// To a forcing of one of each rigid state.
    pub(crate) forced: Vec<OpenPath>,
    /// Forcing of the velocities that stands for one of each other state.
    pub(crate) left: Vec<[Complex64; 6]>,
}

/// One column of inputs: rigid states and the angles of surfaces that it moves.
struct Column {
    x: Rigid,
    /// Surface moved and its angle.
    moves: Vec<(usize, Complex64)>,
    /// Elevation seen: frequency and direction.
    wave: Option<[f64; 2]>,
}

impl AtSpeed {
    /// Prepares `craft` for laws that command `channels` from `signals`.
    ///
    /// # Errors
    /// When the sampled model or its eigenvalues cannot be found.
    pub fn new(craft: Arc<LoopCraft>, channels: &[usize], signals: &[LawSignal]) -> Result<Self> {
        let keeper = craft.keeper.without(channels);
        let mut quantities: Vec<Quantity> = signals
            .iter()
            .flat_map(|s| craft.parts(*s))
            .map(|(_, q)| q)
            .collect();
        quantities.sort_unstable();
        quantities.dedup();
        let mut weights = DMatrix::zeros(signals.len(), quantities.len());
        for (i, s) in signals.iter().enumerate() {
            for (w, q) in craft.parts(*s) {
                if let Some(j) = quantities.iter().position(|o| *o == q) {
                    weights[(i, j)] += w;
                }
            }
        }
        let sampled = craft.sampled(channels, signals)?;
        let open = super::poles::eigenvalues(&sampled.a)
            .ok_or_else(|| Error::new("the poles of the craft at sea could not be found"))?;
        let linear = &craft.linear;
        // acceleration per velocity that the drag's slope takes away: given back
        let removed: Matrix6<f64> = craft.plant.mass_inverse() * craft.drag_slope;
        let mut waves = Vec::new();
        for i in 0..linear.b_waves.nrows() {
            for j in 0..linear.b_waves.ncols() {
                let v = linear.b_waves[(i, j)];
                if v != 0.0 {
                    waves.push((i, j, v));
                }
            }
        }
        let row = |q: &Quantity| ReadingRow::new(&craft, *q);
        let rows = quantities.iter().map(row).collect();
        let keeper_rows = keeper::READINGS.iter().map(row).collect();
        let mut speed = AtSpeed {
            grid: Vec::new(),
            resolvent: Resolvent::new(linear, &craft.kept, &removed),
            kinematics: Kinematics::new(&craft),
            rows,
            keeper_rows,
            narrow: narrow(&craft),
            open_poles: open,
            sampled: HessenbergResponse::new(&sampled.a, &sampled.b, &sampled.c),
            channels: channels.to_vec(),
            signals: signals.to_vec(),
            keeper,
            quantities,
            weights,
            waves,
            craft,
        };
        speed.grid = contour::grid(&speed);
        Ok(speed)
    }

    /// Inputs of a node beside the wave: commands, then six forces.
    pub(crate) fn inputs(&self) -> usize {
        self.channels.len() + 6
    }

    /// Servo, hold and delay of a surface's command: its angle over the law's output.
    pub fn angle_over_command(&self, surface: usize, omega_rad_s: f64) -> Complex64 {
        let servo = self.craft.plant.actuators[surface].response(omega_rad_s);
        servo * hold(omega_rad_s, self.craft.setup.sample_period_s)
    }

    /// Helm (rad, before hold and servo) over the velocities at s = i omega.
    pub(crate) fn helm(&self, omega_rad_s: f64, x: &[Complex64; RIGID]) -> Complex64 {
        if self.keeper.helm.is_none() {
            return Complex64::ZERO;
        }
        let gains = self.keeper.gains(omega_rad_s);
        let s = Complex64::new(0.0, omega_rad_s);
        self.keeper_rows
            .iter()
            .zip(gains[0])
            .map(|(row, g)| g * row.rigid(x, s) * self.blur(row.quantity, omega_rad_s))
            .sum()
    }

    fn blur(&self, q: Quantity, omega_rad_s: f64) -> Complex64 {
        sensor::response(&self.craft.sensors, q.kind(), omega_rad_s)
    }

    /// Transfers at `omega_rad_s`, with those of a wave (its frequency and direction) when given. None
    /// where a pole of the craft lies there exactly.
    pub(crate) fn node(&self, omega_rad_s: f64, wave: Option<[f64; 2]>) -> Option<Node> {
        let omega = at_least(omega_rad_s);
        let reduced = self.resolvent.at(Complex64::new(0.0, omega))?;
        let mut columns = self.driven(&reduced, omega);
        if let Some([omega0, mu]) = wave {
            columns.push(self.wave_column(&reduced, omega0, mu));
        }
        self.close_keeper(&reduced, omega, &mut columns)?;
        let (p, q) = (self.signals.len(), self.inputs());
        let mut readings = vec![Complex64::ZERO; self.rows.len()];
        let mut node = Node {
            signals: vec![Complex64::ZERO; p * q],
            velocities: vec![Complex64::ZERO; 6 * q],
            wave: None,
        };
        for (j, column) in columns.iter().enumerate() {
            for (r, row) in readings.iter_mut().zip(&self.rows) {
                *r = self.read(row, column, omega);
            }
            let signal = |i: usize| -> Complex64 {
                (readings.iter().enumerate())
                    .map(|(k, r)| r * self.weights[(i, k)])
                    .sum()
            };
            if j == q {
                let nu = std::array::from_fn(|i| column.x[6 + i]);
                node.wave = Some((nu, (0..p).map(signal).collect()));
                break;
            }
            for i in 0..p {
                node.signals[i * q + j] = signal(i);
            }
            for i in 0..6 {
                node.velocities[i * q + j] = column.x[6 + i];
            }
        }
        let finite = |v: &[Complex64]| v.iter().all(|v| v.is_finite());
        (finite(&node.signals) && finite(&node.velocities)).then_some(node)
    }

    /// Velocities and signals for a helm of one (rad) beside what the keeper asks; none without a helm.
    pub(crate) fn by_helm(&self, omega_rad_s: f64) -> Option<([Complex64; 6], Vec<Complex64>)> {
        let rudders = &self.keeper.helm.as_ref()?.rudders;
        let omega = at_least(omega_rad_s);
        let reduced = self.resolvent.at(Complex64::new(0.0, omega))?;
        let mut columns = [Column {
            x: Rigid::zeros(),
            moves: Vec::new(),
            wave: None,
        }];
        for r in rudders {
            let one = self.command_column(&reduced, *r, omega);
            columns[0].x += one.x;
            columns[0].moves.extend(one.moves);
        }
        self.close_keeper(&reduced, omega, &mut columns)?;
        let column = &columns[0];
        let nu = std::array::from_fn(|i| column.x[6 + i]);
        let all = self.signals_of(column, omega);
        let finite = column.x.iter().chain(&all).all(|v| v.is_finite());
        finite.then_some((nu, all))
    }

    /// Deviation of the helm by the noise of its own two sensors, rad per deviation of white noise.
    pub(crate) fn helm_noise_rad(&self, omega_rad_s: f64) -> f64 {
        let gains = self.keeper.gains(omega_rad_s)[0];
        let sensors = keeper::READINGS.iter().zip(gains);
        sensors
            .map(|(q, g)| (g * self.craft.blur(*q).noise).norm_sqr())
            .sum::<f64>()
            .sqrt()
    }

    /// Columns of commands and forces before the keeper is closed.
    fn driven(&self, reduced: &Reduced, omega: f64) -> Vec<Column> {
        let mut columns: Vec<Column> = self
            .channels
            .iter()
            .map(|c| self.command_column(reduced, *c, omega))
            .collect();
        let accelerations: [Rigid; 6] = std::array::from_fn(|i| reduced.to_acceleration(i));
        let inverse = self.craft.plant.mass_inverse();
        for k in 0..6 {
            let mut x = Rigid::zeros();
            for (i, a) in accelerations.iter().enumerate() {
                let m = inverse[(i, k)];
                if m != 0.0 {
                    x += a.map(|v| v * m);
                }
            }
            columns.push(Column {
                x,
                moves: Vec::new(),
                wave: None,
            });
        }
        columns
    }

    fn command_column(&self, reduced: &Reduced, surface: usize, omega: f64) -> Column {
        let h = self.craft.command_hold(surface, omega);
        let b = &self.craft.linear.b_command;
        Column {
            x: reduced.solve(|i| h * b[(i, surface)]),
            moves: vec![(surface, self.angle_over_command(surface, omega))],
            wave: None,
        }
    }

    fn wave_column(&self, reduced: &Reduced, omega0: f64, mu: f64) -> Column {
        let plant = &self.craft.plant;
        let mut amplitudes = vec![Complex64::ZERO; plant.channels().len()];
        plant.channel_amplitudes(omega0, mu, &mut amplitudes);
        let forcing = self.wave_forcing(&amplitudes);
        Column {
            x: reduced.solve(|i| forcing[i]),
            moves: Vec::new(),
            wave: Some([omega0, mu]),
        }
    }

    /// Forcing of all states by amplitudes of the wave channels.
    pub(crate) fn wave_forcing(&self, amplitudes: &[Complex64]) -> Vec<Complex64> {
        let mut forcing = vec![Complex64::ZERO; self.craft.plant.layout().len()];
        for (i, j, v) in &self.waves {
            forcing[*i] += amplitudes[*j] * *v;
        }
        forcing
    }

    /// The states beside the rigid ones, with these and what drives the others.
    pub(crate) fn others(
        &self,
        omega_rad_s: f64,
        rigid: &[Complex64; RIGID],
        forcing: &[Complex64],
    ) -> Option<Vec<Complex64>> {
        let s = Complex64::new(0.0, at_least(omega_rad_s));
        self.resolvent.others(s, rigid, forcing)
    }

    /// Responses to commands, forces, and to a forcing of one of each rigid state, keeper closed, law open.
    pub(crate) fn open_paths(&self, omega_rad_s: f64) -> Option<OpenPaths> {
        let omega = at_least(omega_rad_s);
        let s = Complex64::new(0.0, omega);
        let reduced = self.resolvent.at(s)?;
        let mut columns = self.driven(&reduced, omega);
        columns.extend((0..RIGID).map(|r| Column {
            x: reduced.solve(|i| Complex64::from(f64::from(i == r))),
            moves: Vec::new(),
            wave: None,
        }));
        self.close_keeper(&reduced, omega, &mut columns)?;
        let q = self.inputs();
        let path = |(j, column): (usize, &Column)| {
            let mut rigid: [Complex64; RIGID] = std::array::from_fn(|i| column.x[i]);
            // positions that nothing springs back: the integral of their rate
            for r in (0..6).rev().filter(|r| !self.resolvent.uses(*r)) {
                rigid[r] = Complex64::ZERO;
                let rate: Complex64 = (0..RIGID)
                    .map(|i| rigid[i] * self.craft.linear.a[(r, i)])
                    .sum();
                rigid[r] = (rate + f64::from(j == q + r)) / s;
            }
            OpenPath {
                rigid,
                signals: self.signals_of(column, omega),
            }
        };
        let mut driven: Vec<OpenPath> = columns.iter().enumerate().map(path).collect();
        let forced = driven.split_off(q);
        Some(OpenPaths {
            driven,
            forced,
            left: reduced.left().to_vec(),
        })
    }

    /// What the sensors make of a column, signal by signal.
    fn signals_of(&self, column: &Column, omega: f64) -> Vec<Complex64> {
        let rows = self.rows.iter();
        let readings: Vec<Complex64> = rows.map(|row| self.read(row, column, omega)).collect();
        let signal = |i: usize| {
            let parts = readings.iter().enumerate();
            parts.map(|(k, r)| r * self.weights[(i, k)]).sum()
        };
        (0..self.signals.len()).map(signal).collect()
    }

    fn read(&self, row: &ReadingRow, column: &Column, omega: f64) -> Complex64 {
        let s = Complex64::new(0.0, omega);
        let x: [Complex64; RIGID] = std::array::from_fn(|i| column.x[i]);
        let mut v = row.rigid(&x, s);
        match row.quantity {
            Quantity::Surface(i) => {
                v += column
                    .moves
                    .iter()
                    .filter(|m| m.0 == i)
                    .map(|m| m.1)
                    .sum::<Complex64>();
            }
            Quantity::Height(i) => {
                if let Some([omega0, mu]) = column.wave {
                    let r = &self.craft.setup.height_sensors_m[i];
                    v -= elevation(omega0, mu, self.craft.plant.g_m_s2, r.x, r.y);
                }
            }
            _ => {}
        }
        v * self.craft.reading_factor(row.quantity) * self.blur(row.quantity, omega)
    }

    /// Adds to every column what the keeper answers to it.
    fn close_keeper(&self, reduced: &Reduced, omega: f64, columns: &mut [Column]) -> Option<()> {
        if self.keeper.is_idle() {
            return Some(());
        }
        let mut helm = Column {
            x: Rigid::zeros(),
            moves: Vec::new(),
            wave: None,
        };
        for r in self.keeper.helm.iter().flat_map(|h| &h.rudders) {
            let one = self.command_column(reduced, *r, omega);
            helm.x += one.x;
            helm.moves.extend(one.moves);
        }
        let mut throttle = Column {
            x: Rigid::zeros(),
            moves: Vec::new(),
            wave: None,
        };
        if self.keeper.throttle.is_some() {
            let h = hold(omega, self.craft.setup.sample_period_s);
            let b = &self.craft.linear.b_thrust;
            throttle.x = reduced.solve(|i| h * b.row(i).sum());
        }
        let gains = self.keeper.gains(omega);
        let asks = |column: &Column| -> [Complex64; 2] {
            let y: [Complex64; 3] =
                std::array::from_fn(|i| self.read(&self.keeper_rows[i], column, omega));
            gains.map(|g| g[0] * y[0] + g[1] * y[1] + g[2] * y[2])
        };
        let (a, b) = (asks(&helm), asks(&throttle));
        let (m00, m01, m10, m11) = (1.0 - a[0], -b[0], -a[1], 1.0 - b[1]);
        let over = (m00 * m11 - m01 * m10).inv();
        if !over.is_finite() {
            return None;
        }
        for column in columns {
            let v = asks(column);
            let u = (m11 * v[0] - m01 * v[1]) * over;
            let t = (m00 * v[1] - m10 * v[0]) * over;
            column.x += helm.x.map(|x| x * u) + throttle.x.map(|x| x * t);
            let moved = helm.moves.iter().map(|(i, angle)| (*i, angle * u));
            column.moves.extend(moved);
        }
        Some(())
    }
}

/// The frequency kept away from zero.
pub(crate) fn at_least(omega_rad_s: f64) -> f64 {
    omega_rad_s
        .abs()
        .max(LEAST_OMEGA_RAD_S)
        .copysign(omega_rad_s)
}

impl ReadingRow {
    fn new(craft: &LoopCraft, quantity: Quantity) -> Self {
        let mut row = ReadingRow {
            quantity,
            plain: [0.0; RIGID],
            rate: [0.0; RIGID],
        };
        match quantity {
            Quantity::Acceleration(axis) => {
                let r_m = craft.setup.motion_unit_m;
                let felt = super::output::Output::Felt { r_m, axis }.row(craft);
                felt.spread(&mut row.plain, &mut row.rate);
            }
            Quantity::Height(i) => {
                let depth = depth_row(&craft.linear, &craft.setup.height_sensors_m[i]);
                for (p, d) in row.plain.iter_mut().zip(depth.iter()) {
                    *p = -d;
                }
            }
            Quantity::Surface(_) => {}
            _ => {
                let plain = quantity.row(&craft.linear, &craft.setup, craft.plant.g_m_s2);
                for (p, d) in row.plain.iter_mut().zip(plain.iter()) {
                    *p = *d;
                }
            }
        }
        row
    }

    fn rigid(&self, x: &[Complex64; RIGID], s: Complex64) -> Complex64 {
        let mut v = Complex64::ZERO;
        for ((x, p), r) in x.iter().zip(&self.plain).zip(&self.rate) {
            v += x * (s * *r + *p);
        }
        v
    }
}

/// Lightly damped modes of the craft, drag left at its slope.
fn narrow(craft: &LoopCraft) -> Vec<Focus> {
    let (lo, hi) = NARROW_RANGE_RAD_S;
    eigen::eigenvalues(&craft.kept_a())
        .iter()
        .flat_map(|v| v.iter().copied())
        .filter(|p| p.im > 0.0 && (lo..hi).contains(&p.norm()) && p.re.abs() < NARROW * p.norm())
        .map(|p| Focus {
            omega_e_rad_s: p.im,
            half_bandwidth_rad_s: p.re.abs().max(0.005 * p.norm()),
        })
        .collect()
}
