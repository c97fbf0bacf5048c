//! Carries out the actions of the command table on the state. It must not do I/O or read a clock.

use crate::rhythm::{Groove, count};
use crate::session::{Command, Motion, Outcome, messages};
use crate::terminal::confirmation::confirm;
use crate::terminal::files::replacement::Replacement;
use crate::terminal::files::{export, outside_sounds, recovery};
use crate::terminal::help::HelpView;
use crate::terminal::playback::{practice, tapping};
use crate::terminal::prompts::typing;
use crate::terminal::transcription::listening;
use crate::terminal::{
    Action, Confirmation, Effect, Key, Mode, Overlay, Question, State, ask, grid_search, lists, search, variants,
};
use ratatui::crossterm::event::KeyCode;

/// Carries out an action; `key` is the key that caused it, if any.
pub(crate) fn dispatch(state: &mut State, action: &Action, key: Option<Key>) {
    match action {
        Action::Run(command) => run_command(state, command.clone()),
        Action::Ask(question) => ask(state, *question),
        Action::EnterDigit => match key.map(|k| k.code) {
            Some(KeyCode::Char(c @ '0'..='9')) => {
                let n = c as usize - '0' as usize;
                if state.mode() == Mode::List {
                    return grid_search::take_number(state, n);
                }
                run_command(state, Command::EnterGroup(if n == 0 { 10 } else { n }));
            }
            _ => ask(state, Question::Groups),
        },
        Action::OpenMenu(menu) => state.overlay = Overlay::Menu(*menu),
        Action::Tap => tapping::tap(state, None),
        Action::Reply(reply) => confirm(state, *reply),
        Action::Navigate(step) => lists::navigate(state, *step),
        Action::Edit(request) => typing::edit(state, *request),
        Action::Call(function) => function(state),
    }
}

pub(crate) fn start_selecting(state: &mut State) {
    state.input.is_selecting = true;
    run_command(state, Command::Extend(Motion::To(state.session.cursor().place)));
    state.info("selecting: move to extend, Esc to stop");
}

/// Quits, after a question if there are unsaved changes.
pub(crate) fn quit(state: &mut State) {
    if state.session.is_changed() {
        state.overlay = Overlay::Confirm(Confirmation::Quit);
    } else {
        quit_without_saving(state);
    }
}

pub(crate) fn quit_without_saving(state: &mut State) {
    practice::end_sequence(state);
    state.effects.push(Effect::Quit { keep_journal: false });
}

pub(crate) fn run_command(state: &mut State, command: Command) {
    let command = match command {
        Command::Move(motion) if state.input.is_selecting => Command::Extend(motion),
        command => command,
    };
    let (before, old_cursor) = (state.groove().clone(), state.session.cursor());
    let outcome = state.session.apply(command.clone());
    if state.session.selection().is_none() {
        state.input.is_selecting = false;
    }
    match outcome {
        Outcome::Unchanged => {}
        Outcome::Changed(None) => {
            if let Some(text) = removed_attacks(&command, &before, state.groove()) {
                let hint = key_hint(state, &command, &before);
                state.info(text + &hint);
            }
        }
        Outcome::Changed(Some(text)) => {
            let hint = key_hint(state, &command, &before);
            state.info(end_of_groove(state, &command).unwrap_or(text + &hint));
        }
        Outcome::Info(text) => state.info(text),
        Outcome::Choice(choice) => state.overlay = Overlay::Confirm(Confirmation::Meaning(choice)),
        Outcome::NoLayer => state.warn(format!("no layer yet; {} adds one", state.key("add-layer"))),
        Outcome::Error(text) => state.warn(end_of_groove(state, &command).unwrap_or(text)),
    }
    if enters_cells(&command) {
        listening::follow_entry(state, old_cursor);
    }
}

fn enters_cells(command: &Command) -> bool {
    use Command::{Attack, EnterGroup, EnterGroups, Hold, Rest, Toggle};
    matches!(command, Attack(_) | Hold | EnterGroup(_) | EnterGroups(..) | Rest | Toggle)
}

/// The message after a command that enters cells at the end of the groove.
fn end_of_groove(state: &State, command: &Command) -> Option<String> {
    let (bar, section) = (state.key("add-bar"), state.key("add-section"));
    let text = || format!("end of the groove: {bar} adds a bar, {section} a section");
    (enters_cells(command) && state.session.cursor().past_end).then(text)
}

/// What a command removed that says nothing else about it; `None` for the one attack that an entry replaces.
fn removed_attacks(command: &Command, before: &Groove, after: &Groove) -> Option<String> {
    let removed = messages::written_attacks(before).saturating_sub(messages::written_attacks(after));
    let (verb, min) = match command {
        Command::Cut => ("cut", 1),
        Command::Erase => ("erased", 1),
        _ => ("replaced", 2),
    };
    (removed >= min).then(|| format!("{} {verb}", count(removed, "attack")))
}

/// The key that undoes a loss, or that changes the division under a new meter.
fn key_hint(state: &State, command: &Command, before: &Groove) -> String {
    let division = |g: &Groove| (0..g.layers().len()).map(|l| g.events(l)).collect::<Vec<_>>();
    let after = state.groove();
    let (name, verb) = match command {
        Command::Undo | Command::Redo => return String::new(),
        Command::RemoveLayer | Command::RemoveSection | Command::DeleteBars => ("undo", "undoes"),
        Command::Division(..) if division(before) != division(after) => ("undo", "undoes"),
        _ if messages::written_attacks(before) > messages::written_attacks(after) => ("undo", "undoes"),
        Command::Meter(..) | Command::AddSection(..) if !after.layers().is_empty() => {
            ("division", "changes the division")
        }
        _ => return String::new(),
    };
    let key = state.key(name);
    if key.is_empty() { key } else { format!(" ({key} {verb})") }
}

/// Closes the overlay, or ends the typing of a search in it; without one cancels the job, or drops the selection.
pub(crate) fn close(state: &mut State) {
    if search::stop_typing(state) {
        return;
    }
    match std::mem::take(&mut state.overlay) {
        Overlay::None => {
            let no_selection = !state.input.is_selecting && state.session.selection().is_none();
            if no_selection && export::cancel(state) {
                return;
            }
            state.input.is_selecting = false;
            run_command(state, Command::Deselect);
        }
        Overlay::Help(HelpView { list: Some(list), .. }) => state.overlay = *list,
        Overlay::Tap => return tapping::end(state),
        Overlay::GridChoices(list) => return grid_search::leave(state, list),
        Overlay::Variants(list) => return variants::leave(state, &list),
        Overlay::Recovery(_) => return recovery::postpone(state),
        Overlay::Confirm(Confirmation::ReadSounds(paths)) => return outside_sounds::refuse(state, paths),
        Overlay::Confirm(Confirmation::OverwriteByJob(..)) => state.warn("not written; the file is unchanged"),
        Overlay::Confirm(Confirmation::OverwriteChanged(_) | Confirmation::OverwriteOther(_)) => {
            state.warn("not saved; the file is unchanged");
        }
        Overlay::Confirm(Confirmation::Replace(replacement)) => state.warn(match *replacement {
            Replacement::Import(_) => "import discarded; the groove is unchanged",
            Replacement::File(_) | Replacement::New => "not opened; the groove is unchanged",
        }),
        _ => {}
    }
    state.files.replacement.pending_save = None;
    state.files.quit_after_save = false;
}
