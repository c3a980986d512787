//! The monitor on invented streams: a toy craft that swings, servos by the model's own servos.

use rand_distr::{Distribution, StandardNormal};

use super::*;
use crate::control::{fixed::Fixed, pid::Pid, testcraft};
use crate::math::rng::{Purpose, Stream, generator};
use crate::spec::controller::{AngleGains, ModesSpec};
use crate::units::deg;

/// A craft that swings in roll and pitch, and servos that answer as they should, with the stated noise.
struct Toy {
    setup: Setup,
    servos: Servos,
    /// Fins held at these angles instead.
    held: Vec<Option<f64>>,
    y: Measurement,
    u: FinCommand,
    noise: Stream,
    amplitude_rad: f64,
    k: usize,
}

impl Toy {
    fn new(amplitude_rad: f64) -> Self {
        let setup = testcraft::setup();
        Toy {
            servos: Servos::new(&setup),
            held: vec![None; setup.surfaces.len()],
            y: Measurement::at_trim(&setup),
            u: FinCommand::at_trim(&setup),
            noise: Stream::new(11, 0, Purpose::Sensors),
            amplitude_rad,
            k: 0,
            setup,
        }
    }

    /// Readings of the next sample; `bend` breaks them.
    fn read(&mut self, bend: impl Fn(&mut Measurement, usize)) -> f64 {
        let t = self.k as f64 * self.setup.sample_period_s;
        let (a, w) = (self.amplitude_rad, 0.8);
        let s = &self.setup.sensors;
        let swing = |phase: f64| (a * (w * t + phase).sin(), a * w * (w * t + phase).cos());
        let ((phi, p), (pitch, q)) = (swing(0.0), swing(1.0));
        let theta = self.setup.trim_pitch_rad + pitch;
        let rest = Measurement::at_trim(&self.setup);
        let y = &mut self.y;
        y.copy_from(&rest);
        let mut n = |sigma: f64| sigma * self.noise.normal();
        y.phi_rad = phi + n(s.attitude.noise);
        y.theta_rad = theta + n(s.attitude.noise);
        // body rates of these angles
        y.rates_rad_s.x = p + n(s.rate.noise);
        y.rates_rad_s.y = q * phi.cos() + n(s.rate.noise);
        y.rates_rad_s.z = -q * phi.sin() + n(s.rate.noise);
        let g = crate::units::G_M_S2;
        let f = [
            g * theta.sin(),
            -g * theta.cos() * phi.sin(),
            -g * theta.cos() * phi.cos(),
        ];
        for (i, f) in f.into_iter().enumerate() {
            y.specific_force_m_s2[i] = f + n(s.acceleration.noise);
        }
        for (h, r) in y.height_m.iter_mut().zip(&self.setup.height_sensors_m) {
            let z = self.setup.trim_heave_m + super::super::signal::vertical(r, phi, theta);
            *h = ((-z + n(s.height.noise)) / s.height.step).round() * s.height.step;
        }
        y.speed_m_s += n(s.speed.noise);
        y.heading_rad += n(s.heading.noise);
        for i in 0..y.surface_rad.len() {
            let angle = self.held[i].unwrap_or(self.servos.reading_rad(i));
            y.surface_rad[i] = angle + n(s.surface.noise);
        }
        bend(y, self.k);
        self.k += 1;
        t
    }

    /// Samples until `end_s`, all findings.
    fn run(
        &mut self,
        law: &mut Monitored,
        end_s: f64,
        bend: impl Fn(&mut Measurement, usize),
    ) -> Vec<Finding> {
        let mut found = Vec::new();
        while (self.k as f64) * self.setup.sample_period_s < end_s {
            let t = self.read(&bend);
            law.update(t, &self.y, &mut self.u).unwrap();
            self.servos.advance(&self.u.fin_rad, |_| true);
            found.extend(std::iter::from_fn(|| law.finding()));
        }
        found
    }
}

fn pid() -> Pid {
    let gains = AngleGains {
        rate_deg_s_per_deg: 1.0,
        ..AngleGains::default()
    };
    let spec = crate::spec::controller::PidSpec {
        pitch: gains,
        roll: gains,
        ..testcraft::pid()
    };
    Pid::new("toy", &spec).unwrap()
}

fn recovering() -> MonitorSpec {
    MonitorSpec {
        recovers: true,
        ..MonitorSpec::default()
    }
}

fn monitored(toy: &Toy, modes: bool, spec: &MonitorSpec) -> Monitored {
    let mut law: Box<dyn Controller> = Box::new(pid());
    if modes {
        law = Box::new(crate::control::modes::Supervised::new(
            law,
            &ModesSpec::default(),
        ));
    }
    let mut law = Monitored::new(law, spec);
    law.reset(&toy.setup).unwrap();
    law
}

#[test]
fn healthy_readings_pass_untouched() {
    // calm with default noise for two hours, and swinging for twenty minutes: no alarm, and bit for bit the same
    for (amplitude, end_s) in [(0.0, 7200.0), (deg(6.0), 1200.0)] {
        let (mut bare, mut watched) = (Toy::new(amplitude), Toy::new(amplitude));
        let mut law = monitored(&watched, false, &recovering());
        assert_eq!(watched.run(&mut law, end_s, |_, _| {}), []);
        let mut plain = pid();
        plain.reset(&bare.setup).unwrap();
        while bare.k < watched.k {
            let t = bare.read(|_, _| {});
            plain.update(t, &bare.y, &mut bare.u).unwrap();
            bare.servos.advance(&bare.u.fin_rad, |_| true);
        }
        assert_eq!(bare.u, watched.u);
    }
}

#[test]
fn stuck_fin_is_found_and_worked_around() {
    let mut toy = Toy::new(deg(4.0));
    let mut law = monitored(&toy, false, &recovering());
    toy.run(&mut law, 60.0, |_, _| {});
    let stuck = toy.setup.surfaces[2].trim_rad + deg(3.0);
    toy.held[2] = Some(stuck);
    let found = toy.run(&mut law, 80.0, |_, _| {});
    let want = Target::Surface("aft_p".into());
    assert!(
        found.len() == 1 && found[0].target == want && found[0].kind == Kind::Stuck,
        "{found:?}"
    );
    // it jams where it turns round: by the gains it stands 3.13 deg cos(0.8 (t - 60.3)) off trim, and Page's sum of the
    // noise-free residual, servo 0.25 s late, passes h = 19 at 61.8 s (worked out apart); then the deciding time
    let alarm_s = found[0].alarm_s;
    assert!((alarm_s - 61.8).abs() < 0.35, "{alarm_s}");
    assert!(found[0].t_s < alarm_s + 1.7, "{found:?}");
    assert!((toy.u.fin_rad[2] - stuck).abs() < deg(0.1));
    // its lift is made good: no roll and pitch moment is asked at a zero of rates beyond what it makes
    let lift: f64 = (0..4)
        .map(|i| {
            toy.setup.surfaces[i].influence.roll_nm
                * (toy.u.fin_rad[i] - toy.setup.surfaces[i].trim_rad)
        })
        .sum();
    let one = toy.setup.surfaces[2].influence.roll_nm.abs();
    let asked = 4.0 * one * deg(4.0) * 0.8;
    assert!(lift.abs() < 1.1 * asked, "{lift} {asked}");
}

#[test]
fn stuck_slow_swinging_and_misread_are_told_apart() {
    let setup = testcraft::setup();
    // measured angle for a model that swings by 6 deg at 1 rad/s
    let named = |measured: &dyn Fn(f64) -> f64| {
        let mut fin = Fin::new(&setup, 0, 18.0, 1.5);
        let mut rng = generator(2, 0, Purpose::Sensors, 0);
        (0..600).find_map(|k| {
            let t = 0.1 * f64::from(k);
            let model = deg(6.0) * t.sin();
            let n: f64 = StandardNormal.sample(&mut rng);
            let healthy = t < 20.0;
            let seen = Seen {
                angle_rad: if healthy { model } else { measured(t) }
                    + n * setup.sensors.surface.noise,
                model_rad: model,
                model_rad_s: deg(6.0) * t.cos(),
                asked_rad: deg(6.0) * (t + 0.15).sin(),
            };
            fin.step(seen).map(|v| v.0)
        })
    };
    let swings = |t: f64| deg(6.0) * t.sin();
    assert_eq!(named(&swings), None);
    let stuck = Some(Verdict::Surface(Kind::Stuck));
    assert_eq!(named(&|_| deg(6.0) * 20f64.sin()), stuck);
    let misread = Some(Verdict::Sensor(Kind::Disagrees));
    assert_eq!(named(&|t| swings(t) + deg(2.0)), misread);
    assert_eq!(named(&|t| 0.5 * swings(t)), misread);
    let erratic = named(&|t| deg(6.0) * 20f64.sin() + deg(4.0) * (2.5 * (t - 20.0)).sin());
    assert_eq!(erratic, Some(Verdict::Surface(Kind::Erratic)));
}

#[test]
fn rate_bias_and_attitude_are_told_apart() {
    let spec = recovering();
    for (want, bend) in [
        (
            SensorNameSpec::PitchRate,
            (|y: &mut Measurement, k| {
                // grows slowly enough to make no jump
                y.rates_rad_s.y += deg(2.0) * ((k as f64 - 600.0) / 100.0).clamp(0.0, 1.0);
            }) as fn(&mut Measurement, usize),
        ),
        (SensorNameSpec::Roll, |y, k| {
            y.phi_rad += if k < 600 { 0.0 } else { deg(2.0) };
        }),
        (SensorNameSpec::Height { height_sensor: 1 }, |y, k| {
            y.height_m[1] += if k < 600 { 0.0 } else { 1.0 };
        }),
    ] {
        let mut toy = Toy::new(deg(3.0));
        let mut law = monitored(&toy, false, &spec);
        let found = toy.run(&mut law, 90.0, bend);
        let target = found.first().map(|f| f.target.clone());
        assert_eq!(target, Some(Target::Sensor(want)));
        assert!(found[0].t_s >= 60.0 && found[0].t_s < 75.0, "{found:?}");
    }
}

#[test]
fn hand_and_mode_win_over_the_monitor() {
    let mut toy = Toy::new(deg(4.0));
    let mut law = monitored(&toy, true, &recovering());
    toy.run(&mut law, 30.0, |_, _| {});
    toy.held[0] = Some(deg(-5.0));
    assert_eq!(toy.run(&mut law, 50.0, |_, _| {}).len(), 1);
    assert!((toy.u.fin_rad[0] - deg(-5.0)).abs() < deg(0.1));
    let angle_rad = deg(7.0);
    law.order(&Order::Fin {
        surface: 0,
        angle_rad,
    })
    .unwrap();
    toy.run(&mut law, 51.0, |_, _| {});
    assert!((toy.u.fin_rad[0] - angle_rad).abs() < 1e-12);
    // an order of mode forgets; the fault that is still there is found anew
    toy.held[0] = Some(deg(-5.0));
    law.order(&Order::Mode(Mode::Engaged)).unwrap();
    assert_eq!(toy.run(&mut law, 80.0, |_, _| {}).len(), 1);
    law.order(&Order::Mode(Mode::Off)).unwrap();
    toy.run(&mut law, 100.0, |_, _| {});
    assert!(toy.u.fin_rad[..4].iter().all(|a| a.abs() < 1e-9));
}

#[test]
fn lost_attitude_is_made_from_rates() {
    let mut toy = Toy::new(deg(4.0));
    let mut law = monitored(&toy, false, &recovering());
    let freeze = |y: &mut Measurement, k: usize| {
        if k >= 400 {
            y.phi_rad = 0.031;
        }
    };
    let found = toy.run(&mut law, 80.0, freeze);
    assert_eq!(found[0].target, Target::Sensor(SensorNameSpec::Roll));
    let seen = &law.state.as_ref().unwrap().seen;
    let truth = deg(4.0) * (0.8 * 79.9_f64).sin();
    // rates integrated by the forward rule: half a sample late, 0.13 deg; gravity in phase with the roll
    assert!(
        (seen.phi_rad - truth).abs() < deg(0.5),
        "{} {truth}",
        seen.phi_rad
    );
}

#[test]
fn any_law_has_the_load_of_a_stuck_fin_carried() {
    let mut toy = Toy::new(0.0);
    let mut law = Monitored::new(Box::new(Fixed::new("fixed")), &recovering());
    law.reset(&toy.setup).unwrap();
    toy.run(&mut law, 10.0, |_, _| {});
    let trim: Vec<f64> = toy.setup.surfaces.iter().map(|s| s.trim_rad).collect();
    toy.held[3] = Some(trim[3] + deg(6.0));
    toy.run(&mut law, 30.0, |_, _| {});
    let moment = |of: fn(&super::super::signal::ModalInfluence) -> f64| -> f64 {
        let s = toy.setup.surfaces.iter().take(4).enumerate();
        s.map(|(i, s)| of(&s.influence) * (toy.u.fin_rad[i] - trim[i]))
            .sum()
    };
    let one = toy.setup.surfaces[3].influence;
    // what the pull towards small angles leaves: 0.105 and 0.014 by `load_of_a_stuck_surface_is_carried`
    assert!(moment(|m| m.pitch_nm).abs() < 0.12 * one.pitch_nm.abs() * deg(6.0));
    assert!(moment(|m| m.roll_nm).abs() < 0.03 * one.roll_nm.abs() * deg(6.0));
}
