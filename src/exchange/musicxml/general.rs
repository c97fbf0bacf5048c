//! Voices as instruments of other programs: General MIDI keys and programs, note-heads. It must not know notes or files.

use crate::rhythm::Voice;

/// A voice as others know it.
pub(super) struct Instrument {
    /// The voice.
    pub(super) voice: Voice,
    /// Percussion key of channel 10 (General MIDI 1), from 0.
    pub(super) key: u8,
    /// Program of a pitched channel (General MIDI 1), from 1; 0 for none.
    pub(super) program: u8,
    /// The head of its notes on a line.
    pub(super) head: &'static str,
}

/// One row per voice.
pub(super) const INSTRUMENTS: &[Instrument] = &[
    row(Voice::Kick, 36, 0, "normal"),
    row(Voice::Snare, 38, 0, "normal"),
    row(Voice::Hat, 42, 0, "x"),
    row(Voice::OpenHat, 46, 0, "circle-x"),
    row(Voice::Rim, 37, 0, "x"),
    row(Voice::Clap, 39, 0, "normal"),
    row(Voice::Tom, 45, 118, "normal"),
    row(Voice::Wood, 76, 0, "triangle"),
    row(Voice::Bell, 53, 15, "diamond"),
    row(Voice::Shaker, 70, 0, "x"),
    row(Voice::Bass, 35, 34, "normal"),
    row(Voice::Pluck, 67, 25, "normal"),
];

const fn row(voice: Voice, key: u8, program: u8, head: &'static str) -> Instrument {
    Instrument { voice, key, program, head }
}

/// The row of a voice.
pub(super) fn instrument(voice: Voice) -> &'static Instrument {
    INSTRUMENTS.iter().find(|i| i.voice == voice).unwrap_or(&INSTRUMENTS[0])
}
