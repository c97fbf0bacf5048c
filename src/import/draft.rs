//! A groove before it has cells: bars, and notes at exact times.

use crate::notation::TimedNote;
use crate::rhythm::{Meter, Swing, Tempo, Time, Voice};

/// What is to become a groove.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct ImportDraft {
    /// Its title.
    pub title: String,
    /// The free text that stands with it.
    pub note: String,
    /// Its bars, in playing order, every repeat written out.
    pub bars: Vec<DraftBar>,
    /// Its instruments.
    pub tracks: Vec<DraftTrack>,
}

/// A bar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct DraftBar {
    /// Its meter.
    pub meter: Meter,
    /// Its tempo.
    pub tempo: Tempo,
    /// How long it is where that is not its meter's bar: a pickup, or a bar cut short.
    pub length: Option<Time>,
    /// The name of the section that begins with it. The same name again, over what sounds the same, is another time through.
    pub section: Option<String>,
    /// Swing known to be meant; times are given as they sound, with it.
    pub swing: Option<Swing>,
    /// Its number as its source counts it.
    pub number: String,
}

/// An instrument's notes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct DraftTrack {
    /// Its name.
    pub name: String,
    /// What it sounds like.
    pub voice: Voice,
    /// Its notes, in any order.
    pub notes: Vec<TimedNote>,
    /// The division it is known to have been written in; otherwise the smallest that serves is found.
    pub division: Option<u16>,
    /// Swing of its own known to be meant, before that of its bars.
    pub swing: Option<Swing>,
    /// Gain in dB.
    pub gain: i8,
    /// Place from left (-100) to right (100).
    pub pan: i8,
    /// Silenced.
    pub mute: bool,
    /// Heard alone, with the other soloed layers.
    pub solo: bool,
    /// How much an accent stands above a plain attack, in dB; `None` leaves it to the voice.
    pub depth: Option<u8>,
    /// The name of the user's own sound.
    pub sound: Option<String>,
}

impl DraftBar {
    /// A whole bar of a meter that begins no named section.
    pub(crate) fn new(meter: Meter, tempo: Tempo, number: impl Into<String>) -> Self {
        Self { meter, tempo, length: None, section: None, swing: None, number: number.into() }
    }
}

impl DraftTrack {
    /// A track without notes, at 0 dB in the middle, heard, its division unknown.
    pub(crate) fn new(name: impl Into<String>, voice: Voice) -> Self {
        Self {
            name: name.into(),
            voice,
            notes: Vec::new(),
            division: None,
            swing: None,
            gain: 0,
            pan: 0,
            mute: false,
            solo: false,
            depth: None,
            sound: None,
        }
    }
}
