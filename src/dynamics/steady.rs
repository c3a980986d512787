//! Steady forces of advance: resistance, sinkage force, trim moment against speed.
//!
//! # Equation
//! ```text
//! F = ( -R(u), 0, Z_s(u), 0, M_s(u) - z_r R(u), 0 )
//! ```
//!
//! # Symbols
//! R resistance (N), Z_s sinkage force (N, down), M_s trim moment about O (N m, bow up), z_r depth
//! at which the resistance acts (m).
//!
//! # Valid when
//! Speed changes slowly (the tables are steady ones). Between rows the force over speed squared is
//! a monotone cubic, so that its slope is continuous; beyond the last row the forces grow with speed
//! squared; below the first they fall to zero with it.
//!
//! # Source
//! Common practice, no source: sinkage and trim come from tank tests, see the craft file's note.
//! Slopes at the rows: Fritsch & Butland (1984), SIAM J. Sci. Stat. Comput. 5(2).
//!
//! # Checked by
//! `square_law_outside_the_table_and_continuous_inside`, `slope_has_no_jump_at_a_row`,
//! `slope_over_a_spread`.

use crate::frames::Wrench;

/// Tables over ascending speed (m/s).
#[derive(Clone, Debug, PartialEq)]
pub struct SteadyForces {
    resistance: SquareTable,
    sinkage: SquareTable,
    trim: SquareTable,
    depth_m: f64,
}

impl SteadyForces {
    /// From rows (speed m/s, value); `depth_m` is where the resistance acts, z from O.
    pub fn new(
        resistance: &[(f64, f64)],
        sinkage: &[(f64, f64)],
        trim: &[(f64, f64)],
        depth_m: f64,
    ) -> Self {
        SteadyForces {
            resistance: SquareTable::new(resistance),
            sinkage: SquareTable::new(sinkage),
            trim: SquareTable::new(trim),
            depth_m,
        }
    }

    /// Resistance at speed `u`, N; against the motion, so odd in `u`.
    pub fn resistance_n(&self, u: f64) -> f64 {
        self.resistance.at(u.abs()).copysign(u)
    }

    /// Wrench about O at speed `u`, body axes.
    pub fn wrench(&self, u: f64) -> Wrench {
        self.pack(
            self.resistance_n(u),
            self.sinkage.at(u.abs()),
            self.trim.at(u.abs()),
        )
    }

    /// Derivative of the wrench with respect to `u`.
    pub fn slope(&self, u: f64) -> Wrench {
        let a = u.abs();
        let sign = 1.0_f64.copysign(u);
        self.pack(
            self.resistance.slope(a),
            self.sinkage.slope(a) * sign,
            self.trim.slope(a) * sign,
        )
    }

    /// Slope that speeds of a Gaussian spread about `u` meet, E F'(u + spread xi) = E xi F(u + spread xi)/spread, by
    /// five points of Gauss and Hermite (Abramowitz & Stegun 1964, table 25.10).
    pub fn slope_over(&self, u: f64, spread_m_s: f64) -> Wrench {
        // nodes and weights for the normal distribution, those of the table times sqrt 2 and over sqrt pi
        const NODES: [(f64, f64); 2] = [
            (1.355_626_179_974_266, 0.222_075_922_005_612_6),
            (2.856_970_013_872_806, 0.011_257_411_327_720_69),
        ];
        if spread_m_s < 1e-3 {
            return self.slope(u);
        }
        NODES.iter().fold(Wrench::zeros(), |sum, (at, weight)| {
            let by = at * spread_m_s;
            let across = self.wrench(u + by) - self.wrench(u - by);
            sum + across * (weight * at / spread_m_s)
        })
    }

    fn pack(&self, resistance: f64, sinkage: f64, trim: f64) -> Wrench {
        Wrench::new(
            -resistance,
            0.0,
            sinkage,
            0.0,
            trim - self.depth_m * resistance,
            0.0,
        )
    }
}

/// A force coefficient (value over speed squared), smooth in speed: monotone cubic between rows,
/// constant outside. A kink at a row would leave the linear model without a slope at the very speeds
/// people write into their tables.
#[derive(Clone, Debug, PartialEq)]
struct SquareTable {
    rows: Vec<Row>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Row {
    speed_m_s: f64,
    coefficient: f64,
    slope: f64,
}

impl SquareTable {
    fn new(rows: &[(f64, f64)]) -> Self {
        let mut rows: Vec<Row> = rows
            .iter()
            .filter(|r| r.0 > 0.0)
            .map(|&(u, f)| Row {
                speed_m_s: u,
                coefficient: f / (u * u),
                slope: 0.0,
            })
            .collect();
        // zero at both ends, where the constant begins
        for k in 1..rows.len().saturating_sub(1) {
            rows[k].slope = monotone_slope(&rows[k - 1], &rows[k], &rows[k + 1]);
        }
        SquareTable { rows }
    }

    /// Coefficient and its slope at `u`.
    fn coefficient(&self, u: f64) -> (f64, f64) {
        let (Some(first), Some(last)) = (self.rows.first(), self.rows.last()) else {
            return (0.0, 0.0);
        };
        if u <= first.speed_m_s {
            return (first.coefficient, 0.0);
        }
        if u >= last.speed_m_s {
            return (last.coefficient, 0.0);
        }
        let k = self.rows.partition_point(|r| r.speed_m_s <= u);
        let (a, b) = (&self.rows[k - 1], &self.rows[k]);
        let h = b.speed_m_s - a.speed_m_s;
        let s = (u - a.speed_m_s) / h;
        let rise = b.coefficient - a.coefficient;
        let (ma, mb) = (a.slope * h, b.slope * h);
        // Hermite cubic in s: a + ma s + c2 s^2 + c3 s^3
        let (c2, c3) = (3.0 * rise - 2.0 * ma - mb, ma + mb - 2.0 * rise);
        (
            a.coefficient + s * (ma + s * (c2 + s * c3)),
            (ma + s * (2.0 * c2 + 3.0 * s * c3)) / h,
        )
    }

    fn at(&self, u: f64) -> f64 {
        self.coefficient(u).0 * u * u
    }

    fn slope(&self, u: f64) -> f64 {
        let (c, dc) = self.coefficient(u);
        2.0 * c * u + dc * u * u
    }
}

/// Slope at the middle row: weighted harmonic mean of its neighbours' chords, zero at an extreme.
fn monotone_slope(a: &Row, b: &Row, c: &Row) -> f64 {
    let (ha, hb) = (b.speed_m_s - a.speed_m_s, c.speed_m_s - b.speed_m_s);
    let (da, db) = (
        (b.coefficient - a.coefficient) / ha,
        (c.coefficient - b.coefficient) / hb,
    );
    if da * db <= 0.0 {
        return 0.0;
    }
    let (wa, wb) = (2.0 * hb + ha, hb + 2.0 * ha);
    (wa + wb) / (wa / da + wb / db)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn square_law_outside_the_table_and_continuous_inside() {
        let t = SquareTable::new(&[(4.0, 160.0), (8.0, 1280.0)]);
        assert!((t.at(2.0) - 40.0).abs() < 1e-12);
        assert!((t.at(16.0) - 5120.0).abs() < 1e-9);
        assert!((t.at(6.0) - 15.0 * 36.0).abs() < 1e-12);
        let h = 1e-6;
        let numeric = (t.at(6.0 + h) - t.at(6.0 - h)) / (2.0 * h);
        assert!((numeric - t.slope(6.0)).abs() < 1e-6 * numeric, "{numeric}"); // h^2 and rounding
    }

    #[test]
    fn slope_has_no_jump_at_a_row() {
        let t = SquareTable::new(&[(2.0, 30.0), (4.0, 160.0), (5.0, 200.0), (8.0, 1280.0)]);
        for u in [2.0, 4.0, 5.0, 8.0] {
            let h = 1e-7;
            let (left, right) = (t.slope(u - h), t.slope(u + h));
            // second derivative times 2 h: some 1e2 * 2e-7
            assert!((left - right).abs() < 1e-4, "{u}: {left} {right}");
        }
        assert!((t.at(4.0) - 160.0).abs() < 1e-12 && (t.at(5.0) - 200.0).abs() < 1e-12);
    }

    #[test]
    fn resistance_opposes_motion() {
        let s = SteadyForces::new(&[(5.0, 100.0)], &[], &[], 3.0);
        assert!(s.wrench(5.0)[0] < 0.0 && s.wrench(-5.0)[0] > 0.0);
        assert!(
            (s.wrench(5.0)[4] + 300.0).abs() < 1e-12,
            "deep drag puts the bow down"
        );
    }

    #[test]
    fn slope_over_a_spread() {
        // of a parabola it is the slope; of a curve it is the mean slope, here by Simpson's rule
        let parabola = SteadyForces::new(&[(5.0, 40.0)], &[], &[], 1.0);
        let off = parabola.slope_over(5.0, 0.5) - parabola.slope(5.0);
        assert!(off.norm() < 1e-9 * parabola.slope(5.0).norm(), "{off}");
        let rows = [(4.0, 10.0), (5.0, 40.0), (6.0, 45.0), (7.0, 90.0)];
        let curve = SteadyForces::new(&[], &[], &rows, 0.0);
        let (spread, n) = (0.15, 4000);
        let (mut mean, mut weight) = (0.0, 0.0);
        for k in 0..=n {
            let x = -6.0 + 12.0 * f64::from(k) / f64::from(n);
            let rule = if k % 2 == 1 { 4.0 } else { 2.0 };
            let w = rule * (-0.5 * x * x).exp();
            mean += w * curve.slope(5.0 + spread * x)[4];
            weight += w;
        }
        let found = curve.slope_over(5.0, spread)[4];
        println!("{found} {}", mean / weight);
        assert!((found / (mean / weight) - 1.0).abs() < 0.03); // five points on a curve in pieces
        assert!((found / curve.slope(5.0)[4] - 1.0).abs() > 0.05);
    }
}
