use super::reference::*;
use super::shapes::*;
use std::f64::consts::PI;
#[test]
#[ignore]
fn explore() {
    for n in [40, 56, 64, 80, 160] {
        let s = solver(&semicircle(40.0), n);
        let mut w = [0.0_f64; 6];
        for [ka, a33, b33, x3, a22, b22, x2] in SEMICIRCLE {
            let om = omega(ka);
            let p = s.solve(om, 1.0).unwrap().isolated;
            let e = [
                p.a[1][1] / PI / a33,
                p.b[1][1] / PI / om / b33,
                p.radiated[1][0].norm() / x3,
                p.a[0][0] / PI / a22,
                p.b[0][0] / PI / om / b22,
                p.radiated[0][0].norm() / x2,
            ];
            for i in 0..6 {
                if ka < 4.5 {
                    w[i] = w[i].max((e[i] - 1.0).abs());
                }
            }
        }
        println!("semi n={n} {w:.5?}");
        let mut w = [0.0_f64; 5];
        for [h, ka, a, b, x, _] in SUBMERGED {
            let s = solver(&submerged_circle(40.0, h), n);
            let om = omega(ka);
            let p = s.solve(om, 1.0).unwrap().isolated;
            let e = [
                p.a[1][1] / PI / a / 2.0 - 1.0,
                p.b[1][1] / PI / om / 2.0 - b,
                p.a[0][0] / PI / a / 2.0 - 1.0,
                p.b[0][0] / PI / om / 2.0 - b,
                p.radiated[0][0].norm() - x,
            ];
            for i in 0..5 {
                w[i] = w[i].max((e[i]).abs());
            }
        }
        println!("subc n={n} {w:.5?}");
    }
    for n in [40, 56, 64, 80, 160, 320] {
        let mut report = String::new();
        let mut w = [0.0_f64; 4];
        let mut who = [""; 4];
        for (id, half, h, t, ka, a, b, abs) in TWIN.iter().chain(STRUT.iter()).copied() {
            let y = if half == 0.0 { 20.0 } else { half };
            let c = if h == 0.0 {
                semicircle(y)
            } else {
                circle_and_strut(y, h, t)
            };
            let s = solver(&c, n);
            let om = omega(ka);
            let f = s.solve(om, 1.0).unwrap();
            let j = usize::from(id.contains("heave"));
            let (p, scale) = if half == 0.0 {
                (&f.isolated, 0.5)
            } else {
                (&f.twin, 1.0)
            };
            let scale = if h == 0.0 { scale / PI } else { scale };
            let (ga, gb) = (p.a[j][j] * scale, p.b[j][j] * scale / om);
            let (ea, eb) = ((ga - a) / a, (gb - b) / b);
            let far = if half == 0.0 {
                p.radiated[j][0].norm_sqr()
            } else {
                (p.radiated[j][0] + p.radiated[j][1] * if j == 1 { 1.0 } else { -1.0 }).norm_sqr()
                    * if h == 0.0 { 1.0 / PI } else { 1.0 }
            };
            if n == 64 || n == 320 {
                report += &format!(
                    "{id} {a} {b} abs={abs}: {:.4}% {:.4}% far {:.4}%\n",
                    ea * 100.0,
                    eb * 100.0,
                    (far / b - 1.0) * 100.0
                );
            }
            let k = if h == 0.0 { 0 } else { 2 };
            if !abs {
                if ea.abs() > w[k] {
                    w[k] = ea.abs();
                    who[k] = id;
                }
                if eb.abs() > w[k + 1] {
                    w[k + 1] = eb.abs();
                    who[k + 1] = id;
                }
            }
        }
        println!("n={n} twin a,b strut a,b {w:.5?} {who:?}");
        print!("{report}");
    }
    for n in [40, 64, 160] {
        let s = solver(&circle_and_strut(5.0, 2.0, 0.4), n);
        for r in ROLL {
            let om = omega(r[0]);
            let p = s.solve(om, 1.0).unwrap().twin;
            println!(
                "roll {n} {} {:.5?} a42 {:.5?}",
                r[0],
                [
                    p.a[2][2] / r[1] - 1.0,
                    p.b[2][2] / om / r[2] - 1.0,
                    p.a[0][2] / r[3] - 1.0,
                    p.b[0][2] / om / r[4] - 1.0
                ],
                [p.a[2][0] / r[3] - 1.0, p.b[2][0] / om / r[4] - 1.0]
            );
        }
    }
}
