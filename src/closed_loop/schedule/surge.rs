//! How fast the craft can change its speed.
//!
//! # Equation
//! ```text
//! m u' = T - R(u),   -ASTERN T_max <= T <= T_max
//! time from U_a to U_b = integral du / u'
//! ```
//!
//! # Symbols
//! m mass with added mass in surge (kg); R resistance with the drag of the surfaces at level trim, the
//! hump of the tables included (N); T thrust of all shafts (N).
//!
//! # Valid when
//! Straight ahead in calm water; the shafts' own lag is left out.
//!
//! # Source
//! Newton's second law; thrust limits of [`crate::dynamics::course`].
//!
//! # Checked by
//! `the_ramp_takes_the_time_that_surge_allows` (tests/schedule.rs)

use serde::Serialize;

use crate::closed_loop::craft::LoopCraft;
use crate::dynamics::course::ASTERN_FRAC;

/// Surge at one speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SurgePoint {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Resistance, N.
    pub resistance_n: f64,
    /// Greatest thrust, N.
    pub thrust_n: f64,
    /// Greatest acceleration, m/s2; not positive where thrust does not suffice.
    pub up_m_s2: f64,
    /// Greatest deceleration, as an acceleration, m/s2, negative.
    pub down_m_s2: f64,
}

/// Surge at the speed of each craft; zeros for a craft without shafts.
pub fn surge(crafts: &[LoopCraft]) -> Vec<SurgePoint> {
    crafts
        .iter()
        .map(|c| {
            let plant = &c.plant;
            let mass = plant.mass[(0, 0)] + plant.memory.a_inf[(0, 0)];
            let most: f64 = plant.shafts.iter().map(|s| s.max_thrust_n).sum();
            let resistance: f64 = c.trim.thrust_n.iter().sum();
            SurgePoint {
                speed_m_s: c.speed_m_s,
                resistance_n: resistance,
                thrust_n: most,
                up_m_s2: (most - resistance) / mass,
                down_m_s2: (-ASTERN_FRAC * most - resistance) / mass,
            }
        })
        .collect()
}

/// Shortest time over the whole range of `points`, up and down, s; infinite where thrust does not suffice.
pub fn times_s(points: &[SurgePoint]) -> [f64; 2] {
    let over = |f: &dyn Fn(&SurgePoint) -> f64| -> f64 {
        points
            .windows(2)
            .map(|w| {
                let (a, b) = (f(&w[0]), f(&w[1]));
                if a <= 0.0 || b <= 0.0 {
                    return f64::INFINITY;
                }
                0.5 * (w[1].speed_m_s - w[0].speed_m_s) * (1.0 / a + 1.0 / b)
            })
            .sum()
    };
    [over(&|p| p.up_m_s2), over(&|p| -p.down_m_s2)]
}
