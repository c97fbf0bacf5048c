//! The edits of a groove, as values.

use super::cell::{Accent, Attack, Cell, Pitch, Swing};
use super::clip::Clip;
use super::groove::{Place, Section};
use super::meter::{Meter, Tempo};
use super::recording::{Anchor, GridPlace, Recording};
use super::time::Time;
use super::voice::Voice;
use std::ops::Range;

/// Layers over a time of one section, without swing. It covers the cells that begin in this time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Region {
    pub(crate) layers: Range<usize>,
    pub(crate) section: usize,
    /// From the section's start.
    pub(crate) from: Time,
    /// Exclusive end.
    pub(crate) to: Time,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LengthScale {
    Double,
    Halve,
}

/// One change of a groove.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs, reason = "most names say it")]
pub enum Edit {
    /// Enters an attack followed by holds.
    Enter {
        at: Place,
        /// Its length in cells, cut at the section's end.
        cells: usize,
        attack: Attack,
    },
    /// Holds the sound before through a number of cells, cut at the section's end.
    Hold(Place, usize),
    Set(Place, Cell),
    /// Replaces cells from a place on, cut at the section's end, and in a cycle after one repetition.
    Cells(Place, Vec<Cell>),
    Erase(Region),
    Accent(Region, Accent),
    /// Makes attacks louder by a number of levels, softer if negative.
    AccentBy(Region, i32),
    /// Makes attacks flams, or plain strokes.
    Flam(Region, bool),
    Pitch(Region, Option<Pitch>),
    /// By semitones.
    Transpose(Region, i32),
    /// Pastes copied cells at a place, at their exact times, cut at the section's end.
    Paste(Place, Clip),
    /// Pastes copied cells at a place, where they replace cycles.
    ReplaceCycle(Place, Clip),
    /// Repeats the region's cells after it, this many times, cut at the section's end.
    Repeat(Region, usize),
    /// Rotates the region's cells by a number of cells, later if positive. Tuplets move as a whole.
    Rotate(Region, i32),
    /// Shifts the region's cells by a number of cells, later if positive; cells that leave the region are lost.
    Shift(Region, i32),
    /// Makes the region's cells twice or half as long, from its start; what goes past the section's end is lost.
    ScaleLengths(Region, LengthScale),
    /// Divides beats into a number of cells.
    Tuplet {
        /// A place in the first beat.
        at: Place,
        beats: usize,
        cells: usize,
    },
    /// Sets a layer's cells per beat in a section, or in all with `None`; attacks keep their times, or move to the cell they
    /// fall in.
    Division(usize, Option<usize>, u16),
    /// Sets a layer's cells per beat in a section, or in all with `None`; its cells keep their order and change their length.
    DivisionKeepingCells(usize, Option<usize>, u16),
    /// Turns the first cells of a part into a cycle, or writes the cycle out.
    Cycle {
        layer: usize,
        section: usize,
        /// Length of the cycle; `None` writes it out.
        cells: Option<usize>,
    },
    /// Inserts a layer of rests at an index, with a name, voice and division.
    AddLayer(usize, String, Voice, u16),
    RemoveLayer(usize),
    MoveLayer(usize, usize),
    RenameLayer(usize, String),
    Voice(usize, Voice),
    /// Sets the name of a layer's sound file; `None` plays the voice.
    SoundFile(usize, Option<String>),
    /// Sets a layer's accent depth in dB; `None` leaves it to the voice.
    AccentDepth(usize, Option<u8>),
    /// Sets a layer's swing; `None` takes the section's.
    LayerSwing(usize, Option<Swing>),
    /// In dB.
    Gain(usize, i8),
    /// Sets a layer's pan, -100 left to 100 right.
    Pan(usize, i8),
    Mute(usize, bool),
    Solo(usize, bool),
    /// Inserts a section of rests at an index, with the divisions of the section before it, at the start those of the next.
    AddSection(usize, Section),
    /// Inserts a copy of a section after it, under a new name.
    CopySection(usize, String),
    RemoveSection(usize),
    MoveSection(usize, usize),
    RenameSection(usize, String),
    /// Sets a section's meter; beats keep their order.
    Meter(usize, Meter),
    /// Sets a section's meter; attacks keep their times, cells their length where the new beat is a whole number of them, and
    /// the bars become as many as hold the attacks.
    MeterKeepingTimes(usize, Meter),
    /// Inserts bars of rests into a section, before the bar of this index.
    InsertBars(usize, usize, u16),
    DeleteBars(usize, Range<usize>),
    /// Makes the bars of a section from an index on another section of this name.
    SplitSection(usize, usize, String),
    JoinSections(usize),
    Tempo(usize, Tempo),
    Bars(usize, u16),
    Times(usize, u16),
    Swing(usize, Option<Swing>),
    Title(String),
    /// Sets or removes the recording.
    Recording(Option<Recording>),
    /// Replaces all anchors of the recording.
    Anchors(Vec<Anchor>),
    /// Sets an anchor, or moves the one at its place.
    SetAnchor(Anchor),
    RemoveAnchor(GridPlace),
}

impl Edit {
    /// Whether the edit replaces cells and changes no length.
    pub(super) fn is_of_cells(&self) -> bool {
        use Edit as E;
        let of_attacks =
            matches!(self, E::Accent(..) | E::AccentBy(..) | E::Flam(..) | E::Pitch(..) | E::Transpose(..));
        of_attacks
            || matches!(self, E::Erase(_))
            || matches!(self, E::Enter { .. } | E::Hold(..) | E::Set(..) | E::Cells(..))
    }
}
