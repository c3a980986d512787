//! Checks of the allocator.

use super::*;
use crate::control::testcraft;

const TOL_ROUND: f64 = 1e-7; // damping 1e-8 of the least-norm solution, demands of order 0.1 rad

fn angles(a: &Allocator, d: Demand, limit: f64) -> Vec<f64> {
    let setup = testcraft::setup();
    let mut u = FinCommand::at_trim(&setup);
    u.min_rad.fill(-limit);
    u.max_rad.fill(limit);
    a.allocate(&d, |_| 0.0, &mut u);
    u.fin_rad[..4].to_vec()
}

fn heave(v: f64) -> Demand {
    Demand {
        heave_rad: v,
        ..Demand::default()
    }
}

fn pitch(v: f64) -> Demand {
    Demand {
        pitch_rad: v,
        ..Demand::default()
    }
}

fn roll(v: f64) -> Demand {
    Demand {
        roll_rad: v,
        ..Demand::default()
    }
}

#[test]
fn sign_card() {
    let a = Allocator::new(&testcraft::setup(), 0.4).unwrap();
    let up = angles(&a, heave(0.1), 1.0);
    assert!(up.iter().all(|v| *v > 0.0), "heave: all positive {up:?}");
    let bow_up = angles(&a, pitch(0.1), 1.0);
    assert!(bow_up[0] > 0.0 && bow_up[1] > 0.0 && bow_up[2] < 0.0 && bow_up[3] < 0.0);
    let stbd_up = angles(&a, roll(0.1), 1.0);
    assert!(stbd_up[0] < 0.0 && stbd_up[1] > 0.0 && stbd_up[2] < 0.0 && stbd_up[3] > 0.0);
}

#[test]
fn inside_limits_every_demand_is_met() {
    let setup = testcraft::setup();
    for share in [0.0, 0.3, 0.5, 1.0] {
        let a = Allocator::new(&setup, share).unwrap();
        let d = Demand {
            heave_rad: 0.02,
            pitch_rad: -0.03,
            roll_rad: 0.05,
        };
        let x = angles(&a, d, 1.0);
        let got = a.modal(|i| x[i]);
        assert!((got.pitch_rad - d.pitch_rad).abs() < TOL_ROUND);
        assert!((got.roll_rad - d.roll_rad).abs() < TOL_ROUND);
        let want = a.expected(&d);
        assert!((got.heave_rad - want.heave_rad).abs() < TOL_ROUND);
        // the forward pair carries its share of the pitch moment
        let bow = angles(&a, pitch(0.1), 1.0);
        let part = a.b[1][0] * bow[0] + a.b[1][1] * bow[1];
        assert!((part - 0.1 * share).abs() < TOL_ROUND);
    }
}

#[test]
fn pitch_comes_first_at_the_limits() {
    let a = Allocator::new(&testcraft::setup(), 0.4).unwrap();
    let d = Demand {
        heave_rad: 0.5,
        pitch_rad: 0.15,
        roll_rad: 0.1,
    };
    let x = angles(&a, d, 0.3);
    assert!(x.iter().all(|v| v.abs() <= 0.3 + 1e-12));
    let got = a.modal(|i| x[i]);
    // a weight of 100 against 1: a per mille of the heave that is missing
    assert!((got.pitch_rad - 0.15).abs() < 2e-3, "{got:?}");
    assert!((got.roll_rad - 0.1).abs() < 2e-2, "{got:?}");
    assert!(got.heave_rad < 0.3, "heave gives way {got:?}");
}

#[test]
fn stuck_surface_is_worked_around() {
    let setup = testcraft::setup();
    let a = Allocator::new(&setup, 0.5).unwrap();
    let mut u = FinCommand::at_trim(&setup);
    u.min_rad[2] = 0.0; // aft port stands still
    u.max_rad[2] = 0.0;
    a.allocate(&pitch(0.05), |_| 0.0, &mut u);
    assert!(u.fin_rad[2].abs() < 1e-12);
    let got = a.modal(|i| u.fin_rad[i]);
    assert!((got.pitch_rad - 0.05).abs() < 1e-4, "{got:?}");
    assert!(got.roll_rad.abs() < 2e-3, "{got:?}");
}

#[test]
fn a_share_of_a_missing_group_is_refused() {
    let mut setup = testcraft::setup();
    setup.surfaces.truncate(2);
    let e = Allocator::new(&setup, 0.5).unwrap_err().to_string();
    assert!(e.contains("Aft"), "{e}");
    assert!(Allocator::new(&setup, 1.0).is_ok());
    setup.surfaces.clear();
    let e = Allocator::new(&setup, 1.0).unwrap_err().to_string();
    assert!(e.contains("no lifting surface"), "{e}");
}

#[test]
fn mirrored_demand_gives_mirrored_angles() {
    let a = Allocator::new(&testcraft::setup(), 0.4).unwrap();
    let d = Demand {
        heave_rad: 0.25,
        pitch_rad: -0.2,
        roll_rad: 0.15,
    };
    let m = Demand {
        roll_rad: -0.15,
        ..d
    };
    let (x, y) = (angles(&a, d, 0.25), angles(&a, m, 0.25));
    for (i, j) in [(0, 1), (1, 0), (2, 3), (3, 2)] {
        assert!((x[i] - y[j]).abs() < 1e-9, "{x:?} {y:?}"); // same problem, rounding only
    }
}

proptest::proptest! {
    /// Conditions of optimality: slope zero where free, pushing outwards at a limit.
    #[test]
    fn bounded_solution_is_optimal(h in -0.6..0.6_f64, p in -0.6..0.6_f64, r in -0.6..0.6_f64, limit in 0.05..0.4_f64) {
        let a = Allocator::new(&testcraft::setup(), 0.35).unwrap();
        let d = Demand { heave_rad: h, pitch_rad: p, roll_rad: r };
        let pref = a.preferred(&d);
        let x = angles(&a, d, limit);
        for k in 0..4 {
            let slope: f64 = (0..4).map(|j| a.h[k][j] * (x[j] - pref[j])).sum();
            let tol = 1e-8; // H of order 1e3 times rounding, with room
            if x[k] > limit - 1e-12 {
                proptest::prop_assert!(slope < tol, "upper {k}: {slope}");
            } else if x[k] < -limit + 1e-12 {
                proptest::prop_assert!(slope > -tol, "lower {k}: {slope}");
            } else {
                proptest::prop_assert!(slope.abs() < tol, "free {k}: {slope}");
            }
        }
    }
}
