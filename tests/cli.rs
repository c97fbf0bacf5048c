//! Tests of the program without a screen, run as a user runs it: arguments in, standard output, standard error and exit codes out.

mod documents;
mod files;
mod recordings;
mod refused;
mod sound;
mod variation;

use crate::support::in_package;
use std::io::Write;
use std::process::{Command, Output, Stdio};

const DEMO: &str = "patterns/half-tide-winch.toml";

struct RunResult {
    out: Vec<u8>,
    text: String,
    errors: String,
    code: Option<i32>,
}

fn run(words: &[&str], input: &[u8]) -> RunResult {
    let mut child = Command::new(env!("CARGO_BIN_EXE_teeter"))
        .args(words)
        .current_dir(in_package(""))
        .env("XDG_STATE_HOME", std::env::temp_dir())
        // Not the config file of whoever runs the tests.
        .env("XDG_CONFIG_HOME", in_package("target/nowhere"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program");
    // A program that does not read its input closes the pipe.
    let _ = child.stdin.take().expect("a pipe").write_all(input);
    let Output { status, stdout, stderr } = child.wait_with_output().expect("an end");
    let text = String::from_utf8_lossy(&stdout).into_owned();
    RunResult { text, out: stdout, errors: String::from_utf8_lossy(&stderr).into_owned(), code: status.code() }
}

fn succeed(words: &[&str]) -> RunResult {
    let result = run(words, b"");
    assert_eq!(result.code, Some(0), "{words:?}: {}", result.errors);
    result
}

#[test]
fn explain_describes_how_a_groove_is_built_and_what_is_heard() {
    let text = succeed(&["explain", DEMO]).text;
    for words in [
        "groups: 2(3(5+5+4)+5(6))",
        "changing pulse",
        "Why it is hard",
        "a cell lasts 94 ms",
        "London 2004",
        "by playing speed",
    ] {
        assert!(text.contains(words), "'{words}' is missing in\n{text}");
    }
}

#[test]
fn explain_prints_json_of_the_documented_schema() {
    let value: serde_json::Value = serde_json::from_str(&succeed(&["explain", "--json", DEMO]).text).expect("JSON");
    assert_eq!(value["schema"], 2);
    assert_eq!(value["cell_ms"], 93.75);
    let keys: Vec<&String> = value.as_object().expect("an object").keys().collect();
    let chapter = teeter::manual::chapter("json").expect("a chapter").text;
    for key in keys {
        assert!(chapter.contains(&format!("`{key}")), "the chapter does not name {key}");
    }
    let answer = &value["answer"];
    let split = answer["split"].as_object().expect("the parts");
    let parts: f64 = split.values().map(|p| p.as_f64().expect("a part")).sum();
    assert!((parts - answer["hardness"].as_f64().expect("a hardness")).abs() < 1e-4, "{answer}");
    let half: serde_json::Value =
        serde_json::from_str(&succeed(&["explain", "--json", "--speed", "50", DEMO]).text).expect("JSON");
    assert_eq!(half["cell_ms"], 187.5);
}

#[test]
fn several_grooves_are_a_table_or_lines_and_a_bad_one_does_not_stop_the_rest() {
    let table = succeed(&["explain", "patterns"]).text;
    assert_eq!(table.lines().count(), 1 + std::fs::read_dir(in_package("patterns")).expect("patterns").count());
    let result = run(&["explain", "--json", DEMO, "no-such-file.toml", "patterns/ticket-bell.toml"], b"");
    assert_eq!(result.code, Some(1));
    assert!(result.errors.contains("no-such-file.toml"), "{}", result.errors);
    let titles: Vec<String> = result
        .text
        .lines()
        .map(|l| {
            serde_json::from_str::<serde_json::Value>(l).expect("a line of JSON")["title"]
                .as_str()
                .expect("title")
                .to_owned()
        })
        .collect();
    assert_eq!(titles, ["Half-Tide Winch", "Ticket Bell"]);
}

#[test]
fn every_list_of_hearings_has_the_same_numbers() {
    let half: &[&str] = &["--speed", "50"];
    for (pattern, more) in
        [(DEMO, [].as_slice()), ("patterns/capstan-eleven.toml", half), ("patterns/ticket-bell.toml", &[])]
    {
        let json = succeed(&[&["explain", "--json", pattern], more].concat()).text;
        let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
        let hearings = value["hearings"].as_array().expect("hearings");
        let text = succeed(&[&["explain", pattern], more].concat()).text;
        let rows = text.lines().skip_while(|l| !l.contains("likely      BPM")).skip(1);
        let numbers: Vec<usize> = rows
            .take_while(|l| l.starts_with("  "))
            .filter(|l| {
                l.ends_with(|c: char| c.is_alphanumeric() || c == ')') && l.contains("% ") && l.contains(" ms ")
            })
            .filter_map(|l| l.split_whitespace().next()?.parse().ok())
            .collect();
        assert_eq!(numbers, (1..=hearings.len()).collect::<Vec<_>>(), "{text}");
        // What is not shown is the beat.
        for h in hearings {
            assert!(!h["shown"].is_null() || h["kind"] == "written beat", "{h}");
        }
        let most = hearings.len();
        for named in [most, most + 1] {
            let take = format!("hearing:{named}");
            let words =
                [&["takes", pattern, "-o", "-", "--times", "1", "--rate", "8000", "--take", &take], more].concat();
            let result = run(&words, b"");
            let error = format!("expected the number of a hearing, 1 to {most}, found {named}\n");
            assert_eq!(
                (result.code, result.errors.ends_with(&error)),
                if named > most { (Some(2), true) } else { (Some(0), false) }
            );
        }
    }
}

#[test]
fn a_groove_is_read_from_standard_input() {
    let text = std::fs::read(in_package(DEMO)).expect("the demo groove");
    assert_eq!(run(&["explain", "-"], &text).text, succeed(&["explain", DEMO]).text);
    let wrong = run(&["explain", "-"], b"format = 1\nname = 3\n");
    assert_eq!(wrong.code, Some(1));
    assert!(wrong.errors.starts_with("standard input:2:1: unknown key"), "{}", wrong.errors);
    let midi = run(&["explain", "-"], b"MThd\0\0\0\x06\0\x01\0\x01\x01\xe0");
    let error = "standard input: expected a groove, found a Standard MIDI File (`teeter import` converts it)\n";
    assert_eq!((midi.code, midi.errors.as_str()), (Some(1), error));
    let latin = run(&["explain", "-"], b"format = 1\ntitle = \"\xe9\"\n");
    assert!(latin.errors.starts_with("standard input:2:10: expected UTF-8 text, found byte 0xE9"), "{}", latin.errors);
}

#[test]
fn check_and_completions_work_piped() {
    let result = succeed(&["check", "patterns"]);
    assert!(result.text.lines().all(|l| l.contains(": ok: ")) && result.errors.is_empty());
    for shell in ["bash", "zsh", "fish"] {
        assert!(succeed(&["completions", shell]).text.contains("explain"), "{shell}");
    }
}

/// Runs the program with a config file.
fn with_config(config: &str, words: &[&str]) -> RunResult {
    let home = tempfile::tempdir().expect("a folder");
    std::fs::create_dir(home.path().join("teeter")).expect("a folder");
    std::fs::write(home.path().join("teeter/config.toml"), config).expect("written");
    let Output { status, stdout, stderr } = Command::new(env!("CARGO_BIN_EXE_teeter"))
        .args(words)
        .current_dir(in_package(""))
        .env("XDG_CONFIG_HOME", home.path())
        .output()
        .expect("the program");
    let text = String::from_utf8_lossy(&stdout).into_owned();
    RunResult { text, out: stdout, errors: String::from_utf8_lossy(&stderr).into_owned(), code: status.code() }
}

#[test]
fn explain_takes_the_cell_limit_from_the_config_file_unless_one_is_given() {
    let config = "[keys]\nplay = \"f9\"\n[hearing]\ncell-limit = 70\n";
    let given = succeed(&["explain", "--cell-limit", "70", DEMO]).text;
    assert_ne!(given, succeed(&["explain", DEMO]).text);
    assert_eq!(with_config(config, &["explain", DEMO]).text, given);
    assert_eq!(with_config(config, &["explain", "--cell-limit", "100", DEMO]).text, succeed(&["explain", DEMO]).text);
    // Mistakes in parts that the command does not use do not stop it.
    let config = "[keys]\nplay = 9\n[hearing]\ncell-limit = 70\n[sound]\noutput = 3\n";
    assert_eq!(with_config(config, &["explain", DEMO]).text, given);
    let wrong = with_config("[hearing]\ncell-limit = \"fast\"\n", &["explain", DEMO]);
    assert_eq!(wrong.code, Some(2));
    let error = "config.toml:2:14: expected a number from 20 to 1000 for 'cell-limit', found \"fast\"\n";
    assert!(wrong.errors.ends_with(error), "{}", wrong.errors);
    // An unknown table or setting is a warning.
    let unknown = with_config("[haering]\ncell-limit = 90\n[hearing]\ncell = 1\ncell-limit = 70\n", &["explain", DEMO]);
    assert_eq!((unknown.code, unknown.text), (Some(0), given));
    let warnings: Vec<&str> = unknown.errors.lines().filter_map(|l| l.split("config.toml:").nth(1)).collect();
    let table = "1:2: unknown table 'haering'; expected one of: keys, hearing, tap, sound, screen";
    assert_eq!(warnings, [table, "4:1: unknown key 'cell'; expected one of: cell-limit, listen-cold"]);
}

#[test]
fn explain_draws_the_streams() {
    let text = succeed(&["explain", DEMO]).text;
    let picture: Vec<&str> = text.lines().skip_while(|l| !l.starts_with("    160.0 written beat")).take(4).collect();
    assert_eq!(picture.len(), 4, "{text}");
    assert!(picture[1].contains("137.1 changing pulse 1") && picture[2].contains("106.7 changing pulse 2"), "{text}");
    // The snare on every third of four beats falls with the beat each time.
    assert!(picture[3].contains("40.0 bollard") && picture[3].contains('#') && !picture[3].contains('|'), "{text}");
    assert!(text.contains("| pulse  # within 20 ms of another"));
}
