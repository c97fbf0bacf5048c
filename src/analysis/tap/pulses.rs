//! The pulses that taps may follow, unrolled over the passes of the loop.

use super::{FollowedPulse, TapOptions, TapRate};
use crate::analysis::hearing::{Hearing, HearingKind};
use crate::analysis::report::Report;

/// Passes over which two pulses are compared: one that re-enters each loop differs from one that continues only after the first.
const COMPARED_PASSES: i64 = 3;

/// An endless pulse, in seconds of real time from the loop's start.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TapPulses {
    pub(super) follows: FollowedPulse,
    /// Whether people seldom tap it: off-beats, doubles and halves, the attacks themselves, grid pulses.
    pub(super) is_rare: bool,
    /// The pulses of one pass in order, at least one.
    times: Vec<f64>,
    /// Seconds of a pass: the loop once or twice.
    pass: f64,
}

impl TapPulses {
    fn new(follows: FollowedPulse, times: Vec<f64>, pass: f64) -> Option<Self> {
        (!times.is_empty()).then_some(Self { follows, is_rare: true, times, pass })
    }

    /// Mean time between two pulses, in seconds.
    pub(super) fn period(&self) -> f64 {
        self.pass / self.times.len() as f64
    }

    /// Time of pulse `k`, counted from the loop's first.
    pub(super) fn at(&self, k: i64) -> f64 {
        let n = self.times.len() as i64;
        k.div_euclid(n) as f64 * self.pass + self.times[k.rem_euclid(n) as usize]
    }

    /// The pulse nearest to a time; the earlier of two equally near.
    pub(super) fn nearest(&self, time: f64) -> i64 {
        let pass = (time / self.pass).floor();
        let within = time - pass * self.pass;
        let next = pass as i64 * self.times.len() as i64 + self.times.partition_point(|p| *p <= within) as i64;
        if time - self.at(next - 1) <= self.at(next) - time { next - 1 } else { next }
    }

    /// The midpoints between its pulses.
    fn off_beats(&self, follows: FollowedPulse) -> Option<Self> {
        self.wrap(follows, (0..self.times.len() as i64).map(|k| self.middle(k)).collect())
    }

    fn middle(&self, k: i64) -> f64 {
        f64::midpoint(self.at(k), self.at(k + 1))
    }

    /// Wraps times beyond the end of the pass.
    fn wrap(&self, follows: FollowedPulse, mut times: Vec<f64>) -> Option<Self> {
        for t in &mut times {
            *t = t.rem_euclid(self.pass);
        }
        times.sort_by(f64::total_cmp);
        Self::new(follows, times, self.pass)
    }

    /// Its pulses and the midpoints.
    fn doubled(&self, follows: FollowedPulse) -> Option<Self> {
        let n = self.times.len() as i64;
        self.wrap(follows, (0..n).flat_map(|k| [self.at(k), self.middle(k)]).collect())
    }

    /// Every second pulse, from the first or the second.
    fn halved(&self, follows: FollowedPulse, from: i64) -> Option<Self> {
        let n = self.times.len() as i64;
        let passes = if n % 2 == 0 { 1 } else { 2 };
        let times = (from..n * passes).step_by(2).map(|k| self.at(k)).collect();
        Self::new(follows, times, self.pass * passes as f64)
    }

    /// Whether at least 95% of the pulses coincide within 3% of the period over [`COMPARED_PASSES`] passes.
    fn is_indistinguishable(&self, other: &Self) -> bool {
        if (self.period() / other.period() - 1.0).abs() > 0.02 {
            return false;
        }
        let tolerance = 0.03 * self.period();
        let count = COMPARED_PASSES * self.times.len().max(other.times.len()) as i64;
        let distant = (0..count).filter(|k| {
            let t = self.at(*k);
            (other.at(other.nearest(t)) - t).abs() > tolerance
        });
        distant.count() as i64 * 20 <= count
    }
}

/// Probability of a hearing below which people seldom tap it (ours, no source).
const MIN_COMMON_PROBABILITY: f64 = 0.05;

fn is_rare(h: &Hearing) -> bool {
    h.probability < MIN_COMMON_PROBABILITY && h.kind != HearingKind::Written
}

/// The candidate pulses: the hearings, best first, then the attacks, then off-beats, doubles and halves of the hearings. Of
/// indistinguishable ones the first is kept.
pub(super) fn of_report(report: &Report, options: &TapOptions) -> Vec<TapPulses> {
    let (from, to) = options.range;
    let pass = (to - from) / options.speed;
    let in_loop = |times: &[f64], before: f64| -> Vec<f64> {
        // A fitted first pulse may lie before the groove; it sounds at the end of the previous pass.
        let first = if from < 1e-9 { -before } else { from - 1e-9 };
        let inside = times.iter().filter(|t| **t >= first && **t < to - 1e-9);
        let mut in_loop: Vec<f64> = inside.map(|t| ((t - from + 1e-9).rem_euclid(to - from) - 1e-9).max(0.0)).collect();
        in_loop.sort_by(f64::total_cmp);
        in_loop.iter().map(|t| t / options.speed).collect()
    };
    let mut plain = Vec::new();
    for (i, h) in report.hearings.iter().enumerate() {
        let own = TapPulses::new(FollowedPulse::Hearing(i, TapRate::Pulse), in_loop(&h.pulses, h.period() / 2.0), pass);
        plain.extend(own.map(|p| TapPulses { is_rare: is_rare(h), ..p }));
    }
    // People who tap such a pulse continue it over the end of the loop.
    let mut continued = Vec::new();
    for (i, h) in report.hearings.iter().enumerate() {
        if let ([only], false) = (&h.stretches[..], h.closes) {
            let period = only.period / options.speed;
            let first = in_loop(&h.pulses[..1], 0.0).first().map(|first| first.rem_euclid(period));
            let own = first
                .and_then(|first| TapPulses::new(FollowedPulse::Hearing(i, TapRate::Continued), vec![first], period));
            continued.extend(own.map(|p| TapPulses { is_rare: is_rare(h), ..p }));
        }
    }
    let mut cut = Vec::new();
    for p in &plain {
        let FollowedPulse::Hearing(i, _) = p.follows else { continue };
        cut.extend(p.off_beats(FollowedPulse::Hearing(i, TapRate::Offbeat)));
        cut.extend(p.doubled(FollowedPulse::Hearing(i, TapRate::Double)));
        let half = FollowedPulse::Hearing(i, TapRate::Half);
        cut.extend([0, 1].into_iter().filter_map(|from| p.halved(half, from)));
    }
    let attacks: Vec<f64> = report.attacks.iter().map(|a| a.seconds).collect();
    let attacks = TapPulses::new(FollowedPulse::Attacks, in_loop(&attacks, 0.0), pass);
    let mut known: Vec<TapPulses> = Vec::new();
    for p in plain.into_iter().chain(continued).chain(attacks).chain(cut) {
        if !known.iter().any(|k| k.is_indistinguishable(&p)) {
            known.push(p);
        }
    }
    known
}
