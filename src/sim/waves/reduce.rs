//! Fewer sums for channels that tell the same story.
//!
//! # Equation
//! ```text
//! T = C Q,   rows of T the channels' amplitudes over all components, rows of Q orthonormal,
//! |T_j - (C Q)_j| <= 5e-4 |T_j| for every channel j;   s = C (Q q)
//! ```
//! In a long-crested sea neighbouring places of a craft meet nearly the same wave, and 74 channels of 200 components
//! are combinations of some 48 sums. Where the sea is short-crested the rows are independent and nothing is reduced.
//!
//! # Symbols
//! q phasors of the components. |T_j| is the channel's RMS times sqrt 2, so that the bound is one of the RMS.
//!
//! # Source
//! G. H. Golub, C. F. Van Loan (1996), Matrix Computations, 3rd ed., sections 5.2.8 and 5.4.1 (modified Gram-Schmidt with
//! pivoting).
//!
//! # Checked by
//! `a_long_crested_sea_needs_fewer_sums`, and against the reference, which sums every channel.

#![allow(clippy::needless_range_loop)] // one index runs over several arrays

use crate::math::lanes::BLOCK;

/// Largest residual of a channel over its size. It has nothing in common with what is kept (rows are orthogonal), so that a channel's RMS
/// lacks half the square of it.
const RESIDUAL: f64 = 5e-4;
/// The reduced way must save this share of the work.
const WORTH_FRAC: f64 = 0.8;

/// C and Q.
pub(super) struct Reduced {
    /// Rows of Q, one after the other: real parts of all components, then imaginary ones.
    pub(super) basis: Vec<f64>,
    /// Number of rows of Q.
    pub(super) rank: usize,
    /// Per channel its row of C, `rank` long.
    pub(super) mix: Vec<Vec<f64>>,
}

/// Reduces `rows` (one per channel, of length `width`); none where it does not pay.
pub(super) fn reduce(rows: &[f64], width: usize) -> Option<Reduced> {
    if width == 0 {
        return None;
    }
    let mut rest = rows.to_vec();
    let sizes: Vec<f64> = rows.chunks_exact(width).map(|r| dot(r, r).sqrt()).collect();
    for (row, size) in rest.chunks_exact_mut(width).zip(&sizes) {
        let by = if *size > 0.0 { 1.0 / size } else { 0.0 };
        for v in row.iter_mut() {
            *v *= by;
        }
    }
    let mut left: Vec<f64> = sizes
        .iter()
        .map(|s| f64::from(u8::from(*s > 0.0)))
        .collect();
    let mut out = Reduced {
        basis: Vec::new(),
        rank: 0,
        mix: vec![Vec::new(); sizes.len()],
    };
    loop {
        let (pivot, most) = left
            .iter()
            .enumerate()
            .fold((0, 0.0), |m, (i, v)| if *v > m.1 { (i, *v) } else { m });
        if most <= RESIDUAL * RESIDUAL {
            return (out.rank > 0).then_some(out);
        }
        if !pays(out.rank + 1, sizes.len(), width / 2) {
            return None;
        }
        let from = rest[pivot * width..][..width].to_vec();
        let by = 1.0 / dot(&from, &from).sqrt();
        let q: Vec<f64> = from.iter().map(|v| v * by).collect();
        for (i, row) in rest.chunks_exact_mut(width).enumerate() {
            let d = dot(row, &q);
            row.iter_mut().zip(&q).for_each(|(r, q)| *r -= d * q);
            left[i] -= d * d;
            out.mix[i].push(d * sizes[i]);
        }
        left[pivot] = 0.0;
        out.basis.extend(q);
        out.rank += 1;
    }
}

/// True when sums of `rank` rows and their mixing cost clearly less than those of all channels.
fn pays(rank: usize, channels: usize, components: usize) -> bool {
    let blocks = |n: usize| n.div_ceil(BLOCK) as f64;
    let (n, half) = (components as f64, 0.5 * blocks(rank) * BLOCK as f64);
    blocks(rank) * n + blocks(channels) * half < WORTH_FRAC * blocks(channels) * n
}

/// Scalar product, eight sums apart.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 8];
    let (mut xs, mut ys) = (a.chunks_exact(8), b.chunks_exact(8));
    for (x, y) in xs.by_ref().zip(ys.by_ref()) {
        for l in 0..8 {
            sums[l] += x[l] * y[l];
        }
    }
    let rest = xs.remainder().iter().zip(ys.remainder());
    sums.iter().sum::<f64>() + rest.map(|(x, y)| x * y).sum::<f64>()
}
