//! A craft whose coefficients are not what its file says: factors on damping, fins and stiffness.
//!
//! # Equation
//! ```text
//! damping   f_d: memory force, linear viscous and lift of hulls and struts, slope of the cross-flow drag
//! fins      f_e: lift and drag of every surface but rudders, by incidence and by deflection
//! roll GM   f_r: A += M^-1 e_4 (f_r - 1) dK/dphi e_phi'      hydrostatic, at the trim
//! pitch GM  f_p: A += M^-1 e_5 (f_p - 1) dM/dtheta e_theta'
//! ```
//! The law keeps what it was told: its gains are those of the nominal craft, and so is the trim about
//! which the craft is linear.
//!
//! # Symbols
//! A state matrix, M mass matrix, K and M moments of restoring, f factors.
//!
//! # Valid when
//! Factors of some tenths about one. Added mass at high frequency, Munk moment and downwash per lift
//! coefficient stay; downwash lift grows with the surface that it meets.
//!
//! # Source
//! Latin hypercube: McKay, Beckman & Conover 1979, Technometrics 21, 239-245. The rest is the plant's own.
//!
//! # Checked by
//! `factors_of_one_change_nothing`, `factors_do_what_they_say`, `draws_fill_every_layer`,
//! `surveys_do_not_depend_on_threads`

use std::sync::Arc;

use rayon::prelude::*;

use super::craft::LoopCraft;
use crate::dynamics::plant::Plant;
use crate::linear::assemble::assemble;
use crate::math::rng::{Purpose, Stream};
use crate::spec::craft::SurfaceGroup;

/// Factors on coefficients of the craft; one is nominal.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Factors {
    /// Damping of hulls and struts.
    pub damping: f64,
    /// Force of fins.
    pub fin_effectiveness: f64,
    /// Hydrostatic stiffness in roll, as GM_T.
    pub roll_stiffness: f64,
    /// Hydrostatic stiffness in pitch, as GM_L.
    pub pitch_stiffness: f64,
}

/// Names of the factors in their order.
pub const NAMES: [&str; 4] = ["damping", "fins", "roll GM", "pitch GM"];

impl Factors {
    /// The craft as its file says.
    pub const NOMINAL: Factors = Factors {
        damping: 1.0,
        fin_effectiveness: 1.0,
        roll_stiffness: 1.0,
        pitch_stiffness: 1.0,
    };

    /// From four numbers in the order of [`NAMES`].
    pub fn of(v: [f64; 4]) -> Self {
        Factors {
            damping: v[0],
            fin_effectiveness: v[1],
            roll_stiffness: v[2],
            pitch_stiffness: v[3],
        }
    }

    /// In the order of [`NAMES`].
    pub fn values(&self) -> [f64; 4] {
        [
            self.damping,
            self.fin_effectiveness,
            self.roll_stiffness,
            self.pitch_stiffness,
        ]
    }

    /// `damping -20 %, fins +20 %`; `nominal` where all are one.
    pub fn words(&self) -> String {
        let parts: Vec<String> = NAMES
            .iter()
            .zip(self.values())
            .filter(|(_, v)| differs(*v))
            .map(|(name, v)| format!("{name} {:+.0} %", 100.0 * (v - 1.0)))
            .collect();
        if parts.is_empty() {
            "nominal".to_owned()
        } else {
            parts.join(", ")
        }
    }

    /// The plant with these factors on its damping and fins.
    #[must_use]
    pub fn plant(&self, plant: &Plant) -> Plant {
        let mut out = plant.clone();
        if differs(self.damping) {
            out.memory.c *= self.damping;
            out.viscous_linear *= self.damping;
        }
        for s in &mut out.surfaces {
            if s.group != SurfaceGroup::Rudder {
                s.area_m2 *= self.fin_effectiveness;
            }
        }
        out
    }

    /// The craft in the loop with these factors, about the same trim, its law told nothing.
    #[must_use]
    pub fn apply(&self, craft: &LoopCraft) -> LoopCraft {
        let plant = self.plant(&craft.plant);
        let drag = craft.drag_slope * self.damping;
        let given = differs(self.damping) && plant.quadratic_drag;
        let mut linear = assemble(&plant, &craft.trim.x, given.then_some(&drag));
        for (factor, state) in [(self.roll_stiffness, 3), (self.pitch_stiffness, 4)] {
            if differs(factor) {
                let more = (factor - 1.0) * stiffness_slope(&craft.plant, &craft.trim.x, state);
                let mut column = linear.a.view_mut((6, state), (6, 1));
                column += craft.plant.mass_inverse().column(state) * more;
            }
        }
        LoopCraft {
            plant: Arc::new(plant),
            linear,
            drag_slope: drag,
            ..craft.clone()
        }
    }
}

fn differs(factor: f64) -> bool {
    (factor - 1.0).abs() > 0.0
}

/// Slope of the hydrostatic force or moment by its own motion (state 2 heave, 3 roll, 4 pitch), N/m or
/// N m/rad; negative where it rights the craft.
pub(crate) fn stiffness_slope(plant: &Plant, x: &[f64], state: usize) -> f64 {
    let h = if state == 2 { 0.02 } else { 0.002 }; // m, rad: the steps of the linear model
    let at = |d: f64| {
        let mut y = [x[2], x[3], x[4]];
        y[state - 2] += d;
        plant.restoring_wrench(y[0], y[1], y[2])[state]
    };
    (at(h) - at(-h)) / (2.0 * h)
}

/// All combinations of `1 - spread` and `1 + spread`, after the nominal craft.
pub fn corners(spread_frac: f64) -> Vec<Factors> {
    let mut all = vec![Factors::NOMINAL];
    for k in 0..1_u32 << NAMES.len() {
        let side = |i: usize| {
            let up = k >> i & 1 == 1;
            1.0 + if up { spread_frac } else { -spread_frac }
        };
        all.push(Factors::of([side(0), side(1), side(2), side(3)]));
    }
    all
}

/// `count` draws between `1 - spread` and `1 + spread`, one in each of `count` layers of every factor.
pub fn draws(spread_frac: f64, count: usize, seed: u64) -> Vec<Factors> {
    let columns: Vec<Vec<f64>> = (0..NAMES.len() as u32)
        .map(|i| {
            let mut stream = Stream::with_index(seed, 0, Purpose::Coefficients, i);
            let mut layer: Vec<usize> = (0..count).collect();
            for k in (1..count).rev() {
                layer.swap(k, stream.below(k as u64 + 1) as usize);
            }
            let place = |l: usize, u: f64| (l as f64 + u) / count as f64;
            layer
                .into_iter()
                .map(|l| 1.0 + spread_frac * (2.0 * place(l, stream.uniform()) - 1.0))
                .collect()
        })
        .collect();
    (0..count)
        .map(|k| Factors::of([columns[0][k], columns[1][k], columns[2][k], columns[3][k]]))
        .collect()
}

/// `judge` of the craft under each set of factors, in their order whatever the threads.
pub fn survey<T: Send>(
    craft: &LoopCraft,
    all: &[Factors],
    judge: impl Fn(&LoopCraft) -> T + Sync,
) -> Vec<T> {
    all.par_iter().map(|f| judge(&f.apply(craft))).collect()
}
