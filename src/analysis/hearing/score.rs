//! How well a hearing fits at one playing speed: its figures and its score.

use super::speeds::Profile;
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
pub(super) const UNSTEADY: f64 = 0.12;
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

/// Where an attack falls under a pulse.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fall {
    /// On it, within the tolerance.
    On,
    /// Between, by the row of [`CUTS`].
    Between(usize),
    /// Nowhere.
    Astray,
}

/// The attacks by where they fall at one playing speed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Counted {
    pub(super) on: usize,
    /// By the rows of [`CUTS`].
    pub(super) between: [usize; CUTS.len()],
    pub(super) astray: usize,
    /// Sum of the squares of what those on the pulse are away from it, in periods.
    pub(super) shares: f64,
}

impl Counted {
    /// Rows of [`CUTS`].
    pub(super) const CUTS: usize = CUTS.len();

    fn add(&mut self, fall: Fall, place: InPulse) {
        match fall {
            Fall::On => {
                self.on += 1;
                self.shares += place.away.powi(2);
            }
            Fall::Between(row) => self.between[row] += 1,
            Fall::Astray => self.astray += 1,
        }
    }

    /// RMS distance of the attacks on the pulse, as a share of the period.
    fn wobble(&self) -> f64 {
        (self.shares / self.on.max(1) as f64).max(0.0).sqrt()
    }

    fn all(&self) -> usize {
        self.on + self.astray + self.between.iter().sum::<usize>()
    }
}

/// Fits a draft to the attacks, at the playing speed and at every other one; `None` if it has no two pulses.
pub(super) fn fit(draft: &Draft, times: &[f64], all: &[f64], scale: &Scale) -> Option<(Hearing, Profile)> {
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
        closes: closes(draft, scale.range),
        parts: Parts::default(),
        score: 0.0,
    };
    let mut touched = vec![false; pulses.len()];
    let (mut counted, mut profile) = (Counted::default(), Profile::new());
    let mut squares = 0.0;
    let mut next = 0;
    for (s, &(first, period)) in draft.stretches.iter().enumerate() {
        let end = draft.stretches.get(s + 1).map_or(pulses.len(), |e| e.0);
        let stop = pulses.get(end).map_or(f64::INFINITY, |p| p - 0.25 * period);
        let (from, mut after) = (next, first);
        let mut own = Tally::default();
        while next < times.len() && times[next] < stop - HAIR {
            while after < end && pulses[after] <= times[next] + HAIR {
                after += 1;
            }
            let place = place(times[next], pulses, first..end, after, period);
            let misses = misses(place, draft.exact);
            let fall = |speed: f64| fall(place, &misses, draft.exact, speed, limits);
            let here = if let Some(same) = everywhere(place, &misses, draft.exact) {
                profile.add_same(place.away, same);
                same
            } else {
                profile.add(place.away, fall);
                fall(speed)
            };
            counted.add(here, place);
            if here == Fall::On {
                own.add(place);
                touched[place.pulse] = true;
            }
            next += 1;
        }
        squares += own.squares;
        hearing.stretches.push(own.stretch(from..next, times, pulses[first], end - first, period, scale));
    }
    let between = CUTS.iter().zip(counted.between).filter(|(_, count)| *count > 0);
    hearing.between = between.map(|(cut, count)| (cut.0, count)).collect();
    hearing.between.sort_unstable();
    (hearing.on_pulse, hearing.astray) = (counted.on, counted.astray);
    let per_attack = pulses.len() as f64 / times.len().max(1) as f64;
    if hearing.kind == Kind::Steady && hearing.stretches.len() == 1 && (per_attack - 1.0).abs() <= AVERAGE {
        hearing.kind = Kind::Average;
    }
    hearing.wobble_ms = (squares / counted.on.max(1) as f64).sqrt() * 1000.0 / speed;
    hearing.wobble = counted.wobble();
    hearing.silent = touched.iter().filter(|t| !**t).count();
    hearing.unsounded = unsounded(pulses, all);
    hearing.parts = parts(&hearing, &counted, scale);
    hearing.salience = limits::salience(hearing.period() * 1000.0 / speed);
    hearing.score = hearing.parts.score();
    profile.sum();
    Some((hearing, profile))
}

/// Where an attack falls at every playing speed, if it is seen at once that it is the same.
fn everywhere(place: InPulse, misses: &Misses, exact: bool) -> Option<Fall> {
    let agrees = place.away.abs() <= limits::AGREES.value / 100.0 + HAIR;
    match (agrees, exact) {
        (true, false) => Some(Fall::On),
        (true, true) => (place.away.abs() <= 1e-3).then_some(Fall::On),
        (false, true) => Some(cut(place, misses, true, 1.0).map_or(Fall::Astray, Fall::Between)),
        (false, false) => None,
    }
}

/// Where an attack falls at a playing speed. The faster, the fewer positions between are told from the pulse, and the easier is the cut.
fn fall(place: InPulse, misses: &Misses, exact: bool, speed: f64, limits: Limits) -> Fall {
    let agrees = place.away.abs() <= limits::AGREES.value / 100.0 + HAIR;
    if agrees && !(exact && place.away.abs() > 1e-3) {
        return Fall::On;
    }
    let cut = cut(place, misses, exact, speed);
    // A position on cells that are felt is heard where it is, not as a late or early pulse.
    let felt = |row: &usize| limits.feel(place.step * 1000.0 / speed / f64::from(CUTS[*row].0)) > 0.0;
    match cut {
        Some(row) if !agrees || felt(&row) => Fall::Between(row),
        _ if agrees => Fall::On,
        _ => Fall::Astray,
    }
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

/// Where a time lies among the pulses of a stretch, of which `after` is the first later one.
fn place(time: f64, pulses: &[f64], Range { start: first, end }: Range<usize>, after: usize, period: f64) -> InPulse {
    let before = after.saturating_sub(1).max(first);
    let step = if after > first && after < pulses.len() { pulses[after] - pulses[before] } else { period };
    let phase = (time - pulses[before]) / step;
    let nearest = if phase > 0.5 + HAIR && after < end { after } else { before };
    InPulse { pulse: nearest, away: if phase > 0.5 + HAIR { phase - phase.floor().max(1.0) } else { phase }, step }
}

/// How far a place is from the nearest position of each cut that counts, by the rows of [`CUTS`], in periods.
type Misses = [f64; CUTS.len()];

fn misses(place: InPulse, exact: bool) -> Misses {
    let phase = place.away.rem_euclid(1.0);
    let mut misses = [f64::INFINITY; CUTS.len()];
    let rows = if exact { CUTS.len() } else { FREE_CUTS };
    for (miss, (n, _)) in misses[..rows].iter_mut().zip(CUTS) {
        let into = phase * f64::from(n);
        let after = into - f64::from(into as u16);
        *miss = after.min(1.0 - after) / f64::from(n);
    }
    misses
}

/// The easiest cut of the pulse that reaches a place, as a row of [`CUTS`], if one does.
fn cut(place: InPulse, misses: &Misses, exact: bool, speed: f64) -> Option<usize> {
    let tolerance = if exact {
        1e-3
    } else {
        (limits::SHIFT.value / 100.0).max(limits::SHIFT_LEAST.value / 1000.0 * speed / place.step)
    };
    misses.iter().position(|miss| *miss <= tolerance + HAIR)
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

/// Whether the step from the last pulse to the first one of the next time through is one of its own, to within the noise floor.
fn closes(draft: &Draft, range: (f64, f64)) -> bool {
    let (Some(first), Some(last), Some((_, period))) =
        (draft.pulses.first(), draft.pulses.last(), draft.stretches.last())
    else {
        return false;
    };
    // A fitted pulse may stand a little before the start and again a little before the end.
    let steps = (first + (range.1 - range.0) - last) / period;
    draft.kind == Kind::Heads || (steps - steps.round().clamp(0.0, 1.0)).abs() <= limits::NOISE.value / 100.0
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

/// The parts of a hearing's score at a playing speed, of the attacks as they are counted there.
pub(super) fn parts(hearing: &Hearing, counted: &Counted, scale: &Scale) -> Parts {
    let Scale { speed, limits, .. } = *scale;
    let felt = limits.feel(scale.cell * 1000.0 / speed);
    let noise = limits::NOISE.value / 100.0;
    let uneven = noise + (UNSTEADY - noise) * (1.0 - felt);
    let silence = if hearing.kind.is_counted() { SILENCE + (COUNTED_SILENCE - SILENCE) * felt } else { SILENCE };
    let period = hearing.period() * 1000.0 / speed;
    let free = if hearing.on_cells() { 1.0 } else { FREE };
    let sure = CUTS.iter().zip(counted.between).filter(|(_, count)| *count > 0);
    let between: f64 =
        sure.map(|((n, sure), count)| count as f64 * sure * free * limits.feel(period / f64::from(*n))).sum();
    let pulses = hearing.pulses.len() as f64;
    let fast = ramp(period, limits::FASTEST_BEAT.low, limits::FASTEST_BEAT.high);
    let slow = 1.0 - ramp(period, limits::SLOWEST_BEAT.low, limits::SLOWEST_BEAT.high);
    // Between pulses that sway nothing can be placed.
    let steady = (-(counted.wobble() / uneven).powi(2) / 2.0).exp();
    // A change of the written tempo is no change of the pulse that is counted.
    let changes = if hearing.kind == Kind::Changing { hearing.stretches.len() - 1 } else { 0 };
    Parts {
        explained: (counted.on as f64 + between * steady) / counted.all().max(1) as f64,
        steady,
        tempo: fast * slow * (1.0 - SALIENT * (1.0 - limits::salience(period))),
        sounded: 1.0 - silence * hearing.unsounded as f64 / pulses,
        kept: 1.0 / (1.0 + CHANGE * changes as f64 / pulses),
    }
}

fn ramp(x: f64, from: f64, to: f64) -> f64 {
    ((x - from) / (to - from)).clamp(0.0, 1.0)
}
