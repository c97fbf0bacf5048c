//! The posterior of pulses that follow the attacks where no grid is felt.
//!
//! Periods are `L / K`, the twenty that agree best with the events (vector strength, Goldberg & Brown 1969, and the prior). The density of
//! a pulse, its cuts and its heads is a bell of the tolerance `sigma` round each; its mean is taken over the loop:
//! ```text
//! lambda = rest + (wbeat - rest) g + (wcut - rest) h + (whead - wbeat) g [index = o mod q]
//! mean   = rest + ((wbeat - rest) + (s - 1)(wcut - rest) + (whead - wbeat)[q > 1] / q) b / P,   b = min(sigma sqrt(2 pi), P / s)
//! ```

use super::changing::{best_path, runs, windows};
use super::evidence::Event;
use super::follow::{Course, Step};
use super::grid_felt::longest;
use super::hypothesis::{Candidate, Kind, Piece, normalised};
use super::lanes::{LANES, Lanes, exp, ln, round};
use super::params::Params;
use super::renewal::{self, Rate};

/// Most periods looked at before pruning, and after it.
const MOST_PERIODS: usize = 120;
const PERIODS: usize = 20;
/// Two starts whose pulses end up nearer than this part of the period are one.
const SAME_PHASE: f32 = 0.12;
/// The first start, as a part of the step between starts: no simple fraction, so that no event of a grid lies halfway between pulses.
const START: f64 = 0.381_966;
/// A pulse of which the events stand off by more than this part of the period is an average one (ours, no source).
const UNEVEN: f64 = 0.02;
/// Hypotheses of less than this are not told, only counted in the sum.
const LEAST: f64 = 1e-6;
/// States of a changing pulse: the best of the whole, and of each window.
const BEST_OF_ALL: usize = 12;
const BEST_OF_WINDOW: usize = 6;
/// Bars looked at: 1 to 4 pulses; their heads follow from sums by index modulo 12.
const BARS: [usize; 4] = [1, 2, 3, 4];
const INDEX_PERIOD: usize = 12;

/// A pulse that was followed once round the loop.
struct Followed {
    period: f64,
    /// Its mean period: the loop over its number of pulses.
    mean_period: f64,
    /// The rate between hits at most two pulses apart.
    rate: f64,
    /// Its phase as a part of the mean period.
    phase: f64,
    /// RMS distance of the near events, in seconds.
    deviation: f64,
    /// Log posterior summed over bars.
    log: f64,
    /// Log prior without bars, and for each event its share of the log likelihood.
    prior: f64,
    row: Vec<f32>,
    /// Pulse number, pulse time and event hit, for each event.
    trace: Vec<(f32, f32, bool)>,
}

/// Ways to take the beat where no grid is felt.
pub(super) fn hear(events: &[Event], length: f64, cuts: &[f64], params: &Params) -> Vec<Candidate> {
    let periods = periods(events, length, params);
    let course = Course::new(events, length, params);
    let mut followed: Vec<Followed> = Vec::new();
    for parts in 1..=4 {
        follow(events, length, &course, &periods, parts, params, &mut followed);
    }
    let rates = renewal::rates(events, length, params);
    let change = changing(events, length, cuts, &followed, &rates, params);
    let logs = followed.iter().map(|f| f.log).chain(rates.iter().map(|r| r.log)).chain(change.iter().map(|c| c.0));
    let logs: Vec<f64> = logs.collect();
    if logs.is_empty() {
        return Vec::new();
    }
    let p = normalised(logs.iter().copied());
    let mut all: Vec<Candidate> = Vec::new();
    for (f, p) in followed.iter().zip(&p).filter(|x| *x.1 >= LEAST) {
        all.push(f.candidate(*p, events, length));
    }
    for (r, p) in rates.iter().zip(&p[followed.len()..]).filter(|x| *x.1 >= LEAST) {
        let pulses = renewal::pulses(events, length, r.period);
        let mut c = Candidate::steady(Kind::Average, *p, r.period, length, Vec::new(), pulses);
        c.is_attacks = true;
        all.push(c);
    }
    if let Some((_, mut candidate)) = change {
        candidate.probability = p[p.len() - 1];
        all.push(candidate);
    }
    all
}

/// Periods that fill the loop a whole number of times.
fn periods(events: &[Event], length: f64, params: &Params) -> Vec<f64> {
    let least = ((length / params.longest - 1e-6).ceil() as usize).max(1);
    let most = (length / params.shortest + 1e-6) as usize;
    if least > most {
        return Vec::new();
    }
    let mut counts: Vec<usize> = (least..=most).collect();
    if counts.len() > MOST_PERIODS {
        let ratio = (most as f64 / least as f64).ln() / (MOST_PERIODS - 1) as f64;
        counts = (0..MOST_PERIODS).map(|i| (least as f64 * (ratio * i as f64).exp()).round() as usize).collect();
        counts.dedup();
    }
    if counts.len() > PERIODS {
        let strengths = strengths(events, length, &counts);
        let agreement: Vec<f64> = counts
            .iter()
            .zip(strengths)
            .map(|(k, strength)| {
                // Whole billionths, so that equal strengths are equal.
                ((strength + 0.02 * params.prior(length / *k as f64)) * 1e9).round()
            })
            .collect();
        let mut order: Vec<usize> = (0..counts.len()).collect();
        order.sort_by(|a, b| agreement[*b].total_cmp(&agreement[*a]).then(a.cmp(b)));
        order.truncate(PERIODS);
        order.sort_unstable();
        counts = order.into_iter().map(|i| counts[i]).collect();
    }
    counts.into_iter().map(|k| length / k as f64).collect()
}

/// Length of the mean phase vector of the events at each number of pulses in the loop, 0 to 1.
fn strengths(events: &[Event], length: f64, counts: &[usize]) -> Vec<f64> {
    let mut sums = vec![(0.0, 0.0); counts.len()];
    let mut all = 0.0;
    for e in events {
        all += e.weight;
        let angle = std::f64::consts::TAU * e.time / length;
        let turn = |k: f64| (angle * k).sin_cos();
        // Turned on step by step, from neighbour to neighbour.
        let (mut sin, mut cos) = turn(counts[0] as f64);
        let (unit_sin, unit_cos) = turn(1.0);
        for (i, k) in counts.iter().enumerate() {
            if i > 0 {
                (sin, cos) = match k - counts[i - 1] {
                    1 => (sin * unit_cos + cos * unit_sin, cos * unit_cos - sin * unit_sin),
                    _ => turn(*k as f64),
                };
            }
            sums[i].0 += e.weight * cos;
            sums[i].1 += e.weight * sin;
        }
    }
    sums.iter().map(|(re, im)| re.hypot(*im) / all).collect()
}

/// A start of a followed pulse that is not another's.
struct Start {
    period: f32,
    sigma: f32,
    phase: f32,
    gain: f32,
    pulses: f32,
    mean_phase: f32,
}

/// Follows every period cut into `parts`, from several phases, and keeps the starts that end up on pulses of their own.
fn follow(
    events: &[Event],
    length: f64,
    course: &Course,
    periods: &[f64],
    parts: usize,
    params: &Params,
    all: &mut Vec<Followed>,
) {
    let slow_enough = |p: &&f64| parts == 1 || **p / parts as f64 >= params.unfelt;
    let starts_per_period = if events.len() <= 200 { 8 } else { 4 };
    let mut starts: Vec<Start> = Vec::new();
    for &period in periods.iter().filter(slow_enough) {
        let sigma = params.follow_share * period / parts as f64 + params.follow_floor;
        starts.extend((0..starts_per_period).map(|i| Start {
            period: period as f32,
            sigma: sigma as f32,
            phase: (period * (f64::from(i) + START) / f64::from(starts_per_period)) as f32,
            gain: 0.0,
            pulses: 0.0,
            mean_phase: 0.0,
        }));
    }
    let mut steps: Vec<Step> = Vec::new();
    let single = parts == 1;
    for bundle in starts.chunks_mut(LANES) {
        run(course, bundle, single, &mut steps);
        for (lane, start) in bundle.iter_mut().enumerate() {
            measure_start(start, lane, course, &steps, events, length);
        }
    }
    starts.retain(|s| s.pulses >= 1.0 && params.allows(length / f64::from(s.pulses)));
    starts.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    let mut kept: Vec<Start> = Vec::new();
    for s in starts {
        let away = |k: &Start| {
            let d = (s.mean_phase - k.mean_phase).abs();
            d.min(1.0 - d)
        };
        if !kept.iter().any(|k| k.pulses == s.pulses && away(k) < SAME_PHASE) {
            kept.push(s);
        }
    }
    let mut logs: Vec<(Lanes, Lanes)> = Vec::new();
    for bundle in kept.chunks(LANES) {
        run(course, bundle, single, &mut steps);
        densities(bundle, parts, &steps, params, &mut logs);
        for (lane, start) in bundle.iter().enumerate() {
            all.push(measured(start, lane, course, &steps, &logs, events, length, parts, params));
        }
    }
}

/// Settles some starts and runs them once round the loop.
fn run(course: &Course, starts: &[Start], single: bool, steps: &mut Vec<Step>) {
    let lane = |i: usize| &starts[i.min(starts.len() - 1)];
    let period = std::array::from_fn(|i| lane(i).period);
    let sigma = std::array::from_fn(|i| lane(i).sigma);
    let phase = std::array::from_fn(|i| lane(i).phase);
    course.round(course.settled(period, sigma, phase), single, steps);
}

/// How much weight a start gathers, and where its pulses lie.
fn measure_start(start: &mut Start, lane: usize, course: &Course, steps: &[Step], events: &[Event], length: f64) {
    start.pulses = steps.last().map_or(0.0, |s| s.index[lane]);
    let rate = (f64::from(start.pulses) / length) as f32;
    let (mut gain, mut sum, mut weight, mut origin) = (0.0_f32, 0.0_f32, 0.0_f32, f32::NAN);
    for ((step, event), c) in steps.iter().zip(events).zip(&course.weights) {
        let g = step.near[lane] + 1e-9;
        let x = (event.time as f32 - step.error[lane]) * rate - step.index[lane];
        if origin.is_nan() && g > 0.1 {
            origin = x;
        }
        let d = if origin.is_nan() { 0.0 } else { x - origin };
        gain += step.near[lane] * c;
        sum += g * (d - round(d));
        weight += g;
    }
    // Coarse, so that equal gains are equal and the earlier start stays.
    start.gain = (gain * 1e3).round();
    let origin = if origin.is_nan() { 0.0 } else { origin };
    start.mean_phase = (origin + sum / weight.max(1e-9)).rem_euclid(1.0);
}

/// Log density at each event, off the head and on it, for all lanes.
fn densities(starts: &[Start], parts: usize, steps: &[Step], params: &Params, logs: &mut Vec<(Lanes, Lanes)>) {
    let lane = |i: usize| &starts[i.min(starts.len() - 1)];
    let cells: Lanes = std::array::from_fn(|i| parts as f32 / lane(i).period);
    let sigma: Lanes = std::array::from_fn(|i| lane(i).sigma);
    let rest = (if parts == 1 { params.stray_weight } else { params.rest }) as f32;
    let (beat, head) = (params.beat as f32 - rest, (params.head - params.beat) as f32);
    let cut = if parts == 1 { 0.0 } else { params.cut as f32 - rest };
    logs.clear();
    for step in steps {
        let (mut off, mut on) = ([0.0; LANES], [0.0; LANES]);
        for i in 0..LANES {
            let k = round(step.error[i] * cells[i]);
            let d = (step.error[i] - k / cells[i]) / sigma[i];
            let of_cut = if k == 0.0 { 0.0 } else { cut };
            let density = rest + beat * step.near[i] + of_cut * exp(-0.5 * d * d);
            off[i] = ln(density);
            on[i] = ln(density + head * step.near[i]);
        }
        logs.push((off, on));
    }
}

#[allow(clippy::too_many_arguments)] // What one lane is measured against; it has no life of its own.
fn measured(
    start: &Start,
    lane: usize,
    course: &Course,
    steps: &[Step],
    densities: &[(Lanes, Lanes)],
    events: &[Event],
    length: f64,
    parts: usize,
    params: &Params,
) -> Followed {
    let (period, sigma) = (f64::from(start.period), start.sigma);
    let single = parts == 1;
    let rest = (if single { params.stray_weight } else { params.rest }) as f32;
    let bell = (f64::from(sigma) * std::f64::consts::TAU.sqrt()).min(period / parts as f64);
    let share = bell / period;
    let (beat, cut, head) = (params.beat as f32 - rest, params.cut as f32 - rest, (params.head - params.beat) as f32);
    let cuts = if single { 0.0 } else { (parts - 1) as f64 * f64::from(cut) };
    let mean = f64::from(rest) + (f64::from(beat) + cuts) * share;
    let mut plain = [0.0_f64; INDEX_PERIOD];
    let mut headed = [0.0_f64; INDEX_PERIOD];
    let mut row = Vec::with_capacity(steps.len());
    let mut trace = Vec::with_capacity(steps.len());
    let (mut squares, mut near, mut weight) = (0.0_f64, 0.0_f64, 0.0_f64);
    let (mut hit, mut hits) = (f32::NAN, 0.0_f64);
    for (((step, log), event), &c) in steps.iter().zip(densities).zip(events).zip(&course.weights) {
        let (e, index, g) = (step.error[lane], step.index[lane], step.near[lane]);
        let slot = index as usize % INDEX_PERIOD;
        plain[slot] += f64::from(c * log.0[lane]);
        headed[slot] += f64::from(c * log.1[lane]);
        row.push(c * log.0[lane]);
        squares += f64::from(c * g * e * e);
        near += f64::from(c * g);
        weight += f64::from(c);
        let is_hit = g > 0.5;
        if is_hit && index != hit {
            hit = index;
            hits += 1.0;
        }
        trace.push((index, event.time as f32 - e, is_hit));
    }
    let pulses = f64::from(start.pulses);
    let mean_period = length / pulses;
    let scale = params.present / length;
    let silent = params.silent * (pulses - hits).max(0.0);
    let felt = if single { 0.0 } else { params.feel(period / parts as f64).max(1e-3).ln() };
    let first = f64::from(steps[0].near[lane]);
    let base = params.prior(mean_period) - silent * scale + params.first * first + felt
        - if parts == 3 { params.three } else { 0.0 };
    let mut logs = Vec::with_capacity(10);
    for bar in BARS {
        let mean = mean + if bar > 1 { f64::from(head) * share / bar as f64 } else { 0.0 };
        let closes = (start.pulses as usize).is_multiple_of(bar);
        let constant = -weight * mean.ln() - if closes { 0.0 } else { params.change };
        let prior = base
            - (bar as f64 * period / bell).ln()
            - if bar == 3 { params.three } else { 0.0 }
            - if bar > 1 { params.bar } else { 0.0 };
        for o in 0..bar {
            let of = |i: usize| if bar > 1 && i % bar == o { headed[i] } else { plain[i] };
            let sum: f64 = (0..INDEX_PERIOD).map(of).sum();
            logs.push((sum + constant) * scale + prior);
        }
    }
    // For a changing pulse: what each event says, and the pulses left silent after it.
    for i in 0..row.len() {
        let next = if i + 1 < steps.len() { steps[i + 1].index[lane] } else { steps[0].index[lane] + start.pulses };
        row[i] -=
            course.weights[i] * mean.ln() as f32 + params.silent as f32 * (next - steps[i].index[lane] - 1.0).max(0.0);
    }
    Followed {
        period,
        mean_period,
        rate: Some(rate(&trace, mean_period, start.pulses, length))
            .filter(|r| params.allows(*r))
            .unwrap_or(mean_period),
        phase: f64::from(start.mean_phase),
        deviation: (squares / near.max(1e-9)).sqrt(),
        log: sum_of_logs(&logs),
        prior: params.prior(mean_period) - (period / bell).ln(),
        row,
        trace,
    }
}

fn sum_of_logs(logs: &[f64]) -> f64 {
    let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    best + logs.iter().map(|l| (l - best).exp()).sum::<f64>().ln()
}

/// The mean interval per pulse between neighbouring hits at most two pulses apart: a gap at the loop's end tells nothing.
fn rate(trace: &[(f32, f32, bool)], mean_period: f64, pulses: f32, length: f64) -> f64 {
    let hits: Vec<(f32, f32)> = trace.iter().filter(|t| t.2).map(|t| (t.0, t.1)).collect();
    let Some(first) = hits.first() else { return mean_period };
    let last = (first.0 + pulses, first.1 + length as f32);
    let (mut time, mut count, mut pairs) = (0.0, 0.0, 0);
    for (a, b) in hits.iter().zip(hits[1..].iter().chain([&last])) {
        let steps = b.0 - a.0;
        if steps > 0.0 && steps <= 2.0 {
            time += f64::from(b.1 - a.1);
            count += f64::from(steps);
            pairs += 1;
        }
    }
    if hits.len() > 2 && pairs * 2 > hits.len() && count > 0.0 { time / count } else { mean_period }
}

impl Followed {
    fn candidate(&self, probability: f64, events: &[Event], length: f64) -> Candidate {
        let average = self.deviation > UNEVEN * self.period;
        let count = (length / self.mean_period).round() as usize;
        let pulses: Vec<f64> = if average {
            hit_pulses(&self.trace, events, 0..events.len(), Some((count, length)))
        } else {
            (0..count).map(|k| (k as f64 + self.phase) * self.mean_period).collect()
        };
        let kind = if average { Kind::Average } else { Kind::Even };
        Candidate::steady(kind, probability, self.rate, length, Vec::new(), pulses)
    }
}

/// The pulses of some events: the events that hit one, the rest between them; with a loop also those over its return.
fn hit_pulses(
    trace: &[(f32, f32, bool)],
    events: &[Event],
    range: std::ops::Range<usize>,
    closed: Option<(usize, f64)>,
) -> Vec<f64> {
    let mut known: Vec<(f64, f64)> = Vec::new();
    for i in range {
        let index = f64::from(trace[i].0);
        if trace[i].2 && known.last().is_none_or(|k| k.0 < index) {
            known.push((index, events[i].time));
        }
    }
    let Some(&first) = known.first() else { return Vec::new() };
    if let Some((count, length)) = closed {
        known.push((first.0 + count as f64, first.1 + length));
    }
    let mut pulses = Vec::new();
    for pair in known.windows(2) {
        let steps = (pair[1].0 - pair[0].0).max(1.0);
        pulses.extend((0..steps as usize).map(|k| pair[0].1 + (pair[1].1 - pair[0].1) * k as f64 / steps));
    }
    match closed {
        Some((_, length)) => {
            let before = pulses.iter().position(|p| *p >= length - 1e-9).unwrap_or(pulses.len());
            pulses[before..].iter_mut().for_each(|p| *p = (*p - length).max(0.0));
            pulses.rotate_left(before);
        }
        None => pulses.extend(known.last().map(|k| k.1)),
    }
    pulses
}

/// The best sequence of followed pulses and rates, with its log posterior.
fn changing(
    events: &[Event],
    length: f64,
    cuts: &[f64],
    followed: &[Followed],
    rates: &[Rate],
    params: &Params,
) -> Option<(f64, Candidate)> {
    let windows = windows(length, cuts, params);
    if windows.len() < 2 || followed.is_empty() {
        return None;
    }
    let scale = params.present / length;
    let rows = || followed.iter().map(|f| (&f.row, f.prior)).chain(rates.iter().map(|r| (&r.row, r.prior)));
    let mut states: Vec<usize> = Vec::new();
    let mut take = |range: std::ops::Range<usize>, scale: f64, most: usize| {
        let score = |(row, prior): (&Vec<f32>, f64)| {
            row[range.clone()].iter().map(|x| f64::from(*x)).sum::<f64>() * scale + prior
        };
        let mut order: Vec<(f64, usize)> = rows().map(score).zip(0..).collect();
        order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        states.extend(order.iter().take(most).map(|o| o.1));
    };
    take(0..events.len(), scale, BEST_OF_ALL);
    for &(from, to) in &windows {
        let at = |t: f64| events.partition_point(|e| e.time < t);
        if at(from) < at(to) {
            take(at(from)..at(to), params.present / (to - from), BEST_OF_WINDOW);
        }
    }
    states.sort_unstable();
    states.dedup();
    let table: Vec<(&Vec<f32>, f64)> = rows().collect();
    let chosen: Vec<Vec<f32>> = states.iter().map(|s| table[*s].0.clone()).collect();
    let (path, score) = best_path(&chosen, params.change);
    let runs = runs(&path);
    if runs.len() < 2 {
        return None;
    }
    let prior = path.iter().map(|s| table[states[*s]].1).sum::<f64>() / path.len() as f64;
    let mut pieces: Vec<Piece> = runs
        .iter()
        .map(|&(from, to, state)| {
            let state = states[state];
            let (pulses, period) = if let Some(f) = followed.get(state) {
                (hit_pulses(&f.trace, events, from..to, None), f.period)
            } else {
                let r = &rates[state - followed.len()];
                (renewal::pulses_between(events, from..to, r.period), r.period)
            };
            let spread = |p: &[f64]| (p[p.len() - 1] - p[0]) / (p.len() - 1) as f64;
            let period = if pulses.len() > 1 { spread(&pulses) } else { period };
            let end = events.get(to).map_or(length, |e| e.time);
            Piece { start: events[from].time, end, kind: Kind::Average, period, sizes: Vec::new(), pulses }
        })
        .collect();
    pieces[0].start = 0.0;
    // From the last pulse of a piece to the first of the next the pulse goes on.
    for i in 0..pieces.len() {
        let next = pieces
            .get(i + 1)
            .map_or_else(|| pieces[0].pulses.first().map(|p| p + length), |n| n.pulses.first().copied());
        if let (Some(&last), Some(next)) = (pieces[i].pulses.last(), next) {
            let steps = ((next - last) / pieces[i].period).round();
            let between = (1..steps.max(1.0) as usize).map(|k| last + (next - last) * k as f64 / steps);
            pieces[i].pulses.extend(between.filter(|p| *p < length));
        }
    }
    let period = longest(&pieces);
    Some((
        score * scale + prior + params.first,
        Candidate {
            kind: Kind::Changing,
            probability: 0.0,
            period,
            follows: true,
            is_attacks: false,
            on_grid: false,
            pieces,
        },
    ))
}
