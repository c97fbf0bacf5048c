//! What is known of a change of the sound: numbers of the two fluxes around it and of the change itself.

use super::change_point::{ChangePoint, Evidence};
use super::curves::{Curves, FRAME_RATE, Window};
use super::flux::FluxFrame;

/// Number of features.
pub(super) const FEATURES: usize = 26;
/// The features in the order of the network's weights.
pub(super) type Features = [f64; FEATURES];

/// Other changes are compared if they are among so many before and after, and near enough in seconds.
const NEIGHBOURS: usize = 4;
const MIN_BEFORE: f64 = 0.012;
const MAX_BEFORE: f64 = 0.08;
const MAX_AFTER: f64 = 0.06;

/// For rounding to the nearest frame; rounding errors do not decide on a time halfway between two.
const HALF_FRAME: f64 = 0.5 + 1e-6;

/// A change that may be an onset, and in which window's flux it was noticed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Candidate {
    pub(super) change: ChangePoint,
    pub(super) window: Window,
}

/// The features of candidate `index`; candidates are in order of time.
pub(super) fn features(candidates: &[Candidate], index: usize, curves: &Curves) -> Features {
    let Candidate { change, window } = candidates[index];
    let i = (change.time * FRAME_RATE + HALF_FRAME).floor() as i64;
    let (long, short) = (&curves.long, &curves.short);
    let all = |f: &FluxFrame| f.all;
    let long_max = |from: i64, to: i64, of| long.maximum(i + from, i + to, of);
    let short_max = |from: i64, to: i64, of| short.maximum(i + from, i + to, of);
    // The first frame of the sound stands for those before it.
    let end_before = (i - 3).max(1);

    let (in_long, in_short) = (long_max(-2, 6, all), short_max(-1, 4, all));
    let (log_long, log_short) = (log(in_long), log(in_short));

    let ratio = log_ratio(change.ratio);
    let bands =
        |from: usize, to: usize, of: fn(&Evidence) -> f64| change.bands[from..to].iter().map(of).fold(0.0, f64::max);
    let band_ratio = |from, to| log_ratio(bands(from, to, |e| e.ratio));
    let mut sorted = change.bands.map(|e| e.ratio);
    sorted.sort_unstable_by(|a, b| b.total_cmp(a));
    let (loudest, quietest) = (bands(0, 7, |e| e.after), bands(0, 7, |e| e.before));
    let jump = change.bands.iter().map(|e| log_jump(e.before, e.after)).fold(f64::NEG_INFINITY, f64::max);

    let elapsed = |other: &&Candidate| change.time - other.change.time;
    let greatest = |ratios: &mut dyn Iterator<Item = &Candidate>| ratios.map(|c| c.change.ratio).fold(0.0, f64::max);
    let before = &candidates[index.saturating_sub(NEIGHBOURS)..index];
    let before = greatest(&mut before.iter().filter(|c| elapsed(c) > MIN_BEFORE && elapsed(c) < MAX_BEFORE));
    let after = &candidates[index + 1..candidates.len().min(index + 1 + NEIGHBOURS)];
    let after = greatest(&mut after.iter().filter(|c| -elapsed(c) < MAX_AFTER));

    [
        // The flux, how far it is above its moving mean, and above what was before.
        log_long,
        log(long.rise(in_long, i + 2)),
        log_long - log(long.maximum(i - 16, end_before, all)),
        log_short,
        log(short.rise(in_short, i + 1)),
        log_short - log(short.maximum(i - 16, end_before, all)),
        // In high and low bands, and how much of it is vibrato.
        log(long_max(-2, 6, |f| f.high)),
        log(long_max(-2, 6, |f| f.low)),
        log(short_max(-1, 4, |f| f.high)),
        log_long - log(long_max(-2, 6, |f| f.unfiltered)),
        log_short - log(short_max(-1, 4, |f| f.unfiltered)),
        // The change over all bands, in the three bands where it is greatest, and in low, middle and high bands.
        ratio,
        log_ratio(sorted[0]),
        log_ratio(sorted[1]),
        log_ratio(sorted[2]),
        band_ratio(0, 2),
        band_ratio(2, 4),
        band_ratio(4, 7),
        // Against the changes before and after.
        ratio - log_ratio(before),
        ratio - log_ratio(after),
        // The level after the change, and the jump.
        0.1 * (loudest + 1e-9).ln(),
        log_jump(quietest, loudest),
        jump,
        if window == Window::Short { 1.0 } else { 0.0 },
        // Against the flux that follows.
        log_long - log(long_max(7, 20, all)),
        log_short - log(short_max(7, 20, all)),
    ]
}

/// Logarithm of a flux.
fn log(flux: f64) -> f64 {
    (flux + 1e-3).ln()
}

/// Logarithm of a log likelihood ratio.
fn log_ratio(ratio: f64) -> f64 {
    (ratio + 1e-2).ln()
}

/// Half the logarithm of a rise of variance.
fn log_jump(before: f64, after: f64) -> f64 {
    0.5 * ((after + 1e-7) / (before + 1e-7)).ln()
}
