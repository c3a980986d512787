//! Disk margins: gain and phase of every loop at once, and peaks of the sensitivities.
//!
//! # Equation
//! ```text
//! every loop's gain is multiplied by f = (1 + delta/2) / (1 - delta/2),  |delta| < alpha  (symmetric disk)
//! alpha = 1 / max over omega of mu((S - T)/2),   (S - T)/2 = S - I/2
//! gains from (2 - alpha)/(2 + alpha) to (2 + alpha)/(2 - alpha), phases up to 2 atan(alpha/2)
//! Ms = max sigma_max(S),  Mt = max sigma_max(T)
//! ```
//!
//! # Symbols
//! alpha disk margin, mu structured singular value for independent complex delta in each loop.
//!
//! # Valid when
//! The closed loop is stable. Ms and Mt of several channels depend on their units; alpha does not.
//!
//! # Source
//! Seiler, Packard & Gahinet 2020, IEEE Control Systems 40(5), 78-95: eqs for skew sigma = 0.
//!
//! # Checked by
//! `python_control_disk_margins`, `the_worst_disk_perturbation_is_the_edge`

use nalgebra::DMatrix;
use num_complex::Complex64;
use serde::Serialize;

use super::crossing::At;
use super::loops::OpenLoop;
use super::structured::{balanced, lower, upper, upper_near};
use super::sweep::Sweep;

/// A disk margin.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Disk {
    /// Proven size of the disk: no perturbation inside it makes the loop unstable.
    pub alpha: f64,
    /// Size of a perturbation known to reach the edge: alpha lies between both.
    pub alpha_reached: f64,
    /// Frequency of the worst, rad/s.
    pub omega_rad_s: f64,
    /// Factors on the gain, least and greatest; infinite when alpha is 2 or more.
    pub gain: [f64; 2],
    /// Phase, rad, either way.
    pub phase_rad: f64,
}

impl Disk {
    /// From the peak of the structured value and its lower bound.
    pub fn of_peak(peak: At, known: f64) -> Self {
        let alpha = 1.0 / peak.value;
        let gain = if alpha < 2.0 {
            [(2.0 - alpha) / (2.0 + alpha), (2.0 + alpha) / (2.0 - alpha)]
        } else {
            [0.0, f64::INFINITY]
        };
        Disk {
            alpha,
            alpha_reached: 1.0 / known,
            omega_rad_s: peak.omega_rad_s,
            gain,
            phase_rad: 2.0 * (0.5 * alpha).atan(),
        }
    }
}

/// S - I/2 = (S - T)/2.
pub fn balanced_sensitivity(s: &DMatrix<Complex64>) -> DMatrix<Complex64> {
    let m = s.nrows();
    s - DMatrix::identity(m, m) * Complex64::from(0.5)
}

/// Highest local peaks that are refined.
const PEAKS: usize = 3;
/// Golden-section steps: a cell shrinks to 1e-6 of itself.
const STEPS: usize = 28;

/// Highest value of `f` of the sensitivity over frequency.
pub fn peak(open: &OpenLoop<'_>, sweep: &Sweep, f: impl Fn(&DMatrix<Complex64>) -> f64) -> At {
    let values: Vec<f64> = sweep.s.iter().map(&f).collect();
    let n = values.len();
    let mut tops: Vec<usize> = (0..n)
        .filter(|&k| {
            (k == 0 || values[k] >= values[k - 1]) && (k + 1 == n || values[k] >= values[k + 1])
        })
        .collect();
    tops.sort_by(|a, b| values[*b].total_cmp(&values[*a]));
    tops.truncate(PEAKS);
    tops.into_iter()
        .map(|k| refined(open, sweep, k, values[k], STEPS, &f))
        .max_by(|a, b| a.value.total_cmp(&b.value))
        .unwrap_or(At {
            omega_rad_s: open.low_rad_s,
            value: 0.0,
        })
}

/// Golden section between the neighbours of a local peak of the grid.
fn refined(
    open: &OpenLoop<'_>,
    sweep: &Sweep,
    k: usize,
    value: f64,
    steps: usize,
    f: &impl Fn(&DMatrix<Complex64>) -> f64,
) -> At {
    let w = &sweep.omega_rad_s;
    let (mut a, mut b) = (w[k.saturating_sub(1)], w[(k + 1).min(w.len() - 1)]);
    let mut best = At {
        omega_rad_s: w[k],
        value,
    };
    let mut at = |w: f64| {
        let s = open.sensitivity(Complex64::new(0.0, w));
        let value = s.map_or(f64::NEG_INFINITY, |s| f(&s));
        if value > best.value {
            best = At {
                omega_rad_s: w,
                value,
            };
        }
        value
    };
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    let (mut c, mut d) = (b - golden * (b - a), a + golden * (b - a));
    let (mut fc, mut fd) = (at(c), at(d));
    for _ in 0..steps {
        if fc > fd {
            (b, d, fd) = (d, c, fc);
            c = b - golden * (b - a);
            fc = at(c);
        } else {
            (a, c, fc) = (c, d, fd);
            d = a + golden * (b - a);
            fd = at(d);
        }
    }
    best
}

/// Disk margin of one channel, the others closed.
pub fn of_channel(open: &OpenLoop<'_>, sweep: &Sweep, channel: usize) -> Disk {
    let top = peak(open, sweep, |s| (s[(channel, channel)] - 0.5).norm());
    Disk::of_peak(top, top.value)
}

/// Disk margin of all channels at once. A quick bound sorts the grid; the best scaling is sought only
/// where the quick bound could still be the highest.
pub fn of_all(open: &OpenLoop<'_>, sweep: &Sweep) -> Disk {
    let quick: Vec<f64> = sweep
        .s
        .iter()
        .map(|s| balanced(&balanced_sensitivity(s)).0)
        .collect();
    let mut order: Vec<usize> = (0..quick.len()).collect();
    order.sort_by(|a, b| quick[*b].total_cmp(&quick[*a]));
    let mut best = (0, 0.0);
    let mut scaling = None;
    for k in order {
        if quick[k] <= best.1 {
            break;
        }
        let m = balanced_sensitivity(&sweep.s[k]);
        let start = scaling.take().unwrap_or_else(|| balanced(&m).1);
        let (mut value, mut x) = upper_near(&m, &start);
        if value > best.1 {
            // what looks like the highest is looked at well
            value = upper(&m).min(value);
            x = upper_near(&m, &x).1;
        }
        scaling = Some(x);
        if value > best.1 {
            best = (k, value);
        }
    }
    let near = scaling.unwrap_or_else(|| balanced(&balanced_sensitivity(&sweep.s[best.0])).1);
    let top = refined(open, sweep, best.0, best.1, STEPS / 2, &|s| {
        upper_near(&balanced_sensitivity(s), &near).0
    });
    let s = open.sensitivity(Complex64::new(0.0, top.omega_rad_s));
    let known = s.map_or(0.0, |s| lower(&balanced_sensitivity(&s)).0);
    Disk::of_peak(top, known)
}
