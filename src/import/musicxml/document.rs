//! A score's parts, measures and notes at exact times, before repeats are unfolded.

use crate::notation::SwungValue;
use crate::rhythm::{Accent, Meter, Tempo, Time};

#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ScoreDocument {
    pub title: String,
    pub note: String,
    /// The same for all parts.
    pub measures: Vec<Measure>,
    pub parts: Vec<Part>,
}

#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Measure {
    /// As printed.
    pub number: String,
    /// The meter in force; `None` for music without one.
    pub meter: Option<Meter>,
    /// That of the meter's bar if there is no content.
    pub length: Time,
    /// Begins here.
    pub tempo: Option<Tempo>,
    pub rehearsal_mark: Option<String>,
    pub repeat_start: bool,
    /// How often the repeat that ends here is played in all.
    pub repeat_count: Option<usize>,
    /// The passes in which the measure is played, if it is under an ending.
    pub endings: Vec<usize>,
}

#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Part {
    pub name: String,
    pub instruments: Vec<Instrument>,
    /// In the order written, ties joined.
    pub notes: Vec<Note>,
    /// The swing in force in each measure; `None` is straight.
    pub swings: Vec<Option<SwungValue>>,
}

#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Instrument {
    pub id: String,
    pub name: String,
    /// General MIDI program, from 1.
    pub program: Option<u8>,
    /// General MIDI percussion key, from 0.
    pub key: Option<u8>,
    /// In dB.
    pub gain: Option<i8>,
    /// From left (-100) to right (100).
    pub pan: Option<i8>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// From 0.
    pub measure: usize,
    /// From the measure's start.
    pub start: Time,
    /// Ties joined.
    pub length: Time,
    /// Sounding MIDI key; `None` for percussion.
    pub key: Option<u8>,
    pub accent: Accent,
    /// Whether one slashed grace note of the same pitch precedes it.
    pub flam: bool,
    pub voice: VoiceId,
    /// Index into the part's instruments.
    pub instrument: Option<usize>,
    pub starts_in_tuplet: bool,
    pub ends_in_tuplet: bool,
}

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct VoiceId {
    pub staff: u32,
    pub voice: String,
}
