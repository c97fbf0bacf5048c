//! Schedule (exact time to frames), voices, render and player of a groove. It must not know the session or the screen; on
//! the sound thread there is no lock, no allocation, no free and no I/O.
//!
//! File, editor and remote speaker run the same renderer and give the same samples. Segments follow each other at whole frames; what still
//! rings is not cut. The audio thread takes a schedule only if the ring that returns the old one has space. The render source is lent to
//! the device, so playback survives a lost device.

mod backend;
mod builder;
#[cfg(feature = "audio")]
mod channel;
mod click;
mod clock;
mod device;
mod limiter;
#[cfg(feature = "audio")]
mod output;
#[cfg(feature = "audio")]
mod player;
mod position;
pub mod remote;
mod render;
mod schedule;
#[cfg_attr(not(feature = "audio"), allow(dead_code, reason = "a file needs less of it than the player"))]
mod segment;
#[cfg(feature = "audio")]
pub mod stderr_guard;
pub mod take;
#[cfg(test)]
mod tests;
mod units;
mod user_samples;
mod voice;
mod wav;

pub use backend::{AudioBackend, OutputEvent};
#[cfg(feature = "audio")]
pub use channel::{RenderHandle, RenderSource, render_channel};
pub use click::{Click, ClickLine, Moment};
#[cfg(not(feature = "audio"))]
pub use device::outputs;
pub use device::{DeviceEvent, OutputDevice, chosen};
pub use limiter::LIMITER_CEILING;
#[cfg(feature = "audio")]
pub use output::outputs;
#[cfg(feature = "audio")]
pub use player::Player;
#[cfg(all(test, feature = "audio"))]
pub(crate) use player::fake::Fake;
pub use position::{Playhead, Position, PositionMap};
pub use render::{MAX_POLYPHONY, MIX_DB, RENDER_LATENCY, Renderer};
pub use schedule::{MAX_SPEED, MIN_SPEED, Range, Schedule, ScheduleOptions};
pub use segment::{MAX_QUEUED, Segment};
#[cfg(all(test, feature = "audio"))]
pub(crate) use stderr_guard::STDERR_LOCK;
pub use units::{Frame, Gain, SampleRate};
pub use user_samples::{UserSample, UserSamples};
pub use voice::CLICK_TONES;
pub use wav::{Length, OnBlock, Writer, offline, offline_with};

/// Why there is no sound, in one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutputError(String);

impl OutputError {
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

impl std::fmt::Display for OutputError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "no sound: {}", self.0)
    }
}

impl std::error::Error for OutputError {}
