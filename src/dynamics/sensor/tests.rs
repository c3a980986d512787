//! Sensors against closed forms, and their errors.

use rand::SeedableRng;

use super::*;
use crate::hydro::surface::tests::demo_spec;

fn rng(seed: u64) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed)
}

fn still<'a>(t: f64, heights: &'a [f64], surfaces: &'a [f64]) -> Truth<'a> {
    Truth {
        time_s: t,
        position_m: Vector3::zeros(),
        euler_rad: Vector3::zeros(),
        nu: Vector6::zeros(),
        nu_dot: Vector6::zeros(),
        heights_m: heights,
        speed_m_s: 0.0,
        surfaces_rad: surfaces,
        thrust_n: &[],
    }
}

const H: [f64; 2] = [2.2, 2.2];
const S: [f64; 6] = [0.0; 6];

#[test]
fn gravity_shows_on_tilted_axes() {
    let mut t = still(0.0, &H, &S);
    t.euler_rad = Vector3::new(0.05, 0.03, 1.0);
    let a = point_acceleration(&t, &Vector3::zeros(), 9.8);
    // bow up 0.03 rad: the unit feels g sin theta forward; starboard down: -g sin phi cos theta
    assert!((a.x - 9.8 * 0.03f64.sin()).abs() < 1e-14);
    assert!((a.y + 9.8 * 0.05f64.sin() * 0.03f64.cos()).abs() < 1e-14);
    assert!((a.z - 9.8 * (1.0 - 0.05f64.cos() * 0.03f64.cos())).abs() < 1e-14);
    let rest = point_acceleration(&still(0.0, &H, &S), &Vector3::new(9.0, 1.0, -3.0), 9.8);
    assert!(rest.norm() < 1e-300);
}

#[test]
fn lever_arm_adds_its_share() {
    // second method: second difference of the point's path in earth axes, rotated back
    let r = Vector3::new(9.0, -2.0, -3.0);
    let path = |t: f64| {
        let e = Vector3::new(0.2 * (1.1 * t).sin(), 0.1 * (0.9 * t).cos(), 0.3 * t);
        let o = Vector3::new(5.0 * t, (0.7 * t).sin(), 0.4 * (1.3 * t).cos());
        (o, e, crate::frames::body_to_earth(e.x, e.y, e.z))
    };
    let (t, h) = (0.83, 1e-4);
    let body = |t: f64| {
        let (_, e, m) = path(t);
        let d = |f: &dyn Fn(f64) -> Vector3<f64>| (f(t + h) - f(t - h)) / (2.0 * h);
        let v = m.transpose() * d(&|s| path(s).0);
        let de = d(&|s| path(s).1);
        let (sf, cf) = e.x.sin_cos();
        let (st, ct) = e.y.sin_cos();
        let w = Vector3::new(
            de.x - de.z * st,
            de.y * cf + de.z * sf * ct,
            -de.y * sf + de.z * cf * ct,
        );
        Vector6::new(v.x, v.y, v.z, w.x, w.y, w.z)
    };
    let mut truth = still(t, &H, &S);
    truth.euler_rad = path(t).1;
    truth.nu = body(t);
    truth.nu_dot = (body(t + h) - body(t - h)) / (2.0 * h);
    let point = |t: f64| path(t).0 + path(t).2 * r;
    let accel = (point(t + h) - 2.0 * point(t) + point(t - h)) / (h * h);
    let g = Vector3::new(0.0, 0.0, 9.8);
    let want = path(t).2.transpose() * (accel - g) + g;
    let got = point_acceleration(&truth, &r, 9.8);
    assert!((got - want).norm() < 1e-5, "{got} {want}"); // differences: h^2 and rounding/h^2
}

#[test]
fn noise_and_bias_have_the_stated_size() {
    let mut spec = demo_spec();
    spec.sensors.height_m.step = 0.0;
    let runs = 400;
    let (mut bias2, mut noise2, mut count) = (0.0, 0.0, 0.0);
    for seed in 0..runs {
        let mut suite = SensorSuite::build(&spec, 0.05, rng(seed), true);
        let y: Vec<f64> = (0..200)
            .map(|i| suite.sample(&still(0.1 * f64::from(i), &H, &S)).heights_m[0] - 2.2)
            .collect();
        let mean = y.iter().sum::<f64>() / 200.0;
        noise2 += y.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
        count += 199.0;
        bias2 += mean * mean - 0.03 * 0.03 / 200.0;
    }
    let noise = (noise2 / count).sqrt();
    let bias = (bias2 / runs as f64).sqrt();
    // sampling error: 1/sqrt(2 * 79600) = 0.25 %, 1/sqrt(800) = 3.5 %; three of each
    assert!((noise / 0.03 - 1.0).abs() < 0.008, "{noise}");
    assert!((bias / 0.02 - 1.0).abs() < 0.11, "{bias}");
}

#[test]
fn quantised_readings_sit_on_steps() {
    let mut suite = SensorSuite::build(&demo_spec(), 0.05, rng(3), true);
    for i in 0..50 {
        let y = suite.sample(&still(0.1 * f64::from(i), &H, &S)).heights_m[1];
        assert!((y / 0.01 - (y / 0.01).round()).abs() < 1e-9);
    }
}

#[test]
fn errors_off_is_exact_at_rest() {
    let mut suite = SensorSuite::build(&demo_spec(), 0.05, rng(3), false);
    let angles = [0.1, -0.1, 0.2, 0.0, 0.05, 0.3];
    for i in 0..50 {
        let mut t = still(0.05 * f64::from(i), &H, &angles);
        t.speed_m_s = 9.0;
        let y = suite.sample(&t);
        assert_eq!(y.surfaces_rad, angles);
        assert_eq!(y.heights_m, H);
        assert!((y.speed_m_s - 9.0).abs() < 1e-300 && y.accelerations_m_s2[2].abs() < 1e-300);
    }
}

#[test]
fn filter_and_delay_meet_the_response() {
    // a sine after long: amplitude and phase of the channel against its response
    let spec = demo_spec();
    let w = 2.0;
    for kind in [SensorKind::Height, SensorKind::Speed] {
        let mut suite = SensorSuite::build(&spec, 0.01, rng(1), false);
        let want = response(&spec.sensors, kind, w);
        for i in 0..3000 {
            let time = 0.01 * f64::from(i);
            let heights = [(w * time).sin(), 0.0];
            let mut t = still(time, &heights, &S);
            t.speed_m_s = (w * time).sin();
            let y = suite.sample(&t);
            let got = if kind == SensorKind::Height {
                y.heights_m[0]
            } else {
                y.speed_m_s
            };
            let expect = want.norm() * (w * time + want.arg()).sin();
            // linear between calls: (w dt)^2/8 = 5e-5
            assert!(
                time < 20.0 || (got - expect).abs() < 1e-4,
                "{time} {got} {expect}"
            );
        }
    }
}

#[test]
fn readings_do_not_grow_their_buffers() {
    let mut suite = SensorSuite::build(&demo_spec(), 0.05, rng(1), true);
    let before: Vec<usize> = suite.channels.iter().map(|c| c.past.capacity()).collect();
    for i in 0..400 {
        suite.advance(&still(0.05 * f64::from(i), &H, &S));
    }
    let after: Vec<usize> = suite.channels.iter().map(|c| c.past.capacity()).collect();
    assert_eq!(before, after);
}

#[test]
fn same_key_same_readings() {
    let run = |seed| {
        let mut suite = SensorSuite::build(&demo_spec(), 0.05, rng(seed), true);
        (0..20)
            .map(|i| suite.sample(&still(0.1 * f64::from(i), &H, &S)).clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(run(7), run(7));
    assert_ne!(run(7), run(8));
}

#[test]
fn heights_default_to_the_underside() {
    let at = height_sensors_m(&demo_spec());
    assert_eq!(at.len(), 2);
    assert!((at[1] - Vector3::new(12.0, 0.0, -2.2)).norm() < 1e-12);
}
