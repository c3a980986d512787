//! The steady load of a surface that stands off its trim, carried by the others.
//!
//! # Equation
//! ```text
//! minimise  |W B (c + d)|^2 + eps^2 |c|^2     d: what lost surfaces stand off trim by, c: angles of the others
//! within    half of the way from trim to each stop
//! B         heave, pitch, roll by own force and by the wake on those behind, at frequency zero
//! ```
//! Only the steady load is carried; what the law asks in waves goes to the surfaces that are left as it is. Sharing
//! that out anew was tried on the linear model of the demonstration craft (16 kn, moderate sea, one aft flap
//! gone, five headings, fourteen matrices with and without wakes): what pitch gains roll loses. Making
//! heave, pitch and roll alike takes the RMS pitch in following seas from 1.11 to 0.83 deg and the roll from 1.02 to
//! 1.64 deg; one flap cannot do both, and the forward pair cannot help in roll: the flaps behind lose to its wake
//! what it lifts. The others, left to their own, keep the loop stable with the healthy law's demands.
//!
//! # Symbols
//! W: weights of roll, pitch and heave, 3, 1, 0.3 on shares of what all surfaces can do: a craft of this type is
//! softest in roll. eps, 0.1, leaves a tenth of the pitch, and keeps surfaces from working hard for what their
//! wakes take away (a forward pair turned against each other has a thirtieth of its own roll moment left, in the
//! mean). Half of the way is for waves.
//!
//! # Valid when
//! Steady wakes: slower than the way from the forward to the aft surfaces takes.
//!
//! # Source
//! Own derivation; least squares within bounds as in [`crate::control::allocate`].
//!
//! # Checked by
//! `load_of_a_stuck_surface_is_carried`, `counter_load_counts_wakes`, tests/monitor.rs

use crate::control::allocate::{Allocator, Sharing};
use crate::control::signal::{FinCommand, Setup};
use crate::spec::controller::PrioritySpec;
use crate::spec::craft::SurfaceGroup;

/// Share of the way to a stop that the steady load may take.
const WAY_FRAC: f64 = 0.5;

/// Carries steady loads.
#[derive(Clone, Debug)]
pub(super) struct Counter {
    allocator: Option<Allocator>,
    scratch: FinCommand,
    /// Angles added to those that are left, rad.
    pub(super) angle_rad: Vec<f64>,
}

/// What is known of a surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Part {
    /// Follows its command and may carry.
    Carries,
    /// Stands off its trim by this angle, rad.
    Stands(f64),
    /// Somebody else has it.
    Elsewhere,
}

impl Counter {
    pub(super) fn new(setup: &Setup) -> Self {
        let ahead = setup
            .surfaces
            .iter()
            .any(|s| s.group == SurfaceGroup::Forward);
        let sharing = Sharing {
            pitch_forward: f64::from(u8::from(ahead)),
            wake_frequency_rad_s: Some(0.0),
            // the allocator's own pull is 0.01: a tenth of weights 3, 1, 0.3 against eps 0.1
            priority: PrioritySpec {
                roll_weight: 0.3,
                pitch_weight: 0.1,
                heave_weight: 0.03,
                ride_weight: 0.03,
            },
            ..Sharing::default()
        };
        Counter {
            allocator: Allocator::driving(setup, sharing, &[]).ok(),
            scratch: FinCommand::at_trim(setup),
            angle_rad: vec![0.0; setup.surfaces.len()],
        }
    }

    /// Angles for surfaces in these parts, within the limits of `u`.
    pub(super) fn balance(&mut self, setup: &Setup, part: impl Fn(usize) -> Part, u: &FinCommand) {
        self.angle_rad.fill(0.0);
        let Some(allocator) = &self.allocator else {
            return;
        };
        for &i in allocator.channels() {
            let trim = setup.surfaces[i].trim_rad;
            let (low, high) = (u.min_rad[i], u.max_rad[i].max(u.min_rad[i]));
            let [least, most] = match part(i) {
                Part::Carries => {
                    [low, high].map(|stop| trim + WAY_FRAC * (stop - trim.clamp(low, high)))
                }
                Part::Stands(off_rad) => [trim + off_rad; 2],
                Part::Elsewhere => [trim; 2],
            };
            (self.scratch.min_rad[i], self.scratch.max_rad[i]) = (least, most);
            self.scratch.fin_rad[i] = trim;
        }
        allocator.share_out(|i| setup.surfaces[i].trim_rad, &mut self.scratch);
        for &i in allocator.channels() {
            if part(i) == Part::Carries {
                self.angle_rad[i] = self.scratch.fin_rad[i] - setup.surfaces[i].trim_rad;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::signal::{SurfaceSetup, Wake};
    use crate::control::testcraft;
    use crate::units::deg;

    /// Heave, pitch, roll of angles about trim, wakes included, in shares of what `lost` makes.
    fn left(setup: &Setup, counter: &Counter, lost: usize, off_rad: f64) -> [f64; 3] {
        let mut sum = [0.0; 3];
        let mut add = |f: crate::control::signal::ModalInfluence, angle: f64| {
            for (s, v) in sum.iter_mut().zip([f.heave_n, f.pitch_nm, f.roll_nm]) {
                *s += v * angle;
            }
        };
        let angle = |i: usize| counter.angle_rad[i] + if i == lost { off_rad } else { 0.0 };
        for (i, s) in setup.surfaces.iter().enumerate().take(4) {
            add(s.influence, angle(i));
        }
        for w in &setup.wakes {
            let (f, t) = (&setup.surfaces[w.from], &setup.surfaces[w.to]);
            let force = f.effectiveness * setup.influence_speed_m_s.powi(2) * w.force_ratio;
            add(
                SurfaceSetup::influence_at(&t.r_m, &t.n, -force),
                angle(w.from),
            );
        }
        let one = setup.surfaces[lost].influence;
        [
            sum[0] / (one.heave_n * off_rad),
            sum[1] / (one.pitch_nm * off_rad),
            sum[2] / (one.roll_nm * off_rad),
        ]
    }

    fn balanced(setup: &Setup, lost: usize, off_rad: f64) -> [f64; 3] {
        let mut counter = Counter::new(setup);
        let part = |i: usize| match i {
            i if i == lost => Part::Stands(off_rad),
            _ => Part::Carries,
        };
        counter.balance(setup, part, &FinCommand::at_trim(setup));
        assert_eq!(counter.angle_rad[lost].to_bits(), 0.0_f64.to_bits());
        left(setup, &counter, lost, off_rad)
    }

    #[test]
    fn load_of_a_stuck_surface_is_carried() {
        let setup = testcraft::setup();
        // what the pull eps leaves, by a projected Gauss-Seidel iteration written apart from this code
        for (lost, want) in [(0, [0.125, 0.012]), (2, [0.105, 0.014])] {
            for side in 0..2 {
                let [_, pitch, roll] = balanced(&setup, lost + side, deg(3.0));
                let off = (pitch - want[0]).abs().max((roll - want[1]).abs());
                assert!(off < 2e-3, "{lost}: {pitch} {roll}");
            }
        }
        // with forward fins at half of their way, roll still comes first
        let [_, pitch, roll] = balanced(&setup, 2, deg(15.0));
        assert!(
            (pitch - 0.60).abs() < 0.01 && (roll - 0.089).abs() < 0.01,
            "{pitch} {roll}"
        );
    }

    #[test]
    fn counter_load_counts_wakes() {
        let mut setup = testcraft::setup();
        setup.wakes = (0..2)
            .map(|i| Wake {
                from: i,
                to: i + 2,
                force_ratio: 1.0,
                distance_m: 22.0,
            })
            .collect();
        // without wakes in B the forward pair would turn against each other, for nothing
        let [_, pitch, roll] = balanced(&setup, 2, deg(3.0));
        assert!(
            (pitch - 0.041).abs() < 5e-3 && (roll - 0.044).abs() < 5e-3,
            "{pitch} {roll}"
        );
    }
}
