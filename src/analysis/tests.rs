//! The room's check values on grooves typed as lines of groups.

use super::*;
use crate::rhythm::{Cell, Edit, Fraction, Groove, Layer, Meter, Part, Place, Section, Tempo, Time, Voice, group_line};
use proptest::prelude::*;

/// One layer of sixteenths in 4/4 (a quarter of the beat), its groups as typed, in whole bars.
pub(crate) fn typed(bpm: i32, groups: &str) -> Groove {
    typed_groups(bpm, &group_line::expand(&group_line::parse(groups).expect("line")))
}

/// Strings of groups like those that are typed: a figure repeated, or sizes in no order, of up to eight bars.
pub(crate) fn strings() -> impl Strategy<Value = Vec<u32>> {
    (prop::collection::vec(1_u32..7, 1..8), 1_usize..8).prop_map(|(figure, times)| {
        let mut all: Vec<u32> = figure.repeat(times);
        let mut sum = 0;
        all.retain(|g| {
            sum += g;
            sum <= 128
        });
        all
    })
}

pub(crate) fn typed_groups(bpm: i32, groups: &[u32]) -> Groove {
    let cells: u32 = groups.iter().sum();
    let bars = cells.div_ceil(16);
    let mut drawn = vec![Cell::Rest; bars as usize * 16];
    let mut at = 0;
    for &g in groups {
        drawn[at as usize] = Cell::ATTACK;
        at += g;
    }
    let meter = Meter::parse("4/4").expect("meter");
    let tempo = Tempo::new(Fraction::whole(bpm), meter.beat()).expect("tempo");
    let spans = vec![crate::rhythm::Span { beats: 1, cells: 4 }; bars as usize * 4];
    let section = Section { name: "A".into(), meter, tempo, bars: bars as u16, times: 1, swing: None };
    let part = Part::Barred { spans, cells: drawn };
    Groove::new("t", "", vec![section], vec![Layer::new("l", Voice::Wood, 4, vec![part])]).expect("groove")
}

#[test]
fn a_cycle_of_another_layer_that_runs_against_the_bar_is_a_reason() {
    // Least common multiples: 13 and 16 cells meet after 208, which is 13 bars; 8 fits.
    for (cells, bars, told) in
        [(13, 4, Some((13, true))), (13, 13, Some((13, false))), (12, 6, Some((3, false))), (8, 4, None)]
    {
        let plain = typed_groups(150, &[3, 3, 3, 3, 4].repeat(bars));
        let with = |g: Groove| {
            let g = g.edited(&Edit::AddLayer(1, "chain".into(), Voice::Wood, 4)).expect("layer");
            let g = g.edited(&Edit::Set(Place { layer: 1, section: 0, cell: 0 }, Cell::ATTACK)).expect("attack");
            g.edited(&Edit::Cycle { layer: 1, section: 0, cells: Some(cells) }).expect("cycle")
        };
        let groove = with(plain);
        let found = |g: &Groove, scope| {
            let report = report(g, &AnalysisOptions { scope, ..AnalysisOptions::default() });
            report.findings.into_iter().find_map(|f| match f.reason {
                Reason::CycleAgainstTheBar { layer, cells: n, bars, breaks_off } => Some((layer, n, bars, breaks_off)),
                _ => None,
            })
        };
        assert_eq!(
            found(&groove, Scope::default()),
            told.map(|(b, off)| ("chain".into(), cells, b, off)),
            "{cells} {bars}"
        );
        // As a layer that is listened to its cycle is a figure of its groups.
        assert_eq!(found(&groove, Scope { layers: vec![1], region: None }), None);
    }
}

fn at_speed(groove: &Groove, percent: i64) -> Report {
    report(
        groove,
        &AnalysisOptions { speed: Fraction::new(percent, 100).expect("speed"), ..AnalysisOptions::default() },
    )
}

#[test]
fn thirteen_cells_over_four_four_are_heard_near_138() {
    // Common practice, no source: three attacks in 13 sixteenths at quarter = 150 are heard near 138 BPM.
    for groups in ["16(4+4+5)", "16(4+5+4)", "16(5+4+4)"] {
        let r = at_speed(&typed(150, groups), 100);
        let first = &r.hearings[0];
        assert!((first.bpm(1.0) - 138.46).abs() < 1.0, "{groups}: {}", first.bpm(1.0));
        assert_eq!((first.kind, first.stretches.len()), (HearingKind::Average, 1), "{groups}");
        assert!((first.stretches[0].attack_rate - 60.0 / (1.3 / 3.0)).abs() < 1e-6);
        // At half speed the cells are felt.
        assert!(!matches!(at_speed(&typed(150, groups), 50).hearings[0].kind, HearingKind::Average), "{groups}");
    }
}

#[test]
fn threes_and_fours_are_heard_near_171() {
    // Common practice, no source: a string of 3s and 4s averaging 3.5 sixteenths at quarter = 150 is heard near 171 BPM.
    for groups in ["16(3+4)", "3+4+4+3+3+4+3+4+4+3+4+3+3+4+4+3", "4(3+4+4+3+3+4+4+3)"] {
        let r = at_speed(&typed(150, groups), 100);
        assert!((r.hearings[0].bpm(1.0) - 171.43).abs() < 3.0, "{groups}: {}", r.hearings[0].bpm(1.0));
    }
}

#[test]
fn two_strings_in_a_row_are_one_hearing_of_two_stretches() {
    let r = at_speed(&typed(150, "6(4+4+5)+13(3+4)"), 100);
    let first = &r.hearings[0];
    assert!(first.probability > 0.8, "{}", first.probability);
    assert_eq!(first.stretches.len(), 2);
    assert!(first.stretches[1].first.abs_diff(18) <= 1, "{}", first.stretches[1].first);
    assert!((first.stretches[0].bpm - 138.46).abs() < 3.0 && (first.stretches[1].bpm - 171.43).abs() < 3.0);
}

#[test]
fn a_kick_on_the_quarters_makes_two_streams() {
    let riff = typed(150, "16(4+4+5)");
    let mut groove = riff.edited(&Edit::AddLayer(1, "kick".into(), Voice::Kick, 4)).expect("layer");
    for cell in (0..groove.cells(1, 0)).step_by(4) {
        groove = groove.edited(&Edit::Set(Place { layer: 1, section: 0, cell }, Cell::ATTACK)).expect("attack");
    }
    let r = at_speed(&groove, 100);
    let all = r.all.as_ref().expect("two layers");
    assert!(all.hearings[0].keeps_written() && all.answer.written > 0.5, "{:?}", all.answer);
    assert!(!r.hearings[0].keeps_written());
    assert!(matches!(r.findings[0].reason, Reason::TwoStreams { .. }), "{:?}", r.findings);
}

#[test]
fn straight_eighths_are_the_written_beat() {
    for bpm in [80, 100, 120, 140] {
        let r = at_speed(&typed(bpm, "32(2)"), 100);
        assert!(r.hearings[0].keeps_written(), "{bpm}");
        assert_eq!(r.findings, [], "{bpm}");
    }
}

#[test]
fn a_beat_that_is_late_is_told_by_how_much() {
    // Every attack on the second half of its beat, but for the first ones that set no phase.
    let names: Vec<String> = at_speed(&typed(100, "4(4)"), 100).hearings.iter().map(|h| h.kind.to_string()).collect();
    assert_eq!(names[0], "written beat");
    let mut late = typed(100, "8(4)");
    for cell in 0..32 {
        let attack = if cell % 4 == 2 { Cell::ATTACK } else { Cell::Rest };
        late = late.edited(&Edit::Set(Place { layer: 0, section: 0, cell }, attack)).expect("a cell");
    }
    let first = &at_speed(&late, 100).hearings[0];
    assert_eq!(first.kind.to_string(), "the same tempo, half a beat late");
    assert!(!first.keeps_written());
}

#[test]
fn an_average_pulse_is_even_and_told_as_it_is_clicked() {
    let report = at_speed(&typed(148, "2(2(7+7+5)+5+5)"), 100);
    let average = report.hearings.iter().find(|h| h.kind == HearingKind::Average).expect("an average pulse");
    let first = average.pulses[0] + report.clock.total();
    let next = average.pulses[1..].iter().chain([&first]);
    for (pulse, next) in average.pulses.iter().zip(next) {
        assert!((next - pulse - average.stretches[0].period).abs() < 1e-6, "{:?}", average.pulses);
    }
    let stream = report.streams.iter().find(|s| matches!(s.source, StreamSource::Hearing { .. })).expect("a stream");
    assert!((stream.start - average.pulses[0]).abs() < 1e-9);
}

#[test]
fn pulses_of_one_rate_in_other_places_have_other_names() {
    for speed in [50, 60, 75, 100] {
        let report = at_speed(&typed(148, "2(2(7+7+5)+5+5)"), speed);
        let mut names: Vec<String> = report.hearings.iter().map(|h| format!("{} {:.1}", h.kind, h.bpm(1.0))).collect();
        let all = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), all, "{names:?}");
    }
}

#[test]
fn one_attack_makes_no_pulse() {
    let r = at_speed(&typed(120, "16"), 100);
    assert_eq!((r.attacks.len(), r.hearings.len(), r.answer), (1, 0, None));
}

#[test]
fn sixteenths_at_150_last_100_ms() {
    let r = at_speed(&typed(150, "16(4+4+5)"), 100);
    assert!((r.cell_ms.expect("attacks") - 100.0).abs() < 1e-9);
}

/// One layer of eighths, its groups as typed, in bars of a meter.
fn in_meter(meter: &str, bars: u16, groups: &str) -> Groove {
    let meter = Meter::parse(meter).expect("meter");
    let beats = meter.beats() * usize::from(bars);
    let mut drawn = vec![Cell::Rest; beats];
    let mut at = 0;
    for group in group_line::expand(&group_line::parse(groups).expect("line")) {
        drawn[at] = Cell::ATTACK;
        at += group as usize;
    }
    let tempo = Tempo::new(Fraction::whole(240), meter.beat()).expect("tempo");
    let section = Section { name: "A".into(), meter, tempo, bars, times: 1, swing: None };
    let part = Part::Barred { spans: vec![crate::rhythm::Span { beats: 1, cells: 1 }; beats], cells: drawn };
    Groove::new("t", "", vec![section], vec![Layer::new("l", Voice::Wood, 1, vec![part])]).expect("groove")
}

#[test]
fn the_written_beat_of_an_additive_meter_has_the_mean_tempo_of_the_bar() {
    // Three heads in a bar of seven eighths at eighth = 240: 3 in 1.75 s, however many bars there are.
    for bars in [1, 2, 5] {
        let r = at_speed(&in_meter("2+2+3/8", bars, &format!("{bars}(2+2+3)")), 100);
        let first = &r.hearings[0];
        assert_eq!(first.kind, HearingKind::Written);
        assert!((first.bpm(1.0) - 180.0 / 1.75).abs() < 1e-6, "{bars}: {}", first.bpm(1.0));
        assert!(first.closes);
        // Cells of 125 ms are felt, so that twos and threes are not taken for one length.
        assert!(!r.findings.iter().any(|f| matches!(f.reason, Reason::NearlyEven { .. })), "{:?}", r.findings);
    }
}

#[test]
fn unequal_beats_are_heard_where_a_plain_meter_is_written() {
    let r = at_speed(&in_meter("7/8", 2, "2(3+2+2)"), 100);
    let first = &r.hearings[0];
    assert_eq!(first.kind.to_string(), "unequal beats 3+2+2 in eighths");
    let limp = r.findings.iter().find_map(|f| match &f.reason {
        Reason::UnequalBeats { limp_ms, .. } => Some(*limp_ms),
        _ => None,
    });
    // One eighth at 240 a minute.
    assert!(limp.is_some_and(|ms| (ms - 250.0).abs() < 1e-6), "{limp:?}");
}

#[test]
fn the_rival_does_not_keep_the_written_beat() {
    let r = at_speed(&typed(160, "4(3+3+2+3+5)"), 100);
    let rival = &r.hearings[r.rival().expect("one")];
    assert!(!rival.keeps_written());
    assert!(r.hearings.iter().all(|h| h.keeps_written() || h.probability <= rival.probability));
    assert_eq!(r.hearings[r.written().expect("always there")].kind, HearingKind::Written);
}

#[test]
fn additive_meters_miss_their_strong_beats_and_a_figure_is_placed_where_it_begins() {
    let (meter, eighth) = (Meter::parse("2+2+3/8").expect("meter"), Time::new(1, 8).expect("a time"));
    let tempo = Tempo::new(Fraction::whole(300), eighth).expect("tempo");
    let mut groove =
        Groove::blank(meter, tempo, 4).expect("groove").edited(&Edit::Division(0, None, 2)).expect("division");
    let mut cell = 0;
    for group in [4, 6, 4, 4, 6, 4, 6, 4, 6, 4, 6, 2] {
        let at = Place { layer: 0, section: 0, cell };
        groove =
            groove.edited(&Edit::Enter { at, cells: group, attack: crate::rhythm::Attack::default() }).expect("laid");
        cell += group;
    }
    assert_eq!(cell, 56, "four bars of seven eighths, two cells each");
    let report = report(&groove, &AnalysisOptions::default());
    // Attacks on cells 0 4 10 14 18 24 28 34 38 44 48 54 of 56; strong beats on 0 4 8 of every 14.
    let strong = report.findings.iter().find_map(|f| match f.reason {
        Reason::SilentBeats(share) => Some(share),
        _ => None,
    });
    let silent = [8, 22, 32, 36, 42, 46, 50].len() as f64;
    assert_eq!(strong, Some(silent / 12.0), "{:?}", report.findings);
    let figure = report.findings.iter().find(|f| matches!(f.reason, Reason::AgainstTheBar { units: 5 | 10, .. }));
    assert_eq!(figure.and_then(|f| f.place).map(|p| p.cell), Some(14), "{:?}", report.findings);
}
