//! Nyquist count: turns of det(I + L) about zero, against the unstable poles of the open loop.
//!
//! # Equation
//! ```text
//! turns anticlockwise along s = sigma + i omega, omega from -inf to inf:  N = P - Z
//! ```
//! sigma is a little right of the axis, so that integrators lie left of the path and need no detour.
//!
//! # Symbols
//! P poles of L right of sigma, Z zeros of det(I + L) there: unstable poles of the closed loop.
//!
//! # Valid when
//! L is constant beyond the highest frequency looked at; of sampled loops the path is the circle
//! |z| = exp(sigma T), and nothing is left out.
//!
//! # Source
//! Skogestad & Postlethwaite, Multivariable Feedback Control, 2nd ed. 2005, theorem 4.9.
//!
//! # Checked by
//! `turns_count_the_unstable_poles`

use num_complex::Complex64;

use super::loops::{NEUTRAL_1_S, OpenLoop};

/// Largest turn between neighbours, rad.
const TURN_RAD: f64 = 0.4;

/// Anticlockwise turns about zero; none where L cannot be evaluated on the path.
pub fn turns(open: &OpenLoop<'_>) -> Option<i64> {
    let at = |w: f64| {
        let l = (open.gain)(Complex64::new(NEUTRAL_1_S, w))?;
        let m = l.nrows();
        Some((nalgebra::DMatrix::identity(m, m) + l).determinant())
    };
    let low = 0.1 * NEUTRAL_1_S;
    let count = ((open.high_rad_s / low).log10() * 30.0).ceil() as usize;
    let mut grid = vec![0.0];
    grid.extend((0..=count).map(|i| low * (open.high_rad_s / low).powf(i as f64 / count as f64)));
    let poles = open.closed_poles.iter().chain(&open.open_poles);
    grid.extend(poles.map(|p| p.im.abs()).filter(|w| *w < open.high_rad_s));
    grid.sort_by(f64::total_cmp);
    let mut all = 0.0;
    let mut last = (0.0, at(0.0)?);
    for w in grid.into_iter().skip(1) {
        let next = (w, at(w)?);
        all += turn(last, next, &at, 0)?;
        last = next;
    }
    // the lower half of the path mirrors the upper
    Some((2.0 * all / std::f64::consts::TAU).round() as i64)
}

/// Angle between two values, halved until it is small.
fn turn(
    a: (f64, Complex64),
    b: (f64, Complex64),
    at: &impl Fn(f64) -> Option<Complex64>,
    depth: u32,
) -> Option<f64> {
    let angle = (b.1 / a.1).arg();
    if angle.abs() < TURN_RAD || depth > 30 {
        return Some(angle);
    }
    let w = 0.5 * (a.0 + b.0);
    let middle = (w, at(w)?);
    Some(turn(a, middle, at, depth + 1)? + turn(middle, b, at, depth + 1)?)
}

/// Unstable poles of the closed loop by the count, P - N.
pub fn unstable(open: &OpenLoop<'_>) -> Option<i64> {
    Some(i64::try_from(open.open_unstable).ok()? - turns(open)?)
}
