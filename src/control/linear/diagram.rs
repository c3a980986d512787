//! Block diagrams of sampled linear systems, drawn line by line beside the code they stand for.
//!
//! A [`Line`] is a combination of the states before a sample and of the inputs at it; a [`Diagram`]
//! owns the states. A law repeats its `update` with lines instead of numbers and gets its exact matrices,
//! algebraic order included: what `update` reads after a state was renewed is the renewed value here too.
//!
//! # Equation
//! ```text
//! line = s' x(k) + g' y(k)
//! x_i(k+1) = the line handed to `set_state`
//! ```
//!
//! # Checked by
//! `section_is_its_own_diagram`, `lines_add_up`

use std::ops::{Add, Mul, Sub};

use nalgebra::DMatrix;

use super::{LawSignal, LinearLaw};
use crate::control::filter::Section;

/// A combination of states and inputs; coefficients that are not there are zero.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Line {
    states: Vec<f64>,
    inputs: Vec<f64>,
}

impl Line {
    /// The line that is always zero.
    pub fn zero() -> Self {
        Line::default()
    }
}

fn sum(a: &[f64], b: &[f64], factor: f64) -> Vec<f64> {
    let at = |v: &[f64], i: usize| v.get(i).copied().unwrap_or(0.0);
    (0..a.len().max(b.len()))
        .map(|i| at(a, i) + factor * at(b, i))
        .collect()
}

impl Add for Line {
    type Output = Line;

    fn add(self, other: Line) -> Line {
        Line {
            states: sum(&self.states, &other.states, 1.0),
            inputs: sum(&self.inputs, &other.inputs, 1.0),
        }
    }
}

impl Sub for Line {
    type Output = Line;

    fn sub(self, other: Line) -> Line {
        self + other * -1.0
    }
}

impl Mul<f64> for Line {
    type Output = Line;

    fn mul(self, factor: f64) -> Line {
        Line {
            states: self.states.iter().map(|v| v * factor).collect(),
            inputs: self.inputs.iter().map(|v| v * factor).collect(),
        }
    }
}

/// States and inputs of a law while it is being drawn.
#[derive(Clone, Debug, Default)]
pub struct Diagram {
    signals: Vec<LawSignal>,
    next: Vec<Line>,
}

impl Diagram {
    /// The line of a signal; the same signal asked twice is one input.
    pub fn input(&mut self, signal: LawSignal) -> Line {
        let found = self.signals.iter().position(|s| *s == signal);
        let at = found.unwrap_or_else(|| {
            self.signals.push(signal);
            self.signals.len() - 1
        });
        let mut inputs = vec![0.0; at + 1];
        inputs[at] = 1.0;
        Line {
            states: Vec::new(),
            inputs,
        }
    }

    /// A new state: its number, and the line of its value before the sample.
    pub fn state(&mut self) -> (usize, Line) {
        let at = self.next.len();
        self.next.push(Line::zero());
        let mut states = vec![0.0; at + 1];
        states[at] = 1.0;
        let line = Line {
            states,
            inputs: Vec::new(),
        };
        (at, line)
    }

    /// What a state is after the sample.
    pub fn set_state(&mut self, state: usize, value: Line) {
        self.next[state] = value;
    }

    /// The value of `x` at the sample before.
    pub fn before(&mut self, x: &Line) -> Line {
        let (at, line) = self.state();
        self.set_state(at, x.clone());
        line
    }

    /// `x` through a filter.
    pub fn section(&mut self, f: &Section, x: &Line) -> Line {
        let (at1, s1) = self.state();
        let y = x.clone() * f.b[0] + s1;
        let mut s1_next = x.clone() * f.b[1] - y.clone() * f.a[0];
        let second = [f.b[2], f.a[1]].iter().any(|v| v.abs() > 0.0);
        if second {
            let (at2, s2) = self.state();
            self.set_state(at2, x.clone() * f.b[2] - y.clone() * f.a[1]);
            s1_next = s1_next + s2;
        }
        self.set_state(at1, s1_next);
        y
    }

    /// The matrices, with `out` as the channels' commands about trim.
    pub fn law(&self, sample_period_s: f64, channels: &[usize], out: &[Line]) -> LinearLaw {
        let (n, p) = (self.next.len(), self.signals.len());
        let states = |lines: &[Line]| {
            DMatrix::from_fn(lines.len(), n, |i, j| {
                lines[i].states.get(j).copied().unwrap_or(0.0)
            })
        };
        let inputs = |lines: &[Line]| {
            DMatrix::from_fn(lines.len(), p, |i, j| {
                lines[i].inputs.get(j).copied().unwrap_or(0.0)
            })
        };
        LinearLaw {
            sample_period_s,
            signals: self.signals.clone(),
            channels: channels.to_vec(),
            a: states(&self.next),
            b: inputs(&self.next),
            c: states(out),
            d: inputs(out),
            speed_power: 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn section_is_its_own_diagram() {
        for f in [
            Section::low_pass(2.0, 0.1),
            Section::notch(1.5, 0.4, 0.1, 0.1),
        ] {
            let mut d = Diagram::default();
            let x = d.input(LawSignal::Pitch);
            let y = d.section(&f, &x);
            let law = d.law(0.1, &[3], &[y]);
            for omega in [0.0, 0.3, 1.5, 9.0] {
                let got = law.response(omega).unwrap()[(0, 0)];
                // rounding of a handful of operations
                assert!((got - f.response(omega, 0.1)).norm() < 1e-12, "{omega}");
            }
        }
    }

    #[test]
    fn lines_add_up() {
        let mut d = Diagram::default();
        let (a, b) = (d.input(LawSignal::Roll), d.input(LawSignal::Pitch));
        assert_eq!(d.input(LawSignal::Roll), a);
        let old = d.before(&b);
        let law = d.law(0.1, &[0], &[a * 2.0 - old * 3.0]);
        assert_eq!((law.a.nrows(), law.b[(0, 1)]), (1, 1.0));
        assert_eq!(
            (law.c[(0, 0)], law.d[(0, 0)], law.d[(0, 1)]),
            (-3.0, 2.0, 0.0)
        );
    }
}
