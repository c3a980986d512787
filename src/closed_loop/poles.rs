//! Poles of craft and law together, exact at the samples.
//!
//! # Equation
//! ```text
//! x(k+1) = [A + B D_l C, B C_l; B_l C, A_l] x(k)      poles  ln(z)/T
//! ```
//!
//! # Symbols
//! A, B, C sampled craft; A_l, B_l, C_l, D_l law; z eigenvalue; T sample period (s).
//!
//! # Valid when
//! Inside all limits. Eigenvalues of modulus below [`LEAST_MODULUS`] are left out: pure delays have
//! theirs at zero.
//!
//! # Source
//! Franklin, Powell & Workman, Digital Control of Dynamic Systems, 3rd ed. 1998, chapter 8.
//!
//! # Checked by
//! `poles_without_a_law_are_the_crafts` (tests of this room).

use nalgebra::DMatrix;
use num_complex::Complex64;

use super::craft::LoopCraft;
use super::sampled::SampledCraft;
use crate::control::linear::LinearLaw;
use crate::error::{Error, Problem, Result};
use crate::frames::Dof;
use crate::math::eigen;

/// Modulus below which an eigenvalue counts as a delay's: gone within one sample to a thousandth.
pub const LEAST_MODULUS: f64 = 1e-3;

/// Poles of the closed loop, 1/s, least stable first.
///
/// # Errors
/// A law for another sample period or with matrices that do not fit; eigenvalues that are not found.
pub fn poles(craft: &LoopCraft, law: &LinearLaw) -> Result<Vec<Complex64>> {
    check(craft, law)?;
    let sampled = craft.sampled(&law.channels, &law.signals)?;
    let values = eigenvalues(&closed(&sampled, law))
        .ok_or_else(|| Error::new("the poles of the closed loop could not be found"))?;
    let mut poles: Vec<Complex64> = values
        .iter()
        .filter(|z| z.norm() > LEAST_MODULUS)
        .map(|z| z.ln() / law.sample_period_s)
        .collect();
    eigen::sort_continuous(&mut poles);
    Ok(poles)
}

/// Eigenvalues of a sampled system. Pure delays have theirs at zero, where the Schur iteration has
/// nothing to measure its progress by: it works on A + 1.
pub fn eigenvalues(a: &DMatrix<f64>) -> Option<Vec<Complex64>> {
    let moved = a + DMatrix::identity(a.nrows(), a.ncols());
    let values = eigen::eigenvalues(&moved)?;
    Some(values.iter().map(|z| z - 1.0).collect())
}

/// The rigid-body motion that takes most part in an eigenvalue `z` of the closed matrix `a`; none where states of
/// fins, filters, memory or law carry it. `kept`: which of the craft's states are the first of `a`.
pub fn motion(a: &DMatrix<f64>, kept: &[usize], z: Complex64) -> Option<Dof> {
    let right = eigen::vector(a, z)?;
    let left = eigen::vector(&a.transpose(), z.conj())?;
    let part = eigen::Mode {
        value: z,
        right,
        left,
    }
    .participation();
    let of = |index: usize| {
        let at = kept.iter().position(|k| *k == index);
        at.map_or(0.0, |k| part[k])
    };
    let share: Vec<f64> = (0..6).map(|j| of(j) + of(6 + j)).collect();
    if share.iter().sum::<f64>() < 0.2 {
        return None;
    }
    let most = (0..6).max_by(|a, b| share[*a].total_cmp(&share[*b]))?;
    Some(Dof::ALL[most])
}

/// The state matrix of craft and law, craft first.
pub fn closed(craft: &SampledCraft, law: &LinearLaw) -> DMatrix<f64> {
    let (n, l) = (craft.a.nrows(), law.a.nrows());
    let mut a = DMatrix::zeros(n + l, n + l);
    a.view_mut((0, 0), (n, n))
        .copy_from(&(&craft.a + &craft.b * &law.d * &craft.c));
    a.view_mut((0, n), (n, l)).copy_from(&(&craft.b * &law.c));
    a.view_mut((n, 0), (l, n)).copy_from(&(&law.b * &craft.c));
    a.view_mut((n, n), (l, l)).copy_from(&law.a);
    a
}

/// Refuses a law that does not fit the craft.
///
/// # Errors
/// Names what does not fit.
pub fn check(craft: &LoopCraft, law: &LinearLaw) -> Result<()> {
    let mut problems = Vec::new();
    let period_s = craft.setup.sample_period_s;
    if (law.sample_period_s - period_s).abs() > 1e-9 * period_s {
        problems.push(Problem::at(
            "sample_period_s",
            format!(
                "is {} s for the law and {period_s} s for the craft, must be one",
                law.sample_period_s
            ),
        ));
    }
    let surfaces = craft.setup.surfaces.len();
    if let Some(c) = law.channels.iter().find(|c| **c >= surfaces) {
        let message = format!("names surface {c}, the craft has {surfaces}");
        problems.push(Problem::at("channels", message));
    }
    let (n, p, m) = (law.a.nrows(), law.signals.len(), law.channels.len());
    let fits = law.a.ncols() == n
        && law.b.shape() == (n, p)
        && law.c.shape() == (m, n)
        && law.d.shape() == (m, p);
    if !fits {
        problems.push(Problem::at(
            "matrices",
            format!("do not fit {n} states, {p} signals and {m} channels"),
        ));
    }
    if problems.is_empty() {
        Ok(())
    } else {
        Err(Error { problems })
    }
}
