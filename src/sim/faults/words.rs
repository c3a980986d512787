//! Faults in words, for record, table and picture.

use crate::spec::fault::{
    BreakageSpec, ControllerFailureSpec, OutputsSpec, SensorFailureSpec, SensorNameSpec, StopSpec,
    SurfaceFailureSpec,
};
use crate::spec::number;

/// A fault in a few words, without its time.
pub(super) fn of(fault: &BreakageSpec) -> String {
    match fault {
        BreakageSpec::Surface { name, failure } => format!("{name} {}", surface(*failure)),
        BreakageSpec::Supply { name, left_frac } => {
            let name = name.as_deref().unwrap_or("all hydraulics");
            format!("{name} {}", left(*left_frac, "lost"))
        }
        BreakageSpec::Sensor { name, failure } => {
            let (name, unit) = sensor(name);
            format!("{name} {}", reads(failure, unit))
        }
        BreakageSpec::Controller(c) => match c {
            ControllerFailureSpec::Skips { lost_frac } => {
                format!("controller skips {} %", number(100.0 * lost_frac))
            }
            ControllerFailureSpec::Late { delay_s } => {
                format!("controller {} s late", number(*delay_s))
            }
            ControllerFailureSpec::Stopped { outputs } => match outputs {
                OutputsSpec::Hold => "controller stops, outputs hold".into(),
                OutputsSpec::Neutral => "controller stops, fins to neutral".into(),
            },
        },
        BreakageSpec::Shaft { name, left_frac } => {
            format!("{name} {}", left(*left_frac, "trips"))
        }
        BreakageSpec::WeightShift { mass_kg, .. } => {
            format!("{} t shift", number(mass_kg / 1000.0))
        }
        BreakageSpec::Flooded(f) => {
            let share = number(100.0 * f.fill_frac);
            format!("compartment floods to {share} %")
        }
    }
}

fn left(frac: f64, gone: &str) -> String {
    if frac > 0.0 {
        format!("at {} %", number(100.0 * frac))
    } else {
        gone.into()
    }
}

fn surface(failure: SurfaceFailureSpec) -> String {
    match failure {
        SurfaceFailureSpec::Jammed {} => "jams".into(),
        SurfaceFailureSpec::JammedAt { angle_deg } => format!("jams at {} deg", number(angle_deg)),
        SurfaceFailureSpec::HardOver { stop } => match stop {
            StopSpec::Min => "hard over, least angle".into(),
            StopSpec::Max => "hard over, greatest angle".into(),
        },
        SurfaceFailureSpec::Trailing {} => "trails".into(),
        SurfaceFailureSpec::Slow { rate_frac } => {
            format!("slow, {} % of its rate", number(100.0 * rate_frac))
        }
        SurfaceFailureSpec::Oscillating {
            amplitude_deg,
            frequency_hz,
        } => format!(
            "oscillates {} deg, {} Hz",
            number(amplitude_deg),
            number(frequency_hz)
        ),
        SurfaceFailureSpec::Backlash { backlash_deg } => {
            format!("backlash {} deg", number(backlash_deg))
        }
        SurfaceFailureSpec::Lost {} => "lost".into(),
    }
}

fn sensor(name: &SensorNameSpec) -> (String, &'static str) {
    let word = |w: &str, unit| (w.to_owned(), unit);
    match name {
        SensorNameSpec::RollRate => word("roll rate", "deg/s"),
        SensorNameSpec::PitchRate => word("pitch rate", "deg/s"),
        SensorNameSpec::YawRate => word("yaw rate", "deg/s"),
        SensorNameSpec::Roll => word("roll sensor", "deg"),
        SensorNameSpec::Pitch => word("pitch sensor", "deg"),
        SensorNameSpec::AccelerationX => word("x accelerometer", "m/s2"),
        SensorNameSpec::AccelerationY => word("y accelerometer", "m/s2"),
        SensorNameSpec::AccelerationZ => word("z accelerometer", "m/s2"),
        SensorNameSpec::Speed => word("log", "kn"),
        SensorNameSpec::Heading => word("compass", "deg"),
        SensorNameSpec::MotionUnit => word("motion unit", ""),
        SensorNameSpec::Height { height_sensor } => (format!("height sensor {height_sensor}"), "m"),
        SensorNameSpec::SurfaceAngle { surface } => (format!("angle sensor of {surface}"), "deg"),
    }
}

fn reads(failure: &SensorFailureSpec, unit: &str) -> String {
    match failure {
        SensorFailureSpec::Bias { bias } => format!("biased {} {unit}", number(*bias)),
        SensorFailureSpec::Drift { drift_per_min } => {
            format!("drifts {} {unit}/min", number(*drift_per_min))
        }
        SensorFailureSpec::Frozen {} => "frozen".into(),
        SensorFailureSpec::DroppedOut { lost_frac, .. } => {
            if *lost_frac < 1.0 {
                format!("loses {} %", number(100.0 * lost_frac))
            } else {
                "drops out".into()
            }
        }
        SensorFailureSpec::Noisy { noise } => format!("noise {} {unit}", number(*noise)),
        SensorFailureSpec::Scaled { scale } => format!("scaled by {}", number(*scale)),
        SensorFailureSpec::Late { delay_s } => format!("{} s late", number(*delay_s)),
        SensorFailureSpec::Reversed {} => "sign swapped".into(),
    }
}
