//! Stands in for the player where the program was built without sound. It must not know devices.

use super::NoSound;
use super::place::{Playhead, Position};
use super::relay::Leg;
use super::render::Keep;
use super::schedule::Schedule;
use super::units::{Frame, SampleRate};

/// What has become of the output device.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// It is lost.
    Lost(NoSound),
    /// It is back.
    Back,
    /// It is back, and needs a schedule for its rate, to be played from the place.
    BackAnew(Option<Position>),
}

/// An output device of this machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutputDevice {
    /// Its name.
    pub name: String,
    /// What the system calls it.
    pub id: String,
    /// Whether it is the one that sounds where none is chosen.
    pub default: bool,
}

/// Says that the program was built without sound.
///
/// # Errors
/// Always [`NoSound`].
pub fn outputs() -> Result<Vec<OutputDevice>, NoSound> {
    Err(NoSound::new("built without sound"))
}

/// Which of the devices a text means; none of none.
pub fn chosen(_: &str, _: &[OutputDevice]) -> Option<usize> {
    None
}

/// An output device; there is none.
#[derive(Debug)]
pub enum Player {}

impl Player {
    /// Says that the program was built without sound.
    ///
    /// # Errors
    /// Always [`NoSound`].
    pub fn open() -> Result<Self, NoSound> {
        Err(NoSound::new("built without sound"))
    }

    /// Says that the program was built without sound.
    ///
    /// # Errors
    /// Always [`NoSound`].
    pub fn open_on(_: Option<&str>) -> Result<Self, NoSound> {
        Self::open()
    }

    /// As of a device.
    pub fn rate(&self) -> SampleRate {
        match *self {}
    }

    /// As of a device.
    pub fn play(&mut self, _: Schedule) {
        match *self {}
    }

    /// As of a device.
    pub fn play_from(&mut self, _: Schedule, _: Position) {
        match *self {}
    }

    /// As of a device.
    pub fn start(&mut self, _: Leg, _: Option<Position>) -> u64 {
        match *self {}
    }

    /// As of a device.
    pub fn queue(&mut self, _: Leg) -> u64 {
        match *self {}
    }

    /// As of a device.
    pub fn then(&mut self, _: Leg) -> u64 {
        match *self {}
    }

    /// As of a device.
    pub fn replace(&mut self, _: u64, _: Leg, _: Keep) {
        match *self {}
    }

    /// As of a device.
    pub fn has_room(&mut self) -> bool {
        match *self {}
    }

    /// As of a device.
    pub fn has_ended(&mut self) -> bool {
        match *self {}
    }

    /// As of a device.
    pub fn swap(&mut self, _: Schedule, _: Keep) {
        match *self {}
    }

    /// As of a device.
    pub fn stop(&mut self) {
        match *self {}
    }

    /// As of a device.
    pub fn seek(&mut self, _: Position) {
        match *self {}
    }

    /// As of a device.
    pub fn set_gain(&mut self, _: f32) {
        match *self {}
    }

    /// As of a device.
    pub fn is_playing(&self) -> bool {
        match *self {}
    }

    /// As of a device.
    pub fn playhead(&mut self) -> Option<Playhead> {
        match *self {}
    }

    /// As of a device.
    pub fn heard_at(&mut self, _: std::time::Instant) -> Option<Playhead> {
        match *self {}
    }

    /// As of a device.
    pub fn grain(&self) -> f64 {
        match *self {}
    }

    /// As of a device.
    pub fn errors(&self) -> u64 {
        match *self {}
    }

    /// As of a device.
    pub fn ahead(&self) -> Frame {
        match *self {}
    }

    /// As of a device.
    pub fn is_measured(&self) -> bool {
        match *self {}
    }

    /// As of a device.
    pub fn tick(&mut self) -> Option<News> {
        match *self {}
    }
}
