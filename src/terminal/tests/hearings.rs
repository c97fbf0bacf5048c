//! Tests of the analysed attacks, and of the hearings in the pane and the strips.

use super::*;

/// The name of the layers heard and the region, as last asked of the analysis.
fn heard(state: &State) -> (String, bool) {
    let (words, fresh) = state.focus_label().expect("a report");
    assert!(fresh, "{words} is not what was asked");
    (words, state.analysis_options().scope.region.is_some())
}

#[test]
fn the_focus_includes_the_selection_only_while_there_is_one() {
    let mut state = ferry();
    press(&mut state, "down");
    let mut round = |keys: &str| {
        press(&mut state, keys);
        heard(&state)
    };
    assert_eq!(round(""), ("riff".into(), false));
    assert_eq!(round("W f"), ("deck".into(), false));
    assert_eq!(round("W f"), ("2 layers".into(), false));
    assert_eq!(round("W f"), ("riff".into(), false));
    assert_eq!(round("W f W f b W f"), ("selection".into(), true));
    assert_eq!(round("W f"), ("riff".into(), false));
    assert_eq!(round("W f W f W f shift-up"), ("selection of 2 layers".into(), true));
    // When the selection goes, what was heard before comes back.
    assert_eq!(round("esc"), ("2 layers".into(), false));
    assert_eq!(round("b"), ("2 layers".into(), false));
}

#[test]
fn the_selections_hearings_follow_the_selection() {
    let mut state = open(groove("x.x. x.x. | x..x ..x. | x... x..."), PLAIN, (80, 24));
    press(&mut state, "b W f W f W f");
    let attacks = |state: &State| state.report().map(|(r, _)| r.attacks.len());
    assert_eq!(attacks(&state), Some(4));
    press(&mut state, "shift-right shift-right shift-right shift-right");
    assert_eq!(attacks(&state), Some(6));
    // Until the new report is there the heading marks the old one.
    let found = update(&mut state, Event::Key(KeyEvent::new(KeyCode::Left, KeyModifiers::SHIFT), None));
    assert!(matches!(found[..], [Effect::Analyse { .. }]), "{found:?}");
    assert!(screen(&state, (80, 24)).lines().any(|l| l.contains("Heard in selection: beat") && l.contains('~')));
    answer(&mut state, found);
    let shown = screen(&state, (80, 24));
    assert!(shown.lines().any(|l| l.contains("Heard in selection: beat") && !l.contains('~')), "{shown}");
    // An edit within it too.
    press(&mut state, "delete");
    assert_eq!(attacks(&state), Some(0));
    assert!(screen(&state, (80, 24)).contains("no attacks"));
}

#[test]
fn the_analysis_uses_the_configured_limit() {
    let limits = analysis::Limits::with_cell(80.0).expect("a limit");
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    state.hearings.limits = limits;
    assert_eq!(state.analysis_options().limits.cell_ms, 80.0);
}

#[test]
fn the_pane_shows_the_first_hearing_and_the_first_reason() {
    let mut state = ferry();
    for layers in 1..12 {
        let shown = screen(&state, (60, 18));
        let report = state.report().expect("a report").0;
        assert!(shown.contains(&format!("{:.1}", report.hearings[0].bpm(1.0))), "{layers}\n{shown}");
        let reason = report.findings[0].reason.to_string();
        let start: String = reason.split(' ').take(3).collect::<Vec<_>>().join(" ");
        assert!(shown.contains(&start), "{layers}: {start}\n{shown}");
        press(&mut state, "n \"kick\" enter");
    }
}

#[test]
fn the_pane_counts_the_reasons_that_it_has_no_rows_for() {
    let state = ferry();
    let report = state.report().expect("a report").0;
    let mut reasons: Vec<String> = report.findings.iter().map(|f| f.reason.to_string()).collect();
    reasons.sort();
    reasons.dedup();
    assert!(reasons.len() > 2, "{reasons:?}");
    for size in [(60, 18), (80, 18), (80, 24), (100, 30), (120, 24), (120, 40), (200, 60)] {
        let shown = screen(&state, size);
        let start = |text: &str| text.split(' ').take(3).collect::<Vec<_>>().join(" ");
        let listed = reasons.iter().filter(|text| shown.contains(&format!("- {}", start(text)))).count();
        let (_, after) = shown.split_once("Why it is hard").expect("a heading");
        let more = after.trim_start().strip_prefix("h: ").and_then(|text| text.split(' ').next()?.parse().ok());
        assert_eq!(listed + more.unwrap_or(0_usize), reasons.len(), "{size:?}\n{shown}");
        assert!(size.1 < 30 || more.is_none(), "{size:?}\n{shown}");
    }
}

#[test]
fn the_strips_show_the_tempo_at_the_cursor() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    press(&mut state, "M \"2+2+3/8\" enter T \"1/4=120\" enter N \"4/4\" enter T \"120\" enter 4 4 4 4");
    let beat = |state: &State| {
        let shown = screen(state, (80, 24));
        shown.lines().find(|l| l.starts_with("beat ")).map(|l| l[..11].trim_end().to_owned()).expect("a strip")
    };
    let section = &state.groove().sections()[1];
    assert_eq!((section.name.as_str(), section.meter.to_string().as_str()), ("B", "4/4"));
    assert_eq!(beat(&state), "beat   120");
    press(&mut state, "ctrl-home");
    // The heads of the additive meter: three in 1.75 s.
    assert_eq!(beat(&state), "beat   103");
    press(&mut state, "} %\"50\" enter");
    assert_eq!(beat(&state), "beat    60");
    // A hearing that changes has the tempo of its stretch there.
    let tempo = Tempo::new(Fraction::whole(150), quarter()).expect("tempo");
    let eleven = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 11).expect("groove");
    let mut state = open(eleven, UNICODE, (80, 24));
    press(&mut state, "g \"6(4+4+5)+13(3+4)\" enter");
    let changing = state.report().and_then(|(r, _)| r.hearings.iter().position(|h| h.stretches.len() > 1));
    let index = changing.expect("one that changes");
    crate::terminal::hearings::select(&mut state, index);
    let stretches = state.report().map(|(r, _)| r.hearings[index].stretches.clone()).expect("a report");
    let heard = |state: &State| {
        let shown = screen(state, (80, 24));
        shown.lines().find(|l| l.starts_with("heard ")).map(|l| l[6..11].trim().to_owned()).expect("a strip")
    };
    let bpm = |k: usize| format!("{:.0}", 60.0 / stretches[k].period);
    press(&mut state, "ctrl-home");
    assert_eq!(heard(&state), bpm(0));
    press(&mut state, "end");
    assert_eq!(heard(&state), bpm(stretches.len() - 1));
    assert_ne!(bpm(0), bpm(stretches.len() - 1));
}

#[test]
fn a_tall_window_shows_more_hearings() {
    let mut state = ferry();
    refine(&mut state);
    let all = state.report().map_or(0, |(r, _)| r.hearings.len());
    let shown = screen(&state, (200, 60));
    let rows = shown.lines().filter(|l| l.contains("% ") && l.contains("   -   "));
    assert_eq!(rows.count(), all.min(12), "{shown}");
    assert!(shown.contains("Why it is hard") && shown.contains("likeliest from "), "{shown}");
}

#[test]
fn the_written_beat_is_listed_whatever_its_rank() {
    let bars = "x--- x--- | x--x ---x | ---x --x- | --x- --x- | -x-- --x- | ---x ---- | x--- x--- | x--x ---x | ---x --x- | --x- --x- | -x-- --x- | ---x ----";
    let state = open(groove(bars), UNICODE, (80, 24));
    let hearings = &state.report().expect("a report").0.hearings;
    assert!(hearings.iter().position(|h| h.kind == crate::analysis::HearingKind::Written) > Some(0), "{hearings:?}");
    assert!(screen(&state, (80, 24)).contains("written beat"));
}

#[test]
fn the_analysed_layer_is_tracked_through_edits() {
    let mut state = ferry();
    press(&mut state, "down W f");
    assert_eq!(heard(&state).0, "deck");
    // It is renamed, moved, and the other one taken away and brought back.
    press(&mut state, "L r ctrl-u \"planks\" enter");
    assert_eq!((heard(&state).0.as_str(), state.analysis_options().scope.layers), ("planks", vec![1]));
    press(&mut state, "ctrl-up");
    assert_eq!((heard(&state).0.as_str(), state.analysis_options().scope.layers), ("planks", vec![0]));
    press(&mut state, "ctrl-z up ctrl-d");
    assert_eq!((heard(&state).0.as_str(), state.analysis_options().scope.layers), ("planks", vec![0]));
    press(&mut state, "ctrl-z");
    assert_eq!((heard(&state).0.as_str(), state.analysis_options().scope.layers), ("planks", vec![1]));
    press(&mut state, "down ctrl-d");
    assert_eq!(state.analysis_options().scope.layers, Vec::<usize>::new(), "it is gone: the first layer again");
}

#[test]
fn muting_never_changes_the_analysis() {
    let mut state = ferry();
    let before = state.report().map(|(r, _)| (r.focus.clone(), r.hearings.clone()));
    press(&mut state, "m down m");
    assert_eq!(state.report().map(|(r, _)| (r.focus.clone(), r.hearings.clone())), before);
}

#[test]
fn every_strip_has_a_label_and_the_written_beat_says_that_it_is_selected() {
    let mut state = ferry();
    let label = |state: &State, size: (u16, u16), row: usize| {
        let layout = state.layout_in(size.0, size.1).expect("large enough");
        let shown = screen(state, size);
        let line = shown.lines().nth(usize::from(layout.strips.y) + row).unwrap_or_default();
        line.chars().take(usize::from(layout.names.width)).collect::<String>().trim_end().to_owned()
    };
    let (hearings, written) = {
        let report = state.report().expect("a report").0;
        let is_written = |h: &analysis::Hearing| h.kind == analysis::HearingKind::Written;
        (report.hearings.len(), report.hearings.iter().position(is_written).expect("a written beat"))
    };
    assert_eq!(label(&state, (80, 24), 0), "beat   132");
    assert!(label(&state, (80, 24), 1).starts_with("heard "));
    let at = |state: &State| state.strip_hearing().map(|(i, _)| i);
    for _ in 0..hearings {
        if at(&state) != Some(written) {
            press(&mut state, "H");
        }
    }
    assert_eq!(at(&state), Some(written));
    assert_eq!(label(&state, (80, 24), 0), "written 132");
    assert!(label(&state, (80, 24), 1).starts_with("other "), "{}", label(&state, (80, 24), 1));
    assert!(label(&state, (200, 60), 0).starts_with("written beat  132"), "{}", label(&state, (200, 60), 0));
}

#[test]
fn the_heading_says_that_the_layer_it_follows_is_muted() {
    let mut state = ferry();
    press(&mut state, "up m");
    assert_eq!(heard(&state).0, "riff, muted");
    press(&mut state, "m");
    assert_eq!(heard(&state).0, "riff");
}
