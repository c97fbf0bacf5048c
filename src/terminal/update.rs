//! Applies an event to the state and returns the effects. It must not do I/O or read a clock.

use crate::jobs::play_request::PlaybackEvent;
use crate::rhythm::Groove;
use crate::terminal::dispatch::dispatch;
use crate::terminal::files::replacement::{on_opened, replace_by_pending};
use crate::terminal::files::{export, import, outside_sounds, recovery, save};
use crate::terminal::hearings::{self, AnalysisResult, analyse};
use crate::terminal::input::mouse;
use crate::terminal::playback::playing::LoopMode;
use crate::terminal::playback::{practice, tapping, tempo_taps, transport};
use crate::terminal::prompts::typing;
use crate::terminal::{
    Action, Effect, Event, Key, KeyTime, Mode, Overlay, State, commands, grid_search, recording, replay, scroll,
    variants,
};
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use std::sync::Arc;
use tui_input::InputRequest;

/// Ticks without a key after which the grid follows the playhead: about a second.
const FOLLOW_AFTER: u32 = 60;

/// Applies an event to the state.
pub fn update(state: &mut State, event: Event) -> Vec<Effect> {
    let (old_revision, old_document, old_cursor) = (state.revision(), state.session.document(), state.session.cursor());
    let (old_options, old_range, old_groove) = (state.analysis_options(), state.loop_range(), state.groove().clone());
    let (old_file, old_preview) = (state.file().map(str::to_owned), state.previewed().clone());
    let had_variants = state.overlay.variants().is_some();
    match event {
        Event::Key(key, arrival) if key.kind != KeyEventKind::Release => on_key(state, &key, arrival),
        Event::Outputs(listed) => transport::show_outputs(state, listed),
        Event::Pasted(text) => typing::paste(state, &text),
        Event::Mouse(event) => mouse::on_mouse(state, event),
        Event::Resize(width, height) => state.view.size = (width, height),
        Event::Background(background) => state.view.theme.background = background,
        Event::Playback(event) => on_playback(state, event),
        Event::OffsetSaved(Err(reason)) => {
            state.warn(format!("could not save the tap offset; it applies to this session only: {reason}"));
        }
        Event::Analysed { revision, options, report } => {
            let result = AnalysisResult { is_refined: report.is_refined(), revision, options, report };
            hearings::on_analysis(state, result);
        }
        Event::Saved { document, groove, result } => save::on_saved(state, (document, groove), result),
        Event::Key(..) | Event::OffsetSaved(Ok(())) => {}
        Event::Progress(Ok(text)) => practice::on_progress(state, text),
        Event::Remote(event) => transport::on_remote_event(state, event),
        Event::Recording(event) => recording::on_event(state, event),
        Event::GridFound(revision, result) => grid_search::on_found(state, revision, result),
        Event::Variants(answer) => variants::on_answer(state, answer),
        Event::OutsideSounds(paths) => outside_sounds::on_found(state, paths),
        Event::Progress(Err(text)) => state.warn(text),
        Event::JobProgress(percent) => export::on_progress(state, percent),
        Event::ExportDone(job, result) => export::on_done(state, job, result),
        Event::ImportDone(result) => import::on_done(state, result),
        Event::Opened(result) => on_opened(state, result),
        Event::Journal(result) => recovery::on_journal(state, result),
        Event::Suspend => state.effects.push(Effect::Suspend),
        Event::Resume => state.effects.push(Effect::Resume),
        Event::Signal => {
            practice::end_sequence(state);
            state.effects.push(Effect::Quit { keep_journal: true });
        }
    }
    replace_by_pending(state);
    // The whole groove is looped once the loop region is gone.
    if state.playback.loop_mode == LoopMode::Region && state.session.loop_region().is_none() {
        state.playback.loop_mode = LoopMode::All;
    }
    hearings::drop_stale_focus(state);
    variants::drop_stale(state);
    let edited = state.revision() != old_revision;
    if state.session.document() != old_document {
        state.playback.progress = None;
        state.effects.push(Effect::SwitchDocument(state.session.document()));
    }
    if had_variants && state.overlay.variants().is_none() {
        state.effects.push(Effect::Variants(None));
    }
    if edited {
        let groove = state.groove().clone();
        state.recording.on_edit(&old_groove, &groove);
        state.effects.push(Effect::Journal { document: state.session.document(), groove: state.groove().clone() });
        state.effects.push(analyse(state));
        replay(state);
        try_new_sounds(state, &old_groove);
    } else if state.analysis_options() != old_options {
        state.effects.push(analyse(state));
    }
    // In another folder other sound files lie outside.
    let names_sounds = |g: &Groove| g.recording().is_some() || g.layers().iter().any(|l| l.sound.is_some());
    if state.file() != old_file.as_deref() && names_sounds(state.groove()) {
        state.effects.push(Effect::TrySounds(state.groove().clone()));
    }
    // A move to another section, other marks of the loop region and another variant change the loop.
    if (state.loop_range() != old_range || !Arc::ptr_eq(state.previewed(), &old_preview))
        && !state.effects.iter().any(|e| matches!(e, Effect::Play(..) | Effect::Change(_)))
    {
        replay(state);
    }
    if state.overlay == Overlay::None
        && let Some(pending) = state.files.pending_overwrite.take()
    {
        state.overlay = Overlay::Confirm(pending);
    }
    // Its journal may go when that of this session has it.
    if let Some(id) = state.files.recovery.recovered_id.take() {
        state.effects.push(Effect::AdoptUnsaved(id, state.session.document()));
    }
    recovery::offer(state);
    outside_sounds::offer(state);
    if edited || state.session.cursor() != old_cursor {
        state.playback.idle_ticks = 0;
    }
    // The variants are shown where they are.
    if state.playback.is_playing && state.playback.idle_ticks > FOLLOW_AFTER && state.overlay.variants().is_none() {
        scroll::follow_playhead(state);
    } else {
        scroll::show_cursor(state);
    }
    std::mem::take(&mut state.effects)
}

fn on_playback(state: &mut State, event: PlaybackEvent) {
    match event {
        PlaybackEvent::Tick(position) => {
            // What plays instead of the groove has no position in it.
            let has_position = state.playback.is_playing && !state.playback.taps.has_other_loop();
            state.playback.position = position.filter(|_| has_position);
            state.playback.count_in_beat = None;
            state.playback.idle_ticks = state.playback.idle_ticks.saturating_add(1);
        }
        PlaybackEvent::CountIn(position) => {
            let beat = state.beats(position).filter(|_| state.playback.is_playing);
            state.playback.count_in_beat = beat.map(|beat| (beat + 1e-6).floor().max(0.0) as usize + 1);
            state.playback.position = None;
            state.playback.idle_ticks = state.playback.idle_ticks.saturating_add(1);
        }
        PlaybackEvent::Tapped(tap) => tapping::on_tap(state, tap),
        PlaybackEvent::Take(position) if practice::is_playing(state, position.sequence) => {
            practice::on_take(state, position);
        }
        PlaybackEvent::SequenceEnded(sequence) if practice::is_playing(state, sequence) => transport::on_stopped(state),
        // Events of a sequence that was left meanwhile.
        PlaybackEvent::Take(_) | PlaybackEvent::SequenceEnded(_) => {}
        PlaybackEvent::Device(result) => transport::on_device(state, result),
        PlaybackEvent::Warning(text) => state.warn(text),
        PlaybackEvent::Gaps(gaps) => state.playback.gaps = gaps,
    }
}

/// The effects at the start: the first analysis, and the recording is read.
pub fn start(state: &State) -> Vec<Effect> {
    let groove = state.groove();
    let open = groove.recording().map(|_| Effect::TrySounds(groove.clone()));
    std::iter::once(analyse(state)).chain(open).collect()
}

fn try_new_sounds(state: &mut State, old: &Groove) {
    let new = state.groove().clone();
    let sounds = |g: &Groove| g.layers().iter().filter_map(|l| l.sound.clone()).collect::<Vec<_>>();
    let known = sounds(old);
    let recording = |g: &Groove| g.recording().map(|r| r.file.clone());
    if recording(&new) != recording(old) || sounds(&new).iter().any(|s| !known.contains(s)) {
        state.effects.push(Effect::TrySounds(new));
    }
}

fn on_key(state: &mut State, event: &KeyEvent, arrival: KeyTime) {
    let key = Key::of(event);
    state.playback.idle_ticks = 0;
    let mode = state.mode();
    let command = state.input.keymap.command(mode, key);
    let plain = matches!(key.code, KeyCode::Char(_)) && key.mods.is_empty();
    let is_tap = matches!(mode, Mode::Tap | Mode::TapTempo);
    if is_tap && command.map_or(plain, |c| matches!(c.action, Action::Tap)) {
        tapping::tap(state, arrival);
        tempo_taps::tap(state, arrival);
    } else if let Some(command) = command {
        state.message = None;
        if matches!(mode, Mode::Menu(_)) && command.mode == Mode::Grid {
            state.overlay = Overlay::None;
        }
        dispatch(state, &command.action, Some(key));
    } else if mode == Mode::Typing {
        if let KeyCode::Char(c) = key.code
            && (key.mods - KeyModifiers::SHIFT).is_empty()
        {
            typing::edit(state, InputRequest::InsertChar(c));
        }
    } else if let Mode::Menu(menu) = mode {
        // The key of another menu opens that one.
        if let Some(Action::OpenMenu(other)) = state.input.keymap.command(Mode::Grid, key).map(|c| &c.action) {
            (state.overlay, state.message) = (Overlay::Menu(*other), None);
            return;
        }
        let opener = commands::opener(menu).map(|c| state.key(c.name)).unwrap_or_default();
        let (keys, close) = (format!("{opener} {}", key.display_name()), state.key("menu-close"));
        state.info(format!("{} is not bound to a command; {close} closes the menu", keys.trim_start()));
    } else if mode == Mode::Grid {
        let find = state.key("find");
        state.info(format!("{} is not bound to a command here; {find} searches the commands", key.display_name()));
    }
}
