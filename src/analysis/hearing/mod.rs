//! Hearings as the report shows them: the pulses of the listener model through the whole groove, and how the attacks lie to them.

mod fit;
mod kind;

pub use kind::HearingKind;
pub(in crate::analysis) use kind::hearing_kind;
pub(super) use kind::unit_text;

use super::clock::Clock;
use super::limits;
use super::listener::{self, PulseKind, distinct_tempos};
use crate::rhythm::{Groove, MeterKind};
use fit::{PulsePlacement, fit};

/// The attacks over which a hearing keeps one pulse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// First attack, as an index into the report's attacks.
    pub(crate) first: usize,
    pub(crate) attacks: usize,
    /// Start in seconds at full speed: its first pulse.
    pub(crate) start: f64,
    /// Mean period in seconds at full speed.
    pub period: f64,
    /// Pulses per minute at the playing speed.
    pub(crate) bpm: f64,
    /// Attacks per minute at the playing speed, from its first attack to the first one after it, round the loop.
    pub(crate) attack_rate: f64,
    pub(crate) pulses: usize,
    /// RMS distance of the attacks on the pulse from it, in ms at the playing speed.
    pub(crate) deviation_ms: f64,
    /// The same as a share of the period.
    pub(crate) deviation: f64,
}

/// A pulse, steady, unequal or changing by stretches, that a listener may take as the beat.
#[derive(Debug, Clone, PartialEq)]
pub struct Hearing {
    /// What it is.
    pub kind: HearingKind,
    /// The model's probability, 0 to 1. The written beat is listed however unlikely it is.
    pub probability: f64,
    /// The tempered probability that is shown, 0 to 1; `None` below a probability of 0.01.
    pub(crate) shown: Option<f64>,
    /// Share of its time in which it keeps the written beat, 0 to 1.
    pub(crate) written_share: f64,
    /// Its stretches, at least one.
    pub stretches: Vec<Stretch>,
    /// Its pulses in seconds at full speed, in order.
    pub pulses: Vec<f64>,
    /// Attacks on a pulse, at most one for each.
    pub on_pulse: usize,
    /// Attacks between pulses, by the number of equal parts that reach them: halves, thirds, quarters and so on.
    pub(crate) between: Vec<(u16, usize)>,
    /// Attacks on none of these.
    pub(crate) off_pulse: usize,
    /// Pulses without one of the attacks.
    pub silent: usize,
    /// Pulses without an attack of any layer.
    pub(crate) unsounded: usize,
    /// RMS distance of the attacks on the pulse from it, in ms at the playing speed.
    pub(crate) deviation_ms: f64,
    /// The same as a share of the period.
    pub(crate) deviation: f64,
    /// Whether the loop is a whole number of its periods; otherwise it re-enters each loop.
    pub closes: bool,
}

impl Hearing {
    /// Whether it keeps the written beat for more than half of its time.
    pub fn keeps_written(&self) -> bool {
        self.written_share > 0.5
    }

    /// Share of the attacks on a pulse, 0 to 1.
    pub(crate) fn share(&self) -> f64 {
        let all = self.on_pulse + self.off_pulse + self.between.iter().map(|b| b.1).sum::<usize>();
        if all == 0 { 0.0 } else { self.on_pulse as f64 / all as f64 }
    }

    /// Mean period in seconds at full speed.
    pub fn period(&self) -> f64 {
        match self.pulses[..] {
            [first, .., last] => (last - first) / (self.pulses.len() - 1) as f64,
            _ => self.stretches.first().map_or(f64::INFINITY, |s| s.period),
        }
    }

    /// Pulses per minute at full speed times `speed`, in the stretch with most attacks (the first of several): a mean over
    /// stretches would be a tempo that nobody hears.
    pub fn bpm(&self, speed: f64) -> f64 {
        let longest = self.stretches.iter().rev().max_by_key(|s| s.attacks);
        60.0 * speed / longest.map_or_else(|| self.period(), |s| s.period)
    }

    /// The pulses of a stretch, by its index, in seconds at full speed.
    pub(crate) fn pulses_in(&self, stretch: usize) -> &[f64] {
        let bound = |i: usize| self.stretches.get(i).map_or(f64::INFINITY, |s| s.start - 1e-6);
        let at = |i: usize| self.pulses.partition_point(|p| *p < bound(i));
        // The first stretch may begin with a pulse just before the loop returns, so that its start is later than the next one's.
        let end = at(stretch + 1);
        let own = &self.pulses[if stretch == 0 { 0 } else { at(stretch).min(end) }..end];
        let is_last = stretch > 0 && stretch + 1 == self.stretches.len();
        match own {
            [.., before, last] if is_last && last - before < MIN_LAST_INTERVAL * self.stretches[stretch].period => {
                &own[..own.len() - 1]
            }
            _ => own,
        }
    }

    /// Whether the pulses of a stretch, by its index, come at one interval.
    pub(crate) fn is_even_in(&self, stretch: usize) -> bool {
        let own = self.pulses_in(stretch);
        let intervals = || own.windows(2).map(|w| w[1] - w[0]);
        intervals().fold(0.0, f64::max) <= intervals().fold(f64::INFINITY, f64::min) * MAX_EVEN_RATIO
    }

    /// The tempos of its stretches in order, at full speed times `speed`: at most four, without those that cannot be told from the
    /// one before.
    pub(crate) fn tempos(&self, speed: f64) -> Vec<f64> {
        let periods = self.stretches.iter().filter(|s| s.attacks > 0 || self.stretches.len() == 1).map(|s| s.period);
        distinct_tempos(periods, speed)
    }
}

/// What a hearing of the model is laid over.
pub(in crate::analysis) struct HearingContext<'a> {
    pub(in crate::analysis) groove: &'a Groove,
    pub(in crate::analysis) clock: &'a Clock,
    /// Start and end in seconds at full speed.
    pub(in crate::analysis) range: (f64, f64),
    pub(in crate::analysis) speed: f64,
    /// The times of the attacks asked about, and of all layers, in order.
    pub(in crate::analysis) attacks: &'a [f64],
    pub(in crate::analysis) everything: &'a [f64],
    /// The sections the model was asked about.
    pub(in crate::analysis) sections: &'a [listener::TimedSection],
}

/// The hearings of the model with the written beat among them. The first is the likeliest; the written family counts as one, and
/// its likeliest member stands for it.
pub(super) fn hearings(heard: &listener::Listening, m: &HearingContext<'_>) -> Vec<Hearing> {
    let shown = heard.hearings.iter().filter(|h| h.shown.is_some());
    let mut all: Vec<Hearing> = shown.map(|h| through(h, heard.length, m)).collect();
    let rival = all.iter().filter(|h| !h.keeps_written()).map(|h| h.probability).fold(0.0, f64::max);
    if heard.written >= rival
        && let Some(family) = all.iter().position(Hearing::keeps_written)
    {
        let first = all.remove(family);
        all.insert(0, first);
    }
    // The written beat is listed once, with its own pulses, also where the model does not hear it.
    let is_written = |h: &Hearing| h.kind == HearingKind::Written;
    let of_written =
        heard.hearings.iter().filter(|h| hearing_kind(h, m) == HearingKind::Written).map(|h| h.probability).sum();
    let shown: Option<f64> = all.iter().filter(|h| is_written(h)).filter_map(|h| h.shown).reduce(|a, b| a + b);
    let at = all.iter().position(is_written).unwrap_or(all.len());
    all.retain(|h| !is_written(h));
    let written = Hearing { probability: of_written, shown, ..written_beat(written_pulses(m), m) };
    if !written.pulses.is_empty() {
        all.insert(at.min(all.len()), written);
    }
    // Within the written family the shown probabilities are shares of one entry.
    if let [_, others @ ..] = &mut all[..] {
        others.sort_by(|a, b| b.shown.unwrap_or(0.0).total_cmp(&a.shown.unwrap_or(0.0)));
    }
    all
}

/// A hearing of the model, repeated to the end of what is looked at. Where it follows the attacks its pulses are made even: at
/// the tempo of each stretch, in the phase of least squares.
fn through(h: &listener::ModelHearing, length: f64, m: &HearingContext<'_>) -> Hearing {
    let (from, to) = m.range;
    let passes = if length > 0.0 { ((to - from) / length).round().max(1.0) as usize } else { 1 };
    let at = |pass: usize| from + pass as f64 * length;
    let placement = placement(h.stretches.iter().map(|s| s.kind));
    let mut of_pass = if placement == PulsePlacement::Exact { h.pulses.clone() } else { evened_pulses(h, length) };
    // A pulse just before the loop's end is its first one, rounded.
    for pulse in of_pass.iter_mut().filter(|p| length - **p < 1e-3 * h.period) {
        *pulse = 0.0;
    }
    of_pass.sort_by(f64::total_cmp);
    let mut pulses: Vec<f64> = (0..passes).flat_map(|p| of_pass.iter().map(move |t| at(p) + t)).collect();
    pulses.retain(|p| *p >= from - 1e-9 && *p < to - 1e-9);
    // Where two even runs meet, round the loop too, a pulse stands once.
    let min_interval = MIN_INTERVAL * h.period;
    pulses.dedup_by(|a, b| *a - *b < min_interval);
    if pulses.len() > 1 && pulses[0] + to - from - pulses[pulses.len() - 1] < min_interval {
        pulses.pop();
    }
    let stretches = if h.stretches.len() == 1 {
        vec![(from, h.stretches[0].period)]
    } else {
        let of_pass = |p: usize| h.stretches.iter().map(move |s| (at(p) + s.start, s.period));
        (0..passes).flat_map(of_pass).collect()
    };
    let fitted = fit(hearing_kind(h, m), pulses, &stretches, placement, m);
    let mut hearing = Hearing { probability: h.probability, shown: h.shown, written_share: h.written_share, ..fitted };
    if let HearingKind::Unequal { sizes, .. } = hearing.kind
        && let [first, .., last] = hearing.pulses[..]
    {
        let count = sizes.iter().filter(|s| **s > 0).count() as f64;
        let unit = h.period * count / sizes.iter().map(|s| f64::from(*s)).sum::<f64>();
        let units = (first + to - from - last) / unit;
        hearing.closes = sizes.iter().any(|s| *s > 0 && (units - f64::from(*s)).abs() < 0.1);
    }
    hearing
}

/// Least interval before the last pulse of the loop, as a share of the period: a nearer one is the first stretch's (ours, no source).
const MIN_LAST_INTERVAL: f64 = 0.97;

/// Longest over shortest interval of an even pulse (ours, no source).
const MAX_EVEN_RATIO: f64 = 1.05;

/// Least interval of two pulses, as a share of the period (ours, no source).
const MIN_INTERVAL: f64 = 0.2;

/// How far a followed pulse may get from an even one, as a share of the period, before it starts anew in its own phase (ours, no
/// source): after a gap in the attacks, for one.
const MAX_DRIFT: f64 = 0.25;

/// By how much more or less than the period two pulses follow each other without a gap, as a share of it (ours, no source).
const MAX_GAP: f64 = 0.35;

/// Pulses that an even stream describes.
struct EvenRun {
    period: f64,
    count: usize,
    /// Sum of the pulses' times, each less its number times the period.
    offsets: f64,
    /// Whether it is one pulse at its very place.
    is_single: bool,
}

impl EvenRun {
    fn new(pulse: f64, period: f64) -> Self {
        Self { period, count: 1, offsets: pulse, is_single: false }
    }

    /// One run through all pulses, unless there is a gap among them or they would mostly be off its pulses.
    fn through(pulses: &[f64], period: f64) -> Option<Self> {
        let elapsed = |k: usize| k as f64 * period;
        let offsets: f64 = pulses.iter().enumerate().map(|(k, p)| p - elapsed(k)).sum();
        let run = Self { period, count: pulses.len(), offsets, is_single: false };
        let has_gap = pulses.windows(2).any(|w| ((w[1] - w[0]) / period - 1.0).abs() > MAX_GAP);
        let squares: f64 = pulses.iter().enumerate().map(|(k, p)| (p - run.start() - elapsed(k)).powi(2)).sum();
        let tolerance = limits::PULSE_TOLERANCE.value / 100.0 * period;
        (!pulses.is_empty() && !has_gap && squares <= pulses.len() as f64 * tolerance.powi(2)).then_some(run)
    }

    /// Adds a pulse if it is near where the run expects it.
    fn extend(&mut self, pulse: f64) -> bool {
        let elapsed = self.count as f64 * self.period;
        let is_near = (pulse - self.start() - elapsed).abs() <= MAX_DRIFT * self.period;
        if is_near {
            self.offsets += pulse - elapsed;
            self.count += 1;
        }
        is_near
    }

    /// The first pulse, by least squares.
    fn start(&self) -> f64 {
        self.offsets / self.count as f64
    }
}

/// The pulses of one pass, those that follow attacks in even runs.
fn evened_pulses(h: &listener::ModelHearing, length: f64) -> Vec<f64> {
    let mut runs: Vec<EvenRun> = Vec::new();
    for (i, s) in h.stretches.iter().enumerate() {
        let is_last = i + 1 == h.stretches.len();
        let own = h.pulses.iter().copied().filter(|p| *p >= s.start - 1e-6 && (is_last || *p < s.end - 1e-6));
        let own: Vec<f64> = own.collect();
        if placement([s.kind]) == PulsePlacement::Exact {
            runs.extend(own.into_iter().map(|p| EvenRun { is_single: true, ..EvenRun::new(p, s.period) }));
            continue;
        }
        if let Some(run) = EvenRun::through(&own, s.period) {
            runs.push(run);
            continue;
        }
        let first = runs.len();
        for pulse in own {
            if !runs[first..].last_mut().is_some_and(|run| run.extend(pulse)) {
                runs.push(EvenRun::new(pulse, s.period));
            }
        }
    }
    let mut even: Vec<f64> = Vec::with_capacity(h.pulses.len());
    for (i, run) in runs.iter().enumerate() {
        let end = runs.get(i + 1).map_or_else(|| runs[0].start() + length, EvenRun::start);
        let count = ((end - run.start()) / run.period - 0.5 - 1e-9).floor().max(0.0) as usize + 1;
        let count = if run.is_single { 1 } else { count };
        even.extend((0..count).map(|k| run.start() + k as f64 * run.period));
    }
    for pulse in &mut even {
        *pulse = pulse.rem_euclid(length.max(1e-9));
    }
    even.sort_by(f64::total_cmp);
    even
}

/// How the pulses of some stretches lie to the attacks.
fn placement(kinds: impl IntoIterator<Item = PulseKind>) -> PulsePlacement {
    let is_exact = kinds.into_iter().all(|kind| matches!(kind, PulseKind::Even | PulseKind::Unequal));
    if is_exact { PulsePlacement::Exact } else { PulsePlacement::Followed }
}

fn written_beat(pulses: Vec<f64>, m: &HearingContext<'_>) -> Hearing {
    let mut stretches: Vec<(f64, f64)> = Vec::new();
    let sections = || m.sections.iter().filter(|s| s.end > s.start);
    for s in sections() {
        // The beats of an additive meter are unequal: their mean over the bar is the tempo.
        let period = if s.meter.heads.is_empty() { s.meter.beat } else { s.meter.bar / s.meter.heads.len() as f64 };
        if stretches.last().is_none_or(|last| (last.1 / period - 1.0).abs() > 1e-6) {
            stretches.push((m.range.0 + s.start, period));
        }
    }
    let fitted = fit(HearingKind::Written, pulses, &stretches, PulsePlacement::Exact, m);
    Hearing { written_share: 1.0, closes: true, ..fitted }
}

/// The written beats: those of the meter, in an additive one the heads of its groups.
fn written_pulses(m: &HearingContext<'_>) -> Vec<f64> {
    let mut pulses = Vec::new();
    for (section, pass) in m.clock.passes() {
        let s = &m.groove.sections()[section];
        let in_bar = match s.meter.kind() {
            MeterKind::Additive => [vec![0], s.meter.strong_beats()].concat(),
            _ => (0..s.meter.beats()).collect(),
        };
        for bar in 0..usize::from(s.bars) {
            let at = |beat: &usize| bar * s.meter.beats() + beat;
            let seconds = |beat: &usize| m.clock.seconds_after(section, pass, s.meter.beat(), at(beat));
            pulses.extend(in_bar.iter().filter_map(seconds));
        }
    }
    pulses.retain(|p| *p >= m.range.0 - 1e-9 && *p < m.range.1 - 1e-9);
    pulses
}
