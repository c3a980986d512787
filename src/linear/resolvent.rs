//! The resolvent of the linear model, reduced to the rigid body.
//!
//! # Equation
//! ```text
//! [ s - A_rr   -A_ro ] [X_r]   [B_r]        Y (s - A_oo) = A_ro
//! [  -A_or   s - A_oo ] [X_o] = [B_o]        (s - A_rr - Y A_or) X_r = B_r + Y B_o
//! ```
//! Memory pairs, servos, lags and delay lines drive each other one way only: A_oo is block triangular
//! with blocks of one to four states, so Y costs a few operations a state.
//!
//! # Symbols
//! s complex frequency (1/s); r the twelve rigid-body states, o the others; Y six rows, as the others
//! act on velocities only.
//!
//! # Valid when
//! Any linear model; states of one block that drive each other are found, not assumed.
//!
//! # Source
//! Schur complement: Golub & Van Loan, Matrix Computations, 4th ed. 2013, section 3.2.
//!
//! # Checked by
//! `equals_the_dense_solution`.

use nalgebra::{DMatrix, SMatrix, SVector};
use num_complex::Complex64;

use super::assemble::LinearModel;

/// Rigid-body states.
pub const RIGID: usize = 12;
/// Velocities, the rows on which the others act.
const NU: usize = 6;

/// Response of the rigid-body states.
pub type Rigid = SVector<Complex64, RIGID>;

/// A linear model prepared for many frequencies.
#[derive(Clone, Debug)]
pub struct Resolvent {
    rigid: SMatrix<f64, RIGID, RIGID>,
    /// State that each rigid state's row belongs to is used at all.
    used: [bool; RIGID],
    /// Blocks of other states, drivers first; numbers count from [`RIGID`].
    blocks: Vec<Vec<usize>>,
    /// A_oo by column: (row, value), diagonal block included.
    columns: Vec<Vec<(usize, f64)>>,
    /// A_or by row: (rigid column, value).
    driven: Vec<Vec<(usize, f64)>>,
    /// A_ro by column: velocity rows.
    acts: Vec<[f64; NU]>,
}

/// The reduced system at one frequency.
#[derive(Clone, Debug)]
pub struct Reduced {
    inverse: SMatrix<Complex64, RIGID, RIGID>,
    /// Y, one array a state.
    left: Vec<[Complex64; NU]>,
}

impl Resolvent {
    /// For `model`, leaving out the rigid states that are not in `kept` (nothing depends on them) and
    /// adding `damping_removed` (6 x 6, accelerations per velocity) to its velocity block.
    pub fn new(
        model: &LinearModel,
        kept: &[usize],
        damping_removed: &nalgebra::Matrix6<f64>,
    ) -> Self {
        let n = model.layout.len();
        let a = &model.a;
        let mut rigid: SMatrix<f64, RIGID, RIGID> = a.fixed_view::<RIGID, RIGID>(0, 0).into_owned();
        for i in 0..NU {
            for j in 0..NU {
                rigid[(NU + i, NU + j)] += damping_removed[(i, j)];
            }
        }
        let mut used = [false; RIGID];
        for k in kept.iter().filter(|k| **k < RIGID) {
            used[*k] = true;
        }
        let others: Vec<usize> = (RIGID..n).collect();
        let columns = others
            .iter()
            .map(|j| {
                others
                    .iter()
                    .filter(|i| a[(**i, *j)] != 0.0)
                    .map(|i| (i - RIGID, a[(*i, *j)]))
                    .collect()
            })
            .collect();
        let driven = others
            .iter()
            .map(|i| {
                (0..RIGID)
                    .filter(|j| used[*j] && a[(*i, *j)] != 0.0)
                    .map(|j| (j, a[(*i, j)]))
                    .collect()
            })
            .collect();
        let acts = others
            .iter()
            .map(|j| std::array::from_fn(|i| a[(NU + i, *j)]))
            .collect();
        Resolvent {
            rigid,
            used,
            blocks: blocks(&a.view((RIGID, RIGID), (n - RIGID, n - RIGID)).into_owned()),
            columns,
            driven,
            acts,
        }
    }

    /// The system at `s`; none where it is singular.
    pub fn at(&self, s: Complex64) -> Option<Reduced> {
        let n = self.columns.len();
        let mut left = vec![[Complex64::ZERO; NU]; n];
        for block in self.blocks.iter().rev() {
            self.fill(block, s, &mut left)?;
        }
        let mut system = SMatrix::<Complex64, RIGID, RIGID>::identity();
        for i in (0..RIGID).filter(|i| self.used[*i]) {
            for j in (0..RIGID).filter(|j| self.used[*j]) {
                let one = if i == j { s } else { Complex64::ZERO };
                system[(i, j)] = one - self.rigid[(i, j)];
            }
        }
        for (y, driven) in left.iter().zip(&self.driven) {
            for (j, v) in driven {
                for (i, y) in y.iter().enumerate().filter(|(i, _)| self.used[NU + i]) {
                    system[(NU + i, *j)] -= y * *v;
                }
            }
        }
        let inverse = system.try_inverse()?;
        inverse
            .iter()
            .all(|v| v.is_finite())
            .then_some(Reduced { inverse, left })
    }

    /// Y of one block: y (s - A_bb) = A_rb + what later blocks hand back.
    fn fill(&self, block: &[usize], s: Complex64, left: &mut [[Complex64; NU]]) -> Option<()> {
        let m = block.len();
        if m > MOST_BLOCK {
            return None;
        }
        let mut right = [[Complex64::ZERO; NU]; MOST_BLOCK];
        let mut system = [[Complex64::ZERO; MOST_BLOCK]; MOST_BLOCK];
        for (b, j) in block.iter().enumerate() {
            right[b] = self.acts[*j].map(Complex64::from);
            system[b][b] = s;
            for (i, v) in &self.columns[*j] {
                if let Some(r) = block.iter().position(|k| k == i) {
                    // transposed: unknowns are the entries of y
                    system[b][r] -= v;
                } else {
                    let y = left[*i];
                    for (r, y) in right[b].iter_mut().zip(&y) {
                        *r += y * *v;
                    }
                }
            }
        }
        solve(&mut system, &mut right, m)?;
        for (b, j) in block.iter().enumerate() {
            left[*j] = right[b];
        }
        Some(())
    }
}

impl Resolvent {
    /// The other states where the rigid ones are `rigid` and `forcing` drives the others; none where that is
    /// singular.
    pub fn others(
        &self,
        s: Complex64,
        rigid: &[Complex64; RIGID],
        forcing: &[Complex64],
    ) -> Option<Vec<Complex64>> {
        let mut x: Vec<Complex64> = (forcing.iter().zip(&self.driven))
            .map(|(f, driven)| driven.iter().fold(*f, |sum, (j, v)| sum + rigid[*j] * *v))
            .collect();
        for block in &self.blocks {
            let m = block.len();
            if m > MOST_BLOCK {
                return None;
            }
            let mut right = [[Complex64::ZERO; NU]; MOST_BLOCK];
            let mut system = [[Complex64::ZERO; MOST_BLOCK]; MOST_BLOCK];
            for (b, j) in block.iter().enumerate() {
                right[b][0] = x[*j];
                system[b][b] += s;
                for (i, v) in &self.columns[*j] {
                    if let Some(r) = block.iter().position(|k| k == i) {
                        system[r][b] -= v;
                    }
                }
            }
            solve(&mut system, &mut right, m)?;
            for (b, j) in block.iter().enumerate() {
                x[*j] = right[b][0];
                for (i, v) in self.columns[*j].iter().filter(|(i, _)| !block.contains(i)) {
                    x[*i] += right[b][0] * *v;
                }
            }
        }
        Some(x)
    }

    /// Whether anything depends on rigid state `i`.
    pub fn uses(&self, i: usize) -> bool {
        self.used[i]
    }
}

/// Most states that drive each other in a circle, the delay line's four and room to spare.
const MOST_BLOCK: usize = 8;

fn solve(
    system: &mut [[Complex64; MOST_BLOCK]; MOST_BLOCK],
    right: &mut [[Complex64; NU]; MOST_BLOCK],
    m: usize,
) -> Option<()> {
    for k in 0..m {
        let pivot = (k..m).max_by(|a, b| {
            let size = |i: &usize| system[*i][k].norm_sqr();
            size(a).total_cmp(&size(b))
        })?;
        if system[pivot][k].norm_sqr() == 0.0 {
            return None;
        }
        system.swap(k, pivot);
        right.swap(k, pivot);
        let scale = system[k][k].inv();
        for i in k + 1..m {
            let f = system[i][k] * scale;
            let (row, known) = (system[k], right[k]);
            for (a, v) in system[i][k..m].iter_mut().zip(&row[k..m]) {
                *a -= f * v;
            }
            for (a, v) in right[i].iter_mut().zip(&known) {
                *a -= f * v;
            }
        }
    }
    for k in (0..m).rev() {
        for j in k + 1..m {
            let (v, found) = (system[k][j], right[j]);
            for (a, x) in right[k].iter_mut().zip(&found) {
                *a -= v * x;
            }
        }
        let scale = system[k][k].inv();
        for v in &mut right[k] {
            *v *= scale;
        }
    }
    Some(())
}

/// States in groups that drive each other, drivers before the driven.
fn blocks(a: &DMatrix<f64>) -> Vec<Vec<usize>> {
    let n = a.nrows();
    // reach[i][j]: j acts on i, at once or through others
    let mut reach: Vec<Vec<bool>> = (0..n)
        .map(|i| (0..n).map(|j| i == j || a[(i, j)] != 0.0).collect())
        .collect();
    for k in 0..n {
        let through = reach[k].clone();
        for row in reach.iter_mut().filter(|r| r[k]) {
            for (r, t) in row.iter_mut().zip(&through) {
                *r |= t;
            }
        }
    }
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by_key(|i| reach[*i].iter().filter(|r| **r).count());
    let mut blocks: Vec<Vec<usize>> = Vec::new();
    let mut taken = vec![false; n];
    for i in order {
        if taken[i] {
            continue;
        }
        let block: Vec<usize> = (0..n).filter(|j| reach[i][*j] && reach[*j][i]).collect();
        for j in &block {
            taken[*j] = true;
        }
        blocks.push(block);
    }
    blocks
}

impl Reduced {
    /// Rigid-body response to the forcing `b` of all states.
    pub fn solve(&self, b: impl Fn(usize) -> Complex64) -> Rigid {
        let mut right = Rigid::from_fn(|i, _| b(i));
        for (k, y) in self.left.iter().enumerate() {
            let v = b(RIGID + k);
            if v != Complex64::ZERO {
                for (i, y) in y.iter().enumerate() {
                    right[NU + i] += y * v;
                }
            }
        }
        self.inverse * right
    }

    /// Forcing of the velocities that stands for a forcing of one of each other state.
    pub fn left(&self) -> &[[Complex64; NU]] {
        &self.left
    }

    /// Rigid-body response to an acceleration of velocity `i` alone.
    pub fn to_acceleration(&self, i: usize) -> Rigid {
        self.inverse.column(NU + i).into_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dynamics::model::CraftModel;
    use crate::linear::assemble::assemble;
    use crate::linear::trim;
    use crate::spec::craft::CraftSpec;
    use crate::spec::scenario::{CourseSpec, PhysicsSpec};
    use crate::units::kn;
    use nalgebra::{DVector, Matrix6};

    #[test]
    fn equals_the_dense_solution() {
        let text = include_str!("../../scenarios/craft/coastal_survey.json");
        let spec: CraftSpec = serde_json::from_str(text).unwrap();
        let switches = PhysicsSpec {
            stations_x_m: Some(vec![-14.0, -7.0, 0.0, 7.0, 14.0]),
            frequencies_rad_s: Some(vec![0.2, 0.6, 1.0, 1.8, 3.0]),
            ..PhysicsSpec::default()
        };
        let model = CraftModel::build(&spec, &switches, None).unwrap();
        let held = CourseSpec::MeanHeld {
            spring_period_s: 60.0,
        };
        let plant = model.plant(kn(16.0), &held).unwrap();
        let t = trim::level(&plant).unwrap();
        let linear = assemble(&plant, &t.x, None);
        let all: Vec<usize> = (0..linear.layout.len()).collect();
        let fast = Resolvent::new(&linear, &all, &Matrix6::zeros());
        println!(
            "{} states, blocks of {:?}",
            all.len(),
            fast.blocks.iter().map(Vec::len).collect::<Vec<_>>()
        );
        let mut amplitudes = vec![Complex64::ZERO; plant.channels().len()];
        plant.channel_amplitudes(0.8, 2.0, &mut amplitudes);
        let wave = linear.b_waves.map(Complex64::from) * nalgebra::DVector::from_vec(amplitudes);
        let command = linear.b_command.map(Complex64::from);
        for omega in [-0.4, 0.02, 0.7, 1.9, 15.0] {
            let s = Complex64::new(0.0, omega);
            let mut system = linear.a.map(|v| Complex64::from(-v));
            for k in 0..all.len() {
                system[(k, k)] += s;
            }
            let lu = system.lu();
            let reduced = fast.at(s).unwrap();
            for b in [wave.clone(), command.column(1).into_owned()] {
                let want = lu.solve(&b).unwrap();
                let got = reduced.solve(|i| b[i]);
                let size = want.rows(0, RIGID).norm();
                let off = (got - want.fixed_rows::<RIGID>(0)).norm() / size;
                assert!(off < 1e-10, "{omega}: {off}"); // asked; rounding of two eliminations
                let rigid = std::array::from_fn(|i| want[i]);
                let others = fast.others(s, &rigid, &b.as_slice()[RIGID..]).unwrap();
                let want = want.rows(RIGID, others.len());
                let off = (DVector::from_vec(others) - want).norm() / want.norm();
                assert!(off < 1e-10, "{omega}: others {off}");
            }
        }
    }
}
