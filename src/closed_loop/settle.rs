//! A fixed point by mixing: fewer passes over the waves until limits and drag stand still.
//!
//! # Equation
//! ```text
//! r_i = F(g_i) - g_i
//! g_(i+1) = g_i + beta r_i - sum_k gamma_k (dg_k + beta dr_k),    gamma = arg min |r_i - sum_k gamma_k dr_k|
//! ```
//! dg_k, dr_k: the last [`DEPTH`] changes of g and r. Where the residual grows, the history is dropped and one
//! plain step taken.
//!
//! # Symbols
//! g the unknowns, F what they lead to, beta [`RELAX`].
//!
//! # Valid when
//! The unknowns are of about one size: gains up to one, equivalent speeds of some m/s.
//!
//! # Source
//! Anderson, Iterative procedures for nonlinear integral equations, J. ACM 12 (1965); Walker & Ni, SIAM J. Numer.
//! Anal. 49 (2011).
//!
//! # Checked by
//! `fewer_passes_to_the_same_point`.

/// Changes remembered.
const DEPTH: usize = 3;
/// Part of the way that a plain step takes.
const RELAX: f64 = 0.8;
/// Growth of the residual that drops the history.
const GROWTH: f64 = 2.0;

/// The memory of a fixed-point iteration.
#[derive(Default)]
pub(super) struct Mixer {
    before: Option<(Vec<f64>, Vec<f64>)>,
    changes: Vec<(Vec<f64>, Vec<f64>)>,
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn minus(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(x, y)| x - y).collect()
}

impl Mixer {
    /// The next unknowns, into `g`, from what `g` leads to.
    pub(super) fn step(&mut self, g: &mut [f64], found: &[f64]) {
        let r = minus(found, g);
        if let Some((g0, r0)) = self.before.take() {
            if dot(&r, &r) > GROWTH * GROWTH * dot(&r0, &r0) {
                self.changes.clear();
            } else {
                if self.changes.len() == DEPTH {
                    self.changes.remove(0);
                }
                self.changes.push((minus(g, &g0), minus(&r, &r0)));
            }
        }
        self.before = Some((g.to_vec(), r.clone()));
        let gamma = self.weights(&r);
        for (i, x) in g.iter_mut().enumerate() {
            *x += RELAX * r[i];
            for (w, (dg, dr)) in gamma.iter().zip(&self.changes) {
                *x -= w * (dg[i] + RELAX * dr[i]);
            }
        }
    }

    /// gamma by Gram-Schmidt; changes that add nothing new get no weight.
    fn weights(&self, r: &[f64]) -> Vec<f64> {
        let n = self.changes.len();
        let mut q: Vec<Vec<f64>> = Vec::with_capacity(n);
        let mut upper = vec![0.0; n * n];
        for (k, (_, dr)) in self.changes.iter().enumerate() {
            let mut v = dr.clone();
            for (j, e) in q.iter().enumerate() {
                let part = dot(e, &v);
                upper[j * n + k] = part;
                v.iter_mut().zip(e).for_each(|(a, b)| *a -= part * b);
            }
            let size = dot(&v, &v).sqrt();
            if size > 1e-8 * dot(dr, dr).sqrt() {
                upper[k * n + k] = size;
                for a in &mut v {
                    *a /= size;
                }
            } else {
                v.fill(0.0);
            }
            q.push(v);
        }
        let mut gamma = vec![0.0; n];
        for k in (0..n).rev() {
            if upper[k * n + k] > 0.0 {
                let known: f64 = (k + 1..n).map(|j| upper[k * n + j] * gamma[j]).sum();
                gamma[k] = (dot(&q[k], r) - known) / upper[k * n + k];
            }
        }
        gamma
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fewer_passes_to_the_same_point() {
        let lead = |g: &[f64]| vec![(0.9 - 0.8 * g[1]).cos(), (0.3 - 0.7 * g[0]).sin().powi(2)];
        let passes = |mixed: bool| {
            let (mut g, mut mixer) = (vec![1.0, 0.0], Mixer::default());
            for pass in 1..200 {
                let found = lead(&g);
                let off = minus(&found, &g);
                if dot(&off, &off) < 1e-24 {
                    return (pass, g);
                }
                if mixed {
                    mixer.step(&mut g, &found);
                } else {
                    g.iter_mut().zip(&off).for_each(|(x, d)| *x += RELAX * d);
                }
            }
            panic!("no fixed point")
        };
        let ((plain, a), (mixed, b)) = (passes(false), passes(true));
        assert!(2 * mixed < plain, "{mixed} against {plain}");
        assert!((a[0] - b[0]).abs() < 1e-10 && (a[1] - b[1]).abs() < 1e-10);
    }
}
