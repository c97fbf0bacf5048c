//! Tests of the takes made from play requests.

use super::*;
use crate::analysis::{self, HearingKind};
use crate::rhythm::{Fraction, Groove, Layer, Meter, Section, Tempo, Time, Voice, cell_notation, group_line};
use crate::sound::take::CountIn;
use crate::sound::{Click, Range, SampleRate, UserSamples};
use std::sync::Arc;

/// Two sections; the riff of the second goes from an average of four and a bit to groups of five.
fn groove() -> Groove {
    let quarter = Time::new(1, 4).expect("quarter");
    let tempo = Tempo::new(Fraction::whole(150), quarter).expect("tempo");
    let meter = Meter::parse("4/4").expect("meter");
    let section =
        |name: &str, bars, times| Section { name: name.into(), meter: meter.clone(), tempo, bars, times, swing: None };
    let groups = group_line::expand(&group_line::parse("6(4+4+3)+6(5)").expect("a line"));
    let cells: Vec<char> = groups.iter().flat_map(|g| (0..*g).map(|k| if k == 0 { 'x' } else { '.' })).collect();
    let bars: Vec<String> = cells.chunks(16).map(|c| c.iter().collect()).collect();
    let text = |n: usize| bars[..n].join(" | ");
    let parts = [(2, text(2)), (6, text(6))];
    let part = |(n, t): &(usize, String)| cell_notation::parse_bars(t, &meter, *n, 4).expect("drawing");
    let layer = Layer::new("riff", Voice::Pluck, 4, parts.iter().map(part).collect());
    Groove::new("rope", "", vec![section("a", 2, 3), section("b", 6, 1)], vec![layer]).expect("groove")
}

fn request(groove: &Arc<Groove>, range: Range, layers: bool, beat: Click) -> (LoopSpec, Vec<f64>) {
    let report = analysis::report(groove, &analysis::AnalysisOptions::default());
    let hearing = report.hearings.iter().find(|h| h.kind == HearingKind::Changing).expect("a changing hearing");
    let lead = match range {
        Range::Section(s) => report.clock.seconds(s, 0, Time::ZERO).expect("a place"),
        _ => 0.0,
    };
    let line = HearingClicks {
        seconds: Arc::new(hearing.pulses.clone()),
        length: report.clock.total(),
        click: Click::Written,
        index: 0,
        lead,
    };
    let speed = Fraction::new(4, 5).expect("speed");
    (
        LoopSpec {
            groove: groove.clone(),
            speed,
            range,
            layers,
            beat,
            click_db: 0.0,
            click_sound: crate::rhythm::ClickSound::default(),
            hearings: vec![line],
            recording: None,
        },
        hearing.pulses.clone(),
    )
}

#[test]
fn the_pulses_of_a_section_alone_keep_the_exact_changes_of_a_hearing() {
    let groove = Arc::new(groove());
    let (playing, pulses) = request(&groove, Range::Section(1), false, Click::Off);
    let schedule = playing.take().schedule(&groove, SampleRate::STUDIO, &UserSamples::default());
    let (start, end) = (playing.hearings[0].lead, playing.hearings[0].lead + 6.0 * 1.6);
    let within: Vec<f64> = pulses.into_iter().filter(|t| *t >= start - 1e-9 && *t < end - 1e-9).collect();
    let exact: Vec<i64> = within.iter().map(|t| ((t - start) / 0.8 * 48_000.0).round() as i64).collect();
    let found: Vec<i64> = (0..schedule.len()).filter_map(|k| schedule.onset(0, k)).map(|f| f.0).collect();
    assert_eq!(found, exact);
    // It does change there.
    let steps: Vec<i64> = exact.windows(2).map(|w| w[1] - w[0]).collect();
    let (least, most) = (steps.iter().min().expect("steps"), steps.iter().max().expect("steps"));
    assert!(most - least > 1000, "{steps:?}");
    // With the beat it is the polytempo of the two.
    let (playing, _) = request(&groove, Range::Section(1), false, Click::Written);
    let both = playing.take().schedule(&groove, SampleRate::STUDIO, &UserSamples::default());
    assert_eq!(both.len(), exact.len() + 24);
}

#[test]
fn a_count_in_leads_into_the_loop() {
    let groove = Arc::new(groove());
    let (playing, pulses) = request(&groove, Range::Section(1), true, Click::Off);
    let lead = playing.hearings[0].lead;
    let first = pulses.iter().position(|t| *t >= lead - 1e-9).expect("a pulse");
    let CountIn::Pulse { first: at, period, .. } = playing.count_in() else { panic!("a pulse is counted") };
    assert!(
        (at - (pulses[first] - lead)).abs() < 1e-12 && (period - (pulses[first + 1] - pulses[first])).abs() < 1e-12
    );
    assert_eq!(request(&groove, Range::Whole, true, Click::Written).0.count_in(), CountIn::Bar);
}

#[test]
fn the_silences_of_a_sequence_are_those_of_the_file() {
    let groove = Arc::new(groove());
    let playing = request(&groove, Range::Whole, true, Click::Off).0;
    let asked = |times, count_in| SequenceTake { spec: playing.clone(), times, count_in };
    let sequence = Sequence {
        number: 1,
        takes: vec![asked(Some(6), true), asked(Some(8), false), asked(None, true)],
        at: 0,
        silence: Some(4),
    };
    let takes = sequence.takes();
    assert_eq!((takes[0].muted_passes.as_slice(), takes[1].muted_passes.as_slice()), (&[3][..], &[1, 3, 5, 7][..]));
    assert!(takes[2].muted_passes.len() > 100 && takes[2].muted_passes[..2] == [1, 3]);
}
