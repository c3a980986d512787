//! A craft that goes through a range of speeds: one memory, wave forces of the moment's speed.
//!
//! # Equation
//! ```text
//! force = (1 - s) F_k + s F_k+1,   s = (u - U_k) / (U_k+1 - U_k)      first-order wave forces
//! memory of one speed U_m;  everything else as in the plant: it follows the true speed u
//! ```
//! The plant's own equations follow the speed of the moment in everything but two tables that belong to
//! its nominal speed: the memory of radiated waves and the wave forces. Wave forces are read from several
//! speeds and blended; the memory is that of one speed, so that its states keep their meaning all the way
//! (models fitted at different speeds have states of different number and meaning, and no rule carries
//! one's past over to the other's).
//!
//! # Symbols
//! u speed along the keel (m/s); U_k speeds of the wave tables, U_m speed of the memory.
//!
//! # Valid when
//! Speed changes little within the time that radiated waves are remembered. What the one memory costs is
//! stated by whoever uses this: poles with each speed's own memory against those with the common one.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `a_ramp_craft_at_its_own_speed_is_the_plant`, `between_tables_forces_are_blended`
//! (tests/schedule.rs)

use std::sync::Arc;

use num_complex::Complex64;

use super::craft::Craft;
use crate::dynamics::actuator::Actuator;
use crate::dynamics::damage::Damage;
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::{Plant, PlantInput, WaveChannel};
use crate::dynamics::state::StateLayout;
use crate::error::{Error, Result};
use crate::spec::scenario::CourseSpec;

/// Channels of a plant that belong to its nominal speed: six forces and their slopes by heading.
const FORCES: usize = 12;
/// Most wave channels of one plant: their blend lives on the stack.
const MOST_CHANNELS: usize = 512;

/// The craft over a range of speeds.
#[derive(Clone, Debug)]
pub struct RampCraft {
    base: Plant,
    /// Plants whose wave forces are read, ascending in speed.
    tables: Vec<Plant>,
    channels: Vec<WaveChannel>,
}

/// `plant` with the memory of another speed.
#[must_use]
pub fn with_memory_of(plant: &Plant, other: &Plant) -> Plant {
    let mut out = plant.clone();
    out.memory = other.memory.clone();
    out.finish()
}

impl RampCraft {
    /// For speeds within `table_speeds_m_s` (ascending), memory of `memory_speed_m_s`.
    ///
    /// # Errors
    /// No speeds, speeds that do not ascend, a plant that cannot be built.
    pub fn new(
        model: &CraftModel,
        table_speeds_m_s: &[f64],
        memory_speed_m_s: f64,
        course: &CourseSpec,
    ) -> Result<Self> {
        let base = model.plant(memory_speed_m_s, course)?;
        let tables = table_speeds_m_s
            .iter()
            .map(|u| model.plant(*u, course))
            .collect::<Result<Vec<_>>>()?;
        RampCraft::between(base, tables)
    }

    /// Of plants that are there already: memory and layout of `base`, wave forces of `tables`.
    ///
    /// # Errors
    /// No tables, speeds that do not ascend, more wave channels than a blend holds.
    pub fn between(base: Plant, tables: Vec<Plant>) -> Result<Self> {
        let ascend = tables.windows(2).all(|w| w[1].speed_m_s > w[0].speed_m_s);
        if tables.is_empty() || !ascend {
            return Err(Error::new("speeds of a ramp must be given and ascend"));
        }
        if base.channels().len() > MOST_CHANNELS {
            return Err(Error::new(format!(
                "the craft has {} wave channels, at most {MOST_CHANNELS} work in a ramp",
                base.channels().len()
            )));
        }
        let own = base.channels();
        let mut channels = Vec::new();
        for _ in &tables {
            channels.extend_from_slice(&own[..FORCES]);
        }
        channels.extend_from_slice(&own[FORCES..]);
        Ok(RampCraft {
            base,
            tables,
            channels,
        })
    }

    /// The plant with the common memory, at the memory's speed.
    pub fn base(&self) -> &Plant {
        &self.base
    }

    /// Table below `u` and the share of the one above.
    fn place(&self, u: f64) -> (usize, f64) {
        let t = &self.tables;
        if t.len() < 2 {
            return (0, 0.0);
        }
        let above = t.partition_point(|p| p.speed_m_s <= u);
        let k = above.clamp(1, t.len() - 1) - 1;
        let (low, high) = (t[k].speed_m_s, t[k + 1].speed_m_s);
        (k, ((u - low) / (high - low)).clamp(0.0, 1.0))
    }

    /// The plant's own channels out of those of all tables.
    fn blend<'a>(&self, x: &[f64], waves: &[f64], out: &'a mut [f64; MOST_CHANNELS]) -> &'a [f64] {
        let n = self.base.channels().len();
        let (k, s) = self.place(x[StateLayout::NU.start]);
        let next = (k + 1).min(self.tables.len() - 1);
        let (low, high) = (&waves[FORCES * k..], &waves[FORCES * next..]);
        for (i, w) in out[..FORCES].iter_mut().enumerate() {
            *w = low[i] + s * (high[i] - low[i]);
        }
        let rest = FORCES * self.tables.len();
        out[FORCES..n].copy_from_slice(&waves[rest..rest + n - FORCES]);
        &out[..n]
    }
}

impl Craft for RampCraft {
    fn speed_m_s(&self) -> f64 {
        self.base.speed_m_s
    }

    fn g_m_s2(&self) -> f64 {
        self.base.g_m_s2
    }

    fn layout(&self) -> &StateLayout {
        self.base.layout()
    }

    fn surface_names(&self) -> Vec<String> {
        Craft::surface_names(&self.base)
    }

    fn actuators(&self) -> &[Actuator] {
        &self.base.actuators
    }

    fn shaft_names(&self) -> Vec<String> {
        Craft::shaft_names(&self.base)
    }

    fn channels(&self) -> &[WaveChannel] {
        &self.channels
    }

    fn channel_amplitudes(&self, omega_rad_s: f64, mu_rad: f64, out: &mut [Complex64]) {
        let n = self.base.channels().len();
        let mut own = vec![Complex64::ZERO; n];
        for (plant, part) in self.tables.iter().zip(out.chunks_mut(FORCES)) {
            plant.channel_amplitudes(omega_rad_s, mu_rad, &mut own);
            part.copy_from_slice(&own[..FORCES]);
        }
        self.base.channel_amplitudes(omega_rad_s, mu_rad, &mut own);
        out[FORCES * self.tables.len()..].copy_from_slice(&own[FORCES..]);
    }

    fn derivative(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        let mut waves = [0.0; MOST_CHANNELS];
        let waves = self.blend(x, input.waves, &mut waves);
        self.base.derivative(x, &PlantInput { waves, ..*input }, dx);
    }

    fn command_rows(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        self.base.command_rows(x, input, dx);
    }

    fn surface_angle_rad(&self, surface: usize, x: &[f64], hold_rad: f64) -> f64 {
        self.base.surface_angle_rad(surface, x, hold_rad)
    }

    fn damaged(&self, damage: &Damage) -> Option<Arc<dyn Craft>> {
        // tables are read for the hull's wave forces only, which lost surfaces and slack servos leave alone
        Some(Arc::new(RampCraft {
            base: self.base.damaged(damage),
            ..self.clone()
        }))
    }

    fn trailed_rad(
        &self,
        surface: usize,
        x: &[f64],
        input: &PlantInput,
        angle_rad: f64,
        dt_s: f64,
    ) -> f64 {
        let mut waves = [0.0; MOST_CHANNELS];
        let waves = self.blend(x, input.waves, &mut waves);
        let input = PlantInput { waves, ..*input };
        self.base.trailed_rad(surface, x, &input, angle_rad, dt_s)
    }

    fn lift_n(&self, x: &[f64], input: &PlantInput, out: &mut [f64]) {
        let mut waves = [0.0; MOST_CHANNELS];
        let waves = self.blend(x, input.waves, &mut waves);
        self.base.lift_n(x, &PlantInput { waves, ..*input }, out);
    }
}
