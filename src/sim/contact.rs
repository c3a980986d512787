//! Cross-structure contacts: when, where, how deep.
//!
//! # Equation
//! `depth = z_O + (R r)_z + f zeta(x, y)` of each underside point, with f the factor by which the
//! craft's own waves raise the relative motion (1: undisturbed wave). A contact lasts while depth is positive.
//!
//! # Checked by
//! `one_event_per_dip_with_its_depth`.

use nalgebra::Vector3;

use super::record::Contact;

/// A point of the underside.
#[derive(Clone, Debug, PartialEq)]
pub struct UndersidePoint {
    /// Name.
    pub name: String,
    /// Place from O, m.
    pub r_m: Vector3<f64>,
}

/// Follows all underside points of a run.
#[derive(Clone, Debug)]
pub(crate) struct ContactWatch {
    open: Vec<Option<usize>>,
    pub(crate) events: Vec<Contact>,
}

impl ContactWatch {
    pub(crate) fn new(points: usize) -> Self {
        ContactWatch {
            open: vec![None; points],
            events: Vec::with_capacity(64),
        }
    }

    /// Tells the depth of `point` at `t_s`.
    pub(crate) fn see(&mut self, point: usize, depth_m: f64, t_s: f64, in_run_in: bool) {
        match (self.open[point], depth_m > 0.0) {
            (None, true) => {
                self.open[point] = Some(self.events.len());
                self.events.push(Contact {
                    point,
                    begin_s: t_s,
                    duration_s: 0.0,
                    depth_m,
                    in_run_in,
                });
            }
            (Some(i), true) => {
                let e = &mut self.events[i];
                e.depth_m = e.depth_m.max(depth_m);
                e.duration_s = t_s - e.begin_s;
            }
            (Some(i), false) => {
                self.events[i].duration_s = t_s - self.events[i].begin_s;
                self.open[point] = None;
            }
            (None, false) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_event_per_dip_with_its_depth() {
        let mut w = ContactWatch::new(2);
        for k in 0..200 {
            let t = f64::from(k) * 0.1;
            // two crests above -0.5: near t = pi/2 and 5 pi/2
            w.see(1, t.sin() - 0.5, t, t < 3.0);
            w.see(0, -1.0, t, false);
        }
        // sin passes 0.5 at 0.52, 2.62, 6.81, 8.90, 13.09, 15.18, 19.37
        assert_eq!(w.events.len(), 4);
        let first = w.events[0];
        assert_eq!((first.point, first.in_run_in), (1, true));
        assert!((first.depth_m - 0.5).abs() < 2e-3); // crest seen every 0.1 s
        assert!((first.begin_s - 0.6).abs() < 1e-9 && (first.duration_s - 2.1).abs() < 1e-9);
        assert!(!w.events[1].in_run_in);
    }
}
