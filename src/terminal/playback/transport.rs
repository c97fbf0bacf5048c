//! Starting and stopping, the speed, what is played round, and what becomes of the sound, as far as the state goes. It must not
//! know what sounds or on which device.

use crate::rhythm::bounds::Bound;
use crate::terminal::commands::Mode;
use crate::terminal::event::{Effect, Speaker};
use crate::terminal::overlay::Overlay;
use crate::terminal::playback::playing::{CLICK_VOLUME, LoopMode, RemoteSpeaker, SPEED, VOLUME};
use crate::terminal::playback::practice;
use crate::terminal::playback::request::Head;
use crate::terminal::state::{Message, State};

/// What is said where nothing can sound.
const NO_SOUND: &str = "no sound output (see `outputs`); exporting WAV files still works";

/// Plays, or stops.
pub(crate) fn toggle(state: &mut State, effects: &mut Vec<Effect>) {
    if state.play.on {
        stop(state, effects);
    } else {
        start(state, None, effects);
    }
}

/// Plays what is to be heard: the loop from a place on, or from its start.
pub(crate) fn start(state: &mut State, from: Option<Head>, effects: &mut Vec<Effect>) {
    if state.play.silent.is_some() {
        // The device may have come back.
        state.show_message(Message::warning(NO_SOUND));
    }
    state.play.on = true;
    effects.push(Effect::Play(Box::new(state.sounding()), from));
}

/// Plays from the bar of the cursor on.
pub(crate) fn start_here(state: &mut State, effects: &mut Vec<Effect>) {
    let at = state.session.cursor();
    let bar = state.groove().sections()[at.place.section].meter.bar();
    let number = at.column.ratio_to(bar).map_or(0, |r| r.floor().max(0));
    let wholes = number as f64 * bar.numer() as f64 / bar.denom() as f64;
    practice::leave(state, effects);
    start(state, Some(Head { section: at.place.section, pass: 0, wholes }), effects);
}

/// Stops whatever plays.
pub(crate) fn stop(state: &mut State, effects: &mut Vec<Effect>) {
    if state.play.on {
        ended(state, effects);
        effects.push(Effect::Stop);
    }
}

/// Nothing plays any more.
pub(crate) fn ended(state: &mut State, effects: &mut Vec<Effect>) {
    practice::leave(state, effects);
    (state.play.on, state.play.head) = (false, None);
}

/// What sounds is to be as the state says now.
pub(crate) fn replay(state: &State, effects: &mut Vec<Effect>) {
    if state.play.on {
        effects.push(Effect::Change(Box::new(state.sounding())));
    }
}

/// Sets the playing speed in percent.
pub(crate) fn speed(state: &mut State, percent: u16, effects: &mut Vec<Effect>) {
    if percent != state.play.percent {
        // A speed set by hand is the end of a ladder.
        practice::leave_ladder(state, effects);
        state.play.percent = percent;
        replay(state, effects);
    }
}

/// Plays so many percent of the written tempo faster.
pub(crate) fn speed_by(state: &mut State, by: i32, effects: &mut Vec<Effect>) {
    let percent = (i64::from(state.play.percent) + i64::from(by)).clamp(SPEED.least, SPEED.greatest);
    speed(state, percent as u16, effects);
}

/// Changes the master volume.
pub(crate) fn volume_by(state: &mut State, db: i8, effects: &mut Vec<Effect>) {
    let levels = &mut state.play.levels;
    levels.volume_db = changed(levels.volume_db, db, &VOLUME);
    let message = format!("volume {:+} dB", levels.volume_db);
    effects.push(Effect::SetLevels(*levels));
    state.show_message(Message::info(message));
}

/// Changes the volume of the clicks.
pub(crate) fn click_volume_by(state: &mut State, db: i8, effects: &mut Vec<Effect>) {
    let levels = &mut state.play.levels;
    levels.click_db = changed(levels.click_db, db, &CLICK_VOLUME);
    let message = format!("click volume {:+} dB", levels.click_db);
    effects.push(Effect::SetLevels(*levels));
    state.show_message(Message::info(message));
    replay(state, effects);
}

fn changed(db: f32, by: i8, bound: &Bound) -> f32 {
    (db + f32::from(by)).clamp(bound.least as f32, bound.greatest as f32)
}

/// Something else is played round: all, the section, the selection.
pub(crate) fn next_loop(state: &mut State, effects: &mut Vec<Effect>) {
    state.play.looped = match (state.play.looped, state.session.selection()) {
        (LoopMode::All, _) => LoopMode::Section,
        (LoopMode::Section, Some(_)) => LoopMode::Selection,
        _ => LoopMode::All,
    };
    let words = match state.play.looped {
        LoopMode::All => "loop: whole groove",
        LoopMode::Section => "loop: section at the cursor",
        LoopMode::Selection => "loop: selection",
    };
    state.show_message(Message::info(words));
    replay(state, effects);
}

/// Time has passed; this is where the groove is heard.
pub(crate) fn tick(state: &mut State, head: Option<Head>) {
    // While one taps to anything but the loop, the place is none of the groove.
    state.play.head = head.filter(|_| state.play.on && state.taps.follows_the_loop());
    state.play.idle = state.play.idle.saturating_add(1);
}

/// The device is there, or why not.
pub(crate) fn device(state: &mut State, there: Result<(), String>, effects: &mut Vec<Effect>) {
    match there {
        Ok(()) => sounds(state),
        Err(words) => silent(state, words, NO_SOUND, effects),
    }
}

fn sounds(state: &mut State) {
    (state.play.silent, state.play.read_only) = (None, false);
}

/// There is no sound: the reason is kept, one line says what goes on. The steps of a ladder stay to be read.
fn silent(state: &mut State, reason: String, told: &str, effects: &mut Vec<Effect>) {
    let climbed = practice::is_ladder(state);
    ended(state, effects);
    state.play.read_only |= climbed;
    state.show_message(Message::warning(if climbed { practice::TO_BE_READ } else { told }));
    state.play.silent = Some(reason);
}

/// The outputs there are, over nothing that is being typed or read, and why there is no sound if there is none.
pub(crate) fn outputs(state: &mut State, listed: Result<Vec<String>, String>) {
    let mut lines = match listed {
        Ok(devices) if devices.is_empty() => vec!["no output devices found".to_owned()],
        Ok(devices) => devices,
        Err(words) => vec![words],
    };
    if let Some(reason) = &state.play.silent {
        lines.insert(0, reason.clone());
        lines.insert(1, "Everything except playback works, including render-wav, takes-wav and ladder-wav.".to_owned());
    }
    if state.mode() == Mode::Grid {
        state.overlay = Overlay::Outputs(lines, 0);
    }
}

/// What has happened to a far speaker.
pub(crate) fn on_speaker(state: &mut State, speaker: Speaker, effects: &mut Vec<Effect>) {
    match speaker {
        Speaker::There(port) => {
            state.play.far = Some(RemoteSpeaker { lost: false });
            sounds(state);
            state.show_message(Message::info(format!("playing through the remote speaker on port {port}")));
            // What sounded here goes on there, a sequence from the take that was heard.
            if state.play.on {
                effects.push(Effect::Play(Box::new(state.sounding()), state.play.head));
            }
        }
        Speaker::Failed(words) => state.show_message(Message::warning(words)),
        Speaker::Lost(words) => {
            state.play.far = Some(RemoteSpeaker { lost: true });
            state.show_message(Message::warning(format!("remote speaker disconnected ({words}); reconnecting")));
        }
        Speaker::Back => {
            state.play.far = Some(RemoteSpeaker { lost: false });
            state.show_message(Message::info("remote speaker reconnected"));
        }
        Speaker::Gone(words) => {
            state.play.far = None;
            silent(state, words.clone(), &format!("{words}; everything except playback still works"), effects);
        }
        Speaker::Refused(words) => {
            ended(state, effects);
            state.show_message(Message::warning(format!("cannot play: {words}")));
        }
    }
}
