//! The document: title, sections, layers, and their attacks in exact time.

use super::bounds::{
    ACCENT_DEPTH, BARS, CELLS_OF_LAYER, CYCLE, DIVISION, GAIN, LAYERS, NAME, PAN, SECTIONS, SOUND_NAME, TIMES,
    TUPLET_BEATS, TUPLET_CELLS,
};
use super::cell::{Attack, Cell, Swing};
use super::edit_error::EditError;
use super::meter::{Meter, Tempo};
use super::part::{Part, PartContext};
use super::recording::Recording;
use super::time::{Fraction, Time};
use super::voice::Voice;
use std::sync::Arc;

/// A span of bars with one meter and one tempo.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Section {
    /// Its name, unique among the groove's sections.
    pub name: String,
    /// Its meter.
    pub meter: Meter,
    /// Its tempo.
    pub tempo: Tempo,
    /// Its number of bars.
    pub bars: u16,
    /// How many times it is played.
    pub times: u16,
    /// Swing of the layers without their own.
    pub swing: Option<Swing>,
}

impl Section {
    /// Length of one pass.
    pub fn length(&self) -> Time {
        self.meter.bar().repeated(usize::from(self.bars)).expect("bars are bounded")
    }

    /// Beats of one pass.
    pub fn beats(&self) -> usize {
        self.meter.beats() * usize::from(self.bars)
    }
}

/// One instrument's line, through all sections.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Layer {
    /// Its name, unique among the groove's layers.
    pub name: String,
    /// Its voice.
    pub voice: Voice,
    /// The name of a sound file that replaces the voice if it can be played.
    pub sound: Option<String>,
    /// Cells per beat outside tuplets, one number per section.
    pub divisions: Vec<u16>,
    /// Its swing; `None` takes the section's.
    pub swing: Option<Swing>,
    /// Gain in dB.
    pub gain: i8,
    /// Level of an accent above a plain attack, and of a ghost below it, in dB; `None` leaves both to the voice.
    pub depth: Option<u8>,
    /// Position from left (-100) to right (100).
    pub pan: i8,
    /// Whether it is silent.
    pub mute: bool,
    /// Whether the layers that are not soloed are silent.
    pub solo: bool,
    /// One part per section.
    pub parts: Vec<Arc<Part>>,
}

/// A valid groove: every number is in its bounds, and every part fits its section.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Groove {
    pub(super) title: String,
    pub(super) note: String,
    pub(super) sections: Vec<Section>,
    pub(super) layers: Vec<Arc<Layer>>,
    pub(super) recording: Option<Arc<Recording>>,
}

/// The indices of a cell of a groove.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Place {
    /// The layer.
    pub layer: usize,
    /// The section.
    pub section: usize,
    /// The cell of the layer's part in the section.
    pub cell: usize,
}

/// An attack in exact time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Event {
    pub section: usize,
    /// Pass of the section, from 0.
    pub pass: usize,
    pub cell: usize,
    /// Time from the start of the pass.
    pub offset: Time,
    /// Length of its cell and the holds after it in the section.
    pub length: Time,
    pub attack: Attack,
}

impl Groove {
    /// A groove of these sections and layers.
    ///
    /// # Errors
    /// A number is out of bounds, a name is used twice, or a part does not fit its section.
    pub fn new(title: &str, note: &str, sections: Vec<Section>, layers: Vec<Layer>) -> Result<Self, EditError> {
        let groove = Self {
            title: title.to_owned(),
            note: note.to_owned(),
            sections,
            layers: layers.into_iter().map(Arc::new).collect(),
            recording: None,
        };
        groove.check()?;
        Ok(groove)
    }

    /// A new groove: one section and one layer of rests, four cells per beat.
    ///
    /// # Errors
    /// The number of bars is out of bounds.
    pub fn blank(meter: Meter, tempo: Tempo, bars: u16) -> Result<Self, EditError> {
        let section = Section { name: "A".into(), meter, tempo, bars, times: 1, swing: None };
        let context = PartContext { meter: &section.meter, bars: usize::from(bars), division: 4, swing: None };
        let layer = Layer::new("riff", Voice::Pluck, 4, vec![Part::rests(context)]);
        Self::new("untitled", "", vec![section], vec![layer])
    }

    /// A new groove of some bars of 4/4.
    ///
    /// # Panics
    /// If the tempo or the number of bars is out of bounds.
    pub(crate) fn in_four(bpm: i32, bars: u16) -> Self {
        let meter = Meter::new(vec![4], 4).expect("4/4 is a meter");
        let tempo = Tempo::new(Fraction::whole(bpm), meter.beat()).expect("within bounds");
        Self::blank(meter, tempo, bars).expect("within bounds")
    }

    /// What a new groove starts from: four bars of 4/4 at 120, one layer without attacks.
    pub(crate) fn new_untitled() -> Self {
        Self::in_four(120, 4)
    }

    /// Its title.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// Its note, a free text.
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

    /// The context of the part of `layer` in `section`.
    ///
    /// # Panics
    /// If there is no such layer or section.
    pub fn context(&self, layer: usize, section: usize) -> PartContext<'_> {
        let (l, s) = (&self.layers[layer], &self.sections[section]);
        let (bars, division) = (usize::from(s.bars), l.divisions[section]);
        PartContext { meter: &s.meter, bars, division, swing: l.swing.or(s.swing) }
    }

    /// The part of `layer` in `section`.
    ///
    /// # Panics
    /// If there is no such layer or section.
    pub fn part(&self, layer: usize, section: usize) -> &Part {
        &self.layers[layer].parts[section]
    }

    /// Number of cells of `layer` in one pass of `section`.
    ///
    /// # Panics
    /// If there is no such layer or section.
    pub fn cells(&self, layer: usize, section: usize) -> usize {
        self.part(layer, section).len(self.context(layer, section))
    }

    /// The cell at a place; a rest if the place does not exist.
    pub(crate) fn cell(&self, place: Place) -> Cell {
        match self.layers.get(place.layer).and_then(|l| l.parts.get(place.section)) {
            Some(part) if place.cell < part.len(self.context(place.layer, place.section)) => part.cell(place.cell),
            _ => Cell::Rest,
        }
    }

    /// Whether a layer is not muted, and soloed if any layer is.
    pub(crate) fn is_audible(&self, layer: usize) -> bool {
        let any_solo = self.layers.iter().any(|l| l.solo);
        self.layers.get(layer).is_some_and(|l| !l.mute && (l.solo || !any_solo))
    }

    /// The attacks of a layer in playing order, over all passes.
    ///
    /// # Panics
    /// If there is no such layer.
    pub fn events(&self, layer: usize) -> Vec<Event> {
        let mut events = Vec::new();
        for (s, section) in self.sections.iter().enumerate() {
            let attacks = self.part(layer, s).attacks(self.context(layer, s)).into_iter();
            let of_pass: Vec<Event> = attacks
                .map(|a| Event {
                    section: s,
                    pass: 0,
                    cell: a.cell,
                    offset: a.start,
                    length: a.end.minus(a.start).expect("starts are bounded"),
                    attack: a.attack,
                })
                .collect();
            for pass in 0..usize::from(section.times) {
                events.extend(of_pass.iter().map(|e| Event { pass, ..*e }));
            }
        }
        events
    }

    /// Length of the groove over all passes; `None` on overflow.
    pub fn length(&self) -> Option<Time> {
        self.sections.iter().try_fold(Time::ZERO, |sum, s| sum.plus(s.length().repeated(usize::from(s.times))?))
    }

    /// The groove with another title and note.
    #[must_use]
    pub(crate) fn titled(&self, title: &str, note: &str) -> Self {
        Self { title: title.to_owned(), note: note.to_owned(), ..self.clone() }
    }

    pub(super) fn check(&self) -> Result<(), EditError> {
        SECTIONS.check(self.sections.len() as i64)?;
        LAYERS.check(self.layers.len() as i64)?;
        unique(self.sections.iter().map(|s| s.name.as_str()))?;
        unique(self.layers.iter().map(|l| l.name.as_str()))?;
        self.recording.as_ref().map_or(Ok(()), |r| r.check())?;
        for section in &self.sections {
            BARS.check(i64::from(section.bars))?;
            TIMES.check(i64::from(section.times))?;
        }
        for (l, layer) in self.layers.iter().enumerate() {
            GAIN.check(i64::from(layer.gain))?;
            PAN.check(i64::from(layer.pan))?;
            ACCENT_DEPTH.check(layer.depth.map_or(ACCENT_DEPTH.least, i64::from))?;
            SOUND_NAME.check(layer.sound.as_ref().map_or(SOUND_NAME.least, |name| name.chars().count() as i64))?;
            let sections = self.sections.len();
            if let Some(found) = [layer.parts.len(), layer.divisions.len()].into_iter().find(|n| *n != sections) {
                return Err(EditError::PartCount { layer: layer.name.clone(), found, sections });
            }
            layer.divisions.iter().try_for_each(|d| DIVISION.check(i64::from(*d)).map(drop))?;
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
                let room = context.even_cells();
                if cells.is_empty() {
                    return Err(EditError::Impossible("a cycle needs at least one cell"));
                }
                if cells.len() > room {
                    return Err(EditError::CycleTooLong { cells: cells.len(), section: room });
                }
                CYCLE.check(cells.len() as i64)?;
            }
            Part::Barred { spans, cells } => {
                let error = |bar| EditError::BarLength {
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
                        return Err(error(beat / beats + 1));
                    }
                    beat = last + 1;
                    count += usize::from(span.cells);
                }
                if beat != context.beats() || count != cells.len() {
                    return Err(error(beat.min(context.beats()) / beats + 1));
                }
            }
        }
        Ok(())
    }
}

impl Layer {
    /// A layer at 0 dB in the centre, neither muted nor soloed, with one division in all sections.
    pub fn new(name: &str, voice: Voice, division: u16, parts: Vec<Part>) -> Self {
        Self {
            name: name.to_owned(),
            voice,
            sound: None,
            divisions: vec![division; parts.len()],
            swing: None,
            gain: 0,
            depth: None,
            pan: 0,
            mute: false,
            solo: false,
            parts: parts.into_iter().map(Arc::new).collect(),
        }
    }

    /// The division, if it is the same in all sections.
    pub(crate) fn one_division(&self) -> Option<u16> {
        let first = *self.divisions.first()?;
        self.divisions.iter().all(|d| *d == first).then_some(first)
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
