//! Tests of the questions before files are overwritten, of long answers, and of what messages say about an edit.

use super::*;
use crate::terminal::event::SaveFailed;
use crate::terminal::overlay::Overlay;

#[test]
fn texts_of_the_selection_or_the_section_are_copied() {
    use crate::terminal::files::clipboard::{self, CopyText};
    let mut state = open(groove("x.x. x.X. | x..x ..x. | x... x..."), PLAIN, (80, 24));
    let mut copied = |keys: &str, what| {
        press(&mut state, keys);
        clipboard::copy(&mut state, what);
        match &std::mem::take(&mut state.effects)[..] {
            [Effect::Copy(text)] => text.clone(),
            other => panic!("{other:?}"),
        }
    };
    assert_eq!(copied("", CopyText::Boxes), "x.x. x.X. | x..x ..x. | x... x...\n");
    assert_eq!(copied("b", CopyText::Groups), "4(2)\n");
    assert_eq!(copied("esc b", CopyText::Syllables), "1 . & . 2 . & .\n");
    assert!(copied("esc", CopyText::Explanation).contains("No reason reported"));
}

/// The names of saves, and whether existing files are overwritten.
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
fn a_file_changed_by_another_program_is_overwritten_only_after_a_question() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    assert_eq!(saves(&press(&mut state, "3 ctrl-s")), [(None, false)]);
    let refused = |state: &mut State, result| {
        let groove = state.groove().clone();
        update(state, Event::Saved { document: DocumentId(0), groove, result: Err(result) })
    };
    assert!(refused(&mut state, SaveFailed::Changed(Vec::new())).is_empty());
    assert!(
        screen(&state, (80, 24)).contains("rope.toml was changed by another program. Overwrite it? y: yes, Esc: no")
    );
    // No leaves the file and the work as they are.
    assert!(press(&mut state, "n").is_empty());
    assert!(state.session.is_changed() && state.overlay == Overlay::None);
    refused(&mut state, SaveFailed::Changed(Vec::new()));
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
fn save_and_quit_quits_after_yes_to_overwriting_and_not_after_no() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    let saved = |state: &mut State, result| {
        let groove = state.groove().clone();
        update(state, Event::Saved { document: DocumentId(0), groove, result })
    };
    press(&mut state, "3 ctrl-q s");
    saved(&mut state, Err(SaveFailed::Changed(Vec::new())));
    press(&mut state, "esc");
    assert!(saved(&mut state, Ok("rope.toml".into())).is_empty());
    press(&mut state, "4 ctrl-q s");
    saved(&mut state, Err(SaveFailed::Changed(Vec::new())));
    press(&mut state, "y");
    assert_eq!(saved(&mut state, Ok("rope.toml".into())), [Effect::Quit { keep_journal: false }]);
}

#[test]
fn an_answer_that_is_too_long_is_an_error_and_can_be_cancelled() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    update(&mut state, Event::Pasted("3".into()));
    assert!(screen(&state, (80, 24)).contains("g opens one for a group line"));
    press(&mut state, "g");
    update(&mut state, Event::Pasted("3+".repeat(50_000)));
    for size in [(1, 1), (60, 18), (80, 24)] {
        update(&mut state, Event::Resize(size.0, size.1));
        screen(&state, size);
    }
    assert!(screen(&state, (80, 24)).contains("too long: pasted only the first 2000 characters"));
    press(&mut state, "enter");
    assert!(screen(&state, (80, 24)).contains("found the end"));
    press(&mut state, "esc L r");
    update(&mut state, Event::Pasted("a\0b\u{1b}[31m\r\nc".into()));
    press(&mut state, "enter");
    assert_eq!(state.groove().layers()[0].name, "ab[31mc");
}

#[test]
fn a_wrong_answer_shows_the_allowed_forms_in_every_window() {
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
fn the_title_stays_visible_next_to_a_long_section_name() {
    let mut state = ferry();
    press(&mut state, "f \"rename section\" enter ctrl-u \"far ashore\" enter * \"16\" enter M \"3+2+2+3/16\" enter");
    press(&mut state, "w \"3:2\" enter T \"133.25\" enter N enter { B n \"100\" enter");
    for (width, height) in [(60, 18), (66, 18), (72, 20), (80, 24), (100, 24)] {
        let shown = screen(&state, (width, height));
        let line = shown.lines().next().expect("a line");
        assert!(line.starts_with("mooring") && line.contains("(not saved) "), "{line}");
        assert!(line.contains("3+2+2+3/16") && line.contains(" = 133.25"), "{line}");
    }
}

#[test]
fn a_new_division_names_the_key_that_undoes_it() {
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
fn lost_attacks_are_counted_with_the_key_that_undoes_it() {
    let last = |keys: &str| {
        let mut state = ferry();
        press(&mut state, keys);
        screen(&state, (80, 24)).lines().last().unwrap_or_default().to_owned()
    };
    assert_eq!(last("B n \"2\" enter"), "section 'A': 2 bars; 8 attacks lost (Ctrl-Z undoes)");
    assert_eq!(last("M \"2+2+3/8\" enter"), "2+2+3/8: beat = 1/8, cell of deck = 1/16 (B d changes the division)");
    assert_eq!(last("ctrl-d"), "layer 'deck' deleted; 8 attacks lost (Ctrl-Z undoes)");
    let mut state = ferry();
    press(&mut state, "B n \"2\" enter ctrl-z");
    assert_eq!(state.groove().sections()[0].bars, 4);
    assert!(screen(&state, (80, 24)).contains("undo: bars"));
}

#[test]
fn a_last_group_that_only_runs_to_the_end_is_apart_from_the_line() {
    let shown = |drawing: &str| screen(&open(groove(drawing), UNICODE, (80, 24)), (80, 24));
    let text = shown("x--x --x- | x--x ---- | .... .... | .... ....");
    assert!(text.contains("3+3+2+3, then 21 to the end") && !text.contains("●21"), "{text}");
    assert!(text.contains("●3"), "{text}");
    // With leading rests, and alone.
    let text = shown("..x. .... | .... .... | .... ....");
    assert!(text.contains("rest 2, then 22 to the end") && !text.contains("●22"), "{text}");
    // A bar of rests and no more is part of the line; so is a group that comes again.
    let text = shown("x--x ---- | .... ....");
    assert!(text.contains("3+13") && text.contains("●13"), "{text}");
    let text = shown("x... .... | .... .... | .... x... | .... .... | .... ....");
    assert!(text.contains("20+20") && text.contains("●20"), "{text}");
}

#[test]
fn a_sound_file_is_checked_once_when_it_is_named() {
    let mut state = ferry();
    let tried = |found: &[Effect]| found.iter().any(|e| matches!(e, Effect::TrySounds(_)));
    let named = press(&mut state, "f \"sound-file\" enter \"knock.wav\" enter");
    assert!(tried(&named), "{named:?}");
    assert!(!tried(&press(&mut state, "3")));
    assert!(!tried(&press(&mut state, "f \"sound-file\" enter ctrl-u enter")), "taken away");
}

#[test]
fn sound_files_outside_the_folder_are_named_and_read_after_an_answer() {
    let paths = |n: usize| (0..n).map(|k| format!("/isle/{k}.wav").into()).collect::<Vec<std::path::PathBuf>>();
    let found = |state: &mut State, n| update(state, Event::OutsideSounds(paths(n)));
    let mut state = ferry();
    assert!(found(&mut state, 2).is_empty());
    for size in [(80, 24), (60, 18)] {
        let shown = screen(&state, size);
        assert!(shown.contains("/isle/0.wav") && shown.contains("/isle/1.wav"), "{shown}");
        assert!(shown.ends_with("Read these files? y: yes, now and later; Esc: no"), "{shown}");
    }
    // No other key answers, and a refusal holds.
    assert!(press(&mut state, "enter space q esc").is_empty());
    assert!(
        screen(&state, (80, 24)).contains("not read; layers play their voices instead, and the recording is silent")
    );
    assert!(state.files.outside_sounds.allowed.is_empty());
    found(&mut state, 3);
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("/isle/2.wav") && !shown.contains("/isle/0.wav"), "{shown}");
    // Found once more while the question is open, they are not asked about again.
    found(&mut state, 3);
    let effects = press(&mut state, "y");
    assert!(
        matches!(&effects[..], [Effect::AllowSounds(p), Effect::TrySounds(_)] if *p == paths(3)[2..]),
        "{effects:?}"
    );
    assert_eq!(state.files.outside_sounds.allowed, paths(3)[2..]);
    assert_eq!(state.overlay, Overlay::None);
    // Every path is named, also of many and on the smallest screen, after what is open is closed.
    let mut state = ferry();
    press(&mut state, "?");
    found(&mut state, 30);
    assert!(!screen(&state, (60, 18)).contains("isle"));
    press(&mut state, "esc");
    let mut named = Vec::new();
    while !screen(&state, (60, 18)).contains("stopped") || screen(&state, (60, 18)).contains("isle") {
        named.extend(screen(&state, (60, 18)).lines().map(|l| l.trim().to_owned()).filter(|l| l.starts_with("/isle/")));
        press(&mut state, "y");
        assert!(named.len() <= 30);
    }
    assert_eq!(named, paths(30).iter().map(|p| p.display().to_string()).collect::<Vec<_>>());
}

#[test]
fn both_meanings_of_a_meter_are_shown_before_enter() {
    let mut state = open(groove("x..x ..x. | x... x... | x..x ..x. | x... x..."), PLAIN, (80, 24));
    let lines = |state: &State| {
        let shown = screen(state, (80, 24));
        let lines: Vec<String> = shown.lines().map(str::to_owned).collect();
        lines[lines.len() - 3..].to_vec()
    };
    press(&mut state, "M \"7/16\"");
    let before = lines(&state);
    assert!(before[0].starts_with("> keep note values: 5 bars, cell = 1/16: 3+3+2+4+4+"), "{before:?}");
    assert!(before[1].starts_with("  keep cells: 4 bars, cell = 1/64: 3+3+2+4+4+"), "{before:?}");
    press(&mut state, "tab");
    assert!(lines(&state)[1].starts_with("> keep cells"), "{:?}", lines(&state));
    let mut cells = state.clone();
    press(&mut cells, "enter");
    assert_eq!(cells.groove().sections()[0].bars, 4);
    press(&mut state, "tab enter");
    let section = &state.groove().sections()[0];
    assert_eq!(
        (section.bars, section.meter.to_string(), state.groove().layers()[0].divisions[0]),
        (5, "7/16".into(), 1)
    );
    // The same meter has one result, and a text that is not a meter has none.
    press(&mut state, "M \"7/16\"");
    assert!(!screen(&state, (80, 24)).contains("keep cells"));
    press(&mut state, "backspace backspace");
    assert!(!screen(&state, (80, 24)).contains("keep cells"));
}

#[test]
fn a_repeat_says_what_it_repeats_and_how_often_in_total() {
    let mut state = open(groove("x..x ..x. | .... .... | .... .... | .... ...."), PLAIN, (80, 24));
    press(&mut state, "r");
    assert!(screen(&state, (80, 24)).contains("repeats the bar (3+3+2); 'end': 3 more times"));
    press(&mut state, "\"2\"");
    assert!(screen(&state, (80, 24)).contains("repeats the bar (3+3+2); 'end': 3 more times; 3 times in total"));
    press(&mut state, "ctrl-u \"end\" enter");
    assert!(screen(&state, (80, 24)).contains("4 times in total, to the end of the section"));
}

#[test]
fn a_paste_into_a_cycle_asks_first() {
    let mut state = open(groove("x..x ..x. | .... ...."), PLAIN, (80, 24));
    press(&mut state, "ctrl-c c \"3\" enter ctrl-v");
    for size in [(80, 24), (60, 18)] {
        let shown = screen(&state, size);
        let shown = shown.split_whitespace().collect::<Vec<_>>().join(" ");
        let words = "repeats a cycle here. 1: write it out and paste, 2: repeat the pasted cells instead, Esc: cancel";
        assert!(shown.ends_with(words), "{shown}");
    }
    let before = state.groove().clone();
    press(&mut state, "esc");
    assert_eq!((state.groove(), &state.overlay), (&before, &Overlay::None));
    press(&mut state, "ctrl-v 2");
    assert_eq!(state.groove().part(0, 0).stored().len(), 8);
    press(&mut state, "ctrl-z ctrl-v 1");
    assert!(!state.groove().part(0, 0).is_cycle());
}
