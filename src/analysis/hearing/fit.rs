//! Where the attacks fall under a hearing's pulses, counted round the loop.

use super::{Hearing, Kind, Material, Stretch};
use crate::analysis::limits;

/// Equal parts of a pulse in which attacks between pulses are looked for, those that are easiest to count first.
const CUTS: [u16; 7] = [2, 3, 4, 6, 8, 5, 7];
/// Of a pulse that follows the attacks: nearness to finer cuts is chance.
const FREE_CUTS: usize = 3;
/// How far an attack may be from an exact pulse, or from its cut, as a share of the period (ours, no source).
const EXACT: f64 = 0.03;

/// The attacks under some pulses.
pub(super) struct Fit<'a> {
    m: &'a Material<'a>,
    stretches: Vec<Stretch>,
    on_pulse: usize,
    between: Vec<(u16, usize)>,
    off_pulse: usize,
    silent: usize,
    unsounded: usize,
    /// Sums of squares of the distances in seconds at full speed, and in periods.
    squares: (f64, f64),
    closes: bool,
}

/// Where a time lies among pulses.
struct Position {
    pulse: usize,
    /// How far it is, in seconds.
    distance: f64,
    /// Time since the pulse before it as a share of the interval, 0 to 1.
    phase: f64,
    interval: f64,
}

/// Finds times among pulses that go round.
struct Ring<'a> {
    pulses: &'a [f64],
    length: f64,
}

impl Ring<'_> {
    fn at(&self, index: isize) -> f64 {
        let n = self.pulses.len() as isize;
        let returned = || self.pulses[index.rem_euclid(n) as usize] + index.div_euclid(n) as f64 * self.length;
        usize::try_from(index).ok().and_then(|i| self.pulses.get(i).copied()).unwrap_or_else(returned)
    }

    fn position(&self, time: f64) -> Option<Position> {
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
        Some(Position { pulse: index.rem_euclid(n as isize) as usize, distance, phase, interval })
    }
}

impl<'a> Fit<'a> {
    /// Counts the attacks. `stretches` are starts and periods; an `exact` pulse is met only at its very place.
    pub(super) fn new(pulses: &[f64], stretches: &[(f64, f64)], exact: bool, m: &'a Material<'a>) -> Self {
        let length = m.range.1 - m.range.0;
        let ring = Ring { pulses, length };
        let tolerance = if exact { EXACT } else { limits::AGREES.value / 100.0 };
        let positions: Vec<Option<Position>> = m.attacks.iter().map(|t| ring.position(*t)).collect();
        // At most one attack is on a pulse: the nearest.
        let mut nearest: Vec<Option<usize>> = vec![None; pulses.len()];
        for (i, p) in positions.iter().enumerate() {
            let Some(p) = p.as_ref().filter(|p| p.phase.min(1.0 - p.phase) <= tolerance + 1e-9) else { continue };
            let nearer = |other: &Position| p.distance.abs() < other.distance.abs() - 1e-9;
            if nearest[p.pulse].is_none_or(|n| positions[n].as_ref().is_none_or(nearer)) {
                nearest[p.pulse] = Some(i);
            }
        }
        let mut fit = Self {
            m,
            stretches: Vec::with_capacity(stretches.len()),
            on_pulse: 0,
            between: Vec::new(),
            off_pulse: 0,
            silent: nearest.iter().filter(|n| n.is_none()).count(),
            unsounded: 0,
            squares: (0.0, 0.0),
            closes: closes(&ring, stretches, exact),
        };
        let mut sounded = vec![false; pulses.len()];
        let mut sound = |p: &Position| sounded[p.pulse] |= p.phase.min(1.0 - p.phase) <= tolerance + 1e-9;
        if m.everything == m.attacks {
            positions.iter().flatten().for_each(sound);
        } else {
            m.everything.iter().filter_map(|t| ring.position(*t)).for_each(|p| sound(&p));
        }
        fit.unsounded = sounded.iter().filter(|s| !**s).count();
        let mut next = 0;
        for (s, &(start, period)) in stretches.iter().enumerate() {
            let end = stretches.get(s + 1).map_or(f64::INFINITY, |e| e.0 - 1e-6);
            let first = next;
            let (mut on, mut squares) = (0, (0.0, 0.0));
            while next < m.attacks.len() && m.attacks[next] < end {
                match &positions[next] {
                    Some(p) if nearest[p.pulse] == Some(next) => {
                        on += 1;
                        let share = p.distance / p.interval.max(1e-9);
                        squares = (squares.0 + p.distance.powi(2), squares.1 + share.powi(2));
                    }
                    Some(p) => fit.count_between(p, exact),
                    None => fit.off_pulse += 1,
                }
                next += 1;
            }
            fit.on_pulse += on;
            fit.squares = (fit.squares.0 + squares.0, fit.squares.1 + squares.1);
            let of_stretch = |p: &&f64| **p >= start - 1e-6 && **p < end;
            let pulses_in = pulses.iter().filter(of_stretch);
            fit.stretches.push(Stretch {
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
        fit.between.sort_unstable();
        fit
    }

    fn count_between(&mut self, p: &Position, exact: bool) {
        let is_on_part = |cut: &&u16| {
            let cells = p.phase * f64::from(**cut);
            let tolerance = if exact { EXACT } else { limits::AGREES.value / 100.0 };
            let nearest = cells.round();
            (cells - nearest).abs() <= tolerance && nearest > 0.5 && nearest < f64::from(**cut) - 0.5
        };
        let cuts = if exact { &CUTS[..] } else { &CUTS[..FREE_CUTS] };
        match cuts.iter().find(is_on_part) {
            Some(cut) => match self.between.iter_mut().find(|b| b.0 == *cut) {
                Some(row) => row.1 += 1,
                None => self.between.push((*cut, 1)),
            },
            None => self.off_pulse += 1,
        }
    }

    /// The hearing with its probability, what is shown of it, and its share of the written beat.
    pub(super) fn hearing(
        self,
        kind: Kind,
        (probability, shown, written_share): (f64, Option<f64>, f64),
        pulses: Vec<f64>,
    ) -> Hearing {
        Hearing {
            kind,
            probability,
            shown,
            written_share,
            deviation_ms: rms(self.squares.0, self.on_pulse) * 1000.0 / self.m.speed,
            deviation: rms(self.squares.1, self.on_pulse),
            stretches: self.stretches,
            pulses,
            on_pulse: self.on_pulse,
            between: self.between,
            off_pulse: self.off_pulse,
            silent: self.silent,
            unsounded: self.unsounded,
            closes: self.closes,
        }
    }
}

fn rms(sum: f64, count: usize) -> f64 {
    (sum / count.max(1) as f64).sqrt()
}

/// Whether the interval over the loop's return is like those before it; of an exact pulse, whether all intervals are alike.
fn closes(ring: &Ring<'_>, stretches: &[(f64, f64)], exact: bool) -> bool {
    let n = ring.pulses.len() as isize;
    let &[(_, period)] = stretches else { return true };
    if n < 2 {
        return (ring.length / period - 1.0).abs() < 0.05;
    }
    let longest = (1..n).map(|i| ring.at(i) - ring.at(i - 1)).fold(0.0, f64::max);
    let shortest = (1..n).map(|i| ring.at(i) - ring.at(i - 1)).fold(f64::INFINITY, f64::min);
    let returning = ring.at(n) - ring.at(n - 1);
    (shortest * 0.95..=longest * 1.05).contains(&returning) && !(exact && longest > shortest * 1.05)
}

/// Attacks per minute at the playing speed, from the first of a run to the first one after it.
fn attack_rate(m: &Material<'_>, first: usize, next: usize) -> f64 {
    let Some(&start) = m.attacks.get(first).filter(|_| next > first) else { return 0.0 };
    let end = m.attacks.get(next).copied().or_else(|| m.attacks.first().map(|t| t + m.range.1 - m.range.0));
    let time = end.unwrap_or(start) - start;
    if time > 0.0 { 60.0 * m.speed * (next - first) as f64 / time } else { 0.0 }
}
