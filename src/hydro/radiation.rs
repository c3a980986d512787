//! Added mass and damping of the craft over frequency, and the classical speed-dependent form.
//!
//! # Equation
//! Salvesen-Tuck-Faltinsen with pointed ends, seakeeping axes, about O:
//! ```text
//! A35 = A35_0 - (U/w^2) B33    A53 = A53_0 + (U/w^2) B33    A55 = A55_0 + (U/w)^2 A33
//! B35 = B35_0 + U A33          B53 = B53_0 - U A33          B55 = B55_0 + (U/w)^2 B33
//! A26 = A26_0 + (U/w^2) B22    A62 = A62_0 - (U/w^2) B22    A66 = A66_0 + (U/w)^2 A22
//! B26 = B26_0 - U A22          B62 = B62_0 + U A22          B66 = B66_0 + (U/w)^2 B22
//! (4 in place of 2 for the roll couplings)
//! ```
//! with A35_0 = -Int x a33 dx and A26_0 = Int x a22 dx.
//!
//! # Symbols
//! A added mass, B damping (SI, modes in [`crate::frames::Dof`] order), w encounter frequency
//! (rad/s), U speed (m/s).
//!
//! # Valid when
//! Slender hulls with pointed ends; the simulator uses the body-axes form with the same zero-speed
//! tables (see [`crate::hydro`]), which has the same poles.
//!
//! # Source
//! Salvesen, N., Tuck, E. O. & Faltinsen, O. (1970), "Ship motions and sea loads", SNAME Trans.
//! 78, Table 1.
//!
//! # Checked by
//! `speed_terms_match_references`, `seakeeping_and_body_axes_have_the_same_poles`.

use nalgebra::Matrix6;

/// Added mass and damping about O over frequency at zero speed.
#[derive(Clone, Debug, PartialEq)]
pub struct RadiationTable {
    /// Frequencies, rad/s, ascending, all positive.
    pub omega_rad_s: Vec<f64>,
    /// Added mass at each.
    pub a: Vec<Matrix6<f64>>,
    /// Damping at each.
    pub b: Vec<Matrix6<f64>>,
    /// Added mass at infinite frequency.
    pub a_inf: Matrix6<f64>,
    /// Added mass at zero frequency (of the documented treatment).
    pub a_zero: Matrix6<f64>,
}

impl RadiationTable {
    /// A and B at any frequency, cubic between the given ones.
    ///
    /// Below the first A runs to `a_zero` and B to zero with the cube of frequency; above the last A
    /// runs to `a_inf` and B to zero with the inverse square and cube.
    pub fn at(&self, omega_rad_s: f64) -> (Matrix6<f64>, Matrix6<f64>) {
        let w = omega_rad_s.abs();
        let grid = &self.omega_rad_s;
        let last = grid.len() - 1;
        if w <= grid[0] {
            let r = w / grid[0];
            return (
                self.a_zero + (self.a[0] - self.a_zero) * (r * r),
                self.b[0] * (r * r * r),
            );
        }
        if w >= grid[last] {
            let r = grid[last] / w;
            return (
                self.a_inf + (self.a[last] - self.a_inf) * (r * r),
                self.b[last] * (r * r * r),
            );
        }
        let i = grid.partition_point(|&x| x <= w).clamp(1, last) - 1;
        (cubic_at(grid, &self.a, i, w), cubic_at(grid, &self.b, i, w))
    }
}

/// The tables straight from the sections.
#[derive(Clone, Debug, PartialEq)]
pub struct RawRadiation {
    /// Frequencies, rad/s.
    pub omega_rad_s: Vec<f64>,
    /// Both hulls with interaction.
    pub twin: RadiationTable,
    /// Both hulls, each as if alone.
    pub isolated: RadiationTable,
}

/// Four-point Lagrange cubic on the interval `i` of an ascending grid.
pub(crate) fn cubic_at(grid: &[f64], y: &[Matrix6<f64>], i: usize, w: f64) -> Matrix6<f64> {
    let (from, c) = lagrange(grid, i, w);
    y[from] * c[0] + y[from + 1] * c[1] + y[from + 2] * c[2] + y[from + 3] * c[3]
}

/// First index and weights of the four-point Lagrange cubic for interval `i` (at least 4 nodes).
pub(crate) fn lagrange(grid: &[f64], i: usize, w: f64) -> (usize, [f64; 4]) {
    let from = i.saturating_sub(1).min(grid.len() - 4);
    let x: [f64; 4] = std::array::from_fn(|k| grid[from + k]);
    let c = std::array::from_fn(|k| {
        let mut l = 1.0;
        for m in 0..4 {
            if m != k {
                l *= (w - x[m]) / (x[k] - x[m]);
            }
        }
        l
    });
    (from, c)
}

/// Speed-dependent coefficients of Salvesen-Tuck-Faltinsen (pointed ends) in seakeeping axes from
/// zero-speed `a0`, `b0` about O at encounter frequency `omega_e_rad_s`.
pub fn stf_matrix(
    a0: &Matrix6<f64>,
    b0: &Matrix6<f64>,
    omega_e_rad_s: f64,
    speed_m_s: f64,
) -> (Matrix6<f64>, Matrix6<f64>) {
    let none = [0.0; 3];
    stf_matrix_with_end(
        a0,
        b0,
        omega_e_rad_s,
        speed_m_s,
        0.0,
        &none,
        &none,
        0.0,
        0.0,
    )
}

/// The same with the aftmost section's terms: at `x_a_m` the section has sway, sway-roll and roll
/// added masses `a_lat` and dampings `b_lat` ([22, 24, 44], per m), heave `a33`, `b33`.
#[allow(clippy::too_many_arguments)] // the published table has these
pub fn stf_matrix_with_end(
    a0: &Matrix6<f64>,
    b0: &Matrix6<f64>,
    omega_e_rad_s: f64,
    speed_m_s: f64,
    x_a_m: f64,
    a_lat: &[f64; 3],
    b_lat: &[f64; 3],
    a33: f64,
    b33: f64,
) -> (Matrix6<f64>, Matrix6<f64>) {
    let (mut a, mut b) = (*a0, *b0);
    let u = speed_m_s;
    let uw = u / (omega_e_rad_s * omega_e_rad_s);
    let uuww = u * uw;
    let x = x_a_m;
    // heave and pitch
    a[(2, 2)] += -uw * b33;
    b[(2, 2)] += u * a33;
    a[(2, 4)] += -uw * b0[(2, 2)] + uw * x * b33 - uuww * a33;
    b[(2, 4)] += u * a0[(2, 2)] - u * x * a33 - uuww * b33;
    a[(4, 2)] += uw * b0[(2, 2)] + uw * x * b33;
    b[(4, 2)] += -u * a0[(2, 2)] - u * x * a33;
    a[(4, 4)] += uuww * a0[(2, 2)] - uw * x * x * b33 + uuww * x * a33;
    b[(4, 4)] += uuww * b0[(2, 2)] + u * x * x * a33 + uuww * x * b33;
    // sway, roll, yaw
    for (i, j, k) in [(1, 1, 0), (1, 3, 1), (3, 1, 1), (3, 3, 2)] {
        a[(i, j)] += -uw * b_lat[k];
        b[(i, j)] += u * a_lat[k];
    }
    for (i, k) in [(1, 0), (3, 1)] {
        a[(i, 5)] += uw * b0[(i, 1)] - uw * x * b_lat[k] + uuww * a_lat[k];
        b[(i, 5)] += -u * a0[(i, 1)] + u * x * a_lat[k] + uuww * b_lat[k];
        a[(5, i)] += -uw * b0[(1, i)] - uw * x * b_lat[k];
        b[(5, i)] += u * a0[(1, i)] + u * x * a_lat[k];
    }
    a[(5, 5)] += uuww * a0[(1, 1)] - uw * x * x * b_lat[0] + uuww * x * a_lat[0];
    b[(5, 5)] += uuww * b0[(1, 1)] + u * x * x * a_lat[0] + uuww * x * b_lat[0];
    (a, b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Vector6;
    use num_complex::Complex64;

    const TOL_PRINT: f64 = 5e-8; // eight printed digits

    fn check(m: &Matrix6<f64>, i: usize, j: usize, want: f64) {
        let got = m[(i, j)];
        assert!(
            (got - want).abs() <= TOL_PRINT * want.abs().max(1.0),
            "{i}{j} {got} {want}"
        );
    }

    #[test]
    fn speed_terms_match_references() {
        // references/C_slender_hydrostatics.json stf.uniform
        let (l, xa, a33, b33, u, w) = (20.0_f64, -11.0_f64, 3.0, 1.2, 6.0, 1.5);
        let xb = xa + l;
        let (m1, m2) = ((xb * xb - xa * xa) / 2.0, (xb.powi(3) - xa.powi(3)) / 3.0);
        let mut a0 = Matrix6::zeros();
        let mut b0 = Matrix6::zeros();
        for (m, v) in [(&mut a0, a33), (&mut b0, b33)] {
            m[(2, 2)] = v * l;
            m[(2, 4)] = -v * m1;
            m[(4, 2)] = -v * m1;
            m[(4, 4)] = v * m2;
        }
        let none = [0.0; 3];
        let (a, b) = stf_matrix_with_end(&a0, &b0, w, u, xa, &none, &none, a33, b33);
        check(&a, 2, 2, 56.8);
        check(&b, 2, 2, 42.0);
        check(&a, 2, 4, -87.2);
        check(&b, 2, 4, 562.8);
        check(&a, 4, 2, 88.8);
        check(&b, 4, 2, -138.0);
        check(&a, 4, 4, 2104.8);
        check(&b, 4, 4, 3174.8);
        // stf.pointed: a33 = a0 (1 - 4 x^2/L^2), L = 30, a0 = 4, b0 = 1.5, U = 7, w = 1.8
        let (l, u, w) = (30.0_f64, 7.0, 1.8);
        let mut a0 = Matrix6::zeros();
        let mut b0 = Matrix6::zeros();
        for (m, v) in [(&mut a0, 4.0), (&mut b0, 1.5)] {
            m[(2, 2)] = v * 2.0 * l / 3.0;
            m[(4, 4)] = v * l.powi(3) / 30.0;
        }
        let (a, b) = stf_matrix(&a0, &b0, w, u);
        check(&a, 2, 2, 80.0);
        check(&b, 2, 2, 30.0);
        check(&a, 2, 4, -64.814815);
        check(&b, 2, 4, 560.0);
        check(&a, 4, 2, 64.814815);
        check(&b, 4, 2, -560.0);
        check(&a, 4, 4, 4809.8765);
        check(&b, 4, 4, 1803.7037);
    }

    /// Frequency-independent A and no memory: the seakeeping equations
    /// (M + A0) x'' + U N x' + U^2 D x + C x = 0 against Kirchhoff's in body axes.
    #[test]
    fn seakeeping_and_body_axes_have_the_same_poles() {
        let m = sample_mass();
        let a0 = sample_added_mass();
        let c = Matrix6::from_diagonal(&Vector6::new(0.0, 0.0, 5.0, 7.0, 60.0, 0.0));
        for u in [0.0, 2.0, 6.0] {
            // seakeeping: with A constant and B0 = 0 the only w-dependent term is
            // A55 += U^2/w^2 A33, a stiffness -U^2 A33 (and -U^2 A22 in yaw)
            let (_, b) = stf_matrix(&a0, &Matrix6::zeros(), 1.0, u);
            let mut cs = c;
            cs[(4, 4)] -= u * u * a0[(2, 2)];
            cs[(5, 5)] -= u * u * a0[(1, 1)];
            for s in roots_seakeeping(&(m + a0), &b, &cs) {
                let d = body_determinant(&m, &a0, &c, u, s);
                let scale = body_determinant(&m, &a0, &c, u, s + Complex64::new(0.01, 0.01)).norm();
                assert!(d.norm() < 1e-6 * scale, "U={u} s={s} {d}"); // rounding of a sixth-degree determinant
            }
        }
    }

    fn sample_mass() -> Matrix6<f64> {
        let mut m = Matrix6::from_diagonal(&Vector6::new(10.0, 10.0, 10.0, 40.0, 300.0, 320.0));
        let z = -0.4; // centre of gravity above O, on the plane, x = 0.3
        let x = 0.3;
        for (i, j, v) in [
            (0, 4, 10.0 * z),
            (1, 3, -10.0 * z),
            (1, 5, 10.0 * x),
            (2, 4, -10.0 * x),
        ] {
            m[(i, j)] = v;
            m[(j, i)] = v;
        }
        m
    }

    fn sample_added_mass() -> Matrix6<f64> {
        // slender: no surge mass (it is not of the strips), couplings of a lopsided hull
        let mut a = Matrix6::from_diagonal(&Vector6::new(0.0, 9.0, 8.0, 12.0, 200.0, 230.0));
        for (i, j, v) in [(1, 3, -6.0), (1, 5, 5.0), (3, 5, -2.0), (2, 4, -4.0)] {
            a[(i, j)] = v;
            a[(j, i)] = v;
        }
        a
    }

    fn roots_seakeeping(m: &Matrix6<f64>, b: &Matrix6<f64>, c: &Matrix6<f64>) -> Vec<Complex64> {
        let inv = m.try_inverse().expect("mass is regular");
        let mut f = nalgebra::DMatrix::zeros(12, 12);
        f.view_mut((0, 6), (6, 6)).fill_with_identity();
        f.view_mut((6, 0), (6, 6)).copy_from(&(-inv * c));
        f.view_mut((6, 6), (6, 6)).copy_from(&(-inv * b));
        crate::math::eigen::eigenvalues(&f)
            .expect("eigenvalues")
            .iter()
            .copied()
            .filter(|s| s.norm() > 1e-3) // free surge, sway, yaw
            .collect()
    }

    /// Determinant of the linearised body-axes equations at `s`:
    /// M (nu' with U r, U q) = -dP/dt - v x P - C eta, eta3' = w - U theta, eta2' = v + U psi.
    fn body_determinant(
        m: &Matrix6<f64>,
        a: &Matrix6<f64>,
        c: &Matrix6<f64>,
        u: f64,
        s: Complex64,
    ) -> Complex64 {
        // unknowns: eta (seakeeping); nu = s eta + corrections
        let mut kin = nalgebra::Matrix6::<Complex64>::identity() * s;
        kin[(2, 4)] += Complex64::from(u); // w = eta3' + U theta
        kin[(1, 5)] -= Complex64::from(u); // v = eta2' - U psi
        let mc = (m + a).map(Complex64::from);
        // rigid body in axes that turn: M nu' + C_RB nu, linearised about surge U
        let mut cor = Matrix6::<f64>::zeros();
        // Omega x P of translation with P = M nu: P0 = m U along x (and its moment about O)
        let p0 = m.column(0) * u; // momenta of pure surge
        // force: Omega x P -> (0, r Px, -q Px)
        cor[(1, 5)] += p0[0];
        cor[(2, 4)] -= p0[0];
        // moment: Omega x H0 + v x P0 with H0 = (0, m z U, 0)
        cor[(3, 5)] -= p0[4]; // (Omega x H)_x = q Hz - r Hy
        cor[(5, 3)] += p0[4]; // (Omega x H)_z = p Hy - q Hx
        // v x P: linear part of both: U x_hat x P1 + v1 x P0
        for j in 0..6 {
            cor[(4, j)] -= u * m[(2, j)];
            cor[(5, j)] += u * m[(1, j)];
        }
        cor[(4, 2)] += p0[0]; // (v1 x P0)_y = w Px
        cor[(5, 1)] -= p0[0]; // (v1 x P0)_z = -v Px
        // the water: same with A, whose surge column is zero, so only U x_hat x P1 stays
        for j in 0..6 {
            cor[(4, j)] -= u * a[(2, j)];
            cor[(5, j)] += u * a[(1, j)];
        }
        let total = (mc * s + cor.map(Complex64::from)) * kin + c.map(Complex64::from);
        total.determinant()
    }
}
