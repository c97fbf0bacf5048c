//! Pitches on a staff: letters, accidentals, clefs.

use super::names::Names;
use crate::rhythm::Pitch;
use std::collections::HashMap;

/// A pitch as it is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SpelledPitch {
    /// `A` to `G`.
    pub letter: char,
    /// Semitones above the letter: 1 for a sharp, -1 for a flat.
    pub alter: i8,
    /// Octave 4 begins at middle C.
    pub octave: i8,
    /// If the bar needs one here.
    pub accidental: Option<Accidental>,
}

/// `E2`, `F#3`, `Bb2`.
impl std::fmt::Display for SpelledPitch {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let accidental = match self.alter {
            0 => "",
            1 => "#",
            _ => "b",
        };
        write!(f, "{}{accidental}{}", self.letter, self.octave)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Accidental {
    Sharp,
    Flat,
    Natural,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Clef {
    Treble,
    Bass,
    /// Treble, sounding an octave lower.
    TrebleLow,
    /// Bass, sounding an octave lower.
    BassLow,
}

impl Clef {
    /// The clef that keeps these keys (0 to 127) closest to the staff.
    pub fn for_keys(keys: &[u8]) -> Self {
        // The keys of the lowest and the highest line, and a penalty for uncommon clefs.
        let rows = [
            (Clef::Treble, 64, 77, 0),
            (Clef::Bass, 43, 57, 0),
            (Clef::TrebleLow, 52, 65, 2),
            (Clef::BassLow, 31, 45, 2),
        ];
        let cost = |low: i32, high: i32, penalty: i32| {
            let beyond = |k: &u8| (low - i32::from(*k)).max(i32::from(*k) - high).max(0);
            keys.iter().map(beyond).sum::<i32>() + penalty * keys.len() as i32
        };
        rows.into_iter().min_by_key(|(_, low, high, penalty)| cost(*low, *high, *penalty)).map_or(Clef::Treble, |r| r.0)
    }
}

/// The alterations in force in one bar, by letter and octave.
#[derive(Debug, Default)]
pub(super) struct BarAccidentals(HashMap<(char, i8), i8>);

impl BarAccidentals {
    /// Spells a pitch. A note that is tied from another needs no accidental.
    pub(super) fn spell(&mut self, pitch: Pitch, names: Names, tied_from: bool) -> SpelledPitch {
        let (letter, alter) = names.letter_and_alter(pitch.key());
        let octave = ((i16::from(pitch.key()) - i16::from(alter)).div_euclid(12) - 1) as i8;
        let before = self.0.get(&(letter, octave)).copied().unwrap_or(0);
        let accidental = (before != alter && !tied_from).then_some(match alter {
            0 => Accidental::Natural,
            1 => Accidental::Sharp,
            _ => Accidental::Flat,
        });
        if !tied_from {
            self.0.insert((letter, octave), alter);
        }
        SpelledPitch { letter, alter, octave, accidental }
    }
}
