//! Where the attacks fall under a hearing's pulses, counted round the loop.

use super::{Hearing, HearingContext, HearingKind, Stretch};
use crate::analysis::limits;
use std::collections::BTreeMap;

/// How the pulses of a hearing lie to the attacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum PulsePlacement {
    /// Where its beats are cut exactly, so that an attack near a pulse is not on it.
    Exact,
    /// They follow the attacks.
    Followed,
}

impl PulsePlacement {
    /// How far an attack may be from a pulse, or from a part of it, as a share of the period.
    fn tolerance(self) -> f64 {
        match self {
            // Ours, no source.
            Self::Exact => 0.03,
            Self::Followed => limits::PULSE_TOLERANCE.value / 100.0,
        }
    }

    /// Equal parts of a pulse in which attacks between pulses are looked for, those that are easiest to count first.
    fn cuts(self) -> &'static [u16] {
        match self {
            Self::Exact => &[2, 3, 4, 6, 8, 5, 7],
            // Nearness to finer cuts is chance.
            Self::Followed => &[2, 3, 4],
        }
    }
}

/// Where a time lies among pulses.
struct PulsePosition {
    pulse: usize,
    /// How far it is, in seconds.
    distance: f64,
    /// Time since the pulse before it as a share of the interval, 0 to 1.
    phase: f64,
    interval: f64,
}

/// Finds times among pulses that go round.
struct PulseRing<'a> {
    pulses: &'a [f64],
    length: f64,
}

impl PulseRing<'_> {
    fn at(&self, index: isize) -> f64 {
        let n = self.pulses.len() as isize;
        let returned = || self.pulses[index.rem_euclid(n) as usize] + index.div_euclid(n) as f64 * self.length;
        usize::try_from(index).ok().and_then(|i| self.pulses.get(i).copied()).unwrap_or_else(returned)
    }

    fn position(&self, time: f64) -> Option<PulsePosition> {
        let n = self.pulses.len();
        if n == 0 {
            return None;
        }
        // An attack of a region may sound outside of it, where swing moves it.
        let first = self.pulses[0];
        let since = time - first;
        // The remainder of what is within the loop is itself, and slow to work out.
        let since = if (0.0..self.length).contains(&since) { since } else { since.rem_euclid(self.length) };
        let time = if self.length > 0.0 { first + since } else { time };
        let before = self.pulses.partition_point(|p| *p <= time + 1e-9) as isize - 1;
        let (last, next) = (self.at(before), self.at(before + 1));
        let interval = (next - last).max(1e-9);
        let phase = ((time - last) / interval).clamp(0.0, 1.0);
        let (index, distance) = if phase <= 0.5 { (before, time - last) } else { (before + 1, time - next) };
        Some(PulsePosition { pulse: index.rem_euclid(n as isize) as usize, distance, phase, interval })
    }
}

/// A hearing with these pulses, without its probability; `stretches` are starts and periods in seconds at full speed.
pub(super) fn fit(
    kind: HearingKind,
    pulses: Vec<f64>,
    stretches: &[(f64, f64)],
    placement: PulsePlacement,
    m: &HearingContext<'_>,
) -> Hearing {
    let ring = PulseRing { pulses: &pulses, length: m.range.1 - m.range.0 };
    let tolerance = placement.tolerance();
    let is_near = |p: &PulsePosition| p.phase.min(1.0 - p.phase) <= tolerance + 1e-9;
    let positions: Vec<Option<PulsePosition>> = m.attacks.iter().map(|t| ring.position(*t)).collect();
    // At most one attack is on a pulse: the nearest.
    let mut nearest: Vec<Option<usize>> = vec![None; pulses.len()];
    for (i, p) in positions.iter().enumerate() {
        let Some(p) = p.as_ref().filter(|p| is_near(p)) else { continue };
        let nearer = |other: &PulsePosition| p.distance.abs() < other.distance.abs() - 1e-9;
        if nearest[p.pulse].is_none_or(|n| positions[n].as_ref().is_none_or(nearer)) {
            nearest[p.pulse] = Some(i);
        }
    }
    let mut sounded = vec![false; pulses.len()];
    let mut sound = |p: &PulsePosition| sounded[p.pulse] |= is_near(p);
    if m.everything == m.attacks {
        positions.iter().flatten().for_each(sound);
    } else {
        m.everything.iter().filter_map(|t| ring.position(*t)).for_each(|p| sound(&p));
    }
    let cut_at = |p: &PulsePosition| {
        placement.cuts().iter().find(|cut| {
            let cells = p.phase * f64::from(**cut);
            let nearest = cells.round();
            (cells - nearest).abs() <= tolerance && nearest > 0.5 && nearest < f64::from(**cut) - 0.5
        })
    };
    let mut between: BTreeMap<u16, usize> = BTreeMap::new();
    let (mut on_pulse, mut off_pulse, mut all_squares) = (0, 0, (0.0, 0.0));
    let mut fitted = Vec::with_capacity(stretches.len());
    let mut next = 0;
    for (s, &(start, period)) in stretches.iter().enumerate() {
        let end = stretches.get(s + 1).map_or(f64::INFINITY, |e| e.0 - 1e-6);
        let first = next;
        // Sums of squares of the distances in seconds at full speed, and in periods.
        let (mut on, mut squares) = (0, (0.0, 0.0));
        while next < m.attacks.len() && m.attacks[next] < end {
            match &positions[next] {
                Some(p) if nearest[p.pulse] == Some(next) => {
                    on += 1;
                    let share = p.distance / p.interval.max(1e-9);
                    squares = (squares.0 + p.distance.powi(2), squares.1 + share.powi(2));
                }
                p => match p.as_ref().and_then(cut_at) {
                    Some(cut) => *between.entry(*cut).or_default() += 1,
                    None => off_pulse += 1,
                },
            }
            next += 1;
        }
        on_pulse += on;
        all_squares = (all_squares.0 + squares.0, all_squares.1 + squares.1);
        let of_stretch = |p: &&f64| **p >= start - 1e-6 && **p < end;
        let pulses_in = pulses.iter().filter(of_stretch);
        fitted.push(Stretch {
            first,
            attacks: next - first,
            start: pulses_in.clone().next().copied().unwrap_or(start),
            period,
            bpm: 60.0 * m.speed / period,
            attack_rate: attack_rate(m, first, next),
            pulses: pulses_in.count(),
            deviation_ms: rms(squares.0, on) * 1000.0 / m.speed,
            deviation: rms(squares.1, on),
        });
    }
    Hearing {
        kind,
        probability: 0.0,
        shown: None,
        written_share: 0.0,
        stretches: fitted,
        on_pulse,
        between: between.into_iter().collect(),
        off_pulse,
        silent: nearest.iter().filter(|n| n.is_none()).count(),
        unsounded: sounded.iter().filter(|s| !**s).count(),
        deviation_ms: rms(all_squares.0, on_pulse) * 1000.0 / m.speed,
        deviation: rms(all_squares.1, on_pulse),
        closes: closes(&ring, stretches, placement),
        pulses,
    }
}

fn rms(sum: f64, count: usize) -> f64 {
    (sum / count.max(1) as f64).sqrt()
}

/// Whether the interval over the loop's return is like those before it; of an exact pulse, whether all intervals are alike.
fn closes(ring: &PulseRing<'_>, stretches: &[(f64, f64)], placement: PulsePlacement) -> bool {
    let n = ring.pulses.len() as isize;
    let &[(_, period)] = stretches else { return true };
    if n < 2 {
        return (ring.length / period - 1.0).abs() < 0.05;
    }
    let interval = |i: isize| ring.at(i) - ring.at(i - 1);
    let longest = (1..n).map(interval).fold(0.0, f64::max);
    let shortest = (1..n).map(interval).fold(f64::INFINITY, f64::min);
    let returning = interval(n);
    (shortest * 0.95..=longest * 1.05).contains(&returning)
        && !(placement == PulsePlacement::Exact && longest > shortest * 1.05)
}

/// Attacks per minute at the playing speed, from the first of a run to the first one after it.
fn attack_rate(m: &HearingContext<'_>, first: usize, next: usize) -> f64 {
    let Some(&start) = m.attacks.get(first).filter(|_| next > first) else { return 0.0 };
    let end = m.attacks.get(next).copied().or_else(|| m.attacks.first().map(|t| t + m.range.1 - m.range.0));
    let time = end.unwrap_or(start) - start;
    if time > 0.0 { 60.0 * m.speed * (next - first) as f64 / time } else { 0.0 }
}
