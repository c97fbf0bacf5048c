//! Tests of commands on recordings.

use super::{DEMO, RunResult, run, succeed};
use crate::support::{copy_winch, in_package};
use std::fs;

const REFERENCE: &str = "tests/data/onsets/reference.wav";

fn json(words: &[&str]) -> serde_json::Value {
    serde_json::from_str(&succeed(words).text).expect("JSON")
}

/// A WAV file of 16-bit samples that claims `claimed` bytes of them.
fn wav(rate: u32, channels: u16, samples: &[i16], claimed: usize) -> Vec<u8> {
    let claimed = claimed as u32;
    let mut file = b"RIFF".to_vec();
    file.extend_from_slice(&(36 + claimed).to_le_bytes());
    file.extend_from_slice(b"WAVEfmt \x10\0\0\0\x01\0");
    file.extend_from_slice(&channels.to_le_bytes());
    file.extend_from_slice(&rate.to_le_bytes());
    file.extend_from_slice(&(rate * 2 * u32::from(channels)).to_le_bytes());
    file.extend_from_slice(&(2 * channels).to_le_bytes());
    file.extend_from_slice(b"\x10\0data");
    file.extend_from_slice(&claimed.to_le_bytes());
    file.extend(samples.iter().flat_map(|x| x.to_le_bytes()));
    file
}

/// Two seconds with decaying strokes of 400 Hz in all channels at these times.
fn strokes(rate: u32, channels: u16, times: &[f64]) -> Vec<i16> {
    let value = |t: f64| {
        let last = times.iter().rev().find(|s| **s <= t).map_or(f64::INFINITY, |s| t - s);
        if last.is_finite() { 12_000.0 * (2513.0 * last).sin() * (-20.0 * last).exp() } else { 0.0 }
    };
    let frames = (0..2 * rate).map(|k| value(f64::from(k) / f64::from(rate)) as i16);
    frames.flat_map(|x| vec![x; channels.into()]).collect()
}

/// `confidence.tsv` has the confidence of every candidate of the reference, computed by `tests/onsets/detector.py`.
#[test]
fn onsets_are_those_of_the_reference_in_every_form() {
    let table = fs::read_to_string(in_package("tests/data/onsets/confidence.tsv")).expect("a table");
    let rows = table.lines().filter(|l| !l.starts_with('#'));
    let rows: Vec<Vec<f64>> = rows.map(|l| l.split('\t').map(|v| v.parse().expect("a number")).collect()).collect();
    let kept: Vec<&Vec<f64>> = rows.iter().filter(|row| row[2] == 1.0).collect();
    let value = json(&["onsets", REFERENCE, "--json"]);
    let onsets = value["onsets"].as_array().expect("onsets");
    assert_eq!((onsets.len(), value["schema"].as_i64()), (kept.len(), Some(1)));
    for (onset, row) in onsets.iter().zip(&kept) {
        let number = |key: &str| onset[key].as_f64().expect("a number");
        assert!((number("seconds") - row[0]).abs() < 5e-5, "{onset} {row:?}");
        assert!((number("confidence") - row[1]).abs() < 1e-3, "{onset} {row:?}");
        assert!(number("strength_db") >= number("low_db").max(number("mid_db")).max(number("high_db")), "{onset}");
    }
    let chapter = teeter::manual::chapter("recordings").expect("a chapter").text;
    for key in value.as_object().expect("an object").keys().chain(onsets[0].as_object().expect("an object").keys()) {
        assert!(chapter.contains(&format!("`{key}`")), "the chapter does not name {key}");
    }
    let csv = succeed(&["onsets", REFERENCE, "--csv"]).text;
    let fields = csv.lines().skip(1).map(|l| l.split(',').next().and_then(|s| s.parse::<f64>().ok()));
    assert!(fields.eq(onsets.iter().map(|o| o["seconds"].as_f64())), "{csv}");
    assert_eq!(succeed(&["onsets", REFERENCE]).text.lines().count(), 1 + kept.len());
    let certain = kept.iter().filter(|row| row[1] >= 0.9).count();
    let found = json(&["onsets", REFERENCE, "--json", "--threshold", "0.9"]);
    assert_eq!(found["onsets"].as_array().map(Vec::len), Some(certain));
}

#[test]
fn a_sound_has_the_same_onsets_in_every_format() {
    let first = |file: &str| {
        let value = json(&["onsets", "--json", &format!("tests/sounds/{file}")]);
        value["onsets"][0]["seconds"].as_f64().unwrap_or_else(|| panic!("{file}: {value}"))
    };
    let expected = first("burst.flac");
    for file in ["burst.aiff", "burst.m4a", "burst.mp3", "burst.ogg"] {
        assert!((first(file) - expected).abs() < 0.003, "{file}: {} {expected}", first(file));
    }
}

#[test]
fn onsets_are_found_at_any_rate_and_in_any_number_of_channels() {
    let folder = tempfile::tempdir().expect("a folder");
    let times = [0.4, 0.9, 1.25];
    for (rate, channels) in [(8_000, 1), (48_000, 8), (192_000, 2)] {
        let samples = strokes(rate, channels, &times);
        let path = folder.path().join(format!("{rate}.wav"));
        fs::write(&path, wav(rate, channels, &samples, 2 * samples.len())).expect("written");
        let value = json(&["onsets", "--json", path.to_str().expect("UTF-8")]);
        let found: Vec<f64> =
            value["onsets"].as_array().expect("onsets").iter().filter_map(|o| o["seconds"].as_f64()).collect();
        assert_eq!(found.len(), times.len(), "{rate}: {value}");
        assert!(found.iter().zip(times).all(|(a, b)| (a - b).abs() < 0.003), "{rate}: {found:?}");
        assert_eq!((value["sample_rate"].as_u64(), value["seconds"].as_f64()), (Some(rate.into()), Some(2.0)));
    }
}

#[test]
fn a_recording_that_is_no_recording_is_refused_or_remarked_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let onsets = |name: &str, bytes: &[u8]| -> RunResult {
        let path = folder.path().join(name);
        fs::write(&path, bytes).expect("written");
        run(&["onsets", path.to_str().expect("UTF-8")], b"")
    };
    let sound = strokes(44_100, 2, &[0.5, 1.0]);
    let rows: &[(&str, Vec<u8>, i32, &str)] = &[
        ("empty.wav", Vec::new(), 1, "found an empty file"),
        ("text.wav", b"ferry ".repeat(2000), 1, "found an unknown format or a damaged file"),
        ("none.wav", wav(44_100, 2, &[], 0), 1, "found an audio track without samples"),
        ("slow.wav", wav(500, 1, &[1; 500], 1000), 1, "expected a sample rate from 1000 to 768000 Hz, found 500 Hz"),
        ("silent.wav", wav(44_100, 2, &vec![0; 88_200], 176_400), 0, "silent.wav: it is silent"),
        ("short.wav", wav(44_100, 1, &[900; 900], 1800), 0, "no onset has a confidence of at least 0.35"),
        (
            "cut.wav",
            wav(44_100, 2, &sound, 4 * sound.len()),
            0,
            "cut.wav: it is truncated: 2.00 s of 4.00 s are present",
        ),
        ("cut.flac", fs::read(in_package("tests/sounds/burst.flac")).expect("a sound")[..2000].to_vec(), 1, "found "),
    ];
    for (name, bytes, code, message) in rows {
        let result = onsets(name, bytes);
        assert_eq!(result.code, Some(*code), "{name}: {}", result.errors);
        assert!(result.errors.contains(message), "{name}: {}", result.errors);
        assert!(!result.errors.contains("panicked"), "{name}: {}", result.errors);
    }
    for (path, message) in [
        ("no-such.wav", "teeter: no-such.wav: cannot read: no such file or directory"),
        ("patterns", "teeter: patterns: expected a regular file, found a folder"),
        ("/dev/zero", "expected a regular file, found a device or a pipe"),
        ("-", "expected the name of a recording, found '-'"),
    ] {
        let result = run(&["onsets", path], b"");
        assert_eq!(result.code, Some(1), "{path}");
        assert!(result.errors.contains(message), "{path}: {}", result.errors);
    }
    let result = run(&["onsets", REFERENCE, "--threshold", "1"], b"");
    assert_eq!(result.code, Some(2));
    assert!(result.errors.contains("expected a number from 0.05 to 0.95"), "{}", result.errors);
}

/// The shipped grooves are rendered with their own voices, so bar lines are at whole multiples of the bar.
#[test]
fn a_rendered_groove_is_found_where_it_is_played() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    for (speed, name) in [("100", "even.wav"), ("92", "slow.wav")] {
        let recording = path(name);
        succeed(&["render", DEMO, "-o", &recording, "--loops", "2", "--speed", speed]);
        let value = json(&["align", DEMO, &recording, "--json"]);
        // Nine bars of 4/4 at 160.
        let bar = 1.5 * 100.0 / speed.parse::<f64>().expect("a speed");
        let anchors = value["anchors"].as_array().expect("anchors");
        assert!(anchors.len() >= 18, "{speed}: {value}");
        for anchor in anchors {
            let number = |key: &str| anchor[key].as_f64().expect("a number");
            let expected = ((number("pass") - 1.0) * 9.0 + number("bar") - 1.0) * bar;
            assert!((number("seconds") - expected).abs() < 0.010, "{speed}: {anchor}: expected {expected}");
        }
        let ratio = value["tempo_ratio"].as_f64().expect("a ratio");
        assert!((ratio * 100.0 / speed.parse::<f64>().expect("a speed") - 1.0).abs() < 0.003, "{value}");
        assert!(value["share"].as_f64().expect("a share") > 0.9, "{value}");
        let chapter = teeter::manual::chapter("recordings").expect("a chapter").text;
        for key in value.as_object().expect("an object").keys() {
            assert!(chapter.contains(&format!("`{key}`")), "the chapter does not name {key}");
        }
    }
}

#[test]
fn anchors_are_written_once_and_comments_stay() {
    let folder = tempfile::tempdir().expect("a folder");
    let groove = copy_winch(folder.path(), "winch.toml");
    let text = format!("# of the invented ferry\n{}", fs::read_to_string(&groove).expect("a groove"));
    fs::write(&groove, &text).expect("written");
    let (file, recording) = (groove.to_str().expect("UTF-8"), folder.path().join("winch.wav"));
    let recording = recording.to_str().expect("UTF-8");
    succeed(&["render", file, "-o", recording, "--loops", "2"]);
    let result = succeed(&["align", file, recording, "--write"]);
    assert!(result.errors.contains("anchors written"), "{}", result.errors);
    let written = fs::read_to_string(&groove).expect("a groove");
    assert!(written.contains("# of the invented ferry") && written.contains("file = \"winch.wav\""), "{written}");
    let loaded = teeter::store::load(&groove).expect("a groove").groove;
    let aligned = loaded.recording().expect("a recording");
    let anchors = aligned.anchors();
    assert!(anchors.len() >= 18 && anchors[0].at.0 < 10_000, "{anchors:?}");
    let sha256 = aligned.fingerprint.as_deref().expect("a fingerprint");
    assert!(sha256.len() == 64 && sha256.bytes().all(|b| b.is_ascii_hexdigit()), "{sha256}");
    let refused = run(&["align", file, recording, "--write"], b"");
    assert_eq!(refused.code, Some(3));
    assert!(refused.errors.contains("the groove has the recording winch.wav; use --overwrite"), "{}", refused.errors);
    assert_eq!(fs::read_to_string(&groove).expect("a groove"), written);
    succeed(&["align", file, recording, "--write", "--overwrite"]);
    assert_eq!(fs::read_to_string(&groove).expect("a groove"), written);
    let far = run(&["align", file, recording, "--take", "99"], b"");
    assert_eq!(far.code, Some(2));
    assert!(far.errors.contains("found 99"), "{}", far.errors);
}

#[test]
fn a_recording_without_the_groove_is_said_to_be_without_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("silence.wav");
    fs::write(&path, wav(44_100, 1, &vec![0; 88_200], 176_400)).expect("written");
    let result = run(&["align", DEMO, path.to_str().expect("UTF-8")], b"");
    assert_eq!(result.code, Some(1));
    assert!(result.errors.contains("silence.wav: expected at least 6 onsets, found 0"), "{}", result.errors);
    let both = run(&["align", "-", REFERENCE, "--write"], b"");
    assert_eq!(both.code, Some(2));
}

/// A groove of 4+4+5 sixteenths at 150, alone: 13 cells of 100 ms, whose mean group is heard at 138.5.
const THIRTEEN: &str = "format = 1\ntitle = \"t\"\n\n[[section]]\nmeter = \"4/4\"\ntempo = 150\nbars = 13\n\n[[layer]]\n\
    name = \"riff\"\nvoice = \"pluck\"\ndivision = 4\ngroups = \"16(4+4+5)\"\n";

#[test]
fn the_heard_rate_of_a_figure_without_a_beat_is_proposed_with_the_reason() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    fs::write(path("thirteen.toml"), THIRTEEN).expect("written");
    succeed(&["render", &path("thirteen.toml"), "-o", &path("thirteen.wav"), "--loops", "2"]);
    let value = json(&["propose", &path("thirteen.wav"), "--json"]);
    let first = &value["proposals"][0];
    let bpm = first["bpm"].as_f64().expect("a rate");
    assert!((138.2..138.8).contains(&bpm) && first["kind"] == "additive", "{value}");
    assert_eq!(first["groups"].as_array().map(Vec::len), Some(3));
    let text = succeed(&["propose", &path("thirteen.wav")]).text;
    assert!(text.contains("the written beat cannot be known from these attacks alone: 138.5 BPM"), "{text}");
    let chapter = teeter::manual::chapter("recordings").expect("a chapter").text;
    for key in value.as_object().expect("an object").keys().chain(first.as_object().expect("an object").keys()) {
        assert!(chapter.contains(&format!("`{key}`")), "the chapter does not name {key}");
    }
    let none = run(&["propose", "tests/sounds/burst.flac"], b"");
    assert!(none.text.contains("no pulse was found in the onsets"), "{}", none.text);
    // A line of groups instead of a groove.
    let words = ["align", &path("thirteen.wav"), "--groups", "4+4+5", "--tempo", "146", "--json"];
    let value = json(&words);
    let ratio = value["tempo_ratio"].as_f64().expect("a ratio");
    assert!((ratio - 150.0 / 146.0).abs() < 0.004 && value["file"].is_null(), "{value}");
    let result = run(&["align", &path("thirteen.wav"), "--groups", "4+4+5"], b"");
    assert_eq!(result.code, Some(2));
    let one = run(&["align", DEMO], b"");
    assert!(one.code == Some(2) && one.errors.contains("expected a groove and a recording"), "{}", one.errors);
}

/// Kick, snare and hat of one bar, whose cells are known.
const KIT: &str = "format = 1\ntitle = \"t\"\n\n[[section]]\nmeter = \"4/4\"\ntempo = 120\nbars = 8\n\n[[layer]]\n\
    name = \"kick\"\nvoice = \"kick\"\ndivision = 4\ncycle = \"x.....x...x.....\"\n\n[[layer]]\nname = \"snare\"\n\
    voice = \"snare\"\ndivision = 4\ncycle = \"....x.......x..x\"\n\n[[layer]]\nname = \"hat\"\nvoice = \"hat\"\n\
    division = 4\ncycle = \"x.x.x.x.x.x.x.xx\"\n";

#[test]
fn attacks_are_written_into_their_cells() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    fs::write(path("kit.toml"), KIT).expect("written");
    succeed(&["render", &path("kit.toml"), "-o", &path("kit.wav")]);
    // The tempo may be a little wrong.
    let (wav, out) = (path("kit.wav"), path("out.toml"));
    let words = ["transcribe", &wav, "--tempo", "119.5", "--first", "0", "-o", &out];
    let result = succeed(&words);
    assert!(result.errors.contains("attacks"), "{}", result.errors);
    let groove = teeter::store::load(out.as_ref()).expect("a groove").groove;
    let truth = teeter::store::load(path("kit.toml").as_ref()).expect("a groove").groove;
    let cells = |groove: &teeter::rhythm::Groove, name: &str| -> Vec<String> {
        let layer = groove.layers().iter().position(|l| l.name == name).unwrap_or_else(|| panic!("no {name}"));
        // A stroke at the first sample of a file has no beginning that could be heard.
        groove.events(layer).iter().map(|e| e.offset.to_string()).filter(|at| !at.starts_with("0/")).collect()
    };
    let mut names: Vec<&str> = groove.layers().iter().map(|layer| &*layer.name).collect();
    names.sort_unstable();
    assert_eq!(names, ["hat", "kick", "snare"]);
    assert_eq!(cells(&groove, "kick"), cells(&truth, "kick"));
    // Where kick and hat sound together a snare may be heard, but none is missing.
    let snare = cells(&groove, "snare");
    assert!(cells(&truth, "snare").iter().all(|at| snare.contains(at)) && snare.len() < 40, "{snare:?}");
    let recording = groove.recording().expect("a recording");
    assert_eq!((&*recording.file, recording.anchors().len() >= 8), ("kit.wav", true));
    let again = run(&words, b"");
    assert_eq!(again.code, Some(3));
    assert!(again.errors.contains("use --overwrite"), "{}", again.errors);
    let value = json(&["transcribe", &wav, "--proposal", "1", "--json"]);
    let chapter = teeter::manual::chapter("recordings").expect("a chapter").text;
    for key in value.as_object().expect("an object").keys() {
        assert!(chapter.contains(&format!("`{key}`")), "the chapter does not name {key}");
    }
    let far = run(&["transcribe", &wav, "--proposal", "99"], b"");
    assert!(far.code == Some(2) && far.errors.contains("found 99"), "{}", far.errors);
    let missing = run(&["transcribe", &wav, "--tempo", "120"], b"");
    assert_eq!(missing.code, Some(2));
}

#[test]
fn sounds_of_the_same_bands_are_told_apart_by_their_spectra() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let pair = KIT.replace("\"kick\"", "\"wood\"");
    let pair = &pair[..pair.rfind("\n[[layer]]").expect("layers")];
    fs::write(path("pair.toml"), pair).expect("written");
    succeed(&["render", &path("pair.toml"), "-o", &path("pair.wav")]);
    let value = json(&["transcribe", &path("pair.wav"), "--tempo", "120", "--first", "0", "--json"]);
    let layers = value["layers"].as_array().expect("layers");
    let mut sizes: Vec<usize> = layers.iter().map(|l| l["attacks"].as_array().map_or(0, Vec::len)).collect();
    sizes.sort_unstable();
    assert_eq!(sizes, [24, 24], "{value}");
}
