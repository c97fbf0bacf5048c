//! What the listener model answers, summed up: how likely the written beat is, and what is heard instead of it.

use super::listener::Listening;
use std::fmt;

/// What is heard instead of the written beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum HardnessPart {
    Unequal,
    /// A beat that follows the attacks.
    Average,
    /// The beat, or a multiple or part of it that is counted with it, at another phase.
    Displaced,
    /// An even beat of another rate.
    OtherRate,
    Changing,
}

/// The hardness by its parts, which add up to it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct HardnessParts([f64; 5]);

impl HardnessParts {
    pub(crate) fn get(&self, part: HardnessPart) -> f64 {
        self.0[part as usize]
    }

    pub(super) fn add(&mut self, part: HardnessPart, probability: f64) {
        self.0[part as usize] += probability;
    }

    #[cfg(test)]
    pub(super) fn sum(&self) -> f64 {
        self.0.iter().sum()
    }
}

impl HardnessPart {
    pub(crate) const ALL: [Self; 5] = [Self::Unequal, Self::Average, Self::Displaced, Self::OtherRate, Self::Changing];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Unequal => "unequal",
            Self::Average => "average",
            Self::Displaced => "displaced",
            Self::OtherRate => "other_rate",
            Self::Changing => "changing",
        }
    }
}

impl fmt::Display for HardnessPart {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Unequal => "unequal beats",
            Self::Average => "a pulse that follows the attacks",
            Self::Displaced => "a shifted beat",
            Self::OtherRate => "an even pulse at another rate",
            Self::Changing => "a changing pulse",
        })
    }
}

/// The model's answer to one question, at the playing speed; all probabilities 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Answer {
    /// Probability that the written beat is kept: the beat, and the pulses that are counted along with it.
    pub(crate) written: f64,
    /// The tempered probability of the same that is shown.
    pub(crate) shown_written: f64,
    pub(crate) hardness_parts: HardnessParts,
    /// Whether it is the mean of answers, one for each written tempo.
    pub(crate) is_mean: bool,
    /// Probability of unequal beats or bars of five and seven, where cells are felt.
    pub(crate) odd: f64,
    /// Probability of cycles that agree with the written bars, where cells are felt.
    pub(crate) bar: f64,
}

impl Answer {
    pub(super) fn new(heard: &Listening) -> Self {
        let Listening { written, shown_written, hardness_parts, odd, bar, spans, .. } = *heard;
        Self { written, shown_written, hardness_parts, is_mean: spans > 1, odd, bar }
    }

    /// Probability that the written beat is lost.
    pub(crate) fn hardness(&self) -> f64 {
        1.0 - self.written
    }

    /// Load of the meter, 0 to 3: no written beat, odd beats, no written bar.
    pub(crate) fn meter_load(&self) -> f64 {
        self.hardness() + self.odd + (1.0 - self.bar)
    }

    /// The parts of [`MIN_PART`] or more, the largest first.
    pub(crate) fn parts(&self) -> Vec<(HardnessPart, f64)> {
        let mut parts = HardnessPart::ALL.map(|p| (p, self.hardness_parts.get(p))).to_vec();
        parts.retain(|p| p.1 >= MIN_PART);
        parts.sort_by(|a, b| b.1.total_cmp(&a.1));
        parts
    }
}

/// A part of the hardness below this has no reason listed (ours, no source).
pub(crate) const MIN_PART: f64 = 0.05;
