//! Gains that change with speed.
//!
//! # Equation
//! ```text
//! g(U) = g_k + (U - U_k)/(U_k+1 - U_k) (g_k+1 - g_k),   g of the end rows beyond them
//! ```
//!
//! # Symbols
//! U speed through water without its surging in waves (m/s), g any gain of heave, pitch or roll at the
//! reference speed.
//!
//! # Valid when
//! Bumpless without more ado: gains are continuous in a speed that is slow, and integrators hold the
//! angle they ask for, not the integral of the error, so that a gain that changes moves no fin.
//!
//! # Source
//! W. J. Rugh & J. S. Shamma (2000), Research on gain scheduling, Automatica 36, 1401-1425, section 5.
//!
//! # Checked by
//! `gains_run_between_rows`, `a_ramp_of_speed_moves_no_fin_suddenly`, `a_schedule_of_one_gain_set_is_that_set`.

use crate::error::{Problem, Result};
use crate::spec::controller::{AngleGains, HeaveGains, ScheduleRow};
use crate::units::kn;

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

/// Gains against speed; without rows there is nothing to follow.
#[derive(Clone, Debug, Default)]
pub struct GainSchedule {
    rows: Vec<(f64, Gains)>,
}

impl GainSchedule {
    /// From the rows of a file.
    ///
    /// # Errors
    /// Rows whose speeds do not ascend.
    pub fn new(rows: &[ScheduleRow]) -> Result<Self> {
        for (i, pair) in rows.windows(2).enumerate() {
            if pair[1].speed_kn <= pair[0].speed_kn {
                return Err(Problem::at(
                    format!("law.pid.schedule[{}].speed_kn", i + 1),
                    format!(
                        "is {} kn after {} kn, must be greater",
                        pair[1].speed_kn, pair[0].speed_kn
                    ),
                )
                .into());
            }
        }
        let row = |r: &ScheduleRow| {
            let gains = Gains {
                heave: r.heave,
                pitch: r.pitch,
                roll: r.roll,
            };
            (kn(r.speed_kn), gains)
        };
        Ok(GainSchedule {
            rows: rows.iter().map(row).collect(),
        })
    }

    /// Gains at a speed; none without rows.
    pub fn at(&self, speed_m_s: f64) -> Option<Gains> {
        let above = self.rows.iter().position(|r| r.0 >= speed_m_s);
        match above {
            Some(0) => Some(self.rows[0].1),
            Some(k) => {
                let (a, b) = (&self.rows[k - 1], &self.rows[k]);
                Some(between(&a.1, &b.1, (speed_m_s - a.0) / (b.0 - a.0)))
            }
            None => self.rows.last().map(|r| r.1),
        }
    }
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
    use crate::control::signal::{FinCommand, Measurement};
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
            let g = s.at(kn(speed)).unwrap();
            assert!((g.pitch.rate_deg_s_per_deg - rate).abs() < 1e-12, "{speed}");
            assert!((g.heave.rate_deg_s_per_m - 3.0 * rate).abs() < 1e-12);
            assert!((g.pitch.integral_deg_per_deg_s - 0.02 * rate).abs() < 1e-14);
        }
        assert!(GainSchedule::default().at(9.0).is_none());
        let told = GainSchedule::new(&[row(10.0, 1.0), row(10.0, 2.0)]).unwrap_err();
        assert!(told.to_string().contains("schedule[1].speed_kn"), "{told}");
    }

    fn law(rows: &[ScheduleRow]) -> Pid {
        let base = row(0.0, 1.0);
        let spec: PidSpec = serde_json::from_value(serde_json::json!({
            "reference_speed_kn": 16,
            "heave": base.heave,
            "pitch": base.pitch,
            "roll": base.roll,
            "schedule": rows,
        }))
        .unwrap();
        Pid::new("scheduled", &spec).unwrap()
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
}
