//! The documents agree with the program: generated parts equal the code, examples load, and every command is documented.
//!
//! `TEETER_WRITE=1 cargo nextest run readme` rewrites the generated parts.

use crate::support::in_package;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use serde_json::Value;
use std::collections::{BTreeSet, HashMap, HashSet};
use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};
use teeter::config::Config;
use teeter::rhythm::{Groove, Voice, bounds};
use teeter::terminal::{Colours, Effect, Event, Keymap, State, Theme, keymap, start, update, view};
use teeter::{analysis, manual};

const DEMO: &str = "patterns/half-tide-winch.toml";

fn read(file: &str) -> String {
    fs::read_to_string(in_package(file)).unwrap_or_else(|e| panic!("{file}: {e}"))
}

/// Checks the part of a file between two marks, or rewrites it if the environment says so.
fn part(file: &str, name: &str, expected: &str) {
    let text = read(file);
    let (open, close) = (format!("<!-- {name} -->\n"), format!("<!-- /{name} -->"));
    let from = text.find(&open).unwrap_or_else(|| panic!("{file}: no {open}")) + open.len();
    let to = text.find(&close).unwrap_or_else(|| panic!("{file}: no {close}"));
    if std::env::var_os("TEETER_WRITE").is_some() {
        fs::write(in_package(file), format!("{}{}{}", &text[..from], expected, &text[to..])).expect("written");
    } else {
        assert_eq!(&text[from..to], expected, "{file}, part '{name}': TEETER_WRITE=1 rewrites it");
    }
}

/// The dependencies under the Mozilla Public License that the program on this system is built from, as cargo lists them. It may
/// download what a build without audio left out.
fn mozilla_parts() -> String {
    let platform = format!("{}-unknown-linux-gnu", std::env::consts::ARCH);
    let arguments = ["metadata", "--locked", "--format-version", "1", "--filter-platform", &platform];
    let listed = std::process::Command::new(env!("CARGO")).args(arguments).current_dir(in_package("")).output();
    let listed = listed.expect("cargo");
    assert!(listed.status.success(), "{}", String::from_utf8_lossy(&listed.stderr));
    let metadata: Value = serde_json::from_slice(&listed.stdout).expect("JSON");
    let array = |value: &Value| value.as_array().expect("an array").clone();
    let by_id = |list: &Value| -> HashMap<String, Value> {
        array(list).into_iter().map(|v| (v["id"].as_str().expect("an id").to_owned(), v)).collect()
    };
    let (packages, nodes) = (by_id(&metadata["packages"]), by_id(&metadata["resolve"]["nodes"]));
    let mut open = vec![metadata["resolve"]["root"].as_str().expect("an id").to_owned()];
    let (mut seen, mut rows) = (HashSet::new(), BTreeSet::new());
    while let Some(id) = open.pop() {
        if !seen.insert(id.clone()) {
            continue;
        }
        // Without those of tests and of build scripts.
        let is_part = |d: &&Value| array(&d["dep_kinds"]).iter().any(|k| k["kind"].is_null());
        let found = array(&nodes[&id]["deps"]);
        open.extend(found.iter().filter(is_part).map(|d| d["pkg"].as_str().expect("an id").to_owned()));
        let text = |key: &str| packages[&id][key].as_str().unwrap_or_default();
        if text("license").contains("MPL") {
            rows.insert(format!("| {} | {} | {} |\n", text("name"), text("version"), text("repository")));
        }
    }
    let head = "| part | version | source |\n| --- | --- | --- |\n".to_owned();
    rows.into_iter().fold(head, |text, row| text + &row)
}

fn demo() -> Groove {
    teeter::store::load(&in_package(DEMO)).expect("the demo groove").groove
}

/// One test, because several parts may be in one file.
#[test]
fn generated_parts_equal_the_code() {
    part("src/manual/keys.md", "keys", &keymap::key_table());
    part("src/manual/keys.md", "old keys", &keymap::old_key_table());
    let mut voices = String::from("| voice | sounds like |\n| --- | --- |\n");
    for voice in Voice::ALL {
        writeln!(voices, "| `{voice}` | {} |", voice.description()).expect("a string");
    }
    part("src/manual/voices.md", "voices", &voices);
    let mut rows = String::from("| what | range |\n| --- | --- |\n");
    for bound in bounds::ALL {
        writeln!(rows, "| {} | {} |", bound.what, bound.range()).expect("a string");
    }
    part("src/manual/limits.md", "bounds", &rows);
    part("src/cli/licenses.md", "parts", &mozilla_parts());
    let screen = format!("```text\n{}```\n", screen(DEMO, 80, 24));
    part("README.md", "screen", &screen);
    part("src/manual/screen.md", "screen", &screen);
    part("README.md", "riff", &riff());
    let chapters: Vec<String> =
        manual::CHAPTERS.iter().map(|c| format!("[{}](src/manual/{}.md)", c.name, c.name)).collect();
    let lines: Vec<String> = chapters.chunks(3).map(|line| line.join(", ")).collect();
    part("README.md", "chapters", &format!("{}.\n", lines.join(",\n")));
}

/// The riff of the demo groove as it is typed: the groups of its first layer, which come twice.
fn riff() -> String {
    let groove = demo();
    let groups = analysis::groups::groups(&groove, 0, 0).expect("groups").cells;
    let (once, again) = groups.split_at(groups.len() / 2);
    assert!(once == again && once.iter().all(|g| *g < 10), "{groups:?} can be typed as digits, twice");
    let digits: Vec<String> = once.iter().map(u32::to_string).collect();
    let section = &groove.sections()[0];
    let (bars, meter, tempo) = (section.bars, &section.meter, section.tempo.bpm());
    format!("       {bars} bars of {meter} at {tempo}:    {}, twice\n", digits.join(" "))
}

/// The editor's first finished screen of a groove.
fn screen(path: &str, width: u16, height: u16) -> String {
    let groove = teeter::store::load(&in_package(path)).expect("a pattern").groove;
    let theme = Theme { colours: Colours::None, ascii: false, ..Theme::default() };
    let mut state = State::new(groove, Some(path.into()), Keymap::default(), theme, (width, height));
    for effect in start(&state) {
        if let Effect::Analyse { revision, groove, options } = effect {
            let report = analysis::full_report(&groove, &options).into();
            update(&mut state, Event::Analysed { revision, options, report });
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
fn the_examples_of_groove_files_load() {
    let text = read("src/manual/file.md");
    let examples: Vec<&str> = text.split("```toml\n").skip(1).filter_map(|t| t.split("```").next()).collect();
    assert_eq!(examples.len(), 2);
    for example in examples {
        teeter::store::parse(example, "file.md").map_err(|e| e.to_string()).expect("a groove");
    }
}

#[test]
fn the_example_of_a_config_file_loads() {
    let text = read("src/manual/config.md");
    let start = text.find("[keys]\nplay").expect("an example");
    let example = text[start..].split("```").next().expect("an end");
    let config = Config::parse(example);
    let (keymap, errors) = Keymap::with_bindings(&config.keys);
    assert_eq!((config.errors, errors), (Vec::new(), Vec::new()));
    assert_eq!(config.cell_limit_ms, Some(90.0));
    assert_eq!(keymap.first("play"), "F12");
}

#[test]
fn every_chapter_of_the_manual_is_embedded() {
    let mut files: Vec<String> = fs::read_dir(in_package("src/manual"))
        .expect("a folder")
        .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
        .filter_map(|name| name.strip_suffix(".md").map(str::to_owned))
        .collect();
    files.sort_unstable();
    let mut names: Vec<&str> = manual::CHAPTERS.iter().map(|c| c.name).collect();
    names.sort_unstable();
    assert_eq!(names, files);
    for chapter in manual::CHAPTERS {
        assert!(chapter.text.starts_with("# ") && !chapter.title().is_empty(), "{}", chapter.name);
    }
}

#[test]
fn chapters_name_only_chapters_that_exist() {
    for chapter in manual::CHAPTERS {
        let text = chapter.text.split_whitespace().collect::<Vec<_>>().join(" ");
        for (at, mark) in text.match_indices("chapter `").chain(text.match_indices("chapters `")) {
            let name = text[at + mark.len()..].split('`').next().unwrap_or_default();
            assert!(manual::chapter(name).is_some(), "{} names the chapter '{name}'", chapter.name);
        }
    }
}

#[test]
fn documents_are_short_and_narrow() {
    for (file, most) in [("README.md", 200), ("DEVELOPERS.md", 150)] {
        let lines = read(file).lines().count();
        assert!(lines <= most, "{file}: expected at most {most} lines, found {lines}");
    }
    let mut files = Vec::new();
    markdown(&in_package(""), &mut files);
    assert!(files.len() >= 2 + manual::CHAPTERS.len(), "{files:?}");
    let mut wide = Vec::new();
    for file in files {
        let text = fs::read_to_string(&file).expect("a text");
        let lines = text.lines().enumerate().filter(|(_, l)| l.chars().count() > 120);
        wide.extend(lines.map(|(i, _)| format!("{}:{}", file.display(), i + 1)));
    }
    assert!(wide.is_empty(), "lines over 120 characters: {wide:?}");
}

/// The Markdown files of the package that people write; `demo/pages` and build folders are made by programs.
fn markdown(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if path.is_dir() && !name.starts_with('.') && !matches!(name.as_str(), "target" | "pages" | "out") {
            markdown(&path, found);
        } else if path.extension().is_some_and(|e| e == "md") {
            found.push(path);
        }
    }
}
