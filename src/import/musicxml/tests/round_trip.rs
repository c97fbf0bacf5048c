//! Tests of export and import together.

use crate::analysis::{AnalysisOptions, Report, report};
use crate::describe::notes::KitStaves;
use crate::export::annotations::{NotationOptions, Text};
use crate::export::musicxml::{write, write_mxl};
use crate::export::{ExportError, ExportInput};
use crate::import::musicxml::read;
use crate::notation::{passes, timed_notes};
use crate::rhythm::tests::grooves;
use crate::rhythm::{
    Attack, Cell, Edit, Fraction, Groove, Layer, Meter, Part, Pitch, Place, Section, Swing, Tempo, Time, Voice,
};
use proptest::prelude::*;

/// A groove as a score, and the remarks of the export.
pub(super) fn with_remarks(groove: &Groove, kit: KitStaves) -> Result<(Vec<u8>, Vec<String>), ExportError> {
    let report = Report::default();
    let piece = ExportInput { groove, report: &report, hearings: Vec::new(), section: None };
    let mut bytes = Vec::new();
    let remarks = write(&piece, &NotationOptions { kit, ..NotationOptions::default() }, &mut bytes)?;
    Ok((bytes, remarks))
}

fn exported(groove: &Groove) -> Vec<u8> {
    with_remarks(groove, KitStaves::Separate).expect("a score").0
}

/// Onset and length of every note of every layer.
pub(super) fn sounding(groove: &Groove) -> Vec<Vec<(Time, Time)>> {
    let passes = passes(groove, None).expect("bounded");
    let layer =
        |l| timed_notes(groove, l, &passes).expect("bounded").into_iter().map(|n| (n.start, n.length)).collect();
    (0..groove.layers().len()).map(layer).collect()
}

/// What of a groove must come back: names, meters, tempos, and every attack with its time, length, accent and sounding pitch.
fn heard(g: &Groove) -> String {
    std::iter::once(sections(g)).chain(layers(g)).collect::<Vec<_>>().join("\n")
}

/// The title, the note, and the sections.
pub(super) fn sections(g: &Groove) -> String {
    let mut lines = vec![g.title().to_owned(), g.note().to_owned()];
    for s in g.sections() {
        lines.push(format!("{} {} {:?} {} bars, {} times", s.name, s.meter, s.tempo, s.bars, s.times));
    }
    lines.join("\n")
}

/// A text for each layer.
pub(super) fn layers(g: &Groove) -> Vec<String> {
    let layer = |(l, layer): (usize, &std::sync::Arc<Layer>)| {
        let mut lines = Vec::new();
        lines.push(format!("{} {} {}", layer.name, layer.voice, layer.pan));
        let pitched = layer.voice.default_pitch().and_then(Pitch::new);
        let written =
            matches!(layer.voice, Voice::Bass | Voice::Pluck) || g.events(l).iter().any(|e| e.attack.pitch.is_some());
        for e in g.events(l) {
            let pitch = if written && pitched.is_some() { e.attack.pitch.or(pitched) } else { None };
            let Attack { accent, flam, .. } = e.attack;
            lines.push(format!("{} {} {} {} {accent:?} {flam} {pitch:?}", e.section, e.pass, e.offset, e.length));
        }
        lines.join("\n")
    };
    g.layers().iter().enumerate().map(layer).collect()
}

pub(super) fn straight(g: &Groove) -> Groove {
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
    fn swing_comes_back_or_there_is_a_remark(g in crate::rhythm::random::grooves()) {
        // A cell may be shorter than any note value.
        let Ok((bytes, remarks)) = with_remarks(&g, KitStaves::Separate) else { return Ok(()) };
        let back = read(&bytes).map_err(|e| TestCaseError::fail(e.to_string()))?;
        if remarks.is_empty() && back.warnings.is_empty() && !g.layers().is_empty() {
            prop_assert_eq!(sounding(&back.groove), sounding(&g));
        }
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
        let mut bytes = Vec::new();
        write(&piece, &writing, &mut bytes).expect("a score");
        String::from_utf8(bytes).expect("text")
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
        let tempo = Tempo::new(Fraction::whole(100), Time::new(1, 4).expect("time")).expect("tempo");
        let mut g = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove");
        g = g.edited(&Edit::Division(0, None, division)).expect("division");
        let attack = Attack { pitch: Pitch::new(50), ..Attack::default() };
        for cell in 0..usize::from(division) * 4 {
            let at = Place { layer: 0, section: 0, cell };
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
    let tempo = Tempo::new(Fraction::new(400, 3).expect("bpm"), Time::new(1, 4).expect("time")).expect("tempo");
    let g = Groove::blank(Meter::parse("3+2+2/8").expect("meter"), tempo, 2).expect("groove");
    let report = report(&g, &AnalysisOptions::default());
    let piece = ExportInput { groove: &g, report: &report, hearings: Vec::new(), section: None };
    let mut packed = Vec::new();
    write_mxl(&piece, &NotationOptions::default(), &mut packed).expect("packed");
    assert_eq!(&packed[30..38], b"mimetype");
    assert_eq!(&packed[38..72], b"application/vnd.recordare.musicxml");
    assert_eq!(heard(&read(&packed).expect("read").groove), heard(&g));
    for end in [0, 1, 3, 20, packed.len() / 2, packed.len() - 1] {
        assert!(read(&packed[..end]).is_err(), "cut at {end}");
    }
}

fn swung(meter: &str, division: u16, drawing: &str, swing: &str) -> Groove {
    let groove = crate::notation::tests::groove(meter, division, drawing);
    groove.edited(&Edit::Swing(0, Swing::parse(swing))).expect("a swing")
}

#[test]
fn only_swing_that_sounds_is_stated() {
    let stated = |g: &Groove| {
        let (bytes, remarks) = with_remarks(g, KitStaves::Separate).expect("a score");
        let text = String::from_utf8(bytes).expect("text");
        let values = text.split("<swing-type>").skip(1).filter_map(|t| t.split('<').next()).map(str::to_owned);
        (values.collect::<Vec<_>>(), text.matches("swing 2:1").count(), remarks.len())
    };
    let of = |value: &str| (vec![value.to_owned()], 1, 0);
    let none = (Vec::new(), 0, 0);
    // Threes and rests do not swing; neither do attacks on the first of each pair.
    assert_eq!(stated(&swung("6/8", 3, "xxx xxx", "2:1")), none);
    assert_eq!(stated(&swung("4/4", 2, ".. .. .. ..", "2:1")), none);
    assert_eq!(stated(&swung("4/4", 2, "x- x- x- x-", "2:1")), none);
    assert_eq!(stated(&swung("6/8", 6, "xxxxxx xxxxxx", "2:1")), of("16th"));
    assert_eq!(stated(&swung("4/4", 2, "xx xx xx xx", "2:1")), of("eighth"));
    // Pairs of another value than the layer's cells.
    assert_eq!(stated(&swung("4/4", 4, "{2: xx} {2: xx} {2: xx} {2: xx}", "2:1")), of("eighth"));
    let two = vec!["16th".to_owned(), "eighth".to_owned()];
    assert_eq!(stated(&swung("2/4", 4, "xxxx xxxx | {2: xx} {2: xx}", "2:1")), (two, 2, 0));
    // Pairs of thirty-seconds and of triplets cannot be stated; words tell that there is swing.
    assert_eq!(stated(&swung("2/4", 8, "xxxxxxxx xxxxxxxx", "2:1")), (Vec::new(), 1, 1));
    assert_eq!(stated(&swung("2/4", 6, "xxxxxx xxxxxx", "2:1")), (Vec::new(), 1, 1));
}

#[test]
fn usual_swing_comes_back_without_a_remark() {
    let rows = [
        ("4/4", 2, "xx x- .x xx"),
        ("4/4", 4, "xx.x x-xx .x.x xxxx"),
        ("6/8", 6, "xxxxxx x.xx.x"),
        ("12/8", 6, "x.xx.x xxxxxx x-x-xx ......"),
        ("7/8", 2, "xx xx .x xx x. xx xx"),
        ("3+2+2/8", 2, "xx xx .x xx x. xx xx"),
        ("2/4", 4, "xxxx {3: xxx} | {2: xx} x---"),
        ("3/4", 4, "{5: xxxxx} x.xx {7: xxxxxxx}"),
    ];
    for (meter, division, drawing) in rows {
        for swing in ["2:1", "3:2", "5:4", "1:2"] {
            let g = swung(meter, division, drawing, swing);
            let (bytes, remarks) = with_remarks(&g, KitStaves::Separate).expect("a score");
            let back = read(&bytes).expect("read");
            let warnings: Vec<String> = back.warnings.iter().map(ToString::to_string).collect();
            assert_eq!((remarks, warnings), (Vec::new(), Vec::new()), "{meter} {drawing} {swing}");
            assert_eq!(sounding(&back.groove), sounding(&g), "{meter} {drawing} {swing}");
        }
    }
}

#[test]
fn swing_in_words_only_is_told() {
    let (bytes, remarks) =
        with_remarks(&swung("2/4", 8, "xxxxxxxx xxxxxxxx", "2:1"), KitStaves::Separate).expect("a score");
    assert_eq!(
        remarks,
        [
            "layer 'l', section 'A': MusicXML cannot express all of its swing 2:1; 16 of the onsets and note ends play straight"
        ]
    );
    let back = read(&bytes).expect("read");
    assert_eq!(back.warnings[0], "part 'l', measure 1: 'swing 2:1' is written in words only; read as straight");
}

#[test]
fn a_tempo_is_printed_with_six_digits_and_comes_back_exact() {
    let rows = [
        (Fraction::new(400, 3), (1, 4), "133.333"),
        (Fraction::new(200, 3), (3, 8), "66.6667"),
        (Fraction::new(16, 3), (1, 4), "5.33333"),
        (Fraction::new(2999, 3), (1, 8), "999.667"),
        (Fraction::new(265, 2), (1, 4), "132.5"),
        (Fraction::new(1000, 1), (1, 2), "1000"),
    ];
    for (bpm, (n, d), printed) in rows {
        let tempo = Tempo::new(bpm.expect("a number"), Time::new(n, d).expect("a value")).expect("within bounds");
        let g = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1).expect("a groove");
        let bytes = exported(&g);
        let text = String::from_utf8_lossy(&bytes);
        assert!(text.contains(&format!("<per-minute>{printed}</per-minute>")), "{printed}: {text}");
        assert_eq!(read(&bytes).expect("read").groove.sections()[0].tempo, tempo, "{printed}");
    }
}

/// A layer has more notes than are kept between check and writing.
#[test]
fn a_long_score_is_the_same_as_its_parts() {
    let layers = 3;
    let part = |cells| Part::Cycled { cells, start: 0 };
    let section =
        Section { bars: 1024, ..crate::notation::tests::groove("16/4", 4, &"x... ".repeat(16)).sections()[0].clone() };
    let rows = (0..layers).map(|l| Layer::new(&format!("l{l}"), Voice::Wood, 4, vec![part(vec![Cell::ATTACK; l + 1])]));
    let long = Groove::new("long", "", vec![section.clone()], rows.collect()).expect("a groove");
    let whole = exported(&long);
    let parts = |bytes: &[u8]| -> Vec<String> {
        let text = String::from_utf8_lossy(bytes).into_owned();
        text.split("\n <part ").skip(1).map(|p| p.split_once('>').expect("an element").1.trim().to_owned()).collect()
    };
    let last = Groove::new("long", "", vec![section], vec![(*long.layers()[layers - 1]).clone()]).expect("a groove");
    let alone = parts(&exported(&last)).remove(0);
    let together = parts(&whole);
    assert_eq!(together.len(), layers);
    // The top part alone has the directions for all.
    let notes = |part: &str| {
        part[part.find("<note>").expect("a note")..].trim_end_matches("</score-partwise>").trim().to_owned()
    };
    assert!(notes(&together[layers - 1]) == notes(&alone), "the last part differs");
}
