//! Playback, clicks, practice and tapping, as far as the state goes.

pub(crate) mod clicks;
pub(crate) mod looping;
pub(crate) mod playing;
pub(crate) mod practice;
pub(crate) mod tapping;
pub(crate) mod tempo_taps;
pub(crate) mod transport;
