//! A damping matrix as a smooth function of frequency, with its transforms.
//!
//! # Equation
//! ```text
//! K(t)         = (2/pi) Int_0^inf B(w) cos(w t) dw
//! A(w) - A_inf = (2/pi) PV Int_0^inf B(w') / (w'^2 - w^2) dw'
//! ```
//! Between the nodes B runs as a cubic; both integrals are taken over the cubics in closed form.
//! Above the last node B falls as a power of frequency, `B_ij = B_ij(N) (w_N/w)^((p_i+p_j)/2)`,
//! which keeps a positive semidefinite matrix so.
//!
//! # Symbols
//! B damping (N s/m ...), A added mass (kg ...), w frequency (rad/s), K retardation function (N/m ...).
//!
//! # Valid when
//! B vanishes at zero frequency and falls at least as w^-1.5 beyond the last node.
//!
//! # Source
//! Ogilvie, T. F. (1964), "Recent progress toward the understanding and prediction of ship
//! motions", 5th Symp. Naval Hydrodynamics: the pair of relations; Filon, L. N. G. (1928),
//! Proc. Roy. Soc. Edinburgh 49: oscillatory integrals over polynomials in closed form.
//!
//! # Checked by
//! `closed_form_pair_is_recovered`, `kramers_kronig_agrees_with_a_second_quadrature`.

use nalgebra::Matrix6;

/// Ratio of successive nodes in the fitted tail and their number (reaches 66 times the last node).
const TAIL_RATIO: f64 = 1.3;
const TAIL_NODES: i32 = 16;
/// Bounds of the fitted exponent: a wave maker's sway damping falls as w^-3, the textbook pair as w^-2; smooth keels faster.
const TAIL_EXPONENT: (f64, f64) = (2.0, 12.0);

/// A symmetric damping matrix over frequency, cubic between nodes, power law beyond.
#[derive(Clone, Debug)]
pub struct DampingCurve {
    /// Nodes, rad/s, from 0; the fitted tail's included.
    node: Vec<f64>,
    value: Vec<Matrix6<f64>>,
    slope: Vec<Matrix6<f64>>,
    /// Exponent of each mode beyond the last given node.
    exponent: [f64; 6],
    /// Last given node, rad/s.
    last_rad_s: f64,
}

impl DampingCurve {
    /// Through `b` at the ascending positive frequencies `omega_rad_s` (at least four) and zero at zero.
    ///
    /// Below the first node B falls as the cube of frequency or faster: the finite craft's law.
    pub fn new(omega_rad_s: &[f64], b: &[Matrix6<f64>]) -> Self {
        assert!(omega_rad_s.len() >= 4 && omega_rad_s.len() == b.len());
        let last_rad_s = omega_rad_s[omega_rad_s.len() - 1];
        let exponent = tail_exponents(omega_rad_s, b);
        let mut node = vec![0.0];
        let mut value = vec![Matrix6::zeros()];
        node.extend_from_slice(omega_rad_s);
        value.extend_from_slice(b);
        let end = b[b.len() - 1];
        for k in 1..=TAIL_NODES {
            let w = last_rad_s * TAIL_RATIO.powi(k);
            node.push(w);
            value.push(tail(&end, &exponent, last_rad_s / w));
        }
        let mut curve = DampingCurve {
            slope: vec![Matrix6::zeros(); node.len()],
            node,
            value,
            exponent,
            last_rad_s,
        };
        curve.set_slopes();
        curve
    }

    /// B at `omega_rad_s` (its sign does not matter).
    pub fn at(&self, omega_rad_s: f64) -> Matrix6<f64> {
        let w = omega_rad_s.abs();
        let top = self.node.len() - 1;
        if w >= self.node[top] {
            return tail(&self.value[top], &self.exponent, self.node[top] / w);
        }
        let i = self.node.partition_point(|&n| n <= w).clamp(1, top) - 1;
        let c = self.cubic(i);
        let s = w - self.node[i];
        c[0] + (c[1] + (c[2] + c[3] * s) * s) * s
    }

    /// Frequencies given, rad/s, and zero before them.
    pub fn nodes(&self) -> &[f64] {
        &self.node[..self.node.len() - TAIL_NODES as usize]
    }

    /// Highest frequency given, rad/s.
    pub fn last_rad_s(&self) -> f64 {
        self.last_rad_s
    }

    /// Exponents of the tail by mode.
    pub fn tail_exponents(&self) -> &[f64; 6] {
        &self.exponent
    }

    /// `A(omega) - A_inf` by Kramers-Kronig.
    pub fn added_mass(&self, omega_rad_s: f64) -> Matrix6<f64> {
        let w = omega_rad_s.abs();
        let mut sum = self.beyond_nodes(w);
        for i in 0..self.node.len() - 1 {
            let (a, b) = (self.node[i], self.node[i + 1]);
            let c = self.cubic(i);
            sum += if w < 1e-9 {
                over_square(&c, a, b)
            } else {
                (over_difference(&c, a, b, w) - over_difference(&c, a, b, -w)) / (2.0 * w)
            };
        }
        sum * std::f64::consts::FRAC_2_PI
    }

    /// Retardation function at the times `t_s`.
    pub fn retardation(&self, t_s: &[f64]) -> Vec<Matrix6<f64>> {
        let cubics: Vec<_> = (0..self.node.len() - 1).map(|i| self.cubic(i)).collect();
        t_s.iter()
            .map(|&t| {
                let mut sum = Matrix6::zeros();
                for (i, c) in cubics.iter().enumerate() {
                    sum += cosine_moment(c, self.node[i], self.node[i + 1], t);
                }
                sum * std::f64::consts::FRAC_2_PI
            })
            .collect()
    }

    /// Integral of B/(w'^2 - w^2) beyond the tail's last node, which is far above w.
    fn beyond_nodes(&self, w: f64) -> Matrix6<f64> {
        let top = self.node.len() - 1;
        let (wt, bt) = (self.node[top], self.value[top]);
        let r2 = (w / wt).powi(2);
        Matrix6::from_fn(|i, j| {
            let p = 0.5 * (self.exponent[i] + self.exponent[j]);
            bt[(i, j)] / wt * (1.0 / (p + 1.0) + r2 / (p + 3.0) + r2 * r2 / (p + 5.0))
        })
    }

    /// Coefficients of the cubic on interval `i` in powers of (w - node_i).
    fn cubic(&self, i: usize) -> [Matrix6<f64>; 4] {
        let h = self.node[i + 1] - self.node[i];
        let (y0, y1, d0, d1) = (
            self.value[i],
            self.value[i + 1],
            self.slope[i],
            self.slope[i + 1],
        );
        let s = (y1 - y0) / h;
        [
            y0,
            d0,
            (s * 3.0 - d0 * 2.0 - d1) / h,
            (d0 + d1 - s * 2.0) / (h * h),
        ]
    }

    /// Slopes of the twice differentiable spline; zero at zero, the power law's at the end.
    fn set_slopes(&mut self) {
        let n = self.node.len();
        let top = self.value[n - 1];
        let end = Matrix6::from_fn(|i, j| {
            -0.5 * (self.exponent[i] + self.exponent[j]) * top[(i, j)] / self.node[n - 1]
        });
        // tridiagonal system for the inner slopes, one matrix right-hand side (Thomas)
        let h: Vec<f64> = self.node.windows(2).map(|w| w[1] - w[0]).collect();
        let mut cp = vec![0.0; n];
        let mut dp = vec![Matrix6::zeros(); n];
        for i in 1..n - 1 {
            let (l, u) = (1.0 / h[i - 1], 1.0 / h[i]);
            let rhs = (self.value[i] - self.value[i - 1]) * (3.0 * l * l)
                + (self.value[i + 1] - self.value[i]) * (3.0 * u * u);
            let rhs = if i == n - 2 { rhs - end * u } else { rhs };
            let m = 2.0 * (l + u) - l * cp[i - 1];
            cp[i] = u / m;
            dp[i] = (rhs - dp[i - 1] * l) / m;
        }
        self.slope[n - 1] = end;
        let mut next = Matrix6::zeros();
        for i in (1..n - 1).rev() {
            next = dp[i] - next * if i == n - 2 { 0.0 } else { cp[i] };
            self.slope[i] = next;
        }
    }
}

fn tail(end: &Matrix6<f64>, exponent: &[f64; 6], ratio: f64) -> Matrix6<f64> {
    Matrix6::from_fn(|i, j| end[(i, j)] * ratio.powf(0.5 * (exponent[i] + exponent[j])))
}

/// Exponents fitted to each diagonal over the last quarter of the frequencies (in ratio).
fn tail_exponents(omega: &[f64], b: &[Matrix6<f64>]) -> [f64; 6] {
    let n = omega.len();
    let from = omega
        .partition_point(|&w| w < 0.7 * omega[n - 1])
        .min(n - 2);
    std::array::from_fn(|j| {
        let (lo, hi) = (b[from][(j, j)], b[n - 1][(j, j)]);
        let p = if lo > 0.0 && hi > 0.0 {
            (lo / hi).ln() / (omega[n - 1] / omega[from]).ln()
        } else {
            TAIL_EXPONENT.1
        };
        p.clamp(TAIL_EXPONENT.0, TAIL_EXPONENT.1)
    })
}

/// PV integral of the cubic over (w' - w) on [a, b]; an endpoint's logarithm is left out where it
/// is singular, because the neighbour interval cancels it.
fn over_difference(c: &[Matrix6<f64>; 4], a: f64, b: f64, w: f64) -> Matrix6<f64> {
    // polynomial in s = w' - a divided by (s - v), v = w - a
    let v = w - a;
    let h = b - a;
    let q2 = c[3];
    let q1 = c[2] + q2 * v;
    let q0 = c[1] + q1 * v;
    let at_pole = c[0] + q0 * v;
    let log = |d: f64| {
        if d.abs() < 1e-12 * b {
            0.0
        } else {
            d.abs().ln()
        }
    };
    at_pole * (log(b - w) - log(a - w)) + q0 * h + q1 * (h * h / 2.0) + q2 * (h * h * h / 3.0)
}

/// Integral of the cubic over w'^2 on [a, b]; at a = 0 value and slope are zero by construction.
fn over_square(c: &[Matrix6<f64>; 4], a: f64, b: f64) -> Matrix6<f64> {
    let h = b - a;
    if a <= 0.0 {
        return c[2] * h + c[3] * (h * h / 2.0);
    }
    // powers of w' instead of w' - a
    let p3 = c[3];
    let p2 = c[2] - c[3] * (3.0 * a);
    let p1 = c[1] - c[2] * (2.0 * a) + c[3] * (3.0 * a * a);
    let p0 = c[0] - c[1] * a + c[2] * (a * a) - c[3] * (a * a * a);
    p0 * (1.0 / a - 1.0 / b) + p1 * (b / a).ln() + p2 * h + p3 * ((b * b - a * a) / 2.0)
}

/// Integral of the cubic times cos(w t) on [a, b].
fn cosine_moment(c: &[Matrix6<f64>; 4], a: f64, b: f64, t: f64) -> Matrix6<f64> {
    const X: [f64; 3] = [
        0.238_619_186_083_196_9,
        0.661_209_386_466_264_5,
        0.932_469_514_203_152,
    ];
    const W: [f64; 3] = [
        0.467_913_934_572_691_05,
        0.360_761_573_048_138_6,
        0.171_324_492_379_170_36,
    ];
    let h = b - a;
    if h * t.abs() < 2.0 {
        // few waves: Gauss with six points is exact to rounding
        let mut m = [0.0; 4];
        for (x, w) in X.iter().zip(W) {
            for s in [0.5 * h * (1.0 - x), 0.5 * h * (1.0 + x)] {
                let f = 0.5 * h * w * ((a + s) * t).cos();
                m[0] += f;
                m[1] += f * s;
                m[2] += f * s * s;
                m[3] += f * s * s * s;
            }
        }
        return c[0] * m[0] + c[1] * m[1] + c[2] * m[2] + c[3] * m[3];
    }
    let (sa, ca) = (a * t).sin_cos();
    let (sb, cb) = (b * t).sin_cos();
    let (t2, t3, t4) = (t * t, t * t * t, t * t * t * t);
    let p = c[0] + (c[1] + (c[2] + c[3] * h) * h) * h;
    let p1 = c[1] + (c[2] * 2.0 + c[3] * (3.0 * h)) * h;
    let p2 = c[2] * 2.0 + c[3] * (6.0 * h);
    (p * sb - c[0] * sa) / t + (p1 * cb - c[1] * ca) / t2
        - (p2 * sb - c[2] * 2.0 * sa) / t3
        - c[3] * 6.0 * ((cb - ca) / t4)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// references/G_rigid_body.json cummins.S: k0 = 2.5, a = 0.4, b = 1.1 (formulas printed there).
    fn pair(w: f64) -> (f64, f64) {
        let (k0, a, b) = (2.5, 0.4, 1.1);
        let p = a * a + b * b - w * w;
        let d = p * p + 4.0 * a * a * w * w;
        (k0 * p / d, 2.0 * a * k0 * w * w / d)
    }

    fn retardation(t: f64) -> f64 {
        let (k0, a, b) = (2.5_f64, 0.4_f64, 1.1_f64);
        k0 * (-a * t).exp() * ((b * t).cos() - a / b * (b * t).sin())
    }

    fn curve() -> DampingCurve {
        let omega: Vec<f64> = (1..=60)
            .map(|i| 0.02 * (400.0_f64).powf(f64::from(i - 1) / 59.0))
            .collect();
        let b: Vec<_> = omega
            .iter()
            .map(|&w| Matrix6::from_diagonal_element(pair(w).1))
            .collect();
        DampingCurve::new(&omega, &b)
    }

    #[test]
    fn closed_form_pair_is_recovered() {
        // 60 nodes in ratio 1.11 round the peak: the cubic's own error
        let c = curve();
        for w in [0.0, 0.2, 0.5, 1.0, 1.5, 3.0] {
            let got = c.added_mass(w)[(0, 0)];
            assert!(
                (got - pair(w).0).abs() < 5e-4 * pair(0.0).0,
                "{w} {got} {}",
                pair(w).0
            );
        }
        for t in [1.0, 2.0, 5.0] {
            let got = c.retardation(&[t])[0][(0, 0)];
            assert!(
                (got - retardation(t)).abs() < 5e-4 * 2.5,
                "{t} {got} {}",
                retardation(t)
            );
        }
    }

    #[test]
    fn kramers_kronig_agrees_with_a_second_quadrature() {
        let c = curve();
        let top = 400.0;
        for w in [0.21, 0.83, 2.7] {
            // singularity subtracted, midpoint rule on a square-law grid
            let n = 400_000;
            let bw = c.at(w)[(0, 0)];
            let mut sum = 0.0;
            for i in 0..n {
                let f = |u: f64| top * u * u;
                let (x0, x1) = (
                    f(f64::from(i) / f64::from(n)),
                    f(f64::from(i + 1) / f64::from(n)),
                );
                let x = 0.5 * (x0 + x1);
                sum += (c.at(x)[(0, 0)] - bw) / (x * x - w * w) * (x1 - x0);
            }
            // rest: Int_top^inf -bw/(x^2-w^2)
            sum -= bw / (2.0 * w) * ((top + w) / (top - w)).ln();
            let want = sum * std::f64::consts::FRAC_2_PI;
            let got = c.added_mass(w)[(0, 0)];
            assert!((got - want).abs() < 1e-4 * pair(0.0).0, "{w} {got} {want}"); // midpoint rule's own error
        }
    }
}
