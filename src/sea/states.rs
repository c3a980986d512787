//! Sea-state tables.
//!
//! # Equation
//! None: tables.
//!
//! # Symbols
//! `hs_m` significant wave height; wind at 19.5 m, kn; modal period, s.
//!
//! # Valid when
//! The North Atlantic table is open ocean, year round: its modal periods are long for coastal
//! waters.
//!
//! # Source
//! WMO code table 3700. North Atlantic sea states after Bales, Lee & Voelker (1981) as tabulated in
//! seakeeping handbooks (references/A seastate.na; the probabilities add up to 99.8 % as printed).
//!
//! # Checked by
//! `tables_are_contiguous`, `published_rows`.

/// One row of WMO code table 3700.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WmoState {
    /// Code.
    pub code: u8,
    /// The trade's word.
    pub word: &'static str,
    /// Significant heights above `low_m`, m, up to `high_m`.
    pub low_m: f64,
    /// Upper limit, m; infinite for the last.
    pub high_m: f64,
}

const fn wmo(code: u8, word: &'static str, low_m: f64, high_m: f64) -> WmoState {
    WmoState {
        code,
        word,
        low_m,
        high_m,
    }
}

/// WMO code table 3700.
pub const WMO_3700: [WmoState; 10] = [
    wmo(0, "calm (glassy)", 0.0, 0.0),
    wmo(1, "calm (rippled)", 0.0, 0.1),
    wmo(2, "smooth", 0.1, 0.5),
    wmo(3, "slight", 0.5, 1.25),
    wmo(4, "moderate", 1.25, 2.5),
    wmo(5, "rough", 2.5, 4.0),
    wmo(6, "very rough", 4.0, 6.0),
    wmo(7, "high", 6.0, 9.0),
    wmo(8, "very high", 9.0, 14.0),
    wmo(9, "phenomenal", 14.0, f64::INFINITY),
];

/// Row of code table 3700 of a significant height, m.
pub fn wmo_state(hs_m: f64) -> &'static WmoState {
    let i = WMO_3700
        .iter()
        .position(|s| hs_m <= s.high_m)
        .unwrap_or(WMO_3700.len() - 1);
    &WMO_3700[i]
}

/// One row of the North Atlantic table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OceanState {
    /// Sea state.
    pub state: &'static str,
    /// Significant heights, m: low, high, mean; the last row has no high and mean.
    pub hs_m: (f64, Option<f64>, Option<f64>),
    /// Sustained wind at 19.5 m, kn: low, high, mean.
    pub wind_kn: (f64, Option<f64>, Option<f64>),
    /// Annual probability, per cent; the last row is below 0.05.
    pub probability_percent: f64,
    /// Modal period, s: 5 percentile, 95 percentile, most probable.
    pub modal_period_s: Option<(f64, f64, f64)>,
}

const fn ocean(
    state: &'static str,
    hs: [f64; 3],
    wind: [f64; 3],
    probability_percent: f64,
    modal_period_s: Option<(f64, f64, f64)>,
) -> OceanState {
    OceanState {
        state,
        hs_m: (hs[0], Some(hs[1]), Some(hs[2])),
        wind_kn: (wind[0], Some(wind[1]), Some(wind[2])),
        probability_percent,
        modal_period_s,
    }
}

/// North Atlantic sea states.
pub const NORTH_ATLANTIC: [OceanState; 9] = [
    ocean("0-1", [0.0, 0.1, 0.05], [0.0, 6.0, 3.0], 0.0, None),
    ocean(
        "2",
        [0.1, 0.5, 0.3],
        [7.0, 10.0, 8.5],
        7.2,
        Some((3.3, 12.8, 7.5)),
    ),
    ocean(
        "3",
        [0.5, 1.25, 0.88],
        [11.0, 16.0, 13.5],
        22.4,
        Some((5.0, 14.8, 7.5)),
    ),
    ocean(
        "4",
        [1.25, 2.5, 1.88],
        [17.0, 21.0, 19.0],
        28.7,
        Some((6.1, 15.2, 8.8)),
    ),
    ocean(
        "5",
        [2.5, 4.0, 3.25],
        [22.0, 27.0, 24.5],
        15.5,
        Some((8.3, 15.5, 9.7)),
    ),
    ocean(
        "6",
        [4.0, 6.0, 5.0],
        [28.0, 47.0, 37.5],
        18.7,
        Some((9.8, 16.2, 12.4)),
    ),
    ocean(
        "7",
        [6.0, 9.0, 7.5],
        [48.0, 55.0, 51.5],
        6.1,
        Some((11.8, 18.5, 15.0)),
    ),
    ocean(
        "8",
        [9.0, 14.0, 11.5],
        [56.0, 63.0, 59.5],
        1.2,
        Some((14.2, 18.6, 16.4)),
    ),
    OceanState {
        state: ">8",
        hs_m: (14.0, None, None),
        wind_kn: (63.0, None, None),
        probability_percent: 0.05,
        modal_period_s: Some((18.0, 23.7, 20.0)),
    },
];

/// Wind at `z_m` from wind at 19.5 m by the 1/7 power law of the table.
pub fn wind_from_19m5(wind_19m5: f64, z_m: f64) -> f64 {
    wind_19m5 * (z_m / 19.5).powf(1.0 / 7.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::sea::SeaSpec;
    use rand::SeedableRng;

    #[test]
    fn tables_are_contiguous() {
        for c in WMO_3700.windows(2) {
            assert!((c[0].high_m - c[1].low_m).abs() < 1e-12);
        }
        for c in NORTH_ATLANTIC.windows(2) {
            assert!((c[0].hs_m.1.unwrap() - c[1].hs_m.0).abs() < 1e-12);
        }
        let sum: f64 = NORTH_ATLANTIC[..8]
            .iter()
            .map(|s| s.probability_percent)
            .sum();
        assert!((sum - 99.8).abs() < 1e-9, "as printed");
    }

    #[test]
    fn published_rows() {
        assert_eq!(wmo_state(1.9).code, 4);
        assert_eq!(wmo_state(1.25).word, "slight");
        assert_eq!(wmo_state(99.0).code, 9);
        assert_eq!(wmo_state(0.0).code, 0);
        // references/A seastate.wind
        assert!((wind_from_19m5(1.0, 10.0) - 0.90900544).abs() < 1e-6);
    }

    #[test]
    fn shipped_seas_can_be_drawn() {
        let dir = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/sea");
        let mut count = 0;
        for f in std::fs::read_dir(&dir).unwrap() {
            let path = f.unwrap().path();
            if path.extension().is_none_or(|e| e != "json") {
                continue;
            }
            let spec: SeaSpec =
                serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap();
            assert_eq!(spec.format, "ridewright.sea/1");
            let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(1);
            let r = crate::sea::realise(&spec, &dir, 3.0, 9.0, 1800.0, &mut rng).unwrap();
            assert_eq!(r.components.is_empty(), spec.systems.is_empty());
            count += 1;
        }
        assert!(count >= 7);
    }
}
