//! The state vector and its order.
//!
//! ```text
//! x = [ track deviation x y z | phi theta psi | u v w p q r | memory 2n |
//!       per surface: servo angle, rate | per surface: Wagner 2, Kussner 2 |
//!       per delay line: 4 | per propulsor: thrust ]
//! ```
//! The first three are the earth-fixed position of O less the nominal track (U t along the mean
//! course), m; psi is the deviation from the mean course.

use std::ops::Range;

/// States of one downwash delay line (Pade approximant of order 4).
pub const DELAY_ORDER: usize = 4;

/// Where each part of the state vector sits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StateLayout {
    /// Memory states.
    pub memory: Range<usize>,
    /// Servo angle and rate, two per surface.
    pub servo: Range<usize>,
    /// Lift lags, four per surface.
    pub lag: Range<usize>,
    /// Downwash delay lines, [`DELAY_ORDER`] each.
    pub delay: Range<usize>,
    /// Thrust, one per propulsor, N.
    pub thrust: Range<usize>,
}

impl StateLayout {
    /// Deviation of O from the nominal track, m.
    pub const POSITION: Range<usize> = 0..3;
    /// phi, theta, psi, rad.
    pub const EULER: Range<usize> = 3..6;
    /// Body velocities of O, m/s and rad/s.
    pub const NU: Range<usize> = 6..12;

    /// Layout for the given counts.
    pub fn new(memory: usize, surfaces: usize, delays: usize, propulsors: usize) -> Self {
        let m = Self::NU.end;
        let s = m + memory;
        let l = s + 2 * surfaces;
        let d = l + 4 * surfaces;
        let t = d + DELAY_ORDER * delays;
        StateLayout {
            memory: m..s,
            servo: s..l,
            lag: l..d,
            delay: d..t,
            thrust: t..t + propulsors,
        }
    }

    /// Length of the state vector.
    pub fn len(&self) -> usize {
        self.thrust.end
    }

    /// Never: there are always twelve rigid-body states.
    pub fn is_empty(&self) -> bool {
        false
    }

    /// Servo angle of surface `i`.
    pub fn angle(&self, i: usize) -> usize {
        self.servo.start + 2 * i
    }

    /// Servo rate of surface `i`.
    pub fn rate(&self, i: usize) -> usize {
        self.servo.start + 2 * i + 1
    }

    /// First lift-lag state of surface `i`.
    pub fn lag(&self, i: usize) -> usize {
        self.lag.start + 4 * i
    }

    /// First state of delay line `j`.
    pub fn delay(&self, j: usize) -> usize {
        self.delay.start + DELAY_ORDER * j
    }

    /// Names of all states, for tables and messages.
    pub fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = [
            "x", "y", "z", "phi", "theta", "psi", "u", "v", "w", "p", "q", "r",
        ]
        .map(str::to_owned)
        .to_vec();
        names.extend((0..self.memory.len()).map(|i| format!("memory {i}")));
        names.extend(
            (0..self.servo.len() / 2)
                .flat_map(|i| [format!("servo angle {i}"), format!("servo rate {i}")]),
        );
        names.extend((0..self.lag.len()).map(|i| format!("lift lag {}.{}", i / 4, i % 4)));
        names.extend(
            (0..self.delay.len())
                .map(|i| format!("downwash delay {}.{}", i / DELAY_ORDER, i % DELAY_ORDER)),
        );
        names.extend((0..self.thrust.len()).map(|i| format!("thrust {i}")));
        names
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_follow_each_other_without_gap() {
        let l = StateLayout::new(28, 6, 2, 2);
        assert_eq!(l.memory, 12..40);
        assert_eq!(l.angle(0), 40);
        assert_eq!(l.rate(5), 51);
        assert_eq!(l.lag(5) + 4, l.delay.start);
        assert_eq!(l.len(), 12 + 28 + 12 + 24 + 8 + 2);
        assert_eq!(l.names().len(), l.len());
    }
}
