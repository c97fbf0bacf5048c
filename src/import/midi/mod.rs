//! Imports Standard MIDI Files of formats 0 and 1.
//!
//! A file that this program exported gives the same groove, except for: the division of rests, which of several equally exact tuplets
//! was written, cycles (they come back written out), holds that hold nothing, the pitch of attacks whose voice has none, the spelling
//! of pitches, and characters of names that do not fit a one-line text event. If times had to be rounded to ticks, the smallest grid
//! within half a tick is used.

mod flams;
mod read;
mod tempos;
#[cfg(test)]
mod tests;
mod to_draft;
mod tracks;

pub use to_draft::import;
pub(crate) use to_draft::import_with_tolerance;

/// Most bytes of a MIDI file: 16 MiB.
pub(crate) const MAX_BYTES: u64 = 16 * 1024 * 1024;
/// Most notes of a MIDI file.
pub(crate) const MAX_NOTES: usize = 200_000;
/// Default tolerance in ms (ours, no source): well under what a listener hears as out of time, and more than a step of 96 ticks per
/// quarter rounds off.
pub(crate) const TOLERANCE_MS: i32 = 5;
