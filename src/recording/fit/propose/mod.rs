//! Tempos and meters of a recording nobody has written down: from its onsets to a short list to choose from.
//!
//! 1. [`periodicity`] finds periods at which cells may repeat, [`lattice`] follows each through the recording and fits a clock;
//! 2. [`cells`] counts the onsets into the cells of a clock and measures how well every cycle repeats;
//! 3. [`even`], [`additive`] and [`average`] read the cells as beats and bars, each reading with a score in nats;
//! 4. [`choice`] keeps six that differ, and [`remark`] says what the onsets cannot tell.
//!
//! The preference for a period is that of van Noorden and Moelants (*Resonance in the perception of musical pulse*, 1999), the
//! cost of silent beats follows Povel and Essens (*Perception of temporal patterns*, 1985), the speed below which cells are not
//! felt London (*Hearing in time*, 2004). Every other constant is ours, chosen on simulated performances.

mod additive;
mod average;
mod cells;
mod choice;
mod even;
mod hypothesis;
mod lattice;
mod periodicity;
mod remark;
#[cfg(test)]
mod tests;

use crate::recording::fit::onset::{Onset, clipped_strengths, median};
use cells::Cells;
use choice::Candidate;
use lattice::CellClock;
pub use remark::Remark;

/// Clocks whose cells are read, best first.
const MAX_CLOCKS: usize = 4;
/// Clocks nearer than this ratio of their cells are one.
const SAME_CELL: f64 = 0.015;
/// Part of the median strength from which a stroke counts when groups are told from beats.
const CLEAR_STRENGTH: f64 = 0.6;
/// Readings of one clock that are compared with those of others.
const MAX_READINGS: usize = 60;
/// Proposals in the list.
const MAX_PROPOSALS: usize = 6;

/// Where the onsets were taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Excerpt {
    /// The recording begins with the music, so its first onset is likely a beat and likely a downbeat.
    #[default]
    Beginning,
    /// Cut from the middle: the first onset says nothing.
    Middle,
}

/// How the beats of a proposal are made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Meter {
    /// Even beats.
    Even {
        /// Beats in a bar.
        beats: usize,
        /// Cells in a beat.
        cells: usize,
    },
    /// Beats of two lengths, in a cycle.
    Additive {
        /// Units in each beat of the cycle.
        groups: Vec<u8>,
        /// Cells in a unit.
        cells: usize,
    },
    /// The mean distance of attacks that no even beat carries. The beats are a count, no attack need fall on them.
    Average,
}

impl Meter {
    /// Beats from one downbeat to the next.
    pub fn bar(&self) -> usize {
        match self {
            Self::Even { beats, .. } => *beats,
            Self::Additive { groups, .. } => groups.len(),
            Self::Average => 1,
        }
    }
}

/// A tempo and a meter with the beats they give in the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// Seconds of every beat, from the first onset to the last, ascending; three or more.
    pub beats: Vec<f64>,
    /// Index of the first beat that begins a bar or a cycle.
    pub downbeat: usize,
    /// How the beats are made.
    pub meter: Meter,
    /// Beats per minute; of beats that are not even, the mean.
    pub rate: f64,
    /// Share of the preference among all proposals. It orders them; it is not calibrated.
    pub share: f64,
}

impl Proposal {
    /// Seconds of every downbeat.
    pub fn downbeats(&self) -> impl Iterator<Item = f64> + '_ {
        self.beats.iter().copied().skip(self.downbeat).step_by(self.meter.bar())
    }

    /// Seconds of every unit of an additive meter, from the first beat to the last; of other meters the beats.
    ///
    /// These are the beats to transcribe on.
    pub fn units(&self) -> Vec<f64> {
        let Meter::Additive { groups, .. } = &self.meter else { return self.beats.clone() };
        let mut units = Vec::new();
        for (beat, pair) in self.beats.windows(2).enumerate() {
            let group = groups[(beat + groups.len() - self.downbeat) % groups.len()];
            let step = (pair[1] - pair[0]) / f64::from(group);
            units.extend((0..group).map(|unit| pair[0] + step * f64::from(unit)));
        }
        units.extend(self.beats.last());
        units
    }
}

/// What is proposed for a recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Proposals {
    /// Up to six proposals: the best, then those that are likely and differ from the ones before.
    pub list: Vec<Proposal>,
    /// What the onsets alone cannot tell.
    pub remarks: Vec<Remark>,
}

/// Proposes tempos and meters for onsets in ascending order of time.
pub fn propose(onsets: &[Onset], excerpt: Excerpt) -> Proposals {
    let clocks: Vec<(CellClock, Cells)> = clocks(onsets)
        .into_iter()
        .filter_map(|clock| {
            let cells = Cells::new(onsets, &clock.placed, clock.cell)?;
            Some((clock, cells))
        })
        .collect();
    let mut candidates = Vec::new();
    for (clock, cells) in &clocks {
        let mut readings = Vec::new();
        even::hypotheses(cells, excerpt, &mut readings);
        additive::hypotheses(cells, excerpt, &mut readings);
        average::hypothesis(cells, &mut readings);
        readings.sort_by(|a, b| b.score.total_cmp(&a.score));
        readings.truncate(MAX_READINGS);
        candidates.extend(readings.into_iter().map(|reading| Candidate::new(reading, clock, cells)));
    }
    let chosen = choice::choose(candidates, MAX_PROPOSALS);
    let remarks = remark::remarks(&chosen, &clear_strokes(onsets));
    Proposals { list: chosen.into_iter().map(|candidate| candidate.proposal).collect(), remarks }
}

/// Seconds of the strokes that are not much fainter than most: what a release or a ghost adds says nothing about the groups.
fn clear_strokes(onsets: &[Onset]) -> Vec<f64> {
    let strengths: Vec<f64> = onsets.iter().map(|onset| onset.strength).collect();
    let least = CLEAR_STRENGTH * median(&strengths).unwrap_or_default();
    onsets.iter().filter(|onset| onset.strength > least).map(|onset| onset.seconds).collect()
}

/// The clocks of cells that the onsets keep to best.
fn clocks(onsets: &[Onset]) -> Vec<CellClock> {
    let mut weights = clipped_strengths(onsets, 0.4, 2.0);
    for weight in &mut weights {
        *weight = weight.sqrt();
    }
    let mut followed: Vec<CellClock> = periodicity::seeds(onsets, &weights)
        .into_iter()
        .filter_map(|seed| CellClock::follow(onsets, &weights, seed))
        .collect();
    followed.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
    let mut kept: Vec<CellClock> = Vec::new();
    for clock in followed {
        if kept.iter().all(|other| (clock.cell / other.cell - 1.0).abs() >= SAME_CELL) {
            kept.push(clock);
        }
    }
    kept.truncate(MAX_CLOCKS);
    kept
}
