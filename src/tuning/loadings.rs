//! Laws found for several loadings of a craft, joined to one whose gains go with displacement.
//!
//! ```text
//! loading 1 -> search -> law 1 --+
//! loading 2 -> search -> law 2 --+-> one law with `loadings`
//! ```
//! The searches move gains of heave, pitch and roll alone, so that their laws differ in nothing else: told the
//! weight of one of the loadings, the joined law is the law found for it.
//!
//! # Checked by
//! `the_joined_law_is_each_law_at_its_weight`, `loadings_of_one_weight_are_told`

use crate::error::{Error, Result};
use crate::spec::controller::{ControllerSpec, LawSpec, LoadingSchedule, PidSpec, ScheduleRow};
use crate::spec::load::problems_of;
use crate::units::to_tonnes;

/// Steps of a displacement in a file, 1/t: a kilogram.
const STEPS_A_TONNE: f64 = 1e3;

/// The law found for one loading.
#[derive(Clone, Copy, Debug)]
pub struct Part<'a> {
    /// Weight of the loading, kg.
    pub displacement_kg: f64,
    /// The law.
    pub law: &'a ControllerSpec,
}

/// The weight of a loading as a file has it, t.
pub fn displacement_t(displacement_kg: f64) -> f64 {
    (to_tonnes(displacement_kg) * STEPS_A_TONNE).round() / STEPS_A_TONNE
}

/// One law of all `parts`; what is no gain comes from the first of them.
///
/// # Errors
/// Laws that are no PID, loadings of one weight, laws of which one has an integrator that another lacks.
pub fn join(parts: &[Part<'_>]) -> Result<ControllerSpec> {
    let mut loadings = parts.iter().map(loading).collect::<Result<Vec<_>>>()?;
    loadings.sort_by(|a, b| a.displacement_t.total_cmp(&b.displacement_t));
    let mut out = parts
        .first()
        .map(|p| p.law.clone())
        .ok_or_else(|| Error::new("no loading was searched"))?;
    if let LawSpec::Pid(pid) = &mut out.law {
        pid.schedule.clear();
        pid.loadings = loadings;
    }
    let bad = problems_of(&out);
    if bad.is_empty() {
        Ok(out)
    } else {
        Err(bad.into())
    }
}

fn loading(part: &Part<'_>) -> Result<LoadingSchedule> {
    let LawSpec::Pid(pid) = &part.law.law else {
        return Err(Error::with_hint(
            format!("`{}` has no gains that go with displacement", part.law.name),
            "a modal PID has: begin with a file whose law is `pid`",
        ));
    };
    Ok(LoadingSchedule {
        displacement_t: displacement_t(part.displacement_kg),
        schedule: rows(pid),
    })
}

/// The rows of a law; one for all speeds when its gains do not change with speed.
fn rows(pid: &PidSpec) -> Vec<ScheduleRow> {
    if !pid.schedule.is_empty() {
        return pid.schedule.clone();
    }
    vec![ScheduleRow {
        speed_kn: pid.reference_speed_kn,
        heave: pid.heave,
        pitch: pid.pitch,
        roll: pid.roll,
    }]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::{from_spec, testcraft};
    use crate::units::kn;

    fn law(rate: f64, scheduled: bool) -> ControllerSpec {
        let gains = |rate: f64| {
            serde_json::json!({
                "heave": {"rate_deg_s_per_m": 2.0 * rate}, "roll": {},
                "pitch": {"rate_deg_s_per_deg": rate}
            })
        };
        let row = |speed_kn: f64, rate: f64| {
            let mut row = gains(rate);
            row["speed_kn"] = speed_kn.into();
            row
        };
        let mut pid = gains(rate);
        pid["reference_speed_kn"] = 16.into();
        if scheduled {
            pid["schedule"] = vec![row(10.0, rate), row(18.0, 1.5 * rate)].into();
        }
        let file = serde_json::json!({
            "format": crate::control::FORMAT, "name": "found", "law": {"pid": pid}
        });
        serde_json::from_value(file).unwrap()
    }

    #[test]
    fn the_joined_law_is_each_law_at_its_weight() {
        let laws = [law(3.0, true), law(1.0, false), law(2.0, true)];
        // the craft of the tuning comes first, whatever she weighs
        let weights_kg = [260e3, 300e3, 220.0004e3];
        let part = |(displacement_kg, law)| Part {
            displacement_kg,
            law,
        };
        let parts: Vec<_> = weights_kg.into_iter().zip(&laws).map(part).collect();
        let joined = join(&parts).unwrap();
        let LawSpec::Pid(pid) = &joined.law else {
            panic!("{joined:?}")
        };
        let told: Vec<f64> = pid.loadings.iter().map(|l| l.displacement_t).collect();
        assert_eq!(told, [220.0, 260.0, 300.0], "to a kilogram, ascending");
        let form = |law: &ControllerSpec, displacement_kg: f64, speed_kn: f64| {
            let mut law = from_spec(law, std::path::Path::new(""), None).unwrap();
            let mut setup = testcraft::setup().weighing(displacement_kg);
            setup.nominal_speed_m_s = kn(speed_kn);
            law.reset(&setup).unwrap();
            law.linear().unwrap()
        };
        for (p, speed_kn) in parts.iter().zip([12.0, 16.0, 18.0]) {
            let (a, b) = (
                form(&joined, p.displacement_kg, speed_kn),
                form(p.law, p.displacement_kg, speed_kn),
            );
            // half a kilogram of 40 t is 1e-5 of the way
            let far = (&a.d - &b.d).amax() / b.d.amax();
            assert!(far < 3e-5, "{} kg: {far}", p.displacement_kg);
        }
    }

    #[test]
    fn loadings_of_one_weight_are_told() {
        let laws = [law(3.0, true), law(1.0, true)];
        let both = laws.each_ref().map(|law| Part {
            displacement_kg: 250e3,
            law,
        });
        let told = join(&both).unwrap_err().to_string();
        assert!(told.contains("loadings[1].displacement_t"), "{told}");
        assert!(join(&[]).is_err());
    }
}
