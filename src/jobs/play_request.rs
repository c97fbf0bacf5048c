//! What the editor asks to be played, under the names of `sound`.

pub(crate) use crate::sound::playback::{
    HearingClicks, LoopSpec, PlayRequest, PlaybackEvent, ResumePoint, Sequence, SequencePosition, SequenceTake,
    TapPosition,
};

#[cfg(test)]
mod tests;
