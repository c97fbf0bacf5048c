//! Playback, clicks, practice and tapping, as far as the state goes. It must not know the output device.

pub(crate) mod clicks;
pub(crate) mod playing;
pub(crate) mod practice;
pub(crate) mod request;
pub(crate) mod tapping;
pub(crate) mod transport;
