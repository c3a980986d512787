//! Pattern search: polls both ways along a set of directions, halves the step when none is better.
//!
//! # Equation
//! ```text
//! poll x -+ h d_k for all k, and x + (x - x_before) after a success; move to the best; else h = h/2
//! ```
//!
//! # Valid when
//! Ranks only, like the evolution before it, whose principal directions it takes over.
//!
//! # Source
//! R. Hooke & T. A. Jeeves (1961), Journal of the ACM 8, 212-229; T. G. Kolda, R. M. Lewis &
//! V. Torczon (2003), SIAM Review 45, 385-482: convergence of the complete poll.
//!
//! # Checked by
//! `creeps_down_a_bent_valley`.

/// State of a pattern search in the unit cube.
#[derive(Clone, Debug)]
pub struct Compass {
    centre: Vec<f64>,
    before: Option<Vec<f64>>,
    directions: Vec<Vec<f64>>,
    step: f64,
}

/// Step below which it ends; finer than the digits that files show.
const SMALLEST_STEP: f64 = 2e-4;

impl Compass {
    /// Begins at `centre` with step `step` along `directions`.
    pub fn new(centre: &[f64], step: f64, directions: Vec<Vec<f64>>) -> Self {
        Compass {
            centre: centre.to_vec(),
            before: None,
            directions,
            step,
        }
    }

    /// True when the step is too small to matter.
    pub fn is_done(&self) -> bool {
        self.step < SMALLEST_STEP
    }

    /// The places to judge next.
    pub fn ask(&self) -> Vec<Vec<f64>> {
        let mut places = Vec::new();
        let shifted = |d: &[f64], h: f64| -> Vec<f64> {
            let both = self.centre.iter().zip(d);
            both.map(|(c, d)| (c + h * d).clamp(0.0, 1.0)).collect()
        };
        if let Some(before) = &self.before {
            let both = self.centre.iter().zip(before);
            let on: Vec<f64> = both.map(|(c, b)| c - b).collect();
            places.push(shifted(&on, 1.0));
        }
        for d in &self.directions {
            places.push(shifted(d, self.step));
            places.push(shifted(d, -self.step));
        }
        places.retain(|p| *p != self.centre);
        places
    }

    /// Moves to the best place when it is better than the centre, else halves the step.
    pub fn tell(&mut self, better: Option<&[f64]>) {
        if let Some(place) = better {
            self.before = Some(std::mem::replace(&mut self.centre, place.to_vec()));
        } else {
            self.before = None;
            self.step *= 0.5;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn creeps_down_a_bent_valley() {
        let f = |x: &[f64]| 10.0 * (x[1] - x[0] * x[0]).powi(2) + (x[0] - 0.7).powi(2);
        let axes = vec![vec![1.0, 0.0], vec![0.0, 1.0]];
        let mut c = Compass::new(&[0.1, 0.9], 0.1, axes);
        let mut best = f(&[0.1, 0.9]);
        let mut rounds = 0;
        while !c.is_done() && rounds < 400 {
            let places = c.ask();
            let found = places.iter().min_by(|a, b| f(a).total_cmp(&f(b)));
            let better = found.filter(|p| f(p) < best).cloned();
            if let Some(p) = &better {
                best = f(p);
            }
            c.tell(better.as_deref());
            rounds += 1;
        }
        // Kolda, Lewis & Torczon, theorem 3.3: a failed poll of step h leaves a gradient below
        // h L sqrt(2), L = 60 the steepest curvature here; along the valley, of curvature 0.7, that is
        // at most (2e-4 * 60 * 1.41)^2 / (2 * 0.7)
        assert!(best < 2.1e-4, "{best} after {rounds}");
    }
}
