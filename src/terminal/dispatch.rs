//! Carries out the actions of the command table on the state. It must not do I/O or read a clock.

use crate::rhythm::Groove;
use crate::session::{Command, Motion, Outcome, messages};
use crate::terminal::action::Action;
use crate::terminal::event::Effect;
use crate::terminal::files::{clipboard, export, import, recovery, save};
use crate::terminal::hearings;
use crate::terminal::input::key::Key;
use crate::terminal::input::key_time::KeyTime;
use crate::terminal::lists;
use crate::terminal::manual::{self, ManualInput};
use crate::terminal::overlay::{Overlay, PendingOverwrite};
use crate::terminal::playback::{clicks, practice, tapping, transport};
use crate::terminal::prompts::ask;
use crate::terminal::prompts::question::Question;
use crate::terminal::prompts::typing::{self, TextField};
use crate::terminal::scroll;
use crate::terminal::state::{Message, State};
use crate::terminal::view::{Labels, Strips};
use ratatui::crossterm::event::KeyCode;

/// Carries out an action; `key` is the key that caused it, if any.
pub(crate) fn dispatch(state: &mut State, action: &Action, key: Option<Key>, effects: &mut Vec<Effect>) {
    match action {
        Action::Run(command) => run_command(state, command.clone()),
        Action::EnterDigit => match key.map(|k| k.code) {
            Some(KeyCode::Char(c @ '0'..='9')) => {
                let n = c as usize - '0' as usize;
                run_command(state, Command::EnterGroup(if n == 0 { 10 } else { n }));
            }
            _ => ask(state, Question::Groups),
        },
        Action::Ask(question) => ask(state, *question),
        Action::StartSelecting => {
            state.input.selecting = true;
            run_command(state, Command::Extend(Motion::To(state.session.cursor().place)));
            state.show_message(Message::info("selecting: move to extend, Esc to stop"));
        }
        Action::Close => close(state, effects),
        Action::Copy(text) => clipboard::copy(state, *text, effects),
        Action::Play => transport::toggle(state, effects),
        Action::PlayFromCursor => transport::start_at_cursor(state, effects),
        Action::TapAlong => tapping::begin(state, effects),
        Action::Tap => tapping::tap(state, KeyTime::UNKNOWN, effects),
        Action::RestartTapping => tapping::restart(state, effects),
        Action::TapReport => tapping::show_report(state),
        Action::Calibrate => tapping::begin_calibrating(state, effects),
        Action::NextLoopMode => transport::next_loop_mode(state, effects),
        Action::SpeedBy(by) => transport::speed_by(state, *by, effects),
        Action::VolumeBy(db) => transport::volume_by(state, *db, effects),
        Action::ClickVolumeBy(db) => transport::click_volume_by(state, *db, effects),
        Action::ToggleBeatClick => clicks::toggle_beat(state, effects),
        Action::ToggleHearingClick => clicks::toggle_hearing(state, effects),
        Action::PlayTake(mix) => clicks::play_take(state, *mix, effects),
        Action::NextBeatClick => clicks::next_beat_click(state, effects),
        Action::NextHearingClick => clicks::next_hearing_click(state, effects),
        Action::ToggleExtraHearingClick => clicks::toggle_extra_hearing(state, effects),
        Action::ToggleLadder => practice::toggle_ladder(state, effects),
        Action::LadderBy(by) => practice::step(state, *by, effects),
        Action::NextFocus => hearings::next_focus(state),
        Action::NextHearing => hearings::select_next(state, effects),
        Action::ToggleStrips => {
            state.view.strips = if state.view.strips == Strips::Two { Strips::All } else { Strips::Two };
        }
        Action::NextLabels => {
            state.view.labels = match state.view.labels {
                Labels::Groups => Labels::Pitches,
                Labels::Pitches => Labels::None,
                Labels::None => Labels::Groups,
            };
        }
        Action::ZoomBy(by) => {
            state.view.zoom = (state.view.zoom + by).clamp(-4, 2);
            scroll::reset(state);
        }
        Action::Help => state.overlay = Overlay::Help(0),
        Action::Manual => manual::open(state),
        Action::SearchManual => manual::start_search(state),
        Action::FindMatch(direction) => manual::find(state, *direction),
        Action::FindCommand => state.overlay = Overlay::Find { text: TextField::default(), selected: 0 },
        Action::FullView => lists::open_full(state),
        Action::Outputs => effects.push(Effect::Outputs),
        Action::ConfigFile if state.files.config_errors.is_some() => state.overlay = Overlay::ConfigFile(0),
        Action::ConfigFile => state.show_message(Message::info("no errors in the config file")),
        Action::Export(menu) => export::open_menu(state, *menu),
        Action::CancelJob if !export::cancel(state, effects) => {
            state.show_message(Message::info("no export or import is running"));
        }
        Action::CancelJob => {}
        Action::ImportWarnings => import::show_warnings(state),
        Action::OpenImport => import::open_confirmed(state, effects),
        Action::SaveThenOpenImport => import::save_then_open(state, effects),
        Action::Save => save::save(state, effects),
        Action::Choose(answer) => choose(state, *answer),
        Action::Overwrite => save::overwrite(state, effects),
        Action::Redraw => effects.push(Effect::Redraw),
        Action::Quit if state.session.is_changed() => state.overlay = Overlay::ConfirmQuit,
        Action::Quit | Action::QuitWithoutSaving => {
            practice::leave(state, effects);
            effects.push(Effect::Quit { keep_journal: false });
        }
        Action::SaveThenQuit => {
            state.overlay = Overlay::None;
            state.files.quit_after_save = true;
            save::save(state, effects);
        }
        Action::Recover => recovery::recover(state),
        Action::ViewUnsaved => recovery::toggle_text(state),
        Action::DiscardUnsaved => recovery::discard(state, effects),
        Action::ScrollUnsaved(by) => recovery::scroll(state, *by),
        Action::ListUp => lists::navigate(state, |at, _, _| at.saturating_sub(1)),
        Action::ListDown => lists::navigate(state, |at, last, _| (at + 1).min(last)),
        Action::ListPageUp => lists::navigate(state, |at, _, page| at.saturating_sub(page)),
        Action::ListPageDown => lists::navigate(state, |at, last, page| (at + page).min(last)),
        Action::ListFirst => lists::navigate(state, |_, _, _| 0),
        Action::ListLast => lists::navigate(state, |_, last, _| last),
        Action::Accept => lists::accept(state, effects),
        Action::NextPart => lists::change_part(state, 1),
        Action::PreviousPart => lists::change_part(state, -1),
        Action::EditText(request) => typing::edit(state, *request),
    }
}

/// Applies a command to the session and shows its message.
pub(crate) fn run_command(state: &mut State, command: Command) {
    let command = match command {
        Command::Move(motion) if state.input.selecting => Command::Extend(motion),
        command => command,
    };
    let before = state.groove().clone();
    let outcome = state.session.apply(command.clone());
    if state.session.selection().is_none() {
        state.input.selecting = false;
    }
    let message = match outcome {
        Outcome::Unchanged | Outcome::Changed(None) => return,
        Outcome::Changed(Some(text)) => {
            let hint = key_hint(state, &command, &before);
            Message::Info(end_of_groove(state, &command).unwrap_or(text + &hint))
        }
        Outcome::Info(text) => Message::Info(text),
        Outcome::Choice(choice) => {
            state.overlay = Overlay::Choice(choice);
            return;
        }
        Outcome::NoLayer => {
            Message::Warning(format!("no layer yet; {} adds one", state.input.keymap.first("add-layer")))
        }
        Outcome::Error(text) => Message::Warning(end_of_groove(state, &command).unwrap_or(text)),
    };
    state.show_message(message);
}

fn choose(state: &mut State, answer: usize) {
    if let Overlay::Choice(choice) = std::mem::take(&mut state.overlay)
        && let Some((_, command)) = choice.answers.into_iter().nth(answer)
    {
        run_command(state, command);
    }
}

/// The message after a command that enters cells at the end of the groove.
fn end_of_groove(state: &State, command: &Command) -> Option<String> {
    use Command::{Attack, EnterGroup, EnterGroups, Hold, Rest, Toggle};
    let enters = matches!(command, Attack(_) | Hold | EnterGroup(_) | EnterGroups(..) | Rest | Toggle);
    let (bar, section) = (state.input.keymap.first("add-bar"), state.input.keymap.first("add-section"));
    let text = || format!("end of the groove: {bar} adds a bar, {section} a section");
    (enters && state.session.cursor().past_end).then(text)
}

/// The key that undoes a loss of attacks, or that changes the division under a new meter.
fn key_hint(state: &State, command: &Command, before: &Groove) -> String {
    let division = |g: &Groove| (0..g.layers().len()).map(|l| g.events(l)).collect::<Vec<_>>();
    let after = state.groove();
    let (name, verb) = match command {
        Command::Undo | Command::Redo => return String::new(),
        Command::Division(..) if division(before) != division(after) => ("undo", "undoes"),
        _ if messages::written_attacks(before) > messages::written_attacks(after) => ("undo", "undoes"),
        Command::Meter(..) | Command::AddSection(..) if !after.layers().is_empty() => ("division", "changes it"),
        _ => return String::new(),
    };
    let key = state.input.keymap.first(name);
    if key.is_empty() { key } else { format!(" ({key} {verb})") }
}

/// Closes the overlay; without one cancels the job, or drops the selection.
fn close(state: &mut State, effects: &mut Vec<Effect>) {
    if state.overlay == Overlay::None {
        let no_selection = !state.input.selecting && state.session.selection().is_none();
        if no_selection && export::cancel(state, effects) {
            return;
        }
        state.input.selecting = false;
        run_command(state, Command::Deselect);
    }
    if state.overlay == Overlay::Tap {
        return tapping::end(state, effects);
    }
    if let Overlay::Manual(view) = &mut state.overlay
        && view.input == ManualInput::Search
    {
        view.input = ManualInput::Move;
        return;
    }
    match &state.overlay {
        Overlay::ConfirmOverwrite(PendingOverwrite::Job(..)) => {
            state.show_message(Message::warning("not written; the file is unchanged"));
        }
        Overlay::ConfirmOverwrite(_) => state.show_message(Message::warning("not saved; the file is unchanged")),
        Overlay::Recovery(_) => return recovery::postpone(state, effects),
        Overlay::ConfirmImport(_) => state.show_message(Message::warning("import discarded; the groove is unchanged")),
        _ => {}
    }
    state.files.import.pending_save = None;
    state.files.quit_after_save = false;
    state.overlay = Overlay::None;
}
