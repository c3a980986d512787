//! A craft of round numbers for the tests of the laws: 250 t, four lifting surfaces, two rudders.

use nalgebra::Vector3;

use super::signal::{Setup, SurfaceSetup};
use crate::spec::craft::SurfaceGroup;

/// Two forward all-movable fins of 3 m2 at x = 8 m, two aft flapped fins of 5.5 m2 at x = -10 m,
/// two rudders; influences at 18 kn, lift slope 3 per rad.
pub(crate) fn setup() -> Setup {
    let u = crate::units::kn(18.0);
    let q = 0.5 * 1025.0 * 3.0; // force per m2, rad and (m/s)^2
    let up = Vector3::new(0.0, 0.0, -1.0);
    let side = Vector3::new(0.0, 1.0, 0.0);
    let fin = |name: &str, group, x: f64, y: f64, z: f64, area: f64, trim: f64, n: Vector3<f64>| {
        let r_m = Vector3::new(x, y, z);
        SurfaceSetup {
            name: name.into(),
            group,
            r_m,
            n,
            effectiveness: q * area,
            influence: SurfaceSetup::influence_at(&r_m, &n, q * area * u * u),
            trim_rad: trim,
            min_rad: -0.35,
            max_rad: 0.35,
            rate_rad_s: 0.44,
            servo: crate::control::signal::ServoSetup::default(),
        }
    };
    Setup {
        surfaces: vec![
            fin(
                "fwd_p",
                SurfaceGroup::Forward,
                8.0,
                -4.5,
                2.0,
                3.0,
                0.02,
                up,
            ),
            fin("fwd_s", SurfaceGroup::Forward, 8.0, 4.5, 2.0, 3.0, 0.02, up),
            fin("aft_p", SurfaceGroup::Aft, -10.0, -4.0, 2.0, 3.3, 0.01, up),
            fin("aft_s", SurfaceGroup::Aft, -10.0, 4.0, 2.0, 3.3, 0.01, up),
            fin(
                "rudder_p",
                SurfaceGroup::Rudder,
                -13.0,
                -5.5,
                1.5,
                2.0,
                0.0,
                side,
            ),
            fin(
                "rudder_s",
                SurfaceGroup::Rudder,
                -13.0,
                5.5,
                1.5,
                2.0,
                0.0,
                side,
            ),
        ],
        wakes: Vec::new(),
        sample_period_s: 0.1,
        motion_unit_m: Vector3::new(2.0, 0.5, -3.0),
        height_sensors_m: vec![Vector3::new(0.0, 0.0, -3.0), Vector3::new(13.0, 0.0, -3.0)],
        nominal_speed_m_s: u,
        influence_speed_m_s: u,
        trim_heave_m: 0.05,
        trim_pitch_rad: 0.01,
        displacement_kg: 250e3,
        heave_mass_kg: 450e3,
        roll_inertia_kg_m2: 9e6,
        pitch_inertia_kg_m2: 25e6,
        supplies_rad_s: Vec::new(),
        sensors: crate::control::signal::SensorSetup::default(),
    }
}

/// A PID without gains, all other keys by default; reference speed 18 kn, forward share 0.4.
pub(crate) fn pid() -> crate::spec::controller::PidSpec {
    serde_json::from_str(
        r#"{"reference_speed_kn": 18, "heave": {}, "pitch": {}, "roll": {}, "forward_share_frac": 0.4}"#,
    )
    .expect("a PID by its own schema")
}
