//! The scatter file, field by field (`ridewright.scatter/1`): how often an area has which sea, and
//! how the craft is sailed there.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::sea::{Amplitudes, SeaSpec, SpectrumSpec, SpreadingSpec, WaveSystemSpec};

/// A scatter diagram: occurrences of seas by significant height and period.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScatterSpec {
    /// Always `ridewright.scatter/1`.
    #[schemars(length(min = 1))]
    pub format: String,
    /// Name printed on every table.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Why these numbers; "invented" for demonstration areas.
    #[serde(default)]
    pub note: String,
    /// Where the numbers come from: hindcast, buoy, years; "invented".
    #[schemars(length(min = 1))]
    pub source: String,
    /// Which period the columns are of.
    #[serde(default)]
    pub period: PeriodSpec,
    /// Edges of the classes of period, ascending, one more than columns, s.
    #[schemars(length(min = 2), inner(range(min = 1.0, max = 40.0)))]
    pub period_edges_s: Vec<f64>,
    /// Edges of the classes of significant height, ascending, one more than rows, m.
    #[schemars(length(min = 2), inner(range(min = 0.0, max = 30.0)))]
    pub hs_edges_m: Vec<f64>,
    /// How often each class occurs: one row a class of height, the lowest first; one number a class of
    /// period. Counts, per cent or shares: only their ratios matter.
    #[schemars(
        length(min = 1),
        inner(length(min = 1), inner(range(min = 0.0, max = 1e9)))
    )]
    pub occurrences: Vec<Vec<f64>>,
    /// Form of all spectra.
    #[serde(default)]
    pub form: FormSpec,
    /// Directional spreading of all seas; long-crested when absent.
    #[serde(default)]
    pub spreading: Option<SpreadingSpec>,
    /// Share of time of each wave heading, linear between those given around the circle; all headings
    /// alike when empty.
    #[serde(default)]
    pub headings: Vec<HeadingShareSpec>,
    /// Share of time of each speed; all speeds of the scenario alike when empty.
    #[serde(default)]
    pub speeds: Vec<SpeedShareSpec>,
}

/// Which period the columns are of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum PeriodSpec {
    /// Period of the spectrum's peak.
    #[default]
    Peak,
    /// Mean period between up-crossings, 2 pi sqrt(m0/m2).
    ZeroCrossing,
}

/// Form of a spectrum whose height and period the class gives.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum FormSpec {
    /// Two-parameter spectrum of Bretschneider (ITTC 1978).
    #[default]
    Bretschneider,
    /// JONSWAP (Hasselmann et al. 1973), scaled to the class's height.
    Jonswap {
        /// Peak enhancement.
        #[schemars(range(min = 1.0, max = 20.0))]
        gamma: f64,
    },
}

/// Share of time of a wave heading.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HeadingShareSpec {
    /// Wave heading mu (where waves travel to, 180 head seas), deg.
    #[schemars(range(min = 0.0, max = 360.0))]
    pub heading_deg: f64,
    /// Share of time; only ratios matter.
    #[schemars(range(min = 0.0, max = 1e9))]
    pub share: f64,
}

/// Share of time of a speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SpeedShareSpec {
    /// Speed, kn.
    #[schemars(range(min = 0.0, max = 80.0))]
    pub speed_kn: f64,
    /// Share of time; only ratios matter.
    #[schemars(range(min = 0.0, max = 1e9))]
    pub share: f64,
}

impl ScatterSpec {
    /// Sum of all occurrences.
    pub fn total(&self) -> f64 {
        self.occurrences.iter().flatten().sum()
    }

    /// Middle of a class of period, s.
    pub fn period_s(&self, column: usize) -> f64 {
        0.5 * (self.period_edges_s[column] + self.period_edges_s[column + 1])
    }

    /// Middle of a class of height, m.
    pub fn hs_m(&self, row: usize) -> f64 {
        0.5 * (self.hs_edges_m[row] + self.hs_edges_m[row + 1])
    }

    /// Greatest height of the diagram, m.
    pub fn highest_m(&self) -> f64 {
        self.hs_edges_m.last().copied().unwrap_or(0.0)
    }

    /// Share of all time in a class of period.
    pub fn period_share(&self, column: usize) -> f64 {
        self.occurrences.iter().map(|r| r[column]).sum::<f64>() / self.total()
    }

    /// The sea of a height and a peak period.
    pub fn sea(&self, hs_m: f64, tp_s: f64) -> SeaSpec {
        let spectrum = match self.form {
            FormSpec::Bretschneider => SpectrumSpec::Bretschneider { hs_m, tp_s },
            FormSpec::Jonswap { gamma } => SpectrumSpec::Jonswap { hs_m, tp_s, gamma },
        };
        SeaSpec {
            format: "ridewright.sea/1".to_owned(),
            name: format!("{}, Hs {hs_m:.2} m, Tp {tp_s:.1} s", self.name),
            note: self.note.clone(),
            systems: vec![WaveSystemSpec {
                spectrum,
                spreading: self.spreading,
                offset_deg: 0.0,
            }],
            components: 200,
            amplitudes: Amplitudes::Random,
            wind: None,
            current_m_s: 0.0,
            current_offset_deg: 0.0,
        }
    }
}
