//! The recording under the groove: whether it can be heard, and how it is mixed with the groove.

pub(crate) mod tone;

use crate::jobs::play_request::LoopSpec;
use crate::jobs::{LoadedRecording, Onset, RecordingEvent, RecordingMix, RecordingSound};
use crate::rhythm::{AnchorMap, Groove};
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
    /// That of the groove.
    map: Option<AnchorMap>,
    pub sound: RecordingSound,
    /// The file that was identified last, and its fingerprint.
    fingerprint: Option<(String, String)>,
}

impl RecordingState {
    pub(crate) fn of(groove: &Groove) -> Self {
        Self { map: AnchorMap::of(groove), ..Self::default() }
    }

    /// Follows an edit.
    pub(crate) fn on_edit(&mut self, old: &Groove, new: &Groove) {
        let is_same = match (old.recording(), new.recording()) {
            (Some(old), Some(new)) => std::ptr::eq(old, new),
            (old, new) => old.is_none() && new.is_none(),
        };
        if !is_same || old.sections() != new.sections() {
            self.map = AnchorMap::of(new);
        }
    }
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

    /// The times of the groove in its recording; `None` before there is an anchor.
    pub(crate) fn anchor_map(&self) -> Option<&AnchorMap> {
        self.recording.map.as_ref()
    }

    /// Whether the recording is in what plays.
    pub(crate) fn is_recording_heard(&self) -> bool {
        let is_open = self.loaded_recording().is_some()
            || (self.groove().recording().is_some() && self.recording.progress.is_some());
        is_open && self.recording.sound.mix != RecordingMix::Groove
    }

    /// The loop with the recording, if that is heard. Before there is an anchor the groove begins at the mark of the lane, or with
    /// the recording. A loop of clicks alone has only the times of the recording.
    pub(crate) fn with_recording(&self, mut spec: LoopSpec) -> LoopSpec {
        let sound = self.recording.sound;
        let groove = self.anchored_at_mark(&spec.groove);
        if let (true, Some(groove), Some((play, layers))) =
            (self.is_recording_heard(), sound.groove(&groove), sound.play(spec.layers))
        {
            (spec.groove, spec.recording, spec.layers) = (groove, Some(play), layers);
        }
        spec
    }
}

/// Whether the groove has a recording; if not, shows a message.
pub(crate) fn require_recording(state: &mut State) -> bool {
    let has_recording = state.groove().recording().is_some();
    if !has_recording {
        let key = state.key_or_name("recording");
        state.warn(format!("the groove has no recording; {key} sets one"));
    }
    has_recording
}

fn has_anchors(groove: &Groove) -> bool {
    groove.recording().is_some_and(|r| r.anchors().iter().any(|a| groove.grid_time(a.place).is_some()))
}

/// Goes to the next mix: both, both side by side, only the recording, only the groove.
pub(crate) fn next_mix(state: &mut State) {
    if !require_recording(state) {
        return;
    }
    let (mix, name) = match state.recording.sound.mix {
        RecordingMix::Both => (RecordingMix::Split, "the groove on the left, the recording on the right"),
        RecordingMix::Split => (RecordingMix::Recording, "only the recording"),
        RecordingMix::Recording => (RecordingMix::Groove, "only the groove, at its written tempos"),
        RecordingMix::Groove => (RecordingMix::Both, "the groove and the recording"),
    };
    state.recording.sound.mix = mix;
    if mix == RecordingMix::Groove || state.is_recording_heard() {
        state.info(format!("heard: {name}"));
    } else {
        state.warn(format!("heard: {name}, but the recording cannot be read"));
    }
    replay(state);
}

/// Keeps what identifies the recording, which is saved with the groove, and warns if the anchors were set in another file.
fn on_identified(state: &mut State, fingerprint: String) {
    let Some(recording) = state.groove().recording() else { return };
    let file = recording.file.clone();
    if recording.fingerprint.as_ref().is_some_and(|known| *known != fingerprint) {
        state.warn(format!("{file} is not the file in which the anchors were set; they may be wrong"));
    }
    state.recording.fingerprint = Some((file, fingerprint));
}

/// Adds the fingerprint of the recording to the groove, before that is saved; says whether that changed it.
pub(crate) fn add_fingerprint(state: &mut State) -> bool {
    let Some((file, fingerprint)) = &state.recording.fingerprint else { return false };
    state.groove().recording().is_some_and(|r| r.file == *file) && state.session.set_fingerprint(fingerprint)
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
        RecordingEvent::Identified(fingerprint) => {
            on_identified(state, fingerprint);
            // Now it can be sent.
            if state.playback.remote == Some(RemoteLink::Connected) && was_heard {
                replay(state);
            }
        }
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
