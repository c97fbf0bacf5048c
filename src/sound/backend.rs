//! The output in use behind one interface: a device of this machine or a remote speaker.

#[cfg(feature = "audio")]
use super::Player;
#[cfg(feature = "audio")]
use super::remote::Device;
use super::remote::RemotePlayer;
use super::{DeviceEvent, OutputError, Playhead, Position, SampleRate, Segment};
use std::time::Instant;

/// The output in use. A build without sound has only the remote one.
#[derive(Debug)]
#[allow(clippy::large_enum_variant, reason = "there is at most one")]
pub(crate) enum AudioBackend {
    #[cfg(feature = "audio")]
    Local(Player),
    Remote(RemotePlayer),
}

/// What happened to an output. Each event is reported once.
#[derive(Debug, Clone, PartialEq)]
pub enum OutputEvent {
    /// The device, or the connection to a remote one, is lost or back.
    Device(DeviceEvent),
    /// The remote speaker lacks data: send everything again, from this position.
    ResendAll(Playhead),
    /// The remote speaker rejected a segment, for this reason. Nothing plays now.
    Refused(String),
    /// The connection to the remote speaker has ended for good. Drop the backend; it may be opened again.
    Closed(OutputError),
}

/// Methods of both outputs; of a local one, those of the player itself or of its `handle()`.
macro_rules! delegate {
    ($($(#[$doc:meta])* fn $name:ident($($arg:ident: $type:ty),*) $(-> $out:ty)?, player $(.$handle:ident())?;)*) => {
        $($(#[$doc])*
        pub(crate) fn $name(&mut self $(, $arg: $type)*) $(-> $out)? {
            match self {
                #[cfg(feature = "audio")]
                Self::Local(player) => player$(.$handle())?.$name($($arg),*),
                Self::Remote(player) => player.$name($($arg),*),
            }
        })*
    };
}

impl AudioBackend {
    /// Opens the output device that `output` names (see [`super::find_device`]), or the default one.
    ///
    /// # Errors
    /// [`OutputError`] if there is no such device, it cannot be used, or the program was built without sound.
    #[cfg_attr(not(feature = "audio"), allow(unused_variables))]
    pub(crate) fn local(output: Option<&str>) -> Result<Self, OutputError> {
        #[cfg(feature = "audio")]
        return Player::open(output).map(Self::Local);
        #[cfg(not(feature = "audio"))]
        Err(OutputError::without_audio())
    }

    /// The sample rate for which schedules must be built. It may change with [`DeviceEvent::ReopenedAtNewRate`].
    pub(crate) fn rate(&self) -> SampleRate {
        match self {
            #[cfg(feature = "audio")]
            Self::Local(player) => player.rate(),
            Self::Remote(player) => player.rate(),
        }
    }

    delegate! {
        /// Plays a segment from a position, or from its start, instead of everything else, and returns its id. Ids ascend.
        fn start(segment: Segment, from: Option<Position>) -> u64, player;
        /// Appends a segment to the queue and returns its id. Call it only while [`Self::has_room`].
        fn queue(segment: Segment) -> u64, player.handle();
        /// Plays a segment after the current pass instead of the queue, and returns its id.
        fn switch_to(segment: Segment) -> u64, player.handle();
        /// Replaces the playing or queued segment with this id without a gap. One that has finished is ignored.
        fn replace(id: u64, segment: Segment), player.handle();
        /// Whether the queue has space for another segment.
        fn has_room() -> bool, player.handle();
        /// Whether the last segment has ended playback.
        fn has_ended() -> bool, player.handle();
        /// Stops; what still rings fades out within milliseconds.
        fn stop(), player;
        /// Sets the master volume in dB. 0 is the initial level.
        fn set_volume(db: f32), player;
        /// The position that is heard now.
        fn playhead() -> Option<Playhead>, player;
        /// The position that was heard at a recent instant.
        fn playhead_at(at: Instant) -> Option<Playhead>, player;
        /// Uncertainty of the playhead in seconds: one device buffer, and for a remote speaker also the clock error.
        fn playhead_error() -> f64, player;
    }

    /// Stops, waits until what still rings has faded out (tens of milliseconds) and closes the output.
    pub(crate) fn end(self) {
        match self {
            #[cfg(feature = "audio")]
            Self::Local(player) => player.end(),
            // The speaker fades out by itself when the connection ends.
            Self::Remote(mut player) => player.stop(),
        }
    }

    pub(crate) fn is_remote(&self) -> bool {
        matches!(self, Self::Remote(_))
    }

    /// Checks the device or connection. Call it several times a second, also while nothing plays.
    pub(crate) fn tick(&mut self) -> Option<OutputEvent> {
        match self {
            #[cfg(feature = "audio")]
            Self::Local(player) => player.tick().map(OutputEvent::Device),
            Self::Remote(player) => player.tick(),
        }
    }
}
