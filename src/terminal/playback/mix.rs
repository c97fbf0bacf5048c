//! What sounds in a take.

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Mix {
    pub layers: bool,
    /// The click of the written beat.
    pub beat: bool,
    /// The click of the hearing of the strip.
    pub hearing: bool,
}

impl Mix {
    pub(crate) const GROOVE: Self = Self { layers: true, beat: false, hearing: false };
    pub(crate) const GROOVE_AND_BEAT: Self = Self { layers: true, beat: true, hearing: false };
    pub(crate) const GROOVE_AND_HEARING: Self = Self { layers: true, beat: false, hearing: true };
    pub(crate) const PULSES: Self = Self { layers: false, beat: true, hearing: true };
    pub(crate) const ALL: Self = Self { layers: true, beat: true, hearing: true };
}
