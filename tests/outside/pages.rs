//! Students' pages in a browser: sheets of paper, weight, and the sound of the player against its schedule.

use super::{folder, python, run};
use crate::support::in_package;
use std::process::Command;

/// The pages whose sound is checked: one tempo, an additive meter with repeats, several tempos and meters.
const HEARD: [&str; 3] = ["half-tide-winch", "spring-tide-line", "casting-off"];

#[test]
fn students_pages_print_on_one_sheet_and_sound_on_time() {
    let Some(python) = python() else { return };
    let pages = folder("pages");
    let grooves = std::fs::read_dir(in_package("patterns")).expect("patterns").flatten().map(|e| e.path());
    let mut command = Command::new(env!("CARGO_BIN_EXE_teeter"));
    // The takes are named on the page, so they are made; a low rate makes them quickly.
    command.arg("handout").args(grooves).args(["--rate", "8000", "--into"]).arg(&pages);
    let ended = command.env("XDG_CONFIG_HOME", in_package("target/nowhere")).output().expect("the program");
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    run(&python, "pages.py", &[&[&*pages.to_string_lossy()], &HEARD[..]].concat());
}
