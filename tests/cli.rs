//! The program without a screen, run as a user runs it: words in, standard output, standard error and exit codes out. It
//! must not know the rooms.

use crate::support::in_package;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

const DEMO: &str = "patterns/half-tide-winch.toml";

/// What the program said and how it ended.
struct Ended {
    out: Vec<u8>,
    text: String,
    errors: String,
    code: Option<i32>,
}

fn run(words: &[&str], input: &[u8]) -> Ended {
    let mut child = Command::new(env!("CARGO_BIN_EXE_teeter"))
        .args(words)
        .current_dir(in_package(""))
        .env("XDG_STATE_HOME", std::env::temp_dir())
        // No config file of the one who runs the tests.
        .env("XDG_CONFIG_HOME", in_package("target/nowhere"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program");
    // A program that does not read its input closes the pipe.
    let _ = child.stdin.take().expect("a pipe").write_all(input);
    let Output { status, stdout, stderr } = child.wait_with_output().expect("an end");
    let text = String::from_utf8_lossy(&stdout).into_owned();
    Ended { text, out: stdout, errors: String::from_utf8_lossy(&stderr).into_owned(), code: status.code() }
}

fn good(words: &[&str]) -> Ended {
    let ended = run(words, b"");
    assert_eq!(ended.code, Some(0), "{words:?}: {}", ended.errors);
    ended
}

#[test]
fn explain_says_how_a_groove_is_built_and_what_is_heard() {
    let text = good(&["explain", DEMO]).text;
    for words in [
        "groups: 2(3(4+4+3)+3(5))",
        "changing pulse",
        "Why it is hard",
        "a cell lasts 100 ms",
        "London 2004",
        "by playing speed",
    ] {
        assert!(text.contains(words), "'{words}' is missing in\n{text}");
    }
}

#[test]
fn explain_gives_json_of_the_documented_schema() {
    let value: serde_json::Value = serde_json::from_str(&good(&["explain", "--json", DEMO]).text).expect("JSON");
    assert_eq!(value["schema"], 1);
    assert_eq!(value["cell_ms"], 100.0);
    let keys: Vec<&String> = value.as_object().expect("an object").keys().collect();
    let readme = std::fs::read_to_string(in_package("README.md")).expect("README.md");
    for key in keys {
        assert!(readme.contains(&format!("`{key}")) || key == "schema", "the README does not name {key}");
    }
    let first = &value["hearings"][0];
    let product: f64 = ["explained", "steady", "tempo", "sounded", "kept"]
        .iter()
        .map(|p| first["parts"][p].as_f64().expect("a part"))
        .product();
    assert!((product * 100.0 - first["score"].as_f64().expect("a score")).abs() < 0.01);
    let half: serde_json::Value =
        serde_json::from_str(&good(&["explain", "--json", "--speed", "50", DEMO]).text).expect("JSON");
    assert_eq!(half["cell_ms"], 200.0);
}

#[test]
fn several_grooves_are_a_table_or_lines_and_a_bad_one_does_not_stop_the_rest() {
    let table = good(&["explain", "patterns"]).text;
    assert_eq!(table.lines().count(), 1 + std::fs::read_dir(in_package("patterns")).expect("patterns").count());
    let ended = run(&["explain", "--json", DEMO, "no-such-file.toml", "patterns/ticket-bell.toml"], b"");
    assert_eq!(ended.code, Some(1));
    assert!(ended.errors.contains("no-such-file.toml"), "{}", ended.errors);
    let titles: Vec<String> = ended
        .text
        .lines()
        .map(|l| {
            serde_json::from_str::<serde_json::Value>(l).expect("a line of JSON")["title"]
                .as_str()
                .expect("title")
                .to_owned()
        })
        .collect();
    assert_eq!(titles, ["Half-Tide Winch", "Ticket Bell"]);
}

#[test]
fn every_list_of_hearings_has_the_same_numbers() {
    let half: &[&str] = &["--speed", "50"];
    for (pattern, more) in
        [(DEMO, [].as_slice()), ("patterns/capstan-thirteen.toml", half), ("patterns/ticket-bell.toml", &[])]
    {
        let json = good(&[&["explain", "--json", pattern], more].concat()).text;
        let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
        let hearings = value["hearings"].as_array().expect("hearings");
        let text = good(&[&["explain", pattern], more].concat()).text;
        let rows = text.lines().skip_while(|l| !l.contains("score      BPM")).skip(1);
        let numbers: Vec<usize> = rows
            .take_while(|l| l.starts_with("  "))
            .filter(|l| l.ends_with(|c: char| c.is_alphabetic() || c == ')') && l.contains("% ") && l.contains(" ms "))
            .filter_map(|l| l.split_whitespace().next()?.parse().ok())
            .collect();
        assert_eq!(numbers, (1..=hearings.len()).collect::<Vec<_>>(), "{text}");
        // What is shown as nothing is there for being first at another speed, or for being the beat.
        let firsts: Vec<u64> =
            value["turns"].as_array().expect("turns").iter().filter_map(|t| t["hearing"].as_u64()).collect();
        for (i, h) in hearings.iter().enumerate() {
            let kept = h["score"].as_f64().expect("a score") >= 0.5 || h["kind"] == "written beat";
            assert!(kept || firsts.contains(&(i as u64)), "{i} {h}");
        }
        let most = hearings.len();
        for named in [most, most + 1] {
            let take = format!("hearing:{named}");
            let words =
                [&["takes", pattern, "-o", "-", "--times", "1", "--rate", "8000", "--take", &take], more].concat();
            let ended = run(&words, b"");
            let said =
                format!("a take's hearing is {named}, allowed are the numbers that explain gives, 1 to {most}\n");
            assert_eq!(
                (ended.code, ended.errors.ends_with(&said)),
                if named > most { (Some(2), true) } else { (Some(0), false) }
            );
        }
    }
}

#[test]
fn a_groove_is_read_from_standard_input() {
    let text = std::fs::read(in_package(DEMO)).expect("the demo groove");
    assert_eq!(run(&["explain", "-"], &text).text, good(&["explain", DEMO]).text);
    let wrong = run(&["explain", "-"], b"format = 1\nname = 3\n");
    assert_eq!(wrong.code, Some(1));
    assert!(wrong.errors.starts_with("standard input:2:1: found"), "{}", wrong.errors);
    let midi = run(&["explain", "-"], b"MThd\0\0\0\x06\0\x01\0\x01\x01\xe0");
    let said = "standard input: found a Standard MIDI File, allowed is a groove; `teeter import` makes one of it\n";
    assert_eq!((midi.code, midi.errors.as_str()), (Some(1), said));
    let latin = run(&["explain", "-"], b"format = 1\ntitle = \"\xe9\"\n");
    assert!(latin.errors.starts_with("standard input:2:10: found the byte 0xE9"), "{}", latin.errors);
}

#[test]
fn render_writes_one_stream_to_a_file_and_to_a_pipe() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("out.wav");
    good(&["render", DEMO, "-o", path.to_str().expect("a path"), "--click", "--hearing", "1"]);
    let piped = good(&["render", DEMO, "-o", "-", "--click", "--hearing", "1"]).out;
    let filed = std::fs::read(&path).expect("the file");
    assert!(piped == filed, "the pipe has {} bytes, the file {}", piped.len(), filed.len());
    // RIFF WAVE (IBM and Microsoft 1991): form, stereo, 48000 frames a second, length as in the header.
    assert_eq!((&filed[..4], &filed[8..12]), (b"RIFF".as_slice(), b"WAVE".as_slice()));
    let number = |at: usize| u32::from_le_bytes(filed[at..at + 4].try_into().expect("four bytes"));
    assert_eq!((number(4) as usize + 8, number(24)), (filed.len(), 48_000));
    assert_eq!(std::fs::read_dir(folder.path()).expect("the folder").count(), 1, "no file is left behind");
}

/// Lines of a list of cues: frame, seconds, name, note.
fn cues(table: &str) -> Vec<(usize, f64, String, String)> {
    let mut lines = table.lines();
    assert_eq!(lines.next(), Some("frame\tseconds\tname\tnote"));
    lines
        .map(|l| {
            let [frame, seconds, name, note] = l.split('\t').collect::<Vec<_>>()[..] else { panic!("columns of {l}") };
            (frame.parse().expect("frame"), seconds.parse().expect("seconds"), name.into(), note.into())
        })
        .collect()
}

#[test]
fn takes_come_as_one_file_with_a_list_of_cues_beside_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("out.wav");
    good(&["takes", DEMO, "-o", path.to_str().expect("a path"), "--count-in"]);
    let wav = std::fs::read(&path).expect("the file");
    let table = std::fs::read_to_string(folder.path().join("out.tsv")).expect("the list");
    assert_eq!(std::fs::read_dir(folder.path()).expect("the folder").count(), 2, "no other file is left behind");
    let list = cues(&table);
    let names: Vec<&str> = list.iter().map(|c| c.2.as_str()).filter(|n| !n.starts_with("count-in: ")).collect();
    let rival = "hearing 1: changing pulse 162.2 then 120.0 then 163.1 then 120.0 BPM";
    let expected = [
        "groove".into(),
        "groove under written beat".into(),
        format!("groove under {rival}"),
        format!("pulses alone, written beat + {rival}"),
        format!("groove under {rival}"),
    ];
    assert_eq!(names, expected);
    // Six bars of 4/4 at 150, twice: 460800 frames each. A bar is counted in for the beat: 76800 frames.
    for (k, pair) in list.windows(2).enumerate() {
        let lasts = pair[1].0 - pair[0].0;
        assert!(if k % 2 == 1 { lasts == 921_600 } else { k > 2 || lasts == 76_800 }, "{lasts} of {pair:?}");
        assert!((pair[0].1 - pair[0].0 as f64 / 48_000.0).abs() < 1e-9);
    }
    for (_, _, name, _) in &list {
        assert!(wav.windows(name.len()).any(|w| w == name.as_bytes()), "{name} is in the file");
    }
    let piped = run(&["takes", DEMO, "-o", "-", "--count-in"], b"");
    assert!(piped.out == wav && piped.errors == table, "{}", piped.errors);
}

#[test]
fn a_ladder_names_its_steps_and_what_changes_on_them() {
    let words =
        ["render", DEMO, "-o", "-", "--ladder", "50-100/25", "--loops", "5", "--silence", "1/4", "--hearing", "1/2"];
    let ended = run(&words, b"");
    assert_eq!(ended.code, Some(0), "{}", ended.errors);
    let list: Vec<_> = cues(&ended.errors).into_iter().filter(|c| !c.2.starts_with("count-in: ")).collect();
    let names: Vec<&str> = list.iter().map(|c| c.2.as_str()).collect();
    assert_eq!(names, ["step 1 of 3: 50%, 1/4 = 75", "step 2 of 3: 75%, 1/4 = 112.5", "step 3 of 3: 100%, 1/4 = 150"]);
    // What explain says of the same speeds.
    for (cue, percent) in list.iter().zip(["50", "75", "100"]) {
        let json = good(&["explain", "--json", "--speed", percent, DEMO]).text;
        let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
        let kind = value["hearings"][0]["kind"].as_str().expect("a kind").to_owned();
        assert!(!cue.3.contains("first: ") || cue.3.contains(&format!("first: {kind}")), "{percent}: {}", cue.3);
    }
    assert!(list[0].3.contains("first: ") && list[0].3.contains("silent after the opening: time through 4"));
    assert!(list[2].3.contains("cells of 100 ms are too fast"), "{}", list[2].3);
}

#[test]
fn words_that_do_not_fit_are_refused_with_what_is_allowed() {
    let rows: &[(&[&str], i32, &str)] = &[
        (&["explain", DEMO, "--speed", "10"], 2, "--speed is '10', allowed is a number from 20 to 200 (percent)"),
        (&["explain", DEMO, "--speed", "x"], 2, "--speed is 'x'"),
        (&["explain", DEMO, "--layer", "sail"], 2, "there is no layer 'sail', allowed are: winch, foot, bollard"),
        (&["render", DEMO, "-o", "x.wav", "--layer", "sail"], 2, "there is no layer 'sail'"),
        (&["takes", DEMO, "-o", "x.wav", "--layer", "sail"], 2, "there is no layer 'sail'"),
        (&["tap", DEMO, "-", "--layer", "sail"], 2, "there is no layer 'sail'"),
        (&["explain", DEMO, "--cell-limit", "5"], 2, "--cell-limit is 5, allowed is a number from 20 to 1000 (ms)"),
        (&["render", DEMO, "-o", "x.wav", "--rate", "1"], 2, "--rate is 1"),
        (
            &["render", DEMO, "-o", "x.wav", "--rate", "fast"],
            2,
            "'fast' for '--rate <HZ>': allowed is a whole number from 8000 to 384000",
        ),
        (&["render", DEMO, "-o", "x.wav", "--loops", "0"], 2, "allowed is a whole number from 1 to 10000"),
        (&["takes", DEMO, "-o", "x.wav", "--times", "few"], 2, "allowed is a whole number from 1 to 10000"),
        (&["render", DEMO, "-o", "x.wav", "--seconds", "x"], 2, "allowed is a number from 0.01 to 36000"),
        (&["explain", DEMO, "--cell-limit", "x"], 2, "allowed is a number from 20 to 1000 (ms)"),
        (&["tap", DEMO, "-", "--offset-ms", "x"], 2, "allowed is a number from -1000 to 1000 (ms)"),
        (&["export", DEMO, "--as", "svg", "--hearing", "x"], 2, "allowed is a number that explain gives, from 1"),
        (&["export", DEMO, "--as", "svg", "--width", "x"], 2, "allowed is a number from 480 to 4000 (CSS pixels)"),
        (&["export", DEMO, "--as", "png", "--scale", "x"], 2, "allowed is a number from 0.1 to 8"),
        (&["speaker", "--port", "abc"], 2, "'abc' for '--port <PORT>': allowed is a port, 1 to 65535"),
        (&["speaker", "--port", "70000"], 2, "allowed is a port, 1 to 65535"),
        (&["riff.toml", "--speaker", "0"], 2, "allowed is a port, 1 to 65535"),
        (&["render", DEMO, "-o", "x.wav", "--seconds", "0"], 2, "--seconds is 0"),
        (
            &["render", DEMO, "-o", "x.wav", "--hearing", "99"],
            2,
            "--hearing is 99, allowed are the numbers that explain gives",
        ),
        (&["render", DEMO, "-o", "x.wav", "--hearing", "1/5"], 2, "allowed is a number from 1, or one cut as 1/2"),
        (&["render", DEMO, "-o", "x.wav", "--click", "5"], 2, "allowed are: beat, off-beat, 2, 3, 4"),
        (
            &["render", DEMO, "-o", "x.wav", "--ladder", "90-50/10"],
            2,
            "--ladder is '90-50/10', allowed is FROM-TO/STEP",
        ),
        (&["render", DEMO, "-o", "x.wav", "--ladder", "50-100/0.1"], 2, "in at most 200 steps"),
        (&["render", DEMO, "-o", "x.wav", "--ladder", "50-100/10", "--silence", "1/1"], 2, "--silence is '1/1'"),
        (&["render", DEMO, "-o", "x.wav", "--silence", "1/4"], 2, "--ladder"),
        (&["takes", DEMO, "-o", "x.wav", "--take", "beats"], 2, "allowed are: beat, beat/2 to 4"),
        (&["takes", DEMO, "-o", "x.wav", "--take", "song"], 2, "allowed are: groove, beat, hearing:1"),
        (&["takes", DEMO, "-o", "x.wav", "--take", "hearing:99"], 2, "a take's hearing is 99, allowed are"),
        (
            &["takes", DEMO, "-o", "x.mp3"],
            2,
            "found the name x.mp3, allowed is one that ends in .wav, or - for standard output",
        ),
        (&["takes", DEMO, "-o", "x.tsv"], 2, "allowed is one that ends in .wav"),
        (&["render", DEMO, "-o", "x"], 2, "found the name x, allowed is one that ends in .wav"),
        (&["render", DEMO, "-o", "x.flac", "--ladder", "50-100/25"], 2, "found the name x.flac"),
        (&["takes", DEMO, "-o", "x.wav", "--times", "10000"], 3, "longer than a WAV file can hold (4 GiB)"),
        (
            &["render", DEMO, "-o", "no/such/folder/x.wav"],
            3,
            "no/such/folder/x.wav: cannot write: there is no folder no/such/folder\n",
        ),
        (&["render", DEMO, "-o", "src"], 2, "found the name src"),
        (&["render", DEMO, "-o", "README.md"], 2, "found the name README.md"),
        (&["takes", DEMO, "-o", DEMO], 2, "allowed is one that ends in .wav"),
        (
            &["explian", DEMO],
            2,
            "found 'explian' and more words after it, allowed is one file to edit, or one of the commands explain",
        ),
        (&["explian", DEMO], 2, "('explain' is near)"),
        (
            &["explian"],
            2,
            "there is no command and no file 'explian'; the command 'explain' is near; the name of a new groove ends in .toml",
        ),
        (&["songs/riff"], 2, "there is no command and no file 'songs/riff'; the name of a new groove ends in .toml"),
        (&["explian", "--speaker", "7450"], 2, "there is no command and no file 'explian'"),
        (&["songs/riff.toml"], 2, "the editor needs a terminal"),
        (&["riff.TOML"], 2, "the editor needs a terminal"),
        (&["README.md"], 2, "the editor needs a terminal"),
        (&["explain"], 2, "required"),
        (&["explain", "src"], 1, "there is no groove"),
        (&[DEMO], 2, "the editor needs a terminal"),
        (&["explain", DEMO, "--no-such"], 2, "unexpected argument"),
    ];
    for (words, code, said) in rows {
        let ended = run(words, b"");
        assert_eq!(ended.code, Some(*code), "{words:?}: {}", ended.errors);
        assert!(ended.errors.contains(said), "{words:?} said {}", ended.errors);
        assert!(ended.text.is_empty(), "{words:?} printed {}", ended.text);
    }
    assert!(!Path::new(&in_package("x.wav")).exists());
}

#[test]
fn sound_is_written_over_sound_only_and_into_a_device() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_str().expect("a path").to_owned();
    std::fs::write(path("notes.wav"), "my own words").expect("written");
    let ended = run(&["render", DEMO, "-o", &path("notes.wav")], b"");
    assert_eq!(ended.code, Some(3));
    assert!(ended.errors.contains("found a file that was not made by this command"), "{}", ended.errors);
    assert_eq!(std::fs::read_to_string(path("notes.wav")).expect("text"), "my own words");
    std::fs::create_dir(path("folder.wav")).expect("a folder");
    let ended = run(&["takes", DEMO, "-o", &path("folder.wav")], b"");
    assert!(ended.code == Some(3) && ended.errors.contains("found a folder, allowed is a file"), "{}", ended.errors);
    good(&["render", DEMO, "-o", &path("LOUD.WAV")]);
    good(&["render", DEMO, "-o", "/dev/null"]);
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
    for (name, said) in
        [("big.toml", "209715200 bytes"), ("nul.toml", ":2:"), ("latin.toml", ":2:10:"), ("gone.toml", "gone.toml")]
    {
        let ended = run(&["check", &path(name)], b"");
        assert_eq!(ended.code, Some(1), "{name}");
        assert!(ended.errors.contains(said) && ended.errors.contains("found"), "{name}: {}", ended.errors);
    }
    assert_eq!(run(&["check", &path("folder.toml")], b"").code, Some(1));
    assert_eq!(run(&["check", "/dev/zero"], b"").code, Some(1));
}

#[test]
fn check_and_completions_work_piped() {
    let ended = good(&["check", "patterns"]);
    assert!(ended.text.lines().all(|l| l.contains(": good: ")) && ended.errors.is_empty());
    for shell in ["bash", "zsh", "fish"] {
        assert!(good(&["completions", shell]).text.contains("explain"), "{shell}");
    }
}

/// Runs `explain` with a config file of these words.
fn with_config(config: &str, words: &[&str]) -> Ended {
    let home = tempfile::tempdir().expect("a folder");
    std::fs::create_dir(home.path().join("teeter")).expect("a folder");
    std::fs::write(home.path().join("teeter/config.toml"), config).expect("written");
    let Output { status, stdout, stderr } = Command::new(env!("CARGO_BIN_EXE_teeter"))
        .args(words)
        .current_dir(in_package(""))
        .env("XDG_CONFIG_HOME", home.path())
        .output()
        .expect("the program");
    let text = String::from_utf8_lossy(&stdout).into_owned();
    Ended { text, out: stdout, errors: String::from_utf8_lossy(&stderr).into_owned(), code: status.code() }
}

#[test]
fn explain_takes_the_cell_limit_from_the_config_file_unless_one_is_given() {
    let config = "[keys]\nplay = \"f9\"\n[hearing]\ncell-limit = 70\n";
    let given = good(&["explain", "--cell-limit", "70", DEMO]).text;
    assert_ne!(given, good(&["explain", DEMO]).text);
    assert_eq!(with_config(config, &["explain", DEMO]).text, given);
    assert_eq!(with_config(config, &["explain", "--cell-limit", "100", DEMO]).text, good(&["explain", DEMO]).text);
    let wrong = with_config("[hearing]\ncell-limit = \"fast\"\n", &["explain", DEMO]);
    assert_eq!(wrong.code, Some(2));
    let said = "config.toml:2:14: found the text \"fast\", allowed is a number\n";
    assert!(wrong.errors.ends_with(said), "{}", wrong.errors);
    let wrong = with_config("[haering]\ncell-limit = 90\n", &["explain", DEMO]);
    let said = "config.toml:1:2: found 'haering', allowed are 'keys', 'hearing', 'tap', 'sound'\n";
    assert!(wrong.code == Some(2) && wrong.errors.ends_with(said), "{}", wrong.errors);
    assert!(wrong.text.is_empty());
}

#[test]
fn explain_draws_the_streams() {
    let text = good(&["explain", DEMO]).text;
    let picture: Vec<&str> = text.lines().skip_while(|l| !l.starts_with("    150.0 written beat")).take(3).collect();
    assert_eq!(picture.len(), 3, "{text}");
    // The snare on every third of four beats falls with the beat each time.
    assert!(picture[2].contains("37.5 bollard") && picture[2].contains('#') && !picture[2].contains('|'), "{text}");
    assert!(text.contains("| a pulse  # with another in 20 ms"));
}

/// `teeter --speaker PORT` with a token in the environment, and no terminal.
fn far(port: &str, token: &str) -> (Option<i32>, String) {
    let Output { status, stderr, .. } = Command::new(env!("CARGO_BIN_EXE_teeter"))
        .args(["no-such.toml", "--speaker", port])
        .env("TEETER_SPEAKER_TOKEN", token)
        .stdin(Stdio::null())
        .output()
        .expect("the program runs");
    (status.code(), String::from_utf8_lossy(&stderr).into_owned())
}

#[test]
fn a_far_speaker_that_is_not_there_is_told_before_the_screen_opens() {
    let (code, words) = far("7450", "salt");
    assert_eq!(code, Some(2));
    assert!(words.contains("a token looks like"), "{words}");
    let (code, words) = far("7450", "");
    assert_eq!(code, Some(2));
    assert!(words.contains("TEETER_SPEAKER_TOKEN"), "{words}");
    let listener = std::net::TcpListener::bind(("127.0.0.1", 0)).expect("a port");
    let port = listener.local_addr().expect("an address").port().to_string();
    let nobody = std::thread::spawn(move || drop(listener.accept()));
    let (code, words) = far(&port, "k7mp-2xqd-9fht-w3bn");
    assert_eq!(code, Some(2));
    assert!(words.contains("no `teeter speaker` runs at its other end"), "{words}");
    nobody.join().expect("no panic");
    let (code, words) = far(&port, "k7mp-2xqd-9fht-w3bn");
    assert_eq!(code, Some(2));
    assert!(words.contains("ssh -R"), "{words}");
    assert!(far("0", "k7mp-2xqd-9fht-w3bn").1.contains("allowed is a port, 1 to 65535"));
}

#[test]
fn taps_of_a_file_are_told() {
    // Forty taps on the written beat, 400 ms apart, 20 ms early; the one at 6.4 s is missing.
    let line = |n: i32| format!("{:.3}\ttap\n", f64::from(n) * 0.4 - 0.02);
    let list: Vec<String> = (2..42).filter(|n| *n != 16).map(line).collect();
    let list = list.concat();
    let ended = run(&["tap", DEMO, "-"], format!("seconds\twhat\n# by hand\n\n{list}").as_bytes());
    assert_eq!(ended.code, Some(0), "{}", ended.errors);
    for words in [
        "39 taps",
        "written beat (150.0)",
        "mean -20 ms",
        "1 slip:",
        "bar 5 beat 1: no tap in turn 1",
        "no offset is known",
    ] {
        assert!(ended.text.contains(words), "'{words}' is missing in\n{}", ended.text);
    }
    assert_eq!(ended.errors, "standard input: line 1 ('seconds') was taken for a heading\n");
    let spaced = run(&["tap", DEMO, "-"], list.replace('\t', "  ").as_bytes());
    assert_eq!((spaced.text, spaced.errors.as_str()), (ended.text, ""));
    let comma = run(&["tap", DEMO, "-"], list.replace('.', ",").as_bytes());
    assert_eq!((comma.code, comma.text.as_str()), (Some(1), ""));
    assert!(comma.errors.contains("standard input:1:1: found '0,780', allowed is a decimal point"), "{}", comma.errors);
    let taken = run(&["tap", DEMO, "-", "--offset-ms", "-20"], list.as_bytes());
    assert!(taken.text.contains("mean +0 ms") || taken.text.contains("mean -0 ms"), "{}", taken.text);
    let few = run(&["tap", DEMO, "-"], b"1\n2\n3\n");
    assert!(few.text.contains("too few taps"), "{}", few.text);
    let wrong = run(&["tap", DEMO, "-"], b"1\n2\nsoon\n");
    assert_eq!((wrong.code, wrong.text.as_str()), (Some(1), ""));
    assert!(
        wrong.errors.contains("standard input:3:1: found 'soon', allowed is a number of seconds"),
        "{}",
        wrong.errors
    );
    assert_eq!(run(&["tap", DEMO, "-", "--offset-ms", "5000"], b"1\n").code, Some(2));
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("taps.txt").to_str().expect("a path").to_owned();
    std::fs::write(&path, "400\n800\n1200\n").expect("written");
    let ms = run(&["tap", DEMO, &path], b"");
    assert_eq!(ms.code, Some(1));
    assert!(
        ms.errors.contains("taps.txt: found taps 400 apart in the middle, allowed are times in seconds"),
        "{}",
        ms.errors
    );
    let swapped = run(&["tap", &path, DEMO], b"");
    assert_eq!(swapped.code, Some(2));
    let said = format!("taps.txt is no groove and {DEMO} is one, allowed is the groove first: teeter tap {DEMO} ");
    assert!(swapped.errors.contains(&said), "{}", swapped.errors);
    let neither = run(&["tap", &path, &path], b"");
    assert!(neither.code == Some(1) && neither.errors.contains("taps.txt:1:"), "{}", neither.errors);
    assert_eq!(run(&["tap", "-", "-"], b"").code, Some(2));
}

#[test]
fn a_layers_own_sound_is_read_beside_the_groove_and_a_bad_one_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = "format = 1\ntitle = \"t\"\n[[section]]\nmeter = \"4/4\"\ntempo = 120\nbars = 1\n[[layer]]\nname = \"l\"\nvoice = \"rim\"\n\
                sound = \"burst.flac\"\naccent-depth = 6\ncells = \"x...x...X...o...\"\n";
    let groove = folder.path().join("g.toml");
    std::fs::write(&groove, text).expect("written");
    let words = ["render", groove.to_str().expect("a path"), "-o", "-"];
    let missing = good(&words);
    let said = "burst.flac: found no such file, allowed is an existing sound file; its layer sounds its voice";
    assert!(missing.errors.contains(said), "{}", missing.errors);
    std::fs::copy(in_package("tests/sounds/burst.flac"), folder.path().join("burst.flac")).expect("copied");
    let there = good(&words);
    assert_eq!(there.errors, "");
    assert_ne!(there.out, missing.out);
    // A take has the sound as well.
    let takes = folder.path().join("takes.wav");
    let ended = good(&["takes", words[1], "-o", takes.to_str().expect("a path"), "--take", "groove", "--times", "1"]);
    assert!(!ended.errors.contains("burst"), "{}", ended.errors);
    let rendered = std::fs::read(&takes).expect("takes");
    let same = rendered[44..].iter().zip(&there.out[44..]).take(3 * 2 * 48_000).all(|(a, b)| a == b);
    assert!(same, "the take sounds as the loop");
    std::fs::write(folder.path().join("burst.flac"), b"fLaC and nothing more").expect("written");
    let damaged = good(&words);
    assert!(damaged.errors.contains("burst.flac: found a damaged file"), "{}", damaged.errors);
    assert_eq!(damaged.out, missing.out);
}

#[test]
fn outputs_lists_devices_or_says_in_one_line_that_there_are_none() {
    let ended = run(&["outputs"], b"");
    match ended.code {
        Some(0) => assert!(!ended.text.is_empty() || ended.errors.lines().count() == 1, "{}", ended.errors),
        code => assert_eq!((code, ended.errors.lines().count()), (Some(3), 1), "{}", ended.errors),
    }
}

#[test]
fn export_and_import_go_there_and_back() {
    let home = tempfile::tempdir().expect("a folder");
    let path = |name: &str| home.path().join(name).to_string_lossy().into_owned();
    let ended = good(&["export", "patterns", "--as", "midi", "--into", &path("midi"), "--hearing", "1"]);
    assert_eq!(
        ended.errors.lines().count(),
        std::fs::read_dir(path("midi")).expect("files").count(),
        "{}",
        ended.errors
    );
    // A file of the format may be written over, another not.
    good(&["export", DEMO, "--as", "midi", "-o", &path("midi/half-tide-winch.mid")]);
    let refused = run(&["export", DEMO, "--as", "midi", "-o", "Cargo.toml"], b"");
    assert_eq!(refused.code, Some(3));
    assert!(
        refused.errors.contains("Cargo.toml: found a file; it is written over only with --overwrite"),
        "{}",
        refused.errors
    );
    let ended = good(&["import", &path("midi"), "--into", &path("back")]);
    assert!(ended.errors.contains("half-tide-winch.toml: made from"), "{}", ended.errors);
    good(&["check", &path("back")]);
    let twice = run(&["import", &path("midi"), "--into", &path("back")], b"");
    assert_eq!(twice.code, Some(3), "grooves are not written over");
    let explained = good(&["explain", &path("back/half-tide-winch.toml")]).text;
    assert!(explained.contains("groups: 2(3(4+4+3)+3(5))"), "{explained}");
}

#[test]
fn notation_is_written_as_it_is_asked_for() {
    let score = |words: &[&str]| good(&[&["export", DEMO, "--as", "musicxml", "-o", "-"], words].concat());
    let lyrics = |text: &str| text.matches("<lyric").count();
    let small = |text: &str| text.matches("font-size").count();
    let plain = score(&[]);
    assert_eq!((lyrics(&plain.text), small(&plain.text), plain.errors.as_str()), (0, 24, ""));
    let both = score(&["--over", "groups,landings", "--under", "downbeat", "--beams", "group"]);
    assert_eq!((lyrics(&both.text), small(&both.text)), (2, 48));
    let beams = |text: &str| text.matches(">begin<").count();
    assert!(beams(&both.text) < beams(&plain.text));
    assert_eq!(small(&score(&["--over", "nothing"]).text), 0);
    // Six bars of 4/4 hold 12 pulses of every 2 beats, and words that say what they are.
    let every_two = score(&["--over", "nothing", "--hearing", "6"]);
    assert_eq!((small(&every_two.text), every_two.errors.as_str()), (13, ""), "hearing 6 is every 2 beats");
    let changing = score(&["--over", "nothing", "--hearing", "1"]);
    assert_eq!(small(&changing.text), 0);
    let said = "hearing 1 (changing pulse) cannot be written in notes exactly and is left out: ";
    assert!(changing.errors.contains(said) && changing.errors.lines().count() == 1, "{}", changing.errors);
    // It goes into a grid, where nothing need be left out.
    assert_eq!(good(&["export", DEMO, "--as", "svg", "-o", "-", "--hearing", "1"]).errors, "");
}

#[test]
fn export_and_import_say_what_is_wrong_and_where() {
    let bad_place = ["export", DEMO, "--as", "midi", "-o", "tests/nowhere/x.mid"];
    let rows: [(&[&str], &[u8], i32, &str); 10] = [
        (&["export", DEMO, "--as", "mxl", "--beams", "bar"], b"", 2, "allowed are: beat, group, accent"),
        (
            &["handout", DEMO, "--into", "x", "--over", "words"],
            b"",
            2,
            "allowed are: nothing, or joined by commas groups,",
        ),
        (&["export", DEMO, "--as", "wax"], b"", 2, "there is no format 'wax', allowed are: midi"),
        (
            &["export", DEMO, "--as", "midi", "-o", "-", "--section", "no"],
            b"",
            2,
            "there is no section 'no', allowed are: ",
        ),
        (
            &["export", DEMO, "--as", "midi", "-o", "-", "--hearing", "99"],
            b"",
            2,
            "--hearing is 99, allowed are the numbers from 1 to",
        ),
        (&["export", "patterns", "--as", "midi", "-o", "x.mid"], b"", 2, "-o names one file, found"),
        (&bad_place, b"", 3, "tests/nowhere/x.mid: cannot write: there is no folder tests/nowhere\n"),
        (&["import", "-"], b"none", 1, "standard input: found no format known here"),
        (&["import", "-"], b"MThd\0\0\0\x06\0\x02\0\x01\0\x60", 1, "standard input: byte 8: found format 2"),
        (
            &["import", "-", "--tolerance", "far"],
            b"",
            2,
            "--tolerance is 'far', allowed is a number from 0 to 100 (ms)",
        ),
    ];
    for (words, input, code, said) in rows {
        let ended = run(words, input);
        assert_eq!(ended.code, Some(code), "{words:?}: {}", ended.errors);
        assert!(ended.errors.contains(said), "{words:?}: {}", ended.errors);
    }
}
