//! A groove before it has cells: bars, and notes at exact times.

use crate::notation::TimedNote;
use crate::rhythm::{Meter, Swing, Tempo, Time, Voice};

#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct ImportDraft {
    pub title: String,
    pub note: String,
    /// In playing order, every repeat written out.
    pub bars: Vec<DraftBar>,
    pub tracks: Vec<DraftTrack>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct DraftBar {
    pub meter: Meter,
    pub tempo: Tempo,
    /// The length if it is not that of the meter: a pickup, or a bar cut short.
    pub length: Option<Time>,
    /// The name of the section that begins here. Equal sections of one name in a row become one section played several times.
    pub section: Option<String>,
    /// Known swing; the times of the notes include it.
    pub swing: Option<Swing>,
    /// The number in the source.
    pub number: String,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct DraftTrack {
    pub name: String,
    pub voice: Voice,
    /// In any order.
    pub notes: Vec<TimedNote>,
    /// Whether note lengths mean nothing, as those of drums.
    pub ignore_lengths: bool,
    /// The division if the source has it; otherwise the smallest exact one is found.
    pub division: Option<u16>,
    /// Overrides the swing of the bars.
    pub swing: Option<Swing>,
    /// In dB.
    pub gain: i8,
    /// From left (-100) to right (100).
    pub pan: i8,
    pub mute: bool,
    pub solo: bool,
    /// Accent depth in dB; `None` leaves it to the voice.
    pub depth: Option<u8>,
    /// The name of a user sample.
    pub sound: Option<String>,
}

impl DraftBar {
    pub(crate) fn new(meter: Meter, tempo: Tempo, number: impl Into<String>) -> Self {
        Self { meter, tempo, length: None, section: None, swing: None, number: number.into() }
    }

    pub(crate) fn length(&self) -> Time {
        self.length.unwrap_or_else(|| self.meter.bar())
    }
}

impl DraftTrack {
    pub(crate) fn new(name: impl Into<String>, voice: Voice) -> Self {
        Self {
            name: name.into(),
            voice,
            notes: Vec::new(),
            ignore_lengths: false,
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
