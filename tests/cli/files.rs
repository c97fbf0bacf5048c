//! Tests of the files that commands write and read: what is overwritten and refused, other formats, imports.

use super::{DEMO, run, succeed};
use crate::support::in_package;

#[test]
fn an_existing_file_is_kept_and_nothing_is_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_str().expect("a path").to_owned();
    succeed(&["export", DEMO, "--as", "midi", "-o", &path("tide.mid")]);
    let (wav, h) = (path("a.wav"), path("h"));
    // A command, and an existing file that it would replace.
    let rows: &[(&[&str], &str)] = &[
        (&["render", DEMO, "-o", &wav], "a.wav"),
        (&["render", DEMO, "-o", &wav, "--ladder", "50-100/50"], "a.wav"),
        (&["render", DEMO, "-o", &wav, "--ladder", "50-100/50"], "a.tsv"),
        (&["takes", DEMO, "-o", &wav, "--times", "1"], "a.wav"),
        (&["takes", DEMO, "-o", &wav, "--times", "1"], "a.tsv"),
        (&["export", DEMO, "--as", "midi", "--into", &h], "h/half-tide-winch.mid"),
        (&["export", DEMO, "--as", "musicxml", "--into", &h], "h/half-tide-winch.musicxml"),
        (&["export", DEMO, "--as", "mxl", "--into", &h], "h/half-tide-winch.mxl"),
        (&["export", DEMO, "--as", "svg", "--into", &h], "h/half-tide-winch.svg"),
        (&["export", DEMO, "--as", "png", "--into", &h], "h/half-tide-winch.png"),
        (&["export", DEMO, "--as", "html", "--into", &h], "h/half-tide-winch.html"),
        (&["export", DEMO, "--as", "txt", "--into", &h], "h/half-tide-winch.txt"),
        (&["export", DEMO, "--as", "pdf", "--into", &h], "h/half-tide-winch.pdf"),
        (&["export", DEMO, "--as", "csv", "--into", &h], "h/half-tide-winch.csv"),
        (&["export", DEMO, "--as", "json", "--into", &h], "h/half-tide-winch.json"),
        (&["export", DEMO, "--as", "click-midi", "--into", &h], "h/half-tide-winch.mid"),
        (&["handout", DEMO, "--rate", "8000", "--into", &h], "h/half-tide-winch.html"),
        (&["handout", DEMO, "--rate", "8000", "--into", &h], "h/half-tide-winch-1.wav"),
        (&["handout", DEMO, "--sound", "none", "--into", &h], "h/half-tide-winch-teacher.html"),
        (&["handout", DEMO, "--sound", "none", "--as", "md", "--into", &h], "h/half-tide-winch.md"),
        (&["handout", DEMO, "--sound", "none", "--as", "pdf", "--into", &h], "h/half-tide-winch-teacher.pdf"),
        (&["handout", DEMO, "--sound", "none", "--as", "md", "--into", &h], "h/half-tide-winch-grid1.svg"),
        (&["import", &path("tide.mid"), "-o", &path("tide.toml")], "tide.toml"),
        (&["import", &path("tide.mid"), "--into", &h], "h/tide.toml"),
    ];
    for (command, file) in rows {
        let before = files(folder.path());
        let file = path(file);
        std::fs::create_dir_all(std::path::Path::new(&file).parent().expect("a folder")).expect("a folder");
        std::fs::write(&file, "RIFF my own words").expect("written");
        let result = run(command, b"");
        assert_eq!(result.code, Some(3), "{command:?}: {}", result.errors);
        let message = format!("{file}: the file already exists; use --overwrite to replace it\n");
        assert!(result.errors.ends_with(&message), "{command:?}: {}", result.errors);
        assert_eq!(std::fs::read_to_string(&file).expect("text"), "RIFF my own words");
        let added: Vec<String> = files(folder.path()).into_iter().filter(|f| !before.contains(f)).collect();
        assert_eq!(added, [file.as_str()], "{command:?}");
        succeed(&[command, &["--overwrite"][..]].concat());
        assert_ne!(std::fs::read(&file).expect("bytes"), b"RIFF my own words", "{command:?}");
        // The next row begins without results.
        for result in files(folder.path()).iter().filter(|f| !before.contains(f)) {
            std::fs::remove_file(result).expect("removed");
        }
    }
}

/// All files in a folder and its folders.
fn files(folder: &std::path::Path) -> Vec<String> {
    let mut found = Vec::new();
    for path in std::fs::read_dir(folder).expect("a folder").map(|e| e.expect("an entry").path()) {
        if path.is_dir() {
            found.extend(files(&path));
        } else {
            found.push(path.to_str().expect("a path").to_owned());
        }
    }
    found
}

#[test]
fn a_folder_is_not_replaced_and_a_device_is_written_to() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_str().expect("a path").to_owned();
    std::fs::create_dir(path("folder.wav")).expect("a folder");
    let result = run(&["takes", DEMO, "-o", &path("folder.wav"), "--overwrite"], b"");
    assert!(result.code == Some(3) && result.errors.contains("expected a file, found a folder"), "{}", result.errors);
    succeed(&["render", DEMO, "-o", &path("LOUD.WAV")]);
    succeed(&["render", DEMO, "-o", "/dev/null"]);
}

#[test]
fn an_exported_groove_can_be_imported() {
    let home = tempfile::tempdir().expect("a folder");
    let path = |name: &str| home.path().join(name).to_string_lossy().into_owned();
    let result = succeed(&["export", "patterns", "--as", "midi", "--into", &path("midi"), "--hearing", "1"]);
    assert_eq!(
        result.errors.lines().count(),
        std::fs::read_dir(path("midi")).expect("files").count(),
        "{}",
        result.errors
    );
    // A file that exists is replaced only on request, and the groove itself never.
    let midi = path("midi/half-tide-winch.mid");
    let refused = run(&["export", DEMO, "--as", "midi", "-o", &midi], b"");
    assert_eq!(refused.code, Some(3));
    let words = "half-tide-winch.mid: the file already exists; use --overwrite to replace it";
    assert!(refused.errors.contains(words), "{}", refused.errors);
    succeed(&["export", DEMO, "--as", "midi", "-o", &midi, "--overwrite"]);
    let itself = path("no-ending");
    std::fs::copy(DEMO, &itself).expect("copied");
    let refused = run(&["export", &itself, "--as", "midi", "-o", &itself, "--overwrite"], b"");
    assert_eq!(refused.code, Some(2));
    assert!(refused.errors.contains("the file is an input and is never overwritten"), "{}", refused.errors);
    assert_eq!(std::fs::read(&itself).expect("there"), std::fs::read(DEMO).expect("there"));
    let result = succeed(&["import", &path("midi"), "--into", &path("back")]);
    assert!(result.errors.contains("half-tide-winch.toml\n"), "{}", result.errors);
    succeed(&["check", &path("back")]);
    let twice = run(&["import", &path("midi"), "--into", &path("back")], b"");
    assert_eq!(twice.code, Some(3), "grooves are not overwritten");
    let explained = succeed(&["explain", &path("back/half-tide-winch.toml")]).text;
    assert!(explained.contains("groups: 2(3(5+5+4)+5(6))"), "{explained}");
}

#[test]
fn options_that_do_not_apply_are_refused() {
    let home = tempfile::tempdir().expect("a folder");
    let path = |name: &str| home.path().join(name).to_string_lossy().into_owned();
    let (score, tune) = (path("a.mxl"), path("a.toml"));
    for (words, error) in [
        (&["midi", "--picture", "grid"][..], "--picture applies only to svg, png and pdf, not to --as midi"),
        (&["txt", "--theme", "screen"], "--theme applies only to svg, png and pdf, not to --as txt"),
        (&["svg", "--scale", "3"], "--scale applies only to png, not to --as svg"),
        (&["txt", "--hearing", "1"], "--hearing applies only to formats other than txt"),
        (&["svg", "--picture", "grid", "--beams", "group"], "--beams applies only to notation"),
        (&["midi", "--over", "groups"], "--over applies only to notation"),
        (&["svg", "--width", "100"], "expected a number from 480 to 4000"),
        (&["svg", "--width", "nan"], "expected a number from 480 to 4000"),
        (&["png", "--scale", "9"], "expected a number from 0.1 to 8"),
        (&["musicxml", "-o", &score], "expected a file name ending in .musicxml, found .mxl"),
        (&["midi", "-o", &tune], "expected a file name ending in .mid, found .toml"),
    ] {
        let refused = run(&[&["export", DEMO, "--as"], words].concat(), b"");
        assert_eq!(refused.code, Some(2), "{words:?} {}", refused.errors);
        assert!(refused.errors.contains(error), "{words:?} {}", refused.errors);
    }
    assert_eq!(std::fs::read_dir(home.path()).expect("a folder").count(), 0);
}

#[test]
fn import_makes_each_file_once_and_names_an_empty_folder() {
    let home = tempfile::tempdir().expect("a folder");
    let path = |name: &str| home.path().join(name).to_string_lossy().into_owned();
    succeed(&["export", DEMO, "--as", "midi", "--into", &path("midi")]);
    let file = path("midi/half-tide-winch.mid");
    let result = succeed(&["import", &file, &path("midi"), &file, "--into", &path("back")]);
    assert_eq!(result.errors.matches("written: ").count(), 1, "{}", result.errors);
    std::fs::create_dir(path("none")).expect("a folder");
    let result = run(&["import", &path("none"), &file, "-o", &path("one.toml")], b"");
    assert_eq!(result.code, Some(1), "{}", result.errors);
    assert!(result.errors.contains("none: nothing to import in this folder"), "{}", result.errors);
    assert!(result.errors.contains("one.toml\n"), "{}", result.errors);
    let result = run(&["import", &file, "-o", &path("x.mid")], b"");
    assert_eq!(result.code, Some(2));
    assert!(result.errors.contains("-o: expected a name that ends in .toml"), "{}", result.errors);
    // A name that says another format than the bytes.
    std::fs::copy(&file, path("a.musicxml")).expect("a copy");
    let result = run(&["import", &path("a.musicxml")], b"");
    assert_eq!(result.code, Some(1));
    let message = "expected a file name ending in .mid, .midi, .rmi for a Standard MIDI File, found .musicxml";
    assert!(result.errors.contains(message), "{}", result.errors);
}

#[test]
fn notation_is_written_as_it_is_asked_for() {
    let score = |words: &[&str]| succeed(&[&["export", DEMO, "--as", "musicxml", "-o", "-"], words].concat());
    let lyrics = |text: &str| text.matches("<lyric").count();
    let small = |text: &str| text.matches("font-size").count();
    let plain = score(&[]);
    assert_eq!((lyrics(&plain.text), small(&plain.text), plain.errors.as_str()), (0, 28, ""));
    let both = score(&["--over", "groups,landings", "--under", "downbeat", "--beams", "group"]);
    assert_eq!((lyrics(&both.text), small(&both.text)), (3, 56));
    let beams = |by: &str| {
        let words = [
            "export",
            "patterns/pump-and-bucket.toml",
            "--as",
            "musicxml",
            "-o",
            "-",
            "--kit",
            "separate",
            "--beams",
            by,
        ];
        succeed(&words).text.matches(">begin<").count()
    };
    assert!(beams("group") < beams("beat"));
    assert_eq!(small(&score(&["--over", "nothing"]).text), 0);
    // Nine bars of 4/4 hold 36 beats, and a text that names them.
    let beats = score(&["--over", "nothing", "--hearing", "2"]);
    assert_eq!((small(&beats.text), beats.errors.as_str()), (37, ""), "hearing 2 is the written beat");
    let average = score(&["--over", "nothing", "--hearing", "1"]);
    assert_eq!(small(&average.text), 0);
    let message = "skipped hearing 1 (changing pulse), which cannot be notated exactly: ";
    assert!(average.errors.contains(message) && average.errors.lines().count() == 1, "{}", average.errors);
    // A grid can show it.
    assert_eq!(succeed(&["export", DEMO, "--as", "svg", "-o", "-", "--hearing", "1"]).errors, "");
}

#[test]
fn export_and_import_report_what_is_wrong_and_where() {
    let bad_place = ["export", DEMO, "--as", "midi", "-o", "tests/nowhere/x.mid"];
    let rows: [(&[&str], &[u8], i32, &str); 11] = [
        (&["handout", DEMO, "--into", "x", "--paper", "a4"], b"", 2, "--paper applies only to pdf, not to --as html"),
        (&["export", DEMO, "--as", "mxl", "--beams", "bar"], b"", 2, "expected beat, group, accent, found 'bar'"),
        (
            &["handout", DEMO, "--into", "x", "--over", "words"],
            b"",
            2,
            "expected 'nothing', or a comma-separated list of groups,",
        ),
        (&["export", DEMO, "--as", "wax"], b"", 2, "expected one of: midi"),
        (
            &["export", DEMO, "--as", "midi", "-o", "-", "--section", "no"],
            b"",
            2,
            "there is no section 'no'; expected one of: ",
        ),
        (
            &["export", DEMO, "--as", "midi", "-o", "-", "--hearing", "99"],
            b"",
            2,
            "expected the number of a hearing, 1 to ",
        ),
        (&["export", "patterns", "--as", "midi", "-o", "x.mid"], b"", 2, "-o names one file, but there are"),
        (&bad_place, b"", 3, "tests/nowhere/x.mid: cannot write: there is no folder tests/nowhere\n"),
        (&["import", "-"], b"none", 1, "standard input: expected Standard MIDI Files"),
        (
            &["import", "-"],
            b"MThd\0\0\0\x06\0\x02\0\x01\0\x60",
            1,
            "standard input: byte 8: expected format 0 or 1, found format 2",
        ),
        (
            &["import", "-", "--tolerance", "far"],
            b"",
            2,
            "'far' for '--tolerance <MS>': expected a number from 0 to 100 (ms)",
        ),
    ];
    for (words, input, code, message) in rows {
        let result = run(words, input);
        assert_eq!(result.code, Some(code), "{words:?}: {}", result.errors);
        assert!(result.errors.contains(message), "{words:?}: {}", result.errors);
    }
}

#[test]
fn a_signal_leaves_no_temporary_file_and_reports_what_was_written() {
    let home = tempfile::tempdir().expect("a folder");
    let path = |name: &str| home.path().join(name).to_string_lossy().into_owned();
    // A short groove first, whose handout is complete, and one that takes long.
    let groove = |name: &str, times: u32| {
        let text = std::fs::read_to_string(in_package("patterns/ticket-bell.toml")).expect("a groove");
        let text = text.replacen("[[section]]\n", &format!("[[section]]\ntimes = {times}\n"), 1);
        std::fs::write(path(name), text).expect("written");
    };
    groove("a.toml", 1);
    groove("b.toml", 64);
    let (a, b, h, long) = (path("a.toml"), path("b.toml"), path("h"), path("long.wav"));
    let rows: [(&[&str], &str, i32, &str, &str); 2] = [
        (&["render", DEMO, "--seconds", "14000", "-o", &long], "INT", 130, "", "nothing"),
        (&["handout", &a, &b, "--into", &h, "--rate", "192000"], "TERM", 143, "h/a.html", "h/a.html"),
    ];
    for (command, signal, code, complete, written) in rows {
        let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_teeter"));
        child.args(command).env("XDG_CONFIG_HOME", in_package("target/nowhere")).stderr(std::process::Stdio::piped());
        let mut child = child.spawn().expect("begun");
        let under_way = || {
            let large = |f: &String| std::fs::metadata(f).is_ok_and(|m| m.len() > 1 << 20);
            if complete.is_empty() { files(home.path()).iter().any(large) } else { home.path().join(complete).exists() }
        };
        while !under_way() {
            assert!(child.try_wait().expect("a child").is_none(), "it still works");
            std::thread::sleep(std::time::Duration::from_millis(2));
        }
        // The shell has a command for it wherever there is one.
        let kill = format!("kill -{signal} {}", child.id());
        assert!(std::process::Command::new("sh").args(["-c", &kill]).status().expect("a shell").success());
        let result = child.wait_with_output().expect("result");
        let message = String::from_utf8_lossy(&result.stderr).into_owned();
        assert_eq!(result.status.code(), Some(code), "{message}");
        let last = message.lines().last().expect("a message");
        assert!(last.starts_with("teeter: interrupted; written: ") && last.contains(written), "{message}");
        assert!(!files(home.path()).iter().any(|f| f.contains(".teeter-") || f.contains("/b.html")), "{message}");
    }
}

#[test]
fn names_that_act_on_a_terminal_are_shown_escaped() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a\u{1b}[31m\u{202e}\nb.toml");
    let text = "format = 1\ntitle = \"t\u{2066}\"\n[[section]]\nname = \"s\u{2028}\"\nmeter = \"4/4\"\ntempo = 100\nbars = 1\n\
                [[layer]]\nname = \"l\u{200f}\"\nvoice = \"wood\"\ncells = \"X.x. x.x. ..x. x.x.\"\n\
                [[layer]]\nname = \"m\"\nvoice = \"hat\"\nsound = \"no\u{202e}ne.wav\"\ncells = \".... x... .... x...\"\n";
    std::fs::write(&path, text).expect("the groove");
    let path = path.to_str().expect("a path");
    let missing = format!("{path}x");
    let file = |name: &str| folder.path().join(name).to_str().expect("a path").to_owned();
    let (midi, xml, empty, taps) =
        (file("o\u{9b}.mid"), file("o\u{85}.musicxml"), file("e.mid"), file("t\u{2029}.txt"));
    let damaged = file("d.toml");
    std::fs::write(&empty, "\u{1b}[2J\u{202e}").expect("written");
    std::fs::write(&taps, "0.1 \n\u{1b}]0;x\u{7}\u{202e}\n").expect("written");
    std::fs::write(&damaged, "format = 1\ntitle = \"a\"\n\"\\u001b[2J\u{202e}\" = 1\n").expect("written");
    let rows: [&[&str]; 17] = [
        &["check", path],
        &["explain", path],
        &["explain", "--json", path],
        &["explain", path, DEMO],
        &["export", "--as", "txt", path],
        &["export", "--as", "midi", path, "-o", &midi],
        &["export", "--as", "musicxml", path, "-o", &xml],
        &["import", &midi],
        &["import", &xml],
        &["import", &empty],
        &["tap", path, &taps],
        &["tap", path, path],
        &["check", &damaged],
        &["explain", path, "--layer", "\u{202e}\u{1b}[2J"],
        &["render", path, "-o", &file("r\u{202e}.wav"), "--layer", "m"],
        &["check", &missing],
        &["export", "--as", "\u{1b}[2J", path],
    ];
    for words in rows {
        let result = run(words, b"");
        for (stream, text) in [("output", &result.text), ("errors", &result.errors)] {
            let hidden =
                |c: char| c.is_control() && c != '\n' && c != '\t' || "\u{202e}\u{2066}\u{2028}\u{200f}".contains(c);
            assert!(!text.contains(hidden), "{words:?}, {stream}: {text:?}");
        }
        assert!(result.text.len() + result.errors.len() > 0, "{words:?}");
    }
    let checked = run(&["check", path], b"");
    assert!(checked.text.contains(r"a\u{1b}[31m\u{202e}\nb.toml: ok: t\u{2066}"), "{}", checked.text);
    assert!(checked.errors.contains(r"no\u{202e}ne.wav"), "{}", checked.errors);
    // What import prints is a groove with the same names.
    for score in [&midi, &xml] {
        let printed = run(&["import", score], b"").text;
        assert!(printed.contains(r#"title = "t\u2066""#) && printed.contains(r#"name = "l\u200F""#), "{printed}");
        std::fs::write(&damaged, &printed).expect("written");
        assert!(succeed(&["check", &damaged]).text.contains(r"ok: t\u{2066}"), "{printed}");
    }
}
