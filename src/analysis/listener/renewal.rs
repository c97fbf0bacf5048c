//! About one attack per pulse: the intervals themselves are the beats, give or take a fifth.
//!
//! ```text
//! f(d) = (1 - stray) ((1 - skip) N(d; P, s P) + skip N(d; 2 P, 1.414 s P)) + stray base,   base = exp(-pois d / m) / m
//! ```
//! with `m` the mean interval: a renewal process against a Poisson stream. It is the hearing of jittered tones and of figures of fours
//! and threes.

use super::best_path::Windows;
use super::evidence::Event;
use super::hypothesis::Pulses;
use super::lanes::{LANES, Lanes, exp, ln};
use super::params::{Params, ROUNDING};

/// Step between the logs of neighbouring periods.
const LOG_PERIOD_STEP: f64 = 0.02;
/// Prior of this way of hearing beside a pulse that is followed (ours, no source).
const RENEWAL_PRIOR: f64 = 0.2;

/// A period of the intervals, in seconds.
#[derive(Debug, Clone)]
pub(super) struct Rate {
    /// What the density is centred on.
    pub(super) centre: f64,
    /// Mean of the intervals near it.
    pub(super) period: f64,
    pub(super) log: f64,
    pub(super) prior: f64,
    /// Log likelihood in each window and in the whole.
    pub(super) shares: Vec<f64>,
}

/// The interval that ends at each event.
pub(super) struct Gaps {
    /// In seconds, in order of length.
    sorted: Vec<f64>,
    /// The different ones: on a grid there are few.
    different: Vec<f32>,
    /// Of each event which of these it is, and the weight of the event it starts from.
    of_events: Vec<(usize, f32)>,
    mean: f64,
}

impl Gaps {
    pub(super) fn new(events: &[Event], length: f64) -> Self {
        let last = &events[events.len() - 1];
        let before = std::iter::once((last.time - length, last)).chain(events.iter().map(|e| (e.time, e)));
        let gaps: Vec<(f64, f32)> =
            before.zip(events).map(|((time, from), e)| (e.time - time, from.weight as f32)).collect();
        let mut sorted: Vec<f64> = gaps.iter().map(|g| g.0).collect();
        sorted.sort_by(f64::total_cmp);
        let mut different: Vec<f32> = sorted.iter().map(|g| *g as f32).collect();
        different.dedup();
        let index = |gap: f64| different.partition_point(|d| *d < gap as f32);
        let of_events = gaps.iter().map(|(gap, weight)| (index(*gap), *weight)).collect();
        Self { sorted, different, of_events, mean: length / events.len() as f64 }
    }

    /// Each interval's share of the log likelihood, for up to [`LANES`] periods.
    pub(super) fn shares(&self, periods: &[f64], params: &Params, mut each: impl FnMut(usize, &Lanes)) {
        let (one, two) = (
            (1.0 - params.stray_share) * (1.0 - params.skipped_share),
            (1.0 - params.stray_share) * params.skipped_share,
        );
        let root = std::f64::consts::TAU.sqrt();
        let lanes = |of: &dyn Fn(f64) -> f64| -> Lanes {
            std::array::from_fn(|i| of(periods[i.min(periods.len() - 1)]) as f32)
        };
        let period = lanes(&|p| p);
        let (narrow, wide) =
            (lanes(&|p| 1.0 / (params.interval_spread * p)), lanes(&|p| 1.0 / (1.414 * params.interval_spread * p)));
        // Over the base, whose mean is folded into the factors.
        let (once, twice) = (
            lanes(&|p| one * self.mean / (params.interval_spread * p * root)),
            lanes(&|p| two * self.mean / (1.414 * params.interval_spread * p * root)),
        );
        let log = |d: &f32| -> Lanes {
            let lift = (params.evenness_bonus * f64::from(*d) / self.mean).min(60.0) as f32;
            std::array::from_fn(|i| {
                let (x, y) = ((d - period[i]) * narrow[i], (d - 2.0 * period[i]) * wide[i]);
                let bell = once[i] * exp(lift - 0.5 * x * x) + twice[i] * exp(lift - 0.5 * y * y);
                ln(bell + params.stray_share as f32)
            })
        };
        let logs: Vec<Lanes> = self.different.iter().map(log).collect();
        for (event, (gap, weight)) in self.of_events.iter().enumerate() {
            each(event, &logs[*gap].map(|log| weight * log));
        }
    }

    /// Every period with its posterior.
    pub(super) fn rates(&self, windows: &Windows, params: &Params) -> Vec<Rate> {
        let count = ((params.longest_beat / params.shortest_beat).ln() / LOG_PERIOD_STEP) as usize;
        let mut periods: Vec<f64> =
            (0..=count).map(|i| params.shortest_beat * (LOG_PERIOD_STEP * i as f64).exp()).collect();
        if params.allows(self.mean) {
            periods.push(self.mean);
        }
        let sorted = &self.sorted;
        let mut sums = vec![0.0];
        sums.extend(sorted.iter().scan(0.0, |sum, gap| {
            *sum += gap;
            Some(*sum)
        }));
        // The mean of the intervals from half to one and a half of the period, if most are.
        let rate = |period: f64| {
            let (from, to) = (
                sorted.partition_point(|g| *g < (0.5 + ROUNDING) * period),
                sorted.partition_point(|g| *g < (1.5 - ROUNDING) * period),
            );
            if (to - from) * 2 > sorted.len() { (sums[to] - sums[from]) / (to - from) as f64 } else { period }
        };
        let phase = (1.0 / params.interval_spread / std::f64::consts::TAU.sqrt()).ln();
        let mut all = Vec::new();
        for bundle in periods.chunks(LANES) {
            let mut log = [0.0_f64; LANES];
            let mut shares = vec![[0.0_f64; LANES]; windows.count()];
            self.shares(bundle, params, |event, share| {
                if shares.is_empty() {
                    log.iter_mut().zip(share).for_each(|(sum, s)| *sum += f64::from(*s));
                } else {
                    windows.add(&mut shares, event, share);
                }
            });
            let log = shares.first().unwrap_or(&log);
            for (i, &centre) in bundle.iter().enumerate() {
                let period = rate(centre);
                let prior = params.prior(centre) - phase;
                let log = log[i] * params.present_length / windows.length
                    + prior
                    + params.first_beat_bonus
                    + RENEWAL_PRIOR.ln();
                if params.allows(period) {
                    let shares = shares.iter().map(|s| s[i]).collect();
                    all.push(Rate { centre, period, log, prior, shares });
                }
            }
        }
        all
    }
}

/// The pulses of such hearings: the attacks, an interval of two periods halved, and so on; of attacks within half a period the first.
pub(super) struct DividedAttacks {
    pub(super) pulses: Pulses,
    /// Of the intervals cut into 0, 1, 2, ... parts the shortest and the longest.
    cuts: Vec<(f64, f64)>,
}

impl DividedAttacks {
    pub(super) fn new(events: &[Event], length: f64, rate: f64) -> Self {
        let times = events.iter().map(|e| e.time).chain([events[0].time + length]);
        let mut cuts: Vec<(f64, f64)> = Vec::new();
        let mut pulses = divide(times, rate, |interval, parts| {
            cuts.resize(cuts.len().max(parts + 1), (f64::INFINITY, f64::NEG_INFINITY));
            cuts[parts] = (cuts[parts].0.min(interval), cuts[parts].1.max(interval));
        });
        pulses.pop();
        wrap(&mut pulses, length);
        Self { pulses: Pulses::at(pulses), cuts }
    }

    /// Whether the pulses of another rate are the same: it cuts the shortest and longest intervals alike, so all between them too.
    pub(super) fn is_same_at(&self, rate: f64) -> bool {
        let is_same = |(n, (short, long)): (usize, &(f64, f64))| {
            short > long || parts(*short, rate) == n && parts(*long, rate) == n
        };
        self.cuts.iter().enumerate().all(is_same)
    }
}

/// Pulses after the loop's return belong before its first.
pub(super) fn wrap(pulses: &mut [f64], length: f64) {
    let before = pulses.iter().position(|p| *p >= length - 1e-9).unwrap_or(pulses.len());
    pulses[before..].iter_mut().for_each(|p| *p = (*p - length).max(0.0));
    pulses.rotate_left(before);
}

/// Some times with pulses between them; times within half a period after a pulse are left out.
/// `cut` is called with each interval and the number of its parts.
pub(super) fn divide(mut times: impl Iterator<Item = f64>, rate: f64, mut cut: impl FnMut(f64, usize)) -> Vec<f64> {
    let mut pulses: Vec<f64> = times.next().into_iter().collect();
    for time in times {
        let from = pulses[pulses.len() - 1];
        let count = parts(time - from, rate);
        cut(time - from, count);
        pulses.extend((1..=count).map(|k| from + (time - from) * k as f64 / count as f64));
    }
    pulses
}

/// The number of pulses that an interval is cut into.
fn parts(interval: f64, rate: f64) -> usize {
    (interval / rate + ROUNDING).round().max(0.0) as usize
}
