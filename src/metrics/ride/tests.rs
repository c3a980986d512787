//! Checks of whole reports.

use super::*;
use crate::units::G_M_S2;
use std::f64::consts::TAU;

const DT: f64 = 0.1;
const N: usize = 18_000;
const TOL: f64 = 3e-3; // part of a period, ends of a filter

fn sine(a: f64, f_hz: f64, phase: f64) -> Vec<f64> {
    (0..N)
        .map(|i| a * (TAU * f_hz * DT * i as f64 + phase).sin())
        .collect()
}

struct Series {
    roll: Vec<f64>,
    pitch: Vec<f64>,
    heave: Vec<f64>,
    a: [Vec<f64>; 3],
    gap: Vec<f64>,
    fin: Vec<f64>,
}

fn series(side: f64) -> Series {
    Series {
        roll: sine(side * 0.05, 0.1, 0.0),
        pitch: sine(0.02, 0.15, 1.0),
        heave: sine(0.4, 0.2, 0.0),
        a: [
            sine(0.1, 0.2, 0.0),
            sine(side * 0.2, 0.13, 2.0),
            sine(0.5 * 2f64.sqrt(), 0.2, 0.3),
        ],
        gap: (0..N)
            .map(|i| if i % 6000 == 3000 { -0.2 } else { 1.0 })
            .collect(),
        fin: sine(0.1, 0.2, 0.0),
    }
}

fn input(s: &Series) -> RideInput<'_> {
    RideInput {
        dt_s: DT,
        roll_rad: &s.roll,
        pitch_rad: &s.pitch,
        motions: vec![
            MotionSeries {
                name: "heave",
                unit: MotionUnit::Metre,
                values: &s.heave,
            },
            MotionSeries {
                name: "roll",
                unit: MotionUnit::Radian,
                values: &s.roll,
            },
        ],
        points: vec![PointSeries {
            name: "bridge",
            acceleration_m_s2: [&s.a[0], &s.a[1], &s.a[2]],
        }],
        clearances: vec![ClearanceSeries {
            name: "cross-structure",
            clearance_m: &s.gap,
        }],
        surfaces: vec![SurfaceSeries {
            name: "fin",
            angle_rad: &s.fin,
            rate_rad_s: None,
            angle_limit_rad: 0.4,
            rate_limit_rad_s: 0.5,
            hinge_torque_nm: None,
        }],
        exposure_s: 7200.0,
        completed: true,
        in_validity: true,
        level: 0.95,
    }
}

#[test]
fn a_sinusoidal_ride_by_hand() {
    let s = series(1.0);
    let r = judge(&input(&s));
    let p = &r.points[0];
    let close = |got: f64, want: f64| assert!((got / want - 1.0).abs() < TOL, "{got} {want}");
    close(p.vertical_rms_m_s2.value, 0.5);
    close(p.vertical_velocity_rms_m_s.value, 0.5 / (TAU * 0.2));
    close(p.mean_frequency_hz, 0.2);
    // references/E msdv.S: the same ride
    close(p.weighted_sickness_m_s2.value, 0.4960048);
    close(p.msdv_m_s1_5.value, 42.087403);
    close(p.vomiting_percent.value, 14.029134);
    // felt sideways: two sines of different frequency add in squares, g sin(roll) to first order
    let want = (0.5 * 0.2f64.powi(2) + 0.5 * (G_M_S2 * 0.05).powi(2)).sqrt();
    close(p.lateral_rms_m_s2.value, want);
    assert!(p.mii_per_min.value.abs() < 1e-12 && p.mii_per_min.high < 0.2);
    close(
        r.motions[1].stats.rms.value,
        0.05f64.to_degrees() / 2f64.sqrt(),
    );
    assert_eq!(r.motions[1].unit, "deg");
    assert_eq!(r.events[0].stats.count, 3);
    close(
        r.surfaces[0].rms_deg.value,
        0.1f64.to_degrees() / 2f64.sqrt(),
    );
    close(r.weighting_cut_hz, 4.0);
}

#[test]
fn mirrored_ride_has_the_same_numbers() {
    let (a, b) = (series(1.0), series(-1.0));
    let (p, q) = (judge(&input(&a)), judge(&input(&b)));
    let (p, q) = (&p.points[0], &q.points[0]);
    assert!((p.lateral_rms_m_s2.value - q.lateral_rms_m_s2.value).abs() < 1e-12);
    assert!((p.weighted_lateral_m_s2.high - q.weighted_lateral_m_s2.high).abs() < 1e-9);
    assert!((p.mii_theory_per_min - q.mii_theory_per_min).abs() < 1e-12);
}

#[test]
fn the_report_is_plain_json() {
    let s = series(1.0);
    let v = serde_json::to_value(judge(&input(&s))).unwrap();
    assert!(v["points"][0]["msdv_m_s1_5"]["low"].is_number());
    assert_eq!(v["motions"][0]["name"], "heave");
    assert!(v["events"][0]["rate_per_h"]["high"].is_number());
}

/// Two records share a transform, a record is continued once for all its filters, gravity is formed once: the numbers stay those of
/// one thing after the other.
#[test]
fn shared_work_changes_no_number() {
    // an odd length, whose transforms are shared
    let s = series(1.0);
    let cut = |x: &[f64]| x[..17_999].to_vec();
    let s = Series {
        roll: cut(&s.roll),
        pitch: cut(&s.pitch),
        heave: cut(&s.heave),
        a: s.a.each_ref().map(|x| cut(x)),
        gap: cut(&s.gap),
        fin: cut(&s.fin),
    };
    let report = judge(&input(&s));
    let (p, level) = (&report.points[0], report.level_frac);
    let felt = interruptions::lateral_force_m_s2(&s.a[1], &s.roll, &s.pitch);
    let one = |x: &[f64]| crate::math::stats::record::rms_interval(x, level);
    let rate = crate::metrics::motion::rate_of(&s.heave, DT);
    let spectrum = spectral::periodogram(&felt, DT);
    let theory = interruptions::expected_per_min(
        spectrum.moment(0),
        spectrum.moment(2),
        interruptions::TIPPING_LATERAL,
    );
    for (what, got, want) in [
        ("vertical", p.vertical_rms_m_s2, one(&s.a[2])),
        ("longitudinal", p.longitudinal_rms_m_s2, one(&s.a[0])),
        ("lateral", p.lateral_rms_m_s2, one(&felt)),
        (
            "Wk",
            p.weighted_vertical_m_s2,
            one(&Weighting::Wk.apply(&s.a[2], DT)),
        ),
        (
            "Wf",
            p.weighted_sickness_m_s2,
            one(&Weighting::Wf.apply(&s.a[2], DT)),
        ),
        (
            "Wd",
            p.weighted_lateral_m_s2,
            one(&Weighting::Wd.apply(&felt, DT)),
        ),
        ("heave", report.motions[0].stats.rms, one(&s.heave)),
        ("heave rate", report.motions[0].stats.rate_rms, one(&rate)),
        (
            "theory",
            Interval::exact(p.mii_theory_per_min),
            Interval::exact(theory),
        ),
        (
            "mean frequency",
            Interval::exact(p.mean_frequency_hz),
            Interval::exact(sickness::mean_frequency_rad_s(&s.a[2], DT) / TAU),
        ),
    ] {
        for (got, want) in [
            (got.value, want.value),
            (got.low, want.low),
            (got.high, want.high),
        ] {
            // rounding of transforms; the interval's limits solve an equation to 1e-12
            assert!(
                (got - want).abs() <= 1e-9 * want.abs(),
                "{what}: {got} {want}"
            );
        }
    }
}
