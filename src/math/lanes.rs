//! Wide-vector kernels of wave sums and linear maps: the one module where `unsafe` is allowed.
//!
//! # Equation
//! ```text
//! advance:  q_i <- q_i r_i e^(i d_i),   d_i = -(kx_i dx + ky_i dy)
//! sums:     s_j = sum_i  Re q_i A_ij - Im q_i B_ij
//! ```
//! Channels are the lanes: each lane adds the components one after the other, in [`COMPONENTS`] sums in turn, exactly as the
//! plain loop does, and a product is never fused with the sum that follows. So the plain and the wide paths give the same bits, and a
//! machine without wide vectors gives the same run, only later.
//!
//! [`sums_exact`] adds in double precision and at two instants in one pass over A, B (and one component after the other in one sum),
//! [`sums`] in single precision (a part in 10^7 of the amplitudes).
//!
//! # Valid when
//! `|d_i| <= `[`ROTATION_MAX_RAD`]: the series of the small rotation then errs by less than 2e-15.
//!
//! # Checked by
//! `all_paths_give_the_same_bits`, and the tests of [`crate::sim::waves`].

// Why exempt: vector instructions that not every processor has may only be entered through
// `unsafe` after asking the processor, and their loads take raw pointers. Every function here
// checks the lengths first.
#![allow(unsafe_code)]
#![allow(clippy::needless_range_loop)] // one index runs over several arrays

mod aligned;
mod exact;
mod linear;
mod wide;

pub use aligned::Aligned;
pub use exact::sums_exact;
pub use linear::{DRAG_ROWS, combine, drag};
pub use wide::{ABREAST, Complexes, Reals, Work, one_by_one, solve, wide};

/// Channels of one block of the amplitude table.
pub const BLOCK: usize = 16;

/// Sums over components that [`sums`] keeps apart: their number comes in whole groups of so many.
pub const COMPONENTS: usize = 4;

/// Largest angle (rad) of the small rotation.
pub const ROTATION_MAX_RAD: f64 = 0.15;

/// Which instructions run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Path {
    /// Any processor.
    Plain,
    /// Four lanes.
    Avx2,
    /// Eight lanes.
    Avx512,
}

impl Path {
    /// The widest this processor has.
    pub fn best() -> Path {
        Path::available().pop().unwrap_or(Path::Plain)
    }

    /// All that this processor has, narrowest first.
    pub fn available() -> Vec<Path> {
        let mut all = vec![Path::Plain];
        #[cfg(target_arch = "x86_64")]
        {
            if is_x86_feature_detected!("avx2") {
                all.push(Path::Avx2);
                if is_x86_feature_detected!("avx512f") {
                    all.push(Path::Avx512);
                }
            }
        }
        all
    }

    fn is_available(self) -> bool {
        #[cfg(target_arch = "x86_64")]
        match self {
            Path::Plain => true,
            Path::Avx2 => is_x86_feature_detected!("avx2"),
            Path::Avx512 => is_x86_feature_detected!("avx512f") && is_x86_feature_detected!("avx2"),
        }
        #[cfg(not(target_arch = "x86_64"))]
        {
            self == Path::Plain
        }
    }
}

/// Phasors of all components at one instant, parts apart.
#[derive(Clone, Debug, Default)]
pub struct Phasors {
    /// Real parts.
    pub re: Vec<f64>,
    /// Imaginary parts.
    pub im: Vec<f64>,
}

/// What turns the phasors from one instant to the next.
#[derive(Clone, Copy, Debug)]
pub struct Turn<'a> {
    /// Rotation over the interval at the nominal track.
    pub rotation: &'a Phasors,
    /// Wave number along the course and across it, rad/m.
    pub kx: &'a [f64],
    /// See `kx`.
    pub ky: &'a [f64],
    /// Change of the deviation from the nominal track along and across, m.
    pub shift_m: [f64; 2],
}

/// Writes to `to` the phasors `from` turned by `by`.
pub fn advance(path: Path, by: &Turn, from: &Phasors, to: &mut Phasors) {
    #[cfg(target_arch = "x86_64")]
    match path {
        // SAFETY: the processor was asked; the bodies are safe code.
        Path::Avx512 if path.is_available() => return unsafe { advance_avx512(by, from, to) },
        // SAFETY: as above.
        Path::Avx2 if path.is_available() => return unsafe { advance_avx2(by, from, to) },
        _ => {}
    }
    let _ = path;
    advance_body(by, from, to);
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx512f,avx2")]
fn advance_avx512(by: &Turn, from: &Phasors, to: &mut Phasors) {
    advance_body(by, from, to);
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn advance_avx2(by: &Turn, from: &Phasors, to: &mut Phasors) {
    advance_body(by, from, to);
}

#[allow(clippy::inline_always)] // it must be compiled anew with each caller's instructions
#[inline(always)]
fn advance_body(by: &Turn, from: &Phasors, to: &mut Phasors) {
    let n = from.re.len();
    let (kx, ky) = (&by.kx[..n], &by.ky[..n]);
    let (rr, ri) = (&by.rotation.re[..n], &by.rotation.im[..n]);
    let (fr, fi) = (&from.re[..n], &from.im[..n]);
    let (tr, ti) = (&mut to.re[..n], &mut to.im[..n]);
    let [dx, dy] = by.shift_m;
    for i in 0..n {
        let d = -(kx[i] * dx + ky[i] * dy);
        let s = d * d;
        let cos =
            1.0 - s * (1.0 / 2.0 - s * (1.0 / 24.0 - s * (1.0 / 720.0 - s * (1.0 / 40320.0))));
        let sin = d
            * (1.0
                - s * (1.0 / 6.0 - s * (1.0 / 120.0 - s * (1.0 / 5040.0 - s * (1.0 / 362_880.0)))));
        let re = fr[i] * rr[i] - fi[i] * ri[i];
        let im = fr[i] * ri[i] + fi[i] * rr[i];
        tr[i] = re * cos - im * sin;
        ti[i] = re * sin + im * cos;
    }
}

/// Phasors rounded to single precision.
#[derive(Clone, Debug, Default)]
pub struct ShortPhasors {
    /// Real parts.
    pub re: Vec<f32>,
    /// Imaginary parts.
    pub im: Vec<f32>,
}

impl ShortPhasors {
    /// Takes over `q`, rounded.
    pub fn round(&mut self, path: Path, q: &Phasors) {
        wide(path, Round(self, &q.re, &q.im));
    }

    /// Takes over plain numbers, the first half of them as real parts.
    pub fn round_halves(&mut self, path: Path, x: &[f64]) {
        let (re, im) = x.split_at(x.len() / 2);
        wide(path, Round(self, re, im));
    }

    #[allow(clippy::inline_always)] // it must be compiled anew with each caller's instructions
    #[inline(always)]
    fn take(&mut self, re: &[f64], im: &[f64]) {
        let whole = re.len().next_multiple_of(COMPONENTS);
        for (to, from) in [(&mut self.re, re), (&mut self.im, im)] {
            to.resize(whole, 0.0);
            for (to, from) in to.iter_mut().zip(from) {
                *to = *from as f32;
            }
        }
    }
}

/// Rounding as work for wide vectors.
struct Round<'a>(&'a mut ShortPhasors, &'a [f64], &'a [f64]);

impl Work for Round<'_> {
    type Out = ();

    #[allow(clippy::inline_always)]
    #[inline(always)]
    fn run(self) {
        self.0.take(self.1, self.2);
    }
}

/// Sums of all channels. `table` holds blocks of [`BLOCK`] channels; within a block, per component (whole groups of
/// [`COMPONENTS`]), the real parts of the block's channels and then the imaginary ones. `out` is whole blocks.
///
/// # Panics
/// When the lengths do not belong together.
pub fn sums(path: Path, table: &[f32], q: &ShortPhasors, out: &mut [f64]) {
    let n = q.re.len();
    let blocks = out.len() / BLOCK;
    assert!(n.is_multiple_of(COMPONENTS) && q.im.len() == n && out.len() == blocks * BLOCK);
    assert_eq!(table.len(), blocks * n * 2 * BLOCK);
    #[cfg(target_arch = "x86_64")]
    match path {
        // SAFETY: the processor was asked and the lengths were checked above.
        Path::Avx512 if path.is_available() => return unsafe { sums_avx512(table, q, out) },
        // SAFETY: as above.
        Path::Avx2 if path.is_available() => return unsafe { sums_avx2(table, q, out) },
        _ => {}
    }
    let _ = path;
    sums_plain(table, q, out);
}

fn sums_plain(table: &[f32], q: &ShortPhasors, out: &mut [f64]) {
    let n = q.re.len();
    for (block, out) in out.chunks_exact_mut(BLOCK).enumerate() {
        let rows = &table[block * n * 2 * BLOCK..(block + 1) * n * 2 * BLOCK];
        let mut acc = [[0.0_f32; BLOCK]; COMPONENTS];
        let phasors = q.re.iter().zip(&q.im);
        for (i, (row, (re, im))) in rows.chunks_exact(2 * BLOCK).zip(phasors).enumerate() {
            let (a, b) = row.split_at(BLOCK);
            for ((sum, a), b) in acc[i % COMPONENTS].iter_mut().zip(a).zip(b) {
                *sum += re * a - im * b;
            }
        }
        let [s0, s1, s2, s3] = acc;
        for (l, out) in out.iter_mut().enumerate() {
            *out = f64::from((s0[l] + s1[l]) + (s2[l] + s3[l]));
        }
    }
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
unsafe fn sums_avx2(table: &[f32], q: &ShortPhasors, out: &mut [f64]) {
    use std::arch::x86_64::{
        __m256, _mm256_add_ps, _mm256_castps256_ps128, _mm256_cvtps_pd, _mm256_extractf128_ps,
        _mm256_loadu_ps, _mm256_mul_ps, _mm256_set1_ps, _mm256_setzero_ps, _mm256_storeu_pd,
        _mm256_sub_ps,
    };
    const LANES: usize = 8;
    const VECTORS: usize = BLOCK / LANES;
    let n = q.re.len();
    for block in 0..out.len() / BLOCK {
        let mut acc: [[__m256; VECTORS]; COMPONENTS] = [[_mm256_setzero_ps(); VECTORS]; COMPONENTS];
        for group in 0..n / COMPONENTS {
            for c in 0..COMPONENTS {
                let i = COMPONENTS * group + c;
                let row = (block * n + i) * 2 * BLOCK;
                // SAFETY: i < n, the number of phasors; row + 2 BLOCK <= table length.
                unsafe {
                    let (re, im) = (q.re.get_unchecked(i), q.im.get_unchecked(i));
                    let (re, im) = (_mm256_set1_ps(*re), _mm256_set1_ps(*im));
                    let from = table.as_ptr().add(row);
                    for v in 0..VECTORS {
                        let a = _mm256_loadu_ps(from.add(v * LANES));
                        let b = _mm256_loadu_ps(from.add(BLOCK + v * LANES));
                        let term = _mm256_sub_ps(_mm256_mul_ps(re, a), _mm256_mul_ps(im, b));
                        acc[c][v] = _mm256_add_ps(acc[c][v], term);
                    }
                }
            }
        }
        for v in 0..VECTORS {
            let low = _mm256_add_ps(acc[0][v], acc[1][v]);
            let sum = _mm256_add_ps(low, _mm256_add_ps(acc[2][v], acc[3][v]));
            let at = block * BLOCK + v * LANES;
            // SAFETY: the output is whole blocks, so at + LANES is within it.
            unsafe {
                let to = out.as_mut_ptr().add(at);
                _mm256_storeu_pd(to, _mm256_cvtps_pd(_mm256_castps256_ps128(sum)));
                let high = _mm256_extractf128_ps::<1>(sum);
                _mm256_storeu_pd(to.add(4), _mm256_cvtps_pd(high));
            }
        }
    }
}

/// Blocks of [`sums_avx512`] taken together: each phasor is spread over a vector once for all of them.
#[cfg(target_arch = "x86_64")]
const TOGETHER: usize = 3;

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx512f,avx2")]
unsafe fn sums_avx512(table: &[f32], q: &ShortPhasors, out: &mut [f64]) {
    let width = q.re.len() * 2 * BLOCK;
    let blocks = out.len() / BLOCK;
    let whole = blocks - blocks % TOGETHER;
    let at = |block: usize| (&table[block * width..], block * BLOCK);
    // SAFETY: table and output hold the blocks named.
    unsafe {
        for block in (0..whole).step_by(TOGETHER) {
            let (table, to) = at(block);
            blocks_avx512::<TOGETHER>(table, q, &mut out[to..]);
        }
        let (table, to) = at(whole);
        match blocks - whole {
            1 => blocks_avx512::<1>(table, q, &mut out[to..]),
            2 => blocks_avx512::<2>(table, q, &mut out[to..]),
            _ => {}
        }
    }
}

/// The first `B` blocks of `table` into the first ones of `out`: there must be as many.
#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx512f,avx2")]
unsafe fn blocks_avx512<const B: usize>(table: &[f32], q: &ShortPhasors, out: &mut [f64]) {
    use std::arch::x86_64::{
        _mm256_loadu_ps, _mm512_add_ps, _mm512_cvtps_pd, _mm512_loadu_ps, _mm512_mul_ps,
        _mm512_set1_ps, _mm512_setzero_ps, _mm512_storeu_pd, _mm512_storeu_ps, _mm512_sub_ps,
    };
    let n = q.re.len();
    let mut acc = [[_mm512_setzero_ps(); B]; COMPONENTS];
    for group in 0..n / COMPONENTS {
        for c in 0..COMPONENTS {
            let i = COMPONENTS * group + c;
            // SAFETY: i < n, the number of phasors; the table holds B blocks of n rows.
            unsafe {
                let (re, im) = (q.re.get_unchecked(i), q.im.get_unchecked(i));
                let (re, im) = (_mm512_set1_ps(*re), _mm512_set1_ps(*im));
                for block in 0..B {
                    let from = table.as_ptr().add((block * n + i) * 2 * BLOCK);
                    let (a, b) = (_mm512_loadu_ps(from), _mm512_loadu_ps(from.add(BLOCK)));
                    let term = _mm512_sub_ps(_mm512_mul_ps(re, a), _mm512_mul_ps(im, b));
                    acc[c][block] = _mm512_add_ps(acc[c][block], term);
                }
            }
        }
    }
    for block in 0..B {
        let low = _mm512_add_ps(acc[0][block], acc[1][block]);
        let all = _mm512_add_ps(low, _mm512_add_ps(acc[2][block], acc[3][block]));
        let mut sum = [0.0_f32; BLOCK];
        // SAFETY: the array holds the sixteen lanes of a block, the output B blocks.
        unsafe {
            _mm512_storeu_ps(sum.as_mut_ptr(), all);
            let to = out.as_mut_ptr().add(block * BLOCK);
            for half in [0, 8] {
                let part = _mm256_loadu_ps(sum.as_ptr().add(half));
                _mm512_storeu_pd(to.add(half), _mm512_cvtps_pd(part));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, Stream};

    fn draw(s: &mut Stream, n: usize) -> Vec<f64> {
        (0..n).map(|_| s.uniform_in(-1.0, 1.0)).collect()
    }

    #[test]
    fn all_paths_give_the_same_bits() {
        let mut s = Stream::new(1, 1, Purpose::Other);
        for (n, blocks) in [(0, 1), (1, 1), (7, 2), (200, 4), (33, 3)] {
            let phasors = |s: &mut Stream| Phasors {
                re: draw(s, n),
                im: draw(s, n),
            };
            let (from, rotation) = (phasors(&mut s), phasors(&mut s));
            let (kx, ky) = (draw(&mut s, n), draw(&mut s, n));
            let whole = usize::next_multiple_of(n, COMPONENTS);
            let table = draw(&mut s, blocks * whole * 2 * BLOCK);
            let table: Vec<f32> = table.iter().map(|v| *v as f32).collect();
            let by = Turn {
                rotation: &rotation,
                kx: &kx,
                ky: &ky,
                shift_m: [0.07, -0.03],
            };
            let run = |path| {
                let mut to = from.clone();
                advance(path, &by, &from, &mut to);
                let mut out = vec![1.0; blocks * BLOCK];
                let mut short = ShortPhasors::default();
                short.round(path, &to);
                sums(path, &table, &short, &mut out);
                [to.re, to.im, out]
                    .concat()
                    .iter()
                    .map(|v| v.to_bits())
                    .collect::<Vec<_>>()
            };
            let plain = run(Path::Plain);
            for path in Path::available() {
                assert_eq!(plain, run(path), "{path:?} {n}");
            }
        }
    }
}
