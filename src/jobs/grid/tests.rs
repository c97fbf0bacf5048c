//! Grids found in made-up onsets.

use super::{GridChoices, GridJob, GridRequest, find};
use crate::recording::onsets::Onset;
use crate::rhythm::{Fraction, GridPlace, Groove, Meter, Recording, Tempo, Time};
use std::sync::Arc;

const KICK: [f32; 3] = [0.0, -18.0, -30.0];
const SNARE: [f32; 3] = [-16.0, -2.0, -8.0];
const HAT: [f32; 3] = [-40.0, -20.0, -2.0];

/// A plain beat at 120 for so many bars, from 1.2 s on; the hat alone on the weak eighths.
fn beat(bars: usize) -> Vec<Onset> {
    let eighths = (0..8 * bars).map(|k| {
        let bands = match k % 8 {
            0 | 5 => KICK,
            2 | 6 => SNARE,
            _ => HAT,
        };
        // Up to 6 ms off.
        Onset::of_bands(1.2 + 0.25 * k as f64 + 0.002 * ((k * 5 % 7) as f64 - 3.0), bands)
    });
    eighths.collect()
}

fn groove() -> Groove {
    Groove::new_untitled().with_recording(Some(Recording::new("winch.flac", None))).expect("a recording")
}

fn found(groove: &Groove, onsets: Vec<Onset>, request: GridRequest) -> Result<GridChoices, String> {
    find(&GridJob { revision: 1, groove: Arc::new(groove.clone()), onsets: onsets.into(), request })
}

/// Bars from the first pass on, with their seconds.
fn anchors(groove: &Groove) -> Vec<(u32, f64)> {
    let (anchors, bars) = (groove.recording().expect("a recording").anchors(), groove.bars_in_pass() as u32);
    anchors.iter().map(|a| (a.place.pass * bars + a.place.bar, a.at.0 as f64 * 1e-6)).collect()
}

#[test]
fn a_proposal_becomes_meter_tempo_bars_and_anchors() {
    let choices = found(&groove(), beat(12), GridRequest::Proposals).expect("proposals");
    let first = &choices.list[0].groove;
    let section = &first.sections()[0];
    assert_eq!(
        (section.meter.to_string(), section.tempo.bpm(), section.bars),
        ("4/4".into(), Fraction::whole(120), 12)
    );
    for (bar, at) in anchors(first) {
        assert!((at - 1.2 - 2.0 * f64::from(bar)).abs() < 0.004, "bar {bar}: {at}");
    }
    assert!(choices.list.len() > 1 && !choices.is_settled);
    assert_eq!(choices.list[0].message, "4/4 at 120, 12 anchors");
}

#[test]
fn silence_has_no_proposal_and_says_so() {
    assert_eq!(found(&groove(), Vec::new(), GridRequest::Proposals), Err("no pulse was found in the onsets".into()));
}

#[test]
fn marks_and_taps_are_moved_to_the_attacks() {
    let place = GridPlace::default();
    let marks = GridRequest::Marks { place, marks: [1.23, 17.17], beats: 32 };
    let choices = found(&groove(), beat(9), marks).expect("beats");
    assert!(choices.is_settled, "{:?}", choices.remarks);
    for (bar, at) in anchors(&choices.list[0].groove) {
        assert!((at - 1.2 - 2.0 * f64::from(bar)).abs() < 0.005, "bar {bar}: {at}");
    }
    let taps = (0..=32).map(|k| 1.2 + 0.5 * f64::from(k) - 0.03).collect();
    let choices = found(&groove(), beat(9), GridRequest::Taps { place, taps }).expect("beats");
    let tapped = &choices.list[0].groove;
    assert_eq!(tapped.sections()[0].bars, 8);
    for (bar, at) in anchors(tapped) {
        assert!((at - 1.2 - 2.0 * f64::from(bar)).abs() < 0.005, "bar {bar}: {at}");
    }
    let few = found(&groove(), beat(9), GridRequest::Taps { place, taps: vec![1.0, 2.0] });
    assert_eq!(few, Err("expected at least 4 taps in order, found 2".into()));
    let wrong = found(&groove(), beat(9), GridRequest::Marks { place, marks: [2.0, 1.0], beats: 4 });
    assert!(wrong.is_err());
}

#[test]
fn attacks_become_layers_and_the_groove_is_found_again_in_its_recording() {
    let laid = found(&groove(), beat(8), GridRequest::Proposals).expect("proposals").list.remove(0).groove;
    let choices = found(&laid, beat(8), GridRequest::Attacks { layer: 0 }).expect("attacks");
    let written = &choices.list[0].groove;
    let layers: Vec<(&str, usize)> =
        written.layers().iter().enumerate().map(|(k, l)| (l.name.as_str(), written.events(k).len())).collect();
    let expected = [("kick", 16), ("snare", 16), ("hat", 32)];
    assert!(expected.iter().all(|e| layers.contains(e)) && layers.len() == 3, "{layers:?}");
    assert_eq!(written.recording(), laid.recording());
    // The other choice puts all of them into the layer at the cursor.
    let one = choices.list.iter().find(|c| c.text.starts_with("into this layer")).expect("a choice");
    assert_eq!((one.groove.layers().len(), one.groove.events(0).len()), (1, 64));
    let layers = (0..3).collect();
    let found = found(written, beat(8), GridRequest::Groove { layers }).expect("an alignment");
    for (bar, at) in anchors(&found.list[0].groove) {
        assert!((at - 1.2 - 2.0 * f64::from(bar)).abs() < 0.010 || found.list.len() > 1, "bar {bar}: {at}");
    }
    let without = super::find(&GridJob {
        revision: 1,
        groove: Arc::new(self::groove()),
        onsets: beat(2).into(),
        request: GridRequest::Attacks { layer: 0 },
    });
    assert_eq!(without, Err("the groove has no anchors yet".into()));
}

#[test]
fn a_line_of_groups_gets_an_anchor_wherever_it_begins() {
    let meter = Meter::parse("4/4").expect("a meter");
    let tempo = Tempo::new(Fraction::whole(150), meter.beat()).expect("a tempo");
    let groove = Groove::blank(meter, tempo, 13).expect("a groove");
    let groove = groove.with_recording(Some(Recording::new("haul.flac", None))).expect("a recording");
    // 5+4+4 sixteenths at 147, a tenth of them missing.
    let cell = 0.1 * 150.0 / 147.0;
    let starts = (0..16).flat_map(|line| [0, 5, 9].map(|at| 13 * line + at));
    let onsets: Vec<Onset> = starts
        .enumerate()
        .filter(|(k, _)| k % 10 != 7)
        .map(|(_, at)| Onset::of_bands(0.7 + f64::from(at) * cell, SNARE))
        .collect();
    let sixteenth = Time::new(1, 16).expect("a length");
    let request = GridRequest::Groups { place: GridPlace::default(), groups: vec![5, 4, 4], cell: sixteenth };
    let choices = found(&groove, onsets, request).expect("an alignment");
    let found = choices.list[0].groove.recording().expect("a recording").anchors().to_vec();
    assert!(found.len() >= 16, "{found:?}");
    let second = found[1].place;
    assert_eq!((second.bar, second.beat), (0, Fraction::new(13, 4).expect("a number")));
    for (line, anchor) in found.iter().enumerate() {
        let expected = 0.7 + 13.0 * line as f64 * cell;
        assert!((anchor.at.0 as f64 * 1e-6 - expected).abs() < 0.003, "{line}: {anchor:?}");
    }
}
