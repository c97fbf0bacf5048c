//! What the onsets alone cannot tell.

use super::Meter;
use super::average::uneven_rate;
use super::choice::Candidate;
use super::hypothesis::Reading;

/// Beats of the best even reading that must sound: at any speed, and with cells too fast to be felt.
const SOUNDING: (f64, f64) = (0.60, 0.75);
/// Cells felt less than this are too fast for beats that do not sound, and for groups of them.
const FELT_BEATS: f64 = 0.7;
const FELT_GROUPS: f64 = 0.5;
/// Beats apart by more than this share of their distance are at another place.
const OTHER_PLACE: f64 = 0.12;
/// The place is open if other places have more than this part of the first one's share.
const OPEN: f64 = 0.6;

/// A reason why the written beat may not be what is proposed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Remark {
    /// No pulse was found.
    NoPulse,
    /// The cells are too fast to be felt and too few beats of the best even reading sound: the heard rate is that of the average
    /// pulse.
    SilentBeatsOfFastCells {
        /// Share of the beats that sound.
        sounding: f64,
    },
    /// Few beats of the best even reading sound.
    SilentBeats {
        /// Share of the beats that sound.
        sounding: f64,
    },
    /// The first proposal groups cells too fast to be felt, or follows attacks at two distances near each other: the heard rate is
    /// the mean of the groups, and the written beat cannot be known from these onsets alone.
    MeanOfGroups {
        /// Beats per minute.
        rate: f64,
    },
    /// The first proposal is the average of attacks at nearly even distance, which no even beat carries.
    AveragePulse,
    /// The rate of the first proposal is likely with its beats at another place as well.
    PlaceOfBeatOpen,
}

/// What has to be said about a list of proposals for onsets at such seconds, the first being the best.
pub(super) fn remarks(chosen: &[Candidate], seconds: &[f64]) -> Vec<Remark> {
    let Some(first) = chosen.first() else { return vec![Remark::NoPulse] };
    let mut remarks = Vec::new();
    let even = chosen.iter().find_map(|candidate| match candidate.hypothesis.reading {
        Reading::Even { cells, .. } => Some((candidate, cells)),
        _ => None,
    });
    if let Some((Candidate { hypothesis, cells, .. }, length)) = even {
        let sounding = cells.sounding((hypothesis.phase as usize..cells.len()).step_by(length));
        if sounding < SOUNDING.1 && cells.felt < FELT_BEATS {
            remarks.push(Remark::SilentBeatsOfFastCells { sounding });
        } else if sounding < SOUNDING.0 {
            remarks.push(Remark::SilentBeats { sounding });
        }
    }
    match first.proposal.meter {
        Meter::Additive { .. } if first.cells.felt < FELT_GROUPS => {
            remarks.push(Remark::MeanOfGroups { rate: first.proposal.rate });
        }
        Meter::Even { .. } if remarks.is_empty() => {
            remarks.extend(uneven_rate(seconds, 60.0 / first.proposal.rate).map(|rate| Remark::MeanOfGroups { rate }));
        }
        Meter::Average if remarks.is_empty() => remarks.push(Remark::AveragePulse),
        _ => {}
    }
    let elsewhere: f64 = chosen[1..]
        .iter()
        .filter(|other| other.has_rate_of(first) && first.offset_from(other) > OTHER_PLACE)
        .map(|other| other.proposal.share)
        .sum();
    if elsewhere > OPEN * first.proposal.share {
        remarks.push(Remark::PlaceOfBeatOpen);
    }
    remarks
}
