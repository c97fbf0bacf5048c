//! A groove as an engraver would spell it: bars of notes and rests with values, dots, ties, tuplets and beams. It must not know
//! any file format, nor where a note stands on paper.
//!
//! The spelling is exact: every note lasts, by its value, dots and tuplet, exactly as long as it sounds (without swing, which is
//! written straight), pieces of one sound are tied, and every bar is filled. Cycles are written out. The shortest value is 1/1024.
//!
//! Rules, in the order in which they are asked:
//! 1. A beat or tuplet whose changes fall on powers of two is written plain; else it is reduced to the fewest cells that hold its
//!    changes (`x.....` in six is a sixth of a triplet's kind, `x.x.x.` a triplet), cut into equal tuplets by beat if nothing sounds
//!    across, and bracketed.
//! 2. A note shows the strong beats it crosses: it is one value if it begins or ends with a part of the bar, or straddles the middle
//!    evenly; it shows every head of an additive meter, and holds whole beats of a compound one or lies within one.
//! 3. Rests fill parts of the bar and never hide a beat.
//! 4. Beams join what lies in one beat, or one group of the meter's terms where the beat is shorter than a quarter; [`Beaming`] says
//!    what else may break and join them.

mod beam;
mod cut;
mod error;
pub(crate) mod general_midi;
mod names;
mod passes;
mod pitch;
mod shape;
mod spell;
pub(crate) mod teeter_meta;
#[cfg(test)]
pub(crate) mod tests;
mod tree;
mod value;

pub use crate::describe::notes::Beaming;
pub(crate) use beam::Beam;
pub(crate) use error::FormatError;
pub(crate) use error::{count, were};
pub(crate) use passes::TimedNote;
pub(crate) use passes::{Pass, passes, timed_notes};
pub(crate) use pitch::{Accidental, Clef, Spelled};
pub(crate) use shape::HeadShape;
pub(crate) use value::Value;

use crate::rhythm::{Attack, Groove, Pitch, Time, Voice};
use names::Names;

/// A groove in notation: one staff per layer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Score {
    /// The staves, one per layer, in order.
    pub staves: Vec<Staff>,
}

/// A layer in notation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Staff {
    /// The layer, from 0.
    pub layer: usize,
    /// Whether it is a line without pitch or a staff with a clef.
    pub kind: StaffKind,
    /// The shape of its heads.
    pub shape: HeadShape,
    /// Its bars through all sections, each section once.
    pub bars: Vec<Bar>,
}

/// What a staff shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StaffKind {
    /// Pitches under a clef.
    Pitched(Clef),
    /// One line for a percussion voice.
    Line,
}

/// A bar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bar {
    /// The section, from 0.
    pub section: usize,
    /// The bar in its section, from 0.
    pub number: usize,
    /// Its notes and rests, in order; their lengths sum exactly to the bar.
    pub notes: Vec<Note>,
    /// Its tuplets, in order.
    pub tuplets: Vec<Tuplet>,
}

/// A note or rest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// From the start of the bar.
    pub at: Time,
    /// How long it lasts.
    pub length: Time,
    /// How it is written: note value and dots. `None` for the rest of a whole bar, whatever the bar's length.
    pub value: Option<Value>,
    /// The sound, or a rest.
    pub sound: Option<Strike>,
    /// The tuplet it is part of: index into the bar's.
    pub tuplet: Option<usize>,
    /// Its beams, the one nearest to the note-head's far end first; empty for rests and single flags.
    pub beams: Vec<Beam>,
}

/// The sound of a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Strike {
    /// Accent and pitch. A ghost is written with its head in parentheses.
    pub attack: Attack,
    /// Which attack of the layer in the section, from 0.
    pub number: usize,
    /// The cell it stands in.
    pub cell: usize,
    /// Where it stands on a staff with a clef.
    pub spelled: Option<Spelled>,
    /// Tied from the note before: it is no new attack.
    pub tied_from: bool,
    /// Tied to the next note.
    pub tied_to: bool,
}

/// Some notes in another time: `actual` units in the time of `normal`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tuplet {
    /// Its first note: index into the bar's.
    pub first: usize,
    /// Its last note.
    pub last: usize,
    /// Units written.
    pub actual: u16,
    /// Units of the same value that would fill its time.
    pub normal: u16,
    /// The unit.
    pub unit: Value,
}

impl Score {
    /// The notation of a groove, or of one section of it.
    ///
    /// # Errors
    /// [`FormatError`] if a cell is shorter than the shortest note value, 1/1024, or a section is asked for that is not there.
    pub fn of(groove: &Groove, section: Option<usize>, beaming: Beaming) -> Result<Self, FormatError> {
        let sections = match section {
            Some(s) if s >= groove.sections().len() => {
                return Err(FormatError::new("", format!("no such section: {}", s + 1)));
            }
            Some(s) => s..s + 1,
            None => 0..groove.sections().len(),
        };
        let staves = (0..groove.layers().len()).map(|layer| {
            let (kind, names) = kind(groove, layer);
            let mut bars = Vec::new();
            for s in sections.clone() {
                bars.extend(spell::section(groove, layer, s, names, beaming)?);
            }
            let shape = match kind {
                StaffKind::Line => HeadShape::of(groove.layers()[layer].voice),
                StaffKind::Pitched(_) => HeadShape::Round,
            };
            Ok(Staff { layer, kind, shape, bars })
        });
        Ok(Self { staves: staves.collect::<Result<_, FormatError>>()? })
    }
}

/// The staff of a layer, and the names of its pitches where it has some. Strings always stand on a staff of five lines; bells and toms
/// only where a pitch is given.
fn kind(groove: &Groove, layer: usize) -> (StaffKind, Option<Names>) {
    let row = &groove.layers()[layer];
    let Some(own) = row.voice.default_pitch() else { return (StaffKind::Line, None) };
    let attacks = || row.parts.iter().flat_map(|p| p.stored()).filter_map(|c| c.attack());
    if matches!(row.voice, Voice::Bell | Voice::Tom) && attacks().all(|a| a.pitch.is_none()) {
        return (StaffKind::Line, None);
    }
    let mut keys: Vec<u8> = attacks().map(|a| a.pitch.map_or(own, Pitch::key)).collect();
    if keys.is_empty() {
        keys.push(own);
    }
    (StaffKind::Pitched(Clef::fitting(&keys)), Some(Names::of(&keys)))
}
