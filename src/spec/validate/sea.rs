//! Checks of a sea file.

use std::path::Path;

use super::{number, paths};
use crate::error::Problem;
use crate::spec::sea::{SeaSpec, SpectrumSpec};
use crate::units::G_M_S2;

/// Steepest wave of constant form in deep water, height over length (Michell 1893, Phil. Mag. 36).
const STEEPEST: f64 = 0.142;

/// Steepest irregular sea that is let pass: significant height over the length of the peak's wave.
/// Fully developed seas have about 1/25; twice the steepest observed ones (about 1/15) is a slip.
const STEEPEST_SEA: f64 = 0.1;

pub(crate) fn sea(spec: &SeaSpec, folder: Option<&Path>) -> Vec<Problem> {
    let mut problems = Vec::new();
    for (i, system) in spec.systems.iter().enumerate() {
        let at = format!("systems[{i}].spectrum");
        match &system.spectrum {
            SpectrumSpec::Regular {
                amplitude_m,
                period_s,
                ..
            } => {
                let s = steepness(2.0 * amplitude_m, *period_s);
                if s > STEEPEST && *period_s >= 0.2 {
                    problems.push(
                        Problem::at(
                            format!("{at}.regular.amplitude_m"),
                            format!(
                                "is {} m at {} s: height over length is {}, waves break at {STEEPEST}",
                                number(*amplitude_m),
                                number(*period_s),
                                number((s * 1e3).round() / 1e3)
                            ),
                        )
                        .hint("the amplitude is half the height"),
                    );
                }
            }
            SpectrumSpec::Bretschneider { hs_m, tp_s } => {
                steep_sea(
                    &mut problems,
                    format!("{at}.bretschneider.hs_m"),
                    *hs_m,
                    *tp_s,
                );
            }
            SpectrumSpec::Jonswap { hs_m, tp_s, .. } => {
                steep_sea(&mut problems, format!("{at}.jonswap.hs_m"), *hs_m, *tp_s);
            }
            SpectrumSpec::OchiHubble { hs_m, tp_s, .. } => {
                for k in 0..2 {
                    let at = format!("{at}.ochi_hubble.hs_m[{k}]");
                    steep_sea(&mut problems, at, hs_m[k], tp_s[k]);
                }
            }
            SpectrumSpec::PiersonMoskowitz { .. } => {}
            SpectrumSpec::Measured { file } => {
                paths::must_exist(&mut problems, format!("{at}.measured.file"), file, folder);
            }
        }
    }
    problems
}

/// Height over deep-water wave length.
fn steepness(height_m: f64, period_s: f64) -> f64 {
    height_m * std::f64::consts::TAU / (G_M_S2 * period_s * period_s)
}

fn steep_sea(problems: &mut Vec<Problem>, at: String, hs_m: f64, tp_s: f64) {
    let s = steepness(hs_m, tp_s);
    // a period below a second is told as such, and needs no second complaint
    if s > STEEPEST_SEA && tp_s >= 1.0 {
        let longest = (hs_m * std::f64::consts::TAU / (G_M_S2 * STEEPEST_SEA)).sqrt();
        problems.push(
            Problem::at(
                at,
                format!(
                    "is {} m at a peak period of {} s: steepness {}, must be at most {STEEPEST_SEA}",
                    number(hs_m),
                    number(tp_s),
                    number((s * 1e3).round() / 1e3)
                ),
            )
            .hint(format!(
                "a sea of this height has a peak period of at least {} s",
                number((longest * 10.0).ceil() / 10.0)
            )),
        );
    }
}
