//! The note-head shapes of voices without a clef.

use crate::rhythm::Voice;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum HeadShape {
    Round,
    Cross,
    RingedCross,
    Triangle,
    Diamond,
}

impl HeadShape {
    /// The shape for a voice without pitch, by common practice for cymbals, sticks and bells (no source).
    pub(super) fn for_voice(voice: Voice) -> Self {
        match voice {
            Voice::Hat | Voice::Rim | Voice::Shaker => HeadShape::Cross,
            Voice::OpenHat => HeadShape::RingedCross,
            Voice::Wood => HeadShape::Triangle,
            Voice::Bell => HeadShape::Diamond,
            _ => HeadShape::Round,
        }
    }
}
