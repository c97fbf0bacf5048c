//! When a key arrived, as a stamp that is only carried along. It must not read a clock.

use std::time::Instant;

/// When a key arrived, or that nobody knows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct KeyTime(Option<Instant>);

impl KeyTime {
    /// Of a key that came from no thread: a test's, or one that a command stands for.
    pub const UNKNOWN: KeyTime = KeyTime(None);

    /// A key that arrived at this instant.
    pub fn at(instant: Instant) -> Self {
        Self(Some(instant))
    }

    /// The instant, where it is known.
    pub(crate) fn instant(self) -> Option<Instant> {
        self.0
    }
}
