//! The README is true: its tables, its picture of the screen and its example are made from the code. It must not know how.
//!
//! `TEETER_WRITE=1 cargo nextest run readme` writes the parts between the marks anew.

use crate::support::in_package;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use std::fmt::Write;
use std::fs;
use teeter::analysis;
use teeter::rhythm::{Voice, bounds};
use teeter::terminal::{Colours, Config, Effect, Event, Keymap, State, Theme, keymap, start, update, view};

/// Checks the part between two marks, or writes it where asked to.
fn part(name: &str, expected: &str) {
    let path = in_package("README.md");
    let text = fs::read_to_string(&path).expect("README.md");
    let (open, close) = (format!("<!-- {name} -->\n"), format!("<!-- /{name} -->"));
    let from = text.find(&open).unwrap_or_else(|| panic!("no {open}")) + open.len();
    let to = text.find(&close).unwrap_or_else(|| panic!("no {close}"));
    if std::env::var_os("TEETER_WRITE").is_some() {
        fs::write(&path, format!("{}{}{}", &text[..from], expected, &text[to..])).expect("README.md");
    } else {
        assert_eq!(&text[from..to], expected, "the README's part '{name}'; TEETER_WRITE=1 writes it anew");
    }
}

/// One after the other, since they write one file.
#[test]
fn its_tables_and_its_picture_are_those_of_the_code() {
    part("keys", &keymap::key_table());
    let mut voices = String::from("| voice | sounds like |\n| --- | --- |\n");
    for voice in Voice::ALL {
        writeln!(voices, "| `{voice}` | {} |", voice.words()).expect("a string");
    }
    part("voices", &voices);
    let mut rows = String::from("| what | allowed |\n| --- | --- |\n");
    for bound in bounds::ALL {
        writeln!(rows, "| {} | {} |", bound.what, bound.allowed()).expect("a string");
    }
    part("bounds", &rows);
    part("screen", &format!("```text\n{}```\n", screen("patterns/half-tide-winch.toml", 80, 24)));
}

/// The editor's first finished screen of a groove.
fn screen(path: &str, width: u16, height: u16) -> String {
    let groove = teeter::store::load(&in_package(path)).expect("a pattern").groove;
    let theme = Theme { colours: Colours::None, ascii: false };
    let mut state = State::new(groove, Some(path.into()), Keymap::default(), theme, (width, height));
    for effect in start(&state) {
        if let Effect::Analyse { revision, groove, ask } = effect {
            let report = analysis::report(&groove, &ask).into();
            update(&mut state, Event::Analysed { revision, ask, report });
        }
    }
    let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a terminal");
    terminal.draw(|frame| view(&state, frame)).expect("a frame");
    let buffer = terminal.backend().buffer().clone();
    let mut text = String::new();
    for y in 0..height {
        let line: String = (0..width).map(|x| buffer[(x, y)].symbol()).collect();
        writeln!(text, "{}", line.trim_end()).expect("a string");
    }
    text
}

#[test]
fn its_example_of_a_file_is_a_groove() {
    let text = fs::read_to_string(in_package("README.md")).expect("README.md");
    let example = text.split("```toml\n").nth(1).and_then(|t| t.split("```").next()).expect("an example");
    teeter::store::parse(example, "README.md").map_err(|e| e.to_string()).expect("a groove");
}

#[test]
fn its_example_of_a_config_file_is_one() {
    let text = fs::read_to_string(in_package("README.md")).expect("README.md");
    let start = text.find("[keys]\nplay").expect("an example");
    let example = text[start..].split("```").next().expect("an end");
    let config = Config::parse(example).map_err(|e| e.to_string()).expect("a config file");
    assert_eq!(config.limits.cell_ms, 90.0);
    assert_eq!(config.keymap.first("play"), "F12");
}
