//! The list of proposals: the best one, then others that are likely and say something new.

use super::cells::Cells;
use super::hypothesis::{Hypothesis, Reading};
use super::lattice::CellClock;
use super::{Meter, Proposal};

/// Nats of a clock's evidence per second that count in a reading's score.
const CLOCK_EVIDENCE: f64 = 8.0;
/// Readings that are compared for the list, each of another tempo, bar or downbeat.
const MAX_COMPARED: usize = 14;
/// Fewest beats of a proposal.
const MIN_BEATS: usize = 3;
/// Rates nearer than this ratio are one, and in the comparison with double and half.
const SAME_RATE: f64 = 0.012;
const SAME_RATIO: f64 = 0.02;
/// Beats nearer than this share of their distance are one.
const SAME_PLACE: f64 = 0.08;
/// Nats per unit of the exponent when scores become shares: the order is worth more than the certainty.
const TEMPER: f64 = 1.5;
/// What the likelihood of an entry is multiplied by for every entry before it of the same beats, and of the same family.
const SAME_BEATS: f64 = 0.35;
const SAME_FAMILY: f64 = 0.7;
/// Entries at the head of the list that may be of one tempo, its double and its half: the next one is of another tempo, for those to
/// whom none of these sounds right. Bars and downbeats of one tempo fill the rest of the list. Only a tempo this likely in
/// terms of the first one is put before them.
const HEAD_OF_FAMILY: usize = 2;
const LIKELY_OTHER: f64 = 0.05;

/// A reading of one clock's cells with the beats it gives.
#[derive(Debug, Clone)]
pub(super) struct Candidate<'a> {
    pub(super) score: f64,
    pub(super) hypothesis: Hypothesis,
    pub(super) cells: &'a Cells,
    pub(super) proposal: Proposal,
}

impl<'a> Candidate<'a> {
    pub(super) fn new(hypothesis: Hypothesis, clock: &CellClock, cells: &'a Cells) -> Self {
        let score = hypothesis.score + CLOCK_EVIDENCE * clock.evidence;
        let proposal = proposal(&hypothesis, clock, cells.len());
        Self { score, hypothesis, cells, proposal }
    }

    /// Whether both have the same rate, within [`SAME_RATE`].
    pub(super) fn has_rate_of(&self, other: &Self) -> bool {
        (self.proposal.rate / other.proposal.rate - 1.0).abs() < SAME_RATE
    }

    /// Median distance of this one's beats from the nearest of another's, as a share of the beat.
    pub(super) fn offset_from(&self, other: &Self) -> f64 {
        offset(self.proposal.beats.iter().copied(), &other.proposal.beats) * self.proposal.rate / 60.0
    }

    /// Whether both would be the same entry of the list.
    fn repeats(&self, other: &Self) -> bool {
        let (a, b) = (&self.proposal, &other.proposal);
        let same_kind = std::mem::discriminant(&a.meter) == std::mem::discriminant(&b.meter);
        same_kind && a.meter.bar() == b.meter.bar() && self.has_rate_of(other) && {
            let others: Vec<f64> = b.downbeats().collect();
            offset(a.downbeats(), &others) * a.rate / 60.0 < SAME_PLACE
        }
    }

    /// Whether the rate is that of another one, its double or its half.
    fn is_of_family(&self, other: &Self) -> bool {
        let ratio = self.proposal.rate / other.proposal.rate;
        [1.0, 2.0, 0.5].iter().any(|family| (ratio / family - 1.0).abs() < SAME_RATIO)
    }

    /// How much of its likelihood is left beside another entry.
    fn novelty(&self, other: &Self) -> f64 {
        match (&self.proposal.meter, &other.proposal.meter) {
            (Meter::Additive { groups: a, cells }, Meter::Additive { groups: b, cells: others }) => {
                let sorted = |groups: &[u8]| {
                    let mut groups = groups.to_vec();
                    groups.sort_unstable();
                    groups
                };
                if cells == others && sorted(a) == sorted(b) { SAME_BEATS } else { 1.0 }
            }
            (Meter::Even { .. }, Meter::Even { .. }) | (Meter::Average, Meter::Average) => {
                if self.has_rate_of(other) && self.offset_from(other) < SAME_PLACE {
                    SAME_BEATS
                } else if self.is_of_family(other) {
                    SAME_FAMILY
                } else {
                    1.0
                }
            }
            _ => 1.0,
        }
    }
}

/// Up to `count` candidates, with their shares.
pub(super) fn choose(mut candidates: Vec<Candidate>, count: usize) -> Vec<Candidate> {
    candidates.retain(|candidate| candidate.proposal.beats.len() >= MIN_BEATS);
    candidates.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut different: Vec<Candidate> = Vec::new();
    let mut has_other = false;
    for candidate in candidates {
        let is_other = different.first().is_some_and(|first| !candidate.is_of_family(first));
        let is_full = different.len() >= MAX_COMPARED;
        if is_full && has_other {
            break;
        }
        if (!is_full || is_other) && !different.iter().any(|other| candidate.repeats(other)) {
            has_other |= is_other;
            different.push(candidate);
        }
    }
    let mut chosen: Vec<Candidate> = Vec::new();
    while chosen.len() < count && !different.is_empty() {
        let best_score = chosen.first().map_or(different[0].score, |first| first.score);
        let likelihood = |candidate: &Candidate| ((candidate.score - best_score) / TEMPER).exp();
        let worth = |candidate: &Candidate| {
            let novelty: f64 = chosen.iter().map(|other| candidate.novelty(other)).product();
            likelihood(candidate) * novelty
        };
        let worths: Vec<f64> = different.iter().map(worth).collect();
        let likelier = |best: usize, i: usize| if worths[i] > worths[best] { i } else { best };
        let is_one_family = chosen.len() == HEAD_OF_FAMILY && chosen.iter().all(|entry| entry.is_of_family(&chosen[0]));
        let is_likely_other = |other: &Candidate| !other.is_of_family(&chosen[0]) && likelihood(other) >= LIKELY_OTHER;
        let others = (0..worths.len()).filter(|&i| is_one_family && is_likely_other(&different[i]));
        let best = others.reduce(likelier).or_else(|| (0..worths.len()).reduce(likelier));
        chosen.extend(best.map(|best| different.remove(best)));
    }
    share(&mut chosen);
    chosen
}

/// Turns scores into shares.
fn share(chosen: &mut [Candidate]) {
    let Some(best) = chosen.first().map(|first| first.score) else { return };
    let weights: Vec<f64> = chosen.iter().map(|candidate| ((candidate.score - best) / TEMPER).exp()).collect();
    let sum: f64 = weights.iter().sum();
    for (candidate, weight) in chosen.iter_mut().zip(weights) {
        candidate.proposal.share = weight / sum;
    }
}

/// Median distance of places from the nearest of others; both in ascending order.
fn offset(places: impl Iterator<Item = f64>, others: &[f64]) -> f64 {
    let distances: Vec<f64> = places
        .map(|place| {
            let after = others.partition_point(|other| *other < place);
            let near = &others[after.saturating_sub(1)..(after + 1).min(others.len())];
            near.iter().map(|other| (place - other).abs()).fold(f64::INFINITY, f64::min)
        })
        .collect();
    crate::recording::fit::onset::median(&distances).unwrap_or(f64::INFINITY)
}

/// The beats of a reading, in seconds.
fn proposal(hypothesis: &Hypothesis, clock: &CellClock, cells: usize) -> Proposal {
    let mut places = Vec::new();
    let mut downbeat = 0;
    let meter = match hypothesis.reading {
        Reading::Even { cells: length, bar, downbeat: first } => {
            places.extend((hypothesis.phase as usize..cells).step_by(length).map(|cell| cell as f64));
            downbeat = first;
            Meter::Even { beats: bar, cells: length }
        }
        Reading::Additive { unit, groups } => {
            let cycle = groups.iter().map(|&g| usize::from(g)).sum::<usize>() * unit;
            // The first cycle has begun before the first onset.
            let mut cell = hypothesis.phase as isize - cycle as isize;
            for beat in 0.. {
                if cell >= cells as isize {
                    break;
                }
                if cell >= 0 {
                    places.push(cell as f64);
                    downbeat += usize::from(beat < groups.len());
                }
                cell += (usize::from(groups[beat % groups.len()]) * unit) as isize;
            }
            Meter::Additive { groups: groups.to_vec(), cells: unit }
        }
        Reading::Average { cells: length } => {
            let count = ((cells as f64 - hypothesis.phase) / length).ceil().max(0.0) as usize;
            places.extend((0..count).map(|i| hypothesis.phase + i as f64 * length));
            Meter::Average
        }
    };
    let beats: Vec<f64> = places.into_iter().map(|cell| clock.seconds(cell)).collect();
    let rate = match (&meter, beats.as_slice()) {
        (Meter::Additive { groups, cells: unit }, _) => {
            let units: f64 = groups.iter().map(|&g| f64::from(g)).sum();
            60.0 * groups.len() as f64 / (units * *unit as f64 * clock.cell)
        }
        (_, beats) => {
            let distances: Vec<f64> = beats.windows(2).map(|pair| pair[1] - pair[0]).collect();
            60.0 / crate::recording::fit::onset::median(&distances).unwrap_or(f64::INFINITY)
        }
    };
    Proposal { beats, downbeat, meter, rate, share: 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_offset_is_the_median_distance_to_the_nearest() {
        assert!((offset([0.1, 1.2, 2.1].into_iter(), &[0.0, 1.0, 2.0]) - 0.1).abs() < 1e-9);
        assert_eq!(offset([1.0].into_iter(), &[]), f64::INFINITY);
    }
}
