//! A groove before it has cells: bars, and notes at exact times, as other formats tell them. It must not know formats or
//! grids.

use crate::rhythm::{Attack, Groove, Meter, Section, Swing, Tempo, Time, Voice};

/// What is to become a groove.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Draft {
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
pub struct DraftBar {
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
pub struct DraftTrack {
    /// Its name.
    pub name: String,
    /// What it sounds like.
    pub voice: Voice,
    /// Its notes, in any order.
    pub notes: Vec<DraftNote>,
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

/// A note at its exact time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DraftNote {
    /// Its onset from the start of the first bar.
    pub start: Time,
    /// How long it sounds.
    pub length: Time,
    /// Its accent and pitch.
    pub attack: Attack,
}

impl DraftBar {
    /// A whole bar of a meter that begins no named section.
    pub fn new(meter: Meter, tempo: Tempo, number: impl Into<String>) -> Self {
        Self { meter, tempo, length: None, section: None, swing: None, number: number.into() }
    }
}

impl DraftTrack {
    /// A track without notes, at 0 dB in the middle, heard, its division unknown.
    pub fn new(name: impl Into<String>, voice: Voice) -> Self {
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

/// A time through a section, where the groove is written out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Through {
    /// The section, from 0.
    pub section: usize,
    /// Which time through, from 0.
    pub pass: usize,
    /// Its start from the start of the groove, or of the section that alone is wanted.
    pub start: Time,
}

/// Every time through a groove, or through one of its sections; `None` if a start cannot be held exactly.
pub fn throughs(groove: &Groove, only: Option<usize>) -> Option<Vec<Through>> {
    let mut start = Time::ZERO;
    let mut all = Vec::new();
    for (section, s) in groove.sections().iter().enumerate() {
        if only.is_some_and(|o| o != section) {
            continue;
        }
        for pass in 0..usize::from(s.times) {
            all.push(Through { section, pass, start });
            start = start.plus(s.length())?;
        }
    }
    Some(all)
}

/// The notes of a layer at their exact times from the first of these times through; `None` if one cannot be held exactly.
///
/// # Panics
/// If there is no such layer.
pub fn notes(groove: &Groove, layer: usize, throughs: &[Through]) -> Option<Vec<DraftNote>> {
    let mut all = Vec::new();
    for t in throughs {
        for s in groove.part(layer, t.section).attacks(groove.context(layer, t.section)) {
            let (start, length) = (t.start.plus(s.start)?, s.end.minus(s.start)?);
            all.push(DraftNote { start, length, attack: s.attack });
        }
    }
    Some(all)
}

/// The bars of these times through, each of which begins a named section.
pub fn bars(groove: &Groove, throughs: &[Through]) -> Vec<DraftBar> {
    let mut all = Vec::new();
    for t in throughs {
        let Section { name, meter, tempo, bars, swing, .. } = &groove.sections()[t.section];
        for bar in 0..*bars {
            all.push(DraftBar {
                section: (bar == 0).then(|| name.clone()),
                swing: *swing,
                ..DraftBar::new(meter.clone(), *tempo, (all.len() + 1).to_string())
            });
        }
    }
    all
}
