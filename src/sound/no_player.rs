//! Stands in for the player where the program was built without sound. It must not know devices.

use super::NoSound;
use super::place::{Playhead, Position};
use super::relay::Leg;
use super::render::Keep;
use super::schedule::Schedule;
use super::units::SampleRate;

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
    ///
    /// # Errors
    /// As of a device.
    pub fn tick(&mut self) -> Result<(), NoSound> {
        match *self {}
    }
}
