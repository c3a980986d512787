//! The supervisor around a law that moves, and around the modal PID.

use std::sync::{Arc, Mutex};

use super::*;
use crate::control::{FORMAT, from_spec, testcraft};
use crate::spec::controller::{
    AngleGains, ControllerSpec, HeaveGains, LawSpec, PidSpec, TripsSpec,
};

const DT: f64 = 0.1;

/// What a law was told.
#[derive(Default)]
struct Told {
    engaged_with: Vec<Vec<f64>>,
    set_points: Vec<SetPoint>,
    speed_m_s: f64,
    limits: Vec<(f64, f64)>,
    last: Vec<f64>,
}

/// Moves every fin by 0.1 sin(t) about trim plus a constant.
struct Wavy {
    told: Arc<Mutex<Told>>,
    trim: Vec<f64>,
}

impl Controller for Wavy {
    fn info(&self) -> ControllerInfo {
        ControllerInfo {
            name: "wavy".into(),
            signals: &["rates", "attitude"],
            channels: vec![
                "fwd_p".into(),
                "fwd_s".into(),
                "aft_p".into(),
                "aft_s".into(),
            ],
            ..ControllerInfo::default()
        }
    }
    fn reset(&mut self, setup: &Setup) -> Result<()> {
        self.trim = setup.surfaces.iter().map(|s| s.trim_rad).collect();
        Ok(())
    }
    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        let mut told = self.told.lock().unwrap();
        told.speed_m_s = y.speed_m_s;
        told.limits = u
            .min_rad
            .iter()
            .copied()
            .zip(u.max_rad.iter().copied())
            .collect();
        told.last.clone_from(&u.fin_rad);
        for i in 0..4 {
            u.fin_rad[i] = self.trim[i] + 0.15 + 0.1 * t_s.sin();
        }
        Ok(())
    }
    fn engage(&mut self, _y: &Measurement, u: &FinCommand) -> Result<()> {
        self.told
            .lock()
            .unwrap()
            .engaged_with
            .push(u.fin_rad.clone());
        Ok(())
    }
    fn set_point(&mut self, s: SetPoint) -> Result<()> {
        self.told.lock().unwrap().set_points.push(s);
        Ok(())
    }
}

/// Takes no set-point.
struct Deaf;

impl Controller for Deaf {
    fn info(&self) -> ControllerInfo {
        ControllerInfo::default()
    }
    fn reset(&mut self, _setup: &Setup) -> Result<()> {
        Ok(())
    }
    fn update(&mut self, _t_s: f64, _y: &Measurement, _u: &mut FinCommand) -> Result<()> {
        Ok(())
    }
}

struct Bench {
    law: Supervised,
    told: Arc<Mutex<Told>>,
    setup: Setup,
    y: Measurement,
    u: FinCommand,
    k: u32,
}

impl Bench {
    fn new(spec: &ModesSpec) -> Self {
        let told = Arc::new(Mutex::new(Told::default()));
        let wavy = Wavy {
            told: told.clone(),
            trim: Vec::new(),
        };
        let setup = testcraft::setup();
        let mut law = Supervised::new(Box::new(wavy), spec);
        law.reset(&setup).unwrap();
        Bench {
            law,
            told,
            y: Measurement::at_trim(&setup),
            u: FinCommand::at_trim(&setup),
            setup,
            k: 0,
        }
    }

    /// One sample; fins follow at once. Greatest step of a command.
    fn step(&mut self) -> f64 {
        let before = self.u.fin_rad.clone();
        let t_s = DT * f64::from(self.k);
        self.k += 1;
        self.law.update(t_s, &self.y, &mut self.u).unwrap();
        self.y.surface_rad.clone_from(&self.u.fin_rad);
        let steps = self.u.fin_rad.iter().zip(&before);
        steps.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
    }

    fn steps(&mut self, n: u32) -> f64 {
        (0..n).map(|_| self.step()).fold(0.0, f64::max)
    }

    fn order(&mut self, mode: Mode) {
        self.law.order(&Order::Mode(mode)).unwrap();
    }

    fn law_rad(&self, i: usize) -> f64 {
        let t_s = DT * f64::from(self.k - 1);
        self.setup.surfaces[i].trim_rad + 0.15 + 0.1 * t_s.sin()
    }
}

fn standby() -> ModesSpec {
    ModesSpec {
        start: ModeSpec::Standby,
        ..ModesSpec::default()
    }
}

fn pid(modes: Option<ModesSpec>) -> ControllerSpec {
    let gains = AngleGains {
        proportional_deg_per_deg: 1.0,
        rate_deg_s_per_deg: 1.0,
        integral_deg_per_deg_s: 0.1,
        integral_limit_deg: 8.0,
    };
    let law = serde_json::json!({
        "reference_speed_kn": 18.0,
        "heave": HeaveGains { proportional_deg_per_m: 2.0, ..HeaveGains::default() },
        "pitch": gains, "roll": gains
    });
    let law: PidSpec = serde_json::from_value(law).unwrap();
    ControllerSpec {
        provenance: None,
        format: FORMAT.into(),
        name: "pid".into(),
        note: String::new(),
        channels: Vec::new(),
        law: LawSpec::Pid(law),
        modes,
        monitor: None,
        calibration: Vec::new(),
    }
}

fn rolling(setup: &Setup, k: u32) -> Measurement {
    let t = DT * f64::from(k);
    let mut y = Measurement::at_trim(setup);
    y.theta_rad += 0.02 * (0.7 * t).sin();
    y.phi_rad = 0.05 * (0.5 * t).sin();
    y.rates_rad_s.x = 0.025 * (0.5 * t).cos();
    y.speed_m_s += 0.3 * (0.8 * t).sin();
    y
}

#[test]
fn engaged_from_the_start_is_the_law_itself() {
    let setup = testcraft::setup();
    let here = std::path::Path::new("");
    let mut bare = from_spec(&pid(None), here, None).unwrap();
    let mut with = from_spec(&pid(Some(ModesSpec::default())), here, None).unwrap();
    bare.reset(&setup).unwrap();
    with.reset(&setup).unwrap();
    let (mut a, mut b) = (FinCommand::at_trim(&setup), FinCommand::at_trim(&setup));
    for k in 0..600 {
        let mut y = rolling(&setup, k);
        y.surface_rad.clone_from(&a.fin_rad);
        bare.update(DT * f64::from(k), &y, &mut a).unwrap();
        with.update(DT * f64::from(k), &y, &mut b).unwrap();
        let bits = |u: &FinCommand| u.fin_rad.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
        assert_eq!(bits(&a), bits(&b), "{k}");
    }
    // twice the same after a reset
    with.reset(&setup).unwrap();
    let mut c = FinCommand::at_trim(&setup);
    let y = rolling(&setup, 3);
    with.update(0.0, &y, &mut c).unwrap();
    bare.reset(&setup).unwrap();
    let mut d = FinCommand::at_trim(&setup);
    bare.update(0.0, &y, &mut d).unwrap();
    assert_eq!(c, d);
}

#[test]
fn changes_of_mode_make_no_jump() {
    let mut b = Bench::new(&standby());
    assert!(b.steps(50) < 1e-15, "standby holds trim");
    // law's own step 0.1 rad/s T, takeover (0.25 + 0.04 rad) T / 5 s, calm rate 3 deg/s T
    let most = 0.1 * DT + 0.29 * DT / 5.0 + 1e-12;
    let calm = deg(3.0) * DT + 1e-12;
    b.order(Mode::Engaged);
    assert!(b.steps(200) <= most);
    assert!(
        (b.u.fin_rad[0] - b.law_rad(0)).abs() <= 0.0,
        "the law itself after the fade"
    );
    let trim: Vec<f64> = b.setup.surfaces.iter().map(|s| s.trim_rad).collect();
    assert_eq!(
        b.told.lock().unwrap().engaged_with,
        std::slice::from_ref(&trim)
    );
    b.order(Mode::Standby);
    assert!(b.steps(100) <= calm && (b.u.fin_rad[0] - trim[0]).abs() < 1e-15);
    b.order(Mode::Engaged);
    assert!(b.steps(23) <= most, "half way");
    b.order(Mode::Off);
    assert!(b.steps(100) <= calm);
    assert!(
        b.u.fin_rad[..4].iter().all(|v| v.abs() < 1e-15),
        "neutral, locked"
    );
    b.order(Mode::Engaged);
    assert!(b.steps(100) <= most);
    b.order(Mode::Manual);
    let held = b.u.fin_rad.clone();
    assert!(
        b.steps(50) <= 0.0 && b.u.fin_rad == held,
        "manual holds what it finds"
    );
    b.order(Mode::Engaged);
    assert!(b.steps(100) <= most);
    assert!(b.u.fin_rad[4].abs() <= 0.0, "rudders are not the law's");
}

#[test]
fn hand_wins_at_once() {
    for mode in [Mode::Off, Mode::Manual, Mode::Standby, Mode::Engaged] {
        let mut b = Bench::new(&ModesSpec::default());
        b.steps(3);
        b.order(mode);
        b.steps(100);
        let fin = Order::Fin {
            surface: 2,
            angle_rad: -0.2,
        };
        b.law.order(&fin).unwrap();
        b.step();
        assert!(
            (b.u.fin_rad[2] + 0.2).abs() <= 0.0,
            "{mode:?} in the same sample"
        );
        let before = b.u.fin_rad.clone();
        b.steps(20);
        assert!((b.u.fin_rad[2] + 0.2).abs() <= 0.0, "{mode:?} and stays");
        // the law is told that this one cannot move
        assert_eq!(b.told.lock().unwrap().limits[2], (-0.2, -0.2));
        if mode == Mode::Engaged {
            assert!((b.u.fin_rad[0] - b.law_rad(0)).abs() <= 0.0, "others go on");
            b.law.order(&Order::Release(Some(2))).unwrap();
            let most = 0.1 * DT + 0.47 * DT / 5.0 + 1e-12;
            assert!(b.steps(100) <= most && (b.u.fin_rad[2] - b.law_rad(2)).abs() <= 0.0);
        } else {
            assert!((b.u.fin_rad[0] - before[0]).abs() <= 0.0);
        }
        // beyond the stop: the stop
        let fin = Order::Fin {
            surface: 2,
            angle_rad: 1.0,
        };
        b.law.order(&fin).unwrap();
        b.step();
        assert!((b.u.fin_rad[2] - 0.35).abs() <= 0.0);
        b.order(Mode::Standby);
        b.steps(200);
        assert!(
            (b.u.fin_rad[2] - 0.01).abs() < 1e-15,
            "a mode takes it back"
        );
    }
    let mut b = Bench::new(&ModesSpec::default());
    let rudder = Order::Fin {
        surface: 4,
        angle_rad: 0.1,
    };
    let e = b.law.order(&rudder).unwrap_err().to_string();
    assert!(e.contains("rudder_p") && e.contains("helm"), "{e}");
}

#[test]
fn trips_latch_until_a_mode_is_ordered() {
    for (to, goal) in [(TripMode::Standby, 0.02), (TripMode::Off, 0.0)] {
        let mut b = Bench::new(&ModesSpec {
            trips: TripsSpec {
                to,
                roll_deg: Some(15.0),
                ..TripsSpec::default()
            },
            ..ModesSpec::default()
        });
        b.steps(50);
        b.y.phi_rad = deg(20.0);
        // the law's own step, 0.1 rad/s T, before it trips
        assert!(b.steps(6) <= 0.1 * DT + 1e-12);
        assert_eq!(b.law.tripped(), Some(Cause::Roll(deg(20.0))));
        let told = b.law.notice().unwrap();
        assert!(
            told.contains("trip to") && told.contains("roll 20.0 deg"),
            "{told}"
        );
        assert!(b.law.notice().is_none());
        b.y.phi_rad = 0.0;
        assert!(b.steps(300) <= deg(3.0) * DT + 1e-12);
        assert!(b.law.tripped().is_some() && (b.u.fin_rad[0] - goal).abs() < 1e-15);
        b.order(Mode::Engaged);
        b.steps(100);
        assert!(b.law.tripped().is_none() && (b.u.fin_rad[0] - b.law_rad(0)).abs() <= 0.0);
        // engaged with the cause still there: it lets go again
        b.y.phi_rad = deg(20.0);
        b.steps(6);
        assert!(b.law.tripped().is_some());
        b.order(Mode::Engaged);
        b.steps(7);
        assert!(b.law.tripped().is_some() && b.law.mode() != Mode::Engaged);
    }
    // in manual nobody is interrupted
    let mut b = Bench::new(&ModesSpec {
        start: ModeSpec::Manual,
        trips: TripsSpec {
            roll_deg: Some(15.0),
            ..TripsSpec::default()
        },
        ..ModesSpec::default()
    });
    b.y.phi_rad = deg(20.0);
    b.steps(50);
    assert!(b.law.tripped().is_none() && b.law.mode() == Mode::Manual);
}

#[test]
fn locks_at_low_speed_with_hysteresis() {
    let mut b = Bench::new(&ModesSpec::default());
    b.steps(50);
    let (mut locked_kn, mut back_kn, mut worst) = (0.0, 0.0, 0.0_f64);
    // down to 1 kn and up again at 0.05 m/s2, the log noisy
    for down in [true, false] {
        for k in 0..1800 {
            let u = kn(18.0) - 0.005 * f64::from(k);
            let u = if down {
                u
            } else {
                kn(18.0) - 0.005 * f64::from(1799 - k)
            };
            b.y.speed_m_s = u + 0.05 * (1.7 * f64::from(k)).sin();
            worst = worst.max(b.step());
            if let Some(told) = b.law.notice() {
                let v = crate::units::to_kn(b.y.speed_m_s);
                if told.contains("unlocked") {
                    back_kn = v;
                } else {
                    locked_kn = v;
                }
            }
        }
        if down {
            assert!(b.u.fin_rad[..4].iter().all(|v| v.abs() < 1e-15));
        }
    }
    assert!(
        (locked_kn - 3.0).abs() < 0.15 && (back_kn - 4.0).abs() < 0.15,
        "{locked_kn} {back_kn}"
    );
    assert!(worst <= 0.1 * DT + 0.29 * DT / 5.0 + 1e-12, "{worst}");
    // astern
    let spec = ModesSpec {
        lock_below_kn: 0.0,
        ..ModesSpec::default()
    };
    let mut b = Bench::new(&spec);
    b.setup.nominal_speed_m_s = 0.3;
    let setup = b.setup.clone();
    b.law.reset(&setup).unwrap();
    b.y.speed_m_s = 0.2;
    b.steps(20);
    assert!(!b.law.locked);
    b.y.speed_m_s = -0.3;
    b.steps(100);
    assert!(b.law.locked && b.u.fin_rad[0].abs() < 1e-15);
}

#[test]
fn set_points_reach_the_law() {
    let mut b = Bench::new(&ModesSpec::default());
    b.steps(3);
    let goal = SetPoint {
        heave_m: -0.2,
        pitch_rad: 0.01,
        roll_rad: 0.0,
    };
    b.law.order(&Order::SetPoint(goal)).unwrap();
    assert_eq!(b.told.lock().unwrap().set_points, [goal]);
    let mut law = Supervised::new(Box::new(Deaf), &ModesSpec::default());
    assert!(law.order(&Order::SetPoint(goal)).is_err());
}

#[test]
fn lost_speed_makes_small_gains() {
    let mut b = Bench::new(&ModesSpec {
        speed: crate::spec::controller::SpeedWatchSpec {
            assumed_kn: Some(22.0),
            ..Default::default()
        },
        ..ModesSpec::default()
    });
    b.steps(50);
    for (reading, valid) in [(0.0, true), (kn(40.0), true), (kn(18.0), false)] {
        (b.y.speed_m_s, b.y.valid.speed) = (reading, valid);
        // own step, and a change of 0.3 of the command of at most 0.25 rad over 5 s
        let most = 0.1 * DT + 0.25 * DT / 5.0 + 1e-12;
        assert!(b.steps(400) <= most);
        let t = &b.setup.surfaces[0].trim_rad;
        let want = t + 0.7 * (b.law_rad(0) - t);
        assert!((b.u.fin_rad[0] - want).abs() < 1e-12);
        assert!((b.told.lock().unwrap().speed_m_s - kn(22.0)).abs() < 1e-12);
        assert_eq!(b.law.mode(), Mode::Engaged);
        (b.y.speed_m_s, b.y.valid.speed) = (kn(18.0), true);
        assert!(b.steps(400) <= most);
        assert!((b.u.fin_rad[0] - b.law_rad(0)).abs() <= 0.0);
    }
}

#[test]
fn integrators_follow_in_standby() {
    let setup = testcraft::setup();
    let spec = pid(Some(ModesSpec {
        start: ModeSpec::Standby,
        ..ModesSpec::default()
    }));
    let mut law = from_spec(&spec, std::path::Path::new(""), None).unwrap();
    law.reset(&setup).unwrap();
    let mut u = FinCommand::at_trim(&setup);
    let mut y = Measurement::at_trim(&setup);
    y.theta_rad += 0.03;
    for k in 0..3000 {
        y.surface_rad.clone_from(&u.fin_rad);
        law.update(DT * f64::from(k), &y, &mut u).unwrap();
    }
    let mut trace = Trace::default();
    law.trace(&mut trace);
    let held = trace.get("pitch_integral_rad").unwrap();
    // 5 min of 1.7 deg at 0.1 per s would fill the limit of 8 deg; following, it stays about the servo's lag band
    assert!(held.abs() < 0.9 * deg(8.0), "{held}");
    assert_eq!(trace.get("mode"), Some(2.0));
}
