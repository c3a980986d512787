//! How many seeds a row has before it is looked at, and the level of its intervals.
//!
//! # Equation
//! ```text
//! looks after n0, 2 n0, 4 n0, ..., n_most seeds, K of them       done when the class is decided
//! every interval at level 1 - a/K
//! ```
//!
//! # Symbols
//! a = 1 - 0.95; n0 seeds of the scenario.
//!
//! # Valid when
//! As the stopping rule of campaigns ([`crate::campaign::batch::stop`]): each interval holds its level at each look, so
//! all looks together hold 0.95 at least (Bonferroni), whatever made the rule stop. The numbers of seeds are fixed, so
//! nothing depends on threads, order or stops.
//!
//! # Source
//! Jennison & Turnbull 1989, J. R. Statist. Soc. B 51, 305-361.
//!
//! # Checked by
//! `looks_double_up_to_the_most`

use serde::{Deserialize, Serialize};

use crate::math::stats::LEVEL;

/// Seeds, and after how many of them a row is looked at.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Looks {
    /// Seeds in the order in which they are run.
    pub seeds: Vec<u64>,
    /// Numbers of seeds, ascending; the last is all of them.
    pub after: Vec<usize>,
}

impl Looks {
    /// First after `first` seeds of `own` (the numbers after its greatest follow), then doubled up to `most`.
    pub fn new(own: &[u64], first: usize, most: Option<usize>) -> Self {
        let first = first.max(1);
        let most = most.unwrap_or(first).max(first);
        let mut after = vec![first];
        while let Some(n) = after.last().copied().filter(|n| *n < most) {
            after.push((2 * n).min(most));
        }
        let greatest = own.iter().copied().max().unwrap_or(0);
        let more = (1..).map(|k| greatest.saturating_add(k));
        let seeds = own.iter().copied().chain(more).take(most).collect();
        Looks { seeds, after }
    }

    /// `6, 12 seeds from seed 1 on`.
    pub(super) fn words(&self) -> String {
        let after: Vec<String> = self.after.iter().map(ToString::to_string).collect();
        let first = self.seeds.first().copied().unwrap_or(1);
        format!("{} seeds from seed {first} on", after.join(", "))
    }

    /// Level of every interval at every look.
    pub fn level(&self) -> f64 {
        1.0 - (1.0 - LEVEL) / self.after.len().max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looks_double_up_to_the_most() {
        let l = Looks::new(&[1, 2, 3, 7], 3, Some(16));
        assert_eq!(l.after, [3, 6, 12, 16]);
        assert_eq!(l.seeds[..6], [1, 2, 3, 7, 8, 9]);
        assert_eq!(l.seeds.len(), 16);
        assert!((l.level() - (1.0 - 0.05 / 4.0)).abs() < 1e-15);
        let one = Looks::new(&[5], 2, None);
        assert_eq!((one.seeds, one.after), (vec![5, 6], vec![2]));
    }
}
