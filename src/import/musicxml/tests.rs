//! Tests of reading `MusicXML`.

mod refusals;
mod round_trip;
mod shared_staff;

use super::*;
use crate::rhythm::Fraction;

/// A part of one instrument with these measures.
fn score(measures: &str) -> String {
    format!(
        "<score-partwise><part-list><score-part id=\"P1\"><part-name>p</part-name></score-part></part-list><part id=\"P1\">{measures}</part></score-partwise>"
    )
}

fn note(key: &str, duration: u32, more: &str) -> String {
    let (step, octave) = key.split_at(1);
    format!(
        "<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{duration}</duration>{more}</note>"
    )
}

fn attacks(text: &str) -> String {
    let g = read(text.as_bytes()).unwrap_or_else(|e| panic!("{e}")).groove;
    let rows = (0..g.layers().len()).map(|l| {
        let words = g.events(l).into_iter().map(|e| {
            let before = g.sections()[..e.section].iter().map(|s| (s.length(), s.times));
            let start = before
                .fold(Time::ZERO, |a, (l, n)| a.plus(l.repeated(usize::from(n)).expect("bounded")).expect("bounded"));
            let pass = g.sections()[e.section].length().repeated(e.pass).expect("bounded");
            let at = start.plus(pass).and_then(|t| t.plus(e.offset)).expect("bounded");
            format!("{at}:{}", e.length)
        });
        words.collect::<Vec<_>>().join(" ")
    });
    rows.collect::<Vec<_>>().join(" | ")
}

#[test]
fn durations_are_what_type_dots_and_tuplet_say() {
    let triplet = "<type>eighth</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>";
    let head =
        "<attributes><divisions>100</divisions><time><beats>1</beats><beat-type>4</beat-type></time></attributes>";
    let notes: String = [33, 33, 34].map(|d| note("C4", d, triplet)).concat();
    assert_eq!(
        attacks(&score(&format!("<measure number=\"1\">{head}{notes}</measure>"))),
        "0/1:1/12 1/12:1/12 1/6:1/12"
    );
    // Where they disagree by more than rounding, the duration counts.
    let odd = note("C4", 50, "<type>quarter</type>") + &note("C4", 50, "");
    assert_eq!(attacks(&score(&format!("<measure>{head}{odd}</measure>"))), "0/1:1/8 1/8:1/8");
}

#[test]
fn ties_chords_voices_pickups_and_repeats() {
    let head = "<attributes><divisions>1</divisions><time><beats>2</beats><beat-type>4</beat-type></time></attributes>";
    let tied = note("C4", 2, "<tie type=\"start\"/>");
    let stop = note("C4", 1, "<tie type=\"stop\"/>") + &note("C4", 1, "");
    assert_eq!(
        attacks(&score(&format!("<measure>{head}{tied}</measure><measure>{stop}</measure>"))),
        "0/1:3/4 3/4:1/4"
    );
    let chord = note("E4", 2, "").replace("<note>", "<note><chord/>");
    assert_eq!(attacks(&score(&format!("<measure>{head}{}{chord}</measure>", note("C4", 2, "")))), "0/1:1/2 | 0/1:1/2");
    let voices =
        format!("{}<backup><duration>1</duration></backup>{}", note("C4", 2, ""), note("C4", 1, "<voice>2</voice>"));
    assert_eq!(attacks(&score(&format!("<measure>{head}{voices}</measure>"))), "0/1:1/2 | 1/4:1/4");
    let pickup = format!(
        "<measure implicit=\"yes\">{head}{}</measure><measure>{}</measure>",
        note("C4", 1, ""),
        note("C4", 2, "")
    );
    assert_eq!(attacks(&score(&pickup)), "0/1:1/4 1/4:1/2");
    let bar = |marks: &str| format!("<measure>{head}{}{marks}</measure>", note("C4", 2, ""));
    let again = "<barline><repeat direction=\"backward\" times=\"3\"/></barline>";
    let g = read(score(&(bar(again) + &bar("<barline/>"))).as_bytes()).expect("read").groove;
    assert_eq!(g.sections().iter().map(|s| (s.bars, s.times)).collect::<Vec<_>>(), [(1, 3), (1, 1)]);
}

/// A tempo or a number of beats with a letter of two bytes where places are cut off is no number, and no panic.
#[test]
fn a_tempo_that_is_no_number_is_none() {
    let head = "<attributes><divisions>1</divisions><time><beats>1</beats><beat-type>4</beat-type></time></attributes>";
    let mark = "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>1.12345678\u{e9}a</per-minute></metronome></direction-type></direction>";
    for expected in ["<sound tempo=\"1.12345678\u{e9}a\"/>", mark] {
        let text = score(&format!("<measure>{head}{expected}{}</measure>", note("C4", 1, "")));
        let tempo = read(text.as_bytes()).expect("read").groove.sections()[0].tempo;
        assert_eq!(tempo.bpm(), Fraction::whole(120), "{expected}");
    }
}

#[test]
fn ties_of_two_voices_on_one_pitch_are_each_its_own() {
    let head = "<attributes><divisions>2</divisions><time><beats>2</beats><beat-type>4</beat-type></time></attributes>";
    let back = |n: u32| format!("<backup><duration>{n}</duration></backup>");
    let tie = |voice: u32, kind: &str| format!("<tie type=\"{kind}\"/><voice>{voice}</voice>");
    // The first voice is tied from the bar's start, the second from its second beat.
    let first = note("C4", 4, &tie(1, "start")) + &back(2) + &note("C4", 2, &tie(2, "start"));
    let second = |a: u32, b: u32| note("C4", 1, &tie(a, "stop")) + &back(1) + &note("C4", 4, &tie(b, "stop"));
    let ends = |a, b| attacks(&score(&format!("<measure>{head}{first}</measure><measure>{}</measure>", second(a, b))));
    assert_eq!(ends(1, 2), "0/1:5/8 | 1/4:3/4");
    assert_eq!(ends(2, 1), "0/1:1/1 | 1/4:3/8");
    // A tie that changes voices takes what is open.
    assert_eq!(ends(3, 2), "0/1:5/8 | 1/4:3/4");
}

#[test]
fn one_slashed_grace_note_of_the_same_pitch_makes_a_flam() {
    let head = "<attributes><divisions>1</divisions><time><beats>2</beats><beat-type>4</beat-type></time></attributes>";
    let grace = |pitch: &str, sign: &str| note(pitch, 0, "").replace("<note>", &format!("<note><grace{sign}/>"));
    let slashed = |pitch: &str| grace(pitch, " slash=\"yes\"");
    let long = note("C4", 2, "");
    let rest = "<note><rest/><duration>2</duration></note>";
    let rows = [
        (slashed("C4") + &long, true, 0),
        (grace("C4", "") + &long, false, 1),
        (slashed("D4") + &long, false, 1),
        (slashed("C4") + &slashed("C4") + &long, false, 2),
        (slashed("C4") + rest + "</measure><measure>" + &long, false, 1),
        (long.clone() + &slashed("C4"), false, 1),
    ];
    for (inner, flam, dropped) in rows {
        let imported = read(score(&format!("<measure>{head}{inner}</measure>")).as_bytes()).expect("read");
        let flams: Vec<bool> = imported.groove.events(0).iter().map(|e| e.attack.flam).collect();
        let told: usize = imported.warnings.iter().filter(|w| w.contains("grace note")).count();
        assert_eq!((flams, told), (vec![flam], dropped.min(1)), "{inner}: {:?}", imported.warnings);
    }
}

#[test]
fn dynamics_of_a_note_without_a_sign_are_its_level() {
    let head = "<attributes><divisions>1</divisions><time><beats>2</beats><beat-type>4</beat-type></time></attributes>";
    let accent = |dynamics: &str| {
        let long = note("C4", 2, "").replace("<note>", &format!("<note dynamics=\"{dynamics}\">"));
        let imported = read(score(&format!("<measure>{head}{long}</measure>")).as_bytes()).expect("read");
        imported.groove.events(0)[0].attack.accent.name()
    };
    let rows =
        [("71.25", "soft"), ("85", "plain"), ("100", "plain"), ("108.5", "plain"), ("118.75", "strong"), ("", "plain")];
    for (dynamics, level) in rows {
        assert_eq!(accent(dynamics), level, "{dynamics}");
    }
}

#[test]
fn what_is_left_out_is_counted_with_its_noun() {
    let head = "<attributes><divisions>1</divisions><time><beats>2</beats><beat-type>4</beat-type></time></attributes>";
    let grace = note("D4", 0, "").replace("<note>", "<note><grace/>");
    let words = |inner: &str| {
        let imported = read(score(&format!("<measure number=\"1\">{head}{inner}</measure>")).as_bytes()).expect("read");
        imported.warnings.iter().map(ToString::to_string).collect::<Vec<_>>()
    };
    let long = note("C4", 2, "");
    let expected = |n: &str| vec![format!("part 'p': {n} dropped")];
    assert_eq!(words(&format!("{grace}{long}")), expected("1 grace note"));
    assert_eq!(words(&format!("{grace}{grace}{long}")), expected("2 grace notes"));
    let short = words(&note("C4", 1, ""));
    assert_eq!(
        short,
        ["measure 1: shorter or longer than a bar of its meter (a pickup, for example); it keeps its length"]
    );
}

#[test]
fn meters_of_several_kinds() {
    let meter = |inner: &str| {
        let text =
            score(&format!("<measure><attributes><divisions>1</divisions><time>{inner}</time></attributes></measure>"));
        read(text.as_bytes()).map(|i| i.groove.sections()[0].meter.to_string()).map_err(|e| e.message)
    };
    assert_eq!(meter("<beats>3+2+2</beats><beat-type>8</beat-type>").as_deref(), Ok("3+2+2/8"));
    assert_eq!(
        meter("<beats>3</beats><beat-type>8</beat-type><beats>2</beats><beat-type>8</beat-type><beats>3</beats><beat-type>4</beat-type>").as_deref(),
        Ok("3+2+6/8")
    );
    assert_eq!(meter("<senza-misura/>").as_deref(), Ok("4/4"));
    for bad in [
        "",
        "<beats>x</beats><beat-type>4</beat-type>",
        "<beats>4</beats><beat-type>3</beat-type>",
        "<beats>0</beats><beat-type>4</beat-type>",
        "<beats>129</beats><beat-type>4</beat-type>",
    ] {
        assert!(meter(bad).is_err(), "{bad}");
    }
}

#[test]
fn long_decimals_are_the_fractions_they_were() {
    let rows = [
        ("133.333333333", Some((400, 3))),
        ("132.5", Some((265, 2))),
        ("97", Some((97, 1))),
        ("x", None),
        ("", None),
        ("1/2", None),
        // What lies behind the ninth place is cut, but never within a character.
        ("1.12345678\u{e9}a", None),
        ("\u{b9}.1234567890", None),
    ];
    for (text, expected) in rows {
        let expected = expected.and_then(|(n, d)| Fraction::new(n, d));
        assert_eq!(directions::parse_unrounded(text), expected, "{text}");
    }
}

/// The lexical forms of `xs:decimal` (W3C XML Schema Part 2: Datatypes, 3.2.3.1).
#[test]
fn decimals_have_a_sign_or_none() {
    let rows = [
        ("+1", Some((1, 1))),
        ("-1", Some((-1, 1))),
        ("+1.0", Some((1, 1))),
        (".5", Some((1, 2))),
        ("+.5", Some((1, 2))),
        ("-.25", Some((-1, 4))),
        ("2.", Some((2, 1))),
        ("-0", Some((0, 1))),
        (" 007 ", Some((7, 1))),
        ("0.500000000000000000", Some((1, 2))),
        ("", None),
        ("+", None),
        (".", None),
        ("+-1", None),
        ("--1", None),
        ("1e3", None),
        ("1/2", None),
        ("1 2", None),
        ("INF", None),
        ("99999999999999999999", None),
    ];
    for (text, expected) in rows {
        let expected = expected.and_then(|(n, d)| Fraction::new(n, d));
        assert_eq!(directions::parse_decimal(text), expected, "{text:?}");
    }
    // In every element that holds one.
    let head = "<attributes><divisions>+2.0</divisions><time><beats>1</beats><beat-type>4</beat-type></time>\
                <transpose><chromatic>+2</chromatic><octave-change>+1</octave-change></transpose></attributes>";
    let pitch = "<pitch><step>C</step><alter>+1</alter><octave>+4</octave></pitch>";
    let mark = "<sound tempo=\"+96.0\"/>";
    let text = score(&format!("<measure>{head}{mark}<note>{pitch}<duration>+2.</duration></note></measure>"));
    let groove = read(text.as_bytes()).unwrap_or_else(|e| panic!("{e}")).groove;
    let event = groove.events(0)[0];
    assert_eq!(
        (event.length, event.attack.pitch.map(crate::rhythm::Pitch::key)),
        (Time::new(1, 4).expect("a time"), Some(75))
    );
    assert_eq!(groove.sections()[0].tempo.bpm(), Fraction::whole(96));
}

#[test]
fn a_bar_may_have_128_beats() {
    let head =
        "<attributes><divisions>1</divisions><time><beats>128</beats><beat-type>4</beat-type></time></attributes>";
    let measure = format!("<measure>{head}{}</measure>", note("C4", 128, ""));
    assert_eq!(read(score(&measure).as_bytes()).expect("read").groove.sections()[0].meter.to_string(), "128/4");
}
