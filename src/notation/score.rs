//! The staves of a score: bars, notes, tuplets.

use super::names::Names;
use super::{Beam, Clef, FormatError, NoteValue, SpelledPitch, Spelling, spell};
use crate::rhythm::{Attack, Groove, Pitch, Time, Voice};
use std::ops::Range;

/// A groove in notation: one staff per layer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Score {
    /// The staves, one per layer, in order.
    pub staves: Vec<Staff>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Staff {
    pub layer: usize,
    pub kind: StaffKind,
    pub shape: HeadShape,
    /// The bars of all sections, without repeats.
    pub bars: Vec<Bar>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StaffKind {
    /// Five lines.
    Pitched(Clef),
    /// One line, for percussion.
    Line,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bar {
    /// The section, from 0.
    pub section: usize,
    /// The bar in its section, from 0.
    pub number: usize,
    /// Its notes and rests in order; their lengths add up to the bar.
    pub notes: Vec<Note>,
    pub tuplets: Vec<Tuplet>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// From the start of the bar.
    pub start: Time,
    pub length: Time,
    /// `None` for the rest of a whole bar, whatever its length.
    pub value: Option<NoteValue>,
    /// `None` for a rest.
    pub sound: Option<NoteSound>,
    /// Index into the tuplets of the bar.
    pub tuplet: Option<usize>,
    /// Its beams, the longest first; empty for notes with flags and for rests, unless the beam of a group extends over them.
    pub beams: Vec<Beam>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NoteSound {
    pub attack: Attack,
    /// The attack in the layer's part of the section, from 0.
    pub number: usize,
    /// The cell of the attack.
    pub cell: usize,
    /// The pitch on a staff with a clef.
    pub spelled_pitch: Option<SpelledPitch>,
    /// Tied from the previous note: not a new attack.
    pub tied_from: bool,
    pub tied_to: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum HeadShape {
    Round,
    Cross,
    RingedCross,
    Triangle,
    Diamond,
}

impl HeadShape {
    /// The shape for a voice without pitch, by common practice for cymbals, sticks and bells (no source).
    pub(super) fn for_voice(voice: Voice) -> Self {
        match voice {
            Voice::Hat | Voice::Ride | Voice::Crash | Voice::Rim | Voice::Shaker => HeadShape::Cross,
            Voice::OpenHat => HeadShape::RingedCross,
            Voice::Wood | Voice::Cowbell => HeadShape::Triangle,
            Voice::Bell => HeadShape::Diamond,
            _ => HeadShape::Round,
        }
    }
}

/// `actual` units in the time of `normal`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tuplet {
    /// Index of its first note in the bar.
    pub first: usize,
    pub last: usize,
    /// Units written.
    pub actual: u16,
    /// Units that fill the same time without a tuplet.
    pub normal: u16,
    pub unit: NoteValue,
}

impl Score {
    /// The notation of a groove, or of one section of it.
    ///
    /// # Errors
    /// [`FormatError`] for a cell shorter than 1/1024, or a section that does not exist.
    pub fn spell(groove: &Groove, section: Option<usize>, spelling: impl Into<Spelling>) -> Result<Self, FormatError> {
        let (sections, spelling) = (section_range(groove, section)?, spelling.into());
        let staff = |layer| Staff::spell(groove, layer, sections.clone(), spelling);
        Ok(Self { staves: (0..groove.layers().len()).map(staff).collect::<Result<_, FormatError>>()? })
    }
}

impl Staff {
    /// The notation of a layer in some sections, which must exist.
    ///
    /// # Errors
    /// [`FormatError`] for a cell shorter than 1/1024.
    pub(crate) fn spell(
        groove: &Groove,
        layer: usize,
        sections: Range<usize>,
        spelling: Spelling,
    ) -> Result<Self, FormatError> {
        let (kind, names) = kind(groove, layer);
        let mut bars = Vec::new();
        for section in sections {
            let line = spell::Line::of_layer(groove, layer, section);
            let pitched = names.zip(groove.layers()[layer].voice.default_pitch());
            bars.extend(line.bars(groove, layer, section, pitched, spelling)?);
        }
        let shape = match kind {
            StaffKind::Line => HeadShape::for_voice(groove.layers()[layer].voice),
            StaffKind::Pitched(_) => HeadShape::Round,
        };
        Ok(Self { layer, kind, shape, bars })
    }
}

/// The exported sections: all, or the only one.
///
/// # Errors
/// [`FormatError`] for a section that does not exist.
pub(crate) fn section_range(groove: &Groove, only: Option<usize>) -> Result<Range<usize>, FormatError> {
    let all = 0..groove.sections().len();
    match only {
        Some(s) if !all.contains(&s) => Err(FormatError::new("", format!("no such section: {}", s + 1))),
        Some(s) => Ok(s..s + 1),
        None => Ok(all),
    }
}

/// The staff of a layer, and the names of its pitches. Strings always have a clef; bells and toms only if an attack has a pitch.
fn kind(groove: &Groove, layer: usize) -> (StaffKind, Option<Names>) {
    let row = &groove.layers()[layer];
    let Some(own) = row.voice.default_pitch() else { return (StaffKind::Line, None) };
    let attacks = || row.parts.iter().flat_map(|p| p.stored()).filter_map(|c| c.attack());
    if matches!(row.voice, Voice::Bell | Voice::Tom | Voice::LowTom) && attacks().all(|a| a.pitch.is_none()) {
        return (StaffKind::Line, None);
    }
    let mut keys: Vec<u8> = attacks().map(|a| a.pitch.map_or(own, Pitch::key)).collect();
    if keys.is_empty() {
        keys.push(own);
    }
    (StaffKind::Pitched(Clef::for_keys(&keys)), Some(Names::for_keys(&keys)))
}
