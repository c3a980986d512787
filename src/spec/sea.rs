//! The sea file, field by field (`ridewright.sea/1`).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A sea: one or more wave systems, wind and current.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SeaSpec {
    /// Always `ridewright.sea/1`.
    #[schemars(length(min = 1))]
    pub format: String,
    /// Name printed on every table.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Why these numbers; sources; "invented" for demonstration seas.
    #[serde(default)]
    pub note: String,
    /// Wave systems, added; empty for calm water. The first one's direction is the scenario's wave heading.
    pub systems: Vec<WaveSystemSpec>,
    /// Wave components a system is made of.
    #[serde(default = "components")]
    #[schemars(range(min = 1, max = 10000))]
    pub components: usize,
    /// Random amplitudes (Rayleigh) with the right mean square, or fixed ones.
    #[serde(default)]
    pub amplitudes: Amplitudes,
    /// Wind; none when absent.
    #[serde(default)]
    pub wind: Option<WindSpec>,
    /// Current speed, m/s. It carries craft and waves alike: only the track over ground would show it, and no result tells that track yet.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 10.0))]
    pub current_m_s: f64,
    /// Where the current flows to, relative to the scenario's wave heading, clockwise, deg.
    #[serde(default)]
    pub current_offset_deg: f64,
}

/// One wave system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WaveSystemSpec {
    /// Its spectrum.
    pub spectrum: SpectrumSpec,
    /// Directional spreading about its mean; long-crested when absent.
    #[serde(default)]
    pub spreading: Option<SpreadingSpec>,
    /// Direction relative to the scenario's wave heading, clockwise, deg.
    #[serde(default)]
    pub offset_deg: f64,
}

/// A spectrum.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum SpectrumSpec {
    /// One wave of fixed height.
    Regular {
        /// Amplitude, m.
        #[schemars(range(min = 0.0, max = 30.0))]
        amplitude_m: f64,
        /// Period, s.
        #[schemars(range(min = 0.2, max = 1000.0))]
        period_s: f64,
        /// Lead over the crest at O at t = 0, deg.
        #[serde(default)]
        phase_deg: f64,
    },
    /// Fully developed sea of Pierson & Moskowitz (1964).
    PiersonMoskowitz {
        /// Wind speed at 19.5 m, m/s.
        #[schemars(range(max = 80.0), extend("exclusiveMinimum" = 0.0))]
        wind_19m5_m_s: f64,
    },
    /// Two-parameter spectrum of Bretschneider (ITTC 1978).
    Bretschneider {
        /// Significant wave height, m.
        #[schemars(range(min = 0.0, max = 30.0))]
        hs_m: f64,
        /// Peak period, s.
        #[schemars(range(min = 1.0, max = 40.0))]
        tp_s: f64,
    },
    /// JONSWAP (Hasselmann et al. 1973), scaled to the stated height.
    Jonswap {
        /// Significant wave height, m.
        #[schemars(range(min = 0.0, max = 30.0))]
        hs_m: f64,
        /// Peak period, s.
        #[schemars(range(min = 1.0, max = 40.0))]
        tp_s: f64,
        /// Peak enhancement.
        #[serde(default = "gamma")]
        #[schemars(range(min = 1.0, max = 20.0))]
        gamma: f64,
    },
    /// Two peaks of Ochi & Hubble (1976).
    OchiHubble {
        /// Significant heights of both parts, m.
        #[schemars(inner(range(min = 0.0, max = 30.0)))]
        hs_m: [f64; 2],
        /// Peak periods of both parts, s.
        #[schemars(inner(range(min = 1.0, max = 40.0)))]
        tp_s: [f64; 2],
        /// Shape parameters lambda of both parts.
        #[schemars(inner(range(min = 0.1, max = 20.0)))]
        lambda: [f64; 2],
    },
    /// A measured spectrum: CSV with the header `omega_rad_s,s_m2_s`.
    Measured {
        /// Path relative to the sea file.
        #[schemars(length(min = 1))]
        file: String,
    },
}

/// Directional spreading.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum SpreadingSpec {
    /// cos^2s of half the angle (Longuet-Higgins et al. 1963).
    Cos2s {
        /// Exponent s.
        #[schemars(range(min = 0.0, max = 500.0))]
        s: f64,
    },
}

/// How component amplitudes are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Amplitudes {
    /// Rayleigh amplitudes: the scatter between records is right.
    #[default]
    Random,
    /// sqrt(2 S d omega): records scatter too little.
    Fixed,
}

/// Wind.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WindSpec {
    /// Mean speed at 10 m, m/s.
    #[schemars(range(min = 0.0, max = 80.0))]
    pub speed_10m_m_s: f64,
    /// Where it blows to, relative to the scenario's wave heading, clockwise, deg.
    #[serde(default)]
    pub offset_deg: f64,
    /// Gusts after the NPD spectrum (ISO 19901-1) on or off.
    #[serde(default)]
    pub gusts: bool,
}

fn components() -> usize {
    200
}

fn gamma() -> f64 {
    3.3
}
