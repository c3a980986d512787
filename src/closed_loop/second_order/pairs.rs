//! All pairs of waves: what each does at the sum and at the difference of their frequencies, and what comes of
//! that with either of both again.

use num_complex::Complex64;

use super::first::{FirstOrder, Whole, complete};
use super::paths::Paths;
use super::products::Product;
use super::{Line, SecondEntry, shifts_phase};
use crate::closed_loop::dense;
use crate::closed_loop::evaluate::Evaluation;
use crate::closed_loop::reading::Quantity;
use crate::dynamics::sensor;
use crate::error::{Error, Result};
use crate::linear::resolvent::RIGID;

/// Width of a bin of response frequencies, rad/s: half the half-width of the narrowest resonance of a ride.
const BIN_RAD_S: f64 = 0.0125;
/// Most pairs looked at; of more, an even part stands for all.
const MOST_PAIRS: usize = 5_000;

/// Sums over pairs: Gram matrix of the forces in every bin.
type Bins = Vec<Option<Vec<Complex64>>>;

/// All pairs of waves of an evaluation.
pub(super) struct Pairs<'a> {
    e: &'a Evaluation<'a>,
    first: &'a FirstOrder,
    products: &'a [Product],
    /// Of each bin.
    paths: Vec<Option<Paths>>,
    /// Relative change of asked commands per m/s of measured speed.
    by_speed: f64,
}

/// One pair at one of its two frequencies.
#[derive(Clone, Copy)]
struct Pair {
    of: [usize; 2],
    is_sum: bool,
    omega: f64,
}

impl Pair {
    /// A number of the second wave, as this frequency has it.
    fn turn(self, v: Complex64) -> Complex64 {
        if self.is_sum { v } else { v.conj() }
    }
}

/// What drives the closed loop: forcing of all states, and commands asked.
#[derive(Clone)]
pub(super) struct Drive {
    states: Vec<Complex64>,
    commands: Vec<Complex64>,
}

impl Drive {
    fn new(states: usize, commands: usize) -> Self {
        Drive {
            states: vec![Complex64::ZERO; states],
            commands: vec![Complex64::ZERO; commands],
        }
    }

    fn conjugate(&mut self) {
        for v in self.states.iter_mut().chain(&mut self.commands) {
            *v = v.conj();
        }
    }
}

/// A response: states and channels, what the law asks, the speed that it reads.
struct Moved<'a> {
    z: &'a [Complex64],
    asked: &'a [Complex64],
    speed: Complex64,
}

impl<'a> Pairs<'a> {
    pub(super) fn new(
        e: &'a Evaluation<'a>,
        first: &'a FirstOrder,
        products: &'a [Product],
    ) -> Self {
        let top = first.omega.iter().fold(0.0_f64, |m, w| m.max(w.abs()));
        let bins = (2.0 * top / BIN_RAD_S).ceil() as usize + 1;
        Pairs {
            e,
            first,
            products,
            paths: (0..bins).map(|b| Paths::of(e, middle(b))).collect(),
            by_speed: e.law.speed_power / e.sea.speed.craft.speed_m_s.max(0.1),
        }
    }

    /// Rigid rows, commands, and the products of an acceleration.
    fn width(&self) -> usize {
        RIGID + self.channels() + 3
    }

    fn channels(&self) -> usize {
        self.e.sea.speed.channels.len()
    }

    /// Gram matrix of every bin, and what falls back on every wave.
    pub(super) fn sum(&self) -> (Bins, Vec<Drive>) {
        let n = self.first.omega.len();
        let k = self.width();
        let mut bins: Bins = vec![None; self.paths.len()];
        let mut third = vec![Drive::new(self.first.states, self.channels()); n];
        let every = (n * (n + 1) / MOST_PAIRS).max(1);
        let mut count = 0_usize;
        for i in 0..n {
            for j in i..n {
                count += 1;
                if !count.is_multiple_of(every) {
                    continue;
                }
                for is_sum in [true, false] {
                    if i == j && !is_sum {
                        continue; // the mean
                    }
                    let signed = if is_sum { 1.0 } else { -1.0 };
                    let pair = Pair {
                        of: [i, j],
                        is_sum,
                        omega: self.first.omega[i] + signed * self.first.omega[j],
                    };
                    let bin = (pair.omega.abs() / BIN_RAD_S) as usize;
                    let Some(paths) = &self.paths[bin] else {
                        continue;
                    };
                    let gram = bins[bin].get_or_insert_with(|| vec![Complex64::ZERO; k * k]);
                    self.add(pair, paths, bin, every as f64, gram, &mut third);
                }
            }
        }
        (bins, third)
    }

    fn add(
        &self,
        pair: Pair,
        paths: &Paths,
        bin: usize,
        every: f64,
        gram: &mut [Complex64],
        third: &mut [Drive],
    ) {
        let [i, j] = pair.of;
        let m = self.channels();
        let mut drive = self.drive(pair);
        let is_negative = pair.omega < 0.0;
        if is_negative {
            drive.conjugate();
        }
        let mut force = vec![Complex64::ZERO; self.width()];
        paths.onto_rigid(&drive.states, &mut force[..RIGID]);
        force[RIGID..RIGID + m].copy_from_slice(&drive.commands);
        let turning = self.turning(pair);
        for (f, t) in force[RIGID + m..].iter_mut().zip(turning) {
            *f = if is_negative { t.conj() } else { t };
        }
        let w = [i, j].map(|k| self.first.weight[k] * every);
        let both = 0.5 * w[0] * w[1] / every;
        add_gram(gram, &force, if i == j { 0.5 * both } else { both });

        let (rigid, u) = paths.response(&force[..RIGID + m]);
        let omega = middle(bin);
        let Some(whole) = complete(&self.e.sea.speed, omega, &rigid, &u, drive.states) else {
            return;
        };
        self.fall_back(pair, whole, &u, omega, w, third);
    }

    /// Forcing by a pair.
    fn drive(&self, pair: Pair) -> Drive {
        let f = self.first;
        let [i, j] = pair.of;
        let mut out = Drive::new(f.states, self.channels());
        let turned: Vec<Complex64> = f.z[j].iter().map(|v| pair.turn(*v)).collect();
        let asked: Vec<Complex64> = f.asked[j].iter().map(|v| pair.turn(*v)).collect();
        self.multiply(
            &self.of_wave(i),
            &Moved {
                z: &turned,
                asked: &asked,
                speed: pair.turn(f.speed[j]),
            },
            1.0,
            &mut out,
        );
        let [by_i, by_j] = self.shifts(pair);
        for ((r, wi), wj) in out.states.iter_mut().zip(&f.forcing[i]).zip(&f.forcing[j]) {
            *r += by_i * wi + by_j * pair.turn(*wj);
        }
        out
    }

    /// Factors of both waves' own forcing by the phase that the other's motion takes.
    fn shifts(&self, pair: Pair) -> [Complex64; 2] {
        let f = self.first;
        let [i, j] = pair.of;
        [
            f.shift(i) * pair.turn(f.along(i, j)),
            pair.turn(f.shift(j)) * f.along(j, i),
        ]
    }

    fn of_wave(&self, i: usize) -> Moved<'_> {
        Moved {
            z: &self.first.z[i],
            asked: &self.first.asked[i],
            speed: self.first.speed[i],
        }
    }

    /// Adds weight B(a, b).
    fn multiply(&self, a: &Moved<'_>, b: &Moved<'_>, weight: f64, out: &mut Drive) {
        for p in self.products {
            let (m, n) = (p.inputs[0], p.inputs[1]);
            let both = if m == n {
                a.z[m] * b.z[m]
            } else {
                a.z[m] * b.z[n] + a.z[n] * b.z[m]
            };
            out.states[p.row] += both * (p.value * weight);
        }
        let scale = self.by_speed * weight;
        for ((c, x), y) in out.commands.iter_mut().zip(a.asked).zip(b.asked) {
            *c += (x * b.speed + y * a.speed) * scale;
        }
    }

    /// omega x velocity of a pair.
    fn turning(&self, pair: Pair) -> [Complex64; 3] {
        let a = &self.first.z[pair.of[0]][6..RIGID];
        let b: Vec<Complex64> = self.first.z[pair.of[1]][6..RIGID]
            .iter()
            .map(|v| pair.turn(*v))
            .collect();
        std::array::from_fn(|axis| {
            let (p, q) = ((axis + 1) % 3, (axis + 2) % 3);
            a[3 + p] * b[q] + b[3 + p] * a[q] - a[3 + q] * b[p] - b[3 + q] * a[p]
        })
    }

    /// Adds what the response of second order makes with each of both waves at the other's frequency.
    fn fall_back(
        &self,
        pair: Pair,
        mut whole: Whole,
        u: &[Complex64],
        omega: f64,
        weight: [f64; 2],
        third: &mut [Drive],
    ) {
        let f = self.first;
        let [i, j] = pair.of;
        let mut asked: Vec<Complex64> = (u.iter().enumerate())
            .map(|(c, v)| v / self.e.through(c, omega))
            .collect();
        let sensors = &self.e.sea.speed.craft.sensors;
        let mut speed = whole.z[6] * sensor::response(sensors, Quantity::Speed.kind(), omega);
        if pair.omega < 0.0 {
            for v in whole.z.iter_mut().chain(&mut asked) {
                *v = v.conj();
            }
            speed = speed.conj();
        }
        let [by_i, by_j] = self.shifts(pair);
        let channels = f.z[i][f.states..].iter().zip(&f.z[j][f.states..]);
        whole
            .z
            .extend(channels.map(|(ci, cj)| by_i * ci + by_j * pair.turn(*cj)));
        let shifts = shifts_phase(pair.omega);
        // wave i again from wave j, and the other way round
        let mut onto = |target: usize, with: usize, conjugate_first: bool, conjugate_wave: bool| {
            let flip = |v: Complex64, yes: bool| if yes { v.conj() } else { v };
            let list = |from: &[Complex64], yes: bool| -> Vec<Complex64> {
                from.iter().map(|v| flip(*v, yes)).collect()
            };
            let (z, a) = (
                list(&whole.z, conjugate_first),
                list(&asked, conjugate_first),
            );
            let (zw, aw) = (
                list(&f.z[with], conjugate_wave),
                list(&f.asked[with], conjugate_wave),
            );
            let half = 0.5 * if with == i { weight[0] } else { weight[1] };
            let out = &mut third[target];
            let second = Moved {
                z: &z,
                asked: &a,
                speed: flip(speed, conjugate_first),
            };
            let wave = Moved {
                z: &zw,
                asked: &aw,
                speed: flip(f.speed[with], conjugate_wave),
            };
            self.multiply(&second, &wave, half, out);
            if shifts {
                let by = flip(f.shift(with), conjugate_wave) * f.displaced(with, &z) * half;
                for (r, w) in out.states.iter_mut().zip(&f.forcing[with]) {
                    *r += by * flip(*w, conjugate_wave);
                }
            }
        };
        onto(i, j, false, pair.is_sum);
        if i != j {
            onto(j, i, !pair.is_sum, pair.is_sum);
        }
    }

    /// Rigid states of a pair at its own frequency, per product of amplitudes and twice: x = 1/2 a_i a_j Re(...).
    #[cfg(test)]
    pub(super) fn response_of(
        &self,
        i: usize,
        j: usize,
        is_sum: bool,
    ) -> Option<[Complex64; RIGID]> {
        let other = self.first.omega[j];
        let omega = self.first.omega[i] + if is_sum { other } else { -other };
        let pair = Pair {
            of: [i, j],
            is_sum,
            omega,
        };
        let drive = self.drive(pair);
        let paths = Paths::of(self.e, omega)?;
        let mut force = vec![Complex64::ZERO; RIGID + self.channels()];
        paths.onto_rigid(&drive.states, &mut force[..RIGID]);
        force[RIGID..].copy_from_slice(&drive.commands);
        Some(paths.response(&force).0)
    }

    /// Independent parts of the response in a bin.
    pub(super) fn parts(&self, bin: usize, gram: Vec<Complex64>) -> Vec<SecondEntry> {
        let Some(paths) = &self.paths[bin] else {
            return Vec::new();
        };
        let m = self.channels();
        dense::factor_of(gram, self.width())
            .iter()
            .map(|force| {
                let (rigid, u) = paths.response(&force[..RIGID + m]);
                SecondEntry {
                    omega_rad_s: middle(bin),
                    rigid,
                    u,
                    turning: std::array::from_fn(|k| force[RIGID + m + k]),
                }
            })
            .collect()
    }

    /// Every wave's own line.
    pub(super) fn lines(&self, third: &[Drive]) -> Result<Vec<Line>> {
        let f = self.first;
        let m = self.channels();
        let one = |(i, drive): (usize, &Drive)| {
            let paths = Paths::of(self.e, f.omega[i]).ok_or_else(|| {
                Error::new(format!(
                    "the loop has no response at {:.3} rad/s",
                    f.omega[i]
                ))
            })?;
            let mut states = drive.states.clone();
            f.add_cubic_phase(i, &mut states);
            let mut force = vec![Complex64::ZERO; RIGID + m];
            paths.onto_rigid(&states, &mut force[..RIGID]);
            force[RIGID..].copy_from_slice(&drive.commands);
            let (rigid, u) = paths.response(&force);
            Ok(Line {
                kept: f.line[i],
                rigid,
                u,
            })
        };
        third.iter().enumerate().map(one).collect()
    }
}

/// Middle of a bin, rad/s.
fn middle(bin: usize) -> f64 {
    (bin as f64 + 0.5) * BIN_RAD_S
}

/// Adds weight v v^H, lower half.
fn add_gram(gram: &mut [Complex64], v: &[Complex64], weight: f64) {
    let k = v.len();
    for (i, row) in gram.chunks_exact_mut(k).enumerate() {
        let scaled = v[i] * weight;
        for (g, x) in row.iter_mut().zip(&v[..=i]) {
            *g += scaled * x.conj();
        }
    }
}
