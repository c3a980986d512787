//! The march against the derivative it stands for.

use std::sync::OnceLock;

use super::*;
use crate::dynamics::model::CraftModel;
use crate::math::ode::{Rk4, Stage};
use crate::math::rng::{Purpose, Stream};
use crate::spec::craft::CraftSpec;
use crate::spec::scenario::{CourseSpec, PhysicsSpec};

/// The smaller demonstration craft, everything switched on but backlash.
fn plant() -> &'static Plant {
    static PLANT: OnceLock<Plant> = OnceLock::new();
    PLANT.get_or_init(|| {
        let text = include_str!("../../../../scenarios/craft/coastal_survey.json");
        let spec: CraftSpec = serde_json::from_str(text).unwrap();
        let model = CraftModel::build(&spec, &PhysicsSpec::default(), None).unwrap();
        let mut plant = model.plant(9.0, &CourseSpec::default()).unwrap();
        // a surface that waits within the play makes corners in time, at which no method keeps its order
        for a in &mut plant.actuators {
            a.backlash_rad = 0.0;
        }
        plant
    })
}

/// Waves as the channels see them: one sine each, of the size of a moderate sea.
struct Sea {
    phase_rad: Vec<f64>,
}

impl Sea {
    fn new(channels: usize) -> Self {
        let mut s = Stream::new(11, 0, Purpose::Other);
        Sea {
            phase_rad: (0..channels).map(|_| s.phase_rad()).collect(),
        }
    }

    fn at(&self, t_s: f64) -> Vec<f64> {
        let mass = plant().mass[(0, 0)];
        let size = |j: usize| match j {
            0..3 => 0.2 * mass,
            3..6 => 0.6 * mass, // N m
            6..12 => 0.0,
            _ => 0.5, // m/s and m
        };
        let phases = self.phase_rad.iter().enumerate();
        phases
            .map(|(j, p)| size(j) * ((1.1 + 0.01 * j as f64) * t_s + p).sin())
            .collect()
    }
}

fn servo(i: usize, t_s: f64) -> (f64, f64) {
    let (a, w) = (0.08, 2.0 + 0.1 * i as f64);
    (a * (w * t_s).sin(), a * w * (w * t_s).cos())
}

/// What else acts.
struct Rest {
    zero: Vec<f64>,
    thrust: Vec<f64>,
}

impl Rest {
    fn new() -> Self {
        Rest {
            zero: vec![0.0; plant().surfaces.len()],
            thrust: vec![2e4; plant().shafts.len()],
        }
    }

    fn with<'a>(&'a self, waves: &'a [f64]) -> PlantInput<'a> {
        PlantInput {
            waves,
            command_rad: &self.zero,
            surface_hold_rad: &self.zero,
            rate_limit_rad_s: &self.zero,
            thrust_n: &self.thrust,
            wind: Wrench::repeat(500.0),
        }
    }
}

fn start() -> Vec<f64> {
    let mut x = vec![0.0; plant().layout.len()];
    x[6] = plant().speed_m_s;
    (x[2], x[4], x[8], x[10]) = (0.1, 0.01, 0.1, 0.01);
    x
}

/// States every 0.2 s of twelve in steps of `h`, by the march or by Runge-Kutta on the derivative.
fn along(h: f64, by_march: bool) -> Vec<Vec<f64>> {
    let (plant, sea) = (plant(), Sea::new(plant().channels.len()));
    let n = plant.surfaces.len();
    let rest = Rest::new();
    let put = |x: &mut [f64], t: f64| {
        for i in 0..n {
            (x[plant.layout.angle(i)], x[plant.layout.rate(i)]) = servo(i, t);
        }
    };
    let (mut x, mut rate) = (start(), start());
    put(&mut x, 0.0);
    let mut march = March::new(plant, h);
    assert!(march.start(&x, &rest.with(&sea.at(0.0))));
    march.now(&x, &rest.with(&sea.at(0.0)), &mut rate);
    let mut rk4 = Rk4::new(x.len());
    let mut out = Vec::new();
    let every = (0.2 / h).round() as u32;
    for k in 0..60 * every {
        let t = f64::from(k) * h;
        let (now, middle, end) = (sea.at(t), sea.at(t + 0.5 * h), sea.at(t + h));
        if by_march {
            let path: Vec<_> = (0..n)
                .map(|i| [servo(i, t + 0.5 * h), servo(i, t + h)])
                .collect();
            march.step(&mut x, &rest.with(&end), &path, &mut rate);
        } else {
            let mut first = vec![0.0; x.len()];
            plant.derivative(&x, &rest.with(&now), &mut first);
            rk4.step_from(h, &mut x, &first, |stage, x, dx| {
                let (waves, t) = match stage {
                    Stage::End => (&end, t + h),
                    _ => (&middle, t + 0.5 * h),
                };
                put(x, t);
                plant.derivative(x, &rest.with(waves), dx);
            });
            put(&mut x, t + h);
        }
        if (k + 1).is_multiple_of(every) {
            out.push(x.clone());
        }
    }
    out
}

#[test]
fn instants_meet_the_plant() {
    let plant = plant();
    let mut s = Stream::new(12, 0, Purpose::Other);
    let mut march = March::new(plant, 0.1);
    for _ in 0..5 {
        let mut x: Vec<f64> = start().iter().map(|v| v + 0.05 * s.normal()).collect();
        for t in plant.layout.thrust.clone() {
            x[t] = 3e4;
        }
        let waves = Sea::new(plant.channels.len()).at(10.0 * s.normal());
        let rest = Rest::new();
        let input = rest.with(&waves);
        let (mut want, mut got) = (vec![0.0; x.len()], vec![0.0; x.len()]);
        plant.derivative(&x, &input, &mut want);
        march.now(&x, &input, &mut got);
        for i in 0..MOVING {
            // the same sums in another order, of terms some hundred times their result
            assert!(
                (got[i] - want[i]).abs() < 1e-10,
                "{i}: {} {}",
                got[i],
                want[i]
            );
        }
        let (mut lift, mut of_march) = (rest.zero.clone(), rest.zero.clone());
        plant.lift_n(&x, &input, &mut lift);
        march.lift_n(&mut of_march);
        for (a, b) in lift.iter().zip(&of_march) {
            assert!((a - b).abs() < 1e-9 * (1.0 + a.abs()));
        }
    }
}

/// Parts of the state: name and places.
fn parts() -> [(&'static str, std::ops::Range<usize>); 6] {
    let l = &plant().layout;
    [
        ("attitude", 3..6),
        ("velocities", 7..12),
        ("memory", l.memory.clone()),
        ("lags", l.lag.clone()),
        ("delay lines", l.delay.clone()),
        ("thrust", l.thrust.clone()),
    ]
}

/// Error of each part against Runge-Kutta on the whole derivative in steps of 2.5 ms, over its size, both RMS over time.
fn errors(h: f64) -> [f64; 6] {
    static FINE: OnceLock<Vec<Vec<f64>>> = OnceLock::new();
    let fine = FINE.get_or_init(|| along(0.0025, false));
    let found = along(h, true);
    parts().map(|(_, range)| {
        let (mut off, mut size) = (0.0, 0.0);
        for (x, y) in found.iter().zip(fine) {
            for i in range.clone() {
                off += (x[i] - y[i]).powi(2);
                size += y[i].powi(2);
            }
        }
        (off / size).sqrt()
    })
}

#[test]
fn one_evaluation_meets_fine_steps() {
    // the error itself, at the step of campaigns; what RMS and maxima are off by stands in tests/integrators.rs
    for ((what, _), e) in parts().iter().zip(errors(0.1)) {
        assert!(e < 5e-3, "{what}: {e:e}");
    }
}

#[test]
fn errors_fall_with_the_square_of_the_step() {
    let found = [0.2, 0.1, 0.05].map(errors);
    for (k, (what, _)) in parts().iter().enumerate() {
        let [a, b, c] = found.map(|e| e[k]);
        // a quarter per halving; weights of lags and delay lines, interpolated in the speed, leave 1e-6
        for (coarse, fine) in [(a, b), (b, c)] {
            assert!(fine < coarse / 3.5 + 1e-6, "{what}: {a:e} {b:e} {c:e}");
        }
    }
}

#[test]
fn start_refuses_long_steps() {
    let plant = plant();
    let (waves, rest) = (vec![0.0; plant.channels.len()], Rest::new());
    let input = rest.with(&waves);
    assert!(March::new(plant, 0.1).start(&start(), &input));
    assert!(!March::new(plant, 2.0).start(&start(), &input));
}
