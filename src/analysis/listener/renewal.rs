//! About one attack per pulse: the intervals themselves are the beats, give or take a fifth.
//!
//! ```text
//! f(d) = (1 - stray) ((1 - skip) N(d; P, s P) + skip N(d; 2 P, 1.414 s P)) + stray base,   base = exp(-pois d / m) / m
//! ```
//! with `m` the mean interval: a renewal process against a Poisson stream. It is the hearing of jittered tones and of figures of fours
//! and threes.

use super::evidence::Event;
use super::lanes::{LANES, exp, ln};
use super::params::Params;

/// Step between the logs of neighbouring periods.
const STEP: f64 = 0.02;
/// Prior of this way of hearing beside a pulse that is followed (ours, no source).
const SHARE: f64 = 0.2;

/// A period of the intervals.
#[derive(Debug, Clone)]
pub(super) struct Rate {
    /// Mean of the intervals near the period, in seconds.
    pub(super) period: f64,
    pub(super) log: f64,
    pub(super) prior: f64,
    /// Each event's share of the log likelihood.
    pub(super) row: Vec<f32>,
}

/// Every period with its posterior.
pub(super) fn rates(events: &[Event], length: f64, params: &Params) -> Vec<Rate> {
    let n = events.len();
    let gaps: Vec<f64> = (0..n)
        .map(|i| if i + 1 < n { events[i + 1].time - events[i].time } else { events[0].time + length - events[i].time })
        .collect();
    let mean = length / n as f64;
    let count = ((params.longest / params.shortest).ln() / STEP) as usize;
    let mut periods: Vec<f64> = (0..=count).map(|i| params.shortest * (STEP * i as f64).exp()).collect();
    if params.allows(mean) {
        periods.push(mean);
    }
    let (one, two) = ((1.0 - params.stray) * (1.0 - params.skipped), (1.0 - params.stray) * params.skipped);
    let root = std::f64::consts::TAU.sqrt();
    let phase = (1.0 / params.spread / root).ln();
    let mut all = Vec::new();
    for bundle in periods.chunks(LANES) {
        let lane = |i: usize| bundle[i.min(bundle.len() - 1)];
        let of = |f: &dyn Fn(f64) -> f64| -> [f32; LANES] { std::array::from_fn(|i| f(lane(i)) as f32) };
        let period = of(&|p| p);
        let (narrow, wide) = (of(&|p| 1.0 / (params.spread * p)), of(&|p| 1.0 / (1.414 * params.spread * p)));
        // Over the base, whose mean is folded into the factors.
        let (once, twice) = (
            of(&|p| one * mean / (params.spread * p * root)),
            of(&|p| two * mean / (1.414 * params.spread * p * root)),
        );
        let mut rows: Vec<Vec<f32>> = bundle.iter().map(|_| Vec::with_capacity(n)).collect();
        for (gap, event) in gaps.iter().zip(events) {
            let (d, c) = (*gap as f32, event.weight as f32);
            let lift = (params.evenness * gap / mean).min(60.0) as f32;
            let mut share = [0.0_f32; LANES];
            for i in 0..LANES {
                let (x, y) = ((d - period[i]) * narrow[i], (d - 2.0 * period[i]) * wide[i]);
                let bell = once[i] * exp(lift - 0.5 * x * x) + twice[i] * exp(lift - 0.5 * y * y);
                share[i] = c * ln(bell + params.stray as f32);
            }
            rows.iter_mut().zip(share).for_each(|(r, s)| r.push(s));
        }
        for (&period, mut row) in bundle.iter().zip(rows) {
            let sum: f64 = row.iter().map(|x| f64::from(*x)).sum();
            // The interval that ends at an event is the event's.
            row.rotate_right(1);
            let near: Vec<f64> = gaps.iter().copied().filter(|d| *d > 0.5 * period && *d < 1.5 * period).collect();
            let rate = if near.len() * 2 > n { near.iter().sum::<f64>() / near.len() as f64 } else { period };
            let prior = params.prior(period) - phase;
            let log = sum * params.present / length + prior + params.first + SHARE.ln();
            if params.allows(rate) {
                all.push(Rate { period: rate, log, prior, row });
            }
        }
    }
    all
}

/// The pulses of such a hearing: the attacks, an interval of two periods halved, and so on; of attacks within half a period the first.
pub(super) fn pulses(events: &[Event], length: f64, rate: f64) -> Vec<f64> {
    let mut times: Vec<f64> = events.iter().map(|e| e.time).collect();
    times.push(events[0].time + length);
    let mut pulses = divided(&times, rate);
    // What comes after the return belongs before the first attack.
    let before = pulses.iter().position(|p| *p >= length - 1e-9).unwrap_or(pulses.len());
    pulses[before..].iter_mut().for_each(|p| *p = (*p - length).max(0.0));
    pulses.rotate_left(before);
    pulses
}

/// The pulses from some events to the next one.
pub(super) fn pulses_between(events: &[Event], range: std::ops::Range<usize>, rate: f64) -> Vec<f64> {
    let last = range.end.saturating_sub(1);
    let times: Vec<f64> = events[range].iter().map(|e| e.time).collect();
    let mut pulses = divided(&times, rate);
    pulses.extend(times.last().filter(|_| last < events.len()));
    pulses
}

fn divided(times: &[f64], rate: f64) -> Vec<f64> {
    let mut pulses = Vec::new();
    let Some(&first) = times.first() else { return pulses };
    let mut from = first;
    for &time in &times[1..] {
        let steps = ((time - from) / rate).round();
        if steps < 1.0 {
            continue;
        }
        pulses.extend((0..steps as usize).map(|k| from + (time - from) * k as f64 / steps));
        from = time;
    }
    pulses
}
