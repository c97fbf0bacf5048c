//! Applies an event to the state and returns the effects. It must not do I/O or read a clock.

use crate::rhythm::Groove;
use crate::terminal::action::Action;
use crate::terminal::commands::Mode;
use crate::terminal::dispatch::dispatch;
use crate::terminal::event::{Effect, Event};
use crate::terminal::files::{export, import, outside_sounds, recovery, save};
use crate::terminal::hearings::{self, AnalysisResult, analyse};
use crate::terminal::input::key::Key;
use crate::terminal::input::key_time::KeyTime;
use crate::terminal::input::mouse;
use crate::terminal::overlay::Overlay;
use crate::terminal::playback::transport::{self, replay};
use crate::terminal::playback::{practice, tapping};
use crate::terminal::prompts::typing;
use crate::terminal::scroll;
use crate::terminal::state::{Message, State};
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use tui_input::InputRequest;

/// Ticks without a key after which the grid follows the playhead (about a second).
const FOLLOW_AFTER: u32 = 30;

/// Applies an event to the state.
pub fn update(state: &mut State, event: Event) -> Vec<Effect> {
    let (old_revision, old_document, old_cursor) = (state.revision(), state.session.document(), state.session.cursor());
    let (old_ask, old_range, old_groove) = (state.ask(), state.loop_range(), state.groove().clone());
    let old_file = state.file().map(str::to_owned);
    let mut effects = Vec::new();
    match event {
        Event::Key(key, arrival) if key.kind != KeyEventKind::Release => on_key(state, &key, arrival, &mut effects),
        Event::Outputs(listed) => transport::show_outputs(state, listed),
        Event::Pasted(text) => typing::paste(state, &text),
        Event::Mouse(event) => mouse::mouse(state, event, &mut effects),
        Event::Resize(width, height) => state.view.size = (width, height),
        Event::Tick(position) => transport::on_tick(state, position),
        Event::Tapped(tap) => tapping::on_tap(state, tap, &mut effects),
        Event::OffsetSaved(Err(reason)) => state.show_message(Message::warning(format!(
            "could not save the tap offset; it applies to this session only: {reason}"
        ))),
        Event::Analysed { revision, ask, report } => {
            let result = AnalysisResult { is_refined: report.is_refined(), revision, ask, report };
            hearings::on_analysis(state, result, &mut effects);
        }
        Event::Saved { document, groove, result } => save::on_saved(state, (document, groove), result, &mut effects),
        Event::Take(position) if practice::is_playing(state, position.sequence) => {
            practice::on_take(state, position, &mut effects);
        }
        Event::SequenceEnded(sequence) if practice::is_playing(state, sequence) => {
            transport::on_stopped(state, &mut effects);
        }
        // Key releases, and events of a sequence that was left meanwhile.
        Event::Key(..) | Event::Take { .. } | Event::SequenceEnded(_) | Event::OffsetSaved(Ok(())) => {}
        Event::Progress(Ok(text)) => {
            if let Some(text) = &text
                && practice::is_starting(state)
            {
                state.show_message(Message::info(text.clone()));
            }
            state.playback.progress = text;
        }
        Event::Device(result) => transport::on_device(state, result, &mut effects),
        Event::Remote(event) => transport::on_remote_event(state, event, &mut effects),
        Event::Progress(Err(text)) | Event::SoundWarning(text) => state.show_message(Message::warning(text)),
        Event::OutsideSounds(paths) => outside_sounds::on_found(state, paths),
        Event::JobProgress(percent) => export::on_progress(state, percent),
        Event::ExportDone(job, result) => export::on_done(state, job, result),
        Event::ImportDone(result) => import::on_done(state, result),
        Event::Journal(result) => recovery::on_journal(state, result),
        Event::Suspend => effects.push(Effect::Suspend),
        Event::Resume => effects.push(Effect::Resume),
        Event::Signal => {
            practice::leave(state, &mut effects);
            effects.push(Effect::Quit { keep_journal: true });
        }
    }
    import::open_pending(state, &mut effects);
    hearings::drop_stale_focus(state);
    let edited = state.revision() != old_revision;
    if state.session.document() != old_document {
        state.playback.progress = None;
        effects.push(Effect::SwitchDocument(state.session.document()));
    }
    if edited {
        effects.push(Effect::Journal { document: state.session.document(), groove: state.groove().clone() });
        effects.push(analyse(state));
        replay(state, &mut effects);
        check_sounds(state, &old_groove, &mut effects);
    } else if state.ask() != old_ask {
        effects.push(analyse(state));
    }
    // In another folder other sound files lie outside.
    if state.file() != old_file.as_deref() && state.groove().layers().iter().any(|l| l.sound.is_some()) {
        effects.push(Effect::TrySounds(state.groove().clone()));
    }
    // A move to another section, or another selection, changes the loop.
    if state.loop_range() != old_range && !effects.iter().any(|e| matches!(e, Effect::Play(..) | Effect::Change(_))) {
        replay(state, &mut effects);
    }
    if state.overlay == Overlay::None
        && let Some(pending) = state.files.pending_overwrite.take()
    {
        state.overlay = Overlay::ConfirmOverwrite(pending);
    }
    // Its journal may go when that of this session has it.
    if let Some(id) = state.files.recovery.recovered.take() {
        effects.push(Effect::AdoptUnsaved(id, state.session.document()));
    }
    recovery::offer(state);
    outside_sounds::offer(state);
    if edited || state.session.cursor() != old_cursor {
        state.playback.idle = 0;
    }
    if state.playback.on && state.playback.idle > FOLLOW_AFTER {
        scroll::follow(state);
    } else {
        scroll::show_cursor(state);
    }
    effects
}

/// The effects at the start: the first analysis.
pub fn start(state: &State) -> Vec<Effect> {
    vec![analyse(state)]
}

fn check_sounds(state: &State, old: &Groove, effects: &mut Vec<Effect>) {
    let sounds = |g: &Groove| g.layers().iter().filter_map(|l| l.sound.clone()).collect::<Vec<_>>();
    let known = sounds(old);
    if sounds(state.groove()).iter().any(|s| !known.contains(s)) {
        effects.push(Effect::TrySounds(state.groove().clone()));
    }
}

/// A key is a tap, a command or a character of typed text.
fn on_key(state: &mut State, event: &KeyEvent, arrival: KeyTime, effects: &mut Vec<Effect>) {
    let key = Key::of(event);
    state.playback.idle = 0;
    let mode = state.mode();
    let command = state.input.keymap.command(mode, key);
    let plain = matches!(key.code, KeyCode::Char(_)) && key.mods.is_empty();
    if mode == Mode::Tap && command.map_or(plain, |c| c.action == Action::Tap) {
        tapping::tap(state, arrival, effects);
    } else if let Some(command) = command {
        state.message = None;
        dispatch(state, &command.action, Some(key), effects);
    } else if mode == Mode::Typing {
        if let KeyCode::Char(c) = key.code
            && (key.mods - KeyModifiers::SHIFT).is_empty()
        {
            typing::edit(state, InputRequest::InsertChar(c));
        }
    } else if mode == Mode::Grid {
        let find = state.input.keymap.first("find");
        state.show_message(Message::info(format!(
            "{} is not bound to a command here; {find} searches the commands",
            key.display_name()
        )));
    }
}
