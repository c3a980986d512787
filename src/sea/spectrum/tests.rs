//! Checks of the spectral families against `references/A_waves.json` and against each other.

use super::*;
use std::f64::consts::TAU;
use std::fmt::Write as _;

const TOL_PRINTED: f64 = 1e-6; // references give eight digits and ask 1e-6
const TOL_QUADRATURE: f64 = 1e-5; // references ask 1e-5 where they integrated numerically

fn close(got: f64, want: f64, tol: f64, what: &str) {
    assert!((got / want - 1.0).abs() < tol, "{what}: {got} {want}");
}

#[test]
fn published_pierson_moskowitz() {
    // pm.U10, pm.U15, pm.U20: U, m0, Hs, wp, S(wp), S(1)
    for [u, m0, hs, wp, s_wp, s_1] in [
        [
            10.0, 0.28454565, 2.1337128, 0.8602033, 0.47386295, 0.3929092,
        ],
        [15.0, 1.4405124, 4.8008539, 0.57346886, 3.5983968, 0.680477],
        [
            20.0, 4.5527305, 8.5348513, 0.43010165, 15.163614, 0.74636151,
        ],
    ] {
        let s = Spectrum::pierson_moskowitz(u);
        close(s.moment(0), m0, TOL_PRINTED, "m0");
        close(s.hs_m(), hs, TOL_PRINTED, "Hs");
        close(s.peak_rad_s(), wp, TOL_PRINTED, "wp");
        close(s.density(wp), s_wp, TOL_PRINTED, "S(wp)");
        close(s.density(1.0), s_1, TOL_PRINTED, "S(1)");
    }
}

#[test]
fn published_bretschneider() {
    // bret.Hs*.Tp*: Hs, Tp, m-1, m0, m1, m2, Tz, S(wp), S(0.5), S(1)
    for [hs, tp, m_1, m0, m1, m2, tz, s_wp, s_05, s_10] in [
        [
            1.88,
            8.8,
            0.26521135,
            0.2209,
            0.20436391,
            0.2231619,
            6.251262,
            0.44320068,
            0.050784678,
            0.20742866,
        ],
        [
            3.25, 9.7, 0.87363935, 0.66015625, 0.55407196, 0.54889965, 6.8905956, 1.4599585,
            0.54987084, 0.46631364,
        ],
        [
            2.0,
            7.0,
            0.23875461,
            0.25,
            0.29075898,
            0.39914768,
            4.9725948,
            0.39898823,
            5.9727242e-05,
            0.36045321,
        ],
    ] {
        let s = Spectrum::bretschneider(hs, tp);
        for (n, want) in [(-1, m_1), (0, m0), (1, m1), (2, m2)] {
            close(s.moment(n), want, TOL_PRINTED, "moment");
        }
        close(s.tz_s(), tz, TOL_PRINTED, "Tz");
        close(s.density(TAU / tp), s_wp, TOL_PRINTED, "S(wp)");
        close(s.density(0.5), s_05, TOL_PRINTED, "S(0.5)");
        close(s.density(1.0), s_10, TOL_PRINTED, "S(1)");
        assert!(s.moment(4).is_infinite());
    }
    // bret.const, bret.ratios
    let s = GammaPart::two_parameter(172.79227, 691.16906);
    let t1 = TAU * s.moment(0) / s.moment(1);
    close(t1, 1.0, TOL_PRINTED, "T1 of the constants");
    let tp = TAU / s.peak_rad_s();
    close(tp / t1, 1.2957204, TOL_PRINTED, "Tp/T1");
    close(
        tp / (TAU * (s.moment(0) / s.moment(2)).sqrt()),
        1.4077158,
        TOL_PRINTED,
        "Tp/Tz",
    );
    close(
        TAU * s.moment(-1) / s.moment(0) / tp,
        0.85722254,
        TOL_PRINTED,
        "Te/Tp",
    );
    // ittc78.mean: rounded constants 173 and 691, Hs 3, T1 7
    let s = GammaPart::two_parameter(173.0 * 9.0 / 7f64.powi(4), 691.0 / 7f64.powi(4));
    for (w, want) in [
        (0.6, 0.90515394),
        (0.8, 0.98016392),
        (1.0, 0.48630408),
        (1.5, 0.080677246),
    ] {
        close(s.density(w), want, TOL_PRINTED, "ittc78");
    }
    close(s.moment(0), 0.56331404, TOL_PRINTED, "ittc78 m0");
    // bret.band
    let s = Spectrum::bretschneider(3.25, 9.7);
    let band = simpson_log(&|w| s.density(w), 0.4, 1.2, 400);
    close(band, 0.5935646, TOL_PRINTED, "bret.band");
}

#[test]
fn published_jonswap() {
    // jonswap.*: Hs, Tp, gamma, m-1, m0, m1, m2, m0/(Hs^2/16), S at 0.9 1.0 1.1 1.5 wp.
    // The references keep the A_gamma fit; ours is scaled to the height, so divide by the ratio.
    for ([hs, tp, gamma], m, ratio, s_at) in [
        (
            [3.25, 9.7, 3.3],
            [0.92281938, 0.66175132, 0.51376694, 0.45943375],
            1.0024162,
            [1.2979843, 3.1669946, 1.6863284, 0.34459747],
        ),
        (
            [4.0, 10.0, 1.0],
            [1.364312, 1.0, 0.81412514, 0.78232945],
            1.0,
            [2.0052147, 2.2799327, 2.1039746, 0.81865447],
        ),
        (
            [4.0, 10.0, 5.0],
            [1.4629454, 1.0000027, 0.73201441, 0.60878066],
            1.0000027,
            [1.9273432, 6.1340601, 2.6972807, 0.440511],
        ),
    ] {
        let wp = TAU / tp;
        let s = Spectrum::Jonswap(Jonswap::new(hs, wp, gamma));
        for (i, want) in m.iter().enumerate() {
            close(
                s.moment([-1, 0, 1, 2][i]),
                want / ratio,
                TOL_QUADRATURE,
                "moment",
            );
        }
        close(s.hs_m(), hs, 1e-12, "the stated height"); // scaled to it
        for (x, want) in [0.9, 1.0, 1.1, 1.5].iter().zip(s_at) {
            close(s.density(x * wp), want / ratio, TOL_QUADRATURE, "S");
        }
    }
    // jonswap.fit.g3.3: the fits of DNV-RP-C205 are good to 0.1 %
    let s = Spectrum::Jonswap(Jonswap::new(4.0, TAU / 10.0, 3.3));
    close(s.tz_s() / 10.0, 0.77768285, 1e-3, "fit of Tz");
    // gamma = 1 is Bretschneider
    let (j, b) = (
        Jonswap::new(2.0, 0.8, 1.0),
        Spectrum::bretschneider(2.0, TAU / 0.8),
    );
    close(j.density(1.1), b.density(1.1), 1e-6, "limit"); // quadrature of the scale
}

#[test]
fn published_ochi_hubble() {
    // ochihubble.1
    let spec = SpectrumSpec::OchiHubble {
        hs_m: [2.5, 1.5],
        tp_s: [TAU / 0.5, TAU],
        lambda: [3.0, 1.5],
    };
    let s = Spectrum::of(&spec, Path::new(".")).unwrap();
    for (w, want) in [
        (0.4, 0.34942999),
        (0.5, 2.0797591),
        (0.6, 1.0458374),
        (0.8, 0.17025697),
        (1.0, 0.26068424),
        (1.2, 0.17689297),
    ] {
        close(s.density(w), want, TOL_PRINTED, "S");
    }
    close(s.moment(0), 0.53125, TOL_PRINTED, "m0");
}

#[test]
fn a_table_keeps_the_moments() {
    // second method: the closed form sampled finely, read back as text
    let b = Spectrum::bretschneider(2.0, 7.0);
    let mut text = String::from("omega_rad_s,s_m2_s\n");
    for i in 0..2000 {
        let w = 0.3 + 0.01 * f64::from(i);
        writeln!(text, "{w},{}", b.density(w)).unwrap();
    }
    let t = Spectrum::Table(parse_measured(&text).unwrap());
    close(t.moment(0), b.moment(0), 1e-4, "m0"); // 0.01 rad/s chords of the peak
    close(t.moment(1), b.moment(1), 1e-3, "m1"); // cut at 20 rad/s
    close(t.density(0.9), b.density(0.9), 1e-3, "S");
}

#[test]
fn measured_text_is_read_or_refused_with_its_line() {
    for (text, line, says) in [
        ("f_hz,s\n1,2\n", Some(1), "header"),
        (
            "omega_rad_s,s_m2_s\n0.5,0.1\n0.4,0.2\n0.6,0.1\n",
            Some(3),
            "ascend",
        ),
        (
            "omega_rad_s,s_m2_s\n0.5,0.1\n0.6,x\n",
            Some(3),
            "finite number",
        ),
        ("omega_rad_s,s_m2_s\n0.5,0.1\n0.6,-1\n", Some(3), "negative"),
        ("omega_rad_s,s_m2_s\n0.5,0.1,9\n", Some(2), "2"),
        ("omega_rad_s,s_m2_s\n0.5,0.1\n", None, "at least 3"),
        ("omega_rad_s,s_m2_s\n0.5,0\n0.6,0\n0.7,0\n", None, "height"),
        ("", Some(1), "header"),
    ] {
        let e = parse_measured(text).unwrap_err();
        assert_eq!(e.problems[0].place.line, line, "{e}");
        assert!(e.to_string().contains(says), "{e}");
    }
}

#[test]
fn numbers_out_of_range_are_named() {
    let spec = SpectrumSpec::Jonswap {
        hs_m: -1.0,
        tp_s: 0.1,
        gamma: f64::NAN,
    };
    let e = Spectrum::of(&spec, Path::new(".")).unwrap_err();
    assert_eq!(e.problems.len(), 3);
    assert_eq!(e.problems[0].place.key, "spectrum.jonswap.hs_m");
    let e = Spectrum::of(
        &SpectrumSpec::Measured {
            file: "none.csv".into(),
        },
        Path::new("."),
    )
    .unwrap_err();
    assert!(e.to_string().contains("none.csv"));
}

#[test]
fn froude_scaled_sea_keeps_its_shape() {
    let l = 9.0_f64; // length ratio; periods go with 3, densities with l^2.5
    let (a, b) = (
        Spectrum::bretschneider(1.0, 5.0),
        Spectrum::bretschneider(l, 15.0),
    );
    close(
        a.density(1.3) * l.powf(2.5),
        b.density(1.3 / 3.0),
        1e-12,
        "S",
    );
}

#[test]
fn the_range_leaves_out_what_it_says() {
    for s in [
        Spectrum::bretschneider(2.0, 7.0),
        Spectrum::Jonswap(Jonswap::new(2.0, 0.9, 3.3)),
        Spectrum::Jonswap(Jonswap::new(2.0, 0.9, 10.0)),
        Spectrum::Gamma(vec![GammaPart::of_peak(2.0, 0.6, 6.0)]),
    ] {
        let (lo, hi) = s.range_rad_s();
        let inside = simpson_log(&|w| s.density(w), lo, hi, 4000);
        let lost = 1.0 - inside / s.moment(0);
        assert!(
            lost > 0.2 * TAIL_FRAC && lost < 1.2 * TAIL_FRAC,
            "{lost} {s:?}"
        );
    }
}
