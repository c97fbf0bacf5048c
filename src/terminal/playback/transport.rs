//! Starting and stopping, speed, volumes and loop, and what happens to the output.

use crate::jobs::Position;
use crate::jobs::play_request::Start;
use crate::rhythm::bounds::Bound;
use crate::terminal::commands::Mode;
use crate::terminal::event::{Effect, RemoteEvent};
use crate::terminal::overlay::Overlay;
use crate::terminal::playback::playing::{CLICK_VOLUME, LoopMode, RemoteLink, SPEED, VOLUME};
use crate::terminal::playback::practice;
use crate::terminal::state::{Message, State};

const NO_SOUND: &str = "no sound output (see `outputs`); exporting WAV files still works";

pub(crate) fn toggle(state: &mut State, effects: &mut Vec<Effect>) {
    if state.playback.on {
        stop(state, effects);
    } else {
        start(state, None, effects);
    }
}

/// Plays the loop or the sequence from a position, or from its start.
pub(crate) fn start(state: &mut State, from: Option<Position>, effects: &mut Vec<Effect>) {
    if state.playback.no_sound.is_some() {
        // Try anyway: the device may be back.
        state.show_message(Message::warning(NO_SOUND));
    }
    state.playback.on = true;
    let start = from.map(|position| Start { position, passes: 0 });
    effects.push(Effect::Play(Box::new(state.play_request()), start));
}

/// Plays from the start of the cursor's bar.
pub(crate) fn start_at_cursor(state: &mut State, effects: &mut Vec<Effect>) {
    let at = state.session.cursor();
    let bar = state.groove().sections()[at.place.section].meter.bar();
    let number = at.column.ratio_to(bar).map_or(0, |r| r.floor().max(0));
    let wholes = number as f64 * bar.numer() as f64 / bar.denom() as f64;
    practice::leave(state, effects);
    start(state, Some(Position { section: at.place.section, pass: 0, wholes }), effects);
}

pub(crate) fn stop(state: &mut State, effects: &mut Vec<Effect>) {
    if state.playback.on {
        on_stopped(state, effects);
        effects.push(Effect::Stop);
    }
}

pub(crate) fn on_stopped(state: &mut State, effects: &mut Vec<Effect>) {
    practice::leave(state, effects);
    (state.playback.on, state.playback.position) = (false, None);
}

/// Sends the current play request to the player if it is playing.
pub(crate) fn replay(state: &State, effects: &mut Vec<Effect>) {
    if state.playback.on {
        effects.push(Effect::Change(Box::new(state.play_request())));
    }
}

/// Sets the speed in percent of the written tempo.
pub(crate) fn set_speed(state: &mut State, percent: u16, effects: &mut Vec<Effect>) {
    if percent != state.playback.percent {
        // A speed set by hand ends the ladder.
        practice::leave_ladder(state, effects);
        state.playback.percent = percent;
        replay(state, effects);
    }
}

pub(crate) fn speed_by(state: &mut State, by: i32, effects: &mut Vec<Effect>) {
    let percent = (i64::from(state.playback.percent) + i64::from(by)).clamp(SPEED.least, SPEED.greatest);
    set_speed(state, percent as u16, effects);
}

pub(crate) fn volume_by(state: &mut State, db: i8, effects: &mut Vec<Effect>) {
    let levels = &mut state.playback.levels;
    levels.volume_db = add_db(levels.volume_db, db, &VOLUME);
    let message = format!("volume {:+} dB", levels.volume_db);
    effects.push(Effect::SetLevels(*levels));
    state.show_message(Message::info(message));
}

pub(crate) fn click_volume_by(state: &mut State, db: i8, effects: &mut Vec<Effect>) {
    let levels = &mut state.playback.levels;
    levels.click_db = add_db(levels.click_db, db, &CLICK_VOLUME);
    let message = format!("click volume {:+} dB", levels.click_db);
    effects.push(Effect::SetLevels(*levels));
    state.show_message(Message::info(message));
    replay(state, effects);
}

fn add_db(db: f32, by: i8, bound: &Bound) -> f32 {
    (db + f32::from(by)).clamp(bound.least as f32, bound.greatest as f32)
}

/// Loops the whole groove, the section at the cursor or the selection, in this order.
pub(crate) fn next_loop_mode(state: &mut State, effects: &mut Vec<Effect>) {
    let (mode, text) = match (state.playback.loop_mode, state.session.selection()) {
        (LoopMode::All, _) => (LoopMode::Section, "loop: section at the cursor"),
        (LoopMode::Section, Some(_)) => (LoopMode::Selection, "loop: selection"),
        _ => (LoopMode::All, "loop: whole groove"),
    };
    state.playback.loop_mode = mode;
    state.show_message(Message::info(text));
    replay(state, effects);
}

pub(crate) fn on_tick(state: &mut State, position: Option<Position>) {
    // The clicks of a calibration have no position in the groove.
    state.playback.position = position.filter(|_| state.playback.on && !state.playback.taps.is_calibrating());
    state.playback.idle = state.playback.idle.saturating_add(1);
}

pub(crate) fn on_device(state: &mut State, result: Result<(), String>, effects: &mut Vec<Effect>) {
    match result {
        Ok(()) => on_sound(state),
        Err(reason) if state.playback.remote.is_some() => on_no_sound(state, reason.clone(), &reason, effects),
        Err(reason) => on_no_sound(state, reason, NO_SOUND, effects),
    }
}

fn on_sound(state: &mut State) {
    (state.playback.no_sound, state.playback.ladder_shown) = (None, false);
}

/// Stops and keeps the reason. The steps of a ladder stay visible.
fn on_no_sound(state: &mut State, reason: String, message: &str, effects: &mut Vec<Effect>) {
    let is_ladder = practice::is_ladder(state);
    on_stopped(state, effects);
    state.playback.ladder_shown |= is_ladder;
    state.show_message(Message::warning(if is_ladder { practice::NO_SOUND } else { message }));
    state.playback.no_sound = Some(reason);
}

/// Lists the output devices, unless another overlay is open, and the reason if there is no sound.
pub(crate) fn show_outputs(state: &mut State, listed: Result<Vec<String>, String>) {
    let mut lines = match listed {
        Ok(devices) if devices.is_empty() => vec!["no output devices found".to_owned()],
        Ok(devices) => devices,
        Err(reason) => vec![reason],
    };
    if let Some(reason) = &state.playback.no_sound {
        lines.insert(0, reason.clone());
        lines.insert(1, "Everything except playback works, including render-wav, takes-wav and ladder-wav.".to_owned());
    }
    if state.mode() == Mode::Grid {
        state.overlay = Overlay::Outputs(lines, 0);
    }
}

pub(crate) fn on_remote_event(state: &mut State, event: RemoteEvent, effects: &mut Vec<Effect>) {
    match event {
        RemoteEvent::Connected => {
            state.playback.remote = Some(RemoteLink::Connected);
            on_sound(state);
            state.show_message(Message::info("playing through the remote speaker"));
            if state.playback.on {
                let start = practice::place(state);
                effects.push(Effect::Play(Box::new(state.play_request()), start));
            }
        }
        RemoteEvent::Lost(reason) => {
            state.playback.remote = Some(RemoteLink::Lost);
            state.show_message(Message::warning(format!(
                "remote speaker lost ({reason}); on your own machine: teeter remote HOST --join"
            )));
        }
    }
}
