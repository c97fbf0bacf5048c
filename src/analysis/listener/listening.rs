//! What a listener hears: hearings with their probabilities, how much of it keeps the written beat, and what is heard instead.

use super::super::limits;
use super::family::Member;
use super::hypothesis::Kind;
use super::input::Carried;

/// Two hearings within this factor are about as likely.
pub(crate) const ABOUT_AS_LIKELY: f64 = 1.5;
/// Hearings of less are not shown.
const MIN_SHOWN: f64 = 0.01;

/// A part of a hearing with one tempo; times in seconds at full speed from the start of the loop.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stretch {
    /// Start.
    pub start: f64,
    /// End.
    pub end: f64,
    /// Its kind.
    pub kind: Kind,
    /// Mean beat in seconds at full speed.
    pub period: f64,
    /// Beats per minute at the playing speed.
    pub bpm: f64,
    /// Number of pulses.
    pub pulses: usize,
    /// Sizes of unequal beats in units, from its first pulse on; empty for other kinds.
    pub sizes: Vec<u8>,
    /// How it keeps the written beat, if it does.
    pub member: Option<Member>,
}

/// One way to take the beat.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Hearing {
    /// Its kind.
    pub kind: Kind,
    /// Its probability.
    pub probability: f64,
    /// What is shown of it, 0 to 1: tempered, since the order is trusted and the confidence is not. `None` if it is too unlikely.
    pub shown: Option<f64>,
    /// Mean beat of its longest stretch in seconds at full speed.
    pub period: f64,
    /// Beats per minute of its longest stretch at the playing speed.
    pub bpm: f64,
    /// Its pulses in seconds at full speed from the start of the loop.
    pub pulses: Vec<f64>,
    /// Its stretches, at least one.
    pub stretches: Vec<Stretch>,
    /// Share of its time in which it keeps the written beat.
    pub written_share: f64,
    /// How it does so, for most of that time.
    pub member: Option<Member>,
}

impl Hearing {
    /// What it is; changes of the order or the place of beats at one tempo are no change of the pulse.
    pub(crate) fn main_kind(&self) -> Kind {
        let is_one_tempo = || distinct_tempos(self.stretches.iter().map(|s| s.period), 1.0).len() == 1;
        match (self.kind, self.stretches.first()) {
            (Kind::Changing, Some(first)) if is_one_tempo() => first.kind,
            (kind, _) => kind,
        }
    }

    /// Whether it keeps the written beat for more than half of its time.
    pub(crate) fn keeps_written(&self) -> bool {
        self.written_share > 0.5
    }
}

/// The hardness by what is heard instead of the written beat; the parts add up to it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Split {
    /// Unequal beats.
    pub unequal: f64,
    /// A beat that follows the attacks.
    pub average: f64,
    /// A period of the family on another phase.
    pub displaced: f64,
    /// An even beat of another rate.
    pub other_rate: f64,
    /// A pulse that changes.
    pub changing: f64,
}

impl Split {
    /// The hardness.
    #[cfg(test)]
    pub(crate) fn sum(&self) -> f64 {
        self.unequal + self.average + self.displaced + self.other_rate + self.changing
    }

    pub(super) fn add(&mut self, other: &Self, factor: f64) {
        self.unequal += other.unequal * factor;
        self.average += other.average * factor;
        self.displaced += other.displaced * factor;
        self.other_rate += other.other_rate * factor;
        self.changing += other.changing * factor;
    }
}

/// The tempos of some periods in order, at most four, without those that cannot be told from the one before; of a row that comes
/// again, one round.
pub(crate) fn distinct_tempos(periods: impl Iterator<Item = f64>, speed: f64) -> Vec<f64> {
    let mut tempos: Vec<f64> = Vec::new();
    for period in periods {
        let bpm = 60.0 * speed / period;
        let differs = |last: &f64| (bpm / last - 1.0).abs() * 100.0 >= limits::TEMPO_CHANGE.value;
        if tempos.last().is_none_or(differs) {
            tempos.push(bpm);
        }
    }
    let repeats = |d: &usize| tempos.iter().zip(&tempos[*d..]).all(|(a, b)| (a / b - 1.0).abs() < 1e-3);
    let round = (1..tempos.len()).find(|d| tempos.len().is_multiple_of(*d) && repeats(d));
    tempos.truncate(round.unwrap_or(tempos.len()).min(4));
    tempos
}

/// The answer of the model.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Listening {
    /// The hearings, likeliest first.
    pub hearings: Vec<Hearing>,
    /// Probability that the written beat is kept.
    pub written: f64,
    /// What is shown of it, 0 to 1, tempered as the hearings are.
    pub shown_written: f64,
    /// What is heard instead.
    pub split: Split,
    /// Probability of unequal beats or bars of five and seven, where cells are felt.
    pub odd: f64,
    /// Probability of cycles that agree with the written bars, where cells are felt.
    pub bar: f64,
    /// The cell in seconds at the playing speed; `None` if the attacks lie on no grid.
    pub cell: Option<f64>,
    /// How well it is felt, 0 to 1.
    pub feel: f64,
    /// Tempo spans that were heard by themselves.
    pub spans: usize,
    /// Length of the loop in seconds at full speed.
    pub length: f64,
}

impl Listening {
    /// Probability that the written beat is lost.
    pub(crate) fn hardness(&self) -> f64 {
        1.0 - self.written
    }

    /// The likeliest hearing that loses the written beat, if it is likelier than all that keep it.
    #[cfg(test)]
    pub(crate) fn rival(&self) -> Option<&Hearing> {
        self.hearings.iter().find(|h| !h.keeps_written()).filter(|h| h.probability > self.written)
    }

    /// What goes on into a section that follows.
    pub(crate) fn carried(&self) -> Vec<Carried> {
        let of = |h: &Hearing| {
            let (stretch, last) = (h.stretches.last()?, h.pulses.last()?);
            let next = last + stretch.period - self.length;
            Some(Carried { probability: h.probability, period: stretch.period, next })
        };
        self.hearings.iter().filter(|h| h.probability >= MIN_SHOWN).filter_map(of).collect()
    }

    /// Sets what is shown: square roots of the probabilities, the written family as one entry, over what is likely enough.
    pub(super) fn temper(&mut self) {
        let keeping: f64 = self.hearings.iter().filter(|h| h.keeps_written()).map(|h| h.probability).sum();
        let shown = |h: &Hearing| !h.keeps_written() && h.probability >= MIN_SHOWN;
        let sum =
            self.written.sqrt() + self.hearings.iter().filter(|h| shown(h)).map(|h| h.probability.sqrt()).sum::<f64>();
        if sum <= 0.0 {
            return;
        }
        self.shown_written = self.written.sqrt() / sum;
        let family = self.shown_written;
        for h in &mut self.hearings {
            h.shown = if h.keeps_written() {
                Some(family * h.probability / keeping.max(1e-12)).filter(|_| h.probability >= MIN_SHOWN)
            } else {
                Some(h.probability.sqrt() / sum).filter(|_| h.probability >= MIN_SHOWN)
            };
        }
    }
}

/// The tempos of two beats that a groove offers to somebody who follows some layers and to somebody who takes in all of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TwoStreams {
    /// P(written) of the followed layers less that of all layers.
    pub difference: f64,
    /// Beats per minute of the first hearing of the followed layers, at the playing speed.
    pub followed_bpm: f64,
    /// Beats per minute of the first hearing of all layers, at the playing speed.
    pub all_bpm: f64,
    /// The first over the second.
    pub ratio: f64,
}

/// Smallest difference in P(written) that is reported (ours, no source).
const MIN_DIFFERENCE: f64 = 0.2;

/// Whether following some layers and taking in all of them lead to different beats.
pub(crate) fn two_streams(followed: &Listening, all: &Listening) -> Option<TwoStreams> {
    let difference = followed.written - all.written;
    let (a, b) = (followed.hearings.first()?, all.hearings.first()?);
    let streams = TwoStreams { difference, followed_bpm: a.bpm, all_bpm: b.bpm, ratio: a.bpm / b.bpm };
    let is_same = a.keeps_written() && b.keeps_written();
    (difference.abs() > MIN_DIFFERENCE && !is_same).then_some(streams)
}
