//! Static divergence against eigenvalues and closed form.

#![allow(clippy::unwrap_used)] // a failed step is a failed test

mod common;

use std::sync::OnceLock;

use common::*;
use ridewright::dynamics::model::CraftModel;
use ridewright::dynamics::steady::SteadyForces;
use ridewright::hydro::munk::Lamb;
use ridewright::linear::assemble::assemble;
use ridewright::linear::{stability, trim};
use ridewright::math::eigen;
use ridewright::spec::scenario::PhysicsSpec;
use ridewright::units::{kn, to_kn};

fn craft() -> &'static CraftModel {
    static MODEL: OnceLock<CraftModel> = OnceLock::new();
    MODEL.get_or_init(|| model(&PhysicsSpec::default()))
}

/// Largest real eigenvalue of the craft led at a speed, about level trim; level with everything at
/// neutral where there are no fins.
fn largest_real(model: &CraftModel, speed_kn: f64) -> f64 {
    let mut plant = model.plant(kn(speed_kn), &mean_held()).unwrap();
    ideal_servos(&mut plant);
    let x0 = if plant.surfaces.is_empty() {
        let mut x = vec![0.0; plant.layout().len()];
        x[6] = plant.speed_m_s;
        x
    } else {
        trim::level(&plant).unwrap().x
    };
    let linear = assemble(&plant, &x0, None);
    eigen::eigenvalues(&linear.a)
        .unwrap()
        .iter()
        .filter(|v| v.im.abs() < 1e-9)
        .map(|v| v.re)
        .fold(f64::NEG_INFINITY, f64::max)
}

/// The speed at which the static stiffness vanishes is the one at which a real eigenvalue of the whole
/// linear model (memory, lags, downwash, springs) crosses zero.
///
/// Source: Lee & Curphey (1977), SNAME Trans. 85. Tolerance of the job's brief: 0.1 kn; the search
/// itself stops at 0.02 kn, the memory's fit gives its own A33(0).
#[test]
fn divergence_is_a_zero_eigenvalue() {
    let bare = stability::without_surfaces(craft());
    for (model, name) in [(craft(), "with fins"), (&bare, "bare")] {
        let found = stability::divergence_kn(model).unwrap().unwrap();
        let (mut below, mut above) = (found - 0.5, found + 0.5);
        assert!(largest_real(model, below) < 0.0 && largest_real(model, above) > 0.0);
        while above - below > 0.01 {
            let middle = 0.5 * (below + above);
            if largest_real(model, middle) > 0.0 {
                above = middle;
            } else {
                below = middle;
            }
        }
        println!("{name}: {found:.3} kn, eigenvalue crosses at {below:.3} kn");
        assert!((found - below).abs() < 0.1);
    }
}

/// Source: references C, `pitchcrit.S`: Munk (1924), NACA Rep. 184. Tolerance: the printed digits.
#[test]
fn critical_speed_of_spheroids_as_published() {
    let lamb = Lamb::of_slenderness(14.0);
    let u = (9.80665_f64 * 250.0 * 6.0 / (2.0 * 95.0 * (lamb.k2 - lamb.k1))).sqrt();
    assert!((u / 8.9610213 - 1.0).abs() < 1e-5, "{u}");
}

/// The bare hull without body lift and steady forces diverges where the Munk moment, ends corrected,
/// eats the stiffness that heave leaves: U^2 (A33 - A11) = C55 - C35 C53 / C33, masses at zero
/// frequency.
///
/// Tolerance 0.02 kn: where the search stops.
#[test]
fn bare_hull_meets_the_closed_form() {
    let mut physics = linear_physics();
    physics.surfaces = false;
    physics.body_lift = false;
    let mut m = model(&physics);
    m.steady = SteadyForces::new(&[], &[], &[], 0.0);
    let c = &m.craft.hydrostatics.c;
    let (radiation, _) = m.hydro.radiation_at(kn(15.0));
    let a = radiation.a_zero;
    let stiffness = c[(4, 4)] - c[(2, 4)] * c[(4, 2)] / c[(2, 2)];
    let want = to_kn((stiffness / (a[(2, 2)] - a[(0, 0)])).sqrt());
    let found = stability::divergence_kn(&m).unwrap().unwrap();
    println!("closed form {want:.3} kn, found {found:.3} kn");
    assert!((found - want).abs() < 0.02);
}
