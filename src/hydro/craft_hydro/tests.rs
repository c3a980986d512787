//! Checks on the demonstration craft.

use nalgebra::{Matrix6, SVector};

use super::*;
use crate::spec::craft::CraftSpec;

fn craft(name: &str) -> Craft {
    let path = format!("{}/scenarios/craft/{name}.json", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("craft file");
    let spec: CraftSpec = serde_json::from_str(&text).expect("craft spec");
    Craft::build(&spec).expect("craft")
}

#[test]
fn zz_look() {
    for name in ["coastal_survey", "offshore_survey"] {
        let c = craft(name);
        let t = std::time::Instant::now();
        let h = CraftHydro::compute(&c, &PhysicsSpec::default()).expect("hydro");
        eprintln!(
            "{name}: {} stations {} sections {} freq, {:?}",
            h.strips.stations.len(),
            h.strips.sections.len(),
            h.strips.omega_rad_s.len(),
            t.elapsed()
        );
        eprintln!(
            "natural {:?} gap {}",
            h.natural_rad_s, h.regularisation.gap_rad_s
        );
        eprintln!(
            "surge {} endcorr {:.4e} {:.4e} a33inf {:.4e} shed {:?}",
            h.surge[(0, 0)],
            h.end_correction[(2, 2)],
            h.end_correction[(4, 4)],
            h.raw.twin.a_inf[(2, 2)],
            h.shedding
        );
        for u in [0.0, 4.0, 8.23] {
            let t = std::time::Instant::now();
            let s = h.at_speed(u).expect("speed");
            eprintln!(
                "U {u} {:?} order {:?} eig {:.2e}",
                t.elapsed(),
                s.fit.order,
                s.fit.smallest_eigenvalue
            );
            for c in &s.fit.couplings {
                eprintln!(
                    "{:?} K {:.2e} B {:.2} A {:.2e} nat {:.2e}",
                    c.mode, c.retardation, c.damping, c.added_mass, c.natural_damping
                );
            }
            for w in &s.warnings {
                eprintln!("{w}");
            }
            for i in (0..s.radiation.omega_rad_s.len()).step_by(3) {
                let (a, b) = (&s.radiation.a[i], &s.radiation.b[i]);
                let (ra, rb) = (&h.raw.isolated.a[i], &h.raw.isolated.b[i]);
                if u == 0.0 {
                    eprintln!(
                        "{:.3} A33 {:.3e} iso {:.3e} tw {:.3e} B33 {:.3e} iso {:.3e} tw {:.3e} | A22 {:.3e} iso {:.3e} tw {:.3e} B22 {:.3e} iso {:.3e} tw {:.3e}",
                        s.radiation.omega_rad_s[i],
                        a[(2, 2)],
                        ra[(2, 2)],
                        h.raw.twin.a[i][(2, 2)],
                        b[(2, 2)],
                        rb[(2, 2)],
                        h.raw.twin.b[i][(2, 2)],
                        a[(1, 1)],
                        ra[(1, 1)],
                        h.raw.twin.a[i][(1, 1)],
                        b[(1, 1)],
                        rb[(1, 1)],
                        h.raw.twin.b[i][(1, 1)]
                    );
                }
            }
        }
    }
}

/// Motions per unit amplitude at zero speed from tables, mass and hydrostatics.
fn response(c: &Craft, h: &CraftHydro, mu: f64, w: f64) -> [Complex64; 6] {
    let (table, _) = h.radiation_at(0.0);
    let (a, b) = table.at(w);
    let m = rigid_mass(c) + a;
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
            for mu in [0.0_f64, 0.6, 1.5707963, 2.5, std::f64::consts::PI] {
                let x = response(&c, &h, mu, w);
                let heave = (x[2] + 1.0).norm();
                let pitch = (x[4] - Complex64::new(0.0, -k * mu.cos())).norm() / k;
                let roll = (x[3] - Complex64::new(0.0, k * mu.sin())).norm() / k;
                eprintln!(
                    "{name} w {w} mu {mu:.2} heave {heave:.2e} pitch {pitch:.2e} roll {roll:.2e}"
                );
                assert!(heave < 0.01 && pitch < 0.01 && roll < 0.01);
            }
        }
    }
}
