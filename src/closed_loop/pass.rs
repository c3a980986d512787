//! One pass over the waves under given gains of limits and drag, eight waves abreast.
//!
//! # Equation
//! ```text
//! v = K ([y_w; nu_w] + G v) + [0; pull'],   v = [u; f'],   K = [phi C, 0; 0, -dD]
//! ```
//! C y_w and C G do not change from pass to pass and are formed once. f' has no surge: drag elements lie abeam or
//! upright.
//!
//! # Symbols
//! As in [`super::evaluate`].
//!
//! # Valid when
//! As [`super::evaluate`].
//!
//! # Source
//! None of its own.
//!
//! # Checked by
//! `a_pass_solves_the_loop` and the tests of this room on evaluations.

#![allow(clippy::needless_range_loop)] // one index runs over several arrays
#![allow(clippy::inline_always)] // what a pass does must be compiled anew for wide vectors

use nalgebra::Matrix6;
use num_complex::Complex64;

use super::at_sea::{AtSea, Servo, Transfer};
use super::contour::LawInLoop;
use crate::math::lanes::{ABREAST, Complexes, Path, Reals, Work, one_by_one, solve, wide};

/// Forces that drag has: sway to yaw.
pub(super) const FORCES: usize = 5;

/// Waves abreast. Lanes beyond the last wave repeat it without weight.
#[derive(Clone, Debug)]
pub(crate) struct Block {
    omega: Reals,
    weight: Reals,
    /// See [`Servo::steps`].
    steps: Reals,
    nu_w: [Complexes; 6],
    y_w: Vec<Complexes>,
    /// Over commands and the forces from sway on, row by row.
    signals: Vec<Complexes>,
    velocities: Vec<Complexes>,
    /// Orbital velocity at each drag element.
    orbital: Vec<Complexes>,
}

/// Blocks of all waves, for `m` commands.
pub(crate) fn blocks(transfers: &[Transfer], servo: &[Servo], m: usize) -> Vec<Block> {
    let pairs = transfers.chunks(ABREAST).zip(servo.chunks(ABREAST));
    pairs.map(|(t, s)| Block::new(t, s, m)).collect()
}

/// One number of every wave abreast.
fn abreast(waves: &[Transfer], number: impl Fn(&Transfer) -> Complex64) -> Complexes {
    Complexes::of(|l| number(&waves[l.min(waves.len() - 1)]))
}

impl Block {
    fn new(waves: &[Transfer], servo: &[Servo], m: usize) -> Self {
        let last = waves.len() - 1;
        let matrix = |rows: usize, of: &dyn Fn(&Transfer, usize) -> Complex64| -> Vec<Complexes> {
            let columns = (0..m).chain(m + 1..m + 6);
            let places = (0..rows).flat_map(|r| columns.clone().map(move |c| r * (m + 6) + c));
            places.map(|k| abreast(waves, |t| of(t, k))).collect()
        };
        let first = &waves[0];
        let (p, elements) = (first.y_w.len(), first.orbital.len() / 2);
        let orbital =
            |t: &Transfer, e: usize| Complex64::new(t.orbital[e], t.orbital[elements + e]);
        Block {
            omega: std::array::from_fn(|l| waves[l.min(last)].omega),
            weight: std::array::from_fn(|l| waves.get(l).map_or(0.0, |t| t.weight)),
            steps: std::array::from_fn(|l| servo[l.min(last)].steps),
            nu_w: std::array::from_fn(|k| abreast(waves, |t| t.nu_w[k])),
            y_w: (0..p).map(|k| abreast(waves, |t| t.y_w[k])).collect(),
            signals: matrix(p, &|t, k| t.signals[k]),
            velocities: matrix(6, &|t, k| t.velocities[k]),
            orbital: (0..elements)
                .map(|e| abreast(waves, |t| orbital(t, e)))
                .collect(),
        }
    }
}

/// Gains of limits, and equivalent speeds of the drag (m/s).
#[derive(Clone, Debug)]
pub(crate) struct Gains {
    pub(super) clip: Vec<f64>,
    pub(super) rate: Vec<f64>,
    pub(super) play: Vec<[f64; 2]>,
    pub(crate) speeds: Vec<f64>,
}

/// Variances that gains follow from: of commands, of rates asked, of relative velocities.
#[derive(Clone, Debug)]
pub(super) struct Sums<T = f64> {
    pub(super) asked: Vec<T>,
    pub(super) rate_asked: Vec<T>,
    pub(super) relative: Vec<T>,
}

impl<T: Clone> Sums<T> {
    fn new(zero: &T, channels: usize, elements: usize) -> Self {
        Sums {
            asked: vec![zero.clone(); channels],
            rate_asked: vec![zero.clone(); channels],
            relative: vec![zero.clone(); elements],
        }
    }

    fn fill(&mut self, value: &T) {
        self.asked.fill(value.clone());
        self.rate_asked.fill(value.clone());
        self.relative.fill(value.clone());
    }
}

/// A servo's numbers.
#[derive(Clone, Copy, Debug)]
pub(super) struct ServoLimits {
    pub(super) natural: f64,
    pub(super) twice_damping: f64,
    pub(super) rate: f64,
    pub(super) lo: f64,
    pub(super) hi: f64,
    /// Half the dead band in rate asked, rad/s, and half the backlash, rad.
    pub(super) dead: f64,
    pub(super) half_gap: f64,
    pub(super) supply: Option<usize>,
}

impl ServoLimits {
    /// kappa wn^2 - omega^2 + 2 i zeta wn omega.
    #[inline(always)]
    fn under(&self, omega: &Reals, kappa: f64) -> Complexes {
        let w2 = self.natural * self.natural;
        Complexes {
            re: omega.map(|w| kappa * w2 - w * w),
            im: omega.map(|w| self.twice_damping * self.natural * w),
        }
    }

    /// F(kappa)/F(1).
    #[inline(always)]
    fn ratio(&self, omega: &Reals, kappa: f64) -> Complexes {
        let over = Complexes::default().plus(kappa, &self.under(omega, 1.0));
        over.times(&self.under(omega, kappa).inverse())
    }

    /// F(kappa)/F(1) of one frequency.
    pub(super) fn slowed(&self, omega: f64, kappa: f64) -> Complex64 {
        self.ratio(&[omega; ABREAST], kappa).lane(0)
    }

    /// |1 - F(kappa)|^2.
    #[inline(always)]
    fn lag(&self, omega: &Reals, kappa: f64) -> Reals {
        let over = self.under(omega, 0.0).norm_sqr();
        let under = self.under(omega, kappa).norm_sqr();
        std::array::from_fn(|l| over[l] / under[l])
    }
}

/// An evaluation on its way.
pub(super) struct Run<'a> {
    pub(super) sea: &'a AtSea,
    pub(super) limits: bool,
    pub(super) forces: bool,
    pub(super) servos: Vec<ServoLimits>,
    path: Path,
    /// Rows of the drag elements from sway on.
    rows: Vec<[f64; FORCES]>,
    /// C y_w and C G of every block, row by row.
    law: Vec<Complexes>,
    /// Velocities of every block.
    nu: Vec<[Complexes; 6]>,
    /// Commands of every block, before hold and servo.
    commands: Vec<Complexes>,
    sums: Sums<Reals>,
    phi: Vec<Complexes>,
    a: Vec<Complexes>,
    v: Vec<Complexes>,
}

impl<'a> Run<'a> {
    pub(super) fn new(sea: &'a AtSea, law: &LawInLoop, limits: bool, forces: bool) -> Self {
        let (m, n) = (sea.speed.channels.len(), sea.blocks.len());
        let count = sea.elements.count;
        let size = if forces { m + FORCES } else { m };
        let mut run = Run {
            sea,
            limits,
            forces,
            servos: servos(sea),
            path: Path::best(),
            rows: (0..count)
                .map(|e| std::array::from_fn(|k| sea.elements.rows[k + 1][e]))
                .collect(),
            law: vec![Complexes::default(); n * m * (1 + size)],
            nu: vec![[Complexes::default(); 6]; n],
            commands: vec![Complexes::default(); n * m],
            sums: Sums::new(&[0.0; ABREAST], m, count),
            phi: vec![Complexes::of(|_| Complex64::ONE); m],
            a: vec![Complexes::default(); size * size],
            v: vec![Complexes::default(); size],
        };
        wide(run.path, Prepare(&mut run, law));
        run
    }

    /// Sums of a pass, all zero.
    pub(super) fn no_sums(&self) -> Sums {
        Sums::new(&0.0, self.servos.len(), self.rows.len())
    }

    /// All waves once; `changed` says whether gains differ from those put into the transfers.
    pub(super) fn pass(&mut self, gains: &Gains, sums: &mut Sums, changed: bool) {
        let more = (self.forces && changed).then(|| More::new(self.sea, &self.rows, &gains.speeds));
        self.sums.fill(&[0.0; ABREAST]);
        let limited = self.limits && changed;
        let pass = Pass {
            run: self,
            gains,
            limited,
            more,
        };
        wide(pass.run.path, pass);
        for (to, from) in [
            (&mut sums.asked, &self.sums.asked),
            (&mut sums.rate_asked, &self.sums.rate_asked),
            (&mut sums.relative, &self.sums.relative),
        ] {
            for (to, from) in to.iter_mut().zip(from) {
                *to = from.iter().sum();
            }
        }
    }

    /// Velocities in every wave.
    pub(super) fn velocities(&self) -> impl Iterator<Item = [Complex64; 6]> {
        let waves = 0..self.sea.transfers.len();
        waves.map(|i| self.nu[i / ABREAST].map(|v| v.lane(i % ABREAST)))
    }

    /// Commands in every wave, channel by channel.
    pub(super) fn commands(&self) -> Vec<Complex64> {
        let m = self.servos.len();
        let of = |i: usize| {
            let block = &self.commands[i / ABREAST * m..][..m];
            block.iter().map(move |v| v.lane(i % ABREAST))
        };
        (0..self.sea.transfers.len()).flat_map(of).collect()
    }
}

fn servos(sea: &AtSea) -> Vec<ServoLimits> {
    let craft = &sea.speed.craft;
    let servo = |c: &usize| {
        let a = &craft.plant.actuators[*c];
        let trim = craft.trim.surface_rad[*c];
        let (lo, hi) = a.angle_range_rad(craft.speed_m_s);
        ServoLimits {
            natural: a.natural_frequency_rad_s,
            twice_damping: 2.0 * a.damping_ratio,
            rate: a.max_rate_rad_s,
            lo: lo - trim,
            hi: hi - trim,
            dead: 0.5 * a.dead_band_rad * a.natural_frequency_rad_s / (2.0 * a.damping_ratio),
            half_gap: 0.5 * a.backlash_rad,
            supply: a.supply,
        }
    };
    sea.speed.channels.iter().map(servo).collect()
}

/// Forms C y_w and C G.
struct Prepare<'r, 'a>(&'r mut Run<'a>, &'r LawInLoop);

impl Work for Prepare<'_, '_> {
    type Out = ();

    #[inline(always)]
    fn run(self) {
        let Prepare(run, law) = self;
        let (m, p) = (run.servos.len(), run.sea.speed.signals.len());
        let (size, inputs) = (run.v.len(), m + FORCES);
        let mut c = vec![Complexes::default(); m * p];
        let mut out = run.law.chunks_exact_mut(1 + size);
        for block in &run.sea.blocks {
            law.fast.response_abreast(&block.omega, &mut c);
            for i in 0..m {
                let Some(row) = out.next() else { return };
                for k in 0..p {
                    let f = &c[i * p + k];
                    row[0] = row[0].plus_product(f, &block.y_w[k]);
                    let g = &block.signals[k * inputs..][..size];
                    for (to, g) in row[1..].iter_mut().zip(g) {
                        one_by_one();
                        *to = to.plus_product(f, g);
                    }
                }
            }
        }
    }
}

/// Drag beyond that in the transfers.
struct More {
    drag: [[f64; FORCES]; FORCES],
    /// What the water's velocity at each element pulls.
    pull: Vec<[f64; FORCES]>,
}

impl More {
    fn new(sea: &AtSea, rows: &[[f64; FORCES]], speeds: &[f64]) -> Self {
        let more: Matrix6<f64> = sea.drag_of(speeds) - sea.drag;
        let added = speeds.iter().zip(&sea.equivalent_m_s);
        let added = added.zip(&sea.elements.drag);
        let force = added.map(|((now, before), drag)| drag * (now - before));
        More {
            drag: std::array::from_fn(|i| std::array::from_fn(|k| more[(i + 1, k + 1)])),
            pull: rows
                .iter()
                .zip(force)
                .map(|(row, f)| row.map(|j| j * f))
                .collect(),
        }
    }
}

/// All waves once.
struct Pass<'r, 'a> {
    run: &'r mut Run<'a>,
    gains: &'r Gains,
    limited: bool,
    more: Option<More>,
}

impl Work for Pass<'_, '_> {
    type Out = ();

    #[inline(always)]
    fn run(mut self) {
        let sea = self.run.sea;
        let m = self.run.servos.len();
        let size = if self.more.is_some() { m + FORCES } else { m };
        for (b, block) in sea.blocks.iter().enumerate() {
            if self.limited {
                self.gains_at(block);
            }
            self.fill_commands(b, size);
            if let Some(more) = &self.more {
                let (a, v) = (&mut self.run.a[m * size..], &mut self.run.v[m..]);
                fill_forces(block, more, m, a, v);
            }
            let v = &mut self.run.v[..size];
            solve(&mut self.run.a[..size * size], v);
            let mut nu = block.nu_w;
            for (nu, row) in nu.iter_mut().zip(block.velocities.chunks_exact(m + FORCES)) {
                for (g, v) in row.iter().zip(v.iter()) {
                    one_by_one();
                    *nu = nu.plus_product(g, v);
                }
            }
            self.run.nu[b] = nu;
            self.run.commands[b * m..][..m].copy_from_slice(&v[..m]);
            if self.run.forces {
                self.add_relative(block, &nu);
            }
            self.add_commands(b, block);
        }
    }
}

impl Pass<'_, '_> {
    /// phi of every channel.
    #[inline(always)]
    fn gains_at(&mut self, block: &Block) {
        let run = &mut *self.run;
        for (j, (phi, servo)) in run.phi.iter_mut().zip(&run.servos).enumerate() {
            one_by_one();
            let [with, behind] = self.gains.play[j];
            let clip = self.gains.clip[j];
            let held = Complexes {
                re: [clip * with; ABREAST],
                im: block.omega.map(|w| -clip * behind * w.signum()),
            };
            *phi = servo.ratio(&block.omega, self.gains.rate[j]).times(&held);
        }
    }

    /// Rows of the commands: 1 - phi C G and phi C y_w.
    #[inline(always)]
    fn fill_commands(&mut self, b: usize, size: usize) {
        let run = &mut *self.run;
        let m = run.servos.len();
        let width = 1 + run.v.len();
        for i in 0..m {
            let (phi, law) = (&run.phi[i], &run.law[(b * m + i) * width..][..width]);
            run.v[i] = phi.times(&law[0]);
            let row = &mut run.a[i * size..][..size];
            for (a, g) in row.iter_mut().zip(&law[1..]) {
                one_by_one();
                *a = Complexes::default().less_product(phi, g);
            }
            row[i].add_one();
        }
    }

    #[inline(always)]
    fn add_relative(&mut self, block: &Block, nu: &[Complexes; 6]) {
        let run = &mut *self.run;
        let elements = run.rows.iter().zip(&block.orbital);
        for (sum, (row, orbital)) in run.sums.relative.iter_mut().zip(elements) {
            one_by_one();
            let mut s = Complexes::default().plus(-1.0, orbital);
            for k in 0..FORCES {
                s = s.plus(row[k], &nu[k + 1]);
            }
            let square = s.norm_sqr();
            for l in 0..ABREAST {
                sum[l] += block.weight[l] * square[l];
            }
        }
    }

    #[inline(always)]
    fn add_commands(&mut self, b: usize, block: &Block) {
        let run = &mut *self.run;
        let m = run.servos.len();
        let commands = run.commands[b * m..].iter().zip(&run.phi);
        for (j, ((command, phi), s)) in commands.zip(&run.servos).enumerate() {
            one_by_one();
            let (u, part) = (command.norm_sqr(), phi.norm_sqr());
            let square: Reals = std::array::from_fn(|l| u[l] / part[l] * block.weight[l]);
            let lag = s.lag(&block.omega, self.gains.rate[j]);
            let scale = (s.natural / s.twice_damping * self.gains.clip[j]).powi(2);
            for l in 0..ABREAST {
                run.sums.asked[j][l] += square[l];
                let power = lag[l] * (1.0 - block.steps[l]) + block.steps[l];
                run.sums.rate_asked[j][l] += square[l] * power * scale;
            }
        }
    }
}

/// Rows of the further drag: f' = pull' - dD nu.
#[inline(always)]
fn fill_forces(block: &Block, more: &More, m: usize, a: &mut [Complexes], v: &mut [Complexes]) {
    let size = m + FORCES;
    let mut pull = [Complexes::default(); FORCES];
    for (by, orbital) in more.pull.iter().zip(&block.orbital) {
        one_by_one();
        for k in 0..FORCES {
            pull[k] = pull[k].plus(by[k], orbital);
        }
    }
    for (i, drag) in more.drag.iter().enumerate() {
        let row = &mut a[i * size..][..size];
        row.fill(Complexes::default());
        let mut right = pull[i];
        for (k, d) in drag.iter().enumerate() {
            right = right.plus(-d, &block.nu_w[k + 1]);
            let velocities = &block.velocities[(k + 1) * size..][..size];
            for (a, g) in row.iter_mut().zip(velocities) {
                one_by_one();
                *a = a.plus(*d, g);
            }
        }
        row[m + i].add_one();
        v[i] = right;
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::{DMatrix, DVector};

    use super::*;
    use crate::closed_loop::at_sea::DragModel;
    use crate::closed_loop::encounter::WeightedWave;
    use crate::closed_loop::tests::spectral::{at_speed, damper};
    use crate::spec::scenario::CourseSpec;

    /// Eleven waves, some of them overtaken: a block and a part of one.
    fn sea() -> AtSea {
        let speed = at_speed(&CourseSpec::default());
        let wave = |i: u32| {
            let (omega, mu) = (0.4 + 0.1 * f64::from(i), 0.3 * f64::from(i));
            let u = speed.craft.speed_m_s;
            WeightedWave {
                omega_rad_s: omega,
                mu_rad: mu,
                omega_e_rad_s: crate::frames::encounter_rad_s(omega, u, mu, 9.80665),
                weight_m2: 0.1,
            }
        };
        let waves = (0..11).map(wave).collect();
        AtSea::new(speed, waves, DragModel::Gaussian).unwrap()
    }

    /// phi of a channel, in so many words.
    fn phi(s: &ServoLimits, gains: &Gains, j: usize, omega: f64) -> Complex64 {
        let f = |kappa: f64| {
            let (w2, at) = (s.natural * s.natural, Complex64::new(0.0, omega));
            kappa * w2 / (at * at + s.twice_damping * s.natural * at + kappa * w2)
        };
        let [with, behind] = gains.play[j];
        let play = Complex64::new(with, -behind * omega.signum());
        gains.clip[j] * play * f(gains.rate[j]) / f(1.0)
    }

    /// Commands and velocities in wave `i` by a plain solution with all six forces.
    fn plainly(run: &Run, law: &LawInLoop, gains: &Gains, i: usize) -> Vec<Complex64> {
        let (sea, t) = (run.sea, &run.sea.transfers[i]);
        let (m, p) = (sea.speed.channels.len(), sea.speed.signals.len());
        let q = m + 6;
        let mut c = vec![Complex64::ZERO; m * p];
        law.fast.response(t.omega, &mut c);
        let law = DMatrix::from_fn(m, p, |j, k| {
            phi(&run.servos[j], gains, j, t.omega) * c[j * p + k]
        });
        let drag = (sea.drag_of(&gains.speeds) - sea.drag).map(Complex64::from);
        let speeds: Vec<f64> = std::iter::zip(&gains.speeds, &sea.equivalent_m_s)
            .map(|(a, b)| a - b)
            .collect();
        let pull = DVector::from_row_slice(&sea.elements.pull(&speeds, &t.orbital));
        let signals = DMatrix::from_row_slice(p, q, &t.signals);
        let velocities = DMatrix::from_row_slice(6, q, &t.velocities);
        let (y_w, nu_w) = (
            DVector::from_row_slice(&t.y_w),
            DVector::from_row_slice(&t.nu_w),
        );
        let mut a = DMatrix::identity(q, q);
        let mut b = DVector::zeros(q);
        let drag = DMatrix::from_fn(6, 6, |r, c| drag[(r, c)]);
        let mut top = a.rows_mut(0, m);
        top -= &law * &signals;
        let mut low = a.rows_mut(m, 6);
        low += &drag * &velocities;
        b.rows_mut(0, m).copy_from(&(&law * &y_w));
        b.rows_mut(m, 6).copy_from(&(pull - &drag * &nu_w));
        let v = a.lu().solve(&b).unwrap();
        let nu = nu_w + velocities * &v;
        v.iter().take(m).chain(&nu).copied().collect()
    }

    #[test]
    fn a_pass_solves_the_loop() {
        let sea = sea();
        let law = damper(sea.speed.craft.setup.sample_period_s, 0.6);
        let law = sea.speed.law(&law).unwrap();
        let gains = Gains {
            clip: vec![0.9, 0.8, 0.7, 0.95],
            rate: vec![0.6, 0.9, 0.8, 0.7],
            play: vec![[0.9, 0.1], [0.8, 0.2], [0.95, 0.05], [1.0, 0.0]],
            speeds: sea.equivalent_m_s.iter().map(|s| 1.3 * s).collect(),
        };
        let mut run = Run::new(&sea, &law, true, true);
        let mut sums = run.no_sums();
        run.pass(&gains, &mut sums, true);
        let (commands, mut relative, mut asked) = (run.commands(), vec![0.0; run.rows.len()], 0.0);
        for (i, nu) in run.velocities().enumerate() {
            let want = plainly(&run, &law, &gains, i);
            let t = &sea.transfers[i];
            for (got, want) in commands[4 * i..][..4].iter().chain(&nu).zip(&want) {
                // two eliminations of ten unknowns
                assert!((got - want).norm() < 1e-9 * (want.norm() + 1e-3), "{i}");
            }
            let nu: [Complex64; 6] = std::array::from_fn(|k| want[4 + k]);
            sea.elements
                .add_square(&nu, &t.orbital, t.weight, &mut relative);
            let before = want[0] / phi(&run.servos[0], &gains, 0, t.omega);
            asked += before.norm_sqr() * t.weight;
        }
        assert!((sums.asked[0] / asked - 1.0).abs() < 1e-9);
        for (got, want) in sums.relative.iter().zip(&relative) {
            assert!((got / want - 1.0).abs() < 1e-9, "{got} {want}");
        }
    }
}
