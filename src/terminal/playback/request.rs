//! What sounds and where it is heard, as values.

/// What sounds in a take.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Switches {
    /// The layers.
    pub layers: bool,
    /// The click of the written beat.
    pub beat: bool,
    /// The click of the hearing in the strip.
    pub hearing: bool,
}

/// Where the groove is heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Head {
    /// Section, from 0.
    pub section: usize,
    /// Time through, from 0.
    pub pass: usize,
    /// Whole notes from the section's start.
    pub wholes: f64,
}

/// What was heard at a certain instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heard {
    /// Section, from 0.
    pub section: usize,
    /// Time through, from 0.
    pub pass: usize,
    /// Whole notes from the section's start.
    pub wholes: f64,
    /// Turns of the loop completed since it was started.
    pub turns: u64,
    /// Length of a buffer of the sound device in ms: no instant is known better than to a part of it.
    pub grain_ms: f64,
}
