//! Ways to take the beat where no grid is felt: pulses that follow the attacks, about one attack per pulse, and changes between
//! them, against each other.

use super::attractors::attractors;
use super::best_path::{StateRun, Windows, best, best_path, runs};
use super::evidence::Event;
use super::follow::{Course, PulseStep, Start};
use super::hypothesis::{Candidate, Piece, PulseKind, PulseOrigin, Pulses, normalised};
use super::lanes::LANES;
use super::params::{Params, ROUNDING};
use super::periods::periods;
use super::pulse_posterior::{Densities, MIN_HIT_BELL, PulsePosterior};
use super::renewal::{self, DividedAttacks, Gaps, Rate};
use super::speeds::in_parallel;

/// Hypotheses of less only count in the sum.
const MIN_PROBABILITY: f64 = 1e-5;
/// Parts a pulse is cut into at most.
const MAX_PARTS: usize = 4;
/// From so many events on, pulses cut into different numbers of parts are followed side by side.
const MIN_PARALLEL_EVENTS: usize = 500;
/// States of a changing pulse: the best of the whole, and of each window.
const BEST_OF_ALL: usize = 12;
const BEST_OF_WINDOW: usize = 6;

/// An event on a pulse, with the pulse's number and time.
#[derive(Debug, Clone, Copy)]
struct Hit {
    event: usize,
    index: f32,
    time: f32,
}

/// Every pulse with its posterior, and what it takes to follow one again.
pub(super) struct OffGrid<'a> {
    events: &'a [Event],
    params: &'a Params,
    windows: Windows,
    course: Course,
    gaps: Gaps,
    pub(super) followed: Vec<PulsePosterior>,
    pub(super) rates: Vec<Rate>,
}

/// Ways to take the beat where no grid is felt.
pub(super) fn hear(events: &[Event], length: f64, cuts: &[f64], params: &Params) -> Vec<Candidate> {
    OffGrid::new(events, length, cuts, params).candidates()
}

impl<'a> OffGrid<'a> {
    pub(super) fn new(events: &'a [Event], length: f64, cuts: &[f64], params: &'a Params) -> Self {
        let windows = Windows::new(events, length, cuts, params);
        let course = Course::new(events, length, params);
        let gaps = Gaps::new(events, length);
        let periods = periods(events, length, params);
        let weight: f64 = course.weights.iter().map(|w| f64::from(*w)).sum();
        let follow = |parts: usize| -> Vec<PulsePosterior> {
            let all = attractors(&course, &windows, &periods, parts, params);
            all.iter().map(|a| PulsePosterior::new(a, parts, weight, length, params)).collect()
        };
        let parts: Vec<usize> = (1..=MAX_PARTS).collect();
        let followed = if events.len() < MIN_PARALLEL_EVENTS {
            parts.into_iter().flat_map(follow).collect()
        } else {
            in_parallel(&parts, |parts| follow(*parts)).into_iter().flatten().collect()
        };
        let rates = gaps.rates(&windows, params);
        Self { events, params, windows, course, gaps, followed, rates }
    }

    fn candidates(&self) -> Vec<Candidate> {
        let length = self.windows.length;
        let change = self.changing_pulse();
        let logs = self.followed.iter().map(|f| f.log).chain(self.rates.iter().map(|r| r.log));
        let p = normalised(logs.chain(change.iter().map(|c| c.0)));
        let likely = |p: &f64| *p >= MIN_PROBABILITY;
        let (pulses, probabilities): (Vec<&PulsePosterior>, Vec<f64>) =
            self.followed.iter().zip(p.iter().copied()).filter(|(_, p)| likely(p)).unzip();
        let mut all = Vec::new();
        for ((f, p), hits) in pulses.iter().zip(probabilities).zip(self.hits(&pulses)) {
            let mean_period = length / f64::from(f.pulses);
            let rate = rate(&hits, f.pulses, length).filter(|r| self.params.allows(*r)).unwrap_or(mean_period);
            let (kind, origin, pulses) = if f.is_average {
                let pulses = round_pulses(&hits, self.events, f.pulses, length);
                (PulseKind::Average, PulseOrigin::FollowedAttacks, pulses)
            } else {
                let pulses = (0..f.pulses as usize).map(|k| (k as f64 + f.phase) * mean_period).collect();
                (PulseKind::Even, PulseOrigin::EvenStream, pulses)
            };
            all.push(Candidate::steady(kind, origin, p, rate, length, Vec::new(), Pulses::at(pulses)));
        }
        let mut divided: Option<DividedAttacks> = None;
        for (r, p) in self.rates.iter().zip(&p[self.followed.len()..]).filter(|x| likely(x.1)) {
            // Neighbouring periods mostly have the same pulses.
            let same = divided.take().filter(|d| d.is_same_at(r.period));
            let pulses =
                &divided.insert(same.unwrap_or_else(|| DividedAttacks::new(self.events, length, r.period))).pulses;
            let (kind, origin) = (PulseKind::Average, PulseOrigin::AllAttacks);
            all.push(Candidate::steady(kind, origin, *p, r.period, length, Vec::new(), pulses.clone()));
        }
        if let Some((_, candidate)) = change {
            all.push(Candidate { probability: p[p.len() - 1], ..candidate });
        }
        all
    }

    /// Follows some pulses again, those of equal parts side by side.
    fn follow_again(&self, pulses: &[&PulsePosterior], mut each: impl FnMut(usize, &[Start], usize, &[PulseStep])) {
        let mut steps = Vec::new();
        let mut at = 0;
        for bundle in pulses.chunk_by(|a, b| a.parts == b.parts).flat_map(|g| g.chunks(LANES)) {
            let starts: Vec<Start> = bundle.iter().map(|f| f.start).collect();
            let settled = std::array::from_fn(|i| bundle[i.min(bundle.len() - 1)].settled);
            self.course.follow(&starts, settled, bundle[0].parts, &mut steps);
            each(at, &starts, bundle[0].parts, &steps);
            at += bundle.len();
        }
    }

    fn hits(&self, pulses: &[&PulsePosterior]) -> Vec<Vec<Hit>> {
        let mut hits = vec![Vec::new(); pulses.len()];
        self.follow_again(pulses, |at, starts, _, steps| {
            for (event, step) in steps.iter().enumerate() {
                for lane in (0..starts.len()).filter(|i| step.bell[*i] > MIN_HIT_BELL) {
                    let time = self.course.times[event] - step.error[lane];
                    hits[at + lane].push(Hit { event, index: step.index[lane], time });
                }
            }
        });
        hits
    }

    /// The best sequence of followed pulses and rates, with its log posterior.
    fn changing_pulse(&self) -> Option<(f64, Candidate)> {
        if self.windows.count() < 2 || self.followed.is_empty() {
            return None;
        }
        let all: Vec<(&Vec<f64>, f64)> = self
            .followed
            .iter()
            .map(|f| (&f.shares, f.prior))
            .chain(self.rates.iter().map(|r| (&r.shares, r.prior)))
            .collect();
        let mut states: Vec<usize> = Vec::new();
        for (set, scale) in self.windows.scales.iter().enumerate() {
            let scores = all.iter().map(|(shares, prior)| shares[set] * scale + prior);
            states.extend(best(scores, if set == 0 { BEST_OF_ALL } else { BEST_OF_WINDOW }));
        }
        states.sort_unstable();
        states.dedup();
        let followed: Vec<&PulsePosterior> = states.iter().filter_map(|s| self.followed.get(*s)).collect();
        let rates: Vec<&Rate> = states[followed.len()..].iter().map(|s| &self.rates[s - self.followed.len()]).collect();
        let table = self.table(&followed, &rates);
        let width = states.len();
        let (path, score) = best_path(self.events.len(), width, self.params.change_cost, |event, row| {
            row.copy_from_slice(&table[event * width..][..width]);
        });
        let runs = runs(&path);
        if runs.len() < 2 {
            return None;
        }
        let prior = path.iter().map(|s| all[states[*s]].1).sum::<f64>() / path.len() as f64;
        let mut used: Vec<usize> = path.iter().copied().filter(|s| *s < followed.len()).collect();
        used.sort_unstable();
        used.dedup();
        let hits = self.hits(&used.iter().map(|s| followed[*s]).collect::<Vec<_>>());
        let pulses = |&StateRun { from, to, state }: &StateRun| {
            let (pulses, period) = if let Some(f) = followed.get(state) {
                let of_state = &hits[used.partition_point(|s| *s < state)];
                let (first, last) =
                    (of_state.partition_point(|h| h.event < from), of_state.partition_point(|h| h.event < to));
                (pulses_between(&hit_pulses(&of_state[first..last], self.events)), f64::from(f.start.period))
            } else {
                let period = rates[state - followed.len()].period;
                (renewal::divide(self.events[from..to].iter().map(|e| e.time), period, |_, _| ()), period)
            };
            let mean = |p: &[f64]| (p[p.len() - 1] - p[0]) / (p.len() - 1) as f64;
            let period = if pulses.len() > 1 { mean(&pulses) } else { period };
            (pulses, period)
        };
        let mut pulses: Vec<(Vec<f64>, f64)> = runs.iter().map(pulses).collect();
        fill_gaps(&mut pulses, self.windows.length);
        let piece = |(&StateRun { from, to, .. }, (pulses, period)): (&StateRun, (Vec<f64>, f64))| Piece {
            start: if from == 0 { 0.0 } else { self.events[from].time },
            end: self.events.get(to).map_or(self.windows.length, |e| e.time),
            kind: PulseKind::Average,
            period,
            sizes: Vec::new(),
            pulses: Pulses::at(pulses),
        };
        let candidate = Candidate::changing(PulseOrigin::FollowedAttacks, runs.iter().zip(pulses).map(piece).collect());
        Some((score * self.windows.scales[0] + prior + self.params.first_beat_bonus, candidate))
    }

    /// The shares of some pulses and rates in the log likelihood, event by event.
    fn table(&self, followed: &[&PulsePosterior], rates: &[&Rate]) -> Vec<f32> {
        let width = followed.len() + rates.len();
        let mut table = vec![0.0; self.events.len() * width];
        let mut fill = |at: usize, count: usize, event: usize, shares: &[f32]| {
            table[event * width + at..][..count].copy_from_slice(&shares[..count]);
        };
        self.follow_again(followed, |at, starts, parts, steps| {
            let densities = Densities::new(starts, parts, self.params);
            densities.shares(&self.course, steps, |event, shares| fill(at, starts.len(), event, shares));
        });
        for (i, bundle) in rates.chunks(LANES).enumerate() {
            let centres: Vec<f64> = bundle.iter().map(|r| r.centre).collect();
            let at = followed.len() + i * LANES;
            self.gaps.shares(&centres, self.params, |event, shares| fill(at, bundle.len(), event, shares));
        }
        table
    }
}

/// From the last pulse of a piece to the first of the next the pulse goes on; pieces as pulses and period.
fn fill_gaps(pieces: &mut [(Vec<f64>, f64)], length: f64) {
    for i in 0..pieces.len() {
        let next = match pieces.get(i + 1) {
            Some(next) => next.0.first().copied(),
            None => pieces[0].0.first().map(|p| p + length),
        };
        let (pulses, period) = &mut pieces[i];
        if let (Some(&last), Some(next)) = (pulses.last(), next) {
            let steps = ((next - last) / *period + ROUNDING).round();
            let between = (1..steps.max(1.0) as usize).map(|k| last + (next - last) * k as f64 / steps);
            pulses.extend(between.filter(|p| *p < length));
        }
    }
}

/// The mean interval per pulse between neighbouring hits at most two pulses apart: a gap at the loop's end tells nothing.
fn rate(hits: &[Hit], pulses: f32, length: f64) -> Option<f64> {
    let first = hits.first()?;
    let returned = Hit { index: first.index + pulses, time: first.time + length as f32, ..*first };
    let (mut seconds, mut count, mut pairs) = (0.0, 0.0, 0);
    for (a, b) in hits.iter().zip(hits[1..].iter().chain([&returned])) {
        let steps = b.index - a.index;
        if steps > 0.0 && steps <= 2.0 {
            seconds += f64::from(b.time - a.time);
            count += f64::from(steps);
            pairs += 1;
        }
    }
    (hits.len() > 2 && pairs * 2 > hits.len() && count > 0.0).then(|| seconds / count)
}

/// Number and time of the pulses that were hit: the time of the first event on each.
fn hit_pulses(hits: &[Hit], events: &[Event]) -> Vec<(f64, f64)> {
    let mut known: Vec<(f64, f64)> = Vec::new();
    for hit in hits {
        if known.last().is_none_or(|k| k.0 < f64::from(hit.index)) {
            known.push((f64::from(hit.index), events[hit.event].time));
        }
    }
    known
}

/// The known pulses and the rest between them.
fn pulses_between(known: &[(f64, f64)]) -> Vec<f64> {
    let mut pulses = Vec::new();
    for pair in known.windows(2) {
        let steps = (pair[1].0 - pair[0].0).max(1.0);
        pulses.extend((0..steps as usize).map(|k| pair[0].1 + (pair[1].1 - pair[0].1) * k as f64 / steps));
    }
    pulses.extend(known.last().map(|k| k.1));
    pulses
}

/// The pulses of a whole round of the loop.
fn round_pulses(hits: &[Hit], events: &[Event], count: f32, length: f64) -> Vec<f64> {
    let mut known = hit_pulses(hits, events);
    let Some(&first) = known.first() else { return Vec::new() };
    known.push((first.0 + f64::from(count), first.1 + length));
    let mut pulses = pulses_between(&known);
    pulses.pop();
    renewal::wrap(&mut pulses, length);
    pulses
}
