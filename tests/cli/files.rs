//! What the commands write and read: sound with its cues, other formats, own sounds. It must not know the rooms.

use super::{DEMO, good, run};
use crate::support::in_package;

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
    let rival = "hearing 1: changing pulse 136.2 then 106.7 then 136.8 then 106.7 BPM";
    let expected = [
        "groove".into(),
        "groove under written beat".into(),
        format!("groove under {rival}"),
        format!("pulses alone, written beat + {rival}"),
        format!("groove under {rival}"),
    ];
    assert_eq!(names, expected);
    // Nine bars of 4/4 at 160, twice: 648000 frames each. A bar is counted in for the beat: 72000 frames.
    for (k, pair) in list.windows(2).enumerate() {
        let lasts = pair[1].0 - pair[0].0;
        assert!(if k % 2 == 1 { lasts == 1_296_000 } else { k > 2 || lasts == 72_000 }, "{lasts} of {pair:?}");
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
    assert_eq!(names, ["step 1 of 3: 50%, 1/4 = 80", "step 2 of 3: 75%, 1/4 = 120", "step 3 of 3: 100%, 1/4 = 160"]);
    // What explain says of the same speeds.
    for (cue, percent) in list.iter().zip(["50", "75", "100"]) {
        let json = good(&["explain", "--json", "--speed", percent, DEMO]).text;
        let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
        let kind = value["hearings"][0]["kind"].as_str().expect("a kind").to_owned();
        assert!(!cue.3.contains("first: ") || cue.3.contains(&format!("first: {kind}")), "{percent}: {}", cue.3);
    }
    assert!(list[0].3.contains("first: ") && list[0].3.contains("silent after the opening: time through 4"));
    assert!(list[2].3.contains("cells of 94 ms are too fast"), "{}", list[2].3);
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
    // A file of the format may be anybody's: it is written over only where that is said, the groove itself not even then.
    let midi = path("midi/half-tide-winch.mid");
    let refused = run(&["export", DEMO, "--as", "midi", "-o", &midi], b"");
    assert_eq!(refused.code, Some(3));
    let words = "half-tide-winch.mid: found a file; it is written over only with --overwrite";
    assert!(refused.errors.contains(words), "{}", refused.errors);
    good(&["export", DEMO, "--as", "midi", "-o", &midi, "--overwrite"]);
    let itself = path("no-ending");
    std::fs::copy(DEMO, &itself).expect("copied");
    let refused = run(&["export", &itself, "--as", "midi", "-o", &itself, "--overwrite"], b"");
    assert_eq!(refused.code, Some(2));
    assert!(refused.errors.contains("this is the groove itself"), "{}", refused.errors);
    assert_eq!(std::fs::read(&itself).expect("there"), std::fs::read(DEMO).expect("there"));
    let ended = good(&["import", &path("midi"), "--into", &path("back")]);
    assert!(ended.errors.contains("half-tide-winch.toml: made from"), "{}", ended.errors);
    good(&["check", &path("back")]);
    let twice = run(&["import", &path("midi"), "--into", &path("back")], b"");
    assert_eq!(twice.code, Some(3), "grooves are not written over");
    let explained = good(&["explain", &path("back/half-tide-winch.toml")]).text;
    assert!(explained.contains("groups: 2(3(5+5+4)+5(6))"), "{explained}");
}

#[test]
fn words_that_say_nothing_of_what_is_made_are_refused() {
    let home = tempfile::tempdir().expect("a folder");
    let path = |name: &str| home.path().join(name).to_string_lossy().into_owned();
    let (score, tune) = (path("a.mxl"), path("a.toml"));
    for (words, told) in [
        (&["midi", "--picture", "grid"][..], "--picture is of svg and png"),
        (&["txt", "--theme", "screen"], "--theme is of svg and png"),
        (&["svg", "--scale", "3"], "--scale is of png"),
        (&["txt", "--hearing", "1"], "--hearing is of every format but txt"),
        (&["svg", "--picture", "grid", "--beams", "group"], "--beams is of notation"),
        (&["midi", "--over", "groups"], "--over is of notation"),
        (&["svg", "--width", "100"], "allowed is a number from 480 to 4000"),
        (&["svg", "--width", "nan"], "allowed is a number from 480 to 4000"),
        (&["png", "--scale", "9"], "allowed is a number from 0.1 to 8"),
        (&["musicxml", "-o", &score], "expected a file name ending in .musicxml, found .mxl"),
        (&["midi", "-o", &tune], "expected a file name ending in .mid, found .toml"),
    ] {
        let refused = run(&[&["export", DEMO, "--as"], words].concat(), b"");
        assert_eq!(refused.code, Some(2), "{words:?} {}", refused.errors);
        assert!(refused.errors.contains(told), "{words:?} {}", refused.errors);
    }
    assert_eq!(std::fs::read_dir(home.path()).expect("a folder").count(), 0);
}

#[test]
fn import_makes_each_file_once_and_names_an_empty_folder() {
    let home = tempfile::tempdir().expect("a folder");
    let path = |name: &str| home.path().join(name).to_string_lossy().into_owned();
    good(&["export", DEMO, "--as", "midi", "--into", &path("midi")]);
    let file = path("midi/half-tide-winch.mid");
    let ended = good(&["import", &file, &path("midi"), &file, "--into", &path("back")]);
    assert_eq!(ended.errors.matches("made from").count(), 1, "{}", ended.errors);
    std::fs::create_dir(path("none")).expect("a folder");
    let ended = run(&["import", &path("none"), &file, "-o", &path("one.toml")], b"");
    assert_eq!(ended.code, Some(1), "{}", ended.errors);
    assert!(ended.errors.contains("none: there is nothing to import in this folder"), "{}", ended.errors);
    assert!(ended.errors.contains("one.toml: made from"), "{}", ended.errors);
    let ended = run(&["import", &file, "-o", &path("x.mid")], b"");
    assert_eq!(ended.code, Some(2));
    assert!(ended.errors.contains("x.mid', allowed is a name that ends in .toml"), "{}", ended.errors);
    // A name that says another format than the bytes.
    std::fs::copy(&file, path("a.musicxml")).expect("a copy");
    let ended = run(&["import", &path("a.musicxml")], b"");
    assert_eq!(ended.code, Some(1));
    let said = "expected a file name ending in .mid, .midi, .rmi for a Standard MIDI File, found .musicxml";
    assert!(ended.errors.contains(said), "{}", ended.errors);
}

#[test]
fn notation_is_written_as_it_is_asked_for() {
    let score = |words: &[&str]| good(&[&["export", DEMO, "--as", "musicxml", "-o", "-"], words].concat());
    let lyrics = |text: &str| text.matches("<lyric").count();
    let small = |text: &str| text.matches("font-size").count();
    let plain = score(&[]);
    assert_eq!((lyrics(&plain.text), small(&plain.text), plain.errors.as_str()), (0, 28, ""));
    let both = score(&["--over", "groups,landings", "--under", "downbeat", "--beams", "group"]);
    assert_eq!((lyrics(&both.text), small(&both.text)), (3, 56));
    let beams = |text: &str| text.matches(">begin<").count();
    assert_ne!(beams(&both.text), beams(&plain.text));
    assert_eq!(small(&score(&["--over", "nothing"]).text), 0);
    // Nine bars of 4/4 hold 18 pulses of every 2 beats, and words that say what they are.
    let every_two = score(&["--over", "nothing", "--hearing", "5"]);
    assert_eq!((small(&every_two.text), every_two.errors.as_str()), (19, ""), "hearing 5 is every 2 beats");
    let changing = score(&["--over", "nothing", "--hearing", "1"]);
    assert_eq!(small(&changing.text), 0);
    let said = "skipped hearing 1 (changing pulse), which cannot be notated exactly: ";
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
        (&["export", DEMO, "--as", "wax"], b"", 2, "expected one of: midi"),
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
            "--tolerance is 'far', allowed is a number from 0 to 100 (ms)",
        ),
    ];
    for (words, input, code, said) in rows {
        let ended = run(words, input);
        assert_eq!(ended.code, Some(code), "{words:?}: {}", ended.errors);
        assert!(ended.errors.contains(said), "{words:?}: {}", ended.errors);
    }
}

#[test]
fn an_interrupt_leaves_nothing_half_written() {
    let home = tempfile::tempdir().expect("a folder");
    let path = home.path().join("long.wav");
    let words = ["render", DEMO, "--seconds", "14000", "-o", &path.to_string_lossy()];
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_teeter")).args(words).spawn().expect("begun");
    let files = || std::fs::read_dir(home.path()).expect("a folder").count();
    let grown = || {
        std::fs::read_dir(home.path())
            .expect("a folder")
            .flatten()
            .any(|f| f.metadata().is_ok_and(|m| m.len() > 1 << 20))
    };
    while !grown() {
        assert!(child.try_wait().expect("a child").is_none(), "it is still at work");
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    // The shell has a command for it wherever there is one.
    let kill = format!("kill -INT {}", child.id());
    assert!(std::process::Command::new("sh").args(["-c", &kill]).status().expect("a shell").success());
    assert_eq!(child.wait().expect("ended").code(), Some(130));
    assert_eq!(files(), 0);
}
