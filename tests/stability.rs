//! Static divergence against eigenvalues and closed form.

mod common;

use std::sync::OnceLock;

use common::*;
use nalgebra::Vector6;
use ridewright::dynamics::model::CraftModel;
use ridewright::dynamics::plant::Plant;
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

/// Largest real eigenvalue of the craft led at a speed, about trim or level with fins at neutral.
fn largest_real(model: &CraftModel, speed_kn: f64, trimmed: bool) -> f64 {
    let mut plant: Plant = model.plant(kn(speed_kn), &mean_held()).unwrap();
    ideal_servos(&mut plant);
    let x0 = if trimmed {
        let t = trim::level(&plant).unwrap();
        println!("   {speed_kn} trim fwd {:.2} aft {:.2} limited {} z {:.3} th {:.2}", t.forward_rad.to_degrees(), t.aft_rad.to_degrees(), t.limited, t.z_m, t.theta_rad.to_degrees());
        t.x
    } else {
        let mut x = vec![0.0; plant.layout().len()];
        x[6] = plant.speed_m_s;
        x
    };
    let linear = assemble(&plant, &x0, None);
    eigen::eigenvalues(&linear.a)
        .unwrap()
        .iter()
        .filter(|v| v.im.abs() < 1e-9)
        .map(|v| v.re)
        .fold(f64::NEG_INFINITY, f64::max)
}

#[test]
fn divergence_is_a_zero_eigenvalue() {
    let bare = stability::without_surfaces(craft());
    for (model, name) in [(craft(), "fins"), (&bare, "bare")] {
        let found = stability::divergence_kn(model).unwrap().unwrap();
        println!("{name} {found}");
        for trimmed in [false, true] {
            if trimmed && name == "bare" { continue; }
            let (mut lo, mut hi) = (found - 3.0, found + 3.0);
            println!("  trimmed {trimmed}: {} {}", largest_real(model, lo, trimmed), largest_real(model, hi, trimmed));
            while hi - lo > 0.01 {
                let mid = 0.5 * (lo + hi);
                if largest_real(model, mid, trimmed) > 0.0 { hi = mid } else { lo = mid }
            }
            println!("  {name} trimmed {trimmed}: {found:.3} against {lo:.3} kn");
        }
    }
}

#[test]
fn bare_hull_meets_the_closed_form() {
    // references C pitchcrit.S
    let lamb = Lamb::of_slenderness(14.0);
    let u = (9.80665_f64 * 250.0 * 6.0 / (2.0 * 95.0 * (lamb.k2 - lamb.k1))).sqrt();
    println!("{u} 8.9610213");
    let mut physics = PhysicsSpec { surfaces: false, body_lift: false, cross_flow_drag: false, nonlinear_restoring: false, ..PhysicsSpec::default() };
    physics.fins.stall = false;
    let mut m = model(&physics);
    m.steady = ridewright::dynamics::steady::SteadyForces::new(&[], &[], &[], 0.0);
    let c = &m.craft.hydrostatics.c;
    let (radiation, _) = m.hydro.radiation_at(kn(15.0));
    let a = radiation.a_zero;
    // heave free: C55 - C35^2/C33 - U^2 (A33 - A11) = 0
    let stiffness = c[(4, 4)] - c[(2, 4)] * c[(4, 2)] / c[(2, 2)];
    let u = (stiffness / (a[(2, 2)] - a[(0, 0)])).sqrt();
    let found = stability::divergence_kn(&m).unwrap().unwrap();
    println!("closed {:.3} kn, found {found:.3} kn", to_kn(u));
    let _ = Vector6::<f64>::zeros();
}
