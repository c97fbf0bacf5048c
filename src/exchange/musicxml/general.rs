//! The note-heads of voices that stand on one line. It must not know notes or files.

use crate::rhythm::Voice;

/// The head of a voice's notes, by the names of the format.
pub(super) fn head(voice: Voice) -> &'static str {
    match voice {
        Voice::Hat | Voice::Rim | Voice::Shaker => "x",
        Voice::OpenHat => "circle-x",
        Voice::Wood => "triangle",
        Voice::Bell => "diamond",
        _ => "normal",
    }
}
