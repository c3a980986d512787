//! All margins of one loop.
//!
//! # Equation
//! Those of [`super::crossing`], [`super::disk`] and [`super::winding`].
//!
//! # Valid when
//! The closed loop is stable: otherwise it is refused.
//!
//! # Source
//! As there.
//!
//! # Checked by
//! `textbook_margins`, `an_unstable_loop_has_no_margins_and_says_which_pole`

use serde::Serialize;

use super::crossing::{At, Classic, classic};
use super::disk::{self, Disk};
use super::loops::OpenLoop;
use super::structured::sigma_max;
use super::sweep::{Sweep, sweep};
use super::winding;
use crate::error::{Error, Result};

/// Margins of a cut: one channel, or several that move together.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CutMargins {
    /// Name.
    pub name: String,
    /// Channels of the cut.
    pub channels: Vec<usize>,
    /// Gain, phase, delay.
    #[serde(flatten)]
    pub classic: Classic,
    /// Disk margin; of a cut of one only.
    pub disk: Option<Disk>,
    /// Peak of the sensitivity 1/(1 + l); of a cut of one only.
    pub ms: Option<At>,
    /// Peak of l/(1 + l); of a cut of one only.
    pub mt: Option<At>,
}

/// Margins of a loop.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LoopMargins {
    /// One channel at a time, the others closed.
    pub one: Vec<CutMargins>,
    /// Channels that move together: pairs and other groups.
    pub groups: Vec<CutMargins>,
    /// All channels with one gain, one phase, one delay.
    pub all: CutMargins,
    /// All channels, each perturbed by itself.
    pub disk: Disk,
    /// Peak of the largest singular value of S.
    pub ms: At,
    /// Peak of that of T.
    pub mt: At,
    /// Unstable poles of the open loop.
    pub open_unstable: usize,
    /// Unstable poles of the closed loop by the Nyquist count; none where the path met a pole, or where it was
    /// not asked for.
    pub nyquist_unstable: Option<i64>,
    /// Points of the grid.
    pub grid_points: usize,
    /// Largest step of S on it.
    pub grid_step: f64,
}

impl LoopMargins {
    /// All cuts.
    pub fn cuts(&self) -> impl Iterator<Item = &CutMargins> {
        self.one
            .iter()
            .chain(&self.groups)
            .chain(std::iter::once(&self.all))
    }
}

/// A group of channels that move together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// Name.
    pub name: String,
    /// Channels.
    pub channels: Vec<usize>,
}

/// All margins.
///
/// # Errors
/// When the closed loop is unstable, naming the pole; when L cannot be evaluated on the axis.
pub fn analyse(open: &OpenLoop<'_>, groups: &[Group]) -> Result<LoopMargins> {
    let grid = swept(open)?;
    let mut out = from_sweep(open, &grid, groups);
    out.nyquist_unstable = winding::unstable(open);
    Ok(out)
}

/// The grid of a stable loop.
///
/// # Errors
/// As [`analyse`].
pub fn swept(open: &OpenLoop<'_>) -> Result<Sweep> {
    open.require_stable()?;
    let grid = sweep(open);
    if grid.s.len() < 3 {
        return Err(Error::new(format!(
            "the loop could be evaluated at {} frequencies between {} and {} rad/s, must be at least 3",
            grid.s.len(),
            open.low_rad_s,
            open.high_rad_s
        )));
    }
    Ok(grid)
}

/// All margins from a grid of [`swept`], without the Nyquist count.
pub fn from_sweep(open: &OpenLoop<'_>, grid: &Sweep, groups: &[Group]) -> LoopMargins {
    let m = open.channels.len();
    let many = |name: &str, channels: &[usize]| CutMargins {
        name: name.to_owned(),
        channels: channels.to_vec(),
        classic: classic(open, grid, channels),
        disk: None,
        ms: None,
        mt: None,
    };
    let one: Vec<CutMargins> = (0..m).map(|i| single(open, grid, i)).collect();
    let all: Vec<usize> = (0..m).collect();
    LoopMargins {
        all: if m == 1 {
            CutMargins {
                name: "all".to_owned(),
                ..one[0].clone()
            }
        } else {
            many("all", &all)
        },
        groups: groups.iter().map(|g| many(&g.name, &g.channels)).collect(),
        disk: if m == 1 {
            disk::of_channel(open, grid, 0)
        } else {
            disk::of_all(open, grid)
        },
        ms: disk::peak(open, grid, sigma_max),
        mt: disk::peak(open, grid, |s| sigma_max(&complement(s))),
        one,
        open_unstable: open.open_unstable,
        nyquist_unstable: None,
        grid_points: grid.s.len(),
        grid_step: grid.largest_step,
    }
}

/// T = I - S.
pub fn complement(
    s: &nalgebra::DMatrix<num_complex::Complex64>,
) -> nalgebra::DMatrix<num_complex::Complex64> {
    let m = s.nrows();
    nalgebra::DMatrix::identity(m, m) - s
}

fn single(open: &OpenLoop<'_>, grid: &Sweep, i: usize) -> CutMargins {
    CutMargins {
        name: open.channels[i].clone(),
        channels: vec![i],
        classic: classic(open, grid, &[i]),
        disk: Some(disk::of_channel(open, grid, i)),
        ms: Some(disk::peak(open, grid, |s| s[(i, i)].norm())),
        mt: Some(disk::peak(open, grid, |s| (1.0 - s[(i, i)]).norm())),
    }
}
