//! Which pulse the taps follow: an exact search for the segmentation of least cost.
//!
//! # The cost
//! A stretch follows one pulse with one shift (how early or late it is tapped, a multiple of [`SHIFT_STEP`] periods), or none.
//! In nats it costs
//! ```text
//! STRETCH_COST + RARE_COST + shift^2 / (2 TAP_EARLY^2) + sum over taps of min(r^2 / (2 s^2), MAX_TAP_COST) + ln(s sqrt(2 pi) / g) + MISSED_COST m + DOUBLE_COST d
//! ```
//! with `r` the distance of a tap from its shifted pulse, `s^2 = TAP_SPREAD_MIN^2 + (TAP_SPREAD P)^2` the expected spread on a
//! pulse of period `P`, `g` the median time between taps, `m` the number of pulses skipped since the previous tap (at most
//! [`PAUSE_PULSES`]) and `d` whether the tap is on the same pulse again. A stretch that follows no pulse costs `STRETCH_COST`: its taps
//! are anywhere, with a density of one in `g`.
//!
//! One pass finds the cheapest segmentation over all pulses, shifts and cuts, since a tap's cost depends only on itself and the
//! previous tap (Viterbi 1967). Neighbours that follow one pulse with nearly the same shift are then joined, and runs of fewer than
//! [`MIN_TAPS`] taps are merged into their neighbours.

use super::pulses::TapPulses;
use super::{FollowedPulse, MIN_TAPS, TapOptions};
use crate::analysis::limits;

/// Cost of a stretch in nats (ours, no source).
pub(super) const STRETCH_COST: f64 = 8.0;
/// Cost of a pulse that people seldom tap (ours, no source): odds of four or five to one.
pub(super) const RARE_COST: f64 = 1.5;
/// Cost of a pulse without a tap: one in seven (ours, no source).
pub(super) const MISSED_COST: f64 = 2.0;
/// Cost of a second tap on one pulse: one in twenty (ours, no source).
pub(super) const DOUBLE_COST: f64 = 3.0;
/// Pulses without a tap from which on they are a pause, not slips (ours, no source).
pub(super) const PAUSE_PULSES: i64 = 4;
/// Upper bound of the cost of one tap's distance: three times the spread (ours, no source).
pub(super) const MAX_TAP_COST: f64 = 4.5;
/// Factor on [`limits::TAP_EARLY`] if the offset is known (ours, no source).
const KNOWN_OFFSET_FACTOR: f64 = 0.5;
/// Shifts tried on either side of the pulse, and their step as a fraction of the period.
const MAX_SHIFT_STEPS: i32 = 9;
const SHIFT_STEP: f64 = 0.05;
/// Neighbouring shifts that differ by at most this fraction of the period are one drifting shift (ours, no source).
const MAX_SHIFT_CREEP: f64 = 0.2;

/// A pulse with a shift.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Path<'a> {
    index: usize,
    pulses: &'a TapPulses,
    /// In seconds; positive is late.
    shift: f64,
    /// Expected spread in seconds.
    spread: f64,
    /// Cost of starting a stretch, and of a tap exactly on the pulse.
    start: f64,
    on: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct FollowedStretch {
    pub(super) from: usize,
    pub(super) to: usize,
    /// Index of the pulse followed.
    pub(super) pulses: Option<usize>,
    /// The shift of every tap, in seconds.
    pub(super) shifts: Vec<f64>,
    pub(super) runner_up: Option<FollowedPulse>,
    pub(super) margin: f64,
}

/// The median inter-tap interval in seconds, at least a millisecond.
pub(super) fn middle_gap(taps: &[f64]) -> f64 {
    let mut gaps: Vec<f64> = taps.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_by(f64::total_cmp);
    gaps.get(gaps.len() / 2).copied().unwrap_or(1.0).max(1e-3)
}

fn paths<'a>(known: &'a [TapPulses], gap: f64, options: &TapOptions) -> Vec<Path<'a>> {
    let early = limits::TAP_EARLY.value / 1000.0 * if options.offset == 0.0 { 1.0 } else { KNOWN_OFFSET_FACTOR };
    let mut paths = Vec::new();
    for (index, pulses) in known.iter().enumerate() {
        let period = pulses.period();
        let spread = (limits::TAP_SPREAD_MIN.value / 1000.0).hypot(limits::TAP_SPREAD.value / 100.0 * period);
        let on = (spread * std::f64::consts::TAU.sqrt() / gap).ln();
        let rare = if pulses.is_rare { RARE_COST } else { 0.0 };
        for step in -MAX_SHIFT_STEPS..=MAX_SHIFT_STEPS {
            let shift = f64::from(step) * SHIFT_STEP * period;
            paths.push(Path { index, pulses, shift, spread, start: rare + (shift / early).powi(2) / 2.0, on });
        }
    }
    paths
}

impl Path<'_> {
    fn pulse(&self, tap: f64) -> i64 {
        self.pulses.nearest(tap - self.shift)
    }

    fn tap(&self, tap: f64, pulse: i64) -> f64 {
        let r = (tap - self.shift - self.pulses.at(pulse)) / self.spread;
        (r * r / 2.0).min(MAX_TAP_COST) + self.on
    }

    /// Cost of a run of taps on this path, without [`STRETCH_COST`].
    fn cost(&self, taps: &[f64]) -> f64 {
        let mut before = None;
        taps.iter().fold(self.start, |sum, tap| {
            let pulse = self.pulse(*tap);
            let passed = before.replace(pulse).map_or(0.0, |b| step(pulse - b));
            sum + passed + self.tap(*tap, pulse)
        })
    }
}

/// Cost of advancing by this many pulses.
fn step(by: i64) -> f64 {
    match by {
        1 => 0.0,
        2.. => MISSED_COST * (by - 1).min(PAUSE_PULSES) as f64,
        _ => DOUBLE_COST,
    }
}

/// Costs closer than this count as equal.
const EPSILON_COST: f64 = 1e-9;

/// The cheapest segmentation: for each tap the index of its path (`paths.len()` for none) and whether a stretch begins there.
fn cheapest(paths: &[Path<'_>], taps: &[f64]) -> Vec<(usize, bool)> {
    let none = paths.len();
    let mut costs = vec![f64::INFINITY; none + 1];
    let mut before = vec![0_i64; none];
    // For each tap and path whether a stretch begins there, and the best path of the tap before.
    let mut begins = vec![false; taps.len() * (none + 1)];
    let mut bests: Vec<usize> = Vec::with_capacity(taps.len());
    let mut best = 0.0;
    for (i, &tap) in taps.iter().enumerate() {
        let mut least = (f64::INFINITY, none);
        for w in 0..=none {
            let (own, start) = match paths.get(w) {
                Some(path) => {
                    let pulse = path.pulse(tap);
                    let passed = step(pulse - std::mem::replace(&mut before[w], pulse));
                    let own = path.tap(tap, pulse);
                    (costs[w] + passed + own, best + STRETCH_COST + path.start + own)
                }
                None => (costs[w], best + STRETCH_COST),
            };
            let new = start < own - EPSILON_COST;
            begins[i * (none + 1) + w] = new;
            costs[w] = if new { start } else { own };
            if costs[w] < least.0 - EPSILON_COST {
                least = (costs[w], w);
            }
        }
        best = least.0;
        bests.push(least.1);
    }
    let mut found = vec![(none, true); taps.len()];
    let mut path = bests.last().copied().unwrap_or(none);
    for i in (0..taps.len()).rev() {
        let new = begins[i * (none + 1) + path];
        found[i] = (path, new);
        if new && i > 0 {
            path = bests[i - 1];
        }
    }
    found
}

/// Consecutive taps that follow one pulse, with the path of each.
struct TapRun {
    from: usize,
    paths: Vec<usize>,
}

impl TapRun {
    fn to(&self) -> usize {
        self.from + self.paths.len()
    }

    /// Its cost; each change of the shift costs a stretch.
    fn cost(&self, all: &[Path<'_>], taps: &[f64]) -> f64 {
        let mut at = self.from;
        let runs = self.paths.chunk_by(|a, b| a == b).map(|run| {
            let own = &taps[at..at + run.len()];
            at += run.len();
            STRETCH_COST + all.get(run[0]).map_or(0.0, |w| w.cost(own))
        });
        runs.sum()
    }

    fn last(&self) -> usize {
        self.paths[self.paths.len() - 1]
    }
}

/// The stretches in order of time, at least one.
pub(super) fn stretches(known: &[TapPulses], taps: &[f64], options: &TapOptions) -> Vec<FollowedStretch> {
    let all = paths(known, middle_gap(taps), options);
    let mut runs: Vec<TapRun> = Vec::new();
    for (i, (path, new)) in cheapest(&all, taps).into_iter().enumerate() {
        match runs.last_mut().filter(|_| !new) {
            Some(run) => run.paths.push(path),
            None => runs.push(TapRun { from: i, paths: vec![path] }),
        }
    }
    join(&all, &mut runs);
    while runs.len() > 1
        && let Some(short) =
            (0..runs.len()).filter(|i| runs[*i].paths.len() < MIN_TAPS).min_by_key(|i| runs[*i].paths.len())
    {
        merge_into_neighbours(&all, taps, &mut runs, short);
        join(&all, &mut runs);
    }
    let part = |run: TapRun| {
        let pulses = all.get(run.paths[0]).map(|w| w.index);
        let (runner_up, margin) = runner_up(&all, &taps[run.from..run.to()], pulses, run.cost(&all, taps));
        let shifts = run.paths.iter().map(|w| all.get(*w).map_or(0.0, |w| w.shift)).collect();
        FollowedStretch { from: run.from, to: run.to(), pulses, shifts, runner_up, margin }
    };
    runs.into_iter().map(part).collect()
}

/// Joins neighbours that follow one pulse with nearly one shift.
fn join(all: &[Path<'_>], runs: &mut Vec<TapRun>) {
    let creeps = |a: usize, b: usize| match (all.get(a), all.get(b)) {
        (Some(a), Some(b)) => {
            a.index == b.index && (a.shift - b.shift).abs() <= (MAX_SHIFT_CREEP + EPSILON_COST) * a.pulses.period()
        }
        (None, None) => true,
        _ => false,
    };
    let mut joined: Vec<TapRun> = Vec::with_capacity(runs.len());
    for run in runs.drain(..) {
        match joined.last_mut().filter(|l| creeps(l.last(), run.paths[0])) {
            Some(last) => last.paths.extend(run.paths),
            None => joined.push(run),
        }
    }
    *runs = joined;
}

/// Splits a short run between its neighbours at the point of least cost.
fn merge_into_neighbours(all: &[Path<'_>], taps: &[f64], runs: &mut Vec<TapRun>, short: usize) {
    let (count, from) = (runs[short].paths.len(), runs[short].from);
    let before = short.checked_sub(1);
    let after = Some(short + 1).filter(|a| *a < runs.len());
    let grown = |cut: usize| {
        let left = before.map(|b| {
            let own = &runs[b];
            TapRun {
                from: own.from,
                paths: own.paths.iter().copied().chain(std::iter::repeat_n(own.last(), cut)).collect(),
            }
        });
        let right = after.map(|a| {
            let own = &runs[a];
            let paths = std::iter::repeat_n(own.paths[0], count - cut).chain(own.paths.iter().copied()).collect();
            TapRun { from: from + cut, paths }
        });
        [left, right]
    };
    let cuts = match (before, after) {
        (Some(_), Some(_)) => 0..=count,
        (Some(_), None) => count..=count,
        _ => 0..=0,
    };
    let cost = |cut: &usize| grown(*cut).iter().flatten().map(|p| p.cost(all, taps)).sum::<f64>();
    let best =
        cuts.map(|cut| (cost(&cut), cut)).fold((f64::INFINITY, 0), |b, c| if c.0 < b.0 - EPSILON_COST { c } else { b });
    let [left, right] = grown(best.1);
    runs.remove(short);
    for (at, run) in [(before, left), (after.map(|a| a - 1), right)] {
        if let (Some(at), Some(run)) = (at, run) {
            runs[at] = run;
        }
    }
}

/// The second-best pulse and its log odds.
fn runner_up(paths: &[Path<'_>], taps: &[f64], own: Option<usize>, own_cost: f64) -> (Option<FollowedPulse>, f64) {
    let mut least = (f64::INFINITY, None);
    for path in paths.iter().filter(|w| Some(w.index) != own) {
        let cost = path.cost(taps);
        if cost < least.0 - EPSILON_COST {
            least = (cost, Some(path.pulses.follows));
        }
    }
    if own.is_some() && least.0 > 0.0 {
        least = (0.0, Some(FollowedPulse::None));
    }
    (least.1, (least.0 + STRETCH_COST - own_cost).max(0.0))
}

#[cfg(test)]
mod tests {
    use super::super::pulses;
    use super::*;
    use crate::analysis::tests::typed;
    use crate::analysis::{AnalysisOptions, report};
    use proptest::prelude::*;

    /// Cost of a stretch, directly from the formula above.
    fn direct_cost(known: &[TapPulses], taps: &[f64], gap: f64, from: usize, to: usize) -> f64 {
        let mut least = STRETCH_COST;
        for p in known {
            for step in -MAX_SHIFT_STEPS..=MAX_SHIFT_STEPS {
                let shift = f64::from(step) * 0.05 * p.period();
                let s = (0.02_f64.powi(2) + (0.05 * p.period()).powi(2)).sqrt();
                let rare = if p.is_rare { RARE_COST } else { 0.0 };
                let mut cost = STRETCH_COST + rare + shift.powi(2) / (2.0 * 0.08_f64.powi(2));
                for i in from..to {
                    // The nearest pulse, by comparing all around.
                    let k = |tap: f64| {
                        let guess = ((tap - shift) / p.period()) as i64;
                        let r = |k: i64| (tap - shift - p.at(k)).abs();
                        (guess - 40..guess + 40).fold(guess, |b, k| if r(k) < r(b) - 1e-12 { k } else { b })
                    };
                    let r = taps[i] - shift - p.at(k(taps[i]));
                    cost += (r * r / (2.0 * s * s)).min(MAX_TAP_COST)
                        + (s * (2.0 * std::f64::consts::PI).sqrt() / gap).ln();
                    if i > from {
                        cost += match k(taps[i]) - k(taps[i - 1]) {
                            1 => 0.0,
                            n if n > 1 => MISSED_COST * (n - 1).min(PAUSE_PULSES) as f64,
                            _ => DOUBLE_COST,
                        };
                    }
                }
                least = least.min(cost);
            }
        }
        least
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(48))]
        #[test]
        fn the_segmentation_is_the_cheapest_of_all(gaps in prop::collection::vec(60_u32..900, 2..9), start in 0_u32..2000) {
            let r = report(&typed(150, "16(4+4+5)"), &AnalysisOptions::default());
            let ask = TapOptions { speed: 1.0, range: (0.0, r.clock.total()), offset: 0.0 };
            let known: Vec<TapPulses> = pulses::of_report(&r, &ask).into_iter().take(3).collect();
            // Not on whole milliseconds: a tap exactly between two pulses may belong to either.
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
                    cost += direct_cost(&known, &taps, gap, from, to);
                    from = to;
                }
                least = least.min(cost);
            }
            let all = paths(&known, gap, &ask);
            let mut runs: Vec<TapRun> = Vec::new();
            for (i, (path, new)) in cheapest(&all, &taps).into_iter().enumerate() {
                if new {
                    runs.push(TapRun { from: i, paths: Vec::new() });
                }
                runs.last_mut().expect("the first begins one").paths.push(path);
            }
            let found: f64 = runs.iter().map(|p| p.cost(&all, &taps)).sum();
            prop_assert!((found - least).abs() < 1e-6, "{found} against {least}");
        }
    }
}
