//! From what is asked for to who does it. It must not do any of it outside the state: no I/O, no clock.

use crate::rhythm::Groove;
use crate::session::{Command, Motion, Outcome};
use crate::terminal::action::Action;
use crate::terminal::event::Effect;
use crate::terminal::files::clipboard;
use crate::terminal::files::export;
use crate::terminal::files::import;
use crate::terminal::files::save;
use crate::terminal::hearings;
use crate::terminal::input::key::Key;
use crate::terminal::input::key_time::KeyTime;
use crate::terminal::lists;
use crate::terminal::manual::{self, Input};
use crate::terminal::overlay::{Overlay, PendingOverwrite};
use crate::terminal::playback::clicks;
use crate::terminal::playback::practice;
use crate::terminal::playback::tapping;
use crate::terminal::playback::transport;
use crate::terminal::prompts::ask;
use crate::terminal::prompts::question::Question;
use crate::terminal::prompts::typing::{self, TextField};
use crate::terminal::scroll;
use crate::terminal::state::{Labels, Message, State, Strips};
use ratatui::crossterm::event::KeyCode;

/// Does what a row asks for; `key` is the key that asked, if one did.
pub(crate) fn dispatch(state: &mut State, action: &Action, key: Option<Key>, effects: &mut Vec<Effect>) {
    match action {
        Action::Do(command) => run_command(state, command.clone()),
        Action::LayDigit => match key.map(|k| k.code) {
            Some(KeyCode::Char(c @ '0'..='9')) => {
                let n = c as usize - '0' as usize;
                run_command(state, Command::Lay(if n == 0 { 10 } else { n }));
            }
            _ => ask(state, Question::Groups),
        },
        Action::Ask(question) => ask(state, *question),
        Action::Mark => {
            state.selecting = true;
            run_command(state, Command::Extend(Motion::To(state.session.cursor().place)));
            state.show_message(Message::info("selecting: move to extend, Esc to stop"));
        }
        Action::Close => close(state, effects),
        Action::CopyText(what) => clipboard::copy(state, *what, effects),
        Action::Play => transport::toggle(state, effects),
        Action::PlayHere => transport::start_here(state, effects),
        Action::Tap => tapping::begin(state, effects),
        Action::TapKey => tapping::tap(state, KeyTime::UNKNOWN, effects),
        Action::TapAgain => tapping::again(state, effects),
        Action::TapReport => tapping::show(state),
        Action::Calibrate => tapping::begin_calibrating(state, effects),
        Action::NextLoop => transport::next_loop(state, effects),
        Action::SpeedBy(by) => transport::speed_by(state, *by, effects),
        Action::VolumeBy(db) => transport::volume_by(state, *db, effects),
        Action::ClickVolumeBy(db) => transport::click_volume_by(state, *db, effects),
        Action::BeatClick => clicks::beat(state, effects),
        Action::HearingClick => clicks::hearing(state, effects),
        Action::Take(switches) => clicks::take(state, *switches, effects),
        Action::BeatCut => clicks::next_beat_cut(state, effects),
        Action::HearingCut => clicks::next_hearing_cut(state, effects),
        Action::HearingToo => clicks::hearing_too(state, effects),
        Action::Ladder => practice::ladder_key(state, effects),
        Action::LadderBy(by) => practice::step(state, *by, effects),
        Action::NextFocus => hearings::next_focus(state),
        Action::NextHearing => hearings::next(state, effects),
        Action::MoreStrips => {
            state.strips = if state.strips == Strips::Two { Strips::All } else { Strips::Two };
        }
        Action::NextLabels => {
            state.labels = match state.labels {
                Labels::Groups => Labels::Pitches,
                Labels::Pitches => Labels::None,
                Labels::None => Labels::Groups,
            };
        }
        Action::ZoomBy(by) => {
            state.zoom = (state.zoom + by).clamp(-4, 2);
            scroll::centre(state);
        }
        Action::Help => state.overlay = Overlay::Help(0),
        Action::Manual => manual::open(state),
        Action::SearchManual => manual::ask(state),
        Action::Match(direction) => manual::find(state, *direction),
        Action::Find => state.overlay = Overlay::Find { text: TextField::default(), chosen: 0 },
        Action::Full => lists::open_full(state),
        Action::Outputs => effects.push(Effect::Outputs),
        Action::ConfigFile if state.config_errors.is_some() => state.overlay = Overlay::ConfigFile(0),
        Action::ConfigFile => state.show_message(Message::info("no errors in the config file")),
        Action::Export(choice) => export::choose(state, *choice),
        Action::Cancel if !export::cancel(state, effects) => {
            state.show_message(Message::info("no export or import is running"));
        }
        Action::Cancel => {}
        Action::Remarks => import::remarks(state),
        Action::Replace => import::replace_asked(state, effects),
        Action::ReplaceFirst => import::save_first(state, effects),
        Action::Save => save::save(state, effects),
        Action::Overwrite => save::overwrite(state, effects),
        Action::Redraw => effects.push(Effect::Redraw),
        Action::Quit if state.session.is_changed() => state.overlay = Overlay::Leaving,
        Action::Quit | Action::Yes => {
            practice::leave(state, effects);
            effects.push(Effect::Quit { keep_journal: false });
        }
        Action::SaveFirst => {
            state.overlay = Overlay::None;
            state.quit_after_save = true;
            save::save(state, effects);
        }
        Action::ListUp => lists::go(state, |at, _, _| at.saturating_sub(1)),
        Action::ListDown => lists::go(state, |at, last, _| (at + 1).min(last)),
        Action::ListPageUp => lists::go(state, |at, _, page| at.saturating_sub(page)),
        Action::ListPageDown => lists::go(state, |at, last, page| (at + page).min(last)),
        Action::ListFirst => lists::go(state, |_, _, _| 0),
        Action::ListLast => lists::go(state, |_, last, _| last),
        Action::Accept => lists::accept(state, effects),
        Action::NextPart => lists::part(state, 1),
        Action::PreviousPart => lists::part(state, -1),
        Action::Edit(request) => typing::edit(state, *request),
    }
}

/// Applies a command to the session and shows its message.
pub(crate) fn run_command(state: &mut State, command: Command) {
    let command = match command {
        Command::Move(motion) if state.selecting => Command::Extend(motion),
        command => command,
    };
    let before = state.groove().clone();
    let outcome = state.session.apply(command.clone());
    if state.session.selection().is_none() {
        state.selecting = false;
    }
    let message = match outcome {
        Outcome::Unchanged | Outcome::Changed(None) => return,
        Outcome::Changed(Some(text)) => {
            let hint = key_hint(state, &command, &before);
            Message::Info(end_of_groove(state, &command).unwrap_or(text + &hint))
        }
        Outcome::Info(text) => Message::Info(text),
        Outcome::NoLayer => Message::Warning(format!("no layer yet; {} adds one", state.keymap.first("add-layer"))),
        Outcome::Error(text) => Message::Warning(end_of_groove(state, &command).unwrap_or(text)),
    };
    state.show_message(message);
}

/// What to do at the end of the groove, after a command that enters cells there.
fn end_of_groove(state: &State, command: &Command) -> Option<String> {
    use Command::{Attack, Hold, Lay, LayLine, Rest, Toggle};
    let enters = matches!(command, Attack(_) | Hold | Lay(_) | LayLine(_) | Rest | Toggle);
    let (bar, section) = (state.keymap.first("add-bar"), state.keymap.first("add-section"));
    let text = || format!("end of the groove: {bar} adds a bar, {section} a section");
    (enters && state.session.cursor().past_end).then(text)
}

/// The key that takes back a loss of attacks, or that sets the cells of a new meter.
fn key_hint(state: &State, command: &Command, before: &Groove) -> String {
    let attacks = |g: &Groove| (0..g.layers().len()).flat_map(|l| g.events(l)).filter(|e| e.pass == 0).count();
    let division = |g: &Groove| (0..g.layers().len()).map(|l| g.events(l)).collect::<Vec<_>>();
    let after = state.groove();
    let (name, words) = match command {
        Command::Undo | Command::Redo => return String::new(),
        Command::Division(_) if division(before) != division(after) => ("undo", "undoes"),
        _ if attacks(before) > attacks(after) => ("undo", "undoes"),
        Command::Meter(_) | Command::AddSection(..) if !after.layers().is_empty() => ("division", "changes it"),
        _ => return String::new(),
    };
    let key = state.keymap.first(name);
    if key.is_empty() { key } else { format!(" ({key} {words})") }
}

/// Closes what is open, or drops the selection, or calls off what is under way.
fn close(state: &mut State, effects: &mut Vec<Effect>) {
    if state.overlay == Overlay::None {
        // A selection goes first.
        let free = !state.selecting && state.session.selection().is_none();
        if free && export::cancel(state, effects) {
            return;
        }
        state.selecting = false;
        run_command(state, Command::Deselect);
    }
    if state.overlay == Overlay::Tap {
        return tapping::end(state, effects);
    }
    if let Overlay::Manual(view) = &mut state.overlay
        && view.input == Input::Searching
    {
        view.input = Input::Moving;
        return;
    }
    match &state.overlay {
        Overlay::Overwrite(PendingOverwrite::Job(..)) => {
            state.show_message(Message::warning("not written; the file is unchanged"));
        }
        Overlay::Overwrite(_) => state.show_message(Message::warning("not saved; the file is unchanged")),
        Overlay::Replacing(_) => state.show_message(Message::warning("import discarded; the groove is unchanged")),
        _ => {}
    }
    import::stay(state);
    state.quit_after_save = false;
    state.overlay = Overlay::None;
}
