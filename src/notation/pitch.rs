//! Pitches on a staff: letters, accidentals, clefs.

use super::names::Names;
use crate::rhythm::Pitch;
use std::collections::HashMap;

/// A pitch as it is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spelled {
    /// Letter, `A` to `G`.
    pub letter: char,
    /// Semitones above the letter: 0, 1 for a sharp, -1 for a flat.
    pub alter: i8,
    /// Octave; 4 begins at middle C.
    pub octave: i8,
    /// The sign to be drawn before it, if one is needed in its bar.
    pub sign: Option<Accidental>,
}

/// As players write it: `E2`, `F#3`, `Bb2`.
impl std::fmt::Display for Spelled {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let sign = match self.alter {
            0 => "",
            1 => "#",
            _ => "b",
        };
        write!(f, "{}{sign}{}", self.letter, self.octave)
    }
}

/// A sign before a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Accidental {
    /// Raises the letter.
    Sharp,
    /// Lowers it.
    Flat,
    /// Takes a sharp or a flat back.
    Natural,
}

/// A clef.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Clef {
    /// G on the second line.
    Treble,
    /// F on the fourth line.
    Bass,
    /// Treble, sounding an octave lower.
    TrebleLow,
    /// Bass, sounding an octave lower.
    BassLow,
}

impl Clef {
    /// The clef under which these keys (0 to 127) need the fewest lines beyond the staff.
    pub fn fitting(keys: &[u8]) -> Self {
        // Keys of the lowest and highest line, and a price for clefs less often read.
        let rows = [
            (Clef::Treble, 64, 77, 0),
            (Clef::Bass, 43, 57, 0),
            (Clef::TrebleLow, 52, 65, 2),
            (Clef::BassLow, 31, 45, 2),
        ];
        let cost = |low: i32, high: i32, price: i32| {
            let beyond = |k: &u8| (low - i32::from(*k)).max(i32::from(*k) - high).max(0);
            keys.iter().map(beyond).sum::<i32>() + price * keys.len() as i32
        };
        rows.into_iter().min_by_key(|(_, low, high, price)| cost(*low, *high, *price)).map_or(Clef::Treble, |r| r.0)
    }
}

/// The signs in force within one bar.
#[derive(Debug, Default)]
pub(super) struct Signs(HashMap<(char, i8), i8>);

impl Signs {
    /// Spells a pitch with one of these names; `again` if it is tied from a note before and needs no sign.
    pub(super) fn spell(&mut self, pitch: Pitch, names: Names, again: bool) -> Spelled {
        let (letter, alter) = names.of_key(pitch.key());
        let octave = ((i16::from(pitch.key()) - i16::from(alter)).div_euclid(12) - 1) as i8;
        let before = self.0.get(&(letter, octave)).copied().unwrap_or(0);
        let sign = (before != alter && !again).then_some(match alter {
            0 => Accidental::Natural,
            1 => Accidental::Sharp,
            _ => Accidental::Flat,
        });
        if !again {
            self.0.insert((letter, octave), alter);
        }
        Spelled { letter, alter, octave, sign }
    }
}
