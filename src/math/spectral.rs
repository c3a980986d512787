//! Spectral estimates of records.
//!
//! # Equation
//! ```text
//! S_k = 2 dt |sum_j w_j x_j exp(-i 2 pi j k/n)|^2 / (2 pi sum_j w_j^2),  omega_k = 2 pi k/(n dt)
//! sum_k S_k d omega = mean of x^2 (Parseval, plain window; the Nyquist bin counts half)
//! m_n = sum_k omega_k^n S_k d omega
//! ```
//! Welch: the mean over segments that overlap by half, each with a Hann window.
//!
//! # Symbols
//! S one-sided density per rad/s; dt `dt_s` sample interval, s; w window; n samples.
//!
//! # Valid when
//! Equally spaced samples; the mean of the record is removed first.
//!
//! # Source
//! Welch (1967), IEEE Trans. Audio Electroacoust. 15(2). Bendat & Piersol, Random Data, ch. 11.
//!
//! # Checked by
//! `parseval_holds`, `welch_finds_a_sine_and_white_noise`, `moments_of_a_sine`.

use std::cell::RefCell;
use std::f64::consts::TAU;

use num_complex::Complex64;
use realfft::RealFftPlanner;

mod extend;
mod pair;

pub(crate) use pair::powers;

thread_local! {
    // plans cost more than transforms; one planner per thread keeps them
    static PLANNER: RefCell<RealFftPlanner<f64>> = RefCell::new(RealFftPlanner::new());
}

/// Density over frequency, equally spaced.
#[derive(Clone, Debug, PartialEq)]
pub struct Density {
    /// Step of the frequencies, rad/s; the first value belongs to zero.
    pub step_rad_s: f64,
    /// One-sided density, (unit of the record)^2 s/rad.
    pub s: Vec<f64>,
}

impl Density {
    /// Frequency of a value, rad/s.
    pub fn omega_rad_s(&self, k: usize) -> f64 {
        self.step_rad_s * k as f64
    }

    /// Moment of order n about zero; negative orders leave zero frequency out.
    pub fn moment(&self, n: i32) -> f64 {
        let first = usize::from(n < 0);
        (first..self.s.len())
            .map(|k| self.s[k] * self.omega_rad_s(k).powi(n))
            .sum::<f64>()
            * self.step_rad_s
    }

    /// Frequency of the highest value above zero, rad/s.
    pub fn peak_rad_s(&self) -> f64 {
        let k = (1..self.s.len()).fold(1, |b, k| if self.s[k] > self.s[b] { k } else { b });
        self.omega_rad_s(k)
    }
}

/// Discrete Fourier transform of a real record: n/2 + 1 values.
pub fn forward(x: &[f64]) -> Vec<Complex64> {
    if x.is_empty() {
        return Vec::new();
    }
    let plan = PLANNER.with(|p| p.borrow_mut().plan_fft_forward(x.len()));
    let mut input = x.to_vec();
    let mut out = plan.make_output_vec();
    // lengths come from the plan itself, so this cannot fail
    let _ = plan.process(&mut input, &mut out);
    out
}

/// Inverse of [`forward`] for a record of `n` samples (scaled, so that it gives the record back).
pub fn inverse(mut spectrum: Vec<Complex64>, n: usize) -> Vec<f64> {
    if n == 0 {
        return Vec::new();
    }
    let plan = PLANNER.with(|p| p.borrow_mut().plan_fft_inverse(n));
    let mut out = plan.make_output_vec();
    spectrum.resize(n / 2 + 1, Complex64::ZERO);
    spectrum[0].im = 0.0;
    if n.is_multiple_of(2) {
        spectrum[n / 2].im = 0.0;
    }
    let _ = plan.process(&mut spectrum, &mut out);
    for v in &mut out {
        *v /= n as f64;
    }
    out
}

/// Mean of a record; zero for none.
pub(crate) fn mean(x: &[f64]) -> f64 {
    if x.is_empty() {
        0.0
    } else {
        x.iter().sum::<f64>() / x.len() as f64
    }
}

/// Raw periodogram of the record less its mean.
pub fn periodogram(x: &[f64], dt_s: f64) -> Density {
    let window = vec![1.0; x.len()];
    segment_density(x, &window, dt_s)
}

/// Welch's estimate with segments of `segment` samples (at most the record) and a Hann window.
pub fn welch(x: &[f64], dt_s: f64, segment: usize) -> Density {
    let n = segment.clamp(2, x.len().max(2)).min(x.len());
    let window: Vec<f64> = (0..n)
        .map(|j| 0.5 - 0.5 * (TAU * (j as f64 + 0.5) / n as f64).cos())
        .collect();
    let whole = mean(x);
    let x: Vec<f64> = x.iter().map(|v| v - whole).collect();
    let mut sum: Option<Density> = None;
    let mut count = 0.0;
    let mut start = 0;
    while n > 0 && start + n <= x.len() {
        let d = segment_density(&x[start..start + n], &window, dt_s);
        count += 1.0;
        match &mut sum {
            None => sum = Some(d),
            Some(a) => a.s.iter_mut().zip(&d.s).for_each(|(p, q)| *p += q),
        }
        start += (n / 2).max(1);
    }
    let mut out = sum.unwrap_or(Density {
        step_rad_s: 1.0,
        s: Vec::new(),
    });
    out.s.iter_mut().for_each(|v| *v /= count);
    out
}

/// Raw periodogram from the powers |X_k|^2 (k from 0) of a record of `n` samples less its mean.
pub(crate) fn periodogram_of(power: &[f64], n: usize, dt_s: f64) -> Density {
    density(power.iter().copied(), n, n as f64, dt_s)
}

fn segment_density(x: &[f64], window: &[f64], dt_s: f64) -> Density {
    let n = x.len();
    let m = mean(x);
    let tapered: Vec<f64> = x.iter().zip(window).map(|(v, w)| (v - m) * w).collect();
    let weight: f64 = window.iter().map(|w| w * w).sum();
    let power = forward(&tapered);
    density(power.iter().map(Complex64::norm_sqr), n, weight, dt_s)
}

fn density(power: impl Iterator<Item = f64>, n: usize, weight: f64, dt_s: f64) -> Density {
    let scale = 2.0 * dt_s / (TAU * weight);
    let mut s: Vec<f64> = power.map(|p| scale * p).collect();
    if let Some(first) = s.first_mut() {
        *first *= 0.5;
    }
    if n.is_multiple_of(2)
        && let Some(last) = s.last_mut()
    {
        *last *= 0.5;
    }
    Density {
        step_rad_s: TAU / (n as f64 * dt_s),
        s,
    }
}

/// Record filtered by a frequency response (exact, no phase error but the filter's own).
///
/// The ends are continued by linear prediction over `pad_s` seconds and faded out, so that the
/// filter starts on motion like that inside the record. `response` takes the frequency in Hz.
pub fn filter(x: &[f64], dt_s: f64, pad_s: f64, response: impl Fn(f64) -> Complex64) -> Vec<f64> {
    Padded::new(x, dt_s, pad_s).filtered(response)
}

/// A record with continued ends in the frequency domain, to be filtered more than once.
#[derive(Clone, Debug)]
pub struct Padded {
    spectrum: Vec<Complex64>,
    samples: usize,
    pad: usize,
    total: usize,
    dt_s: f64,
}

impl Padded {
    /// Continues the ends over `pad_s`, see [`filter`].
    pub fn new(x: &[f64], dt_s: f64, pad_s: f64) -> Self {
        let n = x.len();
        let pad = (pad_s / dt_s).ceil() as usize;
        let total = fast_length(n + 2 * pad);
        let mut y = vec![0.0; total];
        if n >= 2 {
            let m = mean(x);
            for j in 0..n {
                y[pad + j] = x[j] - m;
            }
            let inside = &y[pad..pad + n];
            let ends = (extend::before(inside, pad), extend::after(inside, pad));
            for j in 0..pad {
                let fade =
                    0.5 + 0.5 * (std::f64::consts::PI * (j + 1) as f64 / (pad + 1) as f64).cos();
                y[pad - 1 - j] = fade * ends.0[j];
                y[pad + n + j] = fade * ends.1[j];
            }
        }
        Padded {
            spectrum: forward(&y),
            samples: n,
            pad,
            total,
            dt_s,
        }
    }

    /// Samples with the ends.
    pub fn total(&self) -> usize {
        self.total
    }

    /// Sample interval, s.
    pub fn dt_s(&self) -> f64 {
        self.dt_s
    }

    /// The record filtered; `response` takes the frequency in Hz.
    pub fn filtered(&self, response: impl Fn(f64) -> Complex64) -> Vec<f64> {
        self.filtered_by(&responses(self.total, self.dt_s, response))
    }

    /// The same by the values of [`responses`].
    pub fn filtered_by(&self, response: &[Complex64]) -> Vec<f64> {
        let spectrum = self.spectrum.iter().zip(response).map(|(c, r)| c * r);
        let mut y = inverse(spectrum.collect(), self.total);
        y.truncate(self.pad + self.samples);
        y.drain(..self.pad);
        if self.samples < 2 {
            y.fill(0.0);
        }
        y
    }
}

/// A response at the frequencies of a record of `total` samples.
pub fn responses(total: usize, dt_s: f64, response: impl Fn(f64) -> Complex64) -> Vec<Complex64> {
    let df = 1.0 / (total as f64 * dt_s);
    (0..=total / 2).map(|k| response(df * k as f64)).collect()
}

/// Smallest even length of small prime factors that is not below `n`.
fn fast_length(n: usize) -> usize {
    let mut m = n + n % 2;
    loop {
        let mut r = m;
        for p in [2, 3, 5] {
            while r.is_multiple_of(p) {
                r /= p;
            }
        }
        if r == 1 {
            return m;
        }
        m += 2;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::rngs::ChaCha8Rng;
    use rand::{RngExt, SeedableRng};

    const TOL_ROUND: f64 = 1e-10; // sums of a thousand rounded numbers of order one

    fn noise(n: usize, seed: u64) -> Vec<f64> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        (0..n).map(|_| rng.random::<f64>() - 0.5).collect()
    }

    #[test]
    fn parseval_holds() {
        for n in [1000, 1001, 37] {
            let x = noise(n, 1);
            let m = mean(&x);
            let var = x.iter().map(|v| (v - m).powi(2)).sum::<f64>() / n as f64;
            let d = periodogram(&x, 0.1);
            assert!((d.moment(0) - var).abs() < TOL_ROUND, "{n}");
            let back = inverse(forward(&x), n);
            assert!(back.iter().zip(&x).all(|(a, b)| (a - b).abs() < TOL_ROUND));
        }
    }

    #[test]
    fn welch_finds_a_sine_and_white_noise() {
        let dt = 0.1;
        let x: Vec<f64> = (0..18_000)
            .map(|i| 2.0 * (0.9 * dt * f64::from(i)).sin())
            .collect();
        let d = welch(&x, dt, 2048);
        assert!((d.peak_rad_s() - 0.9).abs() < d.step_rad_s);
        assert!((d.moment(0) / 2.0 - 1.0).abs() < 0.01); // segments hold no whole periods
        let w = noise(100_000, 2);
        let d = welch(&w, dt, 1024);
        assert!((d.moment(0) * 12.0 - 1.0).abs() < 0.02); // variance of a uniform is 1/12, 1/sqrt(n)
        let half = d.s.len() / 2;
        let (a, b): (f64, f64) = (d.s[1..half].iter().sum(), d.s[half..].iter().sum());
        assert!((a / b - 1.0).abs() < 0.05, "white");
    }

    #[test]
    fn moments_of_a_sine() {
        // whole periods, so one bin holds it all
        let n: i32 = 2000;
        let w = TAU * 25.0 / (f64::from(n) * 0.2);
        let x: Vec<f64> = (0..n).map(|i| (w * 0.2 * f64::from(i)).cos()).collect();
        let d = periodogram(&x, 0.2);
        for k in -1..=4 {
            assert!((d.moment(k) / (0.5 * w.powi(k)) - 1.0).abs() < 1e-6, "{k}");
        }
    }

    #[test]
    fn filter_scales_a_sine_up_to_the_ends() {
        let x: Vec<f64> = (0..3000)
            .map(|i| (0.8 * 0.1 * f64::from(i) + 1.0).sin())
            .collect();
        let y = filter(&x, 0.1, 100.0, |_| Complex64::new(2.0, 0.0));
        assert!(
            y.iter()
                .zip(&x)
                .all(|(a, b)| (a - 2.0 * (b - mean(&x))).abs() < 1e-9)
        );
        assert_eq!(fast_length(4001), 4050);
        assert!(filter(&[1.0], 0.1, 1.0, |_| Complex64::ONE).len() == 1);
    }
}
