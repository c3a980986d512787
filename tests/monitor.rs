//! The monitor on the demonstration craft in waves: no alarm while nothing is broken, findings when something is.

#![allow(clippy::unwrap_used)] // a test that cannot go on stops

use std::path::Path;

use ridewright::campaign::stage::Stage;
use ridewright::control::monitor::finding::{Kind, Target};
use ridewright::sim::run::{Run, run};
use ridewright::spec::fault::{BreakageSpec, FaultEventSpec, StartSpec, SurfaceFailureSpec};
use ridewright::spec::validate::bundle;

/// The scenario of `ridewright detection`, one heading, short.
fn stage() -> Stage {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/detection.json");
    let mut b = bundle(&path).unwrap();
    let s = &mut b.scenario.spec;
    (s.headings_deg, s.seeds) = (vec![135.0], vec![1]);
    (s.run_in_s, s.duration_s) = (60.0, 120.0);
    Stage::new(&b, None).unwrap()
}

fn watched(stage: &Stage, events: &[FaultEventSpec], bare: bool) -> Run {
    let case = stage
        .case_with_faults(&stage.speeds[0], 135.0, 1, events)
        .unwrap();
    let mut plan = stage.laws[0].clone();
    if bare {
        plan.spec.monitor = None;
    }
    run(&case, plan.make().unwrap().as_mut())
}

#[test]
fn healthy_simulated_servos_stay_in_the_band() {
    let stage = stage();
    let (bare, seen) = (watched(&stage, &[], true), watched(&stage, &[], false));
    assert!(bare.outcome.is_completed());
    assert_eq!(seen.record.findings, []);
    // a monitor that finds nothing changes no bit
    for c in &bare.record.columns {
        assert_eq!(Some(c), seen.record.column(&c.name));
    }
    assert_eq!(bare.end_state, seen.end_state);
}

#[test]
fn a_jammed_flap_is_found_by_name() {
    let stage = stage();
    let events = [FaultEventSpec {
        start: StartSpec::AtS(70.0),
        lasts_s: None,
        fault: BreakageSpec::Surface {
            name: "aft port".into(),
            failure: SurfaceFailureSpec::Jammed {},
        },
    }];
    let seen = watched(&stage, &events, false);
    let first = seen.record.findings.first().unwrap();
    assert_eq!(first.target, Target::Surface("aft port".into()));
    assert_eq!(first.kind, Kind::Stuck);
    assert!(first.t_s > 70.0 && first.t_s < 80.0, "{first:?}");
    let told = seen.record.happenings.iter();
    assert!(told.clone().any(|h| h.words == "monitor: aft port stuck"));
    assert!(told.clone().any(|h| h.words == "monitor: slow to 12 kn"));
}
