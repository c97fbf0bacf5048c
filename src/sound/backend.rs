//! The audio output behind one interface: this machine's device or a remote speaker. A build without sound has only the latter.

#[cfg(feature = "audio")]
use super::Player;
use super::remote::RemotePlayer;
use super::{DeviceEvent, OutputError, Playhead, Position, SampleRate, Segment};
use std::time::Instant;

/// The output in use.
#[derive(Debug)]
#[allow(clippy::large_enum_variant, reason = "there is one, for as long as something may sound")]
pub(crate) enum AudioBackend {
    #[cfg(feature = "audio")]
    /// This machine's device.
    Local(Player),
    /// A remote speaker.
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
    /// The remote speaker is gone for good. Drop the backend; it may be opened again.
    Closed(OutputError),
}

macro_rules! either {
    ($self:ident, $output:ident => $what:expr) => {
        match $self {
            #[cfg(feature = "audio")]
            AudioBackend::Local($output) => $what,
            AudioBackend::Remote($output) => $what,
        }
    };
}

impl AudioBackend {
    /// Opens the output device that `output` names (see [`super::chosen`]), or the default one.
    ///
    /// # Errors
    /// [`OutputError`] if there is no such device, it cannot be used, or the program was built without sound.
    #[cfg_attr(not(feature = "audio"), allow(unused_variables))]
    pub(crate) fn local(output: Option<&str>) -> Result<Self, OutputError> {
        #[cfg(feature = "audio")]
        return Player::open_on(output).map(Self::Local);
        #[cfg(not(feature = "audio"))]
        Err(OutputError::without())
    }

    /// The device's sample rate, for which schedules must be built. It may change with [`DeviceEvent::ReopenedAtNewRate`].
    pub(crate) fn rate(&self) -> SampleRate {
        either!(self, o => o.rate())
    }

    /// Plays a segment from a position, or from its start, and returns its id.
    pub(crate) fn start(&mut self, segment: Segment, place: Option<Position>) -> u64 {
        either!(self, o => o.start(segment, place))
    }

    /// Appends a segment to the queue and returns its id. Call it only while [`Self::has_room`].
    pub(crate) fn queue(&mut self, segment: Segment) -> u64 {
        either!(self, o => o.queue(segment))
    }

    /// Plays a segment after the current pass instead of the queue, and returns its id.
    pub(crate) fn then(&mut self, segment: Segment) -> u64 {
        either!(self, o => o.then(segment))
    }

    /// Replaces the segment with this id without a gap.
    pub(crate) fn replace(&mut self, id: u64, segment: Segment) {
        either!(self, o => o.replace(id, segment));
    }

    /// Whether the queue has space for another segment.
    pub(crate) fn has_room(&mut self) -> bool {
        either!(self, o => o.has_room())
    }

    /// Whether the last segment has ended playback.
    pub(crate) fn has_ended(&mut self) -> bool {
        either!(self, o => o.has_ended())
    }

    /// Sets the master volume in dB. 0 is the level a new player has.
    pub(crate) fn set_volume(&mut self, db: f32) {
        either!(self, o => o.set_volume(db));
    }

    /// Stops; what still rings fades out within milliseconds.
    pub(crate) fn stop(&mut self) {
        either!(self, o => o.stop());
    }

    /// Stops, waits until what still rings has faded out (tens of milliseconds) and closes the output.
    pub(crate) fn end(self) {
        match self {
            #[cfg(feature = "audio")]
            AudioBackend::Local(player) => player.end(),
            // The speaker fades out by itself when the connection ends.
            AudioBackend::Remote(mut far) => far.stop(),
        }
    }

    /// The position that is heard now.
    pub(crate) fn playhead(&mut self) -> Option<Playhead> {
        either!(self, o => o.playhead())
    }

    /// The position that was heard at a recent instant.
    pub(crate) fn heard_at(&mut self, at: Instant) -> Option<Playhead> {
        either!(self, o => o.heard_at(at))
    }

    /// Uncertainty of the playhead in seconds: one device buffer, and for a remote speaker also the clock error.
    pub(crate) fn grain(&self) -> f64 {
        either!(self, o => o.grain())
    }

    /// Whether it is a remote speaker.
    pub(crate) fn is_remote(&self) -> bool {
        matches!(self, AudioBackend::Remote(_))
    }

    /// Checks the device or connection. Call it several times a second, also while nothing plays.
    pub(crate) fn tick(&mut self) -> Option<OutputEvent> {
        match self {
            #[cfg(feature = "audio")]
            AudioBackend::Local(player) => player.tick().map(OutputEvent::Device),
            AudioBackend::Remote(far) => far.tick(),
        }
    }
}
