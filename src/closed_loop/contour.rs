//! Stability by counting, and the noise of the sensors, on one grid of frequencies.
//!
//! # Equation
//! ```text
//! f(z) = det(I - C(z) G(z)) on |z| = e^(c T):   unstable closed = unstable open - winding(f)
//! noise:  u = (I - C G)^-1 C W n,   S_n = sigma^2 T/pi up to pi/T
//! ```
//!
//! # Symbols
//! G sampled craft, C law, both at z = exp((c + i omega) T); c a small shift to the right that goes round
//! integrators; W signals over readings, n white noise of each reading.
//!
//! # Valid when
//! Poles with a growth rate above [`SHIFT_1_S`] count; slower ones do not. Noise of the
//! keeper's log is left out, and limits do not act on noise.
//!
//! # Source
//! Nyquist (1932); for several loops: Rosenbrock (1970), State-space and Multivariable Theory. Sampled white
//! noise: Franklin, Powell & Workman 1998, chapter 9.
//!
//! # Checked by
//! `winding_counts_what_poles_find`, `noise_meets_the_covariance` (tests of this room).

use std::f64::consts::PI;

use num_complex::Complex64;

use super::at_speed::AtSpeed;
use super::dense;
use super::fast_law::FastLaw;
use crate::control::linear::LinearLaw;
use crate::error::{Error, Result};
use crate::linear::resolvent::RIGID;

/// Growth rate that counts as unstable, 1/s: e-fold in a thousand seconds.
pub const SHIFT_1_S: f64 = 1e-3;
/// Largest change of phase between neighbours, rad; finer where it is more.
const STEP_RAD: f64 = 1.0;
/// Halvings of an interval of the grid.
const HALVINGS: usize = 24;
/// Images of the sampling frequency counted in servo work, each side.
const IMAGES: i32 = 2;

/// A frequency of the grid.
#[derive(Clone, Debug)]
pub(crate) struct GridNode {
    pub(crate) omega_rad_s: f64,
    /// Width by the trapezoidal rule, rad/s.
    width: f64,
    /// Sampled craft on the shifted contour.
    shifted: Vec<Complex64>,
    /// Sampled craft on the unit circle, and velocities over commands (rows of M + 6).
    noise: Option<(Vec<Complex64>, Vec<Complex64>)>,
    /// Velocities and signals by the noise of the keeper's helm.
    helm: Option<([Complex64; 6], Vec<Complex64>)>,
}

/// One independent source of noise at one frequency.
#[derive(Clone, Debug)]
pub(crate) struct NoiseEntry {
    pub(crate) omega_rad_s: f64,
    /// Mean square that a response of one adds.
    pub(crate) weight: f64,
    pub(crate) rigid: [Complex64; RIGID],
    pub(crate) u: Vec<Complex64>,
}

/// Variances that noise adds to a channel.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct NoiseSums {
    /// Of the command.
    pub(crate) command: f64,
    /// Of angle and rate.
    pub(crate) angle: f64,
    pub(crate) rate: f64,
    /// Of the held command less the angle.
    pub(crate) lag: f64,
}

/// A law at one speed: response, stability, noise.
#[derive(Clone, Debug)]
pub struct LawInLoop {
    /// Its response.
    pub fast: FastLaw,
    /// Poles of the closed loop that grow.
    pub unstable: usize,
    /// Power of the speed that its commands go with at once, about that of trim; 0 for a law that does not look.
    pub speed_power: f64,
    pub(crate) noise: Vec<NoiseEntry>,
    pub(crate) noise_sums: Vec<NoiseSums>,
}

impl LawInLoop {
    /// Whether nothing grows.
    pub fn is_stable(&self) -> bool {
        self.unstable == 0
    }
}

/// The grid of frequencies from zero to half the sampling frequency.
pub(crate) fn grid(speed: &AtSpeed) -> Vec<GridNode> {
    let period_s = speed.craft.setup.sample_period_s;
    let top = PI / period_s;
    let mut omega: Vec<f64> = vec![0.0, top];
    let slow = 2e-3_f64;
    let steps = 40;
    omega.extend((0..steps).map(|i| slow * (top / slow).powf(f64::from(i) / f64::from(steps))));
    for z in &speed.open_poles {
        let p = z.ln() / period_s;
        if z.norm() < 0.3 || p.im < 0.0 || p.re.abs() > 0.3 * p.norm() {
            continue;
        }
        let b = p.re.abs().max(1e-3);
        omega.extend([-3.0, -1.2, -0.4, 0.4, 1.2, 3.0].map(|k| p.im + k * b));
    }
    omega.retain(|w| (0.0..=top).contains(w));
    omega.sort_by(f64::total_cmp);
    omega.dedup_by(|a, b| (*a - *b).abs() < 1e-5);
    let n = omega.len();
    (0..n)
        .filter_map(|i| {
            let below = omega[i.saturating_sub(1)];
            let above = omega[(i + 1).min(n - 1)];
            let w = omega[i];
            let at = |shift: f64| {
                speed
                    .sampled
                    .at((Complex64::new(shift, w) * period_s).exp())
            };
            let noise = (w > 0.0)
                .then(|| Some((at(0.0)?, speed.node(w, None)?.velocities)))
                .flatten();
            let size = speed.helm_noise_rad(w);
            let helm = (w > 0.0 && size > 0.0).then(|| speed.by_helm(w)).flatten();
            let helm = helm.map(|(nu, y)| {
                let y = y.into_iter().map(|v| v * size).collect();
                (nu.map(|v| v * size), y)
            });
            Some(GridNode {
                helm,
                omega_rad_s: w,
                width: 0.5 * (above - below),
                shifted: at(SHIFT_1_S)?,
                noise,
            })
        })
        .collect()
}

impl AtSpeed {
    /// A law made ready at this speed: its response, its stability, what its sensors' noise does.
    ///
    /// # Errors
    /// A law that does not fit, or whose channels or signals were not prepared.
    pub fn law(&self, law: &LinearLaw) -> Result<LawInLoop> {
        super::poles::check(&self.craft, law)?;
        let fast = FastLaw::new(law, &self.channels, &self.signals).ok_or_else(|| {
            Error::with_hint(
                "the law reads or moves what the loop was not prepared for",
                "prepare the craft with the law's own channels and signals",
            )
        })?;
        let unstable = self.unstable(&fast);
        let noise = if unstable == 0 {
            self.noise(&fast)
        } else {
            Vec::new()
        };
        let noise_sums = self.noise_sums(&noise);
        Ok(LawInLoop {
            fast,
            unstable,
            speed_power: law.speed_power,
            noise,
            noise_sums,
        })
    }

    /// Poles of the closed loop outside the shifted circle.
    fn unstable(&self, law: &FastLaw) -> usize {
        let period_s = self.craft.setup.sample_period_s;
        let radius = (SHIFT_1_S * period_s).exp();
        let outside = |z: &&Complex64| z.norm() > radius;
        let open = self.open_poles.iter().filter(outside).count()
            + law.poles.iter().filter(outside).count();
        let mut turned = 0.0;
        let mut before: Option<(f64, Complex64)> = None;
        for node in &self.grid {
            let now = self.difference(law, node.omega_rad_s, Some(&node.shifted));
            if let Some((omega, f)) = before {
                turned += self.turn(law, (omega, f), (node.omega_rad_s, now), HALVINGS);
            }
            before = Some((node.omega_rad_s, now));
        }
        let count = open as f64 - turned / PI;
        count.round().max(0.0) as usize
    }

    /// Change of phase of the return difference between two frequencies.
    fn turn(
        &self,
        law: &FastLaw,
        a: (f64, Complex64),
        b: (f64, Complex64),
        halvings: usize,
    ) -> f64 {
        let step = (b.1 / a.1).arg();
        if halvings == 0 || step.abs() < STEP_RAD || b.0 - a.0 < 1e-9 {
            return step;
        }
        let middle = 0.5 * (a.0 + b.0);
        let f = (middle, self.difference(law, middle, None));
        self.turn(law, a, f, halvings - 1) + self.turn(law, f, b, halvings - 1)
    }

    /// det(I - C G) on the shifted contour; one where the craft has no response.
    fn difference(&self, law: &FastLaw, omega: f64, craft: Option<&[Complex64]>) -> Complex64 {
        let (m, p) = law.shape();
        let period_s = self.craft.setup.sample_period_s;
        let z = (Complex64::new(SHIFT_1_S, omega) * period_s).exp();
        let fresh;
        let g = match craft {
            Some(g) => g,
            None => match self.sampled.at(z) {
                Some(g) => {
                    fresh = g;
                    &fresh
                }
                None => return Complex64::ONE,
            },
        };
        let mut c = vec![Complex64::ZERO; m * p];
        law.at(z, &mut c);
        let mut a = dense::one_less_product(&c, g, m, p);
        dense::determinant(&mut a, m)
    }

    fn noise(&self, law: &FastLaw) -> Vec<NoiseEntry> {
        let (m, p) = law.shape();
        let period_s = self.craft.setup.sample_period_s;
        let sources: Vec<(usize, f64)> = self
            .quantities
            .iter()
            .enumerate()
            .map(|(k, q)| (k, self.craft.blur(*q).noise))
            .filter(|(_, sigma)| *sigma > 0.0)
            .collect();
        let mut out = Vec::new();
        let mut c = vec![Complex64::ZERO; m * p];
        for node in &self.grid {
            let Some((g, velocities)) = &node.noise else {
                continue;
            };
            let inputs = self.inputs();
            let mut push = |nu: &[Complex64; 6], u: Vec<Complex64>| {
                let nu: [Complex64; 6] = std::array::from_fn(|i| {
                    let row = &velocities[i * inputs..][..m];
                    nu[i] + row.iter().zip(&u).map(|(g, u)| g * u).sum::<Complex64>()
                });
                let s = Complex64::new(0.0, node.omega_rad_s);
                out.push(NoiseEntry {
                    omega_rad_s: node.omega_rad_s,
                    weight: node.width * period_s / PI,
                    rigid: self.kinematics.rigid(&nu, s),
                    u,
                });
            };
            if m * p == 0 {
                if let Some((nu, _)) = &node.helm {
                    push(nu, vec![Complex64::ZERO; m]);
                }
                continue;
            }
            law.response(node.omega_rad_s, &mut c);
            // the law's own sensors, then the helm
            let r = sources.len();
            let columns = r + 1;
            let mut right = vec![Complex64::ZERO; m * columns];
            for i in 0..m {
                for q in 0..p {
                    let gain = c[i * p + q];
                    for (j, (k, sigma)) in sources.iter().enumerate() {
                        right[i * columns + j] += gain * (self.weights[(q, *k)] * sigma);
                    }
                    if let Some((_, y)) = &node.helm {
                        right[i * columns + r] += gain * y[q];
                    }
                }
            }
            let mut a = dense::one_less_product(&c, g, m, p);
            if !dense::solve(&mut a, &mut right, m, columns) {
                continue;
            }
            let own: Vec<Complex64> = (0..m)
                .flat_map(|i| right[i * columns..][..r].to_vec())
                .collect();
            if r > 0 {
                for u in dense::factor(&own, m, r) {
                    push(&[Complex64::ZERO; 6], u);
                }
            }
            if let Some((nu, _)) = &node.helm {
                push(nu, (0..m).map(|i| right[i * columns + r]).collect());
            }
        }
        out
    }

    fn noise_sums(&self, noise: &[NoiseEntry]) -> Vec<NoiseSums> {
        let period_s = self.craft.setup.sample_period_s;
        let mut out = vec![NoiseSums::default(); self.channels.len()];
        let mut at = f64::NAN;
        let mut power: Vec<[f64; 2]> = Vec::new();
        for n in noise {
            if n.omega_rad_s.total_cmp(&at).is_ne() {
                at = n.omega_rad_s;
                let channels = self.channels.iter();
                power = channels.map(|c| self.servo_power(*c, at)).collect();
            }
            let held = super::craft::hold(at, period_s).norm_sqr();
            for (j, sum) in out.iter_mut().enumerate() {
                let square = n.u[j].norm_sqr() * n.weight;
                let servo = self.craft.plant.actuators[self.channels[j]].response(at);
                let delay = self.craft.plant.actuators[self.channels[j]].delay_s;
                // delayed like the command, so that the delay drops out of the difference
                let lag = servo * Complex64::from_polar(1.0, at * delay) - 1.0;
                sum.command += square;
                sum.angle += square * power[j][0];
                sum.rate += square * power[j][1];
                sum.lag += square * (lag.norm_sqr() * held + 1.0 - held);
            }
        }
        out
    }

    /// Mean squares of angle and rate of a surface for a sampled command of mean square one at
    /// `omega_rad_s`, images of the staircase included.
    pub(crate) fn servo_power(&self, surface: usize, omega_rad_s: f64) -> [f64; 2] {
        let sampling = 2.0 * PI / self.craft.setup.sample_period_s;
        let mut out = [0.0; 2];
        for k in -IMAGES..=IMAGES {
            let omega = omega_rad_s + f64::from(k) * sampling;
            let size = self.angle_over_command(surface, omega).norm_sqr();
            out[0] += size;
            out[1] += size * omega * omega;
        }
        out
    }
}
