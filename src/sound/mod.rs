//! Schedule (exact time to frames), voices, render and player of a groove. It must not know the session or the screen; on
//! the sound thread there is no lock, no allocation, no free and no I/O.

#[cfg(feature = "audio")]
mod board;
mod builder;
mod click;
mod clock;
mod device;
mod either;
pub mod far;
#[cfg(feature = "audio")]
mod feed;
mod limiter;
#[cfg(feature = "audio")]
mod output;
mod own;
mod place;
#[cfg(feature = "audio")]
mod player;
#[cfg(feature = "audio")]
pub mod quiet;
#[cfg_attr(not(feature = "audio"), allow(dead_code, reason = "a file needs less of it than the player"))]
mod relay;
mod render;
mod schedule;
pub mod take;
#[cfg(test)]
mod tests;
mod units;
mod voice;
mod wav;

pub use click::{Click, ClickLine, Moment};
#[cfg(not(feature = "audio"))]
pub use device::outputs;
pub use device::{News, OutputDevice, chosen};
pub use either::{Happening, Output};
#[cfg(feature = "audio")]
pub use feed::{Feed, Hand, feed};
pub use limiter::CEILING;
#[cfg(feature = "audio")]
pub use output::outputs;
pub use own::{OwnSound, OwnSounds};
pub use place::{Map, Playhead, Position};
#[cfg(feature = "audio")]
pub use player::Player;
#[cfg(all(test, feature = "audio"))]
pub(crate) use player::fake::Fake;
#[cfg(all(test, feature = "audio"))]
pub(crate) use quiet::ALONE;
pub use relay::{Leg, WAITING};
pub use render::{Keep, LATENCY, MASTER_DB, Renderer, VOICES};
pub use schedule::{Ask, FASTEST, Range, SLOWEST, Schedule};
pub use units::{Frame, Gain, SampleRate};
pub use voice::TONES;
pub use wav::{Length, OnBlock, Writer, offline, offline_with};

/// Why there is no sound, in one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoSound(String);

impl NoSound {
    /// The reason.
    pub fn reason(&self) -> &str {
        &self.0
    }

    /// A reason; only its first line is kept.
    pub(super) fn new(reason: &str) -> Self {
        Self(reason.lines().next().unwrap_or("no reason given").to_owned())
    }

    /// The reason of a program that was built without sound.
    #[cfg(not(feature = "audio"))]
    pub(super) fn without() -> Self {
        Self::new("built without sound")
    }
}

impl std::fmt::Display for NoSound {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "no sound: {}", self.0)
    }
}

impl std::error::Error for NoSound {}
