//! The pulses that taps may follow, unrolled over the turns of the loop. It must not know taps.

use super::{Follows, Rate, TapAsk};
use crate::analysis::hearing::Kind;
use crate::analysis::report::Report;

/// Turns over which two pulses are set beside each other: one that begins anew parts from one that goes on only after the first.
const TURNS: i64 = 3;

/// A pulse that goes on for ever, in seconds as they pass from the loop's start.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pulses {
    pub(super) follows: Follows,
    /// Whether it is one that people seldom take: off-beats, a double or a half, the attacks themselves, the beat moved by some cells.
    pub(super) is_rare: bool,
    /// The pulses of one turn, in order; at least one.
    times: Vec<f64>,
    /// Seconds of a turn: once or twice the loop.
    turn: f64,
}

impl Pulses {
    fn new(follows: Follows, times: Vec<f64>, turn: f64) -> Option<Self> {
        (!times.is_empty()).then_some(Self { follows, is_rare: true, times, turn })
    }

    /// Mean time between two pulses, in seconds.
    pub(super) fn period(&self) -> f64 {
        self.turn / self.times.len() as f64
    }

    /// When pulse `k` is, counted on from the loop's first.
    pub(super) fn at(&self, k: i64) -> f64 {
        let n = self.times.len() as i64;
        k.div_euclid(n) as f64 * self.turn + self.times[k.rem_euclid(n) as usize]
    }

    /// The pulse nearest to a time; of two equally near the earlier.
    pub(super) fn nearest(&self, time: f64) -> i64 {
        let turn = (time / self.turn).floor();
        let within = time - turn * self.turn;
        let next = turn as i64 * self.times.len() as i64 + self.times.partition_point(|p| *p <= within) as i64;
        if time - self.at(next - 1) <= self.at(next) - time { next - 1 } else { next }
    }

    /// The middles between its pulses.
    fn between(&self, follows: Follows) -> Option<Self> {
        self.wrapped(follows, (0..self.times.len() as i64).map(|k| self.middle(k)).collect())
    }

    /// The middle between a pulse and the next.
    fn middle(&self, k: i64) -> f64 {
        f64::midpoint(self.at(k), self.at(k + 1))
    }

    /// Pulses of which the last may stand behind the seam.
    fn wrapped(&self, follows: Follows, mut times: Vec<f64>) -> Option<Self> {
        for t in &mut times {
            *t = t.rem_euclid(self.turn);
        }
        times.sort_by(f64::total_cmp);
        Self::new(follows, times, self.turn)
    }

    /// Twice as many, the new ones in the middle between the old.
    fn doubled(&self, follows: Follows) -> Option<Self> {
        let n = self.times.len() as i64;
        self.wrapped(follows, (0..n).flat_map(|k| [self.at(k), self.middle(k)]).collect())
    }

    /// Every second one, from the first or from the second on.
    fn halved(&self, follows: Follows, from: i64) -> Option<Self> {
        let n = self.times.len() as i64;
        let turns = if n % 2 == 0 { 1 } else { 2 };
        let times = (from..n * turns).step_by(2).map(|k| self.at(k)).collect();
        Self::new(follows, times, self.turn * turns as f64)
    }

    /// Whether nobody could tell the two apart: nearly all pulses at the same times, over several turns of either.
    fn is_like(&self, other: &Self) -> bool {
        if (self.period() / other.period() - 1.0).abs() > 0.02 {
            return false;
        }
        let near = 0.03 * self.period();
        let count = TURNS * self.times.len().max(other.times.len()) as i64;
        let far = (0..count).filter(|k| {
            let t = self.at(*k);
            (other.at(other.nearest(t)) - t).abs() > near
        });
        far.count() as i64 * 20 <= count
    }
}

/// All that may be followed: the hearings, best first, then the attacks, then off-beats, doubles and halves of the hearings. Of several
/// that cannot be told apart the first stays.
pub(super) fn of_report(report: &Report, ask: &TapAsk) -> Vec<Pulses> {
    let (from, to) = ask.range;
    let turn = (to - from) / ask.speed;
    let heard = |times: &[f64], before: f64| -> Vec<f64> {
        // A fitted first pulse may lie a little before the groove; it sounds at the end of the turn before.
        let first = if from < 1e-9 { -before } else { from - 1e-9 };
        let inside = times.iter().filter(|t| **t >= first && **t < to - 1e-9);
        let mut heard: Vec<f64> = inside.map(|t| ((t - from + 1e-9).rem_euclid(to - from) - 1e-9).max(0.0)).collect();
        heard.sort_by(f64::total_cmp);
        heard.iter().map(|t| t / ask.speed).collect()
    };
    let mut each = Vec::new();
    for (i, h) in report.hearings.iter().enumerate() {
        let own = Pulses::new(Follows::Hearing(i, Rate::Each), heard(&h.pulses, h.period() / 2.0), turn);
        each.extend(own.map(|p| Pulses { is_rare: h.kind == Kind::Cells, ..p }));
    }
    // Whoever taps such a pulse goes on with it.
    let mut on = Vec::new();
    for (i, h) in report.hearings.iter().enumerate() {
        if let ([only], false) = (&h.stretches[..], h.closes) {
            let period = only.period / ask.speed;
            let first = heard(&h.pulses[..1], 0.0).first().map(|first| first.rem_euclid(period));
            let own = first.and_then(|first| Pulses::new(Follows::Hearing(i, Rate::On), vec![first], period));
            on.extend(own.map(|p| Pulses { is_rare: h.kind == Kind::Cells, ..p }));
        }
    }
    let mut cut = Vec::new();
    for p in &each {
        let Follows::Hearing(i, _) = p.follows else { continue };
        cut.extend(p.between(Follows::Hearing(i, Rate::Between)));
        cut.extend(p.doubled(Follows::Hearing(i, Rate::Double)));
        let half = Follows::Hearing(i, Rate::Half);
        cut.extend([0, 1].into_iter().filter_map(|from| p.halved(half, from)));
    }
    let attacks: Vec<f64> = report.attacks.iter().map(|a| a.seconds).collect();
    let attacks = Pulses::new(Follows::Attacks, heard(&attacks, 0.0), turn);
    let mut known: Vec<Pulses> = Vec::new();
    for p in each.into_iter().chain(on).chain(attacks).chain(cut) {
        if !known.iter().any(|k| k.is_like(&p)) {
            known.push(p);
        }
    }
    known
}
