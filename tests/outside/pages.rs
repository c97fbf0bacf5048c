//! Students' pages in a browser: sheets of paper, weight, and the sound of the player against its schedule. Pages as PDF before other
//! readers of PDF.

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

/// Runs a tool of Poppler and returns what it prints.
fn poppler(tool: &str, words: &[&str]) -> String {
    let ended = Command::new(tool).args(words).output().unwrap_or_else(|e| panic!("{tool}: {e}"));
    assert!(ended.status.success() && ended.stderr.is_empty(), "{tool}: {}", String::from_utf8_lossy(&ended.stderr));
    String::from_utf8(ended.stdout).expect("text")
}

#[test]
fn pdf_pages_have_their_paper_and_their_text() {
    if python().is_none() {
        return;
    }
    for (paper, size) in [("a4", "595.28 x 841.89 pts (A4)"), ("letter", "612 x 792 pts (letter)")] {
        let pages = folder(&format!("pages-{paper}"));
        let grooves = std::fs::read_dir(in_package("patterns")).expect("patterns").flatten().map(|e| e.path());
        let mut command = Command::new(env!("CARGO_BIN_EXE_teeter"));
        command
            .arg("handout")
            .args(grooves)
            .args(["--as", "pdf", "--paper", paper, "--rate", "8000", "--into"])
            .arg(&pages);
        let ended = command.env("XDG_CONFIG_HOME", in_package("target/nowhere")).output().expect("the program");
        assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
        let (mut students, mut teachers) = (0, 0);
        for path in std::fs::read_dir(&pages).expect("a folder").flatten().map(|e| e.path()) {
            if path.extension().is_none_or(|e| e != "pdf") {
                continue;
            }
            let path = path.to_string_lossy().into_owned();
            let info = poppler("pdfinfo", &[&path]);
            let field = |name: &str| {
                let line = info.lines().find_map(|l| l.strip_prefix(name)?.strip_prefix(':'));
                line.unwrap_or_else(|| panic!("{name} in {info}")).trim().to_owned()
            };
            assert_eq!(field("Page size"), size, "{path}");
            let text = poppler("pdftotext", &[&path, "-"]);
            let words: Vec<&str> = text.split_whitespace().collect();
            assert!(words.join(" ").contains(&field("Title")), "{path}: {text}");
            if path.ends_with("-teacher.pdf") {
                teachers += 1;
                for heading in ["How it is built", "Why it is hard", "How to practice it"] {
                    assert!(text.contains(heading), "{path}: {heading}");
                }
            } else {
                students += 1;
                assert_eq!(field("Pages"), "1", "{path}");
                assert!(text.contains("What to do"), "{path}");
            }
        }
        assert!(students > 10 && students == teachers, "{students} and {teachers} pages");
    }
}
