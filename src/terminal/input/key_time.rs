//! The arrival time of a key. It must not read a clock.

/// `None` for a key that nobody pressed: of a test, or run from the list of commands.
pub type KeyTime = Option<std::time::Instant>;
