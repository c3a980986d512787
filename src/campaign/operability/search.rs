//! The greatest height that meets every limit, and up to which height the answer can be trusted.
//!
//! # Equation
//! ```text
//! r(h) = max over the limits of value/limit;   limiting height: r(h) = 1
//! next h: secant of ln r over ln h; for the first step of slope one, h/r
//! ```
//! The bracket end that stays twice has its ln r halved (Illinois); every fifth step halves the bracket.
//!
//! # Symbols
//! h significant height (m), r worst share of a limit.
//!
//! # Valid when
//! r rises with h. A linear craft has r proportional to h for every RMS, and the first step lands on
//! the answer. Doubts are taken to begin at one height and to stay above it.
//!
//! # Source
//! Dowell & Jarratt (1971), BIT 11, 168-174: the Illinois rule.
//!
//! # Checked by
//! `a_line_takes_two_probes`, `steep_curves_are_found`, `doubt_has_its_own_height` (here);
//! `the_limit_is_where_the_criterion_is` (tests/operability.rs).

use crate::error::Result;

/// Least height that is looked at, m.
pub const LEAST_M: f64 = 0.05;
/// Share of the limit by which the worst value may miss it.
pub const TOLERANCE: f64 = 1e-3;
/// Share by which the height up to which answers are trusted may be off.
const TRUST_STEP: f64 = 0.04;
const MOST_PROBES: usize = 40;
/// Size of ln r beyond which no more is learnt from it.
const MOST_LN: f64 = 15.0;

/// What was found at one height.
pub trait Probed {
    /// Worst value over its limit.
    fn ratio(&self) -> f64;
    /// Whether the answer can be trusted.
    fn is_trusted(&self) -> bool;
}

/// The outcome of a search.
#[derive(Clone, Debug)]
pub struct Found<P> {
    /// Greatest height that meets all limits, m; 0 when none does; the greatest looked at when all do.
    pub limit_m: f64,
    /// All heights looked at meet the limits.
    pub beyond: bool,
    /// What was found at that height, or at the least one looked at.
    pub at: P,
    /// Height up to which answers are trusted, m; at least the limit when the limit is trusted.
    pub trusted_to_m: f64,
    /// Heights looked at.
    pub probes: usize,
}

/// Searches up to `most_m`.
///
/// # Errors
/// Those of `probe`.
pub fn limiting<P: Probed>(
    most_m: f64,
    probe: &mut dyn FnMut(f64) -> Result<P>,
) -> Result<Found<P>> {
    let mut seen: Vec<(f64, bool)> = Vec::new();
    let mut look = |h: f64, seen: &mut Vec<(f64, bool)>| {
        let p = probe(h)?;
        seen.push((h, p.is_trusted()));
        Ok::<P, crate::error::Error>(p)
    };
    let top = look(most_m, &mut seen)?;
    let (limit_m, beyond, at) = if top.ratio() <= 1.0 {
        (most_m, true, top)
    } else {
        let (limit_m, at) = between(most_m, top, &mut |h| look(h, &mut seen))?;
        (limit_m, false, at)
    };
    let trusted_to_m = if at.is_trusted() {
        limit_m
    } else {
        trusted(limit_m, &mut seen, &mut look)?
    };
    Ok(Found {
        limit_m,
        beyond,
        at,
        trusted_to_m,
        probes: seen.len(),
    })
}

/// The limit below a height that does not meet it.
fn between<P: Probed>(
    most_m: f64,
    top: P,
    look: &mut dyn FnMut(f64) -> Result<P>,
) -> Result<(f64, P)> {
    let ln = |p: &P| p.ratio().ln().clamp(-MOST_LN, MOST_LN);
    let (mut high, mut high_ln) = (most_m, ln(&top));
    let mut worst = top;
    let mut low: Option<(f64, f64, P)> = None;
    let mut last_was_high = true;
    for step in 1..MOST_PROBES {
        let h = match &low {
            None => (high * (-high_ln).exp()).max(LEAST_M),
            Some((l, _, _)) if step % 5 == 0 => (l * high).sqrt(),
            Some((l, l_ln, _)) => {
                let t = -l_ln / (high_ln - l_ln);
                l * (high / l).powf(t)
            }
        };
        let p = look(h)?;
        let r = p.ratio();
        if (r - 1.0).abs() <= TOLERANCE {
            return Ok((h, p));
        }
        if r > 1.0 {
            if h <= LEAST_M {
                return Ok((0.0, p));
            }
            if last_was_high && let Some((_, l_ln, _)) = &mut low {
                *l_ln *= 0.5;
            }
            (high, high_ln, worst) = (h, ln(&p), p);
            last_was_high = true;
        } else {
            if !last_was_high {
                high_ln *= 0.5;
            }
            low = Some((h, ln(&p), p));
            last_was_high = false;
        }
        if let Some((l, _, _)) = &low
            && high / l - 1.0 < 0.1 * TOLERANCE
        {
            break;
        }
    }
    Ok(match low {
        Some((l, _, p)) => (l, p),
        None => (0.0, worst),
    })
}

/// Probes a height and notes whether its answer is trusted.
type Look<'a, P> = dyn FnMut(f64, &mut Vec<(f64, bool)>) -> Result<P> + 'a;

/// Height below which the answers are trusted, given that they are not at `limit_m`.
fn trusted<P: Probed>(
    limit_m: f64,
    seen: &mut Vec<(f64, bool)>,
    look: &mut Look<'_, P>,
) -> Result<f64> {
    let mut high = limit_m.max(LEAST_M);
    for (h, _) in seen.iter().filter(|s| !s.1) {
        high = high.min(*h);
    }
    let fits = |s: &&(f64, bool)| s.1 && s.0 < high;
    let mut low = seen.iter().filter(fits).map(|s| s.0).fold(0.0, f64::max);
    if low <= 0.0 {
        if high <= LEAST_M || !look(LEAST_M, seen)?.is_trusted() {
            return Ok(0.0);
        }
        low = LEAST_M;
    }
    while high / low > 1.0 + TRUST_STEP {
        let middle = (low * high).sqrt();
        if look(middle, seen)?.is_trusted() {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(low)
}

#[cfg(test)]
mod tests {
    use super::*;

    struct P(f64, bool);
    impl Probed for P {
        fn ratio(&self) -> f64 {
            self.0
        }
        fn is_trusted(&self) -> bool {
            self.1
        }
    }

    #[test]
    fn a_line_takes_two_probes() {
        let f = limiting(6.0, &mut |h| Ok(P(h / 1.7, true))).unwrap();
        assert!((f.limit_m - 1.7).abs() < 1e-12 && f.probes == 2 && !f.beyond);
        let f = limiting(1.5, &mut |h| Ok(P(h / 1.7, true))).unwrap();
        assert!(f.beyond && f.probes == 1 && f.limit_m.total_cmp(&1.5).is_eq());
        let f = limiting(6.0, &mut |h| Ok(P(2.0 + h, true))).unwrap();
        assert!(f.limit_m == 0.0 && !f.beyond);
    }

    #[test]
    fn steep_curves_are_found() {
        // contacts an hour: Rice, 500 exp(-c^2/(2 (h/5)^2)) against a limit of 10
        let rate = |h: f64| 50.0 * (-0.5 * (1.2 / (0.2 * h)).powi(2)).exp();
        let exact = 1.2 / (0.2 * (2.0 * 50f64.ln()).sqrt());
        let f = limiting(8.0, &mut |h| Ok(P(rate(h), true))).unwrap();
        assert!((f.limit_m / exact - 1.0).abs() < 2e-4, "{}", f.limit_m);
        assert!(f.probes < 16, "{}", f.probes);
        // a worst of two curves, with a jump
        let jump = |h: f64| if h < 2.0 { 0.3 * h } else { 3.0 * h };
        let f = limiting(8.0, &mut |h| Ok(P(jump(h), true))).unwrap();
        assert!((f.limit_m - 2.0).abs() < 1e-3 && f.at.0 < 1.0);
    }

    #[test]
    fn doubt_has_its_own_height() {
        let f = limiting(6.0, &mut |h| Ok(P(h / 3.0, h < 1.3))).unwrap();
        assert!((f.limit_m - 3.0).abs() < 1e-9);
        assert!(f.trusted_to_m <= 1.3 && f.trusted_to_m > 1.3 / (1.0 + TRUST_STEP));
        let f = limiting(6.0, &mut |h| Ok(P(h / 3.0, h > 99.0))).unwrap();
        assert!(f.trusted_to_m == 0.0);
        let f = limiting(6.0, &mut |h| Ok(P(h / 3.0, h < 4.0))).unwrap();
        assert!((f.trusted_to_m - 3.0).abs() < 1e-9, "trusted at the limit");
    }
}
