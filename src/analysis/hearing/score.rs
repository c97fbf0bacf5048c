//! How well a hearing fits: its figures, its score, and the order of hearings at every playing speed. It must not know where a hearing comes from.

use super::{Draft, Hearing, Kind, Stretch};
use crate::analysis::limits::{self, Limits};
use std::ops::Range;

/// How sure a player is of a position for which the pulse must be cut into so many parts (ours, no source): the half is easier
/// than the thirds, those than the quarters, and so on.
const CUTS: [(u16, f64); 7] = [(2, 0.85), (3, 0.75), (4, 0.65), (6, 0.5), (8, 0.4), (5, 0.4), (7, 0.3)];
/// Cuts that count for a pulse that does not lie on the cells.
const FREE_CUTS: usize = 3;
/// How much such a cut counts: attacks near it are near it by chance, not by design (ours, no source).
const FREE: f64 = 0.5;
/// How far the numbers of pulses and attacks may differ for a pulse to be the attacks' average (ours, no source).
const AVERAGE: f64 = 0.06;
/// Wobble, as a share of the period, at which steadiness falls to exp(-1/2) while the cells are too fast to be felt (ours, no
/// source). When they are felt, unevenness is heard for what it is, and the noise floor takes its place.
const UNSTEADY: f64 = 0.12;
/// How much of the score is lost when nothing sounds on any pulse (ours, no source).
const SILENCE: f64 = 0.8;
/// The same for the written beat and its doubles and halves when the cells are felt, so that silent pulses can be counted through (ours, no source).
const COUNTED_SILENCE: f64 = 0.3;
/// How much of the score hangs on the salience of the tempo (ours, no source): a pulse within its bounds can be kept at any rate.
const SALIENT: f64 = 0.35;
/// Pulses that a change of pulse costs (ours, no source).
const CHANGE: f64 = 4.0;

/// What two numbers may differ by that are equal before rounding: the report must not hang on the last bit.
pub(super) const HAIR: f64 = 1e-9;

/// The parts of a hearing's score, each from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Parts {
    /// Attacks explained: those on the pulse count whole, those between by how sure the cut is, how well cells of that
    /// length are felt, and how steady the pulse is.
    pub explained: f64,
    /// Steadiness: `exp(-(wobble / u)^2 / 2)`, with `u` from 12% of the period, when the cells are too fast to be felt, to the
    /// noise floor of 5%, when they are felt.
    pub steady: f64,
    /// Tempo: 0.65, and 0.35 of the salience; falling to nothing between the fastest beat's bounds (250 to 200 ms) and the slowest's
    /// (1500 to 2000 ms).
    pub tempo: f64,
    /// Sounded pulses: 1 less 0.8 of the share of pulses on which nothing in the groove sounds (0.3 of it for the written beat, its
    /// doubles and halves when the cells are felt, since those are counted through).
    pub sounded: f64,
    /// Kept pulse: `1 / (1 + 4 changes / pulses)`.
    pub kept: f64,
}

impl Parts {
    /// The score, 0 to 100: the product of the parts.
    pub fn score(self) -> f64 {
        100.0 * self.explained * self.steady * self.tempo * self.sounded * self.kept
    }
}

/// A playing speed from which on another hearing is the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turn {
    /// Playing speed in percent of the written tempos.
    pub percent: u16,
    /// The hearing that is first from here on, as an index into the report's hearings.
    pub hearing: usize,
}

/// What times are measured against.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scale {
    /// Start and end of what is looked at, in seconds at full speed.
    pub(crate) range: (f64, f64),
    /// Playing speed.
    pub(crate) speed: f64,
    /// The shortest cell the attacks need, in seconds at full speed.
    pub(crate) cell: f64,
    /// The player's limits.
    pub(crate) limits: Limits,
}

/// Fits a draft to the attacks; `None` if it has no two pulses.
pub(super) fn fit(draft: &Draft, times: &[f64], all: &[f64], scale: &Scale) -> Option<Hearing> {
    let Scale { speed, limits, .. } = *scale;
    let pulses = &draft.pulses;
    if pulses.len() < 2 || draft.stretches.is_empty() {
        return None;
    }
    let mut hearing = Hearing {
        kind: draft.kind,
        stretches: Vec::with_capacity(draft.stretches.len()),
        pulses: pulses.clone(),
        on_pulse: 0,
        between: Vec::new(),
        astray: 0,
        silent: 0,
        unsounded: 0,
        wobble_ms: 0.0,
        wobble: 0.0,
        salience: 0.0,
        parts: Parts::default(),
        score: 0.0,
    };
    let mut touched = vec![false; pulses.len()];
    let (mut squares, mut shares) = (0.0, 0.0);
    let mut next = 0;
    for (s, &(first, period)) in draft.stretches.iter().enumerate() {
        let end = draft.stretches.get(s + 1).map_or(pulses.len(), |e| e.0);
        let stop = pulses.get(end).map_or(f64::INFINITY, |p| p - 0.25 * period);
        let from = next;
        let mut own = Tally::default();
        while next < times.len() && times[next] < stop - HAIR {
            let place = place(times[next], pulses, first, end, period);
            let cut = cut(place, draft.exact, speed);
            // A position on cells that are felt is heard where it is, not as a late or early pulse.
            let apart = cut.filter(|n| {
                draft.exact && place.away.abs() > 1e-3 && limits.feel(place.step * 1000.0 / speed / f64::from(*n)) > 0.0
            });
            if apart.is_none() && place.away.abs() <= limits::AGREES.value / 100.0 + HAIR {
                hearing.on_pulse += 1;
                own.add(place);
                touched[place.pulse] = true;
            } else if let Some(cut) = cut {
                match hearing.between.iter_mut().find(|b| b.0 == cut) {
                    Some(b) => b.1 += 1,
                    None => hearing.between.push((cut, 1)),
                }
            } else {
                hearing.astray += 1;
            }
            next += 1;
        }
        squares += own.squares;
        shares += own.shares;
        hearing.stretches.push(own.stretch(from..next, times, pulses[first], end - first, period, scale));
    }
    hearing.between.sort_unstable();
    let per_attack = pulses.len() as f64 / times.len().max(1) as f64;
    if hearing.kind == Kind::Steady && hearing.stretches.len() == 1 && (per_attack - 1.0).abs() <= AVERAGE {
        hearing.kind = Kind::Average;
    }
    let agreeing = hearing.on_pulse.max(1) as f64;
    hearing.wobble_ms = (squares / agreeing).sqrt() * 1000.0 / speed;
    hearing.wobble = (shares / agreeing).sqrt();
    hearing.silent = touched.iter().filter(|t| !**t).count();
    hearing.unsounded = unsounded(pulses, all);
    hearing.parts = parts(&hearing, scale);
    hearing.salience = limits::salience(hearing.period() * 1000.0 / speed);
    hearing.score = hearing.parts.score();
    Some(hearing)
}

#[derive(Clone, Copy)]
struct InPulse {
    /// Nearest pulse.
    pulse: usize,
    /// Distance from it in periods, -0.5 to 0.5.
    away: f64,
    /// Step between the pulses around, in seconds.
    step: f64,
}

/// Where a time lies among the pulses `first..end`.
fn place(time: f64, pulses: &[f64], first: usize, end: usize, period: f64) -> InPulse {
    let after = first + pulses[first..end].partition_point(|p| *p <= time + HAIR);
    let before = after.saturating_sub(1).max(first);
    let step = if after > first && after < pulses.len() { pulses[after] - pulses[before] } else { period };
    let phase = (time - pulses[before]) / step;
    let nearest = if phase > 0.5 + HAIR && after < end { after } else { before };
    InPulse { pulse: nearest, away: if phase > 0.5 + HAIR { phase - phase.floor().max(1.0) } else { phase }, step }
}

/// The fewest parts the pulse must be cut into to reach a place, if few enough do.
fn cut(place: InPulse, exact: bool, speed: f64) -> Option<u16> {
    let tolerance = if exact {
        1e-3
    } else {
        (limits::SHIFT.value / 100.0).max(limits::SHIFT_LEAST.value / 1000.0 * speed / place.step)
    };
    let phase = place.away.rem_euclid(1.0);
    let cuts = if exact { &CUTS[..] } else { &CUTS[..FREE_CUTS] };
    cuts.iter()
        .map(|c| c.0)
        .find(|&n| (phase * f64::from(n) - (phase * f64::from(n)).round()).abs() / f64::from(n) <= tolerance + HAIR)
}

#[derive(Default)]
struct Tally {
    count: usize,
    squares: f64,
    shares: f64,
    first: Option<usize>,
    last: usize,
}

impl Tally {
    fn add(&mut self, place: InPulse) {
        self.count += 1;
        self.squares += (place.away * place.step).powi(2);
        self.shares += place.away.powi(2);
        self.first.get_or_insert(place.pulse);
        self.last = place.pulse;
    }

    /// The stretch of some attacks, with its first pulse in seconds and its number of pulses.
    fn stretch(
        &self,
        attacks: Range<usize>,
        times: &[f64],
        start: f64,
        pulses: usize,
        period: f64,
        scale: &Scale,
    ) -> Stretch {
        let Scale { range, speed, .. } = *scale;
        let n = self.count.max(1) as f64;
        // The mean rate runs to the first attack of the next stretch, or to the loop's return of the first attack.
        let start_of = |first: usize| times.get(first).copied();
        let mean = start_of(attacks.start).filter(|_| !attacks.is_empty()).map(|from| {
            let stop = start_of(attacks.end).unwrap_or(range.1 + times[0] - range.0);
            (stop - from) / ((stop - from) / period).round().max(1.0)
        });
        Stretch {
            first: attacks.start,
            attacks: attacks.len(),
            start,
            period,
            bpm: 60.0 * speed / period,
            mean_bpm: 60.0 * speed / mean.filter(|m| *m > 0.0).unwrap_or(period),
            pulses,
            wobble_ms: (self.squares / n).sqrt() * 1000.0 / speed,
            wobble: (self.shares / n).sqrt(),
        }
    }
}

/// Pulses near which no attack falls.
fn unsounded(pulses: &[f64], all: &[f64]) -> usize {
    let mut next = 0;
    let mut count = 0;
    for (i, &pulse) in pulses.iter().enumerate() {
        let step = if i + 1 < pulses.len() { pulses[i + 1] - pulse } else { pulse - pulses[i - 1] };
        let near = step * (limits::AGREES.value / 100.0 + HAIR);
        while next < all.len() && all[next] < pulse - near {
            next += 1;
        }
        count += usize::from(all.get(next).is_none_or(|t| *t > pulse + near));
    }
    count
}

/// The parts of a fitted hearing's score at a playing speed.
fn parts(hearing: &Hearing, scale: &Scale) -> Parts {
    let Scale { speed, limits, .. } = *scale;
    let felt = limits.feel(scale.cell * 1000.0 / speed);
    let noise = limits::NOISE.value / 100.0;
    let uneven = noise + (UNSTEADY - noise) * (1.0 - felt);
    let silence = if hearing.kind.is_counted() { SILENCE + (COUNTED_SILENCE - SILENCE) * felt } else { SILENCE };
    let period = hearing.period() * 1000.0 / speed;
    let free = if hearing.on_cells() { 1.0 } else { FREE };
    let between: f64 = hearing
        .between
        .iter()
        .map(|(n, count)| {
            let sure = CUTS.iter().find(|c| c.0 == *n).map_or(0.0, |c| c.1);
            *count as f64 * sure * free * limits.feel(period / f64::from(*n))
        })
        .sum();
    let attacks = hearing.on_pulse + hearing.astray + hearing.between.iter().map(|b| b.1).sum::<usize>();
    let pulses = hearing.pulses.len() as f64;
    let fast = ramp(period, limits::FASTEST_BEAT.low, limits::FASTEST_BEAT.high);
    let slow = 1.0 - ramp(period, limits::SLOWEST_BEAT.low, limits::SLOWEST_BEAT.high);
    // Between pulses that sway nothing can be placed.
    let steady = (-(hearing.wobble / uneven).powi(2) / 2.0).exp();
    // A change of the written tempo is no change of the pulse that is counted.
    let changes = if hearing.kind == Kind::Changing { hearing.stretches.len() - 1 } else { 0 };
    Parts {
        explained: (hearing.on_pulse as f64 + between * steady) / attacks.max(1) as f64,
        steady,
        tempo: fast * slow * (1.0 - SALIENT * (1.0 - limits::salience(period))),
        sounded: 1.0 - silence * hearing.unsounded as f64 / pulses,
        kept: 1.0 / (1.0 + CHANGE * changes as f64 / pulses),
    }
}

fn ramp(x: f64, from: f64, to: f64) -> f64 {
    ((x - from) / (to - from)).clamp(0.0, 1.0)
}

/// Playing speeds looked at, in percent.
const SPEEDS: std::ops::RangeInclusive<u16> = 20..=200;

/// Least score of a hearing that is kept for its score: what is shown as 0 is none (ours, no source).
const LEAST: f64 = 0.5;

/// Orders the hearings at the playing speed, keeps the best `kept` that have a score, those that are first at some speed and the
/// written beat, and finds the speeds at which the first one changes. Whoever lists hearings lists all that are kept, so that their
/// numbers agree.
pub(super) fn rank(mut pool: Vec<Hearing>, scale: &Scale, kept: usize) -> (Vec<Hearing>, Vec<Turn>) {
    // Equal scores keep the order of their making, also when they were computed a hair apart.
    pool.sort_by_key(|h| std::cmp::Reverse((h.score / HAIR).round() as i64));
    let mut firsts: Vec<(u16, usize)> = Vec::new();
    for percent in SPEEDS {
        let scores = pool.iter().map(|h| parts(h, &Scale { speed: f64::from(percent) / 100.0, ..*scale }).score());
        // Of equal ones the earlier in the order at the playing speed.
        let first = scores.enumerate().fold((0, -1.0), |best, (i, s)| if s > best.1 + HAIR { (i, s) } else { best }).0;
        if firsts.last().is_none_or(|(_, h)| *h != first) {
            firsts.push((percent, first));
        }
    }
    let mut keep: Vec<usize> = (0..pool.len())
        .filter(|i| {
            *i < kept && pool[*i].score >= LEAST - HAIR
                || pool[*i].kind == Kind::Written
                || firsts.iter().any(|f| f.1 == *i)
        })
        .collect();
    keep.sort_unstable();
    let turns = firsts
        .iter()
        .filter_map(|(percent, h)| keep.binary_search(h).ok().map(|hearing| Turn { percent: *percent, hearing }))
        .collect();
    let mut index = 0;
    pool.retain(|_| {
        index += 1;
        keep.binary_search(&(index - 1)).is_ok()
    });
    (pool, turns)
}
