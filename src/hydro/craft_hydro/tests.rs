//! Checks on the demonstration craft.

use nalgebra::{Matrix6, SVector};
use num_complex::Complex64;

use super::*;
use crate::hydro::curve::DampingCurve;
use crate::hydro::regularise::scaled_smallest_eigenvalue;
use crate::hydro::strip::frequency_grid_of;
use crate::spec::craft::CraftSpec;
use crate::spec::scenario::{InteractionSpec, LowFrequencySpec};

pub(crate) fn craft(name: &str) -> Craft {
    let path = format!("{}/scenarios/craft/{name}.json", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("craft file");
    let spec: CraftSpec = serde_json::from_str(&text).expect("craft spec");
    Craft::build(&spec).expect("craft")
}

/// Motions per unit amplitude at zero speed from tables, mass and hydrostatics.
fn response(c: &Craft, h: &CraftHydro, mu: f64, w: f64) -> [Complex64; 6] {
    let (table, _) = h.radiation_at(0.0);
    let (a, b) = table.at(w);
    let m = c.mass.matrix_about_o() + a;
    let z = Matrix6::from_fn(|i, j| {
        Complex64::new(c.hydrostatics.c[(i, j)] - w * w * m[(i, j)], w * b[(i, j)])
    });
    let f = h.wave_force(&table, 0.0, mu, w);
    let f = SVector::<Complex64, 6>::from_fn(|i, _| f[i]);
    let x = z.lu().solve(&f).expect("regular");
    std::array::from_fn(|i| x[i])
}

#[test]
fn long_waves_carry_the_craft() {
    // issue 2 section 3: omega_0 at most 0.05 rad/s, heave the amplitude, pitch and roll the
    // slope, 1 %; roll and pitch solved with sway and surge
    for name in ["coastal_survey", "offshore_survey"] {
        let c = craft(name);
        let h = CraftHydro::compute(&c, &PhysicsSpec::default()).expect("hydro");
        for w in [0.02, 0.05] {
            let k = w * w / c.g_m_s2;
            for mu in [
                0.0_f64,
                0.6,
                std::f64::consts::FRAC_PI_2,
                2.5,
                std::f64::consts::PI,
            ] {
                let x = response(&c, &h, mu, w);
                let heave = (x[2] + 1.0).norm();
                let pitch = (x[4] - Complex64::new(0.0, -k * mu.cos())).norm() / k;
                let roll = (x[3] - Complex64::new(0.0, k * mu.sin())).norm() / k;
                assert!(
                    heave < 0.01 && pitch < 0.01 && roll < 0.01,
                    "{name} w {w} mu {mu:.2} heave {heave:.2e} pitch {pitch:.2e} roll {roll:.2e}"
                );
            }
        }
    }
}

const NAMES: [&str; 2] = ["coastal_survey", "offshore_survey"];

fn hydro(name: &str) -> CraftHydro {
    CraftHydro::compute(&craft(name), &PhysicsSpec::default()).expect("hydro")
}

/// Kramers-Kronig by another quadrature than the curve's own: singularity subtracted, midpoint
/// rule on a square-law grid up to `top`, analytic beyond.
fn kramers_kronig(curve: &DampingCurve, w: f64, j: usize) -> f64 {
    let (n, top) = (40_000, 60.0 * curve.last_rad_s());
    let bw = curve.at(w)[(j, j)];
    let mut sum = -bw / (2.0 * w) * ((top + w) / (top - w)).ln();
    for i in 0..n {
        let at = |i: u32| top * (f64::from(i) / f64::from(n)).powi(2);
        let (lo, hi) = (at(i), at(i + 1));
        let x = 0.5 * (lo + hi);
        sum += (curve.at(x)[(j, j)] - bw) / (x * x - w * w) * (hi - lo);
    }
    sum * std::f64::consts::FRAC_2_PI
}

#[test]
fn sections_agree_with_kramers_kronig() {
    // the solver's own A against the transform of its own B, isolated hulls, no regularisation
    for name in NAMES {
        let h = hydro(name);
        let raw = &h.raw.isolated;
        let curve = DampingCurve::new(&raw.omega_rad_s, &raw.b);
        for (i, &w) in raw.omega_rad_s.iter().enumerate() {
            if !(0.2..=4.0).contains(&w) {
                continue;
            }
            let kk = raw.a_inf + curve.added_mass(w);
            for j in 1..6 {
                let e = (kk[(j, j)] - raw.a[i][(j, j)]).abs() / raw.a_inf[(j, j)];
                assert!(e < 0.02, "{name} w {w:.2} mode {j} {e:.4}"); // 2 % asked
            }
        }
    }
}

#[test]
fn regularised_tables_are_causal_and_positive() {
    for name in NAMES {
        let h = hydro(name);
        for speed in [0.0, 3.0, 9.0] {
            let (t, curve) = h.radiation_at(speed);
            let more = h.surge - h.end_correction;
            let largest: [f64; 6] =
                std::array::from_fn(|j| t.b.iter().map(|b| b[(j, j)]).fold(0.0, f64::max));
            for (i, &w) in t.omega_rad_s.iter().enumerate() {
                // issue 2 section 3: scaled smallest eigenvalue above -0.1 %
                let low = scaled_smallest_eigenvalue(&t.b[i], &largest, 1e-9);
                assert!(low > -1e-3, "{name} {speed} {w} {low}");
                if (0.2..=4.0).contains(&w) && i % 6 == 0 {
                    for j in 1..6 {
                        let kk = t.a_inf[(j, j)] + kramers_kronig(&curve, w, j);
                        let e = (kk - t.a[i][(j, j)]).abs() / (t.a_inf - more)[(j, j)];
                        assert!(e < 0.02, "{name} {speed} {w} {j} {e}"); // 2 % asked
                    }
                }
            }
        }
    }
}

#[test]
fn memory_meets_the_aims_on_the_craft() {
    for name in NAMES {
        let h = hydro(name);
        let grid = WaveGrid {
            mu_rad: vec![0.0, 1.0, 2.0, std::f64::consts::PI],
            omega_rad_s: vec![0.3, 0.6, 0.9, 1.2],
        };
        for speed in [0.0, 4.0, 9.0] {
            let s = h.at_speed_on(speed, &grid).expect("speed");
            assert!(s.warnings.is_empty(), "{name} {speed} {:?}", s.warnings);
            for c in &s.fit.couplings {
                assert!(c.natural_damping < 0.05, "{name} {speed} {c:?}");
            }
            let (a, b) = (s.memory.zero_frequency_added_mass(), s.radiation.a_zero);
            for j in 1..6 {
                assert!(
                    (a[(j, j)] / b[(j, j)] - 1.0).abs() < 0.02,
                    "{name} {speed} {j}"
                );
            }
        }
    }
}

#[test]
fn doubling_the_grid_changes_little() {
    let c = craft("coastal_survey");
    let coarse = CraftHydro::compute(&c, &PhysicsSpec::default()).expect("coarse");
    let physics = PhysicsSpec {
        frequencies_rad_s: Some(frequency_grid_of(c.hull.length_m(), c.g_m_s2, 2)),
        ..PhysicsSpec::default()
    };
    let fine = CraftHydro::compute(&c, &physics).expect("fine");
    for speed in [0.0, 8.0] {
        let ((tc, cc), (tf, cf)) = (coarse.radiation_at(speed), fine.radiation_at(speed));
        let times: Vec<f64> = (0..200).map(|i| 0.1 * f64::from(i)).collect();
        let (kc, kf) = (cc.retardation(&times), cf.retardation(&times));
        for j in 1..6 {
            let top = tf.b.iter().map(|b| b[(j, j)]).fold(0.0, f64::max);
            for &w in &tf.omega_rad_s {
                let ((a1, b1), (a2, b2)) = (tc.at(w), tf.at(w));
                // issue 2 section 3 asks 3 % of ride metrics; the tables themselves move less
                let da = (a1[(j, j)] - a2[(j, j)]).abs() / tf.a_inf[(j, j)];
                assert!(da < 0.01, "{speed} {w} {j} A {da}");
                let db = (b1[(j, j)] - b2[(j, j)]).abs() / top;
                assert!(db < 0.01, "{speed} {w} {j} B {db}");
            }
            for (x, y) in kc.iter().zip(&kf) {
                assert!(
                    (x[(j, j)] - y[(j, j)]).abs() < 0.005 * kf[0][(j, j)],
                    "{speed} {j} K"
                );
            }
        }
    }
}

#[test]
fn wave_force_is_continuous_through_zero_encounter() {
    let h = hydro("coastal_survey");
    let u = 8.0;
    let (t, _) = h.radiation_at(u);
    let w0 = h.strips.g_m_s2 / u;
    let f = |w: f64| h.wave_force(&t, u, 0.0, w);
    let (below, at, above) = (f(w0 - 1e-4), f(w0), f(w0 + 1e-4));
    for j in [0, 2, 4] {
        let scale = at[j].norm();
        assert!(scale.is_finite() && scale > 0.0);
        // the wave changes by 2 dw/w = 2e-4 itself, times k L of order 5
        let jump = (below[j] - at[j]).norm().max((above[j] - at[j]).norm());
        assert!(
            jump < 3e-3 * scale,
            "{j} {} {} {}",
            below[j],
            at[j],
            above[j]
        );
    }
    for j in [1, 3, 5] {
        assert!(
            at[j].norm() < 1e-9 * at[2].norm(),
            "no lateral force in following seas"
        );
    }
}

#[test]
fn table_is_close_to_the_force_itself() {
    let h = hydro("coastal_survey");
    let u = 6.0;
    let s = h.at_speed(u).expect("speed");
    let peak: [f64; 6] = std::array::from_fn(|j| {
        let lane = s.wave_force.force.slice(ndarray::s![.., .., j]);
        lane.iter().map(|f| f.norm()).fold(0.0, f64::max)
    });
    for (mu, w) in [
        (0.31_f64, 0.47),
        (1.0, 0.83),
        (1.93, 1.21),
        (2.71, 0.66),
        (3.0, 1.52),
    ] {
        let (got, want) = (s.wave_force.at(mu, w), h.wave_force(&s.radiation, u, mu, w));
        for j in 0..6 {
            let e = (got[j] - want[j]).norm() / peak[j];
            assert!(e < 0.01, "{mu} {w} {j} {e}"); // 1 % of the mode's largest
        }
    }
}

/// Relative motion: a craft that moves with long following waves at speed feels, besides
/// hydrostatics and its own inertia, nothing; here the pitch moment's U-term has the same
/// coefficient as the equations of motion's.
#[test]
fn speed_moment_in_long_waves_is_that_of_relative_motion() {
    let h = hydro("coastal_survey");
    let (u, w, mu) = (7.0, 0.05, 0.0_f64);
    let (t, _) = h.radiation_at(u);
    let fast = h.wave_force(&t, u, mu, w);
    let g = h.strips.g_m_s2;
    let k = w * w / g;
    let we = w - k * u;
    // the same wave with everything but the U-term: momentum from the quotient of a still craft
    let slow = h.wave_force(&t, 0.0, mu, w);
    let depth = h.spheroid.centre_m[2];
    let w_orbital = Complex64::new(0.0, -w * (-k * depth).exp());
    let (a, b) = t.at(we);
    let m33 = Complex64::new(a[(2, 2)], -b[(2, 2)] / we);
    let want = -(m33 - h.surge[(0, 0)]) * w_orbital * u;
    let got = fast[4] - slow[4];
    // what else differs: i (w_e - w) A55 k, small against it; 3 %
    assert!((got - want).norm() < 0.03 * want.norm(), "{got} {want}");
}

#[test]
fn switches_do_what_they_say() {
    let c = craft("coastal_survey");
    let base = PhysicsSpec {
        stations_x_m: Some(vec![-13.0, -9.0, -4.0, 1.0, 6.0, 11.0, 14.0]),
        ..PhysicsSpec::default()
    };
    let of = |p: &PhysicsSpec| CraftHydro::compute(&c, p).expect("hydro");
    let full = of(&PhysicsSpec {
        interaction: InteractionSpec::Full,
        ..base.clone()
    });
    let alone = of(&PhysicsSpec {
        interaction: InteractionSpec::Isolated,
        ..base.clone()
    });
    let (tf, _) = full.radiation_at(0.0);
    let (ti, _) = alone.radiation_at(0.0);
    let i = tf.omega_rad_s.partition_point(|w| *w < 1.5);
    assert!((tf.b[i][(1, 1)] - full.raw.twin.b[i][(1, 1)]).abs() < 1e-6 * tf.b[i][(1, 1)]);
    assert!((ti.b[i][(1, 1)] - full.raw.isolated.b[i][(1, 1)]).abs() < 1e-6 * ti.b[i][(1, 1)]);
    let sectional = of(&PhysicsSpec {
        low_frequency: LowFrequencySpec::Sectional,
        ..base.clone()
    });
    let (ts, _) = sectional.radiation_at(0.0);
    let (td, _) = of(&base).radiation_at(0.0);
    assert!(
        ts.a_zero[(2, 2)] > 1.2 * td.a_zero[(2, 2)],
        "the logarithm is back"
    );
    let no_surge = of(&PhysicsSpec {
        surge_coupling: false,
        end_correction: false,
        ..base.clone()
    });
    assert!(no_surge.surge[(0, 4)].abs() < 1e-9 && no_surge.end_correction.norm() < 1e-9);
    let bad = PhysicsSpec {
        frequencies_rad_s: Some(vec![1.0, 0.5, 2.0, 3.0]),
        ..base
    };
    assert!(CraftHydro::compute(&c, &bad).is_err());
}
