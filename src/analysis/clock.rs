//! Exact positions to seconds and back, at full speed.

use crate::rhythm::{Groove, Time};

/// Seconds of every position of a groove at its written tempos, each time through counted.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Clock {
    spans: Vec<ClockSpan>,
    total: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct ClockSpan {
    section: usize,
    pass: usize,
    start: f64,
    wholes_start: f64,
    wholes: f64,
    seconds_per_whole: f64,
}

/// A position found back from seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Moment {
    pub(crate) section: usize,
    /// Time through, from 0.
    pub(crate) pass: usize,
    /// Whole notes from the start of this time through.
    pub(crate) wholes: f64,
}

/// The nearest number to an exact time in whole notes.
pub(crate) fn wholes(time: Time) -> f64 {
    time.numer() as f64 / time.denom() as f64
}

impl Clock {
    /// The clock of a groove.
    pub fn new(groove: &Groove) -> Self {
        let mut clock = Self::default();
        let mut at_whole = 0.0;
        for (section, s) in groove.sections().iter().enumerate() {
            let per_minute = s.tempo.wholes_per_minute();
            let seconds_per_whole = 60.0 * per_minute.denom() as f64 / per_minute.numer() as f64;
            for pass in 0..usize::from(s.times) {
                let length = wholes(s.length());
                clock.spans.push(ClockSpan {
                    section,
                    pass,
                    start: clock.total,
                    wholes_start: at_whole,
                    wholes: length,
                    seconds_per_whole,
                });
                clock.total += length * seconds_per_whole;
                at_whole += length;
            }
        }
        clock
    }

    /// Length of the groove in seconds.
    pub fn total(&self) -> f64 {
        self.total
    }

    fn span(&self, section: usize, pass: usize) -> Option<&ClockSpan> {
        let first = self.spans.partition_point(|s| (s.section, s.pass) < (section, pass));
        self.spans.get(first).filter(|s| (s.section, s.pass) == (section, pass))
    }

    /// Seconds from the start of the groove; `None` for a section or pass that is not there.
    pub fn seconds(&self, section: usize, pass: usize, offset: Time) -> Option<f64> {
        let span = self.span(section, pass)?;
        Some(span.start + wholes(offset) * span.seconds_per_whole)
    }

    /// The same after `count` times a length: the quotient is rounded once, so that the fraction need not be reduced.
    pub(crate) fn seconds_after(&self, section: usize, pass: usize, length: Time, count: usize) -> Option<f64> {
        let span = self.span(section, pass)?;
        Some(span.start + count as f64 * length.numer() as f64 / length.denom() as f64 * span.seconds_per_whole)
    }

    /// Whole notes from the start of the groove, every time through counted.
    pub(crate) fn whole_notes(&self, section: usize, pass: usize, offset: Time) -> Option<f64> {
        Some(self.span(section, pass)?.wholes_start + wholes(offset))
    }

    /// Seconds at so many whole notes from the start of the groove, every time through counted; beyond the end the last tempo goes on.
    pub(crate) fn at_whole(&self, whole_notes: f64) -> f64 {
        let next = self.spans.partition_point(|s| s.wholes_start <= whole_notes + 1e-9);
        let span = self.spans.get(next.saturating_sub(1));
        span.map_or(0.0, |s| s.start + (whole_notes - s.wholes_start) * s.seconds_per_whole)
    }

    /// Whole notes from the start of the groove at so many seconds: the inverse of [`Clock::at_whole`].
    pub(crate) fn whole_of(&self, seconds: f64) -> f64 {
        let next = self.spans.partition_point(|s| s.start <= seconds + 1e-9);
        let span = self.spans.get(next.saturating_sub(1));
        span.map_or(0.0, |s| s.wholes_start + (seconds - s.start) / s.seconds_per_whole)
    }

    /// Whole notes of the whole groove, every time through counted.
    pub(crate) fn total_wholes(&self) -> f64 {
        self.spans.last().map_or(0.0, |s| s.wholes_start + s.wholes)
    }

    /// Seconds a whole note lasts in a section; `None` for a section that is not there.
    pub(crate) fn seconds_per_whole(&self, section: usize) -> Option<f64> {
        self.span(section, 0).map(|s| s.seconds_per_whole)
    }

    /// Start and end of a time through a section in seconds.
    pub(crate) fn range(&self, section: usize, pass: usize) -> Option<(f64, f64)> {
        self.span(section, pass).map(|s| (s.start, s.start + s.wholes * s.seconds_per_whole))
    }

    /// Every time through, as section and pass, in playing order.
    pub(crate) fn passes(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.spans.iter().map(|s| (s.section, s.pass))
    }

    /// The position at so many seconds; `None` before the start or from the end on.
    pub(crate) fn moment(&self, seconds: f64) -> Option<Moment> {
        let next = self.spans.partition_point(|s| s.start <= seconds + 1e-9);
        let span = self.spans.get(next.checked_sub(1)?)?;
        let wholes = ((seconds - span.start) / span.seconds_per_whole).max(0.0);
        (wholes < span.wholes).then_some(Moment { section: span.section, pass: span.pass, wholes })
    }
}
