//! Exports checked with schemas and libraries of other projects, their files imported, and their scores heard.
//! `tests/outside/setup.sh` installs them.

mod corpus;
mod grooves;
mod midi;
mod musicxml;
mod pages;

use crate::support::in_package;
use std::path::PathBuf;
use std::process::Command;

/// The Python of the outside checks; `None` if they are to be skipped.
fn python() -> Option<PathBuf> {
    let place = in_package("target/outside");
    if place.join("ready").is_file() {
        return Some(place.join("venv/bin/python"));
    }
    let skipped = std::env::var_os("TEETER_SKIP_OUTSIDE").is_some_and(|v| !v.is_empty());
    assert!(skipped, "run tests/outside/setup.sh first, or set TEETER_SKIP_OUTSIDE to skip the outside checks");
    eprintln!("*** OUTSIDE CHECK SKIPPED: TEETER_SKIP_OUTSIDE is set ***");
    None
}

/// Runs a script of `tests/outside`, which must succeed; prints its output.
fn run(python: &PathBuf, script: &str, words: &[&str]) {
    let finished = Command::new(python)
        .arg(in_package("tests/outside").join(script))
        .args(words)
        .output()
        .unwrap_or_else(|e| panic!("{script}: {e}"));
    let output = format!("{}{}", String::from_utf8_lossy(&finished.stdout), String::from_utf8_lossy(&finished.stderr));
    print_totals(&output);
    assert!(finished.status.success(), "{script}:\n{output}");
}

/// Prints totals: these checks are there to say how many of how many pass.
#[allow(clippy::print_stdout)]
fn print_totals(words: &str) {
    println!("{words}");
}

/// An empty folder in `target/outside`.
fn folder(name: &str) -> PathBuf {
    let path = in_package("target/outside").join(name);
    let _ = std::fs::remove_dir_all(&path);
    std::fs::create_dir_all(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    path
}
