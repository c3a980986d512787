//! Small linear maps and the quadratic drag of many strips, outputs or strips as lanes.
//!
//! # Equation
//! ```text
//! combine:  y_l = sum_i x_i T_il                      even and odd i in two sums of their own
//! drag:     s_i = R_i . v - o_i,  f = -sum_i R_i d_i |s_i| s_i     eight sums of their own
//! ```
//! The order of all sums is written down here, so that every path gives the same bits.
//!
//! # Checked by
//! `all_paths_give_the_same_bits`, `maps_meet_plain_sums`.

use super::Path;

/// Entries of a drag element's row: sway, heave, roll, pitch, yaw.
pub const DRAG_ROWS: usize = 5;

/// Strips handled together.
const STRIPS: usize = 8;

/// Writes to `out` the sum of the table's rows (of `L` numbers each), weighted with `x`. Rows beyond the last full
/// pair must not exist: `x` has an even length.
///
/// # Panics
/// When the table does not hold `x.len()` rows or their number is odd.
pub fn combine<const L: usize>(path: Path, table: &[f64], x: &[f64], out: &mut [f64; L]) {
    assert!(table.len() == L * x.len() && x.len().is_multiple_of(2));
    #[cfg(target_arch = "x86_64")]
    match path {
        // SAFETY: the processor was asked; the bodies are safe code.
        Path::Avx512 if path.is_available() => return unsafe { combine_avx512(table, x, out) },
        // SAFETY: as above.
        Path::Avx2 if path.is_available() => return unsafe { combine_avx2(table, x, out) },
        _ => {}
    }
    let _ = path;
    combine_body(table, x, out);
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx512f,avx2")]
fn combine_avx512<const L: usize>(table: &[f64], x: &[f64], out: &mut [f64; L]) {
    combine_body(table, x, out);
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn combine_avx2<const L: usize>(table: &[f64], x: &[f64], out: &mut [f64; L]) {
    combine_body(table, x, out);
}

#[allow(clippy::inline_always)] // it must be compiled anew with each caller's instructions
#[inline(always)]
fn combine_body<const L: usize>(table: &[f64], x: &[f64], out: &mut [f64; L]) {
    let (mut even, mut odd) = ([0.0; L], [0.0; L]);
    for (rows, pair) in table.chunks_exact(2 * L).zip(x.chunks_exact(2)) {
        let (a, b) = rows.split_at(L);
        for l in 0..L {
            even[l] += a[l] * pair[0];
            odd[l] += b[l] * pair[1];
        }
    }
    for l in 0..L {
        out[l] = even[l] + odd[l];
    }
}

/// Quadratic drag of strips. `rows` holds the five entries of all strips one after the other (all of sway first), `drag`
/// their coefficients, `orbital` the water's velocity, `v` the craft's (sway to yaw). Strips fill whole groups of
/// eight, those of no drag at the end.
///
/// # Panics
/// When the lengths do not belong together.
pub fn drag(
    path: Path,
    rows: &[f64],
    drag: &[f64],
    orbital: &[f64],
    v: &[f64; DRAG_ROWS],
) -> [f64; DRAG_ROWS] {
    let n = drag.len();
    assert!(n.is_multiple_of(STRIPS) && orbital.len() == n && rows.len() == DRAG_ROWS * n);
    #[cfg(target_arch = "x86_64")]
    match path {
        // SAFETY: the processor was asked; the bodies are safe code.
        Path::Avx512 if path.is_available() => {
            return unsafe { drag_avx512(rows, drag, orbital, v) };
        }
        // SAFETY: as above.
        Path::Avx2 if path.is_available() => return unsafe { drag_avx2(rows, drag, orbital, v) },
        _ => {}
    }
    let _ = path;
    drag_body(rows, drag, orbital, v)
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx512f,avx2")]
fn drag_avx512(r: &[f64], d: &[f64], o: &[f64], v: &[f64; DRAG_ROWS]) -> [f64; DRAG_ROWS] {
    drag_body(r, d, o, v)
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn drag_avx2(r: &[f64], d: &[f64], o: &[f64], v: &[f64; DRAG_ROWS]) -> [f64; DRAG_ROWS] {
    drag_body(r, d, o, v)
}

#[allow(clippy::inline_always)] // it must be compiled anew with each caller's instructions
#[inline(always)]
fn drag_body(
    rows: &[f64],
    drag: &[f64],
    orbital: &[f64],
    v: &[f64; DRAG_ROWS],
) -> [f64; DRAG_ROWS] {
    let n = drag.len();
    let mut sums = [[0.0; STRIPS]; DRAG_ROWS];
    for at in (0..n).step_by(STRIPS) {
        let part = |from: usize| -> [f64; STRIPS] {
            let mut a = [0.0; STRIPS];
            a.copy_from_slice(&rows[from..from + STRIPS]);
            a
        };
        let r: [[f64; STRIPS]; DRAG_ROWS] = std::array::from_fn(|k| part(k * n + at));
        let (d, o) = (&drag[at..at + STRIPS], &orbital[at..at + STRIPS]);
        let mut s = [0.0; STRIPS];
        for l in 0..STRIPS {
            s[l] =
                r[0][l] * v[0] + r[1][l] * v[1] + r[2][l] * v[2] + r[3][l] * v[3] + r[4][l] * v[4]
                    - o[l];
        }
        for l in 0..STRIPS {
            s[l] = d[l] * s[l].abs() * s[l];
        }
        for (sum, r) in sums.iter_mut().zip(&r) {
            for l in 0..STRIPS {
                sum[l] += r[l] * s[l];
            }
        }
    }
    sums.map(|s| -(((s[0] + s[4]) + (s[2] + s[6])) + ((s[1] + s[5]) + (s[3] + s[7]))))
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
        let mut s = Stream::new(2, 1, Purpose::Other);
        let (table, x) = (draw(&mut s, 24 * 82), draw(&mut s, 82));
        let (rows, d, o) = (draw(&mut s, 200), draw(&mut s, 40), draw(&mut s, 40));
        let v = [0.3, -0.2, 0.1, 0.4, -0.7];
        let run = |path| {
            let mut out = [0.0; 24];
            combine(path, &table, &x, &mut out);
            let f = drag(path, &rows, &d, &o, &v);
            out.iter()
                .chain(&f)
                .map(|v| v.to_bits())
                .collect::<Vec<_>>()
        };
        let plain = run(Path::Plain);
        for path in Path::available() {
            assert_eq!(plain, run(path), "{path:?}");
        }
    }

    #[test]
    fn maps_meet_plain_sums() {
        let mut s = Stream::new(2, 2, Purpose::Other);
        let (table, x) = (draw(&mut s, 24 * 10), draw(&mut s, 10));
        let mut out = [0.0; 24];
        combine(Path::best(), &table, &x, &mut out);
        for (l, got) in out.iter().enumerate() {
            let want: f64 = x
                .iter()
                .enumerate()
                .map(|(i, x)| x * table[i * 24 + l])
                .sum();
            assert!((got - want).abs() < 1e-14); // ten terms below one
        }
        // one strip abeam, 3 m/s through water that moves at 1 m/s along with it
        let mut rows = vec![0.0; 40];
        let mut d = vec![0.0; 8];
        (rows[2], rows[18], d[2]) = (1.0, -2.0, 10.0);
        let mut o = vec![0.0; 8];
        o[2] = 1.0;
        let f = drag(Path::best(), &rows, &d, &o, &[3.0, 0.0, 0.0, 0.0, 0.0]);
        // 10 |2| 2 = 40 N against the motion, lever -2 m
        assert!(
            (f[0] + 40.0).abs() < 1e-12 && (f[2] - 80.0).abs() < 1e-12,
            "{f:?}"
        );
    }
}
