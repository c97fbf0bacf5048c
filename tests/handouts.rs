//! The handouts in demo/pages are what the program makes of the shipped grooves, byte for byte; `TEETER_WRITE=1` rewrites them.

use crate::support::in_package;
use std::fs;
use std::process::Command;

/// The grooves of demo/handouts.
const GROOVES: [&str; 2] = ["half-tide-winch", "spring-tide-line"];

#[test]
fn the_shipped_handouts_are_made_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut command = Command::new(env!("CARGO_BIN_EXE_teeter"));
    command.arg("handout").args(GROOVES.map(|g| format!("patterns/{g}.toml")));
    command.args(["--sound", "none", "--into"]).arg(folder.path()).current_dir(in_package(""));
    let ended = command.env("XDG_CONFIG_HOME", in_package("target/nowhere")).output().expect("the program");
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    let script = fs::read_to_string(in_package("demo/handouts")).expect("the command");
    for groove in GROOVES {
        assert!(script.contains(&format!("patterns/{groove}.toml")), "{groove} is not in demo/handouts");
        for page in [format!("{groove}.html"), format!("{groove}-teacher.html")] {
            let (made, shipped) = (folder.path().join(&page), format!("demo/pages/{page}"));
            let made = fs::read(made).expect("a page");
            if std::env::var_os("TEETER_WRITE").is_some() {
                fs::create_dir_all(in_package("demo/pages")).expect("a folder");
                fs::write(in_package(&shipped), &made).expect("written");
            }
            let shipped = fs::read(in_package(&shipped)).expect("a shipped page");
            assert!(made == shipped, "{page}: the shipped page is another one; TEETER_WRITE=1 writes it anew");
        }
    }
}

#[test]
fn a_handout_with_sound_links_files_that_are_there() {
    let folder = tempfile::tempdir().expect("a folder");
    for (format, page) in [("html", "ticket-bell.html"), ("md", "ticket-bell.md")] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_teeter"));
        command.args(["handout", "patterns/ticket-bell.toml", "--rate", "8000", "--as", format, "--into"]);
        let into = folder.path().join(format);
        command.arg(&into).current_dir(in_package(""));
        let ended = command.env("XDG_CONFIG_HOME", in_package("target/nowhere")).output().expect("the program");
        assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
        let text = fs::read_to_string(into.join(page)).expect("a page");
        let files: Vec<_> = fs::read_dir(&into).expect("a folder").flatten().map(|e| e.file_name()).collect();
        let beside: Vec<String> = files
            .iter()
            .map(|f| f.to_string_lossy().into_owned())
            .filter(|f| f.rsplit_once('.').is_some_and(|(_, e)| e == "wav"))
            .collect();
        assert!(beside.len() > 1 && beside.iter().all(|f| text.contains(f.as_str())), "{beside:?}");
    }
    // A file that exists is not overwritten.
    fs::write(folder.path().join("ticket-bell.md"), "my own words").expect("written");
    let mut command = Command::new(env!("CARGO_BIN_EXE_teeter"));
    command.args(["handout", "patterns/ticket-bell.toml", "--sound", "none", "--as", "md", "--into"]);
    let ended = command.arg(folder.path()).current_dir(in_package("")).output().expect("the program");
    assert_eq!(ended.status.code(), Some(3));
    assert_eq!(fs::read_to_string(folder.path().join("ticket-bell.md")).expect("a file"), "my own words");
}

#[test]
fn what_to_do_names_a_pulse_that_can_be_clapped_and_every_section() {
    let folder = tempfile::tempdir().expect("a folder");
    let told = |groove: &str| {
        let into = folder.path().to_string_lossy().into_owned();
        let words = ["handout", &format!("patterns/{groove}.toml"), "--as", "md", "--sound", "none", "--into", &into];
        let ended = std::process::Command::new(env!("CARGO_BIN_EXE_teeter"))
            .args(words)
            .current_dir(in_package(""))
            .env("XDG_CONFIG_HOME", in_package("target/nowhere"))
            .output()
            .expect("the program");
        assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
        let page = std::fs::read_to_string(folder.path().join(format!("{groove}-teacher.md"))).expect("a page");
        page.split_once("## How to practice it").expect("what to do").1.to_owned()
    };
    // Its eighths run at 320: nobody claps them, but the heads of its meter.
    let tide = told("spring-tide-line");
    assert!(tide.contains("clap the written beat, 137.1 BPM"), "{tide}");
    let off = told("casting-off");
    assert!(off.contains("(50%, 1/4. = 29.25, then 1/4 = 66, then 1/4 = 200/3 (about 66.7))"), "{off}");
}

/// Makes handouts of these files with sound at a low rate; how it ended, its words, and the names in the folder.
fn made(
    from: &std::path::Path,
    files: &[&str],
    into: &std::path::Path,
    format: &str,
) -> (Option<i32>, String, Vec<String>) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_teeter"));
    command.args(["handout", "--rate", "8000", "--as", format, "--into"]).arg(into).arg("--").args(files);
    let ended =
        command.current_dir(from).env("XDG_CONFIG_HOME", in_package("target/nowhere")).output().expect("the program");
    let names =
        fs::read_dir(into).into_iter().flatten().flatten().map(|e| e.file_name().to_string_lossy().into_owned());
    (ended.status.code(), String::from_utf8_lossy(&ended.stderr).into_owned(), names.collect())
}

#[test]
fn names_of_any_script_share_no_file_and_their_links_lead_there() {
    let folder = tempfile::tempdir().expect("a folder");
    let groove = fs::read(in_package("patterns/ticket-bell.toml")).expect("a groove");
    let names = ["Stück", "Stöck", "Урок", "Школ", "a b", "a-b"];
    for name in names {
        fs::write(folder.path().join(format!("{name}.toml")), &groove).expect("written");
    }
    let files = names.map(|n| format!("{n}.toml"));
    let files = files.each_ref().map(String::as_str);
    for (format, one) in [("html", "wav"), ("md", "svg")] {
        let into = folder.path().join(format);
        let (code, words, found) = made(folder.path(), &files, &into, format);
        assert_eq!(code, Some(0), "{words}");
        for name in names {
            let beside = found.iter().filter(|f| f.starts_with(&format!("{name}-")) && f.ends_with(one)).count();
            assert!(beside > 1, "{name}: {found:?}");
            let read = |page: String| fs::read_to_string(into.join(page)).expect("a page");
            let pages = [format!("{name}.{format}"), format!("{name}-teacher.{format}")].map(read).concat();
            let letters = |b: u8| {
                if b.is_ascii_alphanumeric() || b"-._~".contains(&b) {
                    char::from(b).to_string()
                } else {
                    format!("%{b:02X}")
                }
            };
            for file in found.iter().filter(|f| f.starts_with(&format!("{name}-")) && !f.ends_with(format)) {
                let link: String = file.bytes().map(letters).collect();
                assert!(pages.contains(&link), "{link} is not in the pages of {name}");
            }
        }
    }
    // A name begins with no dash, and two that come to one are refused before anything is written.
    for name in ["-x.toml", "x.toml"] {
        fs::write(folder.path().join(name), &groove).expect("written");
    }
    let into = folder.path().join("dash");
    let (code, words, found) = made(folder.path(), &["-x.toml"], &into, "html");
    assert!(code == Some(0) && !found.is_empty() && found.iter().all(|f| f.starts_with('x')), "{words}{found:?}");
    let into = folder.path().join("both");
    let (code, words, found) = made(folder.path(), &["-x.toml", "x.toml"], &into, "html");
    assert!(code == Some(2) && words.contains("-x.toml and x.toml would both") && found.is_empty(), "{words}{found:?}");
}

#[test]
fn a_page_that_exists_is_kept_with_the_files_next_to_it() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::copy(in_package("patterns/ticket-bell.toml"), folder.path().join("t.toml")).expect("copied");
    let into = folder.path().join("out");
    fs::create_dir(&into).expect("a folder");
    fs::write(into.join("t.html"), "my own words").expect("written");
    fs::write(into.join("t-1.wav"), "RIFF my own sound").expect("written");
    let (code, words, mut found) = made(folder.path(), &["t.toml"], &into, "html");
    found.sort();
    assert!(code == Some(3) && words.contains("t.html: the file already exists"), "{words}");
    assert_eq!(found, ["t-1.wav", "t.html"]);
    assert_eq!(fs::read_to_string(into.join("t-1.wav")).expect("a file"), "RIFF my own sound");
}
