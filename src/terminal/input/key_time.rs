//! The arrival time of a key. It must not read a clock.

use std::time::Instant;

/// Arrival time of a key, if known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct KeyTime(Option<Instant>);

impl KeyTime {
    /// The time of a key that nobody pressed: of a test, or run from the list of commands.
    pub const UNKNOWN: KeyTime = KeyTime(None);

    pub(crate) fn at(instant: Instant) -> Self {
        Self(Some(instant))
    }

    pub(crate) fn instant(self) -> Option<Instant> {
        self.0
    }
}
