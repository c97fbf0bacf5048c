//! What an onset sounds like: its perceptual attack, its strength, and its energy in low, middle and high bands.

use super::envelope::{Envelopes, MAX_BANDS};
use super::signal::Signal;

/// Seconds on either side over which the level is taken.
const LEVEL_RADIUS: f64 = 0.001;
/// The course of the level in seconds: its start before the onset, its length, and what comes before it, from which it rises.
const LEAD: f64 = 0.004;
const COURSE: f64 = 0.034;
const REST: f64 = 0.01;
/// An attack is heard once the level has risen by this part (after Vos & Rasch 1981).
const HEARD: f64 = 0.30;
/// Shortest course in samples that says anything.
const MIN_COURSE: usize = 10;
/// Seconds after an onset, and before it, of which the energies are compared.
const AFTER: f64 = 0.025;
const BEFORE: std::ops::Range<f64> = 0.002..0.012;
/// Energy of a band that does not rise, so that none is minus infinity decibels.
const SILENCE: f64 = 1e-9;
/// The level of a loud sound after normalisation is -20 dB.
const REFERENCE: f64 = 20.0;

/// The moment in seconds at which an onset is heard, not before it.
pub(super) fn attack(signal: &mut Signal, onset: f64) -> f64 {
    let rate = signal.rate();
    let samples = |seconds: f64| (seconds * rate) as usize;
    let radius = samples(LEVEL_RADIUS);
    let start = (((onset - LEAD) * rate).max(0.0) as usize).max(radius);
    let end = (start + samples(COURSE)).min(signal.len().saturating_sub(radius));
    if end <= start + MIN_COURSE || radius == 0 {
        return onset;
    }
    let first = start - samples(REST).max(radius).min(start);
    let sound = signal.samples(first as i64, end + radius - first);
    // Sums of squares before each sample.
    let mut sum = 0.0;
    let sums: Vec<f64> = std::iter::once(0.0)
        .chain(sound.iter().map(|x| {
            sum += f64::from(x * x);
            sum
        }))
        .collect();
    let rms = |from: usize, to: usize| ((sums[to - first] - sums[from - first]) / (to - from).max(1) as f64).sqrt();
    let level = |at: usize| rms(at - radius, at + radius);
    let base = rms(start.saturating_sub(samples(REST)), start);
    let most = (start..end).map(level).fold(0.0, f64::max);
    let threshold = base + HEARD * (most - base);
    let heard = (start..end).find(|at| level(*at) >= threshold).unwrap_or(start);
    onset.max(heard as f64 / rate)
}

/// How much the energy rises at an onset, in decibels above that of a loud sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Strength {
    pub(super) all: f64,
    /// 50-200 Hz, 200-2700 Hz, and above.
    pub(super) low: f64,
    pub(super) mid: f64,
    pub(super) high: f64,
}

/// The strength of an onset.
pub(super) fn strength(envelopes: &mut Envelopes, signal: &mut Signal, onset: f64) -> Strength {
    envelopes.move_to(signal, onset);
    let step = envelopes.step();
    let at = ((onset - envelopes.start()) / step) as usize;
    let steps = |seconds: f64| ((seconds / step) as usize).max(1);
    let after = at..at + steps(AFTER);
    let before = at.saturating_sub(steps(BEFORE.end))..at.saturating_sub(steps(BEFORE.start)).max(1);
    let mut rises = [SILENCE; MAX_BANDS];
    for (rise, squares) in rises.iter_mut().zip(envelopes.squares()) {
        let mean = |range: std::ops::Range<usize>| {
            let part = squares.get(range).unwrap_or_default();
            part.iter().map(|x| f64::from(*x)).sum::<f64>() / part.len().max(1) as f64
        };
        *rise += (mean(after.clone()) - mean(before.clone())).max(0.0);
    }
    let decibels = |energies: &[f64]| REFERENCE + 10.0 * energies.iter().sum::<f64>().log10();
    Strength {
        all: decibels(&rises),
        low: decibels(&rises[..1]),
        mid: decibels(&rises[1..4]),
        high: decibels(&rises[4..]),
    }
}
