//! Lines and messages of the protocol told in [`super`]: what is sent, how answers are read.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Read};
use std::sync::Mutex;
use std::sync::mpsc::SyncSender;

use serde_json::{Value, json};

use super::{LAST_WORDS, MAX_LINE};
use crate::control::signal::{FinCommand, Measurement, Setup};
use crate::spec::controller::ExternalSpec;

/// What came from the law's standard output.
pub(super) enum Line {
    /// A whole line.
    Text(String),
    /// More than [`MAX_LINE`] bytes without an end.
    TooLong,
    /// Not UTF-8.
    NotText,
    /// The output was closed.
    End,
}

/// Data of an answer of the type expected.
pub(super) fn open(text: &str, expect: &str) -> std::result::Result<Value, String> {
    let shown: String = text.chars().take(80).collect();
    let mut v: Value =
        serde_json::from_str(text).map_err(|e| format!("sent no JSON: `{shown}` ({e})"))?;
    let kind = v
        .get("type")
        .and_then(Value::as_str)
        .unwrap_or("")
        .to_owned();
    if kind == "error" {
        let why = v
            .pointer("/data/message")
            .and_then(Value::as_str)
            .unwrap_or("no message");
        return Err(format!("gave up: {why}"));
    }
    if kind != expect {
        return Err(format!("sent `{shown}`, must answer with `{expect}`"));
    }
    Ok(v.get_mut("data").map(Value::take).unwrap_or_default())
}

/// Reads lines until the end; runs in its own thread.
pub(super) fn read_lines(out: impl Read, send: &SyncSender<Line>) {
    let mut reader = BufReader::new(out);
    loop {
        let mut bytes = Vec::new();
        let line = match reader
            .by_ref()
            .take(MAX_LINE + 1)
            .read_until(b'\n', &mut bytes)
        {
            Ok(n) if n > 0 && bytes.ends_with(b"\n") => {
                String::from_utf8(bytes).map_or(Line::NotText, Line::Text)
            }
            Ok(n) if n as u64 > MAX_LINE => Line::TooLong,
            _ => Line::End, // end, a torn last line, or a broken pipe
        };
        let last = matches!(line, Line::End | Line::TooLong);
        if send.send(line).is_err() || last {
            return;
        }
    }
}

/// Keeps the last words of standard error; runs in its own thread.
pub(super) fn keep_words(mut err: impl Read, words: &Mutex<VecDeque<u8>>) {
    let mut chunk = [0; 256];
    while let Ok(n) = err.read(&mut chunk) {
        if n == 0 {
            return;
        }
        let Ok(mut kept) = words.lock() else { return };
        kept.extend(&chunk[..n]);
        let over = kept.len().saturating_sub(LAST_WORDS);
        kept.drain(..over);
    }
}

/// The `reset` message.
pub(super) fn reset_message(setup: &Setup, spec: &ExternalSpec) -> Value {
    let v3 = |v: &nalgebra::Vector3<f64>| json!([v.x, v.y, v.z]);
    let surfaces: Vec<Value> = setup
        .surfaces
        .iter()
        .map(|s| {
            json!({
                "name": s.name,
                "group": s.group,
                "r_m": v3(&s.r_m),
                "n": v3(&s.n),
                "heave_n_per_rad": s.influence.heave_n,
                "roll_nm_per_rad": s.influence.roll_nm,
                "pitch_nm_per_rad": s.influence.pitch_nm,
                "trim_rad": s.trim_rad,
                "min_rad": s.min_rad,
                "max_rad": s.max_rad,
            })
        })
        .collect();
    json!({"type": "reset", "data": {
        "sample_period_s": setup.sample_period_s,
        "nominal_speed_m_s": setup.nominal_speed_m_s,
        "influence_speed_m_s": setup.influence_speed_m_s,
        "trim_heave_m": setup.trim_heave_m,
        "trim_pitch_rad": setup.trim_pitch_rad,
        "displacement_kg": setup.displacement_kg,
        "motion_unit_m": v3(&setup.motion_unit_m),
        "height_sensors_m": setup.height_sensors_m.iter().map(v3).collect::<Vec<_>>(),
        "surfaces": surfaces,
        "parameters": spec.parameters,
    }})
}

/// The `update` message.
pub(super) fn update_message(step: u64, t_s: f64, y: &Measurement, u: &FinCommand) -> Value {
    let v3 = |v: &nalgebra::Vector3<f64>| json!([v.x, v.y, v.z]);
    json!({"type": "update", "data": {
        "step": step,
        "t_s": t_s,
        "rates_rad_s": v3(&y.rates_rad_s),
        "roll_rad": y.phi_rad,
        "pitch_rad": y.theta_rad,
        "specific_force_m_s2": v3(&y.specific_force_m_s2),
        "height_m": y.height_m,
        "speed_m_s": y.speed_m_s,
        "heading_rad": y.heading_rad,
        "surface_rad": y.surface_rad,
        "valid": {
            "rates": y.valid.rates,
            "attitude": y.valid.attitude,
            "acceleration": y.valid.acceleration,
            "speed": y.valid.speed,
            "heading": y.valid.heading,
            "height": y.valid.height,
            "surface": y.valid.surface,
        },
        "fin_rad": u.fin_rad,
        "min_rad": u.min_rad,
        "max_rad": u.max_rad,
    }})
}
