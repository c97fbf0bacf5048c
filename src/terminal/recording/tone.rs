//! Commands that change how the recording is heard: its channels, a band of its frequencies, its pitch and its level.

use crate::jobs::Channels;
use crate::terminal::recording::require_recording;
use crate::terminal::{State, replay};

/// An answer to one of the questions about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ToneChange {
    /// The lowest and the highest frequency in Hz; `None` for all.
    Band(Option<(u32, u32)>),
    Semitones(i8),
    LevelDb(i8),
}

/// Goes to the next selection of channels.
pub(crate) fn next_channels(state: &mut State) {
    if !require_recording(state) {
        return;
    }
    let tone = &mut state.recording.sound.tone;
    tone.channels = match tone.channels {
        Channels::Both => Channels::Left,
        Channels::Left => Channels::Right,
        Channels::Right => Channels::Middle,
        Channels::Middle => Channels::Side,
        Channels::Side => Channels::Both,
    };
    let channels = tone.channels;
    let is_mono = state.loaded_recording().is_some_and(|loaded| loaded.channels == 1);
    let words = match channels {
        Channels::Both => "both channels",
        Channels::Left => "the left channel",
        Channels::Right => "the right channel",
        Channels::Middle => "the middle, left and right added",
        Channels::Side if is_mono => "the side, which is silent because the file has one channel",
        Channels::Side => "the side, right subtracted from left",
    };
    report(state, words);
}

pub(crate) fn change(state: &mut State, change: ToneChange) {
    if !require_recording(state) {
        return;
    }
    let sound = &mut state.recording.sound;
    let words = match change {
        ToneChange::Band(band) => {
            sound.tone.band = band;
            match band {
                Some((low, high)) => format!("{low} to {high} Hz"),
                None => "all frequencies".to_owned(),
            }
        }
        ToneChange::Semitones(semitones) => {
            sound.tone.semitones = semitones;
            match semitones {
                0 => "at its own pitch".to_owned(),
                n => format!("transposed by {n:+} semitones"),
            }
        }
        ToneChange::LevelDb(db) => {
            sound.level_db = db;
            format!("level {db:+} dB")
        }
    };
    report(state, &words);
}

fn report(state: &mut State, words: &str) {
    if state.is_recording_heard() {
        state.info(format!("recording: {words}"));
    } else {
        state.info(format!("recording: {words}; it is not heard now"));
    }
    replay(state);
}
