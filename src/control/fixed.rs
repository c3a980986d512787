//! Surfaces held at their trim angles: the baseline of every comparison.

use super::linear::LinearLaw;
use super::signal::{FinCommand, Measurement, SetPoint, Setup};
use super::{Controller, ControllerInfo};
use crate::error::Result;

/// Holds every surface (rudders excepted: they belong to the course keeper) at its trim angle.
#[derive(Clone, Debug, Default)]
pub struct Fixed {
    name: String,
    period_s: f64,
    channels: Vec<String>,
    trim: Vec<(usize, f64)>,
}

impl Fixed {
    /// The law under a name.
    pub fn new(name: &str) -> Self {
        Fixed {
            name: name.to_owned(),
            ..Fixed::default()
        }
    }
}

impl Controller for Fixed {
    fn info(&self) -> ControllerInfo {
        ControllerInfo {
            name: self.name.clone(),
            kind: "fixed",
            sample_period_s: self.period_s,
            signals: &[],
            channels: self.channels.clone(),
        }
    }

    fn reset(&mut self, setup: &Setup) -> Result<()> {
        setup.check()?;
        self.period_s = setup.sample_period_s;
        let lifting = setup
            .surfaces
            .iter()
            .enumerate()
            .filter(|(_, s)| super::allocate::lifts(s));
        self.trim = lifting.clone().map(|(i, s)| (i, s.trim_rad)).collect();
        self.channels = lifting.map(|(_, s)| s.name.clone()).collect();
        Ok(())
    }

    fn update(&mut self, _t_s: f64, _y: &Measurement, u: &mut FinCommand) -> Result<()> {
        for &(i, angle) in &self.trim {
            u.fin_rad[i] = angle;
        }
        Ok(())
    }

    fn linear(&self) -> Result<LinearLaw> {
        if self.period_s > 0.0 {
            Ok(LinearLaw::none(self.period_s))
        } else {
            Err(super::not_reset(&self.name))
        }
    }

    /// The baseline keeps its trim whatever is asked.
    fn set_point(&mut self, _s: SetPoint) -> Result<()> {
        Ok(())
    }

    /// The baseline has nothing to adapt.
    fn set_displacement(&mut self, _displacement_kg: f64) -> Result<()> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn holds_trim_whatever_the_craft_does_and_leaves_rudders_alone() {
        let setup = crate::control::testcraft::setup();
        let mut law = Fixed::new("fixed");
        law.reset(&setup).unwrap();
        let mut y = Measurement::at_trim(&setup);
        let mut u = FinCommand::at_trim(&setup);
        let rudder = setup.channel("rudder_p").unwrap();
        u.fin_rad[rudder] = 0.123;
        y.theta_rad = 0.1;
        law.update(0.0, &y, &mut u).unwrap();
        for (i, s) in setup.surfaces.iter().enumerate() {
            let want = if i == rudder { 0.123 } else { s.trim_rad };
            assert!((u.fin_rad[i] - want).abs() < f64::EPSILON);
        }
        assert_eq!(law.info().channels.len(), 4);
    }
}
