//! Note values: powers of two of a whole note with at most one dot.

use crate::rhythm::{Fraction, Time};

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct NoteValue {
    /// The halvings of a whole note: 0 is a whole note, 2 a quarter, 10 is 1/1024; -1 is a breve.
    pub halvings: i8,
    pub dotted: bool,
}

/// Halvings of the shortest value, 1/1024.
const MAX_HALVINGS: i8 = 10;

impl NoteValue {
    pub(crate) const QUARTER: Self = Self { halvings: 2, dotted: false };

    pub fn undotted(length: Time) -> Option<Self> {
        let halvings = match (length.numer(), length.denom()) {
            (2, 1) => -1,
            (1, d) if (d as u64).is_power_of_two() => i8::try_from(d.ilog2()).ok()?,
            _ => return None,
        };
        (halvings <= MAX_HALVINGS).then_some(Self { halvings, dotted: false })
    }

    /// The value of a length, with a dot if needed, if there is one.
    pub fn from_length(length: Time) -> Option<Self> {
        Self::undotted(length).or_else(|| {
            let undotted = Self::undotted(length.scaled(Fraction::new(2, 3)?)?)?;
            // The dot is half of the value.
            (undotted.halvings < MAX_HALVINGS).then_some(Self { dotted: true, ..undotted })
        })
    }

    /// In whole notes.
    pub fn length(self) -> Time {
        let (numer, denom) = if self.halvings < 0 { (2, 1) } else { (1, 1_i64 << self.halvings) };
        let dots = if self.dotted { (3, 2) } else { (1, 1) };
        Time::new(numer * dots.0, denom * dots.1).expect("denominators are positive")
    }

    pub fn flags(self) -> usize {
        usize::try_from(self.halvings - 2).unwrap_or(0)
    }

    /// `quarter`, `eighth`, `16th` and so on, as `MusicXML` names them.
    pub fn name(self) -> &'static str {
        const NAMES: [&str; 12] = [
            "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th",
        ];
        NAMES[usize::try_from(self.halvings + 1).unwrap_or(0).min(NAMES.len() - 1)]
    }

    pub fn from_name(name: &str) -> Option<Self> {
        (-1..=MAX_HALVINGS).map(|halvings| Self { halvings, dotted: false }).find(|v| v.name() == name)
    }
}

/// Whether note values can add up to a length.
pub(super) fn is_reachable(at: Time) -> bool {
    (at.denom() as u64).is_power_of_two() && at.denom() <= 1 << MAX_HALVINGS
}

pub(super) fn difference(a: Time, b: Time) -> Time {
    a.minus(b).expect("times of a section are bounded")
}
