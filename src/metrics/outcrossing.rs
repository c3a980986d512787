//! Contacts of a body of several points with a Gaussian surface: rate and share of time.
//!
//! # Equation
//! ```text
//! rate  = sum_i nu_i E_v[ P(d_j < c_j for all j /= i | d_i = c_i, d_i' = v) ]
//! nu_i  = (1/2pi) sd(d_i')/sd(d_i) exp(-c_i^2/(2 var d_i)),   v Rayleigh with scale sd(d_i')
//! share = sum_i P(d_i > c_i) P(d_j < c_j for all j < i | d_i > c_i)
//! ```
//! A contact begins when a point goes under while all others are clear. The probabilities are means
//! over a fixed set of 256 quasi-random points of the conditional Gaussian distribution, the same for
//! every call, so results repeat to the bit and change smoothly.
//!
//! # Symbols
//! d_i sinkage of point i towards the water about its mean (m), c_i mean clearance (m), nu_i rate of
//! the point alone (1/s).
//!
//! # Valid when
//! Gaussian, stationary. At most sixteen points; of more, those that touch most often. The set of 256
//! leaves an error of a few per cent of the rate.
//!
//! # Source
//! Rice (1944-45); outcrossing of a set: Veneziano, Grigoriu & Cornell (1977), J. Eng. Mech. Div.
//! ASCE 103(EM3). Quasi-random points by powers of the generalised golden ratio: Roberts (2018).
//!
//! # Checked by
//! `one_point_is_rice`, `three_points_in_one_place_touch_once`, `points_far_apart_add_up`,
//! `half_related_points_meet_a_long_record`.

use std::f64::consts::TAU;
use std::sync::OnceLock;

use num_complex::Complex64;

use super::slices::Slices;
use crate::math::stats::rice::up_crossing_rate_hz;
use crate::math::stats::sample::{normal_cdf, normal_quantile};

/// Points at most.
const MOST: usize = 16;
/// Quasi-random draws.
const DRAWS: usize = 256;
/// Share of a standard deviation within which two points touch together.
const TOGETHER: f64 = 1e-6;

/// One point: its mean clearance and its response towards the water.
#[derive(Clone, Copy, Debug)]
pub struct ClearPoint<'a> {
    /// Mean clearance, m.
    pub mean_m: f64,
    /// Clearance per metre of wave amplitude about the mean, up (away from the water) positive, m/m.
    pub clearance: &'a [Complex64],
}

/// What a body of points meets.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Outcrossings {
    /// Contacts that begin per second.
    pub rate_hz: f64,
    /// Share of the time in contact.
    pub time_frac: f64,
    /// Least clearance of any point that is expected within the exposure, m.
    pub least_m: f64,
}

/// Moments of one point.
struct Moments {
    c: f64,
    var: f64,
    rate_var: f64,
    nu: f64,
}

/// Contacts of the points; the least clearance is that of `exposure_s` (Rayleigh, most probable).
pub fn outcrossings(sea: &Slices<'_>, points: &[ClearPoint<'_>], exposure_s: f64) -> Outcrossings {
    let mut by_rate: Vec<(Moments, &ClearPoint<'_>)> = points
        .iter()
        .map(|p| {
            let (var, rate_var) = (sea.variance(p.clearance), sea.moment(p.clearance, 2));
            let nu = up_crossing_rate_hz(var, rate_var, p.mean_m);
            let m = Moments {
                c: p.mean_m,
                var,
                rate_var,
                nu,
            };
            (m, p)
        })
        .collect();
    let least_m = by_rate
        .iter()
        .map(|(m, _)| least(m, exposure_s))
        .fold(f64::INFINITY, f64::min);
    by_rate.sort_by(|a, b| b.0.nu.total_cmp(&a.0.nu));
    by_rate.truncate(MOST);
    let joint = Joint::new(sea, by_rate);
    let (mut rate_hz, mut time_frac) = (0.0, 0.0);
    for i in 0..joint.points.len() {
        let (rate, share) = joint.of(i);
        rate_hz += rate;
        time_frac += share;
    }
    Outcrossings {
        rate_hz,
        time_frac,
        least_m,
    }
}

fn least(m: &Moments, exposure_s: f64) -> f64 {
    if m.var <= 0.0 || m.rate_var <= 0.0 {
        return m.c;
    }
    let cycles = (m.rate_var / m.var).sqrt() / TAU * exposure_s;
    m.c - (2.0 * cycles.max(1.0).ln() * m.var).sqrt()
}

struct Joint {
    points: Vec<Moments>,
    /// Covariance of clearances, row by row.
    covariance: Vec<f64>,
    /// Covariance of the clearance of the row with the rate of the column.
    with_rate: Vec<f64>,
}

impl Joint {
    fn new(sea: &Slices<'_>, points: Vec<(Moments, &ClearPoint<'_>)>) -> Self {
        let mut covariance = Vec::new();
        let mut with_rate = Vec::new();
        for (_, a) in &points {
            for (_, b) in &points {
                covariance.push(sea.covariance(a.clearance, b.clearance));
                with_rate.push(sea.covariance_with_rate(a.clearance, b.clearance));
            }
        }
        Joint {
            points: points.into_iter().map(|p| p.0).collect(),
            covariance,
            with_rate,
        }
    }

    /// Contacts that begin at point i with the others clear, per second; share of the time in which
    /// it is in contact and none before it is.
    fn of(&self, i: usize) -> (f64, f64) {
        let n = self.points.len();
        let p = &self.points[i];
        if p.var <= 0.0 || p.rate_var <= 0.0 {
            return (0.0, if p.c < 0.0 && i == 0 { 1.0 } else { 0.0 });
        }
        let under = normal_cdf(-p.c / p.var.sqrt());
        if n == 1 || p.nu <= 0.0 {
            return (p.nu, under);
        }
        let others: Vec<usize> = (0..n).filter(|j| *j != i).collect();
        let by_rate = Conditional::new(self, i, &others, true);
        let by_depth = Conditional::new(self, i, &others[..i], false);
        let (mut clear, mut first) = (0.0, 0.0);
        for (k, z) in draws().iter().enumerate() {
            let u = (k as f64 + 0.5) / DRAWS as f64;
            let v = (-2.0 * u.ln() * p.rate_var).sqrt();
            clear += f64::from(u8::from(by_rate.all_clear(self, i, [p.c, v], z)));
            if i > 0 {
                let deep = -p.var.sqrt() * normal_quantile((under * u).max(1e-300));
                first += f64::from(u8::from(by_depth.all_clear(self, i, [deep, 0.0], z)));
            }
        }
        let share = if i == 0 { 1.0 } else { first / DRAWS as f64 };
        (p.nu * clear / DRAWS as f64, under * share)
    }
}

/// Sinkage of the other points, given that of one and maybe its rate.
struct Conditional<'a> {
    others: &'a [usize],
    /// Mean per unit of sinkage and of its rate.
    gain: Vec<[f64; 2]>,
    /// Lower triangle, row by row.
    root: Vec<Vec<f64>>,
}

impl<'a> Conditional<'a> {
    fn new(joint: &Joint, i: usize, others: &'a [usize], rate_known: bool) -> Self {
        let n = joint.points.len();
        let p = &joint.points[i];
        let gain: Vec<[f64; 2]> = others
            .iter()
            .map(|j| {
                let rate = if rate_known {
                    joint.with_rate[j * n + i] / p.rate_var
                } else {
                    0.0
                };
                [joint.covariance[j * n + i] / p.var, rate]
            })
            .collect();
        let mut root: Vec<Vec<f64>> = Vec::with_capacity(others.len());
        for (a, ja) in others.iter().enumerate() {
            let mut row = vec![0.0; a + 1];
            for (b, jb) in others.iter().enumerate().take(a + 1) {
                let left = joint.covariance[ja * n + jb]
                    - gain[a][0] * gain[b][0] * p.var
                    - gain[a][1] * gain[b][1] * p.rate_var;
                let known: f64 = if a == b {
                    row[..b].iter().map(|v| v * v).sum()
                } else {
                    row[..b].iter().zip(&root[b]).map(|(v, w)| v * w).sum()
                };
                row[b] = if a == b {
                    // points that follow each other leave nothing but rounding
                    let floor = TOGETHER * TOGETHER * joint.points[*ja].var;
                    let d = left - known;
                    if d > floor { d.sqrt() } else { 0.0 }
                } else if root[b][b] > 0.0 {
                    (left - known) / root[b][b]
                } else {
                    0.0
                };
            }
            root.push(row);
        }
        Conditional { others, gain, root }
    }

    /// Whether all others are clear when point i has the given sinkage and rate. Points that touch
    /// together count as one: the first of them.
    fn all_clear(&self, joint: &Joint, i: usize, given: [f64; 2], z: &[f64; MOST]) -> bool {
        self.others.iter().enumerate().all(|(a, j)| {
            let drawn: f64 = self.root[a].iter().zip(z).map(|(l, z)| l * z).sum();
            let d = self.gain[a][0] * given[0] + self.gain[a][1] * given[1] + drawn;
            let p = &joint.points[*j];
            let clear = p.c - d;
            let near = TOGETHER * p.var.sqrt();
            clear > near || (clear.abs() <= near && *j > i)
        })
    }
}

/// Standard normal draws, evenly spread: one row a draw.
fn draws() -> &'static [[f64; MOST]] {
    static DRAWN: OnceLock<Vec<[f64; MOST]>> = OnceLock::new();
    DRAWN.get_or_init(|| {
        // root of x^(d+1) = x + 1
        let mut root = 1.0f64;
        for _ in 0..60 {
            root = (1.0 + root).powf(1.0 / (MOST as f64 + 1.0));
        }
        (0..DRAWS)
            .map(|k| {
                std::array::from_fn(|j| {
                    let step = root.powf(-(j as f64 + 1.0));
                    let u = (0.5 + step * (k as f64 + 1.0)).fract();
                    normal_quantile(u.clamp(1e-9, 1.0 - 1e-9))
                })
            })
            .collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, generator};
    use crate::metrics::motion::contacts;
    use rand::RngExt;

    /// A narrow sea about 0.9 rad/s and responses of points `x_m` ahead.
    fn sea() -> (Vec<f64>, Vec<f64>) {
        let omega: Vec<f64> = (0..400).map(|k| 0.4 + 0.004 * f64::from(k)).collect();
        let s = |w: f64| 0.35 * (0.9 / w).powi(5) * (-1.25 * (0.9 / w).powi(4)).exp();
        let weight = omega.iter().map(|w| s(*w) * 0.004).collect();
        (weight, omega)
    }

    fn at(omega: &[f64], x_m: f64) -> Vec<Complex64> {
        omega
            .iter()
            .map(|w| Complex64::cis(w * w / 9.81 * x_m))
            .collect()
    }

    fn found(places: &[f64], clear: f64) -> (Outcrossings, f64) {
        let (w, o) = sea();
        let s = Slices {
            weight_m2: &w,
            omega_e_rad_s: &o,
        };
        let r: Vec<Vec<Complex64>> = places.iter().map(|x| at(&o, *x)).collect();
        let points: Vec<ClearPoint<'_>> = r
            .iter()
            .map(|r| ClearPoint {
                mean_m: clear,
                clearance: r,
            })
            .collect();
        let one = up_crossing_rate_hz(s.variance(&r[0]), s.moment(&r[0], 2), clear);
        (outcrossings(&s, &points, 7200.0), one)
    }

    #[test]
    fn one_point_is_rice() {
        let (got, one) = found(&[0.0], 0.6);
        assert!((got.rate_hz / one - 1.0).abs() < 1e-12);
        let (w, o) = sea();
        let var: f64 = w.iter().sum();
        assert!((got.time_frac / normal_cdf(-0.6 / var.sqrt()) - 1.0).abs() < 1e-12);
        let m2: f64 = w.iter().zip(&o).map(|(w, o)| w * o * o).sum();
        let n = (m2 / var).sqrt() / TAU * 7200.0;
        assert!((got.least_m - (0.6 - (2.0 * n.ln() * var).sqrt())).abs() < 1e-12);
    }

    #[test]
    fn three_points_in_one_place_touch_once() {
        let (got, one) = found(&[5.0, 5.0, 5.0], 0.6);
        assert!((got.rate_hz / one - 1.0).abs() < 1e-9, "{got:?} {one}");
        let single = found(&[5.0], 0.6).0;
        assert!((got.time_frac / single.time_frac - 1.0).abs() < 1e-9);
    }

    #[test]
    fn points_far_apart_add_up() {
        // 3 km and more apart: independent, and contacts so rare that they do not coincide
        let (got, one) = found(&[0.0, 3000.0, 7000.0], 1.1);
        // chance that another is under: 1e-3
        assert!(
            (got.rate_hz / (3.0 * one) - 1.0).abs() < 0.01,
            "{got:?} {one}"
        );
    }

    #[test]
    fn half_related_points_meet_a_long_record() {
        let places = [-12.0, 0.0, 12.0];
        let clear = 0.5;
        let (got, one) = found(&places, clear);
        let (w, o) = sea();
        let dt = 0.2;
        let n = 60_000;
        let (mut rates, mut shares) = (Vec::new(), Vec::new());
        for seed in 0..8 {
            let mut rng = generator(seed, 0, Purpose::Waves, 0);
            // frequencies moved inside their slice, so that nothing repeats
            let lines: Vec<[f64; 3]> = w
                .iter()
                .zip(&o)
                .map(|(w, o)| {
                    let a = (2.0 * w).sqrt();
                    [
                        a,
                        o + 0.004 * rng.random::<f64>(),
                        TAU * rng.random::<f64>(),
                    ]
                })
                .collect();
            // rotate phasors instead of calling a cosine for each sample
            let mut turn: Vec<Complex64> = lines.iter().map(|l| Complex64::cis(l[2])).collect();
            let step: Vec<Complex64> = lines.iter().map(|l| Complex64::cis(l[1] * dt)).collect();
            let shift: Vec<Vec<Complex64>> = places
                .iter()
                .map(|x| {
                    lines
                        .iter()
                        .map(|l| l[0] * Complex64::cis(l[1] * l[1] / 9.81 * x))
                        .collect()
                })
                .collect();
            let gap: Vec<f64> = (0..n)
                .map(|_| {
                    let least = shift
                        .iter()
                        .map(|s| clear + s.iter().zip(&turn).map(|(a, b)| (a * b).re).sum::<f64>())
                        .fold(f64::INFINITY, f64::min);
                    for (t, s) in turn.iter_mut().zip(&step) {
                        *t *= s;
                    }
                    least
                })
                .collect();
            let e = contacts(&gap, dt, 0.95);
            rates.push(e.rate_per_h.value / 3600.0);
            shares.push(e.time_frac);
        }
        let mean = crate::math::stats::mean;
        // some 2,000 contacts in all: 3 % with their clumping, 2 % of the set of draws
        let error = mean(&rates) / got.rate_hz - 1.0;
        assert!(error.abs() < 0.06, "{error} {got:?} alone {one}");
        let error = mean(&shares) / got.time_frac - 1.0;
        assert!(error.abs() < 0.08, "{error} {got:?}");
        assert!(got.rate_hz > 1.3 * one && got.rate_hz < 2.9 * one);
    }
}
