//! Spectral families and their moments.
//!
//! # Equation
//! ```text
//! Gamma family   S = (Hs^2/4) q^l / Gamma(l) w^-(4l+1) exp(-q w^-4),   q = (4l+1)/4 wp^4
//!                m_n = (Hs^2/16) q^(n/4) Gamma(l - n/4) / Gamma(l),    n < 4l
//!   l = 1        Bretschneider; with Hs = 2 U^2/g sqrt(alpha/beta), q = beta (g/U)^4 Pierson-Moskowitz
//!   two parts    Ochi-Hubble
//! JONSWAP        S = c w^-5 exp(-(5/4)(w/wp)^-4) gamma^exp(-((w - wp)/(s wp))^2/2),
//!                s = 0.07 up to wp, 0.09 above; c such that m0 = Hs^2/16 exactly
//! Measured       S linear between the points given, zero outside
//! ```
//!
//! # Symbols
//! w wave frequency `omega_rad_s`; wp peak frequency; Hs `hs_m`; l `lambda`; U wind at 19.5 m;
//! S one-sided density, m2 s/rad; m_n moment about zero, m2 (rad/s)^n.
//!
//! # Valid when
//! Deep water, stationary. Moments of the analytic families diverge from n = 4 l (4 for JONSWAP)
//! on: they are returned as infinity.
//!
//! # Source
//! Pierson & Moskowitz (1964), J. Geophys. Res. 69(24). Bretschneider (1959); 15th ITTC (1978).
//! Hasselmann et al. (1973). Ochi & Hubble (1976), 15th Coastal Eng. Conf. The A_gamma fit of
//! DNV-RP-C205 sec. 3.5.5 is replaced by the exact scale, so the stated height is met.
//!
//! # Checked by
//! `published_pierson_moskowitz`, `published_bretschneider`, `published_jonswap`,
//! `published_ochi_hubble`, `a_table_keeps_the_moments`, `froude_scaled_sea_keeps_its_shape`.

use std::path::Path;

use crate::error::{Error, Problem, Result};
use crate::spec::sea::SpectrumSpec;
use crate::units::G_M_S2;

mod measured;
#[cfg(test)]
mod tests;

pub use measured::parse_measured;

/// Share of the energy above the highest frequency that is realised.
pub const TAIL_FRAC: f64 = 1e-3;

/// Constants of Pierson & Moskowitz (1964).
const PM_ALPHA: f64 = 0.0081;
const PM_BETA: f64 = 0.74;

/// A one-sided wave spectrum.
#[derive(Clone, Debug, PartialEq)]
pub enum Spectrum {
    /// Sum of gamma-family parts: Pierson-Moskowitz, Bretschneider, Ochi-Hubble.
    Gamma(Vec<GammaPart>),
    /// JONSWAP scaled to its height.
    Jonswap(Jonswap),
    /// Linear between points.
    Table(Table),
    /// One regular wave: its density is a line, so [`Spectrum::density`] is zero everywhere.
    Line {
        /// Frequency, rad/s.
        omega_rad_s: f64,
        /// Amplitude, m.
        amplitude_m: f64,
    },
}

/// One part of the gamma family.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GammaPart {
    /// Significant height, m.
    pub hs_m: f64,
    /// Scale q, (rad/s)^4.
    pub q: f64,
    /// Shape.
    pub lambda: f64,
}

impl GammaPart {
    /// From height (m), peak frequency (rad/s) and shape.
    pub fn of_peak(hs_m: f64, peak_rad_s: f64, lambda: f64) -> Self {
        GammaPart {
            hs_m,
            q: (4.0 * lambda + 1.0) / 4.0 * peak_rad_s.powi(4),
            lambda,
        }
    }

    /// From the two-parameter form S = a w^-5 exp(-b w^-4).
    pub fn two_parameter(a: f64, b: f64) -> Self {
        GammaPart {
            hs_m: 2.0 * (a / b).sqrt(),
            q: b,
            lambda: 1.0,
        }
    }

    /// Peak frequency, rad/s.
    pub fn peak_rad_s(&self) -> f64 {
        (4.0 * self.q / (4.0 * self.lambda + 1.0)).powf(0.25)
    }

    /// Density at a frequency, m2 s/rad.
    pub fn density(&self, omega_rad_s: f64) -> f64 {
        // logarithms keep the steep low side from overflowing
        let l = self.lambda;
        let x = self.q / omega_rad_s.powi(4);
        let log = l * x.ln() - x - libm::lgamma(l);
        self.hs_m * self.hs_m / 4.0 / omega_rad_s * log.exp()
    }

    /// Moment of order n, m2 (rad/s)^n.
    pub fn moment(&self, n: i32) -> f64 {
        let (l, p) = (self.lambda, f64::from(n) / 4.0);
        if p >= l {
            return f64::INFINITY;
        }
        self.hs_m * self.hs_m / 16.0
            * self.q.powf(p)
            * (libm::lgamma(l - p) - libm::lgamma(l)).exp()
    }

    /// Frequencies (rad/s) that leave out about 1e-9 of the energy below and [`TAIL_FRAC`] above.
    fn range_rad_s(&self) -> (f64, f64) {
        let l = self.lambda;
        let x_low = l + 6.0 * l.sqrt() + 20.0;
        // the regularised lower incomplete gamma is x^l / Gamma(l + 1) for small x
        let x_high = ((TAIL_FRAC.ln() + libm::lgamma(l + 1.0)) / l).exp();
        ((self.q / x_low).powf(0.25), (self.q / x_high).powf(0.25))
    }
}

/// JONSWAP.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jonswap {
    /// Significant height, m.
    pub hs_m: f64,
    /// Peak frequency, rad/s.
    pub peak_rad_s: f64,
    /// Peak enhancement.
    pub gamma: f64,
    scale: f64,
}

impl Jonswap {
    /// From height (m), peak frequency (rad/s) and peak enhancement.
    pub fn new(hs_m: f64, peak_rad_s: f64, gamma: f64) -> Self {
        let mut j = Jonswap {
            hs_m,
            peak_rad_s,
            gamma,
            scale: 1.0,
        };
        j.scale = hs_m * hs_m / 16.0 / j.quadrature(0);
        j
    }

    /// Density at a frequency, m2 s/rad.
    pub fn density(&self, omega_rad_s: f64) -> f64 {
        let x = omega_rad_s / self.peak_rad_s;
        let s = if x <= 1.0 { 0.07 } else { 0.09 };
        let peak = (-0.5 * ((x - 1.0) / s).powi(2)).exp();
        self.scale * x.powi(-5) * (-1.25 * x.powi(-4)).exp() * self.gamma.powf(peak)
    }

    fn moment(&self, n: i32) -> f64 {
        match n {
            0 => self.hs_m * self.hs_m / 16.0, // by construction
            1.. if n >= 4 => f64::INFINITY,
            _ => self.quadrature(n),
        }
    }

    fn quadrature(&self, n: i32) -> f64 {
        let wp = self.peak_rad_s;
        let f = |w: f64| self.density(w) * w.powi(n);
        // the width s jumps at the peak: integrate the two sides apart
        let body = simpson_log(&f, 0.35 * wp, wp, 500) + simpson_log(&f, wp, 40.0 * wp, 2500);
        // beyond 40 wp the exponential differs from one by 5e-7
        let tail = self.scale * wp.powi(n + 1) * 40f64.powi(n - 4) / f64::from(4 - n);
        body + tail
    }
}

/// A spectrum given by points.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Frequencies, rad/s, ascending.
    pub omega_rad_s: Vec<f64>,
    /// Densities, m2 s/rad.
    pub s_m2_s: Vec<f64>,
}

impl Table {
    fn density(&self, omega_rad_s: f64) -> f64 {
        let w = &self.omega_rad_s;
        let n = w.len();
        if omega_rad_s < w[0] || omega_rad_s > w[n - 1] {
            return 0.0;
        }
        let i = w.partition_point(|&x| x <= omega_rad_s).clamp(1, n - 1);
        let f = (omega_rad_s - w[i - 1]) / (w[i] - w[i - 1]);
        self.s_m2_s[i - 1] + f * (self.s_m2_s[i] - self.s_m2_s[i - 1])
    }

    fn moment(&self, n: i32) -> f64 {
        self.omega_rad_s
            .windows(2)
            .map(|c| simpson_log(&|w| self.density(w) * w.powi(n), c[0].max(1e-9), c[1], 16))
            .sum()
    }
}

impl Spectrum {
    /// The spectrum that a sea file describes; `dir` is where its CSV is looked for.
    ///
    /// # Errors
    /// Every number out of range, with its key below `spectrum`; an unreadable CSV.
    pub fn of(spec: &SpectrumSpec, dir: &Path) -> Result<Spectrum> {
        check(spec)?;
        Ok(match *spec {
            SpectrumSpec::Regular {
                amplitude_m,
                period_s,
                ..
            } => Spectrum::Line {
                omega_rad_s: omega_of(period_s),
                amplitude_m,
            },
            SpectrumSpec::PiersonMoskowitz { wind_19m5_m_s } => {
                Spectrum::pierson_moskowitz(wind_19m5_m_s)
            }
            SpectrumSpec::Bretschneider { hs_m, tp_s } => Spectrum::bretschneider(hs_m, tp_s),
            SpectrumSpec::Jonswap { hs_m, tp_s, gamma } => {
                Spectrum::Jonswap(Jonswap::new(hs_m, omega_of(tp_s), gamma))
            }
            SpectrumSpec::OchiHubble { hs_m, tp_s, lambda } => Spectrum::Gamma(
                (0..2)
                    .map(|j| GammaPart::of_peak(hs_m[j], omega_of(tp_s[j]), lambda[j]))
                    .filter(|p| p.hs_m > 0.0)
                    .collect(),
            ),
            SpectrumSpec::Measured { ref file } => {
                let path = dir.join(file);
                let text = std::fs::read_to_string(&path)
                    .map_err(|e| Error::io("read the measured spectrum", &path, &e))?;
                Spectrum::Table(parse_measured(&text).map_err(|e| e.in_file(&path))?)
            }
        })
    }

    /// Pierson-Moskowitz from the wind at 19.5 m, m/s.
    pub fn pierson_moskowitz(wind_19m5_m_s: f64) -> Spectrum {
        let a = PM_ALPHA * G_M_S2 * G_M_S2;
        let b = PM_BETA * (G_M_S2 / wind_19m5_m_s).powi(4);
        Spectrum::Gamma(vec![GammaPart::two_parameter(a, b)])
    }

    /// Bretschneider from height (m) and peak period (s).
    pub fn bretschneider(hs_m: f64, tp_s: f64) -> Spectrum {
        Spectrum::Gamma(vec![GammaPart::of_peak(hs_m, omega_of(tp_s), 1.0)])
    }

    /// Density, m2 s/rad; zero for frequencies that are not positive.
    pub fn density(&self, omega_rad_s: f64) -> f64 {
        if omega_rad_s <= 0.0 {
            return 0.0;
        }
        match self {
            Spectrum::Gamma(parts) => parts.iter().map(|p| p.density(omega_rad_s)).sum(),
            Spectrum::Jonswap(j) => j.density(omega_rad_s),
            Spectrum::Table(t) => t.density(omega_rad_s),
            Spectrum::Line { .. } => 0.0,
        }
    }

    /// Moment of order n about zero, m2 (rad/s)^n; infinite where it diverges.
    pub fn moment(&self, n: i32) -> f64 {
        match self {
            Spectrum::Gamma(parts) => parts.iter().map(|p| p.moment(n)).sum(),
            Spectrum::Jonswap(j) => j.moment(n),
            Spectrum::Table(t) => t.moment(n),
            Spectrum::Line {
                omega_rad_s,
                amplitude_m,
            } => 0.5 * amplitude_m * amplitude_m * omega_rad_s.powi(n),
        }
    }

    /// Significant height 4 sqrt(m0), m.
    pub fn hs_m(&self) -> f64 {
        4.0 * self.moment(0).sqrt()
    }

    /// Mean zero up-crossing period 2 pi sqrt(m0/m2), s.
    pub fn tz_s(&self) -> f64 {
        std::f64::consts::TAU * (self.moment(0) / self.moment(2)).sqrt()
    }

    /// Frequency of the highest peak, rad/s.
    pub fn peak_rad_s(&self) -> f64 {
        match self {
            Spectrum::Gamma(parts) => {
                let mut best = (0.0, 0.0);
                for p in parts {
                    let w = p.peak_rad_s();
                    let s = self.density(w);
                    if s > best.0 {
                        best = (s, w);
                    }
                }
                best.1
            }
            Spectrum::Jonswap(j) => j.peak_rad_s,
            Spectrum::Table(t) => {
                let i = (0..t.s_m2_s.len())
                    .fold(0, |b, i| if t.s_m2_s[i] > t.s_m2_s[b] { i } else { b });
                t.omega_rad_s[i]
            }
            Spectrum::Line { omega_rad_s, .. } => *omega_rad_s,
        }
    }

    /// Lowest and highest frequency worth a component, rad/s: above lies [`TAIL_FRAC`] of the
    /// energy of an analytic family, nothing of a table.
    pub fn range_rad_s(&self) -> (f64, f64) {
        match self {
            Spectrum::Gamma(parts) => parts.iter().fold((f64::MAX, 0.0), |(lo, hi), p| {
                let (l, h) = p.range_rad_s();
                (f64::min(lo, l), f64::max(hi, h))
            }),
            Spectrum::Jonswap(j) => {
                // above the peak's bump the tail is that of a gamma part with q = 1.25 wp^4
                let tail = 4.0 * TAIL_FRAC * j.hs_m * j.hs_m / 16.0;
                let wp = j.peak_rad_s;
                (0.5 * wp, wp * (j.scale * wp / tail).powf(0.25))
            }
            Spectrum::Table(t) => {
                let positive = |i: &usize| t.s_m2_s[*i] > 0.0;
                let n = t.s_m2_s.len();
                let first = (0..n).find(positive).unwrap_or(0).saturating_sub(1);
                let last = (0..n)
                    .rev()
                    .find(positive)
                    .map_or(n - 1, |i| (i + 1).min(n - 1));
                (t.omega_rad_s[first].max(1e-3), t.omega_rad_s[last])
            }
            Spectrum::Line { omega_rad_s, .. } => (*omega_rad_s, *omega_rad_s),
        }
    }
}

/// Angular frequency of a period.
fn omega_of(period_s: f64) -> f64 {
    std::f64::consts::TAU / period_s
}

/// Simpson's rule in the logarithm of the frequency with n (even) intervals.
fn simpson_log(f: &dyn Fn(f64) -> f64, lo: f64, hi: f64, n: usize) -> f64 {
    let h = (hi / lo).ln() / n as f64;
    let sum: f64 = (0..=n)
        .map(|i| {
            let w = lo * (h * i as f64).exp();
            let c = if i == 0 || i == n {
                1.0
            } else if i % 2 == 1 {
                4.0
            } else {
                2.0
            };
            c * f(w) * w
        })
        .sum();
    sum * h / 3.0
}

/// Ranges of the numbers of a spectrum.
fn check(spec: &SpectrumSpec) -> Result<()> {
    let mut bad = Vec::new();
    let mut range = |key: String, x: f64, lo: f64, hi: f64, unit: &str| {
        if !(x >= lo && x <= hi) {
            bad.push(Problem::at(
                format!("spectrum.{key}"),
                format!("is {x}{unit}, must lie between {lo}{unit} and {hi}{unit}"),
            ));
        }
    };
    match *spec {
        SpectrumSpec::Regular {
            amplitude_m,
            period_s,
            phase_deg,
        } => {
            range("regular.amplitude_m".into(), amplitude_m, 0.0, 20.0, " m");
            range("regular.period_s".into(), period_s, 0.5, 200.0, " s");
            range("regular.phase_deg".into(), phase_deg, -360.0, 360.0, " deg");
        }
        SpectrumSpec::PiersonMoskowitz { wind_19m5_m_s } => {
            range(
                "pierson_moskowitz.wind_19m5_m_s".into(),
                wind_19m5_m_s,
                0.5,
                60.0,
                " m/s",
            );
        }
        SpectrumSpec::Bretschneider { hs_m, tp_s } => {
            range("bretschneider.hs_m".into(), hs_m, 1e-4, 30.0, " m");
            range("bretschneider.tp_s".into(), tp_s, 0.5, 40.0, " s");
        }
        SpectrumSpec::Jonswap { hs_m, tp_s, gamma } => {
            range("jonswap.hs_m".into(), hs_m, 1e-4, 30.0, " m");
            range("jonswap.tp_s".into(), tp_s, 0.5, 40.0, " s");
            range("jonswap.gamma".into(), gamma, 1.0, 20.0, "");
        }
        SpectrumSpec::OchiHubble { hs_m, tp_s, lambda } => {
            for j in 0..2 {
                range(format!("ochi_hubble.hs_m[{j}]"), hs_m[j], 0.0, 30.0, " m");
                range(format!("ochi_hubble.tp_s[{j}]"), tp_s[j], 0.5, 40.0, " s");
                range(format!("ochi_hubble.lambda[{j}]"), lambda[j], 0.6, 20.0, "");
            }
            range(
                "ochi_hubble.hs_m".into(),
                hs_m[0] + hs_m[1],
                1e-4,
                60.0,
                " m together",
            );
        }
        SpectrumSpec::Measured { .. } => {}
    }
    if bad.is_empty() {
        Ok(())
    } else {
        Err(bad.into())
    }
}
