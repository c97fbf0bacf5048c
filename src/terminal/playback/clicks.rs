//! Switches layers, written beat and hearings on and off, and changes how the pulses click.

use crate::jobs::{Click, HearingKey, RecordingMix};
use crate::terminal::lists::selected_item;
use crate::terminal::playback::playing::Mix;
use crate::terminal::playback::practice;
use crate::terminal::playback::transport::start;
use crate::terminal::view::Item;
use crate::terminal::{State, hearings, replay};

pub(crate) fn toggle_beat(state: &mut State) {
    practice::end_takes(state);
    state.playback.mix.beat = !state.playback.mix.beat;
    replay(state);
}

/// Toggles the click of the strip's hearing; the full view selects its highlighted hearing first.
pub(crate) fn toggle_hearing(state: &mut State) {
    if let Some(Item::Hearing(hearing)) = selected_item(state) {
        hearings::select(state, hearing);
    }
    if !state.playback.mix.hearing && !hearings::require_hearing(state) {
        return;
    }
    practice::end_takes(state);
    state.playback.mix.hearing = !state.playback.mix.hearing;
    replay(state);
}

/// Toggles the click of the highlighted hearing, in addition to that of the strip.
pub(crate) fn toggle_extra_hearing(state: &mut State) {
    let Some(Item::Hearing(index)) = selected_item(state) else {
        return state.info("select a hearing: only hearings can have a click");
    };
    let clicked = state.clicked_hearings(false);
    let added = !clicked.contains(&index);
    let new = clicked.into_iter().filter(|i| *i != index).chain(added.then_some(index));
    let key = |i: usize| state.report()?.0.hearings.get(i).map(HearingKey::of);
    state.hearings.extra = new.filter_map(key).collect();
    let text = format!("hearing {}: click {}", index + 1, if added { "on" } else { "off" });
    state.info(text);
    replay(state);
}

/// The click after this one, in a cycle. Only the written beat has strong beats.
fn next_click(click: Click, has_strong: bool) -> Click {
    match click {
        Click::Off | Click::Divided(4..) => Click::Written,
        Click::Written if has_strong => Click::Strong,
        Click::Written | Click::Strong => Click::OffBeat,
        Click::OffBeat => Click::Divided(2),
        Click::Divided(n) => Click::Divided(n + 1),
    }
}

/// The suffix of a pulse's name; empty for plain clicks.
fn suffix(click: Click) -> String {
    match click {
        Click::Off | Click::Written => String::new(),
        Click::Strong => "/strong".into(),
        Click::OffBeat => "/off".into(),
        Click::Divided(n) => format!("/{n}"),
    }
}

pub(crate) fn next_beat_click(state: &mut State) {
    state.playback.beat_click = next_click(state.playback.beat_click, true);
    on_click(state, "the written beat", state.playback.beat_click, state.playback.mix.beat);
}

pub(crate) fn next_hearing_click(state: &mut State) {
    state.playback.hearing_click = next_click(state.playback.hearing_click, false);
    let on = state.playback.mix.hearing || !state.hearings.extra.is_empty();
    on_click(state, "hearings", state.playback.hearing_click, on);
}

fn on_click(state: &mut State, pulse: &str, click: Click, on: bool) {
    let how = match click {
        Click::Off | Click::Written => "click once per pulse".to_owned(),
        Click::Strong => "click on strong beats only".to_owned(),
        Click::OffBeat => "click off-beat only".to_owned(),
        Click::Divided(n) => format!("{n} clicks per pulse"),
    };
    let off = if on { "" } else { " (the click is off)" };
    state.info(format!("{pulse}: {how}{off}"));
    replay(state);
}

/// Plays a take from the current position, or from the start if nothing plays.
pub(crate) fn play_take(state: &mut State, mix: Mix) {
    if mix.hearing && !hearings::require_hearing(state) {
        return;
    }
    practice::end_sequence(state);
    state.playback.mix = mix;
    if !mix.hearing {
        state.hearings.extra.clear();
    }
    if state.playback.is_playing {
        replay(state);
    } else {
        start(state, None);
    }
}

/// The name of what sounds: `groove + beat`, `beat + hearing only`.
pub(crate) fn mix_name(state: &State) -> String {
    let playback = &state.playback;
    let clicked = state.clicked_hearings(playback.mix.hearing).len();
    let mix = practice::take_mix(state).unwrap_or(Mix { hearing: clicked > 0, ..playback.mix });
    let count = if clicked > 1 { format!(" x{clicked}") } else { String::new() };
    let recording = mix.layers && state.is_recording_heard();
    let layers = mix.layers && !(recording && state.recording.sound.mix == RecordingMix::Recording);
    let (left, right) = match state.recording.sound.mix {
        RecordingMix::Split if recording => (" left", " right"),
        _ => ("", ""),
    };
    let sound = state.recording.sound.words();
    let sound = if sound.is_empty() { sound } else { format!(" ({sound})") };
    let sounds = [
        layers.then(|| format!("groove{left}")),
        recording.then(|| format!("recording{right}{sound}")),
        mix.beat.then(|| format!("beat{}", suffix(playback.beat_click))),
        mix.hearing.then(|| format!("hearing{}{count}", suffix(playback.hearing_click))),
    ];
    let sounds = sounds.into_iter().flatten().collect::<Vec<_>>().join(" + ");
    match layers || recording {
        true => sounds,
        false if sounds.is_empty() => "nothing".to_owned(),
        false => sounds + " only",
    }
}
