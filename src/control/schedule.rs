//! Speed in a law: scaling of gains, fade to neutral.
//!
//! # Equation
//! ```text
//! scale = clamp((U_ref / U)^2, 1/max, max),  |d scale/dt| <= RATE scale
//! fade  = clamp((U - U_min) / (FADE U_min), 0, 1)
//! fin   = fade (trim + demand) + (1 - fade) 0
//! ```
//! Force goes with U^2, so equivalent angles go with 1/U^2. The scale is slow, so that a noisy or
//! jumping log does not shake the loop. Below the least speed the surfaces stand at neutral (zero
//! deflection), also astern; between U_min and (1 + FADE) U_min they fade.
//!
//! # Valid when
//! Speed through water of the craft as a whole; orbital velocity along x is not compensated.
//!
//! # Checked by
//! `scale_is_clamped_and_slow`, `power_is_that_of_the_scale`, `fades_to_neutral`

/// Greatest relative change of the scale, 1/s.
pub const RATE: f64 = 0.1;
/// Demands go with this power of U_ref / U.
const POWER: i32 = 2;
/// Width of the fade over the least speed.
pub const FADE: f64 = 0.25;

/// Time constant of [`SpeedSchedule::mean_m_s`], s: longer than the surging in waves.
const MEAN_S: f64 = 20.0;

/// Follows the measured speed.
#[derive(Clone, Copy, Debug, Default)]
pub struct SpeedSchedule {
    reference_m_s: f64,
    min_m_s: f64,
    max_scale: f64,
    period_s: f64,
    speed_m_s: f64,
    mean_m_s: f64,
    scale: f64,
}

impl SpeedSchedule {
    /// Gains hold at `reference_m_s`; neutral below `min_m_s`; scale within [1/max, max].
    pub fn new(reference_m_s: f64, min_m_s: f64, max_scale: f64) -> Self {
        SpeedSchedule {
            reference_m_s,
            min_m_s,
            max_scale: max_scale.max(1.0),
            ..SpeedSchedule::default()
        }
    }

    /// Starts at a speed with its own scale.
    pub fn reset(&mut self, speed_m_s: f64, period_s: f64) {
        self.period_s = period_s;
        self.speed_m_s = speed_m_s;
        self.mean_m_s = speed_m_s;
        self.scale = self.target();
    }

    /// One sample; an invalid reading keeps the last good speed.
    pub fn step(&mut self, speed_m_s: f64, valid: bool) {
        if valid && speed_m_s.is_finite() {
            self.speed_m_s = speed_m_s;
        }
        self.mean_m_s += (self.period_s / MEAN_S).min(1.0) * (self.speed_m_s - self.mean_m_s);
        let most = RATE * self.period_s * self.scale;
        self.scale += (self.target() - self.scale).clamp(-most, most);
    }

    /// The factor at the present speed, were it free and quick.
    fn free(&self) -> f64 {
        (self.reference_m_s / self.speed_m_s.max(1e-3)).powi(POWER)
    }

    fn target(&self) -> f64 {
        self.free().clamp(1.0 / self.max_scale, self.max_scale)
    }

    /// Power of the speed that the factor goes with about the present one; 0 where it is held at a limit.
    pub fn power(&self) -> f64 {
        let most = self.max_scale;
        if self.free() > 1.0 / most && self.free() < most {
            -f64::from(POWER)
        } else {
            0.0
        }
    }

    /// Factor of the gains.
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// 0 at and below the least speed, 1 when working.
    pub fn fade(&self) -> f64 {
        let width = FADE * self.min_m_s;
        if width > 0.0 {
            ((self.speed_m_s - self.min_m_s) / width).clamp(0.0, 1.0)
        } else {
            f64::from(self.speed_m_s > 0.0)
        }
    }

    /// The speed without its surging, m/s.
    pub fn mean_m_s(&self) -> f64 {
        self.mean_m_s
    }

    /// The speed used, m/s.
    pub fn speed_m_s(&self) -> f64 {
        self.speed_m_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scale_is_clamped_and_slow() {
        let mut s = SpeedSchedule::new(9.0, 2.0, 3.0);
        s.reset(9.0, 0.1);
        assert!((s.scale() - 1.0).abs() < 1e-15);
        s.step(4.5, true);
        assert!((s.scale() - 1.01).abs() < 1e-12); // 10 %/s over 0.1 s
        for _ in 0..1000 {
            s.step(4.5, true);
        }
        assert!((s.scale() - 3.0).abs() < 1e-12); // 4 is clamped
        for _ in 0..1000 {
            s.step(f64::NAN, true);
            s.step(0.0, false);
        }
        assert!((s.speed_m_s() - 4.5).abs() < 1e-15);
    }

    #[test]
    fn power_is_that_of_the_scale() {
        let mut s = SpeedSchedule::new(9.0, 2.0, 3.0);
        for u in [4.0, 7.0, 9.0, 20.0] {
            let scale = |s: &mut SpeedSchedule, u: f64| {
                s.reset(u, 0.1);
                s.scale()
            };
            let (up, down) = (scale(&mut s, 1.001 * u), scale(&mut s, 0.999 * u));
            s.reset(u, 0.1);
            let found = (up / down).ln() / (1.001f64 / 0.999).ln();
            assert!((s.power() - found).abs() < 1e-9, "{u} m/s: {found}");
        }
    }

    #[test]
    fn fades_to_neutral() {
        let mut s = SpeedSchedule::new(9.0, 2.0, 3.0);
        for (u, want) in [(-3.0, 0.0), (2.0, 0.0), (2.25, 0.5), (2.5, 1.0), (9.0, 1.0)] {
            s.reset(u, 0.1);
            assert!((s.fade() - want).abs() < 1e-12, "{u}");
        }
    }
}
