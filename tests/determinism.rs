//! Same case, same bytes; signs of every surface on the plant.

#![allow(clippy::unwrap_used)] // a failed step is a failed test

mod common;

use std::sync::{Arc, OnceLock};

use common::*;
use ridewright::dynamics::model::CraftModel;
use ridewright::linear::trim;
use ridewright::sim::case::{Case, Sensing, Timing};
use ridewright::sim::record::Record;
use ridewright::sim::run::run;
use ridewright::spec::craft::SurfaceGroup;
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::units::{deg, kn};

fn craft() -> &'static CraftModel {
    static MODEL: OnceLock<CraftModel> = OnceLock::new();
    MODEL.get_or_init(|| model(&PhysicsSpec::default()))
}

/// A minute of a noisy run under the PID, everything built anew.
fn record(model: &CraftModel) -> Record {
    let course = CourseSpec::default();
    let plant = Arc::new(model.plant(kn(14.0), &course).unwrap());
    let trim = trim::level(&plant).unwrap();
    let sea = irregular(1.0, 7.0, deg(130.0), 3, 200);
    let timing = Timing::new(60.0, 10.0, 0.05, 0.1, 0.1).unwrap();
    let mut p = parts(model, &plant, &trim, &sea, &course, timing);
    p.sensing = Sensing::Suite {
        craft: Arc::new(model.craft.spec.clone()),
        errors: true,
        seed: 5,
        case: 17,
    };
    run(&Case::new(p).unwrap(), &mut *law("controllers/pid.json")).record
}

fn bytes(r: &Record) -> Vec<u64> {
    r.columns
        .iter()
        .flat_map(|c| c.data.iter().map(|v| v.to_bits()))
        .collect()
}

/// Tables are solved on several threads, runs on one: neither order nor thread may show.
#[test]
fn same_case_same_bytes_on_any_thread() {
    let first = record(craft());
    assert!(first.columns.len() > 40 && first.len() == 701);
    let want = bytes(&first);
    assert!(want == bytes(&record(craft())), "a second run");
    let others: Vec<Vec<u64>> = std::thread::scope(|s| {
        let handles: Vec<_> = (0..3)
            .map(|_| s.spawn(|| bytes(&record(craft()))))
            .collect();
        handles.into_iter().map(|h| h.join().unwrap()).collect()
    });
    assert!(others.iter().all(|o| *o == want), "other threads");
    assert!(
        want == bytes(&record(&model(&PhysicsSpec::default()))),
        "tables solved anew"
    );
}

/// The sign card of the contract on the plant: the acceleration that a small deflection starts.
#[test]
fn sign_card_on_the_plant() {
    let mut plant = craft().plant(kn(16.0), &CourseSpec::default()).unwrap();
    ideal_servos(&mut plant);
    let trim = trim::level(&plant).unwrap();
    let calm = vec![0.0; plant.channels().len()];
    let accelerations = |x: &[f64]| {
        let dx = derivative(&plant, x, &calm, &trim.surface_rad, &trim.thrust_n);
        <[f64; 6]>::try_from(&dx[6..12]).unwrap()
    };
    let rest = accelerations(&trim.x);
    let deflected = |wanted: &dyn Fn(usize) -> bool| {
        let mut x = trim.x.clone();
        for i in (0..plant.surfaces.len()).filter(|i| wanted(*i)) {
            x[plant.layout().angle(i)] += deg(1.0);
        }
        let moved = accelerations(&x);
        std::array::from_fn::<f64, 6, _>(|j| moved[j] - rest[j])
    };
    let group = |g| move |i: usize| craft().surfaces[i].group == g;
    let side = |i: usize| craft().surfaces[i].r_m.y;
    let lifts = |i: usize| craft().surfaces[i].group != SurfaceGroup::Rudder;

    let forward = deflected(&group(SurfaceGroup::Forward));
    assert!(
        forward[4] > 0.0 && forward[2] < 0.0,
        "forward pair: bow up, lifts"
    );
    let aft = deflected(&group(SurfaceGroup::Aft));
    assert!(aft[4] < 0.0 && aft[2] < 0.0, "aft pair: bow down, lifts");
    let starboard = deflected(&|i| lifts(i) && side(i) > 0.0);
    assert!(starboard[3] < 0.0, "starboard fins: starboard up");
    let port = deflected(&|i| lifts(i) && side(i) < 0.0);
    assert!(port[3] > 0.0, "port fins: starboard down");
    let rudders = deflected(&group(SurfaceGroup::Rudder));
    assert!(rudders[5] < 0.0, "stern rudders: bow to port");
    for i in 0..plant.surfaces.len() {
        let (one, s) = (deflected(&|k| k == i), &plant.surfaces[i]);
        // force along n at r: heave, roll, pitch, yaw have the sign of the wrench
        if lifts(i) {
            assert!(one[2] < 0.0, "{} heave", s.name);
            assert!(one[4] * s.r_m.x > 0.0, "{} pitch", s.name);
            assert!(one[3] * s.r_m.y < 0.0, "{} roll", s.name);
        } else {
            assert!(one[5] < 0.0, "{} yaw", s.name);
        }
    }
    let mut x = trim.x.clone();
    for t in plant.layout().thrust.clone() {
        x[t] += 1000.0;
    }
    assert!(accelerations(&x)[0] > rest[0], "thrust: ahead");
    // a wave to starboard (mu = 90) meets the port side first: there the crest comes earlier
    let at = |y_m: f64| {
        ridewright::dynamics::plant::elevation(1.0, deg(90.0), plant.g_m_s2, 0.0, y_m).arg()
    };
    assert!(at(-5.0) > 0.0 && at(5.0) < 0.0);
}
