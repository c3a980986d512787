//! Dense real LU factors with partial pivoting, for matrices of some tens of rows.
//!
//! # Equation
//! P A = L U, row-major, right-looking; four pivots are applied per sweep so that the trailing
//! matrix is read and written once for four of them.
//!
//! # Symbols
//! A: n x n; rows contiguous.
//!
//! # Valid when
//! A is regular; `factor` says false when a pivot vanishes.
//!
//! # Source
//! Golub & Van Loan (2013), Matrix Computations, section 3.4.
//!
//! # Checked by
//! `solves_a_random_system`.

/// Rows eliminated together.
const BLOCK: usize = 4;

/// LU factors of a real matrix.
pub(crate) struct RealLu {
    n: usize,
    a: Vec<f64>,
    rows: Vec<usize>,
}

impl RealLu {
    /// Factors the row-major n x n matrix; `None` when it is singular or not finite.
    pub(crate) fn factor(n: usize, mut a: Vec<f64>) -> Option<Self> {
        let mut rows: Vec<usize> = (0..n).collect();
        let mut k = 0;
        while k < n {
            let m = BLOCK.min(n - k);
            panel(n, k, m, &mut a, &mut rows)?;
            update(n, k, m, &mut a);
            k += m;
        }
        Some(Self { n, a, rows })
    }

    /// Solves A x = b.
    pub(crate) fn solve(&self, b: &[f64]) -> Vec<f64> {
        let n = self.n;
        let mut x: Vec<f64> = self.rows.iter().map(|&r| b[r]).collect();
        for i in 1..n {
            let row = &self.a[i * n..i * n + i];
            x[i] -= dot(row, &x[..i]);
        }
        for i in (0..n).rev() {
            let row = &self.a[i * n + i + 1..(i + 1) * n];
            let s = dot(row, &x[i + 1..n]);
            x[i] = (x[i] - s) / self.a[i * n + i];
        }
        x
    }
}

/// Scalar product with four running sums.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut s = [0.0; 4];
    let (ca, cb) = (a.chunks_exact(4), b.chunks_exact(4));
    let tail: f64 = ca
        .remainder()
        .iter()
        .zip(cb.remainder())
        .map(|(x, y)| x * y)
        .sum();
    for (x, y) in ca.zip(cb) {
        for j in 0..4 {
            s[j] += x[j] * y[j];
        }
    }
    s.iter().sum::<f64>() + tail
}

/// Factors the columns k..k+m below row k, swapping whole rows.
fn panel(n: usize, k: usize, m: usize, a: &mut [f64], rows: &mut [usize]) -> Option<()> {
    for j in k..k + m {
        let (mut best, mut at) = (-1.0, j);
        for i in j..n {
            let v = a[i * n + j].abs();
            if v > best {
                (best, at) = (v, i);
            }
        }
        if !(best > 1e-300 && best.is_finite()) {
            return None;
        }
        if at != j {
            rows.swap(at, j);
            let (top, bottom) = a.split_at_mut(at * n);
            top[j * n..(j + 1) * n].swap_with_slice(&mut bottom[..n]);
        }
        let inv = 1.0 / a[j * n + j];
        for i in j + 1..n {
            let f = a[i * n + j] * inv;
            a[i * n + j] = f;
            for c in j + 1..k + m {
                a[i * n + c] -= f * a[j * n + c];
            }
        }
    }
    Some(())
}

/// Applies the m pivots to the block row and to the trailing matrix.
fn update(n: usize, k: usize, m: usize, a: &mut [f64]) {
    let e = k + m;
    if e >= n {
        return;
    }
    for j in k..e {
        for i in j + 1..e {
            let f = a[i * n + j];
            let (top, bottom) = a.split_at_mut(i * n);
            axpy(-f, &top[j * n + e..(j + 1) * n], &mut bottom[e..n]);
        }
    }
    let (top, bottom) = a.split_at_mut(e * n);
    if m == BLOCK {
        let u: [&[f64]; BLOCK] = std::array::from_fn(|j| &top[(k + j) * n + e..(k + j + 1) * n]);
        for row in bottom.chunks_exact_mut(n) {
            let f = [row[k], row[k + 1], row[k + 2], row[k + 3]];
            let x = &mut row[e..];
            let w = x.len();
            let (u0, u1, u2, u3) = (&u[0][..w], &u[1][..w], &u[2][..w], &u[3][..w]);
            for c in 0..w {
                x[c] -= f[0] * u0[c] + f[1] * u1[c] + (f[2] * u2[c] + f[3] * u3[c]);
            }
        }
    } else {
        for row in bottom.chunks_exact_mut(n) {
            for j in k..e {
                let f = row[j];
                axpy(-f, &top[j * n + e..(j + 1) * n], &mut row[e..]);
            }
        }
    }
}

fn axpy(f: f64, x: &[f64], y: &mut [f64]) {
    for (y, x) in y.iter_mut().zip(x) {
        *y += f * x;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solves_a_random_system() {
        for n in [1, 3, 4, 7, 30, 71] {
            let f = |i: usize, j: usize| ((i * 37 + j * 91 + i * j * 13 + 1) as f64 * 0.618).sin();
            let a: Vec<f64> = (0..n * n).map(|k| f(k / n, k % n)).collect();
            let x: Vec<f64> = (0..n).map(|i| 1.0 + i as f64).collect();
            let b: Vec<f64> = (0..n).map(|i| dot(&a[i * n..(i + 1) * n], &x)).collect();
            let got = RealLu::factor(n, a).unwrap().solve(&b);
            for (g, w) in got.iter().zip(&x) {
                assert!((g - w).abs() < 1e-8 * n as f64, "{n}: {g} {w}");
            }
        }
        assert!(RealLu::factor(2, vec![1.0, 2.0, 2.0, 4.0]).is_none());
    }
}
