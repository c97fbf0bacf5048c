//! Starting and stopping, speed and volumes, and what happens to the output.

use crate::jobs::Position;
use crate::jobs::play_request::ResumePoint;
use crate::rhythm::bounds::Bound;
use crate::terminal::event::RemoteEvent;
use crate::terminal::playback::playing::{CLICK_VOLUME, RemoteLink, SPEED, VOLUME};
use crate::terminal::playback::practice;
use crate::terminal::transcription::listening;
use crate::terminal::{Effect, Mode, Overlay, State};

pub(crate) fn toggle_playback(state: &mut State) {
    if state.playback.is_playing {
        stop(state);
    } else {
        start(state, None);
    }
}

fn no_sound(state: &State) -> String {
    let [outputs, wav] = ["outputs", "render-wav"].map(|name| state.key_or_name(name));
    format!("no sound output ({outputs} tells why); exporting WAV files still works ({wav})")
}

/// Plays the loop or the sequence from a position, or from its start.
pub(crate) fn start(state: &mut State, from: Option<Position>) {
    if state.playback.no_sound_reason.is_some() {
        // Try anyway: the device may be back.
        state.warn(no_sound(state));
    }
    state.playback.is_playing = true;
    let start = from.map(|position| ResumePoint { position, passes: 0 });
    let request = Box::new(state.start_request());
    state.effects.push(Effect::Play(request, start));
}

/// Plays from the start of the cursor's bar.
pub(crate) fn start_at_cursor(state: &mut State) {
    let at = state.session.cursor();
    let bar = state.groove().sections()[at.place.section].meter.bar();
    let number = at.column.ratio_to(bar).map_or(0, |r| r.floor().max(0));
    let wholes = number as f64 * bar.numer() as f64 / bar.denom() as f64;
    practice::end_sequence(state);
    start(state, Some(Position { section: at.place.section, pass: 0, wholes }));
}

pub(crate) fn stop(state: &mut State) {
    if state.playback.is_playing {
        on_stopped(state);
        state.effects.push(Effect::Stop);
    }
}

pub(crate) fn on_stopped(state: &mut State) {
    practice::end_sequence(state);
    state.playback.is_playing = false;
    (state.playback.position, state.playback.count_in_beat) = (None, None);
    listening::restore(state);
}

/// Sends the current play request to the player if it is playing.
pub(crate) fn replay(state: &mut State) {
    if state.playback.is_playing {
        let request = Box::new(state.play_request());
        state.effects.push(Effect::Change(request));
    }
}

/// Sets the speed in percent of the written tempo.
pub(crate) fn set_speed(state: &mut State, percent: u16) {
    if percent != state.playback.speed_percent {
        // A speed set by hand ends the ladder.
        practice::end_ladder(state);
        state.playback.speed_percent = percent;
        replay(state);
    }
}

pub(crate) fn speed_by(state: &mut State, by: i32) {
    let percent = (i64::from(state.playback.speed_percent) + i64::from(by)).clamp(SPEED.least, SPEED.greatest);
    set_speed(state, percent as u16);
}

pub(crate) fn volume_by(state: &mut State, db: i8) {
    let volume = state.playback.sound.volume_db;
    state.playback.sound.volume_db = add_db(volume, db, &VOLUME);
    on_settings(state, format!("volume {:+} dB", state.playback.sound.volume_db));
}

pub(crate) fn click_volume_by(state: &mut State, db: i8) {
    let volume = state.playback.sound.click_db;
    state.playback.sound.click_db = add_db(volume, db, &CLICK_VOLUME);
    on_settings(state, format!("click volume {:+} dB", state.playback.sound.click_db));
    replay(state);
}

pub(crate) fn toggle_count_in(state: &mut State) {
    let sound = &mut state.playback.sound;
    sound.count_in = !sound.count_in;
    let text = if sound.count_in { "count-in before whatever is started" } else { "no count-in" };
    on_settings(state, text.to_owned());
}

pub(crate) fn next_click_sound(state: &mut State) {
    let sound = state.playback.sound.click_sound.next();
    state.playback.sound.click_sound = sound;
    on_settings(state, format!("click sound {sound}: {}", sound.description()));
    replay(state);
}

fn on_settings(state: &mut State, message: String) {
    state.effects.push(Effect::SetSound(state.playback.sound));
    state.info(message);
}

fn add_db(db: f64, by: i8, bound: &Bound) -> f64 {
    (db + f64::from(by)).clamp(bound.least as f64, bound.greatest as f64)
}

/// Notes that there is sound, or stops and keeps the reason why not. The steps of a ladder stay visible.
pub(crate) fn on_device(state: &mut State, result: Result<(), String>) {
    let Err(reason) = result else { return on_sound(state) };
    let is_ladder = practice::is_ladder(state);
    on_stopped(state);
    state.playback.ladder_shown |= is_ladder;
    let is_remote = state.playback.remote.is_some();
    state.warn(match (is_ladder, is_remote) {
        (true, _) => practice::no_sound(state),
        (false, true) => reason.clone(),
        (false, false) => no_sound(state),
    });
    state.playback.no_sound_reason = Some(reason);
}

fn on_sound(state: &mut State) {
    (state.playback.no_sound_reason, state.playback.ladder_shown, state.playback.gaps) = (None, false, 0);
}

/// Lists the output devices, unless another overlay is open, and the reason if there is no sound.
pub(crate) fn show_outputs(state: &mut State, listed: Result<Vec<String>, String>) {
    let mut lines = match listed {
        Ok(devices) if devices.is_empty() => vec!["no output devices found".to_owned()],
        Ok(devices) => devices,
        Err(reason) => vec![reason],
    };
    if let Some(reason) = &state.playback.no_sound_reason {
        lines.insert(0, reason.clone());
        let [wav, takes, ladder] = ["render-wav", "takes-wav", "ladder-wav"].map(|name| state.key_or_name(name));
        let text = format!("Everything else works, WAV files too: {wav}, takes {takes}, ladder {ladder}.");
        lines.insert(1, text);
    }
    if state.mode() == Mode::Grid {
        state.overlay = Overlay::Outputs(lines, 0);
    }
}

pub(crate) fn on_remote_event(state: &mut State, event: RemoteEvent) {
    match event {
        RemoteEvent::Connected => {
            state.playback.remote = Some(RemoteLink::Connected);
            on_sound(state);
            state.info("playing through the remote speaker");
            if state.playback.is_playing {
                let start = practice::resume_position(state);
                let request = Box::new(if start.is_some() { state.play_request() } else { state.start_request() });
                state.effects.push(Effect::Play(request, start));
            }
        }
        RemoteEvent::Lost(reason) => {
            state.playback.remote = Some(RemoteLink::Lost);
            state.warn(format!("remote speaker lost ({reason}); run `teeter remote HOST --join` on your own machine"));
        }
    }
}
