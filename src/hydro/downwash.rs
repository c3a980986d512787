//! Downwash of forward surfaces on aft ones.

/// Downwash link from one surface to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DownwashLink {
    /// Index of the surface that sheds the vortices.
    pub from: usize,
    /// Index of the surface that feels them.
    pub to: usize,
    /// Inflow angle lost at `to` (along its n, rad) per lift coefficient of `from`.
    pub angle_per_lift_coefficient: f64,
    /// Distance downstream, m; the delay is distance over speed.
    pub distance_m: f64,
}
