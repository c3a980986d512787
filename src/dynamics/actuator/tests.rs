//! Servos against their equations and limits.

use super::*;
use crate::spec::craft::AngleLimitRow;

fn servo() -> Actuator {
    let s: SurfaceSpec = serde_json::from_value(serde_json::json!({
        "name": "f", "group": "forward", "stock_x_m": 8.0, "root_y_m": 4.0, "root_height_m": 1.1,
        "span_angle_deg": 180.0, "span_m": 1.5, "root_chord_m": 1.2, "tip_chord_m": 1.0, "stock_frac": 0.25,
        "moving": {"all_movable": {}}, "min_deg": -20.0, "max_deg": 25.0
    }))
    .unwrap();
    Actuator::new(&s, &[])
}

/// Fourth-order Runge-Kutta over `t_s`; angle and rate at the end and the greatest rate met.
fn run(a: &Actuator, command: f64, limit: f64, t_s: f64) -> (f64, f64, f64) {
    let n = 4000;
    let h = t_s / f64::from(n);
    let f = |x: f64, v: f64| (v, a.acceleration(command, x, v, limit));
    let (mut x, mut v, mut top) = (0.0, 0.0, 0.0_f64);
    for _ in 0..n {
        let k1 = f(x, v);
        let k2 = f(x + 0.5 * h * k1.0, v + 0.5 * h * k1.1);
        let k3 = f(x + 0.5 * h * k2.0, v + 0.5 * h * k2.1);
        let k4 = f(x + h * k3.0, v + h * k3.1);
        x += h / 6.0 * (k1.0 + 2.0 * k2.0 + 2.0 * k3.0 + k4.0);
        v += h / 6.0 * (k1.1 + 2.0 * k2.1 + 2.0 * k3.1 + k4.1);
        top = top.max(v.abs());
    }
    (x, v, top)
}

#[test]
fn small_step_meets_closed_form() {
    let mut a = servo();
    a.dead_band_rad = 0.0;
    let (wn, z): (f64, f64) = (12.0, 0.8);
    let wd = wn * (1.0 - z * z).sqrt();
    let t: f64 = 0.17;
    let want = 0.01 * (1.0 - (-z * wn * t).exp() * ((wd * t).cos() + z * wn / wd * (wd * t).sin()));
    let (x, ..) = run(&a, 0.01, a.max_rate_rad_s, t);
    assert!((x - want).abs() < 1e-12, "{x} {want}"); // integrator error at 4000 steps
}

#[test]
fn large_step_runs_at_the_rate_limit() {
    let a = servo();
    let (_, v, top) = run(&a, 0.4, a.max_rate_rad_s, 0.5);
    // the rate loop is first order: 2 zeta wn t = 9.6 time constants
    assert!((v / deg(25.0) - 1.0).abs() < 1e-4, "{v}");
    assert!(top <= deg(25.0) * (1.0 + 1e-12));
    let (x, v, _) = run(&a, 0.4, a.max_rate_rad_s, 6.0);
    assert!(
        (x - 0.4).abs() <= 0.5 * a.dead_band_rad + 1e-9 && v.abs() < 1e-9,
        "{x}"
    );
}

#[test]
fn dead_band_holds_still() {
    let a = servo();
    assert!(a.acceleration(0.49 * a.dead_band_rad, 0.0, 0.0, 1.0).abs() < 1e-300);
    assert!(a.acceleration(0.51 * a.dead_band_rad, 0.0, 0.0, 1.0) > 0.0);
}

#[test]
fn play_follows_by_half_its_width() {
    let a = servo();
    let half = 0.5 * a.backlash_rad;
    let mut s = 0.0;
    for i in 0..=1000 {
        s = a.surface_angle(0.1 * (f64::from(i) * 0.002 * std::f64::consts::PI).sin(), s);
    }
    // after a full turn the servo comes up from below and the surface trails by half the width
    assert!((s - (0.0 - half)).abs() < 1e-12, "{s}");
    assert!(
        (a.surface_angle(s + half, s) - s).abs() < 1e-15,
        "inside the play nothing moves"
    );
}

#[test]
fn water_free_servo_only_loses_energy() {
    let a = servo();
    // V = rate^2/2 + integral of 2 zeta wn rate_cmd over the error falls: V' = -2 zeta wn rate^2
    let (z, wn, h) = (a.damping_ratio, a.natural_frequency_rad_s, 1e-5);
    let potential = |x: f64| {
        let half = 0.5 * a.dead_band_rad;
        let e = ((0.3 - x).abs() - half).max(0.0);
        let (gain, top) = (wn / (2.0 * z), a.max_rate_rad_s);
        let knee = top / gain;
        let p = if e < knee {
            0.5 * gain * e * e
        } else {
            0.5 * gain * knee * knee + top * (e - knee)
        };
        2.0 * z * wn * p
    };
    let (mut x, mut v) = (0.0, 0.0);
    let mut last = potential(x);
    for _ in 0..200_000 {
        // symplectic Euler; its energy error per step is of order h^2
        v += h * a.acceleration(0.3, x, v, a.max_rate_rad_s);
        x += h * v;
        let now = 0.5 * v * v + potential(x);
        assert!(now <= last + 1e-7, "{now} {last}");
        last = now;
    }
    assert!(last < 1e-6);
}

#[test]
fn supply_scales_all_alike() {
    let mut all = vec![servo(), servo(), servo()];
    all[0].supply = Some(0);
    all[1].supply = Some(0);
    let mut limits = [0.0; 3];
    share_rates(&all, &[0.3, -0.1, 0.4], &[0.2], &mut limits);
    assert!((limits[0] - 0.15).abs() < 1e-15 && (limits[1] - 0.05).abs() < 1e-15);
    assert!((limits[2] - all[2].max_rate_rad_s).abs() < 1e-15);
    share_rates(&all, &[0.1, -0.05, 0.4], &[0.2], &mut limits);
    assert!(limits.iter().all(|l| (l - deg(25.0)).abs() < 1e-15));
    share_rates(&all, &[0.1, -0.05, 0.4], &[0.0], &mut limits);
    assert!(limits[0].abs() < 1e-15, "a dead supply moves nothing");
}

#[test]
fn speed_narrows_the_range() {
    let mut a = servo();
    assert!((a.angle_range_rad(30.0).1 - deg(25.0)).abs() < 1e-15);
    let mut s: SurfaceSpec = serde_json::from_value(serde_json::json!({
        "name": "f", "group": "forward", "stock_x_m": 8.0, "root_y_m": 4.0, "root_height_m": 1.1,
        "span_angle_deg": 180.0, "span_m": 1.5, "root_chord_m": 1.2, "tip_chord_m": 1.0, "stock_frac": 0.25,
        "moving": {"all_movable": {}}, "min_deg": -20.0, "max_deg": 25.0
    }))
    .unwrap();
    s.limit_by_speed = vec![
        AngleLimitRow {
            speed_kn: 10.0,
            limit_deg: 25.0,
        },
        AngleLimitRow {
            speed_kn: 20.0,
            limit_deg: 10.0,
        },
    ];
    a = Actuator::new(&s, &[]);
    let (lo, hi) = a.angle_range_rad(kn(15.0));
    assert!((lo + deg(17.5)).abs() < 1e-12 && (hi - deg(17.5)).abs() < 1e-12);
    assert!((a.clamp_command(1.0, kn(40.0)) - deg(10.0)).abs() < 1e-12);
    assert_eq!(a.at_stops(1.0, 0.5), (deg(25.0), 0.0));
    assert_eq!(a.at_stops(-1.0, 0.5), (deg(-20.0), 0.5));
}

#[test]
fn response_at_the_natural_frequency() {
    let mut a = servo();
    a.delay_s = 0.0;
    // closed form at wn: 1/(2 i zeta)
    let h = a.response(12.0);
    assert!((h - Complex64::new(0.0, -1.0 / 1.6)).norm() < 1e-14);
    a.delay_s = 0.04;
    assert!((a.response(3.0) - a.response(-3.0).conj()).norm() < 1e-14);
}

#[test]
fn advance_is_exact_inside_and_fine_beyond_the_limits() {
    let mut a = servo();
    let carry = |a: &Actuator, command: f64, limit: f64, n: usize| {
        let free = a.free_motion(0.05);
        let mut at = (0.0, 0.0);
        for _ in 0..n {
            at = a.advance(&free, (command, limit), at, 0.05);
        }
        at
    };
    a.dead_band_rad = 0.0;
    let (x, v, _) = run(&a, 0.01, a.max_rate_rad_s, 0.2);
    let got = carry(&a, 0.01, a.max_rate_rad_s, 4);
    // integrator error of the comparison
    assert!(
        (got.0 - x).abs() < 1e-12 && (got.1 - v).abs() < 1e-11,
        "{got:?}"
    );
    // a long slew with dead band: the kinks fall inside the short steps, error of their square
    for dead_band_rad in [0.0, 0.01] {
        a.dead_band_rad = dead_band_rad;
        for n in [6, 12, 20] {
            let (x, v, _) = run(&a, 0.4, a.max_rate_rad_s, 0.05 * n as f64);
            let got = carry(&a, 0.4, a.max_rate_rad_s, n);
            let off = (got.0 - x).abs().max((got.1 - v).abs() / 12.0);
            assert!(off < 1e-3 * 0.4, "{n} {dead_band_rad}: {got:?} {x} {v}");
        }
    }
}
