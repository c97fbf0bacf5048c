//! Standard MIDI Files: a groove out (format 1) and a groove in (formats 0 and 1). It must not know paths or other formats.
//!
//! Out: a tempo and meter map, a track per layer, a track of clicks per chosen hearing, times through written out under a marker
//! with the section's name. Ticks per quarter are chosen so that every time is exact; where no resolution up to 32767 allows
//! that, each time is rounded once from the exact one and lies within half a tick.
//!
//! What a MIDI file cannot hold stands in text events that begin with `teeter` ([`own`]), so that our own import gets it back: the
//! terms of an additive meter, an exact tempo and its beat, swing, a layer's voice, own sound, division, gain, accent depth, pan, mute
//! and solo. An attack
//! without a pitch of its own has note-off velocity 0, others 64.
//!
//! What does not come back: how rests are divided (a beat of rests is written at the layer's division), which of several equally exact
//! tuplets was written, cycles (they come back written out), holds that hold nothing, the pitch of attacks whose voice sounds none,
//! the letters a pitch is written with (pitches are numbers: F#1 and Gb1 are one), and characters of names that a text event of one line cannot hold. Where a resolution had to be rounded, the smallest grid
//! within half a tick is taken.

mod read;
#[cfg(test)]
mod tests;
mod to_draft;

pub use to_draft::{import, import_with};

/// Most bytes of a MIDI file: 16 MiB.
pub const LIMIT: u64 = 16 * 1024 * 1024;
/// Most notes of a MIDI file.
pub const MAX_NOTES: usize = 200_000;
/// Tolerance of the import in ms, where none is asked for (ours, no source): well under what a listener hears as out of time, and
/// over what a step of 96 ticks per quarter rounds off.
pub const TOLERANCE_MS: i32 = 5;
