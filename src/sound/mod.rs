//! Schedule (exact time to frames), voices, render and player of a groove. It must not know the session or the screen; on
//! the sound thread there is no lock, no allocation, no free and no I/O.

mod click;
mod clock;
pub mod far;
#[cfg(feature = "audio")]
mod feed;
mod limiter;
#[cfg(not(feature = "audio"))]
mod no_player;
mod output;
mod place;
#[cfg(feature = "audio")]
mod player;
#[cfg(feature = "audio")]
pub mod quiet;
mod render;
mod schedule;
pub mod take;
#[cfg(test)]
mod tests;
mod units;
mod voice;
mod wav;

pub use click::{Click, ClickLine, Moment};
#[cfg(feature = "audio")]
pub use feed::{Feed, Hand, feed};
pub use limiter::CEILING;
#[cfg(not(feature = "audio"))]
pub use no_player::Player;
pub use output::Output;
pub use place::{Map, Playhead, Position};
#[cfg(feature = "audio")]
pub use player::Player;
pub use render::{Keep, LATENCY, MASTER_DB, Renderer, VOICES};
pub use schedule::{Ask, FASTEST, Range, SLOWEST, Schedule};
pub use units::{Frame, Gain, SampleRate};
pub use voice::TONES;
pub use wav::{Length, Writer, offline};

/// Why there is no sound, in one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoSound(String);

impl NoSound {
    /// A reason; only its first line is kept.
    pub(super) fn new(reason: &str) -> Self {
        Self(reason.lines().next().unwrap_or("no reason given").to_owned())
    }
}

impl std::fmt::Display for NoSound {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "no sound: {}", self.0)
    }
}

impl std::error::Error for NoSound {}
