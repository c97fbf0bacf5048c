//! The recording under the groove: whether it can be heard, and how it is mixed with the groove.

use crate::jobs::play_request::LoopSpec;
use crate::jobs::{LoadedRecording, Onset, RecordingEvent, RecordingPlay, RecordingTone};
use crate::rhythm::{Anchor, Edit, GridPlace, Groove, Micros};
use crate::terminal::playback::playing::RemoteLink;
use crate::terminal::{State, replay};
use std::sync::Arc;

#[derive(Debug, Clone, Default)]
pub(crate) struct RecordingState {
    /// Percent that are decoded, while it is decoded.
    pub progress: Option<u8>,
    /// The last one that was decoded, which need not be that of the groove.
    loaded: Option<Arc<LoadedRecording>>,
    /// Its onsets, once they are found.
    onsets: Option<Arc<[Onset]>>,
    pub mix: RecordingMix,
}

/// What is heard of the groove and its recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum RecordingMix {
    Groove,
    #[default]
    Both,
    Recording,
}

impl State {
    /// The recording of the groove, if it is decoded.
    pub(crate) fn loaded_recording(&self) -> Option<&Arc<LoadedRecording>> {
        let file = &self.groove().recording()?.file;
        self.recording.loaded.as_ref().filter(|loaded| loaded.file == *file)
    }

    /// The onsets of the groove's recording, once they are found.
    pub(crate) fn onsets(&self) -> Option<&Arc<[Onset]>> {
        self.loaded_recording().and(self.recording.onsets.as_ref())
    }

    /// Whether the recording is in what plays.
    pub(crate) fn is_recording_heard(&self) -> bool {
        let is_open = self.loaded_recording().is_some()
            || (self.groove().recording().is_some() && self.recording.progress.is_some());
        is_open && self.recording.mix != RecordingMix::Groove && self.playback.remote != Some(RemoteLink::Connected)
    }

    /// The loop with the recording, if that is heard. Before there is an anchor the recording begins with the groove.
    pub(crate) fn with_recording(&self, mut spec: LoopSpec) -> LoopSpec {
        if !self.is_recording_heard() {
            return spec;
        }
        if !has_anchors(&spec.groove) {
            let anchor = Anchor { place: GridPlace::default(), at: Micros(0) };
            match spec.groove.edited(&Edit::SetAnchor(anchor)) {
                Ok(groove) => spec.groove = Arc::new(groove),
                Err(_) => return spec,
            }
        }
        spec.layers &= self.recording.mix == RecordingMix::Both;
        spec.recording = Some(RecordingPlay { pass: 0, db: 0.0, pan: 0, tone: RecordingTone::default() });
        spec
    }
}

fn has_anchors(groove: &Groove) -> bool {
    groove.recording().is_some_and(|r| r.anchors().iter().any(|a| groove.grid_time(a.place).is_some()))
}

/// Goes to the next mix: both, only the recording, only the groove.
pub(crate) fn next_mix(state: &mut State) {
    if state.groove().recording().is_none() {
        let key = state.key_or_name("recording");
        return state.warn(format!("the groove has no recording; {key} sets one"));
    }
    let (mix, name) = match state.recording.mix {
        RecordingMix::Both => (RecordingMix::Recording, "only the recording"),
        RecordingMix::Recording => (RecordingMix::Groove, "only the groove, at its written tempos"),
        RecordingMix::Groove => (RecordingMix::Both, "the groove and the recording"),
    };
    state.recording.mix = mix;
    if mix == RecordingMix::Groove || state.is_recording_heard() {
        state.info(format!("heard: {name}"));
    } else if state.playback.remote == Some(RemoteLink::Connected) {
        state.warn(format!("heard: {name}, but a recording does not play through a remote speaker"));
    } else {
        state.warn(format!("heard: {name}, but the recording cannot be read"));
    }
    replay(state);
}

pub(crate) fn on_event(state: &mut State, event: RecordingEvent) {
    let was_heard = state.is_recording_heard();
    match event {
        RecordingEvent::Decoding(percent) => {
            // It may have been removed meanwhile.
            state.recording.progress = state.groove().recording().map(|_| percent);
        }
        RecordingEvent::Loaded(loaded, warnings) => {
            (state.recording.progress, state.recording.loaded) = (None, Some(loaded));
            state.recording.onsets = None;
            if !warnings.is_empty() {
                state.warn(warnings.join("; "));
            } else if state.loaded_recording().is_some() && !has_anchors(state.groove()) {
                let key = state.key_or_name("anchor");
                state.info(format!("recording read; {key} says when the cursor's cell is heard in it"));
            }
        }
        RecordingEvent::Onsets(onsets) => state.recording.onsets = Some(onsets),
        RecordingEvent::Failed(why) => {
            (state.recording.progress, state.recording.loaded) = (None, None);
            state.warn(why);
        }
        RecordingEvent::Closed => (state.recording.progress, state.recording.loaded) = (None, None),
    }
    if state.is_recording_heard() != was_heard {
        replay(state);
    }
}
