//! Tests of the full view.

use super::*;
use crate::describe;
use crate::terminal::overlay::Overlay;
use crate::terminal::view::{Item, ReportPart, blocks};

fn text(state: &State) -> String {
    let line = |pieces: &Vec<(String, ratatui::style::Style)>| pieces.iter().map(|p| p.0.as_str()).collect::<String>();
    blocks(state).iter().flat_map(|b| b.lines.iter().map(line)).collect::<Vec<_>>().join("\n")
}

#[test]
fn the_full_view_shows_the_whole_report() {
    let mut state = ferry();
    refine(&mut state);
    state.view.size = (200, 60);
    press(&mut state, "h");
    let text = text(&state);
    let report = state.report().expect("a report").0.clone();
    for (i, h) in report.hearings.iter().enumerate() {
        assert!(
            text.contains(&format!("{:>3} {:>6} {:>6.1}", i + 1, describe::likelihood(h), h.bpm(1.0))),
            "{i} in\n{text}"
        );
        for (parts, count) in &h.between {
            let names = ["halves", "thirds", "quarters", "fifths", "sixths", "sevenths", "eighths"];
            let part = names.get(usize::from(*parts) - 2).expect("a cut of at most eight parts");
            assert!(text.contains(&format!("{count} on its {part}")), "{i}");
        }
    }
    for f in &report.findings {
        assert!(text.contains(&f.reason.to_string()) && text.contains(f.source));
    }
    for m in report.measures.iter().flat_map(|(_, m)| m) {
        assert!(text.contains(m.name) && text.contains(m.source));
        if let Err(why) = m.value {
            assert!(text.contains(&format!("{}: not computed: {why}", m.name)));
        }
    }
    let speeds = report.speeds.as_ref().expect("the chart");
    for change in &speeds.changes {
        assert!(text.contains(&format!("from {:>3}%", change.percent)), "{}", change.percent);
    }
    assert_eq!(text.matches("(now 100%)").count(), 1);
    let groups = &report.layers[0].sections[0].groups.as_ref().expect("groups").text;
    for words in [&format!("groups: {groups}"), "landings: downbeat"] {
        assert!(text.contains(words), "{words} in\n{text}");
    }
}

#[test]
fn keys_move_through_the_full_view() {
    let mut state = ferry();
    let at = |state: &State| match state.overlay {
        Overlay::Full { block, .. } => blocks(state).get(block).map(|b| (b.part, b.item)),
        _ => None,
    };
    press(&mut state, "h");
    let first = at(&state).expect("open");
    assert!(matches!(first, (ReportPart::Hearings, Item::Hearing(_))));
    // A hearing is taken, the view stays.
    press(&mut state, "home down enter");
    assert_eq!(at(&state), Some((ReportPart::Hearings, Item::Hearing(1))));
    assert_eq!(state.strip_hearing().map(|s| s.0), Some(1));
    press(&mut state, "tab tab tab tab");
    assert_eq!(at(&state).map(|a| a.0), Some(ReportPart::Structure));
    press(&mut state, "space tab");
    assert_eq!(at(&state), Some((ReportPart::Hearings, Item::Hearing(0))));
    press(&mut state, "back-tab back-tab back-tab back-tab");
    assert_eq!(at(&state), Some((ReportPart::Reasons, Item::Reason(0))));
    // A reason takes the cursor to its place and closes the view.
    let with_place = state.findings().iter().rposition(|f| f.place.is_some()).expect("a place");
    let place = state.findings()[with_place].place;
    press(&mut state, &"down ".repeat(with_place));
    press(&mut state, "space");
    assert_eq!(state.overlay, Overlay::None);
    assert_eq!(Some(state.session.cursor().place), place);
}

#[test]
fn every_line_of_the_full_view_can_be_reached_and_fits() {
    let mut state = ferry();
    for size in [(60, 18), (80, 24), (200, 60)] {
        update(&mut state, Event::Resize(size.0, size.1));
        press(&mut state, "h home");
        let wanted: Vec<String> = text(&state).lines().map(|l| l.trim().to_owned()).collect();
        let mut seen = String::new();
        let mut last = None;
        while last != Some(state.overlay.clone()) {
            seen.push_str(&screen(&state, size));
            last = Some(state.overlay.clone());
            press(&mut state, "down");
        }
        // What is behind the last stop is seen from it.
        for line in wanted.iter().filter(|l| !l.is_empty()) {
            assert!(seen.contains(line.as_str()), "{size:?}: {line}");
        }
        press(&mut state, "esc");
    }
}

#[test]
fn screens_of_the_full_view() {
    let mut state = ferry();
    state.view.size = (60, 18);
    press(&mut state, "h tab");
    insta::assert_snapshot!("reasons_60x18", screen(&state, (60, 18)));
    press(&mut state, "tab");
    insta::assert_snapshot!("streams_60x18", screen(&state, (60, 18)));
    state.view.size = (80, 24);
    insta::assert_snapshot!("streams_80x24", screen(&state, (80, 24)));
}

#[test]
fn only_stretches_with_attacks_are_listed_and_counted() {
    let mut state = ferry();
    let stretches = |state: &mut State, sounding: usize, silent: usize| {
        let result = state.hearings.result.as_mut().expect("a report");
        let hearing = &mut Arc::make_mut(&mut result.report).hearings[0];
        let one = hearing.stretches[0];
        let with = |attacks| analysis::Stretch { attacks, ..one };
        hearing.stretches = (0..sounding).map(|_| with(3)).chain((0..silent).map(|_| with(0))).collect();
        text(state)
    };
    assert!(!stretches(&mut state, 24, 9).contains("more stretch"));
    assert!(stretches(&mut state, 25, 9).contains("and 1 more stretch\n"));
    assert!(stretches(&mut state, 30, 9).contains("and 6 more stretches"));
}
