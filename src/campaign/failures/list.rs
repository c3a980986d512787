//! Which faults are tried: none, every single one, and the pairs asked for.

use crate::campaign::stage::Stage;
use crate::sim::faults::resolve;
use crate::spec::failures::FailuresSpec;
use crate::spec::fault::{
    BreakageSpec, FaultEventSpec, SensorFailureSpec, SensorNameSpec, StartSpec,
};

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
    out.extend(singles.map(|b| Trouble {
        name: words(&b, stage),
        faults: vec![b],
    }));
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

fn surfaces(spec: &FailuresSpec, stage: &Stage) -> Vec<BreakageSpec> {
    let moving = stage.speeds.first().map(|s| &s.plant.surfaces);
    let moving = moving
        .into_iter()
        .flatten()
        .filter(|s| s.max_rad > s.min_rad);
    moving
        .flat_map(|s| {
            spec.surfaces.iter().map(|f| BreakageSpec::Surface {
                name: s.name.clone(),
                failure: *f,
            })
        })
        .collect()
}

fn sensors(spec: &FailuresSpec, stage: &Stage) -> Vec<BreakageSpec> {
    let mut names = vec![
        SensorNameSpec::RollRate,
        SensorNameSpec::PitchRate,
        SensorNameSpec::YawRate,
        SensorNameSpec::Roll,
        SensorNameSpec::Pitch,
        SensorNameSpec::AccelerationX,
        SensorNameSpec::AccelerationY,
        SensorNameSpec::AccelerationZ,
        SensorNameSpec::Speed,
        SensorNameSpec::Heading,
    ];
    let heights = stage
        .speeds
        .first()
        .map_or(0, |s| s.setup.height_sensors_m.len());
    names.extend((0..heights as u32).map(|height_sensor| SensorNameSpec::Height { height_sensor }));
    names.push(SensorNameSpec::MotionUnit);
    let mut out = Vec::new();
    for f in &spec.sensors {
        let has_unit = matches!(
            f,
            SensorFailureSpec::Bias { .. }
                | SensorFailureSpec::Drift { .. }
                | SensorFailureSpec::Noisy { .. }
        );
        // the motion unit has three units: a number in one of them means nothing for all
        let fits = |n: &&SensorNameSpec| !(has_unit && **n == SensorNameSpec::MotionUnit);
        out.extend(names.iter().filter(fits).map(|name| BreakageSpec::Sensor {
            name: name.clone(),
            failure: *f,
        }));
    }
    out
}

fn supplies(spec: &FailuresSpec, stage: &Stage) -> Vec<BreakageSpec> {
    let all = stage.model.craft.spec.supplies.iter();
    all.filter(|_| spec.supplies)
        .map(|s| BreakageSpec::Supply {
            name: Some(s.name.clone()),
            left_frac: 0.0,
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
