//! Gains that change with speed and loading.
//!
//! # Equation
//! ```text
//! g(U, D) = g_j(U) + (D - D_j)/(D_j+1 - D_j) (g_j+1(U) - g_j(U)),   g of the end loadings beyond them
//! g_j(U)  = g_k + (U - U_k)/(U_k+1 - U_k) (g_k+1 - g_k),            g of the end rows beyond them
//! D'      = (D_told - D) / LOADING_S,                               D = D_told at the start
//! ```
//!
//! # Symbols
//! U speed through water without its surging in waves (m/s), D displacement (kg), D_told the one that the crew
//! told last, g any gain of heave, pitch or roll at the reference speed; j loadings, k rows of a loading.
//!
//! # Valid when
//! Bumpless without more ado: gains are continuous in a speed and a displacement that are slow, and integrators
//! hold the angle they ask for, not the integral of the error, so that a gain that changes moves no fin. What is
//! told may jump, [`Displacement`] does not. Between loadings gains are a guess of the middle: loops are judged there
//! with the craft loaded so (`schedule --loading`).
//!
//! # Source
//! W. J. Rugh & J. S. Shamma (2000), Research on gain scheduling, Automatica 36, 1401-1425, section 5.
//!
//! # Checked by
//! `gains_run_between_rows`, `a_ramp_of_speed_moves_no_fin_suddenly`, `a_schedule_of_one_gain_set_is_that_set`,
//! `gains_run_between_loadings`, `a_displacement_told_moves_no_fin_suddenly`, `loadings_that_cannot_be_are_told`;
//! `linear_form_is_the_law_itself` (tests/controllers/linear_form.rs)

use crate::error::{Error, Problem, Result};
use crate::spec::controller::{AngleGains, HeaveGains, LoadingSchedule, PidSpec, ScheduleRow};
use crate::spec::validate::{ascending, rows_beside_loadings};
use crate::units::{kn, tonnes};

/// Time constant with which gains go over to another displacement, s: slow against the craft's motions and
/// the integrators, fast against pumps.
pub const LOADING_S: f64 = 30.0;

/// Gains at one speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gains {
    /// Heave.
    pub heave: HeaveGains,
    /// Pitch.
    pub pitch: AngleGains,
    /// Roll.
    pub roll: AngleGains,
}

/// Gains at ascending speeds, m/s.
type OverSpeed = Vec<(f64, Gains)>;

/// Gains against speed and displacement; without rows there is nothing to follow.
#[derive(Clone, Debug, Default)]
pub struct GainSchedule {
    /// Displacement, kg, ascending. One loading stands for all.
    loadings: Vec<(f64, OverSpeed)>,
}

impl GainSchedule {
    /// From a file: its `loadings`, or its `schedule`, or nothing.
    ///
    /// # Errors
    /// Both; speeds or displacements that do not ascend; a loading without rows.
    pub fn of(spec: &PidSpec) -> Result<Self> {
        if spec.loadings.is_empty() {
            return GainSchedule::new(&spec.schedule);
        }
        let mut bad = Vec::new();
        if !spec.schedule.is_empty() {
            bad.push(rows_beside_loadings());
        }
        let at = |i| format!("law.pid.loadings[{i}]");
        let told = spec.loadings.iter().map(|l| l.displacement_t);
        let place = |i| format!("{}.displacement_t", at(i));
        ascending(&mut bad, told, place, "t");
        for (i, l) in spec.loadings.iter().enumerate() {
            speeds(&mut bad, &format!("{}.schedule", at(i)), &l.schedule);
            if l.schedule.is_empty() {
                let p = Problem::at(format!("{}.schedule", at(i)), "has no rows, must have one");
                bad.push(p.hint("a single row holds at all speeds"));
            }
        }
        let one = |l: &LoadingSchedule| (tonnes(l.displacement_t), over_speed(&l.schedule));
        if bad.is_empty() {
            let loadings = spec.loadings.iter().map(one).collect();
            Ok(GainSchedule { loadings })
        } else {
            Err(bad.into())
        }
    }

    /// From rows over speed, the same for every loading.
    ///
    /// # Errors
    /// Rows whose speeds do not ascend.
    pub fn new(rows: &[ScheduleRow]) -> Result<Self> {
        let mut bad = Vec::new();
        speeds(&mut bad, "law.pid.schedule", rows);
        if !bad.is_empty() {
            return Err(bad.into());
        }
        let all = (!rows.is_empty()).then(|| (0.0, over_speed(rows)));
        Ok(GainSchedule {
            loadings: all.into_iter().collect(),
        })
    }

    /// True when gains change with displacement.
    pub fn has_loadings(&self) -> bool {
        self.loadings.len() > 1
    }

    /// Gains at a speed (m/s) and a displacement (kg); none without rows.
    pub fn at(&self, speed_m_s: f64, displacement_kg: f64) -> Option<Gains> {
        let at_speed = |rows: &OverSpeed| {
            let (a, b, t) = around(rows, speed_m_s)?;
            Some(between(a, b, t))
        };
        let (a, b, t) = around(&self.loadings, displacement_kg)?;
        Some(between(&at_speed(a)?, &at_speed(b)?, t))
    }
}

/// The displacement that gains are taken at, on its way to the one told.
#[derive(Clone, Copy, Debug, Default)]
pub struct Displacement {
    told_kg: f64,
    used_kg: f64,
    /// Share of the rest that a sample goes.
    share: f64,
}

impl Displacement {
    /// At rest at the displacement of the set-up (kg), sampled every `period_s`.
    pub fn new(displacement_kg: f64, period_s: f64) -> Self {
        Displacement {
            told_kg: displacement_kg,
            used_kg: displacement_kg,
            share: 1.0 - (-period_s / LOADING_S).exp(),
        }
    }

    /// The crew tells another one, kg.
    ///
    /// # Errors
    /// What is no positive number.
    pub fn tell(&mut self, displacement_kg: f64) -> Result<()> {
        if displacement_kg > 0.0 && displacement_kg.is_finite() {
            self.told_kg = displacement_kg;
            return Ok(());
        }
        Err(Error::new(format!(
            "the displacement told is {displacement_kg} kg, must be positive"
        )))
    }

    /// One sample.
    pub fn step(&mut self) {
        self.used_kg += self.share * (self.told_kg - self.used_kg);
    }

    /// The displacement of the moment, kg.
    pub fn used_kg(&self) -> f64 {
        self.used_kg
    }
}

/// The entries on both sides of `x` and the share of the way between them; an end twice beyond it.
fn around<T>(rows: &[(f64, T)], x: f64) -> Option<(&T, &T, f64)> {
    match rows.iter().position(|r| r.0 >= x) {
        Some(0) => rows.first().map(|r| (&r.1, &r.1, 0.0)),
        Some(k) => {
            let (a, b) = (&rows[k - 1], &rows[k]);
            Some((&a.1, &b.1, (x - a.0) / (b.0 - a.0)))
        }
        None => rows.last().map(|r| (&r.1, &r.1, 0.0)),
    }
}

fn over_speed(rows: &[ScheduleRow]) -> OverSpeed {
    let row = |r: &ScheduleRow| {
        let gains = Gains {
            heave: r.heave,
            pitch: r.pitch,
            roll: r.roll,
        };
        (kn(r.speed_kn), gains)
    };
    rows.iter().map(row).collect()
}

fn speeds(bad: &mut Vec<Problem>, path: &str, rows: &[ScheduleRow]) {
    let speeds = rows.iter().map(|r| r.speed_kn);
    ascending(bad, speeds, |i| format!("{path}[{i}].speed_kn"), "kn");
}

fn between(a: &Gains, b: &Gains, t: f64) -> Gains {
    let mix = |a: f64, b: f64| a + t * (b - a);
    let angle = |a: &AngleGains, b: &AngleGains| AngleGains {
        proportional_deg_per_deg: mix(a.proportional_deg_per_deg, b.proportional_deg_per_deg),
        rate_deg_s_per_deg: mix(a.rate_deg_s_per_deg, b.rate_deg_s_per_deg),
        integral_deg_per_deg_s: mix(a.integral_deg_per_deg_s, b.integral_deg_per_deg_s),
        integral_limit_deg: mix(a.integral_limit_deg, b.integral_limit_deg),
    };
    let (h, k) = (&a.heave, &b.heave);
    Gains {
        heave: HeaveGains {
            proportional_deg_per_m: mix(h.proportional_deg_per_m, k.proportional_deg_per_m),
            rate_deg_s_per_m: mix(h.rate_deg_s_per_m, k.rate_deg_s_per_m),
            acceleration_deg_s2_per_m: mix(
                h.acceleration_deg_s2_per_m,
                k.acceleration_deg_s2_per_m,
            ),
            integral_deg_per_m_s: mix(h.integral_deg_per_m_s, k.integral_deg_per_m_s),
            integral_limit_deg: mix(h.integral_limit_deg, k.integral_limit_deg),
        },
        pitch: angle(&a.pitch, &b.pitch),
        roll: angle(&a.roll, &b.roll),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::signal::{FinCommand, Measurement, Trace};
    use crate::control::{Controller, pid::Pid, testcraft};
    use crate::spec::controller::PidSpec;

    fn row(speed_kn: f64, rate: f64) -> ScheduleRow {
        ScheduleRow {
            speed_kn,
            heave: HeaveGains {
                rate_deg_s_per_m: 3.0 * rate,
                ..HeaveGains::default()
            },
            pitch: AngleGains {
                proportional_deg_per_deg: 0.5 * rate,
                rate_deg_s_per_deg: rate,
                integral_deg_per_deg_s: 0.02 * rate,
                integral_limit_deg: 4.0,
            },
            roll: AngleGains::default(),
        }
    }

    #[test]
    fn gains_run_between_rows() {
        let s = GainSchedule::new(&[row(10.0, 1.0), row(14.0, 3.0), row(20.0, 2.0)]).unwrap();
        for (speed, rate) in [
            (4.0, 1.0),
            (10.0, 1.0),
            (12.0, 2.0),
            (17.0, 2.5),
            (30.0, 2.0),
        ] {
            let g = s.at(kn(speed), 250e3).unwrap();
            assert!((g.pitch.rate_deg_s_per_deg - rate).abs() < 1e-12, "{speed}");
            assert!((g.heave.rate_deg_s_per_m - 3.0 * rate).abs() < 1e-12);
            assert!((g.pitch.integral_deg_per_deg_s - 0.02 * rate).abs() < 1e-14);
        }
        assert!(GainSchedule::default().at(9.0, 250e3).is_none());
        let told = GainSchedule::new(&[row(10.0, 1.0), row(10.0, 2.0)]).unwrap_err();
        assert!(told.to_string().contains("schedule[1].speed_kn"), "{told}");
    }

    fn spec(rows: &[ScheduleRow], loadings: &[LoadingSchedule]) -> PidSpec {
        let base = row(0.0, 1.0);
        serde_json::from_value(serde_json::json!({
            "reference_speed_kn": 16,
            "heave": base.heave,
            "pitch": base.pitch,
            "roll": base.roll,
            "schedule": rows,
            "loadings": loadings,
        }))
        .unwrap()
    }

    fn law(rows: &[ScheduleRow]) -> Pid {
        Pid::new("scheduled", &spec(rows, &[])).unwrap()
    }

    fn loading(displacement_t: f64, rows: &[ScheduleRow]) -> LoadingSchedule {
        LoadingSchedule {
            displacement_t,
            schedule: rows.to_vec(),
        }
    }

    /// Commands of the first surface while the speed runs from 10 to 20 kn in a minute, bow down 1 deg.
    fn ramp(law: &mut Pid) -> Vec<f64> {
        let setup = testcraft::setup();
        let mut y = Measurement::at_trim(&setup);
        y.theta_rad = setup.trim_pitch_rad - 0.0175;
        let mut u = FinCommand::at_trim(&setup);
        law.reset(&setup).unwrap();
        let dt = setup.sample_period_s;
        (0..(90.0 / dt) as usize)
            .map(|k| {
                let t = k as f64 * dt;
                y.speed_m_s = kn((10.0 + t / 6.0).min(20.0));
                law.update(t, &y, &mut u).unwrap();
                u.fin_rad[0]
            })
            .collect()
    }

    #[test]
    fn a_ramp_of_speed_moves_no_fin_suddenly() {
        let rows = [row(10.0, 1.0), row(14.0, 6.0), row(20.0, 2.0)];
        let moved = ramp(&mut law(&rows));
        let most = |u: &[f64]| {
            u.windows(2)
                .map(|w| (w[1] - w[0]).abs())
                .fold(0.0, f64::max)
        };
        let plain = ramp(&mut law(&[]));
        // proportional 0.5 to 3 deg/deg over 4 kn in 24 s on 1 deg is 0.1 deg/s, times the speed scale of
        // 2.6 at 10 kn and what one surface takes of it, at most 1.5; a jump would be degrees at once
        let dt = testcraft::setup().sample_period_s;
        let allowed = most(&plain) + (0.104_f64 * 2.6 * 1.5).to_radians() * dt;
        assert!(
            most(&moved[50..]) < allowed,
            "{} {allowed}",
            most(&moved[50..])
        );
        assert!(
            (moved[moved.len() / 2] - plain[plain.len() / 2]).abs() > 0.005,
            "gains follow"
        );
    }

    #[test]
    fn a_schedule_of_one_gain_set_is_that_set() {
        let (plain, rows) = (ramp(&mut law(&[])), ramp(&mut law(&[row(12.0, 1.0)])));
        assert_eq!(plain, rows);
        let mut same = law(&[row(8.0, 1.0), row(18.0, 1.0)]);
        same.reset(&testcraft::setup()).unwrap();
        let mut one = law(&[]);
        one.reset(&testcraft::setup()).unwrap();
        assert_eq!(same.linear().unwrap(), one.linear().unwrap());
    }

    #[test]
    fn gains_run_between_loadings() {
        // the light craft has one row for all speeds, the heavy one two
        let loadings = [
            loading(200.0, &[row(12.0, 1.0)]),
            loading(240.0, &[row(10.0, 3.0), row(20.0, 5.0)]),
            loading(300.0, &[row(12.0, 2.0)]),
        ];
        let s = GainSchedule::of(&spec(&[], &loadings)).unwrap();
        for (displacement_t, speed_kn, rate) in [
            (150.0, 15.0, 1.0),
            (200.0, 15.0, 1.0),
            (210.0, 15.0, 1.75),
            (240.0, 15.0, 4.0),
            (240.0, 30.0, 5.0),
            (270.0, 10.0, 2.5),
            (270.0, 25.0, 3.5),
            (400.0, 15.0, 2.0),
        ] {
            let g = s.at(kn(speed_kn), 1e3 * displacement_t).unwrap();
            let place = format!("{displacement_t} t, {speed_kn} kn");
            assert!((g.pitch.rate_deg_s_per_deg - rate).abs() < 1e-12, "{place}");
            assert!(
                (g.heave.rate_deg_s_per_m - 3.0 * rate).abs() < 1e-12,
                "{place}"
            );
            assert!((g.pitch.integral_deg_per_deg_s - 0.02 * rate).abs() < 1e-14);
        }
    }

    #[test]
    fn loadings_that_cannot_be_are_told() {
        let told = |rows: &[ScheduleRow], loadings: &[LoadingSchedule]| {
            let e = GainSchedule::of(&spec(rows, loadings)).unwrap_err();
            let lines: Vec<String> = e.problems.iter().map(ToString::to_string).collect();
            lines.join("\n").replace('`', "")
        };
        let (light, heavy) = (loading(200.0, &[row(9.0, 1.0)]), loading(240.0, &[]));
        let both = told(&[row(9.0, 1.0)], std::slice::from_ref(&light));
        assert!(
            both.contains("law.pid.schedule") && both.contains("beside loadings"),
            "{both}"
        );
        let all = told(
            &[],
            &[
                heavy,
                light,
                loading(300.0, &[row(9.0, 1.0), row(8.0, 1.0)]),
            ],
        );
        for words in [
            "law.pid.loadings[0].schedule has no rows",
            "law.pid.loadings[1].displacement_t is 200 t after 240 t, must be greater",
            "law.pid.loadings[2].schedule[1].speed_kn is 8 kn after 9 kn",
        ] {
            assert!(all.contains(words), "{words}: {all}");
        }
    }

    /// Gains of the light and of the heavy craft of the tests below.
    fn rows_of_two() -> [ScheduleRow; 2] {
        [row(16.0, 1.0), row(16.0, 4.0)]
    }

    fn two_loadings() -> Pid {
        let [light, heavy] = rows_of_two().map(|r| [r]);
        let loadings = [loading(250.0, &light), loading(290.0, &heavy)];
        Pid::new("loaded", &spec(&[], &loadings)).unwrap()
    }

    /// Commands of the first surface over ten minutes in a regular sea, bow down 1 deg on the mean, the surfaces
    /// where they are asked for; what the crew tells stands beside its time.
    fn sailed(law: &mut Pid, told: Option<(f64, f64)>) -> Vec<f64> {
        let setup = testcraft::setup();
        let mut y = Measurement::at_trim(&setup);
        let mut u = FinCommand::at_trim(&setup);
        law.reset(&setup).unwrap();
        let dt = setup.sample_period_s;
        (0..(600.0 / dt) as usize)
            .map(|k| {
                let t = k as f64 * dt;
                if let Some((_, kg)) = told.filter(|(at, _)| (at - t).abs() < 0.5 * dt) {
                    law.set_displacement(kg).unwrap();
                }
                y.theta_rad = setup.trim_pitch_rad - 0.0175 + 0.01 * t.sin();
                y.rates_rad_s.y = 0.01 * t.cos();
                y.surface_rad.clone_from(&u.fin_rad);
                law.update(t, &y, &mut u).unwrap();
                u.fin_rad[0]
            })
            .collect()
    }

    #[test]
    fn a_displacement_told_moves_no_fin_suddenly() {
        const AT: usize = 3000;
        let mut law = two_loadings();
        let moved = sailed(&mut law, Some((300.0, 290e3)));
        let untold = sailed(&mut two_loadings(), None);
        let heavy = Pid::new("heavy", &spec(&rows_of_two()[1..], &[]));
        let heavy = sailed(&mut heavy.unwrap(), None);
        assert_eq!(moved[..AT], untold[..AT], "not before it is told");
        let most = |u: &[f64]| {
            let steps = u.windows(2).map(|w| (w[1] - w[0]).abs());
            steps.fold(0.0, f64::max)
        };
        // all the way over, no more from sample to sample than the law of the heavy craft makes in these waves
        let step = most(&moved[AT - 1..]);
        assert!(step <= most(&heavy[AT..]), "{step}");
        // and at first, when the jump would come, less of it by the change of gains than by the waves
        let apart =
            |a: &[f64], b: &[f64]| -> Vec<f64> { a.iter().zip(b).map(|(a, b)| a - b).collect() };
        let change = most(&apart(&moved[AT - 1..AT + 10], &untold[AT - 1..AT + 10]));
        assert!(change < most(&untold[AT..]), "{change}");
        // the last 10 s are 9.7 to 10 time constants later: 6e-5 of the way is left
        let largest = |u: Vec<f64>| u.into_iter().map(f64::abs).fold(0.0, f64::max);
        let last = moved.len() - 100..;
        let left = largest(apart(&moved[last.clone()], &heavy[last.clone()]));
        let way = largest(apart(&untold[last.clone()], &heavy[last]));
        assert!(way > 0.05 && left < 1e-4 * way, "{left} of {way}");
        let mut trace = Trace::default();
        law.trace(&mut trace);
        let used_kg = trace.get("gains_displacement_kg").unwrap();
        assert!((used_kg - 290e3).abs() < 5e-5 * 40e3, "{used_kg}");
        assert!(law.set_displacement(-1.0).is_err());
    }
}
