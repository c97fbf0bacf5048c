//! Schedule (exact time to frames), voices, renderer and player of a groove. It must not know the session or the screen.
//!
//! File, editor and remote speaker run the same renderer and produce the same samples. The audio thread never locks, allocates,
//! frees or does I/O: it takes a schedule only if the ring that returns the old one has space. The render source is lent to the
//! device, so playback survives a lost device.

mod builder;
#[cfg(feature = "audio")]
mod channel;
mod click;
mod clock;
mod device;
mod limiter;
#[cfg(feature = "audio")]
mod output;
pub(crate) mod playback;
#[cfg(feature = "audio")]
mod player;
mod position;
#[cfg(feature = "audio")]
mod priority;
mod recording_clock;
pub mod remote;
mod render;
mod schedule;
#[cfg_attr(not(feature = "audio"), allow(dead_code, reason = "a file needs less of it than the player"))]
mod segment;
#[cfg(feature = "audio")]
pub(crate) mod stderr_guard;
pub(crate) mod take;
#[cfg(test)]
mod tests;
mod track;
mod units;
mod user_samples;
mod voice;
mod wav;

#[cfg(feature = "audio")]
pub use channel::render_channel;
#[cfg(test)]
use click::Moment;
pub(crate) use click::click_pan;
pub use click::{Click, ClickLine};
pub(crate) use device::{OutputDevice, find_device};
#[cfg(not(feature = "audio"))]
pub(crate) use device::{is_real_time_granted, outputs};
#[cfg(test)]
use limiter::LIMITER_CEILING;
#[cfg(feature = "audio")]
pub(crate) use output::outputs;
#[cfg(all(test, feature = "audio"))]
use player::fake::FakeDevice;
#[cfg(feature = "audio")]
use player::{DeviceEvent, Player};
#[cfg(feature = "audio")]
use position::Playhead;
pub(crate) use position::Position;
#[cfg(feature = "audio")]
pub(crate) use priority::is_real_time_granted;
pub use render::Renderer;
#[cfg(test)]
use render::{MIX_DB, RENDER_LATENCY};
pub use schedule::{Range, Schedule, ScheduleOptions};
pub use segment::Segment;
#[cfg(all(test, feature = "audio"))]
use stderr_guard::STDERR_LOCK;
pub use track::{Channels, FrameSource, FrameStream, Listening, RecordingPlay, RecordingTone};
#[cfg(test)]
use units::Gain;
pub use units::{Frame, SampleRate};
pub use user_samples::{UserSample, UserSamples};
use voice::CLICK_TONES;
pub(crate) use wav::{Length, render_wav};

/// Why there is no sound output, in one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutputError(String);

impl OutputError {
    /// Keeps only the first line of the reason.
    fn new(reason: &str) -> Self {
        Self(reason.lines().next().unwrap_or("no reason given").to_owned())
    }

    #[cfg(not(feature = "audio"))]
    fn without_audio() -> Self {
        Self::new("built without sound")
    }
}

impl std::fmt::Display for OutputError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "no sound: {}", self.0)
    }
}

impl std::error::Error for OutputError {}
