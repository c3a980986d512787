//! Calibration against its definition, with a law that says what it sees.

use super::*;
use crate::control::testcraft;

const DT: f64 = 0.1;

/// Angles, least and greatest commands that a law saw.
type Sight = (Vec<f64>, Vec<f64>, Vec<f64>);
type Saw = std::sync::Arc<std::sync::Mutex<Sight>>;

/// Writes trim plus a step; remembers nothing else. Its linear form feeds measured angles back.
struct Echo {
    step_rad: f64,
    saw: Saw,
    trim: Vec<f64>,
}

impl Controller for Echo {
    fn info(&self) -> ControllerInfo {
        ControllerInfo::default()
    }
    fn reset(&mut self, setup: &Setup) -> Result<()> {
        self.trim = setup.surfaces.iter().map(|s| s.trim_rad).collect();
        Ok(())
    }
    fn update(&mut self, _t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        *self.saw.lock().unwrap() = (y.surface_rad.clone(), u.min_rad.clone(), u.max_rad.clone());
        for (i, angle) in u.fin_rad.iter_mut().enumerate() {
            *angle = self.trim[i] + self.step_rad * (i + 1) as f64;
        }
        Ok(())
    }
    fn linear(&self) -> Result<LinearLaw> {
        Ok(LinearLaw {
            signals: vec![
                LawSignal::Roll,
                LawSignal::Surface(1),
                LawSignal::Surface(2),
            ],
            channels: vec![0, 1, 2],
            a: DMatrix::from_element(1, 1, 0.9),
            b: DMatrix::from_row_slice(1, 3, &[1.0, 2.0, 3.0]),
            c: DMatrix::from_column_slice(3, 1, &[4.0, 5.0, 6.0]),
            d: DMatrix::from_element(3, 3, 1.0),
            ..LinearLaw::none(DT)
        })
    }
}

fn entry(surface: &str) -> CalibrationSpec {
    CalibrationSpec {
        surface: surface.into(),
        zero_deg: 0.0,
        scale: 1.0,
        stop_min_deg: None,
        stop_max_deg: None,
        wired_to: None,
    }
}

fn law(spec: &[CalibrationSpec], step_rad: f64) -> (Calibrated, Saw) {
    let saw = Saw::default();
    let echo = Echo {
        step_rad,
        saw: saw.clone(),
        trim: Vec::new(),
    };
    let mut law = Calibrated::new(Box::new(echo), spec).unwrap();
    law.reset(&testcraft::setup()).unwrap();
    (law, saw)
}

fn command(law: &mut Calibrated) -> Vec<f64> {
    let setup = testcraft::setup();
    let mut u = FinCommand::at_trim(&setup);
    law.update(0.0, &Measurement::at_trim(&setup), &mut u)
        .unwrap();
    u.fin_rad
}

#[test]
fn command_and_reading_are_inverse() {
    let spec = CalibrationSpec {
        zero_deg: 2.0,
        scale: -1.25,
        ..entry("fwd_s")
    };
    let (mut law, saw) = law(&[spec], 0.01);
    let u = command(&mut law);
    let setup = testcraft::setup();
    // trim 0.02 + 2 * 0.01 of the second surface
    assert!((u[1] - (deg(2.0) - 1.25 * 0.04)).abs() < 1e-15, "{}", u[1]);
    assert!((u[0] - 0.03).abs() < 1e-15, "not listed: as it is");
    // the servo then reads that command: the law sees the angle it asked for
    let mut y = Measurement::at_trim(&setup);
    y.surface_rad.clone_from(&u);
    let mut again = FinCommand::at_trim(&setup);
    law.update(DT, &y, &mut again).unwrap();
    assert!((saw.lock().unwrap().0[1] - 0.04).abs() < 1e-15);
}

#[test]
fn stops_bound_the_command_and_the_law_knows() {
    let spec = CalibrationSpec {
        scale: -2.0,
        stop_min_deg: Some(-5.0),
        stop_max_deg: Some(10.0),
        ..entry("aft_p")
    };
    let (mut law, saw) = law(&[spec], 0.2);
    let u = command(&mut law);
    // asked 0.61 rad of the fin, -1.22 of the servo
    assert!((u[2] - deg(-5.0)).abs() < 1e-15);
    let (_, min, max) = saw.lock().unwrap().clone();
    assert!((min[2] + deg(5.0)).abs() < 1e-12 && (max[2] - deg(2.5)).abs() < 1e-12);
    // own stops of the craft count where they are narrower: 0.35 rad
    let (mut law, saw) = self::law(
        &[CalibrationSpec {
            scale: 0.5,
            ..entry("aft_p")
        }],
        0.0,
    );
    command(&mut law);
    assert!((saw.lock().unwrap().2[2] - 0.7).abs() < 1e-12);
}

#[test]
fn crossed_channels_cross_both_ways() {
    let cross = |a: &str, b: &str| CalibrationSpec {
        wired_to: Some(b.into()),
        ..entry(a)
    };
    let (mut law, saw) = law(&[cross("aft_p", "aft_s"), cross("aft_s", "aft_p")], 0.01);
    let u = command(&mut law);
    assert!((u[3] - 0.04).abs() < 1e-15 && (u[2] - 0.05).abs() < 1e-15);
    let setup = testcraft::setup();
    let mut y = Measurement::at_trim(&setup);
    y.surface_rad[3] = 0.1;
    law.update(DT, &y, &mut FinCommand::at_trim(&setup))
        .unwrap();
    assert!((saw.lock().unwrap().0[2] - 0.1).abs() < 1e-15);
    let one = Calibrated::new(
        Box::new(crate::control::fixed::Fixed::new("fixed")),
        &[cross("aft_p", "aft_s")],
    );
    let e = one.unwrap().reset(&setup).unwrap_err().to_string();
    assert!(e.contains("two channels") && e.contains("aft_s"), "{e}");
}

#[test]
fn linear_form_carries_the_scale() {
    let (law, _) = law(
        &[
            CalibrationSpec {
                scale: -2.0,
                zero_deg: 1.0,
                ..entry("fwd_s")
            },
            CalibrationSpec {
                scale: 0.5,
                ..entry("aft_p")
            },
        ],
        0.0,
    );
    let l = law.linear().unwrap();
    assert_eq!(l.b.as_slice(), [1.0, -1.0, 6.0]);
    assert_eq!(l.c.as_slice(), [4.0, -10.0, 3.0]);
    let d = [1.0, -2.0, 0.5, -0.5, 1.0, -0.25, 2.0, -4.0, 1.0]; // by columns
    assert_eq!(l.d.as_slice(), d);
}

#[test]
fn no_entry_changes_no_bit() {
    let (mut law, saw) = law(&[entry("fwd_p"), entry("aft_s")], 0.0123);
    let u = command(&mut law);
    let setup = testcraft::setup();
    for (i, (s, c)) in setup.surfaces.iter().zip(&u).enumerate() {
        let want = s.trim_rad + 0.0123 * (i + 1) as f64;
        assert_eq!(c.to_bits(), want.to_bits());
    }
    let y = Measurement::at_trim(&setup);
    assert_eq!(saw.lock().unwrap().0, y.surface_rad);
}

#[test]
fn nonsense_is_refused_at_its_key() {
    for (spec, key) in [
        (
            CalibrationSpec {
                scale: 0.0,
                ..entry("fwd_p")
            },
            "calibration[0].scale",
        ),
        (
            CalibrationSpec {
                stop_min_deg: Some(5.0),
                stop_max_deg: Some(5.0),
                ..entry("fwd_p")
            },
            "calibration[0].stop_max_deg",
        ),
    ] {
        let fixed = crate::control::fixed::Fixed::new("fixed");
        let e = Calibrated::new(Box::new(fixed), &[spec]).err().unwrap();
        assert!(e.to_string().contains(key), "{e}");
    }
}
