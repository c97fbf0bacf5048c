//! Cells (rest, attack or hold), accents, pitches and swing.

use super::bounds::{OutOfBound, SWING_TERM};
use super::time::Fraction;
use std::fmt;

/// How strongly an attack is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Accent {
    /// The softest.
    Ghost,
    /// Between ghost and plain.
    Soft,
    /// Neither ghosted nor accented.
    #[default]
    Plain,
    /// Between plain and accent.
    Strong,
    /// The loudest.
    Accent,
}

impl Accent {
    /// From the softest to the loudest.
    pub const ALL: [Accent; 5] = [Accent::Ghost, Accent::Soft, Accent::Plain, Accent::Strong, Accent::Accent];

    /// The name in lower case.
    pub fn name(self) -> &'static str {
        match self {
            Accent::Ghost => "ghost",
            Accent::Soft => "soft",
            Accent::Plain => "plain",
            Accent::Strong => "strong",
            Accent::Accent => "accent",
        }
    }

    /// Steps above a plain attack, negative below: 2 for an accent, -2 for a ghost.
    pub(crate) fn level(self) -> i32 {
        self as i32 - Accent::Plain as i32
    }

    /// The level this many steps louder, or softer if negative; at most the loudest, at least the softest.
    pub(crate) fn stepped(self, steps: i32) -> Self {
        let last = Self::ALL.len() as i32 - 1;
        Self::ALL[(self as i32).saturating_add(steps).clamp(0, last) as usize]
    }
}

/// How long before its attack the grace stroke of a flam sounds (common practice, no source). It is the same at every tempo and
/// playing speed, as a hand plays it.
pub(crate) const FLAM_LEAD_MS: u32 = 30;
/// The level of the grace stroke relative to its attack, in dB (common practice, no source).
pub(crate) const FLAM_DB: i8 = -8;

/// A pitch by its key number, 0 to 127, with middle C (C4) = 60 (Standard MIDI Files 1.0).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Pitch(u8);

/// The accent of an attack, whether it is a flam, and its pitch if it has one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Attack {
    /// How strongly it is played.
    pub accent: Accent,
    /// Whether a softer grace stroke precedes it; the two count as one attack.
    pub flam: bool,
    /// Its pitch; `None` sounds the default of the voice.
    pub pitch: Option<Pitch>,
}

/// One subdivision of a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Cell {
    /// Silence.
    #[default]
    Rest,
    /// The sound before continues.
    Hold,
    /// A sound begins.
    Attack(Attack),
}

impl Cell {
    /// A plain attack without pitch.
    pub const ATTACK: Cell = Cell::Attack(Attack { accent: Accent::Plain, flam: false, pitch: None });

    /// The attack, if the cell is one.
    pub fn attack(self) -> Option<Attack> {
        match self {
            Cell::Attack(a) => Some(a),
            Cell::Rest | Cell::Hold => None,
        }
    }
}

const NAMES: [&str; 12] = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];

/// The semitones from C up to a natural letter.
pub(crate) fn semitones(letter: char) -> Option<u8> {
    NAMES.iter().position(|name| name.chars().eq([letter])).map(|n| n as u8)
}

impl Pitch {
    /// The pitch with this key number; `None` above 127.
    pub fn new(key: u8) -> Option<Self> {
        (key < 128).then_some(Self(key))
    }

    /// The key number, 0 to 127.
    pub(crate) fn key(self) -> u8 {
        self.0
    }

    /// `None` outside 0 to 127.
    pub(crate) fn transposed(self, semitones: i32) -> Option<Self> {
        u8::try_from(i32::from(self.0) + semitones).ok().and_then(Self::new)
    }

    /// Reads scientific pitch notation: `E2`, `C#4`, `Bb3`, `C-1`.
    pub(crate) fn parse(text: &str) -> Option<Self> {
        let mut chars = text.chars();
        let base = i32::from(semitones(chars.next()?.to_ascii_uppercase())?);
        let rest = chars.as_str();
        let (shift, octave) = match rest.as_bytes().first()? {
            b'#' => (1, &rest[1..]),
            b'b' => (-1, &rest[1..]),
            _ => (0, rest),
        };
        if octave.is_empty() || octave.len() > 2 || octave.starts_with('+') {
            return None;
        }
        let octave: i32 = octave.parse().ok()?;
        u8::try_from((octave + 1) * 12 + base + shift).ok().and_then(Self::new)
    }
}

impl fmt::Display for Pitch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", NAMES[usize::from(self.0 % 12)], i32::from(self.0 / 12) - 1)
    }
}

/// An exact swing ratio, long to short. It moves the second of each pair of cells of an evenly divided beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Swing {
    long: u8,
    short: u8,
}

impl Swing {
    /// `long:short`; `1:1` is straight.
    ///
    /// # Errors
    /// A term that is out of bounds.
    pub(crate) fn new(long: u8, short: u8) -> Result<Self, OutOfBound> {
        SWING_TERM.check(i64::from(long))?;
        SWING_TERM.check(i64::from(short))?;
        Ok(Self { long, short })
    }

    /// Reads `2:1`.
    pub fn parse(text: &str) -> Option<Self> {
        let (long, short) = text.split_once(':')?;
        Self::new(long.trim().parse().ok()?, short.trim().parse().ok()?).ok()
    }

    /// Start of the second cell as a share of the pair: 2/3 for `2:1`.
    pub(crate) fn share(self) -> Fraction {
        Fraction::new(i64::from(self.long), i64::from(self.long) + i64::from(self.short)).expect("terms are at least 1")
    }
}

impl fmt::Display for Swing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.long, self.short)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pitch_prints_and_parses() {
        for key in 0..128 {
            let p = Pitch::new(key).expect("within range");
            assert_eq!(Pitch::parse(&p.to_string()), Some(p));
        }
        // Key numbers of Standard MIDI Files 1.0 with C4 = 60; 69 is A4.
        assert_eq!(Pitch::parse("C4").map(Pitch::key), Some(60));
        assert_eq!(Pitch::parse("A4").map(Pitch::key), Some(69));
        assert_eq!(Pitch::parse("Bb3"), Pitch::parse("A#3"));
        for bad in ["", "H2", "C", "C#", "C99", "C-9", "é4", "Cé", "C+4"] {
            assert_eq!(Pitch::parse(bad), None, "{bad}");
        }
    }

    #[test]
    fn a_step_goes_to_the_next_level_and_stays_within_the_levels() {
        use Accent::{Accent as Loudest, Ghost, Plain, Soft, Strong};
        let steps = Accent::ALL.map(|a| [a.stepped(-1), a.stepped(1)]);
        let expected = [[Ghost, Soft], [Ghost, Plain], [Soft, Strong], [Plain, Loudest], [Strong, Loudest]];
        assert_eq!(steps, expected);
        assert_eq!([Plain.stepped(i32::MAX), Plain.stepped(i32::MIN)], [Loudest, Ghost]);
        assert!(Accent::ALL.is_sorted());
    }

    #[test]
    fn swing_is_exact() {
        let shuffle = Swing::parse("2:1").expect("valid");
        assert_eq!(Some(shuffle.share()), Fraction::new(2, 3));
        for bad in ["", "2", "0:1", "2:0", "17:1", "a:b"] {
            assert_eq!(Swing::parse(bad), None, "{bad}");
        }
    }
}
