//! Which columns a run records, and their order.

use super::case::Case;
use super::record::Record;
use super::truth::Truth;
use crate::control::signal::Trace;
use crate::dynamics::state::StateLayout;

/// Samples kept together before they go to the columns: a cache line of each column.
const TOGETHER: usize = 8;

/// Writes samples into the columns in the order in which they were added.
pub(crate) struct Writer {
    record: Record,
    /// The last samples, one after the other, not yet in the columns: a column is touched once for all of them.
    last: Vec<f64>,
    /// Numbers of `last` that are written.
    written: usize,
    samples: usize,
}

/// What a sample is made of.
pub(crate) struct Sample<'a> {
    pub(crate) truth: &'a Truth,
    pub(crate) x: &'a [f64],
    pub(crate) waves: &'a [f64],
    pub(crate) angle_rad: &'a [f64],
    pub(crate) command_rad: &'a [f64],
    pub(crate) lift_n: &'a [f64],
    pub(crate) trace: &'a Trace,
    /// Speed, course and rudder ordered, m/s and rad.
    pub(crate) ordered: [f64; 3],
}

impl Writer {
    /// Takes all memory; `trace` holds the law's own signals.
    pub(crate) fn new(case: &Case, trace: &Trace) -> Self {
        let t = &case.parts.timing;
        let samples = (t.steps / t.record_every + 1) as usize;
        let run_in = t.run_in_steps.div_ceil(t.record_every) as usize;
        let mut w = Writer {
            record: Record::new(t.record_every as f64 * t.step_s, run_in),
            last: Vec::new(),
            written: 0,
            samples,
        };
        w.name_craft();
        for p in &case.parts.points {
            w.name_point(&p.name);
        }
        for s in case.parts.craft.surface_names() {
            w.add(&s, "angle", "rad", "angle, lift up positive");
            w.add(&s, "rate", "rad/s", "rate");
            w.add(&s, "command", "rad", "command in force");
            w.add(&s, "lift", "N", "lift");
            w.add(&s, "depth", "m", "depth below the local water");
        }
        for s in case.parts.craft.shaft_names() {
            w.add(&s, "thrust", "N", "thrust");
        }
        if !case.parts.underside.is_empty() {
            w.add("underside", "clear", "m", "least height above the water");
        }
        if !case.parts.orders.is_empty() {
            w.add("order", "speed", "m/s", "speed ordered of the shafts");
            w.add(
                "order",
                "course",
                "rad",
                "course ordered, off the nominal one, to starboard",
            );
            w.add(
                "order",
                "rudder",
                "rad",
                "rudders held off trim, 0 when they keep the course",
            );
        }
        for (name, _) in &trace.entries {
            let unit = unit_of(name);
            w.record.add(format!("law.{name}"), unit, *name, samples);
        }
        w.record.contact_points = case
            .parts
            .underside
            .iter()
            .map(|p| p.name.clone())
            .collect();
        w.last = vec![0.0; TOGETHER * w.record.columns.len()];
        w
    }

    /// The record with all that was written.
    pub(crate) fn finish(mut self) -> Record {
        self.settle();
        self.record
    }

    /// Hands the last samples to the columns.
    fn settle(&mut self) {
        let width = self.record.columns.len();
        let samples = self.written / width.max(1);
        for (k, column) in self.record.columns.iter_mut().enumerate() {
            let data: [f64; TOGETHER] = std::array::from_fn(|i| self.last[i * width + k]);
            match samples {
                TOGETHER => column.data.extend_from_slice(&data), // a length known beforehand: no call
                _ => column.data.extend_from_slice(&data[..samples]),
            }
        }
        self.written = 0;
    }

    fn add(&mut self, subject: &str, quantity: &str, unit: &'static str, label: &str) {
        let (name, label) = if subject.is_empty() {
            (quantity.to_owned(), label.to_owned())
        } else {
            (
                format!("{subject}.{quantity}"),
                format!("{subject}: {label}"),
            )
        };
        self.record.add(name, unit, label, self.samples);
    }

    fn name_craft(&mut self) {
        for (quantity, unit, label) in [
            ("time", "s", "time from the start of the run"),
            ("wave", "m", "wave elevation above O, up positive"),
            ("surge", "m", "ahead of the nominal track"),
            ("sway", "m", "to starboard of the nominal track"),
            ("heave_up", "m", "rise of O, up positive"),
            ("roll", "rad", "roll, starboard down"),
            ("pitch", "rad", "pitch, bow up"),
            ("yaw", "rad", "yaw off the course, bow to starboard"),
            ("u", "m/s", "speed ahead"),
            ("v", "m/s", "speed to starboard"),
            ("w", "m/s", "speed down"),
            ("p", "rad/s", "roll rate"),
            ("q", "rad/s", "pitch rate"),
            ("r", "rad/s", "yaw rate"),
        ] {
            self.add("", quantity, unit, label);
        }
    }

    fn name_point(&mut self, name: &str) {
        for (quantity, unit, label) in [
            (
                "acc_up",
                "m/s2",
                "vertical acceleration, earth-fixed, up positive",
            ),
            (
                "felt_fwd",
                "m/s2",
                "felt acceleration forward, gravity's share included",
            ),
            (
                "felt_stbd",
                "m/s2",
                "felt acceleration to starboard, gravity's share included",
            ),
            (
                "felt_up",
                "m/s2",
                "felt acceleration along the deck's normal less 1 g, up positive",
            ),
            ("rise", "m", "rise, up positive"),
            ("clear", "m", "height above the local water"),
        ] {
            self.add(name, quantity, unit, label);
        }
    }

    fn put(&mut self, value: f64) {
        self.last[self.written] = value;
        self.written += 1;
    }

    /// Writes one sample.
    pub(crate) fn write(&mut self, case: &Case, s: &Sample) {
        let width = self.record.columns.len();
        if self.written == self.last.len() {
            self.settle();
        }
        let whole = self.written + width;
        let p = &case.parts;
        let (t, layout, own) = (s.truth, p.craft.layout(), p.own_wave_factor);
        self.put(t.t_s);
        self.put(s.waves[case.at.origin]);
        self.put(t.position_m.x);
        self.put(t.position_m.y);
        self.put(-t.position_m.z);
        for i in StateLayout::EULER.chain(StateLayout::NU) {
            self.put(s.x[i]);
        }
        for (point, at) in p.points.iter().zip(&case.at.points) {
            let f = t.specific_force_m_s2(&point.r_m);
            self.put(t.acceleration_up_m_s2(&point.r_m));
            self.put(f.x);
            self.put(f.y);
            self.put(-f.z - t.g_m_s2);
            self.put(t.rise_m(&point.r_m));
            self.put(-t.depth_m(&point.r_m) - own * s.waves[*at]);
        }
        for (i, surface) in p.setup.surfaces.iter().enumerate() {
            self.put(s.angle_rad[i]);
            self.put(s.x[layout.rate(i)]);
            self.put(s.command_rad[i]);
            self.put(s.lift_n[i]);
            self.put(t.depth_m(&surface.r_m) + s.waves[case.at.surfaces[i]]);
        }
        for i in layout.thrust.clone() {
            self.put(s.x[i]);
        }
        if !p.underside.is_empty() {
            let clear = p.underside.iter().zip(&case.at.underside);
            let clear = clear.map(|(q, at)| -t.depth_m(&q.r_m) - own * s.waves[*at]);
            self.put(clear.fold(f64::INFINITY, f64::min));
        }
        if !p.orders.is_empty() {
            s.ordered.iter().for_each(|v| self.put(*v));
        }
        // a law that adds signals later would shift columns: only those named at the start
        let room = whole - self.written;
        for k in 0..room {
            self.put(s.trace.entries.get(k).map_or(f64::NAN, |e| e.1));
        }
    }
}

/// Unit told by the suffix of a signal's name.
fn unit_of(name: &str) -> &'static str {
    const SUFFIXES: [(&str, &str); 11] = [
        ("_rad_s2", "rad/s2"),
        ("_rad_s", "rad/s"),
        ("_rad", "rad"),
        ("_deg_s", "deg/s"),
        ("_deg", "deg"),
        ("_m_s2", "m/s2"),
        ("_m_s", "m/s"),
        ("_nm", "N m"),
        ("_n", "N"),
        ("_m", "m"),
        ("_s", "s"),
    ];
    let found = SUFFIXES.iter().find(|(suffix, _)| name.ends_with(suffix));
    found.map_or("1", |(_, unit)| unit)
}

#[cfg(test)]
mod tests {
    #[test]
    fn suffix_tells_the_unit() {
        for (name, unit) in [
            ("heave_m", "m"),
            ("pitch_rad_s", "rad/s"),
            ("fin_rad", "rad"),
            ("moment_nm", "N m"),
            ("speed_scale", "1"),
        ] {
            assert_eq!(super::unit_of(name), unit);
        }
    }
}
