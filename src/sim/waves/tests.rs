//! Checks of the wave bank against direct sums.

use super::*;
use crate::math::rng::{Purpose, Stream};
use crate::units::G_M_S2;

/// Rounding of a sum of 200 terms after 512 rotations, relative to the sum of moduli.
const TOL_SUM: f64 = 2e-13;

fn sea(n: usize, channels: usize) -> (Vec<Component>, Vec<Complex64>) {
    let mut s = Stream::new(3, 0, Purpose::Other);
    let components = (0..n)
        .map(|_| Component {
            omega_rad_s: s.uniform_in(0.3, 2.5),
            mu_rad: s.phase_rad(),
            amplitude_m: s.uniform_in(0.0, 0.2),
            phase_rad: s.phase_rad(),
        })
        .collect();
    let x = (0..n * channels)
        .map(|_| Complex64::new(s.normal(), s.normal()))
        .collect();
    (components, x)
}

/// The definition, written anew.
fn by_definition(
    components: &[Component],
    x: &[Complex64],
    channel: usize,
    t: f64,
    position: [f64; 2],
) -> f64 {
    let channels = x.len() / components.len();
    components
        .iter()
        .zip(x.chunks(channels))
        .map(|(c, x)| {
            let k = c.omega_rad_s.powi(2) / G_M_S2;
            let along = c.mu_rad.cos() * position[0] + c.mu_rad.sin() * position[1];
            let phase = c.omega_rad_s * t - k * along + c.phase_rad;
            (x[channel] * Complex64::from_polar(c.amplitude_m, phase)).re
        })
        .sum()
}

fn wander(t: f64) -> [f64; 2] {
    [
        3.0 * (0.4 * t).sin() + 0.1 * t,
        1.5 * (0.23 * t).cos() - 1.5,
    ]
}

#[test]
fn recurrence_equals_direct_sum() {
    let (u, h, channels) = (9.0, 0.05, 21);
    let (components, x) = sea(200, channels);
    let mut bank = WaveBank::new(&components, channels, &x, u, G_M_S2);
    let scale: f64 = components.iter().map(|c| c.amplitude_m).sum();
    bank.start(h, 0, wander(0.0));
    for step in 0..3000_u32 {
        let t = f64::from(step) * h;
        bank.advance(wander(t + 0.5 * h), wander(t + h));
        if step % 97 != 0 && step % 256 > 2 {
            continue;
        }
        for (at, got) in [
            (t, bank.at_start()),
            (t + 0.5 * h, bank.at_middle()),
            (t + h, bank.at_end()),
        ] {
            let d = wander(at);
            for j in [0, 7, 16, 20] {
                // the craft in earth axes
                let want = by_definition(&components, &x, j, at, [u * at + d[0], d[1]]);
                let e = (got[j] - want).abs() / scale;
                assert!(e < TOL_SUM, "step {step} channel {j}: {e:e}");
            }
        }
    }
}

#[test]
fn a_shifted_craft_meets_the_wave_where_it_is() {
    let wave = Component {
        omega_rad_s: 0.8,
        mu_rad: std::f64::consts::PI,
        amplitude_m: 1.0,
        phase_rad: 0.0,
    };
    let k = 0.64 / G_M_S2;
    let one = [Complex64::new(1.0, 0.0)];
    let mut bank = WaveBank::new(&[wave], 1, &one, 6.0, G_M_S2);
    // half a wavelength further ahead, a trough, also after a jump during the run
    let half = std::f64::consts::PI / k;
    bank.start(0.05, 0, [half, 0.0]);
    assert!((bank.at_start()[0] + 1.0).abs() < 1e-12); // cos pi
    bank.start(0.05, 0, [0.0, 0.0]);
    assert!((bank.at_start()[0] - 1.0).abs() < 1e-12);
    bank.advance([half, 0.0], [half, 0.0]);
    let we = 0.8 + k * 6.0 * 0.8 / 0.8;
    let want = -(we * 0.05_f64).cos();
    assert!((bank.at_end()[0] - want).abs() < 1e-12);
    // a shift across a head sea changes nothing
    bank.start(0.05, 0, [0.0, 40.0]);
    assert!((bank.at_start()[0] - 1.0).abs() < 1e-12);
}

#[test]
fn overtaken_waves_turn_the_other_way() {
    let wave = Component {
        omega_rad_s: 1.8,
        mu_rad: 0.0,
        amplitude_m: 1.0,
        phase_rad: 0.0,
    };
    // quadrature channel: positive phase gives a negative sum
    let x = [Complex64::new(0.0, 1.0)];
    let mut bank = WaveBank::new(&[wave], 1, &x, 9.0, G_M_S2);
    assert!(bank.omega_e_rad_s()[0] < 0.0);
    bank.start(0.05, 0, [0.0; 2]);
    bank.advance([0.0; 2], [0.0; 2]);
    assert!(bank.at_end()[0] > 0.0);
}

#[test]
fn direct_equals_definition_at_any_time() {
    let (components, x) = sea(40, 5);
    let bank = WaveBank::new(&components, 5, &x, 7.0, G_M_S2);
    let mut d = Direct::default();
    bank.direct(123.456, [4.0, -2.0], &mut d);
    let want = by_definition(&components, &x, 3, 123.456, [7.0 * 123.456 + 4.0, -2.0]);
    assert!((d.channels()[3] - want).abs() < 1e-11); // phases of 1e3 rad, 1e-16 each
    assert_eq!(d.channels().len(), 5);
}

#[test]
fn predictor_is_of_fourth_order() {
    let rate = |t: f64| {
        let e = 1e-5;
        [0, 1].map(|c| (wander(t + e)[c] - wander(t - e)[c]) / (2.0 * e))
    };
    let error = |h: f64| {
        let mut track = Track::default();
        track.predict(wander(1.0 - h), rate(1.0 - h), h);
        let [middle, end] = track.predict(wander(1.0), rate(1.0), h);
        let off = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).abs();
        [
            off(middle, wander(1.0 + 0.5 * h)),
            off(end, wander(1.0 + h)),
        ]
    };
    let (coarse, fine) = (error(0.4), error(0.2));
    for i in 0..2 {
        let order = (coarse[i] / fine[i]).log2();
        assert!((order - 4.0).abs() < 0.3, "{order}"); // next term of the series at these steps
    }
    // at the step of production: far below a micrometre
    assert!(error(0.05)[1] < 1e-6);
}

#[test]
fn paths_give_equal_runs() {
    let (components, x) = sea(37, 60);
    let run = |path| {
        let mut bank = WaveBank::new(&components, 60, &x, 5.0, G_M_S2).with_path(path);
        bank.start(0.05, 0, [0.0; 2]);
        for step in 0..600_u32 {
            let t = f64::from(step) * 0.05;
            bank.advance(wander(t + 0.025), wander(t + 0.05));
        }
        bank.at_end()
            .iter()
            .map(|v| v.to_bits())
            .collect::<Vec<_>>()
    };
    let plain = run(Path::Plain);
    for path in Path::available() {
        assert_eq!(plain, run(path), "{path:?}");
    }
}

#[test]
fn calm_water_is_calm() {
    let mut bank = WaveBank::calm(20);
    bank.start(0.05, 0, [0.0; 2]);
    bank.advance([1.0; 2], [2.0; 2]);
    assert!(bank.at_middle().iter().all(|v| v.abs() < f64::MIN_POSITIVE));
    assert_eq!((bank.channels(), bank.components()), (20, 0));
}

#[test]
fn a_long_crested_sea_needs_fewer_sums() {
    // elevations and their quadratures along a craft of 30 m: 80 channels
    let mut s = Stream::new(7, 0, Purpose::Other);
    let components: Vec<Component> = (0..200)
        .map(|i| Component {
            omega_rad_s: 0.4 + 0.012 * f64::from(i),
            mu_rad: 2.5,
            amplitude_m: 0.05,
            phase_rad: s.phase_rad(),
        })
        .collect();
    let mut x = Vec::new();
    for c in &components {
        let k = c.omega_rad_s.powi(2) / G_M_S2;
        for j in 0..40 {
            let e = Complex64::from_polar(1.0, -k * (0.75 * f64::from(j) - 15.0));
            x.extend([e, e * Complex64::I]);
        }
    }
    let mut bank = WaveBank::new(&components, 80, &x, 9.0, G_M_S2).quick();
    assert!(bank.sums_made() <= 48, "{}", bank.sums_made());
    bank.start(0.1, 0, [0.0; 2]);
    let mut direct = Direct::default();
    // RMS of each channel
    let scale = 0.05 * (200.0_f64 / 2.0).sqrt();
    let (mut worst, mut sum) = (0.0_f64, 0.0);
    for step in 0..500 {
        let t = f64::from(step) * 0.1;
        bank.advance_to_end(wander(t + 0.1));
        bank.direct(t + 0.1, wander(t + 0.1), &mut direct);
        for (a, b) in bank.at_end().iter().zip(direct.channels()) {
            worst = worst.max((a - b).abs() / scale);
            sum += (a - b).powi(2);
        }
    }
    // the residual allowed, and five times it, which one Gaussian sample in a million exceeds
    let rms = (sum / (500.0 * 80.0)).sqrt() / scale;
    assert!(rms < 5e-4 && worst < 2.5e-3, "{rms:e} {worst:e}");
}
