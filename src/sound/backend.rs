//! Where the sound comes out: this machine's device or a far speaker, with the same methods; only the latter in a program that was
//! built without sound. It must not know how either makes it sound.

#[cfg(feature = "audio")]
use super::Player;
use super::remote::RemotePlayer;
use super::{DeviceEvent, OutputError, Playhead, Position, SampleRate, Segment};
use std::time::Instant;

/// One of the two.
#[derive(Debug)]
#[allow(clippy::large_enum_variant, reason = "there is one, for as long as something may sound")]
pub enum AudioBackend {
    /// This machine's device.
    #[cfg(feature = "audio")]
    Local(Player),
    /// Another machine's device.
    Remote(RemotePlayer),
}

/// What has happened to an output; each is told once.
#[derive(Debug, Clone, PartialEq)]
pub enum OutputEvent {
    /// The device, or the line to a far one, is lost or back.
    Device(DeviceEvent),
    /// A far speaker lacks something: what is played is to be sent anew, from this place.
    ResendAll(Playhead),
    /// A far speaker does not sound what it was sent: why. Nothing is played any more.
    Refused(String),
    /// A far speaker is gone for good: why. The output is to be dropped, and may be opened anew.
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
    /// Opens the output device of this machine that a text means (see [`super::chosen`]), or the default one.
    ///
    /// # Errors
    /// [`OutputError`] in one line if there is no such device or it cannot be used, or if the program was built without sound.
    #[cfg_attr(not(feature = "audio"), allow(unused_variables))]
    pub fn local(output: Option<&str>) -> Result<Self, OutputError> {
        #[cfg(feature = "audio")]
        return Player::open_on(output).map(Self::Local);
        #[cfg(not(feature = "audio"))]
        Err(OutputError::without())
    }

    /// The device's frames per second; schedules are to be built for it. It may be another one after [`DeviceEvent::ReopenedAtNewRate`].
    pub fn rate(&self) -> SampleRate {
        either!(self, o => o.rate())
    }

    /// Plays a segment from a place in the groove, or from its start. Gives its number.
    pub fn start(&mut self, segment: Segment, place: Option<Position>) -> u64 {
        either!(self, o => o.start(segment, place))
    }

    /// Lets a segment follow after all that wait, while there is room. Gives its number.
    pub fn queue(&mut self, segment: Segment) -> u64 {
        either!(self, o => o.queue(segment))
    }

    /// Lets a segment follow at the end of the time through that is played, instead of all that wait. Gives its number.
    pub fn then(&mut self, segment: Segment) -> u64 {
        either!(self, o => o.then(segment))
    }

    /// Puts an edited segment in the place of the one of this number, without a gap.
    pub fn replace(&mut self, id: u64, segment: Segment) {
        either!(self, o => o.replace(id, segment));
    }

    /// Whether one more segment may wait.
    pub fn has_room(&mut self) -> bool {
        either!(self, o => o.has_room())
    }

    /// Whether the last segment ended the playing.
    pub fn has_ended(&mut self) -> bool {
        either!(self, o => o.has_ended())
    }

    /// Sets the master volume in dB; 0 is the level a player starts with.
    pub fn set_volume(&mut self, db: f32) {
        either!(self, o => o.set_volume(db));
    }

    /// Stops; what rings fades within some milliseconds.
    pub fn stop(&mut self) {
        either!(self, o => o.stop());
    }

    /// Stops, and ends when what rings has faded: within some tens of milliseconds.
    pub fn end(self) {
        match self {
            #[cfg(feature = "audio")]
            AudioBackend::Local(player) => player.end(),
            // The speaker fades by itself when the line ends.
            AudioBackend::Remote(mut far) => far.stop(),
        }
    }

    /// Where the groove is heard.
    pub fn playhead(&mut self) -> Option<Playhead> {
        either!(self, o => o.playhead())
    }

    /// Where the groove was heard at an instant of a short while ago.
    pub fn heard_at(&mut self, at: Instant) -> Option<Playhead> {
        either!(self, o => o.heard_at(at))
    }

    /// Seconds to which the place heard is known: one of the device's buffers, and of a far one the error of the clocks too.
    pub fn grain(&self) -> f64 {
        either!(self, o => o.grain())
    }

    /// Whether it is a far speaker.
    pub fn is_remote(&self) -> bool {
        matches!(self, AudioBackend::Remote(_))
    }

    /// Looks after the device or the line. To be called some times a second, also while nothing plays.
    pub fn tick(&mut self) -> Option<OutputEvent> {
        match self {
            #[cfg(feature = "audio")]
            AudioBackend::Local(player) => player.tick().map(OutputEvent::Device),
            AudioBackend::Remote(far) => far.tick(),
        }
    }
}
