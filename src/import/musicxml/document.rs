//! A score's parts, measures and notes at exact times, before repeats are unfolded.

use crate::rhythm::{Accent, Meter, Swing, Tempo, Time};

/// A document as it is written: nothing unfolded, nothing cast on a grid.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ScoreDocument {
    /// Its title.
    pub title: String,
    /// Free text found with it.
    pub note: String,
    /// Its measures, the same for all parts.
    pub measures: Vec<Measure>,
    /// Its parts.
    pub parts: Vec<Part>,
}

/// A measure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Measure {
    /// Its number as printed.
    pub number: String,
    /// The meter in force; `None` for music without one.
    pub meter: Option<Meter>,
    /// Its length: what stands in it, or the meter's bar where nothing does.
    pub length: Time,
    /// A tempo that begins here.
    pub tempo: Option<Tempo>,
    /// A rehearsal mark at its start.
    pub mark: Option<String>,
    /// A repeat begins here.
    pub forward: bool,
    /// A repeat ends here: how many times it is played in all.
    pub backward: Option<usize>,
    /// The times through in which it is played, if it stands under an ending.
    pub endings: Vec<usize>,
}

impl Default for Measure {
    /// An empty measure that nothing is known of.
    fn default() -> Self {
        Self {
            number: String::new(),
            meter: None,
            length: Time::ZERO,
            tempo: None,
            mark: None,
            forward: false,
            backward: None,
            endings: Vec::new(),
        }
    }
}

/// An instrument or hand.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Part {
    /// Its name.
    pub name: String,
    /// Gain in dB, if told.
    pub gain: Option<i8>,
    /// Its place from left (-100) to right (100), if told.
    pub pan: Option<i8>,
    /// Its instruments.
    pub instruments: Vec<Instrument>,
    /// Its notes, ties joined, in the order written.
    pub notes: Vec<Note>,
    /// Where swing begins, changes or (`None`) ends, by measure from 0, with the note value that swings.
    pub swings: Vec<(usize, Option<(Swing, Time)>)>,
}

/// An instrument of a part.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Instrument {
    /// The name by which notes refer to it.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Its program of General MIDI, from 1.
    pub program: Option<u8>,
    /// Its percussion key of General MIDI, from 0.
    pub key: Option<u8>,
}

/// A note.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// Measure, from 0.
    pub measure: usize,
    /// Onset from the measure's start.
    pub at: Time,
    /// How long it sounds, ties joined.
    pub length: Time,
    /// Its sounding key, 0 to 127; `None` for percussion.
    pub key: Option<u8>,
    /// Its accent.
    pub accent: Accent,
    /// Staff and voice as written.
    pub voice: (u32, String),
    /// Its instrument: index into the part's.
    pub instrument: Option<usize>,
    /// Whether its onset, and whether its end, lies in a tuplet.
    pub in_tuplet: (bool, bool),
}
