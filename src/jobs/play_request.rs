//! What the editor asks to be played, under the names of `sound`.

pub(crate) use crate::sound::playback::{
    HearingClicks, LoopSpec, PlayRequest, PlaybackEvent, Sequence, SequencePosition, SequenceTake, Start, TapPosition,
};

#[cfg(test)]
mod tests;
