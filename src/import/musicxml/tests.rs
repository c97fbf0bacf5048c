//! Tests of `MusicXML` export and import.

use super::*;
use crate::analysis::{AnalysisOptions, report};
use crate::export::ExportInput;
use crate::export::annotations::{NotationOptions, Text};
use crate::export::musicxml::{write, write_mxl};
use crate::rhythm::tests::grooves;
use crate::rhythm::{Accent, Attack, Edit, Groove, Meter, Pitch, Swing, Time, Voice};
use proptest::prelude::*;
use std::io::Write as _;

fn exported(groove: &Groove) -> Vec<u8> {
    let report = report(groove, &AnalysisOptions::default());
    let piece = ExportInput { groove, report: &report, hearings: Vec::new(), section: None };
    write(&piece, &NotationOptions::default()).expect("a score")
}

/// What of a groove must come back: names, meters, tempos, and every attack with its time, length, accent and sounding pitch.
fn heard(g: &Groove) -> String {
    let mut lines = vec![g.title().to_owned(), g.note().to_owned()];
    for s in g.sections() {
        lines.push(format!("{} {} {:?} {} bars, {} times", s.name, s.meter, s.tempo, s.bars, s.times));
    }
    for (l, layer) in g.layers().iter().enumerate() {
        lines.push(format!("{} {} {}", layer.name, layer.voice, layer.pan));
        let pitched = layer.voice.default_pitch().and_then(Pitch::new);
        let written =
            matches!(layer.voice, Voice::Bass | Voice::Pluck) || g.events(l).iter().any(|e| e.attack.pitch.is_some());
        for e in g.events(l) {
            let pitch = if written && pitched.is_some() { e.attack.pitch.or(pitched) } else { None };
            lines.push(format!("{} {} {} {} {:?} {pitch:?}", e.section, e.pass, e.offset, e.length, e.attack.accent));
        }
    }
    lines.join("\n")
}

fn straight(g: &Groove) -> Groove {
    (0..g.sections().len()).fold(g.clone(), |g, s| g.edited(&Edit::Swing(s, None)).expect("an edit"))
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(300))]

    #[test]
    fn what_we_write_we_read(g in grooves()) {
        let g = straight(&g).titled("A title", "a <note> & more");
        let back = read(&exported(&g)).map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert_eq!(heard(&back.groove), heard(&g));
    }

    #[test]
    fn nothing_broken_makes_it_panic(g in grooves(), at in any::<prop::sample::Index>(), with in "[<>&/a-z0-9\"\u{e9} ]{0,6}", cut in any::<bool>()) {
        let bytes = exported(&g);
        let at = at.index(bytes.len());
        let mut broken = bytes[..at].to_vec();
        broken.extend(with.as_bytes());
        if !cut {
            broken.extend(&bytes[at..]);
        }
        match read(&broken) {
            Ok(_) => {}
            Err(e) => prop_assert!(!e.message.is_empty()),
        }
    }
}

/// Text of a groove's only part, each with its time from the part's start; words with a text before it.
fn texts(document: &str, wanted: impl Fn(&str) -> bool) -> Vec<(Time, String)> {
    let number = |text: &str, tag: &str| -> i64 {
        let from = text.split(&format!("<{tag}>")).nth(1).expect("the element");
        from.split('<').next().expect("text").parse().expect("a number")
    };
    let divisions = number(document, "divisions");
    let (mut at, mut found) = (0, Vec::new());
    for piece in document.split("<direction ").flat_map(|d| {
        // A direction comes with the notes after it.
        let mut parts = d.split("<note>");
        let head = parts.next().map(|d| (false, d.to_owned()));
        head.into_iter().chain(parts.map(|n| (true, n.to_owned()))).collect::<Vec<_>>()
    }) {
        match piece {
            (true, note) => {
                for word in note.split("<lyric ").skip(1) {
                    let word = word.split("<text>").nth(1).and_then(|w| w.split('<').next()).expect("a text");
                    found.push((at, word.to_owned()));
                }
                at += number(&note, "duration");
            }
            (false, head) if head.contains("<words") => {
                let word = head.split("<words").nth(1).and_then(|w| w.split(['>', '<']).nth(1)).expect("words");
                let offset = if head.contains("<offset>") { number(&head, "offset") } else { 0 };
                found.push((at + offset, word.to_owned()));
            }
            _ => {}
        }
    }
    let time = |at: i64| Time::new(at, 4 * divisions).expect("a time");
    found.into_iter().filter(|f| wanted(&f.1)).map(|(at, word)| (time(at), word)).collect()
}

#[test]
fn text_and_pulses_stand_where_they_are_asked_for() {
    let g = crate::notation::tests::groove("4/4", 4, "x--x--x---x-x---");
    let report = report(&g, &AnalysisOptions::default());
    let beats = report.written().expect("the written beat");
    let piece = ExportInput { groove: &g, report: &report, hearings: vec![beats], section: None };
    let text = |words: &str| Text::parse(words).expect("a text");
    let written = |over: &str, under: &str| {
        let writing = NotationOptions { over: text(over), under: text(under), ..NotationOptions::default() };
        String::from_utf8(write(&piece, &writing).expect("a score")).expect("text")
    };
    let said = |document: &str, wanted: fn(&str) -> bool| {
        let rows = texts(document, wanted).into_iter().map(|(at, word)| format!("{at} {word}"));
        rows.collect::<Vec<_>>().join(", ")
    };
    let plain: fn(&str) -> bool = |w| !w.starts_with('\u{2193}');
    assert_eq!(said(&written("groups", "nothing"), plain), "0/1 3, 3/16 3, 3/8 4, 5/8 2, 3/4 4");
    assert_eq!(said(&written("landings", "nothing"), plain), "0/1 1, 3/16 a, 3/8 &amp;, 5/8 &amp;, 3/4 4");
    assert_eq!(said(&written("nothing", "downbeat,half"), plain), "0/1 1, 3/8 &amp;, 5/8 &amp;");
    assert_eq!(said(&written("nothing", "groups,beat"), plain), "0/1 3, 3/16 3, 3/8 4, 5/8 2, 3/4 4, 3/4 4");
    assert_eq!(said(&written("nothing", "nothing"), plain), "");
    // Pulses between the starts of notes stand at an offset.
    let beats = (0..4).map(|n| format!("{} \u{2193}", Time::new(n, 4).expect("a time")));
    assert_eq!(said(&written("nothing", "nothing"), |w| w == "\u{2193}"), beats.collect::<Vec<_>>().join(", "));
    assert_eq!(heard(&read(written("groups,landings", "groups").as_bytes()).expect("read").groove), heard(&g));
}

#[test]
fn eighths_and_sixteenths_swing_there_and_back() {
    for (division, swing) in [(2, "2:1"), (4, "3:2"), (2, "3:1")] {
        let tempo = crate::rhythm::Tempo::new(crate::rhythm::Fraction::whole(100), Time::new(1, 4).expect("time"))
            .expect("tempo");
        let mut g = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove");
        g = g.edited(&Edit::Division(0, division)).expect("division");
        let attack = Attack { accent: Accent::Plain, pitch: Pitch::new(50) };
        for cell in 0..usize::from(division) * 4 {
            let at = crate::rhythm::Place { layer: 0, section: 0, cell };
            g = g.edited(&Edit::Enter { at, cells: 1, attack }).expect("an attack");
        }
        let g = g.edited(&Edit::Swing(0, Swing::parse(swing))).expect("swing");
        let back = read(&exported(&g)).expect("read").groove;
        assert_eq!(heard(&back), heard(&g), "{swing}");
        assert_eq!(back.sections()[0].swing, Swing::parse(swing));
    }
}

#[test]
fn packed_is_the_same_and_its_first_bytes_tell_what_it_is() {
    let tempo =
        crate::rhythm::Tempo::new(crate::rhythm::Fraction::new(400, 3).expect("bpm"), Time::new(1, 4).expect("time"))
            .expect("tempo");
    let g = Groove::blank(Meter::parse("3+2+2/8").expect("meter"), tempo, 2).expect("groove");
    let report = report(&g, &AnalysisOptions::default());
    let piece = ExportInput { groove: &g, report: &report, hearings: Vec::new(), section: None };
    let packed = write_mxl(&piece, &NotationOptions::default()).expect("packed");
    assert_eq!(&packed[30..38], b"mimetype");
    assert_eq!(&packed[38..72], b"application/vnd.recordare.musicxml");
    assert_eq!(heard(&read(&packed).expect("read").groove), heard(&g));
    for end in [0, 1, 3, 20, packed.len() / 2, packed.len() - 1] {
        assert!(read(&packed[..end]).is_err(), "cut at {end}");
    }
}

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
        assert_eq!(tempo.bpm(), crate::rhythm::Fraction::whole(120), "{expected}");
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
        "<beats>99</beats><beat-type>4</beat-type>",
    ] {
        assert!(meter(bad).is_err(), "{bad}");
    }
}

fn refused(bytes: &[u8]) -> String {
    match read(bytes) {
        Ok(i) => panic!("read as {:?}", i.groove),
        Err(e) => e.to_string(),
    }
}

#[test]
fn what_is_no_score_is_refused_by_place() {
    let rows = [
        ("<html/>", "line 1, column 1: expected <score-partwise> or <score-timewise>, found <html>"),
        ("<score-partwise/>", "line 1, column 1: expected a <part-list>, found none"),
        (
            "<score-partwise><part-list/></score-partwise>",
            "line 1, column 1: expected at least one measure, found none",
        ),
        (
            "<!DOCTYPE a [<!ENTITY b \"bb\"><!ENTITY c \"&b;&b;\">]><a>&c;</a>",
            "line 1, column 1: expected a document type without entities, found <!ENTITY",
        ),
    ];
    for (text, words) in rows {
        assert_eq!(refused(text.as_bytes()), words, "{text}");
    }
    let malformed = ["", "hello", "<score-partwise>\n <part-list>", "<a>&boom;</a>", "<a></a><b></b>"];
    for text in malformed {
        let message = refused(text.as_bytes());
        assert!(message.starts_with("line ") && message.contains(": not well-formed XML: "), "{text}: {message}");
    }
    assert!(refused(b"<a>\n<b>&boom;</b></a>").starts_with("line 2, column "));
    assert!(refused("<a>".repeat(100_000).as_bytes()).contains("not well-formed XML"));
    assert!(refused(b"<a><b></a>").contains("line 1"));
    let bad = [
        "<measure><note><duration>x</duration></note></measure>",
        "<measure><note/></measure>",
        "<measure><note><duration>-1</duration></note></measure>",
        "<measure><note><duration>99999999999999999</duration></note></measure>",
        "<measure><attributes><divisions>0</divisions></attributes></measure>",
        "<measure><note><pitch><step>H</step><octave>4</octave></pitch><duration>1</duration></note></measure>",
        "<measure><note><pitch><step>C</step></pitch><duration>1</duration></note></measure>",
        "<measure><note><pitch><step>C</step><octave>99</octave></pitch><duration>1</duration></note></measure>",
        "<measure><barline><repeat direction=\"backward\" times=\"100000\"/></barline></measure>",
    ];
    for text in bad {
        let words = refused(score(text).as_bytes());
        assert!(words.starts_with("line 1, column "), "{text}: {words}");
    }
}

#[test]
fn other_encodings_are_read_or_refused_by_name() {
    let head = "<attributes><divisions>1</divisions><time><beats>1</beats><beat-type>4</beat-type></time></attributes>";
    let text =
        score(&format!("<measure>{head}{}</measure>", note("C4", 1, ""))).replace("<part-name>p", "<part-name>é");
    let name = |bytes: &[u8]| read(bytes).unwrap_or_else(|e| panic!("{e}")).groove.layers()[0].name.clone();
    let units = |big: bool| -> Vec<u8> {
        let mark = std::iter::once(0xfeff_u16).chain(text.encode_utf16());
        mark.flat_map(|u| if big { u.to_be_bytes() } else { u.to_le_bytes() }).collect()
    };
    assert_eq!(name(text.as_bytes()), "é");
    assert_eq!(name(&units(true)), "é");
    assert_eq!(name(&units(false)), "é");
    let latin: Vec<u8> =
        format!("<?xml version='1.0' encoding='ISO-8859-1'?>{text}").chars().map(|c| c as u8).collect();
    assert_eq!(name(&latin), "é");
    assert_eq!(refused(&latin[44..]).split(':').nth(1), Some(" invalid UTF-8"));
    assert!(refused(b"<?xml version='1.0' encoding='EBCDIC'?><a/>").contains("\"ebcdic\""));
    assert!(refused(&units(true)[..7]).starts_with("byte 7"));
}

fn archive(entries: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in entries {
        let options = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
        zip.start_file(*name, options).expect("an entry");
        zip.write_all(bytes).expect("bytes");
    }
    zip.finish().expect("an archive").into_inner()
}

#[test]
fn archives_that_are_no_scores_are_refused() {
    let container =
        |path: &str| format!("<container><rootfiles><rootfile full-path=\"{path}\"/></rootfiles></container>");
    let name = "META-INF/container.xml";
    assert!(refused(&archive(&[])).starts_with(name));
    assert_eq!(refused(&archive(&[(name, b"<container/>")])), format!("{name}: expected a root file, found none"));
    assert!(refused(&archive(&[(name, container("a.xml").as_bytes())])).starts_with("a.xml: not in the archive"));
    // A container that names itself is no score.
    assert!(refused(&archive(&[(name, container(name).as_bytes())])).contains("found <container>"));
    let inner = archive(&[("x", b"y")]);
    assert!(refused(&archive(&[(name, container("a").as_bytes()), ("a", &inner)])).contains("found another archive"));
    // 100 MB of blanks in some 100 kB.
    let bomb = archive(&[(name, container("a").as_bytes()), ("a", &vec![b' '; 100 << 20])]);
    assert!(bomb.len() < 1 << 20);
    assert!(refused(&bomb).contains("at most 33554432 bytes"));
    assert!(refused(b"PK\x03\x04 and nothing else").starts_with("expected a whole zip archive"));
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
        let expected = expected.and_then(|(n, d)| crate::rhythm::Fraction::new(n, d));
        assert_eq!(directions::decimal(text), expected, "{text}");
    }
}
