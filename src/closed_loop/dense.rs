//! Small complex matrices on slices, row by row, for the inner loops of the room.
//!
//! # Equation
//! Gaussian elimination with partial pivoting; `F F^H = X X^H` by Cholesky.
//!
//! # Symbols
//! m, n rows and columns.
//!
//! # Valid when
//! Matrices are small: a few channels, signals and forces.
//!
//! # Source
//! Golub & Van Loan, Matrix Computations, 4th ed. 2013, sections 3.4 and 4.2.
//!
//! # Checked by
//! `solves_and_factors`.

use num_complex::Complex64;

/// I - C G for C of m x p and G of p x m.
pub(crate) fn one_less_product(
    c: &[Complex64],
    g: &[Complex64],
    m: usize,
    p: usize,
) -> Vec<Complex64> {
    let mut a = vec![Complex64::ZERO; m * m];
    for i in 0..m {
        let row = &mut a[i * m..][..m];
        for k in 0..p {
            let f = c[i * p + k];
            for (a, g) in row.iter_mut().zip(&g[k * m..][..m]) {
                *a -= f * g;
            }
        }
        row[i] += 1.0;
    }
    a
}

/// Solves a x = b in place (b of m x n becomes x); false where a is singular.
pub(crate) fn solve(a: &mut [Complex64], b: &mut [Complex64], m: usize, n: usize) -> bool {
    for k in 0..m {
        let mut pivot = k;
        for i in k + 1..m {
            if a[i * m + k].norm_sqr() > a[pivot * m + k].norm_sqr() {
                pivot = i;
            }
        }
        if pivot != k {
            for j in k..m {
                a.swap(k * m + j, pivot * m + j);
            }
            for j in 0..n {
                b.swap(k * n + j, pivot * n + j);
            }
        }
        let scale = a[k * m + k].inv();
        if !scale.is_finite() {
            return false;
        }
        let (a_top, a_low) = a.split_at_mut((k + 1) * m);
        let (b_top, b_low) = b.split_at_mut((k + 1) * n);
        let (a_k, b_k) = (&a_top[k * m..], &b_top[k * n..]);
        for (a_i, b_i) in a_low.chunks_exact_mut(m).zip(b_low.chunks_exact_mut(n)) {
            let f = a_i[k] * scale;
            for (x, y) in a_i[k + 1..].iter_mut().zip(&a_k[k + 1..]) {
                *x -= f * y;
            }
            for (x, y) in b_i.iter_mut().zip(b_k) {
                *x -= f * y;
            }
        }
        a[k * m + k] = scale; // the inverse pivot for the way back
    }
    for k in (0..m).rev() {
        let (b_top, b_low) = b.split_at_mut((k + 1) * n);
        let b_k = &mut b_top[k * n..];
        for (j, b_j) in (k + 1..m).zip(b_low.chunks_exact(n)) {
            let f = a[k * m + j];
            for (x, y) in b_k.iter_mut().zip(b_j) {
                *x -= f * y;
            }
        }
        for x in b_k {
            *x *= a[k * m + k];
        }
    }
    true
}

/// Determinant; destroys a.
pub(crate) fn determinant(a: &mut [Complex64], m: usize) -> Complex64 {
    let mut det = Complex64::ONE;
    for k in 0..m {
        let mut pivot = k;
        for i in k + 1..m {
            if a[i * m + k].norm_sqr() > a[pivot * m + k].norm_sqr() {
                pivot = i;
            }
        }
        if pivot != k {
            for j in 0..m {
                a.swap(k * m + j, pivot * m + j);
            }
            det = -det;
        }
        det *= a[k * m + k];
        let scale = a[k * m + k].inv();
        if !scale.is_finite() {
            return Complex64::ZERO;
        }
        for i in k + 1..m {
            let f = a[i * m + k] * scale;
            for j in k + 1..m {
                let v = a[k * m + j];
                a[i * m + j] -= f * v;
            }
        }
    }
    det
}

/// Columns of a factor F (at most m) with F F^H = X X^H for X of m x n.
pub(crate) fn factor(x: &[Complex64], m: usize, n: usize) -> Vec<Vec<Complex64>> {
    let mut s = vec![Complex64::ZERO; m * m];
    for i in 0..m {
        for j in 0..=i {
            s[i * m + j] = (0..n).map(|k| x[i * n + k] * x[j * n + k].conj()).sum();
        }
    }
    factor_of(s, m)
}

/// Columns of a factor F (at most m) with F F^H = S, of which the lower half is given.
pub(crate) fn factor_of(mut s: Vec<Complex64>, m: usize) -> Vec<Vec<Complex64>> {
    let largest = (0..m).fold(0.0_f64, |v, i| v.max(s[i * m + i].re));
    let mut columns: Vec<Vec<Complex64>> = Vec::new();
    for k in 0..m {
        let pivot = s[k * m + k].re;
        if pivot <= 1e-12 * largest {
            continue; // this channel follows from those before it
        }
        let root = pivot.sqrt();
        let mut column = vec![Complex64::ZERO; m];
        for i in k..m {
            column[i] = s[i * m + k] / root;
        }
        for i in k..m {
            for j in k..=i {
                let v = column[i] * column[j].conj();
                s[i * m + j] -= v;
            }
        }
        columns.push(column);
    }
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(k: usize) -> Complex64 {
        let x = k as f64;
        Complex64::new((x * x * 1.7).sin(), (x * x * 2.3 + 0.4).cos())
    }

    #[test]
    fn solves_and_factors() {
        let (m, n) = (5, 3);
        let a: Vec<Complex64> = (0..m * m).map(number).collect();
        let b: Vec<Complex64> = (0..m * n).map(|k| number(k + 77)).collect();
        let (mut lu, mut x) = (a.clone(), b.clone());
        assert!(solve(&mut lu, &mut x, m, n));
        for i in 0..m {
            for j in 0..n {
                let v: Complex64 = (0..m).map(|k| a[i * m + k] * x[k * n + j]).sum();
                assert!((v - b[i * n + j]).norm() < 1e-12);
            }
        }
        let big = nalgebra::DMatrix::from_row_slice(m, m, &a);
        let det = determinant(&mut a.clone(), m);
        assert!((det - big.determinant()).norm() < 1e-12);
        // X with two equal rows: one column less
        let mut x: Vec<Complex64> = (0..4 * 6).map(|k| number(k + 5)).collect();
        let copy = x[..6].to_vec();
        x[12..18].copy_from_slice(&copy);
        let f = factor(&x, 4, 6);
        assert_eq!(f.len(), 3);
        for i in 0..4 {
            for j in 0..4 {
                let want: Complex64 = (0..6).map(|k| x[i * 6 + k] * x[j * 6 + k].conj()).sum();
                let got: Complex64 = f.iter().map(|c| c[i] * c[j].conj()).sum();
                assert!((want - got).norm() < 1e-10);
            }
        }
    }
}
