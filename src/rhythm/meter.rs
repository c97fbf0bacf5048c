//! Meters (simple, compound and additive), tempos and note values.

use super::bounds::{BEATS_PER_BAR, DENOMINATOR, OutOfBound, TEMPO};
use super::text::expected;
use super::time::{Fraction, Time, digits};
use std::fmt;

/// The expected forms, for messages.
pub(crate) const METER_FORM: &str = "a meter like 4/4, 6/8 or 3+2+2/8";
pub(crate) const LOWER_FORM: &str = "a lower number of the meter of 1, 2, 4, 8, 16, 32 or 64";

/// A meter such as `4/4` (simple), `6/8` (compound) or `3+2+2/8` (additive).
///
/// A simple meter has one beat per lower unit. A compound meter, whose upper number is a multiple of three and at least six,
/// has one beat per three lower units. An additive meter has one beat per lower unit, and its terms place the strong beats:
/// `3+3/4` has six beats, `6/4` two.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Meter {
    terms: Vec<u16>,
    lower: u16,
}

/// The family of a meter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MeterKind {
    /// One beat per lower unit.
    Simple,
    /// One beat per three lower units.
    Compound,
    /// One beat per lower unit, strong beats given by the terms.
    Additive,
}

/// Why a text is not a meter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum MeterError {
    /// The text does not have the form of a meter.
    Form(String),
    /// The lower number is not a power of two from 1 to 64.
    Lower(i64),
    /// A number is out of its bound.
    Bound(OutOfBound),
}

impl fmt::Display for MeterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Form(found) => f.write_str(&expected(METER_FORM, format!("'{found}'"))),
            Self::Lower(found) => f.write_str(&expected(LOWER_FORM, found)),
            Self::Bound(error) => error.fmt(f),
        }
    }
}

impl Meter {
    /// A meter with these terms of the upper number and this lower number.
    ///
    /// # Errors
    /// No term, a zero term, an invalid lower number or too many beats.
    pub fn new(terms: Vec<u16>, lower: u16) -> Result<Self, MeterError> {
        if terms.is_empty() || terms.contains(&0) {
            let upper: Vec<String> = terms.iter().map(u16::to_string).collect();
            return Err(MeterError::Form(format!("{}/{lower}", upper.join("+"))));
        }
        if !lower.is_power_of_two() || DENOMINATOR.check(i64::from(lower)).is_err() {
            return Err(MeterError::Lower(i64::from(lower)));
        }
        let sum: i64 = terms.iter().map(|&t| i64::from(t)).sum();
        BEATS_PER_BAR.check(sum).map_err(MeterError::Bound)?;
        Ok(Self { terms, lower })
    }

    /// Reads `4/4`, `6/8`, `3+2+2/8`.
    ///
    /// # Errors
    /// Those of [`Meter::new`], and [`MeterError::Form`] for any other text.
    pub fn parse(text: &str) -> Result<Self, MeterError> {
        let form = || MeterError::Form(text.to_owned());
        let number = |s: &str| digits(s.trim()).and_then(|n| u16::try_from(n).ok()).ok_or_else(form);
        let (upper, lower) = text.split_once('/').ok_or_else(form)?;
        let terms = upper.split('+').map(number).collect::<Result<Vec<_>, _>>()?;
        Self::new(terms, number(lower)?)
    }

    /// The family of the meter.
    pub fn kind(&self) -> MeterKind {
        match self.terms[..] {
            [n] if n > 3 && n.is_multiple_of(3) => MeterKind::Compound,
            [_] => MeterKind::Simple,
            _ => MeterKind::Additive,
        }
    }

    fn upper(&self) -> usize {
        self.terms.iter().map(|&t| usize::from(t)).sum()
    }

    /// Beats in a bar.
    pub fn beats(&self) -> usize {
        if self.kind() == MeterKind::Compound { self.upper() / 3 } else { self.upper() }
    }

    /// Length of a beat.
    pub fn beat(&self) -> Time {
        let units = if self.kind() == MeterKind::Compound { 3 } else { 1 };
        Time::new(units, i64::from(self.lower)).expect("the lower number is at least 1")
    }

    /// Length of a bar.
    pub fn bar(&self) -> Time {
        Time::new(self.upper() as i64, i64::from(self.lower)).expect("the lower number is at least 1")
    }

    /// The lower number.
    pub fn lower(&self) -> u16 {
        self.lower
    }

    /// Terms of the upper number; one for a simple or compound meter.
    pub fn terms(&self) -> &[u16] {
        &self.terms
    }

    /// The strong beats besides the downbeat, from 0: the heads of an additive meter's terms, or the middle of a bar whose number of
    /// beats is a multiple of four.
    pub(crate) fn strong_beats(&self) -> Vec<usize> {
        match self.kind() {
            MeterKind::Additive => {
                let ends = self.terms.iter().scan(0, |at, &t| {
                    *at += usize::from(t);
                    Some(*at)
                });
                ends.take(self.terms.len() - 1).collect()
            }
            _ if self.beats().is_multiple_of(4) => vec![self.beats() / 2],
            _ => Vec::new(),
        }
    }
}

impl fmt::Display for Meter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let upper: Vec<String> = self.terms.iter().map(u16::to_string).collect();
        write!(f, "{}/{}", upper.join("+"), self.lower)
    }
}

/// An exact tempo in beats per minute, and the note value of the beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Tempo {
    bpm: Fraction,
    unit: Time,
}

impl Tempo {
    /// Greatest denominator of the beats per minute in a file. It keeps the products with any note value exact.
    pub(crate) const MAX_DENOMINATOR: i64 = 1_000_000;

    /// The tempo rounded to what a file can hold. Both bounds of a tempo are whole, so it stays within them.
    #[must_use]
    pub(crate) fn rounded(self) -> Self {
        if self.bpm.denom() <= Self::MAX_DENOMINATOR {
            return self;
        }
        let whole = Fraction::new(Self::MAX_DENOMINATOR, 1).and_then(|scale| self.bpm.times(scale));
        let bpm = whole.and_then(|parts| Fraction::new(parts.round(), Self::MAX_DENOMINATOR));
        Self { bpm: bpm.unwrap_or(self.bpm), ..self }
    }

    /// `bpm` beats of length `unit` in a minute.
    ///
    /// # Errors
    /// [`OutOfBound`] with the tempo rounded down.
    pub fn new(bpm: Fraction, unit: Time) -> Result<Self, OutOfBound> {
        let least = Fraction::whole(TEMPO.least as i32);
        let greatest = Fraction::whole(TEMPO.greatest as i32);
        if bpm < least || bpm > greatest || unit <= Time::ZERO {
            return Err(OutOfBound { bound: &TEMPO, value: bpm.floor() });
        }
        Ok(Self { bpm, unit })
    }

    /// Beats per minute.
    pub fn bpm(self) -> Fraction {
        self.bpm
    }

    /// The note value of the beat.
    pub(crate) fn unit(self) -> Time {
        self.unit
    }

    /// Whole notes per minute, exact.
    pub fn wholes_per_minute(self) -> Fraction {
        self.bpm.times(self.unit.wholes()).expect("tempo and unit are bounded")
    }
}

/// Reads a note value: `1/4`, dotted `1/4.`, or any fraction of a whole note such as `3/8`.
pub(crate) fn parse_note_value(text: &str) -> Option<Time> {
    let (plain, dotted) = text.strip_suffix('.').map_or((text, false), |p| (p, true));
    let (n, d) = plain.split_once('/')?;
    let number = |s: &str| digits(s).filter(|_| s.len() < 4);
    let (n, d) = (number(n)?, number(d)?);
    if n < 1 || !(1..=64).contains(&d) || !(d as u64).is_power_of_two() {
        return None;
    }
    let value = Time::new(n, d)?;
    if dotted { value.scaled(Fraction::new(3, 2)?) } else { Some(value) }
}

/// Prints a note value: `1/4`, dotted `1/4.`.
pub(crate) fn print_note_value(value: Time) -> String {
    if value.numer() == 3 && value.denom() > 1 { format!("1/{}.", value.denom() / 2) } else { value.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn families_and_beats() {
        let rows = [
            ("4/4", MeterKind::Simple, 4, Time::new(1, 4)),
            ("3/8", MeterKind::Simple, 3, Time::new(1, 8)),
            ("6/8", MeterKind::Compound, 2, Time::new(3, 8)),
            ("12/8", MeterKind::Compound, 4, Time::new(3, 8)),
            ("3+2+2/8", MeterKind::Additive, 7, Time::new(1, 8)),
            ("13/16", MeterKind::Simple, 13, Time::new(1, 16)),
        ];
        for (text, kind, beats, beat) in rows {
            let m = Meter::parse(text).expect(text);
            assert_eq!((m.kind(), m.beats(), Some(m.beat())), (kind, beats, beat), "{text}");
            assert_eq!(m.beat().repeated(m.beats()), Some(m.bar()), "{text}");
        }
        assert_eq!(Meter::parse("3+2+2/8").expect("meter").strong_beats(), [3, 5]);
        assert_eq!(Meter::parse("4/4").expect("meter").strong_beats(), [2]);
        for bad in ["", "4", "4/", "/4", "0/4", "4/3", "4/0", "4/128", "129/4", "3++2/8", "-4/4", "4/4/4", "99999/4"] {
            assert!(Meter::parse(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn note_values() {
        for text in ["1/4", "1/4.", "1/8", "1/16."] {
            assert_eq!(print_note_value(parse_note_value(text).expect(text)), text);
        }
        assert_eq!(parse_note_value("3/8"), parse_note_value("1/4."));
        for bad in ["", "1", "1/0", "0/4", "1/3", "x/4", "1/4.."] {
            assert_eq!(parse_note_value(bad), None, "{bad}");
        }
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn printing_and_parsing_a_meter_is_a_round_trip(terms in prop::collection::vec(1_u16..9, 1..6), power in 0_u32..7) {
            let m = Meter::new(terms, 1 << power).expect("valid");
            prop_assert_eq!(Meter::parse(&m.to_string()), Ok(m));
        }
    }
}
