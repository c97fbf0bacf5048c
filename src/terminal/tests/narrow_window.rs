//! Tests that prompts, errors, messages, hints and the help are not cut in a narrow window.

use super::*;
use crate::terminal::commands::{self, Action, Mode};
use crate::terminal::confirmation::Confirmation;
use crate::terminal::dispatch::dispatch;
use crate::terminal::overlay::Overlay;
use crate::terminal::prompts::ask;
use crate::terminal::prompts::question::Question;

/// Every question of a command, and those after a selection from a list.
fn all_questions() -> Vec<Question> {
    let asked = commands::all().filter_map(|r| if let Action::Ask(q) = r.action { Some(q) } else { None });
    asked.chain([Question::ExportAs, Question::HandoutInto]).collect()
}

/// The text of lines with single spaces.
fn normalized(lines: &[&str]) -> String {
    lines.join(" ").split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn every_prompt_fits() {
    let mut state = ferry();
    assert!(all_questions().len() > 35);
    for question in all_questions() {
        ask(&mut state, question);
        let (head, allowed) = question.label_and_forms();
        for size in [(80, 24), (60, 18)] {
            let shown = screen(&state, size);
            let lines: Vec<&str> = shown.lines().collect();
            let last = lines.len() - 1;
            assert!(lines[last].starts_with(&format!("{head}:")), "{question:?}\n{shown}");
            // All of it in one line where there are 80 columns, its first clause where there are 60, and nothing cut.
            let clause = allowed.split([';', ':']).next().expect("a clause");
            let wanted = if size.0 == 80 || clause.len() > 60 { allowed } else { clause };
            let whole = lines[last - 2..].iter().any(|l| l.contains(wanted));
            assert!(whole || clause.len() > 60, "{question:?} at {size:?}\n{shown}");
            assert!(normalized(&lines[last - 2..]).contains(allowed), "{question:?} at {size:?}\n{shown}");
        }
        // Also after much was typed.
        press(&mut state, &format!("ctrl-u \"{}\"", "9".repeat(70)));
        let shown = screen(&state, (80, 24));
        assert!(shown.contains(allowed) && shown.lines().last().is_some_and(|l| l.ends_with("99")), "{shown}");
        press(&mut state, "esc");
    }
}

#[test]
fn every_error_of_an_answer_fits() {
    let mut state = ferry();
    for question in all_questions() {
        ask(&mut state, question);
        press(&mut state, "ctrl-u \"no such answer / anywhere 0x\" enter");
        let Overlay::Prompt { error: Some(error), .. } = &state.overlay else {
            state.overlay = Overlay::None;
            continue;
        };
        let error = error.clone();
        for size in [(80, 24), (60, 18)] {
            let shown = screen(&state, size);
            let lines: Vec<&str> = shown.lines().collect();
            assert!(
                normalized(&lines[lines.len() - 4..lines.len() - 1]).contains(&error),
                "{question:?}: {error}\n{shown}"
            );
        }
        press(&mut state, "esc");
    }
}

#[test]
fn every_message_of_a_command_and_every_hint_fits() {
    for row in commands::all().filter(|r| r.mode == Mode::Grid) {
        for mut state in [ferry(), open(groove(".... ...."), PLAIN, (80, 24))] {
            dispatch(&mut state, &row.action, None);
            let said = state.message.as_ref().filter(|_| !matches!(state.overlay, Overlay::Prompt { .. }));
            let said = said.map(|m| m.text().to_owned());
            for size in [(80, 24), (60, 18)] {
                let shown = screen(&state, size);
                let lines: Vec<&str> = shown.lines().collect();
                let last = lines.last().expect("a line");
                assert!(!last.contains('…') && !last.contains('~'), "{} at {size:?}: {last}", row.name);
                if let Some(said) = &said {
                    let whole = (1..4).any(|n| normalized(&lines[lines.len() - n..]) == *said);
                    assert!(whole, "{} at {size:?}: {said}\n{shown}", row.name);
                }
            }
        }
    }
    // The questions before something is lost.
    let mut state = ferry();
    for confirmation in
        [Confirmation::Quit, Confirmation::OverwriteChanged(Vec::new()), Confirmation::OverwriteOther("a.toml".into())]
    {
        state.overlay = Overlay::Confirm(confirmation);
        for size in [(80, 24), (60, 18)] {
            let shown = screen(&state, size);
            let last = shown.lines().last().expect("a line");
            assert!(!last.contains('…') && (last.contains("Esc: cancel") || last.contains("Esc: no")), "{last}");
        }
    }
}

#[test]
fn a_long_message_takes_the_lines_it_needs() {
    let mut state = ferry();
    let words = "a message that is a good deal longer than what a line of the narrowest window has room for";
    state.warn(words);
    let shown = screen(&state, (60, 18));
    let lines: Vec<&str> = shown.lines().collect();
    assert_eq!(normalized(&lines[16..]), words, "{shown}");
    assert_eq!(lines.len(), 18);
    press(&mut state, "right");
    assert!(screen(&state, (60, 18)).contains("stopped"));
    // What needs more than three is cut at its end.
    state.warn("word ".repeat(100));
    let shown = screen(&state, (60, 18));
    assert!(shown.lines().nth(15).is_some_and(|l| l.starts_with("word")), "{shown}");
    assert!(shown.lines().nth(17).is_some_and(|l| l.ends_with('…')), "{shown}");
}

#[test]
fn every_line_of_the_help_fits() {
    let mut state = ferry();
    for size in [(60, 18), (80, 24)] {
        update(&mut state, Event::Resize(size.0, size.1));
        press(&mut state, "?");
        let (mut seen, mut last) = (Vec::new(), None);
        while last != Some(state.overlay.clone()) {
            last = Some(state.overlay.clone());
            let shown = screen(&state, size);
            // One line further with each key.
            let body: Vec<String> = shown.lines().skip(1).take(usize::from(size.1) - 3).map(str::to_owned).collect();
            if seen.is_empty() {
                seen = body;
            } else {
                seen.extend(body.last().cloned());
            }
            press(&mut state, "down");
        }
        let bare = |text: &str| text.split_whitespace().collect::<String>();
        let seen = bare(&seen.concat());
        for row in commands::all() {
            assert!(seen.contains(&bare(row.description)), "{} at {size:?}", row.description);
        }
        press(&mut state, "esc");
    }
}

#[test]
fn the_list_of_hearings_opens_at_its_top() {
    let mut state = ferry();
    state.hearings.selected = state.report().map(|(r, _)| crate::jobs::HearingKey::of(&r.hearings[0]));
    for size in [(60, 18), (80, 24)] {
        update(&mut state, Event::Resize(size.0, size.1));
        press(&mut state, "h");
        let shown = screen(&state, size);
        assert!(shown.lines().nth(2).is_some_and(|l| l.starts_with("Heard in riff")), "{shown}");
        press(&mut state, "esc");
    }
}
