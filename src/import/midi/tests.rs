//! Tests of MIDI export and import.

mod out_and_in;
mod played;

use super::*;
use crate::analysis::{self, AnalysisOptions, Report};
use crate::export::{ExportInput, midi};
use crate::import::Imported;
use crate::notation::{TimedNote, passes, timed_notes};
use crate::rhythm::{
    Attack, Cell, Edit, Fraction, Groove, Layer, Meter, Part, PartContext, Place, Section, Span, Tempo, Time, Voice,
};
use proptest::prelude::*;

fn out(groove: &Groove) -> Vec<u8> {
    let report = Report::default();
    midi::export(&ExportInput { groove, report: &report, hearings: vec![], section: None }, midi::Tracks::Layers)
        .expect("a file")
}

fn back(bytes: &[u8]) -> Imported {
    import(bytes).unwrap_or_else(|e| panic!("{e}"))
}

/// What a layer sounds like: a pitch that its voice does not sound is none.
fn sounding(groove: &Groove) -> Vec<Vec<TimedNote>> {
    let passes = passes(groove, None).expect("bounded");
    let layer = |(l, layer): (usize, &std::sync::Arc<Layer>)| {
        let all = timed_notes(groove, l, &passes).expect("bounded");
        let heard = |n: TimedNote| {
            let pitch = n.attack.pitch.filter(|_| layer.voice.is_pitched());
            TimedNote { attack: Attack { pitch, ..n.attack }, ..n }
        };
        all.into_iter().map(heard).collect()
    };
    groove.layers().iter().enumerate().map(layer).collect()
}

/// Everything of the layers but their cells. Names as a text of one line holds them.
fn about(groove: &Groove) -> Vec<Layer> {
    let one = |l: &std::sync::Arc<Layer>| Layer { parts: Vec::new(), ..(**l).clone() };
    groove.layers().iter().map(one).collect()
}

fn comes_back(groove: &Groove) -> Result<(), TestCaseError> {
    let bytes = out(groove);
    let imported = import(&bytes).map_err(|e| TestCaseError::fail(e.to_string()))?;
    prop_assert_eq!(about(&imported.groove), about(groove));
    prop_assert_eq!(imported.groove.sections(), groove.sections());
    let title: String = groove.title().chars().filter(|c| !c.is_control()).collect();
    prop_assert_eq!(imported.groove.title(), title.trim());
    let exact = read::read(&bytes).expect("read").origin == read::Origin::TeeterExact;
    let (before, after) = (sounding(groove), sounding(&imported.groove));
    if exact {
        prop_assert!(imported.warnings.is_empty(), "{:?}", imported.warnings);
        prop_assert_eq!(&before, &after);
    }
    for (before, after) in before.iter().zip(&after) {
        prop_assert_eq!(before.len(), after.len());
        for (b, a) in before.iter().zip(after) {
            let off = (b.start.numer() as f64 / b.start.denom() as f64
                - a.start.numer() as f64 / a.start.denom() as f64)
                .abs();
            prop_assert!(off <= 1.0 / f64::from(30_240 * 4) && b.attack == a.attack, "{:?} {:?}", b, a);
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(300))]

    #[test]
    fn our_own_file_comes_back_as_the_same_groove(
        groove in crate::rhythm::random::grooves(),
        own in prop::collection::vec((prop::option::of("[a-z ü=./]{1,12}"), prop::option::of(0_u8..=18)), 4),
    ) {
        let given = own.into_iter().take(groove.layers().len()).enumerate();
        let groove = given.fold(groove, |g, (l, (sound, depth))| {
            let g = g.edited(&Edit::SoundFile(l, sound)).unwrap_or(g);
            g.edited(&Edit::AccentDepth(l, depth)).unwrap_or(g)
        });
        comes_back(&groove)?;
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = import(&bytes);
    }

    #[test]
    fn a_damaged_file_is_read_or_refused(
        groove in crate::rhythm::tests::grooves(), cut in any::<prop::sample::Index>(), at in any::<prop::sample::Index>(), byte in any::<u8>(),
    ) {
        let mut bytes = out(&groove);
        let end = bytes.len();
        bytes[at.index(end)] = byte;
        let _ = import(&bytes);
        prop_assert!(import(&out(&groove)[..cut.index(end)]).is_err(), "a file that is cut off is refused");
    }
}

#[test]
fn a_short_last_bar_stays_one_bar_where_ticks_are_rounded() {
    let quarter = Time::new(1, 4).expect("a quarter");
    let tempo = Tempo::new(Fraction::whole(120), quarter).expect("within bounds");
    let section = |name: &str, meter: &str| Section {
        name: name.into(),
        meter: Meter::parse(meter).expect("a meter"),
        tempo,
        bars: 1,
        times: 1,
        swing: None,
    };
    let sections = vec![section("A", "4/4"), section("B", "6/64")];
    // A bar of 6/64 is no whole number of ticks where a quarter has a multiple of 19 * 17 * 13 of them.
    for divisions in [vec![4], vec![19], vec![19, 17, 13, 11]] {
        let layer = |&cells: &u16| {
            let spans = vec![Span { beats: 1, cells }; 4];
            let context = PartContext { meter: &sections[1].meter, bars: 1, division: cells, swing: None };
            let first = Part::Barred { spans, cells: vec![Cell::ATTACK; 4 * usize::from(cells)] };
            Layer::new(&format!("layer {cells}"), Voice::Rim, cells, vec![first, Part::rests(context)])
        };
        let layers = divisions.iter().map(layer).collect();
        let groove = Groove::new("short", "", sections.clone(), layers).expect("a groove");
        assert_eq!(back(&out(&groove)).groove.sections(), groove.sections(), "{divisions:?}");
    }
}

#[test]
fn a_hearing_clicks_in_a_track_of_its_own() {
    let meter = Meter::parse("4/4").expect("meter");
    let tempo = Tempo::new(Fraction::whole(150), meter.beat()).expect("tempo");
    let mut groove = Groove::blank(meter, tempo, 3).expect("a groove");
    let mut cell = 0;
    for cells in [4, 4, 3, 4, 4, 3, 4, 4, 3, 5, 5, 5] {
        let at = Place { layer: 0, section: 0, cell };
        groove = groove.edited(&Edit::Enter { at, cells, attack: Attack::default() }).expect("room");
        cell += cells;
    }
    let report = analysis::report(&groove, &AnalysisOptions::default());
    let piece = ExportInput { groove: &groove, report: &report, hearings: vec![0], section: None };
    let song = read::read(&midi::export(&piece, midi::Tracks::Layers).expect("a file")).expect("read");
    let clicks = song.parts.last().expect("a track");
    assert_eq!(
        (clicks.meta.as_ref(), clicks.notes.len()),
        (Some(&crate::notation::teeter_meta::MetaEvent::Click), report.hearings[0].pulses.len())
    );
    // A quarter at 150 lasts 400 ms: half a tick of 480 is 0.4 ms.
    for (note, seconds) in clicks.notes.iter().zip(&report.hearings[0].pulses) {
        let at = note.start as f64 * 0.4 / song.ticks_per_quarter.expect("a header").numer() as f64;
        assert!((at - seconds).abs() <= 0.0005, "{at} {seconds}");
    }
    let imported = back(&midi::export(&piece, midi::Tracks::Layers).expect("a file"));
    assert_eq!(imported.groove.layers().len(), groove.layers().len());
    assert!(imported.warnings[0].contains("clicks"), "{:?}", imported.warnings);
}

/// A file of these tracks, each of whole events with their steps.
fn file(format: u8, division: [u8; 2], tracks: &[&[u8]]) -> Vec<u8> {
    let mut bytes =
        vec![b'M', b'T', b'h', b'd', 0, 0, 0, 6, 0, format, 0, tracks.len() as u8, division[0], division[1]];
    for track in tracks {
        bytes.extend(b"MTrk");
        bytes.extend((track.len() as u32).to_be_bytes());
        bytes.extend(*track);
    }
    bytes
}

const END: [u8; 4] = [0, 0xff, 0x2f, 0];

fn with_end(events: &[u8]) -> Vec<u8> {
    [events, &END].concat()
}

#[test]
fn running_status_and_velocity_0_are_understood() {
    // Four quarters at 96 ticks, one status byte for all.
    let track =
        with_end(&[0, 0x90, 60, 80, 96, 60, 0, 0, 62, 80, 96, 62, 0, 0, 64, 80, 96, 64, 0, 0, 65, 80, 96, 65, 0]);
    let imported = back(&file(0, [0, 96], &[&track]));
    let times: Vec<String> =
        sounding(&imported.groove)[0].iter().map(|n| format!("{} {}", n.start, n.length)).collect();
    assert_eq!(times, ["0/1 1/4", "1/4 1/4", "1/2 1/4", "3/4 1/4"]);
    let words = imported.warnings;
    let expected = [
        "meter: the file has no time signature; read as 4/4",
        "tempo: the file has no tempo; read at 120 quarters per minute",
    ];
    assert_eq!((&words[..], imported.groove.layers()[0].divisions[0]), (&expected.map(String::from)[..], 1));
}

#[test]
fn every_tempo_is_one_that_our_file_can_tell() {
    for us in [1_067_441_u32, 999_999, 333_331, 5_000_011, 11_999_993] {
        let [_, a, b, c] = us.to_be_bytes();
        let track = with_end(&[0, 0xff, 0x51, 3, a, b, c, 0, 0x90, 60, 80, 96, 60, 0]);
        let imported = back(&file(0, [0, 96], &[&track]));
        let tempo = imported.groove.sections()[0].tempo;
        assert!(tempo.bpm().denom() <= Tempo::MAX_DENOMINATOR, "{us}: {:?}", tempo.bpm());
        let per_minute = tempo.bpm().numer() as f64 / tempo.bpm().denom() as f64;
        let quarters = per_minute * 4.0 * tempo.unit().numer() as f64 / tempo.unit().denom() as f64;
        // Within the microsecond that the file itself rounds or cuts off.
        assert!((60e6 / quarters - f64::from(us)).abs() <= 1.0, "{us}: {quarters}");
    }
}

#[test]
fn played_times_go_to_the_smallest_grid_within_the_tolerance() {
    // Triplets of quarters of 960 ticks (500 ms), each up to 4 ms late: 320, 640 and so on, and 7 ticks.
    let late = [0_u16, 7, 3, 0, 5, 7];
    let mut track = vec![];
    let mut now = 0_u16;
    for (i, late) in late.iter().enumerate() {
        let at = i as u16 * 320 + late;
        let step = at - now;
        track.extend([0x80 | (step >> 7) as u8, (step & 127) as u8, 0x90, 60, 80, 100, 0x80, 60, 64]);
        now = at + 100;
    }
    let imported = back(&file(0, [3, 192], &[&with_end(&track)]));
    assert_eq!(imported.groove.layers()[0].divisions[0], 3);
    let words = &imported.warnings[2];
    assert!(
        words.starts_with("track 'track 1': 4 onsets were moved to the grid; the largest move is 3.65 ms"),
        "{words}"
    );
    let strict = import_with_tolerance(&file(0, [3, 192], &[&with_end(&track)]), Fraction::ZERO)
        .expect_err("327/960 is no cell");
    assert_eq!(
        strict.to_string(),
        "track 'track 1', bar 1: no grid of at most 64 cells fits the onsets of this bar exactly; try a tolerance of 5 ms"
    );
}

#[test]
fn bytes_after_the_last_track_are_ignored_with_a_remark() {
    let track = with_end(&[0, 0x90, 60, 80, 96, 0x80, 60, 0]);
    let whole = file(0, [0, 96], &[&track]);
    let clean = back(&whole);
    let rows: [&[u8]; 6] = [
        &[0],
        &[0; 64],
        &[0x1a; 8],
        b"\0\0 and more text of some length",
        b"more text that declares a chunk",
        &[0xff, 0x2f, 0, 0, 0, 0, 0, 0, 0x90],
    ];
    for extra in rows {
        let imported = back(&[&whole[..], extra].concat());
        assert_eq!(imported.groove, clean.groove, "{extra:?}");
        let bytes = if extra.len() == 1 { "1 byte".to_owned() } else { format!("{} bytes", extra.len()) };
        let remark = format!("byte {}: ignored {bytes} after the last track", whole.len());
        assert_eq!(imported.warnings[0], remark, "{extra:?}");
        assert_eq!(imported.warnings.len(), clean.warnings.len() + 1, "{extra:?}");
    }
    // Before the last track they make the file a truncated one.
    let mut more = [&whole[..], &[0; 3]].concat();
    more[11] = 2;
    assert!(import(&more).expect_err("two tracks").message.contains("declares 2 tracks, 1 are present"));
}

#[test]
fn what_is_no_file_of_ours_is_refused_by_place_and_name() {
    let note = with_end(&[0, 0x90, 60, 80, 96, 0x80, 60, 0]);
    let rows: [(Vec<u8>, &str); 9] = [
        (vec![], "byte 0: expected a Standard MIDI File, which begins with 'MThd', found ''"),
        (b"RIFFxxxxWAVE".to_vec(), "byte 0: expected a Standard MIDI File, which begins with 'MThd', found 'RIFF'"),
        (file(2, [0, 96], &[&note]), "byte 8: expected format 0 or 1, found format 2 (independent patterns)"),
        (file(0, [0, 0], &[&note]), "byte 12: expected 1 to 32767 ticks per quarter, found 0"),
        (file(0, [0xf0, 4], &[&note]), "byte 12: expected 24, 25, 29 or 30 frames per second, found 16"),
        (file(0, [0, 96], &[&END]), "expected at least one note, found none"),
        (
            file(0, [0, 96], &[&note])[..25].to_vec(),
            "byte 14: the file is truncated: track 1 declares 12 bytes, 3 are present",
        ),
        (file(0, [0, 96], &[&[0, 0x90, 60, 80, 96, 0xf4, 0]]), "track 1, tick 0, byte 26: truncated or invalid event"),
        (
            file(0, [0, 1], &[&with_end(&[0xff, 0xff, 0xff, 0x7f, 0x90, 60, 80, 1, 0x80, 60, 0])]),
            "bar 16385: expected at most 65536 beats, found a longer file",
        ),
    ];
    for (bytes, words) in rows {
        assert_eq!(import(&bytes).expect_err(words).to_string(), words);
    }
}

#[test]
fn a_meter_within_a_bar_and_a_tempo_of_nothing_are_told() {
    let meter = |upper: u8| [0xff, 0x58, 4, upper, 2, 24, 8];
    let tempo = |us: [u8; 3]| [&[0xff, 0x51, 3][..], &us].concat();
    let start = [&[0][..], &meter(4), &[0], &tempo([7, 0xa1, 0x20])].concat();
    // Two quarters of 96 ticks, then 3/4 and a tempo of 0.
    let track = [
        &start[..],
        &[0, 0x90, 60, 80, 96, 0x80, 60, 64, 96],
        &meter(3),
        &[0],
        &tempo([0, 0, 0]),
        &[0, 0x90, 60, 80, 96, 0x80, 60, 64],
    ]
    .concat();
    let imported = back(&file(0, [0, 96], &[&with_end(&track)]));
    let words = imported.warnings;
    assert_eq!(
        words,
        [
            "tick 192: ignored a tempo of 0 microseconds per quarter",
            "bar 1: the meter changes within this bar; it was shortened to 1/2 of a whole note and became its own section",
        ]
    );
}

#[test]
fn what_is_odd_is_read_and_told() {
    let tempo_within = [0, 0xff, 0x51, 3, 7, 0xa1, 0x20, 0x81, 0x40, 0xff, 0x51, 3, 0x0f, 0x42, 0x40];
    let odd =
        with_end(&[&tempo_within[..], &[0, 0x99, 36, 100, 10, 0x89, 36, 0, 0, 0x80, 60, 0, 0, 0x90, 60, 100]].concat());
    let imported = back(&file(0, [0, 96], &[&odd]));
    let words = imported.warnings;
    assert_eq!(
        words[..4],
        [
            "track 1: 1 note has no note-off; it ends with the track",
            "track 1: ignored 1 note-off without a note-on",
            "meter: the file has no time signature; read as 4/4",
            "bar 1: the tempo changes within this bar; replaced by one tempo with the same duration",
        ],
        "{words:?}"
    );
    // Two quarters at 120 and two at 60 last three seconds: 80 on average.
    assert_eq!(imported.groove.sections()[0].tempo.bpm(), Fraction::whole(80));
    let voices: Vec<Voice> = imported.groove.layers().iter().map(|l| l.voice).collect();
    assert_eq!(voices, [Voice::Pluck, Voice::Kick]);
    // Frames of film: 25 a second with 40 ticks each are 500 ticks a half second.
    let frames = back(&file(0, [0xe7, 40], &[&with_end(&[0x83, 0x74, 0x90, 60, 80, 10, 0x80, 60, 0])]));
    assert_eq!(sounding(&frames.groove)[0][0].start, Time::new(1, 4).expect("positive"));
}

/// The flams of a percussion track of 500 ticks of a millisecond per quarter: start and velocity of each note of key 38.
fn flams_of(notes: &[(u16, u8)]) -> (Vec<bool>, usize) {
    let (mut track, mut now) = (Vec::new(), 0);
    for (at, velocity) in notes {
        let step = at - now;
        track.extend([0x80 | (step >> 7) as u8, (step & 127) as u8, 0x99, 38, *velocity, 2, 0x89, 38, 64]);
        now = at + 2;
    }
    let imported = back(&file(0, [1, 244], &[&with_end(&track)]));
    let told = imported.warnings.iter().filter(|w| w.contains("flam")).count();
    (sounding(&imported.groove)[0].iter().map(|n| n.attack.flam).collect(), told)
}

#[test]
fn a_softer_note_just_before_another_of_its_key_is_a_flam_if_nothing_else_is_near() {
    assert_eq!(flams_of(&[(0, 100), (470, 60), (500, 100), (1000, 100)]), (vec![false, true, false], 1));
    assert_eq!(flams_of(&[(0, 100), (460, 80), (500, 100), (1000, 100)]), (vec![false, true, false], 1));
    // Too early, or hardly softer.
    assert_eq!(flams_of(&[(0, 100), (437, 60), (500, 100), (1000, 100)]).1, 0);
    assert_eq!(flams_of(&[(0, 100), (470, 90), (500, 100), (1000, 100)]).1, 0);
    // Three strokes are a roll.
    assert_eq!(flams_of(&[(0, 100), (440, 50), (470, 60), (500, 100), (1000, 100)]).1, 0);
    assert_eq!(flams_of(&[(0, 100), (470, 60), (500, 100), (530, 60), (1000, 100)]).1, 0);
}
