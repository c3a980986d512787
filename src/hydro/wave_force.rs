//! First-order wave forces over heading and frequency at one speed.

use ndarray::Array3;
use num_complex::Complex64;

/// Potential wave force per unit amplitude (N/m, N m/m) about O, modes in `Dof` order, time
/// factor exp(+i omega_e t), phase zero for a crest at O. `force[[heading, frequency, mode]]`.
#[derive(Clone, Debug)]
pub struct WaveForceTable {
    /// Forward speed, m/s.
    pub speed_m_s: f64,
    /// Wave headings mu, rad, ascending from 0 to pi (mirror symmetry gives the rest: modes 2, 4,
    /// 6 change sign).
    pub mu_rad: Vec<f64>,
    /// Wave frequencies omega_0, rad/s, ascending.
    pub omega_rad_s: Vec<f64>,
    /// The table.
    pub force: Array3<Complex64>,
}
