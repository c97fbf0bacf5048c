//! What a listener hears: hearings with their probabilities, how much of it keeps the written beat, and what is heard instead.

use super::super::answer::HardnessParts;
use super::super::limits;
use super::family::Member;
use super::hypothesis::PulseKind;
use super::input::Carried;

/// Two hearings within this factor are about as likely.
pub(crate) const ABOUT_AS_LIKELY: f64 = 1.5;
/// Hearings of less are not shown.
const MIN_SHOWN: f64 = 0.01;

/// A part of a hearing with one tempo; times in seconds at full speed from the start of the loop.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ModelStretch {
    pub(crate) start: f64,
    pub(crate) end: f64,
    pub(crate) kind: PulseKind,
    /// Mean beat in seconds at full speed.
    pub(crate) period: f64,
    /// Beats per minute at the playing speed.
    pub(crate) bpm: f64,
    /// Sizes of unequal beats in units, from its first pulse on; empty for other kinds.
    pub(crate) sizes: Vec<u8>,
}

/// One way to take the beat.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ModelHearing {
    pub(crate) kind: PulseKind,
    pub(crate) probability: f64,
    /// What is shown of it, 0 to 1: tempered, since the order is trusted and the confidence is not. `None` if it is too unlikely.
    pub(crate) shown: Option<f64>,
    /// Mean beat of its longest stretch in seconds at full speed.
    pub(crate) period: f64,
    /// Beats per minute of its longest stretch at the playing speed.
    pub(crate) bpm: f64,
    /// Its pulses in seconds at full speed from the start of the loop.
    pub(crate) pulses: Vec<f64>,
    /// Its stretches, at least one.
    pub(crate) stretches: Vec<ModelStretch>,
    /// Share of its time in which it keeps the written beat.
    pub(crate) written_share: f64,
    /// How it does so, for most of that time.
    pub(crate) member: Option<Member>,
}

impl ModelHearing {
    /// What it is as a whole: see [`main_kind`].
    pub(crate) fn main_kind(&self) -> PulseKind {
        main_kind(self.kind, &self.stretches.iter().map(|s| (s.kind, s.period)))
    }

    /// Whether it keeps the written beat for more than half of its time.
    pub(crate) fn keeps_written(&self) -> bool {
        self.written_share > 0.5
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

/// What a pulse is as a whole, from the kinds and periods of its stretches: changes of the order or the place of beats at one tempo are
/// no change of the pulse.
pub(super) fn main_kind<S>(kind: PulseKind, stretches: &S) -> PulseKind
where
    S: Iterator<Item = (PulseKind, f64)> + Clone,
{
    let is_one_tempo = || distinct_tempos(stretches.clone().map(|s| s.1), 1.0).len() == 1;
    match stretches.clone().next() {
        Some((first, _)) if kind == PulseKind::Changing && is_one_tempo() => first,
        _ => kind,
    }
}

/// The answer of the model.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Listening {
    /// The hearings, likeliest first.
    pub(crate) hearings: Vec<ModelHearing>,
    /// Probability that the written beat is kept.
    pub(crate) written: f64,
    /// What is shown of it, 0 to 1, tempered as the hearings are.
    pub(crate) shown_written: f64,
    /// The probability that it is lost, by what is heard instead.
    pub(crate) hardness_parts: HardnessParts,
    /// Probability of unequal beats or bars of five and seven, where cells are felt.
    pub(crate) odd: f64,
    /// Probability of cycles that agree with the written bars, where cells are felt.
    pub(crate) bar: f64,
    /// The cell in seconds at the playing speed; `None` if the attacks lie on no grid.
    pub(crate) cell: Option<f64>,
    /// How well it is felt, 0 to 1.
    pub(crate) feel: f64,
    /// Tempo spans that were heard by themselves.
    pub(crate) spans: usize,
    /// Length of the loop in seconds at full speed.
    pub(crate) length: f64,
}

impl Listening {
    /// Probability that the written beat is lost.
    pub(crate) fn hardness(&self) -> f64 {
        1.0 - self.written
    }

    /// The likeliest hearing that loses the written beat, if it is likelier than all that keep it.
    #[cfg(test)]
    pub(crate) fn rival(&self) -> Option<&ModelHearing> {
        self.hearings.iter().find(|h| !h.keeps_written()).filter(|h| h.probability > self.written)
    }

    /// What goes on into a section that follows.
    pub(crate) fn carried(&self) -> Vec<Carried> {
        let of = |h: &ModelHearing| {
            let (stretch, last) = (h.stretches.last()?, h.pulses.last()?);
            let next = last + stretch.period - self.length;
            Some(Carried { probability: h.probability, period: stretch.period, next })
        };
        self.hearings.iter().filter(|h| h.probability >= MIN_SHOWN).filter_map(of).collect()
    }

    /// Sets what is shown: square roots of the probabilities, the written family as one entry, over what is likely enough.
    pub(super) fn temper(&mut self) {
        let keeping: f64 = self.hearings.iter().filter(|h| h.keeps_written()).map(|h| h.probability).sum();
        let shown = |h: &ModelHearing| !h.keeps_written() && h.probability >= MIN_SHOWN;
        let sum =
            self.written.sqrt() + self.hearings.iter().filter(|h| shown(h)).map(|h| h.probability.sqrt()).sum::<f64>();
        if sum <= 0.0 {
            return;
        }
        self.shown_written = self.written.sqrt() / sum;
        let family = self.shown_written;
        for h in &mut self.hearings {
            let in_family = family * h.probability / keeping.max(1e-12);
            let shown = if h.keeps_written() { in_family } else { h.probability.sqrt() / sum };
            h.shown = (h.probability >= MIN_SHOWN).then_some(shown);
        }
    }
}

/// Smallest difference in P(written) that is reported (ours, no source).
pub(crate) const MIN_DIFFERENCE: f64 = 0.2;

/// P(written) of the followed layers less that of all layers, if they lead to different beats.
pub(crate) fn stream_difference(followed: &Listening, all: &Listening) -> Option<f64> {
    let difference = followed.written - all.written;
    let is_same = followed.hearings.first()?.keeps_written() && all.hearings.first()?.keeps_written();
    (difference.abs() > MIN_DIFFERENCE && !is_same).then_some(difference)
}
