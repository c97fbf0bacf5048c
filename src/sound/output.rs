//! Where the sound comes out: this machine's device or a far speaker, with the same methods. It must not know how either
//! makes it sound.

use super::far::{Far, News};
use super::{Keep, NoSound, Player, Playhead, Position, SampleRate, Schedule};

/// One of the two.
#[derive(Debug)]
pub enum Output {
    /// This machine's device.
    Here(Player),
    /// Another machine's device.
    Far(Far),
}

macro_rules! either {
    ($self:ident, $output:ident => $what:expr) => {
        match $self {
            Output::Here($output) => $what,
            Output::Far($output) => $what,
        }
    };
}

impl Output {
    /// The device's frames per second; schedules are to be built for it.
    pub fn rate(&self) -> SampleRate {
        either!(self, o => o.rate())
    }

    /// Plays a schedule from its start.
    pub fn play(&mut self, schedule: Schedule) {
        either!(self, o => o.play(schedule));
    }

    /// Plays a schedule from a place in the groove; from its start if the place is not in it.
    pub fn play_from(&mut self, schedule: Schedule, place: Position) {
        either!(self, o => o.play_from(schedule, place));
    }

    /// Puts an edited schedule in the place of the one that plays, without a gap.
    pub fn swap(&mut self, schedule: Schedule, keep: Keep) {
        either!(self, o => o.swap(schedule, keep));
    }

    /// Stops; what rings fades within some milliseconds.
    pub fn stop(&mut self) {
        either!(self, o => o.stop());
    }

    /// Goes to a place of the loop.
    pub fn seek(&mut self, place: Position) {
        either!(self, o => o.seek(place));
    }

    /// Sets the gain of the mix in dB; 0 is the quiet level it starts with.
    pub fn set_gain(&mut self, db: f32) {
        either!(self, o => o.set_gain(db));
    }

    /// Whether playing was asked for.
    pub fn is_playing(&self) -> bool {
        either!(self, o => o.is_playing())
    }

    /// Where the groove is heard.
    pub fn playhead(&mut self) -> Option<Playhead> {
        either!(self, o => o.playhead())
    }

    /// What has happened to the line to a far speaker since it was last asked.
    pub fn news(&mut self) -> Option<News> {
        match self {
            Output::Here(_) => None,
            Output::Far(far) => far.news(),
        }
    }

    /// Whether it is to be looked after also while nothing plays.
    pub fn has_line(&self) -> bool {
        matches!(self, Output::Far(_))
    }

    /// Looks after the device or the line. To be called some times a second.
    ///
    /// # Errors
    /// [`NoSound`] if it is lost for good: it is to be dropped at once, and may be opened anew.
    pub fn tick(&mut self) -> Result<(), NoSound> {
        either!(self, o => o.tick())
    }
}
