//! What every step of the search needs to know.

use super::events::{Events, logs};
use super::evidence::Profile;
use super::{Pin, ScoreLoop};
use crate::recording::fit::onset::{Onset, median, seconds_of};

/// A loop, a recording and what the user has settled.
pub(super) struct Context<'a> {
    pub(super) events: Events,
    pub(super) onsets: &'a [Onset],
    pub(super) seconds: Vec<f64>,
    /// Logarithms of strength and bands of the onsets, relative to the median strength.
    pub(super) logs: Vec<[f64; 4]>,
    /// Expected rate.
    pub(super) hint: f64,
    /// On unrolled score times.
    pub(super) pins: Vec<Pin>,
    /// What hits look like, while beginning and end are searched.
    pub(super) profile: Option<Profile>,
    /// Where the performance begins and ends, if the user has said so.
    pub(super) range: (Option<f64>, Option<f64>),
}

impl<'a> Context<'a> {
    pub(super) fn new(score: &ScoreLoop, onsets: &'a [Onset], hint: f64) -> Self {
        let strengths: Vec<f64> = onsets.iter().map(|o| o.strength).collect();
        let scale = 1.0 / median(&strengths).unwrap_or(1.0).max(f64::MIN_POSITIVE);
        let logs = onsets.iter().map(|o| logs([o.strength, o.low, o.mid, o.high].map(|v| v * scale))).collect();
        Self {
            events: Events::new(score),
            onsets,
            seconds: seconds_of(onsets),
            logs,
            hint,
            pins: Vec::new(),
            profile: None,
            range: (None, None),
        }
    }
}
