//! Which faults are tried: none, every single one, and the pairs asked for.

use crate::campaign::stage::Stage;
use crate::sim::faults::resolve;
use crate::spec::failures::{FailuresSpec, SensorSizeSpec, SensorTrialSpec, SupplyTrialSpec};
use crate::spec::fault::{
    BreakageSpec, FaultEventSpec, SensorFailureSpec, SensorNameSpec, StartSpec, SurfaceFailureSpec,
};
use crate::units::to_deg;

/// Name of the row in which nothing breaks.
pub(super) const SOUND: &str = "nothing breaks";

/// Faults that start together.
#[derive(Clone, Debug, PartialEq)]
pub struct Trouble {
    /// In words.
    pub name: String,
    /// What breaks; empty for the sound craft.
    pub faults: Vec<BreakageSpec>,
}

/// All rows' faults: the sound craft first, surfaces, sensors, supplies, then those together.
pub fn troubles(spec: &FailuresSpec, stage: &Stage) -> Vec<Trouble> {
    let mut out = vec![Trouble {
        name: SOUND.to_owned(),
        faults: Vec::new(),
    }];
    let singles = surfaces(spec, stage)
        .into_iter()
        .chain(sensors(spec, stage))
        .chain(supplies(spec, stage));
    for b in singles {
        let name = words(&b, stage);
        // two angles beyond one stop are one fault
        if out.iter().all(|t: &Trouble| t.name != name) {
            out.push(Trouble {
                name,
                faults: vec![b],
            });
        }
    }
    for t in &spec.together {
        let mut name = t.name.clone();
        // rows are told apart by their names
        while out.iter().any(|o| o.name == name) {
            name.push_str(" (together)");
        }
        out.push(Trouble {
            name,
            faults: t.faults.clone(),
        });
    }
    out
}

/// Names and stops (deg) of the surfaces that turn.
fn moving(stage: &Stage) -> Vec<(String, [f64; 2])> {
    let all = stage.speeds.first().map(|s| &s.plant.surfaces);
    let moving = all.into_iter().flatten();
    moving
        .filter(|s| s.max_rad > s.min_rad)
        .map(|s| (s.name.clone(), [to_deg(s.min_rad), to_deg(s.max_rad)]))
        .collect()
}

fn surfaces(spec: &FailuresSpec, stage: &Stage) -> Vec<BreakageSpec> {
    let of = |(name, stops): (String, [f64; 2])| {
        let failures = spec.surfaces.iter().map(move |f| within(*f, stops));
        failures.map(move |failure| BreakageSpec::Surface {
            name: name.clone(),
            failure,
        })
    };
    moving(stage).into_iter().flat_map(of).collect()
}

/// A surface cannot jam beyond its stops, deg.
fn within(failure: SurfaceFailureSpec, [min, max]: [f64; 2]) -> SurfaceFailureSpec {
    match failure {
        SurfaceFailureSpec::JammedAt { angle_deg } => SurfaceFailureSpec::JammedAt {
            angle_deg: angle_deg.clamp(min, max),
        },
        other => other,
    }
}

/// All sensors with the sizes of their kind; none for the motion unit, which has three units.
fn readings(spec: &FailuresSpec, stage: &Stage) -> Vec<(SensorNameSpec, Option<SensorSizeSpec>)> {
    let sizes = &spec.sensor_sizes;
    let mut out = vec![
        (SensorNameSpec::RollRate, Some(sizes.rate)),
        (SensorNameSpec::PitchRate, Some(sizes.rate)),
        (SensorNameSpec::YawRate, Some(sizes.rate)),
        (SensorNameSpec::Roll, Some(sizes.attitude)),
        (SensorNameSpec::Pitch, Some(sizes.attitude)),
        (SensorNameSpec::AccelerationX, Some(sizes.acceleration)),
        (SensorNameSpec::AccelerationY, Some(sizes.acceleration)),
        (SensorNameSpec::AccelerationZ, Some(sizes.acceleration)),
        (SensorNameSpec::Speed, Some(sizes.speed)),
        (SensorNameSpec::Heading, Some(sizes.heading)),
    ];
    let first = stage.speeds.first();
    let heights = first.map_or(0, |s| s.setup.height_sensors_m.len());
    let height = |height_sensor| SensorNameSpec::Height { height_sensor };
    out.extend((0..heights as u32).map(|k| (height(k), Some(sizes.height))));
    if spec.surface_angle_sensors {
        let angle = |(surface, _)| SensorNameSpec::SurfaceAngle { surface };
        let angles = moving(stage).into_iter().map(angle);
        out.extend(angles.map(|n| (n, Some(sizes.surface_angle))));
    }
    out.push((SensorNameSpec::MotionUnit, None));
    out
}

fn sensors(spec: &FailuresSpec, stage: &Stage) -> Vec<BreakageSpec> {
    let readings = readings(spec, stage);
    let tried = spec.sensors.iter();
    tried
        .flat_map(|trial| {
            readings.iter().filter_map(|(name, size)| {
                Some(BreakageSpec::Sensor {
                    name: name.clone(),
                    failure: sized(*trial, *size)?,
                })
            })
        })
        .collect()
}

/// A trial with its size; none where a number in one unit means nothing.
fn sized(trial: SensorTrialSpec, size: Option<SensorSizeSpec>) -> Option<SensorFailureSpec> {
    Some(match trial {
        SensorTrialSpec::Bias {} => SensorFailureSpec::Bias { bias: size?.bias },
        SensorTrialSpec::Drift {} => SensorFailureSpec::Drift {
            drift_per_min: size?.drift_per_min,
        },
        SensorTrialSpec::Noisy {} => SensorFailureSpec::Noisy { noise: size?.noise },
        SensorTrialSpec::Frozen {} => SensorFailureSpec::Frozen {},
        SensorTrialSpec::DroppedOut {
            lost_frac,
            reads,
            is_flagged,
        } => SensorFailureSpec::DroppedOut {
            lost_frac,
            reads,
            is_flagged,
        },
        SensorTrialSpec::Scaled { scale } => SensorFailureSpec::Scaled { scale },
        SensorTrialSpec::Late { delay_s } => SensorFailureSpec::Late { delay_s },
        SensorTrialSpec::Reversed {} => SensorFailureSpec::Reversed {},
    })
}

/// Every supply alone, and all at once where that is something else.
fn supplies(spec: &FailuresSpec, stage: &Stage) -> Vec<BreakageSpec> {
    let all = &stage.model.craft.spec.supplies;
    let each = all.iter().map(|s| Some(s.name.clone()));
    let names: Vec<_> = each.chain((all.len() != 1).then_some(None)).collect();
    let left = spec.supplies.iter().map(|s| match s {
        SupplyTrialSpec::Lost {} => 0.0,
        SupplyTrialSpec::Weak { left_frac } => *left_frac,
    });
    left.flat_map(|left_frac| {
        let named = names.iter().cloned();
        named.map(move |name| BreakageSpec::Supply { name, left_frac })
    })
    .collect()
}

fn words(b: &BreakageSpec, stage: &Stage) -> String {
    let event = FaultEventSpec {
        start: StartSpec::AtS(0.0),
        lasts_s: None,
        fault: b.clone(),
    };
    let told = resolve(&[event], &stage.model.craft.spec, 0, 0);
    told.ok()
        .and_then(|f| f.into_iter().next())
        .map_or_else(|| format!("{b:?}"), |f| f.words)
}
