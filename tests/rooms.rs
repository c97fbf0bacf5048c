//! The house: which room may name which, what no room may know, the sentence and the size of every file. It must not know
//! what the rooms do.

use crate::support::in_package;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// One row of the table of rooms in DEVELOPERS.md.
struct Room {
    name: &'static str,
    /// Rooms it may name besides itself.
    rooms: &'static [&'static str],
    /// Outside crates it may name besides std.
    crates: &'static [&'static str],
    /// Words that must not stand in its code.
    words: &'static [&'static str],
}

/// The table. What is not listed is forbidden.
const ROOMS: &[Room] = &[
    Room {
        name: "rhythm",
        rooms: &[],
        crates: &["num_integer", "num_rational", "num_traits"],
        words: &["f32", "f64", "seconds", "std::fs", "std::time", "SampleRate"],
    },
    Room {
        name: "analysis",
        rooms: &["rhythm"],
        crates: &["num_integer", "realfft"],
        words: &["std::fs", "std::thread", "std::io", "std::time", "PathBuf"],
    },
    Room {
        name: "describe",
        rooms: &["rhythm", "analysis"],
        crates: &["num_integer", "unicode_width"],
        words: &["std::fs", "std::io", "std::thread", "std::time", "PathBuf"],
    },
    Room {
        name: "session",
        rooms: &["rhythm"],
        crates: &[],
        words: &["KeyCode", "std::fs", "std::io", "std::time", "std::thread", "PathBuf"],
    },
    Room {
        name: "sound",
        rooms: &["rhythm"],
        crates: &["fnv", "num_bigint", "num_integer", "num_rational", "num_traits", "rtrb"],
        words: &["std::fs"],
    },
    Room {
        name: "recording",
        rooms: &["sound", "rhythm"],
        crates: &["rubato", "symphonia"],
        words: &["std::thread", "PathBuf"],
    },
    Room {
        name: "notation",
        rooms: &["rhythm", "describe"],
        crates: &[],
        words: &["std::fs", "std::thread", "std::time", "PathBuf"],
    },
    Room {
        name: "export",
        rooms: &["rhythm", "analysis", "describe", "notation"],
        crates: &["base64", "midly", "num_integer", "png", "resvg", "skrifa", "zip"],
        words: &["std::fs", "std::thread", "std::time", "PathBuf"],
    },
    Room {
        name: "import",
        rooms: &["rhythm", "analysis", "describe", "notation"],
        crates: &["midly", "num_integer", "roxmltree", "zip"],
        words: &["std::fs", "std::thread", "std::time", "PathBuf"],
    },
    Room {
        name: "store",
        rooms: &["rhythm"],
        crates: &["fnv", "rustix", "tempfile", "toml_edit"],
        words: &["std::thread"],
    },
    Room { name: "config", rooms: &[], crates: &["toml_edit"], words: &["std::thread", "std::time", "KeyCode"] },
    Room {
        name: "jobs",
        rooms: &["analysis", "describe", "export", "import", "notation", "recording", "rhythm", "sound", "store"],
        crates: &[],
        words: &["KeyCode", "Frame<"],
    },
    Room {
        name: "manual",
        rooms: &[],
        crates: &["unicode_width"],
        words: &["std::fs", "std::io", "std::thread", "std::time", "PathBuf"],
    },
    Room {
        name: "terminal",
        rooms: &["config", "session", "rhythm", "analysis", "describe", "jobs", "manual"],
        crates: &["num_integer", "ratatui", "tui_input", "unicode_width"],
        words: &["std::fs", "std::io", "std::thread", "std::time", "Instant"],
    },
    Room {
        name: "cli",
        rooms: &[
            "analysis",
            "config",
            "describe",
            "export",
            "import",
            "jobs",
            "manual",
            "notation",
            "recording",
            "rhythm",
            "sound",
            "store",
        ],
        crates: &[
            "clap",
            "clap_complete",
            "clap_mangen",
            "indicatif",
            "num_integer",
            "serde_json",
            "terminal_size",
            "unicode_width",
        ],
        words: &["KeyCode", "Frame<"],
    },
];

/// Parts of rooms with more rights than the rest: a path within src, more rooms, more crates, words it may use after all.
type Right = (&'static str, &'static [&'static str], &'static [&'static str], &'static [&'static str]);

const RIGHTS: &[Right] = &[
    // The device side of the player.
    ("sound/output.rs", &[], &["rodio", "cpal"], &[]),
    ("sound/far", &[], &["getrandom", "hmac", "postcard", "serde", "sha2"], &[]),
    ("sound/quiet.rs", &[], &["rustix"], &["std::fs"]),
    // Starts the editor.
    ("cli/mod.rs", &["terminal"], &[], &[]),
    // Tests that read back what is written.
    ("import/midi/tests", &["export"], &[], &[]),
    ("import/musicxml/tests", &["export"], &[], &[]),
    // Ends when it is told to from outside.
    ("cli/speaker.rs", &[], &["signal_hook"], &[]),
    ("cli/signals.rs", &[], &["signal_hook"], &[]),
    // A stamp that is only carried along.
    ("terminal/input/key_time.rs", &[], &[], &["std::time", "Instant"]),
    // The part that touches the world.
    (
        "terminal/shell",
        &["export", "import", "recording", "sound", "store"],
        &["base64", "signal_hook"],
        &["std::fs", "std::io", "std::thread", "std::time", "Instant"],
    ),
];

/// More forbidden words: what draws changes nothing.
const PARTS: &[(&str, &[&str])] = &[("terminal/view", &["&mut State"])];

/// Longest file, in lines.
const LONGEST: usize = 600;

/// What a source breaks: its path within src and its text are given.
fn breaks(path: &str, text: &str) -> Vec<String> {
    let Some(room) = ROOMS.iter().find(|r| path.starts_with(&format!("{}/", r.name))) else {
        return vec![format!("{path}: in no room")];
    };
    let rights: Vec<&Right> = RIGHTS.iter().filter(|r| path.starts_with(r.0)).collect();
    let is_test = path.ends_with("tests.rs")
        || path.contains("/tests/")
        || path.ends_with("invariance.rs")
        || path.ends_with("soundness.rs");
    let mut broken = Vec::new();
    let code: String = code_of(text, is_test);
    for other in named(&code, "crate::") {
        let allowed = other == room.name
            || room.rooms.contains(&other.as_str())
            || rights.iter().any(|r| r.1.contains(&other.as_str()))
            || !ROOMS.iter().any(|r| r.name == other);
        if !allowed {
            broken.push(format!("{path}: names the room {other}"));
        }
    }
    for outside in outside_crates() {
        let names = code.contains(&format!("{outside}::")) && !is_test;
        let allowed = room.crates.contains(&outside.as_str()) || rights.iter().any(|r| r.2.contains(&outside.as_str()));
        if names && !allowed {
            broken.push(format!("{path}: names the crate {outside}"));
        }
    }
    let more = PARTS.iter().filter(|p| path.starts_with(p.0)).flat_map(|p| p.1.iter());
    for word in room.words.iter().chain(more) {
        if code.contains(word) && !is_test && !rights.iter().any(|r| r.3.contains(word)) {
            broken.push(format!("{path}: has the word {word}"));
        }
    }
    let first = text.lines().next().unwrap_or_default();
    if !first.starts_with("//! ") {
        broken.push(format!("{path}: its first line does not say what it is for"));
    }
    let lines = text.lines().count();
    if lines > LONGEST {
        broken.push(format!("{path}: {lines} lines, allowed are {LONGEST}"));
    }
    broken
}

/// The code without comments and without the test module at its end.
fn code_of(text: &str, all: bool) -> String {
    let end = text.find("#[cfg(test)]\nmod tests {").filter(|_| !all).unwrap_or(text.len());
    let lines: Vec<&str> = text[..end].lines().filter(|l| !l.trim_start().starts_with("//")).collect();
    lines.join("\n")
}

/// The names that follow a prefix.
fn named(code: &str, prefix: &str) -> BTreeSet<String> {
    code.match_indices(prefix)
        .map(|(at, _)| code[at + prefix.len()..].chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect())
        .filter(|n: &String| !n.is_empty())
        .collect()
}

/// The crates of the manifest's dependencies, as code names them.
fn outside_crates() -> Vec<String> {
    let manifest = fs::read_to_string(in_package("Cargo.toml")).expect("the manifest");
    let section = manifest.split("\n[dependencies]\n").nth(1).expect("dependencies");
    let section = section.split("\n[").next().expect("an end");
    section.lines().filter_map(|l| Some(l.split_once(" = ")?.0.trim().replace('-', "_"))).collect()
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

#[test]
fn no_room_names_what_its_row_forbids() {
    let src = in_package("src");
    let mut files = Vec::new();
    sources(&src, &mut files);
    files.sort();
    let mut broken = Vec::new();
    for file in files {
        let path = file.strip_prefix(&src).expect("within src").to_string_lossy().replace('\\', "/");
        if matches!(path.as_str(), "lib.rs" | "main.rs") {
            continue;
        }
        broken.extend(breaks(&path, &fs::read_to_string(&file).expect("a source")));
    }
    assert!(broken.is_empty(), "\n{}", broken.join("\n"));
}

#[test]
fn a_forbidden_arrow_is_found() {
    let head = "//! A room. It must not know others.\n";
    let rows = [
        ("rhythm/time.rs", "use crate::store::load;", "rhythm/time.rs: names the room store"),
        ("analysis/report.rs", "let x = crate::sound::Ask;", "analysis/report.rs: names the room sound"),
        ("session/mod.rs", "use ratatui::Frame;", "session/mod.rs: names the crate ratatui"),
        ("sound/render.rs", "use rodio::Source;", "sound/render.rs: names the crate rodio"),
        ("rhythm/time.rs", "fn f(x: f64) {}", "rhythm/time.rs: has the word f64"),
        ("terminal/view/grid.rs", "fn f(state: &mut State) {}", "terminal/view/grid.rs: has the word &mut State"),
        ("terminal/update.rs", "use crate::store::save;", "terminal/update.rs: names the room store"),
        ("terminal/dispatch.rs", "let now = Instant::now();", "terminal/dispatch.rs: has the word Instant"),
        ("kitchen/stove.rs", "", "kitchen/stove.rs: in no room"),
    ];
    for (path, code, expected) in rows {
        assert_eq!(breaks(path, &format!("{head}{code}\n")), [expected]);
    }
    assert_eq!(breaks("rhythm/time.rs", "fn f() {}\n").len(), 1, "a file without its sentence");
    assert_eq!(breaks("rhythm/time.rs", &format!("{head}{}", "\n".repeat(700))).len(), 1, "a file too long");
    assert!(breaks("terminal/shell/disk.rs", &format!("{head}use crate::store::save;\n")).is_empty());
}

#[test]
fn the_developers_page_has_every_room() {
    let page = fs::read_to_string(in_package("DEVELOPERS.md")).expect("DEVELOPERS.md");
    for room in ROOMS {
        assert!(page.contains(&format!("| {} |", room.name)), "no row for {}", room.name);
    }
    let listed: BTreeSet<&str> = ROOMS.iter().map(|r| r.name).collect();
    for entry in fs::read_dir(in_package("src")).expect("src") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            let name = path.file_name().expect("a name").to_string_lossy().into_owned();
            assert!(listed.contains(name.as_str()), "{name} is in no row");
        }
    }
}

#[test]
fn the_top_level_is_as_agreed() {
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "LICENSE",
        "README.md",
        "DEVELOPERS.md",
        "src",
        "patterns",
        "tests",
        "demo",
        "target",
    ];
    for entry in fs::read_dir(in_package("")).expect("the package") {
        let name = entry.expect("an entry").file_name().to_string_lossy().into_owned();
        assert!(name.starts_with('.') || allowed.contains(&name.as_str()), "{name} does not belong at the top");
    }
}
