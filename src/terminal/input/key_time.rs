//! The arrival time of a key. It must not read a clock.

use std::time::Instant;

/// Arrival time of a key, if known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct KeyTime(Option<Instant>);

impl KeyTime {
    /// Of a test's key, or of a key that stands for a command.
    pub const UNKNOWN: KeyTime = KeyTime(None);

    pub(crate) fn at(instant: Instant) -> Self {
        Self(Some(instant))
    }

    pub(crate) fn instant(self) -> Option<Instant> {
        self.0
    }
}
