//! Sound written by the program: renders, takes, ladders, and the sound files that a groove names.

use super::{DEMO, run, succeed};
use crate::support::in_package;
use std::path::Path;

#[test]
fn render_writes_one_stream_to_a_file_and_to_a_pipe() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("out.wav");
    succeed(&["render", DEMO, "-o", path.to_str().expect("a path"), "--click", "--hearing", "1"]);
    let piped = succeed(&["render", DEMO, "-o", "-", "--click", "--hearing", "1"]).out;
    let filed = std::fs::read(&path).expect("the file");
    assert!(piped == filed, "the pipe has {} bytes, the file {}", piped.len(), filed.len());
    // RIFF WAVE (IBM and Microsoft 1991): form, stereo, 48000 frames a second, length as in the header.
    assert_eq!((&filed[..4], &filed[8..12]), (b"RIFF".as_slice(), b"WAVE".as_slice()));
    let number = |at: usize| u32::from_le_bytes(filed[at..at + 4].try_into().expect("four bytes"));
    assert_eq!((number(4) as usize + 8, number(24)), (filed.len(), 48_000));
    assert_eq!(std::fs::read_dir(folder.path()).expect("the folder").count(), 1, "no file is left behind");
}

#[test]
fn a_render_counts_in_for_the_bars_asked_and_lists_where_the_groove_begins() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("out.wav");
    let path = path.to_str().expect("a path");
    succeed(&["render", DEMO, "-o", path, "--count-in", "2"]);
    let list = cues(&std::fs::read_to_string(folder.path().join("out.tsv")).expect("the list"));
    // A bar of 4/4 at 160 lasts 1.5 s, 72000 frames.
    let starts: Vec<(usize, &str)> = list.iter().map(|c| (c.0, c.2.as_str())).collect();
    assert_eq!(starts, [(0, "count-in: groove"), (144_000, "groove")]);
    let counted = std::fs::read(path).expect("the file");
    let plain = succeed(&["render", DEMO, "-o", "-"]).out;
    let length = |wav: &[u8]| u32::from_le_bytes(wav[40..44].try_into().expect("four bytes"));
    assert_eq!(length(&counted) - length(&plain), 144_000 * 6, "stereo, three bytes a sample");
    // The clicks: one at the start of every beat of 18000 frames, and silence before the next.
    let loudest = |from: usize, frames: usize| {
        let bytes = &counted[44 + 6 * from..44 + 6 * (from + frames)];
        bytes.chunks(3).map(|b| i32::from_le_bytes([0, b[0], b[1], b[2]]).abs() >> 8).max().unwrap_or(0)
    };
    for beat in 0..8 {
        assert!(loudest(18_000 * beat, 200) > 100_000, "beat {beat}");
        assert!(loudest(18_000 * beat + 15_000, 2_999) < 100, "after beat {beat}");
    }
    // A ladder counts in for as many bars on each step.
    let ladder = folder.path().join("ladder.wav");
    let ladder = ladder.to_str().expect("a path");
    succeed(&["render", DEMO, "-o", ladder, "--ladder", "50-100/50", "--count-in", "3", "--rate", "8000"]);
    let list = cues(&std::fs::read_to_string(folder.path().join("ladder.tsv")).expect("the list"));
    // 3 bars at half speed: 9 s.
    assert_eq!((list[1].0, list.len()), (72_000, 4));
    for bars in ["0", "17", "x"] {
        assert_eq!(run(&["render", DEMO, "-o", "-", "--count-in", bars], b"").code, Some(2), "{bars}");
    }
    assert_eq!(run(&["render", DEMO, "-o", "-", "--count-in", "1", "--seconds", "3"], b"").code, Some(2));
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
fn takes_are_one_file_with_a_list_of_cues_next_to_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("out.wav");
    succeed(&["takes", DEMO, "-o", path.to_str().expect("a path"), "--count-in"]);
    let wav = std::fs::read(&path).expect("the file");
    let table = std::fs::read_to_string(folder.path().join("out.tsv")).expect("the list");
    assert_eq!(std::fs::read_dir(folder.path()).expect("the folder").count(), 2, "no other file is left behind");
    let list = cues(&table);
    let names: Vec<&str> = list.iter().map(|c| c.2.as_str()).filter(|n| !n.starts_with("count-in: ")).collect();
    let rival = "hearing 1: changing pulse 137.1 then 106.7 BPM";
    let expected = [
        "groove".into(),
        "groove with written beat".into(),
        format!("groove with {rival}"),
        format!("only written beat + {rival}"),
        format!("groove with {rival}"),
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
    let result = run(&words, b"");
    assert_eq!(result.code, Some(0), "{}", result.errors);
    let list: Vec<_> = cues(&result.errors).into_iter().filter(|c| !c.2.starts_with("count-in: ")).collect();
    let names: Vec<&str> = list.iter().map(|c| c.2.as_str()).collect();
    assert_eq!(names, ["step 1 of 3: 50%, 1/4 = 80", "step 2 of 3: 75%, 1/4 = 120", "step 3 of 3: 100%, 1/4 = 160"]);
    assert!(
        list[0].3.contains("most likely: ") && list[0].3.contains("passes muted after their first bar (or beat): 4"),
        "{list:?}"
    );
    assert!(list[2].3.contains("cells of 94 ms are too short"), "{}", list[2].3);
}

#[test]
fn a_user_sample_is_read_next_to_the_groove_and_a_bad_one_is_a_warning() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = "format = 1\ntitle = \"t\"\n[[section]]\nmeter = \"4/4\"\ntempo = 120\nbars = 1\n[[layer]]\nname = \"l\"\nvoice = \"rim\"\n\
                sound = \"burst.flac\"\naccent-depth = 6\ncells = \"x...x...X...o...\"\n";
    let groove = folder.path().join("g.toml");
    std::fs::write(&groove, text).expect("written");
    let words = ["render", groove.to_str().expect("a path"), "-o", "-"];
    let missing = succeed(&words);
    let message = "burst.flac: cannot read the file: no such file or directory; the layer plays its voice instead";
    assert!(missing.errors.contains(message), "{}", missing.errors);
    std::fs::copy(in_package("tests/sounds/burst.flac"), folder.path().join("burst.flac")).expect("copied");
    let there = succeed(&words);
    assert_eq!(there.errors, "");
    assert_ne!(there.out, missing.out);
    // A take has the sound as well.
    let takes = folder.path().join("takes.wav");
    let result =
        succeed(&["takes", words[1], "-o", takes.to_str().expect("a path"), "--take", "groove", "--times", "1"]);
    assert!(!result.errors.contains("burst"), "{}", result.errors);
    let rendered = std::fs::read(&takes).expect("takes");
    let same = rendered[44..].iter().zip(&there.out[44..]).take(3 * 2 * 48_000).all(|(a, b)| a == b);
    assert!(same, "the take sounds as the loop");
    std::fs::write(folder.path().join("burst.flac"), b"fLaC and nothing more").expect("written");
    let damaged = succeed(&words);
    assert!(damaged.errors.contains("found a damaged file"), "{}", damaged.errors);
    assert_eq!(damaged.out, missing.out);
}

#[test]
fn a_sound_file_outside_the_folder_is_read_only_on_request() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name).to_str().expect("a path").to_owned();
    std::fs::create_dir(at("songs")).expect("a folder");
    for copy in ["knock.flac", "songs/knock.flac"] {
        std::fs::copy(in_package("tests/sounds/burst.flac"), at(copy)).expect("copied");
    }
    std::os::unix::fs::symlink("../knock.flac", at("songs/link.flac")).expect("linked");
    let groove = |name: &str, sound: &str| {
        let text = format!(
            "format = 1\ntitle = \"t\"\n[[section]]\nmeter = \"4/4\"\ntempo = 100\nbars = 1\n[[layer]]\nname = \"l\"\n\
             voice = \"wood\"\nsound = \"{sound}\"\ncells = \"x... .... x... ....\"\n[[layer]]\nname = \"m\"\n\
             voice = \"hat\"\ncells = \".... x... .... x...\"\n"
        );
        std::fs::write(at(name), text).expect("written");
        at(name)
    };
    let inside = groove("songs/inside.toml", "knock.flac");
    let outside = [
        (groove("songs/up.toml", "../knock.flac"), "songs/../knock.flac"),
        (groove("songs/absolute.toml", &at("knock.flac")), "knock.flac"),
        (groove("songs/link.toml", "link.flac"), "knock.flac"),
    ];
    let wav = |name: &str| at(&format!("{name}.wav"));
    succeed(&["render", &inside, "-o", &wav("inside")]);
    let option = "--allow-outside-sounds";
    for (k, (path, named)) in outside.iter().enumerate() {
        let (out, pages) = (wav(&k.to_string()), at(&format!("pages{k}")));
        let commands: [&[&str]; 3] = [
            &["render", path, "-o", &out],
            &["takes", path, "-o", &out, "--overwrite"],
            &["handout", path, "--into", &pages],
        ];
        for command in commands {
            let refused = run(command, b"");
            assert_eq!(refused.code, Some(2), "{command:?}: {}", refused.errors);
            assert!(refused.errors.contains(named) && refused.errors.contains(option), "{}", refused.errors);
            assert!(!Path::new(&out).exists(), "nothing is written");
        }
        let warned = succeed(&["check", path]);
        assert!(warned.text.contains(": ok: ") && warned.errors.contains(option), "{}", warned.errors);
        assert_eq!(succeed(&["check", path, option]).errors, "");
        // The layer is not asked for, or nothing sounds.
        succeed(&["render", path, "-o", &wav("other"), "--layer", "m", "--overwrite"]);
        succeed(&["handout", path, "--into", &pages, "--sound", "none"]);
        // The same sound, from wherever it is read.
        succeed(&["render", path, "-o", &out, option]);
        assert!(std::fs::read(&out).expect("sound") == std::fs::read(wav("inside")).expect("sound"), "{path}");
    }
}
