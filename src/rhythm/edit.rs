//! Edits as values.

use super::cell::{Accent, Attack, Cell, Pitch, Swing};
use super::groove::{Place, Section};
use super::meter::{Meter, Tempo};
use super::time::Time;
use super::voice::Voice;
use std::ops::Range;

/// Some layers over some time of one section, as written (without swing). Each layer takes the cells that begin in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Region {
    /// Layers, from 0.
    pub layers: Range<usize>,
    /// Section, from 0.
    pub section: usize,
    /// First time, from the section's start.
    pub from: Time,
    /// End, not included.
    pub to: Time,
}

/// Cells copied from a region: one run of cells per layer.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Clip {
    /// The cells, layer by layer from the top.
    pub rows: Vec<Vec<Cell>>,
}

/// One change of a groove.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Edit {
    /// An attack at a place that lasts so many cells: the attack, then holds. What stood there goes.
    Lay {
        /// Where it begins.
        at: Place,
        /// Cells it lasts, cut at the section's end.
        cells: usize,
        /// The attack.
        attack: Attack,
    },
    /// One cell.
    Set(Place, Cell),
    /// Rests everywhere in the region.
    Erase(Region),
    /// Accent of every attack in the region.
    Accent(Region, Accent),
    /// Pitch of every attack in the region.
    Pitch(Region, Option<Pitch>),
    /// Moves the pitches in the region by semitones; attacks without a pitch stay.
    Transpose(Region, i32),
    /// Puts copied cells down from a place on, cut at the section's end.
    Paste(Place, Clip),
    /// Puts the region's cells down again after it, so many times, cut at the section's end.
    Repeat(Region, usize),
    /// Moves the region's cells later (or earlier) by so many cells, round within the region.
    Rotate(Region, i32),
    /// Moves the region's cells later (or earlier) by so many cells; rests come in, what leaves the region is lost.
    Shift(Region, i32),
    /// Divides so many beats from the beat of the place on into so many cells.
    Tuplet {
        /// A place in the first beat.
        at: Place,
        /// Beats.
        beats: usize,
        /// Cells.
        cells: usize,
    },
    /// Cells per beat of a layer.
    Division(usize, u16),
    /// Makes the first so many cells of a layer's part a cycle; `None` writes the cycle out.
    Cycle {
        /// Layer, from 0.
        layer: usize,
        /// Section, from 0.
        section: usize,
        /// Cells of the cycle.
        cells: Option<usize>,
    },
    /// A new silent layer before the `usize`th: its name, voice and division.
    AddLayer(usize, String, Voice, u16),
    /// Takes a layer away.
    RemoveLayer(usize),
    /// Moves a layer to another row.
    MoveLayer(usize, usize),
    /// Renames a layer.
    RenameLayer(usize, String),
    /// Voice of a layer.
    Voice(usize, Voice),
    /// The user's own sound of a layer, by its name; `None` takes the voice.
    OwnSound(usize, Option<String>),
    /// Accent depth of a layer in dB; `None` leaves the accents to the voice.
    AccentDepth(usize, Option<u8>),
    /// Swing of a layer; `None` takes the section's.
    LayerSwing(usize, Option<Swing>),
    /// Gain of a layer in dB.
    Gain(usize, i8),
    /// Place of a layer from left (-100) to right (100).
    Pan(usize, i8),
    /// Silences a layer or lets it sound.
    Mute(usize, bool),
    /// Solos a layer or not.
    Solo(usize, bool),
    /// A new section before the `usize`th, of rests, with the words and numbers given.
    AddSection(usize, Section),
    /// A copy of a section with its cells after it, under a new name.
    CopySection(usize, String),
    /// Takes a section away.
    RemoveSection(usize),
    /// Moves a section to another place.
    MoveSection(usize, usize),
    /// Renames a section.
    RenameSection(usize, String),
    /// Meter of a section; beats keep their order.
    Meter(usize, Meter),
    /// Tempo of a section.
    Tempo(usize, Tempo),
    /// Bars of a section.
    Bars(usize, u16),
    /// Times through of a section.
    Times(usize, u16),
    /// Swing of a section.
    Swing(usize, Option<Swing>),
    /// Title of the groove.
    Title(String),
}

impl Edit {
    pub(super) fn is_of_cells(&self) -> bool {
        use Edit::{Accent, Erase, Lay, Paste, Pitch, Repeat, Rotate, Set, Shift, Transpose};
        matches!(
            self,
            Lay { .. }
                | Set(..)
                | Erase(_)
                | Accent(..)
                | Pitch(..)
                | Transpose(..)
                | Paste(..)
                | Repeat(..)
                | Rotate(..)
                | Shift(..)
        )
    }
}
