//! One tiny wrong file per message. The first line of each, a comment, is the message without the file's name.

use crate::support::{in_package, name, toml_files};
use std::collections::HashSet;
use std::fs;
use std::mem::discriminant;
use teeter::store::{self, LoadError, Problem};

#[test]
fn every_wrong_file_gets_its_exact_words() {
    let mut wrong = Vec::new();
    for path in toml_files("tests/refusals") {
        let bytes = fs::read(&path).expect("a file of this folder");
        let first = bytes.split(|b| *b == b'\n').next().expect("a first line");
        let wanted = format!("{}:{}", path.display(), String::from_utf8_lossy(first).trim_start_matches("# "));
        let found = match store::load(&path) {
            Ok(_) => "no error".to_owned(),
            Err(error) => error.to_string(),
        };
        if found != wanted {
            wrong.push(format!("{}\n  wanted {wanted}\n  found  {found}", name(&path)));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_kind_of_problem_a_text_may_have_has_its_file() {
    let problems = |e: LoadError| discriminant(&e.problem);
    let kinds: HashSet<_> =
        toml_files("tests/refusals").iter().filter_map(|path| store::load(path).err().map(problems)).collect();
    // All but the five of the disk, which are below and in the room's own tests, and the one for what no file can ask.
    let samples = [
        Problem::Nul,
        Problem::NotUtf8(0),
        Problem::Syntax(String::new(), None),
        Problem::Format(0),
        Problem::UnknownKey(String::new(), &[]),
        Problem::MissingKey("", ""),
        Problem::WrongType(String::new(), "", ""),
        Problem::Form("", String::new(), String::new()),
        Problem::Tempo(String::new()),
        Problem::UnknownVoice(String::new()),
        Problem::NameTaken("", String::new()),
        Problem::UnknownSection(String::new(), Vec::new()),
        Problem::PartTaken(String::new()),
        Problem::Drawing(String::new(), String::new()),
        Problem::Both("", ""),
        Problem::Without("", ""),
        Problem::CellsOfNoSection(""),
        Problem::GroupSum(0, 0),
        Problem::CycleTooLong(0, 0),
        Problem::PitchCount(0, 0),
        Problem::Control(""),
    ];
    let missing: Vec<&Problem> = samples.iter().filter(|p| !kinds.contains(&discriminant(*p))).collect();
    assert!(missing.is_empty(), "{missing:?}");
    assert_eq!(kinds.len(), samples.len() + 1, "the samples and Problem::Bound");
}

#[test]
fn what_is_no_file_is_refused_by_name() {
    let refused = |path: &str| store::load(&in_package(path)).expect_err("refused").to_string();
    let at = |path: &str| in_package(path).display().to_string();
    assert_eq!(refused("patterns"), format!("{}: found a directory, allowed is a plain file", at("patterns")));
    let none = "patterns/none.toml";
    assert_eq!(refused(none), format!("{}: found no such file, allowed is an existing file", at(none)));
    let within = "Cargo.toml/none.toml";
    let words = "found a file that cannot be read (Not a directory), allowed is a file you may read";
    assert_eq!(refused(within), format!("{}: {words}", at(within)));
}
