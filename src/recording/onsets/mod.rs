//! Finds the onsets of a recording: the moments at which strokes and notes begin.
//!
//! The level is normalised; peaks of two spectral fluxes (Bello et al. 2005; Dixon 2006; Boeck, Krebs & Schedl 2012) say
//! where something begins; around each, the moment is found at which the energy changes; a small network decides from the
//! fluxes and the change whether it is an onset. Of onsets nearer than 35 ms, the most certain one is kept.

mod band;
mod change_point;
mod classifier;
mod curves;
mod decimator;
mod describe;
mod envelope;
mod features;
mod filter_bank;
mod flux;
mod lanes;
mod level;
mod progress;
mod signal;
#[cfg(test)]
mod tests;
mod timbre;

pub use band::Band;
pub use signal::Mono;
pub use timbre::{ENERGIES, Timbre, decibels_after, measure_timbres, share_between, strengths};

use change_point::ChangeDetector;
use classifier::Classifier;
use curves::{Curves, FRAME_RATE, Window, long_size};
use envelope::Envelopes;
use features::{Candidate, Features, features};
use progress::Progress;
use signal::Signal;
use std::ops::Range;

/// The threshold that suits most recordings. Results hardly change from 0.2 to 0.5; one without dynamics may need 0.5.
pub const DEFAULT_THRESHOLD: f32 = 0.35;

/// Shortest sound in seconds.
const MIN_SECONDS: f64 = 0.05;
/// Where a change is looked for around a peak of either flux, in seconds.
const LONG_RANGE: Range<f64> = -0.03..0.02;
const SHORT_RANGE: Range<f64> = -0.02..0.012;
/// Two changes nearer than this in seconds are the same one.
const SAME_CHANGE: f64 = 0.012;
/// Seconds by which changes are found too early: the filters of the bands ring before an attack.
const BIAS: f64 = 0.001;
/// Two onsets nearer than this in seconds are one.
const MIN_GAP: f64 = 0.035;
/// The cut at the end of a recording is no onset.
const MIN_REST: f64 = 0.015;

/// The beginning of a stroke or note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Onset {
    /// Seconds from the start at which the sound begins to change.
    pub seconds: f64,
    /// Seconds from the start at which it is heard: where 30 % of the rise is over.
    pub attack: f64,
    /// Probability that it is an onset, 0 to 1.
    pub confidence: f32,
    /// How much the energy rises, in decibels above that of the loud parts of the recording.
    pub strength_db: f32,
    /// The same from 50 to 200 Hz.
    pub low_db: f32,
    /// The same from 200 to 2700 Hz.
    pub mid_db: f32,
    /// The same from 2700 to 13,800 Hz.
    pub high_db: f32,
    /// The same in narrow bands; unknown until [`measure_timbres`] measures it.
    pub timbre: Timbre,
}

#[cfg(test)]
impl Onset {
    /// One with these decibels in the low, the middle and the high band.
    pub(crate) fn of_bands(seconds: f64, [low_db, mid_db, high_db]: [f32; 3]) -> Self {
        let (strength_db, timbre) = (low_db.max(mid_db).max(high_db), Timbre::default());
        Self { seconds, attack: seconds, confidence: 0.9, strength_db, low_db, mid_db, high_db, timbre }
    }
}

/// Finds the onsets with a confidence of at least `threshold` (see [`DEFAULT_THRESHOLD`]), in order of time.
///
/// `sample_rate` is in hertz. Samples that are not finite count as 0. A sound that is silent or shorter than 50 ms has no
/// onsets.
/// `progress` takes the part that is done, 0 to 1, and returns whether to go on; the result is `None` if it did not.
pub fn onsets(
    sound: &dyn Mono,
    sample_rate: u32,
    threshold: f32,
    progress: &mut dyn FnMut(f32) -> bool,
) -> Option<Vec<Onset>> {
    let mut progress = Progress::new(progress);
    let mut signal = Signal::new(sound, sample_rate);
    let changes = changes(&mut signal, &mut progress)?;
    let mut scored = score(&changes, signal.seconds());
    let end = sound.len() as f64 / f64::from(sample_rate);
    scored.retain(|s| s.confidence >= threshold.into() && s.time <= end);
    let kept = most_certain(scored);
    if kept.is_empty() {
        return Some(Vec::new());
    }

    progress.set_range(0.95, 1.0);
    let mut envelopes = Envelopes::new(signal.rate(), 2 * long_size(signal.rate()));
    let mut onsets = Vec::with_capacity(kept.len());
    for (i, change) in kept.iter().enumerate() {
        progress.report(i, kept.len())?;
        let strength = describe::strength(&mut envelopes, &mut signal, change.time);
        onsets.push(Onset {
            seconds: change.time.max(0.0),
            attack: describe::attack(&mut signal, change.time).max(0.0),
            confidence: change.confidence as f32,
            strength_db: strength.all as f32,
            low_db: strength.low as f32,
            mid_db: strength.mid as f32,
            high_db: strength.high as f32,
            timbre: Timbre::default(),
        });
    }
    Some(onsets)
}

/// A change of the sound that may be an onset.
#[derive(Debug, Clone, Copy)]
struct Change {
    time: f64,
    features: Features,
}

/// The time of a change, and the probability that it is an onset.
#[derive(Debug, Clone, Copy)]
struct Scored {
    time: f64,
    confidence: f64,
}

/// All changes, in order of time.
fn changes(signal: &mut Signal, progress: &mut Progress) -> Option<Vec<Change>> {
    if signal.seconds() < MIN_SECONDS || signal.rate() == 0.0 {
        return Some(Vec::new());
    }
    progress.set_range(0.0, 0.05);
    let gain = level::gain(signal, progress)?;
    if gain == 0.0 {
        return Some(Vec::new());
    }
    signal.set_gain(gain);
    progress.set_range(0.05, 0.8);
    let curves = Curves::new(signal, progress)?;
    progress.set_range(0.8, 0.95);
    let candidates = candidates(signal, &curves, progress)?;
    let change =
        |i: usize| Change { time: candidates[i].change.time + BIAS, features: features(&candidates, i, &curves) };
    Some((0..candidates.len()).map(change).collect())
}

/// The probabilities of changes in a sound that lasts `seconds`.
fn score(changes: &[Change], seconds: f64) -> Vec<Scored> {
    let classifier = Classifier::new();
    let confidence = |change: &Change| {
        let is_cut = change.time > seconds - MIN_REST;
        if is_cut { 0.0 } else { classifier.probability(&change.features) }
    };
    changes.iter().map(|change| Scored { time: change.time, confidence: confidence(change) }).collect()
}

/// The changes around the peaks of the fluxes, in order of time.
fn candidates(signal: &mut Signal, curves: &Curves, progress: &mut Progress) -> Option<Vec<Candidate>> {
    let seeds = curves.seeds();
    if seeds.is_empty() {
        return Some(Vec::new());
    }
    let mut envelopes = Envelopes::new(signal.rate(), 2 * long_size(signal.rate()));
    let mut detector = ChangeDetector::new(&envelopes);
    let mut found = Vec::with_capacity(seeds.len());
    for (i, seed) in seeds.iter().enumerate() {
        progress.report(i, seeds.len())?;
        let centre = seed.frame as f64 / FRAME_RATE;
        let range = if seed.window == Window::Short { SHORT_RANGE } else { LONG_RANGE };
        let range = centre + range.start..centre + range.end;
        let change = detector.find(&mut envelopes, signal, centre, &range);
        found.extend(change.map(|change| Candidate { change, window: seed.window }));
    }
    found.sort_by(|a, b| a.change.time.total_cmp(&b.change.time));
    let mut candidates: Vec<Candidate> = Vec::with_capacity(found.len());
    for candidate in found {
        match candidates.last_mut() {
            Some(last) if candidate.change.time - last.change.time < SAME_CHANGE => {
                if candidate.change.ratio > last.change.ratio {
                    *last = candidate;
                }
            }
            _ => candidates.push(candidate),
        }
    }
    Some(candidates)
}

/// Takes changes in order of confidence, and leaves out those near one taken before.
fn most_certain(mut scored: Vec<Scored>) -> Vec<Scored> {
    scored.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
    let mut kept: Vec<Scored> = Vec::with_capacity(scored.len());
    for change in scored {
        let next = kept.partition_point(|k| k.time < change.time);
        let is_free = |at: Option<&Scored>| at.is_none_or(|k| (k.time - change.time).abs() >= MIN_GAP);
        if is_free(kept.get(next)) && is_free(next.checked_sub(1).and_then(|i| kept.get(i))) {
            kept.insert(next, change);
        }
    }
    kept
}
