//! Sums of all channels at two instants in double precision.
//!
//! # Checked by
//! `all_paths_give_the_same_bits`, and the tests of [`crate::sim::waves`].

use super::{BLOCK, Path, Phasors};

/// Sums of all channels at two instants. `table` holds blocks of [`BLOCK`] channels; within a
/// block, per component, the real parts of the block's channels and then the imaginary ones.
/// `out` are whole blocks.
///
/// # Panics
/// When the lengths do not belong together.
pub fn sums_exact(path: Path, table: &[f64], q: [&Phasors; 2], out: [&mut [f64]; 2]) {
    let n = q[0].re.len();
    let blocks = out[0].len() / BLOCK;
    assert!(q.iter().all(|p| p.re.len() == n && p.im.len() == n));
    assert!(out.iter().all(|o| o.len() == blocks * BLOCK));
    assert_eq!(table.len(), blocks * n * 2 * BLOCK);
    #[cfg(target_arch = "x86_64")]
    match path {
        // SAFETY: the processor was asked and the lengths were checked above.
        Path::Avx512 if path.is_available() => return unsafe { avx512(table, q, out) },
        // SAFETY: as above.
        Path::Avx2 if path.is_available() => return unsafe { avx2(table, q, out) },
        _ => {}
    }
    let _ = path;
    plain(table, q, out);
}

fn plain(table: &[f64], q: [&Phasors; 2], out: [&mut [f64]; 2]) {
    let n = q[0].re.len();
    if n == 0 {
        for o in out {
            o.fill(0.0);
        }
        return;
    }
    let [out0, out1] = out;
    for ((block, o0), o1) in table
        .chunks_exact(n * 2 * BLOCK)
        .zip(out0.chunks_exact_mut(BLOCK))
        .zip(out1.chunks_exact_mut(BLOCK))
    {
        let mut acc = [[0.0_f64; BLOCK]; 2];
        for (i, row) in block.chunks_exact(2 * BLOCK).enumerate() {
            let (a, b) = row.split_at(BLOCK);
            for (sum, p) in acc.iter_mut().zip(q) {
                let (re, im) = (p.re[i], p.im[i]);
                for ((sum, a), b) in sum.iter_mut().zip(a).zip(b) {
                    *sum += re * a - im * b;
                }
            }
        }
        o0.copy_from_slice(&acc[0]);
        o1.copy_from_slice(&acc[1]);
    }
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
unsafe fn avx2(table: &[f64], q: [&Phasors; 2], out: [&mut [f64]; 2]) {
    use std::arch::x86_64::{
        _mm256_add_pd, _mm256_loadu_pd, _mm256_mul_pd, _mm256_set1_pd, _mm256_setzero_pd,
        _mm256_storeu_pd, _mm256_sub_pd,
    };
    const LANES: usize = 4;
    const VECTORS: usize = BLOCK / LANES;
    let n = q[0].re.len();
    let [out0, out1] = out;
    for block in 0..out0.len() / BLOCK {
        let mut acc0 = [_mm256_setzero_pd(); VECTORS];
        let mut acc1 = [_mm256_setzero_pd(); VECTORS];
        for i in 0..n {
            let row = (block * n + i) * 2 * BLOCK;
            // SAFETY: i < n, the common length of the phasors; row + 2 BLOCK <= table length.
            unsafe {
                let re0 = _mm256_set1_pd(*q[0].re.get_unchecked(i));
                let im0 = _mm256_set1_pd(*q[0].im.get_unchecked(i));
                let re1 = _mm256_set1_pd(*q[1].re.get_unchecked(i));
                let im1 = _mm256_set1_pd(*q[1].im.get_unchecked(i));
                let from = table.as_ptr().add(row);
                for v in 0..VECTORS {
                    let a = _mm256_loadu_pd(from.add(v * LANES));
                    let b = _mm256_loadu_pd(from.add(BLOCK + v * LANES));
                    let term0 = _mm256_sub_pd(_mm256_mul_pd(re0, a), _mm256_mul_pd(im0, b));
                    let term1 = _mm256_sub_pd(_mm256_mul_pd(re1, a), _mm256_mul_pd(im1, b));
                    acc0[v] = _mm256_add_pd(acc0[v], term0);
                    acc1[v] = _mm256_add_pd(acc1[v], term1);
                }
            }
        }
        for v in 0..VECTORS {
            let at = block * BLOCK + v * LANES;
            // SAFETY: the outputs are whole blocks, so at + LANES is within them.
            unsafe {
                _mm256_storeu_pd(out0.as_mut_ptr().add(at), acc0[v]);
                _mm256_storeu_pd(out1.as_mut_ptr().add(at), acc1[v]);
            }
        }
    }
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx512f")]
unsafe fn avx512(table: &[f64], q: [&Phasors; 2], out: [&mut [f64]; 2]) {
    use std::arch::x86_64::{
        _mm512_add_pd, _mm512_loadu_pd, _mm512_mul_pd, _mm512_set1_pd, _mm512_setzero_pd,
        _mm512_storeu_pd, _mm512_sub_pd,
    };
    const LANES: usize = 8;
    const VECTORS: usize = BLOCK / LANES;
    let n = q[0].re.len();
    let [out0, out1] = out;
    for block in 0..out0.len() / BLOCK {
        let mut acc0 = [_mm512_setzero_pd(); VECTORS];
        let mut acc1 = [_mm512_setzero_pd(); VECTORS];
        for i in 0..n {
            let row = (block * n + i) * 2 * BLOCK;
            // SAFETY: i < n, the common length of the phasors; row + 2 BLOCK <= table length.
            unsafe {
                let re0 = _mm512_set1_pd(*q[0].re.get_unchecked(i));
                let im0 = _mm512_set1_pd(*q[0].im.get_unchecked(i));
                let re1 = _mm512_set1_pd(*q[1].re.get_unchecked(i));
                let im1 = _mm512_set1_pd(*q[1].im.get_unchecked(i));
                let from = table.as_ptr().add(row);
                for v in 0..VECTORS {
                    let a = _mm512_loadu_pd(from.add(v * LANES));
                    let b = _mm512_loadu_pd(from.add(BLOCK + v * LANES));
                    let term0 = _mm512_sub_pd(_mm512_mul_pd(re0, a), _mm512_mul_pd(im0, b));
                    let term1 = _mm512_sub_pd(_mm512_mul_pd(re1, a), _mm512_mul_pd(im1, b));
                    acc0[v] = _mm512_add_pd(acc0[v], term0);
                    acc1[v] = _mm512_add_pd(acc1[v], term1);
                }
            }
        }
        for v in 0..VECTORS {
            let at = block * BLOCK + v * LANES;
            // SAFETY: the outputs are whole blocks, so at + LANES is within them.
            unsafe {
                _mm512_storeu_pd(out0.as_mut_ptr().add(at), acc0[v]);
                _mm512_storeu_pd(out1.as_mut_ptr().add(at), acc1[v]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, Stream};

    #[test]
    fn all_paths_give_the_same_bits() {
        let mut s = Stream::new(4, 1, Purpose::Other);
        let mut draw = |n: usize| -> Vec<f64> { (0..n).map(|_| s.uniform_in(-1.0, 1.0)).collect() };
        for (n, blocks) in [(0, 1), (1, 1), (7, 2), (200, 4), (33, 3)] {
            let q = [(); 2].map(|()| Phasors {
                re: draw(n),
                im: draw(n),
            });
            let table = draw(blocks * n * 2 * BLOCK);
            let run = |path| {
                let mut out = [vec![1.0; blocks * BLOCK], vec![2.0; blocks * BLOCK]];
                let [a, b] = &mut out;
                sums_exact(path, &table, [&q[0], &q[1]], [a, b]);
                out.concat().iter().map(|v| v.to_bits()).collect::<Vec<_>>()
            };
            let plain = run(Path::Plain);
            for path in Path::available() {
                assert_eq!(plain, run(path), "{path:?} {n}");
            }
        }
    }
}
