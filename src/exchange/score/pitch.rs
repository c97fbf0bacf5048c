//! Pitches on a staff: letters, accidentals, clefs. It must not know time.

use crate::rhythm::Pitch;
use std::collections::HashMap;

/// A pitch as it is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spelled {
    /// Letter, `A` to `G`.
    pub letter: char,
    /// Semitones above the letter: 0, or 1 for a sharp.
    pub alter: i8,
    /// Octave; 4 begins at middle C.
    pub octave: i8,
    /// The sign to be drawn before it, if one is needed in its bar.
    pub sign: Option<Accidental>,
}

/// A sign before a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Accidental {
    /// Raises the letter.
    Sharp,
    /// Takes a sharp back.
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
    /// Spells a pitch with sharps; `again` if it is tied from a note before and needs no sign.
    pub(super) fn spell(&mut self, pitch: Pitch, again: bool) -> Spelled {
        const LETTERS: [(char, i8); 12] = [
            ('C', 0),
            ('C', 1),
            ('D', 0),
            ('D', 1),
            ('E', 0),
            ('F', 0),
            ('F', 1),
            ('G', 0),
            ('G', 1),
            ('A', 0),
            ('A', 1),
            ('B', 0),
        ];
        let (letter, alter) = LETTERS[usize::from(pitch.key() % 12)];
        let octave = (pitch.key() / 12) as i8 - 1;
        let before = self.0.get(&(letter, octave)).copied().unwrap_or(0);
        let sign =
            (before != alter && !again).then_some(if alter == 0 { Accidental::Natural } else { Accidental::Sharp });
        if !again {
            self.0.insert((letter, octave), alter);
        }
        Spelled { letter, alter, octave, sign }
    }
}
