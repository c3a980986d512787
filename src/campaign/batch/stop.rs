//! When a place has had draws enough.
//!
//! # Equation
//! ```text
//! looks after n0, 2 n0, 4 n0, ... <= n_most draws, K of them
//! at look k     the interval of the mean at level 1 - a/K      for every law of the place
//! done when     half width <= share |mean|                     for every law of the place
//! told          the interval at level 1 - a/K, whether the place was done early or not
//! ```
//!
//! # Symbols
//! a = 1 - level; n draws; K number of looks; intervals as in [`super::means`] (rates as other numbers).
//!
//! # Valid when
//! Each single interval holds its level. Then all K hold together with 1 - a at least (Bonferroni), so the
//! one at which the rule stops does, whatever made it stop: the level is kept at any share asked for,
//! not only as the share goes to nothing. The price is a wider interval, for four looks 2.50 against 1.96
//! standard errors. Looks stand at fixed numbers of draws, taken in the order of draws, so the end does not
//! depend on threads, order or stops. Numbers that do not scatter at all (no contact yet) are never done
//! early. Runs that ended before their time give no number; a law none of whose runs completed asks for
//! no more.
//!
//! # Source
//! Repeated confidence intervals: Jennison & Turnbull 1989, J. R. Statist. Soc. B 51, 305-361. Why one look
//! after every draw without such a price errs: Chow & Robbins 1965, Annals of Mathematical Statistics 36,
//! 457-462, and Glynn & Whitt 1992, Annals of Applied Probability 2, 180-198 (right only as the width goes to
//! zero).
//!
//! # Checked by
//! `the_level_is_kept`, `a_plain_rule_would_not_keep_it`, `what_does_not_scatter_is_not_done`

use crate::math::stats::LEVEL;
use crate::spec::campaign::DrawsSpec;

use super::draw::blocks;
use super::means::mean_of;

/// A stopping rule.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule<'a> {
    /// Column looked at.
    pub quantity: &'a str,
    /// Half width asked for, as a share of the mean.
    pub half_width_frac: f64,
    /// Level of each look's interval.
    pub level: f64,
}

/// Level of every interval that a campaign tells: [`LEVEL`], sharper where looks are taken.
pub fn level(draws: &DrawsSpec) -> f64 {
    1.0 - (1.0 - LEVEL) / blocks(draws).len().max(1) as f64
}

impl<'a> Rule<'a> {
    /// Of a campaign; none without looks.
    pub fn of(draws: &'a DrawsSpec) -> Option<Self> {
        match draws {
            DrawsSpec::Fixed { .. } => None,
            DrawsSpec::Until {
                quantity,
                half_width_frac,
                ..
            } => Some(Rule {
                quantity,
                half_width_frac: *half_width_frac,
                level: level(draws),
            }),
        }
    }

    /// Whether one law's numbers, one a draw, NaN where a run ended early, are enough.
    pub fn is_met(&self, numbers: &[f64]) -> bool {
        let x: Vec<f64> = numbers.iter().copied().filter(|v| v.is_finite()).collect();
        match x.len() {
            0 => true,
            1..=3 => false,
            _ => {
                let i = mean_of(self.quantity, &x, 0.0, self.level);
                let half = 0.5 * (i.high - i.low);
                half > 0.0 && half <= self.half_width_frac * i.value.abs()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, Stream};

    fn until(least: usize, most: usize, half_width_frac: f64) -> DrawsSpec {
        DrawsSpec::Until {
            quantity: "x".into(),
            half_width_frac,
            least,
            most,
        }
    }

    /// Share of campaigns whose told interval holds the true mean, and their mean number of draws.
    fn coverage(
        draws: &DrawsSpec,
        level: f64,
        mean: f64,
        draw: impl Fn(&mut Stream) -> f64,
    ) -> (f64, f64) {
        let rule = Rule {
            level,
            ..Rule::of(draws).unwrap()
        };
        let (mut held, mut spent) = (0, 0);
        for trial in 0..TRIALS {
            let mut s = Stream::new(11, trial, Purpose::Other);
            let mut x = Vec::new();
            for b in blocks(draws) {
                x.extend(b.map(|_| draw(&mut s)));
                if rule.is_met(&x) {
                    break;
                }
            }
            spent += x.len();
            held += u64::from(mean_of("x", &x, 0.0, level).holds(mean));
        }
        (held as f64 / TRIALS as f64, spent as f64 / TRIALS as f64)
    }

    const TRIALS: u64 = 4000;
    /// Three standard errors of a share of 0.95 in so many trials.
    fn chance() -> f64 {
        3.0 * (0.95 * 0.05 / TRIALS as f64).sqrt()
    }

    /// The mean of a law and a draw of it.
    type Law = (f64, fn(&mut Stream) -> f64);

    #[test]
    fn the_level_is_kept() {
        // RMS values scatter by 5 to 20 %: normal; sickness and maxima lean: lognormal, Gumbel
        let lean = 0.25f64;
        let laws: [Law; 3] = [
            (1.0, |s| 1.0 + 0.2 * s.normal()),
            ((0.5 * lean * lean).exp(), |s| (0.25 * s.normal()).exp()),
            (3.0 + 0.5 * 0.577_215_664_9, |s| {
                3.0 - 0.5 * (-(1.0 - s.uniform()).ln()).ln()
            }),
        ];
        for (k, (mean, law)) in laws.into_iter().enumerate() {
            for (share, most) in [(0.05, 128), (0.1, 64), (0.03, 64)] {
                let draws = until(8, most, share);
                let (held, spent) = coverage(&draws, level(&draws), mean, law);
                assert!(held > 0.95 - chance(), "law {k}, {share}: {held}");
                assert!(spent <= most as f64);
            }
        }
    }

    #[test]
    fn a_plain_rule_would_not_keep_it() {
        // the same looks with the 95 % interval each: the reason for the sharper level
        let draws = until(8, 128, 0.1);
        let (held, _) = coverage(&draws, LEVEL, 1.0, |s| 1.0 + 0.2 * s.normal());
        assert!(held < 0.95 - chance(), "{held}");
    }

    #[test]
    fn what_does_not_scatter_is_not_done() {
        let draws = until(8, 64, 0.1);
        let rule = Rule::of(&draws).unwrap();
        assert!(!rule.is_met(&[0.0; 8]));
        assert!(rule.is_met(&[f64::NAN; 8]), "no run completed");
        assert!(!rule.is_met(&[1.0, 1.1, f64::NAN, f64::NAN]));
        assert!((rule.level - (1.0 - 0.05 / 4.0)).abs() < 1e-15);
        assert!((level(&DrawsSpec::Fixed { count: 9 }) - 0.95).abs() < 1e-15);
    }
}
