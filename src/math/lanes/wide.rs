//! Work compiled anew for the instructions at hand, and complex numbers eight abreast for it.
//!
//! # Equation
//! ```text
//! A x = b of eight systems at once, by elimination; each lane takes the pivot that is largest in it
//! ```
//! Lanes know nothing of each other, and a product is never fused with the sum that follows: every path gives the same bits.
//!
//! # Valid when
//! Systems are small: a few channels and forces.
//!
//! # Source
//! G. H. Golub, C. F. Van Loan (2013), Matrix Computations, 4th ed., section 3.4 (partial pivoting).
//!
//! # Checked by
//! `eight_systems_are_solved_on_every_path`.

#![allow(clippy::inline_always)] // all of it must be compiled anew with its caller's instructions

use num_complex::Complex64;

use super::Path;

/// Numbers abreast.
pub const ABREAST: usize = 8;

/// Real numbers abreast.
pub type Reals = [f64; ABREAST];

/// Something to do with wide vectors: plain code on arrays of [`ABREAST`] numbers, all of it inlined.
pub trait Work {
    /// What comes out.
    type Out;

    /// Does it. To be marked as always inlined.
    fn run(self) -> Self::Out;
}

/// Does `work` with the instructions of `path`.
pub fn wide<W: Work>(path: Path, work: W) -> W::Out {
    #[cfg(target_arch = "x86_64")]
    match path {
        // SAFETY: the processor was asked; the bodies are safe code.
        Path::Avx512 if path.is_available() => return unsafe { wide_avx512(work) },
        // SAFETY: as above.
        Path::Avx2 if path.is_available() => return unsafe { wide_avx2(work) },
        _ => {}
    }
    let _ = path;
    work.run()
}

/// To be called once a round in loops over numbers abreast: the compiler would otherwise take several rounds at once and gather
/// each lane from all of them, some ten times slower.
#[inline(always)]
pub fn one_by_one() {
    std::hint::black_box(());
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx512f,avx2")]
fn wide_avx512<W: Work>(work: W) -> W::Out {
    work.run()
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn wide_avx2<W: Work>(work: W) -> W::Out {
    work.run()
}

/// Complex numbers abreast.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[repr(align(64))]
pub struct Complexes {
    /// Real parts.
    pub re: Reals,
    /// Imaginary parts.
    pub im: Reals,
}

impl Complexes {
    /// Lane by lane.
    pub fn of(lane: impl Fn(usize) -> Complex64) -> Self {
        let mut out = Complexes::default();
        for l in 0..ABREAST {
            let v = lane(l);
            (out.re[l], out.im[l]) = (v.re, v.im);
        }
        out
    }

    /// The number in lane `l`.
    pub fn lane(&self, l: usize) -> Complex64 {
        Complex64::new(self.re[l], self.im[l])
    }

    /// Adds one to each.
    #[inline(always)]
    pub fn add_one(&mut self) {
        for v in &mut self.re {
            *v += 1.0;
        }
    }

    /// The sum with `f g`.
    #[inline(always)]
    #[must_use]
    pub fn plus_product(mut self, f: &Self, g: &Self) -> Self {
        for l in 0..ABREAST {
            self.re[l] += f.re[l] * g.re[l] - f.im[l] * g.im[l];
            self.im[l] += f.re[l] * g.im[l] + f.im[l] * g.re[l];
        }
        self
    }

    /// The difference to `f g`.
    #[inline(always)]
    #[must_use]
    pub fn less_product(mut self, f: &Self, g: &Self) -> Self {
        for l in 0..ABREAST {
            self.re[l] -= f.re[l] * g.re[l] - f.im[l] * g.im[l];
            self.im[l] -= f.re[l] * g.im[l] + f.im[l] * g.re[l];
        }
        self
    }

    /// The sum with `k g`.
    #[inline(always)]
    #[must_use]
    pub fn plus(mut self, k: f64, g: &Self) -> Self {
        for l in 0..ABREAST {
            self.re[l] += k * g.re[l];
            self.im[l] += k * g.im[l];
        }
        self
    }

    /// The product with `g`.
    #[inline(always)]
    #[must_use]
    pub fn times(&self, g: &Self) -> Self {
        Complexes::default().plus_product(self, g)
    }

    /// Squares of the absolute values.
    #[inline(always)]
    pub fn norm_sqr(&self) -> Reals {
        std::array::from_fn(|l| self.re[l] * self.re[l] + self.im[l] * self.im[l])
    }

    /// One over each.
    #[inline(always)]
    #[must_use]
    pub fn inverse(&self) -> Self {
        let size = self.norm_sqr();
        Complexes {
            re: std::array::from_fn(|l| self.re[l] / size[l]),
            im: std::array::from_fn(|l| -self.im[l] / size[l]),
        }
    }
}

/// Solves A x = b of every lane in place: `a` row by row becomes scrap, `b` becomes x; zero in lanes where A is singular.
///
/// # Panics
/// When `a` does not hold as many rows and columns as `b` has entries.
#[inline(always)]
pub fn solve(a: &mut [Complexes], b: &mut [Complexes]) {
    let n = b.len();
    assert_eq!(a.len(), n * n);
    let mut singular = [false; ABREAST];
    for k in 0..n {
        take_pivot(a, b, k);
        let scale = a[k * n + k].inverse();
        for (l, s) in singular.iter_mut().enumerate() {
            *s |= !(scale.re[l].is_finite() && scale.im[l].is_finite());
        }
        let (a_top, a_low) = a.split_at_mut((k + 1) * n);
        let (b_top, b_low) = b.split_at_mut(k + 1);
        let (a_k, b_k) = (&a_top[k * n + k + 1..], &b_top[k]);
        for (a_i, b_i) in a_low.chunks_exact_mut(n).zip(b_low) {
            let f = a_i[k].times(&scale);
            for (x, y) in a_i[k + 1..].iter_mut().zip(a_k) {
                one_by_one();
                *x = x.less_product(&f, y);
            }
            *b_i = b_i.less_product(&f, b_k);
        }
        a[k * n + k] = scale; // the inverse pivot for the way back
    }
    for k in (0..n).rev() {
        let mut x = b[k];
        for j in k + 1..n {
            one_by_one();
            x = x.less_product(&a[k * n + j], &b[j]);
        }
        b[k] = x.times(&a[k * n + k]);
    }
    for x in b.iter_mut() {
        one_by_one();
        for l in 0..ABREAST {
            if singular[l] {
                (x.re[l], x.im[l]) = (0.0, 0.0);
            }
        }
    }
}

/// Brings the largest entry of column `k` below row `k` up to it, in each lane its own.
#[inline(always)]
fn take_pivot(a: &mut [Complexes], b: &mut [Complexes], k: usize) {
    let n = b.len();
    let mut most = a[k * n + k].norm_sqr();
    for i in k + 1..n {
        one_by_one();
        let size = a[i * n + k].norm_sqr();
        let swap: [bool; ABREAST] = std::array::from_fn(|l| size[l] > most[l]);
        if !swap.contains(&true) {
            continue;
        }
        let (top, low) = a.split_at_mut(i * n);
        let rows = top[k * n + k..].iter_mut().zip(&mut low[k..n]);
        rows.for_each(|(x, y)| exchange(&swap, x, y));
        let (top, low) = b.split_at_mut(i);
        exchange(&swap, &mut top[k], &mut low[0]);
        for l in 0..ABREAST {
            most[l] = most[l].max(size[l]);
        }
    }
}

/// Exchanges x and y in the lanes told.
#[inline(always)]
fn exchange(swap: &[bool; ABREAST], x: &mut Complexes, y: &mut Complexes) {
    one_by_one();
    let (was, now) = (*x, *y);
    for l in 0..ABREAST {
        if swap[l] {
            (x.re[l], x.im[l]) = (now.re[l], now.im[l]);
            (y.re[l], y.im[l]) = (was.re[l], was.im[l]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, Stream};

    struct Solve<'a>(&'a mut [Complexes], &'a mut [Complexes]);

    impl Work for Solve<'_> {
        type Out = ();

        #[inline(always)]
        fn run(self) {
            solve(self.0, self.1);
        }
    }

    #[test]
    fn eight_systems_are_solved_on_every_path() {
        let mut s = Stream::new(8, 1, Purpose::Other);
        let mut draw = |count: usize| -> Vec<Complexes> {
            let mut reals = || [(); ABREAST].map(|()| s.uniform_in(-1.0, 1.0));
            let one = |_| Complexes {
                re: reals(),
                im: reals(),
            };
            (0..count).map(one).collect()
        };
        for n in [1, 2, 5, 9] {
            let (mut a, b) = (draw(n * n), draw(n));
            // lane 2 needs another pivot, lane 5 has none
            for j in 0..n {
                (a[j].re[5], a[j].im[5]) = (0.0, 0.0);
            }
            (a[0].re[2], a[0].im[2]) = (if n > 1 { 0.0 } else { 1.0 }, 0.0);
            let run = |path| {
                let (mut lu, mut x) = (a.clone(), b.clone());
                wide(path, Solve(&mut lu, &mut x));
                x
            };
            let x = run(Path::Plain);
            for l in (0..ABREAST).filter(|l| *l != 5) {
                for i in 0..n {
                    let sum: Complex64 = (0..n).map(|j| a[i * n + j].lane(l) * x[j].lane(l)).sum();
                    let off = (sum - b[i].lane(l)).norm();
                    assert!(off < 1e-12, "{n}, lane {l}: {off:e}"); // rounding of small systems
                }
            }
            assert!(x.iter().all(|v| v.lane(5) == Complex64::ZERO));
            for path in Path::available() {
                assert_eq!(x, run(path), "{path:?} {n}");
            }
        }
    }
}
