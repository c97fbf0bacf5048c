//! Tests of whose attacks are heard, of the full view, and of the questions before something is written over. They must not
//! know threads, files or the device.

use super::*;
use crate::describe;
use crate::terminal::event::SaveFailed;
use crate::terminal::overlay::Overlay;
use crate::terminal::view::{Item, ReportPart, blocks};

/// The name of the layers heard and the region, as last asked of the analysis.
fn heard(state: &State) -> (String, bool) {
    let (words, fresh) = state.focus_label().expect("a report");
    assert!(fresh, "{words} is not what was asked");
    (words, state.ask().scope.region.is_some())
}

#[test]
fn focus_goes_round_and_takes_the_selection_only_while_there_is_one() {
    let mut state = ferry();
    press(&mut state, "down");
    let mut round = |keys: &str| {
        press(&mut state, keys);
        heard(&state)
    };
    assert_eq!(round(""), ("riff".into(), false));
    assert_eq!(round("F"), ("deck".into(), false));
    assert_eq!(round("F"), ("2 layers".into(), false));
    assert_eq!(round("F"), ("riff".into(), false));
    assert_eq!(round("F F b F"), ("selection".into(), true));
    assert_eq!(round("F"), ("riff".into(), false));
    assert_eq!(round("F F F shift-up"), ("selection of 2 layers".into(), true));
    // When the selection goes, what was heard before comes back.
    assert_eq!(round("esc"), ("2 layers".into(), false));
    assert_eq!(round("b"), ("2 layers".into(), false));
}

#[test]
fn the_selections_hearings_follow_the_selection() {
    let mut state = open(groove("x.x. x.x. | x..x ..x. | x... x..."), PLAIN, (80, 24));
    press(&mut state, "b F F F");
    let attacks = |state: &State| state.report().map(|(r, _)| r.attacks.len());
    assert_eq!(attacks(&state), Some(4));
    press(&mut state, "shift-right shift-right shift-right shift-right");
    assert_eq!(attacks(&state), Some(6));
    // Until the new report is there the heading marks the old one.
    let found = update(&mut state, Event::Key(KeyEvent::new(KeyCode::Left, KeyModifiers::SHIFT), KeyTime::UNKNOWN));
    assert!(matches!(found[..], [Effect::Analyse { .. }]), "{found:?}");
    assert!(screen(&state, (80, 24)).contains("Heard in selection, cell 100 ms~"));
    answer(&mut state, found);
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("Heard in selection, cell 200 ms") && !shown.contains("ms~"));
    // An edit within it too.
    press(&mut state, "delete");
    assert_eq!(attacks(&state), Some(0));
    assert!(screen(&state, (80, 24)).contains("no attacks"));
}

#[test]
fn texts_are_copied_of_the_selection_or_the_section() {
    use crate::terminal::action::{Action, CopyText};
    let mut state = open(groove("x.x. x.X. | x..x ..x. | x... x..."), PLAIN, (80, 24));
    let mut copied = |keys: &str, what| {
        press(&mut state, keys);
        let mut effects = Vec::new();
        crate::terminal::dispatch::dispatch(&mut state, &Action::Copy(what), None, &mut effects);
        match &effects[..] {
            [Effect::Copy(text)] => text.clone(),
            other => panic!("{other:?}"),
        }
    };
    assert_eq!(copied("", CopyText::Boxes), "x.x. x.X. | x..x ..x. | x... x...\n");
    assert_eq!(copied("b", CopyText::Groups), "4(2)\n");
    assert_eq!(copied("b", CopyText::Syllables), "1 . & . 2 . & .\n");
    assert!(copied("esc", CopyText::Explanation).contains("Why it is hard"));
}

#[test]
fn the_users_limit_is_asked_for() {
    let limits = analysis::Limits::with_cell(80.0).expect("a limit");
    let state = open(groove("x..x ..x."), PLAIN, (80, 24)).with_limits(limits);
    assert_eq!(state.ask().limits.cell_ms, 80.0);
}

fn text(state: &State) -> String {
    let line = |pieces: &Vec<(String, ratatui::style::Style)>| pieces.iter().map(|p| p.0.as_str()).collect::<String>();
    blocks(state).iter().flat_map(|b| b.lines.iter().map(line)).collect::<Vec<_>>().join("\n")
}

#[test]
fn the_full_view_says_everything_of_the_report() {
    let mut state = ferry();
    state.view.size = (200, 60);
    press(&mut state, "h");
    let text = text(&state);
    let report = state.report().expect("a report").0.clone();
    for (i, h) in report.hearings.iter().enumerate() {
        assert!(text.contains(&format!("{:>3} {:>5.0} {:>6.1}", i + 1, h.score, h.bpm(1.0))), "{i} in\n{text}");
        assert!(text.contains(&format!("salience {:.2}", h.salience)));
        for (parts, count) in &h.between {
            let names = ["halves", "thirds", "quarters", "fifths", "sixths", "sevenths", "eighths"];
            let part = names.get(usize::from(*parts) - 2).expect("a cut of at most eight parts");
            assert!(text.contains(&format!("{count} on its {part}")), "{i}");
        }
    }
    for f in &report.findings {
        assert!(text.contains(&f.reason.to_string()) && text.contains(&describe::source(f)));
    }
    for m in report.measures.iter().flat_map(|(_, m)| m) {
        assert!(text.contains(m.name) && text.contains(m.source));
        if let Err(why) = m.value {
            assert!(text.contains(&format!("{}: not defined here: {why}", m.name)));
        }
    }
    for turn in &report.turns {
        assert!(text.contains(&format!("from {:>3}%", turn.percent)), "{}", turn.percent);
    }
    assert_eq!(text.matches("(now 100%)").count(), 1);
    let groups = &report.layers[0].sections[0].groups.as_ref().expect("groups").text;
    for words in ["to the written beat", &format!("groups: {groups}"), "landings: downbeat"] {
        assert!(text.contains(words), "{words} in\n{text}");
    }
}

#[test]
fn the_full_view_is_gone_through_by_keys() {
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
fn every_line_of_the_full_view_comes_into_sight_and_fits() {
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
fn the_first_hearing_and_the_first_reason_are_seen_at_a_glance() {
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

/// The names that are saved under, and and whether existing files are overwritten.
fn saves(effects: &[Effect]) -> Vec<(Option<&str>, bool)> {
    let mut found = Vec::new();
    for effect in effects {
        if let Effect::Save { name, overwrite, .. } = effect {
            found.push((name.as_deref(), *overwrite == crate::jobs::Overwrite::Always));
        }
    }
    found
}

#[test]
fn writing_over_anothers_change_is_asked_about() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    assert_eq!(saves(&press(&mut state, "3 ctrl-s")), [(None, false)]);
    let refused = |state: &mut State, result| {
        let groove = state.groove().clone();
        update(state, Event::Saved { document: DocumentId(0), groove, result: Err(result) })
    };
    assert!(refused(&mut state, SaveFailed::Changed).is_empty());
    assert!(
        screen(&state, (80, 24)).contains("rope.toml was changed by another program. Overwrite it? y: yes, Esc: no")
    );
    // No leaves the file and the work as they are.
    assert!(press(&mut state, "n").is_empty());
    assert!(state.session.is_changed() && state.overlay == Overlay::None);
    refused(&mut state, SaveFailed::Changed);
    assert_eq!(saves(&press(&mut state, "y")), [(None, true)]);
    // A question that is being answered is not taken away; the other one comes after it.
    press(&mut state, "T \"99\"");
    refused(&mut state, SaveFailed::Taken("other.toml".into()));
    assert!(screen(&state, (80, 24)).contains("Tempo: 99"));
    press(&mut state, "enter");
    assert!(screen(&state, (60, 18)).contains("other.toml already exists. Overwrite it?"));
    assert_eq!(saves(&press(&mut state, "y")), [(Some("other.toml"), true)]);
}

#[test]
fn saving_before_the_end_still_ends_after_yes_and_not_after_no() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    let saved = |state: &mut State, result| {
        let groove = state.groove().clone();
        update(state, Event::Saved { document: DocumentId(0), groove, result })
    };
    press(&mut state, "3 ctrl-q s");
    saved(&mut state, Err(SaveFailed::Changed));
    press(&mut state, "esc");
    assert!(saved(&mut state, Ok("rope.toml".into())).is_empty());
    press(&mut state, "4 ctrl-q s");
    saved(&mut state, Err(SaveFailed::Changed));
    press(&mut state, "y");
    assert_eq!(saved(&mut state, Ok("rope.toml".into())), [Effect::Quit { keep_journal: false }]);
}

#[test]
fn an_answer_that_is_too_long_says_so_and_can_be_left() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    update(&mut state, Event::Pasted("3".into()));
    assert!(screen(&state, (80, 24)).contains("g asks for a line of groups"));
    press(&mut state, "g");
    update(&mut state, Event::Pasted("3+".repeat(50_000)));
    for size in [(1, 1), (60, 18), (80, 24)] {
        update(&mut state, Event::Resize(size.0, size.1));
        screen(&state, size);
    }
    assert!(screen(&state, (80, 24)).contains("too long: pasted only the first 2000 characters"));
    press(&mut state, "enter");
    assert!(screen(&state, (80, 24)).contains("found the end"));
    press(&mut state, "esc R");
    update(&mut state, Event::Pasted("a\0b\u{1b}[31m\r\nc".into()));
    press(&mut state, "enter");
    assert_eq!(state.groove().layers()[0].name, "ab[31mc");
}

#[test]
fn a_refused_answer_says_what_is_allowed_in_every_window() {
    let mut state = ferry();
    press(&mut state, "p \"H9 or something as long as a whole line of text is wide\" enter");
    for size in [(60, 18), (80, 24), (200, 60)] {
        let shown = screen(&state, size);
        let lines: Vec<&str> = shown.lines().collect();
        assert!(lines[lines.len() - 2].starts_with("expected E2, F#3, Bb1, found 'H9 or something"), "{shown}");
        assert!(lines[lines.len() - 1].starts_with("Pitch: "), "{shown}");
    }
    press(&mut state, "ctrl-u");
    assert!(screen(&state, (80, 24)).contains("stopped"));
}

#[test]
fn the_title_stays_beside_long_words_of_the_section() {
    let mut state = ferry();
    press(&mut state, "f \"rename section\" enter ctrl-u \"far ashore\" enter * \"16\" enter M \"3+2+2+3/16\" enter");
    press(&mut state, "w \"3:2\" enter T \"133.25\" enter N enter { B \"100\" enter");
    for (width, height) in [(60, 18), (66, 18), (72, 20), (80, 24), (100, 24)] {
        let shown = screen(&state, (width, height));
        let line = shown.lines().next().expect("a line");
        assert!(line.starts_with("mooring") && line.contains("(not saved) "), "{line}");
        assert!(line.contains("3+2+2+3/16") && line.contains(" = 133.25"), "{line}");
    }
}

#[test]
fn a_new_division_is_told_with_the_way_back() {
    let mut state = ferry();
    press(&mut state, "up / \"2\" enter");
    let shown = screen(&state, (80, 24));
    let last = shown.lines().last().expect("a line");
    assert!(
        last.starts_with("riff: 2 cells per beat, cell = 1/8; ") && last.ends_with("moved (Ctrl-Z undoes)"),
        "{last}"
    );
}

#[test]
fn attacks_that_go_are_told_with_the_way_back() {
    let last = |keys: &str| {
        let mut state = ferry();
        press(&mut state, keys);
        screen(&state, (80, 24)).lines().last().unwrap_or_default().to_owned()
    };
    assert_eq!(last("B \"2\" enter"), "section 'A': 2 bars; 8 attacks lost (Ctrl-Z undoes)");
    assert_eq!(last("M \"2+2+3/8\" enter"), "2+2+3/8: beat = 1/8, cell of deck = 1/32 (/ changes it)");
    assert_eq!(last("ctrl-d"), "layer 'deck' removed; 8 attacks lost (Ctrl-Z undoes)");
    let mut state = ferry();
    press(&mut state, "B \"2\" enter ctrl-z");
    assert_eq!(state.groove().sections()[0].bars, 4);
    assert!(screen(&state, (80, 24)).contains("undo: bars"));
}

#[test]
fn the_strips_tell_the_tempo_where_the_cursor_is() {
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
    assert_eq!(beat(&state), "beat   240");
    press(&mut state, "} %\"50\" enter");
    assert_eq!(beat(&state), "beat    60");
    // A hearing that changes has the tempo of its stretch there.
    let tempo = Tempo::new(Fraction::whole(150), quarter()).expect("tempo");
    let six = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 6).expect("groove");
    let mut state = open(six, UNICODE, (80, 24));
    press(&mut state, "g \"2(3(4+4+3)+3(5))\" enter");
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
fn a_last_group_that_only_runs_to_the_end_stands_apart() {
    let shown = |drawing: &str| screen(&open(groove(drawing), UNICODE, (80, 24)), (80, 24));
    let text = shown("x--x --x- | x--x ---- | .... .... | .... ....");
    assert!(text.contains("3+3+2+3, then 21 to the end") && !text.contains("●21"), "{text}");
    assert!(text.contains("●3"), "{text}");
    // With leading rests, and alone.
    let text = shown("..x. .... | .... .... | .... ....");
    assert!(text.contains("(2) 22 to the end") && !text.contains("●22"), "{text}");
    // A bar of rests and no more is part of the line; so is a group that comes again.
    let text = shown("x--x ---- | .... ....");
    assert!(text.contains("3+13") && text.contains("●13"), "{text}");
    let text = shown("x... .... | .... .... | .... x... | .... .... | .... ....");
    assert!(text.contains("20+20") && text.contains("●20"), "{text}");
}

#[test]
fn a_tall_window_shows_more_hearings() {
    let state = ferry();
    let all = state.report().map_or(0, |(r, _)| r.hearings.len());
    assert!(all > 5, "{all}");
    let shown = screen(&state, (200, 60));
    let rows = shown.lines().filter(|l| l.contains("% ")).filter(|l| l.contains(" ms ") || l.contains("   -   "));
    assert_eq!(rows.count(), all.min(12), "{shown}");
    assert!(shown.contains("Why it is hard") && shown.contains("first from 96% speed: average pulse 144"), "{shown}");
}

#[test]
fn the_written_beat_is_in_sight_whatever_its_rank() {
    let bars = "x--- x--- | x--x ---x | ---x --x- | --x- --x- | -x-- --x- | ---x ---- | x--- x--- | x--x ---x | ---x --x- | --x- --x- | -x-- --x- | ---x ----";
    let state = open(groove(bars), UNICODE, (80, 24));
    let hearings = &state.report().expect("a report").0.hearings;
    assert!(hearings.iter().position(|h| h.kind == crate::analysis::Kind::Written) > Some(4), "{hearings:?}");
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("written beat") && shown.contains(&format!("h: {} more", hearings.len() - 4)), "{shown}");
}

#[test]
fn the_layer_that_is_listened_to_stays_the_same_one() {
    let mut state = ferry();
    press(&mut state, "down F");
    assert_eq!(heard(&state).0, "deck");
    // It is renamed, moved, and the other one taken away and brought back.
    press(&mut state, "R ctrl-u \"planks\" enter");
    assert_eq!((heard(&state).0.as_str(), state.ask().scope.layers), ("planks", vec![1]));
    press(&mut state, "ctrl-up");
    assert_eq!((heard(&state).0.as_str(), state.ask().scope.layers), ("planks", vec![0]));
    press(&mut state, "ctrl-z up ctrl-d");
    assert_eq!((heard(&state).0.as_str(), state.ask().scope.layers), ("planks", vec![0]));
    press(&mut state, "ctrl-z");
    assert_eq!((heard(&state).0.as_str(), state.ask().scope.layers), ("planks", vec![1]));
    press(&mut state, "down ctrl-d");
    assert_eq!(state.ask().scope.layers, Vec::<usize>::new(), "it is gone: the first layer again");
}

#[test]
fn silencing_the_layer_that_is_listened_to_tells_whose_hearings_come_now() {
    let mut state = ferry();
    let said = |state: &State| state.message.as_ref().map(|m| m.text().to_owned()).unwrap_or_default();
    press(&mut state, "down m");
    assert_eq!(said(&state), "", "the other one");
    press(&mut state, "m up m");
    assert_eq!(said(&state), "now analysing layer 'deck'; F changes this");
    press(&mut state, "down m");
    assert!(screen(&state, (80, 24)).contains("every layer is muted"));
    press(&mut state, "up m");
    assert_eq!(heard(&state).0, "riff");
}

#[test]
fn a_sound_file_is_tried_when_it_is_named_and_not_again() {
    let mut state = ferry();
    let tried = |found: &[Effect]| found.iter().any(|e| matches!(e, Effect::TrySounds(_)));
    let named = press(&mut state, "f \"sound-file\" enter \"knock.wav\" enter");
    assert!(tried(&named), "{named:?}");
    assert!(!tried(&press(&mut state, "3")));
    assert!(!tried(&press(&mut state, "f \"sound-file\" enter ctrl-u enter")), "taken away");
}
