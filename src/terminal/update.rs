//! From an event to a new state and what is to be done outside. It must not do any of that itself: no I/O, no clock.

use crate::rhythm::Groove;
use crate::terminal::action::Action;
use crate::terminal::commands::Mode;
use crate::terminal::dispatch::dispatch;
use crate::terminal::event::{Effect, Event};
use crate::terminal::files::export;
use crate::terminal::files::import;
use crate::terminal::files::save;
use crate::terminal::hearings;
use crate::terminal::hearings::{Shown, analyse};
use crate::terminal::input::key::Key;
use crate::terminal::input::key_time::KeyTime;
use crate::terminal::input::mouse;
use crate::terminal::overlay::Overlay;
use crate::terminal::playback::practice;
use crate::terminal::playback::tapping;
use crate::terminal::playback::transport;
use crate::terminal::playback::transport::replay;
use crate::terminal::prompts::typing;
use crate::terminal::scroll;
use crate::terminal::state::{Message, State};
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use tui_input::InputRequest;

/// Ticks without a key after which the columns follow what is heard (about a second).
const IDLE: u32 = 30;

/// Takes an event into the state.
pub fn update(state: &mut State, event: Event) -> Vec<Effect> {
    let (before, before_document) = (state.revision(), state.session.document());
    let was = state.session.cursor();
    let asked = state.ask();
    let over = state.range();
    let groove = state.groove().clone();
    let mut effects = Vec::new();
    match event {
        Event::Key(key, arrival) if key.kind != KeyEventKind::Release => press(state, &key, arrival, &mut effects),
        Event::Outputs(listed) => transport::outputs(state, listed),
        Event::Pasted(text) => typing::paste(state, &text),
        Event::Mouse(event) => mouse::mouse(state, event, &mut effects),
        Event::Resize(width, height) => state.size = (width, height),
        Event::Tick(head) => transport::tick(state, head),
        Event::Tapped(heard) => tapping::tapped(state, heard, &mut effects),
        Event::OffsetKept(Err(words)) => state.show_message(Message::warning(format!(
            "could not save the tap offset; it applies to this session only: {words}"
        ))),
        Event::Analysed { revision, ask, report } => {
            hearings::on_analysis(state, Shown { revision, ask, report }, &mut effects);
        }
        Event::Saved { document, groove, result } => save::saved(state, (document, groove), result, &mut effects),
        Event::Take { sequence, take, counting, turn, silent } if practice::plays(state, sequence) => {
            practice::heard(state, (take, counting, turn), &mut effects);
            practice::set_silent(state, silent);
        }
        Event::SequenceEnded(sequence) if practice::plays(state, sequence) => transport::ended(state, &mut effects),
        // A key that is let go of; what was told of a sequence that was left meanwhile.
        Event::Key(..) | Event::Take { .. } | Event::SequenceEnded(_) | Event::OffsetKept(Ok(())) => {}
        Event::Progress(Ok(words)) => {
            if let Some(words) = &words
                && practice::begins(state)
            {
                state.show_message(Message::info(words.clone()));
            }
            state.progress = words;
        }
        Event::Device(there) => transport::device(state, there, &mut effects),
        Event::Speaker(speaker) => transport::on_speaker(state, speaker, &mut effects),
        Event::Progress(Err(words)) | Event::SoundTold(words) => state.show_message(Message::warning(words)),
        Event::JobProgress(percent) => export::progress(state, percent),
        Event::ExportDone(job, result) => export::done(state, job, result),
        Event::ImportDone(result) => import::done(state, result),
        Event::JournalFailed(words) => {
            state
                .show_message(Message::warning(format!("autosave failed, unsaved changes are not protected: {words}")));
        }
        Event::Signal => {
            practice::leave(state, &mut effects);
            effects.push(Effect::Quit { keep_journal: true });
        }
    }
    import::arrive(state, &mut effects);
    hearings::drop_stale_focus(state);
    if state.session.document() != before_document {
        state.progress = None;
        effects.push(Effect::SwitchDocument(state.session.document()));
    }
    if state.revision() != before {
        changed(state, &mut effects);
        differs(state, &groove, &mut effects);
    } else if state.ask() != asked {
        effects.push(analyse(state));
    }
    // The section of the cursor, or the selection, is another one.
    if state.range() != over && !effects.iter().any(|e| matches!(e, Effect::Play(..) | Effect::Change(_))) {
        replay(state, &mut effects);
    }
    if state.overlay == Overlay::None
        && let Some(refused) = state.pending_overwrite.take()
    {
        state.overlay = Overlay::Overwrite(refused);
    }
    if state.session.cursor() != was || state.revision() != before {
        state.play.idle = 0;
    }
    if state.play.on && state.play.idle > IDLE {
        scroll::follow(state);
    } else {
        scroll::show_cursor(state);
    }
    effects
}

/// The effects of starting: the first analysis.
pub fn start(state: &State) -> Vec<Effect> {
    vec![analyse(state)]
}

/// The groove is another one: it is kept, looked at and heard.
fn changed(state: &State, effects: &mut Vec<Effect>) {
    effects.push(Effect::Journal(state.groove().clone()));
    effects.push(analyse(state));
    replay(state, effects);
}

/// What an edit has changed that is not seen where it was made.
fn differs(state: &mut State, old: &Groove, effects: &mut Vec<Effect>) {
    let new = state.groove().clone();
    let sounds = |g: &Groove| g.layers().iter().filter_map(|l| l.sound.clone()).collect::<Vec<_>>();
    // While it plays they are read anyway.
    if !state.play.on && sounds(&new).iter().any(|s| !sounds(old).contains(s)) {
        effects.push(Effect::TrySounds(new.clone()));
    }
    let heard = |g: &Groove| (0..g.layers().len()).map(|l| g.heard(l)).collect::<Vec<_>>();
    if heard(old).len() == heard(&new).len() && heard(old) != heard(&new) {
        hearings::announce_focus(state, old);
    }
}

/// A key: a tap, a command, or a character of what is typed.
fn press(state: &mut State, event: &KeyEvent, arrival: KeyTime, effects: &mut Vec<Effect>) {
    let key = Key::of(event);
    state.play.idle = 0;
    let mode = state.mode();
    let row = state.keymap.row(mode, key);
    let plain = matches!(key.code, KeyCode::Char(_)) && key.mods.is_empty();
    if mode == Mode::Tap && row.map_or(plain, |r| r.action == Action::TapKey) {
        tapping::tap(state, arrival, effects);
    } else if let Some(row) = row {
        state.message = None;
        dispatch(state, &row.action, Some(key), effects);
    } else if mode == Mode::Typing {
        if let KeyCode::Char(c) = key.code
            && (key.mods - KeyModifiers::SHIFT).is_empty()
        {
            typing::edit(state, InputRequest::InsertChar(c));
        }
    } else if mode == Mode::Grid {
        let find = state.keymap.first("find");
        state.show_message(Message::info(format!("{} has no command here; {find} searches the commands", key.shown())));
    }
}
