//! The wave force of a craft, put together from strips, regularised tables and surge.
//!
//! # Equation
//! Those of [`crate::hydro::wave_force`], which states symbols and validity too.
//!
//! # Source
//! Salvesen, Tuck & Faltinsen (1970), SNAME Trans. 78; Newman (1962), J. Ship Res. 6(3).
//!
//! # Checked by
//! `long_waves_carry_the_craft`, `wave_force_is_continuous_through_zero_encounter`,
//! `speed_moment_in_long_waves_is_that_of_relative_motion`, `table_is_close_to_the_force_itself`.

use nalgebra::Matrix6;
use num_complex::Complex64;

use super::CraftHydro;
use crate::frames::encounter_rad_s;
use crate::hydro::radiation::RadiationTable;
use crate::hydro::regularise::fade;
use crate::hydro::strip_waves::{Reading, Wave};

/// k L of the encounter frequency up to which the regularisation goes to the sections' waterline
/// sources; there the finite-length factor is within a tenth of one.
const SOURCE_END: f64 = 6.0;

impl CraftHydro {
    /// Force per unit amplitude of one wave, modes in `Dof` order (see [`crate::hydro::wave_force`]).
    pub fn wave_force(
        &self,
        radiation: &RadiationTable,
        speed_m_s: f64,
        mu_rad: f64,
        omega_rad_s: f64,
    ) -> [Complex64; 6] {
        let g = self.strips.g_m_s2;
        let omega_e = encounter_rad_s(omega_rad_s, speed_m_s, mu_rad, g);
        let wave = Wave {
            omega_rad_s,
            omega_e_rad_s: omega_e,
            k: omega_rad_s * omega_rad_s / g,
            mu_rad,
        };
        let reading = Reading::new(
            &self.strips.omega_rad_s,
            omega_e,
            speed_m_s,
            &self.regularisation,
        );
        let strip = self.strips.in_wave(&wave, &reading);
        let fit = self.rigid_fit(&wave);
        let (more, source) = self.beyond_strips(radiation, omega_e, &reading);
        let mut p = strip.momentum;
        p[2] += strip.source[0] * source;
        p[4] += strip.source[1] * source;
        for i in 0..6 {
            for j in 0..6 {
                p[i] += more[(i, j)] * fit.nu[j];
            }
        }
        let m1 = self.spheroid.surge_kg();
        let z = self.spheroid.centre_m[2];
        let y = self.spheroid.centre_m[1];
        for (u, side) in fit.surge.iter().zip([1.0, -1.0]) {
            p[0] += u * m1;
            if self.surge_coupling {
                p[4] += u * (m1 * z);
                p[5] -= u * (m1 * y * side);
            }
        }
        let rate = Complex64::new(0.0, omega_e);
        let mut f: [Complex64; 6] = std::array::from_fn(|j| strip.froude_krylov[j] + rate * p[j]);
        if !self.surge_coupling {
            for (f, l) in f.iter_mut().zip(strip.longitudinal).skip(1) {
                *f -= l;
            }
        }
        let a11 = 2.0 * m1;
        f[4] += (fit.axis_w * a11 - p[2]) * speed_m_s;
        f[5] += (p[1] - fit.axis_v * a11) * speed_m_s;
        f
    }

    /// M - M_strip: complex mass of the regularised tables beyond what the strips' potentials give,
    /// less the part that is returned as the second value, the heave mass that the finite craft's
    /// waterline source has more. Two-dimensional sources jump and grow like a logarithm at zero
    /// frequency; what the regularisation takes from them goes to the sections as their sources
    /// stand, by waterline breadth, for encounter waves longer than the craft.
    fn beyond_strips(
        &self,
        radiation: &RadiationTable,
        omega_e: f64,
        reading: &Reading,
    ) -> (Matrix6<Complex64>, Complex64) {
        let w = omega_e.abs();
        let (a, b) = radiation.at(w);
        let damping = if w > 1e-9 { b / w } else { Matrix6::zeros() };
        let s = reading.twin_share;
        let mut strip_a = Matrix6::zeros();
        let mut strip_b = Matrix6::zeros();
        for (m, &c) in reading.weight.iter().enumerate() {
            let i = reading.from + m;
            let wi = self.raw.omega_rad_s[i];
            strip_a += (self.raw.twin.a[i] * s + self.raw.isolated.a[i] * (1.0 - s)) * c;
            strip_b += (self.raw.twin.b[i] * s + self.raw.isolated.b[i] * (1.0 - s)) * (c / wi);
        }
        let sign = if reading.conjugate { 1.0 } else { -1.0 };
        let complex = |re: &Matrix6<f64>, im: &Matrix6<f64>, i: usize, j: usize| {
            Complex64::new(re[(i, j)], sign * im[(i, j)])
        };
        let mass = a - self.surge;
        let kl = w * w / self.strips.g_m_s2 * self.regularisation.length_m;
        let share = fade((kl / SOURCE_END).sqrt());
        // the end correction is no matter of frequency and not the source's
        let source = (complex(&mass, &damping, 2, 2) + self.end_correction[(2, 2)]
            - complex(&strip_a, &strip_b, 2, 2))
            * share;
        let line = self.strips.source_matrix();
        let more = Matrix6::from_fn(|i, j| {
            complex(&mass, &damping, i, j)
                - complex(&strip_a, &strip_b, i, j)
                - source * line[(i, j)]
        });
        (more, source)
    }

    /// Rigid motion of the craft that fits the orbital velocity along the hulls' axes best.
    fn rigid_fit(&self, wave: &Wave) -> RigidFit {
        let st = &self.strips.stations;
        let y = self.spheroid.centre_m[1];
        let (sin, cos) = wave.mu_rad.sin_cos();
        let mut heave = Weighted::default();
        let mut sway = Weighted::default();
        let mut roll = Weighted::default();
        let mut axis_z = 0.0;
        for (i, &s) in st.section.iter().enumerate() {
            let x = st.x_m[i];
            let z = st.contours[s].axis_z_m;
            let w = st.weight_m[i];
            let inf = &self.strips.sections[s].infinite.isolated;
            let level =
                Complex64::from_polar(wave.omega_rad_s * (-wave.k * z).exp(), -wave.k * x * cos);
            let side = Complex64::from_polar(1.0, -wave.k * y * sin);
            // starboard and port: mean and half difference
            let (mean, half) = (level * side.re, level * Complex64::new(0.0, side.im));
            let down = Complex64::new(0.0, -1.0);
            heave.add(w * inf[1][1], x, mean * down);
            sway.add(w * inf[0][0], x, mean * sin);
            roll.add(w * inf[1][1], x, half * down / y.max(1e-9));
            axis_z += w * inf[0][0] * z;
        }
        let (w0, pitch) = heave.line();
        let (v0, yaw) = sway.line();
        let p = roll.mean();
        let z = axis_z / sway.sum;
        let centre = &self.spheroid.centre_m;
        let surge = [1.0, -1.0].map(|side| {
            Complex64::from_polar(
                wave.omega_rad_s * (-wave.k * centre[2]).exp() * cos,
                -wave.k * (centre[0] * cos + side * centre[1] * sin),
            )
        });
        RigidFit {
            nu: [Complex64::ZERO, v0 + p * z, w0, p, -pitch, yaw],
            axis_v: v0 + yaw * centre[0],
            axis_w: w0 + pitch * centre[0],
            surge,
        }
    }
}

/// The fit of [`CraftHydro::rigid_fit`].
struct RigidFit {
    /// Velocities of O; surge left out, it is the spheroids'.
    nu: [Complex64; 6],
    /// Sway and heave velocity at the hulls' centre of volume, on the axis.
    axis_v: Complex64,
    axis_w: Complex64,
    /// Orbital velocity along x at the centres of the starboard and the port hull.
    surge: [Complex64; 2],
}

/// Weighted straight line through complex values.
#[derive(Default)]
struct Weighted {
    sum: f64,
    x: f64,
    xx: f64,
    f: Complex64,
    xf: Complex64,
}

impl Weighted {
    fn add(&mut self, w: f64, x: f64, f: Complex64) {
        self.sum += w;
        self.x += w * x;
        self.xx += w * x * x;
        self.f += f * w;
        self.xf += f * (w * x);
    }

    fn mean(&self) -> Complex64 {
        self.f / self.sum
    }

    /// Value at x = 0 and slope.
    fn line(&self) -> (Complex64, Complex64) {
        let det = self.sum * self.xx - self.x * self.x;
        let slope = if det > 0.0 {
            (self.xf * self.sum - self.f * self.x) / det
        } else {
            Complex64::ZERO
        };
        ((self.f - slope * self.x) / self.sum, slope)
    }
}
