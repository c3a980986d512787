//! Platforming and contouring: what the craft takes for its height and its level.
//!
//! # Equation
//! ```text
//! platforming   z, z' of the heave estimator with its own corner        pitch to hold: trim
//! contouring    z, z' of a second one with the contouring corner wc     pitch to hold: trim + LP2(slope)
//! slope = -((h_f - h_a) + (R r_f - R r_a)_z) / (x_f - x_a)              rising towards the bow positive
//! switched      contouring from RMS(z_h - trim) > above, back from RMS < below, no sooner than dwell
//!               after the last change; blended linearly over `blend_s`
//! ```
//! Below its corner the estimator gives height above the water, above it true heave
//! ([`crate::control::estimate`]): with the higher corner the same feedback keeps the craft at its height
//! above long waves and leaves the short ones to inertia.
//!
//! # Symbols
//! h_f, h_a: heights of the foremost and the aftermost sensor; z_h: mean of the heights, attitude removed;
//! LP2: second-order low-pass of corner wc, damping ratio 0.7.
//!
//! # Valid when
//! Waves longer than the distance of the two sensors. The RMS is that of the motion as it is: contouring
//! lowers it, so the lower threshold must lie below what contouring leaves.
//!
//! # Source
//! The distinction is common in the literature of hydrofoil and SWATH control (platforming and contouring
//! modes); the realisation by two corners of one observer is our own.
//!
//! # Checked by
//! `contouring_follows_long_waves_platforming_does_not`, `switching_has_hysteresis_and_dwell`,
//! `linear_form_is_the_law_itself` (tests/controllers/linear_form.rs)

use nalgebra::Vector3;

use crate::control::estimate::{HeaveEstimate, HeaveEstimator, HeaveLines, lever};
use crate::control::filter::Section;
use crate::control::linear::{Diagram, LawSignal, Line};
use crate::control::signal::{Measurement, Setup, vertical};
use crate::spec::controller::{FollowingMode, FollowingSpec};

/// Least distance of two height sensors that gives a slope, m.
const LEAST_BASE_M: f64 = 3.0;
/// Damping ratio of the low-pass on the slope.
const SLOPE_DAMPING: f64 = 0.7;

/// Two height sensors apart.
#[derive(Clone, Copy, Debug)]
struct Base {
    fore: usize,
    aft: usize,
    fore_m: Vector3<f64>,
    aft_m: Vector3<f64>,
}

/// What the law shall take for heave and level.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Followed {
    /// Heave to act on.
    pub(super) heave: HeaveEstimate,
    /// Heave of the platforming estimator, m.
    pub(super) level_heave_m: f64,
    /// Pitch to hold about trim, rad.
    pub(super) pitch_rad: f64,
}

/// The same as lines.
pub(super) struct FollowedLines {
    pub(super) heave: HeaveLines,
    pub(super) level_heave: Option<Line>,
    pub(super) pitch: Line,
}

/// Both estimators and the choice between them.
#[derive(Clone, Debug)]
pub(super) struct Following {
    spec: FollowingSpec,
    level: HeaveEstimator,
    water: HeaveEstimator,
    base: Option<Base>,
    slope_lp: Section,
    trim_heave_m: f64,
    trim_pitch_rad: f64,
    period_s: f64,
    mean_square_m2: f64,
    contouring: bool,
    held_s: f64,
    /// 0 platforming, 1 contouring.
    weight: f64,
    out: HeaveEstimate,
}

impl Following {
    pub(super) fn new(spec: &FollowingSpec, level_corner_rad_s: f64) -> Self {
        Following {
            spec: *spec,
            level: HeaveEstimator::new(level_corner_rad_s),
            water: HeaveEstimator::new(spec.contouring_corner_rad_s),
            base: None,
            slope_lp: Section::default(),
            trim_heave_m: 0.0,
            trim_pitch_rad: 0.0,
            period_s: 0.0,
            mean_square_m2: 0.0,
            contouring: false,
            held_s: 0.0,
            weight: 0.0,
            out: HeaveEstimate::default(),
        }
    }

    pub(super) fn reset(&mut self, setup: &Setup) {
        self.level.reset(setup);
        self.water.reset(setup);
        self.base = base(&setup.height_sensors_m);
        self.period_s = setup.sample_period_s;
        let corner = self.spec.contouring_corner_rad_s;
        self.slope_lp = Section::low_pass_2(corner, SLOPE_DAMPING, self.period_s);
        self.trim_heave_m = setup.trim_heave_m;
        self.trim_pitch_rad = setup.trim_pitch_rad;
        self.mean_square_m2 = 0.0;
        self.contouring = self.spec.mode == FollowingMode::Contouring;
        self.weight = f64::from(self.contouring);
        self.held_s = 0.0;
        self.out = self.level.estimate();
    }

    /// Starts over from these readings.
    pub(super) fn restart(&mut self, y: &Measurement) {
        self.level.restart(y);
        self.water.restart(y);
        let slope = self.slope_rad(y);
        self.slope_lp.settle(slope);
    }

    pub(super) fn step(&mut self, y: &Measurement) -> Followed {
        let level = self.level.step(y);
        self.out = level;
        if self.spec.mode == FollowingMode::Platforming {
            return Followed {
                heave: level,
                level_heave_m: level.heave_m,
                pitch_rad: 0.0,
            };
        }
        if self.spec.mode == FollowingMode::Switched {
            self.choose(level.height_heave_m - self.trim_heave_m);
        }
        let water = self.water.step(y);
        let slope = self.slope_rad(y);
        let slope = self.slope_lp.step(slope);
        let w = self.weight;
        let mix = |a: f64, b: f64| (1.0 - w) * a + w * b;
        self.out = HeaveEstimate {
            heave_m: mix(level.heave_m, water.heave_m),
            heave_rate_m_s: mix(level.heave_rate_m_s, water.heave_rate_m_s),
            unit_acceleration_m_s2: mix(level.unit_acceleration_m_s2, water.unit_acceleration_m_s2),
            height_heave_m: level.height_heave_m,
        };
        Followed {
            heave: self.out,
            level_heave_m: level.heave_m,
            pitch_rad: w * self.spec.slope_frac * slope,
        }
    }

    /// Contouring or not by the relative motion.
    fn choose(&mut self, relative_m: f64) {
        let (s, dt) = (&self.spec, self.period_s);
        let part = (dt / s.average_s).min(1.0);
        self.mean_square_m2 += part * (relative_m * relative_m - self.mean_square_m2);
        self.held_s += dt;
        let limit = if self.contouring {
            s.platform_below_m
        } else {
            s.contour_above_m
        };
        let above = self.mean_square_m2 > limit * limit;
        if above != self.contouring && self.held_s >= s.dwell_s {
            self.contouring = above;
            self.held_s = 0.0;
        }
        let goal = f64::from(self.contouring);
        let most = dt / s.blend_s;
        self.weight += (goal - self.weight).clamp(-most, most);
    }

    /// Slope of the water along the craft, rising towards the bow positive, rad; zero when it is not known.
    fn slope_rad(&self, y: &Measurement) -> f64 {
        let Some(b) = &self.base else { return 0.0 };
        if !(y.valid.attitude && y.valid.height[b.fore] && y.valid.height[b.aft]) {
            return 0.0;
        }
        let apart = vertical(&(b.fore_m - b.aft_m), y.phi_rad, y.theta_rad);
        -(y.height_m[b.fore] - y.height_m[b.aft] + apart) / (b.fore_m.x - b.aft_m.x)
    }

    /// The heave acted on.
    pub(super) fn heave(&self) -> HeaveEstimate {
        self.out
    }

    /// RMS of the relative motion, m, and the share of contouring.
    pub(super) fn state(&self) -> (f64, f64) {
        (self.mean_square_m2.sqrt(), self.weight)
    }

    /// As lines, in the state it is in.
    pub(super) fn draw(&self, d: &mut Diagram, level_wanted: bool) -> FollowedLines {
        let w = self.weight;
        let level = (w < 1.0 || level_wanted).then(|| self.level.draw(d));
        let level_heave = level.as_ref().map(|l| l.heave.clone());
        let heave = match level {
            Some(l) if w <= 0.0 => l,
            None => self.water.draw(d),
            Some(l) => {
                let c = self.water.draw(d);
                HeaveLines {
                    heave: l.heave * (1.0 - w) + c.heave * w,
                    heave_rate: l.heave_rate * (1.0 - w) + c.heave_rate * w,
                    unit_acceleration: l.unit_acceleration * (1.0 - w) + c.unit_acceleration * w,
                }
            }
        };
        FollowedLines {
            heave,
            level_heave,
            pitch: self.draw_slope(d) * (w * self.spec.slope_frac),
        }
    }

    fn draw_slope(&self, d: &mut Diagram) -> Line {
        let factor = self.weight * self.spec.slope_frac;
        let Some(b) = self.base.as_ref().filter(|_| factor > 0.0) else {
            return Line::zero();
        };
        let apart = d.input(LawSignal::Height(b.fore)) - d.input(LawSignal::Height(b.aft));
        let turned = lever(&(b.fore_m - b.aft_m), self.trim_pitch_rad, d);
        let slope = (apart + turned) * (-1.0 / (b.fore_m.x - b.aft_m.x));
        d.section(&self.slope_lp, &slope)
    }
}

fn base(sensors_m: &[Vector3<f64>]) -> Option<Base> {
    let x = |i: &usize| sensors_m[*i].x;
    let fore = (0..sensors_m.len()).max_by(|a, b| x(a).total_cmp(&x(b)))?;
    let aft = (0..sensors_m.len()).min_by(|a, b| x(a).total_cmp(&x(b)))?;
    (x(&fore) - x(&aft) >= LEAST_BASE_M).then(|| Base {
        fore,
        aft,
        fore_m: sensors_m[fore],
        aft_m: sensors_m[aft],
    })
}
