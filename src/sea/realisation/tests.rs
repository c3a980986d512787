//! Checks of realised seas.

use super::*;
use crate::spec::sea::SpreadingSpec;

fn sea(systems: Vec<WaveSystemSpec>, amplitudes: Amplitudes) -> SeaSpec {
    SeaSpec {
        format: "ridewright.sea/1".into(),
        name: "test".into(),
        note: String::new(),
        systems,
        components: 200,
        amplitudes,
        wind: None,
        current_m_s: 0.0,
        current_offset_deg: 0.0,
    }
}

fn bretschneider(hs_m: f64, tp_s: f64, s: Option<f64>, offset_deg: f64) -> WaveSystemSpec {
    WaveSystemSpec {
        spectrum: SpectrumSpec::Bretschneider { hs_m, tp_s },
        spreading: s.map(|s| SpreadingSpec::Cos2s { s }),
        offset_deg,
    }
}

fn draw_one(spec: &SeaSpec, mu_rad: f64, speed: f64, seed: u64) -> Realisation {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    realise(spec, Path::new("."), mu_rad, speed, 1800.0, &mut rng).unwrap()
}

/// Moment of the realised range, the tail's energy shared out, by the midpoint rule.
fn realised_moment(s: &Spectrum, n: i32) -> f64 {
    let (lo, hi) = s.range_rad_s();
    let cells = 40_000;
    let h = (hi / lo).ln() / f64::from(cells);
    let sum = |n: i32| -> f64 {
        (0..cells)
            .map(|i| {
                let w = lo * (h * (f64::from(i) + 0.5)).exp();
                s.density(w) * w.powi(n + 1) * h
            })
            .sum()
    };
    sum(n) / sum(0) * s.moment(0)
}

#[test]
fn ensemble_moments_meet_the_spectrum() {
    let records = 400;
    for spectrum in [
        SpectrumSpec::Bretschneider {
            hs_m: 2.0,
            tp_s: 7.0,
        },
        SpectrumSpec::Jonswap {
            hs_m: 2.0,
            tp_s: 7.0,
            gamma: 3.3,
        },
    ] {
        let s = Spectrum::of(&spectrum, Path::new(".")).unwrap();
        let spec = sea(
            vec![WaveSystemSpec {
                spectrum,
                spreading: None,
                offset_deg: 0.0,
            }],
            Amplitudes::Random,
        );
        let all: Vec<_> = (0..records).map(|i| draw_one(&spec, 0.0, 0.0, i)).collect();
        for n in 0..=2 {
            let mean = all.iter().map(|r| r.moment(n)).sum::<f64>() / records as f64;
            // sampling error: var of one record = sum m_i^2 omega_i^2n, m_i the bin energies,
            // which are half the mean of a^4/4 over the records: E[a^4]/4 = 2 m_i^2
            let var = all
                .iter()
                .flat_map(|r| &r.components)
                .map(|c| 0.125 * c.amplitude_m.powi(4) * c.omega_rad_s.powi(2 * n))
                .sum::<f64>()
                / records as f64;
            let error = (var / records as f64).sqrt();
            let want = realised_moment(&s, n);
            assert!(
                (mean - want).abs() < 3.5 * error,
                "m{n} {mean} {want} {error}"
            );
            assert!(
                error / want < 0.008,
                "the check can see one per cent: {}",
                error / want
            );
        }
        // the cut tail takes less than 5 % of m2
        assert!(realised_moment(&s, 2) > 0.95 * s.moment(2));
    }
}

#[test]
fn fixed_amplitudes_keep_m0() {
    let spec = sea(vec![bretschneider(2.0, 7.0, None, 0.0)], Amplitudes::Fixed);
    for seed in 0..5 {
        let r = draw_one(&spec, 0.3, 5.0, seed);
        assert!((r.moment(0) / 0.25 - 1.0).abs() < 1e-12); // bins add up to the whole
        assert!(
            (r.moment(1) / realised_moment(&Spectrum::bretschneider(2.0, 7.0), 1) - 1.0).abs()
                < 5e-3
        );
    }
    // options leave phases and frequencies alone
    let mut random = spec.clone();
    random.amplitudes = Amplitudes::Random;
    let (a, b) = (draw_one(&spec, 0.3, 5.0, 1), draw_one(&random, 0.3, 5.0, 1));
    for (x, y) in a.components.iter().zip(&b.components) {
        assert!(x.omega_rad_s.total_cmp(&y.omega_rad_s).is_eq());
        assert!(x.phase_rad.total_cmp(&y.phase_rad).is_eq());
    }
}

#[test]
fn records_do_not_repeat() {
    let spec = sea(vec![bretschneider(2.0, 7.0, None, 0.0)], Amplitudes::Fixed);
    let r = draw_one(&spec, std::f64::consts::PI, 9.26, 3);
    // correlation of the record with itself shifted by tau, from the components
    let mut worst: f64 = 0.0;
    for i in 60..7200 {
        let tau = f64::from(i) * 0.5;
        let c: f64 = r
            .components
            .iter()
            .map(|c| 0.5 * c.amplitude_m.powi(2) * (c.encounter_rad_s(r.speed_m_s) * tau).cos())
            .sum();
        worst = worst.max(c / r.moment(0));
    }
    assert!(worst < 0.5, "{worst}"); // equal spacing would come back to 1
}

#[test]
fn spreading_keeps_energy_and_a1() {
    let spec = sea(
        vec![bretschneider(2.0, 7.0, Some(8.0), 30.0)],
        Amplitudes::Fixed,
    );
    let mean_dir = 1.0 + 30f64.to_radians();
    let mut a1 = 0.0;
    let mut b1 = 0.0;
    let records = 50;
    for seed in 0..records {
        let r = draw_one(&spec, 1.0, 0.0, seed);
        assert!((r.moment(0) / 0.25 - 1.0).abs() < 1e-12, "energy");
        for c in &r.components {
            let share = 0.5 * c.amplitude_m.powi(2) / 0.25 / records as f64;
            a1 += share * (c.mu_rad - mean_dir).cos();
            b1 += share * (c.mu_rad - mean_dir).sin();
        }
    }
    // independent directions would scatter a1 by about 0.15/sqrt(50 * 100 effective); ours less
    assert!((a1 - 8.0 / 9.0).abs() < 0.006, "{a1}");
    assert!(b1.abs() < 0.012, "{b1}");
}

#[test]
fn mirrored_heading_mirrors_the_sea() {
    let spec = sea(vec![bretschneider(2.0, 7.0, None, 0.0)], Amplitudes::Random);
    let (a, b) = (draw_one(&spec, 0.7, 8.0, 9), draw_one(&spec, -0.7, 8.0, 9));
    for t in [0.0, 3.3, 77.0] {
        assert!((a.elevation_m(t, 5.0, 2.0) - b.elevation_m(t, 5.0, -2.0)).abs() < 1e-12);
    }
}

#[test]
fn focus_narrows_spacing() {
    let spec = sea(vec![bretschneider(2.0, 7.0, None, 0.0)], Amplitudes::Random);
    let pi = std::f64::consts::PI;
    let focus = Focus {
        omega_e_rad_s: 1.6,
        half_bandwidth_rad_s: 0.05,
    };
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let plain = realise(&spec, Path::new("."), pi, 9.26, 1800.0, &mut rng).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let near =
        realise_focused(&spec, Path::new("."), pi, 9.26, 1800.0, &[focus], &mut rng).unwrap();
    // a third of 200 components, half of them within the Cauchy width of 2 b: 33 more
    let inside = |r: &Realisation| {
        let near = |c: &&Component| (c.encounter_rad_s(9.26) - 1.6).abs() < 0.1;
        r.components.iter().filter(near).count()
    };
    assert!(
        inside(&near) > inside(&plain) + 22,
        "{} {}",
        inside(&near),
        inside(&plain)
    );
    let (p, f) = (plain.spacing(1.6, 0.05), near.spacing(1.6, 0.05));
    assert!(f.largest_gap_rad_s < p.largest_gap_rad_s, "{p:?} {f:?}");
    assert!(f.is_fine() && !p.is_fine() && !plain.spacing(1.6, 0.004).is_fine());
    // and the sea is still the same sea in the mean
    let mean: f64 = (0..300)
        .map(|i| {
            let mut rng = ChaCha8Rng::seed_from_u64(i);
            realise_focused(&spec, Path::new("."), pi, 9.26, 1800.0, &[focus], &mut rng)
                .unwrap()
                .moment(2)
        })
        .sum::<f64>()
        / 300.0;
    let want = realised_moment(&Spectrum::bretschneider(2.0, 7.0), 2);
    assert!((mean / want - 1.0).abs() < 0.02, "{mean} {want}"); // about 9 % a record, three errors
}

#[test]
fn advice_measures_the_largest_gap() {
    let mut r = Realisation::calm();
    r.duration_s = 1e6;
    for w in [0.5, 0.6, 0.63, 0.7, 2.0] {
        r.components.push(Component {
            omega_rad_s: w,
            mu_rad: 0.0,
            amplitude_m: 1.0,
            phase_rad: 0.0,
        });
    }
    let a = r.spacing(0.645, 0.01);
    assert!((a.largest_gap_rad_s - 0.07).abs() < 1e-12, "{a:?}");
    assert!(!a.is_fine());
    assert!(
        r.spacing(5.0, 0.01).largest_gap_rad_s.abs() < 1e-12,
        "no energy there"
    );
}

#[test]
fn several_systems_and_regular_waves() {
    let mut spec = sea(
        vec![
            bretschneider(1.5, 6.0, Some(4.0), 0.0),
            bretschneider(1.0, 11.0, Some(40.0), -60.0),
            WaveSystemSpec {
                spectrum: SpectrumSpec::Regular {
                    amplitude_m: 0.5,
                    period_s: 8.0,
                    phase_deg: 90.0,
                },
                spreading: None,
                offset_deg: 10.0,
            },
        ],
        Amplitudes::Fixed,
    );
    let r = draw_one(&spec, 2.0, 3.0, 1);
    assert_eq!(r.components.len(), 401);
    let want = (1.5f64.powi(2) + 1.0) / 16.0 + 0.125;
    assert!((r.moment(0) - want).abs() < 1e-12);
    let c = r.components[400];
    assert!(
        (c.omega_rad_s - TAU / 8.0).abs() < 1e-15
            && (c.mu_rad - 2.0 - 10f64.to_radians()).abs() < 1e-12
    );
    // another first system leaves the second one alone
    spec.systems[0] = bretschneider(0.3, 5.0, None, 0.0);
    let r2 = draw_one(&spec, 2.0, 3.0, 1);
    assert_eq!(r.components[200..], r2.components[200..]);
    spec.systems[1].spectrum = SpectrumSpec::Jonswap {
        hs_m: 99.0,
        tp_s: 8.0,
        gamma: 3.3,
    };
    spec.components = 1;
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let e = realise(&spec, Path::new("."), 0.0, 0.0, 1.0, &mut rng).unwrap_err();
    assert_eq!(e.problems.len(), 2);
    assert_eq!(e.problems[1].place.key, "systems[1].spectrum.jonswap.hs_m");
}

fn grid_of(spec: &SeaSpec, seed: u64) -> by_normals::WaveGrid {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    by_normals::wave_grid(spec, Path::new("."), 0.3, 5.0, 60.0, &mut rng).unwrap()
}

#[test]
fn waves_by_normals_are_those_drawn() {
    let spec = sea(
        vec![bretschneider(2.0, 7.0, Some(8.0), 0.0)],
        Amplitudes::Fixed,
    );
    let grid = grid_of(&spec, 3);
    let n = grid.normals();
    assert_eq!(n, 400, "two a wave");
    let by_normals = grid.sea(&vec![1.0; n]);
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let drawn = realise(&spec, Path::new("."), 0.3, 5.0, 60.0, &mut rng).unwrap();
    for (a, b) in by_normals.components.iter().zip(&drawn.components) {
        assert!((a.omega_rad_s - b.omega_rad_s).abs() < 1e-15);
        assert!((a.mu_rad - b.mu_rad).abs() < 1e-15);
        assert!(
            (a.amplitude_m - b.amplitude_m).abs() < 1e-15,
            "fixed amplitudes"
        );
        assert!((a.phase_rad - TAU / 8.0).abs() < 1e-15, "u = v");
    }
}

/// One elevation over many draws of the normals is normal with variance m0: mean, variance and kurtosis
/// within four standard errors.
#[test]
fn normals_make_a_gaussian_sea() {
    let spec = sea(vec![bretschneider(2.0, 7.0, None, 0.0)], Amplitudes::Random);
    let grid = grid_of(&spec, 4);
    let mut rng = crate::math::rng::Stream::new(8, 0, crate::math::rng::Purpose::Other);
    let count = 20_000;
    let (mut m1, mut m2, mut m4) = (0.0, 0.0, 0.0);
    for _ in 0..count {
        let u: Vec<f64> = (0..grid.normals()).map(|_| rng.normal()).collect();
        let z = grid.sea(&u).elevation_m(33.0, 4.0, -2.0);
        m1 += z;
        m2 += z * z;
        m4 += z.powi(4);
    }
    let n = f64::from(count);
    let m0 = 2.0 * 2.0 / 16.0;
    assert!((m1 / n).abs() < 4.0 * (m0 / n).sqrt());
    assert!(
        (m2 / n / m0 - 1.0).abs() < 4.0 * (2.0 / n).sqrt(),
        "{}",
        m2 / n
    );
    assert!((m4 / n / (m0 * m0) - 3.0).abs() < 4.0 * (96.0 / n).sqrt());
}

/// Gusts by normals have the mean square of those drawn from the stream: both over 4,000 winds at one instant,
/// within four standard errors of their difference.
#[test]
fn gusts_by_normals_are_as_strong_as_those_drawn() {
    let mut spec = sea(vec![bretschneider(2.0, 7.0, None, 0.0)], Amplitudes::Random);
    spec.components = 2;
    spec.wind = Some(crate::spec::sea::WindSpec {
        speed_10m_m_s: 15.0,
        offset_deg: 0.0,
        gusts: true,
    });
    let grid = grid_of(&spec, 5);
    assert_eq!(grid.normals(), 2 * (2 + 80));
    let mut rng = crate::math::rng::Stream::new(8, 1, crate::math::rng::Purpose::Other);
    let count = 4000;
    let (mut by_normals, mut drawn) = (0.0, 0.0);
    for k in 0..count {
        let u: Vec<f64> = (0..grid.normals()).map(|_| rng.normal()).collect();
        let gust = |s: &Realisation| s.wind.as_ref().unwrap().speed_m_s(40.0) - 15.0;
        by_normals += gust(&grid.sea(&u)).powi(2);
        drawn += gust(&draw_one(&spec, 0.0, 0.0, k)).powi(2);
    }
    let error = 4.0 * 2.0 / (count as f64).sqrt(); // sqrt(2) each, two of them
    assert!(
        (by_normals / drawn - 1.0).abs() < error,
        "{by_normals} {drawn}"
    );
}
