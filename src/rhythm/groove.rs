//! The document: title, sections, layers, and the attacks they give in exact time.

use super::bounds::{
    ACCENT_DEPTH, BARS, CELLS_OF_LAYER, DIVISION, GAIN, LAYERS, NAME, PAN, SECTIONS, SOUND_NAME, TIMES, TUPLET_BEATS,
    TUPLET_CELLS,
};
use super::cell::{Accent, Attack, Cell, Pitch, Swing};
use super::edit_error::EditError;
use super::meter::{Meter, Tempo};
use super::part::{Part, PartContext};
use super::time::Time;
use super::voice::Voice;
use std::sync::Arc;

/// A stretch with one meter, one tempo, a number of bars and a number of times through.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Section {
    /// Its name, unique in the groove.
    pub name: String,
    /// Its meter.
    pub meter: Meter,
    /// Its tempo.
    pub tempo: Tempo,
    /// Its number of bars, one time through.
    pub bars: u16,
    /// How many times it is played before the next section.
    pub times: u16,
    /// Swing of the layers that have none of their own.
    pub swing: Option<Swing>,
}

impl Section {
    /// Length of one time through.
    pub fn length(&self) -> Time {
        self.meter.bar().repeated(usize::from(self.bars)).expect("bars are bounded")
    }

    /// Beats of one time through.
    pub fn beats(&self) -> usize {
        self.meter.beats() * usize::from(self.bars)
    }
}

/// One instrument's line, through all sections.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Layer {
    /// Its name, unique in the groove.
    pub name: String,
    /// What it sounds like.
    pub voice: Voice,
    /// The name of the user's own sound, which takes the place of the voice where it can be had. What the name stands for is not
    /// the groove's business.
    pub sound: Option<String>,
    /// Cells per beat where no tuplet stands.
    pub division: u16,
    /// Swing of its own; `None` takes the section's.
    pub swing: Option<Swing>,
    /// Gain in dB.
    pub gain: i8,
    /// How much an accent stands above a plain attack, and a ghost below it, in dB; `None` leaves both to the voice.
    pub depth: Option<u8>,
    /// Place from left (-100) to right (100).
    pub pan: i8,
    /// Silenced.
    pub mute: bool,
    /// Heard alone, with the other soloed layers.
    pub solo: bool,
    /// Its cells, one part per section.
    pub parts: Vec<Arc<Part>>,
}

/// A groove: title, note, sections, layers. Always valid: every part fits its section.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Groove {
    pub(super) title: String,
    pub(super) note: String,
    pub(super) sections: Vec<Section>,
    pub(super) layers: Vec<Arc<Layer>>,
}

/// A cell of a groove.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Place {
    /// Layer, from 0.
    pub layer: usize,
    /// Section, from 0.
    pub section: usize,
    /// Cell of the layer's part in the section, from 0.
    pub cell: usize,
}

/// An attack in exact time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Event {
    /// The section it lies in.
    pub section: usize,
    /// Which time through, from 0.
    pub pass: usize,
    /// The cell it stands in.
    pub cell: usize,
    /// Its time from the start of this time through the section.
    pub offset: Time,
    /// How long it sounds: its cell and the holds that follow in its section.
    pub length: Time,
    /// Its accent and pitch.
    pub attack: Attack,
}

impl Groove {
    /// A groove of these parts.
    ///
    /// # Errors
    /// [`EditError`] if a number is out of bound, a name stands twice, or a part does not fit its section.
    pub fn new(title: &str, note: &str, sections: Vec<Section>, layers: Vec<Layer>) -> Result<Self, EditError> {
        let groove = Self {
            title: title.to_owned(),
            note: note.to_owned(),
            sections,
            layers: layers.into_iter().map(Arc::new).collect(),
        };
        groove.check()?;
        Ok(groove)
    }

    /// A new groove: one section of `bars` bars and one silent layer of sixteenths (a quarter of the beat).
    ///
    /// # Errors
    /// [`EditError`] if `bars` is out of bound.
    pub fn blank(meter: Meter, tempo: Tempo, bars: u16) -> Result<Self, EditError> {
        let section = Section { name: "A".into(), meter, tempo, bars, times: 1, swing: None };
        let context = PartContext { meter: &section.meter, bars: usize::from(bars), division: 4, swing: None };
        let layer = Layer::new("riff", Voice::Pluck, 4, vec![Part::rests(context)]);
        Self::new("untitled", "", vec![section], vec![layer])
    }

    /// Its title.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The free text that stands with it.
    pub fn note(&self) -> &str {
        &self.note
    }

    /// Its sections, in playing order.
    pub fn sections(&self) -> &[Section] {
        &self.sections
    }

    /// Its layers, from the top.
    pub fn layers(&self) -> &[Arc<Layer>] {
        &self.layers
    }

    /// What the part of `layer` in `section` needs to place its cells in time.
    ///
    /// # Panics
    /// If there is no such layer or section.
    pub fn context(&self, layer: usize, section: usize) -> PartContext<'_> {
        let (l, s) = (&self.layers[layer], &self.sections[section]);
        PartContext { meter: &s.meter, bars: usize::from(s.bars), division: l.division, swing: l.swing.or(s.swing) }
    }

    /// The part of `layer` in `section`.
    ///
    /// # Panics
    /// If there is no such layer or section.
    pub fn part(&self, layer: usize, section: usize) -> &Part {
        &self.layers[layer].parts[section]
    }

    /// Number of cells of `layer` in `section`, one time through.
    ///
    /// # Panics
    /// If there is no such layer or section.
    pub fn cells(&self, layer: usize, section: usize) -> usize {
        self.part(layer, section).len(self.context(layer, section))
    }

    /// The cell at a place; a rest where there is none.
    pub fn cell(&self, place: Place) -> Cell {
        match self.layers.get(place.layer).and_then(|l| l.parts.get(place.section)) {
            Some(part) if place.cell < part.len(self.context(place.layer, place.section)) => part.cell(place.cell),
            _ => Cell::Rest,
        }
    }

    /// Whether a layer is heard: not muted, and soloed if any layer is.
    pub fn heard(&self, layer: usize) -> bool {
        let any_solo = self.layers.iter().any(|l| l.solo);
        self.layers.get(layer).is_some_and(|l| !l.mute && (l.solo || !any_solo))
    }

    /// The attacks of a layer in playing order, every time through counted.
    ///
    /// # Panics
    /// If there is no such layer.
    pub fn events(&self, layer: usize) -> Vec<Event> {
        let mut events = Vec::new();
        for (s, section) in self.sections.iter().enumerate() {
            let first = events.len();
            self.section_events(layer, s, &mut events);
            let once: Vec<Event> = events[first..].to_vec();
            for pass in 1..usize::from(section.times) {
                events.extend(once.iter().map(|e| Event { pass, ..*e }));
            }
        }
        events
    }

    fn section_events(&self, layer: usize, section: usize, events: &mut Vec<Event>) {
        for sound in self.part(layer, section).attacks(self.context(layer, section)) {
            let length = sound.end.minus(sound.start).expect("starts are bounded");
            events.push(Event {
                section,
                pass: 0,
                cell: sound.cell,
                offset: sound.start,
                length,
                attack: sound.attack,
            });
        }
    }

    /// Length of the whole groove, every time through counted; `None` if it cannot be held exactly.
    pub fn length(&self) -> Option<Time> {
        self.sections.iter().try_fold(Time::ZERO, |sum, s| sum.plus(s.length().repeated(usize::from(s.times))?))
    }

    /// The same groove under other words.
    #[must_use]
    pub fn titled(&self, title: &str, note: &str) -> Self {
        Self { title: title.to_owned(), note: note.to_owned(), ..self.clone() }
    }

    pub(super) fn check(&self) -> Result<(), EditError> {
        SECTIONS.check(self.sections.len() as i64)?;
        LAYERS.check(self.layers.len() as i64)?;
        unique(self.sections.iter().map(|s| s.name.as_str()))?;
        unique(self.layers.iter().map(|l| l.name.as_str()))?;
        for section in &self.sections {
            BARS.check(i64::from(section.bars))?;
            TIMES.check(i64::from(section.times))?;
        }
        for (l, layer) in self.layers.iter().enumerate() {
            DIVISION.check(i64::from(layer.division))?;
            GAIN.check(i64::from(layer.gain))?;
            PAN.check(i64::from(layer.pan))?;
            ACCENT_DEPTH.check(layer.depth.map_or(ACCENT_DEPTH.least, i64::from))?;
            SOUND_NAME.check(layer.sound.as_ref().map_or(SOUND_NAME.least, |name| name.chars().count() as i64))?;
            let (found, sections) = (layer.parts.len(), self.sections.len());
            if found != sections {
                return Err(EditError::Parts { layer: layer.name.clone(), found, sections });
            }
            let mut total = 0;
            for (s, section) in self.sections.iter().enumerate() {
                self.check_part(l, s)?;
                total += self.cells(l, s) as i64 * i64::from(section.times);
            }
            CELLS_OF_LAYER.check(total)?;
        }
        Ok(())
    }

    fn check_part(&self, layer: usize, section: usize) -> Result<(), EditError> {
        let context = self.context(layer, section);
        let beats = context.meter.beats();
        match self.part(layer, section) {
            Part::Cycled { cells, .. } => {
                let room = context.beats() * usize::from(context.division);
                if cells.is_empty() {
                    return Err(EditError::Nothing("a cycle needs at least one cell"));
                }
                if cells.len() > room {
                    return Err(EditError::CycleTooLong { cells: cells.len(), section: room });
                }
                super::bounds::CYCLE.check(cells.len() as i64)?;
            }
            Part::Barred { spans, cells } => {
                let misfit = |bar| EditError::Misfit {
                    layer: self.layers[layer].name.clone(),
                    section: self.sections[section].name.clone(),
                    bar,
                };
                let (mut beat, mut count) = (0, 0);
                for span in spans {
                    TUPLET_BEATS.check(i64::from(span.beats))?;
                    TUPLET_CELLS.check(i64::from(span.cells))?;
                    let last = beat + usize::from(span.beats) - 1;
                    if last / beats != beat / beats {
                        return Err(misfit(beat / beats + 1));
                    }
                    beat = last + 1;
                    count += usize::from(span.cells);
                }
                if beat != context.beats() || count != cells.len() {
                    return Err(misfit(beat.min(context.beats()) / beats + 1));
                }
            }
        }
        Ok(())
    }
}

impl Layer {
    /// A layer at 0 dB in the middle, heard.
    pub fn new(name: &str, voice: Voice, division: u16, parts: Vec<Part>) -> Self {
        Self {
            name: name.to_owned(),
            voice,
            sound: None,
            division,
            swing: None,
            gain: 0,
            depth: None,
            pan: 0,
            mute: false,
            solo: false,
            parts: parts.into_iter().map(Arc::new).collect(),
        }
    }
}

impl Event {
    /// Its accent.
    pub fn accent(&self) -> Accent {
        self.attack.accent
    }

    /// Its pitch, if it has one.
    pub fn pitch(&self) -> Option<Pitch> {
        self.attack.pitch
    }
}

fn unique<'a>(names: impl Iterator<Item = &'a str>) -> Result<(), EditError> {
    let mut seen = std::collections::HashSet::new();
    for name in names {
        NAME.check(name.chars().count() as i64)?;
        if !seen.insert(name) {
            return Err(EditError::NameTaken(name.to_owned()));
        }
    }
    Ok(())
}
