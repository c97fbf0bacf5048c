//! An alignment as it is told.

use super::events::Event;
use super::reading::Reading;
use crate::recording::fit::clock::Clock;

/// A bar line with its seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Anchor {
    /// Index in [`ScoreLoop::bars`].
    pub bar: usize,
    /// Time through the loop, from 0 on.
    pub pass: usize,
    /// Unrolled score time.
    pub score: f64,
    /// Seconds of the recording.
    pub seconds: f64,
    /// Whether it lies before the first stroke, or after the last one, and so rests on the clock alone.
    pub is_extrapolated: bool,
}

/// The tempo of a bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BarRate {
    /// Index in [`ScoreLoop::bars`].
    pub bar: usize,
    /// Time through the loop, from 0 on.
    pub pass: usize,
    /// Seconds per score second: the written tempo divided by it was played.
    pub rate: f64,
}

/// An onset that is a stroke of the groove.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hit {
    /// Index of the onset.
    pub onset: usize,
    /// Index in [`Alignment::events`].
    pub event: usize,
    /// Unrolled score time.
    pub score: f64,
    /// Seconds after the clock.
    pub deviation: f64,
}

/// A stroke of the groove that was not heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MissingStroke {
    /// Index in [`Alignment::events`].
    pub event: usize,
    /// Unrolled score time.
    pub score: f64,
    /// When it should have sounded.
    pub seconds: f64,
}

/// Another way to read the same seconds.
#[derive(Debug, Clone, PartialEq)]
pub struct Alternative {
    /// Nats by which it fits worse; negative if it fits better than a reading the user has chosen.
    pub gap: f64,
    /// Its rate as a multiple of the chosen one: 2 is half the tempo.
    pub ratio: f64,
    /// Score seconds it is ahead in the middle of the performance, between minus and plus half a loop.
    pub shift: f64,
    pub(super) reading: Reading,
}

/// Something that has to be said about an alignment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Remark {
    /// The groove repeats inside itself; which time is played cannot be heard.
    Copies {
        /// Times it repeats.
        count: usize,
        /// Score seconds of one.
        period: f64,
    },
    /// Another reading fits about as well.
    OtherReading {
        /// Index in [`Alignment::alternatives`].
        alternative: usize,
    },
    /// Little speaks for this reading against other music.
    LittleEvidence {
        /// Log odds.
        total: f64,
    },
    /// Strokes stand nearer than the timing allows to tell apart; shifts by the distance cannot be excluded.
    Dense {
        /// Shortest distance of strokes as played, in seconds.
        shortest: f64,
    },
    /// Few strokes only.
    Sparse {
        /// Number of hits.
        hits: usize,
    },
    /// A small share fits.
    Weak {
        /// [`Alignment::share`].
        share: f64,
    },
    /// What comes before fits worse and is taken for other music.
    BeginningCut {
        /// Where the performance is taken to begin.
        seconds: f64,
        /// Share of hits before.
        share: f64,
    },
    /// What comes after fits worse and is taken for other music.
    EndCut {
        /// Where the performance is taken to end.
        seconds: f64,
        /// Share of hits after.
        share: f64,
    },
    /// The first stroke comes after its bar line, whose anchor is extrapolated.
    FirstAnchorExtrapolated,
}

/// A recording on the grid of a groove.
#[derive(Debug, Clone, PartialEq)]
pub struct Alignment {
    /// Attacks of the loop that sound together.
    pub events: Vec<Event>,
    /// Seconds of the recording at every unrolled score time.
    pub clock: Clock,
    /// Bar lines from that of the first stroke on.
    pub anchors: Vec<Anchor>,
    /// Tempos from anchor to anchor.
    pub rates: Vec<BarRate>,
    /// Strokes that were heard.
    pub hits: Vec<Hit>,
    /// Strokes that were not.
    pub missing: Vec<MissingStroke>,
    /// Indices of onsets that are no stroke.
    pub extra: Vec<usize>,
    /// Seconds at which the performance begins and ends.
    pub range: (f64, f64),
    /// Seconds per score second, the median over all beats.
    pub rate: f64,
    /// Standard deviation of strokes in seconds, that of the detector included.
    pub sigma: f64,
    /// `2 hits / (strokes + onsets)`: 1 if all fit.
    pub share: f64,
    /// Log odds against other music.
    pub total: f64,
    /// Nats to the next best reading.
    pub gap: f64,
    /// From 0 to 1: an order of preference, not a probability.
    pub confidence: f64,
    /// Other readings, best first.
    pub alternatives: Vec<Alternative>,
    /// What has to be said.
    pub remarks: Vec<Remark>,
    pub(super) hint: f64,
    pub(super) reading: Reading,
}

impl Alignment {
    /// Whether the alignment may well be another one: all remarks but those on copies, cuts and the first anchor.
    pub fn is_ambiguous(&self) -> bool {
        self.remarks.iter().any(|r| {
            matches!(
                r,
                Remark::OtherReading { .. }
                    | Remark::LittleEvidence { .. }
                    | Remark::Dense { .. }
                    | Remark::Sparse { .. }
                    | Remark::Weak { .. }
            )
        })
    }
}
