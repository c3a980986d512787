//! Largest errors against reference list B, printed: `cargo test --release error_table -- --ignored
//! --nocapture`.

use std::f64::consts::PI;

use super::reference::{ROLL, SEMICIRCLE, STRUT, SUBMERGED, TWIN};
use super::shapes::{circle_and_strut, omega, semicircle, solver_of, submerged_circle};

/// Keeps the largest relative error and where it was.
#[derive(Default)]
struct Worst(f64, String);

impl Worst {
    fn see(&mut self, got: f64, want: f64, least: f64, at: &str) {
        let e = ((got - want) / want.abs().max(least)).abs();
        if e > self.0 {
            *self = Worst(e, at.into());
        }
    }
}

fn print(what: &str, worst: &[Worst]) {
    let text: Vec<String> = worst
        .iter()
        .map(|w| format!("{:.3}% ({})", 100.0 * w.0, w.1))
        .collect();
    println!("{what}: {}", text.join(", "));
}

#[test]
#[ignore = "a report, not a check"]
fn error_table() {
    for n in [48, 64, 96, 128] {
        println!("{n} panels per hull");
        let mut w: [Worst; 6] = Default::default();
        let s = solver_of(&semicircle(9.0), n);
        for [ka, a33, b33, x3, a22, b22, x2] in SEMICIRCLE.into_iter().filter(|r| r[0] < 3.5) {
            let p = s.solve(omega(ka), 1.0).unwrap().isolated;
            let om = omega(ka);
            for (i, (got, want)) in [
                (p.a[1][1] / PI, a33),
                (p.b[1][1] / PI / om, b33),
                (p.radiated[1][0].norm(), x3),
                (p.a[0][0] / PI, a22),
                (p.b[0][0] / PI / om, b22),
                (p.radiated[0][0].norm(), x2),
            ]
            .into_iter()
            .enumerate()
            {
                w[i].see(got, want, 0.0, &format!("ka {ka}"));
            }
        }
        print("  semicircle to ka 3: a33 b33 X3 a22 b22 X2", &w);
        let mut w: [Worst; 4] = Default::default();
        for [h, ka, a, b, x, _] in SUBMERGED {
            let p = solver_of(&submerged_circle(9.0, h), n)
                .solve(omega(ka), 1.0)
                .unwrap()
                .isolated;
            let at = format!("h {h} ka {ka}");
            w[0].see(p.a[1][1] / (2.0 * PI), a, 0.0, &at);
            w[1].see(p.b[1][1] / (2.0 * PI * omega(ka)), b, 0.05, &at);
            w[2].see(p.radiated[1][0].norm(), x, 0.1, &at);
            let even = -p.radiated[1][0] / p.radiated[1][1].conj();
            let odd = p.radiated[0][0] / p.radiated[0][1].conj();
            w[3].see((0.5 * (even + odd)).norm() + 1.0, 1.0, 1.0, &at);
        }
        print("  submerged circle: a b X |R|", &w);
        let mut w: [Worst; 8] = Default::default();
        for (id, half, h, t, ka, a, b, marked) in TWIN.into_iter().chain(STRUT) {
            if marked {
                continue;
            }
            let y = if half > 0.0 { half } else { 9.0 };
            let c = if h > 0.0 {
                circle_and_strut(y, h, t)
            } else {
                semicircle(y)
            };
            let flow = solver_of(&c, n).solve(omega(ka), 1.0).unwrap();
            let p = if half > 0.0 {
                &flow.twin
            } else {
                &flow.isolated
            };
            let hulls = if half > 0.0 { 1.0 } else { 2.0 } * if h > 0.0 { 1.0 } else { PI };
            let j = usize::from(id.contains("heave"));
            let k = 4 * usize::from(h > 0.0) + 2 * j;
            // errors against at least the circle's rho pi a^2, or a tenth of it for damping
            let unit = if h > 0.0 { PI } else { 1.0 };
            w[k].see(p.a[j][j] / hulls, a, unit, id);
            w[k + 1].see(p.b[j][j] / hulls / omega(ka), b, 0.1 * unit, id);
        }
        print("  twin semicircles: a22 b22 a33 b33", &w[..4]);
        print("  strut-hull sections: a22 b22 a33 b33", &w[4..]);
        let mut w: [Worst; 4] = Default::default();
        let s = solver_of(&circle_and_strut(5.0, 2.0, 0.4), n);
        for [ka, a44, b44, a24, b24] in ROLL {
            let p = s.solve(omega(ka), 1.0).unwrap().twin;
            let at = format!("ka {ka}");
            w[0].see(p.a[2][2], a44, 0.0, &at);
            w[1].see(p.b[2][2] / omega(ka), b44, 0.0, &at);
            w[2].see(p.a[0][2], a24, 20.0, &at);
            w[3].see(p.b[0][2] / omega(ka), b24, 2.0, &at);
        }
        print("  twin strut-hull roll: a44 b44 a24 b24", &w);
    }
}
