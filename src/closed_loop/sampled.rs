//! The craft in the loop as an exact sampled system at the law's period.
//!
//! # Equation
//! ```text
//! x(t_k + h) = e^(A h) x(k) + B(h - l) u(k-d) + [B(h) - B(h - l)] u(k-d-1),   B(h) = int_0^h e^(A s) ds B
//! reading of delay n T + f:  s(k+1) = c x(t_k + T - f), and n shifts of it
//! ```
//! Held commands that arrive d whole periods and l seconds late; sensor filters are states of A, sensor
//! delays exact to the instant: no Pade approximant in it. The keeper is closed at the samples.
//!
//! # Symbols
//! T sample period, h time since the sample (s); x state of plant and filters.
//!
//! # Valid when
//! As the linear model. Waves do not enter.
//!
//! # Source
//! Franklin, Powell & Workman, Digital Control of Dynamic Systems, 3rd ed. 1998, section 4.3 (delay).
//!
//! # Checked by
//! `sampled_and_continuous_agree`, `aliases_make_the_difference` (tests of this room).

use nalgebra::{DMatrix, Vector6};
use num_complex::Complex64;

use super::craft::LoopCraft;
use super::keeper::{self, Keeper};
use super::reading::Quantity;
use crate::control::linear::LawSignal;
use crate::dynamics::state::StateLayout;
use crate::error::{Error, Result};
use crate::math::zoh::discretise;

/// Part of a period below which a delay counts as whole, rounding of decimal periods.
const WHOLE: f64 = 1e-9;

/// x(k+1) = a x(k) + b u(k), y(k) = c x(k) + d u(k): u commanded angles about trim, y signals.
#[derive(Clone, Debug, PartialEq)]
pub struct SampledCraft {
    /// n x n.
    pub a: DMatrix<f64>,
    /// n x commands.
    pub b: DMatrix<f64>,
    /// signals x n.
    pub c: DMatrix<f64>,
    /// signals x commands; zero, as a servo answers with an acceleration.
    pub d: DMatrix<f64>,
    /// Sample period, s.
    pub period_s: f64,
}

impl SampledCraft {
    /// c (z - a)^-1 b + d at z = exp(i omega T).
    pub fn response(&self, omega_rad_s: f64) -> Option<DMatrix<Complex64>> {
        let z = Complex64::from_polar(1.0, omega_rad_s * self.period_s);
        let mut system = self.a.map(|v| Complex64::from(-v));
        for k in 0..self.a.nrows() {
            system[(k, k)] += z;
        }
        let x = system.lu().solve(&self.b.map(Complex64::from))?;
        Some(self.c.map(Complex64::from) * x + self.d.map(Complex64::from))
    }
}

/// A delay as whole periods and the rest, s.
#[derive(Clone, Copy, Debug)]
struct Late {
    whole: usize,
    rest_s: f64,
}

impl Late {
    fn new(delay_s: f64, period_s: f64) -> Self {
        let ratio = delay_s.max(0.0) / period_s;
        let near = ratio.round();
        if (ratio - near).abs() < WHOLE {
            return Late {
                whole: near as usize,
                rest_s: 0.0,
            };
        }
        Late {
            whole: ratio as usize,
            rest_s: (ratio - ratio.floor()) * period_s,
        }
    }

    /// Samples of the past that are needed.
    fn memory(self) -> usize {
        self.whole + usize::from(self.rest_s > 0.0)
    }
}

/// One held input: what it drives and how late.
struct Input {
    column: DMatrix<f64>,
    late: Late,
    /// Where its past begins in the state.
    past: usize,
}

/// One reading: its row over the continuous state and how late.
struct Output {
    row: DMatrix<f64>,
    late: Late,
    /// Where its past begins in the state.
    past: usize,
}

impl LoopCraft {
    /// The sampled model at the law's period, keeper closed.
    ///
    /// # Errors
    /// When a number is not finite.
    pub fn sampled(&self, surfaces: &[usize], signals: &[LawSignal]) -> Result<SampledCraft> {
        self.sampled_with(surfaces, signals, None)
    }

    /// The same with a push that stays: one more state, behind those kept, is its share of `at_once`, the acceleration
    /// that the whole of it gives (m/s2, rad/s2).
    ///
    /// # Errors
    /// When a number is not finite.
    pub fn pushed(
        &self,
        surfaces: &[usize],
        signals: &[LawSignal],
        at_once: &Vector6<f64>,
    ) -> Result<SampledCraft> {
        self.sampled_with(surfaces, signals, Some(at_once))
    }

    fn sampled_with(
        &self,
        surfaces: &[usize],
        signals: &[LawSignal],
        push: Option<&Vector6<f64>>,
    ) -> Result<SampledCraft> {
        let keeper = self.keeper.without(surfaces);
        let mut quantities: Vec<Quantity> = signals
            .iter()
            .flat_map(|s| self.parts(*s))
            .map(|(_, q)| q)
            .collect();
        if !keeper.is_idle() {
            quantities.extend(keeper::READINGS);
        }
        quantities.sort_unstable();
        quantities.dedup();
        let build = Build::new(self, surfaces, &keeper, &quantities, push);
        let (a, b, readings) = build.open();
        let m = surfaces.len();
        let mut c = DMatrix::zeros(signals.len(), a.nrows());
        for (i, signal) in signals.iter().enumerate() {
            for (weight, q) in self.parts(*signal) {
                let at = position(&quantities, q);
                let mut row = c.row_mut(i);
                row += readings.row(at) * weight;
            }
        }
        let (a, b, c) = close(&keeper, &quantities, &a, &b, &readings, &c, m);
        let finite = |x: &DMatrix<f64>| x.iter().all(|v| v.is_finite());
        if !(finite(&a) && finite(&b) && finite(&c)) {
            return Err(Error::new(format!(
                "the sampled model at {:.2} m/s is not finite",
                self.speed_m_s
            )));
        }
        Ok(SampledCraft {
            d: DMatrix::zeros(signals.len(), m),
            a,
            b,
            c,
            period_s: self.setup.sample_period_s,
        })
    }
}

fn position(quantities: &[Quantity], q: Quantity) -> usize {
    quantities.iter().position(|o| *o == q).unwrap_or(0)
}

/// Closes the keeper: its inputs are the columns `m..`, in the order rudders, thrust.
fn close(
    keeper: &Keeper,
    quantities: &[Quantity],
    a: &DMatrix<f64>,
    b: &DMatrix<f64>,
    readings: &DMatrix<f64>,
    c: &DMatrix<f64>,
    m: usize,
) -> (DMatrix<f64>, DMatrix<f64>, DMatrix<f64>) {
    let n = a.nrows();
    if keeper.is_idle() {
        return (a.clone(), b.columns(0, m).into_owned(), c.clone());
    }
    let (ka, kb, kc, kd) = keeper.sampled();
    let rudders = keeper.helm.as_ref().map_or(0, |h| h.rudders.len());
    let mut drive = DMatrix::zeros(n, 2);
    for j in 0..rudders {
        let mut helm = drive.column_mut(0);
        helm += b.column(m + j);
    }
    if keeper.throttle.is_some() {
        drive.set_column(1, &b.column(m + rudders));
    }
    let mut y = DMatrix::zeros(3, n);
    for (i, q) in keeper::READINGS.iter().enumerate() {
        y.set_row(i, &readings.row(position(quantities, *q)));
    }
    let k = ka.nrows();
    let mut all = DMatrix::zeros(n + k, n + k);
    all.view_mut((0, 0), (n, n))
        .copy_from(&(a + &drive * kd * &y));
    all.view_mut((0, n), (n, k)).copy_from(&(&drive * kc));
    all.view_mut((n, 0), (k, n)).copy_from(&(kb * &y));
    all.view_mut((n, n), (k, k)).copy_from(&ka);
    let b = b.columns(0, m).into_owned().resize_vertically(n + k, 0.0);
    let c = c.clone().resize_horizontally(n + k, 0.0);
    (all, b, c)
}

/// The parts of the sampled model before the keeper is closed.
struct Build {
    a: DMatrix<f64>,
    inputs: Vec<Input>,
    outputs: Vec<Output>,
    period_s: f64,
    states: usize,
}

impl Build {
    fn new(
        craft: &LoopCraft,
        surfaces: &[usize],
        keeper: &Keeper,
        quantities: &[Quantity],
        push: Option<&Vector6<f64>>,
    ) -> Self {
        let period_s = craft.setup.sample_period_s;
        let kept = craft.kept.len();
        let n = kept + usize::from(push.is_some());
        let filters = quantities
            .iter()
            .filter(|q| craft.blur(**q).corner_rad_s.is_finite())
            .count();
        let nc = n + filters;
        let mut a = DMatrix::zeros(nc, nc);
        a.view_mut((0, 0), (kept, kept)).copy_from(&craft.kept_a());
        if let Some(at_once) = push {
            for (k, state) in craft.kept.iter().enumerate() {
                if StateLayout::NU.contains(state) {
                    a[(k, kept)] = at_once[state - StateLayout::NU.start];
                }
            }
        }
        let mut states = nc;
        let mut outputs = Vec::new();
        let mut filter = n;
        for q in quantities {
            let blur = craft.blur(*q);
            let mut plain = craft
                .reading_row(*q)
                .transpose()
                .resize_horizontally(n, 0.0);
            if let Some(at_once) = push {
                plain[kept] = craft.reading_factor(*q) * q.at_once(at_once, &craft.setup);
            }
            let mut row = DMatrix::zeros(1, nc);
            if blur.corner_rad_s.is_finite() {
                a.view_mut((filter, 0), (1, n))
                    .copy_from(&(plain * blur.corner_rad_s));
                a[(filter, filter)] = -blur.corner_rad_s;
                row[filter] = 1.0;
                filter += 1;
            } else {
                row.view_mut((0, 0), (1, n)).copy_from(&plain);
            }
            let late = Late::new(blur.delay_s, period_s);
            outputs.push(Output {
                row,
                late,
                past: states,
            });
            states += late.memory();
        }
        let mut inputs = Vec::new();
        let mut add = |column: DMatrix<f64>, delay_s: f64| {
            let late = Late::new(delay_s, period_s);
            inputs.push(Input {
                column: column.resize_vertically(nc, 0.0),
                late,
                past: states,
            });
            states += late.memory();
        };
        let b = craft.kept_rows(&craft.linear.b_command);
        let rudders = keeper.helm.iter().flat_map(|h| h.rudders.iter());
        for s in surfaces.iter().chain(rudders) {
            add(
                b.columns(*s, 1).into_owned(),
                craft.plant.actuators[*s].delay_s,
            );
        }
        if keeper.throttle.is_some() {
            let thrust = craft.kept_rows(&craft.linear.b_thrust).column_sum();
            add(DMatrix::from_column_slice(kept, 1, thrust.as_slice()), 0.0);
        }
        Build {
            a,
            inputs,
            outputs,
            period_s,
            states,
        }
    }

    /// Rows of x(t_k + h) over the whole state at k and the inputs at k.
    fn step(&self, h_s: f64) -> (DMatrix<f64>, DMatrix<f64>) {
        let nc = self.a.nrows();
        let mut by_state = DMatrix::zeros(nc, self.states);
        let mut by_input = DMatrix::zeros(nc, self.inputs.len());
        let all = DMatrix::from_fn(nc, self.inputs.len(), |i, j| self.inputs[j].column[i]);
        let whole = discretise(&self.a, &all, h_s);
        by_state.view_mut((0, 0), (nc, nc)).copy_from(&whole.ad);
        for (j, input) in self.inputs.iter().enumerate() {
            let total = whole.bd.column(j).into_owned();
            let rest = input.late.rest_s;
            let newer = if rest <= 0.0 {
                total.clone()
            } else if h_s > rest {
                discretise(&self.a, &input.column, h_s - rest)
                    .bd
                    .column(0)
                    .into_owned()
            } else {
                total.clone() * 0.0
            };
            let older = total - &newer;
            // past holds u(k-1), u(k-2), ...
            if input.late.whole == 0 {
                by_input.set_column(j, &newer);
            } else {
                by_state.set_column(input.past + input.late.whole - 1, &newer);
            }
            if rest > 0.0 {
                by_state.set_column(input.past + input.late.whole, &older);
            }
        }
        (by_state, by_input)
    }

    /// State matrix, input matrix and the readings' rows.
    fn open(&self) -> (DMatrix<f64>, DMatrix<f64>, DMatrix<f64>) {
        let nc = self.a.nrows();
        let mut a = DMatrix::zeros(self.states, self.states);
        let mut b = DMatrix::zeros(self.states, self.inputs.len());
        let (x, u) = self.step(self.period_s);
        a.rows_mut(0, nc).copy_from(&x);
        b.rows_mut(0, nc).copy_from(&u);
        for (j, input) in self.inputs.iter().enumerate() {
            for k in 0..input.late.memory() {
                if k == 0 {
                    b[(input.past, j)] = 1.0;
                } else {
                    a[(input.past + k, input.past + k - 1)] = 1.0;
                }
            }
        }
        let mut readings = DMatrix::zeros(self.outputs.len(), self.states);
        for (i, output) in self.outputs.iter().enumerate() {
            let memory = output.late.memory();
            if memory == 0 {
                readings.view_mut((i, 0), (1, nc)).copy_from(&output.row);
                continue;
            }
            // newest entry: the reading of instant (k+1) T - rest, or of k T when the delay is whole
            if output.late.rest_s > 0.0 {
                let (x, u) = self.step(self.period_s - output.late.rest_s);
                a.rows_mut(output.past, 1).copy_from(&(&output.row * x));
                b.rows_mut(output.past, 1).copy_from(&(&output.row * u));
            } else {
                a.view_mut((output.past, 0), (1, nc)).copy_from(&output.row);
            }
            for k in 1..memory {
                a[(output.past + k, output.past + k - 1)] = 1.0;
            }
            readings[(i, output.past + memory - 1)] = 1.0;
        }
        (a, b, readings)
    }
}
