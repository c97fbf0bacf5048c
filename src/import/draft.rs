//! A groove before it has cells: bars, and notes at exact times.

use crate::notation::TimedNote;
use crate::rhythm::{Layer, Meter, Swing, Tempo, Time, Voice};

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
    /// The layer without its parts. Its swing overrides that of the bars. Its divisions are those of the source by section, one
    /// for all, or none: then the smallest exact one is found.
    pub layer: Layer,
    /// In any order.
    pub notes: Vec<TimedNote>,
    /// Whether note lengths mean nothing, as those of drums.
    pub ignore_lengths: bool,
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
    pub(crate) fn new(name: &str, voice: Voice) -> Self {
        let layer = Layer::new(name, voice, 1, Vec::new());
        Self { layer, notes: Vec::new(), ignore_lengths: false }
    }
}
