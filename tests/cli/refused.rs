//! Tests of invalid arguments and files, and of the errors for them.

use super::{DEMO, run};
use crate::support::in_package;
use std::fs::Permissions;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixListener;
use std::path::Path;
use std::process::{Command, Output, Stdio};

#[test]
fn wrong_arguments_are_refused_with_what_was_expected() {
    let rows: &[(&[&str], i32, &str)] = &[
        (
            &["explain", DEMO, "--speed", "10"],
            2,
            "'10' for '--speed <PERCENT>': expected a number from 20 to 200 (percent)",
        ),
        (&["explain", DEMO, "--speed", "x"], 2, "'x' for '--speed <PERCENT>'"),
        (&["explain", DEMO, "--layer", "sail"], 2, "there is no layer 'sail'; expected one of: winch, foot, bollard"),
        (&["render", DEMO, "-o", "x.wav", "--layer", "sail"], 2, "there is no layer 'sail'"),
        (&["takes", DEMO, "-o", "x.wav", "--layer", "sail"], 2, "there is no layer 'sail'"),
        (&["tap", DEMO, "-", "--layer", "sail"], 2, "there is no layer 'sail'"),
        (
            &["explain", DEMO, "--cell-limit", "5"],
            2,
            "'5' for '--cell-limit <MS>': expected a number from 20 to 1000 (ms)",
        ),
        (&["render", DEMO, "-o", "x.wav", "--rate", "1"], 2, "'1' for '--rate <HZ>'"),
        (
            &["render", DEMO, "-o", "x.wav", "--rate", "fast"],
            2,
            "'fast' for '--rate <HZ>': expected a whole number from 8000 to 384000",
        ),
        (&["render", DEMO, "-o", "x.wav", "--loops", "0"], 2, "expected a whole number from 1 to 10000"),
        (&["takes", DEMO, "-o", "x.wav", "--times", "few"], 2, "expected a whole number from 1 to 10000"),
        (&["render", DEMO, "-o", "x.wav", "--seconds", "x"], 2, "expected a number from 0.01 to 36000"),
        (&["explain", DEMO, "--cell-limit", "x"], 2, "expected a number from 20 to 1000 (ms)"),
        (&["tap", DEMO, "-", "--offset-ms", "x"], 2, "expected a number from -1000 to 1000 (ms)"),
        (&["export", DEMO, "--as", "svg", "--hearing", "x"], 2, "expected the number of a hearing, from 1"),
        (&["export", DEMO, "--as", "svg", "--width", "x"], 2, "expected a number from 480 to 4000 (CSS pixels)"),
        (&["export", DEMO, "--as", "png", "--scale", "x"], 2, "expected a number from 0.1 to 8"),
        (&["remote"], 2, "<HOST>"),
        (&["remote", "isle", "riff.toml", "--join"], 2, "'[FILE]' cannot be used with '--join[=<PID>]'"),
        (&["--join"], 2, "--speaker <SOCKET>"),
        (&["render", DEMO, "-o", "x.wav", "--seconds", "0"], 2, "'0' for '--seconds <S>'"),
        (&["render", DEMO, "-o", "x.wav", "--hearing", "99"], 2, "--hearing: expected the number of a hearing, 1 to "),
        (&["render", DEMO, "-o", "x.wav", "--hearing", "1/5"], 2, "expected the number of a hearing, like 1, 1/2"),
        (&["render", DEMO, "-o", "x.wav", "--click", "5"], 2, "expected beat, strong, off-beat, 2, 3 or 4"),
        (
            &["render", DEMO, "-o", "x.wav", "--ladder", "90-50/10"],
            2,
            "'90-50/10' for '--ladder <FROM-TO/STEP>': expected FROM-TO/STEP",
        ),
        (&["render", DEMO, "-o", "x.wav", "--ladder", "50-100/0.1"], 2, "at most 200 steps"),
        (
            &["render", DEMO, "-o", "x.wav", "--ladder", "50-100/10", "--silence", "1/1"],
            2,
            "'1/1' for '--silence <1/4>': expected 1/2 to 1/64",
        ),
        (&["render", DEMO, "-o", "x.wav", "--silence", "1/4"], 2, "--ladder"),
        (&["takes", DEMO, "-o", "x.wav", "--take", "beats"], 2, "expected beat, beat/2, beat/3, beat/4"),
        (&["takes", DEMO, "-o", "x.wav", "--take", "song"], 2, "expected groove, beat, hearing:1"),
        (&["takes", DEMO, "-o", "x.wav", "--take", "hearing:99"], 2, "expected the number of a hearing, 1 to "),
        (&["takes", DEMO, "-o", "x.mp3"], 2, "expected a file name that ends in .wav, found x.mp3"),
        (&["takes", DEMO, "-o", "x.tsv"], 2, "expected a file name that ends in .wav"),
        (&["render", DEMO, "-o", "x"], 2, "expected a file name that ends in .wav, found x"),
        (&["render", DEMO, "-o", "x.flac", "--ladder", "50-100/25"], 2, "ends in .wav, found x.flac"),
        (&["takes", DEMO, "-o", "x.wav", "--times", "10000"], 3, "longer than a WAV file can hold (4 GiB)"),
        (
            &["render", DEMO, "-o", "no/such/folder/x.wav"],
            3,
            "no/such/folder/x.wav: cannot write: there is no folder no/such/folder\n",
        ),
        (&["render", DEMO, "-o", "src"], 2, "ends in .wav, found src"),
        (&["render", DEMO, "-o", "README.md"], 2, "ends in .wav, found README.md"),
        (&["takes", DEMO, "-o", DEMO], 2, "expected a file name that ends in .wav"),
        (
            &["explian", DEMO],
            2,
            "unrecognized command 'explian' (did you mean 'explain'?); expected a FILE or one of: explain, check",
        ),
        (&["explian", DEMO], 2, "did you mean 'explain'?"),
        (
            &["explian"],
            2,
            "no such command or file: 'explian' (did you mean 'explain'?) (a new groove's file name must end in .toml)",
        ),
        (&["songs/riff"], 2, "no such command or file: 'songs/riff' (a new groove's file name must end in .toml)"),
        (&["explian", "--speaker", "/no/socket"], 2, "no such command or file: 'explian'"),
        (&["songs/riff.toml"], 2, "the editor needs a terminal"),
        (&["riff.TOML"], 2, "the editor needs a terminal"),
        (&["README.md"], 2, "the editor needs a terminal"),
        (&["explain"], 2, "required"),
        (&["explain", "src"], 1, "no groove (.toml file) found in the given folders"),
        (&[DEMO], 2, "the editor needs a terminal"),
        (&["explain", DEMO, "--no-such"], 2, "unexpected argument"),
    ];
    for (words, code, message) in rows {
        let result = run(words, b"");
        assert_eq!(result.code, Some(*code), "{words:?}: {}", result.errors);
        assert!(result.errors.contains(message), "{words:?} printed {}", result.errors);
        assert!(result.text.is_empty(), "{words:?} printed {}", result.text);
    }
    assert!(!Path::new(&in_package("x.wav")).exists());
}

#[test]
fn files_that_are_no_grooves_are_refused_at_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_str().expect("a path").to_owned();
    let big = std::fs::File::create(path("big.toml")).expect("a file");
    big.set_len(200 * 1024 * 1024).expect("a length");
    std::fs::write(path("nul.toml"), b"format = 1\ntitle = \"a\0b\"\n").expect("a file");
    std::fs::write(path("latin.toml"), b"format = 1\ntitle = \"\xe9\"\n").expect("a file");
    std::fs::create_dir(path("folder.toml")).expect("a folder");
    for (name, message) in
        [("big.toml", "209715200"), ("nul.toml", ":2:"), ("latin.toml", ":2:10:"), ("gone.toml", "gone.toml")]
    {
        let result = run(&["check", &path(name)], b"");
        assert_eq!(result.code, Some(1), "{name}");
        assert!(
            result.errors.contains(message)
                && (result.errors.contains("found") || result.errors.contains("no such file")),
            "{name}: {}",
            result.errors
        );
    }
    assert_eq!(run(&["check", &path("folder.toml")], b"").code, Some(1));
    assert_eq!(run(&["check", "/dev/zero"], b"").code, Some(1));
}

/// Runs `teeter --speaker SOCKET` without a terminal; returns the error.
fn with_socket(socket: &Path) -> String {
    let Output { status, stderr, .. } = Command::new(env!("CARGO_BIN_EXE_teeter"))
        .arg("no-such.toml")
        .arg("--speaker")
        .arg(socket)
        .stdin(Stdio::null())
        .output()
        .expect("the program runs");
    assert_eq!(status.code(), Some(2));
    String::from_utf8_lossy(&stderr).into_owned()
}

#[test]
fn a_socket_that_others_could_use_or_that_is_none_is_refused_before_the_screen_opens() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("socket");
    let words = with_socket(&path);
    assert!(words.contains("run `teeter remote HOST` on your own machine"), "{words}");
    std::fs::write(&path, "").expect("written");
    let words = with_socket(&path);
    assert!(words.contains("expected a socket accessible only to you, found another file type"), "{words}");
    std::fs::remove_file(&path).expect("removed");
    let listener = UnixListener::bind(&path).expect("a socket");
    std::fs::set_permissions(&path, Permissions::from_mode(0o660)).expect("a mode");
    let words = with_socket(&path);
    assert!(words.contains("expected a socket accessible only to you, found a socket with mode 660"), "{words}");
    std::fs::set_permissions(&path, Permissions::from_mode(0o600)).expect("a mode");
    let other = std::thread::spawn(move || drop(listener.accept()));
    let words = with_socket(&path);
    assert!(words.contains("no answer from `teeter remote`"), "{words}");
    other.join().expect("no panic");
    assert!(!path.exists(), "a socket that was used is removed");
}

#[test]
fn taps_of_a_file_are_analyzed() {
    // Forty taps on the written beat, 375 ms apart, 20 ms early; the one at 6 s is missing.
    let line = |n: i32| format!("{:.3}\ttap\n", f64::from(n) * 0.375 - 0.02);
    let list: Vec<String> = (2..42).filter(|n| *n != 16).map(line).collect();
    let list = list.concat();
    let result = run(&["tap", DEMO, "-"], format!("seconds\twhat\n# by hand\n\n{list}").as_bytes());
    assert_eq!(result.code, Some(0), "{}", result.errors);
    for words in [
        "39 taps",
        "written beat (160.0)",
        "mean -20 ms",
        "1 slip:",
        "bar 5 beat 1: no tap in pass 1",
        "no tap offset is set",
    ] {
        assert!(result.text.contains(words), "'{words}' is missing in\n{}", result.text);
    }
    assert_eq!(result.errors, "standard input: line 1 ('seconds') skipped as a header\n");
    let spaced = run(&["tap", DEMO, "-"], list.replace('\t', "  ").as_bytes());
    assert_eq!((spaced.text, spaced.errors.as_str()), (result.text, ""));
    let comma = run(&["tap", DEMO, "-"], list.replace('.', ",").as_bytes());
    assert_eq!((comma.code, comma.text.as_str()), (Some(1), ""));
    assert!(
        comma.errors.contains("standard input:1:1: expected a decimal point, like 0.730, found '0,730'"),
        "{}",
        comma.errors
    );
    let shifted = run(&["tap", DEMO, "-", "--offset-ms", "-20"], list.as_bytes());
    assert!(shifted.text.contains("mean +0 ms") || shifted.text.contains("mean -0 ms"), "{}", shifted.text);
    let few = run(&["tap", DEMO, "-"], b"1\n2\n3\n");
    assert!(few.text.contains("too few taps"), "{}", few.text);
    let wrong = run(&["tap", DEMO, "-"], b"1\n2\nsoon\n");
    assert_eq!((wrong.code, wrong.text.as_str()), (Some(1), ""));
    assert!(
        wrong.errors.contains("standard input:3:1: expected a number of seconds up to 1000000, found 'soon'"),
        "{}",
        wrong.errors
    );
    assert_eq!(run(&["tap", DEMO, "-", "--offset-ms", "5000"], b"1\n").code, Some(2));
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("taps.txt").to_str().expect("a path").to_owned();
    std::fs::write(&path, "400\n800\n1200\n").expect("written");
    let ms = run(&["tap", DEMO, &path], b"");
    assert_eq!(ms.code, Some(1));
    assert!(ms.errors.contains("taps.txt: expected times in seconds with a median gap of at most 20"), "{}", ms.errors);
    let swapped = run(&["tap", &path, DEMO], b"");
    assert_eq!(swapped.code, Some(2));
    let error = format!("arguments are swapped; try: teeter tap {DEMO} ");
    assert!(swapped.errors.contains(&error), "{}", swapped.errors);
    let neither = run(&["tap", &path, &path], b"");
    assert!(neither.code == Some(1) && neither.errors.contains("taps.txt:1:"), "{}", neither.errors);
    assert_eq!(run(&["tap", "-", "-"], b"").code, Some(2));
}

#[test]
fn outputs_lists_devices_or_reports_in_one_line_that_there_are_none() {
    let result = run(&["outputs"], b"");
    match result.code {
        Some(0) => assert!(!result.text.is_empty() || result.errors.lines().count() == 1, "{}", result.errors),
        code => assert_eq!((code, result.errors.lines().count()), (Some(3), 1), "{}", result.errors),
    }
}
