//! Checks of the Riccati solvers against published and exact solutions.
//!
//! Values: references/F_control.json, ids beside each; printed with eight digits, so the tolerance
//! is half of the last digit of the largest entry.

#![allow(clippy::approx_constant)] // printed values, digit for digit

use super::*;

fn m(rows: &[&[f64]]) -> DMatrix<f64> {
    DMatrix::from_fn(rows.len(), rows[0].len(), |i, j| rows[i][j])
}

/// Eight printed digits: rounding to 5e-8 of the largest entry.
const TOL_PRINT: f64 = 6e-8;

fn close(got: &DMatrix<f64>, want: &DMatrix<f64>, id: &str) {
    for (g, w) in got.iter().zip(want) {
        let tol = TOL_PRINT * w.abs().max(1e-3 * want.amax());
        assert!((g - w).abs() <= tol, "{id}: {got} {want}");
    }
}

fn poles_close(got: &[Complex<f64>], want: &[(f64, f64)], id: &str) {
    for (re, im) in want {
        let near = got
            .iter()
            .map(|g| (g - Complex::new(*re, *im)).norm())
            .fold(f64::INFINITY, f64::min);
        // a double pole splits by the square root of rounding
        assert!(near < 2e-7 * re.hypot(*im).max(1.0), "{id}: {got:?}");
    }
}

struct Case {
    id: &'static str,
    a: DMatrix<f64>,
    b: DMatrix<f64>,
    q: DMatrix<f64>,
    r: f64,
    x: DMatrix<f64>,
    k: DMatrix<f64>,
    poles: [(f64, f64); 2],
}

fn continuous_cases() -> Vec<Case> {
    let dint = m(&[&[0.0, 1.0], &[0.0, 0.0]]);
    let push = m(&[&[0.0], &[1.0]]);
    let one = DMatrix::identity(2, 2);
    let ones = DMatrix::from_element(2, 2, 1.0);
    let diag = m(&[&[1.0, 0.0], &[0.0, -2.0]]);
    vec![
        Case {
            id: "care.dint (Anderson & Moore), care.carex2.3.e1",
            a: dint.clone(),
            b: push.clone(),
            q: one.clone(),
            r: 1.0,
            x: m(&[&[1.7320508, 1.0], &[1.0, 1.7320508]]),
            k: m(&[&[1.0, 1.7320508]]),
            poles: [(-0.8660254, -0.5), (-0.8660254, 0.5)],
        },
        Case {
            id: "care.carex1.1 (Laub 1979 example 1)",
            a: dint.clone(),
            b: push.clone(),
            q: m(&[&[1.0, 0.0], &[0.0, 2.0]]),
            r: 1.0,
            x: m(&[&[2.0, 1.0], &[1.0, 2.0]]),
            k: m(&[&[1.0, 2.0]]),
            poles: [(-1.0, 0.0), (-1.0, 0.0)],
        },
        Case {
            id: "care.carex1.2 (Laub 1979 example 2)",
            a: m(&[&[4.0, 3.0], &[-4.5, -3.5]]),
            b: m(&[&[1.0], &[-1.0]]),
            q: m(&[&[9.0, 6.0], &[6.0, 4.0]]),
            r: 1.0,
            x: m(&[&[21.727922, 14.485281], &[14.485281, 9.6568542]]),
            k: m(&[&[7.2426407, 4.8284271]]),
            poles: [(-1.4142136, 0.0), (-0.5, 0.0)],
        },
        Case {
            id: "care.carex2.1.e1 (Arnold & Laub 1984)",
            a: diag.clone(),
            b: m(&[&[1.0], &[0.0]]),
            q: ones.clone(),
            r: 1.0,
            x: m(&[&[2.4142136, 0.29289322], &[0.29289322, 0.22855339]]),
            k: m(&[&[2.4142136, 0.29289322]]),
            poles: [(-2.0, 0.0), (-1.4142136, 0.0)],
        },
        Case {
            id: "care.carex2.1.e0.01",
            a: diag,
            b: m(&[&[0.01], &[0.0]]),
            q: ones,
            r: 1.0,
            x: m(&[&[20000.5, 0.33332778], &[0.33332778, 0.24999722]]),
            k: m(&[&[200.005, 0.0033332778]]),
            poles: [(-2.0, 0.0), (-1.00005, 0.0)],
        },
        Case {
            id: "care.carex2.3.e100 (Kenney, Laub & Wette 1989)",
            a: m(&[&[0.0, 100.0], &[0.0, 0.0]]),
            b: push.clone(),
            q: one,
            r: 1.0,
            x: m(&[&[0.14177447, 1.0], &[1.0, 14.177447]]),
            k: m(&[&[1.0, 14.177447]]),
            poles: [(-7.0887234, -7.053368), (-7.0887234, 7.053368)],
        },
        Case {
            id: "care.dint.q4",
            a: dint,
            b: push.clone(),
            q: m(&[&[4.0, 0.0], &[0.0, 1.0]]),
            r: 0.25,
            x: m(&[&[3.4641016, 1.0], &[1.0, 0.8660254]]),
            k: m(&[&[4.0, 3.4641016]]),
            poles: [(-1.7320508, -1.0), (-1.7320508, 1.0)],
        },
        Case {
            id: "care.osc.wn2",
            a: m(&[&[0.0, 1.0], &[-4.0, -0.4]]),
            b: push,
            q: m(&[&[5.0, 0.0], &[0.0, 0.0]]),
            r: 1.0,
            x: m(&[&[3.6752421, 0.58257569], &[0.58257569, 0.7511522]]),
            k: m(&[&[0.58257569, 0.7511522]]),
            poles: [(-0.5755761, -2.0618651), (-0.5755761, 2.0618651)],
        },
    ]
}

#[test]
fn published_continuous() {
    for c in continuous_cases() {
        let r = DMatrix::from_element(1, 1, c.r);
        let s = care(&c.a, &c.b, &c.q, &r, &[]).unwrap();
        close(&s.x, &c.x, c.id);
        close(&s.gain, &c.k, c.id);
        poles_close(&s.poles().unwrap(), &c.poles, c.id);
        assert!(s.residual_frac < 1e-13, "{}: {}", c.id, s.residual_frac);
    }
}

#[test]
fn published_discrete() {
    let one = |v: f64| DMatrix::from_element(1, 1, v);
    let s = dare(
        &m(&[&[4.0, 3.0], &[-4.5, -3.5]]),
        &m(&[&[1.0], &[-1.0]]),
        &m(&[&[9.0, 6.0], &[6.0, 4.0]]),
        &one(1.0),
        &[],
    )
    .unwrap();
    let id = "dare.darex1.1 (Laub 1979)";
    close(
        &s.x,
        &m(&[&[14.562306, 9.7082039], &[9.7082039, 6.472136]]),
        id,
    );
    close(&s.gain, &m(&[&[1.854102, 1.236068]]), id);
    poles_close(&s.poles().unwrap(), &[(-0.5, 0.0), (0.38196601, 0.0)], id);
    let s = dare(
        &m(&[&[0.9512, 0.0], &[0.0, 0.9048]]),
        &m(&[&[4.877, 4.877], &[-1.1895, 3.569]]),
        &m(&[&[0.005, 0.0], &[0.0, 0.02]]),
        &m(&[&[1.0 / 3.0, 0.0], &[0.0, 3.0]]),
        &[],
    )
    .unwrap();
    let want = m(&[&[0.010459082, 0.0032246445], &[0.0032246445, 0.050397741]]);
    close(&s.x, &want, "dare.darex1.2");
    let s = dare(&one(1.2), &one(1.0), &one(1.0), &one(1.0), &[]).unwrap();
    close(&s.x, &one(1.9522337), "dare.scalar.a1.2");
    close(&s.gain, &one(0.79352812), "dare.scalar.a1.2");
    poles_close(
        &s.poles().unwrap(),
        &[(0.40647188, 0.0)],
        "dare.scalar.a1.2",
    );
    let s = dare(
        &m(&[&[1.0, 0.1], &[0.0, 1.0]]),
        &m(&[&[0.005], &[0.1]]),
        &DMatrix::identity(2, 2),
        &one(1.0),
        &[],
    )
    .unwrap();
    let id = "dare.dint.T0.1";
    close(
        &s.x,
        &m(&[&[17.834931, 10.012492], &[10.012492, 17.856586]]),
        id,
    );
    close(&s.gain, &m(&[&[0.91707456, 1.6355962]]), id);
    poles_close(
        &s.poles().unwrap(),
        &[(0.9159275, -0.045853692), (0.9159275, 0.045853692)],
        id,
    );
    assert!(s.residual_frac < 1e-13);
}

#[test]
fn published_kalman_gains() {
    // kalman.ab.1, kalman.ab.0.1 (Kalata 1984): T = 1, acceleration noise held over a period
    for (lam, alpha, beta, p) in [
        (1.0, 0.75, 0.5, [3.0, 2.0, 2.0]),
        (0.1, 0.36, 0.08, [0.5625, 0.125, 0.05]),
    ] {
        let a = m(&[&[1.0, 1.0], &[0.0, 1.0]]);
        let c = m(&[&[1.0, 0.0]]);
        let g = m(&[&[0.5], &[1.0]]);
        let w = &g * g.transpose() * (lam * lam);
        let k = kalman(&a, &c, &w, &DMatrix::identity(1, 1), &[]).unwrap();
        close(&k.gain, &m(&[&[alpha], &[beta]]), "kalman.ab");
        close(&k.prior, &m(&[&[p[0], p[1]], &[p[1], p[2]]]), "kalman.ab");
    }
    // kalman.scalar.a0.9
    let one = |v: f64| DMatrix::from_element(1, 1, v);
    let k = kalman(&one(0.9), &one(1.0), &one(1.0), &one(2.0), &[]).unwrap();
    close(&k.prior, &one(1.7577914), "kalman.scalar");
    close(&k.gain, &one(0.46777248), "kalman.scalar");
    // kb.dint.S: continuous filter by duality
    let a = m(&[&[0.0, 1.0], &[0.0, 0.0]]);
    let c = m(&[&[1.0, 0.0]]);
    let w = m(&[&[0.0, 0.0], &[0.0, 1.0]]);
    let s = care(&a.transpose(), &c.transpose(), &w, &one(1.0), &[]).unwrap();
    close(&s.gain, &m(&[&[1.4142136, 1.0]]), "kb.dint.S");
    close(
        &s.x,
        &m(&[&[1.4142136, 1.0], &[1.0, 1.4142136]]),
        "kb.dint.S",
    );
}

/// Families with exact solutions, pushed until the digits go.
#[test]
fn ill_conditioned_families() {
    let one = |v: f64| DMatrix::from_element(1, 1, v);
    // CAREX 2.3 (Kenney, Laub & Wette 1989): X = [s/e, 1; 1, s e...] with s = sqrt(1 + 2 e)
    for e in [1e-3, 1.0, 1e3, 1e6] {
        let a = m(&[&[0.0, e], &[0.0, 0.0]]);
        let s = care(
            &a,
            &m(&[&[0.0], &[1.0]]),
            &DMatrix::identity(2, 2),
            &one(1.0),
            &[],
        )
        .unwrap();
        let root = (1.0 + 2.0 * e).sqrt();
        for (g, w) in s.x.iter().zip([root / e, 1.0, 1.0, root]) {
            assert!((g / w - 1.0).abs() < 1e-9, "2.3 e {e}: {}", s.x);
        }
    }
    // CAREX 2.1 (Arnold & Laub 1984): first entry (1 + sqrt(1 + e^2)) / e^2
    for e in [1.0, 1e-2, 1e-4, 1e-6] {
        let a = m(&[&[1.0, 0.0], &[0.0, -2.0]]);
        let q = DMatrix::from_element(2, 2, 1.0);
        let s = care(&a, &m(&[&[e], &[0.0]]), &q, &one(1.0), &[]).unwrap();
        let root = (1.0_f64 + e * e).sqrt();
        let want = (1.0 + root) / (e * e);
        // condition grows with 1/e^2: eps / e^2 of the largest entry
        assert!(
            (s.x[(0, 0)] / want - 1.0).abs() < 1e-9,
            "2.1 e {e}: {}",
            s.x
        );
        let off = 1.0 / (2.0 + root);
        assert!((s.x[(0, 1)] / off - 1.0).abs() < 1e-7, "2.1 e {e}: {}", s.x);
    }
    // discrete, slow sampling of nothing: double integrator at T = 1e-4, cost per sample
    let t = 1e-4;
    let s = dare(
        &m(&[&[1.0, t], &[0.0, 1.0]]),
        &m(&[&[t * t / 2.0], &[t]]),
        &(DMatrix::identity(2, 2) * t),
        &one(t),
        &[],
    )
    .unwrap();
    let limit = 3.0_f64.sqrt(); // care.dint; first order in T
    assert!((s.gain[1] - limit).abs() < 3.0 * t && (s.gain[0] - 1.0).abs() < 3.0 * t);
}

#[test]
fn margins_of_state_feedback() {
    // lqrmargin.dint, lqrmargin.carex1.1 (Safonov & Athans 1977)
    for (q2, w_gc, pm) in [(1.0, 1.817354, 72.375609), (2.0, 2.058171, 76.345415)] {
        let a = m(&[&[0.0, 1.0], &[0.0, 0.0]]);
        let b = m(&[&[0.0], &[1.0]]);
        let q = m(&[&[1.0, 0.0], &[0.0, q2]]);
        let s = care(&a, &b, &q, &DMatrix::identity(1, 1), &[]).unwrap();
        let l = |w: f64| {
            let si = DMatrix::from_fn(2, 2, |i, j| {
                let d = if i == j {
                    Complex::new(0.0, w)
                } else {
                    Complex::new(0.0, 0.0)
                };
                d - a[(i, j)]
            });
            let x = si.lu().solve(&b.map(|v| Complex::new(v, 0.0))).unwrap();
            (s.gain.map(|v| Complex::new(v, 0.0)) * x)[0]
        };
        let (mut low, mut high) = (0.1_f64, 100.0_f64); // |L| falls
        for _ in 0..80 {
            let mid = (low * high).sqrt();
            if l(mid).norm() > 1.0 {
                low = mid;
            } else {
                high = mid;
            }
        }
        assert!((low / w_gc - 1.0).abs() < 1e-6, "{low}"); // seven printed digits
        let margin = 180.0 + l(low).arg().to_degrees();
        assert!((margin - pm).abs() < 1e-5, "{margin}");
        for k in 0..400 {
            let w = 1e-2 * 10_f64.powf(0.01 * f64::from(k));
            assert!(
                (1.0 + l(w)).norm() >= 1.0 - 1e-12,
                "return difference at {w}"
            );
        }
    }
}

#[test]
fn a_mode_out_of_reach_is_named() {
    let a = m(&[
        &[0.0, 1.0, 0.0, 0.0],
        &[-1.0, -0.1, 0.0, 0.0],
        &[0.0, 0.0, 0.0, 1.0],
        &[0.0, 0.0, 0.25, 0.0],
    ]);
    let b = m(&[&[0.0], &[1.0], &[0.0], &[0.0]]);
    let q = DMatrix::identity(4, 4);
    let one = DMatrix::identity(1, 1);
    let names = ["heave_m", "w_m_s", "pitch_rad", "q_rad_s"];
    let e = care(&a, &b, &q, &one, &names).unwrap_err().to_string();
    assert!(
        e.contains("+0.500 1/s") && e.contains("pitch_rad") && e.contains("input"),
        "{e}"
    );
    assert!(!e.contains("heave_m"), "{e}");
    let d = crate::math::zoh::discretise(&a, &b, 0.1);
    let e = dare(&d.ad, &d.bd, &q, &one, &names)
        .unwrap_err()
        .to_string();
    assert!(e.contains("pitch_rad"), "{e}");
    let c = m(&[&[1.0, 0.0, 0.0, 0.0]]);
    let e = kalman(&d.ad, &c, &q, &one, &names).unwrap_err().to_string();
    assert!(e.contains("pitch_rad") && e.contains("output"), "{e}");
    // an undamped mode that costs nothing cannot be brought to rest
    let osc = m(&[&[0.0, 1.0], &[-1.0, 0.0]]);
    let e = care(
        &osc,
        &m(&[&[0.0], &[1.0]]),
        &DMatrix::zeros(2, 2),
        &one,
        &[],
    )
    .unwrap_err();
    assert!(e.to_string().contains("cost"), "{e}");
    let e = care(
        &osc,
        &m(&[&[0.0], &[1.0]]),
        &q.view((0, 0), (2, 2)).into_owned(),
        &DMatrix::zeros(1, 1),
        &[],
    );
    assert!(e.unwrap_err().to_string().contains("positive definite"));
}

#[test]
fn residual_is_small_on_random_systems() {
    // residuals that SciPy 1.17.1's solve_continuous_are leaves on the same matrices are
    // 5.6e-16, 8.8e-15, 1.5e-14, 2.7e-12: with |X| = 4e4 the largest has no more digits to give
    for (n, tol) in [(2_usize, 2e-15), (5, 2e-14), (12, 1e-13), (24, 5e-12)] {
        let f = |k: usize| ((k * k + 3 * k) as f64 * 0.7).sin();
        let a = DMatrix::from_fn(n, n, |i, j| f(i * n + j) / (n as f64).sqrt());
        let b = DMatrix::from_fn(n, 3, |i, j| f(100 + 3 * i + j));
        let c = DMatrix::from_fn(4, n, |i, j| f(500 + 5 * i + j));
        let q = c.transpose() * c + DMatrix::identity(n, n) * 1e-3;
        let r = DMatrix::identity(3, 3);
        let s = care(&a, &b, &q, &r, &[]).unwrap();
        assert!(s.residual_frac < tol, "care {n}: {}", s.residual_frac);
        assert!(s.x.clone().symmetric_eigenvalues().min() > 0.0);
        let d = crate::math::zoh::discretise(&a, &b, 0.2);
        let s = dare(&d.ad, &d.bd, &q, &r, &[]).unwrap();
        assert!(s.residual_frac < tol, "dare {n}: {}", s.residual_frac);
    }
}

#[derive(serde::Deserialize)]
struct Recorded {
    name: String,
    discrete: bool,
    a: Vec<Vec<f64>>,
    #[serde(default)]
    b: Vec<Vec<f64>>,
    q: Vec<Vec<f64>>,
    #[serde(default)]
    r: Vec<Vec<f64>>,
    cross: Option<Vec<Vec<f64>>>,
    exact: Vec<Vec<f64>>,
    scipy_error: f64,
}

#[derive(serde::Deserialize)]
struct Record {
    riccati: Vec<Recorded>,
    lyapunov: Vec<Recorded>,
}

/// tests/data/riccati.json, made by tests/data/make_riccati.py with SciPy 1.17.1, NumPy 2.4.6 and 60 digits of
/// mpmath 1.3.0.
fn record() -> Record {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/riccati.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn full(rows: &[Vec<f64>]) -> DMatrix<f64> {
    DMatrix::from_fn(rows.len(), rows[0].len(), |i, j| rows[i][j])
}

/// What rounding alone may leave of a well-conditioned problem of these sizes, relative.
const TOL_ROUNDING: f64 = 1e-13;
/// Times the error of SciPy's solver that ours may have: both lose what the problem's condition takes, each
/// by its own path.
const TOL_SCIPY: f64 = 20.0;
/// Times epsilon |A| / (distance of the closed loop from the border of stability) + epsilon cond R: first-order
/// sensitivity of X (Byers 1985; Kenney & Hewer 1990); R counts because G = B R^-1 B' is formed.
const TOL_CONDITION: f64 = 4.0;

#[test]
fn as_good_as_scipy_on_ill_conditioned_examples() {
    let record = record();
    let mut bad = Vec::new();
    let mut judge = |c: &Recorded, x: Result<DMatrix<f64>>, condition: f64| {
        let exact = full(&c.exact);
        match x {
            Ok(x) => {
                let error = (x - &exact).norm() / exact.norm();
                let most = TOL_ROUNDING
                    + f64::max(
                        TOL_SCIPY * c.scipy_error,
                        TOL_CONDITION * f64::EPSILON * condition,
                    );
                println!(
                    "{}: error {error:.1e}, SciPy {:.1e}, allowed {most:.1e}",
                    c.name, c.scipy_error
                );
                if error > most {
                    bad.push(format!("{}: {error:.1e}, allowed {most:.1e}", c.name));
                }
            }
            Err(e) => bad.push(format!("{}: {e}", c.name)),
        }
    };
    for c in &record.riccati {
        let [a, b, q, r] = [&c.a, &c.b, &c.q, &c.r].map(|v| full(v));
        let solved = match (&c.cross, c.discrete) {
            (Some(n), _) => dare_cross(&a, &b, &q, &full(n), &r, &[]),
            (None, true) => dare(&a, &b, &q, &r, &[]),
            (None, false) => care(&a, &b, &q, &r, &[]),
        };
        let condition = solved.as_ref().map_or(0.0, |s| {
            let poles = s.poles().unwrap();
            let distance = |p: &Complex<f64>| if c.discrete { 1.0 - p.norm() } else { -p.re };
            let least = poles.iter().map(distance).fold(f64::INFINITY, f64::min);
            let of_r = r.clone().symmetric_eigenvalues();
            a.norm() / least + of_r.max() / of_r.min()
        });
        judge(c, solved.map(|s| s.x), condition);
    }
    for c in &record.lyapunov {
        let (a, q) = (full(&c.a), full(&c.q));
        let p = if c.discrete {
            lyapunov::discrete(&a, &q)
        } else {
            lyapunov::continuous(&a, &q)
        };
        judge(c, p.ok_or_else(|| Error::new("refused")), 0.0);
    }
    assert!(bad.is_empty(), "{}", bad.join("\n"));
}

#[test]
fn cross_term_is_a_change_of_variables() {
    // the price of a command's change: x1 the plant, x2 the command before
    let a = m(&[&[0.95, 0.0], &[0.0, 0.0]]);
    let b = m(&[&[0.1], &[1.0]]);
    let (angle, rate) = (0.3, 2.0);
    let q = m(&[&[1.0, 0.0], &[0.0, rate]]);
    let n = m(&[&[0.0], &[-rate]]);
    let r = DMatrix::from_element(1, 1, angle + rate);
    let s = dare_cross(&a, &b, &q, &n, &r, &[]).unwrap();
    // cost summed along the closed loop from x0 is x0' X x0
    let x0 = nalgebra::DVector::from_vec(vec![1.0, -0.5]);
    let (mut x, mut cost) = (x0.clone(), 0.0);
    for _ in 0..2000 {
        let u = -&s.gain * &x;
        cost += x[0] * x[0] + angle * u[0] * u[0] + rate * (u[0] - x[1]).powi(2);
        x = &a * x + &b * u;
    }
    assert!((cost / x0.dot(&(&s.x * &x0)) - 1.0).abs() < 1e-12, "{cost}");
    // and no gain beside it costs less
    for i in 0..2 {
        let mut k = s.gain.clone();
        k[i] *= 1.01;
        let (mut x, mut other) = (x0.clone(), 0.0);
        for _ in 0..2000 {
            let u = -&k * &x;
            other += x[0] * x[0] + angle * u[0] * u[0] + rate * (u[0] - x[1]).powi(2);
            x = &a * x + &b * u;
        }
        assert!(other > cost);
    }
    assert!(dare_cross(&a, &b, &q, &q, &r, &[]).is_err());
}
