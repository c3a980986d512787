//! What a user reads when a file is wrong: the whole text, pinned. Where · what was found · what
//! is allowed · what to do.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

use std::fs;
use std::path::Path;

use assert_cmd::Command;

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/spec");

/// Standard error of `check` on files put into a fresh folder, and the exit status.
fn told(files: &[(&str, Vec<u8>)], check: &str) -> (String, i32) {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in files {
        fs::write(folder.path().join(name), bytes).unwrap();
    }
    let out = Command::cargo_bin("ridewright")
        .unwrap()
        .current_dir(folder.path())
        .args(["check", check])
        .output()
        .unwrap();
    assert!(out.stdout.is_empty(), "errors are talk, not data");
    let text = String::from_utf8(out.stderr).unwrap();
    (text, out.status.code().unwrap())
}

fn sample(name: &str) -> String {
    fs::read_to_string(Path::new(FOLDER).join(name)).unwrap()
}

/// The text for one file made from a sample by replacing words.
fn after(name: &str, changes: &[(&str, &str)]) -> String {
    let mut text = sample(name);
    for (from, to) in changes {
        assert!(text.contains(from), "the sample has no {from}");
        text = text.replacen(from, to, 1);
    }
    let (text, status) = told(&[("x.json", text.into_bytes())], "x.json");
    assert_eq!(status, 1);
    text
}

fn same(found: &str, wanted: &str) {
    assert_eq!(found.trim_end(), wanted.trim(), "\n--- found ---\n{found}");
}

#[test]
fn a_period_given_as_a_frequency() {
    let text = after("sea.json", &[("\"tp_s\": 6.5", "\"tp_s\": 0.15")]);
    same(
        &text,
        r#"
error: `systems[0].spectrum.jonswap.tp_s` is 0.15 s, must lie between 1 s and 40 s
 --> x.json:7:55
  |
7 |       "spectrum": { "jonswap": { "hs_m": 1.5, "tp_s": 0.15 } },
  |                                                       ^^^^

hint: 0.15 Hz is 6.66667 s: was a frequency meant?

1 problem found"#,
    );
}

#[test]
fn all_faults_of_a_file_at_once() {
    let text = after(
        "craft.json",
        &[
            ("\"thickness_m\": 0.9,", ""),
            ("\"span_m\": 1.5", "\"span_mm\": 1500"),
            ("\"all_movable\": {}", "\"all_moveable\": {}"),
            ("\"min_deg\": -20", "\"min_deg\": \"-20 deg\""),
            ("\"group\": \"aft\"", "\"group\": \"after\""),
            ("\"name\": \"bridge\"", "\"name\": \"bridge\", \"x_m\": 2"),
            ("\"sinkage_force_n\": 40000", "\"sinkage_force_n\": null"),
        ],
    );
    same(
        &text,
        r#"
error: `struts[0].thickness_m` is missing
  --> x.json:19:5
   |
19 |     {
   |     ^

hint: add `thickness_m`: greatest thickness at the design waterline, m

error: `surfaces[0].span_mm` is not a known key
  --> x.json:38:7
   |
38 |       "span_mm": 1500, "root_chord_m": 1.3, "tip_chord_m": 1.0,
   |       ^^^^^^^^^

hint: write `span_m`: 1500 mm is 1.5 m

error: `surfaces[0].moving` is "all_moveable", must be one of: all_movable, flap, fixed
  --> x.json:39:26
   |
39 |       "stock_frac": 0.3, "moving": { "all_moveable": {} },
   |                          ^^^^^^^^

hint: did you mean "all_movable"?

error: `surfaces[0].min_deg` is "-20 deg", must be a number in deg
  --> x.json:40:18
   |
40 |       "min_deg": "-20 deg", "max_deg": 20
   |                  ^^^^^^^^^

hint: write -20, without quotes; the unit (deg) is in the key

error: `surfaces[2].group` is "after", must be one of: forward, aft, rudder
  --> x.json:50:36
   |
50 |       "name": "aft_stbd", "group": "after", "stock_x_m": -11.0,
   |                                    ^^^^^^^

error: `steady[1].sinkage_force_n` is null, must be a number in N
  --> x.json:82:42
   |
82 |     { "speed_kn": 18, "sinkage_force_n": null, "trim_moment_nm": -60000 }
   |                                          ^^^^

hint: leave the key out, or give it a value

error: `points[0].x_m` stands here a second time
  --> x.json:85:35
   |
85 |     { "name": "bridge", "x_m": 2, "x_m": 6.0, "height_m": 9.0 },
   |                                   ^^^^^

hint: keep one of the two

7 problems found"#,
    );
}

#[test]
fn an_unknown_key_does_not_hide_what_does_not_fit_together() {
    let text = after(
        "craft.json",
        &[
            ("\"name\": \"strut\"", "\"nmae\": 1, \"name\": \"strut\""),
            ("\"aft_x_m\": -12.0", "\"aft_x_m\": -16.0"),
            ("\"supply\": \"aft\"", "\"supply\": \"fat\""),
        ],
    );
    for words in [
        "`struts[0].nmae` is not a known key",
        "`struts[0].aft_x_m` is -16 m, must lie over the lower hull, between -14.5 m and 14 m",
        "hint: the strut is longer than the hull's top allows: shorten it, or lengthen the hull",
        "`surfaces[2].actuator.supply` is \"fat\"",
        "hint: did you mean \"aft\"?",
        "3 problems found",
    ] {
        assert!(text.contains(words), "no {words} in\n{text}");
    }
}

#[test]
fn a_fin_outside_the_hull() {
    let text = after("craft.json", &[("\"root_y_m\": 4.85", "\"root_y_m\": 2.0")]);
    same(
        &text,
        r#"
error: `surfaces[0].root_y_m` puts the root 2.824 m away from the nearest lower hull, must be within half a root chord, 0.65 m
  --> x.json:37:19
   |
37 |       "root_y_m": 2.0, "root_height_m": 1.2, "span_angle_deg": 180,
   |                   ^^^

hint: at x = 9 m the hull's axis is at y = 6 m, height 1.2 m, its half breadth 1.176 m

1 problem found"#,
    );
}

#[test]
fn json_that_is_none() {
    for (text, line, hint) in [
        (
            "{\"a\": 1,}",
            "error: is not JSON: trailing comma",
            "remove the comma",
        ),
        (
            "{\"a\": 1} x",
            "error: is not JSON: trailing characters",
            "one file holds one object",
        ),
        (
            "{\"a\": NaN}",
            "error: is not JSON: expected value",
            "no NaN",
        ),
        (
            "{\"a\": 1e999}",
            "error: is not JSON: number out of range",
            "1.8e308",
        ),
        (
            "{\"a\": 1 // x\n}",
            "error: is not JSON: expected `,` or `}`",
            "no comments",
        ),
        (
            "{'a': 1}",
            "error: is not JSON: key must be a string",
            "double quotes",
        ),
        (
            "{\n\"a\": [1,\n2",
            "is not JSON: it ends before",
            "the [ of line 2 is not closed",
        ),
        (
            "{\"a\": \"b",
            "is not JSON: it ends before",
            "the quote of line 1 is not closed",
        ),
        (
            "",
            "x.json: is empty, must hold a JSON object",
            "ridewright.craft/1",
        ),
        (
            "\u{feff}{}",
            "x.json: begins with a byte-order mark",
            "without a byte-order mark",
        ),
        ("[1, 2]", "is a list of 2, must be an object", ""),
        (
            "{}",
            "`format` is missing",
            "begin the file with its format",
        ),
    ] {
        let (found, status) = told(&[("x.json", text.into())], "x.json");
        assert!(
            found.contains(line) && found.contains(hint),
            "{text}:\n{found}"
        );
        assert!(found.contains("x.json"), "{text}: names no file\n{found}");
        assert_eq!(status, 1, "{text}");
    }
}

#[test]
fn bytes_that_are_no_text() {
    let (found, _) = told(&[("x.json", b"{\n\"a\": \"\xff\"}".to_vec())], "x.json");
    same(
        &found,
        "error: x.json:2: is not UTF-8 text: byte 0xff on line 2\n\nhint: save the file as UTF-8\n\n1 problem found",
    );
    let (found, _) = told(&[("x.json", b"\xff\xfe{\0}\0".to_vec())], "x.json");
    assert!(found.contains("it looks like UTF-16"), "{found}");
    let huge = vec![b' '; (16 << 20) + 1];
    let (found, _) = told(&[("x.json", huge)], "x.json");
    assert!(found.contains("x.json: is larger than 16 MiB"), "{found}");
}

#[test]
fn files_that_are_not_there() {
    let (found, status) = told(&[("craft.json", b"{}".to_vec())], "crft.json");
    assert!(
        found.contains("error: crft.json: cannot read this file"),
        "{found}"
    );
    assert!(found.contains("hint: did you mean craft.json?"), "{found}");
    assert_eq!(status, 1);
    let (found, _) = told(&[], "no_such/x.json");
    assert!(
        found.contains("hint: the folder no_such does not exist"),
        "{found}"
    );
    let (found, _) = told(&[], ".");
    assert!(
        found.contains("is a folder, must be a JSON file"),
        "{found}"
    );
}

#[test]
fn formats_of_another_kind_or_version() {
    for (format, words, hint) in [
        (
            "ridewright.sea/2",
            "must be \"ridewright.sea/1\"",
            "this program reads version 1",
        ),
        (
            "ridewright.see/1",
            "must be one of ridewright.craft/1",
            "did you mean \"ridewright.sea/1\"?",
        ),
        (
            "ridewright.craft/1",
            "`design_waterline_m` is missing",
            "add `design_waterline_m`",
        ),
    ] {
        let text = after("sea.json", &[("ridewright.sea/1", format)]);
        assert!(
            text.contains(words) && text.contains(hint),
            "{format}:\n{text}"
        );
    }
}

/// The samples with changes to some, checked as a whole by the scenario.
fn whole(changes: &[(&str, &str, &str)]) -> String {
    let names = [
        "craft.json",
        "sea.json",
        "pid.json",
        "lqr.json",
        "fault.json",
        "scenario.json",
    ];
    let files: Vec<(&str, Vec<u8>)> = names
        .iter()
        .map(|name| {
            let mut text = sample(name);
            for (_, from, to) in changes.iter().filter(|c| c.0 == *name) {
                assert!(text.contains(from), "{name} has no {from}");
                text = text.replacen(from, to, 1);
            }
            (*name, text.into_bytes())
        })
        .collect();
    told(&files, "scenario.json").0
}

#[test]
fn a_channel_that_no_surface_answers_to_and_gains_for_another_number() {
    let text = whole(&[
        ("pid.json", "\"fwd_port\"", "\"fwd_prt\""),
        ("lqr.json", "[8, 8, 10, 10]", "[8, 8, 10]"),
    ]);
    for words in [
        "`channels[1]` is \"fwd_prt\", must name a surface that turns: there are fwd_stbd, fwd_port,",
        "hint: did you mean \"fwd_port\"?",
        "pid.json:4:28",
        "`law.lqr.channel_deg` has 3 values for 4 channels, must have one a channel",
        "lqr.json:12:7",
        "2 problems found",
    ] {
        assert!(text.contains(words), "no {words} in\n{text}");
    }
}

#[test]
fn faults_between_files() {
    let text = whole(&[
        ("scenario.json", "[12, 18]", "[12, 20]"),
        (
            "scenario.json",
            "\"duration_s\": 600",
            "\"duration_s\": 600, \"step_s\": 0.04, \"record_s\": 0.08",
        ),
        (
            "craft.json",
            "\"propulsors\"",
            "\"windage\": null, \"propulsors\"",
        ),
    ]);
    for words in [
        "`step_s` is 0.04 s, must divide `sensors.sample_period_s of the craft` (0.1 s) into whole steps",
        "`law.lqr.design_speeds_kn` run from 8 kn to 18 kn, but the scenario test scenario asks for 20 kn",
        "hint: add a design speed: gains are interpolated, never extrapolated",
        "2 problems found",
    ] {
        assert!(text.contains(words), "no {words} in\n{text}");
    }
    let text = whole(&[("scenario.json", "\"lqr.json\"", "\"lqq.json\"")]);
    assert!(
        text.contains("`controllers[1]` leads to lqq.json: there is no file"),
        "{text}"
    );
    assert!(text.contains("hint: did you mean \"lqr.json\"?"), "{text}");
}

#[test]
fn a_fault_that_the_craft_cannot_have() {
    let with = "\"duration_s\": 600, \"fault\": \"fault.json\"";
    let named = ("scenario.json", "\"duration_s\": 600", with);
    // the sample names surfaces as the demonstration craft does, this craft has others
    let text = whole(&[named, ("fault.json", "\"aft port\"", "\"aft_prt\"")]);
    for words in [
        "`events[0].fault.surface.name` is \"aft_prt\", must name a surface that turns: there are fwd_stbd, fwd_port,",
        "hint: did you mean \"aft_port\"?",
        "fault.json:6:",
        "`events[2].fault.supply.name` is \"port hydraulics\", must name a supply: there are aft",
        "`events[6].fault.shaft.name` is \"port shaft\", must name a propulsor: there are shaft_stbd",
    ] {
        assert!(text.contains(words), "no {words} in\n{text}");
    }
    let missing = with.replace("fault.json", "falt.json");
    let text = whole(&[("scenario.json", "\"duration_s\": 600", &missing)]);
    let words = "`fault` leads to falt.json: there is no file";
    assert!(
        text.contains(words) && text.contains("did you mean \"fault.json\"?"),
        "{text}"
    );
}
