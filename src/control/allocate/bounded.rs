//! Bounded least squares by active sets, without allocation.
//!
//! # Equation
//! ```text
//! minimise (x - pref)' H (x - pref)   subject to  lo <= x <= hi,   H positive definite
//! ```
//!
//! # Symbols
//! x: unknowns; pref: the free minimum; lo, hi: limits.
//!
//! # Valid when
//! H is positive definite; the number of steps is bounded, so the answer of a degenerate problem may stop short.
//!
//! # Source
//! As in [`super`].
//!
//! # Checked by
//! `bounded_solution_is_optimal`

use super::{Row, SIZE};

/// Minimises (x - pref)' H (x - pref) over lo <= x <= hi by active sets; H positive definite.
pub(super) fn bounded(h: &[Row; SIZE], pref: &Row, lo: &Row, hi: &Row, n: usize) -> Row {
    let mut x = [0.0; SIZE];
    // -1 at the lower limit, 1 at the upper, 0 free
    let mut at = [0_i8; SIZE];
    for k in 0..n {
        x[k] = pref[k].clamp(lo[k], hi[k]);
        at[k] = if pref[k] < lo[k] {
            -1
        } else {
            i8::from(pref[k] > hi[k])
        };
    }
    for _ in 0..4 * n + 8 {
        let goal = free_minimum(h, pref, &x, &at, n);
        // go as far as the first limit allows
        let (mut step, mut hit) = (1.0, None);
        for k in (0..n).filter(|&k| at[k] == 0) {
            let d = goal[k] - x[k];
            let room = if d > 0.0 { hi[k] - x[k] } else { lo[k] - x[k] };
            if d.abs() > 0.0 && room / d < step {
                step = (room / d).max(0.0);
                hit = Some((k, if d > 0.0 { 1 } else { -1 }));
            }
        }
        for k in (0..n).filter(|&k| at[k] == 0) {
            x[k] += step * (goal[k] - x[k]);
        }
        if let Some((k, side)) = hit {
            at[k] = side;
            x[k] = if side > 0 { hi[k] } else { lo[k] };
            continue;
        }
        // release the limit with the strongest pull inwards
        let (mut worst, mut which) = (1e-12, None);
        for k in (0..n).filter(|&k| at[k] != 0 && hi[k] > lo[k]) {
            let slope: f64 = (0..n).map(|j| h[k][j] * (x[j] - pref[j])).sum();
            let inward = f64::from(at[k]) * slope;
            if inward > worst {
                worst = inward;
                which = Some(k);
            }
        }
        match which {
            Some(k) => at[k] = 0,
            None => break,
        }
    }
    x
}

/// Minimum over the free surfaces with the others held.
fn free_minimum(h: &[Row; SIZE], pref: &Row, x: &Row, at: &[i8], n: usize) -> Row {
    let mut index = [0; SIZE];
    let mut m = 0;
    for k in (0..n).filter(|&k| at[k] == 0) {
        index[m] = k;
        m += 1;
    }
    let mut l = [[0.0; SIZE]; SIZE];
    let mut y = [0.0; SIZE];
    // Cholesky of the free block, forward substitution on the way
    for i in 0..m {
        let fixed: f64 = (0..n)
            .filter(|&j| at[j] != 0)
            .map(|j| h[index[i]][j] * (x[j] - pref[j]))
            .sum();
        y[i] = -fixed;
        for j in 0..=i {
            let done: f64 = l[i][..j].iter().zip(&l[j]).map(|(a, b)| a * b).sum();
            let s = h[index[i]][index[j]] - done;
            l[i][j] = if i == j {
                s.max(1e-30).sqrt()
            } else {
                s / l[j][j]
            };
        }
        for j in 0..i {
            y[i] -= l[i][j] * y[j];
        }
        y[i] /= l[i][i];
    }
    let mut goal = *x;
    for i in (0..m).rev() {
        for j in i + 1..m {
            y[i] -= l[j][i] * y[j];
        }
        y[i] /= l[i][i];
        goal[index[i]] = pref[index[i]] + y[i];
    }
    goal
}
