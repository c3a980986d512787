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
//! Speed changes slowly (the tables are steady ones). Beyond the last row the forces grow with
//! speed squared; below the first they fall to zero with it.
//!
//! # Source
//! Common practice, no source: sinkage and trim come from tank tests, see the craft file's note.
//!
//! # Checked by
//! `square_law_outside_the_table_and_continuous_inside`.

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

/// A force coefficient (value over speed squared) linear in speed between rows, constant outside.
#[derive(Clone, Debug, PartialEq)]
struct SquareTable {
    rows: Vec<(f64, f64)>,
}

impl SquareTable {
    fn new(rows: &[(f64, f64)]) -> Self {
        let rows = rows
            .iter()
            .filter(|r| r.0 > 0.0)
            .map(|&(u, f)| (u, f / (u * u)))
            .collect();
        SquareTable { rows }
    }

    /// Coefficient and its slope at `u`.
    fn coefficient(&self, u: f64) -> (f64, f64) {
        let (Some(first), Some(last)) = (self.rows.first(), self.rows.last()) else {
            return (0.0, 0.0);
        };
        if u <= first.0 {
            return (first.1, 0.0);
        }
        if u >= last.0 {
            return (last.1, 0.0);
        }
        let k = self.rows.partition_point(|r| r.0 <= u);
        let (a, b) = (self.rows[k - 1], self.rows[k]);
        let slope = (b.1 - a.1) / (b.0 - a.0);
        (a.1 + slope * (u - a.0), slope)
    }

    fn at(&self, u: f64) -> f64 {
        self.coefficient(u).0 * u * u
    }

    fn slope(&self, u: f64) -> f64 {
        let (c, dc) = self.coefficient(u);
        2.0 * c * u + dc * u * u
    }
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
    fn resistance_opposes_motion() {
        let s = SteadyForces::new(&[(5.0, 100.0)], &[], &[], 3.0);
        assert!(s.wrench(5.0)[0] < 0.0 && s.wrench(-5.0)[0] > 0.0);
        assert!(
            (s.wrench(5.0)[4] + 300.0).abs() < 1e-12,
            "deep drag puts the bow down"
        );
    }
}
