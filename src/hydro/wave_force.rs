//! First-order wave forces over heading and frequency at one speed.
//!
//! # Equation
//! ```text
//! F = F_FK + i w_e P + (0, 0, 0, 0, -U P3 + A11 U w0, U P2 - A11 U v0)
//! P = Sum_i w_i T_i^T q(x_i) exp(-i k x_i cos mu) + (M - M_strip) nu_w + surge
//! q_j(x) = -rho w0 Int phi_j (n2 sin mu - i n3) exp(-k z - i k y sin mu) ds
//! ```
//! q is the sectional diffraction of Salvesen-Tuck-Faltinsen over i w_e: the momentum of the flow
//! that the wave's inflow makes, with the radiation potential of the encounter frequency
//! (conjugate for overtaking waves), isolated and twin blended as the damping is. The pitch and
//! yaw terms with U are those of the published strip theory with pointed ends. What the
//! regularised coefficients M = A + B/(i w_e) have more or less than the strips, M_strip at the
//! same frequency, acts on the rigid motion nu_w that fits the orbital velocity along the hulls'
//! axes best; so in waves much longer than the craft the force is that of the relative velocity
//! with the very coefficients of the equations of motion, at every encounter frequency, zero
//! included. Each lower hull's surge mass takes the orbital acceleration at its centre. The
//! Froude-Krylov force along x is that of the volume, -Int Int dp/dx dA dx, with its levers in
//! pitch and yaw.
//!
//! # Symbols
//! w0 wave, w_e encounter frequency (rad/s); u0 v0 w0 orbital velocities of the fit; U speed (m/s).
//!
//! # Valid when
//! Waves not much shorter than the hulls are wide; mean heading and speed.
//!
//! # Source
//! Salvesen, Tuck & Faltinsen (1970), eqs. (42)-(46); Newman (1962).
//!
//! # Checked by
//! `long_waves_carry_the_craft`, `mirror_heading_changes_the_lateral_signs`,
//! `interpolation_is_close_between_nodes`.

use ndarray::Array3;
use num_complex::Complex64;
use rayon::prelude::*;

use super::radiation::lagrange;

/// Potential wave force per unit amplitude (N/m, N m/m) about O, modes in `Dof` order, time
/// factor exp(+i omega_e t), phase zero for a crest at O. `force[[heading, frequency, mode]]`.
#[derive(Clone, Debug, PartialEq)]
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

/// Headings and wave frequencies of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct WaveGrid {
    /// Headings from 0 to pi, rad, at least four.
    pub mu_rad: Vec<f64>,
    /// Wave frequencies, rad/s, at least four.
    pub omega_rad_s: Vec<f64>,
}

impl WaveGrid {
    /// Every 7.5 degrees; steps of 0.1 sqrt(g/L) up to 6.5 of it.
    pub fn of_length(length_m: f64, g_m_s2: f64) -> Self {
        let unit = (g_m_s2 / length_m).sqrt();
        let mut omega = vec![0.01 * unit, 0.05 * unit];
        omega.extend((1..=65).map(|i| 0.1 * f64::from(i) * unit));
        WaveGrid {
            mu_rad: (0..=24)
                .map(|i| (7.5 * f64::from(i)).to_radians())
                .collect(),
            omega_rad_s: omega,
        }
    }
}

impl WaveForceTable {
    /// Fills a table from `force(mu, omega_0)`, in parallel over both.
    pub fn fill(
        grid: &WaveGrid,
        speed_m_s: f64,
        force: impl Fn(f64, f64) -> [Complex64; 6] + Sync,
    ) -> Self {
        let (m, n) = (grid.mu_rad.len(), grid.omega_rad_s.len());
        let rows: Vec<[Complex64; 6]> = (0..m * n)
            .into_par_iter()
            .map(|i| force(grid.mu_rad[i / n], grid.omega_rad_s[i % n]))
            .collect();
        let mut table = Array3::zeros((m, n, 6));
        for (i, row) in rows.iter().enumerate() {
            for (j, f) in row.iter().enumerate() {
                table[[i / n, i % n, j]] = *f;
            }
        }
        WaveForceTable {
            speed_m_s,
            mu_rad: grid.mu_rad.clone(),
            omega_rad_s: grid.omega_rad_s.clone(),
            force: table,
        }
    }

    /// Force per unit amplitude of a wave of any heading and frequency; no allocation.
    ///
    /// Cubic in both; constant below the first frequency, falling with the fourth power above the
    /// last.
    pub fn at(&self, mu_rad: f64, omega_rad_s: f64) -> [Complex64; 6] {
        self.with_slope(mu_rad, omega_rad_s).0
    }

    /// The same and its derivative with heading, per rad.
    pub fn with_slope(&self, mu_rad: f64, omega_rad_s: f64) -> ([Complex64; 6], [Complex64; 6]) {
        let full = std::f64::consts::TAU;
        let turned = mu_rad.rem_euclid(full);
        let mirrored = turned > std::f64::consts::PI;
        let mu = if mirrored { full - turned } else { turned };
        let (cw, w_from) = self.frequency_weights(omega_rad_s);
        let (index, sign, c, dc) = self.heading_weights(mu);
        let mut f = [Complex64::ZERO; 6];
        let mut df = [Complex64::ZERO; 6];
        for k in 0..4 {
            for (l, cl) in cw.iter().enumerate() {
                let (v, dv) = (c[k] * cl, dc[k] * cl);
                for j in 0..6 {
                    // beyond 0 and pi the table is its own mirror image
                    let s = if j % 2 == 1 { sign[k] } else { 1.0 };
                    let value = self.force[[index[k], w_from + l, j]] * s;
                    f[j] += value * v;
                    df[j] += value * dv;
                }
            }
        }
        if mirrored {
            for j in 0..6 {
                if j % 2 == 1 {
                    f[j] = -f[j];
                } else {
                    df[j] = -df[j];
                }
            }
        }
        (f, df)
    }

    fn frequency_weights(&self, omega: f64) -> ([f64; 4], usize) {
        let grid = &self.omega_rad_s;
        let last = grid.len() - 1;
        let w = omega.clamp(grid[0], grid[last]);
        let i = grid.partition_point(|&x| x <= w).clamp(1, last) - 1;
        let (from, mut c) = lagrange(grid, i, w);
        if omega > grid[last] {
            let fall = (grid[last] / omega).powi(4);
            for c in &mut c {
                *c *= fall;
            }
        }
        (c, from)
    }

    /// Four headings round `mu` (0 to pi), the sign their lateral modes take, and the cubic's
    /// weights and slopes.
    fn heading_weights(&self, mu: f64) -> ([usize; 4], [f64; 4], [f64; 4], [f64; 4]) {
        let grid = &self.mu_rad;
        let last = grid.len() - 1;
        // one more than the interval's first node, so that it may stand before the grid
        let after = grid.partition_point(|&x| x <= mu).clamp(1, last);
        let mut index = [0; 4];
        let mut sign = [1.0; 4];
        let mut x = [0.0; 4];
        for k in 0..4 {
            (index[k], sign[k], x[k]) = match (after + k).checked_sub(2) {
                None => (1, -1.0, -grid[1]),
                Some(i) if i > last => (last - 1, -1.0, std::f64::consts::TAU - grid[last - 1]),
                Some(i) => (i, 1.0, grid[i]),
            };
        }
        let mut c = [0.0; 4];
        let mut dc = [0.0; 4];
        for k in 0..4 {
            let (mut value, mut slope) = (1.0, 0.0);
            for m in 0..4 {
                if m != k {
                    let d = x[k] - x[m];
                    slope = (slope * (mu - x[m]) + value) / d;
                    value *= (mu - x[m]) / d;
                }
            }
            c[k] = value;
            dc[k] = slope;
        }
        (index, sign, c, dc)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A smooth force with the table's symmetry: even modes even in mu, lateral odd.
    fn sample(mu: f64, w: f64) -> [Complex64; 6] {
        let e = Complex64::from_polar(1.0 / (1.0 + w * w), -2.0 * w * w * mu.cos());
        let s = mu.sin();
        [
            e * mu.cos(),
            e * s,
            e,
            e * s * 2.0,
            e * mu.cos() * w,
            e * s * mu.cos(),
        ]
    }

    fn table() -> WaveForceTable {
        let grid = WaveGrid::of_length(9.80665, 9.80665);
        WaveForceTable::fill(&grid, 3.0, sample)
    }

    #[test]
    fn interpolation_is_close_between_nodes() {
        let t = table();
        for (mu, w) in [
            (0.03, 0.33),
            (1.1, 0.77),
            (2.9, 0.52),
            (3.12, 0.9),
            (4.0, 0.66),
            (-0.4, 0.81),
        ] {
            let (f, df) = t.with_slope(mu, w);
            let want = sample(mu, w);
            let h = 1e-5;
            let (up, down) = (sample(mu + h, w), sample(mu - h, w));
            for j in 0..6 {
                // cubic over 7.5 deg and 0.1: fourth derivatives of order one to ten
                assert!(
                    (f[j] - want[j]).norm() < 2e-3,
                    "{mu} {w} {j} {} {}",
                    f[j],
                    want[j]
                );
                let slope = (up[j] - down[j]) / (2.0 * h);
                assert!(
                    (df[j] - slope).norm() < 3e-2,
                    "{mu} {w} {j} {} {slope}",
                    df[j]
                );
            }
        }
    }

    #[test]
    fn mirror_heading_changes_the_lateral_signs() {
        let t = table();
        let (a, b) = (t.at(0.7, 0.6), t.at(-0.7, 0.6));
        for j in 0..6 {
            let s = if j % 2 == 1 { -1.0 } else { 1.0 };
            assert!((a[j] - b[j] * s).norm() < 1e-12);
        }
    }
}
