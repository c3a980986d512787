//! Motion control of small-waterplane-area twin-hull craft, from a craft file to a judged ride.
//!
//! The rooms stand on floors; a room uses rooms on lower floors only (see `DEVELOPERS.md`):
//!
//! | floor | rooms |
//! |---|---|
//! | ground | [`frames`] axes and signs, [`units`], [`error`], [`caution`] what every result carries, [`math`] |
//! | paper | [`spec`]: what the files say |
//! | craft and sea | [`geometry`], [`sea`] |
//! | water forces | [`hydro`] |
//! | motion | [`dynamics`] |
//! | linear model | [`linear`] |
//! | control | [`control`] laws that see measurements, [`design`] gains from models |
//! | simulation | [`sim`]: one case |
//! | judgement | [`metrics`] |
//! | loop | [`closed_loop`]: laws and craft in one circle: spectra, margins, bounds |
//! | campaign | [`campaign`]: all laws, speeds, headings and seeds of a scenario |
//! | tuner | [`tuning`]: gains by search, confirmed by simulation |
//! | faces | [`report`]: pictures of results |
//! | door | [`cli`]: the only place that prints |
//!
//! Axes, origins and signs are stated once, in [`frames`].
//!
//! # Example
//! From a craft file to the model of its motions. The water-force tables are the costly part; two
//! lists in the switches keep them short here, as a scenario can.
//!
//! ```
//! use ridewright::dynamics::model::CraftModel;
//! use ridewright::spec::load::load_craft;
//! use ridewright::spec::scenario::PhysicsSpec;
//!
//! # fn main() -> ridewright::error::Result<()> {
//! let craft = load_craft("scenarios/craft/coastal_survey.json")?;
//! let switches = PhysicsSpec {
//!     stations_x_m: Some(vec![-14.0, -7.0, 0.0, 7.0, 14.0]),
//!     frequencies_rad_s: Some(vec![0.2, 0.6, 1.0, 1.8, 3.0]),
//!     ..PhysicsSpec::default()
//! };
//! let model = CraftModel::build(&craft.spec, &switches, None)?;
//! let still = &model.craft.hydrostatics;
//! assert!((0.7..2.5).contains(&still.gm_t_m), "GM_T {} m", still.gm_t_m);
//! assert!(still.gm_l_m > still.gm_t_m);
//! # Ok(())
//! # }
//! ```

pub mod campaign;
pub mod caution;
pub mod cli;
pub mod closed_loop;
pub mod control;
pub mod design;
pub mod dynamics;
pub mod error;
pub mod frames;
pub mod geometry;
pub mod hydro;
pub mod linear;
pub mod math;
pub mod metrics;
pub mod report;
pub mod sea;
pub mod sim;
pub mod spec;
pub mod tuning;
pub mod units;
