//! What others make of our exports, and we of theirs: schemas and libraries that are not ours, set up by `tests/outside/setup.sh`
//! and skipped with a loud line where that could not be done. They must not know how a format is written.

mod grooves;
mod midi;
mod musicxml;

use crate::support::in_package;
use std::path::PathBuf;
use std::process::Command;

/// The Python of the outside checks; `None`, said loudly, where it could not be set up.
fn python() -> Option<PathBuf> {
    let place = in_package("target/outside");
    if place.join("ready").is_file() {
        return Some(place.join("venv/bin/python"));
    }
    eprintln!("*** OUTSIDE CHECKS SKIPPED: tests/outside/setup.sh has not set them up ***");
    None
}

/// Runs a script of `tests/outside`; its output is shown, and it must end well.
fn run(python: &PathBuf, script: &str, words: &[&str]) {
    let done = Command::new(python)
        .arg(in_package("tests/outside").join(script))
        .args(words)
        .output()
        .unwrap_or_else(|e| panic!("{script}: {e}"));
    let said = format!("{}{}", String::from_utf8_lossy(&done.stdout), String::from_utf8_lossy(&done.stderr));
    tell(&said);
    assert!(done.status.success(), "{script}:\n{said}");
}

/// Shows figures: how many of how many is what these checks are for.
#[allow(clippy::print_stdout)]
fn tell(words: &str) {
    println!("{words}");
}

/// An empty folder in `target/outside`.
fn folder(name: &str) -> PathBuf {
    let path = in_package("target/outside").join(name);
    let _ = std::fs::remove_dir_all(&path);
    std::fs::create_dir_all(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    path
}
