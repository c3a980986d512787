//! A law in another process: JSON Lines over its standard input and output.
//!
//! # Protocol `ridewright.control/1`
//! One JSON object a line, UTF-8, ended by a line feed, at most [`MAX_LINE`] bytes, always the
//! envelope `{"type": ..., "data": {...}}`. ridewright asks, the law answers each question with one
//! line and flushes it; anything else the law wants to say goes to its standard error.
//!
//! | ridewright sends | the law answers | when |
//! |---|---|---|
//! | `hello` | `hello` | once, within [`START_S`] seconds of the start |
//! | `reset` | `ready` | before every run: forget everything |
//! | `update` | `command` | every sample period, within `reply_within_s` |
//! | `bye` | nothing, it ends | at the end |
//!
//! Instead of an answer the law may send `error` with a `message`: the run ends with it. Unknown keys
//! must be ignored by the law, so that keys can be added. Signs, axes and units are those of
//! [`super::signal`]: SI, radians, z down. A reading that is not valid is `null` or says `false` in
//! `valid`; `height_m` and `surface_rad` stand in the order of `reset`.
//! `command.fin_rad` has one angle per surface of `reset`, in that order, `null` where the law leaves
//! the surface as it is; `step` repeats the number of the update.
//!
//! # A worked example
//! ```text
//! > {"type":"hello","data":{"protocol":"ridewright.control/1"}}
//! < {"type":"hello","data":{"protocol":"ridewright.control/1","name":"heave damper"}}
//! > {"type":"reset","data":{"sample_period_s":0.1,"nominal_speed_m_s":9.26,"influence_speed_m_s":9.26,
//!    "trim_heave_m":0.0,"trim_pitch_rad":0.01,"displacement_kg":250000,"motion_unit_m":[0,0,-3],"height_sensors_m":[[0,0,-3]],
//!    "surfaces":[{"name":"fwd_p","group":"forward","r_m":[8,-4.5,2],"n":[0,0,-1],
//!      "heave_n_per_rad":-395000,"roll_nm_per_rad":1780000,"pitch_nm_per_rad":3160000,
//!      "trim_rad":0.02,"min_rad":-0.35,"max_rad":0.35}],
//!    "parameters":{"gain_rad_s_per_m":0.15}}}
//! < {"type":"ready","data":{}}
//! > {"type":"update","data":{"step":0,"t_s":0.0,"rates_rad_s":[0,0,0],"roll_rad":0,"pitch_rad":0.01,
//!    "specific_force_m_s2":[0.1,0,-9.7],"height_m":[3.0],"speed_m_s":9.26,"heading_rad":0,
//!    "surface_rad":[0.02],"valid":{"rates":true,"attitude":true,"acceleration":true,"speed":true,
//!      "heading":true,"height":[true],"surface":[true]},
//!    "fin_rad":[0.02],"min_rad":[-0.35],"max_rad":[0.35]}}
//! < {"type":"command","data":{"step":0,"fin_rad":[0.0215]}}
//! > {"type":"bye","data":{}}
//! ```
//! (Long lines are broken here for reading; on the wire each message is one line.)
//!
//! # When things go wrong
//! A law that does not start, does not answer in time, dies, closes its output, sends a line that is too
//! long, no JSON, another type, another step, another number of angles, or an angle that is no finite
//! number ends the run with an error that says which of these, with its last words on standard
//! error; the process is stopped and, at the next reset, started afresh. Dropping the law stops the
//! process and waits for it.
//!
//! # Valid when
//! The law is deterministic if results are to repeat; real time matters for `reply_within_s` only.
//! Only the process that was started is stopped, not what it may have started itself.
//!
//! # Checked by
//! `tests/controllers.rs`: `external_*`

use std::collections::VecDeque;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::signal::{FinCommand, Measurement, Setup};
use super::{Controller, ControllerInfo};
use crate::error::{Error, Problem, Result};
use crate::spec::controller::ExternalSpec;
use wire::{Line, keep_words, open, read_lines, reset_message, update_message};

mod wire;

/// Name and version of the protocol.
pub const PROTOCOL: &str = "ridewright.control/1";
/// Longest line that is read, bytes.
pub const MAX_LINE: u64 = 1 << 20;
/// Time a law may take to start and say hello, s.
pub const START_S: f64 = 10.0;
/// Time a law is given to end by itself after `bye`.
const LEAVE: Duration = Duration::from_millis(200);
/// Bytes of standard error that are kept.
const LAST_WORDS: usize = 600;

/// The law.
pub struct External {
    name: String,
    spec: ExternalSpec,
    folder: PathBuf,
    running: Option<Running>,
    setup: Option<Setup>,
    step: u64,
}

struct Running {
    child: Child,
    input: Option<ChildStdin>,
    lines: Receiver<Line>,
    words: Arc<Mutex<VecDeque<u8>>>,
}

impl External {
    /// The law from its command; the process starts at the first reset.
    ///
    /// # Errors
    /// An empty command, a reply time that is not positive, parameters that are not finite.
    pub fn new(name: &str, spec: &ExternalSpec, folder: &Path) -> Result<Self> {
        let mut bad = Vec::new();
        if spec.command.first().is_none_or(String::is_empty) {
            bad.push(
                Problem::at("law.external.command", "is empty, must name a program")
                    .hint("for example [\"python3\", \"my_law.py\"]"),
            );
        }
        if !(spec.reply_within_s > 0.0 && spec.reply_within_s <= 3600.0) {
            bad.push(Problem::at(
                "law.external.reply_within_s",
                format!(
                    "is {} s, must lie above 0 and at most 3600 s",
                    spec.reply_within_s
                ),
            ));
        }
        for (key, v) in &spec.parameters {
            if !v.is_finite() {
                bad.push(Problem::at(
                    format!("law.external.parameters.{key}"),
                    format!("is {v}, must be finite"),
                ));
            }
        }
        if !bad.is_empty() {
            return Err(bad.into());
        }
        Ok(External {
            name: name.to_owned(),
            spec: spec.clone(),
            folder: folder.to_owned(),
            running: None,
            setup: None,
            step: 0,
        })
    }

    fn start(&mut self) -> Result<()> {
        let mut running = Running::spawn(&self.spec.command, &self.folder).map_err(|e| {
            Error::with_hint(
                format!("`{}`: cannot start `{}`: {e}", self.name, self.spec.command[0]),
                "a bare name is looked for on the PATH, a relative path in the controller file's folder",
            )
        })?;
        let hello = json!({"type": "hello", "data": {"protocol": PROTOCOL}});
        let answer = running.ask(&hello, "hello", START_S.max(self.spec.reply_within_s));
        let data = answer.map_err(|what| self.told(&mut running, &what))?;
        let theirs = data
            .get("protocol")
            .and_then(Value::as_str)
            .unwrap_or("nothing");
        if theirs != PROTOCOL {
            let what = format!("speaks `{theirs}`, must speak `{PROTOCOL}`");
            return Err(self.told(&mut running, &what));
        }
        self.running = Some(running);
        Ok(())
    }

    /// Asks; on failure stops the process and tells what happened.
    fn ask(&mut self, message: &Value, expect: &str) -> Result<Value> {
        let Some(mut running) = self.running.take() else {
            return Err(super::not_reset(&self.name));
        };
        match running.ask(message, expect, self.spec.reply_within_s) {
            Ok(data) => {
                self.running = Some(running);
                Ok(data)
            }
            Err(what) => Err(self.told(&mut running, &what)),
        }
    }

    fn told(&self, running: &mut Running, what: &str) -> Error {
        let ended = running.ended(Duration::from_millis(20));
        running.stop(Duration::ZERO);
        let mut text = format!("`{}`: the outside law {what}", self.name);
        if let Some(status) = ended {
            text = format!("{text} ({status})");
        }
        let words = running.last_words();
        if words.is_empty() {
            Error::new(text)
        } else {
            Error::with_hint(text, format!("its last words: {words}"))
        }
    }

    fn take_command(
        &self,
        data: &Value,
        setup: &Setup,
        u: &mut FinCommand,
    ) -> std::result::Result<(), String> {
        let step = data.get("step").and_then(Value::as_u64);
        if step != Some(self.step) {
            return Err(format!(
                "answered step {}, was asked step {}",
                step.map_or("none".into(), |s| s.to_string()),
                self.step
            ));
        }
        let fins = data
            .get("fin_rad")
            .and_then(Value::as_array)
            .ok_or("sent a command without a list `fin_rad`")?;
        if fins.len() != u.fin_rad.len() {
            return Err(format!(
                "sent {} angles, the craft has {} surfaces",
                fins.len(),
                u.fin_rad.len()
            ));
        }
        // all or nothing: a bad command leaves the old one
        for (v, s) in fins.iter().zip(&setup.surfaces) {
            if !v.is_null() && !v.as_f64().is_some_and(f64::is_finite) {
                return Err(format!(
                    "asked {v} of `{}`, must be a finite angle in rad",
                    s.name
                ));
            }
        }
        for (v, fin) in fins.iter().zip(&mut u.fin_rad) {
            if let Some(angle) = v.as_f64() {
                *fin = angle;
            }
        }
        Ok(())
    }
}

impl Running {
    fn spawn(command: &[String], folder: &Path) -> std::io::Result<Self> {
        let folder = if folder.as_os_str().is_empty() {
            Path::new(".")
        } else {
            folder
        };
        let program = Path::new(&command[0]);
        let program = if program.components().count() > 1 && program.is_relative() {
            std::path::absolute(folder.join(program))?
        } else {
            program.to_owned()
        };
        let mut child = Command::new(program)
            .args(&command[1..])
            .current_dir(folder)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()?;
        let (send, lines) = sync_channel(16);
        if let Some(out) = child.stdout.take() {
            std::thread::spawn(move || read_lines(out, &send));
        }
        let words = Arc::new(Mutex::new(VecDeque::new()));
        if let Some(err) = child.stderr.take() {
            let words = Arc::clone(&words);
            std::thread::spawn(move || keep_words(err, &words));
        }
        Ok(Running {
            input: child.stdin.take(),
            child,
            lines,
            words,
        })
    }

    fn send(&mut self, message: &Value) -> std::io::Result<()> {
        let mut line = message.to_string();
        line.push('\n');
        match &mut self.input {
            Some(pipe) => {
                pipe.write_all(line.as_bytes())?;
                pipe.flush()
            }
            None => Err(std::io::ErrorKind::BrokenPipe.into()),
        }
    }

    /// One question, one answer; the error completes "the outside law ...".
    fn ask(
        &mut self,
        message: &Value,
        expect: &str,
        within_s: f64,
    ) -> std::result::Result<Value, String> {
        if let Err(e) = self.send(message) {
            // an answer `error` may still lie there
            if let Ok(Line::Text(text)) = self.lines.recv_timeout(LEAVE)
                && let Err(what) = open(&text, expect)
            {
                return Err(what);
            }
            return Err(format!("closed its input: {e}"));
        }
        match self.lines.recv_timeout(Duration::from_secs_f64(within_s)) {
            Ok(Line::Text(text)) => open(&text, expect),
            Ok(Line::TooLong) => Err(format!("sent a line of more than {MAX_LINE} bytes")),
            Ok(Line::NotText) => Err("sent a line that is not UTF-8".into()),
            Ok(Line::End) | Err(RecvTimeoutError::Disconnected) => {
                Err("ended or closed its output".into())
            }
            Err(RecvTimeoutError::Timeout) => {
                Err(format!("gave no `{expect}` within {within_s} s"))
            }
        }
    }

    /// What the process ended with, if it did so by itself within `patience`.
    fn ended(&mut self, patience: Duration) -> Option<String> {
        let until = Instant::now() + patience;
        loop {
            match self.child.try_wait() {
                Ok(Some(status)) => return Some(status.to_string()),
                Ok(None) if Instant::now() < until => std::thread::sleep(Duration::from_millis(2)),
                _ => return None,
            }
        }
    }

    /// Ends the process: closes its input, waits `patience`, then kills it and waits for it.
    fn stop(&mut self, patience: Duration) {
        self.input = None;
        if self.ended(patience).is_none() {
            let _ = self.child.kill();
            let _ = self.child.wait();
        }
    }

    fn last_words(&self) -> String {
        std::thread::sleep(Duration::from_millis(5)); // let the reader catch up
        let Ok(words) = self.words.lock() else {
            return String::new();
        };
        let bytes: Vec<u8> = words.iter().copied().collect();
        String::from_utf8_lossy(&bytes).trim().to_owned()
    }
}

impl Drop for External {
    fn drop(&mut self) {
        if let Some(running) = &mut self.running {
            let _ = running.send(&json!({"type": "bye", "data": {}}));
            running.stop(LEAVE);
        }
    }
}

impl Controller for External {
    fn info(&self) -> ControllerInfo {
        ControllerInfo {
            name: self.name.clone(),
            kind: "external",
            sample_period_s: self.setup.as_ref().map_or(0.0, |s| s.sample_period_s),
            signals: &[
                "rates",
                "attitude",
                "acceleration",
                "height",
                "speed",
                "surface",
            ],
            channels: self
                .setup
                .iter()
                .flat_map(|s| s.surfaces.iter().map(|f| f.name.clone()))
                .collect(),
        }
    }

    fn reset(&mut self, setup: &Setup) -> Result<()> {
        setup.check()?;
        if self.running.is_none() {
            self.start()?;
        }
        self.step = 0;
        self.setup = Some(setup.clone());
        self.ask(&reset_message(setup, &self.spec), "ready")
            .map(|_| ())
    }

    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        let Some(setup) = self.setup.take() else {
            return Err(super::not_reset(&self.name));
        };
        let at = |e: Error| {
            let mut e = e;
            for p in &mut e.problems {
                p.message = format!("{} at t = {t_s:.2} s", p.message);
            }
            e
        };
        let asked = self
            .ask(&update_message(self.step, t_s, y, u), "command")
            .map_err(at);
        let done = asked.and_then(|data| {
            self.take_command(&data, &setup, u).map_err(|what| {
                let e = self.running.take().map_or_else(
                    || Error::new(what.clone()),
                    |mut running| self.told(&mut running, &what),
                );
                at(e)
            })
        });
        self.step += 1;
        self.setup = Some(setup);
        done
    }
}
