//! Weibull and Gumbel distributions, fitted.
//!
//! # Equation
//! ```text
//! Weibull  P(X <= x) = 1 - exp(-(x/s)^k);  likelihood: sum x^k ln x / sum x^k - 1/k = mean ln x
//! Gumbel   P(X <= x) = exp(-exp(-(x - m)/b));  moments: b = sd sqrt(6)/pi, m = mean - 0.57722 b
//! ```
//!
//! # Symbols
//! k shape, s scale; m location, b scale.
//!
//! # Valid when
//! Weibull: positive samples, not all equal. Gumbel: maxima of equal blocks.
//!
//! # Source
//! Weibull (1951); Gumbel (1958), Statistics of Extremes.
//!
//! # Checked by
//! `published_weibull`, `published_gumbel`.

use std::f64::consts::PI;

use super::sample::standard_deviation;

const EULER: f64 = 0.577_215_664_901_532_9;

/// A two-parameter Weibull distribution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weibull {
    /// Shape.
    pub k: f64,
    /// Scale.
    pub scale: f64,
}

impl Weibull {
    /// Maximum-likelihood fit; `None` below two different positive samples.
    pub fn fit(x: &[f64]) -> Option<Weibull> {
        let n = x.len() as f64;
        if x.len() < 2 || x.iter().any(|&v| v <= 0.0 || !v.is_finite()) {
            return None;
        }
        let top = x.iter().copied().fold(0.0, f64::max);
        let logs: Vec<f64> = x.iter().map(|v| (v / top).ln()).collect();
        if logs.iter().all(|l| l.abs() < 1e-12) {
            return None;
        }
        let mean_log = logs.iter().sum::<f64>() / n;
        let g = |k: f64| {
            let (a, b) = logs.iter().fold((0.0, 0.0), |(a, b), l| {
                ((k * l).exp().mul_add(*l, a), b + (k * l).exp())
            });
            a / b - 1.0 / k - mean_log
        };
        // g rises from minus infinity to -mean_log > 0
        let (mut lo, mut hi) = (1e-3, 1.0);
        while g(hi) < 0.0 && hi < 1e6 {
            hi *= 2.0;
        }
        for _ in 0..80 {
            let mid = 0.5 * (lo + hi);
            if g(mid) < 0.0 { lo = mid } else { hi = mid }
        }
        let k = 0.5 * (lo + hi);
        let mean_power = logs.iter().map(|l| (k * l).exp()).sum::<f64>() / n;
        Some(Weibull {
            k,
            scale: top * mean_power.powf(1.0 / k),
        })
    }

    /// Mean.
    pub fn mean(&self) -> f64 {
        self.scale * libm::tgamma(1.0 + 1.0 / self.k)
    }

    /// Standard deviation.
    pub fn standard_deviation(&self) -> f64 {
        let (g1, g2) = (
            libm::tgamma(1.0 + 1.0 / self.k),
            libm::tgamma(1.0 + 2.0 / self.k),
        );
        self.scale * (g2 - g1 * g1).sqrt()
    }

    /// Quantile.
    pub fn quantile(&self, p: f64) -> f64 {
        self.scale * (-(-p).ln_1p()).powf(1.0 / self.k)
    }
}

/// A Gumbel distribution of maxima.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gumbel {
    /// Location (mode).
    pub mode: f64,
    /// Scale.
    pub scale: f64,
}

impl Gumbel {
    /// Fit by moments; `None` below two samples.
    pub fn fit(x: &[f64]) -> Option<Gumbel> {
        (x.len() >= 2).then(|| {
            let scale = standard_deviation(x) * 6f64.sqrt() / PI;
            Gumbel {
                mode: super::mean(x) - EULER * scale,
                scale,
            }
        })
    }

    /// Mean.
    pub fn mean(&self) -> f64 {
        self.mode + EULER * self.scale
    }

    /// Standard deviation.
    pub fn standard_deviation(&self) -> f64 {
        PI * self.scale / 6f64.sqrt()
    }

    /// Quantile.
    pub fn quantile(&self, p: f64) -> f64 {
        self.mode - self.scale * (-p.ln()).ln()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f64, want: f64) {
        assert!((got / want - 1.0).abs() < 1e-6, "{got} {want}"); // printed digits
    }

    #[test]
    fn published_weibull() {
        for ([k, scale], [mean, sd, q99]) in [
            ([2.0, 1.0], [0.88622693, 0.46325138, 2.145966]),
            ([1.5, 2.3], [2.0763142, 1.4097523, 6.3663663]),
        ] {
            let w = Weibull { k, scale };
            close(w.mean(), mean);
            close(w.standard_deviation(), sd);
            close(w.quantile(0.99), q99);
        }
        let x = [1.2, 2.1, 0.7, 1.9, 3.0, 1.4, 2.6, 0.9, 1.7, 2.2, 1.1, 2.8]; // weibull.mle
        let w = Weibull::fit(&x).unwrap();
        close(w.k, 2.7280499);
        close(w.scale, 2.0310542);
        assert!(Weibull::fit(&[1.0, 1.0]).is_none() && Weibull::fit(&[0.0, 1.0]).is_none());
    }

    #[test]
    fn published_gumbel() {
        let g = Gumbel {
            mode: 10.0,
            scale: 1.5,
        };
        close(g.mean(), 10.865823);
        close(g.standard_deviation(), 1.9238247);
        close(g.quantile(1.0 - 1.0 / 100.0), 16.900224);
        let f = Gumbel::fit(&[1.0, 3.0]).unwrap(); // by hand: sd sqrt 2
        close(f.scale, 2f64.sqrt() * 6f64.sqrt() / PI);
    }
}
