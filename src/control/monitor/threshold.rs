//! Thresholds from a rate of false alarms: a cumulative sum on white residuals, a level on coloured ones.
//!
//! # Equation
//! ```text
//! cumulative sum   g_k = max(0, g_(k-1) + z_k - 1/2),   alarm when g_k > h,   z = (|r| - band)/sigma
//!                  mean run length between false alarms of one side, white Gaussian z:
//!                  L = 2 (e^b - b - 1),   b = h + 1.166
//! level            |r| > k sigma for a time:   rate of false alarms at most  2 nu0 exp(-k^2/2)
//!                  k = sqrt(2 ln(2 nu0 / rate)),   nu0 = corner/(2 pi) up-crossings of zero a second
//! ```
//! The drift of a half is best for a shift of one sigma (half the shift, Page's test is then the
//! quickest of its run length); larger shifts are found sooner still. Persistence only lowers the rate.
//!
//! # Symbols
//! r residual; band its bounded part (bias, play, timing); sigma its noise; h, k thresholds.
//!
//! # Valid when
//! Noise is white and Gaussian (sum), stationary and Gaussian (level). A residual inside its band feeds the
//! sum with less than z = 0 of noise, so the run length is a lower bound.
//!
//! # Source
//! Page 1954, Continuous inspection schemes, Biometrika 41, 100-115 (the test); Siegmund 1985, Sequential
//! Analysis, Springer, section 2.6 (run length with the correction 1.166); Basseville & Nikiforov 1993, Detection of
//! Abrupt Changes, Prentice Hall, section 2.2 (drift and delay); Rice 1944, Bell System Technical
//! Journal 23, 282-332 (crossings).
//!
//! # Checked by
//! `sum_has_siegmunds_run_length`, `published_run_lengths`, `level_is_crossed_as_often_as_rice_says`

/// Drift of the sum, in sigma.
pub const DRIFT: f64 = 0.5;

/// Mean samples between false alarms of a one-sided sum with threshold `h`.
pub fn run_length(h: f64) -> f64 {
    let b = h + 1.166;
    (b.exp() - b - 1.0) / (2.0 * DRIFT * DRIFT)
}

/// Threshold of the sum whose false alarms come once in `samples`.
pub fn sum_threshold(samples: f64) -> f64 {
    let (mut low, mut high) = (0.0, 60.0);
    for _ in 0..60 {
        let mid = 0.5 * (low + high);
        if run_length(mid) < samples {
            low = mid;
        } else {
            high = mid;
        }
    }
    high
}

/// Level in sigma that a process of this corner exceeds, either way, `per_s` times a second.
pub fn level(corner_rad_s: f64, per_s: f64) -> f64 {
    let both = corner_rad_s / std::f64::consts::PI;
    (2.0 * (both / per_s).max(1.0).ln()).sqrt()
}

/// A one-sided cumulative sum.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sum {
    g: f64,
}

impl Sum {
    /// One sample of the normalised residual; true beyond `h`.
    pub fn step(&mut self, z: f64, h: f64) -> bool {
        self.g = (self.g + z - DRIFT).max(0.0);
        self.g > h
    }

    /// Begins anew.
    pub fn restart(&mut self) {
        self.g = 0.0;
    }
}

/// A level on a coloured residual whose scatter is learnt, never below a floor.
#[derive(Clone, Copy, Debug)]
pub struct Level {
    k: f64,
    floor: f64,
    /// Share of a new square in the learnt variance.
    learns: f64,
    /// Samples for which it has to be exceeded.
    persists: u32,
    /// Samples before it is armed.
    arms: u32,
    variance: f64,
    beyond: u32,
    age: u32,
}

impl Level {
    /// A level of `k` sigma; `floor` is the least sigma, times in samples. No learning when `learns_in` is none.
    pub fn new(k: f64, floor: f64, learns_in: Option<f64>, persists: u32, arms: u32) -> Self {
        Level {
            k,
            floor,
            learns: learns_in.map_or(0.0, |n| 1.0 / n.max(1.0)),
            persists,
            arms,
            variance: floor * floor,
            beyond: 0,
            age: 0,
        }
    }

    /// Standard deviation that counts.
    pub fn sigma(&self) -> f64 {
        self.variance.sqrt().max(self.floor)
    }

    /// One sample beyond a bounded part of `band`; true at an alarm.
    pub fn step(&mut self, r: f64, band: f64) -> bool {
        let sigma = self.sigma();
        let beyond = (r.abs() - band).max(0.0);
        self.age = self.age.saturating_add(1);
        let armed = self.age > self.arms;
        // what is far out does not teach, once the scatter is known
        if !armed || beyond < 3.0 * sigma {
            self.variance += self.learns * (beyond * beyond - self.variance);
        }
        if !armed || beyond <= self.k * sigma {
            self.beyond = 0;
            return false;
        }
        self.beyond += 1;
        self.beyond >= self.persists
    }
}

#[cfg(test)]
mod tests {
    use rand_distr::{Distribution, StandardNormal};

    use super::*;
    use crate::control::filter::Section;
    use crate::math::rng::{Purpose, generator};

    #[test]
    fn published_run_lengths() {
        // one-sided, drift 0.5: 336 at h = 4, 930 at h = 5 (twice the two-sided 168 and 465 of Lucas & Crosier
        // 1982, Technometrics 24, table 1; numbers from memory); Siegmund's approximation: 1 % there
        for (h, exact) in [(4.0, 336.0), (5.0, 930.0)] {
            assert!((run_length(h) / exact - 1.0).abs() < 0.02, "{h}");
            assert!((sum_threshold(run_length(h)) - h).abs() < 1e-9);
        }
    }

    #[test]
    fn sum_has_siegmunds_run_length() {
        let mut rng = generator(5, 0, Purpose::Sensors, 0);
        let (h, mut alarms, samples) = (4.0, 0.0, 400_000);
        let mut sum = Sum::default();
        for _ in 0..samples {
            let z: f64 = StandardNormal.sample(&mut rng);
            if sum.step(z, h) {
                alarms += 1.0;
                sum.restart();
            }
        }
        // 1200 alarms: 3 % scatter, 2 % of the formula
        let found = f64::from(samples) / alarms;
        assert!((found / run_length(h) - 1.0).abs() < 0.1, "{found}");
    }

    #[test]
    fn level_is_crossed_as_often_as_rice_says() {
        // second-order noise: nu0 = omega0/(2 pi) exactly, whatever its damping
        let (w, t) = (0.5, 0.1);
        let mut lp = Section::low_pass_2(w, 0.7, t);
        let mut rng = generator(6, 0, Purpose::Sensors, 0);
        let x: Vec<f64> = (0..2_000_000)
            .map(|_| lp.step(StandardNormal.sample(&mut rng)))
            .skip(1000)
            .collect();
        let sigma = crate::math::stats::rms_about_zero(&x);
        let seconds = x.len() as f64 * t;
        let k = level(w, 300.0 / seconds);
        let crossings = x
            .windows(2)
            .filter(|p| p[0].abs() < k * sigma && p[1].abs() >= k * sigma)
            .count() as f64;
        // 300 expected: 6 % scatter, clumps a little more
        assert!((crossings / 300.0 - 1.0).abs() < 0.2, "{crossings} at {k}");
    }
}
