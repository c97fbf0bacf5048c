//! The note-head shapes of voices without a clef.

use crate::rhythm::Voice;

/// The shape of a note-head.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum HeadShape {
    /// Round, as pitches have it.
    Round,
    /// A cross.
    Cross,
    /// A cross in a ring.
    RingedCross,
    /// A triangle on its base.
    Triangle,
    /// A diamond.
    Diamond,
}

impl HeadShape {
    /// The shape for a voice without pitch (common practice for cymbals, sticks and bells, no source).
    pub(super) fn of(voice: Voice) -> Self {
        match voice {
            Voice::Hat | Voice::Rim | Voice::Shaker => HeadShape::Cross,
            Voice::OpenHat => HeadShape::RingedCross,
            Voice::Wood => HeadShape::Triangle,
            Voice::Bell => HeadShape::Diamond,
            _ => HeadShape::Round,
        }
    }
}
