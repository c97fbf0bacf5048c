//! Swing as a score states it for playback: of a note value, from the start of each bar.

use super::NoteValue;
use crate::rhythm::{Fraction, Swing, Time};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SwungValue {
    pub swing: Swing,
    pub value: Time,
}

impl SwungValue {
    /// The values of playback instructions (`MusicXML` 4.0, `swing-type-value`).
    pub(crate) const VALUES: [NoteValue; 2] =
        [NoteValue { halvings: 3, dotted: false }, NoteValue { halvings: 4, dotted: false }];

    /// Where a written time of a bar sounds: the middle of each pair of values moves, and the times around it in proportion. A pair
    /// that the bar line cuts does not swing. Times are from the bar's start; `None` on overflow.
    pub(crate) fn sounding_time(self, written: Time, bar: Time) -> Option<Time> {
        let pair = self.value.repeated(2)?;
        let pairs = written.ratio_to(pair)?;
        if pair.repeated(usize::try_from(pairs.floor()).ok()? + 1)? > bar {
            return Some(written);
        }
        let within = pairs.minus(Fraction::new(pairs.floor(), 1)?)?;
        let (share, two, half) = (self.swing.share(), Fraction::whole(2), Fraction::new(1, 2)?);
        let moved = if within <= half {
            within.times(two)?.times(share)?
        } else {
            let beyond = within.minus(half)?.times(two)?;
            share.plus(beyond.times(Fraction::ONE.minus(share)?)?)?
        };
        written.plus(pair.scaled(moved.minus(within)?)?)
    }
}
