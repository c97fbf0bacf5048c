//! Finds where a known groove is played in a recording, and at what tempo.
//!
//! 1. [`events`]: what a detector can hear of the groove.
//! 2. [`seeds`]: windows of the recording are correlated with the loop at all rates and phases.
//! 3. [`search`]: the best seeds are followed in both directions and refitted.
//! 4. [`reading`]: a clock, the strokes on it and their log odds against other music. Where the performance begins and ends is the
//!    run of strokes with the largest sum.
//! 5. [`reread`]: the best clock is read at other tempos and from other places, so that half, double and shifted readings compete.
//! 6. [`outcome`]: anchors, deviations, and what has to be said about them, as an [`Alignment`].
//!
//! *Score time* is in seconds at the groove's written tempos, so that a written change of tempo is no change of rate. A *rate* is in
//! seconds of the recording per score second: 1 is the written tempo, 2 half of it. Log odds are in nats. Following a score by a path
//! through score and tempo: Raphael, *A hybrid graphical model for aligning polyphonic audio with musical scores*, 2004.

mod alignment;
mod context;
mod events;
mod evidence;
mod outcome;
mod reading;
mod reread;
mod search;
mod seeds;
mod split;
#[cfg(test)]
mod tests;

pub use alignment::{Alignment, Alternative, Anchor, BarRate, Hit, MissingStroke, Remark};
pub use events::{AttackId, Event};

use crate::recording::fit::onset::Onset;
use context::Context;
use reading::refit;
use search::{Found, extended, search};

/// Onsets and events below which nothing can be said.
const MIN_ONSETS: usize = 6;
const MIN_EVENTS: usize = 2;

/// An attack as written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScoreAttack {
    /// Score time from the start of the loop.
    pub seconds: f64,
    /// Weight of its accent: 1 accented, 0.6 plain, 0.25 ghost.
    pub weight: f64,
}

/// A layer as written.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ScoreLayer {
    /// Its attacks, in any order.
    pub attacks: Vec<ScoreAttack>,
    /// Strength of its sound in the low, middle and high band, if it is known; linear.
    pub bands: Option<[f64; 3]>,
}

/// A groove that is played once or again and again.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ScoreLoop {
    /// The layers that sound in the recording.
    pub layers: Vec<ScoreLayer>,
    /// Length in score seconds.
    pub length: f64,
    /// Score times of bars, ascending from 0 on.
    pub bars: Vec<f64>,
    /// Score times of beats, ascending from 0 on.
    pub beats: Vec<f64>,
}

/// A score time whose seconds the user has settled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pin {
    /// Score time; of all times through the loop, the one nearest to `seconds` is meant.
    pub score: f64,
    /// Seconds of the recording.
    pub seconds: f64,
}

/// What the user has settled about an alignment.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Adjustment {
    /// Anchors that were moved.
    pub pins: Vec<Pin>,
    /// Seconds before which nothing belongs to the performance.
    pub from: Option<f64>,
    /// Seconds after which nothing belongs to it.
    pub to: Option<f64>,
}

/// Why there is no alignment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AlignError {
    /// Fewer onsets than make a performance.
    TooFewOnsets {
        /// Onsets there are.
        found: usize,
        /// Onsets there must be.
        expected: usize,
    },
    /// Fewer strokes in the loop than have a tempo, or a loop without length.
    TooFewEvents {
        /// Events there are.
        found: usize,
        /// Events there must be.
        expected: usize,
    },
    /// Nothing in the recording is more like the groove than other music.
    NotFound,
}

impl std::fmt::Display for AlignError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooFewOnsets { found, expected } => write!(f, "expected at least {expected} onsets, found {found}"),
            Self::TooFewEvents { found, expected } => {
                write!(f, "expected a groove with at least {expected} strokes, found {found}")
            }
            Self::NotFound => f.write_str("expected the groove in the recording, found only other music"),
        }
    }
}

impl std::error::Error for AlignError {}

/// Aligns a recording, whose onsets ascend in time, with a groove. `hint` is the expected rate; 1 if nothing is known.
///
/// # Errors
/// If there is too little to align, or the groove is not found.
pub fn align(score: &ScoreLoop, onsets: &[Onset], hint: f64) -> Result<Alignment, AlignError> {
    let mut context = checked(score, onsets, hint)?;
    let found = search(&mut context).ok_or(AlignError::NotFound)?;
    Ok(outcome::alignment(&context, score, found))
}

/// Takes another reading of an alignment as the right one. The one before becomes an alternative.
///
/// # Errors
/// As [`align`]; [`AlignError::NotFound`] for an alternative that is not there.
pub fn adopt(
    score: &ScoreLoop,
    onsets: &[Onset],
    alignment: &Alignment,
    alternative: usize,
) -> Result<Alignment, AlignError> {
    let context = checked(score, onsets, alignment.hint)?;
    let mut others: Vec<_> = alignment.alternatives.iter().map(|a| a.reading.clone()).collect();
    if alternative >= others.len() {
        return Err(AlignError::NotFound);
    }
    let best = extended(&context, others.remove(alternative));
    others.insert(0, alignment.reading.clone());
    Ok(outcome::alignment(&context, score, Found { best, others, cuts: Vec::new() }))
}

/// Fits an alignment again with what the user has settled; nothing is searched.
///
/// # Errors
/// As [`align`]; [`AlignError::NotFound`] if too few strokes are left.
pub fn adjust(
    score: &ScoreLoop,
    onsets: &[Onset],
    alignment: &Alignment,
    adjustment: &Adjustment,
) -> Result<Alignment, AlignError> {
    let mut context = checked(score, onsets, alignment.hint)?;
    let unrolled = |pin: &Pin| {
        let passes = ((alignment.clock.score(pin.seconds) - pin.score) / score.length).round();
        Pin { score: pin.score + passes * score.length, ..*pin }
    };
    context.pins = adjustment.pins.iter().map(unrolled).collect();
    context.range = (adjustment.from, adjustment.to);
    let reading = extended(&context, alignment.reading.clone());
    let best = refit(&context, reading.points(), reading.sigma, 3).ok_or(AlignError::NotFound)?;
    let others = alignment.alternatives.iter().map(|a| a.reading.clone()).collect();
    Ok(outcome::alignment(&context, score, Found { best, others, cuts: Vec::new() }))
}

fn checked<'a>(score: &ScoreLoop, onsets: &'a [Onset], hint: f64) -> Result<Context<'a>, AlignError> {
    if onsets.len() < MIN_ONSETS {
        return Err(AlignError::TooFewOnsets { found: onsets.len(), expected: MIN_ONSETS });
    }
    let has_length = score.length.is_finite() && score.length > 0.0;
    let context = if has_length { Some(Context::new(score, onsets, hint)) } else { None };
    let found = context.as_ref().map_or(0, |c| c.events.times.len());
    context
        .filter(|c| c.events.times.len() >= MIN_EVENTS)
        .ok_or(AlignError::TooFewEvents { found, expected: MIN_EVENTS })
}
