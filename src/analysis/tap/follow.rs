//! Which pulse the taps follow: an exact search for the cheapest cut into stretches. It must not know what a pulse comes from.
//!
//! # The cost
//! A stretch follows one of the pulses with one shift (how early or late it is tapped, one of [`SHIFTS`] parts of the period),
//! or none. In natural units of information it costs
//! ```text
//! PRICE + RARE + shift^2 / (2 TAP_EARLY^2) + sum over taps of min(r^2 / (2 s^2), FAR) + ln(s sqrt(2 pi) / g) + MISSED m + TWICE d
//! ```
//! with `r` the distance of a tap from its shifted pulse, `s^2 = TAP_SPREAD_LEAST^2 + (TAP_SPREAD P)^2` the spread of one who
//! follows a pulse of period `P`, `g` the middle one of the times between taps, `m` the pulses passed over since the tap before
//! (a pause counts as [`PAUSE`]) and `d` whether the tap fell on the same pulse again. A stretch that follows nothing costs its
//! price: its taps fall anywhere, with a density of one in `g`.
//!
//! The cheapest cut over all pulses, shifts and cuts is found in one pass, since a tap's cost hangs only on itself and the tap
//! before it (Viterbi 1967). Neighbours that follow one pulse with nearly one shift are then joined, and what is shorter than
//! [`FEWEST`] taps is given to its neighbours where they meet best.

use super::pulses::Pulses;
use super::{FEWEST, Follows};
use crate::analysis::limits;

/// Price of a stretch, in natural units of information (ours, no source): that of a stretch of a changing hearing.
pub(super) const PRICE: f64 = 8.0;
/// Price of a pulse that is seldom taken (ours, no source): odds of four or five to one.
pub(super) const RARE: f64 = 1.5;
/// Price of a pulse passed over without a tap: one in seven (ours, no source).
pub(super) const MISSED: f64 = 2.0;
/// Price of a second tap on one pulse: one in twenty (ours, no source).
pub(super) const TWICE: f64 = 3.0;
/// Pulses passed over from which on it is a pause, not a slip (ours, no source).
pub(super) const PAUSE: i64 = 4;
/// Most that one tap's distance costs: three times the spread (ours, no source).
pub(super) const FAR: f64 = 4.5;
/// Part of [`limits::TAP_EARLY`] that is left where the offset is known (ours, no source).
const KNOWN: f64 = 0.5;
/// Shifts tried on either side of the pulse, and their step as a part of the period.
const SHIFTS: i32 = 9;
const STEP: f64 = 0.05;
/// Shifts that differ by at most so much of the period are one that creeps (ours, no source).
const CREEPS: f64 = 0.2;

/// A pulse with a shift.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Way<'a> {
    /// Index of the pulse.
    index: usize,
    pulses: &'a Pulses,
    /// In seconds, plus is late.
    shift: f64,
    /// Expected spread in seconds.
    spread: f64,
    /// Cost of beginning with it, and of a tap on its very pulse.
    start: f64,
    on: f64,
}

/// A stretch of taps.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub(super) from: usize,
    pub(super) to: usize,
    /// The pulse followed, if one is.
    pub(super) pulses: Option<usize>,
    /// The shift of every tap, in seconds.
    pub(super) shifts: Vec<f64>,
    /// What fits next best.
    pub(super) second: Option<Follows>,
    pub(super) margin: f64,
}

/// The middle one of the times between taps, in seconds; at least a millisecond.
pub(super) fn middle_gap(taps: &[f64]) -> f64 {
    let mut gaps: Vec<f64> = taps.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_by(f64::total_cmp);
    gaps.get(gaps.len() / 2).copied().unwrap_or(1.0).max(1e-3)
}

fn ways(known: &[Pulses], gap: f64, offset_known: bool) -> Vec<Way<'_>> {
    let early = limits::TAP_EARLY.value / 1000.0 * if offset_known { KNOWN } else { 1.0 };
    let mut ways = Vec::new();
    for (index, pulses) in known.iter().enumerate() {
        let period = pulses.period();
        let spread = (limits::TAP_SPREAD_LEAST.value / 1000.0).hypot(limits::TAP_SPREAD.value / 100.0 * period);
        let on = (spread * std::f64::consts::TAU.sqrt() / gap).ln();
        let rare = if pulses.is_rare { RARE } else { 0.0 };
        for step in -SHIFTS..=SHIFTS {
            let shift = f64::from(step) * STEP * period;
            ways.push(Way { index, pulses, shift, spread, start: rare + (shift / early).powi(2) / 2.0, on });
        }
    }
    ways
}

impl Way<'_> {
    fn pulse(&self, tap: f64) -> i64 {
        self.pulses.nearest(tap - self.shift)
    }

    fn tap(&self, tap: f64, pulse: i64) -> f64 {
        let r = (tap - self.shift - self.pulses.at(pulse)) / self.spread;
        (r * r / 2.0).min(FAR) + self.on
    }

    /// Cost of some taps that follow this one, without the price.
    fn cost(&self, taps: &[f64]) -> f64 {
        let mut before = None;
        taps.iter().fold(self.start, |sum, tap| {
            let pulse = self.pulse(*tap);
            let passed = before.replace(pulse).map_or(0.0, |b| step(pulse - b));
            sum + passed + self.tap(*tap, pulse)
        })
    }
}

/// Cost of going on by so many pulses.
fn step(by: i64) -> f64 {
    match by {
        1 => 0.0,
        2.. => MISSED * (by - 1).min(PAUSE) as f64,
        _ => TWICE,
    }
}

/// What two costs may differ by that are equal before rounding.
const TIE: f64 = 1e-9;

/// The cheapest cut: for each tap the index of its way, the last one past the ways being none; and where a stretch begins.
fn cheapest(ways: &[Way<'_>], taps: &[f64]) -> Vec<(usize, bool)> {
    let none = ways.len();
    let mut costs = vec![f64::INFINITY; none + 1];
    let mut before = vec![0_i64; none];
    // For each tap and way whether a stretch begins there, and the best way of the tap before.
    let mut begins = vec![false; taps.len() * (none + 1)];
    let mut bests: Vec<usize> = Vec::with_capacity(taps.len());
    let mut best = 0.0;
    for (i, &tap) in taps.iter().enumerate() {
        let mut least = (f64::INFINITY, none);
        for w in 0..=none {
            let (own, start) = match ways.get(w) {
                Some(way) => {
                    let pulse = way.pulse(tap);
                    let passed = step(pulse - std::mem::replace(&mut before[w], pulse));
                    let own = way.tap(tap, pulse);
                    (costs[w] + passed + own, best + PRICE + way.start + own)
                }
                None => (costs[w], best + PRICE),
            };
            let new = start < own - TIE;
            begins[i * (none + 1) + w] = new;
            costs[w] = if new { start } else { own };
            if costs[w] < least.0 - TIE {
                least = (costs[w], w);
            }
        }
        best = least.0;
        bests.push(least.1);
    }
    let mut found = vec![(none, true); taps.len()];
    let mut way = bests.last().copied().unwrap_or(none);
    for i in (0..taps.len()).rev() {
        let new = begins[i * (none + 1) + way];
        found[i] = (way, new);
        if new && i > 0 {
            way = bests[i - 1];
        }
    }
    found
}

/// Taps that follow one pulse, with the way of each.
struct Piece {
    from: usize,
    ways: Vec<usize>,
}

impl Piece {
    fn to(&self) -> usize {
        self.from + self.ways.len()
    }

    /// Its cost, each change of the shift a price.
    fn cost(&self, all: &[Way<'_>], taps: &[f64]) -> f64 {
        let mut at = self.from;
        let runs = self.ways.chunk_by(|a, b| a == b).map(|run| {
            let own = &taps[at..at + run.len()];
            at += run.len();
            PRICE + all.get(run[0]).map_or(0.0, |w| w.cost(own))
        });
        runs.sum()
    }

    fn last(&self) -> usize {
        self.ways[self.ways.len() - 1]
    }
}

/// The stretches of some taps, in order of time and at least one.
pub(super) fn stretches(known: &[Pulses], taps: &[f64], offset_known: bool) -> Vec<Part> {
    let all = ways(known, middle_gap(taps), offset_known);
    let mut pieces: Vec<Piece> = Vec::new();
    for (i, (way, new)) in cheapest(&all, taps).into_iter().enumerate() {
        match pieces.last_mut().filter(|_| !new) {
            Some(piece) => piece.ways.push(way),
            None => pieces.push(Piece { from: i, ways: vec![way] }),
        }
    }
    join(&all, &mut pieces);
    while pieces.len() > 1
        && let Some(short) =
            (0..pieces.len()).filter(|i| pieces[*i].ways.len() < FEWEST).min_by_key(|i| pieces[*i].ways.len())
    {
        give_away(&all, taps, &mut pieces, short);
        join(&all, &mut pieces);
    }
    let part = |piece: Piece| {
        let pulses = all.get(piece.ways[0]).map(|w| w.index);
        let (second, margin) = second(&all, &taps[piece.from..piece.to()], pulses, piece.cost(&all, taps));
        let shifts = piece.ways.iter().map(|w| all.get(*w).map_or(0.0, |w| w.shift)).collect();
        Part { from: piece.from, to: piece.to(), pulses, shifts, second, margin }
    };
    pieces.into_iter().map(part).collect()
}

/// Joins neighbours that follow one pulse with nearly one shift.
fn join(all: &[Way<'_>], pieces: &mut Vec<Piece>) {
    let creeps = |a: usize, b: usize| match (all.get(a), all.get(b)) {
        (Some(a), Some(b)) => a.index == b.index && (a.shift - b.shift).abs() <= (CREEPS + TIE) * a.pulses.period(),
        (None, None) => true,
        _ => false,
    };
    let mut joined: Vec<Piece> = Vec::with_capacity(pieces.len());
    for piece in pieces.drain(..) {
        match joined.last_mut().filter(|l| creeps(l.last(), piece.ways[0])) {
            Some(last) => last.ways.extend(piece.ways),
            None => joined.push(piece),
        }
    }
    *pieces = joined;
}

/// Gives the taps of a short piece to its neighbours, cut where that costs least.
fn give_away(all: &[Way<'_>], taps: &[f64], pieces: &mut Vec<Piece>, short: usize) {
    let (count, from) = (pieces[short].ways.len(), pieces[short].from);
    let before = short.checked_sub(1);
    let after = Some(short + 1).filter(|a| *a < pieces.len());
    let grown = |cut: usize| {
        let left = before.map(|b| {
            let own = &pieces[b];
            Piece {
                from: own.from,
                ways: own.ways.iter().copied().chain(std::iter::repeat_n(own.last(), cut)).collect(),
            }
        });
        let right = after.map(|a| {
            let own = &pieces[a];
            let ways = std::iter::repeat_n(own.ways[0], count - cut).chain(own.ways.iter().copied()).collect();
            Piece { from: from + cut, ways }
        });
        [left, right]
    };
    let cuts = match (before, after) {
        (Some(_), Some(_)) => 0..=count,
        (Some(_), None) => count..=count,
        _ => 0..=0,
    };
    let cost = |cut: &usize| grown(*cut).iter().flatten().map(|p| p.cost(all, taps)).sum::<f64>();
    let best = cuts.map(|cut| (cost(&cut), cut)).fold((f64::INFINITY, 0), |b, c| if c.0 < b.0 - TIE { c } else { b });
    let [left, right] = grown(best.1);
    pieces.remove(short);
    for (at, piece) in [(before, left), (after.map(|a| a - 1), right)] {
        if let (Some(at), Some(piece)) = (at, piece) {
            pieces[at] = piece;
        }
    }
}

/// What fits some taps best besides what they follow, and by how much less well.
fn second(ways: &[Way<'_>], taps: &[f64], own: Option<usize>, price: f64) -> (Option<Follows>, f64) {
    let mut least = (f64::INFINITY, None);
    for way in ways.iter().filter(|w| Some(w.index) != own) {
        let cost = way.cost(taps);
        if cost < least.0 - TIE {
            least = (cost, Some(way.pulses.follows));
        }
    }
    if own.is_some() && least.0 > 0.0 {
        least = (0.0, Some(Follows::Nothing));
    }
    (least.1, (least.0 + PRICE - price).max(0.0))
}

#[cfg(test)]
mod tests {
    use super::super::{TapAsk, pulses};
    use super::*;
    use crate::analysis::tests::typed;
    use crate::analysis::{Ask, report};
    use proptest::prelude::*;

    /// Cost of a cut, written plainly from the formula above.
    fn plain(known: &[Pulses], taps: &[f64], gap: f64, from: usize, to: usize) -> f64 {
        let mut least = PRICE;
        for p in known {
            for step in -SHIFTS..=SHIFTS {
                let shift = f64::from(step) * 0.05 * p.period();
                let s = (0.02_f64.powi(2) + (0.05 * p.period()).powi(2)).sqrt();
                let rare = if p.is_rare { RARE } else { 0.0 };
                let mut cost = PRICE + rare + shift.powi(2) / (2.0 * 0.08_f64.powi(2));
                for i in from..to {
                    // The nearest of all pulses around, one by one.
                    let k = |tap: f64| {
                        let guess = ((tap - shift) / p.period()) as i64;
                        let r = |k: i64| (tap - shift - p.at(k)).abs();
                        (guess - 40..guess + 40).fold(guess, |b, k| if r(k) < r(b) - 1e-12 { k } else { b })
                    };
                    let r = taps[i] - shift - p.at(k(taps[i]));
                    cost += (r * r / (2.0 * s * s)).min(FAR) + (s * (2.0 * std::f64::consts::PI).sqrt() / gap).ln();
                    if i > from {
                        cost += match k(taps[i]) - k(taps[i - 1]) {
                            1 => 0.0,
                            n if n > 1 => MISSED * (n - 1).min(PAUSE) as f64,
                            _ => TWICE,
                        };
                    }
                }
                least = least.min(cost);
            }
        }
        least
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn the_cut_is_the_cheapest_of_all(gaps in prop::collection::vec(60_u32..900, 2..9), start in 0_u32..2000) {
            let r = report(&typed(150, "16(4+4+5)"), &Ask::default());
            let ask = TapAsk { speed: 1.0, range: (0.0, r.clock.total()), offset: 0.0 };
            let known: Vec<Pulses> = pulses::of_report(&r, &ask).into_iter().take(3).collect();
            // Off the milliseconds: a tap exactly between two pulses may be given to either.
            let mut taps = vec![f64::from(start) / 1000.0 + 0.000_137];
            for g in &gaps {
                taps.push(taps[taps.len() - 1] + f64::from(*g) / 1000.0);
            }
            let (n, gap) = (taps.len(), middle_gap(&taps));
            let mut least = f64::INFINITY;
            for mask in 0..1_u32 << (n - 1) {
                let mut ends: Vec<usize> = (1..n).filter(|i| mask >> (i - 1) & 1 == 1).collect();
                ends.push(n);
                let mut from = 0;
                let mut cost = 0.0;
                for to in ends {
                    cost += plain(&known, &taps, gap, from, to);
                    from = to;
                }
                least = least.min(cost);
            }
            let all = ways(&known, gap, false);
            let mut pieces: Vec<Piece> = Vec::new();
            for (i, (way, new)) in cheapest(&all, &taps).into_iter().enumerate() {
                if new {
                    pieces.push(Piece { from: i, ways: Vec::new() });
                }
                pieces.last_mut().expect("the first begins one").ways.push(way);
            }
            let found: f64 = pieces.iter().map(|p| p.cost(&all, &taps)).sum();
            prop_assert!((found - least).abs() < 1e-6, "{found} against {least}");
        }
    }
}
