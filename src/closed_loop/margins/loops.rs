//! What a loop is: its gain L(s), the poles of its closed loop, where its frequency axis ends.
//!
//! # Equation
//! ```text
//! negative feedback: u = -L u,  det(I + L) = 0 closed;  of a law u = C y on a craft y = G u:
//! at the fins L = -C G,  at the sensors L = -G C,  at both L = -[0 C; G 0]
//! ```
//!
//! # Symbols
//! s complex frequency (1/s); of sampled loops z = exp(s T) and the axis ends at pi/T.
//!
//! # Valid when
//! Real-valued systems: the response at -omega is the conjugate of that at omega.
//!
//! # Source
//! Skogestad & Postlethwaite, Multivariable Feedback Control, 2nd ed. 2005, sections 3.2, 4.9.
//!
//! # Checked by
//! `an_unstable_loop_has_no_margins_and_says_which_pole`

use nalgebra::DMatrix;
use nalgebra::linalg::balancing::balance_parlett_reinsch;
use num_complex::Complex64;

use super::state_space::StateSpace;
use crate::closed_loop::poles::LEAST_MODULUS;
use crate::error::{Error, Result};
use crate::math::eigen;

/// Poles slower than this count as neutral, 1/s: positions that nothing holds, a day to grow.
pub const NEUTRAL_1_S: f64 = 1e-5;

/// Eigenvalues of sampled loops are found this far from zero: delays are nilpotent, and beside a diagonal
/// of zeros nothing is small.
const SHIFT: f64 = 4.0;

/// A square gain by complex frequency; none at one of its poles.
pub type Gain<'a> = dyn Fn(Complex64) -> Option<DMatrix<Complex64>> + Sync + 'a;

/// A loop broken at m channels, closed by negative feedback.
pub struct OpenLoop<'a> {
    /// Names of the channels.
    pub channels: Vec<String>,
    /// m x m gain at s (1/s).
    pub gain: Box<Gain<'a>>,
    /// Poles of L right of the imaginary axis (outside the unit circle), counted.
    pub open_unstable: usize,
    /// Poles of L, 1/s, as far as known: the grid is dense there.
    pub open_poles: Vec<Complex64>,
    /// Poles of the closed loop, 1/s.
    pub closed_poles: Vec<Complex64>,
    /// Lowest frequency looked at, rad/s.
    pub low_rad_s: f64,
    /// Highest, rad/s: pi/T of a sampled loop.
    pub high_rad_s: f64,
    /// Sample period, s; none for a continuous loop.
    pub period_s: Option<f64>,
}

impl OpenLoop<'_> {
    /// The loop of a state-space L with as many inputs as outputs. `range_rad_s` is what is looked at;
    /// a sampled loop's upper end is pi/T in any case.
    ///
    /// # Errors
    /// When L is not square, or its poles cannot be found, or the closed loop is algebraic and singular.
    pub fn of(model: &StateSpace, channels: &[&str], range_rad_s: [f64; 2]) -> Result<Self> {
        let m = model.d.nrows();
        if m != model.d.ncols() || m != channels.len() {
            return Err(Error::new(format!(
                "the loop has {} inputs, {m} outputs and {} names, must be as many of each",
                model.d.ncols(),
                channels.len()
            )));
        }
        let open_poles = poles(&model.a, model.period_s)?;
        let closed = model.closed().ok_or_else(algebraic)?;
        let response = model.response();
        Ok(OpenLoop {
            channels: channels.iter().map(|c| (*c).to_owned()).collect(),
            gain: Box::new(move |s| response.at(s)),
            open_unstable: open_poles.iter().filter(|p| p.re > NEUTRAL_1_S).count(),
            closed_poles: poles(&closed, model.period_s)?,
            open_poles,
            low_rad_s: range_rad_s[0],
            high_rad_s: model
                .period_s
                .map_or(range_rad_s[1], |t| std::f64::consts::PI / t),
            period_s: model.period_s,
        })
    }

    /// Sensitivity at s; none where L has a pole or 1 + L is singular.
    pub fn sensitivity(&self, s: Complex64) -> Option<DMatrix<Complex64>> {
        let l = (self.gain)(s)?;
        let m = l.nrows();
        let out = (DMatrix::identity(m, m) + l).try_inverse()?;
        let finite = |v: &Complex64| v.re.is_finite() && v.im.is_finite();
        out.iter().all(finite).then_some(out)
    }

    /// Refuses a closed loop that is not stable, naming its worst pole.
    ///
    /// # Errors
    /// When a pole of the closed loop grows.
    pub fn require_stable(&self) -> Result<()> {
        let worst = self
            .closed_poles
            .iter()
            .max_by(|a, b| a.re.total_cmp(&b.re));
        match worst {
            Some(p) if p.re > NEUTRAL_1_S => Err(Error::with_hint(
                format!(
                    "the closed loop is unstable: pole {} 1/s{}; margins are those of a stable loop",
                    words(*p),
                    doubling(*p)
                ),
                "change the gains until the loop is stable",
            )),
            _ => Ok(()),
        }
    }
}

/// `0.013 + 0.52i`
pub fn words(p: Complex64) -> String {
    if p.im.abs() < 1e-9 {
        format!("{:.4}", p.re)
    } else {
        format!(
            "{:.4} {} {:.4}i",
            p.re,
            if p.im < 0.0 { '-' } else { '+' },
            p.im.abs()
        )
    }
}

fn doubling(p: Complex64) -> String {
    let time_s = std::f64::consts::LN_2 / p.re;
    if p.im.abs() < 1e-9 {
        format!(", doubles in {time_s:.3} s")
    } else {
        let period_s = std::f64::consts::TAU / p.im.abs();
        format!(", period {period_s:.2} s, doubles in {time_s:.3} s")
    }
}

fn algebraic() -> Error {
    Error::new("the loop answers at once with a gain of exactly minus one: it cannot be closed")
}

/// Eigenvalues as continuous poles, 1/s; those of pure delays (z = 0) are left out.
///
/// # Errors
/// When the iteration fails.
pub fn poles(a: &DMatrix<f64>, period_s: Option<f64>) -> Result<Vec<Complex64>> {
    if a.nrows() == 0 {
        return Ok(Vec::new());
    }
    let lost = || Error::new("the poles of the loop could not be found");
    let shift = if period_s.is_some() { SHIFT } else { 0.0 };
    let values = eigenvalues(a, shift).ok_or_else(lost)?;
    Ok(values
        .into_iter()
        .filter_map(|z| match period_s {
            None => Some(z),
            Some(t) => (z.norm() > LEAST_MODULUS).then(|| z.ln() / t),
        })
        .collect())
}

/// Eigenvalues of A + shift I less the shift, units of the states balanced first: newtons beside radians
/// leave rounding that an iteration which compares with the diagonal never gets below.
fn eigenvalues(a: &DMatrix<f64>, shift: f64) -> Option<Vec<Complex64>> {
    let n = a.nrows();
    if !a.iter().all(|v| v.is_finite()) {
        return None;
    }
    let mut moved = a.clone();
    balance_parlett_reinsch(&mut moved);
    for k in 0..n {
        moved[(k, k)] += shift;
    }
    [1.0, 64.0, 4096.0]
        .into_iter()
        .find_map(|slack| {
            nalgebra::Schur::try_new(moved.clone(), slack * f64::EPSILON, 30 * n.max(10))
        })
        .map(|s| s.complex_eigenvalues().iter().map(|v| v - shift).collect())
        .or_else(|| eigen::eigenvalues(a).map(|v| v.iter().copied().collect()))
}
