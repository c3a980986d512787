//! Checks of forecasts: closed forms, and the same judgement of a long record.

use super::*;
use crate::math::rng::{Purpose, generator};
use crate::metrics::effort::SurfaceSeries;
use crate::metrics::ride::{
    ClearanceSeries, MotionSeries, PointSeries, RideInput, RideReport, judge,
};
use rand::RngExt;

/// A wave of one frequency: everything by hand.
#[test]
fn a_narrow_sea_by_hand() {
    let one = |re: f64, im: f64| vec![Complex64::new(re, im)];
    let omega = TAU * 0.2;
    let sea = Slices {
        weight_m2: &[0.5], // an amplitude of one metre
        omega_e_rad_s: &[-omega],
    };
    let zero = one(0.0, 0.0);
    let (heave, a_z, a_y, roll) = (
        one(0.0, 0.4),
        one(0.5 * 2f64.sqrt(), 0.0),
        one(0.2, 0.0),
        one(0.0, 0.05),
    );
    let (fin, torque) = (one(0.1, 0.0), one(0.0, 300.0));
    let r = forecast(&ForecastInput {
        sea,
        roll: &roll,
        motions: vec![MotionResponse {
            name: "heave",
            unit: MotionUnit::Metre,
            response: &heave,
        }],
        points: vec![PointResponse {
            name: "bridge",
            acceleration: [&zero, &a_y, &a_z],
        }],
        clearances: vec![ClearanceResponse {
            name: "cross-structure",
            points: vec![ClearPoint {
                mean_m: 0.8,
                clearance: &heave,
            }],
        }],
        surfaces: vec![SurfaceResponse {
            name: "fin",
            mean_rad: 0.05,
            angle: &fin,
            range_rad: [-0.2, 0.2],
            rate_limit_rad_s: 0.3,
            asked_rms_rad: None,
            asked_rate_rms_rad_s: None,
            hinge_torque: Some((0.0, &torque)),
        }],
        exposure_s: 7200.0,
    });
    let close = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 1e-6, "{got} {want}"); // eight printed digits
    let (m, p, e, s) = (&r.motions[0], &r.points[0], &r.events[0], &r.surfaces[0]);
    let sd = 0.4 / 2f64.sqrt();
    close(m.rms, sd);
    close(m.significant, 2.0021515 * sd);
    close(m.period_s.unwrap(), 5.0);
    close(m.max_amplitude, sd * (2.0 * 1440f64.ln()).sqrt()); // 7200 s of 5 s periods
    close(p.vertical_rms_m_s2, 0.5);
    close(p.vertical_velocity_rms_m_s, 0.5 / omega);
    close(p.mean_frequency_hz, 0.2);
    // references/E msdv.S: the same ride
    close(p.weighted_sickness_m_s2, 0.4960048);
    close(p.msdv_m_s1_5, 42.087403);
    close(p.vomiting_percent, 14.029134);
    // acceleration and roll a quarter period apart add in squares
    let lateral = (0.5 * (0.2f64.powi(2) + (G_M_S2 * 0.05).powi(2))).sqrt();
    close(p.lateral_rms_m_s2, lateral);
    close(p.weighted_lateral_m_s2, lateral * Weighting::Wd.factor(0.2));
    close(
        p.mii_theory_per_min,
        24.0 * (-0.5 * (0.25 * G_M_S2 / lateral).powi(2)).exp(),
    );
    close(e.rate_per_h, 720.0 * (-0.5 * (0.8 / sd).powi(2)).exp());
    close(
        s.travel_deg_per_h,
        (0.1 / PI.sqrt() * omega * 3600.0).to_degrees(),
    );
    let sd = 0.1 / 2f64.sqrt();
    let near = 0.1f64.to_radians();
    close(
        s.at_angle_limit_frac,
        normal_cdf(-(0.15 - near) / sd) + normal_cdf(-(0.25 - near) / sd),
    );
    close(s.max_deg, 0.2f64.to_degrees()); // cut at the limit
    assert!(m.slow_frac.abs() < 1e-15);
}

#[test]
fn work_of_a_correlated_pair() {
    // closed form without mean: sx sy (sqrt(1 - r^2) + r asin r + r pi/2)/pi
    for rho in [-1.0f64, -0.6, 0.0, 0.3, 0.99, 1.0] {
        let want =
            2.0 * 3.0 * ((1.0 - rho * rho).max(0.0).sqrt() + rho * f64::asin(rho) + rho * PI / 2.0)
                / PI;
        let got = positive_product(0.0, 2.0, 3.0, rho);
        assert!((got - want).abs() < 2e-3, "{rho}: {got} {want}"); // trapezoids across a kink
    }
    // torque that does not change: half the time the servo pays mean torque times mean rate
    let want = 5.0 * 3.0 / TAU.sqrt();
    assert!((positive_product(5.0, 0.0, 3.0, 0.0) / want - 1.0).abs() < 1e-9);
}

/// A sea of many lines and responses of a made-up craft, signed frequencies among them.
struct Lines {
    weight: Vec<f64>,
    omega: Vec<f64>,
    responses: Vec<Vec<Complex64>>,
}

const HEAVE: usize = 0;
const ROLL: usize = 1;
const A_X: usize = 2;
const A_Y: usize = 3;
const A_Z: usize = 4;
const GAP: usize = 5;
const FIN: usize = 6;
const TORQUE: usize = 7;
const FIN_MEAN: f64 = 0.03;
const TORQUE_MEAN: f64 = 150.0;

fn lines() -> Lines {
    let n = 500;
    let step = 2.4 / f64::from(n);
    let s = |w: f64| 0.3 * (0.9 / w).powi(5) * (-1.25 * (0.9 / w).powi(4)).exp();
    let wave: Vec<f64> = (0..n).map(|k| 0.3 + step * (f64::from(k) + 0.5)).collect();
    let weight: Vec<f64> = wave.iter().map(|w| s(*w) * step).collect();
    // seen from a craft that overtakes the short ones
    let omega: Vec<f64> = wave.iter().map(|w| w - 0.3 * w * w).collect();
    let peak =
        |o: f64, at: f64, z: f64| 1.0 / Complex64::new(1.0 - (o / at).powi(2), 2.0 * z * o / at);
    let r = |f: &dyn Fn(f64) -> Complex64| omega.iter().map(|o| f(*o)).collect::<Vec<_>>();
    let responses = vec![
        r(&|o| peak(o, 0.5, 0.2)),
        r(&|o| peak(o, 0.6, 0.1) * Complex64::new(0.0, 0.02)),
        r(&|o| peak(o, 0.5, 0.3) * 0.1),
        r(&|o| peak(o, 0.6, 0.15) * Complex64::new(2.1, 1.4)),
        r(&|o| peak(o, 0.5, 0.2) * Complex64::new(0.0, 0.9)),
        r(&|o| peak(o, 0.5, 0.2) - 1.2),
        r(&|o| peak(o, 0.55, 0.25) * Complex64::new(0.10, 0.06)),
        r(&|o| peak(o, 0.6, 0.3) * Complex64::new(-200.0, 350.0)),
    ];
    Lines {
        weight,
        omega,
        responses,
    }
}

/// Records of all responses, sampled every `dt`.
fn records(l: &Lines, dt: f64, n: usize, seed: u64) -> Vec<Vec<f64>> {
    let mut rng = generator(seed, 0, Purpose::Waves, 0);
    let mut turn: Vec<Complex64> = l
        .weight
        .iter()
        .map(|w| (2.0 * w).sqrt() * Complex64::cis(TAU * rng.random::<f64>()))
        .collect();
    let step: Vec<Complex64> = l.omega.iter().map(|o| Complex64::cis(o * dt)).collect();
    let mut out = vec![Vec::with_capacity(n); l.responses.len()];
    for _ in 0..n {
        for (column, r) in out.iter_mut().zip(&l.responses) {
            let v = r.iter().zip(&turn).map(|(r, t)| r.re * t.re - r.im * t.im);
            column.push(v.sum());
        }
        for (t, s) in turn.iter_mut().zip(&step) {
            *t *= s;
        }
    }
    for v in &mut out[GAP] {
        *v += 0.8;
    }
    for v in &mut out[FIN] {
        *v += FIN_MEAN;
    }
    for v in &mut out[TORQUE] {
        *v += TORQUE_MEAN;
    }
    out
}

fn judged(x: &[Vec<f64>], dt_s: f64) -> RideReport {
    let level = vec![0.0; x[0].len()];
    judge(&RideInput {
        dt_s,
        roll_rad: &x[ROLL],
        pitch_rad: &level,
        motions: vec![MotionSeries {
            name: "heave",
            unit: MotionUnit::Metre,
            values: &x[HEAVE],
        }],
        points: vec![PointSeries {
            name: "bridge",
            acceleration_m_s2: [&x[A_X], &x[A_Y], &x[A_Z]],
        }],
        clearances: vec![ClearanceSeries {
            name: "cross-structure",
            clearance_m: &x[GAP],
        }],
        surfaces: vec![SurfaceSeries {
            name: "fin",
            angle_rad: &x[FIN],
            rate_rad_s: None,
            angle_limit_rad: 0.1,
            rate_limit_rad_s: 0.045,
            hinge_torque_nm: Some(&x[TORQUE]),
        }],
        exposure_s: 7200.0,
        completed: true,
        in_validity: true,
        level: 0.95,
    })
}

#[test]
fn a_long_record_is_judged_alike() {
    const RECORDS: usize = 6;
    let l = lines();
    let (dt, n) = (0.2, 36_000); // two hours each
    let reports: Vec<RideReport> = (0..RECORDS as u64)
        .map(|seed| judged(&records(&l, dt, n, seed), dt))
        .collect();
    let r = &l.responses;
    let f = forecast(&ForecastInput {
        sea: Slices {
            weight_m2: &l.weight,
            omega_e_rad_s: &l.omega,
        },
        roll: &r[ROLL],
        motions: vec![MotionResponse {
            name: "heave",
            unit: MotionUnit::Metre,
            response: &r[HEAVE],
        }],
        points: vec![PointResponse {
            name: "bridge",
            acceleration: [&r[A_X], &r[A_Y], &r[A_Z]],
        }],
        clearances: vec![ClearanceResponse {
            name: "cross-structure",
            points: vec![ClearPoint {
                mean_m: 0.8,
                clearance: &r[GAP],
            }],
        }],
        surfaces: vec![SurfaceResponse {
            name: "fin",
            mean_rad: FIN_MEAN,
            angle: &r[FIN],
            range_rad: [-0.1, 0.1],
            rate_limit_rad_s: 0.045,
            asked_rms_rad: None,
            asked_rate_rms_rad_s: None,
            hinge_torque: Some((TORQUE_MEAN, &r[TORQUE])),
        }],
        exposure_s: 7200.0,
    });
    let mean =
        |of: &dyn Fn(&RideReport) -> f64| reports.iter().map(of).sum::<f64>() / RECORDS as f64;
    // fixed amplitudes: beats of neighbouring lines over two hours leave 0.5 % of an RMS in six records
    let check = |what: &str, got: f64, want: f64, tol: f64| {
        let error = got / want - 1.0;
        assert!(error.abs() < tol, "{what}: record {got}, forecast {want}");
    };
    let rms = 0.01;
    let (m, p, e, s) = (&f.motions[0], &f.points[0], &f.events[0], &f.surfaces[0]);
    check("heave", mean(&|r| r.motions[0].stats.rms.value), m.rms, rms);
    check(
        "heave rate",
        mean(&|r| r.motions[0].stats.rate_rms.value),
        m.rate_rms,
        rms,
    );
    // the highest third of a motion that is not narrow: Rayleigh overstates by some per cent
    check(
        "significant",
        mean(&|r| r.motions[0].stats.significant.value),
        m.significant,
        0.06,
    );
    // spread of a largest value: sd/sqrt(2 ln N) each, mean above the mode by 0.58 of that
    check(
        "largest",
        mean(&|r| r.motions[0].stats.max_amplitude),
        m.max_amplitude,
        0.15,
    );
    let one = |r: &RideReport| r.points[0].clone();
    for (what, got, want) in [
        (
            "vertical",
            mean(&|r| one(r).vertical_rms_m_s2.value),
            p.vertical_rms_m_s2,
        ),
        (
            "velocity",
            mean(&|r| one(r).vertical_velocity_rms_m_s.value),
            p.vertical_velocity_rms_m_s,
        ),
        (
            "lateral",
            mean(&|r| one(r).lateral_rms_m_s2.value),
            p.lateral_rms_m_s2,
        ),
        (
            "longitudinal",
            mean(&|r| one(r).longitudinal_rms_m_s2.value),
            p.longitudinal_rms_m_s2,
        ),
        (
            "Wk",
            mean(&|r| one(r).weighted_vertical_m_s2.value),
            p.weighted_vertical_m_s2,
        ),
        (
            "Wd",
            mean(&|r| one(r).weighted_lateral_m_s2.value),
            p.weighted_lateral_m_s2,
        ),
        (
            "Wf",
            mean(&|r| one(r).weighted_sickness_m_s2.value),
            p.weighted_sickness_m_s2,
        ),
        ("MSDV", mean(&|r| one(r).msdv_m_s1_5.value), p.msdv_m_s1_5),
        (
            "mean frequency",
            mean(&|r| one(r).mean_frequency_hz),
            p.mean_frequency_hz,
        ),
    ] {
        check(what, got, want, rms);
    }
    // about the square of the RMS
    check(
        "MSI 1974",
        mean(&|r| one(r).msi_1974_percent.value),
        p.msi_1974_percent,
        0.03,
    );
    check(
        "MSI 1976",
        mean(&|r| one(r).msi_1976_percent.value),
        p.msi_1976_percent,
        0.03,
    );
    // rates far out in the tail: 1 % of the RMS counts several times, and some 1,000 events
    check(
        "Graham",
        mean(&|r| one(r).mii_theory_per_min),
        p.mii_theory_per_min,
        0.06,
    );
    check(
        "interruptions",
        mean(&|r| one(r).mii_per_min.value),
        p.mii_per_min,
        0.10,
    );
    check(
        "contacts",
        mean(&|r| r.events[0].stats.rate_per_h.value),
        e.rate_per_h,
        0.08,
    );
    check(
        "time",
        mean(&|r| r.events[0].stats.time_frac),
        e.time_frac,
        0.08,
    );
    let fin = |r: &RideReport| r.surfaces[0].clone();
    check("fin", mean(&|r| fin(r).rms_deg.value), s.rms_deg, rms);
    check(
        "fin rate",
        mean(&|r| fin(r).rate_rms_deg_s.value),
        s.rate_rms_deg_s,
        rms,
    );
    check(
        "travel",
        mean(&|r| fin(r).travel_deg_per_h),
        s.travel_deg_per_h,
        rms,
    );
    check(
        "at angle",
        mean(&|r| fin(r).at_angle_limit_frac),
        s.at_angle_limit_frac,
        0.08,
    );
    check(
        "at rate",
        mean(&|r| fin(r).at_rate_limit_frac),
        s.at_rate_limit_frac,
        0.08,
    );
    check(
        "work",
        mean(&|r| fin(r).work_kj_per_h.unwrap()),
        s.work_kj_per_h.unwrap(),
        0.02,
    );
    assert!(p.mii_per_min > 0.1 && e.rate_per_h > 30.0, "{p:?} {e:?}");
}
