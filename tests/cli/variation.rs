//! `teeter vary`, `teeter search` and `teeter explain --where`.

use super::{DEMO, run, succeed};
use serde_json::Value;
use std::fs;

fn json(words: &[&str]) -> Value {
    serde_json::from_str(&succeed(words).text).expect("JSON")
}

const SEARCH: [&str; 9] = ["search", "--length", "4 bars", "--tempo", "140", "--groups", "3,4", "--pulse", "160"];

/// Common practice, no source: 160 over sixteenths at 140 is a pulse of three and a half cells.
#[test]
fn a_search_lists_lines_and_says_what_is_proved() {
    let words = [&SEARCH[..], &["--never", "downbeats after bar 1"]].concat();
    let text = succeed(&words).text;
    for wanted in ["a pulse every 3.50 cells (375 ms)", "proved: the least deviation", "8(3+4)+4+4", "of 38989 lines"] {
        assert!(text.contains(wanted), "'{wanted}' is missing in\n{text}");
    }
    let value = json(&[&words[..], &["--json", "--top", "200"]].concat());
    assert_eq!(value["proved"], true);
    let lines = value["lines"].as_array().expect("lines");
    assert_eq!(lines.len(), 200);
    for line in lines {
        let attacks: Vec<u64> = line["attacks"].as_array().expect("attacks").iter().filter_map(Value::as_u64).collect();
        assert!(attacks.iter().all(|a| *a == 0 || a % 16 != 0), "a downbeat after bar 1: {line}");
        // The deviation from its definition, in the best phase.
        let cell_ms = 60_000.0 / (140.0 * 4.0);
        let off: Vec<f64> = attacks.iter().enumerate().map(|(i, a)| *a as f64 - 3.5 * i as f64).collect();
        let mean = off.iter().sum::<f64>() / off.len() as f64;
        let rms = (off.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / off.len() as f64).sqrt() * cell_ms;
        let said = line["deviation_ms"].as_f64().expect("a number");
        assert!((rms - said).abs() < 1e-3, "{rms} {line}");
        assert!(said >= value["least_deviation_ms"].as_f64().expect("a number") - 1e-6);
    }
    let probabilities: Vec<f64> =
        lines.iter().map(|l| (l["wanted"].as_f64().expect("a number") * 100.0).round()).collect();
    assert!(probabilities.is_sorted_by(|a, b| a >= b));
}

#[test]
fn a_search_says_when_no_line_is_likely_to_be_heard_so() {
    let remark = "is unlikely to be heard at this speed in any of these lines";
    let text = succeed(&SEARCH).text;
    assert!(!text.contains(remark), "{text}");
    // Ten pulses and seven, each for 3.6 s: the model hears one pulse at their mean rate.
    let pulses = ["--pulse", "160 for 2 bars", "--pulse", "120 for 2 bars"];
    let words = [&["search", "--length", "4 bars", "--tempo", "132", "--groups", "2-5"], &pulses[..]].concat();
    let text = succeed(&words).text;
    assert!(text.contains(remark), "{text}");
}

/// Common practice, no source: 13 sixteenths at 150 in three nearly even groups are heard near 138.
#[test]
fn thirteen_cells_in_three_groups_are_heard_near_138() {
    let words = [
        "search",
        "--length",
        "13 cells",
        "--tempo",
        "150",
        "--pulse",
        "even",
        "--attacks",
        "3",
        "--groups",
        "3-6",
        "--json",
    ];
    let value = json(&words);
    assert_eq!(value["nearest_lines"], 3);
    let best = &value["lines"][0];
    let mut groups: Vec<u64> = best["groups"].as_array().expect("groups").iter().filter_map(Value::as_u64).collect();
    groups.sort_unstable();
    assert_eq!(groups, [4, 4, 5]);
    assert!((best["likeliest_bpm"].as_f64().expect("a tempo") - 138.5).abs() < 2.0, "{best}");
}

#[test]
fn a_search_without_a_line_names_the_constraint_to_relax() {
    let rows: [(&[&str], &str); 6] = [
        (&["--attacks", "20"], "no line fulfils the request; relax --attacks (the nearest line has 18 attacks)"),
        (&["--deviation", "10"], "no line fulfils the request; relax --deviation (the nearest line needs 26.8 ms)"),
        (&["--strike", "bar 1 beat 2", "--never", "beat 2"], "relax --never (the nearest line strikes bar 1 beat 2)"),
        (&["--never", "nowhere"], "--never: expected downbeats, strong beats, beats"),
        (&["--strike", "bar 9"], "--strike: expected bars 1 to 4, found bar 9"),
        (&["--pulse", "200 for 8 bars"], "the parts of the pulses do not fill the length of 64 cells"),
    ];
    for (more, message) in rows {
        let result = run(&[&SEARCH[..], more].concat(), b"");
        assert_eq!(result.code, Some(2), "{more:?}");
        assert!(result.errors.contains(message), "{more:?}: {}", result.errors);
    }
    let text = run(&[&SEARCH[..], &["--attacks", "20"]].concat(), b"").text;
    assert!(text.contains("without --attacks") && text.contains("+4"), "{text}");
}

#[test]
fn found_lines_and_variants_are_written_as_grooves_and_overwrite_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let into = folder.path().to_str().expect("UTF-8");
    let search = [&SEARCH[..], &["--top", "3", "--into", into]].concat();
    assert!(succeed(&search).errors.contains("written: 3 grooves"), "a message");
    let vary = ["vary", DEMO, "--figure", "--by", "rotate,retrograde", "--top", "2", "--into", into];
    succeed(&vary);
    let checked = succeed(&["check", into]).text;
    assert_eq!(checked.lines().filter(|l| l.contains(": ok: ")).count(), 5, "{checked}");
    let text = fs::read_to_string(folder.path().join("search-01.toml")).expect("a groove");
    assert!(text.contains("Found by teeter search for the pulse 160"), "{text}");
    for words in [&search[..], &vary] {
        let again = run(words, b"");
        assert_eq!(again.code, Some(3), "{}", again.errors);
    }
    let text_after = fs::read_to_string(folder.path().join("search-01.toml")).expect("a groove");
    assert_eq!(text, text_after);
}

#[test]
fn variants_come_with_what_they_do_to_the_ear() {
    let text = succeed(&["vary", DEMO, "--figure", "--by", "rotate", "--top", "3"]).text;
    assert!(
        text.contains("(the original)") && text.contains("starts with the 2nd group; a rotation of the original"),
        "{text}"
    );
    let value = json(&["vary", DEMO, "--figure", "--by", "displace,accents", "--aim", "easier", "--json"]);
    let written = |v: &Value| v["effect"]["written"].as_f64().expect("a number");
    let variants = value["variants"].as_array().expect("variants");
    assert!(variants.is_sorted_by(|a, b| written(a) >= written(b)));
    let result = run(&["vary", DEMO, "--layer", "winch", "--cells", "150-160"], b"");
    assert_eq!(result.code, Some(2));
    assert!(result.errors.contains("expected cells within the 144 cells"), "{}", result.errors);
}

#[test]
fn a_condition_lists_the_grooves_that_fulfil_it() {
    let rows: [(&str, &[&str], &[&str]); 4] = [
        ("tempo is 160", &["half-tide-winch"], &[]),
        ("reason is cell-too-fast and tempo over 150", &["half-tide-winch"], &[]),
        ("not tempo over 1", &[], &["half-tide-winch"]),
        ("probability under 10% and heard tempo between 130 and 140", &["half-tide-winch"], &[]),
    ];
    for (condition, inside, outside) in rows {
        let text = succeed(&["explain", "patterns", "--where", condition]).text;
        assert!(inside.iter().all(|name| text.contains(name)), "{condition}\n{text}");
        assert!(outside.iter().all(|name| !text.contains(name)), "{condition}\n{text}");
    }
    let all = succeed(&["explain", "patterns", "--json"]).text;
    let found = succeed(&["explain", "patterns", "--where", "hardness over 50%", "--json"]).text;
    let hard =
        |line: &str| serde_json::from_str::<Value>(line).expect("JSON")["answer"]["hardness"].as_f64() > Some(0.5);
    assert_eq!(found.lines().count(), all.lines().filter(|l| hard(l)).count());
    let result = run(&["explain", "patterns", "--where", "tempo fast"], b"");
    assert_eq!((result.code, result.text.as_str()), (Some(2), ""));
    assert!(
        result.errors.contains("--where: expected over, under, between or is, and a number, found 'fast'"),
        "{}",
        result.errors
    );
}
