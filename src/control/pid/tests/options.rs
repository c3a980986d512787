//! Checks of set-points, integrators, engagement, filters, following and feed-forward.

use super::*;
use crate::control::estimate::elevation_gain;
use crate::spec::controller::{
    FeedForwardSpec, FilterKind, FilterSpec, FilteredMode, FollowingMode, FollowingSpec,
    SetPointSpec,
};

/// A law and what flows through it.
struct Bench {
    setup: Setup,
    law: Pid,
    y: Measurement,
    u: FinCommand,
    k: u32,
}

impl Bench {
    fn new(spec: &PidSpec) -> Self {
        Bench::on(testcraft::setup(), spec)
    }

    fn on(setup: Setup, spec: &PidSpec) -> Self {
        let mut law = Pid::new("bench", spec).unwrap();
        law.reset(&setup).unwrap();
        Bench {
            y: Measurement::at_trim(&setup),
            u: FinCommand::at_trim(&setup),
            setup,
            law,
            k: 0,
        }
    }

    /// One sample with fins that follow at once; the demand it led to.
    fn step(&mut self) -> Demand {
        self.y.surface_rad.clone_from(&self.u.fin_rad);
        let t = 0.1 * f64::from(self.k);
        self.law.update(t, &self.y, &mut self.u).unwrap();
        self.k += 1;
        self.law.demand
    }

    /// Heights of a level craft at trim over water of this elevation at x.
    fn water(&mut self, elevation_m: impl Fn(f64) -> f64) {
        let rest = Measurement::at_trim(&self.setup).height_m;
        for ((h, rest), r) in self
            .y
            .height_m
            .iter_mut()
            .zip(rest)
            .zip(&self.setup.height_sensors_m)
        {
            *h = rest - elevation_m(r.x);
        }
    }
}

fn heave_p(p: f64) -> HeaveGains {
    HeaveGains {
        proportional_deg_per_m: p,
        ..HeaveGains::default()
    }
}

#[test]
fn set_points_are_taken_up_slowly() {
    let mut b = Bench::new(&PidSpec {
        heave: heave_p(2.0),
        pitch: gains(1.0, 0.0, 0.0),
        roll: gains(1.0, 0.0, 0.0),
        set_point: SetPointSpec {
            height_m: 0.3,
            ..SetPointSpec::default()
        },
        ..spec()
    });
    let first = b.step();
    // 0.1 m/s for 0.1 s: higher asks for lift
    assert!(
        (first.heave_rad - deg(2.0 * 0.01)).abs() < TOL_ROUND,
        "{first:?}"
    );
    for _ in 0..60 {
        b.step();
    }
    assert!((b.law.demand.heave_rad - deg(0.6)).abs() < TOL_ROUND);
    b.law
        .set_point(SetPoint {
            heave_m: 0.0,
            pitch_rad: 0.02,
            roll_rad: 0.01,
        })
        .unwrap();
    let mut before = b.law.demand;
    for _ in 0..100 {
        let now = b.step();
        let most = deg(0.25) * 0.1 + TOL_ROUND;
        assert!((now.pitch_rad - before.pitch_rad).abs() < most);
        assert!((now.roll_rad - before.roll_rad).abs() < most);
        before = now;
    }
    assert!(before.heave_rad.abs() < TOL_ROUND, "{before:?}");
    // bow up and starboard down asked for; demands are bow up and starboard up
    assert!((before.pitch_rad - 0.02).abs() < TOL_ROUND);
    assert!((before.roll_rad + 0.01).abs() < TOL_ROUND);
}

#[test]
fn every_mode_has_an_integrator_with_the_sign_of_its_gain() {
    let mut b = Bench::new(&PidSpec {
        heave: HeaveGains {
            integral_deg_per_m_s: 0.5,
            integral_limit_deg: 5.0,
            ..HeaveGains::default()
        },
        pitch: gains(0.0, 0.0, 0.1),
        roll: gains(0.0, 0.0, 0.1),
        ..spec()
    });
    b.water(|_| 0.2); // too deep
    b.y.theta_rad -= 0.02;
    b.y.phi_rad += 0.02;
    for _ in 0..300 {
        b.step();
    }
    let d = b.law.demand;
    assert!(
        d.heave_rad > 0.01 && d.pitch_rad > 0.01 && d.roll_rad > 0.01,
        "{d:?}"
    );
}

#[test]
fn integrators_rest_in_turns_and_on_limits() {
    let s = PidSpec {
        roll: gains(0.0, 0.0, 0.1),
        ..spec()
    };
    let held = |turn_rad_s: f64| {
        let mut b = Bench::new(&s);
        b.y.rates_rad_s.z = turn_rad_s;
        for _ in 0..600 {
            b.step();
        }
        b.y.phi_rad = 0.05; // heel of the turn
        for _ in 0..100 {
            b.step();
        }
        b.law.integral[2].value_rad()
    };
    assert!((held(deg(0.5)) + 0.05).abs() < 1e-9, "10 s of 0.005 rad/s");
    assert!(held(deg(3.0)).abs() < 1e-12, "in a turn");
    // limits of a hundredth: the integrator stays where they are reached
    let mut b = Bench::new(&PidSpec {
        pitch: gains(0.0, 0.0, 0.1),
        anti_windup_s: 500.0,
        ..spec()
    });
    let trims: Vec<f64> = b.setup.surfaces.iter().map(|s| s.trim_rad).collect();
    for (i, trim) in trims.iter().enumerate() {
        b.u.min_rad[i] = trim - 0.01;
        b.u.max_rad[i] = trim + 0.01;
    }
    b.y.theta_rad -= 0.05;
    for _ in 0..600 {
        b.step();
    }
    let stopped = b.law.integral[1].value_rad();
    assert!(stopped > 0.005 && stopped < 0.02, "{stopped}");
    b.y.theta_rad += 0.1; // the other way it moves at once
    b.step();
    b.step();
    assert!(b.law.integral[1].value_rad() < stopped - 0.0004);
}

#[test]
fn engagement_does_not_jump() {
    let mut b = Bench::new(&PidSpec {
        heave: heave_p(2.0),
        pitch: gains(0.8, 1.0, 0.02),
        roll: gains(0.5, 1.0, 0.0),
        filters: vec![FilterSpec {
            mode: FilteredMode::All,
            kind: FilterKind::LowPass,
            frequency_rad_s: 3.0,
            damping_ratio: 0.7,
            depth_frac: None,
        }],
        ..spec()
    });
    // somebody else held a bow-down craft by hand, one fin apart from the others
    b.step();
    b.y.theta_rad -= 0.03;
    b.y.phi_rad += 0.02;
    b.y.rates_rad_s.y = 0.01;
    b.u.fin_rad[..4].copy_from_slice(&[0.09, 0.06, -0.04, -0.03]);
    let manual = b.u.clone();
    b.k += 500;
    b.law.engage(&b.y, &b.u).unwrap();
    b.step();
    for i in 0..4 {
        let jump = (b.u.fin_rad[i] - manual.fin_rad[i]).abs();
        assert!(jump < 1e-12, "{i}: {jump}");
    }
    assert!(
        b.law.integral[1].value_rad() > 0.03,
        "keeps the load of the surfaces"
    );
    let mut before = b.u.clone();
    let mut twin = b.law.clone();
    twin.offset_rad = [0.0; MAX_SURFACES];
    let mut alone = b.u.clone();
    for _ in 0..400 {
        b.step();
        let t = 0.1 * f64::from(b.k - 1);
        twin.update(t, &b.y, &mut alone).unwrap();
        for i in 0..4 {
            // the difference dies with 5 s: 2 % of 0.1 rad a sample, and the integrator
            assert!((b.u.fin_rad[i] - before.fin_rad[i]).abs() < 4e-3);
        }
        before.clone_from(&b.u);
    }
    for i in 0..4 {
        // 40 s are 8 time constants: 3e-4 of 0.1 rad; integrators of both saw different fins meanwhile
        assert!((b.u.fin_rad[i] - alone.fin_rad[i]).abs() < 2e-3, "{i}");
    }
}

#[test]
fn filters_act_on_their_mode() {
    let notch = FilterSpec {
        mode: FilteredMode::Pitch,
        kind: FilterKind::Notch,
        frequency_rad_s: 1.5,
        damping_ratio: 0.5,
        depth_frac: Some(0.1),
    };
    let s = PidSpec {
        pitch: gains(1.0, 0.0, 0.0),
        roll: gains(1.0, 0.0, 0.0),
        filters: vec![notch],
        ..spec()
    };
    let mut b = Bench::new(&s);
    let (mut pitch, mut roll) = (0.0_f64, 0.0_f64);
    for k in 0..1000 {
        let wave = 0.02 * (1.5 * 0.1 * f64::from(k)).sin();
        b.y.theta_rad = b.setup.trim_pitch_rad + wave;
        b.y.phi_rad = wave;
        let d = b.step();
        if k > 500 {
            pitch = pitch.max(d.pitch_rad.abs());
            roll = roll.max(d.roll_rad.abs());
        }
    }
    // sampled at 0.15 rad: the peak is met within 0.3 %
    assert!(
        (pitch - 0.002).abs() < 1e-5 && (roll - 0.02).abs() < 1e-4,
        "{pitch} {roll}"
    );
    let mut fast = s.clone();
    fast.filters[0].frequency_rad_s = 40.0;
    let e = Pid::new("x", &fast).unwrap().reset(&b.setup).unwrap_err();
    let e = e.to_string();
    assert!(
        e.contains("filters[0].frequency_rad_s") && e.contains("28.3"),
        "{e}"
    );
}

/// Amplitude of the heave and pitch demand of a craft at rest over waves of 1 m, 0.3 rad/s of encounter.
fn over_long_waves(mode: FollowingMode) -> [f64; 2] {
    let mut b = Bench::new(&PidSpec {
        heave: heave_p(1.0),
        pitch: gains(1.0, 0.0, 0.0),
        heave_estimator_corner_rad_s: 0.05,
        following: FollowingSpec {
            mode,
            contouring_corner_rad_s: 1.5,
            ..FollowingSpec::default()
        },
        ..spec()
    });
    let (k, omega) = (0.05, 0.3);
    let (mut most_heave, mut most_pitch) = (0.0_f64, 0.0_f64);
    for i in 0..6000 {
        let t = 0.1 * f64::from(i);
        b.water(|x| (omega * t + k * x).sin());
        let d = b.step();
        if i > 4000 {
            most_heave = most_heave.max(d.heave_rad.abs());
            most_pitch = most_pitch.max(d.pitch_rad.abs());
        }
    }
    [most_heave / deg(1.0), most_pitch]
}

#[test]
fn contouring_follows_long_waves_platforming_does_not() {
    let [heave, pitch] = over_long_waves(FollowingMode::Platforming);
    // mean of the two sensors over the wave: cos(0.05 * 6.5)
    let seen = (0.05_f64 * 6.5).cos();
    let want = elevation_gain(0.3, 0.05).norm() * seen;
    assert!((heave - want).abs() < 0.01, "{heave} {want}"); // bilinear rule and sampling
    assert!(pitch.abs() < 1e-9, "held level: {pitch}");
    let [heave, pitch] = over_long_waves(FollowingMode::Contouring);
    let want = elevation_gain(0.3, 1.5).norm() * seen;
    assert!((heave - want).abs() < 0.01 && heave > 0.9, "{heave} {want}");
    // slope over 13 m: 2 sin(0.05 * 6.5) / 13; the low-pass leaves it at a fifth of its corner
    let slope = 2.0 * (0.05_f64 * 6.5).sin() / 13.0;
    assert!((pitch / slope - 1.0).abs() < 0.01, "{pitch} {slope}");
    // a crest ahead asks for bow up
    let mut b = Bench::new(&PidSpec {
        pitch: gains(1.0, 0.0, 0.0),
        following: FollowingSpec {
            mode: FollowingMode::Contouring,
            ..FollowingSpec::default()
        },
        ..spec()
    });
    b.water(|x| 0.02 * x);
    for _ in 0..300 {
        b.step();
    }
    assert!(
        (b.law.demand.pitch_rad - 0.02).abs() < 1e-4,
        "{:?}",
        b.law.demand
    );
}

#[test]
fn switching_has_hysteresis_and_dwell() {
    let mut b = Bench::new(&PidSpec {
        heave: heave_p(1.0),
        following: FollowingSpec {
            mode: FollowingMode::Switched,
            contour_above_m: 0.5,
            platform_below_m: 0.2,
            average_s: 10.0,
            dwell_s: 40.0,
            blend_s: 5.0,
            ..FollowingSpec::default()
        },
        ..spec()
    });
    let weight = |b: &mut Bench, rms_m: f64, seconds: u32| {
        b.water(|_| rms_m);
        for _ in 0..10 * seconds {
            b.step();
        }
        b.law.following.state().1
    };
    assert!(
        weight(&mut b, 0.4, 100).abs() < 1e-12,
        "between the thresholds: stays"
    );
    let shortly = weight(&mut b, 0.9, 4);
    assert!(shortly > 0.0 && shortly < 1.0, "blends: {shortly}");
    assert!((weight(&mut b, 0.9, 20) - 1.0).abs() < 1e-12);
    // 0.81 falls below 0.04 within 10 ln(20) = 30 s, but the dwell is 40 s
    assert!((weight(&mut b, 0.0, 15) - 1.0).abs() < 1e-12, "dwells");
    assert!(
        (weight(&mut b, 0.4, 60) - 1.0).abs() < 1e-12,
        "between the thresholds: stays"
    );
    assert!(weight(&mut b, 0.05, 60).abs() < 1e-12);
}

fn feed_forward() -> FeedForwardSpec {
    FeedForwardSpec {
        height_sensor: None,
        heave_deg_per_m: -2.0,
        pitch_deg_per_m: 1.0,
        low_rad_s: 0.2,
        high_rad_s: 6.0,
        wave_frequency_rad_s: 1.0,
        lead_s: 0.2,
    }
}

#[test]
fn feed_forward_sees_waves_and_not_the_craft() {
    let s = PidSpec {
        feed_forward: Some(feed_forward()),
        ..spec()
    };
    let mut b = Bench::new(&s);
    // x = 13 m over 9.26 + 9.81 m/s less 0.2 s: 0.48 s, five samples
    for k in 0..5 {
        b.water(|x| if x > 10.0 { 0.5 } else { 0.0 });
        let d = b.step();
        assert!(d.ride_rad.abs() + d.pitch_rad.abs() < 1e-12, "{k}: {d:?}");
    }
    let d = b.step();
    assert!(
        d.ride_rad < 0.0 && d.pitch_rad > 0.0,
        "presses down at a crest {d:?}"
    );
    assert!((d.ride_rad / d.pitch_rad + 2.0).abs() < 1e-9);
    // a craft that heaves and pitches in calm water: nothing but the estimator's error comes through
    let mut b = Bench::new(&s);
    let (mut worst, omega) = (0.0_f64, 1.2);
    for k in 0..4000 {
        let t = 0.1 * f64::from(k);
        let (z, theta) = (0.5 * (omega * t).sin(), 0.03 * (0.8 * t).cos());
        let pitch = b.setup.trim_pitch_rad + theta;
        b.y.theta_rad = pitch;
        b.y.rates_rad_s.y = -0.03 * 0.8 * (0.8 * t).sin();
        let places = b.setup.height_sensors_m.clone();
        for (h, r) in b.y.height_m.iter_mut().zip(&places) {
            *h = -(b.setup.trim_heave_m + z + vertical(r, 0.0, pitch));
        }
        // acceleration of the unit by differences of its place
        let unit = b.setup.motion_unit_m;
        let place = |t: f64| {
            let p = b.setup.trim_pitch_rad + 0.03 * (0.8 * t).cos();
            0.5 * (omega * t).sin() + vertical(&unit, 0.0, p)
        };
        let h = 1e-3;
        let a = (place(t + h) - 2.0 * place(t) + place(t - h)) / (h * h);
        let g = crate::units::G_M_S2;
        b.y.specific_force_m_s2 = crate::frames::body_to_earth(0.0, pitch, 0.0).transpose()
            * Vector3::new(0.0, 0.0, a - g);
        let d = b.step();
        if k > 2000 {
            worst = worst.max(d.ride_rad.abs());
        }
    }
    // 2 deg/m on 0.5 m would be 0.017 rad; the bilinear integration leaves (omega T)^2/12 twice: 0.3 %
    assert!(worst < 1.5e-4, "{worst}");
}

#[test]
fn feed_forward_needs_a_sensor_ahead() {
    let s = PidSpec {
        feed_forward: Some(feed_forward()),
        ..spec()
    };
    let refused = |setup: &Setup, s: &PidSpec| {
        let e = Pid::new("ff", s).unwrap().reset(setup).unwrap_err();
        e.to_string()
    };
    let mut setup = testcraft::setup();
    setup.height_sensors_m.pop();
    let e = refused(&setup, &s);
    assert!(
        e.contains("law.pid.feed_forward") && e.contains("x = 8.0 m") && e.contains("hint"),
        "{e}"
    );
    setup.height_sensors_m.clear();
    assert!(refused(&setup, &s).contains("the craft has none"));
    let mut named = s.clone();
    named.feed_forward = Some(FeedForwardSpec {
        height_sensor: Some(7),
        ..feed_forward()
    });
    let e = refused(&testcraft::setup(), &named);
    assert!(e.contains("height_sensor") && e.contains("below 2"), "{e}");
}
