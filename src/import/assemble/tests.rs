//! Tests of assembling drafts into grooves.

use super::*;
use crate::import::Imported;
use crate::import::draft::DraftBar;
use crate::notation::{Pass, TimedNote, passes, timed_notes};
use crate::rhythm::tests::grooves;
use crate::rhythm::{Attack, Fraction, Meter, Part, Pitch, Span, Swing, Tempo, Voice};
use proptest::prelude::*;

/// The bars of these passes, each of which begins a named section.
fn bars(groove: &Groove, passes: &[Pass]) -> Vec<DraftBar> {
    let mut all = Vec::new();
    for pass in passes {
        let Section { name, meter, tempo, bars, swing, .. } = &groove.sections()[pass.section];
        for bar in 0..*bars {
            all.push(DraftBar {
                section: (bar == 0).then(|| name.clone()),
                swing: *swing,
                ..DraftBar::new(meter.clone(), *tempo, (all.len() + 1).to_string())
            });
        }
    }
    all
}

/// A groove's exact notes and bars; with `hints` the swing and the divisions too.
fn draft(groove: &Groove, hints: bool) -> ImportDraft {
    let passes = passes(groove, None).expect("bounded");
    let mut bars = bars(groove, &passes);
    if !hints {
        for bar in &mut bars {
            bar.swing = None;
        }
    }
    let tracks = groove.layers().iter().enumerate().map(|(l, layer)| {
        let mut track = DraftTrack::new(&layer.name, layer.voice);
        track.notes = timed_notes(groove, l, &passes).expect("bounded");
        track.layer.divisions = if hints { layer.divisions.clone() } else { Vec::new() };
        track.layer.swing = layer.swing.filter(|_| hints);
        track
    });
    ImportDraft { title: groove.title().into(), note: groove.note().into(), bars, tracks: tracks.collect() }
}

fn assembled(draft: &ImportDraft) -> Result<Imported, FormatError> {
    let mut warnings = Warnings::default();
    let groove = assemble(draft, &mut warnings)?;
    Ok(Imported { groove, warnings: warnings.finish() })
}

fn sounding(groove: &Groove) -> Vec<Vec<TimedNote>> {
    let passes = passes(groove, None).expect("bounded");
    (0..groove.layers().len()).map(|l| timed_notes(groove, l, &passes).expect("bounded")).collect()
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(400))]

    #[test]
    fn what_sounds_comes_back_from_its_exact_notes(groove in grooves(), hints in any::<bool>()) {
        let imported = assembled(&draft(&groove, hints)).expect("within the bounds");
        prop_assert!(imported.warnings.is_empty(), "{:?}", imported.warnings);
        prop_assert_eq!(sounding(&imported.groove), sounding(&groove));
        let plain = |g: &Groove| g.sections().iter().map(|s| (s.name.clone(), s.meter.clone(), s.tempo, s.bars, s.times)).collect::<Vec<_>>();
        prop_assert_eq!(plain(&imported.groove), plain(&groove), "times through are folded again");
    }

    #[test]
    fn notes_at_any_time_become_a_groove_with_all_of_them(
        starts in prop::collection::vec((0_i64..4000, 1_i64..900, 30_u8..50), 0..40), denominator in 1_i64..1200,
    ) {
        let time = |n| Time::new(n, denominator).expect("positive");
        let notes: Vec<TimedNote> = starts.iter().map(|(start, length, key)| {
            let attack = Attack { pitch: Pitch::new(*key), ..Attack::default() };
            TimedNote { start: time(start % (denominator * 2)), length: time(*length), attack }
        }).collect();
        let imported = assembled(&one_track(2, notes.clone())).expect("a groove");
        let mut back: Vec<TimedNote> = sounding(&imported.groove).into_iter().flatten().collect();
        prop_assert_eq!(back.len(), notes.len(), "{:?}", imported.warnings);
        // Nothing is moved by more than half of the widest cell of the finest grid, or into the neighbouring layer's place.
        let mut from = notes;
        from.sort_by_key(|n| (n.attack.pitch, n.start));
        back.sort_by_key(|n| (n.attack.pitch, n.start));
        let off = |(a, b): (&TimedNote, &TimedNote)| (a.start.numer() as f64 / a.start.denom() as f64 - b.start.numer() as f64 / b.start.denom() as f64).abs();
        prop_assert!(from.iter().zip(&back).map(off).all(|d| d <= 1.0 / 4.0 / 64.0), "{:?}\n{:?}", from, back);
        let moved = from.iter().zip(&back).filter(|(a, b)| a.start != b.start).count();
        prop_assert!(moved == 0 || imported.warnings.iter().any(|r| r.contains("moved by")), "{:?}", imported.warnings);
    }
}

fn tempo(bpm: i32) -> Tempo {
    Tempo::new(Fraction::whole(bpm), Time::new(1, 4).expect("positive")).expect("within its bound")
}

fn one_track(count: usize, notes: Vec<TimedNote>) -> ImportDraft {
    let meter = Meter::parse("4/4").expect("meter");
    let bars = (0..count).map(|i| DraftBar::new(meter.clone(), tempo(120), (i + 1).to_string())).collect();
    let track = DraftTrack { notes, ..DraftTrack::new("oar", Voice::Pluck) };
    ImportDraft { title: "t".into(), note: String::new(), bars, tracks: vec![track] }
}

fn note(start: (i64, i64), length: (i64, i64), key: u8) -> TimedNote {
    let time = |(n, d)| Time::new(n, d).expect("positive");
    let attack = Attack { pitch: Pitch::new(key), ..Attack::default() };
    TimedNote { start: time(start), length: time(length), attack }
}

fn words(imported: &Imported) -> Vec<String> {
    imported.warnings.iter().map(ToString::to_string).collect()
}

fn spans(groove: &Groove) -> Vec<Span> {
    match groove.part(0, 0) {
        Part::Barred { spans, .. } => spans.clone(),
        Part::Cycled { .. } => panic!("no cycle is built"),
    }
}

#[test]
fn tuplets_stand_only_where_they_are_needed() {
    let mut notes: Vec<TimedNote> = (0..4).map(|i| note((i, 16), (1, 16), 40)).collect();
    notes.extend((0..7).map(|i| note((7 + i, 14), (1, 14), 40)));
    notes.extend((0..5).map(|i| note((20 + i, 20), (1, 20), 40)));
    notes.extend((0..3).map(|i| note((15 + 2 * i, 12), (1, 6), 40)));
    notes.extend((0..16).map(|i| note((32 + i, 16), (1, 16), 40)));
    let imported = assembled(&one_track(3, notes)).expect("a groove");
    assert_eq!(words(&imported), Vec::<String>::new());
    assert_eq!(imported.groove.layers()[0].divisions[0], 4);
    let shape: Vec<(u16, u16)> = spans(&imported.groove).iter().take(6).map(|s| (s.beats, s.cells)).collect();
    assert_eq!(shape, [(1, 4), (1, 4), (2, 7), (1, 5), (2, 3), (1, 4)]);
}

#[test]
fn each_beat_has_a_division_of_its_own() {
    // Sixteenths in a bar of 4/4 and one of 7/8.
    let mut draft = one_track(2, (0..30).map(|i| note((i, 16), (1, 16), 40)).collect());
    draft.bars[1].meter = Meter::parse("7/8").expect("meter");
    let imported = assembled(&draft).expect("a groove");
    assert_eq!((words(&imported).len(), &imported.groove.layers()[0].divisions[..]), (0, &[4, 2][..]));
    // A silent section has the division of the others.
    draft.tracks[0].notes.truncate(16);
    assert_eq!(assembled(&draft).expect("a groove").groove.layers()[0].divisions, [4, 4]);
}

#[test]
fn notes_that_sound_at_once_go_to_further_layers() {
    let notes = vec![note((0, 1), (1, 4), 40), note((0, 1), (1, 2), 47), note((1, 4), (1, 4), 40)];
    let imported = assembled(&one_track(1, notes)).expect("a groove");
    let names: Vec<&str> = imported.groove.layers().iter().map(|l| l.name.as_str()).collect();
    assert_eq!((names, words(&imported)), (vec!["oar", "oar 2"], Vec::new()));
}

#[test]
fn names_that_stand_already_are_counted_on() {
    let both = vec![note((0, 1), (1, 4), 40), note((0, 1), (1, 2), 47)];
    let mut draft = one_track(3, both.clone());
    draft.tracks.push(DraftTrack { notes: both, ..DraftTrack::new("oar 2", Voice::Pluck) });
    for (i, bar) in draft.bars.iter_mut().enumerate() {
        bar.section = Some("from measure 5".into());
        bar.tempo = tempo(100 + i as i32);
    }
    let imported = assembled(&draft).expect("a groove").groove;
    let names: Vec<&str> = imported.layers().iter().map(|l| l.name.as_str()).collect();
    assert_eq!(names, ["oar", "oar 3", "oar 2", "oar 4"]);
    let names: Vec<&str> = imported.sections().iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["from measure 5", "from measure 5, time 2", "from measure 5, time 3"]);
}

#[test]
fn what_a_groove_cannot_hold_is_said() {
    let mut draft = one_track(2, vec![note((1, 404), (1, 4), 40), note((3, 4), (1, 2), 40), note((9, 1), (1, 4), 40)]);
    draft.bars[1].tempo = tempo(90);
    let imported = assembled(&draft).expect("a groove");
    assert_eq!(
        words(&imported),
        [
            "track 'oar', bar 1, beat 4: a note of 1/2 crosses the end of its section; cut to 1/4",
            "track 'oar': dropped 1 note outside the bars",
            "track 'oar', bar 1, beat 1+1/101: no grid of at most 64 cells contains this onset; moved by 37/25856 of a whole note",
        ]
    );
}

/// Each layer is as much work as the groove is long, so that those which could not be kept must not be built: there is one warning
/// for all of them, where each that is built would have its own.
#[test]
fn layers_beyond_the_bound_are_counted_and_not_made() {
    let long = |n: i64| note((n, 32), (400, 1), 40);
    let mut draft = one_track(500, (0..1000).map(long).collect());
    let mut more = DraftTrack { notes: (0..5).map(long).collect(), ..draft.tracks[0].clone() };
    more.layer.name = "boom".into();
    draft.tracks.push(more);
    let imported = assembled(&draft).expect("a groove");
    assert_eq!(imported.groove.layers().len(), 64);
    let left =
        |track: &str, n: usize| format!("track '{track}': a groove has at most 64 layers; {n} notes were dropped");
    assert_eq!(words(&imported), [left("oar", 936), left("boom", 5)]);
    let first = |l: usize| sounding(&imported.groove)[l].iter().map(|n| n.start).collect::<Vec<_>>();
    assert_eq!(first(63), vec![Time::new(63, 32).expect("a time")]);
}

/// A note in the last of some 60,000 beats stands at its exact time, whatever lies silent before it.
#[test]
fn silence_before_a_note_moves_nothing() {
    let at = |n: i64, d: i64| Time::new(n, d).expect("a time");
    let mut draft = one_track(16_000, vec![note((47_999 * 3 + 1, 3), (1, 7), 40)]);
    draft.bars.iter_mut().for_each(|b| b.meter = Meter::parse("3+1/1").expect("a meter"));
    let imported = assembled(&draft).expect("a groove");
    assert_eq!(words(&imported), Vec::<String>::new());
    let sounds = &sounding(&imported.groove)[0];
    assert_eq!((sounds.len(), sounds[0].start, sounds[0].length), (1, at(47_999 * 3 + 1, 3), at(1, 7)));
}

#[test]
fn a_pickup_is_a_section_of_its_own_meter() {
    let mut draft = one_track(3, vec![note((0, 1), (1, 8), 40), note((1, 8), (1, 4), 40)]);
    draft.bars[0].length = Time::new(1, 8);
    let imported = assembled(&draft).expect("a groove");
    let sections: Vec<String> =
        imported.groove.sections().iter().map(|s| format!("{} {} {}", s.name, s.meter, s.bars)).collect();
    assert_eq!((sections, words(&imported)), (vec!["A 1/8 1".to_owned(), "B 4/4 2".to_owned()], Vec::new()));
    assert_eq!(sounding(&imported.groove)[0][1].start, Time::new(1, 8).expect("positive"));
}

#[test]
fn a_long_slowing_down_keeps_its_largest_changes() {
    let mut draft = one_track(300, vec![]);
    for (i, bar) in draft.bars.iter_mut().enumerate() {
        bar.tempo = tempo(if i < 150 { 60 + i as i32 } else { 900 });
    }
    let imported = assembled(&draft).expect("a groove");
    assert_eq!(imported.groove.sections().len(), 128);
    assert_eq!(imported.groove.sections().last().map(|s| s.tempo), Some(tempo(900)), "the largest change stays");
    assert_eq!(imported.warnings.len(), 1, "{:?}", imported.warnings);
    for (i, bar) in draft.bars.iter_mut().enumerate() {
        bar.meter = Meter::parse(if i % 2 == 0 { "3/8" } else { "4/4" }).expect("meter");
    }
    assert!(assembled(&draft).is_err(), "meters are not left out");
}

#[test]
fn swing_that_is_known_is_no_tuplet() {
    let mut draft = one_track(1, vec![note((1, 6), (1, 12), 40), note((5, 12), (1, 12), 40)]);
    let shuffle = Swing::new(2, 1).expect("within its bound");
    draft.bars[0].swing = Some(shuffle);
    let imported = assembled(&draft).expect("a groove");
    assert_eq!((imported.groove.layers()[0].divisions[0], spans(&imported.groove).len()), (2, 4));
}
