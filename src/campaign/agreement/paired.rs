//! Simulated and linear records of one place.

use std::sync::Arc;

use num_complex::Complex64;

use super::{COMPARED, Compared, Effort, PairedCell, Ratio};
use crate::campaign::judge::body_acceleration;
use crate::campaign::prediction::LawAtSpeed;
use crate::campaign::stage::Stage;
use crate::closed_loop::{AtSea, DragModel, Evaluation, Fineness, Options, Output, WeightedWave};
use crate::error::Result;
use crate::math::stats;
use crate::math::stats::sample::t_quantile;
use crate::metrics::slices::SLOW_RAD_S;
use crate::sea::realisation::Component;
use crate::sim::record::Record;
use crate::sim::run::run;
use crate::spec::craft::SurfaceGroup;
use crate::units::{deg, kn};

/// A place to compare at.
pub(super) struct Place<'a> {
    /// The scenario made ready.
    pub(super) stage: &'a Stage,
    /// Index of the speed.
    pub(super) speed: usize,
    /// Wave heading, deg.
    pub(super) heading_deg: f64,
    /// Index of the law.
    pub(super) law: usize,
}

/// Sums over records of one quantity.
#[derive(Clone, Default)]
struct Sums {
    simulated: Vec<f64>,
    linear: Vec<f64>,
    cross: f64,
    slow: f64,
}

impl Sums {
    /// The comparison, where the spectral method has the RMS `whole`, of which its linear part alone would make
    /// `first`.
    fn ratio(&self, compared: Compared, whole: f64, first: f64) -> Ratio {
        let n = self.linear.len() as f64;
        let (s, l): (f64, f64) = (self.simulated.iter().sum(), self.linear.iter().sum());
        let square = s / l;
        let errors: Vec<f64> = self
            .simulated
            .iter()
            .zip(&self.linear)
            .map(|(s, l)| s - square * l)
            .collect();
        let spread = (errors.iter().map(|e| e * e).sum::<f64>() / (n - 1.0)).sqrt();
        let half = t_quantile(0.975, n - 1.0) * spread / n.sqrt() / (2.0 * square.sqrt() * l / n);
        let beyond = if first > 0.0 { whole / first } else { 1.0 };
        Ratio {
            compared,
            spectral_rms: whole,
            spectral_linear_rms: first,
            linear_rms: (l / n).sqrt(),
            simulated_rms: (s / n).sqrt(),
            ratio: square.sqrt(),
            half_width: half,
            difference: beyond / square.sqrt() - 1.0,
            difference_half_width: beyond * half / square,
            correlation: self.cross / (s * l).sqrt(),
            slow_frac: self.slow / l,
        }
    }
}

/// Runs seeds 1, 2, ... of a place until the ratios are known as well as asked for.
///
/// # Errors
/// A case that cannot be set up; a law without linear form; a loop that is not stable.
pub(super) fn pair(place: &Place<'_>, effort: &Effort) -> Result<PairedCell> {
    let stage = place.stage;
    let speed = &stage.speeds[place.speed];
    let plan = &stage.laws[place.law];
    let mut cell = PairedCell {
        speed_kn: speed.speed_kn,
        heading_deg: place.heading_deg,
        law: plan.spec.name.clone(),
        linear_restoring: !stage.scenario.physics.nonlinear_restoring,
        refused: None,
        records: 0,
        endings: Vec::new(),
        limit_frac: 0.0,
        contact_frac: 0.0,
        speed_change: 0.0,
        ratios: Vec::new(),
    };
    let linear = Linear::new(stage, LawAtSpeed::new(stage, speed, plan)?);
    if !linear.law.law.is_stable() {
        cell.refused = Some("unstable: no RMS exists".to_owned());
        return Ok(cell);
    }
    let spectral = linear.spectral(stage, place.heading_deg)?;
    let mut law = plan.make()?;
    let mut sums = vec![Sums::default(); COMPARED.len()];
    let mut limited = vec![0.0; linear.fins.iter().flatten().count()];
    for seed in 1..=effort.most as u64 {
        let case = stage.case(speed, place.heading_deg, seed)?;
        let result = run(&case, law.as_mut());
        if !result.outcome.is_completed() {
            cell.endings.push(result.outcome.to_string());
            if cell.endings.len() > 2 {
                break;
            }
            continue;
        }
        let r = &result.record;
        let track = Track::of(r);
        cell.speed_change += track.mean_rate_m_s(0) / kn(speed.speed_kn).max(0.1);
        for (sum, share) in limited.iter_mut().zip(linear.at_limits(r)) {
            *sum += share;
        }
        if let Some(clear) = r.judged_of("underside.clear") {
            let under = clear.iter().filter(|c| **c < 0.0).count();
            cell.contact_frac = cell.contact_frac.max(under as f64 / clear.len() as f64);
        }
        linear.add(r, &case.parts().components, &track, &mut sums)?;
        cell.records += 1;
        if effort.looks_at(cell.records) {
            cell.ratios = COMPARED
                .iter()
                .zip(sums.iter().zip(spectral[0].iter().zip(&spectral[1])))
                .filter(|(_, (s, _))| s.linear.len() > 1)
                .map(|(c, (s, (whole, linear)))| s.ratio(*c, *whole, *linear))
                .collect();
            let known = |r: &Ratio| r.difference_half_width < effort.half_width;
            if cell.ratios.iter().all(known) {
                break;
            }
        }
    }
    let records = cell.records.max(1) as f64;
    cell.limit_frac = limited.iter().copied().fold(0.0, f64::max) / records;
    cell.speed_change /= records;
    Ok(cell)
}

/// The simulated track about the nominal one: places every [`KNOT_S`], each the mean over as long.
struct Track {
    start_s: f64,
    knots_m: Vec<[f64; 2]>,
}

/// Interval of the smoothed track, s: three periods of the slowest waves that make the ride.
const KNOT_S: f64 = 30.0;

impl Track {
    fn of(r: &Record) -> Self {
        let per = (KNOT_S / r.interval_s).round().max(1.0) as usize;
        let column = |name: &str| r.judged_of(name).unwrap_or(&[]);
        let means = |x: &[f64]| -> Vec<f64> { x.chunks_exact(per).map(stats::mean).collect() };
        let (x, y) = (means(column("surge")), means(column("sway")));
        Track {
            // middle of the first piece
            start_s: r.judged().start as f64 * r.interval_s + 0.5 * KNOT_S,
            knots_m: x.into_iter().zip(y).map(|(x, y)| [x, y]).collect(),
        }
    }

    fn mean_rate_m_s(&self, axis: usize) -> f64 {
        let n = self.knots_m.len();
        if n < 2 {
            return 0.0;
        }
        (self.knots_m[n - 1][axis] - self.knots_m[0][axis]) / ((n - 1) as f64 * KNOT_S)
    }

    /// Place at a time and its rate there, straight between knots and beyond the ends.
    fn at(&self, t_s: f64) -> ([f64; 2], [f64; 2]) {
        let n = self.knots_m.len();
        if n < 2 {
            return ([0.0; 2], [0.0; 2]);
        }
        let at = (t_s - self.start_s) / KNOT_S;
        let i = (at.floor().max(0.0) as usize).min(n - 2);
        let (a, b) = (self.knots_m[i], self.knots_m[i + 1]);
        let rate = [0, 1].map(|k| (b[k] - a[k]) / KNOT_S);
        let f = at - i as f64;
        ([0, 1].map(|k| a[k] + f * (b[k] - a[k])), rate)
    }
}

/// The linear side of a place.
struct Linear {
    law: LawAtSpeed,
    options: Options,
    outputs: Vec<Output>,
    bridge: String,
    fins: [Vec<usize>; 2],
}

/// Samples left out between two that are compared.
const EVERY: usize = 2;
/// Compared samples over which the track is taken as straight: knots lie on a multiple.
const STRAIGHT: usize = 25;

impl Linear {
    fn new(stage: &Stage, law: LawAtSpeed) -> Self {
        let points = &stage.model.craft.points;
        let bridge = points
            .iter()
            .find(|p| p.0 == "bridge")
            .or_else(|| points.first())
            .cloned()
            .unwrap_or_default();
        let of_group = |group: SurfaceGroup| {
            let all = law.speed.craft.plant.surfaces.iter().enumerate();
            all.filter(|(_, s)| s.group == group).map(|s| s.0).collect()
        };
        let fins: [Vec<usize>; 2] = [of_group(SurfaceGroup::Forward), of_group(SurfaceGroup::Aft)];
        let mut outputs = vec![
            Output::Motion(2),
            Output::Motion(4),
            Output::Motion(3),
            Output::Acceleration {
                r_m: bridge.1,
                axis: 2,
            },
        ];
        outputs.extend(fins.iter().flatten().map(|i| Output::Angle(*i)));
        Linear {
            law,
            options: stage.spectral_options(),
            outputs,
            bridge: bridge.0,
            fins,
        }
    }

    /// RMS of everything compared by the spectral method in the whole sea, and the linear part alone.
    fn spectral(&self, stage: &Stage, heading_deg: f64) -> Result<[[f64; 6]; 2]> {
        let sea = self.law.speed.at_sea(
            &stage.sea,
            &stage.sea_folder,
            deg(heading_deg),
            &Fineness::default(),
            DragModel::Gaussian,
        )?;
        let linear = sea.evaluate(&self.law.law, &self.options)?;
        let rms = |e: &Evaluation<'_>| {
            let variance: Vec<f64> = self.outputs.iter().map(|o| e.variance(*o)).collect();
            self.gather(&variance).map(f64::sqrt)
        };
        let first = rms(&linear);
        Ok([rms(&linear.with_second_order()?), first])
    }

    /// One value a quantity from one an output: fins of a group by their mean.
    fn gather(&self, values: &[f64]) -> [f64; 6] {
        let forward = 4 + self.fins[0].len();
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len().max(1) as f64;
        [
            values[0],
            values[1],
            values[2],
            values[3],
            mean(&values[4..forward]),
            mean(&values[forward..]),
        ]
    }

    fn simulated(&self, r: &Record) -> Vec<Vec<f64>> {
        let plant = &self.law.speed.craft.plant;
        let at = |name: &str| r.judged_of(name).unwrap_or(&[]).to_vec();
        let [_, _, vertical] = body_acceleration(r, &self.bridge, plant.g_m_s2);
        let heave = at("heave_up").iter().map(|v| -v).collect();
        let mut out = vec![heave, at("pitch"), at("roll"), vertical];
        for i in self.fins.iter().flatten() {
            out.push(at(&format!("{}.angle", plant.surfaces[*i].name)));
        }
        out
    }

    /// Share of the time that each fin is at a limit.
    fn at_limits(&self, r: &Record) -> Vec<f64> {
        let share = |i: &usize| {
            let (s, servo) = (
                &self.law.speed.craft.plant.surfaces[*i],
                &self.law.speed.craft.plant.actuators[*i],
            );
            let of = |q: &str| r.judged_of(&format!("{}.{q}", s.name)).unwrap_or(&[]);
            let (low, high) = servo.angle_range_rad(self.law.speed.craft.speed_m_s);
            let near = 0.1f64.to_radians();
            let (angle, rate) = (of("angle"), of("rate"));
            let at = angle.iter().zip(rate).filter(|(a, v)| {
                **a >= high - near || **a <= low + near || v.abs() >= 0.98 * servo.max_rate_rad_s
            });
            at.count() as f64 / angle.len().max(1) as f64
        };
        self.fins.iter().flatten().map(share).collect()
    }

    /// Linear response to the waves of one record: gains times amplitudes per output, variance of
    /// noise and share of slow variance beside.
    fn respond(&self, components: &[Component]) -> Result<Vec<(Vec<Complex64>, f64, f64)>> {
        let waves = components
            .iter()
            .map(|c| WeightedWave {
                omega_rad_s: c.omega_rad_s,
                mu_rad: c.mu_rad,
                omega_e_rad_s: c.encounter_rad_s(self.law.speed.craft.speed_m_s),
                weight_m2: 0.5 * c.amplitude_m * c.amplitude_m,
            })
            .collect();
        let sea = AtSea::new(Arc::clone(&self.law.speed), waves, DragModel::Gaussian)?;
        let found = sea.evaluate(&self.law.law, &self.options)?;
        Ok(self
            .outputs
            .iter()
            .map(|o| {
                let r = found.responses(*o);
                let gains: Vec<Complex64> = components
                    .iter()
                    .enumerate()
                    .map(|(i, c)| r.at(i) * c.amplitude_m)
                    .collect();
                let by_waves: f64 = gains.iter().map(|g| 0.5 * g.norm_sqr()).sum();
                let noise = (found.variance(*o) - by_waves).max(0.0);
                (gains, noise, found.slow_share(*o, SLOW_RAD_S))
            })
            .collect())
    }

    /// The linear records of the same length as the simulated ones, every [`EVERY`] samples.
    fn records(
        &self,
        r: &Record,
        components: &[Component],
        track: &Track,
        gains: &[&[Complex64]],
    ) -> Vec<Vec<f64>> {
        let dt = r.interval_s * EVERY as f64;
        let t0 = r.judged().start as f64 * r.interval_s;
        let samples = r.judged().len().div_ceil(EVERY);
        let mut linear = vec![Vec::with_capacity(samples); gains.len()];
        let (mut turn, mut step) = (Vec::new(), Vec::new());
        for first in (0..samples).step_by(STRAIGHT) {
            let t = t0 + first as f64 * dt;
            let (place, rate) = track.at(t + 1e-6);
            turn.clear();
            step.clear();
            for c in components {
                let k = c.wave_number_rad_m();
                let (s, cos) = c.mu_rad.sin_cos();
                let along = |v: &[f64; 2]| k * (v[0] * cos + v[1] * s);
                let omega = c.encounter_rad_s(self.law.speed.craft.speed_m_s);
                turn.push(Complex64::cis(c.phase_rad + omega * t - along(&place)));
                step.push(Complex64::cis((omega - along(&rate)) * dt));
            }
            for _ in first..(first + STRAIGHT).min(samples) {
                for (column, g) in linear.iter_mut().zip(gains) {
                    let v = g.iter().zip(&turn).map(|(g, t)| g.re * t.re - g.im * t.im);
                    column.push(v.sum::<f64>());
                }
                for (t, s) in turn.iter_mut().zip(&step) {
                    *t *= s;
                }
            }
        }
        linear
    }

    /// Adds a record to the sums.
    fn add(
        &self,
        r: &Record,
        components: &[Component],
        track: &Track,
        sums: &mut [Sums],
    ) -> Result<()> {
        let simulated = self.simulated(r);
        let responses = self.respond(components)?;
        let gains: Vec<&[Complex64]> = responses.iter().map(|r| r.0.as_slice()).collect();
        let linear = self.records(r, components, track, &gains);
        let numbers: Vec<[f64; 5]> = simulated
            .iter()
            .zip(&linear)
            .zip(&responses)
            .map(|((s, l), (_, noise, slow))| {
                let s: Vec<f64> = s.iter().copied().step_by(EVERY).collect();
                let (ms, ml) = (stats::mean(&s), stats::mean(l));
                let pairs = s.iter().zip(l);
                let cross = pairs.map(|(a, b)| (a - ms) * (b - ml)).sum::<f64>() / s.len() as f64;
                let (a, b) = (stats::rms(&s).powi(2), stats::rms(l).powi(2) + noise);
                [a, b, cross, slow * b, b - noise]
            })
            .collect();
        let of = |k: usize| self.gather(&numbers.iter().map(|n| n[k]).collect::<Vec<f64>>());
        let [simulated, linear, cross, slow, by_waves] = [of(0), of(1), of(2), of(3), of(4)];
        for (i, sum) in sums.iter_mut().enumerate() {
            if by_waves[i] < TINY {
                continue;
            }
            sum.simulated.push(simulated[i]);
            sum.linear.push(linear[i]);
            sum.cross += cross[i];
            sum.slow += slow[i];
        }
        Ok(())
    }
}

/// Linear variance below which there is nothing to compare: 0.01 mm, mrad, mm/s2 squared.
const TINY: f64 = 1e-10;
