//! The architecture: which module may name which modules and crates, and the form every source file has.
//!
//! DEVELOPERS.md has the same table in words.

mod source;

use crate::support::in_package;
use source::{ANY, Source};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// A top-level module of the crate.
struct Module {
    name: &'static str,
    /// The other modules it may name. All of them stand above it in the table.
    modules: &'static [&'static str],
    /// The crates it may name besides std.
    crates: &'static [&'static str],
    /// Code that must not stand in it.
    forbidden: &'static [&'static str],
}

/// What is not allowed here is forbidden. A module that does not exist yet may have its row.
const MODULES: &[Module] = &[
    Module {
        name: "rhythm",
        modules: &[],
        crates: &["num_integer", "num_rational", "num_traits"],
        forbidden: &["f32", "f64", "seconds", "std::fs", "std::time", "SampleRate"],
    },
    Module {
        // Threads only share work: the result is the same without them.
        name: "analysis",
        modules: &["rhythm"],
        crates: &["num_integer", "pulp", "realfft"],
        forbidden: &["std::fs", "std::io", "std::time", "PathBuf"],
    },
    Module {
        name: "variation",
        modules: &["rhythm", "analysis"],
        crates: &["num_integer"],
        forbidden: &["std::fs", "std::io", "std::thread", "std::time", "PathBuf"],
    },
    Module {
        name: "describe",
        modules: &["rhythm", "analysis"],
        crates: &["num_integer", "unicode_width"],
        forbidden: &["std::fs", "std::io", "std::thread", "std::time", "PathBuf"],
    },
    Module {
        name: "session",
        modules: &["rhythm"],
        crates: &[],
        forbidden: &["KeyCode", "std::fs", "std::io", "std::time", "std::thread", "PathBuf"],
    },
    Module {
        name: "sound",
        modules: &["rhythm"],
        crates: &["fnv", "num_integer", "num_rational", "num_traits", "rtrb", "serde", "triple_buffer"],
        forbidden: &["std::fs"],
    },
    Module {
        name: "recording",
        modules: &["rhythm", "analysis", "sound"],
        crates: &["num_integer", "pulp", "realfft", "rubato", "rustfft", "symphonia"],
        forbidden: &["std::thread", "PathBuf"],
    },
    Module {
        name: "notation",
        modules: &["rhythm", "describe"],
        crates: &["num_integer"],
        forbidden: &["std::fs", "std::thread", "std::time", "PathBuf"],
    },
    Module {
        name: "export",
        modules: &["rhythm", "analysis", "describe", "notation"],
        crates: &[
            "base64",
            "midly",
            "miniz_oxide",
            "num_integer",
            "pdf_writer",
            "png",
            "resvg",
            "serde_json",
            "skrifa",
            "zip",
        ],
        forbidden: &["std::fs", "std::thread", "std::time", "PathBuf"],
    },
    Module {
        name: "import",
        modules: &["rhythm", "analysis", "describe", "notation"],
        crates: &["midly", "num_integer", "roxmltree", "zip"],
        forbidden: &["std::fs", "std::thread", "std::time", "PathBuf"],
    },
    Module {
        name: "store",
        modules: &["rhythm"],
        crates: &["fnv", "rustix", "tempfile", "toml_edit"],
        forbidden: &["std::thread"],
    },
    Module {
        name: "config",
        modules: &["rhythm"],
        crates: &["toml_edit"],
        forbidden: &["std::thread", "std::time", "KeyCode"],
    },
    Module {
        name: "jobs",
        modules: &[
            "rhythm",
            "analysis",
            "variation",
            "describe",
            "sound",
            "recording",
            "notation",
            "export",
            "import",
            "store",
        ],
        crates: &["sha2"],
        forbidden: &["KeyCode", "Frame<"],
    },
    Module {
        name: "manual",
        modules: &[],
        crates: &["unicode_width"],
        forbidden: &["std::fs", "std::io", "std::thread", "std::time", "PathBuf"],
    },
    Module {
        name: "terminal",
        modules: &["session", "rhythm", "analysis", "describe", "config", "jobs", "manual"],
        crates: &["num_integer", "ratatui", "strsim", "tui_input", "unicode_width"],
        forbidden: &["std::fs", "std::io", "std::thread", "std::time", "Instant"],
    },
    Module {
        name: "cli",
        modules: &[
            "rhythm",
            "analysis",
            "variation",
            "describe",
            "sound",
            "recording",
            "notation",
            "export",
            "import",
            "store",
            "config",
            "jobs",
            "manual",
        ],
        crates: &[
            "clap",
            "clap_complete",
            "clap_mangen",
            "num_integer",
            "serde_json",
            "strsim",
            "terminal_size",
            "unicode_width",
        ],
        forbidden: &["KeyCode", "Frame<"],
    },
];

/// A file or folder that may name more than its module.
struct Exception {
    /// Its path within src, or the start of it.
    path: &'static str,
    modules: &'static [&'static str],
    crates: &'static [&'static str],
    /// Code it may hold although its module may not.
    code: &'static [&'static str],
}

const EXCEPTIONS: &[Exception] = &[
    // The device side of the player.
    Exception { path: "sound/output.rs", modules: &[], crates: &["rodio", "cpal"], code: &[] },
    Exception { path: "sound/priority.rs", modules: &[], crates: &["thread_priority"], code: &[] },
    Exception { path: "sound/remote", modules: &[], crates: &["miniz_oxide", "postcard"], code: &[] },
    Exception { path: "sound/stderr_guard.rs", modules: &[], crates: &["rustix"], code: &["std::fs"] },
    // These end when a signal asks them to.
    Exception { path: "cli/remote", modules: &[], crates: &["getrandom", "signal_hook", "tempfile"], code: &[] },
    Exception { path: "cli/signals.rs", modules: &[], crates: &["signal_hook"], code: &[] },
    // The socket of a remote speaker is checked as the editor checks it.
    Exception { path: "cli/remote.rs", modules: &["terminal"], crates: &[], code: &[] },
    // Starts the editor.
    Exception { path: "cli/mod.rs", modules: &["terminal"], crates: &[], code: &[] },
    // A time that is only carried along.
    Exception { path: "terminal/input/key_time.rs", modules: &[], crates: &[], code: &["std::time", "Instant"] },
    // The shell of the editor: the part with side effects.
    Exception {
        path: "terminal/shell",
        modules: &["export", "import", "recording", "sound", "store"],
        crates: &["base64", "rustix", "signal_hook"],
        code: &["std::fs", "std::io", "std::thread", "std::time", "Instant"],
    },
    // Tests that read grooves from text.
    Exception { path: "describe/difference/tests", modules: &["store"], crates: &[], code: &[] },
    Exception { path: "terminal/tests/pane_rows", modules: &["store"], crates: &[], code: &[] },
    // Tests that import what was exported.
    Exception { path: "import/midi/tests", modules: &["export"], crates: &[], code: &[] },
    Exception { path: "import/musicxml/tests", modules: &["export"], crates: &[], code: &[] },
    // The play request of an edited groove.
    Exception { path: "jobs/tests.rs", modules: &["session"], crates: &[], code: &[] },
];

/// More code that must not stand in a part of a module: drawing changes nothing.
const PARTS: &[(&str, &[&str])] = &[("terminal/view", &["&mut State"])];

/// Longest source file, in lines.
const MAX_LINES: usize = 600;

/// What a source file violates; `path` is its path within src.
fn violations(path: &str, text: &str, source: &Source, is_test: bool) -> Vec<String> {
    let mut found = Vec::new();
    let mut report = |what: String| found.push(format!("{path}: {what}"));
    let top = path.split('/').next().expect("a first part").trim_end_matches(".rs");
    let Some(module) = MODULES.iter().find(|m| m.name == top) else {
        report("is in no module of the table".to_owned());
        return found;
    };
    let exceptions: Vec<&Exception> = EXCEPTIONS.iter().filter(|e| path.starts_with(e.path)).collect();

    for other in source.top_level_names(depth(path)) {
        let allowed = other == module.name
            || module.modules.contains(&other)
            || exceptions.iter().any(|e| e.modules.contains(&other))
            || !MODULES.iter().any(|m| m.name == other);
        if !allowed {
            report(format!("names the module {other}"));
        }
    }
    if !is_test {
        for name in dependencies() {
            let allowed =
                module.crates.contains(&name.as_str()) || exceptions.iter().any(|e| e.crates.contains(&name.as_str()));
            if !allowed && source.names_crate(&name) {
                report(format!("names the crate {name}"));
            }
        }
        let more = PARTS.iter().filter(|p| path.starts_with(p.0)).flat_map(|p| p.1);
        for code in module.forbidden.iter().chain(more) {
            if source.has(code) && !exceptions.iter().any(|e| e.code.contains(code)) {
                report(format!("has the code `{code}`"));
            }
        }
    }
    if !text.starts_with("//! ") {
        report("its first line is not a `//!` sentence that says what it is for".to_owned());
    }
    let lines = text.lines().count();
    if lines > MAX_LINES {
        report(format!("has {lines} lines, expected at most {MAX_LINES}"));
    }
    found
}

/// How many modules a file is below the crate's root.
fn depth(path: &str) -> usize {
    let parts = path.trim_end_matches(".rs").split('/');
    parts.filter(|p| *p != "mod").count()
}

/// The crates of the manifest's dependencies, as code names them.
fn dependencies() -> Vec<String> {
    let manifest = fs::read_to_string(in_package("Cargo.toml")).expect("the manifest");
    let section = manifest.split("\n[dependencies]\n").nth(1).expect("dependencies");
    let section = section.split("\n[").next().expect("an end");
    section.lines().filter_map(|l| Some(l.split_once(" = ")?.0.trim().replace('-', "_"))).collect()
}

fn rust_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// A source file of src, and whether it is compiled only for tests.
struct File {
    path: String,
    text: String,
    source: Source,
    is_test: bool,
}

/// The source files of src but for the two roots.
fn files() -> &'static [File] {
    static FILES: OnceLock<Vec<File>> = OnceLock::new();
    FILES.get_or_init(read_files)
}

fn read_files() -> Vec<File> {
    let src = in_package("src");
    let mut paths = Vec::new();
    rust_files(&src, &mut paths);
    paths.sort();
    let mut files = Vec::new();
    let mut test_modules: Vec<String> = Vec::new();
    for file in paths {
        let path = file.strip_prefix(&src).expect("within src").to_string_lossy().replace('\\', "/");
        let text = fs::read_to_string(&file).expect("a source");
        let folder = path.trim_end_matches(".rs").trim_end_matches("mod");
        let folder = if folder.ends_with('/') || folder == "lib" { folder } else { &format!("{folder}/") };
        let source = Source::parse(&path, &text);
        test_modules.extend(source.test_modules.iter().map(|m| format!("{folder}{m}")));
        if !matches!(path.as_str(), "lib.rs" | "main.rs") {
            files.push(File { path, text, source, is_test: false });
        }
    }
    for file in &mut files {
        let path = file.path.trim_end_matches(".rs");
        file.is_test = path.ends_with("/tests")
            || path.contains("/tests/")
            || test_modules.iter().any(|m| path == m || path.starts_with(&format!("{m}/")));
    }
    files
}

#[test]
fn every_source_file_keeps_to_the_architecture() {
    let found: Vec<String> = files().iter().flat_map(|f| violations(&f.path, &f.text, &f.source, f.is_test)).collect();
    assert!(found.is_empty(), "\n{}", found.join("\n"));
}

#[test]
fn a_violation_is_found() {
    let head = "//! A module.\n";
    let check = |path: &str, text: &str| violations(path, text, &Source::parse(path, text), false);
    let rows = [
        ("rhythm/time.rs", "use crate::store::load;", "names the module store"),
        ("rhythm/time.rs", "use super::super::store::load;", "names the module store"),
        ("rhythm/mod.rs", "use super::store;", "names the module store"),
        ("rhythm/time.rs", "use crate::{rhythm::Meter, store};", "names the module store"),
        ("rhythm/time.rs", "fn f() { let _ = vec![crate::store::load()]; }", "names the module store"),
        ("analysis/report.rs", "fn f() { let x = crate::sound::Output; }", "names the module sound"),
        ("cli/tap.rs", "use crate::terminal::run;", "names the module terminal"),
        ("session/mod.rs", "use ratatui::Frame;", "names the crate ratatui"),
        ("sound/render.rs", "use rodio::Source;", "names the crate rodio"),
        ("rhythm/time.rs", "fn f(x: f64) {}", "has the code `f64`"),
        ("terminal/view/grid.rs", "fn f(state: &mut State) {}", "has the code `&mut State`"),
        ("terminal/update.rs", "use crate::store::save;", "names the module store"),
        ("terminal/dispatch.rs", "fn f() { let now = Instant::now(); }", "has the code `Instant`"),
        ("kitchen/stove.rs", "", "is in no module of the table"),
        ("kitchen.rs", "", "is in no module of the table"),
    ];
    for (path, code, expected) in rows {
        assert_eq!(check(path, &format!("{head}{code}\n")), [format!("{path}: {expected}")], "{code}");
    }
    let allowed = [
        ("terminal/shell/disk.rs", "use crate::store::save;"),
        ("cli/mod.rs", "use crate::terminal;"),
        ("rhythm/time.rs", "use super::line;"),
        ("rhythm/time.rs", "/// As `crate::store` does.\nfn f() -> &'static str { \"f64\" }"),
        ("rhythm/time.rs", "#[cfg(test)]\nmod tests { use crate::store::load; }"),
    ];
    for (path, code) in allowed {
        assert!(check(path, &format!("{head}{code}\n")).is_empty(), "{code}");
    }
    assert_eq!(check("rhythm/time.rs", "fn f() {}\n").len(), 1, "no module doc");
    assert_eq!(check("rhythm/time.rs", &format!("{head}{}", "\n".repeat(MAX_LINES))).len(), 1, "too long");
}

#[test]
fn the_table_has_no_cycle_and_no_stale_crate() {
    let dependencies = dependencies();
    for (n, module) in MODULES.iter().enumerate() {
        for other in module.modules {
            assert!(
                MODULES[..n].iter().any(|m| m.name == *other),
                "{} names {other}, which is not above it",
                module.name
            );
        }
        for name in module.crates {
            assert!(dependencies.iter().any(|d| d == name), "{}: {name} is no dependency", module.name);
        }
    }
}

#[test]
fn developers_md_has_a_row_for_every_module() {
    let page = fs::read_to_string(in_package("DEVELOPERS.md")).expect("DEVELOPERS.md");
    for module in MODULES {
        let exists = in_package("src").join(module.name).is_dir();
        assert!(!exists || page.contains(&format!("| {} |", module.name)), "no row for {}", module.name);
    }
}

/// Found seeds are kept in tests/regressions only where the shared settings are used.
#[test]
fn every_property_test_keeps_its_seeds() {
    for File { path, text, .. } in files() {
        let blocks = text.matches("proptest! {").count();
        let settings = text.matches("#![proptest_config(crate::rhythm::random::config(").count();
        assert_eq!(blocks, settings, "{path}");
    }
}

#[test]
fn messages_have_one_form_and_only_a_modules_root_says_what_it_must_not_know() {
    let mut found = Vec::new();
    for File { path, text, source, .. } in files() {
        for string in &source.strings {
            if ["allowed is", "allowed are"].iter().any(|old| string.contains(old)) {
                found.push(format!("{path}: {string} has not the form 'expected X, found Y'"));
            }
        }
        let is_root = path.split('/').count() == 1 || path.split('/').skip(1).eq(["mod.rs"]);
        if !is_root && text.contains("must not know") {
            found.push(format!("{path}: says what it must not know; that belongs to its module's mod.rs"));
        }
    }
    assert!(found.is_empty(), "\n{}", found.join("\n"));
}

/// Nothing is declared that nobody makes: every command of the table has its row, every effect and every message its sender.
/// That each is also received is checked by the compiler, which wants every variant of a `match`.
#[test]
fn every_variant_is_constructed_outside_tests() {
    let mut enums: BTreeMap<(&String, &String), &Vec<String>> = BTreeMap::new();
    let mut constructed: BTreeSet<(&String, &String)> = BTreeSet::new();
    for File { path, source, .. } in files().iter().filter(|f| !f.is_test) {
        enums.extend(source.enums.iter().map(|(name, variants)| ((path, name), variants)));
        constructed.extend(source.constructed.iter().map(|(owner, variant)| (owner, variant)));
    }
    let (any, mut missing) = (ANY.to_owned(), Vec::new());
    for ((path, name), variants) in enums {
        if constructed.contains(&(name, &any)) {
            continue;
        }
        for variant in variants {
            if !constructed.contains(&(name, variant)) {
                missing.push(format!("{path}: {name}::{variant} is never constructed"));
            }
        }
    }
    assert!(missing.is_empty(), "\n{}", missing.join("\n"));
}

#[test]
fn the_top_level_has_only_the_agreed_entries() {
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
        assert!(name.starts_with('.') || allowed.contains(&name.as_str()), "{name} does not belong at the top level");
    }
}
