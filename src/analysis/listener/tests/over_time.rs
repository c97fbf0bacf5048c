//! What is brought along from before, grooves of several tempos, playing speeds, and what would help.

use super::super::gains::{Cause, gains};
use super::super::speeds::{Leader, chart};
use super::*;

const ROCK: &[(Voice, usize, &str)] =
    &[(Voice::Kick, 2, "x...x..."), (Voice::Snare, 2, "..x...x."), (Voice::Hat, 2, "xxxxxxxx")];

fn rock(bpm: f64) -> Piece {
    Piece::new(FOUR, bpm, 2, ROCK)
}

#[test]
fn a_pulse_that_was_heard_goes_on() {
    // Bare eighths at 110: on the beat and off it differ only by the first attack.
    let piece = Piece::new(FOUR, 110.0, 2, &[(Voice::Pluck, 2, "xxxxxxxx")]);
    let (cold, beat) = (piece.heard(), 60.0 / 110.0);
    let after = |bpm: f64, attacks: &'static str| {
        let before = Piece::new(FOUR, bpm, 2, &[(Voice::Pluck, 2, attacks)]).input();
        listen(&Input { context: Context::After(Some(Box::new(before))), ..piece.input() }).expect("a pulse")
    };
    let on = after(110.0, "x.x.x.x.");
    assert!(on.hearings[0].keeps_written() && on.written > cold.written, "{} {}", line(&cold), line(&on));
    let off = after(110.0, ".x.x.x.x");
    let first = &off.hearings[0];
    assert!((first.bpm - 110.0).abs() < 0.1 && (first.pulses[0] - beat / 2.0).abs() < 1e-6, "{}", line(&off));
    // A pulse unlike any of these changes nothing.
    let other = after(37.0, "x.x.x.x.");
    assert!((other.written - cold.written).abs() < 1e-6, "{} {}", line(&cold), line(&other));
    let carried = off.carried();
    assert!((carried[0].period - beat).abs() < 1e-6 && (carried[0].next - beat / 2.0).abs() < 1e-6, "{carried:?}");
    // A change of tempo is heard afresh by somebody who listens cold, and as the same groove otherwise.
    let cold = listen(&Input { context: Context::Cold, ..piece.input() }).expect("a pulse");
    assert_eq!(cold, piece.heard());
}

#[test]
fn several_tempos_are_one_sequence() {
    let pieces = [rock(100.0), rock(140.0), rock(100.0)];
    let l = listen(&sequence(&pieces)).expect("a pulse");
    let first = &l.hearings[0];
    let tempos: Vec<f64> = first.stretches.iter().map(|s| s.bpm.round()).collect();
    assert_eq!((l.spans, tempos), (3, vec![100.0, 140.0, 100.0]), "{}", line(&l));
    assert!(first.keeps_written() && l.written > 0.9 && l.hearings.len() <= 12, "{}", line(&l));
    let ends: Vec<f64> = first.stretches.iter().map(|s| s.end).collect();
    let starts: Vec<f64> = first.stretches.iter().map(|s| s.start).collect();
    assert!(starts[1..].iter().zip(&ends).all(|(a, b)| (a - b).abs() < 1e-9) && starts[0] == 0.0, "{first:?}");
    assert!((l.length - ends[2]).abs() < 1e-9);
    assert!(first.pulses.windows(2).all(|w| w[0] < w[1]), "{:?}", first.pulses);
    let sum: f64 = l.hearings.iter().map(|h| h.probability).sum();
    assert!(sum <= 1.0 + 1e-9 && (l.hardness_parts.sum() + l.written - 1.0).abs() < 1e-6, "{sum}");
    // Two pieces of one tempo are one span.
    assert_eq!(listen(&sequence(&[rock(100.0), rock(100.0)])).map(|l| l.spans), Some(1));
}

#[test]
fn the_chart_shows_where_the_leader_changes() {
    // Bare triplets at 150: each is a beat when slow, several are one when fast.
    let piece = Piece::new(FOUR, 150.0, 2, &[(Voice::Pluck, 3, "xxx")]);
    let input = piece.input();
    let chart = chart(&input);
    let percents: Vec<u16> = chart.points.iter().map(|p| p.percent).collect();
    assert!(percents.windows(2).all(|w| w[0] < w[1] && w[1] - w[0] <= 5), "{percents:?}");
    assert_eq!((percents.first(), percents.last()), (Some(&40), Some(&120)));
    for pair in chart.points.windows(2).filter(|p| p[0].leader != p[1].leader) {
        assert_eq!(pair[1].percent - pair[0].percent, 1, "{pair:?}");
    }
    for p in &chart.points {
        let l = listen(&Input { speed: f64::from(p.percent) / 100.0, ..input.clone() }).expect("a pulse");
        assert!((p.hardness - l.hardness()).abs() < 1e-9 && p.lead >= 1.0, "{p:?}");
        match p.leader {
            Leader::Written => assert_eq!(l.rival(), None),
            Leader::Hearing(h) => {
                let rival = l.rival().expect("a rival");
                assert!((chart.hearings[h].period / rival.period - 1.0).abs() < 0.12, "{p:?} {}", line(&l));
            }
            Leader::Unclear => panic!("at one speed one is the likeliest: {p:?}"),
        }
    }
    assert_eq!(chart.lead_changes[0].percent, 40);
    assert!(chart.lead_changes.windows(2).all(|w| w[0].leader != w[1].leader && w[0].percent < w[1].percent));
    assert!(chart.lead_changes.len() > 1 && chart.hearings.len() > 1, "{:?}", chart.lead_changes);
    // Cells of a figure are felt as unequal beats when slow and averaged when fast.
    let figure = super::super::speeds::chart(&Piece::groups(FOUR, 150.0, 13, 4, &[4, 4, 5]).input());
    let kinds = figure.lead_changes.iter().map(|t| match t.leader {
        Leader::Hearing(h) => Some(figure.hearings[h].main_kind()),
        _ => None,
    });
    assert_eq!(
        kinds.collect::<Vec<_>>(),
        [Some(PulseKind::Unequal), Some(PulseKind::Average)],
        "{:?}",
        figure.lead_changes
    );
    // Nobody loses the beat of a plain groove at any speed.
    let plain = super::super::speeds::chart(&rock(100.0).input());
    assert!(plain.lead_changes.iter().all(|t| t.leader == Leader::Written), "{:?}", plain.lead_changes);
    assert_eq!(
        super::super::speeds::chart(&Piece::new(FOUR, 100.0, 1, &[(Voice::Kick, 1, "....")]).input()).lead_changes,
        []
    );
}

#[test]
fn gains_are_what_a_counterfactual_says() {
    // Threes over plain quarters: without the threes the beat is plain.
    let mut piece = Piece::new(FOUR, 100.0, 3, &[(Voice::Pluck, 4, "X..X.."), (Voice::Hat, 1, "oooo")]);
    piece.layers[0].2 = "X..X..".to_owned();
    let (input, base) = (piece.input(), piece.heard());
    let all = gains(&input);
    assert!(all.windows(2).all(|w| w[0].gain >= w[1].gain), "{all:?}");
    assert_eq!(all.len(), 8, "{all:?}");
    let gain = |cause| all.iter().find(|g| g.cause == cause).expect("asked").gain;
    let without = listen(&input.clone().without(0)).expect("a pulse");
    assert!((gain(Cause::Layer(0)) - (without.written - base.written)).abs() < 1e-9);
    assert!(gain(Cause::Layer(0)) > 0.3, "{all:?} {}", line(&base));
    let mut patient = input.clone();
    patient.params.silent_beat_cost = 0.0;
    let patient = listen(&patient).expect("a pulse");
    assert!((gain(Cause::SilentBeats) - (patient.written - base.written)).abs() < 1e-9);
    assert_eq!(gains(&Piece::new(FOUR, 100.0, 1, &[(Voice::Kick, 1, "....")]).input()), []);
}
